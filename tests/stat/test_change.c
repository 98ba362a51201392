/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * When a change began: the Nile, exact cases, brute force, and how often the interval is right.
 */
#include "andamento/stat/change.h"
#include "andamento/stat/tests.h"
#include "support.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>

#define UNKNOWN ((double)NAN)

/*
 * Yearly flow of the Nile, 1871 to 1970: the level fell after 1898, the 28th value. [Cobb, The
 * problem of the Nile, Biometrika 65, 1978; year and means from memory.] Computed with base R 4.2:
 * means 1097.75 and 849.972222222, pooled sd 127.673738947, log-likelihood without and with a
 * change -654.515733252 and -625.831527498; the smallest set with posterior weight of .95 runs
 * over 26 to 29 values before the change.
 */
START_TEST(the_nile)
{
    struct table table = table_read("nile.csv");
    double *x = table_column(&table, "flow");
    double scratch[200];
    struct an_change c;
    ck_assert_uint_eq(table.rows, 100);
    ck_assert_int_eq(an_change_step(x, 100, UNKNOWN, 0.95, scratch, &c), AN_OK);
    ck_assert_uint_eq(c.first, 28);
    ck_assert(table_number(&table, c.first, "year") == 1899.0);
    check_close(c.before, 1097.75, 1e-12, "before");
    check_close(c.after, 849.972222222, 1e-9, "after");
    check_close(c.sigma, 127.673738947, 1e-9, "sigma");
    check_close(c.log_likelihood_gain, 654.515733252 - 625.831527498, 1e-9, "gain");
    ck_assert(c.earliest == 26 && c.latest == 29);
    ck_assert(c.kind == AN_CHANGE_STEP && c.rate == 0.0);
    struct an_change best, narrow;
    ck_assert_int_eq(an_change_best(x, 100, UNKNOWN, 0.95, scratch, &best), AN_OK);
    ck_assert(best.kind == AN_CHANGE_STEP && best.first == 28);
    /* .764 of the weight is on 28 alone (computed with base R 4.2) */
    ck_assert_int_eq(an_change_step(x, 100, UNKNOWN, 0.75, scratch, &narrow), AN_OK);
    ck_assert(narrow.earliest == 28 && narrow.latest == 28);
    ck_assert_int_eq(an_change_step(x, 100, UNKNOWN, 0.77, scratch, &narrow), AN_OK);
    ck_assert(narrow.earliest == 27 && narrow.latest == 28);
    free(x);
    table_free(&table);
}
END_TEST

/* Changes without noise are found where they are. */
static const struct {
    enum an_change_kind kind;
    size_t n, first;
    double known, before, after;
} exact[] = {
    {AN_CHANGE_STEP, 12, 5, UNKNOWN, 10.0, 12.5}, {AN_CHANGE_STEP, 5, 4, UNKNOWN, 1e6, 1e6 + 1.0},
    {AN_CHANGE_STEP, 30, 7, 10.0, 10.0, 9.0},     {AN_CHANGE_STEP, 9, 1, 3.0, 3.0, 4.0},
    {AN_CHANGE_RAMP, 20, 9, UNKNOWN, 5.0, 16.0},  {AN_CHANGE_RAMP, 40, 30, 0.0, 0.0, -2.0},
    {AN_CHANGE_RAMP, 9, 0, 3.0, 3.0, 12.0}, /* begun before the first value seen */
};

