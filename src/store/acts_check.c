/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Records of acts against their ledger entries, both ways. Must never pass over a column in silence:
 * one of which no entry tells, and that is not in the list below, is itself a finding.
 *
 * The one idea: the payload of an entry names what it tells by the column's own name (texts that may
 * be long, by "NAME_sha256"), so one comparison serves every table that has a column "entry".
 */
#include "andamento/store/verify.h"
#include "store/handle.h"
#include "store/hit_row.h"

#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { MOST_FINDINGS = 20 }; /* of one table; the rest are counted */

static const char doing[] = "comparing records with the ledger";

struct row {
    sqlite3_stmt *stmt;
    const char *table, *kind;
    json_t *payload;
    sqlite3 *db;
    int64_t number; /* of the table's rows in order of their entries, from 1 */
};

struct checking {
    struct an_store *store;
    an_finding *finding;
    void *context;
    struct an_acts_counts *counts;
    struct an_arena *arena;
    size_t told; /* findings of the table at hand */
};

static void tell(struct checking *c, const char *format, ...) AN_PRINTF(2, 3);
static void tell(struct checking *c, const char *format, ...)
{
    char text[600];
    va_list args;

    if (c->told++ < MOST_FINDINGS) {
        va_start(args, format);
        (void)vsnprintf(text, sizeof text, format, args);
        va_end(args);
        c->finding(c->context, text);
    }
}

static void end_table(struct checking *c, const char *table)
{
    char text[200];

    if (c->told > MOST_FINDINGS) {
        (void)snprintf(text, sizeof text, "table %s: %zu more like these", table,
                       c->told - MOST_FINDINGS);
        c->finding(c->context, text);
    }
    c->told = 0;
}

/* ---- columns told otherwise ---------------------------------------------------------------------- */
static int column_of(const struct row *row, const char *name)
{
    for (int c = 0; c < sqlite3_column_count(row->stmt); c++) {
        if (strcmp(sqlite3_column_name(row->stmt, c), name) == 0) {
            return c;
        }
    }
    return -1;
}

static struct an_bytes bytes_at(const struct row *row, int column)
{
    return (struct an_bytes){sqlite3_column_blob(row->stmt, column),
                             (size_t)sqlite3_column_bytes(row->stmt, column)};
}

/* SHA-256 of the column is what stands in column "hash", of which the entry tells. */
static bool hashed_beside(const struct row *row, int column)
{
    const struct an_bytes bytes = bytes_at(row, column);
    const struct an_bytes hash = bytes_at(row, column_of(row, "hash"));
    const struct an_sha256 is = an_sha256_of(bytes.at, bytes.length);

    return hash.length == sizeof is.at && memcmp(hash.at, is.at, sizeof is.at) == 0;
}

static bool locked_by_kind(const struct row *row, int column)
{
    return sqlite3_column_int(row->stmt, column) ==
           (strcmp(row->kind, "limits.locked") == 0 ? 1 : 2);
}

static bool act_by_kind(const struct row *row, int column)
{
    static const char *const kinds[] = {"", "collector.start", "collector.stop", "collector.clock",
                                        "collector.signal"};
    const int act = sqlite3_column_int(row->stmt, column);

    return act >= 1 && act <= 4 && strcmp(kinds[act], row->kind) == 0;
}

static bool cause_in_words(const struct row *row, int column)
{
    static const char *const words[] = {"", "person", "item came", "description changed"};
    const int cause = sqlite3_column_int(row->stmt, column);
    const json_t *told = json_object_get(row->payload, "cause");

    return cause >= 1 && cause <= 3 && json_is_string(told) &&
           strcmp(json_string_value(told), words[cause]) == 0;
}

