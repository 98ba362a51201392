/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Files against what their station did before: rows that come again, corrections, unknown items,
 * clocks, running numbers, machines, units, gauges. What happens in each case is the program's own
 * promise in docs/held.md; that such files come is common practice, no source. The factors between
 * units are those of NIST SP 811 (2008), appendix B.8.
 */
#include "intake/release.h"
#include "intake/watch.h"
#include "support.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char stations[] = "  make:\n"
                               "    time: {column: at}\n"
                               "    item: {kind: tile, column: tile, made_here: yes}\n"
                               "    characteristics: {m: {column: m, unit: um}}\n"
                               "  test:\n"
                               "    preamble: {machine: \"machine=([A-Z0-9]+)\"}\n"
                               "    format: {comment: \"#\"}\n"
                               "    time: {column: at}\n"
                               "    item: {kind: tile, column: tile}\n"
                               "    attempt_column: attempt\n"
                               "    reason_column: why\n"
                               "    identity: machine\n"
                               "    file_number: {name: \"_([0-9]+)[.]csv\"}\n"
                               "    gauge_column: gauge\n"
                               "    characteristics:\n"
                               "      x: {column: x, unit: um, position_column: site}\n"
                               "  keyed:\n"
                               "    time: {column: at}\n"
                               "    item: {kind: tile, column: tile}\n"
                               "    key: [at, run]\n"
                               "    characteristics: {x: {column: x, unit: um}}\n"
                               "  strict:\n"
                               "    time: {column: at}\n"
                               "    item: {kind: free, column: part}\n"
                               "    links: [{column: donor, kind: tile, known_first: yes}]\n"
                               "    characteristics: {x: {column: x, unit: um}}\n"
                               "  known:\n"
                               "    time: {column: at}\n"
                               "    item: {kind: tile, column: tile, known_first: yes}\n"
                               "    characteristics: {x: {column: x, unit: um}}\n"
                               "  ship:\n"
                               "    time: {column: at}\n"
                               "    item: {kind: wall, column: wall}\n"
                               "    links: [{column: tile, kind: tile}]\n"
                               "    characteristics: {x: {column: x, unit: um}}\n"
                               "  single:\n"
                               "    time: {column: at}\n"
                               "    item: {kind: free, column: id}\n"
                               "    characteristics: {t: {column: t, unit: um, subgroup: row}}\n";

#define T(n) "2026-03-04T10:" n ":00Z"
#define HEAD "tile,at,site,x,attempt,why,gauge\n"

static bool has_note(const char *code)
{
    const char *quoted = an_arena_printf(bench.arena, "\"code\":\"%s\"", code);

    return bench.last.file.notes && strstr(bench.last.file.notes, quoted);
}

static const char *shown(void)
{
    const struct an_file *file = &bench.last.file;

    return an_arena_printf(bench.arena, "how %d: %lld = %lld + %lld + %lld + %lld, %s %s, %s",
                           (int)bench.last.how, (long long)file->rows, (long long)file->taken,
                           (long long)file->duplicate, (long long)file->held,
                           (long long)file->blank, file->code ? file->code : "-",
                           file->why ? file->why : "-", file->notes ? file->notes : "-");
}

