/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The folder's rows: records/ set by set, readings/ file by file. Must never hold more than a block. */
#include "andamento/base/output_folder.h"
#include "andamento/store/evidence.h"
#include "trace/evidence.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static enum an_status no_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory");
}

/* ---- records ----------------------------------------------------------------------------------- */
static enum an_status take_names(void *context, const char *const names[], size_t count,
                                 struct an_error *err)
{
    return an_evidence_table_names(context, names, count, true, err);
}

static enum an_status take_row(void *context, const struct an_evidence_cell cells[], size_t count,
                               struct an_error *err)
{
    struct an_evidence_table *table = context;
    an_evidence_table_begin_row(table);
    for (size_t c = 0; c < count; c++) {
        switch (cells[c].type) {
        case AN_CELL_INTEGER:
            an_evidence_table_integer(table, cells[c].integer);
            break;
        case AN_CELL_REAL:
            an_evidence_table_number(table, cells[c].real);
            break;
        case AN_CELL_TEXT:
            an_evidence_table_text(
                table, (struct an_bytes){(const unsigned char *)cells[c].text, cells[c].length});
            break;
        case AN_CELL_NULL:
        default:
            an_evidence_table_none(table);
            break;
        }
    }
    return an_evidence_table_end_row(table, err);
}

static enum an_status open_set(struct an_evidence_work *work, const char *name,
                               struct an_evidence_table **table)
{
    struct an_arena *arena = an_arena_open();
    char *path = arena ? an_arena_printf(arena, "records/%s", name) : NULL;
    char *schema = arena ? an_arena_printf(arena, "andamento.evidence.%s.1", name) : NULL;
    const enum an_status st =
        path && schema ? an_evidence_table_open(work->folder, path, schema, table, work->err)
                       : no_memory(work->err);
    an_arena_close(arena);
    return st;
}

static void put_text(struct an_evidence_table *table, const char *text)
{
    if (text) {
        an_evidence_table_text(table, an_bytes_of(text));
    } else {
        an_evidence_table_none(table);
    }
}

static enum an_status put_item(struct an_evidence_work *work, struct an_evidence_table *table,
                               const struct an_item *item, const struct an_trace_reached *reached)
{
    an_evidence_table_begin_row(table);
    an_evidence_table_text(table, an_bytes_of(item->kind));
    an_evidence_table_text(table, an_bytes_of(item->serial));
    put_text(table, reached ? reached->role : NULL);
    an_evidence_table_integer(table, reached ? reached->depth : 0);
    an_evidence_table_number(table, reached ? reached->share : 1.0);
    put_text(table, reached ? an_link_sure_word(reached->doubt) : NULL);
    put_text(table, !reached || reached->holds ? "yes" : "no");
    return an_evidence_table_end_row(table, work->err);
}

static enum an_status put_items(struct an_evidence_work *work, const struct an_trace *trace)
{
    static const char *const names[] = {"kind",        "serial",        "role",       "links_away",
                                        "share_of_it", "least_certain", "still_in_it"};
    struct an_evidence_table *table = NULL;
    enum an_status st = open_set(work, "items", &table);
    if (st) {
        return st;
    }
    st = an_evidence_table_names(table, names, sizeof names / sizeof *names, false, work->err);
    st = st ? st : put_item(work, table, &trace->item, NULL);
    for (size_t i = 0; !st && i < trace->reached_count; i++) {
        st = put_item(work, table, &trace->reached[i].item, &trace->reached[i]);
    }
    if (st) {
        an_evidence_table_drop(table);
        return st;
    }
    return an_evidence_table_close(table, work->err);
}

enum an_status an_evidence_put_records(struct an_evidence_work *work, const struct an_trace *trace)
{
    enum an_status st = put_items(work, trace);
    for (size_t set = 0; !st && set < an_evidence_set_count(); set++) {
        struct an_evidence_table *table = NULL;
        st = open_set(work, an_evidence_set_name(set), &table);
        if (st) {
            return st;
        }
        const struct an_evidence_sink sink = {table, take_names, take_row};
        st = an_evidence_rows(work->store, set, &sink, work->err);
        if (st) {
            an_evidence_table_drop(table);
        } else {
            st = an_evidence_table_close(table, work->err);
        }
    }
    return st;
}

/* ---- readings ---------------------------------------------------------------------------------- */
struct column { /* one column of the block at hand */
    bool has, is_text;
    struct an_number_block numbers;
    uint32_t *codes;
    struct an_bytes *texts;
    size_t text_count;
};

struct readings {
    struct an_evidence_work *work;
    struct an_evidence_table *table;
    int64_t file_id;
    int64_t *visit_ids;
    const char **serials;
    size_t visit_count;
    const char **names;
    size_t name_count;
};

