/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The points of a stream's panels, ready to be drawn. Responsible for turning judged samples into
 * plotted points, signals into bars, batches into a ribbon; never judges anew and never draws.
 *
 * Its one hard idea: a point of a chart of gaps is an event, so samples without one are left out and
 * indexes of judged samples are not those of plotted points: `place` leads from one to the other.
 */
#include "report/stream_points.h"

#include "judge/along.h"
#include "report/wording.h"

#include <math.h>
#include <string.h>

enum {
    POINTS_BETWEEN = 60, /* this part of a chart may lie between two flags of one bar */
    BAR_LEAST = 25       /* and at least this part is as wide as a bar with its code */
};

static const struct an_panel_point *panel_of(const struct an_judged_point *point, int panel)
{
    return panel ? &point->point.spread : &point->point.level;
}

enum an_family an_family_drawn(const struct an_stream_view *view)
{
    return view->limits_count     ? view->limits[view->limits_count - 1].model.family
           : view->characteristic ? view->characteristic->family
                                  : AN_FAMILY_COUNT;
}

bool an_copy_form(struct an_copying *copy)
{
    const struct an_stream_view *view = copy->view;
    const enum an_family family = an_family_drawn(view);
    const enum an_weighted_kind weighted =
        view->limits_count ? view->limits[view->limits_count - 1].model.weighting.kind
                           : AN_UNWEIGHTED;
    const bool distance = an_family_is_joint(family) || family == AN_RESIDUALS ||
                          family == AN_GROUP || family == AN_SHORT_RUN;
    copy->sheet->form = family == AN_G || family == AN_T ? AN_FORM_GAPS
                        : weighted == AN_CUSUM           ? AN_FORM_SUMS
                        : family == AN_WEAR              ? AN_FORM_WEAR
                        : distance                       ? AN_FORM_DISTANCE
                                                         : AN_FORM_PLAIN;
    copy->place = an_arena_alloc(copy->passing, view->count + 1, sizeof *copy->place);
    copy->shown = 0;
    for (size_t i = 0; copy->place && i < view->count; i++) {
        const bool shown = i >= copy->first && (copy->sheet->form != AN_FORM_GAPS ||
                                                isfinite(view->points[i].point.level.value));
        copy->place[i] = shown ? copy->shown++ : AN_NONE;
    }
    return copy->place != NULL;
}

