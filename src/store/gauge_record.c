/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Studies of gauges as records. A study is kept with the bytes it rests on, and its ledger entry
 * holds their hash, so that whoever doubts a verdict can compute it again. Never evaluates one.
 */
#include "andamento/store/gauge.h"
#include "store/handle.h"
#include "store/signing.h"

#include <stdio.h>
#include <string.h>

static bool is_told(const char *text)
{
    return text && text[0];
}

static enum an_status tell_study(struct an_store *store, const struct an_gauge_record *r,
                                 const struct an_doer *doer, uint64_t *entry, struct an_error *err)
{
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);
    an_json_object(&json);
    an_json_put_integer(&json, "study_id", r->study_id);
    an_json_put_integer(&json, "known_us", r->known_us);
    an_json_put_string(&json, "gauge", r->gauge);
    an_json_put_integer(&json, "kind", (int64_t)r->kind);
    an_json_put_string(&json, "stream", r->stream);
    an_json_put_string(&json, "part", r->part);
    an_json_put_string(&json, "operator", r->person);
    an_json_put_string(&json, "reading", r->reading);
    an_json_put_string(&json, "reference", r->reference);
    an_json_put_number(&json, "reference_value", r->reference_value);
    an_json_put_number(&json, "tolerance", r->tolerance);
    an_json_put_number(&json, "pool_above", r->pool_above);
    an_json_put_string(&json, "file", r->file);
    an_json_put_hash(&json, "hash", &r->hash);
    an_json_put_integer(&json, "grade", (int64_t)r->grade);
    an_json_put_string(&json, "verdict", r->verdict);
    an_json_put_string(&json, "author", r->author);
    an_json_put_string(&json, "reason", r->reason);
    an_json_put_string(&json, "system_user", doer->user);
    an_json_put_string(&json, "host", doer->host);
    an_json_end(&json, '}');
    return an_ledger_append_text(store, "gauge.study", &payload, entry, err);
}

static enum an_status next_number(struct an_store *store, int64_t *study_id, struct an_error *err)
{
    static const char sql[] = "SELECT max(study_id) FROM gauge_study";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "numbering a gauge study", err);
    st = st ? st : an_query_row(&query, &found, err);
    if (!st) {
        *study_id = found ? an_column_int_or(&query, 0, 0) + 1 : 1;
        an_query_end(&query);
    }
    return st;
}

