/* SPDX-License-Identifier: GPL-3.0-or-later */
/* CSV out (RFC 4180, section 2), with texts that a spreadsheet would run made harmless. */
#include "andamento/base/csv_out.h"

#include "andamento/base/number.h"

#include <math.h>
#include <string.h>

static void separate(struct an_csv_out *csv)
{
    if (csv->fields++) {
        an_text_add_char(csv->out, ',');
    }
}

static bool would_run(const char *value)
{
    if (!strchr("=+-@\t\r", value[0]) || !value[0]) {
        return false;
    }
    struct an_decimal number;
    return an_decimal_parse(an_bytes_of(value), '.', 0, &number) != AN_OK;
}

void an_csv_out_text(struct an_csv_out *csv, const char *value)
{
    separate(csv);
    if (!value) {
        return;
    }
    const bool guard = would_run(value);
    if (!guard && !strpbrk(value, "\",\n\r") && value[0] != ' ') {
        an_text_add(csv->out, value);
        return;
    }
    an_text_add_char(csv->out, '"');
    if (guard) {
        an_text_add_char(csv->out, '\'');
    }
    for (const char *c = value; *c; c++) {
        if (*c == '"') {
            an_text_add_char(csv->out, '"');
        }
        an_text_add_char(csv->out, *c);
    }
    an_text_add_char(csv->out, '"');
}

void an_csv_out_number(struct an_csv_out *csv, double value)
{
    separate(csv);
    if (isfinite(value)) {
        char buffer[32];
        an_text_add(csv->out, an_number_shortest(value, buffer));
    }
}

void an_csv_out_integer(struct an_csv_out *csv, int64_t value)
{
    separate(csv);
    an_text_addf(csv->out, "%lld", (long long)value);
}

void an_csv_out_end_row(struct an_csv_out *csv)
{
    an_text_add_char(csv->out, '\n');
    csv->fields = 0;
}
