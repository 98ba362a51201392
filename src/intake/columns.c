/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Gathers the cells of taken rows into blocks. Must keep what was written to the last decimal: a
 * number that does not fit the block's scale is kept as text, never rounded.
 */
#include "intake/columns.h"

#include "intake/mirror.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

static const uint32_t no_code = UINT32_MAX;

static bool name_column(struct an_columns *columns, size_t i)
{
    const struct an_plan_column *column = &columns->plan->columns[i];
    struct an_block_column *block = &columns->at[i];
    const bool value = column->uses & AN_USE_VALUE;
    const bool time = column->uses & AN_USE_TIME;
    const bool grid = column->uses & AN_USE_GRID;
    const bool text = column->uses & AN_USE_TEXT;

    if (value || time || (grid && !text)) {
        block->number_name = column->name;
        block->text_name = text ? an_arena_printf(columns->arena, "%s@text", column->name) : NULL;
        block->odd_name = text ? NULL : an_arena_printf(columns->arena, "%s@text", column->name);
        return text ? block->text_name != NULL : block->odd_name != NULL;
    }
    block->text_name = column->name;
    if (grid) {
        block->number_name = an_arena_printf(columns->arena, "%s@number", column->name);
        return block->number_name != NULL;
    }
    return true;
}

enum an_status an_columns_open(struct an_columns *columns, const struct an_plan *plan,
                               size_t block_rows, struct an_error *err)
{
    memset(columns, 0, sizeof *columns);
    columns->plan = plan;
    columns->most = block_rows;
    columns->arena = an_arena_open();
    columns->at = an_alloc(plan->column_count + 1, sizeof *columns->at);
    bool good = columns->arena && columns->at;
    for (size_t i = 0; good && i < plan->column_count; i++) {
        columns->at[i].words = an_names_open();
        good = columns->at[i].words && name_column(columns, i);
    }
    return good ? AN_OK : an_fail(err, AN_NO_MEMORY, "out of memory");
}

void an_columns_empty(struct an_columns *columns)
{
    for (size_t i = 0; columns->at && i < columns->plan->column_count; i++) {
        struct an_block_column *block = &columns->at[i];

        an_free(block->scaled);
        an_free(block->decimals);
        an_free(block->codes);
        an_names_close(block->words);
        block->scaled = NULL;
        block->decimals = NULL;
        block->codes = NULL;
        block->words = NULL;
    }
    an_free(columns->lines);
    an_free(columns->texts);
    columns->lines = NULL;
    columns->texts = NULL;
    columns->capacity = columns->texts_capacity = 0;
}

void an_columns_close(struct an_columns *columns)
{
    an_columns_empty(columns);
    an_free(columns->at);
    an_arena_close(columns->arena);
    memset(columns, 0, sizeof *columns);
}

/* ---- adding ----------------------------------------------------------------------------------- */
static bool resize_column(struct an_block_column *block, size_t capacity)
{
    uint32_t *codes = an_resize(block->codes, capacity, sizeof *codes);

    if (!codes) {
        return false;
    }
    block->codes = codes;
    if (!block->number_name) {
        return true;
    }
    int64_t *scaled = an_resize(block->scaled, capacity, sizeof *scaled);
    if (!scaled) {
        return false;
    }
    block->scaled = scaled;
    signed char *decimals = an_resize(block->decimals, capacity, sizeof *decimals);
    if (!decimals) {
        return false;
    }
    block->decimals = decimals;
    return true;
}

/* Small files stay small: arrays double up to a block's rows. */
static bool grow(struct an_columns *columns, size_t rows)
{
    if (columns->rows + rows <= columns->capacity) {
        return true;
    }
    size_t capacity = columns->capacity ? 2 * columns->capacity : 256;
    while (capacity < columns->rows + rows) {
        capacity *= 2;
    }
    capacity = capacity > columns->most ? columns->most : capacity;
    int64_t *lines = an_resize(columns->lines, capacity, sizeof *lines);
    if (!lines) {
        return false;
    }
    columns->lines = lines;
    for (size_t i = 0; i < columns->plan->column_count; i++) {
        if (!resize_column(&columns->at[i], capacity)) {
            return false;
        }
    }
    columns->capacity = capacity;
    return true;
}

size_t an_columns_room(struct an_columns *columns, size_t rows)
{
    const size_t left = columns->most - columns->rows;

    rows = rows > left ? left : rows;
    return grow(columns, rows) ? rows : 0;
}

