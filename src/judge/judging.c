/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Judging consecutive samples of a stream.
 *
 * Must never let a rule, or a moving range, look across a change of limits or over a sample that a
 * person left out: each stretch under one revision is judged on its own.
 */
#include "judge/judging.h"

#include "judge/along.h"
#include "judge/group.h"
#include "judge/learn_other.h"
#include "judge/positions.h"
#include "judge/readings.h"
#include "judge/scale.h"

#include <math.h>
#include <string.h>

struct an_chart_sample an_chart_sample_of(const struct an_sample *sample, enum an_family family)
{
    struct an_chart_sample c = {.n = (double)sample->n,
                                .mean = sample->mean,
                                .sd = (double)NAN,
                                .range = (double)NAN,
                                .count = sample->count,
                                .opportunities = sample->opportunities,
                                .second = (double)NAN,
                                .life =
                                    family == AN_WEAR ? an_life_of(sample->ribbon) : (double)NAN,
                                .hours = (double)sample->at_us / 3.6e9};

    if (family == AN_C && !isfinite(c.opportunities)) {
        c.opportunities = 1;
    }
    if (sample->n >= 2) {
        c.sd = sqrt(sample->ssd / (double)(sample->n - 1));
    }
    if (sample->n >= 1) {
        c.range = sample->max - sample->min;
    } else {
        c.mean = (double)NAN;
    }
    return c;
}

bool an_is_inside(const struct an_limits *limits)
{
    return limits->model.family == AN_T2 && limits->model.joint.spread == AN_JOINT_POOLED;
}

static bool is_excluded(const struct an_limits *limits, int64_t sample_id)
{
    for (size_t i = 0; i < limits->excluded_count; i++) {
        if (limits->excluded[i].sample_id == sample_id) {
            return true;
        }
    }
    return false;
}

static enum an_status allocate(struct an_judging *j, struct an_arena *arena)
{
    const size_t n = j->count + 1;

    j->phase = an_arena_alloc(arena, n, sizeof *j->phase);
    j->charted = an_arena_alloc(arena, n, sizeof *j->charted);
    j->points = an_arena_alloc(arena, n, sizeof *j->points);
    j->excluded = an_arena_alloc(arena, n, sizeof *j->excluded);
    j->gap_before = an_arena_alloc(arena, n, sizeof *j->gap_before);
    j->turn = an_arena_alloc(arena, n, sizeof *j->turn);
    j->off_scale = an_arena_alloc(arena, n, sizeof *j->off_scale);
    /* one at each change of limits, one at each round number, one at the end */
    j->marks = an_arena_alloc(arena, n / AN_RUNNING_MARKS + j->phases->count + 2, sizeof *j->marks);
    j->mark_count = 0;
    return j->phase && j->charted && j->points && j->excluded && j->gap_before && j->turn &&
                   j->off_scale && j->marks
               ? AN_OK
               : AN_NO_MEMORY;
}

/* Must its readings be read one by one? Places have offsets; a scale is not of means. */
static bool wants_readings(const struct an_judging *j, size_t i)
{
    const size_t p = j->phase[i];

    return p != AN_NONE && j->characteristic->kind == AN_MEASURED &&
           (j->phases->limits[p].position_count > 0 ||
            (an_is_scaled(&j->phases->limits[p]) && j->samples[i].n > 1));
}

/* One sample under limits with a scale, with fixed places, or both. */
static enum an_status adjust_sample(struct an_judging *j, struct an_site_readings *readings,
                                    size_t i, double scratch[])
{
    const struct an_limits *limits = &j->phases->limits[j->phase[i]];
    const size_t first = readings->first[i];
    const size_t n = readings->first[i + 1] - first;

    if (an_is_scaled(limits)) {
        j->off_scale[i] = an_scale_put(&limits->scale, readings->value + first, n);
    }
    if (j->off_scale[i]) {
        an_scale_off(&j->charted[i]);
        return AN_OK;
    }
    return limits->position_count > 0
               ? an_positions_adjust(readings, i, limits->positions, limits->position_count,
                                     scratch, &j->charted[i])
               : an_scale_chart(readings->value + first, n, &j->charted[i]);
}

