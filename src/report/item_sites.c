/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Maps of the places inside an item: the picture of each part, the line's average of it, offsets as
 * arrows and defects as spots; and values of the seams of a wall. Reads single readings, of the
 * items asked for and of those that make the average, and of no others.
 *
 * The hard idea: a row and a column of a place are two texts beside a reading, and only one can be
 * asked for at a time. So the readings are read twice, each time with another position, in the same order.
 */
#include "andamento/base/number.h"
#include "judge/readings.h"
#include "report/item_data.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static double number_of(const char *text)
{
    struct an_decimal number = {0};
    return text && !an_decimal_parse(an_bytes_trim(an_bytes_of(text)), '.', 0, &number)
               ? number.value
               : (double)NAN;
}

enum an_status an_read_places(struct an_store *store, const struct an_stream *stream,
                              const struct an_characteristic *characteristic,
                              const struct an_sample *samples, size_t count, struct an_arena *arena,
                              struct an_placed_readings *out, struct an_error *err)
{
    struct an_characteristic asked = *characteristic;
    struct an_site_readings by_row = {0};
    struct an_site_readings by_column = {0};
    asked.position_column = characteristic->row_column;
    enum an_status st =
        an_site_readings_of(store, stream, &asked, samples, count, NULL, arena, &by_row, err);
    asked.position_column = characteristic->column_column;
    st = st ? st
            : an_site_readings_of(store, stream, &asked, samples, count, NULL, arena, &by_column,
                                  err);
    if (st) {
        return st;
    }
    const size_t total = by_row.first[count];
    out->value = by_row.value;
    out->first = by_row.first;
    out->dropped = by_row.dropped_text;
    out->row = an_arena_alloc(arena, total + 1, sizeof *out->row);
    out->column = an_arena_alloc(arena, total + 1, sizeof *out->column);
    if (!out->row || !out->column) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while reading places");
    }
    for (size_t i = 0; i < total; i++) {
        out->row[i] =
            by_row.site[i] == AN_NONE ? (double)NAN : number_of(by_row.sites[by_row.site[i]]);
        out->column[i] = by_column.site[i] == AN_NONE
                             ? (double)NAN
                             : number_of(by_column.sites[by_column.site[i]]);
    }
    return AN_OK;
}

/* ---- a scale of places: their distinct coordinates in order ------------------------------------------ */
enum { MOST_PLACES = 400 };
struct axis {
    double at[MOST_PLACES];
    size_t count;
    bool overflow;
};

static void axis_add(struct axis *axis, double value)
{
    size_t lo = 0;
    size_t hi = axis->count;
    if (!isfinite(value)) {
        return;
    }
    while (lo < hi) {
        const size_t middle = (lo + hi) / 2;
        if (axis->at[middle] < value) {
            lo = middle + 1;
        } else {
            hi = middle;
        }
    }
    if (lo < axis->count && axis->at[lo] == value) {
        return;
    }
    if (axis->count == MOST_PLACES) {
        axis->overflow = true;
        return;
    }
    memmove(&axis->at[lo + 1], &axis->at[lo], (axis->count - lo) * sizeof axis->at[0]);
    axis->at[lo] = value;
    axis->count++;
}

static size_t axis_find(const struct axis *axis, double value)
{
    for (size_t i = 0; i < axis->count; i++) {
        if (axis->at[i] == value) {
            return i;
        }
    }
    return AN_NONE;
}

struct axes {
    struct axis rows, columns;
};

static void axes_of(const struct an_placed_readings *read, size_t samples, struct axes *axes)
{
    for (size_t i = 0; i < read->first[samples]; i++) {
        axis_add(&axes->rows, read->row[i]);
        axis_add(&axes->columns, read->column[i]);
    }
}

