/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The check: only what is new, late samples, limits locked again, nothing written by a dry run, and
 * the one property that holds all of it together: many small checks in any order of arrival leave
 * the same hits as one check of everything.
 */
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
    "      dx:\n"
    "        column: v\n"
    "        unit: um\n"
    "        family: individuals\n"
    "        split: head\n"
    "        rules: [beyond_limit, two_of_three_beyond_2s, four_of_five_beyond_1s, run_one_side,\n"
    "                steady_trend, alternating, hugging_centre, avoiding_centre]\n"
    "      plain: {column: w, unit: um, family: individuals, split: head}\n"
    "      silent: {column: u, unit: um, family: individuals, signals: no}\n"
    "  counts:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      bad: {count: k, opportunities: n, family: u}\n";

static void setup(void)
{
    scene_open(stations);
}

static int64_t at_of(int i)
{
    return SCENE_START + i * (10 * AN_MINUTE_US);
}

static int64_t put(const char *characteristic, const char *split, int i, double value)
{
    char serial[24];

    (void)snprintf(serial, sizeof serial, "T-%05d", i);
    return scene_plain(characteristic, split, serial, at_of(i), value);
}

/* ---- the property ------------------------------------------------------------------------------------ */
#define BASE 40
#define MORE 120

/* Quiet, then a step, a ramp, over-adjustment, single jumps. */
static void make_values(double value[BASE + MORE], uint64_t seed)
{
    struct scene_random random = {seed * 2654435761U + 1};

    for (int i = 0; i < BASE + MORE; i++) {
        value[i] = scene_normal(&random);
        const int m = i - BASE;
        if (m >= 20 && m < 40) {
            value[i] += 1.5;
        } else if (m >= 50 && m < 70) {
            value[i] = 0.4 * value[i] - 0.15 * (m - 50);
        } else if (m >= 75 && m < 95) {
            value[i] = (m % 2 ? 1.3 : -1.3) + 0.3 * value[i];
        } else if (m == 100 || m == 110) {
            value[i] = m == 100 ? 4.5 : -5;
        }
    }
}

struct told { /* a hit without the numbers that depend on the order of arrival */
    int64_t at_us, window_us;
    int rule, panel, side;
    double value, z;
};

static int compare_told(const void *a, const void *b)
{
    const struct told *x = a;
    const struct told *y = b;

    if (x->at_us != y->at_us) {
        return x->at_us < y->at_us ? -1 : 1;
    }
    if (x->panel != y->panel) {
        return x->panel - y->panel;
    }
    return x->rule != y->rule ? x->rule - y->rule : x->side - y->side;
}

static int64_t time_of_sample(const struct an_sample *samples, size_t count, int64_t id)
{
    for (size_t i = 0; i < count; i++) {
        if (samples[i].sample_id == id) {
            return samples[i].at_us;
        }
    }
    ck_abort_msg("a hit of a sample that is not there");
    return 0;
}

static size_t read_told(const char *stream, struct told told[1000])
{
    const struct an_stream found = scene_find(stream);
    struct an_hit_record *hits = NULL;
    struct an_sample *samples = NULL;
    size_t count = 0;
    size_t sample_count = 0;

    OK(an_store_stream_hits(scene.store, found.stream_id, AN_NO_INSTANT, scene.arena, &hits, &count,
                            &scene.err));
    OK(an_store_samples(scene.store, found.stream_id, AN_NO_INSTANT, INT64_MAX, 0, scene.arena,
                        &samples, &sample_count, &scene.err));
    ck_assert_uint_le(count, 1000);
    for (size_t i = 0; i < count; i++) {
        told[i] = (struct told){
            .at_us = hits[i].at_us,
            .window_us = time_of_sample(samples, sample_count, hits[i].window_first_sample_id),
            .rule = hits[i].rule,
            .panel = hits[i].panel,
            .side = hits[i].side,
            .value = hits[i].value,
            .z = hits[i].z};
        ck_assert_int_eq(time_of_sample(samples, sample_count, hits[i].sample_id), hits[i].at_us);
    }
    qsort(told, count, sizeof *told, compare_told);
    return count;
}