/* Samples of one reading, or derived, under limits with a scale. */
static void scale_means(struct an_judging *j)
{
    for (size_t i = 0; i < j->count; i++) {
        const size_t p = j->phase[i];

        if (p == AN_NONE || !an_is_scaled(&j->phases->limits[p]) || j->charted[i].n < 1 ||
            wants_readings(j, i)) {
            continue;
        }
        struct an_chart_sample *c = &j->charted[i];
        j->off_scale[i] = an_scale_put(&j->phases->limits[p].scale, &c->mean, 1);
        if (j->off_scale[i]) {
            an_scale_off(c);
        }
    }
}

/* Samples under limits with a scale or fixed places: statistics on what their readings become. */
static enum an_status adjust_readings(struct an_store *store, struct an_judging *j,
                                      struct an_arena *arena, struct an_error *err)
{
    struct an_site_readings readings;
    size_t most = 1;
    size_t wanted_count = 0;
    bool *wanted = an_arena_alloc(arena, j->count + 1, sizeof *wanted);

    if (!wanted) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while judging");
    }
    for (size_t i = 0; i < j->count; i++) {
        wanted[i] = wants_readings(j, i);
        wanted_count += wanted[i];
    }
    scale_means(j);
    if (wanted_count == 0) {
        return AN_OK;
    }
    enum an_status st = an_site_readings_of(store, j->stream, j->characteristic, j->samples,
                                            j->count, wanted, arena, &readings, err);
    if (st) {
        return st;
    }
    j->dropped = readings.dropped_text ? readings.dropped : NULL;
    for (size_t i = 0; i < j->count; i++) {
        const size_t n = readings.first[i + 1] - readings.first[i];
        most = n > most ? n : most;
    }
    double *scratch = an_arena_alloc(arena, most, sizeof *scratch);
    if (!scratch) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while judging");
    }
    for (size_t i = 0; i < j->count; i++) {
        st = wanted[i] ? adjust_sample(j, &readings, i, scratch) : AN_OK;
        if (st) {
            return an_fail(err, st, "sample %lld of %s holds a value that is no number",
                           (long long)j->samples[i].sample_id, j->stream->name);
        }
    }
    return AN_OK;
}

/* The plotted level where nothing judges it. */
static double bare_level(const struct an_characteristic *characteristic,
                         const struct an_chart_sample *sample)
{
    switch (characteristic->family) {
    case AN_NP:
    case AN_C:
        return sample->count;
    case AN_P:
    case AN_U:
    case AN_P_PRIME:
    case AN_U_PRIME:
        return sample->opportunities > 0 ? sample->count / sample->opportunities : (double)NAN;
    case AN_T2:
    case AN_MEWMA:
    case AN_G:
    case AN_T:
    case AN_GROUP:
        return (double)NAN; /* no level by itself */
    case AN_XBAR_R:
    case AN_XBAR_S:
    case AN_INDIVIDUALS:
    case AN_BETWEEN_WITHIN:
    case AN_RESIDUALS:
    case AN_WEAR:
    case AN_SHORT_RUN:
    case AN_FAMILY_COUNT:
        break;
    }
    return sample->mean;
}

static bool can_be_judged(const struct an_chart_sample *sample, enum an_family family)
{
    return an_family_is_attribute(family) || sample->n >= 1;
}

/* One point of a chart with memory. Not taken in, so without a statistic: samples left out, and those
 * from before the chart was taken up, which nobody wants. */
static struct an_chart_point weighted_point(const struct an_judging *j, size_t i,
                                            const struct an_chart_sample *before,
                                            struct an_weighted_state *state)
{
    const struct an_chart_model *model = &j->phases->limits[j->phase[i]].model;
    struct an_weighted_state unused = {0};

