/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How large a signal is and when it began. Must never date a change that runs against the side on
 * which the rule spoke: then none is dated and the episode's own points are told.
 *
 * What is fitted is each point's distance from its own centre, so that points with varying centre
 * and the known level before it (0) fit together.
 */
#include "judge/story.h"

#include <math.h>

#define RAMP_POINTS 8

const struct an_panel_point *an_story_point(const struct an_story *story, size_t at)
{
    const struct an_chart_point *point = &story->view.points[at].point;

    return story->signal->record.panel ? &point->spread : &point->level;
}

static bool is_gaps(const struct an_story *story)
{
    return story->limits->model.weighting.kind == AN_GAPS;
}

/* A chart with memory is told by the points it is made of: its own are not independent, and its sums
 * are not distances. */
static bool is_weighted(const struct an_story *story)
{
    return !story->signal->record.panel && story->limits->model.weighting.kind != AN_UNWEIGHTED &&
           !is_gaps(story);
}

static double distance(const struct an_story *story, size_t at)
{
    const struct an_panel_point *p = an_story_point(story, at);
    const struct an_plain_point *plain = &story->view.points[at].point.plain;

    if (is_gaps(story)) { /* far from normal, and of many events at once: by its chance */
        return p->z;
    }
    return (is_weighted(story) ? plain->value - plain->centre : p->value - p->centre) *
           story->view.scale;
}

static double sigmas(const struct an_story *story, size_t at)
{
    const struct an_plain_point *plain = &story->view.points[at].point.plain;

    if (!is_weighted(story)) {
        return an_story_point(story, at)->z;
    }
    return plain->sigma > 0 ? (plain->value - plain->centre) / plain->sigma : (double)NAN;
}

/* Means over [from, last] of the distance from the centre, in shown unit and in sigmas. */
static void mean_size(struct an_story *story, size_t from)
{
    struct an_signal *signal = story->signal;
    double n = 0;

    signal->size = 0;
    signal->size_sigmas = 0;
    for (size_t i = from; i <= story->last; i++) {
        const double d = distance(story, i);
        const double z = sigmas(story, i);

        if (isfinite(d) && isfinite(z) && !story->view.points[i].excluded) {
            n++;
            signal->size += (d - signal->size) / n;
            signal->size_sigmas += (z - signal->size_sigmas) / n;
        }
    }
    if (n == 0) { /* nothing of it has a place on the chart */
        signal->size = signal->size_sigmas = (double)NAN;
    }
}

/* Patterns without a side: the mean step from one point to the next, up or down. */
static void mean_swing(struct an_story *story)
{
    struct an_signal *signal = story->signal;
    double n = 0;
    double mean_sigmas = 0;

    story->swing = 0;
    for (size_t i = story->first + 1; i <= story->last; i++) {
        const double d = distance(story, i) - distance(story, i - 1);
        const double z = sigmas(story, i) - sigmas(story, i - 1);

        if (isfinite(d) && isfinite(z)) {
            n++;
            story->swing += (fabs(d) - story->swing) / n;
            mean_sigmas += (fabs(z) - mean_sigmas) / n;
        }
    }
    signal->size = story->swing;
    signal->size_sigmas = mean_sigmas;
}

static void set_times(struct an_story *story)
{
    struct an_signal *signal = story->signal;
    const struct an_judged_point *points = story->view.points;

    signal->onset_sample_id = points[story->onset].sample.sample_id;
    signal->onset_us = points[story->onset].sample.at_us;
    signal->onset_earliest_us = points[story->earliest].sample.at_us;
    signal->onset_latest_us = points[story->latest].sample.at_us;
}

static void set_ramp(struct an_story *story, double rate)
{
    struct an_signal *signal = story->signal;
    const struct an_judged_point *points = story->view.points;
    const size_t before = story->onset > story->from ? story->onset - 1 : story->onset;
    const double days = (double)(points[story->last].sample.at_us - points[before].sample.at_us) /
                        (double)AN_DAY_US;
    const double steps = (double)(story->last - before);

    signal->size = signal->change.after - signal->change.before;
    const double z = sigmas(story, story->last);
    const double sigma = fabs(z) > 0 ? fabs(distance(story, story->last) / z) : 0;
    if (sigma > 0) { /* of the last point: limits may vary from point to point */
        signal->size_sigmas = signal->size / sigma;
    }
    if (days > 0) {
        signal->per_day = rate * steps / days;
    }
}

/* A ramp must have had points enough to be seen as one, and explain them clearly better than a step
 * (e^2 times as likely): two or three high points in a row are no rate a day. */
static bool best_change(const double x[], size_t n, double scratch[], struct an_change *change)
{
    struct an_change step;
    struct an_change ramp;
    const bool has_step = !an_change_step(x, n, 0.0, AN_STORY_CONFIDENCE, scratch, &step);
    const bool has_ramp = !an_change_ramp(x, n, 0.0, AN_STORY_CONFIDENCE, scratch, &ramp);

    if (has_ramp && n - ramp.first >= RAMP_POINTS &&
        (!has_step || ramp.log_likelihood_gain > step.log_likelihood_gain + 2)) {
        *change = ramp;
        return true;
    }
    if (has_step) {
        *change = step;
    }
    return has_step;
}

static size_t first_hit(const struct an_story *story)
{
    size_t at = story->first;

    while (at < story->last &&
           story->view.points[at].sample.sample_id != story->signal->hits[0].sample_id) {
        at++;
    }
    return at;
}

/* Points from here on can belong to this change: what an earlier signal of the same side told ended
 * before them. */
