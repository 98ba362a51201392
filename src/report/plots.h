/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * From a stream's sheet to a chart: large on its own page, small on page one and among the quiet
 * streams. All small charts share one time axis.
 */
#ifndef AN_REPORT_PLOTS_H
#define AN_REPORT_PLOTS_H

#include "report/book.h"

/* Fills the box. `signal` gives the onset and may be NULL. Returns the height used. */
double an_plot_large(struct an_book *book, const struct an_box *box,
                     const struct an_stream_sheet *sheet, int panel,
                     const struct an_period_signal *signal);
void an_plot_small(struct an_book *book, const struct an_box *box,
                   const struct an_stream_sheet *sheet, int panel, const char *title);
/* The shared axis of the small charts, told once above them: days and shifts. */
double an_plot_axis(struct an_book *book, double x, double y, double width);

#endif