/* What follows the rows already there: with which bins, which first reason, which note. */
static const struct {
    const char *station, *before, *now;
    int taken, duplicate, held;
    const char *code, *note;
} cases[] = {
    /* the same rows, some more: other order of rows and columns, other padding */
    {"test", HEAD "T-001," T("01") ",a,1,,,\nT-001," T("02") ",a,2,,,\n",
     "x,tile,at,site,attempt,why,gauge\n3,T-001," T("03") ",a,,,\n2.0,T-001," T(
         "02") ",a,,,\n1,T-001," T("01") ",a,,,\n",
     1, 2, 0, NULL, NULL},
    /* a new row between the old ones */
    {"test", HEAD "T-001," T("01") ",a,1,,,\nT-001," T("05") ",a,2,,,\n",
     HEAD "T-001," T("03") ",a,9,,,\n", 1, 0, 0, NULL, NULL},
    /* at another time: a further measurement */
    {"test", HEAD "T-001," T("01") ",a,1,,,\n", HEAD "T-001," T("09") ",a,7,,,\n", 1, 0, 0, NULL,
     NULL},
    /* the same row, another value */
    {"test", HEAD "T-001," T("01") ",a,1,,,\n", HEAD "T-001," T("01") ",a,1.5,,,\n", 0, 0, 1,
     "row.conflict", NULL},
    /* ... as another place it is another row */
    {"test", HEAD "T-001," T("01") ",a,1,,,\n", HEAD "T-001," T("01") ",b,1.5,,,\n", 1, 0, 0, NULL,
     NULL},
    /* a higher attempt, a reason */
    {"test", HEAD "T-001," T("01") ",a,1,1,,\n", HEAD "T-001," T("01") ",a,1.5,2,,\n", 1, 0, 0,
     NULL, "rows.superseded"},
    {"test", HEAD "T-001," T("01") ",a,1,,,\n", HEAD "T-001," T("01") ",a,1.5,2,,\n", 1, 0, 0, NULL,
     "rows.superseded"}, /* an attempt without a number is the first */
    {"test", HEAD "T-001," T("01") ",a,1,,,\n", HEAD "T-001," T("01") ",a,1.5,1,,\n", 0, 0, 1,
     "row.conflict", NULL},
    {"test", HEAD "T-001," T("01") ",a,1,2,,\n", HEAD "T-001," T("01") ",a,1.5,1,,\n", 0, 0, 1,
     "row.conflict", NULL},
    {"test", HEAD "T-001," T("01") ",a,1,,,\n", HEAD "T-001," T("01") ",a,1.5,,typing error,\n", 1,
     0, 0, NULL, "rows.superseded"},
    /* a correction of one row that leaves the item's other row out; one that repeats it */
    {"test", HEAD "T-001," T("01") ",a,1,1,,\nT-001," T("02") ",a,2,1,,\n",
     HEAD "T-001," T("01") ",a,1.5,2,,\n", 0, 0, 1, "row.conflict", NULL},
    {"test", HEAD "T-001," T("01") ",a,1,1,,\nT-001," T("02") ",a,2,1,,\n",
     HEAD "T-001," T("01") ",a,1.5,2,,\nT-001," T("02") ",a,2,1,,\n", 2, 0, 0, NULL,
     "rows.superseded"},
    /* a usual key that rows share tells nothing; a declared one does */
    {"test", HEAD "T-001," T("01") ",a,1,,,\nT-001," T("01") ",a,2,,,\n",
     HEAD "T-001," T("01") ",a,1,,,\nT-001," T("01") ",a,3,,,\n", 1, 1, 0, NULL, NULL},
    {"keyed", "tile,at,run,x\nT-001," T("01") ",1,5\n", "tile,at,run,x\nT-001," T("01") ",2,6\n", 1,
     0, 0, NULL, NULL},
    {"keyed", "tile,at,run,x\nT-001," T("01") ",1,5\n", "tile,at,run,x\nT-001," T("01") ",1,6\n", 0,
     0, 1, "row.conflict", NULL},
    /* unknown items */
    {"strict", "part,at,donor,x\nA," T("01") ",,1\n",
     "part,at,donor,x\nB," T("02") ",T-009,1\nB," T("02") ",,2\n", 1, 0, 1, "parent.unknown", NULL},
    {"known", "tile,at,x\n", "tile,at,x\nT-003," T("02") ",1\n", 0, 0, 1, "parent.unknown", NULL},
    /* columns: moved, come, gone */
    {"keyed", "tile,at,run,x\nT-001," T("01") ",1,5\n", "x,tile,at,run\n5,T-001," T("02") ",2\n", 1,
     0, 0, NULL, "columns.moved"},
    {"keyed", "tile,at,run,x\nT-001," T("01") ",1,5\n",
     "tile,at,run,x,new\nT-001," T("02") ",2,6,?\n", 1, 0, 0, NULL, "columns.unused"},
    {"keyed", "tile,at,run,x,old\nT-001," T("01") ",1,5,?\n",
     "tile,at,run,x\nT-001," T("02") ",2,6\n", 1, 0, 0, NULL, "columns.gone"},
    /* late; clocks */
    {"keyed", "tile,at,run,x\nT-001,2026-03-04T20:00:00Z,1,5\n",
     "tile,at,run,x\nT-002," T("02") ",2,6\n", 1, 0, 0, NULL, "rows.late"},
    {"keyed", "tile,at,run,x\n", "tile,at,run,x\nT-001,2026-12-20T12:30:00Z,1,5\n", 1, 0, 0, NULL,
     "clock.ahead"},
    {"keyed", "tile,at,run,x\n", "tile,at,run,x\nT-001,2026-12-20T13:30:00Z,1,5\n", 0, 0, 0,
     "clock", NULL},
    {"keyed", "tile,at,run,x\n", "tile,at,run,x\nT-001,1970-01-01T00:05:00Z,1,5\n", 0, 0, 0,
     "clock", NULL},
    /* machines */
    {"test", "# machine=M1\n" HEAD "T-001," T("01") ",a,1,,,\n",
     "# machine=M2\n" HEAD "T-001," T("02") ",a,1,,,\n", 0, 0, 0, "station.identity", NULL},
    {"test", "# machine=M1\n" HEAD "T-001," T("01") ",a,1,,,\n",
     "# machine=M1\n" HEAD "T-001," T("02") ",a,1,,,\n", 1, 0, 0, NULL, NULL},
    {"test", "# machine=M1\n" HEAD "T-001," T("01") ",a,1,,,\n", HEAD "T-001," T("02") ",a,1,,,\n",
     1, 0, 0, NULL, "identity.missing"},
    /* no text */
    {"test", HEAD, "\x1F\x8B\x08\x01\x01\x01\x01\x01", 0, 0, 0, "file.binary", NULL},
};

