/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Capability of one stream over a period: stability first.
 *
 * Must never give Cp or Cpk of a stream that was not shown to be stable: indices of an unstable
 * process describe the past only, and then Pp and Ppk are given with that said.
 *
 * sigma_within comes from the period's own samples, not from the limits in force: capability is a
 * statement about the period. It is what the chart's family learns: the spread inside subgroups; for
 * single values, moving ranges; for between_within, and for individuals made of several readings,
 * inside and item-to-item spread together, since a customer gets both.
 */
#include "judge/stream_capability.h"

#include "andamento/base/number.h"
#include "andamento/stat/moments.h"
#include "judge/judge.h"
#include "judge/judging.h"
#include "judge/shown.h"

#include <math.h>
#include <string.h>

#define LEAST_READINGS 25

enum an_status an_study_note(struct an_study *study, const char *text)
{
    struct an_stream_capability *out = study->out;

    if (!text) {
        return AN_NO_MEMORY;
    }
    if (out->note_count == study->note_room) {
        const size_t room = study->note_room ? 2 * study->note_room : 8;
        const char **more = an_arena_alloc(study->arena, room, sizeof *more);
        if (!more) {
            return AN_NO_MEMORY;
        }
        if (out->note_count) {
            memcpy(more, out->notes, out->note_count * sizeof *more);
        }
        out->notes = more;
        study->note_room = room;
    }
    out->notes[out->note_count++] = text;
    return AN_OK;
}

static const struct an_index no_index = {(double)NAN, (double)NAN, (double)NAN};

static void clear_within(struct an_capability *c)
{
    c->cp = no_index;
    c->cpk = no_index;
    c->cpl = no_index;
    c->cpu = no_index;
}

static void clear_all(struct an_stream_capability *out)
{
    clear_within(&out->indices);
    out->indices.pp = no_index;
    out->indices.ppk = no_index;
    out->indices.ppl = no_index;
    out->indices.ppu = no_index;
    out->indices.cpm = no_index;
    out->indices.below = (double)NAN;
    out->indices.above = (double)NAN;
    out->method = "normal";
    out->lag1 = (double)NAN;
    out->lag1_bound = (double)NAN;
    out->tolerance = (struct an_tolerance_limits){
        .lower = (double)NAN,
        .upper = (double)NAN,
        .order_lower = (double)NAN,
        .order_upper = (double)NAN,
        .order_confidence = (double)NAN,
    };
    out->counted.sigma_level = (double)NAN;
    out->shape.second = AN_SHAPE_COUNT;
    out->normality = (struct an_normality){(double)NAN, (double)NAN, (double)NAN};
    out->rate_lower = out->rate_upper = (double)NAN;
    out->basis = (struct an_capability_basis){.mean = (double)NAN,
                                              .sigma_within = (double)NAN,
                                              .df_within = (double)NAN,
                                              .sigma_overall = (double)NAN,
                                              .confidence = AN_STUDY_CONFIDENCE};
}

/* ---- is it stable -------------------------------------------------------------------------------- */
/* Signals that the rules in force make of a stable stream at one point, both panels added. */
static double luck_at(const struct an_stream_view *view, const struct an_judged_point *point)
{
    const struct an_limits *limits = &view->limits[point->phase];
    double luck = 0;

    for (int panel = 0; panel < 2; panel++) {
        const struct an_panel_point *at = panel ? &point->point.spread : &point->point.level;
        const struct an_rule_choice rules = an_panel_rules(limits, panel);

        for (int r = 0; isfinite(at->value) && r < AN_RULE_COUNT; r++) {
            const double chance =
                rules.on[r] ? an_rule_chance((enum an_rule)r, limits->model.k, &rules) : 0;
            luck += isfinite(chance) ? chance : 0;
        }
    }
    return luck;
}

