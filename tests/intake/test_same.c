/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The same again: same bytes, same rows in another file or order, the same file with other bounds
 * on memory. What must come out is the program's own promise: nothing twice, nothing lost.
 */
#include "support.h"

#include <stdio.h>
#include <string.h>

static const char stations[] =
    "  shots:\n"
    "    files: \"s*.csv\"\n"
    "    time: {column: at}\n"
    "    item: {kind: free, column: tile}\n"
    "    links: [{column: donor, kind: carrier, role_column: colour, row_column: r, column_column: "
    "k}]\n"
    "    tool_column: head\n"
    "    characteristics:\n"
    "      dx: {column: dx, unit: um, split: [colour, head], ribbon: {column: donor}}\n"
    "      each: {column: dx, unit: um, subgroup: row}\n"
    "      five: {column: dx, unit: um, split: head, subgroup: {every: 5}}\n"
    "      bad: {count: bad, opportunities: 40}\n"
    "      step: {derived: {how: neighbour_step, of: grid}, split: colour}\n"
    "      grid: {column: dy, unit: um, split: colour, grid: {row: r, column: k}}\n";

#define HEADER "tile,at,colour,head,donor,r,k,dx,dy,bad\n"
enum { ROWS = 240 };

/* Row i of the invented file: four tiles at a time, their rows interleaved. */
static void add_row(struct an_text *text, int i)
{
    const int tile = i / 48 * 4 + i % 4;

    an_text_addf(text, "P%02d,2026-03-04T%02d:%02d:00Z,%c,H%d,D%d,%d,%d,%d.%02d,0.%d,%d\n", tile,
                 6 + i / 60, i % 60, "RGB"[i / 4 % 3], 1 + i / 12 % 2, i / 30, i / 12 % 4,
                 i / 4 % 3, i * 37 % 11 - 5, i * 53 % 100, i * 71 % 997, i * 13 % 3);
}

static void give_rows(const char *name, int first, int step, int count)
{
    struct an_text text = {0};

    an_text_add(&text, HEADER);
    for (int i = 0; i < count; i++) {
        add_row(&text, (first + i * step) % ROWS);
    }
    (void)bench_give(name, an_text_of(&text));
    an_text_free(&text);
}

START_TEST(same_bytes_again)
{
    struct an_ledger_head before;
    struct an_ledger_head after;

    bench_open(stations);
    give_rows("shots/s1.csv", 0, 1, ROWS);
    ck_assert_int_eq(bench.last.how, AN_TAKEN);
    ck_assert_int_eq(bench.last.file.taken, ROWS);
    OK(an_ledger_head(bench.store, &before, &bench.err));
    for (int i = 0; i < 100; i++) { /* it still lies there */
        (void)bench_take(an_arena_printf(bench.arena, "%s/shots/s1.csv", bench.folder));
        ck_assert_int_eq(bench.last.how, AN_SEEN_BEFORE);
        ck_assert_int_eq(bench.last.file.taken, ROWS);
    }
    OK(an_ledger_head(bench.store, &after, &bench.err));
    ck_assert(after.size == before.size);
    ck_assert_mem_eq(after.root.at, before.root.at, 32);
    /* delivered again under another name: a sighting, and nothing else */
    give_rows("shots/s2.csv", 0, 1, ROWS);
    ck_assert_int_eq(bench.last.how, AN_SEEN_BEFORE);
    ck_assert(bench_number("SELECT count(*) FROM file_sighting") == 1);
    for (int i = 0; i < 3; i++) { /* and it stays there: that is one sighting still */
        (void)bench_take(an_arena_printf(bench.arena, "%s/shots/s2.csv", bench.folder));
        ck_assert_int_eq(bench.last.how, AN_SEEN_BEFORE);
    }
    ck_assert(bench_number("SELECT count(*) FROM file_sighting") == 1);
    ck_assert(bench_number("SELECT count(*) FROM ledger WHERE kind = 'file.seen_again'") == 1);
    ck_assert(bench_number("SELECT count(*) FROM file") == 1);
    ck_assert(bench_number("SELECT count(*) FROM visit") == 20);
    bench_close();
}
END_TEST

