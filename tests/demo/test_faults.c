/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The seeded faults: truth.json agrees with itself, and each fault is in the files where it says, of
 * the size it says, on the tiles it says and on no other. The quiet line serves as the ruler.
 */
#include "support.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The two lines are written once for all tests, before the first of them forks. */
static struct folder folder;

static void write_lines(void)
{
    folder = folder_make();
    (void)demo_in(&folder, "loud", 14, 0, false);
    (void)demo_in(&folder, "quiet", 14, 0, true);
}

static void remove_lines(void)
{
    folder_remove(&folder);
}

static bool names_stream(const json_t *truth, const char *list, const char *name)
{
    const json_t *const streams = json_object_get(truth, list);
    for (size_t i = 0; i < json_array_size(streams); i++) {
        if (strcmp(json_string_value(json_array_get(streams, i)), name) == 0) {
            return true;
        }
    }
    return false;
}

static const char *text_of(const json_t *object, const char *key)
{
    const char *const text = json_string_value(json_object_get(object, key));
    ck_assert_msg(text != NULL, "no text '%s'", key);
    return text;
}

START_TEST(truth_is_consistent)
{
    static const char *const ids[] = {"stamp-wear",           "head-offset-ramp", "green-lot-shift",
                                      "edge-over-adjustment", "head-spread",      "gauge-step"};
    json_t *const truth = truth_read(&folder, "loud");
    const json_t *const faults = json_object_get(truth, "faults");
    ck_assert_uint_eq(json_array_size(faults), sizeof ids / sizeof ids[0]);
    ck_assert_str_eq(text_of(truth, "baseline_until"), "2026-03-07T06:00:00+01:00");
    for (size_t i = 0; i < json_array_size(faults); i++) {
        const json_t *const fault = json_array_get(faults, i);
        const json_t *const tiles = json_object_get(fault, "tiles");
        const json_t *const streams = json_object_get(fault, "streams");
        ck_assert_str_eq(text_of(fault, "id"), ids[i]);
        ck_assert_str_eq(text_of(fault, "first_tile"), json_string_value(json_array_get(tiles, 0)));
        for (size_t k = 1; k < json_array_size(tiles); k++) { /* in order, each once */
            ck_assert_int_lt(strcmp(json_string_value(json_array_get(tiles, k - 1)),
                                    json_string_value(json_array_get(tiles, k))),
                             0);
        }
        ck_assert_uint_gt(json_array_size(streams), 0);
        for (size_t k = 0; k < json_array_size(streams); k++) {
            const json_t *const stream = json_array_get(streams, k);
            const char *const name = text_of(stream, "stream");
            ck_assert_msg(names_stream(truth, "streams", name) ||
                              names_stream(truth, "reference_streams", name),
                          "%s", name);
            /* nothing is seeded while limits are learned; RFC 3339 in UTC sorts by time */
            ck_assert_int_gt(strcmp(text_of(stream, "onset_utc"), "2026-03-07T05:00:00Z"), 0);
            ck_assert_int_lt(strcmp(text_of(stream, "onset_utc"), text_of(fault, "end_utc")), 0);
            const json_int_t fair =
                json_integer_value(json_object_get(stream, "fair_delay_samples"));
            ck_assert_int_gt(fair, 0);
            ck_assert_int_le(fair, json_integer_value(json_object_get(stream, "samples")));
            ck_assert_double_gt(fabs(json_number_value(json_object_get(stream, "size_sigmas"))),
                                1.5);
        }
        const json_t *const also = json_object_get(fault, "may_also_signal");
        for (size_t k = 0; k < json_array_size(also); k++) {
            ck_assert(names_stream(truth, "streams", json_string_value(json_array_get(also, k))));
        }
    }
    json_decref(truth);
}
END_TEST

/* Local and UTC times of an onset are the same instant: winter time is UTC + 1 h. */
START_TEST(onsets_in_both_clocks)
{
    json_t *const truth = truth_read(&folder, "loud");
    const json_t *const faults = json_object_get(truth, "faults");
    for (size_t i = 0; i < json_array_size(faults); i++) {
        const char *const utc = text_of(json_array_get(faults, i), "onset_utc");
        const char *const local = text_of(json_array_get(faults, i), "onset_local");
        ck_assert_str_eq(local + 19, "+01:00");
        ck_assert_str_eq(utc + 19, "Z");
        const long hour_utc = strtol(utc + 11, NULL, 10), hour_local = strtol(local + 11, NULL, 10);
        ck_assert_int_eq((hour_utc + 1) % 24, hour_local);
        ck_assert_int_eq(strncmp(utc + 13, local + 13, 6), 0);
    }
    json_decref(truth);
}
END_TEST

static const json_t *fault_named(const json_t *truth, const char *id)
{
    const json_t *const faults = json_object_get(truth, "faults");
    for (size_t i = 0; i < json_array_size(faults); i++) {
        if (strcmp(text_of(json_array_get(faults, i), "id"), id) == 0) {
            return json_array_get(faults, i);
        }
    }
    ck_abort_msg("no fault '%s'", id);
    return NULL;
}

