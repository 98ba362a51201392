/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Tolerance factors against tables, and tolerance limits by order statistics.
 */
#include "andamento/stat/tolerance.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* Every row of the table, computed and printed; sources stand in the file. */
START_TEST(factors)
{
    struct table t = table_read("tolerance_factors.csv");
    int printed = 0;
    for (size_t i = 0; i < t.rows; i++) {
        const size_t n = (size_t)table_number(&t, i, "n");
        const struct an_tolerance_wish wish = {table_number(&t, i, "coverage"),
                                               table_number(&t, i, "confidence")};
        double one = NAN, two = NAN, howe = NAN;
        ck_assert_int_eq(an_tolerance_one_sided(n, &wish, &one), AN_OK);
        ck_assert_int_eq(an_tolerance_two_sided(n, &wish, &two), AN_OK);
        ck_assert_int_eq(an_tolerance_howe(n, &wish, &howe), AN_OK);
        check_close(one, table_number(&t, i, "one_sided"), 1e-8, "one-sided, row %zu", i);
        check_close(two, table_number(&t, i, "two_sided"), 1e-8, "two-sided, row %zu", i);
        check_close(howe, table_number(&t, i, "howe"), 1e-8, "Howe, row %zu", i);
        const double p1 = table_number(&t, i, "printed_one"),
                     p2 = table_number(&t, i, "printed_two"),
                     ph = table_number(&t, i, "printed_howe");
        ck_assert(isnan(p1) || fabs(one - p1) <= table_number(&t, i, "within_one"));
        ck_assert(isnan(p2) || fabs(two - p2) <= table_number(&t, i, "within_two"));
        ck_assert(isnan(ph) || fabs(howe - ph) <= (n == 43 ? 0.00005 : 0.0005));
        printed += !isnan(p1) + !isnan(p2) + !isnan(ph);
    }
    ck_assert_int_ge(printed, 15);
    table_free(&t);
}
END_TEST

/* By brute force: a made normal sample is drawn often, and the factor's interval holds the coverage
 * as often as it says (20,000 samples: standard error .0015). */
START_TEST(keeps_its_promise)
{
    struct draws draws = {11};
    const struct an_tolerance_wish wish = {0.9, 0.95};
    const size_t n = 12;
    double k = NAN;
    ck_assert_int_eq(an_tolerance_two_sided(n, &wish, &k), AN_OK);
    int held = 0;
    for (int set = 0; set < 20000; set++) {
        double sum = 0, squares = 0;
        for (size_t i = 0; i < n; i++) {
            const double z = sqrt(-2 * log(draw_uniform(&draws))) *
                             cos(6.283185307179586 * draw_uniform(&draws));
            sum += z;
            squares += z * z;
        }
        const double mean = sum / (double)n;
        const double s = sqrt((squares - sum * mean) / ((double)n - 1));
        held += 0.5 * (erf((mean + k * s) / sqrt(2)) - erf((mean - k * s) / sqrt(2))) >= 0.9;
    }
    ck_assert_double_eq_tol(held / 20000.0, 0.95, 0.006);
}
END_TEST

/* Wilks: 93 readings for 95 per cent coverage at 95 per cent confidence between the extremes, 59 for
 * one extreme; 130 for 95/99; 473 and 299 for 99/95 (common tables, from memory). The confidences
 * are 1 - n p^(n-1) + (n-1) p^n and 1 - p^n. */
static const struct {
    double coverage, confidence;
    size_t one, two;
} wilks[] = {
    {0.95, 0.95, 59, 93},  {0.90, 0.95, 29, 46}, {0.99, 0.95, 299, 473},
    {0.95, 0.99, 90, 130}, {0.90, 0.90, 22, 38},
};

START_TEST(by_order)
{
    const struct an_tolerance_wish wish = {wilks[_i].coverage, wilks[_i].confidence};
    const double p = wish.coverage;
    size_t cut = 0, least = 0;
    double reached = NAN;
    const size_t n = wilks[_i].two;
    ck_assert_int_eq(an_tolerance_order(n, &wish, true, &cut, &reached, &least), AN_OK);
    ck_assert_uint_eq(least, n);
    ck_assert_uint_eq(cut, 2);
    const double m = (double)n;
    check_close(reached, 1 - m * pow(p, m - 1) + (m - 1) * pow(p, m), 1e-9, "confidence");
    ck_assert_int_eq(an_tolerance_order(n - 1, &wish, true, &cut, &reached, &least), AN_TOO_FEW);
    ck_assert(least == n && reached < wish.confidence);
    ck_assert_int_eq(an_tolerance_order(wilks[_i].one, &wish, false, &cut, &reached, &least),
                     AN_OK);
    ck_assert_uint_eq(least, wilks[_i].one);
    check_close(reached, 1 - pow(p, (double)least), 1e-9, "one-sided confidence");
    ck_assert_int_eq(an_tolerance_order(10 * n, &wish, true, &cut, &reached, &least), AN_OK);
    ck_assert(cut > 2 && reached >= wish.confidence);
}
END_TEST

static const struct {
    size_t n;
    double coverage, confidence;
    enum an_status st;
} refused[] = {
    {1, 0.9, 0.95, AN_TOO_FEW}, {10, 0, 0.95, AN_DOMAIN},        {10, 1, 0.95, AN_DOMAIN},
    {10, 0.9, 0, AN_DOMAIN},    {10, 0.9, 1, AN_DOMAIN},         {10, NAN, 0.95, AN_DOMAIN},
    {10, 0.9, NAN, AN_DOMAIN},  {2000000, 0.9, 0.95, AN_DOMAIN},
};

START_TEST(refusals)
{
    const struct an_tolerance_wish wish = {refused[_i].coverage, refused[_i].confidence};
    double k = -1;
    ck_assert_int_eq(an_tolerance_one_sided(refused[_i].n, &wish, &k), refused[_i].st);
    ck_assert_int_eq(an_tolerance_two_sided(refused[_i].n, &wish, &k), refused[_i].st);
    ck_assert_int_eq(an_tolerance_howe(refused[_i].n, &wish, &k), refused[_i].st);
    ck_assert(k == -1);
}
END_TEST

/* Very many readings: the factor nears the quantile. */
START_TEST(many)
{
    const struct an_tolerance_wish wish = {0.95, 0.95};
    double one = 0, two = 0;
    ck_assert_int_eq(an_tolerance_one_sided(1000000, &wish, &one), AN_OK);
    ck_assert_int_eq(an_tolerance_two_sided(1000000, &wish, &two), AN_OK);
    ck_assert(one > 1.6448 && one < 1.648 && two > 1.9599 && two < 1.963);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("stat.tolerance");
    TCase *tcase = tcase_create("tolerance");
    tcase_add_test(tcase, factors);
    tcase_add_test(tcase, keeps_its_promise);
    tcase_add_loop_test(tcase, by_order, 0, (int)(sizeof wilks / sizeof wilks[0]));
    tcase_add_loop_test(tcase, refusals, 0, (int)(sizeof refused / sizeof refused[0]));
    tcase_add_test(tcase, many);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
