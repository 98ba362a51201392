/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What people decided in the week and what they still owe: limits locked, by whom and why, and what
 * that changed; open signals by age; gauges that were used. Never judges the process.
 */
#include "judge/gauge.h"
#include "judge/scale.h"
#include "judge/shown.h"
#include "report/gather.h"
#include "report/week_data.h"
#include "report/wording.h"

#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static enum an_status no_memory(const struct an_gather *gather)
{
    return an_fail(gather->err, AN_NO_MEMORY, "out of memory");
}

/* ---- limits ---------------------------------------------------------------------------------- */
/* Factor and unit in which limits are told, those of the characteristic. */
static double shown_scale(const struct an_gather *gather, const struct an_stream_sheet *sheet,
                          const char **unit)
{
    const struct an_station *station = NULL;
    const struct an_characteristic *c = NULL;
    const char *purpose = NULL;

    (void)an_judge_resolve(gather->line, &sheet->stream, &station, &c, &purpose, gather->arena);
    *unit = c ? an_shown_unit(c, gather->arena) : sheet->unit;
    return c && c->kind == AN_COUNTED && c->per > 0 ? c->per : 1;
}

/* Half the distance between the limits of a typical sample, as the model learnt them. */
static double half_width(const struct an_limits *limits)
{
    const struct an_chart_model *m = &limits->model;

    if (an_is_scaled(limits)) { /* in the unit, as the centre is */
        return (an_scale_back(&limits->scale, m->centre + m->k * m->sigma_level) -
                an_scale_back(&limits->scale, m->centre - m->k * m->sigma_level)) /
               2;
    }
    return m->k * m->sigma_level;
}

static double centre_of(const struct an_limits *limits, double scale)
{
    return an_is_scaled(limits) ? an_scale_back(&limits->scale, limits->model.centre)
                                : limits->model.centre * scale;
}

static enum an_status add_decision(struct an_gather *gather, const struct an_stream_sheet *sheet,
                                   const struct an_limits *limits, const struct an_limits *earlier,
                                   size_t *room)
{
    struct an_week_data *week = gather->data->week;
    const char *unit = NULL;
    const double scale = shown_scale(gather, sheet, &unit);
    struct an_arena *arena = gather->arena;

    if (week->decision_count == *room) {
        const size_t more = *room ? 2 * *room : 16;
        struct an_week_decision *grown = an_arena_alloc(arena, more, sizeof *grown);
        if (!grown) {
            return no_memory(gather);
        }
        if (week->decision_count) {
            memcpy(grown, week->decisions, week->decision_count * sizeof *grown);
        }
        week->decisions = grown;
        *room = more;
    }
    struct an_week_decision *decision = &week->decisions[week->decision_count++];
    *decision = (struct an_week_decision){
        .title = sheet->title,
        .author = an_arena_printf(arena, "%s%s%s", limits->author ? limits->author : "nobody named",
                                  limits->signed_key ? ", signed, key " : "",
                                  limits->signed_key ? limits->signed_key : ""),
        .reason = an_arena_printf(arena, "%s", limits->reason ? limits->reason : ""),
        .known_us = limits->locked_us,
        .centre = centre_of(limits, scale),
        .width = half_width(limits) * scale,
        .centre_before = earlier ? centre_of(earlier, scale) : (double)NAN,
        .width_before = earlier ? half_width(earlier) * scale : (double)NAN,
        .decimals = sheet->decimals,
        .unit = unit};
    return decision->author && decision->reason && unit ? AN_OK : no_memory(gather);
}

/* Decided within the period by the clock of the record, which may be later than the line's. */
static enum an_status decisions_of(struct an_gather *gather, const struct an_stream_sheet *sheet,
                                   size_t *room)
{
    const struct an_period_data *data = gather->data;
    struct an_limits *limits = NULL;
    size_t count = 0;
    const struct an_limits *earlier = NULL;
    struct an_arena *passing = an_arena_open();

    if (!passing) {
        return no_memory(gather);
    }
    enum an_status st = an_limits_all(gather->store, sheet->stream.stream_id, passing, &limits,
                                      &count, gather->err);
    for (size_t i = 0; !st && i < count; i++) {
        if (limits[i].state != AN_LIMITS_LOCKED) {
            continue;
        }
        const bool by_record =
            limits[i].locked_us >= data->now.from_us && limits[i].locked_us < data->now.until_us;
        const bool by_event = limits[i].in_force_us >= data->now.from_us &&
                              limits[i].in_force_us < data->now.until_us;
        if (by_record || by_event) {
            st = add_decision(gather, sheet, &limits[i], earlier, room);
        }
        earlier = &limits[i];
    }
    an_arena_close(passing);
    return st;
}

