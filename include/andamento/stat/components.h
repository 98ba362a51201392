/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Components of variance of nested readings: how much of the spread comes from batch to batch, from
 * item to item within a batch, from site to site within an item.
 *
 * The model: reading = mean + batch + item + ... + rest, each part normal and independent, groups a
 * sample of many. Two roads: mean squares set to their expectations (which knows any group sizes),
 * and restricted maximum likelihood, which never leaves a component below zero.
 * Memory comes from the caller's arena; nothing is kept: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_COMPONENTS_H
#define ANDAMENTO_STAT_COMPONENTS_H

#include "andamento/base/memory.h"
#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>

#define AN_LEVELS_MOST 4                        /* of groups */
#define AN_COMPONENTS_MOST (AN_LEVELS_MOST + 1) /* the last one is the rest within groups */

struct an_nested_data {
    const double *value;
    size_t n, levels;
    /* group[k][i]: which group of level k reading i is in, outermost level first. Numbers need be
     * unique within the group above only. */
    const size_t *group[AN_LEVELS_MOST];
};

struct an_component {
    double df, ss, ms;
    double f, f_df, p; /* against its own denominator with so many df; NAN for the rest */
    double raw;        /* estimate before it was cut at zero (mean squares; REML: as variance) */
    double variance, lower, upper; /* bounds of the variance, lower >= 0 */
    double share, share_lower, share_upper;
    size_t groups; /* of the level; readings for the rest */
    bool cut;      /* the estimate would have been below zero, or stopped there */
};

struct an_components {
    struct an_component at[AN_COMPONENTS_MOST]; /* levels + 1 of them */
    size_t levels, n;
    bool balanced;
    /* expected mean square k = sum over j of coefficient[k][j] * variance j */
    double coefficient[AN_COMPONENTS_MOST][AN_COMPONENTS_MOST];
    double total; /* sum of the variances */
    double mean, mean_se;
    double log_likelihood; /* REML only, else NAN */
    int steps;             /* REML only */
    size_t short_level;    /* on AN_TOO_FEW: the level that has no group more than the one above */
};

/*
 * Both: AN_TOO_FEW if fewer than 2 groups on the outermost level or no level has replicates (see
 * short_level; levels = the rest); AN_NO_SPREAD if all readings are equal; AN_DOMAIN if one is not
 * finite, levels is not 1 .. AN_LEVELS_MOST, or confidence not within (0, 1). The order of the
 * readings does not matter, to the last bit.
 *
 * By mean squares: each set to its expectation [Searle, Casella and McCulloch, Variance Components,
 * 1992, ch. 5 and app. F; from memory]. Bounds of variances by modified large samples, exact for the
 * rest; shares exact by F (one level, balanced), else by draws with a fixed seed.
 */
AN_CHECKED enum an_status an_components_by_squares(const struct an_nested_data *data,
                                                   double confidence, struct an_arena *arena,
                                                   struct an_components *components);
/*
 * REML, by Newton steps on the exact likelihood until the step is below 1e-10 of the variance;
 * bounds of variances by profile likelihood. The table of squares, F and bounds of shares are
 * those of the other road. AN_NO_SPREAD too if readings differ between groups only;
 * AN_NOT_CONVERGED after 200 steps.
 */
AN_CHECKED enum an_status an_components_reml(const struct an_nested_data *data, double confidence,
                                             struct an_arena *arena,
                                             struct an_components *components);

/*
 * Bounds of sum a[i] * (expected mean square i), each ms[i] with df[i] degrees of freedom, at a
 * two-sided confidence, by modified large samples: sums as by Graybill and Wang, Journal of the
 * American Statistical Association 75, 1980; differences as by Ting, Burdick, Graybill,
 * Jeyaratnam and Lu, Journal of Statistical Computation and Simulation 35, 1990 (from memory).
 * Exact for a single mean square. Not cut at zero.
 */
struct an_bounds {
    double lower, upper;
};
struct an_bounds an_squares_bounds(size_t count, const double a[], const double ms[],
                                   const double df[], double confidence);

#endif
