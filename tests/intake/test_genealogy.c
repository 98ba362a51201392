/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What rows tell of links: places, shares, ends, other serials; and the links that cannot be, each
 * held with its reason. Expected intervals are read off the rows by hand.
 */
#include "andamento/store/intake.h"
#include "intake/release.h"
#include "support.h"

#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char stations[] =
    "  make:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile, made_here: yes, serial_within: 10 d}\n"
    "    characteristics: {m: {column: m, unit: um}}\n"
    "  build:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    links:\n"
    "      - {column: wall, kind: wall, other_is: child, row_column: r, column_column: c,\n"
    "         single: yes, share: 0.25, ends: {column: act, words: [out]},\n"
    "         confidence: {column: how, scanned: [S], typed: [H, K]}}\n"
    "    characteristics: {x: {column: x, unit: um, subgroup: row}}\n"
    "  later:\n"
    "    time: {column: at}\n"
    "    item: {kind: wall, column: wall}\n"
    "    links:\n"
    "      - {column: tile, kind: tile, made_first: yes, confidence: inferred}\n"
    "    characteristics: {x: {column: x, unit: um, subgroup: row}}\n"
    "  blend:\n"
    "    time: {column: at}\n"
    "    item: {kind: free, column: lot}\n"
    "    links: [{column: from, kind: free, share_column: part}]\n"
    "    characteristics: {x: {column: x, unit: um, subgroup: row}}\n"
    "  mark:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    links: [{column: old, kind: tile, other_is: same, holds: before, holds_for: 2 d}]\n"
    "    characteristics: {x: {column: x, unit: um, subgroup: row}}\n";

#define AT(hour) "2026-03-04T" hour ":00Z"
#define BUILD "tile,at,wall,r,c,act,how,x\n"
#define MAKE "tile,at,m\n"
#define BLEND "lot,at,from,part,x\n"

static const char *shown(void)
{
    const struct an_file *file = &bench.last.file;

    return an_arena_printf(bench.arena, "how %d: %lld = %lld + %lld + %lld, %s %s; held: %s",
                           (int)bench.last.how, (long long)file->rows, (long long)file->taken,
                           (long long)file->duplicate, (long long)file->held,
                           file->code ? file->code : "-", file->why ? file->why : "-",
                           bench_word("SELECT group_concat(line_no || ' ' || code || ' ' || why,"
                                      " '; ') FROM held"));
}

