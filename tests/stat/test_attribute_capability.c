/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Fractions, rates, rolled yield and scattered counts.
 */
#include "andamento/stat/tests.h"
#include "andamento/stat/yield.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* Clopper and Pearson's bounds: base R 4.2, binom.test() and poisson.test(). 0 of n has the closed
 * form 1 - (alpha / 2)^(1 / n). */
static const struct {
    double count, n, lower, upper, rate_lower, rate_upper;
} exact[] = {
    {0, 50, 0, 0.0711217364641976, 0, 0.0737775890822787},
    {1, 10, 0.00252857854446179, 0.445016117028195, 0.00253178079842899, 0.55716433909389},
    {7, 1000, 0.00281885875962052, 0.0143691949789186, 0.00281436305151987, 0.0144226753617024},
    {50, 50, 0.928878263535802, 1, NAN, NAN},
};

START_TEST(exact_bounds)
{
    struct an_index f, r;
    ck_assert_int_eq(an_fraction_of(exact[_i].count, exact[_i].n, 0.95, &f), AN_OK);
    ck_assert_int_eq(an_rate_of(exact[_i].count, exact[_i].n, 0.95, &r), AN_OK);
    check_close(f.lower, exact[_i].lower, 1e-12, "lower");
    check_close(f.upper, exact[_i].upper, 1e-12, "upper");
    if (!isnan(exact[_i].rate_upper)) {
        check_close(r.lower, exact[_i].rate_lower, 1e-12, "rate, lower");
        check_close(r.upper, exact[_i].rate_upper, 1e-12, "rate, upper");
    }
    if (exact[_i].count == 0) {
        check_close(f.upper, 1 - pow(0.025, 1 / exact[_i].n), 1e-12, "closed form");
        check_close(r.upper, -log(0.025) / exact[_i].n, 1e-12, "closed form");
    }
}
END_TEST

/* The bounds are what they say: at the bound, what was seen has chance 2.5 per cent. */
START_TEST(bounds_by_definition)
{
    for (double n = 5; n < 3000; n *= 3) {
        for (double k = 1; k < n; k += 1 + floor(n / 7)) {
            struct an_index f, r;
            ck_assert_int_eq(an_fraction_of(k, n, 0.95, &f), AN_OK);
            check_close(an_binomial_below(k, n, f.upper), 0.025, 1e-8, "%g of %g above", k, n);
            check_close(1 - an_binomial_below(k - 1, n, f.lower), 0.025, 1e-8, "below");
            ck_assert_int_eq(an_rate_of(k, n, 0.95, &r), AN_OK);
            check_close(an_poisson_below(k, n * r.upper), 0.025, 1e-8, "rate above");
            check_close(1 - an_poisson_below(k - 1, n * r.lower), 0.025, 1e-8, "rate below");
        }
    }
}
END_TEST

/* Rolled yield .97 * .94 * .98 = .893564; one step has its exact bounds. Coverage by enumeration:
 * of two steps of 40 with yields .95 and .9 the bounds hold the truth in at least 95 per cent. */
START_TEST(rolled)
{
    const struct an_yield_step steps[] = {{1000, 970}, {500, 470}, {200, 196}};
    struct an_index y, one;
    ck_assert_int_eq(an_rolled_yield(steps, 3, 0.95, &y), AN_OK);
    check_close(y.value, 0.893564, 1e-12, "value");
    ck_assert(y.lower > 0.85 && y.lower < y.value && y.upper > y.value && y.upper < 0.925);
    ck_assert_int_eq(an_rolled_yield(steps, 1, 0.95, &y), AN_OK);
    ck_assert_int_eq(an_fraction_of(970, 1000, 0.95, &one), AN_OK);
    check_close(y.lower, one.lower, 1e-13, "one step, lower");
    check_close(y.upper, one.upper, 1e-13, "one step, upper");
    double held = 0, all = 0;
    for (int a = 0; a <= 40; a++) {
        for (int b = 0; b <= 40; b++) {
            const double chance =
                (an_binomial_below(a, 40, 0.95) - an_binomial_below(a - 1, 40, 0.95)) *
                (an_binomial_below(b, 40, 0.9) - an_binomial_below(b - 1, 40, 0.9));
            const struct an_yield_step two[] = {{40, a}, {40, b}};
            ck_assert_int_eq(an_rolled_yield(two, 2, 0.95, &y), AN_OK);
            held += y.lower <= 0.855 && y.upper >= 0.855 ? chance : 0;
            all += chance;
        }
    }
    ck_assert_double_eq_tol(all, 1, 1e-12);
    ck_assert_double_ge(held, 0.95);
    ck_assert_double_le(held, 0.985);
}
END_TEST

