/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Shows a store as it was known at some moment. Must never leave a table whole that tells something
 * learnt later: a table that it does not know how to cut is a failure.
 *
 * The one idea: SQLite looks for a table's name among temporary objects first. A temporary view of
 * the same name, cut to the records that were known, stands before each table, and no query of any
 * other file has to know. Records are of a file or have a ledger entry of their own, so two numbers
 * cut them all.
 */
#include "andamento/store/as_of.h"

#include "store/correction.h"
#include "store/handle.h"

#include <string.h>

struct cut {
    int64_t entries; /* of the ledger */
    int64_t file_id; /* of the newest file */
};

/* Tables that are not cut by columns "entry" and "file_id". */
static const struct {
    const char *table;
    const char *where; /* %lld: entries; NULL: not cut */
} others[] = {
    {"ledger", "entry < %lld"}, /* without the sign that keeps a column from an index */
    {"release", "+act_id IN (SELECT act_id FROM main.release_act WHERE entry < %lld)"},
    {"corrected_link",
     "+correction_id IN (SELECT correction_id FROM main.correction WHERE entry < %lld)"},
    {"corrected_sample",
     "+correction_id IN (SELECT correction_id FROM main.correction WHERE entry < %lld)"},
    /* what is dropped is gone for every moment, and who dropped it is to be told */
    {"retention", NULL},
    {"retention_file", NULL},
};

struct columns {
    bool entry, file_id;
    bool entry_null, file_id_null;
};

static enum an_status look_at_columns(struct an_store *store, const char *table,
                                      struct columns *columns, struct an_error *err)
{
    static const char sql[] = "SELECT name, \"notnull\", pk FROM pragma_table_info($1)"
                              " WHERE name IN ('entry', 'file_id')";
    struct an_query query;
    bool found = true;
    enum an_status st = an_query_start(&query, store, sql, "looking at a table", err);

    *columns = (struct columns){0};
    if (st) {
        return st;
    }
    an_query_text(&query, table);
    for (st = an_query_row(&query, &found, err); !st && found;
         st = an_query_row(&query, &found, err)) {
        const char *name = (const char *)sqlite3_column_text(query.stmt, 0);
        const bool may_be_null = !an_column_int(&query, 1) && !an_column_int(&query, 2);

        if (name && strcmp(name, "entry") == 0) {
            columns->entry = true;
            columns->entry_null = may_be_null;
        } else {
            columns->file_id = true;
            columns->file_id_null = may_be_null;
        }
    }
    an_query_end(&query);
    return st;
}

static void add_bound(struct an_text *sql, bool *first, const char *column, bool may_be_null,
                      const char *comparison, int64_t bound)
{
    an_text_add(sql, *first ? " WHERE " : " AND ");
    *first = false;
    if (may_be_null) {
        an_text_addf(sql, "(%s IS NULL OR +%s %s %lld)", column, column, comparison,
                     (long long)bound);
    } else {
        an_text_addf(sql, "+%s %s %lld", column, comparison, (long long)bound);
    }
}

/* The view that stands before a table; an empty text: none does. */
static enum an_status view_of(struct an_store *store, const char *table, const struct cut *cut,
                              struct an_text *sql, struct an_error *err)
{
    struct columns columns;
    bool first = true;

    an_text_clear(sql);
    for (size_t i = 0; i < sizeof others / sizeof *others; i++) {
        if (strcmp(others[i].table, table) == 0) {
            if (others[i].where) {
                const char *number = strstr(others[i].where, "%lld");

                an_text_addf(sql, "CREATE TEMP VIEW %s AS SELECT * FROM main.%s WHERE ", table,
                             table);
                an_text_add_bytes(sql, (struct an_bytes){(const unsigned char *)others[i].where,
                                                         (size_t)(number - others[i].where)});
                an_text_addf(sql, "%lld%s", (long long)cut->entries, number + 4);
            }
            return AN_OK;
        }
    }
    const enum an_status st = look_at_columns(store, table, &columns, err);
    if (st) {
        return st;
    }
    if (!columns.entry && !columns.file_id) {
        return an_fail(err, AN_BUG, "what was known of table '%s' at a moment cannot be told",
                       table);
    }
    an_text_addf(sql, "CREATE TEMP VIEW %s AS SELECT * FROM main.%s", table, table);
    if (columns.file_id) {
        add_bound(sql, &first, "file_id", columns.file_id_null, "<=", cut->file_id);
    }
    if (columns.entry) {
        add_bound(sql, &first, "entry", columns.entry_null, "<", cut->entries);
    }
    return AN_OK;
}

