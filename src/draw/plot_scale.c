/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Chooses the value scale of a chart. Decides nothing about statistics: a value off the scale is
 * still shown, by an arrow.
 *
 * The hard idea: the scale is made for the limits. It always holds them, and every value within
 * one and a half times their distance beyond; a reading that is absurd (a probe in the air, a unit
 * mistaken) would otherwise press the whole chart into one line, so it does not count.
 */
#include "draw/plot_layout.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#define HUGE_VALUE 1e300 /* sums and differences of two such stay finite */
#define BEYOND 1.5       /* how far beyond the core values still count, in cores */
#define FENCE_STRETCH 2.0
#define SIDE_STRETCH 3.0
#define LIMITS_STRETCH 1.5
#define MARGIN 0.06

static int by_value(const void *a, const void *b)
{
    const double left = *(const double *)a, right = *(const double *)b;
    return (left > right) - (left < right);
}

static double tame(double value)
{
    return value > HUGE_VALUE ? HUGE_VALUE : value < -HUGE_VALUE ? -HUGE_VALUE : value;
}

/* Where a value lies on a scale of equal steps; NAN: on no scale of ratios. */
static double placed(bool ratios, double value)
{
    return !ratios ? value : value > 0 ? log10(value) : (double)NAN;
}

struct stretch {
    double low, high;
    bool any;
};

static void take_in(struct stretch *stretch, double value)
{
    if (!isfinite(value)) {
        return;
    }
    const double v = tame(value);
    if (!stretch->any || v < stretch->low) {
        stretch->low = v;
    }
    if (!stretch->any || v > stretch->high) {
        stretch->high = v;
    }
    stretch->any = true;
}

/* Sorted values without the outer `share` on either side. */
static void take_in_most(struct stretch *stretch, const double *sorted, size_t n, double share)
{
    if (n == 0) {
        return;
    }
    size_t off = n > 3 ? (size_t)ceil(share * (double)n) : 0;
    if (2 * off >= n) {
        off = (n - 1) / 2;
    }
    take_in(stretch, sorted[off]);
    take_in(stretch, sorted[n - 1 - off]);
}

static double length(const struct stretch *stretch)
{
    return stretch->high - stretch->low;
}

/* Takes the value in if the scale does not grow beyond so many times its length. */
static void take_in_if_near(struct stretch *stretch, double value, double times, double unit)
{
    if (!isfinite(value)) {
        return;
    }
    struct stretch wider = *stretch;
    take_in(&wider, value);
    if (length(&wider) <= times * unit) {
        *stretch = wider;
    }
}

/* Limits phase by phase, so that a short phase far away is not taken for an outlier, and in each
 * without the extremes that a subgroup of one piece gives to limits that vary; those of limits that
 * run along a line lie near and are taken in. */
static void take_in_limits(struct stretch *core, const struct an_plot *plot, double *scratch)
{
    for (size_t from = 0; from < plot->count;) {
        size_t to = from;
        while (to < plot->count && plot->points[to].phase == plot->points[from].phase) {
            to++;
        }
        for (int side = 0; side < 3; side++) {
            size_t n = 0;
            for (size_t i = from; i < to; i++) {
                const struct an_plot_point *p = &plot->points[i];
                const double limit = placed(plot->ratios, side == 0   ? p->lcl
                                                          : side == 1 ? p->centre
                                                                      : p->ucl);
                if (isfinite(limit)) {
                    scratch[n++] = tame(limit);
                }
            }
            qsort(scratch, n, sizeof *scratch, by_value);
            take_in_most(core, scratch, n, n >= 20 ? 0.1 : 0.0);
        }
        from = to;
    }
    const double unit = core->any ? core->high - core->low : 0;
    for (size_t i = 0; i < plot->count; i++) {
        const struct an_plot_point *p = &plot->points[i];
        take_in_if_near(core, placed(plot->ratios, p->lcl), LIMITS_STRETCH, unit);
        take_in_if_near(core, placed(plot->ratios, p->ucl), LIMITS_STRETCH, unit);
    }
}

