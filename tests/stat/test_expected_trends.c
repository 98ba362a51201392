/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Charts of what an ordinary chart would misjudge: values that remember the one before, tools that
 * wear, products that change, heads that run side by side. Closed forms, open series, simulation.
 */
#include "andamento/stat/autoregression.h"
#include "andamento/stat/run_length.h"
#include "andamento/stat/short_run.h"
#include "andamento/stat/tests.h"
#include "andamento/stat/wear.h"
#include "support.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>

/* ---- autoregression ---- */

/* The Nile at Aswan, 1871 to 1970: ar1 .5063 (s.e. .0867), mean 919.57 (s.e. 29.14), variance 21125,
 * log likelihood -639.95 [base R 4.2: arima(Nile, order = c(1, 0, 0))] */
START_TEST(nile)
{
    struct table table = table_read("nile.csv");
    double *x = table_column(&table, "flow");
    struct an_autoregression fit;
    ck_assert_int_eq(an_autoregression_fit(x, table.rows, NULL, NULL, &fit), AN_OK);
    ck_assert_double_eq_tol(fit.phi, 0.5063, 6e-5);
    ck_assert_double_eq_tol(fit.mean, 919.5685, 0.05);
    ck_assert_double_eq_tol(fit.sigma * fit.sigma, 21125.0, 1.0);
    ck_assert_double_eq_tol(fit.log_likelihood, -639.95, 0.006);
    free(x);
    table_free(&table);
}
END_TEST

static void simulate(double phi, size_t n, unsigned long long seed, double x[])
{
    struct an_random random;
    an_random_start(&random, seed);
    x[0] = an_random_normal(&random) / sqrt(1.0 - phi * phi);
    for (size_t i = 1; i < n; i++) {
        x[i] = phi * x[i - 1] + an_random_normal(&random);
    }
}

static const double true_phi[] = {-0.6, 0.0, 0.3, 0.7, 0.95};

/* What is left of a long made series is independent with the sigma put in; a level of 1e9 and breaks
 * that part nothing change no estimate. */
START_TEST(residuals_are_independent)
{
    enum { N = 4000 };
    static double x[N], left[N], high[N];
    static bool broken[N];
    struct an_autoregression fit, shifted;
    struct an_ljung_box raw, rest;
    simulate(true_phi[_i], N, 21, x);
    ck_assert_int_eq(an_autoregression_fit(x, N, NULL, NULL, &fit), AN_OK);
    ck_assert_double_eq_tol(fit.phi, true_phi[_i], 4.0 * fit.phi_se + 1e-4);
    ck_assert_double_eq_tol(fit.sigma, 1.0, 0.045);
    for (size_t i = 0; i < N; i++) {
        left[i] = an_autoregression_residual(&fit, x[i], i ? x[i - 1] : (double)NAN).value;
        high[i] = 1e6 + x[i];
        broken[i] = false;
    }
    ck_assert_int_eq(an_ljung_box_of(x, N, 5, 0, &raw), AN_OK);
    ck_assert_int_eq(an_ljung_box_of(left, N, 5, 1, &rest), AN_OK);
    ck_assert(rest.p > 0.001);
    ck_assert(true_phi[_i] == 0.0 ? raw.p > 0.001 : raw.p < 1e-12);
    broken[0] = true;
    ck_assert_int_eq(an_autoregression_fit(high, N, broken, NULL, &shifted), AN_OK);
    check_close(shifted.mean, 1e6 + fit.mean, 1e-12, "mean");
    ck_assert_double_eq_tol(shifted.phi, fit.phi, 1e-8);
}
END_TEST