/* The points of a hit: false if none of them is shown. */
static bool placed(const struct an_copying *copy, const struct an_rule_hit *hit, size_t *first,
                   size_t *last)
{
    bool any = false;
    for (size_t i = hit->first; i <= hit->last && i < copy->view->count; i++) {
        if (copy->place[i] != AN_NONE) {
            *first = any ? *first : copy->place[i];
            *last = copy->place[i];
            any = true;
        }
    }
    return any;
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

static const char *code_of(const struct an_copying *copy, const struct an_rule_hit *hit)
{
    const struct an_stream_view *view = copy->view;
    const size_t phase = view->points[hit->last].phase;
    const struct an_rule_choice usual = an_rules_default();
    const struct an_rule_choice *rules =
        phase < view->limits_count ? &view->limits[phase].rules : &usual;
    char code[16];
    const char *text = an_rule_code(hit->rule, hit->side, rules, code);
    return an_arena_copy(copy->gather->arena, text, strlen(text));
}

/* Hits of one rule and side that follow each other, or nearly, become one bar in the signal lane:
 * which points they are is told by the points. Of points that signal by themselves only many do so:
 * a few keep their flags, since a bar of a few points has no room for its code. */
static bool copy_signals(const struct an_copying *copy, int panel, struct an_panel_sheet *into)
{
    const struct an_stream_view *view = copy->view;
    const size_t beside = panel == 0 && !has_panel(view, 1) ? view->hit_count[1] : 0;
    const size_t hits = view->hit_count[panel] + beside; /* scatter of counts has no panel */
    if (!hits) {
        return true;
    }
    struct an_plot_signal *all = an_arena_alloc(copy->passing, hits, sizeof *all);
    size_t *slot_of = an_arena_alloc(copy->passing, hits, sizeof *slot_of);
    into->signals = an_arena_alloc(copy->gather->arena, hits, sizeof *into->signals);
    if (!all || !slot_of || !into->signals) {
        return false;
    }
    size_t count = 0;
    for (size_t i = 0; i < hits; i++) {
        const struct an_rule_hit *hit = i < view->hit_count[panel]
                                            ? &view->hits[panel][i]
                                            : &view->hits[1][i - view->hit_count[panel]];
        if (!placed(copy, hit, &all[count].first, &all[count].last)) {
            continue;
        }
        slot_of[count] = (size_t)hit->rule * 3 + (size_t)(hit->side + 1);
        all[count].code = code_of(copy, hit);
        if (!all[count].code) {
            return false;
        }
        count++;
    }
    const size_t slack = into->count / POINTS_BETWEEN;
    const size_t least = into->count / BAR_LEAST > 4 ? into->count / BAR_LEAST : 4;
    for (size_t i = 0; i < count; i++) {
        struct an_plot_signal bar = all[i];
        size_t joined = 0;
        if (slot_of[i] == AN_NONE) {
            continue; /* part of a bar already */
        }
        const bool flag = bar.first == bar.last;
        for (size_t k = i + 1; k < count; k++) { /* hits are in the order of their last points */
            if (slot_of[k] == slot_of[i] && all[k].first <= bar.last + 1 + (flag ? slack : 0)) {
                bar.last = all[k].last > bar.last ? all[k].last : bar.last;
                bar.first = all[k].first < bar.first ? all[k].first : bar.first;
                joined++;
            }
        }
        if (flag && bar.last - bar.first < least) {
            into->signals[into->signal_count++] = all[i];
            continue;
        }
        for (size_t k = i + 1; joined && k < count; k++) {
            if (slot_of[k] == slot_of[i] && all[k].last <= bar.last) {
                slot_of[k] = AN_NONE;
            }
        }
        into->signals[into->signal_count++] = bar;
    }
    return true;
}

static void mark_runs(const struct an_copying *copy, int panel, struct an_panel_sheet *into)
{
    for (size_t i = 0; i < copy->view->hit_count[panel]; i++) {
        const struct an_rule_hit *hit = &copy->view->hits[panel][i];
        for (size_t k = hit->first; k <= hit->last && k < copy->view->count; k++) {
            if (copy->place[k] == AN_NONE) {
                continue;
            }
            struct an_plot_point *point = &into->points[copy->place[k]];
            if (hit->rule == AN_RULE_BEYOND_LIMIT) {
                point->flagged = point->flagged || k == hit->last;
            } else {
                point->in_run = true;
            }
        }
    }
}

/* What the panel plots, in words. */
static const char *statistic_of(const struct an_copying *copy, int panel)
{
    const struct an_stream_view *view = copy->view;
    const enum an_family family = an_family_drawn(view);
    const struct an_characteristic *c = view->characteristic;
    const char *words = family < AN_FAMILY_COUNT ? an_family_statistic(family, panel) : NULL;
    const bool named = c && c->of_name[0] && c->of_name[1];
    const char *more = named && c->of_name[2] ? " and others" : "";
    if (panel == 0 && family == AN_G) {
        return "opportunities from one event to the next, each point an event";
    }
    if (panel == 0 && family == AN_T) {
        return "time from one event to the next, each point an event";
    }
    if (panel == 0 && family == AN_WEAR) {
        return "value over the life of each tool";
    }
    if (panel == 0 && family == AN_T2 && named) {
        return an_arena_printf(copy->gather->arena,
                               "T2: squared distance of %s%s%s%s from their means, together",
                               c->of_name[0], *more ? ", " : " and ", c->of_name[1], more);
    }
    if (panel == 0 && family == AN_MEWMA && named) {
        return an_arena_printf(copy->gather->arena,
                               "weighted distance: of the weighted mean of %s%s%s%s, squared",
                               c->of_name[0], *more ? ", " : " and ", c->of_name[1], more);
    }
    if (panel == 0 && view->limits_count && !an_family_is_joint(family)) {
        const enum an_weighted_kind kind =
            view->limits[view->limits_count - 1].model.weighting.kind;
        const char *weighted =
            kind == AN_CUSUM ? "cumulative sums, upper and lower" : an_weighted_statistic(kind);
        words = weighted ? weighted : words;
    }
    return words ? words : panel ? "spread" : "value";
}

/* In a few words, for a chart of the width of a hand's breadth. */
static const char *brief_of(const struct an_copying *copy, int panel)
{
    switch (an_family_drawn(copy->view)) {
    case AN_G:
        return "opportunities between events";
    case AN_T:
        return "time between events";
    case AN_T2:
        return "T2, squared distance";
    case AN_MEWMA:
        return "weighted distance, squared";
    case AN_RESIDUALS:
        return "residual";
    case AN_SHORT_RUN:
        return "distance from target";
    case AN_GROUP:
        return "furthest from its own level";
    default:
        return panel == 0 && copy->sheet->form == AN_FORM_SUMS ? "cumulative sums" : NULL;
    }
}

/* The chart begins anew where life falls: another tool; its ribbon tells the lives on view. */
static bool copy_tools(const struct an_copying *copy, struct an_panel_sheet *into)
{
    const struct an_stream_view *view = copy->view;
    double low = (double)NAN;
    double high = (double)NAN;
    size_t from = 0;
    for (size_t i = 0; i <= into->count; i++) {
        const double life =
            i < into->count ? an_life_of(view->points[copy->first + i].sample.ribbon) : (double)NAN;
        if (i < into->count && !(life < high)) {
            low = isfinite(low) ? low : life;
            high = isfinite(life) ? life : high;
            continue;
        }
        const char *text = isfinite(low) ? an_arena_printf(copy->gather->arena, "%s to %s",
                                                           an_say_plain(copy->gather->arena, low),
                                                           an_say_plain(copy->gather->arena, high))
                                         : "";
        if (!text) {
            return false;
        }
        for (size_t k = from; k < i; k++) {
            into->points[k].ribbon = *text ? text : NULL;
        }
        if (i < into->count) {
            into->points[i].anew = true;
        }
        from = i;
        low = high = life;
    }
    return true;
}

/* A sample off the scale is drawn at the limit on its side, flagged, with a note. */
static void place_off_scale(const struct an_judged_point *from, const struct an_stream_view *view,
                            struct an_plot_point *point)
{
    if (!from->off_scale || from->excluded || from->phase >= view->limits_count) {
        return;
    }
    const struct an_panel_point usual = an_chart_usual(&view->limits[from->phase].model);
    const double edge = from->off_scale > 0 ? usual.ucl : usual.lcl;
    if (from->phase + 1 == view->limits_count && isfinite(edge)) {
        point->value = edge * view->scale;
        point->centre = usual.centre * view->scale;
        point->lcl = usual.lcl * view->scale;
        point->ucl = usual.ucl * view->scale;
        point->flagged = true;
    }
}

static bool copy_panel(const struct an_copying *copy, int panel)
{
    const struct an_stream_view *view = copy->view;
    struct an_panel_sheet *into = &copy->sheet->panel[panel];
    if (!has_panel(view, panel)) {
        return true;
    }
    into->statistic = statistic_of(copy, panel);
    into->brief = brief_of(copy, panel);
    into->points = an_arena_alloc(copy->gather->arena, copy->shown + 1, sizeof *into->points);
    if (!into->points || !into->statistic) {
        return false;
    }
    const char *ribbon = NULL;
    const bool along = copy->sheet->form == AN_FORM_WEAR; /* the life stands where a batch would */
    for (size_t i = copy->first; i < view->count; i++) {
        const struct an_judged_point *from = &view->points[i];
        const struct an_panel_point *at = panel_of(from, panel);
        if (copy->place[i] == AN_NONE) {
            continue;
        }
        /* neighbours share their batch: one copy of its name serves them all */
        if (from->sample.ribbon && !along &&
            (!ribbon || strcmp(ribbon, from->sample.ribbon) != 0)) {
            ribbon = an_arena_copy(copy->gather->arena, from->sample.ribbon,
                                   strlen(from->sample.ribbon));
            if (!ribbon) {
                return false;
            }
        }
        into->points[into->count++] =
            (struct an_plot_point){.at_us = from->sample.at_us,
                                   .value = at->value * view->scale,
                                   .upper = from->point.upper * view->scale,
                                   .lower = from->point.lower * view->scale,
                                   .centre = at->centre * view->scale,
                                   .lcl = at->lcl * view->scale,
                                   .ucl = at->ucl * view->scale,
                                   .phase = from->phase == AN_NONE ? 0 : from->phase + 1,
                                   .excluded = from->excluded,
                                   .gap_before = from->gap_before && i > copy->first,
                                   .ribbon = from->sample.ribbon && !along ? ribbon : NULL};
        if (panel == 0) {
            place_off_scale(from, view, &into->points[into->count - 1]);
        }
    }
    if (along && !copy_tools(copy, into)) {
        return false;
    }
    mark_runs(copy, panel, into);
    return copy_signals(copy, panel, into);
}

/* "P2 from 4 March 06:00, L. Brandt": the number counts all locked revisions of the stream. */
bool an_copy_phases(const struct an_copying *copy, const struct an_limits *all, size_t all_count)
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
                            limits->author ? limits->author : "nobody named");
        if (!sheet->phase_labels[i + 1]) {
            return false;
        }
    }
    return true;
}

