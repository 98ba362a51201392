/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a file tells of: items with their serials, links, visits, readings, and revisions of the line
 * description; and the scratch that intake uses on the way.
 */
#include "andamento/base/instant.h"
#include "support_fixture.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- items, links, visits --------------------------------------------------------------------------- */

/* One file in hand, for what needs one. */
static int64_t begin_file(void)
{
    int64_t file_id = 0;
    OK(an_store_begin(store, &err));
    OK(an_store_next_file(store, &file_id, &err));
    return file_id;
}

static void end_file(int64_t file_id, const char *station)
{
    const struct an_file file = {.file_id = file_id,
                                 .hash = an_sha256_of(&file_id, sizeof file_id),
                                 .name = "f",
                                 .path = "f",
                                 .station = station,
                                 .modified_us = 1,
                                 .first_us = 1,
                                 .last_us = 2};
    OK(an_store_put_file(store, &file, &err));
    OK(an_store_commit(store, &err));
}

START_TEST(serials_stay_as_they_are)
{
    static const char *const serials[] = {"1", "01", "001", " 1", "1 ", "a", "A", "\xC3\xA9", ""};
    enum { COUNT = sizeof serials / sizeof *serials };
    int64_t ids[COUNT];
    const int64_t file_id = begin_file();
    for (size_t k = 0; k < COUNT; k++) {
        OK(an_store_item(store, "tile", an_bytes_of(serials[k]), file_id, &ids[k], &err));
        ck_assert_int_eq(ids[k], (int64_t)k + 1);
    }
    int64_t again = 0;
    OK(an_store_item(store, "tile", an_bytes_of("001"), file_id, &again, &err));
    ck_assert_int_eq(again, ids[2]);
    OK(an_store_item(store, "wafer", an_bytes_of("001"), file_id, &again, &err));
    ck_assert_int_eq(again, COUNT + 1); /* another kind is another item */
    end_file(file_id, "s");
    for (size_t k = 0; k < COUNT; k++) {
        struct an_item item;
        OK(an_store_item_by_id(store, ids[k], arena, &item, &err));
        ck_assert_str_eq(item.serial, serials[k]);
        ck_assert_str_eq(item.kind, "tile");
    }
    FAILS(an_store_item_by_id(store, 99, arena, &(struct an_item){0}, &err), AN_NOT_FOUND);
}
END_TEST

