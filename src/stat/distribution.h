/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Distribution functions that only this layer needs; the public ones are in stat/tests.h.
 */
#ifndef AN_STAT_DISTRIBUTION_H
#define AN_STAT_DISTRIBUTION_H

#include <stdbool.h>

/* log P(Z <= z), right in the far tail too. */
double an_normal_log_below(double z);
/* p of the normality test for A2* (normality.c). */
double an_normality_chance(double a2_star);
/* The z with P(Z > z) = p. */
double an_normal_quantile_above(double p);
/* log P(X <= x), log P(X > x) and quantiles (of the upper tail, if `above`) of gamma with scale 1;
 * NAN unless shape > 0. */
double an_gamma_log_below(double x, double shape);
double an_gamma_log_above(double x, double shape);
double an_gamma_quantile(double p, bool above, double shape);
/* log gamma(x) and its first and second derivative, x > 0; NAN otherwise. */
double an_log_gamma(double x);
double an_digamma(double x);
double an_trigamma(double x);
double an_beta_quantile(double p, double a, double b); /* a, b > 0 */
double an_chi_square_below(double x, double df);
double an_f_quantile_above(double p, double df1, double df2); /* the f with P(F > f) = p */
/* P(X > k), and the least k with P(X <= k) >= p (above: with P(X > k) <= p). */
double an_binomial_above(double k, double n, double p);
double an_poisson_above(double k, double mean);
double an_binomial_quantile(double p, bool above, double n, double chance);
double an_poisson_quantile(double p, bool above, double mean);
/* Failures before the r-th event, each trial with this chance; r > 0. */
double an_negative_binomial_quantile(double p, bool above, double r, double chance);

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
