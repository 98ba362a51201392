/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Learning a chart's model from a baseline.
 *
 * Responsible for: centre and sigmas of every family. Must never leave a sample out by itself: a
 * sample is excluded by its caller, with a reason kept elsewhere. Moving ranges run between
 * neighbours in the stream, so an excluded sample breaks them.
 *
 * Sources, all from memory: Montgomery, Introduction to Statistical Quality Control, chapters on
 * charts for variables and for attributes; NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2
 * and 6.3.3; for p', u' Laney, Improved control charts for attributes, Quality Engineering 14(4),
 * 2002; for between_within the three-way chart of the textbooks.
 */
#include "andamento/stat/chart.h"
#include "andamento/stat/constants.h"
#include "stat/chart_formulas.h"
#include "stat/compensated.h"

#include <math.h>

static bool whole(double x)
{
    return isfinite(x) && x == floor(x);
}

/* ---- passes over the baseline that families share ---- */

/* Weighted mean as first value + mean difference: equal values give that value, to the bit. */
struct centre_pass {
    double first;
    struct pair_sum differences, weights;
    size_t used;
};

static void centre_add(struct centre_pass *pass, double value, double weight)
{
    if (pass->used++ == 0) {
        pass->first = value;
    }
    pair_add_product(&pass->differences, value - pass->first, weight);
    pair_add(&pass->weights, weight);
}

static double centre_of(const struct centre_pass *pass)
{
    return pass->first + pass->differences.hi / pass->weights.hi;
}

/* Mean of the moving ranges of two, with what its uncertainty needs. */
struct range_pass {
    bool have_last, last_was_range;
    double last;
    struct pair_sum sum;
    double ranges, adjacent_pairs;
};

static void range_break(struct range_pass *pass)
{
    pass->have_last = false;
    pass->last_was_range = false;
}

static void range_add(struct range_pass *pass, double value)
{
    if (pass->have_last) {
        pair_add(&pass->sum, fabs(value - pass->last));
        pass->ranges += 1.0;
        pass->adjacent_pairs += pass->last_was_range ? 1.0 : 0.0;
    }
    pass->last_was_range = pass->have_last;
    pass->last = value;
    pass->have_last = true;
}

/* Pooled variance of the readings inside samples. */
struct pooled_pass {
    struct pair_sum squares;
    double df;
};

static void pooled_add(struct pooled_pass *pass, const struct an_chart_sample *sample)
{
    if (sample->n >= 2.0) {
        pair_add(&pass->squares, (sample->n - 1.0) * sample->sd * sample->sd);
        pass->df += sample->n - 1.0;
    }
}

/* sqrt of the pooled variance over c4 of its degrees of freedom + 1: without bias. */
static double pooled_sigma(const struct pooled_pass *pass)
{
    double c4;
    if (!(pass->df >= 1.0) || an_c4(pass->df + 1.0, &c4)) {
        return NAN;
    }
    return sqrt(pass->squares.hi / pass->df) / c4;
}

/* The commonest n among the samples used, the larger of two equally common. */
static double commonest_n(const struct an_chart_sample samples[], size_t m)
{
    double best = NAN, below = INFINITY;
    size_t best_count = 0;
    for (;;) { /* from the largest n downward, one round for each n there is */
        double n = -INFINITY;
        size_t count = 0;
        for (size_t i = 0; i < m; i++) {
            if (samples[i].excluded || samples[i].n >= below) {
                continue;
            }
            if (samples[i].n > n) {
                n = samples[i].n;
                count = 0;
            }
            count += samples[i].n == n ? 1U : 0U;
        }
        if (count == 0) {
            return best;
        }
        if (count > best_count) {
            best_count = count;
            best = n;
        }
        below = n;
    }
}

/* ---- what samples must be like ---- */

static enum an_status variables_check(enum an_family family, const struct an_chart_sample *sample)
{
    if (!whole(sample->n) || sample->n < 1.0 || !isfinite(sample->mean)) {
        return AN_DOMAIN;
    }
    const bool has_pair = sample->n >= 2.0;
    if (family == AN_XBAR_R) {
        if (!has_pair) {
            return AN_TOO_FEW;
        }
        return sample->n <= 25.0 && isfinite(sample->range) && sample->range >= 0.0 ? AN_OK
                                                                                    : AN_DOMAIN;
    }
    if (family == AN_XBAR_S || family == AN_BETWEEN_WITHIN) {
        return !has_pair || (isfinite(sample->sd) && sample->sd >= 0.0) ? AN_OK : AN_DOMAIN;
    }
    return AN_OK;
}