    if (j->samples[i].at_us >= j->start.begin_us && !j->excluded[i]) {
        return an_chart_judge_weighted(model, &j->charted[i], before, state);
    }
    struct an_chart_point point = an_chart_judge_weighted(model, &j->charted[i], before, &unused);
    point.level = an_chart_no_point.level;
    point.upper = point.lower = (double)NAN;
    return point;
}

static void mark(struct an_judging *j, size_t i, const struct an_weighted_state *state)
{
    const bool last = i + 1 == j->count || j->phase[i + 1] != j->phase[i];

    if (last || (i + 1) % AN_RUNNING_MARKS == 0) {
        j->marks[j->mark_count++] = (struct an_running_mark){.at = i, .state = *state};
    }
}

static void compute_points(struct an_judging *j)
{
    struct an_weighted_state state = {0};
    bool started = false;

    for (size_t i = 0; i < j->count; i++) {
        const size_t p = j->phase[i];

        j->gap_before[i] = i > 0 && j->phase[i - 1] != p;
        if (i == 0 || j->gap_before[i]) { /* new limits begin anew */
            state = (struct an_weighted_state){0};
        }
        j->points[i] = an_chart_no_point;
        if (p == AN_NONE) {
            j->points[i].level.value = bare_level(j->characteristic, &j->charted[i]);
            continue;
        }
        const struct an_limits *limits = &j->phases->limits[p];
        j->excluded[i] = is_excluded(limits, j->samples[i].sample_id);
        j->charted[i].excluded = j->excluded[i];
        if (!can_be_judged(&j->charted[i], limits->model.family)) {
            continue;
        }
        const bool joined = i > 0 && j->phase[i - 1] == p && !j->excluded[i - 1] &&
                            !j->excluded[i] &&
                            can_be_judged(&j->charted[i - 1], limits->model.family);
        const struct an_chart_sample *before = joined ? &j->charted[i - 1] : NULL;
        if (limits->model.weighting.kind == AN_UNWEIGHTED) {
            j->points[i] = an_chart_judge(&limits->model, &j->charted[i], before);
            continue;
        }
        if (limits->limits_id == j->start.limits_id && !started &&
            j->samples[i].at_us >= j->start.begin_us) {
            state = j->start.state;
            started = true;
        }
        j->points[i] = weighted_point(j, i, before, &state);
        if (j->samples[i].at_us >= j->start.begin_us) {
            mark(j, i, &state);
        }
    }
}

/* A sample that a chart of gaps passes over: no event came with it. */
static bool is_between(const struct an_judging *j, size_t i)
{
    const size_t p = j->phase[i];

    return p != AN_NONE && j->phases->limits[p].model.weighting.kind == AN_GAPS &&
           !(j->charted[i].count > 0);
}

static void number_turns(struct an_judging *j)
{
    size_t turn = 0;

    for (size_t i = 0; i < j->count; i++) {
        turn += !is_between(j, i);
        j->turn[i] = turn;
    }
}

struct an_rule_choice an_panel_rules(const struct an_limits *limits, int panel)
{
    struct an_rule_choice rules = limits->rules;
    const bool weighted =
        limits->model.weighting.kind != AN_UNWEIGHTED && limits->model.weighting.kind != AN_GAPS;
    if (panel == 0 &&
        (weighted || limits->model.family == AN_T2 || limits->model.family == AN_GROUP)) {
        memset(rules.on, 0,
               sizeof rules.on); /* its points are not independent: runs mean nothing */
        rules.on[AN_RULE_BEYOND_LIMIT] = true;
    }
    if (panel == 1) {
        const bool beyond =
            rules.on[AN_RULE_BEYOND_LIMIT] && limits->model.family != AN_INDIVIDUALS;
        memset(rules.on, 0, sizeof rules.on);
        rules.on[AN_RULE_BEYOND_LIMIT] = beyond;
    }
    return rules;
}

/* The point at which the sum that signals left 0, though no further back than rules look: that far
 * every check reads, so that what it tells does not depend on where a check began. */
