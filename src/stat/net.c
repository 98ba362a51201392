/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Gauss points, dense linear systems and chains on a net.
 *
 * Responsible for: the arithmetic that run lengths of ewma, cusum and mewma have in common. Hard
 * idea: an integral equation with a smooth kernel, put on Gauss points, is a finite chain whose
 * answers converge exponentially with the number of points (Nystroem's method).
 */
#include "stat/net.h"

#include <math.h>
#include <string.h>

#define PI 3.14159265358979323846

void an_gauss_points(size_t n, double a, double b, double x[], double weight[])
{
    const double middle = a + (b - a) / 2.0, half = (b - a) / 2.0;
    for (size_t i = 0; i < (n + 1) / 2; i++) {
        double t = cos(PI * ((double)i + 0.75) / ((double)n + 0.5)), slope = 1.0;
        for (int round = 0; round < 100; round++) {
            double p = 1.0, before = 0.0;
            for (size_t j = 0; j < n; j++) { /* Legendre's recurrence */
                const double next =
                    ((2.0 * (double)j + 1.0) * t * p - (double)j * before) / ((double)j + 1.0);
                before = p;
                p = next;
            }
            slope = (double)n * (t * p - before) / (t * t - 1.0);
            const double step = p / slope;
            t -= step;
            if (fabs(step) < 1e-15) {
                break;
            }
        }
        const double w = 2.0 / ((1.0 - t * t) * slope * slope);
        x[i] = middle - half * t;
        x[n - 1 - i] = middle + half * t;
        weight[i] = half * w;
        weight[n - 1 - i] = half * w;
    }
}

bool an_lu(double *a, size_t n, size_t pivot[])
{
    for (size_t c = 0; c < n; c++) {
        size_t best = c;
        for (size_t r = c + 1; r < n; r++) {
            best = fabs(a[r * n + c]) > fabs(a[best * n + c]) ? r : best;
        }
        pivot[c] = best;
        if (!(fabs(a[best * n + c]) > 0.0)) {
            return false; /* also when it is no number */
        }
        for (size_t j = 0; best != c && j < n; j++) {
            const double keep = a[c * n + j];
            a[c * n + j] = a[best * n + j];
            a[best * n + j] = keep;
        }
        for (size_t r = c + 1; r < n; r++) {
            const double factor = a[r * n + c] / a[c * n + c];
            a[r * n + c] = factor;
            for (size_t j = c + 1; factor != 0.0 && j < n; j++) {
                a[r * n + j] -= factor * a[c * n + j];
            }
        }
    }
    return true;
}

void an_lu_solve(const double *lu, size_t n, const size_t pivot[], double x[])
{
    for (size_t c = 0; c < n; c++) {
        const double keep = x[pivot[c]];
        x[pivot[c]] = x[c];
        x[c] = keep;
    }
    for (size_t r = 1; r < n; r++) {
        for (size_t j = 0; j < r; j++) {
            x[r] -= lu[r * n + j] * x[j];
        }
    }
    for (size_t r = n; r-- > 0;) {
        for (size_t j = r + 1; j < n; j++) {
            x[r] -= lu[r * n + j] * x[j];
        }
        x[r] /= lu[r * n + r];
    }
}

void an_ways_out(double *q, size_t n, double exit[])
{
    for (size_t k = n; k-- > 0;) {
        const double signal = exit[k];
        for (size_t j = 0; j < k; j++) {
            exit[k] += q[k * n + j]; /* now 1 - q[k][k]: every way out of k */
        }
        for (size_t i = 0; i < k; i++) {
            const double factor = q[i * n + k] / exit[k];
            q[i * n + k] = factor;
            exit[i] += factor * signal;
            for (size_t j = 0; factor != 0.0 && j < k; j++) {
                q[i * n + j] += factor * q[k * n + j];
            }
        }
    }
}

void an_ways_out_solve(const double *q, size_t n, const double exit[], double x[])
{
    for (size_t k = n; k-- > 0;) {
        for (size_t i = 0; i < k; i++) {
            x[i] += q[i * n + k] * x[k];
        }
    }
    for (size_t k = 0; k < n; k++) {
        for (size_t j = 0; j < k; j++) {
            x[k] += q[k * n + j] * x[j];
        }
        x[k] /= exit[k];
    }
}

/* ---- quantiles ---- */

void an_survival_start(struct an_survival *survival)
{
    *survival = (struct an_survival){.last = 1.0, .q05 = NAN, .q50 = NAN, .q95 = NAN};
}

/* The least n with P(N > n) <= 1 - p, going on from P(N > n0) = last by the ratio; the tolerance
 * keeps rounding from moving a quantile that stands exactly on its level. */
static void set_if_reached(double *quantile, double p, double n, double chance)
{
    if (isnan(*quantile) && chance <= (1.0 - p) * (1.0 + 1e-12)) {
        *quantile = n;
    }
}

void an_survival_take(struct an_survival *survival, double chance)
{
    struct an_survival *s = survival;
    const double ratio = s->last > 0.0 ? chance / s->last : 0.0;
    s->n += 1.0;
    s->agreed = fabs(ratio - s->ratio) <= 1e-11 * (1.0 - ratio) ? s->agreed + 1 : 0;
    s->ratio = ratio;
    s->last = chance;
    set_if_reached(&s->q05, 0.05, s->n, chance);
    set_if_reached(&s->q50, 0.50, s->n, chance);
    set_if_reached(&s->q95, 0.95, s->n, chance);
    /* 20 ratios at a stretch, after every rule's memory is full */
    s->done = !isnan(s->q95) || (s->agreed >= 20 && s->n >= 40.0 && chance < 0.999999);
}

static void continue_to(const struct an_survival *s, double *quantile, double p)
{
    if (isnan(*quantile) && s->ratio > 0.0 && s->ratio < 1.0 && s->last > 0.0) {
        *quantile = s->n + ceil(log((1.0 - p) / s->last) / log(s->ratio) - 1e-9);
    }
}

void an_survival_finish(struct an_survival *survival)
{
    continue_to(survival, &survival->q05, 0.05);
    continue_to(survival, &survival->q50, 0.50);
    continue_to(survival, &survival->q95, 0.95);
}

/* ---- chains ---- */

enum an_status an_net_alloc(size_t n, struct an_arena *arena, struct an_net *net)
{
    net->n = n;
    net->exit = NULL;
    net->q = an_arena_alloc(arena, n * n, sizeof *net->q);
    net->start = an_arena_alloc(arena, n, sizeof *net->start);
    return net->q != NULL && net->start != NULL ? AN_OK : AN_NO_MEMORY;
}

static double dot(const double a[], const double b[], size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        sum += a[i] * b[i];
    }
    return sum;
}

