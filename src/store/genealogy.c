/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Links as a trace reads them, their ends, and serials that stand for other items. Must never
 * change what was recorded: what belongs together is put together when it is read.
 *
 * The one hard idea: a link is told as often as somebody saw it, an end whenever somebody took it
 * out, and files come in any order. So each telling is a row, and reading decides: a link holds from
 * its own time until the first end after it, and tellings of one link that end alike are one link.
 */
#include "andamento/store/genealogy.h"

#include "store/correction.h"
#include "store/handle.h"

#include <stdlib.h>
#include <string.h>

enum { MOST_RENAMED = 8 }; /* aliases of aliases; a loop of them ends here */

const char *an_link_sure_word(enum an_link_sure sure)
{
    static const char *const words[] = {"", "scanned", "typed", "inferred"};
    return (unsigned)sure < 4 ? words[sure] : "";
}

/* ---- links ---------------------------------------------------------------------------------------- */
static void read_item(struct an_query *query, struct an_arena *arena, struct an_item *item)
{
    item->item_id = an_column_int(query, 0);
    item->kind = an_column_text(query, 1, arena);
    item->serial = an_column_text(query, 2, arena);
}

static void read_lineage(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_lineage *lineage = row;
    struct an_link *link = &lineage->link;

    read_item(query, arena, &lineage->item);
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
    lineage->link_id = an_column_int(query, 13);
    lineage->file = an_column_text(query, 14, arena);
    link->sure = (int)an_column_int_or(query, 15, 0);
    lineage->sure = (enum an_link_sure)link->sure;
    lineage->until_us = an_column_instant(query, 16);
    lineage->end_file_id = an_column_int_or(query, 17, 0);
    lineage->end_line = (uint64_t)an_column_int_or(query, 18, 0);
    link->corrected_by = an_column_int_or(query, 19, 0);
}

static bool same_text(const char *a, const char *b)
{
    return a == b || (a && b && strcmp(a, b) == 0);
}

/* Two tellings of one link, which stood for the same time. */
static bool same_link(const struct an_lineage *a, const struct an_lineage *b)
{
    return a->item.item_id == b->item.item_id && a->link.child_id == b->link.child_id &&
           a->link.parent_id == b->link.parent_id && a->until_us == b->until_us &&
           a->link.row == b->link.row && a->link.column == b->link.column &&
           same_text(a->link.role, b->link.role) && same_text(a->link.region, b->link.region);
}

static void join_tellings(struct an_lineage *kept, const struct an_lineage *other)
{
    const enum an_link_sure sure =
        kept->sure == AN_LINK_SURE_UNTOLD ||
                (other->sure != AN_LINK_SURE_UNTOLD && other->sure < kept->sure)
            ? other->sure
            : kept->sure;
    const double share = kept->link.share;

    if (other->link.at_us < kept->link.at_us) { /* no instant is the smallest */
        *kept = *other;
    }
    kept->sure = sure;
    kept->link.sure = (int)sure;
    kept->link.share = kept->link.share != kept->link.share ? share : kept->link.share; /* NaN */
}

static int by_role(const void *left, const void *right)
{
    const struct an_lineage *a = left;
    const struct an_lineage *b = right;
    int order = strcmp(a->link.role ? a->link.role : "", b->link.role ? b->link.role : "");

    order = order ? order : strcmp(a->item.serial, b->item.serial);
    order =
        order ? order : (a->item.item_id > b->item.item_id) - (a->item.item_id < b->item.item_id);
    return order ? order : (a->link_id > b->link_id) - (a->link_id < b->link_id);
}

/* By role and serial; tellings of one link then stand in one run of an item's rows. */
static size_t collapse(struct an_lineage *rows, size_t count)
{
    size_t kept = 0;

    if (count > 1) {
        qsort(rows, count, sizeof *rows, by_role);
    }
    for (size_t i = 0; i < count; i++) {
        size_t k = kept;

        while (k > 0 && rows[k - 1].item.item_id == rows[i].item.item_id &&
               same_text(rows[k - 1].link.role, rows[i].link.role) &&
               !same_link(&rows[k - 1], &rows[i])) {
            k--;
        }
        if (k > 0 && same_link(&rows[k - 1], &rows[i])) {
            join_tellings(&rows[k - 1], &rows[i]);
        } else {
            rows[kept++] = rows[i];
        }
    }
    return kept;
}

