/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Run lengths of any set of rules, from their chain.
 *
 * Responsible for: putting a law on the chain's zones and solving it. Hard idea: steady_trend and
 * alternating compare a point with the one before, so no finite set of zones is enough; but given
 * the zone, only the rank of a point within it matters. Each state then carries a function of that
 * rank (of the share t of the zone's chance that lies below the point), which is entire, and a few
 * Gauss points hold it to full precision. A discrete statistic has its values for points.
 */
#include "andamento/stat/chart_run_length.h"
#include "andamento/stat/tests.h"
#include "stat/net.h"
#include "stat/rule_chain.h"

#include <math.h>
#include <string.h>

enum { POINTS_FEW = 8, POINTS_MANY = 14, POINTS_MOST = 4096 };

/* ---- zones under a law ---- */

/* step[d][i * points + j]: chance that the next point is point j of this zone and stands below
 * (d = 0), level with (1), above (2) point i of it. */
struct zone_points {
    size_t points;
    double chance;        /* of the zone */
    const double *weight; /* of each point; they add up to chance */
    const double *step[3];
    const double *t; /* continuous law: where the points stand within the zone, 0..1 */
};

struct laid {
    const struct an_rule_chain *chain;
    struct zone_points zone[AN_ZONES_MOST];
    size_t blocks;      /* (state, zone of the last point) pairs, or states if nothing compares */
    uint32_t *state_of; /* of each block */
    uint32_t *zone_of;  /* likewise; unused without comparing */
    uint32_t *block_of; /* (state * zones + zone): block + 1, 0 none */
    size_t *first;      /* first unknown of each block; one more at the end */
    double *means;      /* scratch: weighted sum of x over each block */
    double other;       /* chance that something beside the rules ends the run at a point */
    bool compares;
};

static double chance_between(double low, double high, struct an_point_law law)
{
    if (!(high > low)) {
        return 0.0;
    }
    const double a = (low - law.mean) / law.sd, b = (high - law.mean) / law.sd;
    return a > 0.0 ? an_normal_above(a) - an_normal_above(b)
                   : an_normal_below(b) - an_normal_below(a);
}

/*
 * On n Gauss points of [0, 1]: below[i * n + j] = integral of the j-th Lagrange polynomial from 0
 * to t[i], by Gauss points of that stretch.
 */
static void rank_integrals(size_t n, const double t[], const double w[], double below[],
                           double above[])
{
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++) {
            double sum = 0.0;
            for (size_t m = 0; m < n; m++) {
                const double at = t[m] * t[i];
                double product = 1.0;
                for (size_t other = 0; other < n; other++) {
                    product *= other == j ? 1.0 : (at - t[other]) / (t[j] - t[other]);
                }
                sum += w[m] * t[i] * product;
            }
            below[i * n + j] = sum;
            above[i * n + j] = w[j] - sum;
        }
    }
}

static double *scaled(const double x[], size_t n, double factor, struct an_arena *arena)
{
    double *y = an_arena_alloc(arena, n, sizeof *y);
    for (size_t i = 0; y != NULL && i < n; i++) {
        y[i] = x[i] * factor;
    }
    return y;
}

static enum an_status lay_continuous(struct laid *laid, struct an_point_law law,
                                     struct an_arena *arena)
{
    const struct an_rule_chain *chain = laid->chain;
    const size_t n = !chain->compares ? 1 : chain->zones <= 3 ? POINTS_MANY : POINTS_FEW;
    double *t = an_arena_alloc(arena, 2 * n, sizeof *t);
    double *below = an_arena_alloc(arena, 3 * n * n, sizeof *below);
    if (t == NULL || below == NULL) {
        return AN_NO_MEMORY;
    }
    double *w = t + n, *above = below + n * n;
    an_gauss_points(n, 0.0, 1.0, t, w);
    rank_integrals(n, t, w, below, above);
    for (size_t z = 0; z < chain->zones; z++) {
        struct zone_points *zone = &laid->zone[z];
        const double p = chance_between(chain->zone[z].low, chain->zone[z].high, law) *
                         (1.0 - laid->other); /* what ends the run need not be told apart */
        *zone = (struct zone_points){.points = n, .chance = p, .t = t};
        zone->weight = scaled(w, n, p, arena);
        zone->step[0] = scaled(below, n * n, p, arena);
        zone->step[1] = scaled(below, n * n, 0.0, arena);
        zone->step[2] = scaled(above, n * n, p, arena);
        if (zone->weight == NULL || zone->step[0] == NULL || zone->step[1] == NULL ||
            zone->step[2] == NULL) {
            return AN_NO_MEMORY;
        }
    }
    return AN_OK;
}

