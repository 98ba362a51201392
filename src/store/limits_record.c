/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Limits as records: a proposal, and beside it what a person decided. What the model says is not
 * looked at here.
 */
#include "store/signing.h"

static enum an_status tell_proposal(struct an_store *store, const struct an_limits_record *limits,
                                    const struct an_doer *doer, uint64_t *entry,
                                    struct an_error *err)
{
    const struct an_sha256 model = an_sha256_of_text(limits->model);
    const struct an_sha256 exclusions = an_sha256_of_text(limits->exclusions);
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);
    an_json_object(&json);
    an_json_put_integer(&json, "limits_id", limits->limits_id);
    an_json_put_integer(&json, "stream_id", limits->stream_id);
    an_json_put_integer(&json, "known_us", limits->known_us);
    an_json_put_instant(&json, "baseline_from_us", limits->baseline_from_us);
    an_json_put_instant(&json, "baseline_until_us", limits->baseline_until_us);
    an_json_put_integer(&json, "baseline_samples", limits->baseline_samples);
    an_json_put_hash(&json, "model_sha256", &model);
    an_json_put_hash(&json, "exclusions_sha256", &exclusions);
    an_json_put_string(&json, "system_user", doer->user);
    an_json_put_string(&json, "host", doer->host);
    an_json_end(&json, '}');
    return an_ledger_append_text(store, "limits.proposed", &payload, entry, err);
}

static enum an_status add_proposal(struct an_store *store, struct an_limits_record *limits,
                                   struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO limits (limits_id, stream_id, known_us, baseline_from_us, baseline_until_us,"
        " baseline_samples, model, exclusions, system_user, host, entry)"
        " VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)";
    const struct an_doer doer = an_doer_now();
    struct an_query query;
    uint64_t entry = 0;
    enum an_status st = an_store_take_id(store, AN_COUNT_LIMITS, &limits->limits_id, err);
    limits->known_us = an_known(limits->known_us);
    if (!st) {
        st = tell_proposal(store, limits, &doer, &entry, err);
    }
    if (!st) {
        st = an_query_start(&query, store, sql, "storing proposed limits", err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, limits->limits_id);
    an_query_int(&query, limits->stream_id);
    an_query_int(&query, limits->known_us);
    an_query_instant(&query, limits->baseline_from_us);
    an_query_instant(&query, limits->baseline_until_us);
    an_query_int(&query, limits->baseline_samples);
    an_query_text(&query, limits->model);
    an_query_text(&query, limits->exclusions);
    an_query_text(&query, doer.user);
    an_query_text(&query, doer.host);
    an_query_int(&query, (int64_t)entry);
    return an_query_run(&query, err);
}

enum an_status an_store_put_limits(struct an_store *store, struct an_limits_record *limits,
                                   struct an_error *err)
{
    bool own = false;
    enum an_status st = an_store_enter(store, &own, err);
    if (st) {
        return st;
    }
    st = add_proposal(store, limits, err);
    return an_store_leave(store, own, st, err);
}

/* ---- the decision --------------------------------------------------------------------------------- */

static enum an_status must_be_undecided(struct an_store *store, int64_t limits_id,
                                        struct an_error *err)
{
    static const char sql[] = "SELECT k.limits_id FROM limits l LEFT JOIN limits_lock k"
                              " ON k.limits_id = l.limits_id WHERE l.limits_id = $1";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "looking for limits", err);
    if (st) {
        return st;
    }
    an_query_int(&query, limits_id);
    st = an_query_row(&query, &found, err);
    if (!st && !found) {
        st = an_fail(err, AN_NOT_FOUND, "there are no limits %lld", (long long)limits_id);
    } else if (!st && an_column_int_or(&query, 0, 0)) {
        st = an_fail(err, AN_BAD_USAGE,
                     "limits %lld were decided already; propose new ones to change them",
                     (long long)limits_id);
    }
    an_query_end(&query);
    return st;
}

struct decision {
    int64_t limits_id, known_us, in_force_us;
    int what; /* 1 locked, 2 refused */
    const char *author, *reason;
};

static enum an_status tell_decision(struct an_store *store, const struct decision *decision,
                                    const struct an_doer *doer, uint64_t *entry,
                                    struct an_error *err)
{
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);
    an_json_object(&json);
    an_json_put_integer(&json, "limits_id", decision->limits_id);
    an_json_put_integer(&json, "known_us", decision->known_us);
    an_json_put_instant(&json, "in_force_us", decision->in_force_us);
    an_json_put_string(&json, "author", decision->author);
    an_json_put_string(&json, "reason", decision->reason);
    an_json_put_string(&json, "system_user", doer->user);
    an_json_put_string(&json, "host", doer->host);
    an_json_end(&json, '}');
    return an_ledger_append_text(store, decision->what == 1 ? "limits.locked" : "limits.refused",
                                 &payload, entry, err);
}

