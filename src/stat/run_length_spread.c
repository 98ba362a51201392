/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How often spread panels speak by luck: the law of ranges, of standard deviations, of moving
 * ranges.
 *
 * Responsible for: chances of one point (ranges, standard deviations) and the run length of moving
 * ranges, whose points are not independent. Hard idea: with the last value as state the run length
 * solves an integral equation whose answer is smooth save at corners, where a window of the
 * range's width begins to reach over the level's limit; so it is held by polynomials between the
 * corners.
 */
#include "andamento/stat/chart_run_length.h"
#include "andamento/stat/tests.h"
#include "stat/chart_formulas.h"
#include "stat/distribution.h"
#include "stat/net.h"

#include <math.h>
#include <stdlib.h>

/* ---- ranges ---- */

#define SQRT_OF_TWO_PI 2.50662827463100050242

enum { RANGE_STEPS = 176 }; /* of 1/16, on each side of 0: the rest is below 1000 * 1e-26 */

static bool range_ok(double w, double n)
{
    return n >= 2.0 && n <= 1000.0 && n == floor(n) && !isnan(w);
}

/* n times the sum over the least value x of density(x) times what the others do, by the trapezoid
 * rule, which converges exponentially here. */
double an_range_below(double w, double n)
{
    if (!range_ok(w, n)) {
        return NAN;
    }
    if (!(w > 0.0)) {
        return 0.0;
    }
    double sum = 0.0;
    for (int i = -RANGE_STEPS; i <= RANGE_STEPS; i++) {
        const double x = i / 16.0;
        const double inside = x > 0.0 ? an_normal_above(x) - an_normal_above(x + w)
                                      : an_normal_below(x + w) - an_normal_below(x);
        sum += exp(-x * x / 2.0) * pow(inside, n - 1.0);
    }
    return fmin(1.0, n * sum / 16.0 / SQRT_OF_TWO_PI);
}

/* All others above x, less all others within w above it: a^m - (a - b)^m without the difference. */
double an_range_above(double w, double n)
{
    if (!range_ok(w, n)) {
        return NAN;
    }
    if (!(w > 0.0)) {
        return 1.0;
    }
    const double others = n - 1.0;
    double sum = 0.0;
    for (int i = -RANGE_STEPS; i <= RANGE_STEPS; i++) {
        const double x = i / 16.0;
        const double above = an_normal_above(x);
        const double beyond = an_normal_above(x + w);
        sum -= exp(-x * x / 2.0) * pow(above, others) * expm1(others * log1p(-beyond / above));
    }
    return fmin(1.0, n * sum / 16.0 / SQRT_OF_TWO_PI);
}

/* ---- one point of a spread panel ---- */

double an_spread_panel_chance(const struct an_spread_panel *panel, double ratio)
{
    const double n = panel->n;
    const struct point_theory theory = panel->range ? range_theory(n) : sd_theory(n);
    const double ucl = theory.centre + panel->k * theory.sigma;
    const double lcl = theory.centre - panel->k * theory.sigma;
    if (isnan(theory.centre) || !(panel->k > 0.0) || !(ratio > 0.0) || !isfinite(ratio)) {
        return NAN;
    }
    if (panel->range) {
        return an_range_above(ucl / ratio, n) + (lcl > 0.0 ? an_range_below(lcl / ratio, n) : 0.0);
    }
    const double df = n - 1.0;
    const double high = ucl / ratio, low = lcl / ratio;
    return an_chi_square_above(df * high * high, df) +
           (lcl > 0.0 ? an_chi_square_below(df * low * low, df) : 0.0);
}

/* ---- moving ranges ---- */

enum {
    CORNERS_MOST = 24, /* of the answer */
    NODES = 20,        /* of each stretch between them */
    ROUNDS = 3,        /* of corners made by corners; those left are of the third derivative */
};

struct ladder {
    double corner[CORNERS_MOST + 2]; /* ascending; the first and last are the ends */
    size_t stretches;
    double node[CORNERS_MOST + 1][NODES]; /* Gauss points of each stretch */
    double weight[NODES];                 /* barycentric, the same for all stretches */
    double range;
    struct an_point_law law;
};

