/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Kappas and shares of agreement against published examples, closed forms and each other.
 */
#include "andamento/stat/gauge.h"
#include "andamento/stat/tests.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- Cohen ------------------------------------------------------------------------------------------------ */
static const struct {
    const char *source;
    size_t n, categories, cell[9];
    double kappa, se, se_zero, within;
} tables[] = {
    /* Two readers of 50 grant proposals, and two tables of 100 with equal agreement: the usual
     * textbook examples (from memory); kappa .4, .1304, .2593 */
    {"grant proposals", 50, 2, {20, 5, 10, 15}, 0.4, NAN, NAN, 1e-12},
    {"equal margins", 100, 2, {45, 15, 25, 15}, 0.1304, NAN, NAN, 5e-5},
    {"unequal margins", 100, 2, {25, 35, 5, 35}, 0.2593, NAN, NAN, 5e-5},
    /* Fleiss, Levin and Paik, Statistical Methods for Rates and Proportions, 3rd ed., 2003, table
     * 18.1: diagnoses of 100 by two raters; kappa .68, se .087 (from memory) */
    {"diagnoses", 100, 3, {75, 1, 4, 5, 4, 1, 0, 0, 10}, 0.676, 0.0877, 0.0762, 5e-4},
    /* Fleiss, Cohen and Everitt 1969, table 1: 200 patients; kappa .429, unweighted (from memory) */
    {"patients", 200, 3, {106, 10, 4, 22, 28, 10, 2, 12, 6}, 0.429, 0.0537, 0.0552, 5e-4},
};

static size_t spread_out(const size_t cell[], size_t categories, size_t a[], size_t b[])
{
    size_t n = 0;
    for (size_t i = 0; i < categories * categories; i++) {
        for (size_t k = 0; k < cell[i]; k++) {
            a[n] = i / categories;
            b[n++] = i % categories;
        }
    }
    return n;
}

START_TEST(cohen)
{
    size_t a[200], b[200];
    struct an_kappa k, turned;
    struct an_arena *arena = an_arena_open();
    const size_t n = spread_out(tables[_i].cell, tables[_i].categories, a, b);
    ck_assert_uint_eq(n, tables[_i].n);
    ck_assert_int_eq(an_kappa_cohen(a, b, n, tables[_i].categories, 0.95, arena, &k), AN_OK);
    const double wanted[] = {tables[_i].kappa, tables[_i].se, tables[_i].se_zero};
    const double got[] = {k.kappa, k.se, k.se_zero};
    for (size_t i = 0; i < 3; i++) {
        ck_assert_msg(isnan(wanted[i]) || fabs(got[i] - wanted[i]) <= tables[_i].within,
                      "%s, number %zu: %.8g, printed %g", tables[_i].source, i, got[i], wanted[i]);
    }
    ck_assert(k.lower < k.kappa && k.kappa < k.upper);
    /* who is first does not matter */
    ck_assert_int_eq(an_kappa_cohen(b, a, n, tables[_i].categories, 0.95, arena, &turned), AN_OK);
    check_close(turned.kappa, k.kappa, 1e-13, "kappa");
    check_close(turned.se, k.se, 1e-12, "se");
    an_arena_close(arena);
}
END_TEST

START_TEST(cohen_edges)
{
    const size_t a[] = {0, 1, 0, 1}, b[] = {1, 0, 1, 0}, one[] = {1, 1, 1, 1};
    struct an_kappa k;
    struct an_arena *arena = an_arena_open();
    ck_assert_int_eq(an_kappa_cohen(a, a, 4, 2, 0.95, arena, &k), AN_OK);
    ck_assert(k.kappa == 1.0 && k.agreed == 1.0 && k.se == 0.0);
    ck_assert_int_eq(an_kappa_cohen(a, b, 4, 2, 0.95, arena, &k), AN_OK);
    ck_assert(k.kappa == -1.0 && k.agreed == 0.0);
    ck_assert_int_eq(an_kappa_cohen(one, one, 4, 2, 0.95, arena, &k), AN_NO_SPREAD);
    ck_assert_int_eq(an_kappa_cohen(a, b, 4, 1, 0.95, arena, &k), AN_DOMAIN);
    ck_assert_int_eq(an_kappa_cohen(a, b, 1, 2, 0.95, arena, &k), AN_TOO_FEW);
    an_arena_close(arena);
}
END_TEST

/* Bounds of kappa hold the truth about as often as they say: raters who see the truth and err. */
START_TEST(cohen_coverage)
{
    struct draws draws = {41};
    size_t held = 0;
    for (size_t run = 0; run < 2000; run++) {
        size_t a[150], b[150];
        struct an_kappa k;
        struct an_arena *arena = an_arena_open();
        for (size_t i = 0; i < 150; i++) {
            const size_t truth = draw_uniform(&draws) < 0.5;
            a[i] = draw_uniform(&draws) < 0.85 ? truth : 1 - truth;
            b[i] = draw_uniform(&draws) < 0.85 ? truth : 1 - truth;
        }
        ck_assert_int_eq(an_kappa_cohen(a, b, 150, 2, 0.95, arena, &k), AN_OK);
        /* agreement .85^2 + .15^2 = .745, by chance .5 */
        held += k.lower <= 0.49 && 0.49 <= k.upper;
        an_arena_close(arena);
    }
    ck_assert_msg(held >= 1870 && held <= 1930, "%zu of 2000", held);
}
END_TEST

