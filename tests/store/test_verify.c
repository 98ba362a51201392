/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What verifying finds: each column of each record of an act changed behind the program's back, each
 * record deleted, each object of the schema dropped; and nothing in a store that is whole. Columns
 * and tables are taken from the schema, so those of tomorrow are looked at too.
 */
#include "andamento/base/instant.h"
#include "andamento/base/text.h"
#include "andamento/store/collector.h"
#include "andamento/store/gauge.h"
#include "andamento/store/proof.h"
#include "andamento/store/verify.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char found[8][400]; /* the first findings */
static size_t findings;

static void note(void *context, const char *text)
{
    (void)context;
    if (findings < 8) {
        (void)snprintf(found[findings], sizeof found[0], "%s", text);
    }
    findings++;
}

static struct an_store *open_to(const char *path, enum an_store_mode mode)
{
    struct an_error err;
    struct an_store *store = NULL;
    OK(an_store_open(path, mode, &store, &err));
    return store;
}

static size_t acts_of(const char *path, struct an_acts_counts *counts)
{
    struct an_error err;
    struct an_store *store = open_to(path, AN_STORE_READ);
    findings = 0;
    OK(an_store_acts_check(store, note, NULL, counts, &err));
    an_store_close(store);
    return findings;
}

static size_t shape_of(const char *path)
{
    struct an_error err;
    struct an_store *store = open_to(path, AN_STORE_READ);
    findings = 0;
    OK(an_store_shape_check(store, note, NULL, &err));
    an_store_close(store);
    return findings;
}

static void add_acts(struct an_store *store, int64_t file_id)
{
    struct an_error err;
    struct an_answer answer = {.signal_id = 1, .author = "A", .cause = "c", .reason = "r"};
    struct an_gauge_record study = {.gauge = "G7",
                                    .kind = 2,
                                    .reading = "x",
                                    .reference_value = 1.5,
                                    .tolerance = (double)NAN,
                                    .pool_above = 0.25,
                                    .file = "g.csv",
                                    .data = an_bytes_of("x\n1\n"),
                                    .grade = 1,
                                    .verdict = "good",
                                    .author = "A",
                                    .reason = "r"};
    const struct an_collector_event events[] = {
        {.act = AN_COLLECTOR_START, .boot = "b", .detail = "began", .signal_id = 1},
        {.act = AN_COLLECTOR_CLOCK, .boot = "b", .detail = "clock", .step_us = 5},
        {.act = AN_COLLECTOR_STOP, .boot = "b", .detail = "ended"}};
    OK(an_store_put_answer(store, &answer, &err));
    OK(an_store_put_gauge_study(store, &study, &err));
    for (size_t k = 0; k < 3; k++) {
        OK(an_store_put_collector_event(store, &events[k], &err));
    }
    OK(an_store_begin(store, &err));
    OK(an_store_put_sighting(store, file_id, "again.csv", &err));
    OK(an_store_commit(store, &err));
}

static const char *made(void)
{
    static char path[300];
    struct an_error err;
    struct filled filled;
    (void)snprintf(path, sizeof path, "%s", scratch_path("v.store"));
    struct an_store *store = open_to(path, AN_STORE_CREATE);
    OK(fill_committed(store, 1, &filled, &err));
    OK(decide_all(store, &filled, &err));
    OK(decide_keys(store, &err));
    add_acts(store, filled.file_id);
    an_store_close(store);
    return path;
}

START_TEST(nothing_in_a_whole_store)
{
    struct an_acts_counts counts;
    const char *path = made();
    ck_assert_msg(acts_of(path, &counts) == 0, "%s", found[0]);
    ck_assert_int_ge(counts.records, 12);
    ck_assert_msg(shape_of(path) == 0, "%s", found[0]);
}
END_TEST

/* One change by SQL of the test's own, with triggers, references and checks out of the way, undone
 * by putting the file's copy back. */
