/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Numbers gathered from a store whose truth is known by construction: which tiles carry the step,
 * how many are in walls, what is silent, held and due. No outside source is needed for counts.
 */
#include "andamento/base/instant.h"
#include "judge/expected.h"
#include "report/definition.h"
#include "report/period_data.h"
#include "report/wording.h"
#include "support.h"
#include "support_store.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static struct mill mill;
static struct an_report_definition definition;
static struct an_period_data data;

static const char *no_advice(const char *code)
{
    return strcmp(code, "number.bad") ? NULL : "mend the mapping";
}

static void gather(const char *label)
{
    struct an_report_options options = {.program_version = "test", .held_advice = no_advice};
    const struct an_shift shift = mill_shift(&mill, label);
    ck_assert(an_report_of_shift(mill.line, &shift, mill.arena, &options, &mill.err) == AN_OK);
    ck_assert_int_eq(an_report_definition_read(an_report_definition_own(AN_REPORT_SHIFT), "own",
                                               mill.arena, &definition, &mill.err),
                     AN_OK);
    ck_assert_msg(!an_period_gather(mill.store, mill.line, &options, &definition, mill.arena, &data,
                                    &mill.err),
                  "%s", mill.err.text);
}

/* Tiles come every 20 minutes from 2 March 06:00 local: tile i at 06:00 + 20 i minutes. Tile 204
 * is at 2 March 06:00 + 68 h = 5 March 02:00, in the night shift of 4 March (22:00 to 06:00), which
 * holds tiles 192 to 215. */
enum { STEP_AT = 204, NIGHT_TILES = 24 };

START_TEST(step_is_told_whole)
{
    mill_open(&mill, STEP_AT);
    gather("2026-03-04 night");
    ck_assert_uint_eq(data.sheet_count, 2);
    ck_assert_int_eq(data.samples, 2 * NIGHT_TILES);
    ck_assert_int_eq(data.before_samples, 2 * NIGHT_TILES);
    ck_assert_uint_eq(data.judged_streams, 1);
    ck_assert_uint_ge(data.signal_count, 1); /* the moving range may see the step too */
    ck_assert_uint_eq(data.moved_streams, 1);
    ck_assert_uint_eq(data.new_streams, 1);
    ck_assert_uint_eq(data.open_signals, data.signal_count);
    const struct an_period_signal *one = &data.signals[0]; /* worst first */
    ck_assert_int_eq(one->signal.record.panel, 0);
    ck_assert(one->is_new);
    ck_assert(one->product);
    ck_assert_str_eq(one->kind, "tile");
    ck_assert_uint_eq(one->item_count, mill.tiles_after);
    ck_assert_str_eq(one->items[0].serial, "T-00205");
    ck_assert_str_eq(one->items[one->item_count - 1].serial, "T-00216");
    size_t in = 0;
    for (size_t i = 0; i < one->item_count; i++) {
        in += one->items[i].in != NULL;
    }
    ck_assert_uint_eq(in, mill.in_walls);
    ck_assert_uint_eq(one->signal.product_in_next, mill.in_walls);
    const struct an_stream_sheet *sheet = &data.sheets[one->sheet];
    ck_assert_str_eq(sheet->stream.name, "edge.resistance");
    ck_assert(sheet->single_values);
    ck_assert_int_eq(sheet->panel[0].points[(size_t)one->onset_at].at_us, mill.step_us);
    ck_assert_uint_eq(data.at_risk_count, 1);
    ck_assert_uint_eq(data.at_risk[0].items, mill.tiles_after);
    ck_assert_uint_eq(data.at_risk[0].in_next, mill.in_walls);
    ck_assert_str_eq(data.at_risk[0].first, "T-00205");
    ck_assert_str_eq(data.at_risk[0].last, "T-00216");
    mill_close(&mill);
}
END_TEST

/*
 * The rules in force are beyond_limit and run_one_side of 9: one false alarm in 216.7 points with known
 * limits, and .00589584 of points over the errors of 120 values and their moving ranges: a chain of 17
 * states by solve() over a grid of both errors, in base R. Of the points of the shift.
 */
START_TEST(false_alarms_are_expected)
{
    mill_open(&mill, MILL_TILES);
    gather("2026-03-04 night");
    ck_assert_double_eq_tol(data.expected_false, NIGHT_TILES * 0.00589584141551, 5e-5);
    mill_close(&mill);
}
END_TEST

