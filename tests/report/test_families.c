/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Sheets of the chart families that are no plain row of values: what is a point, what stands beside
 * it, which words name it. One line whose truth is known by construction; no outside source is
 * needed for counts and words, closed forms are named where numbers are compared.
 */
#include "andamento/base/instant.h"
#include "andamento/stat/rules.h"
#include "report/definition.h"
#include "report/period_data.h"
#include "support.h"
#include "support_store.h"

#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TILES = 216, BASELINE = 150, QUIET_UNTIL = 200, MOVED_AT = 195, TOOL = 60, SPIKE_AT = 205 };

static const char line_text[] =
    "line: levante\n"
    "zone: Europe/Rome\n"
    "shifts: {early: 06:00, late: 14:00, night: 22:00}\n"
    "kinds: {tile: {product: yes}}\n"
    "stations:\n"
    "  all:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      dropped: {title: Emitters dropped, count: dropped, opportunities: 1000, family: g}\n"
    "      cracks: {title: Cracks, count: cracks, family: t}\n"
    "      depth: {title: Scribe depth, column: depth, unit: um, family: wear,\n"
    "              life_column: cycles, spec: {upper: 60}}\n"
    "      current: {title: Lamp current, column: current, unit: A, family: individuals,\n"
    "                weighted: cusum}\n"
    "      torque: {title: Screw torque, column: torque, unit: N m, family: individuals,\n"
    "               weighted: moving_average}\n"
    "      dose: {title: UV dose, column: dose, unit: mJ/cm2, family: residuals}\n"
    "      dx: {title: Offset in x, column: dx, unit: um, family: individuals, signals: no}\n"
    "      dy: {title: Offset in y, column: dy, unit: um, family: individuals, signals: no}\n"
    "      both: {title: Placement, derived: {how: together, of: [dx, dy]}, family: mewma}\n";

static struct mill mill;
static struct an_report_definition definition;
static struct an_period_data data;

#define OK(call) ck_assert_msg((call) == AN_OK, "%s: %s", #call, mill.err.text)

static void tell(void *context, const char *path, uint64_t line, uint64_t column, const char *text)
{
    (void)context;
    fprintf(stderr, "%s:%llu:%llu: %s\n", path, (unsigned long long)line,
            (unsigned long long)column, text);
}

static double noise(uint64_t *state)
{
    double sum = 0; /* of twelve uniform numbers: nearly normal, sigma 1 */
    for (int k = 0; k < 12; k++) {
        *state = *state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
        sum += (double)(*state >> 11) / 9007199254740992.0;
    }
    return sum - 6.0;
}

/* An event every fourth tile; then none for 52 tiles; then one each. */
static bool has_event(int i)
{
    return i < BASELINE ? i % 4 == 0 : i >= QUIET_UNTIL;
}

struct put {
    struct an_visit visit;
    int64_t at_us;
    const char *ribbon;
};

static void sample(const struct put *put, const char *name, double value, double count,
                   double opportunities)
{
    const bool counted = isnan(value);
    struct an_sample s = {.visit_id = put->visit.visit_id,
                          .item_id = put->visit.item_id,
                          .file_id = put->visit.file_id,
                          .at_us = put->at_us,
                          .shift_from_us = put->visit.shift_from_us,
                          .n = counted ? 0 : 1,
                          .mean = value,
                          .min = value,
                          .max = value,
                          .count = count,
                          .opportunities = opportunities,
                          .decimals = 3,
                          .ribbon = put->ribbon,
                          .first_line = put->visit.first_line,
                          .last_line = put->visit.last_line};
    OK(an_store_stream(mill.store, "all", name, "", &s.stream_id, &mill.err));
    OK(an_store_put_sample(mill.store, &s, &mill.err));
}

static void put_column(int64_t file_id, const char *column, const int64_t *scaled, int decimals)
{
    const struct an_number_block block = {.rows = TILES, .scaled = scaled, .decimals = decimals};
    OK(an_store_put_numbers(mill.store, file_id, column, 0, &block, &mill.err));
}

