/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The visits of one item and the items beside it, each found by an index. Reads only. */
#include "andamento/store/item_stays.h"

#include "store/handle.h"

static void read_stay(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_item_stay *stay = row;

    stay->visit_id = an_column_int(query, 0);
    stay->item_id = an_column_int(query, 1);
    stay->station = an_column_text(query, 2, arena);
    stay->first_us = an_column_int(query, 3);
    stay->last_us = an_column_int(query, 4);
    stay->rows = an_column_int(query, 5);
    stay->purpose = an_column_text(query, 6, arena);
    stay->tool = an_column_text(query, 7, arena);
    stay->gauge = an_column_text(query, 8, arena);
    stay->who = an_column_text(query, 9, arena);
    stay->attempt = an_column_text(query, 10, arena);
    stay->file_id = an_column_int(query, 11);
    stay->file = an_column_text(query, 12, arena);
    (void)an_column_hash(query, 13, &stay->hash); /* its length is checked by the table */
    stay->first_line = (uint64_t)an_column_int(query, 14);
    stay->last_line = (uint64_t)an_column_int(query, 15);
}

#define STAYS                                                                                      \
    "SELECT v.visit_id, v.item_id, f.station, v.first_us, v.last_us, v.rows_taken, v.purpose,"     \
    " v.tool, v.gauge, v.who, v.attempt, f.file_id, f.name, f.hash, v.first_line, v.last_line"     \
    " FROM visit v JOIN file f ON f.file_id = v.file_id"

enum an_status an_store_item_stays(struct an_store *store, int64_t item_id, struct an_arena *arena,
                                   struct an_item_stay **stays, size_t *count, struct an_error *err)
{
    static const char sql[] =
        STAYS " WHERE v.item_id = $1 AND f.state = 0 AND f.station IS NOT NULL"
              " ORDER BY v.first_us, v.visit_id";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "reading where an item was", err);

    if (st) {
        return st;
    }
    an_query_int(&query, item_id);
    st = an_query_collect(&query, sizeof **stays, read_stay, arena, &rows, count, err);
    if (!st) {
        *stays = rows;
    }
    return st;
}

enum an_status an_store_line_stays(struct an_store *store, int64_t file_id, uint64_t first_line,
                                   uint64_t last_line, struct an_arena *arena,
                                   struct an_item_stay **stays, size_t *count, struct an_error *err)
{
    static const char sql[] =
        STAYS " WHERE v.file_id = $1 AND f.state = 0 AND f.station IS NOT NULL"
              " AND v.last_line >= $2 AND v.first_line <= $3 ORDER BY v.first_line, v.visit_id";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "reading which items lines are of", err);

    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    an_query_int(&query, (int64_t)first_line);
    an_query_int(&query, (int64_t)last_line);
    st = an_query_collect(&query, sizeof **stays, read_stay, arena, &rows, count, err);
    if (!st) {
        *stays = rows;
    }
    return st;
}

static void read_item(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_item *item = row;

    item->item_id = an_column_int(query, 0);
    item->kind = an_column_text(query, 1, arena);
    item->serial = an_column_text(query, 2, arena);
}

enum an_status an_store_items_beside(struct an_store *store, const char *kind, const char *serial,
                                     size_t most, struct an_arena *arena, struct an_item **items,
                                     size_t *count, struct an_error *err)
{
    static const char *const sql[2] = {
        "SELECT item_id, kind, serial FROM item WHERE kind = $1 AND serial < $2"
        " ORDER BY serial DESC LIMIT $3",
        "SELECT item_id, kind, serial FROM item WHERE kind = $1 AND serial > $2"
        " ORDER BY serial LIMIT $3"};
    void *rows[2] = {NULL, NULL};
    size_t counts[2] = {0, 0};
    enum an_status st = AN_OK;

    for (int side = 0; !st && side < 2; side++) {
        struct an_query query;
        st = an_query_start(&query, store, sql[side], "looking for items beside one", err);
        if (!st) {
            an_query_text(&query, kind);
            an_query_text(&query, serial);
            an_query_int(&query, (int64_t)most);
            st = an_query_collect(&query, sizeof **items, read_item, arena, &rows[side],
                                  &counts[side], err);
        }
    }
    if (st) {
        return st;
    }
    *items = an_arena_alloc(arena, counts[0] + counts[1] + 1, sizeof **items);
    if (!*items) {
        return an_fail(err, AN_NO_MEMORY, "looking for items beside one: memory ran out");
    }
    *count = counts[0] + counts[1];
    for (size_t i = 0; i < counts[0]; i++) { /* in order again */
        (*items)[i] = ((struct an_item *)rows[0])[counts[0] - 1 - i];
    }
    for (size_t i = 0; i < counts[1]; i++) {
        (*items)[counts[0] + i] = ((struct an_item *)rows[1])[i];
    }
    return AN_OK;
}
