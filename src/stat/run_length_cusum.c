/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Run lengths of the tabular cusum.
 *
 * Responsible for: the upper sum's integral equation, and both sides joined. Hard idea: when one
 * sum is above its interval the other is 0 (both positive, their total falls by twice the
 * reference at each point), so the two-sided run is a renewal of two one-sided ones, and its whole
 * distribution follows from theirs. With G(s) = E s^N of the upper sum from 0 and from its head
 * start (p, a), and of the lower one (q, b), each written as 1 minus something (P, A, Q, B):
 *     1 - E s^N = (B P + A Q - P Q) / (P + Q - P Q).
 */
#include "andamento/stat/run_length.h"
#include "andamento/stat/tests.h"
#include "stat/net.h"

#include <math.h>
#include <string.h>

#define PI 3.14159265358979323846

struct side {
    struct an_net net; /* point 0 is the sum at zero */
    double head;       /* where the sum begins */
};

static enum an_status open_side(const struct an_cusum_plan *plan, struct an_point_law law, size_t n,
                                double head, struct an_arena *arena, struct side *side)
{
    double *v = an_arena_alloc(arena, n + 1, sizeof *v);
    double *weight = an_arena_alloc(arena, n + 1, sizeof *weight);
    if (v == NULL || weight == NULL || an_net_alloc(n + 1, arena, &side->net)) {
        return AN_NO_MEMORY;
    }
    side->net.exit = an_arena_alloc(arena, n + 1, sizeof *side->net.exit);
    if (side->net.exit == NULL) {
        return AN_NO_MEMORY;
    }
    side->head = head;
    an_gauss_points(n, 0.0, plan->interval, v + 1, weight + 1);
    for (size_t i = 0; i <= n + 1; i++) {
        const double u = i <= n ? v[i] : head;
        double *row = i <= n ? &side->net.q[i * (n + 1)] : side->net.start;
        const double drift = plan->reference - law.mean - u;
        row[0] = an_normal_below(drift / law.sd);
        if (i <= n) {
            side->net.exit[i] = an_normal_above((plan->interval + drift) / law.sd);
        }
        for (size_t j = 1; j <= n; j++) {
            const double t = (v[j] + drift) / law.sd;
            row[j] = weight[j] * exp(-t * t / 2.0) / (sqrt(2.0 * PI) * law.sd);
        }
    }
    return AN_OK;
}

static bool law_ok(struct an_point_law law)
{
    return isfinite(law.mean) && isfinite(law.sd) && law.sd > 0.0;
}

static struct an_point_law mirrored(struct an_point_law law)
{
    return (struct an_point_law){-law.mean, law.sd};
}

static size_t points_for(const struct an_cusum_plan *plan, double sd)
{
    return 24 + (size_t)(4.0 * plan->interval / sd);
}

/* ---- two sides ---- */

enum { SERIES = 1024 };

struct moments {
    double m, M; /* E N and E N^2 */
};

static struct moments moments_of(const struct an_run_length *run)
{
    return (struct moments){run->mean, run->sd * run->sd + run->mean * run->mean};
}

/* P(N = 1), P(N = 2), ... of one side, from its start row. */
static void masses(const struct side *side, double now[], double next[], double mass[])
{
    const size_t n = side->net.n;
    double before = 1.0;
    memcpy(now, side->net.start, n * sizeof *now);
    for (size_t t = 0; t < SERIES; t++) {
        double left = 0.0;
        for (size_t j = 0; j < n; j++) {
            left += now[j];
        }
        mass[t] = before - left;
        before = left;
        memset(next, 0, n * sizeof *next);
        for (size_t i = 0; i < n; i++) {
            for (size_t j = 0; j < n; j++) {
                next[j] += now[i] * side->net.q[i * n + j];
            }
        }
        double *const keep = now;
        now = next;
        next = keep;
    }
}

/*
 * Which side signals first, at which point. The upper sum signals at that point, or the lower one
 * does and the upper begins anew from 0: a = up + down p, b = down + up q as series, so up and
 * down follow term by term.
 */