static enum an_status grid_of(struct an_item_gather *gather, const struct axes *axes,
                              const struct an_placed_readings *read, size_t from, size_t until,
                              struct an_site_grid *grid)
{
    const size_t places = axes->rows.count * axes->columns.count;
    size_t *n = an_arena_alloc(gather->arena, places + 1, sizeof *n);
    grid->rows = (int64_t)axes->rows.count;
    grid->columns = (int64_t)axes->columns.count;
    grid->value = an_arena_alloc(gather->arena, places + 1, sizeof *grid->value);
    if (!n || !grid->value) {
        return an_item_no_memory(gather);
    }
    for (size_t i = from; i < until; i++) {
        const size_t row = axis_find(&axes->rows, read->row[i]);
        const size_t column = axis_find(&axes->columns, read->column[i]);
        if (row != AN_NONE && column != AN_NONE) {
            const size_t at = row * axes->columns.count + column;
            n[at]++;
            grid->value[at] += (read->value[i] - grid->value[at]) / (double)n[at];
        }
    }
    for (size_t i = 0; i < places; i++) {
        grid->value[i] = n[i] ? grid->value[i] : (double)NAN;
    }
    return AN_OK;
}

/* ---- pictures ----------------------------------------------------------------------------------------- */
static enum an_status gather_pictures(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    struct an_site_maps *maps = &data->sites;
    const struct an_value_stream *stream = &data->values.streams[data->picture];
    struct an_sample *samples =
        an_arena_alloc(gather->arena, data->part_count + 1, sizeof *samples);
    size_t *part = an_arena_alloc(gather->arena, data->part_count + 1, sizeof *part);
    struct axes *axes = an_arena_alloc(gather->arena, 1, sizeof *axes);
    struct an_sample *before = NULL;
    size_t before_count = 0;
    size_t count = 0;
    int64_t last_us = AN_NO_INSTANT;
    maps->of = an_arena_alloc(gather->arena, data->part_count + 1, sizeof *maps->of);
    if (!samples || !part || !axes || !maps->of) {
        return an_item_no_memory(gather);
    }
    for (size_t p = 0; p < data->part_count; p++) {
        const struct an_item_value *value =
            &data->values.at[p * data->values.stream_count + data->picture];
        if (value->times) {
            part[count] = p;
            samples[count++] = value->sample;
            last_us = value->sample.at_us > last_us ? value->sample.at_us : last_us;
        }
    }
    if (!count) {
        return AN_OK;
    }
    struct an_placed_readings read = {0};
    struct an_placed_readings earlier = {0};
    enum an_status st = an_read_places(gather->store, &stream->stream, stream->characteristic,
                                       samples, count, gather->arena, &read, gather->err);
    st = st ? st
            : an_store_samples_before(gather->store, stream->stream.stream_id, last_us + 1,
                                      data->definition->average, gather->arena, &before,
                                      &before_count, gather->err);
    if (!st) {
        st = an_read_places(gather->store, &stream->stream, stream->characteristic, before,
                            before_count, gather->arena, &earlier, gather->err);
    }
    if (st) {
        return st;
    }
    axes_of(&read, count, axes);
    axes_of(&earlier, before_count, axes);
    maps->dropped = read.dropped ? read.dropped : earlier.dropped;
    if (axes->rows.overflow || axes->columns.overflow || !axes->rows.count ||
        !axes->columns.count) {
        return AN_OK; /* not a grid of places */
    }
    maps->stream = stream;
    maps->rows = (int64_t)axes->rows.count;
    maps->columns = (int64_t)axes->columns.count;
    for (size_t i = 0; !st && i < count; i++) {
        if (read.first[i + 1] > read.first[i]) {
            st = grid_of(gather, axes, &read, read.first[i], read.first[i + 1], &maps->of[part[i]]);
        }
    }
    maps->averaged = 0;
    for (size_t i = 0; i < before_count; i++) {
        maps->averaged += earlier.first[i + 1] > earlier.first[i];
    }
    return st ? st
              : grid_of(gather, axes, &earlier, 0, earlier.first[before_count], &maps->average);
}

/* ---- offsets and defects of one part ------------------------------------------------------------------- */
struct placed { /* all readings of one characteristic of one part, over its streams */
    double *value, *row, *column;
    size_t count, room;
};

