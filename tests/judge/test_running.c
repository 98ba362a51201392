/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Charts with memory over checks: however a sequence is cut into checks, in whatever order it
 * arrives, with limits locked again and samples left out, the hits are those of one pass to the
 * last bit; and a view from anywhere shows the same points.
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
    "      ewma: {column: v, unit: um, family: individuals, weighted: {ewma: 0.2, limits: 2.4}}\n"
    "      head: {column: v, unit: um, family: individuals,\n"
    "             weighted: {ewma: 0.1, limits: 2.2, head_start: yes}}\n"
    "      cusum: {column: v, unit: um, family: individuals,\n"
    "              weighted: {cusum: 0.3, interval: 3, head_start: yes}}\n"
    "      sums: {column: v, unit: um, family: individuals,\n"
    "             weighted: {cusum: 0.5, interval: 4, after_signal: go_on}}\n"
    "      average: {column: v, unit: um, family: individuals,\n"
    "                weighted: {moving_average: 6, limits: 2.2}}\n";
static const char *const names[] = {"ewma", "head", "cusum", "sums", "average"};

enum { BASE = 30, MORE = 130, ALL = BASE + MORE };

static int64_t at_of(int i)
{
    return SCENE_START + i * (10 * AN_MINUTE_US);
}

static void put(const char *characteristic, int i, double value)
{
    char serial[24];

    (void)snprintf(serial, sizeof serial, "T-%05d", i);
    (void)scene_plain(characteristic, "", serial, at_of(i), value);
}

static void make_values(double value[ALL], uint64_t seed)
{
    struct scene_random random = {seed * 2654435761U + 1};

    for (int i = 0; i < ALL; i++) {
        const int m = i - BASE;
        value[i] = scene_normal(&random) + (m >= 15 && m < 50 ? 1.2 : 0) + (m >= 80 ? -0.9 : 0);
    }
}

/* Samples 5 and 11 of the baseline are left out of the second limits, which are in force from the
 * start too: they are shown and not taken in. */
static void lock(const char *stream, size_t samples, int in_force, bool leave_out)
{
    const int64_t id = scene_find(stream).stream_id;
    struct an_sample *all = NULL;
    size_t count = 0;
    int64_t exclude[2];
    const char *const reasons[] = {"chipped", "dropped"};
    struct an_baseline_choice choice = {
        .from_us = AN_NO_INSTANT, .until_us = AN_NO_INSTANT, .samples = samples};
    struct an_limits limits;

    OK(an_store_samples(scene.store, id, AN_NO_INSTANT, INT64_MAX, 0, scene.arena, &all, &count,
                        &scene.err));
    ck_assert_uint_ge(count, BASE);
    if (leave_out) {
        exclude[0] = all[5].sample_id;
        exclude[1] = all[11].sample_id;
        choice.exclude = exclude;
        choice.exclude_reasons = reasons;
        choice.exclude_count = 2;
    }
    OK(an_limits_propose(scene.store, scene.line, id, &choice, scene.arena, &limits, &scene.err));
    OK(an_limits_lock(scene.store, id, at_of(in_force), "E. Rossi", "stable", &scene.err));
}

struct told {
    int64_t at_us, window_us;
    int side;
    double value, z;
};

static int64_t time_of(const struct an_sample *samples, size_t count, int64_t id)
{
    for (size_t i = 0; i < count; i++) {
        if (samples[i].sample_id == id) {
            return samples[i].at_us;
        }
    }
    ck_abort_msg("a hit of a sample that is not there");
    return 0;
}

static int compare_told(const void *a, const void *b)
{
    const struct told *x = a;
    const struct told *y = b;

    return (x->at_us > y->at_us) - (x->at_us < y->at_us);
}

static size_t read_told(const char *stream, struct told told[ALL])
{
    const int64_t id = scene_find(stream).stream_id;
    struct an_hit_record *hits = NULL;
    struct an_sample *samples = NULL;
    size_t count = 0;
    size_t sample_count = 0;
    size_t n = 0;

    OK(an_store_stream_hits(scene.store, id, AN_NO_INSTANT, scene.arena, &hits, &count,
                            &scene.err));
    OK(an_store_samples(scene.store, id, AN_NO_INSTANT, INT64_MAX, 0, scene.arena, &samples,
                        &sample_count, &scene.err));
    for (size_t i = 0; i < count; i++) {
        ck_assert_int_eq(hits[i].rule, AN_RULE_BEYOND_LIMIT);
        ck_assert_int_eq(hits[i].panel, 0);
        ck_assert_uint_lt(n, ALL);
        told[n++] = (struct told){
            .at_us = hits[i].at_us,
            .window_us = time_of(samples, sample_count, hits[i].window_first_sample_id),
            .side = hits[i].side,
            .value = hits[i].value,
            .z = hits[i].z};
    }
    qsort(told, n, sizeof *told, compare_told);
    return n;
}

