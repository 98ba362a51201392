/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The shift report: page one answers what changed, what is at risk, what is missing, what is due;
 * then a page for each signalled stream, the quiet streams as small multiples, and intake health.
 * The same store and period give the same bytes.
 */
#ifndef AN_REPORT_SHIFT_REPORT_H
#define AN_REPORT_SHIFT_REPORT_H

#include "andamento/draw/canvas.h"
#include "andamento/store/store.h"
#include "line/line.h"

struct an_shift_report_options {
    struct an_shift shift;
    const char *path; /* of the PDF */
    const struct an_paper *paper;
    const char *program_version;
    size_t context; /* samples before the shift that charts show too; 60 */
};
struct an_shift_report_result {
    int pages;
    size_t signals, streams;
};
/* AN_NOT_FOUND if the store has no line description; AN_CANNOT_CREATE, AN_IO ... */
AN_CHECKED enum an_status an_shift_report(struct an_store *store, const struct an_line *line,
                                          const struct an_shift_report_options *options,
                                          struct an_shift_report_result *result,
                                          struct an_error *err);

#endif
