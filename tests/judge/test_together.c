/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Three variables at once, and two inside samples: what is learned and judged is what the formulas of
 * Hotelling's T2 give for the same readings, and the sentence tells each variable's direction.
 */
#include "judge/judging.h"
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
    "      dx: {column: x, unit: um, signals: no}\n"
    "      dy: {column: y, unit: um, signals: no}\n"
    "      dz: {column: z, unit: mm, signals: no}\n"
    "      three: {title: Placement, derived: {how: together, of: [dx, dy, dz]}}\n"
    "      slow: {derived: {how: together, of: [dx, dy, dz]}, family: mewma}\n"
    "      inside: {title: Placement inside, derived: {how: together, of: [dx, dy]},\n"
    "               covariance: within}\n";

enum { BASE = 40, ALL = 60, N = 6 };

static void setup(void)
{
    scene_open(stations);
}

static int64_t at_of(int i)
{
    return SCENE_START + i * (10 * AN_MINUTE_US);
}

static void beside(const char *characteristic, double value)
{
    struct an_sample sample = scene.last;
    sample.mean = sample.min = sample.max = value;
    sample.stream_id = scene_stream(characteristic, "");
    OK(an_store_put_sample(scene.store, &sample, &scene.err));
}

static void make(double v[ALL][3])
{
    struct scene_random random = {17};
    for (int i = 0; i < ALL; i++) {
        const double shared = scene_normal(&random);
        v[i][0] = shared + 0.4 * scene_normal(&random);
        v[i][1] = shared + 0.4 * scene_normal(&random);
        v[i][2] = 5 + 0.1 * scene_normal(&random) - (i >= 50 ? 0.8 : 0);
    }
}

static void put(double v[ALL][3], int from, int until)
{
    scene_file("probe");
    for (int i = from; i < until; i++) {
        char serial[24];
        (void)snprintf(serial, sizeof serial, "T-%05d", i);
        (void)scene_plain("three", "", serial, at_of(i), v[i][0]);
        beside("slow", v[i][0]);
        beside("dx", v[i][0]);
        beside("dy", v[i][1]);
        beside("dz", v[i][2]);
    }
    scene_file_end();
}

static struct an_stream_view view_of(const char *stream)
{
    struct an_stream_view view;
    const struct an_stream found = scene_find(stream);
    OK(an_judge_view(scene.store, scene.line, &found, AN_NO_INSTANT, AN_NO_INSTANT, 0, scene.arena,
                     &view, &scene.err));
    return view;
}

/* d' S^-1 d of three by cofactors. */
static double distance_of(const double s[9], const double d[3])
{
    const double a = s[4] * s[8] - s[5] * s[7];
    const double b = s[2] * s[7] - s[1] * s[8];
    const double c = s[1] * s[5] - s[2] * s[4];
    const double e = s[0] * s[8] - s[2] * s[6];
    const double f = s[2] * s[3] - s[0] * s[5];
    const double g = s[0] * s[4] - s[1] * s[3];
    const double whole = s[0] * a + s[3] * b + s[6] * c;
    return (d[0] * d[0] * a + d[1] * d[1] * e + d[2] * d[2] * g +
            2 * (d[0] * d[1] * b + d[0] * d[2] * c + d[1] * d[2] * f)) /
           whole;
}