static void fill(void)
{
    static int64_t lines[TILES], visits[TILES], depths[TILES];
    uint64_t state = 20260302;
    double memory = 0;
    struct an_file file = {.hash = an_sha256_of("all", 3),
                           .bytes = 100,
                           .name = "all",
                           .path = "all",
                           .station = "all",
                           .modified_us = AN_NO_INSTANT,
                           .known_us = an_clock_now_us(),
                           .line_revision = 1,
                           .rows = TILES,
                           .taken = TILES,
                           .first_us = mill.start_us,
                           .last_us = mill.start_us + (TILES - 1) * 20 * AN_MINUTE_US};
    OK(an_store_begin(mill.store, &mill.err));
    OK(an_store_next_file(mill.store, &file.file_id, &mill.err));
    for (int i = 0; i < TILES; i++) {
        char serial[32];
        char life[16];
        struct put put = {.at_us = mill.start_us + i * 20 * AN_MINUTE_US, .ribbon = NULL};
        snprintf(serial, sizeof serial, "T-%05d", i + 1);
        put.visit =
            (struct an_visit){.file_id = file.file_id,
                              .first_us = put.at_us,
                              .last_us = put.at_us,
                              .shift_from_us = an_line_shift_at(mill.line, put.at_us).from_us,
                              .shift = "",
                              .first_line = (uint64_t)i + 2,
                              .last_line = (uint64_t)i + 2,
                              .rows = 1,
                              .rows_digest = an_sha256_of(serial, strlen(serial))};
        OK(an_store_item(mill.store, "tile", an_bytes_of(serial), file.file_id, &put.visit.item_id,
                         &mill.err));
        OK(an_store_put_visit(mill.store, &put.visit, &mill.err));
        lines[i] = i + 2;
        visits[i] = put.visit.visit_id;
        sample(&put, "dropped", NAN, has_event(i), 1000);
        sample(&put, "cracks", NAN, has_event(i), NAN);
        sample(&put, "current", 14 + 0.1 * noise(&state) + (i >= MOVED_AT ? 0.3 : 0), NAN, NAN);
        sample(&put, "torque", 3 + (i % 7) * 0.01 + (i >= MOVED_AT ? 0.2 : 0), NAN, NAN);
        memory = 0.7 * memory + noise(&state) + (i >= MOVED_AT ? 4 : 0);
        sample(&put, "dose", 800 + memory, NAN, NAN);
        const double dx = 0.4 * noise(&state) + (i >= MOVED_AT ? 0.9 : 0);
        sample(&put, "dx", dx, NAN, NAN);
        sample(&put, "dy", 0.3 * noise(&state), NAN, NAN);
        sample(&put, "both", dx, NAN, NAN);
        depths[i] = llrint(1000 * (45 + 0.1 * (i % TOOL) + 0.3 * noise(&state))) +
                    (i == SPIKE_AT ? 4000 : 0);
        snprintf(life, sizeof life, "%d", 10 * (i % TOOL));
        put.ribbon = life;
        sample(&put, "depth", (double)depths[i] / 1000, NAN, NAN);
    }
    put_column(file.file_id, AN_COLUMN_LINE, lines, 0);
    put_column(file.file_id, AN_COLUMN_VISIT, visits, 0);
    put_column(file.file_id, "depth", depths, 3);
    OK(an_store_put_file(mill.store, &file, &mill.err));
    OK(an_store_commit(mill.store, &mill.err));
}

static void lock_all(void)
{
    static const char *const names[] = {"dropped", "cracks", "depth", "current",
                                        "dose",    "both",   "torque"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        char name[64];
        struct an_stream stream = {0};
        struct an_limits limits = {0};
        const struct an_baseline_choice choice = {
            .from_us = AN_NO_INSTANT, .until_us = mill.start_us + BASELINE * 20 * AN_MINUTE_US};
        snprintf(name, sizeof name, "all.%s", names[i]);
        OK(an_store_find_stream(mill.store, name, mill.arena, &stream, &mill.err));
        OK(an_limits_propose(mill.store, mill.line, stream.stream_id, &choice, mill.arena, &limits,
                             &mill.err));
        OK(an_limits_lock(mill.store, stream.stream_id, AN_NO_INSTANT, "R. Alba", "first days",
                          &mill.err));
    }
    struct an_check_result result = {0};
    OK(an_check_all(mill.store, mill.line, false, &result, &mill.err));
}

