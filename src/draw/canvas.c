/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Opens, pages and closes a document. Must never leave a half-written file, nor let the clock, the
 * locale or the machine's fonts into the bytes.
 *
 * The hard idea: cairo does not report a write that fails while it finishes a document (1.16 says
 * success and leaves a torn file). So the bytes go through our own stream into a file beside its
 * place; the first failure is kept there, and only a complete file is renamed.
 */
#include "andamento/base/instant.h"
#include "andamento/base/memory.h"
#include "draw/canvas_inner.h"
#include "draw/fonts.h"

#include <cairo-pdf.h>
#include <cairo-svg.h>
#include <pango/pangofc-fontmap.h>
#include <string.h>

const struct an_paper an_paper_a4 = {595.276, 841.89, 28.346};
const struct an_paper an_paper_letter = {612.0, 792.0, 28.346};

void an_canvas_fail(struct an_canvas *canvas, enum an_status st, const char *why)
{
    if (!canvas->failed) {
        canvas->failed = an_fail(&canvas->error, st, "%s", why);
    }
}

void an_canvas_fresh_text(struct an_canvas *canvas)
{
    if (canvas->clean.failed) {
        an_canvas_fail(canvas, AN_NO_MEMORY, "out of memory while setting text");
    }
    an_text_clear(&canvas->clean);
}

static cairo_status_t take(void *closure, const unsigned char *at, unsigned int length)
{
    struct an_output_file *file = closure;
    return an_output_file_write(file, at, length) ? CAIRO_STATUS_WRITE_ERROR : CAIRO_STATUS_SUCCESS;
}

/* Metadata strings must be well-formed UTF-8; anything else comes from outside and is shown. */
static void set_metadata(struct an_canvas *canvas, cairo_pdf_metadata_t what, const char *value)
{
    if (!value) {
        return;
    }
    const struct an_bytes raw = an_bytes_of(value);
    if (an_utf8_check(raw) == raw.length) {
        cairo_pdf_surface_set_metadata(canvas->surface, what, value);
        return;
    }
    an_canvas_fresh_text(canvas);
    an_text_add_visible(&canvas->clean, raw, raw.length * 4);
    cairo_pdf_surface_set_metadata(canvas->surface, what, an_text_of(&canvas->clean));
}

static void set_information(struct an_canvas *canvas, const struct an_document_info *info)
{
    set_metadata(canvas, CAIRO_PDF_METADATA_TITLE, info->title);
    set_metadata(canvas, CAIRO_PDF_METADATA_AUTHOR, info->author);
    set_metadata(canvas, CAIRO_PDF_METADATA_SUBJECT, info->subject);
    set_metadata(canvas, CAIRO_PDF_METADATA_KEYWORDS, info->keywords);
    set_metadata(canvas, CAIRO_PDF_METADATA_CREATOR, "andamento");
    /* Without a date cairo would write the clock's. Whole seconds: it reads no fraction. */
    int64_t at_us = info->created_us;
    if (at_us < 0 || at_us > INT64_C(253402300799) * AN_SECOND_US) { /* the year 9999 */
        at_us = 0;
    }
    char stamp[40];
    an_instant_rfc3339(at_us - at_us % AN_SECOND_US, stamp);
    set_metadata(canvas, CAIRO_PDF_METADATA_CREATE_DATE, stamp);
}

static bool set_up_text(struct an_canvas *canvas, FcConfig *config)
{
    canvas->fonts = pango_cairo_font_map_new_for_font_type(CAIRO_FONT_TYPE_FT);
    if (!canvas->fonts) {
        return false;
    }
    pango_fc_font_map_set_config(PANGO_FC_FONT_MAP(canvas->fonts), config);
    pango_cairo_font_map_set_resolution(PANGO_CAIRO_FONT_MAP(canvas->fonts), 72.0);
    canvas->context = pango_font_map_create_context(canvas->fonts);

    cairo_font_options_t *options = cairo_font_options_create();
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    cairo_font_options_set_antialias(options, CAIRO_ANTIALIAS_GRAY);
    pango_cairo_context_set_font_options(canvas->context, options);
    cairo_font_options_destroy(options);
    pango_cairo_context_set_resolution(canvas->context, 72.0);
    pango_context_set_round_glyph_positions(canvas->context, FALSE);
    pango_context_set_language(canvas->context, pango_language_from_string("en"));
    pango_context_set_base_dir(canvas->context, PANGO_DIRECTION_LTR);

    /* Figures of one width, so that columns of numbers align. No contextual forms: they would
     * turn "->" in somebody's serial number into an arrow. */
    canvas->attributes = pango_attr_list_new();
    pango_attr_list_insert(canvas->attributes, pango_attr_font_features_new("tnum=1,calt=0"));
    for (int i = 0; i < 2; i++) {
        canvas->faces[i] = pango_font_description_new();
        pango_font_description_set_family_static(canvas->faces[i], AN_FONT_FAMILY);
        pango_font_description_set_weight(canvas->faces[i], i == AN_BOLD ? PANGO_WEIGHT_SEMIBOLD
                                                                         : PANGO_WEIGHT_NORMAL);
    }
    return true;
}

