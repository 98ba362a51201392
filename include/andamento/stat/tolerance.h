/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Tolerance intervals: limits that hold a stated share of the readings to come, with a stated
 * confidence. (Control limits and confidence bounds of a mean answer other questions.)
 * Allocates nothing, keeps nothing: safe from any thread. Formulas and sources: tolerance.c.
 */
#ifndef ANDAMENTO_STAT_TOLERANCE_H
#define ANDAMENTO_STAT_TOLERANCE_H

#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>

struct an_tolerance_wish {
    double coverage, confidence; /* each within (0, 1) */
};

/*
 * Normal readings: mean + k s, mean - k s with s of n - 1 degrees of freedom. Exact (to 1e-9 of k),
 * and Howe's approximation of the two-sided factor, kept since it is printed so often.
 * AN_TOO_FEW n < 2; AN_DOMAIN coverage or confidence not within (0, 1), n above 1e6;
 * AN_NOT_CONVERGED (not seen).
 */
AN_CHECKED enum an_status an_tolerance_one_sided(size_t n, const struct an_tolerance_wish *wish,
                                                 double *k);
AN_CHECKED enum an_status an_tolerance_two_sided(size_t n, const struct an_tolerance_wish *wish,
                                                 double *k);
AN_CHECKED enum an_status an_tolerance_howe(size_t n, const struct an_tolerance_wish *wish,
                                            double *k);

/*
 * Any continuous shape, by order statistics: the interval from the r-th smallest to the s-th
 * largest reading holds the coverage with *reached confidence; *cut = r + s is the largest that
 * still reaches the confidence asked (one-sided: r or s alone). AN_TOO_FEW: even the outermost
 * readings do not (*least says how many readings would do; written in any case but AN_DOMAIN).
 */
AN_CHECKED enum an_status an_tolerance_order(size_t n, const struct an_tolerance_wish *wish,
                                             bool two_sided, size_t *cut, double *reached,
                                             size_t *least);

#endif
