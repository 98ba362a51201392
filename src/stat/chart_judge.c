/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Judging one sample by a model: both panels' value, limits and z.
 *
 * Responsible for: limits that vary from point to point with n or opportunities. Hard idea: the
 * limits are computed, so they carry a rounding error, while a reading that stands on its limit
 * is not beyond it (16 - 3 * 4 = 4 defects is in control). The rounding of a limit is known to be
 * below a few units in the last place of its terms; a value nearer to a line than that cannot be
 * told from it and is put on it, for the lines that rules look at: 0, 1, 2 and k sigmas.
 */
#include "andamento/stat/attribute_limits.h"
#include "andamento/stat/chart.h"
#include "andamento/stat/tests.h"
#include "stat/chart_formulas.h"

#include <float.h>
#include <math.h>

static const struct an_panel_point no_point = {NAN, NAN, NAN, NAN, NAN};

double z_on_lines(double value, double centre, double sigma, double k)
{
    if (!(sigma > 0.0)) {
        return NAN;
    }
    const double z = (value - centre) / sigma;
    const double noise = 8.0 * DBL_EPSILON * (fabs(centre) / sigma + k);
    const double lines[] = {0.0, 1.0, 2.0, k};
    for (size_t i = 0; i < sizeof lines / sizeof lines[0]; i++) {
        if (fabs(fabs(z) - lines[i]) <= noise) {
            return copysign(lines[i], z) + 0.0; /* + 0.0: no minus zero */
        }
    }
    return z;
}

/* no_floor: values below 0 are possible, so is any lower limit. */
static struct an_panel_point judged(double value, struct point_theory theory, double k,
                                    bool no_floor)
{
    struct an_panel_point point = {
        .value = value,
        .centre = theory.centre,
        .lcl = theory.centre - k * theory.sigma,
        .ucl = theory.centre + k * theory.sigma,
        .z = z_on_lines(value, theory.centre, theory.sigma, k),
    };
    if (!no_floor && !(point.lcl > 0.0)) {
        point.lcl = NAN;
    }
    return point;
}

static struct point_theory times(struct point_theory theory, double sigma)
{
    return (struct point_theory){theory.centre * sigma, theory.sigma * sigma};
}

static struct an_panel_point judge_spread(const struct an_chart_model *model,
                                          const struct an_chart_sample *sample,
                                          const struct an_chart_sample *before)
{
    switch (model->family) {
    case AN_XBAR_R:
        if (sample->n >= 2.0) {
            return judged(sample->range, times(range_theory(sample->n), model->sigma_within),
                          model->k, false);
        }
        return no_point;
    case AN_XBAR_S:
    case AN_BETWEEN_WITHIN:
        if (sample->n >= 2.0) {
            return judged(sample->sd, times(sd_theory(sample->n), model->sigma_within), model->k,
                          false);
        }
        return no_point;
    case AN_INDIVIDUALS:
        if (before != NULL && !before->excluded) {
            const struct point_theory two = {D2_OF_TWO, D3_OF_TWO};
            return judged(fabs(sample->mean - before->mean), times(two, model->sigma_level),
                          model->k, false);
        }
        return no_point;
    default:
        return no_point;
    }
}

const struct an_chart_point an_chart_no_point = {
    {NAN, NAN, NAN, NAN, NAN}, {NAN, NAN, NAN, NAN, NAN}, {NAN, NAN, NAN}, NAN, NAN, NAN};

/* The level of one sample and what it should be; false if there is nothing to judge. */
static bool level_of(const struct an_chart_model *model, const struct an_chart_sample *sample,
                     struct an_plain_point *level)
{
    if (an_family_is_attribute(model->family)) {
        if (!(sample->opportunities > 0.0)) {
            return false;
        }
        const struct point_theory theory = attribute_theory(
            model->family, model->centre, model->mean_opportunities, sample->opportunities);
        *level = (struct an_plain_point){attribute_value(model->family, sample), theory.centre,
                                         theory.sigma * model->dispersion};
        return true;
    }
    if (!(sample->n >= 1.0)) {
        return false;
    }
    const bool by_n = model->family == AN_XBAR_R || model->family == AN_XBAR_S;
    *level =
        (struct an_plain_point){sample->mean, model->centre,
                                by_n ? model->sigma_within / sqrt(sample->n) : model->sigma_level};
    return true;
}

/* Exact limits of a count, on the scale of what is plotted. */
static struct an_panel_point by_chance(const struct an_chart_model *model,
                                       const struct an_chart_sample *sample,
                                       const struct an_plain_point *level)
{
    const bool proportion = model->family == AN_P || model->family == AN_NP;
    const bool plain_count = model->family == AN_NP || model->family == AN_C;
    const struct an_count_law law = {
        proportion, plain_count ? model->centre / model->mean_opportunities : model->centre,
        sample->opportunities};
    const double scale = plain_count ? 1.0 : 1.0 / sample->opportunities;
    struct an_probability_limits limits;
    struct an_panel_point point = {level->value, level->centre, NAN, NAN, NAN};
    if (an_probability_limits(&law, an_normal_above(model->k), &limits)) {
        return point;
    }
    point.lcl = limits.lcl * scale;
    point.ucl = limits.ucl * scale;
    point.z = an_probability_z(&law, sample->count, model->k);
    return point;
}

