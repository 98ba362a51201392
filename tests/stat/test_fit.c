/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Fitted shapes: against base R 4.2, published tables of Anderson-Darling, and their own equations.
 * (tests/reference/test_shapes.R compares many more numbers with R itself.)
 */
#include "andamento/stat/fit.h"
#include "andamento/stat/percentile.h"
#include "andamento/stat/tests.h"
#include "stat/distribution.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static double draw_normal(struct draws *draws)
{
    return sqrt(-2 * log(draw_uniform(draws))) * cos(6.283185307179586 * draw_uniform(draws));
}

static struct an_fit fit_of(enum an_shape shape, const double x[], size_t n)
{
    struct an_fit fit = {.n = 0};
    double *const scratch = calloc(3 * n, sizeof *scratch);
    const enum an_status st = an_fit_shape(shape, x, n, scratch, &fit);
    ck_assert_msg(st == AN_OK, "%s: %s", an_shape_name(shape), an_status_name(st));
    free(scratch);
    return fit;
}

/* One row a shape: parameters of a fit and readings drawn with even chances from it. */
static const struct {
    struct an_fit truth;
    double loose; /* how near an estimate from 400 even draws comes */
} known[] = {
    {{.shape = AN_SHAPE_NORMAL, .par = {10, 2}}, 0.02},
    {{.shape = AN_SHAPE_LOGNORMAL, .par = {1, 0.5}}, 0.02},
    {{.shape = AN_SHAPE_LOGNORMAL_3, .par = {1, 0.5, 40}}, 0.08},
    {{.shape = AN_SHAPE_WEIBULL, .par = {1.8, 3}}, 0.02},
    {{.shape = AN_SHAPE_WEIBULL_3, .par = {1.8, 3, 12}}, 0.06},
    {{.shape = AN_SHAPE_GAMMA, .par = {2.5, 0.8}}, 0.03},
    {{.shape = AN_SHAPE_FOLDED_NORMAL, .par = {1.5, 1}}, 0.03},
    {{.shape = AN_SHAPE_RAYLEIGH, .par = {2.2}}, 0.02},
    {{.shape = AN_SHAPE_JOHNSON_SU, .par = {-0.6, 1.5, 7, 2}}, 0.15},
    {{.shape = AN_SHAPE_JOHNSON_SB, .par = {0.6, 1.1, 7, 5}}, 0.15},
    {{.shape = AN_SHAPE_JOHNSON_SL, .par = {-2, 2, 40, 1}}, 0.08},
};
enum { known_count = sizeof known / sizeof known[0], even = 400 };

static void even_draws(const struct an_fit *truth, double x[], size_t n)
{
    for (size_t i = 0; i < n; i++) {
        /* 157 and 400 have no common divisor: the order is a jumble */
        x[i] = an_fit_quantile(truth, ((double)(i * 157 % n) + 0.5) / (double)n, false);
    }
}

START_TEST(finds_what_was_drawn)
{
    double x[even];
    even_draws(&known[_i].truth, x, even);
    const struct an_fit fit = fit_of(known[_i].truth.shape, x, even);
    for (size_t k = 0; k < an_shape_parameters(fit.shape); k++) {
        check_close(fit.par[k], known[_i].truth.par[k], known[_i].loose, "%s %s",
                    an_shape_name(fit.shape), an_shape_parameter(fit.shape, k));
    }
    double height = 0;
    for (size_t i = 0; i < even; i++) {
        height += an_fit_log_density(&fit, x[i]);
    }
    check_close(fit.log_likelihood, height, 1e-11, "likelihood");
    /* no step in any parameter climbs (normal: its sd is not the maximum's) */
    for (size_t k = 0; k < an_shape_parameters(fit.shape) && fit.shape != AN_SHAPE_NORMAL; k++) {
        if (fit.shape == AN_SHAPE_JOHNSON_SL && k == 3) {
            continue;
        }
        for (int side = -1; side <= 1; side += 2) {
            struct an_fit aside = fit;
            aside.par[k] += side * 1e-4 * fabs(fit.par[k]);
            double there = 0;
            for (size_t i = 0; i < even; i++) {
                there += an_fit_log_density(&aside, x[i]);
            }
            ck_assert_msg(there < height + 1e-9, "%s climbs with %s", an_shape_name(fit.shape),
                          an_shape_parameter(fit.shape, k));
        }
    }
}
END_TEST