static enum an_status lay_values(struct zone_points *zone, const double chance[], size_t n,
                                 bool compares, struct an_arena *arena)
{
    const size_t points = compares && n > 0 ? n : 1;
    double *step = an_arena_alloc(arena, 3 * points * points, sizeof *step);
    double *weight = an_arena_alloc(arena, points, sizeof *weight);
    if (step == NULL || weight == NULL) {
        return AN_NO_MEMORY;
    }
    *zone = (struct zone_points){.points = points, .weight = weight};
    for (size_t i = 0; i < n; i++) {
        zone->chance += chance[i];
        weight[compares ? i : 0] += chance[i];
    }
    for (size_t d = 0; d < 3; d++) {
        for (size_t i = 0; i < points; i++) {
            for (size_t j = 0; j < points; j++) {
                const size_t where = j < i ? 0 : j == i ? 1 : 2;
                step[d * points * points + i * points + j] = where == d ? weight[j] : 0.0;
            }
        }
        zone->step[d] = step + d * points * points;
    }
    return AN_OK;
}

static enum an_status lay_discrete(struct laid *laid, const double z[], const double chance[],
                                   size_t count, struct an_arena *arena)
{
    size_t from = 0;
    for (size_t zone = 0; zone < laid->chain->zones; zone++) {
        size_t until = from;
        while (until < count && an_zone_of(laid->chain, z[until]) == zone) {
            until++;
        }
        const enum an_status st = lay_values(&laid->zone[zone], chance + from, until - from,
                                             laid->chain->compares, arena);
        if (st) {
            return st;
        }
        from = until;
    }
    return from == count ? AN_OK : AN_DOMAIN; /* z was not ascending */
}

/* ---- blocks ---- */

static uint32_t move(const struct an_rule_chain *chain, uint32_t state, size_t zone, int step)
{
    return chain->next[(state * chain->zones + zone) * 3 + (size_t)(step + 1)];
}

static bool add_block(struct laid *laid, uint32_t state, size_t zone)
{
    uint32_t *slot = &laid->block_of[state * laid->chain->zones + zone];
    if (*slot != 0) {
        return false;
    }
    laid->state_of[laid->blocks] = state;
    laid->zone_of[laid->blocks] = (uint32_t)zone;
    *slot = (uint32_t)++laid->blocks;
    return true;
}

/* The blocks that a fresh chart can come to. */
static enum an_status find_blocks(struct laid *laid, struct an_arena *arena)
{
    const struct an_rule_chain *chain = laid->chain;
    const size_t most = chain->states * chain->zones;
    laid->block_of = an_arena_alloc(arena, most, sizeof *laid->block_of);
    laid->state_of = an_arena_alloc(arena, most, sizeof *laid->state_of);
    laid->zone_of = an_arena_alloc(arena, most, sizeof *laid->zone_of);
    if (laid->block_of == NULL || laid->state_of == NULL || laid->zone_of == NULL) {
        return AN_NO_MEMORY;
    }
    laid->compares = chain->compares;
    if (!chain->compares) {
        for (uint32_t s = 0; s < chain->states; s++) {
            (void)add_block(laid, s, 0);
        }
    } else {
        for (size_t z = 0; z < chain->zones; z++) {
            const uint32_t to = move(chain, 0, z, 0);
            if (to != AN_SIGNALLED) {
                (void)add_block(laid, to, z);
            }
        }
        for (size_t b = 0; b < laid->blocks; b++) {
            for (size_t z = 0; z < chain->zones; z++) {
                for (int step = -1; step <= 1; step++) {
                    const int between = z < laid->zone_of[b] ? -1 : z > laid->zone_of[b] ? 1 : step;
                    const uint32_t to = move(chain, laid->state_of[b], z, between);
                    if (to != AN_SIGNALLED) {
                        (void)add_block(laid, to, z);
                    }
                }
            }
        }
    }
    laid->first = an_arena_alloc(arena, laid->blocks + 1, sizeof *laid->first);
    laid->means = an_arena_alloc(arena, laid->blocks, sizeof *laid->means);
    if (laid->first == NULL || laid->means == NULL) {
        return AN_NO_MEMORY;
    }
    for (size_t b = 0; b < laid->blocks; b++) {
        laid->first[b + 1] =
            laid->first[b] + (laid->compares ? laid->zone[laid->zone_of[b]].points : 1);
    }
    return AN_OK;
}

