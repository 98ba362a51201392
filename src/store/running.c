/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where the charts with memory stand. Must never hand out a state that a later check has made
 * wrong by judging again from its time or before.
 */
#include "store/handle.h"

/* What later judging starts from must not be changed behind its back: the ledger tells it. */
static enum an_status tell_running(struct an_store *store, const struct an_running *running,
                                   uint64_t *entry, struct an_error *err)
{
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);
    an_json_object(&json);
    an_json_put_integer(&json, "stream_id", running->stream_id);
    an_json_put_integer(&json, "limits_id", running->limits_id);
    an_json_put_integer(&json, "from_us", running->from_us);
    an_json_put_integer(&json, "at_us", running->at_us);
    an_json_put_integer(&json, "sample_id", running->sample_id);
    an_json_put_string(&json, "state", running->state);
    an_json_end(&json, '}');
    return an_ledger_append_text(store, "running", &payload, entry, err);
}

enum an_status an_store_put_running(struct an_store *store, const struct an_running *running,
                                    struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO running (stream_id, limits_id, from_us, at_us, sample_id,"
        " state, entry) VALUES ($1, $2, $3, $4, $5, $6, $7)";
    static const char doing[] = "keeping where a chart with memory stands";
    struct an_query query;
    uint64_t entry = 0;
    enum an_status st = an_store_may_put(store, doing, err);
    st = st ? st : tell_running(store, running, &entry, err);
    st = st ? st : an_query_start(&query, store, sql, doing, err);
    if (st) {
        return st;
    }
    an_query_int(&query, running->stream_id);
    an_query_int(&query, running->limits_id);
    an_query_int(&query, running->from_us);
    an_query_int(&query, running->at_us);
    an_query_int(&query, running->sample_id);
    an_query_text(&query, running->state);
    an_query_int(&query, (int64_t)entry);
    return an_query_run(&query, err);
}

enum an_status an_store_running(struct an_store *store, int64_t stream_id, int64_t limits_id,
                                int64_t before_us, struct an_arena *arena,
                                struct an_running *running, bool *found, struct an_error *err)
{
    static const char sql[] =
        "SELECT from_us, at_us, sample_id, state FROM running AS kept"
        " WHERE stream_id = $1 AND limits_id = $2 AND at_us < $3 AND NOT EXISTS"
        " (SELECT 1 FROM running AS later WHERE later.stream_id = kept.stream_id"
        " AND later.running_id > kept.running_id AND later.from_us <= kept.at_us)"
        " ORDER BY at_us DESC, running_id DESC LIMIT 1";
    struct an_query query;
    enum an_status st =
        an_query_start(&query, store, sql, "finding where a chart with memory stands", err);
    *found = false;
    if (st) {
        return st;
    }
    an_query_int(&query, stream_id);
    an_query_int(&query, limits_id);
    an_query_int(&query, before_us);
    st = an_query_row(&query, found, err);
    if (!st && *found) {
        *running = (struct an_running){.stream_id = stream_id,
                                       .limits_id = limits_id,
                                       .from_us = an_column_int(&query, 0),
                                       .at_us = an_column_int(&query, 1),
                                       .sample_id = an_column_int(&query, 2),
                                       .state = an_column_text(&query, 3, arena)};
        an_query_end(&query);
        if (running->state == NULL) {
            st = an_fail(err, AN_NO_MEMORY, "out of memory while judging");
        }
    }
    return st;
}
