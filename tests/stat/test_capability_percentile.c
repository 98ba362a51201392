/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Percentile indices and their bounds.
 */
#include "andamento/stat/percentile.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static double scratch[AN_PERCENTILE_SCRATCH];

static struct an_percentile_capability by_percentiles(const struct an_fit *fit, double lsl,
                                                      double usl)
{
    struct an_percentile_capability c;
    const struct an_spec spec = {NAN, lsl, usl};
    ck_assert_int_eq(an_capability_by_percentiles(fit, &spec, 0.95, scratch, &c), AN_OK);
    return c;
}

/* Lengths of 141 rivers (base R) against limits of 100 and 5000: Pp 1.7906, Ppk .9551 with the
 * percentiles .135 and 99.865 rounded so (base R 4.2); the exact chance beyond three sigma moves
 * them by 1e-5 of themselves. */
START_TEST(rivers)
{
    struct table t = table_read("rivers.csv");
    double *x = table_column(&t, "x"), *room = calloc(3 * t.rows, sizeof *room);
    struct an_fit fit;
    ck_assert_int_eq(an_fit_shape(AN_SHAPE_LOGNORMAL, x, t.rows, room, &fit), AN_OK);
    const struct an_percentile_capability c = by_percentiles(&fit, 100, 5000);
    check_close(c.pp.value, 1.79056393082, 3e-5, "Pp");
    check_close(c.ppk.value, 0.955089033494, 3e-5, "Ppk");
    check_close(c.low, exp(6.1758788811 - 3 * 0.589382913498), 1e-9, "low");
    ck_assert(c.pp.lower < c.pp.value && c.pp.value < c.pp.upper);
    ck_assert(c.ppk.lower < c.ppk.value && c.ppk.value < c.ppk.upper);
    ck_assert(c.above.lower < c.above.value && c.above.value < c.above.upper);
    ck_assert_uint_eq(c.sets, AN_PERCENTILE_SETS);
    free(room);
    free(x);
    table_free(&t);
}
END_TEST

/* The normal shape gives the usual indices, and its simulated bounds meet the exact ones (chi-square;
 * noncentral t) to what 999 sets allow: about .03 of a width of .4. */
START_TEST(normal_is_the_usual)
{
    const struct an_fit fit = {.shape = AN_SHAPE_NORMAL, .par = {10.2, 0.5}, .n = 80};
    const struct an_capability_basis basis = {.n = 80,
                                              .mean = 10.2,
                                              .sigma_within = 0.5,
                                              .df_within = 79,
                                              .sigma_overall = 0.5,
                                              .confidence = 0.95};
    const struct an_spec spec = {NAN, 8, 12};
    struct an_capability usual;
    ck_assert_int_eq(an_capability_of(&basis, &spec, &usual), AN_OK);
    const struct an_percentile_capability c = by_percentiles(&fit, 8, 12);
    check_close(c.pp.value, usual.pp.value, 1e-12, "Pp");
    check_close(c.ppk.value, usual.ppk.value, 1e-12, "Ppk");
    check_close(c.above.value, usual.above, 1e-12, "above");
    ck_assert_double_eq_tol(c.pp.lower, usual.pp.lower, 0.03);
    ck_assert_double_eq_tol(c.pp.upper, usual.pp.upper, 0.03);
    ck_assert_double_eq_tol(c.ppu.lower, usual.ppu.lower, 0.03);
    ck_assert_double_eq_tol(c.ppu.upper, usual.ppu.upper, 0.03);
    ck_assert_double_eq_tol(c.ppl.lower, usual.ppl.lower, 0.04);
}
END_TEST

static const struct an_fit shapes[] = {
    {.shape = AN_SHAPE_LOGNORMAL, .par = {1, 0.4}, .n = 60},
    {.shape = AN_SHAPE_LOGNORMAL_3, .par = {1, 0.6, 4}, .n = 200},
    {.shape = AN_SHAPE_WEIBULL, .par = {1.8, 3}, .n = 60},
    {.shape = AN_SHAPE_WEIBULL_3, .par = {2.4, 3, 2}, .n = 200},
    {.shape = AN_SHAPE_GAMMA, .par = {2.5, 0.8}, .n = 60},
    {.shape = AN_SHAPE_FOLDED_NORMAL, .par = {2.5, 1}, .n = 60},
    {.shape = AN_SHAPE_RAYLEIGH, .par = {2}, .n = 60},
    {.shape = AN_SHAPE_JOHNSON_SU, .par = {-0.5, 1.4, 5, 1}, .n = 200},
    {.shape = AN_SHAPE_JOHNSON_SB, .par = {0.4, 0.9, 5, 4}, .n = 300},
};

