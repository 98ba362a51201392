/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What each level of a ladder looks like, by hand and against base R; which gauge stands behind a
 * stream, and what its studies say of that stream and of no other.
 */
#include "judge/components.h"
#include "judge/gauge.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- a ladder by hand -------------------------------------------------------------------------------- */
static struct an_ladder by_hand(const double *value, const size_t *batch, const size_t *item,
                                size_t n)
{
    struct an_ladder ladder = {
        .name = {"batch", "tile", "place in item"}, .value = value, .group = {batch, item}, .n = n};
    const struct an_nested_data data = {
        .value = value, .n = n, .levels = 2, .group = {batch, item}};
    ck_assert_int_eq(an_components_by_squares(&data, 0.95, scene.arena, &ladder.squares), AN_OK);
    return ladder;
}

/* Readings out of order; batches of means 5 and 11, items 4, 6 and 10, 12. */
START_TEST(values_of_each_level)
{
    static const double value[] = {13, 3, 9, 5, 11, 5, 11, 7};
    static const size_t batch[] = {1, 0, 1, 0, 1, 0, 1, 0};
    static const size_t item[] = {8, 2, 5, 2, 5, 3, 8, 3};
    const struct an_ladder ladder = by_hand(value, batch, item, 8);
    struct an_ladder_look look;
    OK(an_ladder_look_at(&ladder, scene.arena, &look, &scene.err));
    ck_assert_uint_eq(look.count, 3);
    ck_assert_uint_eq(look.at[0].count, 2);
    ck_assert_uint_eq(look.at[1].count, 4);
    ck_assert_uint_eq(look.at[2].count, 8);
    const double top[] = {-3, 3};
    const double middle[] = {-1, 1, -1, 1};
    const double rest[] = {-1, 1, -1, 1, -1, 1, 1, -1};
    for (size_t i = 0; i < 8; i++) {
        ck_assert(i >= 2 || look.at[0].value[i] == top[i]);
        ck_assert(i >= 4 || look.at[1].value[i] == middle[i]);
        ck_assert_msg(look.at[2].value[i] == rest[i], "reading %zu: %g", i, look.at[2].value[i]);
    }
    /* too few groups for any test; eight readings on two values are no normal shape */
    ck_assert(isnan(look.at[0].normality.p) && isnan(look.at[0].lag1));
    ck_assert(isnan(look.at[1].spread.p));
    ck_assert_uint_eq(look.doubt_count, 1);
    ck_assert_str_eq(look.doubts, "normal shape (place in item)");
}
END_TEST

/* An item number that comes again in another batch is another item. */
START_TEST(numbers_are_unique_within_their_group_only)
{
    static const double value[] = {1, 3, 7, 9, 11, 13, 17, 19};
    static const size_t batch[] = {0, 0, 0, 0, 1, 1, 1, 1};
    static const size_t item[] = {1, 1, 2, 2, 1, 1, 2, 2};
    const struct an_ladder ladder = by_hand(value, batch, item, 8);
    struct an_ladder_look look;
    OK(an_ladder_look_at(&ladder, scene.arena, &look, &scene.err));
    ck_assert_uint_eq(look.at[1].count, 4);
    ck_assert(look.at[1].value[0] == -3.0 && look.at[1].value[3] == 3.0);
}
END_TEST