/* 3.4 in a million is 4.5 sigma, and "6 sigma" with the shift of 1.5 (common tables, from memory). */
START_TEST(sigma_levels)
{
    ck_assert_double_eq_tol(an_sigma_level(3.3976731e-6, 0), 4.5, 1e-6);
    ck_assert_double_eq_tol(an_sigma_level(3.3976731e-6, 1.5), 6.0, 1e-6);
    ck_assert_double_eq_tol(an_sigma_level(0.0668072, 1.5), 3.0, 1e-6);
    ck_assert(isnan(an_sigma_level(1.2, 0)));
}
END_TEST

/* Counts of equal n: factor = variance of the fractions over p (1 - p) / n. Hand-made: 2, 4, 6 of
 * 100: p .04, sum of (x - 4)^2 / (4 * .96) = 8 / 3.84, over 2 degrees of freedom 1.0416667; as
 * Poisson counts 8 / 4 / 2 = 1. */
START_TEST(scatter)
{
    const struct an_count_sample s[] = {{2, 100}, {4, 100}, {6, 100}};
    struct an_dispersion d;
    ck_assert_int_eq(an_dispersion_of(s, 3, true, 0.95, &d), AN_OK);
    check_close(d.factor, 8 / 3.84 / 2, 1e-13, "binomial");
    check_close(d.p, exp(-8 / 3.84 / 2), 1e-12, "p: two degrees of freedom");
    ck_assert_int_eq(an_dispersion_of(s, 3, false, 0.95, &d), AN_OK);
    check_close(d.factor, 1, 1e-13, "Poisson");
    struct an_index plain;
    ck_assert_int_eq(an_rate_of(12, 300, 0.95, &plain), AN_OK);
    ck_assert(d.widened.lower == plain.lower && d.widened.upper == plain.upper);
    const struct an_count_sample wild[] = {{0, 100}, {30, 100}, {2, 100}, {41, 100}};
    ck_assert_int_eq(an_dispersion_of(wild, 4, true, 0.95, &d), AN_OK);
    ck_assert_int_eq(an_fraction_of(73, 400, 0.95, &plain), AN_OK);
    ck_assert(d.factor > 10 && d.p < 1e-6);
    ck_assert(d.widened.lower < plain.lower && d.widened.upper > plain.upper);
    check_close(d.widened.value, 73.0 / 400, 1e-13, "the value stays");
}
END_TEST

START_TEST(refusals)
{
    struct an_index x = {-1, -1, -1};
    static const double bad[][3] = {{-1, 5, .95},  {6, 5, .95}, {0, 0, .95}, {1, INFINITY, .95},
                                    {NAN, 5, .95}, {1, 5, 0},   {1, 5, 1},   {1, NAN, .95}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        ck_assert_int_eq(an_fraction_of(bad[i][0], bad[i][1], bad[i][2], &x), AN_DOMAIN);
        ck_assert(an_rate_of(bad[i][0], bad[i][1], bad[i][2], &x) == AN_DOMAIN || i == 1);
        x.value = -1;
    }
    ck_assert_int_eq(an_rolled_yield(NULL, 0, .95, &x), AN_TOO_FEW);
    const struct an_yield_step none[] = {{50, 0}, {20, 10}}, over[] = {{5, 6}};
    ck_assert_int_eq(an_rolled_yield(over, 1, .95, &x), AN_DOMAIN);
    ck_assert_int_eq(an_rolled_yield(none, 2, .95, &x), AN_OK);
    ck_assert(x.value == 0 && x.lower == 0 && x.upper < 0.1);
    struct an_dispersion d;
    const struct an_count_sample zero[] = {{0, 5}, {0, 5}}, full[] = {{5, 5}, {5, 5}};
    ck_assert_int_eq(an_dispersion_of(zero, 2, true, .95, &d), AN_NO_SPREAD);
    ck_assert_int_eq(an_dispersion_of(full, 2, true, .95, &d), AN_NO_SPREAD);
    ck_assert_int_eq(an_dispersion_of(full, 1, true, .95, &d), AN_TOO_FEW);
    const struct an_count_sample odd[] = {{7, 5}, {1, 5}};
    ck_assert_int_eq(an_dispersion_of(odd, 2, true, .95, &d), AN_DOMAIN);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("stat.attribute_capability");
    TCase *tcase = tcase_create("counts");
    tcase_add_loop_test(tcase, exact_bounds, 0, (int)(sizeof exact / sizeof exact[0]));
    tcase_add_test(tcase, bounds_by_definition);
    tcase_add_test(tcase, rolled);
    tcase_add_test(tcase, sigma_levels);
    tcase_add_test(tcase, scatter);
    tcase_add_test(tcase, refusals);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
