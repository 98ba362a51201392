/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Expected false alarms of limits.
 *
 * Responsible for: which theory fits which chart. Must never guess: charts without one get no
 * number, and a reason. Hard idea: a table over the errors of centre and sigma serves every stream judged
 * by the same rules, whatever its baseline; it is made once. A spread panel whose limits come from the
 * same sigma goes into the table, since both panels' limits are then wrong together.
 */
#include "judge/expected.h"

#include "andamento/stat/chart_run_length.h"
#include "andamento/stat/constants.h"
#include "andamento/stat/design.h"
#include "andamento/stat/short_run.h"
#include "andamento/stat/tests.h"
#include "judge/judging.h"

#include <math.h>
#include <string.h>

/* Points of a table: 13 hold the rate to 3e-4; 7, for what takes long to solve, to 1e-2 (with runs). */
enum { CHARTS_MOST = 64, POINTS_FINE = 13, POINTS_COARSE = 7, STATES_MANY = 2000 };

/* What a table is of: a level panel (rules or weighting; no rule on: none), a spread panel beside it
 * (n 0: none). */
struct an_expected_chart {
    struct an_rule_choice rules;
    struct an_weighting weighting;
    double k;
    struct an_spread_panel spread;
    struct an_rule_chain *chain;
    struct an_run_surface *surface;
};

static const struct an_estimated_run_length no_length = {(double)NAN, (double)NAN, (double)NAN,
                                                         (double)NAN, (double)NAN};

/* ---- one chart, given the errors of its limits ---- */

static double spread_chance(const struct an_expected_chart *chart, struct an_point_law law)
{
    return chart->spread.n > 0 ? an_spread_panel_chance(&chart->spread, law.sd) : 0.0;
}

static enum an_status rules_at(const void *plan, struct an_point_law law, struct an_arena *scratch,
                               double *mean)
{
    const struct an_expected_chart *chart = plan;

    return an_run_length_rules_beside(chart->chain, law, spread_chance(chart, law), scratch, mean);
}

static enum an_status shewhart_at(const void *plan, struct an_point_law law,
                                  struct an_arena *scratch, double *mean)
{
    const struct an_expected_chart *chart = plan;
    struct an_run_length run = {.mean = (double)NAN};
    (void)scratch; /* a closed form needs none */
    const enum an_status st = an_run_length_shewhart(chart->k, law, &run);
    const double level = 1.0 / run.mean;
    const double other = spread_chance(chart, law);

    *mean = 1.0 / (level + other - level * other);
    return st;
}

static enum an_status spread_at(const void *plan, struct an_point_law law, struct an_arena *scratch,
                                double *mean)
{
    (void)scratch;
    const double chance = spread_chance(plan, law);

    *mean = 1.0 / fmax(chance, 1e-300);
    return isnan(chance) ? AN_DOMAIN : AN_OK;
}

static enum an_status weighted_at(const void *plan, struct an_point_law law,
                                  struct an_arena *scratch, double *mean)
{
    const struct an_expected_chart *chart = plan;
    struct an_run_length run = {.mean = (double)NAN};
    const enum an_status st = an_run_length_weighted(&chart->weighting, law, true, scratch, &run);

    *mean = run.mean;
    return st;
}

/* ---- the tables ---- */

static bool same_number(double a, double b)
{
    return !(a < b) && !(a > b);
}

static bool same_rules(const struct an_rule_choice *a, const struct an_rule_choice *b)
{
    return memcmp(a->on, b->on, sizeof a->on) == 0 && a->run_length == b->run_length &&
           a->trend_length == b->trend_length;
}

static bool same_weighting(const struct an_weighting *a, const struct an_weighting *b)
{
    return a->kind == b->kind && same_number(a->limits, b->limits) &&
           same_number(a->lambda, b->lambda) && same_number(a->reference, b->reference) &&
           same_number(a->head_start, b->head_start) && a->steady == b->steady;
}

static bool same_chart(const struct an_expected_chart *a, const struct an_expected_chart *b)
{
    return same_rules(&a->rules, &b->rules) && same_weighting(&a->weighting, &b->weighting) &&
           same_number(a->k, b->k) && a->spread.range == b->spread.range &&
           same_number(a->spread.n, b->spread.n) && same_number(a->spread.k, b->spread.k);
}

