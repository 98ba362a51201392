/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Reports on one item from a store to pages: what they say is what was put; the same store gives the
 * same bytes; when memory runs out at any point there is no file and no crash.
 */
#include "andamento/base/instant.h"
#include "report/item_pages.h"
#include "support.h"
#include "support_store.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static struct mill mill;
static struct an_line *line; /* the mill's, with places in walls */

static const char line_text[] = "line: ponente\n"
                                "title: Wall line Ponente\n"
                                "zone: Europe/Rome\n"
                                "shifts: {early: 06:00, late: 14:00, night: 22:00}\n"
                                "kinds:\n"
                                "  resin: {}\n"
                                "  tile: {product: yes}\n"
                                "  wall: {product: yes}\n"
                                "stations:\n"
                                "  edge:\n"
                                "    title: Edge contact\n"
                                "    time: {column: at}\n"
                                "    item: {kind: tile, column: tile}\n"
                                "    links: [{column: resin, kind: resin, role: glue}]\n"
                                "    characteristics:\n"
                                "      resistance: {title: Edge resistance, column: r, unit: ohm, "
                                "subgroup: row, spec: {target: 2, lower: 1.5, upper: 2.5}}\n"
                                "  haze:\n"
                                "    title: Haze\n"
                                "    time: {column: at}\n"
                                "    item: {kind: tile, column: tile}\n"
                                "    characteristics:\n"
                                "      haze: {title: Haze, column: h, unit: '%', subgroup: row}\n"
                                "  walls:\n"
                                "    title: Wall assembly\n"
                                "    time: {column: at}\n"
                                "    item: {kind: wall, column: wall}\n"
                                "    links: [{column: tile, kind: tile, row_column: row, "
                                "column_column: col}]\n"
                                "    characteristics:\n"
                                "      gap: {title: Seam gap, column: gap, unit: um}\n";

static void tell(void *context, const char *path, uint64_t row, uint64_t column, const char *text)
{
    (void)context;
    ck_abort_msg("%s:%d:%d: %s", path, (int)row, (int)column, text);
}

#define OK(call) ck_assert_msg((call) == AN_OK, "%s: %s", #call, mill.err.text)

/* Wall NEW-1 of 2 x 3 places, of which 2, 2 stays empty, from the mill's tiles around its step; two of
 * them from a resin, one by an inferred link. */
static void set_up(void)
{
    mill_open(&mill, 150);
    OK(an_line_read(an_bytes_of(line_text), "line.yaml", ".", tell, NULL, &line, &mill.err));
    struct an_stream *streams = NULL;
    struct an_sample *samples = NULL;
    size_t count = 0;
    OK(an_store_streams(mill.store, mill.arena, &streams, &count, &mill.err));
    size_t edge = 0;
    while (strcmp(streams[edge].station, "edge") != 0) {
        edge++;
        ck_assert_uint_lt(edge, count);
    }
    OK(an_store_samples(mill.store, streams[edge].stream_id, AN_NO_INSTANT, INT64_MAX, 0,
                        mill.arena, &samples, &count, &mill.err));
    ck_assert_uint_gt(count, 160);
    int64_t file_id = 0;
    int64_t wall = 0;
    int64_t resin = 0;
    OK(an_store_begin(mill.store, &mill.err));
    OK(an_store_next_file(mill.store, &file_id, &mill.err));
    OK(an_store_item(mill.store, "wall", an_bytes_of("NEW-1"), file_id, &wall, &mill.err));
    OK(an_store_item(mill.store, "resin", an_bytes_of("RS-7"), file_id, &resin, &mill.err));
    for (int64_t i = 0; i < 6; i++) {
        struct an_link link = {.child_id = wall,
                               .parent_id = samples[147 + i].item_id,
                               .share = (double)NAN,
                               .row = i / 3 + 1,
                               .column = i % 3 + 1,
                               .at_us = samples[160].at_us + i,
                               .file_id = file_id,
                               .line = (uint64_t)i + 2};
        if (i != 4) {
            OK(an_store_put_link(mill.store, &link, &mill.err));
        }
        if (i == 0 || i == 3) {
            link = (struct an_link){.child_id = samples[147 + i].item_id,
                                    .parent_id = resin,
                                    .role = "glue",
                                    .share = 0.5,
                                    .row = -1,
                                    .column = -1,
                                    .at_us = samples[147 + i].at_us,
                                    .file_id = file_id,
                                    .line = (uint64_t)i + 20,
                                    .sure = i ? AN_LINK_INFERRED : AN_LINK_SCANNED};
            OK(an_store_put_link(mill.store, &link, &mill.err));
        }
    }
    const struct an_file file = {.file_id = file_id,
                                 .hash = an_sha256_of("new", 3),
                                 .name = "new.csv",
                                 .path = "new.csv",
                                 .station = "walls",
                                 .modified_us = 1,
                                 .first_us = samples[160].at_us,
                                 .last_us = samples[160].at_us + 5};
    OK(an_store_put_file(mill.store, &file, &mill.err));
    OK(an_store_commit(mill.store, &mill.err));
}

