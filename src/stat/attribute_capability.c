/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Fractions, rates, rolled yield.
 *
 *   fraction  quantiles of beta(count, n - count + 1) and beta(count + 1, n - count) [Clopper and
 *             Pearson, The use of confidence or fiducial limits, Biometrika 26, 1934; from memory]
 *   rate      half the quantiles of chi-square with 2 count and 2 count + 2 degrees of freedom
 *             [Garwood, Fiducial limits for the Poisson distribution, Biometrika 28, 1936; from
 *             memory]
 *   rolled    R = product p_i; with l_i, u_i the steps' exact bounds, log R - sqrt(sum (log p_i - log
 *             l_i)^2) and log R + sqrt(sum (log u_i - log p_i)^2) [Zou and Donner, Construction of
 *             confidence limits about effect measures, Statistics in Medicine 27, 2008; from memory].
 *             One step gives its exact bounds.
 *   scatter   Pearson's chi-square over its degrees of freedom; bounds with count and n divided by
 *             it: what so scattered counts are worth [McCullagh and Nelder, Generalized Linear
 *             Models, 1989, section 4.5; from memory]
 */
#include "andamento/stat/tests.h"
#include "andamento/stat/yield.h"
#include "stat/distribution.h"

#include <math.h>

static bool confidence_ok(double confidence)
{
    return confidence > 0.0 && confidence < 1.0;
}

enum an_status an_fraction_of(double count, double n, double confidence, struct an_index *fraction)
{
    if (!(n > 0.0 && count >= 0.0 && count <= n) || !isfinite(n) || !confidence_ok(confidence)) {
        return AN_DOMAIN;
    }
    const double tail = (1.0 - confidence) / 2.0;
    *fraction = (struct an_index){
        count / n, count > 0.0 ? an_beta_quantile(tail, count, n - count + 1.0) : 0.0,
        count < n ? an_beta_quantile(1.0 - tail, count + 1.0, n - count) : 1.0};
    return AN_OK;
}

enum an_status an_rate_of(double count, double exposure, double confidence, struct an_index *rate)
{
    if (!(exposure > 0.0 && count >= 0.0) || !isfinite(exposure) || !isfinite(count) ||
        !confidence_ok(confidence)) {
        return AN_DOMAIN;
    }
    const double tail = (1.0 - confidence) / 2.0;
    *rate = (struct an_index){
        count / exposure,
        count > 0.0 ? an_chi_square_quantile(tail, 2.0 * count) / 2.0 / exposure : 0.0,
        an_chi_square_quantile(1.0 - tail, 2.0 * count + 2.0) / 2.0 / exposure};
    return AN_OK;
}

enum an_status an_rolled_yield(const struct an_yield_step steps[], size_t count, double confidence,
                               struct an_index *yield)
{
    if (count == 0) {
        return AN_TOO_FEW;
    }
    double logs = 0.0, down = 0.0, up = 0.0, most = 1.0;
    bool none = false;
    for (size_t i = 0; i < count; i++) {
        struct an_index step;
        const enum an_status st = an_fraction_of(steps[i].good, steps[i].units, confidence, &step);
        if (st) {
            return st;
        }
        most = fmin(most, step.upper);
        if (!(step.value > 0.0)) {
            none = true;
            continue;
        }
        const double here = log(step.value);
        logs += here;
        down += (here - log(step.lower)) * (here - log(step.lower));
        up += (log(step.upper) - here) * (log(step.upper) - here);
    }
    *yield = none ? (struct an_index){0.0, 0.0, most}
                  : (struct an_index){exp(logs), exp(logs - sqrt(down)),
                                      fmin(most, exp(logs + sqrt(up)))};
    return AN_OK;
}

double an_sigma_level(double fraction, double shift)
{
    return an_normal_quantile_above(fraction) + shift;
}

enum an_status an_dispersion_of(const struct an_count_sample samples[], size_t m, bool proportion,
                                double confidence, struct an_dispersion *dispersion)
{
    double count = 0.0, opportunities = 0.0;
    for (size_t i = 0; i < m; i++) {
        const struct an_count_sample *const s = &samples[i];
        if (!(s->opportunities > 0.0 && s->count >= 0.0) || !isfinite(s->opportunities) ||
            !isfinite(s->count) || (proportion && s->count > s->opportunities)) {
            return AN_DOMAIN;
        }
        count += s->count;
        opportunities += s->opportunities;
    }
    if (m < 2) {
        return AN_TOO_FEW;
    }
    const double mean = count / opportunities;
    if (!(mean > 0.0) || (proportion && !(mean < 1.0))) {
        return AN_NO_SPREAD;
    }
    double sum = 0.0;
    for (size_t i = 0; i < m; i++) {
        const double expected = samples[i].opportunities * mean;
        const double off = samples[i].count - expected;
        sum += off * off / (expected * (proportion ? 1.0 - mean : 1.0));
    }
    dispersion->df = (double)m - 1.0;
    dispersion->factor = sum / dispersion->df;
    dispersion->p = an_chi_square_above(sum, dispersion->df);
    const double worth = fmax(1.0, dispersion->factor);
    return proportion
               ? an_fraction_of(count / worth, opportunities / worth, confidence,
                                &dispersion->widened)
               : an_rate_of(count / worth, opportunities / worth, confidence, &dispersion->widened);
}
