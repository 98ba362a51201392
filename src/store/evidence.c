/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Finds what concerns some items: their rows, acts, files and ledger entries, as numbers in temporary
 * tables. Must never change the store; what is not known as of the handle's moment is not found.
 *
 * The one hard idea: each step is one statement that reads the tables by an index and notes numbers;
 * later steps start from the notes. Links are read as they were recorded, not as they hold, so that
 * what a correction replaced is evidence, too: the moment's cut then comes from the view of files.
 */
#include "andamento/store/evidence.h"

#include "andamento/store/genealogy.h"
#include "store/correction.h"
#include "store/handle.h"
#include "store/hit_row.h"

#include <stdlib.h>
#include <string.h>

static const char doing[] = "gathering evidence";

static const char *const tables[] = {
    "CREATE TEMP TABLE IF NOT EXISTS evidence_item (item_id INTEGER PRIMARY KEY)",
    "CREATE TEMP TABLE IF NOT EXISTS evidence_link (link_id INTEGER PRIMARY KEY)",
    "CREATE TEMP TABLE IF NOT EXISTS evidence_sample (sample_id INTEGER PRIMARY KEY,"
    " stream_id INTEGER NOT NULL, at_us INTEGER NOT NULL)",
    "CREATE INDEX IF NOT EXISTS temp.evidence_sample_by_time ON evidence_sample (stream_id, at_us)",
    "CREATE TEMP TABLE IF NOT EXISTS evidence_signal (signal_id INTEGER PRIMARY KEY)",
    "CREATE TEMP TABLE IF NOT EXISTS evidence_hit (hit_id INTEGER PRIMARY KEY)",
    "CREATE TEMP TABLE IF NOT EXISTS evidence_limits (limits_id INTEGER PRIMARY KEY)",
    "CREATE TEMP TABLE IF NOT EXISTS evidence_correction (correction_id INTEGER PRIMARY KEY)",
    "CREATE TEMP TABLE IF NOT EXISTS evidence_held (held_id INTEGER PRIMARY KEY)",
    "CREATE TEMP TABLE IF NOT EXISTS evidence_release (act_id INTEGER PRIMARY KEY)",
    "CREATE TEMP TABLE IF NOT EXISTS evidence_study (study_id INTEGER PRIMARY KEY)",
    "CREATE TEMP TABLE IF NOT EXISTS evidence_file (file_id INTEGER PRIMARY KEY)",
    "CREATE TEMP TABLE IF NOT EXISTS evidence_entry (entry INTEGER PRIMARY KEY)",
    "DELETE FROM temp.evidence_item",
    "DELETE FROM temp.evidence_link",
    "DELETE FROM temp.evidence_sample",
    "DELETE FROM temp.evidence_signal",
    "DELETE FROM temp.evidence_hit",
    "DELETE FROM temp.evidence_limits",
    "DELETE FROM temp.evidence_correction",
    "DELETE FROM temp.evidence_held",
    "DELETE FROM temp.evidence_release",
    "DELETE FROM temp.evidence_study",
    "DELETE FROM temp.evidence_file",
    "DELETE FROM temp.evidence_entry",
};

#define NOTE(what) "INSERT OR IGNORE INTO temp.evidence_" what " "
#define OF_ITEMS "(SELECT item_id FROM temp.evidence_item)"
#define OF_ENTRIES "(SELECT entry FROM temp.evidence_entry)"
#define OF(what) "(SELECT " what "_id FROM temp.evidence_" what ")"

