/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Dropping by record. Must never delete a row before the record that says so stands: triggers
 * refuse it, and record and deletion are one transaction.
 *
 * An act is one transaction, one row of retention and one ledger entry, however many files it has:
 * the entry holds a digest over the files' rows, so that the ledger grows by acts, not by files.
 */
#include "store/retention.h"

#include "store/coding.h"

#include <string.h>

enum { USUAL_BATCH = 200 };

static const char doing[] = "dropping what is kept no longer";

struct act {
    struct an_store *store;
    const struct an_retention_act *given;
    int64_t retention_id, known_us;
    struct an_digest *digest;
    int64_t bytes, readings, originals;
};

/* ---- one file ----------------------------------------------------------------------------------- */

static enum an_status record_file(struct act *act, int64_t file_id, enum an_kept kind, int64_t rows,
                                  int64_t bytes, const struct an_sha256 *hash, struct an_error *err)
{
    static const char sql[] = "INSERT INTO retention_file (file_id, kind, retention_id, row_count,"
                              " bytes, hash) VALUES ($1, $2, $3, $4, $5, $6)";
    struct an_text row = {0};
    struct an_query query;
    an_code_int(&row, file_id);
    an_code_int(&row, kind);
    an_code_int(&row, act->retention_id);
    an_code_int(&row, rows);
    an_code_int(&row, bytes);
    an_code_blob(&row, (struct an_bytes){hash->at, sizeof hash->at});
    enum an_status st =
        row.failed ? an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing) : AN_OK;
    if (!st) {
        an_digest_add(act->digest, an_text_of(&row), row.length);
        st = an_query_start(&query, act->store, sql, doing, err);
    }
    an_text_free(&row);
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    an_query_int(&query, kind);
    an_query_int(&query, act->retention_id);
    an_query_int(&query, rows);
    an_query_int(&query, bytes);
    an_query_hash(&query, hash);
    act->bytes += bytes;
    return an_query_run(&query, err);
}

/* rows < 0: any number */
static enum an_status delete_rows(struct act *act, const char *sql, int64_t file_id, int64_t rows,
                                  struct an_error *err)
{
    struct an_query query;
    enum an_status st = an_query_start(&query, act->store, sql, doing, err);
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    st = an_query_run(&query, err);
    if (!st && sqlite3_changes64(act->store->db) != rows) {
        st = an_fail(err, AN_BUG, "%s: %lld rows of file %lld went instead of %lld", doing,
                     (long long)sqlite3_changes64(act->store->db), (long long)file_id,
                     (long long)rows);
    }
    return st;
}

static enum an_status drop_readings(struct act *act, const struct an_due_file *file,
                                    struct an_error *err)
{
    static const char sql[] = "DELETE FROM block WHERE file_id = $1";
    struct an_sha256 hash;
    uint64_t rows = 0;
    enum an_status st = an_part_derive(act->store, file->file_id, AN_PART_BLOCK, &rows, &hash, err);
    st = st ? st
            : record_file(act, file->file_id, AN_KEPT_READINGS, (int64_t)rows, file->reading_bytes,
                          &hash, err);
    st = st ? st : delete_rows(act, sql, file->file_id, (int64_t)rows, err);
    act->readings++;
    return st;
}

static enum an_status drop_original(struct act *act, const struct an_due_file *file,
                                    struct an_error *err)
{
    static const char pieces[] = "DELETE FROM original_piece WHERE file_id = $1";
    static const char whole[] = "DELETE FROM original WHERE file_id = $1";
    enum an_status st = record_file(act, file->file_id, AN_KEPT_ORIGINAL, file->original_rows,
                                    file->original_bytes, &file->original_hash, err);
    st = st ? st : delete_rows(act, pieces, file->file_id, file->original_rows, err);
    st = st ? st : delete_rows(act, whole, file->file_id, 1, err);
    act->originals++;
    return st;
}

/* ---- one act -------------------------------------------------------------------------------------- */

static enum an_status newest_of(struct an_store *store, const char *sql, int64_t *newest,
                                struct an_error *err)
{
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, doing, err);
    st = st ? st : an_query_row(&query, &found, err);
    if (!st) {
        *newest = an_column_int_or(&query, 0, 0);
        an_query_end(&query);
    }
    return st;
}

