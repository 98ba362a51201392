/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Designed charts: limits that give the run length asked for, published intervals, and that no
 * other weighting is sooner at the shift.
 */
#include "andamento/stat/design.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static double mean_of(struct an_weighting w, double shift)
{
    struct an_arena *arena = an_arena_open();
    struct an_run_length run;
    ck_assert_int_eq(
        an_run_length_weighted(&w, (struct an_point_law){shift, 1.0}, true, arena, &run), AN_OK);
    an_arena_close(arena);
    return run.mean;
}

/* [Hawkins, Cumulative sum control charting: an underutilized SPC tool, Quality Engineering 5, 1993,
 * as quoted by Montgomery: k and h of two-sided cusums with 370 points; Lucas and Saccucci 1990:
 * lambda and L of steady limits with 500 points; from memory, to their printed digits] */
static const struct {
    struct an_weighting weighting;
    double between, limits, within;
} published[] = {
    {{.kind = AN_CUSUM, .reference = 0.25}, 370.4, 8.01, 0.006},
    {{.kind = AN_CUSUM, .reference = 0.5}, 370.4, 4.77, 0.006},
    {{.kind = AN_CUSUM, .reference = 0.75}, 370.4, 3.34, 0.006},
    {{.kind = AN_CUSUM, .reference = 1.0}, 370.4, 2.52, 0.006},
    {{.kind = AN_EWMA, .lambda = 0.4, .steady = true}, 500.0, 3.054, 0.0006},
    {{.kind = AN_EWMA, .lambda = 0.2, .steady = true}, 500.0, 2.962, 0.0006},
    {{.kind = AN_EWMA, .lambda = 0.1, .steady = true}, 500.0, 2.814, 0.0006},
    {{.kind = AN_EWMA, .lambda = 0.05, .steady = true}, 500.0, 2.615, 0.0006},
};

START_TEST(published_limits)
{
    struct an_weighting w = published[_i].weighting;
    ck_assert_int_eq(an_design_limits(&w, published[_i].between), AN_OK);
    ck_assert_msg(fabs(w.limits - published[_i].limits) <= published[_i].within,
                  "got %.6f, printed %g", w.limits, published[_i].limits);
    check_close(mean_of(w, 0.0), published[_i].between, 1e-9, "its run length");
}
END_TEST

/* The best reference is half the shift (Moustakides, Optimal stopping times for detecting changes in
 * distributions, Annals of Statistics 14, 1986; from memory); neighbours in lambda are no sooner. */
START_TEST(none_is_sooner)
{
    const double shifts[] = {0.5, 1.0, 2.0};
    for (size_t i = 0; i < 3; i++) {
        struct an_weighting cusum = {.kind = AN_CUSUM};
        struct an_weighting ewma = {.kind = AN_EWMA, .steady = true};
        double delay;
        ck_assert_int_eq(an_design_weighting(&cusum, shifts[i], 370.4, &delay), AN_OK);
        ck_assert_msg(fabs(cusum.reference - shifts[i] / 2.0) < 0.02 * shifts[i], "shift %g: k %g",
                      shifts[i], cusum.reference);
        check_close(mean_of(cusum, shifts[i]), delay, 1e-12, "delay");
        ck_assert_int_eq(an_design_weighting(&ewma, shifts[i], 370.4, &delay), AN_OK);
        for (int side = -1; side <= 1; side += 2) {
            struct an_weighting other = ewma;
            other.lambda *= 1.0 + 0.1 * side;
            ck_assert_int_eq(an_design_limits(&other, 370.4), AN_OK);
            ck_assert(mean_of(other, shifts[i]) > delay);
        }
    }
}
END_TEST

START_TEST(refused)
{
    struct an_weighting w = {.kind = AN_MOVING_AVERAGE, .span = 5};
    double delay;
    ck_assert_int_eq(an_design_limits(&w, 370.0), AN_DOMAIN);
    w = (struct an_weighting){.kind = AN_EWMA, .lambda = 0.2};
    ck_assert_int_eq(an_design_limits(&w, 1.0), AN_DOMAIN);
    ck_assert_int_eq(an_design_limits(&w, NAN), AN_DOMAIN);
    ck_assert_int_eq(an_design_weighting(&w, 0.0, 370.0, &delay), AN_DOMAIN);
    ck_assert_int_eq(an_design_weighting(&w, 9.0, 370.0, &delay), AN_DOMAIN);
    w.lambda = 0.0;
    ck_assert_int_eq(an_design_limits(&w, 370.0), AN_DOMAIN);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("design");
    TCase *tcase = tcase_create("design");
    tcase_set_timeout(tcase, 300);
    tcase_add_loop_test(tcase, published_limits, 0, (int)(sizeof published / sizeof *published));
    tcase_add_test(tcase, none_is_sooner);
    tcase_add_test(tcase, refused);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
