/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a person should know of a baseline before locking limits learned from it. Must never change
 * the limits: it looks, and says in sentences what it sees.
 *
 * Tests that warn are held at small chances of warning by luck (1 in 100 for shape, 1 in 1000 for
 * dispersion): a warning that comes every day is not read.
 */
#include "andamento/base/number.h"
#include "andamento/stat/design.h"
#include "judge/baseline.h"
#include "judge/judging.h"
#include "judge/learn_other.h"
#include "judge/scale.h"
#include "judge/shown.h"

#include <math.h>
#include <string.h>

#define SAMPLES_WANTED 20
#define SIGNALS_LISTED 6

struct look {
    const struct an_baseline *b;
    struct an_limits *limits;
    struct an_arena *arena;
    size_t room;
    struct an_chart_point *points; /* the baseline under its own limits */
    double *z;                     /* of the level panel, without those left out */
    size_t z_count;
};

static enum an_status warn(struct look *look, const char *text)
{
    struct an_limits *limits = look->limits;

    if (!text) {
        return AN_NO_MEMORY;
    }
    if (limits->warning_count == look->room) {
        const size_t room = look->room ? 2 * look->room : 8;
        const char **more = an_arena_alloc(look->arena, room, sizeof *more);
        if (!more) {
            return AN_NO_MEMORY;
        }
        if (limits->warning_count) {
            memcpy(more, limits->warnings, limits->warning_count * sizeof *more);
        }
        limits->warnings = more;
        look->room = room;
    }
    limits->warnings[limits->warning_count++] = text;
    return AN_OK;
}

static enum an_status judge_own(struct look *look)
{
    const struct an_baseline *b = look->b;
    size_t before = AN_NONE;

    look->points = an_arena_alloc(look->arena, b->count + 1, sizeof *look->points);
    look->z = an_arena_alloc(look->arena, b->count + 1, sizeof *look->z);
    if (!look->points || !look->z) {
        return AN_NO_MEMORY;
    }
    struct an_chart_model model = look->limits->model;
    if (model.family == AN_T2) { /* what taught the limits lies nearer: the first phase's */
        const double first =
            an_joint_limit(&model.joint, AN_PHASE_ONE, 2 * an_normal_above(model.k));
        model.upper = isfinite(first) ? first : model.upper;
    }
    for (size_t i = 0; i < b->count; i++) {
        if (b->charted[i].excluded) {
            before = AN_NONE;
            look->points[i].level.z = (double)NAN;
            look->points[i].spread.z = (double)NAN;
            continue;
        }
        look->points[i] =
            an_chart_judge(&model, &b->charted[i], before == AN_NONE ? NULL : &b->charted[before]);
        before = i;
        if (isfinite(look->points[i].level.z)) {
            look->z[look->z_count++] = look->points[i].level.z;
        }
    }
    return AN_OK;
}

/* ---- how many, how independent, how normal -------------------------------------------------------- */
static enum an_status look_count(struct look *look)
{
    const size_t m = look->b->usable;

    an_chart_uncertainty(&look->limits->model, &look->limits->sigma_relative_se,
                         &look->limits->centre_half_width);
    if (m >= SAMPLES_WANTED) {
        return AN_OK;
    }
    const double se = look->limits->sigma_relative_se;
    if (isfinite(se)) {
        return warn(look,
                    an_arena_printf(look->arena,
                                    "only %zu samples: %d to 25 are common practice; sigma is "
                                    "known to about +-%.0f %%, so these limits are a first "
                                    "guess",
                                    m, SAMPLES_WANTED, 100 * se));
    }
    return warn(look, an_arena_printf(look->arena,
                                      "only %zu samples: %d to 25 are common practice, so these "
                                      "limits are a first guess",
                                      m, SAMPLES_WANTED));
}

static enum an_status look_independence(struct look *look)
{
    const char *text = NULL;
    const enum an_status st =
        an_baseline_memory(look->limits, look->z, look->z_count, look->arena, &text);

    return st || !text ? st : warn(look, text);
}

static enum an_status look_normality(struct look *look)
{
    const enum an_family family = look->limits->model.family;
    struct an_normality *normality = &look->limits->normality;
    double *scratch = an_arena_alloc(look->arena, look->z_count + 1, sizeof *scratch);

