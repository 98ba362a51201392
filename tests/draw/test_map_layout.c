/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where things stand on a map, and that whole maps can be drawn and read in grey. What is right here
 * follows from what a map means, so it is computed from the input and not from earlier output.
 * With AN_KEEP_PAGES=FOLDER the sample page is kept there for a person.
 */
#include "draw/map_layout.h"
#include "support.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static struct an_canvas *canvas;
static struct an_arena *arena;
static const struct an_box panel = {30, 40, 535, 330};

enum { MOST = 150 };
struct wall { /* a map and all it points at */
    struct an_map map;
    struct an_map_cell cells[MOST];
    struct an_map_seam seams[2 * MOST];
    struct an_map_arrow arrows[MOST];
    struct an_map_spot spots[MOST];
};

static struct wall wall_of(int64_t rows, int64_t columns)
{
    struct wall w = {.map = {.title = "Luminance of white, mean of a tile",
                             .unit = "cd/m2",
                             .decimals = 1,
                             .first_row = 1,
                             .last_row = rows,
                             .first_column = 1,
                             .last_column = columns,
                             .low = NAN,
                             .high = NAN,
                             .seam_high = NAN,
                             .arrow_high = NAN,
                             .seam_words = "step at a seam",
                             .seam_unit = "%",
                             .seam_decimals = 1,
                             .count_words = "repairs",
                             .open_words = "open signal",
                             .beyond_words = "beyond its control limits"}};
    uint64_t state = 7;
    for (int64_t row = 1; row <= rows; row++) {
        for (int64_t column = 1; column <= columns; column++) {
            struct an_map_cell *cell = &w.cells[w.map.cell_count++];
            *cell = (struct an_map_cell){.row = row,
                                         .column = column,
                                         .value = 400 + 8 * sample_normal(&state),
                                         .label = "TX-00123"};
            cell->count = sample_uniform(&state) < 0.2 ? 3 : 0;
            cell->marks = sample_uniform(&state) < 0.1 ? AN_MAP_OPEN : 0;
            if (column < columns) {
                w.seams[w.map.seam_count++] =
                    (struct an_map_seam){row, column, false, 2 * sample_normal(&state), false};
            }
            if (row < rows) {
                w.seams[w.map.seam_count++] =
                    (struct an_map_seam){row, column, true, 2 * sample_normal(&state), false};
            }
        }
    }
    return w;
}

/* The struct may be copied about, so its pointers are set last. */
static const struct an_map *whole(struct wall *w)
{
    w->map.cells = w->cells;
    w->map.seams = w->seams;
    w->map.arrows = w->arrows;
    w->map.spots = w->spots;
    return &w->map;
}

static void open_all(void)
{
    scratch_open();
    ck_assert_int_eq(an_canvas_open_svg(scratch_path("m.svg"), 600, 400, &canvas, NULL), AN_OK);
    arena = an_arena_open();
    ck_assert_ptr_nonnull(arena);
}

static void close_all(void)
{
    an_arena_close(arena);
    an_canvas_abandon(canvas);
    scratch_close();
}

static struct an_map_layout lay(struct wall *w, const struct an_box *box)
{
    struct an_map_layout layout;
    ck_assert_int_eq(an_map_lay(canvas, arena, box, whole(w), &layout), AN_OK);
    return layout;
}

static const int64_t grids[][2] = {{1, 1}, {2, 2}, {8, 8}, {12, 7}, {7, 12}, {1, 9}, {5, 7}};

START_TEST(cells_fill_the_grid_and_stay_in_the_box)
{
    const int64_t rows = grids[_i][0];
    const int64_t columns = grids[_i][1];
    struct wall w = wall_of(rows, columns);
    const struct an_map_layout l = lay(&w, &panel);
    ck_assert_int_eq(l.rows, rows);
    ck_assert_int_eq(l.columns, columns);
    ck_assert(l.used <= panel.height + 1e-9);
    for (int64_t i = 0; i < rows * columns; i++) {
        const struct an_box *box = &l.places[i].box;
        ck_assert_double_eq_tol(box->x, l.grid.x + (double)(i % columns) * (l.cell_width + l.gap),
                                1e-9);
        ck_assert_double_eq_tol(box->y, l.grid.y + (double)(i / columns) * (l.cell_height + l.gap),
                                1e-9);
        ck_assert(box->x >= panel.x && box->x + box->width <= panel.x + panel.width + 1e-9);
        ck_assert(box->y >= panel.y && box->y + box->height <= panel.y + panel.height + 1e-9);
        ck_assert_ptr_eq(l.places[i].cell, &w.cells[i]);
    }
    /* common practice, no source: an n x m array has n(m-1) + m(n-1) seams */
    ck_assert_uint_eq(l.bar_count, (size_t)(rows * (columns - 1) + columns * (rows - 1)));
}
END_TEST

