/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Pictures of a gauge study: the readings themselves, and bars with bounds. Responsible for showing
 * every reading; computes nothing but positions.
 */
#include "report/gauge_page.h"

#include <math.h>
#include <stdio.h>

#define ROW_PT 15.0

static const struct an_type small = {7.5, AN_REGULAR, AN_GREY, AN_LEFT};
static const struct an_type small_right = {7.5, AN_REGULAR, AN_GREY, AN_RIGHT};
static const struct an_type small_centre = {7.5, AN_REGULAR, AN_GREY, AN_CENTRE};
static const struct an_type body = {8.5, AN_REGULAR, AN_INK, AN_LEFT};
static const struct an_type body_right = {8.5, AN_REGULAR, AN_INK, AN_RIGHT};

struct scale {
    double low, high; /* of the values */
    double from, to;  /* where they lie */
};

static double at(const struct scale *s, double value)
{
    return s->from + (value - s->low) / (s->high - s->low) * (s->to - s->from);
}

static struct scale scale_of(const double x[], size_t n, double from, double to)
{
    struct scale s = {x[0], x[0], from, to};
    for (size_t i = 1; i < n; i++) {
        s.low = fmin(s.low, x[i]);
        s.high = fmax(s.high, x[i]);
    }
    const double room = s.high > s.low ? 0.06 * (s.high - s.low) : 1.0;
    s.low -= room;
    s.high += room;
    return s;
}

enum { TICKS_MOST = 9 };

/* The finest step of 1, 2 and 5 times a power of ten that gives no more ticks than find room. */
static double step_of(const struct scale *s)
{
    double power = pow(10.0, floor(log10((s->high - s->low) / TICKS_MOST)));
    for (;; power *= 10.0) {
        for (int k = 0; k < 3; k++) {
            const double step = power * (k == 0 ? 1.0 : k == 1 ? 2.0 : 5.0);
            if (floor(s->high / step) - ceil(s->low / step) + 1.0 <= TICKS_MOST) {
                return step;
            }
        }
    }
}

static const char *tick_text(double value, double step, char text[32])
{
    const double decimals = step < 1.0 ? ceil(-log10(step) - 1e-9) : 0.0;
    if (decimals > 9.0 || fabs(value) >= 1e9) {
        (void)snprintf(text, 32, "%.6g", value);
        return text;
    }
    const bool negative = value < -step / 2.0;
    (void)snprintf(text, 32, "%s%.*f", negative ? "\xE2\x88\x92" : "", (int)decimals, fabs(value));
    return text;
}

/* Round values along the left side. */
static void tell_values(struct an_canvas *canvas, const struct scale *s, double x)
{
    const double step = step_of(s);
    char text[32];
    for (double k = ceil(s->low / step); k * step <= s->high; k += 1.0) {
        const double y = at(s, k * step);
        an_text_draw_fitted(canvas, x - 46, y + 2.5, 42, &small_right,
                            tick_text(k * step, step, text));
        an_draw_line(canvas, x - 3, y, x, y, 0.4, AN_GREY);
    }
}

/* What stands along the bottom, at its right end. */
static void tell_across(struct an_canvas *canvas, const struct an_box *field, const char *what,
                        const char *unit, struct an_arena *arena)
{
    const char *text = unit ? an_arena_printf(arena, "%s, %s", what, unit) : what;
    an_text_draw_fitted(canvas, field->x, field->y + field->height + 20, field->width, &small_right,
                        text ? text : what);
}

/* ---- crossed: a panel an operator, parts side by side ---------------------------------------------------- */
static double mean_of_part(const struct an_gauge_result *r, size_t part)
{
    const size_t each = r->person_count * r->repeats;
    double sum = 0.0;
    for (size_t i = 0; i < each; i++) {
        sum += r->value[part * each + i] / (double)each;
    }
    return sum;
}