static void joined_quantiles(const double a[], const double b[], const double p[], const double q[],
                             double up[], double down[], struct an_run_length *run_length)
{
    struct an_survival survival;
    double left = 1.0;
    an_survival_start(&survival);
    for (size_t t = 0; t < SERIES && !survival.done; t++) {
        up[t] = a[t];
        down[t] = b[t];
        for (size_t s = 0; s < t; s++) { /* points count from 1: index t is point t + 1 */
            up[t] -= down[s] * p[t - 1 - s];
            down[t] -= up[s] * q[t - 1 - s];
        }
        left -= up[t] + down[t];
        an_survival_take(&survival, left);
    }
    an_survival_finish(&survival);
    run_length->q05 = survival.q05;
    run_length->q50 = survival.q50;
    run_length->q95 = survival.q95;
}

static enum an_status quantiles(const struct side sides[4], struct an_arena *arena,
                                struct an_run_length *run_length)
{
    const size_t n = sides[0].net.n;
    double *mass = an_arena_alloc(arena, 6 * SERIES, sizeof *mass);
    double *now = an_arena_alloc(arena, 2 * n, sizeof *now);
    if (mass == NULL || now == NULL) {
        return AN_NO_MEMORY;
    }
    for (size_t i = 0; i < 4; i++) {
        masses(&sides[i], now, now + n, mass + i * SERIES);
    }
    joined_quantiles(mass, mass + SERIES, mass + 2 * SERIES, mass + 3 * SERIES, mass + 4 * SERIES,
                     mass + 5 * SERIES, run_length);
    return AN_OK;
}

/* Beyond this a mean is taken for infinite: its square would leave the doubles. It happens to the
 * side that a law drifts away from. */
#define NEVER 1e150
/* Beyond this the spread is that of the nearer side alone, to a part in so many. */
#define HARDLY_EVER 1e8

/*
 * The other side never signals from 0 (q = 0 in the head comment), though it may from its head
 * start, with chance c: 1 - E s^N = A - P b.
 */
static enum an_status one_side_only(const struct side *other_head, const struct moments *a,
                                    const struct moments *p, struct an_arena *arena,
                                    struct an_run_length *run_length)
{
    const size_t n = other_head->net.n;
    double *mass = an_arena_alloc(arena, SERIES, sizeof *mass);
    double *now = an_arena_alloc(arena, 2 * n, sizeof *now);
    if (mass == NULL || now == NULL) {
        return AN_NO_MEMORY;
    }
    masses(other_head, now, now + n, mass);
    double chance = 0.0, first = 0.0;
    for (size_t t = 0; t < SERIES; t++) {
        chance += mass[t];
        first += (double)(t + 1) * mass[t];
    }
    const double mean = a->m - p->m * chance;
    const double square = a->M - p->M * chance - 2.0 * p->m * first;
    *run_length = (struct an_run_length){.mean = mean, .sd = sqrt(fmax(0.0, square - mean * mean))};
    return AN_OK;
}

/*
 * With s = exp(-t): A = m t - M t^2 / 2 + ..., so the numerator is n2 t^2 + n3 t^3, the denominator
 * d1 t + d2 t^2, and their quotient E N t - E N^2 t^2 / 2. All is divided by the larger mean.
 */
static void join_sides(const struct moments at[4], struct an_run_length *run_length)
{
    const struct moments *a = &at[0], *b = &at[1], *p = &at[2], *q = &at[3];
    const double large = fmax(p->m, q->m);
    const double pm = p->m / large, qm = q->m / large, pM = p->M / large, qM = q->M / large;
    const double d1 = pm + qm;
    const double d2 = -(pM + qM) / 2.0 - p->m * qm;
    const double n2 = b->m * pm + a->m * qm - p->m * qm;
    const double n3 =
        -(b->m * pM + b->M * pm + a->m * qM + a->M * qm - p->m * qM - p->M * qm) / 2.0;
    const double mean = n2 / d1;
    const double square = 2.0 * (mean * d2 - n3) / d1;
    *run_length = (struct an_run_length){.mean = mean, .sd = sqrt(fmax(0.0, square - mean * mean))};
}