/* A trend over the batches, tiles of one of them ten times as far apart: both are doubted. */
START_TEST(doubts)
{
    enum { BATCHES = 20, TILES = 6, SITES = 4, N = BATCHES * TILES * SITES };
    static double value[N];
    static size_t batch[N], item[N];
    struct scene_random random = {UINT64_C(88172645463325252)};
    size_t i = 0;
    for (size_t b = 0; b < BATCHES; b++) {
        for (size_t t = 0; t < TILES; t++) {
            const double tile = scene_normal(&random) * (b == 7 ? 10.0 : 1.0);
            for (size_t s = 0; s < SITES; s++, i++) {
                value[i] = 100.0 + 0.7 * (double)b + tile + 0.3 * scene_normal(&random);
                batch[i] = b;
                item[i] = b * TILES + t;
            }
        }
    }
    const struct an_ladder ladder = by_hand(value, batch, item, N);
    struct an_ladder_look look;
    OK(an_ladder_look_at(&ladder, scene.arena, &look, &scene.err));
    ck_assert_double_gt(look.at[0].lag1, look.at[0].lag1_bound);
    ck_assert_double_eq_tol(look.at[0].lag1_bound, 2.0 / sqrt(20.0), 1e-12);
    ck_assert_double_lt(look.at[1].spread.p, 1e-6);
    ck_assert_double_gt(look.at[2].spread.p, 0.001);
    ck_assert_ptr_nonnull(strstr(look.doubts, "equal spread (tile)"));
    ck_assert_ptr_nonnull(strstr(look.doubts, "independence in time (batch)"));
    ck_assert_ptr_null(strstr(look.doubts, "equal spread (place"));
    size_t failed = 0;
    for (size_t k = 1; k < 12; k++) {
        struct an_arena *arena = an_arena_open();
        (void)an_alloc_fail_at(k, false);
        const enum an_status st = an_ladder_look_at(&ladder, arena, &look, &scene.err);
        (void)an_alloc_fail_at(0, false);
        ck_assert(st == AN_OK || st == AN_NO_MEMORY);
        failed += st != AN_OK;
        an_arena_close(arena);
    }
    ck_assert_uint_gt(failed, 0);
}
END_TEST

/* ---- what has no ladder ------------------------------------------------------------------------------- */
static const char plates[] = "  glaze:\n"
                             "    time: {column: at}\n"
                             "    item: {kind: tile, column: tile}\n"
                             "    characteristics:\n"
                             "      depth: {column: depth, unit: um}\n";

/* Tiles of `sites` readings, an hour apart; value of reading s of tile t: base + t * step + s * slope. */
static void put_tiles(int tiles, size_t sites, double step, double slope)
{
    scene_file("glaze");
    for (int t = 0; t < tiles; t++) {
        double values[8];
        char serial[16];
        (void)snprintf(serial, sizeof serial, "T-%03d", t);
        for (size_t s = 0; s < sites; s++) {
            values[s] = 50.0 + t * step + (double)s * slope;
        }
        const struct scene_reading r = {.characteristic = "depth",
                                        .split = "",
                                        .serial = serial,
                                        .at_us = SCENE_START + t * AN_HOUR_US,
                                        .values = values,
                                        .n = sites,
                                        .decimals = 3};
        (void)scene_measure(&r);
    }
    scene_file_end();
}

static const struct {
    int tiles;
    size_t sites;
    double step, slope;
    const char *why, *note;
} without[] = {
    {12, 3, 0.0, 0.0, "all readings are equal", NULL},
    {1, 3, 0.0, 0.5, "no two levels with replicates in the readings", NULL},
    {1, 1, 0.0, 0.0, "no two levels with replicates in the readings", NULL},
    /* tiles of one shift only: the shift is no level, the rest has a ladder */
    {5, 3, 0.7, 0.5, NULL, "readings of one shift only: it is no level"},
    /* one reading a tile: tiles are the last level */
    {20, 1, 0.7, 0.0, NULL, "one reading in each tile: its spread cannot be told from within item"},
};

START_TEST(what_cannot_be_carried_is_said)
{
    scene_open(plates);
    put_tiles(without[_i].tiles, without[_i].sites, without[_i].step, without[_i].slope);
    const struct an_stream stream = scene_find("glaze.depth");
    struct an_ladder ladder;
    OK(an_ladder_of(scene.store, scene.line, &stream, INT64_MIN, INT64_MAX, scene.arena, &ladder,
                    &scene.err));
    if (without[_i].why) {
        ck_assert_ptr_nonnull(ladder.why_not);
        ck_assert_str_eq(ladder.why_not, without[_i].why);
    } else {
        bool found = false;
        ck_assert_ptr_null(ladder.why_not);
        for (size_t i = 0; i < ladder.note_count; i++) {
            found = found || !strcmp(ladder.notes[i], without[_i].note);
        }
        ck_assert_msg(found, "no note '%s'; the first is '%s'", without[_i].note,
                      ladder.note_count ? ladder.notes[0] : "none");
        ck_assert_uint_eq(ladder.samples, (size_t)without[_i].tiles);
        ck_assert(ladder.last_us - ladder.first_us == (without[_i].tiles - 1) * AN_HOUR_US);
    }
    scene_close();
}
END_TEST

