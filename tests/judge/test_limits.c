/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * From samples in a store to limits: published examples through the whole path, what is refused,
 * what is warned of, and that limits come back from the store as they went in.
 */
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char stations[] =
    "  range:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      ring: {column: v, unit: mm, family: xbar_r}\n"
    "  scatter:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      ring: {column: v, unit: mm, family: xbar_s}\n"
    "  single:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      flow: {column: v, unit: um, family: individuals}\n"
    "  items:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      level: {column: v, unit: um, family: between_within}\n"
    "  counts:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      bad: {count: k, opportunities: n, per: hundred, family: p}\n"
    "      same: {count: k, opportunities: n, family: np}\n"
    "      spots: {count: k, family: c}\n"
    "      flaws: {count: k, opportunities: n, family: u}\n"
    "      rough: {count: k, opportunities: n, per: million, family: u_prime}\n";

static void setup(void)
{
    scene_open(stations);
}

/* Piston rings: Montgomery, Introduction to Statistical Quality Control, Table 6.3; data seen in
 * an open quotation. */
static const double rings[25][5] = {
    {74.03, 74.002, 74.019, 73.992, 74.008},  {73.995, 73.992, 74.001, 74.011, 74.004},
    {73.988, 74.024, 74.021, 74.005, 74.002}, {74.002, 73.996, 73.993, 74.015, 74.009},
    {73.992, 74.007, 74.015, 73.989, 74.014}, {74.009, 73.994, 73.997, 73.985, 73.993},
    {73.995, 74.006, 73.994, 74, 74.005},     {73.985, 74.003, 73.993, 74.015, 73.988},
    {74.008, 73.995, 74.009, 74.005, 74.004}, {73.998, 74, 73.99, 74.007, 73.995},
    {73.994, 73.998, 73.994, 73.995, 73.99},  {74.004, 74, 74.007, 74, 73.996},
    {73.983, 74.002, 73.998, 73.997, 74.012}, {74.006, 73.967, 73.994, 74, 73.984},
    {74.012, 74.014, 73.998, 73.999, 74.007}, {74, 73.984, 74.005, 73.998, 73.996},
    {73.994, 74.012, 73.986, 74.005, 74.007}, {74.006, 74.01, 74.018, 74.003, 74},
    {73.984, 74.002, 74.003, 74.005, 73.997}, {74, 74.01, 74.013, 74.02, 74.003},
    {73.982, 74.001, 74.015, 74.005, 73.996}, {74.004, 73.999, 73.99, 74.006, 74.009},
    {74.01, 73.989, 73.99, 74.009, 74.014},   {74.015, 74.008, 73.993, 74, 74.01},
    {73.982, 73.984, 73.995, 74.017, 74.013},
};

static void put_rings(const char *station)
{
    char serial[16];

    scene_file(station);
    for (int i = 0; i < 25; i++) {
        (void)snprintf(serial, sizeof serial, "T-%03d", i + 1);
        const struct scene_reading r = {.characteristic = "ring",
                                        .split = "",
                                        .serial = serial,
                                        .at_us = SCENE_START + i * AN_HOUR_US,
                                        .values = rings[i],
                                        .n = 5,
                                        .decimals = 3};
        (void)scene_measure(&r);
    }
    scene_file_end();
}

static void single_value(const char *characteristic, int i, double value)
{
    char serial[16];

    (void)snprintf(serial, sizeof serial, "T-%04d", i + 1);
    const struct scene_reading r = {.characteristic = characteristic,
                                    .split = "",
                                    .serial = serial,
                                    .at_us = SCENE_START + i * AN_HOUR_US,
                                    .values = &value,
                                    .n = 1,
                                    .decimals = 1};
    (void)scene_measure(&r);
}

static void counted(const char *characteristic, int i, double count, double opportunities)
{
    char serial[16];

    (void)snprintf(serial, sizeof serial, "T-%04d", i + 1);
    (void)scene_count(characteristic, "", serial, SCENE_START + i * AN_HOUR_US, count,
                      opportunities);
}

