/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How long what is kept, as a description says it; its mistakes are among test_mistakes.c. */
#include "andamento/base/memory.h"
#include "support.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define HEAD "line: a\nzone: UTC\nshifts: {day: 06:00}\nkinds: {tile: }\n"
#define BENCH "stations:\n  bench:\n    time: file\n    item: {kind: tile, column: id}\n"

static const struct {
    const char *top, *station;
    int days[4]; /* line's readings and originals, station's; 0: for good */
} rows[] = {
    {"", "", {0, 0, 0, 0}},
    {"keep: {readings: 1 day}\n", "", {1, 0, 1, 0}},
    {"keep: {readings: 2 weeks, originals: 3 months}\n", "", {14, 93, 14, 93}},
    {"keep: {readings: 2 years, originals: 10 years}\n", "", {732, 3660, 732, 3660}},
    {"keep: {readings: 1 year, originals: 1 year}\n",
     "    keep: {readings: 5days}\n",
     {366, 366, 5, 366}}, /* what the station leaves out is as the line says */
    {"", "    keep: {readings: 1 month, originals: 200 years}\n", {0, 0, 31, 73200}},
};

START_TEST(kept_for)
{
    char yaml[500];
    (void)snprintf(yaml, sizeof yaml, HEAD "%s" BENCH "%s", rows[_i].top, rows[_i].station);
    struct an_line *line = read_good(yaml);
    const int64_t got[4] = {line->keep.readings_us, line->keep.originals_us,
                            line->stations[0].keep.readings_us,
                            line->stations[0].keep.originals_us};
    for (int k = 0; k < 4; k++) {
        ck_assert_int_eq(got[k], rows[_i].days[k] * AN_DAY_US);
    }
    an_line_close(line);
}
END_TEST

/* A station that shortens only the originals below the line's readings is told. */
START_TEST(station_against_line)
{
    struct heard heard = {0};
    struct an_line *line = NULL;
    ck_assert_int_eq((int)read_text(HEAD "keep: {readings: 2 years, originals: 2 years}\n" BENCH
                                         "    keep: {originals: 1 year}\n",
                                    &heard, &line, NULL),
                     (int)AN_BAD_CONFIG);
    ck_assert_uint_eq(heard.count, 1);
    ck_assert_uint_eq(heard.at[0].line, 10);
    ck_assert_ptr_nonnull(strstr(heard.at[0].text, "would go before the readings"));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("keep");
    TCase *tests = tcase_create("keep");
    tcase_add_loop_test(tests, kept_for, 0, sizeof rows / sizeof *rows);
    tcase_add_test(tests, station_against_line);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