/* Tile 192 is the first of the night of 4 March, as in test_gather.c. */
static void open_all(void)
{
    mill = (struct mill){0};
    setenv("ANDAMENTO_CLOCK", "2026-03-05T06:10:00Z", 1);
    mill.arena = an_arena_open();
    OK(an_line_read(an_bytes_of(line_text), "line.yaml", ".", tell, NULL, &mill.line, &mill.err));
    mill.path = fresh_path(mill.arena, "line.store");
    OK(an_store_open(mill.path, AN_STORE_CREATE, &mill.store, &mill.err));
    int64_t revision = 0;
    bool is_new = false;
    OK(an_store_put_line(mill.store, mill.line->source, ".", &revision, &is_new, &mill.err));
    mill.start_us = INT64_C(1772427600000000); /* 2026-03-02T05:00:00Z, early shift in Rome */
    fill();
    lock_all();
    struct an_report_options options = {.program_version = "test", .context = 400};
    const struct an_shift shift = mill_shift(&mill, "2026-03-04 night");
    OK(an_report_of_shift(mill.line, &shift, mill.arena, &options, &mill.err));
    OK(an_report_definition_read(an_report_definition_own(AN_REPORT_SHIFT), "own", mill.arena,
                                 &definition, &mill.err));
    OK(an_period_gather(mill.store, mill.line, &options, &definition, mill.arena, &data,
                        &mill.err));
}

static void close_all(void)
{
    mill_close(&mill);
}

static const struct an_stream_sheet *sheet_of(const char *name)
{
    for (size_t i = 0; i < data.sheet_count; i++) {
        if (!strcmp(data.sheets[i].stream.name, name)) {
            return &data.sheets[i];
        }
    }
    ck_abort_msg("no sheet %s", name);
    return NULL;
}

static const char *fact_of(const struct an_stream_sheet *sheet, const char *name)
{
    for (size_t i = 0; i < sheet->fact_count; i++) {
        if (!strcmp(sheet->facts[i].name, name)) {
            return sheet->facts[i].text;
        }
    }
    ck_abort_msg("%s has no fact '%s'", sheet->stream.name, name);
    return NULL;
}

static void says(const char *text, const char *part)
{
    ck_assert_msg(strstr(text, part) != NULL, "'%s' does not say '%s'", text, part);
}

static const struct an_period_signal *signal_of(const struct an_stream_sheet *sheet)
{
    for (size_t i = 0; i < data.signal_count; i++) {
        if (&data.sheets[data.signals[i].sheet] == sheet) {
            return &data.signals[i];
        }
    }
    ck_abort_msg("%s did not signal", sheet->stream.name);
    return NULL;
}

/* 37 gaps of 4,000 follow the first event of the baseline; the median of an exponential gap is ln 2
 * times its mean, 2,773 (closed form; the geometric one differs by less than 1). */
