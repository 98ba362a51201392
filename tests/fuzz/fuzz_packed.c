/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Any bytes as a packed column: they are refused, or they unpack to cells that pack and unpack to
 * themselves. The limits of packed.h bound what a few bytes may claim.
 */
#include "andamento/base/memory.h"
#include "store/packed.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void must(bool condition)
{
    if (!condition) {
        abort();
    }
}

static void numbers(struct an_packer *packer, struct an_bytes bytes)
{
    struct an_arena *arena = an_arena_open();
    struct an_number_block first;
    struct an_number_block second;
    struct an_bytes packed;
    must(arena != NULL);
    if (an_unpack_numbers(packer, bytes, arena, &first) == AN_OK) {
        must(first.rows <= AN_PACKED_MOST_ROWS);
        must(an_pack_numbers(packer, &first, &packed) == AN_OK);
        must(an_unpack_numbers(packer, packed, arena, &second) == AN_OK);
        must(first.rows == second.rows && first.decimals == second.decimals);
        must(memcmp(first.scaled, second.scaled, first.rows * sizeof *first.scaled) == 0);
    }
    an_arena_close(arena);
}

static void texts(struct an_packer *packer, struct an_bytes bytes)
{
    struct an_arena *arena = an_arena_open();
    uint32_t *codes[2];
    struct an_bytes *list[2];
    size_t rows[2];
    size_t count[2];
    struct an_bytes packed;
    must(arena != NULL);
    if (an_unpack_texts(packer, bytes, arena, &codes[0], &rows[0], &list[0], &count[0]) == AN_OK) {
        must(an_pack_texts(packer, rows[0], codes[0], list[0], count[0], &packed) == AN_OK);
        must(an_unpack_texts(packer, packed, arena, &codes[1], &rows[1], &list[1], &count[1]) ==
             AN_OK);
        must(rows[0] == rows[1] && count[0] == count[1]);
        must(memcmp(codes[0], codes[1], rows[0] * sizeof *codes[0]) == 0);
        for (size_t k = 0; k < count[0]; k++) {
            must(an_bytes_equal(list[0][k], list[1][k]));
        }
    }
    an_arena_close(arena);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct an_packer *packer = an_packer_open();
    must(packer != NULL);
    numbers(packer, (struct an_bytes){data, size});
    texts(packer, (struct an_bytes){data, size});
    an_packer_close(packer);
    return 0;
}
