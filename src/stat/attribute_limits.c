/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Probability limits of binomial and Poisson counts.
 *
 * Must never call a count on its limit beyond it, nor state a chance that is only nominal: a count is
 * whole, so the chance of a false alarm is what the distribution gives, told beside the limits.
 * The two tails are the two of the normal chart's limits. [Shewhart's limits by chance: Wetherill and
 * Brown, Statistical Process Control, 1991, chapter on attributes; from memory]
 */
#include "andamento/stat/attribute_limits.h"

#include "andamento/stat/tests.h"
#include "stat/distribution.h"

#include <math.h>

static bool law_ok(const struct an_count_law *law)
{
    const bool some = law->n > 0.0 && isfinite(law->n) && law->rate >= 0.0 && isfinite(law->rate);
    return some && (!law->proportion || (law->n == floor(law->n) && law->rate <= 1.0));
}

static double below_or_at(const struct an_count_law *law, double count)
{
    return law->proportion ? an_binomial_below(count, law->n, law->rate)
                           : an_poisson_below(count, law->n * law->rate);
}

static double above(const struct an_count_law *law, double count)
{
    return law->proportion ? an_binomial_above(count, law->n, law->rate)
                           : an_poisson_above(count, law->n * law->rate);
}

static double quantile(const struct an_count_law *law, double p, bool upper)
{
    return law->proportion ? an_binomial_quantile(p, upper, law->n, law->rate)
                           : an_poisson_quantile(p, upper, law->n * law->rate);
}

enum an_status an_probability_limits(const struct an_count_law *law, double tail,
                                     struct an_probability_limits *limits)
{
    if (!law_ok(law) || !(tail > 0.0 && tail < 0.5)) {
        return AN_DOMAIN;
    }
    limits->ucl = quantile(law, tail, true);
    limits->lcl = quantile(law, tail, false);
    limits->above = above(law, limits->ucl);
    limits->below = limits->lcl > 0.0 ? below_or_at(law, limits->lcl - 1.0) : 0.0;
    if (!(limits->lcl > 0.0)) {
        limits->lcl = NAN;
    }
    if (law->proportion && limits->ucl >= law->n) {
        limits->ucl = NAN;
    }
    return AN_OK;
}

double an_probability_z(const struct an_count_law *law, double count, double k)
{
    if (!law_ok(law) || !(count >= 0.0) || !(k > 0.0)) {
        return NAN;
    }
    const double tail = an_normal_above(k);
    const double mean = law->n * law->rate;
    const double sigma = sqrt(mean * (law->proportion ? 1.0 - law->rate : 1.0));
    const double as_many = above(law, ceil(count) - 1.0);
    const double as_few = below_or_at(law, floor(count));
    if (count > mean && as_many <= tail) {
        return fmax(an_normal_quantile_above(as_many), nextafter(k, INFINITY));
    }
    if (count < mean && as_few <= tail) {
        return fmin(-an_normal_quantile_above(as_few), -nextafter(k, INFINITY));
    }
    return sigma > 0.0 ? fmax(-k, fmin(k, (count - mean) / sigma)) : (double)NAN;
}

enum an_status an_scatter_change_of(struct an_scatter before, struct an_scatter now,
                                    double confidence, struct an_scatter_change *change)
{
    const bool good = before.df >= 1.0 && now.df >= 1.0 && before.factor >= 0.0 &&
                      now.factor >= 0.0 && isfinite(before.factor) && isfinite(now.factor) &&
                      confidence > 0.0 && confidence < 1.0;
    if (!good) {
        return AN_DOMAIN;
    }
    if (!(before.factor > 0.0 && now.factor > 0.0)) {
        return AN_NO_SPREAD;
    }
    const double tail = (1.0 - confidence) / 2.0;
    change->ratio = now.factor / before.factor;
    change->lower = change->ratio / an_f_quantile_above(tail, now.df, before.df);
    change->upper = change->ratio * an_f_quantile_above(tail, before.df, now.df);
    const double larger = an_f_above(change->ratio, now.df, before.df);
    const double smaller = an_f_above(1.0 / change->ratio, before.df, now.df);
    change->p = fmin(1.0, 2.0 * fmin(larger, smaller));
    return AN_OK;
}
