/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Reads rows in doubt and the rows they may repeat out of packed columns. Must never unpack a block
 * that no wanted row stands in: an earlier file may have many.
 */
#include "intake/conflict_rows.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct column_cells {
    struct an_number_block numbers;
    bool has_numbers, has_texts;
    uint32_t *codes;
    struct an_bytes *texts;
    size_t text_rows, text_count;
};

struct reader {
    struct an_finish *finish;
    struct an_error *err;
    struct an_arena *arena; /* of one block after the other */
    struct column_cells *cells;
    bool *common; /* columns that all files have */
    struct an_text bytes;
    struct an_known_rows *old, *now;
};

static enum an_status out_of_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory");
}

/* ---- cells out of blocks ------------------------------------------------------------------------ */
static enum an_status read_texts(struct reader *c, int64_t file_id, const char *name, size_t block,
                                 struct column_cells *cells)
{
    struct an_error err = {0};
    const enum an_status st =
        an_store_texts(c->finish->store, file_id, name, block, c->arena, &cells->codes,
                       &cells->text_rows, &cells->texts, &cells->text_count, &err);

    cells->has_texts = st == AN_OK;
    if (st && st != AN_NOT_FOUND) {
        *c->err = err;
        return st;
    }
    return AN_OK;
}

static enum an_status read_column(struct reader *c, int64_t file_id, size_t column, size_t block)
{
    struct column_cells *cells = &c->cells[column];
    const char *name = c->finish->plan->columns[column].name;
    const char *beside = an_arena_printf(c->arena, "%s@text", name);
    struct an_error err = {0};

    memset(cells, 0, sizeof *cells);
    if (!beside) {
        return out_of_memory(c->err);
    }
    const enum an_status st =
        an_store_numbers(c->finish->store, file_id, name, block, c->arena, &cells->numbers, &err);
    cells->has_numbers = st == AN_OK;
    if (st && st != AN_NOT_FOUND) {
        *c->err = err;
        return st;
    }
    return read_texts(c, file_id, cells->has_numbers ? beside : name, block, cells);
}

static enum an_status begin_block(struct reader *c)
{
    an_arena_close(c->arena);
    c->arena = an_arena_open();
    return c->arena ? AN_OK : out_of_memory(c->err);
}

static enum an_status read_cells(struct reader *c, int64_t file_id, size_t block)
{
    enum an_status st = AN_OK;

    for (size_t i = 0; !st && i < c->finish->plan->column_count; i++) {
        st = read_column(c, file_id, i, block);
    }
    return st;
}

static struct an_bytes text_at(const struct column_cells *cells, size_t row)
{
    if (!cells->has_texts || row >= cells->text_rows || cells->codes[row] >= cells->text_count) {
        return (struct an_bytes){NULL, 0};
    }
    return cells->texts[cells->codes[row]];
}

static bool number_at(const struct column_cells *cells, size_t row, struct an_decimal *number)
{
    if (cells->has_numbers && row < cells->numbers.rows &&
        cells->numbers.scaled[row] != AN_CELL_MISSING) {
        number->scaled = cells->numbers.scaled[row];
        number->decimals = cells->numbers.decimals;
        return true;
    }
    /* a number that did not fit the scale of its block was kept as it was written */
    const struct an_bytes text = text_at(cells, row);
    return cells->has_numbers && text.length && an_decimal_parse(text, '.', 0, number) == AN_OK;
}

static void add_number(struct an_text *out, struct an_decimal number)
{
    while (number.scaled && number.scaled % 10 == 0) {
        number.scaled /= 10;
        number.decimals--;
    }
    an_text_addf(out, "%lld/%d", (long long)number.scaled, number.scaled ? number.decimals : 0);
}

static void add_cell(struct reader *c, size_t column, size_t row)
{
    const struct column_cells *cells = &c->cells[column];
    struct an_decimal number;

    if (number_at(cells, row, &number)) {
        an_text_add_char(&c->bytes, 'n');
        add_number(&c->bytes, number);
    } else {
        const struct an_bytes text = text_at(cells, row);

        an_text_addf(&c->bytes, "t%zu:", text.length);
        an_text_add_bytes(&c->bytes, text);
    }
    an_text_add_char(&c->bytes, '\n');
}

static struct an_row_print print_of_bytes(struct reader *c)
{
    return an_row_print_of(
        (struct an_bytes){(const unsigned char *)an_text_of(&c->bytes), c->bytes.length});
}

static double plain_number(const struct column_cells *cells, size_t row)
{
    struct an_decimal number;

    if (number_at(cells, row, &number)) {
        return an_decimal_value(number.scaled, number.decimals);
    }
    return an_decimal_parse(an_bytes_trim(text_at(cells, row)), '.', 0, &number) == AN_OK
               ? an_decimal_value(number.scaled, number.decimals)
               : (double)NAN;
}