static void put_base(const double value[])
{
    scene_file("probe");
    for (int i = 0; i < BASE; i++) {
        (void)put("dx", "head=H1", i, value[i]);
    }
    scene_file_end();
    (void)scene_limits("probe.dx@head=H1", 0);
    scene_lock("probe.dx@head=H1");
}

static void relock(int in_force)
{
    struct an_limits limits;
    const struct an_baseline_choice choice = {
        .from_us = AN_NO_INSTANT, .until_us = AN_NO_INSTANT, .samples = BASE - 10};
    const int64_t id = scene_find("probe.dx@head=H1").stream_id;

    OK(an_limits_propose(scene.store, scene.line, id, &choice, scene.arena, &limits, &scene.err));
    OK(an_limits_lock(scene.store, id, at_of(in_force), "E. Rossi", "baseline mended", &scene.err));
}

static size_t all_at_once(const double value[], bool with_relock, struct told told[1000])
{
    scene_open(stations);
    put_base(value);
    if (with_relock) {
        relock(BASE + 60);
    }
    scene_file("probe");
    for (int i = BASE; i < BASE + MORE; i++) {
        (void)put("dx", "head=H1", i, value[i]);
    }
    scene_file_end();
    (void)scene_check();
    const size_t count = read_told("probe.dx@head=H1", told);
    scene_close();
    return count;
}

static size_t bit_by_bit(const double value[], bool with_relock, uint64_t seed,
                         struct told told[1000])
{
    struct scene_random random = {seed * 97 + 13};
    int order[MORE];
    int done = 0;
    bool relocked = false;

    for (int i = 0; i < MORE; i++) {
        order[i] = BASE + i;
    }
    for (int i = MORE - 1; i > 0; i--) { /* displaced by some, a few by far */
        const int reach = scene_uniform(&random) < 0.1 ? i : i < 6 ? i : 6;
        const int other = i - (int)(scene_uniform(&random) * reach);
        const int kept = order[i];
        order[i] = order[other];
        order[other] = kept;
    }
    scene_open(stations);
    put_base(value);
    while (done < MORE) {
        const int size = 1 + (int)(scene_uniform(&random) * 12);
        scene_file("probe");
        for (int i = 0; i < size && done < MORE; i++, done++) {
            (void)put("dx", "head=H1", order[done], value[order[done]]);
        }
        scene_file_end();
        (void)scene_check();
        if (with_relock && !relocked && done > MORE / 2) {
            relocked = true;
            relock(BASE + 60);
        }
    }
    (void)scene_check();
    const size_t count = read_told("probe.dx@head=H1", told);
    scene_close();
    return count;
}

static void compare_roads(bool with_relock, uint64_t seed)
{
    static struct told one[1000];
    static struct told many[1000];
    double value[BASE + MORE];

    make_values(value, seed);
    const size_t n = all_at_once(value, with_relock, one);
    const size_t m = bit_by_bit(value, with_relock, seed, many);
    ck_assert_uint_gt(n, 10); /* there is something to compare */
    ck_assert_msg(n == m, "seed %llu: %zu hits at once, %zu bit by bit", (unsigned long long)seed,
                  n, m);
    for (size_t i = 0; i < n; i++) {
        ck_assert_msg(compare_told(&one[i], &many[i]) == 0 &&
                          one[i].window_us == many[i].window_us && one[i].value == many[i].value &&
                          one[i].z == many[i].z,
                      "seed %llu: hit %zu differs", (unsigned long long)seed, i);
    }
}

START_TEST(any_order_same_hits)
{
    compare_roads(false, (uint64_t)_i + 1);
}
END_TEST

START_TEST(any_order_same_hits_relocked)
{
    compare_roads(true, (uint64_t)_i + 101);
}
END_TEST