START_TEST(what_follows)
{
    const bool whole = cases[_i].code && !cases[_i].held;

    bench_open(stations);
    (void)bench_give(an_arena_printf(bench.arena, "%s/a_1.csv", cases[_i].station),
                     cases[_i].before);
    ck_assert_msg(bench.last.how == AN_TAKEN, "%s", shown());
    const double before = bench.last.file.taken ? 1 : 0;
    (void)bench_give(an_arena_printf(bench.arena, "%s/a_2.csv", cases[_i].station), cases[_i].now);
    ck_assert_msg(bench.last.how == (whole ? AN_HELD_WHOLE : AN_TAKEN), "%s", shown());
    ck_assert_msg(whole || (bench.last.file.taken == cases[_i].taken &&
                            bench.last.file.duplicate == cases[_i].duplicate &&
                            bench.last.file.held == cases[_i].held),
                  "%s", shown());
    if (whole) {
        ck_assert_msg(strcmp(bench.last.file.code, cases[_i].code) == 0, "%s", shown());
        ck_assert_ptr_nonnull(an_held_advice(bench.last.file.code));
    } else if (cases[_i].code) {
        ck_assert_str_eq(bench_word("SELECT code FROM held WHERE file_id = 2"), cases[_i].code);
    }
    ck_assert_msg(!cases[_i].note || has_note(cases[_i].note), "%s", shown());
    ck_assert(bench_number("SELECT count(*) FROM file WHERE rows_in <> taken + duplicate + held +"
                           " blank") == 0);
    ck_assert(bench_number("SELECT coalesce(sum(rows_taken), 0) FROM visit WHERE file_id = 1") >=
              before);
    bench_close();
}
END_TEST

