/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The weighted mean of vectors: its distance from target, and the limit that it is held against.
 * Must never guess a limit: it is found from the exact run length.
 */
#include "andamento/stat/multivariate.h"
#include "andamento/stat/run_length.h"

#include <math.h>

double an_mewma_take(const struct an_joint *joint, double lambda, bool exact, const double x[],
                     struct an_mewma_state *state)
{
    double at[AN_JOINT_MOST];
    for (size_t j = 0; j < joint->p; j++) {
        if (!isfinite(x[j])) {
            return NAN; /* passed over, the state as it was */
        }
    }
    state->points += 1.0;
    for (size_t j = 0; j < joint->p; j++) {
        state->z[j] = lambda * (x[j] - joint->mean[j]) + (1.0 - lambda) * state->z[j];
        at[j] = joint->mean[j] + state->z[j];
    }
    const double narrowed = exact ? -expm1(2.0 * state->points * log1p(-lambda)) : 1.0;
    return an_joint_t2(joint, at) * (2.0 - lambda) / lambda / narrowed;
}

/* log of the average run length over the one wanted, rising in the limit. */
static enum an_status off(size_t p, double lambda, double limit, double between, double *result)
{
    struct an_run_length length = {0};
    struct an_arena *arena = an_arena_open();
    if (arena == NULL) {
        return AN_NO_MEMORY;
    }
    const enum an_status st = an_run_length_mewma(p, lambda, limit, 0.0, true, arena, &length);
    an_arena_close(arena);
    *result = st ? (double)NAN : log(length.mean / between);
    return st;
}

enum an_status an_mewma_limit(size_t p, double lambda, double between, double *limit)
{
    /* far enough out for a million points; further out the net is too near to singular */
    double lo = 0.5, hi = fmin(90.0, 30.0 + 4.0 * (double)p), at_lo, at_hi;
    if (!(between >= 5.0 && between <= 1e6)) {
        return AN_DOMAIN;
    }
    enum an_status st = off(p, lambda, lo, between, &at_lo);
    st = st ? st : off(p, lambda, hi, between, &at_hi);
    if (st) {
        return st;
    }
    if (!(at_lo < 0.0 && at_hi > 0.0)) {
        return AN_DOMAIN;
    }
    /* false position that halves the weight of an end that stays (Illinois) */
    for (int round = 0, kept = 0; round < 200 && hi - lo > 1e-12 * hi; round++) {
        double x = hi - at_hi * (hi - lo) / (at_hi - at_lo), here;
        if (!(x > lo && x < hi)) {
            x = 0.5 * (lo + hi);
        }
        st = off(p, lambda, x, between, &here);
        if (st) {
            return st;
        }
        if (fabs(here) < 1e-10) {
            *limit = x;
            return AN_OK;
        }
        if (here < 0.0) {
            lo = x;
            at_lo = here;
            at_hi *= kept < 0 ? 0.5 : 1.0;
            kept = -1;
        } else {
            hi = x;
            at_hi = here;
            at_lo *= kept > 0 ? 0.5 : 1.0;
            kept = 1;
        }
    }
    *limit = 0.5 * (lo + hi);
    return AN_OK;
}
