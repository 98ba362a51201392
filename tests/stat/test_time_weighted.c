/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * ewma, cusum and moving average: worked examples of two textbooks, definitions by brute force, and
 * that a sequence judged in pieces gives the same bits.
 */
#include "andamento/stat/change.h"
#include "andamento/stat/chart.h"
#include "support.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct run {
    struct an_weighted_point *points;
    struct an_weighted_state *states; /* after each point */
    double *x;
    size_t n;
    struct an_weighting weighting;
};

static struct run run_of(const char *data, struct an_weighting weighting, double centre,
                         double sigma)
{
    struct table table = table_read(data);
    struct run run = {.n = table.rows, .weighting = weighting};
    struct an_weighted_state state = {0};
    run.points = calloc(run.n, sizeof *run.points);
    run.states = calloc(run.n, sizeof *run.states);
    ck_assert(run.points != NULL && run.states != NULL);
    ck_assert_int_eq(an_weighting_check(&weighting), AN_OK);
    run.x = table_column(&table, "x");
    for (size_t i = 0; i < run.n; i++) {
        const struct an_plain_point plain = {run.x[i], centre, sigma};
        run.points[i] = an_weighted_take(&weighting, sigma, plain, &state);
        run.states[i] = state;
    }
    table_free(&table);
    return run;
}

static void run_free(struct run *run)
{
    free(run->points);
    free(run->states);
    free(run->x);
}

/* ---- published examples ---- */

/* Quantities of the tables; `at` counts from 1. */
static double find_ewma(const void *of, const char *quantity, size_t at)
{
    const struct run *run = of;
    const double limits = run->weighting.limits;
    if (strcmp(quantity, "ewma") == 0) {
        return run->points[at - 1].statistic;
    }
    if (strcmp(quantity, "ucl_exact") == 0) {
        return run->points[at - 1].centre + limits * run->points[at - 1].sigma;
    }
    if (strcmp(quantity, "lcl_exact") == 0) {
        return run->points[at - 1].centre - limits * run->points[at - 1].sigma;
    }
    /* the steady limits are those of a chart told to begin with them */
    struct an_weighting steady = run->weighting;
    struct an_weighted_state state = {0};
    steady.steady = true;
    const struct an_weighted_point point =
        an_weighted_take(&steady, 2.0539, (struct an_plain_point){52.0, 50.0, 2.0539}, &state);
    ck_assert_msg(strcmp(quantity, "ucl_asymptotic") == 0 ||
                      strcmp(quantity, "lcl_asymptotic") == 0,
                  "unknown quantity %s", quantity);
    return quantity[0] == 'u' ? point.centre + limits * point.sigma
                              : point.centre - limits * point.sigma;
}

/* [NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4] */
START_TEST(handbook_weighted_mean)
{
    const struct an_weighting weighting = {.kind = AN_EWMA, .lambda = 0.3, .limits = 3.0};
    struct run run = run_of("weighted_mean.csv", weighting, 50.0, 2.0539);
    check_against("weighted_mean_expected.csv", find_ewma, &run);
    run_free(&run);
}
END_TEST

static size_t first_signal(const struct run *run)
{
    for (size_t i = 0; i < run->n; i++) {
        if (fabs(run->points[i].z) > run->weighting.limits) {
            return i + 1;
        }
    }
    return 0;
}

static double find_cusum(const void *of, const char *quantity, size_t at)
{
    const struct run *run = of;
    const size_t signal = first_signal(run);
    if (strcmp(quantity, "s_hi") == 0 || strcmp(quantity, "c_plus") == 0) {
        return run->points[at - 1].upper;
    }
    if (strcmp(quantity, "s_lo") == 0 || strcmp(quantity, "c_minus") == 0) {
        return -run->points[at - 1].lower;
    }
    if (strcmp(quantity, "n_plus") == 0) {
        return run->states[at - 1].run[0];
    }
    if (strcmp(quantity, "n_minus") == 0) {
        return run->states[at - 1].run[1];
    }
    if (strcmp(quantity, "first_signal_index") == 0) {
        return (double)signal;
    }
    if (strcmp(quantity, "new_mean_estimate") == 0) {
        return 10.0 + run->weighting.reference +
               run->points[signal - 1].upper / run->points[signal - 1].run;
    }
    ck_assert_msg(strcmp(quantity, "last_zero_before_signal") == 0 ||
                      strcmp(quantity, "change_estimate_last_in_control") == 0,
                  "unknown quantity %s", quantity);
    return (double)signal - run->points[signal - 1].run;
}