/* Why a point was left out of the baseline. */
static const char *left_out_note(const struct an_copying *copy, const struct an_judged_point *point)
{
    const struct an_stream_view *view = copy->view;
    struct an_arena *arena = copy->gather->arena;
    const char *reason = "no reason recorded";
    for (size_t l = 0; l < view->limits_count; l++) {
        for (size_t k = 0; k < view->limits[l].excluded_count; k++) {
            if (view->limits[l].excluded[k].sample_id == point->sample.sample_id) {
                reason = view->limits[l].excluded[k].reason;
            }
        }
    }
    return an_arena_printf(arena, "%s, %s left out of the baseline: %s",
                           an_say_time(arena, copy->gather->line->zone, point->sample.at_us),
                           point->sample.serial ? point->sample.serial : "sample", reason);
}

/* A value that no place on the axis can show. */
static const char *off_scale_note(const struct an_copying *copy,
                                  const struct an_judged_point *point)
{
    struct an_arena *arena = copy->gather->arena;
    const char *unit = copy->view->characteristic->unit;
    const double value = point->off_scale > 0 ? point->sample.max : point->sample.min;
    return an_arena_printf(arena, "%s, %s holds %s%s%s: no place on this scale, drawn at its limit",
                           an_say_time(arena, copy->gather->line->zone, point->sample.at_us),
                           point->sample.serial ? point->sample.serial : "a sample",
                           an_say_plain(arena, value), strcmp(unit, "1") ? " " : "",
                           strcmp(unit, "1") ? unit : "");
}

