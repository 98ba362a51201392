/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The pace of a stream and the delays of its chart: samples counted by hand over planned shifts, pauses and
 * the running shift; printed delays of 3-sigma charts and cusums; what the memory of a baseline does, by its
 * definition.
 */
#include "andamento/stat/tests.h"
#include "judge/delay.h"
#include "judge/pace.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const char stations[] = "  bench:\n"
                               "    time: {column: at}\n"
                               "    item: {kind: tile, column: tile}\n"
                               "    characteristics:\n"
                               "      flow: {column: v, unit: um, family: individuals}\n"
                               "      spots: {count: k, family: c}\n";

static void setup(void)
{
    scene_open(stations);
}

static void put(int i, int64_t at_us, double value)
{
    char serial[16];
    (void)snprintf(serial, sizeof serial, "T-%04d", i + 1);
    (void)scene_plain("flow", "", serial, at_us, value);
}

static struct an_pace pace_of(const char *stream)
{
    struct an_pace pace;
    OK(an_pace_of(scene.store, scene.line, scene_find(stream).stream_id, &pace, &scene.err));
    return pace;
}

/* Six samples in the first shift, none in the second, three in the third, two in the fourth, which runs
 * still: nine in three planned shifts of eight hours. */
START_TEST(pauses_count_and_the_running_shift_does_not)
{
    int n = 0;
    scene_file("bench");
    for (int i = 0; i < 6; i++, n++) {
        put(n, SCENE_START + i * AN_HOUR_US, i);
    }
    for (int i = 0; i < 3; i++, n++) {
        put(n, SCENE_START + (16 + i) * AN_HOUR_US, i);
    }
    for (int i = 0; i < 2; i++, n++) {
        put(n, SCENE_START + (24 + i) * AN_HOUR_US, i);
    }
    scene_file_end();
    const struct an_pace pace = pace_of("bench.flow");
    ck_assert_uint_eq(pace.shifts, 3);
    ck_assert(pace.samples == 9 && pace.samples_per_shift == 3 && pace.shift_hours == 8);
    ck_assert(!pace.by_day && pace.events_per_shift == 0);
    ck_assert_int_eq(pace.from_us, SCENE_START);
    ck_assert_int_eq(pace.until_us, SCENE_START + 24 * AN_HOUR_US);
    ck_assert(fabs(an_pace_hours(&pace, 12) - 32) < 1e-12); /* four shifts */
}
END_TEST

/* One shift only: it is all there is. */
START_TEST(one_shift)
{
    scene_file("bench");
    for (int i = 0; i < 5; i++) {
        put(i, SCENE_START + i * AN_HOUR_US, i);
    }
    scene_file_end();
    const struct an_pace pace = pace_of("bench.flow");
    ck_assert(pace.shifts == 1 && pace.samples_per_shift == 5);
}
END_TEST

/* A sample in four hours for eight days, then two an hour for sixteen: the past is left out, and so is the
 * last shift. Events are samples that counted something: every fifth. */
START_TEST(only_the_last_fortnight)
{
    char serial[16];
    int n = 0;
    scene_file("bench");
    for (int64_t at = 0; at < 24 * 24; at++) { /* hours */
        const bool recent = at >= 8 * 24;
        for (int k = 0; k < (recent ? 2 : 1); k++, n++) {
            if (recent || at % 4 == 0) {
                (void)snprintf(serial, sizeof serial, "T-%04d", n);
                (void)scene_count("spots", "", serial,
                                  SCENE_START + at * AN_HOUR_US + k * AN_MINUTE_US,
                                  n % 5 == 0 ? 2 : 0, 1);
            }
        }
    }
    scene_file_end();
    const struct an_pace pace = pace_of("bench.spots");
    ck_assert_uint_eq(pace.shifts, 42);
    ck_assert(pace.samples_per_shift == 16);
    ck_assert(fabs(pace.events_per_shift - 3.2) < 0.1);
}
END_TEST