/* A stretch alone or the same stretch twice, parted: one phi; a break is not looked across. */
START_TEST(breaks_part)
{
    double x[80];
    bool broken[80] = {false}, excluded[80] = {false};
    struct an_autoregression one, two, out;
    simulate(0.6, 40, 8, x);
    for (size_t i = 0; i < 40; i++) {
        x[40 + i] = x[i];
    }
    broken[40] = true;
    ck_assert_int_eq(an_autoregression_fit(x, 40, NULL, NULL, &one), AN_OK);
    ck_assert_int_eq(an_autoregression_fit(x, 80, broken, NULL, &two), AN_OK);
    ck_assert_double_eq_tol(one.phi, two.phi, 1e-9);
    check_close(two.sigma, one.sigma, 1e-9, "sigma");
    check_close(two.log_likelihood, 2.0 * one.log_likelihood, 1e-12, "twice");
    ck_assert(two.stretches == 2.0 && one.stretches == 1.0);
    excluded[3] = true;
    x[3] = 1e9;
    ck_assert_int_eq(an_autoregression_fit(x, 40, NULL, excluded, &out), AN_OK);
    ck_assert(fabs(out.phi) < 1.0 && out.sigma < 3.0 && out.n == 39.0);
}
END_TEST

/* How much too narrow: mean moving ranges of a long made series against its true sigma. */
START_TEST(limits_are_too_narrow)
{
    enum { N = 100000 };
    static double x[N];
    double ranges = 0.0;
    simulate(0.5, N, 4, x);
    for (size_t i = 1; i < N; i++) {
        ranges += fabs(x[i] - x[i - 1]) / (N - 1);
    }
    const double learned = ranges / 1.12837916709551257390;
    const struct an_too_narrow narrow = an_autocorrelation_narrows(0.5, 3.0);
    ck_assert_double_eq_tol(1.0 / sqrt(1.0 - 0.25) / learned, narrow.factor, 0.015);
    check_close(narrow.factor, sqrt(2.0), 1e-14, "1 / sqrt(1 - r)");
    ck_assert_double_eq_tol(narrow.chance, 0.0339, 1e-4); /* 2 Phi(-2.1213), normal tables */
    ck_assert(isnan(an_autocorrelation_narrows(1.0, 3.0).factor));
}
END_TEST

START_TEST(too_little_to_remember)
{
    const double x[] = {1, 2, 1, 2, 3, 2, 1, 2, 5}, flat[9] = {0};
    struct an_autoregression fit;
    struct an_ljung_box box;
    ck_assert_int_eq(an_autoregression_fit(x, 7, NULL, NULL, &fit), AN_TOO_FEW);
    ck_assert_int_eq(an_autoregression_fit(flat, 9, NULL, NULL, &fit), AN_NO_SPREAD);
    ck_assert_int_eq(
        an_autoregression_fit((const double[]){1, 2, 3, 4, INFINITY, 2, 3, 4}, 8, NULL, NULL, &fit),
        AN_DOMAIN);
    ck_assert_int_eq(an_ljung_box_of(x, 9, 8, 0, &box), AN_TOO_FEW);
    ck_assert_int_eq(an_ljung_box_of(x, 9, 1, 1, &box), AN_TOO_FEW);
}
END_TEST

/* ---- wear ---- */

/* Three lives without noise but one value: slope and height in closed form. */
START_TEST(a_line_is_found)
{
    double life[30], y[30];
    struct an_wear wear;
    struct an_wear_end end;
    for (size_t i = 0; i < 30; i++) {
        life[i] = (double)(i % 10) * 100.0;
        y[i] = 5.0 + 0.002 * life[i] + (i % 2 ? 0.01 : -0.01);
    }
    ck_assert_int_eq(an_wear_learn(life, y, 30, NULL, &wear), AN_OK);
    ck_assert(wear.tools == 3.0 && wear.life_most == 900.0);
    ck_assert_double_eq_tol(wear.rate, 0.002, 2e-5);
    ck_assert(wear.p < 1e-6);
    /* a tool that stands 0.2 higher ends 100 lives sooner */
    double high[4];
    for (size_t i = 0; i < 4; i++) {
        high[i] = wear.intercept + 0.2 + wear.rate * life[i];
    }
    ck_assert_int_eq(an_wear_end_of(&wear, life, high, 4, 8.0, 0.95, &end), AN_OK);
    check_close(end.life, (8.0 - 0.2 - wear.intercept) / wear.rate, 1e-12, "end of life");
    ck_assert(end.lower < end.life && end.life < end.upper && end.upper - end.lower < 40.0);
}
END_TEST