START_TEST(a_bar_stands_between_its_two_cells)
{
    struct wall w = wall_of(5, 7);
    const struct an_map_layout l = lay(&w, &panel);
    double thickest = 0;
    for (size_t i = 0; i < l.bar_count; i++) {
        const struct an_map_bar *bar = &l.bars[i];
        const struct an_map_seam *seam = bar->seam;
        const int64_t at = (seam->row - 1) * 7 + seam->column - 1;
        const struct an_box *one = &l.places[at].box;
        const struct an_box *other = &l.places[at + (seam->below ? 7 : 1)].box;
        if (seam->below) {
            ck_assert(bar->box.y >= one->y + one->height &&
                      bar->box.y + bar->box.height <= other->y);
            ck_assert_double_eq_tol(bar->box.y + bar->box.height / 2,
                                    (one->y + one->height + other->y) / 2, 1e-9);
        } else {
            ck_assert(bar->box.x >= one->x + one->width && bar->box.x + bar->box.width <= other->x);
            ck_assert_double_eq_tol(bar->box.x + bar->box.width / 2,
                                    (one->x + one->width + other->x) / 2, 1e-9);
        }
        const double thickness = seam->below ? bar->box.height : bar->box.width;
        ck_assert_double_eq_tol(thickness,
                                fmax(0.4, fabs(seam->value) / l.seam_high * (l.gap - 0.6)), 1e-9);
        thickest = fmax(thickest, thickness);
    }
    ck_assert_double_eq_tol(thickest, l.gap - 0.6, 1e-9); /* the largest fills its gap */
}
END_TEST

START_TEST(classes_part_the_scale_evenly)
{
    struct wall w = wall_of(2, 2);
    w.map.low = 0;
    w.map.high = 60;
    const struct an_map_layout l = lay(&w, &panel);
    ck_assert_int_eq(l.classes, AN_MAP_CLASSES);
    for (int i = 0; i < l.classes; i++) {
        ck_assert_double_eq_tol(an_map_bound(&l, i), 60.0 * i / l.classes, 1e-9);
        ck_assert_int_eq(an_map_class(&l, an_map_bound(&l, i) + 1e-6), i);
        ck_assert_int_eq(an_map_class(&l, an_map_bound(&l, i + 1) - 1e-6), i);
    }
    ck_assert_int_eq(an_map_class(&l, -1e300), 0);
    ck_assert_int_eq(an_map_class(&l, 1e300), l.classes - 1);
    ck_assert_int_eq(an_map_class(&l, (double)NAN), -1);
    ck_assert_int_eq(an_map_class(&l, (double)INFINITY), -1);
}
END_TEST

START_TEST(differences_have_nothing_in_the_middle)
{
    struct wall w = wall_of(1, 3);
    w.map.difference = true;
    w.cells[0].value = -6;
    w.cells[1].value = 0;
    w.cells[2].value = 2;
    const struct an_map_layout l = lay(&w, &panel);
    ck_assert_double_eq(l.low, -6);
    ck_assert_double_eq(l.high, 6);
    ck_assert_int_eq(l.classes % 2, 1);
    ck_assert_int_eq(l.places[0].tone, 0);
    ck_assert_int_eq(l.places[1].tone, l.classes / 2);
    ck_assert_int_eq(an_map_class(&l, 6), l.classes - 1);
}
END_TEST

START_TEST(values_all_alike_have_a_scale)
{
    struct wall w = wall_of(2, 2);
    for (size_t i = 0; i < 4; i++) {
        w.cells[i].value = 400;
    }
    const struct an_map_layout l = lay(&w, &panel);
    ck_assert(l.low < 400 && l.high > 400);
}
END_TEST

START_TEST(numbers_stand_inside_their_cells_or_not_at_all)
{
    static const double sides[] = {20, 60, 120, 200, 330, 700};
    size_t with = 0;
    size_t without = 0;
    for (size_t k = 0; k < sizeof sides / sizeof sides[0]; k++) {
        struct wall w = wall_of(8, 8);
        const struct an_box box = {0, 0, sides[k], sides[k]};
        const struct an_map_layout l = lay(&w, &box);
        if (!(l.number_pt > 0)) {
            without++;
            ck_assert(!l.labels || l.cell_height >= AN_MAP_TYPE_PT);
            continue;
        }
        with++;
        ck_assert(l.number_pt >= AN_MAP_TYPE_PT);
        const struct an_type type = {l.number_pt, AN_BOLD, AN_INK, AN_CENTRE};
        for (size_t i = 0; i < w.map.cell_count; i++) {
            const char *text = an_map_number(arena, w.cells[i].value, w.map.decimals);
            ck_assert(an_text_width(canvas, &type, text) <= l.cell_width - 3.9);
        }
        ck_assert(l.number_pt <= l.cell_height);
    }
    ck_assert(with > 0 && without > 0);
}
END_TEST

