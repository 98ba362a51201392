/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The week's short lists in words. Responsible for saying "nothing" where there is nothing, and for
 * counting what a list leaves out.
 */
#include "report/week_bullets.h"

#include "report/week_wording.h"
#include "report/wording.h"

#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BEYOND_NOISE 3.0

static const struct an_stream_sheet *sheet_of(const struct an_book *book,
                                              const struct an_week_stream *stream)
{
    return &book->data->sheets[stream->sheet];
}

/* ---- against last week ----------------------------------------------------------------------- */
enum group { NOT_STABLE, STABLE_AGAIN, INDEX_DOWN, INDEX_UP };

static bool belongs(const struct an_week_stream *stream, enum group group)
{
    return group == NOT_STABLE     ? stream->stability == AN_TURN_WORSE
           : group == STABLE_AGAIN ? stream->stability == AN_TURN_BETTER
           : group == INDEX_DOWN   ? stream->index == AN_TURN_WORSE
                                   : stream->index == AN_TURN_BETTER;
}

static const char *with_index(struct an_book *book, const struct an_week_stream *stream)
{
    const struct an_week_index *now = &stream->now;
    const struct an_week_index *before = &stream->before;
    struct an_arena *arena = book->arena;

    return an_arena_printf(arena, "%s (%s, was %s)", sheet_of(book, stream)->title,
                           now->counted ? an_say_rate(arena, now->overall.value)
                                        : an_say_index(arena, now->overall.value),
                           now->counted ? an_say_rate(arena, before->overall.value)
                                        : an_say_index(arena, before->overall.value));
}

static void add_group(struct an_book *book, struct an_bullets *bullets, enum group group,
                      const char *words, size_t most)
{
    const struct an_week_data *week = book->data->week;
    const char **names = an_arena_alloc(book->arena, week->stream_count + 1, sizeof *names);
    size_t count = 0;

    if (!names) {
        book->failed = true;
        return;
    }
    for (size_t i = 0; i < week->stream_count; i++) {
        const struct an_week_stream *stream = &week->streams[i];
        if (belongs(stream, group)) {
            names[count++] =
                an_book_text(book, group >= INDEX_DOWN ? with_index(book, stream)
                                                       : sheet_of(book, stream)->title);
        }
    }
    if (count) {
        an_bullets_add(book, bullets, group == NOT_STABLE, false, "capability",
                       an_arena_printf(book->arena, "%s: %s.", words,
                                       an_say_list(book->arena, names, count, most)));
    }
}

/* Levels that moved beyond noise, farthest in standard errors first. */
static void add_moves(struct an_book *book, struct an_bullets *bullets, size_t most)
{
    const struct an_week_data *week = book->data->week;
    struct an_arena *arena = book->arena;
    size_t moved = 0;
    double below = INFINITY;

    for (size_t i = 0; i < week->stream_count; i++) {
        moved += fabs(week->streams[i].moved_z) > BEYOND_NOISE;
    }
    if (moved) {
        an_bullets_add(book, bullets, false, false, NULL,
                       an_arena_printf(arena, "%s moved beyond noise:",
                                       an_say_many(arena, (int64_t)moved, "level")));
    }
    for (size_t k = 0; k < moved && k < most; k++) {
        const struct an_week_stream *next = NULL;
        for (size_t i = 0; i < week->stream_count; i++) {
            const struct an_week_stream *stream = &week->streams[i];
            const double z = fabs(stream->moved_z);
            if (z > BEYOND_NOISE && z < below && (!next || z > fabs(next->moved_z))) {
                next = stream;
            }
        }
        if (!next) {
            return;
        }
        below = fabs(next->moved_z);
        const struct an_stream_sheet *sheet = sheet_of(book, next);
        an_bullets_add(
            book, bullets, false, true, NULL,
            an_arena_printf(arena, "%s: mean %s, %s by %s since last week (%s standard errors)",
                            sheet->title,
                            an_say_measure(arena, next->level_now, sheet->decimals, sheet->unit),
                            next->moved > 0 ? "up" : "down",
                            an_say_measure(arena, fabs(next->moved), sheet->decimals, sheet->unit),
                            an_say_number(arena, below, 1)));
    }
    if (moved > most) {
        an_bullets_add(book, bullets, false, true, "capability",
                       an_arena_printf(arena, "and %zu more", moved - most));
    }
}

