/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Running statements: prepared once and kept on the handle, parameters bound in order, each result
 * of SQLite mapped to a status with words. It must never print a value into SQL.
 *
 * The one hard idea: a value that belongs to a file's digest is encoded where it is bound, so the
 * digest and the row are made of the same calls (AN_PART_...; coding.h).
 */
#include "store/coding.h"
#include "store/handle.h"
#include "store/lock.h"

#include <math.h>
#include <string.h>

enum an_status an_sql_fail(struct an_store *store, int rc, const char *doing, struct an_error *err)
{
    const char *path = store->path ? store->path : "";
    if (rc == SQLITE_IOERR_NOMEM) {
        rc = SQLITE_NOMEM; /* the disk is not to blame */
    }
    switch (rc & 0xff) {
    case SQLITE_OK:
    case SQLITE_ROW:
    case SQLITE_DONE:
        return AN_OK;
    case SQLITE_NOMEM:
        return an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing);
    case SQLITE_FULL:
    case SQLITE_IOERR:
    case SQLITE_CANTOPEN:
        store->failed = true;
        return an_fail(err, AN_IO,
                       "%s in '%s': reading or writing failed (%s); the disk may be full; "
                       "nothing more is stored until the program is started again",
                       doing, path, sqlite3_errstr(rc));
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
    case SQLITE_PROTOCOL:
        return an_fail(err, AN_BUSY, "%s in '%s': another program uses the store; try again later",
                       doing, path);
    case SQLITE_CORRUPT:
    case SQLITE_NOTADB:
        store->failed = true;
        return an_fail(err, AN_NO_STORE,
                       "%s: '%s' is damaged or not a store (%s); restore it from a backup", doing,
                       path, sqlite3_errstr(rc));
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH:
        return an_fail(err, AN_DENIED, "%s: '%s' may not be written by this user or handle", doing,
                       path);
    default:
        return an_fail(err, AN_BUG, "%s in '%s': %s", doing, path, sqlite3_errmsg(store->db));
    }
}

enum an_status an_sql_run(struct an_store *store, const char *sql, const char *doing,
                          struct an_error *err)
{
    return an_sql_fail(store, sqlite3_exec(store->db, sql, NULL, NULL, NULL), doing, err);
}

enum an_status an_store_may_write(struct an_store *store, const char *doing, struct an_error *err)
{
    if (!store->can_write) {
        return an_fail(err, AN_DENIED, "%s: '%s' was opened for reading only", doing, store->path);
    }
    if (!an_writer_lock_is_held(store->lock)) {
        return an_fail(err, AN_BUG, "%s: the writer's lock of '%s' was let go", doing, store->path);
    }
    if (store->failed) {
        return an_fail(err, AN_IO,
                       "%s: an earlier write to '%s' failed; nothing more is stored until the "
                       "program is started again",
                       doing, store->path);
    }
    return AN_OK;
}

enum an_status an_store_may_put(struct an_store *store, const char *doing, struct an_error *err)
{
    const enum an_status st = an_store_may_write(store, doing, err);
    if (st) {
        return st;
    }
    if (!store->in_transaction) {
        return an_fail(err, AN_BUG, "%s: no transaction is open", doing);
    }
    if (sqlite3_get_autocommit(store->db)) { /* what is put now would be stored by itself */
        return an_fail(err, AN_NO_MEMORY,
                       "%s: memory ran out, and SQLite took the transaction back", doing);
    }
    return AN_OK;
}

/* ---- the cache of statements ----------------------------------------------------------------- */

static enum an_status find_statement(struct an_store *store, const char *sql, sqlite3_stmt **stmt,
                                     const char *doing, struct an_error *err)
{
    size_t slot = ((uintptr_t)sql >> 3) * 31 % AN_STATEMENTS;
    for (size_t tries = 0; tries < AN_STATEMENTS; tries++) {
        if (store->statements[slot].sql == sql) {
            *stmt = store->statements[slot].stmt;
            return AN_OK;
        }
        if (!store->statements[slot].sql) {
            const int rc =
                sqlite3_prepare_v3(store->db, sql, -1, SQLITE_PREPARE_PERSISTENT, stmt, NULL);
            if (rc == SQLITE_OK) {
                store->statements[slot].sql = sql;
                store->statements[slot].stmt = *stmt;
            }
            return an_sql_fail(store, rc, doing, err);
        }
        slot = (slot + 1) % AN_STATEMENTS;
    }
    return an_fail(err, AN_BUG, "%s: more statements than AN_STATEMENTS", doing);
}