static enum an_status tell_act(const struct act *act, size_t files, int64_t revision,
                               const struct an_sha256 *digest, const struct an_doer *doer,
                               uint64_t *entry, struct an_error *err)
{
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);
    an_json_object(&json);
    an_json_put_integer(&json, "retention_id", act->retention_id);
    an_json_put_integer(&json, "known_us", act->known_us);
    an_json_put_integer(&json, "files", (int64_t)files);
    an_json_put_integer(&json, "readings", act->readings);
    an_json_put_integer(&json, "originals", act->originals);
    an_json_put_integer(&json, "bytes", act->bytes);
    an_json_put_hash(&json, "digest", digest);
    an_json_put_string(&json, "author", act->given->author);
    an_json_put_string(&json, "reason", act->given->reason);
    an_json_put_integer(&json, "line_revision", revision);
    an_json_put_string(&json, "system_user", doer->user);
    an_json_put_string(&json, "host", doer->host);
    an_json_end(&json, '}');
    return an_ledger_append_text(act->store, "retention", &payload, entry, err);
}

static enum an_status put_act(struct act *act, size_t files, const struct an_sha256 *digest,
                              struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO retention (retention_id, known_us, files, bytes, digest, author, reason,"
        " line_revision, system_user, host, entry) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9,"
        " $10, $11)";
    static const char newest[] = "SELECT max(revision) FROM line_revision";
    const struct an_doer doer = an_doer_now();
    struct an_query query;
    int64_t revision = 0;
    uint64_t entry = 0;
    enum an_status st = newest_of(act->store, newest, &revision, err);
    st = st ? st : tell_act(act, files, revision, digest, &doer, &entry, err);
    st = st ? st : an_query_start(&query, act->store, sql, doing, err);
    if (st) {
        return st;
    }
    an_query_int(&query, act->retention_id);
    an_query_int(&query, act->known_us);
    an_query_int(&query, (int64_t)files);
    an_query_int(&query, act->bytes);
    an_query_hash(&query, digest);
    an_query_text(&query, act->given->author);
    an_query_text(&query, act->given->reason);
    an_query_int_or_null(&query, revision, revision == 0);
    an_query_text(&query, doer.user);
    an_query_text(&query, doer.host);
    an_query_int(&query, (int64_t)entry);
    return an_query_run(&query, err);
}

/* Inside a transaction. */
static enum an_status do_act(struct an_store *store, const struct an_retention_act *given,
                             const struct an_due_file *files, size_t count, struct an_error *err)
{
    static const char newest[] = "SELECT max(retention_id) FROM retention";
    struct act act = {
        .store = store, .given = given, .known_us = an_clock_now_us(), .digest = an_digest_open()};
    enum an_status st = act.digest ? newest_of(store, newest, &act.retention_id, err)
                                   : an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing);
    if (st) {
        goto done;
    }
    act.retention_id++;
    an_digest_add(act.digest, AN_RETENTION_SCHEME, sizeof AN_RETENTION_SCHEME - 1);
    for (size_t i = 0; !st && i < count; i++) {
        if (files[i].readings) {
            st = drop_readings(&act, &files[i], err);
        }
        if (!st && files[i].original) {
            st = drop_original(&act, &files[i], err);
        }
    }
    if (!st) {
        const struct an_sha256 digest = an_digest_close(act.digest);
        act.digest = NULL;
        st = put_act(&act, count, &digest, err);
    }
done:
    if (act.digest) {
        (void)an_digest_close(act.digest);
    }
    return st;
}

/* ---- a run ---------------------------------------------------------------------------------------- */

static const struct an_retention_sum nothing = {.oldest_us = AN_NO_INSTANT,
                                                .newest_us = AN_NO_INSTANT};

enum an_status an_store_retention_due(struct an_store *store, const struct an_keep_rule *rules,
                                      size_t count, int64_t now_us, struct an_retention_sum *sum,
                                      struct an_error *err)
{
    struct an_due *due = NULL;
    struct an_due_file file;
    size_t found = 1;
    *sum = nothing;
    enum an_status st = an_due_open(store, rules, count, now_us, &due, err);
    while (!st && found) {
        st = an_due_next(due, &file, 1, &found, sum, err);
    }
    an_due_close(due);
    return st;
}

/* One transaction; *sum is added to only when it is committed. */
static enum an_status do_batch(struct an_store *store, struct an_due *due,
                               const struct an_retention_act *act, struct an_due_file *files,
                               size_t most, size_t *found, struct an_retention_sum *sum,
                               struct an_error *err)
{
    struct an_retention_sum with = *sum;
    bool own = false;
    enum an_status st = an_due_next(due, files, most, found, &with, err);
    if (!st && *found) {
        st = an_store_enter(store, &own, err);
        if (!st) {
            st = an_store_leave(store, own, do_act(store, act, files, *found, err), err);
        }
        with.acts++;
    }
    if (!st) {
        *sum = with;
    }
    return st;
}