static enum an_status add_row(struct reader *c, struct an_known_rows *rows, struct an_known_row row,
                              size_t at)
{
    const struct an_plan *plan = c->finish->plan;
    void *array = rows->at;

    if (!an_grow(&array, rows->count, &rows->capacity, sizeof *rows->at)) {
        return out_of_memory(c->err);
    }
    rows->at = array;
    an_text_clear(&c->bytes);
    for (size_t i = 0; i < plan->column_count; i++) {
        if (c->common[i]) {
            add_cell(c, i, at);
        }
    }
    row.print = print_of_bytes(c);
    an_text_clear(&c->bytes);
    for (size_t i = 0; i < plan->key_count; i++) {
        if (c->common[plan->key[i]]) {
            add_cell(c, plan->key[i], at);
        }
    }
    row.key = print_of_bytes(c);
    row.attempt =
        plan->attempt == AN_NONE ? (double)NAN : plain_number(&c->cells[plan->attempt], at);
    row.has_reason =
        plan->reason != AN_NONE && an_bytes_trim(text_at(&c->cells[plan->reason], at)).length > 0;
    rows->at[rows->count++] = row;
    return c->bytes.failed ? out_of_memory(c->err) : AN_OK;
}

/* ---- both sides --------------------------------------------------------------------------------- */
struct wanted { /* an earlier visit that some doubt wants */
    int64_t file_id, visit_id;
    uint32_t doubt, visit;
};

static int compare_wanted(const void *a, const void *b)
{
    const struct wanted *one = a;
    const struct wanted *other = b;

    if (one->file_id != other->file_id) {
        return one->file_id < other->file_id ? -1 : 1;
    }
    if (one->visit_id != other->visit_id) {
        return one->visit_id < other->visit_id ? -1 : 1;
    }
    return (one->doubt > other->doubt) - (one->doubt < other->doubt);
}

static struct wanted *list_wanted(const struct an_look *look, size_t *count)
{
    size_t most = 1;

    for (size_t i = 0; i < look->doubt_count; i++) {
        most += look->doubts[i].earlier_count;
    }
    struct wanted *list = an_alloc(most, sizeof *list);
    *count = 0;
    for (size_t i = 0; list && i < look->doubt_count; i++) {
        for (size_t k = 0; k < look->doubts[i].earlier_count; k++) {
            const struct an_earlier_visit *visit = &look->doubts[i].earlier[k];

            list[(*count)++] =
                (struct wanted){visit->file_id, visit->visit_id, (uint32_t)i, (uint32_t)k};
        }
    }
    if (list) {
        qsort(list, *count, sizeof *list, compare_wanted);
    }
    return list;
}

static size_t first_not_below(const struct wanted *list, size_t count, const struct wanted *key)
{
    size_t lo = 0;
    size_t hi = count;

    while (lo < hi) {
        const size_t middle = lo + (hi - lo) / 2;
        if (compare_wanted(&list[middle], key) < 0) {
            lo = middle + 1;
        } else {
            hi = middle;
        }
    }
    return lo;
}

/* Columns that this earlier file lacks are not compared. A file whose readings were dropped has no
 * say. */
static enum an_status drop_columns(struct reader *c, const struct wanted *list, size_t count)
{
    const struct an_plan *plan = c->finish->plan;
    bool any = false;
    enum an_status st =
        an_store_has_block(c->finish->store, list[0].file_id, AN_COLUMN_VISIT, 0, &any, c->err);

    (void)count;
    for (size_t i = 0; !st && any && i < plan->column_count; i++) {
        bool found = false;

        st = an_store_has_block(c->finish->store, list[0].file_id, plan->columns[i].name, 0, &found,
                                c->err);
        c->common[i] = c->common[i] && found;
    }
    return st;
}

/* The wanted rows of one block. Most blocks of a file have none, which its visits tell alone. */
static enum an_status read_old_block(struct reader *c, const struct wanted *list, size_t count,
                                     size_t block)
{
    struct an_store *store = c->finish->store;
    const int64_t file_id = list[0].file_id;
    struct an_number_block visits = {0};
    struct an_number_block lines = {0};
    bool is_read = false;
    enum an_status st = begin_block(c);

    st = st ? st
            : an_store_numbers(store, file_id, AN_COLUMN_VISIT, block, c->arena, &visits, c->err);
    for (size_t i = 0; !st && i < visits.rows; i++) {
        const struct wanted key = {file_id, visits.scaled[i], 0, 0};

        for (size_t k = first_not_below(list, count, &key);
             !st && k < count && list[k].visit_id == visits.scaled[i]; k++) {
            if (!is_read) {
                is_read = true;
                st = an_store_numbers(store, file_id, AN_COLUMN_LINE, block, c->arena, &lines,
                                      c->err);
                st = st ? st : read_cells(c, file_id, block);
            }
            if (!st) {
                st = add_row(c, c->old,
                             (struct an_known_row){.doubt = list[k].doubt,
                                                   .visit = list[k].visit,
                                                   .line = (uint64_t)lines.scaled[i],
                                                   .file_id = file_id},
                             i);
            }
        }
    }
    return st;
}

