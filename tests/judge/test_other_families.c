/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Two variables together, residuals, gaps between events and limits by chance from proposal to
 * sentence: hits are those that the statistics give for the whole sequence, however it is cut into
 * checks and whatever comes late.
 */
#include "andamento/stat/attribute_limits.h"
#include "andamento/stat/rare_events.h"
#include "andamento/stat/run_length.h"
#include "andamento/stat/short_run.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char stations[] =
    "  probe:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      dx: {column: dx, unit: um, family: individuals, signals: no}\n"
    "      dy: {column: dy, unit: um, family: individuals, signals: no}\n"
    "      both: {title: Placement, derived: {how: together, of: [dx, dy]}}\n"
    "      slow: {derived: {how: together, of: [dx, dy]}, family: mewma}\n"
    "      all: {derived: {how: together, of: [dx, dy]}, covariance: all}\n"
    "      left: {column: v, unit: um, family: residuals}\n"
    "      lost: {count: n, opportunities: 100, family: g}\n"
    "      pause: {count: n, family: t}\n"
    "      part: {column: p, unit: um, split: head, signals: no}\n"
    "      heads: {title: Offset by head, derived: {how: extremes, of: part}, split: []}\n"
    "      worn: {column: w, unit: um, subgroup: row, family: wear, life_column: cycles}\n"
    "      mixed: {column: m, unit: um, subgroup: row, family: short_run, product_column: kind,\n"
    "              products: {coarse: {target: 100}, extra: {target: 5, sigma: 1}}}\n"
    "      share: {count: n, opportunities: 100, family: np, limits: probability}\n";

enum { BASE = 60, MORE = 60, ALL = BASE + MORE };

struct made {
    double dx[ALL], dy[ALL], v[ALL], n[ALL], worn[ALL], life[ALL], mixed[ALL];
    const char *product[ALL];
    double head[3][ALL];
};

/* From sample 90 on dx stands higher; at 100 v jumps; from 95 on events come in every sample. */
static void make(struct made *made)
{
    struct scene_random random = {77};
    double last = 0;

    for (int i = 0; i < ALL; i++) {
        const double shared = scene_normal(&random);
        made->dx[i] = shared + 0.3 * scene_normal(&random) + (i >= 90 ? 2.0 : 0);
        made->dy[i] = shared + 0.3 * scene_normal(&random);
        last = 0.7 * last + scene_normal(&random) + (i == 100 ? 7.0 : 0);
        made->v[i] = 50 + last;
        for (int h = 0; h < 3; h++) { /* levels and scatters of their own; the last moves at 100 */
            made->head[h][i] =
                10.0 * h + (h + 1) * (scene_normal(&random) + (h == 2 && i >= 100 ? -5 : 0));
        }
        made->life[i] = 10.0 * (i % 25 + 1); /* a tool lasts 25 samples */
        made->worn[i] = 3 + 0.05 * made->life[i] + scene_normal(&random) + (i == 105 ? 6.0 : 0);
        made->product[i] = i % 3 ? "fine" : "coarse";
        made->mixed[i] = i % 3 ? 10 + 0.1 * scene_normal(&random) + (i == 110 ? 0.7 : 0)
                               : 100 + 5 * scene_normal(&random);
        made->n[i] = i >= 95 ? 9.0 : i * 37 % 101 % 7 == 3 ? 1.0 : 0.0;
    }
}

static int64_t at_of(int i)
{
    return SCENE_START + i * (10 * AN_MINUTE_US);
}

static void beside_in(const char *characteristic, const char *split, double value)
{
    struct an_sample sample = scene.last;

    sample.mean = sample.min = sample.max = value;
    sample.stream_id = scene_stream(characteristic, split);
    OK(an_store_put_sample(scene.store, &sample, &scene.err));
}

static void beside(const char *characteristic, double value)
{
    beside_in(characteristic, "", value);
}

