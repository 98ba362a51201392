/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Single readings out of a file's blocks, and fixed places: every place has an offset of its own,
 * and an item that lacks a place is not moved by it.
 */
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char stations[] =
    "  lumen:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      light:\n"
    "        column: lv\n"
    "        unit: cd/m2\n"
    "        column_unit: mcd/m2\n"
    "        split: [colour]\n"
    "        position_column: site\n"
    "        only: {column: state, words: [ok, fine]}\n"
    "  plain:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      light:\n"
    "        column: lv\n"
    "        unit: cd/m2\n"
    "        position_column: site\n"
    "        family: xbar_s\n"
    "  derived:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      light: {column: lv, unit: cd/m2}\n"
    "      even: {derived: {how: min_over_max, of: light}, unit: \"%\"}\n"
    "      bad: {count: k, opportunities: n, family: u}\n";

static void setup(void)
{
    scene_open(stations);
}

#define SITES 5
static const char *const names[SITES] = {"a", "b", "c", "d", "e"};
static const double offsets[SITES] = {10, -4, 0.5, 2.5, -9}; /* add up to 0 */

static void put_tile(int i, const double *values, const char *const *sites, size_t n)
{
    char serial[16];

    (void)snprintf(serial, sizeof serial, "T-%04d", i);
    const struct scene_reading r = {.characteristic = "light",
                                    .split = "",
                                    .serial = serial,
                                    .at_us = SCENE_START + i * AN_HOUR_US,
                                    .sites = sites,
                                    .values = values,
                                    .n = n,
                                    .decimals = 2};
    (void)scene_measure(&r);
}

static double offset_at(const struct an_limits *limits, const char *site)
{
    for (size_t p = 0; p < limits->position_count; p++) {
        if (strcmp(limits->positions[p].position, site) == 0) {
            return limits->positions[p].offset;
        }
    }
    ck_abort_msg("no place %s", site);
    return 0;
}

/* With nothing missing the offset is the mean at the place minus the mean over places: here by
 * plain sums over the table itself. */
START_TEST(complete_sites)
{
    struct scene_random random = {3};
    double mean[SITES] = {0};
    double all = 0;

    scene_file("plain");
    for (int i = 0; i < 30; i++) {
        double values[SITES];
        const double level = 500 + scene_normal(&random);
        for (int s = 0; s < SITES; s++) {
            values[s] = round((level + offsets[s] + scene_normal(&random)) * 1e6) / 1e6;
            mean[s] += values[s] / 30;
            all += values[s] / 30 / SITES;
        }
        put_tile(i, values, names, SITES);
    }
    scene_file_end();
    const struct an_limits limits = scene_limits("plain.light", 0);
    ck_assert_uint_eq(limits.position_count, SITES);
    for (int s = 0; s < SITES; s++) {
        ck_assert_double_eq_tol(offset_at(&limits, names[s]), mean[s] - all, 1e-9);
    }
    /* the spread inside is the noise, not the pattern of the places (sd 7) */
    ck_assert_double_eq_tol(limits.model.sigma_within, 1, 0.25);
    ck_assert_double_eq_tol(limits.model.centre, all, 1e-9);
}
END_TEST

/* Exact additive data with holes: offsets and levels come back to rounding. */
START_TEST(missing_sites)
{
    double level[40];

    scene_file("plain");
    for (int i = 0; i < 40; i++) {
        double values[SITES];
        const char *sites[SITES];
        size_t n = 0;
        level[i] = 500 + (i * 7 % 11) * 0.3;
        for (int s = 0; s < SITES; s++) {
            const double inside = (i + s) % 2 ? 0.01 : -0.01; /* a spread to learn from */
            if ((i + 2 * s) % 7 == 0) {
                continue; /* the row is not there at all */
            }
            values[n] = (i * s) % 13 == 5 ? (double)NAN : level[i] + offsets[s] + inside;
            sites[n++] = names[s];
        }
        put_tile(i, values, sites, n);
    }
    scene_file_end();
    const struct an_limits limits = scene_limits("plain.light", 0);
    for (int s = 0; s < SITES; s++) {
        ck_assert_double_eq_tol(offset_at(&limits, names[s]), offsets[s], 0.01);
    }
    scene_lock("plain.light");
    const struct an_stream stream = scene_find("plain.light");
    struct an_stream_view view;
    OK(an_judge_view(scene.store, scene.line, &stream, AN_NO_INSTANT, AN_NO_INSTANT, 0, scene.arena,
                     &view, &scene.err));
    for (size_t i = 0; i < view.count; i++) { /* not moved by up to 2.5 as plain means are */
        ck_assert_double_eq_tol(view.points[i].point.level.value, level[i], 0.02);
    }
}
END_TEST