static void copy_file(const char *from, const char *to)
{
    char buffer[65536];
    FILE *in = fopen(from, "rb");
    FILE *out = fopen(to, "wb");
    ck_assert(in && out);
    for (size_t got; (got = fread(buffer, 1, sizeof buffer, in)) > 0;) {
        ck_assert_uint_eq(fwrite(buffer, 1, got, out), got);
    }
    ck_assert_int_eq(fclose(in) | fclose(out), 0);
}

static void change(const char *path, const char *table, const char *verb, const char *sql)
{
    char text[2000];
    (void)snprintf(text, sizeof text,
                   "PRAGMA foreign_keys = OFF; PRAGMA ignore_check_constraints = ON;"
                   " DROP TRIGGER IF EXISTS %s_no_%s; %s",
                   table, verb, sql);
    char why[200] = "";
    const int rc = run_sql(path, text, why);
    ck_assert_msg(rc == SQLITE_OK, "%s: %s", sql, why);
}

/* Columns that may be changed in tables of acts, "table column type" a line. */
static char *list_columns(const char *path)
{
    sqlite3 *db = NULL;
    sqlite3_stmt *stmt = NULL;
    struct an_text text = {0};
    ck_assert_int_eq(sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL), SQLITE_OK);
    ck_assert_int_eq(
        sqlite3_prepare_v2(db,
                           "SELECT s.name, c.name FROM sqlite_schema s, pragma_table_info(s.name) c"
                           " WHERE s.type = 'table' AND s.name NOT IN ('file', 'ledger')"
                           " AND EXISTS (SELECT 1 FROM pragma_table_info(s.name)"
                           " WHERE name = 'entry')",
                           -1, &stmt, NULL),
        SQLITE_OK);
    while (sqlite3_step(stmt) == SQLITE_ROW) {
        an_text_addf(&text, "%s %s\n", (const char *)sqlite3_column_text(stmt, 0),
                     (const char *)sqlite3_column_text(stmt, 1));
    }
    (void)sqlite3_finalize(stmt);
    (void)sqlite3_close(db);
    char *columns = strdup(an_text_of(&text));
    an_text_free(&text);
    return columns;
}

START_TEST(every_column_of_every_act)
{
    const char *path = made();
    char copy[320];
    char *columns = list_columns(path);
    char *rest = NULL;
    int changed = 0;
    (void)snprintf(copy, sizeof copy, "%s.copy", path);
    copy_file(path, copy);
    for (char *line = strtok_r(columns, "\n", &rest); line; line = strtok_r(NULL, "\n", &rest)) {
        char table[80];
        char column[80];
        char sql[1200];
        struct an_acts_counts counts;
        ck_assert_int_eq(sscanf(line, "%79s %79s", table, column), 2);
        (void)snprintf(sql, sizeof sql, "SELECT count(*) FROM %s WHERE entry IS NOT NULL", table);
        if (ask(path, sql) == 0) { /* of the streams: only those added outside a file */
            continue;
        }
        (void)snprintf(sql, sizeof sql,
                       "UPDATE %s SET %s = CASE typeof(%s) WHEN 'integer' THEN %s + 1"
                       " WHEN 'real' THEN %s * 1.5 + 1 WHEN 'text' THEN %s || 'x'"
                       " WHEN 'blob' THEN zeroblob(length(%s)) ELSE 1 END WHERE rowid ="
                       " (SELECT max(rowid) FROM %s WHERE entry IS NOT NULL)",
                       table, column, column, column, column, column, column, table);
        change(path, table, "update", sql);
        ck_assert_msg(acts_of(path, &counts) > 0, "%s.%s was changed", table, column);
        copy_file(copy, path);
        changed++;
    }
    ck_assert_int_gt(changed, 80);
    free(columns);
}
END_TEST

