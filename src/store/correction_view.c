/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What holds instead of what was recorded. Must never change a record, nor cost anything in a store
 * without corrections.
 *
 * The one idea is that of as_of.c: SQLite looks for a table's name among temporary objects first. A
 * temporary view before the table of links gives the right part of each, so no query of another file
 * has to know. Whatever writes links, or digests them, names main.link. Samples need no view: their
 * values are read in one place only (sample.c).
 */
#include "store/correction.h"

#include <string.h>

/* One number; 0 for none. */
static enum an_status number_of(struct an_store *store, const char *sql, int64_t *number,
                                struct an_error *err)
{
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "looking for corrections", err);

    *number = 0;
    if (st) {
        return st;
    }
    st = an_query_row(&query, &found, err);
    if (!st && found) {
        *number = an_column_int_or(&query, 0, 0);
    }
    an_query_end(&query);
    return st;
}

enum an_status an_any_sample_corrected(struct an_store *store, bool *any, struct an_error *err)
{
    static const char sql[] = "SELECT max(sample_id) FROM corrected_sample";
    int64_t sample_id = 0;
    const enum an_status st = number_of(store, sql, &sample_id, err);

    *any = sample_id > 0;
    return st;
}

/* The view that shows links as of a moment, as it was made; an empty text: there is none. */
static enum an_status as_of_view(struct an_store *store, struct an_text *select,
                                 struct an_error *err)
{
    static const char sql[] = "SELECT substr(sql, instr(sql, ' AS ') + 4) FROM sqlite_temp_schema"
                              " WHERE name = 'link'";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "looking for corrections", err);

    if (st) {
        return st;
    }
    st = an_query_row(&query, &found, err);
    if (!st && found) {
        const char *text = (const char *)sqlite3_column_text(query.stmt, 0);

        an_text_add(select, text ? text : "");
    }
    an_query_end(&query);
    return st;
}

static enum an_status make_view(struct an_store *store, struct an_error *err)
{
    static const char doing[] = "showing corrected links";
    struct an_text select = {0};
    struct an_text sql = {0};
    enum an_status st = as_of_view(store, &select, err);

    if (!select.length) {
        an_text_add(&select, "SELECT * FROM main.link");
    }
    an_text_addf(&sql,
                 "DROP VIEW IF EXISTS temp.link;"
                 "CREATE TEMP VIEW recorded_link AS %s;"
                 "CREATE TEMP VIEW link AS SELECT * FROM recorded_link k WHERE NOT EXISTS"
                 " (SELECT 1 FROM corrected_link c WHERE c.link_id = k.link_id" AN_IN_FORCE ")"
                 " UNION ALL SELECT k.link_id, k.child_id, c.parent_id, k.role, k.region, k.share,"
                 " k.row_no, k.column_no, k.at_us, k.file_id, k.line_no"
                 " FROM corrected_link c CROSS JOIN recorded_link k ON k.link_id = c.link_id"
                 " WHERE c.parent_id IS NOT NULL" AN_IN_FORCE,
                 an_text_of(&select));
    if (!st && (select.failed || sql.failed)) {
        st = an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing);
    }
    st = st ? st : an_sql_run(store, an_text_of(&sql), doing, err);
    an_text_free(&select);
    an_text_free(&sql);
    return st;
}

/* Views are no change of the store, but SQLite takes them for one. */
static enum an_status allow_views(struct an_store *store, bool allow, struct an_error *err)
{
    return store->can_write
               ? AN_OK
               : an_sql_run(store, allow ? "PRAGMA query_only = OFF" : "PRAGMA query_only = ON",
                            "showing corrected links", err);
}

enum an_status an_corrections_hide(struct an_store *store, struct an_error *err)
{
    enum an_status st = AN_OK;

    if (store->links_corrected) {
        st = allow_views(store, true, err);
        st = st ? st
                : an_sql_run(store,
                             "DROP VIEW IF EXISTS temp.link;"
                             "DROP VIEW IF EXISTS temp.recorded_link",
                             "showing corrected links", err);
        st = st ? st : allow_views(store, false, err);
        store->links_corrected = st != AN_OK;
    }
    return st;
}

enum an_status an_corrections_show(struct an_store *store, struct an_error *err)
{
    static const char sql[] = "SELECT max(link_id) FROM corrected_link";
    int64_t link_id = 0;
    enum an_status st = store->links_corrected ? AN_OK : number_of(store, sql, &link_id, err);

    if (!st && link_id) {
        st = allow_views(store, true, err);
        st = st ? st : make_view(store, err);
        store->links_corrected = !st;
        st = st ? st : allow_views(store, false, err);
    }
    return st;
}
