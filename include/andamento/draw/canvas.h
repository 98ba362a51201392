/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Pages and what stands on them. The only place that knows cairo and pango.
 *
 * Lengths are points (1/72 inch), y grows downward from the page's top left corner. Fonts are the
 * program's own, hinting off, so that the same calls give the same bytes on every machine. Errors
 * stick to the canvas and are told by an_canvas_close(). One thread a canvas.
 */
#ifndef ANDAMENTO_DRAW_CANVAS_H
#define ANDAMENTO_DRAW_CANVAS_H

#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum an_ink {
    AN_INK,
    AN_GREY,
    AN_RAIL,
    AN_SIGNAL,
    AN_FENCE,
    AN_PALE /* tints for fills */,
    AN_PAPER
};
enum an_align { AN_LEFT, AN_CENTRE, AN_RIGHT };
enum an_weight { AN_REGULAR, AN_BOLD };

struct an_box {
    double x, y, width, height;
};
struct an_type { /* how a text is set; size_pt 7 or more */
    double size_pt;
    enum an_weight weight;
    enum an_ink ink;
    enum an_align align;
};

struct an_paper {
    double width_pt, height_pt, margin_pt;
};
extern const struct an_paper an_paper_a4, an_paper_letter; /* portrait */

struct an_document_info {
    const char *title, *author, *subject, *keywords;
    int64_t created_us; /* of the newest record used, or SOURCE_DATE_EPOCH; never the clock */
};

struct an_canvas;
/* PDF written beside its place and renamed by close. AN_CANNOT_CREATE, AN_NO_MEMORY. */
AN_CHECKED enum an_status an_canvas_open_pdf(const char *path, const struct an_paper *paper,
                                             const struct an_document_info *info,
                                             struct an_canvas **canvas, struct an_error *err);
/* Pages that are laid out as those of a PDF, and go nowhere: to learn how many there are, and what
 * stands on which. To end with an_canvas_abandon(). */
AN_CHECKED enum an_status an_canvas_open_trial(const struct an_paper *paper,
                                               struct an_canvas **canvas, struct an_error *err);
/* One SVG picture. */
AN_CHECKED enum an_status an_canvas_open_svg(const char *path, double width_pt, double height_pt,
                                             struct an_canvas **canvas, struct an_error *err);
AN_CHECKED enum an_status an_canvas_close(struct an_canvas *canvas, struct an_error *err);
void an_canvas_abandon(struct an_canvas *canvas); /* leaves no file; NULL is fine */
void an_canvas_next_page(struct an_canvas *canvas);
int an_canvas_page(const struct an_canvas *canvas); /* from 1 */
/* How many pages there will be: page labels from this page on read "n of total", as a PDF viewer
 * shows them. Without it they read "n". Best called right after opening. */
void an_canvas_expect_pages(struct an_canvas *canvas, int total);

/* Text. Heights and widths are those of the set lines. width_pt 0: one line, not wrapped. */
double an_text_draw(struct an_canvas *canvas, double x, double y_top, double width_pt,
                    const struct an_type *type, const char *text); /* returns its height */
double an_text_draw_baseline(struct an_canvas *canvas, double x, double y_baseline,
                             const struct an_type *type, const char *text); /* one line; width */
/* One line cut with an ellipsis to the width. Returns the width used. */
double an_text_draw_fitted(struct an_canvas *canvas, double x, double y_baseline, double width_pt,
                           const struct an_type *type, const char *text);
double an_text_width(struct an_canvas *canvas, const struct an_type *type, const char *text);
double an_text_height(struct an_canvas *canvas, double width_pt, const struct an_type *type,
                      const char *text);
/* True if every character of the text has a glyph in our fonts. */
bool an_text_has_glyphs(struct an_canvas *canvas, const char *text);

/* Marks. */
void an_draw_line(struct an_canvas *canvas, double x0, double y0, double x1, double y1,
                  double width_pt, enum an_ink ink);
void an_draw_dashes(struct an_canvas *canvas, double x0, double y0, double x1, double y1,
                    double width_pt, double on_pt, double off_pt, enum an_ink ink);
void an_draw_polyline(struct an_canvas *canvas, const double *x, const double *y, size_t n,
                      double width_pt, enum an_ink ink); /* NAN y breaks it */
void an_draw_dots(struct an_canvas *canvas, const double *x, const double *y, size_t n,
                  double diameter_pt, enum an_ink ink); /* NAN y left out; one path */
void an_draw_ring(struct an_canvas *canvas, double x, double y, double diameter_pt, double width_pt,
                  enum an_ink ink);
void an_draw_rectangle(struct an_canvas *canvas, const struct an_box *box, enum an_ink fill,
                       double alpha);
void an_draw_frame(struct an_canvas *canvas, const struct an_box *box, double width_pt,
                   enum an_ink ink);
void an_draw_polygon(struct an_canvas *canvas, const double *x, const double *y, size_t n,
                     enum an_ink fill);
void an_draw_hatch(struct an_canvas *canvas, const struct an_box *box, double pitch_pt,
                   enum an_ink ink); /* oblique lines clipped to the box */

/* Navigation. Names are any text without quotes. */
void an_canvas_mark(struct an_canvas *canvas, const char *name); /* destination: here, this page */
void an_canvas_link(struct an_canvas *canvas, const struct an_box *box, const char *name);
void an_canvas_outline(struct an_canvas *canvas, int level, const char *title, const char *name);
/* level 1 or 2; level 2 hangs on the last level 1 */

#endif