static enum an_status start(struct an_query *query, struct an_store *store, const char *sql,
                            const char *doing, struct an_error *err)
{
    *query = (struct an_query){.store = store, .doing = doing};
    enum an_status st = store->rollback_due ? an_store_end_rollback(store, doing, err) : AN_OK;
    if (!st) {
        st = find_statement(store, sql, &query->stmt, doing, err);
    }
    if (!st && sqlite3_stmt_busy(query->stmt)) {
        query->stmt = NULL;
        return an_fail(err, AN_BUG, "%s: the same query is still being read", doing);
    }
    return st;
}

enum an_status an_query_start(struct an_query *query, struct an_store *store, const char *sql,
                              const char *doing, struct an_error *err)
{
    return start(query, store, sql, doing, err);
}

enum an_status an_query_start_put(struct an_query *query, struct an_store *store, const char *sql,
                                  const char *doing, struct an_error *err)
{
    const enum an_status st = start(query, store, sql, doing, err);
    if (!st) {
        query->row = &store->coding;
        an_text_clear(query->row);
    }
    return st;
}

/* ---- binding --------------------------------------------------------------------------------- */

static int next_parameter(struct an_query *query)
{
    return ++query->parameters;
}

static void bound(struct an_query *query, int rc)
{
    if (rc != SQLITE_OK && query->rc == SQLITE_OK) {
        query->rc = rc;
    }
}

static void bind_null(struct an_query *query)
{
    bound(query, sqlite3_bind_null(query->stmt, next_parameter(query)));
    if (query->row) {
        an_code_null(query->row);
    }
}

void an_query_int(struct an_query *query, int64_t value)
{
    bound(query, sqlite3_bind_int64(query->stmt, next_parameter(query), value));
    if (query->row) {
        an_code_int(query->row, value);
    }
}

void an_query_int_or_null(struct an_query *query, int64_t value, bool is_null)
{
    if (is_null) {
        bind_null(query);
    } else {
        an_query_int(query, value);
    }
}

void an_query_instant(struct an_query *query, int64_t at_us)
{
    an_query_int_or_null(query, at_us, at_us == AN_NO_INSTANT);
}

void an_query_real(struct an_query *query, double value)
{
    if (isnan(value)) {
        bind_null(query);
        return;
    }
    bound(query, sqlite3_bind_double(query->stmt, next_parameter(query), value));
    if (query->row) {
        an_code_real(query->row, value);
    }
}

void an_query_bytes_as_text(struct an_query *query, struct an_bytes value)
{
    const char *at = value.length ? (const char *)value.at : "";
    bound(query, sqlite3_bind_text64(query->stmt, next_parameter(query), at, value.length,
                                     SQLITE_STATIC, SQLITE_UTF8));
    if (query->row) {
        an_code_text(query->row, value);
    }
}

void an_query_text(struct an_query *query, const char *value)
{
    if (value) {
        an_query_bytes_as_text(query, an_bytes_of(value));
    } else {
        bind_null(query);
    }
}

void an_query_blob(struct an_query *query, const void *at, size_t length)
{
    bound(query, sqlite3_bind_blob64(query->stmt, next_parameter(query), length ? at : "", length,
                                     SQLITE_STATIC));
    if (query->row) {
        an_code_blob(query->row, (struct an_bytes){at, length});
    }
}

void an_query_hash(struct an_query *query, const struct an_sha256 *hash)
{
    an_query_blob(query, hash->at, sizeof hash->at);
}

/* ---- running --------------------------------------------------------------------------------- */

void an_query_end(struct an_query *query)
{
    if (query->stmt) {
        (void)sqlite3_reset(query->stmt); /* its failure was told by the step */
        (void)sqlite3_clear_bindings(query->stmt);
        query->stmt = NULL;
    }
}

enum an_status an_query_row(struct an_query *query, bool *more, struct an_error *err)
{
    *more = false;
    int rc = query->rc;
    if (rc == SQLITE_OK) {
        rc = sqlite3_step(query->stmt);
    }
    if (rc == SQLITE_ROW) {
        *more = true;
        return AN_OK;
    }
    const enum an_status st = an_sql_fail(query->store, rc, query->doing, err);
    an_query_end(query);
    return st;
}

enum an_status an_query_run(struct an_query *query, struct an_error *err)
{
    bool more = false;
    const enum an_status st = an_query_row(query, &more, err);
    an_query_end(query);
    return st;
}

