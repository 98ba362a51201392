/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The schema: rows are only added, every column is explained, every query finds its way by an
 * index, and the documented views say what was stored.
 */
#include "store/handle.h"
#include "support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const tables[] = {
    "ledger",
    "line_revision",
    "file",
    "file_sighting",
    "original",
    "original_piece",
    "item",
    "stream",
    "link",
    "visit",
    "sample",
    "block",
    "held",
    "limits",
    "limits_lock",
    "signal",
    "hit",
    "hit_withdrawal",
    "judged",
    "answer",
    "collector_event",
    "header",
    "file_trait",
    "missing_file",
    "waiting",
    "superseded",
    "suspect",
    "release_act",
    "release",
    "running",
    "retention",
    "retention_file",
    "gauge_study",
    "link_trait",
    "link_end",
    "alias",
    "correction",
    "corrected_link",
    "corrected_sample",
    "signing_key",
    "key_retirement",
    "act_signature",
    "signed_head",
};
enum { TABLES = sizeof tables / sizeof *tables };

static const char *full_store(bool answered)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct filled filled;
    const char *path = scratch_path("line.store");
    OK(an_store_open(path, AN_STORE_CREATE, &store, &err));
    OK(fill_committed(store, 1, &filled, &err));
    OK(decide_all(store, &filled, &err));
    OK(decide_keys(store, &err));
    OK(read_all(store, &filled, true, &err));
    an_store_close(store);
    if (answered) {
        ck_assert_int_eq(run_sql(path,
                                 "INSERT INTO collector_event VALUES (1, 9, 9, 'b', 1, NULL, 0,"
                                 " 'started', 77, 'ann', 'pc', 0)",
                                 NULL),
                         SQLITE_OK);
        ck_assert_int_eq(run_sql(path,
                                 "INSERT INTO answer VALUES (1, 1, 9, 'A. Person', 'stamp worn',"
                                 " NULL, NULL, 'seen', 'ann', 'pc', 0)",
                                 NULL),
                         SQLITE_OK);
        ck_assert_int_eq(
            run_sql(path,
                    "INSERT INTO retention_file VALUES (99, 2, 1, 1, 9, zeroblob(32));"
                    "INSERT INTO retention VALUES (1, 9, 1, 9, zeroblob(32), 'A. Person', 'space',"
                    " NULL, 'ann', 'pc', 0)",
                    NULL),
            SQLITE_OK);
        ck_assert_int_eq(
            run_sql(
                path,
                "INSERT INTO link_trait VALUES (1, 2, 1);"
                "INSERT INTO link_end VALUES (1, 2, 1, NULL, NULL, NULL, NULL, 3000, 1, 5);"
                "INSERT INTO alias VALUES (1, 1, 2, NULL, 2000, 1, 6);"
                "INSERT INTO correction VALUES (1, 1, 9, 1, NULL, NULL, 'T-8', NULL, NULL, NULL, 0, NULL, '0T-001', 'T-8', 'A. Person', 'misread', 'ann', 'pc', 0);"
                "INSERT INTO corrected_link VALUES (1, 99, 1);"
                "INSERT INTO corrected_sample VALUES (1, 99, 1, 2001, NULL);"
                "INSERT INTO header VALUES (1, 'transfer', '[\"a\"]', 1);"
                "INSERT INTO file_trait VALUES (1, 'transfer', 1, 'SN-1', 7);"
                "INSERT INTO missing_file VALUES (1, 'transfer', 6, 1);"
                "INSERT INTO waiting VALUES (1, 'tile', 'T-9', 1);"
                "INSERT INTO superseded VALUES (1, 99, 1, 2001, 2, 1);"
                "INSERT INTO suspect VALUES (1, 2, 'values.pinned', 1);"
                "INSERT INTO release_act VALUES (1, 9, 1, 0, NULL, 1, 'A. Person', 'mended',"
                " 'ann', 'pc', 0);"
                "INSERT INTO release VALUES (1, 1, 1, 1)",
                NULL),
            SQLITE_OK);
    }
    return path;
}