/* Before held rows are looked through. */
static const char *const first_steps[] = {
    NOTE("link") "SELECT k.link_id FROM main.link k WHERE k.child_id IN " OF_ITEMS
                 " AND k.file_id IN (SELECT file_id FROM file)",
    NOTE("sample") "SELECT s.sample_id, s.stream_id, s.at_us FROM sample s WHERE s.file_id IN"
                   " (SELECT v.file_id FROM visit v WHERE v.item_id IN " OF_ITEMS
                   ") AND +s.item_id IN " OF_ITEMS,
    NOTE("signal") "SELECT g.signal_id FROM signal g WHERE g.stream_id IN"
                   " (SELECT stream_id FROM temp.evidence_sample) AND EXISTS"
                   " (SELECT 1 FROM temp.evidence_sample e WHERE e.stream_id = g.stream_id"
                   " AND e.at_us >= g.first_us AND e.at_us <="
                   " (SELECT max(h.at_us) FROM hit h WHERE h.signal_id = g.signal_id))",
    NOTE("hit") "SELECT h.hit_id FROM hit h WHERE h.signal_id IN " OF(
        "signal") " AND (h.sample_id IN (SELECT sample_id FROM temp.evidence_sample) OR h.hit_id ="
                  " (SELECT min(x.hit_id) FROM hit x WHERE x.signal_id = h.signal_id))",
    /* the newest lock from whose time on a sample was judged */
    NOTE("limits") "SELECT n.limits_id FROM (SELECT (SELECT l.limits_id FROM limits l"
                   " JOIN limits_lock k ON k.limits_id = l.limits_id WHERE"
                   " l.stream_id = e.stream_id AND k.decision = 1 AND k.in_force_us <= e.at_us"
                   " ORDER BY l.limits_id DESC LIMIT 1) AS limits_id"
                   " FROM temp.evidence_sample e) n WHERE n.limits_id IS NOT NULL",
    NOTE("limits") "SELECT g.limits_id FROM signal g WHERE g.signal_id IN " OF(
        "signal") " AND g.limits_id IS NOT NULL",
    NOTE("correction") "SELECT c.correction_id FROM correction c WHERE c.item_id IN " OF_ITEMS
                       " OR c.was_id IN " OF_ITEMS " OR c.is_id IN " OF_ITEMS,
    NOTE("correction") "SELECT c.correction_id FROM corrected_link c WHERE c.link_id IN " OF(
        "link"),
    NOTE("correction") "SELECT c.correction_id FROM temp.evidence_sample e"
                       " JOIN corrected_sample c ON c.sample_id = e.sample_id",
    NOTE("correction") "SELECT c.correction_id FROM correction c WHERE c.undoes IN " OF(
        "correction"),
    NOTE("held") "SELECT w.held_id FROM temp.evidence_item e JOIN item i ON i.item_id = e.item_id"
                 " JOIN waiting w ON w.kind = i.kind AND w.serial = i.serial",
    NOTE("study") "SELECT s.study_id FROM gauge_study s WHERE s.gauge IN"
                  " (SELECT v.gauge FROM visit v WHERE v.item_id IN " OF_ITEMS ")",
};

