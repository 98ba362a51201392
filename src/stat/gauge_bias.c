/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Bias of a gauge against reference values, and whether the bias changes with the value.
 *
 * Responsible for the t test, the line and its bands. Never corrects a reading.
 * [Draper and Smith, Applied Regression Analysis, 3rd ed., 1998, ch. 1 and 2; from memory]
 */
#include "andamento/stat/gauge.h"
#include "andamento/stat/moments.h"
#include "andamento/stat/tests.h"

#include <math.h>

static double two_sided(double t, double df)
{
    return 2.0 * an_t_below(-fabs(t), df);
}

enum an_status an_gauge_bias_of(const double value[], size_t n, double reference, double confidence,
                                struct an_gauge_bias *bias)
{
    struct an_moments moments;
    *bias = (struct an_gauge_bias){.n = n, .t = NAN, .p = NAN, .lower = NAN, .upper = NAN};
    if (!isfinite(reference) || !(confidence > 0.0 && confidence < 1.0)) {
        return AN_DOMAIN;
    }
    const enum an_status st = an_moments_of(value, n, &moments);
    if (st || n < 2) {
        return st ? st : AN_TOO_FEW;
    }
    const double df = (double)n - 1.0;
    bias->mean = moments.mean;
    bias->bias = moments.mean - reference;
    bias->sd = an_moments_sd(&moments);
    bias->se = bias->sd / sqrt((double)n);
    if (!(bias->sd > 0.0)) {
        return AN_NO_SPREAD;
    }
    const double reach = an_t_quantile((1.0 + confidence) / 2.0, df) * bias->se;
    bias->t = bias->bias / bias->se;
    bias->p = two_sided(bias->t, df);
    bias->lower = bias->bias - reach;
    bias->upper = bias->bias + reach;
    return AN_OK;
}

/* Spread within equal references: what a straight line cannot be blamed for. */
static void lack_of_fit(const double value[], const double reference[], size_t n, double rest,
                        struct an_gauge_line *line)
{
    double pure = 0.0;
    double levels = 0.0;
    line->lack_f = line->lack_p = NAN;
    for (size_t i = 0; i < n; i++) {
        double mean = 0.0;
        double count = 0.0;
        bool first = true;
        for (size_t j = 0; j < n; j++) {
            if (reference[j] == reference[i]) {
                first = first && j >= i;
                mean += value[j] - value[i];
                count += 1.0;
            }
        }
        pure += mean / count * (mean / count);
        levels += first;
    }
    const double df_lack = levels - 2.0;
    const double df_pure = (double)n - levels;
    if (df_lack > 0.0 && df_pure > 0.0 && pure > 0.0) {
        const double lack = rest > pure ? rest - pure : 0.0;
        line->lack_f = lack / df_lack / (pure / df_pure);
        line->lack_p = an_f_above(line->lack_f, df_lack, df_pure);
    }
}

static double off_of(const double value[], const double reference[], size_t i)
{
    return reference ? value[i] - reference[i] : value[i];
}

/* The line of (value - reference, where there is one) over x. */
static enum an_status fit(const double value[], const double reference[], const double at[],
                          size_t n, double confidence, struct an_gauge_line *line)
{
    struct an_moments x;
    *line = (struct an_gauge_line){.n = n};
    if (n < 3) {
        return AN_TOO_FEW;
    }
    enum an_status st = an_moments_of(at, n, &x);
    if (st || !(confidence > 0.0 && confidence < 1.0)) {
        return st ? st : AN_DOMAIN;
    }
    if (!(x.ssd > 0.0)) {
        return AN_NO_SPREAD;
    }
    double mean = 0.0;
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(value[i])) {
            return AN_DOMAIN;
        }
        mean += off_of(value, reference, i) / (double)n;
    }
    double sxy = 0.0;
    double syy = 0.0;
    for (size_t i = 0; i < n; i++) {
        const double off = off_of(value, reference, i) - mean;
        sxy += (at[i] - x.mean) * off;
        syy += off * off;
    }
    line->slope = sxy / x.ssd;
    double rest = 0.0;
    for (size_t i = 0; i < n; i++) {
        const double off = off_of(value, reference, i) - mean - line->slope * (at[i] - x.mean);
        rest += off * off;
    }
    line->df = (double)n - 2.0;
    line->s = sqrt(rest / line->df);
    line->intercept = mean - line->slope * x.mean;
    line->se_slope = line->s / sqrt(x.ssd);
    line->se_intercept = line->s * sqrt(1.0 / (double)n + x.mean * x.mean / x.ssd);
    if (line->s > 0.0) {
        line->t_slope = line->slope / line->se_slope;
        line->t_intercept = line->intercept / line->se_intercept;
    } else { /* a perfect line: sure of whatever it says */
        line->t_slope = line->slope != 0.0 ? (double)INFINITY : 0.0;
        line->t_intercept = line->intercept != 0.0 ? (double)INFINITY : 0.0;
    }
    line->p_slope = two_sided(line->t_slope, line->df);
    line->p_intercept = two_sided(line->t_intercept, line->df);
    line->r_squared = syy > 0.0 ? 1.0 - rest / syy : 1.0;
    line->mean_reference = x.mean;
    line->spread_reference = x.ssd;
    line->average_bias = mean;
    line->t = an_t_quantile((1.0 + confidence) / 2.0, line->df);
    lack_of_fit(value, at, n, rest, line);
    return AN_OK;
}

enum an_status an_gauge_linearity(const double value[], const double reference[], size_t n,
                                  double confidence, struct an_gauge_line *line)
{
    return fit(value, reference, reference, n, confidence, line);
}

enum an_status an_gauge_drift(const double value[], const double time[], size_t n,
                              double confidence, struct an_gauge_line *line)
{
    return fit(value, NULL, time, n, confidence, line);
}

struct an_bounds an_gauge_band(const struct an_gauge_line *line, double reference)
{
    const double away = reference - line->mean_reference;
    const double at = line->average_bias + line->slope * away;
    const double reach =
        line->t * line->s * sqrt(1.0 / (double)line->n + away * away / line->spread_reference);
    return (struct an_bounds){at - reach, at + reach};
}
