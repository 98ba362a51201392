/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The facts beside a large chart: limits and who locked them, baseline, sigmas, rules, expected
 * false alarms, gauge, sampling, spec, capability. Responsible for leaving no number on the chart
 * unexplained; never computes a statistic itself.
 */
#include "andamento/base/text.h"
#include "andamento/stat/attribute_limits.h"
#include "judge/along.h"
#include "judge/gauge.h"
#include "judge/judging.h"
#include "report/gather.h"
#include "report/wording.h"

#include <inttypes.h>
#include <math.h>
#include <string.h>

enum { MOST_FACTS = 16 };

static void add(struct an_stream_sheet *sheet, const char *name, const char *text)
{
    if (text && *text && sheet->fact_count < MOST_FACTS) {
        sheet->facts[sheet->fact_count++] = (struct an_fact){name, text};
    }
}

const char *an_say_rules(struct an_arena *arena, const struct an_rule_choice *rules)
{
    struct an_text text = {0};
    for (int r = 0; r < AN_RULE_COUNT; r++) {
        if (rules->on[r]) {
            an_text_addf(&text, "%s%s %s", text.length ? "; " : "",
                         an_say_rule_code(arena, (enum an_rule)r, rules),
                         an_say_rule(arena, (enum an_rule)r, rules));
        }
    }
    const char *copy = text.failed    ? NULL
                       : !text.length ? "none"
                                      : an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    return copy;
}

static const struct an_limits *in_force(const struct an_stream_view *view)
{
    for (size_t i = view->count; i-- > 0;) {
        if (view->points[i].phase < view->limits_count) {
            return &view->limits[view->points[i].phase];
        }
    }
    return NULL;
}

static const char *limits_text(struct an_arena *arena, const struct an_stream_view *view,
                               const struct an_stream_sheet *sheet)
{
    for (size_t i = view->count; i-- > 0;) {
        const struct an_panel_point *level = &view->points[i].point.level;
        if (isfinite(level->centre)) {
            const char *lcl = isfinite(level->lcl)
                                  ? an_say_number(arena, level->lcl * view->scale, sheet->decimals)
                                  : "none";
            return an_arena_printf(
                arena, "lcl %s, centre %s, ucl %s", lcl,
                an_say_number(arena, level->centre * view->scale, sheet->decimals),
                an_say_measure(arena, level->ucl * view->scale, sheet->decimals, sheet->unit));
        }
    }
    return "none";
}

static const char *locked_text(const struct an_gather *gather, const struct an_limits *limits,
                               const struct an_limits *all, size_t all_count)
{
    size_t number = 0;
    size_t revisions = 0;
    for (size_t i = 0; i < all_count; i++) {
        revisions += all[i].state == AN_LIMITS_LOCKED;
        number += all[i].state == AN_LIMITS_LOCKED && all[i].locked_us <= limits->locked_us;
    }
    return an_arena_printf(gather->arena, "revision %zu of %zu, %s by %s: %s", number, revisions,
                           an_say_time(gather->arena, gather->line->zone, limits->locked_us),
                           limits->author ? limits->author : "nobody named",
                           limits->reason ? limits->reason : "no reason recorded");
}

static const char *baseline_text(const struct an_gather *gather, const struct an_limits *limits)
{
    struct an_arena *arena = gather->arena;
    const struct an_zone *zone = gather->line->zone;
    const char *left_out = limits->excluded_count ? an_arena_printf(arena, ", %zu left out by name",
                                                                    limits->excluded_count)
                                                  : "";
    const char *period = "";
    if (limits->baseline_from_us != AN_NO_INSTANT && limits->baseline_until_us != AN_NO_INSTANT) {
        period =
            an_arena_printf(arena, ", %s to %s", an_say_time(arena, zone, limits->baseline_from_us),
                            an_say_time(arena, zone, limits->baseline_until_us));
    }
    return an_arena_printf(arena, "%s%s%s",
                           an_say_many(arena, (int64_t)limits->model.samples, "sample"), left_out,
                           period);
}

