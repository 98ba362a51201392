/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Signals as records: episodes, withdrawals of their hits, and how far streams were judged. Each has a
 * ledger entry whose payload holds the whole row. Hits are put by hit_record.c.
 */
#include "store/handle.h"

/* ---- putting ---------------------------------------------------------------------------------------- */

static enum an_status tell_signal(struct an_store *store, const struct an_signal_record *signal,
                                  uint64_t *entry, struct an_error *err)
{
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);
    an_json_object(&json);
    an_json_put_integer(&json, "signal_id", signal->signal_id);
    an_json_put_integer(&json, "stream_id", signal->stream_id);
    an_json_put_integer(&json, "limits_id", signal->limits_id);
    an_json_put_integer(&json, "known_us", signal->known_us);
    an_json_put_integer(&json, "first_sample_id", signal->first_sample_id);
    an_json_put_integer(&json, "first_us", signal->first_us);
    an_json_put_integer(&json, "signal_sample_id", signal->signal_sample_id);
    an_json_put_integer(&json, "signal_us", signal->signal_us);
    an_json_put_integer(&json, "panel", signal->panel);
    an_json_put_integer(&json, "side", signal->side);
    an_json_put_integer(&json, "rule", signal->rule);
    an_json_end(&json, '}');
    return an_ledger_append_text(store, "signal", &payload, entry, err);
}

enum an_status an_store_put_signal(struct an_store *store, struct an_signal_record *signal,
                                   struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO signal (signal_id, stream_id, limits_id, known_us, first_sample_id, first_us,"
        " signal_sample_id, signal_us, panel, side, rule, entry)"
        " VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)";
    static const char doing[] = "storing a signal";
    struct an_query query;
    uint64_t entry = 0;
    enum an_status st = an_store_may_put(store, doing, err);
    if (!st) {
        st = an_store_take_id(store, AN_COUNT_SIGNAL, &signal->signal_id, err);
    }
    signal->known_us = an_known(signal->known_us);
    if (!st) {
        st = tell_signal(store, signal, &entry, err);
    }
    if (!st) {
        st = an_query_start(&query, store, sql, doing, err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, signal->signal_id);
    an_query_int(&query, signal->stream_id);
    an_query_int_or_null(&query, signal->limits_id, signal->limits_id == 0);
    an_query_int(&query, signal->known_us);
    an_query_int(&query, signal->first_sample_id);
    an_query_int(&query, signal->first_us);
    an_query_int(&query, signal->signal_sample_id);
    an_query_int(&query, signal->signal_us);
    an_query_int(&query, signal->panel);
    an_query_int(&query, signal->side);
    an_query_int(&query, signal->rule);
    an_query_int(&query, (int64_t)entry);
    return an_query_run(&query, err);
}

enum an_status an_signal_stream(struct an_store *store, int64_t signal_id, int64_t *stream_id,
                                struct an_error *err)
{
    static const char sql[] = "SELECT stream_id FROM signal WHERE signal_id = $1";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "looking for a signal", err);
    if (st) {
        return st;
    }
    an_query_int(&query, signal_id);
    st = an_query_row(&query, &found, err);
    if (!st && !found) {
        st = an_fail(err, AN_NOT_FOUND, "there is no signal %lld; `andamento signals` lists them",
                     (long long)signal_id);
    } else if (!st) {
        *stream_id = an_column_int(&query, 0);
    }
    an_query_end(&query);
    return st;
}

static enum an_status is_withdrawn(struct an_store *store, int64_t hit_id, bool *withdrawn,
                                   struct an_error *err)
{
    static const char sql[] = "SELECT w.hit_id FROM hit h LEFT JOIN hit_withdrawal w"
                              " ON w.hit_id = h.hit_id WHERE h.hit_id = $1";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "looking for a hit", err);
    if (st) {
        return st;
    }
    an_query_int(&query, hit_id);
    st = an_query_row(&query, &found, err);
    if (!st && !found) {
        st = an_fail(err, AN_NOT_FOUND, "there is no hit %lld", (long long)hit_id);
    } else if (!st) {
        *withdrawn = an_column_int_or(&query, 0, 0) != 0;
    }
    an_query_end(&query);
    return st;
}