static void release(struct an_canvas *canvas)
{
    if (canvas->cr) {
        cairo_destroy(canvas->cr);
    }
    if (canvas->surface) {
        cairo_surface_destroy(canvas->surface);
    }
    for (size_t i = 0; i < AN_LAID_TEXTS; i++) {
        g_clear_object(&canvas->laid[i].layout);
    }
    g_clear_pointer(&canvas->attributes, pango_attr_list_unref);
    g_clear_object(&canvas->context);
    g_clear_object(&canvas->fonts);
    for (int i = 0; i < 2; i++) {
        pango_font_description_free(canvas->faces[i]);
    }
    an_text_free(&canvas->clean);
    an_free(canvas);
}

static void label_page(struct an_canvas *canvas)
{
    if (!canvas->is_pdf) {
        return;
    }
    an_canvas_fresh_text(canvas);
    if (canvas->page_total > 0) {
        an_text_addf(&canvas->clean, "%d of %d", canvas->page, canvas->page_total);
    } else {
        an_text_addf(&canvas->clean, "%d", canvas->page);
    }
    cairo_pdf_surface_set_page_label(canvas->surface, an_text_of(&canvas->clean));
}

static cairo_surface_t *open_surface(const struct an_canvas *canvas, double width_pt,
                                     double height_pt)
{
    if (canvas->is_trial) {
        return cairo_image_surface_create(CAIRO_FORMAT_A8, 1, 1);
    }
    return canvas->is_pdf
               ? cairo_pdf_surface_create_for_stream(take, canvas->file, width_pt, height_pt)
               : cairo_svg_surface_create_for_stream(take, canvas->file, width_pt, height_pt);
}

static enum an_status open_canvas(const char *path, double width_pt, double height_pt,
                                  const struct an_document_info *info, struct an_canvas **out,
                                  struct an_error *err)
{
    *out = NULL;
    FcConfig *config = NULL;
    enum an_status st = an_fonts_load(&config, err);
    if (st) {
        return st;
    }
    struct an_canvas *canvas = an_alloc(1, sizeof *canvas);
    if (!canvas) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while opening '%s'", path ? path : "");
    }
    canvas->is_pdf = info != NULL;
    canvas->is_trial = path == NULL;
    canvas->page = 1;
    st = path ? an_output_file_open(path, &canvas->file, err) : AN_OK;
    if (st) {
        goto failed;
    }
    canvas->surface = open_surface(canvas, width_pt, height_pt);
    canvas->cr = cairo_create(canvas->surface);
    if (canvas->is_trial) { /* cairo passes over what is clipped away */
        cairo_rectangle(canvas->cr, 0, 0, 0, 0);
        cairo_clip(canvas->cr);
    }
    if (!set_up_text(canvas, config) || cairo_status(canvas->cr)) {
        st = an_fail(err, AN_NO_MEMORY, "could not start drawing '%s': %s", path ? path : "",
                     cairo_status_to_string(cairo_status(canvas->cr)));
        goto failed;
    }
    if (info) {
        set_information(canvas, info);
        label_page(canvas);
    }
    *out = canvas;
    return AN_OK;
failed:
    an_canvas_abandon(canvas);
    return st;
}

enum an_status an_canvas_open_pdf(const char *path, const struct an_paper *paper,
                                  const struct an_document_info *info, struct an_canvas **canvas,
                                  struct an_error *err)
{
    return open_canvas(path, paper->width_pt, paper->height_pt, info, canvas, err);
}

enum an_status an_canvas_open_svg(const char *path, double width_pt, double height_pt,
                                  struct an_canvas **canvas, struct an_error *err)
{
    return open_canvas(path, width_pt, height_pt, NULL, canvas, err);
}

enum an_status an_canvas_open_trial(const struct an_paper *paper, struct an_canvas **canvas,
                                    struct an_error *err)
{
    return open_canvas(NULL, paper->width_pt, paper->height_pt, NULL, canvas, err);
}

void an_canvas_expect_pages(struct an_canvas *canvas, int total)
{
    canvas->page_total = total;
    label_page(canvas);
}