static const char *const last_steps[] = {
    NOTE("file") "SELECT i.file_id FROM item i WHERE i.item_id IN " OF_ITEMS,
    NOTE("file") "SELECT v.file_id FROM visit v WHERE v.item_id IN " OF_ITEMS,
    NOTE("file") "SELECT k.file_id FROM main.link k WHERE k.link_id IN " OF("link"),
    NOTE("file") "SELECT t.file_id FROM link_trait t WHERE t.link_id IN " OF("link"),
    NOTE("file") "SELECT e.file_id FROM link_end e WHERE e.child_id IN " OF_ITEMS,
    NOTE("file") "SELECT a.file_id FROM alias a WHERE a.item_id IN " OF_ITEMS
                 " OR a.other_id IN " OF_ITEMS,
    NOTE("file") "SELECT h.file_id FROM held h WHERE h.held_id IN " OF("held"),
    NOTE("file") "SELECT c.file_id FROM correction c WHERE c.correction_id IN " OF(
        "correction") " AND c.file_id IS NOT NULL",
    NOTE("release") "SELECT r.act_id FROM release r WHERE r.held_id IN " OF("held"),
    NOTE("release") "SELECT r.act_id FROM release r WHERE r.held_id IS NULL"
                    " AND r.held_file_id IN " OF("file"),
    NOTE("release") "SELECT a.act_id FROM release_act a WHERE a.file_id IN " OF("file"),
    NOTE("file") "SELECT a.file_id FROM release_act a WHERE a.act_id IN"
                 " (SELECT act_id FROM temp.evidence_release)",
    NOTE("entry") "SELECT f.entry FROM file f WHERE f.file_id IN " OF("file"),
    NOTE("entry") "SELECT r.entry FROM line_revision r WHERE r.revision IN"
                  " (SELECT f.line_revision FROM file f WHERE f.file_id IN " OF("file") ")",
    NOTE("entry") "SELECT t.entry FROM stream t WHERE t.entry IS NOT NULL AND t.stream_id IN"
                  " (SELECT stream_id FROM temp.evidence_sample)",
    NOTE("entry") "SELECT l.entry FROM limits l WHERE l.limits_id IN " OF("limits"),
    NOTE("entry") "SELECT k.entry FROM limits_lock k WHERE k.limits_id IN " OF("limits"),
    NOTE("entry") "SELECT g.entry FROM signal g WHERE g.signal_id IN " OF("signal"),
    NOTE("entry") "SELECT h.entry FROM hit h WHERE h.hit_id IN " OF("hit"),
    NOTE("entry") "SELECT w.entry FROM hit_withdrawal w WHERE w.hit_id IN " OF("hit"),
    NOTE("entry") "SELECT a.entry FROM answer a WHERE a.signal_id IN " OF("signal"),
    NOTE("entry") "SELECT c.entry FROM correction c WHERE c.correction_id IN " OF("correction"),
    NOTE("entry") "SELECT a.entry FROM release_act a WHERE a.act_id IN"
                  " (SELECT act_id FROM temp.evidence_release)",
    NOTE("entry") "SELECT s.entry FROM gauge_study s WHERE s.study_id IN " OF("study"),
    NOTE("entry") "SELECT s.entry FROM act_signature s WHERE s.signed_entry IN " OF_ENTRIES,
    NOTE("entry") "SELECT k.entry FROM signing_key k WHERE k.key_id IN (SELECT s.key_id"
                  " FROM act_signature s WHERE s.signed_entry IN " OF_ENTRIES ")",
    NOTE("entry") "SELECT r.entry FROM key_retirement r WHERE r.key_id IN (SELECT s.key_id"
                  " FROM act_signature s WHERE s.signed_entry IN " OF_ENTRIES ")",
    /* what was dropped after the moment is told, and has no leaf yet */
    NOTE("entry") "SELECT r.entry FROM retention r JOIN ledger l ON l.entry = r.entry"
                  " WHERE r.retention_id IN (SELECT d.retention_id FROM retention_file d"
                  " WHERE d.file_id IN " OF("file") ")",
};

/* Temporary tables are no change of the store, but SQLite takes them for one. */
static enum an_status allow(struct an_store *store, bool on, struct an_error *err)
{
    return store->can_write
               ? AN_OK
               : an_sql_run(store, on ? "PRAGMA query_only = OFF" : "PRAGMA query_only = ON", doing,
                            err);
}

static enum an_status run_all(struct an_store *store, const char *const sql[], size_t count,
                              struct an_error *err)
{
    enum an_status st = AN_OK;
    for (size_t i = 0; !st && i < count; i++) {
        st = an_sql_run(store, sql[i], doing, err);
    }
    return st;
}

/* On failure, too, the handle is left as it was. */
static enum an_status disallow(struct an_store *store, enum an_status st, struct an_error *err)
{
    const enum an_status after = allow(store, false, st ? NULL : err);
    return st ? st : after;
}

enum an_status an_evidence_begin(struct an_store *store, struct an_error *err)
{
    enum an_status st = allow(store, true, err);
    st = st ? st : run_all(store, tables, sizeof tables / sizeof *tables, err);
    return disallow(store, st, err);
}

