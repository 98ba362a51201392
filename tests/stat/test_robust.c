/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Robust estimators and scales of transformation. (tests/reference/test_shapes.R has more numbers.)
 */
#include "andamento/stat/robust.h"
#include "andamento/stat/tests.h"
#include "andamento/stat/transform.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static double draw_normal(struct draws *draws)
{
    return sqrt(-2 * log(draw_uniform(draws))) * cos(6.283185307179586 * draw_uniform(draws));
}

/* By hand: 1 2 3 4 100; departures from 3: 2 1 0 1 97, their median 1. h = 3, k = 3: differences in
 * order 1 1 1 2 2 3 ...: the third is 1. Trimming a fifth leaves 2 3 4. */
START_TEST(by_hand)
{
    const double x[] = {100, 3, 1, 4, 2};
    double scratch[10];
    struct an_robust r;
    ck_assert_int_eq(an_robust_of(x, 5, 0.2, scratch, &r), AN_OK);
    ck_assert(r.median == 3 && r.trimmed_mean == 3 && r.winsorised_mean == 3);
    check_close(r.mad, 1.482602218505602, 1e-14, "mad");
    check_close(r.qn, 2.219144465985076 * 0.844, 1e-14, "qn");
    check_close(r.winsorised_sd, 1, 1e-14, "2 2 3 4 4");
    check_close(r.trimmed_se, 1 / (0.6 * sqrt(5)), 1e-14, "its error");
    const double even[] = {4, 1, 3, 2};
    ck_assert_int_eq(an_robust_of(even, 4, 0, scratch, &r), AN_OK);
    ck_assert(r.median == 2.5 && r.trimmed_mean == 2.5);
}
END_TEST

/* The factors make Qn right on average for normal values: simulated, 20,000 sets each. MAD only
 * for many values. */
START_TEST(right_on_average)
{
    static const size_t sizes[] = {2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 20, 41};
    struct draws draws = {2026};
    for (size_t s = 0; s < sizeof sizes / sizeof sizes[0]; s++) {
        const size_t n = sizes[s];
        double x[41], scratch[82], sum = 0;
        for (int set = 0; set < 20000; set++) {
            struct an_robust r;
            for (size_t i = 0; i < n; i++) {
                x[i] = draw_normal(&draws);
            }
            ck_assert_int_eq(an_robust_of(x, n, 0, scratch, &r), AN_OK);
            sum += r.qn;
        }
        /* printed to 3 digits, and made for the median or mean alike: 3 per cent */
        ck_assert_msg(fabs(sum / 20000 - 1) < 0.03, "n %zu: mean %g", n, sum / 20000);
    }
}
END_TEST

/* Order, units, offsets; and brute force for Qn. */
START_TEST(order_units)
{
    enum { n = 60 };
    struct draws draws = {4};
    double x[n], y[n], scratch[2 * n], d[n * (n - 1) / 2];
    for (size_t i = 0; i < n; i++) {
        x[i] = floor(50 * draw_uniform(&draws)) + (i % 9 == 0 ? 0.25 : 0);
        y[n - 1 - i] = x[i];
    }
    struct an_robust a, b;
    ck_assert_int_eq(an_robust_of(x, n, 0.1, scratch, &a), AN_OK);
    ck_assert_int_eq(an_robust_of(y, n, 0.1, scratch, &b), AN_OK);
    ck_assert(a.qn == b.qn && a.mad == b.mad && a.trimmed_mean == b.trimmed_mean &&
              a.winsorised_sd == b.winsorised_sd);
    size_t count = 0;
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < i; j++) {
            size_t at = count++;
            for (; at > 0 && d[at - 1] > fabs(x[i] - x[j]); at--) {
                d[at] = d[at - 1];
            }
            d[at] = fabs(x[i] - x[j]);
        }
    }
    check_close(a.qn, d[31 * 30 / 2 - 1] * 2.219144465985076 * 60 / 63.8, 1e-14, "brute force");
    for (size_t i = 0; i < n; i++) {
        y[i] = 1024 * x[i] + 0x1p30;
    }
    ck_assert_int_eq(an_robust_of(y, n, 0.1, scratch, &b), AN_OK);
    ck_assert(b.median == 1024 * a.median + 0x1p30 && b.qn == 1024 * a.qn && b.mad == 1024 * a.mad);
}
END_TEST

/* Suspects: the wild ones, all of them, though a third of the values is wild; and in clean sets about
 * one set in twenty has any. */
