/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Constants of control charts for subgroups of n, computed for any n from their definitions.
 * Allocates nothing, keeps nothing: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_CONSTANTS_H
#define ANDAMENTO_STAT_CONSTANTS_H

#include "andamento/base/status.h"

#include <stddef.h>

/*
 * AN_TOO_FEW if n < 2, AN_DOMAIN if n > AN_SUBGROUP_MOST (c4: 100,000,000) or is NAN; the result is
 * written only on AN_OK. Formulas and sources stand in constants.c. Relative error, measured
 * against multiple-precision values: c4, d2 1e-15, d3 1e-14, 1 - c4^2 2e-14. d3 costs 0.1 to 2 ms
 * (it is an integral, not a table), the others microseconds.
 */
#define AN_SUBGROUP_MOST 1000
AN_CHECKED enum an_status an_c4(double n,
                                double *c4); /* n >= 2, need not be whole (pooled df + 1) */
/* sqrt(1 - c4^2): the standard deviation of s in sigmas, without the cancellation. */
AN_CHECKED enum an_status an_c4_spread(double n, double *spread);
AN_CHECKED enum an_status an_d2(size_t n, double *d2); /* mean of the range of n standard normals */
AN_CHECKED enum an_status an_d3(size_t n, double *d3); /* its standard deviation */

struct an_chart_constants {
    size_t n;
    double c4, d2, d3;
    double A, A2, A3, B3, B4, B5, B6, D1, D2, D3, D4, E2; /* k = 3 sigma forms */
};
/* Factors of the limits; B3, B5, D1, D3 are 0 where the formula falls below. */
AN_CHECKED enum an_status an_chart_constants(size_t n, struct an_chart_constants *constants);

#endif