static void put_base(const char *name, const char *stream, const double value[])
{
    scene_file("probe");
    for (int i = 0; i < BASE; i++) {
        put(name, i, value[i]);
    }
    scene_file_end();
    lock(stream, 0, 0, false);
}

/* order[done..) in files of up to `most`, a check after each; locked again half way if wanted. */
static size_t judge_in(const char *name, const double value[], const int order[], int most,
                       bool relock, struct scene_random *random, struct told told[ALL])
{
    char stream[40];
    int done = 0;
    bool relocked = !relock;

    (void)snprintf(stream, sizeof stream, "probe.%s", name);
    scene_open(stations);
    put_base(name, stream, value);
    if (most == MORE && relock) { /* in one pass: both limits stand before anything is judged */
        lock(stream, BASE, 70, true);
        relocked = true;
    }
    while (done < MORE) {
        const int size = most == MORE ? MORE : 1 + (int)(scene_uniform(random) * most);
        scene_file("probe");
        for (int i = 0; i < size && done < MORE; i++, done++) {
            put(name, order[done], value[order[done]]);
        }
        scene_file_end();
        (void)scene_check();
        if (!relocked && done > MORE / 2) {
            relocked = true;
            lock(stream, BASE, 70, true);
        }
    }
    (void)scene_check();
    const size_t n = read_told(stream, told);
    scene_close();
    return n;
}

static void shuffle(int order[MORE], bool late, struct scene_random *random)
{
    for (int i = 0; i < MORE; i++) {
        order[i] = BASE + i;
    }
    for (int i = MORE - 1; late && i > 0; i--) { /* displaced by some, a few by far */
        const int reach = scene_uniform(random) < 0.1 ? i : i < 6 ? i : 6;
        const int other = i - (int)(scene_uniform(random) * reach);
        const int kept = order[i];
        order[i] = order[other];
        order[other] = kept;
    }
}

static void compare(const char *name, uint64_t seed, bool late, bool relock)
{
    static struct told one[ALL];
    static struct told many[ALL];
    struct scene_random random = {seed * 97 + 13};
    double value[ALL];
    int order[MORE];

    make_values(value, seed);
    shuffle(order, false, &random);
    const size_t n = judge_in(name, value, order, MORE, relock, &random, one);
    shuffle(order, late, &random);
    const size_t m = judge_in(name, value, order, 9, relock, &random, many);
    ck_assert_msg(n > 3, "%s seed %llu: only %zu hits", name, (unsigned long long)seed, n);
    ck_assert_msg(n == m, "%s seed %llu: %zu hits at once, %zu in pieces", name,
                  (unsigned long long)seed, n, m);
    for (size_t i = 0; i < n; i++) {
        ck_assert_msg(one[i].at_us == many[i].at_us && one[i].window_us == many[i].window_us &&
                          one[i].side == many[i].side && one[i].value == many[i].value &&
                          one[i].z == many[i].z,
                      "%s seed %llu: hit %zu differs", name, (unsigned long long)seed, i);
    }
}

START_TEST(pieces_in_order)
{
    compare(names[_i % 5], (uint64_t)_i + 1, false, false);
}
END_TEST

START_TEST(pieces_out_of_order)
{
    compare(names[_i % 5], (uint64_t)_i + 31, true, false);
}
END_TEST

START_TEST(locked_again)
{
    compare(names[_i % 5], (uint64_t)_i + 61, _i % 2, true);
}
END_TEST

