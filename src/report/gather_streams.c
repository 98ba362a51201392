/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One sheet a stream: its points in the order and scale in which they are drawn. Responsible for
 * turning the judge's view into plot data; never judges anew and never draws.
 *
 * Its one hard idea: a view of hundreds of streams would fill memory, so each view lives in an
 * arena of its own and only what is drawn is copied out.
 */
#include "judge/judging.h"
#include "report/gather.h"
#include "report/wording.h"

#include <math.h>
#include <string.h>

enum { MOST_POINTS = 480, MOST_WEEK_POINTS = 1600 }; /* a large chart is about 480 points wide */
#define OPEN_BARS                                                                                  \
    ((size_t)AN_RULE_COUNT * 3) /* a rule may be met above, below or on neither side */

struct copying {
    struct an_gather *gather;
    const struct an_stream_view *view;
    struct an_stream_sheet *sheet;
    size_t first; /* points of the view before it are not shown */
};

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

double an_rules_chance(const struct an_rule_choice *rules, double k)
{
    double sum = 0;
    for (int r = 0; r < AN_RULE_COUNT; r++) {
        const double chance = rules->on[r] ? an_rule_chance((enum an_rule)r, k, rules) : 0;
        sum += isfinite(chance) ? chance : 0;
    }
    return sum;
}

static const struct an_panel_point *panel_of(const struct an_judged_point *point, int panel)
{
    return panel ? &point->point.spread : &point->point.level;
}

static bool has_panel(const struct an_stream_view *view, int panel)
{
    for (size_t i = 0; i < view->count; i++) {
        if (isfinite(panel_of(&view->points[i], panel)->value)) {
            return true;
        }
    }
    return false;
}

/* Hits of one rule and side that follow each other become one bar in the signal lane. */
static bool copy_signals(const struct copying *copy, int panel, struct an_panel_sheet *into)
{
    const struct an_stream_view *view = copy->view;
    const size_t hits = view->hit_count[panel];
    if (!hits) {
        return true;
    }
    into->signals = an_arena_alloc(copy->gather->arena, hits, sizeof *into->signals);
    size_t *open = an_arena_alloc(copy->gather->arena, OPEN_BARS, sizeof *open);
    if (!into->signals || !open) {
        return false;
    }
    for (size_t i = 0; i < OPEN_BARS; i++) {
        open[i] = AN_NONE;
    }
    for (size_t i = 0; i < hits; i++) {
        const struct an_rule_hit *hit = &view->hits[panel][i];
        if (hit->last < copy->first || hit->last >= view->count) {
            continue;
        }
        const size_t first = hit->first < copy->first ? 0 : hit->first - copy->first;
        const size_t last = hit->last - copy->first;
        const size_t slot = (size_t)hit->rule * 3 + (size_t)(hit->side + 1);
        struct an_plot_signal *bar = open[slot] == AN_NONE ? NULL : &into->signals[open[slot]];
        if (bar && first <= bar->last + 1) {
            bar->last = last > bar->last ? last : bar->last;
            continue;
        }
        const size_t phase = view->points[hit->last].phase;
        const struct an_rule_choice usual = an_rules_default();
        const struct an_rule_choice *rules =
            phase < view->limits_count ? &view->limits[phase].rules : &usual;
        char code[16];
        const char *text = an_rule_code(hit->rule, hit->side, rules, code);
        open[slot] = into->signal_count;
        into->signals[into->signal_count++] =
            (struct an_plot_signal){.first = first,
                                    .last = last,
                                    .code = an_arena_copy(copy->gather->arena, text, strlen(text))};
        if (!into->signals[into->signal_count - 1].code) {
            return false;
        }
    }
    return true;
}

static void mark_runs(const struct copying *copy, int panel, struct an_panel_sheet *into)
{
    for (size_t i = 0; i < copy->view->hit_count[panel]; i++) {
        const struct an_rule_hit *hit = &copy->view->hits[panel][i];
        for (size_t k = hit->first; k <= hit->last && k < copy->view->count; k++) {
            if (k < copy->first) {
                continue;
            }
            struct an_plot_point *point = &into->points[k - copy->first];
            if (hit->rule == AN_RULE_BEYOND_LIMIT) {
                point->flagged = point->flagged || k == hit->last;
            } else {
                point->in_run = true;
            }
        }
    }
}