static enum an_status note_number(struct an_store *store, const char *sql, int64_t number,
                                  struct an_error *err)
{
    struct an_query query;
    const enum an_status st = an_query_start(&query, store, sql, doing, err);
    if (st) {
        return st;
    }
    an_query_int(&query, number);
    return an_query_run(&query, err);
}

enum an_status an_evidence_add(struct an_store *store, int64_t item_id, struct an_error *err)
{
    static const char sql[] = NOTE("item") "VALUES ($1)";
    struct an_arena *arena = an_arena_open();
    struct an_known_as *known = NULL;
    size_t count = 0;
    enum an_status st =
        arena ? allow(store, true, err) : an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing);
    st = st ? st : note_number(store, sql, item_id, err);
    st = st ? st : an_store_aliases(store, item_id, arena, &known, &count, err);
    for (size_t i = 0; !st && i < count; i++) {
        st = note_number(store, sql, known[i].item.item_id, err);
    }
    st = arena ? disallow(store, st, err) : st;
    an_arena_close(arena);
    return st;
}

/* ---- held rows that name an item ------------------------------------------------------------------ */
static int by_text(const void *a, const void *b)
{
    const struct an_bytes *x = a;
    const struct an_bytes *y = b;
    return an_bytes_compare(*x, *y);
}

static void read_serial(struct an_query *query, struct an_arena *arena, void *row)
{
    *(struct an_bytes *)row = an_column_bytes(query, 0, arena);
}

/* Is one of its fields one of the serials? Fields end at any of the separators that stations use. */
static bool names_one(struct an_bytes raw, const struct an_bytes *serials, size_t count)
{
    size_t from = 0;
    for (size_t i = 0; i <= raw.length; i++) {
        if (i < raw.length && !memchr(",;\t|\"'\r\n", raw.at[i], 8)) {
            continue;
        }
        const struct an_bytes field = an_bytes_trim((struct an_bytes){raw.at + from, i - from});
        if (field.length && bsearch(&field, serials, count, sizeof *serials, by_text)) {
            return true;
        }
        from = i + 1;
    }
    return false;
}

static enum an_status note_held(struct an_store *store, struct an_error *err)
{
    static const char serial_sql[] =
        "SELECT i.serial FROM item i WHERE i.item_id IN " OF_ITEMS
        " UNION SELECT c.serial FROM correction c WHERE c.correction_id IN " OF(
            "correction") " AND c.serial IS NOT NULL";
    static const char held_sql[] = "SELECT held_id, raw FROM held";
    static const char note_sql[] = NOTE("held") "VALUES ($1)";
    struct an_arena *arena = an_arena_open();
    struct an_query query;
    void *rows = NULL;
    size_t count = 0;
    bool more = false;
    enum an_status st = arena ? an_query_start(&query, store, serial_sql, doing, err)
                              : an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing);
    st = st ? st
            : an_query_collect(&query, sizeof(struct an_bytes), read_serial, arena, &rows, &count,
                               err);
    if (!st && count) {
        qsort(rows, count, sizeof(struct an_bytes), by_text);
    }
    st = st ? st : an_query_start(&query, store, held_sql, doing, err);
    if (!st) {
        while (!(st = an_query_row(&query, &more, err)) && more) {
            const int64_t held_id = an_column_int(&query, 0);
            const struct an_bytes raw = {sqlite3_column_blob(query.stmt, 1),
                                         (size_t)sqlite3_column_bytes(query.stmt, 1)};
            if (raw.at && count && names_one(raw, rows, count)) {
                st = note_number(store, note_sql, held_id, err);
                if (st) {
                    break;
                }
            }
        }
        an_query_end(&query);
    }
    an_arena_close(arena);
    return st;
}

enum an_status an_evidence_gather(struct an_store *store, struct an_error *err)
{
    enum an_status st = allow(store, true, err);
    st = st ? st : run_all(store, first_steps, sizeof first_steps / sizeof *first_steps, err);
    st = st ? st : note_held(store, err);
    st = st ? st : run_all(store, last_steps, sizeof last_steps / sizeof *last_steps, err);
    return disallow(store, st, err);
}

