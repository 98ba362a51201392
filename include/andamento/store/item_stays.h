/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where an item has been: its visits with the file that told each, and the items beside it, for
 * reports on one item.
 * Threads: one a store handle.
 */
#ifndef ANDAMENTO_STORE_ITEM_STAYS_H
#define ANDAMENTO_STORE_ITEM_STAYS_H

#include "andamento/store/store.h"

struct an_item_stay {
    int64_t visit_id, item_id;
    const char *station;
    int64_t first_us, last_us, rows;
    const char *purpose, *tool, *gauge, *who, *attempt; /* NULL: production; not told */
    int64_t file_id;
    const char *file;      /* its name */
    struct an_sha256 hash; /* of its original */
    uint64_t first_line, last_line;
};
/* In taken files, by time. None is no error. */
AN_CHECKED enum an_status an_store_item_stays(struct an_store *store, int64_t item_id,
                                              struct an_arena *arena, struct an_item_stay **stays,
                                              size_t *count, struct an_error *err);

/* The visits of a taken file that have rows between these lines, or on both sides of one of them; by
 * first line. None is no error. */
AN_CHECKED enum an_status an_store_line_stays(struct an_store *store, int64_t file_id,
                                              uint64_t first_line, uint64_t last_line,
                                              struct an_arena *arena, struct an_item_stay **stays,
                                              size_t *count, struct an_error *err);

/* Items of a kind that stand beside a serial in their order: at most `most` before it and as many
 * after it, that serial itself left out. */
AN_CHECKED enum an_status an_store_items_beside(struct an_store *store, const char *kind,
                                                const char *serial, size_t most,
                                                struct an_arena *arena, struct an_item **items,
                                                size_t *count, struct an_error *err);

#endif
