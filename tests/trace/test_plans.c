/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How the questions of a trace find their rows: no table that grows with the line is ever read
 * through. The plans are SQLite's own (EXPLAIN QUERY PLAN), of every statement that the calls of
 * andamento/store/genealogy.h have prepared.
 */
#include "store/handle.h"
#include "support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What a query made itself so far; all else that is read through is a table. */
static const char *const own_results[] = {"SCAN n", "SCAN k", "SCAN kinds", "SCAN CONSTANT ROW"};

static bool is_own(const char *detail)
{
    for (size_t i = 0; i < sizeof own_results / sizeof *own_results; i++) {
        if (strcmp(detail, own_results[i]) == 0) {
            return true;
        }
    }
    return strncmp(detail, "SCAN (subquery-", 15) == 0;
}

static void ask_everything(void)
{
    static const struct told links[] = {{"donor:D > tile:T", "R", 0.5, 0, 0, 5},
                                        {"tile:T > wall:W", NULL, 0.25, 1, 1, 10}};
    struct an_alias alias = {.from_us = AN_NO_INSTANT, .until_us = AN_NO_INSTANT, .line = 2};
    struct an_trace trace;
    struct an_trace_common common;
    struct an_trace_grid grid;
    struct an_lineage *lineage = NULL;
    struct an_item found;
    size_t count = 0;
    int64_t until_us = 0;
    bool made = false;

    put_links(links, 2);
    put_end("tile:T > wall:W", 20);
    alias.item_id = own_id("tile:T");
    alias.other_id = own_id("tile:TMP");
    begin_file(&alias.file_id);
    OK(an_store_put_alias(store, &alias, &err));
    end_file(alias.file_id);
    const int64_t ids[] = {own_id("tile:T"), own_id("wall:W")};
    for (int way = 0; way < 2; way++) {
        const struct an_trace_ask ask = {.item_id = ids[0],
                                         .way = way ? AN_TRACE_DOWN : AN_TRACE_UP,
                                         .from_us = AN_NO_INSTANT,
                                         .until_us = AN_NO_INSTANT};
        OK(an_trace_run(store, &ask, &trace, &err));
        an_trace_close(&trace);
    }
    OK(an_trace_common(store, ids, 2, 2, &common, &err));
    an_trace_common_close(&common);
    OK(an_trace_places(store, ids[1], NULL, AN_NO_INSTANT, &grid, &err));
    an_trace_grid_close(&grid);
    OK(an_trace_find(store, NULL, "W", arena, &found, &err));
    FAILS(an_trace_find(store, NULL, "tile:Q", arena, &found, &err), AN_NOT_FOUND);
    struct an_known_as *ends = NULL;
    OK(an_store_lone_ends(store, ids[0], true, arena, &ends, &count, &err));
    OK(an_store_lone_ends(store, ids[0], false, arena, &ends, &count, &err));
    ck_assert_uint_eq(count, 0); /* its end had a link */
    OK(an_store_lineage_at(store, ids[1], 1, 1, arena, &lineage, &count, &err));
    const struct an_link link = {
        .child_id = ids[1], .parent_id = ids[0], .row = 1, .column = 1, .at_us = 10};
    OK(an_store_link_until(store, &link, &until_us, &err));
    ck_assert_int_eq(until_us, 20);
    OK(an_store_is_made_of(store, ids[1], own_id("donor:D"), &made, &err));
    ck_assert(made);
}

START_TEST(no_table_is_read_through)
{
    int statements = 0;
    int searches = 0;

    ask_everything();
    for (size_t k = 0; k < AN_STATEMENTS; k++) {
        const char *sql = store->statements[k].sql;
        sqlite3_stmt *plan = NULL;

        if (!sql) {
            continue;
        }
        statements++;
        const char *explain = an_arena_printf(arena, "EXPLAIN QUERY PLAN %s", sql);
        ck_assert_msg(sqlite3_prepare_v2(store->db, explain, -1, &plan, NULL) == SQLITE_OK,
                      "%s: %s", sql, sqlite3_errmsg(store->db));
        while (sqlite3_step(plan) == SQLITE_ROW) {
            const char *detail = (const char *)sqlite3_column_text(plan, 3);

            searches += strncmp(detail, "SEARCH", 6) == 0;
            ck_assert_msg(strncmp(detail, "SCAN", 4) != 0 || is_own(detail) ||
                              strstr(sql, "FROM ledger") || strstr(sql, "FROM line_revision"),
                          "%s\n  in %s", detail, sql);
        }
        (void)sqlite3_finalize(plan);
    }
    ck_assert_int_ge(statements, 20); /* the sweep did meet them */
    ck_assert_int_ge(searches, 25);
}
END_TEST

/* The check above sees a table that is read through. */
START_TEST(a_scan_would_be_seen)
{
    sqlite3_stmt *plan = NULL;

    ck_assert_int_eq(sqlite3_prepare_v2(store->db,
                                        "EXPLAIN QUERY PLAN SELECT * FROM link WHERE share = 1", -1,
                                        &plan, NULL),
                     SQLITE_OK);
    ck_assert_int_eq(sqlite3_step(plan), SQLITE_ROW);
    const char *detail = (const char *)sqlite3_column_text(plan, 3);
    ck_assert(strncmp(detail, "SCAN", 4) == 0 && !is_own(detail));
    (void)sqlite3_finalize(plan);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("plans");
    TCase *tcase = tcase_create("plans");

    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, no_table_is_read_through);
    tcase_add_test(tcase, a_scan_would_be_seen);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