static size_t rules_on(const struct an_rule_choice *rules)
{
    size_t on = 0;

    for (int r = 0; r < AN_RULE_COUNT; r++) {
        on += rules->on[r];
    }
    return on;
}

static enum an_status make_surface(struct an_expected_chart *chart, struct an_arena *arena)
{
    an_run_length_at at = rules_at;
    size_t points = POINTS_FINE;

    if (chart->weighting.kind != AN_UNWEIGHTED) {
        at = weighted_at;
        points = POINTS_COARSE;
    } else if (rules_on(&chart->rules) == 0) {
        at = spread_at;
    } else if (chart->rules.on[AN_RULE_BEYOND_LIMIT] && rules_on(&chart->rules) == 1) {
        at = shewhart_at;
    } else {
        const enum an_status st = an_rule_chain_open(&chart->rules, chart->k, arena, &chart->chain);
        if (st) {
            return st;
        }
        points = an_rule_chain_states(chart->chain) > STATES_MANY ? POINTS_COARSE : POINTS_FINE;
    }
    return an_run_surface_open(at, chart, 0.0, points, arena, &chart->surface);
}

static enum an_status find_chart(const struct an_expected_chart *wanted,
                                 struct an_expected_cache *cache, struct an_arena *arena,
                                 struct an_expected_chart **found)
{
    *found = NULL;
    if (!cache->charts) {
        cache->charts = an_arena_alloc(arena, CHARTS_MOST, sizeof *cache->charts);
    }
    if (!cache->charts) {
        return AN_NO_MEMORY;
    }
    for (size_t i = 0; i < cache->count; i++) {
        if (same_chart(&cache->charts[i], wanted)) {
            *found = &cache->charts[i];
            return AN_OK;
        }
    }
    struct an_expected_chart *chart =
        &cache->charts[cache->count < CHARTS_MOST ? cache->count++ : CHARTS_MOST - 1];
    *chart = *wanted;
    const enum an_status st = make_surface(chart, arena);
    if (st) {
        cache->count--;
        return st;
    }
    *found = chart;
    return AN_OK;
}

/* ---- one stream ---- */

struct asking {
    const struct an_limits *limits;
    const struct an_chart_model *model;
    struct an_rule_choice rules; /* of the level panel */
    struct an_expected_cache *cache;
    struct an_arena *arena;
    struct an_expected *out;
};

/* m: points in the baseline; df: of their sigma; wider: see run_length.h */
static enum an_status ask(const struct asking *a, const struct an_expected_chart *wanted, double m,
                          double df, double wider, struct an_estimated_run_length *length)
{
    struct an_expected_chart *chart;
    enum an_status st = find_chart(wanted, a->cache, a->arena, &chart);

    st = st ? st : an_run_length_estimated_wider(chart->surface, m, fmax(1.0, df), wider, length);
    if (st) {
        *length = no_length;
    }
    return st;
}

static struct an_expected_chart level_chart(const struct asking *a)
{
    return (struct an_expected_chart){
        .rules = a->rules, .weighting = a->model->weighting, .k = a->model->k};
}

/* Two panels whose limits have errors of their own: either speaks. */
static struct an_estimated_run_length either(const struct an_estimated_run_length *level,
                                             const struct an_estimated_run_length *spread)
{
    const double rate = level->rate + spread->rate - level->rate * spread->rate;

    return (struct an_estimated_run_length){
        .known =
            1.0 / (1.0 / level->known + 1.0 / spread->known - 1.0 / level->known / spread->known),
        .rate = rate,
        .between = 1.0 / rate,
        .low = 1.0 / (1.0 / level->low + spread->rate),
        .high = 1.0 / (1.0 / level->high + spread->rate),
    };
}

static enum an_status ask_spread(const struct asking *a, double df,
                                 const struct an_spread_panel *panel)
{
    const struct an_expected_chart chart = {.spread = *panel, .k = a->model->k};

    /* the centre does not matter to it */
    return ask(a, &chart, (double)a->model->samples, df, 1.0, &a->out->spread);
}

