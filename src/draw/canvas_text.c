/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Sets text. Must never set anything below 7 pt, nor pass broken UTF-8 to pango (which would
 * complain on stderr and set something else).
 *
 * The hard idea: what is drawn and what is measured come from one function that fills the same
 * layout, so that a width asked for is the width that stands on the page. Layouts of the last texts
 * are kept, since most are measured before they are drawn, and shaping is what costs.
 */
#include "draw/canvas_inner.h"
#include "draw/fonts.h"

#include <math.h>
#include <string.h>

/* U+25A1, which our faces have (U+FFFD they have not). */
#define MISSING "\xE2\x96\xA1"

static uint32_t next_character(const unsigned char **at)
{
    const unsigned char *p = *at;
    uint32_t c = *p++;
    if (c >= 0xF0) {
        c &= 0x07;
    } else if (c >= 0xE0) {
        c &= 0x0F;
    } else if (c >= 0xC0) {
        c &= 0x1F;
    }
    while ((*p & 0xC0) == 0x80) {
        c = (c << 6) | (*p++ & 0x3FU);
    }
    *at = p;
    return c;
}

static bool is_blank(uint32_t c)
{
    return c == ' ' || c == '\n' || c == '\t' || c == 0x00A0;
}

bool an_text_has_glyphs(struct an_canvas *canvas, const char *text)
{
    (void)canvas;
    const struct an_bytes raw = an_bytes_of(text);
    if (an_utf8_check(raw) != raw.length) {
        return false;
    }
    const unsigned char *end = raw.at + raw.length;
    for (const unsigned char *p = raw.at; p < end;) {
        const uint32_t c = next_character(&p);
        if (!is_blank(c) && (c < 0x20 || c == 0x7F || !an_fonts_have(c))) {
            return false;
        }
    }
    return true;
}

/* The text as it can be set: broken bytes, control characters and characters without a glyph are
 * shown as an empty square; with one_line, line ends and tabs are blanks. */
static const char *clean(struct an_canvas *canvas, const char *text, bool one_line)
{
    an_canvas_fresh_text(canvas);
    struct an_bytes rest = an_bytes_of(text);
    while (rest.length > 0) {
        const size_t good = an_utf8_check(rest);
        const unsigned char *end = rest.at + good;
        for (const unsigned char *p = rest.at; p < end;) {
            const unsigned char *from = p;
            const uint32_t c = next_character(&p);
            if (one_line && (c == '\n' || c == '\t')) {
                an_text_add_char(&canvas->clean, ' ');
            } else if (!is_blank(c) && (c < 0x20 || c == 0x7F || !an_fonts_have(c))) {
                an_text_add(&canvas->clean, MISSING);
            } else {
                an_text_add_bytes(&canvas->clean, (struct an_bytes){from, (size_t)(p - from)});
            }
        }
        rest.at += good;
        rest.length -= good;
        if (rest.length > 0) {
            an_text_add(&canvas->clean, MISSING);
            rest.at++;
            rest.length--;
        }
    }
    return an_text_of(&canvas->clean);
}

static int pango_units(double pt)
{
    const double units = pt * PANGO_SCALE;
    return units < 1.0 ? 1 : units > 1e9 ? (int)1e9 : (int)units;
}

/* The place of a text among those kept: FNV-1a over its bytes. */
static struct an_laid_text *place_of(struct an_canvas *canvas, const char *text, double size_pt,
                                     enum an_weight weight)
{
    uint32_t hash = 2166136261U ^ (uint32_t)(size_pt * 64) ^ ((uint32_t)weight << 16);
    for (; *text; text++) {
        hash = (hash ^ (unsigned char)*text) * 16777619U;
    }
    return &canvas->laid[(hash ^ (hash >> 16)) % AN_LAID_TEXTS];
}

static PangoLayout *new_layout(const struct an_canvas *canvas)
{
    PangoLayout *layout = pango_layout_new(canvas->context);
    pango_layout_set_auto_dir(layout, FALSE);
    pango_layout_set_attributes(layout, canvas->attributes);
    pango_layout_set_wrap(layout, PANGO_WRAP_WORD_CHAR);
    return layout;
}

/* How a text is laid: width 0 is one line as long as it comes; lines 0 is without end, 1 is one
 * line cut to the width, n is at most n lines. */