enum an_status an_query_run_put(struct an_query *query, enum an_part part, struct an_error *err)
{
    struct an_text *row = query->row;
    enum an_status st = AN_OK;
    if (row->failed) {
        st = an_fail(err, AN_NO_MEMORY, "%s: memory ran out", query->doing);
        an_query_end(query);
    } else {
        st = an_query_run(query, err);
    }
    if (!st) {
        const struct an_bytes bytes = {(const unsigned char *)an_text_of(row), row->length};
        st = an_tally_add(query->store, part, bytes, err);
    }
    return st;
}

/* ---- columns --------------------------------------------------------------------------------- */

int64_t an_column_int(const struct an_query *query, int column)
{
    return sqlite3_column_int64(query->stmt, column);
}

int64_t an_column_int_or(const struct an_query *query, int column, int64_t if_null)
{
    return sqlite3_column_type(query->stmt, column) == SQLITE_NULL
               ? if_null
               : sqlite3_column_int64(query->stmt, column);
}

int64_t an_column_instant(const struct an_query *query, int column)
{
    return an_column_int_or(query, column, AN_NO_INSTANT);
}

double an_column_real(const struct an_query *query, int column)
{
    return sqlite3_column_type(query->stmt, column) == SQLITE_NULL
               ? (double)NAN
               : sqlite3_column_double(query->stmt, column);
}

struct an_bytes an_column_bytes(struct an_query *query, int column, struct an_arena *arena)
{
    if (sqlite3_column_type(query->stmt, column) == SQLITE_NULL) {
        return (struct an_bytes){NULL, 0};
    }
    const void *at = sqlite3_column_blob(query->stmt, column);
    const int length = sqlite3_column_bytes(query->stmt, column);
    if (!at && length) {
        query->no_memory = true;
        return (struct an_bytes){NULL, 0};
    }
    const char *copy = an_arena_copy(arena, at, (size_t)length);
    if (!copy) {
        query->no_memory = true;
        return (struct an_bytes){NULL, 0};
    }
    return (struct an_bytes){(const unsigned char *)copy, (size_t)length};
}

const char *an_column_text(struct an_query *query, int column, struct an_arena *arena)
{
    return (const char *)an_column_bytes(query, column, arena).at; /* a NUL stands behind it */
}

bool an_column_hash(const struct an_query *query, int column, struct an_sha256 *hash)
{
    const void *at = sqlite3_column_blob(query->stmt, column);
    if (!at || sqlite3_column_bytes(query->stmt, column) != (int)sizeof hash->at) {
        *hash = (struct an_sha256){{0}};
        return false;
    }
    memcpy(hash->at, at, sizeof hash->at);
    return true;
}

/* ---- whole results ---------------------------------------------------------------------------- */

enum an_status an_query_collect(struct an_query *query, size_t size, an_read_row *read,
                                struct an_arena *arena, void **rows, size_t *count,
                                struct an_error *err)
{
    void *grown = NULL;
    size_t used = 0;
    size_t capacity = 0;
    bool more = false;
    enum an_status st = AN_OK;
    while (!(st = an_query_row(query, &more, err)) && more) {
        if (!an_grow(&grown, used, &capacity, size)) {
            query->no_memory = true;
            break;
        }
        void *row = (unsigned char *)grown + used * size;
        memset(row, 0, size);
        read(query, arena, row);
        if (query->no_memory) {
            break;
        }
        used++;
    }
    void *out = NULL;
    if (!st && !query->no_memory) {
        out = an_arena_alloc(arena, used ? used : 1, size);
        query->no_memory = out == NULL;
    }
    if (!st && query->no_memory) {
        st = an_fail(err, AN_NO_MEMORY, "%s: memory ran out", query->doing);
    }
    if (out) {
        if (used) {
            memcpy(out, grown, used * size);
        }
        *rows = out;
        *count = used;
    }
    an_query_end(query);
    an_free(grown);
    return st;
}

enum an_status an_query_one(struct an_query *query, an_read_row *read, struct an_arena *arena,
                            void *row, const char *missing, struct an_error *err)
{
    bool found = false;
    enum an_status st = an_query_row(query, &found, err);
    if (!st && !found) {
        st = an_fail(err, AN_NOT_FOUND, "%s", missing);
    }
    if (!st) {
        read(query, arena, row);
        if (query->no_memory) {
            st = an_fail(err, AN_NO_MEMORY, "%s: memory ran out", query->doing);
        }
    }
    an_query_end(query);
    return st;
}
