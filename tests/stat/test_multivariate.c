/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * T2 and its limits against a textbook's example, the contributions by their own identities, mewma
 * limits against printed ones, false alarms by simulation, and covariances that are singular.
 */
#include "andamento/stat/multivariate.h"
#include "andamento/stat/run_length.h"
#include "andamento/stat/tests.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct textile {
    struct an_joint joint, rounded;
    double means[40];
};

static double find_textile(const void *of, const char *quantity, size_t at)
{
    const struct textile *t = of;
    if (strcmp(quantity, "mean") == 0) {
        return t->joint.mean[at - 1];
    }
    if (strcmp(quantity, "covariance") == 0) {
        return t->joint.covariance[at - 1];
    }
    if (strcmp(quantity, "t2") == 0) {
        return an_joint_t2(&t->joint, &t->means[2 * (at - 1)]);
    }
    if (strcmp(quantity, "t2_rounded") == 0) {
        return an_joint_t2(&t->rounded, &t->means[2 * (at - 1)]);
    }
    if (strcmp(quantity, "ucl_phase1_thousandth") == 0) {
        return an_joint_limit(&t->joint, AN_PHASE_ONE, 0.001);
    }
    if (strcmp(quantity, "ucl_phase1_three_sigma") == 0) {
        return an_joint_limit(&t->joint, AN_PHASE_ONE, 0.0027);
    }
    if (strcmp(quantity, "ucl_phase2_thousandth") == 0) {
        return an_joint_limit(&t->joint, AN_PHASE_TWO, 0.001);
    }
    ck_abort_msg("unknown quantity %s", quantity);
    return NAN;
}

START_TEST(textile_fibre)
{
    struct textile t = {{0}, {0}, {0}};
    double covariances[80];
    struct table table = table_read("textile_fibre.csv");
    ck_assert_uint_eq(table.rows, 20);
    for (size_t i = 0; i < 20; i++) {
        t.means[2 * i] = table_number(&table, i, "mean1");
        t.means[2 * i + 1] = table_number(&table, i, "mean2");
        covariances[4 * i] = table_number(&table, i, "var1");
        covariances[4 * i + 1] = covariances[4 * i + 2] = table_number(&table, i, "cov12");
        covariances[4 * i + 3] = table_number(&table, i, "var2");
    }
    table_free(&table);
    ck_assert_int_eq(an_joint_learn_subgroups(t.means, covariances, 20, 2, 10.0, &t.joint), AN_OK);
    t.rounded = t.joint;
    memcpy(t.rounded.mean, (const double[]){115.59, 1.06}, 2 * sizeof(double));
    memcpy(t.rounded.covariance, (const double[]){1.23, 0.79, 0.79, 0.83}, 4 * sizeof(double));
    ck_assert_int_eq(an_joint_check(&t.rounded), AN_OK);
    check_against("textile_fibre_expected.csv", find_textile, &t);
    /* of a mean and a covariance known for sure: chi-square, 2 degrees of freedom [closed form] */
    t.joint.samples = t.joint.df = 1e9;
    check_close(an_joint_limit(&t.joint, AN_PHASE_TWO, 0.001), -2.0 * log(0.001), 1e-7, "known");
}
END_TEST

/* Of subgroups of one size the pooled way gives what the other gives, the textile fibre among them; by
 * hand for unequal ones: (1, 2), (3, 4), (5, 7) and (2, 2), (4, 6): sums of squares 8 and 2. */