START_TEST(numbers_are_written_plainly)
{
    static const struct {
        double value;
        int decimals;
        const char *text;
    } cases[] = {{-0.04, 1, "0.0"}, {-0.05000001, 1, "-0.1"}, {12.345, 2, "12.35"}, {-0.0, 0, "0"},
                 {3, -1, "3"},      {400, 0, "400"}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        ck_assert_str_eq(an_map_number(arena, cases[i].value, cases[i].decimals), cases[i].text);
    }
}
END_TEST

START_TEST(what_is_off_the_grid_is_left_out)
{
    struct wall w = wall_of(3, 3);
    w.map.last_row = 2;
    w.map.first_column = 2;
    w.cells[8].value = 1e9; /* row 3 */
    const struct an_map_layout l = lay(&w, &panel);
    ck_assert_int_eq(l.rows, 2);
    ck_assert_int_eq(l.columns, 2);
    ck_assert_uint_eq(l.bar_count, 4);
    ck_assert(l.high < 1e6);
}
END_TEST

START_TEST(grids_that_cannot_be_are_empty)
{
    static const int64_t bad[][4] = {
        {1, 0, 1, 5}, {1, 5, 5, 1}, {0, INT64_C(1000000), 0, 2}, {0, 2, 0, INT64_C(1000)}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct wall w = wall_of(2, 2);
        w.map.first_row = bad[i][0];
        w.map.last_row = bad[i][1];
        w.map.first_column = bad[i][2];
        w.map.last_column = bad[i][3];
        const struct an_map_layout l = lay(&w, &panel);
        ck_assert_int_eq(l.rows * l.columns, 0);
        ck_assert(an_map_draw(canvas, &panel, whole(&w)) < 30);
    }
    struct wall w = wall_of(2, 2);
    static const struct an_box tiny = {0, 0, 3, 3};
    ck_assert_int_eq(lay(&w, &tiny).rows, 0);
}
END_TEST

/* ---- drawn -------------------------------------------------------------------------------------- */
static struct an_canvas *open_page(const char *path)
{
    struct an_canvas *page = NULL;
    ck_assert_int_eq(an_canvas_open_pdf(path, &an_paper_a4, &sample_info, &page, NULL), AN_OK);
    return page;
}

START_TEST(any_map_can_be_drawn_inside_its_box)
{
    static const struct an_box boxes[] = {
        {60, 60, 470, 300}, {200, 300, 80, 80}, {100, 100, 30, 200}, {100, 100, 300, 24}};
    const char *path = scratch_path("any.pdf");
    struct an_canvas *page = open_page(path);
    struct wall w = wall_of(6, 4);
    w.cells[3].marks = AN_MAP_HOLE;
    w.cells[4].value = NAN;
    w.cells[5].value = INFINITY;
    w.cells[6].marks = AN_MAP_BEYOND | AN_MAP_OPEN | AN_MAP_CHOSEN;
    w.seams[2].value = NAN;
    w.seams[3].value = -INFINITY;
    w.map.arrow_count = 2;
    w.arrows[0] = (struct an_map_arrow){2, 2, 1e9, -1e9};
    w.arrows[1] = (struct an_map_arrow){3, 3, NAN, 1};
    w.map.spot_count = 1;
    w.spots[0] = (struct an_map_spot){1.5, 900};
    w.map.small = _i >= 4;
    w.map.difference = _i % 2;
    const struct an_box box = boxes[_i % 4];
    const double used = an_map_draw(page, &box, whole(&w));
    ck_assert(used <= box.height + 1e-6);
    ck_assert_int_eq(an_canvas_close(page, NULL), AN_OK);
    struct picture picture;
    if (rasterise(path, 144, &picture)) {
        size_t inside = 0;
        for (size_t i = 0; i < picture.width * picture.height; i++) {
            const double x = ((double)(i % picture.width) + 0.5) / 2;
            const double y = ((double)(i / picture.width) + 0.5) / 2;
            if (picture.grey[i] < 250) {
                ck_assert_msg(x > box.x - 1 && x < box.x + box.width + 1 && y > box.y - 1 &&
                                  y < box.y + box.height + 1,
                              "ink at %.1f, %.1f", x, y);
                inside++;
            }
        }
        ck_assert(inside > 20);
        picture_free(&picture);
    }
}
END_TEST