/* ---- refused ------------------------------------------------------------------------------------ */
enum { MOST_HELD = 3 };
static const struct {
    const char *name, *station, *before_station, *before, *now;
    int taken;
    struct {
        int line, column;
        const char *code, *piece;
    } held[MOST_HELD];
} rows[] = {
    {"in itself",
     "blend",
     NULL,
     NULL,
     BLEND "A," AT("10:00") ",A,,1\nA," AT("10:01") ",B,,1\n",
     1,
     {{2, 3, "link.self", "the item \"A\" is said to be part of itself"}}},
    {"its own other serial",
     "mark",
     NULL,
     NULL,
     "tile,at,old,x\nT-001," AT("10:00") ",T-001,1\n",
     0,
     {{2, 3, "link.self", "another serial of itself"}}},
    {"a loop of two",
     "blend",
     "blend",
     BLEND "A," AT("10:00") ",B,,1\n",
     BLEND "B," AT("11:00") ",A,,1\n",
     0,
     {{2, 3, "link.loop", "is part of the item \"A\""}}},
    {"a loop of three in one file",
     "blend",
     NULL,
     NULL,
     BLEND "A," AT("10:00") ",B,,1\nB," AT("10:01") ",C,,1\nC," AT("10:02") ",A,,1\nC," AT(
         "10:03") ",D,,2\n",
     3,
     {{4, 3, "link.loop", "part of"}}},
    {"merging and splitting is no loop",
     "blend",
     NULL,
     NULL,
     BLEND "C," AT("10:00") ",A,,1\nC," AT("10:01") ",B,,1\nD," AT("10:02") ",C,,1\nE," AT(
         "10:03") ",C,,1\nF," AT("10:04") ",D,,1\nF," AT("10:05") ",E,,1\n",
     6,
     {{0}}},
    {"two walls at one time",
     "build",
     NULL,
     NULL,
     BUILD "T-001," AT("10:00") ",W1,1,1,in,S,1\nT-001," AT("11:00") ",W2,1,1,in,S,1\n",
     1,
     {{3, 3, "link.elsewhere",
       "the tile \"T-001\" sits in the wall \"W1\", row 1 column 1 by line "
       "2"}}},
    {"two walls, by an earlier file",
     "build",
     "build",
     BUILD "T-001," AT("10:00") ",W1,1,1,in,S,1\n",
     BUILD "T-001," AT("11:00") ",W2,1,1,in,S,1\nT-002," AT("11:01") ",W2,1,1,in,S,1\n",
     1,
     {{2, 3, "link.elsewhere", "by line 2 of \"a_1.csv\""}}},
    {"two places of one wall",
     "build",
     NULL,
     NULL,
     BUILD "T-001," AT("10:00") ",W1,1,1,in,S,1\nT-001," AT("11:00") ",W1,1,2,in,S,1\n",
     1,
     {{3, 3, "link.elsewhere", "row 1 column 1"}}},
    {"told again is no second place",
     "build",
     "build",
     BUILD "T-001," AT("10:00") ",W1,1,1,in,S,1\n",
     BUILD "T-001," AT("12:00") ",W1,1,1,in,S,2\n",
     1,
     {{0}}},
    {"a place filled twice",
     "build",
     NULL,
     NULL,
     BUILD "T-001," AT("10:00") ",W1,1,1,in,S,1\nT-002," AT(
         "11:00") ",W1,1,1,in,S,1\n"
                  "T-003," AT("12:00") ",W1,1,2,in,S,1\n",
     2,
     {{3, 3, "link.place", "row 1 column 1 of the wall \"W1\" holds the tile \"T-001\""}}},
    {"a place filled twice, by an earlier file",
     "build",
     "build",
     BUILD "T-001," AT("10:00") ",W1,1,1,in,S,1\n",
     BUILD "T-002," AT("09:00") ",W1,1,1,in,S,1\n",
     0,
     {{2, 3, "link.place", "by line 2 of \"a_1.csv\""}}},
    {"taken out first",
     "build",
     "build",
     BUILD "T-001," AT("10:00") ",W1,1,1,in,S,1\n",
     BUILD "T-001," AT("11:00") ",W1,,,out,S,1\nT-002," AT("11:30") ",W1,1,1,in,S,1\nT-001," AT(
         "12:00") ",W2,1,1,in,S,1\n",
     3,
     {{0}}},
    {"put in before the other was taken out",
     "build",
     "build",
     BUILD "T-001," AT("10:00") ",W1,1,1,in,S,1\n",
     BUILD "T-002," AT("10:30") ",W1,1,1,in,S,1\nT-001," AT("11:00") ",W1,,,out,S,1\n",
     1,
     {{2, 3, "link.place", "holds the tile \"T-001\""}}},
    {"two tiles change places in one file",
     "build",
     "build",
     BUILD "T-001," AT("10:00") ",W1,1,1,in,S,1\nT-002," AT("10:00") ",W2,1,1,in,S,1\n",
     BUILD "T-001," AT("11:00") ",W1,,,out,S,1\nT-001," AT("11:10") ",W2,1,1,in,S,1\nT-002," AT(
         "11:00") ",W2,,,out,S,1\nT-002," AT("11:10") ",W1,1,1,in,S,1\n",
     4,
     {{0}}},
    {"made after it was built in",
     "later",
     "make",
     MAKE "T-001," AT("15:00") ",1\n",
     "wall,at,tile,x\nW1," AT("10:00") ",T-001,1\nW1," AT("10:01") ",T-002,1\n",
     1,
     {{2, 3, "link.order", "was made at 2026-03-04T15:00:00Z, after 2026-03-04T10:00:00Z"}}},
    {"within the clocks' tolerance",
     "later",
     "make",
     MAKE "T-001," AT("10:30") ",1\n",
     "wall,at,tile,x\nW1," AT("10:00") ",T-001,1\n",
     1,
     {{0}}},
    {"a serial used twice",
     "make",
     "make",
     MAKE "T-001," AT("10:00") ",1\n",
     MAKE "T-001,2026-03-20T10:00:00Z,1\nT-002,2026-03-20T10:00:00Z,1\n",
     1,
     {{2, 1, "serial.used", "was at this station on 2026-03-04T10:00:00Z"}}},
    {"a serial used twice, the later file first",
     "make",
     "make",
     MAKE "T-001,2026-03-20T10:00:00Z,1\n",
     MAKE "T-001," AT("10:00") ",1\n",
     0,
     {{2, 1, "serial.used", "2026-03-20T10:00:00Z"}}},
    {"a serial used twice in one file",
     "make",
     NULL,
     NULL,
     MAKE "T-001," AT("10:00") ",1\nT-001,2026-03-20T10:00:00Z,1\n",
     0,
     {{2, 1, "serial.used", "lie closer together"}, {3, 1, "serial.used", "2026-03-04"}}},
    {"measured again in time",
     "make",
     "make",
     MAKE "T-001," AT("10:00") ",1\n",
     MAKE "T-001,2026-03-13T10:00:00Z,1\n",
     1,
     {{0}}},
    {"a word for how it was read that is not declared",
     "build",
     NULL,
     NULL,
     BUILD "T-001," AT("10:00") ",W1,1,1,in,Q,1\nT-002," AT("10:00") ",W1,1,2,in,,1\n",
     1,
     {{2, 7, "word.unknown", "\"Q\" is not among the words"}}},
    {"a share above one",
     "blend",
     NULL,
     NULL,
     BLEND "A," AT("10:00") ",B,1.5,1\n",
     0,
     {{2, 4, "value.impossible", "no share"}}},
};

