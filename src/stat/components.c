/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Components of variance by mean squares, and the bounds of both roads that come from them.
 *
 * Responsible for saying what was cut at zero. Never reads a stream.
 *
 * The hard idea: mean squares are independent and (balanced, normal) chi-square about their
 * expectations, so what a share could be is found by drawing the expectations that would fit the
 * mean squares seen: expectation = ms * df / chi-square [Weerahandi, Generalized confidence
 * intervals, Journal of the American Statistical Association 88, 1993; from memory]. With unequal
 * groups it is an approximation, and docs/components.md says so.
 */
#include "andamento/stat/components.h"

#include "andamento/stat/tests.h"
#include "stat/distribution.h"
#include "stat/draws.h"
#include "stat/nested.h"
#include "stat/order.h"

#define SHARE_DRAWS 10000
#define SHARE_SEED 0x0a4d0c0115eedU

/* How far below and above its mean square an expectation may lie, as parts of the mean square. */
struct reach {
    double below, above; /* G and H */
};

static struct reach reach_of(double df, double tail)
{
    return (struct reach){1.0 - df / an_chi_square_quantile(1.0 - tail, df),
                          df / an_chi_square_quantile(tail, df) - 1.0};
}

/* Cross term of a mean square that is added and one that is taken away. */
static double cross(double own, double other, double f)
{
    return ((f - 1.0) * (f - 1.0) - own * own * f * f - other * other) / f;
}

/* Cross term of two mean squares of one sign, `among` of them in all. */
static double same_sign(double df_i, double df_t, double g_i, double g_t, double among, double tail)
{
    const double both = df_i + df_t;
    const double g = 1.0 - both / an_chi_square_quantile(1.0 - tail, both);
    return (g * g * both * both / (df_i * df_t) - g_i * g_i * df_i / df_t -
            g_t * g_t * df_t / df_i) /
           (among - 1.0);
}

/* Variance-like sum of one side. sign +1: the lower bound's, -1: the upper's (then the added ones
 * reach up and the ones taken away reach down). */
static double side(size_t count, const double a[], const double ms[], const double df[],
                   double tail, double sign)
{
    double added = 0.0;
    double taken = 0.0;
    double sum = 0.0;
    for (size_t i = 0; i < count; i++) {
        added += a[i] * sign > 0.0;
        taken += a[i] * sign < 0.0;
    }
    for (size_t i = 0; i < count; i++) {
        const struct reach r = reach_of(df[i], tail);
        const double x = a[i] * ms[i];
        const double g =
            a[i] > 0.0 ? (sign > 0.0 ? r.below : r.above) : (sign > 0.0 ? r.above : r.below);
        sum += a[i] == 0.0 ? 0.0 : g * g * x * x;
        for (size_t j = 0; j < count; j++) {
            const struct reach rj = reach_of(df[j], tail);
            const double xx = fabs(x * a[j] * ms[j]);
            if (a[i] > 0.0 && a[j] < 0.0) {
                sum += xx * (sign > 0.0
                                 ? cross(r.below, rj.above, an_f_quantile_above(tail, df[i], df[j]))
                                 : cross(r.above, rj.below,
                                         an_f_quantile_above(1.0 - tail, df[i], df[j])));
            } else if (j > i && a[i] * sign > 0.0 && a[j] * sign > 0.0 && taken > 0.0) {
                sum += xx * same_sign(df[i], df[j], r.below, rj.below, added, tail);
            }
        }
    }
    return sum > 0.0 ? sum : 0.0;
}

struct an_bounds an_squares_bounds(size_t count, const double a[], const double ms[],
                                   const double df[], double confidence)
{
    const double tail = (1.0 - confidence) / 2.0;
    double estimate = 0.0;
    for (size_t i = 0; i < count; i++) {
        estimate += a[i] * ms[i];
    }
    return (struct an_bounds){estimate - sqrt(side(count, a, ms, df, tail, 1.0)),
                              estimate + sqrt(side(count, a, ms, df, tail, -1.0))};
}

/* One level, equal groups: the share of the groups is a function of F alone, so exact. */
static void exact_shares(struct an_components *c, double confidence)
{
    const double tail = (1.0 - confidence) / 2.0;
    const double n = c->coefficient[0][0];
    const double f = c->at[0].ms / c->at[1].ms;
    const double low = f / an_f_quantile_above(tail, c->at[0].df, c->at[1].df) - 1.0;
    const double high = f / an_f_quantile_above(1.0 - tail, c->at[0].df, c->at[1].df) - 1.0;
    c->at[0].share_lower = low > 0.0 ? low / (n + low) : 0.0;
    c->at[0].share_upper = high > 0.0 ? high / (n + high) : 0.0;
    c->at[1].share_lower = 1.0 - c->at[0].share_upper;
    c->at[1].share_upper = 1.0 - c->at[0].share_lower;
}