static size_t tile_number(const char *serial)
{
    return strncmp(serial, "SV26-", 5) == 0 ? (size_t)strtol(serial + 5, NULL, 10) : 0;
}

/* carries[serial number]: place among the fault's tiles, from 1; 0 for others. */
static int *carriers_of(const json_t *fault)
{
    int *const carries = calloc(100000, sizeof *carries);
    ck_assert_ptr_nonnull(carries);
    const json_t *const tiles = json_object_get(fault, "tiles");
    for (size_t i = 0; i < json_array_size(tiles); i++) {
        carries[strtol(json_string_value(json_array_get(tiles, i)) + 5, NULL, 10)] = (int)i + 1;
    }
    return carries;
}

/*
 * The loud line against the quiet one, row by row: the difference is the fault, on the tiles that
 * truth.json names and on no other. `effect` is what the k-th carrying tile shows.
 */
static double ramp_effect(int k)
{
    return 0.022 * k;
}
static double trim_effect(int k)
{
    return k % 2 == 1 ? 0.13 : -0.13;
}
static double lot_effect(int k)
{
    (void)k;
    return 0.92;
}
static double gauge_effect(int k)
{
    (void)k;
    return 1.035;
}

static const struct {
    const char *fault, *station, *part; /* files whose names hold `part` */
    size_t serial, column, key;
    const char *word;
    double (*effect)(int k);
    bool factor;
    double rounding; /* of a difference or a ratio */
} effect_rows[] = {
    {"head-offset-ramp", "transfer", "2026031", 0, 9, 2, "H2", ramp_effect, false, 0.0101},
    {"edge-over-adjustment", "edge", "2026031", 0, 4, 1, "A", trim_effect, false, 0.00101},
    {"green-lot-shift", "luminance", "20260309", 0, 5, 1, "G", lot_effect, true, 0.0001},
    {"gauge-step", "luminance", "20260313", 0, 5, 1, "B", gauge_effect, true, 0.0003},
    {"gauge-step", "luminance", "20260312", 0, 5, 1, "W", gauge_effect, true, 0.0001},
    {"gauge-step", "luminance", "20260314", 0, 5, 1, "R", gauge_effect, true, 0.0002},
};

START_TEST(effects_are_those_told)
{
    json_t *const truth = truth_read(&folder, "loud");
    const json_t *const fault = fault_named(truth, effect_rows[_i].fault);
    int *const carries = carriers_of(fault);
    struct table loud = table_read(&folder, "loud", effect_rows[_i].station, effect_rows[_i].part);
    struct table quiet =
        table_read(&folder, "quiet", effect_rows[_i].station, effect_rows[_i].part);
    ck_assert_uint_eq(loud.rows, quiet.rows);
    const double neutral = effect_rows[_i].factor ? 1.0 : 0.0;
    size_t with = 0;
    for (size_t r = 0; r < loud.rows; r++) {
        const size_t tile = tile_number(field(&loud, r, effect_rows[_i].serial));
        if (tile == 0 || strcmp(field(&loud, r, effect_rows[_i].key), effect_rows[_i].word) != 0) {
            continue;
        }
        const double a = number(&loud, r, effect_rows[_i].column);
        const double b = number(&quiet, r, effect_rows[_i].column);
        const double expected = carries[tile] > 0 ? effect_rows[_i].effect(carries[tile]) : neutral;
        ck_assert_double_eq_tol(effect_rows[_i].factor ? a / b : a - b, expected,
                                effect_rows[_i].rounding);
        with += carries[tile] > 0;
    }
    ck_assert_uint_gt(with, 100);
    free(carries);
    json_decref(truth);
    table_free(&loud);
    table_free(&quiet);
}
END_TEST

/* The reference tile moves with the gauge, from the first shift after the step to the last in it. */
START_TEST(reference_tile_shows_the_gauge)
{
    struct table loud = table_read(&folder, "loud", "luminance", "2026031");
    struct table quiet = table_read(&folder, "quiet", "luminance", "2026031");
    size_t shifted = 0, rest = 0;
    for (size_t r = 0; r < loud.rows; r++) {
        if (strcmp(field(&loud, r, 0), "REF-3") == 0) {
            const double ratio = number(&loud, r, 5) / number(&quiet, r, 5);
            const char *const at = field(&loud, r, 10); /* dd/mm/yyyy hh:mm:ss */
            const long day = strtol(at, NULL, 10), hour = strtol(at + 11, NULL, 10);
            const long hours = day * 24 + hour;
            const bool on = hours >= 12 * 24 + 10 && hours < 14 * 24 + 14;
            ck_assert_double_eq_tol(ratio, on ? 1.035 : 1.0, 0.0003);
            shifted += on;
            rest += !on;
        }
    }
    ck_assert_uint_eq(shifted, 6 * 60); /* shifts, rows of a tile */
    ck_assert_uint_eq(rest, 12 * 60);
    table_free(&loud);
    table_free(&quiet);
}
END_TEST

/* The worn stamp: misses of its k-th tile are Poisson about (1 + 0.03 k) times the tile's level, so
 * the sum over all its tiles is known within its own scatter; and it ends with the stamp. */
