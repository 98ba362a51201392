/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The collector's diary, and the few questions it asks after each batch: each is answered from
 * the end of an index, whatever the store holds.
 */
#include "andamento/store/collector.h"
#include "store/handle.h"

#include <unistd.h>

/* ---- looking ---------------------------------------------------------------------------------- */

static enum an_status ask_integer(struct an_query *query, int64_t if_null, int64_t *value,
                                  struct an_error *err)
{
    bool found = false;
    const enum an_status st = an_query_row(query, &found, err);
    *value = if_null;
    if (!st && found) {
        *value = an_column_int_or(query, 0, if_null);
        an_query_end(query);
    }
    return st;
}

enum an_status an_store_newest_revision(struct an_store *store, int64_t *revision,
                                        struct an_error *err)
{
    static const char sql[] = "SELECT max(revision) FROM line_revision";
    struct an_query query;
    const enum an_status st =
        an_query_start(&query, store, sql, "looking for the newest line description", err);
    return st ? st : ask_integer(&query, 0, revision, err);
}

enum an_status an_store_newest_signal(struct an_store *store, int64_t *signal_id,
                                      struct an_error *err)
{
    static const char sql[] = "SELECT max(signal_id) FROM signal";
    struct an_query query;
    const enum an_status st =
        an_query_start(&query, store, sql, "looking for the newest signal", err);
    return st ? st : ask_integer(&query, 0, signal_id, err);
}

enum an_status an_store_station_heard(struct an_store *store, const char *station,
                                      int64_t *known_us, struct an_error *err)
{
    static const char sql[] = "SELECT known_us FROM file WHERE file_id ="
                              " (SELECT max(file_id) FROM file WHERE station = $1)";
    struct an_query query;
    const enum an_status st =
        an_query_start(&query, store, sql, "looking for a station's newest file", err);
    if (st) {
        return st;
    }
    an_query_text(&query, station);
    return ask_integer(&query, AN_NO_INSTANT, known_us, err);
}

static void read_new_signal(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_new_signal *signal = row;
    (void)arena;
    signal->signal_id = an_column_int(query, 0);
    signal->stream_id = an_column_int(query, 1);
    signal->signal_us = an_column_int(query, 2);
}

enum an_status an_store_signals_after(struct an_store *store, int64_t signal_id, size_t most,
                                      struct an_arena *arena, struct an_new_signal **signals,
                                      size_t *count, struct an_error *err)
{
    static const char sql[] = "SELECT signal_id, stream_id, signal_us FROM signal"
                              " WHERE signal_id > $1 ORDER BY signal_id LIMIT $2";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "looking for new signals", err);
    if (st) {
        return st;
    }
    an_query_int(&query, signal_id);
    an_query_int(&query, (int64_t)most);
    st = an_query_collect(&query, sizeof **signals, read_new_signal, arena, &rows, count, err);
    if (!st) {
        *signals = rows;
    }
    return st;
}

enum an_status an_store_told_signal(struct an_store *store, int64_t *signal_id, bool *found,
                                    struct an_error *err)
{
    static const char sql[] =
        "SELECT max(signal_id) FROM collector_event WHERE signal_id IS NOT NULL";
    struct an_query query;
    enum an_status st = an_query_start(&query, store, sql, "looking for the signal told last", err);
    st = st ? st : ask_integer(&query, -1, signal_id, err);
    *found = !st && *signal_id >= 0;
    return st;
}

/* ---- the diary -------------------------------------------------------------------------------- */

static const char *const acts[] = {
    [AN_COLLECTOR_START] = "collector.start",
    [AN_COLLECTOR_STOP] = "collector.stop",
    [AN_COLLECTOR_CLOCK] = "collector.clock",
    [AN_COLLECTOR_SIGNAL] = "collector.signal",
};

static bool about_signals(const struct an_collector_event *event)
{
    return event->act == AN_COLLECTOR_START || event->act == AN_COLLECTOR_SIGNAL;
}

static enum an_status tell_event(struct an_store *store, const struct an_collector_event *event,
                                 int64_t known_us, const struct an_doer *doer, uint64_t *entry,
                                 struct an_error *err)
{
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);
    an_json_object(&json);
    an_json_put_integer(&json, "known_us", known_us);
    an_json_put_integer(&json, "monotonic_us", event->monotonic_us);
    an_json_put_string(&json, "boot", event->boot);
    if (event->act == AN_COLLECTOR_CLOCK) {
        an_json_put_integer(&json, "step_us", event->step_us);
    }
    if (about_signals(event)) {
        an_json_put_integer(&json, "signal_id", event->signal_id);
    }
    an_json_put_string(&json, "detail", event->detail);
    an_json_put_integer(&json, "process", (int64_t)getpid());
    an_json_put_string(&json, "system_user", doer->user);
    an_json_put_string(&json, "host", doer->host);
    an_json_end(&json, '}');
    return an_ledger_append_text(store, acts[event->act], &payload, entry, err);
}

static enum an_status add_event(struct an_store *store, const struct an_collector_event *event,
                                struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO collector_event (known_us, monotonic_us, boot, act, step_us, signal_id,"
        " detail, process, system_user, host, entry)"
        " VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)";
    const struct an_doer doer = an_doer_now();
    const int64_t known_us = an_clock_now_us();
    struct an_query query;
    uint64_t entry = 0;
    enum an_status st = tell_event(store, event, known_us, &doer, &entry, err);
    if (!st) {
        st = an_query_start(&query, store, sql, "writing the collector's diary", err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, known_us);
    an_query_int(&query, event->monotonic_us);
    an_query_text(&query, event->boot ? event->boot : "");
    an_query_int(&query, (int64_t)event->act);
    an_query_int_or_null(&query, event->step_us, event->act != AN_COLLECTOR_CLOCK);
    an_query_int_or_null(&query, event->signal_id, !about_signals(event));
    an_query_text(&query, event->detail ? event->detail : "");
    an_query_int(&query, (int64_t)getpid());
    an_query_text(&query, doer.user);
    an_query_text(&query, doer.host);
    an_query_int(&query, (int64_t)entry);
    return an_query_run(&query, err);
}

enum an_status an_store_put_collector_event(struct an_store *store,
                                            const struct an_collector_event *event,
                                            struct an_error *err)
{
    bool own = false;
    enum an_status st = an_store_enter(store, &own, err);
    if (st) {
        return st;
    }
    st = add_event(store, event, err);
    return an_store_leave(store, own, st, err);
}
