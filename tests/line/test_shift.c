/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Shifts over midnight and over both clock changes. Europe/Rome: summer time from the last Sunday
 * of March, 01:00 UTC, to the last Sunday of October, 01:00 UTC [Directive 2000/84/EC], so in 2026
 * 29 March and 25 October; one hour ahead of UTC in winter, two in summer. Lord Howe Island changes
 * by half an hour, at 02:00 local, first Sunday of October and of April [IANA tz data].
 */
#include "support.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int64_t at(const char *rfc3339)
{
    int64_t us = 0;
    struct an_error err = {0};
    ck_assert_msg(an_instant_parse(an_bytes_of(rfc3339), NULL, &us, &err) == AN_OK, "%s", err.text);
    return us;
}

static struct an_line *line_with(const char *zone, const char *shifts)
{
    char text[512];
    (void)snprintf(text, sizeof text,
                   "line: a\nzone: %s\nshifts: %s\nkinds: {tile: }\n"
                   "stations: {s: {time: file, item: {kind: tile, column: id}}}\n",
                   zone, shifts);
    return read_good(text);
}

#define THREE "{early: 06:00, late: 14:00, night: 22:00}"
#define TWELVE "{day: 06:00, dark: 18:00}"

static const struct {
    const char *zone, *shifts, *at, *label, *from, *until;
} rows[] = {
    /* an ordinary winter day */
    {"Europe/Rome", THREE, "2026-03-04T08:00:00Z", "2026-03-04 early", "2026-03-04T05:00:00Z",
     "2026-03-04T13:00:00Z"},
    {"Europe/Rome", THREE, "2026-03-04T13:00:00Z", "2026-03-04 late", "2026-03-04T13:00:00Z",
     "2026-03-04T21:00:00Z"},
    /* 02:10 local belongs to the night that began the evening before */
    {"Europe/Rome", THREE, "2026-03-04T01:10:00Z", "2026-03-03 night", "2026-03-03T21:00:00Z",
     "2026-03-04T05:00:00Z"},
    {"Europe/Rome", THREE, "2026-03-04T04:59:59.999999Z", "2026-03-03 night",
     "2026-03-03T21:00:00Z", "2026-03-04T05:00:00Z"},
    /* spring: the night of 28 March has 7 hours */
    {"Europe/Rome", THREE, "2026-03-29T00:59:00Z", "2026-03-28 night", "2026-03-28T21:00:00Z",
     "2026-03-29T04:00:00Z"},
    {"Europe/Rome", THREE, "2026-03-29T04:00:00Z", "2026-03-29 early", "2026-03-29T04:00:00Z",
     "2026-03-29T12:00:00Z"},
    /* autumn: the night of 24 October has 9 hours */
    {"Europe/Rome", THREE, "2026-10-25T00:30:00Z", "2026-10-24 night", "2026-10-24T20:00:00Z",
     "2026-10-25T05:00:00Z"},
    {"Europe/Rome", THREE, "2026-10-25T01:30:00Z", "2026-10-24 night", "2026-10-24T20:00:00Z",
     "2026-10-25T05:00:00Z"},
    /* two shifts of twelve hours: 11 and 13 */
    {"Europe/Rome", TWELVE, "2026-03-29T01:00:00Z", "2026-03-28 dark", "2026-03-28T17:00:00Z",
     "2026-03-29T04:00:00Z"},
    {"Europe/Rome", TWELVE, "2026-10-25T01:00:00Z", "2026-10-24 dark", "2026-10-24T16:00:00Z",
     "2026-10-25T05:00:00Z"},
    /* a boundary that the clock jumps over is the jump (02:30 of 29 March does not exist) */
    {"Europe/Rome", "{a: 02:30, b: 12:00}", "2026-03-29T00:59:59Z", "2026-03-28 b",
     "2026-03-28T11:00:00Z", "2026-03-29T01:00:00Z"},
    {"Europe/Rome", "{a: 02:30, b: 12:00}", "2026-03-29T01:00:00Z", "2026-03-29 a",
     "2026-03-29T01:00:00Z", "2026-03-29T10:00:00Z"},
    /* one that comes twice is its first coming (02:30 of 25 October at 00:30Z and 01:30Z) */
    {"Europe/Rome", "{a: 02:30, b: 12:00}", "2026-10-25T00:30:00Z", "2026-10-25 a",
     "2026-10-25T00:30:00Z", "2026-10-25T11:00:00Z"},
    {"Europe/Rome", "{a: 02:30, b: 12:00}", "2026-10-25T00:29:59Z", "2026-10-24 b",
     "2026-10-24T10:00:00Z", "2026-10-25T00:30:00Z"},
    /* the shift that lies in the hour jumped over has no length: never met */
    {"Europe/Rome", "{a: {from: 02:10, to: 02:40}, b: {from: 02:40, to: 02:10}}",
     "2026-03-29T01:00:00Z", "2026-03-29 b", "2026-03-29T01:00:00Z", "2026-03-30T00:10:00Z"},
    /* one shift a day, from its start to its start */
    {"Europe/Rome", "{all: 06:00}", "2026-10-25T02:00:00Z", "2026-10-24 all",
     "2026-10-24T04:00:00Z", "2026-10-25T05:00:00Z"},
    {"UTC", "{all: 00:00}", "2026-10-25T00:00:00Z", "2026-10-25 all", "2026-10-25T00:00:00Z",
     "2026-10-26T00:00:00Z"},
    /* half an hour of change */
    {"Australia/Lord_Howe", "{n: 22:00, d: 06:00}", "2026-10-03T16:00:00Z", "2026-10-03 n",
     "2026-10-03T11:30:00Z", "2026-10-03T19:00:00Z"},
    /* a gap between shifts */
    {"Europe/Rome", "{d: {from: 08:00, to: 16:00}}", "2026-03-04T20:00:00Z",
     "2026-03-04 (no shift)", "2026-03-04T15:00:00Z", "2026-03-05T07:00:00Z"},
    {"Europe/Rome", "{d: {from: 08:00, to: 16:00}}", "2026-03-05T02:00:00Z",
     "2026-03-04 (no shift)", "2026-03-04T15:00:00Z", "2026-03-05T07:00:00Z"},
    /* long ago and far ahead: standard time rules still give half-open shifts */
    {"Europe/Rome", THREE, "1970-01-01T00:00:00Z", "1969-12-31 night", "1969-12-31T21:00:00Z",
     "1970-01-01T05:00:00Z"},
    {"Europe/Rome", THREE, "2060-07-01T10:00:00Z", "2060-07-01 early", "2060-07-01T04:00:00Z",
     "2060-07-01T12:00:00Z"},
};