static enum an_status attribute_check(enum an_family family, const struct an_chart_sample *sample)
{
    const bool proportion = family == AN_P || family == AN_NP || family == AN_P_PRIME;
    if (!isfinite(sample->count) || sample->count < 0.0 || !isfinite(sample->opportunities) ||
        !(sample->opportunities > 0.0) || (proportion && sample->count > sample->opportunities)) {
        return AN_DOMAIN;
    }
    return AN_OK;
}

static enum an_status samples_check(enum an_family family, const struct an_chart_sample samples[],
                                    size_t m, size_t *used)
{
    const struct an_chart_sample *first = NULL;
    *used = 0;
    for (size_t i = 0; i < m; i++) {
        if (samples[i].excluded) {
            continue;
        }
        const enum an_status st = an_family_is_attribute(family)
                                      ? attribute_check(family, &samples[i])
                                      : variables_check(family, &samples[i]);
        if (st) {
            return st;
        }
        first = first != NULL ? first : &samples[i];
        const bool same_n = samples[i].n == first->n;
        const bool same_opportunities = samples[i].opportunities == first->opportunities;
        if ((family == AN_XBAR_R && !same_n) ||
            ((family == AN_NP || family == AN_C) && !same_opportunities)) {
            return AN_DOMAIN;
        }
        (*used)++;
    }
    return *used >= 2 ? AN_OK : AN_TOO_FEW;
}

/* ---- the families ---- */

static void learn_centre(struct an_chart_model *model, const struct an_chart_sample samples[],
                         size_t m, bool by_n)
{
    struct centre_pass pass = {0};
    for (size_t i = 0; i < m; i++) {
        if (!samples[i].excluded) {
            centre_add(&pass, samples[i].mean, by_n ? samples[i].n : 1.0);
        }
    }
    model->centre = centre_of(&pass);
}

static void learn_xbar_r(struct an_chart_model *model, const struct an_chart_sample samples[],
                         size_t m)
{
    struct centre_pass ranges = {0};
    for (size_t i = 0; i < m; i++) {
        if (!samples[i].excluded) {
            centre_add(&ranges, samples[i].range, 1.0);
        }
    }
    const struct point_theory theory = range_theory(model->n_nominal);
    model->spread_centre = centre_of(&ranges);
    model->sigma_within = model->spread_centre / theory.centre;
    model->df_within =
        df_of_relative_se(theory.sigma / theory.centre / sqrt((double)model->samples));
    model->sigma_level = model->sigma_within / sqrt(model->n_nominal);
}

static enum an_status learn_xbar_s(struct an_chart_model *model,
                                   const struct an_chart_sample samples[], size_t m)
{
    struct centre_pass sds = {0};
    struct pooled_pass pooled = {{0.0, 0.0}, 0.0};
    bool equal = true;
    for (size_t i = 0; i < m; i++) {
        if (!samples[i].excluded) {
            equal = equal && samples[i].n == model->n_nominal;
            centre_add(&sds, samples[i].sd, 1.0);
            pooled_add(&pooled, &samples[i]);
        }
    }
    if (!(pooled.df >= 1.0)) {
        return AN_TOO_FEW; /* no sample has two readings */
    }
    const struct point_theory theory = sd_theory(model->n_nominal);
    if (equal) {
        model->spread_centre = centre_of(&sds);
        model->sigma_within = model->spread_centre / theory.centre;
        model->df_within =
            df_of_relative_se(theory.sigma / theory.centre / sqrt((double)model->samples));
    } else {
        model->sigma_within = pooled_sigma(&pooled);
        model->spread_centre = theory.centre * model->sigma_within;
        model->df_within = pooled.df;
    }
    model->sigma_level = model->sigma_within / sqrt(model->n_nominal);
    return AN_OK;
}

