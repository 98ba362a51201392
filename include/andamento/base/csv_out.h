/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * CSV as RFC 4180 has it, UTF-8, LF, point as decimal mark. A text that a spreadsheet would take
 * for a formula (it begins with = + - @ TAB or CR and is not a number) gets an apostrophe before
 * it. One thread a writer.
 */
#ifndef ANDAMENTO_BASE_CSV_OUT_H
#define ANDAMENTO_BASE_CSV_OUT_H

#include "andamento/base/text.h"

#include <stdint.h>

struct an_csv_out {
    struct an_text *out; /* the caller's */
    size_t fields;       /* so far in this row */
};

void an_csv_out_text(struct an_csv_out *csv, const char *value); /* NULL is an empty field */
void an_csv_out_number(struct an_csv_out *csv, double value);    /* NaN is an empty field */
void an_csv_out_integer(struct an_csv_out *csv, int64_t value);
void an_csv_out_end_row(struct an_csv_out *csv);

#endif