static enum an_status placed_add(struct an_item_gather *gather, struct placed *placed,
                                 const struct an_placed_readings *read, size_t samples)
{
    const size_t more = read->first[samples];
    double *value = an_arena_alloc(gather->arena, placed->count + more + 1, 3 * sizeof *value);
    if (!value) {
        return an_item_no_memory(gather);
    }
    double *row = value + placed->count + more + 1;
    double *column = row + placed->count + more + 1;
    for (size_t i = 0; i < placed->count; i++) {
        value[i] = placed->value[i];
        row[i] = placed->row[i];
        column[i] = placed->column[i];
    }
    for (size_t i = 0; i < more; i++) {
        value[placed->count + i] = read->value[i];
        row[placed->count + i] = read->row[i];
        column[placed->count + i] = read->column[i];
    }
    *placed = (struct placed){value, row, column, placed->count + more, 0};
    return AN_OK;
}

/* column NULL: the characteristic's own; else a count's column. */
static enum an_status read_part(struct an_item_gather *gather,
                                const struct an_characteristic *characteristic, const char *column,
                                struct placed *placed)
{
    struct an_item_data *data = gather->data;
    enum an_status st = AN_OK;
    for (size_t k = 0; !st && k < data->values.stream_count; k++) {
        const struct an_value_stream *stream = &data->values.streams[k];
        const struct an_item_value *value =
            &data->values.at[data->sites.part * data->values.stream_count + k];
        struct an_characteristic asked = *characteristic;
        struct an_placed_readings read = {0};
        if (stream->characteristic != characteristic || !value->times) {
            continue;
        }
        if (column) {
            asked.column = column;
            asked.factor = 1;
            asked.offset = 0;
        }
        st = an_read_places(gather->store, &stream->stream, &asked, &value->sample, 1,
                            gather->arena, &read, gather->err);
        st = st ? st : placed_add(gather, placed, &read, 1);
    }
    return st;
}

static enum an_status gather_arrows(struct an_item_gather *gather, struct axes *axes)
{
    struct an_item_data *data = gather->data;
    struct an_site_maps *maps = &data->sites;
    const struct an_line *line = gather->line;
    const size_t kind = an_line_kind(line, an_bytes_of(data->parts[maps->part].item.kind));
    size_t across = AN_NONE;
    size_t down = AN_NONE;
    struct placed x = {0};
    struct placed y = {0};
    if (kind == AN_NONE || !an_choose_offsets(line, kind, &across, &down)) {
        return AN_OK;
    }
    enum an_status st = read_part(gather, &line->characteristics[across], NULL, &x);
    st = st ? st : read_part(gather, &line->characteristics[down], NULL, &y);
    if (st) {
        return st;
    }
    for (size_t i = 0; i < x.count; i++) {
        axis_add(&axes->rows, x.row[i]);
        axis_add(&axes->columns, x.column[i]);
    }
    maps->arrow_rows = (int64_t)axes->rows.count;
    maps->arrow_columns = (int64_t)axes->columns.count;
    const size_t places = axes->rows.count * axes->columns.count;
    double *sum = an_arena_alloc(gather->arena, places + 1, 4 * sizeof *sum);
    maps->arrows = an_arena_alloc(gather->arena, places + 1, sizeof *maps->arrows);
    if (!sum || !maps->arrows) {
        return an_item_no_memory(gather);
    }
    if (axes->rows.overflow || axes->columns.overflow) {
        maps->arrow_rows = maps->arrow_columns = 0;
        return AN_OK;
    }
    for (int way = 0; way < 2; way++) { /* several shots at a place: their mean */
        const struct placed *from = way ? &y : &x;
        for (size_t i = 0; i < from->count; i++) {
            const size_t row = axis_find(&axes->rows, from->row[i]);
            const size_t column = axis_find(&axes->columns, from->column[i]);
            if (row != AN_NONE && column != AN_NONE) {
                double *at = sum + 4 * (row * axes->columns.count + column) + 2 * way;
                at[0] += from->value[i];
                at[1] += 1;
            }
        }
    }
    for (size_t i = 0; i < places; i++) {
        const double *at = sum + 4 * i;
        if (at[1] > 0 && at[3] > 0) {
            maps->arrows[maps->arrow_count++] = (struct an_map_arrow){
                (double)(i / axes->columns.count + 1), (double)(i % axes->columns.count + 1),
                at[0] / at[1], at[2] / at[3]};
        }
    }
    const struct an_characteristic *c = &line->characteristics[across];
    maps->arrow_unit = c->unit;
    maps->arrow_title =
        an_arena_printf(gather->arena, "%s and %s", c->title ? c->title : c->name,
                        line->characteristics[down].title ? line->characteristics[down].title
                                                          : line->characteristics[down].name);
    return maps->arrow_title ? AN_OK : an_item_no_memory(gather);
}