/* individuals and between_within: the level is judged by how neighbours differ. */
static enum an_status learn_moving_range(struct an_chart_model *model,
                                         const struct an_chart_sample samples[], size_t m)
{
    struct range_pass ranges = {0};
    struct pooled_pass pooled = {{0.0, 0.0}, 0.0};
    for (size_t i = 0; i < m; i++) {
        if (samples[i].excluded) {
            range_break(&ranges);
            continue;
        }
        range_add(&ranges, samples[i].mean);
        if (model->family == AN_BETWEEN_WITHIN) {
            pooled_add(&pooled, &samples[i]);
        }
    }
    if (!(ranges.ranges >= 1.0)) {
        return AN_TOO_FEW; /* no two neighbours are left */
    }
    const double mean_range = ranges.sum.hi / ranges.ranges;
    model->sigma_level = mean_range / D2_OF_TWO;
    if (model->family == AN_INDIVIDUALS) {
        model->spread_centre = mean_range;
        model->sigma_within = model->sigma_level;
        model->df_within =
            df_of_relative_se(moving_range_relative_se(ranges.ranges, ranges.adjacent_pairs));
        return AN_OK;
    }
    model->sigma_within = pooled_sigma(&pooled);
    model->df_within = pooled.df >= 1.0 ? pooled.df : (double)NAN;
    model->spread_centre = sd_theory(model->n_nominal).centre * model->sigma_within;
    const double explained = model->sigma_within * model->sigma_within / model->n_nominal;
    const double beyond = model->sigma_level * model->sigma_level - explained;
    model->between = isnan(beyond) ? (double)NAN : sqrt(fmax(0.0, beyond));
    return AN_OK;
}

/* Laney's factor: how far neighbours differ, in sigmas of the plain chart. */
static enum an_status learn_dispersion(struct an_chart_model *model,
                                       const struct an_chart_sample samples[], size_t m)
{
    struct range_pass ranges = {0};
    for (size_t i = 0; i < m; i++) {
        if (samples[i].excluded) {
            range_break(&ranges);
            continue;
        }
        const struct point_theory theory = attribute_theory(
            model->family, model->centre, model->mean_opportunities, samples[i].opportunities);
        const double value = attribute_value(model->family, &samples[i]);
        range_add(&ranges, theory.sigma > 0.0 ? (value - theory.centre) / theory.sigma : 0.0);
    }
    if (!(ranges.ranges >= 1.0)) {
        return AN_TOO_FEW;
    }
    model->dispersion = ranges.sum.hi / ranges.ranges / D2_OF_TWO;
    return AN_OK;
}

static enum an_status learn_attribute(struct an_chart_model *model,
                                      const struct an_chart_sample samples[], size_t m)
{
    struct pair_sum counts = {0.0, 0.0}, opportunities = {0.0, 0.0};
    for (size_t i = 0; i < m; i++) {
        if (!samples[i].excluded) {
            pair_add(&counts, samples[i].count);
            pair_add(&opportunities, samples[i].opportunities);
        }
    }
    const double used = (double)model->samples;
    const bool plain_count = model->family == AN_NP || model->family == AN_C;
    model->mean_opportunities = opportunities.hi / used;
    model->centre = counts.hi / (plain_count ? used : opportunities.hi);
    if (model->family == AN_P_PRIME || model->family == AN_U_PRIME) {
        const enum an_status st = learn_dispersion(model, samples, m);
        if (st) {
            return st;
        }
    }
    model->sigma_level =
        model->dispersion * attribute_theory(model->family, model->centre,
                                             model->mean_opportunities, model->mean_opportunities)
                                .sigma;
    return AN_OK;
}

enum an_status an_chart_learn(enum an_family family, double k,
                              const struct an_chart_sample samples[], size_t m,
                              struct an_chart_model *model)
{
    *model = (struct an_chart_model){
        .family = family,
        .k = k,
        .n_nominal = NAN,
        .centre = NAN,
        .sigma_within = NAN,
        .df_within = NAN,
        .sigma_level = NAN,
        .spread_centre = NAN,
        .dispersion = 1.0,
        .mean_opportunities = NAN,
        .between = NAN,
        .upper = NAN,
    };
    if ((unsigned)family >= AN_FAMILY_COUNT || is_other(family) || !(k > 0.0) || !isfinite(k)) {
        return AN_DOMAIN;
    }
    enum an_status st = samples_check(family, samples, m, &model->samples);
    if (st) {
        return st;
    }
    if (an_family_is_attribute(family)) {
        st = learn_attribute(model, samples, m);
    } else {
        model->n_nominal = family == AN_INDIVIDUALS ? 1.0 : commonest_n(samples, m);
        const bool by_n = family == AN_XBAR_R || family == AN_XBAR_S;
        learn_centre(model, samples, m, by_n);
        if (family == AN_XBAR_R) {
            learn_xbar_r(model, samples, m);
        } else if (family == AN_XBAR_S) {
            st = learn_xbar_s(model, samples, m);
        } else {
            st = learn_moving_range(model, samples, m);
        }
    }
    if (st) {
        return st;
    }
    if (!isfinite(model->centre) || !isfinite(model->sigma_level)) {
        return AN_DOMAIN; /* the sums left the range of doubles */
    }
    return model->sigma_level > 0.0 ? AN_OK : AN_NO_SPREAD;
}