static const char *sigma_text(struct an_arena *arena, const struct an_limits *limits,
                              const struct an_stream_view *view,
                              const struct an_stream_sheet *sheet)
{
    struct an_text text = {0};
    const int places = sheet->decimals + 1;
    an_text_addf(
        &text, "of the plotted value %s",
        an_say_measure(arena, limits->model.sigma_level * view->scale, places, sheet->unit));
    if (isfinite(limits->model.sigma_within) && limits->model.n_nominal > 1.0) {
        an_text_addf(
            &text, "; inside a sample %s",
            an_say_measure(arena, limits->model.sigma_within * view->scale, places, sheet->unit));
    }
    if (isfinite(limits->model.between)) {
        an_text_addf(
            &text, "; between items beyond that %s",
            an_say_measure(arena, limits->model.between * view->scale, places, sheet->unit));
    }
    if (isfinite(limits->model.dispersion) && fabs(limits->model.dispersion - 1.0) > 1e-9) {
        an_text_addf(&text, "; dispersion factor %s",
                     an_say_number(arena, limits->model.dispersion, 2));
    }
    if (isfinite(limits->sigma_relative_se)) {
        an_text_addf(&text, "; known to about %s %% (one standard error)",
                     an_say_number(arena, limits->sigma_relative_se * 100.0, 0));
    }
    const char *copy = text.failed ? NULL : an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    return copy;
}

/* What the baseline looked like, where that bears on how far the limits can be trusted. */
static const char *assumption_text(struct an_arena *arena, const struct an_limits *limits)
{
    struct an_text text = {0};
    if (isfinite(limits->normality.p)) {
        an_text_addf(&text, "normal shape %s (Anderson-Darling p %s)",
                     limits->normality.p < 0.01 ? "doubtful" : "not contradicted",
                     limits->normality.p < 0.001 ? "below 0.001"
                                                 : an_say_number(arena, limits->normality.p, 3));
    }
    if (isfinite(limits->lag1)) {
        const bool beyond = isfinite(limits->lag1_bound) && fabs(limits->lag1) > limits->lag1_bound;
        an_text_addf(&text, "%sneighbours correlate %s%s", text.length ? "; " : "",
                     an_say_number(arena, limits->lag1, 2), beyond ? ", more than luck gives" : "");
    }
    const char *copy = text.failed ? NULL : an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    return copy;
}

/* What was doubtful when the limits were proposed; limits show has the whole list. */
static const char *warning_text(struct an_arena *arena, const struct an_limits *limits)
{
    const size_t most = 1;
    const size_t shown = limits->warning_count < most ? limits->warning_count : most;
    struct an_text text = {0};
    for (size_t i = 0; i < shown; i++) {
        const char *list = strstr(limits->warnings[i], ": sample "); /* too long for a fact */
        const size_t length =
            list ? (size_t)(list - limits->warnings[i]) : strlen(limits->warnings[i]);
        an_text_addf(&text, "%s%.*s", text.length ? "; " : "", (int)length, limits->warnings[i]);
    }
    if (shown < limits->warning_count) {
        an_text_addf(&text, "; and %zu more: andamento limits show", limits->warning_count - shown);
    }
    const char *copy = text.failed ? NULL : an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    return copy;
}

static const char *sampling_text(struct an_arena *arena, const struct an_stream_view *view,
                                 const struct an_stream_sheet *sheet, const char *word)
{
    static const char *const words[] = {[AN_SUBGROUP_ITEM] = "one sample an item",
                                        [AN_SUBGROUP_ROW] = "each row is a sample",
                                        [AN_SUBGROUP_EVERY] = "consecutive rows"};
    struct an_text text = {0};
    if (view->characteristic) {
        an_text_add(&text, words[view->characteristic->subgroup]);
        if (view->characteristic->subgroup == AN_SUBGROUP_EVERY) {
            an_text_addf(&text, " by %d", view->characteristic->subgroup_size);
        }
    }
    if (isfinite(sheet->readings_per_sample)) {
        const double n = sheet->readings_per_sample;
        an_text_addf(&text, "%s%s", text.length ? ", " : "", an_say_n(arena, n, sheet->counted_in));
    }
    if (sheet->period_samples > 1 && sheet->panel[0].count > 1) {
        const struct an_plot_point *points = sheet->panel[0].points;
        const size_t last = sheet->panel[0].count - 1;
        const size_t steps = (size_t)sheet->period_samples - 1;
        if (steps <= last) {
            const int64_t span = points[last].at_us - points[last - steps].at_us;
            an_text_addf(&text, "; %s this %s, one about every %s",
                         an_say_many(arena, sheet->period_samples, "sample"), word,
                         an_say_span(arena, span / (int64_t)steps));
        }
    } else {
        an_text_addf(&text, "; %s this %s", an_say_many(arena, sheet->period_samples, "sample"),
                     word);
    }
    const char *copy = text.failed ? NULL : an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    return copy;
}