static struct an_stream_view view_of(const char *name)
{
    const struct an_stream stream = scene_find(name);
    struct an_stream_view view;

    OK(an_judge_view(scene.store, scene.line, &stream, AN_NO_INSTANT, AN_NO_INSTANT, 0, scene.arena,
                     &view, &scene.err));
    return view;
}

static bool warned(const struct an_limits *limits, const char *part)
{
    for (size_t i = 0; i < limits->warning_count; i++) {
        if (strstr(limits->warnings[i], part)) {
            return true;
        }
    }
    return false;
}

#define NEAR(got, want, relative)                                                                  \
    ck_assert_double_eq_tol((got), (want), fmax(fabs((double)(want)), 1e-300) * (relative))

/* Values: base R 4.2 on the same data with exact constants (12 digits), which agree with the
 * book's printed limits to its last digit (74.014, 73.988, 0.049). */
START_TEST(rings_by_range)
{
    put_rings("range");
    const struct an_limits limits = scene_limits("range.ring", 0);
    ck_assert_uint_eq(limits.model.samples, 25);
    NEAR(limits.model.centre, 74.001176, 1e-12);
    NEAR(limits.model.sigma_within, 0.00999170676609, 1e-9);
    scene_lock("range.ring");
    const struct an_stream_view view = view_of("range.ring");
    ck_assert_uint_eq(view.count, 25);
    ck_assert_uint_eq(view.limits_count, 1);
    for (size_t i = 0; i < view.count; i++) {
        NEAR(view.points[i].point.level.ucl, 74.0145812813, 1e-11);
        NEAR(view.points[i].point.level.lcl, 73.9877707187, 1e-11);
        NEAR(view.points[i].point.spread.ucl, 0.049140960132, 1e-9);
        ck_assert_uint_eq(view.points[i].hit_rules[0], 0); /* the book: in control */
        ck_assert_uint_eq(view.points[i].hit_rules[1], 0);
    }
    NEAR(view.points[0].point.level.value, 74.0102, 1e-12);
    NEAR(view.points[0].point.spread.value, 0.038, 1e-9);
    ck_assert_str_eq(view.unit, "mm");
    ck_assert_int_eq(view.decimals, 4); /* three in the file, means one more */
}
END_TEST

START_TEST(rings_by_sd)
{
    put_rings("scatter");
    const struct an_limits limits = scene_limits("scatter.ring", 0);
    NEAR(limits.model.sigma_within, 0.00999960409593, 1e-9);
    NEAR(limits.model.spread_centre, 0.00939948388574, 1e-9);
    scene_lock("scatter.ring");
    const struct an_stream_view view = view_of("scatter.ring");
    NEAR(view.points[7].point.level.ucl, 74.0145918767, 1e-11);
    NEAR(view.points[7].point.level.lcl, 73.9877601233, 1e-11);
    NEAR(view.points[7].point.spread.ucl, 0.0196355018035, 1e-9);
    NEAR(view.points[7].point.spread.value, 0.0122556109599, 1e-9);
}
END_TEST

/* NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.2, flow rates; data from memory. Limits
 * with exact d2(2): base R. */
static const double flow[10] = {49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1};

START_TEST(flow_individuals)
{
    scene_file("single");
    for (int i = 0; i < 10; i++) {
        single_value("flow", i, flow[i]);
    }
    scene_file_end();
    const struct an_limits limits = scene_limits("single.flow", 0);
    NEAR(limits.model.centre, 50.81, 1e-12);
    NEAR(limits.model.sigma_level, 1.66413722668, 1e-9);
    ck_assert(warned(&limits, "only 10 samples: 20 to 25 are common practice"));
    scene_lock("single.flow");
    const struct an_stream_view view = view_of("single.flow");
    NEAR(view.points[3].point.level.ucl, 55.8024116801, 1e-11);
    NEAR(view.points[3].point.level.lcl, 45.8175883199, 1e-11);
    NEAR(view.points[3].point.spread.ucl, 6.13382104844, 1e-9);
    NEAR(view.points[3].point.spread.value, 1.4, 1e-9);
    ck_assert(isnan(view.points[0].point.spread.value)); /* nothing precedes the first */
}
END_TEST