START_TEST(suspects)
{
    struct draws draws = {9};
    double x[30], scratch[60], reach;
    bool suspect[30];
    size_t count;
    struct an_robust r;
    for (int i = 0; i < 30; i++) {
        x[i] = i < 9 ? 30 + draw_normal(&draws) : 10 + draw_normal(&draws);
    }
    ck_assert_int_eq(an_robust_suspects(x, 30, 0.05, scratch, suspect, &count, &reach, &r), AN_OK);
    for (int i = 0; i < 30; i++) {
        ck_assert_msg(suspect[i] == (i < 9), "value %d", i);
    }
    ck_assert_uint_eq(count, 9);
    int any = 0;
    for (int set = 0; set < 2000; set++) {
        for (int i = 0; i < 30; i++) {
            x[i] = draw_normal(&draws);
        }
        ck_assert_int_eq(an_robust_suspects(x, 30, 0.05, scratch, suspect, &count, &reach, &r),
                         AN_OK);
        any += count > 0;
    }
    ck_assert_double_ge(any / 2000.0, 0.03); /* Qn itself scatters: a little above .05 */
    ck_assert_double_le(any / 2000.0, 0.12);
    for (int i = 0; i < 30; i++) {
        x[i] = i < 20 ? 5 : i == 29 ? 90 : 5 + 0.01 * i;
    }
    ck_assert_int_eq(an_robust_suspects(x, 30, 0.05, scratch, suspect, &count, &reach, &r), AN_OK);
    ck_assert(suspect[29] && !suspect[0]);
}
END_TEST

/* Box and Cox's point: for readings that are powers of normal values the power is found again, and
 * lambda 1 or 0 lies in the interval where nothing or the logarithm is right. */
START_TEST(box_cox)
{
    enum { n = 300 };
    double x[n], scratch[n];
    struct an_box_cox b, c;
    for (size_t i = 0; i < n; i++) {
        x[i] = exp(1 + 0.5 * an_normal_quantile(((double)(i * 7 % n) + 0.5) / n));
    }
    ck_assert_int_eq(an_box_cox_fit(x, n, 0.95, scratch, &b), AN_OK);
    ck_assert(fabs(b.lambda) < 1e-6 && b.lower < -0.05 && b.upper > 0.05 && !b.cut);
    ck_assert(b.log_likelihood - b.log_likelihood_one > 10);
    for (size_t i = 0; i < n; i++) {
        x[i] = pow(5 + an_normal_quantile(((double)(i * 7 % n) + 0.5) / n), 2);
    }
    ck_assert_int_eq(an_box_cox_fit(x, n, 0.95, scratch, &b), AN_OK);
    ck_assert_double_eq_tol(b.lambda, 0.5, 0.01);
    for (size_t i = 0; i < n; i++) {
        x[i] *= 1e9;
    }
    ck_assert_int_eq(an_box_cox_fit(x, n, 0.95, scratch, &c), AN_OK);
    ck_assert_double_eq_tol(c.lambda, b.lambda, 1e-7);
    ck_assert_double_eq_tol(c.lower, b.lower, 1e-7);
    for (size_t i = 0; i < n; i++) {
        x[i] = 1e-9 * pow(1.0 + (double)i, 0.05); /* wants a power beyond the widest */
    }
    ck_assert_int_eq(an_box_cox_fit(x, n, 0.95, scratch, &c), AN_OK);
    ck_assert(c.cut);
    ck_assert_int_eq(an_box_cox_fit(x, 4, 0.95, scratch, &c), AN_TOO_FEW);
    ck_assert_int_eq(an_box_cox_fit(x, n, 1.5, scratch, &c), AN_DOMAIN);
    x[7] = 0;
    ck_assert_int_eq(an_box_cox_fit(x, n, 0.95, scratch, &c), AN_DOMAIN);
    for (size_t i = 0; i < n; i++) {
        x[i] = 3;
    }
    ck_assert_int_eq(an_box_cox_fit(x, n, 0.95, scratch, &c), AN_NO_SPREAD);
}
END_TEST

/* Johnson's three curves by their definitions (1949): each is known again by its own readings, and no
 * other of the three is likelier. */
START_TEST(johnson_choice)
{
    enum { n = 400 };
    static const enum an_shape shapes[] = {AN_SHAPE_JOHNSON_SU, AN_SHAPE_JOHNSON_SB,
                                           AN_SHAPE_JOHNSON_SL};
    double x[n], scratch[3 * n];
    const enum an_shape shape = shapes[_i];
    struct an_fit fit, one;
    for (size_t i = 0; i < n; i++) {
        const double z = an_normal_quantile(((double)(i * 7 % n) + 0.5) / n);
        x[i] = shape == AN_SHAPE_JOHNSON_SU   ? 3 + 2 * sinh((z - 0.4) / 1.1)
               : shape == AN_SHAPE_JOHNSON_SB ? 3 + 2 / (1 + exp(-(z - 0.4) / 0.7))
                                              : 3 + exp((z - 0.4) / 1.5);
    }
    ck_assert_int_eq(an_johnson_fit(x, n, scratch, &fit), AN_OK);
    ck_assert_str_eq(an_shape_name(fit.shape), an_shape_name(shape));
    for (size_t s = 0; s < 3; s++) {
        if (!an_fit_shape(shapes[s], x, n, scratch, &one)) {
            ck_assert_double_le(an_fit_bic(&fit), an_fit_bic(&one));
        }
    }
    const struct an_transform t = {.scale = AN_SCALE_JOHNSON, .fit = fit};
    double worst = 0;
    for (size_t i = 0; i < n; i++) {
        const double z = an_normal_quantile(((double)(i * 7 % n) + 0.5) / n);
        worst = fmax(worst, fabs(an_transform_of(&t, x[i]) - z));
    }
    ck_assert_double_lt(worst, 0.15);
    ck_assert_int_eq(an_johnson_fit(x, 4, scratch, &fit), AN_TOO_FEW);
    for (size_t i = 0; i < n; i++) {
        x[i] = 7;
    }
    ck_assert_int_eq(an_johnson_fit(x, n, scratch, &fit), AN_NO_SPREAD);
}
END_TEST