static void put(const struct made *made, int from, int until, bool with_partner)
{
    scene_file("probe");
    for (int i = from; i < until; i++) {
        char serial[24];
        (void)snprintf(serial, sizeof serial, "T-%05d", i);
        (void)scene_plain("both", "", serial, at_of(i), made->dx[i]);
        beside("slow", made->dx[i]);
        beside("all", made->dx[i]);
        beside("dx", made->dx[i]);
        if (with_partner) {
            beside("dy", made->dy[i]);
        }
        beside("left", made->v[i]);
        beside("heads", 0);
        beside_in("part", "head=H1", made->head[0][i]);
        beside_in("part", "head=H2", made->head[1][i]);
        if (i != 103) { /* that one gave nothing once: the two others are held against less */
            beside_in("part", "head=H3", made->head[2][i]);
        }
        char life[24];
        (void)snprintf(life, sizeof life, "%.0f", made->life[i]);
        scene.last.ribbon = life;
        beside("worn", made->worn[i]);
        scene.last.ribbon = made->product[i];
        beside("mixed", made->mixed[i]);
        (void)scene_count("lost", "", serial, at_of(i), made->n[i], 100);
        (void)scene_count("pause", "", serial, at_of(i), made->n[i], (double)NAN);
        (void)scene_count("share", "", serial, at_of(i), made->n[i], 100);
    }
    scene_file_end();
}

static const char *const streams[] = {"probe.both",  "probe.slow",  "probe.all",   "probe.left",
                                      "probe.lost",  "probe.pause", "probe.share", "probe.worn",
                                      "probe.mixed", "probe.heads"};
enum { STREAMS = sizeof streams / sizeof *streams };

static void lock_all(void)
{
    for (size_t s = 0; s < STREAMS; s++) {
        (void)scene_limits(streams[s], BASE);
        scene_lock(streams[s]);
    }
}

/* The head furthest from its own level in the baseline, and the limit of as many as there are. */
static double furthest(const struct made *made, int at, double *limit)
{
    double most = 0;

    for (int h = 0; h < 3; h++) {
        double mean = 0;
        double ranges = 0;
        for (int i = 0; i < BASE; i++) {
            mean += made->head[h][i] / BASE;
            ranges += i ? fabs(made->head[h][i] - made->head[h][i - 1]) / (BASE - 1) : 0;
        }
        const double z = (made->head[h][at] - mean) / (ranges / 1.1283791670955126);
        most = fabs(z) > fabs(most) && !(h == 2 && at == 103) ? z : most;
    }
    *limit = an_group_limit(at == 103 ? 2 : 3, 3);
    return most;
}