static bool panel(struct an_canvas *canvas, const struct an_gauge_result *r, size_t person,
                  const struct scale *y, const struct an_box *box, struct an_arena *arena)
{
    double *px = an_arena_alloc(arena, r->part_count * r->repeats + 1, sizeof *px);
    double *py = an_arena_alloc(arena, r->part_count * r->repeats + 1, sizeof *py);
    if (!px || !py) {
        return false;
    }
    const double pitch = box->width / (double)r->part_count;
    an_draw_rectangle(canvas, box, AN_PALE, 0.35);
    for (size_t p = 0; p < r->part_count; p++) {
        const double middle = box->x + ((double)p + 0.5) * pitch;
        const double mean = at(y, mean_of_part(r, p));
        an_draw_line(canvas, middle - 0.42 * pitch, mean, middle + 0.42 * pitch, mean, 1.2,
                     AN_RAIL);
        for (size_t k = 0; k < r->repeats; k++) {
            const size_t i = p * r->repeats + k;
            const double across = ((double)k + 0.5) / (double)r->repeats - 0.5;
            px[i] = middle + 0.6 * pitch * across;
            py[i] = at(y, r->value[(p * r->person_count + person) * r->repeats + k]);
        }
        if (r->part_count <= 15) {
            an_text_draw_fitted(canvas, middle - pitch / 2.0, box->y + box->height + 9.0, pitch,
                                &small_centre, r->parts[p]);
        }
    }
    an_draw_dots(canvas, px, py, r->part_count * r->repeats, 3.0, AN_INK);
    an_draw_frame(canvas, box, 0.4, AN_RAIL);
    const char *name = an_arena_printf(arena, "operator %s", r->people[person]);
    an_text_draw_fitted(canvas, box->x, box->y - 3, box->width, &body,
                        name ? name : r->people[person]);
    return true;
}

static bool crossed(struct an_canvas *canvas, const struct an_gauge_result *r,
                    const struct an_box *box, struct an_arena *arena)
{
    const struct scale y = scale_of(r->value, r->n, box->y + box->height - 12, box->y + 12);
    const double left = box->x + 46;
    const double gap = 8.0;
    const double width = (box->x + box->width - left - gap * (double)(r->person_count - 1)) /
                         (double)r->person_count;
    tell_values(canvas, &y, left);
    for (size_t o = 0; o < r->person_count; o++) {
        const struct an_box own = {left + (double)o * (width + gap), box->y + 12, width,
                                   box->height - 24};
        if (!panel(canvas, r, o, &y, &own, arena)) {
            return false;
        }
    }
    const struct an_box whole = {left, box->y + 12, box->x + box->width - left, box->height - 24};
    tell_across(canvas, &whole, "part", NULL, arena);
    return true;
}

/* ---- bias: readings as they came, the reference as a line ------------------------------------------------- */
static bool bias(struct an_canvas *canvas, const struct an_gauge_result *r,
                 const struct an_box *box, struct an_arena *arena)
{
    double *all = an_arena_alloc(arena, r->n + 1, sizeof *all);
    double *px = an_arena_alloc(arena, r->n, sizeof *px);
    double *py = an_arena_alloc(arena, r->n, sizeof *py);
    if (!all || !px || !py) {
        return false;
    }
    const double reference = r->record->reference_value;
    for (size_t i = 0; i < r->n; i++) {
        all[i] = r->value[i];
    }
    all[r->n] = reference;
    const double left = box->x + 46;
    const struct an_box field = {left, box->y + 4, box->x + box->width - left - 70,
                                 box->height - 24};
    const struct scale y = scale_of(all, r->n + 1, field.y + field.height, field.y);
    for (size_t i = 0; i < r->n; i++) {
        px[i] = field.x + ((double)i + 0.5) * field.width / (double)r->n;
        py[i] = at(&y, r->value[i]);
    }
    const double high = at(&y, reference + r->bias.upper);
    const struct an_box band = {field.x, high, field.width,
                                at(&y, reference + r->bias.lower) - high};
    const double right = field.x + field.width;
    tell_values(canvas, &y, left);
    an_draw_rectangle(canvas, &field, AN_PALE, 0.35);
    an_draw_rectangle(canvas, &band, AN_RAIL, 0.25);
    an_draw_line(canvas, field.x, at(&y, r->bias.mean), right, at(&y, r->bias.mean), 0.8, AN_INK);
    an_draw_dashes(canvas, field.x, at(&y, reference), right, at(&y, reference), 0.9, 4, 2,
                   AN_FENCE);
    an_draw_dots(canvas, px, py, r->n, 3.5, AN_INK);
    an_draw_frame(canvas, &field, 0.4, AN_RAIL);
    const size_t every = r->n <= 12 ? 1 : r->n <= 60 ? 5 : r->n <= 120 ? 10 : (r->n / 60 + 1) * 5;
    for (size_t i = 0; i < r->n; i++) {
        if (i == 0 || (i + 1) % every == 0) {
            char text[32];
            (void)snprintf(text, sizeof text, "%zu", i + 1);
            an_text_draw_fitted(canvas, px[i] - 20, field.y + field.height + 10, 40, &small_centre,
                                text);
        }
    }
    tell_across(canvas, &field, "number of the reading", NULL, arena);
    const double apart = at(&y, reference) - at(&y, r->bias.mean);
    const double shift = fabs(apart) < 9.0 ? (apart < 0.0 ? -9.0 : 9.0) - apart : 0.0;
    an_text_draw_fitted(canvas, right + 4, at(&y, r->bias.mean) + 2.5, 66, &small, "mean, bounds");
    an_text_draw_fitted(canvas, right + 4, at(&y, reference) + 2.5 + shift, 66, &small,
                        "reference");
    return true;
}

