/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The three lists of page one (at risk, missing, due) as short lines with a mark before each,
 * made before anything is drawn so that their room is known. Each is bounded: what is left out is
 * counted and the page that has it is named.
 */
#ifndef AN_REPORT_BULLETS_H
#define AN_REPORT_BULLETS_H

#include "report/book.h"

enum { AN_BULLETS_MOST = 24 };

struct an_bullet {
    const char *text;
    bool strong, inner; /* the list's own answer; a line under the one before */
    const char *link;   /* destination or NULL */
};
struct an_bullets {
    struct an_bullet at[AN_BULLETS_MOST];
    size_t count;
};

/* strong: the list's own answer; inner: a line under the one before. What is too much is dropped. */
void an_bullets_add(struct an_book *book, struct an_bullets *bullets, bool strong, bool inner,
                    const char *link, const char *text);
struct an_bullets an_bullets_at_risk(struct an_book *book);
struct an_bullets an_bullets_missing(struct an_book *book);
struct an_bullets an_bullets_due(struct an_book *book);
double an_bullets_height(struct an_book *book, const struct an_bullets *bullets, double width);
void an_bullets_draw(struct an_book *book, const struct an_bullets *bullets, double x, double y,
                     double width);

#endif