static void read_name(struct an_query *query, struct an_arena *arena, void *row)
{
    const char **name = row;
    *name = an_column_text(query, 0, arena);
}

static enum an_status make_views(struct an_store *store, const struct cut *cut,
                                 struct an_error *err)
{
    static const char sql[] = "SELECT name FROM main.sqlite_schema WHERE type = 'table'"
                              " AND name NOT LIKE 'sqlite%' ORDER BY name";
    struct an_arena *arena = an_arena_open();
    struct an_text view = {0};
    struct an_query query;
    const char **names = NULL;
    void *rows = NULL;
    size_t count = 0;
    enum an_status st = arena ? an_query_start(&query, store, sql, "listing tables", err)
                              : an_fail(err, AN_NO_MEMORY, "listing tables: memory ran out");

    if (!st) {
        st = an_query_collect(&query, sizeof *names, read_name, arena, &rows, &count, err);
        names = rows;
    }
    for (size_t i = 0; !st && i < count; i++) {
        st = view_of(store, names[i], cut, &view, err);
        if (!st && view.failed) {
            st = an_fail(err, AN_NO_MEMORY, "going back in time: memory ran out");
        }
        if (!st && view.length) {
            st = an_sql_run(store, an_text_of(&view), "going back in time", err);
        }
    }
    an_text_free(&view);
    an_arena_close(arena);
    return st;
}

/* One number; `otherwise` if there is no row or it is NULL. */
static enum an_status number_of(struct an_store *store, const char *sql, int64_t bound,
                                int64_t otherwise, int64_t *number, struct an_error *err)
{
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "going back in time", err);

    if (st) {
        return st;
    }
    an_query_int(&query, bound);
    st = an_query_row(&query, &found, err);
    if (!st) {
        *number = found ? an_column_int_or(&query, 0, otherwise) : otherwise;
        an_query_end(&query);
    }
    return st;
}

static enum an_status go_back(struct an_store *store, int64_t entries, struct an_known *known,
                              struct an_error *err)
{
    struct cut cut = {entries, 0};
    enum an_status st = number_of(store, "SELECT max(file_id) FROM file WHERE entry < $1", entries,
                                  0, &cut.file_id, err);

    known->entries = entries;
    st = st ? st
            : number_of(store, "SELECT at_us FROM ledger WHERE entry = $1 - 1", entries,
                        AN_NO_INSTANT, &known->at_us, err);
    st = st ? st : an_corrections_hide(store, err);
    /* views are no change of the store, but SQLite takes them for one */
    st = st ? st : an_sql_run(store, "PRAGMA query_only = OFF", "going back in time", err);
    st = st ? st : make_views(store, &cut, err);
    st = st ? st : an_sql_run(store, "PRAGMA query_only = ON", "going back in time", err);
    return st ? st : an_corrections_show(store, err);
}

static enum an_status may_go(const struct an_store *store, struct an_error *err)
{
    return store->can_write
               ? an_fail(err, AN_BAD_USAGE, "what was known at a moment can be read, not written")
               : AN_OK;
}

enum an_status an_store_as_of(struct an_store *store, int64_t at_us, struct an_known *known,
                              struct an_error *err)
{
    int64_t entries = 0;
    int64_t all = 0;
    enum an_status st = may_go(store, err);

    st = st ? st
            : number_of(store, "SELECT count(*) FROM ledger WHERE $1 IS NOT NULL", 0, 0, &all, err);
    st = st ? st
            : number_of(store, "SELECT entry FROM ledger WHERE at_us > $1 ORDER BY entry LIMIT 1",
                        at_us, all, &entries, err);
    if (!st && entries == 0) {
        char at[40];

        st = an_fail(err, AN_NOT_FOUND, "nothing was known yet at %s",
                     an_instant_rfc3339(at_us, at));
    }
    return st ? st : go_back(store, entries, known, err);
}

enum an_status an_store_as_of_size(struct an_store *store, int64_t entries, struct an_known *known,
                                   struct an_error *err)
{
    int64_t all = 0;
    enum an_status st = may_go(store, err);

    st = st ? st
            : number_of(store, "SELECT count(*) FROM ledger WHERE $1 IS NOT NULL", 0, 0, &all, err);
    if (!st && (entries < 1 || entries > all)) {
        st = an_fail(err, AN_NOT_FOUND,
                     "the ledger never had %lld entries: it has %lld now, and began with 1",
                     (long long)entries, (long long)all);
    }
    return st ? st : go_back(store, entries, known, err);
}