/* Files in order of time, a few samples each: not only the hits, the signals too are the same. */
static size_t count_signals(const double value[], int size, int64_t first_us[200])
{
    struct an_signal_record *records = NULL;
    size_t count = 0;

    scene_open(stations);
    put_base(value);
    for (int i = BASE; i < BASE + MORE; i += size) {
        scene_file("probe");
        for (int k = i; k < i + size && k < BASE + MORE; k++) {
            (void)put("dx", "head=H1", k, value[k]);
        }
        scene_file_end();
        (void)scene_check();
    }
    OK(an_store_signals(scene.store, 0, AN_NO_INSTANT, INT64_MAX, scene.arena, &records, &count,
                        &scene.err));
    ck_assert_uint_le(count, 200);
    for (size_t i = 0; i < count; i++) {
        ck_assert(!records[i].withdrawn);
        first_us[i] = records[i].first_us;
    }
    scene_close();
    return count;
}

START_TEST(in_order_same_signals)
{
    double value[BASE + MORE];
    int64_t one[200];
    int64_t many[200];

    make_values(value, (uint64_t)_i + 201);
    const size_t n = count_signals(value, MORE, one);
    ck_assert_uint_gt(n, 2);
    ck_assert_uint_eq(count_signals(value, 1 + _i % 7, many), n);
    ck_assert_int_eq(memcmp(one, many, n * sizeof *one), 0);
}
END_TEST

/* ---- one thing at a time ------------------------------------------------------------------------------- */
static struct an_ledger_head ledger(void)
{
    struct an_ledger_head head;

    OK(an_ledger_head(scene.store, &head, &scene.err));
    return head;
}

static void put_run(const int *which, const double *values, size_t n)
{
    scene_file("probe");
    for (size_t i = 0; i < n; i++) {
        (void)put("plain", "head=H1", which[i], values[i]);
    }
    scene_file_end();
}

START_TEST(nothing_new_nothing_written)
{
    static const int which[] = {0, 1, 2, 3};
    static const double values[] = {0.1, 4, 0.2, -0.3};

    put_run(which, values, 4);
    scene_lock_known("probe.plain@head=H1", "plain", 0, 1);
    struct an_check_result r = scene_check();
    ck_assert_uint_eq(r.streams, 1);
    ck_assert_uint_eq(r.samples, 4);
    ck_assert_uint_eq(r.new_signals, 1); /* the jump; its moving range is not told again */
    const struct an_ledger_head before = ledger();
    r = scene_check();
    ck_assert_uint_eq(r.samples, 0);
    ck_assert_uint_eq(r.new_hits, 0);
    ck_assert_uint_eq(ledger().size, before.size);
}
END_TEST

START_TEST(dry_run_writes_nothing)
{
    static const int which[] = {0, 1, 2, 3};
    static const double values[] = {0.1, 4, 0.2, -0.3};
    struct an_check_result dry;

    put_run(which, values, 4);
    scene_lock_known("probe.plain@head=H1", "plain", 0, 1);
    const struct an_ledger_head before = ledger();
    OK(an_check_all(scene.store, scene.line, true, &dry, &scene.err));
    ck_assert_uint_eq(ledger().size, before.size);
    struct told told[1000];
    ck_assert_uint_eq(read_told("probe.plain@head=H1", told), 0);
    const struct an_check_result wet = scene_check();
    ck_assert_int_eq(memcmp(&dry, &wet, sizeof dry), 0);
    ck_assert_uint_gt(wet.new_hits, 0);
}
END_TEST

/* A store opened for reading can be looked at by a dry run. */
START_TEST(dry_run_on_reading_store)
{
    static const int which[] = {0, 1};
    static const double values[] = {0.1, 4};
    struct an_store *reading = NULL;
    struct an_check_result dry;

    put_run(which, values, 2);
    scene_lock_known("probe.plain@head=H1", "plain", 0, 1);
    OK(an_store_open(an_store_path(scene.store), AN_STORE_READ, &reading, &scene.err));
    OK(an_check_all(reading, scene.line, true, &dry, &scene.err));
    ck_assert_uint_gt(dry.new_hits, 0);
    an_store_close(reading);
}
END_TEST