START_TEST(pooled)
{
    double means[40], covariances[80], cross[80], n[20];
    struct table table = table_read("textile_fibre.csv");
    struct an_joint equal, any;
    for (size_t i = 0; i < 20; i++) {
        means[2 * i] = table_number(&table, i, "mean1");
        means[2 * i + 1] = table_number(&table, i, "mean2");
        covariances[4 * i] = table_number(&table, i, "var1");
        covariances[4 * i + 1] = covariances[4 * i + 2] = table_number(&table, i, "cov12");
        covariances[4 * i + 3] = table_number(&table, i, "var2");
        n[i] = 10;
    }
    for (size_t i = 0; i < 80; i++) {
        cross[i] = 9 * covariances[i];
    }
    table_free(&table);
    ck_assert_int_eq(an_joint_learn_subgroups(means, covariances, 20, 2, 10.0, &equal), AN_OK);
    ck_assert_int_eq(an_joint_learn_pooled(means, cross, n, 20, 2, NULL, &any), AN_OK);
    ck_assert(any.n == 10 && any.samples == 20 && any.df == equal.df);
    for (size_t i = 0; i < 4; i++) {
        check_close(any.covariance[i], equal.covariance[i], 1e-14, "covariance %zu", i);
    }
    check_close(an_joint_limit(&any, AN_PHASE_TWO, 0.001),
                an_joint_limit(&equal, AN_PHASE_TWO, 0.001), 1e-14, "limit");

    const double few[] = {3, 13.0 / 3, 3, 4};
    const double sums[] = {8, 10, 10, 38.0 / 3, 2, 4, 4, 8};
    const double sizes[] = {3, 2};
    ck_assert_int_eq(an_joint_learn_pooled(few, sums, sizes, 2, 2, NULL, &any), AN_OK);
    check_close(any.n, 2.5, 1e-15, "n");
    check_close(any.mean[0], 3.0, 1e-15, "mean");
    check_close(any.mean[1], 21.0 / 5, 1e-15, "mean of 2 4 7 2 6");
    check_close(any.covariance[0], 10.0 / 3, 1e-15, "variance");
    check_close(any.covariance[1], 14.0 / 3, 1e-15, "covariance");
    const bool out[] = {false, true};
    ck_assert_int_eq(an_joint_learn_pooled(few, sums, sizes, 2, 2, out, &any), AN_TOO_FEW);
    ck_assert_int_eq(an_joint_learn_pooled(few, sums, (const double[]){0, 2}, 2, 2, NULL, &any),
                     AN_DOMAIN);
    ck_assert_int_eq(an_joint_learn_pooled(few, sums, sizes, 2, 7, NULL, &any), AN_DOMAIN);
}
END_TEST

/* Limits of mewma for more than two variables: the run length at the limit is the one asked for. [Lowry,
 * Woodall, Champ and Rigdon give about 200 for 12.9 with four variables and weight 0.1; Prabhu and
 * Runger 12.73; from memory] */
START_TEST(mewma_of_more)
{
    double limit;
    ck_assert_int_eq(an_mewma_limit(4, 0.1, 200, &limit), AN_OK);
    ck_assert_msg(fabs(limit - 12.73) < 0.03, "%.4f", limit);
    double last = 0;
    for (size_t p = 2; p <= AN_JOINT_MOST; p++) {
        ck_assert_int_eq(an_mewma_limit(p, 0.1, 370.4, &limit), AN_OK);
        ck_assert(limit > last);
        last = limit;
        ck_assert_int_eq(an_mewma_limit(p, 0.03, 1e6, &limit), AN_OK);
        ck_assert_int_eq(an_mewma_limit(p, 1, 1e6, &limit), AN_OK);
        ck_assert(fabs(an_chi_square_above(limit, (double)p) * 1e6 - 1) < 1e-5);
    }
}
END_TEST

/* ---- contributions ---- */

static struct an_joint two(double correlation)
{
    struct an_joint joint = {.p = 2, .spread = AN_JOINT_ALL, .samples = 60, .n = 1, .df = 59};
    joint.covariance[0] = 4.0;
    joint.covariance[1] = joint.covariance[2] = 2.0 * 3.0 * correlation;
    joint.covariance[3] = 9.0;
    joint.mean[0] = 10.0;
    ck_assert_int_eq(an_joint_check(&joint), AN_OK);
    return joint;
}

START_TEST(contributions)
{
    const struct an_joint joint = two(0.8);
    struct an_contribution c[2];
    const double up[] = {18.0, 1.0}, against[] = {13.6, -5.2}, quiet[] = {10.5, 0.4};

    an_joint_contributions(&joint, up, 0.05, c);
    /* what both tell alone, less what they tell together: T2 = T2(1) + T2(2 | 1) by definition */
    check_close(an_joint_t2(&joint, up), c[0].alone + c[1].own, 1e-12, "split by the first");
    check_close(an_joint_t2(&joint, up), c[1].alone + c[0].own, 1e-12, "split by the second");
    check_close(c[0].alone, 16.0, 1e-14, "alone");
    ck_assert_int_eq(c[0].moved, 1);
    ck_assert_int_eq(c[1].moved, 0);

    /* neither is far off, but they go against each other though they always went together */
    an_joint_contributions(&joint, against, 0.05, c);
    ck_assert_int_eq(c[0].moved, 0);
    ck_assert_int_eq(c[1].moved, 0);
    ck_assert(c[0].speaks_given_others && c[1].speaks_given_others);

    an_joint_contributions(&joint, quiet, 0.05, c);
    ck_assert(!c[0].speaks_given_others && !c[1].speaks_given_others && c[0].moved == 0);
}
END_TEST

/* ---- false alarms ---- */