static bool copy_panel(const struct copying *copy, int panel)
{
    const struct an_stream_view *view = copy->view;
    struct an_panel_sheet *into = &copy->sheet->panel[panel];
    if (!has_panel(view, panel)) {
        return true;
    }
    const enum an_family family = view->limits_count
                                      ? view->limits[view->limits_count - 1].model.family
                                  : view->characteristic ? view->characteristic->family
                                                         : AN_FAMILY_COUNT;
    into->statistic = family < AN_FAMILY_COUNT ? an_family_statistic(family, panel) : NULL;
    if (panel == 0 && view->limits_count) {
        const char *weighted =
            an_weighted_statistic(view->limits[view->limits_count - 1].model.weighting.kind);
        into->statistic = weighted ? weighted : into->statistic;
    }
    into->statistic = into->statistic ? into->statistic : panel ? "spread" : "value";
    into->count = view->count - copy->first;
    into->points = an_arena_alloc(copy->gather->arena, into->count, sizeof *into->points);
    if (!into->points) {
        return false;
    }
    const char *ribbon = NULL;
    const bool wears = view->characteristic && view->characteristic->family == AN_WEAR;
    for (size_t i = 0; i < into->count; i++) {
        const struct an_judged_point *from = &view->points[copy->first + i];
        const struct an_panel_point *at = panel_of(from, panel);
        /* neighbours share their batch: one copy of its name serves them all */
        if (from->sample.ribbon && (!ribbon || strcmp(ribbon, from->sample.ribbon) != 0)) {
            ribbon = an_arena_copy(copy->gather->arena, from->sample.ribbon,
                                   strlen(from->sample.ribbon));
            if (!ribbon) {
                return false;
            }
        }
        into->points[i] =
            (struct an_plot_point){.at_us = from->sample.at_us,
                                   .value = at->value * view->scale,
                                   .centre = at->centre * view->scale,
                                   .lcl = at->lcl * view->scale,
                                   .ucl = at->ucl * view->scale,
                                   .phase = from->phase == AN_NONE ? 0 : from->phase + 1,
                                   .excluded = from->excluded,
                                   .gap_before = from->gap_before && i > 0,
                                   .ribbon = from->sample.ribbon && !wears ? ribbon : NULL};
    }
    mark_runs(copy, panel, into);
    return copy_signals(copy, panel, into);
}

/* "P2 from 4 March 06:00, L. Brandt": the number counts all locked revisions of the stream. */
static bool copy_phases(const struct copying *copy, const struct an_limits *all, size_t all_count)
{
    const struct an_stream_view *view = copy->view;
    struct an_arena *arena = copy->gather->arena;
    struct an_stream_sheet *sheet = copy->sheet;
    sheet->phase_count = view->limits_count + 1;
    sheet->phase_labels = an_arena_alloc(arena, sheet->phase_count, sizeof *sheet->phase_labels);
    if (!sheet->phase_labels) {
        return false;
    }
    sheet->phase_labels[0] = "no limits";
    for (size_t i = 0; i < view->limits_count; i++) {
        size_t number = 0;
        for (size_t k = 0; k < all_count; k++) {
            number +=
                all[k].state == AN_LIMITS_LOCKED && all[k].locked_us <= view->limits[i].locked_us;
        }
        const struct an_limits *limits = &view->limits[i];
        const char *since = limits->in_force_us == AN_NO_INSTANT
                                ? ""
                                : an_arena_printf(arena, " from %s",
                                                  an_say_time(arena, copy->gather->line->zone,
                                                              limits->in_force_us));
        sheet->phase_labels[i + 1] =
            an_arena_printf(arena, "P%zu%s, %s", number ? number : i + 1, since ? since : "",
                            limits->author ? limits->author : "unsigned");
        if (!sheet->phase_labels[i + 1]) {
            return false;
        }
    }
    return true;
}

static double level_at(const struct an_stream_view *view, size_t i)
{
    return view->points[i].point.level.value * view->scale;
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

/* Numbers of the period and the one before, and what is newest. */
static void count_samples(const struct copying *copy)
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
    sheet->readings_per_sample =
        sheet->period_samples ? readings / (double)sheet->period_samples : (double)NAN;
    if (sheet->has_limits) {
        const struct an_limits *now = &view->limits[view->points[view->count - 1].phase];
        const struct an_rule_choice rules = an_panel_rules(now, 0);
        sheet->expected_false =
            an_rules_chance(&rules, now->model.k) * (double)sheet->period_samples;
    }
}

/* Spec in the unit shown, and whether the points are single readings that it judges. */
static void copy_spec(const struct copying *copy)
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
    bool single = characteristic->family == AN_INDIVIDUALS && characteristic->kind != AN_COUNTED;
    for (size_t i = 0; single && i < view->limits_count; i++) { /* a sum of readings is none */
        single = view->limits[i].model.weighting.kind == AN_UNWEIGHTED;
    }
    for (size_t i = 0; single && i < view->count; i++) {
        single = view->points[i].sample.n == 1 || characteristic->kind == AN_DERIVED;
    }
    sheet->single_values = single && view->count > 0;
}

