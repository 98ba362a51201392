/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Pictures of a stability study: level and spread as control charts in the marks of every chart here,
 * and below them the bias over time with its line. Computes nothing but positions.
 *
 * The hard idea: charts show occasions evenly spaced, so that each can be read, and a drift is a
 * matter of time; so the last picture alone has a true axis of time.
 */
#include "andamento/draw/chart_panel.h"
#include "report/gauge_page.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define LEFT 52.0
#define RIGHT 62.0

static const struct an_type small = {7.5, AN_REGULAR, AN_GREY, AN_LEFT};
static const struct an_type small_right = {7.5, AN_REGULAR, AN_GREY, AN_RIGHT};
static const struct an_type small_centre = {7.5, AN_REGULAR, AN_GREY, AN_CENTRE};
static const struct an_type title_type = {8.5, AN_REGULAR, AN_INK, AN_LEFT};

/* How many decimals tell the limits apart. */
static int decimals_of(const struct an_gauge_stability *s)
{
    const double sigma = s->model.sigma_level;
    const double digits = sigma > 0.0 ? 1.0 - floor(log10(sigma)) : 3.0;
    return digits < 0.0 ? 0 : digits > 9.0 ? 9 : (int)digits;
}

static bool mark_hits(const struct an_gauge_stability *s, int panel, struct an_plot_point *points,
                      struct an_plot_signal *signals, struct an_arena *arena, size_t *count)
{
    for (size_t h = 0; h < s->hit_count[panel]; h++) {
        const struct an_rule_hit *hit = &s->hits[panel][h];
        char *code = an_arena_alloc(arena, 16, 1);
        if (!code) {
            return false;
        }
        for (size_t i = hit->first; i <= hit->last; i++) {
            points[i].in_run = points[i].in_run || hit->first != hit->last;
        }
        points[hit->last].flagged = points[hit->last].flagged || hit->first == hit->last;
        struct an_plot_signal *before = *count ? &signals[*count - 1] : NULL;
        an_rule_code(hit->rule, hit->side, &s->rules, code);
        if (before && hit->first != hit->last && before->last + 1 == hit->last &&
            !strcmp(before->code, code)) {
            before->last = hit->last; /* a run that goes on */
        } else {
            signals[(*count)++] = (struct an_plot_signal){hit->first, hit->last, code};
        }
    }
    return true;
}

static bool chart(struct an_canvas *canvas, const struct an_gauge_result *r, int panel,
                  const struct an_box *box, struct an_arena *arena)
{
    const struct an_gauge_stability *s = &r->stability;
    struct an_plot_point *points = an_arena_alloc(arena, s->count, sizeof *points);
    struct an_plot_signal *signals =
        an_arena_alloc(arena, s->hit_count[panel] + 1, sizeof *signals);
    const char *statistic = an_family_statistic(s->model.family, panel);
    const char *meaning = panel ? "" : "; target: the reference";
    const char *title =
        s->model.n_nominal > 1.5
            ? an_arena_printf(arena, "%s of %g readings%s", statistic, s->model.n_nominal, meaning)
            : an_arena_printf(arena, "%s%s", statistic, meaning);
    size_t count = 0;
    if (!points || !signals || !title) {
        return false;
    }
    for (size_t i = 0; i < s->count; i++) {
        const struct an_panel_point *p = panel ? &s->at[i].point.spread : &s->at[i].point.level;
        points[i] = (struct an_plot_point){.at_us = s->at[i].at_us,
                                           .value = p->value,
                                           .upper = (double)NAN,
                                           .lower = (double)NAN,
                                           .centre = p->centre,
                                           .lcl = p->lcl,
                                           .ucl = p->ucl};
    }
    if (!mark_hits(s, panel, points, signals, arena, &count)) {
        return false;
    }
    const struct an_plot plot = {.title = title,
                                 .unit = "",
                                 .decimals = decimals_of(s),
                                 .points = points,
                                 .count = s->count,
                                 .signals = signals,
                                 .signal_count = count,
                                 .lsl = (double)NAN,
                                 .usl = (double)NAN,
                                 .target = panel ? (double)NAN : s->reference,
                                 .left_pt = LEFT,
                                 .right_pt = RIGHT};
    an_plot_draw(canvas, box, &plot);
    return true;
}

/* ---- the bias over time ------------------------------------------------------------------------------ */
struct field {
    struct an_box box;
    double low, high, days;
};

static double across(const struct field *f, double day)
{
    return f->box.x + 6.0 + (f->box.width - 12.0) * (f->days > 0.0 ? day / f->days : 0.5);
}

static double down(const struct field *f, double value)
{
    return f->box.y + f->box.height * (f->high - value) / (f->high - f->low);
}

static void tell_scale(struct an_canvas *canvas, const struct field *f)
{
    const double rough = (f->high - f->low) / 4.0;
    const double power = pow(10.0, floor(log10(rough)));
    const double part = rough / power;
    const double step = power * (part <= 1.0 ? 1.0 : part <= 2.0 ? 2.0 : part <= 5.0 ? 5.0 : 10.0);
    char text[32];
    for (double k = ceil(f->low / step); k * step <= f->high; k += 1.0) {
        const double y = down(f, k * step);
        (void)snprintf(text, sizeof text, "%.6g", fabs(k) < 0.5 ? 0.0 : k * step);
        an_text_draw_fitted(canvas, f->box.x - 46, y + 2.5, 42, &small_right, text);
        an_draw_line(canvas, f->box.x - 3, y, f->box.x, y, 0.4, AN_GREY);
    }
}