static const char *spec_text(struct an_arena *arena, const struct an_stream_sheet *sheet)
{
    struct an_text text = {0};
    const struct {
        const char *name;
        double value;
    } parts[] = {{"target", sheet->target}, {"lower", sheet->lsl}, {"upper", sheet->usl}};
    for (size_t i = 0; i < 3; i++) {
        if (isfinite(parts[i].value)) {
            an_text_addf(&text, "%s%s %s", text.length ? ", " : "", parts[i].name,
                         an_say_plain(arena, parts[i].value));
        }
    }
    if (text.length && sheet->unit && strcmp(sheet->unit, "1") != 0 && *sheet->unit) {
        an_text_addf(&text, " %s", sheet->unit);
    }
    if (text.length && !sheet->single_values) {
        an_text_add(&text, "; it judges units, not the plotted values");
    }
    const char *copy = text.failed    ? NULL
                       : !text.length ? "none in the description"
                                      : an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    return copy;
}

static const char *index_text(struct an_arena *arena, const char *name,
                              const struct an_index *index)
{
    if (isfinite(index->lower) && isfinite(index->upper)) {
        return an_arena_printf(
            arena, "%s %s (%s to %s)", name, an_say_number(arena, index->value, 2),
            an_say_number(arena, index->lower, 2), an_say_number(arena, index->upper, 2));
    }
    return an_arena_printf(arena, "%s %s", name, an_say_number(arena, index->value, 2));
}

/* Never an index of an unstable stream as if it foretold anything. */
static enum an_status capability_text(struct an_gather *gather, const struct an_stream_view *view,
                                      const struct an_stream_sheet *sheet, const char **text)
{
    *text = NULL;
    if ((!isfinite(sheet->lsl) && !isfinite(sheet->usl)) || !view->count) {
        return AN_OK;
    }
    struct an_stream_capability capability = {0};
    struct an_arena *passing = an_arena_open();
    if (!passing) {
        return an_fail(gather->err, AN_NO_MEMORY, "out of memory");
    }
    struct an_arena *arena = gather->arena;
    const enum an_status st = an_stream_capability_of(
        gather->store, gather->line, &view->stream, view->points[0].sample.at_us,
        gather->data->now.until_us, passing, &capability, gather->err);
    if (!st) {
        const struct an_index *ppk = &capability.indices.ppk;
        const char *past =
            isfinite(ppk->value)
                ? an_arena_printf(arena, "; %s over the chart's period describes the past only",
                                  index_text(arena, "Ppk", ppk))
                : "";
        if (capability.why_not) {
            *text = an_arena_printf(arena, "no Cpk: %s%s", capability.why_not, past);
        } else if (!capability.stable || !isfinite(capability.indices.cpk.value)) {
            *text = an_arena_printf(arena, "no Cpk while the stream is not stable%s", past);
        } else {
            *text = an_arena_printf(
                arena, "%s, %s, n %s", index_text(arena, "Cpk", &capability.indices.cpk),
                index_text(arena, "Ppk", ppk), an_say_count(arena, (int64_t)capability.n));
        }
    }
    an_arena_close(passing);
    if (st == AN_TOO_FEW || st == AN_DOMAIN || st == AN_NO_SPREAD) {
        *text = an_arena_printf(arena, "no index: %s", gather->err ? gather->err->text : "");
        return AN_OK;
    }
    return st;
}

/* What is on record about a gauge at the end of the period. */
static enum an_status gauge_state(struct an_gather *gather, const char *gauge, const char **text)
{
    struct an_gauge_record *studies = NULL;
    struct an_gauge_state state = {0};
    size_t count = 0;
    enum an_status st =
        an_store_gauge_studies(gather->store, gauge, gather->arena, &studies, &count, gather->err);
    st = st ? st
            : an_gauge_state_of(gather->line, gauge, studies, count, gather->data->now.until_us,
                                gather->arena, &state, gather->err);
    *text = state.text;
    return st;
}

