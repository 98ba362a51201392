/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Keeps originals as columns. Must never call a row kept whose bytes would not come back: what is not
 * sure is kept as it is.
 */
#include "intake/mirror.h"

#include "intake/columns.h"

#include <string.h>

enum { MOST_RAW = 1 << 20, MOST_RAW_LINES = 1 << 16, RAW_AT_FIRST = 64 * 1024 };

void an_mirror_open(struct an_mirror *mirror, const struct an_plan *plan)
{
    an_mirror_close(mirror);
    mirror->plan = plan;
}

void an_mirror_close(struct an_mirror *mirror)
{
    for (size_t i = 0; mirror->words && i < mirror->word_count; i++) {
        an_names_close(mirror->words[i].words);
        an_free(mirror->words[i].codes);
    }
    an_free(mirror->words);
    an_free(mirror->fields);
    an_free(mirror->places);
    an_free(mirror->ends);
    an_text_free(&mirror->raw);
    an_text_free(&mirror->blobs);
    an_text_free(&mirror->piece);
    memset(mirror, 0, sizeof *mirror);
}

bool an_mirror_header(struct an_mirror *mirror, const struct an_header *header,
                      const struct an_columns *columns)
{
    const struct an_plan *plan = mirror->plan;

    mirror->field_count = header->field_count;
    mirror->fields = an_alloc(header->field_count + 1, sizeof *mirror->fields);
    mirror->words = an_alloc(header->field_count + 1, sizeof *mirror->words);
    if (!mirror->fields || !mirror->words) {
        return false;
    }
    for (size_t f = 0; f < header->field_count; f++) {
        struct an_mirror_field *field = &mirror->fields[f];

        field->column = AN_NONE;
        for (size_t i = 0; i < plan->column_count && field->column == AN_NONE; i++) {
            if (header->field_of[i] == f && (columns->at[i].text_name || i != plan->time)) {
                field->column = i;
                field->is_number = !columns->at[i].text_name;
            }
        }
        if (field->column == AN_NONE) {
            struct an_mirror_words *words = &mirror->words[mirror->word_count];

            field->words = mirror->word_count;
            words->field = f;
            words->words = an_names_open();
            words->last_code = UINT32_MAX;
            mirror->word_count++;
            if (!words->words) {
                return false;
            }
        }
    }
    return true;
}

/* ---- lines as they are ------------------------------------------------------------------------ */
static bool add_raw(struct an_mirror *mirror, int64_t place, const unsigned char *at, size_t length)
{
    void *places = mirror->places;
    void *ends = mirror->ends;

    if (mirror->failed) {
        return true;
    }
    if (!an_grow(&places, mirror->raw_count, &mirror->places_capacity, sizeof *mirror->places)) {
        return false;
    }
    mirror->places = places;
    if (!an_grow(&ends, mirror->raw_count, &mirror->ends_capacity, sizeof *mirror->ends)) {
        return false;
    }
    mirror->ends = ends;
    an_text_add_bytes(&mirror->raw, (struct an_bytes){at, length});
    mirror->places[mirror->raw_count] = place;
    mirror->ends[mirror->raw_count++] = mirror->raw.length;
    mirror->raw_total += length;
    mirror->bytes += length;
    mirror->failed = mirror->raw.length > MOST_RAW || mirror->raw_count > MOST_RAW_LINES ||
                     (mirror->raw_total > RAW_AT_FIRST && mirror->raw_total > mirror->bytes / 4);
    return !mirror->raw.failed;
}

bool an_mirror_raw(struct an_mirror *mirror, size_t rows, const unsigned char *at, size_t length)
{
    return add_raw(mirror, 2 * (int64_t)rows, at, length);
}

bool an_mirror_room(struct an_mirror *mirror, size_t rows)
{
    if (rows <= mirror->capacity) {
        return true;
    }
    size_t capacity = mirror->capacity ? 2 * mirror->capacity : 256;
    capacity = capacity < rows ? rows : capacity;
    for (size_t i = 0; i < mirror->word_count; i++) {
        uint32_t *codes = an_resize(mirror->words[i].codes, capacity, sizeof *codes);

        if (!codes) {
            return false;
        }
        mirror->words[i].codes = codes;
    }
    mirror->capacity = capacity;
    return true;
}

bool an_mirror_word(struct an_mirror_words *words, size_t row, struct an_bytes text)
{
    if (!text.length) {
        words->codes[row] = UINT32_MAX;
        return true;
    }
    if (words->last_code == UINT32_MAX || !an_bytes_equal(words->last, text)) {
        const size_t code = an_names_add(words->words, text);

        if (code == AN_NO_NAME) {
            return false;
        }
        words->last_code = (uint32_t)code;
        words->last = an_names_at(words->words, code);
    }
    words->codes[row] = words->last_code;
    return true;
}

