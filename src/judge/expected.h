/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * False alarms to be expected of limits: exact run lengths of the rules in force, with the effect
 * of limits that were estimated. One thread a call.
 */
#ifndef AN_JUDGE_EXPECTED_H
#define AN_JUDGE_EXPECTED_H

#include "andamento/stat/run_length.h"
#include "judge/judge.h"

/* Charts alike (rules, weighting, k) share one table; begin with all zero. Lives in `arena`. */
struct an_expected_cache {
    struct an_expected_chart *charts;
    size_t count;
};

/*
 * Of the level panel, for independent normal points: samples between false alarms. All NAN where
 * there is no theory here: counts, moving averages, charts of several variables, no rule on, fewer
 * than 2 samples in the baseline.
 */
AN_CHECKED enum an_status an_expected_of(const struct an_limits *limits,
                                         struct an_expected_cache *cache, struct an_arena *arena,
                                         struct an_estimated_run_length *expected,
                                         struct an_error *err);

#endif