/* e-Handbook 6.3.3.2: chips, 30 samples of 50 (the same counts as Montgomery's Table 7.1); data
 * from memory. Limits and points outside: as printed; 12 digits by base R. */
static const double chips[30] = {12, 15, 8, 10, 4,  7,  16, 9,  14, 10, 5,  6, 17, 12, 22,
                                 8,  10, 5, 13, 11, 20, 18, 24, 15, 9,  12, 7, 13, 9,  6};

START_TEST(chips_p_and_np)
{
    scene_file("counts");
    for (int i = 0; i < 30; i++) {
        counted("bad", i, chips[i], 50);
        counted("same", i, chips[i], 50);
    }
    scene_file_end();
    const struct an_limits limits = scene_limits("counts.bad", 0);
    NEAR(limits.model.centre, 0.231333333333, 1e-10);
    ck_assert(warned(&limits, "use p_prime")); /* Laney's factor on these is 1.66 */
    ck_assert(warned(&limits, "(T-0015, "));
    scene_lock("counts.bad");
    struct an_stream_view view = view_of("counts.bad");
    NEAR(view.points[4].point.level.ucl, 0.410239118595, 1e-10);
    NEAR(view.points[4].point.level.lcl, 0.0524275480719, 1e-10);
    NEAR(view.scale, 100.0, 1e-15);
    ck_assert_str_eq(view.unit, "%");
    for (size_t i = 0; i < 30; i++) { /* printed: samples 15 and 23 are out */
        const bool out = view.points[i].hit_rules[0] & (1U << AN_RULE_BEYOND_LIMIT);
        ck_assert_int_eq(out, i == 14 || i == 22);
    }
    (void)scene_limits("counts.same", 0);
    scene_lock("counts.same");
    view = view_of("counts.same");
    NEAR(view.points[0].point.level.centre, 11.5666666667, 1e-10);
    NEAR(view.points[0].point.level.ucl, 20.5119559297, 1e-10);
    NEAR(view.points[0].point.level.lcl, 2.6213774036, 1e-10);
    NEAR(view.scale, 1.0, 1e-15);
}
END_TEST

/* The same source revises its limits without samples 15 and 23, whose causes were found:
 * centre 0.2150, limits 0.3893 and 0.0407. */
START_TEST(chips_revised)
{
    int64_t left_out[2];
    static const char *const reasons[2] = {"new batch of material", "operator in training"};

    scene_file("counts");
    for (int i = 0; i < 30; i++) {
        char serial[16];
        (void)snprintf(serial, sizeof serial, "T-%04d", i + 1);
        const int64_t id =
            scene_count("bad", "", serial, SCENE_START + i * AN_HOUR_US, chips[i], 50);
        if (i == 14 || i == 22) {
            left_out[i == 22] = id;
        }
    }
    scene_file_end();
    const struct an_baseline_choice choice = {.from_us = AN_NO_INSTANT,
                                              .until_us = AN_NO_INSTANT,
                                              .exclude = left_out,
                                              .exclude_reasons = reasons,
                                              .exclude_count = 2};
    struct an_limits limits;
    OK(an_limits_propose(scene.store, scene.line, scene_find("counts.bad").stream_id, &choice,
                         scene.arena, &limits, &scene.err));
    NEAR(limits.model.centre, 0.215, 1e-12);
    scene_lock("counts.bad");
    const struct an_stream_view view = view_of("counts.bad");
    NEAR(view.points[0].point.level.ucl, 0.389297160046, 1e-10);
    NEAR(view.points[0].point.level.lcl, 0.0407028399543, 1e-10);
    ck_assert(view.points[14].excluded && view.points[22].excluded && !view.points[13].excluded);
    ck_assert_uint_eq(view.points[22].hit_rules[0], 0); /* a person has answered for it */
    ck_assert_str_eq(view.limits[0].excluded[0].reason, "new batch of material");
    ck_assert_str_eq(view.limits[0].excluded[1].serial, "T-0023");
    ck_assert_int_eq(view.limits[0].excluded[1].at_us, SCENE_START + 22 * AN_HOUR_US);
}
END_TEST