/* One spot for each event counted at a place of the same grid, in a small ring about its middle. */
static enum an_status gather_spots(struct an_item_gather *gather, const struct axes *axes)
{
    enum { MOST_SPOTS = 4000 };
    struct an_item_data *data = gather->data;
    struct an_site_maps *maps = &data->sites;
    const struct an_characteristic *counted = NULL;
    for (size_t k = 0; k < data->values.stream_count && !counted; k++) {
        const struct an_characteristic *c = data->values.streams[k].characteristic;
        counted = c->kind == AN_COUNTED && c->row_column && c->column_column && !c->success &&
                          (c->column || c->sum_columns.count)
                      ? c
                      : NULL;
    }
    if (!counted) {
        return AN_OK;
    }
    struct placed events = {0};
    enum an_status st = AN_OK;
    const size_t columns = counted->sum_columns.count ? counted->sum_columns.count : 1;
    for (size_t i = 0; !st && i < columns; i++) {
        st = read_part(gather, counted,
                       counted->sum_columns.count ? counted->sum_columns.at[i] : counted->column,
                       &events);
    }
    maps->spots = st ? NULL : an_arena_alloc(gather->arena, MOST_SPOTS, sizeof *maps->spots);
    if (!st && !maps->spots) {
        st = an_item_no_memory(gather);
    }
    size_t *at_place =
        st ? NULL
           : an_arena_alloc(gather->arena, axes->rows.count * axes->columns.count + 1,
                            sizeof *at_place);
    if (!st && !at_place) {
        st = an_item_no_memory(gather);
    }
    for (size_t i = 0; !st && i < events.count; i++) {
        const size_t row = axis_find(&axes->rows, events.row[i]);
        const size_t column = axis_find(&axes->columns, events.column[i]);
        if (row == AN_NONE || column == AN_NONE) {
            continue;
        }
        for (double n = 1; n <= events.value[i] && maps->spot_count < MOST_SPOTS; n++) {
            const size_t turn = at_place[row * axes->columns.count + column]++;
            const double angle = (double)turn * 1.0472 + 0.5236;
            maps->spots[maps->spot_count++] = (struct an_map_spot){
                (double)(row + 1) + 0.30 * sin(angle), (double)(column + 1) + 0.30 * cos(angle)};
        }
    }
    maps->spot_title = counted->title ? counted->title : counted->name;
    return st;
}

enum an_status an_gather_sites(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    enum an_status st = AN_OK;
    if (data->picture != AN_NONE) {
        const struct an_characteristic *c = data->values.streams[data->picture].characteristic;
        if (c->kind == AN_MEASURED && c->row_column && c->column_column) {
            st = gather_pictures(gather);
        }
    }
    if (!st && data->sites.part != AN_NONE) {
        struct axes *axes = an_arena_alloc(gather->arena, 1, sizeof *axes);
        st = axes ? gather_arrows(gather, axes) : an_item_no_memory(gather);
        st = st || !data->sites.arrow_count ? st : gather_spots(gather, axes);
    }
    return st;
}