START_TEST(three_variables)
{
    double v[ALL][3];
    double mean[3] = {0};
    double s[9] = {0};
    struct an_signal *signals = NULL;
    struct an_limits *kept = NULL;
    size_t count = 0;
    make(v);
    put(v, 0, BASE);
    const struct an_limits limits = scene_limits("probe.three", BASE);
    const struct an_limits slow = scene_limits("probe.slow", BASE);
    for (int i = 0; i < BASE; i++) {
        for (int j = 0; j < 3; j++) {
            mean[j] += v[i][j] / BASE;
        }
    }
    for (int i = 1; i < BASE; i++) {
        for (int j = 0; j < 9; j++) {
            s[j] +=
                (v[i][j / 3] - v[i - 1][j / 3]) * (v[i][j % 3] - v[i - 1][j % 3]) / 2 / (BASE - 1);
        }
    }
    ck_assert(limits.model.joint.p == 3 && limits.model.joint.n == 1);
    for (int j = 0; j < 9; j++) {
        ck_assert(fabs(limits.model.joint.covariance[j] - s[j]) < 1e-12);
    }
    ck_assert(slow.model.weighting.variables == 3 && slow.model.centre == 3);
    OK(an_limits_all(scene.store, limits.stream_id, scene.arena, &kept, &count, &scene.err));
    ck_assert(count == 1 && kept[0].model.joint.p == 3 &&
              memcmp(kept[0].model.joint.covariance, limits.model.joint.covariance,
                     9 * sizeof(double)) == 0 &&
              kept[0].model.upper == limits.model.upper);
    scene_lock("probe.three");
    scene_lock("probe.slow");
    for (int i = BASE; i < ALL; i += 7) {
        put(v, i, i + 7 < ALL ? i + 7 : ALL);
        (void)scene_check();
    }
    const struct an_stream_view view = view_of("probe.three");
    for (int i = 0; i < ALL; i++) {
        const double d[3] = {v[i][0] - mean[0], v[i][1] - mean[1], v[i][2] - mean[2]};
        const double t2 = distance_of(s, d);
        ck_assert_msg(fabs(view.points[i].point.level.value - t2) < 1e-9 * t2, "%d: %.15g %.15g", i,
                      view.points[i].point.level.value, t2);
        ck_assert(isnan(view.points[i].point.level.lcl));
    }
    OK(an_signals(scene.store, scene.line, scene_find("probe.three").stream_id, AN_NO_INSTANT,
                  AN_NO_INSTANT, scene.arena, &signals, &count, &scene.err));
    bool told = false;
    for (size_t k = 0; k < count; k++) {
        told = told || strstr(signals[k].sentence, "dx unchanged, dy unchanged, dz down by 0.7");
    }
    ck_assert_msg(told, "%s", count ? signals[0].sentence : "no signal");
    OK(an_signals(scene.store, scene.line, scene_find("probe.slow").stream_id, AN_NO_INSTANT,
                  AN_NO_INSTANT, scene.arena, &signals, &count, &scene.err));
    ck_assert_msg(count >= 1 && strstr(signals[0].sentence, "dz down by "), "%s",
                  count ? signals[0].sentence : "no signal");
}
END_TEST

/* ---- inside samples ---- */
static double reading[ALL][N][2];
static int readings[ALL]; /* rows with both */

static void make_inside(void)
{
    struct scene_random random = {5};
    for (int i = 0; i < ALL; i++) {
        const double level[2] = {0.05 * scene_normal(&random), 0.05 * scene_normal(&random)};
        readings[i] = N;
        for (int r = 0; r < N; r++) {
            const double shared = scene_normal(&random);
            for (int j = 0; j < 2; j++) {
                const double all =
                    level[j] + shared + 0.5 * scene_normal(&random) + (j && i >= 50 ? 3.0 : 0);
                reading[i][r][j] = round(1e6 * all) / 1e6;
            }
        }
    }
}

static void put_inside(int from, int until)
{
    int64_t second[ALL * N];
    size_t rows = 0;
    scene_file("probe");
    for (int i = from; i < until; i++) {
        double x[N];
        double y[N];
        double mean = 0;
        int n = 0;
        char serial[24];
        (void)snprintf(serial, sizeof serial, "T-%05d", i);
        for (int r = 0; r < N; r++) {
            x[r] = reading[i][r][0];
            y[r] = reading[i][r][1];
            if (i == 45 && r == 2) { /* one row lacks the second, another the first */
                y[r] = (double)NAN;
            }
            if (i == 45 && r == 4) {
                x[r] = (double)NAN;
            }
            second[rows++] = isnan(y[r]) ? AN_CELL_MISSING : llround(1e6 * y[r]);
            mean += isnan(y[r]) ? 0 : y[r];
            n += !isnan(y[r]);
        }
        const struct scene_reading one = {.characteristic = "dx",
                                          .split = "",
                                          .serial = serial,
                                          .at_us = at_of(i),
                                          .values = x,
                                          .n = N,
                                          .decimals = 6};
        (void)scene_measure(&one);
        struct an_sample sample = scene.last;
        sample.n = n;
        sample.mean = mean / n;
        sample.stream_id = scene_stream("dy", "");
        OK(an_store_put_sample(scene.store, &sample, &scene.err));
        beside("inside", scene.last.mean);
    }
    const struct an_number_block block = {.rows = rows, .scaled = second, .decimals = 6};
    OK(an_store_put_numbers(scene.store, scene.file.file_id, "y", 0, &block, &scene.err));
    scene_file_end();
}