/* [e-Handbook, 6.3.2.3]; k and h in the unit of the data, so sigma is 1 of them */
START_TEST(handbook_cumulative_sum)
{
    const struct an_weighting weighting = {
        .kind = AN_CUSUM, .reference = 0.3175, .limits = 4.1959, .goes_on = true};
    struct run run = run_of("cumulative_sum.csv", weighting, 325.0, 1.0);
    check_against("cumulative_sum_expected.csv", find_cusum, &run);
    run_free(&run);
}
END_TEST

struct both {
    struct run ewma, cusum;
};

static double find_both(const void *of, const char *quantity, size_t at)
{
    const struct both *both = of;
    const struct run *ewma = &both->ewma;
    if (strcmp(quantity, "ewma") == 0) {
        return ewma->points[at - 1].statistic;
    }
    if (strcmp(quantity, "ewma_first_signal_index") == 0) {
        for (size_t i = 0; i < ewma->n; i++) {
            const struct an_weighted_point *p = &ewma->points[i];
            if (fabs(p->statistic - p->centre) > ewma->weighting.limits * p->sigma) {
                return (double)(i + 1);
            }
        }
        return 0.0;
    }
    if (strcmp(quantity, "ewma_ucl") == 0 || strcmp(quantity, "ewma_lcl") == 0) {
        const double side = quantity[5] == 'u' ? 1.0 : -1.0;
        return 10.0 + side * ewma->weighting.limits * ewma->points[at - 1].sigma;
    }
    if (strcmp(quantity, "ewma_ucl_asymptotic") == 0 ||
        strcmp(quantity, "ewma_lcl_asymptotic") == 0) {
        const double side = quantity[5] == 'u' ? 1.0 : -1.0;
        return 10.0 + side * 2.7 * sqrt(0.1 / 1.9);
    }
    if (strcmp(quantity, "step_mle_last_in_control_at_29") == 0) {
        double scratch[60];
        struct an_change change;
        ck_assert_int_eq(an_change_step(ewma->x, 29, 10.0, 0.9, scratch, &change), AN_OK);
        return (double)change.first;
    }
    return find_cusum(&both->cusum, quantity, at);
}

/* [Montgomery, Introduction to Statistical Quality Control, tables 9.1 and 9.2] */
START_TEST(textbook_shift)
{
    const struct an_weighting ewma = {.kind = AN_EWMA, .lambda = 0.1, .limits = 2.7};
    const struct an_weighting cusum = {
        .kind = AN_CUSUM, .reference = 0.5, .limits = 5.0, .goes_on = true};
    struct both both = {run_of("shifted_process.csv", ewma, 10.0, 1.0),
                        run_of("shifted_process.csv", cusum, 10.0, 1.0)};
    check_against("shifted_process_expected.csv", find_both, &both);
    run_free(&both.ewma);
    run_free(&both.cusum);
}
END_TEST

/* ---- definitions ---- */

/* The limits of a head start, written out as Steiner gives them (from memory): f = .5, a = .3. */
START_TEST(ewma_head_start)
{
    struct an_weighting w = {.kind = AN_EWMA, .lambda = 0.1, .limits = 3.0, .head_start = 0.5};
    struct an_weighted_state state = {0};
    const double a = (-2.0 / log10(0.5) - 1.0) / 19.0;
    ck_assert(fabs(a - 0.3) < 0.005);
    for (int t = 1; t <= 60; t++) {
        const struct an_weighted_point p =
            an_weighted_take(&w, 2.0, (struct an_plain_point){7.0, 7.0, 2.0}, &state);
        const double plain = 2.0 * sqrt(0.1 / 1.9 * (1.0 - pow(0.9, 2.0 * t)));
        check_close(p.sigma, plain * (1.0 - pow(0.5, 1.0 + a * (t - 1.0))), 1e-12, "t %d", t);
        ck_assert(p.statistic == 7.0);
    }
}
END_TEST

/* Subgroups of several sizes: the variance of the statistic is the sum of squared weights times
 * each point's own variance. */
