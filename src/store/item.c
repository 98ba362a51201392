/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Items, what went into what, and an item's visits to stations. It must never lose a zero or a
 * blank of a serial.
 */
#include "store/correction.h"
#include "store/handle.h"

#include <math.h>

/* ---- items --------------------------------------------------------------------------------------- */

enum an_status an_store_item(struct an_store *store, const char *kind, struct an_bytes serial,
                             int64_t file_id, int64_t *item_id, struct an_error *err)
{
    static const char find[] = "SELECT item_id FROM item WHERE kind = $1 AND serial = $2";
    static const char add[] = "INSERT INTO item (item_id, kind, serial, file_id)"
                              " VALUES ($1, $2, $3, $4)";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, find, "looking for an item", err);
    if (st) {
        return st;
    }
    an_query_text(&query, kind);
    an_query_bytes_as_text(&query, serial);
    st = an_query_row(&query, &found, err);
    if (!st && found) {
        *item_id = an_column_int(&query, 0);
        an_query_end(&query);
    }
    if (st || found) {
        return st;
    }
    st = an_tally_check(store, file_id, "adding an item", err);
    if (!st) {
        st = an_store_take_id(store, AN_COUNT_ITEM, item_id, err);
    }
    if (!st) {
        st = an_query_start_put(&query, store, add, "adding an item", err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, *item_id);
    an_query_text(&query, kind);
    an_query_bytes_as_text(&query, serial);
    an_query_int(&query, file_id);
    return an_query_run_put(&query, AN_PART_ITEM, err);
}

static void read_item(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_item *item = row;
    item->item_id = an_column_int(query, 0);
    item->kind = an_column_text(query, 1, arena);
    item->serial = an_column_text(query, 2, arena);
}

enum an_status an_store_item_by_id(struct an_store *store, int64_t item_id, struct an_arena *arena,
                                   struct an_item *item, struct an_error *err)
{
    static const char sql[] =
        "SELECT i.item_id, i.kind, " AN_SERIAL_OF_I " FROM item i WHERE i.item_id = $1";
    struct an_query query;
    const enum an_status st = an_query_start(&query, store, sql, "reading an item", err);
    if (st) {
        return st;
    }
    an_query_int(&query, item_id);
    return an_query_one(&query, read_item, arena, item, "there is no such item in the store", err);
}

/* ---- links ---------------------------------------------------------------------------------------- */

static enum an_status link_is_there(struct an_store *store, const struct an_link *link, bool *found,
                                    struct an_error *err)
{
    static const char sql[] =
        "SELECT 1 FROM main.link WHERE child_id = $1 AND parent_id = $2 AND coalesce(role, '') = $3"
        " AND coalesce(region, '') = $4 AND coalesce(row_no, -1) = $5"
        " AND coalesce(column_no, -1) = $6 AND ($7 IS NULL OR coalesce(at_us, -1) = $7)";
    struct an_query query;
    enum an_status st = an_query_start(&query, store, sql, "looking for a link", err);
    if (st) {
        return st;
    }
    an_query_int(&query, link->child_id);
    an_query_int(&query, link->parent_id);
    an_query_text(&query, link->role ? link->role : "");
    an_query_text(&query, link->region ? link->region : "");
    an_query_int(&query, link->row < 0 ? -1 : link->row);
    an_query_int(&query, link->column < 0 ? -1 : link->column);
    an_query_int_or_null(&query, link->at_us == AN_NO_INSTANT ? -1 : link->at_us, !link->may_end);
    st = an_query_row(&query, found, err);
    an_query_end(&query);
    return st;
}

static enum an_status put_trait(struct an_store *store, int64_t link_id, const struct an_link *link,
                                struct an_error *err)
{
    static const char sql[] = "INSERT INTO link_trait (link_id, confidence, file_id)"
                              " VALUES ($1, $2, $3)";
    struct an_query query;
    const enum an_status st = an_query_start_put(&query, store, sql, "storing a link", err);
    if (st) {
        return st;
    }
    an_query_int(&query, link_id);
    an_query_int(&query, link->sure);
    an_query_int(&query, link->file_id);
    return an_query_run_put(&query, AN_PART_LINK_TRAIT, err);
}