/* A hit repeats the stream of its signal. */
static bool stream_of_signal(const struct row *row, int column)
{
    sqlite3_stmt *stmt = NULL;
    bool same = false;

    if (sqlite3_prepare_v2(row->db, "SELECT stream_id FROM signal WHERE signal_id = $1", -1, &stmt,
                           NULL) == SQLITE_OK &&
        sqlite3_bind_int64(stmt, 1, sqlite3_column_int64(row->stmt, column_of(row, "signal_id"))) ==
            SQLITE_OK) {
        same = sqlite3_step(stmt) == SQLITE_ROW &&
               sqlite3_column_int64(stmt, 0) == sqlite3_column_int64(row->stmt, column);
    }
    (void)sqlite3_finalize(stmt);
    return same;
}

static bool name_of_parts(const struct row *row, int column)
{
    struct an_text name = {0};
    const struct an_bytes split = bytes_at(row, column_of(row, "split"));

    an_text_add_bytes(&name, bytes_at(row, column_of(row, "station")));
    an_text_add_char(&name, '.');
    an_text_add_bytes(&name, bytes_at(row, column_of(row, "characteristic")));
    if (split.length) {
        an_text_add_char(&name, '@');
        an_text_add_bytes(&name, split);
    }
    const bool same =
        !name.failed && an_bytes_equal(an_bytes_of(an_text_of(&name)), bytes_at(row, column));
    an_text_free(&name);
    return same;
}

/* Numbers that SQLite gave: in the order of the entries, without a gap. */
static bool counts_up(const struct row *row, int column)
{
    return sqlite3_column_int64(row->stmt, column) == row->number;
}

static const struct {
    const char *table, *column;
    bool (*is_right)(const struct row *row, int column);
} told_otherwise[] = {
    {"line_revision", "yaml", hashed_beside},    {"gauge_study", "data", hashed_beside},
    {"limits_lock", "decision", locked_by_kind}, {"collector_event", "act", act_by_kind},
    {"collector_event", "event_id", counts_up},  {"release_act", "cause", cause_in_words},
    {"hit", "stream_id", stream_of_signal},      {"stream", "name", name_of_parts},
    {"running", "running_id", counts_up},
};

/* ---- a column against the payload ------------------------------------------------------------------ */
static bool is_hex_of(const json_t *told, struct an_bytes hash)
{
    struct an_sha256 value;
    char hex[65];

    if (!json_is_string(told) || hash.length != sizeof value.at) {
        return false;
    }
    memcpy(value.at, hash.at, sizeof value.at);
    return strcmp(json_string_value(told), an_sha256_hex(&value, hex)) == 0;
}

static bool same_value(const struct row *row, int column, const json_t *told)
{
    const struct an_bytes bytes = bytes_at(row, column);

    switch (sqlite3_column_type(row->stmt, column)) {
    case SQLITE_NULL:
        return json_is_null(told) || (json_is_string(told) && json_string_length(told) == 0);
    case SQLITE_INTEGER:
        return (json_is_integer(told) &&
                json_integer_value(told) == sqlite3_column_int64(row->stmt, column)) ||
               (json_is_boolean(told) &&
                (json_boolean_value(told) ? 1 : 0) == sqlite3_column_int64(row->stmt, column));
    case SQLITE_FLOAT:
        return json_is_number(told) &&
               json_number_value(told) == sqlite3_column_double(row->stmt, column);
    case SQLITE_TEXT:
        return bytes.length == 0
                   ? json_is_null(told) || json_string_length(told) == 0
                   : json_is_string(told) && json_string_length(told) == bytes.length &&
                         memcmp(json_string_value(told), bytes.at, bytes.length) == 0;
    default:
        return is_hex_of(told, bytes);
    }
}

enum verdict { RIGHT, WRONG, NOT_TOLD };

static enum verdict judge_column(const struct row *row, int column)
{
    const char *name = sqlite3_column_name(row->stmt, column);
    char long_name[80];
    const json_t *told = json_object_get(row->payload, name);

