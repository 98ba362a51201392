/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The pace of a stream. Must never take the shift that is still running for a whole one, nor a pause of the
 * stream for the absence of shifts: what is counted is planned time.
 */
#include "judge/pace.h"

#include <math.h>

/* The planned shift that holds an instant, or the one before it where none does. */
static struct an_shift planned_at(const struct an_line *line, int64_t at_us)
{
    const struct an_shift shift = an_line_shift_at(line, at_us);

    return shift.pattern == AN_NONE ? an_line_shift_before(line, &shift) : shift;
}

static size_t count_before(const struct an_sample *samples, size_t count, int64_t until_us)
{
    size_t n = 0;

    while (n < count && samples[n].at_us < until_us) {
        n++;
    }
    return n;
}

static size_t count_events(const struct an_sample *samples, size_t count)
{
    size_t n = 0;

    for (size_t i = 0; i < count; i++) {
        n += samples[i].count > 0;
    }
    return n;
}

/* Shifts from the one of the first sample to the last whole one. */
static void count_shifts(const struct an_line *line, int64_t first_us, int64_t newest_us,
                         struct an_pace *pace)
{
    const struct an_shift newest = planned_at(line, newest_us);
    struct an_shift shift = planned_at(line, first_us);
    double length_us = 0;

    pace->from_us = shift.from_us;
    pace->until_us = shift.from_us < newest.from_us ? newest.from_us : newest.until_us;
    for (; shift.from_us < pace->until_us; shift = an_line_shift_after(line, &shift)) {
        length_us += (double)(shift.until_us - shift.from_us);
        pace->shifts++;
    }
    pace->shift_hours = length_us / (double)pace->shifts / 3.6e9;
}

static void count_days(const struct an_line *line, int64_t first_us, int64_t newest_us,
                       struct an_pace *pace)
{
    const struct an_civil first = an_zone_civil(line->zone, first_us);
    const struct an_civil last = an_zone_civil(line->zone, newest_us);
    const int64_t from = an_civil_days(&first);
    const int64_t newest = an_civil_days(&last);
    const int64_t until = from < newest ? newest : newest + 1;

    pace->by_day = true;
    pace->from_us = an_line_moment(line, from, 0);
    pace->until_us = an_line_moment(line, until, 0);
    pace->shifts = (size_t)(until - from);
    pace->shift_hours = 24;
}

/* The period begins with a whole shift (or day), and with the first sample's if the stream is younger. */
static enum an_status count_all(struct an_store *store, const struct an_line *line,
                                int64_t stream_id, struct an_arena *scratch, struct an_pace *pace,
                                struct an_error *err)
{
    struct an_sample *samples = NULL;
    size_t count = 0;
    size_t older = 0;
    enum an_status st =
        an_store_samples_before(store, stream_id, INT64_MAX, 1, scratch, &samples, &count, err);
    if (st || !count) {
        return st;
    }
    const int64_t newest_us = samples[0].at_us;
    int64_t from_us = newest_us - AN_PACE_DAYS * AN_DAY_US;
    if (line->shift_count) {
        from_us = planned_at(line, from_us).from_us;
    } else {
        const struct an_civil day = an_zone_civil(line->zone, from_us);
        from_us = an_line_moment(line, an_civil_days(&day), 0);
    }
    st = an_store_samples_before(store, stream_id, from_us, 1, scratch, &samples, &older, err);
    st = st ? st
            : an_store_samples(store, stream_id, from_us, newest_us + 1, 0, scratch, &samples,
                               &count, err);
    if (st || !count) {
        return st;
    }
    (line->shift_count ? count_shifts : count_days)(line, older ? from_us : samples[0].at_us,
                                                    newest_us, pace);
    pace->samples = (double)count_before(samples, count, pace->until_us);
    pace->samples_per_shift = pace->samples / (double)pace->shifts;
    pace->events_per_shift =
        (double)count_events(samples, (size_t)pace->samples) / (double)pace->shifts;
    return AN_OK;
}

enum an_status an_pace_of(struct an_store *store, const struct an_line *line, int64_t stream_id,
                          struct an_pace *pace, struct an_error *err)
{
    struct an_arena *scratch = an_arena_open();

    *pace = (struct an_pace){.samples_per_shift = (double)NAN,
                             .events_per_shift = (double)NAN,
                             .shift_hours = (double)NAN,
                             .by_day = line->shift_count == 0,
                             .from_us = AN_NO_INSTANT,
                             .until_us = AN_NO_INSTANT};
    const enum an_status st =
        scratch ? count_all(store, line, stream_id, scratch, pace, err)
                : an_fail(err, AN_NO_MEMORY, "out of memory while counting a stream's samples");
    an_arena_close(scratch);
    return st;
}

double an_pace_hours(const struct an_pace *pace, double samples)
{
    return samples / pace->samples_per_shift * pace->shift_hours;
}