static enum an_status gauge_text(struct an_gather *gather, const struct an_stream_view *view,
                                 const char **text)
{
    *text = view->station ? view->station->gauge : NULL;
    if (!view->count) {
        return AN_OK;
    }
    struct an_visit visit = {0};
    enum an_status st = an_store_visit(gather->store, view->points[view->count - 1].sample.visit_id,
                                       gather->arena, &visit, gather->err);
    if (st == AN_NOT_FOUND) {
        return AN_OK;
    }
    const char *gauge = visit.gauge ? visit.gauge : *text;
    const char *state = NULL;
    if (!st && gauge) {
        st = gauge_state(gather, gauge, &state);
    }
    if (!st && visit.tool) {
        *text = gauge ? an_arena_printf(gather->arena, "%s, tool %s; %s", gauge, visit.tool, state)
                      : an_arena_printf(gather->arena, "tool %s", visit.tool);
    } else if (!st) {
        *text = gauge ? an_arena_printf(gather->arena, "%s; %s", gauge, state) : NULL;
    }
    return st;
}

/* "dx 0.12 (sigma 0.29), dy -0.03 (sigma 0.30), correlation 0.97, from successive differences" */
static const char *joint_text(struct an_arena *arena, const struct an_limits *limits,
                              const struct an_characteristic *characteristic)
{
    const struct an_joint *joint = &limits->model.joint;
    const double sigma[2] = {sqrt(joint->covariance[0]), sqrt(joint->covariance[3])};

    return an_arena_printf(
        arena, "%s %.3g (sigma %.3g), %s %.3g (sigma %.3g), correlation %.2f; covariance of %s",
        characteristic->of_name[0] ? characteristic->of_name[0] : "the first", joint->mean[0],
        sigma[0], characteristic->of_name[1] ? characteristic->of_name[1] : "the second",
        joint->mean[1], sigma[1], joint->covariance[1] / sigma[0] / sigma[1],
        joint->spread == AN_JOINT_ALL ? "all items" : "successive differences");
}

static const char *gaps_text(struct an_arena *arena, const struct an_limits *limits,
                             const struct an_stream_sheet *sheet)
{
    const struct an_chart_model *m = &limits->model;

    return an_arena_printf(arena, "mean gap %s from %s, known to about %s %% (one standard error)",
                           an_say_measure(arena, m->sigma_level, sheet->decimals, sheet->unit),
                           an_say_many(arena, (int64_t)m->df_within, "event"),
                           an_say_number(arena, 100.0 / sqrt(m->df_within), 0));
}

/* The tool in use: its samples since life last fell, and where its line meets the spec. */
static void add_end(struct an_text *text, const struct an_limits *limits,
                    const struct an_stream_view *view, struct an_arena *arena, int places)
{
    const struct an_wear *wear = &limits->model.wear;
    const struct an_characteristic *c = view->characteristic;
    const double limit = wear->rate > 0 ? c->usl : c->lsl;
    double *life = an_arena_alloc(arena, 2 * view->count + 1, sizeof *life);
    double *y = life ? life + view->count : NULL;
    struct an_wear_end end;
    size_t n = 0;
    if (!life) {
        text->failed = true;
        return;
    }
    for (size_t i = view->count; i > 0; i--) {
        const double here = an_life_of(view->points[i - 1].sample.ribbon);
        if (isnan(here) || view->points[i - 1].excluded || view->points[i - 1].sample.n < 1) {
            continue;
        }
        if (n && here > life[n - 1]) {
            break; /* the tool before */
        }
        life[n] = here;
        y[n++] = view->points[i - 1].sample.mean;
    }
    if (n) {
        an_text_addf(text, "; the tool in use stands at %s", an_say_number(arena, life[0], 0));
    }
    if (!n || isnan(limit)) {
        return;
    }
    const enum an_status st = an_wear_end_of(wear, life, y, n, limit, 0.95, &end);
    if (!st && end.upper > 0) {
        an_text_addf(text, " and reaches the %s spec limit %s at about %s (95 %%: %s to %s)",
                     wear->rate > 0 ? "upper" : "lower", an_say_number(arena, limit, places),
                     an_say_number(arena, end.life, 0), an_say_number(arena, fmax(end.lower, 0), 0),
                     an_say_number(arena, end.upper, 0));
    } else if (st == AN_NO_SPREAD) {
        an_text_add(text, "; the rate cannot be told from 0, so no end of life can be given");
    }
}

static const char *wear_text(struct an_arena *arena, const struct an_limits *limits,
                             const struct an_stream_view *view, const struct an_stream_sheet *sheet)
{
    const struct an_wear *wear = &limits->model.wear;
    struct an_text text = {0};

    an_text_addf(&text, "%.3g +- %.2g %s per unit of %s, from %.0f tools", wear->rate,
                 2 * wear->rate_se, sheet->unit,
                 view->characteristic->ribbon_column ? view->characteristic->ribbon_column : "life",
                 wear->tools);
    add_end(&text, limits, view, arena, sheet->decimals);
    const char *copy = text.failed ? NULL : an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    return copy;
}