/* A place that the baseline never saw cannot be judged; an item of such places only has no point. */
START_TEST(unknown_sites)
{
    static const char *const strange[2] = {"x", "y"};
    static const char *const mixed[3] = {"a", "x", "b"};

    scene_file("plain");
    for (int i = 0; i < 25; i++) {
        double values[SITES];
        for (int s = 0; s < SITES; s++) {
            values[s] = 500 + offsets[s] + ((i + s) % 3) * 0.1;
        }
        put_tile(i, values, names, SITES);
    }
    put_tile(25, (const double[]){900, 901}, strange, 2);
    put_tile(26, (const double[]){510, 900, 496}, mixed, 3);
    put_tile(27, (const double[]){(double)NAN, (double)NAN}, names, 2);
    scene_file_end();
    (void)scene_limits("plain.light", 25);
    scene_lock("plain.light");
    const struct an_check_result r = scene_check();
    ck_assert_uint_eq(r.new_hits, 0);
    const struct an_stream stream = scene_find("plain.light");
    struct an_stream_view view;
    OK(an_judge_view(scene.store, scene.line, &stream, SCENE_START + 25 * AN_HOUR_US, AN_NO_INSTANT,
                     3, scene.arena, &view, &scene.err));
    ck_assert_uint_eq(view.count, 6);
    ck_assert(isnan(view.points[3].point.level.z));
    ck_assert_double_eq_tol(view.points[4].point.level.value, 500, 0.2);
    ck_assert(isnan(view.points[5].point.level.z));
}
END_TEST

START_TEST(no_sites_at_all)
{
    struct an_limits limits;
    const struct an_baseline_choice choice = {.from_us = AN_NO_INSTANT, .until_us = AN_NO_INSTANT};

    scene_file("plain");
    for (int i = 0; i < 25; i++) {
        put_tile(i, (const double[]){1, 2, 3}, NULL, 3);
    }
    scene_file_end();
    ck_assert_int_eq(an_limits_propose(scene.store, scene.line, scene_find("plain.light").stream_id,
                                       &choice, scene.arena, &limits, &scene.err),
                     AN_TOO_FEW);
    ck_assert_ptr_nonnull(strstr(scene.err.text, "column site"));
}
END_TEST

/* ---- readings ------------------------------------------------------------------------------------------ */
/*
 * One file, two blocks, rows of two colours and two tiles interleaved, one row of another state,
 * one missing cell. Lines 2 to 9; the block ends in the middle of the first tile.
 */
static void put_mixed(int64_t ids[2])
{
    static const int64_t lines[8] = {2, 3, 4, 5, 6, 7, 8, 9};
    static const int64_t scaled[8] = {1005, 2005, 1015, 2015, AN_CELL_MISSING, 7777, 1025, 1035};
    static const uint32_t colours[8] = {0, 1, 0, 1, 0, 0, 0, 0}; /* R G R G R R R R */
    static const uint32_t sites[8] = {2, 2, 3, 3, 4, 2, UINT32_MAX, 2};
    static const uint32_t states[8] = {5, 5, 6, 5, 5, 7, 5, 5}; /* ok ok fine ok ok bad ok ok */
    struct an_bytes texts[8];
    static const char *const words[8] = {"R", "G", "1", "2", "3", "ok", "fine", "bad"};
    int64_t visits[8];
    int64_t stream;

    for (int i = 0; i < 8; i++) {
        texts[i] = an_bytes_of(words[i]);
    }
    scene_file("lumen");
    for (int tile = 0; tile < 2; tile++) {
        struct an_visit visit = {.file_id = scene.file.file_id,
                                 .item_id = scene_item("tile", tile ? "T-2" : "T-1"),
                                 .first_us = SCENE_START,
                                 .last_us = SCENE_START,
                                 .shift_from_us = SCENE_START,
                                 .shift = "2026-03-02 early",
                                 .first_line = 2,
                                 .last_line = 9,
                                 .rows = tile ? 2 : 6,
                                 .rows_digest = an_sha256_of(&tile, sizeof tile)};
        OK(an_store_put_visit(scene.store, &visit, &scene.err));
        for (int row = 0; row < 8; row++) { /* tile 2 has rows 1 and 7 of the file */
            if ((row == 2 || row == 7) == (tile == 1)) {
                visits[row] = visit.visit_id;
            }
        }
        OK(an_store_stream(scene.store, "lumen", "light", "colour=R", &stream, &scene.err));
        struct an_sample sample = {.stream_id = stream,
                                   .visit_id = visit.visit_id,
                                   .item_id = visit.item_id,
                                   .file_id = scene.file.file_id,
                                   .at_us = SCENE_START + tile,
                                   .shift_from_us = SCENE_START,
                                   .n = 2,
                                   .mean = 1,
                                   .min = 1,
                                   .max = 1,
                                   .count = (double)NAN,
                                   .opportunities = (double)NAN,
                                   .first_line = tile ? 4 : 2,
                                   .last_line = tile ? 9 : 8};
        OK(an_store_put_sample(scene.store, &sample, &scene.err));
        ids[tile] = sample.sample_id;
    }
    for (size_t block = 0; block < 2; block++) {
        const size_t from = block ? 3 : 0;
        const size_t rows = block ? 5 : 3;
        const int64_t file = scene.file.file_id;
        struct an_number_block cells = {.rows = rows};
        cells.scaled = lines + from;
        OK(an_store_put_numbers(scene.store, file, AN_COLUMN_LINE, block, &cells, &scene.err));
        cells.scaled = visits + from;
        OK(an_store_put_numbers(scene.store, file, AN_COLUMN_VISIT, block, &cells, &scene.err));
        cells.scaled = scaled + from;
        cells.decimals = 1;
        OK(an_store_put_numbers(scene.store, file, "lv", block, &cells, &scene.err));
        OK(an_store_put_texts(scene.store, file, "colour", block, rows, colours + from, texts, 8,
                              &scene.err));
        OK(an_store_put_texts(scene.store, file, "site", block, rows, sites + from, texts, 8,
                              &scene.err));
        OK(an_store_put_texts(scene.store, file, "state", block, rows, states + from, texts, 8,
                              &scene.err));
    }
    scene.rows = 8;
    scene.file.first_us = SCENE_START;
    scene.file.last_us = SCENE_START + 1;
    free(scene.scaled); /* the blocks are put already */
    scene.scaled = NULL;
    scene_file_end();
}