/* The earlier sample stays in the store and is no longer read. */
START_TEST(superseded_samples_leave_the_charts)
{
    struct an_sample *samples = NULL;
    size_t count = 0;
    int64_t newest = 0;
    int64_t earliest = 0;

    bench_open(stations);
    (void)bench_give("test/a_1.csv", HEAD "T-001," T("01") ",a,1,1,,\nT-002," T("02") ",a,4,1,,\n");
    (void)bench_give("test/a_2.csv", HEAD "T-001," T("01") ",a,2,2,,\n");
    ck_assert_msg(bench.last.file.taken == 1, "%s", shown());
    ck_assert(bench_number("SELECT count(*) FROM sample") == 3);
    ck_assert(bench_number("SELECT count(*) FROM superseded") == 1);
    ck_assert(bench_number("SELECT count(*) FROM view_samples") == 2);
    OK(an_store_samples(bench.store, 1, INT64_MIN, AN_NO_INSTANT, 0, bench.arena, &samples, &count,
                        &bench.err));
    ck_assert_uint_eq(count, 2);
    ck_assert_double_eq(samples[0].mean, 2);
    ck_assert_double_eq(samples[1].mean, 4);
    /* a check sees the change from the superseded sample on */
    OK(an_store_newest_sample(bench.store, 1, 2, &newest, &earliest, &bench.err));
    ck_assert_int_eq(newest, 3);
    ck_assert_int_eq(earliest, samples[0].at_us);
    /* what replaced is what counts from now on */
    (void)bench_give("test/a_3.csv", HEAD "T-001," T("01") ",a,2,2,,\n\n");
    ck_assert_msg(bench.last.file.duplicate == 1, "%s", shown());
    (void)bench_give("test/a_4.csv", HEAD "T-001," T("01") ",a,3,3,,\n");
    ck_assert_msg(has_note("rows.superseded"), "%s", shown());
    ck_assert(bench_number("SELECT count(*) FROM superseded") == 2);
    bench_close();
}
END_TEST

/* Rows of both a known and an unknown visit in one file, in small blocks, all written away. */
START_TEST(doubts_do_not_depend_on_memory)
{
    const char *usual = NULL;

    for (int i = 0; i < 3; i++) {
        struct an_text text = {0};

        bench_open(stations);
        if (i) {
            bench.tuning.block_rows = i == 1 ? 3 : 1;
            bench.tuning.open_visits = 2;
            bench_collector();
        }
        for (int file = 0; file < 3; file++) {
            an_text_clear(&text);
            an_text_add(&text, HEAD);
            for (int row = 0; row < 20 + 10 * file; row++) {
                an_text_addf(&text, "T-%03d,2026-03-04T10:%02d:00Z,s%d,%d,,,\n", row % 7, row,
                             row % 3, row == 5 && file == 2 ? 99 : row);
            }
            (void)bench_give(an_arena_printf(bench.arena, "test/f_%d.csv", file + 1),
                             an_text_of(&text));
        }
        an_text_free(&text);
        ck_assert_msg(bench.last.file.taken == 10 && bench.last.file.duplicate == 29 &&
                          bench.last.file.held == 1,
                      "%s", shown());
        const char *now =
            bench_word("SELECT group_concat(x, ' ') FROM (SELECT item_id || '/' || mean || '/' || n"
                       " || '/' || first_line AS x FROM sample ORDER BY file_id, item_id, at_us)");
        ck_assert(!usual || strcmp(usual, now) == 0);
        usual = i ? usual : strdup(now);
        bench_close();
    }
    free((void *)(uintptr_t)usual);
}
END_TEST

/* ---- waiting ------------------------------------------------------------------------------------ */
START_TEST(rows_wait_for_their_items)
{
    bench_open(stations);
    (void)bench_give("strict/a.csv", "part,at,donor,x\nA," T("01") ",T-001,1\nA," T(
                                         "02") ",T-002,2\nB," T("03") ",T-001,3\n");
    ck_assert_msg(bench.last.file.held == 3 && bench.last.file.taken == 0, "%s", shown());
    ck_assert(bench_number("SELECT count(*) FROM waiting") == 3);
    ck_assert(bench_number("SELECT count(*) FROM link") == 0);
    (void)bench_give("make/a.csv", "tile,at,m\nT-001," T("00") ",1\n");
    ck_assert(bench_number("SELECT count(*) FROM release") == 2);
    ck_assert(bench_number("SELECT cause FROM release_act") == AN_RELEASE_ITEM_CAME);
    ck_assert(bench_number("SELECT taken FROM file WHERE round = 1") == 2);
    ck_assert(bench_number("SELECT rows_in FROM file WHERE round = 1") == 2);
    ck_assert(bench_number("SELECT held FROM file WHERE station = 'strict' AND round = 0") == 3);
    ck_assert(bench_number("SELECT count(*) FROM link") == 2);
    ck_assert(bench_number("SELECT count(*) FROM view_held WHERE released_by IS NULL") == 1);
    /* a second one, and nothing twice */
    (void)bench_give("make/b.csv", "tile,at,m\nT-001," T("04") ",1\nT-002," T("05") ",1\n");
    ck_assert(bench_number("SELECT count(*) FROM release") == 3);
    ck_assert(bench_number("SELECT max(round) FROM file") == 2);
    (void)bench_give("make/c.csv", "tile,at,m\nT-002," T("06") ",1\n");
    ck_assert(bench_number("SELECT count(*) FROM release") == 3);
    bench_close();
}
END_TEST