/* Order: not a bit. Units (a power of two): the same fit in other units. A factor of 1e9, and an
 * offset of 1e9 where the shape has a place: to what the readings keep of themselves. */
START_TEST(order_and_units)
{
    double x[even], y[even];
    even_draws(&known[_i].truth, x, even);
    const enum an_shape shape = known[_i].truth.shape;
    const struct an_fit fit = fit_of(shape, x, even);
    for (size_t i = 0; i < even; i++) {
        y[i] = x[even - 1 - i];
    }
    struct an_fit other = fit_of(shape, y, even);
    ck_assert(memcmp(other.par, fit.par, sizeof fit.par) == 0);
    ck_assert(other.log_likelihood == fit.log_likelihood);
    for (size_t i = 0; i < even; i++) {
        y[i] = 1e9 * x[i];
    }
    other = fit_of(shape, y, even);
    for (double p = 0.001; p < 1; p += 0.111) {
        check_close(an_fit_quantile(&other, p, false), 1e9 * an_fit_quantile(&fit, p, false), 1e-6,
                    "%s at %g in other units", an_shape_name(shape), p);
    }
    struct an_fit moved = an_fit_moved(&fit, 2, an_shape_wants_positive(shape) ? 0 : 7);
    if (!isnan(moved.par[0])) {
        for (double p = 0.001; p < 1; p += 0.111) {
            check_close(an_fit_quantile(&moved, p, false),
                        2 * an_fit_quantile(&fit, p, false) +
                            (an_shape_wants_positive(shape) ? 0 : 7),
                        1e-12, "moved");
        }
        for (size_t i = 0; i < even; i++) {
            y[i] = x[i] + (an_shape_wants_positive(shape) ? 0 : 1e9);
        }
        other = fit_of(shape, y, even);
        /* 1e9 leaves a reading seven decimals */
        check_close(other.log_likelihood, fit.log_likelihood, 1e-8, "far away");
    }
}
END_TEST

/* Tails and percentiles undo each other, on both sides, far out too. */
START_TEST(tails_and_percentiles)
{
    const struct an_fit *fit = &known[_i].truth;
    for (double p = 1e-12; p < 0.6; p *= 3.7) {
        const double low = an_fit_quantile(fit, p, false), high = an_fit_quantile(fit, p, true);
        check_close(an_fit_below(fit, low), p, 1e-7, "%s below at %g", an_shape_name(fit->shape),
                    p);
        check_close(an_fit_above(fit, high), p, 1e-7, "%s above at %g", an_shape_name(fit->shape),
                    p);
        if (p > 1e-6) {
            ck_assert_double_eq_tol(an_fit_below(fit, high) + an_fit_above(fit, high), 1, 1e-12);
        }
    }
    ck_assert(isnan(an_fit_quantile(fit, -0.1, false)) && isnan(an_fit_quantile(fit, 1.1, true)) &&
              isnan(an_fit_quantile(fit, NAN, true)));
    ck_assert(an_fit_above(fit, -1e9) == 1 || fit->shape == AN_SHAPE_NORMAL ||
              fit->shape == AN_SHAPE_JOHNSON_SU);
}
END_TEST

/* Lengths of 141 rivers (base R): lognormal by maximum likelihood, percentiles; computed, base R 4.2. */
START_TEST(rivers)
{
    struct table t = table_read("rivers.csv");
    double *x = table_column(&t, "x");
    const struct an_fit fit = fit_of(AN_SHAPE_LOGNORMAL, x, t.rows);
    check_close(fit.par[0], 6.1758788811, 1e-10, "mu");
    check_close(fit.par[1], 0.589382913498, 1e-10, "sigma");
    check_close(an_fit_quantile(&fit, 0.00135, false), 82.0840482271, 1e-10, "low");
    check_close(an_fit_quantile(&fit, 0.5, false), 481.005584919, 1e-10, "middle");
    check_close(an_fit_quantile(&fit, 0.99865, false), 2818.65207334, 1e-10, "high");
    double *scratch = calloc(2 * t.rows + 1600, sizeof *scratch);
    struct an_fit_test test;
    ck_assert_int_eq(an_fit_anderson_darling(&fit, x, t.rows, scratch, &test), AN_OK);
    check_close(test.a2, 2.04782561644, 1e-9, "A2 of the logarithms");
    check_close(test.p, 0.0000309853699945, 1e-9, "its p");
    ck_assert(!test.simulated);
    free(scratch);
    free(x);
    table_free(&t);
}
END_TEST