static void check_held(size_t row)
{
    int count = 0;

    for (; count < MOST_HELD && rows[row].held[count].code; count++) {
        const char *where = an_arena_printf(
            bench.arena, "file_id = (SELECT max(file_id) FROM file) AND line_no = %d",
            rows[row].held[count].line);

        ck_assert_msg(strcmp(bench_word(an_arena_printf(bench.arena,
                                                        "SELECT code FROM held WHERE %s", where)),
                             rows[row].held[count].code) == 0,
                      "%s: %s", rows[row].name, shown());
        ck_assert_msg(
            strstr(bench_word(an_arena_printf(bench.arena, "SELECT why FROM held WHERE %s", where)),
                   rows[row].held[count].piece) != NULL,
            "%s: %s", rows[row].name, shown());
        ck_assert_msg(bench_number(an_arena_printf(bench.arena,
                                                   "SELECT column_no FROM held WHERE %s", where)) ==
                          rows[row].held[count].column,
                      "%s: %s", rows[row].name, shown());
        ck_assert_ptr_nonnull(an_held_advice(rows[row].held[count].code));
    }
    ck_assert_msg(bench.last.file.held == count, "%s: %s", rows[row].name, shown());
}

/* In memory, and with everything written away after each visit. */
START_TEST(refused_links)
{
    const size_t row = (size_t)_i / 2;

    bench_open(stations);
    if (_i % 2) {
        bench.tuning.block_rows = 1;
        bench.tuning.open_visits = 1;
        bench_collector();
    }
    if (rows[row].before) {
        (void)bench_give(an_arena_printf(bench.arena, "%s/a_1.csv", rows[row].before_station),
                         rows[row].before);
        ck_assert_msg(bench.last.file.held == 0, "%s: %s", rows[row].name, shown());
    }
    (void)bench_give(an_arena_printf(bench.arena, "%s/a_2.csv", rows[row].station), rows[row].now);
    ck_assert_msg(bench.last.how == AN_TAKEN, "%s: %s", rows[row].name, shown());
    ck_assert_msg(bench.last.file.taken == rows[row].taken, "%s: %s", rows[row].name, shown());
    check_held(row);
    bench_close();
}
END_TEST

/* ---- taken ---------------------------------------------------------------------------------------- */
/* Tile by tile: wall, place, share, since, until, confidence, as rows of view_links. */
static const char *links(void)
{
    return bench_word(
        "SELECT group_concat(x, '; ') FROM (SELECT parent || '>' || child || ' ' || row_no || ','"
        " || column_no || ' ' || share || ' ' || substr(at_utc, 12, 5) || '-' ||"
        " coalesce(substr(until_utc, 12, 5), '') || ' ' || coalesce(confidence, '?') AS x"
        " FROM view_links ORDER BY parent, at_us)");
}

