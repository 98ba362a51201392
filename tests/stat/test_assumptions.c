/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Normality and the distribution functions, against tables and base R.
 */
#include "andamento/stat/tests.h"
#include "support.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/*
 * Anderson-Darling, computed with base R 4.2; the chick weights are an example of D'Agostino and
 * Stephens, Goodness-of-Fit Techniques, 1986 (from memory), the others are data that base R carries.
 */
static const struct {
    const char *file, *column;
    int logarithm;
    double a2, a2_star, p;
} normality[] = {
    {"chick_weights.csv", "x", 0, 0.214174258231, 0.223410523117, 0.82597640801},
    {"precipitation.csv", "x", 0, 0.99894379424, 1.01010546215, 0.0116317801275},
    {"rivers.csv", "x", 0, 12.6620950558, 12.7308796374, 2.0243758928e-30},
    {"rivers.csv", "x", 1, 2.04782561644, 2.05895006524, 0.0000309853699945},
    {"nile.csv", "flow", 0, 1.03197407434, 1.03994607407, 0.00982095939728},
};

START_TEST(anderson_darling)
{
    struct table table = table_read(normality[_i].file);
    double *x = table_column(&table, normality[_i].column);
    double *scratch = calloc(table.rows, sizeof *scratch);
    ck_assert_ptr_nonnull(scratch);
    for (size_t i = 0; i < table.rows; i++) {
        x[i] = normality[_i].logarithm ? log(x[i]) : x[i];
    }
    struct an_normality r, again;
    ck_assert_int_eq(an_anderson_darling(x, table.rows, scratch, &r), AN_OK);
    check_close(r.a2, normality[_i].a2, 1e-9, "A2");
    check_close(r.a2_star, normality[_i].a2_star, 1e-9, "A2*");
    check_close(r.p, normality[_i].p, 1e-8, "p");
    /* order, level, unit and direction do not matter */
    for (size_t i = 0; i < table.rows / 2; i++) {
        const double swap = x[i];
        x[i] = -8.0 * x[table.rows - 1 - i] + 3.0;
        x[table.rows - 1 - i] = -8.0 * swap + 3.0;
    }
    if (table.rows % 2 == 1) {
        x[table.rows / 2] = -8.0 * x[table.rows / 2] + 3.0;
    }
    ck_assert_int_eq(an_anderson_darling(x, table.rows, scratch, &again), AN_OK);
    check_close(again.a2, r.a2, 1e-11, "A2 turned round");
    free(scratch);
    free(x);
    table_free(&table);
}
END_TEST

/*
 * The significance points of A2* as printed in the same book, table 4.9, and in Stephens, EDF
 * statistics for goodness of fit and some comparisons, Journal of the American Statistical
 * Association 69, 1974 (both from memory). p is reached through readings built to have the
 * wanted A2*: normal quantiles with one of them moved out until it is met.
 */
static const struct {
    double a2_star, level, within, computed; /* computed: the same formula in base R 4.2 */
} points[] = {
    {0.341, 0.50, 0.02, 0.495639327037},    {0.470, 0.25, 0.01, 0.247023451875},
    {0.561, 0.15, 0.01, 0.147027743312},    {0.631, 0.10, 0.005, 0.10013127485},
    {0.752, 0.05, 0.002, 0.0503402851102},  {0.873, 0.025, 0.001, 0.0253220074772},
    {1.035, 0.01, 0.0005, 0.0101002993698}, {1.159, 0.005, 0.0005, 0.00500135714989},
};

static struct an_normality with_outlier(double out)
{
    enum { N = 25 };
    double x[N], scratch[N];
    for (int i = 0; i < N; i++) {
        x[i] = an_normal_quantile((i + 0.5) / N);
    }
    x[N - 1] += out;
    x[N - 2] += out;
    struct an_normality r;
    ck_assert_int_eq(an_anderson_darling(x, N, scratch, &r), AN_OK);
    return r;
}

START_TEST(significance_points)
{
    double low = 0.0, high = 20.0;
    for (int i = 0; i < 200; i++) {
        const double middle = (low + high) / 2.0;
        if (with_outlier(middle).a2_star < points[_i].a2_star) {
            low = middle;
        } else {
            high = middle;
        }
    }
    const struct an_normality r = with_outlier(high);
    check_close(r.a2_star, points[_i].a2_star, 1e-12, "A2* not met");
    check_close(r.p, points[_i].computed, 1e-9, "p");
    ck_assert_double_le(fabs(r.p - points[_i].level), points[_i].within);
}
END_TEST