/* Numbered notes: points left out of the baseline by name, values off the scale. */
bool an_copy_notes(const struct an_copying *copy)
{
    const struct an_stream_view *view = copy->view;
    struct an_panel_sheet *level = &copy->sheet->panel[0];
    struct an_text_list notes = {0};
    size_t room = 0;
    for (size_t i = copy->first; i < view->count; i++) {
        const struct an_judged_point *point = &view->points[i];
        if ((!point->excluded && !point->off_scale) || !level->count) {
            continue;
        }
        if (copy->place[i] != AN_NONE) {
            level->points[copy->place[i]].note = (int)notes.count + 1;
        }
        if (!an_list_add(&notes, &room, copy->gather->arena,
                         point->excluded ? left_out_note(copy, point)
                                         : off_scale_note(copy, point))) {
            return false;
        }
    }
    copy->sheet->notes = notes.at;
    copy->sheet->note_count = notes.count;
    return true;
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

bool an_copy_ribbon_words(const struct an_copying *copy)
{
    const struct an_characteristic *c = copy->view->characteristic;
    const struct an_line *line = copy->gather->line;
    struct an_stream_sheet *sheet = copy->sheet;
    if (c && c->ribbon_column) {
        sheet->ribbon_title = column_words(copy->gather->arena, c->ribbon_column);
    } else if (c && c->ribbon_kind != AN_NONE && c->ribbon_kind < line->kind_count) {
        sheet->ribbon_title = line->kinds[c->ribbon_kind].title;
    }
    return sheet->form == AN_FORM_WEAR || shorten_ribbon(copy->gather->arena, sheet);
}

bool an_copy_panels(const struct an_copying *copy)
{
    return copy_panel(copy, 0) && copy_panel(copy, 1);
}
