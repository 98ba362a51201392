/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Fair delays: against closed forms where there are any, and against charts simulated with learned
 * limits, which is the situation that the promise is about.
 */
#include "demo/delay.h"
#include "demo/random.h"

#include <check.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

enum { MOST = 2000 };

static void fill(double sigmas[MOST], double first, double step)
{
    for (int k = 0; k < MOST; k++) {
        sigmas[k] = first + step * k;
    }
}

/* With known limits and the run rule off, silence lasts geometrically: the chance of none in D
 * samples is (1 - p)^D, p = Q(3 - shift). Q from standard tables (common practice, no source). */
static const struct {
    double shift, p;
    size_t delay; /* ceil(ln 0.01 / ln(1 - p)) */
} geometric_rows[] = {
    {1.0, 0.022750131948179195, 201}, {2.0, 0.15865525393145705, 27}, {3.0, 0.5, 7},
    {4.0, 0.8413447460685429, 3},     {6.0, 0.9986501019683699, 1},
};

START_TEST(known_limits_are_geometric)
{
    double sigmas[MOST];
    fill(sigmas, geometric_rows[_i].shift, 0.0);
    ck_assert_uint_eq((size_t)ceil(log(0.01) / log1p(-geometric_rows[_i].p)),
                      geometric_rows[_i].delay);
    const struct an_demo_change change = {
        .sigmas = sigmas, .count = MOST, .baseline = (size_t)1 << 60, .run_length = 0};
    ck_assert_uint_eq(an_demo_fair_delay(&change), geometric_rows[_i].delay);
}
END_TEST

START_TEST(too_short_is_not_promised)
{
    double sigmas[MOST];
    fill(sigmas, 1.0, 0.0);
    const struct an_demo_change change = {
        .sigmas = sigmas, .count = 200, .baseline = (size_t)1 << 60, .run_length = 0};
    ck_assert_uint_eq(an_demo_fair_delay(&change), 0);
    const struct an_demo_change none = {
        .sigmas = sigmas, .count = 0, .baseline = 100, .run_length = 9};
    ck_assert_uint_eq(an_demo_fair_delay(&none), 0);
    ck_assert_uint_eq(an_demo_fair_delay_alternating(0.5, 100), 0);
    ck_assert_uint_eq(an_demo_fair_delay_alternating(9.0, 13), 0);
    ck_assert_uint_eq(an_demo_fair_delay_alternating(9.0, 14), 14);
}
END_TEST

/* The run rule can only make it sooner; nine are needed when no point can be beyond. */
START_TEST(run_rule_helps)
{
    double sigmas[MOST];
    fill(sigmas, 2.0, 0.0);
    struct an_demo_change change = {
        .sigmas = sigmas, .count = MOST, .baseline = 150, .run_length = 0};
    const size_t without = an_demo_fair_delay(&change);
    change.run_length = 9;
    const size_t with = an_demo_fair_delay(&change);
    ck_assert_uint_lt(with, without);
    ck_assert_uint_ge(with, 9);
}
END_TEST

/* One chart with limits learned from a baseline: did beyond_limit or a run of nine speak within
 * the first `delay` changed samples? */
static bool speaks(struct an_demo_random *random, size_t baseline, const double sigmas[],
                   size_t delay)
{
    double sum = 0.0, moving = 0.0, last = 0.0;
    for (size_t i = 0; i < baseline; i++) {
        const double x = an_demo_normal(random);
        sum += x;
        moving += i > 0 ? fabs(x - last) : 0.0;
        last = x;
    }
    const double centre = sum / (double)baseline;
    const double sigma = moving / (double)(baseline - 1) / 1.1283791670955126; /* d2(2) */
    int run = 0;
    for (size_t k = 0; k < delay; k++) {
        const double z = (sigmas[k] + an_demo_normal(random) - centre) / sigma;
        run = z > 0.0 ? run + 1 : 0;
        if (fabs(z) > 3.0 || run >= 9) {
            return true;
        }
    }
    return false;
}

static const struct {
    size_t baseline;
    double first, step;
} simulated_rows[] = {
    {150, 0.13, 0.13}, /* a ramp like the head's */
    {600, 1.74, 0.0},  /* a step like the gauge's on red */
    {25, 5.2, 0.0},    /* a lot seen by few wafers */
    {15, 11.5, 0.0},   /* the reference tile */
};

/* 4000 charts: at a true chance of 0.99 fewer than 3935 speaking has odds below 1e-4. */
START_TEST(promise_is_kept)
{
    double sigmas[MOST];
    fill(sigmas, simulated_rows[_i].first, simulated_rows[_i].step);
    const struct an_demo_change change = {
        .sigmas = sigmas, .count = MOST, .baseline = simulated_rows[_i].baseline, .run_length = 9};
    const size_t delay = an_demo_fair_delay(&change);
    ck_assert_uint_gt(delay, 0);
    struct an_demo_random random = an_demo_random_of(31, 7, (uint64_t)_i);
    int spoken = 0;
    for (int i = 0; i < 4000; i++) {
        spoken += speaks(&random, simulated_rows[_i].baseline, sigmas, delay);
    }
    ck_assert_int_ge(spoken, 3935);
}
END_TEST

START_TEST(alternating_promise_is_kept)
{
    const double size = 1.95;
    const size_t delay = an_demo_fair_delay_alternating(size, MOST);
    ck_assert_uint_ge(delay, 14);
    struct an_demo_random random = an_demo_random_of(32, 7, 0);
    int spoken = 0;
    for (int i = 0; i < 4000; i++) {
        double last = 0.0, last_step = 0.0;
        int points = 0;
        bool spoke = false;
        for (size_t k = 0; k < delay; k++) {
            const double x = (k % 2 == 0 ? size : -size) + an_demo_normal(&random);
            const double step = x - last;
            points = k == 0 ? 1 : k == 1 ? 2 : step * last_step < 0.0 ? points + 1 : 2;
            spoke = spoke || points >= 14;
            last = x;
            last_step = step;
        }
        spoken += spoke;
    }
    ck_assert_int_ge(spoken, 3935);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("demo delay");
    TCase *tests = tcase_create("delay");
    tcase_add_loop_test(tests, known_limits_are_geometric, 0,
                        sizeof geometric_rows / sizeof geometric_rows[0]);
    tcase_add_test(tests, too_short_is_not_promised);
    tcase_add_test(tests, run_rule_helps);
    tcase_add_loop_test(tests, promise_is_kept, 0,
                        sizeof simulated_rows / sizeof simulated_rows[0]);
    tcase_add_test(tests, alternating_promise_is_kept);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