/* Nine above the centre; then a sample comes late that broke the row. */
START_TEST(late_sample_withdraws)
{
    static const int which[] = {0, 1, 2, 3, 4, 6, 7, 8, 9};
    static const double values[] = {0.5, 0.6, 0.4, 0.7, 0.5, 0.3, 0.9, 0.2, 0.8};
    static const int late[] = {5};
    static const double low[] = {-0.4};
    struct an_signal *signals = NULL;
    size_t count = 0;

    put_run(which, values, 9);
    scene_lock_known("probe.plain@head=H1", "plain", 0, 1);
    struct an_check_result r = scene_check();
    ck_assert_uint_eq(r.new_signals, 1);
    ck_assert_uint_eq(r.new_hits, 1);
    put_run(late, low, 1);
    r = scene_check();
    ck_assert_int_eq(r.late_samples, 1);
    ck_assert_uint_eq(r.withdrawn_hits, 1);
    ck_assert_uint_eq(r.new_signals, 0);
    ck_assert_uint_eq(r.samples, 5); /* from the late one on, no more */
    OK(an_signals(scene.store, scene.line, 0, AN_NO_INSTANT, AN_NO_INSTANT, scene.arena, &signals,
                  &count, &scene.err));
    ck_assert_uint_eq(count, 0);
    struct an_signal_record *records = NULL;
    OK(an_store_signals(scene.store, 0, AN_NO_INSTANT, INT64_MAX, scene.arena, &records, &count,
                        &scene.err));
    for (size_t i = 0; i < count; i++) {
        ck_assert(records[i].withdrawn); /* kept, marked */
    }
}
END_TEST

/* A sample that comes late inside a longer row moves windows; the signal stays the same one. */
START_TEST(late_sample_keeps_signal)
{
    int which[12];
    double values[12];
    static const int late[] = {5};
    static const double high[] = {0.4};
    struct an_signal_record *records = NULL;
    size_t count = 0;

    for (int i = 0; i < 12; i++) {
        which[i] = i < 5 ? i : i + 1;
        values[i] = 0.5 + 0.05 * (i % 3);
    }
    put_run(which, values, 12);
    scene_lock_known("probe.plain@head=H1", "plain", 0, 1);
    struct an_check_result r = scene_check();
    ck_assert_uint_eq(r.new_signals, 1);
    ck_assert_uint_eq(r.new_hits, 4);
    put_run(late, high, 1);
    r = scene_check();
    ck_assert_uint_eq(r.new_signals, 0);
    OK(an_store_signals(scene.store, 0, AN_NO_INSTANT, INT64_MAX, scene.arena, &records, &count,
                        &scene.err));
    ck_assert_uint_eq(count, 1);
    ck_assert(!records[0].withdrawn);
    struct told told[1000];
    ck_assert_uint_eq(read_told("probe.plain@head=H1", told), 5); /* 13 points, 9 to a window */
}
END_TEST

/* Points of one change are one episode while hits lie within 15 points; else a new one opens. */
START_TEST(episodes_by_distance)
{
    scene_file("probe");
    for (int i = 0; i < 60; i++) {
        const bool jump = i == 10 || i == 25 || i == 41;
        (void)put("plain", "head=H1", i, jump ? 3.5 : i % 2 ? 0.2 : -0.2);
        (void)put("plain", "head=H2", i, i == 10 ? 3.5 : i == 12 ? -3.5 : i % 2 ? 0.2 : -0.2);
    }
    scene_file_end();
    scene_lock_known("probe.plain@head=H1", "plain", 0, 1);
    scene_lock_known("probe.plain@head=H2", "plain", 0, 1);
    (void)scene_check();
    struct an_signal_record *records = NULL;
    size_t count = 0;
    OK(an_store_signals(scene.store, scene_find("probe.plain@head=H1").stream_id, AN_NO_INSTANT,
                        INT64_MAX, scene.arena, &records, &count, &scene.err));
    size_t level = 0;
    for (size_t i = 0; i < count; i++) {
        level += records[i].panel == 0;
    }
    ck_assert_uint_eq(level, 2); /* 10 and 25 are 15 apart, 41 is 16 further */
    OK(an_store_signals(scene.store, scene_find("probe.plain@head=H2").stream_id, AN_NO_INSTANT,
                        INT64_MAX, scene.arena, &records, &count, &scene.err));
    level = 0;
    for (size_t i = 0; i < count; i++) {
        level += records[i].panel == 0;
    }
    ck_assert_uint_eq(level, 2); /* above and below are two stories */
}
END_TEST

