/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How far a description trusts a station's files: keys, clocks, numbers, machines, gauges, closings;
 * and the mistakes in them. The grammar is the program's own (docs/line-description.md).
 */
#include "andamento/base/instant.h"
#include "support.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

#define HEAD                                                                                       \
    "line: a\nzone: Europe/Rome\nshifts: {day: 06:00}\n"                                           \
    "kinds:\n  tile: {}\n  wall: {closed_by: ship}\n"
#define SHIP "  ship:\n    time: file\n    item: {kind: wall, column: wall}\n"
#define BENCH "  bench:\n    time: {column: at}\n    item: {kind: tile, column: tile}\n"

START_TEST(what_is_said)
{
    struct an_line *line = read_good(
        HEAD "gauges:\n  CAM-1: {calibrated_until: 2026-03-28, station: bench}\n"
             "  CAM-2: {calibrated_until: 2026-12-31}\n"
             "stations:\n" SHIP "  bench:\n    time: {column: at}\n"
             "    item: {kind: tile, column: tile, known_first: yes}\n"
             "    preamble: {sn: \"sn=([0-9]+)\"}\n    tool_column: head\n"
             "    links: [{column: wall, kind: wall, known_first: yes}]\n"
             "    key: [at, site]\n    reason_column: why\n    clock: {tolerance: 5 min}\n"
             "    late_after: 2 d\n    file_number: {preamble: sn}\n    identity: head\n");
    const struct an_station *bench = &line->stations[1];

    ck_assert_str_eq(line->kinds[1].closed_by, "ship");
    ck_assert_uint_eq(line->gauge_count, 2);
    ck_assert_str_eq(line->gauges[0].station, "bench");
    /* the day's end in the line's zone: 2026-03-28T23:00:00Z, before the clock went forward */
    ck_assert_int_eq(line->gauges[0].until_us, INT64_C(1774738800) * 1000000);
    ck_assert_int_eq(line->gauges[1].until_us, INT64_C(1798758000) * 1000000);
    ck_assert(bench->item_known_first && bench->links[0].known_first);
    ck_assert_uint_eq(bench->key.count, 2);
    ck_assert_str_eq(bench->reason_column, "why");
    ck_assert_int_eq(bench->clock_tolerance_us, 5 * AN_MINUTE_US);
    ck_assert_int_eq(bench->late_after_us, 2 * AN_DAY_US);
    ck_assert_str_eq(bench->number_column, "sn");
    ck_assert_str_eq(bench->identity_column, "head");
    an_line_close(line);
}
END_TEST

START_TEST(what_is_usual)
{
    struct an_line *line = read_good(HEAD "stations:\n" SHIP BENCH "    clock: no\n");

    ck_assert_int_eq(line->stations[0].clock_tolerance_us, AN_HOUR_US);
    ck_assert_int_eq(line->stations[0].late_after_us, 8 * AN_HOUR_US);
    ck_assert_int_eq(line->stations[1].clock_tolerance_us, 0);
    ck_assert(!line->stations[1].item_known_first);
    ck_assert_uint_eq(line->stations[1].key.count, 0);
    ck_assert_ptr_null(line->stations[1].identity_column);
    ck_assert_uint_eq(line->gauge_count, 0);
    an_line_close(line);
}
END_TEST

static const struct {
    const char *yaml, *says;
} mistakes[] = {
    {HEAD "stations:\n" BENCH, "closed by the station 'ship', which is not described"},
    {HEAD "stations:\n" SHIP BENCH "    clock: yes\n", "'clock' is no, or {tolerance: TIME}"},
    {HEAD "stations:\n" SHIP BENCH "    clock: {tolerance: soon}\n", "'tolerance' wants a time"},
    {HEAD "stations:\n" SHIP BENCH "    late_after: never\n", "'late_after' wants a time"},
    {HEAD "stations:\n" SHIP BENCH "    file_number: {}\n", "wants either 'name'"},
    {HEAD "stations:\n" SHIP BENCH "    file_number: {preamble: sn}\n", "not under 'preamble'"},
    {HEAD "stations:\n" SHIP BENCH "    file_number: {name: \"[0-9]+\"}\n", "needs round brackets"},
    {HEAD "stations:\n" SHIP BENCH "    identity: head\n", "is the 'tool_column' or a column of"},
    {HEAD "stations:\n" SHIP "  bench:\n    time: {column: at}\n"
          "    item: {kind: tile, column: tile, made_here: yes, known_first: yes}\n",
     "keep one"},
    {HEAD "gauges: {C: {calibrated_until: spring}}\nstations:\n" SHIP BENCH,
     "wants a day such as 2026-09-30"},
    {HEAD "gauges: {C: {}}\nstations:\n" SHIP BENCH, "calibrated_until"},
    {HEAD "gauges: {C: {calibrated_until: 2026-01-01, station: x}}\nstations:\n" SHIP BENCH,
     "names the station 'x'"},
};

START_TEST(what_is_wrong)
{
    struct heard heard = {0};
    struct an_line *line = NULL;

    ck_assert_int_eq(read_text(mistakes[_i].yaml, &heard, &line, NULL), AN_BAD_CONFIG);
    ck_assert_uint_eq(heard.count, 1);
    ck_assert_msg(strstr(heard.at[0].text, mistakes[_i].says) != NULL, "%s", heard.at[0].text);
    ck_assert_uint_gt(heard.at[0].line, 0);
    ck_assert_ptr_null(line);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("line trust");
    TCase *group = tcase_create("trust");

    tcase_add_test(group, what_is_said);
    tcase_add_test(group, what_is_usual);
    tcase_add_loop_test(group, what_is_wrong, 0, (int)(sizeof mistakes / sizeof mistakes[0]));
    suite_add_tcase(suite, group);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
