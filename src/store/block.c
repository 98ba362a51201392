/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Blocks: the readings of a file by column. What the bytes are, packed.h knows; this file puts
 * them into rows and gets them out.
 */
#include "store/handle.h"
#include "store/packed.h"

static enum an_status put_block(struct an_store *store, int64_t file_id, const char *column,
                                size_t block, size_t rows, int kind, struct an_bytes packed,
                                struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO block (block_id, file_id, column_name, block_no, kind, row_count, packed)"
        " VALUES ($1, $2, $3, $4, $5, $6, $7)";
    struct an_query query;
    int64_t id = 0;
    enum an_status st = an_store_take_id(store, AN_COUNT_BLOCK, &id, err);
    if (!st) {
        st = an_query_start_put(&query, store, sql, "storing readings", err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, id);
    an_query_int(&query, file_id);
    an_query_text(&query, column);
    an_query_int(&query, (int64_t)block);
    an_query_int(&query, kind);
    an_query_int(&query, (int64_t)rows);
    an_query_blob(&query, packed.at, packed.length);
    return an_query_run_put(&query, AN_PART_BLOCK, err);
}

enum an_status an_store_put_packed(struct an_store *store, int64_t file_id, const char *column,
                                   size_t block, size_t rows, struct an_bytes packed,
                                   struct an_error *err)
{
    const enum an_status st = an_tally_check(store, file_id, "storing readings", err);

    if (!st && packed.length == 0) {
        return an_fail(err, AN_BUG, "storing readings: column '%s' was not packed", column);
    }
    return st ? st : put_block(store, file_id, column, block, rows, packed.at[0], packed, err);
}

static enum an_status packing_failed(enum an_status st, const char *column, struct an_error *err)
{
    return st == AN_NO_MEMORY
               ? an_fail(err, st, "storing readings: memory ran out")
               : an_fail(err, AN_BUG, "storing readings: column '%s' cannot be packed", column);
}

enum an_status an_store_put_numbers(struct an_store *store, int64_t file_id, const char *column,
                                    size_t block, const struct an_number_block *cells,
                                    struct an_error *err)
{
    struct an_bytes packed;
    enum an_status st = an_tally_check(store, file_id, "storing readings", err);
    if (st) {
        return st;
    }
    st = an_pack_numbers(store->packer, cells, &packed);
    return st ? packing_failed(st, column, err)
              : put_block(store, file_id, column, block, cells->rows, AN_PACKED_NUMBERS, packed,
                          err);
}

enum an_status an_store_put_texts(struct an_store *store, int64_t file_id, const char *column,
                                  size_t block, size_t rows, const uint32_t *codes,
                                  const struct an_bytes *texts, size_t text_count,
                                  struct an_error *err)
{
    struct an_bytes packed;
    enum an_status st = an_tally_check(store, file_id, "storing readings", err);
    if (st) {
        return st;
    }
    st = an_pack_texts(store->packer, rows, codes, texts, text_count, &packed);
    return st ? packing_failed(st, column, err)
              : put_block(store, file_id, column, block, rows, AN_PACKED_TEXTS, packed, err);
}

enum an_status an_store_block_count(struct an_store *store, int64_t file_id, size_t *blocks,
                                    struct an_error *err)
{
    static const char sql[] = "SELECT max(block_no) + 1 FROM block WHERE file_id = $1";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "counting blocks", err);
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    st = an_query_row(&query, &found, err);
    if (!st) {
        *blocks = (size_t)an_column_int_or(&query, 0, 0);
        an_query_end(&query);
    }
    return st;
}

enum an_status an_store_has_block(struct an_store *store, int64_t file_id, const char *column,
                                  size_t block, bool *has, struct an_error *err)
{
    static const char sql[] = "SELECT 1 FROM block"
                              " WHERE file_id = $1 AND column_name = $2 AND block_no = $3";
    struct an_query query;
    enum an_status st = an_query_start(&query, store, sql, "looking for readings", err);

    *has = false;
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    an_query_text(&query, column);
    an_query_int(&query, (int64_t)block);
    st = an_query_row(&query, has, err);
    an_query_end(&query);
    return st;
}

/* The query is left at the row, for its bytes to be read in place. */
static enum an_status find_block(struct an_query *query, struct an_store *store, int64_t file_id,
                                 const char *column, size_t block, struct an_bytes *packed,
                                 struct an_error *err)
{
    static const char sql[] = "SELECT packed FROM block"
                              " WHERE file_id = $1 AND column_name = $2 AND block_no = $3";
    bool found = false;
    enum an_status st = an_query_start(query, store, sql, "reading readings", err);
    if (st) {
        return st;
    }
    an_query_int(query, file_id);
    an_query_text(query, column);
    an_query_int(query, (int64_t)block);
    st = an_query_row(query, &found, err);
    if (!st && !found) {
        st = an_fail(err, AN_NOT_FOUND, "file %lld has no block %zu of a column '%s'",
                     (long long)file_id, block, column);
    }
    if (!st) {
        packed->at = sqlite3_column_blob(query->stmt, 0);
        packed->length = (size_t)sqlite3_column_bytes(query->stmt, 0);
    }
    return st;
}

static enum an_status unpacking_failed(const struct an_store *store, enum an_status st,
                                       int64_t file_id, const char *column, struct an_error *err)
{
    return st == AN_NO_MEMORY
               ? an_fail(err, st, "reading readings: memory ran out")
               : an_fail(err, AN_NO_STORE, "'%s' is damaged: column '%s' of file %lld", store->path,
                         column, (long long)file_id);
}

enum an_status an_store_numbers(struct an_store *store, int64_t file_id, const char *column,
                                size_t block, struct an_arena *arena, struct an_number_block *cells,
                                struct an_error *err)
{
    struct an_query query;
    struct an_bytes packed = {NULL, 0};
    enum an_status st = find_block(&query, store, file_id, column, block, &packed, err);
    if (!st) {
        if (packed.length && packed.at[0] == AN_PACKED_TEXTS) {
            st = an_fail(err, AN_NOT_FOUND, "column '%s' of file %lld holds texts, not numbers",
                         column, (long long)file_id);
        } else {
            st = an_unpack_numbers(store->packer, packed, arena, cells);
            st = st ? unpacking_failed(store, st, file_id, column, err) : AN_OK;
        }
    }
    an_query_end(&query);
    return st;
}

enum an_status an_store_texts(struct an_store *store, int64_t file_id, const char *column,
                              size_t block, struct an_arena *arena, uint32_t **codes, size_t *rows,
                              struct an_bytes **texts, size_t *text_count, struct an_error *err)
{
    struct an_query query;
    struct an_bytes packed = {NULL, 0};
    enum an_status st = find_block(&query, store, file_id, column, block, &packed, err);
    if (!st) {
        if (packed.length && packed.at[0] == AN_PACKED_NUMBERS) {
            st = an_fail(err, AN_NOT_FOUND, "column '%s' of file %lld holds numbers, not texts",
                         column, (long long)file_id);
        } else {
            st = an_unpack_texts(store->packer, packed, arena, codes, rows, texts, text_count);
            st = st ? unpacking_failed(store, st, file_id, column, err) : AN_OK;
        }
    }
    an_query_end(&query);
    return st;
}
