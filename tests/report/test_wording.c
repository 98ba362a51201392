/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The report's words. Rules of English number and plural: common practice, no source. */
#include "andamento/base/instant.h"
#include "report/wording.h"
#include "support.h"

#include <check.h>
#include <math.h>
#include <string.h>

static struct an_arena *arena;

static void setup(void)
{
    arena = an_arena_open();
}

static void teardown(void)
{
    an_arena_close(arena);
}

static const struct {
    int64_t count;
    const char *noun, *text;
} many_rows[] = {
    {0, "tile", "0 tiles"},
    {1, "tile", "1 tile"},
    {999, "tile", "999 tiles"},
    {1000, "tile", "1,000 tiles"},
    {1234567, "row", "1,234,567 rows"},
    {2, "batch", "2 batches"},
    {2, "box", "2 boxes"},
    {2, "assembly", "2 assemblies"},
    {2, "tray", "2 trays"},
    {2, "glass", "2 glasses"},
};

START_TEST(counts_and_plurals)
{
    ck_assert_str_eq(an_say_many(arena, many_rows[_i].count, many_rows[_i].noun),
                     many_rows[_i].text);
}
END_TEST

static const struct {
    double value;
    int decimals;
    const char *unit, *text;
} measure_rows[] = {
    {0.8, 1, "um", "0.8 um"}, {-0.004, 2, "um", "0.00 um"}, {-0.006, 2, "um", "-0.01 um"},
    {12.5, 0, "1", "12"}, /* ties to even, as printf */
    {1e18, 2, "", "1e+18"},   {NAN, 2, "um", "- um"},       {INFINITY, 2, "1", "-"},
};

START_TEST(measures)
{
    ck_assert_str_eq(an_say_measure(arena, measure_rows[_i].value, measure_rows[_i].decimals,
                                    measure_rows[_i].unit),
                     measure_rows[_i].text);
}
END_TEST

static const struct {
    int64_t minutes;
    const char *text;
} span_rows[] = {{0, "0 min"},     {89, "89 min"},    {90, "2 h"},  {2879, "48 h"},
                 {2880, "2 days"}, {10080, "7 days"}, {-5, "0 min"}};

START_TEST(spans)
{
    ck_assert_str_eq(an_say_span(arena, span_rows[_i].minutes * AN_MINUTE_US), span_rows[_i].text);
}
END_TEST

START_TEST(sizes_of_samples)
{
    ck_assert_str_eq(an_say_n(arena, 1, "reading"), "1 reading");
    ck_assert_str_eq(an_say_n(arena, 24, "reading"), "24 readings");
    ck_assert_str_eq(an_say_n(arena, 2.5, "reading"), "about 2.5 readings");
    ck_assert_str_eq(an_say_n(arena, 34559.6, "opportunity"), "about 34,560 opportunities");
}
END_TEST

START_TEST(lists_count_what_they_leave_out)
{
    static const char *const names[] = {"a", "b", "c", "d", "e"};
    ck_assert_str_eq(an_say_list(arena, names, 0, 3), "");
    ck_assert_str_eq(an_say_list(arena, names, 1, 3), "a");
    ck_assert_str_eq(an_say_list(arena, names, 2, 3), "a and b");
    ck_assert_str_eq(an_say_list(arena, names, 4, 3), "a, b, c and d");
    ck_assert_str_eq(an_say_list(arena, names, 5, 3), "a, b, c and 2 more");
}
END_TEST

/* Clocks in Rome go forward on 29 March 2026 at 02:00 [EU Directive 2000/84/EC, article 2: last
 * Sunday of March, 01:00 UTC]: the night shift of the 28th lasts seven hours. */
START_TEST(periods_are_local)
{
    struct an_zone *zone = NULL;
    struct an_error err = {0};
    ck_assert_int_eq(an_zone_open("Europe/Rome", &zone, &err), AN_OK);
    const int64_t from = INT64_C(1774731600000000); /* 2026-03-28T21:00:00Z */
    ck_assert_str_eq(an_say_period(arena, zone, from, from + 7 * AN_HOUR_US),
                     "28 March 22:00 to 29 March 06:00 2026, Europe/Rome");
    ck_assert_str_eq(an_say_period(arena, zone, from - 8 * AN_HOUR_US, from),
                     "28 March 14:00 to 22:00 2026, Europe/Rome");
    ck_assert_str_eq(an_say_time(arena, zone, AN_NO_INSTANT), "never");
    an_zone_close(zone);
}
END_TEST