enum an_status an_store_withdraw_hit(struct an_store *store, int64_t hit_id, const char *reason,
                                     struct an_error *err)
{
    static const char sql[] = "INSERT INTO hit_withdrawal (hit_id, known_us, reason, entry)"
                              " VALUES ($1, $2, $3, $4)";
    static const char doing[] = "withdrawing a hit";
    const int64_t known_us = an_clock_now_us();
    struct an_query query;
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);
    uint64_t entry = 0;
    bool withdrawn = false;
    enum an_status st = an_store_may_put(store, doing, err);
    if (!st) {
        st = is_withdrawn(store, hit_id, &withdrawn, err);
    }
    if (st || withdrawn) { /* once is enough */
        return st;
    }
    an_json_object(&json);
    an_json_put_integer(&json, "hit_id", hit_id);
    an_json_put_integer(&json, "known_us", known_us);
    an_json_put_string(&json, "reason", reason);
    an_json_end(&json, '}');
    st = an_ledger_append_text(store, "signal.hit_withdrawn", &payload, &entry, err);
    if (!st) {
        st = an_query_start(&query, store, sql, doing, err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, hit_id);
    an_query_int(&query, known_us);
    an_query_text(&query, reason ? reason : "");
    an_query_int(&query, (int64_t)entry);
    return an_query_run(&query, err);
}

/* ---- reading ---------------------------------------------------------------------------------------- */

static void read_signal(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_signal_record *signal = row;
    (void)arena;
    signal->signal_id = an_column_int(query, 0);
    signal->stream_id = an_column_int(query, 1);
    signal->limits_id = an_column_int_or(query, 2, 0);
    signal->known_us = an_column_int(query, 3);
    signal->first_sample_id = an_column_int(query, 4);
    signal->first_us = an_column_int(query, 5);
    signal->signal_sample_id = an_column_int(query, 6);
    signal->signal_us = an_column_int(query, 7);
    signal->panel = (int)an_column_int(query, 8);
    signal->side = (int)an_column_int(query, 9);
    signal->rule = (int)an_column_int(query, 10);
    signal->withdrawn = an_column_int(query, 11) != 0;
    signal->answers = an_column_int(query, 12);
}

enum an_status an_store_signals(struct an_store *store, int64_t stream_id, int64_t from_us,
                                int64_t until_us, struct an_arena *arena,
                                struct an_signal_record **signals, size_t *count,
                                struct an_error *err)
{
#define SIGNAL_COLUMNS                                                                             \
    "SELECT g.signal_id, g.stream_id, g.limits_id, g.known_us, g.first_sample_id, g.first_us,"     \
    " g.signal_sample_id, g.signal_us, g.panel, g.side, g.rule,"                                   \
    " NOT EXISTS (SELECT 1 FROM hit h WHERE h.signal_id = g.signal_id AND NOT EXISTS"              \
    "  (SELECT 1 FROM hit_withdrawal w WHERE w.hit_id = h.hit_id)),"                               \
    " (SELECT count(*) FROM answer a WHERE a.signal_id = g.signal_id)"                             \
    " FROM signal g WHERE g.signal_id IN (SELECT h.signal_id FROM hit h WHERE "
    static const char of_stream[] =
        SIGNAL_COLUMNS "h.stream_id = $1 AND h.at_us >= $2 AND h.at_us < $3)"
                       " ORDER BY g.signal_us, g.signal_id";
    static const char all[] = SIGNAL_COLUMNS "h.at_us >= $1 AND h.at_us < $2)"
                                             " ORDER BY g.signal_us, g.signal_id";
#undef SIGNAL_COLUMNS
    struct an_query query;
    void *rows = NULL;
    enum an_status st =
        an_query_start(&query, store, stream_id ? of_stream : all, "reading signals", err);
    if (st) {
        return st;
    }
    if (stream_id) {
        an_query_int(&query, stream_id);
    }
    an_query_int(&query, from_us);
    an_query_int(&query, an_until(until_us));
    st = an_query_collect(&query, sizeof **signals, read_signal, arena, &rows, count, err);
    if (!st) {
        *signals = rows;
    }
    return st;
}

#define HIT_COLUMNS                                                                                \
    "SELECT h.hit_id, h.signal_id, h.sample_id, h.at_us, h.window_first_sample_id, h.rule,"        \
    " h.panel, h.side, h.value, h.z, w.hit_id IS NOT NULL"                                         \
    " FROM hit h LEFT JOIN hit_withdrawal w ON w.hit_id = h.hit_id"

static void read_hit(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_hit_record *hit = row;
    (void)arena;
    hit->hit_id = an_column_int(query, 0);
    hit->signal_id = an_column_int(query, 1);
    hit->sample_id = an_column_int(query, 2);
    hit->at_us = an_column_int(query, 3);
    hit->window_first_sample_id = an_column_int(query, 4);
    hit->rule = (int)an_column_int(query, 5);
    hit->panel = (int)an_column_int(query, 6);
    hit->side = (int)an_column_int(query, 7);
    hit->value = an_column_real(query, 8);
    hit->z = an_column_real(query, 9);
    hit->withdrawn = an_column_int(query, 10) != 0;
}