/* ---- the gauge behind a stream ----------------------------------------------------------------------- */
static const char stations[] = "  bore:\n"
                               "    time: {column: at}\n"
                               "    item: {kind: tile, column: tile}\n"
                               "    gauge: G1\n"
                               "    characteristics:\n"
                               "      ring: {column: ring, unit: mm, spec: {lower: 9, upper: 11}}\n"
                               "      depth: {column: depth, unit: um, spec: {upper: 80}}\n"
                               "  press:\n"
                               "    time: {column: at}\n"
                               "    item: {kind: tile, column: tile}\n"
                               "    characteristics:\n"
                               "      force: {column: force, unit: N}\n";

static void put_streams(void)
{
    static const char *const names[][2] = {{"bore", "ring"}, {"bore", "depth"}, {"press", "force"}};
    for (size_t i = 0; i < 3; i++) {
        scene_file(names[i][0]);
        (void)scene_plain(names[i][1], "", "T1", SCENE_START + AN_HOUR_US, 10.0);
        scene_file_end();
    }
}

/* Two parts, operators, repeats: sums of squares 32, 2, 0, 2 as in the suite of files. Without the
 * interaction: repeats 2 / 5 = 0.4, operators (2 - 0.4) / 4 = 0.4, so the gauge's variance is 0.8. */
static int64_t put_study(const char *stream, double tolerance, int64_t known_us)
{
    static const char data[] =
        "part,who,x\na,A,1\na,A,2\na,B,2\na,B,3\nb,A,5\nb,A,6\nb,B,6\nb,B,7\n";
    struct an_gauge_record record = {.gauge = "G1",
                                     .kind = AN_GAUGE_CROSSED,
                                     .known_us = known_us,
                                     .stream = stream,
                                     .part = "part",
                                     .person = "who",
                                     .reading = "x",
                                     .reference_value = (double)NAN,
                                     .tolerance = tolerance,
                                     .pool_above = 0.25,
                                     .file = "s.csv",
                                     .data = an_bytes_of(data),
                                     .author = "Q. Lead",
                                     .reason = "new"};
    struct an_gauge_result result;
    OK(an_gauge_evaluate(&record, scene.arena, &result, &scene.err));
    record.grade = result.grade;
    record.verdict = result.verdict;
    OK(an_store_put_gauge_study(scene.store, &record, &scene.err));
    return record.study_id;
}

static struct an_stream_gauge behind(const char *name, int64_t at_us)
{
    const struct an_stream stream = scene_find(name);
    const struct an_station *station = NULL;
    const struct an_characteristic *characteristic = NULL;
    const char *purpose = NULL;
    struct an_stream_gauge gauge;
    ck_assert(
        an_judge_resolve(scene.line, &stream, &station, &characteristic, &purpose, scene.arena));
    OK(an_stream_gauge_of(scene.store, scene.line, &stream, station, characteristic, at_us,
                          scene.arena, &gauge, &scene.err));
    return gauge;
}

START_TEST(no_study_known)
{
    scene_open(stations);
    put_streams();
    struct an_stream_gauge g = behind("bore.ring", SCENE_START + AN_DAY_US);
    ck_assert_str_eq(g.text, "G1: no study known");
    ck_assert(!g.measured && isnan(g.percent) && isnan(g.variance) && !g.warning);
    ck_assert(g.age_us == AN_NO_INSTANT);
    g = behind("press.force", SCENE_START + AN_DAY_US);
    ck_assert_str_eq(g.text, "no gauge named, no study known");
    ck_assert_ptr_null(g.gauge);
    scene_close();
}
END_TEST