/* ---- releasing ---------------------------------------------------------------------------------- */
static struct an_release_result release(const char *code, bool as_is)
{
    const struct an_release_wish wish = {
        .cause = AN_RELEASE_PERSON, .as_is = as_is, .author = "A. Person", .reason = "mended"};
    const struct an_held_filter filter = {
        .code = code, .from_us = AN_NO_INSTANT, .until_us = AN_NO_INSTANT, .state = AN_HELD_OPEN};
    struct an_release_result result = {0};
    struct an_held *rows = NULL;
    struct an_held_file *files = NULL;
    size_t count = 0;

    OK(an_store_held_rows(bench.store, &filter, 0, bench.arena, &rows, &count, &bench.err));
    if (count) {
        OK(an_release_rows(bench.store, bench.line, rows[0].file_id, rows, count, &wish,
                           bench.arena, &result, &bench.err));
    }
    OK(an_store_held_files(bench.store, &filter, bench.arena, &files, &count, &bench.err));
    for (size_t i = 0; i < count; i++) {
        OK(an_release_file(bench.store, bench.line, &files[i].file, &wish, bench.arena, &result,
                           &bench.err));
    }
    return result;
}

static void expect_sound(void)
{
    bool sound = false;

    OK(an_store_releases_check(bench.store, &sound, &bench.err));
    ck_assert_msg(sound, "%s", bench.err.text);
    OK(an_ledger_check(bench.store, &sound, &bench.err));
    ck_assert_msg(sound, "%s", bench.err.text);
}

#define MENDED(missing)                                                                            \
    "  make:\n"                                                                                    \
    "    time: {column: at}\n"                                                                     \
    "    item: {kind: tile, column: tile, made_here: yes}\n"                                       \
    "    characteristics: {m: {column: m, unit: um" missing "}}\n"

START_TEST(rows_that_fit_now_are_let_in)
{
    struct an_station_traffic *traffic = NULL;
    size_t count = 0;

    bench_open(MENDED(""));
    (void)bench_give("make/a.csv",
                     "tile,at,m\nT-001," T("01") ",1\nT-001," T("02") ",ND\n\nT-O02," T(
                         "03") ",2\nT-003," T("04") ",ND\nT-004," T("05") ",4");
    ck_assert_msg(bench.last.file.taken == 1 && bench.last.file.held == 4, "%s", shown());
    struct an_release_result result = release(NULL, false);
    ck_assert_int_eq(result.let_in, 0); /* nothing was mended */
    ck_assert_int_eq(result.still_held, 4);
    ck_assert(bench_number("SELECT count(*) FROM release_act") == 0);
    bench_describe(MENDED(", missing: [ND]"));
    result = release(NULL, false);
    ck_assert_int_eq(result.let_in, 2);
    ck_assert_int_eq(result.still_held, 2);
    ck_assert(bench_number("SELECT count(*) FROM release") == 2);
    ck_assert(bench_number("SELECT taken FROM file WHERE round = 1") == 2);
    ck_assert(bench_number("SELECT count(*) FROM held") == 4);
    ck_assert(bench_number("SELECT count(*) FROM original") == 1);
    /* again: nothing */
    result = release(NULL, false);
    ck_assert_int_eq(result.let_in, 0);
    ck_assert(bench_number("SELECT count(*) FROM file") == 2);
    /* a row counts once, where it lies now */
    OK(an_store_traffic(bench.store, AN_NO_INSTANT, AN_NO_INSTANT, bench.arena, &traffic, &count,
                        &bench.err));
    ck_assert_uint_eq(count, 1);
    ck_assert_int_eq(traffic[0].files, 1);
    ck_assert_int_eq(traffic[0].rows, 6);
    ck_assert_int_eq(traffic[0].taken, 3);
    ck_assert_int_eq(traffic[0].held, 2);
    ck_assert_int_eq(traffic[0].blank, 1);
    expect_sound();
    bench_close();
}
END_TEST