START_TEST(a_tile_moves)
{
    static const char wanted[] =
        "T-001>W1 1,1 0.25 10:00-11:00 scanned; T-001>W2 2,3 0.25 12:00-13:00 typed; "
        "T-001>W1 1,1 0.25 14:00- ?; T-002>W1 1,1 0.25 11:30-13:30 typed";
    bench_open(stations);
    (void)bench_give(
        "build/a.csv",
        BUILD "T-001," AT(
            "10:00") ",W1,1,1,in,S,1\n"
                     "T-001," AT(
                         "11:00") ",W1,,,out,S,1\n"
                                  "T-002," AT(
                                      "11:30") ",W1,1,1,in,H,1\n"
                                               "T-001," AT(
                                                   "12:00") ",W2,2,3,in,K,1\n"
                                                            "T-001," AT(
                                                                "13:00") ",W2,2,3,out,,1\n"
                                                                         "T-002," AT(
                                                                             "13:30") ",W1,,,out,,1\n"
                                                                                      "T-001," AT(
                                                                                          "14:00") ",W1,1,1,in,,1\n");
    ck_assert_msg(bench.last.file.taken == 7, "%s", shown());
    ck_assert_str_eq(links(), wanted);
    bench_close();
}
END_TEST

/* The same rows, a file each, in an order in which every row can be taken. */
START_TEST(files_come_in_another_order)
{
    bench_open(stations);
    (void)bench_give("build/c.csv", BUILD "T-001," AT("12:00") ",W1,1,1,in,S,1\n");
    (void)bench_give("build/b.csv", BUILD "T-001," AT("11:00") ",W1,,,out,S,1\n");
    (void)bench_give("build/a.csv", BUILD "T-001," AT("10:00") ",W1,1,1,in,S,1\n");
    ck_assert_str_eq(links(), "T-001>W1 1,1 0.25 10:00-11:00 scanned; "
                              "T-001>W1 1,1 0.25 12:00- scanned");
    /* what was taken is known again */
    (void)bench_give("build/d.csv", BUILD "T-001," AT("11:00") ",W1,,,out,S,1\n\n");
    ck_assert_msg(bench.last.file.duplicate == 1, "%s", shown());
    ck_assert(bench_number("SELECT count(*) FROM link_end") == 1);
    bench_close();
}
END_TEST

START_TEST(shares_and_other_serials)
{
    bench_open(stations);
    (void)bench_give("blend/a.csv", BLEND "A," AT("10:00") ",B,0.75,1\nA," AT("10:00") ",C,,1\n");
    ck_assert_str_eq(bench_word("SELECT group_concat(parent || ' ' || coalesce(share, '?'), ', ')"
                                " FROM view_links"),
                     "B 0.75, C ?");
    (void)bench_give("mark/a.csv", "tile,at,old,x\nT-001," AT("10:00") ",T-901,1\n");
    ck_assert_msg(bench.last.file.taken == 1, "%s", shown());
    ck_assert_str_eq(bench_word("SELECT serial || ' was ' || other_serial || ' ' || from_utc || ' '"
                                " || until_utc || ' ' || line_no FROM view_aliases"),
                     "T-001 was T-901 2026-03-02T10:00:00.000Z 2026-03-04T10:00:00.000Z 2");
    (void)bench_give("later/a.csv", "wall,at,tile,x\nW1," AT("10:00") ",T-001,1\n");
    ck_assert_str_eq(bench_word("SELECT confidence FROM view_links WHERE child = 'W1'"),
                     "inferred");
    bench_close();
}
END_TEST

/* A row that was held because the removal was not told is taken when it is released after that. */
START_TEST(released_after_the_removal)
{
    bench_open(stations);
    (void)bench_give("build/a.csv", BUILD "T-001," AT("10:00") ",W1,1,1,in,S,1\n");
    (void)bench_give("build/b.csv", BUILD "T-002," AT("12:00") ",W1,1,1,in,S,1\n");
    ck_assert_msg(bench.last.file.held == 1, "%s", shown());
    (void)bench_give("build/c.csv", BUILD "T-001," AT("11:00") ",W1,,,out,S,1\n");
    struct an_held *held = NULL;
    size_t count = 0;
    const struct an_held_filter filter = {.code = "link.place",
                                          .from_us = AN_NO_INSTANT,
                                          .until_us = AN_NO_INSTANT,
                                          .state = AN_HELD_OPEN};
    const struct an_release_wish wish = {
        .cause = AN_RELEASE_PERSON, .author = "A. Person", .reason = "the removal came"};
    struct an_release_result result = {0};
    OK(an_store_held_rows(bench.store, &filter, 0, bench.arena, &held, &count, &bench.err));
    ck_assert_uint_eq(count, 1);
    OK(an_release_rows(bench.store, bench.line, held[0].file_id, held, count, &wish, bench.arena,
                       &result, &bench.err));
    ck_assert_str_eq(links(), "T-001>W1 1,1 0.25 10:00-11:00 scanned; "
                              "T-002>W1 1,1 0.25 12:00- scanned");
    bench_close();
}
END_TEST

