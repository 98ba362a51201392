/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Learning limits of two variables together, of residuals and of gaps between events.
 *
 * Must never learn a covariance that is singular or a memory that is not there without saying so in
 * words a person on the line can act on.
 */
#include "judge/learn_other.h"

#include "andamento/base/number.h"
#include "andamento/stat/rare_events.h"
#include "judge/along.h"
#include "judge/group.h"

#include <math.h>
#include <stdlib.h>

#define FALSE_ALARMS (2 * an_normal_above(limits->model.k)) /* of a point, both sides */

bool an_is_other_family(enum an_family family)
{
    return an_family_is_joint(family) || family == AN_RESIDUALS || family == AN_G ||
           family == AN_T || family == AN_WEAR || family == AN_SHORT_RUN || family == AN_GROUP;
}

static void start_model(const struct an_baseline *b, struct an_limits *limits)
{
    const struct an_characteristic *c = b->characteristic;
    struct an_chart_model *m = &limits->model;

    *m = (struct an_chart_model){
        .family = c->family,
        .k = isfinite(c->limit_sigmas) && c->limit_sigmas > 0 ? c->limit_sigmas : 3.0,
        .n_nominal = 1,
        .sigma_within = (double)NAN,
        .df_within = (double)NAN,
        .spread_centre = (double)NAN,
        .dispersion = 1,
        .mean_opportunities = (double)NAN,
        .between = (double)NAN,
        .upper = (double)NAN,
        .step = (double)NAN,
        .weighting = c->weighting};
}

/* ---- several variables ------------------------------------------------------------------------ */
/* "dx, dy and dz" without the one that is named; all of them for AN_NONE. */
static const char *names_but(const struct an_characteristic *c, size_t but, struct an_arena *arena)
{
    const size_t count = but < c->of_count ? c->of_count - 1 : c->of_count;
    const char *text = "";
    size_t told = 0;

    for (size_t j = 0; j < c->of_count && text; j++) {
        if (j != but) {
            text = an_arena_printf(arena, "%s%s%s", text,
                                   !told               ? ""
                                   : told + 1 == count ? " and "
                                                       : ", ",
                                   c->of_name[j]);
            told++;
        }
    }
    return text ? text : "the others";
}

static enum an_status tell_joint(const struct an_baseline *b, const struct an_joint *joint,
                                 enum an_status st, struct an_arena *arena, struct an_error *err)
{
    const struct an_characteristic *c = b->characteristic;
    const size_t told = joint->told_by_others < c->of_count ? joint->told_by_others : 0;
    const bool two = c->of_count == 2;

    switch ((int)st) {
    case AN_TOO_FEW:
        return an_fail(err, st,
                       "the baseline of %s has %zu samples with %s%s: too few for their "
                       "covariance%s; 20 to 25 are common practice",
                       b->stream->name, b->usable, two ? "both " : "", names_but(c, AN_NONE, arena),
                       b->cross ? " inside samples" : "");
    case AN_NO_SPREAD:
        if (!(joint->covariance[told * (c->of_count + 1)] > 0)) {
            return an_fail(err, st,
                           "%s does not vary in the baseline of %s: the covariance is singular; is "
                           "the gauge stuck? chart the other%s by %s",
                           c->of_name[told], b->stream->name, two ? "" : "s",
                           two ? "itself" : "themselves");
        }
        return an_fail(
            err, st,
            "%s follows from %s in the baseline of %s (%.2g of its variance is its own): "
            "the covariance is singular; chart one of them by itself",
            c->of_name[told], names_but(c, told, arena), b->stream->name, joint->least_own);
    default:
        return an_fail(err, st, "%s in the baseline of %s: one holds a value that is no number",
                       names_but(c, AN_NONE, arena), b->stream->name);
    }
}

static enum an_status learn_joint(const struct an_baseline *b, struct an_limits *limits,
                                  struct an_arena *arena, struct an_error *err)
{
    struct an_chart_model *m = &limits->model;
    const size_t p = b->characteristic->of_count;
    double *x = an_arena_alloc(arena, p * b->count + 1, sizeof *x);
    double *n = an_arena_alloc(arena, b->count + 1, sizeof *n);
    bool *excluded = an_arena_alloc(arena, b->count + 1, sizeof *excluded);

    if (!x || !n || !excluded) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while learning limits");
    }
    for (size_t i = 0; i < b->count; i++) {
        double vector[AN_JOINT_MOST];
        an_chart_vector(&b->charted[i], p, vector);
        for (size_t j = 0; j < p; j++) {
            x[p * i + j] = vector[j];
        }
        n[i] = b->charted[i].n;
        excluded[i] = b->charted[i].excluded;
    }
    const enum an_status st =
        b->cross
            ? an_joint_learn_pooled(x, b->cross, n, b->count, p, excluded, &m->joint)
            : an_joint_learn_items(x, b->count, p, excluded, b->characteristic->spread, &m->joint);
    if (st) {
        return tell_joint(b, &m->joint, st, arena, err);
    }
    m->samples = (size_t)m->joint.samples;
    m->n_nominal = m->joint.n;
    m->df_within = m->joint.df;
    m->sigma_level = 1;
    m->centre = m->family == AN_MEWMA ? (double)p : an_joint_limit(&m->joint, AN_PHASE_TWO, 0.5);
    m->upper = an_joint_limit(&m->joint, AN_PHASE_TWO, FALSE_ALARMS);
    return AN_OK;
}

