/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Reports on a period. Of a shift: page one answers what changed, what is at risk, what is missing,
 * what is due; then a page for each signalled stream, the quiet streams as small multiples, and
 * intake health.
 * The same store and period give the same bytes: no clock, no zone of the machine, no paths.
 */
#ifndef AN_REPORT_REPORT_H
#define AN_REPORT_REPORT_H

#include "andamento/base/bytes.h"
#include "andamento/draw/canvas.h"
#include "andamento/store/store.h"
#include "line/line.h"
#include "report/definition.h"

struct an_period {
    int64_t from_us, until_us; /* half open */
    const char *label;         /* "2026-03-04 night", "2026-W10"; NULL: there is none */
};

struct an_report_options {
    enum an_report_kind kind;
    struct an_period now, before; /* the period, and the one it is compared with */
    const char *path;             /* of the PDF */
    const struct an_paper *paper;
    const char *program_version;
    size_t context; /* samples before the period that charts show too; 0: as the definition says */
    /* Another definition of order and content than the program's own; no bytes: its own. The
     * name stands in messages about mistakes in it. */
    struct an_bytes definition;
    const char *definition_name;
    /* Advice for a reason code of held rows, or NULL; intake has it, which lies beside us. */
    const char *(*held_advice)(const char *code);
};
struct an_report_result {
    int pages;
    size_t signals, streams;
    int64_t samples; /* of this period, all streams */
};
/* AN_BAD_CONFIG if the definition is wrong (text: name:line:column and what would be right);
 * AN_CANNOT_CREATE, AN_IO, AN_NO_MEMORY, and what reading the store answers. On failure there is
 * no file. */
AN_CHECKED enum an_status an_report_write(struct an_store *store, const struct an_line *line,
                                          const struct an_report_options *options,
                                          struct an_report_result *result, struct an_error *err);

/* Sets kind, now and before; labels live in the arena. AN_NO_MEMORY. */
AN_CHECKED enum an_status an_report_of_shift(const struct an_line *line,
                                             const struct an_shift *shift, struct an_arena *arena,
                                             struct an_report_options *options,
                                             struct an_error *err);
AN_CHECKED enum an_status an_report_of_week(const struct an_line *line, const struct an_week *week,
                                            struct an_arena *arena,
                                            struct an_report_options *options,
                                            struct an_error *err);

#endif