/* ---- linearity: bias over the reference, the line in its band ------------------------------------------------ */
static bool linearity(struct an_canvas *canvas, const struct an_gauge_result *r, const char *unit,
                      const struct an_box *box, struct an_arena *arena)
{
    enum { STEPS = 40 };
    double *off = an_arena_alloc(arena, r->n + 1, sizeof *off);
    double *px = an_arena_alloc(arena, r->n, sizeof *px);
    double *py = an_arena_alloc(arena, r->n, sizeof *py);
    double line_x[STEPS + 1];
    double line_y[3][STEPS + 1];
    char text[32];
    if (!off || !px || !py) {
        return false;
    }
    for (size_t i = 0; i < r->n; i++) {
        off[i] = r->value[i] - r->reference[i];
    }
    const double left = box->x + 46;
    const struct an_box field = {left, box->y + 4, box->x + box->width - left, box->height - 24};
    const struct scale y = scale_of(off, r->n + 1, field.y + field.height, field.y);
    const struct scale x = scale_of(r->reference, r->n, field.x, field.x + field.width);
    for (size_t i = 0; i < r->n; i++) {
        px[i] = at(&x, r->reference[i]);
        py[i] = at(&y, off[i]);
    }
    for (size_t i = 0; i <= STEPS; i++) {
        const double reference = x.low + (x.high - x.low) * (double)i / STEPS;
        const struct an_bounds band = an_gauge_band(&r->line, reference);
        const double values[] = {band.lower, (band.lower + band.upper) / 2.0, band.upper};
        line_x[i] = at(&x, reference);
        for (size_t k = 0; k < 3; k++) {
            const double inside = fmax(y.low, fmin(y.high, values[k]));
            line_y[k][i] = at(&y, inside);
        }
    }
    tell_values(canvas, &y, left);
    an_draw_rectangle(canvas, &field, AN_PALE, 0.35);
    an_draw_dashes(canvas, field.x, at(&y, 0.0), field.x + field.width, at(&y, 0.0), 0.9, 4, 2,
                   AN_FENCE);
    an_draw_polyline(canvas, line_x, line_y[0], STEPS + 1, 0.5, AN_GREY);
    an_draw_polyline(canvas, line_x, line_y[1], STEPS + 1, 0.9, AN_INK);
    an_draw_polyline(canvas, line_x, line_y[2], STEPS + 1, 0.5, AN_GREY);
    an_draw_dots(canvas, px, py, r->n, 3.0, AN_INK);
    an_draw_frame(canvas, &field, 0.4, AN_RAIL);
    for (size_t i = 0; i < r->n; i++) {
        (void)snprintf(text, sizeof text, "%.4g", r->reference[i]);
        if (i == 0 || r->reference[i] != r->reference[i - 1]) {
            an_text_draw_fitted(canvas, px[i] - 20, field.y + field.height + 10, 40, &small_centre,
                                text);
        }
    }
    tell_across(canvas, &field, "reference", unit, arena);
    return true;
}

/* ---- sorting: what each said of each part ----------------------------------------------------------------------- */
static double shade_of(const struct an_gauge_result *r, size_t word)
{
    return 0.15 + 0.6 * (double)word / (double)(r->word_count > 1 ? r->word_count - 1 : 1);
}

/* Which shade is which category, under the answers. */
static void tell_words(struct an_canvas *canvas, const struct an_gauge_result *r, double x,
                       double right, double top)
{
    for (size_t w = 0; w < r->word_count; w++) {
        const double width = an_text_width(canvas, &small, r->words[w]);
        const struct an_box box = {x, top, 9, 9};
        if (x + 13 + width > right) {
            break;
        }
        an_draw_rectangle(canvas, &box, AN_GREY, shade_of(r, w));
        an_text_draw_fitted(canvas, x + 13, top + 7.5, width + 2, &small, r->words[w]);
        x += width + 28;
    }
}

static double sorting_row(const struct an_gauge_result *r)
{
    const size_t rows = r->person_count * r->repeats;
    return fmin(14.0, 190.0 / (double)rows);
}

