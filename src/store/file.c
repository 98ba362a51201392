/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Files: known by their bytes, put whole with their balance of rows and the digest of all that
 * came with them. It must never let a row in that does not add up.
 */
#include "store/handle.h"

#include <pwd.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

/* ---- small things that records share ------------------------------------------------------------ */

struct an_doer an_doer_now(void)
{
    struct an_doer doer = {{0}, {0}};
    struct passwd entry;
    struct passwd *found = NULL;
    char buffer[4096];
    if (getpwuid_r(geteuid(), &entry, buffer, sizeof buffer, &found) == 0 && found) {
        (void)snprintf(doer.user, sizeof doer.user, "%s", found->pw_name);
    } else {
        (void)snprintf(doer.user, sizeof doer.user, "uid %lu", (unsigned long)geteuid());
    }
    if (gethostname(doer.host, sizeof doer.host - 1)) {
        (void)snprintf(doer.host, sizeof doer.host, "unknown");
    }
    return doer;
}

void an_json_put_hash(struct an_json *json, const char *key, const struct an_sha256 *hash)
{
    char hex[65];
    an_json_put_string(json, key, an_sha256_hex(hash, hex));
}

void an_json_put_instant(struct an_json *json, const char *key, int64_t at_us)
{
    an_json_key(json, key);
    if (at_us == AN_NO_INSTANT) {
        an_json_null(json);
    } else {
        an_json_integer(json, at_us);
    }
}

struct an_sha256 an_sha256_of_text(const char *text)
{
    return an_sha256_of(text ? text : "", text ? strlen(text) : 0);
}

/* ---- finding ------------------------------------------------------------------------------------ */

enum an_status an_store_find_file(struct an_store *store, const struct an_sha256 *hash, bool *found,
                                  int64_t *file_id, struct an_error *err)
{
    static const char sql[] = "SELECT file_id FROM file WHERE hash = $1"
                              " ORDER BY state, round, file_id DESC LIMIT 1";
    struct an_query query;
    enum an_status st = an_query_start(&query, store, sql, "looking for a file", err);
    *found = false;
    if (st) {
        return st;
    }
    an_query_hash(&query, hash);
    st = an_query_row(&query, found, err);
    if (!st && *found) {
        *file_id = an_column_int(&query, 0);
        an_query_end(&query);
    }
    return st;
}

enum an_status an_store_put_sighting(struct an_store *store, int64_t file_id, const char *path,
                                     struct an_error *err)
{
    static const char sql[] = "INSERT INTO file_sighting"
                              " (sighting_id, file_id, path, known_us, entry)"
                              " VALUES ($1, $2, $3, $4, $5)";
    static const char doing[] = "noting a file that was seen before";
    struct an_query query;
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);
    const int64_t known_us = an_clock_now_us();
    int64_t id = 0;
    uint64_t entry = 0;
    bool own = false;
    enum an_status st = an_store_enter(store, &own, err);
    if (st) {
        return st;
    }
    st = an_store_take_id(store, AN_COUNT_SIGHTING, &id, err);
    if (!st) {
        an_json_object(&json);
        an_json_put_integer(&json, "sighting_id", id);
        an_json_put_integer(&json, "file_id", file_id);
        an_json_put_string(&json, "path", path);
        an_json_put_integer(&json, "known_us", known_us);
        an_json_end(&json, '}');
        st = an_ledger_append_text(store, "file.seen_again", &payload, &entry, err);
    }
    if (!st) {
        st = an_query_start(&query, store, sql, doing, err);
    }
    if (!st) {
        an_query_int(&query, id);
        an_query_int(&query, file_id);
        an_query_text(&query, path);
        an_query_int(&query, known_us);
        an_query_int(&query, (int64_t)entry);
        st = an_query_run(&query, err);
    }
    return an_store_leave(store, own, st, err);
}

/* ---- putting ------------------------------------------------------------------------------------- */

enum an_status an_store_next_file(struct an_store *store, int64_t *file_id, struct an_error *err)
{
    enum an_status st = an_store_may_put(store, "beginning a file", err);
    if (!st) {
        st = an_store_peek_id(store, AN_COUNT_FILE, file_id, err);
    }
    if (!st) {
        an_tally_drop(store);
        store->tally.file_id = *file_id;
    }
    return st;
}

