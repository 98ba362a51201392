/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Dates against facts that anybody can look up: RFC 3339 section 5.8 examples, ISO 8601 week
 * dates, the European Union's clock changes of 2026 (29 March and 25 October, 01:00 UTC).
 */
#include "andamento/base/instant.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

START_TEST(days_agree_with_the_c_library)
{
    for (int64_t day = -200000; day < 200000; day += 37) {
        const struct an_civil civil = an_civil_of_utc(day * AN_DAY_US + 3661 * AN_SECOND_US);
        const time_t at = (time_t)(day * 86400 + 3661);
        struct tm tm;
        ck_assert_ptr_nonnull(gmtime_r(&at, &tm));
        ck_assert_int_eq(civil.year, tm.tm_year + 1900);
        ck_assert_int_eq(civil.month, tm.tm_mon + 1);
        ck_assert_int_eq(civil.day, tm.tm_mday);
        ck_assert_int_eq(civil.hour, 1);
        ck_assert_int_eq(civil.minute, 1);
        ck_assert_int_eq(civil.second, 1);
        ck_assert_int_eq(an_civil_weekday(&civil) % 7, tm.tm_wday);
        ck_assert_int_eq(an_civil_to_utc(&civil), day * AN_DAY_US + 3661 * AN_SECOND_US);
    }
}
END_TEST

/* The ends of 64 bits of microseconds: 292,277 years either way, by the C library's calendar. */
START_TEST(ends_of_time)
{
    static const int64_t ends[] = {INT64_MIN, INT64_MIN + 1, INT64_MAX, INT64_MAX - 999999};
    struct an_zone *zone = NULL;
    char text[40];
    ck_assert_int_eq(an_zone_open("Europe/Rome", &zone, NULL), AN_OK);
    for (size_t i = 0; i < sizeof ends / sizeof *ends; i++) {
        const struct an_civil civil = an_civil_of_utc(ends[i]);
        const time_t at = (time_t)(ends[i] / AN_SECOND_US - (ends[i] % AN_SECOND_US < 0));
        struct tm tm;
        ck_assert_ptr_nonnull(gmtime_r(&at, &tm));
        ck_assert_int_eq(civil.year, tm.tm_year + 1900);
        ck_assert_int_eq(civil.month, tm.tm_mon + 1);
        ck_assert_int_eq(civil.day, tm.tm_mday);
        ck_assert_int_eq(civil.second, tm.tm_sec);
        ck_assert_int_eq(civil.microsecond, (ends[i] % AN_SECOND_US + AN_SECOND_US) % AN_SECOND_US);
        ck_assert_int_eq(an_civil_to_utc(&civil), ends[i]);
        ck_assert_uint_gt(strlen(an_instant_rfc3339_in(zone, ends[i], text)), 19);
    }
    an_zone_close(zone);
}
END_TEST

/* ISO 8601: examples of week dates from memory, each easy to check in a calendar */
static const struct {
    int year, month, day, week_year, week, weekday;
} week_rows[] = {
    {2005, 1, 1, 2004, 53, 6},  {2005, 1, 2, 2004, 53, 7}, {2007, 1, 1, 2007, 1, 1},
    {2008, 12, 29, 2009, 1, 1}, {2010, 1, 3, 2009, 53, 7}, {2026, 3, 4, 2026, 10, 3},
};

START_TEST(iso_weeks)
{
    const struct an_civil civil = {
        .year = week_rows[_i].year, .month = week_rows[_i].month, .day = week_rows[_i].day};
    int year = 0;
    int week = 0;
    an_civil_week(&civil, &year, &week);
    ck_assert_int_eq(year, week_rows[_i].week_year);
    ck_assert_int_eq(week, week_rows[_i].week);
    ck_assert_int_eq(an_civil_weekday(&civil), week_rows[_i].weekday);
}
END_TEST

static const struct {
    const char *field, *pattern, *utc; /* utc NULL: refused */
} parse_rows[] = {
    /* RFC 3339, section 5.8 */
    {"1985-04-12T23:20:50.52Z", "rfc3339", "1985-04-12T23:20:50.520000Z"},
    {"1996-12-19T16:39:57-08:00", "rfc3339", "1996-12-20T00:39:57Z"},
    {"1990-12-31T23:59:60Z", "rfc3339", NULL}, /* a leap second has no place in POSIX time */
    {"1937-01-01T12:00:27.87+00:20", "rfc3339", "1937-01-01T11:40:27.870000Z"},
    {"2026-11-24T22:14:07+01:00", "rfc3339", "2026-11-24T21:14:07Z"},
    {"2026-11-24T22:14:07", "rfc3339", NULL},
    {"2026-02-30T00:00:00Z", "rfc3339", NULL},
    {"2026-02-28T24:00:00Z", "rfc3339", NULL},
    {"2026-11-24T22:14:07Z ", "rfc3339", NULL},
    {"24.11.2026 22:31:40", "%d.%m.%Y %H:%M:%S", "2026-11-24T22:31:40Z"},
    {"24.11.2026 22:31:40,25", "%d.%m.%Y %H:%M:%S", "2026-11-24T22:31:40.250000Z"},
    {"24/11/26", "%d/%m/%Y", NULL},
    {"24/11/26", "%d/%m/%y", "2026-11-24T00:00:00Z"},
    {"4 Mar 2026 2:05 pm", "%d %b %Y %I:%M %p", "2026-03-04T14:05:00Z"},
    {"4 Mar 2026 12:05 AM", "%d %b %Y %I:%M %p", "2026-03-04T00:05:00Z"},
    {"46350", "%n", "2026-11-24T00:00:00Z"}, /* day number of a spreadsheet's 1900 system */
    {"46350.5", "%n", "2026-11-24T12:00:00Z"},
    {"2958465", "%n", "9999-12-31T00:00:00Z"}, /* the last day that the calendar here has */
    {"2958466", "%n", NULL},
    {"460846246", "%n", NULL}, /* days whose microseconds do not fit 64 bits */
    {"99999999999", "%n", NULL},
    {"253402300800", "%s", NULL},
    {"1772582400.5", "%s", "2026-03-04T00:00:00.500000Z"},
    {"46350", "%Y-%m-%d", NULL},
    {"", "%Y", NULL},
};