/* ---- Fleiss ----------------------------------------------------------------------------------------------- */
/* Ten items, fourteen raters, five categories: the usual worked example (from memory), kappa .210,
 * agreement .378, by chance .213 */
static const size_t ten[] = {0, 0, 0, 0, 14, 0, 2, 6, 4, 2, 0, 0, 3, 5, 6, 0, 3,
                             9, 2, 0, 2, 2,  8, 1, 1, 7, 7, 0, 0, 0, 3, 2, 6, 3,
                             0, 2, 5, 3, 2,  2, 6, 5, 2, 1, 0, 0, 2, 2, 3, 7};

START_TEST(fleiss)
{
    struct an_kappa k;
    ck_assert_int_eq(an_kappa_fleiss(ten, 10, 5, 5, 0.95, &k), AN_OK);
    ck_assert_msg(fabs(k.kappa - 0.210) < 5e-4, "kappa %.8g", k.kappa);
    ck_assert_msg(fabs(k.agreed - 0.378) < 5e-4, "agreed %.8g", k.agreed);
    ck_assert_msg(fabs(k.chance - 0.213) < 5e-4, "chance %.8g", k.chance);
    /* the kappa of all is the mean of those of each category, weighted by p (1 - p) [Fleiss 1971] */
    double sum = 0.0, weights = 0.0;
    for (size_t j = 0; j < 5; j++) {
        struct an_kappa one;
        double of = 0.0;
        for (size_t i = 0; i < 10; i++) {
            of += (double)ten[i * 5 + j] / 140.0;
        }
        ck_assert_int_eq(an_kappa_fleiss(ten, 10, 5, j, 0.95, &one), AN_OK);
        sum += one.kappa * of * (1.0 - of);
        weights += of * (1.0 - of);
        /* se of one category is sqrt(2 / (N n (n - 1))) [Fleiss, Nee and Landis 1979] */
        check_close(one.se_zero, sqrt(2.0 / (10.0 * 14.0 * 13.0)), 1e-13, "category %zu", j);
    }
    check_close(sum / weights, k.kappa, 1e-13, "kappa of all");
}
END_TEST

START_TEST(fleiss_edges)
{
    const size_t sure[] = {3, 0, 0, 3, 3, 0}, flat[] = {3, 0, 3, 0}, odd[] = {3, 0, 1, 1};
    struct an_kappa k;
    ck_assert_int_eq(an_kappa_fleiss(sure, 3, 2, 2, 0.95, &k), AN_OK);
    check_close(k.kappa, 1.0, 1e-15, "all agree");
    ck_assert_int_eq(an_kappa_fleiss(flat, 2, 2, 2, 0.95, &k), AN_NO_SPREAD);
    ck_assert_int_eq(an_kappa_fleiss(odd, 2, 2, 2, 0.95, &k), AN_DOMAIN);
    ck_assert_int_eq(an_kappa_fleiss(sure, 1, 2, 2, 0.95, &k), AN_TOO_FEW);
}
END_TEST

/* ---- shares ------------------------------------------------------------------------------------------------ */
START_TEST(shares)
{
    /* At a bound the chance of as many or more (as few or fewer) is what was asked for. */
    for (size_t n = 1; n <= 40; n += 3) {
        for (size_t k = 0; k <= n; k++) {
            const struct an_share s = an_share_of(k, n, 0.95);
            if (k > 0) {
                check_close(1.0 - an_binomial_below((double)k - 1.0, (double)n, s.lower), 0.025,
                            1e-9, "%zu of %zu", k, n);
            } else {
                ck_assert(s.lower == 0.0);
            }
            if (k < n) {
                check_close(an_binomial_below((double)k, (double)n, s.upper), 0.025, 1e-9,
                            "%zu of %zu", k, n);
            } else {
                ck_assert(s.upper == 1.0);
            }
        }
    }
    const struct an_share none = an_share_of(0, 0, 0.95);
    ck_assert(isnan(none.share) && none.lower == 0.0 && none.upper == 1.0);
    /* all of n: the lower bound is the n-th root of 0.025 */
    check_close(an_share_of(50, 50, 0.95).lower, pow(0.025, 1.0 / 50.0), 1e-12, "all of 50");
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("agreement");
    TCase *all = tcase_create("kappa");
    tcase_set_timeout(all, 60);
    tcase_add_loop_test(all, cohen, 0, sizeof tables / sizeof *tables);
    tcase_add_test(all, cohen_edges);
    tcase_add_test(all, cohen_coverage);
    tcase_add_test(all, fleiss);
    tcase_add_test(all, fleiss_edges);
    tcase_add_test(all, shares);
    suite_add_tcase(suite, all);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