/* With a place (row not negative) only what is at it. */
static enum an_status read_links(struct an_store *store, int64_t item_id, bool up, int64_t row,
                                 int64_t column, struct an_arena *arena,
                                 struct an_lineage **lineage, size_t *count, struct an_error *err)
{
#define LINEAGE_COLUMNS                                                                            \
    "SELECT i.item_id, i.kind, " AN_SERIAL_OF_I                                                    \
    ", k.child_id, k.parent_id, k.role, k.region, k.share,"                                        \
    " k.row_no, k.column_no, k.at_us, k.file_id, k.line_no, k.link_id, coalesce(f.name, ''),"      \
    " t.confidence, e.at_us, e.file_id, e.line_no,"                                                \
    " (SELECT c.correction_id FROM corrected_link c WHERE c.link_id = k.link_id" AN_IN_FORCE       \
    ") FROM link k JOIN item i"
#define LINEAGE_REST(PART)                                                                         \
    " LEFT JOIN file f ON f.file_id = k.file_id LEFT JOIN link_trait t ON t.link_id = k.link_id"   \
    " LEFT JOIN link_end e ON e.end_id = (SELECT x.end_id FROM link_end x"                         \
    " WHERE x.child_id = k.child_id AND x.parent_id " PART                                         \
    " AND (k.at_us IS NULL OR x.at_us > k.at_us) AND (x.role IS NULL OR x.role IS k.role)"         \
    " AND (x.region IS NULL OR x.region IS k.region)"                                              \
    " AND (x.row_no IS NULL OR x.row_no IS k.row_no)"                                              \
    " AND (x.column_no IS NULL OR x.column_no IS k.column_no)"                                     \
    " ORDER BY x.at_us, x.end_id LIMIT 1) WHERE k."
#define LINEAGES(PART)                                                                             \
    {                                                                                              \
        LINEAGE_COLUMNS " ON i.item_id = k.child_id" LINEAGE_REST(PART) "parent_id = $1",          \
            LINEAGE_COLUMNS " ON i.item_id = k.parent_id" LINEAGE_REST(PART) "child_id = $1",      \
            LINEAGE_COLUMNS " ON i.item_id = k.parent_id" LINEAGE_REST(                            \
                PART) "child_id = $1 AND k.row_no = $2 AND k.column_no = $3"                       \
    }
    /* down, up, at a place; where parts were corrected, ends told of the wrong one count, too */
    static const char *const sql[2][3] = {
        LINEAGES("= k.parent_id"), LINEAGES("IN (k.parent_id, (SELECT m.parent_id FROM main.link m"
                                            " WHERE m.link_id = k.link_id))")};
#undef LINEAGES
#undef LINEAGE_COLUMNS
#undef LINEAGE_REST
    struct an_query query;
    void *rows = NULL;
    enum an_status st =
        an_query_start(&query, store, sql[store->links_corrected][row >= 0 ? 2 : up],
                       "following an item's links", err);

    *lineage = NULL;
    *count = 0;
    if (st) {
        return st;
    }
    an_query_int(&query, item_id);
    if (row >= 0) {
        an_query_int(&query, row);
        an_query_int(&query, column);
    }
    st = an_query_collect(&query, sizeof **lineage, read_lineage, arena, &rows, count, err);
    if (!st) {
        *lineage = rows;
    }
    return st;
}

/* ---- other serials -------------------------------------------------------------------------------- */
static enum an_status any_alias(struct an_store *store, bool *any, struct an_error *err)
{
    static const char sql[] = "SELECT coalesce((SELECT min(alias_id) FROM alias),"
                              " (SELECT min(is_id) FROM correction WHERE is_id IS NOT NULL))";
    struct an_query query;
    bool found = false;

    if (store->view_held && store->view_aliases) {
        *any = store->view_aliases == 1;
        return AN_OK;
    }
    enum an_status st = an_query_start(&query, store, sql, "looking for aliases", err);

    if (st) {
        return st;
    }
    st = an_query_row(&query, &found, err);
    *any = !st && found && an_column_int_or(&query, 0, 0) != 0;
    an_query_end(&query);
    store->view_aliases = st ? 0 : *any ? 1 : 2;
    return st;
}

static void read_known(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_known_as *known = row;

    read_item(query, arena, &known->item);
    known->from_us = an_column_instant(query, 3);
    known->until_us = an_column_instant(query, 4);
    known->file = an_column_text(query, 5, arena);
    known->line = (uint64_t)an_column_int(query, 6);
}

