/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Columns of readings as bytes, and back. Pure: no SQL, no I/O. One thread a packer.
 *
 * All whole numbers little end first. Every block begins with 16 bytes:
 *   0      1 numbers, 2 texts
 *   1      width: bytes a cell takes, 0 1 2 4 8 (numbers), 1 2 4 (texts)
 *   2      numbers: 0 offsets from a base, 1 steps from the cell before; texts: 0
 *   3      0 body stored as it is, 1 body as one zstd frame
 *   4-7    rows
 *   8-11   bytes of the body before zstd
 *   12     numbers: decimals, signed; texts: 0
 *   13     numbers: 1 if a map of missing cells is there, else 0; texts: 0
 *   14-15  0
 * then, for numbers, 8 bytes: the base (two's complement), the least value, or with steps the
 * value before the first cell; for texts, 4 bytes: how many texts, and 4 bytes of 0; then the body.
 *
 * Body of numbers: the map if there is one, a bit a row, least bit first, 1 where a number is
 * missing, unused bits 0; then the cells. Offsets are value - base, without sign. Steps are
 * zigzag: a difference d modulo 2^64, as a signed number, is written (d << 1) ^ (d >> 63). A
 * missing cell is written as 0, and with steps the next one counts from the last number.
 * Width 0: no cells; every value equals the base (offsets only).
 *
 * Body of texts: the cells, 0 for empty and k + 1 for text k; then for each text its length in
 * 4 bytes and its bytes.
 *
 * The decoder takes bytes from outside: anything that an encoder could not have written, and that
 * it can tell, is AN_DOMAIN; it reads and allocates no more than its limits below allow.
 */
#ifndef AN_STORE_PACKED_H
#define AN_STORE_PACKED_H

#include "andamento/base/bytes.h"
#include "andamento/base/memory.h"
#include "andamento/base/status.h"
#include "andamento/store/store.h"

#include <stddef.h>
#include <stdint.h>

#define AN_PACKED_NUMBERS 1
#define AN_PACKED_TEXTS 2
#define AN_PACKED_MOST_ROWS (UINT32_C(1) << 20) /* of texts, too */
#define AN_PACKED_MOST_BODY (UINT32_C(1) << 26)

struct an_packer;
struct an_packer *an_packer_open(void);         /* NULL when memory is out */
void an_packer_close(struct an_packer *packer); /* NULL is fine */

/* *out is valid until the packer's next call. AN_DOMAIN: more rows or text than the limits, a
 * code that is not below text_count, decimals outside -128 to 127. AN_NO_MEMORY. */
AN_CHECKED enum an_status an_pack_numbers(struct an_packer *packer,
                                          const struct an_number_block *cells,
                                          struct an_bytes *out);
AN_CHECKED enum an_status an_pack_texts(struct an_packer *packer, size_t rows,
                                        const uint32_t *codes, const struct an_bytes *texts,
                                        size_t text_count, struct an_bytes *out);
/* Arrays are in the arena. AN_DOMAIN: not such a block. AN_NO_MEMORY. */
AN_CHECKED enum an_status an_unpack_numbers(struct an_packer *packer, struct an_bytes packed,
                                            struct an_arena *arena, struct an_number_block *cells);
AN_CHECKED enum an_status an_unpack_texts(struct an_packer *packer, struct an_bytes packed,
                                          struct an_arena *arena, uint32_t **codes, size_t *rows,
                                          struct an_bytes **texts, size_t *text_count);

#endif
