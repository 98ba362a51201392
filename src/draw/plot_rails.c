/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Rails, fences and the values beside them.
 *
 * The hard idea: a limit that is the same for all points of its phase is one straight rail; a limit
 * that varies is a staircase with a step half-way between two points, since it holds for the point
 * and not for the way to the next one. A rail ends where the chart is broken, and runs on over
 * points without a value, which have no limits because there was nothing to judge.
 */
#include "draw/plot_layout.h"

#include <math.h>

#define REACH_PT 4.0

static double limit_of(const struct an_plot_point *point, enum an_plot_side side)
{
    return side == AN_LOWER ? point->lcl : side == AN_UPPER ? point->ucl : point->centre;
}

/* Equal but for rounding, as seen on the page. */
static bool alike(const struct an_plot_layout *layout, double a, double b)
{
    return fabs(an_plot_y(&layout->scale, a) - an_plot_y(&layout->scale, b)) < 0.02;
}

static double clipped_y(const struct an_plot_layout *layout, double value)
{
    const double y = an_plot_y(&layout->scale, value);
    return fmin(fmax(y, layout->scale.y_high), layout->scale.y_low);
}

/* Where a rail ends that its neighbour has no limits for: half-way to it, or, where nothing was
 * measured, a little beyond its own point. */
static double end_beside(double x, double neighbour_x, double neighbour_value)
{
    const double half = (neighbour_x - x) / 2;
    const double most = isfinite(neighbour_value) ? fabs(half) : fmin(fabs(half), REACH_PT);
    return x + copysign(most, half);
}

/* One stretch of finite limits [a, b] in a segment. */
static bool lay_stretch(const struct an_plot *plot, struct an_plot_layout *layout,
                        const struct an_plot_segment *segment, enum an_plot_side side, size_t a,
                        size_t b)
{
    const double x0 = a == segment->first
                          ? segment->x0
                          : end_beside(layout->x[a], layout->x[a - 1], plot->points[a - 1].value);
    const double x1 = b == segment->last
                          ? segment->x1
                          : end_beside(layout->x[b], layout->x[b + 1], plot->points[b + 1].value);
    struct an_plot_rail rail = {.side = side};
    for (size_t i = a + 1; i <= b && !rail.stepped; i++) {
        const double limit = limit_of(&plot->points[i], side);
        rail.stepped = isfinite(limit) && !alike(layout, limit_of(&plot->points[a], side), limit);
    }
    const size_t room = rail.stepped ? 2 * (b - a + 1) : 2;
    rail.x = an_arena_alloc(layout->arena, room, sizeof *rail.x);
    rail.y = an_arena_alloc(layout->arena, room, sizeof *rail.y);
    if (!rail.x || !rail.y) {
        return false;
    }
    double y = clipped_y(layout, limit_of(&plot->points[a], side));
    if (!rail.stepped) {
        const double value = limit_of(&plot->points[a], side);
        if (value < layout->scale.low || value > layout->scale.high) {
            return true; /* off the scale: its value still stands in the margin */
        }
    }
    rail.x[rail.count] = x0;
    rail.y[rail.count++] = y;
    for (size_t i = a + 1; rail.stepped && i <= b; i++) {
        const double limit = limit_of(&plot->points[i], side);
        const double next = isfinite(limit) ? clipped_y(layout, limit) : y;
        if (fabs(next - y) >= 0.05) {
            const double x = (layout->x[i - 1] + layout->x[i]) / 2;
            rail.x[rail.count] = x;
            rail.y[rail.count++] = y;
            rail.x[rail.count] = x;
            rail.y[rail.count++] = next;
            y = next;
        }
    }
    rail.x[rail.count] = x1;
    rail.y[rail.count++] = y;
    layout->rails[layout->rail_count++] = rail;
    return true;
}

/* The last point of the stretch that begins at a: points without a value are passed over if limits
 * come again behind them. */
static size_t stretch_end(const struct an_plot *plot, size_t a, size_t last, enum an_plot_side side)
{
    size_t end = a;
    for (size_t i = a + 1; i <= last && !plot->points[i].anew; i++) {
        if (isfinite(limit_of(&plot->points[i], side))) {
            end = i;
        } else if (isfinite(plot->points[i].value)) {
            break;
        }
    }
    return end;
}