/* Other name, other order, other padding of numbers, other columns beside. */
START_TEST(same_rows_in_another_order)
{
    struct an_text text = {0};

    bench_open(stations);
    give_rows("shots/s1.csv", 0, 1, ROWS);
    const double samples = bench_number("SELECT count(*) FROM sample");
    give_rows("shots/s2.csv", 17, 7, ROWS);
    ck_assert_int_eq(bench.last.how, AN_TAKEN);
    ck_assert_int_eq(bench.last.file.duplicate, ROWS);
    ck_assert_int_eq(bench.last.file.taken, 0);
    ck_assert(bench_number("SELECT count(*) FROM sample") == samples);
    ck_assert(bench_number("SELECT count(*) FROM visit") == 20);
    ck_assert(bench_number("SELECT count(*) FROM block WHERE file_id = 2") == 0);
    an_text_add(&text, "note,bad,dy,dx,k,r,donor,head,colour,at,tile\n"
                       "x,0,0.00,-5.000,0,0,D0,H1,R,2026-03-04T06:00:00+00:00,P00\n");
    /* one row of P00 alone is no set of rows that came before, but a row that did */
    (void)bench_give("shots/s3.csv", an_text_of(&text));
    ck_assert_int_eq(bench.last.file.taken, 0);
    ck_assert_int_eq(bench.last.file.duplicate, 1);
    an_text_free(&text);
    bench_close();
}
END_TEST

/* Each file repeats all earlier rows and adds some: whole tiles that were there are duplicates. */
START_TEST(cumulative_export)
{
    bench_open(stations);
    bench.tuning.block_rows = 32;
    bench.tuning.open_visits = 3;
    bench_collector();
    give_rows("shots/s1.csv", 0, 1, 48);
    give_rows("shots/s2.csv", 0, 1, 144);
    ck_assert_int_eq(bench.last.file.duplicate, 48);
    ck_assert_int_eq(bench.last.file.taken, 96);
    give_rows("shots/s3.csv", 0, 1, ROWS);
    ck_assert_int_eq(bench.last.file.duplicate, 144);
    ck_assert_int_eq(bench.last.file.taken, 96);
    ck_assert(bench_number("SELECT count(*) FROM visit") == 20);
    ck_assert(bench_number("SELECT sum(rows_taken) FROM visit") == ROWS);
    ck_assert(bench_number("SELECT sum(row_count) FROM block WHERE column_name = 'dx'") == ROWS);
    bench_close();
}
END_TEST

START_TEST(bounds_change_nothing)
{
    static const struct an_collect_tuning tunings[] = {
        {1 << 18, 1, 1 << 24, 65536, true, 1 << 23, 1, 64, 1 << 26},
        {1 << 18, 2, 1 << 24, 7, false, 1 << 23, 1, 64, 1 << 26},
        {64, 3, 1 << 24, 100, true, 1 << 23, 1, 64, 1 << 26},
        {1, 20000, 1 << 24, 16, true, 1, 1, 1, 1},
        {1 << 18, 20000, 1, 1, true, 1 << 23, 1 << 14, 64, 1 << 26},
        {4096, 5, 5000, 239, true, 1 << 23, 1, 64, 1 << 26},
        {1 << 18, 20000, 1 << 24, 240, true, 1, 1, 64, 1},
        {1 << 18, 20000, 1 << 24, 65536, false, 1, 1 << 14, 1, 1}};
    const char *usual = NULL;

    bench_open(stations);
    give_rows("shots/s1.csv", 3, 1, ROWS);
    usual = bench_dump();
    ck_assert(bench_number("SELECT count(*) FROM sample") > 300);
    for (size_t i = 0; i < sizeof tunings / sizeof tunings[0]; i++) {
        const bool same_blocks = tunings[i].block_rows >= ROWS;

        bench.tuning = tunings[i];
        bench_new_store();
        give_rows("shots/s1.csv", 3, 1, ROWS);
        const char *now = bench_dump();
        if (same_blocks) {
            ck_assert_msg(strcmp(now, usual) == 0, "tuning %zu", i);
        } else { /* blocks differ by intent; all before them in the dump must not */
            const char *block = strstr(usual, "\n1|@line|");
            ck_assert_ptr_nonnull(block);
            ck_assert_msg(strncmp(now, usual, (size_t)(block - usual)) == 0, "tuning %zu", i);
        }
    }
    bench_close();
}
END_TEST

