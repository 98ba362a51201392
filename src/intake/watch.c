/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Judges a file as a whole: parts in their order, the clock, the running number, what is kept of it.
 */
#include "intake/reading.h"
#include "intake/watch_parts.h"

#include <inttypes.h>
#include <string.h>

enum { MOST_MISSING = 1000 };

static const int64_t least_us = INT64_C(946684800000000); /* 2000-01-01T00:00:00Z */

static enum an_status out_of_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory");
}

/* ---- clocks and lateness ------------------------------------------------------------------------ */
struct span {
    char text[40];
};

static struct span say_span(int64_t us)
{
    struct span span;
    const double seconds = (double)us / 1e6;

    (void)snprintf(span.text, sizeof span.text, "%.3g %s",
                   seconds < 120      ? seconds
                   : seconds < 7200   ? seconds / 60
                   : seconds < 172800 ? seconds / 3600
                                      : seconds / 86400,
                   seconds < 120      ? "s"
                   : seconds < 7200   ? "min"
                   : seconds < 172800 ? "h"
                                      : "days");
    return span;
}

bool an_watch_items(struct an_reading *reading)
{
    const struct an_look *look = &reading->look;

    if (look->visits_before < 2 || 2 * look->visits_before <= look->visits) {
        return true;
    }
    return an_complain(&reading->whole, AN_HOLD_CLOCK, 0, 0, NULL,
                       "%" PRId64 " of %" PRId64 " items were here before they were made",
                       look->visits_before, look->visits);
}

static void judge_clock(struct an_reading *reading)
{
    const struct an_look *look = &reading->look;
    const int64_t tolerance_us = reading->plan->station->clock_tolerance_us;
    const int64_t now_us = an_clock_now_us();
    const int64_t ahead_us = reading->last_us == AN_NO_INSTANT ? 0 : reading->last_us - now_us;

    if (!tolerance_us || reading->plan->time == AN_NONE || reading->last_us == AN_NO_INSTANT) {
        return;
    }
    if (!reading->as_is && ahead_us > tolerance_us) {
        (void)an_complain(&reading->whole, AN_HOLD_CLOCK, 0, 0, NULL,
                          "its newest row lies %s in the future, %s are tolerated",
                          say_span(ahead_us).text, say_span(tolerance_us).text);
    } else if (!reading->as_is && reading->first_us < least_us) {
        (void)an_complain(&reading->whole, AN_HOLD_CLOCK, 0, 0, NULL,
                          "its oldest row is of before 2000, as a clock that lost its time tells");
    } else if (ahead_us > AN_SECOND_US) {
        an_note(&reading->notes, "clock.ahead", 0,
                "the station's clock is at least %s ahead of this machine's; times were kept as "
                "they came",
                say_span(ahead_us).text);
    }
    if (look->before_us > AN_SECOND_US) {
        an_note(&reading->notes, "clock.before", look->before_line,
                "an item was here up to %s before it was made by its station's clock: the clocks "
                "differ by as much; times were kept as they came",
                say_span(look->before_us).text);
    }
}

static enum an_status judge_lateness(struct an_reading *reading, struct an_error *err)
{
    const int64_t late_us = reading->plan->station->late_after_us;
    const int64_t earliest_us = reading->watch.earliest_us;
    int64_t until_us = AN_NO_INSTANT;
    const enum an_status st =
        an_store_station_until(reading->store, reading->plan->station->name, &until_us, err);

    if (!st && late_us && until_us != AN_NO_INSTANT && reading->watch.visits_put &&
        earliest_us < until_us - late_us) {
        an_note(&reading->notes, "rows.late", 0,
                "rows of up to %s before the station's newest came now; charts order them by "
                "their time, reports that were made stay as they are",
                say_span(until_us - earliest_us).text);
    }
    return st;
}

enum an_status an_watch_file(struct an_reading *reading, struct an_error *err)
{
    if (reading->only) { /* rows that were held: all else was told with the file, blanks too */
        reading->counts.rows -= reading->passed + reading->counts.blank;
        reading->counts.blank = 0;
        return AN_OK;
    }
    enum an_status st = an_look_put_waiting(&reading->finish, err);

    st = st ? st : an_watch_header(reading, err);

    st = st ? st : an_watch_identity(reading, err);
    if (st || reading->whole.reason != AN_HOLD_NO_REASON) {
        return st;
    }
    judge_clock(reading);
    if (reading->whole.reason != AN_HOLD_NO_REASON) {
        return AN_OK;
    }
    st = judge_lateness(reading, err);
    return st ? st : an_watch_streams(reading, err);
}

/* ---- keeping ------------------------------------------------------------------------------------ */
static enum an_status read_number(struct an_reading *reading, struct an_error *err)
{
    const struct an_plan *plan = reading->plan;
    struct an_bytes text = {NULL, 0};
    struct an_text name = {0};

    reading->trait.has_number = false;
    if (plan->file_number.is_set) {
        (void)an_source_safe_name(reading->source->path, &name);
        if (!name.failed) {
            (void)an_pattern_group(&plan->file_number, an_text_of(&name), &text);
        }
    } else if (plan->number != AN_NONE) {
        text =
            (struct an_bytes){(const unsigned char *)an_text_of(&reading->preamble[plan->number]),
                              reading->preamble[plan->number].length};
    }
    if (text.length) {
        reading->trait.has_number =
            an_integer_parse(text, &reading->trait.number) == AN_OK && reading->trait.number >= 0;
    }
    const bool failed = name.failed;
    an_text_free(&name);
    return failed ? out_of_memory(err) : AN_OK;
}

static enum an_status judge_number(struct an_reading *reading, int64_t file_id,
                                   const struct an_sha256 *hash, struct an_error *err)
{
    const char *station = reading->plan->station->name;
    const int64_t number = reading->trait.number;
    int64_t greatest = 0;
    bool any = false;
    bool came = false;
    enum an_status st =
        an_store_file_numbers(reading->store, station, number, hash, &any, &greatest, &came, err);

    if (st || !any) {
        return st;
    }
    if (came) {
        an_note(&reading->notes, "sequence.again", 0,
                "file number %" PRId64 " was there before with other bytes", number);
    }
    if (number > greatest + 1) {
        const int64_t missing = number - greatest - 1;

        an_note(&reading->notes, "sequence.gap", 0,
                "file number %" PRId64 " after %" PRId64 ": %" PRId64 " missing; nothing is said "
                "about what they held",
                number, greatest, missing);
        for (int64_t i = 1; !st && i <= missing && i <= MOST_MISSING; i++) {
            st = an_store_put_missing_file(reading->store, station, number - i, file_id, err);
        }
    }
    return st;
}

enum an_status an_watch_keep(struct an_reading *reading, int64_t file_id,
                             const struct an_sha256 *hash, struct an_error *err)
{
    struct an_file_trait *trait = &reading->trait;
    enum an_status st = read_number(reading, err);

    trait->file_id = file_id;
    trait->station = reading->plan->station->name;
    if (!st && trait->has_number) {
        st = judge_number(reading, file_id, hash, err);
    }
    if (st || (!trait->names && !trait->identity && !trait->has_number)) {
        return st;
    }
    return an_store_put_trait(reading->store, trait, err);
}