/* What `limits show` adds up for the line, at the pace of its streams, is what the page tells of a shift
 * with that many samples: 24 tiles a shift, each shift of the mill. */
START_TEST(the_page_agrees_with_the_limits)
{
    struct an_stream *streams = NULL;
    struct an_expected_cache cache = {0};
    size_t count = 0;
    double line = 0.0;
    size_t judged = 0;
    mill_open(&mill, MILL_TILES);
    gather("2026-03-04 night");
    ck_assert(!an_store_streams(mill.store, mill.arena, &streams, &count, &mill.err));
    for (size_t i = 0; i < count; i++) {
        struct an_limits *limits = NULL;
        struct an_expected expected;
        struct an_pace pace;
        size_t revisions = 0;
        ck_assert(!an_limits_all(mill.store, streams[i].stream_id, mill.arena, &limits, &revisions,
                                 &mill.err));
        if (!revisions) {
            continue;
        }
        ck_assert(!an_pace_of(mill.store, mill.line, streams[i].stream_id, &pace, &mill.err));
        ck_assert(pace.samples_per_shift == NIGHT_TILES && !pace.by_day);
        ck_assert(pace.shift_hours == 8.0);
        ck_assert(
            !an_expected_of(&limits[revisions - 1], &cache, mill.arena, &expected, &mill.err));
        line += an_expected_false_alarms(&expected, an_expected_points(&expected, &pace));
        judged++;
    }
    ck_assert_uint_eq(judged, 1);
    ck_assert_double_eq_tol(line, data.expected_false, 1e-12 * line);
    mill_close(&mill);
}
END_TEST

START_TEST(facts_name_everything)
{
    static const char *const names[] = {"Chart",
                                        "Limits in force",
                                        "Locked",
                                        "Baseline",
                                        "Sigma",
                                        "Rules in force",
                                        "Gauge",
                                        "Sampling",
                                        "Spec",
                                        "Capability",
                                        "False alarms to expect"};
    mill_open(&mill, STEP_AT);
    gather("2026-03-04 night");
    const struct an_stream_sheet *sheet = &data.sheets[data.signals[0].sheet];
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        bool there = false;
        for (size_t k = 0; k < sheet->fact_count; k++) {
            there = there || !strcmp(sheet->facts[k].name, names[i]);
        }
        ck_assert_msg(there, "no fact '%s'", names[i]);
    }
    for (size_t k = 0; k < sheet->fact_count; k++) {
        const char *text = sheet->facts[k].text;
        if (!strcmp(sheet->facts[k].name, "Locked")) {
            ck_assert_ptr_nonnull(strstr(text, "R. Alba"));
            ck_assert_ptr_nonnull(strstr(text, " 2026, for values from "));
            ck_assert_ptr_nonnull(strstr(text, "first days after the fixture was set"));
        } else if (!strcmp(sheet->facts[k].name, "Baseline")) {
            ck_assert_ptr_nonnull(strstr(text, "120 samples"));
        } else if (!strcmp(sheet->facts[k].name, "Gauge")) {
            ck_assert_ptr_nonnull(strstr(text, "ohmmeter 7"));
        } else if (!strcmp(sheet->facts[k].name, "Spec")) {
            ck_assert_str_eq(text, "target 2, lower 1.5, upper 2.5 ohm");
        } else if (!strcmp(sheet->facts[k].name, "Capability")) {
            ck_assert_ptr_nonnull(strstr(text, "no Cpk")); /* never of a stream that moved */
        }
    }
    mill_close(&mill);
}
END_TEST

START_TEST(missing_is_named)
{
    mill_open(&mill, STEP_AT);
    mill_add_trouble(&mill);
    gather("2026-03-04 night");
    ck_assert_uint_eq(data.no_limits.count, 1);
    ck_assert_str_eq(data.no_limits.at[0], "Haze");
    ck_assert_uint_eq(data.held_file_count, 1);
    ck_assert_str_eq(data.held_files[0].code, "file.no_station");
    int64_t rows = 0;
    for (size_t i = 0; i < data.held_count; i++) {
        if (!strcmp(data.held[i].code, "number.bad")) {
            rows += data.held[i].rows;
            ck_assert_str_eq(data.held[i].station, "edge");
            ck_assert_str_eq(data.held[i].advice, "mend the mapping");
            ck_assert_ptr_nonnull(strstr(data.held[i].example, "line 4"));
        }
    }
    ck_assert_int_eq(rows, 3);
    ck_assert_uint_eq(data.station_count, 3); /* in the description's order */
    ck_assert_str_eq(data.stations[0].name, "edge");
    ck_assert_str_eq(data.stations[2].name, "walls");
    mill_close(&mill);
}
END_TEST