START_TEST(links_are_not_doubled)
{
    const int64_t file_id = begin_file();
    int64_t tile = 0;
    int64_t tile_2 = 0;
    int64_t wall = 0;
    int64_t site = 0;
    int64_t lot = 0;
    OK(an_store_item(store, "tile", an_bytes_of("T2"), file_id, &tile, &err));
    OK(an_store_item(store, "tile", an_bytes_of("T1"), file_id, &tile_2, &err));
    OK(an_store_item(store, "wall", an_bytes_of("W"), file_id, &wall, &err));
    OK(an_store_item(store, "site", an_bytes_of("S"), file_id, &site, &err));
    OK(an_store_item(store, "lot", an_bytes_of("L"), file_id, &lot, &err));
    struct an_link link = {.child_id = wall,
                           .parent_id = tile,
                           .share = 0.25,
                           .row = 3,
                           .column = 4,
                           .role = "panel",
                           .region = "north",
                           .at_us = 50,
                           .file_id = file_id,
                           .line = 9};
    OK(an_store_put_link(store, &link, &err));
    link.line = 10;
    link.share = 0.5;
    OK(an_store_put_link(store, &link, &err)); /* the same place: nothing new */
    link.parent_id = tile_2;
    OK(an_store_put_link(store, &link, &err));
    link.role = NULL;
    link.region = NULL;
    link.row = -1;
    link.column = -1;
    link.share = NAN;
    link.at_us = AN_NO_INSTANT;
    OK(an_store_put_link(store, &link, &err)); /* without a place: another link */
    OK(an_store_put_link(store, &link, &err));
    link.child_id = site;
    link.parent_id = wall;
    OK(an_store_put_link(store, &link, &err));
    link.child_id = wall;
    link.parent_id = site; /* a circle, which must not hang anything */
    OK(an_store_put_link(store, &link, &err));
    end_file(file_id, "s");
    struct an_linked *linked = NULL;
    size_t count = 0;
    OK(an_store_linked(store, wall, true, NULL, arena, &linked, &count, &err));
    ck_assert_uint_eq(count, 4); /* no role first, then by serial */
    ck_assert_str_eq(linked[0].item.serial, "S");
    ck_assert_str_eq(linked[1].item.serial, "T1");
    ck_assert_ptr_null(linked[1].link.role);
    ck_assert_int_eq(linked[1].link.row, -1);
    ck_assert_double_nan(linked[1].link.share);
    ck_assert_int_eq(linked[1].link.at_us, AN_NO_INSTANT);
    ck_assert_str_eq(linked[2].item.serial, "T1");
    ck_assert_str_eq(linked[3].item.serial, "T2");
    ck_assert_str_eq(linked[3].link.role, "panel");
    ck_assert_str_eq(linked[3].link.region, "north");
    ck_assert(linked[3].link.share == 0.25);
    ck_assert_int_eq(linked[3].link.row, 3);
    ck_assert_int_eq(linked[3].link.column, 4);
    ck_assert_uint_eq(linked[3].link.line, 9);
    ck_assert_int_eq(linked[3].link.at_us, 50);
    OK(an_store_linked(store, wall, true, "tile", arena, &linked, &count, &err));
    ck_assert_uint_eq(count, 3);
    OK(an_store_linked(store, tile, false, "wall", arena, &linked, &count, &err));
    ck_assert_uint_eq(count, 1);
    ck_assert_int_eq(linked[0].item.item_id, wall);
    const int64_t all[3] = {tile, tile_2, lot};
    OK(an_store_count_in(store, all, 3, "wall", &count, &err));
    ck_assert_uint_eq(count, 2);
    OK(an_store_count_in(store, all, 3, "site", &count, &err)); /* by way of the wall */
    ck_assert_uint_eq(count, 2);
    OK(an_store_count_in(store, all, 3, "moon", &count, &err));
    ck_assert_uint_eq(count, 0);
}
END_TEST

START_TEST(visits_return)
{
    const int64_t file_id = begin_file();
    int64_t item = 0;
    bool found = true;
    OK(an_store_item(store, "tile", an_bytes_of("T"), file_id, &item, &err));
    struct an_visit in = {.file_id = file_id,
                          .item_id = item,
                          .first_us = -7,
                          .last_us = 8,
                          .shift_from_us = 5,
                          .shift = "2026-03-04 early",
                          .first_line = 2,
                          .last_line = 99,
                          .rows = 12,
                          .rows_digest = an_sha256_of("rows", 4),
                          .purpose = "reference",
                          .gauge = "G",
                          .tool = "T9",
                          .who = "someone",
                          .attempt = "2"};
    struct an_visit bare = {.file_id = file_id, .item_id = item, .shift_from_us = AN_NO_INSTANT};
    struct an_visit out;
    OK(an_store_find_visit(store, "aoi", item, &in.rows_digest, &found, &err));
    ck_assert(!found);
    OK(an_store_put_visit(store, &in, &err));
    OK(an_store_put_visit(store, &bare, &err));
    end_file(file_id, "aoi");
    OK(an_store_visit(store, in.visit_id, arena, &out, &err));
    ck_assert_int_eq(out.first_us, -7);
    ck_assert_int_eq(out.last_us, 8);
    ck_assert_int_eq(out.shift_from_us, 5);
    ck_assert_str_eq(out.shift, in.shift);
    ck_assert_uint_eq(out.first_line, 2);
    ck_assert_uint_eq(out.last_line, 99);
    ck_assert_int_eq(out.rows, 12);
    ck_assert_mem_eq(out.rows_digest.at, in.rows_digest.at, 32);
    ck_assert_str_eq(out.purpose, "reference");
    ck_assert_str_eq(out.gauge, "G");
    ck_assert_str_eq(out.tool, "T9");
    ck_assert_str_eq(out.who, "someone");
    ck_assert_str_eq(out.attempt, "2");
    OK(an_store_visit(store, bare.visit_id, arena, &out, &err));
    ck_assert_int_eq(out.shift_from_us, AN_NO_INSTANT);
    ck_assert(!out.shift && !out.purpose && !out.gauge && !out.tool && !out.who && !out.attempt);
    OK(an_store_find_visit(store, "aoi", item, &in.rows_digest, &found, &err));
    ck_assert(found);
    OK(an_store_find_visit(store, "repair", item, &in.rows_digest, &found, &err));
    ck_assert(!found); /* another station */
    OK(an_store_find_visit(store, "aoi", item + 1, &in.rows_digest, &found, &err));
    ck_assert(!found);
    FAILS(an_store_visit(store, 77, arena, &out, &err), AN_NOT_FOUND);
}
END_TEST