static enum an_status check_file(const struct an_file *file, struct an_error *err)
{
    if (file->rows != file->taken + file->duplicate + file->held + file->blank) {
        return an_fail(err, AN_BUG,
                       "the rows of '%s' do not add up: %lld rows, but %lld taken, %lld duplicate, "
                       "%lld held, %lld blank",
                       file->name, (long long)file->rows, (long long)file->taken,
                       (long long)file->duplicate, (long long)file->held, (long long)file->blank);
    }
    if (file->state == AN_FILE_HELD && (!file->code || !file->why)) {
        return an_fail(err, AN_BUG, "file '%s' is held without a reason", file->name);
    }
    return AN_OK;
}

/* first_us if there is one, else the file's own time, else when it was taken */
static int64_t about(int64_t event_us, const struct an_file *file, int64_t known_us)
{
    if (event_us != AN_NO_INSTANT) {
        return event_us;
    }
    return file->modified_us != AN_NO_INSTANT ? file->modified_us : known_us;
}

static void bind_file(struct an_query *query, const struct an_file *file, int64_t known_us,
                      uint64_t entry)
{
    an_query_int(query, file->file_id);
    an_query_hash(query, &file->hash);
    an_query_int(query, file->bytes);
    an_query_text(query, file->name ? file->name : "");
    an_query_text(query, file->path ? file->path : "");
    an_query_text(query, file->station);
    an_query_instant(query, file->modified_us);
    an_query_int(query, known_us);
    an_query_int_or_null(query, file->line_revision, file->line_revision == 0);
    an_query_int(query, file->state == AN_FILE_HELD ? 1 : 0);
    an_query_text(query, file->code);
    an_query_text(query, file->why);
    an_query_int(query, (int64_t)file->why_line);
    an_query_int(query, (int64_t)file->why_column);
    an_query_text(query, file->notes);
    an_query_int(query, file->rows);
    an_query_int(query, file->taken);
    an_query_int(query, file->duplicate);
    an_query_int(query, file->held);
    an_query_int(query, file->blank);
    an_query_instant(query, file->first_us);
    an_query_instant(query, file->last_us);
    an_query_int(query, about(file->first_us, file, known_us));
    an_query_int(query, about(file->last_us, file, known_us));
    an_query_int(query, (int64_t)entry);
    query->row = NULL; /* the ledger tells the round: digests of older files had none */
    an_query_int(query, file->round);
}

static void describe_file(struct an_text *payload, const struct an_file *file, int64_t known_us,
                          const struct an_tally *tally, const struct an_sha256 *digest)
{
    static const char *const names[AN_PARTS] = {
        [AN_PART_ITEM] = "items",   [AN_PART_STREAM] = "streams", [AN_PART_LINK] = "links",
        [AN_PART_VISIT] = "visits", [AN_PART_SAMPLE] = "samples", [AN_PART_BLOCK] = "blocks",
    };
    struct an_json json = an_json_into(payload, false);
    an_json_object(&json);
    an_json_put_integer(&json, "file_id", file->file_id);
    an_json_put_hash(&json, "sha256", &file->hash);
    an_json_put_integer(&json, "bytes", file->bytes);
    an_json_put_string(&json, "name", file->name);
    an_json_put_string(&json, "station", file->station);
    an_json_put_integer(&json, "line_revision", file->line_revision);
    an_json_put_integer(&json, "known_us", known_us);
    an_json_put_string(&json, "state", file->state == AN_FILE_HELD ? "held" : "taken");
    an_json_put_string(&json, "code", file->code);
    an_json_put_integer(&json, "rows", file->rows);
    an_json_put_integer(&json, "taken", file->taken);
    an_json_put_integer(&json, "duplicate", file->duplicate);
    an_json_put_integer(&json, "held", file->held);
    an_json_put_integer(&json, "blank", file->blank);
    if (file->round) {
        an_json_put_integer(&json, "round", file->round);
    }
    for (int part = 0; part < AN_PARTS; part++) {
        if (names[part]) {
            an_json_put_integer(&json, names[part], (int64_t)tally->rows[part]);
        }
    }
    an_json_put_hash(&json, "digest", digest);
    an_json_end(&json, '}');
}

/* The file's row is encoded first, as its digest must be in the ledger before the row refers to
 * that entry; the entry's number is known beforehand. */
