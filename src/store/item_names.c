/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Items by what people call them. Must never read all serials: there may be a million. */
#include "andamento/store/genealogy.h"
#include "store/correction.h"
#include "store/handle.h"

static void read_named(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_item *item = row;

    item->item_id = an_column_int(query, 0);
    item->kind = an_column_text(query, 1, arena);
    item->serial = an_column_text(query, 2, arena);
}

/* The unique index on items begins with the kind, so all kinds are asked one by one. */
enum an_status an_store_items_named(struct an_store *store, const char *kind,
                                    struct an_bytes serial, struct an_arena *arena,
                                    struct an_item **items, size_t *count, struct an_error *err)
{
    static const char of_kind[] =
        "SELECT item_id, kind, serial FROM item WHERE kind = $1 AND serial = $2"
        " UNION SELECT i.item_id, i.kind, c.serial FROM correction c"
        " JOIN item i ON i.item_id = c.item_id WHERE c.serial = $2 AND i.kind = $1"
        " AND c.kind = 1 AND c.is_id IS NULL" AN_IN_FORCE;
    static const char of_all[] =
        "WITH RECURSIVE kinds (kind) AS (SELECT (SELECT min(kind) FROM item) UNION ALL"
        " SELECT (SELECT min(i.kind) FROM item i WHERE i.kind > k.kind) FROM kinds k"
        " WHERE k.kind IS NOT NULL)"
        " SELECT i.item_id, i.kind, i.serial FROM kinds k CROSS JOIN item i ON i.kind = k.kind"
        " WHERE i.serial = $1 UNION SELECT i.item_id, i.kind, c.serial FROM correction c"
        " JOIN item i ON i.item_id = c.item_id WHERE c.serial = $1 AND c.kind = 1"
        " AND c.is_id IS NULL" AN_IN_FORCE " ORDER BY 2, 1";
    struct an_query query;
    void *rows = NULL;
    enum an_status st =
        an_query_start(&query, store, kind ? of_kind : of_all, "looking for an item", err);

    *items = NULL;
    *count = 0;
    if (st) {
        return st;
    }
    if (kind) {
        an_query_text(&query, kind);
    }
    an_query_bytes_as_text(&query, serial);
    st = an_query_collect(&query, sizeof **items, read_named, arena, &rows, count, err);
    if (!st) {
        *items = rows;
    }
    return st;
}

static enum an_status near_of_kind(struct an_store *store, const char *sql, const char *kind,
                                   struct an_bytes serial, struct an_arena *arena,
                                   const char **serials, size_t most, size_t *count,
                                   struct an_error *err)
{
    struct an_query query;
    bool more = false;
    enum an_status st = an_query_start(&query, store, sql, "looking for near serials", err);

    if (st) {
        return st;
    }
    an_query_text(&query, kind);
    an_query_bytes_as_text(&query, serial);
    st = an_query_row(&query, &more, err);
    while (!st && more && *count < most) {
        serials[*count] = an_column_text(&query, 0, arena);
        (*count)++;
        st = query.no_memory ? an_fail(err, AN_NO_MEMORY, "out of memory")
                             : an_query_row(&query, &more, err);
    }
    an_query_end(&query);
    return st;
}

enum an_status an_store_serials_near(struct an_store *store, struct an_bytes serial,
                                     struct an_arena *arena, const char **serials, size_t most,
                                     size_t *count, struct an_error *err)
{
    static const char next_kind[] = "SELECT min(kind) FROM item WHERE kind > $1";
    static const char after[] = "SELECT serial FROM item WHERE kind = $1 AND serial >= $2"
                                " ORDER BY serial LIMIT 16";
    static const char before[] = "SELECT serial FROM item WHERE kind = $1 AND serial < $2"
                                 " ORDER BY serial DESC LIMIT 16";
    const char *kind = "";
    enum an_status st = AN_OK;

    *count = 0;
    while (!st && kind) {
        struct an_query query;
        bool found = false;

        st = an_query_start(&query, store, next_kind, "looking for the kinds of items", err);
        if (st) {
            return st;
        }
        an_query_text(&query, kind);
        st = an_query_row(&query, &found, err);
        kind = !st && found ? an_column_text(&query, 0, arena) : NULL;
        st = !st && query.no_memory ? an_fail(err, AN_NO_MEMORY, "out of memory") : st;
        an_query_end(&query);
        if (!st && kind) {
            st = near_of_kind(store, before, kind, serial, arena, serials, most, count, err);
        }
        if (!st && kind) {
            st = near_of_kind(store, after, kind, serial, arena, serials, most, count, err);
        }
    }
    return st;
}