/*
 * Could luck alone make so many? Runs of signalling samples that began are held against a Poisson
 * law: a chance of `least` for so many or more is P(chi-square of 2 `begun` degrees <= 2 `luck`).
 * The samples themselves come in clumps, of two on average where a run rule speaks; so their law is
 * taken three times as wide, and a long run is never luck.
 */
static bool could_be_luck(size_t begun, size_t signalling, double luck)
{
    const double least = 0.25;
    const double wide = 3;

    if (!begun) {
        return true;
    }
    return an_chi_square_quantile(least, 2 * (double)begun) <= 2 * luck &&
           (double)signalling <= luck + 3 * sqrt(wide * luck) + wide;
}

/* Limits may be many thousands of points; those of one phase have one luck. */
enum an_status an_study_stable(struct an_study *study, const char **why)
{
    struct an_stream_capability *out = study->out;
    const struct an_stream_view *view = &study->view;
    size_t without = 0;
    size_t begun = 0;
    double luck_of_phase = 0;
    bool was_hit = false;

    *why = NULL;
    out->luck = 0;
    for (size_t i = 0; i < view->count; i++) {
        const struct an_judged_point *point = &view->points[i];
        const bool hit = point->hit_rules[0] != 0 || point->hit_rules[1] != 0;

        without += point->phase == AN_NONE;
        out->signalling += hit;
        begun += hit && !was_hit;
        was_hit = hit;
        if (point->phase == AN_NONE) {
            continue;
        }
        if (i == 0 || point->phase != view->points[i - 1].phase) {
            luck_of_phase = luck_at(view, point);
        }
        out->luck += luck_of_phase;
    }
    if (view->count == 0) {
        return AN_OK;
    }
    if (!out->characteristic->signal_is_news) {
        *why = "rules are not applied to this characteristic: whether it is stable is not known";
    } else if (without == view->count) {
        *why = "no limits are locked for this period: whether the process was stable is not known";
    } else if (without > 0) {
        *why = an_arena_printf(study->arena,
                               "limits were not in force for %zu of the %zu samples: whether the "
                               "process was stable is not known",
                               without, view->count);
    } else if (!could_be_luck(begun, out->signalling, out->luck)) {
        *why =
            an_arena_printf(study->arena,
                            "not stable: %zu of the %zu samples of the period signal, where luck "
                            "alone makes about %.2g",
                            out->signalling, view->count, out->luck);
    }
    out->stable = *why == NULL;
    return !out->stable || !out->signalling
               ? AN_OK
               : an_study_note(study,
                               an_arena_printf(study->arena,
                                               "%zu of the %zu samples of the period signal, "
                                               "no more than luck explains (about %.2g)",
                                               out->signalling, view->count, out->luck));
}

/* ---- sigma_within ----------------------------------------------------------------------------------- */
/* Degrees of freedom of two variance components added [Satterthwaite, An approximate distribution
 * of estimates of variance components, Biometrics Bulletin 2, 1946; from memory]. */
static double joined_df(double v1, double df1, double v2, double df2)
{
    const double sum = v1 + v2;
    double spread = 0;

    if (df1 > 0) {
        spread += v1 * v1 / df1;
    }
    if (df2 > 0) {
        spread += v2 * v2 / df2;
    }
    return spread > 0 ? sum * sum / spread : (double)NAN;
}

/* What moving ranges of m values are worth in degrees of freedom: equating 1/(2 df) with the
 * squared relative standard error that the model tells of its sigma. */
static double range_df(const struct an_chart_model *model)
{
    double se = (double)NAN;
    double half = (double)NAN;

    an_chart_uncertainty(model, &se, &half);
    return isfinite(se) && se > 0 ? 1 / (2 * se * se) : (double)NAN;
}