/* p falls as A2* grows, through the joints of the formula and into the far tail. */
START_TEST(p_falls)
{
    double before = 1.0;
    for (double out = 0.0; out < 1e6; out = out < 3.0 ? out + 0.05 : out * 2.0) {
        const struct an_normality r = with_outlier(out);
        ck_assert_msg(r.p >= 0.0 && r.p <= 1.0 && r.p <= before + 3e-3, "at %g", out);
        before = r.p;
    }
    double two[400], scratch[400]; /* two values only: as far from normal as can be */
    for (int i = 0; i < 400; i++) {
        two[i] = i == 0 ? 1e9 : (double)(i % 2);
    }
    struct an_normality r;
    ck_assert_int_eq(an_anderson_darling(two, 400, scratch, &r), AN_OK);
    ck_assert(isfinite(r.a2) && r.a2_star > 100.0 && r.p < 1e-30 && r.p >= 0.0);
}
END_TEST

START_TEST(normality_refused)
{
    double x[9] = {1, 2, 3, 4, 5, 6, 7, 8, 9}, scratch[9];
    struct an_normality r;
    ck_assert_int_eq(an_anderson_darling(x, 8, scratch, &r), AN_OK);
    ck_assert_int_eq(an_anderson_darling(x, 7, scratch, &r), AN_TOO_FEW);
    ck_assert(isnan(r.a2) && isnan(r.p));
    x[3] = (double)NAN;
    ck_assert_int_eq(an_anderson_darling(x, 9, scratch, &r), AN_DOMAIN);
    for (int i = 0; i < 9; i++) {
        x[i] = 0.1;
    }
    ck_assert_int_eq(an_anderson_darling(x, 9, scratch, &r), AN_NO_SPREAD);
}
END_TEST

/* ---- distribution functions: base R 4.2, 13 digits (same library: this checks the wiring) ---- */

START_TEST(agree_with_base_r)
{
    struct table table = table_read("distributions.csv");
    size_t checked = 0;
    for (size_t i = 0; i < table.rows; i++) {
        const char *const f = table_text(&table, i, "function");
        const double a = table_number(&table, i, "a"), b = table_number(&table, i, "b");
        const double x = table_number(&table, i, "x"), want = table_number(&table, i, "value");
        const struct {
            const char *name;
            double got, wanted;
        } all[] = {
            {"pnorm", an_normal_below(x), want},
            {"pnorm", an_normal_above(-x), want},
            {"qnorm", an_normal_quantile(x), want},
            {"pt", an_t_below(x, a), want},
            {"qt", an_t_quantile(x, a), want},
            {"pchisq", 1.0 - an_chi_square_above(x, a), want},
            {"qchisq", an_chi_square_quantile(x, a), want},
            {"pf", 1.0 - an_f_above(x, a, b), want},
            {"pbinom", an_binomial_below(x, a, b), want},
            {"ppois", an_poisson_below(x, a), want},
        };
        for (size_t j = 0; j < sizeof all / sizeof all[0]; j++) {
            if (strcmp(all[j].name, f) == 0) {
                /* an upper tail near 1 leaves the lower one its absolute digits only */
                const bool upper = strcmp(f, "pchisq") == 0 || strcmp(f, "pf") == 0;
                ck_assert_msg(fabs(all[j].got - all[j].wanted) <=
                                  1e-11 * fabs(all[j].wanted) + (upper ? 1e-13 : 1e-15),
                              "%s row %zu: got %.17g, wanted %.17g", f, i, all[j].got,
                              all[j].wanted);
                checked++;
            }
        }
    }
    ck_assert_uint_ge(checked, table.rows - 3); /* noncentral t is test_capability's */
    table_free(&table);
}
END_TEST

/* Outside their domains: NAN, and not a word on stdout from the library below. */
START_TEST(outside_their_domains)
{
    const double nan = (double)NAN;
    const double got[] = {an_normal_quantile(-0.1),
                          an_normal_quantile(1.1),
                          an_t_quantile(2.0, 5.0),
                          an_t_quantile(0.5, 0.0),
                          an_t_below(1.0, -1.0),
                          an_chi_square_quantile(0.5, 0.0),
                          an_chi_square_quantile(nan, 2.0),
                          an_chi_square_above(1.0, nan),
                          an_f_above(1.0, 0.0, 2.0),
                          an_binomial_below(1.0, 2.5, 0.5),
                          an_binomial_below(1.0, 2.0, 1.5),
                          an_poisson_below(1.0, -1.0),
                          an_binomial_below(1.0, -1.0, 0.5),
                          an_poisson_below(1.0, nan)};
    for (size_t i = 0; i < sizeof got / sizeof got[0]; i++) {
        ck_assert_msg(isnan(got[i]), "call %zu", i);
    }
    ck_assert(an_normal_above(-40.0) == 1.0 && an_normal_above(37.0) > 0.0);
    ck_assert(an_f_above(0.0, 2.0, 3.0) == 1.0 && an_poisson_below(0.0, 0.0) == 1.0);
}
END_TEST

