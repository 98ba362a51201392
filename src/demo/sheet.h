/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One station file in the making, in the station's own dialect, and the folder it goes to. Fields
 * are bytes: a sheet knows no encoding. One thread a sheet.
 */
#ifndef AN_DEMO_SHEET_H
#define AN_DEMO_SHEET_H

#include "andamento/base/text.h"
#include "demo/demo_plan.h"

struct an_demo_sheet {
    struct an_text text;
    const struct an_zone *zone;
    char delimiter, mark; /* between fields; decimal mark */
    const char *line_end;
    size_t fields; /* so far in this row */
    int64_t rows;
};

void an_demo_sheet_start(struct an_demo_sheet *sheet, char delimiter, char mark,
                         const char *line_end, const struct an_zone *zone);
void an_demo_sheet_free(struct an_demo_sheet *sheet);
void an_demo_sheet_line(struct an_demo_sheet *sheet, const char *line); /* not a data row */
void an_demo_sheet_put(struct an_demo_sheet *sheet, const char *field);
void an_demo_sheet_letter(struct an_demo_sheet *sheet, char letter);
void an_demo_sheet_integer(struct an_demo_sheet *sheet, int64_t value);
void an_demo_sheet_number(struct an_demo_sheet *sheet, double value, int decimals); /* 0 to 6 */
/* An instant as the zone's clock shows it: 'R' RFC 3339 with offset, 'I' 2026-03-02 06:00:00,
 * 'D' 02.03.2026 06:00:00, 'S' 02/03/2026 06:00:00, 'C' 20260302T060000. */
void an_demo_sheet_time(struct an_demo_sheet *sheet, char form, int64_t at_us);
void an_demo_sheet_end(struct an_demo_sheet *sheet); /* of a data row */

#endif
