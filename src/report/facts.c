/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The facts beside a large chart: limits and who locked them, baseline, sigmas, rules, expected
 * false alarms, gauge, sampling, spec, capability. Responsible for leaving no number on the chart
 * unexplained; never computes a statistic itself.
 */
#include "report/facts.h"

#include "andamento/base/text.h"
#include "judge/gauge.h"
#include "judge/judging.h"
#include "judge/scale.h"
#include "judge/shown.h"
#include "report/wording.h"

#include <inttypes.h>
#include <math.h>
#include <string.h>

enum { MOST_FACTS = 24 };

void an_fact_add(struct an_stream_sheet *sheet, const char *name, const char *text)
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

static const char *locked_text(const struct an_gather *gather, const struct an_limits *limits,
                               const struct an_limits *all, size_t all_count)
{
    size_t number = 0;
    size_t revisions = 0;
    for (size_t i = 0; i < all_count; i++) {
        revisions += all[i].state == AN_LIMITS_LOCKED;
        number += all[i].state == AN_LIMITS_LOCKED && all[i].locked_us <= limits->locked_us;
    }
    return an_arena_printf(
        gather->arena, "revision %zu of %zu, %s; by %s%s%s: %s", number, revisions,
        an_say_locked(gather->arena, gather->line->zone, limits->locked_us, limits->in_force_us),
        limits->author ? limits->author : "nobody named",
        limits->signed_key ? ", signed, key " : "", limits->signed_key ? limits->signed_key : "",
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
        char p[24];
        const bool beyond = isfinite(limits->lag1_bound) && fabs(limits->lag1) > limits->lag1_bound;
        an_text_addf(&text, "%sneighbours correlate %s%s", text.length ? "; " : "",
                     an_say_number(arena, limits->lag1, 2), beyond ? ", more than luck gives" : "");
        if (isfinite(limits->ljung_box.p)) {
            an_text_addf(&text, " (Ljung-Box %s, %.0f df, p %s)",
                         an_say_number(arena, limits->ljung_box.q, 1), limits->ljung_box.df,
                         an_shown_chance(limits->ljung_box.p, p));
        }
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

static const char *spec_text(struct an_arena *arena, const struct an_stream_view *view,
                             const struct an_stream_sheet *sheet)
{
    struct an_text text = {0};
    const struct an_characteristic *c = view->on_scale ? view->characteristic : NULL;
    const struct {
        const char *name;
        double value;
    } parts[] = {{"target", c ? c->target : sheet->target},
                 {"lower", c ? c->lsl : sheet->lsl},
                 {"upper", c ? c->usl : sheet->usl}};
    const char *unit = c ? c->unit : sheet->unit;
    for (size_t i = 0; i < 3; i++) {
        if (isfinite(parts[i].value)) {
            an_text_addf(&text, "%s%s %s", text.length ? ", " : "", parts[i].name,
                         an_say_plain(arena, parts[i].value));
        }
    }
    if (text.length && unit && strcmp(unit, "1") != 0 && *unit) {
        an_text_addf(&text, " %s", unit);
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
    const struct an_characteristic *c = view->characteristic;
    if ((!isfinite(c->lsl) && !isfinite(c->usl)) || !view->count) {
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
        const bool circle = capability.has_position; /* as the command tells it */
        const struct an_index *ppk = circle ? &capability.position.ppk : &capability.indices.ppk;
        const char *past =
            isfinite(ppk->value)
                ? an_arena_printf(arena, "; %s over the chart's period describes the past only",
                                  index_text(arena, "Ppk", ppk))
                : "";
        if (sheet->form == AN_FORM_WEAR || sheet->form == AN_FORM_DISTANCE) {
            *text = an_arena_printf(
                arena,
                "no Cpk: the chart's sigma is about %s, which leaves out how the "
                "readings themselves move%s",
                sheet->form == AN_FORM_WEAR ? "the line of wear" : "what is expected", past);
        } else if (capability.why_not) {
            *text = an_arena_printf(arena, "no Cpk: %s%s", capability.why_not, past);
        } else if (circle && isfinite(ppk->value)) {
            *text = an_arena_printf(arena, "%s of the position in its circle%s, n %s",
                                    index_text(arena, "Ppk", ppk),
                                    capability.stable ? "" : ", of a stream that is not stable",
                                    an_say_count(arena, (int64_t)capability.position.n));
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

/* Why values of this stream want care for its gauge; nothing where nothing is on record. */
static enum an_status gauge_warning(struct an_gather *gather, const struct an_stream_view *view,
                                    struct an_stream_sheet *sheet)
{
    struct an_stream_gauge gauge = {0};
    if (!view->count) {
        return AN_OK;
    }
    const enum an_status st = an_stream_gauge_of(
        gather->store, gather->line, &view->stream, view->station, view->characteristic,
        gather->data->now.until_us, gather->arena, &gauge, gather->err);
    an_fact_add(sheet, "Gauge warning", gauge.warning);
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

/* What the chart is of, and its limits in the unit of measure. */
static const char *scale_text(struct an_arena *arena, const struct an_limits *limits,
                              const struct an_stream_view *view)
{
    if (!an_is_scaled(limits)) {
        return NULL;
    }
    return an_arena_printf(arena,
                           "this chart is on the scale of %s, reading by reading; carried back: "
                           "%s; capability is of the readings as they are",
                           an_scale_words(&limits->scale, arena),
                           an_scale_limits_back(limits, view->characteristic->unit, arena));
}

/* A panel that no rule looks at says so: a reader who sees a point above its limit asks why. */
static const char *rules_text(struct an_arena *arena, const struct an_limits *limits,
                              const struct an_stream_sheet *sheet)
{
    const struct an_rule_choice level = an_panel_rules(limits, 0);
    const struct an_rule_choice spread = an_panel_rules(limits, 1);
    const char *rules = an_say_rules(arena, &level);
    if (!rules || !sheet->panel[1].count || spread.on[AN_RULE_BEYOND_LIMIT]) {
        return rules;
    }
    return an_arena_printf(arena,
                           "%s; the %s is drawn and not judged: a point beyond its limits is no "
                           "signal",
                           rules, sheet->panel[1].statistic);
}

static const char *false_alarms_text(const struct an_gather *gather, const struct an_limits *limits,
                                     const struct an_stream_sheet *sheet)
{
    struct an_arena *arena = gather->arena;
    if (sheet->no_expected) {
        return an_arena_printf(arena, "no number: %s", sheet->no_expected);
    }
    const bool both = sheet->panel[1].count && an_panel_rules(limits, 1).on[AN_RULE_BEYOND_LIMIT];
    return an_arena_printf(arena,
                           "about %s points in this %s's %s, if nothing had changed (%s"
                           "andamento limits show tells how)",
                           an_say_number(arena, sheet->expected_false, 2), gather->data->word,
                           sheet->form == AN_FORM_GAPS
                               ? an_say_many(arena, sheet->period_points, "event")
                               : an_say_many(arena, sheet->period_samples, "sample"),
                           both ? "both panels; " : "");
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
    enum an_status st = AN_OK;
    if (limits) {
        const struct an_facts of = {gather, view, limits, sheet};
        an_fact_add(sheet, "Chart", an_say_chart(&of));
        an_fact_add(sheet, "Limits in force", an_say_limits(&of));
        an_fact_add(sheet, "Scale", scale_text(arena, limits, view));
        an_fact_add(sheet, "Why this scale",
                    an_is_scaled(limits) ? an_scale_story(&limits->scale, arena) : NULL);
        an_fact_add(sheet, "Locked", locked_text(gather, limits, all, all_count));
        an_fact_add(sheet, "Baseline", baseline_text(gather, limits));
        st = an_facts_of_family(&of);
        if (st) {
            return st;
        }
        an_fact_add(sheet, "Baseline's shape", assumption_text(arena, limits));
        an_fact_add(sheet, "Doubts", warning_text(arena, limits));
        an_fact_add(sheet, "Rules in force", rules_text(arena, limits, sheet));
        an_fact_add(sheet, "False alarms to expect", false_alarms_text(gather, limits, sheet));
    } else {
        an_fact_add(sheet, "Limits in force", "none");
    }
    const char *gauge = NULL;
    st = gauge_text(gather, view, &gauge);
    if (st) {
        return st;
    }
    an_fact_add(sheet, "Gauge", gauge ? gauge : "not named by the station");
    an_fact_add(sheet, "Sampling", an_say_sampling(gather, view, limits, sheet));
    an_fact_add(sheet, "Spec", spec_text(arena, view, sheet));
    const char *capability = NULL;
    st = capability_text(gather, view, sheet, &capability);
    if (st) {
        return st;
    }
    an_fact_add(sheet, "Capability", capability);
    return gauge_warning(gather, view, sheet);
}
