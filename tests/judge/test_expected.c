/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Expected false alarms of limits: printed run lengths where limits are known, the law of a next value where they
 * are estimated, each family by its own law, one table for charts alike, a reason where there is no theory.
 */
#include "judge/expected.h"
#include "support.h"

#include <math.h>
#include <string.h>

static struct an_limits limits_of(enum an_family family, size_t samples)
{
    struct an_limits limits = {.rules = an_rules_default()};

    limits.model = (struct an_chart_model){.family = family,
                                           .k = 3,
                                           .samples = samples,
                                           .n_nominal = 5,
                                           .centre = 10,
                                           .sigma_within = 1,
                                           .df_within = 4.0 * (double)samples,
                                           .sigma_level = 0.4,
                                           .dispersion = 1,
                                           .mean_opportunities = 100,
                                           .between = (double)NAN};
    return limits;
}

static struct an_limits only_limits(struct an_limits limits)
{
    limits.rules.on[AN_RULE_RUN_ONE_SIDE] = false;
    return limits;
}

static struct an_arena *arena;
static struct an_expected_cache cache;

static void setup(void)
{
    arena = an_arena_open();
    cache = (struct an_expected_cache){0};
}

static void teardown(void)
{
    an_arena_close(arena);
}

static struct an_expected of(struct an_limits limits)
{
    struct an_expected e;
    struct an_error err;

    ck_assert_int_eq(an_expected_of(&limits, &cache, arena, &e, &err), AN_OK);
    return e;
}

static bool near(double actual, double wanted, double relative)
{
    return fabs(actual - wanted) <= relative * fabs(wanted);
}

/*
 * 216.696: beyond 3 sigma, or 9 in a row on one side, computed in base R by a chain of its own; 370.398:
 * 1 / 0.0027 in full. The s chart of five: .003899114478 of points, by pchisq in base R. Either of single
 * limits and that: 1 / (.0026998 + .0038991 - their product).
 */
START_TEST(both_panels)
{
    struct an_expected few = of(limits_of(AN_XBAR_S, 25));
    struct an_expected many = of(limits_of(AN_XBAR_S, 20000));
    ck_assert_uint_eq(cache.count, 3); /* level, spread, both */
    ck_assert(near(few.level.known, 216.695544, 1e-8) && near(many.level.known, 216.695544, 1e-8));
    ck_assert(near(few.spread.known, 1 / .003899114478, 1e-8));
    ck_assert(few.both.between < few.level.between && few.both.between < few.spread.between);
    ck_assert(few.level.between < many.level.between && many.level.between < few.level.known);
    ck_assert(few.both.low < few.both.between && few.both.between < few.both.high);
    ck_assert(near(many.both.between, many.both.known, 0.002));
    ck_assert_str_eq(few.law, "normal");
    ck_assert_ptr_null(few.why_not);
    many = of(only_limits(limits_of(AN_XBAR_S, 20000)));
    ck_assert(near(many.level.known, 370.398347, 1e-8));
    ck_assert(near(many.both.known,
                   1 / (.002699796063 + .003899114478 - .002699796063 * .003899114478), 1e-8));
    ck_assert(near(an_expected_false_alarms(&many, 1000), 1000 / many.both.between, 1e-12));
    /* ranges of five: .004603048432 by ptukey in base R */
    ck_assert(near(of(limits_of(AN_XBAR_R, 50)).spread.known, 1 / .004603048432, 1e-8));
}
END_TEST

/* Single values: the moving ranges have no rule in force. 100 values, sigma from their moving ranges: a
 * next value is t; .0035... by pt in base R with the equivalent degrees of freedom. */
START_TEST(single_values)
{
    struct an_limits limits = only_limits(limits_of(AN_INDIVIDUALS, 100));
    limits.model.n_nominal = 1;
    limits.model.df_within = an_moving_range_df(100);
    const struct an_expected e = of(limits);
    ck_assert(near(limits.model.df_within, 60.3296548087499, 1e-8));
    ck_assert(near(e.both.rate, 0.00394830430395845, 2e-5));
    ck_assert(isnan(e.spread.rate) && near(e.both.rate, e.level.rate, 1e-15));
}
END_TEST