START_TEST(streams_without_limits_are_counted)
{
    static const int which[] = {0, 1};
    static const double values[] = {0.1, 40};

    put_run(which, values, 2);
    scene_file("probe");
    (void)put("plain", "head=H1,purpose=engineering", 0, 99);
    (void)put("silent", "", 0, 99);
    scene_file_end();
    const struct an_check_result r = scene_check();
    ck_assert_uint_eq(r.streams, 2); /* the silent one is charted, never judged */
    ck_assert_uint_eq(r.streams_without_limits, 2);
    ck_assert_uint_eq(r.new_hits, 0);
    ck_assert_uint_eq(ledger().size, ledger().size);
    const struct an_station *station;
    const struct an_characteristic *characteristic;
    const char *purpose;
    const struct an_stream stream = scene_find("probe.plain@head=H1,purpose=engineering");
    ck_assert(
        an_judge_resolve(scene.line, &stream, &station, &characteristic, &purpose, scene.arena));
    ck_assert_str_eq(purpose, "engineering");
    ck_assert_str_eq(an_judge_title(scene.line, &stream, scene.arena),
                     "plain, head H1, engineering items");
}
END_TEST

/* What was judged before stays; what lies in the period of limits locked later is judged anew. */
START_TEST(new_lock_judges_again)
{
    double value[BASE + MORE];

    make_values(value, 3);
    put_base(value);
    scene_file("probe");
    for (int i = BASE; i < BASE + MORE; i++) {
        (void)put("dx", "head=H1", i, value[i]);
    }
    scene_file_end();
    (void)scene_check();
    relock(BASE + 60);
    const struct an_check_result r = scene_check();
    ck_assert_uint_eq(r.samples, MORE - 60);
    ck_assert_uint_gt(r.withdrawn_hits, 0);
    ck_assert_uint_gt(r.new_hits, 0);
    ck_assert_int_eq(r.late_samples, 0);
    struct an_signal_record *records = NULL;
    size_t count = 0;
    OK(an_store_signals(scene.store, 0, at_of(BASE + 60), INT64_MAX, scene.arena, &records, &count,
                        &scene.err));
    for (size_t i = 0; i < count; i++) {
        ck_assert(records[i].withdrawn || records[i].limits_id == 2 ||
                  records[i].signal_us < at_of(BASE + 60));
    }
}
END_TEST

/* A store that fails in the middle of a check keeps nothing of it. */
START_TEST(check_is_whole_or_not_at_all)
{
    static const int which[] = {0, 1, 2, 3};
    static const double values[] = {0.1, 4, 0.2, -0.3};
    struct an_check_result result;
    size_t failures = 0;

    put_run(which, values, 4);
    scene_lock_known("probe.plain@head=H1", "plain", 0, 1);
    const struct an_ledger_head before = ledger();
    for (size_t k = 1;; k++) {
        ck_assert_uint_lt(k, 20000);
        (void)an_alloc_fail_at(k, false);
        const enum an_status st = an_check_all(scene.store, scene.line, false, &result, &scene.err);
        (void)an_alloc_fail_at(0, false);
        if (st == AN_OK) {
            break;
        }
        ck_assert_int_eq(st, AN_NO_MEMORY);
        ck_assert_uint_eq(ledger().size, before.size);
        failures++;
    }
    ck_assert_uint_gt(failures, 3);
    ck_assert_uint_eq(result.new_signals, 1);
}
END_TEST