static void pooled_inside(const struct an_chart_sample charted[], size_t count, double *variance,
                          double *df, double *n_mean)
{
    double ssd = 0;
    double n = 0;
    double m = 0;

    *df = 0;
    for (size_t i = 0; i < count; i++) {
        if (charted[i].excluded) {
            continue;
        }
        m++;
        n += charted[i].n;
        if (charted[i].n >= 2) {
            ssd += charted[i].sd * charted[i].sd * (charted[i].n - 1);
            *df += charted[i].n - 1;
        }
    }
    *variance = *df > 0 ? ssd / *df : 0;
    *n_mean = m > 0 ? n / m : 1;
}

static enum an_status set_within(struct an_study *study)
{
    struct an_capability_basis *basis = &study->out->basis;
    enum an_family family = study->out->characteristic->family;
    struct an_chart_model model;
    const size_t m = study->view.count;
    struct an_chart_sample *charted = an_arena_alloc(study->arena, m + 1, sizeof *charted);
    double inside;
    double df;
    double n_mean;

    if (!charted) {
        return AN_NO_MEMORY;
    }
    for (size_t i = 0; i < m; i++) {
        charted[i] = an_chart_sample_of(&study->view.points[i].sample, family);
        charted[i].excluded = charted[i].n < 1;
    }
    pooled_inside(charted, m, &inside, &df, &n_mean);
    if (family == AN_XBAR_R || family == AN_XBAR_S) {
        enum an_status st = an_chart_learn(family, 3, charted, m, &model);
        if (st == AN_DOMAIN) { /* unequal n in the period */
            st = an_chart_learn(AN_XBAR_S, 3, charted, m, &model);
        }
        if (st == AN_OK) {
            basis->sigma_within = model.sigma_within;
            basis->df_within = model.df_within;
        }
        return AN_OK;
    }
    if (an_chart_learn(AN_INDIVIDUALS, 3, charted, m, &model)) {
        return AN_OK;
    }
    const double level = model.sigma_level * model.sigma_level;
    const double rest = df > 0 ? inside * (1 - 1 / n_mean) : 0; /* level holds inside / n already */
    basis->sigma_within = sqrt(level + rest);
    basis->df_within = joined_df(level, range_df(&model), rest, df);
    return AN_OK;
}

/* ---- indices ------------------------------------------------------------------------------------------ */
static enum an_status look_readings(struct an_study *study)
{
    struct an_stream_capability *out = study->out;
    struct an_moments moments;
    const size_t n = study->readings.count;
    double *scratch = an_arena_alloc(study->arena, n + 1, sizeof *scratch);

    out->n = (double)n;
    out->basis.n = (double)n;
    if (!scratch) {
        return AN_NO_MEMORY;
    }
    if (an_moments_of(study->readings.value, n, &moments)) {
        return AN_OK;
    }
    out->basis.mean = moments.mean;
    out->basis.sigma_overall = an_moments_sd(&moments);
    if (an_anderson_darling(study->readings.value, n, scratch, &out->normality)) {
        out->normality = (struct an_normality){(double)NAN, (double)NAN, (double)NAN};
    } else if (out->normality.p < 0.01) {
        const enum an_status st = an_study_note(
            study, an_arena_printf(study->arena,
                                   "readings are not normal (Anderson-Darling A2* %.2f): fractions "
                                   "outside are rough, above all far from the mean",
                                   out->normality.a2_star));
        return st ? st : an_study_scale(study, scratch);
    }
    return AN_OK;
}

/*
 * Readings of one item are alike when items differ, so the mean and the overall sd are worth fewer
 * readings than there are: their own errors are told to the bounds.
 */
static void set_nested(struct an_study *study)
{
    struct an_capability_basis *basis = &study->out->basis;
    struct an_nested nested = {0};
    const double sigma_overall =
        basis->sigma_overall; /* from the readings themselves: more digits */

    for (size_t i = 0; i < study->view.count; i++) {
        const struct an_sample *sample = &study->view.points[i].sample;
        if (sample->n > 0) {
            const double off = sample->mean - basis->mean;
            nested.items++;
            nested.readings += (double)sample->n;
            nested.ssd_between += (double)sample->n * off * off;
            nested.ssd_inside += sample->ssd;
        }
    }
    if (nested.readings == basis->n && isfinite(basis->mean)) {
        an_capability_nested(basis, &nested);
        basis->sigma_overall = sigma_overall;
    }
}

