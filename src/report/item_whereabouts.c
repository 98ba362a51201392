/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where all that carries a batch is now, told by place. Responsible for naming every item once;
 * never for its own place in a whole, which the list one by one tells.
 *
 * The one hard idea: a hundred thousand lines are read by nobody. Items that are in the same place,
 * as sure and in the same role stand in one row, and serials that follow each other as a run: so
 * the list is complete and a page of it holds some thousands.
 */
#include "report/item_pages.h"
#include "report/wording.h"

#include <stdlib.h>
#include <string.h>

#define COUNT_OF(array) (sizeof(array) / sizeof((array)[0]))
enum {
    MOST_CELL = 560,  /* bytes of serials in a row: they fit the lines that a cell may take */
    SHORT_CELL = 36,  /* rows with no more stand two beside each other */
    MOST_DIGITS = 18, /* at the end of a serial, that count as its number */
};

/* ---- by whole, or by the station where it was seen last ----------------------------------------------- */
static const char *where_of(const struct an_item_carrier *one)
{
    return one->whole.item_id  ? one->whole.serial
           : one->last_station ? one->last_station
                               : "no station";
}

static int compare_pointers(const struct an_item_carrier *x, const struct an_item_carrier *y)
{
    return x < y ? -1 : x > y; /* of one array, which is by kind and serial */
}

static int by_place(const void *a, const void *b)
{
    const struct an_item_carrier *x = *(const struct an_item_carrier *const *)a;
    const struct an_item_carrier *y = *(const struct an_item_carrier *const *)b;
    const bool x_placed = x->whole.item_id != 0;
    const bool y_placed = y->whole.item_id != 0;
    if (x_placed != y_placed) {
        return x_placed ? -1 : 1;
    }
    const int where = strcmp(where_of(x), where_of(y));
    return where ? where : compare_pointers(x, y);
}

static int by_first(const void *a, const void *b)
{
    const struct an_item_whereabouts *x = a;
    const struct an_item_whereabouts *y = b;
    return compare_pointers(x->first[0], y->first[0]);
}

enum an_status an_gather_whereabouts(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    const struct an_item_carrier **order =
        an_alloc(data->carrier_count + 1, sizeof(struct an_item_carrier *));
    size_t n = 0;
    size_t places = 0;
    for (size_t i = 0; i < data->carrier_count && order; i++) {
        const struct an_item_carrier *one = &data->carriers[i];
        if (one->product && !an_kind_has_places(data->line, one->item.kind)) {
            order[n++] = one;
        }
    }
    if (order && n) {
        qsort(order, n, sizeof *order, by_place);
    }
    for (size_t i = 0; i < n; i++) {
        places += !i || (order[i]->whole.item_id != 0) != (order[i - 1]->whole.item_id != 0) ||
                  strcmp(where_of(order[i]), where_of(order[i - 1])) != 0;
    }
    data->whereabouts = an_arena_alloc(gather->arena, places + 1, sizeof *data->whereabouts);
    if (!order || !data->whereabouts) {
        an_free(order);
        return an_item_no_memory(gather);
    }
    struct an_item_whereabouts *at = NULL;
    for (size_t i = 0; i < n; i++) {
        const struct an_item_carrier *one = order[i];
        if (!at || at->placed != (one->whole.item_id != 0) || strcmp(at->where, where_of(one))) {
            at = &data->whereabouts[data->whereabouts_count++];
            *at = (struct an_item_whereabouts){.where = where_of(one),
                                               .placed = one->whole.item_id != 0,
                                               .last_us = AN_NO_INSTANT};
        }
        at->certain += one->holds && one->certain;
        at->possible += one->holds && !one->certain;
        at->ended += !one->holds;
        at->last_us = one->last_us > at->last_us ? one->last_us : at->last_us;
        if (at->shown < COUNT_OF(at->first)) {
            at->first[at->shown++] = one;
        }
    }
    an_free(order);
    if (data->whereabouts_count) {
        qsort(data->whereabouts, data->whereabouts_count, sizeof *data->whereabouts, by_first);
    }
    return AN_OK;
}