    for (size_t i = 0; i < sizeof told_otherwise / sizeof *told_otherwise; i++) {
        if (strcmp(told_otherwise[i].table, row->table) == 0 &&
            strcmp(told_otherwise[i].column, name) == 0) {
            return told_otherwise[i].is_right(row, column) ? RIGHT : WRONG;
        }
    }
    if (told) {
        return same_value(row, column, told) ? RIGHT : WRONG;
    }
    (void)snprintf(long_name, sizeof long_name, "%s_sha256", name);
    told = json_object_get(row->payload, long_name);
    if (told) {
        const struct an_bytes text = bytes_at(row, column);
        const struct an_sha256 is = an_sha256_of(text.at, text.length);

        return is_hex_of(told, (struct an_bytes){is.at, sizeof is.at}) ? RIGHT : WRONG;
    }
    if (strcmp(name, "hash") == 0) {
        told = json_object_get(row->payload, "sha256");
        return told && is_hex_of(told, bytes_at(row, column)) ? RIGHT : WRONG;
    }
    return sqlite3_column_type(row->stmt, column) == SQLITE_NULL ? RIGHT : NOT_TOLD;
}

static void judge_row(struct checking *c, struct row *row, int first)
{
    const long long id = sqlite3_column_int64(row->stmt, first);
    const char *payload = (const char *)sqlite3_column_text(row->stmt, 1);

    row->kind = (const char *)sqlite3_column_text(row->stmt, 0);
    row->payload = payload ? json_loads(payload, JSON_REJECT_DUPLICATES, NULL) : NULL;
    if (!row->kind || !json_is_object(row->payload)) {
        tell(c, "table %s, row %lld: the ledger has no entry of it", row->table, id);
        json_decref(row->payload);
        return;
    }
    for (int column = first; column < sqlite3_column_count(row->stmt); column++) {
        const char *name = sqlite3_column_name(row->stmt, column);
        if (strcmp(name, "entry") == 0) {
            continue;
        }
        const enum verdict verdict = judge_column(row, column);
        if (verdict == WRONG) {
            tell(c, "table %s, row %lld: %s is not what ledger entry %lld tells", row->table, id,
                 name, (long long)sqlite3_column_int64(row->stmt, column_of(row, "entry")));
        } else if (verdict == NOT_TOLD) {
            tell(c, "table %s, row %lld: no entry of the ledger tells of %s", row->table, id, name);
        }
    }
    json_decref(row->payload);
    c->counts->records++;
}

/* ---- tables ---------------------------------------------------------------------------------------- */
/* Runs SQL made here: names of tables come from the schema. */
static enum an_status prepare(struct checking *c, const char *sql, sqlite3_stmt **stmt,
                              struct an_error *err)
{
    if (!sql) {
        return an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing);
    }
    return an_sql_fail(c->store, sqlite3_prepare_v2(c->store->db, sql, -1, stmt, NULL), doing, err);
}

/* ---- hits, of which many share an entry ------------------------------------------------------------- */
struct hits {
    int64_t entry; /* -1: none is at hand */
    json_t *payload;
    int64_t count, first_id, last_id;
    struct an_text lines;
};

static int64_t told_integer(const struct hits *h, const char *name)
{
    const json_t *told = json_object_get(h->payload, name);
    return json_is_integer(told) ? json_integer_value(told) : -1;
}

/* All rows of the entry at hand were met. */
static enum an_status end_hits(struct checking *c, struct hits *h, struct an_error *err)
{
    const struct an_sha256 is = an_sha256_of(an_text_of(&h->lines), h->lines.length);
    const bool failed = h->lines.failed;