/* ---- what the value before tells -------------------------------------------------------------- */
static enum an_status learn_residuals(const struct an_baseline *b, struct an_limits *limits,
                                      struct an_arena *arena, struct an_error *err)
{
    struct an_chart_model *m = &limits->model;
    double *x = an_arena_alloc(arena, b->count + 1, sizeof *x);
    bool *excluded = an_arena_alloc(arena, b->count + 1, sizeof *excluded);

    if (!x || !excluded) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while learning limits");
    }
    for (size_t i = 0; i < b->count; i++) {
        x[i] = b->charted[i].mean;
        excluded[i] = b->charted[i].excluded;
    }
    const enum an_status st = an_autoregression_fit(x, b->count, NULL, excluded, &m->memory);
    if (st == AN_TOO_FEW) {
        return an_fail(err, st,
                       "the baseline of %s has %zu usable samples: too few to see how each depends "
                       "on the one before; 8 are needed, 50 are common practice",
                       b->stream->name, b->usable);
    }
    if (st) {
        return an_fail(err, st,
                       st == AN_NO_SPREAD
                           ? "all %zu samples of %s are equal: there is no spread to learn limits "
                             "from; is the gauge stuck?"
                           : "one of the %zu samples of %s is no number",
                       b->usable, b->stream->name);
    }
    m->samples = (size_t)m->memory.n;
    m->centre = 0;
    m->sigma_level = m->sigma_within = m->memory.sigma;
    m->df_within = m->memory.n - 2;
    return AN_OK;
}

/* ---- gaps between events ------------------------------------------------------------------------- */
static int by_size(const void *a, const void *b)
{
    const double x = *(const double *)a;
    const double y = *(const double *)b;

    return (x > y) - (x < y);
}

/* Opportunities of a usual sample, or hours from one to the next: the median. */
static enum an_status usual_step(const struct an_baseline *b, bool timed, struct an_arena *arena,
                                 double *step)
{
    double *steps = an_arena_alloc(arena, b->count + 1, sizeof *steps);
    double last = (double)NAN;
    size_t n = 0;

    if (!steps) {
        return AN_NO_MEMORY;
    }
    for (size_t i = 0; i < b->count; i++) {
        const struct an_chart_sample *s = &b->charted[i];
        const double one = timed ? s->hours - last : s->opportunities;
        last = s->hours;
        if (!s->excluded && one >= 0) {
            steps[n++] = one;
        }
    }
    qsort(steps, n, sizeof *steps, by_size);
    *step = n ? steps[n / 2] : 0;
    return AN_OK;
}

static enum an_status learn_gaps(const struct an_baseline *b, struct an_limits *limits,
                                 struct an_arena *arena, struct an_error *err)
{
    struct an_chart_model *m = &limits->model;
    const bool timed = m->family == AN_T;
    struct an_gap *gaps = an_arena_alloc(arena, b->count + 1, sizeof *gaps);
    struct an_gap_model model;
    size_t found = 0;
    double length = 0;
    bool known = false;

    if (!gaps || usual_step(b, timed, arena, &m->step)) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while learning limits");
    }
    m->whole = !timed;
    for (size_t i = 0; i < b->count; i++) {
        const struct an_chart_sample *s = &b->charted[i];
        if (s->excluded) {
            continue;
        }
        if (!timed) {
            length += s->opportunities;
            m->whole = m->whole && s->opportunities == floor(s->opportunities);
        }
        if (!(s->count > 0)) {
            continue;
        }
        const struct an_gap gap = {.length = timed ? s->hours - length : length,
                                   .events = s->count};
        if (known) {
            gaps[found++] = gap;
        }
        known = true;
        length = timed ? s->hours : 0;
    }
    const enum an_status st =
        an_gap_learn(m->whole ? AN_GAP_TRIALS : AN_GAP_TIME, gaps, found, &model);
    if (st == AN_TOO_FEW) {
        return an_fail(err, st,
                       "the baseline of %s has %zu gap%s between events: at least 2 are needed, 20 "
                       "to 25 are common practice; take a longer baseline",
                       b->stream->name, found, found == 1 ? "" : "s");
    }
    if (st) {
        return an_fail(err, st, "%s does not fit the baseline of %s: %s", an_family_name(m->family),
                       b->stream->name,
                       timed
                           ? "two events stand at one moment; is the station's time to the second?"
                           : "a sample counts more events than it has opportunities");
    }
    m->samples = found;
    m->sigma_level = model.mean;
    m->mean_opportunities = timed ? (double)NAN : model.mean;
    m->df_within = model.events;
    m->centre = an_chart_usual(m).centre;
    return AN_OK;
}