static void add_yields(struct an_book *book, struct an_bullets *bullets)
{
    const struct an_week_data *week = book->data->week;
    struct an_arena *arena = book->arena;

    for (size_t i = 0; i < week->yield_count; i++) {
        const struct an_week_yield *yield = &week->yields[i];
        if (yield->turn == AN_TURN_NONE) {
            continue;
        }
        an_bullets_add(book, bullets, yield->turn == AN_TURN_WORSE, false, "yield",
                       an_arena_printf(arena, "First-pass yield of %s %s from %s to %s.",
                                       yield->title, yield->turn == AN_TURN_WORSE ? "fell" : "rose",
                                       an_say_percent(arena, yield->before),
                                       an_say_percent(arena, yield->first.value)));
    }
}

struct an_bullets an_bullets_against_last(struct an_book *book, size_t most)
{
    struct an_bullets bullets = {0};

    add_group(book, &bullets, NOT_STABLE, "No longer stable", most < 4 ? most : 4);
    add_yields(book, &bullets);
    add_moves(book, &bullets, most < 3 ? most : 3);
    add_group(book, &bullets, INDEX_DOWN, "Capability fell", most < 3 ? most : 3);
    add_group(book, &bullets, INDEX_UP, "Capability rose", most < 3 ? most : 3);
    add_group(book, &bullets, STABLE_AGAIN, "Stable again", most < 4 ? most : 4);
    if (!bullets.count) {
        an_bullets_add(book, &bullets, true, false, NULL,
                       book->data->before_samples
                           ? "Nothing differs from the week before beyond noise."
                           : "There is no week before to compare with.");
    }
    return bullets;
}

/* ---- drifts ---------------------------------------------------------------------------------- */
struct an_bullets an_bullets_drifts(struct an_book *book, size_t most)
{
    const struct an_period_data *data = book->data;
    const struct an_week_data *week = data->week;
    struct an_arena *arena = book->arena;
    struct an_bullets bullets = {0};

    for (size_t i = 0; i < week->drift_count && i < most; i++) {
        const struct an_week_drift *drift = &week->drifts[i];
        const struct an_period_signal *one = &data->signals[drift->signal];
        const struct an_stream_sheet *sheet = &data->sheets[one->sheet];
        const char *when =
            isfinite(drift->days_to)
                ? an_arena_printf(arena, "; at this rate its mean meets the %s in %s", drift->limit,
                                  an_say_span(arena, (int64_t)(drift->days_to * (double)AN_DAY_US)))
                : "";
        an_bullets_add(book, &bullets, false, false, one->name,
                       an_arena_printf(arena, "%s: %s a day since %s%s.", sheet->title,
                                       an_say_measure(arena, one->signal.per_day,
                                                      sheet->decimals + 1, sheet->unit),
                                       an_say_time(arena, data->line->zone, one->signal.onset_us),
                                       when));
    }
    if (week->drift_count > most) {
        an_bullets_add(book, &bullets, false, true, NULL,
                       an_arena_printf(arena, "and %zu more", week->drift_count - most));
    }
    if (!bullets.count) {
        an_bullets_add(book, &bullets, false, false, NULL, "No stream drifts steadily.");
    }
    return bullets;
}

/* ---- open signals ------------------------------------------------------------------------------ */
struct an_bullets an_bullets_open(struct an_book *book, size_t most)
{
    const struct an_period_data *data = book->data;
    const struct an_week_data *week = data->week;
    struct an_arena *arena = book->arena;
    struct an_bullets bullets = {0};
    size_t open = 0;

    for (size_t i = 0; i < 4; i++) {
        open += week->ages[i].count;
    }
    if (!open) {
        an_bullets_add(book, &bullets, true, false, NULL, "None: every signal has an answer.");
        return bullets;
    }
    an_bullets_add(book, &bullets, true, false, NULL,
                   an_arena_printf(arena, "%s without an answer:",
                                   an_say_many(arena, (int64_t)open, "signal")));
    for (size_t i = 0; i < 4; i++) {
        if (week->ages[i].count) {
            an_bullets_add(
                book, &bullets, false, true, NULL,
                an_arena_printf(arena, "%zu %s", week->ages[i].count, week->ages[i].words));
        }
    }
    for (size_t i = 0; i < data->due_count && i < most && i < 2; i++) {
        const struct an_due_signal *due = &data->due[i];
        an_bullets_add(book, &bullets, false, false, NULL,
                       an_arena_printf(arena, "%s: %s %s (signal %" PRId64 "), %s ago",
                                       i ? "then" : "the oldest", due->code, due->title,
                                       due->signal_id,
                                       an_say_span(arena, data->as_of_us - due->signal_us)));
    }
    return bullets;
}

