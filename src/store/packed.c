/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Packing and unpacking columns; packed.h has the bytes. It must never trust a byte it unpacks.
 *
 * The one idea: a cell takes the narrowest width that holds every cell of its block, either as an
 * offset from the least value or as a step from the value before, whichever is narrower; zstd then
 * finds what repeats.
 */
#include "store/packed.h"

#include <string.h>
#include <zstd.h>

#define ALWAYS_INLINE static inline __attribute__((always_inline))

enum { HEADER = 24, LEVEL = 1 };

struct an_packer {
    ZSTD_CCtx *compress;
    ZSTD_DCtx *expand;
    unsigned char *body, *out;
    size_t body_capacity, out_capacity;
};

struct an_packer *an_packer_open(void)
{
    struct an_packer *packer = an_alloc(1, sizeof *packer);
    if (packer) {
        packer->compress = ZSTD_createCCtx();
        packer->expand = ZSTD_createDCtx();
        if (!packer->compress || !packer->expand) {
            an_packer_close(packer);
            packer = NULL;
        }
    }
    return packer;
}

void an_packer_close(struct an_packer *packer)
{
    if (packer) {
        (void)ZSTD_freeCCtx(packer->compress);
        (void)ZSTD_freeDCtx(packer->expand);
        an_free(packer->body);
        an_free(packer->out);
        an_free(packer);
    }
}

static bool reserve(unsigned char **buffer, size_t *capacity, size_t wanted)
{
    if (wanted <= *capacity) {
        return true;
    }
    unsigned char *grown = an_resize(*buffer, wanted, 1);
    if (!grown) {
        return false;
    }
    *buffer = grown;
    *capacity = wanted;
    return true;
}

ALWAYS_INLINE void store_le(unsigned char *at, uint64_t value, size_t width)
{
    for (size_t k = 0; k < width; k++) {
        at[k] = (unsigned char)(value >> (8 * k));
    }
}

ALWAYS_INLINE uint64_t load_le(const unsigned char *at, size_t width)
{
    uint64_t value = 0;
    for (size_t k = 0; k < width; k++) {
        value |= (uint64_t)at[k] << (8 * k);
    }
    return value;
}

static size_t width_of(uint64_t largest)
{
    if (largest == 0) {
        return 0;
    }
    if (largest <= UINT8_MAX) {
        return 1;
    }
    if (largest <= UINT16_MAX) {
        return 2;
    }
    return largest <= UINT32_MAX ? 4 : 8;
}

static uint64_t zigzag(uint64_t difference)
{
    return (difference << 1) ^ (difference >> 63 ? UINT64_MAX : 0);
}

static uint64_t unzigzag(uint64_t code)
{
    return (code >> 1) ^ (code & 1 ? UINT64_MAX : 0);
}

/* Header and body to *out; the body is in packer->body. */
static enum an_status finish(struct an_packer *packer, unsigned char header[HEADER], size_t body,
                             struct an_bytes *out)
{
    const size_t bound = ZSTD_compressBound(body);
    if (!reserve(&packer->out, &packer->out_capacity, HEADER + bound)) {
        return AN_NO_MEMORY;
    }
    size_t length = body;
    store_le(header + 8, body, 4);
    header[3] = 0;
    const size_t packed =
        ZSTD_compressCCtx(packer->compress, packer->out + HEADER, bound, packer->body, body, LEVEL);
    if (ZSTD_isError(packed)) {
        return AN_NO_MEMORY; /* the room is enough: nothing else can fail */
    }
    if (packed < body) {
        header[3] = 1;
        length = packed;
    } else if (body) {
        memcpy(packer->out + HEADER, packer->body, body);
    }
    memcpy(packer->out, header, HEADER);
    *out = (struct an_bytes){packer->out, HEADER + length};
    return AN_OK;
}

/* ---- numbers ---------------------------------------------------------------------------------- */

struct plan {
    bool any_missing, steps;
    uint64_t base;
    size_t width;
};

struct extent {
    int64_t least, largest;
    uint64_t first, largest_step;
    bool any_missing;
};

/* With cells missing: they count for nothing. */
static struct extent extent_of_some(const struct an_number_block *cells)
{
    struct extent extent = {.any_missing = true};
    bool any = false;
    uint64_t before = 0;
    for (size_t i = 0; i < cells->rows; i++) {
        const int64_t value = cells->scaled[i];
        if (value == AN_CELL_MISSING) {
            continue;
        }
        if (!any) {
            extent.first = (uint64_t)value;
            extent.least = extent.largest = value;
        } else {
            const uint64_t step = zigzag((uint64_t)value - before);
            extent.largest_step = step > extent.largest_step ? step : extent.largest_step;
            extent.least = value < extent.least ? value : extent.least;
            extent.largest = value > extent.largest ? value : extent.largest;
        }
        before = (uint64_t)value;
        any = true;
    }
    return extent;
}