struct an_chart_point an_chart_judge(const struct an_chart_model *model,
                                     const struct an_chart_sample *sample,
                                     const struct an_chart_sample *before)
{
    struct an_chart_point point = an_chart_no_point;
    const bool counted = an_family_is_attribute(model->family);
    struct an_plain_point level;
    if (is_other(model->family)) {
        return judge_other(model, sample, before, NULL);
    }
    if (!level_of(model, sample, &level)) {
        return point;
    }
    const struct point_theory theory = {level.centre, level.sigma};
    if (model->probability) {
        point.level = by_chance(model, sample, &level);
        return point;
    }
    point.level = judged(level.value, theory, model->k, !counted);
    if (!counted) {
        point.spread = judge_spread(model, sample, before);
    }
    return point;
}

struct an_chart_point an_chart_judge_weighted(const struct an_chart_model *model,
                                              const struct an_chart_sample *sample,
                                              const struct an_chart_sample *before,
                                              struct an_weighted_state *state)
{
    struct an_chart_point point = an_chart_judge(model, sample, before);
    const struct an_weighting *weighting = &model->weighting;
    const bool no_floor = weighting->kind == AN_CUSUM || !an_family_is_attribute(model->family);
    struct an_plain_point level;
    if (is_other(model->family)) {
        return judge_other(model, sample, before, state);
    }
    point.level = no_point;
    if (!level_of(model, sample, &level)) {
        return point;
    }
    point.plain = level;
    const struct an_weighted_point taken =
        an_weighted_take(weighting, model->sigma_level, level, state);
    if (isnan(taken.statistic)) {
        return point;
    }
    const struct point_theory theory = {taken.centre, taken.sigma};
    point.level = judged(taken.statistic, theory, weighting->limits, no_floor);
    if (weighting->kind == AN_CUSUM) {
        point.level.z = taken.z; /* the very number that decided whether the sums begin anew */
    }
    point.upper = taken.upper;
    point.lower = taken.lower;
    point.run = taken.run;
    return point;
}

struct an_panel_point an_chart_usual(const struct an_chart_model *model)
{
    const bool counted = an_family_is_attribute(model->family);
    const double half = model->k * model->sigma_level;
    struct an_panel_point point = {NAN, model->centre, model->centre - half, model->centre + half,
                                   NAN};
    if (is_other(model->family)) {
        usual_other(model, &point);
    } else if (model->probability) {
        const bool plain_count = model->family == AN_NP || model->family == AN_C;
        const double n = plain_count ? model->mean_opportunities : round(model->mean_opportunities);
        const struct an_chart_sample sample = {.opportunities = n, .count = 0.0};
        const struct an_plain_point level = {NAN, model->centre, model->sigma_level};
        point = by_chance(model, &sample, &level);
        point.z = NAN;
    } else if (counted && point.lcl < 0.0) {
        point.lcl = NAN;
    }
    return point;
}

double an_chart_limit_sigmas(const struct an_chart_model *model, int panel)
{
    return panel == 0 && model->weighting.kind != AN_UNWEIGHTED ? model->weighting.limits
                                                                : model->k;
}

/* ---- how sure the limits are ---- */

/* Counts: sigma is a function of the centre, whose own error is that of a count. */
static double attribute_relative_se(const struct an_chart_model *model)
{
    const double m = (double)model->samples;
    const bool proportion =
        model->family == AN_P || model->family == AN_NP || model->family == AN_P_PRIME;
    const bool plain_count = model->family == AN_NP || model->family == AN_C;
    const double per_sample =
        plain_count ? model->centre : model->centre * model->mean_opportunities;
    const double total = per_sample * m;
    if (!proportion) {
        return 0.5 / sqrt(total); /* d log sqrt(u) = du / 2u */
    }
    const double p = per_sample / model->mean_opportunities;
    const double opportunities = model->mean_opportunities * m;
    return fabs(1.0 - 2.0 * p) / (2.0 * sqrt(p * (1.0 - p) * opportunities));
}

void an_chart_uncertainty(const struct an_chart_model *model, double *sigma_relative_se,
                          double *centre_half_width)
{
    *sigma_relative_se = NAN;
    *centre_half_width = NAN;
    const double m = (double)model->samples;
    if (m < 2.0 || !(model->sigma_level > 0.0) || is_other(model->family)) {
        return;
    }
    const double by_ranges = moving_range_relative_se(m - 1.0, m - 2.0);
    double df = INFINITY;
    switch (model->family) {
    case AN_XBAR_R:
    case AN_XBAR_S:
        df = model->df_within;
        *sigma_relative_se = relative_se_of_df(df);
        break;
    case AN_INDIVIDUALS:
        df = model->df_within;
        *sigma_relative_se = relative_se_of_df(df);
        break;
    case AN_BETWEEN_WITHIN:
        df = df_of_relative_se(by_ranges);
        *sigma_relative_se = by_ranges;
        break;
    case AN_P_PRIME:
    case AN_U_PRIME:
        df = df_of_relative_se(by_ranges);
        *sigma_relative_se = hypot(by_ranges, model->dispersion * attribute_relative_se(model));
        break;
    default:
        *sigma_relative_se = attribute_relative_se(model);
        break;
    }
    const double quantile = isinf(df) ? an_normal_quantile(0.975) : an_t_quantile(0.975, df);
    *centre_half_width = quantile * model->sigma_level / sqrt(m);
}