bool an_mirror_odd(struct an_mirror *mirror, size_t row, const unsigned char *at, size_t length)
{
    return add_raw(mirror, 2 * (int64_t)row + 1, at, length);
}

/* ---- rows of the row path --------------------------------------------------------------------- */
/* Do fields and delimiters make the record, as they do unless there were quotes or blanks? */
static bool are_joined(const struct an_mirror *mirror, const struct an_fields *fields,
                       struct an_bytes text)
{
    size_t at = 0;

    if (fields->count != mirror->field_count) {
        return false;
    }
    for (size_t f = 0; f < fields->count; f++) {
        const struct an_bytes field = fields->at[f];
        const size_t length = field.length + (f + 1 < fields->count);

        if (text.length - at < length ||
            (field.length && memcmp(text.at + at, field.at, field.length) != 0) ||
            (f + 1 < fields->count &&
             text.at[at + field.length] !=
                 (unsigned char)mirror->plan->station->dialect.delimiter)) {
            return false;
        }
        at += length;
    }
    return at == text.length;
}

/* What the blocks hold of the field: is it the field? */
static bool is_held(const struct an_mirror *mirror, const struct an_mirror_field *field,
                    const struct an_row *row, struct an_bytes text)
{
    const struct an_cell *cell = field->column == AN_NONE ? NULL : &row->cells[field->column];

    if (!cell) {
        return true; /* it has words of its own */
    }
    if (field->column == mirror->plan->item) {
        return an_bytes_equal(row->serial, text);
    }
    if (field->is_number && cell->state == AN_CELL_NUMBER) {
        return an_layout_is_plain(text, mirror->plan->station->dialect.decimal_mark);
    }
    return an_bytes_equal(cell->text, text);
}

bool an_mirror_row(struct an_mirror *mirror, const struct an_columns *columns,
                   const struct an_row *row, const struct an_fields *fields,
                   const struct an_record *record)
{
    const size_t at = columns->rows - 1;
    const bool crlf = record->with_end - record->text.length == 2;
    bool held = record->ended && (crlf || record->text.at[record->text.length] == '\n') &&
                are_joined(mirror, fields, record->text);

    if (mirror->failed) {
        return true;
    }
    if (!an_mirror_room(mirror, columns->rows)) {
        return false;
    }
    for (size_t f = 0; held && f < mirror->field_count; f++) {
        held = is_held(mirror, &mirror->fields[f], row, fields->at[f]);
    }
    if (held && !mirror->crlf_known) {
        mirror->crlf = crlf;
        mirror->crlf_known = true;
    }
    held = held && mirror->crlf == crlf;
    for (size_t i = 0; i < mirror->word_count; i++) {
        const struct an_bytes none = {NULL, 0};

        if (!an_mirror_word(&mirror->words[i], at,
                            held ? fields->at[mirror->words[i].field] : none)) {
            return false;
        }
    }
    if (!held) {
        return an_mirror_odd(mirror, at, record->text.at, record->with_end);
    }
    mirror->bytes += record->with_end;
    return true;
}

/* ---- pieces ----------------------------------------------------------------------------------- */
static void add_blob(struct an_mirror *mirror, struct an_mirror_field *field, int which,
                     struct an_bytes packed)
{
    field->blob[which] = mirror->blobs.length;
    field->blob_length[which] = packed.length;
    an_text_add_bytes(&mirror->blobs, packed);
}

void an_mirror_packed(struct an_mirror *mirror, size_t column, int which, struct an_bytes packed)
{
    for (size_t f = 0; f < mirror->field_count && !mirror->failed; f++) {
        if (mirror->fields[f].column == column && (which == 2 || mirror->fields[f].is_number)) {
            add_blob(mirror, &mirror->fields[f], which, packed);
        }
    }
}

static enum an_status pack_words(struct an_mirror *mirror, struct an_outbox *outbox, size_t rows,
                                 struct an_error *err)
{
    enum an_status st = AN_OK;

    for (size_t f = 0; f < mirror->field_count && !st && rows; f++) {
        struct an_mirror_field *field = &mirror->fields[f];
        struct an_bytes packed = {NULL, 0};

        if (field->column != AN_NONE) {
            continue;
        }
        struct an_mirror_words *words = &mirror->words[field->words];
        const size_t count = an_names_count(words->words);
        struct an_bytes *texts = an_alloc(count + 1, sizeof *texts);
        if (!texts) {
            return an_fail(err, AN_NO_MEMORY, "out of memory");
        }
        for (size_t i = 0; i < count; i++) {
            texts[i] = an_names_at(words->words, i);
        }
        st = an_outbox_pack_texts(outbox, rows, words->codes, texts, count, &packed, err);
        an_free(texts);
        if (!st) {
            add_blob(mirror, field, 2, packed);
        }
        an_names_clear(words->words);
        words->last_code = UINT32_MAX;
    }
    return st;
}