START_TEST(patterns)
{
    struct an_civil civil = {0};
    const enum an_status st =
        an_civil_parse(an_bytes_of(parse_rows[_i].field), parse_rows[_i].pattern, &civil);
    if (!parse_rows[_i].utc) {
        ck_assert_int_eq(st, AN_DOMAIN);
        return;
    }
    char buffer[40];
    ck_assert_int_eq(st, AN_OK);
    ck_assert_str_eq(an_instant_rfc3339(an_civil_to_utc(&civil), buffer), parse_rows[_i].utc);
}
END_TEST

static const struct {
    const char *pattern;
    bool good;
} pattern_rows[] = {{"rfc3339", true}, {"%d.%m.%Y %H:%M", true}, {"%n", true},   {"%s", true},
                    {"%H:%M", false},  {"%d.%q.%Y", false},      {"%d%", false}, {"", false}};

START_TEST(pattern_check)
{
    struct an_error err = {0};
    ck_assert_int_eq(an_civil_pattern_check(pattern_rows[_i].pattern, &err),
                     pattern_rows[_i].good ? AN_OK : AN_BAD_CONFIG);
    ck_assert(pattern_rows[_i].good || err.text[0]);
}
END_TEST

START_TEST(clock_changes)
{
    struct an_zone *zone = NULL;
    ck_assert_int_eq(an_zone_open("Europe/Rome", &zone, NULL), AN_OK);
    static const struct {
        const char *local;
        int found;
        const char *first, *second;
    } rows[] = {
        {"2026-03-29 01:59:59", 1, "2026-03-29T00:59:59Z", NULL},
        {"2026-03-29 02:30:00", 0, NULL, NULL}, /* the hour that is not */
        {"2026-03-29 03:00:00", 1, "2026-03-29T01:00:00Z", NULL},
        {"2026-10-25 01:59:59", 1, "2026-10-24T23:59:59Z", NULL},
        {"2026-10-25 02:30:00", 2, "2026-10-25T00:30:00Z", "2026-10-25T01:30:00Z"},
        {"2026-10-25 03:00:00", 1, "2026-10-25T02:00:00Z", NULL},
        {"2026-07-01 12:00:00", 1, "2026-07-01T10:00:00Z", NULL},
        {"2026-12-01 12:00:00", 1, "2026-12-01T11:00:00Z", NULL},
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct an_civil civil;
        int64_t at[2];
        char buffer[40];
        ck_assert_int_eq(an_civil_parse(an_bytes_of(rows[i].local), "%Y-%m-%d %H:%M:%S", &civil),
                         AN_OK);
        ck_assert_int_eq(an_zone_instants(zone, &civil, at), rows[i].found);
        if (rows[i].first) {
            ck_assert_str_eq(an_instant_rfc3339(at[0], buffer), rows[i].first);
        }
        if (rows[i].second) {
            ck_assert_str_eq(an_instant_rfc3339(at[1], buffer), rows[i].second);
        }
        for (int k = 0; k < rows[i].found; k++) { /* and back */
            const struct an_civil shown = an_zone_civil(zone, at[k]);
            ck_assert_int_eq(shown.hour, civil.hour);
            ck_assert_int_eq(shown.minute, civil.minute);
        }
    }
    struct an_error err = {0};
    int64_t at_us = 0;
    ck_assert_int_eq(an_instant_parse(an_bytes_of("2026-03-29T02:30"), zone, &at_us, &err),
                     AN_BAD_USAGE);
    ck_assert_ptr_nonnull(strstr(err.text, "never"));
    ck_assert_int_eq(an_instant_parse(an_bytes_of("2026-03-04"), zone, &at_us, &err), AN_OK);
    char buffer[40];
    ck_assert_str_eq(an_instant_rfc3339(at_us, buffer), "2026-03-03T23:00:00Z");
    ck_assert_str_eq(an_instant_rfc3339_in(zone, at_us, buffer), "2026-03-04T00:00:00+01:00");
    ck_assert_str_eq(an_instant_spoken(zone, at_us, buffer), "4 March 00:00");
    an_zone_close(zone);
    ck_assert_int_eq(an_zone_open("Nowhere/Atall", &zone, &err), AN_NOT_FOUND);
    ck_assert_ptr_null(zone);
}
END_TEST

START_TEST(fixed_clock)
{
    ck_assert_int_eq(setenv("ANDAMENTO_CLOCK", "2026-03-04T01:02:03Z", 1), 0);
    char buffer[40];
    ck_assert_str_eq(an_instant_rfc3339(an_clock_now_us(), buffer), "2026-03-04T01:02:03Z");
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("instant");
    TCase *tests = tcase_create("instant");
    tcase_add_test(tests, days_agree_with_the_c_library);
    tcase_add_test(tests, ends_of_time);
    tcase_add_loop_test(tests, iso_weeks, 0, (int)(sizeof week_rows / sizeof *week_rows));
    tcase_add_loop_test(tests, patterns, 0, (int)(sizeof parse_rows / sizeof *parse_rows));
    tcase_add_loop_test(tests, pattern_check, 0, (int)(sizeof pattern_rows / sizeof *pattern_rows));
    tcase_add_test(tests, clock_changes);
    tcase_add_test(tests, fixed_clock);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
