/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What is at risk, missing and due, in short lines. Responsible for answering also when the answer
 * is "nothing"; must never drop a line without counting it.
 */
#include "report/bullets.h"

#include "report/wording.h"

#include <inttypes.h>
#include <string.h>

enum {
    MOST_SIGNALS = 4,
    MOST_DUE = 3,
    MOST_STATIONS = 4,
    MOST_REASONS = 4,
    MOST_FILES = 3,
    MOST_NAMES = 4
};

void an_bullets_add(struct an_book *book, struct an_bullets *bullets, bool strong, bool inner,
                    const char *link, const char *text)
{
    if (bullets->count < AN_BULLETS_MOST) {
        bullets->at[bullets->count++] = (struct an_bullet){
            .text = an_book_text(book, text), .strong = strong, .inner = inner, .link = link};
    }
}

static struct an_type type_of(const struct an_bullet *bullet)
{
    struct an_type type = *an_book_type(bullet->strong ? AN_TYPE_STRONG : AN_TYPE_BODY);
    if (bullet->inner) {
        type.size_pt = 8.0;
    }
    return type;
}

static double indent_of(const struct an_bullet *bullet)
{
    return bullet->inner ? 16.0 : 8.0;
}

double an_bullets_height(struct an_book *book, const struct an_bullets *bullets, double width)
{
    double height = 0;
    for (size_t i = 0; i < bullets->count; i++) {
        const struct an_type type = type_of(&bullets->at[i]);
        height += an_text_height(book->canvas, width - indent_of(&bullets->at[i]), &type,
                                 bullets->at[i].text) +
                  1.5;
    }
    return height;
}

void an_bullets_draw(struct an_book *book, const struct an_bullets *bullets, double x, double y,
                     double width)
{
    for (size_t i = 0; i < bullets->count; i++) {
        const struct an_bullet *bullet = &bullets->at[i];
        const struct an_type type = type_of(bullet);
        const double indent = indent_of(bullet);
        const double height =
            an_text_draw(book->canvas, x + indent, y, width - indent, &type, bullet->text);
        if (bullet->inner) {
            an_draw_line(book->canvas, x + 9, y + 5.2, x + 13, y + 5.2, 0.6, AN_GREY);
        } else {
            const struct an_box mark = {x, y + 3.4, 3.6, 3.6};
            an_draw_rectangle(book->canvas, &mark, AN_INK, 1.0);
        }
        if (bullet->link) {
            const struct an_box link = {x, y, width, height};
            an_canvas_link(book->canvas, &link, bullet->link);
        }
        y += height + 1.5;
    }
}

/* ---- at risk -------------------------------------------------------------------------------- */
static const char *risk_of_kind(struct an_book *book, const struct an_kind_at_risk *risk)
{
    struct an_arena *arena = book->arena;
    const char *range = "";
    if (risk->first && risk->last && risk->items > 1) {
        range = an_arena_printf(arena, ", first %s, last %s", risk->first, risk->last);
    } else if (risk->first) {
        range = an_arena_printf(arena, ", %s", risk->first);
    }
    const char *next = "";
    if (risk->next) {
        const char *some = risk->in_next == risk->items
                               ? risk->items == 1 ? "it is" : "all of them are"
                               : an_arena_printf(arena, "%s of them %s",
                                                 an_say_count(arena, (int64_t)risk->in_next),
                                                 risk->in_next == 1 ? "is" : "are");
        next = !risk->in_next ? an_arena_printf(arena, "; none is in a %s yet", risk->next)
               : risk->next_items
                   ? an_arena_printf(arena, "; %s already in %s", some,
                                     an_say_many(arena, (int64_t)risk->next_items, risk->next))
                   : an_arena_printf(arena, "; %s already in a %s", some, risk->next);
    }
    return an_arena_printf(
        arena, "%s %s an open signal%s%s.", an_say_many(arena, (int64_t)risk->items, risk->kind),
        risk->items == 1 ? "carries" : "carry", next ? next : "", range ? range : "");
}

static const char *risk_of_signal(struct an_book *book, const struct an_period_signal *one)
{
    struct an_arena *arena = book->arena;
    const struct an_signal *signal = &one->signal;
    const char *range = "";
    if (signal->first_serial && signal->last_serial && signal->item_count > 1) {
        range = an_arena_printf(arena, ", %s to %s", signal->first_serial, signal->last_serial);
    } else if (signal->first_serial) {
        range = an_arena_printf(arena, ", %s", signal->first_serial);
    }
    const char *next = signal->next_kind && signal->product_in_next
                           ? an_arena_printf(arena, ", %s in %s",
                                             an_say_count(arena, (int64_t)signal->product_in_next),
                                             an_say_plural(arena, signal->next_kind))
                           : "";
    return an_arena_printf(arena, "%s %s%s: %s%s%s", signal->code ? signal->code : "",
                           book->data->sheets[one->sheet].title,
                           signal->record.panel == 1 ? " (spread)" : "",
                           an_say_many(arena, (int64_t)signal->item_count, one->kind),
                           next ? next : "", range ? range : "");
}