START_TEST(a_study_speaks_for_its_own_characteristic)
{
    scene_open(stations);
    put_streams();
    (void)put_study("bore.ring", 100.0, SCENE_START);
    struct an_stream_gauge g = behind("bore.ring", SCENE_START + 12 * AN_DAY_US);
    ck_assert(g.measured && g.own && !strcmp(g.held_against, "tolerance"));
    ck_assert_double_eq_tol(g.variance, 0.8, 1e-12);
    /* the stream's own width, 2 mm, not the study's 100 */
    ck_assert_double_eq_tol(g.percent, 600.0 * sqrt(0.8) / 2.0, 1e-9);
    ck_assert(g.grade == AN_GRADE_UNFIT && g.age_us == 12 * AN_DAY_US);
    ck_assert_ptr_nonnull(g.warning);
    ck_assert_ptr_nonnull(
        strstr(g.warning, "the gauge is not fit: it takes 268.3 % of the tolerance"));
    ck_assert_ptr_nonnull(strstr(g.text, "study 1 of 2026-03-02, 12 days old"));
    ck_assert_double_eq_tol(g.categories, sqrt(2.0 * (16.0 - 0.2 / 2.0 - 0.0) / 2.0 / 0.8), 1.0);
    /* depth was measured by the same gauge, but never in that study */
    g = behind("bore.depth", SCENE_START + 12 * AN_DAY_US);
    ck_assert(!g.measured && isnan(g.percent) && isnan(g.variance));
    ck_assert_ptr_nonnull(strstr(g.text, "G1: takes"));
    /* a study that names no stream speaks for it, by its own per cent, in no unit */
    (void)put_study(NULL, 100.0, SCENE_START + AN_HOUR_US);
    g = behind("bore.depth", SCENE_START + AN_DAY_US);
    ck_assert(g.measured && !g.own && isnan(g.variance));
    ck_assert_double_eq_tol(g.percent, 600.0 * sqrt(0.8) / 100.0, 1e-9);
    ck_assert_str_eq(g.held_against, "tolerance of the study");
    ck_assert_ptr_null(g.warning);
    /* and its own study still speaks for the ring, though it is older */
    g = behind("bore.ring", SCENE_START + AN_DAY_US);
    ck_assert(g.own && g.study.study_id == 1);
    /* values before the study */
    g = behind("bore.ring", SCENE_START - AN_DAY_US);
    ck_assert(g.age_us < 0);
    ck_assert_ptr_nonnull(strstr(g.text, "recorded later"));
    scene_close();
}
END_TEST

START_TEST(one_sided_is_held_against_the_study)
{
    scene_open(stations);
    put_streams();
    (void)put_study("bore.depth", (double)NAN, SCENE_START);
    struct an_stream_gauge g = behind("bore.depth", SCENE_START + AN_DAY_US);
    ck_assert(g.own && !strcmp(g.held_against, "study variation"));
    ck_assert_double_eq_tol(g.variance, 0.8, 1e-12);
    (void)put_study("bore.depth", 30.0, SCENE_START + 1);
    g = behind("bore.depth", SCENE_START + AN_DAY_US);
    ck_assert(g.own && !strcmp(g.held_against, "tolerance of the study"));
    ck_assert_double_eq_tol(g.percent, 600.0 * sqrt(0.8) / 30.0, 1e-9);
    scene_close();
}
END_TEST

static void open_arena(void)
{
    scene.arena = an_arena_open();
}

static void close_arena(void)
{
    an_arena_close(scene.arena);
}

int main(void)
{
    Suite *suite = suite_create("ladders and gauges behind streams");
    TCase *levels = tcase_create("levels");
    tcase_add_checked_fixture(levels, open_arena, close_arena);
    tcase_add_test(levels, values_of_each_level);
    tcase_add_test(levels, numbers_are_unique_within_their_group_only);
    tcase_add_test(levels, doubts);
    suite_add_tcase(suite, levels);
    TCase *none = tcase_create("what has no ladder");
    tcase_add_loop_test(none, what_cannot_be_carried_is_said, 0, sizeof without / sizeof *without);
    suite_add_tcase(suite, none);
    TCase *gauges = tcase_create("gauges");
    tcase_add_test(gauges, no_study_known);
    tcase_add_test(gauges, a_study_speaks_for_its_own_characteristic);
    tcase_add_test(gauges, one_sided_is_held_against_the_study);
    suite_add_tcase(suite, gauges);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