struct rate {
    enum an_joint_spread spread;
    enum an_joint_phase phase;
    double least, most; /* of the share beyond the limit of 5 per cent */
};
static const struct rate rates[] = {
    {AN_JOINT_ALL, AN_PHASE_TWO, 0.0485, 0.0515},
    {AN_JOINT_ALL, AN_PHASE_ONE, 0.0485, 0.0515},
    {AN_JOINT_SUCCESSIVE, AN_PHASE_TWO, 0.044,
     0.056}, /* its degrees of freedom are equivalent ones */
    {AN_JOINT_SUCCESSIVE, AN_PHASE_ONE, 0.05, 0.075}, /* an approximation, as its contract says */
};

/* 4000 baselines of 30 correlated normal items each; the limits of 5 per cent hold what they say. */
START_TEST(false_alarms)
{
    enum { ITEMS = 30, P = 3, BASELINES = 4000 };
    struct an_random random;
    double x[(ITEMS + 30) * P];
    double beyond = 0.0;
    an_random_start(&random, 7);
    for (int b = 0; b < BASELINES; b++) {
        struct an_joint joint;
        for (size_t i = 0; i < ITEMS + 30; i++) {
            const double shared = an_random_normal(&random);
            for (size_t j = 0; j < P; j++) {
                x[i * P + j] = 5.0 + shared + (double)(j + 1) * an_random_normal(&random);
            }
        }
        ck_assert_int_eq(an_joint_learn_items(x, ITEMS, P, NULL, rates[_i].spread, &joint), AN_OK);
        const double limit = an_joint_limit(&joint, rates[_i].phase, 0.05);
        const size_t from = rates[_i].phase == AN_PHASE_TWO ? ITEMS : 0;
        for (size_t i = from; i < from + 30; i++) {
            beyond += an_joint_t2(&joint, &x[i * P]) > limit ? 1.0 : 0.0;
        }
    }
    const double share = beyond / (BASELINES * 30.0);
    ck_assert_msg(share > rates[_i].least && share < rates[_i].most, "share beyond: %g", share);
}
END_TEST

/* A step of the mean in the middle: differences of neighbours hardly see it, all items do. */
START_TEST(a_step_hides_from_all)
{
    struct an_random random;
    struct an_joint all, successive;
    double x[80];
    an_random_start(&random, 3);
    for (size_t i = 0; i < 40; i++) {
        x[2 * i] = an_random_normal(&random) + (i < 20 ? 0.0 : 5.0);
        x[2 * i + 1] = an_random_normal(&random);
    }
    ck_assert_int_eq(an_joint_learn_items(x, 40, 2, NULL, AN_JOINT_ALL, &all), AN_OK);
    ck_assert_int_eq(an_joint_learn_items(x, 40, 2, NULL, AN_JOINT_SUCCESSIVE, &successive), AN_OK);
    ck_assert(all.covariance[0] > 5.0 && successive.covariance[0] < 2.5);

    bool excluded[40] = {false}; /* the difference over the step is not taken */
    struct an_joint parted;
    excluded[20] = true;
    ck_assert_int_eq(an_joint_learn_items(x, 40, 2, excluded, AN_JOINT_SUCCESSIVE, &parted), AN_OK);
    ck_assert(parted.covariance[0] < successive.covariance[0]);
    check_close(parted.df, 2.0 * 37.0 * 37.0 / (3.0 * 37.0 - 1.0), 1e-14, "37 differences");
    ck_assert(parted.samples == 39.0);
}
END_TEST

/* ---- bad input ---- */

START_TEST(singular)
{
    struct an_joint joint;
    double x[90];
    struct draws draws = {5};
    for (size_t i = 0; i < 30; i++) {
        x[3 * i] = 1e6 + draw_uniform(&draws);
        x[3 * i + 1] = 1e-3 * draw_uniform(&draws);
        x[3 * i + 2] = 2.0 * x[3 * i] - 1000.0 * x[3 * i + 1];
    }
    ck_assert_int_eq(an_joint_learn_items(x, 30, 3, NULL, AN_JOINT_ALL, &joint), AN_NO_SPREAD);
    ck_assert_uint_eq(joint.told_by_others, 2);
    for (size_t i = 0; i < 30; i++) {
        x[3 * i + 2] += 0.02 * draw_uniform(&draws); /* nearly so: learned, and told */
    }
    ck_assert_int_eq(an_joint_learn_items(x, 30, 3, NULL, AN_JOINT_ALL, &joint), AN_OK);
    ck_assert_uint_eq(joint.told_by_others, 2);
    ck_assert(joint.least_own < AN_JOINT_DOUBTFUL && joint.least_own > AN_JOINT_SINGULAR);
    for (size_t i = 0; i < 30; i++) {
        x[3 * i + 1] = 4.0;
    }
    ck_assert_int_eq(an_joint_learn_items(x, 30, 3, NULL, AN_JOINT_SUCCESSIVE, &joint),
                     AN_NO_SPREAD);
    ck_assert_uint_eq(joint.told_by_others, 1);
    ck_assert_int_eq(an_joint_learn_items(x, 4, 3, NULL, AN_JOINT_ALL, &joint), AN_TOO_FEW);
    ck_assert_int_eq(an_joint_learn_items(x, 5, 3, NULL, AN_JOINT_SUCCESSIVE, &joint), AN_TOO_FEW);
    ck_assert_int_eq(an_joint_learn_items(x, 30, 1, NULL, AN_JOINT_ALL, &joint), AN_DOMAIN);
    x[7] = NAN;
    ck_assert_int_eq(an_joint_learn_items(x, 30, 3, NULL, AN_JOINT_ALL, &joint), AN_DOMAIN);
}
END_TEST

