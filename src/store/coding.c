/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Canonical bytes of a row. It must never depend on the machine's byte order or on the locale. */
#include "store/coding.h"

#include <string.h>

static void tagged(struct an_text *row, unsigned char tag, uint64_t value)
{
    unsigned char out[9];
    out[0] = tag;
    for (int k = 0; k < 8; k++) {
        out[1 + k] = (unsigned char)(value >> (8 * (7 - k)));
    }
    an_text_add_bytes(row, (struct an_bytes){out, sizeof out});
}

void an_code_null(struct an_text *row)
{
    an_text_add_char(row, 'n');
}

void an_code_int(struct an_text *row, int64_t value)
{
    tagged(row, 'i', (uint64_t)value);
}

void an_code_real(struct an_text *row, double value)
{
    const double plain = value + 0.0; /* SQLite keeps -0.0 as 0 */
    uint64_t bits = 0;
    memcpy(&bits, &plain, sizeof bits);
    tagged(row, 'r', bits);
}

void an_code_text(struct an_text *row, struct an_bytes value)
{
    tagged(row, 't', value.length);
    an_text_add_bytes(row, value);
}

void an_code_blob(struct an_text *row, struct an_bytes value)
{
    tagged(row, 'b', value.length);
    an_text_add_bytes(row, value);
}