/* ---- limits ------------------------------------------------------------------------------------ */
/* Many limits locked together are one act. */
static size_t same_act(const struct an_week_data *week, size_t first)
{
    size_t count = 1;

    while (first + count < week->decision_count &&
           llabs(week->decisions[first + count].known_us - week->decisions[first].known_us) <
               AN_MINUTE_US &&
           !strcmp(week->decisions[first + count].author, week->decisions[first].author) &&
           !strcmp(week->decisions[first + count].reason, week->decisions[first].reason)) {
        count++;
    }
    return count;
}

static const char *one_decision(struct an_book *book, const struct an_week_decision *decision)
{
    struct an_arena *arena = book->arena;
    const char *centre =
        an_say_measure(arena, decision->centre, decision->decimals + 1, decision->unit);

    if (!isfinite(decision->centre_before)) {
        return an_arena_printf(arena, "%s: first limits, centre %s", decision->title, centre);
    }
    return an_arena_printf(arena, "%s: centre %s (was %s), half width %s (was %s)", decision->title,
                           centre,
                           an_say_number(arena, decision->centre_before, decision->decimals + 1),
                           an_say_number(arena, decision->width, decision->decimals + 1),
                           an_say_number(arena, decision->width_before, decision->decimals + 1));
}

struct an_bullets an_bullets_limits(struct an_book *book, size_t most)
{
    const struct an_period_data *data = book->data;
    const struct an_week_data *week = data->week;
    struct an_arena *arena = book->arena;
    struct an_bullets bullets = {0};
    size_t acts = 0;
    size_t i = 0;

    for (; i < week->decision_count && acts < most; acts++) {
        const struct an_week_decision *decision = &week->decisions[i];
        const size_t together = same_act(week, i);
        const char *what = together == 1 ? one_decision(book, decision)
                                         : an_arena_printf(arena, "%zu streams, %s and others",
                                                           together, decision->title);
        an_bullets_add(book, &bullets, false, false, NULL,
                       an_arena_printf(arena, "%s; by %s, %s: %s", what ? what : "",
                                       decision->author,
                                       an_say_time(arena, data->line->zone, decision->known_us),
                                       decision->reason));
        i += together;
    }
    if (i < week->decision_count) {
        an_bullets_add(book, &bullets, false, true, NULL,
                       an_arena_printf(arena, "and %zu more: andamento limits show --history",
                                       week->decision_count - i));
    }
    if (data->proposed.count) {
        an_bullets_add(
            book, &bullets, false, false, NULL,
            an_arena_printf(arena, "Proposed, not locked: %s.",
                            an_say_list(arena, data->proposed.at, data->proposed.count, 3)));
    }
    if (data->uncertain.count) {
        an_bullets_add(
            book, &bullets, false, false, NULL,
            an_arena_printf(arena, "Learned from fewer than %zu samples: %s.",
                            data->definition->few_samples,
                            an_say_list(arena, data->uncertain.at, data->uncertain.count, 2)));
    }
    if (!bullets.count) {
        an_bullets_add(book, &bullets, false, false, NULL, "None was changed or proposed.");
    }
    return bullets;
}

/* ---- gauges ------------------------------------------------------------------------------------ */
struct an_bullets an_bullets_gauges(struct an_book *book, size_t most)
{
    const struct an_week_data *week = book->data->week;
    struct an_arena *arena = book->arena;
    struct an_bullets bullets = {0};

    for (size_t i = 0; i < week->gauge_count && i < most; i++) {
        const struct an_week_gauge *gauge = &week->gauges[i];
        an_bullets_add(
            book, &bullets, false, false, NULL,
            an_arena_printf(arena, "%s (%s): %s.", gauge->name, gauge->station, gauge->state));
    }
    if (week->gauge_count > most) {
        an_bullets_add(book, &bullets, false, true, NULL,
                       an_arena_printf(arena, "and %zu more", week->gauge_count - most));
    }
    if (!bullets.count) {
        an_bullets_add(book, &bullets, false, false, NULL, "No station named its gauge.");
    }
    return bullets;
}