static enum an_status ask_values(const struct asking *a)
{
    const struct an_chart_model *m = a->model;
    struct an_expected_chart chart = level_chart(a);
    const double samples = (double)m->samples;
    const bool between = m->family == AN_BETWEEN_WITHIN;
    const double df = between ? an_moving_range_df(samples) : m->df_within;
    const struct an_spread_panel panel = {m->family == AN_XBAR_R, m->n_nominal, m->k};
    const bool spread = an_panel_rules(a->limits, 1).on[AN_RULE_BEYOND_LIMIT] &&
                        m->n_nominal >= 2 && isfinite(m->sigma_within);
    enum an_status st = AN_OK;

    a->out->law = "normal";
    if (rules_on(&a->rules)) {
        st = ask(a, &chart, samples, df, 1.0, &a->out->level);
        a->out->both = a->out->level;
    }
    if (st || !spread || !(m->df_within >= 1.0)) {
        return st;
    }
    st = ask_spread(a, m->df_within, &panel);
    if (st || !rules_on(&a->rules)) {
        a->out->both = a->out->spread;
        return st;
    }
    if (between || m->weighting.kind != AN_UNWEIGHTED) {
        a->out->both = either(&a->out->level, &a->out->spread);
        return AN_OK;
    }
    chart.spread = panel;
    return ask(a, &chart, samples, df, 1.0, &a->out->both);
}

/* c4 of an estimate with so many degrees of freedom: w of the tables has mean 1, s has not. */
static double c4_of(double df)
{
    double c4 = 1.0;

    return an_c4(df + 1.0, &c4) ? 1.0 : c4;
}

/* Residuals and departures from wear: normal points, limits made for a value to come. */
static enum an_status ask_departures(const struct asking *a)
{
    const struct an_chart_model *m = a->model;
    const struct an_expected_chart chart = level_chart(a);
    const bool wear = m->family == AN_WEAR;
    const double n = wear ? (double)m->samples : m->memory.n;
    const double df = n - 2.0;
    /* wear: s sqrt(1 + 2 / n), 2 / n being the leverage of a usual life; residuals: sigma with divisor n,
     * and what the error of phi adds to their spread, 1 / n of it */
    const double wider =
        wear ? c4_of(df) * sqrt(1.0 + 2.0 / n) : c4_of(df) * sqrt(df / n) / sqrt(1.0 + 1.0 / n);

    a->out->law = "normal";
    if (!(df >= 1.0)) {
        a->out->why_not = "the baseline is too short";
        return AN_OK;
    }
    const enum an_status st = ask(a, &chart, wear ? n / 2.0 : n, df, wider, &a->out->level);
    a->out->both = a->out->level;
    return st;
}

/* Members of a group each have a baseline of their own; any of them may be the furthest. */
static enum an_status ask_group(const struct asking *a)
{
    const struct an_limits *limits = a->limits;
    struct an_expected_chart chart = level_chart(a);
    const double members = a->model->n_nominal;
    double quiet = 1.0;

    chart.k = an_group_limit(members, a->model->k);
    for (size_t i = 0; i < limits->product_count; i++) {
        const double m = limits->products[i].samples;
        struct an_estimated_run_length one;
        const enum an_status st = ask(a, &chart, m, an_moving_range_df(m), 1.0, &one);
        if (st) {
            return st;
        }
        quiet *= 1.0 - one.rate;
    }
    if (!limits->product_count || !(quiet < 1.0)) {
        a->out->why_not = "the members' baselines are not known";
        return AN_OK;
    }
    a->out->law = an_arena_printf(a->arena, "normal, the furthest of %.0f", members);
    a->out->level = (struct an_estimated_run_length){.known = 0.5 / an_normal_above(a->model->k),
                                                     .rate = 1.0 - quiet,
                                                     .between = 1.0 / (1.0 - quiet),
                                                     .low = (double)NAN,
                                                     .high = (double)NAN};
    a->out->both = a->out->level;
    return AN_OK;
}

/* Products by their share in the baseline, each with limits learned from its own samples. */
static enum an_status ask_products(const struct asking *a)
{
    const struct an_limits *limits = a->limits;
    const struct an_expected_chart chart = level_chart(a);
    struct an_estimated_run_length all = {.low = (double)NAN, .high = (double)NAN};
    double total = 0.0;