void an_canvas_next_page(struct an_canvas *canvas)
{
    if (!canvas->is_pdf && !canvas->is_trial) {
        an_canvas_fail(canvas, AN_BUG, "a picture has one page only");
        return;
    }
    cairo_show_page(canvas->cr);
    canvas->page++;
    label_page(canvas);
}

int an_canvas_page(const struct an_canvas *canvas)
{
    return canvas->page;
}

/* A link begun after an error, or to a file that cannot be written, must not hide that error:
 * ours comes first, then the file's, then cairo's. */
enum an_status an_canvas_close(struct an_canvas *canvas, struct an_error *err)
{
    cairo_show_page(canvas->cr);
    cairo_surface_finish(canvas->surface);
    an_canvas_fresh_text(canvas);
    enum an_status st = canvas->failed;
    if (st) {
        an_fail(err, st, "%s", canvas->error.text);
        an_canvas_abandon(canvas);
        return st;
    }
    cairo_status_t drawn = cairo_status(canvas->cr);
    if (!drawn) {
        drawn = cairo_surface_status(canvas->surface);
    }
    if (drawn && drawn != CAIRO_STATUS_WRITE_ERROR) {
        st = an_fail(err, drawn == CAIRO_STATUS_NO_MEMORY ? AN_NO_MEMORY : AN_BUG,
                     "could not draw the document: %s", cairo_status_to_string(drawn));
        an_canvas_abandon(canvas);
        return st;
    }
    struct an_output_file *file = canvas->file;
    canvas->file = NULL;
    release(canvas);
    return an_output_file_commit(file, err);
}

void an_canvas_abandon(struct an_canvas *canvas)
{
    if (!canvas) {
        return;
    }
    struct an_output_file *file = canvas->file;
    if (canvas->surface) {
        cairo_surface_finish(canvas->surface); /* may still write: the file goes afterwards */
    }
    release(canvas);
    an_output_file_abandon(file);
}

/* Names reach cairo inside an attribute text with quotes, and the PDF inside a string: letters and
 * digits stay, any other byte becomes -hh. */
static const char *plain_name(struct an_canvas *canvas, const char *before, const char *name,
                              const char *after)
{
    static const char digits[] = "0123456789abcdef";
    an_canvas_fresh_text(canvas);
    an_text_add(&canvas->clean, before);
    for (const char *p = name; *p; p++) {
        const unsigned char c = (unsigned char)*p;
        if ((c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z')) {
            an_text_add_char(&canvas->clean, *p);
        } else {
            an_text_add_char(&canvas->clean, '-');
            an_text_add_char(&canvas->clean, digits[c >> 4]);
            an_text_add_char(&canvas->clean, digits[c & 15]);
        }
    }
    an_text_add(&canvas->clean, after);
    return an_text_of(&canvas->clean);
}

void an_canvas_mark(struct an_canvas *canvas, const char *name)
{
    if (!canvas->is_pdf) {
        return;
    }
    cairo_tag_begin(canvas->cr, CAIRO_TAG_DEST, plain_name(canvas, "name='", name, "' x=0 y=0"));
    cairo_tag_end(canvas->cr, CAIRO_TAG_DEST);
}

void an_canvas_link(struct an_canvas *canvas, const struct an_box *box, const char *name)
{
    if (!canvas->is_pdf || !(box->width > 0 && box->height > 0)) {
        return;
    }
    /* Thousandths, as whole numbers and a point: an_text_addf("%f") would follow the locale. */
    const double sides[4] = {box->x, box->y, box->width, box->height};
    plain_name(canvas, "dest='", name, "' rect=[");
    for (int i = 0; i < 4; i++) {
        const long long milli = (long long)(sides[i] * 1000.0 + 0.5);
        an_text_addf(&canvas->clean, "%lld.%03lld ", milli / 1000, milli % 1000);
    }
    an_text_add(&canvas->clean, "]");
    cairo_tag_begin(canvas->cr, CAIRO_TAG_LINK, an_text_of(&canvas->clean));
    cairo_tag_end(canvas->cr, CAIRO_TAG_LINK);
}

void an_canvas_outline(struct an_canvas *canvas, int level, const char *title, const char *name)
{
    if (!canvas->is_pdf) {
        return;
    }
    const int parent = level > 1 ? canvas->chapter : CAIRO_PDF_OUTLINE_ROOT;
    const int id = cairo_pdf_surface_add_outline(canvas->surface, parent, title,
                                                 plain_name(canvas, "dest='", name, "'"),
                                                 level > 1 ? 0 : CAIRO_PDF_OUTLINE_FLAG_OPEN);
    if (level <= 1) {
        canvas->chapter = id;
    }
}
