/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A stream over a period as it was judged. Must never judge by itself: judging.c does.
 *
 * Samples before the period are read even when no context is asked for, because a rule met early
 * in the period may have begun before it; they are cut off again when all is judged.
 */
#include "judge/judge.h"
#include "judge/judging.h"
#include "judge/scale.h"
#include "judge/scatter.h"
#include "judge/shown.h"

#include <math.h>
#include <string.h>

#define LOOK_BACK (AN_RULE_MEMORY + 1) /* one more: the moving range of the first */

static bool any_has_memory(const struct an_phases *phases)
{
    for (size_t p = 0; p < phases->count; p++) {
        if (phases->limits[p].model.weighting.kind != AN_UNWEIGHTED) {
            return true;
        }
    }
    return false;
}

/* Charts with memory must be judged from where they are known to have stood: reads the samples from
 * there up to the first one read so far as well. */
static enum an_status read_earlier(struct an_store *store, const struct an_stream *stream,
                                   const struct an_phases *phases, int64_t first_us,
                                   struct an_running_start *start, struct an_arena *arena,
                                   struct an_sample **earlier, size_t *count, struct an_error *err)
{
    int64_t unseen_us = INT64_MAX;

    *count = 0;
    if (!any_has_memory(phases)) {
        start->begin_us = first_us;
        return AN_OK;
    }
    enum an_status st = an_running_unseen(store, stream->stream_id, &unseen_us, err);
    st = st ? st
            : an_running_find(store, stream->stream_id, phases, first_us, unseen_us, arena, start,
                              err);
    if (st || start->begin_us >= first_us) {
        return st;
    }
    return an_store_samples(store, stream->stream_id, start->begin_us, first_us, 0, arena, earlier,
                            count, err);
}

/* Samples before the period and in it as one array; *before of them are earlier. */
static enum an_status read_samples(struct an_store *store, const struct an_stream *stream,
                                   int64_t from_us, int64_t until_us, size_t most_before,
                                   const struct an_phases *phases, struct an_arena *arena,
                                   struct an_sample **samples, size_t *count, size_t *before,
                                   struct an_running_start *start, struct an_error *err)
{
    struct an_sample *earlier = NULL;
    struct an_sample *early = NULL;
    struct an_sample *late = NULL;
    size_t earlier_count = 0;
    size_t early_count = 0;
    size_t late_count = 0;
    enum an_status st = AN_OK;

    if (from_us != AN_NO_INSTANT) {
        st = an_store_samples_before(store, stream->stream_id, from_us, most_before, arena, &early,
                                     &early_count, err);
    }
    st = st ? st
            : an_store_samples(store, stream->stream_id, from_us, until_us, 0, arena, &late,
                               &late_count, err);
    if (!st && early_count + late_count > 0) {
        const int64_t first_us = early_count ? early[0].at_us : late[0].at_us;
        st = read_earlier(store, stream, phases, first_us, start, arena, &earlier, &earlier_count,
                          err);
    }
    if (st) {
        return st;
    }
    *before = earlier_count + early_count;
    *count = *before + late_count;
    *samples = an_arena_alloc(arena, *count + 1, sizeof **samples);
    if (!*samples) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while reading samples");
    }
    if (earlier_count) {
        memcpy(*samples, earlier, earlier_count * sizeof **samples);
    }
    if (early_count) {
        memcpy(*samples + earlier_count, early, early_count * sizeof **samples);
    }
    if (late_count) {
        memcpy(*samples + *before, late, late_count * sizeof **samples);
    }
    return AN_OK;
}

/* Keeps the revisions that reach into [from_us, until_us) and renumbers the phases of points. */
static enum an_status keep_limits(struct an_stream_view *view, const struct an_judging *j,
                                  size_t skip, int64_t from_us, int64_t until_us,
                                  struct an_arena *arena)
{
    const struct an_phases *phases = j->phases;
    size_t *renumbered = an_arena_alloc(arena, phases->count + 1, sizeof *renumbered);

    view->limits = an_arena_alloc(arena, phases->count + 1, sizeof *view->limits);
    if (!renumbered || !view->limits) {
        return AN_NO_MEMORY;
    }
    if (j->count > skip && (from_us == AN_NO_INSTANT || j->samples[skip].at_us < from_us)) {
        from_us = j->samples[skip].at_us; /* context shows earlier phases too */
    }
    for (size_t p = 0; p < phases->count; p++) {
        renumbered[p] = AN_NONE;
        if (phases->from_us[p] < until_us && phases->until_us[p] > from_us) {
            renumbered[p] = view->limits_count;
            view->limits[view->limits_count++] = phases->limits[p];
        }
    }
    for (size_t i = 0; i < view->count; i++) {
        const size_t p = j->phase[skip + i];
        view->points[i].phase = p == AN_NONE ? AN_NONE : renumbered[p];
    }
    return AN_OK;
}