START_TEST(every_record_deleted)
{
    static const char *const tables[] = {
        "line_revision", "file_sighting",   "limits", "limits_lock", "signal",
        "hit",           "hit_withdrawal",  "judged", "running",     "answer",
        "gauge_study",   "collector_event", "file"};
    const char *path = made();
    char copy[320];
    (void)snprintf(copy, sizeof copy, "%s.copy", path);
    copy_file(path, copy);
    for (size_t k = 0; k < sizeof tables / sizeof *tables; k++) {
        char sql[200];
        struct an_acts_counts counts;
        (void)snprintf(sql, sizeof sql, "DELETE FROM %s WHERE rowid = (SELECT min(rowid) FROM %s)",
                       tables[k], tables[k]);
        change(path, tables[k], "delete", sql);
        ck_assert_msg(acts_of(path, &counts) > 0, "a row of %s was deleted", tables[k]);
        copy_file(copy, path);
    }
}
END_TEST

/* Hits of one act share an entry, a thousand each: whatever is done to a row of them is found, and the
 * entry is named. (No source: the form is our own.) */
static void add_hits(const char *path, size_t count)
{
    struct an_error err;
    struct an_store *store = open_to(path, AN_STORE_WRITE);
    struct an_hit_record *hits = calloc(count, sizeof *hits);
    ck_assert_ptr_nonnull(hits);
    for (size_t i = 0; i < count; i++) {
        hits[i] = (struct an_hit_record){.signal_id = 1,
                                         .sample_id = 1,
                                         .at_us = 2001 + (int64_t)i,
                                         .window_first_sample_id = 1,
                                         .rule = (int)(i % 3),
                                         .side = i % 2 ? 1 : -1,
                                         .value = i % 5 ? 0.1 * (double)i : -0.0,
                                         .z = i % 7 ? -1e-7 * (double)i : (double)NAN};
    }
    OK(an_store_begin(store, &err));
    OK(an_store_put_hits(store, hits, count, &err));
    OK(an_store_commit(store, &err));
    for (size_t i = 1; i < count; i++) {
        ck_assert_int_eq(hits[i].hit_id, hits[i - 1].hit_id + 1);
    }
    free(hits);
    an_store_close(store);
}

START_TEST(hits_that_share_an_entry)
{
    /* hits 1 and 2 are of another act; 3 to 1002, 1003 to 2002, 2003 to 2502 of this one */
    static const struct {
        const char *verb, *sql, *says;
    } cases[] = {
        {"update", "UPDATE hit SET value = value + 0.001 WHERE hit_id = 1500", "rows 1003 to 2002"},
        {"update", "UPDATE hit SET value = NULL WHERE hit_id = 4", "rows 3 to 1002"},
        {"update", "UPDATE hit SET z = -z WHERE hit_id = 2501", "rows 2003 to 2502"},
        {"update", "UPDATE hit SET z = 0 WHERE hit_id = 3", "rows 3 to 1002"},
        {"update", "UPDATE hit SET side = -side WHERE hit_id IN (10, 11)", "rows 3 to 1002"},
        {"update", "UPDATE hit SET at_us = at_us + 1 WHERE hit_id = 1003", "rows 1003 to 2002"},
        {"update",
         "UPDATE hit SET rule = (SELECT rule FROM hit h WHERE h.hit_id = 2013 - hit.hit_id)"
         " WHERE hit_id IN (1006, 1007)",
         "rows 1003 to 2002"},
        {"update", "UPDATE hit SET stream_id = stream_id + 1 WHERE hit_id = 999", "rows 3 to 1002"},
        {"update", "UPDATE hit SET known_us = known_us - 1 WHERE hit_id = 999", "rows 3 to 1002"},
        {"update", "UPDATE hit SET hit_id = 3000 WHERE hit_id = 2502", "500 rows, 2003 to 3000"},
        {"update", "UPDATE hit SET hit_id = 3000 WHERE hit_id = 2400", "500 rows, 2003 to 3000"},
        {"update", "UPDATE hit SET entry = entry + 1 WHERE hit_id = 1002", "999 rows, 3 to 1001"},
        {"update", "UPDATE hit SET entry = 0 WHERE hit_id = 1002",
         "row 1002: no entry of the ledger tells of"},
        {"delete", "DELETE FROM hit WHERE hit_id = 3", "999 rows, 4 to 1002"},
        {"delete", "DELETE FROM hit WHERE hit_id = 2000", "999 rows, 1003 to 2002"},
        {"delete", "DELETE FROM hit WHERE hit_id = 2502", "499 rows, 2003 to 2501"},
        {"delete", "DELETE FROM hit WHERE hit_id > 2002", "table hit has no row of it"},
        {"insert",
         "INSERT INTO hit SELECT 2503, signal_id, stream_id, sample_id, at_us,"
         " window_first_sample_id, rule, panel, side, value, z, known_us, entry FROM hit"
         " WHERE hit_id = 2502",
         "501 rows, 2003 to 2503"},
        {"insert",
         "INSERT INTO hit SELECT 2503, signal_id, stream_id, sample_id, at_us,"
         " window_first_sample_id, rule, panel, side, value, z, known_us, 0 FROM hit"
         " WHERE hit_id = 2502",
         "no entry of the ledger tells of"},
    };
    const char *path = made();
    char copy[320];
    struct an_acts_counts before;
    struct an_acts_counts counts;
    ck_assert_uint_eq(acts_of(path, &before), 0);
    const int64_t entries = ask(path, "SELECT count(*) FROM ledger");
    add_hits(path, 2500);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM ledger"), entries + 3);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM hit"), 2502);
    ck_assert_msg(acts_of(path, &counts) == 0, "%s", found[0]);
    ck_assert_int_eq(counts.records, before.records + 2500);
    (void)snprintf(copy, sizeof copy, "%s.copy", path);
    copy_file(path, copy);
    for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
        bool said = false;
        change(path, "hit", cases[k].verb, cases[k].sql);
        ck_assert_msg(acts_of(path, &counts) > 0, "%s", cases[k].sql);
        for (size_t i = 0; i < findings && i < 8; i++) {
            said = said || strstr(found[i], cases[k].says) != NULL;
        }
        ck_assert_msg(said, "%s: %s", cases[k].sql, found[0]);
        copy_file(copy, path);
    }
}
END_TEST

