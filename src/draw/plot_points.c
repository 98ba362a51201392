/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where the points stand, what each looks like, and the line from one to the next. Must never let
 * a point vanish unseen: off the scale it is an arrow, and of points that lie on each other the
 * outermost stay.
 *
 * The hard idea: the gutter between two phases is room that is added to the way from one point to
 * the next, not a strip laid over it, so that nothing is ever under it.
 */
#include "draw/plot_layout.h"

#include <math.h>

#define GUTTER 12.0    /* added between phases; the rails on both sides reach into it */
#define RAIL_REACH 3.5 /* rails begin and end so far beyond their outer points */

static const struct an_type ink_type = {AN_PLOT_TYPE_PT, AN_REGULAR, AN_INK, AN_LEFT};

void an_plot_place_points(const struct an_plot *plot, struct an_plot_layout *layout)
{
    const size_t n = plot->count;
    if (n == 0) {
        return;
    }
    const double width = layout->frame.width - 2 * AN_PLOT_INSET_PT;
    const double gutters = (double)(layout->segment_count - 1);
    const double gutter = gutters > 0 ? fmin(GUTTER, 0.3 * width / gutters) : 0;
    const double run = width - gutters * gutter;
    const double t0 = (double)plot->points[0].at_us;
    const double span = (double)plot->points[n - 1].at_us - t0;
    double passed = 0, latest = 0;
    for (size_t i = 0; i < n; i++) {
        if (i > 0 && plot->points[i].phase != plot->points[i - 1].phase) {
            passed += gutter;
        }
        double share = n > 1 ? (double)i / (double)(n - 1) : 0.5;
        if (plot->x_by_time && span > 0) {
            share = fmin(fmax(((double)plot->points[i].at_us - t0) / span, latest), 1);
            latest = share;
        }
        layout->x[i] = layout->frame.x + AN_PLOT_INSET_PT + share * run + passed;
    }
    const double reach = fmin(RAIL_REACH, gutters > 0 ? gutter / 2 - 1 : RAIL_REACH);
    for (size_t s = 0; s < layout->segment_count; s++) {
        struct an_plot_segment *segment = &layout->segments[s];
        segment->x0 = layout->x[segment->first] - fmax(reach, 0);
        segment->x1 = layout->x[segment->last] + fmax(reach, 0);
    }
    const double step = run / (double)(n > 1 ? n - 1 : 1);
    layout->dot_pt = fmin(fmax(step * 0.75, 1.3), layout->small ? 2.6 : 3.4);
}

double an_plot_x_at(const struct an_plot_layout *layout, double index)
{
    if (layout->count == 0 || !isfinite(index)) {
        return NAN;
    }
    const double last = (double)(layout->count - 1);
    const double at = fmin(fmax(index, 0), last);
    const size_t i = (size_t)at;
    if (i + 1 >= layout->count) {
        return layout->x[layout->count - 1];
    }
    return layout->x[i] + (at - (double)i) * (layout->x[i + 1] - layout->x[i]);
}

