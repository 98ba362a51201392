/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Several variables judged together: Hotelling's T2, its limits while a baseline is looked at and
 * afterwards, the weighted mean of vectors (mewma), and which variable a signal speaks of.
 * Memory is taken by an_mewma_limit() only, and given back: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_MULTIVARIATE_H
#define ANDAMENTO_STAT_MULTIVARIATE_H

#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>

#define AN_JOINT_MOST 6 /* variables */

enum an_joint_spread {
    AN_JOINT_SUCCESSIVE, /* differences of neighbours: a step of the mean does not blow it up */
    AN_JOINT_ALL,        /* the sample covariance of all items */
    AN_JOINT_POOLED,     /* inside subgroups */
    AN_JOINT_SPREAD_COUNT
};
const char *an_joint_spread_name(enum an_joint_spread spread); /* "successive" ... */

struct an_joint {
    size_t p; /* variables, 2 to AN_JOINT_MOST */
    enum an_joint_spread spread;
    double samples; /* m: items, or subgroups */
    double n;       /* readings a subgroup; 1 for items */
    double df;      /* degrees of freedom of the covariance; of differences the equivalent number */
    double mean[AN_JOINT_MOST];
    double covariance[AN_JOINT_MOST * AN_JOINT_MOST]; /* of items (of readings inside subgroups),
                                                         row by row, p a row */
    /* 1 - R2 of the variable that the ones before it tell most of: near 0 the covariance is nearly
     * singular. Set on AN_NO_SPREAD too. */
    double least_own;
    size_t told_by_others; /* that variable */
};
#define AN_JOINT_SINGULAR 1e-8 /* least_own below this: AN_NO_SPREAD */
#define AN_JOINT_DOUBTFUL 1e-3 /* below this a person should be told */

/*
 * Learns from m items, x[i * p + j]. excluded may be NULL; differences do not cross one excluded.
 *   all: S = sum d d' / (m - 1)
 *   successive: S = sum v v' / 2 r over r differences of neighbours [Sullivan and Woodall, A
 *     comparison of multivariate control charts for individual observations, Journal of Quality
 *     Technology 28(4), 1996]; df = 2 (m - 1)^2 / (3 m - 4) with r + 1 for m [Scholz and Tosch,
 *     Small sample uni- and multivariate control charts for means, ASA Proceedings, 1994]. Both from
 *     memory.
 * AN_TOO_FEW: df < p (all: m <= p + 1); AN_DOMAIN: p, spread or a value not allowed; AN_NO_SPREAD: a
 * variable does not vary, or follows from the others (told_by_others says which).
 */
AN_CHECKED enum an_status an_joint_learn_items(const double x[], size_t m, size_t p,
                                               const bool excluded[], enum an_joint_spread spread,
                                               struct an_joint *joint);
/* m subgroups of n readings: means[i * p + j], covariances[i * p * p + ...] inside each (n - 1). */
AN_CHECKED enum an_status an_joint_learn_subgroups(const double means[], const double covariances[],
                                                   size_t m, size_t p, double n,
                                                   struct an_joint *joint);
/* The same for subgroups of any size: n[i] readings each, cross[i * p * p + ...] the sums of products of
 * their departures from means[i * p + j], 0 for n[i] = 1. The mean is that of all readings, joint->n their mean
 * number in a subgroup. Agrees with the above where all n are equal. */
AN_CHECKED enum an_status an_joint_learn_pooled(const double means[], const double cross[],
                                                const double n[], size_t m, size_t p,
                                                const bool excluded[], struct an_joint *joint);
/* From a mean and a covariance that are given; AN_NO_SPREAD, AN_DOMAIN as above. */
AN_CHECKED enum an_status an_joint_check(struct an_joint *joint);

/* n (x - mean)' S^-1 (x - mean); NAN if a value is not finite. */
double an_joint_t2(const struct an_joint *joint, const double x[]);

enum an_joint_phase {
    AN_PHASE_ONE, /* the samples that taught it */
    AN_PHASE_TWO  /* samples to come */
};
/*
 * The T2 that is exceeded with chance alpha.
 *   two: (m + 1) / m * df p / (df - p + 1) F(p, df - p + 1)
 *   one, items: (m - 1)^2 / m Beta(p / 2, (m - p - 1) / 2) [Tracy, Young and Mason, Multivariate
 *     control charts for individual observations, Journal of Quality Technology 24(2), 1992; from
 *     memory]; of successive differences an approximation, exceeded by 7 in 100 for 5 asked (30 items
 *     of 3 variables, simulated): an item is not held as fully by that scatter
 *   one, subgroups: (m - 1) / m * the same F as in two [Alt, Multivariate quality control, in
 *     Encyclopedia of Statistical Sciences 6, 1985; from memory]
 * Exact for normal vectors but where said. NAN unless 0 < alpha < 1 and df > p (one: - 1).
 */
double an_joint_limit(const struct an_joint *joint, enum an_joint_phase phase, double alpha);
/* Chance of a T2 at least so large, phase two. */
double an_joint_chance(const struct an_joint *joint, double t2);

/*
 * What each variable has to do with a T2 [Mason, Young and Tracy, Decomposition of T2 for
 * multivariate control chart interpretation, Journal of Quality Technology 27(2), 1995; from
 * memory]. alone: T2 of the variable by itself; own: T2 less that of all the others, what it adds
 * given them. moved: +1, -1 if `alone` is beyond its own limit (m + 1) / m F(1, df) at the chance
 * alpha shared over the variables (1 - (1 - alpha)^(1 / p)), else 0.
 */
struct an_contribution {
    double deviation; /* x - mean */
    double alone, own;
    int moved;
    bool speaks_given_others; /* own is beyond the same kind of limit */
};
void an_joint_contributions(const struct an_joint *joint, const double x[], double alpha,
                            struct an_contribution contributions[]);

/*
 * mewma: z = lambda (x - mean) + (1 - lambda) z, plotted T2 = z' Sz^-1 z with Sz = S lambda /
 * (2 - lambda), times 1 - (1 - lambda)^2t after t points if `exact` [Lowry, Woodall, Champ and
 * Rigdon, A multivariate exponentially weighted moving average control chart, Technometrics 34(1),
 * 1992; from memory]. State: all zero before the first point.
 */
struct an_mewma_state {
    double points;
    double z[AN_JOINT_MOST];
};
double an_mewma_take(const struct an_joint *joint, double lambda, bool exact, const double x[],
                     struct an_mewma_state *state);
/* The limit with this average run length in control (5 to 1e6), steady covariance, mean and
 * covariance known: from an_run_length_mewma, to 1e-8 of the run length. AN_DOMAIN, AN_NO_MEMORY. */
AN_CHECKED enum an_status an_mewma_limit(size_t p, double lambda, double between, double *limit);

#endif