/* In grey, each class is clearly lighter than the one below it. */
START_TEST(classes_are_told_apart_in_grey)
{
    const char *path = scratch_path("grey.pdf");
    struct an_canvas *page = open_page(path);
    struct wall w = wall_of(1, AN_MAP_CLASSES);
    w.map.seam_count = 0;
    w.map.small = true; /* nothing in the cells but their tint */
    w.map.title = NULL;
    for (int i = 0; i < AN_MAP_CLASSES; i++) {
        w.cells[i] = (struct an_map_cell){.row = 1, .column = i + 1, .value = i};
    }
    const struct an_box box = {100, 100, 300, 50};
    an_map_draw(page, &box, whole(&w));
    ck_assert_int_eq(an_canvas_close(page, NULL), AN_OK);
    struct picture picture;
    if (rasterise(path, 72, &picture)) {
        int before = -1;
        for (int i = 0; i < AN_MAP_CLASSES; i++) {
            const size_t x = (size_t)(100 + 50 * i + 25);
            const int grey = picture.grey[125 * picture.width + x];
            ck_assert_msg(grey >= before + 20, "class %d has grey %d after %d", i, grey, before);
            before = grey;
        }
        picture_free(&picture);
    }
}
END_TEST

START_TEST(sample_page)
{
    const char *keep = getenv("AN_KEEP_PAGES"); /* NOLINT(concurrency-mt-unsafe) */
    char path[512];
    (void)snprintf(path, sizeof path, "%s/maps.pdf", keep ? keep : ".");
    struct an_canvas *page = open_page(keep ? path : scratch_path("maps.pdf"));
    struct wall w = wall_of(8, 8);
    w.cells[20].marks = AN_MAP_HOLE;
    w.cells[33].marks = AN_MAP_BEYOND;
    w.cells[40].value = NAN;
    const struct an_box large = {40, 40, 515, 330};
    ck_assert(an_map_draw(page, &large, whole(&w)) > 200);
    struct wall site = wall_of(4, 6);
    site.map.title = "Less the line's average map";
    site.map.difference = true;
    site.map.seam_count = 0;
    for (size_t i = 0; i < site.map.cell_count; i++) {
        site.cells[i].value -= 400;
        site.cells[i].label = NULL;
        site.cells[i].count = 0;
        site.cells[i].marks = 0;
    }
    const struct an_box left = {40, 390, 250, 160};
    an_map_draw(page, &left, whole(&site));
    struct wall arrows = wall_of(6, 6);
    arrows.map.title = "Placement offsets";
    arrows.map.cell_count = arrows.map.seam_count = 0;
    arrows.map.arrow_unit = "um";
    arrows.map.spot_words = "defect";
    arrows.map.spot_count = 5;
    for (size_t i = 0; i < 36; i++) {
        arrows.arrows[i] = (struct an_map_arrow){(double)(1 + i / 6), (double)(1 + i % 6), 0.8,
                                                 (double)i / 30 - 0.5};
        arrows.spots[i] = (struct an_map_spot){1 + (double)i, 2.3 + (double)i / 2};
    }
    arrows.map.arrow_count = 36;
    const struct an_box right = {310, 390, 245, 160};
    an_map_draw(page, &right, whole(&arrows));
    for (int i = 0; i < 8; i++) {
        struct wall small = wall_of(4, 6);
        small.map.title = "TX-00123";
        small.map.small = true;
        small.map.seam_count = 0;
        const struct an_box box = {40 + 65.0 * i, 580, 58, 60};
        an_map_draw(page, &box, whole(&small));
        if (!i) {
            const struct an_box key = {40, 650, 515, 30};
            ck_assert(an_map_key_draw(page, &key, whole(&small)) <= 30);
        }
    }
    ck_assert_int_eq(an_canvas_close(page, NULL), AN_OK);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("map");
    TCase *one = tcase_create("layout");
    tcase_add_checked_fixture(one, open_all, close_all);
    tcase_add_loop_test(one, cells_fill_the_grid_and_stay_in_the_box, 0,
                        (int)(sizeof grids / sizeof grids[0]));
    tcase_add_test(one, a_bar_stands_between_its_two_cells);
    tcase_add_test(one, classes_part_the_scale_evenly);
    tcase_add_test(one, differences_have_nothing_in_the_middle);
    tcase_add_test(one, values_all_alike_have_a_scale);
    tcase_add_test(one, numbers_stand_inside_their_cells_or_not_at_all);
    tcase_add_test(one, numbers_are_written_plainly);
    tcase_add_test(one, what_is_off_the_grid_is_left_out);
    tcase_add_test(one, grids_that_cannot_be_are_empty);
    suite_add_tcase(suite, one);
    TCase *drawn = tcase_create("drawn");
    tcase_add_checked_fixture(drawn, open_all, close_all);
    tcase_set_timeout(drawn, 60);
    tcase_add_loop_test(drawn, any_map_can_be_drawn_inside_its_box, 0, 8);
    tcase_add_test(drawn, classes_are_told_apart_in_grey);
    tcase_add_test(drawn, sample_page);
    suite_add_tcase(suite, drawn);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
