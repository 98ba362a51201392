/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Tables: a head that is repeated, rows that stay whole, columns by share. Must never draw a row
 * in part: a row that does not fit waits for the next box.
 *
 * The hard idea: a cell never takes more than MOST_LINES lines, so any row fits a page of its own
 * and a caller that goes on to a new page always makes progress.
 */
#include "andamento/draw/table.h"

#include "draw/canvas_inner.h"

enum { MOST_LINES = 12 };
#define CELL_GAP_PT 7.0
#define ROW_PAD_PT 1.8

struct table_place {
    struct an_canvas *canvas;
    const struct an_box *box;
    const struct an_table *table;
    double share_sum;
};

static double usable_share(double share)
{
    return share > 0 ? share : 0;
}

/* Left edge and width of a column's text. */
static void column_place(const struct table_place *place, size_t column, double *x, double *width)
{
    const size_t n = place->table->column_count;
    const double free_width = place->box->width - CELL_GAP_PT * (double)(n - 1);
    double before = 0;
    for (size_t i = 0; i < column; i++) {
        before += usable_share(place->table->columns[i].share);
    }
    const double of_all = place->share_sum > 0 ? place->share_sum : 1;
    *x = place->box->x + free_width * before / of_all + CELL_GAP_PT * (double)column;
    *width = free_width * usable_share(place->table->columns[column].share) / of_all;
}

/* Height of a row's tallest cell; draws it if asked to. */
static double row(const struct table_place *place, const char *const *cells,
                  const struct an_type *base, double y, bool draw)
{
    double tallest = an_text_height(place->canvas, 0, base, "0");
    for (size_t i = 0; i < place->table->column_count; i++) {
        const struct an_table_column *column = &place->table->columns[i];
        double x, width;
        column_place(place, i, &x, &width);
        if (!cells[i] || !*cells[i] || !(width > 1)) {
            continue;
        }
        struct an_type type = *base;
        type.align = column->align;
        const double height = an_text_lines(place->canvas, x, y, width,
                                            column->wrap ? MOST_LINES : 1, &type, cells[i], draw);
        tallest = height > tallest ? height : tallest;
    }
    return tallest;
}

static double head(const struct table_place *place, const struct an_type *type, bool draw)
{
    double tallest = 0;
    for (size_t i = 0; i < place->table->column_count; i++) {
        double x, width;
        column_place(place, i, &x, &width);
        struct an_type set = *type;
        set.align = place->table->columns[i].align;
        const char *title = place->table->columns[i].title;
        if (title && *title && width > 1) {
            const double h =
                an_text_lines(place->canvas, x, place->box->y, width, 2, &set, title, false);
            tallest = h > tallest ? h : tallest;
        }
    }
    for (size_t i = 0; draw && i < place->table->column_count; i++) {
        double x, width;
        column_place(place, i, &x, &width);
        struct an_type set = *type;
        set.align = place->table->columns[i].align;
        const char *title = place->table->columns[i].title;
        if (title && *title && width > 1) { /* titles stand on the line below them */
            const double h =
                an_text_lines(place->canvas, x, place->box->y, width, 2, &set, title, false);
            an_text_lines(place->canvas, x, place->box->y + tallest - h, width, 2, &set, title,
                          true);
        }
    }
    return tallest > 0 ? tallest + ROW_PAD_PT : 0;
}

double an_table_draw(struct an_canvas *canvas, const struct an_box *box,
                     const struct an_table *table, size_t first, size_t *next)
{
    struct table_place place = {canvas, box, table, 0};
    for (size_t i = 0; i < table->column_count; i++) {
        place.share_sum += usable_share(table->columns[i].share);
    }
    *next = first;
    if (table->column_count == 0 || first >= table->row_count) {
        *next = table->row_count; /* nothing to draw: done */
        return 0;
    }
    if (!(box->width > 0)) {
        return 0;
    }
    const double size = table->size_pt >= AN_LEAST_TYPE_PT ? table->size_pt : AN_LEAST_TYPE_PT;
    const struct an_type head_type = {size > 8 ? size - 1 : size, AN_BOLD, AN_GREY, AN_LEFT};
    const struct an_type body = {size, AN_REGULAR, AN_INK, AN_LEFT};

    const double bottom = box->y + box->height + 1e-6;
    double y = box->y + head(&place, &head_type, false);
    const char *const *cells = table->cells + first * table->column_count;
    if (y + 2 * ROW_PAD_PT + row(&place, cells, &body, y, false) > bottom) {
        return 0; /* no head without a row under it */
    }
    head(&place, &head_type, true);
    an_draw_line(canvas, box->x, y, box->x + box->width, y, 0.7, AN_INK);
    for (; *next < table->row_count; (*next)++) {
        cells = table->cells + *next * table->column_count;
        const double height = 2 * ROW_PAD_PT + row(&place, cells, &body, y, false);
        if (y + height > bottom) {
            break;
        }
        if (*next > first) {
            an_draw_line(canvas, box->x, y, box->x + box->width, y, 0.4, AN_PALE);
        }
        row(&place, cells, &body, y + ROW_PAD_PT, true);
        if (table->links && table->links[*next]) {
            const struct an_box whole = {box->x, y, box->width, height};
            an_canvas_link(canvas, &whole, table->links[*next]);
        }
        y += height;
    }
    return y - box->y;
}