/* Same fit, same bits; one limit leaves the other side and Pp out; other units change nothing; more
 * readings narrow the bounds as their root. */
START_TEST(each_shape)
{
    const struct an_fit *fit = &shapes[_i];
    const double low = an_fit_quantile(fit, 0.002, false), high = an_fit_quantile(fit, 1e-4, true);
    const struct an_percentile_capability c = by_percentiles(fit, low, high);
    const struct an_percentile_capability again = by_percentiles(fit, low, high);
    ck_assert(c.ppk.lower == again.ppk.lower && c.below.upper == again.below.upper);
    const struct an_index *all[] = {&c.pp, &c.ppk, &c.ppl, &c.ppu, &c.below, &c.above};
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        ck_assert_msg(all[i]->lower < all[i]->value && all[i]->value < all[i]->upper,
                      "%s %zu: %g (%g to %g)", an_shape_name(fit->shape), i, all[i]->value,
                      all[i]->lower, all[i]->upper);
    }
    check_close(c.below.value, 0.002, 1e-9, "below");
    check_close(c.above.value, 1e-4, 1e-9, "above");
    ck_assert(c.ppu.value > 1 && c.ppl.value < 1 && c.ppk.value == c.ppl.value);

    const struct an_percentile_capability one = by_percentiles(fit, NAN, high);
    ck_assert(isnan(one.pp.value) && isnan(one.pp.lower) && isnan(one.ppl.upper));
    ck_assert(one.ppk.value == one.ppu.value && one.ppk.lower == one.ppu.lower);
    ck_assert(one.below.value == 0 && isnan(one.below.upper));

    const struct an_fit scaled = an_fit_moved(fit, 1024, 0);
    const struct an_percentile_capability units = by_percentiles(&scaled, 1024 * low, 1024 * high);
    check_close(units.ppk.lower, c.ppk.lower, 1e-6, "other units");

    struct an_fit more = *fit;
    more.n *= 16;
    const struct an_percentile_capability narrow = by_percentiles(&more, low, high);
    const double ratio = log(c.pp.upper / c.pp.lower) / log(narrow.pp.upper / narrow.pp.lower);
    ck_assert_msg(ratio > 3 && ratio < 5.5, "%s: ratio %g", an_shape_name(fit->shape), ratio);
}
END_TEST

START_TEST(refusals)
{
    struct an_percentile_capability c;
    const struct an_spec none = {NAN, NAN, NAN}, crossed = {NAN, 5, 3}, inf = {NAN, 1, INFINITY},
                         good = {NAN, 1, 5};
    const struct an_fit fit = {.shape = AN_SHAPE_NORMAL, .par = {3, 1}, .n = 50};
    const struct an_fit broken = {.shape = AN_SHAPE_NORMAL, .par = {3, NAN}, .n = 50};
    ck_assert_int_eq(an_capability_by_percentiles(&fit, &none, .95, scratch, &c), AN_DOMAIN);
    ck_assert_int_eq(an_capability_by_percentiles(&fit, &crossed, .95, scratch, &c), AN_DOMAIN);
    ck_assert_int_eq(an_capability_by_percentiles(&fit, &inf, .95, scratch, &c), AN_DOMAIN);
    ck_assert_int_eq(an_capability_by_percentiles(&fit, &good, 1, scratch, &c), AN_DOMAIN);
    ck_assert_int_eq(an_capability_by_percentiles(&broken, &good, .95, scratch, &c), AN_DOMAIN);
    ck_assert(isnan(c.pp.value) && isnan(c.ppk.lower));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("stat.capability_percentile");
    TCase *tcase = tcase_create("percentiles");
    tcase_add_test(tcase, rivers);
    tcase_add_test(tcase, normal_is_the_usual);
    tcase_add_loop_test(tcase, each_shape, 0, (int)(sizeof shapes / sizeof shapes[0]));
    tcase_add_test(tcase, refusals);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