/* e-Handbook 6.3.3.1: defects on 25 wafers; data from memory. Centre 16, limits 4 and 28; wafer 24
 * is out, wafer 3 lies on the limit and is not. */
static const double wafers[25] = {16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14,
                                  16, 15, 13, 14, 16, 11, 20, 11, 19, 16, 31, 13};

START_TEST(wafers_c)
{
    scene_file("counts");
    for (int i = 0; i < 25; i++) {
        counted("spots", i, wafers[i], (double)NAN);
    }
    scene_file_end();
    (void)scene_limits("counts.spots", 0);
    scene_lock("counts.spots");
    const struct an_stream_view view = view_of("counts.spots");
    for (size_t i = 0; i < 25; i++) {
        NEAR(view.points[i].point.level.centre, 16, 1e-14);
        NEAR(view.points[i].point.level.ucl, 28, 1e-14);
        NEAR(view.points[i].point.level.lcl, 4, 1e-14);
        const bool out = view.points[i].hit_rules[0] & (1U << AN_RULE_BEYOND_LIMIT);
        ck_assert_int_eq(out, i == 23);
    }
    ck_assert_str_eq(view.unit, "");
}
END_TEST

/* Dyed cloth, unequal rolls: Montgomery, Table 7.11; data from memory, limits by base R and as
 * printed to two decimals (2.55 for 10 units). */
START_TEST(cloth_u)
{
    static const double flaws[10] = {14, 12, 20, 11, 7, 10, 21, 16, 19, 23};
    static const double units[10] = {10, 8, 13, 10, 9.5, 10, 12, 10.5, 12, 12.5};

    scene_file("counts");
    for (int i = 0; i < 10; i++) {
        counted("flaws", i, flaws[i], units[i]);
    }
    scene_file_end();
    const struct an_limits limits = scene_limits("counts.flaws", 0);
    NEAR(limits.model.centre, 1.42325581395, 1e-10);
    scene_lock("counts.flaws");
    const struct an_stream_view view = view_of("counts.flaws");
    NEAR(view.points[0].point.level.ucl, 2.55503769778, 1e-10);
    NEAR(view.points[1].point.level.ucl, 2.68862642792, 1e-10);
    NEAR(view.points[6].point.level.ucl, 2.45642659387, 1e-10);
    ck_assert_str_eq(view.unit, "per opportunity");
}
END_TEST

/* ---- the life of limits ---------------------------------------------------------------------------- */
START_TEST(proposed_do_not_judge)
{
    put_rings("range");
    (void)scene_limits("range.ring", 0);
    struct an_stream_view view = view_of("range.ring");
    ck_assert_uint_eq(view.limits_count, 0);
    ck_assert_uint_eq(view.points[3].phase, AN_NONE);
    ck_assert(isnan(view.points[3].point.level.ucl));
    NEAR(view.points[3].point.level.value, 74.003, 1e-12);
}
END_TEST

START_TEST(lock_wants_author_and_reason)
{
    put_rings("range");
    (void)scene_limits("range.ring", 0);
    const int64_t id = scene_find("range.ring").stream_id;
    static const struct {
        const char *author, *reason;
    } bad[] = {{"", "why"}, {NULL, "why"}, {"  \t", "why"}, {"E. Rossi", ""}, {"E. Rossi", NULL}};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        ck_assert_int_eq(an_limits_lock(scene.store, id, AN_NO_INSTANT, bad[i].author,
                                        bad[i].reason, &scene.err),
                         AN_BAD_USAGE);
    }
    ck_assert_uint_eq(view_of("range.ring").limits_count, 0);
    scene_lock("range.ring");
    ck_assert_uint_eq(view_of("range.ring").limits_count, 1);
    ck_assert_int_eq(
        an_limits_lock(scene.store, id, AN_NO_INSTANT, "E. Rossi", "again", &scene.err),
        AN_NOT_FOUND);
    ck_assert_ptr_nonnull(strstr(scene.err.text, "locked already"));
}
END_TEST

