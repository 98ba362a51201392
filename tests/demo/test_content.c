/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What stands in the demonstration's files: geometry that adds up, in-control figures near their
 * design, faults and damage where truth.json says they are and of the size it says.
 *
 * Expected figures are the design's own (src/demo/figures.c), written here a second time; bounds
 * are 4.5 standard errors of the estimate at hand, so that a right generator passes with any seed.
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

/* ---- geometry ------------------------------------------------------------------------------------ */

START_TEST(shots_add_up_to_emitters)
{
    enum { ACROSS = 6, DOWN = 6, SHOT_COLUMNS = 40, SHOT_ROWS = 24 };
    struct table t = table_read(&folder, "quiet", "transfer", "20260302");
    ck_assert_uint_eq(t.rows % (3 * ACROSS * DOWN), 0);
    ck_assert_uint_gt(t.rows, 100 * 3 * ACROSS * DOWN);
    for (size_t first = 0; first < t.rows; first += ACROSS * DOWN) {
        int seen[DOWN][ACROSS] = {{0}};
        double placed = 0.0;
        for (size_t r = first; r < first + ACROSS * DOWN; r++) {
            ck_assert_str_eq(field(&t, r, 0), field(&t, first, 0));
            ck_assert_str_eq(field(&t, r, 1), field(&t, first, 1));
            seen[(int)number(&t, r, 8) - 1][(int)number(&t, r, 7) - 1]++;
            placed += number(&t, r, 12);
            ck_assert_double_le(number(&t, r, 13) + number(&t, r, 14), number(&t, r, 12));
        }
        for (int i = 0; i < ACROSS * DOWN; i++) {
            ck_assert_int_eq(seen[i / ACROSS][i % ACROSS], 1);
        }
        /* a tile of 240 x 144 pixels, one emitter of each colour in each */
        ck_assert_double_eq(placed, 240.0 * 144.0);
        ck_assert_double_eq(placed, ACROSS * DOWN * SHOT_COLUMNS * SHOT_ROWS);
    }
    table_free(&t);
}
END_TEST

START_TEST(walls_hold_each_place_once)
{
    struct table t = table_read(&folder, "quiet", "assembly", "");
    struct table transfer = table_read(&folder, "quiet", "transfer", "");
    ck_assert_uint_gt(t.rows, 40 * 35);
    ck_assert_uint_eq(t.rows % 35, 0);
    char *used = calloc(100000, 1), *laid = calloc(100000, 1);
    ck_assert_ptr_nonnull(used);
    ck_assert_ptr_nonnull(laid);
    for (size_t r = 0; r < transfer.rows; r++) {
        laid[strtol(field(&transfer, r, 0) + 5, NULL, 10)] = 1;
    }
    for (size_t first = 0; first < t.rows; first += 35) {
        int seen[5][7] = {{0}};
        int gaps[2] = {0};
        for (size_t r = first; r < first + 35; r++) {
            const long serial = strtol(field(&t, r, 2) + 5, NULL, 10);
            ck_assert_int_eq(laid[serial], 1);
            ck_assert_int_eq(used[serial]++, 0); /* a tile lies in one wall */
            seen[(int)number(&t, r, 0) - 1][(int)number(&t, r, 1) - 1]++;
            gaps[0] += strcmp(field(&t, r, 4), "-") != 0;
            gaps[1] += strcmp(field(&t, r, 5), "-") != 0;
        }
        for (int i = 0; i < 35; i++) {
            ck_assert_int_eq(seen[i / 7][i % 7], 1);
        }
        ck_assert_int_eq(gaps[0], 5 * 6); /* seams between columns, between rows */
        ck_assert_int_eq(gaps[1], 4 * 7);
    }
    free(used);
    free(laid);
    table_free(&t);
    table_free(&transfer);
}
END_TEST

static size_t tile_number(const char *serial)
{
    return strncmp(serial, "SV26-", 5) == 0 ? (size_t)strtol(serial + 5, NULL, 10) : 0;
}

