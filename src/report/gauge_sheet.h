/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The page of a gauge study while it is drawn; shared by its parts only. */
#ifndef AN_REPORT_GAUGE_SHEET_H
#define AN_REPORT_GAUGE_SHEET_H

#include "report/gauge_page.h"
#include "report/lone_page.h"

struct an_gauge_sheet {
    struct an_lone_page lone;
    const struct an_gauge_result *r;
    const struct an_gauge_page *page;
    const char *unit; /* of the readings; NULL: not known */
};

/* text, or "" with the page marked as failed. */
const char *an_gauge_text(struct an_gauge_sheet *sheet, const char *text);
void an_gauge_heading(struct an_gauge_sheet *sheet, const char *text);
/* type NULL: the body's. */
void an_gauge_say(struct an_gauge_sheet *sheet, const struct an_type *type, const char *text);
/* The section "Numbers" (gauge_numbers.c). */
void an_gauge_numbers(struct an_gauge_sheet *sheet);

#endif