bool an_plot_lay_rails(const struct an_plot *plot, struct an_plot_layout *layout)
{
    static const enum an_plot_side sides[] = {AN_LOWER, AN_MIDDLE, AN_UPPER};
    size_t room = 3 * layout->segment_count;
    for (size_t i = 1; i < plot->count; i++) {
        for (int k = 0; k < 3; k++) {
            room += isfinite(limit_of(&plot->points[i], sides[k])) &&
                    (plot->points[i].anew || !isfinite(limit_of(&plot->points[i - 1], sides[k])));
        }
    }
    layout->rails = an_arena_alloc(layout->arena, room + 1, sizeof *layout->rails);
    if (!layout->rails) {
        return false;
    }
    for (size_t s = 0; s < layout->segment_count; s++) {
        const struct an_plot_segment *segment = &layout->segments[s];
        for (int k = 0; k < 3; k++) {
            for (size_t a = segment->first; a <= segment->last; a++) {
                if (!isfinite(limit_of(&plot->points[a], sides[k]))) {
                    continue;
                }
                const size_t b = stretch_end(plot, a, segment->last, sides[k]);
                if (!lay_stretch(plot, layout, segment, sides[k], a, b)) {
                    return false;
                }
                a = b;
            }
        }
    }
    return true;
}

/* Pools: labels that touch are moved as one block whose middle is the mean of their wishes. */
static void push_apart(struct an_plot_label **order, size_t n, double top, double bottom,
                       double pitch)
{
    double middle[8];
    size_t size[8], pools = 0;
    for (size_t i = 0; i < n; i++) {
        middle[pools] = order[i]->wanted_y;
        size[pools++] = 1;
        for (;;) {
            const size_t last = pools - 1;
            const double half = pitch * (double)(size[last] - 1) / 2;
            middle[last] = fmin(fmax(middle[last], top + half), bottom - half);
            if (last == 0) {
                break;
            }
            const double apart = pitch * (double)(size[last] + size[last - 1]) / 2;
            if (middle[last] - middle[last - 1] >= apart - 1e-9) {
                break;
            }
            const double a = (double)size[last - 1], b = (double)size[last];
            middle[last - 1] = (middle[last - 1] * a + middle[last] * b) / (a + b);
            size[last - 1] += size[last];
            pools--;
        }
    }
    size_t at = 0;
    for (size_t p = 0; p < pools; p++) {
        for (size_t k = 0; k < size[p]; k++, at++) {
            order[at]->y = middle[p] + pitch * ((double)k - (double)(size[p] - 1) / 2);
        }
    }
}

void an_plot_spread_labels(struct an_plot_label *labels, size_t n, double top, double bottom,
                           double pitch)
{
    struct an_plot_label *order[8];
    size_t shown = 0;
    for (size_t i = 0; i < n && i < 8; i++) {
        labels[i].shown = isfinite(labels[i].wanted_y);
        shown += labels[i].shown;
    }
    while (shown > 1 && pitch * (double)(shown - 1) > bottom - top) {
        struct an_plot_label *last = NULL;
        for (size_t i = 0; i < n && i < 8; i++) {
            if (labels[i].shown && (!last || labels[i].rank > last->rank)) {
                last = &labels[i];
            }
        }
        if (!last) {
            break;
        }
        last->shown = false;
        shown--;
    }
    size_t count = 0;
    for (size_t i = 0; i < n && i < 8; i++) {
        if (labels[i].shown) { /* insertion by height; of equal ones the greater value is above */
            size_t at = count++;
            while (at > 0 && (order[at - 1]->wanted_y > labels[i].wanted_y ||
                              (order[at - 1]->wanted_y >= labels[i].wanted_y &&
                               order[at - 1]->value < labels[i].value))) {
                order[at] = order[at - 1];
                at--;
            }
            order[at] = &labels[i];
        }
    }
    push_apart(order, count, top, bottom, pitch);
}