START_TEST(sizes_differ)
{
    const double sizes[] = {5, 5, 3, 4, 5, 1, 9, 5, 2, 5};
    const struct an_weighting ewma = {.kind = AN_EWMA, .lambda = 0.25, .limits = 3.0};
    const struct an_weighting average = {.kind = AN_MOVING_AVERAGE, .span = 4, .limits = 3.0};
    struct an_weighted_state e = {0}, m = {0};
    struct draws draws = {5};
    double x[10];
    for (size_t i = 0; i < 10; i++) {
        x[i] = 100.0 + draw_uniform(&draws);
        const struct an_plain_point plain = {x[i], 100.0, 2.0 / sqrt(sizes[i])};
        const struct an_weighted_point p = an_weighted_take(&ewma, 2.0 / sqrt(5.0), plain, &e);
        const struct an_weighted_point q = an_weighted_take(&average, 2.0 / sqrt(5.0), plain, &m);
        double mean = 100.0 * pow(0.75, (double)i + 1.0), variance = 0.0;
        double sum = 0.0, squares = 0.0, n = 0.0;
        for (size_t j = 0; j <= i; j++) {
            const double weight = 0.25 * pow(0.75, (double)(i - j));
            mean += weight * x[j];
            variance += weight * weight * 4.0 / sizes[j];
            if (i - j < 4) {
                sum += x[j];
                squares += 4.0 / sizes[j];
                n += 1.0;
            }
        }
        check_close(p.statistic, mean, 1e-13, "weighted mean %zu", i);
        check_close(p.sigma, sqrt(variance), 1e-13, "its sigma %zu", i);
        check_close(q.statistic, sum / n, 1e-13, "moving average %zu", i);
        check_close(q.sigma, sqrt(squares) / n, 1e-13, "its sigma %zu", i);
    }
}
END_TEST

/* After a signal a cusum begins anew, with its head start; with goes_on it runs on. */
START_TEST(cusum_after_a_signal)
{
    struct an_weighting w = {.kind = AN_CUSUM, .reference = 0.5, .limits = 4.0, .head_start = 0.5};
    struct an_weighted_state state = {0};
    const double x[] = {3.0, 0.0, 0.0, -3.0};
    const double upper[] = {4.5, 1.5, 1.0, 0.0}, lower[] = {0.0, 1.5, 1.0, 3.5};
    for (size_t i = 0; i < 4; i++) {
        const struct an_weighted_point p =
            an_weighted_take(&w, 2.0, (struct an_plain_point){2.0 * x[i], 0.0, 2.0}, &state);
        ck_assert_msg(p.upper == 2.0 * upper[i] && p.lower == -2.0 * lower[i], "point %zu: %g %g",
                      i, p.upper, p.lower);
        ck_assert(state.signalled == (i == 0 ? 1.0 : 0.0));
    }
    struct an_weighted_state on = {0};
    w.goes_on = true;
    (void)an_weighted_take(&w, 2.0, (struct an_plain_point){6.0, 0.0, 2.0}, &on);
    ck_assert(on.sum[0] == 4.5);
    (void)an_weighted_take(&w, 2.0, (struct an_plain_point){0.0, 0.0, 2.0}, &on);
    ck_assert(on.sum[0] == 4.0 && on.signalled == 0.0 && on.run[0] == 2.0);
}
END_TEST

START_TEST(no_number_is_passed_over)
{
    const struct an_weighting all[] = {{.kind = AN_EWMA, .lambda = 0.2, .limits = 3.0},
                                       {.kind = AN_CUSUM, .reference = 0.5, .limits = 4.0},
                                       {.kind = AN_MOVING_AVERAGE, .span = 3, .limits = 3.0}};
    const struct an_plain_point bad[] = {
        {NAN, 0.0, 1.0}, {1.0, NAN, 1.0}, {1.0, 0.0, 0.0}, {1.0, 0.0, NAN}, {INFINITY, 0.0, 1.0}};
    for (size_t i = 0; i < 3; i++) {
        struct an_weighted_state state = {0};
        (void)an_weighted_take(&all[i], 1.0, (struct an_plain_point){0.7, 0.0, 1.0}, &state);
        const struct an_weighted_state before = state;
        for (size_t j = 0; j < 5; j++) {
            ck_assert(isnan(an_weighted_take(&all[i], 1.0, bad[j], &state).statistic));
            ck_assert(memcmp(&before, &state, sizeof state) == 0);
        }
    }
}
END_TEST