static enum an_status read_aliases(struct an_store *store, const char *sql, int64_t item_id,
                                   struct an_arena *arena, struct an_known_as **known,
                                   size_t *count, struct an_error *err)
{
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "looking for aliases", err);

    *known = NULL;
    *count = 0;
    if (st) {
        return st;
    }
    an_query_int(&query, item_id);
    st = an_query_collect(&query, sizeof **known, read_known, arena, &rows, count, err);
    if (!st) {
        *known = rows;
    }
    return st;
}

enum an_status an_store_known_as(struct an_store *store, int64_t other_id, struct an_arena *arena,
                                 struct an_known_as **known, size_t *count, struct an_error *err)
{
    static const char sql[] =
        "SELECT * FROM (SELECT i.item_id, i.kind, i.serial, a.from_us, a.until_us,"
        " coalesce(f.name, ''), a.line_no, a.alias_id AS number"
        " FROM alias a JOIN item i ON i.item_id = a.item_id"
        " LEFT JOIN file f ON f.file_id = a.file_id WHERE a.other_id = $1"
        " UNION ALL SELECT i.item_id, i.kind, i.serial, NULL, NULL,"
        " 'correction ' || c.correction_id, 0, 0"
        " FROM correction c JOIN item i ON i.item_id = c.is_id"
        " WHERE c.item_id = $1 AND c.kind = 1" AN_IN_FORCE
        ") ORDER BY coalesce(until_us, 9223372036854775807) DESC, number DESC";
    return read_aliases(store, sql, other_id, arena, known, count, err);
}

enum an_status an_store_aliases(struct an_store *store, int64_t item_id, struct an_arena *arena,
                                struct an_known_as **known, size_t *count, struct an_error *err)
{
    static const char sql[] =
        "SELECT * FROM (SELECT i.item_id, i.kind, i.serial, a.from_us, a.until_us,"
        " coalesce(f.name, ''), a.line_no, a.alias_id AS number"
        " FROM alias a JOIN item i ON i.item_id = a.other_id"
        " LEFT JOIN file f ON f.file_id = a.file_id WHERE a.item_id = $1"
        " UNION ALL SELECT i.item_id, i.kind, i.serial, NULL, NULL,"
        " 'correction ' || c.correction_id, 0, 0 FROM correction c"
        " JOIN item i ON i.item_id = c.item_id WHERE c.kind = 1 AND (c.is_id = $1"
        " OR (c.item_id = $1 AND c.is_id IS NULL))" AN_IN_FORCE
        ") ORDER BY coalesce(from_us, -9223372036854775807), number";
    return read_aliases(store, sql, item_id, arena, known, count, err);
}

/* A link without a time may belong to any time. */
static bool was_known(const struct an_known_as *known, int64_t at_us)
{
    return at_us == AN_NO_INSTANT ||
           ((known->from_us == AN_NO_INSTANT || known->from_us <= at_us) &&
            (known->until_us == AN_NO_INSTANT || at_us < known->until_us));
}

/* The item that bore the serial at the time, if one alone did. */
static enum an_status true_item(struct an_store *store, int64_t at_us, struct an_arena *arena,
                                struct an_item *item, struct an_error *err)
{
    enum an_status st = AN_OK;

    for (int step = 0; !st && step < MOST_RENAMED; step++) {
        struct an_known_as *known = NULL;
        size_t count = 0;
        const struct an_known_as *only = NULL;
        bool several = false;

        st = an_store_known_as(store, item->item_id, arena, &known, &count, err);
        for (size_t i = 0; !st && i < count; i++) {
            if (was_known(&known[i], at_us)) {
                several = several || (only && only->item.item_id != known[i].item.item_id);
                only = &known[i];
            }
        }
        if (!only || several) {
            return st;
        }
        *item = only->item;
    }
    return st;
}

static enum an_status add_links_of(struct an_store *store, const struct an_known_as *known, bool up,
                                   struct an_arena *arena, struct an_lineage **lineage,
                                   size_t *count, struct an_error *err)
{
    struct an_lineage *more = NULL;
    size_t more_count = 0;
    const enum an_status st =
        read_links(store, known->item.item_id, up, -1, -1, arena, &more, &more_count, err);

    if (st || !more_count) {
        return st;
    }
    struct an_lineage *both = an_arena_alloc(arena, *count + more_count, sizeof *both);
    if (!both) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    if (*count) {
        memcpy(both, *lineage, *count * sizeof *both);
    }
    for (size_t i = 0; i < more_count; i++) {
        if (was_known(known, more[i].link.at_us)) {
            both[(*count)++] = more[i];
        }
    }
    *lineage = both;
    return AN_OK;
}

