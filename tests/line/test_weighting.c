/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * `weighted` in the line description: what it may say, what stands in for what it does not say, and
 * its mistakes at their places.
 */
#include "andamento/base/text.h"
#include "andamento/stat/run_length.h"
#include "support.h"

#include <check.h>
#include <math.h>
#include <string.h>

/* The value of `weighted` begins at line 9, column 19. */
static const char head[] = "line: x\n"
                           "zone: Europe/Rome\n"
                           "kinds: {tile: {title: tile, product: yes}}\n"
                           "shifts: {early: {from: \"06:00\", to: \"06:00\"}}\n"
                           "stations:\n"
                           "  s: {time: {column: at}, item: {kind: tile, column: t},\n"
                           "      characteristics: {\n"
                           "        c: {%s,\n"
                           "        weighted: %s}}}\n";

static char *describe(struct an_text *text, const char *sort, const char *weighted)
{
    an_text_addf(text, head, sort, weighted);
    return (char *)(size_t)an_text_of(text);
}

static const struct {
    const char *says;
    struct an_weighting means; /* limits 0: those that give 370.4 */
} good[] = {
    {"no", {.kind = AN_UNWEIGHTED}},
    {"ewma", {.kind = AN_EWMA, .lambda = 0.2, .limits = 2.86}},
    {"cusum", {.kind = AN_CUSUM, .reference = 0.5, .limits = 4.77}},
    {"moving_average", {.kind = AN_MOVING_AVERAGE, .span = 5, .limits = 3}},
    {"{ewma: 0.1, limits: 2.7}", {.kind = AN_EWMA, .lambda = 0.1, .limits = 2.7}},
    {"{ewma: 0.1, limits: 2.7, first_limits: steady}",
     {.kind = AN_EWMA, .lambda = 0.1, .limits = 2.7, .steady = true}},
    {"{ewma: 0.1, limits: 2.7, head_start: yes}",
     {.kind = AN_EWMA, .lambda = 0.1, .limits = 2.7, .head_start = 0.5}},
    {"{ewma: 0.1, head_start: 0.3}", {.kind = AN_EWMA, .lambda = 0.1, .head_start = 0.3}},
    {"{ewma: 0.4}", {.kind = AN_EWMA, .lambda = 0.4}},
    {"{cusum: 0.75}", {.kind = AN_CUSUM, .reference = 0.75}},
    {"{cusum: 0.5, interval: 4, head_start: yes, after_signal: go_on}",
     {.kind = AN_CUSUM, .reference = 0.5, .limits = 4, .head_start = 0.5, .goes_on = true}},
    {"{moving_average: 8, limits: 2.5}", {.kind = AN_MOVING_AVERAGE, .span = 8, .limits = 2.5}},
};

START_TEST(good_ones)
{
    struct an_text text = {0};
    struct an_line *line = read_good(describe(&text, "column: v, unit: um", good[_i].says));
    const struct an_weighting *got = &line->characteristics[0].weighting;
    const struct an_weighting *want = &good[_i].means;
    ck_assert_int_eq((int)got->kind, (int)want->kind);
    ck_assert(fabs(got->lambda - want->lambda) < 1e-15 && got->span == want->span &&
              fabs(got->reference - want->reference) < 1e-15 &&
              fabs(got->head_start - want->head_start) < 1e-15 && got->steady == want->steady &&
              got->goes_on == want->goes_on);
    if (want->limits > 0 || want->kind == AN_UNWEIGHTED) {
        ck_assert(fabs(got->limits - want->limits) < 1e-15);
    } else { /* as many points between false alarms as single limits at 3 sigma have */
        struct an_arena *arena = an_arena_open();
        struct an_run_length run;
        const struct an_point_law in_control = {0.0, 1.0};
        const struct an_ewma_plan ewma = {.lambda = got->lambda,
                                          .limits = got->limits,
                                          .head_start = got->head_start,
                                          .exact = true};
        const struct an_cusum_plan cusum = {.reference = got->reference, .interval = got->limits};
        ck_assert_int_eq(
            (int)(got->kind == AN_EWMA
                      ? an_run_length_ewma(&ewma, in_control, AN_ZERO_STATE, arena, &run)
                      : an_run_length_cusum(&cusum, in_control, AN_ZERO_STATE, arena, &run)),
            AN_OK);
        ck_assert_msg(fabs(run.mean - 370.4) < 1e-6, "%s: %.9g", good[_i].says, run.mean);
        an_arena_close(arena);
    }
    an_line_close(line);
    an_text_free(&text);
}
END_TEST

static const struct {
    const char *sort, *says;
    unsigned column; /* all on line 9 */
    const char *piece;
} bad[] = {
    {"column: v, unit: um", "ewwa", 19, "did you mean 'ewma'"},
    {"column: v, unit: um", "{ewma: 0}", 26, "'ewma' is from 0.01 to 1, not 0"},
    {"column: v, unit: um", "{ewma: 2}", 26, "from 0.01 to 1"},
    {"column: v, unit: um", "{ewma: x}", 26, "number"},
    {"column: v, unit: um", "{ewma: 0.2, limits: 9}", 39, "'limits' is from 0.5 to 6, not 9"},
    {"column: v, unit: um", "{ewma: 0.2, interval: 4}", 31, "interval"},
    {"column: v, unit: um", "{ewma: 0.2, first_limits: steady, head_start: yes}", 65, "keep one"},
    {"column: v, unit: um", "{ewma: 0.2, first_limits: wide}", 45, "exact"},
    {"column: v, unit: um", "{cusum: 0.5, interval: 99}", 42, "from 0.5 to 30"},
    {"column: v, unit: um", "{cusum: 0.5, head_start: 0.8}", 44, "at most 0.5"},
    {"column: v, unit: um", "{moving_average: 1}", 36, "2"},
    {"column: v, unit: um", "{moving_average: 5, head_start: yes}", 39, "head_start"},
    {"column: v, unit: um", "{ewma: 0.2, cusum: 0.5}", 19, "wants one of"},
    {"column: v, unit: um", "{limits: 3}", 19, "wants one of"},
    {"column: v, unit: um", "[ewma]", 19, "weighted"},
    {"count: k, opportunities: n", "cusum", 19, "cusum of counts"},
};

START_TEST(bad_ones)
{
    struct an_text text = {0};
    struct heard heard = {0};
    struct an_line *line = NULL;
    const char *yaml = describe(&text, bad[_i].sort, bad[_i].says);
    ck_assert_int_eq((int)read_text(yaml, &heard, &line, NULL), AN_BAD_CONFIG);
    ck_assert_ptr_null(line);
    ck_assert_uint_ge(heard.count, 1);
    ck_assert_msg(heard.at[0].line == 9 && heard.at[0].column == bad[_i].column &&
                      strstr(heard.at[0].text, bad[_i].piece),
                  "%s: %u:%u %s", bad[_i].says, (unsigned)heard.at[0].line,
                  (unsigned)heard.at[0].column, heard.at[0].text);
    an_text_free(&text);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("weighted charts in the line description");
    TCase *tcase = tcase_create("weighted");
    tcase_add_loop_test(tcase, good_ones, 0, (int)(sizeof good / sizeof *good));
    tcase_add_loop_test(tcase, bad_ones, 0, (int)(sizeof bad / sizeof *bad));
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
