/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Time on a chart: shift marks along the top, or times along the bottom where no mark can be read.
 * Must never set two texts over each other: a name that does not fit its shift is left out, a date
 * waits for the next free place.
 */
#include "andamento/base/instant.h"
#include "draw/plot_layout.h"

#include <math.h>

#define APART 3.0

static const struct an_type small_type = {AN_PLOT_TYPE_PT, AN_REGULAR, AN_GREY, AN_LEFT};

static double edge_right(const struct an_plot_layout *layout)
{
    return layout->frame.x + layout->frame.width;
}

/* Where a shift begins on the page; NAN if no point follows it. A shift that began before the
 * first point begins at the left edge. */
static double begins(const struct an_plot *plot, const struct an_plot_layout *layout, size_t shift)
{
    const int64_t at_us = plot->shifts[shift].from_us;
    if (plot->count == 0 || at_us > plot->points[plot->count - 1].at_us) {
        return NAN;
    }
    return at_us <= plot->points[0].at_us ? layout->frame.x : an_plot_x_of(layout, plot, at_us);
}

bool an_plot_lay_shifts(struct an_canvas *canvas, const struct an_plot *plot, double y_top,
                        int *rows, struct an_plot_layout *layout)
{
    const size_t n = plot->shift_count;
    double *x = an_arena_alloc(layout->arena, n + 1, sizeof *x);
    layout->ticks = an_arena_alloc(layout->arena, n + 1, sizeof *layout->ticks);
    if (!x || !layout->ticks) {
        return false;
    }
    size_t shown_from = 0; /* of shifts before the first point only the last is on the page */
    bool any_date = false;
    for (size_t i = 0; i < n; i++) {
        x[i] = begins(plot, layout, i);
        if (x[i] <= layout->frame.x) {
            shown_from = i;
        }
    }
    double free_x = layout->frame.x;
    for (size_t i = shown_from; i < n && isfinite(x[i]); i++) {
        const struct an_plot_shift *shift = &plot->shifts[i];
        if (i > shown_from || x[i] > layout->frame.x) {
            layout->ticks[layout->tick_count++] = (struct an_plot_tick){x[i], shift->first_of_day};
        }
        if (!shift->first_of_day || !shift->date || !*shift->date) {
            continue;
        }
        const double left = x[i] + 2, width = an_text_width(canvas, &small_type, shift->date);
        if (left >= free_x && left + width <= edge_right(layout)) {
            if (!an_plot_say(layout, left, y_top, AN_LEFT, AN_REGULAR, AN_INK, shift->date)) {
                return false;
            }
            free_x = left + width + APART;
            any_date = true;
        }
    }
    const double second = y_top + (any_date ? 8.5 : 0);
    bool any_name = false;
    for (size_t i = shown_from; i < n && isfinite(x[i]); i++) {
        const char *label = plot->shifts[i].label;
        const double end = i + 1 < n && isfinite(x[i + 1]) ? x[i + 1] : edge_right(layout);
        if (!label || !*label || x[i] + 2 + an_text_width(canvas, &small_type, label) + 2 > end) {
            continue;
        }
        if (!an_plot_say(layout, x[i] + 2, second, AN_LEFT, AN_REGULAR, AN_GREY, label)) {
            return false;
        }
        any_name = true;
    }
    *rows = (int)any_date + (int)any_name;
    return true;
}

/* --- times along the bottom ---------------------------------------------------------------- */

struct reader { /* of clock times, and the day last told */
    struct an_arena *arena;
    const struct an_zone *zone;
    int64_t told_day;
    bool told;
};

static const char *month_names[] = {"January",   "February", "March",    "April",
                                    "May",       "June",     "July",     "August",
                                    "September", "October",  "November", "December"};

/* "4 March 02:10", or "02:10" if the day was told. *day is what to note as told. */
static const char *clock_text(const struct reader *reader, int64_t at_us, int64_t *day)
{
    const struct an_civil civil =
        reader->zone ? an_zone_civil(reader->zone, at_us) : an_civil_of_utc(at_us);
    *day = an_civil_days(&civil);
    if (civil.month < 1 || civil.month > 12) {
        return "";
    }
    if (reader->told && *day == reader->told_day) {
        return an_arena_printf(reader->arena, "%02d:%02d", civil.hour, civil.minute);
    }
    return an_arena_printf(reader->arena, "%d %s %02d:%02d", civil.day,
                           month_names[civil.month - 1], civil.hour, civil.minute);
}

bool an_plot_lay_times(struct an_canvas *canvas, const struct an_plot *plot, double baseline,
                       struct an_plot_layout *layout)
{
    const size_t n = plot->count;
    layout->ticks = an_arena_alloc(layout->arena, n + 1, sizeof *layout->ticks);
    if (!layout->ticks) {
        return false;
    }
    struct reader reader = {layout->arena, plot->zone, 0, false};
    double free_x = layout->frame.x, next_x = -INFINITY;
    for (size_t i = 0; i < n; i++) {
        /* A label for a point about every 62 pt; a day's first takes the width of its date. */
        if (layout->x[i] < next_x && i + 1 < n) {
            continue;
        }
        int64_t day = 0;
        const char *text = clock_text(&reader, plot->points[i].at_us, &day);
        if (!text) {
            return false;
        }
        const double width = an_text_width(canvas, &small_type, text);
        double left = layout->x[i] - width / 2;
        if (left + width > edge_right(layout)) {
            left = edge_right(layout) - width;
        }
        if (left < layout->frame.x) {
            left = layout->frame.x;
        }
        if (left < free_x || left + width > edge_right(layout) + 0.01) {
            continue;
        }
        if (!an_plot_say(layout, left, baseline, AN_LEFT, AN_REGULAR, AN_GREY, text)) {
            return false;
        }
        layout->ticks[layout->tick_count++] =
            (struct an_plot_tick){layout->x[i], !reader.told || day != reader.told_day};
        reader.told = true;
        reader.told_day = day;
        free_x = left + width + 2 * APART;
        next_x = layout->x[i] + 62;
    }
    return true;
}
