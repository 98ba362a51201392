/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Which samples of a baseline are in doubt. Must never take a sample for doubtful that the limits
 * could not have been learned from: only what was there, and in use, when they were proposed.
 */
#include "andamento/store/doubt.h"

#include "store/handle.h"

const char *an_doubt_word(enum an_doubt_kind kind)
{
    static const char *const words[] = {"",       "withdrawn",      "corrected since",
                                        "undone", "measured again", "suspect"};

    return (unsigned)kind < sizeof words / sizeof *words ? words[kind] : "";
}

static void read_doubt(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_doubt *doubt = row;

    doubt->sample_id = an_column_int(query, 0);
    doubt->at_us = an_column_int(query, 1);
    doubt->serial = an_column_text(query, 2, arena);
    doubt->kind = (enum an_doubt_kind)an_column_int(query, 3);
    doubt->what = an_column_text(query, 4, arena);
    doubt->who = an_column_text(query, 5, arena);
}

static enum an_status newest_file(struct an_store *store, int64_t limits_id, int64_t *file_id,
                                  struct an_error *err)
{
    static const char sql[] = "SELECT f.file_id FROM file f WHERE f.entry <"
                              " (SELECT l.entry FROM limits l WHERE l.limits_id = $1)"
                              " ORDER BY f.file_id DESC LIMIT 1"; /* the newest ones come first */
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "looking for a baseline's files", err);

    *file_id = 0;
    if (st) {
        return st;
    }
    an_query_int(&query, limits_id);
    st = an_query_row(&query, &found, err);
    if (!st && found) {
        *file_id = an_column_int(&query, 0);
        an_query_end(&query);
    }
    return st;
}

/* Rows come by time; of one sample the first kind stays. */
static size_t each_once(struct an_doubt *doubts, size_t count)
{
    size_t kept = 0;

    for (size_t i = 0; i < count; i++) {
        if (!kept || doubts[kept - 1].sample_id != doubts[i].sample_id) {
            doubts[kept++] = doubts[i];
        }
    }
    return kept;
}

enum an_status an_store_doubts(struct an_store *store, int64_t limits_id, struct an_arena *arena,
                               struct an_doubt **doubts, size_t *count, int64_t *newest_file_id,
                               struct an_error *err)
{
#define BASELINE                                                                                   \
    " AND s.at_us >= coalesce(l.baseline_from_us, -9223372036854775807)"                           \
    " AND s.at_us < coalesce(l.baseline_until_us, 9223372036854775807)"                            \
    " JOIN file f ON f.file_id = s.file_id AND f.entry < l.entry"                                  \
    " JOIN item i ON i.item_id = s.item_id"
#define IN_USE                                                                                     \
    " WHERE l.limits_id = $1"                                                                      \
    " AND NOT EXISTS (SELECT 1 FROM superseded o JOIN file of ON of.file_id = o.file_id"           \
    " WHERE o.sample_id = s.sample_id AND of.entry < l.entry)"
#define CORRECTED                                                                                  \
    " FROM limits l JOIN corrected_sample x ON x.stream_id = l.stream_id"                          \
    " JOIN correction c ON c.correction_id = x.correction_id"                                      \
    " LEFT JOIN correction u ON u.undoes = c.correction_id"                                        \
    " JOIN sample s ON s.sample_id = x.sample_id"
    static const char sql[] =
        "SELECT s.sample_id, s.at_us, i.serial, CASE WHEN x.factor IS NULL THEN 1 ELSE 2 END,"
        " 'correction ' || c.correction_id, c.author" CORRECTED BASELINE IN_USE
        " AND c.entry > l.entry AND u.correction_id IS NULL"
        " UNION ALL SELECT s.sample_id, s.at_us, i.serial, 3,"
        " 'correction ' || u.correction_id, u.author" CORRECTED BASELINE IN_USE
        " AND x.factor IS NOT NULL AND c.entry < l.entry AND u.entry > l.entry"
        " UNION ALL SELECT s.sample_id, s.at_us, i.serial, 4, b.name, NULL FROM limits l"
        " JOIN superseded x ON x.stream_id = l.stream_id"
        " JOIN file b ON b.file_id = x.file_id AND b.entry > l.entry"
        " JOIN sample s ON s.sample_id = x.sample_id" BASELINE IN_USE
        " UNION ALL SELECT s.sample_id, s.at_us, i.serial, 5, x.code, NULL FROM limits l"
        " JOIN sample s ON s.stream_id = l.stream_id" BASELINE
        " JOIN suspect x ON x.sample_id = s.sample_id" IN_USE
        " AND NOT EXISTS (SELECT 1 FROM corrected_sample w JOIN correction c"
        " ON c.correction_id = w.correction_id WHERE w.sample_id = s.sample_id"
        " AND w.factor IS NULL AND c.entry < l.entry AND NOT EXISTS"
        " (SELECT 1 FROM correction u WHERE u.undoes = c.correction_id))"
        " ORDER BY 2, 1, 4";
#undef BASELINE
#undef IN_USE
#undef CORRECTED
    struct an_query query;
    void *rows = NULL;
    enum an_status st = newest_file(store, limits_id, newest_file_id, err);

    *doubts = NULL;
    *count = 0;
    st = st ? st : an_query_start(&query, store, sql, "looking for doubts about a baseline", err);
    if (st) {
        return st;
    }
    an_query_int(&query, limits_id);
    st = an_query_collect(&query, sizeof **doubts, read_doubt, arena, &rows, count, err);
    if (!st) {
        *doubts = rows;
        *count = each_once(*doubts, *count);
    }
    return st;
}
