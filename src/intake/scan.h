/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Parts plain lines into fields, many bytes at a time. Any thread.
 *
 * A line is plain if it ends in LF or CRLF, has exactly the fields that were asked for, and holds
 * nothing but printing ASCII characters, no quote among them. Of such a line every reader of CSV
 * makes the same fields: they stand between the delimiters as they are. All others are left to the
 * CSV library.
 */
#ifndef AN_INTAKE_SCAN_H
#define AN_INTAKE_SCAN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { AN_SCAN_ROOM = 64 + 16 }; /* places in the list behind the last one that may be written */

enum an_scan_how { AN_SCAN_BEST, AN_SCAN_WORDS, AN_SCAN_SSE2, AN_SCAN_AVX2 };

struct an_scan {
    size_t rows;   /* plain lines in a row, from the beginning of the text */
    bool is_stuck; /* what follows them is no plain line; else the text or the room ended */
};

/*
 * Places of the delimiters and line feeds of the first plain lines, as offsets in the text: `fields`
 * a line, the line feed last. at[0] is set to UINT32_MAX, so that field f of line r lies between
 * at[r * fields + f] + 1 and at[r * fields + f + 1], less the CR at the end of a line. `at` has
 * room for 1 + most_rows * fields + AN_SCAN_ROOM places. The text is shorter than 4 GiB.
 */
struct an_scan an_scan_lines(const unsigned char *text, size_t length, char delimiter,
                             size_t fields, size_t most_rows, uint32_t *at);
/* The same in a given way, for tests; false if this processor cannot. */
bool an_scan_lines_by(enum an_scan_how how, const unsigned char *text, size_t length,
                      char delimiter, size_t fields, size_t most_rows, uint32_t *at,
                      struct an_scan *scan);

#endif
