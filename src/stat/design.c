/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Designing charts with memory from exact run lengths.
 *
 * Responsible for: limits for a wanted run length, and the best weighting for a shift. Hard idea:
 * the log of the run length is nearly straight in the limits, so a guarded secant needs few
 * solutions; the delay at the shift is flat around its best weighting, so the search stops early.
 */
#include "andamento/stat/design.h"

#include <math.h>

enum { SIMULATED_RUNS = 100000, ROUNDS = 60 };

enum an_status an_run_length_weighted(const struct an_weighting *w, struct an_point_law law,
                                      bool mean_only, struct an_arena *arena,
                                      struct an_run_length *run_length)
{
    const struct an_ewma_plan ewma = {.lambda = w->lambda,
                                      .limits = w->limits,
                                      .head_start = w->head_start,
                                      .exact = !w->steady,
                                      .mean_only = mean_only};
    const struct an_cusum_plan cusum = {.reference = w->reference,
                                        .interval = w->limits,
                                        .head_start = w->head_start,
                                        .mean_only = mean_only};
    switch (w->kind) {
    case AN_EWMA:
        return an_run_length_ewma(&ewma, law, AN_ZERO_STATE, arena, run_length);
    case AN_CUSUM:
        return an_run_length_cusum(&cusum, law, AN_ZERO_STATE, arena, run_length);
    case AN_MOVING_AVERAGE:
        return an_run_length_moving_average(w->span, w->limits, law, SIMULATED_RUNS, 1, run_length);
    default:
        return AN_DOMAIN;
    }
}

/* What a run takes of the arena is given back by having one of its own. */
static enum an_status mean_at(const struct an_weighting *w, double shift, double *mean)
{
    struct an_run_length run;
    struct an_arena *own = an_arena_open();
    if (own == NULL) {
        return AN_NO_MEMORY;
    }
    const enum an_status st =
        an_run_length_weighted(w, (struct an_point_law){shift, 1.0}, true, own, &run);
    an_arena_close(own);
    *mean = st ? (double)NAN : run.mean;
    return st;
}

/* log(run length / wanted) with these limits. */
static enum an_status excess(struct an_weighting *w, double limits, double between, double *value)
{
    double mean = (double)NAN;
    w->limits = limits;
    const enum an_status st = mean_at(w, 0.0, &mean);
    *value = log(mean / between);
    return st;
}

/* Illinois' regula falsi between limits that are too tight and too wide. */
static enum an_status find_limits(struct an_weighting *w, double between)
{
    double low = 0.1, high = w->kind == AN_CUSUM ? 1.0 : 3.0, at_low, at_high;
    const double most = w->kind == AN_CUSUM ? 50.0 : 8.0;
    enum an_status st = excess(w, low, between, &at_low);
    st = st ? st : excess(w, high, between, &at_high);
    while (!st && at_high < 0.0 && high < most) {
        low = high;
        at_low = at_high;
        high = fmin(most, high * 1.5);
        st = excess(w, high, between, &at_high);
    }
    if (st) {
        return st;
    }
    if (at_low > 0.0 || at_high < 0.0) {
        return AN_DOMAIN;
    }
    for (int round = 0, side = 0; round < ROUNDS; round++) {
        const double limits = low + (high - low) * at_low / (at_low - at_high);
        double value;
        st = excess(w, limits, between, &value);
        if (st || fabs(value) < 1e-10 || high - low < 1e-13 * high) {
            return st;
        }
        if (value < 0.0) {
            low = limits;
            at_low = value;
            at_high = side == -1 ? at_high / 2.0 : at_high;
            side = -1;
        } else {
            high = limits;
            at_high = value;
            at_low = side == 1 ? at_low / 2.0 : at_low;
            side = 1;
        }
    }
    return AN_NOT_CONVERGED;
}

enum an_status an_design_limits(struct an_weighting *weighting, double between)
{
    struct an_weighting tried = *weighting;
    const bool known = weighting->kind == AN_EWMA || weighting->kind == AN_CUSUM;
    tried.limits = 3.0;
    if (!known || !(between >= 5.0 && between <= 1e7) || an_weighting_check(&tried)) {
        return AN_DOMAIN;
    }
    const enum an_status st = find_limits(&tried, between);
    if (!st) {
        weighting->limits = tried.limits;
    }
    return st;
}

/* ---- the best weighting ---- */

struct search {
    struct an_weighting weighting;
    double shift, between;
};

/* The delay with this log of lambda, or of the reference. */
static enum an_status delay_of(struct search *search, double parameter, double *delay)
{
    struct an_weighting *w = &search->weighting;
    if (w->kind == AN_EWMA) {
        w->lambda = exp(parameter);
    } else {
        w->reference = exp(parameter);
    }
    const enum an_status st = find_limits(w, search->between);
    return st ? st : mean_at(w, search->shift, delay);
}

/* Golden section on a function with one valley. */
static enum an_status golden(struct search *search, double a, double b)
{
    const double ratio = (sqrt(5.0) - 1.0) / 2.0;
    double x = b - ratio * (b - a), y = a + ratio * (b - a), at_x, at_y;
    enum an_status st = delay_of(search, x, &at_x);
    st = st ? st : delay_of(search, y, &at_y);
    while (!st && b - a > 1e-3) {
        if (at_x < at_y) {
            b = y;
            y = x;
            at_y = at_x;
            x = b - ratio * (b - a);
            st = delay_of(search, x, &at_x);
        } else {
            a = x;
            x = y;
            at_x = at_y;
            y = a + ratio * (b - a);
            st = delay_of(search, y, &at_y);
        }
    }
    double unused;
    return st ? st : delay_of(search, (a + b) / 2.0, &unused);
}

enum an_status an_design_weighting(struct an_weighting *weighting, double shift, double between,
                                   double *delay)
{
    const bool known = weighting->kind == AN_EWMA || weighting->kind == AN_CUSUM;
    if (!known || !(shift >= 0.1 && shift <= 6.0) || !(between >= 5.0 && between <= 1e7)) {
        return AN_DOMAIN;
    }
    /* Exact limits and head starts act in the first points only and cost fifty times as much: the
     * weighting is looked for without, its limits are then found with. */
    struct search search = {.weighting = *weighting, .shift = shift, .between = between};
    search.weighting.steady = true;
    search.weighting.head_start = 0.0;
    const enum an_status found = weighting->kind == AN_EWMA
                                     ? golden(&search, log(0.02), 0.0)
                                     : golden(&search, log(shift / 4.0), log(shift));
    if (found) {
        return found;
    }
    struct an_weighting best = search.weighting;
    best.steady = weighting->steady;
    best.head_start = weighting->head_start;
    enum an_status st = an_design_limits(&best, between);
    st = st ? st : mean_at(&best, shift, delay);
    if (!st) {
        *weighting = best;
    }
    return st;
}
