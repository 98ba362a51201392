/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What stands behind a canvas, for the files of this layer that draw on it.
 */
#ifndef AN_DRAW_CANVAS_INNER_H
#define AN_DRAW_CANVAS_INNER_H

#include "andamento/base/output_file.h"
#include "andamento/base/text.h"
#include "andamento/draw/canvas.h"

#include <pango/pangocairo.h>

#define AN_LEAST_TYPE_PT 7.0 /* no smaller text: it dies on the first photocopy */
#define AN_LEAST_LINE_PT 0.4 /* no thinner line, for the same reason */

enum { AN_LAID_TEXTS = 256 };
struct an_laid_text { /* a text as it was laid last in this place */
    PangoLayout *layout;
    double size_pt;
    int width, lines; /* as pango has them */
    enum an_weight weight;
    enum an_align align;
};

struct an_canvas {
    cairo_surface_t *surface;
    cairo_t *cr;
    struct an_output_file *file;
    PangoFontMap *fonts;
    PangoContext *context;
    PangoLayout *layout;                     /* of the text at hand, one of `laid` */
    struct an_laid_text laid[AN_LAID_TEXTS]; /* by hash of the text */
    PangoAttrList *attributes;
    PangoFontDescription *faces[2];
    struct an_text clean; /* the text being set, made fit for pango */
    enum an_status failed;
    struct an_error error; /* the first, told by close */
    bool is_pdf;
    bool is_trial;        /* nothing is drawn: for what laying out tells */
    int page, page_total; /* total 0: not known */
    int chapter;          /* the last outline entry of level 1 */
};

/* Keeps the first error. */
void an_canvas_fail(struct an_canvas *canvas, enum an_status st, const char *why);
/* Empties canvas->clean for the next text; had the last one run out of memory, keeps that. */
void an_canvas_fresh_text(struct an_canvas *canvas);
void an_canvas_ink(struct an_canvas *canvas, enum an_ink ink);

/* A polyline in dashes; NAN y breaks it. */
void an_draw_dashed_polyline(struct an_canvas *canvas, const double *x, const double *y, size_t n,
                             double width_pt, double on_pt, double off_pt, enum an_ink ink);
/* As an_draw_dots, each in a square that stands on its side. */
void an_draw_squares(struct an_canvas *canvas, const double *x, const double *y, size_t n,
                     double side_pt, enum an_ink ink);
/* Separate strokes in one path: from (x0[i], y0[i]) to (x1[i], y1[i]). */
struct an_stroke {
    double x0, y0, x1, y1;
};
void an_draw_strokes(struct an_canvas *canvas, const struct an_stroke *strokes, size_t n,
                     double width_pt, enum an_ink ink);
/* Until an_canvas_unclip(), nothing is drawn outside the box. */
void an_canvas_clip(struct an_canvas *canvas, const struct an_box *box);
void an_canvas_unclip(struct an_canvas *canvas);

/* As an_text_draw, but at most so many lines, the last cut with an ellipsis. draw false: only
 * measures. Returns its height. */
double an_text_lines(struct an_canvas *canvas, double x, double y_top, double width_pt,
                     int most_lines, const struct an_type *type, const char *text, bool draw);

#endif
