/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Local times around the changes of the clock. Europe/Rome goes from +01:00 to +02:00 on 29 March
 * 2026 at 02:00 and back on 25 October 2026 at 03:00 (Directive 2000/84/EC: last Sunday of March
 * and of October, 01:00 UTC).
 */
#include "support.h"

#include <string.h>

static const char stations[] = "  clock:\n"
                               "    files: \"c*.csv\"\n"
                               "    time: {column: at, pattern: \"%Y-%m-%d %H:%M\"}\n"
                               "    item: {kind: free, column: id}\n"
                               "    characteristics:\n"
                               "      x: {column: x, unit: um, subgroup: row}\n"
                               "  count:\n"
                               "    files: \"n*.csv\"\n"
                               "    time: {column: at, pattern: \"%Y-%m-%d %H:%M\"}\n"
                               "    item: {kind: free, column: id}\n"
                               "    sequence_column: no\n"
                               "    characteristics:\n"
                               "      x: {column: x, unit: um, subgroup: row}\n"
                               "  epoch:\n"
                               "    files: \"e*.csv\"\n"
                               "    time: {column: at, pattern: \"%s\"}\n"
                               "    item: {kind: free, column: id}\n"
                               "    characteristics:\n"
                               "      x: {column: x, unit: um, subgroup: row}\n"
                               "  sheet:\n"
                               "    files: \"s*.csv\"\n"
                               "    time: {column: at, pattern: \"%n\", zone: UTC}\n"
                               "    item: {kind: free, column: id}\n"
                               "    characteristics:\n"
                               "      x: {column: x, unit: um, subgroup: row}\n";

#define HOURS                                                                                      \
    "SELECT group_concat((at_us - 1792886400000000) / 60000000, ' ') FROM (SELECT at_us FROM "     \
    "sample ORDER BY first_line)" /* minutes since 2026-10-25T00:00:00Z */

/* The only step back lies in the hour that came twice: it parts the two passes. */
START_TEST(a_step_back_settles_it)
{
    bench_open(stations);
    (void)bench_give("c1.csv", "id,at,x\n"
                               "A,2026-10-25 01:59,1\n" /* 23:59Z */
                               "A,2026-10-25 02:10,1\n" /* 00:10Z */
                               "B,2026-10-25 02:59,1\n" /* 00:59Z */
                               "B,2026-10-25 02:05,1\n" /* 01:05Z */
                               "A,2026-10-25 02:59,1\n" /* 01:59Z */
                               "A,2026-10-25 03:00,1\n" /* 02:00Z */);
    ck_assert_int_eq(bench.last.file.taken, 6);
    ck_assert_str_eq(bench_word(HOURS), "-1 10 59 65 119 120");
    ck_assert(strstr(bench.last.file.notes, "time.settled"));
    ck_assert(strstr(bench.last.file.notes, "line 5"));
    bench_close();
}
END_TEST

START_TEST(without_a_step_they_are_held)
{
    bench_open(stations);
    (void)bench_give("c1.csv", "id,at,x\nA,2026-10-25 01:59,1\nA,2026-10-25 02:10,1\n"
                               "A,2026-10-25 02:59,1\nA,2026-10-25 03:00,1\n");
    ck_assert_int_eq(bench.last.file.taken, 2);
    ck_assert_int_eq(bench.last.file.held, 2);
    ck_assert_str_eq(bench_word("SELECT DISTINCT code FROM held"), "time.twice");
    bench_close();
}
END_TEST