/* Percentiles of shapes with known parameters (.00135, .5, .99865), base R 4.2. */
static const struct {
    struct an_fit fit;
    double q[3];
} percentiles[] = {
    {{.shape = AN_SHAPE_WEIBULL, .par = {1.5, 2}}, {0.0244407606062, 1.56643953755, 7.04251930728}},
    {{.shape = AN_SHAPE_GAMMA, .par = {2.5, 0.8}}, {0.0951834213839, 1.74058407644, 7.92850926084}},
    {{.shape = AN_SHAPE_WEIBULL, .par = {1, 3}}, {0.00405273621287, 2.07944154168, 19.8229520596}},
};

START_TEST(known_percentiles)
{
    static const double p[] = {0.00135, 0.5, 0.99865};
    for (int i = 0; i < 3; i++) {
        check_close(an_fit_quantile(&percentiles[_i].fit, p[i], false), percentiles[_i].q[i], 1e-10,
                    "percentile %g", p[i]);
    }
}
END_TEST

/* Weibull with both parameters estimated: significance points of A2 (1 + 0.2 / sqrt(n)) [Stephens,
 * Biometrika 64, 1977; D'Agostino and Stephens 1986, table 4.17; from memory]: the formula's p
 * meets them within 2 per cent of the level. */
static const struct {
    double point, level;
} weibull_points[] = {{0.474, 0.25}, {0.637, 0.10}, {0.757, 0.05}, {0.877, 0.025}, {1.038, 0.01}};

START_TEST(weibull_table)
{
    for (size_t i = 0; i < sizeof weibull_points / sizeof weibull_points[0]; i++) {
        const double a = weibull_points[i].point;
        const double p = 1 / (1 + exp(-0.10 + 1.24 * log(a) + 4.48 * a));
        check_close(p, weibull_points[i].level, 0.02, "level %g", weibull_points[i].level);
    }
}
END_TEST

/* p is a chance: over made sets of the shape it is below .1 about once in ten, by formula and by
 * simulation. 400 sets: standard error .015. */
static const struct {
    struct an_fit truth;
    int sets;
} fair[] = {
    {{.shape = AN_SHAPE_WEIBULL, .par = {1.8, 3}}, 400},
    {{.shape = AN_SHAPE_LOGNORMAL, .par = {1, 0.5}}, 400},
    {{.shape = AN_SHAPE_GAMMA, .par = {2.5, 0.8}}, 150},
    {{.shape = AN_SHAPE_RAYLEIGH, .par = {2.5}}, 200},
};

START_TEST(p_is_a_chance)
{
    enum { n = 40 };
    double x[n], scratch[3 * n + 1600];
    struct draws draws = {77};
    int low = 0;
    for (int set = 0; set < fair[_i].sets; set++) {
        for (size_t i = 0; i < n; i++) {
            x[i] = an_fit_quantile(&fair[_i].truth, draw_uniform(&draws), false);
        }
        struct an_fit fit;
        struct an_fit_test test;
        ck_assert_int_eq(an_fit_shape(fair[_i].truth.shape, x, n, scratch, &fit), AN_OK);
        ck_assert_int_eq(an_fit_anderson_darling(&fit, x, n, scratch, &test), AN_OK);
        ck_assert(test.p > 0 && test.p <= 1);
        low += test.p < 0.1;
    }
    const double share = (double)low / fair[_i].sets;
    ck_assert_double_eq_tol(share, 0.1, 4 * sqrt(0.09 / fair[_i].sets));
}
END_TEST

