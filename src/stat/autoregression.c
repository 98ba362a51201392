/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * First-order autoregression by exact maximum likelihood.
 *
 * Responsible for: phi, mean and sigma of a series that may have breaks. The hard idea: for a given
 * phi the mean has a closed form, the sum of squares S is then a number, and at that mean the
 * derivative of the profile -n/2 log S + s/2 log(1 - phi^2) by phi is a plain quotient (the mean's own
 * change does not count, S being least there). Its root is bracketed on a grid and bisected; of
 * several the likeliest is taken. Each of the s unbroken stretches begins from the stationary law.
 */
#include "andamento/stat/autoregression.h"

#include "andamento/stat/tests.h"
#include "stat/compensated.h"

#include <math.h>

#define EDGE 0.99995
#define GRID 200
#define TWO_PI 6.28318530717958647693

struct series {
    const double *x;
    const bool *broken, *excluded;
    size_t n;
    double shift; /* taken off every value, so that squares are of the size of the spread */
};

static bool used(const struct series *s, size_t i)
{
    return s->excluded == NULL || !s->excluded[i];
}

static bool joined(const struct series *s, size_t i)
{
    return i > 0 && used(s, i - 1) && (s->broken == NULL || !s->broken[i]);
}

/* The mean of generalised least squares: (1 - phi^2) weighs first values, (1 - phi)^2 the others. */
static double mean_at(const struct series *s, double phi)
{
    struct pair_sum sum = {0.0, 0.0};
    double weight = 0.0;
    for (size_t i = 0; i < s->n; i++) {
        if (!used(s, i)) {
            continue;
        }
        const double x = s->x[i] - s->shift;
        if (joined(s, i)) {
            pair_add(&sum, (1.0 - phi) * (x - phi * (s->x[i - 1] - s->shift)));
            weight += (1.0 - phi) * (1.0 - phi);
        } else {
            pair_add(&sum, (1.0 - phi * phi) * x);
            weight += 1.0 - phi * phi;
        }
    }
    return sum.hi / weight;
}

struct height {
    double mean, squares, slope; /* slope: of the profile log likelihood */
    double count, stretches;
};

static struct height height_at(const struct series *s, double phi)
{
    struct height h = {.mean = mean_at(s, phi)};
    struct pair_sum squares = {0.0, 0.0}, change = {0.0, 0.0};
    for (size_t i = 0; i < s->n; i++) {
        if (!used(s, i)) {
            continue;
        }
        const double d = s->x[i] - s->shift - h.mean;
        h.count += 1.0;
        if (joined(s, i)) {
            const double before = s->x[i - 1] - s->shift - h.mean;
            const double left = d - phi * before;
            pair_add_product(&squares, left, left);
            pair_add_product(&change, -2.0 * left, before);
        } else {
            pair_add_product(&squares, (1.0 - phi * phi) * d, d);
            pair_add_product(&change, -2.0 * phi * d, d);
            h.stretches += 1.0;
        }
    }
    h.squares = squares.hi;
    h.slope = -0.5 * h.count * change.hi / h.squares - h.stretches * phi / (1.0 - phi * phi);
    return h;
}

static double log_likelihood(const struct height *h, double phi)
{
    const double variance = h->squares / h->count;
    return -0.5 * h->count * (log(TWO_PI * variance) + 1.0) +
           0.5 * h->stretches * log1p(-phi * phi);
}

static double root_within(const struct series *s, double lo, double hi)
{
    for (int i = 0; i < 60; i++) {
        const double middle = 0.5 * (lo + hi);
        if (height_at(s, middle).slope > 0.0) {
            lo = middle;
        } else {
            hi = middle;
        }
    }
    return 0.5 * (lo + hi);
}

static void take(const struct series *s, double phi, struct an_autoregression *fit)
{
    const struct height h = height_at(s, phi);
    const double likelihood = log_likelihood(&h, phi);
    if (fit->n > 0.0 && !(likelihood > fit->log_likelihood)) {
        return;
    }
    *fit = (struct an_autoregression){.phi = phi,
                                      .mean = s->shift + h.mean,
                                      .sigma = sqrt(h.squares / h.count),
                                      .phi_se = sqrt((1.0 - phi * phi) / h.count),
                                      .log_likelihood = likelihood,
                                      .n = h.count,
                                      .stretches = h.stretches};
}

enum an_status an_autoregression_fit(const double x[], size_t n, const bool broken[],
                                     const bool excluded[], struct an_autoregression *fit)
{
    struct series s = {x, broken, excluded, n, 0.0};
    double count = 0.0, neighbours = 0.0;
    bool equal = true;
    *fit = (struct an_autoregression){0};
    for (size_t i = 0; i < n; i++) {
        if (!used(&s, i)) {
            continue;
        }
        if (!isfinite(x[i])) {
            return AN_DOMAIN;
        }
        s.shift = count > 0.0 ? s.shift : x[i];
        equal = equal && x[i] == s.shift;
        count += 1.0;
        neighbours += joined(&s, i) ? 1.0 : 0.0;
    }
    if (count < 8.0 || neighbours < 4.0) {
        return AN_TOO_FEW;
    }
    if (equal) {
        return AN_NO_SPREAD;
    }
    double slope = height_at(&s, -EDGE).slope;
    for (int i = 1; i <= GRID; i++) {
        const double at = -EDGE + 2.0 * EDGE * i / GRID;
        const double next = height_at(&s, at).slope;
        if (slope > 0.0 && !(next > 0.0)) {
            take(&s, root_within(&s, at - 2.0 * EDGE / GRID, at), fit);
        }
        slope = next;
    }
    if (!(fit->n > 0.0)) {
        take(&s, slope > 0.0 ? EDGE : -EDGE, fit);
    }
    return fit->sigma > 0.0 ? AN_OK : AN_NO_SPREAD;
}

struct an_residual an_autoregression_residual(const struct an_autoregression *fit, double x,
                                              double before)
{
    struct an_residual left = {.expected = fit->mean,
                               .sigma = fit->sigma / sqrt(1.0 - fit->phi * fit->phi)};
    if (!isnan(before)) {
        left.expected = fit->mean + fit->phi * (before - fit->mean);
        left.sigma = fit->sigma;
    }
    left.value = x - left.expected;
    return left;
}

enum an_status an_ljung_box_of(const double x[], size_t n, size_t lags, size_t fitted,
                               struct an_ljung_box *result)
{
    double sum = 0.0;
    if (lags <= fitted || n <= lags + 1) {
        return AN_TOO_FEW;
    }
    for (size_t lag = 1; lag <= lags; lag++) {
        double r;
        const enum an_status st = an_autocorrelation(x, n, lag, &r);
        if (st) {
            return st;
        }
        sum += r * r / (double)(n - lag);
    }
    result->q = (double)n * ((double)n + 2.0) * sum;
    result->df = (double)(lags - fitted);
    result->p = an_chi_square_above(result->q, result->df);
    return AN_OK;
}

struct an_too_narrow an_autocorrelation_narrows(double r, double k)
{
    if (!(r > -1.0 && r < 1.0)) {
        return (struct an_too_narrow){NAN, NAN};
    }
    const double factor = 1.0 / sqrt(1.0 - r);
    return (struct an_too_narrow){factor, 2.0 * an_normal_above(k / factor)};
}