/* ---- readings ---------------------------------------------------------------------------------------------- */

START_TEST(blocks_return)
{
    const int64_t file_id = begin_file();
    enum { ROWS = 70000, BLOCK = 65536 };
    static int64_t cells[ROWS];
    static uint32_t codes[ROWS];
    const struct an_bytes texts[2] = {an_bytes_of("H1"), {(const unsigned char *)"\0\xff", 2}};
    for (int i = 0; i < ROWS; i++) {
        cells[i] = i % 11 ? (int64_t)i * i : AN_CELL_MISSING;
        codes[i] = i % 3 == 2 ? UINT32_MAX : (uint32_t)(i % 3);
    }
    for (size_t block = 0; block < 2; block++) {
        const size_t rows = block ? ROWS - BLOCK : BLOCK;
        const struct an_number_block numbers = {rows, 4, cells + block * BLOCK};
        OK(an_store_put_numbers(store, file_id, "d\xC3\xB8", block, &numbers, &err));
        OK(an_store_put_texts(store, file_id, "head", block, rows, codes + block * BLOCK, texts, 2,
                              &err));
    }
    FAILS(an_store_put_texts(store, file_id + 1, "head", 0, 0, codes, texts, 2, &err), AN_BUG);
    FAILS(an_store_put_texts(store, file_id, "bad", 0, 1, &(uint32_t){5}, texts, 2, &err), AN_BUG);
    end_file(file_id, "s");
    size_t blocks = 0;
    OK(an_store_block_count(store, file_id, &blocks, &err));
    ck_assert_uint_eq(blocks, 2);
    OK(an_store_block_count(store, 99, &blocks, &err));
    ck_assert_uint_eq(blocks, 0);
    for (size_t block = 0; block < 2; block++) {
        const size_t expected = block ? ROWS - BLOCK : BLOCK;
        struct an_number_block numbers;
        uint32_t *read = NULL;
        struct an_bytes *read_texts = NULL;
        size_t rows = 0;
        size_t text_count = 0;
        OK(an_store_numbers(store, file_id, "d\xC3\xB8", block, arena, &numbers, &err));
        ck_assert_uint_eq(numbers.rows, expected);
        ck_assert_int_eq(numbers.decimals, 4);
        ck_assert(memcmp(numbers.scaled, cells + block * BLOCK, expected * sizeof *cells) == 0);
        OK(an_store_texts(store, file_id, "head", block, arena, &read, &rows, &read_texts,
                          &text_count, &err));
        ck_assert_uint_eq(rows, expected);
        ck_assert(memcmp(read, codes + block * BLOCK, expected * sizeof *codes) == 0);
        ck_assert_uint_eq(text_count, 2);
        ck_assert(an_bytes_equal(read_texts[1], texts[1]));
    }
    struct an_number_block none;
    FAILS(an_store_numbers(store, file_id, "dx", 0, arena, &none, &err), AN_NOT_FOUND);
    FAILS(an_store_numbers(store, file_id, "d\xC3\xB8", 2, arena, &none, &err), AN_NOT_FOUND);
    FAILS(an_store_numbers(store, file_id, "head", 0, arena, &none, &err), AN_NOT_FOUND);
}
END_TEST

/* ---- scratch --------------------------------------------------------------------------------------------------- */

struct order {
    uint64_t last_key, last_value;
    size_t count, stop_at;
};