    if (!scratch) {
        return AN_NO_MEMORY;
    }
    if (an_family_is_joint(family) || family == AN_G || family == AN_T || family == AN_GROUP ||
        an_anderson_darling(look->z, look->z_count, scratch, normality)) {
        *normality = (struct an_normality){(double)NAN, (double)NAN, (double)NAN};
        return AN_OK;
    }
    if ((family == AN_INDIVIDUALS || family == AN_BETWEEN_WITHIN) && normality->p < 0.01) {
        return warn(look,
                    an_arena_printf(look->arena,
                                    "the plotted values are not normal (Anderson-Darling A2* %.2f, "
                                    "p %s%.4f): limits at %g sigma then do not have their usual "
                                    "rate of false alarms; look at the distribution before locking",
                                    normality->a2_star, normality->p < 0.0001 ? "below " : "",
                                    fmax(normality->p, 0.0001), look->limits->model.k));
    }
    return AN_OK;
}

/* ---- do items differ more than their inside explains ----------------------------------------------- */
struct anova {
    double between_ms, within_ms, between_df, within_df, n0;
};

/* One-way analysis of variance from the samples' n, mean, sd; n0 is the n that the expected mean
 * square between carries for unequal n. */
static bool analyse(const struct an_baseline *b, struct anova *a)
{
    double n = 0;
    double mean = 0;
    double squares = 0;
    double ss_between = 0;
    double ss_within = 0;
    double m = 0;

    for (size_t i = 0; i < b->count; i++) {
        const struct an_chart_sample *c = &b->charted[i];
        if (!c->excluded && c->n >= 1) {
            n += c->n;
            squares += c->n * c->n;
            mean += (c->mean - mean) * c->n / n;
            m++;
        }
    }
    for (size_t i = 0; i < b->count; i++) {
        const struct an_chart_sample *c = &b->charted[i];
        if (!c->excluded && c->n >= 1) {
            ss_between += c->n * (c->mean - mean) * (c->mean - mean);
            ss_within += c->n >= 2 ? c->sd * c->sd * (c->n - 1) : 0;
        }
    }
    a->between_df = m - 1;
    a->within_df = n - m;
    if (a->between_df < 1 || a->within_df < 1) {
        return false;
    }
    a->between_ms = ss_between / a->between_df;
    a->within_ms = ss_within / a->within_df;
    a->n0 = (n - squares / n) / (m - 1);
    return a->within_ms > 0;
}

static enum an_status look_between(struct look *look)
{
    const struct an_chart_model *m = &look->limits->model;
    struct anova a;

    if ((m->family != AN_XBAR_R && m->family != AN_XBAR_S) || !analyse(look->b, &a)) {
        return AN_OK;
    }
    const double f = a.between_ms / a.within_ms;
    const double p = an_f_above(f, a.between_df, a.within_df);
    /* item means as they vary, against limits that only the inside of items made */
    const double share = 2 * an_normal_above(m->k / sqrt(f));
    if (!(p < 0.001) || share < 0.01) {
        return AN_OK;
    }
    return warn(look, an_arena_printf(
                          look->arena,
                          "samples differ far more than the spread inside them explains (F "
                          "%.1f with %.0f and %.0f degrees of freedom; item-to-item sigma "
                          "%.3g against %.3g inside): limits from the inside would signal at "
                          "about %.0f of 100 samples of a process that only does what it did "
                          "in this baseline; use between_within",
                          f, a.between_df, a.within_df, sqrt((a.between_ms - a.within_ms) / a.n0),
                          sqrt(a.within_ms), 100 * share));
}

static enum an_status look_dispersion(struct look *look)
{
    const struct an_chart_model *m = &look->limits->model;
    const bool proportion = m->family == AN_P || m->family == AN_NP;
    struct an_chart_model prime;
    double sum = 0;

    if (!proportion && m->family != AN_C && m->family != AN_U) {
        return AN_OK;
    }
    for (size_t i = 0; i < look->z_count; i++) {
        sum += look->z[i] * look->z[i];
    }
    if (look->z_count < 2 || an_chi_square_above(sum, (double)look->z_count - 1) >= 0.001 ||
        an_chart_learn(proportion ? AN_P_PRIME : AN_U_PRIME, m->k, look->b->charted, look->b->count,
                       &prime) ||
        !(prime.dispersion > 1.2)) {
        return AN_OK;
    }
    return warn(
        look, an_arena_printf(look->arena,
                              "counts vary %.1f times as much from sample to sample as %s "
                              "explains: these limits would signal at about %.0f of 100 stable "
                              "samples; use %s",
                              prime.dispersion, proportion ? "a fixed proportion" : "a fixed rate",
                              200 * an_normal_above(m->k / prime.dispersion),
                              proportion ? "p_prime" : "u_prime"));
}

/* ---- readings: coarse steps, rare places ----------------------------------------------------------- */
static enum an_status look_resolution(struct look *look)
{
    const struct an_characteristic *c = look->b->characteristic;
    const struct an_chart_model *m = &look->limits->model;
    int decimals = 0;
    char step_text[32];
    char sigma_text[40];