enum { PRODUCTS_TOLD = 4 };

static const char *products_text(struct an_arena *arena, const struct an_limits *limits)
{
    struct an_text text = {0};

    for (size_t i = 0; i < limits->product_count && i < PRODUCTS_TOLD; i++) {
        const struct an_product_baseline *p = &limits->products[i];
        an_text_addf(&text,
                     limits->model.family == AN_GROUP ? "%s%s level %.5g, sigma %.3g"
                                                      : "%s%s target %.5g, sigma %.3g",
                     i ? "; " : "", p->name, p->target, p->sigma);
    }
    if (limits->product_count > PRODUCTS_TOLD) {
        an_text_addf(&text, "; and %zu more", limits->product_count - PRODUCTS_TOLD);
    }
    const char *copy = text.failed ? NULL : an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    return copy;
}

/* Samples whose product the limits do not know; NULL if there are none. */
static const char *unknown_products(struct an_arena *arena, const struct an_limits *limits,
                                    const struct an_stream_view *view)
{
    const char *name = NULL;
    int64_t count = 0;

    for (size_t i = 0; i < view->count; i++) {
        const struct an_sample *sample = &view->points[i].sample;
        bool known = false;
        for (size_t p = 0; sample->ribbon && !known && p < limits->product_count; p++) {
            known = strcmp(limits->products[p].name, sample->ribbon) == 0;
        }
        count += !known;
        name = known ? name : sample->ribbon ? sample->ribbon : "none named";
    }
    return count ? an_arena_printf(arena,
                                   "%s of a product without target (%s): propose new limits, "
                                   "or give it in 'products'",
                                   an_say_many(arena, count, "sample"), name)
                 : NULL;
}

enum { SCATTER_LEAST = 10, SCATTER_MOST = 50 };

/*
 * Do counts scatter otherwise than when the limits were learned? The newest samples about their own
 * mean, so that a moved level is no scatter; news below one in a hundred. NULL for other families.
 */
static const char *scatter_text(struct an_arena *arena, const struct an_limits *limits,
                                const struct an_stream_view *view)
{
    const struct an_chart_model *m = &limits->model;
    const bool prime = m->family == AN_P_PRIME || m->family == AN_U_PRIME;
    const bool plain =
        m->family == AN_P || m->family == AN_NP || m->family == AN_C || m->family == AN_U;
    const size_t phase = view->count ? view->points[view->count - 1].phase : AN_NONE;
    struct an_scatter_change change;
    double n = 0, mean = 0, squares = 0;

    if ((!prime && !plain) || m->weighting.kind != AN_UNWEIGHTED) {
        return NULL;
    }
    for (size_t i = view->count; i > 0 && n < SCATTER_MOST; i--) {
        const struct an_judged_point *point = &view->points[i - 1];
        const struct an_panel_point *level = &point->point.level;
        /* z in plain sigmas: exact limits hold z within k, so it is reckoned from the rate */
        const double half = (level->ucl - level->centre) / m->k / m->dispersion;
        const double z =
            m->probability ? point->point.level.z : (level->value - level->centre) / half;
        if (point->phase != phase || point->excluded || !isfinite(z)) {
            continue;
        }
        n++;
        const double off = z - mean;
        mean += off / n;
        squares += off * (z - mean);
    }
    /* moving ranges are worth 0.62 degrees of freedom each; a plain chart's 1 is no estimate */
    const struct an_scatter before = {m->dispersion * m->dispersion,
                                      prime ? fmax(1.0, 0.62 * ((double)m->samples - 1.0)) : 1e6};
    if (n < SCATTER_LEAST ||
        an_scatter_change_of(before, (struct an_scatter){squares / (n - 1.0), n - 1.0}, 0.95,
                             &change)) {
        return NULL;
    }
    const double now = sqrt(squares / (n - 1.0));
    const char *both =
        an_arena_printf(arena, "dispersion factor %s in the limits, %s in the newest %s",
                        an_say_number(arena, m->dispersion, 2), an_say_number(arena, now, 2),
                        an_say_many(arena, (int64_t)n, "sample"));
    if (!both || change.p >= 0.01) {
        return both;
    }
    return an_arena_printf(
        arena,
        "%s: it has %s (%s to %s times, 95 %%); limits that were right "
        "signal too %s now",
        both, change.ratio > 1.0 ? "grown" : "shrunk", an_say_number(arena, sqrt(change.lower), 1),
        an_say_number(arena, sqrt(change.upper), 1), change.ratio > 1.0 ? "often" : "late");
}