static enum an_status in_order(void *context, struct an_bytes key, struct an_bytes value)
{
    struct order *order = context;
    uint64_t k = 0;
    uint64_t v = 0;
    ck_assert_uint_eq(key.length, 8);
    ck_assert_uint_eq(value.length, 8);
    for (int i = 0; i < 8; i++) { /* big end first: order of bytes is order of numbers */
        k = k << 8 | key.at[i];
        v = v << 8 | value.at[i];
    }
    ck_assert(order->count == 0 || k > order->last_key ||
              (k == order->last_key && v > order->last_value));
    order->last_key = k;
    order->last_value = v;
    return ++order->count == order->stop_at ? AN_BAD_INPUT : AN_OK;
}

START_TEST(scratch_is_sorted)
{
    uint64_t state = random_seed();
    struct order order = {0};
    OK(an_store_begin(store, &err));
    for (uint64_t n = 1; n <= 20000; n++) {
        unsigned char key[8];
        unsigned char value[8];
        const uint64_t k = random_next(&state) % 500;
        for (int i = 0; i < 8; i++) {
            key[i] = (unsigned char)(k >> (8 * (7 - i)));
            value[i] = (unsigned char)(n >> (8 * (7 - i)));
        }
        OK(an_store_scratch_add(store, (struct an_bytes){key, 8}, (struct an_bytes){value, 8},
                                &err));
    }
    OK(an_store_scratch_each(store, in_order, &order, &err));
    ck_assert_uint_eq(order.count, 20000);
    order = (struct order){.stop_at = 7};
    ck_assert_int_eq(an_store_scratch_each(store, in_order, &order, &err), AN_BAD_INPUT);
    ck_assert_uint_eq(order.count, 7);
    OK(an_store_scratch_clear(store, &err));
    order = (struct order){0};
    OK(an_store_scratch_each(store, in_order, &order, &err));
    ck_assert_uint_eq(order.count, 0);
    OK(an_store_scratch_add(store, an_bytes_of("12345678"), an_bytes_of("12345678"), &err));
    an_store_rollback(store); /* takes it along */
    OK(an_store_scratch_each(store, in_order, &order, &err));
    ck_assert_uint_eq(order.count, 0);
    ck_assert_int_eq(ask(an_store_path(store), "SELECT count(*) FROM sqlite_schema"
                                               " WHERE name = 'scratch'"),
                     0);
}
END_TEST

/* ---- the line description ----------------------------------------------------------------------------------- */

START_TEST(line_revisions)
{
    struct an_line_revision line;
    int64_t revision = 0;
    bool is_new = false;
    FAILS(an_store_line(store, arena, &line, &err), AN_NOT_FOUND);
    OK(an_store_put_line(store, an_bytes_of("a: 1\n"), "here", &revision, &is_new, &err));
    ck_assert(is_new);
    ck_assert_int_eq(revision, 1);
    OK(an_store_put_line(store, an_bytes_of("a: 1\n"), "there", &revision, &is_new, &err));
    ck_assert(!is_new);
    ck_assert_int_eq(revision, 1);
    OK(an_store_put_line(store, an_bytes_of("a: 2\n"), "here", &revision, &is_new, &err));
    ck_assert(is_new);
    ck_assert_int_eq(revision, 2);
    OK(an_store_put_line(store, an_bytes_of("a: 1\n"), "here", &revision, &is_new, &err));
    ck_assert(is_new); /* back to the first: a change, too */
    ck_assert_int_eq(revision, 3);
    OK(an_store_line(store, arena, &line, &err));
    ck_assert_int_eq(line.revision, 3);
    ck_assert(an_bytes_are(line.yaml, "a: 1\n"));
    ck_assert_str_eq(line.folder, "here");
    const struct an_sha256 hash = an_sha256_of("a: 1\n", 5);
    ck_assert_mem_eq(line.hash.at, hash.at, 32);
    ck_assert_int_eq(ask(an_store_path(store), "SELECT count(*) FROM line_revision"
                                               " WHERE system_user <> '' AND host <> ''"),
                     3);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("items");
    TCase *records = tcase_create("records");
    tcase_add_checked_fixture(records, fixture_set_up, fixture_tear_down);
    tcase_add_test(records, serials_stay_as_they_are);
    tcase_add_test(records, links_are_not_doubled);
    tcase_add_test(records, visits_return);
    tcase_add_test(records, blocks_return);
    tcase_add_test(records, scratch_is_sorted);
    tcase_add_test(records, line_revisions);
    suite_add_tcase(suite, records);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