/* A shape that is wrong is found out: exponential readings are no Rayleigh ones; two heaps are not
 * Johnson SU; and the simulated p is the same at each call. */
START_TEST(wrong_shapes)
{
    enum { n = 120 };
    double x[n], scratch[3 * n + 1600];
    const struct an_fit truth = {.shape = AN_SHAPE_WEIBULL, .par = {1, 3}};
    even_draws(&truth, x, n);
    struct an_fit fit = fit_of(AN_SHAPE_RAYLEIGH, x, n);
    struct an_fit_test test, again;
    ck_assert_int_eq(an_fit_anderson_darling(&fit, x, n, scratch, &test), AN_OK);
    ck_assert(test.simulated && test.p <= 0.01 && test.simulated_sets == 499);
    ck_assert_int_eq(an_fit_anderson_darling(&fit, x, n, scratch, &again), AN_OK);
    ck_assert(test.p == again.p && test.a2 == again.a2);
    fit = fit_of(AN_SHAPE_GAMMA, x, n);
    ck_assert_int_eq(an_fit_anderson_darling(&fit, x, n, scratch, &test), AN_OK);
    ck_assert(test.p > 0.2); /* exponential is a gamma shape */
}
END_TEST

START_TEST(best_shape)
{
    static double x[even], scratch[3 * even];
    const struct an_fit truth = {.shape = AN_SHAPE_LOGNORMAL, .par = {1, 0.8}};
    struct draws draws = {3};
    for (size_t i = 0; i < even; i++) {
        x[i] = an_fit_quantile(&truth, draw_uniform(&draws), false);
    }
    struct an_fit_ranking r;
    ck_assert_int_eq(an_fit_rank(x, even, scratch, &r), AN_OK);
    ck_assert_msg(r.best == AN_SHAPE_LOGNORMAL, "%s", an_shape_name(r.best));
    ck_assert(r.second != AN_SHAPE_COUNT && r.second != r.best);
    ck_assert(an_fit_bic(&r.fit[r.best]) < an_fit_bic(&r.fit[r.second]));
    for (size_t i = 0; i < even; i++) {
        x[i] = draw_normal(&draws) - 1;
    }
    ck_assert_int_eq(an_fit_rank(x, even, scratch, &r), AN_OK);
    ck_assert(r.best == AN_SHAPE_NORMAL && r.status[AN_SHAPE_WEIBULL] == AN_DOMAIN);
}
END_TEST

/* No inner top: symmetrical readings have no threshold; flat-tailed ones no SU shape. */
START_TEST(does_not_converge)
{
    static double x[even], scratch[3 * even];
    struct an_fit fit = {.n = 5};
    for (size_t i = 0; i < even; i++) {
        x[i] = ((double)i + 0.5) / even;
    }
    ck_assert_int_eq(an_fit_shape(AN_SHAPE_JOHNSON_SU, x, even, scratch, &fit), AN_NOT_CONVERGED);
    const struct an_fit falling = {.shape = AN_SHAPE_WEIBULL, .par = {0.5, 3}};
    even_draws(&falling, x, even);
    ck_assert_int_eq(an_fit_shape(AN_SHAPE_WEIBULL_3, x, even, scratch, &fit), AN_NOT_CONVERGED);
    for (size_t i = 0; i < even; i++) { /* long tail to the left */
        x[i] = -x[i];
    }
    ck_assert_int_eq(an_fit_shape(AN_SHAPE_LOGNORMAL_3, x, even, scratch, &fit), AN_NOT_CONVERGED);
    ck_assert_uint_eq(fit.n, 5);
}
END_TEST

/* Readings that fold about 0 so much that the likeliest mean is 0: half normal, and so it says. */
START_TEST(half_normal)
{
    double x[even];
    for (size_t i = 0; i < even; i++) {
        x[i] = an_normal_quantile(0.5 + ((double)i + 0.5) / even / 2) * (i % 7 == 0 ? 1.2 : 1.0);
    }
    const struct an_fit fit = fit_of(AN_SHAPE_FOLDED_NORMAL, x, even);
    double squares = 0;
    for (size_t i = 0; i < even; i++) {
        squares += x[i] * x[i] / even;
    }
    ck_assert(fit.at_edge && fit.par[0] == 0);
    check_close(fit.par[1], sqrt(squares), 1e-12, "sd about 0");
}
END_TEST

