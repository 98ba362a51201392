/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pieces of originals in columns; layout.h has the bytes. It must never trust a byte it expands. */
#include "store/layout.h"

#include <string.h>

enum { HEADER = 24, BUFFER = 64 * 1024, MOST_FIELDS = 4096, NUMBERS = 1, TEXTS = 2 };

static const unsigned char magic[4] = {'A', 'n', 'L', '1'};

/* ---- writing ---------------------------------------------------------------------------------- */
static void put_u32(struct an_text *out, uint64_t value)
{
    unsigned char bytes[4];

    for (size_t k = 0; k < sizeof bytes; k++) {
        bytes[k] = (unsigned char)(value >> 8 * k);
    }
    an_text_add_bytes(out, (struct an_bytes){bytes, sizeof bytes});
}

static void put_column(struct an_text *out, struct an_bytes packed)
{
    put_u32(out, packed.length);
    an_text_add_bytes(out, packed);
}

void an_layout_write(const struct an_layout *layout, struct an_text *out)
{
    an_text_add_bytes(out, (struct an_bytes){magic, sizeof magic});
    an_text_add_char(out, layout->delimiter);
    an_text_add_char(out, layout->crlf ? 2 : 1);
    an_text_add_char(out, layout->mark);
    an_text_add_char(out, 0);
    put_u32(out, layout->rows);
    put_u32(out, layout->field_count);
    put_u32(out, layout->raw_count);
    put_u32(out, 0);
    for (size_t i = 0; i < layout->field_count; i++) {
        const struct an_layout_field *field = &layout->fields[i];

        an_text_add_char(out, field->is_number ? NUMBERS : TEXTS);
        if (field->is_number) {
            put_column(out, field->numbers);
            put_column(out, field->decimals);
        }
        put_column(out, field->texts);
    }
    if (layout->raw_count) {
        put_column(out, layout->raw_places);
        put_column(out, layout->raw_texts);
    }
}

bool an_layout_is_plain(struct an_bytes text, char mark)
{
    const bool minus = text.length && text.at[0] == '-';
    size_t at = minus;
    bool nothing = true; /* no digit but 0 */

    while (at < text.length && text.at[at] >= '0' && text.at[at] <= '9') {
        nothing = nothing && text.at[at] == '0';
        at++;
    }
    const size_t before = at - minus;
    if (before == 0 || (before > 1 && text.at[minus] == '0')) {
        return false;
    }
    if (at < text.length) {
        const size_t behind = text.length - at - 1;

        if (text.at[at] != (unsigned char)mark || behind == 0 || behind > 18) {
            return false;
        }
        for (at++; at < text.length; at++) {
            if (text.at[at] < '0' || text.at[at] > '9') {
                return false;
            }
            nothing = nothing && text.at[at] == '0';
        }
    }
    return !(minus && nothing) && before <= 18;
}

/* ---- expanding -------------------------------------------------------------------------------- */
struct texts {
    const uint32_t *codes;
    const struct an_bytes *texts;
    size_t rows, count;
};

struct field {
    bool is_number;
    struct an_number_block numbers;
    const int64_t *decimals; /* NULL: those of the block */
    struct texts texts;      /* no rows: absent */
};

struct piece {
    struct an_bytes rest;
    struct an_packer *packer;
    struct an_arena *arena;
    size_t rows, field_count, raw_count;
    unsigned char delimiter, mark;
    bool crlf;
    struct field *fields;
    struct an_number_block places;
    struct texts raw;
};

struct output {
    unsigned char *at;
    size_t used;
    int (*sink)(void *context, const void *at, size_t length);
    void *context;
    int64_t bytes;
    bool stopped;
};

