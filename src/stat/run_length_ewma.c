/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Run lengths of single limits and of the ewma.
 *
 * Responsible for: the integral equation of the exponentially weighted mean, with steady limits,
 * exact limits, a head start, one side or two. Hard idea: limits that vary in time only vary for a
 * while; the density of the statistic is carried forward through that while, and the steady
 * equation takes over from there.
 *
 * [Crowder, A simple method for studying run length distributions of exponentially weighted moving
 * average charts, Technometrics 29(4), 1987: the integral equation; from memory]
 */
#include "andamento/stat/run_length.h"
#include "andamento/stat/tests.h"
#include "stat/net.h"

#include <math.h>
#include <string.h>

#define PI 3.14159265358979323846

static bool law_ok(struct an_point_law law)
{
    return isfinite(law.mean) && isfinite(law.sd) && law.sd > 0.0;
}

/* A run of independent points that signal with chance p each. */
static double geometric_quantile(double level, double p)
{
    return p < 1.0 ? fmax(1.0, ceil(log1p(-level) / log1p(-p) - 1e-9)) : 1.0;
}

enum an_status an_run_length_shewhart(double k, struct an_point_law law,
                                      struct an_run_length *run_length)
{
    if (!(k > 0.0) || !isfinite(k) || !law_ok(law)) {
        return AN_DOMAIN;
    }
    const double p =
        an_normal_above((k - law.mean) / law.sd) + an_normal_above((k + law.mean) / law.sd);
    *run_length = (struct an_run_length){
        .mean = 1.0 / p,
        .sd = sqrt(1.0 - p) / p,
        .q05 = geometric_quantile(0.05, p),
        .q50 = geometric_quantile(0.50, p),
        .q95 = geometric_quantile(0.95, p),
    };
    return AN_OK;
}

/* ---- the ewma's net ---- */

struct ewma {
    double lambda;
    struct an_point_law law;
    double rail; /* steady limit, in sigmas of the points */
    size_t n;    /* Gauss points */
};

/* Density of the next statistic at v when it stands at u. */
static double density(const struct ewma *e, double u, double v)
{
    const double scale = e->lambda * e->law.sd;
    const double t = (v - (1.0 - e->lambda) * u - e->lambda * e->law.mean) / scale;
    return exp(-t * t / 2.0) / (sqrt(2.0 * PI) * scale);
}

static void fill_row(const struct ewma *e, double u, const double v[], const double weight[],
                     double row[])
{
    for (size_t j = 0; j < e->n; j++) {
        row[j] = weight[j] * density(e, u, v[j]);
    }
}

/* Points for a kernel whose sd goes `widths` times into the interval: spaced less than half of it
 * in the middle, where Gauss points are sparsest. */
static size_t points_for(double widths)
{
    return 24 + (size_t)(3.5 * widths);
}

/* The first point at which limits differ from the steady ones by less than 1e-12. */
static size_t settled_after(const struct an_ewma_plan *plan)
{
    double settled = 1.0;
    if (plan->exact && plan->lambda < 1.0) {
        settled = log(1e-12) / (2.0 * log1p(-plan->lambda)) + 1.0;
    }
    if (plan->exact && plan->head_start > 0.0) {
        const double log_rest = log1p(-plan->head_start);
        const double a = (-2.0 / (log_rest / log(10.0)) - 1.0) / 19.0;
        settled = fmax(settled, (log(1e-12) / log_rest - 1.0) / a + 2.0);
    }
    return settled < 1e5 ? (size_t)settled : 100000;
}

static double rail_at(const struct an_ewma_plan *plan, double steady, double t)
{
    double rail = steady * sqrt(-expm1(2.0 * t * log1p(-plan->lambda)));
    if (plan->lambda >= 1.0) {
        rail = steady;
    }
    if (plan->head_start > 0.0) {
        const double log_rest = log1p(-plan->head_start);
        const double a = (-2.0 / (log_rest / log(10.0)) - 1.0) / 19.0;
        rail *= -expm1(log_rest * (1.0 + a * (t - 1.0)));
    }
    return rail;
}

/* mean and spread from each point of the steady net, for the run that is left there */
struct rest {
    struct an_net net;
    double *v, *weight, *mean, *square;
};

static enum an_status open_rest(const struct ewma *e, struct an_arena *arena, struct rest *rest)
{
    const size_t n = e->n;
    rest->v = an_arena_alloc(arena, n, sizeof *rest->v);
    rest->weight = an_arena_alloc(arena, n, sizeof *rest->weight);
    if (rest->v == NULL || rest->weight == NULL || an_net_alloc(n, arena, &rest->net)) {
        return AN_NO_MEMORY;
    }
    an_gauss_points(n, -e->rail, e->rail, rest->v, rest->weight);
    for (size_t i = 0; i < n; i++) {
        fill_row(e, rest->v[i], rest->v, rest->weight, &rest->net.q[i * n]);
    }
    fill_row(e, 0.0, rest->v, rest->weight, rest->net.start);
    return AN_OK;
}

