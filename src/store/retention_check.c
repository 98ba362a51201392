/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether the records of what was dropped, and the files themselves, are still as the ledger tells
 * them. Must never change anything.
 */
#include "store/coding.h"
#include "store/retention.h"

#include <stdio.h>
#include <string.h>

static const char doing[] = "checking what was dropped";

typedef void finding_fn(void *context, const char *text);

/* ---- acts ------------------------------------------------------------------------------------------ */

struct act {
    int64_t retention_id, files, bytes;
    int64_t rows, sum; /* of its files, found */
    struct an_sha256 digest;
    bool told; /* its ledger entry says the same */
};

static bool payload_tells(const char *kind, const char *payload, const struct an_sha256 *digest)
{
    char hex[65];
    char piece[96];
    (void)snprintf(piece, sizeof piece, "\"digest\":\"%s\"", an_sha256_hex(digest, hex));
    return kind && payload && strcmp(kind, "retention") == 0 && strstr(payload, piece);
}

static enum an_status digest_files(struct an_store *store, struct act *act,
                                   struct an_sha256 *digest, struct an_error *err)
{
    static const char sql[] = "SELECT file_id, kind, retention_id, row_count, bytes, hash"
                              " FROM retention_file WHERE retention_id = $1"
                              " ORDER BY file_id, kind";
    struct an_query query;
    struct an_text row = {0};
    int64_t last_file = 0;
    bool more = false;
    struct an_digest *running = an_digest_open();
    if (!running) {
        return an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing);
    }
    an_digest_add(running, AN_RETENTION_SCHEME, sizeof AN_RETENTION_SCHEME - 1);
    enum an_status st = an_query_start(&query, store, sql, doing, err);
    if (st) {
        (void)an_digest_close(running);
        return st;
    }
    an_query_int(&query, act->retention_id);
    while (!(st = an_query_row(&query, &more, err)) && more) {
        an_text_clear(&row);
        for (int column = 0; column < 5; column++) {
            an_code_int(&row, an_column_int(&query, column));
        }
        an_code_blob(&row, (struct an_bytes){sqlite3_column_blob(query.stmt, 5),
                                             (size_t)sqlite3_column_bytes(query.stmt, 5)});
        an_digest_add(running, an_text_of(&row), row.length);
        act->rows += an_column_int(&query, 0) != last_file;
        last_file = an_column_int(&query, 0);
        act->sum += an_column_int(&query, 4);
    }
    an_query_end(&query);
    *digest = an_digest_close(running);
    st = !st && row.failed ? an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing) : st;
    an_text_free(&row);
    return st;
}

/* The act after this one; *found false: there is none. */
static enum an_status next_act(struct an_store *store, int64_t after, struct act *act, bool *found,
                               struct an_error *err)
{
    static const char sql[] =
        "SELECT r.retention_id, r.files, r.bytes, r.digest, l.kind, l.payload FROM retention r"
        " LEFT JOIN ledger l ON l.entry = r.entry WHERE r.retention_id > $1"
        " ORDER BY r.retention_id LIMIT 1";
    struct an_query query;
    enum an_status st = an_query_start(&query, store, sql, doing, err);
    if (st) {
        return st;
    }
    an_query_int(&query, after);
    st = an_query_row(&query, found, err);
    if (!st && *found) {
        *act = (struct act){.retention_id = an_column_int(&query, 0),
                            .files = an_column_int(&query, 1),
                            .bytes = an_column_int(&query, 2)};
        (void)an_column_hash(&query, 3, &act->digest);
        act->told = payload_tells((const char *)sqlite3_column_text(query.stmt, 4),
                                  (const char *)sqlite3_column_text(query.stmt, 5), &act->digest);
    }
    an_query_end(&query);
    return st;
}

