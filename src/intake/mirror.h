/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The original of a file kept as its columns (store/layout.h): what the blocks hold anyway, words for
 * the fields they lack, and as they are those lines that would not come back from these. One thread.
 *
 * A row is kept by its columns only if its bytes come back from them, which is checked row by row as
 * it is taken. If too much has to be kept as it is, `failed` is set, and the file has to be read
 * again with its original as one zstd frame.
 */
#ifndef AN_INTAKE_MIRROR_H
#define AN_INTAKE_MIRROR_H

#include "intake/fields.h"
#include "intake/header.h"
#include "intake/lines.h"
#include "intake/outbox.h"
#include "intake/row.h"
#include "store/layout.h"

struct an_columns;

struct an_mirror_words { /* texts of a field that the blocks have no texts of */
    size_t field;
    struct an_names *words;
    uint32_t *codes; /* a row of the block */
    struct an_bytes last;
    uint32_t last_code;
};

struct an_mirror_field {
    size_t column; /* of the plan, whose block it is; AN_NONE */
    size_t words;  /* else index of its own words */
    bool is_number;
    size_t blob[3], blob_length[3]; /* in `blobs`: numbers, decimals, texts */
};

struct an_mirror {
    const struct an_plan *plan;
    bool failed;
    size_t field_count;
    struct an_mirror_field *fields; /* NULL before the header is read */
    struct an_mirror_words *words;
    size_t word_count;
    size_t capacity; /* of their codes */
    bool crlf, crlf_known;
    /* lines that are kept as they are, of the rows at hand */
    int64_t *places; /* 2 * row + skip */
    size_t *ends;    /* of their bytes */
    size_t raw_count, places_capacity, ends_capacity;
    struct an_text raw;
    uint64_t raw_total, bytes; /* kept as they are; in all */
    struct an_text blobs, piece;
};

void an_mirror_open(struct an_mirror *mirror, const struct an_plan *plan);
void an_mirror_close(struct an_mirror *mirror); /* all zeroes is fine */
/* Which fields there are. False: memory. */
bool an_mirror_header(struct an_mirror *mirror, const struct an_header *header,
                      const struct an_columns *columns);
/* Bytes that are no taken row, before the row that comes next. False: memory. */
bool an_mirror_raw(struct an_mirror *mirror, size_t rows, const unsigned char *at, size_t length);
/* The row that was added last to the columns. False: memory. */
bool an_mirror_row(struct an_mirror *mirror, const struct an_columns *columns,
                   const struct an_row *row, const struct an_fields *fields,
                   const struct an_record *record);
/* The next row, whose bytes do not come back. */
bool an_mirror_odd(struct an_mirror *mirror, size_t row, const unsigned char *at, size_t length);
/* The text of a field of such a row or of one whose bytes do. False: memory. */
bool an_mirror_word(struct an_mirror_words *words, size_t row, struct an_bytes text);
bool an_mirror_room(struct an_mirror *mirror, size_t rows); /* for codes. False: memory */

/* From the columns, as they are given away: which: 0 numbers, 1 decimals, 2 texts. */
void an_mirror_packed(struct an_mirror *mirror, size_t column, int which, struct an_bytes packed);
/* Ends a piece of so many rows and gives it away, if there is anything in it. */
AN_CHECKED enum an_status an_mirror_piece(struct an_mirror *mirror, struct an_outbox *outbox,
                                          size_t rows, struct an_error *err);

#endif
