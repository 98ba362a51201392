/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What reports on one item choose and count, without a store: geometry of walls against facts of the
 * trade, which side a seam lies on, what a description makes a wall, an offset, a repair.
 */
#include "report/item_data.h"
#include "report/wall_geometry.h"

#include <check.h>
#include <math.h>
#include <string.h>

/* All of these are common practice, no source. */
START_TEST(a_square_array_has_n_times_the_diagonal)
{
    static const struct {
        int64_t n;
        double inches;
    } rows[] = {{6, 76}, {7, 89}, {8, 101}, {9, 114}};
    /* a tile of 12.65 inches, whatever its sides: 16:9 and square */
    static const double shares[] = {16.0 / 9.0, 1.0};
    for (size_t s = 0; s < 2; s++) {
        const double height = 12.65 / hypot(shares[s], 1);
        const double width = height * shares[s];
        for (size_t i = 0; i < 4; i++) {
            const double diagonal = an_wall_diagonal(rows[i].n, rows[i].n, width, height);
            ck_assert_double_eq_tol(diagonal, (double)rows[i].n * 12.65, 1e-9);
            ck_assert_double_eq(round(diagonal), rows[i].inches);
        }
    }
    ck_assert_double_nan(an_wall_diagonal(0, 3, 1, 1));
    ck_assert_double_nan(an_wall_diagonal(3, 3, 0, 1));
    ck_assert_double_nan(an_wall_diagonal(3, 3, 1, (double)NAN));
    ck_assert_double_eq_tol(an_wall_diagonal(1, 3, 1, 4), 5, 1e-12); /* 3 across, 4 down */
}
END_TEST

START_TEST(seams_corners_emitters_black)
{
    static const struct {
        int64_t rows, columns, seams, corners;
    } cases[] = {{8, 8, 112, 49}, {12, 12, 264, 121}, {2, 2, 4, 1}, {1, 1, 0, 0},
                 {1, 7, 6, 0},    {12, 7, 149, 66},   {0, 5, 0, 0}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        ck_assert_int_eq(an_wall_seam_count(cases[i].rows, cases[i].columns), cases[i].seams);
        ck_assert_int_eq(an_wall_seam_count(cases[i].columns, cases[i].rows), cases[i].seams);
        ck_assert_int_eq(an_wall_corner_count(cases[i].rows, cases[i].columns), cases[i].corners);
    }
    ck_assert_double_eq(an_emitter_count(3840, 2160, 3), 24883200);
    ck_assert_double_eq(an_emitter_count(7680, 4320, 3), 99532800);
    ck_assert_double_eq_tol(an_black_share(3, 40, 20, 0.5), 0.9904, 1e-12); /* 99 % black */
    ck_assert_double_nan(an_black_share(3, 40, 20, 0));
}
END_TEST

static const struct {
    bool in[4]; /* values in the first row, last row, first column, last column */
    int64_t rows, columns;
    enum an_seam_side side;
} side_rows[] = {
    {{true, true, true, false}, 8, 8, AN_SEAM_RIGHT},
    {{true, false, true, true}, 8, 8, AN_SEAM_BELOW},
    {{true, true, true, true}, 8, 8, AN_SEAM_NONE},   /* of the places themselves */
    {{true, false, true, false}, 8, 8, AN_SEAM_NONE}, /* cannot be told */
    {{true, true, true, false}, 1, 5, AN_SEAM_RIGHT}, /* one row */
    {{true, false, true, true}, 5, 1, AN_SEAM_BELOW},
    {{true, true, true, true}, 1, 1, AN_SEAM_NONE},
    {{false, false, false, false}, 4, 4, AN_SEAM_NONE},
};

START_TEST(a_seam_lies_where_the_last_places_have_none)
{
    const bool *in = side_rows[_i].in;
    ck_assert_int_eq(
        an_seam_side_of(in[0], in[1], in[2], in[3], side_rows[_i].rows, side_rows[_i].columns),
        side_rows[_i].side);
}
END_TEST

