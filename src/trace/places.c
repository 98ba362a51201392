/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What sits where in a whole, at an instant. Must never guess the size of a grid: it is as large as
 * what was ever told of this whole.
 */
#include "andamento/base/memory.h"
#include "trace/trace.h"

#include <stdlib.h>
#include <string.h>

enum { MOST_PLACES = 10000 };

static int compare_numbers(int64_t a, int64_t b)
{
    return (a > b) - (a < b);
}

static int compare_places(const void *left, const void *right)
{
    const struct an_trace_place *a = left;
    const struct an_trace_place *b = right;
    int order = compare_numbers(a->link.row, b->link.row);

    order = order ? order : compare_numbers(a->link.column, b->link.column);
    order =
        order ? order
              : strcmp(a->link.region ? a->link.region : "", b->link.region ? b->link.region : "");
    order = order ? order : compare_numbers(a->from_us, b->from_us);
    return order ? order : compare_numbers(a->item.item_id, b->item.item_id);
}

static bool holds_at(const struct an_lineage *lineage, int64_t at_us)
{
    if (at_us == AN_NO_INSTANT) {
        return lineage->until_us == AN_NO_INSTANT;
    }
    return (lineage->link.at_us == AN_NO_INSTANT || lineage->link.at_us <= at_us) &&
           (lineage->until_us == AN_NO_INSTANT || lineage->until_us > at_us);
}

static bool is_placed(const struct an_link *link)
{
    return link->row >= 0 && link->column >= 0;
}

static bool same_place(const struct an_link *a, const struct an_link *b)
{
    return is_placed(a) && a->row == b->row && a->column == b->column &&
           strcmp(a->region ? a->region : "", b->region ? b->region : "") == 0;
}

static void widen(struct an_trace_grid *grid, const struct an_link *link)
{
    if (!is_placed(link)) {
        return;
    }
    const bool first = grid->last_row < grid->first_row;

    grid->first_row = first || link->row < grid->first_row ? link->row : grid->first_row;
    grid->last_row = first || link->row > grid->last_row ? link->row : grid->last_row;
    grid->first_column =
        first || link->column < grid->first_column ? link->column : grid->first_column;
    grid->last_column =
        first || link->column > grid->last_column ? link->column : grid->last_column;
}

static void mark_doubled(struct an_trace_grid *grid)
{
    for (size_t i = 1; i < grid->place_count; i++) {
        struct an_trace_place *a = &grid->places[i - 1];
        struct an_trace_place *b = &grid->places[i];

        if (same_place(&a->link, &b->link) && a->item.item_id != b->item.item_id) {
            a->doubled = b->doubled = true;
        }
    }
}

/* The places are sorted, so the ones filled are met in the order of the grid. */
static bool list_holes(struct an_trace_grid *grid)
{
    const int64_t rows = grid->last_row - grid->first_row + 1;
    const int64_t columns = grid->last_column - grid->first_column + 1;
    size_t next = 0;

    if (rows <= 0 || rows > MOST_PLACES || columns > MOST_PLACES / rows) {
        return true;
    }
    grid->holes = an_arena_alloc(grid->arena, (size_t)(rows * columns), sizeof *grid->holes);
    if (!grid->holes) {
        return false;
    }
    for (int64_t k = 0; k < rows * columns; k++) {
        const struct an_trace_hole at = {grid->first_row + k / columns,
                                         grid->first_column + k % columns};

        while (next < grid->place_count &&
               (!is_placed(&grid->places[next].link) || grid->places[next].link.row < at.row ||
                (grid->places[next].link.row == at.row &&
                 grid->places[next].link.column < at.column))) {
            next++;
        }
        if (next == grid->place_count || grid->places[next].link.row != at.row ||
            grid->places[next].link.column != at.column) {
            grid->holes[grid->hole_count++] = at;
        }
    }
    return true;
}

static bool fill(struct an_trace_grid *grid, const struct an_lineage *lineage, size_t count,
                 const char *kind, int64_t at_us)
{
    grid->places = an_arena_alloc(grid->arena, count + 1, sizeof *grid->places);
    if (!grid->places) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        if (kind ? strcmp(lineage[i].item.kind, kind) != 0 : !is_placed(&lineage[i].link)) {
            continue;
        }
        widen(grid, &lineage[i].link); /* what was taken out leaves a hole */
        if (holds_at(&lineage[i], at_us)) {
            grid->places[grid->place_count++] =
                (struct an_trace_place){.item = lineage[i].item,
                                        .link = lineage[i].link,
                                        .from_us = lineage[i].link.at_us,
                                        .until_us = lineage[i].until_us,
                                        .sure = lineage[i].sure,
                                        .file = lineage[i].file,
                                        .line = lineage[i].link.line};
        }
    }
    qsort(grid->places, grid->place_count, sizeof *grid->places, compare_places);
    mark_doubled(grid);
    return list_holes(grid);
}

enum an_status an_trace_places(struct an_store *store, int64_t item_id, const char *kind,
                               int64_t at_us, struct an_trace_grid *grid, struct an_error *err)
{
    struct an_lineage *lineage = NULL;
    size_t count = 0;
    enum an_status st = AN_OK;

    memset(grid, 0, sizeof *grid);
    grid->last_row = grid->last_column = -1;
    grid->arena = an_arena_open();
    if (!grid->arena) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    st = an_store_lineage(store, item_id, true, grid->arena, &lineage, &count, err);
    if (!st && !fill(grid, lineage, count, kind, at_us)) {
        st = an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    if (st) {
        an_trace_grid_close(grid);
    }
    return st;
}

size_t an_trace_grid_faults(const struct an_trace_grid *grid)
{
    size_t faults = grid->hole_count;

    for (size_t i = 0; i < grid->place_count; i++) {
        faults += grid->places[i].doubled ? 1 : 0;
    }
    return faults;
}

void an_trace_grid_close(struct an_trace_grid *grid)
{
    an_arena_close(grid->arena);
    memset(grid, 0, sizeof *grid);
}
