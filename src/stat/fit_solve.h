/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Solvers without derivatives, on a line and on a plane; every function is the caller's. */
#ifndef AN_STAT_FIT_SOLVE_H
#define AN_STAT_FIT_SOLVE_H

#include "andamento/base/status.h"

#include <stdbool.h>

typedef double solve_line(const void *of, double x);
typedef double solve_plane(const void *of, const double at[2]);

/* f(low) and f(high) of different signs (or 0): AN_NOT_CONVERGED otherwise. To a few units in the
 * last place of the root, or `tolerance`. */
AN_CHECKED enum an_status solve_root(solve_line *f, const void *of, double low, double high,
                                     double tolerance, double *root);
/* Where f is largest within (low, high), one hump supposed; to about 1e-8 of high - low. */
double solve_most(solve_line *f, const void *of, double low, double high, double tolerance);
/*
 * Climbs from *at to a top of f. steps: how far the first looks go. `polish`: Newton steps at the
 * end. AN_NOT_CONVERGED unless the place is a top (curved down both ways).
 */
AN_CHECKED enum an_status solve_top(solve_plane *f, const void *of, double at[2], double step,
                                    bool polish);

#endif
