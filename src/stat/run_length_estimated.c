/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What run lengths become when the limits come from a baseline.
 *
 * Responsible for: the table of a chart's run length over errors of its centre and sigma, and the
 * mean over the distribution of those errors. Hard idea: given its limits, a chart with estimated
 * limits is a chart with known ones under another law, so exact run lengths are enough; and the log
 * of the rate is so smooth in both errors that a few Chebyshev points in each hold it.
 */
#include "andamento/stat/constants.h"
#include "andamento/stat/tests.h"
#include "stat/net.h"

#include <math.h>
#include <stdlib.h>

#define PI 3.14159265358979323846

/*
 * Errors of the centre up to 1.5 sigma, sigma ratios from 0.2 to 2: beyond, the edge is taken. A
 * baseline of ten has both within, save once in a hundred thousand. The log of the rate bends at v = 0
 * as log cosh does (its poles lie near 0, off the line), so v begins there where v and -v are alike:
 * the ends are where Chebyshev points lie close. By w it bends where runs, which do not know of sigma,
 * take over from the limits: so there are twice as many points in w.
 */
static const double v_most = 1.5, w_least = 0.2, w_most = 2.0;

enum { TABLE_MOST = 21, SIGMAS_MOST = 41, POINTS = AN_SIGMA_POINTS };

struct an_run_surface {
    size_t n, n_w;                             /* Chebyshev points in each direction; odd */
    bool mirrored;                             /* v from 0 on; the same for -v */
    double v[TABLE_MOST], w[SIGMAS_MOST];      /* descending, as cosines come */
    double log_rate[TABLE_MOST * SIGMAS_MOST]; /* [v][w] */
    double known;
};

static double chebyshev(size_t i, size_t n)
{
    return cos(PI * (double)i / ((double)n - 1.0));
}

enum an_status an_run_surface_open(an_run_length_at at, const void *plan, double shift,
                                   size_t points, struct an_arena *arena,
                                   struct an_run_surface **surface)
{
    *surface = NULL;
    struct an_run_surface *made = an_arena_alloc(arena, 1, sizeof *made);
    if (made == NULL) {
        return AN_NO_MEMORY;
    }
    if (points < 5 || points > TABLE_MOST || points % 2 == 0 || !isfinite(shift)) {
        return AN_DOMAIN;
    }
    made->n = points;
    made->n_w = 2 * points - 1;
    made->mirrored = shift == 0.0;
    for (size_t i = 0; i < made->n; i++) {
        made->v[i] = made->mirrored ? v_most * (1.0 + chebyshev(i, points)) / 2.0
                                    : v_most * chebyshev(i, points);
    }
    for (size_t i = 0; i < made->n_w; i++) {
        made->w[i] = w_least + (w_most - w_least) * (1.0 + chebyshev(i, made->n_w)) / 2.0;
    }
    enum an_status st = AN_OK;
    const size_t all = made->n * made->n_w;
    for (size_t i = 0; !st && i < all + 1; i++) {
        const bool last = i == all;
        const double v = last ? 0.0 : made->v[i / made->n_w],
                     w = last ? 1.0 : made->w[i % made->n_w];
        struct an_arena *scratch = an_arena_open();
        double mean = NAN;
        st = scratch == NULL
                 ? AN_NO_MEMORY
                 : at(plan, (struct an_point_law){(shift - v) / w, 1.0 / w}, scratch, &mean);
        an_arena_close(scratch);
        if (last) {
            made->known = mean;
        } else {
            made->log_rate[i] = -log(mean);
        }
    }
    *surface = st ? NULL : made;
    return st;
}

/* Barycentric weights of Chebyshev points are +-1, halved at the ends [Berrut and Trefethen,
 * Barycentric Lagrange interpolation, SIAM Review 46(3), 2004; from memory]. */
static void shares(const double x[], size_t n, double at, double share[])
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        if (at == x[i]) {
            for (size_t j = 0; j < n; j++) {
                share[j] = j == i ? 1.0 : 0.0;
            }
            return;
        }
        const double sign = i % 2 == 0 ? 1.0 : -1.0;
        share[i] = sign * (i == 0 || i == n - 1 ? 0.5 : 1.0) / (at - x[i]);
        sum += share[i];
    }
    for (size_t i = 0; i < n; i++) {
        share[i] /= sum;
    }
}

/* Points and weights (sum 1) of the error of the centre, normal with this sd. */
static void centre_errors(double sd, double v[], double weight[])
{
    const double reach = 6.0 * sd;
    double sum = 0.0;
    an_gauss_points(POINTS, -reach, reach, v, weight);
    for (size_t i = 0; i < POINTS; i++) {
        weight[i] *= exp(-v[i] * v[i] / (2.0 * sd * sd));
        sum += weight[i];
    }
    for (size_t i = 0; i < POINTS; i++) {
        weight[i] /= sum;
    }
}