static enum an_status rename_all(struct an_store *store, int64_t item_id, bool up,
                                 struct an_arena *arena, struct an_lineage **lineage, size_t *count,
                                 struct an_error *err)
{
    struct an_known_as *known = NULL;
    size_t known_count = 0;
    enum an_status st = an_store_aliases(store, item_id, arena, &known, &known_count, err);

    for (size_t i = 0; !st && i < known_count; i++) {
        if (known[i].item.item_id == item_id) {
            continue; /* a serial that was corrected: its links are here */
        }
        st = add_links_of(store, &known[i], up, arena, lineage, count, err);
    }
    for (size_t i = 0; !st && i < *count; i++) {
        struct an_lineage *one = &(*lineage)[i];

        st = true_item(store, one->link.at_us, arena, &one->item, err);
    }
    return st;
}

enum an_status an_store_lineage(struct an_store *store, int64_t item_id, bool up,
                                struct an_arena *arena, struct an_lineage **lineage, size_t *count,
                                struct an_error *err)
{
    bool renamed = false;
    enum an_status st = read_links(store, item_id, up, -1, -1, arena, lineage, count, err);

    st = st ? st : any_alias(store, &renamed, err);
    if (!st && renamed) {
        st = rename_all(store, item_id, up, arena, lineage, count, err);
    }
    if (!st) {
        *count = collapse(*lineage, *count);
    }
    return st;
}

enum an_status an_store_lineage_at(struct an_store *store, int64_t child_id, int64_t row,
                                   int64_t column, struct an_arena *arena,
                                   struct an_lineage **lineage, size_t *count, struct an_error *err)
{
    const enum an_status st =
        read_links(store, child_id, true, row, column, arena, lineage, count, err);

    if (!st) {
        *count = collapse(*lineage, *count);
    }
    return st;
}

enum an_status an_store_link_until(struct an_store *store, const struct an_link *link,
                                   int64_t *until_us, struct an_error *err)
{
    static const char sql[] =
        "SELECT min(at_us) FROM link_end WHERE child_id = $1 AND parent_id = $2 AND at_us > $3"
        " AND (role IS NULL OR role IS $4) AND (region IS NULL OR region IS $5)"
        " AND (row_no IS NULL OR row_no IS $6) AND (column_no IS NULL OR column_no IS $7)";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "looking for the end of a link", err);

    *until_us = AN_NO_INSTANT;
    if (st) {
        return st;
    }
    an_query_int(&query, link->child_id);
    an_query_int(&query, link->parent_id);
    an_query_int(&query, link->at_us); /* no instant is before all */
    an_query_text(&query, link->role);
    an_query_text(&query, link->region);
    an_query_int_or_null(&query, link->row, link->row < 0);
    an_query_int_or_null(&query, link->column, link->column < 0);
    st = an_query_row(&query, &found, err);
    if (!st && found) {
        *until_us = an_column_instant(&query, 0);
    }
    an_query_end(&query);
    return st;
}

enum an_status an_store_is_made_of(struct an_store *store, int64_t item_id, int64_t part,
                                   bool *made, struct an_error *err)
{
    static const char sql[] = "WITH RECURSIVE n (item_id) AS (SELECT $1"
                              " UNION SELECT k.parent_id FROM n"
                              " JOIN link k ON k.child_id = n.item_id)" /* UNION ends circles */
                              " SELECT 1 FROM n WHERE item_id = $2 LIMIT 1";
    static const char corrected[] = "WITH RECURSIVE n (item_id) AS (SELECT $1 UNION " AN_STEP_UP
                                    ") SELECT 1 FROM n WHERE item_id = $2 LIMIT 1";
    struct an_query query;
    enum an_status st = an_query_start(&query, store, store->links_corrected ? corrected : sql,
                                       "following an item's links", err);

    *made = false;
    if (st) {
        return st;
    }
    an_query_int(&query, item_id);
    an_query_int(&query, part);
    st = an_query_row(&query, made, err);
    an_query_end(&query);
    return st;
}