START_TEST(doubts_about_files_are_set_aside)
{
    bench_open(stations);
    (void)bench_give("test/a_1.csv", "# machine=M1\n" HEAD "T-001," T("01") ",a,1,,,\n");
    (void)bench_give("test/a_2.csv", "# machine=M2\n" HEAD "T-002," T("02") ",a,1,,,\n");
    ck_assert_int_eq(bench.last.how, AN_HELD_WHOLE);
    struct an_release_result result = release("station.identity", false);
    ck_assert(result.whole);
    ck_assert_str_eq(result.file.code, "station.identity");
    result = release("station.identity", true);
    ck_assert(!result.whole);
    ck_assert_int_eq(result.let_in, 1);
    ck_assert(bench_number("SELECT as_is FROM release_act") == 1);
    ck_assert(bench_number("SELECT count(*) FROM file WHERE state = 0") == 2);
    ck_assert(bench_number("SELECT count(*) FROM visit") == 2);
    /* confirmed: the next one of that machine is taken */
    (void)bench_give("test/a_3.csv", "# machine=M2\n" HEAD "T-003," T("03") ",a,1,,,\n");
    ck_assert_msg(bench.last.how == AN_TAKEN, "%s", shown());
    result = release(NULL, true);
    ck_assert_int_eq(result.let_in, 0);
    ck_assert(bench_number("SELECT count(*) FROM release_act") == 1);
    expect_sound();
    bench_close();
}
END_TEST

/* A file held whole that is collected again once the description fits it. */
START_TEST(collected_again_is_a_release)
{
    bench_open(MENDED(""));
    const char *path = bench_text("make/a.csv", "tile,at,mm\nT-001," T("01") ",1\n");
    (void)bench_take(path);
    ck_assert_str_eq(bench.last.file.code, "header.column");
    bench_describe("  make:\n"
                   "    time: {column: at}\n"
                   "    item: {kind: tile, column: tile, made_here: yes}\n"
                   "    characteristics: {m: {column: mm, unit: um}}\n");
    (void)bench_take(path);
    ck_assert_msg(bench.last.how == AN_TAKEN, "%s", shown());
    ck_assert(bench_number("SELECT count(*) FROM release WHERE held_id IS NULL") == 1);
    ck_assert(bench_number("SELECT cause FROM release_act") == AN_RELEASE_DESCRIPTION);
    expect_sound();
    bench_close();
}
END_TEST

/* ---- running numbers ---------------------------------------------------------------------------- */
START_TEST(numbers_that_are_missing)
{
    struct an_missing_file *missing = NULL;
    size_t count = 0;

    bench_open(stations);
    (void)bench_give("test/a_3.csv", HEAD "T-001," T("01") ",a,1,,,\n");
    (void)bench_give("test/a_7.csv", HEAD "T-001," T("02") ",a,2,,,\n");
    ck_assert_msg(has_note("sequence.gap"), "%s", shown());
    OK(an_store_missing_files(bench.store, NULL, bench.arena, &missing, &count, &bench.err));
    ck_assert_uint_eq(count, 3);
    ck_assert_int_eq(missing[0].number, 4);
    ck_assert_int_eq(missing[2].number, 6);
    (void)bench_give("test/a_5.csv", ""); /* held, but it has come */
    ck_assert_int_eq(bench.last.how, AN_HELD_WHOLE);
    OK(an_store_missing_files(bench.store, "test", bench.arena, &missing, &count, &bench.err));
    ck_assert_uint_eq(count, 2);
    (void)bench_give("test/b_7.csv", HEAD "T-001," T("03") ",a,3,,,\n");
    ck_assert_msg(has_note("sequence.again"), "%s", shown());
    bench_close();
}
END_TEST