/* From the quantiles that leave 1e-10 on each side. */
enum an_status an_sigma_ratio_points(double df, size_t n, double w[], double weight[])
{
    double c4;
    if (an_c4(df + 1.0, &c4)) {
        return AN_DOMAIN;
    }
    const double unit = c4 * sqrt(df);
    const double low = sqrt(an_chi_square_quantile(1e-10, df)) / unit;
    const double high = sqrt(an_chi_square_quantile(1.0 - 1e-10, df)) / unit;
    const double top = sqrt(fmax(0.0, df - 1.0)) / unit; /* where the density is largest */
    double sum = 0.0;
    an_gauss_points(n, low, high, w, weight);
    for (size_t i = 0; i < n; i++) {
        const double peak = top > 0.0 ? (df - 1.0) * log(w[i] / top) : 0.0;
        weight[i] *= exp(peak - unit * unit * (w[i] * w[i] - top * top) / 2.0);
        sum += weight[i];
    }
    for (size_t i = 0; i < n; i++) {
        weight[i] /= sum;
    }
    return AN_OK;
}

static int by_rate(const void *a, const void *b)
{
    const struct an_weighed_rate *x = a, *y = b;
    return (x->rate > y->rate) - (x->rate < y->rate);
}

/* The rate that a share p of the charts stays below, between the middles of neighbours' weights. */
static double rate_below(const struct an_weighed_rate charts[], size_t n, double p)
{
    double before = 0.0;
    for (size_t i = 0; i < n; i++) {
        const double middle = before + charts[i].weight / 2.0;
        if (middle >= p) {
            if (i == 0) {
                return charts[0].rate;
            }
            const double last = before - charts[i - 1].weight / 2.0;
            const double share = (p - last) / (middle - last);
            return charts[i - 1].rate + share * (charts[i].rate - charts[i - 1].rate);
        }
        before += charts[i].weight;
    }
    return charts[n - 1].rate;
}

double an_rarity(double rate)
{
    return rate > 0.0 ? 1.0 / rate : rate == 0.0 ? (double)INFINITY : (double)NAN;
}

struct an_estimated_run_length an_of_rates(struct an_weighed_rate charts[], size_t n, double known)
{
    double rate = 0.0;
    for (size_t i = 0; i < n; i++) {
        rate += charts[i].weight * charts[i].rate;
    }
    qsort(charts, n, sizeof charts[0], by_rate);
    return (struct an_estimated_run_length){
        .known = known,
        .rate = rate,
        .between = an_rarity(rate),
        .low = an_rarity(rate_below(charts, n, 0.95)),
        .high = an_rarity(rate_below(charts, n, 0.05)),
    };
}

enum an_status an_run_length_estimated(const struct an_run_surface *surface, double m, double df,
                                       struct an_estimated_run_length *run_length)
{
    return an_run_length_estimated_wider(surface, m, df, 1.0, run_length);
}

enum an_status an_run_length_estimated_wider(const struct an_run_surface *surface, double m,
                                             double df, double wider,
                                             struct an_estimated_run_length *run_length)
{
    double v[POINTS], v_weight[POINTS], w[POINTS], w_weight[POINTS];
    double v_share[TABLE_MOST], w_share[POINTS][SIGMAS_MOST], along[SIGMAS_MOST];
    struct an_weighed_rate charts[POINTS * POINTS];
    const size_t n = surface->n, n_w = surface->n_w;
    if (!(m >= 2.0) || !(df >= 1.0) || !isfinite(m) || !isfinite(df)) {
        return AN_TOO_FEW;
    }
    if (!(wider > 0.0) || !isfinite(wider)) {
        return AN_DOMAIN;
    }
    centre_errors(1.0 / sqrt(m), v, v_weight);
    if (an_sigma_ratio_points(fmin(df, 1e7), POINTS, w, w_weight)) {
        return AN_DOMAIN;
    }
    for (size_t j = 0; j < POINTS; j++) {
        shares(surface->w, n_w, fmin(fmax(w[j] * wider, w_least), w_most), w_share[j]);
    }
    for (size_t i = 0; i < POINTS; i++) {
        const double v_at = surface->mirrored ? fabs(v[i]) : v[i];
        shares(surface->v, n, fmin(fmax(v_at, -v_most), v_most), v_share);
        for (size_t b = 0; b < n_w; b++) {
            along[b] = 0.0;
            for (size_t a = 0; a < n; a++) {
                along[b] += v_share[a] * surface->log_rate[a * n_w + b];
            }
        }
        for (size_t j = 0; j < POINTS; j++) {
            double log_rate = 0.0;
            for (size_t b = 0; b < n_w; b++) {
                log_rate += w_share[j][b] * along[b];
            }
            struct an_weighed_rate *chart = &charts[i * POINTS + j];
            chart->weight = v_weight[i] * w_weight[j];
            chart->rate = exp(fmin(0.0, log_rate));
        }
    }
    *run_length = an_of_rates(charts, POINTS * POINTS, surface->known);
    return AN_OK;
}