/* The last tile is at 5 March 05:40 local. The store's clock stands at 07:10 local, inside the next
 * shift: an edge contact that counts as silent after 2 h is not silent yet. Seen from 20:00 UTC, past
 * the end of that shift at 14:00, it is. */
START_TEST(silence_is_measured_to_the_end)
{
    mill_open(&mill, STEP_AT);
    gather("2026-03-05 early");
    ck_assert(data.running);
    ck_assert_int_eq(data.as_of_us, INT64_C(1772691000000000)); /* 2026-03-05T06:10:00Z */
    ck_assert(!data.stations[0].silent);
    ck_assert_int_eq(data.samples, 0);
    ck_assert_uint_eq(data.absent.count, 2);
    mill_close(&mill);
    mill_open(&mill, STEP_AT);
    setenv("ANDAMENTO_CLOCK", "2026-03-05T20:00:00Z", 1);
    mill_add_trouble(&mill);
    gather("2026-03-05 early");
    ck_assert(!data.running);
    ck_assert_int_eq(data.as_of_us, data.now.until_us);
    ck_assert(data.stations[0].silent);
    ck_assert_int_eq(data.stations[0].last_us,
                     mill.start_us + (MILL_TILES - 1) * 20 * AN_MINUTE_US);
    ck_assert(!data.stations[1].silent); /* its description names no measure */
    mill_close(&mill);
}
END_TEST

START_TEST(earlier_signals_are_due)
{
    mill_open(&mill, 150); /* 4 March 08:00: early shift */
    gather("2026-03-05 early");
    ck_assert_uint_eq(data.signal_count, 0);
    bool told = false; /* false alarms of the baseline may stand before it */
    for (size_t i = 0; i < data.due_count; i++) {
        ck_assert_str_eq(data.due[i].title, "Edge resistance");
        told = told || data.due[i].signal_us == mill.step_us;
    }
    ck_assert(told);
    ck_assert_uint_eq(data.limits_locked, 1);
    ck_assert_uint_eq(data.before_moved, 1); /* it was still out in the night */
    mill_close(&mill);
}
END_TEST

START_TEST(empty_store_gathers)
{
    mill_open_empty(&mill);
    gather("2026-03-04 night");
    ck_assert_uint_eq(data.sheet_count, 0);
    ck_assert_uint_eq(data.signal_count, 0);
    ck_assert_uint_eq(data.station_count, 3);
    ck_assert_ptr_nonnull(strstr(an_say_lead(mill.arena, &data), "no samples yet"));
    mill_close(&mill);
}
END_TEST

/* A stream whose characteristic the description lost is charted, named, and nothing breaks. */
START_TEST(lost_characteristic_is_named)
{
    mill_open(&mill, STEP_AT);
    struct an_line *full = mill.line;
    static const char less[] = "line: ponente\n"
                               "zone: Europe/Rome\n"
                               "shifts: {early: 06:00, late: 14:00, night: 22:00}\n"
                               "kinds: {tile: {product: yes}}\n"
                               "stations:\n"
                               "  edge:\n"
                               "    time: {column: at}\n"
                               "    item: {kind: tile, column: tile}\n"
                               "    characteristics:\n"
                               "      other: {column: o, unit: ohm}\n";
    ck_assert_int_eq(
        an_line_read(an_bytes_of(less), "less.yaml", ".", NULL, NULL, &mill.line, &mill.err),
        AN_OK);
    gather("2026-03-04 night");
    ck_assert_uint_eq(data.gone.count, 2);
    ck_assert_uint_eq(data.sheet_count, 2);
    an_line_close(mill.line);
    mill.line = full;
    mill_close(&mill);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("report gather");
    TCase *tests = tcase_create("numbers");
    tcase_add_test(tests, step_is_told_whole);
    tcase_add_test(tests, false_alarms_are_expected);
    tcase_add_test(tests, the_page_agrees_with_the_limits);
    tcase_add_test(tests, facts_name_everything);
    tcase_add_test(tests, missing_is_named);
    tcase_add_test(tests, silence_is_measured_to_the_end);
    tcase_add_test(tests, earlier_signals_are_due);
    tcase_add_test(tests, empty_store_gathers);
    tcase_add_test(tests, lost_characteristic_is_named);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? 1 : 0;
}