START_TEST(lock_without_proposal)
{
    put_rings("range");
    ck_assert_int_eq(an_limits_lock(scene.store, scene_find("range.ring").stream_id, AN_NO_INSTANT,
                                    "E. Rossi", "why", &scene.err),
                     AN_NOT_FOUND);
    ck_assert_ptr_nonnull(strstr(scene.err.text, "propose"));
}
END_TEST

/* A later lock wins from its in-force time on; before it the older one judges. */
START_TEST(phases_follow_locks)
{
    const int64_t turn_us = SCENE_START + 12 * AN_HOUR_US;

    put_rings("range");
    const int64_t id = scene_find("range.ring").stream_id;
    const struct an_limits first = scene_limits("range.ring", 0);
    scene_lock("range.ring");
    const struct an_limits second = scene_limits("range.ring", 10);
    OK(an_limits_lock(scene.store, id, turn_us, "E. Rossi", "new stamp", &scene.err));
    struct an_stream_view view = view_of("range.ring");
    ck_assert_uint_eq(view.limits_count, 2);
    for (size_t i = 0; i < view.count; i++) {
        const bool late = view.points[i].sample.at_us >= turn_us;
        ck_assert_uint_eq(view.points[i].phase, late ? 1 : 0);
        NEAR(view.points[i].point.level.centre, late ? second.model.centre : first.model.centre,
             1e-15);
        ck_assert_int_eq(view.points[i].gap_before, i == 12);
    }
    /* a third, in force from before all: the others judge nothing any more */
    (void)scene_limits("range.ring", 20);
    OK(an_limits_lock(scene.store, id, SCENE_START, "E. Rossi", "baseline mended", &scene.err));
    view = view_of("range.ring");
    ck_assert_uint_eq(view.limits_count, 1);
    ck_assert_uint_eq(view.limits[0].model.samples, 20);
    struct an_limits *all = NULL;
    size_t count = 0;
    OK(an_limits_all(scene.store, id, scene.arena, &all, &count, &scene.err));
    ck_assert_uint_eq(count, 3); /* nothing is updated away */
    ck_assert_str_eq(all[1].author, "E. Rossi");
    ck_assert_str_eq(all[1].reason, "new stamp");
    ck_assert_int_eq(all[1].in_force_us, turn_us);
}
END_TEST

/* Every number of a model comes back as the same double. */
START_TEST(model_comes_back)
{
    put_rings("range");
    const struct an_limits limits = scene_limits("range.ring", 0);
    struct an_limits *all = NULL;
    size_t count = 0;
    OK(an_limits_all(scene.store, scene_find("range.ring").stream_id, scene.arena, &all, &count,
                     &scene.err));
    ck_assert_uint_eq(count, 1);
    ck_assert_int_eq(all[0].model.family, AN_XBAR_R);
    ck_assert(all[0].model.centre == limits.model.centre);
    ck_assert(all[0].model.sigma_within == limits.model.sigma_within);
    ck_assert(all[0].model.sigma_level == limits.model.sigma_level);
    ck_assert(all[0].model.df_within == limits.model.df_within);
    ck_assert(all[0].model.spread_centre == limits.model.spread_centre);
    ck_assert(isnan(all[0].model.between) && isnan(limits.model.between));
    ck_assert(all[0].normality.p == limits.normality.p);
    ck_assert(all[0].lag1 == limits.lag1);
    ck_assert_int_eq(all[0].rules.run_length, limits.rules.run_length);
    ck_assert(memcmp(all[0].rules.on, limits.rules.on, sizeof limits.rules.on) == 0);
    ck_assert_uint_eq(all[0].warning_count, limits.warning_count);
    ck_assert_int_eq(all[0].baseline_from_us, SCENE_START);
    ck_assert_int_eq(all[0].state, AN_LIMITS_PROPOSED);
}
END_TEST

