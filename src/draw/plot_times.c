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

/* Where the day that begins with a shift ends: at the next day's tick or the right edge. */
static double day_end(const struct an_plot *plot, const struct an_plot_layout *layout,
                      const double *x, size_t shift)
{
    for (size_t i = shift + 1; i < plot->shift_count && isfinite(x[i]); i++) {
        if (plot->shifts[i].first_of_day) {
            return x[i];
        }
    }
    return edge_right(layout);
}

/* Whether every whole day on the page is as wide as its date. */
static bool days_fit(struct an_canvas *canvas, const struct an_plot *plot, const double *x,
                     size_t from, const struct an_plot_layout *layout)
{
    bool any = false;
    for (size_t i = from; i < plot->shift_count && isfinite(x[i]); i++) {
        const struct an_plot_shift *shift = &plot->shifts[i];
        const double end = day_end(plot, layout, x, i);
        if (!shift->first_of_day || !shift->date || !*shift->date) {
            continue;
        }
        const bool fits = x[i] + 3 + an_text_width(canvas, &small_type, shift->date) <= end;
        if (!fits && i > from && end < edge_right(layout)) {
            return false;
        }
        any = any || fits;
    }
    return any;
}

/* Ticks of shifts and days, and the dates. A date's room ends at the next day's tick, which is as
 * high as the date. Where days are not as wide as their dates, every so many of them are dated, and
 * have the only ticks; ticks of shifts that have no names would cross the dates. */
static bool lay_dates(struct an_canvas *canvas, const struct an_plot *plot, double baseline,
                      const double *x, size_t from, bool named, struct an_plot_layout *layout)
{
    const bool any_fits = days_fit(canvas, plot, x, from, layout);
    double free_x = layout->frame.x;
    for (size_t i = from; i < plot->shift_count && isfinite(x[i]); i++) {
        const struct an_plot_shift *shift = &plot->shifts[i];
        bool dated = false;
        if (shift->first_of_day && shift->date && *shift->date) {
            const double end = any_fits ? day_end(plot, layout, x, i) : edge_right(layout);
            const double width = an_text_width(canvas, &small_type, shift->date);
            dated = x[i] + 2 >= free_x && x[i] + 3 + width <= end;
            free_x = dated ? x[i] + 2 + width + APART : free_x;
        }
        if (dated &&
            !an_plot_say(layout, x[i] + 2, baseline, AN_LEFT, AN_REGULAR, AN_INK, shift->date)) {
            return false;
        }
        const bool ticked = any_fits ? named || shift->first_of_day : dated;
        if (ticked && (i > from || x[i] > layout->frame.x)) {
            layout->ticks[layout->tick_count++] =
                (struct an_plot_tick){x[i], any_fits ? shift->first_of_day : dated};
        }
    }
    return true;
}