static const struct {
    const char *sql, *says;
} shapes[] = {
    {"DROP TRIGGER sample_no_update", "no trigger sample_no_update"},
    {"DROP INDEX sample_by_time", "no index sample_by_time"},
    {"DROP VIEW view_samples", "no view view_samples"},
    {"CREATE TABLE mine (a)", "a table mine that its format does not have"},
    {"DROP TRIGGER hit_no_delete; CREATE TRIGGER hit_no_delete BEFORE DELETE ON hit BEGIN"
     " SELECT 1; END",
     "trigger hit_no_delete is not as"},
    {"ALTER TABLE answer ADD COLUMN more TEXT", "table answer is not as"},
    {"PRAGMA foreign_keys = OFF; DROP TRIGGER hit_no_update; UPDATE hit SET signal_id = 99",
     "a reference leads nowhere, of table: hit"},
    {"INSERT INTO original_piece SELECT min(file_id), 824, x'00' FROM file",
     "the pieces of an original are not numbered from 0 on, of file: 1"},
    {"DROP TRIGGER original_no_update; UPDATE original SET pieces = pieces + 1",
     "an original has not the pieces, or the form"},
    {"PRAGMA ignore_check_constraints = ON; DROP TRIGGER original_no_update;"
     " UPDATE original SET form = 484",
     "an original has not the pieces, or the form"},
    {"PRAGMA foreign_keys = OFF; DROP TRIGGER original_no_delete; DELETE FROM original",
     "pieces of an original stand without its record, of file"},
    {"DROP TRIGGER original_no_update; UPDATE original SET hash = zeroblob(32)",
     "has not the hash and length of its file, of file: 1"},
    {"DROP TRIGGER original_no_update; UPDATE original SET bytes = bytes + 1",
     "has not the hash and length of its file, of file: 1"},
    {"PRAGMA foreign_keys = OFF; INSERT INTO release (release_id, act_id, held_file_id)"
     " VALUES (2, 1, 1)",
     "the numbers of releases have a gap"},
    {"DROP TRIGGER file_no_update; UPDATE file SET round = 7", "the round is not the one"},
    /* SQLite's integrity check leaves constraints out where a connection only reads */
    {"PRAGMA ignore_check_constraints = ON; DROP TRIGGER file_no_update; UPDATE file SET state = 7",
     "table file: 1 row breaks the constraint (state IN (0, 1)), the first is 1"},
    {"PRAGMA ignore_check_constraints = ON; DROP TRIGGER file_no_update;"
     " UPDATE file SET blank = blank + 1",
     "breaks the constraint (rows_in = taken + duplicate + held + blank)"},
    {"PRAGMA ignore_check_constraints = ON; DROP TRIGGER hit_no_update; UPDATE hit SET side = 4",
     "the constraint (side IN (-1, 0, 1))"},
    /* the constraint is the format's, not the one that the store tells */
    {"PRAGMA writable_schema = ON; UPDATE sqlite_schema SET sql ="
     " replace(sql, 'CHECK (side IN (-1, 0, 1))', '') WHERE name = 'hit';"
     " PRAGMA writable_schema = RESET; DROP TRIGGER hit_no_update; UPDATE hit SET side = 4",
     "the constraint (side IN (-1, 0, 1))"},
    {"PRAGMA foreign_keys = OFF; PRAGMA ignore_check_constraints = ON;"
     " INSERT INTO retention_file VALUES (1, 5, 1, 1, 1, zeroblob(32))",
     "table retention_file: 1 row breaks the constraint (kind IN (1, 2)), the first is 1"},
};

