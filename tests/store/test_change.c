/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Acts since an entry of the ledger, and doubts about a baseline, against rows put by hand: what came
 * before, or bears on another thing, must not be told.
 */
#include "andamento/store/change.h"
#include "andamento/store/doubt.h"
#include "store/handle.h"
#include "support.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static struct filled filled[4];
static int64_t first_lines[4];
static int64_t entries_then; /* of the ledger before the fourth file */

static struct an_store *open_to(const char *path, enum an_store_mode mode)
{
    struct an_error err;
    struct an_store *store = NULL;
    OK(an_store_open(path, mode, &store, &err));
    return store;
}

static void sql(const char *path, const char *format, ...) AN_PRINTF(2, 3);

static void sql(const char *path, const char *format, ...)
{
    char text[600];
    char error[200] = "";
    va_list args;
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    ck_assert_msg(run_sql(path, text, error) == SQLITE_OK, "%s: %s", text, error);
}

/* Three files, limits learned from them, and a fourth file. */
static const char *made(void)
{
    static char path[300];
    struct an_error err;
    (void)snprintf(path, sizeof path, "%s", scratch_path("line.store"));
    struct an_store *store = open_to(path, AN_STORE_CREATE);
    for (int k = 0; k < 3; k++) {
        OK(fill_committed(store, k + 1, &filled[k], &err));
    }
    OK(decide_all(store, &filled[0], &err));
    an_store_close(store);
    entries_then = ask(path, "SELECT count(*) FROM ledger");
    store = open_to(path, AN_STORE_WRITE);
    OK(fill_committed(store, 4, &filled[3], &err));
    an_store_close(store);
    for (int k = 0; k < 4; k++) {
        char text[100];
        (void)snprintf(text, sizeof text, "SELECT first_line FROM sample WHERE sample_id = %lld",
                       (long long)filled[k].sample_id);
        first_lines[k] = ask(path, text);
    }
    return path;
}

START_TEST(doubts_are_those_of_the_baseline)
{
    struct an_error err;
    struct an_doubt *doubts = NULL;
    size_t count = 9;
    int64_t newest = 0;
    const char *path = made();
    struct an_arena *arena = an_arena_open();
    struct an_store *store = open_to(path, AN_STORE_READ);
    OK(an_store_doubts(store, 1, arena, &doubts, &count, &newest, &err));
    ck_assert_uint_eq(count, 0);
    ck_assert_int_eq(newest, filled[2].file_id);
    an_store_close(store);
    /* the first measured again later; the second suspect; the third suspect, but replaced before */
    sql(path,
        "INSERT INTO superseded SELECT 1, sample_id, stream_id, at_us, 99, %lld FROM sample"
        " WHERE sample_id = %lld",
        (long long)filled[3].file_id, (long long)filled[0].sample_id);
    sql(path, "INSERT INTO suspect VALUES (1, %lld, 'values.pinned', %lld)",
        (long long)filled[1].sample_id, (long long)filled[1].file_id);
    sql(path, "INSERT INTO suspect VALUES (2, %lld, 'gauge.due', %lld)",
        (long long)filled[2].sample_id, (long long)filled[2].file_id);
    sql(path,
        "INSERT INTO superseded SELECT 2, sample_id, stream_id, at_us, 99, %lld FROM sample"
        " WHERE sample_id = %lld",
        (long long)filled[2].file_id, (long long)filled[2].sample_id);
    /* of a file that came after */
    sql(path, "INSERT INTO suspect VALUES (3, %lld, 'gauge.due', %lld)",
        (long long)filled[3].sample_id, (long long)filled[3].file_id);
    store = open_to(path, AN_STORE_READ);
    OK(an_store_doubts(store, 1, arena, &doubts, &count, &newest, &err));
    ck_assert_uint_eq(count, 2);
    for (size_t i = 0; i < count; i++) {
        const bool again = doubts[i].sample_id == filled[0].sample_id;
        ck_assert(again || doubts[i].sample_id == filled[1].sample_id);
        ck_assert_int_eq(doubts[i].kind, again ? AN_DOUBT_SUPERSEDED : AN_DOUBT_SUSPECT);
        ck_assert_str_eq(doubts[i].what, again ? "a.csv" : "values.pinned");
        ck_assert_ptr_null(doubts[i].who);
    }
    an_store_close(store);
    an_arena_close(arena);
}
END_TEST