static bool add_text(struct an_block_column *block, size_t at, struct an_bytes text)
{
    if (!text.length) {
        block->codes[at] = no_code;
        return true;
    }
    const size_t code = an_names_add(block->words, text);
    block->codes[at] = code == AN_NO_NAME ? no_code : (uint32_t)code;
    return code != AN_NO_NAME;
}

static bool add_number(struct an_columns *columns, size_t i, struct an_row *row)
{
    struct an_block_column *block = &columns->at[i];
    const size_t at = columns->rows;
    const bool is_number = an_row_number(row, columns->plan, i) == AN_CELL_NUMBER;
    const struct an_decimal number = row->cells[i].number;

    block->scaled[at] = is_number ? number.scaled : AN_CELL_MISSING;
    /* of a missing cell they say nothing: those of the one before keep a usual block uniform */
    block->decimals[at] = is_number ? (signed char)number.decimals
                          : at      ? block->decimals[at - 1]
                                    : 0;
    if (block->text_name) {
        return true;
    }
    block->has_odd = block->has_odd || (!is_number && row->cells[i].text.length);
    return add_text(block, at, is_number ? (struct an_bytes){NULL, 0} : row->cells[i].text);
}

enum an_status an_columns_add(struct an_columns *columns, struct an_row *row, struct an_error *err)
{
    const struct an_plan *plan = columns->plan;
    bool good = grow(columns, 1);
    const size_t at = columns->rows;

    for (size_t i = 0; good && i < plan->column_count; i++) {
        struct an_block_column *block = &columns->at[i];

        if (block->text_name) {
            good = add_text(block, at, i == plan->item ? row->serial : row->cells[i].text);
        }
        if (good && (plan->columns[i].uses & AN_USE_TIME)) {
            block->scaled[at] = row->at_us;
            block->decimals[at] = 6;
            block->codes[at] = block->text_name ? block->codes[at] : no_code;
        } else if (good && block->number_name) {
            good = add_number(columns, i, row);
        }
    }
    if (!good) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    columns->lines[at] = (int64_t)row->line;
    columns->rows++;
    return AN_OK;
}

/* ---- one scale for a block -------------------------------------------------------------------- */
/* scaled * 10^-from as a whole number times 10^-to; false if it is none or does not fit. */
static bool rescale(int64_t *scaled, int from, int to)
{
    int64_t value = *scaled;

    for (; from < to && value; from++) {
        if (__builtin_mul_overflow(value, INT64_C(10), &value)) {
            return false;
        }
    }
    for (; from > to && value; from--) {
        if (value % 10) {
            return false;
        }
        value /= 10;
    }
    *scaled = value;
    return value != AN_CELL_MISSING;
}

static bool fits_all(const struct an_block_column *block, size_t rows, int decimals)
{
    for (size_t i = 0; i < rows; i++) {
        int64_t value = block->scaled[i];

        if (value != AN_CELL_MISSING && !rescale(&value, block->decimals[i], decimals)) {
            return false;
        }
    }
    return true;
}

static size_t count_fitting(const struct an_block_column *block, size_t rows, int decimals)
{
    size_t fitting = 0;

    for (size_t i = 0; i < rows; i++) {
        int64_t value = block->scaled[i];

        fitting += value != AN_CELL_MISSING && rescale(&value, block->decimals[i], decimals);
    }
    return fitting;
}

static bool is_uniform(const struct an_block_column *block, size_t rows)
{
    unsigned char other = 0;

    for (size_t i = 0; i < rows; i++) {
        other |= (unsigned char)(block->decimals[i] ^ block->decimals[0]);
    }
    return other == 0;
}

/* The most decimals written, if everything fits; else the scale that fits most cells. */
static int choose_decimals(const struct an_block_column *block, size_t rows)
{
    int most = -18;
    bool any = false;

    for (size_t i = 0; i < rows; i++) {
        if (block->scaled[i] != AN_CELL_MISSING) {
            most = block->decimals[i] > most ? block->decimals[i] : most;
            any = true;
        }
    }
    if (!any) {
        return 0;
    }
    if (fits_all(block, rows, most)) {
        return most;
    }
    int best = most;
    size_t best_count = 0;
    for (int decimals = most; decimals >= -18; decimals--) {
        const size_t fitting = count_fitting(block, rows, decimals);

        if (fitting > best_count) {
            best = decimals;
            best_count = fitting;
        }
    }
    return best;
}

static bool keep_as_text(struct an_block_column *block, size_t at)
{
    char text[48];
    const int length =
        snprintf(text, sizeof text, "%" PRId64 "e%d", block->scaled[at], -block->decimals[at]);
    const struct an_bytes bytes = {(const unsigned char *)text, (size_t)length};

    block->has_odd = true;
    return block->text_name || add_text(block, at, bytes); /* else its text is there as it was */
}

