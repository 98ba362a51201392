/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What was known at a moment against a copy of the store made at that moment: every table, row for
 * row, so that a table of tomorrow is looked at too.
 */
#include "andamento/base/instant.h"
#include "andamento/store/as_of.h"
#include "andamento/store/gauge.h"
#include "store/handle.h"
#include "support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOMENTS = 4 };

static struct moment {
    const char *copy;
    int64_t entries, at_us;
} moments[MOMENTS];

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

/* The clock of the next acts: a minute later each time. */
static void set_clock(int minute)
{
    char at[40];
    (void)snprintf(at, sizeof at, "2026-03-04T10:%02d:00Z", minute);
    ck_assert_int_eq(setenv("ANDAMENTO_CLOCK", at, 1), 0);
}

static void keep_moment(const char *path, size_t k)
{
    struct an_error err;
    static char names[MOMENTS][400];
    (void)snprintf(names[k], sizeof names[k], "%s-%zu", path, k);
    copy_file(path, names[k]);
    OK(an_instant_parse(an_bytes_of(getenv("ANDAMENTO_CLOCK")), NULL, &moments[k].at_us, &err));
    moments[k].copy = names[k];
    moments[k].entries = ask(path, "SELECT count(*) FROM ledger");
}

static struct an_store *open_to(const char *path, enum an_store_mode mode)
{
    struct an_error err;
    struct an_store *store = NULL;
    OK(an_store_open(path, mode, &store, &err));
    return store;
}

/* Files, decisions about them and more files, a minute apart; a copy after each. */
static const char *made(void)
{
    static char path[300];
    struct an_error err;
    struct filled filled[3];
    (void)snprintf(path, sizeof path, "%s", scratch_path("a.store"));
    set_clock(0);
    struct an_store *store = open_to(path, AN_STORE_CREATE);
    OK(fill_committed(store, 1, &filled[0], &err));
    an_store_close(store);
    keep_moment(path, 0);
    set_clock(1);
    store = open_to(path, AN_STORE_WRITE);
    OK(decide_all(store, &filled[0], &err));
    OK(decide_keys(store, &err));
    an_store_close(store);
    keep_moment(path, 1);
    set_clock(2);
    store = open_to(path, AN_STORE_WRITE);
    OK(fill_committed(store, 2, &filled[1], &err));
    an_store_close(store);
    keep_moment(path, 2);
    set_clock(3);
    store = open_to(path, AN_STORE_WRITE);
    OK(fill_committed(store, 3, &filled[2], &err));
    OK(decide_all(store, &filled[2], &err));
    OK(decide_keys(store, &err));
    an_store_close(store);
    keep_moment(path, 3);
    return path;
}

/* All rows of a table as one text. */
static char *rows_of(sqlite3 *db, const char *table, struct an_text *text)
{
    char sql[200];
    sqlite3_stmt *stmt = NULL;
    an_text_clear(text);
    (void)snprintf(sql, sizeof sql, "SELECT * FROM %s ORDER BY 1, 2", table);
    ck_assert_msg(sqlite3_prepare_v2(db, sql, -1, &stmt, NULL) == SQLITE_OK, "%s: %s", sql,
                  sqlite3_errmsg(db));
    while (sqlite3_step(stmt) == SQLITE_ROW) {
        for (int c = 0; c < sqlite3_column_count(stmt); c++) {
            const int length = sqlite3_column_bytes(stmt, c);
            an_text_addf(text, "%d:%d:", sqlite3_column_type(stmt, c), length);
            an_text_add_bytes(text,
                              (struct an_bytes){sqlite3_column_blob(stmt, c), (size_t)length});
        }
        an_text_add_char(text, '\n');
    }
    ck_assert_int_eq(sqlite3_finalize(stmt), SQLITE_OK);
    return strdup(text->failed ? "" : an_text_of(text));
}

static bool is_cut_otherwise(const char *table)
{
    return strcmp(table, "running") == 0 || strncmp(table, "retention", 9) == 0;
}

static void compare_all(struct an_store *store, const char *copy)
{
    sqlite3 *then = NULL;
    sqlite3_stmt *tables = NULL;
    struct an_text text = {0};
    int seen = 0;
    ck_assert_int_eq(sqlite3_open_v2(copy, &then, SQLITE_OPEN_READONLY, NULL), SQLITE_OK);
    ck_assert_int_eq(sqlite3_prepare_v2(then,
                                        "SELECT name FROM sqlite_schema WHERE type = 'table' AND"
                                        " name NOT LIKE 'sqlite%'",
                                        -1, &tables, NULL),
                     SQLITE_OK);
    for (; sqlite3_step(tables) == SQLITE_ROW; seen++) {
        const char *table = (const char *)sqlite3_column_text(tables, 0);
        if (!is_cut_otherwise(table)) {
            char *wanted = rows_of(then, table, &text);
            char *got = rows_of(store->db, table, &text);
            ck_assert_msg(strcmp(got, wanted) == 0, "table %s is not what it was", table);
            free(wanted);
            free(got);
        }
    }
    ck_assert_int_gt(seen, 30);
    ck_assert_int_eq(sqlite3_finalize(tables), SQLITE_OK);
    ck_assert_int_eq(sqlite3_close(then), SQLITE_OK);
    an_text_free(&text);
}

