/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Run lengths of the multivariate ewma.
 *
 * Responsible for: the equation in one dimension in control, in two out of control. Hard idea: by
 * symmetry only the component along the shift and the distance across it matter, whatever the
 * number of variables; with the first written as R sin(angle) the disc becomes a rectangle on
 * which everything is smooth, so Gauss points converge exponentially.
 */
#include "andamento/stat/run_length.h"
#include "stat/net.h"

#include <math.h>

#define PI 3.14159265358979323846

/* log gamma for x >= 1/2 by Stirling's series from 10 on [Abramowitz and Stegun 1964, 6.1.41; from
 * memory]; absolute error below 1e-14 of max(1, value). */
static double log_gamma(double x)
{
    double product = 1.0;
    while (x < 10.0) {
        product *= x;
        x += 1.0;
    }
    const double y = 1.0 / (x * x);
    const double series =
        (1.0 / 12 -
         y * (1.0 / 360 -
              y * (1.0 / 1260 - y * (1.0 / 1680 - y * (1.0 / 1188 - y * 691.0 / 360360))))) /
        x;
    return (x - 0.5) * log(x) - x + 0.5 * log(2.0 * PI) + series - log(product);
}

/*
 * Density at s of the length of a normal vector of `df` dimensions, unit covariance and a mean of
 * length a (noncentral chi):
 *     exp(-(s^2 + a^2)/2) s^(df-1) 2^(1 - df/2) sum of (s a / 2)^(2j) / (j! gamma(df/2 + j)),
 * summed from its largest term to both sides, where terms fall below 1e-17 of it.
 */
static double length_density(double s, double df, double a)
{
    const double x = s * a / 2.0 * (s * a / 2.0), half = df / 2.0;
    const double top = floor((-half + sqrt(half * half + 4.0 * x)) / 2.0);
    const double j0 = fmax(0.0, top);
    double sum = 1.0, term = 1.0;
    for (double j = j0; term > 1e-17 * sum; j += 1.0) {
        term *= x / ((j + 1.0) * (half + j));
        sum += term;
    }
    term = 1.0;
    for (double j = j0; j > 0.0 && term > 1e-17 * sum; j -= 1.0) {
        term *= j * (half + j - 1.0) / x;
        sum += term;
    }
    const double log_top =
        (j0 > 0.0 ? j0 * log(x) : 0.0) - log_gamma(j0 + 1.0) - log_gamma(half + j0);
    const double log_front = -(s * s + a * a) / 2.0 + (df - 1.0) * log(s) + (1.0 - half) * log(2.0);
    return sum * exp(log_front + log_top);
}

static enum an_status in_control(double p, double lambda, double radius, struct an_arena *arena,
                                 bool mean_only, struct an_run_length *run_length)
{
    const size_t n = 20 + (size_t)(4.0 * radius / lambda);
    struct an_net net;
    double *s = an_arena_alloc(arena, n, sizeof *s);
    double *weight = an_arena_alloc(arena, n, sizeof *weight);
    if (s == NULL || weight == NULL || an_net_alloc(n, arena, &net)) {
        return AN_NO_MEMORY;
    }
    an_gauss_points(n, 0.0, radius, s, weight);
    for (size_t i = 0; i <= n; i++) {
        const double from = (1.0 - lambda) * (i < n ? s[i] : 0.0) / lambda;
        double *row = i < n ? &net.q[i * n] : net.start;
        for (size_t j = 0; j < n; j++) {
            row[j] = weight[j] / lambda * length_density(s[j] / lambda, p, from);
        }
    }
    return an_net_run_length(&net, arena, NULL, mean_only, run_length);
}

struct point {
    double along, across, weight; /* weight of the area about it */
};

static void lay_points(double radius, size_t n1, size_t n2, double buffer[], struct point points[])
{
    double *angle = buffer, *w1 = buffer + n1, *t = buffer + 2 * n1, *w2 = buffer + 2 * n1 + n2;
    an_gauss_points(n1, -PI / 2.0, PI / 2.0, angle, w1);
    an_gauss_points(n2, 0.0, 1.0, t, w2);
    for (size_t i = 0; i < n1; i++) {
        const double rim = radius * cos(angle[i]);
        for (size_t j = 0; j < n2; j++) {
            points[i * n2 + j] =
                (struct point){radius * sin(angle[i]), rim * t[j], w1[i] * w2[j] * rim * rim};
        }
    }
}

static enum an_status shifted(double p, double lambda, double radius, double shift,
                              struct an_arena *arena, bool mean_only,
                              struct an_run_length *run_length)
{
    const size_t n1 = 16 + (size_t)(3.4 * radius / lambda);
    const size_t n2 = 8 + (size_t)(1.5 * radius / lambda);
    const size_t n = n1 * n2;
    struct an_net net;
    struct point *points = an_arena_alloc(arena, n, sizeof *points);
    double *buffer = an_arena_alloc(arena, 2 * (n1 + n2), sizeof *buffer);
    if (points == NULL || buffer == NULL || an_net_alloc(n, arena, &net)) {
        return AN_NO_MEMORY;
    }
    lay_points(radius, n1, n2, buffer, points);
    for (size_t i = 0; i <= n; i++) {
        const double along = i < n ? (1.0 - lambda) * points[i].along / lambda : 0.0;
        const double across = i < n ? (1.0 - lambda) * points[i].across / lambda : 0.0;
        double *row = i < n ? &net.q[i * n] : net.start;
        for (size_t j = 0; j < n; j++) {
            const double step = points[j].along / lambda - along - shift;
            row[j] = fabs(step) > 39.0
                         ? 0.0
                         : points[j].weight / (lambda * lambda) * exp(-step * step / 2.0) /
                               sqrt(2.0 * PI) *
                               length_density(points[j].across / lambda, p - 1.0, across);
        }
    }
    return an_net_run_length(&net, arena, NULL, mean_only, run_length);
}

enum an_status an_run_length_mewma(size_t p, double lambda, double limit, double shift,
                                   bool mean_only, struct an_arena *arena,
                                   struct an_run_length *run_length)
{
    if (p < 2 || p > 20 || !(lambda >= 0.03 && lambda <= 1.0) || !(limit > 0.0 && limit <= 100.0) ||
        !(shift >= 0.0) || !isfinite(shift)) {
        return AN_DOMAIN;
    }
    const double radius = sqrt(limit * lambda / (2.0 - lambda));
    return shift > 0.0 ? shifted((double)p, lambda, radius, shift, arena, mean_only, run_length)
                       : in_control((double)p, lambda, radius, arena, mean_only, run_length);
}
