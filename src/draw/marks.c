/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Lines, dots, frames and fills. Must never draw a line under 0.4 pt, nor let a number that is not
 * finite reach cairo (which would turn the whole page into an error).
 *
 * The hard idea: dots are strokes of no length with round caps, all in one path: the PDF viewer
 * draws the disc, and a page holds a third of the bytes that circles made of curves would take.
 */
#include "draw/canvas_inner.h"

#include <math.h>

static const struct {
    double red, green, blue;
} inks[] = {
    [AN_INK] = {0x1B / 255.0, 0x1F / 255.0, 0x24 / 255.0},
    [AN_GREY] = {0x5A / 255.0, 0x62 / 255.0, 0x70 / 255.0},
    [AN_RAIL] = {0x7A / 255.0, 0x84 / 255.0, 0x90 / 255.0},
    [AN_SIGNAL] = {0x9A / 255.0, 0x2E / 255.0, 0x00 / 255.0},
    [AN_FENCE] = {0x2F / 255.0, 0x86 / 255.0, 0xBC / 255.0},
    /* the rail's hue at a fifth on paper */
    [AN_PALE] = {0xE1 / 255.0, 0xE5 / 255.0, 0xE9 / 255.0},
    [AN_PAPER] = {1.0, 1.0, 1.0},
};

void an_canvas_ink(struct an_canvas *canvas, enum an_ink ink)
{
    cairo_set_source_rgb(canvas->cr, inks[ink].red, inks[ink].green, inks[ink].blue);
}

static void pen(struct an_canvas *canvas, double width_pt, enum an_ink ink)
{
    an_canvas_ink(canvas, ink);
    cairo_set_line_width(canvas->cr, width_pt >= AN_LEAST_LINE_PT ? width_pt : AN_LEAST_LINE_PT);
    cairo_set_line_cap(canvas->cr, CAIRO_LINE_CAP_BUTT);
    cairo_set_line_join(canvas->cr, CAIRO_LINE_JOIN_MITER);
}

static bool all_finite(double a, double b, double c, double d)
{
    return isfinite(a) && isfinite(b) && isfinite(c) && isfinite(d);
}

void an_draw_line(struct an_canvas *canvas, double x0, double y0, double x1, double y1,
                  double width_pt, enum an_ink ink)
{
    const struct an_stroke stroke = {x0, y0, x1, y1};
    an_draw_strokes(canvas, &stroke, 1, width_pt, ink);
}

void an_draw_strokes(struct an_canvas *canvas, const struct an_stroke *strokes, size_t n,
                     double width_pt, enum an_ink ink)
{
    bool any = false;
    for (size_t i = 0; i < n; i++) {
        const struct an_stroke *s = &strokes[i];
        if (all_finite(s->x0, s->y0, s->x1, s->y1)) {
            cairo_move_to(canvas->cr, s->x0, s->y0);
            cairo_line_to(canvas->cr, s->x1, s->y1);
            any = true;
        }
    }
    if (any) {
        pen(canvas, width_pt, ink);
        cairo_stroke(canvas->cr);
    }
}

/* Lays the path; false if there is nothing to stroke. */
static bool trace(struct an_canvas *canvas, const double *x, const double *y, size_t n)
{
    bool pen_down = false, any = false;
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(x[i]) || !isfinite(y[i])) {
            pen_down = false;
        } else if (!pen_down) {
            cairo_move_to(canvas->cr, x[i], y[i]);
            pen_down = true;
        } else {
            cairo_line_to(canvas->cr, x[i], y[i]);
            any = true;
        }
    }
    if (!any) {
        cairo_new_path(canvas->cr);
    }
    return any;
}

void an_draw_polyline(struct an_canvas *canvas, const double *x, const double *y, size_t n,
                      double width_pt, enum an_ink ink)
{
    if (trace(canvas, x, y, n)) {
        pen(canvas, width_pt, ink);
        cairo_set_line_join(canvas->cr, CAIRO_LINE_JOIN_ROUND);
        cairo_stroke(canvas->cr);
    }
}

void an_draw_dashed_polyline(struct an_canvas *canvas, const double *x, const double *y, size_t n,
                             double width_pt, double on_pt, double off_pt, enum an_ink ink)
{
    if (!(on_pt > 0) || !(off_pt > 0)) {
        an_draw_polyline(canvas, x, y, n, width_pt, ink);
        return;
    }
    if (trace(canvas, x, y, n)) {
        const double dashes[2] = {on_pt, off_pt};
        pen(canvas, width_pt, ink);
        cairo_set_dash(canvas->cr, dashes, 2, 0);
        cairo_stroke(canvas->cr);
        cairo_set_dash(canvas->cr, NULL, 0, 0);
    }
}

void an_draw_dashes(struct an_canvas *canvas, double x0, double y0, double x1, double y1,
                    double width_pt, double on_pt, double off_pt, enum an_ink ink)
{
    const double x[2] = {x0, x1}, y[2] = {y0, y1};
    an_draw_dashed_polyline(canvas, x, y, 2, width_pt, on_pt, off_pt, ink);
}