static struct extent extent_of(const struct an_number_block *cells)
{
    const int64_t *scaled = cells->scaled;
    struct extent extent = {0, 0, 0, 0, false};
    if (cells->rows == 0) {
        return extent;
    }
    int64_t least = scaled[0];
    int64_t largest = scaled[0];
    uint64_t steps = 0; /* all of their bits: as wide as the largest */
    for (size_t i = 1; i < cells->rows; i++) {
        steps |= zigzag((uint64_t)scaled[i] - (uint64_t)scaled[i - 1]);
        least = scaled[i] < least ? scaled[i] : least;
        largest = scaled[i] > largest ? scaled[i] : largest;
    }
    if (least == AN_CELL_MISSING) { /* the least number there is */
        return extent_of_some(cells);
    }
    return (struct extent){least, largest, (uint64_t)scaled[0], steps, false};
}

static struct plan plan_numbers(const struct an_number_block *cells)
{
    const struct extent extent = extent_of(cells);
    const uint64_t span = (uint64_t)extent.largest - (uint64_t)extent.least;
    struct plan plan = {
        .any_missing = extent.any_missing, .width = width_of(span), .base = (uint64_t)extent.least};
    if (width_of(extent.largest_step) < plan.width) {
        plan.steps = true;
        plan.width = width_of(extent.largest_step); /* at least 1: the span is not 0 */
        plan.base = extent.first;
    }
    return plan;
}

/* Compiled once for each width, so that a cell is one store and not a loop. */
ALWAYS_INLINE void write_width(const struct an_number_block *cells, const struct plan *plan,
                               unsigned char *at, size_t width)
{
    uint64_t before = plan->base;
    for (size_t i = 0; i < cells->rows; i++, at += width) {
        const int64_t value = cells->scaled[i];
        uint64_t code = 0;
        if (value != AN_CELL_MISSING) {
            code = (uint64_t)value - before;
            if (plan->steps) {
                code = zigzag(code);
                before = (uint64_t)value;
            }
        }
        store_le(at, code, width);
    }
}

static void write_cells(const struct an_number_block *cells, const struct plan *plan,
                        unsigned char *at)
{
    switch (plan->width) {
    case 1:
        write_width(cells, plan, at, 1);
        break;
    case 2:
        write_width(cells, plan, at, 2);
        break;
    case 4:
        write_width(cells, plan, at, 4);
        break;
    case 8:
        write_width(cells, plan, at, 8);
        break;
    default: /* 0: there is nothing to write */
        break;
    }
}

enum an_status an_pack_numbers(struct an_packer *packer, const struct an_number_block *cells,
                               struct an_bytes *out)
{
    if (cells->rows > AN_PACKED_MOST_ROWS || cells->decimals < INT8_MIN ||
        cells->decimals > INT8_MAX) {
        return AN_DOMAIN;
    }
    const struct plan plan = plan_numbers(cells);
    const size_t map = plan.any_missing ? (cells->rows + 7) / 8 : 0;
    const size_t body = map + cells->rows * plan.width;
    if (!reserve(&packer->body, &packer->body_capacity, body ? body : 1)) {
        return AN_NO_MEMORY;
    }
    if (map) {
        memset(packer->body, 0, map);
        for (size_t i = 0; i < cells->rows; i++) {
            if (cells->scaled[i] == AN_CELL_MISSING) {
                packer->body[i / 8] |= (unsigned char)(1U << (i % 8));
            }
        }
    }
    write_cells(cells, &plan, packer->body + map);
    unsigned char header[HEADER] = {AN_PACKED_NUMBERS, (unsigned char)plan.width, plan.steps};
    store_le(header + 4, cells->rows, 4);
    header[12] = (unsigned char)cells->decimals;
    header[13] = plan.any_missing;
    store_le(header + 16, plan.base, 8);
    return finish(packer, header, body, out);
}