START_TEST(every_table_as_it_was)
{
    struct an_error err;
    struct an_known known;
    const char *path = made();
    for (size_t k = 0; k < MOMENTS; k++) {
        for (int by_size = 0; by_size < 2; by_size++) {
            struct an_store *store = open_to(path, AN_STORE_READ);
            if (by_size) {
                OK(an_store_as_of_size(store, moments[k].entries, &known, &err));
            } else {
                OK(an_store_as_of(store, moments[k].at_us, &known, &err));
            }
            ck_assert_int_eq(known.entries, moments[k].entries);
            ck_assert_int_eq(known.at_us, moments[k].at_us);
            compare_all(store, moments[k].copy);
            an_store_close(store);
        }
    }
}
END_TEST

/* The layer's own queries see it as well, the head of the ledger among them. */
START_TEST(every_query_sees_it)
{
    struct an_error err;
    struct an_known known;
    struct an_ledger_head head;
    const char *path = made();
    struct an_store *then = open_to(moments[1].copy, AN_STORE_READ);
    struct an_store *store = open_to(path, AN_STORE_READ);
    struct an_arena *arena = an_arena_open();
    struct an_file *files = NULL;
    size_t count = 0;
    OK(an_store_files(store, AN_NO_INSTANT, AN_NO_INSTANT, arena, &files, &count,
                      &err)); /* prepared before, to be prepared anew */
    ck_assert_uint_eq(count, 3);
    OK(an_store_as_of(store, moments[1].at_us, &known, &err));
    OK(an_store_files(store, AN_NO_INSTANT, AN_NO_INSTANT, arena, &files, &count, &err));
    ck_assert_uint_eq(count, 1);
    OK(an_ledger_head(store, &head, &err));
    ck_assert_int_eq((int64_t)head.size, moments[1].entries);
    struct an_ledger_head was;
    OK(an_ledger_head(then, &was, &err));
    ck_assert_mem_eq(head.root.at, was.root.at, sizeof head.root.at);
    an_arena_close(arena);
    an_store_close(then);
    an_store_close(store);
}
END_TEST

START_TEST(what_is_no_moment)
{
    struct an_error err;
    struct an_known known;
    const char *path = made();
    struct an_store *store = open_to(path, AN_STORE_READ);
    FAILS(an_store_as_of(store, moments[0].at_us - 1, &known, &err), AN_NOT_FOUND);
    ck_assert_ptr_nonnull(strstr(err.text, "2026-03-04T09:59:59"));
    FAILS(an_store_as_of_size(store, 0, &known, &err), AN_NOT_FOUND);
    FAILS(an_store_as_of_size(store, moments[3].entries + 1, &known, &err), AN_NOT_FOUND);
    OK(an_store_as_of(store, moments[3].at_us + 1, &known, &err)); /* all there is */
    ck_assert_int_eq(known.entries, moments[3].entries);
    an_store_close(store);
    store = open_to(path, AN_STORE_WRITE);
    FAILS(an_store_as_of(store, moments[3].at_us, &known, &err), AN_BAD_USAGE);
    FAILS(an_store_as_of_size(store, 1, &known, &err), AN_BAD_USAGE);
    an_store_close(store);
}
END_TEST

/* A table that tells neither file nor entry is refused, not shown whole. */
START_TEST(unknown_table)
{
    struct an_error err;
    struct an_known known;
    const char *path = made();
    ck_assert_int_eq(run_sql(path, "CREATE TABLE news (a INTEGER PRIMARY KEY) STRICT", NULL),
                     SQLITE_OK);
    struct an_store *store = open_to(path, AN_STORE_READ);
    FAILS(an_store_as_of(store, moments[0].at_us, &known, &err), AN_BUG);
    ck_assert_ptr_nonnull(strstr(err.text, "'news'"));
    an_store_close(store);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("as of");
    TCase *group = tcase_create("as of");
    tcase_add_checked_fixture(group, scratch_make, scratch_remove);
    tcase_add_test(group, every_table_as_it_was);
    tcase_add_test(group, every_query_sees_it);
    tcase_add_test(group, what_is_no_moment);
    tcase_add_test(group, unknown_table);
    suite_add_tcase(suite, group);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? 1 : 0;
}