/* ---- sources --------------------------------------------------------------------------------------- */
static void read_source(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_evidence_source *source = row;
    source->kind = (enum an_source_kind)an_column_int(query, 0);
    source->id = an_column_int(query, 1);
    source->entry = an_column_int(query, 2);
    (void)an_column_hash(query, 3, &source->hash); /* its length is checked by the table */
    source->kept = an_column_int(query, 4) != 0;
    source->name = an_column_text(query, 5, arena);
}

enum an_status an_evidence_sources(struct an_store *store, struct an_arena *arena,
                                   struct an_evidence_source **sources, size_t *count,
                                   struct an_error *err)
{
    static const char sql[] =
        "SELECT 0, f.file_id, f.entry, f.hash, EXISTS (SELECT 1 FROM original o"
        " WHERE o.hash = f.hash), f.name FROM file f WHERE f.file_id IN " OF(
            "file") " UNION ALL SELECT 1, r.revision, r.entry, r.hash, 1, 'line description ' || r.revision"
                    " FROM line_revision r WHERE r.entry IN (SELECT entry FROM temp.evidence_entry)"
                    " UNION ALL SELECT 2, s.study_id, s.entry, s.hash, 1, s.file FROM gauge_study s"
                    " WHERE s.study_id IN " OF("study") " ORDER BY 1, 2";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, doing, err);
    st =
        st ? st : an_query_collect(&query, sizeof **sources, read_source, arena, &rows, count, err);
    *sources = rows;
    return st;
}

enum an_status an_evidence_source_read(struct an_store *store,
                                       const struct an_evidence_source *source,
                                       int (*sink)(void *context, const void *at, size_t length),
                                       void *context, struct an_error *err)
{
    static const char line_sql[] = "SELECT yaml FROM line_revision WHERE revision = $1";
    static const char study_sql[] = "SELECT data FROM gauge_study WHERE study_id = $1";
    struct an_query query;
    bool found = false;
    if (source->kind == AN_SOURCE_FILE) {
        return an_store_original_read(store, &source->hash, sink, context, err);
    }
    enum an_status st = an_query_start(
        &query, store, source->kind == AN_SOURCE_LINE ? line_sql : study_sql, doing, err);
    if (st) {
        return st;
    }
    an_query_int(&query, source->id);
    st = an_query_row(&query, &found, err);
    if (st) {
        return st;
    }
    const void *at = found ? sqlite3_column_blob(query.stmt, 0) : NULL;
    const size_t length = found ? (size_t)sqlite3_column_bytes(query.stmt, 0) : 0;
    if (!found) {
        st = an_fail(err, AN_NOT_FOUND, "'%s' is not in '%s'", source->name, store->path);
    } else if (length && sink(context, at ? at : "", at ? length : 0)) {
        st = an_fail(err, AN_IO, "handing on an original was stopped by its receiver");
    }
    an_query_end(&query);
    return st;
}

/* ---- readings -------------------------------------------------------------------------------------- */
static void read_name(struct an_query *query, struct an_arena *arena, void *row)
{
    *(const char **)row = an_column_text(query, 0, arena);
}

enum an_status an_evidence_columns(struct an_store *store, int64_t file_id, struct an_arena *arena,
                                   const char ***names, size_t *count, struct an_error *err)
{
    static const char sql[] = "SELECT column_name FROM block WHERE file_id = $1"
                              " AND column_name NOT IN ('" AN_COLUMN_LINE "', '" AN_COLUMN_VISIT
                              "') GROUP BY column_name ORDER BY min(block_id)";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, doing, err);
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    st = an_query_collect(&query, sizeof **names, read_name, arena, &rows, count, err);
    *names = rows;
    return st;
}

struct visit_row {
    int64_t visit_id;
    const char *serial;
};