static enum an_status keep_hits(struct an_stream_view *view, const struct an_judging *j,
                                size_t skip, struct an_arena *arena)
{
    for (int panel = 0; panel < 2; panel++) {
        view->hits[panel] =
            an_arena_alloc(arena, j->hit_count[panel] + 1, sizeof *view->hits[panel]);
        if (!view->hits[panel]) {
            return AN_NO_MEMORY;
        }
        for (size_t h = 0; h < j->hit_count[panel]; h++) {
            struct an_rule_hit hit = j->hits[panel][h];

            if (hit.last < skip) {
                continue;
            }
            hit.first = hit.first < skip ? 0 : hit.first - skip;
            hit.last -= skip;
            view->hits[panel][view->hit_count[panel]++] = hit;
            struct an_judged_point *point = &view->points[hit.last];
            if (point->hit_side[panel] == 0) { /* the first side that a rule met there has */
                point->hit_side[panel] = hit.side;
            }
            point->hit_rules[panel] |= 1U << (unsigned)hit.rule;
        }
    }
    return AN_OK;
}

/* A level under limits of another scale (from NULL: none), on that of `to`. */
static double carried(double y, const struct an_limits *from, const struct an_limits *to)
{
    const double value = from ? an_scale_back(&from->scale, y) : y;
    const double moved = an_scale_of(&to->scale, value);

    return isfinite(moved) ? moved : (double)NAN;
}

static void carry_point(struct an_chart_point *point, const struct an_limits *from,
                        const struct an_limits *to)
{
    struct an_panel_point *level = &point->level;

    if (from && from->model.weighting.kind == AN_CUSUM) { /* sums are multiples of sigma */
        const double ratio = to->model.sigma_level / from->model.sigma_level;
        level->value *= ratio;
        level->centre *= ratio;
        level->lcl *= ratio;
        level->ucl *= ratio;
        point->upper *= ratio;
        point->lower *= ratio;
    } else {
        level->value = carried(level->value, from, to);
        level->centre = carried(level->centre, from, to);
        level->lcl = carried(level->lcl, from, to);
        level->ucl = carried(level->ucl, from, to);
    }
    const double centre = carried(point->plain.centre, from, to);
    point->plain.sigma = carried(point->plain.centre + point->plain.sigma, from, to) - centre;
    point->plain.centre = centre;
    point->plain.value = carried(point->plain.value, from, to);
    point->spread = an_chart_no_point.spread; /* a range on one scale is none on another */
}

/* One panel, one axis: the scale is that of the newest limits in view. z stays as it was judged. */
static void to_one_scale(struct an_stream_view *view)
{
    const struct an_limits *to = view->limits_count ? &view->limits[view->limits_count - 1] : NULL;
    bool scaled = false;

    for (size_t i = 0; i < view->limits_count; i++) {
        scaled = scaled || an_is_scaled(&view->limits[i]);
    }
    if (!to || !scaled) {
        return;
    }
    view->on_scale = an_is_scaled(to) ? &to->scale : NULL;
    for (size_t i = 0; i < view->count; i++) {
        struct an_judged_point *point = &view->points[i];
        const struct an_limits *own = point->phase == AN_NONE ? NULL : &view->limits[point->phase];
        if (own ? !an_scale_same(&own->scale, &to->scale) : an_is_scaled(to)) {
            carry_point(&point->point, own, to);
        }
    }
}

/* Hits of the scatter of counts are of blocks that begin where a view does not, so they are not found
 * anew but taken from what checks kept. */
static enum an_status take_scatter(struct an_store *store, struct an_stream_view *view,
                                   struct an_arena *arena, struct an_error *err)
{
    struct an_hit_record *kept = NULL;
    size_t count = 0;
    bool watched = false;