START_TEST(tables_are_known_and_strict)
{
    const char *path = full_store(true);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM pragma_table_list WHERE type = 'table'"
                               " AND schema = 'main' AND name NOT LIKE 'sqlite_%'"),
                     TABLES);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM pragma_table_list WHERE type = 'table'"
                               " AND schema = 'main' AND strict = 1"),
                     TABLES);
}
END_TEST

START_TEST(rows_are_only_added)
{
    struct an_error err;
    struct an_store *store = NULL;
    const char *path = full_store(true);
    char sql[200];
    char text[200];
    (void)snprintf(sql, sizeof sql, "SELECT count(*) FROM %s", tables[_i]);
    const int64_t rows = ask(path, sql);
    ck_assert_int_ge(rows, 1); /* else nothing would be refused */
    (void)snprintf(sql, sizeof sql, "DELETE FROM %s", tables[_i]);
    ck_assert_int_eq(run_sql(path, sql, text), SQLITE_CONSTRAINT);
    ck_assert_msg(strstr(text, tables[_i]) && strstr(text, "only added"), "%s", text);
    sqlite3 *db = NULL;
    sqlite3_stmt *columns = NULL;
    ck_assert_int_eq(sqlite3_open(path, &db), SQLITE_OK);
    ck_assert_int_eq(
        sqlite3_prepare_v2(db, "SELECT name FROM pragma_table_info($1)", -1, &columns, NULL),
        SQLITE_OK);
    ck_assert_int_eq(sqlite3_bind_text(columns, 1, tables[_i], -1, SQLITE_STATIC), SQLITE_OK);
    int count = 0;
    while (sqlite3_step(columns) == SQLITE_ROW) { /* not one of them may be changed */
        const char *column = (const char *)sqlite3_column_text(columns, 0);
        (void)snprintf(sql, sizeof sql, "UPDATE %s SET %s = %s", tables[_i], column, column);
        ck_assert_int_eq(run_sql(path, sql, text), SQLITE_CONSTRAINT);
        ck_assert_msg(strstr(text, "only added"), "%s", text);
        count++;
    }
    ck_assert_int_ge(count, 2);
    sqlite3_finalize(columns);
    sqlite3_close(db);
    /* on our own connection a replacing insert counts as a deletion */
    OK(an_store_open(path, AN_STORE_WRITE, &store, &err));
    (void)snprintf(sql, sizeof sql, "REPLACE INTO %s SELECT * FROM %s", tables[_i], tables[_i]);
    ck_assert_int_ne(sqlite3_exec(store->db, sql, NULL, NULL, NULL), SQLITE_OK);
    an_store_close(store);
    (void)snprintf(sql, sizeof sql, "SELECT count(*) FROM %s", tables[_i]);
    ck_assert_int_eq(ask(path, sql), rows);
}
END_TEST

/* In the text of schema/001-records.sql each column has a comment, on its own line or below. */
START_TEST(columns_are_explained)
{
    FILE *file = fopen(AN_SOURCE_DIR "/schema/001-records.sql", "r");
    char line[400];
    char waiting[400] = "";
    bool inside = false;
    int columns = 0;
    ck_assert_ptr_nonnull(file);
    while (fgets(line, sizeof line, file)) {
        const bool is_column = inside && line[4] >= 'a' && line[4] <= 'z';
        const bool is_comment = line[strspn(line, " ")] == '-';
        ck_assert_msg(!waiting[0] || is_comment, "no comment: %s", waiting);
        waiting[0] = '\0';
        columns += is_column;
        if (is_column && !strstr(line, "-- ")) {
            memcpy(waiting, line, sizeof waiting);
        }
        if (strncmp(line, "CREATE TABLE", 12) == 0) {
            inside = true;
        } else if (strncmp(line, ") STRICT", 8) == 0) {
            inside = false;
        }
    }
    ck_assert_int_gt(columns, 150);
    (void)fclose(file);
}
END_TEST

/* ---- how queries find their rows ------------------------------------------------------------------- */