START_TEST(each_point_is_an_event)
{
    const struct an_stream_sheet *sheet = sheet_of("all.dropped");
    const struct an_panel_sheet *level = &sheet->panel[0];
    int events = 0;
    for (int i = 1; i < TILES; i++) { /* the first begins the first gap */
        events += has_event(i);
    }
    ck_assert_int_eq(sheet->form, AN_FORM_GAPS);
    ck_assert_uint_eq(level->count, (size_t)events);
    for (size_t i = 0; i < level->count; i++) {
        ck_assert(isfinite(level->points[i].value) && isfinite(level->points[i].ucl));
        ck_assert_int_eq(level->points[i].flagged, i == 37); /* the event after the long gap */
    }
    ck_assert_double_eq_tol(level->points[37].value, 52 * 1000, 1e-9);
    size_t flags = 0, bars = 0;
    for (size_t i = 0; i < level->signal_count; i++) { /* hits are told by their events */
        const struct an_plot_signal *bar = &level->signals[i];
        flags += !strcmp(bar->code, "B+") && bar->first == 37 && bar->last == 37;
        bars += !strcmp(bar->code, "R9-") && bar->first == 38 && bar->last == level->count - 1;
    }
    ck_assert_uint_eq(flags, 1);
    ck_assert_uint_eq(bars, 1);
    ck_assert_int_eq(sheet->period_samples, TILES - 192);
    ck_assert_int_eq(sheet->period_points, TILES - QUIET_UNTIL);
    says(level->statistic, "opportunities from one event to the next, each point an event");
    says(fact_of(sheet, "Limits in force"), "centre 2,770 (half the gaps are shorter)");
    says(fact_of(sheet, "Limits in force"), " opportunities");
    says(fact_of(sheet, "Learned"), "mean gap 4,000 opportunities from 37 events");
    says(fact_of(sheet, "Sampling"), "24 samples this shift, of them 16 with an event");
    says(fact_of(sheet, "False alarms to expect"), "in this shift's 16 events");
    size_t later = 0, sooner = 0;
    for (size_t i = 0; i < data.signal_count; i++) { /* the long gap, then the many events */
        const char *sentence = data.signals[i].signal.sentence;
        if (&data.sheets[data.signals[i].sheet] == sheet) {
            says(sentence, "0 opportunities from one to the next, where 4,000 is usual");
            later += strstr(sentence, "came later than luck explains") != NULL;
            sooner += strstr(sentence, "on average 1,000 opportunities") != NULL;
        }
    }
    ck_assert_uint_eq(later, 1);
    ck_assert_uint_eq(sooner, 1);
}
END_TEST

/* beyond_limit and run_one_side of 9 with known limits: one false alarm in 216.7 points, from a chain of 17
 * states by solve() in base R (test_gather.c has it with limits that were estimated). Of the 16 events of the
 * shift, not of its 24 samples. */
START_TEST(false_alarms_count_events)
{
    const struct an_stream_sheet *sheet = sheet_of("all.cracks");
    const double by_event = sheet->expected_false / 16;
    ck_assert_int_eq(sheet->period_points, 16);
    ck_assert_double_eq_tol(by_event, 1 / 216.7, 1e-5);
    says(fact_of(sheet, "Limits in force"), " h");
    /* the 3-sigma tail on a mean gap of 4/3 h: -ln(1 - 0.00135) * 4/3 = 0.0018 h; two decimals say 0 */
    says(fact_of(sheet, "Limits in force"), "lcl 0.0018");
}
END_TEST

START_TEST(a_new_tool_is_told)
{
    const struct an_stream_sheet *sheet = sheet_of("all.depth");
    const struct an_panel_sheet *level = &sheet->panel[0];
    ck_assert_int_eq(sheet->form, AN_FORM_WEAR);
    ck_assert_uint_eq(level->count, TILES);
    for (size_t i = 0; i < TILES; i++) {
        ck_assert_int_eq(level->points[i].anew, i > 0 && i % TOOL == 0);
        ck_assert_str_eq(level->points[i].ribbon, i < 3 * TOOL ? "0 to 590" : "0 to 350");
    }
    ck_assert(sheet->single_values);
    says(sheet->ribbon_title, "cycles");
    says(fact_of(sheet, "Wear"), "rises by 0.0");
    says(fact_of(sheet, "Wear"), " ± 0.000");
    says(fact_of(sheet, "End of life"), "stands at 350 cycles; its line reaches the upper spec "
                                        "limit, 60.00 um, at about 1,");
    /* 115 tiles of 20 minutes from life 350 at 05:40 on 5 March to about 1,500: late on 6 March */
    says(fact_of(sheet, "End of life"), "at its pace so far about 6 March");
    says(signal_of(sheet)->signal.sentence, "above the line of its wear");
}
END_TEST

