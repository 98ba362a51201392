/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One sheet a stream: its points in the order and scale in which they are drawn. Responsible for
 * turning the judge's view into plot data; never judges anew and never draws.
 *
 * Its one hard idea: a view of hundreds of streams would fill memory, so each view lives in an
 * arena of its own and only what is drawn is copied out.
 */
#include "judge/judging.h"
#include "judge/scale.h"
#include "report/stream_points.h"
#include "report/wording.h"

#include <math.h>
#include <string.h>

enum { MOST_POINTS = 480, MOST_WEEK_POINTS = 1600 }; /* a large chart is about 480 points wide */
bool an_list_add(struct an_text_list *list, size_t *room, struct an_arena *arena, const char *text)
{
    if (!text) {
        return false;
    }
    if (list->count == *room) {
        const size_t more = *room ? *room * 2 : 8;
        const char **grown = an_arena_alloc(arena, more, sizeof *grown);
        if (!grown) {
            return false;
        }
        if (list->count) {
            memcpy(grown, list->at, list->count * sizeof *grown);
        }
        list->at = grown;
        *room = more;
    }
    list->at[list->count++] = text;
    return true;
}

/* Of a chart that gathers its points the level is that of the points, not of what it gathered. */
static double level_at(const struct an_stream_view *view, size_t i)
{
    const struct an_chart_point *point = &view->points[i].point;
    const double level = isfinite(point->plain.value) ? point->plain.value : point->level.value;
    return level * view->scale;
}

static struct an_level_summary summarise(const struct an_stream_view *view, int64_t from_us,
                                         int64_t until_us)
{
    struct an_level_summary sum = {0, (double)NAN, (double)NAN, (double)NAN};
    double total = 0;
    size_t first = 0;
    while (first < view->count && view->points[first].sample.at_us < from_us) {
        first++;
    }
    size_t end = first;
    for (; end < view->count && view->points[end].sample.at_us < until_us; end++) {
        if (isfinite(level_at(view, end))) {
            total += level_at(view, end);
            sum.n++;
        }
    }
    if (!sum.n) {
        return sum;
    }
    sum.mean = total / (double)sum.n;
    double squares = 0;
    double products = 0;
    double last = (double)NAN;
    for (size_t i = first; i < end; i++) {
        const double away = level_at(view, i) - sum.mean;
        if (isfinite(away)) {
            squares += away * away;
            products += isfinite(last) ? away * last : 0;
        }
        last = away;
    }
    if (sum.n > 1) {
        sum.sd = sqrt(squares / (double)(sum.n - 1));
        sum.lag1 = squares > 0 ? products / squares : (double)NAN;
    }
    return sum;
}

/* By luck, of the newest limits; 0 where there is no theory. The same that `limits show` tells. */
static enum an_status expect_false_alarms(const struct an_copying *copy)
{
    struct an_gather *gather = copy->gather;
    const struct an_stream_view *view = copy->view;
    struct an_stream_sheet *sheet = copy->sheet;
    const struct an_limits *now = &view->limits[view->points[view->count - 1].phase];
    struct an_expected expected;
    const enum an_status st =
        an_expected_of(now, &gather->expected, gather->arena, &expected, gather->err);
    sheet->no_expected = st ? NULL : expected.why_not; /* a constant, or of the gatherer's arena */
    if (!st && !expected.why_not) {
        /* of gaps only an event is a point that can speak */
        sheet->expected_false = an_expected_false_alarms(
            &expected, (double)(expected.by_event ? sheet->period_points : sheet->period_samples));
    }
    return st;
}

/* Numbers of the period and the one before, and what is newest. */
static enum an_status count_samples(const struct an_copying *copy)
{
    const struct an_period_data *data = copy->gather->data;
    const struct an_stream_view *view = copy->view;
    struct an_stream_sheet *sheet = copy->sheet;
    double readings = 0;
    const bool counts = view->characteristic && view->characteristic->kind == AN_COUNTED;
    sheet->counted_in = counts ? "opportunity" : "reading";
    sheet->last_us = AN_NO_INSTANT;
    sheet->last_value = (double)NAN;
    for (size_t i = 0; i < view->count; i++) {
        const struct an_judged_point *point = &view->points[i];
        if (point->sample.at_us >= data->now.from_us) {
            sheet->period_samples++;
            sheet->period_points += isfinite(point->point.level.value);
            readings += counts ? point->sample.opportunities : (double)point->sample.n;
        } else if (data->before.label && point->sample.at_us >= data->before.from_us &&
                   point->sample.at_us < data->before.until_us) {
            sheet->before_samples++;
        }
        sheet->last_us = point->sample.at_us;
        if (isfinite(point->point.level.value)) {
            sheet->last_value = point->point.level.value * view->scale;
        }
        sheet->has_limits = point->phase != AN_NONE;
    }
    sheet->level_now = summarise(view, data->now.from_us, data->now.until_us);
    sheet->level_before = summarise(view, data->before.from_us, data->before.until_us);
    const bool made = view->characteristic && view->characteristic->kind == AN_DERIVED;
    sheet->readings_per_sample = sheet->period_samples && !made && an_family_drawn(view) != AN_T
                                     ? readings / (double)sheet->period_samples
                                     : (double)NAN;
    return sheet->has_limits && sheet->news ? expect_false_alarms(copy) : AN_OK;
}

