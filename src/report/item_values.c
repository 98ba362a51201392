/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Values of items, each against the limits that were in force when it was made. Responsible for
 * judging as the charts do: every value comes out of a stream's view.
 *
 * The hard idea: a view costs its samples, whoever they are of. So the stays of the items at a
 * station are joined to a few spans of time, and each stream is viewed over these only.
 */
#include "judge/scale.h"
#include "report/item_data.h"
#include "report/wording.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define JOIN_US (12 * AN_HOUR_US) /* stays closer than this are looked at in one view */

struct span {
    int64_t from_us, until_us;
};

struct asked { /* the items, findable by id */
    int64_t item_id;
    size_t index;
};

static int by_item(const void *a, const void *b)
{
    const struct asked *x = a;
    const struct asked *y = b;
    return (x->item_id > y->item_id) - (x->item_id < y->item_id);
}

static int by_start(const void *a, const void *b)
{
    const struct span *x = a;
    const struct span *y = b;
    return (x->from_us > y->from_us) - (x->from_us < y->from_us);
}

struct job {
    struct an_item_gather *gather;
    struct an_item_values *values;
    struct asked *asked;
    struct span *spans;
    size_t span_count;
    struct an_arena *scratch; /* of one view */
};

static enum an_status find_spans(struct job *job, const char *station, bool production,
                                 struct an_item_stay *const *stays, const size_t *stay_counts)
{
    size_t count = 0;
    size_t room = 0;
    for (size_t i = 0; i < job->values->item_count; i++) {
        room += stay_counts[i];
    }
    job->spans = an_arena_alloc(job->gather->arena, room + 1, sizeof *job->spans);
    if (!job->spans) {
        return an_item_no_memory(job->gather);
    }
    for (size_t i = 0; i < job->values->item_count; i++) {
        for (size_t k = 0; k < stay_counts[i]; k++) {
            const struct an_item_stay *stay = &stays[i][k];
            if (!strcmp(stay->station, station) && (!production || !stay->purpose)) {
                job->spans[count++] = (struct span){stay->first_us, stay->last_us + 1};
            }
        }
    }
    qsort(job->spans, count, sizeof *job->spans, by_start);
    job->span_count = 0;
    for (size_t i = 0; i < count; i++) {
        struct span *last = job->span_count ? &job->spans[job->span_count - 1] : NULL;
        if (last && job->spans[i].from_us <= last->until_us + JOIN_US) {
            last->until_us =
                job->spans[i].until_us > last->until_us ? job->spans[i].until_us : last->until_us;
        } else {
            job->spans[job->span_count++] = job->spans[i];
        }
    }
    return AN_OK;
}

static const char *code_of(struct job *job, const struct an_stream_view *view,
                           const struct an_judged_point *point)
{
    char buffer[16];
    if (point->phase == AN_NONE || point->phase >= view->limits_count) {
        return NULL;
    }
    for (int rule = 0; rule < AN_RULE_TOLD; rule++) {
        if (point->hit_rules[0] & (1U << rule)) {
            const char *code = an_rule_code((enum an_rule)rule, point->hit_side[0],
                                            &view->limits[point->phase].rules, buffer);
            return an_arena_printf(job->gather->arena, "%s", code);
        }
    }
    return NULL;
}

static const char *words_of_limits(struct job *job, const struct an_limits *limits)
{
    const char *when = an_say_locked(job->gather->arena, job->gather->line->zone, limits->locked_us,
                                     limits->in_force_us);
    return an_arena_printf(
        job->gather->arena, "%s; by %s%s%s: %s", when ? when : "",
        limits->author ? limits->author : "?", limits->signed_key ? ", signed, key " : "",
        limits->signed_key ? limits->signed_key : "", limits->reason ? limits->reason : "");
}

/* A reader of one item knows its unit, not the scale of a chart. */
static double in_unit(const struct an_stream_view *view, double level)
{
    return view->on_scale ? an_scale_back(view->on_scale, level) : level * view->scale;
}