struct raw_blobs {
    size_t places, places_length, texts, texts_length;
};

static enum an_status pack_raw(struct an_mirror *mirror, struct an_outbox *outbox,
                               struct raw_blobs *blobs, struct an_error *err)
{
    const struct an_number_block places = {mirror->raw_count, 0, mirror->places};
    struct an_bytes *texts = an_alloc(mirror->raw_count + 1, sizeof *texts);
    uint32_t *codes = an_alloc(mirror->raw_count + 1, sizeof *codes);
    struct an_bytes packed = {NULL, 0};
    enum an_status st = texts && codes ? AN_OK : an_fail(err, AN_NO_MEMORY, "out of memory");

    for (size_t i = 0; !st && i < mirror->raw_count; i++) {
        const size_t from = i ? mirror->ends[i - 1] : 0;

        texts[i].at = (const unsigned char *)an_text_of(&mirror->raw) + from;
        texts[i].length = mirror->ends[i] - from;
        codes[i] = (uint32_t)i;
    }
    if (!st) {
        st = an_outbox_pack_numbers(outbox, &places, &packed, err);
    }
    if (!st) {
        blobs->places = mirror->blobs.length;
        blobs->places_length = packed.length;
        an_text_add_bytes(&mirror->blobs, packed);
        st = an_outbox_pack_texts(outbox, mirror->raw_count, codes, texts, mirror->raw_count,
                                  &packed, err);
    }
    if (!st) {
        blobs->texts = mirror->blobs.length;
        blobs->texts_length = packed.length;
        an_text_add_bytes(&mirror->blobs, packed);
    }
    an_free(texts);
    an_free(codes);
    return st;
}

static struct an_bytes blob_at(const struct an_mirror *mirror, size_t at, size_t length)
{
    return (struct an_bytes){(const unsigned char *)an_text_of(&mirror->blobs) + at, length};
}

/* Fills the piece out of the blobs. */
static enum an_status write_piece(struct an_mirror *mirror, size_t rows,
                                  const struct raw_blobs *raw, struct an_error *err)
{
    const size_t count = rows ? mirror->field_count : 0;
    struct an_layout_field *fields = an_alloc(count + 1, sizeof *fields);

    if (!fields) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    for (size_t f = 0; f < count; f++) {
        const struct an_mirror_field *field = &mirror->fields[f];

        fields[f] = (struct an_layout_field){
            field->is_number,
            blob_at(mirror, field->blob[0], field->blob_length[0]),
            blob_at(mirror, field->blob[1], field->blob_length[1]),
            blob_at(mirror, field->blob[2], field->blob_length[2]),
        };
    }
    const struct an_layout layout = {
        .delimiter = mirror->plan->station->dialect.delimiter,
        .mark = mirror->plan->station->dialect.decimal_mark,
        .crlf = mirror->crlf,
        .rows = rows,
        .field_count = count,
        .fields = fields,
        .raw_count = mirror->raw_count,
        .raw_places = blob_at(mirror, raw->places, raw->places_length),
        .raw_texts = blob_at(mirror, raw->texts, raw->texts_length),
    };
    an_text_clear(&mirror->piece);
    an_layout_write(&layout, &mirror->piece);
    an_free(fields);
    return mirror->piece.failed ? an_fail(err, AN_NO_MEMORY, "out of memory") : AN_OK;
}

static void begin_piece(struct an_mirror *mirror)
{
    for (size_t f = 0; f < mirror->field_count; f++) {
        memset(mirror->fields[f].blob_length, 0, sizeof mirror->fields[f].blob_length);
    }
    an_text_clear(&mirror->blobs);
    an_text_clear(&mirror->raw);
    mirror->raw_count = 0;
}

enum an_status an_mirror_piece(struct an_mirror *mirror, struct an_outbox *outbox, size_t rows,
                               struct an_error *err)
{
    struct raw_blobs raw = {0, 0, 0, 0};
    enum an_status st = AN_OK;

    if (mirror->failed || (!rows && !mirror->raw_count)) {
        return AN_OK;
    }
    st = pack_words(mirror, outbox, rows, err);
    if (!st && mirror->raw_count) {
        st = pack_raw(mirror, outbox, &raw, err);
    }
    if (!st && mirror->blobs.failed) {
        st = an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    st = st ? st : write_piece(mirror, rows, &raw, err);
    st = st ? st
            : an_outbox_piece(outbox,
                              (struct an_bytes){(const unsigned char *)an_text_of(&mirror->piece),
                                                mirror->piece.length},
                              err);
    begin_piece(mirror);
    return st;
}