/* Items against each other, and their inside on a panel with its own sigma: rates of either. */
START_TEST(between_items)
{
    const struct an_expected e = of(only_limits(limits_of(AN_BETWEEN_WITHIN, 100)));
    ck_assert(near(e.level.rate, 0.00394830430395845, 2e-5));
    ck_assert(near(e.spread.known, 1 / .003899114478, 1e-8));
    ck_assert(
        near(e.both.rate, e.level.rate + e.spread.rate - e.level.rate * e.spread.rate, 1e-12));
    ck_assert(e.both.low < e.both.between && e.both.between < e.both.high);
}
END_TEST

/* The chart with memory signals by its own limits, not by the rules: 465 points for k .5, h 5 (from
 * memory: Montgomery's table of cusums). */
START_TEST(with_memory)
{
    struct an_limits limits = limits_of(AN_XBAR_S, 100);
    limits.model.weighting = (struct an_weighting){.kind = AN_CUSUM, .reference = 0.5, .limits = 5};
    const struct an_expected e = of(limits);
    ck_assert(fabs(e.level.known - 465.0) < 0.5 && e.level.between < e.level.known);
    ck_assert(e.both.between < e.level.between && isfinite(e.spread.between));
}
END_TEST

/* Counts by their law: .002281711796 of samples of 16 Poisson counts, .00322336 of beta-binomial ones; with
 * runs one in 318.579; estimated from 25 samples .003998891: all sums in base R. */
START_TEST(counts)
{
    struct an_limits limits = only_limits(limits_of(AN_C, 25));
    limits.model.centre = 16;
    limits.model.mean_opportunities = 1;
    struct an_expected e = of(limits);
    ck_assert(near(e.both.known, 1 / .002281711795764107, 1e-9));
    ck_assert(near(e.both.rate, .003998891404843271, 1e-6));
    ck_assert_str_eq(e.law, "Poisson, 16 counts a sample");
    limits.rules = an_rules_default();
    ck_assert(near(of(limits).both.known, 318.5793541340682, 1e-9));
    limits = only_limits(limits_of(AN_P_PRIME, 400));
    limits.model.centre = 0.1;
    limits.model.mean_opportunities = 1000.3;
    limits.model.dispersion = 1.5;
    e = of(limits);
    ck_assert(near(e.both.known, 1 / .003223360697872814, 1e-8));
    ck_assert_str_eq(e.law, "beta-binomial, 100 counts a sample, scatter 1.5 times plain");
    limits.model.dispersion = 0.9;
    e = of(limits);
    ck_assert(near(e.both.known, 370.398347, 1e-8) && e.both.between < e.both.known);
    /* an ewma of few counts: known only, far more often than the 370 of normal points */
    limits = limits_of(AN_C, 400);
    limits.model.centre = 0.5;
    limits.model.mean_opportunities = 1;
    limits.model.weighting =
        (struct an_weighting){.kind = AN_EWMA, .lambda = 0.2, .limits = 2.86, .steady = true};
    e = of(limits);
    ck_assert(e.as_known && e.both.between < 300 && e.both.between > 20);
}
END_TEST

/* T2 as its limit was found, over baselines: 2 Phi(-3); with all known by chi-square, in closed form
 * exp(-limit / 2). A mewma of .1 and 8.66 for two: 200 samples (from memory: the table of Prabhu and
 * Runger, Journal of Quality Technology 29(1), 1997). */
START_TEST(two_variables)
{
    struct an_limits limits = limits_of(AN_T2, 30);
    limits.model.joint = (struct an_joint){.p = 2, .samples = 30, .n = 1, .df = 20};
    limits.model.upper = an_joint_limit(&limits.model.joint, AN_PHASE_TWO, 0.002699796063260207);
    struct an_expected e = of(limits);
    ck_assert(near(e.both.between, 370.398347, 1e-8));
    ck_assert(near(e.both.known, exp(limits.model.upper / 2), 1e-10));
    ck_assert_str_eq(e.law, "F, 2 variables");
    limits.model.family = AN_MEWMA;
    limits.model.weighting =
        (struct an_weighting){.kind = AN_EWMA, .lambda = 0.1, .limits = 8.66, .variables = 2};
    e = of(limits);
    ck_assert(fabs(e.both.between - 200) < 3 && e.as_known);
}
END_TEST