static enum an_status add_study(struct an_store *store, struct an_gauge_record *r,
                                struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO gauge_study (study_id, known_us, gauge, kind, stream, part, operator, reading,"
        " reference, reference_value, tolerance, pool_above, file, data, hash, grade, verdict,"
        " author, reason, system_user, host, entry) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9,"
        " $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22)";
    const struct an_doer doer = an_doer_now();
    struct an_query query;
    r->known_us = an_known(r->known_us);
    r->hash = an_sha256_of(r->data.at, r->data.length);
    enum an_status st = next_number(store, &r->study_id, err);
    st = st ? st : tell_study(store, r, &doer, &r->entry, err);
    st = st ? st : an_query_start(&query, store, sql, "storing a gauge study", err);
    if (st) {
        return st;
    }
    an_query_int(&query, r->study_id);
    an_query_int(&query, r->known_us);
    an_query_text(&query, r->gauge);
    an_query_int(&query, (int64_t)r->kind);
    an_query_text(&query, r->stream);
    an_query_text(&query, r->part);
    an_query_text(&query, r->person);
    an_query_text(&query, r->reading);
    an_query_text(&query, r->reference);
    an_query_real(&query, r->reference_value);
    an_query_real(&query, r->tolerance);
    an_query_real(&query, r->pool_above);
    an_query_text(&query, r->file);
    an_query_blob(&query, r->data.at, r->data.length);
    an_query_hash(&query, &r->hash);
    an_query_int(&query, (int64_t)r->grade);
    an_query_text(&query, r->verdict);
    an_query_text(&query, r->author);
    an_query_text(&query, r->reason);
    an_query_text(&query, doer.user);
    an_query_text(&query, doer.host);
    an_query_int(&query, (int64_t)r->entry);
    return an_query_run(&query, err);
}

enum an_status an_store_put_gauge_study(struct an_store *store, struct an_gauge_record *r,
                                        struct an_error *err)
{
    bool own = false;
    if (!is_told(r->author) || !is_told(r->reason)) {
        return an_fail(
            err, AN_BAD_USAGE,
            "a gauge study wants --author NAME and --reason TEXT: both are kept for good");
    }
    if (!r->data.length || r->data.length > AN_GAUGE_DATA_MOST) {
        return an_fail(err, AN_BAD_INPUT,
                       "'%s' has %zu bytes; a study's file has 1 to %u, which are kept", r->file,
                       r->data.length, AN_GAUGE_DATA_MOST);
    }
    enum an_status st = an_store_enter(store, &own, err);
    if (st) {
        return st;
    }
    st = add_study(store, r, err);
    return an_store_leave(store, own, st, err);
}

static void read_head(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_gauge_record *r = row;
    r->study_id = an_column_int(query, 0);
    r->known_us = an_column_int(query, 1);
    r->gauge = an_column_text(query, 2, arena);
    r->kind = (enum an_gauge_kind)an_column_int(query, 3);
    r->stream = an_column_text(query, 4, arena);
    r->part = an_column_text(query, 5, arena);
    r->person = an_column_text(query, 6, arena);
    r->reading = an_column_text(query, 7, arena);
    r->reference = an_column_text(query, 8, arena);
    r->reference_value = an_column_real(query, 9);
    r->tolerance = an_column_real(query, 10);
    r->pool_above = an_column_real(query, 11);
    r->file = an_column_text(query, 12, arena);
    if (!an_column_hash(query, 13, &r->hash)) {
        memset(&r->hash, 0, sizeof r->hash);
    }
    r->grade = (enum an_gauge_grade)an_column_int(query, 14);
    r->verdict = an_column_text(query, 15, arena);
    r->author = an_column_text(query, 16, arena);
    r->reason = an_column_text(query, 17, arena);
    r->system_user = an_column_text(query, 18, arena);
    r->host = an_column_text(query, 19, arena);
    r->entry = (uint64_t)an_column_int(query, 20);
    r->signed_key = an_column_text(query, 21, arena);
}

static void read_whole(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_gauge_record *r = row;
    read_head(query, arena, row);
    r->data = an_column_bytes(query, 22, arena);
}

#define HEAD                                                                                       \
    "SELECT study_id, known_us, gauge, kind, stream, part, operator, reading, reference,"          \
    " reference_value, tolerance, pool_above, file, hash, grade, verdict, author, reason,"         \
    " system_user, host, entry, " AN_SIGNED_KEY("gauge_study")

enum an_status an_store_gauge_studies(struct an_store *store, const char *gauge,
                                      struct an_arena *arena, struct an_gauge_record **records,
                                      size_t *count, struct an_error *err)
{
    static const char all[] = HEAD " FROM gauge_study WHERE study_id > 0 ORDER BY study_id DESC";
    static const char of_gauge[] = HEAD " FROM gauge_study WHERE gauge = $1 ORDER BY study_id DESC";
    struct an_query query;
    void *rows = NULL;
    enum an_status st =
        an_query_start(&query, store, gauge ? of_gauge : all, "reading gauge studies", err);
    if (st) {
        return st;
    }
    if (gauge) {
        an_query_text(&query, gauge);
    }
    st = an_query_collect(&query, sizeof **records, read_head, arena, &rows, count, err);
    if (!st) {
        *records = rows;
    }
    return st;
}

enum an_status an_store_gauge_study(struct an_store *store, int64_t study_id,
                                    struct an_arena *arena, struct an_gauge_record *record,
                                    struct an_error *err)
{
    static const char sql[] = HEAD ", data FROM gauge_study WHERE study_id = $1";
    struct an_query query;
    char missing[96];
    snprintf(missing, sizeof missing,
             "there is no gauge study %lld; `andamento gauge list --all`"
             " lists them",
             (long long)study_id);
    enum an_status st = an_query_start(&query, store, sql, "reading a gauge study", err);
    if (st) {
        return st;
    }
    an_query_int(&query, study_id);
    st = an_query_one(&query, read_whole, arena, record, missing, err);
    if (st) {
        return st;
    }
    const struct an_sha256 hash = an_sha256_of(record->data.at, record->data.length);
    return memcmp(&hash, &record->hash, sizeof hash) == 0
               ? AN_OK
               : an_fail(err, AN_NO_STORE,
                         "the data of gauge study %lld are not what their SHA-256 says; the store "
                         "was changed from outside",
                         (long long)study_id);
}