struct an_bullets an_bullets_at_risk(struct an_book *book)
{
    const struct an_period_data *data = book->data;
    struct an_bullets bullets = {0};
    if (!data->at_risk_count) {
        an_bullets_add(
            book, &bullets, true, false, NULL,
            data->signal_count
                ? an_arena_printf(book->arena,
                                  "Every signal of this %s has an answer; nothing is open.",
                                  data->word)
            : data->judged_streams
                ? an_arena_printf(book->arena, "No item carries an open signal of this %s.",
                                  data->word)
                : "Nobody can say: nothing was judged.");
        return bullets;
    }
    for (size_t i = 0; i < data->at_risk_count; i++) {
        an_bullets_add(book, &bullets, data->at_risk[i].product || data->at_risk_count == 1, false,
                       NULL, risk_of_kind(book, &data->at_risk[i]));
    }
    size_t shown = 0;
    size_t open = 0;
    for (size_t i = 0; i < data->signal_count; i++) {
        if (!data->signals[i].signal.open) {
            continue;
        }
        open++;
        if (shown < MOST_SIGNALS) {
            an_bullets_add(book, &bullets, false, true, data->signals[i].name,
                           risk_of_signal(book, &data->signals[i]));
            shown++;
        }
    }
    if (shown < open) {
        an_bullets_add(
            book, &bullets, false, true, NULL,
            an_arena_printf(book->arena, "%s, on the pages of their streams",
                            an_say_many(book->arena, (int64_t)(open - shown), "more open signal")));
    }
    return bullets;
}

/* ---- missing -------------------------------------------------------------------------------- */
static void silent_stations(struct an_book *book, struct an_bullets *bullets)
{
    const struct an_period_data *data = book->data;
    size_t silent = 0;
    size_t empty = 0;
    const char *names[MOST_NAMES + 1];
    for (size_t i = 0; i < data->station_count; i++) {
        const struct an_station_sheet *station = &data->stations[i];
        if (!station->described) {
            continue;
        }
        if (station->silent) {
            if (silent++ < MOST_STATIONS) {
                an_bullets_add(
                    book, bullets, true, false, "intake",
                    station->last_us == AN_NO_INSTANT
                        ? an_arena_printf(book->arena, "%s has never sent anything.",
                                          station->title)
                        : an_arena_printf(
                              book->arena, "%s is silent since %s (%s).", station->title,
                              an_say_time(book->arena, data->line->zone, station->last_us),
                              an_say_span(book->arena, data->as_of_us - station->last_us)));
            }
        } else if (!station->traffic.files && !station->traffic.rows) {
            if (empty < MOST_NAMES + 1) {
                names[empty] = station->title;
            }
            empty++;
        }
    }
    if (silent > MOST_STATIONS) {
        an_bullets_add(book, bullets, true, false, "intake",
                       an_arena_printf(book->arena, "%s silent: %s.",
                                       an_say_many(book->arena, (int64_t)(silent - MOST_STATIONS),
                                                   "more station"),
                                       an_book_page_words(book, "intake")));
    }
    if (empty) {
        const size_t kept = empty < MOST_NAMES + 1 ? empty : MOST_NAMES;
        const char *list = an_say_list(book->arena, names, kept, MOST_NAMES + 1);
        an_bullets_add(book, bullets, false, false, "intake",
                       kept < empty
                           ? an_arena_printf(book->arena,
                                             "Nothing of this %s came from %s and %zu more.",
                                             book->data->word, list, empty - kept)
                           : an_arena_printf(book->arena, "Nothing of this %s came from %s.",
                                             book->data->word, list));
    }
}