static enum an_status steady_start(const struct ewma *e, const struct rest *shifted,
                                   struct an_arena *arena, struct an_run_length *run_length)
{
    struct ewma in_control = *e;
    struct rest before;
    in_control.law = (struct an_point_law){0.0, 1.0};
    double *chance = an_arena_alloc(arena, e->n, sizeof *chance);
    double *at = an_arena_alloc(arena, e->n, sizeof *at);
    if (chance == NULL || at == NULL) {
        return AN_NO_MEMORY;
    }
    enum an_status st = open_rest(&in_control, arena, &before);
    st = st ? st : an_net_steady(&before.net, arena, chance);
    st = st ? st : an_net_run_length(&shifted->net, arena, at, true, run_length);
    if (st) {
        return st;
    }
    double mean = 0.0;
    for (size_t i = 0; i < e->n; i++) {
        mean += chance[i] * at[i];
    }
    *run_length =
        (struct an_run_length){.mean = mean, .sd = NAN, .q05 = NAN, .q50 = NAN, .q95 = NAN};
    return AN_OK;
}

/*
 * Exact limits: E N = sum of P(N > n) over n < T, plus what is left at T; E N^2 likewise with
 * (2 n + 1) P(N > n).
 */
static enum an_status exact_limits(const struct an_ewma_plan *plan, const struct ewma *e,
                                   struct rest *rest, struct an_arena *arena,
                                   struct an_run_length *run_length)
{
    const size_t n = e->n;
    const size_t settled = settled_after(plan);
    double *buffer = an_arena_alloc(arena, 6 * n, sizeof *buffer);
    if (buffer == NULL) {
        return AN_NO_MEMORY;
    }
    double *v = buffer, *weight = buffer + n, *mass = buffer + 2 * n;
    double *next_v = buffer + 3 * n, *next_mass = buffer + 4 * n, *row = buffer + 5 * n;
    double sum = 1.0, squares = 1.0;
    struct an_survival survival;
    an_survival_start(&survival);
    v[0] = 0.0; /* before the first point all mass stands at the centre */
    mass[0] = 1.0;
    size_t from = 1;
    for (size_t t = 1; t <= settled; t++) {
        const double rail = t < settled ? rail_at(plan, e->rail, (double)t) : e->rail;
        an_gauss_points(n, -rail, rail, next_v, weight);
        memset(next_mass, 0, n * sizeof *next_mass);
        for (size_t i = 0; i < from; i++) {
            fill_row(e, v[i], next_v, weight, row);
            for (size_t j = 0; j < n; j++) {
                next_mass[j] += mass[i] * row[j];
            }
        }
        double left = 0.0;
        for (size_t j = 0; j < n; j++) {
            v[j] = next_v[j];
            mass[j] = next_mass[j];
            left += mass[j];
        }
        from = n;
        an_survival_take(&survival, left);
        survival.agreed = 0; /* the limits still move: no tail to continue by */
        if (t < settled) {
            sum += left;
            squares += (2.0 * (double)t + 1.0) * left;
        }
    }
    /* from here on the steady chain, begun with the mass that is left */
    struct an_run_length tail;
    double *at = row;
    double left = 0.0, mean_left = 0.0;
    memcpy(rest->net.start, mass, n * sizeof *mass);
    const enum an_status st = an_net_run_length(&rest->net, arena, at, true, &tail);
    if (st) {
        return st;
    }
    for (size_t j = 0; j < n; j++) {
        left += mass[j];
        mean_left += mass[j] * at[j];
    }
    /* tail.sd^2 + tail.mean^2 is 1 + 2 mass m1 + mass m2, which would be of a run begun one before */
    const double square_left = tail.sd * tail.sd + tail.mean * tail.mean - 1.0 - 2.0 * mean_left;
    sum += mean_left;
    squares += 2.0 * (double)settled * mean_left + square_left;
    *run_length =
        (struct an_run_length){.mean = sum, .sd = sqrt(fmax(0.0, squares - sum * sum)), .q05 = NAN};
    struct an_net *net = &rest->net;
    while (!survival.done && survival.n < 20000.0) { /* quantiles: on with the steady chain */
        memset(next_mass, 0, n * sizeof *next_mass);
        left = 0.0;
        for (size_t i = 0; i < n; i++) {
            for (size_t j = 0; j < n; j++) {
                next_mass[j] += mass[i] * net->q[i * n + j];
            }
        }
        for (size_t j = 0; j < n; j++) {
            mass[j] = next_mass[j];
            left += mass[j];
        }
        an_survival_take(&survival, left);
    }
    an_survival_finish(&survival);
    run_length->q05 = survival.q05;
    run_length->q50 = survival.q50;
    run_length->q95 = survival.q95;
    return AN_OK;
}