/* ---- what is refused --------------------------------------------------------------------------------- */
static void refuse(const char *stream, const struct an_baseline_choice *choice, enum an_status st,
                   const char *part)
{
    struct an_limits limits;
    struct an_limits *all = NULL;
    size_t count = 0;
    const int64_t id = scene_find(stream).stream_id;

    ck_assert_int_eq(
        an_limits_propose(scene.store, scene.line, id, choice, scene.arena, &limits, &scene.err),
        st);
    ck_assert_msg(strstr(scene.err.text, part) != NULL, "\"%s\" not in \"%s\"", part,
                  scene.err.text);
    OK(an_limits_all(scene.store, id, scene.arena, &all, &count, &scene.err));
    ck_assert_uint_eq(count, 0); /* nothing was stored */
}

static const struct an_baseline_choice everything = {.from_us = AN_NO_INSTANT,
                                                     .until_us = AN_NO_INSTANT};

START_TEST(empty_baseline)
{
    put_rings("range");
    const struct an_baseline_choice later = {.from_us = SCENE_START + 90 * AN_DAY_US,
                                             .until_us = AN_NO_INSTANT};
    refuse("range.ring", &later, AN_TOO_FEW, "has 0 samples: at least 2");
    const struct an_baseline_choice one = {
        .from_us = AN_NO_INSTANT, .until_us = AN_NO_INSTANT, .samples = 1};
    refuse("range.ring", &one, AN_TOO_FEW, "has 1 usable sample (");
}
END_TEST

START_TEST(one_reading_a_sample)
{
    scene_file("range");
    for (int i = 0; i < 25; i++) {
        single_value("ring", i, flow[i % 10]);
    }
    scene_file_end();
    refuse("range.ring", &everything, AN_TOO_FEW, "at least 2 readings a sample");
}
END_TEST

START_TEST(all_equal)
{
    scene_file("single");
    for (int i = 0; i < 25; i++) {
        single_value("flow", i, 12.5);
    }
    scene_file_end();
    refuse("single.flow", &everything, AN_NO_SPREAD, "all 25 samples of single.flow are equal");
}
END_TEST

START_TEST(no_spread_inside)
{
    scene_file("scatter");
    for (int i = 0; i < 25; i++) {
        const double same[4] = {flow[i % 10], flow[i % 10], flow[i % 10], flow[i % 10]};
        char serial[16];
        (void)snprintf(serial, sizeof serial, "T-%d", i);
        const struct scene_reading r = {.characteristic = "ring",
                                        .split = "",
                                        .serial = serial,
                                        .at_us = SCENE_START + i * AN_HOUR_US,
                                        .values = same,
                                        .n = 4,
                                        .decimals = 1};
        (void)scene_measure(&r);
    }
    scene_file_end();
    refuse("scatter.ring", &everything, AN_NO_SPREAD, "readings inside each of the 25 samples");
}
END_TEST

START_TEST(unequal_range_samples)
{
    scene_file("range");
    for (int i = 0; i < 25; i++) {
        char serial[16];
        (void)snprintf(serial, sizeof serial, "T-%d", i);
        const struct scene_reading r = {.characteristic = "ring",
                                        .split = "",
                                        .serial = serial,
                                        .at_us = SCENE_START + i * AN_HOUR_US,
                                        .values = rings[i],
                                        .n = i == 7 ? 4 : 5,
                                        .decimals = 3};
        (void)scene_measure(&r);
    }
    scene_file_end();
    refuse("range.ring", &everything, AN_DOMAIN, "use xbar_s");
}
END_TEST

START_TEST(counts_that_cannot_be)
{
    scene_file("counts");
    for (int i = 0; i < 25; i++) {
        counted("bad", i, i == 3 ? 60 : 5, 50);
        counted("same", i, 5, i == 3 ? 60 : 50);
        counted("flaws", i, 0, 40);
    }
    scene_file_end();
    refuse("counts.bad", &everything, AN_DOMAIN, "opportunities above 0");
    refuse("counts.same", &everything, AN_DOMAIN, "use p");
    refuse("counts.flaws", &everything, AN_NO_SPREAD, "count nothing");
}
END_TEST