/* ---- seams --------------------------------------------------------------------------------------------- */
/* The step of the pictures between neighbours, in per cent of their mean. */
static enum an_status gather_steps(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    struct an_wall_seams *steps = &data->steps;
    steps->at = an_arena_alloc(gather->arena, 2 * data->part_count + 1, sizeof *steps->at);
    if (!steps->at) {
        return an_item_no_memory(gather);
    }
    steps->lsl = steps->usl = steps->target = (double)NAN;
    steps->unit = "%";
    steps->decimals = 1;
    steps->title = "step between neighbours";
    for (size_t a = 0; a < data->part_count; a++) {
        for (size_t b = 0; b < data->part_count; b++) {
            const struct an_item_part *one = &data->parts[a];
            const struct an_item_part *other = &data->parts[b];
            const bool right = other->row == one->row && other->column == one->column + 1;
            const bool below = other->row == one->row + 1 && other->column == one->column;
            if (!right && !below) {
                continue;
            }
            const double x = data->values.at[a * data->values.stream_count + data->picture].value;
            const double y = data->values.at[b * data->values.stream_count + data->picture].value;
            steps->at[steps->count++] = (struct an_map_seam){one->row, one->column, below,
                                                             (y - x) / ((x + y) / 2) * 100, false};
            if (steps->count >= 2 * data->part_count) {
                return AN_OK; /* doubled places would give more */
            }
        }
    }
    return AN_OK;
}

static const char *told_side(const struct an_item_gather *gather, const struct an_characteristic *c,
                             const char *told)
{
    char *name = told ? an_arena_printf(gather->arena, "%s.%s",
                                        gather->line->stations[c->station].name, c->name)
                      : NULL;
    return name && !strcmp(name, told) ? told : NULL;
}

/* One characteristic with a value a place, as seams if it is about them. */
static enum an_status gather_seam(struct an_item_gather *gather,
                                  const struct an_value_stream *stream,
                                  const struct an_item_value *value)
{
    struct an_item_data *data = gather->data;
    const struct an_characteristic *c = stream->characteristic;
    struct an_placed_readings read = {0};
    const enum an_status st = an_read_places(gather->store, &stream->stream, c, &value->sample, 1,
                                             gather->arena, &read, gather->err);
    if (st) {
        return st;
    }
    const size_t count = read.first[1];
    bool in[4] = {false, false, false, false};
    for (size_t i = 0; i < count; i++) {
        in[0] = in[0] || read.row[i] == (double)data->first_row;
        in[1] = in[1] || read.row[i] == (double)data->last_row;
        in[2] = in[2] || read.column[i] == (double)data->first_column;
        in[3] = in[3] || read.column[i] == (double)data->last_column;
    }
    enum an_seam_side side =
        told_side(gather, c, data->definition->seam_right)   ? AN_SEAM_RIGHT
        : told_side(gather, c, data->definition->seam_below) ? AN_SEAM_BELOW
        : data->definition->seam_right || data->definition->seam_below
            ? AN_SEAM_NONE
            : an_seam_side_of(in[0], in[1], in[2], in[3], data->last_row - data->first_row + 1,
                              data->last_column - data->first_column + 1);
    if (side == AN_SEAM_NONE || !count) {
        return AN_OK;
    }
    struct an_wall_seams *seams = &data->seams[side == AN_SEAM_BELOW];
    if (seams->count) {
        return AN_OK; /* the first one of its side */
    }
    seams->at = an_arena_alloc(gather->arena, count, sizeof *seams->at);
    if (!seams->at) {
        return an_item_no_memory(gather);
    }
    seams->title = c->title ? c->title : c->name;
    seams->unit = c->unit;
    seams->decimals = stream->decimals;
    seams->lsl = c->lsl;
    seams->usl = c->usl;
    seams->target = c->target;
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(read.row[i]) || !isfinite(read.column[i])) {
            continue;
        }
        const bool beyond = read.value[i] > c->usl || read.value[i] < c->lsl;
        seams->at[seams->count++] =
            (struct an_map_seam){(int64_t)read.row[i], (int64_t)read.column[i],
                                 side == AN_SEAM_BELOW, read.value[i], beyond};
        seams->beyond += beyond;
    }
    data->seam_kinds += seams->count > 0;
    return AN_OK;
}

enum an_status an_gather_seams(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    enum an_status st = data->picture == AN_NONE ? AN_OK : gather_steps(gather);
    for (size_t k = 0; !st && k < data->own.stream_count; k++) {
        const struct an_value_stream *stream = &data->own.streams[k];
        const struct an_characteristic *c = stream->characteristic;
        if (data->own.at[k].times && c->kind == AN_MEASURED && c->row_column && c->column_column) {
            st = gather_seam(gather, stream, &data->own.at[k]);
        }
    }
    return st;
}