/* One side: kept at 0 from below, an atom of the chain's states, point 0 of the net. */
static enum an_status one_side(const struct an_ewma_plan *plan, const struct ewma *e,
                               enum an_run_start start, struct an_point_law law,
                               struct an_arena *arena, double at[], double steady[],
                               struct an_run_length *run_length)
{
    const size_t n = e->n + 1;
    struct ewma here = *e;
    struct an_net net;
    double *v = an_arena_alloc(arena, n, sizeof *v);
    double *weight = an_arena_alloc(arena, n, sizeof *weight);
    if (v == NULL || weight == NULL || an_net_alloc(n, arena, &net)) {
        return AN_NO_MEMORY;
    }
    here.law = law;
    an_gauss_points(e->n, 0.0, e->rail, v + 1, weight + 1);
    for (size_t i = 0; i <= n; i++) {
        const double u = i < n ? v[i] : plan->head_start * e->rail;
        double *row = i < n ? &net.q[i * n] : net.start;
        const double to_zero =
            (-(1.0 - e->lambda) * u - e->lambda * law.mean) / (e->lambda * law.sd);
        row[0] = an_normal_below(to_zero);
        fill_row(&here, u, v + 1, weight + 1, row + 1);
    }
    if (start == AN_STEADY_STATE) {
        return an_net_steady(&net, arena, steady);
    }
    return an_net_run_length(&net, arena, at, plan->mean_only, run_length);
}

static enum an_status one_sided_run(const struct an_ewma_plan *plan, const struct ewma *e,
                                    enum an_run_start start, struct an_arena *arena,
                                    struct an_run_length *run_length)
{
    double *at = an_arena_alloc(arena, e->n + 1, sizeof *at);
    double *steady = an_arena_alloc(arena, e->n + 1, sizeof *steady);
    if (at == NULL || steady == NULL) {
        return AN_NO_MEMORY;
    }
    enum an_status st = one_side(plan, e, AN_ZERO_STATE, e->law, arena, at, NULL, run_length);
    if (st || start == AN_ZERO_STATE) {
        return st;
    }
    st = one_side(plan, e, AN_STEADY_STATE, (struct an_point_law){0.0, 1.0}, arena, NULL, steady,
                  NULL);
    double mean = 0.0;
    for (size_t i = 0; !st && i <= e->n; i++) {
        mean += steady[i] * at[i];
    }
    *run_length =
        (struct an_run_length){.mean = mean, .sd = NAN, .q05 = NAN, .q50 = NAN, .q95 = NAN};
    return st;
}

enum an_status an_run_length_ewma(const struct an_ewma_plan *plan, struct an_point_law law,
                                  enum an_run_start start, struct an_arena *arena,
                                  struct an_run_length *run_length)
{
    const bool numbers = plan->lambda >= 0.005 && plan->lambda <= 1.0 && plan->limits > 0.0 &&
                         plan->limits <= 10.0 && plan->head_start >= 0.0 && plan->head_start < 1.0;
    if (!numbers || !law_ok(law) || (plan->one_sided && plan->exact) ||
        (!plan->one_sided && !plan->exact && plan->head_start > 0.0)) {
        return AN_DOMAIN;
    }
    struct ewma e = {.lambda = plan->lambda, .law = law};
    e.rail = plan->limits * sqrt(plan->lambda / (2.0 - plan->lambda));
    const double least_sd = start == AN_STEADY_STATE ? fmin(1.0, law.sd) : law.sd;
    const double widths = e.rail / (plan->lambda * least_sd);
    e.n = points_for(plan->one_sided ? widths : 2.0 * widths);
    if (e.n > 4000) {
        return AN_DOMAIN; /* a law next to no spread */
    }
    if (plan->one_sided) {
        return one_sided_run(plan, &e, start, arena, run_length);
    }
    struct rest rest;
    const enum an_status st = open_rest(&e, arena, &rest);
    if (st) {
        return st;
    }
    if (start == AN_STEADY_STATE) {
        return steady_start(&e, &rest, arena, run_length);
    }
    return plan->exact ? exact_limits(plan, &e, &rest, arena, run_length)
                       : an_net_run_length(&rest.net, arena, NULL, plan->mean_only, run_length);
}
