/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Scratch for intake: keys and values in a temporary table, which SQLite keeps in a file of its
 * own once it outgrows its cache. Nothing of it is ever part of the store.
 *
 * Values are only appended and are sorted when they are read: a sort reads and writes in long
 * runs, whereas keeping them sorted would touch a page a value.
 */
#include "store/handle.h"

static enum an_status make_table(struct an_store *store, struct an_error *err)
{
    static const char sql[] = "CREATE TEMP TABLE IF NOT EXISTS scratch"
                              " (arrival INTEGER PRIMARY KEY, key BLOB NOT NULL,"
                              " value BLOB NOT NULL)";
    if (store->scratch_arrivals >= 0) {
        return AN_OK;
    }
    enum an_status st = an_sql_run(store, sql, "making room for scratch", err);
    struct an_query query;
    bool found = false;
    if (!st) {
        st = an_query_start(&query, store, "SELECT max(arrival) FROM temp.scratch",
                            "making room for scratch", err);
    }
    if (!st) {
        st = an_query_row(&query, &found, err);
    }
    if (!st) {
        store->scratch_arrivals = an_column_int_or(&query, 0, 0);
        an_query_end(&query);
    }
    return st;
}

enum an_status an_store_scratch_add(struct an_store *store, struct an_bytes key,
                                    struct an_bytes value, struct an_error *err)
{
    static const char sql[] = "INSERT INTO temp.scratch (arrival, key, value) VALUES ($1, $2, $3)";
    struct an_query query;
    enum an_status st = make_table(store, err);
    if (!st) {
        st = an_query_start(&query, store, sql, "keeping scratch", err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, ++store->scratch_arrivals);
    an_query_blob(&query, key.at, key.length);
    an_query_blob(&query, value.at, value.length);
    return an_query_run(&query, err);
}

enum an_status an_store_scratch_each(struct an_store *store,
                                     enum an_status (*each)(void *context, struct an_bytes key,
                                                            struct an_bytes value),
                                     void *context, struct an_error *err)
{
    static const char sql[] = "SELECT key, value FROM temp.scratch ORDER BY key, arrival";
    struct an_query query;
    bool more = false;
    enum an_status st = make_table(store, err);
    if (!st) {
        st = an_query_start(&query, store, sql, "reading scratch", err);
    }
    if (st) {
        return st;
    }
    while (!(st = an_query_row(&query, &more, err)) && more) {
        const struct an_bytes key = {sqlite3_column_blob(query.stmt, 0),
                                     (size_t)sqlite3_column_bytes(query.stmt, 0)};
        const struct an_bytes value = {sqlite3_column_blob(query.stmt, 1),
                                       (size_t)sqlite3_column_bytes(query.stmt, 1)};
        if ((!key.at && key.length) || (!value.at && value.length)) {
            st = an_fail(err, AN_NO_MEMORY, "reading scratch: memory ran out");
            break;
        }
        st = each(context, key, value);
        if (st) { /* its text, if any, is the callback's */
            break;
        }
    }
    an_query_end(&query);
    return st;
}

enum an_status an_store_scratch_clear(struct an_store *store, struct an_error *err)
{
    const enum an_status st = make_table(store, err);
    return st ? st : an_sql_run(store, "DELETE FROM temp.scratch", "clearing scratch", err);
}