static int ascending(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void add_corner(struct ladder *l, size_t *count, double at)
{
    const double low = l->corner[0], high = l->corner[1];
    bool far = at > low + 1e-9 && at < high - 1e-9 && *count < CORNERS_MOST + 2;
    for (size_t i = 0; far && i < *count; i++) {
        far = fabs(l->corner[i] - at) > 1e-9;
    }
    if (far) {
        l->corner[(*count)++] = at;
    }
}

/* Values end at the level's limits, or where the law has left 1e-20. */
static void lay_ladder(struct ladder *l, double level, double range, struct an_point_law law)
{
    double x[NODES], w[NODES];
    size_t count = 2, from = 0;
    l->range = range;
    l->law = law;
    l->corner[0] = fmax(-level, law.mean - 9.5 * law.sd);
    l->corner[1] = fmin(level, law.mean + 9.5 * law.sd);
    for (int round = 0; round < ROUNDS && isfinite(range); round++) {
        const size_t until = count;
        for (size_t i = from; i < until; i++) {
            const double at = l->corner[i];
            add_corner(l, &count, at + range);
            add_corner(l, &count, at - range);
        }
        from = until;
    }
    /* long stretches are cut, so that polynomials hold */
    for (int more = 0; more < 4; more++) {
        qsort(l->corner, count, sizeof l->corner[0], ascending);
        const size_t now = count;
        double cut[CORNERS_MOST + 2];
        size_t cuts = 0;
        for (size_t i = 0; i + 1 < now; i++) {
            const double a = l->corner[i], b = l->corner[i + 1];
            if (b - a > 2.0 * law.sd && now + cuts < CORNERS_MOST + 2) {
                cut[cuts++] = (a + b) / 2.0;
            }
        }
        for (size_t i = 0; i < cuts; i++) {
            l->corner[count++] = cut[i];
        }
    }
    qsort(l->corner, count, sizeof l->corner[0], ascending);
    l->stretches = count - 1;
    an_gauss_points(NODES, -1.0, 1.0, x, w);
    for (size_t j = 0; j < NODES; j++) {
        l->weight[j] = 1.0;
        for (size_t o = 0; o < NODES; o++) {
            l->weight[j] /= o == j ? 1.0 : x[j] - x[o];
        }
    }
    for (size_t s = 0; s < l->stretches; s++) {
        for (size_t j = 0; j < NODES; j++) {
            l->node[s][j] = l->corner[s] + (l->corner[s + 1] - l->corner[s]) * (x[j] + 1.0) / 2.0;
        }
    }
}

/* row[s * NODES + j]: integral over values within `range` of x of the density times the j-th
 * polynomial of stretch s. x NAN: over all values, as of a first point. */
static void fill_row(const struct ladder *l, double x, double row[])
{
    for (size_t s = 0; s < l->stretches; s++) {
        const double a = isnan(x) ? l->corner[s] : fmax(l->corner[s], x - l->range);
        const double b = isnan(x) ? l->corner[s + 1] : fmin(l->corner[s + 1], x + l->range);
        double y[NODES], w[NODES];
        for (size_t j = 0; j < NODES; j++) {
            row[s * NODES + j] = 0.0;
        }
        if (!(b > a)) {
            continue;
        }
        an_gauss_points(NODES, a, b, y, w);
        for (size_t g = 0; g < NODES; g++) {
            const double z = (y[g] - l->law.mean) / l->law.sd;
            const double height = w[g] * exp(-z * z / 2.0) / (SQRT_OF_TWO_PI * l->law.sd);
            double sum = 0.0, share[NODES];
            size_t hit = NODES;
            for (size_t j = 0; j < NODES; j++) {
                const double away = y[g] - l->node[s][j];
                if (away == 0.0) {
                    hit = j;
                    break;
                }
                share[j] = l->weight[j] / away;
                sum += share[j];
            }
            if (hit < NODES) {
                row[s * NODES + hit] += height;
                continue;
            }
            for (size_t j = 0; j < NODES; j++) {
                row[s * NODES + j] += height * share[j] / sum;
            }
        }
    }
}

enum an_status an_run_length_moving_range(double level, double range, struct an_point_law law,
                                          struct an_arena *arena, double *mean)
{
    struct ladder *l = an_arena_alloc(arena, 1, sizeof *l);
    if (!(level > 0.0) || !(range > 0.0) || (isinf(level) && isinf(range)) || !isfinite(law.mean) ||
        !(law.sd > 0.0) || !isfinite(law.sd)) {
        return AN_DOMAIN;
    }
    if (l == NULL) {
        return AN_NO_MEMORY;
    }
    lay_ladder(l, level, range, law);
    const size_t n = l->stretches * NODES;
    double *a = an_arena_alloc(arena, n * n, sizeof *a);
    double *x = an_arena_alloc(arena, 2 * n, sizeof *x);
    size_t *pivot = an_arena_alloc(arena, n, sizeof *pivot);
    if (a == NULL || x == NULL || pivot == NULL) {
        return AN_NO_MEMORY;
    }
    if (!(l->corner[l->stretches] > l->corner[0])) {
        *mean = 1.0; /* every value is beyond its limit */
        return AN_OK;
    }
    for (size_t i = 0; i < n; i++) {
        double *row = a + i * n;
        fill_row(l, l->node[i / NODES][i % NODES], row);
        for (size_t j = 0; j < n; j++) {
            row[j] = (i == j ? 1.0 : 0.0) - row[j];
        }
        x[i] = 1.0;
    }
    if (!an_lu(a, n, pivot)) {
        return AN_NOT_CONVERGED;
    }
    an_lu_solve(a, n, pivot, x);
    double *first = x + n;
    fill_row(l, NAN, first);
    *mean = 1.0;
    for (size_t i = 0; i < n; i++) {
        *mean += first[i] * x[i];
    }
    return AN_OK;
}