static enum an_status check_acts(struct an_store *store, finding_fn *finding, void *context,
                                 struct an_retention_counts *counts, struct an_error *err)
{
    struct act act = {0};
    char text[200];
    bool found = true;
    enum an_status st = AN_OK;
    while (!(st = next_act(store, act.retention_id, &act, &found, err)) && found) {
        struct an_sha256 digest;
        st = digest_files(store, &act, &digest, err);
        if (st) {
            return st;
        }
        counts->acts++;
        if (!act.told || act.rows != act.files || act.sum != act.bytes ||
            memcmp(digest.at, act.digest.at, sizeof digest.at) != 0) {
            (void)snprintf(text, sizeof text,
                           "what retain dropped in act %lld is not what its ledger entry says",
                           (long long)act.retention_id);
            finding(context, text);
        }
    }
    return st;
}

/* ---- files ------------------------------------------------------------------------------------------ */

static enum an_status each_file(struct an_store *store, const char *sql, const char *what,
                                finding_fn *finding, void *context, struct an_error *err)
{
    struct an_query query;
    bool more = false;
    char text[200];
    enum an_status st = an_query_start(&query, store, sql, doing, err);
    if (st) {
        return st;
    }
    while (!(st = an_query_row(&query, &more, err)) && more) {
        (void)snprintf(text, sizeof text, "file %lld: %s", (long long)an_column_int(&query, 0),
                       what);
        finding(context, text);
    }
    an_query_end(&query);
    return st;
}

static enum an_status count_files(struct an_store *store, struct an_retention_counts *counts,
                                  struct an_error *err)
{
    static const char sql[] = "SELECT count(*) FILTER (WHERE kind = 1),"
                              " count(*) FILTER (WHERE kind = 2) FROM retention_file";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, doing, err);
    st = st ? st : an_query_row(&query, &found, err);
    if (!st) {
        counts->readings = an_column_int(&query, 0);
        counts->originals = an_column_int(&query, 1);
        an_query_end(&query);
    }
    return st;
}

enum an_status an_store_retention_check(struct an_store *store, finding_fn *finding, void *context,
                                        struct an_retention_counts *counts, struct an_error *err)
{
    static const char readings[] = "SELECT file_id FROM retention_file d WHERE kind = 1 AND EXISTS"
                                   " (SELECT 1 FROM block b WHERE b.file_id = d.file_id)";
    static const char originals[] =
        "SELECT file_id FROM retention_file d WHERE kind = 2 AND (EXISTS (SELECT 1 FROM original o"
        " WHERE o.file_id = d.file_id) OR EXISTS (SELECT 1 FROM original_piece p"
        " WHERE p.file_id = d.file_id))";
    static const char hashes[] = "SELECT d.file_id FROM retention_file d JOIN file f"
                                 " ON f.file_id = d.file_id WHERE d.kind = 2 AND f.hash <> d.hash";
    *counts = (struct an_retention_counts){0};
    enum an_status st = check_acts(store, finding, context, counts, err);
    st = st ? st
            : each_file(store, readings, "its readings stand, and a record says they were dropped",
                        finding, context, err);
    st = st ? st
            : each_file(store, originals, "its original stands, and a record says it was dropped",
                        finding, context, err);
    st = st ? st
            : each_file(store, hashes, "the original that was dropped was not the file's own",
                        finding, context, err);
    return st ? st : count_files(store, counts, err);
}

enum an_status an_store_file_check(struct an_store *store, int64_t file_id, bool *sound,
                                   struct an_error *err)
{
    static const char sql[] =
        "SELECT l.payload FROM file f JOIN ledger l ON l.entry = f.entry WHERE f.file_id = $1";
    struct an_query query;
    struct an_sha256 digest;
    char hex[65];
    char piece[96];
    bool found = false;
    enum an_status st = an_store_file_digest(store, file_id, &digest, err);
    st = st ? st : an_query_start(&query, store, sql, "checking a file", err);
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    st = an_query_row(&query, &found, err);
    if (!st) {
        const char *payload = found ? (const char *)sqlite3_column_text(query.stmt, 0) : NULL;
        (void)snprintf(piece, sizeof piece, "\"digest\":\"%s\"", an_sha256_hex(&digest, hex));
        *sound = payload && strstr(payload, piece);
        if (!*sound) {
            (void)an_fail(err, AN_NO_STORE,
                          "what is stored of file %lld is not what its ledger entry says",
                          (long long)file_id);
        }
    }
    an_query_end(&query);
    return st;
}