static void tear_down(void)
{
    an_line_close(line);
    mill_close(&mill);
}

static enum an_status make(enum an_report_kind kind, const char *name, const char *path,
                           struct an_text *json_text, struct an_item_result *result)
{
    struct an_arena *arena = an_arena_open();
    if (!arena) {
        return an_fail(&mill.err, AN_NO_MEMORY, "out of memory");
    }
    const struct an_item_report report = {
        .kind = kind, .name = name, .path = path, .program_version = "0"};
    struct an_json json = {0};
    if (json_text) {
        json = an_json_into(json_text, false);
    }
    const enum an_status st = an_item_report_write(
        mill.store, line, &report, json_text ? &json : NULL, arena, result, &mill.err);
    result->serial = result->path = result->lead = NULL; /* they end with the arena */
    an_arena_close(arena);
    return st;
}

static void has(const char *text, const char *wanted)
{
    ck_assert_msg(text && strstr(text, wanted), "'%s' is not in: %.1500s", wanted,
                  text ? text : "nothing");
}

START_TEST(the_wall_says_what_was_put)
{
    char *path = fresh_path(mill.arena, "wall.pdf");
    struct an_item_result result = {0};
    struct an_text json = {0};
    OK(make(AN_REPORT_WALL, "NEW-1", path, &json, &result));
    ck_assert_uint_eq(result.parts, 5);
    ck_assert_uint_ge(result.signals, 1); /* tiles from 150 on carry the step */
    has(an_text_of(&json), "\"empty_places\":[{\"row\":2,\"column\":2}]");
    has(an_text_of(&json), "\"serial\":\"RS-7\",\"role\":\"glue\",\"parts\":2,\"share\":0.5");
    has(an_text_of(&json), "\"possible_only\":1");
    has(an_text_of(&json), "\"picture\":\"haze.haze\""); /* measured last; nothing has a grid */
    an_text_free(&json);
    const char *text = pdf_text(mill.arena, path, 0);
    if (text) {
        has(text, "5 tiles");
        has(text, "1 resin");
        has(text, "row 2, column 2 is empty");
        has(text, "2 x 3 places, 7 seams");
        has(text, "RS-7");
        ck_assert_int_eq(pdf_pages(path), result.pages);
    }
    remove_folder(path);
}
END_TEST

START_TEST(the_resin_is_certain_and_possible)
{
    char *path = fresh_path(mill.arena, "batch.pdf");
    struct an_item_result result = {0};
    struct an_text json = {0};
    OK(make(AN_REPORT_BATCH, "RS-7", path, &json, &result));
    has(an_text_of(&json),
        "\"sure\":\"certain\",\"share\":0.5,\"in\":\"NEW-1\",\"row\":1,\"column\":1");
    has(an_text_of(&json),
        "\"sure\":\"possible\",\"share\":0.5,\"in\":\"NEW-1\",\"row\":2,\"column\":1");
    an_text_free(&json);
    const char *text = pdf_text(mill.arena, path, 1);
    if (text) {
        has(text, "2 tiles carry resin RS-7 (1 certainly, 1 possibly)");
    }
    remove_folder(path);
}
END_TEST