/* Whatever the readings are (few, tied, rounded, with one far away), a fit is refused or whole: finite
 * parameters, percentiles in order, a chance that is one, indices or a status. */
START_TEST(any_readings)
{
    static double scratch[AN_PERCENTILE_SCRATCH];
    struct draws draws = {424242};
    int whole = 0;
    for (int set = 0; set < 60; set++) {
        double x[60], room[3 * 60 + 1600];
        const size_t n = 2 + (size_t)(draw_uniform(&draws) * 58);
        const double grain = pow(10, floor(4 * draw_uniform(&draws)) - 3);
        for (size_t i = 0; i < n; i++) {
            const double u = draw_uniform(&draws);
            x[i] = set % 3 == 0 ? u : set % 3 == 1 ? -log(u) : draw_normal(&draws) + 5;
            x[i] = grain * ceil(x[i] / grain);
        }
        x[0] = set % 7 == 0 ? 1e6 : x[0];
        for (int k = 0; k < (int)AN_SHAPE_COUNT; k++) {
            struct an_fit fit;
            struct an_fit_test test;
            struct an_percentile_capability c;
            if (an_fit_shape((enum an_shape)k, x, n, room, &fit)) {
                continue;
            }
            whole++;
            const double low = an_fit_quantile(&fit, 0.00135, false),
                         high = an_fit_quantile(&fit, 0.00135, true);
            ck_assert_msg(isfinite(fit.log_likelihood) && low <= high, "%s",
                          an_shape_name(fit.shape));
            if (set % 10 == 0 && an_fit_anderson_darling(&fit, x, n, room, &test) == AN_OK) {
                ck_assert(test.p > 0 && test.p <= 1);
            }
            const struct an_spec spec = {NAN, low, high};
            if (set % 10 == 0 && high > low &&
                an_capability_by_percentiles(&fit, &spec, 0.9, scratch, &c) == AN_OK) {
                ck_assert(c.pp.lower <= c.pp.upper && c.ppk.lower <= c.ppk.upper);
            }
        }
    }
    ck_assert_int_gt(whole, 200);
}
END_TEST

/* Special functions behind the shapes and the exact bounds; base R 4.2, 14 digits. */
START_TEST(special_functions)
{
    static const double beta[][4] = {
        {0.5, 0.5, 0.001, 2.4673990709169e-06}, {0.5, 0.5, 0.5, 0.5},
        {0.5, 0.5, 0.99, 0.99975328018287},     {2, 5, 0.001, 0.0082554927877467},
        {2, 5, 0.5, 0.26444998329566},          {2, 5, 0.99, 0.70568632831971},
        {1.5, 26, 0.001, 0.00046273921453006},  {1.5, 26, 0.5, 0.044070571017371},
        {1.5, 26, 0.99, 0.19438239514172}};
    static const double gamma[][5] = {
        {0.3, 0.24, 0.68854146519485, 2.6394091570705, 1.0957979948181},
        {2.5, 2, 0.45058404864722, 7.5431362346945, 0.28468287047292},
        {40, 32, 0.095602816630231, 56.164396260149, 106.63176026064}};
    for (size_t i = 0; i < sizeof beta / sizeof beta[0]; i++) {
        check_close(an_beta_quantile(beta[i][2], beta[i][0], beta[i][1]), beta[i][3], 1e-12,
                    "beta %zu", i);
    }
    for (size_t i = 0; i < sizeof gamma / sizeof gamma[0]; i++) {
        const double *g = gamma[i];
        check_close(exp(an_gamma_log_below(g[1], g[0])), g[2], 1e-12, "gamma below %zu", i);
        check_close(exp(an_gamma_log_above(g[1], g[0])), 1 - g[2], 1e-12, "gamma above %zu", i);
        check_close(an_gamma_quantile(0.99, false, g[0]), g[3], 1e-11, "gamma quantile %zu", i);
        check_close(an_gamma_quantile(0.01, true, g[0]), g[3], 1e-11, "the same from above %zu", i);
        check_close(an_log_gamma(g[0]), g[4], 1e-12, "log gamma %zu", i);
        /* slopes of the logarithm: digamma(x + 1) = digamma(x) + 1 / x, trigamma likewise */
        check_close(an_digamma(g[0] + 1), an_digamma(g[0]) + 1 / g[0], 1e-12, "digamma %zu", i);
        check_close(an_trigamma(g[0] + 1), an_trigamma(g[0]) - 1 / (g[0] * g[0]), 1e-11,
                    "trigamma %zu", i);
    }
    check_close(an_digamma(1), -0.57721566490153286, 1e-14, "Euler's constant");
    check_close(an_trigamma(1), 1.6449340668482264, 1e-14, "pi squared over 6");
    ck_assert(isnan(an_beta_quantile(0.5, -1, 2)) && isnan(an_gamma_quantile(2, false, 1)) &&
              isnan(an_log_gamma(-1)) && isnan(an_digamma(0)) && isnan(an_trigamma(-2)));
}
END_TEST