/* The body, expanded into packer->body; its length must be `wanted` (SIZE_MAX: as it says). */
static enum an_status expand(struct an_packer *packer, struct an_bytes packed, size_t wanted,
                             size_t *body)
{
    const size_t length = packed.length - HEADER;
    *body = (size_t)load_le(packed.at + 8, 4);
    if (*body > AN_PACKED_MOST_BODY || (wanted != SIZE_MAX && *body != wanted)) {
        return AN_DOMAIN;
    }
    if (!reserve(&packer->body, &packer->body_capacity, *body ? *body : 1)) {
        return AN_NO_MEMORY;
    }
    if (packed.at[3] == 0) {
        if (length != *body) {
            return AN_DOMAIN;
        }
        if (length) {
            memcpy(packer->body, packed.at + HEADER, length);
        }
        return AN_OK;
    }
    if (packed.at[3] != 1) {
        return AN_DOMAIN;
    }
    const size_t got =
        ZSTD_decompressDCtx(packer->expand, packer->body, *body, packed.at + HEADER, length);
    return ZSTD_isError(got) || got != *body ? AN_DOMAIN : AN_OK;
}

/* One number from its code; false if no encoder writes it so. */
static bool value_of(uint64_t code, bool steps, uint64_t *before, int64_t *value)
{
    uint64_t bits = 0;
    if (steps) {
        bits = *before + unzigzag(code);
        *before = bits;
    } else {
        if (code > (uint64_t)INT64_MAX - *before) { /* also right for a base below zero */
            return false;
        }
        bits = *before + code;
    }
    memcpy(value, &bits, sizeof *value);
    return *value != AN_CELL_MISSING;
}

struct cells {
    const unsigned char *map, *at; /* map NULL: none missing */
    bool steps;
    uint64_t base;
    size_t rows;
};

ALWAYS_INLINE bool read_width(const struct cells *cells, int64_t *scaled, size_t width)
{
    const unsigned char *at = cells->at;
    uint64_t before = cells->base;
    for (size_t i = 0; i < cells->rows; i++, at += width) {
        const uint64_t code = load_le(at, width);
        if (cells->map && (cells->map[i / 8] >> (i % 8)) & 1) {
            if (code) {
                return false;
            }
            scaled[i] = AN_CELL_MISSING;
        } else if (!value_of(code, cells->steps, &before, &scaled[i])) {
            return false;
        }
    }
    return true;
}

static bool read_cells(const struct cells *cells, size_t width, int64_t *scaled)
{
    const size_t rest = cells->rows % 8;
    if (cells->map && rest && cells->map[cells->rows / 8] >> rest) {
        return false;
    }
    switch (width) {
    case 0:
        return read_width(cells, scaled, 0);
    case 1:
        return read_width(cells, scaled, 1);
    case 2:
        return read_width(cells, scaled, 2);
    case 4:
        return read_width(cells, scaled, 4);
    default:
        return read_width(cells, scaled, 8);
    }
}

enum an_status an_unpack_numbers(struct an_packer *packer, struct an_bytes packed,
                                 struct an_arena *arena, struct an_number_block *cells)
{
    if (packed.length < HEADER || packed.at[0] != AN_PACKED_NUMBERS || packed.at[2] > 1 ||
        packed.at[13] > 1 || packed.at[14] || packed.at[15]) {
        return AN_DOMAIN;
    }
    const size_t width = packed.at[1];
    const bool steps = packed.at[2] != 0;
    const size_t rows = (size_t)load_le(packed.at + 4, 4);
    if (rows > AN_PACKED_MOST_ROWS || (width == 0 && steps) ||
        (width != 0 && width != 1 && width != 2 && width != 4 && width != 8)) {
        return AN_DOMAIN;
    }
    const size_t map = packed.at[13] ? (rows + 7) / 8 : 0;
    size_t body = 0;
    const enum an_status st = expand(packer, packed, map + rows * width, &body);
    if (st) {
        return st;
    }
    int64_t *scaled = an_arena_alloc(arena, rows ? rows : 1, sizeof *scaled);
    if (!scaled) {
        return AN_NO_MEMORY;
    }
    const struct cells stored = {
        .map = map ? packer->body : NULL,
        .at = packer->body + map,
        .steps = steps,
        .base = load_le(packed.at + 16, 8),
        .rows = rows,
    };
    if (!read_cells(&stored, width, scaled)) {
        return AN_DOMAIN;
    }
    const unsigned decimals = packed.at[12];
    *cells = (struct an_number_block){
        .rows = rows,
        .decimals = decimals > INT8_MAX ? (int)decimals - 256 : (int)decimals,
        .scaled = scaled,
    };
    return AN_OK;
}

/* ---- texts ------------------------------------------------------------------------------------ */