START_TEST(rows_find_their_sample)
{
    /* tile 1, red: lines 2 (100.5) and 8 (102.5); tile 2, red: lines 4 and 9 (101.5, 103.5) in
     * thousandths; green rows, the missing cell and the row of another state are passed over */
    static const double values[4] = {0.1005, 0.1025, 0.1015, 0.1035};
    static const char *const sites[4] = {"1", NULL, "2", "1"};
    static const size_t of[4] = {0, 0, 1, 1};
    int64_t ids[2];
    struct an_readings readings;

    put_mixed(ids);
    const struct an_stream stream = scene_find("lumen.light@colour=R");
    OK(an_judge_readings(scene.store, scene.line, &stream, AN_NO_INSTANT, INT64_MAX, 0, scene.arena,
                         &readings, &scene.err));
    ck_assert_uint_eq(readings.count, 4);
    ck_assert_uint_eq(readings.sample_count, 2);
    for (size_t i = 0; i < 4; i++) {
        ck_assert_double_eq_tol(readings.value[i], values[i], 1e-15);
        ck_assert_uint_eq(readings.sample[i], of[i]);
        if (sites[i]) {
            ck_assert_str_eq(readings.position[i], sites[i]);
        } else {
            ck_assert_ptr_null(readings.position[i]);
        }
    }
    ck_assert_int_eq(readings.samples[1].sample_id, ids[1]);
    OK(an_judge_readings(scene.store, scene.line, &stream, AN_NO_INSTANT, INT64_MAX, 3, scene.arena,
                         &readings, &scene.err));
    ck_assert_uint_eq(readings.count, 3); /* the newest three */
    ck_assert_double_eq_tol(readings.value[0], 0.1025, 1e-15);
    ck_assert_double_eq_tol(readings.value[2], 0.1035, 1e-15);
    OK(an_judge_readings(scene.store, scene.line, &stream, AN_NO_INSTANT, SCENE_START, 0,
                         scene.arena, &readings, &scene.err));
    ck_assert_uint_eq(readings.count, 0);
}
END_TEST

START_TEST(one_value_a_sample)
{
    struct an_readings readings;

    scene_file("derived");
    (void)scene_plain("even", "", "T-1", SCENE_START, 97.5);
    (void)scene_plain("even", "", "T-2", SCENE_START + 1, 96.5);
    (void)scene_count("bad", "", "T-1", SCENE_START, 3, 60);
    (void)scene_count("bad", "", "T-2", SCENE_START + 1, 1, 0); /* nothing was looked at */
    scene_file_end();
    struct an_stream stream = scene_find("derived.even");
    OK(an_judge_readings(scene.store, scene.line, &stream, AN_NO_INSTANT, INT64_MAX, 0, scene.arena,
                         &readings, &scene.err));
    ck_assert_uint_eq(readings.count, 2);
    ck_assert_double_eq_tol(readings.value[1], 96.5, 1e-12);
    ck_assert_ptr_null(readings.position);
    stream = scene_find("derived.bad");
    OK(an_judge_readings(scene.store, scene.line, &stream, AN_NO_INSTANT, INT64_MAX, 0, scene.arena,
                         &readings, &scene.err));
    ck_assert_uint_eq(readings.count, 1);
    ck_assert_double_eq_tol(readings.value[0], 0.05, 1e-12);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("positions");
    TCase *places = tcase_create("places");
    TCase *readings = tcase_create("readings");

    tcase_add_checked_fixture(places, setup, scene_close);
    tcase_add_test(places, complete_sites);
    tcase_add_test(places, missing_sites);
    tcase_add_test(places, unknown_sites);
    tcase_add_test(places, no_sites_at_all);
    tcase_add_checked_fixture(readings, setup, scene_close);
    tcase_add_test(readings, rows_find_their_sample);
    tcase_add_test(readings, one_value_a_sample);
    suite_add_tcase(suite, places);
    suite_add_tcase(suite, readings);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