static size_t colour_number(const char *colour)
{
    return (size_t)(strchr("RGB", colour[0]) - "RGB");
}

/* Inspection finds what transfer missed; repair works on what inspection found. */
START_TEST(stations_agree)
{
    enum { TILES = 300 }; /* more than a day's */
    static double missed[TILES][3][3], attempts[TILES][3];
    static int shots[TILES][3];
    struct table transfer = table_read(&folder, "quiet", "transfer", "20260302_early");
    struct table inspection = table_read(&folder, "quiet", "inspection", "20260302");
    struct table repair = table_read(&folder, "quiet", "repair", "20260302");
    for (size_t r = 0; r < transfer.rows; r++) {
        const size_t tile = tile_number(field(&transfer, r, 0));
        const size_t colour = colour_number(field(&transfer, r, 1));
        shots[tile][colour]++;
        for (size_t k = 0; k < 3; k++) {
            missed[tile][colour][k] += number(&transfer, r, 13 + k);
        }
    }
    for (size_t r = 0; r < repair.rows; r++) {
        attempts[tile_number(field(&repair, r, 1))][colour_number(field(&repair, r, 2))] +=
            number(&repair, r, 6) == 1.0;
    }
    size_t compared = 0;
    for (size_t i = 0; i < inspection.rows; i++) {
        const size_t tile = tile_number(field(&inspection, i, 0));
        const size_t colour = colour_number(field(&inspection, i, 1));
        double sum = number(&inspection, i, 5); /* dark ones: not transfer's */
        if (shots[tile][colour] == 0) {
            continue;
        }
        for (size_t k = 0; k < 3; k++) {
            ck_assert_double_eq(number(&inspection, i, 2 + k), missed[tile][colour][k]);
            sum += missed[tile][colour][k];
        }
        ck_assert_double_eq(number(&inspection, i, 6), sum);
        ck_assert_double_eq(attempts[tile][colour], sum);
        compared++;
    }
    ck_assert_uint_ge(compared, 3 * 35);
    table_free(&transfer);
    table_free(&inspection);
    table_free(&repair);
}
END_TEST

/* ---- figures ------------------------------------------------------------------------------------- */

struct summary {
    double *at; /* one value a group of rows */
    size_t count;
    double mean, variance, lag1;
};

/* Means (or sums) of a column over runs of rows with the same serial, of rows whose `key` column
 * holds `word`. */
static struct summary summarise(const struct table *t, size_t serial, size_t column, size_t key,
                                const char *word, bool sums)
{
    struct summary s = {.at = calloc(t->rows + 1, sizeof(double))};
    const char *last = "";
    size_t n = 0;
    ck_assert_ptr_nonnull(s.at);
    for (size_t r = 0; r < t->rows; r++) {
        if (strcmp(field(t, r, key), word) != 0 || strncmp(field(t, r, serial), "REF", 3) == 0) {
            continue;
        }
        if (strcmp(field(t, r, serial), last) != 0) {
            s.at[s.count > 0 ? s.count - 1 : 0] /= n > 0 && !sums ? (double)n : 1.0;
            last = field(t, r, serial);
            s.count++;
            n = 0;
        }
        s.at[s.count - 1] += number(t, r, column);
        n++;
    }
    ck_assert_uint_gt(s.count, 2);
    s.at[s.count - 1] /= sums ? 1.0 : (double)n;
    for (size_t i = 0; i < s.count; i++) {
        s.mean += s.at[i] / (double)s.count;
    }
    for (size_t i = 0; i < s.count; i++) {
        const double d = s.at[i] - s.mean;
        s.variance += d * d / (double)(s.count - 1);
        s.lag1 += i > 0 ? d * (s.at[i - 1] - s.mean) / (double)(s.count - 1) : 0.0;
    }
    s.lag1 /= s.variance;
    return s;
}