/* The interval of the end holds the true life in 94 to 96 of 100 made lines. */
START_TEST(the_end_is_covered)
{
    enum { LINES = 4000, LIVES = 40 };
    struct an_random random;
    double held = 0.0, life[LIVES], y[LIVES];
    an_random_start(&random, 12);
    for (int run = 0; run < LINES; run++) {
        struct an_wear wear;
        struct an_wear_end end;
        double now[6], now_life[6];
        for (size_t i = 0; i < LIVES; i++) {
            life[i] = 10.0 * (double)(i % 10);
            y[i] = 1.0 + 0.03 * life[i] + 0.3 * an_random_normal(&random);
        }
        for (size_t i = 0; i < 6; i++) {
            now_life[i] = 10.0 * (double)i;
            now[i] = 1.4 + 0.03 * now_life[i] + 0.3 * an_random_normal(&random);
        }
        ck_assert_int_eq(an_wear_learn(life, y, LIVES, NULL, &wear), AN_OK);
        ck_assert_int_eq(an_wear_end_of(&wear, now_life, now, 6, 6.0, 0.95, &end), AN_OK);
        held += end.lower <= (6.0 - 1.4) / 0.03 && (6.0 - 1.4) / 0.03 <= end.upper;
    }
    ck_assert_msg(held / LINES > 0.94 && held / LINES < 0.96, "held %g", held / LINES);
}
END_TEST

START_TEST(no_wear_no_end)
{
    double life[20], y[20];
    struct an_wear wear;
    struct an_wear_end end;
    struct draws draws = {2};
    for (size_t i = 0; i < 20; i++) {
        life[i] = (double)(i % 10);
        y[i] = draw_uniform(&draws);
    }
    ck_assert_int_eq(an_wear_learn(life, y, 20, NULL, &wear), AN_OK);
    ck_assert(wear.p > 0.05);
    ck_assert_int_eq(an_wear_end_of(&wear, life, y, 5, 9.0, 0.95, &end), AN_NO_SPREAD);
    ck_assert(isnan(end.lower) && isnan(end.upper));
    ck_assert_int_eq(an_wear_end_of(&wear, life, y, 0, 9.0, 0.95, &end), AN_TOO_FEW);
    ck_assert_int_eq(an_wear_end_of(&wear, life, y, 5, NAN, 0.95, &end), AN_DOMAIN);
    ck_assert_int_eq(an_wear_learn(life, y, 4, NULL, &wear), AN_TOO_FEW);
    for (size_t i = 0; i < 20; i++) {
        life[i] = 7.0; /* never moves */
    }
    ck_assert_int_eq(an_wear_learn(life, y, 20, NULL, &wear), AN_NO_SPREAD);
    life[3] = -1.0;
    ck_assert_int_eq(an_wear_learn(life, y, 20, NULL, &wear), AN_DOMAIN);
}
END_TEST

/* ---- products ---- */