enum an_status an_store_put_link(struct an_store *store, const struct an_link *link,
                                 struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO main.link (link_id, child_id, parent_id, role, region, share, row_no, column_no,"
        " at_us, file_id, line_no) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)";
    static const char doing[] = "storing a link";
    struct an_query query;
    bool found = false;
    int64_t id = 0;
    enum an_status st = an_tally_check(store, link->file_id, doing, err);
    if (!st) {
        st = link_is_there(store, link, &found, err);
    }
    if (st || found) {
        return st;
    }
    st = an_store_take_id(store, AN_COUNT_LINK, &id, err);
    if (!st) {
        st = an_query_start_put(&query, store, sql, doing, err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, id);
    an_query_int(&query, link->child_id);
    an_query_int(&query, link->parent_id);
    an_query_text(&query, link->role);
    an_query_text(&query, link->region);
    an_query_real(&query, link->share);
    an_query_int_or_null(&query, link->row, link->row < 0);
    an_query_int_or_null(&query, link->column, link->column < 0);
    an_query_instant(&query, link->at_us);
    an_query_int(&query, link->file_id);
    an_query_int(&query, (int64_t)link->line);
    st = an_query_run_put(&query, AN_PART_LINK, err);
    return st || !link->sure ? st : put_trait(store, id, link, err);
}

static void read_linked(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_linked *linked = row;
    read_item(query, arena, &linked->item);
    struct an_link *link = &linked->link;
    link->child_id = an_column_int(query, 3);
    link->parent_id = an_column_int(query, 4);
    link->role = an_column_text(query, 5, arena);
    link->region = an_column_text(query, 6, arena);
    link->share = an_column_real(query, 7);
    link->row = an_column_int_or(query, 8, -1);
    link->column = an_column_int_or(query, 9, -1);
    link->at_us = an_column_instant(query, 10);
    link->file_id = an_column_int(query, 11);
    link->line = (uint64_t)an_column_int(query, 12);
}

enum an_status an_store_linked(struct an_store *store, int64_t item_id, bool parents,
                               const char *kind, struct an_arena *arena, struct an_linked **linked,
                               size_t *count, struct an_error *err)
{
#define LINKED_COLUMNS                                                                             \
    "SELECT i.item_id, i.kind, i.serial, k.child_id, k.parent_id, k.role, k.region, k.share,"      \
    " k.row_no, k.column_no, k.at_us, k.file_id, k.line_no FROM link k JOIN item i"
#define LINKED_ORDER                                                                               \
    " AND ($2 IS NULL OR i.kind = $2) ORDER BY coalesce(k.role, ''), i.serial, k.link_id"
    static const char up[] =
        LINKED_COLUMNS " ON i.item_id = k.parent_id WHERE k.child_id = $1" LINKED_ORDER;
    static const char down[] =
        LINKED_COLUMNS " ON i.item_id = k.child_id WHERE k.parent_id = $1" LINKED_ORDER;
#undef LINKED_COLUMNS
#undef LINKED_ORDER
    struct an_query query;
    void *rows = NULL;
    enum an_status st =
        an_query_start(&query, store, parents ? up : down, "following an item's links", err);
    if (st) {
        return st;
    }
    an_query_int(&query, item_id);
    an_query_text(&query, kind);
    st = an_query_collect(&query, sizeof **linked, read_linked, arena, &rows, count, err);
    if (!st) {
        *linked = rows;
    }
    return st;
}

enum an_status an_store_count_in(struct an_store *store, const int64_t *item_ids, size_t count,
                                 const char *into_kind, size_t *in, struct an_error *err)
{
    static const char sql[] = "WITH RECURSIVE into_item (item_id) AS ("
                              " SELECT child_id FROM link WHERE parent_id = $1"
                              " UNION SELECT k.child_id FROM into_item n"
                              " JOIN link k ON k.parent_id = n.item_id)" /* UNION ends circles */
                              " SELECT 1 FROM into_item n JOIN item i ON i.item_id = n.item_id"
                              " WHERE i.kind = $2 LIMIT 1";
    static const char corrected[] = "WITH RECURSIVE n (item_id) AS (SELECT $1 UNION " AN_STEP_DOWN
                                    ") SELECT 1 FROM n JOIN item i ON i.item_id = n.item_id"
                                    " WHERE i.kind = $2 AND n.item_id <> $1 LIMIT 1";
    size_t found_count = 0;
    for (size_t k = 0; k < count; k++) {
        struct an_query query;
        bool found = false;
        enum an_status st = an_query_start(&query, store, store->links_corrected ? corrected : sql,
                                           "following an item's links", err);
        if (st) {
            return st;
        }
        an_query_int(&query, item_ids[k]);
        an_query_text(&query, into_kind);
        st = an_query_row(&query, &found, err);
        an_query_end(&query);
        if (st) {
            return st;
        }
        found_count += found ? 1 : 0;
    }
    *in = found_count;
    return AN_OK;
}

/* ---- visits --------------------------------------------------------------------------------------- */

enum an_status an_store_find_visit(struct an_store *store, const char *station, int64_t item_id,
                                   const struct an_sha256 *digest, bool *found,
                                   struct an_error *err)
{
    static const char sql[] = "SELECT 1 FROM visit v JOIN file f ON f.file_id = v.file_id"
                              " WHERE v.item_id = $1 AND v.rows_digest = $2 AND f.station = $3"
                              " LIMIT 1";
    struct an_query query;
    enum an_status st = an_query_start(&query, store, sql, "looking for a visit", err);
    *found = false;
    if (st) {
        return st;
    }
    an_query_int(&query, item_id);
    an_query_hash(&query, digest);
    an_query_text(&query, station);
    st = an_query_row(&query, found, err);
    an_query_end(&query);
    return st;
}

enum an_status an_store_put_visit(struct an_store *store, struct an_visit *visit,
                                  struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO visit (visit_id, file_id, item_id, first_us, last_us, shift_from_us, shift,"
        " first_line, last_line, rows_taken, rows_digest, purpose, gauge, tool, who, attempt)"
        " VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)";
    static const char doing[] = "storing a visit";
    struct an_query query;
    enum an_status st = an_tally_check(store, visit->file_id, doing, err);
    if (!st) {
        st = an_store_take_id(store, AN_COUNT_VISIT, &visit->visit_id, err);
    }
    if (!st) {
        st = an_query_start_put(&query, store, sql, doing, err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, visit->visit_id);
    an_query_int(&query, visit->file_id);
    an_query_int(&query, visit->item_id);
    an_query_int(&query, visit->first_us);
    an_query_int(&query, visit->last_us);
    an_query_instant(&query, visit->shift_from_us);
    an_query_text(&query, visit->shift);
    an_query_int(&query, (int64_t)visit->first_line);
    an_query_int(&query, (int64_t)visit->last_line);
    an_query_int(&query, visit->rows);
    an_query_hash(&query, &visit->rows_digest);
    an_query_text(&query, visit->purpose);
    an_query_text(&query, visit->gauge);
    an_query_text(&query, visit->tool);
    an_query_text(&query, visit->who);
    an_query_text(&query, visit->attempt);
    return an_query_run_put(&query, AN_PART_VISIT, err);
}

static void read_visit(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_visit *visit = row;
    visit->visit_id = an_column_int(query, 0);
    visit->file_id = an_column_int(query, 1);
    visit->item_id = an_column_int(query, 2);
    visit->first_us = an_column_int(query, 3);
    visit->last_us = an_column_int(query, 4);
    visit->shift_from_us = an_column_instant(query, 5);
    visit->shift = an_column_text(query, 6, arena);
    visit->first_line = (uint64_t)an_column_int(query, 7);
    visit->last_line = (uint64_t)an_column_int(query, 8);
    visit->rows = an_column_int(query, 9);
    (void)an_column_hash(query, 10, &visit->rows_digest); /* its length is checked by the table */
    visit->purpose = an_column_text(query, 11, arena);
    visit->gauge = an_column_text(query, 12, arena);
    visit->tool = an_column_text(query, 13, arena);
    visit->who = an_column_text(query, 14, arena);
    visit->attempt = an_column_text(query, 15, arena);
}

enum an_status an_store_visit(struct an_store *store, int64_t visit_id, struct an_arena *arena,
                              struct an_visit *visit, struct an_error *err)
{
    static const char sql[] =
        "SELECT visit_id, file_id, item_id, first_us, last_us, shift_from_us, shift, first_line,"
        " last_line, rows_taken, rows_digest, purpose, gauge, tool, who, attempt"
        " FROM visit WHERE visit_id = $1";
    struct an_query query;
    const enum an_status st = an_query_start(&query, store, sql, "reading a visit", err);
    if (st) {
        return st;
    }
    an_query_int(&query, visit_id);
    return an_query_one(&query, read_visit, arena, visit, "there is no such visit in the store",
                        err);
}