/* ---- values ------------------------------------------------------------------------------------- */
static void give_values(const char *name, int minute, int count, double base, double step)
{
    struct an_text text = {0};

    an_text_add(&text, "id,at,t\n");
    for (int i = 0; i < count; i++) {
        an_text_addf(&text, "I%s%d,2026-03-04T%02d:%02d:%02dZ,%.3f\n", name, i, 6 + minute / 60,
                     minute % 60, i, base + step * (i % 5));
    }
    (void)bench_give(an_arena_printf(bench.arena, "single/%s.csv", name), an_text_of(&text));
    an_text_free(&text);
}

START_TEST(stuck_gauges_and_changed_units)
{
    bench_open(stations);
    give_values("a", 1, 40, 14.0, 0.1);
    ck_assert_msg(!has_note("values.pinned"), "%s", shown());
    give_values("b", 2, 12, 14.2, 0);
    ck_assert_msg(has_note("values.pinned") && bench.last.file.taken == 12, "%s", shown());
    ck_assert(bench_number("SELECT count(*) FROM suspect WHERE code = 'values.pinned'") == 12);
    give_values("c", 3, 9, 14.2, 0); /* too few to tell */
    ck_assert_msg(!has_note("values.pinned"), "%s", shown());
    give_values("d", 4, 20, 14000, 100);
    ck_assert_msg(bench.last.how == AN_HELD_WHOLE &&
                      strcmp(bench.last.file.code, "unit.suspect") == 0,
                  "%s", shown());
    ck_assert(strstr(bench.last.file.why, "1000 times") != NULL);
    give_values("e", 5, 20, 20, 0.1); /* bad product is data */
    ck_assert_msg(bench.last.how == AN_TAKEN, "%s", shown());
    struct an_release_result result = release("unit.suspect", true);
    ck_assert_int_eq(result.let_in, 20);
    bench_close();
}
END_TEST

/* Levels of a stream before, and a file's readings: is a unit guessed? */
static const struct {
    double before, spread, now;
    const char *unit;
    bool guessed;
} units[] = {
    {14.2, 0.02, 14200, "um", true},
    {14200, 0.02, 14.2, "nm", true},
    {0.97, 0.01, 97, "%", true},
    {800, 0.03, 800 / 3.426259, "cd/m2", true},
    {233, 0.03, 233 * 3.426259, "fL", true},
    {2.0, 0.01, 50.8, "mm", true},
    {25, 0.05, 298.15, "degC", true},
    {298.15, 0.01, 25, "K", true},
    {14.2, 0.02, 142, "um", false},
    {14.2, 0.02, 28.4, "um", false},
    /* a step that only another quantity's units know */
    {14.2, 0.02, 14.2 / 3.426259, "um", false},
    {800, 0.03, 800 * 25.4, "cd/m2", false},
    {14.2, 0.02, 1420, "um", false},
    {14.2, 0.02, 14.9, "um", false},
    {0, 1, 1000, "um", false},
    {14.2, 60, 14200, "um", false},
    {800, 0.03, 100, "cd/m2", false},
};

START_TEST(unit_guesses)
{
    double before[20];
    double now[10];

    for (size_t i = 0; i < 20; i++) {
        before[i] = units[_i].before + units[_i].spread * ((double)i - 9.5) / 10 *
                                           (units[_i].before > 0 ? units[_i].before : 1);
    }
    for (size_t i = 0; i < 10; i++) {
        now[i] = units[_i].now * (1 + 0.001 * (double)i);
    }
    struct an_unit_guess guess = an_unit_guess(now, 10, 10, before, 20, units[_i].unit);
    ck_assert_int_eq(guess.what != NULL, units[_i].guessed);
    /* too little to tell from */
    guess = an_unit_guess(now, 10, 10, before, 9, units[_i].unit);
    ck_assert_ptr_null(guess.what);
    guess = an_unit_guess(now, 2, 4, before, 20, units[_i].unit);
    ck_assert_ptr_null(guess.what);
    now[3] = (double)NAN;
    guess = an_unit_guess(now, 10, 10, before, 20, units[_i].unit);
    ck_assert_ptr_null(guess.what);
}
END_TEST

