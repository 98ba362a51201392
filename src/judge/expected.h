/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * False alarms to be expected of limits: exact run lengths of the rules in force on both panels, by the
 * law of what is plotted, with the effect of limits that were estimated. One thread a call.
 */
#ifndef AN_JUDGE_EXPECTED_H
#define AN_JUDGE_EXPECTED_H

#include "andamento/stat/run_length.h"
#include "judge/judge.h"
#include "judge/pace.h"

/* Charts alike (rules, weighting, k, spread panel) share one table; begin with all zero. Lives in
 * `arena`. */
struct an_expected_cache {
    struct an_expected_chart *charts;
    size_t count;
};

struct an_expected {
    /* samples between false alarms, of each panel and of the chart; NAN where there is none or no theory;
     * low and high of `both`: the spread panel at its mean rate where its sigma is another one's */
    struct an_estimated_run_length level, spread, both;
    const char *law;     /* "normal", "Poisson, 12.3 counts a sample" ...; NULL: no number */
    bool by_event;       /* g, t: points are events; all of the above counts those, not samples */
    bool as_known;       /* limits are taken as known: there is no theory of their errors here */
    const char *why_not; /* there is no number; NULL: there is */
};
/*
 * Of a stable stream of independent samples of the usual size: normal values, or counts by their own
 * law. between, rate: over the baselines that so many samples could have been. why_not: moving averages, counts scattering less than the plain law on a weighted chart, no rule on, fewer than 2
 * samples in the baseline.
 */
AN_CHECKED enum an_status an_expected_of(const struct an_limits *limits,
                                         struct an_expected_cache *cache, struct an_arena *arena,
                                         struct an_expected *expected, struct an_error *err);
/* The points of a shift: samples, or events. */
double an_expected_points(const struct an_expected *expected, const struct an_pace *pace);
/* Of so many points, both panels; NAN without a number. What reports and `limits show` tell. */
double an_expected_false_alarms(const struct an_expected *expected, double points);

#endif
