/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whole charts, drawn and looked at as pixels: there is ink, it is inside the box, whatever the
 * data and the box are. With AN_KEEP_PAGES=FOLDER the sample page is kept there for a person.
 */
#include "andamento/base/memory.h"
#include "draw/plot_layout.h"
#include "support.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static struct an_canvas *open_page(const char *path)
{
    struct an_canvas *canvas = NULL;
    struct an_error err = {0};
    ck_assert_msg(an_canvas_open_pdf(path, &an_paper_a4, &sample_info, &canvas, &err) == AN_OK,
                  "%s", err.text);
    return canvas;
}

/* Counts dark pixels inside the box, and fails on any outside of it. */
static size_t ink_in(const struct picture *picture, const struct an_box *box, double dpi)
{
    const double scale = dpi / 72;
    size_t inside = 0;
    for (size_t row = 0; row < picture->height; row++) {
        for (size_t column = 0; column < picture->width; column++) {
            if (picture->grey[row * picture->width + column] > 250) {
                continue;
            }
            const double x = ((double)column + 0.5) / scale, y = ((double)row + 0.5) / scale;
            ck_assert_msg(x > box->x - 1 && x < box->x + box->width + 1 && y > box->y - 1 &&
                              y < box->y + box->height + 1,
                          "ink at %.1f, %.1f, outside the box", x, y);
            inside++;
        }
    }
    return inside;
}

/* Changes of a full chart that must all be drawn. */
static void spoil(struct sample *s, int way)
{
    struct an_plot *plot = &s->plot;
    switch (way) {
    case 1:
        plot->count = 0;
        break;
    case 2:
        plot->count = 1;
        break;
    case 3:
        plot->title = NULL;
        plot->unit = NULL;
        plot->ribbon_title = NULL;
        break;
    case 4:
        for (size_t i = 0; i < plot->count; i++) {
            s->points[i].lcl = s->points[i].centre = s->points[i].ucl = NAN;
        }
        break;
    case 5:
        for (size_t i = 0; i < plot->count; i++) {
            s->points[i].value = s->points[i].lcl = s->points[i].centre = s->points[i].ucl = 7;
        }
        break;
    case 6:
        for (size_t i = 0; i < plot->count; i++) {
            s->points[i].value *= 1e300;
        }
        break;
    case 7:
        for (size_t i = 0; i < plot->count; i++) {
            s->points[i].value = 1e-320 * (double)i;
            s->points[i].lcl = s->points[i].centre = s->points[i].ucl = NAN;
        }
        break;
    case 8:
        for (size_t i = 0; i < plot->count; i++) {
            s->points[i].value = i % 2 ? INFINITY : NAN;
        }
        break;
    case 9:
        for (size_t i = 0; i < plot->count; i++) { /* a phase for each point */
            s->points[i].phase = i;
        }
        break;
    case 10:
        for (size_t i = 0; i < plot->count; i++) {
            s->points[i].at_us = i % 2 ? INT64_MAX : INT64_MIN;
        }
        plot->x_by_time = true;
        break;
    case 11:
        plot->title = "a title so long that it cannot stand on any line of any paper, since it "
                      "goes on and on, and then on, until nobody reads it any more, and further";
        s->labels[0] = "";
        s->labels[1] = "averylongfirstwordwithoutanyblankthatcannotstandonanytabofanychartatall";
        plot->ribbon_title = "a ribbon with a long name";
        break;
    case 12:
        plot->onset = (struct an_plot_onset){true, -50, NAN, 1e12};
        plot->lsl = -INFINITY;
        plot->usl = 12.9;
        plot->target = 12.3;
        plot->decimals = 99;
        break;
    case 13:
        plot->shift_count = 0;
        break;
    case 14:
        plot->shift_count = 0;
        plot->x_by_time = true;
        break;
    case 15:
        s->side.count = 0;
        break;
    case 16:
        for (size_t i = 0; i < plot->count; i++) {
            s->points[i].excluded = true;
            s->points[i].note = (int)i + 1;
        }
        break;
    default:
        break;
    }
}
enum { WAYS = 17 };

START_TEST(drawn_inside_the_box)
{
    static const struct an_box boxes[] = {
        {30, 40, 535, 270}, {30, 40, 535, 120}, {30, 40, 300, 200}, {30, 40, 170, 90},
        {30, 40, 90, 60},   {30, 40, 40, 300},  {30, 40, 500, 30},
    };
    for (size_t k = 0; k < sizeof boxes / sizeof *boxes; k++) {
        for (int small = 0; small < 2; small++) {
            struct sample *s = sample_full();
            spoil(s, _i);
            s->plot.small = small;
            struct an_canvas *canvas = open_page(scratch_path("p.pdf"));
            const double height = an_plot_draw(canvas, &boxes[k], &s->plot);
            ck_assert(height > 0 && height <= boxes[k].height + 1e-9);
            struct an_error err = {0};
            ck_assert_msg(an_canvas_close(canvas, &err) == AN_OK, "%s", err.text);
            sample_free(s);
            struct picture picture;
            if (k % 2 == 0 && rasterise(scratch_path("p.pdf"), 50, &picture)) {
                const size_t ink = ink_in(&picture, &boxes[k], 50);
                ck_assert(ink > 5 || _i == 3);
                picture_free(&picture);
            }
        }
    }
}
END_TEST