enum an_status an_pack_texts(struct an_packer *packer, size_t rows, const uint32_t *codes,
                             const struct an_bytes *texts, size_t text_count, struct an_bytes *out)
{
    if (rows > AN_PACKED_MOST_ROWS || text_count > AN_PACKED_MOST_ROWS) {
        return AN_DOMAIN;
    }
    const size_t width = text_count ? width_of(text_count) : 1; /* codes reach text_count */
    size_t body = rows * width;
    for (size_t k = 0; k < text_count; k++) {
        if (texts[k].length > AN_PACKED_MOST_BODY ||
            (body += 4 + texts[k].length) > AN_PACKED_MOST_BODY) {
            return AN_DOMAIN;
        }
    }
    if (!reserve(&packer->body, &packer->body_capacity, body ? body : 1)) {
        return AN_NO_MEMORY;
    }
    unsigned char *at = packer->body;
    for (size_t i = 0; i < rows; i++, at += width) {
        if (codes[i] != UINT32_MAX && codes[i] >= text_count) {
            return AN_DOMAIN;
        }
        store_le(at, codes[i] == UINT32_MAX ? 0 : (uint64_t)codes[i] + 1, width);
    }
    for (size_t k = 0; k < text_count; k++) {
        store_le(at, texts[k].length, 4);
        at += 4;
        if (texts[k].length) {
            memcpy(at, texts[k].at, texts[k].length);
            at += texts[k].length;
        }
    }
    unsigned char header[HEADER] = {AN_PACKED_TEXTS, (unsigned char)width};
    store_le(header + 4, rows, 4);
    store_le(header + 16, text_count, 4);
    return finish(packer, header, body, out);
}

static enum an_status read_texts(struct an_bytes rest, size_t count, struct an_arena *arena,
                                 struct an_bytes **texts)
{
    if (count > rest.length / 4) {
        return AN_DOMAIN;
    }
    *texts = an_arena_alloc(arena, count ? count : 1, sizeof **texts);
    if (!*texts) {
        return AN_NO_MEMORY;
    }
    for (size_t k = 0; k < count; k++) {
        if (rest.length < 4) {
            return AN_DOMAIN;
        }
        const size_t length = (size_t)load_le(rest.at, 4);
        rest.at += 4;
        rest.length -= 4;
        if (length > rest.length) {
            return AN_DOMAIN;
        }
        const char *copy = an_arena_copy(arena, rest.at, length);
        if (!copy) {
            return AN_NO_MEMORY;
        }
        (*texts)[k] = (struct an_bytes){(const unsigned char *)copy, length};
        rest.at += length;
        rest.length -= length;
    }
    return rest.length ? AN_DOMAIN : AN_OK;
}

enum an_status an_unpack_texts(struct an_packer *packer, struct an_bytes packed,
                               struct an_arena *arena, uint32_t **codes, size_t *rows,
                               struct an_bytes **texts, size_t *text_count)
{
    static const unsigned char zeroes[4] = {0};
    if (packed.length < HEADER || packed.at[0] != AN_PACKED_TEXTS || packed.at[2] ||
        memcmp(packed.at + 12, zeroes, 4) != 0 || memcmp(packed.at + 20, zeroes, 4) != 0) {
        return AN_DOMAIN;
    }
    const size_t width = packed.at[1];
    const size_t row_count = (size_t)load_le(packed.at + 4, 4);
    const size_t count = (size_t)load_le(packed.at + 16, 4);
    size_t body = 0;
    if (row_count > AN_PACKED_MOST_ROWS || count > AN_PACKED_MOST_ROWS ||
        (width != 1 && width != 2 && width != 4)) {
        return AN_DOMAIN;
    }
    enum an_status st = expand(packer, packed, SIZE_MAX, &body);
    if (!st && body < row_count * width) {
        st = AN_DOMAIN;
    }
    if (st) {
        return st;
    }
    uint32_t *read = an_arena_alloc(arena, row_count ? row_count : 1, sizeof *read);
    if (!read) {
        return AN_NO_MEMORY;
    }
    for (size_t i = 0; i < row_count; i++) {
        const uint32_t code = (uint32_t)load_le(packer->body + i * width, width);
        if (code > count) {
            return AN_DOMAIN;
        }
        read[i] = code ? code - 1 : UINT32_MAX;
    }
    const struct an_bytes rest = {packer->body + row_count * width, body - row_count * width};
    st = read_texts(rest, count, arena, texts);
    if (!st) {
        *codes = read;
        *rows = row_count;
        *text_count = count;
    }
    return st;
}
