/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Run lengths of charts whose points are not simply normal: counts, spread panels, moving ranges.
 * In control, or with the true sd a given ratio of the one the limits stand for.
 *
 * Memory comes from the caller's arena; nothing else is kept: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_CHART_RUN_LENGTH_H
#define ANDAMENTO_STAT_CHART_RUN_LENGTH_H

#include "andamento/stat/chart.h"
#include "andamento/stat/run_length.h"

/* ---- spread panels ------------------------------------------------------------------------------- */

/* The range of n independent standard normals: P(W <= w), P(W > w), each to 1e-13 of itself. NAN
 * unless n is whole, 2 to 1000. [Tippett, Biometrika 17, 1925: from the law of the least value] */
double an_range_below(double w, double n);
double an_range_above(double w, double n);

/* Ranges or standard deviations of n readings, limits at k of their own sigmas (none below 0). */
struct an_spread_panel {
    bool range; /* else the standard deviation */
    double n, k;
};
/* Chance that a point is beyond either limit when the readings' true sd is `ratio` times the one
 * that the limits stand for. NAN unless n >= 2 (of ranges whole, at most 1000), k > 0, ratio > 0. */
double an_spread_panel_chance(const struct an_spread_panel *panel, double ratio);

/*
 * A level panel with rules and a spread panel beside it: until either speaks. The two panels are
 * independent, as mean and spread of normal readings are. other: the chance that the second one
 * speaks at a point. Zero state, mean only; as exact as an_run_length_rules.
 */
AN_CHECKED enum an_status an_run_length_rules_beside(const struct an_rule_chain *chain,
                                                     struct an_point_law law, double other,
                                                     struct an_arena *scratch, double *mean);

/*
 * Single values with their moving range of two: until |z| > level or |z - z before| > range, both in
 * sigmas; INFINITY: no such limit. The first value has no range. Ranges that follow each other share
 * a value, so the last value is carried along: an integral equation over it, by collocation on
 * stretches between the places where its answer has a corner. Mean only; relative error below 1e-9
 * (measured against stretches of half again as many points).
 * [Crowder, Computation of ARL for combined individual measurement and moving range charts, Journal
 * of Quality Technology 19(2), 1987; from memory]
 * AN_DOMAIN: a limit not above 0, both infinite, a law without spread.
 */
AN_CHECKED enum an_status an_run_length_moving_range(double level, double range,
                                                     struct an_point_law law,
                                                     struct an_arena *arena, double *mean);

/* ---- counts ------------------------------------------------------------------------------------------ */

/* The law of a count in a stable process. */
enum an_count_kind {
    AN_COUNT_BINOMIAL,
    AN_COUNT_POISSON,
    AN_COUNT_BETA_BINOMIAL,    /* the proportion varies from sample to sample, as beta does */
    AN_COUNT_NEGATIVE_BINOMIAL /* the rate does, as gamma does */
};
const char *an_count_kind_name(enum an_count_kind kind); /* "binomial", "Poisson" ... */
struct an_count_spread {
    enum an_count_kind kind;
    double n;              /* binomial kinds: units */
    double mean;           /* of the count */
    double variance_ratio; /* to that of the plain law; 1 for the plain kinds, above 1 otherwise */
};
/*
 * The law that a chart of counts supposes of a sample of the usual size. p_prime, u_prime with a
 * dispersion above 1: the plain law mixed, with the variance that the chart has. AN_DOMAIN: not a chart
 * of counts, opportunities below 1 (binomial), dispersion below 1, or more of it than a proportion can
 * have.
 */
AN_CHECKED enum an_status an_count_spread_of(const struct an_chart_model *model,
                                             struct an_count_spread *law);
/* at[i] is the chance of first + i; what is left out on either side is below 1e-18 of the largest. The
 * chances add up to 1; each to 1e-12 of itself. In the arena. AN_DOMAIN, AN_NO_MEMORY. */
struct an_count_chances {
    double first;
    size_t count;
    double *at, *below,
        *above; /* below[i]: up to i, it included; above[i]: from i on, it included */
};
AN_CHECKED enum an_status an_count_chances_of(const struct an_count_spread *law,
                                              struct an_arena *arena,
                                              struct an_count_chances *chances);
/*
 * Samples between false alarms of a chart of counts (p, np, c, u, p_prime, u_prime; limits at k sigma or
 * by chance) at its mean opportunities: exact sums over the counts for the signals of `rules`, as
 * an_chart_judge puts each count. `known`: the centre is exactly the true one. The rest: over what the
 * centre of so many samples would have been, by the exact law of their total (p_prime: the beta-binomial
 * of the same variance), and of the primed families over their factor as learned from moving
 * ranges. between is INFINITY where no count can be beyond the limits and no other rule is on.
 * AN_TOO_FEW: fewer than 2 samples; AN_DOMAIN: as an_count_spread_of, a weighted chart, no rule on,
 * or rules that compare neighbours with more than 4,096 different counts.
 */
AN_CHECKED enum an_status an_run_length_counts_ruled(const struct an_chart_model *model,
                                                     const struct an_rule_choice *rules,
                                                     struct an_arena *arena,
                                                     struct an_estimated_run_length *run_length);

#endif
