/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What was held, what it waits for, and the acts that let it in. Nothing here may take a row: it
 * records what intake did, in the transaction in which intake did it.
 */
#include "andamento/store/intake.h"
#include "store/handle.h"
#include "store/signing.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

/* ---- waiting ------------------------------------------------------------------------------------ */

enum an_status an_store_put_waiting(struct an_store *store, int64_t held_id, const char *kind,
                                    struct an_bytes serial, int64_t file_id, struct an_error *err)
{
    static const char sql[] = "INSERT INTO waiting (held_id, kind, serial, file_id)"
                              " VALUES ($1, $2, $3, $4)";
    static const char doing[] = "noting what a held row waits for";
    struct an_query query;
    enum an_status st = an_tally_check(store, file_id, doing, err);
    st = st ? st : an_query_start_put(&query, store, sql, doing, err);
    if (st) {
        return st;
    }
    an_query_int(&query, held_id);
    an_query_text(&query, kind);
    an_query_bytes_as_text(&query, serial);
    an_query_int(&query, file_id);
    return an_query_run_put(&query, AN_PART_WAITING, err);
}

static void read_line(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_held *held = row;
    (void)arena;
    held->held_id = an_column_int(query, 0);
    held->line = (uint64_t)an_column_int(query, 1);
}

enum an_status an_store_held_lines(struct an_store *store, int64_t file_id, const char *code,
                                   struct an_arena *arena, struct an_held **rows, size_t *count,
                                   struct an_error *err)
{
    static const char sql[] = "SELECT held_id, line_no FROM held WHERE file_id = $1 AND code = $2"
                              " ORDER BY held_id";
    struct an_query query;
    void *read = NULL;
    enum an_status st = an_query_start(&query, store, sql, "listing held rows", err);
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    an_query_text(&query, code);
    st = an_query_collect(&query, sizeof **rows, read_line, arena, &read, count, err);
    if (!st) {
        *rows = read;
    }
    return st;
}

enum an_status an_store_any_waiting(struct an_store *store, bool *any, struct an_error *err)
{
    static const char sql[] = "SELECT max(held_id) FROM waiting";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "looking for waiting rows", err);
    st = st ? st : an_query_row(&query, &found, err);
    if (!st) {
        *any = an_column_int_or(&query, 0, 0) > 0;
        an_query_end(&query);
    }
    return st;
}

/* ---- listing what is held ----------------------------------------------------------------------- */

#define HELD_COLUMNS                                                                               \
    "SELECT h.held_id, h.file_id, h.line_no, h.column_no, h.column_name, h.code, h.why, h.raw,"    \
    " f.name, f.station, coalesce((SELECT r.act_id FROM release r WHERE r.held_id = h.held_id), 0)"

static void read_held(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_held *held = row;
    held->held_id = an_column_int(query, 0);
    held->file_id = an_column_int(query, 1);
    held->line = (uint64_t)an_column_int(query, 2);
    held->column = (uint64_t)an_column_int(query, 3);
    held->column_name = an_column_text(query, 4, arena);
    held->code = an_column_text(query, 5, arena);
    held->why = an_column_text(query, 6, arena);
    held->text = an_column_bytes(query, 7, arena);
    held->file_name = an_column_text(query, 8, arena);
    held->station = an_column_text(query, 9, arena);
    held->released_by = an_column_int(query, 10);
}

static void bind_filter(struct an_query *query, const struct an_held_filter *filter)
{
    an_query_text(query, filter->station);
    an_query_text(query, filter->code);
    an_query_int(query, filter->from_us == AN_NO_INSTANT ? INT64_MIN : filter->from_us);
    an_query_int(query, an_until(filter->until_us));
    an_query_int(query, (int64_t)filter->state);
}