START_TEST(disorder_settles_nothing)
{
    bench_open(stations);
    /* two steps in the hour */
    (void)bench_give("c1.csv", "id,at,x\nA,2026-10-25 02:10,1\nA,2026-10-25 02:05,1\n"
                               "A,2026-10-25 02:04,1\n");
    ck_assert_int_eq(bench.last.file.held, 3);
    /* one, but times go back elsewhere too: the rows are not in order */
    (void)bench_give("c2.csv", "id,at,x\nA,2026-10-24 12:00,1\nA,2026-10-24 11:00,1\n"
                               "A,2026-10-25 02:10,1\nA,2026-10-25 02:05,1\n");
    ck_assert_int_eq(bench.last.file.held, 2);
    ck_assert_int_eq(bench.last.file.taken, 2);
    /* one, but the running number says that the rows were sorted otherwise */
    (void)bench_give("n1.csv", "id,no,at,x\nA,2,2026-10-25 02:10,1\nA,1,2026-10-25 02:05,1\n");
    ck_assert_int_eq(bench.last.file.held, 2);
    (void)bench_give("n2.csv", "id,no,at,x\nA,1,2026-10-25 02:10,1\nA,2,2026-10-25 02:05,1\n");
    ck_assert_int_eq(bench.last.file.taken, 2);
    bench_close();
}
END_TEST

/* Settling and duplicates in one file: three readings. */
START_TEST(settled_and_known)
{
    bench_open(stations);
    (void)bench_give("c1.csv", "id,at,x\nA,2026-10-25 02:10,1\nA,2026-10-25 02:05,2\n");
    ck_assert_int_eq(bench.last.file.taken, 2);
    (void)bench_give("c2.csv", "id,at,x\nA,2026-10-25 02:10,1\nB,2026-10-25 02:50,3\n"
                               "A,2026-10-25 02:05,2\n");
    ck_assert_int_eq(bench.last.file.duplicate, 2);
    ck_assert_int_eq(bench.last.file.taken, 1);
    ck_assert(bench_number("SELECT (max(at_us) - 1792886400000000) / 60000000 FROM sample JOIN item"
                           " USING (item_id) WHERE serial = 'B'") == 50);
    bench_close();
}
END_TEST

START_TEST(spring)
{
    bench_open(stations);
    (void)bench_give("c1.csv", "id,at,x\nA,2026-03-29 01:59,1\nA,2026-03-29 02:00,1\n"
                               "A,2026-03-29 02:59,1\nA,2026-03-29 03:00,1\n");
    ck_assert_int_eq(bench.last.file.taken, 2);
    ck_assert_int_eq(bench.last.file.held, 2);
    ck_assert_str_eq(bench_word("SELECT DISTINCT code FROM held"), "time.skipped");
    ck_assert(bench_number("SELECT max(at_us) - min(at_us) FROM sample") == 60e6);
    bench_close();
}
END_TEST

START_TEST(numbers_only_where_the_pattern_says_so)
{
    bench_open(stations);
    (void)bench_give("e1.csv", "id,at,x\nA,1772618400,1\nA,1772618400.25,1\n");
    ck_assert_int_eq(bench.last.file.taken, 2);
    ck_assert(bench_number("SELECT max(at_us) FROM sample") == 1772618400250000.0);
    (void)bench_give("s1.csv", "id,at,x\nA,46350,1\nA,46350.5,1\n");
    ck_assert_int_eq(bench.last.file.taken, 2);
    /* 46350 is 2026-11-24 in the 1900 system [ECMA-376, 18.17.4.1: day 1 is 1900-01-01, with the
       leap day of 1900 that never was; so days since 1899-12-30] */
    ck_assert(bench_number("SELECT max(at_us) FROM sample") == 1795521600000000.0);
    bench_close();
}
END_TEST

int main(int argc, char **argv)
{
    Suite *suite = suite_create("when");
    TCase *group = tcase_create("when");

    tcase_add_test(group, a_step_back_settles_it);
    tcase_add_test(group, without_a_step_they_are_held);
    tcase_add_test(group, disorder_settles_nothing);
    tcase_add_test(group, settled_and_known);
    tcase_add_test(group, spring);
    tcase_add_test(group, numbers_only_where_the_pattern_says_so);
    suite_add_tcase(suite, group);
    return bench_main(suite, argc, argv);
}