static int newest_first(const void *left, const void *right)
{
    const struct an_week_decision *a = left;
    const struct an_week_decision *b = right;

    if (a->known_us != b->known_us) {
        return a->known_us > b->known_us ? -1 : 1;
    }
    return strcmp(a->title, b->title);
}

/* ---- ages of open signals ----------------------------------------------------------------------- */
static void count_ages(struct an_gather *gather)
{
    static const char *const words[] = {"of this week", "one to two weeks old",
                                        "two to four weeks old", "older than four weeks"};
    const struct an_period_data *data = gather->data;
    struct an_week_data *week = data->week;
    const int64_t span = 7 * AN_DAY_US;

    for (size_t i = 0; i < 4; i++) {
        week->ages[i] = (struct an_week_age){words[i], 0};
    }
    for (size_t i = 0; i < data->signal_count; i++) {
        week->ages[0].count += data->signals[i].signal.open;
    }
    for (size_t i = 0; i < data->due_count; i++) {
        const int64_t age = data->now.until_us - data->due[i].signal_us;
        week->ages[age <= span ? 0 : age <= 2 * span ? 1 : age <= 4 * span ? 2 : 3].count++;
    }
}

/* ---- gauges -------------------------------------------------------------------------------------- */
/* A station that has one gauge for good says so in its description, not in its files. */
static enum an_status list_fixed(struct an_gather *gather, const struct an_station *station,
                                 const struct an_gauge_record studies[], size_t study_count)
{
    struct an_week_data *week = gather->data->week;
    struct an_gauge_state state;
    for (size_t i = 0; station->gauge && i < week->gauge_count; i++) {
        if (!strcmp(week->gauges[i].name, station->gauge) &&
            !strcmp(week->gauges[i].station, station->name)) {
            return AN_OK; /* its files were told already */
        }
    }
    if (!station->gauge) {
        return AN_OK;
    }
    const enum an_status st =
        an_gauge_state_of(gather->line, station->gauge, studies, study_count,
                          gather->data->now.until_us, gather->arena, &state, gather->err);
    if (!st) {
        week->gauges[week->gauge_count++] = (struct an_week_gauge){.name = station->gauge,
                                                                   .station = station->name,
                                                                   .state = state.text,
                                                                   .needs_look = state.needs_look};
    }
    return st;
}

static enum an_status list_gauges(struct an_gather *gather)
{
    const struct an_period_data *data = gather->data;
    struct an_week_data *week = data->week;
    struct an_gauge_use *uses = NULL;
    size_t count = 0;
    const enum an_status st = an_store_gauges(gather->store, data->now.from_us, data->now.until_us,
                                              gather->arena, &uses, &count, gather->err);

    if (st) {
        return st;
    }
    struct an_gauge_record *studies = NULL;
    size_t study_count = 0;
    enum an_status told = an_store_gauge_studies(gather->store, NULL, gather->arena, &studies,
                                                 &study_count, gather->err);
    week->gauges = an_arena_alloc(gather->arena, count + gather->line->station_count + 1,
                                  sizeof *week->gauges);
    if (!told && !week->gauges) {
        return no_memory(gather);
    }
    for (size_t i = 0; !told && i < count; i++) {
        struct an_week_gauge *gauge = &week->gauges[week->gauge_count++];
        struct an_gauge_state state;
        told = an_gauge_state_of(gather->line, uses[i].gauge, studies, study_count,
                                 data->now.until_us, gather->arena, &state, gather->err);
        *gauge = (struct an_week_gauge){
            .name = uses[i].gauge,
            .station = uses[i].station,
            .state = told ? NULL
                          : an_arena_printf(gather->arena, "%s, %s",
                                            an_say_many(gather->arena, uses[i].visits, "visit"),
                                            state.text),
            .needs_look = state.needs_look};
        if (!told && !gauge->state) {
            return no_memory(gather);
        }
    }
    for (size_t i = 0; !told && i < gather->line->station_count; i++) {
        told = list_fixed(gather, &gather->line->stations[i], studies, study_count);
    }
    return told;
}

enum an_status an_gather_week_record(struct an_gather *gather)
{
    const struct an_period_data *data = gather->data;
    struct an_week_data *week = data->week;
    size_t room = 0;
    enum an_status st = AN_OK;

    for (size_t i = 0; !st && i < data->sheet_count; i++) {
        st = decisions_of(gather, &data->sheets[i], &room);
    }
    if (st) {
        return st;
    }
    if (week->decision_count) {
        qsort(week->decisions, week->decision_count, sizeof *week->decisions, newest_first);
    }
    count_ages(gather);
    return list_gauges(gather);
}