double an_gauge_picture_height(const struct an_gauge_result *r)
{
    const double rows = (double)(r->person_count * r->repeats);
    return r->record->kind == AN_GAUGE_SORTING     ? rows * sorting_row(r) + 33
           : r->record->kind == AN_GAUGE_STABILITY ? AN_STABILITY_PICTURE_PT
                                                   : 218;
}

static void sorting(struct an_canvas *canvas, const struct an_gauge_result *r,
                    const struct an_box *box)
{
    const double left = box->x + 80;
    const double width = (box->x + box->width - left) / (double)r->part_count;
    const double height = sorting_row(r);
    for (size_t o = 0; o < r->person_count; o++) {
        const double top = box->y + 4 + (double)(o * r->repeats) * height;
        an_text_draw_fitted(canvas, box->x, top + 9, 76, &body, r->people[o]);
        an_draw_line(canvas, box->x, top, box->x + box->width, top, 0.3, AN_GREY);
        for (size_t p = 0; p < r->part_count; p++) {
            for (size_t k = 0; k < r->repeats; k++) {
                const size_t word = r->sorted[(p * r->person_count + o) * r->repeats + k];
                const struct an_box cell = {left + (double)p * width + 0.4,
                                            top + (double)k * height + 0.8, width - 0.8,
                                            height - 1.6};
                const bool wrong = r->standard && word != r->standard[p];
                an_draw_rectangle(canvas, &cell, AN_GREY, shade_of(r, word));
                if (wrong) { /* the stroke tells it in grey, too */
                    const enum an_ink ink = shade_of(r, word) > 0.4 ? AN_PAPER : AN_SIGNAL;
                    an_draw_line(canvas, cell.x + 2, cell.y + cell.height - 2,
                                 cell.x + cell.width - 2, cell.y + 2, 1.0, ink);
                    an_draw_frame(canvas, &cell, 1.2, AN_SIGNAL);
                }
            }
        }
    }
    const double bottom = box->y + 4 + (double)(r->person_count * r->repeats) * height;
    const size_t every = width >= 20 ? 1 : width >= 4 ? 5 : 10;
    for (size_t p = 0; p < r->part_count; p++) {
        if (p == 0 || (p + 1) % every == 0) {
            an_text_draw_fitted(canvas, left + ((double)p + 0.5) * width - 20, bottom + 8, 40,
                                &small_centre, r->parts[p]);
        }
    }
    tell_words(canvas, r, left, box->x + box->width, bottom + 14);
}

bool an_gauge_picture(struct an_canvas *canvas, const struct an_gauge_result *r, const char *unit,
                      const struct an_box *box, struct an_arena *arena)
{
    switch (r->record->kind) {
    case AN_GAUGE_CROSSED:
        return crossed(canvas, r, box, arena);
    case AN_GAUGE_BIAS:
        return bias(canvas, r, box, arena);
    case AN_GAUGE_LINEARITY:
        return linearity(canvas, r, unit, box, arena);
    case AN_GAUGE_STABILITY:
        return an_gauge_stability_picture(canvas, r, box, arena);
    case AN_GAUGE_SORTING:
        break;
    }
    sorting(canvas, r, box);
    return true;
}

/* ---- bars ------------------------------------------------------------------------------------------------------ */
struct bar {
    const char *name;
    double value, lower, upper; /* per cent; NAN bounds: none */
    const char *words;
};

static void draw_bar(struct an_canvas *canvas, const struct bar *bar, const struct scale *x,
                     double top, double name_width, double right)
{
    const double y = top + ROW_PT / 2.0;
    const double end = at(x, fmin(bar->value, x->high));
    const struct an_box box = {x->from, top + 3.5, end - x->from, ROW_PT - 7};
    an_text_draw_fitted(canvas, x->from - name_width, y + 3, name_width - 6, &body, bar->name);
    if (isfinite(bar->value) && bar->value > 0.0) {
        an_draw_rectangle(canvas, &box, AN_GREY, 0.55);
    }
    if (isfinite(bar->lower) && isfinite(bar->upper) && bar->upper > 0.0) {
        const double low = at(x, fmin(bar->lower, x->high));
        const double high = at(x, fmin(bar->upper, x->high));
        an_draw_line(canvas, low, y, high, y, 1.0, AN_INK);
        an_draw_line(canvas, low, y - 3, low, y + 3, 1.0, AN_INK);
        if (bar->upper <= x->high) { /* else it goes on: no end is drawn */
            an_draw_line(canvas, high, y - 3, high, y + 3, 1.0, AN_INK);
        }
    }
    an_text_draw_fitted(canvas, x->to + 8, y + 3, right - x->to - 8, &body_right, bar->words);
}