static void held_things(struct an_book *book, struct an_bullets *bullets)
{
    const struct an_period_data *data = book->data;
    int64_t rows = 0;
    for (size_t i = 0; i < data->held_count; i++) {
        rows += data->held[i].rows;
    }
    if (rows) {
        an_bullets_add(book, bullets, true, false, "held",
                       an_arena_printf(book->arena, "%s held, not taken:",
                                       an_say_many(book->arena, rows, "row")));
    }
    size_t shown = 0;
    for (size_t i = 0; i < data->held_count && rows; i++) {
        if (shown < MOST_REASONS && data->held[i].rows) {
            an_bullets_add(book, bullets, false, true, "held",
                           an_arena_printf(book->arena, "%s at %s: %s", data->held[i].code,
                                           data->held[i].station,
                                           an_say_many(book->arena, data->held[i].rows, "row")));
            shown++;
        } else if (shown == MOST_REASONS && data->held[i].rows) {
            an_bullets_add(book, bullets, false, true, "held",
                           an_arena_printf(book->arena, "and more reasons on %s",
                                           an_book_page_words(book, "held")));
            shown++;
        }
    }
    for (size_t i = 0; i < data->held_file_count && i < MOST_FILES; i++) {
        const struct an_file *file = &data->held_files[i];
        an_bullets_add(book, bullets, i == 0, false, "held-files",
                       an_arena_printf(book->arena, "File %s held whole: %s",
                                       file->name ? file->name : "without a name",
                                       file->why    ? file->why
                                       : file->code ? file->code
                                                    : "no reason"));
    }
    if (data->held_file_count > MOST_FILES) {
        an_bullets_add(book, bullets, false, false, "held-files",
                       an_arena_printf(book->arena, "%zu more files are held: %s.",
                                       data->held_file_count - MOST_FILES,
                                       an_book_page_words(book, "held-files")));
    }
}

static void named_streams(struct an_book *book, struct an_bullets *bullets,
                          const struct an_text_list *list, const char *verb)
{
    if (list->count) {
        an_bullets_add(
            book, bullets, false, false, NULL,
            an_arena_printf(book->arena, "%s %s: %s.",
                            an_say_many(book->arena, (int64_t)list->count, "stream"), verb,
                            an_say_list(book->arena, list->at, list->count, MOST_NAMES)));
    }
}

struct an_bullets an_bullets_missing(struct an_book *book)
{
    const struct an_period_data *data = book->data;
    struct an_bullets bullets = {0};
    silent_stations(book, &bullets);
    held_things(book, &bullets);
    named_streams(book, &bullets, &data->no_limits, "without locked limits, not judged");
    named_streams(
        book, &bullets, &data->absent,
        an_book_text(book, an_arena_printf(book->arena, "of the last %s sent nothing in this one",
                                           data->word)));
    named_streams(book, &bullets, &data->gone, "no longer in the line description");
    if (!bullets.count) {
        an_bullets_add(
            book, &bullets, true, false, NULL,
            "Nothing: every station reported, no row or file is held, every stream that was "
            "measured has limits.");
    }
    return bullets;
}

/* ---- due ------------------------------------------------------------------------------------ */
struct an_bullets an_bullets_due(struct an_book *book)
{
    const struct an_period_data *data = book->data;
    struct an_bullets bullets = {0};
    if (data->due_count) {
        an_bullets_add(book, &bullets, true, false, NULL,
                       an_arena_printf(book->arena, "%s of earlier %ss without an answer:",
                                       an_say_many(book->arena, (int64_t)data->due_count, "signal"),
                                       data->word));
    }
    const size_t shown = data->due_count <= MOST_DUE + 1 ? data->due_count : MOST_DUE;
    for (size_t i = 0; i < shown; i++) {
        const struct an_due_signal *due = &data->due[i];
        an_bullets_add(book, &bullets, false, true, NULL,
                       an_arena_printf(book->arena, "%s %s (signal %" PRId64 "): %s, %s ago",
                                       due->code, due->title, due->signal_id,
                                       an_say_time(book->arena, data->line->zone, due->signal_us),
                                       an_say_span(book->arena, data->as_of_us - due->signal_us)));
    }
    if (shown < data->due_count) {
        an_bullets_add(book, &bullets, false, true, NULL,
                       an_arena_printf(book->arena,
                                       "and %zu younger ones: andamento signals lists them",
                                       data->due_count - shown));
    }
    if (data->open_signals) {
        an_bullets_add(
            book, &bullets, false, false, NULL,
            an_arena_printf(book->arena, "%s of this %s to be answered (boxes above).",
                            an_say_many(book->arena, (int64_t)data->open_signals, "signal"),
                            data->word));
    }
    if (data->proposed.count) {
        an_bullets_add(book, &bullets, false, false, NULL,
                       an_arena_printf(book->arena, "Limits proposed, not locked: %s.",
                                       an_say_list(book->arena, data->proposed.at,
                                                   data->proposed.count, MOST_NAMES)));
    }
    if (data->uncertain.count) {
        an_bullets_add(book, &bullets, false, false, NULL,
                       an_arena_printf(book->arena,
                                       "Limits learned from fewer than %zu samples: %s.",
                                       data->definition->few_samples,
                                       an_say_list(book->arena, data->uncertain.at,
                                                   data->uncertain.count, MOST_NAMES)));
    }
    if (!bullets.count) {
        an_bullets_add(book, &bullets, true, false, NULL,
                       "Nothing: no signal waits for an answer, no limits wait for a lock.");
    }
    return bullets;
}