    for (size_t i = 0; i < view->limits_count; i++) {
        watched = watched || an_scatter_watched(&view->limits[i]);
    }
    if (!watched || view->count == 0) {
        return AN_OK;
    }
    const enum an_status st = an_store_stream_hits(
        store, view->stream.stream_id, view->points[0].sample.at_us, arena, &kept, &count, err);
    if (st) {
        return st;
    }
    view->hits[1] = an_arena_alloc(arena, count + 1, sizeof *view->hits[1]);
    if (!view->hits[1]) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while judging %s", view->stream.name);
    }
    size_t first = 0;
    for (size_t i = 0, k = 0; i < view->count && k < count; i++) {
        while (k < count &&
               (kept[k].rule != AN_RULE_SCATTER || kept[k].at_us < view->points[i].sample.at_us)) {
            k++;
        }
        if (k < count && view->points[i].sample.sample_id == kept[k].sample_id) {
            for (first = i; first > 0 && first + AN_SCATTER_BLOCK > i + 1 &&
                            view->points[first].sample.sample_id != kept[k].window_first_sample_id;
                 first--) {
            }
            view->hits[1][view->hit_count[1]++] = (struct an_rule_hit){
                .rule = AN_RULE_SCATTER, .first = first, .last = i, .side = kept[k].side};
            view->points[i].hit_rules[1] |= 1U << (unsigned)AN_RULE_SCATTER;
            view->points[i].hit_side[1] = kept[k].side;
            k++;
        }
    }
    return AN_OK;
}

static enum an_status fill_view(struct an_stream_view *view, const struct an_judging *j,
                                size_t skip, int64_t from_us, int64_t until_us,
                                struct an_arena *arena)
{
    view->count = j->count - skip;
    view->points = an_arena_alloc(arena, view->count + 1, sizeof *view->points);
    if (!view->points) {
        return AN_NO_MEMORY;
    }
    for (size_t i = 0; i < view->count; i++) {
        struct an_judged_point *point = &view->points[i];

        point->sample = j->samples[skip + i];
        point->point = j->points[skip + i];
        point->excluded = j->excluded[skip + i];
        point->off_scale = j->off_scale[skip + i];
        point->gap_before = i > 0 && j->gap_before[skip + i];
    }
    enum an_status st = keep_limits(view, j, skip, from_us, until_us, arena);
    st = st ? st : keep_hits(view, j, skip, arena);
    if (!st) {
        to_one_scale(view);
        an_shown_fill(view);
        view->unit = an_shown_unit(view->characteristic, arena);
        if (view->on_scale && view->unit) {
            view->unit = an_scale_unit(view->on_scale, view->unit, arena);
        }
        st = view->unit ? AN_OK : AN_NO_MEMORY;
    }
    return st;
}

enum an_status an_judge_view_under(struct an_store *store, const struct an_line *line,
                                   const struct an_stream *stream, const struct an_phases *phases,
                                   int64_t from_us, int64_t until_us, size_t context,
                                   struct an_arena *arena, struct an_stream_view *view,
                                   struct an_error *err)
{
    struct an_running_start start = {.begin_us = INT64_MIN};
    struct an_sample *samples = NULL;
    size_t count = 0;
    size_t before = 0;

    memset(view, 0, sizeof *view);
    view->stream = *stream;
    view->scale = 1.0;
    view->unit = "";
    if (!an_judge_resolve(line, stream, &view->station, &view->characteristic, &view->purpose,
                          arena)) {
        return an_fail(err, AN_BAD_CONFIG, "stream %s is no longer in the line description",
                       stream->name);
    }
    if (until_us == AN_NO_INSTANT) {
        until_us = INT64_MAX;
    }
    enum an_status st = read_samples(store, stream, from_us, until_us, context + LOOK_BACK, phases,
                                     arena, &samples, &count, &before, &start, err);
    if (st) {
        return st;
    }
    struct an_judging judging = {.stream = stream,
                                 .characteristic = view->characteristic,
                                 .samples = samples,
                                 .count = count,
                                 .phases = phases,
                                 .start = start};
    st = an_judging_do(store, &judging, arena, err);
    if (st) {
        return st;
    }
    if (fill_view(view, &judging, before > context ? before - context : 0, from_us, until_us,
                  arena)) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while judging %s", stream->name);
    }
    return take_scatter(store, view, arena, err);
}

enum an_status an_judge_view(struct an_store *store, const struct an_line *line,
                             const struct an_stream *stream, int64_t from_us, int64_t until_us,
                             size_t context, struct an_arena *arena, struct an_stream_view *view,
                             struct an_error *err)
{
    struct an_phases phases;

    memset(view, 0, sizeof *view);
    const enum an_status st = an_phases_of(store, stream->stream_id, arena, &phases, err);
    return st ? st
              : an_judge_view_under(store, line, stream, &phases, from_us, until_us, context, arena,
                                    view, err);
}
