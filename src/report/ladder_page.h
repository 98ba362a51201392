/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Variance ladders as pages, one a stream: where its scatter comes from, level by level. The same
 * store and program give the same bytes: no clock, no zone of the machine, no paths.
 */
#ifndef AN_REPORT_LADDER_PAGE_H
#define AN_REPORT_LADDER_PAGE_H

#include "judge/components.h"
#include "judge/gauge.h"
#include "report/lone_page.h"

struct an_ladder_report {
    const char *path; /* of the PDF */
    const struct an_paper *paper;
    const char *program_version, *store_name;
    int64_t from_us, until_us; /* INT64_MIN, INT64_MAX: open */
    struct an_ledger_head head;
};
/* A page a stream, in their order; a stream without components gets a page that says why. On
 * failure there is no file. AN_TOO_FEW: no stream. */
AN_CHECKED enum an_status an_ladder_report_write(struct an_store *store, const struct an_line *line,
                                                 const struct an_stream streams[], size_t count,
                                                 const struct an_ladder_report *report,
                                                 struct an_error *err);

/* ---- parts of a page ---------------------------------------------------------------------------------- */
struct an_ladder_sight { /* all that a page shows */
    const struct an_ladder *ladder;
    const struct an_ladder_look *look;
    const struct an_stream_gauge *gauge;
    const char *title; /* of the stream, in words */
};
/* ladder_picture.c: bars of shares between two rails, and the values of each level beside them. */
double an_ladder_picture_height(const struct an_ladder_sight *sight);
void an_ladder_picture(struct an_lone_page *page, const struct an_ladder_sight *sight);
/* ladder_words.c; texts in the arena, NULL when memory is out. */
const char *an_ladder_lead(struct an_arena *arena, const struct an_ladder_sight *sight);
const char *an_ladder_advice(struct an_arena *arena, const struct an_ladder_sight *sight);
const char *an_ladder_method(struct an_arena *arena, const struct an_ladder_sight *sight);
const char *an_ladder_assumptions(struct an_arena *arena, const struct an_ladder_sight *sight);
const char *an_ladder_gauge_words(struct an_arena *arena, const struct an_ladder_sight *sight);
/* Three digits that count, zeros kept, so that columns of them can be compared. */
const char *an_ladder_digits(struct an_arena *arena, double value);

#endif