    if (h->entry >= 0 && !failed) {
        const int64_t count = told_integer(h, "count");
        const long long first = told_integer(h, "first_hit_id");
        const long long last = told_integer(h, "last_hit_id");

        if (count != h->count || first != h->first_id || last != h->last_id) {
            tell(c,
                 "table hit: %lld rows, %lld to %lld, name ledger entry %lld, which tells of %lld "
                 "rows, %lld to %lld",
                 (long long)h->count, (long long)h->first_id, (long long)h->last_id,
                 (long long)h->entry, (long long)count, first, last);
        } else if (!is_hex_of(json_object_get(h->payload, "hits_sha256"),
                              (struct an_bytes){is.at, sizeof is.at})) {
            tell(c, "table hit, rows %lld to %lld: they are not what ledger entry %lld tells",
                 first, last, (long long)h->entry);
        }
    }
    json_decref(h->payload);
    an_text_free(&h->lines);
    *h = (struct hits){.entry = -1};
    return failed ? an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing) : AN_OK;
}

static int64_t integer_at(const struct row *row, const char *name)
{
    return sqlite3_column_int64(row->stmt, column_of(row, name));
}

static double real_at(const struct row *row, const char *name)
{
    const int column = column_of(row, name);
    return sqlite3_column_type(row->stmt, column) == SQLITE_NULL
               ? (double)NAN
               : sqlite3_column_double(row->stmt, column);
}

static enum an_status add_hit(struct checking *c, struct hits *h, const struct row *row,
                              struct an_error *err)
{
    const int64_t entry = integer_at(row, "entry");
    enum an_status st = entry == h->entry ? AN_OK : end_hits(c, h, err);
    const struct an_hit_row hit = {
        .hit_id = integer_at(row, "hit_id"),
        .signal_id = integer_at(row, "signal_id"),
        .stream_id = integer_at(row, "stream_id"),
        .sample_id = integer_at(row, "sample_id"),
        .at_us = integer_at(row, "at_us"),
        .window_first_sample_id = integer_at(row, "window_first_sample_id"),
        .rule = integer_at(row, "rule"),
        .panel = integer_at(row, "panel"),
        .side = integer_at(row, "side"),
        .value = real_at(row, "value"),
        .z = real_at(row, "z"),
        .known_us = integer_at(row, "known_us"),
    };

    if (!h->count) {
        const char *payload = (const char *)sqlite3_column_text(row->stmt, 1);

        h->entry = entry;
        h->payload = payload ? json_loads(payload, JSON_REJECT_DUPLICATES, NULL) : NULL;
        h->first_id = hit.hit_id;
    }
    h->last_id = hit.hit_id;
    h->count++;
    an_hit_row_add(&h->lines, &hit);
    c->counts->records++;
    return st;
}

/* Those of an entry that tells of many: the rest is for judge_row. */
static bool is_of_hits(const struct row *row)
{
    const char *kind = (const char *)sqlite3_column_text(row->stmt, 0);
    return strcmp(row->table, "hit") == 0 && kind && strcmp(kind, AN_HITS_KIND) == 0;
}

static enum an_status check_table(struct checking *c, const char *table, struct an_error *err)
{
    struct row row = {.table = table, .db = c->store->db};
    struct hits hits = {.entry = -1};
    const char *sql = an_arena_printf(c->arena,
                                      "SELECT l.kind, l.payload, t.* FROM \"%s\" t"
                                      " LEFT JOIN ledger l ON l.entry = t.entry"
                                      " WHERE t.entry IS NOT NULL ORDER BY t.entry%s",
                                      table, strcmp(table, "hit") == 0 ? ", t.hit_id" : "");
    enum an_status st = prepare(c, sql, &row.stmt, err);
    int64_t before = -1;
    int rc = SQLITE_DONE;

    while (!st && (rc = sqlite3_step(row.stmt)) == SQLITE_ROW) {
        const int64_t entry = sqlite3_column_int64(row.stmt, column_of(&row, "entry"));
        row.number++;
        if (is_of_hits(&row)) {
            st = add_hit(c, &hits, &row, err);
            continue;
        }
        if (entry == before) {
            tell(c, "table %s, row %lld: ledger entry %lld is that of another row", table,
                 (long long)sqlite3_column_int64(row.stmt, 2), (long long)entry);
        }
        before = entry;
        judge_row(c, &row, 2);
    }
    if (!st && rc != SQLITE_DONE) {
        st = an_sql_fail(c->store, rc, doing, err);
    }
    (void)sqlite3_finalize(row.stmt);
    const enum an_status ended = end_hits(c, &hits, err);
    st = st ? st : ended;
    end_table(c, table);
    return st;
}

