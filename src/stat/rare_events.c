/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Gaps between rare events.
 *
 * Responsible for: exact limits of a gap that may hold several events. The hard idea: P(length of r
 * events <= x) = P(at least r events in x), a tail of the binomial or the Poisson distribution, so
 * no other distribution is needed, and a file that brings three events at once is one point judged
 * as what it is. [Kaminsky, Benneyan, Davis and Burke, Statistical control charts based on a
 * geometric distribution, Journal of Quality Technology 24(2), 1992; from memory]
 */
#include "andamento/stat/rare_events.h"

#include "andamento/stat/tests.h"
#include "stat/compensated.h"
#include "stat/distribution.h"

#include <math.h>

#define POWER (1.0 / 3.6)

static bool gap_ok(enum an_gap_kind kind, struct an_gap gap)
{
    const bool good = gap.length > 0.0 && isfinite(gap.length) && gap.events >= 1.0 &&
                      isfinite(gap.events) && gap.events == floor(gap.events) && gap.within >= 0.0;
    return good &&
           (kind == AN_GAP_TIME || (gap.length == floor(gap.length) && gap.length >= gap.events));
}

enum an_status an_gap_learn(enum an_gap_kind kind, const struct an_gap gaps[], size_t m,
                            struct an_gap_model *model)
{
    struct pair_sum length = {0.0, 0.0};
    double events = 0.0;
    for (size_t i = 0; i < m; i++) {
        if (!gap_ok(kind, gaps[i])) {
            return AN_DOMAIN;
        }
        pair_add(&length, gaps[i].length);
        events += gaps[i].events;
    }
    if (m < 2) {
        return AN_TOO_FEW;
    }
    *model = (struct an_gap_model){kind, length.hi / events, (double)m, events};
    return AN_OK;
}

/* P(length <= x), P(length > x). */
static double chance(const struct an_gap_model *model, double events, double x, bool above)
{
    if (model->kind == AN_GAP_TRIALS) {
        const double p = 1.0 / model->mean;
        return above ? an_binomial_below(events - 1.0, x, p)
                     : an_binomial_above(events - 1.0, x, p);
    }
    const double expected = x / model->mean;
    return above ? an_poisson_below(events - 1.0, expected)
                 : an_poisson_above(events - 1.0, expected);
}

static double quantile(const struct an_gap_model *model, double events, double p, bool above)
{
    return model->kind == AN_GAP_TRIALS
               ? events + an_negative_binomial_quantile(p, above, events, 1.0 / model->mean)
               : model->mean * an_gamma_quantile(p, above, events);
}

/* In how much of its end the last event can lie. */
static double place_of(const struct an_gap_model *model, struct an_gap gap)
{
    return fmax(gap.within, model->kind == AN_GAP_TRIALS ? 1.0 : 0.0);
}

/* By the chance of a length at least so extreme beyond the limits, else by the middle of its step. */
static double z_of(const struct an_gap_model *model, struct an_gap gap, double k)
{
    const double tail = an_normal_above(k);
    const double earliest = fmax(0.0, gap.length - place_of(model, gap)); /* that it may have had */
    const double shorter = chance(model, gap.events, gap.length, false);  /* or as short */
    const double longer = chance(model, gap.events, earliest, true);      /* or as long */
    if (shorter <= tail) {
        return fmin(-an_normal_quantile_above(shorter), -nextafter(k, INFINITY));
    }
    if (longer <= tail) {
        return fmax(an_normal_quantile_above(longer), nextafter(k, INFINITY));
    }
    const double low = 0.5 * (shorter + chance(model, gap.events, earliest, false));
    const double high = 0.5 * (longer + chance(model, gap.events, gap.length, true));
    const double z = low < high ? -an_normal_quantile_above(low) : an_normal_quantile_above(high);
    return fmax(-k, fmin(k, z));
}

struct an_gap_point an_gap_judge(const struct an_gap_model *model, struct an_gap gap, double k)
{
    struct an_gap_point point = {NAN, NAN, NAN, NAN, NAN, NAN, NAN};
    if (!gap_ok(model->kind, gap) || !(model->mean > 0.0) || !isfinite(model->mean) ||
        (model->kind == AN_GAP_TRIALS && model->mean < 1.0) || !(k > 0.0)) {
        return point;
    }
    const double tail = an_normal_above(k);
    const double events = gap.events;
    const double lcl = quantile(model, events, tail, false);
    const double place = place_of(model, gap);
    const double ucl =
        quantile(model, events, tail, true) + place - (model->kind == AN_GAP_TRIALS ? 1.0 : 0.0);
    point.value = gap.length / events;
    point.centre = quantile(model, events, 0.5, false) / events;
    point.ucl = ucl / events;
    point.above =
        chance(model, events, ucl - place + (model->kind == AN_GAP_TRIALS ? 1.0 : 0.0), true);
    if (model->kind == AN_GAP_TIME) {
        point.lcl = lcl / events;
        point.below = chance(model, events, lcl, false);
    } else {
        point.lcl = lcl > events ? lcl / events : (double)NAN; /* none is shorter */
        point.below = lcl > events ? chance(model, events, lcl - 1.0, false) : 0.0;
    }
    point.z = z_of(model, gap, k);
    return point;
}

double an_gap_power(double length)
{
    return length >= 0.0 ? pow(length, POWER) : (double)NAN;
}

double an_gap_power_back(double y)
{
    return y >= 0.0 ? pow(y, 3.6) : (double)NAN;
}

/* E X^a = mean^a gamma(1 + a) for exponential X. */
void an_gap_power_moments(double mean_gap, double *mean, double *sd)
{
    const double scale = an_gap_power(mean_gap);
    const double first = exp(an_log_gamma(1.0 + POWER));
    const double second = exp(an_log_gamma(1.0 + 2.0 * POWER));
    *mean = scale * first;
    *sd = scale * sqrt(second - first * first);
}
