/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Expected false alarms of limits: printed run lengths where limits are known, fewer samples between
 * where they are estimated, one table for charts alike, no number where there is no theory.
 */
#include "judge/expected.h"
#include "support.h"

#include <math.h>

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

/* 216.696: beyond 3 sigma, or 9 in a row on one side, computed in base R by a chain of its own;
 * 370.398: 1 / 0.0027 in full. */
START_TEST(known_and_estimated)
{
    struct an_arena *arena = an_arena_open();
    struct an_expected_cache cache = {0};
    struct an_estimated_run_length few, many, single;
    struct an_error err;
    struct an_limits limits = limits_of(AN_XBAR_S, 25);
    ck_assert_int_eq(an_expected_of(&limits, &cache, arena, &few, &err), AN_OK);
    limits = limits_of(AN_XBAR_S, 2000);
    ck_assert_int_eq(an_expected_of(&limits, &cache, arena, &many, &err), AN_OK);
    ck_assert_uint_eq(cache.count, 1);
    ck_assert(fabs(few.known - 216.695544) < 1e-5 && fabs(many.known - 216.695544) < 1e-5);
    ck_assert(few.between < many.between && many.between < few.known);
    ck_assert(few.low < few.between && few.between < few.high);
    ck_assert(many.between > 0.97 * many.known);
    limits.rules.on[AN_RULE_RUN_ONE_SIDE] = false;
    ck_assert_int_eq(an_expected_of(&limits, &cache, arena, &single, &err), AN_OK);
    ck_assert(fabs(single.known - 370.398347) < 1e-5);
    ck_assert_uint_eq(cache.count, 2);
    an_arena_close(arena);
}
END_TEST

/* The chart with memory signals by its own limits, not by the rules: 465 points for k .5, h 5 (from
 * memory: Montgomery's table of cusums). */
START_TEST(with_memory)
{
    struct an_arena *arena = an_arena_open();
    struct an_expected_cache cache = {0};
    struct an_estimated_run_length e;
    struct an_error err;
    struct an_limits limits = limits_of(AN_XBAR_S, 100);
    limits.model.weighting = (struct an_weighting){.kind = AN_CUSUM, .reference = 0.5, .limits = 5};
    ck_assert_int_eq(an_expected_of(&limits, &cache, arena, &e, &err), AN_OK);
    ck_assert(fabs(e.known - 465.0) < 0.5 && e.between < e.known);
    an_arena_close(arena);
}
END_TEST

START_TEST(no_theory_no_number)
{
    struct an_arena *arena = an_arena_open();
    struct an_expected_cache cache = {0};
    struct an_estimated_run_length e;
    struct an_error err;
    struct an_limits limits = limits_of(AN_U_PRIME, 100);
    ck_assert_int_eq(an_expected_of(&limits, &cache, arena, &e, &err), AN_OK);
    ck_assert(isnan(e.between) && isnan(e.known));
    limits = limits_of(AN_XBAR_S, 1);
    ck_assert_int_eq(an_expected_of(&limits, &cache, arena, &e, &err), AN_OK);
    ck_assert(isnan(e.between));
    limits = limits_of(AN_XBAR_S, 100);
    for (int r = 0; r < AN_RULE_COUNT; r++) {
        limits.rules.on[r] = false;
    }
    ck_assert_int_eq(an_expected_of(&limits, &cache, arena, &e, &err), AN_OK);
    ck_assert(isnan(e.between));
    an_arena_close(arena);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("expected false alarms");
    TCase *tcase = tcase_create("expected");
    tcase_set_timeout(tcase, 120);
    tcase_add_test(tcase, known_and_estimated);
    tcase_add_test(tcase, with_memory);
    tcase_add_test(tcase, no_theory_no_number);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