/* ---- all of it, in few rows --------------------------------------------------------------------------- */
static const char *state_of(const struct an_item_carrier *one)
{
    return !one->holds ? "taken out" : one->certain ? "certain" : "possible";
}

/* By kind, place, state and role; what is alike in all of them by serial. */
static int compare_rows(const struct an_item_carrier *x, const struct an_item_carrier *y)
{
    if (x->product != y->product) {
        return x->product ? -1 : 1;
    }
    const int kind = strcmp(x->item.kind, y->item.kind);
    if (kind) {
        return kind;
    }
    if ((x->whole.item_id != 0) != (y->whole.item_id != 0)) {
        return x->whole.item_id ? -1 : 1;
    }
    const int where = strcmp(where_of(x), where_of(y));
    if (where) {
        return where;
    }
    const int state = strcmp(state_of(x), state_of(y));
    return state ? state : strcmp(x->roles, y->roles);
}

static int by_row(const void *a, const void *b)
{
    const struct an_item_carrier *x = *(const struct an_item_carrier *const *)a;
    const struct an_item_carrier *y = *(const struct an_item_carrier *const *)b;
    const int row = compare_rows(x, y);
    return row ? row : compare_pointers(x, y);
}

/* Length of a serial before the digits at its end. */
static size_t stem_of(const char *serial, size_t length)
{
    size_t stem = length;
    while (stem > 0 && length - stem < MOST_DIGITS && serial[stem - 1] >= '0' &&
           serial[stem - 1] <= '9') {
        stem--;
    }
    return stem;
}

static bool follows(const char *before, const char *serial)
{
    const size_t length = strlen(serial);
    const size_t stem = stem_of(serial, length);
    if (stem == length || strlen(before) != length || stem_of(before, length) != stem ||
        memcmp(before, serial, stem) != 0) {
        return false;
    }
    int64_t step = 0;
    for (size_t i = stem; i < length; i++) {
        step = step * 10 + (serial[i] - before[i]);
    }
    return step == 1;
}

static void put_row(struct an_book *book, struct an_place_rows *d,
                    const struct an_item_carrier *one, size_t all, const char *which)
{
    const bool again = all == 0; /* the row before was full */
    const char **row = d->cells + d->rows++ * AN_PLACE_COLUMNS;
    const size_t length = which ? strlen(which) : 0;
    row[0] =
        one->whole.item_id ? one->whole.serial
        : d->placed
            ? an_book_text(book, an_arena_printf(book->arena, "not in place; %s", where_of(one)))
            : where_of(one);
    row[1] = again ? "" : state_of(one);
    row[2] = again ? "" : *one->roles ? one->roles : "-";
    row[3] = again ? "" : an_say_count(book->arena, (int64_t)all);
    row[4] = an_book_text(book, which);
    d->longest = length > d->longest ? length : d->longest;
}

/* The rows of items that are alike; only counts them while there are no cells. */
static void put_alike(struct an_book *book, struct an_place_rows *d,
                      const struct an_item_carrier *const *order, size_t count)
{
    struct an_text text = {0};
    size_t all = count;
    for (size_t i = 0; i < count;) {
        size_t last = i;
        while (last + 1 < count &&
               follows(order[last]->item.serial, order[last + 1]->item.serial)) {
            last++;
        }
        last = last - i < 2 ? i : last; /* two are as short by name */
        const char *from = order[i]->item.serial;
        const char *until = last > i ? order[last]->item.serial : "";
        if (text.length && text.length + strlen(from) + strlen(until) + 6 > MOST_CELL) {
            d->rows += !d->cells;
            if (d->cells) {
                put_row(book, d, order[i], all, an_arena_copy(book->arena, text.at, text.length));
            }
            all = 0;
            an_text_clear(&text);
        }
        an_text_addf(&text, "%s%s%s%s", text.length ? ", " : "", from, *until ? " to " : "", until);
        i = last + 1;
    }
    book->failed = book->failed || text.failed;
    d->rows += !d->cells;
    if (d->cells && !text.failed) {
        put_row(book, d, order[0], all, an_arena_copy(book->arena, text.at, text.length));
    }
    an_text_free(&text);
}