static enum an_status read_column(const struct readings *r, const char *name, size_t block,
                                  struct an_arena *arena, struct column *column, size_t *rows)
{
    struct an_evidence_work *work = r->work;
    enum an_status st =
        an_store_has_block(work->store, r->file_id, name, block, &column->has, work->err);
    if (st || !column->has) {
        return st;
    }
    st = an_store_numbers(work->store, r->file_id, name, block, arena, &column->numbers, work->err);
    *rows = column->numbers.rows;
    if (st == AN_NOT_FOUND) {
        column->is_text = true;
        st = an_store_texts(work->store, r->file_id, name, block, arena, &column->codes, rows,
                            &column->texts, &column->text_count, work->err);
    }
    return st;
}

static void put_cell(struct an_evidence_table *table, const struct column *column, size_t row)
{
    if (column->has && column->is_text && column->codes[row] < column->text_count) {
        an_evidence_table_text(table, column->texts[column->codes[row]]);
    } else if (column->has && !column->is_text && column->numbers.scaled[row] != AN_CELL_MISSING) {
        an_evidence_table_decimal(table, column->numbers.scaled[row], column->numbers.decimals);
    } else {
        an_evidence_table_none(table);
    }
}

static int by_number(const void *a, const void *b)
{
    const int64_t x = *(const int64_t *)a;
    const int64_t y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

static enum an_status put_block(const struct readings *r, size_t block, struct an_arena *arena)
{
    struct column line = {0};
    struct column visit = {0};
    struct column *columns = an_arena_alloc(arena, r->name_count + 1, sizeof *columns);
    size_t rows = 0;
    size_t other = 0;
    enum an_status st = columns ? AN_OK : no_memory(r->work->err);
    st = st ? st : read_column(r, AN_COLUMN_LINE, block, arena, &line, &rows);
    st = st ? st : read_column(r, AN_COLUMN_VISIT, block, arena, &visit, &other);
    bool whole = line.has && visit.has && !line.is_text && !visit.is_text && rows == other;
    for (size_t c = 0; !st && whole && c < r->name_count; c++) {
        st = read_column(r, r->names[c], block, arena, &columns[c], &other);
        whole = !columns[c].has || rows == other;
    }
    if (!st && !whole) {
        st = an_fail(r->work->err, AN_NO_STORE,
                     "the readings of file %lld are damaged: run verify, which tells what",
                     (long long)r->file_id);
    }
    for (size_t i = 0; !st && i < rows; i++) {
        const int64_t id = visit.numbers.scaled[i];
        const int64_t *found =
            bsearch(&id, r->visit_ids, r->visit_count, sizeof *r->visit_ids, by_number);
        if (!found) {
            continue;
        }
        an_evidence_table_begin_row(r->table);
        an_evidence_table_integer(r->table, line.numbers.scaled[i]);
        an_evidence_table_text(r->table, an_bytes_of(r->serials[found - r->visit_ids]));
        for (size_t c = 0; c < r->name_count; c++) {
            put_cell(r->table, &columns[c], i);
        }
        st = an_evidence_table_end_row(r->table, r->work->err);
    }
    return st;
}

static enum an_status put_blocks(struct readings *r, struct an_arena *arena, size_t blocks)
{
    const char **titles = an_arena_alloc(arena, r->name_count + 2, sizeof *titles);
    if (!titles) {
        return no_memory(r->work->err);
    }
    titles[0] = "source_line";
    titles[1] = "source_item";
    for (size_t c = 0; c < r->name_count; c++) {
        titles[c + 2] = r->names[c];
    }
    enum an_status st =
        an_evidence_table_names(r->table, titles, r->name_count + 2, false, r->work->err);
    for (size_t block = 0; !st && block < blocks; block++) {
        struct an_arena *scratch = an_arena_open();
        st = scratch ? put_block(r, block, scratch) : no_memory(r->work->err);
        an_arena_close(scratch);
    }
    return st;
}

enum an_status an_evidence_put_readings(struct an_evidence_work *work, int64_t file_id,
                                        int64_t entry)
{
    struct readings r = {.work = work, .file_id = file_id};
    struct an_arena *arena = an_arena_open();
    size_t blocks = 0;
    char *path = arena ? an_arena_printf(arena, "readings/%lld", (long long)entry) : NULL;
    enum an_status st = path ? AN_OK : no_memory(work->err);
    if (!st) {
        st = an_evidence_visits(work->store, file_id, arena, &r.visit_ids, &r.serials,
                                &r.visit_count, work->err);
    }
    st = st ? st : an_store_block_count(work->store, file_id, &blocks, work->err);
    if (!st && blocks && r.visit_count) { /* else: none, or dropped */
        st = an_evidence_columns(work->store, file_id, arena, &r.names, &r.name_count, work->err);
        if (!st) {
            st = an_evidence_table_open(work->folder, path, "andamento.evidence.readings.1",
                                        &r.table, work->err);
        }
        st = st ? st : put_blocks(&r, arena, blocks);
        if (st) {
            an_evidence_table_drop(r.table);
        } else {
            st = an_evidence_table_close(r.table, work->err);
        }
    }
    an_arena_close(arena);
    return st;
}
