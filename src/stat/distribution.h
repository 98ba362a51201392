/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Distribution functions that only this layer needs; the public ones are in stat/tests.h.
 */
#ifndef AN_STAT_DISTRIBUTION_H
#define AN_STAT_DISTRIBUTION_H

/* log P(Z <= z), right in the far tail too. */
double an_normal_log_below(double z);

/*
 * P(T <= t) for Student's t with df degrees of freedom (>= 1, need not be whole) and noncentrality
 * delta, by integration; *slope (may be NULL) is its derivative by delta, always <= 0.
 * Absolute error below 1e-13 for df <= 1e6, |delta| <= 1000 (measured against half the step, and
 * against 30-digit integrals in the tests). NAN outside the domain.
 */
double an_noncentral_t_below(double t, double df, double delta, double *slope);
/* The delta at which P(T <= t) = p; 0 < p < 1. NAN outside the domain. */
double an_noncentral_t_delta(double t, double df, double p);

#endif
