/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The side view: the distribution of single readings lying on its side, on the plot's own scale,
 * with the specification's fence beside it.
 *
 * The hard idea: bins are cut from the scale, not from the readings, so that a bar stands exactly
 * at the height of the values it counts.
 */
#include "draw/plot_layout.h"

#include <math.h>
#include <stdlib.h>

#define LEAST_BIN_PT 2.5

static int by_value(const void *a, const void *b)
{
    const double left = *(const double *)a, right = *(const double *)b;
    return (left > right) - (left < right);
}

/* Freedman and Diaconis (1981): a width of 2 IQR n^(-1/3), from memory; not under what can be seen
 * nor coarser than eight bins over the scale. */
static size_t bins_for(const double *sorted, size_t n, const struct an_plot_scale *scale)
{
    const double span = scale->high - scale->low;
    const double iqr = sorted[n - 1 - n / 4] - sorted[n / 4];
    const double width = 2 * iqr / cbrt((double)n);
    const double most = floor((scale->y_low - scale->y_high) / LEAST_BIN_PT);
    double wanted = width > 0 ? ceil(span / width) : 24;
    wanted = fmin(fmax(wanted, 8), fmax(most, 1));
    return (size_t)wanted;
}

bool an_plot_lay_side(const struct an_plot *plot, struct an_plot_layout *layout)
{
    const struct an_side_view *side = plot->side;
    const struct an_plot_scale *scale = &layout->scale;
    double *inside = an_arena_alloc(layout->arena, side->count + 1, sizeof *inside);
    if (!inside) {
        return false;
    }
    size_t n = 0;
    for (size_t i = 0; i < side->count; i++) {
        const double v = side->values[i];
        if (!isfinite(v)) {
            continue;
        }
        if (v < scale->low) {
            layout->side_below++;
        } else if (v > scale->high) {
            layout->side_above++;
        } else {
            inside[n++] = v;
        }
    }
    if (n == 0) {
        return true;
    }
    qsort(inside, n, sizeof *inside, by_value);
    const size_t bins = bins_for(inside, n, scale);
    layout->bins = an_arena_alloc(layout->arena, bins, sizeof *layout->bins);
    if (!layout->bins) {
        return false;
    }
    layout->bin_count = bins;
    const double step = (scale->high - scale->low) / (double)bins;
    size_t most = 1;
    for (size_t i = 0; i < n; i++) {
        const double at = (inside[i] - scale->low) / (scale->high - scale->low) * (double)bins;
        const size_t bin = at >= (double)bins ? bins - 1 : (size_t)at;
        layout->bins[bin].count++;
        most = layout->bins[bin].count > most ? layout->bins[bin].count : most;
    }
    const double pitch = (scale->y_low - scale->y_high) / (double)bins;
    for (size_t b = 0; b < bins; b++) {
        struct an_plot_bin *bin = &layout->bins[b];
        bin->value_low = scale->low + step * (double)b;
        bin->value_high = bin->value_low + step;
        bin->box.x = layout->side.x;
        bin->box.width = layout->side.width * (double)bin->count / (double)most;
        bin->box.y = scale->y_low - pitch * (double)(b + 1);
        bin->box.height = pitch;
    }
    return true;
}