static enum an_status add_decision(struct an_store *store, const struct decision *decision,
                                   struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO limits_lock (limits_id, known_us, decision, in_force_us, author, reason,"
        " system_user, host, entry) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)";
    const struct an_doer doer = an_doer_now();
    struct an_query query;
    uint64_t entry = 0;
    enum an_status st = must_be_undecided(store, decision->limits_id, err);
    if (!st) {
        st = tell_decision(store, decision, &doer, &entry, err);
    }
    if (!st) {
        st = an_query_start(&query, store, sql, "storing a decision on limits", err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, decision->limits_id);
    an_query_int(&query, decision->known_us);
    an_query_int(&query, decision->what);
    an_query_instant(&query, decision->in_force_us);
    an_query_text(&query, decision->author);
    an_query_text(&query, decision->reason);
    an_query_text(&query, doer.user);
    an_query_text(&query, doer.host);
    an_query_int(&query, (int64_t)entry);
    return an_query_run(&query, err);
}

static enum an_status decide(struct an_store *store, const struct decision *decision,
                             struct an_error *err)
{
    if (!decision->author || !decision->author[0] || !decision->reason || !decision->reason[0]) {
        return an_fail(err, AN_BAD_USAGE, "a decision on limits needs an author and a reason");
    }
    bool own = false;
    enum an_status st = an_store_enter(store, &own, err);
    if (st) {
        return st;
    }
    st = add_decision(store, decision, err);
    return an_store_leave(store, own, st, err);
}

enum an_status an_store_lock_limits(struct an_store *store, int64_t limits_id, int64_t in_force_us,
                                    const char *author, const char *reason, struct an_error *err)
{
    const struct decision decision = {limits_id, an_clock_now_us(), in_force_us, 1, author, reason};
    return decide(store, &decision, err);
}

enum an_status an_store_refuse_limits(struct an_store *store, int64_t limits_id, const char *author,
                                      const char *reason, struct an_error *err)
{
    const struct decision decision = {limits_id, an_clock_now_us(), AN_NO_INSTANT, 2, author,
                                      reason};
    return decide(store, &decision, err);
}

/* ---- reading --------------------------------------------------------------------------------------- */

static void read_limits(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_limits_record *limits = row;
    limits->limits_id = an_column_int(query, 0);
    limits->stream_id = an_column_int(query, 1);
    limits->known_us = an_column_int(query, 2);
    limits->baseline_from_us = an_column_instant(query, 3);
    limits->baseline_until_us = an_column_instant(query, 4);
    limits->baseline_samples = an_column_int(query, 5);
    limits->model = an_column_text(query, 6, arena);
    limits->exclusions = an_column_text(query, 7, arena);
    switch (an_column_int_or(query, 8, 0)) {
    case 1:
        limits->state = AN_LIMITS_LOCKED;
        break;
    case 2:
        limits->state = AN_LIMITS_REFUSED;
        break;
    default:
        limits->state = AN_LIMITS_PROPOSED;
        break;
    }
    limits->locked_us = an_column_instant(query, 9);
    limits->in_force_us = an_column_instant(query, 10);
    limits->author = an_column_text(query, 11, arena);
    limits->reason = an_column_text(query, 12, arena);
    limits->system_user = an_column_text(query, 13, arena);
    limits->host = an_column_text(query, 14, arena);
    limits->signed_key = an_column_text(query, 15, arena);
}

enum an_status an_store_limits(struct an_store *store, int64_t stream_id, struct an_arena *arena,
                               struct an_limits_record **limits, size_t *count,
                               struct an_error *err)
{
#define LIMITS_COLUMNS                                                                             \
    "SELECT l.limits_id, l.stream_id, l.known_us, l.baseline_from_us, l.baseline_until_us,"        \
    " l.baseline_samples, l.model, l.exclusions, k.decision, k.known_us, k.in_force_us, k.author," \
    " k.reason, coalesce(k.system_user, l.system_user), coalesce(k.host, l.host), " AN_SIGNED_KEY( \
        "k") " FROM limits l LEFT JOIN limits_lock k ON k.limits_id = l.limits_id"
    static const char of_stream[] = LIMITS_COLUMNS " WHERE l.stream_id = $1 ORDER BY l.limits_id";
    static const char all[] = LIMITS_COLUMNS " WHERE l.limits_id > $1 ORDER BY l.limits_id";
#undef LIMITS_COLUMNS
    struct an_query query;
    void *rows = NULL;
    enum an_status st =
        an_query_start(&query, store, stream_id ? of_stream : all, "reading limits", err);
    if (st) {
        return st;
    }
    an_query_int(&query, stream_id); /* 0 lies below every limits_id */
    st = an_query_collect(&query, sizeof **limits, read_limits, arena, &rows, count, err);
    if (!st) {
        *limits = rows;
    }
    return st;
}