/* Tile means: sd^2 = between^2 + within^2 / n. */
static const struct {
    const char *station;
    size_t serial, column, key;
    const char *word;
    double mean, between, within;
    int n;
} figure_rows[] = {
    {"transfer", 0, 9, 2, "H1", 0.55, 0.16, 0.42, 108},
    {"transfer", 0, 10, 2, "H3", 0.66, 0.16, 0.42, 108},
    {"transfer", 0, 11, 2, "H4", 0.0, 0.0, 0.018, 108},
    {"edge", 0, 4, 1, "A", 2.40, 0.060, 0.100, 12},
    {"edge", 0, 5, 1, "B", 14.0, 0.50, 0.90, 12},
    {"luminance", 0, 5, 1, "R", 210.0, 210.0 * 0.020, 210.0 * 0.006, 15},
    {"luminance", 0, 5, 1, "G", 520.0, 520.0 * 0.016, 520.0 * 0.006, 15},
    {"luminance", 0, 5, 1, "B", 70.0, 70.0 * 0.018, 70.0 * 0.006, 15},
    {"wafer_test", 0, 6, 1, "G", 523.5, 0.55, 0.80, 30},
    {"wafer_test", 0, 7, 1, "B", 2.66, 0.015, 0.020, 30},
    {"carrier", 0, 4, 2, "R", 1.30, 0.028, 0.024, 9},
};

START_TEST(figures_are_those_of_the_design)
{
    struct table t = table_read(&folder, "quiet", figure_rows[_i].station, "");
    struct summary s = summarise(&t, figure_rows[_i].serial, figure_rows[_i].column,
                                 figure_rows[_i].key, figure_rows[_i].word, false);
    const double sd = sqrt(figure_rows[_i].between * figure_rows[_i].between +
                           figure_rows[_i].within * figure_rows[_i].within / figure_rows[_i].n);
    const double m = (double)s.count;
    ck_assert_double_eq_tol(s.mean, figure_rows[_i].mean, 4.5 * sd / sqrt(m));
    ck_assert_double_eq_tol(sqrt(s.variance) / sd, 1.0, 4.5 / sqrt(2.0 * m));
    ck_assert_double_eq_tol(s.lag1, 0.0, 4.5 / sqrt(m)); /* independent from tile to tile */
    free(s.at);
    table_free(&t);
}
END_TEST

/* White is lit by all three colours at once: its tile mean is the sum of theirs. */
START_TEST(white_is_the_sum_of_its_colours)
{
    struct table t = table_read(&folder, "quiet", "luminance", "20260304");
    struct summary s[4];
    for (size_t c = 0; c < 4; c++) {
        s[c] = summarise(&t, 0, 5, 1, c == 0 ? "R" : c == 1 ? "G" : c == 2 ? "B" : "W", false);
    }
    for (size_t i = 0; i < s[3].count; i++) {
        ck_assert_double_eq_tol((s[0].at[i] + s[1].at[i] + s[2].at[i]) / s[3].at[i], 1.0, 0.015);
    }
    for (size_t c = 0; c < 4; c++) {
        free(s[c].at);
    }
    table_free(&t);
}
END_TEST

/*
 * Variance over mean of counts: 1 would be Poisson. With a level of variance v = 0.1 of its own the
 * tile's counts have 1 + mean v (moving part) on top: 42 misses a tile give 5.2, a factor of 2.28
 * on sigma; 14 misses and 2 dark ones of a colour give 2.225, a factor of 1.49.
 */