static const char yaml[] =
    "line: patio\n"
    "zone: UTC\n"
    "shifts: {day: 00:00}\n"
    "kinds:\n"
    "  tray: {}\n"
    "  plate: {product: yes}\n"
    "  panel: {title: big panel, product: yes}\n"
    "stations:\n"
    "  put:\n"
    "    folder: put\n"
    "    files: '*.csv'\n"
    "    columns: [plate, tray, r, c, x, y, at]\n"
    "    time: {column: at}\n"
    "    item: {kind: plate, column: plate, made_here: yes}\n"
    "    links:\n"
    "      - {column: tray, kind: tray, row_column: r, column_column: c}\n"
    "    characteristics:\n"
    "      x: {column: x, unit: um, grid: {row: r, column: c}, possible: {min: -9, max: 9}}\n"
    "      y: {column: y, unit: um, grid: {row: r, column: c}, possible: {min: -9, max: 9}}\n"
    "      off: {derived: {how: radial, of: [x, y]}, spec: {upper: 3}}\n"
    "  glow:\n"
    "    folder: glow\n"
    "    files: '*.csv'\n"
    "    columns: [plate, tint, r, c, shine, heat, at]\n"
    "    time: {column: at}\n"
    "    item: {kind: plate, column: plate}\n"
    "    characteristics:\n"
    "      shine: {column: shine, unit: cd/m2, split: tint, grid: {row: r, column: c}, possible: {min: 0, max: 9000}}\n"
    "      heat: {column: heat, unit: degC, grid: {row: r, column: c}, possible: {min: 0, max: 90}}\n"
    "      jump: {derived: {how: neighbour_step, of: shine}, unit: '%', split: tint, only: {column: tint, words: [pale]}, spec: {upper: 9}}\n"
    "  mend:\n"
    "    folder: mend\n"
    "    files: '*.csv'\n"
    "    columns: [plate, go, at]\n"
    "    time: {column: at}\n"
    "    item: {kind: plate, column: plate}\n"
    "    attempt_column: go\n"
    "    characteristics:\n"
    "      go: {column: go, unit: '1', possible: {min: 0, max: 9}}\n"
    "  hang:\n"
    "    folder: hang\n"
    "    files: '*.csv'\n"
    "    columns: [panel, plate, down, across, slit, at]\n"
    "    time: {column: at}\n"
    "    item: {kind: panel, column: panel, made_here: yes}\n"
    "    links:\n"
    "      - {column: plate, kind: plate, row_column: down, column_column: across}\n"
    "    characteristics:\n"
    "      slit: {column: slit, unit: um, grid: {row: down, column: across}, possible: {min: 0, max: 99}}\n";

static struct an_line *line;

static void mistake(void *context, const char *path, uint64_t row, uint64_t column,
                    const char *text)
{
    (void)context;
    ck_abort_msg("%s:%d:%d: %s", path, (int)row, (int)column, text);
}

static void set_up(void)
{
    struct an_error err = {0};
    ck_assert_msg(!an_line_read(an_bytes_of(yaml), "line.yaml", ".", mistake, NULL, &line, &err),
                  "%s", err.text);
}

static void tear_down(void)
{
    an_line_close(line);
}

START_TEST(products_placed_in_it_make_a_wall)
{
    ck_assert(an_kind_has_places(line, "panel"));
    ck_assert(!an_kind_has_places(line, "plate")); /* though trays have places in it */
    ck_assert(!an_kind_has_places(line, "tray"));
    ck_assert(!an_kind_has_places(line, "moon"));
    ck_assert_str_eq(an_kind_title(line, "panel"), "big panel");
    ck_assert_str_eq(an_kind_title(line, "moon"), "moon");
    ck_assert(an_kind_is_product(line, "plate") && !an_kind_is_product(line, "tray"));
}
END_TEST

static const struct an_characteristic *find(const char *station, const char *name)
{
    const size_t s = an_line_station(line, an_bytes_of(station));
    const size_t c = an_line_characteristic(line, s, an_bytes_of(name));
    ck_assert(s != AN_NONE && c != AN_NONE);
    return &line->characteristics[c];
}

