/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * An original as columns: a piece holds the lines of a stretch of the file, each column packed
 * (packed.h), and from it the bytes of those lines come back. Pure: no SQL, no I/O. Any thread.
 *
 * Whole numbers little end first. A piece begins with 24 bytes:
 *   0-3    "AnL1"
 *   4      the delimiter
 *   5      the line end: 1 LF, 2 CR LF
 *   6      the decimal mark
 *   7      0
 *   8-11   rows: lines made of the columns
 *   12-15  fields of such a line
 *   16-19  raw texts
 *   20-23  0
 * then for each field a byte, 1 numbers or 2 texts, and its columns; each column is 4 bytes of
 * length and a block as in packed.h, or only 4 bytes of 0 if it is not there:
 *   1  numbers; decimals of each number (absent: those of the block); texts of the missing numbers
 *   2  texts
 * and, if there are raw texts, two more columns: numbers 2 * row + skip, rising by row, and texts.
 *
 * Bytes: for each row, first the raw texts of that row, as they are; then, unless one of them has
 * skip, the fields with delimiters between them and the line end behind; at last the raw texts of
 * the row that would come next. A number is written as its digits, at least one before the mark and
 * `decimals` behind it, with - if it is below zero, and no mark if decimals is 0.
 */
#ifndef AN_STORE_LAYOUT_H
#define AN_STORE_LAYOUT_H

#include "andamento/base/bytes.h"
#include "andamento/base/status.h"
#include "andamento/base/text.h"
#include "store/packed.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define AN_FORM_FRAME 1   /* pieces of one zstd frame */
#define AN_FORM_COLUMNS 2 /* each piece as told above */

struct an_layout_field { /* blocks that were packed; no bytes: absent */
    bool is_number;
    struct an_bytes numbers, decimals, texts;
};

struct an_layout {
    char delimiter, mark;
    bool crlf;
    size_t rows, field_count;
    const struct an_layout_field *fields;
    size_t raw_count;
    struct an_bytes raw_places, raw_texts; /* packed */
};

/* Adds the piece's bytes to the text. */
void an_layout_write(const struct an_layout *layout, struct an_text *out);
/* Hands the lines' bytes to the sink, which stops with anything but 0 (AN_IO). AN_DOMAIN: no such
 * piece; AN_NO_MEMORY. */
AN_CHECKED enum an_status an_layout_expand(struct an_packer *packer, struct an_bytes bytes,
                                           int (*sink)(void *context, const void *at,
                                                       size_t length),
                                           void *context, int64_t *length);
/* Is the text what the number's digits make, so that it comes back from them? */
bool an_layout_is_plain(struct an_bytes text, char mark);

#endif