/* ---- false alarms ---------------------------------------------------------------------------------------- */
/*
 * 20 streams of 2000 independent normal values under limits that are exactly true. The default
 * rules: beyond 3 sigma, chance 0.0026998 a point, and 9 in a row on one side, 2^-8 a point. Hits of
 * a run overlap: P(hit at i and at i + d) = p 2^-d up to d = 8, so the variance of their number is
 * close to 3 n p. Both counts must lie within 4 standard deviations: a correct program fails with a
 * chance below 1.3 in 10,000 for each of the two (normal approximation); the seed is fixed.
 */
START_TEST(quiet_noise)
{
    struct scene_random random = {20260302};
    const int streams = 20;
    const int samples = 2000;
    double beyond = 0;
    double runs = 0;
    char split[24];
    char name[40];

    scene_file("probe");
    for (int s = 0; s < streams; s++) {
        (void)snprintf(split, sizeof split, "head=H%02d", s);
        for (int i = 0; i < samples; i++) {
            (void)put("plain", split, i, scene_normal(&random));
        }
    }
    scene_file_end();
    for (int s = 0; s < streams; s++) {
        (void)snprintf(name, sizeof name, "probe.plain@head=H%02d", s);
        scene_lock_known(name, "plain", 0, 1);
    }
    const struct an_check_result r = scene_check();
    ck_assert_uint_eq(r.samples, (size_t)(streams * samples));
    for (int s = 0; s < streams; s++) {
        struct an_hit_record *hits = NULL;
        size_t count = 0;
        (void)snprintf(name, sizeof name, "probe.plain@head=H%02d", s);
        OK(an_store_stream_hits(scene.store, scene_find(name).stream_id, AN_NO_INSTANT, scene.arena,
                                &hits, &count, &scene.err));
        for (size_t h = 0; h < count; h++) {
            beyond += hits[h].panel == 0 && hits[h].rule == AN_RULE_BEYOND_LIMIT;
            runs += hits[h].panel == 0 && hits[h].rule == AN_RULE_RUN_ONE_SIDE;
        }
    }
    const double n = streams * samples;
    const struct an_rule_choice rules = an_rules_default();
    const double p = an_rule_chance(AN_RULE_BEYOND_LIMIT, 3, &rules);
    const double q = an_rule_chance(AN_RULE_RUN_ONE_SIDE, 3, &rules);
    ck_assert_double_eq_tol(p, 0.0026997960632601884, 1e-12);
    ck_assert_double_eq_tol(q, 1.0 / 256, 1e-12);
    ck_assert_double_eq_tol(beyond, n * p, 4 * sqrt(n * p));
    ck_assert_double_eq_tol(runs, n * q, 4 * sqrt(3 * n * q));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("check");
    TCase *property = tcase_create("any order");
    TCase *one = tcase_create("one thing");
    TCase *quiet = tcase_create("quiet");

    tcase_add_loop_test(property, any_order_same_hits, 0, 25);
    tcase_add_loop_test(property, any_order_same_hits_relocked, 0, 15);
    tcase_add_loop_test(property, in_order_same_signals, 0, 14);
    tcase_add_checked_fixture(one, setup, scene_close);
    tcase_add_test(one, nothing_new_nothing_written);
    tcase_add_test(one, dry_run_writes_nothing);
    tcase_add_test(one, dry_run_on_reading_store);
    tcase_add_test(one, late_sample_withdraws);
    tcase_add_test(one, late_sample_keeps_signal);
    tcase_add_test(one, episodes_by_distance);
    tcase_add_test(one, streams_without_limits_are_counted);
    tcase_add_test(one, new_lock_judges_again);
    tcase_add_test(one, check_is_whole_or_not_at_all);
    tcase_add_checked_fixture(quiet, setup, scene_close);
    tcase_add_test(quiet, quiet_noise);
    suite_add_tcase(suite, property);
    suite_add_tcase(suite, one);
    suite_add_tcase(suite, quiet);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