START_TEST(products)
{
    /* two products in turn; the second is ten times as coarse */
    const double x[] = {10.0, 100.0, 11.0, 120.0, 10.0, 100.0, 12.0};
    const size_t product[] = {0, 1, 0, 1, 0, 1, 0};
    struct an_product p[] = {{NAN, NAN, 0, 0}, {105.0, NAN, 0, 0}, {7.0, 2.0, 0, 0}};
    size_t bad;
    ck_assert_int_eq(an_short_run_learn(x, product, 7, NULL, p, 3, &bad), AN_OK);
    check_close(p[0].target, 10.75, 1e-15, "mean of the first");
    check_close(p[0].sigma, 4.0 / 3.0 / 1.12837916709551257390, 1e-14, "ranges 1, 1, 2");
    ck_assert(p[1].target == 105.0);
    check_close(p[1].sigma, 20.0 / 1.12837916709551257390, 1e-14, "ranges 20, 20");
    ck_assert(an_short_run_scaled(&p[2], 11.0) == 2.0); /* given whole: no sample is wanted */

    struct an_product lone[] = {{NAN, NAN, 0, 0}, {NAN, NAN, 0, 0}};
    const size_t once[] = {0, 0, 0, 1};
    ck_assert_int_eq(an_short_run_learn(x, once, 4, NULL, lone, 2, &bad), AN_TOO_FEW);
    ck_assert_uint_eq(bad, 1);
    struct an_product flat[] = {{NAN, NAN, 0, 0}};
    ck_assert_int_eq(an_short_run_learn((const double[]){3, 3, 3}, (const size_t[]){0, 0, 0}, 3,
                                        NULL, flat, 1, &bad),
                     AN_NO_SPREAD);
    struct an_product wrong[] = {{1.0, -2.0, 0, 0}};
    ck_assert_int_eq(an_short_run_learn(x, (const size_t[]){0}, 1, NULL, wrong, 1, &bad),
                     AN_DOMAIN);
    ck_assert_int_eq(an_short_run_learn(x, (const size_t[]){5}, 1, NULL, flat, 1, &bad), AN_DOMAIN);
}
END_TEST

/* ---- heads ---- */

START_TEST(heads)
{
    struct an_random random;
    double beyond = 0.0;
    enum { SAMPLES = 100000, STREAMS = 4 };
    const double limit = an_group_limit(STREAMS, 2.0);
    ck_assert(an_group_limit(1.0, 3.0) > 2.999999 && an_group_limit(1.0, 3.0) < 3.000001);
    an_random_start(&random, 31);
    for (int i = 0; i < SAMPLES; i++) {
        double z[STREAMS];
        for (size_t s = 0; s < STREAMS; s++) {
            z[s] = an_random_normal(&random);
        }
        const struct an_group_point p = an_group_extremes(z, STREAMS);
        beyond += p.up > limit || p.down < -limit ? 1.0 : 0.0;
        ck_assert(p.up == z[p.highest] && p.down == z[p.lowest] && p.up >= p.down);
    }
    ck_assert_double_eq_tol(beyond / SAMPLES, 0.0455, 0.0028); /* 2 Phi(-2), four standard errors */

    const struct an_group_point some = an_group_extremes((const double[]){NAN, -4.0, NAN, -5.0}, 4);
    ck_assert(some.known == 2.0 && some.highest == 1 && some.lowest == 3 && some.up == -4.0);
    ck_assert_uint_eq(an_group_extremes((const double[]){NAN, NAN}, 2).highest, 2);
    /* (4^5 - 1) / 3 = 341 samples between runs of five of four heads [Nelson 1986, from memory] */
    check_close(an_group_run_between(4.0, 5.0), 341.0, 1e-15, "runs of five");
    ck_assert_int_eq(an_group_run_length(4.0, 300.0), 5);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("expected trends");
    TCase *remember = tcase_create("autoregression");
    tcase_set_timeout(remember, 60);
    tcase_add_test(remember, nile);
    tcase_add_loop_test(remember, residuals_are_independent, 0, sizeof true_phi / sizeof *true_phi);
    tcase_add_test(remember, breaks_part);
    tcase_add_test(remember, limits_are_too_narrow);
    tcase_add_test(remember, too_little_to_remember);
    suite_add_tcase(suite, remember);
    TCase *trends = tcase_create("wear, products, heads");
    tcase_set_timeout(trends, 60);
    tcase_add_test(trends, a_line_is_found);
    tcase_add_test(trends, the_end_is_covered);
    tcase_add_test(trends, no_wear_no_end);
    tcase_add_test(trends, products);
    tcase_add_test(trends, heads);
    suite_add_tcase(suite, trends);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