    if (c->kind != AN_MEASURED || an_family_is_attribute(m->family)) {
        return AN_OK;
    }
    for (size_t i = 0; i < look->b->count; i++) {
        decimals =
            look->b->samples[i].decimals > decimals ? look->b->samples[i].decimals : decimals;
    }
    const double step = an_decimal_value(1, decimals) * fabs(isfinite(c->factor) ? c->factor : 1);
    double sigma =
        isfinite(m->sigma_within) && m->sigma_within > 0 ? m->sigma_within : m->sigma_level;
    if (an_is_scaled(look->limits)) { /* about the centre, in the unit */
        const struct an_limits_scale *scale = &look->limits->scale;
        sigma =
            (an_scale_back(scale, m->centre + sigma) - an_scale_back(scale, m->centre - sigma)) / 2;
    }
    if (step <= sigma) { /* a step above one sigma spoils ranges: common practice, no source */
        return AN_OK;
    }
    return warn(look, an_arena_printf(look->arena,
                                      "readings come in steps of %s %s, more than one sigma (%s): "
                                      "the limits rest on rounding; have the gauge write one more "
                                      "digit",
                                      an_number_shortest(step, step_text),
                                      c->unit && strcmp(c->unit, "1") != 0 ? c->unit : "",
                                      an_shown_size(sigma, -1, sigma_text)));
}

static enum an_status look_places(struct look *look)
{
    const struct an_limits *limits = look->limits;

    for (size_t p = 0; p < limits->position_count && look->b->readings_seen; p++) {
        if (2 * look->b->readings_seen[p] < look->b->usable) {
            const enum an_status st = warn(
                look, an_arena_printf(look->arena,
                                      "place %s was read %zu time%s in %zu samples: its own offset "
                                      "is uncertain",
                                      limits->positions[p].position, look->b->readings_seen[p],
                                      look->b->readings_seen[p] == 1 ? "" : "s", look->b->usable));
            if (st) {
                return st;
            }
        }
    }
    return AN_OK;
}

/* ---- samples that signal inside --------------------------------------------------------------------- */
/* "sample 1016 (SV26-00020-E, 2 March 11:34, W14)" */
static void add_signal(struct look *look, const struct an_rule_hit *hit, struct an_text *text)
{
    const struct an_sample *s = &look->b->samples[hit->last];
    char code[16];
    char at[40];

    an_text_addf(text, "%ssample %lld (%s, %s, %s)", text->length ? ", " : "",
                 (long long)s->sample_id, s->serial ? s->serial : "no serial",
                 an_instant_spoken(look->b->zone, s->at_us, at),
                 an_rule_code(hit->rule, hit->side, &look->limits->rules, code));
}

/* One sentence a panel: how many, how many luck would give, and which the first ones are. */
static enum an_status warn_signals(struct look *look, const struct an_rule_hit *hits, size_t count,
                                   const struct an_rule_choice *rules, int panel, size_t points)
{
    const bool gaps = look->limits->model.weighting.kind == AN_GAPS;
    struct an_text text = {0};
    size_t samples = 0;
    double luck = 0;
    for (int r = 0; r < AN_RULE_COUNT; r++) {
        luck += rules->on[r] ? an_rule_chance((enum an_rule)r, look->limits->model.k, rules) : 0;
    }
    const struct an_weighting *weighting = &look->limits->model.weighting;
    if (panel == 0 && an_is_other_family(look->limits->model.family)) {
        /* t2: by its tail; mewma: as its limit was found */
        luck = weighting->variables > 0 ? 1 / 370.4
               : an_family_is_joint(look->limits->model.family)
                   ? 2 * an_normal_above(look->limits->model.k)
                   : luck;
    } else if (panel == 0 && weighting->kind != AN_UNWEIGHTED) {
        const struct an_point_law in_control = {0.0, 1.0};
        struct an_run_length run;
        if (an_run_length_weighted(&look->limits->model.weighting, in_control, true, look->arena,
                                   &run)) {
            return warn(look, NULL);
        }
        luck = 1.0 / run.mean;
    }
    for (size_t h = 0; h < count; h++) {
        samples += h == 0 || hits[h].last != hits[h - 1].last;
        if (h < SIGNALS_LISTED) {
            add_signal(look, &hits[h], &text);
        }
    }
    const char *sentence = an_arena_printf(
        look->arena,
        "%zu of %zu %s meet a rule inside the baseline%s (luck alone gives about %.1f): %s%s; "
        "find the cause of each, then leave it out with that reason, or keep it",
        samples, points, gaps ? "events" : "samples", panel ? " by their spread" : "",
        luck * (double)points, an_text_of(&text), count > SIGNALS_LISTED ? " and more" : "");
    const bool failed = text.failed;
    an_text_free(&text);
    return failed ? AN_NO_MEMORY : warn(look, sentence);
}