/* Units do not matter: T2 of the same items in nanometres and metres. */
START_TEST(scales)
{
    struct an_joint plain, scaled;
    struct draws draws = {11};
    double x[80], y[80];
    for (size_t i = 0; i < 80; i++) {
        x[i] = draw_uniform(&draws);
        y[i] = i % 2 ? x[i] * 1e-9 : x[i] * 1e9 + 1e9;
    }
    ck_assert_int_eq(an_joint_learn_items(x, 40, 2, NULL, AN_JOINT_SUCCESSIVE, &plain), AN_OK);
    ck_assert_int_eq(an_joint_learn_items(y, 40, 2, NULL, AN_JOINT_SUCCESSIVE, &scaled), AN_OK);
    for (size_t i = 0; i < 40; i++) {
        check_close(an_joint_t2(&scaled, &y[2 * i]), an_joint_t2(&plain, &x[2 * i]), 1e-11,
                    "item %zu", i);
    }
}
END_TEST

/* ---- mewma ---- */

/* Limits of two variables for 200 samples between false alarms [Prabhu and Runger, Designing a
 * multivariate EWMA control chart, Journal of Quality Technology 29(1), 1997, table 1; from memory] */
static const struct {
    double lambda, limit;
} printed[] = {{0.05, 7.35},  {0.10, 8.64},  {0.20, 9.65},
               {0.30, 10.08}, {0.50, 10.44}, {0.80, 10.58}};

START_TEST(mewma_limits)
{
    double limit = 0.0;
    ck_assert_int_eq(an_mewma_limit(2, printed[_i].lambda, 200.0, &limit), AN_OK);
    ck_assert_double_eq_tol(limit, printed[_i].limit, 0.025);
    ck_assert_int_eq(an_mewma_limit(2, 0.2, 1.0, &limit), AN_DOMAIN);
    ck_assert_int_eq(an_mewma_limit(1, 0.2, 200.0, &limit), AN_DOMAIN);
}
END_TEST

START_TEST(mewma_points)
{
    const struct an_joint joint = two(0.5);
    struct an_mewma_state state = {0}, at_once = {0};
    const double x[] = {13.0, -2.0}, lost[] = {NAN, 1.0};
    /* the first point with its exact covariance is T2 itself, whatever lambda is */
    check_close(an_mewma_take(&joint, 0.1, true, x, &state), an_joint_t2(&joint, x), 1e-12,
                "first point");
    const struct an_mewma_state before = state;
    ck_assert(isnan(an_mewma_take(&joint, 0.1, true, lost, &state)));
    ck_assert(memcmp(&before, &state, sizeof state) == 0);
    /* lambda 1 forgets everything */
    an_mewma_take(&joint, 1.0, false, (const double[]){99.0, 99.0}, &at_once);
    check_close(an_mewma_take(&joint, 1.0, false, x, &at_once), an_joint_t2(&joint, x), 1e-12,
                "no memory");
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("several variables");
    TCase *example = tcase_create("published");
    tcase_add_test(example, textile_fibre);
    tcase_add_test(example, pooled);
    tcase_add_test(example, mewma_of_more);
    tcase_add_loop_test(example, mewma_limits, 0, sizeof printed / sizeof *printed);
    tcase_set_timeout(example, 60);
    suite_add_tcase(suite, example);
    TCase *own = tcase_create("identities");
    tcase_set_timeout(own, 60);
    tcase_add_test(own, contributions);
    tcase_add_loop_test(own, false_alarms, 0, sizeof rates / sizeof *rates);
    tcase_add_test(own, a_step_hides_from_all);
    tcase_add_test(own, scales);
    tcase_add_test(own, mewma_points);
    tcase_add_test(own, singular);
    suite_add_tcase(suite, own);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