static void tell_days(struct an_canvas *canvas, const struct field *f,
                      const struct an_gauge_stability *s)
{
    char text[40];
    const double y = f->box.y + f->box.height + 10.0;
    for (int part = 0; part <= 4; part++) {
        const double day = f->days * part / 4.0;
        const double x = across(f, day);
        an_instant_rfc3339(s->at[0].at_us + (int64_t)(day * (double)AN_DAY_US), text);
        text[f->days < 3.0 ? 16 : 10] = '\0';
        if (f->days < 3.0) {
            text[10] = ' ';
        }
        an_draw_line(canvas, x, f->box.y + f->box.height, x, f->box.y + f->box.height + 3.0, 0.4,
                     AN_GREY);
        if (part == 0) {
            an_text_draw_fitted(canvas, x - 6.0, y, 90, &small, text);
        } else if (part == 4) {
            an_text_draw_fitted(canvas, x - 84.0, y, 90, &small_right, text);
        } else {
            an_text_draw_fitted(canvas, x - 45.0, y, 90, &small_centre, text);
        }
    }
}

static bool bias(struct an_canvas *canvas, const struct an_gauge_result *r,
                 const struct an_box *box, struct an_arena *arena)
{
    enum { STEPS = 40 };
    const struct an_gauge_stability *s = &r->stability;
    double *x = an_arena_alloc(arena, r->n, sizeof *x);
    double *y = an_arena_alloc(arena, r->n, sizeof *y);
    double line_x[STEPS + 1];
    double line_y[3][STEPS + 1];
    struct field f = {
        .box = {box->x + LEFT, box->y + 14.0, box->width - LEFT - RIGHT, box->height - 30.0},
        .days = s->days};
    if (!x || !y) {
        return false;
    }
    for (size_t i = 0; i < r->n; i++) {
        f.low = fmin(f.low, r->value[i] - s->reference);
        f.high = fmax(f.high, r->value[i] - s->reference);
    }
    f.low = fmin(f.low, fmin(s->start.lower, s->end.lower));
    f.high = fmax(f.high, fmax(s->start.upper, s->end.upper));
    const double room = f.high > f.low ? 0.08 * (f.high - f.low) : 1.0;
    f.low -= room;
    f.high += room;
    for (size_t o = 0; o < s->count; o++) {
        const double day = (double)(s->at[o].at_us - s->at[0].at_us) / (double)AN_DAY_US;
        for (size_t k = 0; k < (size_t)s->at[o].sample.n; k++) {
            x[s->at[o].first + k] = across(&f, day);
            y[s->at[o].first + k] = down(&f, r->value[s->at[o].first + k] - s->reference);
        }
    }
    for (size_t i = 0; i <= STEPS; i++) {
        const double day = s->days * (double)i / STEPS;
        const struct an_bounds band = an_gauge_band(&s->drift, day);
        line_x[i] = across(&f, day);
        line_y[0][i] = down(&f, band.lower);
        line_y[1][i] = down(&f, (band.lower + band.upper) / 2.0);
        line_y[2][i] = down(&f, band.upper);
    }
    const double right = f.box.x + f.box.width;
    const double zero = down(&f, 0.0);
    const double end = line_y[1][STEPS];
    const double apart = fabs(end - zero) < 9.0 ? (end < zero ? -5.0 : 5.0) : 0.0;
    an_text_draw_fitted(canvas, f.box.x, box->y + 8.0, f.box.width, &title_type,
                        "reading less reference over time, line of the means and its 95 % band");
    tell_scale(canvas, &f);
    tell_days(canvas, &f, s);
    an_draw_rectangle(canvas, &f.box, AN_PALE, 0.35);
    an_draw_dashes(canvas, f.box.x, zero, right, zero, 0.9, 4, 2, AN_FENCE);
    an_draw_polyline(canvas, line_x, line_y[0], STEPS + 1, 0.5, AN_GREY);
    an_draw_polyline(canvas, line_x, line_y[1], STEPS + 1, 0.9, AN_INK);
    an_draw_polyline(canvas, line_x, line_y[2], STEPS + 1, 0.5, AN_GREY);
    an_draw_dots(canvas, x, y, r->n, 2.8, AN_INK);
    an_draw_frame(canvas, &f.box, 0.4, AN_RAIL);
    an_text_draw_fitted(canvas, right + 4, zero + 2.5 - apart, RIGHT - 4, &small, "reference");
    an_text_draw_fitted(canvas, right + 4, end + 2.5 + apart, RIGHT - 4, &small, "line");
    return true;
}

bool an_gauge_stability_picture(struct an_canvas *canvas, const struct an_gauge_result *r,
                                const struct an_box *box, struct an_arena *arena)
{
    const struct an_box level = {box->x, box->y, box->width, 142.0};
    const struct an_box spread = {box->x, box->y + 144.0, box->width, 90.0};
    const struct an_box over_time = {box->x, box->y + 240.0, box->width, 134.0};
    return chart(canvas, r, 0, &level, arena) && chart(canvas, r, 1, &spread, arena) &&
           bias(canvas, r, &over_time, arena);
}
