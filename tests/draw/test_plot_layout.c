/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where things stand on a chart, in numbers. What is right here follows from what the chart means
 * (a rail stands at its limit's value, a bar over its points), so it is computed from the input
 * and not from earlier output.
 */
#include "draw/plot_layout.h"
#include "support.h"

#include <check.h>
#include <math.h>
#include <string.h>

static struct an_canvas *canvas;
static struct an_arena *arena;
static const struct an_box panel = {30, 40, 535, 270};

static void open_all(void)
{
    scratch_open();
    ck_assert_int_eq(an_canvas_open_svg(scratch_path("l.svg"), 600, 400, &canvas, NULL), AN_OK);
    arena = an_arena_open();
    ck_assert_ptr_nonnull(arena);
}

static void close_all(void)
{
    an_arena_close(arena);
    an_canvas_abandon(canvas);
    scratch_close();
}

static struct an_plot_layout lay(const struct sample *sample, const struct an_box *box)
{
    struct an_plot_layout layout;
    ck_assert_int_eq(an_plot_lay(canvas, arena, box, &sample->plot, &layout), AN_OK);
    return layout;
}

/* --- scale --------------------------------------------------------------------------------- */

START_TEST(scale_holds_limits_and_values)
{
    struct sample *s = sample_plain(60, 12, 0.4);
    s->points[20].value = 12 + 0.4 * 10; /* ten sigma: far, but a reader must see how far */
    const struct an_plot_layout l = lay(s, &panel);
    ck_assert(l.scale.low < 12 - 1.2 && l.scale.high > 16.0);
    ck_assert_uint_eq(l.arrow_count, 0);
    for (size_t i = 0; i < 60; i++) {
        const double share = (s->points[i].value - l.scale.low) / (l.scale.high - l.scale.low);
        ck_assert_double_eq_tol(l.y[i], l.frame.y + l.frame.height * (1 - share), 1e-9);
    }
    sample_free(s);
}
END_TEST

START_TEST(an_absurd_value_does_not_flatten)
{
    static const double absurd[] = {1e6, -1e6, 1e308, -1e308, 900};
    for (size_t k = 0; k < 5; k++) {
        struct sample *s = sample_plain(60, 12, 0.4);
        s->points[20].value = absurd[k];
        const struct an_plot_layout l = lay(s, &panel);
        ck_assert(l.scale.high - l.scale.low < 4 * 2.4);
        ck_assert_uint_eq(l.arrow_count, 1);
        ck_assert_uint_eq(l.arrows[0].point, 20);
        ck_assert_int_eq(l.arrows[0].up, absurd[k] > 0);
        ck_assert(l.arrows[0].with_text);
        ck_assert(l.y[20] >= l.frame.y && l.y[20] <= l.frame.y + l.frame.height);
        /* no other point stands in the band of the arrows */
        for (size_t i = 0; i < 60; i++) {
            ck_assert(i == 20 || (l.y[i] >= l.scale.y_high && l.y[i] <= l.scale.y_low));
        }
        sample_free(s);
    }
}
END_TEST

START_TEST(without_limits_the_bulk_makes_the_scale)
{
    struct sample *s = sample_plain(5, 0, 1);
    static const double values[] = {1, 2, 1.5, 1e9, 1.2};
    for (size_t i = 0; i < 5; i++) {
        s->points[i] = (struct an_plot_point){
            .at_us = (int64_t)i, .value = values[i], .lcl = NAN, .centre = NAN, .ucl = NAN};
    }
    const struct an_plot_layout l = lay(s, &panel);
    ck_assert(l.scale.high < 10 && l.scale.low > -10);
    ck_assert_uint_eq(l.arrow_count, 1);
    ck_assert_uint_eq(l.rail_count, 0);
    ck_assert_uint_eq(l.label_count, 0);
    sample_free(s);
}
END_TEST

static const struct {
    double low, high;
    size_t most, count;
    double first, step;
    int decimals;
} round_rows[] = {
    {0.3, 4.7, 5, 4, 1, 1, 0},
    {9.6, 15.2, 5, 3, 10, 2, 0},
    {-0.07, 0.13, 5, 4, -0.05, 0.05, 2},
    {1234.1, 1234.9, 5, 4, 1234.2, 0.2, 1},
    {0, 1, 5, 3, 0, 0.5, 1},
    {-4e9, 7e9, 5, 2, 0, 5e9, 0},
    {2e-7, 9.5e-7, 5, 4, 2e-7, 2e-7, 7},
};

START_TEST(round_numbers)
{
    const struct an_plot_scale scale = {
        .low = round_rows[_i].low, .high = round_rows[_i].high, .y_low = 100, .y_high = 0};
    double numbers[5];
    int decimals = -1;
    const size_t n = an_plot_round_numbers(&scale, round_rows[_i].most, numbers, &decimals);
    ck_assert_uint_eq(n, round_rows[_i].count);
    ck_assert_int_eq(decimals, round_rows[_i].decimals);
    for (size_t i = 0; i < n; i++) {
        const double wanted = round_rows[_i].first + (double)i * round_rows[_i].step;
        ck_assert_double_eq_tol(numbers[i], wanted,
                                1e-12 * fmax(fabs(scale.low), fabs(scale.high)));
        ck_assert(numbers[i] >= scale.low && numbers[i] <= scale.high);
    }
}
END_TEST

static const struct {
    double value;
    int decimals;
    const char *text;
} number_rows[] = {
    {1.005, 2, "1.00"}, /* the double lies below 1.005 */
    {2.5, 0, "2"},      /* half to even, as IEEE 754 rounds */
    {-0.004, 2, "0.00"},
    {-1.5, 1, "−1.5"},
    {12.3456, 3, "12.346"},
    {0, 0, "0"},
    {999999999, 0, "999999999"},
    {1e12, 2, "1e12"},
    {-1.5e15, 2, "−1.5e15"},
    {9.9999e20, 2, "1e21"},
    {1.7976931348623157e308, 2, "1.798e308"},
    {123456.789, 12, "123456.789000000"}, /* never more than nine decimals */
    {NAN, 2, "–"},
};

START_TEST(numbers_for_readers)
{
    ck_assert_str_eq(an_plot_number(arena, number_rows[_i].value, number_rows[_i].decimals),
                     number_rows[_i].text);
}
END_TEST

/* --- rails and labels ---------------------------------------------------------------------- */

START_TEST(straight_rails_stand_at_the_limits)
{
    struct sample *s = sample_full();
    const struct an_plot_layout l = lay(s, &panel);
    ck_assert_uint_eq(l.segment_count, 2);
    ck_assert_uint_eq(l.rail_count, 6);
    for (size_t k = 0; k < 6; k++) {
        const struct an_plot_rail *rail = &l.rails[k];
        const struct an_plot_segment *segment = &l.segments[k / 3];
        const struct an_plot_point *p = &s->points[segment->first];
        const double limit = rail->side == AN_LOWER   ? p->lcl
                             : rail->side == AN_UPPER ? p->ucl
                                                      : p->centre;
        ck_assert(!rail->stepped);
        ck_assert_uint_eq(rail->count, 2);
        ck_assert_double_eq_tol(rail->x[0], segment->x0, 1e-9);
        ck_assert_double_eq_tol(rail->x[1], segment->x1, 1e-9);
        ck_assert_double_eq_tol(rail->y[0], an_plot_y(&l.scale, limit), 1e-9);
        ck_assert_double_eq_tol(rail->y[1], rail->y[0], 1e-9);
    }
    /* the gutter is free of points, rails and line */
    ck_assert(l.segments[0].x1 < l.segments[1].x0 - 3);
    ck_assert(l.x[25] < l.segments[0].x1 && l.x[26] > l.segments[1].x0);
    sample_free(s);
}
END_TEST

START_TEST(varying_limits_are_stairs)
{
    struct sample *s = sample_plain(10, 5, 1);
    for (size_t i = 0; i < 10; i++) {
        s->points[i].ucl = 8 + (double)(i % 3);
        s->points[i].lcl = i == 4 || i == 5 ? NAN : 2;
    }
    const struct an_plot_layout l = lay(s, &panel);
    size_t lower = 0, upper = 0;
    for (size_t k = 0; k < l.rail_count; k++) {
        const struct an_plot_rail *rail = &l.rails[k];
        lower += rail->side == AN_LOWER;
        if (rail->side != AN_UPPER) {
            continue;
        }
        upper++;
        ck_assert(rail->stepped);
        ck_assert_uint_eq(rail->count, 2 * 10);
        for (size_t i = 0; i < 10; i++) { /* level over each point, steps half-way */
            ck_assert_double_eq_tol(rail->y[2 * i], an_plot_y(&l.scale, s->points[i].ucl), 1e-9);
            ck_assert_double_eq_tol(rail->y[2 * i + 1], rail->y[2 * i], 1e-9);
            ck_assert(rail->x[2 * i] < l.x[i] && l.x[i] < rail->x[2 * i + 1]);
            ck_assert(i == 0 || fabs(rail->x[2 * i] - (l.x[i - 1] + l.x[i]) / 2) < 1e-9);
        }
    }
    ck_assert_uint_eq(upper, 1);
    ck_assert_uint_eq(lower, 2); /* broken where there is none */
    sample_free(s);
}
END_TEST

START_TEST(labels_keep_apart)
{
    static const double wishes[][5] = {
        {100, 101, 102, 103, 104}, {50, 50, 50, 50, 50},   {-20, 0, 1, 199, 230},
        {60, 20, 61, 140, 21},     {NAN, 70, 70, NAN, 71},
    };
    for (size_t k = 0; k < 5; k++) {
        struct an_plot_label labels[5];
        for (int i = 0; i < 5; i++) {
            labels[i] =
                (struct an_plot_label){.wanted_y = wishes[k][i], .value = -wishes[k][i], .rank = i};
        }
        an_plot_spread_labels(labels, 5, 10, 190, 8.4);
        for (int i = 0; i < 5; i++) {
            ck_assert_int_eq(labels[i].shown, isfinite(wishes[k][i]));
            for (int j = 0; j < 5; j++) {
                if (i != j && labels[i].shown && labels[j].shown) {
                    ck_assert(fabs(labels[i].y - labels[j].y) > 8.4 - 1e-6);
                    ck_assert(!(wishes[k][i] < wishes[k][j]) || labels[i].y < labels[j].y);
                }
            }
            if (labels[i].shown) {
                ck_assert(labels[i].y > 10 - 1e-6 && labels[i].y < 190 + 1e-6);
            }
        }
    }
    /* where two find room, the two of the lowest ranks stay */
    struct an_plot_label few[4];
    for (int i = 0; i < 4; i++) {
        few[i] = (struct an_plot_label){.wanted_y = 5.0 * i, .rank = (i + 2) % 4};
    }
    an_plot_spread_labels(few, 4, 0, 12, 8.4);
    ck_assert(!few[0].shown && !few[1].shown && few[2].shown && few[3].shown);
}
END_TEST

START_TEST(limits_on_view_are_named_in_the_margin)
{
    struct sample *s = sample_full();
    const struct an_plot_layout l = lay(s, &panel);
    static const char *const texts[] = {"13.50", "12.30", "11.10"};
    ck_assert_uint_eq(l.label_count, 3);
    for (size_t i = 0; i < 3; i++) {
        ck_assert_str_eq(l.labels[i].text, texts[i]);
        ck_assert(l.labels[i].shown);
        ck_assert_double_eq_tol(l.labels[i].y, an_plot_y(&l.scale, l.labels[i].value), 1e-9);
    }
    ck_assert(l.label_x > l.frame.x + l.frame.width);
    /* a chart of averages has no fence on it; the side view of single readings has */
    ck_assert_uint_eq(l.fence_count, 0);
    ck_assert_uint_eq(l.side_fence_count, 3);
    sample_free(s);
}
END_TEST

START_TEST(fence_of_single_readings)
{
    struct sample *s = sample_plain(30, 12, 0.4);
    s->plot.lsl = 10;
    s->plot.usl = 400; /* far off the scale */
    const struct an_plot_layout l = lay(s, &panel);
    ck_assert_uint_eq(l.fence_count, 2);
    ck_assert_double_eq_tol(l.fences[0].y, an_plot_y(&l.scale, 10), 1e-9);
    ck_assert(isnan(l.fences[1].y));
    ck_assert(l.scale.high < 20);
    bool told = false;
    for (size_t i = 0; i < l.label_count; i++) {
        told = told ||
               (strcmp(l.labels[i].text, "↑ 400.00") == 0 && strcmp(l.labels[i].name, "spec") == 0);
    }
    ck_assert(told);
    sample_free(s);
}
END_TEST

/* --- lanes --------------------------------------------------------------------------------- */

static void signal_at(struct sample *s, size_t first, size_t last, const char *code)
{
    s->signals[s->plot.signal_count++] = (struct an_plot_signal){first, last, code};
}

static void check_lane(const struct an_plot_layout *l)
{
    for (size_t i = 0; i < l->item_count; i++) {
        const struct an_plot_item *a = &l->items[i];
        if (a->row < 0) {
            continue;
        }
        ck_assert(a->row < l->lane_rows);
        ck_assert(a->x0 >= l->box.x - 1e-9 && a->x1 <= l->box.x + l->box.width + 1e-9);
        for (size_t j = 0; j < i; j++) {
            const struct an_plot_item *b = &l->items[j];
            ck_assert(b->row != a->row || a->x1 <= b->x0 || b->x1 <= a->x0);
        }
        ck_assert(l->small || a->x0 >= l->frame.x - 1e-9); /* clear of the row's name */
        if (a->run) {                                      /* over the right points */
            ck_assert(a->bar_x0 <= l->x[a->first] && a->bar_x1 >= l->x[a->last]);
            ck_assert(a->first == 0 || a->bar_x0 > l->x[a->first - 1]);
            ck_assert(a->last + 1 >= l->count || a->bar_x1 < l->x[a->last + 1]);
        }
    }
    for (size_t k = 0; k < l->stem_count; k++) { /* no stem through anything on its way */
        const struct an_plot_item *own = &l->items[l->stems[k].item];
        const double x = l->x[l->stems[k].point];
        ck_assert(x >= own->bar_x0 - 1e-9 && x <= own->bar_x1 + 1e-9);
        for (size_t i = 0; i < l->item_count; i++) {
            const struct an_plot_item *other = &l->items[i];
            if (other->row >= 0 && other->row < own->row && other->run) {
                ck_assert(x <= other->x0 || x >= other->x1);
            }
        }
    }
}

START_TEST(flags_and_bars_stack)
{
    struct sample *s = sample_plain(80, 12, 0.4);
    signal_at(s, 70, 70, "B+");
    signal_at(s, 71, 71, "O2/3@2+"); /* overlaps: its flag would cover the first one's place */
    signal_at(s, 20, 28, "R9+");
    signal_at(s, 24, 29, "D6+");
    signal_at(s, 60, 74, "H15@1");
    signal_at(s, 79, 79, "B-");
    const struct an_plot_layout l = lay(s, &panel);
    ck_assert_uint_eq(l.item_count, 6);
    ck_assert_uint_eq(l.hidden_items, 0);
    ck_assert_uint_eq(l.stem_count, 3);
    ck_assert_int_ge(l.lane_rows, 2);
    check_lane(&l);
    sample_free(s);
}
END_TEST

START_TEST(one_rule_side_by_side_is_one_flag)
{
    struct sample *s = sample_plain(60, 12, 0.4);
    signal_at(s, 30, 30, "B+");
    signal_at(s, 31, 31, "B+");
    signal_at(s, 32, 32, "B+");
    signal_at(s, 10, 18, "R9+"); /* told again as it grows: one bar */
    signal_at(s, 11, 19, "R9+");
    signal_at(s, 20, 28, "R9+");
    signal_at(s, 50, 58, "R9+");
    const struct an_plot_layout l = lay(s, &panel);
    ck_assert_uint_eq(l.item_count, 3);
    ck_assert_str_eq(l.items[0].code, "B+ ×3");
    ck_assert_uint_eq(l.items[0].first, 30);
    ck_assert_uint_eq(l.items[0].last, 32);
    ck_assert_uint_eq(l.stem_count, 3);
    ck_assert_uint_eq(l.items[1].first, 10);
    ck_assert_uint_eq(l.items[1].last, 28);
    ck_assert_uint_eq(l.items[2].first, 50);
    check_lane(&l);
    sample_free(s);
}
END_TEST

START_TEST(crowded_lanes)
{
    static const char *const codes[] = {"B+", "R9+", "O2/3@2+", "D6-", "W14", "V8@1", "H15@1"};
    uint64_t state = 77;
    for (int round = 0; round < 40; round++) {
        const size_t n = 2 + (size_t)(sample_uniform(&state) * 300);
        struct sample *s = sample_plain(n, 12, 0.4);
        for (size_t k = 0; k < (size_t)round * 3; k++) {
            const size_t first = (size_t)(sample_uniform(&state) * (double)n);
            const size_t length =
                sample_uniform(&state) < 0.5 ? 0 : (size_t)(sample_uniform(&state) * 20);
            signal_at(s, first, first + length, codes[(size_t)(sample_uniform(&state) * 7)]);
        }
        s->plot.small = round % 4 == 3;
        const struct an_box small = {30, 40, 170, 90};
        const struct an_plot_layout l = lay(s, s->plot.small ? &small : &panel);
        check_lane(&l);
        size_t placed = 0;
        for (size_t i = 0; i < l.item_count; i++) {
            placed += l.items[i].row >= 0;
        }
        ck_assert_uint_eq(placed + l.hidden_items, l.item_count);
        sample_free(s);
    }
}
END_TEST

START_TEST(wrong_indexes_are_ignored)
{
    struct sample *s = sample_plain(20, 12, 0.4);
    signal_at(s, 20, 20, "B+");
    signal_at(s, 9, 3, "R9+");
    signal_at(s, 15, 99, "D6+"); /* cut to the last point */
    signal_at(s, 3, 3, NULL);
    const struct an_plot_layout l = lay(s, &panel);
    ck_assert_uint_eq(l.item_count, 2);
    ck_assert_uint_eq(l.items[1].last, 19);
    check_lane(&l);
    sample_free(s);
}
END_TEST

START_TEST(ribbon_breaks_where_the_batch_changes)
{
    struct sample *s = sample_full();
    const struct an_plot_layout l = lay(s, &panel);
    ck_assert_uint_eq(l.block_count, 9); /* eight batches, one of them cut by the gutter */
    for (size_t i = 0; i < l.block_count; i++) {
        const struct an_plot_block *b = &l.blocks[i];
        ck_assert_str_eq(b->name, s->points[b->first].ribbon);
        ck_assert_str_eq(b->name, s->points[b->last].ribbon);
        ck_assert(b->x0 < l.x[b->first] && b->x1 > l.x[b->last]);
        if (i > 0) {
            const bool same = strcmp(b->name, l.blocks[i - 1].name) == 0;
            ck_assert_int_eq(b->pale == l.blocks[i - 1].pale, same);
            ck_assert_uint_eq(b->first, l.blocks[i - 1].last + 1);
            ck_assert(b->x0 >= l.blocks[i - 1].x1 - 1e-9);
        }
    }
    sample_free(s);
}
END_TEST

START_TEST(onset_stands_between_its_points)
{
    struct sample *s = sample_full();
    const struct an_plot_layout l = lay(s, &panel);
    ck_assert_double_eq_tol(l.onset_x, (l.x[51] + l.x[52]) / 2, 1e-9);
    ck_assert_double_eq_tol(l.onset_x0, l.x[49], 1e-9);
    ck_assert_double_eq_tol(l.onset_x1, l.x[54], 1e-9);
    ck_assert_double_ge(l.onset_y, l.frame.y + l.frame.height);
    sample_free(s);
}
END_TEST

/* --- time ---------------------------------------------------------------------------------- */

static void check_words(const struct an_plot_layout *l)
{
    for (size_t i = 0; i < l->word_count; i++) {
        const struct an_plot_words *a = &l->words[i];
        const struct an_type ta = {7, a->weight, a->ink, AN_LEFT};
        const double wa = a->width > 0 ? fmin(a->width, an_text_width(canvas, &ta, a->text))
                                       : an_text_width(canvas, &ta, a->text);
        const double xa = a->align == AN_RIGHT    ? a->x - wa
                          : a->align == AN_CENTRE ? a->x - wa / 2
                                                  : a->x;
        ck_assert_msg(xa >= l->box.x - 0.01 && xa + wa <= l->box.x + l->box.width + 0.01,
                      "'%s' leaves the box", a->text);
        for (size_t j = 0; j < i; j++) {
            const struct an_plot_words *b = &l->words[j];
            const struct an_type tb = {7, b->weight, b->ink, AN_LEFT};
            const double wb = b->width > 0 ? fmin(b->width, an_text_width(canvas, &tb, b->text))
                                           : an_text_width(canvas, &tb, b->text);
            const double xb = b->align == AN_RIGHT    ? b->x - wb
                              : b->align == AN_CENTRE ? b->x - wb / 2
                                                      : b->x;
            ck_assert_msg(fabs(a->baseline - b->baseline) > 6.5 || xa >= xb + wb || xb >= xa + wa,
                          "'%s' and '%s' overlap", a->text, b->text);
        }
    }
}

/* No tall tick goes through a date. */
static void check_dates(const struct an_plot_layout *l)
{
    for (size_t i = 0; i < l->tick_count; i++) {
        for (size_t k = 0; k < l->word_count && l->ticks[i].day; k++) {
            const struct an_plot_words *w = &l->words[k];
            const struct an_type type = {7, w->weight, w->ink, AN_LEFT};
            const double end = w->x + an_text_width(canvas, &type, w->text);
            ck_assert_msg(w->baseline > l->frame.y || w->align != AN_LEFT || l->ticks[i].x < w->x ||
                              l->ticks[i].x > end,
                          "a tick goes through '%s'", w->text);
        }
    }
}

static size_t said(const struct an_plot_layout *l, const char *text)
{
    size_t n = 0;
    for (size_t i = 0; i < l->word_count; i++) {
        n += strcmp(l->words[i].text, text) == 0;
    }
    return n;
}

START_TEST(shifts_are_named_where_they_fit)
{
    struct sample *s = sample_full();
    struct an_plot_layout l = lay(s, &panel);
    ck_assert_uint_eq(said(&l, "early"), 3);
    ck_assert_uint_eq(said(&l, "5 March"), 1);
    ck_assert_uint_eq(said(&l, "UTC"), 0); /* no clock times beside them */
    check_words(&l);
    ck_assert_uint_eq(l.tick_count, 8); /* the first shift began with the first point */
    /* the tick of the shift that begins at point 8 stands between points 7 and 8 */
    ck_assert(l.ticks[0].x > l.x[7] && l.ticks[0].x <= l.x[8]);

    /* forty-two shifts: no names any more, dates where there is room */
    static const char *const dates[] = {"1 March", "2 March", "3 March", "4 March"};
    struct sample *many = sample_plain(42 * 8, 12, 0.4);
    for (size_t i = 0; i < 42; i++) {
        many->shifts[i] = (struct an_plot_shift){many->points[i * 8].at_us, "a long name",
                                                 i % 3 == 0, dates[i / 3 % 4]};
    }
    many->plot.shift_count = 42;
    l = lay(many, &panel);
    ck_assert_uint_eq(said(&l, "a long name"), 0);
    ck_assert_uint_ge(said(&l, "1 March"), 1);
    check_words(&l);
    check_dates(&l);
    /* ticks of shifts without names would cross the dates: only days have them, no higher than dates */
    ck_assert_uint_le(l.tick_count, 14);
    for (size_t i = 0; i < l.tick_count; i++) {
        ck_assert(l.ticks[i].day);
    }
    ck_assert_double_le(l.day_length, 8.5);

    /* the chart begins shortly before midnight: no room for that day's date before the next tick */
    many->plot.count = 60;
    many->points[0].at_us -= 8 * AN_HOUR_US;
    many->shifts[0] = (struct an_plot_shift){many->points[0].at_us, "late", true, "29 February"};
    for (size_t i = 1; i < 9; i++) {
        many->shifts[i] = (struct an_plot_shift){many->points[(i - 1) * 8 + 1].at_us, "early",
                                                 i % 3 == 1, dates[(i - 1) / 3]};
    }
    many->plot.shift_count = 9;
    l = lay(many, &panel);
    ck_assert_uint_eq(said(&l, "29 February"), 0);
    ck_assert_uint_eq(said(&l, "1 March"), 1);
    ck_assert_uint_eq(said(&l, "2 March"), 1);
    check_words(&l);
    check_dates(&l);
    sample_free(many);
    sample_free(s);
}
END_TEST

START_TEST(clock_times_stand_at_their_instants)
{
    struct sample *s = sample_plain(49, 12, 0.4); /* hourly from 4 March 00:00 UTC */
    s->plot.x_by_time = true;
    struct an_plot_layout l = lay(s, &panel);
    ck_assert_uint_eq(said(&l, "UTC"), 1);
    ck_assert_uint_eq(said(&l, "4 March"), 1);
    ck_assert_uint_eq(said(&l, "5 March"), 1);
    ck_assert_uint_eq(said(&l, "6 March"), 1);
    ck_assert_uint_eq(said(&l, "12:00"), 2);
    for (size_t i = 0; i < l.tick_count; i++) { /* on whole hours, so on points */
        double nearest = 1e9;
        for (size_t k = 0; k < 49; k++) {
            nearest = fmin(nearest, fabs(l.x[k] - l.ticks[i].x));
        }
        ck_assert_double_lt(nearest, 1e-6);
    }
    check_words(&l);
    /* Rome is an hour ahead of UTC in March (IANA time zone database): its midnight, 23:00 UTC on
     * 4 March, is at the 23rd hour. */
    struct an_zone *zone = NULL;
    ck_assert_int_eq(an_zone_open("Europe/Rome", &zone, NULL), AN_OK);
    s->plot.zone = zone;
    l = lay(s, &panel);
    ck_assert_uint_eq(said(&l, "UTC"), 0);
    for (size_t i = 0; i < l.word_count; i++) {
        if (strcmp(l.words[i].text, "5 March") == 0) {
            const struct an_type type = {7, AN_REGULAR, AN_GREY, AN_LEFT};
            ck_assert_double_eq_tol(
                l.words[i].x + an_text_width(canvas, &type, l.words[i].text) / 2, l.x[23], 0.01);
        }
    }
    ck_assert_uint_eq(said(&l, "5 March"), 1);
    check_words(&l);
    an_zone_close(zone);
    sample_free(s);
}
END_TEST

START_TEST(by_time_is_to_scale)
{
    struct sample *s = sample_plain(3, 12, 0.4);
    s->plot.x_by_time = true;
    s->points[1].at_us = s->points[0].at_us + 1000;
    s->points[2].at_us = s->points[0].at_us + 5000;
    const struct an_plot_layout l = lay(s, &panel);
    ck_assert_double_eq_tol((l.x[1] - l.x[0]) / (l.x[2] - l.x[0]), 0.2, 1e-12);
    ck_assert(l.x[0] >= l.frame.x && l.x[2] <= l.frame.x + l.frame.width);
    sample_free(s);
}
END_TEST

/* --- points, side view --------------------------------------------------------------------- */

START_TEST(the_line_breaks_where_it_must)
{
    struct sample *s = sample_plain(12, 12, 0.4);
    s->points[3].gap_before = true;
    s->points[6].excluded = true;
    s->points[9].value = NAN;
    for (size_t i = 10; i < 12; i++) {
        s->points[i].phase = 1;
    }
    const struct an_plot_layout l = lay(s, &panel);
    /* linked pairs, read off the line */
    bool linked[12] = {false}; /* to the next point */
    for (size_t k = 0; k + 1 < l.link_count; k++) {
        if (isnan(l.link_y[k]) || isnan(l.link_y[k + 1])) {
            continue;
        }
        for (size_t i = 0; i + 1 < 12; i++) {
            linked[i] = linked[i] || (fabs(l.link_x[k] - l.x[i]) < 1e-9 &&
                                      fabs(l.link_x[k + 1] - l.x[i + 1]) < 1e-9);
        }
    }
    static const bool wanted[12] = {true,  true, false, true,  true, false,
                                    false, true, false, false, true, false};
    for (size_t i = 0; i < 12; i++) {
        ck_assert_msg(linked[i] == wanted[i], "from point %zu", i);
    }
    ck_assert_int_eq(l.mark[6], AN_SLASHED);
    ck_assert_int_eq(l.mark[9], AN_NO_MARK);
    sample_free(s);
}
END_TEST

START_TEST(thousands_are_thinned_to_their_outline)
{
    struct sample *s = sample_plain(5000, 12, 0.4);
    s->points[2500].flagged = true;
    const struct an_plot_layout l = lay(s, &panel);
    size_t shown = 0;
    double highest = -INFINITY, lowest = INFINITY, top = INFINITY, bottom = -INFINITY;
    for (size_t i = 0; i < 5000; i++) {
        highest = fmax(highest, s->points[i].value);
        lowest = fmin(lowest, s->points[i].value);
        if (l.mark[i] != AN_NO_MARK) {
            shown++;
            top = fmin(top, l.y[i]);
            bottom = fmax(bottom, l.y[i]);
        }
    }
    ck_assert_uint_lt(shown, 1400); /* two a column of 0.8 pt at most */
    ck_assert_uint_gt(shown, 500);
    ck_assert_double_eq_tol(top, an_plot_y(&l.scale, highest), 1e-9);
    ck_assert_double_eq_tol(bottom, an_plot_y(&l.scale, lowest), 1e-9);
    ck_assert_int_eq(l.mark[2500], AN_SQUARE);
    sample_free(s);
}
END_TEST

START_TEST(side_view_counts_on_the_same_scale)
{
    struct sample *s = sample_full();
    s->readings[0] = NAN;
    s->readings[1] = 1e9;
    s->readings[2] = -1e9;
    const struct an_plot_layout l = lay(s, &panel);
    size_t counted = l.side_above + l.side_below;
    ck_assert_uint_eq(l.side_above, 1);
    ck_assert_uint_eq(l.side_below, 1);
    double widest = 0;
    for (size_t b = 0; b < l.bin_count; b++) {
        const struct an_plot_bin *bin = &l.bins[b];
        size_t inside = 0;
        for (size_t i = 0; i < s->side.count; i++) {
            inside += s->readings[i] >= bin->value_low && s->readings[i] < bin->value_high;
        }
        ck_assert_uint_eq(bin->count, inside);
        ck_assert_double_eq_tol(bin->box.y + bin->box.height, an_plot_y(&l.scale, bin->value_low),
                                1e-6);
        ck_assert_double_eq_tol(bin->box.y, an_plot_y(&l.scale, bin->value_high), 1e-6);
        counted += bin->count;
        widest = fmax(widest, bin->box.width);
    }
    ck_assert_uint_eq(counted, 599);
    ck_assert_double_eq_tol(widest, l.side.width, 1e-9);
    ck_assert(l.side.x > l.frame.x + l.frame.width);
    sample_free(s);
}
END_TEST

START_TEST(phases_are_labelled_in_order_of_appearance)
{
    struct sample *s = sample_full();
    for (size_t i = 0; i < s->plot.count; i++) { /* numbers as they come: 7, 3, 7 again */
        s->points[i].phase = i < 26 ? 7 : i < 60 ? 3 : 7;
    }
    const struct an_plot_layout l = lay(s, &panel);
    ck_assert_uint_eq(l.segment_count, 3);
    ck_assert_str_eq(l.segments[0].tab, "P1");
    ck_assert_str_eq(l.segments[1].tab, "P2");
    ck_assert_str_eq(l.segments[2].tab, "P1");
    ck_assert_str_eq(l.segments[0].text, "locked 2 March, L. Brandt");
    sample_free(s);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("draw plot layout");
    TCase *tests = tcase_create("layout");
    tcase_add_checked_fixture(tests, open_all, close_all);
    tcase_add_test(tests, scale_holds_limits_and_values);
    tcase_add_test(tests, an_absurd_value_does_not_flatten);
    tcase_add_test(tests, without_limits_the_bulk_makes_the_scale);
    tcase_add_loop_test(tests, round_numbers, 0, sizeof round_rows / sizeof *round_rows);
    tcase_add_loop_test(tests, numbers_for_readers, 0, sizeof number_rows / sizeof *number_rows);
    tcase_add_test(tests, straight_rails_stand_at_the_limits);
    tcase_add_test(tests, varying_limits_are_stairs);
    tcase_add_test(tests, labels_keep_apart);
    tcase_add_test(tests, limits_on_view_are_named_in_the_margin);
    tcase_add_test(tests, fence_of_single_readings);
    tcase_add_test(tests, flags_and_bars_stack);
    tcase_add_test(tests, one_rule_side_by_side_is_one_flag);
    tcase_add_test(tests, crowded_lanes);
    tcase_add_test(tests, wrong_indexes_are_ignored);
    tcase_add_test(tests, ribbon_breaks_where_the_batch_changes);
    tcase_add_test(tests, onset_stands_between_its_points);
    tcase_add_test(tests, shifts_are_named_where_they_fit);
    tcase_add_test(tests, clock_times_stand_at_their_instants);
    tcase_add_test(tests, by_time_is_to_scale);
    tcase_add_test(tests, the_line_breaks_where_it_must);
    tcase_add_test(tests, thousands_are_thinned_to_their_outline);
    tcase_add_test(tests, side_view_counts_on_the_same_scale);
    tcase_add_test(tests, phases_are_labelled_in_order_of_appearance);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? 1 : 0;
}