/* The year and the two instants are told apart: limits may judge values from before they were locked. */
START_TEST(locking_is_told_with_its_year)
{
    struct an_zone *zone = NULL;
    int64_t locked = 0;
    int64_t from = 0;
    ck_assert_int_eq(an_zone_open("Europe/Rome", &zone, NULL), AN_OK);
    ck_assert_int_eq(an_instant_parse(an_bytes_of("2026-12-31T23:30:00Z"), NULL, &locked, NULL),
                     AN_OK);
    ck_assert_int_eq(an_instant_parse(an_bytes_of("2026-03-07T05:00:00Z"), NULL, &from, NULL),
                     AN_OK);
    ck_assert_str_eq(an_say_date(arena, zone, locked), "1 January 2027"); /* in Rome, an hour on */
    ck_assert_str_eq(an_say_locked(arena, zone, locked, from),
                     "locked 1 January 2027, for values from 7 March 2026 on");
    ck_assert_str_eq(an_say_locked(arena, zone, locked, AN_NO_INSTANT), "locked 1 January 2027");
    ck_assert_str_eq(an_say_date(arena, zone, AN_NO_INSTANT), "never");
    an_zone_close(zone);
}
END_TEST

START_TEST(rules_are_spelled_out)
{
    struct an_rule_choice choice = an_rules_default();
    choice.run_length = 8;
    ck_assert_str_eq(an_say_rule_code(arena, AN_RULE_RUN_ONE_SIDE, &choice), "R8");
    ck_assert_str_eq(an_say_rule_code(arena, AN_RULE_BEYOND_LIMIT, &choice), "B");
    ck_assert_str_eq(an_say_rule_code(arena, AN_RULE_ALTERNATING, &choice), "W14");
    ck_assert_str_eq(an_say_rule(arena, AN_RULE_RUN_ONE_SIDE, &choice),
                     "8 points in a row on one side of the centre");
    for (int r = 0; r < AN_RULE_COUNT; r++) {
        ck_assert_uint_gt(strlen(an_say_rule(arena, (enum an_rule)r, &choice)), 10);
    }
}
END_TEST

/* "No signal" may only be said of what was judged. */
static const struct {
    struct invented how;
    const char *lead;
} lead_rows[] = {
    {{.nothing = true}, "The store holds no samples yet, so there is nothing to judge."},
    {{.no_samples = true, .quiet_streams = 3},
     "No station sent a sample in this shift, so nothing was judged."},
    {{.no_limits = true, .quiet_streams = 3}, "Nothing was judged: "},
    {{.quiet_streams = 3, .all_well = true}, "No signal in 3 streams, "},
    {{.signals = 1, .quiet_streams = 3}, "1 stream moved this shift: Transfer offset x"},
    {{.signals = 2, .quiet_streams = 3},
     "2 streams moved this shift. The worst: Transfer offset x"},
};

START_TEST(leading_sentence)
{
    struct an_line *line = invented_line();
    const struct an_report_definition definition = {.title = "Shift report", .days_before = 1};
    const struct an_period_data *data =
        invented_shift(arena, line, &definition, &lead_rows[_i].how);
    const char *lead = an_say_lead(arena, data);
    ck_assert_msg(!strncmp(lead, lead_rows[_i].lead, strlen(lead_rows[_i].lead)), "%s", lead);
    ck_assert_int_eq(lead[strlen(lead) - 1], '.');
    ck_assert_ptr_null(strstr(lead, ".."));
    an_line_close(line);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("report wording");
    TCase *tests = tcase_create("words");
    tcase_add_checked_fixture(tests, setup, teardown);
#define ROWS(table) (int)(sizeof(table) / sizeof(table)[0])
    tcase_add_loop_test(tests, counts_and_plurals, 0, ROWS(many_rows));
    tcase_add_loop_test(tests, measures, 0, ROWS(measure_rows));
    tcase_add_loop_test(tests, spans, 0, ROWS(span_rows));
    tcase_add_test(tests, sizes_of_samples);
    tcase_add_test(tests, lists_count_what_they_leave_out);
    tcase_add_test(tests, periods_are_local);
    tcase_add_test(tests, locking_is_told_with_its_year);
    tcase_add_test(tests, rules_are_spelled_out);
    tcase_add_loop_test(tests, leading_sentence, 0, ROWS(lead_rows));
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? 1 : 0;
}