START_TEST(changes_without_noise)
{
    double x[40], scratch[80];
    const size_t n = exact[_i].n, first = exact[_i].first;
    const double rate = (exact[_i].after - exact[_i].before) / (double)(n - first);
    for (size_t i = 0; i < n; i++) {
        x[i] = exact[_i].before;
        if (i >= first) {
            x[i] = exact[_i].kind == AN_CHANGE_STEP
                       ? exact[_i].after
                       : exact[_i].before + rate * (double)(i - first + 1);
        }
    }
    struct an_change c;
    ck_assert_int_eq(an_change_best(x, n, exact[_i].known, 0.9, scratch, &c), AN_OK);
    ck_assert_int_eq(c.kind, exact[_i].kind);
    ck_assert_uint_eq(c.first, first);
    ck_assert(c.earliest == first && c.latest == first);
    check_close(c.before, exact[_i].before, 1e-12, "before");
    check_close(c.after, exact[_i].after, 1e-11, "after");
    ck_assert_double_le(c.sigma, 1e-9 * fabs(exact[_i].after));
    ck_assert(isfinite(c.log_likelihood_gain) && c.log_likelihood_gain > 0.0);
    if (c.kind == AN_CHANGE_RAMP) {
        check_close(c.rate, rate, 1e-11, "rate");
    }
}
END_TEST

/* Residual sum of a ramp from k on, by the normal equations of the two levels written out. */
static double ramp_rest(const double x[], size_t n, size_t k)
{
    double sh = 0, shh = 0, sx = 0, shx = 0;
    for (size_t i = 0; i < n; i++) {
        const double h = i >= k ? (double)(i - k + 1) : 0.0;
        sh += h;
        shh += h * h;
        sx += x[i];
        shx += h * x[i];
    }
    const double count = (double)n;
    const double b = (count * shx - sh * sx) / (count * shh - sh * sh);
    const double a = (sx - b * sh) / count;
    double rest = 0.0;
    for (size_t i = 0; i < n; i++) {
        const double h = i >= k ? (double)(i - k + 1) : 0.0;
        rest += (x[i] - a - b * h) * (x[i] - a - b * h);
    }
    return rest;
}

static double noise(struct draws *draws)
{
    return an_normal_quantile(draw_uniform(draws));
}

/* The running sums find the same ramp as trying every split. */
START_TEST(ramps_by_brute_force)
{
    enum { N = 60 };
    struct draws draws = {5};
    double x[N], scratch[2 * N];
    for (int round = 0; round < 40; round++) {
        const size_t first = 5 + (size_t)(draw_uniform(&draws) * 50.0);
        for (size_t i = 0; i < N; i++) {
            x[i] = 100.0 + noise(&draws) + (i >= first ? 0.3 * (double)(i - first + 1) : 0.0);
        }
        size_t wanted = 1;
        for (size_t k = 2; k < N; k++) {
            wanted = ramp_rest(x, N, k) < ramp_rest(x, N, wanted) ? k : wanted;
        }
        struct an_change c;
        ck_assert_int_eq(an_change_ramp(x, N, UNKNOWN, 0.9, scratch, &c), AN_OK);
        ck_assert_uint_eq(c.first, wanted);
        check_close(c.sigma, sqrt(ramp_rest(x, N, wanted) / (N - 2)), 1e-9, "sigma");
    }
}
END_TEST

/*
 * The interval holds the truth about as often as it says: 400 series of 40 values, a change of
 * 1.5 sigma (a ramp to 3 sigma) at a random place away from the ends, confidence .9. The bound
 * .9 - 4 sqrt(.9 .1 / 400) = .84 is missed once in 30,000; the draws are fixed besides.
 */
START_TEST(intervals_hold_the_truth)
{
    enum { N = 40, ROUNDS = 400 };
    const bool ramp = _i % 2 == 1;
    const double known = _i / 2 == 1 ? 0.0 : UNKNOWN;
    struct draws draws = {1000 + (unsigned long long)_i};
    double x[N], scratch[2 * N], width = 0.0;
    int held = 0;
    for (int round = 0; round < ROUNDS; round++) {
        const size_t first = 8 + (size_t)(draw_uniform(&draws) * 24.0);
        for (size_t i = 0; i < N; i++) {
            const double ramped = 3.0 * (double)(i + 1 - first) / (double)(N - first);
            x[i] = noise(&draws) + (i >= first ? (ramp ? ramped : 1.5) : 0.0);
        }
        struct an_change c;
        ck_assert_int_eq(ramp ? an_change_ramp(x, N, known, 0.9, scratch, &c)
                              : an_change_step(x, N, known, 0.9, scratch, &c),
                         AN_OK);
        ck_assert(c.earliest <= c.first && c.first <= c.latest && c.latest < N);
        held += c.earliest <= first && first <= c.latest ? 1 : 0;
        width += (double)(c.latest - c.earliest + 1) / ROUNDS;
    }
    ck_assert_msg(held >= 0.84 * ROUNDS, "held %d of %d", held, ROUNDS);
    ck_assert_msg(width < 0.75 * N, "mean width %g says nothing", width);
}
END_TEST

