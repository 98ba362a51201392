/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Turns time fields into instants. Must never shift a time that does not exist, nor choose one of
 * two without evidence.
 *
 * The evidence for an hour that comes twice: if times never go back in the whole file but once,
 * inside that hour, then the rows before that step lie in its first pass and the others in its
 * second. Without such a step both readings agree with the file, and the rows are held.
 */
#include "intake/when.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

void an_when_begin(struct an_when *when)
{
    const bool settled = when->settled;
    const size_t count = when->count;

    when->in_twice = false;
    when->disordered = false;
    when->has_last = false;
    when->has_sequence = false;
    when->cached.length = 0;
    when->count = settled ? count : 0;
    when->overflow = false;
}

static void see_sequence(struct an_when *when, const struct an_row *row, const struct an_plan *plan)
{
    int64_t number = 0;

    if (plan->sequence == AN_NONE ||
        an_integer_parse(row->cells[plan->sequence].text, &number) != AN_OK) {
        return;
    }
    when->disordered = when->disordered || (when->has_sequence && number < when->last_sequence);
    when->has_sequence = true;
    when->last_sequence = number;
}

/* A time that is there once: order is only watched. */
static void see_once(struct an_when *when, int64_t naive_us)
{
    when->disordered = when->disordered || (when->has_last && naive_us < when->last_naive_us);
    when->has_last = true;
    when->last_naive_us = naive_us;
    when->in_twice = false;
}

static void see_twice(struct an_when *when, uint64_t line, int64_t naive_us)
{
    if (!when->in_twice) {
        when->disordered = when->disordered || (when->has_last && naive_us < when->last_naive_us);
        if (when->count == AN_MOST_TWICE) {
            when->overflow = true;
            return;
        }
        when->at[when->count++] = (struct an_twice){line, line, 0, 0, naive_us};
        when->in_twice = true;
    }
    struct an_twice *twice = &when->at[when->count - 1];
    if (naive_us < twice->last_naive_us) {
        twice->steps++;
        twice->step_line = line;
    }
    twice->last_naive_us = naive_us;
    twice->last_line = line;
    when->has_last = true;
    when->last_naive_us = naive_us;
}

static bool read_twice(struct an_when *when, struct an_row *row, const struct an_plan *plan,
                       const int64_t at_us[2], int64_t naive_us, struct an_complaint *complaint)
{
    if (!when->settled) {
        see_twice(when, row->line, naive_us);
    } else {
        for (size_t i = 0; i < when->count; i++) {
            const struct an_twice *twice = &when->at[i];

            if (row->line >= twice->first_line && row->line <= twice->last_line &&
                twice->steps == 1) {
                row->at_us = at_us[row->line >= twice->step_line];
                return true;
            }
        }
    }
    return an_row_complain(row, plan, plan->time, AN_HOLD_TIME_TWICE, complaint,
                           "\"%s\" came twice in %s, and the order of the rows does not tell which "
                           "it is",
                           an_shown(row->cells[plan->time].text).text, an_zone_name(plan->zone));
}

static bool complain_bad(const struct an_row *row, const struct an_plan *plan,
                         struct an_complaint *complaint)
{
    const struct an_bytes text = row->cells[plan->time].text;
    struct an_decimal number;
    const char *hint = "";

    if (an_decimal_parse(text, '.', 0, &number) == AN_OK ||
        an_decimal_parse(text, ',', 0, &number) == AN_OK) {
        hint = number.value > 20000 && number.value < 90000
                   ? "; it looks like a spreadsheet's day number"
                   : "; it is a plain number";
    }
    return an_row_complain(row, plan, plan->time, AN_HOLD_TIME_BAD, complaint,
                           "\"%s\" does not fit \"%s\" or is no day of the calendar%s",
                           an_shown(text).text, plan->station->time.pattern, hint);
}

static bool read_local(struct an_when *when, struct an_row *row, const struct an_plan *plan,
                       const struct an_civil *civil, struct an_complaint *complaint)
{
    int64_t at_us[2] = {0, 0};
    const int64_t naive_us = an_civil_to_utc(civil);
    const int instants = an_zone_instants(plan->zone, civil, at_us);

    if (instants == 2) {
        when->cached.length = 0; /* what it means depends on the row */
        return read_twice(when, row, plan, at_us, naive_us, complaint);
    }
    if (instants == 0) {
        return an_row_complain(row, plan, plan->time, AN_HOLD_TIME_SKIPPED, complaint,
                               "the clock of %s jumped over \"%s\"", an_zone_name(plan->zone),
                               an_shown(row->cells[plan->time].text).text);
    }
    see_once(when, naive_us);
    row->at_us = at_us[0];
    return true;
}

bool an_when_read(struct an_when *when, struct an_row *row, const struct an_plan *plan,
                  struct an_complaint *complaint)
{
    const struct an_bytes text = row->cells[plan->time].text;
    struct an_civil civil;

    if (text.length == 0) {
        return an_row_complain(row, plan, plan->time, AN_HOLD_TIME_MISSING, complaint,
                               "the row has no time");
    }
    see_sequence(when, row, plan);
    if (when->cached.length && an_bytes_equal(text, when->cached)) {
        row->at_us = when->cached_us;
        return true;
    }
    memset(&civil, 0, sizeof civil);
    if (an_civil_parse(text, plan->station->time.pattern, &civil) != AN_OK) {
        return complain_bad(row, plan, complaint);
    }
    if (civil.has_offset) {
        row->at_us = an_civil_to_utc(&civil);
        when->in_twice = false;
    } else if (!read_local(when, row, plan, &civil, complaint)) {
        return false;
    } else if (when->in_twice || when->settled) {
        return true;
    }
    if (text.length <= sizeof when->cache) {
        memcpy(when->cache, text.at, text.length);
        when->cached = (struct an_bytes){when->cache, text.length};
        when->cached_us = row->at_us;
    }
    return true;
}

bool an_when_settle(struct an_when *when)
{
    bool any = false;

    if (when->settled || when->disordered || when->overflow) {
        return false;
    }
    for (size_t i = 0; i < when->count; i++) {
        any = any || when->at[i].steps == 1;
    }
    when->settled = any;
    return any;
}
