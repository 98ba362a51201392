/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Assumptions looked at: normality, independence. Scratch is the caller's; safe from any thread.
 */
#ifndef ANDAMENTO_STAT_TESTS_H
#define ANDAMENTO_STAT_TESTS_H

#include "andamento/base/status.h"

#include <stddef.h>

struct an_normality {
    double a2, a2_star, p; /* Anderson-Darling with mean and sd estimated (Stephens 1986) */
};
/*
 * n >= 8 (AN_TOO_FEW); scratch holds n doubles; AN_NO_SPREAD if all are equal, AN_DOMAIN if one is
 * not finite. a2 to about 1e-12; p by formula, 1 to 4 per cent of itself between .5 and .005.
 */
AN_CHECKED enum an_status an_anderson_darling(const double x[], size_t n, double scratch[],
                                              struct an_normality *result);
/* sum (x[i+lag]-m)(x[i]-m) / sum (x-m)^2, to 15 digits of the doubles given. AN_TOO_FEW unless
 * n > lag + 1; AN_NO_SPREAD, AN_DOMAIN as above; *r is NAN then. */
AN_CHECKED enum an_status an_autocorrelation(const double x[], size_t n, size_t lag, double *r);

/* Do groups spread alike? One-way analysis of variance of |x - its group's median| [Brown and
 * Forsythe, Journal of the American Statistical Association 69, 1974; from memory]. */
struct an_equal_spread {
    double f, df_groups, df_rest, p;
};
/*
 * Readings group by group: those of group g are x[first[g]] up to, not including,
 * x[first[g + 1]]; scratch holds n = first[groups] doubles. AN_TOO_FEW unless there are 2 groups
 * and more readings than groups; AN_NO_SPREAD if the distances do not differ within groups;
 * AN_DOMAIN for an empty group or a reading that is not finite. The order within a group does not
 * matter. Groups of 2 have one distance twice, which tells nothing of the spread of distances and
 * makes F too large: they are better left out.
 */
AN_CHECKED enum an_status an_equal_spread_of(const double x[], const size_t first[], size_t groups,
                                             double scratch[], struct an_equal_spread *result);

/* ---- distribution functions (all from the Rmath library; no call of it anywhere else) ----
 * NAN for an argument outside the domain: a chance outside [0, 1], df or mean not allowed, n not
 * whole. Infinite df is the limit (normal). Accuracy is the library's, 13 digits or more. */
double an_normal_below(double z); /* P(Z <= z) */
double an_normal_above(double z);
double an_normal_quantile(double p);
double an_t_quantile(double p, double df);
double an_t_below(double t, double df);
double an_chi_square_quantile(double p, double df);
double an_chi_square_above(double x, double df);
double an_f_above(double f, double df1, double df2);
double an_binomial_below(double k, double n, double p); /* P(X <= k) */
double an_poisson_below(double k, double mean);

#endif