static enum an_status take_point(struct job *job, size_t k, const struct an_stream_view *view,
                                 const struct an_judged_point *point)
{
    struct an_item_values *values = job->values;
    struct an_value_stream *stream = &values->streams[k];
    const struct asked key = {point->sample.item_id, 0};
    const struct asked *found = bsearch(&key, job->asked, values->item_count, sizeof key, by_item);
    const struct an_panel_point *level = &point->point.level;
    if (!found || !isfinite(level->value)) {
        return AN_OK;
    }
    struct an_item_value *value = &values->at[found->index * values->stream_count + k];
    const size_t times = value->times + 1;
    stream->items += times == 1;
    stream->beyond -= value->beyond;
    *value = (struct an_item_value){.value = in_unit(view, level->value),
                                    .centre = in_unit(view, level->centre),
                                    .lcl = in_unit(view, level->lcl),
                                    .ucl = in_unit(view, level->ucl),
                                    .code = code_of(job, view, point),
                                    .sample = point->sample,
                                    .times = times};
    value->sample.serial = NULL; /* texts of the view end with it */
    value->sample.ribbon = NULL;
    value->beyond = level->value > level->ucl || level->value < level->lcl;
    value->z = level->z;
    stream->beyond += value->beyond;
    values->samples++;
    if (isfinite(value->ucl) || isfinite(value->lcl)) {
        stream->vary = stream->vary || (stream->locked &&
                                        (fabs(stream->ucl - value->ucl) > 1e-9 * fabs(value->ucl) ||
                                         fabs(stream->lcl - value->lcl) > 1e-9 * fabs(value->lcl)));
        stream->centre = value->centre;
        stream->lcl = value->lcl;
        stream->ucl = value->ucl;
        if (point->phase != AN_NONE && point->phase < view->limits_count) {
            stream->locked = words_of_limits(job, &view->limits[point->phase]);
            if (!stream->locked) {
                return an_item_no_memory(job->gather);
            }
        }
    }
    return AN_OK;
}

static enum an_status view_stream(struct job *job, size_t k)
{
    struct an_item_gather *gather = job->gather;
    struct an_value_stream *stream = &job->values->streams[k];
    enum an_status st = AN_OK;
    for (size_t s = 0; !st && s < job->span_count; s++) {
        struct an_stream_view view;
        struct an_arena *scratch = an_arena_open();
        if (!scratch) {
            return an_item_no_memory(gather);
        }
        st = an_judge_view(gather->store, gather->line, &stream->stream, job->spans[s].from_us,
                           job->spans[s].until_us, 0, scratch, &view, gather->err);
        if (!st) {
            const char *unit = view.on_scale ? view.characteristic->unit : view.unit;
            unit = unit && strcmp(unit, "1") ? unit : "";
            stream->unit = an_arena_printf(gather->arena, "%s", unit);
            stream->decimals = view.decimals > stream->decimals ? view.decimals : stream->decimals;
            stream->scale = view.scale;
            st = stream->unit ? AN_OK : an_item_no_memory(gather);
        }
        for (size_t p = 0; !st && p < view.count; p++) {
            st = take_point(job, k, &view, &view.points[p]);
        }
        an_arena_close(scratch);
    }
    return st;
}

static int by_description(const void *a, const void *b)
{
    const struct an_value_stream *x = a;
    const struct an_value_stream *y = b;
    if (x->characteristic != y->characteristic) {
        return x->characteristic < y->characteristic ? -1 : 1;
    }
    return strcmp(x->stream.split, y->stream.split);
}

/* Streams of stations at which items of that kind are read; those of other purposes only where the
 * items have no production. */
static enum an_status find_streams(struct job *job, size_t kind)
{
    struct an_item_gather *gather = job->gather;
    struct an_item_values *values = job->values;
    struct an_stream *streams = NULL;
    size_t count = 0;
    const enum an_status st =
        an_store_streams(gather->store, gather->arena, &streams, &count, gather->err);
    if (st) {
        return st;
    }
    values->streams = an_arena_alloc(gather->arena, count + 1, sizeof *values->streams);
    if (!values->streams) {
        return an_item_no_memory(gather);
    }
    for (size_t i = 0; i < count; i++) {
        const char *purpose = NULL;
        struct an_value_stream one = {.stream = streams[i], .unit = ""};
        if (!streams[i].samples ||
            !an_judge_resolve(gather->line, &streams[i], &one.station, &one.characteristic,
                              &purpose, gather->arena) ||
            purpose || one.station->item_kind != kind ||
            one.characteristic->subgroup == AN_SUBGROUP_EVERY) {
            continue; /* every so many rows: a sample is of no one item */
        }
        one.title = an_judge_title(gather->line, &streams[i], gather->arena);
        one.centre = one.lcl = one.ucl = (double)NAN;
        one.scale = 1;
        if (!one.title) {
            return an_item_no_memory(gather);
        }
        values->streams[values->stream_count++] = one;
    }
    qsort(values->streams, values->stream_count, sizeof *values->streams, by_description);
    return AN_OK;
}

