/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Keeps the way from rows to visits in little memory. Must give the same numbers back, whatever
 * they are.
 *
 * Packed: runs of (first number, step 0 or 1, length), since rows of a visit mostly follow each
 * other, or each row is a visit of its own.
 */
#include "intake/rowmap.h"

#include "andamento/base/memory.h"

#include <string.h>

enum { CHUNK = 65536 };

void an_rowmap_close(struct an_rowmap *map)
{
    for (size_t i = 0; i < map->fate_chunks; i++) {
        an_free(map->fates[i].each);
    }
    an_free(map->fates);
    an_free(map->locals);
    an_free(map->before);
    memset(map, 0, sizeof *map);
}

void an_rowmap_begin(struct an_rowmap *map)
{
    for (size_t i = 0; i < map->fate_chunks; i++) {
        an_free(map->fates[i].each);
    }
    map->fate_chunks = 0;
    map->rows = 0;
}

/* Room for so many more rows. */
static bool reserve(struct an_rowmap *map, size_t rows)
{
    void *array = map->locals;

    if (rows == 0 || map->capacity - map->rows >= rows) {
        return true;
    }
    if (!an_grow(&array, map->rows + rows - 1, &map->capacity, sizeof *map->locals)) {
        return false;
    }
    map->locals = array;
    return true;
}

bool an_rowmap_add(struct an_rowmap *map, uint32_t local)
{
    return an_rowmap_add_many(map, local, 1);
}

bool an_rowmap_add_many(struct an_rowmap *map, uint32_t local, size_t rows)
{
    if (!reserve(map, rows)) {
        return false;
    }
    uint32_t *at = map->locals + map->rows;
    for (size_t i = 0; i < rows; i++) {
        at[i] = local;
    }
    map->rows += rows;
    return true;
}

struct run {
    uint32_t first, length;
};

void an_rowmap_pack(struct an_rowmap *map, struct an_text *out)
{
    size_t at = 0;

    while (at < map->rows) {
        const uint32_t step = at + 1 < map->rows && map->locals[at + 1] == map->locals[at] + 1;
        size_t end = at + 1;

        while (end < map->rows && map->locals[end] == map->locals[end - 1] + step) {
            end++;
        }
        const struct run run = {map->locals[at], (uint32_t)(end - at) << 1 | step};
        an_text_add_bytes(out, (struct an_bytes){(const unsigned char *)&run, sizeof run});
        at = end;
    }
    map->rows = 0;
}

bool an_rowmap_unpack(struct an_rowmap *map, struct an_bytes bytes)
{
    map->rows = 0;
    for (; bytes.length >= sizeof(struct run);
         bytes.at += sizeof(struct run), bytes.length -= sizeof(struct run)) {
        struct run run;

        memcpy(&run, bytes.at, sizeof run);
        const uint32_t length = run.length >> 1;
        if (!reserve(map, length)) {
            return false;
        }
        uint32_t *at = map->locals + map->rows;
        for (uint32_t i = 0; i < length; i++) {
            at[i] = run.first + i * (run.length & 1);
        }
        map->rows += length;
    }
    return bytes.length == 0;
}

static bool add_chunk(struct an_rowmap *map)
{
    void *array = map->fates;

    if (!an_grow(&array, map->fate_chunks, &map->fate_chunk_capacity, sizeof *map->fates)) {
        return false;
    }
    map->fates = array;
    memset(&map->fates[map->fate_chunks++], 0, sizeof *map->fates);
    return true;
}

/* Visits are put in the order of their first rows, so numbers mostly follow each other. */
static bool follows(struct an_fates *fates, uint32_t at, uint32_t fate)
{
    if (fates->each || at != fates->count) {
        return false;
    }
    if (at == 0) {
        fates->first = fate;
    } else if (at == 1) {
        fates->step = fate - fates->first;
    }
    return fate == fates->first + at * fates->step;
}

static bool set_each(struct an_fates *fates, uint32_t at, uint32_t fate)
{
    if (!fates->each) {
        fates->each = an_alloc(CHUNK, sizeof *fates->each);
        if (!fates->each) {
            return false;
        }
        for (uint32_t i = 0; i < fates->count; i++) {
            fates->each[i] = fates->first + i * fates->step;
        }
    }
    fates->each[at] = fate;
    return true;
}

bool an_rowmap_set_fate(struct an_rowmap *map, uint32_t local, uint32_t fate)
{
    while (local / CHUNK >= map->fate_chunks) {
        if (!add_chunk(map)) {
            return false;
        }
    }
    struct an_fates *fates = &map->fates[local / CHUNK];
    if (follows(fates, local % CHUNK, fate)) {
        fates->count++;
        return true;
    }
    return set_each(fates, local % CHUNK, fate);
}

uint32_t an_rowmap_fate(const struct an_rowmap *map, uint32_t local)
{
    if (local / CHUNK >= map->fate_chunks) {
        return 0;
    }
    const struct an_fates *fates = &map->fates[local / CHUNK];
    const uint32_t at = local % CHUNK;
    if (fates->each) {
        return fates->each[at];
    }
    return at < fates->count ? fates->first + at * fates->step : 0;
}

bool an_rowmap_mark_before(struct an_rowmap *map, uint64_t row)
{
    const size_t byte = (size_t)(row / 8);

    if (byte >= map->before_bytes) {
        const size_t size = 2 * byte + 64;
        unsigned char *more = an_resize(map->before, size, 1);

        if (!more) {
            return false;
        }
        memset(more + map->before_bytes, 0, size - map->before_bytes);
        map->before = more;
        map->before_bytes = size;
    }
    map->before[byte] = (unsigned char)(map->before[byte] | 1U << row % 8);
    map->before_rows++;
    return true;
}

bool an_rowmap_is_before(const struct an_rowmap *map, uint64_t row)
{
    const size_t byte = (size_t)(row / 8);

    return byte < map->before_bytes && (map->before[byte] >> row % 8 & 1);
}
