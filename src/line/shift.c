/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Which shift an instant belongs to. Responsible for local-time arithmetic over clock changes;
 * must never assume that a day has 24 hours.
 *
 * The hard idea: every boundary (a date and a minute of the local day) is turned into exactly one
 * instant by one function, so that the end of one shift and the start of the next can never differ.
 * A minute that comes twice is its first coming; one that the clock jumps over is the jump.
 */
#include "line/line.h"

#include <stdio.h>
#include <string.h>

static struct an_civil civil_of(int64_t day, int minute)
{
    struct an_civil civil = an_civil_of_utc(day * AN_DAY_US);
    civil.hour = minute / 60;
    civil.minute = minute % 60;
    civil.has_offset = false;
    civil.offset_s = 0;
    return civil;
}

/* The moment within (low, high] at which the zone's clock changes. */
static int64_t find_jump(const struct an_zone *zone, int64_t low_us, int64_t high_us)
{
    const int before = an_zone_civil(zone, low_us).offset_s;
    int64_t low = low_us / AN_SECOND_US;
    int64_t high = high_us / AN_SECOND_US;
    while (high - low > 1) {
        const int64_t middle = low + (high - low) / 2;
        if (an_zone_civil(zone, middle * AN_SECOND_US).offset_s == before) {
            low = middle;
        } else {
            high = middle;
        }
    }
    return high * AN_SECOND_US;
}

int64_t an_line_moment(const struct an_line *line, int64_t day, int minute)
{
    const struct an_civil civil = civil_of(day, minute);
    int64_t at_us[2];
    if (an_zone_instants(line->zone, &civil, at_us) > 0) {
        return at_us[0];
    }
    /* Jumped over: no offset is larger than 26 hours, and no zone jumps twice in two days. */
    const int64_t as_utc = day * AN_DAY_US + minute * AN_MINUTE_US;
    const int64_t early = an_zone_civil(line->zone, as_utc - AN_DAY_US).offset_s * AN_SECOND_US;
    const int64_t late = an_zone_civil(line->zone, as_utc + AN_DAY_US).offset_s * AN_SECOND_US;
    return find_jump(line->zone, as_utc - late - AN_SECOND_US, as_utc - early + AN_SECOND_US);
}

static struct an_shift shift_on(const struct an_line *line, size_t pattern, int64_t day)
{
    const struct an_shift_pattern_entry *entry = &line->shifts[pattern];
    const int64_t end_day = entry->end_minute <= entry->start_minute ? day + 1 : day;
    return (struct an_shift){.pattern = pattern,
                             .from_us = an_line_moment(line, day, entry->start_minute),
                             .until_us = an_line_moment(line, end_day, entry->end_minute),
                             .start_day = day};
}

static int64_t local_day(const struct an_line *line, int64_t at_us)
{
    const struct an_civil civil = an_zone_civil(line->zone, at_us);
    return an_civil_days(&civil);
}

/* The gap around an instant that no shift holds. */
static struct an_shift gap_at(const struct an_line *line, int64_t at_us, int64_t day)
{
    struct an_shift gap = {.pattern = AN_NONE, .from_us = INT64_MIN, .until_us = INT64_MAX};
    for (int64_t d = day - 2; d <= day + 2; d++) {
        for (size_t i = 0; i < line->shift_count; i++) {
            const struct an_shift shift = shift_on(line, i, d);
            if (shift.until_us <= at_us && shift.until_us > gap.from_us) {
                gap.from_us = shift.until_us;
            }
            if (shift.from_us > at_us && shift.from_us < gap.until_us) {
                gap.until_us = shift.from_us;
            }
        }
    }
    gap.start_day = line->shift_count > 0 ? local_day(line, gap.from_us) : day;
    return gap;
}

struct an_shift an_line_shift_at(const struct an_line *line, int64_t at_us)
{
    const int64_t day = local_day(line, at_us);
    for (int64_t d = day - 1; d <= day + 1; d++) {
        for (size_t i = 0; i < line->shift_count; i++) {
            const struct an_shift shift = shift_on(line, i, d);
            if (shift.from_us <= at_us && at_us < shift.until_us) {
                return shift;
            }
        }
    }
    return gap_at(line, at_us, day);
}

struct an_shift an_line_shift_before(const struct an_line *line, const struct an_shift *shift)
{
    struct an_shift before = an_line_shift_at(line, shift->from_us - 1);
    if (before.pattern == AN_NONE && line->shift_count > 0) {
        before = an_line_shift_at(line, before.from_us - 1);
    }
    return before;
}

struct an_shift an_line_shift_after(const struct an_line *line, const struct an_shift *shift)
{
    struct an_shift after = an_line_shift_at(line, shift->until_us);
    if (after.pattern == AN_NONE && line->shift_count > 0) {
        after = an_line_shift_at(line, after.until_us);
    }
    return after;
}

/* --- labels ---------------------------------------------------------------------------------- */

char *an_line_shift_label(const struct an_line *line, const struct an_shift *shift, char buffer[64])
{
    const struct an_civil day = an_civil_of_utc(shift->start_day * AN_DAY_US);
    const bool gap = shift->pattern >= line->shift_count;
    (void)snprintf(buffer, 64, "%04d-%02d-%02d %.40s", day.year, day.month, day.day,
                   gap ? "(no shift)" : line->shifts[shift->pattern].name);
    return buffer;
}

static enum an_status refuse_label(const struct an_line *line, struct an_bytes label,
                                   struct an_error *err)
{
    char names[240] = "";
    size_t length = 0;
    for (size_t i = 0; i < line->shift_count && length < sizeof names - 48; i++) {
        const int more = snprintf(names + length, sizeof names - length, "%s%s", i > 0 ? ", " : "",
                                  line->shifts[i].name);
        length += more > 0 ? (size_t)more : 0;
    }
    return an_fail(err, AN_BAD_USAGE,
                   "no shift '%.*s'; write a date and one of %s, such as '2026-03-04 %s'",
                   (int)(label.length < 64 ? label.length : 64), (const char *)label.at, names,
                   line->shift_count > 0 ? line->shifts[0].name : "early");
}

static bool read_date(struct an_bytes text, int64_t *day)
{
    struct an_civil civil;
    if (text.length != 10 || an_civil_parse(text, "%Y-%m-%d", &civil)) {
        return false;
    }
    *day = an_civil_days(&civil);
    return true;
}

enum an_status an_line_shift_parse(const struct an_line *line, struct an_bytes label,
                                   struct an_shift *shift, struct an_error *err)
{
    const struct an_bytes text = an_bytes_trim(label);
    int64_t day = 0;
    if (text.length < 12 || text.at[10] != ' ' ||
        !read_date((struct an_bytes){text.at, 10}, &day)) {
        return refuse_label(line, label, err);
    }
    const struct an_bytes name = an_bytes_trim((struct an_bytes){text.at + 11, text.length - 11});
    for (size_t i = 0; i < line->shift_count; i++) {
        if (an_bytes_are(name, line->shifts[i].name)) {
            *shift = shift_on(line, i, day);
            return AN_OK;
        }
    }
    return refuse_label(line, label, err);
}