START_TEST(both_sums_are_there)
{
    const struct an_stream_sheet *sheet = sheet_of("all.current");
    const struct an_panel_sheet *level = &sheet->panel[0];
    size_t apart = 0;
    ck_assert_int_eq(sheet->form, AN_FORM_SUMS);
    for (size_t i = 0; i < level->count; i++) {
        const struct an_plot_point *p = &level->points[i];
        ck_assert(p->upper >= 0 && p->lower <= 0);
        ck_assert_double_eq_tol(fabs(p->value), fmax(p->upper, -p->lower), 1e-12);
        apart += p->upper > 0 && p->lower < 0;
    }
    ck_assert_uint_gt(apart, 0);
    says(level->statistic, "cumulative sums, upper and lower");
    says(fact_of(sheet, "Limits in force"), "upper sum ");
    ck_assert_uint_eq(sheet->panel[1].count, level->count);
    says(fact_of(sheet, "Rules in force"), "the moving range is drawn and not judged");
    ck_assert(!strstr(fact_of(sheet, "False alarms to expect"), "both panels"));
    /* the level is that of the readings: 14 and, half of the shift, 0.3 more */
    ck_assert_double_eq_tol(sheet->level_now.mean, 14.3, 0.1);
}
END_TEST

/* No law is solved for moving averages: a number would be a guess, and 0.00 a false one. */
START_TEST(no_number_is_told_as_none)
{
    const struct an_stream_sheet *sheet = sheet_of("all.torque");
    says(fact_of(sheet, "Chart"), "moving average of ");
    says(fact_of(sheet, "False alarms to expect"), "no number: moving averages ");
    ck_assert(!strstr(fact_of(sheet, "False alarms to expect"), "0.00"));
}
END_TEST

START_TEST(both_variables_are_named)
{
    const struct an_stream_sheet *sheet = sheet_of("all.both");
    ck_assert_int_eq(sheet->form, AN_FORM_DISTANCE);
    says(sheet->panel[0].statistic, "weighted distance");
    says(sheet->panel[0].statistic, "dx and dy");
    ck_assert(!strstr(fact_of(sheet, "Rules in force"), "not judged")); /* it has no second panel */
    ck_assert(!strstr(fact_of(sheet, "False alarms to expect"), "both panels"));
    says(fact_of(sheet, "Chart"), "its limit, h4, is ");
    ck_assert(!strstr(fact_of(sheet, "Chart"), "sigmas"));
    says(fact_of(sheet, "Variables"), "dx (Offset in x) mean ");
    says(fact_of(sheet, "Variables"), "dy (Offset in y) mean ");
    says(fact_of(sheet, "Which moved"), "mean of the last 19 samples: dx 0.");
    says(fact_of(sheet, "Which moved"), " um above its mean (");
    says(fact_of(sheet, "Sampling"), "one sample an item, made of dx and dy; 24 samples");
    says(signal_of(sheet)->signal.sentence, "dx up by ");
}
END_TEST

START_TEST(a_residual_is_called_so)
{
    const struct an_stream_sheet *sheet = sheet_of("all.dose");
    const struct an_signal *signal = &signal_of(sheet)->signal;
    says(signal->sentence, "The residual of UV dose (its departure from what the last value leads "
                           "to expect) rose by ");
    says(signal->sentence, " mJ/cm2 (");
    says(signal->brief, "The residual of UV dose rose by ");
    ck_assert_int_eq(sheet->form, AN_FORM_DISTANCE);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("report families");
    TCase *tests = tcase_create("families");
    tcase_add_checked_fixture(tests, open_all, close_all);
    tcase_add_test(tests, each_point_is_an_event);
    tcase_add_test(tests, false_alarms_count_events);
    tcase_add_test(tests, a_new_tool_is_told);
    tcase_add_test(tests, both_sums_are_there);
    tcase_add_test(tests, no_number_is_told_as_none);
    tcase_add_test(tests, both_variables_are_named);
    tcase_add_test(tests, a_residual_is_called_so);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? 1 : 0;
}