/* The level panel of a chart with memory, from the baseline's first sample on. */
static void weighted_z(const struct look *look, double z[])
{
    struct an_weighted_state state = {0};

    for (size_t i = 0; i < look->b->count; i++) {
        const struct an_chart_sample *sample = &look->b->charted[i];
        z[i] = sample->excluded
                   ? (double)NAN
                   : an_chart_judge_weighted(&look->limits->model, sample, NULL, &state).level.z;
    }
}

static enum an_status look_signals(struct look *look, int panel)
{
    const size_t n = look->b->count;
    const struct an_rule_choice rules = an_panel_rules(look->limits, panel);
    double *z = an_arena_alloc(look->arena, n + 1, sizeof *z);
    size_t *at = an_arena_alloc(look->arena, n + 1, sizeof *at);
    struct an_rule_hit *hits = an_arena_alloc(look->arena, n * AN_RULE_COUNT + 1, sizeof *hits);
    const bool gaps = panel == 0 && look->limits->model.weighting.kind == AN_GAPS;
    size_t points = 0;
    size_t count = 0;
    enum an_status st = AN_OK;

    if (!z || !at || !hits) {
        return AN_NO_MEMORY;
    }
    for (size_t i = 0; i < n; i++) {
        z[i] = panel ? look->points[i].spread.z : look->points[i].level.z;
    }
    if (panel == 0 && look->limits->model.weighting.kind != AN_UNWEIGHTED) {
        weighted_z(look, z);
    }
    for (size_t i = 0; i < n; i++) { /* rules look from event to event */
        if (!gaps || look->b->charted[i].count > 0) {
            at[points] = i;
            z[points++] = z[i];
        }
    }
    if (an_rules_apply(z, NULL, NULL, points, an_chart_limit_sigmas(&look->limits->model, panel),
                       &rules, hits, n * AN_RULE_COUNT, &count)) {
        return AN_OK; /* the line description checks choices; nothing to look at otherwise */
    }
    for (size_t h = 0; h < count; h++) {
        hits[h].first = at[hits[h].first];
        hits[h].last = at[hits[h].last];
    }
    if (count) {
        st = warn_signals(look, hits, count, &rules, panel, points);
    }
    return st;
}

static enum an_status look_apart(struct look *look)
{
    double *z = an_arena_alloc(look->arena, look->b->count + 1, sizeof *z);
    const char *text = NULL;
    const enum an_family family = look->limits->model.family;

    if (an_family_is_joint(family) || family == AN_G || family == AN_T || family == AN_GROUP) {
        return AN_OK; /* their z is not one of a level */
    }

    if (!z) {
        return AN_NO_MEMORY;
    }
    for (size_t i = 0; i < look->b->count; i++) {
        z[i] = look->points[i].level.z;
    }
    const enum an_status st = an_baseline_apart(look->b, z, look->arena, &text);
    return st || !text ? st : warn(look, text);
}

static enum an_status look_other(struct look *look)
{
    const char *text = NULL;
    const enum an_status st =
        an_other_warning(look->limits, look->b->characteristic, look->arena, &text);

    return st || !text ? st : warn(look, text);
}

static enum an_status look_weighted_counts(struct look *look)
{
    const char *text = NULL;
    const enum an_status st = an_baseline_counts(look->limits, look->arena, &text);

    return st || !text ? st : warn(look, text);
}

static enum an_status look_scale(struct look *look)
{
    const char *texts[2];
    size_t count = 0;
    enum an_status st = an_scale_warnings(&look->limits->scale, look->arena, texts, &count);

    for (size_t i = 0; !st && i < count; i++) {
        st = warn(look, texts[i]);
    }
    return st;
}

enum an_status an_baseline_look(const struct an_baseline *baseline, struct an_limits *limits,
                                struct an_arena *arena)
{
    struct look look = {.b = baseline, .limits = limits, .arena = arena};
    enum an_status st = judge_own(&look);

    st = st ? st : look_count(&look);
    st = st ? st : look_scale(&look);
    st = st ? st : look_between(&look);
    st = st ? st : look_dispersion(&look);
    st = st ? st : look_other(&look);
    st = st ? st : look_weighted_counts(&look);
    st = st ? st : look_independence(&look);
    st = st ? st : look_normality(&look);
    st = st ? st : look_resolution(&look);
    st = st ? st : look_places(&look);
    st = st ? st : look_signals(&look, 0);
    st = st ? st : look_signals(&look, 1);
    st = st ? st : look_apart(&look);
    return st;
}