/* A value to come of a tool that wears is t about the line with m - 2 degrees of freedom, at whatever life:
 * 2 P(t > 3). What an autoregression leaves: with divisor m, and 1 / m of both errors. By pt in base R. */
START_TEST(departures)
{
    struct an_limits limits = only_limits(limits_of(AN_WEAR, 40));
    ck_assert(near(of(limits).both.rate, 0.00474633221703388, 2e-5));
    limits = only_limits(limits_of(AN_WEAR, 100));
    ck_assert(near(of(limits).both.rate, 0.00342326446372962, 2e-5));
    limits = only_limits(limits_of(AN_RESIDUALS, 40));
    limits.model.memory.n = 40;
    ck_assert(near(of(limits).both.rate, 0.00697604028891817, 2e-5));
    ck_assert(near(of(limits).both.known, 370.398347, 1e-8));
}
END_TEST

/* Four heads of 100 samples each: 1 less the chance that none is beyond, by pt in base R. */
START_TEST(heads_and_products)
{
    static struct an_product_baseline members[] = {
        {"a", 0, 1, 100}, {"b", 0, 1, 100}, {"c", 0, 1, 100}, {"d", 0, 1, 100}};
    struct an_limits limits = limits_of(AN_GROUP, 100);
    limits.model.n_nominal = 4;
    limits.products = members;
    limits.product_count = 4;
    struct an_expected e = of(limits);
    ck_assert(near(e.both.rate, 0.00484369167880805, 1e-4));
    ck_assert(near(e.both.known, 370.398347, 1e-8));
    ck_assert_str_eq(e.law, "normal, the furthest of 4");
    limits = only_limits(limits_of(AN_SHORT_RUN, 400));
    limits.products = members;
    limits.product_count = 4;
    e = of(limits);
    ck_assert(near(e.both.rate, 0.00394830430395845, 2e-5));
}
END_TEST

START_TEST(no_theory_no_number)
{
    struct an_expected e = of(limits_of(AN_XBAR_S, 1));
    ck_assert(isnan(e.both.between));
    ck_assert_str_eq(e.why_not, "the baseline has fewer than 2 samples");
    struct an_limits limits = limits_of(AN_XBAR_S, 100);
    for (int r = 0; r < AN_RULE_COUNT; r++) {
        limits.rules.on[r] = false;
    }
    e = of(limits);
    ck_assert(isnan(e.both.between));
    ck_assert_str_eq(e.why_not, "no rule is on");
    limits.rules.on[AN_RULE_RUN_ONE_SIDE] = true; /* the spread panel has none then */
    e = of(limits);
    ck_assert(isnan(e.spread.between) && e.both.between > 216);
    limits = limits_of(AN_XBAR_S, 100);
    limits.model.weighting = (struct an_weighting){.kind = AN_MOVING_AVERAGE, .span = 5};
    ck_assert_str_eq(of(limits).why_not, "moving averages are not solved");
    ck_assert(isnan(an_expected_false_alarms(&(struct an_expected){.both.rate = (double)NAN}, 5)));
    limits = limits_of(AN_U_PRIME, 100);
    limits.model.dispersion = (double)NAN;
    ck_assert_ptr_nonnull(of(limits).why_not);
    ck_assert_ptr_null(of(limits).law);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("expected false alarms");
    TCase *tcase = tcase_create("expected");
    tcase_set_timeout(tcase, 120);
    tcase_add_checked_fixture(tcase, setup, teardown);
    tcase_add_test(tcase, both_panels);
    tcase_add_test(tcase, single_values);
    tcase_add_test(tcase, between_items);
    tcase_add_test(tcase, with_memory);
    tcase_add_test(tcase, counts);
    tcase_add_test(tcase, two_variables);
    tcase_add_test(tcase, departures);
    tcase_add_test(tcase, heads_and_products);
    tcase_add_test(tcase, no_theory_no_number);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