/* The rows of one earlier file that are wanted; of a file whose readings were dropped, none. */
static enum an_status read_old_file(struct reader *c, const struct wanted *list, size_t count)
{
    size_t blocks = 0;
    enum an_status st = an_store_block_count(c->finish->store, list[0].file_id, &blocks, c->err);

    for (size_t block = 0; !st && block < blocks; block++) {
        st = read_old_block(c, list, count, block);
    }
    return st;
}

/* What is to be done with the wanted visits of one file. */
typedef enum an_status of_one_file(struct reader *c, const struct wanted *list, size_t count);

static enum an_status each_old_file(struct reader *c, const struct wanted *list, size_t count,
                                    of_one_file *act)
{
    enum an_status st = AN_OK;

    for (size_t at = 0; !st && at < count;) {
        size_t end = at + 1;

        while (end < count && list[end].file_id == list[at].file_id) {
            end++;
        }
        st = act(c, list + at, end - at);
        at = end;
    }
    return st;
}

static bool is_text_of(const struct reader *c, size_t column, size_t at, struct an_bytes text)
{
    return column == AN_NONE || an_bytes_equal(text_at(&c->cells[column], at), text);
}

static int64_t place_of(const struct reader *c, size_t column, size_t at)
{
    struct an_decimal number;

    return column != AN_NONE && number_at(&c->cells[column], at, &number)
               ? (int64_t)an_decimal_value(number.scaled, number.decimals)
               : -1;
}

static bool is_end(const struct reader *c, const struct an_plan_link *link, size_t at)
{
    return link->rule->ends &&
           (link->ends == AN_NONE ||
            an_word_in(text_at(&c->cells[link->ends], at), &link->rule->ends_words));
}

/* An item's own serial, or a link, as it stands in the block at hand. */
static bool is_of(const struct reader *c, const struct an_unknown *unknown, size_t at)
{
    if (unknown->link == AN_NONE) {
        return true;
    }
    const struct an_plan_link *link = &c->finish->plan->links[unknown->link];
    if (!an_bytes_equal(text_at(&c->cells[link->column], at), unknown->serial)) {
        return false;
    }
    return unknown->reason == AN_HOLD_PARENT_UNKNOWN ||
           (is_text_of(c, link->role, at, unknown->role) &&
            is_text_of(c, link->region, at, unknown->region) &&
            place_of(c, link->row, at) == unknown->row &&
            place_of(c, link->column_place, at) == unknown->column && !is_end(c, link, at));
}

static enum an_status read_now(struct reader *c)
{
    struct an_look *look = c->finish->look;
    enum an_status st = AN_OK;
    uint32_t block = UINT32_MAX;
    struct an_number_block lines = {0};

    for (size_t i = 0; !st && i < look->row_count; i++) {
        const struct an_doubtful_row *row = &look->rows[i];

        if (row->block != block) {
            block = row->block;
            st = begin_block(c);
            st = st ? st : read_cells(c, c->finish->file_id, block);
            st = st ? st
                    : an_store_numbers(c->finish->store, c->finish->file_id, AN_COLUMN_LINE, block,
                                       c->arena, &lines, c->err);
        }
        if (st) {
            return st;
        }
        struct an_known_row known = {
            .doubt = row->doubt,
            .row = row->row,
            .line = row->index < lines.rows ? (uint64_t)lines.scaled[row->index] : 0};
        const struct an_unknown *unknown = look->doubts[row->doubt].unknown;
        while (unknown && !is_of(c, unknown, row->index)) {
            unknown = unknown->next;
        }
        known.unknown = unknown;
        st = add_row(c, c->now, known, row->index);
    }
    return st;
}

enum an_status an_conflict_rows(struct an_finish *finish, struct an_known_rows *old,
                                struct an_known_rows *now, struct an_error *err)
{
    const size_t columns = finish->plan->column_count;
    struct reader c = {.finish = finish, .err = err, .old = old, .now = now};
    size_t count = 0;
    struct wanted *list = list_wanted(finish->look, &count);
    enum an_status st = AN_OK;

    c.cells = an_alloc(columns + 1, sizeof *c.cells);
    c.common = an_alloc(columns + 1, sizeof *c.common);
    if (!list || !c.cells || !c.common) {
        st = out_of_memory(err);
        goto done;
    }
    memset(c.common, true, columns);
    st = each_old_file(&c, list, count, drop_columns);
    st = st ? st : each_old_file(&c, list, count, read_old_file);
    st = st ? st : read_now(&c);
done:
    an_free(list);
    an_free(c.cells);
    an_free(c.common);
    an_text_free(&c.bytes);
    an_arena_close(c.arena);
    return st;
}