/* One query for each way in: by file, by number, by reason, or all. */
enum an_status an_store_held_rows(struct an_store *store, const struct an_held_filter *filter,
                                  size_t most, struct an_arena *arena, struct an_held **rows,
                                  size_t *count, struct an_error *err)
{
#define HELD_WHERE(way)                                                                            \
    HELD_COLUMNS " FROM held h JOIN file f ON f.file_id = h.file_id"                               \
                 " WHERE ($1 IS NULL OR f.station = $1) AND ($2 IS NULL OR h.code = $2)"           \
                 " AND f.known_us >= $3 AND f.known_us < $4 AND ($5 = 2 OR $5 = (EXISTS"           \
                 " (SELECT 1 FROM release r WHERE r.held_id = h.held_id)))" way                    \
                 " ORDER BY h.file_id, h.line_no, h.held_id LIMIT $7"
    /* SQLite counts parameters by where they first stand, so $1 to $7 stand in this order */
    static const char by_file[] = HELD_WHERE(" AND h.file_id = $6");
    static const char by_id[] = HELD_WHERE(" AND h.held_id = $6");
    static const char by_code[] = HELD_WHERE(" AND h.code = $2 AND h.held_id > $6");
    static const char all[] = HELD_WHERE(" AND h.held_id > $6");
#undef HELD_WHERE
    struct an_query query;
    void *read = NULL;
    const char *sql = filter->held_id   ? by_id
                      : filter->file_id ? by_file
                      : filter->code    ? by_code
                                        : all;
    enum an_status st = an_query_start(&query, store, sql, "listing held rows", err);
    if (st) {
        return st;
    }
    bind_filter(&query, filter);
    an_query_int(&query, filter->held_id ? filter->held_id : filter->file_id);
    an_query_int(&query, most == 0 || most > INT64_MAX ? INT64_MAX : (int64_t)most);
    st = an_query_collect(&query, sizeof **rows, read_held, arena, &read, count, err);
    if (!st) {
        *rows = read;
    }
    return st;
}

static void read_held_file(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_held_file *held = row;
    struct an_file *file = &held->file;
    file->file_id = an_column_int(query, 0);
    (void)an_column_hash(query, 1, &file->hash);
    file->bytes = an_column_int(query, 2);
    file->name = an_column_text(query, 3, arena);
    file->path = an_column_text(query, 4, arena);
    file->station = an_column_text(query, 5, arena);
    file->modified_us = an_column_instant(query, 6);
    file->known_us = an_column_int(query, 7);
    file->line_revision = an_column_int_or(query, 8, 0);
    file->state = AN_FILE_HELD;
    file->code = an_column_text(query, 9, arena);
    file->why = an_column_text(query, 10, arena);
    file->why_line = (uint64_t)an_column_int(query, 11);
    file->why_column = (uint64_t)an_column_int(query, 12);
    file->rows = an_column_int(query, 13);
    file->held = an_column_int(query, 14);
    file->blank = an_column_int(query, 15);
    file->first_us = file->last_us = AN_NO_INSTANT;
    held->released_as = an_column_int(query, 16);
}

enum an_status an_store_held_files(struct an_store *store, const struct an_held_filter *filter,
                                   struct an_arena *arena, struct an_held_file **files,
                                   size_t *count, struct an_error *err)
{
    static const char sql[] =
        "SELECT f.file_id, f.hash, f.bytes, f.name, f.path, f.station, f.modified_us, f.known_us,"
        " f.line_revision, f.code, f.why, f.why_line, f.why_column, f.rows_in, f.held, f.blank,"
        " coalesce((SELECT min(t.file_id) FROM file t WHERE t.hash = f.hash AND t.state = 0), 0)"
        " FROM file f WHERE ($1 IS NULL OR f.station = $1) AND ($2 IS NULL OR f.code = $2)"
        " AND f.known_us >= $3 AND f.known_us < $4 AND f.state = 1"
        " AND NOT EXISTS (SELECT 1 FROM file n WHERE n.hash = f.hash AND n.state = 1"
        " AND n.file_id > f.file_id)"
        " AND ($5 = 2 OR $5 = (EXISTS (SELECT 1 FROM file t WHERE t.hash = f.hash"
        " AND t.state = 0))) AND ($6 = 0 OR f.file_id = $6) ORDER BY f.known_us, f.file_id";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "listing held files", err);
    if (st) {
        return st;
    }
    bind_filter(&query, filter);
    an_query_int(&query, filter->file_id);
    st = an_query_collect(&query, sizeof **files, read_held_file, arena, &rows, count, err);
    if (!st) {
        *files = rows;
    }
    return st;
}