static size_t run_start(const struct an_judging *j, size_t from, size_t last)
{
    double run = fmin(j->points[last].run, AN_RULE_MEMORY);
    size_t first = last;

    for (size_t i = last; run > 1.0 && i > from; i--) {
        if (last + 1 - i >= AN_RULE_MEMORY) {
            break;
        }
        if (isfinite(j->points[i - 1].plain.value) && !j->excluded[i - 1]) {
            first = i - 1;
            run -= 1.0;
        }
    }
    return first;
}

/* Rules over one stretch [from, until) of one panel; hits are appended with indexes into samples. */
static enum an_status apply_rules(struct an_judging *j, int panel, size_t from, size_t until,
                                  double z[], size_t at[], struct an_arena *arena,
                                  struct an_rule_hit **hits, size_t *hit_count, size_t *room)
{
    const struct an_limits *limits = &j->phases->limits[j->phase[from]];
    const struct an_rule_choice rules = an_panel_rules(limits, panel);
    const double k = an_chart_limit_sigmas(&limits->model, panel);
    size_t n = 0;
    size_t found = 0;

    for (size_t i = from; i < until; i++) {
        const struct an_chart_point *point = &j->points[i];
        if (!is_between(j, i)) {
            at[n] = i;
            z[n++] = j->excluded[i] ? (double)NAN : panel == 0 ? point->level.z : point->spread.z;
        }
    }
    enum an_status st =
        an_rules_apply(z, NULL, NULL, n, k, &rules, *hits + *hit_count, *room - *hit_count, &found);
    if (st) {
        return st;
    }
    if (found > *room - *hit_count) {
        *room = 2 * (*hit_count + found);
        struct an_rule_hit *more = an_arena_alloc(arena, *room, sizeof *more);
        if (!more) {
            return AN_NO_MEMORY;
        }
        memcpy(more, *hits, *hit_count * sizeof *more);
        *hits = more;
        st = an_rules_apply(z, NULL, NULL, n, k, &rules, *hits + *hit_count, *room - *hit_count,
                            &found);
        if (st) {
            return st;
        }
    }
    for (size_t h = *hit_count; h < *hit_count + found; h++) {
        (*hits)[h].first = at[(*hits)[h].first];
        (*hits)[h].last = at[(*hits)[h].last];
        if (panel == 0 && limits->model.weighting.kind == AN_CUSUM) {
            (*hits)[h].first = run_start(j, from, (*hits)[h].last);
        }
    }
    *hit_count += found;
    return AN_OK;
}

static enum an_status apply_all(struct an_judging *j, struct an_arena *arena)
{
    double *z = an_arena_alloc(arena, j->count + 1, sizeof *z);
    size_t *at = an_arena_alloc(arena, j->count + 1, sizeof *at);

    if (!z || !at) {
        return AN_NO_MEMORY;
    }
    for (int panel = 0; panel < 2; panel++) {
        size_t room = 16;
        j->hits[panel] = an_arena_alloc(arena, room, sizeof *j->hits[panel]);
        if (!j->hits[panel]) {
            return AN_NO_MEMORY;
        }
        for (size_t from = 0; from < j->count;) {
            size_t until = from + 1;
            while (until < j->count && j->phase[until] == j->phase[from]) {
                until++;
            }
            if (j->phase[from] != AN_NONE) {
                const enum an_status st = apply_rules(j, panel, from, until, z, at, arena,
                                                      &j->hits[panel], &j->hit_count[panel], &room);
                if (st) {
                    return st;
                }
            }
            from = until;
        }
    }
    return AN_OK;
}

/* Samples with a reading that has no place on the scale of their limits: each is a hit of its own,
 * put among those of the level panel by its point. */
static enum an_status add_off_scale(struct an_judging *j, struct an_arena *arena)
{
    size_t more = 0;

