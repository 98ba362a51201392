/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What stands in the demonstration's files: geometry that adds up, in-control figures near their
 * design, damage where truth.json says it is.
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
 * holds `word` (NULL: any). */
static struct summary summarise(const struct table *t, size_t serial, size_t column, size_t key,
                                const char *word, bool sums)
{
    struct summary s = {.at = calloc(t->rows + 1, sizeof(double))};
    const char *last = "";
    size_t n = 0;
    ck_assert_ptr_nonnull(s.at);
    for (size_t r = 0; r < t->rows; r++) {
        if ((word && strcmp(field(t, r, key), word) != 0) ||
            strncmp(field(t, r, serial), "REF", 3) == 0) {
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
 * on sigma; 42 misses and 6 dark ones at inspection give 4.675, a factor of 2.16.
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
    struct summary tiles = summarise(&inspection, 0, 6, 1, NULL, true);
    ck_assert_double_eq_tol(tiles.variance / tiles.mean / 4.675, 1.0,
                            4.5 * sqrt(2.1 / (double)tiles.count));
    const json_t *const said = json_object_get(truth, "overdispersed_without_fault");
    ck_assert_uint_eq(json_array_size(said), 2);
    ck_assert_double_eq_tol(
        json_number_value(json_object_get(json_array_get(said, 0), "sigma_factor")), sqrt(5.2),
        1e-4);
    ck_assert_double_eq_tol(
        json_number_value(json_object_get(json_array_get(said, 1), "sigma_factor")), sqrt(4.675),
        1e-4);
    free(tiles.at);
    json_decref(truth);
    table_free(&t);
    table_free(&inspection);
}
END_TEST

/* ---- mess ---------------------------------------------------------------------------------------- */

static const char *text_of(const json_t *object, const char *key)
{
    const char *const text = json_string_value(json_object_get(object, key));
    ck_assert_msg(text != NULL, "no text '%s'", key);
    return text;
}

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

/* The newest rows lie in the last shift: one after it would make a shift of its own, nearly empty. */
START_TEST(nothing_is_later_than_the_last_shift)
{
    static const struct {
        const char *station;
        size_t column;
        const char *begins; /* a time on the day on which the last shift ends, at 06:00 */
    } rows[] = {
        {"transfer", 18, "2026-03-16T"}, {"assembly", 7, "2026-03-16T"},
        {"repair", 11, "20260316T"},     {"inspection", 8, "16/03/2026 "},
        {"edge", 8, "16.03.2026 "},      {"luminance", 10, "16/03/2026 "},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct table t = table_read(&folder, "loud", rows[i].station, "2026031");
        const size_t length = strlen(rows[i].begins);
        size_t last_day = 0;
        for (size_t r = 0; r < t.rows; r++) {
            const char *const at = field(&t, r, rows[i].column);
            if (strncmp(at, rows[i].begins, length) == 0) {
                ck_assert_msg(strncmp(at + length, "06", 2) < 0, "%s: %s", rows[i].station, at);
                last_day++;
            }
        }
        ck_assert_uint_gt(last_day, 0);
        table_free(&t);
    }
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
    tcase_add_test(tests, mess_is_what_is_told);
    tcase_add_test(tests, unit_change_is_by_a_thousand);
    tcase_add_test(tests, nothing_is_later_than_the_last_shift);
    tcase_add_test(tests, totals_are_those_of_the_files);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