START_TEST(stamp_wears)
{
    json_t *const truth = truth_read(&folder, "loud");
    const json_t *const fault = fault_named(truth, "stamp-wear");
    int *const carries = carriers_of(fault);
    struct table t = table_read(&folder, "loud", "transfer", "");
    double sum = 0.0, expected = 0.0, variance = 0.0;
    char stamp[32] = "";
    for (size_t r = 0; r < t.rows; r++) {
        const int k = carries[tile_number(field(&t, r, 0))];
        if (k > 0) {
            const double mean = 42.0 * (1.0 + 0.03 * k) / 108.0;
            sum += number(&t, r, 13) + number(&t, r, 14) + number(&t, r, 15);
            expected += mean;
            variance += mean + 0.1 * mean * mean * 108.0; /* the level is one for 108 rows */
            if (stamp[0] == '\0') {
                (void)snprintf(stamp, sizeof stamp, "%s", field(&t, r, 3));
            }
            ck_assert_str_eq(field(&t, r, 2), "H3");
        }
        if (stamp[0]) { /* the list is that of the stamp's tiles, no more and no fewer */
            ck_assert_int_eq(k > 0, strcmp(field(&t, r, 3), stamp) == 0);
        }
    }
    ck_assert_double_eq_tol(sum, expected, 4.5 * sqrt(variance));
    ck_assert_double_gt(expected,
                        2.0 * 42.0 * (double)json_array_size(json_object_get(fault, "tiles")));
    free(carries);
    json_decref(truth);
    table_free(&t);
}
END_TEST

START_TEST(spread_grows_and_mean_stays)
{
    json_t *const truth = truth_read(&folder, "loud");
    int *const carries = carriers_of(fault_named(truth, "head-spread"));
    struct table loud = table_read(&folder, "loud", "transfer", "2026031");
    struct table quiet = table_read(&folder, "quiet", "transfer", "2026031");
    double squares[2] = {0.0};
    size_t rows = 0, first = 0;
    for (size_t r = 0; r + 108 <= loud.rows; r += 108) { /* a tile */
        double mean[2] = {0.0};
        for (size_t i = r; i < r + 108; i++) {
            mean[0] += number(&loud, i, 10) / 108.0;
            mean[1] += number(&quiet, i, 10) / 108.0;
        }
        if (carries[tile_number(field(&loud, r, 0))] == 0) {
            ck_assert_double_eq(mean[0], mean[1]);
            continue;
        }
        ck_assert_double_eq_tol(mean[0], mean[1], 4.5 * 0.30 * 0.42 / sqrt(108.0));
        for (size_t i = r; i < r + 108; i++) {
            squares[0] += pow(number(&loud, i, 10) - mean[0], 2.0);
            squares[1] += pow(number(&quiet, i, 10) - mean[1], 2.0);
        }
        first = rows == 0 ? r : first;
        rows += 108;
    }
    ck_assert_uint_eq(
        rows, 108 * json_array_size(json_object_get(fault_named(truth, "head-spread"), "tiles")));
    ck_assert_str_eq(field(&loud, first, 2), "H4");
    ck_assert_double_eq_tol(sqrt(squares[0] / squares[1]), 1.30, 0.002);
    free(carries);
    json_decref(truth);
    table_free(&loud);
    table_free(&quiet);
}
END_TEST

/* The green lot: five wafers in a row at wafer test, 3 nm longer and 8 per cent dimmer. */
START_TEST(green_wafers_are_shifted)
{
    struct table loud = table_read(&folder, "loud", "wafer_test", "");
    struct table quiet = table_read(&folder, "quiet", "wafer_test", "");
    ck_assert_uint_eq(loud.rows, quiet.rows);
    size_t shifted = 0;
    for (size_t r = 0; r < loud.rows; r++) {
        const bool on = strcmp(field(&loud, r, 2), "EG26-008") == 0;
        ck_assert_double_eq_tol(number(&loud, r, 6) - number(&quiet, r, 6), on ? 3.0 : 0.0, 0.0101);
        ck_assert_double_eq(number(&loud, r, 7), number(&quiet, r, 7));
        if (!on) {
            ck_assert_str_eq(field(&loud, r, 8), field(&quiet, r, 8));
        }
        shifted += on;
    }
    ck_assert_uint_eq(shifted, 5 * 30);
    table_free(&loud);
    table_free(&quiet);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("demo faults");
    TCase *tests = tcase_create("faults");
    tcase_add_unchecked_fixture(tests, write_lines, remove_lines);
    tcase_add_test(tests, truth_is_consistent);
    tcase_add_test(tests, onsets_in_both_clocks);
    tcase_add_loop_test(tests, effects_are_those_told, 0,
                        sizeof effect_rows / sizeof effect_rows[0]);
    tcase_add_test(tests, reference_tile_shows_the_gauge);
    tcase_add_test(tests, stamp_wears);
    tcase_add_test(tests, spread_grows_and_mean_stays);
    tcase_add_test(tests, green_wafers_are_shifted);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