enum an_status an_learn_other(const struct an_baseline *b, struct an_limits *limits,
                              struct an_arena *arena, struct an_error *err)
{
    start_model(b, limits);
    if (an_family_is_joint(limits->model.family)) {
        return learn_joint(b, limits, arena, err);
    }
    if (limits->model.family == AN_WEAR) {
        return an_learn_wear(b, limits, arena, err);
    }
    if (limits->model.family == AN_GROUP) {
        return an_learn_group(b, limits, arena, err);
    }
    if (limits->model.family == AN_SHORT_RUN) {
        return an_learn_short_run(b, limits, arena, err);
    }
    return limits->model.family == AN_RESIDUALS ? learn_residuals(b, limits, arena, err)
                                                : learn_gaps(b, limits, arena, err);
}

/* What a chart of gaps cannot see, or not yet. */
static const char *gap_warning(const struct an_chart_model *m, struct an_arena *arena, bool *told)
{
    const bool timed = m->family == AN_T;
    const char *unit = timed ? "h" : m->step > 1.0 ? "opportunities" : "opportunity";
    const double lcl = an_chart_usual(m).lcl;

    *told = true;
    if (m->step > 0 && m->sigma_level < 3 * m->step) {
        return an_arena_printf(
            arena,
            "an event in every %.1f samples is not rare: gaps can be no shorter than "
            "a sample, and a u chart with 'weighted: ewma' sees more of them sooner",
            m->sigma_level / m->step);
    }
    if (m->df_within < 20) {
        return an_arena_printf(arena,
                               "only %.0f events: the mean gap is known to about +-%.0f %%, so "
                               "these limits are a first guess",
                               m->df_within, 100 / sqrt(m->df_within));
    }
    if (m->step > 0 && !(lcl > m->step)) {
        return an_arena_printf(
            arena,
            "no single gap can be below the lower limit, since a sample %s %s %s: more single "
            "events are seen by runs of short gaps only; a u chart with 'weighted: ewma' may see "
            "them sooner",
            timed ? "comes every" : "holds",
            an_arena_printf(arena, m->step >= 1000 ? "%.0f" : "%.3g", m->step), unit);
    }
    *told = false;
    return NULL;
}

enum an_status an_other_warning(const struct an_limits *limits,
                                const struct an_characteristic *characteristic,
                                struct an_arena *arena, const char **warning)
{
    const struct an_chart_model *m = &limits->model;
    bool told = false;

    *warning = NULL;
    if (an_family_is_joint(m->family) && m->joint.least_own < AN_JOINT_DOUBTFUL) {
        const size_t told_at =
            m->joint.told_by_others < characteristic->of_count ? m->joint.told_by_others : 0;
        told = true;
        *warning = an_arena_printf(
            arena,
            "only %.2g of the variance of %s is its own, the rest follows from %s: the covariance "
            "is nearly singular, and T2 speaks of differences hardly larger than rounding",
            m->joint.least_own, characteristic->of_name[told_at],
            names_but(characteristic, told_at, arena));
    } else if (m->family == AN_RESIDUALS && fabs(m->memory.phi) < 2 * m->memory.phi_se) {
        told = true;
        *warning = an_arena_printf(arena,
                                   "a sample does not depend on the one before (coefficient %.2f, "
                                   "luck stays within +-%.2f): the chart of single values does",
                                   m->memory.phi, 2 * m->memory.phi_se);
    } else if (m->family == AN_RESIDUALS && m->memory.phi > 0.95) {
        told = true;
        *warning = an_arena_printf(arena,
                                   "each sample is nearly the one before (coefficient %.2f): the "
                                   "level wanders without a mean, and residuals show jumps only",
                                   m->memory.phi);
    } else if (m->family == AN_WEAR && m->wear.p > 0.01) {
        told = true;
        *warning =
            an_arena_printf(arena,
                            "the value hardly depends on the tool's life (p %.2f): the chart "
                            "of single values does",
                            m->wear.p);
    } else if (m->family == AN_WEAR && m->wear.pure_p < 0.01) {
        told = true;
        *warning =
            an_arena_printf(arena,
                            "the %.0f tools of the baseline stand at heights of their own (p "
                            "%.2g): one line for all has limits that a tool can stay outside "
                            "of by itself",
                            m->wear.tools, m->wear.pure_p);
    } else if (m->family == AN_G || m->family == AN_T) {
        *warning = gap_warning(m, arena, &told);
    }
    return told && !*warning ? AN_NO_MEMORY : AN_OK;
}