START_TEST(counts_scatter_as_designed)
{
    static const char *const heads[] = {"H1", "H2", "H3", "H4"};
    json_t *const truth = truth_read(&folder, "quiet");
    struct table t = table_read(&folder, "quiet", "transfer", "");
    double ratio = 0.0, groups = 0.0;
    for (size_t h = 0; h < 4; h++) {
        struct summary s[3];
        for (size_t k = 0; k < 3; k++) {
            s[k] = summarise(&t, 0, 13 + k, 2, heads[h], true);
        }
        double mean = 0.0, squares = 0.0;
        const double m = (double)s[0].count;
        for (size_t i = 0; i < s[0].count; i++) {
            const double sum = s[0].at[i] + s[1].at[i] + s[2].at[i];
            mean += sum / m;
            squares += sum * sum / m;
        }
        ratio += (squares - mean * mean) / mean / 4.0;
        groups += m;
        for (size_t k = 0; k < 3; k++) {
            free(s[k].at);
        }
    }
    ck_assert_double_eq_tol(ratio / 5.2, 1.0, 4.5 * sqrt(2.0 / groups));
    struct table inspection = table_read(&folder, "quiet", "inspection", "");
    struct summary red = summarise(&inspection, 0, 6, 1, "R", true);
    ck_assert_double_eq_tol(red.variance / red.mean / 2.225, 1.0,
                            4.5 * sqrt(2.3 / (double)red.count));
    const json_t *const said = json_object_get(truth, "overdispersed_without_fault");
    ck_assert_uint_eq(json_array_size(said), 2);
    ck_assert_double_eq_tol(
        json_number_value(json_object_get(json_array_get(said, 0), "sigma_factor")), sqrt(5.2),
        1e-4);
    ck_assert_double_eq_tol(
        json_number_value(json_object_get(json_array_get(said, 1), "sigma_factor")), sqrt(2.225),
        1e-4);
    free(red.at);
    json_decref(truth);
    table_free(&t);
    table_free(&inspection);
}
END_TEST

/* ---- faults -------------------------------------------------------------------------------------- */

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

/* ---- mess ---------------------------------------------------------------------------------------- */

static size_t count_of(const char *text, const char *what)
{
    size_t count = 0;
    for (const char *at = strstr(text, what); at; at = strstr(at + 1, what)) {
        count++;
    }
    return count;
}

/* The damage is in the file that truth.json names; its rows are those that are told. */
static void look_at_damage(const json_t *mess, const char *name, const struct bytes *file)
{
    const char *const kind = text_of(mess, "kind");
    const size_t lines = count_of(file->at, "\n");
    const json_int_t taken = json_integer_value(json_object_get(mess, "rows_taken"));
    const json_int_t held = json_integer_value(json_object_get(mess, "rows_held"));
    if (strcmp(kind, "truncated") == 0) {
        ck_assert_int_ne(file->at[file->length - 1], '\n');
        ck_assert_uint_eq(lines,
                          (size_t)taken + 1); /* the header's end counts, the cut row's not */
        ck_assert_int_eq(held, 1);
    } else if (strcmp(kind, "empty") == 0) {
        ck_assert_uint_eq(file->length, 0);
        ck_assert_str_eq(text_of(mess, "outcome"), "held");
    } else if (strcmp(kind, "unit-change") == 0) {
        ck_assert_ptr_nonnull(strstr(file->at, ";ohm;nm;"));
        ck_assert_uint_eq(lines, (size_t)held + 2);
        ck_assert_int_eq(taken, 0);
    } else if (strcmp(kind, "damaged-serial") == 0) {
        ck_assert_uint_eq(count_of(file->at, ";1.23E+15;"), 1);
        ck_assert_uint_eq(lines, (size_t)(taken + held) + 1);
    } else if (strcmp(kind, "missing-code") == 0) {
        ck_assert_uint_eq(count_of(file->at, ";OVER;"), 1);
        ck_assert_uint_eq(count_of(file->at, ";---;"), 1);
        ck_assert_int_eq(json_integer_value(json_object_get(mess, "missing_readings")), 2);
    } else if (strcmp(kind, "no-denominator") == 0) {
        ck_assert_uint_eq(count_of(file->at, "||"), 1);
    } else if (strcmp(kind, "byte-order-mark") == 0) {
        ck_assert_int_eq(strncmp(file->at,
                                 "\xef\xbb\xbf"
                                 "carrier_id,",
                                 14),
                         0);
    } else if (strcmp(kind, "late") == 0) {
        struct paths paths = paths_below(&folder, "loud/spool/luminance");
        ck_assert_str_eq(paths.at[paths.count - 1], strchr(name, '/') + 1);
        paths_free(&paths);
    } else {
        ck_assert_str_eq(kind, "duplicate");
        char path[512];
        (void)snprintf(path, sizeof path, "loud/spool/%s", name);
        (void)snprintf(strstr(path, "_copy"), 8, ".csv");
        struct bytes first = file_read(&folder, path);
        ck_assert_uint_eq(first.length, file->length);
        ck_assert_mem_eq(first.at, file->at, first.length);
        bytes_free(&first);
    }
}