void an_draw_dots(struct an_canvas *canvas, const double *x, const double *y, size_t n,
                  double diameter_pt, enum an_ink ink)
{
    bool any = false;
    for (size_t i = 0; i < n; i++) {
        if (isfinite(x[i]) && isfinite(y[i])) {
            cairo_move_to(canvas->cr, x[i], y[i]);
            cairo_line_to(canvas->cr, x[i], y[i]);
            any = true;
        }
    }
    if (any) {
        pen(canvas, diameter_pt, ink);
        cairo_set_line_cap(canvas->cr, CAIRO_LINE_CAP_ROUND);
        cairo_stroke(canvas->cr);
    }
}

void an_draw_squares(struct an_canvas *canvas, const double *x, const double *y, size_t n,
                     double side_pt, enum an_ink ink)
{
    bool any = false;
    for (size_t i = 0; i < n; i++) {
        if (isfinite(x[i]) && isfinite(y[i])) {
            cairo_rectangle(canvas->cr, x[i] - side_pt / 2, y[i] - side_pt / 2, side_pt, side_pt);
            any = true;
        }
    }
    if (any) {
        an_canvas_ink(canvas, ink);
        cairo_fill(canvas->cr);
    }
}

void an_draw_ring(struct an_canvas *canvas, double x, double y, double diameter_pt, double width_pt,
                  enum an_ink ink)
{
    if (!all_finite(x, y, diameter_pt, width_pt) || !(diameter_pt > 0)) {
        return;
    }
    cairo_new_sub_path(canvas->cr);
    cairo_arc(canvas->cr, x, y, diameter_pt / 2, 0, 2 * 3.14159265358979323846);
    cairo_close_path(canvas->cr);
    pen(canvas, width_pt, ink);
    cairo_stroke(canvas->cr);
}

static bool is_box(const struct an_box *box)
{
    return all_finite(box->x, box->y, box->width, box->height) && box->width >= 0 &&
           box->height >= 0;
}

void an_draw_rectangle(struct an_canvas *canvas, const struct an_box *box, enum an_ink fill,
                       double alpha)
{
    if (!is_box(box) || !(alpha > 0)) {
        return;
    }
    cairo_rectangle(canvas->cr, box->x, box->y, box->width, box->height);
    if (alpha >= 1.0) {
        an_canvas_ink(canvas, fill);
    } else {
        cairo_set_source_rgba(canvas->cr, inks[fill].red, inks[fill].green, inks[fill].blue, alpha);
    }
    cairo_fill(canvas->cr);
}

void an_draw_frame(struct an_canvas *canvas, const struct an_box *box, double width_pt,
                   enum an_ink ink)
{
    if (!is_box(box)) {
        return;
    }
    pen(canvas, width_pt, ink);
    cairo_rectangle(canvas->cr, box->x, box->y, box->width, box->height);
    cairo_stroke(canvas->cr);
}

void an_draw_polygon(struct an_canvas *canvas, const double *x, const double *y, size_t n,
                     enum an_ink fill)
{
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(x[i]) || !isfinite(y[i])) {
            cairo_new_path(canvas->cr);
            return;
        }
        if (i == 0) {
            cairo_move_to(canvas->cr, x[i], y[i]);
        } else {
            cairo_line_to(canvas->cr, x[i], y[i]);
        }
    }
    if (n > 0) {
        cairo_close_path(canvas->cr);
        an_canvas_ink(canvas, fill);
        cairo_fill(canvas->cr);
    }
}

/* Lines that rise to the right: x + y is the same all along one of them, so each meets the box in
 * at most one piece, found without a clip. */
void an_draw_hatch(struct an_canvas *canvas, const struct an_box *box, double pitch_pt,
                   enum an_ink ink)
{
    if (!is_box(box) || !(pitch_pt >= 1.0)) {
        return;
    }
    const double right = box->x + box->width, bottom = box->y + box->height;
    const double step = pitch_pt * 1.4142135623730951;
    bool any = false;
    for (double sum = box->x + box->y + step / 2; sum < right + bottom; sum += step) {
        const double low_x = fmax(box->x, sum - bottom), high_x = fmin(right, sum - box->y);
        if (low_x < high_x) {
            cairo_move_to(canvas->cr, low_x, sum - low_x);
            cairo_line_to(canvas->cr, high_x, sum - high_x);
            any = true;
        }
    }
    if (any) {
        pen(canvas, AN_LEAST_LINE_PT, ink);
        cairo_stroke(canvas->cr);
    }
}

void an_canvas_clip(struct an_canvas *canvas, const struct an_box *box)
{
    cairo_save(canvas->cr);
    cairo_rectangle(canvas->cr, box->x, box->y, box->width, box->height);
    cairo_clip(canvas->cr);
}

void an_canvas_unclip(struct an_canvas *canvas)
{
    cairo_restore(canvas->cr);
}