static const struct {
    enum an_report_kind kind;
    const char *name;
} reports[] = {{AN_REPORT_WALL, "NEW-1"}, {AN_REPORT_BATCH, "RS-7"}, {AN_REPORT_TILE, NULL}};

static const char *name_of(int which)
{
    if (reports[which].name) {
        return reports[which].name;
    }
    struct an_trace_grid grid = {0};
    struct an_item wall;
    OK(an_trace_find(mill.store, line, "NEW-1", mill.arena, &wall, &mill.err));
    OK(an_trace_places(mill.store, wall.item_id, NULL, AN_NO_INSTANT, &grid, &mill.err));
    const char *serial = an_arena_printf(mill.arena, "%s", grid.places[0].item.serial);
    an_trace_grid_close(&grid);
    return serial;
}

START_TEST(the_same_store_gives_the_same_bytes)
{
    const char *name = name_of(_i);
    char *one = fresh_path(mill.arena, "one.pdf");
    char *two = fresh_path(mill.arena, "two.pdf");
    struct an_item_result result = {0};
    size_t lengths[2] = {0, 0};
    OK(make(reports[_i].kind, name, one, NULL, &result));
    OK(make(reports[_i].kind, name, two, NULL, &result));
    const char *a = whole_file(mill.arena, one, &lengths[0]);
    const char *b = whole_file(mill.arena, two, &lengths[1]);
    ck_assert(a && b && lengths[0] > 1000 && lengths[0] == lengths[1]);
    ck_assert(!memcmp(a, b, lengths[0]));
    remove_folder(one);
    remove_folder(two);
}
END_TEST

START_TEST(memory_may_run_out_anywhere)
{
    enum { TRIED = 160 };
    const char *name = name_of(_i);
    char *path = fresh_path(mill.arena, "never.pdf");
    struct an_item_result result = {0};
    (void)an_alloc_fail_at(0, false);
    OK(make(reports[_i].kind, name, path, NULL, &result));
    const size_t all = an_alloc_fail_at(0, false);
    ck_assert_uint_gt(all, 100);
    ck_assert_int_eq(unlink(path), 0);
    size_t failed = 0;
    const size_t tried = all < TRIED ? all : TRIED;
    for (size_t t = 0; t < tried; t++) {
        /* the first ones one by one, then spread over all */
        const size_t k = t < 40 ? t + 1 : 40 + (t - 39) * (all - 40) / (tried - 39);
        (void)an_alloc_fail_at(k, t % 2);
        const enum an_status st = make(reports[_i].kind, name, path, NULL, &result);
        (void)an_alloc_fail_at(0, false);
        ck_assert_msg(st == AN_OK || st == AN_NO_MEMORY, "allocation %zu: status %d, %s", k,
                      (int)st, mill.err.text);
        failed += st != AN_OK;
        ck_assert_msg((access(path, F_OK) == 0) == (st == AN_OK), "allocation %zu: status %d", k,
                      (int)st);
        if (!st) {
            ck_assert_int_eq(unlink(path), 0);
        }
    }
    ck_assert_uint_gt(failed, tried / 2);
    OK(make(reports[_i].kind, name, path, NULL, &result)); /* and all is well again */
    remove_folder(path);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("pages on one item");
    TCase *one = tcase_create("pages");
    tcase_add_checked_fixture(one, set_up, tear_down);
    tcase_set_timeout(one, 300);
    tcase_add_test(one, the_wall_says_what_was_put);
    tcase_add_test(one, the_resin_is_certain_and_possible);
    tcase_add_loop_test(one, the_same_store_gives_the_same_bytes, 0, 3);
    tcase_add_loop_test(one, memory_may_run_out_anywhere, 0, 3);
    suite_add_tcase(suite, one);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