START_TEST(mess_is_what_is_told)
{
    json_t *const truth = truth_read(&folder, "loud");
    const json_t *const mess = json_object_get(truth, "mess");
    ck_assert_uint_eq(json_array_size(mess), 9);
    for (size_t i = 0; i < json_array_size(mess); i++) {
        const json_t *const one = json_array_get(mess, i);
        char path[512];
        (void)snprintf(path, sizeof path, "loud/spool/%s", text_of(one, "file"));
        struct bytes file = file_read(&folder, path);
        look_at_damage(one, text_of(one, "file"), &file);
        bytes_free(&file);
    }
    json_decref(truth);
}
END_TEST

/* The held unit change is the sound file in other units: thickness times 1000, all else alike. */
START_TEST(unit_change_is_by_a_thousand)
{
    struct table loud = table_read(&folder, "loud", "edge", "20260306_night");
    struct table quiet = table_read(&folder, "quiet", "edge", "20260306_night");
    ck_assert_uint_eq(loud.rows, quiet.rows);
    ck_assert_uint_gt(loud.rows, 800);
    for (size_t r = 0; r < loud.rows; r++) {
        for (size_t c = 0; c < loud.columns; c++) {
            if (c == 5) {
                ck_assert_double_eq_tol(number(&loud, r, c), 1000.0 * number(&quiet, r, c), 1e-6);
                ck_assert_ptr_null(strchr(field(&loud, r, c), ','));
            } else {
                ck_assert_str_eq(field(&loud, r, c), field(&quiet, r, c));
            }
        }
    }
    table_free(&loud);
    table_free(&quiet);
}
END_TEST

START_TEST(totals_are_those_of_the_files)
{
    json_t *const truth = truth_read(&folder, "quiet");
    const json_t *const stations = json_object_get(truth, "stations");
    ck_assert_uint_eq(json_array_size(stations), 8);
    for (size_t i = 0; i < json_array_size(stations); i++) {
        const json_t *const one = json_array_get(stations, i);
        struct table t = table_read(&folder, "quiet", text_of(one, "name"), "");
        ck_assert_uint_eq(t.rows, (size_t)json_integer_value(json_object_get(one, "rows")));
        ck_assert_uint_eq(t.kept_count, (size_t)json_integer_value(json_object_get(one, "files")));
        table_free(&t);
    }
    json_decref(truth);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("demo content");
    TCase *tests = tcase_create("content");
    tcase_add_unchecked_fixture(tests, write_lines, remove_lines);
    tcase_add_test(tests, shots_add_up_to_emitters);
    tcase_add_test(tests, walls_hold_each_place_once);
    tcase_add_test(tests, stations_agree);
    tcase_add_loop_test(tests, figures_are_those_of_the_design, 0,
                        sizeof figure_rows / sizeof figure_rows[0]);
    tcase_add_test(tests, white_is_the_sum_of_its_colours);
    tcase_add_test(tests, counts_scatter_as_designed);
    tcase_add_test(tests, truth_is_consistent);
    tcase_add_test(tests, onsets_in_both_clocks);
    tcase_add_loop_test(tests, effects_are_those_told, 0,
                        sizeof effect_rows / sizeof effect_rows[0]);
    tcase_add_test(tests, reference_tile_shows_the_gauge);
    tcase_add_test(tests, stamp_wears);
    tcase_add_test(tests, spread_grows_and_mean_stays);
    tcase_add_test(tests, green_wafers_are_shifted);
    tcase_add_test(tests, mess_is_what_is_told);
    tcase_add_test(tests, unit_change_is_by_a_thousand);
    tcase_add_test(tests, totals_are_those_of_the_files);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
