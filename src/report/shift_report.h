/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The shift report: page one answers what changed, what is at risk, what is missing, what is due;
 * then a page for each signalled stream, the quiet streams as small multiples, and intake health.
 * The same store and period give the same bytes: no clock, no zone of the machine, no paths.
 */
#ifndef AN_REPORT_SHIFT_REPORT_H
#define AN_REPORT_SHIFT_REPORT_H

#include "andamento/base/bytes.h"
#include "andamento/draw/canvas.h"
#include "andamento/store/store.h"
#include "line/line.h"

struct an_shift_report_options {
    struct an_shift shift;
    const char *path; /* of the PDF */
    const struct an_paper *paper;
    const char *program_version;
    size_t context; /* samples before the shift that charts show too; 0: as the definition says */
    /* Another definition of order and content than the program's own; no bytes: its own. The
     * name stands in messages about mistakes in it. */
    struct an_bytes definition;
    const char *definition_name;
    /* Advice for a reason code of held rows, or NULL; intake has it, which lies beside us. */
    const char *(*held_advice)(const char *code);
};
struct an_shift_report_result {
    int pages;
    size_t signals, streams;
    int64_t samples; /* of this shift, all streams */
};
/* AN_BAD_CONFIG if the definition is wrong (text: name:line:column and what would be right);
 * AN_CANNOT_CREATE, AN_IO, AN_NO_MEMORY, and what reading the store answers. On failure there is
 * no file. */
AN_CHECKED enum an_status an_shift_report(struct an_store *store, const struct an_line *line,
                                          const struct an_shift_report_options *options,
                                          struct an_shift_report_result *result,
                                          struct an_error *err);

#endif
