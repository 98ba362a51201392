/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Tables and bars on a page. Plain data in, marks out.
 */
#ifndef ANDAMENTO_DRAW_TABLE_H
#define ANDAMENTO_DRAW_TABLE_H

#include "andamento/draw/canvas.h"

struct an_table_column {
    const char *title;
    double share; /* of the width, relative to the others */
    enum an_align align;
    bool wrap; /* long texts wrap; otherwise cut with an ellipsis */
};
struct an_table {
    const struct an_table_column *columns;
    size_t column_count;
    const char *const *cells; /* row by row; NULL draws nothing */
    size_t row_count;
    const char *const *links; /* one a row, or NULL */
    double size_pt;
};
/* Draws rows [first, ...) while they fit in the box; *next is the first row not drawn. The head
 * is drawn each time. Returns the height used. *next == first: not even that row fits, take a new
 * page; a cell is cut after twelve lines, so that any row fits a box 20 lines high. */
double an_table_draw(struct an_canvas *canvas, const struct an_box *box,
                     const struct an_table *table, size_t first, size_t *next);

#endif