static void is_act(const struct an_act *act, const char *kind, const char *part, const char *who)
{
    if (!kind) {
        ck_assert_msg(!act->kind, "%s: %s", act->kind, act->what);
        return;
    }
    ck_assert_msg(act->kind && strcmp(act->kind, kind) == 0, "%s, not %s",
                  act->kind ? act->kind : "no act", kind);
    ck_assert_msg(strstr(act->what, part) != NULL, "%s without %s", act->what, part);
    ck_assert_msg(who ? act->who && strcmp(act->who, who) == 0 : !act->who, "by %s",
                  act->who ? act->who : "nobody");
    ck_assert_int_ne(act->at_us, AN_NO_INSTANT);
}

START_TEST(acts_of_samples)
{
    static const char stream[] = "transfer.dx@colour=R";
    struct an_error err;
    struct an_act act;
    const char *path = made();
    struct an_arena *arena = an_arena_open();
    struct an_store *store = open_to(path, AN_STORE_READ);
    const struct an_sha256 *first = &filled[0].hash;
    const struct an_sha256 *last = &filled[3].hash;
    OK(an_store_sample_act(store, first, stream, first_lines[0], entries_then, arena, &act, &err));
    is_act(&act, NULL, "", NULL); /* it was there then */
    OK(an_store_sample_act(store, last, stream, first_lines[3], entries_then, arena, &act, &err));
    is_act(&act, "late file", "late file a.csv", NULL);
    OK(an_store_sample_act(store, last, stream, first_lines[3], entries_then + 99, arena, &act,
                           &err));
    is_act(&act, NULL, "", NULL);
    OK(an_store_stream_act(store, stream, 0, arena, &act, &err));
    is_act(&act, NULL, "", NULL);
    an_store_close(store);

    sql(path,
        "INSERT INTO superseded SELECT 1, sample_id, stream_id, at_us, 99, %lld FROM sample"
        " WHERE sample_id = %lld",
        (long long)filled[3].file_id, (long long)filled[0].sample_id);
    sql(path,
        "INSERT INTO correction VALUES (1, 1, 9, %lld, NULL, NULL, 'T-8', NULL, NULL, NULL, 0,"
        " NULL, 'T-1', 'T-8', 'C. Person', 'misread', 'ann', 'pc', %lld)",
        (long long)filled[0].tile_id, (long long)entries_then);
    sql(path,
        "INSERT INTO retention_file VALUES (%lld, 1, 7, 1, 9, zeroblob(32));"
        "INSERT INTO retention VALUES (7, 9, 1, 9, zeroblob(32), 'R. Person', 'space', NULL,"
        " 'ann', 'pc', %lld)",
        (long long)filled[0].file_id, (long long)entries_then);
    store = open_to(path, AN_STORE_READ);
    OK(an_store_sample_act(store, first, stream, first_lines[0], entries_then, arena, &act, &err));
    is_act(&act, "late file", "measured it again", NULL);
    OK(an_store_stream_act(store, stream, entries_then, arena, &act, &err));
    is_act(&act, "late file", "measured again", NULL);
    OK(an_store_serial_act(store, first, stream, first_lines[0], entries_then, arena, &act, &err));
    is_act(&act, "correction", "correction 1: T-1 is T-8 (misread)", "C. Person");
    OK(an_store_serial_act(store, first, stream, first_lines[0], entries_then + 1, arena, &act,
                           &err));
    is_act(&act, NULL, "", NULL);
    OK(an_store_dropped_act(store, first, entries_then, arena, &act, &err));
    is_act(&act, "dropped", "retention 7 (space)", "R. Person");
    OK(an_store_dropped_act(store, last, entries_then, arena, &act, &err));
    is_act(&act, NULL, "", NULL);
    an_store_close(store);

    sql(path,
        "INSERT INTO release_act VALUES (1, 9, 1, 0, NULL, %lld, 'A. Person', 'mended', 'ann',"
        " 'pc', %lld)",
        (long long)filled[3].file_id, (long long)entries_then);
    store = open_to(path, AN_STORE_READ);
    OK(an_store_sample_act(store, last, stream, first_lines[3], entries_then, arena, &act, &err));
    is_act(&act, "released rows", "rows of a.csv released (mended)", "A. Person");
    an_store_close(store);
    an_arena_close(arena);
}
END_TEST

