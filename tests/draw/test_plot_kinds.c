/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Charts that are no plain row of values: ratios, two sums, limits that begin again, points without. */
#include "draw/plot_layout.h"
#include "support.h"

#include <check.h>
#include <math.h>

static struct an_canvas *canvas;
static struct an_arena *arena;
static const struct an_box panel = {40, 40, 500, 226};

static void open_all(void)
{
    scratch_open();
    ck_assert_int_eq(an_canvas_open_svg(scratch_path("k.svg"), 600, 400, &canvas, NULL), AN_OK);
    arena = an_arena_open();
    ck_assert_ptr_nonnull(arena);
}

static void close_all(void)
{
    an_arena_close(arena);
    an_canvas_abandon(canvas);
    scratch_close();
}

static struct an_plot_layout lay(const struct sample *sample)
{
    struct an_plot_layout layout;
    ck_assert_int_eq(an_plot_lay(canvas, arena, &panel, &sample->plot, &layout), AN_OK);
    return layout;
}

/* Waiting times: limits four decades apart, values between. */
static struct sample *waits(void)
{
    struct sample *s = sample_plain(40, 0, 1);
    for (size_t i = 0; i < 40; i++) {
        struct an_plot_point *p = &s->points[i];
        p->value = pow(10, -1 + 2 * (double)(i % 8) / 7);
        p->lcl = 0.002;
        p->centre = 1;
        p->ucl = 10;
    }
    s->plot.ratios = true;
    return s;
}

START_TEST(equal_ratios_are_equal_distances)
{
    struct sample *s = waits();
    const struct an_plot_layout l = lay(s);
    ck_assert(l.scale.low > 0 && l.scale.low < 0.002 && l.scale.high > 10);
    const double decade = an_plot_y(&l.scale, 0.01) - an_plot_y(&l.scale, 0.1);
    ck_assert(decade > 20);
    ck_assert_double_eq_tol(an_plot_y(&l.scale, 1) - an_plot_y(&l.scale, 10), decade, 1e-9);
    ck_assert_double_eq_tol(an_plot_y(&l.scale, 0.2) - an_plot_y(&l.scale, 2), decade, 1e-9);
    for (size_t i = 0; i < 40; i++) {
        ck_assert(l.y[i] > l.scale.y_high && l.y[i] < l.scale.y_low);
    }
    ck_assert_uint_eq(l.rail_count, 3);
    ck_assert_uint_eq(l.label_count, 3);
    ck_assert_str_eq(l.labels[0].text, "10");
    ck_assert_str_eq(l.labels[2].text, "0.002"); /* fixed decimals would say 0.00 */
    ck_assert_uint_eq(l.round_count, 4);
    ck_assert_str_eq(l.round_text[0], "0.01");
    ck_assert_str_eq(l.round_text[3], "10");
    sample_free(s);
}
END_TEST

START_TEST(what_is_not_above_nothing_lies_below)
{
    static const double values[] = {0, -3, 1e-9};
    for (size_t k = 0; k < 3; k++) {
        struct sample *s = waits();
        s->points[20].value = values[k];
        const struct an_plot_layout l = lay(s);
        ck_assert_uint_eq(l.arrow_count, 1);
        ck_assert(!l.arrows[0].up);
        ck_assert(isfinite(l.y[20]) && l.y[20] <= l.frame.y + l.frame.height);
        sample_free(s);
    }
    struct sample *s = waits();
    for (size_t i = 0; i < 40; i++) { /* nothing of it can stand on such a scale */
        s->points[i].value = s->points[i].lcl = s->points[i].centre = s->points[i].ucl = -1;
    }
    const struct an_plot_layout l = lay(s);
    ck_assert(l.scale.empty && l.scale.low > 0 && l.scale.high > l.scale.low);
    sample_free(s);
}
END_TEST

static const struct {
    double low, high, first, last;
    size_t count;
} ratio_rows[] = {
    {0.0015, 14, 0.01, 10, 4},         {700, 6e6, 1000, 1e6, 4}, {3, 60, 5, 50, 4},
    {1.5e-9, 4e9, 1e-8, 1e8, 5}, /* every fourth power */
    {0.9, 1.1, 0.9, 1.1, 5},     /* no decade on view: an even scale */
    {2e-200, 5e199, 1e-134, 1e134, 5},
};

START_TEST(round_ratios)
{
    const struct an_plot_scale scale = {.low = ratio_rows[_i].low,
                                        .high = ratio_rows[_i].high,
                                        .y_low = 100,
                                        .y_high = 0,
                                        .ratios = true};
    double numbers[5];
    int decimals = -1;
    const size_t n = an_plot_round_numbers(&scale, 5, numbers, &decimals);
    ck_assert_uint_le(n, 5);
    ck_assert_uint_eq(n, ratio_rows[_i].count);
    ck_assert_double_eq_tol(numbers[0] / ratio_rows[_i].first, 1, 1e-9);
    ck_assert_double_eq_tol(numbers[n - 1] / ratio_rows[_i].last, 1, 1e-9);
}
END_TEST

