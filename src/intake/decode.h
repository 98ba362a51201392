/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Bytes of a file into UTF-8, piece by piece. One thread a decoder.
 *
 * A mark at the start of the file beats the declared encoding. UTF-8 is passed on as it is: whether
 * each row is well-formed is asked of the row (an_decode_judge_row), since one broken row need not
 * cost the file.
 */
#ifndef AN_INTAKE_DECODE_H
#define AN_INTAKE_DECODE_H

#include "intake/hold.h"
#include "line/line.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { AN_SNIFF_BYTES = 4096 };

enum an_coding { AN_CODING_UTF8, AN_CODING_LATIN1, AN_CODING_1252, AN_CODING_16LE, AN_CODING_16BE };

struct an_decoder {
    enum an_coding coding;
    const char *mark;       /* name of the mark that was found, or NULL */
    uint64_t offset;        /* bytes of the file taken so far */
    unsigned char carry[4]; /* bytes of a UTF-16 character cut by the end of a piece */
    size_t carried;
    bool broken;    /* the byte at `offset` is no text in this encoding; nothing follows */
    bool many_byte; /* a well-formed character of several bytes was seen (UTF-8) */
};

/* Looks at the first bytes (up to AN_SNIFF_BYTES): sets the coding, or complains that this is no
 * text or not the declared encoding. *skip is the length of the mark. */
bool an_decode_begin(struct an_decoder *decoder, enum an_encoding declared, const void *head,
                     size_t length, size_t *skip, struct an_complaint *complaint);
/* Room that `length` bytes may need once decoded. */
size_t an_decode_room(const struct an_decoder *decoder, size_t length);
/* Decodes into `out`, which has that much room; returns the bytes written. With `last`, what is
 * left of a cut character becomes U+FFFD. */
size_t an_decode(struct an_decoder *decoder, const unsigned char *at, size_t length, bool last,
                 unsigned char *out);
/* Is the row well-formed? If not: AN_HOLD_ROW_ENCODING when it looks like a damaged character,
 * AN_HOLD_ENCODING_INVALID or _MIXED when it looks like text in a single-byte encoding; *at is the
 * offset in the row. */
enum an_hold_reason an_decode_judge_row(struct an_decoder *decoder, struct an_bytes row,
                                        size_t *at);

#endif