/* Spec in the unit shown, and whether the points are single readings that it judges. */
static void copy_spec(const struct an_copying *copy)
{
    const struct an_stream_view *view = copy->view;
    const struct an_characteristic *characteristic = view->characteristic;
    struct an_stream_sheet *sheet = copy->sheet;
    sheet->lsl = sheet->usl = sheet->target = (double)NAN;
    if (!characteristic) {
        return;
    }
    sheet->lsl = characteristic->lsl * view->scale;
    sheet->usl = characteristic->usl * view->scale;
    sheet->target = characteristic->target * view->scale;
    if (view->on_scale) { /* edges stand where values on them would */
        double *edges[] = {&sheet->lsl, &sheet->usl, &sheet->target};
        for (size_t i = 0; i < 3; i++) {
            const double y = an_scale_of(view->on_scale, *edges[i]);
            *edges[i] = isfinite(y) ? y : (double)NAN;
        }
    }
    bool single = (characteristic->family == AN_INDIVIDUALS || characteristic->family == AN_WEAR) &&
                  characteristic->kind != AN_COUNTED;
    for (size_t i = 0; single && i < view->limits_count; i++) { /* a sum of readings is none */
        single = view->limits[i].model.weighting.kind == AN_UNWEIGHTED;
    }
    for (size_t i = 0; single && i < view->count; i++) {
        single = view->points[i].sample.n == 1 || characteristic->kind == AN_DERIVED;
    }
    sheet->single_values = single && view->count > 0;
}

/* Where the chart of a stream begins: earlier than the small charts' axis if a start is. */
static int64_t begin_of(const struct an_gather *gather, int64_t stream_id, bool *signalled)
{
    int64_t from_us = gather->data->axis_from_us;
    *signalled = false;
    for (size_t i = 0; i < gather->data->signal_count; i++) {
        const struct an_signal *signal = &gather->data->signals[i].signal;
        if (signal->stream.stream_id != stream_id) {
            continue;
        }
        *signalled = true;
        if (signal->record.first_us < from_us) {
            from_us = signal->record.first_us;
        }
        if (signal->has_change && signal->onset_earliest_us < from_us) {
            from_us = signal->onset_earliest_us;
        }
    }
    return from_us;
}

static const char *keep(struct an_arena *arena, const char *text)
{
    return text ? an_arena_copy(arena, text, strlen(text)) : NULL;
}

/* A stream that the description no longer has cannot be judged: its sample means are charted as
 * they are, so that nothing measured is left out of the report. */
static enum an_status fill_lost(struct an_gather *gather, const struct an_stream *stream,
                                struct an_stream_sheet *sheet)
{
    const struct an_period_data *data = gather->data;
    struct an_sample *samples = NULL;
    size_t count = 0;
    double readings = 0;
    const double none = (double)NAN;
    *sheet = (struct an_stream_sheet){.stream = *stream,
                                      .title = an_judge_title(gather->line, stream, gather->arena),
                                      .station_title = stream->station,
                                      .unit = "",
                                      .news = true,
                                      .counted_in = "reading",
                                      .lsl = none,
                                      .usl = none,
                                      .target = none,
                                      .last_value = none,
                                      .last_us = AN_NO_INSTANT};
    const enum an_status st =
        an_store_samples(gather->store, stream->stream_id, data->axis_from_us, data->now.until_us,
                         MOST_POINTS, gather->arena, &samples, &count, gather->err);
    if (st) {
        return st;
    }
    struct an_panel_sheet *level = &sheet->panel[0];
    level->statistic = "mean";
    level->points = an_arena_alloc(gather->arena, count + 1, sizeof *level->points);
    sheet->phase_labels = an_arena_alloc(gather->arena, 1, sizeof *sheet->phase_labels);
    if (!level->points || !sheet->phase_labels || !sheet->title) {
        return an_fail(gather->err, AN_NO_MEMORY, "out of memory");
    }
    sheet->phase_labels[0] = "no limits";
    sheet->phase_count = 1;
    for (size_t i = 0; i < count; i++) {
        const struct an_sample *sample = &samples[i];
        level->points[level->count++] = (struct an_plot_point){.at_us = sample->at_us,
                                                               .value = sample->mean,
                                                               .centre = none,
                                                               .lcl = none,
                                                               .ucl = none};
        sheet->decimals = sample->decimals > sheet->decimals ? sample->decimals : sheet->decimals;
        sheet->last_us = sample->at_us;
        sheet->last_value = sample->mean;
        if (sample->at_us >= data->now.from_us) {
            sheet->period_samples++;
            readings += (double)sample->n;
        } else {
            sheet->before_samples += data->before.label && sample->at_us >= data->before.from_us;
        }
    }
    sheet->readings_per_sample =
        sheet->period_samples ? readings / (double)sheet->period_samples : none;
    return AN_OK;
}