/* Numbered notes: points left out of the baseline by name. */
static bool copy_notes(const struct copying *copy)
{
    const struct an_stream_view *view = copy->view;
    struct an_arena *arena = copy->gather->arena;
    struct an_panel_sheet *level = &copy->sheet->panel[0];
    struct an_text_list notes = {0};
    size_t room = 0;
    for (size_t i = 0; i < level->count; i++) {
        const struct an_judged_point *point = &view->points[copy->first + i];
        if (!point->excluded) {
            continue;
        }
        const char *reason = "no reason recorded";
        for (size_t l = 0; l < view->limits_count; l++) {
            for (size_t k = 0; k < view->limits[l].excluded_count; k++) {
                if (view->limits[l].excluded[k].sample_id == point->sample.sample_id) {
                    reason = view->limits[l].excluded[k].reason;
                }
            }
        }
        level->points[i].note = (int)notes.count + 1;
        if (!an_list_add(
                &notes, &room, arena,
                an_arena_printf(arena, "%s, %s left out of the baseline: %s",
                                an_say_time(arena, copy->gather->line->zone, point->sample.at_us),
                                point->sample.serial ? point->sample.serial : "sample", reason))) {
            return false;
        }
    }
    copy->sheet->notes = notes.at;
    copy->sheet->note_count = notes.count;
    return true;
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

/* Batch names that begin alike ("WG26-0035", "WG26-0036") are told once beside the ribbon and left
 * out in it, where they would not fit. */
static bool shorten_ribbon(struct an_arena *arena, struct an_stream_sheet *sheet)
{
    const struct an_panel_sheet *level = &sheet->panel[0];
    const char *first = NULL;
    size_t same = 0;
    bool differ = false;
    for (size_t i = 0; i < level->count; i++) {
        const char *name = level->points[i].ribbon;
        if (!name) {
            continue;
        }
        if (!first) {
            first = name;
            same = strlen(name);
        }
        size_t k = 0;
        while (k < same && name[k] == first[k]) {
            k++;
        }
        differ = differ || strcmp(name, first) != 0;
        same = k;
    }
    while (same && first[same - 1] != '-' && first[same - 1] != '_' && first[same - 1] != '/') {
        same--;
    }
    if (!differ || same < 3 || !sheet->ribbon_title) {
        return true;
    }
    sheet->ribbon_title = an_arena_printf(arena, "%s %.*s", sheet->ribbon_title, (int)same, first);
    for (int panel = 0; panel < 2; panel++) {
        for (size_t i = 0; i < sheet->panel[panel].count; i++) {
            struct an_plot_point *point = &sheet->panel[panel].points[i];
            point->ribbon = point->ribbon && strlen(point->ribbon) > same ? point->ribbon + same
                                                                          : point->ribbon;
        }
    }
    return sheet->ribbon_title != NULL;
}

/* "stamp_id" is "stamp" to a reader. */
static const char *column_words(struct an_arena *arena, const char *column)
{
    size_t length = strlen(column);
    if (length > 3 && !strcmp(column + length - 3, "_id")) {
        length -= 3;
    }
    char *words = an_arena_copy(arena, column, length);
    for (char *at = words; at && *at; at++) {
        if (*at == '_') {
            *at = ' ';
        }
    }
    return words ? words : column;
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
    struct copying copy = {.gather = gather, .view = &view, .sheet = sheet};
    const size_t most = gather->options->kind == AN_REPORT_WEEK ? MOST_WEEK_POINTS : MOST_POINTS;
    copy.first = view.count > most ? view.count - most : 0;
    sheet->stream = *stream;
    sheet->title = an_judge_title(gather->line, stream, gather->arena);
    sheet->station_title = view.station ? view.station->title : stream->station;
    sheet->station_title = sheet->station_title ? sheet->station_title : stream->station;
    sheet->unit = keep(gather->arena, view.unit ? view.unit : "");
    sheet->decimals = view.decimals;
    sheet->described = view.characteristic != NULL;
    sheet->news = !view.characteristic || view.characteristic->signal_is_news;
    sheet->cautions = view.station ? view.station->cautions : NULL;
    const bool wears = view.characteristic && view.characteristic->family == AN_WEAR;
    if (view.characteristic && view.characteristic->ribbon_column && !wears) {
        sheet->ribbon_title = column_words(gather->arena, view.characteristic->ribbon_column);
    } else if (view.characteristic && view.characteristic->ribbon_kind != AN_NONE &&
               view.characteristic->ribbon_kind < gather->line->kind_count) {
        sheet->ribbon_title = gather->line->kinds[view.characteristic->ribbon_kind].title;
    }
    count_samples(&copy);
    copy_spec(&copy);
    bool good = sheet->title && sheet->unit && copy_panel(&copy, 0) && copy_panel(&copy, 1) &&
                shorten_ribbon(gather->arena, sheet);
    struct an_limits *all = NULL;
    size_t all_count = 0;
    if (good && signalled) {
        st =
            an_limits_all(gather->store, stream->stream_id, passing, &all, &all_count, gather->err);
        if (st) {
            goto done;
        }
        good = copy_notes(&copy);
        if (good) {
            st = an_gather_facts(gather, &view, all, all_count, sheet);
        }
    }
    good = good && copy_phases(&copy, all, all_count);
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