START_TEST(shift_of_an_instant)
{
    struct an_line *line = line_with(rows[_i].zone, rows[_i].shifts);
    const struct an_shift shift = an_line_shift_at(line, at(rows[_i].at));
    char label[64];
    ck_assert_str_eq(an_line_shift_label(line, &shift, label), rows[_i].label);
    ck_assert_int_eq(shift.from_us, at(rows[_i].from));
    ck_assert_int_eq(shift.until_us, at(rows[_i].until));
    an_line_close(line);
}
END_TEST

static const struct {
    const char *label;
    int hours;
} lengths[] = {
    {"2026-03-27 night", 8}, {"2026-03-28 night", 7}, {"2026-03-29 early", 8},
    {"2026-10-24 night", 9}, {"2026-10-25 early", 8}, {"2026-10-25 night", 8},
};

START_TEST(length_of_a_shift)
{
    struct an_line *line = line_with("Europe/Rome", THREE);
    struct an_shift shift;
    struct an_error err = {0};
    ck_assert_msg(an_line_shift_parse(line, an_bytes_of(lengths[_i].label), &shift, &err) == AN_OK,
                  "%s", err.text);
    ck_assert_int_eq(shift.until_us - shift.from_us, lengths[_i].hours * AN_HOUR_US);
    an_line_close(line);
}
END_TEST

static const struct {
    const char *zone, *shifts;
} walks[] = {
    {"Europe/Rome", THREE},
    {"Europe/Rome", "{a: 02:30, b: 02:45, c: 12:00}"},
    {"Europe/Rome", "{d: {from: 08:00, to: 16:00}, e: {from: 20:00, to: 01:00}}"},
    {"America/New_York", "{a: 01:30, b: 13:30}"},
    {"Australia/Lord_Howe", "{a: 02:15, b: 10:00}"},
    {"Asia/Kolkata", "{a: 00:00, b: 08:00, c: 16:00}"},
    {"America/St_Johns", "{n: 23:30, d: 11:30}"},
};

/* A year of shifts: each follows the one before without overlap, before undoes after, every instant
 * inside answers the same shift, and each label reads back as it was. */
START_TEST(a_year_of_shifts)
{
    struct an_line *line = line_with(walks[_i].zone, walks[_i].shifts);
    struct an_shift shift = an_line_shift_at(line, at("2026-01-01T12:00:00Z"));
    const int64_t end = at("2027-01-02T00:00:00Z");
    if (shift.pattern == AN_NONE) {
        shift = an_line_shift_after(line, &shift);
    }
    size_t count = 0;
    for (; shift.from_us < end; count++) {
        ck_assert_uint_ne(shift.pattern, AN_NONE);
        ck_assert_int_lt(shift.from_us, shift.until_us);
        const struct an_shift last = an_line_shift_at(line, shift.until_us - 1);
        ck_assert_int_eq(last.from_us, shift.from_us);
        ck_assert_uint_eq(last.pattern, shift.pattern);
        char label[64];
        struct an_shift again = {0};
        ck_assert_int_eq(
            (int)an_line_shift_parse(line, an_bytes_of(an_line_shift_label(line, &shift, label)),
                                     &again, NULL),
            AN_OK);
        ck_assert_int_eq(again.from_us, shift.from_us);
        ck_assert_int_eq(again.until_us, shift.until_us);
        ck_assert_int_eq(again.start_day, shift.start_day);
        const struct an_shift after = an_line_shift_after(line, &shift);
        ck_assert_int_ge(after.from_us, shift.until_us);
        const struct an_shift back = an_line_shift_before(line, &after);
        ck_assert_int_eq(back.from_us, shift.from_us);
        ck_assert_uint_eq(back.pattern, shift.pattern);
        shift = after;
    }
    ck_assert_uint_ge(count, 365 * line->shift_count - 2);
    ck_assert_uint_le(count, 368 * line->shift_count);
    an_line_close(line);
}
END_TEST