static bool make_one_scale(struct an_block_column *block, size_t rows, int decimals)
{
    bool good = true;

    for (size_t i = 0; i < rows && good; i++) {
        if (block->scaled[i] == AN_CELL_MISSING ||
            rescale(&block->scaled[i], block->decimals[i], decimals)) {
            continue;
        }
        good = keep_as_text(block, i);
        block->scaled[i] = AN_CELL_MISSING;
    }
    return good;
}

/* ---- handing over ----------------------------------------------------------------------------- */
static enum an_status put_texts(struct an_columns *columns, struct an_outbox *outbox,
                                struct an_block_column *block, const char *name,
                                struct an_error *err)
{
    const size_t count = an_names_count(block->words);

    if (count > columns->texts_capacity) {
        struct an_bytes *more = an_resize(columns->texts, count, sizeof *more);

        if (!more) {
            return an_fail(err, AN_NO_MEMORY, "out of memory");
        }
        columns->texts = more;
        columns->texts_capacity = count;
    }
    for (size_t i = 0; i < count; i++) {
        columns->texts[i] = an_names_at(block->words, i);
    }
    return an_outbox_texts(outbox, name, columns->block, columns->rows, block->codes,
                           columns->texts, count, err);
}

/* The original needs to know how many decimals each number was written with. */
static enum an_status keep_decimals(struct an_columns *columns, struct an_outbox *outbox,
                                    size_t column, int decimals, struct an_error *err)
{
    const struct an_block_column *block = &columns->at[column];
    struct an_bytes packed = {NULL, 0};

    if (!columns->mirror || columns->mirror->failed) {
        return AN_OK;
    }
    if (!fits_all(block, columns->rows, decimals)) { /* some will be texts of another kind */
        columns->mirror->failed = true;
        return AN_OK;
    }
    int64_t *each = an_alloc(columns->rows, sizeof *each);
    if (!each) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    for (size_t i = 0; i < columns->rows; i++) {
        each[i] = block->decimals[i];
    }
    const struct an_number_block cells = {columns->rows, 0, each};
    const enum an_status st = an_outbox_pack_numbers(outbox, &cells, &packed, err);
    an_free(each);
    if (st) {
        return st;
    }
    an_mirror_packed(columns->mirror, column, 1, packed);
    return AN_OK;
}

static enum an_status put_column(struct an_columns *columns, struct an_outbox *outbox,
                                 struct an_block_column *block, struct an_error *err)
{
    enum an_status st = AN_OK;

    if (block->number_name) {
        const bool uniform = is_uniform(block, columns->rows);
        const size_t column = (size_t)(block - columns->at);
        const int decimals = uniform ? block->decimals[0] : choose_decimals(block, columns->rows);

        if (!uniform) {
            st = keep_decimals(columns, outbox, column, decimals, err);
        }
        if (!st && !uniform && !make_one_scale(block, columns->rows, decimals)) {
            st = an_fail(err, AN_NO_MEMORY, "out of memory");
        }
        if (st) {
            return st;
        }
        const struct an_number_block cells = {columns->rows, decimals, block->scaled};
        st = an_outbox_numbers(outbox, block->number_name, columns->block, &cells, err);
        if (!st && columns->mirror) {
            an_mirror_packed(columns->mirror, column, 0, outbox->packed);
            columns->mirror->failed = columns->mirror->failed || decimals < 0 || decimals > 18;
        }
    }
    const char *name = block->text_name ? block->text_name
                       : block->has_odd ? block->odd_name
                                        : NULL;
    if (!st && name) {
        st = put_texts(columns, outbox, block, name, err);
        if (!st && columns->mirror) {
            an_mirror_packed(columns->mirror, (size_t)(block - columns->at), 2, outbox->packed);
        }
    }
    an_names_clear(block->words);
    block->has_odd = false;
    return st;
}

enum an_status an_columns_flush(struct an_columns *columns, struct an_outbox *outbox,
                                struct an_error *err)
{
    const struct an_number_block lines = {columns->rows, 0, columns->lines};

    if (!columns->rows) {
        return AN_OK;
    }
    enum an_status st = an_outbox_numbers(outbox, AN_COLUMN_LINE, columns->block, &lines, err);
    for (size_t i = 0; !st && i < columns->plan->column_count; i++) {
        st = put_column(columns, outbox, &columns->at[i], err);
    }
    if (!st && columns->mirror) {
        st = an_mirror_piece(columns->mirror, outbox, columns->rows, err);
    }
    columns->rows = 0;
    columns->block++;
    return st;
}