/* Whole tables that may be read through, and why. Everything else must be a SEARCH. */
static const char *const read_whole[] = {
    "SCAN t",             /* list of streams: few, and all are wanted */
    "SCAN ledger",        /* the check of the ledger: every entry is its purpose */
    "SCAN line_revision", /* the newest one: from the end, and no further */
    "SCAN temp.scratch",  /* scratch is read as a whole */
    "SCAN scratch",       /* likewise, by its other name */
    "SCAN n",             /* this and the next four: results of the same query so far */
    "SCAN p",
    "SCAN d",
    "SCAN reason",
    "SCAN period",
    "SCAN CONSTANT ROW",
};

static bool may_be_whole(const char *detail)
{
    for (size_t k = 0; k < sizeof read_whole / sizeof *read_whole; k++) {
        const size_t length = strlen(read_whole[k]);
        if (strncmp(detail, read_whole[k], length) == 0 &&
            (detail[length] == '\0' || detail[length] == ' ')) {
            return true;
        }
    }
    return false;
}

START_TEST(queries_use_indexes)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct filled filled;
    int statements = 0;
    int searches = 0;
    OK(an_store_open(scratch_path("line.store"), AN_STORE_CREATE, &store, &err));
    OK(fill_committed(store, 1, &filled, &err));
    OK(decide_all(store, &filled, &err));
    OK(decide_keys(store, &err));
    OK(read_all(store, &filled, true, &err));
    OK(an_store_scratch_add(store, an_bytes_of("k"), an_bytes_of("v"), &err));
    for (size_t k = 0; k < AN_STATEMENTS; k++) {
        const char *sql = store->statements[k].sql;
        char explain[2000];
        sqlite3_stmt *plan = NULL;
        if (!sql) {
            continue;
        }
        statements++;
        (void)snprintf(explain, sizeof explain, "EXPLAIN QUERY PLAN %s", sql);
        ck_assert_msg(sqlite3_prepare_v2(store->db, explain, -1, &plan, NULL) == SQLITE_OK,
                      "%s: %s", sql, sqlite3_errmsg(store->db));
        while (sqlite3_step(plan) == SQLITE_ROW) {
            const char *detail = (const char *)sqlite3_column_text(plan, 3);
            searches += strncmp(detail, "SEARCH", 6) == 0;
            ck_assert_msg(strncmp(detail, "SCAN", 4) != 0 || may_be_whole(detail), "%s\n  in %s",
                          detail, sql);
        }
        sqlite3_finalize(plan);
    }
    /* the sweep did meet the queries: about as many as the sources hold */
    ck_assert_int_ge(statements, 75);
    ck_assert_int_lt(statements, AN_STATEMENTS / 2 + 1);
    ck_assert_int_ge(searches, 60);
    an_store_close(store);
}
END_TEST

/* ---- views --------------------------------------------------------------------------------------------- */