enum an_status an_store_waited_for(struct an_store *store, int64_t file_id, struct an_arena *arena,
                                   struct an_held **rows, size_t *count, struct an_error *err)
{
    static const char sql[] =
        HELD_COLUMNS " FROM visit v JOIN item i ON i.item_id = v.item_id"
                     " JOIN waiting w ON w.kind = i.kind AND w.serial = i.serial"
                     " JOIN held h ON h.held_id = w.held_id JOIN file f ON f.file_id = h.file_id"
                     " WHERE v.file_id = $1 AND NOT EXISTS"
                     " (SELECT 1 FROM release r WHERE r.held_id = h.held_id)"
                     " GROUP BY h.held_id ORDER BY h.file_id, h.line_no";
    struct an_query query;
    void *read = NULL;
    enum an_status st = an_query_start(&query, store, sql, "looking for waiting rows", err);
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    st = an_query_collect(&query, sizeof **rows, read_held, arena, &read, count, err);
    if (!st) {
        *rows = read;
    }
    return st;
}

enum an_status an_store_next_round(struct an_store *store, const struct an_sha256 *hash,
                                   int64_t *round, struct an_error *err)
{
    static const char sql[] = "SELECT max(round) + 1 FROM file WHERE hash = $1 AND state = 0";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "looking for a file's records", err);
    if (st) {
        return st;
    }
    an_query_hash(&query, hash);
    st = an_query_row(&query, &found, err);
    if (!st) {
        *round = an_column_int_or(&query, 0, 0);
        an_query_end(&query);
    }
    return st;
}

/* ---- acts --------------------------------------------------------------------------------------- */

/* "held file held row LF" for each, a row of 0 being the whole file. */
static void list_release(struct an_text *list, int64_t held_file_id, int64_t held_id)
{
    an_text_addf(list, "%" PRId64 " %" PRId64 "\n", held_file_id, held_id);
}

static void describe_act(struct an_text *payload, const struct an_release_act *act,
                         const struct an_doer *doer, size_t rows, size_t files,
                         const struct an_text *list)
{
    static const char *const causes[] = {"", "person", "item came", "description changed"};
    const struct an_sha256 hash = an_sha256_of(an_text_of(list), list->length);
    struct an_json json = an_json_into(payload, false);
    an_json_object(&json);
    an_json_put_integer(&json, "act_id", act->act_id);
    an_json_put_integer(&json, "known_us", act->known_us);
    an_json_put_string(&json, "cause",
                       (size_t)act->cause < sizeof causes / sizeof *causes ? causes[act->cause]
                                                                           : "");
    an_json_put_bool(&json, "as_is", act->as_is);
    an_json_put_integer(&json, "line_revision", act->line_revision);
    an_json_put_integer(&json, "file_id", act->file_id);
    an_json_put_integer(&json, "rows", (int64_t)rows);
    an_json_put_integer(&json, "files", (int64_t)files);
    an_json_put_hash(&json, "released", &hash);
    an_json_put_string(&json, "author", act->author);
    an_json_put_string(&json, "reason", act->reason);
    an_json_put_string(&json, "system_user", doer->user);
    an_json_put_string(&json, "host", doer->host);
    an_json_end(&json, '}');
}

