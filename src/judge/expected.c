/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Expected false alarms of limits.
 *
 * Responsible for: which theory fits which chart. Must never guess: charts without one get no
 * number. Hard idea: a table over the errors of centre and sigma serves every stream judged by the
 * same rules, whatever its baseline; it is made once.
 */
#include "judge/expected.h"

#include "andamento/stat/design.h"
#include "judge/judging.h"

#include <math.h>
#include <string.h>

enum { CHARTS_MOST = 32, POINTS_FINE = 15, POINTS_COARSE = 9, STATES_MANY = 2000 };

struct an_expected_chart {
    struct an_rule_choice rules;
    struct an_weighting weighting;
    double k;
    struct an_run_surface *surface;
};

static enum an_status rules_at(const void *plan, struct an_point_law law, struct an_arena *scratch,
                               double *mean)
{
    struct an_run_length run = {.mean = (double)NAN};
    const enum an_status st = an_run_length_rules(plan, law, AN_ZERO_STATE, true, scratch, &run);
    *mean = run.mean;
    return st;
}

static enum an_status shewhart_at(const void *plan, struct an_point_law law,
                                  struct an_arena *scratch, double *mean)
{
    struct an_run_length run = {.mean = (double)NAN};
    (void)scratch; /* a closed form needs none */
    const enum an_status st = an_run_length_shewhart(*(const double *)plan, law, &run);
    *mean = run.mean;
    return st;
}

static enum an_status weighted_at(const void *plan, struct an_point_law law,
                                  struct an_arena *scratch, double *mean)
{
    struct an_run_length run = {.mean = (double)NAN};
    const enum an_status st = an_run_length_weighted(plan, law, true, scratch, &run);
    *mean = run.mean;
    return st;
}

static bool same_rules(const struct an_rule_choice *a, const struct an_rule_choice *b)
{
    return memcmp(a->on, b->on, sizeof a->on) == 0 && a->run_length == b->run_length &&
           a->trend_length == b->trend_length;
}

static bool same_weighting(const struct an_weighting *a, const struct an_weighting *b)
{
    return a->kind == b->kind && !(a->limits < b->limits) && !(a->limits > b->limits) &&
           !(a->lambda < b->lambda) && !(a->lambda > b->lambda) && !(a->reference < b->reference) &&
           !(a->reference > b->reference) && !(a->head_start < b->head_start) &&
           !(a->head_start > b->head_start) && a->steady == b->steady;
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
    struct an_rule_chain *chain;
    if (chart->weighting.kind != AN_UNWEIGHTED) {
        return an_run_surface_open(weighted_at, &chart->weighting, 0.0, POINTS_COARSE, arena,
                                   &chart->surface);
    }
    if (chart->rules.on[AN_RULE_BEYOND_LIMIT] && rules_on(&chart->rules) == 1) {
        return an_run_surface_open(shewhart_at, &chart->k, 0.0, POINTS_FINE, arena,
                                   &chart->surface);
    }
    const enum an_status st = an_rule_chain_open(&chart->rules, chart->k, arena, &chain);
    if (st) {
        return st;
    }
    const bool many = an_rule_chain_states(chain) > STATES_MANY;
    return an_run_surface_open(rules_at, chain, 0.0, many ? POINTS_COARSE : POINTS_FINE, arena,
                               &chart->surface);
}

static enum an_status find_chart(const struct an_limits *limits, struct an_expected_cache *cache,
                                 struct an_arena *arena, struct an_expected_chart **found)
{
    const struct an_expected_chart wanted = {.rules = an_panel_rules(limits, 0),
                                             .weighting = limits->model.weighting,
                                             .k = limits->model.k};
    *found = NULL;
    if (!cache->charts) {
        cache->charts = an_arena_alloc(arena, CHARTS_MOST, sizeof *cache->charts);
    }
    if (!cache->charts) {
        return AN_NO_MEMORY;
    }
    for (size_t i = 0; i < cache->count; i++) {
        struct an_expected_chart *chart = &cache->charts[i];
        if (same_rules(&chart->rules, &wanted.rules) && !(chart->k < wanted.k) &&
            !(chart->k > wanted.k) && same_weighting(&chart->weighting, &wanted.weighting)) {
            *found = chart;
            return AN_OK;
        }
    }
    struct an_expected_chart *chart =
        &cache->charts[cache->count < CHARTS_MOST ? cache->count++ : CHARTS_MOST - 1];
    *chart = wanted;
    const enum an_status st = make_surface(chart, arena);
    if (st) {
        cache->count--;
        return st;
    }
    *found = chart;
    return AN_OK;
}

static bool has_theory(const struct an_limits *limits)
{
    const struct an_chart_model *m = &limits->model;
    const struct an_rule_choice rules = an_panel_rules(limits, 0);
    const bool family = m->family == AN_XBAR_R || m->family == AN_XBAR_S ||
                        m->family == AN_INDIVIDUALS || m->family == AN_BETWEEN_WITHIN;
    const bool weighting = m->weighting.kind == AN_UNWEIGHTED || m->weighting.kind == AN_EWMA ||
                           m->weighting.kind == AN_CUSUM;
    return family && weighting && rules_on(&rules) > 0 && m->samples >= 2;
}

enum an_status an_expected_of(const struct an_limits *limits, struct an_expected_cache *cache,
                              struct an_arena *arena, struct an_estimated_run_length *expected,
                              struct an_error *err)
{
    const double nan = (double)NAN;
    struct an_expected_chart *chart;
    double se = nan, unused;

    *expected = (struct an_estimated_run_length){nan, nan, nan, nan, nan};
    if (!has_theory(limits)) {
        return AN_OK;
    }
    an_chart_uncertainty(&limits->model, &se, &unused);
    enum an_status st = find_chart(limits, cache, arena, &chart);
    if (st == AN_NO_MEMORY) {
        return an_fail(err, st, "out of memory while finding expected false alarms");
    }
    if (st || !(se > 0.0)) {
        return AN_OK; /* parameters beyond what is solved: no number */
    }
    /* degrees of freedom of a sigma with this relative error: 1 / (2 se^2), to first order */
    const double df = fmax(1.0, 1.0 / (2.0 * se * se));
    st = an_run_length_estimated(chart->surface, (double)limits->model.samples, df, expected);
    if (st) {
        *expected = (struct an_estimated_run_length){nan, nan, nan, nan, nan};
    }
    return AN_OK;
}
