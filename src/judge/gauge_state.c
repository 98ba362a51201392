/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The state of a gauge in words: its newest study and until when it is calibrated. Says what is on
 * record and no more: a gauge without a study is not a bad gauge, it is one nobody has looked at.
 */
#include "andamento/base/instant.h"
#include "judge/gauge.h"

#include <string.h>

static const char *day(const struct an_line *line, int64_t at_us, char text[40])
{
    an_instant_rfc3339_in(line->zone, at_us, text);
    text[10] = '\0';
    return text;
}

static const char *studied_text(const struct an_line *line, const struct an_gauge_state *state,
                                struct an_arena *arena)
{
    char text[40];
    if (!state->studied) {
        return "no study on record";
    }
    return an_arena_printf(
        arena, "%s (study %lld, %s, %s)", state->newest.verdict, (long long)state->newest.study_id,
        an_gauge_kind_name(state->newest.kind), day(line, state->newest.known_us, text));
}

/* The newest stability study, where it is not the one that speaks and found something. */
static const char *stability_text(const struct an_line *line,
                                  const struct an_gauge_record *stability, struct an_arena *arena)
{
    char text[40];
    if (!stability) {
        return "";
    }
    return an_arena_printf(arena, "; %s (study %lld, %s, %s)", stability->verdict,
                           (long long)stability->study_id, an_gauge_kind_name(stability->kind),
                           day(line, stability->known_us, text));
}

static const char *calibration_text(const struct an_line *line, const struct an_gauge_state *state,
                                    struct an_arena *arena)
{
    char text[40];
    if (state->until_us == AN_NO_INSTANT) {
        return "";
    }
    /* the instant is the end of the last day */
    return an_arena_printf(arena, "; calibrat%s %s", state->overdue ? "ion ended" : "ed until",
                           day(line, state->until_us - 1000000, text));
}

enum an_status an_gauge_state_of(const struct an_line *line, const char *gauge,
                                 const struct an_gauge_record studies[], size_t count,
                                 int64_t at_us, struct an_arena *arena,
                                 struct an_gauge_state *state, struct an_error *err)
{
    *state = (struct an_gauge_state){.name = gauge, .until_us = AN_NO_INSTANT};
    const struct an_gauge_record *stability = NULL;
    for (size_t i = 0; i < count; i++) {
        if (strcmp(studies[i].gauge, gauge) == 0) {
            state->studies++;
            stability =
                !stability && studies[i].kind == AN_GAUGE_STABILITY ? &studies[i] : stability;
            /* a crossed or sorting study says most: the newest of them, else the newest */
            const bool says_more = state->studied && studies[i].kind == AN_GAUGE_CROSSED &&
                                   state->newest.kind != AN_GAUGE_CROSSED &&
                                   state->newest.kind != AN_GAUGE_SORTING;
            if (!state->studied || says_more) {
                state->newest = studies[i];
            }
            state->studied = true;
        }
    }
    state->grade = state->newest.grade;
    if (stability &&
        (stability->study_id == state->newest.study_id || stability->grade == AN_GRADE_FIT)) {
        stability = NULL; /* nothing to add */
    }
    if (stability && stability->grade > state->grade) {
        state->grade = stability->grade;
    }
    for (size_t i = 0; i < line->gauge_count; i++) {
        if (strcmp(line->gauges[i].name, gauge) == 0) {
            state->until_us = line->gauges[i].until_us;
            state->station = line->gauges[i].station;
        }
    }
    state->overdue = state->until_us != AN_NO_INSTANT && at_us >= state->until_us;
    state->needs_look = !state->studied || state->grade != AN_GRADE_FIT || state->overdue;
    const char *said = studied_text(line, state, arena);
    const char *wanders = stability_text(line, stability, arena);
    const char *calibrated = calibration_text(line, state, arena);
    state->text = said && wanders && calibrated
                      ? an_arena_printf(arena, "%s%s%s", said, wanders, calibrated)
                      : NULL;
    return state->text ? AN_OK : an_fail(err, AN_NO_MEMORY, "out of memory");
}