enum an_status an_store_put_file(struct an_store *store, const struct an_file *file,
                                 struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO file (file_id, hash, bytes, name, path, station, modified_us, known_us,"
        " line_revision, state, code, why, why_line, why_column, notes, rows_in, taken, duplicate,"
        " held, blank, first_us, last_us, about_first_us, about_last_us, entry, round)"
        " VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18,"
        " $19, $20, $21, $22, $23, $24, $25, $26)";
    static const char doing[] = "storing a file";
    const int64_t known_us = an_known(file->known_us);
    struct an_query query = {0};
    struct an_text payload = {0};
    struct an_ledger_head head;
    struct an_sha256 digest;
    uint64_t entry = 0;
    enum an_status st = an_tally_check(store, file->file_id, doing, err);
    if (!st) {
        st = check_file(file, err);
    }
    if (!st) {
        st = an_ledger_head(store, &head, err);
    }
    if (!st) {
        st = an_query_start_put(&query, store, sql, doing, err);
    }
    if (st) {
        return st;
    }
    const struct an_text *row = query.row;
    bind_file(&query, file, known_us, head.size);
    st = row->failed
             ? an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing)
             : an_tally_add(store, AN_PART_FILE,
                            (struct an_bytes){(const unsigned char *)an_text_of(row), row->length},
                            err);
    if (!st) {
        st = an_tally_close(store, &digest, err);
    }
    if (!st) {
        describe_file(&payload, file, known_us, &store->tally, &digest);
        st = an_ledger_append_text(store, file->state == AN_FILE_HELD ? "file.held" : "file.taken",
                                   &payload, &entry, err);
    }
    if (!st) {
        st = an_query_run(&query, err);
    }
    if (!st) {
        store->next_id[AN_COUNT_FILE]++;
        an_tally_drop(store);
    }
    an_query_end(&query);
    return st;
}

/* ---- reading -------------------------------------------------------------------------------------- */

#define FILE_COLUMNS                                                                               \
    "SELECT file_id, hash, bytes, name, path, station, modified_us, known_us, line_revision,"      \
    " state, code, why, why_line, why_column, notes, rows_in, taken, duplicate, held, blank,"      \
    " first_us, last_us, round FROM file"

static void read_file(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_file *file = row;
    file->file_id = an_column_int(query, 0);
    (void)an_column_hash(query, 1, &file->hash); /* its length is checked by the table */
    file->bytes = an_column_int(query, 2);
    file->name = an_column_text(query, 3, arena);
    file->path = an_column_text(query, 4, arena);
    file->station = an_column_text(query, 5, arena);
    file->modified_us = an_column_instant(query, 6);
    file->known_us = an_column_int(query, 7);
    file->line_revision = an_column_int_or(query, 8, 0);
    file->state = an_column_int(query, 9) ? AN_FILE_HELD : AN_FILE_TAKEN;
    file->code = an_column_text(query, 10, arena);
    file->why = an_column_text(query, 11, arena);
    file->why_line = (uint64_t)an_column_int(query, 12);
    file->why_column = (uint64_t)an_column_int(query, 13);
    file->notes = an_column_text(query, 14, arena);
    file->rows = an_column_int(query, 15);
    file->taken = an_column_int(query, 16);
    file->duplicate = an_column_int(query, 17);
    file->held = an_column_int(query, 18);
    file->blank = an_column_int(query, 19);
    file->first_us = an_column_instant(query, 20);
    file->last_us = an_column_instant(query, 21);
    file->round = an_column_int(query, 22);
}

enum an_status an_store_files(struct an_store *store, int64_t known_from_us, int64_t known_until_us,
                              struct an_arena *arena, struct an_file **files, size_t *count,
                              struct an_error *err)
{
    static const char sql[] = FILE_COLUMNS " WHERE known_us >= $1 AND known_us < $2"
                                           " ORDER BY known_us, file_id";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "listing files", err);
    if (st) {
        return st;
    }
    an_query_int(&query, known_from_us);
    an_query_int(&query, an_until(known_until_us));
    st = an_query_collect(&query, sizeof **files, read_file, arena, &rows, count, err);
    if (!st) {
        *files = rows;
    }
    return st;
}

enum an_status an_store_file(struct an_store *store, int64_t file_id, struct an_arena *arena,
                             struct an_file *file, struct an_error *err)
{
    static const char sql[] = FILE_COLUMNS " WHERE file_id = $1";
    struct an_query query;
    const enum an_status st = an_query_start(&query, store, sql, "reading a file's record", err);
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    return an_query_one(&query, read_file, arena, file, "there is no such file in the store", err);
}