START_TEST(acts_of_decisions)
{
    static const char stream[] = "transfer.dx@colour=R";
    struct an_error err;
    struct an_act act;
    const char *path = made();
    struct an_arena *arena = an_arena_open();
    const int64_t locked = ask(path, "SELECT min(entry) FROM ledger WHERE kind = 'limits.locked'");
    sql(path,
        "INSERT INTO answer VALUES (1, 1, 9, 'S. Person', 'stamp worn', NULL, NULL, 'seen',"
        " 'ann', 'pc', %lld)",
        (long long)entries_then);
    struct an_store *store = open_to(path, AN_STORE_READ);
    OK(an_store_limits_act(store, stream, 0, arena, &act, &err));
    is_act(&act, "new limits", "refused (too few)", "A. Person");
    OK(an_store_limits_act(store, stream, entries_then, arena, &act, &err));
    is_act(&act, NULL, "", NULL);
    OK(an_store_limits_act(store, "transfer.defects", 0, arena, &act, &err));
    is_act(&act, NULL, "", NULL);
    OK(an_store_signal_act(store, 1, locked, arena, &act, &err)); /* one of its hits went */
    is_act(&act, "judged", "withdrawn: late samples",
           NULL); /* no record since the hit bears on it */
    OK(an_store_signal_act(store, 1, entries_then, arena, &act, &err));
    is_act(&act, NULL, "", NULL);
    OK(an_store_answer_act(store, 1, entries_then, arena, &act, &err));
    is_act(&act, "answered", "answered", "S. Person");
    OK(an_store_answer_act(store, 1, entries_then + 1, arena, &act, &err));
    is_act(&act, NULL, "", NULL);
    OK(an_store_line_act(store, 0, arena, &act, &err));
    ck_assert_str_eq(act.kind, "line description");
    OK(an_store_line_act(store, entries_then, arena, &act, &err));
    is_act(&act, NULL, "", NULL);
    an_store_close(store);
    an_arena_close(arena);
}
END_TEST

/* What is read through, and why that is right: results of the query so far, and the few revisions of
 * the line description and files newest first, of which the first that fits ends it. */
static const char *const read_whole[] = {
    "SCAN x", "SCAN asked", "SCAN CONSTANT ROW", "SCAN line_revision",
    "SCAN f", "SCAN g"}; /* g: of one signal */

START_TEST(questions_use_indexes)
{
    struct an_error err;
    struct an_act act;
    struct an_doubt *doubts = NULL;
    size_t count = 0;
    int64_t newest = 0;
    int asked = 0;
    const char *path = made();
    struct an_arena *arena = an_arena_open();
    struct an_store *store = open_to(path, AN_STORE_READ);
    const struct an_sha256 *hash = &filled[0].hash;
    OK(an_store_sample_act(store, hash, "s", 1, 0, arena, &act, &err));
    OK(an_store_serial_act(store, hash, "s", 1, 0, arena, &act, &err));
    OK(an_store_dropped_act(store, hash, 0, arena, &act, &err));
    OK(an_store_limits_act(store, "s", 0, arena, &act, &err));
    OK(an_store_stream_act(store, "s", 0, arena, &act, &err));
    OK(an_store_signal_act(store, 1, 0, arena, &act, &err));
    OK(an_store_answer_act(store, 1, 0, arena, &act, &err));
    OK(an_store_line_act(store, 0, arena, &act, &err));
    OK(an_store_doubts(store, 1, arena, &doubts, &count, &newest, &err));
    for (size_t k = 0; k < AN_STATEMENTS; k++) {
        const char *text = store->statements[k].sql;
        char explain[5000];
        sqlite3_stmt *plan = NULL;
        if (!text) {
            continue;
        }
        ck_assert_int_lt(snprintf(explain, sizeof explain, "EXPLAIN QUERY PLAN %s", text),
                         (int)sizeof explain);
        ck_assert_int_eq(sqlite3_prepare_v2(store->db, explain, -1, &plan, NULL), SQLITE_OK);
        while (sqlite3_step(plan) == SQLITE_ROW) {
            const char *detail = (const char *)sqlite3_column_text(plan, 3);
            bool may = strncmp(detail, "SCAN", 4) != 0;
            for (size_t i = 0; i < sizeof read_whole / sizeof *read_whole; i++) {
                const size_t length = strlen(read_whole[i]);
                may = may || (strncmp(detail, read_whole[i], length) == 0 &&
                              (!detail[length] || detail[length] == ' '));
            }
            ck_assert_msg(may, "%s\n  in %s", detail, text);
            asked++;
        }
        sqlite3_finalize(plan);
    }
    ck_assert_int_gt(asked, 30);
    an_store_close(store);
    an_arena_close(arena);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("change");
    TCase *group = tcase_create("change");
    tcase_add_checked_fixture(group, scratch_make, scratch_remove);
    tcase_add_test(group, doubts_are_those_of_the_baseline);
    tcase_add_test(group, acts_of_samples);
    tcase_add_test(group, acts_of_decisions);
    tcase_add_test(group, questions_use_indexes);
    suite_add_tcase(suite, group);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? 1 : 0;
}
