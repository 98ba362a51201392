/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Which visit each taken row belongs to, and which rows were taken before: both are known only at
 * the end of the file, so rows carry their visit's local number till then. At most four bytes a visit
 * and one bit a row are kept; the rows' numbers themselves go away block by block. One thread.
 */
#ifndef AN_INTAKE_ROWMAP_H
#define AN_INTAKE_ROWMAP_H

#include "andamento/base/bytes.h"
#include "andamento/base/text.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct an_fates { /* of 65,536 local numbers: 0 taken before, else the visit's place + 1 */
    uint32_t first, step, count; /* those set so far are first, first + step, ... */
    uint32_t *each;              /* unless they are not: then one by one */
};

struct an_rowmap {
    uint32_t *locals; /* of the rows of the block at hand */
    size_t rows, capacity;
    struct an_fates *fates;
    size_t fate_chunks, fate_chunk_capacity;
    unsigned char *before; /* bit a row of the file: taken before */
    size_t before_bytes;
    uint64_t before_rows; /* how many bits are set */
};

void an_rowmap_close(struct an_rowmap *map); /* all zeroes is fine */
/* For another reading of the file: all but the bits is forgotten. */
void an_rowmap_begin(struct an_rowmap *map);
bool an_rowmap_add(struct an_rowmap *map, uint32_t local); /* false: memory is out */
bool an_rowmap_add_many(struct an_rowmap *map, uint32_t local, size_t rows);
/* The block's numbers as bytes; begins the next block. */
void an_rowmap_pack(struct an_rowmap *map, struct an_text *out);
/* The numbers out of such bytes into map->locals. False if they are not such bytes, or memory. */
bool an_rowmap_unpack(struct an_rowmap *map, struct an_bytes bytes);
bool an_rowmap_set_fate(struct an_rowmap *map, uint32_t local, uint32_t fate);
uint32_t an_rowmap_fate(const struct an_rowmap *map, uint32_t local);
bool an_rowmap_mark_before(struct an_rowmap *map, uint64_t row);
bool an_rowmap_is_before(const struct an_rowmap *map, uint64_t row);

#endif