    for (size_t i = 0; i < j->count; i++) {
        more += j->off_scale[i] != 0 && !j->excluded[i];
    }
    if (more == 0) {
        return AN_OK;
    }
    struct an_rule_hit *hits = an_arena_alloc(arena, j->hit_count[0] + more, sizeof *hits);
    size_t count = 0;
    size_t kept = 0;
    if (!hits) {
        return AN_NO_MEMORY;
    }
    for (size_t i = 0; i < j->count; i++) {
        while (kept < j->hit_count[0] && j->hits[0][kept].last <= i) {
            hits[count++] = j->hits[0][kept++];
        }
        if (j->off_scale[i] != 0 && !j->excluded[i]) {
            hits[count++] = (struct an_rule_hit){
                .rule = AN_RULE_OFF_SCALE, .first = i, .last = i, .side = j->off_scale[i]};
        }
    }
    j->hits[0] = hits;
    j->hit_count[0] = count;
    return AN_OK;
}

/* Samples under limits of a group: the furthest of its members. */
static enum an_status fill_groups(struct an_store *store, struct an_judging *j,
                                  struct an_arena *arena, struct an_error *err)
{
    bool *use = NULL;
    enum an_status st = AN_OK;

    for (size_t p = 0; !st && p < j->phases->count; p++) {
        const struct an_limits *limits = &j->phases->limits[p];
        size_t wanted = 0;
        if (limits->model.family != AN_GROUP ||
            j->characteristic->derivation != AN_DERIVE_EXTREMES) {
            continue;
        }
        use = use ? use : an_arena_alloc(arena, j->count + 1, sizeof *use);
        if (!use) {
            return an_fail(err, AN_NO_MEMORY, "out of memory while judging");
        }
        for (size_t i = 0; i < j->count; i++) {
            use[i] = j->phase[i] == p;
            wanted += use[i];
        }
        if (wanted) {
            st = an_group_fill(store, j->stream, j->characteristic, limits, j->samples, j->count,
                               use, j->charted, NULL, arena, err);
        }
    }
    return st;
}

enum an_status an_judging_do(struct an_store *store, struct an_judging *judging,
                             struct an_arena *arena, struct an_error *err)
{
    struct an_judging *j = judging;

    j->hit_count[0] = 0;
    j->hit_count[1] = 0;
    if (allocate(j, arena)) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while judging");
    }
    for (size_t i = 0; i < j->count; i++) {
        const size_t p = an_phase_at(j->phases, j->samples[i].at_us);
        j->phase[i] = p;
        j->charted[i] =
            an_chart_sample_of(&j->samples[i], p == AN_NONE ? j->characteristic->family
                                                            : j->phases->limits[p].model.family);
    }
    enum an_status st = adjust_readings(store, j, arena, err);
    if (st) {
        return st;
    }
    bool inside = false; /* means are the same, but for rows that lack one variable */
    for (size_t p = 0; p < j->phases->count; p++) {
        inside = inside || an_is_inside(&j->phases->limits[p]);
    }
    bool *dropped = inside ? an_arena_alloc(arena, j->count + 1, sizeof *dropped) : NULL;
    if (inside && !dropped) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while judging");
    }
    st = an_second_of(store, j->stream, j->characteristic, j->samples, j->count, inside, j->charted,
                      NULL, dropped, arena, err);
    j->dropped = inside ? dropped : j->dropped;
    if (st) {
        return st;
    }
    st = fill_groups(store, j, arena, err);
    if (st) {
        return st;
    }
    for (size_t i = 0; i < j->count; i++) {
        if (j->phase[i] != AN_NONE && j->phases->limits[j->phase[i]].model.family == AN_SHORT_RUN) {
            an_products_scale(&j->phases->limits[j->phase[i]], &j->samples[i], &j->charted[i]);
        }
    }
    compute_points(j);
    number_turns(j);
    if (j->characteristic->signal_is_news) {
        st = apply_all(j, arena);
        st = st ? st : add_off_scale(j, arena);
        if (st) {
            return an_fail(err, st, "rules could not be applied to %s", j->stream->name);
        }
    }
    return AN_OK;
}