/* z of every sample of the whole sequence by the functions of the statistics alone. */
static void reckon(const struct made *made, size_t which, double value[ALL], bool beyond[ALL])
{
    struct an_joint joint;
    struct an_mewma_state state = {0};
    struct an_autoregression memory;
    struct an_gap gaps[BASE];
    struct an_gap_model gap_model;
    double x[2 * ALL];
    struct an_wear wear;
    double since = 0, limit = 0, events = 0;
    double ranges = 0, last = (double)NAN, fine = 0, fine_count = 0, coarse = 0, coarse_count = 0;
    double fine_last = (double)NAN;
    size_t found = 0;
    bool known = false;

    for (int i = 0; i < ALL; i++) {
        x[2 * i] = made->dx[i];
        x[2 * i + 1] = made->dy[i];
        value[i] = (double)NAN;
        beyond[i] = false;
        events += i < BASE ? made->n[i] : 0;
    }
    ck_assert_int_eq(an_joint_learn_items(x, BASE, 2, NULL,
                                          which == 2 ? AN_JOINT_ALL : AN_JOINT_SUCCESSIVE, &joint),
                     AN_OK);
    ck_assert_int_eq(an_autoregression_fit(made->v, BASE, NULL, NULL, &memory), AN_OK);
    ck_assert_int_eq(an_mewma_limit(2, 0.1, 370.4, &limit), AN_OK);
    for (int i = 0; i < BASE; i++) {
        since += which == 4 ? 100 : 1.0 / 6.0; /* opportunities, or hours */
        if (made->n[i] > 0) {
            gaps[found] = (struct an_gap){.length = since, .events = made->n[i]};
            found += known;
            known = true;
            since = 0;
        }
    }
    ck_assert_int_eq(
        an_gap_learn(which == 4 ? AN_GAP_TRIALS : AN_GAP_TIME, gaps, found, &gap_model), AN_OK);
    ck_assert_int_eq(an_wear_learn(made->life, made->worn, BASE, NULL, &wear), AN_OK);
    for (int i = 0; i < BASE; i++) { /* two products by hand */
        if (strcmp(made->product[i], "fine") == 0) {
            fine += made->mixed[i];
            fine_count++;
            ranges += isnan(fine_last) ? 0 : fabs(made->mixed[i] - fine_last);
            fine_last = made->mixed[i];
        } else {
            coarse += isnan(last) ? 0 : fabs(made->mixed[i] - last);
            coarse_count++;
            last = made->mixed[i];
        }
    }
    const double d2 = 1.1283791670955126;
    const double fine_sigma = ranges / (fine_count - 1) / d2;
    const double coarse_sigma = coarse / (coarse_count - 1) / d2;
    since = 0;
    known = false;
    for (int i = 0; i < ALL; i++) {
        const bool is_fine = strcmp(made->product[i], "fine") == 0;
        const struct an_count_law law = {true, events / (BASE * 100.0), 100};
        struct an_residual left;
        switch (which) {
        case 0:
        case 2:
            value[i] = an_joint_t2(&joint, &x[2 * i]);
            beyond[i] = value[i] > an_joint_limit(&joint, AN_PHASE_TWO, 2 * an_normal_above(3));
            break;
        case 1:
            value[i] = an_mewma_take(&joint, 0.1, false, &x[2 * i], &state);
            beyond[i] = value[i] > limit;
            break;
        case 3:
            left =
                an_autoregression_residual(&memory, made->v[i], i ? made->v[i - 1] : (double)NAN);
            value[i] = left.value;
            beyond[i] = fabs(left.value) > 3 * left.sigma;
            break;
        case 7:
            value[i] = made->worn[i];
            beyond[i] = fabs(made->worn[i] - an_wear_at(&wear, made->life[i]).value) >
                        3 * an_wear_at(&wear, made->life[i]).sigma;
            break;
        case 8:
            value[i] = is_fine ? (made->mixed[i] - fine / fine_count) / fine_sigma
                               : (made->mixed[i] - 100) / coarse_sigma;
            beyond[i] = fabs(value[i]) > 3;
            break;
        case 9:
            value[i] = furthest(made, i, &limit);
            beyond[i] = fabs(value[i]) > limit;
            break;
        case 6:
            value[i] = made->n[i];
            beyond[i] = fabs(an_probability_z(&law, made->n[i], 3)) > 3;
            break;
        default:
            since += which == 4 ? 100 : 1.0 / 6.0;
            if (made->n[i] > 0) {
                const struct an_gap_point p = an_gap_judge(
                    &gap_model, (struct an_gap){since, made->n[i], which == 4 ? 100 : 1.0 / 6.0},
                    3);
                value[i] = known ? p.value : (double)NAN;
                beyond[i] = known && fabs(p.z) > 3;
                known = true;
                since = 0;
            }
            break;
        }
    }
}

static void check_hits(const struct made *made, size_t which)
{
    double value[ALL];
    bool beyond[ALL], hit[ALL] = {false};
    struct an_hit_record *hits = NULL;
    size_t count = 0;
    int told = 0;

    reckon(made, which, value, beyond);
    OK(an_store_stream_hits(scene.store, scene_find(streams[which]).stream_id, AN_NO_INSTANT,
                            scene.arena, &hits, &count, &scene.err));
    for (size_t h = 0; h < count; h++) {
        const int i = (int)((hits[h].at_us - SCENE_START) / (10 * AN_MINUTE_US));
        if (hits[h].rule == AN_RULE_BEYOND_LIMIT && !hits[h].withdrawn) {
            ck_assert_msg(!hit[i], "%s: sample %d is told twice", streams[which], i);
            hit[i] = true;
            ck_assert_msg(fabs(hits[h].value - value[i]) <= 1e-7 * (1 + fabs(value[i])),
                          "%s: sample %d: %.17g, reckoned %.17g", streams[which], i, hits[h].value,
                          value[i]);
        }
    }
    for (int i = 0; i < ALL; i++) {
        ck_assert_msg(hit[i] == beyond[i], "%s: sample %d: hit %d, reckoned %d (%.17g)",
                      streams[which], i, hit[i], beyond[i], value[i]);
        told += hit[i];
    }
    ck_assert_msg(told > 0, "%s: nothing was told", streams[which]);
}

static const int cuts[] = {MORE, 1, 7, 13}; /* samples between checks */

START_TEST(hits_are_those_of_the_whole)
{
    struct made made;

    make(&made);
    scene_open(stations);
    put(&made, 0, BASE, true);
    lock_all();
    (void)scene_check();
    for (int at = BASE; at < ALL; at += cuts[_i]) {
        put(&made, at, at + cuts[_i] < ALL ? at + cuts[_i] : ALL, true);
        (void)scene_check();
    }
    for (size_t s = 0; s < STREAMS; s++) {
        check_hits(&made, s);
    }
    scene_close();
}
END_TEST