static const struct {
    double value;
    const char *text;
} digit_rows[] = {
    {5411700, "5,410,000"}, {567676, "568,000"},
    {1107, "1,110"},        {96000, "96,000"},
    {999.6, "1,000"},       {100, "100"},
    {15.04, "15"},          {10.24, "10.2"},
    {1.0742, "1.07"},       {0.0020934, "0.00209"},
    {0.5, "0.5"},           {0, "0"},
    {-1234, "−1,230"},      {2.5e-7, "0.000000250"},
    {3e12, "3e12"},         {NAN, "–"},
};

START_TEST(digits_for_readers)
{
    ck_assert_str_eq(an_plot_digits(arena, digit_rows[_i].value), digit_rows[_i].text);
}
END_TEST

START_TEST(both_sums_have_a_line)
{
    struct sample *s = sample_plain(30, 0, 1);
    for (size_t i = 0; i < 30; i++) {
        struct an_plot_point *p = &s->points[i];
        p->upper = 0.1 * (double)i;
        p->lower = -0.05 * (double)(30 - i);
        p->value = p->upper > -p->lower ? p->upper : p->lower;
    }
    s->plot.sums = true;
    s->points[12].anew = true;
    const struct an_plot_layout l = lay(s);
    size_t broken = 0, upper = 0, lower = 0;
    for (size_t k = 0; k < l.link_count; k++) {
        if (!isfinite(l.link_y[k])) {
            broken++;
            continue;
        }
        const size_t i = upper < 30 ? upper++ : lower++;
        const struct an_plot_point *p = &s->points[i];
        ck_assert_double_eq_tol(l.link_x[k], l.x[i], 1e-9);
        ck_assert_double_eq_tol(l.link_y[k], an_plot_y(&l.scale, lower ? p->lower : p->upper),
                                1e-9);
    }
    ck_assert_uint_eq(upper, 30);
    ck_assert_uint_eq(lower, 30);
    ck_assert_uint_eq(broken, 3); /* between the two, and in each where it begins anew */
    sample_free(s);
}
END_TEST

START_TEST(rails_run_on_over_points_without_a_value)
{
    struct sample *s = sample_plain(40, 5, 1);
    for (size_t i = 3; i < 36; i++) {
        if (i % 4 != 0) { /* three of four samples bring no point */
            s->points[i].value = s->points[i].lcl = s->points[i].centre = s->points[i].ucl = NAN;
        }
    }
    const struct an_plot_layout l = lay(s);
    ck_assert_uint_eq(l.rail_count, 3);
    for (size_t k = 0; k < 3; k++) {
        ck_assert(!l.rails[k].stepped);
        ck_assert_uint_eq(l.rails[k].count, 2);
        ck_assert_double_eq_tol(l.rails[k].x[0], l.segments[0].x0, 1e-9);
        ck_assert_double_eq_tol(l.rails[k].x[1], l.segments[0].x1, 1e-9);
    }
    sample_free(s);
}
END_TEST

START_TEST(a_new_tool_begins_new_rails)
{
    struct sample *s = sample_plain(60, 0, 0.2);
    for (size_t i = 0; i < 60; i++) {
        struct an_plot_point *p = &s->points[i];
        p->centre = 10 + 0.3 * (double)(i % 20);
        p->lcl = p->centre - 1;
        p->ucl = p->centre + 1;
        p->value += p->centre;
        p->anew = i > 0 && i % 20 == 0;
    }
    const struct an_plot_layout l = lay(s);
    ck_assert_uint_eq(l.rail_count, 9);
    for (size_t k = 0; k < l.rail_count; k++) {
        const struct an_plot_rail *rail = &l.rails[k];
        for (size_t i = 1; i < rail->count; i++) { /* each only rises: no fall to the next tool */
            ck_assert(rail->y[i] <= rail->y[i - 1] + 1e-9);
        }
        ck_assert(rail->stepped);
    }
    ck_assert(l.scale.low < 9 && l.scale.high > 16.7); /* no limit is cut by the frame */
    sample_free(s);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("draw plot kinds");
    TCase *tests = tcase_create("kinds");
    tcase_add_checked_fixture(tests, open_all, close_all);
    tcase_add_test(tests, equal_ratios_are_equal_distances);
    tcase_add_test(tests, what_is_not_above_nothing_lies_below);
    tcase_add_loop_test(tests, round_ratios, 0, sizeof ratio_rows / sizeof *ratio_rows);
    tcase_add_loop_test(tests, digits_for_readers, 0, sizeof digit_rows / sizeof *digit_rows);
    tcase_add_test(tests, both_sums_have_a_line);
    tcase_add_test(tests, rails_run_on_over_points_without_a_value);
    tcase_add_test(tests, a_new_tool_begins_new_rails);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? 1 : 0;
}