START_TEST(offsets_and_repairs_are_declared)
{
    size_t across = AN_NONE;
    size_t down = AN_NONE;
    const size_t plate = an_line_kind(line, an_bytes_of("plate"));
    ck_assert(an_choose_offsets(line, plate, &across, &down));
    ck_assert_ptr_eq(&line->characteristics[across], find("put", "x"));
    ck_assert_ptr_eq(&line->characteristics[down], find("put", "y"));
    ck_assert(!an_choose_offsets(line, an_line_kind(line, an_bytes_of("panel")), &across, &down));
    for (size_t s = 0; s < line->station_count; s++) {
        const struct an_station *station = &line->stations[s];
        ck_assert_int_eq(an_is_repair(station, NULL), !strcmp(station->name, "mend"));
        ck_assert_int_eq(an_is_repair(station, "glow"), !strcmp(station->name, "glow"));
    }
}
END_TEST

/* The characteristic that a neighbour step is made of, in the split that the step is of. */
START_TEST(the_picture_is_what_is_looked_at_as_a_surface)
{
    struct an_value_stream streams[] = {
        {.characteristic = find("put", "x"), .stream = {.split = ""}, .items = 4},
        {.characteristic = find("glow", "shine"), .stream = {.split = "tint=dark"}, .items = 4},
        {.characteristic = find("glow", "shine"), .stream = {.split = "tint=pale"}, .items = 4},
        {.characteristic = find("glow", "shine"), .stream = {.split = "tint=paler"}, .items = 4},
        {.characteristic = find("glow", "heat"), .stream = {.split = ""}, .items = 4},
        {.characteristic = find("mend", "go"), .stream = {.split = ""}, .items = 4}};
    struct an_item_values values = {.streams = streams, .stream_count = 6};
    ck_assert_uint_eq(an_choose_picture(line, &values), 2);
    streams[2].items = 0; /* no value of it: the last one measured on a grid */
    ck_assert_uint_eq(an_choose_picture(line, &values), 4);
    streams[0].items = streams[1].items = streams[3].items = streams[4].items = 0;
    ck_assert_uint_eq(an_choose_picture(line, &values), 5); /* the last one measured */
    streams[5].items = 0;
    ck_assert_uint_eq(an_choose_picture(line, &values), AN_NONE);
}
END_TEST

START_TEST(the_furthest_out_is_told_and_beyond_before_all)
{
    struct an_value_stream streams[3] = {{.column = 0}, {.column = 0}, {.column = 1}};
    struct an_item_value at[3] = {{.value = 5, .z = 2.5, .times = 1},
                                  {.value = 7, .z = -2.9, .times = 1},
                                  {.value = 9, .z = 8, .times = 1}};
    const struct an_item_values values = {
        .item_count = 1, .streams = streams, .stream_count = 3, .at = at};
    const struct an_value_stream *stream = NULL;
    ck_assert_ptr_eq(an_column_value(&values, 0, 0, &stream), &at[1]);
    ck_assert_ptr_eq(stream, &streams[1]);
    at[0].beyond = true;
    ck_assert_ptr_eq(an_column_value(&values, 0, 0, &stream), &at[0]);
    at[0].times = at[1].times = 0;
    ck_assert_ptr_null(an_column_value(&values, 0, 0, &stream));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("reports on one item");
    TCase *geometry = tcase_create("geometry");
    tcase_add_test(geometry, a_square_array_has_n_times_the_diagonal);
    tcase_add_test(geometry, seams_corners_emitters_black);
    tcase_add_loop_test(geometry, a_seam_lies_where_the_last_places_have_none, 0,
                        (int)(sizeof side_rows / sizeof side_rows[0]));
    suite_add_tcase(suite, geometry);
    TCase *choice = tcase_create("choice");
    tcase_add_checked_fixture(choice, set_up, tear_down);
    tcase_add_test(choice, products_placed_in_it_make_a_wall);
    tcase_add_test(choice, offsets_and_repairs_are_declared);
    tcase_add_test(choice, the_picture_is_what_is_looked_at_as_a_surface);
    tcase_add_test(choice, the_furthest_out_is_told_and_beyond_before_all);
    suite_add_tcase(suite, choice);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