static void set(struct an_canvas *canvas, const struct an_type *type, const char *text,
                double width_pt, int lines)
{
    const bool one_line = !(width_pt > 0) || lines == 1;
    const double size = type->size_pt >= AN_LEAST_TYPE_PT ? type->size_pt : AN_LEAST_TYPE_PT;
    const struct an_laid_text wanted = {
        .size_pt = size,
        .width = width_pt > 0 ? pango_units(width_pt) : -1,
        .lines = lines > 0 ? lines : 0,
        .weight = type->weight == AN_BOLD ? AN_BOLD : AN_REGULAR,
        .align = type->align,
    };
    const char *fit = clean(canvas, text ? text : "", one_line);
    struct an_laid_text *laid = place_of(canvas, fit, size, wanted.weight);
    if (laid->layout && !(laid->size_pt < size || laid->size_pt > size) &&
        laid->width == wanted.width && laid->lines == wanted.lines &&
        laid->weight == wanted.weight && laid->align == wanted.align &&
        !strcmp(pango_layout_get_text(laid->layout), fit)) {
        canvas->layout = laid->layout;
        return;
    }
    PangoLayout *layout = laid->layout ? laid->layout : new_layout(canvas);
    *laid = wanted;
    laid->layout = canvas->layout = layout;
    PangoFontDescription *face = canvas->faces[wanted.weight == AN_BOLD];
    pango_font_description_set_absolute_size(face, size * PANGO_SCALE);
    pango_layout_set_font_description(layout, face);
    pango_layout_set_text(layout, fit, (int)canvas->clean.length);
    pango_layout_set_width(layout, wanted.width);
    pango_layout_set_ellipsize(layout, lines > 0 && width_pt > 0 ? PANGO_ELLIPSIZE_END
                                                                 : PANGO_ELLIPSIZE_NONE);
    pango_layout_set_height(layout, lines > 0 ? -lines : -1);
    pango_layout_set_alignment(layout, type->align == AN_CENTRE  ? PANGO_ALIGN_CENTER
                                       : type->align == AN_RIGHT ? PANGO_ALIGN_RIGHT
                                                                 : PANGO_ALIGN_LEFT);
}

static void laid_size(struct an_canvas *canvas, double *width_pt, double *height_pt)
{
    PangoRectangle logical;
    pango_layout_get_extents(canvas->layout, NULL, &logical);
    *width_pt = (double)logical.width / PANGO_SCALE;
    *height_pt = (double)logical.height / PANGO_SCALE;
}

/* Without a width the text hangs on x by its alignment. */
static double hung(double x, double width_pt, enum an_align align)
{
    return align == AN_CENTRE ? x - width_pt / 2 : align == AN_RIGHT ? x - width_pt : x;
}

static void show(struct an_canvas *canvas, double x, double y_top, enum an_ink ink)
{
    if (!isfinite(x) || !isfinite(y_top) || canvas->clean.length == 0) {
        return;
    }
    an_canvas_ink(canvas, ink);
    cairo_move_to(canvas->cr, x, y_top);
    pango_cairo_show_layout(canvas->cr, canvas->layout);
    cairo_new_path(canvas->cr);
}

double an_text_lines(struct an_canvas *canvas, double x, double y_top, double width_pt,
                     int most_lines, const struct an_type *type, const char *text, bool draw)
{
    set(canvas, type, text, width_pt, most_lines);
    double width, height;
    laid_size(canvas, &width, &height);
    if (draw) {
        show(canvas, width_pt > 0 ? x : hung(x, width, type->align), y_top, type->ink);
    }
    return height;
}

double an_text_draw(struct an_canvas *canvas, double x, double y_top, double width_pt,
                    const struct an_type *type, const char *text)
{
    return an_text_lines(canvas, x, y_top, width_pt, 0, type, text, true);
}

double an_text_height(struct an_canvas *canvas, double width_pt, const struct an_type *type,
                      const char *text)
{
    return an_text_lines(canvas, 0, 0, width_pt, 0, type, text, false);
}

double an_text_width(struct an_canvas *canvas, const struct an_type *type, const char *text)
{
    set(canvas, type, text, 0, 0);
    double width, height;
    laid_size(canvas, &width, &height);
    return width;
}

static double baseline(struct an_canvas *canvas)
{
    return (double)pango_layout_get_baseline(canvas->layout) / PANGO_SCALE;
}

double an_text_draw_baseline(struct an_canvas *canvas, double x, double y_baseline,
                             const struct an_type *type, const char *text)
{
    set(canvas, type, text, 0, 0);
    double width, height;
    laid_size(canvas, &width, &height);
    show(canvas, hung(x, width, type->align), y_baseline - baseline(canvas), type->ink);
    return width;
}

double an_text_draw_fitted(struct an_canvas *canvas, double x, double y_baseline, double width_pt,
                           const struct an_type *type, const char *text)
{
    if (!(width_pt > 0)) {
        return 0;
    }
    set(canvas, type, text, width_pt, 1);
    double width, height;
    laid_size(canvas, &width, &height);
    if (width > width_pt + 0.01) { /* not even the ellipsis fits */
        return 0;
    }
    show(canvas, x, y_baseline - baseline(canvas), type->ink);
    return width;
}