static void take_in_side(struct stretch *all, const struct an_side_view *side, double *scratch)
{
    size_t n = 0;
    for (size_t i = 0; i < side->count; i++) {
        if (isfinite(side->values[i])) {
            scratch[n++] = tame(side->values[i]);
        }
    }
    if (n > 0) {
        qsort(scratch, n, sizeof *scratch, by_value);
        const size_t off = n / 100;
        const double unit = length(all);
        take_in_if_near(all, scratch[off], SIDE_STRETCH, unit);
        take_in_if_near(all, scratch[n - 1 - off], SIDE_STRETCH, unit);
    }
}

/* A scale of no length is opened to something a reader can read. */
static void open_up(struct stretch *all, int decimals, bool ratios)
{
    if (!all->any) {
        *all = (struct stretch){0, 1, true};
        return;
    }
    if (ratios) {
        const double room = fmax(0, 0.5 - length(all) / 2); /* a decade at least */
        all->low -= room;
        all->high += room;
        return;
    }
    const double size = fmax(fabs(all->low), fabs(all->high));
    const double least = fmax(size * 1e-12, 1e-300);
    if (length(all) >= least) {
        return;
    }
    const int shown = decimals < 0 ? 0 : decimals > 9 ? 9 : decimals;
    const double half = fmax(fmax(5 * pow(10, -shown), least), size * 1e-9);
    const double middle = all->low / 2 + all->high / 2;
    all->low = middle - half;
    all->high = middle + half;
}

bool an_plot_scale_choose(struct an_arena *arena, const struct an_plot *plot,
                          struct an_plot_scale *scale)
{
    const size_t side_count = plot->side && !plot->small && !plot->ratios ? plot->side->count : 0;
    const size_t room = plot->count > side_count ? plot->count : side_count;
    double *scratch = an_arena_alloc(arena, room + 1, sizeof *scratch);
    double *values = an_arena_alloc(arena, plot->count + 1, sizeof *values);
    if (!scratch || !values) {
        return false;
    }
    size_t n = 0;
    for (size_t i = 0; i < plot->count; i++) {
        const double value = placed(plot->ratios, plot->points[i].value);
        if (isfinite(value)) {
            values[n++] = tame(value);
        }
    }
    qsort(values, n, sizeof *values, by_value);

    struct stretch core = {0, 0, false};
    take_in_limits(&core, plot, scratch);
    const bool by_limits = core.any && length(&core) > 0;
    if (!by_limits || n >= 4) {
        take_in_most(&core, values, n, 0.05);
    }
    scale->empty = !core.any;
    open_up(&core, plot->decimals, plot->ratios);
    struct stretch all = core;
    const double reach = BEYOND * length(&core);
    for (size_t i = 0; i < n; i++) {
        if (values[i] >= core.low - reach && values[i] <= core.high + reach) {
            take_in(&all, values[i]);
        }
    }
    const double unit = length(&all);
    if (side_count > 0) {
        take_in_side(&all, plot->side, scratch);
        take_in_if_near(&all, plot->side->lsl, FENCE_STRETCH, unit);
        take_in_if_near(&all, plot->side->usl, FENCE_STRETCH, unit);
    }
    if (!plot->small) {
        take_in_if_near(&all, placed(plot->ratios, plot->lsl), FENCE_STRETCH, unit);
        take_in_if_near(&all, placed(plot->ratios, plot->usl), FENCE_STRETCH, unit);
        take_in_if_near(&all, placed(plot->ratios, plot->target), FENCE_STRETCH, unit);
    }
    const double margin = MARGIN * length(&all);
    scale->ratios = plot->ratios;
    scale->low = plot->ratios ? pow(10, all.low - margin) : all.low - margin;
    scale->high = plot->ratios ? pow(10, all.high + margin) : all.high + margin;
    return true;
}

double an_plot_y(const struct an_plot_scale *scale, double value)
{
    if (!isfinite(value)) {
        return NAN;
    }
    double share = 0;
    if (scale->ratios) { /* what is not above 0 lies a decade below the scale */
        const double least = scale->low / 10;
        share = log10(fmax(value, least) / scale->low) / log10(scale->high / scale->low);
    } else {
        share = (tame(value) - scale->low) / (scale->high - scale->low);
    }
    return scale->y_low + share * (scale->y_high - scale->y_low);
}