static size_t unknowns(const struct laid *laid)
{
    return laid->first[laid->blocks];
}

static uint32_t block_at(const struct laid *laid, uint32_t state, size_t zone)
{
    return laid->block_of[state * laid->chain->zones + zone] - 1;
}

/* ---- y = Q x ---- */

static void apply_plain(const struct laid *laid, const double x[], double y[])
{
    const struct an_rule_chain *chain = laid->chain;
    for (size_t s = 0; s < laid->blocks; s++) {
        double sum = 0.0;
        for (size_t z = 0; z < chain->zones; z++) {
            const uint32_t to = move(chain, (uint32_t)s, z, 0);
            if (to != AN_SIGNALLED) {
                sum += laid->zone[z].chance * x[to];
            }
        }
        y[s] = sum;
    }
}

static void add_own_zone(const struct laid *laid, size_t b, const double x[], double y[])
{
    const size_t z = laid->zone_of[b];
    const struct zone_points *zone = &laid->zone[z];
    for (int step = -1; step <= 1; step++) {
        const uint32_t to = move(laid->chain, laid->state_of[b], z, step);
        const double *weight = zone->step[step + 1];
        if (to == AN_SIGNALLED) {
            continue;
        }
        const double *from = x + laid->first[block_at(laid, to, z)];
        for (size_t i = 0; i < zone->points; i++) {
            double sum = 0.0;
            for (size_t j = 0; j < zone->points; j++) {
                sum += weight[i * zone->points + j] * from[j];
            }
            y[i] += sum;
        }
    }
}

static void apply_comparing(const struct laid *laid, const double x[], double y[])
{
    const struct an_rule_chain *chain = laid->chain;
    for (size_t b = 0; b < laid->blocks; b++) {
        const struct zone_points *zone = &laid->zone[laid->zone_of[b]];
        double sum = 0.0;
        for (size_t j = 0; j < zone->points; j++) {
            sum += zone->weight[j] * x[laid->first[b] + j];
        }
        laid->means[b] = sum;
    }
    for (size_t b = 0; b < laid->blocks; b++) {
        const size_t own = laid->zone_of[b];
        double sum = 0.0;
        for (size_t z = 0; z < chain->zones; z++) {
            const uint32_t to =
                z == own ? AN_SIGNALLED : move(chain, laid->state_of[b], z, z < own ? -1 : 1);
            sum += to == AN_SIGNALLED ? 0.0 : laid->means[block_at(laid, to, z)];
        }
        for (size_t i = laid->first[b]; i < laid->first[b + 1]; i++) {
            y[i] = sum;
        }
        add_own_zone(laid, b, x, y + laid->first[b]);
    }
}

static void apply(const struct laid *laid, const double x[], double y[])
{
    if (laid->compares) {
        apply_comparing(laid, x, y);
    } else {
        apply_plain(laid, x, y);
    }
}

/* What a fresh chart expects of x: its next point comes without a point before it. */
static double from_fresh(const struct laid *laid, const double x[])
{
    const struct an_rule_chain *chain = laid->chain;
    double sum = 0.0;
    for (size_t z = 0; z < chain->zones; z++) {
        const uint32_t to = move(chain, 0, z, 0);
        if (to == AN_SIGNALLED) {
            continue;
        }
        if (!laid->compares) {
            sum += laid->zone[z].chance * x[to];
            continue;
        }
        const size_t first = laid->first[block_at(laid, to, z)];
        for (size_t j = 0; j < laid->zone[z].points; j++) {
            sum += laid->zone[z].weight[j] * x[first + j];
        }
    }
    return sum;
}

