/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One point of the families whose plotted statistic is no plain level: distances of two variables, what
 * an autoregression leaves, gaps between events.
 *
 * Responsible for: putting the parts of this folder into the form of a chart's point. z of a T2 is
 * that of its chance, P(|Z| > z) = P(T2 > t2), so that its limit stands at k; of a mewma it is the
 * statistic itself, held against the limit found for it. Either way z and limit cannot disagree.
 */
#include "andamento/stat/rare_events.h"
#include "andamento/stat/short_run.h"
#include "andamento/stat/tests.h"
#include "stat/chart_formulas.h"
#include "stat/distribution.h"

#include <math.h>

bool is_other(enum an_family family)
{
    return family == AN_T2 || family == AN_MEWMA || family == AN_RESIDUALS || family == AN_G ||
           family == AN_T || family == AN_WEAR || family == AN_SHORT_RUN || family == AN_GROUP;
}

void an_chart_vector(const struct an_chart_sample *sample, size_t p, double x[AN_JOINT_MOST])
{
    for (size_t j = 0; j < p && j < AN_JOINT_MOST; j++) {
        x[j] = j == 0 ? sample->mean : j == 1 ? sample->second : sample->further[j - 2];
    }
}

/* Of subgroups each by its own n: the mean of n readings against one of N has 1 + n / N for the
 * usual 1 + 1 / m. */
static struct an_panel_point judge_t2(const struct an_chart_model *model, double n,
                                      const double x[])
{
    struct an_joint joint = model->joint;
    double centre = model->centre;
    double upper = model->upper;
    if (joint.spread == AN_JOINT_POOLED && n >= 1.0 && n != joint.n) {
        const double chance = 2.0 * an_normal_above(model->k);
        joint.samples *= joint.n / n;
        joint.n = n;
        upper *= an_joint_limit(&joint, AN_PHASE_TWO, chance) /
                 an_joint_limit(&model->joint, AN_PHASE_TWO, chance);
        centre = an_joint_limit(&joint, AN_PHASE_TWO, 0.5);
    }
    const double t2 = an_joint_t2(&joint, x);
    struct an_panel_point point = {t2, centre, NAN, upper, NAN};
    if (!isnan(t2)) {
        const double z = an_normal_quantile_above(an_joint_chance(&joint, t2) / 2.0);
        point.z = t2 > upper ? fmax(z, nextafter(model->k, INFINITY)) : fmin(z, model->k);
    }
    return point;
}

static struct an_panel_point judge_mewma(const struct an_chart_model *model, const double x[],
                                         struct an_weighted_state *state)
{
    struct an_mewma_state at = {.points = state->points};
    for (size_t j = 0; j < model->joint.p; j++) {
        at.z[j] = state->deviation[j];
    }
    const double t2 = an_mewma_take(&model->joint, model->weighting.lambda, false, x, &at);
    state->points = at.points;
    for (size_t j = 0; j < model->joint.p; j++) {
        state->deviation[j] = at.z[j];
    }
    return (struct an_panel_point){t2, model->centre, NAN, model->weighting.limits, t2};
}

static struct an_panel_point judge_residual(const struct an_chart_model *model, double value,
                                            const struct an_chart_sample *before)
{
    const double last = before != NULL && !before->excluded ? before->mean : (double)NAN;
    const struct an_residual left = an_autoregression_residual(&model->memory, value, last);
    return (struct an_panel_point){left.value, 0.0, -model->k * left.sigma, model->k * left.sigma,
                                   z_on_lines(left.value, 0.0, left.sigma, model->k)};
}

/* The plain value, between limits that follow the line. */
static struct an_panel_point judge_wear(const struct an_chart_model *model, double value,
                                        double life)
{
    const struct an_wear_expected at = an_wear_at(&model->wear, life);
    return (struct an_panel_point){isnan(life) ? (double)NAN : value, at.value,
                                   at.value - model->k * at.sigma, at.value + model->k * at.sigma,
                                   z_on_lines(value, at.value, at.sigma, model->k)};
}

/* The first event of a chart begins its first gap, and has no point. */
static struct an_panel_point judge_gap(const struct an_chart_model *model,
                                       const struct an_chart_sample *sample,
                                       struct an_weighted_state *state)
{
    const struct an_panel_point none = {NAN, NAN, NAN, NAN, NAN};
    const bool timed = model->family == AN_T;
    if (!(sample->count >= 0.0) ||
        (timed ? isnan(sample->hours) : !(sample->opportunities > 0.0))) {
        return none;
    }
    if (!timed) {
        state->statistic += sample->opportunities;
    }
    if (!(sample->count > 0.0)) {
        return none;
    }
    const bool known = state->points > 0.0;
    const struct an_gap gap = {timed ? sample->hours - state->statistic : state->statistic,
                               sample->count, timed ? model->step : sample->opportunities};
    const struct an_gap_model gaps = {.kind = !timed && model->whole ? AN_GAP_TRIALS : AN_GAP_TIME,
                                      .mean = model->sigma_level};
    state->points += 1.0;
    state->statistic = timed ? sample->hours : 0.0;
    if (!known) {
        return none;
    }
    const struct an_gap_point point = an_gap_judge(&gaps, gap, model->k);
    return (struct an_panel_point){point.value, point.centre, point.lcl, point.ucl, point.z};
}

struct an_chart_point judge_other(const struct an_chart_model *model,
                                  const struct an_chart_sample *sample,
                                  const struct an_chart_sample *before,
                                  struct an_weighted_state *state)
{
    struct an_chart_point point = an_chart_no_point;
    struct an_weighted_state fresh = {0};
    double x[AN_JOINT_MOST] = {0.0};
    an_chart_vector(sample, AN_JOINT_MOST, x);
    struct an_weighted_state *const at = state != NULL ? state : &fresh;
    switch (model->family) {
    case AN_T2:
        point.level = judge_t2(model, sample->n, x);
        break;
    case AN_MEWMA:
        point.level = judge_mewma(model, x, at);
        break;
    case AN_RESIDUALS:
        point.level = judge_residual(model, sample->mean, before);
        break;
    case AN_WEAR:
        point.level = judge_wear(model, sample->mean, sample->life);
        break;
    case AN_GROUP: /* its limit has the false alarms of one stream at k, whatever there are */
        if (sample->n >= 1.0) {
            const double limit = an_group_limit(sample->n, model->k);
            point.level =
                (struct an_panel_point){sample->mean, 0.0, -limit, limit,
                                        z_on_lines(sample->mean, 0.0, limit / model->k, model->k)};
        }
        break;
    case AN_SHORT_RUN:
        point.level = (struct an_panel_point){sample->mean, 0.0, -model->k, model->k,
                                              z_on_lines(sample->mean, 0.0, 1.0, model->k)};
        break;
    default:
        point.level = judge_gap(model, sample, at);
        break;
    }
    return point;
}

void usual_other(const struct an_chart_model *model, struct an_panel_point *point)
{
    if (an_family_is_joint(model->family)) {
        point->lcl = NAN;
        point->ucl = model->family == AN_T2 ? model->upper : model->weighting.limits;
    } else if (model->family == AN_G || model->family == AN_T) {
        const struct an_gap_model gaps = {
            .kind = model->family == AN_G && model->whole ? AN_GAP_TRIALS : AN_GAP_TIME,
            .mean = model->sigma_level};
        const struct an_gap_point one = an_gap_judge(
            &gaps, (struct an_gap){fmax(ceil(model->sigma_level), model->step), 1.0, model->step},
            model->k);
        point->centre = one.centre;
        point->lcl = one.lcl;
        point->ucl = one.ucl;
    }
}