START_TEST(shape)
{
    const char *path = made();
    char why[200];
    bool said = false;
    ck_assert_int_eq(run_sql(path, shapes[_i].sql, why), SQLITE_OK);
    ck_assert_uint_gt(shape_of(path), 0);
    for (size_t k = 0; k < findings && k < 8; k++) {
        said = said || strstr(found[k], shapes[_i].says);
    }
    ck_assert_msg(said, "'%s' instead of '%s'", found[0], shapes[_i].says);
}
END_TEST

/* Roots of all sizes against RFC 9162's definition over the leaves. */
START_TEST(roots_of_all_sizes)
{
    struct an_error err;
    const char *path = made();
    struct an_store *store = open_to(path, AN_STORE_READ);
    struct an_arena *arena = an_arena_open();
    struct an_ledger_entry *entries = NULL;
    struct an_sha256 leaves[64];
    struct an_sha256 root;
    size_t count = 0;
    OK(an_ledger_read(store, 0, 64, arena, &entries, &count, &err));
    ck_assert_uint_gt(count, 10);
    for (size_t k = 0; k <= count; k++) {
        const struct an_sha256 wanted = an_root_of(leaves, k);
        OK(an_ledger_root_at(store, k, &root, &err));
        ck_assert_mem_eq(root.at, wanted.at, sizeof root.at);
        if (k < count) {
            leaves[k] = entries[k].leaf;
        }
    }
    FAILS(an_ledger_root_at(store, count + 1, &root, &err), AN_NOT_FOUND);
    FAILS(an_ledger_root_at(store, UINT64_MAX, &root, &err), AN_NOT_FOUND);
    an_arena_close(arena);
    an_store_close(store);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("verify");
    TCase *group = tcase_create("verify");
    tcase_add_checked_fixture(group, scratch_make, scratch_remove);
    tcase_set_timeout(group, 300);
    tcase_add_test(group, nothing_in_a_whole_store);
    tcase_add_test(group, every_column_of_every_act);
    tcase_add_test(group, every_record_deleted);
    tcase_add_test(group, hits_that_share_an_entry);
    tcase_add_loop_test(group, shape, 0, (int)(sizeof shapes / sizeof shapes[0]));
    tcase_add_test(group, roots_of_all_sizes);
    suite_add_tcase(suite, group);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? 1 : 0;
}
