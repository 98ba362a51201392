/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Which chart for which shift: parameters of ewma and cusum from exact run lengths.
 * Memory is taken and given back within the call: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_DESIGN_H
#define ANDAMENTO_STAT_DESIGN_H

#include "andamento/stat/run_length.h"
#include "andamento/stat/time_weighted.h"

/*
 * weighting comes with everything but its limits (L, or the cusum's interval) and gets those that
 * give this average run length in control, to 1e-9 of it. AN_DOMAIN: a parameter out of range,
 * between not within 5 .. 1e7, a moving average, or no limits within 0.1 .. 8 (50) do it.
 */
AN_CHECKED enum an_status an_design_limits(struct an_weighting *weighting, double between);
/*
 * The weighting of this kind (ewma or cusum) that finds a shift of so many sigmas soonest, of all
 * that have this average run length in control: lambda to 1 part in 1000, or the reference. *delay
 * gets the average run length at the shift. A head start, steady limits are taken over from
 * `weighting`. lambda is looked for in 0.02 .. 1, the reference in a quarter of the shift to all of
 * it. AN_DOMAIN: shift not within 0.1 .. 6.
 */
AN_CHECKED enum an_status an_design_weighting(struct an_weighting *weighting, double shift,
                                              double between, double *delay);
/* Run length of a weighted chart, by its kind: exact, or simulated with 100,000 runs and a fixed
 * seed (moving average). `mean_only` as in run_length.h. */
AN_CHECKED enum an_status an_run_length_weighted(const struct an_weighting *weighting,
                                                 struct an_point_law law, bool mean_only,
                                                 struct an_arena *arena,
                                                 struct an_run_length *run_length);

#endif
