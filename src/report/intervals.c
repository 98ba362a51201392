/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Draws rows of texts with an estimate and its bounds on a shared scale. Responsible for keeping a
 * row readable without the picture: every number drawn also stands in a cell.
 */
#include "report/intervals.h"

#include <math.h>

#define ROW_PT 12.0
#define HEAD_PT 13.0
#define PAD_PT 5.0

struct placing {
    double left, width; /* of the plot */
    double low, high;
};

double an_intervals_height(const struct an_interval_list *list, size_t rows)
{
    (void)list;
    return HEAD_PT + ROW_PT * (double)rows;
}

static double place(const struct placing *p, double value)
{
    const double span = p->high - p->low;
    double share = span > 0 ? (value - p->low) / span : 0.5;

    share = share < 0 ? 0 : share > 1 ? 1 : share;
    return p->left + share * p->width;
}

static void draw_estimate(struct an_book *book, const struct placing *p,
                          const struct an_interval_row *row, double middle)
{
    const enum an_ink ink = row->strong ? AN_SIGNAL : AN_INK;

    if (isfinite(row->before)) { /* a short upright stroke */
        const double x = place(p, row->before);

        an_draw_line(book->canvas, x, middle - 3.6, x, middle + 3.6, 0.8, AN_RAIL);
    }
    if (!isfinite(row->value)) {
        return;
    }
    const double x = place(p, row->value);
    if (isfinite(row->low) && isfinite(row->high)) {
        an_draw_line(book->canvas, place(p, row->low), middle, place(p, row->high), middle, 1.1,
                     ink);
    }
    an_draw_dots(book->canvas, &x, &middle, 1, 4.4, ink);
    if (row->value > p->high || row->value < p->low) { /* lies off the scale: an open end */
        const double tip = row->value > p->high ? x + 4.5 : x - 4.5;
        const double base = row->value > p->high ? x + 1.5 : x - 1.5;
        const double xs[] = {base, tip, base};
        const double ys[] = {middle - 2.4, middle, middle + 2.4};

        an_draw_polygon(book->canvas, xs, ys, 3, ink);
    }
}

static void draw_cell(struct an_book *book, const struct an_interval_column *column, double x,
                      double width, double baseline, const char *text, bool strong)
{
    const struct an_type type = {8.0, strong ? AN_BOLD : AN_REGULAR, AN_INK, column->align};

    if (!text || !*text) {
        return;
    }
    if (column->is_title) {
        an_book_title(book, x, baseline, width, &type, text);
    } else {
        an_text_draw_fitted(book->canvas, x, baseline, width, &type, text);
    }
}

static void draw_head(struct an_book *book, const struct an_interval_list *list, double x, double y,
                      double width, double shares, struct placing *p)
{
    double left = x;

    for (size_t c = 0; c < list->column_count; c++) {
        const struct an_interval_column *column = &list->columns[c];
        const double wide = width * column->share / shares;
        const struct an_type type = {7.0, AN_BOLD, AN_GREY, column->align};
        const struct an_type tick_type = {7.0, AN_REGULAR, AN_GREY, AN_CENTRE};

        if (column->is_plot) {
            *p = (struct placing){left + PAD_PT, wide - 2 * PAD_PT - 4, list->scale_low,
                                  list->scale_high};
            for (size_t t = 0; t < list->tick_count; t++) {
                const double at = place(p, list->ticks[t]);
                const char *label = list->tick_labels[t];
                if (label) { /* centred, but inside the column */
                    const double half = an_text_width(book->canvas, &tick_type, label) / 2;
                    const double end = left + wide - 2 - half;
                    const double at_least = left + 1 + half;
                    const double centre = fmin(fmax(at, at_least), end);
                    an_text_draw_fitted(book->canvas, centre - half - 1, y + 8, 2 * half + 2,
                                        &tick_type, label);
                }
            }
        } else if (column->title) {
            an_text_draw_fitted(book->canvas, left, y + 8, wide - 4, &type, column->title);
        }
        left += wide;
    }
    an_draw_line(book->canvas, x, y + HEAD_PT - 2, x + width, y + HEAD_PT - 2, 0.4, AN_RAIL);
}

double an_intervals_draw(struct an_book *book, const struct an_interval_list *list, double x,
                         double y, double width, size_t first, size_t rows)
{
    struct placing p = {0};
    double shares = 0;

    for (size_t c = 0; c < list->column_count; c++) {
        shares += list->columns[c].share;
    }
    draw_head(book, list, x, y, width, shares, &p);
    const double top = y + HEAD_PT;
    for (size_t t = 0; t < list->tick_count && p.width > 0; t++) {
        const double at = place(&p, list->ticks[t]);
        an_draw_line(book->canvas, at, top - 2, at, top + ROW_PT * (double)rows - 1, 0.4, AN_PALE);
    }
    for (size_t i = 0; i < rows && first + i < list->row_count; i++) {
        const struct an_interval_row *row = &list->rows[first + i];
        const double row_top = top + ROW_PT * (double)i;
        double left = x;

        for (size_t c = 0; c < list->column_count; c++) {
            const double wide = width * list->columns[c].share / shares;
            if (!list->columns[c].is_plot) {
                draw_cell(book, &list->columns[c], left, wide - 4, row_top + 8.6, row->cells[c],
                          row->strong && c == 0);
            }
            left += wide;
        }
        if (p.width > 0) {
            draw_estimate(book, &p, row, row_top + 5.8);
        }
        if (row->link) {
            const struct an_box box = {x, row_top, width, ROW_PT};
            an_canvas_link(book->canvas, &box, row->link);
        }
    }
    return an_intervals_height(list, rows);
}

void an_intervals_flow(struct an_book *book, const char *heading,
                       const struct an_interval_list *list)
{
    size_t done = 0;

    while (done < list->row_count && !book->failed) {
        if (an_book_room(book) < 18 + HEAD_PT + 2 * ROW_PT) {
            an_book_page(book);
        }
        an_book_heading(
            book, done ? an_book_text(book, an_arena_printf(book->arena, "%s, continued", heading))
                       : heading);
        size_t fit = (size_t)((an_book_room(book) - HEAD_PT) / ROW_PT);
        fit = fit < 1 ? 1 : fit;
        const size_t rows = list->row_count - done < fit ? list->row_count - done : fit;

        book->y +=
            an_intervals_draw(book, list, book->body.x, book->y, book->body.width, done, rows) + 10;
        done += rows;
    }
}