enum an_status an_store_retain(struct an_store *store, const struct an_keep_rule *rules,
                               size_t count, const struct an_retention_act *act,
                               struct an_retention_sum *sum, struct an_error *err)
{
    const size_t most = act->batch ? act->batch : USUAL_BATCH;
    struct an_due *due = NULL;
    struct an_due_file *files = NULL;
    size_t found = 1;
    *sum = nothing;
    if (!act->author || !act->author[0] || !act->reason || !act->reason[0]) {
        return an_fail(err, AN_BAD_USAGE, "dropping wants the name of who has it done, and why");
    }
    if (store->in_transaction) {
        return an_fail(err, AN_BAD_USAGE, "%s: a transaction is open", doing);
    }
    enum an_status st = an_due_open(store, rules, count, act->now_us, &due, err);
    if (!st) {
        files = an_alloc(most, sizeof *files);
        st = files ? AN_OK : an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing);
    }
    while (!st && found && !(act->stop && act->stop(act->context))) {
        st = do_batch(store, due, act, files, most, &found, sum, err);
    }
    an_free(files);
    an_due_close(due);
    return st;
}

/* ---- what was dropped ----------------------------------------------------------------------------- */

static void read_dropped(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_dropped *dropped = row;
    dropped->retention_id = an_column_int(query, 0);
    dropped->known_us = an_column_int(query, 1);
    dropped->rows = an_column_int(query, 2);
    dropped->bytes = an_column_int(query, 3);
    (void)an_column_hash(query, 4, &dropped->hash); /* its length is checked by the table */
    dropped->author = an_column_text(query, 5, arena);
    dropped->reason = an_column_text(query, 6, arena);
}

#define DROPPED_COLUMNS                                                                            \
    "SELECT r.retention_id, r.known_us, d.row_count, d.bytes, d.hash, r.author, r.reason"          \
    " FROM retention_file d JOIN retention r ON r.retention_id = d.retention_id"

static enum an_status one_dropped(struct an_query *query, struct an_arena *arena,
                                  struct an_dropped *dropped, bool *found, struct an_error *err)
{
    const enum an_status st = an_query_one(query, read_dropped, arena, dropped, "kept still", err);
    *found = st == AN_OK;
    return st == AN_NOT_FOUND ? AN_OK : st;
}

enum an_status an_store_dropped(struct an_store *store, int64_t file_id, enum an_kept kind,
                                struct an_arena *arena, struct an_dropped *dropped, bool *found,
                                struct an_error *err)
{
    static const char sql[] = DROPPED_COLUMNS " WHERE d.file_id = $1 AND d.kind = $2";
    struct an_query query;
    const enum an_status st =
        an_query_start(&query, store, sql, "looking for what was dropped", err);
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    an_query_int(&query, kind);
    return one_dropped(&query, arena, dropped, found, err);
}

enum an_status an_store_original_dropped(struct an_store *store, const struct an_sha256 *hash,
                                         struct an_arena *arena, struct an_dropped *dropped,
                                         bool *found, struct an_error *err)
{
    static const char sql[] =
        DROPPED_COLUMNS " JOIN file f ON f.file_id = d.file_id WHERE f.hash = $1 AND d.kind = 2"
                        " ORDER BY d.retention_id LIMIT 1";
    struct an_query query;
    const enum an_status st =
        an_query_start(&query, store, sql, "looking for what was dropped", err);
    if (st) {
        return st;
    }
    an_query_hash(&query, hash);
    return one_dropped(&query, arena, dropped, found, err);
}

const char *an_dropped_text(const struct an_dropped *dropped, struct an_arena *arena)
{
    char at[40];
    (void)an_instant_rfc3339(dropped->known_us, at);
    return an_arena_printf(arena, "kept no longer (since %.10s, by %s: %s)", at, dropped->author,
                           dropped->reason);
}

enum an_status an_part_recorded(struct an_store *store, int64_t file_id, uint64_t *rows,
                                struct an_sha256 *hash, struct an_error *err)
{
    static const char sql[] =
        "SELECT row_count, hash FROM retention_file WHERE file_id = $1 AND kind = 1";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "looking for what was dropped", err);
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    st = an_query_row(&query, &found, err);
    if (!st && found) {
        *rows = (uint64_t)an_column_int(&query, 0);
        (void)an_column_hash(&query, 1, hash);
    }
    an_query_end(&query);
    return st;
}