static enum an_status put_act(struct an_store *store, const struct an_release_act *act,
                              const struct an_doer *doer, uint64_t entry, struct an_error *err)
{
    static const char sql[] =
        "INSERT INTO release_act (act_id, known_us, cause, as_is, line_revision, file_id, author,"
        " reason, system_user, host, entry) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)";
    struct an_query query;
    const enum an_status st = an_query_start(&query, store, sql, "recording a release", err);
    if (st) {
        return st;
    }
    an_query_int(&query, act->act_id);
    an_query_int(&query, act->known_us);
    an_query_int(&query, (int64_t)act->cause);
    an_query_int(&query, act->as_is);
    an_query_int_or_null(&query, act->line_revision, act->line_revision == 0);
    an_query_int(&query, act->file_id);
    an_query_text(&query, act->author);
    an_query_text(&query, act->reason);
    an_query_text(&query, doer->user);
    an_query_text(&query, doer->host);
    an_query_int(&query, (int64_t)entry);
    return an_query_run(&query, err);
}

static enum an_status put_one(struct an_store *store, int64_t act_id, int64_t held_file_id,
                              int64_t held_id, struct an_error *err)
{
    static const char sql[] = "INSERT INTO release (release_id, act_id, held_file_id, held_id)"
                              " VALUES ($1, $2, $3, $4)";
    struct an_query query;
    int64_t id = 0;
    enum an_status st = an_store_take_id(store, AN_COUNT_RELEASE, &id, err);
    st = st ? st : an_query_start(&query, store, sql, "recording a release", err);
    if (st) {
        return st;
    }
    an_query_int(&query, id);
    an_query_int(&query, act_id);
    an_query_int(&query, held_file_id);
    an_query_int_or_null(&query, held_id, held_id == 0);
    return an_query_run(&query, err);
}

enum an_status an_store_put_release(struct an_store *store, struct an_release_act *act,
                                    int64_t held_file_id, const int64_t *held_ids, size_t count,
                                    struct an_error *err)
{
    const struct an_doer doer = an_doer_now();
    struct an_text list = {0};
    struct an_text payload = {0};
    uint64_t entry = 0;
    enum an_status st = an_store_may_put(store, "recording a release", err);
    if (!st && (!act->author || !act->author[0] || !act->reason || !act->reason[0])) {
        st = an_fail(err, AN_BAD_USAGE, "a release needs an author and a reason");
    }
    st = st ? st : an_store_take_id(store, AN_COUNT_RELEASE_ACT, &act->act_id, err);
    act->known_us = an_clock_now_us();
    if (st) {
        return st;
    }
    for (size_t i = 0; i < count || i == 0; i++) {
        list_release(&list, held_file_id, count ? held_ids[i] : 0);
    }
    describe_act(&payload, act, &doer, count, count ? 0 : 1, &list);
    payload.failed = payload.failed || list.failed;
    an_text_free(&list);
    st = an_ledger_append_text(store, "held.release", &payload, &entry, err);
    st = st ? st : put_act(store, act, &doer, entry, err);
    for (size_t i = 0; !st && (i < count || i == 0); i++) {
        st = put_one(store, act->act_id, held_file_id, count ? held_ids[i] : 0, err);
    }
    return st;
}

static void read_act(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_release_act *act = row;
    act->act_id = an_column_int(query, 0);
    act->known_us = an_column_int(query, 1);
    act->cause = (enum an_release_cause)an_column_int(query, 2);
    act->as_is = an_column_int(query, 3) != 0;
    act->line_revision = an_column_int_or(query, 4, 0);
    act->file_id = an_column_int(query, 5);
    act->author = an_column_text(query, 6, arena);
    act->reason = an_column_text(query, 7, arena);
    act->rows = an_column_int(query, 8);
    act->files = an_column_int(query, 9);
    act->file_name = an_column_text(query, 10, arena);
    act->station = an_column_text(query, 11, arena);
    act->signed_key = an_column_text(query, 12, arena);
}