static const struct {
    const char *sql; /* yields 1 if the view says what fill_file and decide_all put */
} view_rows[] = {
    {"SELECT count(*) = 1 FROM view_releases WHERE cause = 'person' AND author = 'A. Person'"
     " AND rows = 1 AND files = 0 AND file = 'a.csv'"},
    {"SELECT count(*) = 1 FROM view_held WHERE held_id = 1 AND released_by = 1"},
    {"SELECT count(*) = 1 FROM view_missing_files WHERE file_number = 6 AND noticed_by = 1"
     " AND came_by IS NULL"},
    {"SELECT count(*) = 1 FROM view_samples WHERE suspect = 'values.pinned'"},
    {"SELECT count(*) = 1 FROM view_samples WHERE stream = 'transfer.dx@colour=R'"
     " AND serial = 'T-8' AND n = 3 AND abs(sd - sqrt(0.1 / 2)) < 1e-15 AND mean = 0"
     " AND at_us = 2001 AND at_utc = '1970-01-01T00:00:00.002Z' AND shift = '2026-03-04 night'"
     " AND gauge = 'G7' AND ribbon = 'D-9 + D-10' AND file = 'a.csv' AND counted IS NULL"},
    {"SELECT count(*) = 1 FROM view_samples WHERE stream = 'transfer.defects' AND counted = 4"
     " AND opportunities = 1200 AND mean IS NULL AND sd IS NULL"},
    {"SELECT count(*) = 1 FROM view_streams WHERE stream = 'transfer.dx@colour=R' AND samples = 1"
     " AND first_us = 2001 AND last_utc = '1970-01-01T00:00:00.002Z'"},
    {"SELECT count(*) = 1 FROM view_files WHERE state = 'taken' AND rows_in = 7 AND taken = 3"
     " AND seen_again = 1 AND length(sha256) = 64 AND path = 'in/a.csv'"},
    {"SELECT count(*) = 2 AND min(line_no) = 5 FROM view_held WHERE file = 'a.csv'"
     " AND station = 'transfer'"},
    {"SELECT count(*) = 1 FROM view_limits WHERE state = 'locked' AND author = 'A. Person'"
     " AND reason = 'first limits' AND in_force_us = 1500 AND baseline_from_us IS NULL"},
    {"SELECT count(*) = 1 FROM view_limits WHERE state = 'refused' AND in_force_us IS NULL"},
    {"SELECT count(*) = 1 FROM view_signals WHERE panel = 'level' AND side = 'above' AND hits = 1"
     " AND hits_withdrawn = 1 AND answers = 1 AND serial = '0T-001'"},
    {"SELECT count(*) = 1 FROM view_links WHERE parent = 'T-8' AND child = 'W-1'"
     " AND role = 'panel' AND row_no = 1 AND column_no IS NULL AND share IS NULL"
     " AND until_us = 3000 AND confidence = 'typed'"},
    {"SELECT count(*) = 1 FROM view_aliases WHERE serial = '0T-001' AND other_serial = 'W-1'"
     " AND from_us IS NULL AND until_us = 2000 AND file = 'a.csv' AND line_no = 6"},
    {"SELECT count(*) = 1 FROM view_corrections WHERE kind = 'serial' AND before = '0T-001'"
     " AND after = 'T-8' AND undone_by IS NULL AND author = 'A. Person'"},
    {"SELECT count(*) = 2 AND sum(retired_us IS NULL) = 1 AND sum(acts) = 2 AND sum(heads) = 1"
     " FROM view_signing_keys WHERE author = 'B. Person' AND length(public_key) = 64"},
    {"SELECT count(*) = 2 AND sum(kind = 'key.added') = 1 AND sum(kind = 'key.retired') = 1"
     " FROM view_signatures WHERE author = 'B. Person'"},
    {"SELECT count(*) = 19 AND count(DISTINCT leaf_sha256) = 19 FROM view_ledger"},
};

START_TEST(views_tell_what_was_stored)
{
    ck_assert_msg(ask(full_store(true), view_rows[_i].sql) == 1, "%s", view_rows[_i].sql);
}
END_TEST

/* Each ```sql block of docs/store.md runs, and gives at least one row. */
START_TEST(examples_run)
{
    const char *path = full_store(false);
    FILE *file = fopen(AN_SOURCE_DIR "/docs/store.md", "r");
    char line[400];
    char sql[4000] = "";
    bool inside = false;
    int examples = 0;
    ck_assert_ptr_nonnull(file);
    while (fgets(line, sizeof line, file)) {
        if (strncmp(line, "```sql", 6) == 0) {
            inside = true;
            sql[0] = '\0';
        } else if (strncmp(line, "```", 3) == 0 && inside) {
            inside = false;
            (void)ask(path, sql); /* asserts a first row */
            examples++;
        } else if (inside) {
            ck_assert_uint_lt(strlen(sql) + strlen(line), sizeof sql);
            strcat(sql, line);
        }
    }
    ck_assert_int_ge(examples, 6);
    (void)fclose(file);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("schema");
    TCase *schema = tcase_create("schema");
    tcase_add_checked_fixture(schema, scratch_make, scratch_remove);
    tcase_add_test(schema, tables_are_known_and_strict);
    tcase_add_loop_test(schema, rows_are_only_added, 0, TABLES);
    tcase_add_test(schema, columns_are_explained);
    tcase_add_test(schema, queries_use_indexes);
    tcase_add_loop_test(schema, views_tell_what_was_stored, 0,
                        sizeof view_rows / sizeof *view_rows);
    tcase_add_test(schema, examples_run);
    suite_add_tcase(suite, schema);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