/* A view from anywhere has the points that one pass over the phase has, checked or not. */
START_TEST(views)
{
    const char *name = names[_i % 5];
    char stream_name[40];
    double value[ALL];

    (void)snprintf(stream_name, sizeof stream_name, "probe.%s", name);
    make_values(value, 7);
    scene_open(stations);
    put_base(name, stream_name, value);
    lock(stream_name, BASE, 40, true);
    for (int i = BASE; i < ALL; i += 10) {
        scene_file("probe");
        for (int k = i; k < i + 10; k++) {
            put(name, k, value[k]);
        }
        scene_file_end();
        if (i < ALL - 20) { /* the newest 20 are not checked yet */
            (void)scene_check();
        }
    }
    const struct an_stream stream = scene_find(stream_name);
    struct an_limits *all = NULL;
    size_t count = 0;
    OK(an_limits_all(scene.store, stream.stream_id, scene.arena, &all, &count, &scene.err));
    ck_assert_uint_eq(count, 2);
    for (int from = 0; from < ALL; from += 13) {
        struct an_stream_view view;
        OK(an_judge_view(scene.store, scene.line, &stream, at_of(from), at_of(from + 20), 3,
                         scene.arena, &view, &scene.err));
        struct an_weighted_state state = {0};
        size_t at = 0;
        ck_assert_uint_ge(view.count, 4);
        for (int i = 0; i < ALL; i++) { /* one pass */
            const bool second = i >= 40;
            if (i == 40) {
                state = (struct an_weighted_state){0};
            }
            const int64_t at_us = at_of(i);
            while (at < view.count && view.points[at].sample.at_us < at_us) {
                at++;
            }
            const struct an_limits *limits = &all[second];
            const struct an_chart_sample sample = {.n = 1, .mean = value[i]};
            const struct an_chart_point wanted =
                an_chart_judge_weighted(&limits->model, &sample, NULL, &state);
            if (at < view.count && view.points[at].sample.at_us == at_us) {
                const struct an_chart_point *got = &view.points[at].point;
                ck_assert_msg(
                    got->level.value == wanted.level.value && got->level.z == wanted.level.z &&
                        got->level.ucl == wanted.level.ucl && got->plain.value == value[i],
                    "%s: from %d, point %d", name, from, i);
                ck_assert_int_eq(view.limits[view.points[at].phase].limits_id, limits->limits_id);
            }
        }
    }
    scene_close();
}
END_TEST

/* More samples than stand between two marks: a late one costs only a part of the phase. */
START_TEST(marks_hold)
{
    scene_open(stations);
    scene_file("probe");
    struct scene_random random = {5};
    for (int i = 0; i < 1400; i++) {
        if (i != 1200) {
            put("ewma", i, scene_normal(&random));
        }
    }
    scene_file_end();
    scene_lock_known("probe.ewma", "ewma", 0, 1);
    (void)scene_check();
    const int64_t id = scene_find("probe.ewma").stream_id;
    struct an_limits *limits = NULL;
    size_t count = 0;
    struct an_running kept;
    bool found = false;
    OK(an_limits_all(scene.store, id, scene.arena, &limits, &count, &scene.err));
    OK(an_store_running(scene.store, id, limits[0].limits_id, at_of(1200), scene.arena, &kept,
                        &found, &scene.err));
    ck_assert(found && kept.at_us > at_of(900));
    scene_file("probe");
    put("ewma", 1200, 3.5);
    scene_file_end();
    const struct an_check_result r = scene_check();
    ck_assert_int_eq(r.late_samples, 1);
    ck_assert_uint_eq(r.samples, 200); /* judged again: from the late one on */
    OK(an_store_running(scene.store, id, limits[0].limits_id, INT64_MAX, scene.arena, &kept, &found,
                        &scene.err));
    ck_assert(found && kept.at_us == at_of(1399));
    scene_close();
}
END_TEST

/* A cusum dates its signal by when its sum left 0, and tells the size by the single values. */
START_TEST(a_cusum_dates_itself)
{
    struct an_signal *signals = NULL;
    size_t count = 0;

    scene_open(stations);
    scene_file("probe");
    for (int i = 0; i < 60; i++) {
        put("sums", i, i < 40 ? (i % 2 ? 0.3 : -0.3) : 1.4);
    }
    scene_file_end();
    scene_lock_known("probe.sums", "sums", 0, 1);
    (void)scene_check();
    OK(an_signals(scene.store, scene.line, 0, AN_NO_INSTANT, AN_NO_INSTANT, scene.arena, &signals,
                  &count, &scene.err));
    ck_assert_uint_eq(count, 1);
    ck_assert(signals[0].has_change);
    ck_assert_int_eq(signals[0].onset_us, at_of(40));
    ck_assert_msg(fabs(signals[0].size - 1.4) < 1e-12 && fabs(signals[0].size_sigmas - 1.4) < 1e-12,
                  "size %g, %g sigmas", signals[0].size, signals[0].size_sigmas);
    ck_assert_int_eq(signals[0].record.signal_us, at_of(44)); /* 5 times 0.9 is beyond 4 */
    ck_assert_ptr_nonnull(signals[0].sentence);
    scene_close();
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("charts with memory over checks");
    TCase *pieces = tcase_create("pieces");
    tcase_set_timeout(pieces, 120);
    tcase_add_loop_test(pieces, pieces_in_order, 0, 10);
    tcase_add_loop_test(pieces, pieces_out_of_order, 0, 15);
    tcase_add_loop_test(pieces, locked_again, 0, 15);
    tcase_add_loop_test(pieces, views, 0, 5);
    tcase_add_test(pieces, marks_hold);
    tcase_add_test(pieces, a_cusum_dates_itself);
    suite_add_tcase(suite, pieces);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
