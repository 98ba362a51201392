/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Ends of links that nobody told to have begun. Must never make up the link. */
#include "andamento/store/genealogy.h"
#include "store/correction.h"
#include "store/handle.h"

static void read_end(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_known_as *end = row;

    end->item.item_id = an_column_int(query, 0);
    end->item.kind = an_column_text(query, 1, arena);
    end->item.serial = an_column_text(query, 2, arena);
    end->from_us = AN_NO_INSTANT;
    end->until_us = an_column_instant(query, 3);
    end->file = an_column_text(query, 4, arena);
    end->line = (uint64_t)an_column_int(query, 5);
}

enum an_status an_store_lone_ends(struct an_store *store, int64_t item_id, bool up,
                                  struct an_arena *arena, struct an_known_as **ends, size_t *count,
                                  struct an_error *err)
{
#define ENDS_COLUMNS                                                                               \
    "SELECT i.item_id, i.kind, i.serial, e.at_us, coalesce(f.name, ''), e.line_no FROM link_end e"
#define ENDS_ALONE                                                                                 \
    " AND NOT EXISTS (SELECT 1 FROM link k WHERE k.child_id = e.child_id"                          \
    " AND k.parent_id = e.parent_id AND (k.at_us IS NULL OR k.at_us < e.at_us))"                   \
    " AND NOT EXISTS (SELECT 1 FROM correction c WHERE c.kind = 2 AND c.item_id = e.child_id"      \
    " AND c.was_id = e.parent_id" AN_IN_FORCE ")"                                                  \
    " ORDER BY e.at_us, e.end_id"
    static const char up_sql[] = ENDS_COLUMNS " JOIN item i ON i.item_id = e.parent_id"
                                              " LEFT JOIN file f ON f.file_id = e.file_id"
                                              " WHERE e.child_id = $1" ENDS_ALONE;
    static const char down_sql[] = ENDS_COLUMNS " JOIN item i ON i.item_id = e.child_id"
                                                " LEFT JOIN file f ON f.file_id = e.file_id"
                                                " WHERE e.parent_id = $1" ENDS_ALONE;
#undef ENDS_COLUMNS
#undef ENDS_ALONE
    struct an_query query;
    void *rows = NULL;
    enum an_status st =
        an_query_start(&query, store, up ? up_sql : down_sql, "looking for ends of links", err);

    *ends = NULL;
    *count = 0;
    if (st) {
        return st;
    }
    an_query_int(&query, item_id);
    st = an_query_collect(&query, sizeof **ends, read_end, arena, &rows, count, err);
    if (!st) {
        *ends = rows;
    }
    return st;
}