static enum an_status fill_sheet(struct an_gather *gather, const struct an_stream *stream,
                                 struct an_stream_sheet *sheet)
{
    struct an_period_data *data = gather->data;
    struct an_arena *passing = an_arena_open();
    enum an_status st = AN_OK;
    bool signalled = false;
    struct an_stream_view view = {0};
    if (!passing) {
        return an_fail(gather->err, AN_NO_MEMORY, "out of memory");
    }
    const struct an_station *station = NULL;
    const struct an_characteristic *characteristic = NULL;
    const char *purpose = NULL;
    if (!an_judge_resolve(gather->line, stream, &station, &characteristic, &purpose, passing)) {
        st = fill_lost(gather, stream, sheet);
        goto done;
    }
    const int64_t from_us = begin_of(gather, stream->stream_id, &signalled);
    const size_t context = signalled ? gather->options->context : 0;
    st = an_judge_view(gather->store, gather->line, stream, from_us, data->now.until_us, context,
                       passing, &view, gather->err);
    if (st) {
        goto done;
    }
    struct an_copying copy = {.gather = gather, .view = &view, .sheet = sheet, .passing = passing};
    const size_t most = gather->options->kind == AN_REPORT_WEEK ? MOST_WEEK_POINTS : MOST_POINTS;
    copy.first = view.count > most ? view.count - most : 0;
    if (!an_copy_form(&copy)) {
        st = an_fail(gather->err, AN_NO_MEMORY, "out of memory");
        goto done;
    }
    sheet->stream = *stream;
    sheet->title = an_judge_title(gather->line, stream, gather->arena);
    sheet->station_title = view.station ? view.station->title : stream->station;
    sheet->station_title = sheet->station_title ? sheet->station_title : stream->station;
    sheet->unit = keep(gather->arena, view.unit ? view.unit : "");
    sheet->decimals = view.decimals;
    sheet->described = view.characteristic != NULL;
    sheet->news = !view.characteristic || view.characteristic->signal_is_news;
    sheet->cautions = view.station ? view.station->cautions : NULL;
    st = count_samples(&copy);
    if (st) {
        goto done;
    }
    copy_spec(&copy);
    bool good = sheet->title && sheet->unit && an_copy_panels(&copy) && an_copy_ribbon_words(&copy);
    struct an_limits *all = NULL;
    size_t all_count = 0;
    if (good && signalled) {
        st =
            an_limits_all(gather->store, stream->stream_id, passing, &all, &all_count, gather->err);
        if (st) {
            goto done;
        }
        good = an_copy_notes(&copy);
        if (good) {
            st = an_gather_facts(gather, &view, all, all_count, sheet);
        }
    }
    good = good && an_copy_phases(&copy, all, all_count);
    if (!st && !good) {
        st = an_fail(gather->err, AN_NO_MEMORY, "out of memory");
    }
done:
    an_arena_close(passing);
    return st;
}

enum an_status an_gather_streams(struct an_gather *gather)
{
    struct an_period_data *data = gather->data;
    struct an_stream *streams = NULL;
    size_t count = 0;
    enum an_status st =
        an_store_streams(gather->store, gather->arena, &streams, &count, gather->err);
    if (st) {
        return st;
    }
    data->sheets = an_arena_alloc(gather->arena, count ? count : 1, sizeof *data->sheets);
    if (!data->sheets) {
        return an_fail(gather->err, AN_NO_MEMORY, "out of memory");
    }
    size_t no_limits = 0;
    size_t absent = 0;
    size_t gone = 0;
    for (size_t i = 0; i < count; i++) {
        struct an_stream_sheet *sheet = &data->sheets[i];
        st = fill_sheet(gather, &streams[i], sheet);
        if (st) {
            return st;
        }
        data->sheet_count++;
        data->samples += sheet->period_samples;
        data->before_samples += sheet->before_samples;
        data->judged_streams += sheet->has_limits && sheet->period_samples;
        data->expected_false += sheet->expected_false;
        bool good = true;
        if (!sheet->described) {
            good = an_list_add(&data->gone, &gone, gather->arena, sheet->title);
        } else if (!sheet->period_samples && sheet->before_samples) {
            good = an_list_add(&data->absent, &absent, gather->arena, sheet->title);
        } else if (sheet->period_samples && !sheet->has_limits) {
            good = an_list_add(&data->no_limits, &no_limits, gather->arena, sheet->title);
        }
        if (!good) {
            return an_fail(gather->err, AN_NO_MEMORY, "out of memory");
        }
    }
    return AN_OK;
}
