/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Limits of counts from their own distribution instead of from three sigmas, and whether counts
 * scatter otherwise than they did. Allocates nothing, keeps nothing: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_ATTRIBUTE_LIMITS_H
#define ANDAMENTO_STAT_ATTRIBUTE_LIMITS_H

#include "andamento/base/status.h"

#include <stdbool.h>

/* A count that is binomial (`proportion`: of n whole units, each with this chance) or Poisson (n
 * opportunities of any size, this many for one). */
struct an_count_law {
    bool proportion;
    double rate, n;
};
struct an_probability_limits {
    double lcl, ucl;     /* counts; on the limit is in control; NAN: nothing can be beyond it */
    double below, above; /* the chances really met: P(count < lcl), P(count > ucl) */
};
/*
 * ucl is the least count with P(X > ucl) <= tail, lcl the least with P(X <= lcl) > tail, so that
 * neither chance is above `tail`; counts are whole, so mostly both are below it.
 * AN_DOMAIN: n not whole or below 1 (proportion), n <= 0, rate not allowed, tail not within (0, .5).
 */
AN_CHECKED enum an_status an_probability_limits(const struct an_count_law *law, double tail,
                                                struct an_probability_limits *limits);
/*
 * The count in sigmas: (count - mean) / sigma held within +-k as long as it is within the limits of
 * tail Phi(-k), else by its chance: the z with P(Z > z) = P(X >= count) (or the same below). So
 * |z| > k exactly for counts beyond those limits. NAN where they are not defined.
 */
double an_probability_z(const struct an_count_law *law, double count, double k);

/*
 * Did the scatter of counts change? factor: chi-square over its degrees of freedom (an_dispersion_of)
 * or any estimate of the variance in units of the plain chart's, before and now. F test of two sides
 * with the interval of the ratio now / before. For counts that scatter more than Poisson it is an
 * approximation that holds as the counts are near normal.
 * AN_DOMAIN: a factor below 0 or df below 1, confidence; AN_NO_SPREAD: a factor is 0.
 */
struct an_scatter {
    double factor, df;
};
struct an_scatter_change {
    double ratio, lower, upper, p;
};
AN_CHECKED enum an_status an_scatter_change_of(struct an_scatter before, struct an_scatter now,
                                               double confidence, struct an_scatter_change *change);

#endif