static enum an_status look_neighbours(struct an_study *study)
{
    struct an_stream_capability *out = study->out;
    double *level = an_arena_alloc(study->arena, study->view.count + 1, sizeof *level);
    size_t m = 0;

    if (!level) {
        return AN_NO_MEMORY;
    }
    for (size_t i = 0; i < study->view.count; i++) {
        if (study->view.points[i].sample.n > 0) {
            level[m++] = study->view.points[i].sample.mean;
        }
    }
    if (m < 8 || an_autocorrelation(level, m, 1, &out->lag1)) {
        out->lag1 = (double)NAN;
        return AN_OK;
    }
    out->lag1_bound = 2 / sqrt((double)m);
    if (fabs(out->lag1) <= out->lag1_bound) {
        return AN_OK;
    }
    return an_study_note(
        study, an_arena_printf(study->arena,
                               "neighbouring samples are %s (lag-1 autocorrelation %.2f, by luck "
                               "within +-%.2f): bounds, which take samples as independent, are %s",
                               out->lag1 > 0 ? "alike" : "unlike", out->lag1, out->lag1_bound,
                               out->lag1 > 0 ? "too narrow" : "not exact"));
}

static enum an_status say_spec(struct an_study *study)
{
    const struct an_spec *spec = &study->out->spec;

    if (isfinite(spec->lsl) != isfinite(spec->usl)) {
        return an_study_note(study,
                             isfinite(spec->usl)
                                 ? "one-sided: only an upper limit is set, so Cp and Pp are not "
                                   "defined and Cpk, Ppk are the upper side's"
                                 : "one-sided: only a lower limit is set, so Cp and Pp are not "
                                   "defined and Cpk, Ppk are the lower side's");
    }
    return AN_OK;
}

static enum an_status say_places(struct an_study *study)
{
    if (!study->out->characteristic->position_column) {
        return AN_OK;
    }
    return an_study_note(
        study, "readings are judged as they are: differences between fixed places count as "
               "spread");
}

/* Why there is no index at all, or NULL. */
static const char *nothing_to_compute(struct an_study *study)
{
    const struct an_stream_capability *out = study->out;

    if (out->n < 2) {
        return an_arena_printf(study->arena,
                               "%.0f reading%s in the period: at least 2 are needed, 100 or more "
                               "are common practice",
                               out->n, out->n == 1 ? "" : "s");
    }
    if (!(out->basis.sigma_overall > 0)) {
        return an_arena_printf(study->arena,
                               "all %.0f readings are equal: there is no spread to compare with "
                               "the specification",
                               out->n);
    }
    return NULL;
}

static enum an_status compute(struct an_study *study, const char *unstable)
{
    struct an_stream_capability *out = study->out;
    struct an_capability indices;

    out->why_not = nothing_to_compute(study);
    if (out->why_not) {
        return AN_OK;
    }
    struct an_capability_basis basis = out->basis;
    if (unstable || out->n < LEAST_READINGS) {
        basis.sigma_within = (double)NAN; /* its indices are not told: their bounds cost most */
    }
    if (an_capability_of(&basis, &out->spec, &indices)) {
        out->why_not = "the specification limits cannot be used: the lower is not below the upper";
        return AN_OK;
    }
    out->indices = indices;
    if (!isfinite(out->basis.sigma_within) || out->basis.sigma_within <= 0) {
        clear_within(&out->indices);
        out->why_not = unstable ? unstable
                                : "the short-term spread cannot be told from the samples of the "
                                  "period";
    }
    if (!out->why_not && out->n < LEAST_READINGS) {
        clear_within(&out->indices);
        out->why_not = an_arena_printf(study->arena,
                                       "%.0f readings: Cp and Cpk want %d or more; with fewer the "
                                       "bounds of an index of 1.33 reach below 0.93",
                                       out->n, LEAST_READINGS);
    }
    if (unstable) {
        clear_within(&out->indices);
        out->why_not = unstable;
        return an_study_note(study,
                             "Pp and Ppk describe the past only: they promise nothing of a process "
                             "that is not known to be stable");
    }
    return AN_OK;
}