static enum an_status two_sides(const struct an_cusum_plan *plan, struct an_point_law law, size_t n,
                                struct an_arena *arena, struct an_run_length *run_length)
{
    const double head = plan->head_start * plan->interval;
    struct side sides[4]; /* up and down from the head start, up and down from zero */
    struct moments at[4];
    bool never[2] = {false, false};
    for (size_t i = 0; i < 4; i++) {
        const struct an_point_law own = i % 2 == 0 ? law : mirrored(law);
        struct an_run_length run = {0};
        enum an_status st = open_side(plan, own, n, i < 2 ? head : 0.0, arena, &sides[i]);
        st = st ? st : an_net_run_length(&sides[i].net, arena, NULL, true, &run);
        if (st == AN_NOT_CONVERGED || (!st && run.mean > NEVER)) {
            never[i % 2] = true;
        } else if (st) {
            return st;
        }
        at[i] = moments_of(&run);
    }
    if (never[0] && never[1]) {
        return AN_NOT_CONVERGED;
    }
    enum an_status st = AN_OK;
    join_sides(at, run_length);
    const double mean = run_length->mean;
    if (never[1] || at[3].m > HARDLY_EVER) {
        st = one_side_only(&sides[1], &at[0], &at[2], arena, run_length);
    } else if (never[0] || at[2].m > HARDLY_EVER) {
        st = one_side_only(&sides[0], &at[1], &at[3], arena, run_length);
    }
    if (!never[0] && !never[1]) {
        run_length->mean = mean;
    }
    if (!st && !(isfinite(run_length->mean) && run_length->mean >= 1.0)) {
        st = AN_NOT_CONVERGED;
    }
    run_length->q05 = run_length->q50 = run_length->q95 = NAN;
    return st || plan->mean_only ? st : quantiles(sides, arena, run_length);
}

enum an_status an_run_length_cusum(const struct an_cusum_plan *plan, struct an_point_law law,
                                   enum an_run_start start, struct an_arena *arena,
                                   struct an_run_length *run_length)
{
    if (!(plan->reference >= 0.0) || !isfinite(plan->reference) || !(plan->interval > 0.0) ||
        plan->interval > 50.0 || !(plan->head_start >= 0.0) || plan->head_start >= 1.0 ||
        !law_ok(law) || (!plan->one_sided && start == AN_STEADY_STATE) ||
        (!plan->one_sided && plan->head_start > 0.5 + plan->reference / plan->interval)) {
        return AN_DOMAIN;
    }
    const size_t n = points_for(plan, start == AN_STEADY_STATE ? fmin(1.0, law.sd) : law.sd);
    if (n > 2000) {
        return AN_DOMAIN; /* a law next to no spread */
    }
    if (!plan->one_sided) {
        return two_sides(plan, law, n, arena, run_length);
    }
    struct side side, before;
    double *at = an_arena_alloc(arena, n + 1, sizeof *at);
    double *chance = an_arena_alloc(arena, n + 1, sizeof *chance);
    if (at == NULL || chance == NULL) {
        return AN_NO_MEMORY;
    }
    enum an_status st = open_side(plan, law, n, plan->head_start * plan->interval, arena, &side);
    st = st ? st : an_net_run_length(&side.net, arena, at, plan->mean_only, run_length);
    if (st || start == AN_ZERO_STATE) {
        return st;
    }
    st = open_side(plan, (struct an_point_law){0.0, 1.0}, n, 0.0, arena, &before);
    st = st ? st : an_net_steady(&before.net, arena, chance);
    double mean = 0.0;
    for (size_t i = 0; !st && i <= n; i++) {
        mean += chance[i] * at[i];
    }
    *run_length =
        (struct an_run_length){.mean = mean, .sd = NAN, .q05 = NAN, .q50 = NAN, .q95 = NAN};
    return st;
}