/* All texts and marks of the layout stay in the box without help of the clip. */
START_TEST(layout_inside_the_box)
{
    const struct an_box box = {30, 40, 535, 270};
    struct an_canvas *canvas = open_page(scratch_path("p.pdf"));
    struct sample *s = sample_full();
    spoil(s, _i);
    struct an_arena *arena = an_arena_open();
    struct an_plot_layout l;
    ck_assert_int_eq(an_plot_lay(canvas, arena, &box, &s->plot, &l), AN_OK);
    ck_assert(l.frame.x >= box.x && l.frame.x + l.frame.width <= box.x + box.width);
    ck_assert(l.frame.y >= box.y && l.frame.y + l.frame.height <= box.y + box.height);
    ck_assert_double_ge(l.frame.height, 60);
    ck_assert_double_ge(l.frame.width, 200);
    ck_assert(l.scale.low < l.scale.high && isfinite(l.scale.low) && isfinite(l.scale.high));
    for (size_t i = 0; i < l.count; i++) {
        ck_assert(l.x[i] >= l.frame.x && l.x[i] <= l.frame.x + l.frame.width);
        ck_assert(isnan(l.y[i]) || (l.y[i] >= l.frame.y && l.y[i] <= l.frame.y + l.frame.height));
        ck_assert(i == 0 || l.x[i] >= l.x[i - 1]);
    }
    for (size_t k = 0; k < l.rail_count; k++) {
        for (size_t i = 0; i < l.rails[k].count; i++) {
            ck_assert(l.rails[k].y[i] >= l.frame.y - 1e-6 &&
                      l.rails[k].y[i] <= l.frame.y + l.frame.height + 1e-6);
        }
    }
    an_arena_close(arena);
    an_canvas_abandon(canvas);
    sample_free(s);
}
END_TEST

/* Readable in grey: a point's disc is dark, a rail lighter but clearly not paper. */
START_TEST(grey_print)
{
    struct sample *s = sample_plain(20, 12, 0.4);
    const struct an_box box = {30, 40, 535, 270};
    struct an_canvas *canvas = open_page(scratch_path("grey.pdf"));
    struct an_arena *arena = an_arena_open();
    struct an_plot_layout l;
    ck_assert_int_eq(an_plot_lay(canvas, arena, &box, &s->plot, &l), AN_OK);
    an_plot_draw(canvas, &box, &s->plot);
    ck_assert_int_eq(an_canvas_close(canvas, NULL), AN_OK);
    struct picture picture;
    if (!rasterise(scratch_path("grey.pdf"), 288, &picture)) {
        fputs("skipped: no PDF renderer on this machine\n", stderr);
    } else {
        const double scale = 4;
        for (size_t i = 0; i < 20; i++) { /* the discs stand where the layout says */
            const size_t column = (size_t)(l.x[i] * scale), row = (size_t)(l.y[i] * scale);
            ck_assert_uint_lt(picture.grey[row * picture.width + column], 60);
        }
        size_t rails = 0;
        for (size_t k = 0; k < l.rail_count; k++) {
            if (l.rails[k].side == AN_MIDDLE) {
                continue;
            }
            rails++;
            const size_t column = (size_t)((l.x[3] + l.x[4]) / 2 * scale);
            const size_t row = (size_t)(l.rails[k].y[0] * scale);
            unsigned char darkest = 255;
            for (size_t r = row - 2; r <= row + 2; r++) {
                const unsigned char grey = picture.grey[r * picture.width + column];
                darkest = grey < darkest ? grey : darkest;
            }
            ck_assert_uint_lt(darkest, 160);
        }
        ck_assert_uint_eq(rails, 2);
        picture_free(&picture);
    }
    an_arena_close(arena);
    sample_free(s);
}
END_TEST

START_TEST(sample_page)
{
    const char *keep = getenv("AN_KEEP_PAGES");
    char path[512];
    snprintf(path, sizeof path, "%s/plots.pdf", keep ? keep : scratch_path("."));
    struct an_canvas *canvas = open_page(path);
    struct an_box box = {28, 28, 539, 275};
    struct sample *s = sample_full();
    an_plot_draw(canvas, &box, &s->plot);
    for (int i = 0; i < 9; i++) {
        struct sample *one = i == 0 ? sample_full() : sample_plain((size_t)i * 12, 10, 1);
        const struct an_box small = {28 + i % 3 * 184.0, 320 + i / 3 * 100.0, 170, 90};
        one->plot.small = true;
        an_plot_draw(canvas, &small, &one->plot);
        sample_free(one);
    }
    sample_free(s);
    ck_assert_int_eq(an_canvas_close(canvas, NULL), AN_OK);
    size_t length = 0;
    an_free(read_file(path, &length));
    ck_assert_uint_lt(length, 60000); /* a page of ten charts with its faces */
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("draw plot pages");
    TCase *tests = tcase_create("pages");
    tcase_set_timeout(tests, 120);
    tcase_add_checked_fixture(tests, scratch_open, scratch_close);
    tcase_add_loop_test(tests, drawn_inside_the_box, 0, WAYS);
    tcase_add_loop_test(tests, layout_inside_the_box, 0, WAYS);
    tcase_add_test(tests, grey_print);
    tcase_add_test(tests, sample_page);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? 1 : 0;
}
