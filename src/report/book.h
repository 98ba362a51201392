/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A report being composed: the canvas, the page in hand with its header and footer, and the pen
 * going down it. Composed again and again, each pass knowing from the one before how many pages
 * there are, where each destination lies and how much found no room, until a pass finds what it
 * knew: that one is printed. One thread a book.
 */
#ifndef AN_REPORT_BOOK_H
#define AN_REPORT_BOOK_H

#include "andamento/draw/canvas.h"
#include "andamento/draw/table.h"
#include "report/period_data.h"

struct an_page_mark {
    const char *name;
    int page;
    double shrink_pt; /* how much lower the charts of its page should be, so that the rest fits;
                         -1: that would not help */
};

struct an_book {
    struct an_canvas *canvas;
    const struct an_period_data *data;
    const struct an_paper *paper;
    struct an_arena *arena; /* texts made while composing; dies with this pass */
    struct an_box body;     /* between header and footer */
    double y;               /* the pen: top of what comes next */
    bool open;              /* a page is in hand */
    int pages_known;        /* from the pass before; 0 in the first */
    const struct an_page_mark *known;
    size_t known_count;
    struct an_page_mark *marks; /* of this pass, in an array of the book's own */
    size_t mark_count, mark_room;
    bool failed; /* memory was out */
};

enum an_book_type {
    AN_TYPE_LEAD,    /* the sentence that opens a page */
    AN_TYPE_SECTION, /* a heading inside a page */
    AN_TYPE_BODY,
    AN_TYPE_STRONG,
    AN_TYPE_SMALL,
    AN_TYPE_NOTE, /* grey, smallest */
    AN_TYPE_COUNT
};
const struct an_type *an_book_type(enum an_book_type type);

/* A new page with its header and footer; the pen is at the top of the body. */
void an_book_page(struct an_book *book);
double an_book_room(const struct an_book *book); /* from the pen to the body's end */
/* A destination here; the name must live as long as the book. */
void an_book_mark(struct an_book *book, const char *name);
/* How much lower the charts of a destination's page should be, from the pass before; 0 in the
 * first; -1: it would not help. */
double an_book_shrink_of(const struct an_book *book, const char *name);
/* The page of a destination, from the pass before; 0 in the first. */
int an_book_page_of(const struct an_book *book, const char *name);
/* "page 3", or "" when nothing is known of it. */
const char *an_book_page_words(struct an_book *book, const char *name);

/* Wrapped text at the pen, over the body's width; the pen moves below it by `after`. */
void an_book_say(struct an_book *book, enum an_book_type type, double after, const char *text);
/* One line: a stream's title cut so that what tells it from its neighbours, behind the first
 * comma, stays as long as it can. */
void an_book_title(struct an_book *book, double x, double y_baseline, double width,
                   const struct an_type *type, const char *title);
/* A heading with a thin line under it. */
void an_book_heading(struct an_book *book, const char *text);
/* A whole table, over as many pages as it takes; `heading` is repeated on each (NULL: none). */
void an_book_table(struct an_book *book, const char *heading, const struct an_table *table);

/* Memory that was out shows as "". */
const char *an_book_text(struct an_book *book, const char *text);

/* ---- pages, each over as many sheets of paper as it takes ----------------------------------- */
void an_compose_front(struct an_book *book, const struct an_report_page *page);
void an_compose_streams(struct an_book *book, const struct an_report_page *page);
void an_compose_quiet(struct an_book *book, const struct an_report_page *page);
void an_compose_intake(struct an_book *book, const struct an_report_page *page);
/* Of a week. */
void an_compose_week_front(struct an_book *book, const struct an_report_page *page);
void an_compose_week_capability(struct an_book *book, const struct an_report_page *page);
void an_compose_week_yield(struct an_book *book, const struct an_report_page *page);
/* Cautions of page one: their height, and drawn at the foot of the body. */
double an_cautions_height(struct an_book *book, const struct an_report_page *page);
void an_cautions_draw(struct an_book *book, const struct an_report_page *page, double height);

#endif