START_TEST(exclusions_want_reasons)
{
    put_rings("range");
    struct an_sample *samples = NULL;
    size_t count = 0;
    OK(an_store_samples(scene.store, scene_find("range.ring").stream_id, AN_NO_INSTANT, INT64_MAX,
                        0, scene.arena, &samples, &count, &scene.err));
    const int64_t ids[2] = {samples[4].sample_id, samples[4].sample_id};
    const int64_t strange[1] = {987654};
    static const char *const blank[1] = {" "};
    static const char *const good[2] = {"stylus lifted", "stylus lifted"};
    struct an_baseline_choice choice = everything;
    choice.exclude = ids;
    choice.exclude_count = 1;
    choice.exclude_reasons = blank;
    refuse("range.ring", &choice, AN_BAD_USAGE, "without a reason");
    choice.exclude_reasons = NULL;
    refuse("range.ring", &choice, AN_BAD_USAGE, "without a reason");
    choice.exclude_reasons = good;
    choice.exclude_count = 2;
    refuse("range.ring", &choice, AN_BAD_USAGE, "named twice");
    choice.exclude = strange;
    choice.exclude_count = 1;
    refuse("range.ring", &choice, AN_NOT_FOUND, "987654");
}
END_TEST

/* ---- what is warned of --------------------------------------------------------------------------------- */
static void put_items(const char *station, const char *characteristic, double between,
                      double within, double carry, int items, uint64_t seed)
{
    struct scene_random random = {seed};
    double level = 0;
    char serial[16];

    scene_file(station);
    for (int i = 0; i < items; i++) {
        double values[5];
        level = carry * level + between * sqrt(1 - carry * carry) * scene_normal(&random);
        for (int r = 0; r < 5; r++) {
            values[r] = 100 + level + within * scene_normal(&random);
        }
        (void)snprintf(serial, sizeof serial, "T-%05d", i);
        const struct scene_reading reading = {.characteristic = characteristic,
                                              .split = "",
                                              .serial = serial,
                                              .at_us = SCENE_START + i * AN_HOUR_US,
                                              .values = values,
                                              .n = 5,
                                              .decimals = 3};
        (void)scene_measure(&reading);
    }
    scene_file_end();
}

/* Items differ by three times the spread inside: item means scatter with variance
 * 9 + 1/5 against limits made of 1/5, so 2 P(Z > 3 / sqrt(46)) = 0.66 of them signal. */
START_TEST(items_differ)
{
    put_items("scatter", "ring", 3, 1, 0, 60, 7);
    const struct an_limits limits = scene_limits("scatter.ring", 0);
    ck_assert(warned(&limits, "samples differ far more"));
    ck_assert(warned(&limits, "use between_within"));
    double share = 0;
    for (size_t i = 0; i < limits.warning_count; i++) {
        const char *at = strstr(limits.warnings[i], "at about ");
        share = at && strstr(limits.warnings[i], "use between_within") ? atof(at + 9) : share;
    }
    ck_assert_double_eq_tol(share, 66, 8);
}
END_TEST

START_TEST(items_alike)
{
    put_items("scatter", "ring", 0, 1, 0, 60, 7);
    const struct an_limits limits = scene_limits("scatter.ring", 0);
    ck_assert(!warned(&limits, "between_within"));
    ck_assert(!warned(&limits, "only"));
}
END_TEST

START_TEST(neighbours_alike)
{
    put_items("items", "level", 3, 0.5, 0.8, 100, 11);
    const struct an_limits limits = scene_limits("items.level", 0);
    ck_assert(warned(&limits, "neighbouring samples are not independent"));
    ck_assert(warned(&limits, "too narrow"));
    ck_assert_double_eq_tol(limits.lag1_bound, 0.2, 1e-12); /* 2 / sqrt(100) */
    ck_assert_double_gt(limits.lag1, limits.lag1_bound);
}
END_TEST