    for (size_t i = 0; i < limits->product_count; i++) {
        const double m = limits->products[i].samples;
        struct an_estimated_run_length one;
        if (!(m >= 2.0)) {
            continue; /* given, not learned, and hardly seen */
        }
        const enum an_status st = ask(a, &chart, m, an_moving_range_df(m), 1.0, &one);
        if (st) {
            return st;
        }
        all.rate += m * one.rate;
        all.known = one.known;
        total += m;
    }
    if (!(total > 0.0)) {
        a->out->why_not = "no product has two samples in the baseline";
        return AN_OK;
    }
    all.rate /= total;
    all.between = 1.0 / all.rate;
    a->out->law = "normal, by product";
    a->out->level = all;
    a->out->both = all;
    return AN_OK;
}

static enum an_status ask_joint(const struct asking *a)
{
    const struct an_chart_model *m = a->model;
    struct an_estimated_run_length *level = &a->out->level;
    struct an_run_length run = {.mean = (double)NAN};
    enum an_status st = AN_OK;

    *level = no_length;
    if (m->family == AN_T2) {
        level->rate = an_joint_chance(&m->joint, m->upper);
        level->known = 1.0 / an_chi_square_above(m->upper, (double)m->joint.p);
        a->out->law = an_arena_printf(a->arena, "F, %zu variables", m->joint.p);
    } else {
        struct an_arena *scratch = an_arena_open();
        st = scratch ? an_run_length_mewma(m->joint.p, m->weighting.lambda, m->weighting.limits,
                                           0.0, true, scratch, &run)
                     : AN_NO_MEMORY;
        an_arena_close(scratch);
        level->known = run.mean;
        level->rate = 1.0 / run.mean;
        a->out->as_known = true;
        a->out->law = an_arena_printf(a->arena, "normal, %zu variables", m->joint.p);
    }
    level->between = 1.0 / level->rate;
    a->out->both = *level;
    return st;
}

/* ---- counts ---- */

static const char *count_words(const struct an_count_spread *law, struct an_arena *arena)
{
    const bool units = law->kind == AN_COUNT_BINOMIAL || law->kind == AN_COUNT_BETA_BINOMIAL;
    const char *name = an_count_kind_name(law->kind);

    if (law->variance_ratio > 1.0) {
        return an_arena_printf(arena, "%s, %.3g counts a sample, scatter %.3g times plain", name,
                               law->mean, sqrt(law->variance_ratio));
    }
    return units ? an_arena_printf(arena, "%s, %.3g counts in %.0f", name, law->mean, law->n)
                 : an_arena_printf(arena, "%s, %.3g counts a sample", name, law->mean);
}

/* Counts that a chart with memory gathers: as if its limits were known. */
static enum an_status ask_gathered(const struct asking *a, const struct an_count_spread *law)
{
    const struct an_weighting *w = &a->model->weighting;
    const struct an_count_law plain = {law->kind == AN_COUNT_BINOMIAL, law->mean / law->n, law->n};
    struct an_arena *scratch = an_arena_open();
    double mean = (double)NAN;
    const enum an_status st =
        scratch ? an_run_length_counts(w, &plain, scratch, &mean) : AN_NO_MEMORY;

    an_arena_close(scratch);
    a->out->level =
        (struct an_estimated_run_length){mean, 1.0 / mean, mean, (double)NAN, (double)NAN};
    a->out->both = a->out->level;
    a->out->as_known = true;
    return st;
}

static enum an_status ask_counts(const struct asking *a)
{
    const struct an_chart_model *m = a->model;
    const bool primed = m->family == AN_P_PRIME || m->family == AN_U_PRIME;
    const bool weighted = m->weighting.kind != AN_UNWEIGHTED;
    struct an_count_spread law;
    enum an_status st = AN_OK;

    if (primed && (m->dispersion < 1.0 || weighted)) {
        /* no mixture scatters less; points in sigmas of their own, as the chart takes them */
        const struct an_expected_chart chart = level_chart(a);
        const double samples = (double)m->samples;
        a->out->law = weighted ? "normal, counts in sigmas"
                               : "normal, counts in sigmas (they scatter less than the plain law)";
        st = ask(a, &chart, samples, an_moving_range_df(samples), 1.0, &a->out->level);
        a->out->both = a->out->level;
        return st;
    }
    st = an_count_spread_of(m, &law);
    if (!st) {
        a->out->law = count_words(&law, a->arena);
        st = !a->out->law ? AN_NO_MEMORY
             : weighted   ? ask_gathered(a, &law)
                          : an_run_length_counts_ruled(m, &a->rules, a->arena, &a->out->level);
        a->out->both = a->out->level;
    }
    return st;
}

