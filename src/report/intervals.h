/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Lists whose rows hold texts and, on a scale that all rows share, an estimate with its bounds and
 * where it stood before: what tables of yields, rates and indices are made of. One thread a book.
 */
#ifndef AN_REPORT_INTERVALS_H
#define AN_REPORT_INTERVALS_H

#include "report/book.h"

enum { AN_INTERVAL_COLUMNS = 7, AN_INTERVAL_TICKS = 4 };

struct an_interval_column {
    const char *title;
    double share; /* of the width, relative to the others */
    enum an_align align;
    bool is_plot;  /* the scale stands here; one column at most */
    bool is_title; /* a stream's title, cut in the middle (an_book_title) */
};
struct an_interval_row {
    const char *cells[AN_INTERVAL_COLUMNS]; /* NULL draws nothing */
    double value, low, high;                /* NAN: not drawn */
    double before;                          /* where it stood in the last period, or NAN */
    bool strong;                            /* told in the signal's ink: needs a look */
    const char *link;                       /* destination or NULL */
};
struct an_interval_list {
    const struct an_interval_column *columns;
    size_t column_count;
    const struct an_interval_row *rows;
    size_t row_count;
    double scale_low, scale_high; /* of the plot; what lies outside is drawn at its end */
    double ticks[AN_INTERVAL_TICKS];
    const char *tick_labels[AN_INTERVAL_TICKS];
    size_t tick_count;
};

double an_intervals_height(const struct an_interval_list *list, size_t rows);
/* Rows [first, first + rows) with the head above them; returns the height used. */
double an_intervals_draw(struct an_book *book, const struct an_interval_list *list, double x,
                         double y, double width, size_t first, size_t rows);
/* The whole list at the pen, over as many pages as it takes, the heading repeated on each. */
void an_intervals_flow(struct an_book *book, const char *heading,
                       const struct an_interval_list *list);

#endif