enum an_status an_store_releases(struct an_store *store, struct an_arena *arena,
                                 struct an_release_act **acts, size_t *count, struct an_error *err)
{
    static const char sql[] =
        "SELECT a.act_id, a.known_us, a.cause, a.as_is, a.line_revision, a.file_id, a.author,"
        " a.reason, (SELECT count(held_id) FROM release r WHERE r.act_id = a.act_id),"
        " (SELECT count(*) - count(held_id) FROM release r WHERE r.act_id = a.act_id),"
        " f.name, f.station, " AN_SIGNED_KEY(
            "a") " FROM release_act a JOIN file f ON f.file_id = a.file_id"
                 " WHERE a.act_id > 0 ORDER BY a.act_id";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "listing releases", err);
    st = st ? st : an_query_collect(&query, sizeof **acts, read_act, arena, &rows, count, err);
    if (!st) {
        *acts = rows;
    }
    return st;
}

/* ---- checking ----------------------------------------------------------------------------------- */

/* What the ledger was told, made again from the tables. */
static enum an_status derive_payload(struct an_store *store, const struct an_release_act *act,
                                     const struct an_doer *doer, struct an_text *payload,
                                     struct an_error *err)
{
    static const char sql[] = "SELECT held_file_id, coalesce(held_id, 0) FROM release"
                              " WHERE act_id = $1 ORDER BY release_id";
    struct an_query query;
    struct an_text list = {0};
    size_t counts[2] = {0, 0};
    bool more = false;
    enum an_status st = an_query_start(&query, store, sql, "checking releases", err);
    if (st) {
        return st;
    }
    an_query_int(&query, act->act_id);
    while (!(st = an_query_row(&query, &more, err)) && more) {
        list_release(&list, an_column_int(&query, 0), an_column_int(&query, 1));
        counts[an_column_int(&query, 1) == 0]++;
    }
    describe_act(payload, act, doer, counts[0], counts[1], &list);
    payload->failed = payload->failed || list.failed;
    an_text_free(&list);
    return st ? st : payload->failed ? an_fail(err, AN_NO_MEMORY, "memory ran out") : AN_OK;
}

static enum an_status told_payload(struct an_store *store, int64_t act_id, struct an_doer *doer,
                                   struct an_arena *arena, const char **told, struct an_error *err)
{
    static const char sql[] = "SELECT l.payload, a.system_user, a.host FROM release_act a"
                              " JOIN ledger l ON l.entry = a.entry WHERE a.act_id = $1"
                              " AND l.kind = 'held.release'";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "checking releases", err);
    *told = "";
    if (st) {
        return st;
    }
    an_query_int(&query, act_id);
    st = an_query_row(&query, &found, err);
    if (!st && found) {
        const char *user = an_column_text(&query, 1, arena);
        const char *host = an_column_text(&query, 2, arena);
        *told = an_column_text(&query, 0, arena);
        if (query.no_memory) {
            st = an_fail(err, AN_NO_MEMORY, "checking releases: memory ran out");
        } else {
            (void)snprintf(doer->user, sizeof doer->user, "%s", user);
            (void)snprintf(doer->host, sizeof doer->host, "%s", host);
        }
        an_query_end(&query);
    }
    return st;
}

enum an_status an_store_releases_check(struct an_store *store, bool *sound, struct an_error *err)
{
    struct an_release_act *acts = NULL;
    size_t count = 0;
    struct an_arena *arena = an_arena_open();
    enum an_status st = arena ? AN_OK : an_fail(err, AN_NO_MEMORY, "memory ran out");
    *sound = true;
    st = st ? st : an_store_releases(store, arena, &acts, &count, err);
    for (size_t i = 0; !st && *sound && i < count; i++) {
        struct an_text payload = {0};
        struct an_doer doer = {{0}, {0}};
        const char *told = NULL;
        st = told_payload(store, acts[i].act_id, &doer, arena, &told, err);
        st = st ? st : derive_payload(store, &acts[i], &doer, &payload, err);
        if (!st && strcmp(told, an_text_of(&payload)) != 0) {
            *sound = false;
            (void)an_fail(err, AN_NO_STORE, "release %lld is not as the ledger tells it",
                          (long long)acts[i].act_id);
        }
        an_text_free(&payload);
    }
    an_arena_close(arena);
    return st;
}