enum an_status an_store_hits(struct an_store *store, int64_t signal_id, struct an_arena *arena,
                             struct an_hit_record **hits, size_t *count, struct an_error *err)
{
    static const char sql[] = HIT_COLUMNS " WHERE h.signal_id = $1"
                                          " ORDER BY h.at_us, h.hit_id";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "reading a signal's hits", err);
    if (st) {
        return st;
    }
    an_query_int(&query, signal_id);
    st = an_query_collect(&query, sizeof **hits, read_hit, arena, &rows, count, err);
    if (!st) {
        *hits = rows;
    }
    return st;
}

enum an_status an_store_stream_hits(struct an_store *store, int64_t stream_id, int64_t from_us,
                                    struct an_arena *arena, struct an_hit_record **hits,
                                    size_t *count, struct an_error *err)
{
    static const char sql[] = HIT_COLUMNS " WHERE h.stream_id = $1 AND h.at_us >= $2"
                                          " AND w.hit_id IS NULL"
                                          " ORDER BY h.at_us, h.rule, h.hit_id";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "reading a stream's hits", err);
    if (st) {
        return st;
    }
    an_query_int(&query, stream_id);
    an_query_int(&query, from_us);
    st = an_query_collect(&query, sizeof **hits, read_hit, arena, &rows, count, err);
    if (!st) {
        *hits = rows;
    }
    return st;
}

/* ---- how far ---------------------------------------------------------------------------------------- */

static enum an_status tell_judged(struct an_store *store, int64_t id,
                                  const struct an_judged *judged, int64_t known_us, uint64_t *entry,
                                  struct an_error *err)
{
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);
    an_json_object(&json);
    an_json_put_integer(&json, "judged_id", id);
    an_json_put_integer(&json, "stream_id", judged->stream_id);
    an_json_put_integer(&json, "limits_id", judged->limits_id);
    an_json_put_integer(&json, "newest_sample_id", judged->newest_sample_id);
    an_json_put_instant(&json, "until_us", judged->until_us);
    an_json_put_integer(&json, "samples", judged->samples);
    an_json_put_integer(&json, "known_us", known_us);
    an_json_end(&json, '}');
    return an_ledger_append_text(store, "judged", &payload, entry, err);
}

enum an_status an_store_put_judged(struct an_store *store, const struct an_judged *judged,
                                   struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO judged (judged_id, stream_id, limits_id, newest_sample_id, until_us, samples,"
        " known_us, entry) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)";
    static const char doing[] = "noting how far a stream was judged";
    const int64_t known_us = an_clock_now_us();
    struct an_query query;
    int64_t id = 0;
    uint64_t entry = 0;
    enum an_status st = an_store_may_put(store, doing, err);
    if (!st) {
        st = an_store_take_id(store, AN_COUNT_JUDGED, &id, err);
    }
    if (!st) {
        st = tell_judged(store, id, judged, known_us, &entry, err);
    }
    if (!st) {
        st = an_query_start(&query, store, sql, doing, err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, id);
    an_query_int(&query, judged->stream_id);
    an_query_int_or_null(&query, judged->limits_id, judged->limits_id == 0);
    an_query_int(&query, judged->newest_sample_id);
    an_query_instant(&query, judged->until_us);
    an_query_int(&query, judged->samples);
    an_query_int(&query, known_us);
    an_query_int(&query, (int64_t)entry);
    return an_query_run(&query, err);
}

enum an_status an_store_judged(struct an_store *store, int64_t stream_id, struct an_judged *judged,
                               bool *found, struct an_error *err)
{
    static const char sql[] = "SELECT stream_id, limits_id, newest_sample_id, until_us, samples"
                              " FROM judged WHERE stream_id = $1 ORDER BY judged_id DESC LIMIT 1";
    struct an_query query;
    enum an_status st =
        an_query_start(&query, store, sql, "finding how far a stream was judged", err);
    *found = false;
    if (st) {
        return st;
    }
    an_query_int(&query, stream_id);
    st = an_query_row(&query, found, err);
    if (!st && *found) {
        judged->stream_id = an_column_int(&query, 0);
        judged->limits_id = an_column_int_or(&query, 1, 0);
        judged->newest_sample_id = an_column_int(&query, 2);
        judged->until_us = an_column_instant(&query, 3);
        judged->samples = an_column_int(&query, 4);
        an_query_end(&query);
    }
    return st;
}
