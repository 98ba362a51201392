/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the store knows of an item already: asked once a visit at most, so each question must find
 * its rows by an index. Being named by a link makes no item known.
 */
#include "andamento/store/intake.h"
#include "store/correction.h"
#include "store/handle.h"

enum an_status an_store_item_seen(struct an_store *store, const char *kind, struct an_bytes serial,
                                  bool *seen, int64_t *item_id, struct an_error *err)
{
    static const char sql[] = "SELECT i.item_id FROM item i WHERE i.kind = $1 AND i.serial = $2"
                              " AND EXISTS (SELECT 1 FROM visit v WHERE v.item_id = i.item_id)";
    struct an_query query;
    enum an_status st = an_query_start(&query, store, sql, "looking for an item", err);
    if (st) {
        return st;
    }
    an_query_text(&query, kind);
    an_query_bytes_as_text(&query, serial);
    st = an_query_row(&query, seen, err);
    if (!st && *seen) {
        *item_id = an_column_int(&query, 0);
        an_query_end(&query);
    }
    return st;
}

enum an_status an_store_item_first_at(struct an_store *store, int64_t item_id, const char *station,
                                      int64_t *at_us, struct an_error *err)
{
    static const char sql[] = "SELECT min(v.first_us) FROM visit v"
                              " JOIN file f ON f.file_id = v.file_id"
                              " WHERE v.item_id = $1 AND f.station = $2";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "looking when an item was made", err);
    *at_us = AN_NO_INSTANT;
    if (st) {
        return st;
    }
    an_query_int(&query, item_id);
    an_query_text(&query, station);
    st = an_query_row(&query, &found, err);
    if (!st && found) {
        *at_us = an_column_instant(&query, 0);
        an_query_end(&query);
    }
    return st;
}

enum an_status an_store_item_closed(struct an_store *store, int64_t item_id, const char *kind,
                                    const char *station, int64_t file_id, struct an_arena *arena,
                                    const char **serial, int64_t *at_us, struct an_error *err)
{
    static const char sql[] = "WITH RECURSIVE n (item_id) AS (SELECT $1"
                              " UNION SELECT k.child_id FROM n"
                              " JOIN link k ON k.parent_id = n.item_id)" /* UNION ends circles */
                              " SELECT i.serial, v.last_us FROM n"
                              " JOIN item i ON i.item_id = n.item_id"
                              " JOIN visit v ON v.item_id = i.item_id"
                              " JOIN file f ON f.file_id = v.file_id"
                              " WHERE i.kind = $2 AND f.station = $3 AND f.file_id <> $4 LIMIT 1";
    static const char corrected[] =
        "WITH RECURSIVE n (item_id) AS (SELECT $1 UNION " AN_STEP_DOWN
        ") SELECT i.serial, v.last_us FROM n JOIN item i ON i.item_id = n.item_id"
        " JOIN visit v ON v.item_id = i.item_id JOIN file f ON f.file_id = v.file_id"
        " WHERE i.kind = $2 AND f.station = $3 AND f.file_id <> $4 LIMIT 1";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, store->links_corrected ? corrected : sql,
                                       "looking whether an item is closed", err);
    *serial = NULL;
    if (st) {
        return st;
    }
    an_query_int(&query, item_id);
    an_query_text(&query, kind);
    an_query_text(&query, station);
    an_query_int(&query, file_id);
    st = an_query_row(&query, &found, err);
    if (!st && found) {
        *serial = an_column_text(&query, 0, arena);
        *at_us = an_column_int(&query, 1);
        if (query.no_memory) {
            st = an_fail(err, AN_NO_MEMORY, "looking whether an item is closed: memory ran out");
        }
        an_query_end(&query);
    }
    return st;
}

static void read_visit(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_earlier_visit *visit = row;
    (void)arena;
    visit->visit_id = an_column_int(query, 0);
    visit->file_id = an_column_int(query, 1);
    visit->rows = an_column_int(query, 2);
    (void)an_column_hash(query, 3, &visit->rows_digest); /* its length is checked by the table */
}

enum an_status an_store_item_visits(struct an_store *store, const char *station, int64_t item_id,
                                    int64_t from_us, int64_t until_us, struct an_arena *arena,
                                    struct an_earlier_visit **visits, size_t *count,
                                    struct an_error *err)
{
    static const char sql[] =
        "SELECT v.visit_id, v.file_id, v.rows_taken, v.rows_digest FROM visit v"
        " JOIN file f ON f.file_id = v.file_id"
        " WHERE v.item_id = $1 AND v.last_us >= $2 AND v.first_us <= $3 AND f.station = $4"
        " ORDER BY v.visit_id";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "looking for an item's visits", err);
    if (st) {
        return st;
    }
    an_query_int(&query, item_id);
    an_query_int(&query, from_us);
    an_query_int(&query, until_us);
    an_query_text(&query, station);
    st = an_query_collect(&query, sizeof **visits, read_visit, arena, &rows, count, err);
    if (!st) {
        *visits = rows;
    }
    return st;
}

/* ---- samples that were replaced or are in doubt -------------------------------------------------- */

static void read_sample(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_sample *sample = row;
    (void)arena;
    sample->sample_id = an_column_int(query, 0);
    sample->stream_id = an_column_int(query, 1);
    sample->at_us = an_column_int(query, 2);
}