START_TEST(there_and_back)
{
    static const struct an_transform scales[] = {
        {.scale = AN_SCALE_NONE},
        {.scale = AN_SCALE_BOX_COX, .lambda = 0},
        {.scale = AN_SCALE_BOX_COX, .lambda = 0.33},
        {.scale = AN_SCALE_BOX_COX, .lambda = -1.7},
        {.scale = AN_SCALE_JOHNSON,
         .fit = {.shape = AN_SHAPE_JOHNSON_SU, .par = {-0.6, 1.5, 2, 2}}},
        {.scale = AN_SCALE_JOHNSON, .fit = {.shape = AN_SHAPE_JOHNSON_SB, .par = {0.5, 1, 0, 9}}},
        {.scale = AN_SCALE_JOHNSON, .fit = {.shape = AN_SHAPE_JOHNSON_SL, .par = {0.5, 1, 0, 1}}},
    };
    for (size_t s = 0; s < sizeof scales / sizeof scales[0]; s++) {
        double before = -INFINITY;
        for (double x = 0.3; x < 8; x += 0.7) {
            const double y = an_transform_of(&scales[s], x);
            ck_assert(y > before);
            before = y;
            check_close(an_transform_back(&scales[s], y), x, 1e-11, "scale %zu at %g", s, x);
        }
    }
    /* z of Johnson is the formula */
    check_close(an_transform_of(&scales[4], 3.0), -0.6 + 1.5 * asinh(0.5), 1e-12, "z");
    ck_assert(isnan(an_transform_of(&scales[2], -1)) && isnan(an_transform_back(&scales[2], -4)));
    check_close(an_transform_of(&scales[2], 5.0), (pow(5, 0.33) - 1) / 0.33, 1e-13, "power");
    const struct an_transform moved = {.scale = AN_SCALE_BOX_COX, .lambda = 0.5, .shift = 2};
    check_close(an_transform_of(&moved, 7.0), 2 * (3.0 - 1), 1e-15, "root of 9");
    check_close(an_transform_back(&moved, 4.0), 7.0, 1e-15, "and back");
    ck_assert(isnan(an_transform_of(&moved, -2)) && isfinite(an_transform_of(&moved, -1.9)));
    ck_assert(isinf(an_transform_of(&scales[5], 9.0))); /* where a bounded shape ends */
}
END_TEST

START_TEST(refusals)
{
    double x[9] = {1, 2, 3, 4, 5, 6, 7, 8, 9}, scratch[18], reach;
    bool suspect[9];
    size_t count = 0;
    struct an_robust r = {.n = 55};
    ck_assert_int_eq(an_robust_of(x, 1, 0, scratch, &r), AN_TOO_FEW);
    ck_assert_int_eq(an_robust_of(x, 9, 0.5, scratch, &r), AN_DOMAIN);
    ck_assert_int_eq(an_robust_of(x, 9, -0.1, scratch, &r), AN_DOMAIN);
    ck_assert_int_eq(an_robust_of(x, 3, 0.4, scratch, &r), AN_TOO_FEW);
    ck_assert_int_eq(an_robust_suspects(x, 7, 0.05, scratch, suspect, &count, &reach, &r),
                     AN_TOO_FEW);
    x[2] = INFINITY;
    ck_assert_int_eq(an_robust_of(x, 9, 0, scratch, &r), AN_DOMAIN);
    ck_assert_uint_eq(r.n, 55);
    for (int i = 0; i < 9; i++) {
        x[i] = 2;
    }
    ck_assert_int_eq(an_robust_of(x, 9, 0.1, scratch, &r), AN_OK);
    ck_assert(r.qn == 0 && r.mad == 0);
    ck_assert_int_eq(an_robust_suspects(x, 9, 0.05, scratch, suspect, &count, &reach, &r),
                     AN_NO_SPREAD);
    ck_assert_int_eq(an_robust_suspects(x, 9, 1, scratch, suspect, &count, &reach, &r), AN_DOMAIN);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("stat.robust");
    TCase *tcase = tcase_create("robust");
    tcase_add_test(tcase, by_hand);
    tcase_add_test(tcase, right_on_average);
    tcase_add_test(tcase, order_units);
    tcase_add_test(tcase, suspects);
    tcase_add_test(tcase, box_cox);
    tcase_add_loop_test(tcase, johnson_choice, 0, 3);
    tcase_add_test(tcase, there_and_back);
    tcase_add_test(tcase, refusals);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