/* ---- in pieces ---- */

/* Cut anywhere, the state written as numbers and read again: the same bits as in one go. */
START_TEST(pieces_make_the_whole)
{
    const struct an_weighting all[] = {
        {.kind = AN_EWMA, .lambda = 0.15, .limits = 2.8},
        {.kind = AN_EWMA, .lambda = 0.15, .limits = 2.8, .steady = true},
        {.kind = AN_EWMA, .lambda = 0.4, .limits = 3.0, .head_start = 0.5},
        {.kind = AN_CUSUM, .reference = 0.4, .limits = 3.0, .head_start = 0.5},
        {.kind = AN_CUSUM, .reference = 0.25, .limits = 3.0, .goes_on = true},
        {.kind = AN_MOVING_AVERAGE, .span = 7, .limits = 3.0},
        {.kind = AN_MOVING_AVERAGE, .span = AN_SPAN_MOST, .limits = 3.0}};
    enum { N = 90 };
    struct draws draws = {77};
    double x[N];
    for (size_t i = 0; i < N; i++) {
        x[i] = 10.0 + 3.0 * draw_uniform(&draws) + (i > 40 ? 0.8 : 0.0);
    }
    for (size_t w = 0; w < sizeof all / sizeof all[0]; w++) {
        struct an_weighted_point whole[N];
        struct an_weighted_state state = {0};
        for (size_t i = 0; i < N; i++) {
            const struct an_plain_point plain = {x[i], 11.5, 0.87};
            whole[i] = an_weighted_take(&all[w], 0.87, plain, &state);
        }
        for (size_t cut = 0; cut <= N; cut++) {
            struct an_weighted_state piece = {0};
            for (size_t i = 0; i < N; i++) {
                if (i == cut) {
                    double numbers[AN_STATE_MOST];
                    const size_t n = an_weighted_state_numbers(&all[w], &piece, numbers);
                    ck_assert_uint_le(n, AN_STATE_MOST);
                    memset(&piece, 0xFF, sizeof piece);
                    ck_assert_int_eq(an_weighted_state_of(&all[w], numbers, n, &piece), AN_OK);
                }
                const struct an_plain_point plain = {x[i], 11.5, 0.87};
                const struct an_weighted_point p = an_weighted_take(&all[w], 0.87, plain, &piece);
                ck_assert_msg(memcmp(&p, &whole[i], sizeof p) == 0, "weighting %zu cut %zu at %zu",
                              w, cut, i);
            }
        }
        double numbers[AN_STATE_MOST] = {0};
        ck_assert_int_eq(an_weighted_state_of(&all[w], numbers, 2, &state), AN_DOMAIN);
        const size_t n = an_weighted_state_numbers(&all[w], &state, numbers);
        numbers[0] = INFINITY;
        ck_assert_int_eq(an_weighted_state_of(&all[w], numbers, n, &state), AN_DOMAIN);
    }
}
END_TEST

START_TEST(parameters_have_ranges)
{
    const struct an_weighting bad[] = {
        {.kind = AN_UNWEIGHTED, .limits = 3.0},
        {.kind = AN_EWMA, .lambda = 0.0, .limits = 3.0},
        {.kind = AN_EWMA, .lambda = 1.01, .limits = 3.0},
        {.kind = AN_EWMA, .lambda = 0.2, .limits = 0.0},
        {.kind = AN_EWMA, .lambda = 0.2, .limits = NAN},
        {.kind = AN_EWMA, .lambda = 0.2, .limits = 11.0},
        {.kind = AN_EWMA, .lambda = 0.2, .limits = 3.0, .head_start = 0.5, .steady = true},
        {.kind = AN_CUSUM, .reference = -0.1, .limits = 4.0},
        {.kind = AN_CUSUM, .reference = 0.5, .limits = 51.0},
        {.kind = AN_CUSUM, .reference = 0.5, .limits = 4.0, .head_start = 0.7},
        {.kind = AN_MOVING_AVERAGE, .span = 1, .limits = 3.0},
        {.kind = AN_MOVING_AVERAGE, .span = AN_SPAN_MOST + 1, .limits = 3.0},
        {.kind = AN_MOVING_AVERAGE, .span = 5, .limits = 3.0, .head_start = 0.5},
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        ck_assert_msg(an_weighting_check(&bad[i]) == AN_DOMAIN, "case %zu", i);
    }
    for (int kind = AN_EWMA; kind < AN_WEIGHTED_CHOSEN; kind++) {
        const struct an_weighting usual = an_weighting_usual((enum an_weighted_kind)kind);
        ck_assert_int_eq(an_weighting_check(&usual), AN_OK);
        ck_assert_ptr_nonnull(an_weighted_statistic((enum an_weighted_kind)kind));
        ck_assert_str_ne(an_weighted_name((enum an_weighted_kind)kind), "");
    }
}
END_TEST