static void put_kind(struct an_book *book, struct an_place_rows *d,
                     const struct an_item_carrier *const *order, size_t count)
{
    d->rows = 0;
    for (size_t from = 0, until = 0; from < count && !book->failed; from = until) {
        while (until < count && !compare_rows(order[from], order[until])) {
            until++;
        }
        put_alike(book, d, order + from, until - from);
    }
}

/* Two rows beside each other; the last may stand alone. */
static const char **paired(struct an_book *book, const struct an_place_rows *d)
{
    const size_t pairs = (d->rows + 1) / 2;
    const char **cells =
        an_arena_alloc(book->arena, pairs * AN_PLACE_COLUMNS * 2 + 1, sizeof *cells);
    for (size_t i = 0; i < pairs && cells; i++) {
        for (size_t side = 0; side < 2; side++) {
            const size_t row = i * 2 + side; /* read across: neighbours stay on a page */
            for (size_t c = 0; c < AN_PLACE_COLUMNS; c++) {
                cells[(i * 2 + side) * AN_PLACE_COLUMNS + c] =
                    row < d->rows ? d->cells[row * AN_PLACE_COLUMNS + c] : "";
            }
        }
    }
    return cells;
}

void an_place_rows_of(struct an_book *book, const struct an_item_carrier *const *order,
                      size_t count, struct an_place_rows *d)
{
    *d = (struct an_place_rows){0};
    for (size_t i = 0; i < count && !d->placed; i++) {
        d->placed = order[i]->whole.item_id != 0;
    }
    put_kind(book, d, order, count);
    d->cells = an_arena_alloc(book->arena, d->rows * AN_PLACE_COLUMNS + 1, sizeof *d->cells);
    book->failed = book->failed || !d->cells;
    if (!book->failed) {
        put_kind(book, d, order, count);
    }
}

static void draw_kind(struct an_book *book, const struct an_item_carrier *const *order,
                      size_t count)
{
    struct an_table_column columns[2 * AN_PLACE_COLUMNS] = {{NULL, 1.7, AN_LEFT, false},
                                                            {"how sure", 0.75, AN_LEFT, false},
                                                            {"as", 0.7, AN_LEFT, true},
                                                            {"items", 0.6, AN_RIGHT, false},
                                                            {"which", 5.2, AN_LEFT, true}};
    struct an_place_rows d;
    size_t sides = 1;
    an_place_rows_of(book, order, count, &d);
    columns[0].title = d.placed ? "is now in" : "last seen at";
    if (d.longest <= SHORT_CELL && d.rows > 20) {
        sides = 2;
        columns[4].share = 3.0;
        memcpy(&columns[AN_PLACE_COLUMNS], columns, AN_PLACE_COLUMNS * sizeof *columns);
    }
    const char **cells = book->failed || sides == 1 ? d.cells : paired(book, &d);
    book->failed = book->failed || !cells;
    if (!book->failed) {
        const struct an_table table = {
            columns, sides * AN_PLACE_COLUMNS, cells, (d.rows + sides - 1) / sides, NULL, 7.0};
        an_book_table(book, an_say_many(book->arena, (int64_t)count, order[0]->kind_title), &table);
    }
}

void an_carriers_by_place(const struct an_item_data *data, const struct an_item_carrier **order)
{
    for (size_t i = 0; i < data->carrier_count; i++) {
        order[i] = &data->carriers[i];
    }
    if (data->carrier_count) {
        qsort(order, data->carrier_count, sizeof *order, by_row);
    }
}

void an_draw_carriers_by_place(struct an_book *book, const struct an_item_data *data)
{
    const struct an_item_carrier **order =
        an_alloc(data->carrier_count + 1, sizeof(struct an_item_carrier *));
    if (!order) {
        book->failed = true;
        return;
    }
    an_carriers_by_place(data, order);
    for (size_t from = 0, until = 0; from < data->carrier_count && !book->failed; from = until) {
        while (until < data->carrier_count &&
               !strcmp(order[from]->item.kind, order[until]->item.kind)) {
            until++;
        }
        draw_kind(book, order + from, until - from);
    }
    an_free(order);
}
