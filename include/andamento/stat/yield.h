/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Capability of counted characteristics: fractions and rates with exact bounds, rolled yield,
 * counts that scatter more than they should.
 * Allocates nothing, keeps nothing: safe from any thread. Sources: attribute_capability.c.
 */
#ifndef ANDAMENTO_STAT_YIELD_H
#define ANDAMENTO_STAT_YIELD_H

#include "andamento/stat/capability.h"

#include <stdbool.h>
#include <stddef.h>

/*
 * count of n. Exact bounds (Clopper and Pearson): they cover at least the confidence. count need not
 * be whole. AN_DOMAIN unless 0 <= count <= n, n > 0 finite, confidence within (0, 1).
 */
AN_CHECKED enum an_status an_fraction_of(double count, double n, double confidence,
                                         struct an_index *fraction);
/* count over an exposure (units, opportunities, area). Exact bounds (Garwood). AN_DOMAIN unless
 * count >= 0, exposure > 0. */
AN_CHECKED enum an_status an_rate_of(double count, double exposure, double confidence,
                                     struct an_index *rate);

struct an_yield_step {
    double units, good; /* good without rework */
};
/*
 * Product of the steps' yields. Bounds from the steps' exact bounds joined on logarithms (method of
 * variance estimates recovery), held within [0, smallest upper bound of a step].
 * AN_TOO_FEW without steps; AN_DOMAIN as an_fraction_of.
 */
AN_CHECKED enum an_status an_rolled_yield(const struct an_yield_step steps[], size_t count,
                                          double confidence, struct an_index *yield);

/* Normal distance of a fraction outside, z with P(Z > z) = fraction, plus `shift`: a convention (1.5
 * is the usual one), never a property of the process. NAN outside [0, 1]. */
double an_sigma_level(double fraction, double shift);

struct an_count_sample {
    double count, opportunities;
};
struct an_dispersion {
    double factor; /* chi-square over its degrees of freedom; 1 for binomial or Poisson counts */
    double df;
    double p;                /* chance of so large a factor by luck */
    struct an_index widened; /* fraction or rate, with bounds for counts as scattered as these */
};
/*
 * Do counts scatter more than binomial (`proportion`) or Poisson ones? widened divides count and
 * opportunities by the factor, if above 1. AN_TOO_FEW fewer than 2 samples; AN_NO_SPREAD no count
 * at all, or nothing but counts; AN_DOMAIN as above.
 */
AN_CHECKED enum an_status an_dispersion_of(const struct an_count_sample samples[], size_t m,
                                           bool proportion, double confidence,
                                           struct an_dispersion *dispersion);

#endif