/* to = from Q */
static void step_forward(const struct an_net *net, const double from[], double to[])
{
    memset(to, 0, net->n * sizeof *to);
    for (size_t i = 0; i < net->n; i++) {
        for (size_t j = 0; j < net->n; j++) {
            to[j] += from[i] * net->q[i * net->n + j];
        }
    }
}

static double sum_of(const double x[], size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        sum += x[i];
    }
    return sum;
}

enum { STEPS_MOST = 20000 };

static void quantiles(const struct an_net *net, double now[], double next[],
                      struct an_run_length *run_length)
{
    struct an_survival survival;
    an_survival_start(&survival);
    memcpy(now, net->start, net->n * sizeof *now);
    for (int i = 0; i < STEPS_MOST; i++) {
        an_survival_take(&survival, sum_of(now, net->n));
        if (survival.done) {
            break;
        }
        step_forward(net, now, next);
        double *const keep = now;
        now = next;
        next = keep;
    }
    an_survival_finish(&survival);
    run_length->q05 = survival.q05;
    run_length->q50 = survival.q50;
    run_length->q95 = survival.q95;
}

/* (I - Q) taken apart once, for several right sides. */
struct parts {
    double *a, *exit;
    size_t *pivot;
};

static enum an_status take_apart(const struct an_net *net, struct an_arena *arena,
                                 struct parts *parts)
{
    const size_t n = net->n;
    parts->a = an_arena_alloc(arena, n * n, sizeof *parts->a);
    parts->exit = net->exit != NULL ? an_arena_alloc(arena, n, sizeof *parts->exit) : NULL;
    parts->pivot = an_arena_alloc(arena, n, sizeof *parts->pivot);
    if (parts->a == NULL || parts->pivot == NULL || (net->exit != NULL && parts->exit == NULL)) {
        return AN_NO_MEMORY;
    }
    memcpy(parts->a, net->q, n * n * sizeof *parts->a);
    if (net->exit != NULL) {
        memcpy(parts->exit, net->exit, n * sizeof *parts->exit);
        an_ways_out(parts->a, n, parts->exit);
        return AN_OK;
    }
    for (size_t i = 0; i < n * n; i++) {
        parts->a[i] = -parts->a[i];
    }
    for (size_t i = 0; i < n; i++) {
        parts->a[i * n + i] += 1.0;
    }
    return an_lu(parts->a, n, parts->pivot) ? AN_OK : AN_NOT_CONVERGED;
}