/* A line without shifts is told by day. */
START_TEST(days_where_there_are_no_shifts)
{
    scene_file("bench");
    for (int i = 0; i < 60; i++) { /* from 06:00, hourly: 18 on the first day, 24, 18 */
        put(i, SCENE_START + i * AN_HOUR_US, i);
    }
    scene_file_end();
    scene.line->shift_count = 0;
    const struct an_pace pace = pace_of("bench.flow");
    ck_assert(pace.by_day && pace.shifts == 2 && pace.samples == 42);
    ck_assert(pace.samples_per_shift == 21 && pace.shift_hours == 24);
}
END_TEST

START_TEST(no_samples)
{
    struct an_pace pace;
    OK(an_pace_of(scene.store, scene.line, 4711, &pace, &scene.err));
    ck_assert(isnan(pace.samples_per_shift) && pace.shifts == 0);
    ck_assert(isnan(an_pace_hours(&pace, 5)));
}
END_TEST

/* ---- delays of the present chart ---- */

static struct an_limits limits_of(enum an_family family)
{
    struct an_limits limits = {.rules = an_rules_default()};
    limits.rules.on[AN_RULE_RUN_ONE_SIDE] = false;
    limits.model = (struct an_chart_model){
        .family = family, .k = 3, .samples = 100, .n_nominal = 5, .sigma_level = 0.4};
    return limits;
}

/* 370.4, 43.9, 6.3 and 2.0 points at 0, 1, 2, 3 sigma (Montgomery's chapter on the mean chart, from
 * memory); cusum k .5, h 5: 465, 38.0 at .5, 10.4 at 1 (the same, chapter on cusums). */
START_TEST(printed_delays)
{
    static const double printed[][2] = {{0, 370.4}, {1, 43.9}, {2, 6.3}, {3, 2.0}};
    static const double sums[][2] = {{0, 465}, {0.5, 38.0}, {1, 10.4}};
    struct an_limits limits = limits_of(AN_XBAR_S);
    double samples;
    for (size_t i = 0; i < 4; i++) {
        ck_assert(!an_delay_of(&limits, printed[i][0], &samples));
        ck_assert(fabs(samples - printed[i][1]) < 0.05);
    }
    limits.model.weighting = (struct an_weighting){.kind = AN_CUSUM, .reference = 0.5, .limits = 5};
    for (size_t i = 0; i < 3; i++) {
        ck_assert(!an_delay_of(&limits, sums[i][0], &samples));
        ck_assert(fabs(samples - sums[i][1]) < (i ? 0.05 : 0.5));
    }
}
END_TEST

START_TEST(no_delay_where_a_shift_is_none)
{
    static const enum an_family families[] = {AN_C,         AN_U_PRIME, AN_G,     AN_T2,
                                              AN_RESIDUALS, AN_WEAR,    AN_GROUP, AN_SHORT_RUN};
    double samples;
    for (size_t i = 0; i < sizeof families / sizeof families[0]; i++) {
        const struct an_limits limits = limits_of(families[i]);
        ck_assert_ptr_nonnull(an_delay_why_not(&limits));
        ck_assert_int_eq(an_delay_of(&limits, 1, &samples), AN_DOMAIN);
        ck_assert(isnan(samples));
    }
    struct an_limits limits = limits_of(AN_INDIVIDUALS);
    ck_assert_ptr_null(an_delay_why_not(&limits));
    ck_assert_int_eq(an_delay_of(&limits, (double)NAN, &samples), AN_DOMAIN);
    limits.rules.on[AN_RULE_BEYOND_LIMIT] = false;
    ck_assert_str_eq(an_delay_why_not(&limits), "no rule is on");
}
END_TEST

/* ---- memory of a baseline ---- */

