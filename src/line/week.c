/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Weeks of the line. Responsible for giving every instant to exactly one week; must never assume
 * that a week has 168 hours.
 */
#include "line/line.h"

#include <stdio.h>

enum { DAYS_A_WEEK = 7, FIRST_MONDAY = 4 }; /* 1970-01-05 */

/* Minute of the local day at which a week turns: where the first shift of a day starts. */
static int turn_of(const struct an_line *line)
{
    int turn = line->shift_count ? line->shifts[0].start_minute : 0;

    for (size_t i = 1; i < line->shift_count; i++) {
        turn = line->shifts[i].start_minute < turn ? line->shifts[i].start_minute : turn;
    }
    return turn;
}

static int64_t monday_of(int64_t day)
{
    int64_t past = (day - FIRST_MONDAY) % DAYS_A_WEEK;

    past += past < 0 ? DAYS_A_WEEK : 0;
    return day - past;
}

static struct an_week week_of(const struct an_line *line, int64_t monday)
{
    const int turn = turn_of(line);

    return (struct an_week){.from_us = an_line_moment(line, monday, turn),
                            .until_us = an_line_moment(line, monday + DAYS_A_WEEK, turn),
                            .monday = monday};
}

struct an_week an_line_week_at(const struct an_line *line, int64_t at_us)
{
    const struct an_civil civil = an_zone_civil(line->zone, at_us);
    const int64_t monday = monday_of(an_civil_days(&civil));
    const struct an_week week = week_of(line, monday);

    return at_us < week.from_us ? week_of(line, monday - DAYS_A_WEEK) : week;
}

struct an_week an_line_week_before(const struct an_line *line, const struct an_week *week)
{
    return week_of(line, week->monday - DAYS_A_WEEK);
}

char *an_line_week_label(const struct an_week *week, char buffer[16])
{
    const struct an_civil civil = an_civil_of_utc(week->monday * AN_DAY_US);
    int year = 0;
    int number = 0;

    an_civil_week(&civil, &year, &number);
    (void)snprintf(buffer, 16, "%04d-W%02d", year % 10000, number % 100);
    return buffer;
}

static bool read_digits(const unsigned char *at, size_t count, int *value)
{
    *value = 0;
    for (size_t i = 0; i < count; i++) {
        if (at[i] < '0' || at[i] > '9') {
            return false;
        }
        *value = *value * 10 + (at[i] - '0');
    }
    return true;
}

enum an_status an_line_week_parse(const struct an_line *line, struct an_bytes label,
                                  struct an_week *week, struct an_error *err)
{
    int year = 0;
    int number = 0;

    if (label.length == 8 && label.at[4] == '-' && label.at[5] == 'W' &&
        read_digits(label.at, 4, &year) && read_digits(label.at + 6, 2, &number) && year >= 1) {
        /* the fourth of January lies in week 1 */
        const struct an_civil fourth = {.year = year, .month = 1, .day = 4};
        const int64_t monday =
            monday_of(an_civil_days(&fourth)) + (int64_t)DAYS_A_WEEK * (number - 1);
        const struct an_civil civil = an_civil_of_utc(monday * AN_DAY_US);
        int found_year = 0;
        int found = 0;

        an_civil_week(&civil, &found_year, &found);
        if (found == number && found_year == year) {
            *week = week_of(line, monday);
            return AN_OK;
        }
    }
    return an_fail(err, AN_BAD_USAGE,
                   "no week '%.*s'; write the year and the week of it, such as '2026-W10'",
                   (int)(label.length < 40 ? label.length : 40), (const char *)label.at);
}