static const char *bound_words(struct an_arena *arena, double value, double lower, double upper)
{
    return isfinite(lower) && isfinite(upper)
               ? an_arena_printf(arena, "%.1f %% (%.1f to %.1f)", value, lower, upper)
               : an_arena_printf(arena, "%.1f %%", value);
}

static size_t list_bars(const struct an_gauge_result *r, struct an_arena *arena, struct bar *bars,
                        size_t room)
{
    static const struct {
        enum an_gauge_source source;
        const char *name;
    } sources[] = {{AN_GAUGE_REPEAT, "repeatability"},
                   {AN_GAUGE_OPERATOR, "operators"},
                   {AN_GAUGE_INTERACTION, "operator by part"},
                   {AN_GAUGE_WHOLE, "whole gauge"},
                   {AN_GAUGE_PARTS, "parts"}};
    size_t count = 0;
    if (r->record->kind == AN_GAUGE_CROSSED) {
        for (size_t i = 0; i < sizeof sources / sizeof *sources; i++) {
            const struct an_gauge_part *x = &r->study.source[sources[i].source];
            const bool t = r->study.tolerance > 0.0;
            const double value = t ? x->of_tolerance : x->of_study;
            const double lower = t ? x->of_tolerance_lower : x->of_study_lower;
            const double upper = t ? x->of_tolerance_upper : x->of_study_upper;
            const bool left_out = sources[i].source == AN_GAUGE_INTERACTION && r->study.pooled;
            bars[count++] = (struct bar){
                sources[i].name, left_out ? (double)NAN : value, lower, upper,
                left_out ? "pooled with repeats" : bound_words(arena, value, lower, upper)};
        }
    } else if (r->record->kind == AN_GAUGE_SORTING) {
        for (size_t o = 0; o < r->person_count && count + 3 < room; o++) {
            const struct an_share *s = r->standard ? &r->person[o].standard : &r->person[o].within;
            if (s->of) {
                bars[count++] = (struct bar){
                    an_arena_printf(arena, "%s %s", r->people[o],
                                    r->standard ? "right each time" : "agrees with self"),
                    100 * s->share, 100 * s->lower, 100 * s->upper,
                    bound_words(arena, 100 * s->share, 100 * s->lower, 100 * s->upper)};
            }
        }
        bars[count++] = (struct bar){"everybody agrees", 100 * r->between.share,
                                     100 * r->between.lower, 100 * r->between.upper,
                                     bound_words(arena, 100 * r->between.share,
                                                 100 * r->between.lower, 100 * r->between.upper)};
    }
    return count;
}

#define BARS_MOST 24

double an_gauge_bars_height(const struct an_gauge_result *r)
{
    const size_t people = r->person_count < BARS_MOST - 3 ? r->person_count : BARS_MOST - 3;
    return r->record->kind == AN_GAUGE_CROSSED   ? 5 * ROW_PT + 16
           : r->record->kind == AN_GAUGE_SORTING ? (double)(people + 1) * ROW_PT + 16
                                                 : 0.0;
}

bool an_gauge_bars(struct an_canvas *canvas, const struct an_gauge_result *r,
                   const struct an_box *box, struct an_arena *arena)
{
    struct bar bars[BARS_MOST];
    const size_t count = list_bars(r, arena, bars, BARS_MOST);
    const double name_width = 110;
    const struct scale x = {0.0, 100.0, box->x + name_width, box->x + box->width - 110};
    const bool crossed_study = r->record->kind == AN_GAUGE_CROSSED;
    const double marks[] = {0, crossed_study ? 10 : 50, crossed_study ? 30 : 75, 100};
    char text[16];
    for (size_t i = 0; i < count; i++) {
        if (!bars[i].name || !bars[i].words) {
            return false;
        }
    }
    for (size_t i = 0; i < 4; i++) {
        const double mx = at(&x, marks[i]);
        an_draw_dashes(canvas, mx, box->y + 2, mx, box->y + (double)count * ROW_PT + 2, 0.5, 2, 2,
                       AN_RAIL);
        (void)snprintf(text, sizeof text, "%.0f %%", marks[i]);
        an_text_draw_fitted(canvas, mx - 20, box->y + (double)count * ROW_PT + 12, 40,
                            &small_centre, text);
    }
    for (size_t i = 0; i < count; i++) {
        draw_bar(canvas, &bars[i], &x, box->y + (double)i * ROW_PT, name_width,
                 box->x + box->width);
    }
    return true;
}