/* Samples 92 to 96 come after those behind them: judged again as if they had come in time. */
START_TEST(late_samples_are_judged_in)
{
    struct made made;

    make(&made);
    scene_open(stations);
    put(&made, 0, BASE, true);
    lock_all();
    (void)scene_check();
    put(&made, BASE, 92, true);
    (void)scene_check();
    put(&made, 97, ALL, true);
    (void)scene_check();
    put(&made, 92, 97, true);
    ck_assert_int_gt(scene_check().late_samples, 0);
    for (size_t s = 0; s < STREAMS; s++) {
        check_hits(&made, s);
    }
    scene_close();
}
END_TEST

/* ---- what is told ---- */

static const char *sentence_of(const char *stream)
{
    struct an_signal *signals = NULL;
    size_t count = 0;

    OK(an_signals(scene.store, scene.line, scene_find(stream).stream_id, at_of(91), INT64_MAX,
                  scene.arena, &signals, &count, &scene.err));
    ck_assert_uint_gt(count, 0);
    return signals[0].sentence;
}

START_TEST(which_variable_moved)
{
    struct made made;

    make(&made);
    scene_open(stations);
    put(&made, 0, ALL, true);
    lock_all();
    (void)scene_check();
    const char *told = sentence_of("probe.both");
    ck_assert_msg(strstr(told, "Placement left its usual region") &&
                      strstr(told, "dx up by 2.4 um (") && strstr(told, " sigma)") &&
                      strstr(told, "dy unchanged"),
                  "%s", told);
    told = sentence_of("probe.slow");
    ck_assert_msg(strstr(told, "dx up by") && strstr(told, "dy unchanged"), "%s", told);
    told = sentence_of("probe.heads");
    ck_assert_msg(strstr(told, "Offset by head: head H3 stood ") &&
                      strstr(told, "sigma below its own level since"),
                  "%s", told);
    told = sentence_of("probe.lost");
    ck_assert_msg(strstr(told, "came sooner than luck explains") &&
                      strstr(told, "opportunities from one to the next"),
                  "%s", told);
    scene_close();
}
END_TEST

enum { QUIET = 600, BUSY = 100 };

/* One event in 20 samples, then one in 2, checked after each `step` samples of the latter. */
static size_t put_events(int step, struct an_hit_record **hits)
{
    struct scene_random random = {20261125};
    size_t count = 0;

    for (int i = 0; i < QUIET + BUSY;) {
        int until = i < QUIET ? QUIET : i + step;
        until = until < QUIET + BUSY ? until : QUIET + BUSY;
        scene_file("probe");
        for (; i < until; i++) {
            char serial[24];
            (void)snprintf(serial, sizeof serial, "T-%05d", i);
            const bool event = scene_uniform(&random) < (i < QUIET ? 0.05 : 0.5);
            (void)scene_count("lost", "", serial, at_of(i), event, 100);
        }
        scene_file_end();
        if (until == QUIET) {
            (void)scene_limits("probe.lost", QUIET);
            scene_lock("probe.lost");
        }
        (void)scene_check();
    }
    OK(an_store_stream_hits(scene.store, scene_find("probe.lost").stream_id, at_of(QUIET),
                            scene.arena, hits, &count, &scene.err));
    return count;
}

/* No single gap can be below the limit: runs of short ones tell, and soon. Whatever is checked at once,
 * and whatever lies between the events, the same is told. */
START_TEST(more_events_are_seen)
{
    static const int steps[] = {QUIET + BUSY, 1, 11, 64};
    struct told {
        int64_t at_us, window;
        int rule, side;
    } first[QUIET + BUSY];
    size_t first_count = 0;

    for (size_t s = 0; s < sizeof steps / sizeof *steps; s++) {
        struct an_hit_record *hits = NULL;
        size_t runs = 0;

        scene_open(stations);
        const size_t count = put_events(steps[s], &hits);
        ck_assert_uint_lt(count, QUIET + BUSY);
        for (size_t h = 0; h < count; h++) {
            const struct told told = {hits[h].at_us, hits[h].window_first_sample_id, hits[h].rule,
                                      hits[h].side};
            if (s == 0) {
                first[h] = told;
            }
            ck_assert(told.at_us == first[h].at_us && told.window == first[h].window &&
                      told.rule == first[h].rule && told.side == first[h].side);
            ck_assert(!hits[h].withdrawn && hits[h].signal_id == hits[0].signal_id);
            runs += told.rule == AN_RULE_RUN_ONE_SIDE && told.side < 0;
        }
        first_count = s == 0 ? count : first_count;
        ck_assert_uint_eq(count, first_count);
        ck_assert_uint_ge(runs, 20); /* of some 50 events */
        ck_assert_int_le(first[0].at_us, at_of(QUIET + 35));
        const char *text = sentence_of("probe.lost");
        ck_assert_msg(strstr(text, "sooner than luck explains: 4") && strstr(text, " events, on "),
                      "%s", text);
        scene_close();
    }
}
END_TEST