/* ---- writing --------------------------------------------------------------------------------------- */
static enum an_status end_is_there(struct an_store *store, const struct an_link *end, bool *found,
                                   struct an_error *err)
{
    static const char sql[] =
        "SELECT 1 FROM link_end WHERE child_id = $1 AND parent_id = $2 AND at_us = $3"
        " AND coalesce(role, '') = $4 AND coalesce(region, '') = $5 AND coalesce(row_no, -1) = $6"
        " AND coalesce(column_no, -1) = $7";
    struct an_query query;
    enum an_status st = an_query_start(&query, store, sql, "looking for the end of a link", err);

    if (st) {
        return st;
    }
    an_query_int(&query, end->child_id);
    an_query_int(&query, end->parent_id);
    an_query_int(&query, end->at_us);
    an_query_text(&query, end->role ? end->role : "");
    an_query_text(&query, end->region ? end->region : "");
    an_query_int(&query, end->row < 0 ? -1 : end->row);
    an_query_int(&query, end->column < 0 ? -1 : end->column);
    st = an_query_row(&query, found, err);
    an_query_end(&query);
    return st;
}

enum an_status an_store_put_link_end(struct an_store *store, const struct an_link *end,
                                     struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO link_end (end_id, child_id, parent_id, role, region, row_no, column_no, at_us,"
        " file_id, line_no) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)";
    static const char doing[] = "storing the end of a link";
    struct an_query query;
    bool found = false;
    int64_t id = 0;
    enum an_status st = an_tally_check(store, end->file_id, doing, err);

    st = st ? st : end_is_there(store, end, &found, err);
    if (st || found) {
        return st;
    }
    st = an_store_take_id(store, AN_COUNT_LINK_END, &id, err);
    st = st ? st : an_query_start_put(&query, store, sql, doing, err);
    if (st) {
        return st;
    }
    an_query_int(&query, id);
    an_query_int(&query, end->child_id);
    an_query_int(&query, end->parent_id);
    an_query_text(&query, end->role);
    an_query_text(&query, end->region);
    an_query_int_or_null(&query, end->row, end->row < 0);
    an_query_int_or_null(&query, end->column, end->column < 0);
    an_query_int(&query, end->at_us);
    an_query_int(&query, end->file_id);
    an_query_int(&query, (int64_t)end->line);
    return an_query_run_put(&query, AN_PART_LINK_END, err);
}

static enum an_status alias_is_there(struct an_store *store, const struct an_alias *alias,
                                     bool *found, struct an_error *err)
{
    static const char sql[] = "SELECT 1 FROM alias WHERE item_id = $1 AND other_id = $2"
                              " AND coalesce(from_us, -1) = $3 AND coalesce(until_us, -1) = $4";
    struct an_query query;
    enum an_status st = an_query_start(&query, store, sql, "looking for aliases", err);

    if (st) {
        return st;
    }
    an_query_int(&query, alias->item_id);
    an_query_int(&query, alias->other_id);
    an_query_int(&query, alias->from_us == AN_NO_INSTANT ? -1 : alias->from_us);
    an_query_int(&query, alias->until_us == AN_NO_INSTANT ? -1 : alias->until_us);
    st = an_query_row(&query, found, err);
    an_query_end(&query);
    return st;
}

enum an_status an_store_put_alias(struct an_store *store, const struct an_alias *alias,
                                  struct an_error *err)
{
    static const char sql[] = "INSERT INTO alias (alias_id, item_id, other_id, from_us, until_us,"
                              " file_id, line_no) VALUES ($1, $2, $3, $4, $5, $6, $7)";
    static const char doing[] = "storing an alias";
    struct an_query query;
    bool found = false;
    int64_t id = 0;
    enum an_status st = an_tally_check(store, alias->file_id, doing, err);

    st = st ? st : alias_is_there(store, alias, &found, err);
    if (st || found) {
        return st;
    }
    st = an_store_take_id(store, AN_COUNT_ALIAS, &id, err);
    st = st ? st : an_query_start_put(&query, store, sql, doing, err);
    if (st) {
        return st;
    }
    an_query_int(&query, id);
    an_query_int(&query, alias->item_id);
    an_query_int(&query, alias->other_id);
    an_query_instant(&query, alias->from_us);
    an_query_instant(&query, alias->until_us);
    an_query_int(&query, alias->file_id);
    an_query_int(&query, (int64_t)alias->line);
    return an_query_run_put(&query, AN_PART_ALIAS, err);
}
