/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A page that stands alone: what is written at its head and foot so that it can be told when it
 * comes loose, and the pen going down it. For pages of one subject, without a book around them. One
 * thread a page.
 */
#ifndef AN_REPORT_LONE_PAGE_H
#define AN_REPORT_LONE_PAGE_H

#include "andamento/base/memory.h"
#include "andamento/draw/canvas.h"
#include "andamento/store/store.h"
#include "line/line.h"

struct an_lone_page {
    struct an_canvas *canvas;
    struct an_arena *arena;
    const struct an_line *line;
    const struct an_paper *paper;
    double x, width, y; /* of the pen */
    bool failed;        /* memory was out */
    const char *ledger; /* the line of the foot that tells its head, */
    char root[65];      /* which is written large, then in full */
};
extern const struct an_type an_lone_lead, an_lone_body, an_lone_small, an_lone_note;

struct an_lone_page an_lone_page_of(struct an_canvas *canvas, const struct an_line *line,
                                    const struct an_paper *paper, struct an_arena *arena);
/* NULL becomes "" and is remembered. */
const char *an_lone_text(struct an_lone_page *page, const char *text);
/* The line's title, `which` on the right, `what` in small below; the pen goes below it. */
void an_lone_head(struct an_lone_page *page, const char *which, const char *what);
/* Up to four lines at the foot, the last one at the margin. */
void an_lone_foot(struct an_lone_page *page, const char *const lines[], size_t count);
double an_lone_foot_height(size_t lines);
/* The ledger's head as a line of the foot. */
const char *an_lone_ledger(struct an_lone_page *page, const struct an_ledger_head *head);
void an_lone_heading(struct an_lone_page *page, const char *text);
void an_lone_say(struct an_lone_page *page, const struct an_type *type, const char *text);

#endif