/* Values that keep phi of the one before; the sums of the test by their definition, here. */
static struct an_limits remembering(double phi, double *q, double *r1)
{
    enum { N = 120, LAGS = 10 };
    struct scene_random random = {20261125};
    double x[N], mean = 0, squares = 0, last = 0;
    scene_file("bench");
    for (int i = 0; i < N; i++) {
        last = phi * last + scene_normal(&random);
        x[i] = last;
        put(i, SCENE_START + i * AN_HOUR_US, x[i]);
        mean += x[i] / N;
    }
    scene_file_end();
    for (int i = 0; i < N; i++) {
        squares += (x[i] - mean) * (x[i] - mean);
    }
    *q = 0;
    for (int lag = 1; lag <= LAGS; lag++) {
        double sum = 0;
        for (int i = lag; i < N; i++) {
            sum += (x[i] - mean) * (x[i - lag] - mean);
        }
        *r1 = lag == 1 ? sum / squares : *r1;
        *q += N * (N + 2.0) * (sum / squares) * (sum / squares) / (N - lag);
    }
    return scene_limits("bench.flow", 0);
}

static const char *warning_of(const struct an_limits *limits)
{
    for (size_t i = 0; i < limits->warning_count; i++) {
        if (strstr(limits->warnings[i], "not independent")) {
            return limits->warnings[i];
        }
    }
    return NULL;
}

START_TEST(memory_is_told)
{
    double q, r1;
    char part[80];
    struct an_limits *all = NULL;
    size_t count = 0;
    const struct an_limits limits = remembering(0.6, &q, &r1);
    ck_assert(fabs(limits.ljung_box.q - q) < 1e-9 * q && limits.ljung_box.df == 10);
    ck_assert(fabs(limits.ljung_box.p - an_chi_square_above(q, 10)) < 1e-12);
    ck_assert(fabs(limits.lag1 - r1) < 1e-12);
    const char *warning = warning_of(&limits);
    ck_assert_ptr_nonnull(warning);
    (void)snprintf(part, sizeof part, "too narrow by a factor of %.2f", 1 / sqrt(1 - r1));
    ck_assert_ptr_nonnull(strstr(warning, part));
    (void)snprintf(part, sizeof part, "Ljung-Box %.1f with 10 df", q);
    ck_assert_ptr_nonnull(strstr(warning, part));
    ck_assert_ptr_nonnull(strstr(warning, "'family: residuals'"));
    OK(an_limits_all(scene.store, scene_find("bench.flow").stream_id, scene.arena, &all, &count,
                     &scene.err));
    ck_assert(count == 1 && all[0].ljung_box.q == limits.ljung_box.q &&
              all[0].ljung_box.p == limits.ljung_box.p);
}
END_TEST

START_TEST(alternation_is_told)
{
    double q, r1;
    char part[80];
    const struct an_limits limits = remembering(-0.5, &q, &r1);
    const char *warning = warning_of(&limits);
    ck_assert_ptr_nonnull(warning);
    (void)snprintf(part, sizeof part, "too wide by a factor of %.2f", sqrt(1 - r1));
    ck_assert_ptr_nonnull(strstr(warning, part));
    ck_assert_ptr_nonnull(strstr(warning, "over-adjustment"));
}
END_TEST

START_TEST(no_memory_no_word)
{
    double q, r1;
    const struct an_limits limits = remembering(0.0, &q, &r1);
    ck_assert(isfinite(limits.ljung_box.p) && limits.ljung_box.p > 0.01);
    ck_assert_ptr_null(warning_of(&limits));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("pace, delays, memory");
    TCase *pace = tcase_create("pace");
    tcase_add_checked_fixture(pace, setup, scene_close);
    tcase_add_test(pace, pauses_count_and_the_running_shift_does_not);
    tcase_add_test(pace, one_shift);
    tcase_add_test(pace, only_the_last_fortnight);
    tcase_add_test(pace, days_where_there_are_no_shifts);
    tcase_add_test(pace, no_samples);
    suite_add_tcase(suite, pace);
    TCase *delays = tcase_create("delays");
    tcase_add_test(delays, printed_delays);
    tcase_add_test(delays, no_delay_where_a_shift_is_none);
    suite_add_tcase(suite, delays);
    TCase *memory = tcase_create("memory");
    tcase_add_checked_fixture(memory, setup, scene_close);
    tcase_add_test(memory, memory_is_told);
    tcase_add_test(memory, alternation_is_told);
    tcase_add_test(memory, no_memory_no_word);
    suite_add_tcase(suite, memory);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
