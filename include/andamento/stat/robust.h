/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Estimators that a few wild values do not move. They are for finding what does not belong to a
 * baseline; limits come from what remains after a person has named it.
 * Scratch is the caller's; nothing is kept: safe from any thread. Sources: robust.c.
 */
#ifndef ANDAMENTO_STAT_ROBUST_H
#define ANDAMENTO_STAT_ROBUST_H

#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>

struct an_robust {
    double median;
    double mad; /* median absolute departure, times 1.4826: sigma of normal values */
    double qn;  /* Rousseeuw and Croux, times 2.2191 and the factor of small n */
    double trimmed_mean, trimmed_se;       /* `trim` left out at each end; standard error */
    double winsorised_mean, winsorised_sd; /* the same share pulled in to its neighbours */
    size_t n;
};
/*
 * 0 <= trim < 0.5; scratch holds 2 n doubles. The order of x changes no bit. mad and qn are 0
 * when half of the values or more are equal. AN_TOO_FEW n < 2 (trimming: fewer than two would be
 * left); AN_DOMAIN a value not finite, trim outside its range.
 */
AN_CHECKED enum an_status an_robust_of(const double x[], size_t n, double trim, double scratch[],
                                       struct an_robust *result);

/*
 * Values so far from the median that a share `level` (0.05) of clean baselines of as many normal values
 * would show any: beyond the normal quantile of 1 - level / (2 n), in units of Qn (of MAD, then of
 * the winsorised sd, where Qn is 0). Sets suspect[i]; *count how many; *reach the distance used, in
 * the unit of x. AN_TOO_FEW n < 8; AN_NO_SPREAD all equal; AN_DOMAIN as above, or level outside
 * (0, 1). scratch: 2 n doubles.
 */
AN_CHECKED enum an_status an_robust_suspects(const double x[], size_t n, double level,
                                             double scratch[], bool suspect[], size_t *count,
                                             double *reach, struct an_robust *result);

#endif