/* Do items have values in several streams of a characteristic at once, as of colours? Then these are
 * not to be compared, and each has a column. If each item is in one of them, as of heads, they have
 * one together. */
static bool are_parallel(const struct an_item_values *values, size_t first, size_t end)
{
    size_t items = 0;
    size_t told = 0;
    for (size_t i = 0; i < values->item_count; i++) {
        size_t here = 0;
        for (size_t k = first; k < end; k++) {
            here += values->at[i * values->stream_count + k].times > 0;
        }
        items += here > 0;
        told += here;
    }
    return 2 * told > 3 * items;
}

static enum an_status find_columns(struct job *job)
{
    struct an_item_values *values = job->values;
    values->columns =
        an_arena_alloc(job->gather->arena, values->stream_count + 1, sizeof *values->columns);
    if (!values->columns) {
        return an_item_no_memory(job->gather);
    }
    for (size_t first = 0; first < values->stream_count;) {
        size_t end = first;
        while (end < values->stream_count &&
               values->streams[end].characteristic == values->streams[first].characteristic) {
            end++;
        }
        const bool parallel = are_parallel(values, first, end);
        bool begun = false;
        for (size_t k = first; k < end; k++) {
            struct an_value_stream *stream = &values->streams[k];
            const char *own = stream->characteristic->title ? stream->characteristic->title
                                                            : stream->characteristic->name;
            if (!stream->items) {
                stream->column = AN_NONE;
                continue;
            }
            if (parallel || !begun) {
                values->columns[values->column_count++] =
                    (struct an_value_column){.characteristic = stream->characteristic,
                                             .station = stream->station,
                                             .title = parallel ? stream->title : own,
                                             .unit = stream->unit};
            }
            begun = true;
            struct an_value_column *last = &values->columns[values->column_count - 1];
            last->streams++;
            last->decimals = stream->decimals > last->decimals ? stream->decimals : last->decimals;
            stream->column = values->column_count - 1;
        }
        first = end;
    }
    return AN_OK;
}

enum an_status an_gather_values(struct an_item_gather *gather, const struct an_item *items,
                                struct an_item_stay *const *stays, const size_t *stay_counts,
                                size_t count, struct an_item_values *values)
{
    struct job job = {.gather = gather, .values = values};
    *values = (struct an_item_values){.item_count = count};
    const size_t kind = count ? an_line_kind(gather->line, an_bytes_of(items[0].kind)) : AN_NONE;
    if (kind == AN_NONE) {
        return AN_OK; /* nothing to judge: the description no longer has the kind */
    }
    enum an_status st = find_streams(&job, kind);
    if (st) {
        return st;
    }
    values->at =
        an_arena_alloc(gather->arena, count * values->stream_count + 1, sizeof *values->at);
    job.asked = an_arena_alloc(gather->arena, count, sizeof *job.asked);
    if (!values->at || !job.asked) {
        return an_item_no_memory(gather);
    }
    for (size_t i = 0; i < count * values->stream_count; i++) {
        values->at[i].value = values->at[i].z = (double)NAN;
        values->at[i].centre = values->at[i].lcl = values->at[i].ucl = (double)NAN;
    }
    for (size_t i = 0; i < count; i++) {
        job.asked[i] = (struct asked){items[i].item_id, i};
    }
    qsort(job.asked, count, sizeof *job.asked, by_item);
    const struct an_station *station = NULL;
    for (size_t k = 0; !st && k < values->stream_count; k++) {
        if (values->streams[k].station != station) {
            station = values->streams[k].station;
            st = find_spans(&job, station->name, true, stays, stay_counts);
        }
        st = st ? st : view_stream(&job, k);
    }
    return st ? st : find_columns(&job);
}

const struct an_item_value *an_column_value(const struct an_item_values *values, size_t item,
                                            size_t column, const struct an_value_stream **stream)
{
    const struct an_item_value *best = NULL;
    for (size_t k = 0; k < values->stream_count; k++) {
        const struct an_item_value *value = &values->at[item * values->stream_count + k];
        if (values->streams[k].column != column || !value->times) {
            continue;
        }
        if (!best || (value->beyond && !best->beyond) ||
            (value->beyond == best->beyond && fabs(value->z) > fabs(best->z))) {
            best = value;
            *stream = &values->streams[k];
        }
    }
    return best;
}