static size_t fit_from(const struct an_story *story, size_t first)
{
    const struct an_signal *signal = story->signal;
    const int panel = signal->record.panel;
    size_t from = story->from;

    for (size_t h = 0; h < story->view.hit_count[panel]; h++) {
        const struct an_rule_hit *hit = &story->view.hits[panel][h];
        if (hit->side == signal->record.side && hit->last < first && hit->last + 1 > from) {
            from = hit->last + 1;
        }
    }
    return from < story->first ? from : story->first;
}

static enum an_status fit(struct an_story *story, struct an_error *err)
{
    struct an_signal *signal = story->signal;
    const size_t first = first_hit(story);
    const size_t from = fit_from(story, first);
    const size_t room = story->last - from + 1;
    double *x = an_arena_alloc(story->arena, room, sizeof *x);
    size_t *at = an_arena_alloc(story->arena, room, sizeof *at);
    double *scratch = an_arena_alloc(story->arena, 2 * room, sizeof *scratch);
    size_t n = 0;

    if (!x || !at || !scratch) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while telling signals");
    }
    for (size_t i = from; i <= story->last; i++) {
        const double d = distance(story, i);
        if (isfinite(d) && !story->view.points[i].excluded) {
            at[n] = i;
            x[n++] = d;
        }
    }
    struct an_change *change = &signal->change;
    if (!best_change(x, n, scratch, change)) {
        return AN_OK; /* too few points to date it */
    }
    const double moved = change->after - change->before;
    if (change->first == 0 || change->first >= n || !(moved * signal->record.side > 0)) {
        return AN_OK; /* it began before anything that was looked at, or is not this change */
    }
    signal->has_change = true;
    story->onset = at[change->first];
    story->earliest = at[change->earliest < n ? change->earliest : change->first];
    story->latest = at[change->latest < n ? change->latest : n - 1];
    mean_size(story, story->onset);
    if (change->kind == AN_CHANGE_RAMP) {
        set_ramp(story, change->rate);
    }
    return AN_OK;
}

/*
 * A cusum dates its own signals: the shift began after the sum was last at 0. [Page, Continuous
 * inspection schemes, Biometrika 41, 1954; Montgomery, Introduction to Statistical Quality Control;
 * from memory] The interval is that of the most likely change, widened to hold it.
 */
static void cusum_onset(struct an_story *story)
{
    struct an_signal *signal = story->signal;
    size_t at = story->last;

    for (size_t i = story->from; i <= story->last; i++) { /* the first hit */
        if (story->view.points[i].sample.sample_id == signal->hits[0].sample_id) {
            at = i;
        }
    }
    double run = story->view.points[at].point.run;
    while (run > 1.0 && at > story->from) {
        at--;
        const struct an_judged_point *point = &story->view.points[at];
        run -= isfinite(point->point.plain.value) && !point->excluded ? 1.0 : 0.0;
    }
    if (!signal->has_change) {
        story->earliest = story->latest = at;
    }
    story->onset = at;
    story->earliest = at < story->earliest ? at : story->earliest;
    story->latest = at > story->latest ? at : story->latest;
    signal->has_change = true;
    signal->change.kind = AN_CHANGE_STEP;
    signal->per_day = (double)NAN;
    mean_size(story, at);
}

/* Scatter is of the newest block that was news: no point of it is large. */
static void block_of(struct an_story *story)
{
    struct an_signal *signal = story->signal;
    const struct an_hit_record *hit = &signal->hits[signal->hit_count - 1];

    for (size_t i = story->first; i <= story->last; i++) {
        if (story->view.points[i].sample.sample_id == hit->window_first_sample_id) {
            story->onset = story->earliest = story->latest = i;
        }
    }
    signal->size = hit->value / story->limits->model.dispersion;
    signal->size_sigmas = hit->z;
    signal->unit = "times";
}

bool an_story_carries(const struct an_story *story, size_t at)
{
    const struct an_signal *signal = story->signal;
    const struct an_sample *sample = &story->view.points[at].sample;
    size_t lo = 0;
    size_t hi = signal->hit_count;

    while (lo < hi) { /* hits are by time, then sample */
        const size_t middle = lo + (hi - lo) / 2;
        const struct an_hit_record *hit = &signal->hits[middle];
        if (hit->at_us < sample->at_us ||
            (hit->at_us == sample->at_us && hit->sample_id < sample->sample_id)) {
            lo = middle + 1;
        } else {
            hi = middle;
        }
    }
    return (at >= story->onset && at <= story->last) ||
           (lo < signal->hit_count && signal->hits[lo].sample_id == sample->sample_id);
}

enum an_status an_story_onset(struct an_story *story, struct an_error *err)
{
    struct an_signal *signal = story->signal;
    enum an_status st = AN_OK;

    signal->per_day = (double)NAN;
    signal->has_change = false;
    story->onset = story->first;
    story->earliest = story->first;
    story->latest = story->first;
    if (signal->record.rule == AN_RULE_SCATTER) {
        block_of(story);
    } else if (signal->record.side == 0) {
        mean_swing(story);
    } else {
        mean_size(story, story->first);
        /* one distance of several variables beyond its limit is one sample: its square is too skew
         * for a step to be fitted through it and what came before */
        if (story->limits->model.family != AN_T2 || signal->hit_count > 1) {
            st = fit(story, err);
        }
        if (!st && is_weighted(story) && story->limits->model.weighting.kind == AN_CUSUM) {
            cusum_onset(story);
        }
    }
    set_times(story);
    return st;
}