static enum an_status mark_superseded(struct an_store *store, const struct an_sample *sample,
                                      int64_t by_sample_id, int64_t file_id, struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO superseded (superseded_id, sample_id, stream_id, at_us, by_sample_id, file_id)"
        " VALUES ($1, $2, $3, $4, $5, $6)";
    struct an_query query;
    int64_t id = 0;
    enum an_status st = an_store_take_id(store, AN_COUNT_SUPERSEDED, &id, err);
    st = st ? st : an_query_start_put(&query, store, sql, "marking a sample as superseded", err);
    if (st) {
        return st;
    }
    an_query_int(&query, id);
    an_query_int(&query, sample->sample_id);
    an_query_int(&query, sample->stream_id);
    an_query_int(&query, sample->at_us);
    an_query_int(&query, by_sample_id);
    an_query_int(&query, file_id);
    return an_query_run_put(&query, AN_PART_SUPERSEDED, err);
}

enum an_status an_store_supersede(struct an_store *store, const struct an_earlier_visit *visit,
                                  int64_t file_id, struct an_error *err)
{
    static const char sql[] =
        "SELECT s.sample_id, s.stream_id, s.at_us FROM sample s"
        " WHERE s.file_id = $1 AND s.visit_id = $2 AND NOT EXISTS"
        " (SELECT 1 FROM superseded x WHERE x.sample_id = s.sample_id) ORDER BY s.sample_id";
    static const char doing[] = "looking for the samples of a visit";
    struct an_query query;
    void *rows = NULL;
    size_t count = 0;
    int64_t by_sample_id = 0;
    enum an_status st = an_tally_check(store, file_id, doing, err);
    struct an_arena *arena = st ? NULL : an_arena_open();
    if (!st && !arena) {
        st = an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing);
    }
    st = st ? st : an_store_peek_id(store, AN_COUNT_SAMPLE, &by_sample_id, err);
    st = st ? st : an_query_start(&query, store, sql, doing, err);
    if (!st) {
        an_query_int(&query, visit->file_id);
        an_query_int(&query, visit->visit_id);
        st = an_query_collect(&query, sizeof(struct an_sample), read_sample, arena, &rows, &count,
                              err);
    }
    const struct an_sample *samples = rows;
    for (size_t i = 0; !st && i < count; i++) {
        st = mark_superseded(store, &samples[i], by_sample_id, file_id, err);
    }
    an_arena_close(arena);
    return st;
}

enum an_status an_store_put_suspect(struct an_store *store, int64_t sample_id, const char *code,
                                    int64_t file_id, struct an_error *err)
{
    static const char sql[] = "INSERT INTO suspect (suspect_id, sample_id, code, file_id)"
                              " VALUES ($1, $2, $3, $4)";
    static const char doing[] = "noting a doubt about a sample";
    struct an_query query;
    int64_t id = 0;
    enum an_status st = an_tally_check(store, file_id, doing, err);
    st = st ? st : an_store_take_id(store, AN_COUNT_SUSPECT, &id, err);
    st = st ? st : an_query_start_put(&query, store, sql, doing, err);
    if (st) {
        return st;
    }
    an_query_int(&query, id);
    an_query_int(&query, sample_id);
    an_query_text(&query, code);
    an_query_int(&query, file_id);
    return an_query_run_put(&query, AN_PART_SUSPECT, err);
}

enum an_status an_store_means_before(struct an_store *store, int64_t stream_id, int64_t file_id,
                                     size_t most, double *means, size_t *count,
                                     struct an_error *err)
{
    static const char sql[] = "SELECT mean * coalesce((SELECT c.factor"
                              " FROM corrected_sample c WHERE c.sample_id = s.sample_id" AN_IN_FORCE
                              "), 1.0) FROM sample s WHERE stream_id = $1 AND file_id <> $2"
                              " ORDER BY at_us DESC, sample_id DESC LIMIT $3";
    struct an_query query;
    bool more = false;
    enum an_status st = an_query_start(&query, store, sql, "looking at recent samples", err);
    *count = 0;
    if (st) {
        return st;
    }
    an_query_int(&query, stream_id);
    an_query_int(&query, file_id);
    an_query_int(&query, (int64_t)most);
    while (!(st = an_query_row(&query, &more, err)) && more) {
        means[(*count)++] = an_column_real(&query, 0);
    }
    an_query_end(&query);
    return st;
}

static void read_suspect(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_suspect *suspect = row;
    suspect->sample_id = an_column_int(query, 0);
    suspect->at_us = an_column_int(query, 1);
    suspect->code = an_column_text(query, 2, arena);
    suspect->serial = an_column_text(query, 3, arena);
}

enum an_status an_store_suspects(struct an_store *store, int64_t stream_id, int64_t from_us,
                                 int64_t until_us, struct an_arena *arena,
                                 struct an_suspect **suspects, size_t *count, struct an_error *err)
{
    static const char sql[] =
        "SELECT s.sample_id, s.at_us, u.code, i.serial FROM sample s"
        " JOIN suspect u ON u.sample_id = s.sample_id JOIN item i ON i.item_id = s.item_id"
        " WHERE s.stream_id = $1 AND s.at_us >= $2 AND s.at_us < $3 AND NOT EXISTS"
        " (SELECT 1 FROM superseded x WHERE x.sample_id = s.sample_id) AND NOT EXISTS"
        " (SELECT 1 FROM corrected_sample c WHERE c.sample_id = s.sample_id AND c.factor IS NULL" AN_IN_FORCE
        ") ORDER BY s.at_us, s.sample_id, u.code";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "listing suspect samples", err);
    if (st) {
        return st;
    }
    an_query_int(&query, stream_id);
    an_query_int(&query, from_us);
    an_query_int(&query, an_until(until_us));
    st = an_query_collect(&query, sizeof **suspects, read_suspect, arena, &rows, count, err);
    if (!st) {
        *suspects = rows;
    }
    return st;
}