/* Level and unit do not matter; a falling change mirrors a rising one. */
START_TEST(shift_and_scale)
{
    enum { N = 30 };
    struct draws draws = {9};
    double x[N], y[N], scratch[2 * N];
    for (size_t i = 0; i < N; i++) {
        x[i] = noise(&draws) + (i >= 17 ? 2.0 : 0.0);
        y[i] = -1000.0 * x[i] + 7.0;
    }
    struct an_change a, b;
    for (int known = 0; known < 2; known++) {
        ck_assert_int_eq(an_change_best(x, N, known ? 0.0 : UNKNOWN, 0.9, scratch, &a), AN_OK);
        ck_assert_int_eq(an_change_best(y, N, known ? 7.0 : UNKNOWN, 0.9, scratch, &b), AN_OK);
        ck_assert(a.kind == b.kind && a.first == b.first);
        ck_assert(a.earliest == b.earliest && a.latest == b.latest);
        check_close(b.before - 7.0, -1000.0 * a.before, 1e-9, "before");
        check_close(b.after - 7.0, -1000.0 * a.after, 1e-9, "after");
        check_close(b.sigma, 1000.0 * a.sigma, 1e-10, "sigma");
        check_close(b.log_likelihood_gain, a.log_likelihood_gain, 1e-9, "gain");
    }
}
END_TEST

START_TEST(what_has_no_change)
{
    const double equal[] = {2, 2, 2, 2, 2, 2}, gap[] = {1, 2, (double)NAN, 4, 5};
    const double fine[] = {1, 2, 1, 4, 5};
    double scratch[12];
    struct an_change c;
    ck_assert_int_eq(an_change_best(fine, 4, UNKNOWN, 0.9, scratch, &c), AN_TOO_FEW);
    ck_assert_int_eq(an_change_best(fine, 5, UNKNOWN, 0.9, scratch, &c), AN_OK);
    ck_assert_int_eq(an_change_best(equal, 6, UNKNOWN, 0.9, scratch, &c), AN_NO_SPREAD);
    ck_assert_int_eq(an_change_step(equal, 6, 1.0, 0.9, scratch, &c), AN_NO_SPREAD);
    ck_assert(isnan(c.before) && isnan(c.sigma));
    ck_assert_int_eq(an_change_ramp(gap, 5, UNKNOWN, 0.9, scratch, &c), AN_DOMAIN);
    ck_assert_int_eq(an_change_step(fine, 5, UNKNOWN, 1.0, scratch, &c), AN_DOMAIN);
    ck_assert_int_eq(an_change_step(fine, 5, UNKNOWN, (double)NAN, scratch, &c), AN_DOMAIN);
    ck_assert_int_eq(an_change_step(fine, 5, (double)INFINITY, 0.9, scratch, &c), AN_DOMAIN);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("stat.change");
    TCase *tcase = tcase_create("change");
    tcase_add_test(tcase, the_nile);
    tcase_add_loop_test(tcase, changes_without_noise, 0, (int)(sizeof exact / sizeof exact[0]));
    tcase_add_test(tcase, ramps_by_brute_force);
    tcase_add_loop_test(tcase, intervals_hold_the_truth, 0, 4);
    tcase_add_test(tcase, shift_and_scale);
    tcase_add_test(tcase, what_has_no_change);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