static void draw_shares(const struct an_components *c, struct stat_draws *draws,
                        double share[AN_COMPONENTS_MOST])
{
    double weight[AN_COMPONENTS_MOST][AN_COMPONENTS_MOST];
    double expected[AN_COMPONENTS_MOST];
    double total = 0.0;
    an_nested_weights(c, weight);
    for (size_t m = 0; m <= c->levels; m++) {
        expected[m] = c->at[m].ss / draws_chi_square(draws, c->at[m].df);
    }
    for (size_t k = 0; k <= c->levels; k++) {
        double variance = 0.0;
        for (size_t m = k; m <= c->levels; m++) {
            variance += weight[k][m] * expected[m];
        }
        share[k] = variance > 0.0 ? variance : 0.0;
        total += share[k];
    }
    for (size_t k = 0; k <= c->levels; k++) {
        share[k] = total > 0.0 ? share[k] / total : 0.0;
    }
}

enum an_status an_nested_share_bounds(struct an_components *c, double confidence,
                                      struct an_arena *arena)
{
    if (c->levels == 1 && c->balanced && c->at[1].ms > 0.0) {
        exact_shares(c, confidence);
        return AN_OK;
    }
    struct stat_draws draws = draws_from(SHARE_SEED);
    double *drawn = an_arena_alloc(arena, (c->levels + 1) * SHARE_DRAWS, sizeof *drawn);
    if (!drawn) {
        return AN_NO_MEMORY;
    }
    for (size_t i = 0; i < SHARE_DRAWS; i++) {
        double share[AN_COMPONENTS_MOST];
        draw_shares(c, &draws, share);
        for (size_t k = 0; k <= c->levels; k++) {
            drawn[k * SHARE_DRAWS + i] = share[k];
        }
    }
    const double tail = (1.0 - confidence) / 2.0;
    const size_t low = (size_t)(tail * (SHARE_DRAWS - 1) + 0.5);
    for (size_t k = 0; k <= c->levels; k++) {
        double *own = drawn + k * SHARE_DRAWS;
        order_up(own, SHARE_DRAWS);
        c->at[k].share_lower = own[low];
        c->at[k].share_upper = own[SHARE_DRAWS - 1 - low];
    }
    return AN_OK;
}

static void estimate(struct an_components *c, double confidence)
{
    double weight[AN_COMPONENTS_MOST][AN_COMPONENTS_MOST];
    double ms[AN_COMPONENTS_MOST];
    double df[AN_COMPONENTS_MOST];
    an_nested_weights(c, weight);
    for (size_t k = 0; k <= c->levels; k++) {
        ms[k] = c->at[k].ms;
        df[k] = c->at[k].df;
    }
    for (size_t k = 0; k <= c->levels; k++) {
        struct an_component *at = &c->at[k];
        for (size_t m = k; m <= c->levels; m++) {
            at->raw += weight[k][m] * ms[m];
        }
        at->cut = at->raw < 0.0;
        at->variance = at->cut ? 0.0 : at->raw;
        c->total += at->variance;
        const struct an_bounds bounds =
            an_squares_bounds(c->levels + 1 - k, &weight[k][k], &ms[k], &df[k], confidence);
        at->lower = bounds.lower > 0.0 ? bounds.lower : 0.0;
        at->upper = bounds.upper > 0.0 ? bounds.upper : 0.0;
    }
    for (size_t k = 0; k <= c->levels; k++) {
        c->at[k].share = c->at[k].variance / c->total;
    }
}

enum an_status an_components_by_squares(const struct an_nested_data *data, double confidence,
                                        struct an_arena *arena, struct an_components *c)
{
    struct nested_tree tree;
    *c = (struct an_components){.levels = data->levels};
    if (!(confidence > 0.0 && confidence < 1.0)) {
        return AN_DOMAIN;
    }
    enum an_status st = an_nested_lay_out(data, arena, &tree);
    st = st ? st : an_nested_squares(&tree, c);
    if (st) {
        return st;
    }
    estimate(c, confidence);
    double squares = 0.0; /* variance of the mean, from the components */
    for (size_t k = 0; k < c->levels; k++) {
        double sizes = 0.0;
        for (size_t g = 0; g < tree.count[k]; g++) {
            sizes += tree.group[k][g].n * tree.group[k][g].n;
        }
        squares += c->at[k].variance * sizes;
    }
    squares += c->at[c->levels].variance * (double)c->n;
    c->mean_se = sqrt(squares) / (double)c->n;
    return an_nested_share_bounds(c, confidence, arena);
}
