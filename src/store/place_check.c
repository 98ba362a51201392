/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether a part may sit where corrections say that it does: in one whole at a time, and alone at its
 * place. Intake asks the same of what files tell; this asks it of what holds after a correction, so
 * it must never go by the recorded part of a link alone.
 */
#include "andamento/store/correction.h"
#include "store/correction.h"

#include <stdio.h>
#include <string.h>

static const char doing[] = "looking at where a part sits";

struct seat {
    int64_t link_id, child_id, parent_id;
    int64_t row, column; /* -1: not told */
    const char *region;  /* NULL: not told */
    int64_t at_us, until_us;
    const char *file;
    int64_t line;
    const char *kind, *child, *part; /* of the whole; both serials */
    int64_t correction_id;           /* the last one of the link; 0: none */
};

/* Links with the part that holds; an end told of either part ends them. */
#define SEATS                                                                                      \
    "SELECT k.link_id, k.child_id, coalesce(c.parent_id, k.parent_id), k.row_no, k.column_no,"     \
    " k.region, k.at_us, (SELECT min(x.at_us) FROM main.link_end x WHERE x.child_id = k.child_id"  \
    " AND x.parent_id IN (k.parent_id, c.parent_id) AND (k.at_us IS NULL OR x.at_us > k.at_us)"    \
    " AND (x.role IS NULL OR x.role IS k.role) AND (x.region IS NULL OR x.region IS k.region)"     \
    " AND (x.row_no IS NULL OR x.row_no IS k.row_no)"                                              \
    " AND (x.column_no IS NULL OR x.column_no IS k.column_no)), f.name, k.line_no, w.kind,"        \
    " w.serial, p.serial, (SELECT max(l.correction_id) FROM corrected_link l"                      \
    " WHERE l.link_id = k.link_id) FROM main.link k"                                               \
    " LEFT JOIN corrected_link c ON c.link_id = k.link_id" AN_IN_FORCE                             \
    " JOIN item w ON w.item_id = k.child_id"                                                       \
    " JOIN item p ON p.item_id = coalesce(c.parent_id, k.parent_id)"                               \
    " JOIN file f ON f.file_id = k.file_id WHERE (c.link_id IS NULL OR c.parent_id IS NOT NULL)"

static void read_seat(struct an_query *query, struct an_arena *arena, void *row)
{
    struct seat *seat = row;

    seat->link_id = an_column_int(query, 0);
    seat->child_id = an_column_int(query, 1);
    seat->parent_id = an_column_int(query, 2);
    seat->row = an_column_int_or(query, 3, -1);
    seat->column = an_column_int_or(query, 4, -1);
    seat->region = an_column_text(query, 5, arena);
    seat->at_us = an_column_instant(query, 6);
    seat->until_us = an_column_instant(query, 7);
    seat->file = an_column_text(query, 8, arena);
    seat->line = an_column_int(query, 9);
    seat->kind = an_column_text(query, 10, arena);
    seat->child = an_column_text(query, 11, arena);
    seat->part = an_column_text(query, 12, arena);
    seat->correction_id = an_column_int_or(query, 13, 0);
}

static enum an_status seats_of(struct an_store *store, const char *sql, int64_t item_id,
                               struct an_arena *arena, struct seat **seats, size_t *count,
                               struct an_error *err)
{
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, doing, err);

    if (!st) {
        an_query_int(&query, item_id);
        st = an_query_collect(&query, sizeof **seats, read_seat, arena, &rows, count, err);
    }
    *seats = st ? NULL : rows;
    return st;
}

static bool overlap(const struct seat *a, const struct seat *b)
{
    return (a->until_us == AN_NO_INSTANT || b->at_us == AN_NO_INSTANT || a->until_us > b->at_us) &&
           (b->until_us == AN_NO_INSTANT || a->at_us == AN_NO_INSTANT || b->until_us > a->at_us);
}

static bool same_place(const struct seat *a, const struct seat *b)
{
    return a->row == b->row && a->column == b->column &&
           strcmp(a->region ? a->region : "", b->region ? b->region : "") == 0;
}

static enum an_status refuse(const struct seat *seat, const struct seat *other, bool elsewhere,
                             struct an_error *err)
{
    char place[80] = "";

    if (other->row >= 0 && other->column >= 0) {
        (void)snprintf(place, sizeof place, "row %lld column %lld of ", (long long)other->row,
                       (long long)other->column);
    }
    return elsewhere
               ? an_fail(err, AN_BAD_USAGE,
                         "%s sits in %s%s %s by line %lld of \"%s\" at that time: correct that "
                         "first, or collect what tells of its removal",
                         seat->part, place, other->kind, other->child, (long long)other->line,
                         other->file)
               : an_fail(err, AN_BAD_USAGE,
                         "%s%s %s holds %s by line %lld of \"%s\" at that time: correct that "
                         "first, or collect what tells of its removal",
                         place, other->kind, other->child, other->part, (long long)other->line,
                         other->file);
}

/* Is the seat, of the part in the whole, the part's only one and the place's only one? */
static enum an_status check_seat(const struct seat *seat, const struct seat *of_part,
                                 size_t of_part_count, const struct seat *of_child,
                                 size_t of_child_count, struct an_error *err)
{
    for (size_t i = 0; i < of_part_count; i++) {
        const struct seat *other = &of_part[i];

        if (strcmp(other->kind, seat->kind) == 0 && overlap(seat, other) &&
            !(other->child_id == seat->child_id && same_place(other, seat))) {
            return refuse(seat, other, true, err);
        }
    }
    for (size_t i = 0; seat->row >= 0 && seat->column >= 0 && i < of_child_count; i++) {
        const struct seat *other = &of_child[i];

        if (other->parent_id != seat->parent_id && overlap(seat, other) &&
            same_place(other, seat)) {
            return refuse(seat, other, false, err);
        }
    }
    return AN_OK;
}

enum an_status an_store_part_fits(struct an_store *store, int64_t correction_id, int64_t child_id,
                                  int64_t part_id, struct an_error *err)
{
    static const char of_child_sql[] = SEATS " AND k.child_id = $1";
    static const char of_part_sql[] =
        SEATS " AND k.link_id IN (SELECT link_id FROM main.link WHERE parent_id = $1"
              " UNION SELECT link_id FROM corrected_link WHERE parent_id = $1)"
              " AND coalesce(c.parent_id, k.parent_id) = $1";
    struct an_arena *arena = an_arena_open();
    struct seat *of_child = NULL;
    struct seat *of_part = NULL;
    size_t of_child_count = 0;
    size_t of_part_count = 0;
    enum an_status st =
        arena ? seats_of(store, of_child_sql, child_id, arena, &of_child, &of_child_count, err)
              : an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing);

    st = st ? st : seats_of(store, of_part_sql, part_id, arena, &of_part, &of_part_count, err);
    for (size_t i = 0; !st && i < of_child_count; i++) {
        if (of_child[i].parent_id == part_id && of_child[i].correction_id == correction_id) {
            st = check_seat(&of_child[i], of_part, of_part_count, of_child, of_child_count, err);
        }
    }
    an_arena_close(arena);
    return st;
}