static bool name_fits(struct an_canvas *canvas, const struct an_plot *plot,
                      const struct an_plot_layout *layout, const double *x, size_t shift)
{
    const char *label = plot->shifts[shift].label;
    const double end =
        shift + 1 < plot->shift_count && isfinite(x[shift + 1]) ? x[shift + 1] : edge_right(layout);
    return label && *label && x[shift] + 2 + an_text_width(canvas, &small_type, label) + 2 <= end;
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
    const size_t words_before = layout->word_count;
    for (size_t i = 0; i < n; i++) {
        x[i] = begins(plot, layout, i);
        if (x[i] <= layout->frame.x) {
            shown_from = i;
        }
    }
    bool named = false;
    for (size_t i = shown_from; i < n && isfinite(x[i]) && !named; i++) {
        named = name_fits(canvas, plot, layout, x, i);
    }
    if (!lay_dates(canvas, plot, y_top, x, shown_from, named, layout)) {
        return false;
    }
    const bool any_date = layout->word_count > words_before;
    const double second = y_top + (any_date ? 8.5 : 0);
    bool any_name = false;
    for (size_t i = shown_from; i < n && isfinite(x[i]); i++) {
        const char *label = plot->shifts[i].label;
        if (!name_fits(canvas, plot, layout, x, i)) {
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

struct teller { /* sets times from left to right, naming a day once */
    struct an_canvas *canvas;
    const struct an_plot *plot;
    struct an_plot_layout *layout;
    double baseline, free_x;
    int64_t told_day;
    bool told;
};

/* An instant that is no instant (the ends of the type) is told as one far away. */
static struct an_civil civil_of(const struct an_plot *plot, int64_t instant)
{
    const int64_t far_us = INT64_C(4000000000000000000); /* 126 000 years */
    const int64_t at_us = instant > far_us ? far_us : instant < -far_us ? -far_us : instant;
    return plot->zone ? an_zone_civil(plot->zone, at_us) : an_civil_of_utc(at_us);
}

/* "4 March 02:10"; "02:10" if the day was told; "4 March" at midnight. */
static const char *clock_text(const struct teller *teller, const struct an_civil *civil)
{
    static const char *const months[] = {"January",   "February", "March",    "April",
                                         "May",       "June",     "July",     "August",
                                         "September", "October",  "November", "December"};
    struct an_arena *arena = teller->layout->arena;
    if (civil->month < 1 || civil->month > 12) {
        return "";
    }
    const char *month = months[civil->month - 1];
    if (teller->told && an_civil_days(civil) == teller->told_day) {
        return an_arena_printf(arena, "%02d:%02d", civil->hour, civil->minute);
    }
    if (civil->hour == 0 && civil->minute == 0) {
        return an_arena_printf(arena, "%d %s", civil->day, month);
    }
    return an_arena_printf(arena, "%d %s %02d:%02d", civil->day, month, civil->hour, civil->minute);
}

/* A tick with its time under it, where that is free. *said: it was. false: memory is out. */
static bool tell(struct teller *teller, double x, int64_t at_us, bool *said)
{
    struct an_plot_layout *layout = teller->layout;
    const struct an_civil civil = civil_of(teller->plot, at_us);
    const char *text = clock_text(teller, &civil);
    if (!text) {
        return false;
    }
    const double width = an_text_width(teller->canvas, &small_type, text);
    const double left = fmax(fmin(x - width / 2, edge_right(layout) - width), layout->frame.x);
    *said = left >= teller->free_x && left + width <= edge_right(layout) + 0.01;
    if (!*said) {
        return true;
    }
    const int64_t day = an_civil_days(&civil);
    layout->ticks[layout->tick_count++] =
        (struct an_plot_tick){x, !teller->told || day != teller->told_day};
    teller->told = true;
    teller->told_day = day;
    teller->free_x = left + width + 2 * APART;
    return an_plot_say(layout, left, teller->baseline, AN_LEFT, AN_REGULAR, AN_GREY, text);
}

/* Points evenly spaced: the time of a point about every 62 pt. */
static bool tell_points(struct teller *teller)
{
    double next_x = -INFINITY;
    for (size_t i = 0; i < teller->plot->count; i++) {
        const double x = teller->layout->x[i];
        bool said = false;
        if (x >= next_x && !tell(teller, x, teller->plot->points[i].at_us, &said)) {
            return false;
        }
        next_x = said ? x + 62 : next_x;
    }
    return true;
}

/* The finest round step of the clock that gives no more marks than `most`. */
static int64_t round_step(int64_t span_us, int64_t most)
{
    static const int64_t minutes[] = {1,   2,   5,   10,   15,   30,    60,    120,
                                      180, 360, 720, 1440, 2880, 10080, 20160, 40320};
    for (size_t k = 0; k < sizeof minutes / sizeof *minutes; k++) {
        if (span_us / (minutes[k] * AN_MINUTE_US) < most) {
            return minutes[k] * AN_MINUTE_US;
        }
    }
    int64_t step = 40320 * AN_MINUTE_US;
    while (span_us / step >= most) {
        step *= 2;
    }
    return step;
}

/* By the clock: round times of the zone's clock, each set back or forth where the clock jumped. */
static bool tell_clock(struct teller *teller)
{
    const struct an_plot *plot = teller->plot;
    const int64_t from = plot->points[0].at_us, to = plot->points[plot->count - 1].at_us;
    const int64_t most = (int64_t)(teller->layout->frame.width / 55);
    const int64_t step = round_step(to - from, most > 1 ? most : 1);
    const int64_t offset_us = civil_of(plot, from).offset_s * AN_SECOND_US;
    const int64_t local = from + offset_us;
    int64_t mark = local - local % step;
    mark = mark < local ? mark + step : mark;
    for (; mark - offset_us <= to; mark += step) {
        int64_t at_us = mark - offset_us;
        at_us -= civil_of(plot, at_us).offset_s * AN_SECOND_US - offset_us;
        bool said = false;
        const double x = an_plot_x_of(teller->layout, plot, at_us);
        if (isfinite(x) && !tell(teller, x, at_us, &said)) {
            return false;
        }
    }
    return true;
}

bool an_plot_lay_times(struct an_canvas *canvas, const struct an_plot *plot, double baseline,
                       struct an_plot_layout *layout)
{
    const size_t n = plot->count;
    struct teller teller = {canvas, plot, layout, baseline, layout->frame.x, 0, false};
    layout->ticks = an_arena_alloc(layout->arena, n + 64, sizeof *layout->ticks);
    layout->tick_count = 0;
    if (!layout->ticks || n == 0) {
        return layout->ticks != NULL;
    }
    /* A clock of at least two marks over years that have four digits; else the points' own times. */
    const int64_t from = plot->points[0].at_us, to = plot->points[n - 1].at_us;
    const bool tame = from > -60000000000 * AN_SECOND_US && to < 250000000000 * AN_SECOND_US;
    if (plot->x_by_time && tame && to - from >= 4 * AN_MINUTE_US) {
        return tell_clock(&teller);
    }
    return tell_points(&teller);
}