static enum an_status measured(struct an_study *study, struct an_error *err)
{
    struct an_stream_capability *out = study->out;
    const char *unstable = NULL;
    enum an_status st = an_study_stable(study, &unstable);

    if (!st && !isfinite(out->spec.lsl) && !isfinite(out->spec.usl)) {
        out->why_not = "no specification limits are set for this characteristic";
    }
    st = st ? st : look_readings(study);
    st = st ? st : set_within(study);
    if (!st) {
        set_nested(study);
    }
    if (!st && !out->why_not) {
        st = compute(study, unstable);
        st = st ? st : an_study_shape(study, unstable);
        st = st ? st : say_spec(study);
        st = st ? st : say_places(study);
        if (!st && out->n >= 2 && out->n < 100) {
            st = an_study_note(study,
                               an_arena_printf(study->arena,
                                               "only %.0f readings: mind the bounds, not the value",
                                               out->n));
        }
    }
    st = st ? st : look_neighbours(study);
    st = st ? st : an_study_tolerance(study);
    return st ? an_fail(err, st, "capability of %s: %s", out->stream.name, an_status_name(st))
              : AN_OK;
}

enum an_status an_stream_capability_of(struct an_store *store, const struct an_line *line,
                                       const struct an_stream *stream, int64_t from_us,
                                       int64_t until_us, struct an_arena *arena,
                                       struct an_stream_capability *capability,
                                       struct an_error *err)
{
    return an_stream_capability_wished(store, line, stream, from_us, until_us, NULL, arena,
                                       capability, err);
}

enum an_status an_stream_capability_wished(struct an_store *store, const struct an_line *line,
                                           const struct an_stream *stream, int64_t from_us,
                                           int64_t until_us, const struct an_capability_wish *wish,
                                           struct an_arena *arena,
                                           struct an_stream_capability *capability,
                                           struct an_error *err)
{
    static const struct an_capability_wish usual;
    until_us = until_us == AN_NO_INSTANT ? INT64_MAX : until_us;
    struct an_study study = {.store = store,
                             .line = line,
                             .arena = arena,
                             .out = capability,
                             .wish = wish ? wish : &usual,
                             .from_us = from_us,
                             .until_us = until_us};

    memset(capability, 0, sizeof *capability);
    capability->stream = *stream;
    clear_all(capability);
    enum an_status st =
        an_judge_view(store, line, stream, from_us, until_us, 0, arena, &study.view, err);
    if (st) {
        return st;
    }
    capability->characteristic = study.view.characteristic;
    capability->spec = (struct an_spec){.target = capability->characteristic->target,
                                        .lsl = capability->characteristic->lsl,
                                        .usl = capability->characteristic->usl};
    capability->samples = (int64_t)study.view.count;
    if (capability->characteristic->kind == AN_COUNTED) {
        return an_study_counted(&study, err);
    }
    st = an_judge_readings(store, line, stream, from_us, until_us, 0, arena, &study.readings, err);
    if (!st &&
        study.readings.dropped_text) { /* what is left is another period than the one asked */
        capability->why_not = an_arena_printf(
            arena, "readings of %zu of %zu samples are %s: choose a later period",
            study.readings.dropped_count, study.readings.sample_count, study.readings.dropped_text);
        return capability->why_not ? AN_OK : an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    st = st ? st : measured(&study, err);
    return st ? st : an_study_position(&study, err);
}