static void read_visit(struct an_query *query, struct an_arena *arena, void *row)
{
    struct visit_row *visit = row;
    visit->visit_id = an_column_int(query, 0);
    visit->serial = an_column_text(query, 1, arena);
}

enum an_status an_evidence_visits(struct an_store *store, int64_t file_id, struct an_arena *arena,
                                  int64_t **visit_ids, const char ***serials, size_t *count,
                                  struct an_error *err)
{
    static const char sql[] = "SELECT v.visit_id, i.serial FROM visit v"
                              " JOIN item i ON i.item_id = v.item_id WHERE v.file_id = $1"
                              " AND +v.item_id IN " OF_ITEMS " ORDER BY v.visit_id";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, doing, err);
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    st = an_query_collect(&query, sizeof(struct visit_row), read_visit, arena, &rows, count, err);
    if (st) {
        return st;
    }
    const struct visit_row *visits = rows;
    *visit_ids = an_arena_alloc(arena, *count + 1, sizeof **visit_ids);
    *serials = an_arena_alloc(arena, *count + 1, sizeof **serials);
    if (!*visit_ids || !*serials) {
        return an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing);
    }
    for (size_t i = 0; i < *count; i++) {
        (*visit_ids)[i] = visits[i].visit_id;
        (*serials)[i] = visits[i].serial;
    }
    return AN_OK;
}

/* ---- entries --------------------------------------------------------------------------------------- */
enum an_status an_evidence_next_entry(struct an_store *store, int64_t after, bool *found,
                                      int64_t *entry, struct an_error *err)
{
    static const char sql[] = "SELECT entry FROM temp.evidence_entry WHERE entry > $1"
                              " ORDER BY entry LIMIT 1";
    struct an_query query;
    enum an_status st = an_query_start(&query, store, sql, doing, err);
    *found = false;
    if (st) {
        return st;
    }
    an_query_int(&query, after);
    st = an_query_row(&query, found, err);
    if (!st && *found) {
        *entry = an_column_int(&query, 0);
    }
    an_query_end(&query);
    return st;
}

enum an_status an_evidence_hit_lines(struct an_store *store, int64_t entry, struct an_text *lines,
                                     struct an_error *err)
{
    /* rows of one entry stand together: 1,000 at most, one of which is noted */
    static const char sql[] =
        "SELECT h.hit_id, h.signal_id, h.stream_id, h.sample_id, h.at_us, h.window_first_sample_id,"
        " h.rule, h.panel, h.side, h.value, h.z, h.known_us FROM hit h WHERE h.entry = $1"
        " AND h.hit_id BETWEEN (SELECT min(x.hit_id) FROM temp.evidence_hit n"
        " JOIN hit x ON x.hit_id = n.hit_id WHERE x.entry = $1) - 1000"
        " AND (SELECT max(x.hit_id) FROM temp.evidence_hit n"
        " JOIN hit x ON x.hit_id = n.hit_id WHERE x.entry = $1) + 1000 ORDER BY h.hit_id";
    struct an_query query;
    bool more = false;
    enum an_status st = an_query_start(&query, store, sql, doing, err);
    if (st) {
        return st;
    }
    an_query_int(&query, entry);
    while (!(st = an_query_row(&query, &more, err)) && more) {
        const struct an_hit_row hit = {.hit_id = an_column_int(&query, 0),
                                       .signal_id = an_column_int(&query, 1),
                                       .stream_id = an_column_int(&query, 2),
                                       .sample_id = an_column_int(&query, 3),
                                       .at_us = an_column_int(&query, 4),
                                       .window_first_sample_id = an_column_int(&query, 5),
                                       .rule = an_column_int(&query, 6),
                                       .panel = an_column_int(&query, 7),
                                       .side = an_column_int(&query, 8),
                                       .value = an_column_real(&query, 9),
                                       .z = an_column_real(&query, 10),
                                       .known_us = an_column_int(&query, 11)};
        an_hit_row_add(lines, &hit);
    }
    an_query_end(&query);
    return !st && lines->failed ? an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing) : st;
}