/* ---- equal spread ------------------------------------------------------------------------------------ */
/* Ten batches of ten gear diameters: the data with which the NIST/SEMATECH e-Handbook of Statistical
 * Methods, 1.3.5.10, shows this test (from memory); F and p by base R, anova of the distances. */
static const double gears[] = {
    1.006, 0.996, 0.998, 1.000, 0.992, 0.993, 1.002, 0.999, 0.994, 1.000, 0.998, 1.006, 1.000,
    1.002, 0.997, 0.998, 0.996, 1.000, 1.006, 0.988, 0.991, 0.987, 0.997, 0.999, 0.995, 0.994,
    1.000, 0.999, 0.996, 0.996, 1.005, 1.002, 0.994, 1.000, 0.995, 0.994, 0.998, 0.996, 1.002,
    0.996, 0.998, 0.998, 0.982, 0.990, 1.002, 0.984, 0.996, 0.993, 0.980, 0.996, 1.009, 1.013,
    1.009, 0.997, 0.988, 1.002, 0.995, 0.998, 0.981, 0.996, 0.990, 1.004, 0.996, 1.001, 0.998,
    1.000, 1.018, 1.010, 0.996, 1.002, 0.998, 1.000, 1.006, 1.000, 1.002, 0.996, 0.998, 0.996,
    1.002, 1.006, 1.002, 0.998, 0.996, 0.995, 0.996, 1.004, 1.004, 0.998, 0.999, 0.991, 0.991,
    0.995, 0.984, 0.994, 0.997, 0.997, 0.991, 0.998, 1.004, 0.997};

START_TEST(equal_spread)
{
    double scratch[100];
    double turned[100];
    size_t first[11];
    struct an_equal_spread r, again;
    for (size_t g = 0; g <= 10; g++) {
        first[g] = 10 * g;
    }
    ck_assert_int_eq(an_equal_spread_of(gears, first, 10, scratch, &r), AN_OK);
    check_close(r.f, 1.70591769300089, 1e-10, "F");
    check_close(r.p, 0.0990829755522054, 1e-10, "p");
    check_close(r.df_groups, 9.0, 0.0, "df of groups");
    check_close(r.df_rest, 90.0, 0.0, "df of the rest");
    for (size_t i = 0; i < 100; i++) { /* order, level and direction do not matter */
        turned[i] = 8.0 - gears[i / 10 * 10 + 9 - i % 10];
    }
    ck_assert_int_eq(an_equal_spread_of(turned, first, 10, scratch, &again), AN_OK);
    check_close(again.f, r.f, 1e-9, "F turned round");
}
END_TEST

START_TEST(equal_spread_refused)
{
    static const double x[] = {1, 2, 3, 4, 5, 6, (double)INFINITY};
    static const double steps[] = {1, 3, 11, 13}; /* all as far from their medians */
    double scratch[8];
    struct an_equal_spread r;
    const size_t one[] = {0, 6};
    const size_t singles[] = {0, 1, 2, 3};
    const size_t empty[] = {0, 3, 3, 6};
    const size_t infinite[] = {0, 3, 7};
    const size_t two[] = {0, 2, 4};
    const size_t pairs[] = {0, 2, 4, 6}; /* one distance twice in each, not nearly so */
    static const double thirds[] = {0.1, 0.7, 1.3, 1.4, 0.2, 9.1};
    ck_assert_int_eq(an_equal_spread_of(x, one, 1, scratch, &r), AN_TOO_FEW);
    ck_assert_int_eq(an_equal_spread_of(x, one, 0, scratch, &r), AN_TOO_FEW);
    ck_assert_int_eq(an_equal_spread_of(x, singles, 3, scratch, &r), AN_TOO_FEW);
    ck_assert_int_eq(an_equal_spread_of(x, empty, 3, scratch, &r), AN_DOMAIN);
    ck_assert_int_eq(an_equal_spread_of(x, infinite, 2, scratch, &r), AN_DOMAIN);
    ck_assert_int_eq(an_equal_spread_of(steps, two, 2, scratch, &r), AN_NO_SPREAD);
    ck_assert_int_eq(an_equal_spread_of(thirds, pairs, 3, scratch, &r), AN_NO_SPREAD);
    ck_assert(isnan(r.f) && isnan(r.p));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("stat.assumptions");
    TCase *tcase = tcase_create("assumptions");
    tcase_add_loop_test(tcase, anderson_darling, 0, (int)(sizeof normality / sizeof normality[0]));
    tcase_add_loop_test(tcase, significance_points, 0, (int)(sizeof points / sizeof points[0]));
    tcase_add_test(tcase, p_falls);
    tcase_add_test(tcase, normality_refused);
    tcase_add_test(tcase, agree_with_base_r);
    tcase_add_test(tcase, equal_spread);
    tcase_add_test(tcase, equal_spread_refused);
    tcase_add_test(tcase, outside_their_domains);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