/* ---- items' own histories ------------------------------------------------------------------------ */
START_TEST(before_it_was_made)
{
    bench_open(stations);
    (void)bench_give("make/a.csv", "tile,at,m\nT-001,2026-03-04T12:00:00Z,1\n"
                                   "T-002,2026-03-04T09:00:00Z,1\nT-003,2026-03-04T09:00:00Z,1\n");
    (void)bench_give("keyed/a.csv", "tile,at,run,x\nT-001,2026-03-04T10:00:00Z,1,5\n"
                                    "T-002,2026-03-04T10:00:00Z,1,5\n"
                                    "T-003,2026-03-04T10:00:00Z,1,5\n");
    ck_assert_msg(bench.last.file.taken == 2 && bench.last.file.held == 1, "%s", shown());
    ck_assert_str_eq(bench_word("SELECT code FROM held"), "time.before");
    (void)bench_give("keyed/b.csv", "tile,at,run,x\nT-001,2026-03-04T11:30:00Z,1,5\n");
    ck_assert_msg(has_note("clock.before") && bench.last.file.taken == 1, "%s", shown());
    (void)bench_give("keyed/c.csv", "tile,at,run,x\nT-001,2026-03-03T10:00:00Z,1,5\n"
                                    "T-002,2026-03-03T10:00:00Z,1,5\n");
    ck_assert_msg(bench.last.how == AN_HELD_WHOLE && strcmp(bench.last.file.code, "clock") == 0,
                  "%s", shown());
    bench_close();
}
END_TEST

START_TEST(gauges_that_are_due)
{
    static const struct {
        const char *gauge, *day;
        bool due;
    } rows[] = {{"G1", "2026-03-01", false},
                {"G1", "2026-03-02", true},
                {"G2", "2026-03-02", true},
                {"G9", "2026-03-02", true},
                {"G3", "2026-03-02", false}};

    bench_open("  cam:\n"
               "    time: {column: at}\n"
               "    item: {kind: free, column: id}\n"
               "    gauge_column: g\n"
               "    characteristics: {x: {column: x, unit: um}}\n"
               "  far:\n"
               "    time: file\n"
               "    item: {kind: free, column: id}\n"
               "gauges:\n"
               "  G1: {calibrated_until: 2026-03-01}\n"
               "  G2: {calibrated_until: 2027-03-01, station: far}\n"
               "  G3: {calibrated_until: 2027-03-01, station: cam}\n");
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        (void)bench_give(an_arena_printf(bench.arena, "cam/%zu.csv", i),
                         an_arena_printf(bench.arena, "id,at,x,g\nI%zu,%sT21:30:00Z,1,%s\n", i,
                                         rows[i].day, rows[i].gauge));
        ck_assert_msg(bench.last.file.taken == 1 && has_note("gauge.due") == rows[i].due, "%zu: %s",
                      i, shown());
    }
    ck_assert(bench_number("SELECT count(*) FROM suspect WHERE code = 'gauge.due'") == 3);
    bench_close();
}
END_TEST

int main(int argc, char **argv)
{
    Suite *suite = suite_create("history");
    TCase *group = tcase_create("history");

    tcase_add_loop_test(group, what_follows, 0, (int)(sizeof cases / sizeof cases[0]));
    tcase_add_test(group, superseded_samples_leave_the_charts);
    tcase_add_test(group, doubts_do_not_depend_on_memory);
    tcase_add_test(group, rows_wait_for_their_items);
    tcase_add_test(group, rows_that_fit_now_are_let_in);
    tcase_add_test(group, doubts_about_files_are_set_aside);
    tcase_add_test(group, collected_again_is_a_release);
    tcase_add_test(group, numbers_that_are_missing);
    tcase_add_test(group, stuck_gauges_and_changed_units);
    tcase_add_loop_test(group, unit_guesses, 0, (int)(sizeof units / sizeof units[0]));
    tcase_add_test(group, before_it_was_made);
    tcase_add_test(group, gauges_that_are_due);
    suite_add_tcase(suite, group);
    return bench_main(suite, argc, argv);
}
