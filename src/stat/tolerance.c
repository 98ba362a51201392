/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Tolerance factors of normal samples, and tolerance limits by order statistics.
 *
 *   one-sided  k sqrt(n) is the quantile of noncentral t with n - 1 degrees of freedom and
 *              noncentrality z(coverage) sqrt(n), at the confidence
 *   two-sided  P over mean and s that the interval holds the coverage: given the mean at x (normal,
 *              variance 1/n) it holds it when s k >= r(x), where the normal share within x +- r is
 *              the coverage; so E[ P(chi2 > (n-1) r(x)^2 / k^2) ] = confidence, solved for k. The
 *              trapezoid rule over the whole line converges exponentially.
 *              [Odeh and Owen, Tables for Normal Tolerance Limits, Sampling Plans, and Screening,
 *              1980; Eberhardt, Mee, Reeve, Computing factors for exact two-sided tolerance limits
 *              for a normal distribution, Communications in Statistics B 18, 1989; ISO 16269-6; from
 *              memory]
 *   Howe       sqrt((n-1) (1 + 1/n) z^2 / chi2(1 - confidence)) [Howe, Two-sided tolerance limits for
 *              normal populations, JASA 64, 1969; from memory]
 *   order      share between the r-th smallest and the s-th largest is beta(n - r - s + 1, r + s)
 *              [Wilks, Determination of sample sizes for setting tolerance limits, Annals of
 *              Mathematical Statistics 12, 1941; from memory]
 */
#include "andamento/stat/tolerance.h"

#include "andamento/stat/tests.h"
#include "stat/distribution.h"
#include "stat/fit_solve.h"

#include <math.h>

#define MOST_N 1000000
#define REACH 90 /* points on each side of the middle, a tenth of a sigma apart */

static enum an_status check(size_t n, const struct an_tolerance_wish *wish)
{
    if (!(wish->coverage > 0.0 && wish->coverage < 1.0 && wish->confidence > 0.0 &&
          wish->confidence < 1.0) ||
        n > MOST_N) {
        return AN_DOMAIN;
    }
    return n < 2 ? AN_TOO_FEW : AN_OK;
}

struct t_wanted {
    double df, delta, p;
};

static double t_off(const void *of, double t)
{
    const struct t_wanted *w = of;
    return an_noncentral_t_below(t, w->df, w->delta, NULL) - w->p;
}

enum an_status an_tolerance_one_sided(size_t n, const struct an_tolerance_wish *wish, double *k)
{
    const enum an_status st = check(n, wish);
    if (st) {
        return st;
    }
    const double root = sqrt((double)n);
    const struct t_wanted w = {(double)n - 1.0, an_normal_quantile(wish->coverage) * root,
                               wish->confidence};
    double low = w.delta - 1.0, high = w.delta + 1.0, step = 1.0;
    for (int i = 0; i < 80 && t_off(&w, low) > 0.0; i++, step *= 2.0) {
        low -= step;
    }
    step = 1.0;
    for (int i = 0; i < 80 && t_off(&w, high) < 0.0; i++, step *= 2.0) {
        high += step;
    }
    double t;
    const enum an_status found = solve_root(t_off, &w, low, high, 0.0, &t);
    if (!found) {
        *k = t / root;
    }
    return found;
}

struct half_width {
    double x, coverage;
};

static double share_off(const void *of, double r)
{
    const struct half_width *h = of;
    return an_normal_below(r - h->x) - an_normal_below(-r - h->x) - h->coverage;
}

struct two_sided {
    double df, confidence;
    double r[REACH + 1], weight[REACH + 1];
};

/* log k, since k spans decades */
static double confidence_off(const void *of, double log_k)
{
    const struct two_sided *t = of;
    const double k = exp(log_k);
    double sum = 0.0, weights = 0.0;
    for (int i = 0; i <= REACH; i++) {
        const double ratio = t->r[i] / k;
        sum += t->weight[i] * an_chi_square_above(t->df * ratio * ratio, t->df);
        weights += t->weight[i];
    }
    return sum / weights - t->confidence;
}

enum an_status an_tolerance_two_sided(size_t n, const struct an_tolerance_wish *wish, double *k)
{
    enum an_status st = check(n, wish);
    struct two_sided t = {.df = (double)n - 1.0, .confidence = wish->confidence};
    const double outer = st ? 0.0 : an_normal_quantile_above((1.0 - wish->coverage) / 2.0);
    for (int i = 0; !st && i <= REACH; i++) {
        const double z = 0.1 * i;
        const struct half_width h = {z / sqrt((double)n), wish->coverage};
        t.weight[i] = (i == 0 ? 1.0 : 2.0) * exp(-z * z / 2.0);
        st = solve_root(share_off, &h, 0.0, h.x + outer + 1e-9, 0.0, &t.r[i]);
    }
    double log_k = 0.0;
    if (!st) {
        st = solve_root(confidence_off, &t, log(outer) - 3.0, log(outer) + 40.0, 0.0, &log_k);
    }
    if (!st) {
        *k = exp(log_k);
    }
    return st;
}

enum an_status an_tolerance_howe(size_t n, const struct an_tolerance_wish *wish, double *k)
{
    const enum an_status st = check(n, wish);
    if (!st) {
        const double df = (double)n - 1.0;
        const double z = an_normal_quantile_above((1.0 - wish->coverage) / 2.0);
        *k = z * sqrt(df * (1.0 + 1.0 / (double)n) /
                      an_chi_square_quantile(1.0 - wish->confidence, df));
    }
    return st;
}

/* Confidence that the interval without `cut` outer blocks holds the coverage. */
static double order_confidence(size_t n, size_t cut, double coverage)
{
    return an_binomial_below((double)n - (double)cut, (double)n, coverage);
}

enum an_status an_tolerance_order(size_t n, const struct an_tolerance_wish *wish, bool two_sided,
                                  size_t *cut, double *reached, size_t *least)
{
    const size_t first = two_sided ? 2 : 1;
    if (check(n < 2 ? 2 : n, wish)) {
        return AN_DOMAIN;
    }
    size_t low = first - 1, high = first;
    while (order_confidence(high, first, wish->coverage) < wish->confidence) {
        low = high;
        high *= 2;
    }
    while (high - low > 1) {
        const size_t middle = low + (high - low) / 2;
        *(order_confidence(middle, first, wish->coverage) < wish->confidence ? &low : &high) =
            middle;
    }
    *least = high;
    if (n < high) {
        *reached = n < first ? 0.0 : order_confidence(n, first, wish->coverage);
        return AN_TOO_FEW;
    }
    size_t good = first, bad = n + 1;
    while (bad - good > 1) {
        const size_t middle = good + (bad - good) / 2;
        *(order_confidence(n, middle, wish->coverage) < wish->confidence ? &bad : &good) = middle;
    }
    *cut = good;
    *reached = order_confidence(n, good, wish->coverage);
    return AN_OK;
}