/* ---- (I - Q) x = b ---- */

static double dot(const double a[], const double b[], size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        sum += a[i] * b[i];
    }
    return sum;
}

struct solver {
    double *r, *r0, *p, *v, *s, *t;
};

static bool open_solver(struct solver *solver, size_t n, struct an_arena *arena)
{
    double *all = an_arena_alloc(arena, 6 * n, sizeof *all);
    if (all != NULL) {
        *solver = (struct solver){all, all + n, all + 2 * n, all + 3 * n, all + 4 * n, all + 5 * n};
    }
    return all != NULL;
}

static void minus_apply(const struct laid *laid, const double x[], double y[], size_t n)
{
    apply(laid, x, y);
    for (size_t i = 0; i < n; i++) {
        y[i] = x[i] - y[i];
    }
}

static double largest(const double x[], size_t n)
{
    double most = 0.0;
    for (size_t i = 0; i < n; i++) {
        most = fmax(most, fabs(x[i]));
    }
    return most;
}

/* One stretch of BiCGStab from x; ends when the residual is below `enough` or will not fall.
 * [van der Vorst, Bi-CGSTAB, SIAM J. Sci. Stat. Comput. 13(2), 1992; from memory] */
static double stretch(const struct laid *laid, struct solver *w, const double b[], double x[],
                      size_t n, double enough)
{
    double rho = 1.0, alpha = 1.0, omega = 1.0;
    minus_apply(laid, x, w->r, n);
    for (size_t i = 0; i < n; i++) {
        w->r[i] = b[i] - w->r[i];
        w->r0[i] = w->r[i];
        w->p[i] = w->v[i] = 0.0;
    }
    for (int round = 0; round < 400 && largest(w->r, n) > enough; round++) {
        const double next = dot(w->r0, w->r, n);
        if (next == 0.0 || rho == 0.0 || omega == 0.0) {
            break; /* broken down: the caller begins a new stretch from here */
        }
        const double beta = next / rho * (alpha / omega);
        rho = next;
        for (size_t i = 0; i < n; i++) {
            w->p[i] = w->r[i] + beta * (w->p[i] - omega * w->v[i]);
        }
        minus_apply(laid, w->p, w->v, n);
        const double along = dot(w->r0, w->v, n);
        if (along == 0.0) {
            break;
        }
        alpha = rho / along;
        for (size_t i = 0; i < n; i++) {
            w->s[i] = w->r[i] - alpha * w->v[i];
        }
        minus_apply(laid, w->s, w->t, n);
        const double tt = dot(w->t, w->t, n);
        omega = tt > 0.0 ? dot(w->t, w->s, n) / tt : 0.0;
        if (!isfinite(alpha) || !isfinite(omega)) {
            break;
        }
        for (size_t i = 0; i < n; i++) {
            x[i] += alpha * w->p[i] + omega * w->s[i];
            w->r[i] = w->s[i] - omega * w->t[i];
        }
    }
    minus_apply(laid, x, w->r, n);
    double left = 0.0;
    for (size_t i = 0; i < n; i++) {
        left = fmax(left, fabs(b[i] - w->r[i]));
    }
    return left;
}

/* Restarted until the residual is that of rounding, 1e-14 of the answer. */
static enum an_status solve(const struct laid *laid, struct solver *solver, const double b[],
                            double x[])
{
    const size_t n = unknowns(laid);
    double left = INFINITY;
    memcpy(x, b, n * sizeof *x);
    for (int round = 0; round < 40; round++) {
        const double enough = 2e-15 * fmax(largest(x, n), largest(b, n));
        if (left <= 4.0 * enough) {
            return AN_OK;
        }
        left = stretch(laid, solver, b, x, n, enough);
        if (!isfinite(left)) {
            return AN_NOT_CONVERGED;
        }
    }
    return left <= 1e-12 * largest(x, n) ? AN_OK : AN_NOT_CONVERGED;
}