/* ---- on a chart ---- */

/* The level panel is weighted, the spread panel stays; counts go by their rates. */
START_TEST(on_a_chart)
{
    struct an_chart_model model = {.family = AN_XBAR_S,
                                   .k = 3.0,
                                   .samples = 25,
                                   .n_nominal = 4.0,
                                   .centre = 50.0,
                                   .sigma_within = 2.0,
                                   .sigma_level = 1.0,
                                   .dispersion = 1.0};
    model.weighting = (struct an_weighting){.kind = AN_EWMA, .lambda = 0.5, .limits = 2.5};
    struct an_weighted_state state = {0};
    const struct an_chart_sample sample = {.n = 4.0, .mean = 52.0, .sd = 1.5, .range = 3.0};
    const struct an_chart_point plain = an_chart_judge(&model, &sample, NULL);
    const struct an_chart_point p = an_chart_judge_weighted(&model, &sample, NULL, &state);
    ck_assert(plain.level.z == 2.0 && isnan(plain.plain.value));
    ck_assert(p.level.value == 51.0 && p.plain.value == 52.0 && p.level.centre == 50.0);
    check_close(p.level.ucl, 50.0 + 2.5 * 0.5, 1e-15, "ucl");
    check_close(p.level.z, 2.0, 1e-15, "z");
    ck_assert(p.spread.value == plain.spread.value && p.spread.ucl == plain.spread.ucl);
    ck_assert(an_chart_limit_sigmas(&model, 0) == 2.5 && an_chart_limit_sigmas(&model, 1) == 3.0);

    struct an_chart_model counts = {.family = AN_U,
                                    .k = 3.0,
                                    .centre = 0.02,
                                    .sigma_level = sqrt(0.02 / 100.0),
                                    .dispersion = 1.0,
                                    .mean_opportunities = 100.0};
    counts.weighting = (struct an_weighting){.kind = AN_EWMA, .lambda = 0.2, .limits = 3.0};
    struct an_weighted_state rate = {0};
    const struct an_chart_sample few = {.count = 1.0, .opportunities = 100.0};
    const struct an_chart_point q = an_chart_judge_weighted(&counts, &few, NULL, &rate);
    check_close(q.level.value, 0.02 + 0.2 * (0.01 - 0.02), 1e-14, "rate");
    check_close(q.level.ucl, 0.02 + 3.0 * 0.2 * sqrt(0.02 / 100.0), 1e-14, "its limit");
    const struct an_chart_sample none = {.count = 0.0, .opportunities = 0.0};
    const struct an_weighted_state before = rate;
    ck_assert(isnan(an_chart_judge_weighted(&counts, &none, NULL, &rate).level.value));
    ck_assert(memcmp(&before, &rate, sizeof rate) == 0);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("time weighted charts");
    TCase *published = tcase_create("published");
    tcase_add_test(published, handbook_weighted_mean);
    tcase_add_test(published, handbook_cumulative_sum);
    tcase_add_test(published, textbook_shift);
    suite_add_tcase(suite, published);
    TCase *definitions = tcase_create("definitions");
    tcase_add_test(definitions, ewma_head_start);
    tcase_add_test(definitions, sizes_differ);
    tcase_add_test(definitions, cusum_after_a_signal);
    tcase_add_test(definitions, no_number_is_passed_over);
    tcase_add_test(definitions, parameters_have_ranges);
    suite_add_tcase(suite, definitions);
    TCase *pieces = tcase_create("pieces");
    tcase_add_test(pieces, pieces_make_the_whole);
    tcase_add_test(pieces, on_a_chart);
    suite_add_tcase(suite, pieces);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