START_TEST(refusals)
{
    double x[12] = {1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}, scratch[40];
    struct an_fit fit = {.n = 77};
    for (int i = 0; i < (int)AN_SHAPE_COUNT; i++) {
        const enum an_shape shape = (enum an_shape)i;
        const char *name = an_shape_name(shape);
        ck_assert_int_eq(an_shape_of(name), shape);
        ck_assert_msg(an_fit_shape(shape, x, 1, scratch, &fit) == AN_TOO_FEW, "%s", name);
        double same[12] = {4, 4, 4, 4, 4, 4, 4, 4, 4, 4, 4, 4};
        ck_assert_msg(an_fit_shape(shape, same, 12, scratch, &fit) == AN_NO_SPREAD, "%s", name);
        same[3] = NAN;
        ck_assert_msg(an_fit_shape(shape, same, 12, scratch, &fit) == AN_DOMAIN, "%s", name);
        x[0] = 0;
        ck_assert(!an_shape_wants_positive(shape) ||
                  an_fit_shape(shape, x, 12, scratch, &fit) == AN_DOMAIN);
        x[0] = -1;
        ck_assert(shape != AN_SHAPE_FOLDED_NORMAL ||
                  an_fit_shape(shape, x, 12, scratch, &fit) == AN_DOMAIN);
        x[0] = 1;
    }
    ck_assert_int_eq(an_shape_of("nothing"), AN_SHAPE_COUNT);
    ck_assert_int_eq(an_fit_shape(AN_SHAPE_COUNT, x, 12, scratch, &fit), AN_DOMAIN);
    ck_assert_uint_eq(fit.n, 77);
    struct an_fit_test test;
    const struct an_fit normal = {.shape = AN_SHAPE_NORMAL, .par = {5, 2}, .n = 7};
    ck_assert_int_eq(an_fit_anderson_darling(&normal, x, 7, scratch, &test), AN_TOO_FEW);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("stat.fit");
    TCase *tcase = tcase_create("fit");
    tcase_add_loop_test(tcase, finds_what_was_drawn, 0, known_count);
    tcase_add_loop_test(tcase, order_and_units, 0, known_count);
    tcase_add_loop_test(tcase, tails_and_percentiles, 0, known_count);
    tcase_add_test(tcase, rivers);
    tcase_add_loop_test(tcase, known_percentiles, 0,
                        (int)(sizeof percentiles / sizeof percentiles[0]));
    tcase_add_test(tcase, weibull_table);
    tcase_add_loop_test(tcase, p_is_a_chance, 0, (int)(sizeof fair / sizeof fair[0]));
    tcase_add_test(tcase, wrong_shapes);
    tcase_add_test(tcase, best_shape);
    tcase_add_test(tcase, does_not_converge);
    tcase_add_test(tcase, half_normal);
    tcase_add_test(tcase, any_readings);
    tcase_add_test(tcase, special_functions);
    tcase_add_test(tcase, refusals);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