double an_plot_x_of(const struct an_plot_layout *layout, const struct an_plot *plot, int64_t at_us)
{
    size_t low = 0, high = plot->count; /* the first point at or after the instant */
    while (low < high) {
        const size_t middle = low + (high - low) / 2;
        if (plot->points[middle].at_us < at_us) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    if (low == plot->count || (low == 0 && plot->points[0].at_us != at_us)) {
        return NAN;
    }
    if (low == 0) {
        return layout->x[0];
    }
    double share = 0.5;
    if (plot->x_by_time) {
        const double from = (double)plot->points[low - 1].at_us;
        const double to = (double)plot->points[low].at_us;
        share = to > from ? ((double)at_us - from) / (to - from) : 0.5;
    }
    return layout->x[low - 1] + share * (layout->x[low] - layout->x[low - 1]);
}

static bool lay_heights(const struct an_plot *plot, struct an_plot_layout *layout)
{
    size_t above = 0, below = 0;
    for (size_t i = 0; i < plot->count; i++) {
        const double v = plot->points[i].value;
        above += isfinite(v) && v > layout->scale.high;
        below += isfinite(v) && v < layout->scale.low;
    }
    const double band = layout->small ? 6 : AN_PLOT_BAND_PT;
    const struct an_box *frame = &layout->frame;
    layout->scale.y_high = frame->y + (above ? band : 0);
    layout->scale.y_low = frame->y + frame->height - (below ? band : 0);
    layout->arrows = an_arena_alloc(layout->arena, above + below + 1, sizeof *layout->arrows);
    if (!layout->arrows) {
        return false;
    }
    for (size_t i = 0; i < plot->count; i++) {
        const double v = plot->points[i].value;
        layout->y[i] = an_plot_y(&layout->scale, v);
        const bool up = v > layout->scale.high, down = v < layout->scale.low;
        if (!isfinite(v) || (!up && !down)) {
            continue;
        }
        layout->y[i] = up ? frame->y + 2.5 : frame->y + frame->height - 2.5;
        if (layout->arrow_count > 0 && layout->arrows[layout->arrow_count - 1].up == up &&
            layout->x[i] - layout->x[layout->arrows[layout->arrow_count - 1].point] < 0.8) {
            continue; /* one over the other: nothing more would be seen */
        }
        struct an_plot_arrow arrow = {.point = i, .up = up};
        arrow.text = an_plot_value(layout->arena, plot, v);
        if (!arrow.text) {
            return false;
        }
        layout->arrows[layout->arrow_count++] = arrow;
    }
    return true;
}

/* A number stands right of its arrow, else left of it, where no arrow or number is in its way. */
static void place_arrow_texts(struct an_canvas *canvas, struct an_plot_layout *layout)
{
    const double right_end = layout->frame.x + layout->frame.width;
    for (int up = 0; up < 2; up++) {
        double free_x = layout->frame.x;
        for (size_t k = 0; k < layout->arrow_count && !layout->small; k++) {
            struct an_plot_arrow *arrow = &layout->arrows[k];
            if (arrow->up != (up == 1)) {
                continue;
            }
            const double x = layout->x[arrow->point];
            double next = right_end + 4;
            for (size_t m = k + 1; m < layout->arrow_count; m++) {
                if (layout->arrows[m].up == arrow->up) {
                    next = layout->x[layout->arrows[m].point];
                    break;
                }
            }
            const double width = an_text_width(canvas, &ink_type, arrow->text);
            if (x + 5 + width + 4 <= next) {
                arrow->with_text = true;
                arrow->text_width = width;
                free_x = x + 5 + width + 2;
            } else if (x - 5 - width >= free_x) {
                arrow->with_text = true;
                arrow->text_width = -width; /* to the left */
                free_x = x + 5;
            } else {
                free_x = x + 5;
            }
        }
    }
}

static enum an_plot_mark mark_of(const struct an_plot_point *p)
{
    if (!isfinite(p->value)) {
        return AN_NO_MARK;
    }
    return p->excluded ? AN_SLASHED : p->flagged ? AN_SQUARE : p->in_run ? AN_RUN_DOT : AN_DOT;
}

/* Thousands of points on a few hundred points of paper: of marks of one kind in one narrow column
 * the lowest and the highest stay. */
static void thin_out(const struct an_plot *plot, struct an_plot_layout *layout)
{
    struct {
        double start;
        size_t low, high;
    } columns[5];
    for (int k = 0; k < 5; k++) {
        columns[k].start = -INFINITY;
        columns[k].low = columns[k].high = 0;
    }
    for (size_t i = 0; i < plot->count; i++) {
        const enum an_plot_mark mark = mark_of(&plot->points[i]);
        layout->mark[i] = mark;
        if (mark == AN_NO_MARK) {
            continue;
        }
        const double x = layout->x[i], y = layout->y[i];
        if (x - columns[mark].start >= (mark == AN_DOT ? 0.8 : 1.6)) {
            columns[mark].start = x;
            columns[mark].low = columns[mark].high = i;
            continue;
        }
        layout->crowded = layout->crowded || mark == AN_DOT;
        size_t *low = &columns[mark].low, *high = &columns[mark].high;
        const bool lower = y > layout->y[*low], higher = y < layout->y[*high];
        if (!lower && !higher) {
            layout->mark[i] = AN_NO_MARK;
            continue;
        }
        size_t *beaten = lower ? low : high;
        if (*low != *high) {
            layout->mark[*beaten] = AN_NO_MARK;
        }
        *beaten = i;
    }
}

/* One of both sums; it leaves the scale no further than the frame's edge. */
static void link_sum(const struct an_plot *plot, struct an_plot_layout *layout, bool upper)
{
    const struct an_plot_scale *scale = &layout->scale;
    bool broken = true;
    for (size_t i = 0; i < plot->count; i++) {
        const struct an_plot_point *p = &plot->points[i];
        const double sum = upper ? p->upper : p->lower;
        broken =
            broken || p->gap_before || p->anew || (i > 0 && p->phase != plot->points[i - 1].phase);
        if (!isfinite(sum) || p->excluded) {
            broken = true;
            continue;
        }
        if (broken && layout->link_count > 0) {
            layout->link_x[layout->link_count] = layout->x[i];
            layout->link_y[layout->link_count++] = NAN;
        }
        layout->link_x[layout->link_count] = layout->x[i];
        layout->link_y[layout->link_count++] =
            fmin(fmax(an_plot_y(scale, sum), scale->y_high), scale->y_low);
        broken = false;
    }
}

static bool lay_link(const struct an_plot *plot, struct an_plot_layout *layout)
{
    const size_t room = (plot->sums ? 4 : 2) * plot->count + 1;
    layout->link_x = an_arena_alloc(layout->arena, room, sizeof *layout->link_x);
    layout->link_y = an_arena_alloc(layout->arena, room, sizeof *layout->link_y);
    if (!layout->link_x || !layout->link_y) {
        return false;
    }
    if (plot->sums) {
        link_sum(plot, layout, true);
        link_sum(plot, layout, false);
        return true;
    }
    bool broken = true;
    for (size_t i = 0; i < plot->count; i++) {
        const struct an_plot_point *p = &plot->points[i];
        const bool off = p->value > layout->scale.high || p->value < layout->scale.low;
        broken =
            broken || p->gap_before || p->anew || (i > 0 && p->phase != plot->points[i - 1].phase);
        if (!isfinite(p->value) || p->excluded || off) {
            broken = true;
            continue;
        }
        if (layout->mark[i] == AN_NO_MARK) {
            continue; /* thinned out */
        }
        if (broken && layout->link_count > 0) {
            layout->link_x[layout->link_count] = layout->x[i];
            layout->link_y[layout->link_count++] = NAN;
        }
        layout->link_x[layout->link_count] = layout->x[i];
        layout->link_y[layout->link_count++] = layout->y[i];
        broken = false;
    }
    return true;
}

/* --- all of it ----------------------------------------------------------------------------- */

bool an_plot_scale_points(struct an_canvas *canvas, const struct an_plot *plot,
                          struct an_plot_layout *layout)
{
    if (!lay_heights(plot, layout)) {
        return false;
    }
    place_arrow_texts(canvas, layout);
    thin_out(plot, layout);
    return lay_link(plot, layout);
}