/* Gaps between events are judged by their chance, put as a normal point. */
static enum an_status ask_gaps(const struct asking *a)
{
    struct an_arena *scratch = an_arena_open();
    struct an_rule_chain *chain;
    const struct an_point_law normal = {0.0, 1.0};
    struct an_run_length run = {.mean = (double)NAN};
    enum an_status st =
        scratch ? an_rule_chain_open(&a->rules, a->model->k, scratch, &chain) : AN_NO_MEMORY;

    st = st ? st : an_run_length_rules(chain, normal, AN_ZERO_STATE, true, scratch, &run);
    an_arena_close(scratch);
    a->out->law =
        a->model->whole ? "geometric gaps, by their chance" : "exponential gaps, by their chance";
    a->out->by_event = true;
    a->out->as_known = true;
    a->out->level = (struct an_estimated_run_length){run.mean, 1.0 / run.mean, run.mean,
                                                     (double)NAN, (double)NAN};
    a->out->both = a->out->level;
    return st;
}

/* ---- which of them ---- */

static enum an_status ask_family(const struct asking *a)
{
    switch (a->model->family) {
    case AN_XBAR_R:
    case AN_XBAR_S:
    case AN_INDIVIDUALS:
    case AN_BETWEEN_WITHIN:
        return ask_values(a);
    case AN_P:
    case AN_NP:
    case AN_C:
    case AN_U:
    case AN_P_PRIME:
    case AN_U_PRIME:
        return ask_counts(a);
    case AN_T2:
    case AN_MEWMA:
        return ask_joint(a);
    case AN_RESIDUALS:
    case AN_WEAR:
        return ask_departures(a);
    case AN_GROUP:
        return ask_group(a);
    case AN_SHORT_RUN:
        return ask_products(a);
    case AN_G:
    case AN_T:
        return ask_gaps(a);
    case AN_FAMILY_COUNT:
        break;
    }
    return AN_DOMAIN;
}

/* Before anything is solved: what there is no theory for. */
static const char *hopeless(const struct asking *a)
{
    const bool spread = an_panel_rules(a->limits, 1).on[AN_RULE_BEYOND_LIMIT] &&
                        an_family_statistic(a->model->family, 1);

    if (a->model->weighting.kind == AN_MOVING_AVERAGE) {
        return "moving averages are not solved";
    }
    if (!rules_on(&a->rules) && !spread) {
        return "no rule is on";
    }
    return a->model->samples < 2 ? "the baseline has fewer than 2 samples" : NULL;
}

enum an_status an_expected_of(const struct an_limits *limits, struct an_expected_cache *cache,
                              struct an_arena *arena, struct an_expected *expected,
                              struct an_error *err)
{
    const struct asking a = {.limits = limits,
                             .model = &limits->model,
                             .rules = an_panel_rules(limits, 0),
                             .cache = cache,
                             .arena = arena,
                             .out = expected};

    *expected = (struct an_expected){.level = no_length, .spread = no_length, .both = no_length};
    expected->why_not = hopeless(&a);
    if (expected->why_not) {
        return AN_OK;
    }
    const enum an_status st = ask_family(&a);
    if (st == AN_NO_MEMORY) {
        return an_fail(err, st, "out of memory while finding expected false alarms");
    }
    if (!expected->why_not && (st || isnan(expected->both.rate))) {
        expected->why_not = "its limits or rules are beyond what is solved";
    }
    if (expected->why_not) {
        expected->level = expected->spread = expected->both = no_length;
        expected->law = NULL;
    }
    return AN_OK;
}

double an_expected_points(const struct an_expected *expected, const struct an_pace *pace)
{
    return expected->by_event ? pace->events_per_shift : pace->samples_per_shift;
}

double an_expected_false_alarms(const struct an_expected *expected, double points)
{
    return expected->both.rate * points;
}
