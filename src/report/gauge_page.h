/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One page on a study of a gauge. The same record and program give the same bytes: no clock, no
 * zone of the machine, no paths. One thread a page.
 */
#ifndef AN_REPORT_GAUGE_PAGE_H
#define AN_REPORT_GAUGE_PAGE_H

#include "andamento/draw/canvas.h"
#include "judge/gauge.h"

struct an_gauge_page {
    const char *path; /* of the PDF */
    const struct an_paper *paper;
    const char *program_version, *store_name;
    struct an_ledger_head head;
};
AN_CHECKED enum an_status an_gauge_page_write(const struct an_line *line,
                                              const struct an_gauge_result *result,
                                              const struct an_gauge_page *page,
                                              struct an_error *err);

/* Parts of the page (gauge_pictures.c); each draws into its box. false: memory was out. */
bool an_gauge_picture(struct an_canvas *canvas, const struct an_gauge_result *result,
                      const char *unit, const struct an_box *box, struct an_arena *arena);
bool an_gauge_bars(struct an_canvas *canvas, const struct an_gauge_result *result,
                   const struct an_box *box, struct an_arena *arena);
/* Of a stability study (gauge_stability_picture.c): its chart, and the bias over time. */
bool an_gauge_stability_picture(struct an_canvas *canvas, const struct an_gauge_result *result,
                                const struct an_box *box, struct an_arena *arena);
#define AN_STABILITY_PICTURE_PT 372.0
double an_gauge_picture_height(const struct an_gauge_result *result);
double an_gauge_bars_height(const struct an_gauge_result *result);

#endif