START_TEST(inside_samples)
{
    double grand[2] = {0};
    double s[4] = {0};
    struct an_signal *signals = NULL;
    size_t count = 0;
    make_inside();
    put_inside(0, BASE);
    const struct an_limits limits = scene_limits("probe.inside", BASE);
    double means[ALL][2] = {{0}};
    for (int i = 0; i < ALL; i++) {
        const bool holed = i == 45;
        for (int r = 0; r < N; r++) {
            for (int j = 0; j < 2 && !(holed && (r == 2 || r == 4)); j++) {
                means[i][j] += reading[i][r][j] / (holed ? N - 2 : N);
            }
        }
        for (int r = 0; r < N && i < BASE; r++) {
            for (int j = 0; j < 4; j++) {
                s[j] += (reading[i][r][j / 2] - means[i][j / 2]) *
                        (reading[i][r][j % 2] - means[i][j % 2]) / (BASE * (N - 1));
            }
        }
        grand[0] += i < BASE ? means[i][0] / BASE : 0;
        grand[1] += i < BASE ? means[i][1] / BASE : 0;
    }
    const struct an_joint *joint = &limits.model.joint;
    ck_assert(joint->spread == AN_JOINT_POOLED && joint->n == N && joint->samples == BASE &&
              joint->df == BASE * (N - 1));
    for (int j = 0; j < 4; j++) {
        ck_assert(fabs(joint->covariance[j] - s[j]) < 1e-9);
    }
    /* p (m + 1)(n - 1) / (m n - m - p + 1) F [Montgomery, 11.19, from memory] */
    const double rest = BASE * N - BASE - 2 + 1;
    const double factor = 2.0 * (BASE + 1) * (N - 1) / rest;
    ck_assert(fabs(an_f_above(limits.model.upper / factor, 2, rest) - 2 * an_normal_above(3)) <
              1e-10);
    scene_lock("probe.inside");
    put_inside(BASE, 47);
    (void)scene_check();
    put_inside(47, ALL);
    (void)scene_check();
    const struct an_stream_view view = view_of("probe.inside");
    const double whole = s[0] * s[3] - s[1] * s[2];
    for (int i = 0; i < ALL; i++) {
        const double d[2] = {means[i][0] - grand[0], means[i][1] - grand[1]};
        const double n = i == 45 ? N - 2 : N;
        const double t2 =
            n * (d[0] * d[0] * s[3] - 2 * d[0] * d[1] * s[1] + d[1] * d[1] * s[0]) / whole;
        const struct an_panel_point *level = &view.points[i].point.level;
        ck_assert_msg(fabs(level->value - t2) < 1e-7 * (1 + t2), "%d: %.12g %.12g", i, level->value,
                      t2);
        const double ucl =
            limits.model.upper * (1 + n / (BASE * (double)N)) / (1 + 1 / (double)BASE);
        ck_assert(fabs(level->ucl - ucl) < 1e-9 * ucl);
    }
    const struct an_check_result again = scene_check();
    ck_assert(again.new_hits == 0 && again.withdrawn_hits == 0);
    OK(an_signals(scene.store, scene.line, 0, AN_NO_INSTANT, AN_NO_INSTANT, scene.arena, &signals,
                  &count, &scene.err));
    bool told = false;
    for (size_t k = 0; k < count; k++) {
        told = told || (strstr(signals[k].sentence, "dx unchanged, dy up by 3") != NULL);
    }
    ck_assert_msg(told, "%zu: %s", count, count ? signals[0].sentence : "no signal");
}
END_TEST

/* What cannot be learned says of which variables. */
START_TEST(refused)
{
    double v[ALL][3];
    struct an_limits limits;
    make(v);
    for (int i = 0; i < BASE; i++) {
        v[i][2] = v[i][0] + v[i][1];
    }
    put(v, 0, BASE);
    const struct an_baseline_choice choice = {.from_us = AN_NO_INSTANT, .until_us = AN_NO_INSTANT};
    ck_assert_int_eq((int)an_limits_propose(scene.store, scene.line,
                                            scene_find("probe.three").stream_id, &choice,
                                            scene.arena, &limits, &scene.err),
                     AN_NO_SPREAD);
    ck_assert_msg(strstr(scene.err.text, "dz follows from dx and dy in the baseline"), "%s",
                  scene.err.text);
    const struct an_baseline_choice few = {
        .from_us = AN_NO_INSTANT, .until_us = AN_NO_INSTANT, .samples = 4};
    ck_assert_int_eq((int)an_limits_propose(scene.store, scene.line,
                                            scene_find("probe.three").stream_id, &few, scene.arena,
                                            &limits, &scene.err),
                     AN_TOO_FEW);
    ck_assert_msg(strstr(scene.err.text, "4 samples with dx, dy and dz: too few"), "%s",
                  scene.err.text);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("several variables at once");
    TCase *tcase = tcase_create("together");
    tcase_set_timeout(tcase, 60);
    tcase_add_checked_fixture(tcase, setup, scene_close);
    tcase_add_test(tcase, three_variables);
    tcase_add_test(tcase, inside_samples);
    tcase_add_test(tcase, refused);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