static const char *const bad_labels[] = {
    "",
    "2026-03-04",
    "2026-03-04 ",
    "2026-03-04 noon",
    "2026-03-04 Night",
    "2026-02-30 night",
    "04.03.2026 night",
    "2026-03-04night",
    "night",
    "2026-03-04 night night",
    "2026-03-04 (no shift)",
};

START_TEST(bad_label)
{
    struct an_line *line = line_with("Europe/Rome", THREE);
    struct an_shift shift;
    struct an_error err = {0};
    ck_assert_int_eq((int)an_line_shift_parse(line, an_bytes_of(bad_labels[_i]), &shift, &err),
                     AN_BAD_USAGE);
    ck_assert_ptr_nonnull(strstr(err.text, "early, late, night"));
    an_line_close(line);
}
END_TEST

/* Weeks are numbered by ISO 8601-1:2019: of the dates here, 2026-01-01 is a Thursday and so lies in
 * week 1; 2027-01-01 is a Friday and lies in week 53 of 2026. 2026-W13 holds the change to summer
 * time: 167 hours. */
static const struct {
    const char *zone, *shifts, *at, *label, *from, *until;
} week_rows[] = {
    {"Europe/Rome", THREE, "2026-03-11T12:00:00Z", "2026-W11", "2026-03-09T05:00:00Z",
     "2026-03-16T05:00:00Z"},
    /* 05:59 on Monday belongs to Sunday's night */
    {"Europe/Rome", THREE, "2026-03-16T04:59:59Z", "2026-W11", "2026-03-09T05:00:00Z",
     "2026-03-16T05:00:00Z"},
    {"Europe/Rome", THREE, "2026-03-16T05:00:00Z", "2026-W12", "2026-03-16T05:00:00Z",
     "2026-03-23T05:00:00Z"},
    {"Europe/Rome", THREE, "2026-03-29T12:00:00Z", "2026-W13", "2026-03-23T05:00:00Z",
     "2026-03-30T04:00:00Z"},
    {"UTC", "{day: 00:00}", "2026-01-01T00:00:00Z", "2026-W01", "2025-12-29T00:00:00Z",
     "2026-01-05T00:00:00Z"},
    {"UTC", "{day: 00:00}", "2027-01-01T00:00:00Z", "2026-W53", "2026-12-28T00:00:00Z",
     "2027-01-04T00:00:00Z"},
    {"UTC", "{day: 00:00}", "1969-12-31T00:00:00Z", "1970-W01", "1969-12-29T00:00:00Z",
     "1970-01-05T00:00:00Z"},
};

START_TEST(weeks)
{
    struct an_line *line = line_with(week_rows[_i].zone, week_rows[_i].shifts);
    struct an_error err = {0};
    struct an_week named = {0};
    char label[16];
    const struct an_week week = an_line_week_at(line, at(week_rows[_i].at));
    ck_assert_str_eq(an_line_week_label(&week, label), week_rows[_i].label);
    ck_assert_int_eq(week.from_us, at(week_rows[_i].from));
    ck_assert_int_eq(week.until_us, at(week_rows[_i].until));
    ck_assert(!an_line_week_parse(line, an_bytes_of(week_rows[_i].label), &named, &err));
    ck_assert_int_eq(named.from_us, week.from_us);
    const struct an_week last = an_line_week_before(line, &week);
    ck_assert_int_eq(last.until_us, week.from_us);
    an_line_close(line);
}
END_TEST

START_TEST(week_labels_refused)
{
    static const char *const wrong[] = {"",         "2026-W54", "2026-W00", "2025-W53",
                                        "2026W10",  "2026-w10", "26-W10",   "0000-W01",
                                        "2026-W1x", "2026-W100"};
    struct an_line *line = line_with("UTC", THREE);
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        struct an_error err = {0};
        struct an_week week = {0};
        ck_assert_int_eq(an_line_week_parse(line, an_bytes_of(wrong[i]), &week, &err),
                         AN_BAD_USAGE);
        ck_assert_ptr_nonnull(strstr(err.text, "such as '2026-W10'"));
    }
    an_line_close(line);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("line shifts");
    TCase *tests = tcase_create("shifts");
    tcase_add_loop_test(tests, shift_of_an_instant, 0, sizeof rows / sizeof rows[0]);
    tcase_add_loop_test(tests, length_of_a_shift, 0, sizeof lengths / sizeof lengths[0]);
    tcase_add_loop_test(tests, a_year_of_shifts, 0, sizeof walks / sizeof walks[0]);
    tcase_add_loop_test(tests, bad_label, 0, sizeof bad_labels / sizeof bad_labels[0]);
    tcase_add_loop_test(tests, weeks, 0, sizeof week_rows / sizeof *week_rows);
    tcase_add_test(tests, week_labels_refused);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
