/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Revisions of the line description, as bytes: what they say is not looked at here. */
#include "store/handle.h"

#include <string.h>

static enum an_status find_newest(struct an_store *store, int64_t *revision, struct an_sha256 *hash,
                                  struct an_error *err)
{
    static const char sql[] = "SELECT revision, hash FROM line_revision"
                              " ORDER BY revision DESC LIMIT 1";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "reading the line description", err);
    *revision = 0;
    if (!st) {
        st = an_query_row(&query, &found, err);
    }
    if (!st && found) {
        *revision = an_column_int(&query, 0);
        (void)an_column_hash(&query, 1, hash); /* its length is checked by the table */
        an_query_end(&query);
    }
    return st;
}

static enum an_status add_revision(struct an_store *store, struct an_bytes yaml, const char *folder,
                                   const struct an_sha256 *hash, int64_t *revision,
                                   struct an_error *err)
{
    static const char sql[] = "INSERT INTO line_revision"
                              " (revision, known_us, hash, folder, yaml, system_user, host, entry)"
                              " VALUES ($1, $2, $3, $4, $5, $6, $7, $8)";
    const struct an_doer doer = an_doer_now();
    const int64_t known_us = an_clock_now_us();
    struct an_query query;
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);
    uint64_t entry = 0;
    enum an_status st = an_store_take_id(store, AN_COUNT_LINE_REVISION, revision, err);
    if (st) {
        return st;
    }
    an_json_object(&json);
    an_json_put_integer(&json, "revision", *revision);
    an_json_put_integer(&json, "known_us", known_us);
    an_json_put_hash(&json, "sha256", hash);
    an_json_put_integer(&json, "bytes", (int64_t)yaml.length);
    an_json_put_string(&json, "folder", folder);
    an_json_put_string(&json, "system_user", doer.user);
    an_json_put_string(&json, "host", doer.host);
    an_json_end(&json, '}');
    st = an_ledger_append_text(store, "line", &payload, &entry, err);
    if (!st) {
        st = an_query_start(&query, store, sql, "storing the line description", err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, *revision);
    an_query_int(&query, known_us);
    an_query_hash(&query, hash);
    an_query_text(&query, folder ? folder : ".");
    an_query_blob(&query, yaml.at, yaml.length);
    an_query_text(&query, doer.user);
    an_query_text(&query, doer.host);
    an_query_int(&query, (int64_t)entry);
    return an_query_run(&query, err);
}

enum an_status an_store_put_line(struct an_store *store, struct an_bytes yaml, const char *folder,
                                 int64_t *revision, bool *is_new, struct an_error *err)
{
    const struct an_sha256 hash = an_sha256_of(yaml.at, yaml.length);
    struct an_sha256 newest = {{0}};
    bool own = false;
    enum an_status st = an_store_enter(store, &own, err);
    if (st) {
        return st;
    }
    st = find_newest(store, revision, &newest, err);
    if (!st) {
        *is_new = *revision == 0 || memcmp(&newest, &hash, sizeof hash) != 0;
        if (*is_new) {
            st = add_revision(store, yaml, folder, &hash, revision, err);
        }
    }
    return an_store_leave(store, own, st, err);
}

static void read_revision(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_line_revision *revision = row;
    revision->revision = an_column_int(query, 0);
    revision->known_us = an_column_int(query, 1);
    (void)an_column_hash(query, 2, &revision->hash); /* its length is checked by the table */
    revision->folder = an_column_text(query, 3, arena);
    revision->yaml = an_column_bytes(query, 4, arena);
}

enum an_status an_store_line(struct an_store *store, struct an_arena *arena,
                             struct an_line_revision *revision, struct an_error *err)
{
    static const char sql[] = "SELECT revision, known_us, hash, folder, yaml FROM line_revision"
                              " ORDER BY revision DESC LIMIT 1";
    struct an_query query;
    const enum an_status st =
        an_query_start(&query, store, sql, "reading the line description", err);
    return st ? st
              : an_query_one(&query, read_revision, arena, revision,
                             "the store has no line description; give it one with init", err);
}

enum an_status an_store_line_of(struct an_store *store, int64_t number, struct an_arena *arena,
                                struct an_line_revision *revision, struct an_error *err)
{
    static const char sql[] = "SELECT revision, known_us, hash, folder, yaml FROM line_revision"
                              " WHERE revision = $1";
    struct an_query query;
    const enum an_status st =
        an_query_start(&query, store, sql, "reading an earlier line description", err);
    if (st) {
        return st;
    }
    an_query_int(&query, number);
    return an_query_one(&query, read_revision, arena, revision,
                        "the store has no line description of that number", err);
}