/* ---- run lengths ---- */

enum { STEPS_MOST = 20000, UNKNOWNS_FOR_QUANTILES = 20000 };

static void quantiles(const struct laid *laid, double now[], double next[],
                      struct an_run_length *run_length)
{
    const size_t n = unknowns(laid);
    struct an_survival survival;
    an_survival_start(&survival);
    for (size_t i = 0; i < n; i++) {
        now[i] = 1.0;
    }
    for (int step = 0; step < STEPS_MOST && n <= UNKNOWNS_FOR_QUANTILES; step++) {
        an_survival_take(&survival, from_fresh(laid, now));
        if (survival.done) {
            break;
        }
        apply(laid, now, next);
        double *const keep = now;
        now = next;
        next = keep;
    }
    an_survival_finish(&survival);
    run_length->q05 = survival.q05;
    run_length->q50 = survival.q50;
    run_length->q95 = survival.q95;
}

struct means {
    double *first, *second, *right;
    struct solver solver;
};

static enum an_status zero_state(const struct laid *laid, bool mean_only, struct means *means,
                                 struct an_arena *arena, struct an_run_length *run_length)
{
    const size_t n = unknowns(laid);
    means->first = an_arena_alloc(arena, 3 * n, sizeof *means->first);
    if (means->first == NULL || !open_solver(&means->solver, n, arena)) {
        return AN_NO_MEMORY;
    }
    means->second = means->first + n;
    means->right = means->first + 2 * n;
    for (size_t i = 0; i < n; i++) {
        means->right[i] = 1.0;
    }
    enum an_status st = solve(laid, &means->solver, means->right, means->first);
    if (st) {
        return st;
    }
    const double m1 = from_fresh(laid, means->first);
    *run_length = (struct an_run_length){.mean = 1.0 + m1, NAN, NAN, NAN, NAN, 0.0};
    if (mean_only) {
        return AN_OK;
    }
    for (size_t i = 0; i < n; i++) {
        means->right[i] = 2.0 * means->first[i] - 1.0;
    }
    st = solve(laid, &means->solver, means->right, means->second);
    if (st) {
        return st;
    }
    const double square = 1.0 + 2.0 * m1 + from_fresh(laid, means->second);
    run_length->sd = sqrt(fmax(0.0, square - run_length->mean * run_length->mean));
    quantiles(laid, means->second, means->right, run_length);
    return AN_OK;
}

/* ---- steady state ---- */

/* The value at share `at` of a zone of a function given on its Gauss points. */
static double between_points(const struct zone_points *zone, const double y[], double at)
{
    double sum = 0.0;
    for (size_t j = 0; j < zone->points; j++) {
        double product = y[j];
        for (size_t other = 0; other < zone->points; other++) {
            product *= other == j ? 1.0 : (at - zone->t[other]) / (zone->t[j] - zone->t[other]);
        }
        sum += product;
    }
    return sum;
}

/* The share of the zone's chance under `law` below the point that has share t of it in control. */
static double share_under(const struct an_zone *zone, double t, struct an_point_law law)
{
    const struct an_point_law in_control = {0.0, 1.0};
    const double p = chance_between(zone->low, zone->high, in_control);
    const double z = zone->low >= 0.0
                         ? -an_normal_quantile(an_normal_above(zone->high) + (1.0 - t) * p)
                         : an_normal_quantile(an_normal_below(zone->low) + t * p);
    const double all = chance_between(zone->low, zone->high, law);
    return all > 0.0 ? chance_between(zone->low, z, law) / all : 0.5;
}

/*
 * Conditional steady state without its distribution: with Q the chain in control,
 * (row Q^n m1) / (row Q^n 1) settles at the mean of m1 over it.
 */