static void solve(const struct parts *parts, size_t n, double x[])
{
    if (parts->exit != NULL) {
        an_ways_out_solve(parts->a, n, parts->exit, x);
    } else {
        an_lu_solve(parts->a, n, parts->pivot, x);
    }
}

/*
 * m1 = 1 + Q m1. With N = 1 + N' where the run goes on: E N^2 = 1 + 2 Q m1 + Q m2, that is
 * (I - Q) m2 = 2 m1 - 1 on the net.
 */
enum an_status an_net_run_length(const struct an_net *net, struct an_arena *arena, double at[],
                                 bool mean_only, struct an_run_length *run_length)
{
    const size_t n = net->n;
    struct parts parts;
    double *first = an_arena_alloc(arena, n, sizeof *first);
    double *second = an_arena_alloc(arena, n, sizeof *second);
    if (first == NULL || second == NULL) {
        return AN_NO_MEMORY;
    }
    const enum an_status st = take_apart(net, arena, &parts);
    if (st) {
        return st;
    }
    for (size_t i = 0; i < n; i++) {
        first[i] = 1.0;
    }
    solve(&parts, n, first);
    for (size_t i = 0; i < n; i++) {
        second[i] = 2.0 * first[i] - 1.0;
    }
    solve(&parts, n, second);
    const double m1 = dot(net->start, first, n);
    const double m2 = dot(net->start, second, n);
    *run_length = (struct an_run_length){.mean = 1.0 + m1, .q05 = NAN, .q50 = NAN, .q95 = NAN};
    run_length->sd = sqrt(fmax(0.0, 1.0 + 2.0 * m1 + m2 - run_length->mean * run_length->mean));
    if (!isfinite(run_length->mean) || run_length->mean < 1.0) {
        return AN_NOT_CONVERGED;
    }
    if (at != NULL) {
        memcpy(at, first, n * sizeof *at);
    }
    if (!mean_only) {
        quantiles(net, first, second, run_length);
    }
    return AN_OK;
}

enum an_status an_net_steady(const struct an_net *net, struct an_arena *arena, double chance[])
{
    double *next = an_arena_alloc(arena, net->n, sizeof *next);
    if (next == NULL) {
        return AN_NO_MEMORY;
    }
    const double begin = sum_of(net->start, net->n);
    for (size_t i = 0; i < net->n; i++) {
        chance[i] = net->start[i] / begin;
    }
    for (int round = 0; round < STEPS_MOST; round++) {
        step_forward(net, chance, next);
        const double mass = sum_of(next, net->n);
        double change = 0.0;
        for (size_t i = 0; i < net->n; i++) {
            change += fabs(next[i] / mass - chance[i]);
            chance[i] = next[i] / mass;
        }
        if (change < 1e-13) {
            return AN_OK;
        }
    }
    return AN_NOT_CONVERGED;
}
