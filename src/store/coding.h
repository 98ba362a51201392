/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The canonical bytes of a stored row, which the digest of a file is made of (docs/store.md).
 *
 * A row is its values in the order of the part's query, one after the other:
 *   n                       NULL
 *   i, 8 bytes              integer, two's complement, big end first
 *   r, 8 bytes              real, IEEE 754 binary64, big end first; -0 is written as +0
 *   t, 8 bytes, the bytes   text: its length in bytes as above, then UTF-8
 *   b, 8 bytes, the bytes   blob, likewise
 * Pure. One thread a text.
 */
#ifndef AN_STORE_CODING_H
#define AN_STORE_CODING_H

#include "andamento/base/bytes.h"
#include "andamento/base/text.h"

#include <stdint.h>

void an_code_null(struct an_text *row);
void an_code_int(struct an_text *row, int64_t value);
void an_code_real(struct an_text *row, double value); /* finite or infinite, not NaN */
void an_code_text(struct an_text *row, struct an_bytes value);
void an_code_blob(struct an_text *row, struct an_bytes value);

#endif