static enum an_status steady_state(const struct laid *in_control, const struct laid *shifted,
                                   struct an_point_law law, const double mean[],
                                   struct an_arena *arena, struct an_run_length *run_length)
{
    const size_t n = unknowns(in_control);
    double *x = an_arena_alloc(arena, 4 * n, sizeof *x);
    if (x == NULL) {
        return AN_NO_MEMORY;
    }
    double *one = x + n, *next_x = x + 2 * n, *next_one = x + 3 * n;
    for (size_t b = 0; b < in_control->blocks; b++) {
        const size_t z = in_control->zone_of[b];
        for (size_t i = in_control->first[b]; i < in_control->first[b + 1]; i++) {
            one[i] = 1.0;
            x[i] = !in_control->compares
                       ? mean[i]
                       : between_points(&shifted->zone[z], mean + shifted->first[b],
                                        share_under(&in_control->chain->zone[z],
                                                    in_control->zone[z].t[i - in_control->first[b]],
                                                    law));
        }
    }
    double last = NAN;
    for (int step = 0, settled = 0; step < STEPS_MOST; step++) {
        const double value = from_fresh(in_control, x) / from_fresh(in_control, one);
        settled = fabs(value - last) <= 1e-12 * fabs(value) ? settled + 1 : 0;
        last = value;
        if (settled >= 20) {
            *run_length = (struct an_run_length){value, NAN, NAN, NAN, NAN, 0.0};
            return AN_OK;
        }
        apply(in_control, x, next_x);
        apply(in_control, one, next_one);
        const double scale = largest(next_one, n);
        for (size_t i = 0; i < n; i++) {
            x[i] = next_x[i] / scale;
            one[i] = next_one[i] / scale;
        }
    }
    return AN_NOT_CONVERGED;
}

enum an_status an_run_length_rules(const struct an_rule_chain *chain, struct an_point_law law,
                                   enum an_run_start start, bool mean_only,
                                   struct an_arena *scratch, struct an_run_length *run_length)
{
    struct laid laid = {.chain = chain}, in_control = {.chain = chain};
    struct means means;
    if (!isfinite(law.mean) || !(law.sd > 0.0) || !isfinite(law.sd)) {
        return AN_DOMAIN;
    }
    enum an_status st = lay_continuous(&laid, law, scratch);
    st = st ? st : find_blocks(&laid, scratch);
    st = st ? st
            : zero_state(&laid, mean_only || start == AN_STEADY_STATE, &means, scratch, run_length);
    if (st || start == AN_ZERO_STATE) {
        return st;
    }
    st = lay_continuous(&in_control, (struct an_point_law){0.0, 1.0}, scratch);
    st = st ? st : find_blocks(&in_control, scratch);
    return st ? st : steady_state(&in_control, &laid, law, means.first, scratch, run_length);
}

enum an_status an_run_length_rules_discrete(const struct an_rule_chain *chain, const double z[],
                                            const double chance[], size_t count, bool mean_only,
                                            struct an_arena *scratch,
                                            struct an_run_length *run_length)
{
    struct laid laid = {.chain = chain};
    struct means means;
    double sum = 0.0;
    for (size_t i = 0; i < count; i++) {
        if (isnan(z[i]) || !(chance[i] >= 0.0) || (i > 0 && !(z[i] > z[i - 1]))) {
            return AN_DOMAIN;
        }
        sum += chance[i];
    }
    if (count == 0 || count > POINTS_MOST || !(fabs(sum - 1.0) < 1e-9)) {
        return AN_DOMAIN;
    }
    enum an_status st = lay_discrete(&laid, z, chance, count, scratch);
    st = st ? st : find_blocks(&laid, scratch);
    return st ? st : zero_state(&laid, mean_only, &means, scratch, run_length);
}

enum an_status an_run_length_rules_beside(const struct an_rule_chain *chain,
                                          struct an_point_law law, double other,
                                          struct an_arena *scratch, double *mean)
{
    struct laid laid = {.chain = chain, .other = other};
    struct means means;
    struct an_run_length run;
    if (!isfinite(law.mean) || !(law.sd > 0.0) || !isfinite(law.sd) ||
        !(other >= 0.0 && other <= 1.0)) {
        return AN_DOMAIN;
    }
    enum an_status st = lay_continuous(&laid, law, scratch);
    st = st ? st : find_blocks(&laid, scratch);
    st = st ? st : zero_state(&laid, true, &means, scratch, &run);
    *mean = st ? (double)NAN : run.mean;
    return st;
}