START_TEST(skewed_values)
{
    struct scene_random random = {5};

    scene_file("single");
    for (int i = 0; i < 80; i++) {
        single_value("flow", i, exp(scene_normal(&random)));
    }
    scene_file_end();
    const struct an_limits limits = scene_limits("single.flow", 0);
    ck_assert(warned(&limits, "not normal"));
    ck_assert_double_lt(limits.normality.p, 0.01);
}
END_TEST

/*
 * Six wild values of thirty at alternate places: moving ranges grow so wide with them that none is
 * beyond the limits, but median and Qn do not move. They are named; once left out by name, none is.
 */
START_TEST(hidden_by_themselves)
{
    struct scene_random random = {31};
    int64_t wild[6];
    static const char *const reasons[6] = {"wrong lot", "wrong lot", "wrong lot",
                                           "wrong lot", "wrong lot", "wrong lot"};

    scene_file("single");
    for (int i = 0; i < 30; i++) {
        single_value("flow", i, 50 + scene_normal(&random) + (i % 5 == 2 ? 9 : 0));
    }
    scene_file_end();
    const struct an_limits all = scene_limits("single.flow", 0);
    ck_assert(!warned(&all, "B+"));
    ck_assert(warned(&all, "6 of 30 samples stand apart by a robust look"));
    ck_assert(warned(&all, "(T-0003, ") && warned(&all, "(T-0028, "));
    const struct an_stream_view view = view_of("single.flow");
    for (int k = 0; k < 6; k++) {
        wild[k] = view.points[5 * k + 2].sample.sample_id;
    }
    struct an_baseline_choice choice = everything;
    choice.exclude = wild;
    choice.exclude_reasons = reasons;
    choice.exclude_count = 6;
    struct an_limits rest;
    OK(an_limits_propose(scene.store, scene.line, scene_find("single.flow").stream_id, &choice,
                         scene.arena, &rest, &scene.err));
    ck_assert(!warned(&rest, "stand apart"));
    ck_assert_double_lt(rest.model.sigma_level, all.model.sigma_level / 2);
}
END_TEST

START_TEST(coarse_gauge)
{
    scene_file("single");
    for (int i = 0; i < 30; i++) {
        single_value("flow", i, 20 + (i % 7 == 0 ? 0.1 : 0)); /* steps of 0.1, sigma below */
    }
    scene_file_end();
    const struct an_limits limits = scene_limits("single.flow", 0);
    ck_assert(warned(&limits, "steps of 0.1 um, more than one sigma"));
}
END_TEST

int main(void)
{
    const struct {
        const char *name;
        const TTest *test;
    } tests[] = {{"rings", rings_by_range},
                 {"rings", rings_by_sd},
                 {"flow", flow_individuals},
                 {"chips", chips_p_and_np},
                 {"chips", chips_revised},
                 {"wafers", wafers_c},
                 {"cloth", cloth_u},
                 {"life", proposed_do_not_judge},
                 {"life", lock_wants_author_and_reason},
                 {"life", lock_without_proposal},
                 {"life", phases_follow_locks},
                 {"life", model_comes_back},
                 {"refused", empty_baseline},
                 {"refused", one_reading_a_sample},
                 {"refused", all_equal},
                 {"refused", no_spread_inside},
                 {"refused", unequal_range_samples},
                 {"refused", counts_that_cannot_be},
                 {"refused", exclusions_want_reasons},
                 {"warned", items_differ},
                 {"warned", items_alike},
                 {"warned", neighbours_alike},
                 {"warned", hidden_by_themselves},
                 {"warned", skewed_values},
                 {"warned", coarse_gauge}};
    Suite *suite = suite_create("limits");
    for (size_t i = 0; i < sizeof tests / sizeof *tests; i++) {
        TCase *tc = tcase_create(tests[i].name);
        tcase_add_checked_fixture(tc, setup, scene_close);
        tcase_add_test(tc, tests[i].test);
        suite_add_tcase(suite, tc);
    }
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