static void run_raw(const char *sql)
{
    sqlite3 *db = NULL;
    const char *path = an_arena_printf(bench.arena, "%s/line.store", bench.folder);

    ck_assert_int_eq(sqlite3_open(path, &db), SQLITE_OK);
    ck_assert_msg(sqlite3_exec(db, sql, NULL, NULL, NULL) == SQLITE_OK, "%s: %s", sql,
                  sqlite3_errmsg(db));
    (void)sqlite3_close(db);
}

/* The digest of a file covers ends, confidences and aliases: changing one is seen. */
START_TEST(digests_cover_them)
{
    struct an_sha256 before;
    struct an_sha256 after;

    bench_open(stations);
    (void)bench_give("build/a.csv", BUILD
                     "T-001," AT("10:00") ",W1,1,1,in,S,1\nT-001," AT("11:00") ",W1,,,out,S,1\n");
    (void)bench_give("mark/a.csv", "tile,at,old,x\nT-001," AT("10:00") ",T-901,1\n");
    static const struct {
        int64_t file;
        const char *sql;
    } changes[] = {
        {1, "DROP TRIGGER link_end_no_update; UPDATE link_end SET at_us = at_us + 1"},
        {1, "DROP TRIGGER link_trait_no_update; UPDATE link_trait SET confidence = 3"},
        {2, "DROP TRIGGER alias_no_update; UPDATE alias SET until_us = NULL"},
    };
    for (size_t i = 0; i < sizeof changes / sizeof *changes; i++) {
        OK(an_store_file_digest(bench.store, changes[i].file, &before, &bench.err));
        run_raw(changes[i].sql);
        OK(an_store_file_digest(bench.store, changes[i].file, &after, &bench.err));
        ck_assert(memcmp(before.at, after.at, sizeof before.at) != 0);
    }
    bench_close();
}
END_TEST

/* Every allocation fails once while a file is taken of which a link is refused, a removal makes room
 * and an old serial is told: nothing of it is stored, and afterwards it is taken as ever. */
START_TEST(memory_runs_out)
{
    static const char text[] =
        BUILD "T-001," AT("11:00") ",W1,,,out,S,1\n"
                                   "T-002," AT("11:30") ",W1,1,1,in,S,1\n"
                                                        "T-003," AT("11:40") ",W1,1,1,in,H,1\n";
    size_t k = 1;
    enum an_status st = AN_NO_MEMORY;

    bench_open(stations);
    (void)bench_give("build/a.csv", BUILD "T-001," AT("10:00") ",W1,1,1,in,S,1\n");
    const char *path = bench_text("build/b.csv", text);
    for (; st && k < 20000; k += k < 300 ? 1 : 37) {
        (void)an_alloc_fail_at(k, false);
        st = an_collect_file(bench.collect, path, &bench.last, &bench.err);
        (void)an_alloc_fail_at(0, false);
        ck_assert_msg(st == AN_OK || st == AN_NO_MEMORY, "%zu: %s %s", k, an_status_name(st),
                      bench.err.text);
        if (st) {
            ck_assert(bench_number("SELECT count(*) FROM file") == 1);
            ck_assert(bench_number("SELECT count(*) FROM link_end") == 0);
        }
    }
    ck_assert_msg(k > 30 && k < 20000, "%zu: %s", k, bench.err.text);
    ck_assert_msg(bench.last.file.taken == 2 && bench.last.file.held == 1, "%s", shown());
    ck_assert_str_eq(links(), "T-001>W1 1,1 0.25 10:00-11:00 scanned; "
                              "T-002>W1 1,1 0.25 11:30- scanned");
    bench_close();
}
END_TEST

int main(int argc, char **argv)
{
    Suite *suite = suite_create("genealogy");
    TCase *tcase = tcase_create("links");

    tcase_add_loop_test(tcase, refused_links, 0, 2 * (int)(sizeof rows / sizeof *rows));
    tcase_add_test(tcase, a_tile_moves);
    tcase_add_test(tcase, files_come_in_another_order);
    tcase_add_test(tcase, shares_and_other_serials);
    tcase_add_test(tcase, released_after_the_removal);
    tcase_add_test(tcase, digests_cover_them);
    tcase_add_test(tcase, memory_runs_out);
    suite_add_tcase(suite, tcase);
    return bench_main(suite, argc, argv);
}