/* Samples of items do not depend on the order of the rows; their ids may. */
START_TEST(order_changes_no_statistics)
{
    static const char sql[] =
        "SELECT group_concat(x, ';') FROM (SELECT name || serial || printf('%.17g %.17g %.17g %d',"
        " coalesce(mean, -1), coalesce(ssd, -1), coalesce(counted, -1), n) AS x FROM sample JOIN"
        " stream USING (stream_id) JOIN item USING (item_id) WHERE name NOT LIKE 'shots.five%'"
        " ORDER BY name, serial, at_us, mean)";

    bench_open(stations);
    give_rows("shots/s1.csv", 0, 1, ROWS);
    const char *in_order = bench_word(sql);
    bench_new_store();
    give_rows("shots/s1.csv", 11, 77, ROWS); /* 77 and 240 have no common factor */
    ck_assert_str_eq(bench_word(sql), in_order);
    bench_close();
}
END_TEST

START_TEST(held_files_are_tried_again_under_a_new_description)
{
    static const char other[] = "  shots:\n"
                                "    files: \"s*.csv\"\n"
                                "    time: {column: when}\n"
                                "    item: {kind: free, column: tile}\n"
                                "    characteristics:\n"
                                "      dx: {column: dx, unit: um}\n";

    bench_open(stations);
    const char *path = bench_text("shots/s1.csv", "tile,when,dx\nA,2026-03-04T06:00:00Z,1\n");
    (void)bench_take(path);
    ck_assert_int_eq(bench.last.how, AN_HELD_WHOLE);
    (void)bench_take(path);
    ck_assert_int_eq(bench.last.how, AN_SEEN_BEFORE);
    ck_assert_int_eq(bench.last.file.state, AN_FILE_HELD);
    bench_describe(other);
    (void)bench_take(path);
    ck_assert_int_eq(bench.last.how, AN_TAKEN);
    ck_assert_int_eq(bench.last.file.taken, 1);
    (void)bench_take(path);
    ck_assert_int_eq(bench.last.how, AN_SEEN_BEFORE);
    ck_assert_int_eq(bench.last.file.state, AN_FILE_TAKEN);
    bench_close();
}
END_TEST

START_TEST(a_dry_run_writes_nothing)
{
    bench_open(stations);
    give_rows("shots/s0.csv", 0, 1, 48);
    const char *before = bench_dump();
    bench.options.dry_run = true;
    bench_collector();
    give_rows("shots/s1.csv", 0, 1, ROWS);
    ck_assert_int_eq(bench.last.how, AN_TAKEN);
    ck_assert_int_eq(bench.last.file.duplicate, 48);
    (void)bench_give("shots/s2.csv", "");
    ck_assert_int_eq(bench.last.how, AN_HELD_WHOLE);
    give_rows("shots/s3.csv", 0, 1, 48);
    ck_assert_int_eq(bench.last.how, AN_SEEN_BEFORE);
    ck_assert_str_eq(bench_dump(), before);
    ck_assert(bench_number("SELECT count(*) FROM file_sighting") == 0);
    bench_close();
}
END_TEST

/* Same name, other content: identity is the bytes. */
START_TEST(names_mean_nothing)
{
    bench_open(stations);
    give_rows("shots/s1.csv", 0, 1, 48);
    give_rows("shots/s1.csv", 48, 1, 48);
    ck_assert_int_eq(bench.last.how, AN_TAKEN);
    ck_assert_int_eq(bench.last.file.taken, 48);
    bench_close();
}
END_TEST

int main(int argc, char **argv)
{
    Suite *suite = suite_create("same");
    TCase *group = tcase_create("same");

    tcase_add_test(group, same_bytes_again);
    tcase_add_test(group, same_rows_in_another_order);
    tcase_add_test(group, cumulative_export);
    tcase_add_test(group, bounds_change_nothing);
    tcase_add_test(group, order_changes_no_statistics);
    tcase_add_test(group, held_files_are_tried_again_under_a_new_description);
    tcase_add_test(group, a_dry_run_writes_nothing);
    tcase_add_test(group, names_mean_nothing);
    suite_add_tcase(suite, group);
    return bench_main(suite, argc, argv);
}