/* The family, and what gathers its points. */
static const char *chart_text(struct an_arena *arena, const struct an_chart_model *model)
{
    const struct an_weighting *w = &model->weighting;
    const char *family = an_say_family(model->family);

    switch (w->kind) {
    case AN_EWMA:
        return an_arena_printf(arena, "weighted mean, lambda %s, limits at %s of its sigmas: %s",
                               an_say_plain(arena, w->lambda), an_say_plain(arena, w->limits),
                               family);
    case AN_CUSUM:
        return an_arena_printf(arena,
                               "cumulative sums to both sides, of which the larger is drawn, k %s, "
                               "h %s sigmas: %s",
                               an_say_plain(arena, w->reference), an_say_plain(arena, w->limits),
                               family);
    case AN_MOVING_AVERAGE:
        return an_arena_printf(arena, "moving average of %d, limits at %s of its sigmas: %s",
                               w->span, an_say_plain(arena, w->limits), family);
    default:
        return family;
    }
}

enum an_status an_gather_facts(struct an_gather *gather, const struct an_stream_view *view,
                               const struct an_limits *all, size_t all_count,
                               struct an_stream_sheet *sheet)
{
    struct an_arena *arena = gather->arena;
    sheet->facts = an_arena_alloc(arena, MOST_FACTS, sizeof *sheet->facts);
    if (!sheet->facts) {
        return an_fail(gather->err, AN_NO_MEMORY, "out of memory");
    }
    const struct an_limits *limits = in_force(view);
    if (limits) {
        add(sheet, "Chart", chart_text(arena, &limits->model));
        add(sheet, "Limits in force", limits_text(arena, view, sheet));
        add(sheet, "Locked", locked_text(gather, limits, all, all_count));
        add(sheet, "Baseline", baseline_text(gather, limits));
        if (an_family_is_joint(limits->model.family)) {
            add(sheet, "Learned", joint_text(arena, limits, view->characteristic));
        } else if (limits->model.family == AN_WEAR) {
            add(sheet, "Wear", wear_text(arena, limits, view, sheet));
            add(sheet, "Sigma", sigma_text(arena, limits, view, sheet));
        } else if (limits->model.family == AN_GROUP) {
            add(sheet, "Members", products_text(arena, limits));
        } else if (limits->model.family == AN_SHORT_RUN) {
            add(sheet, "Products", products_text(arena, limits));
            add(sheet, "Not judged", unknown_products(arena, limits, view));
        } else if (limits->model.family == AN_G || limits->model.family == AN_T) {
            add(sheet, "Learned", gaps_text(arena, limits, sheet));
        } else {
            add(sheet, "Sigma", sigma_text(arena, limits, view, sheet));
        }
        add(sheet, "Scatter of counts", scatter_text(arena, limits, view));
        add(sheet, "Baseline's shape", assumption_text(arena, limits));
        add(sheet, "Doubts", warning_text(arena, limits));
        const struct an_rule_choice rules = an_panel_rules(limits, 0);
        add(sheet, "Rules in force", an_say_rules(arena, &rules));
        add(sheet, "False alarms to expect",
            an_arena_printf(arena,
                            "about %s points in this %s's %s, if nothing had changed (level "
                            "chart, each rule counted)",
                            an_say_number(arena, sheet->expected_false, 2), gather->data->word,
                            an_say_many(arena, sheet->period_samples, "sample")));
    } else {
        add(sheet, "Limits in force", "none");
    }
    const char *gauge = NULL;
    enum an_status st = gauge_text(gather, view, &gauge);
    if (st) {
        return st;
    }
    add(sheet, "Gauge", gauge ? gauge : "not named by the station");
    add(sheet, "Sampling", sampling_text(arena, view, sheet, gather->data->word));
    add(sheet, "Spec", spec_text(arena, sheet));
    const char *capability = NULL;
    st = capability_text(gather, view, sheet, &capability);
    if (st) {
        return st;
    }
    add(sheet, "Capability", capability);
    return AN_OK;
}