/* Each entry of such a kind has a row of that table. */
static const struct {
    const char *kind, *table;
} homes[] = {
    {"line", "line_revision"},
    {"file.taken", "file"},
    {"file.held", "file"},
    {"file.seen_again", "file_sighting"},
    {"limits.proposed", "limits"},
    {"limits.locked", "limits_lock"},
    {"limits.refused", "limits_lock"},
    {"signal", "signal"},
    {"signal.hit", "hit"}, /* one by one, before they shared entries */
    {AN_HITS_KIND, "hit"},
    {"signal.hit_withdrawn", "hit_withdrawal"},
    {"signal.answered", "answer"},
    {"judged", "judged"},
    {"running", "running"},
    {"held.release", "release_act"},
    {"retention", "retention"},
    {"collector.start", "collector_event"},
    {"collector.stop", "collector_event"},
    {"collector.clock", "collector_event"},
    {"collector.signal", "collector_event"},
    {"gauge.study", "gauge_study"},
    {"stream", "stream"},
    {"correction", "correction"},
    {"key.added", "signing_key"},
    {"key.retired", "key_retirement"},
    {"act.signed", "act_signature"},
    {"head.signed", "signed_head"},
};

static enum an_status check_kind(struct checking *c, size_t home, struct an_error *err)
{
    sqlite3_stmt *stmt = NULL;
    const char *sql = an_arena_printf(
        c->arena,
        "SELECT entry FROM ledger WHERE kind = '%s' EXCEPT SELECT entry FROM \"%s\" ORDER BY 1",
        homes[home].kind, homes[home].table);
    enum an_status st = prepare(c, sql, &stmt, err);
    int rc = SQLITE_DONE;

    while (!st && (rc = sqlite3_step(stmt)) == SQLITE_ROW) {
        tell(c, "ledger entry %lld (%s): table %s has no row of it",
             (long long)sqlite3_column_int64(stmt, 0), homes[home].kind, homes[home].table);
    }
    if (!st && rc != SQLITE_DONE) {
        st = an_sql_fail(c->store, rc, doing, err);
    }
    (void)sqlite3_finalize(stmt);
    end_table(c, homes[home].table);
    return st;
}

static void read_name(struct an_query *query, struct an_arena *arena, void *row)
{
    const char **name = row;
    *name = an_column_text(query, 0, arena);
}

enum an_status an_store_acts_check(struct an_store *store, an_finding *finding, void *context,
                                   struct an_acts_counts *counts, struct an_error *err)
{
    static const char sql[] =
        "SELECT s.name FROM sqlite_schema s WHERE s.type = 'table' AND s.name NOT LIKE 'sqlite%'"
        " AND s.name NOT IN ('file', 'ledger') AND EXISTS"
        " (SELECT 1 FROM pragma_table_info(s.name) WHERE name = 'entry') ORDER BY s.name";
    struct checking c = {store, finding, context, counts, an_arena_open(), 0};
    struct an_query query;
    void *rows = NULL;
    size_t count = 0;
    enum an_status st = c.arena ? an_query_start(&query, store, sql, doing, err)
                                : an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing);

    *counts = (struct an_acts_counts){0, 0};
    st =
        st ? st
           : an_query_collect(&query, sizeof(const char *), read_name, c.arena, &rows, &count, err);
    const char **names = rows;
    for (size_t i = 0; !st && i < count; i++) {
        st = check_table(&c, names[i], err);
    }
    for (size_t i = 0; !st && i < sizeof homes / sizeof *homes; i++) {
        st = check_kind(&c, i, err);
    }
    an_arena_close(c.arena);
    return st;
}
