/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A second, independent library for the same numbers: the GNU Scientific Library, where the build
 * finds it. Without it the test says aloud that it was skipped.
 */
#include <stdio.h>
#include <stdlib.h>

#ifndef AN_HAVE_GSL

int main(void)
{
    puts("stat.second_library: SKIPPED, the GNU Scientific Library is not installed");
    return EXIT_SUCCESS;
}

#else

#include "andamento/stat/constants.h"
#include "andamento/stat/moments.h"
#include "andamento/stat/tests.h"
#include "stat/distribution.h"
#include "support.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_integration.h>
#include <gsl/gsl_sf_gamma.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdint.h>

/* Relative agreement, or absolute where the wanted value is far below 1. */
static void agree(double got, double wanted, double relative, const char *what, double a, double b)
{
    ck_assert_msg(fabs(got - wanted) <= relative * (fabs(wanted) + 1e-12),
                  "%s(%g, %g): got %.17g, wanted %.17g", what, a, b, got, wanted);
}

START_TEST(distributions)
{
    static const double dfs[] = {1, 2, 5.5, 24, 150};
    static const double chances[] = {0.00135, 0.025, 0.3, 0.5, 0.9, 0.99865};
    for (size_t i = 0; i < 5; i++) {
        for (size_t j = 0; j < 6; j++) {
            const double df = dfs[i], p = chances[j];
            const double t = gsl_cdf_tdist_Pinv(p, df), x = gsl_cdf_chisq_Pinv(p, df);
            agree(an_t_quantile(p, df), t, 1e-10, "t quantile", p, df);
            agree(an_t_below(t, df), p, 1e-10, "t below", t, df);
            agree(an_chi_square_quantile(p, df), x, 1e-10, "chi-square quantile", p, df);
            agree(an_chi_square_above(x, df), gsl_cdf_chisq_Q(x, df), 1e-12, "chi-square", x, df);
            agree(an_f_above(1.0 + p, df, 7.0), gsl_cdf_fdist_Q(1.0 + p, df, 7.0), 1e-12, "F", p,
                  df);
        }
    }
    for (double z = -8.0; z <= 8.0; z += 0.37) {
        agree(an_normal_below(z), gsl_cdf_ugaussian_P(z), 1e-13, "normal below", z, 0);
        agree(an_normal_above(z), gsl_cdf_ugaussian_Q(z), 1e-13, "normal above", z, 0);
        const double lower = -fabs(z); /* near 1 a chance has lost its quantile */
        agree(an_normal_quantile(gsl_cdf_ugaussian_P(lower)), lower, 1e-11, "normal quantile", z,
              0);
    }
    for (unsigned k = 0; k < 30; k++) {
        agree(an_binomial_below(k, 50, 0.2313), gsl_cdf_binomial_P(k, 0.2313, 50), 1e-12,
              "binomial", k, 50);
        agree(an_poisson_below(k, 16.0), gsl_cdf_poisson_P(k, 16.0), 1e-12, "Poisson", k, 16);
    }
}
END_TEST

/* c4 by log gamma functions; d2 by adaptive quadrature. */
static double range_tail(double x, void *n)
{
    const double count = *(const double *)n;
    return 1.0 - pow(gsl_cdf_ugaussian_P(x), count) - pow(gsl_cdf_ugaussian_Q(x), count);
}

START_TEST(constants)
{
    gsl_integration_workspace *space = gsl_integration_workspace_alloc(1000);
    for (double n = 2.0; n <= 1000.0; n = n < 30.0 ? n + 1.0 : n * 2.0) {
        double c4, d2, wanted, error;
        ck_assert_int_eq(an_c4(n, &c4), AN_OK);
        ck_assert_int_eq(an_d2((size_t)n, &d2), AN_OK);
        agree(c4, sqrt(2.0 / (n - 1.0)) * exp(gsl_sf_lngamma(n / 2) - gsl_sf_lngamma((n - 1) / 2)),
              1e-11, "c4", n, 0);
        double size = n;
        gsl_function f = {range_tail, &size};
        ck_assert_int_eq(
            gsl_integration_qag(&f, -12, 12, 1e-12, 1e-12, 1000, 6, space, &wanted, &error), 0);
        agree(d2, wanted, 1e-11, "d2", n, 0);
    }
    gsl_integration_workspace_free(space);
}
END_TEST

/* Noncentral t given the spread, by adaptive quadrature. */
struct given {
    double t, df, delta;
};

static double given_spread(double s, void *of)
{
    const struct given *g = of;
    const double log_density = log(2.0) + g->df / 2.0 * log(g->df / 2.0) -
                               gsl_sf_lngamma(g->df / 2.0) + (g->df - 1.0) * log(s) -
                               g->df * s * s / 2.0;
    return exp(log_density) * gsl_cdf_ugaussian_P(g->t * s - g->delta);
}

START_TEST(noncentral_t)
{
    static const struct given rows[] = {{3.3, 9, 3},    {25, 24, 20}, {60, 199, 55},
                                        {-4, 11.5, -3}, {1, 2, 1},    {130, 999, 126}};
    gsl_integration_workspace *space = gsl_integration_workspace_alloc(2000);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct given row = rows[i];
        gsl_function f = {given_spread, &row};
        double wanted, error;
        const double width = 12.0 / sqrt(2.0 * row.df);
        ck_assert_int_eq(gsl_integration_qag(&f, fmax(1e-9, 1.0 - width), 1.0 + width, 1e-13, 1e-12,
                                             2000, 6, space, &wanted, &error),
                         0);
        agree(an_noncentral_t_below(row.t, row.df, row.delta, NULL), wanted, 1e-9, "noncentral t",
              row.t, row.delta);
    }
    gsl_integration_workspace_free(space);
}
END_TEST

START_TEST(moments)
{
    struct draws draws = {3};
    double x[500], r;
    for (size_t i = 0; i < 500; i++) {
        x[i] = 1000.0 + an_normal_quantile(draw_uniform(&draws));
    }
    struct an_moments m;
    ck_assert_int_eq(an_moments_of(x, 500, &m), AN_OK);
    ck_assert_int_eq(an_autocorrelation(x, 500, 1, &r), AN_OK);
    agree(m.mean, gsl_stats_mean(x, 1, 500), 1e-14, "mean", 0, 0);
    agree(an_moments_sd(&m), gsl_stats_sd(x, 1, 500), 1e-12, "sd", 0, 0);
    agree(r, gsl_stats_lag1_autocorrelation(x, 1, 500), 1e-9, "lag 1", 0, 0);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("stat.second_library");
    TCase *tcase = tcase_create("gsl");
    tcase_add_test(tcase, distributions);
    tcase_add_test(tcase, constants);
    tcase_add_test(tcase, noncentral_t);
    tcase_add_test(tcase, moments);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}

#endif
