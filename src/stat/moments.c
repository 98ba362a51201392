/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Mean and sum of squared deviations of doubles.
 *
 * Responsible for: the analytic road of moments.h (the exact road is exact_sums.c). Must never
 * allocate, nor form sum(x*x) - n*mean*mean. Hard idea: the mean is kept as a pair of doubles, so
 * that the second pass subtracts a mean that is right to about 32 digits; then the answer is as
 * good as the doubles handed in, however small the spread is beside the level.
 */
#include "andamento/stat/moments.h"

#include "stat/compensated.h"

#include <math.h>

static const struct an_moments no_moments = {0, 0.0, 0.0, NAN, NAN};

enum an_status an_moments_of(const double x[], size_t n, struct an_moments *moments)
{
    *moments = no_moments;
    if (n == 0) {
        return AN_TOO_FEW;
    }
    double low = x[0], high = x[0];
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(x[i])) {
            return AN_DOMAIN;
        }
        low = x[i] < low ? x[i] : low;
        high = x[i] > high ? x[i] : high;
    }
    const struct pair_sum mean = pair_mean(x, n);
    struct pair_sum ssd = {0.0, 0.0};
    for (size_t i = 0; i < n; i++) {
        const double d = pair_from(x[i], mean);
        pair_add_product(&ssd, d, d);
    }
    if (!isfinite(mean.hi) || !isfinite(ssd.hi)) {
        return AN_DOMAIN; /* finite readings whose sums leave the range of doubles */
    }
    *moments = (struct an_moments){(int64_t)n, mean.hi, ssd.hi, low, high};
    return AN_OK;
}

double an_moments_sd(const struct an_moments *moments)
{
    if (moments->n < 2) {
        return NAN;
    }
    return sqrt(moments->ssd / (double)(moments->n - 1));
}

struct an_moments an_moments_join(const struct an_moments *a, const struct an_moments *b)
{
    if (a->n == 0) {
        return *b;
    }
    if (b->n == 0) {
        return *a;
    }
    /* The larger group leads, so that join(a, b) and join(b, a) are the same bits. */
    const bool swap = b->n > a->n || (b->n == a->n && b->mean < a->mean);
    const struct an_moments *lead = swap ? b : a;
    const struct an_moments *more = swap ? a : b;
    const double n_lead = (double)lead->n;
    const double n_more = (double)more->n;
    const double n = n_lead + n_more;
    const double delta = more->mean - lead->mean;
    return (struct an_moments){
        .n = lead->n + more->n,
        .mean = lead->mean + delta * (n_more / n),
        .ssd = (lead->ssd + more->ssd) + delta * delta * (n_lead * n_more / n),
        .min = fmin(lead->min, more->min),
        .max = fmax(lead->max, more->max),
    };
}

struct an_moments an_moments_convert(const struct an_moments *moments, double factor, double offset)
{
    struct an_moments out = *moments;
    if (moments->n == 0) {
        return out;
    }
    const double first = moments->min * factor + offset;
    const double last = moments->max * factor + offset;
    out.mean = moments->mean * factor + offset;
    out.ssd = moments->ssd * factor * factor;
    out.min = fmin(first, last);
    out.max = fmax(first, last);
    return out;
}