/* dx follows dy as it always did but for one sample: each is in its own range, not the two together. */
START_TEST(a_relation_is_told)
{
    struct made made;

    make(&made);
    for (int i = 90; i < ALL; i++) {
        made.dx[i] = made.dy[i];
    }
    made.dx[110] = 1.1;
    made.dy[110] = -1.1;
    scene_open(stations);
    put(&made, 0, ALL, true);
    lock_all();
    (void)scene_check();
    const char *told = sentence_of("probe.both");
    ck_assert_msg(strstr(told, "each where they used to be, but not together"), "%s", told);
    scene_close();
}
END_TEST

/* ---- bad input ---- */

static enum an_status propose(const char *stream, size_t samples)
{
    const struct an_baseline_choice choice = {
        .from_us = AN_NO_INSTANT, .until_us = AN_NO_INSTANT, .samples = samples};
    struct an_limits limits;

    return an_limits_propose(scene.store, scene.line, scene_find(stream).stream_id, &choice,
                             scene.arena, &limits, &scene.err);
}

static void check_told(const char *part)
{
    ck_assert_msg(strstr(scene.err.text, part) != NULL, "%s", scene.err.text);
}

START_TEST(baselines_that_teach_nothing)
{
    struct made made;

    make(&made);
    for (int i = 0; i < ALL; i++) {
        made.life[i] = i;
        made.product[i] = i == 7 ? "odd" : "fine";
        made.dy[i] = 3 * made.dx[i] + 1;
        made.v[i] = 5;
        made.n[i] = i == 3;
    }
    scene_open(stations);
    put(&made, 0, BASE, true);
    ck_assert_int_eq(propose("probe.both", 0), AN_NO_SPREAD);
    check_told("dy follows from dx in the baseline of probe.both");
    check_told("covariance is singular");
    ck_assert_int_eq(propose("probe.both", 3), AN_TOO_FEW);
    check_told("too few for their covariance");
    ck_assert_int_eq(propose("probe.left", 0), AN_NO_SPREAD);
    ck_assert_int_eq(propose("probe.left", 6), AN_TOO_FEW);
    check_told("too few to see how each depends on the one before");
    ck_assert_int_eq(propose("probe.lost", 0), AN_TOO_FEW);
    check_told("0 gaps between events");
    ck_assert_int_eq(propose("probe.worn", 0), AN_DOMAIN);
    check_told("the life in column cycles never falls back");
    ck_assert_int_eq(propose("probe.worn", 4), AN_TOO_FEW);
    check_told("4 usable samples with a life in column cycles");
    ck_assert_int_eq(propose("probe.mixed", 0), AN_TOO_FEW);
    check_told("product 'coarse' has 0 usable samples");
    scene_close();
}
END_TEST

START_TEST(a_partner_that_is_not_there)
{
    struct made made;

    make(&made);
    scene_open(stations);
    put(&made, 0, BASE, false);
    ck_assert_int_eq(propose("probe.both", 0), AN_NOT_FOUND);
    check_told("judged together with probe.dy, and the store has no such stream yet");
    scene_close();
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("families of their own kind");
    TCase *tcase = tcase_create("checks");
    tcase_set_timeout(tcase, 120);
    tcase_add_loop_test(tcase, hits_are_those_of_the_whole, 0, sizeof cuts / sizeof *cuts);
    tcase_add_test(tcase, late_samples_are_judged_in);
    tcase_add_test(tcase, which_variable_moved);
    tcase_add_test(tcase, more_events_are_seen);
    tcase_add_test(tcase, a_relation_is_told);
    tcase_add_test(tcase, baselines_that_teach_nothing);
    tcase_add_test(tcase, a_partner_that_is_not_there);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