static uint32_t u32(const unsigned char *at)
{
    return (uint32_t)at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

/* The next column's block; no bytes if it is absent. False: the piece ends before. */
static bool take_column(struct piece *piece, struct an_bytes *packed)
{
    if (piece->rest.length < 4) {
        return false;
    }
    packed->length = u32(piece->rest.at);
    packed->at = piece->rest.at + 4;
    if (packed->length > piece->rest.length - 4) {
        return false;
    }
    piece->rest.at += 4 + packed->length;
    piece->rest.length -= 4 + packed->length;
    return true;
}

static enum an_status read_numbers(struct piece *piece, struct an_bytes packed, size_t rows,
                                   struct an_number_block *numbers)
{
    const enum an_status st = an_unpack_numbers(piece->packer, packed, piece->arena, numbers);

    return st ? st : numbers->rows == rows ? AN_OK : AN_DOMAIN;
}

static enum an_status read_texts(struct piece *piece, struct an_bytes packed, size_t rows,
                                 struct texts *texts)
{
    uint32_t *codes = NULL;
    struct an_bytes *words = NULL;
    const enum an_status st = an_unpack_texts(piece->packer, packed, piece->arena, &codes,
                                              &texts->rows, &words, &texts->count);

    texts->codes = codes;
    texts->texts = words;
    return st ? st : texts->rows == rows ? AN_OK : AN_DOMAIN;
}

static enum an_status read_field(struct piece *piece, struct field *field)
{
    struct an_bytes packed[3] = {{NULL, 0}, {NULL, 0}, {NULL, 0}};
    struct an_number_block decimals = {0};
    enum an_status st = AN_OK;

    if (!piece->rest.length || (piece->rest.at[0] != NUMBERS && piece->rest.at[0] != TEXTS)) {
        return AN_DOMAIN;
    }
    field->is_number = piece->rest.at[0] == NUMBERS;
    piece->rest.at++;
    piece->rest.length--;
    if (field->is_number && (!take_column(piece, &packed[0]) || !take_column(piece, &packed[1]))) {
        return AN_DOMAIN;
    }
    if (!take_column(piece, &packed[2]) || (!field->is_number && !packed[2].length)) {
        return AN_DOMAIN;
    }
    if (field->is_number) {
        st = read_numbers(piece, packed[0], piece->rows, &field->numbers);
        if (!st && (field->numbers.decimals < 0 || field->numbers.decimals > 18)) {
            st = AN_DOMAIN;
        }
        if (!st && packed[1].length) {
            st = read_numbers(piece, packed[1], piece->rows, &decimals);
            field->decimals = decimals.scaled;
        }
    }
    return !st && packed[2].length ? read_texts(piece, packed[2], piece->rows, &field->texts) : st;
}

static enum an_status read_piece(struct piece *piece)
{
    const unsigned char *at = piece->rest.at;

    if (piece->rest.length < HEADER || memcmp(at, magic, sizeof magic) != 0 || at[5] < 1 ||
        at[5] > 2 || at[7] || u32(at + 20)) {
        return AN_DOMAIN;
    }
    piece->delimiter = at[4];
    piece->crlf = at[5] == 2;
    piece->mark = at[6];
    piece->rows = u32(at + 8);
    piece->field_count = u32(at + 12);
    piece->raw_count = u32(at + 16);
    piece->rest.at += HEADER;
    piece->rest.length -= HEADER;
    if (piece->rows > AN_PACKED_MOST_ROWS || piece->field_count > MOST_FIELDS ||
        piece->raw_count > AN_PACKED_MOST_ROWS || (piece->rows && !piece->field_count)) {
        return AN_DOMAIN;
    }
    piece->fields = an_arena_alloc(piece->arena, piece->field_count + 1, sizeof *piece->fields);
    if (!piece->fields) {
        return AN_NO_MEMORY;
    }
    enum an_status st = AN_OK;
    for (size_t i = 0; !st && i < piece->field_count; i++) {
        st = read_field(piece, &piece->fields[i]);
    }
    struct an_bytes packed[2] = {{NULL, 0}, {NULL, 0}};
    if (!st && piece->raw_count) {
        st = take_column(piece, &packed[0]) && take_column(piece, &packed[1]) ? AN_OK : AN_DOMAIN;
        st = st ? st : read_numbers(piece, packed[0], piece->raw_count, &piece->places);
        st = st ? st : read_texts(piece, packed[1], piece->raw_count, &piece->raw);
    }
    return st || !piece->rest.length ? st : AN_DOMAIN;
}

static void flush(struct output *out)
{
    if (out->used && !out->stopped) {
        out->stopped = out->sink(out->context, out->at, out->used) != 0;
        out->bytes += (int64_t)out->used;
    }
    out->used = 0;
}

static void put(struct output *out, const void *at, size_t length)
{
    if (length > BUFFER - out->used) {
        flush(out);
    }
    if (length > BUFFER) {
        if (!out->stopped) {
            out->stopped = out->sink(out->context, at, length) != 0;
            out->bytes += (int64_t)length;
        }
        return;
    }
    if (length) {
        memcpy(out->at + out->used, at, length);
        out->used += length;
    }
}

static void put_text(struct output *out, const struct texts *texts, size_t row)
{
    const uint32_t code = texts->rows ? texts->codes[row] : UINT32_MAX;

    if (code != UINT32_MAX) {
        put(out, texts->texts[code].at, texts->texts[code].length);
    }
}

/* False: its decimals are not possible. */
static bool put_number(struct output *out, const struct field *field, unsigned char mark,
                       size_t row)
{
    unsigned char text[48];
    size_t at = sizeof text;
    const int64_t scaled = field->numbers.scaled[row];
    int64_t decimals = field->numbers.decimals;
    uint64_t digits = scaled < 0 ? 0 - (uint64_t)scaled : (uint64_t)scaled;

    if (field->decimals) {
        int64_t more = decimals - field->decimals[row]; /* AN_CELL_MISSING: wraps to be refused */

        if (field->decimals[row] < 0 || field->decimals[row] > decimals) {
            return false;
        }
        for (; more > 0; more--) {
            digits /= 10;
        }
        decimals = field->decimals[row];
    }
    for (int64_t k = 0; k < decimals; k++, digits /= 10) {
        text[--at] = (unsigned char)('0' + digits % 10);
    }
    if (decimals) {
        text[--at] = mark;
    }
    do {
        text[--at] = (unsigned char)('0' + digits % 10);
        digits /= 10;
    } while (digits);
    if (scaled < 0) {
        text[--at] = '-';
    }
    put(out, text + at, sizeof text - at);
    return true;
}

static bool put_row(struct output *out, const struct piece *piece, size_t row)
{
    for (size_t i = 0; i < piece->field_count; i++) {
        const struct field *field = &piece->fields[i];

        if (i) {
            put(out, &piece->delimiter, 1);
        }
        if (!field->is_number || field->numbers.scaled[row] == AN_CELL_MISSING) {
            put_text(out, &field->texts, row);
        } else if (!put_number(out, field, piece->mark, row)) {
            return false;
        }
    }
    put(out, piece->crlf ? "\r\n" : "\n", piece->crlf ? 2 : 1);
    return true;
}

static enum an_status put_lines(struct output *out, const struct piece *piece)
{
    size_t raw = 0;

    for (size_t row = 0; row <= piece->rows && !out->stopped; row++) {
        bool skip = false;

        for (; raw < piece->raw_count && piece->places.scaled[raw] / 2 == (int64_t)row &&
               piece->places.scaled[raw] >= 0;
             raw++) {
            skip = skip || piece->places.scaled[raw] % 2;
            put_text(out, &piece->raw, raw);
        }
        if (row < piece->rows && !skip && !put_row(out, piece, row)) {
            return AN_DOMAIN;
        }
    }
    flush(out);
    return out->stopped ? AN_IO : raw == piece->raw_count ? AN_OK : AN_DOMAIN;
}

enum an_status an_layout_expand(struct an_packer *packer, struct an_bytes bytes,
                                int (*sink)(void *context, const void *at, size_t length),
                                void *context, int64_t *length)
{
    struct piece piece = {.rest = bytes, .packer = packer, .arena = an_arena_open()};
    struct output out = {.sink = sink, .context = context};

    out.at = piece.arena ? an_arena_alloc(piece.arena, BUFFER, 1) : NULL;
    enum an_status st = out.at ? read_piece(&piece) : AN_NO_MEMORY;
    st = st ? st : put_lines(&out, &piece);
    *length += out.bytes;
    an_arena_close(piece.arena);
    return st;
}
