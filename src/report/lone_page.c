/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A page that stands alone. Responsible for its head, foot and pen; never decides content. */
#include "report/lone_page.h"

#include "andamento/base/digest.h"

#include <string.h>

const struct an_type an_lone_lead = {13.0, AN_BOLD, AN_INK, AN_LEFT};
const struct an_type an_lone_body = {8.5, AN_REGULAR, AN_INK, AN_LEFT};
const struct an_type an_lone_small = {7.5, AN_REGULAR, AN_GREY, AN_LEFT};
const struct an_type an_lone_note = {7.0, AN_REGULAR, AN_GREY, AN_LEFT};

struct an_lone_page an_lone_page_of(struct an_canvas *canvas, const struct an_line *line,
                                    const struct an_paper *paper, struct an_arena *arena)
{
    return (struct an_lone_page){.canvas = canvas,
                                 .arena = arena,
                                 .line = line,
                                 .paper = paper,
                                 .x = paper->margin_pt,
                                 .width = paper->width_pt - 2 * paper->margin_pt,
                                 .y = paper->margin_pt};
}

const char *an_lone_text(struct an_lone_page *page, const char *text)
{
    page->failed = page->failed || !text;
    return text ? text : "";
}

void an_lone_head(struct an_lone_page *page, const char *which, const char *what)
{
    static const struct an_type strong = {9.5, AN_BOLD, AN_INK, AN_LEFT};
    static const struct an_type strong_right = {9.5, AN_BOLD, AN_INK, AN_RIGHT};
    const double top = page->paper->margin_pt;
    const double wanted = an_text_width(page->canvas, &strong, which) + 2.0;
    const double right = wanted < page->width * 0.7 ? wanted : page->width * 0.7;
    an_text_draw_fitted(page->canvas, page->x, top + 9, page->width - right - 12, &strong,
                        page->line->title ? page->line->title : page->line->name);
    an_text_draw_fitted(page->canvas, page->x + page->width - right, top + 9, right, &strong_right,
                        which);
    an_text_draw_fitted(page->canvas, page->x, top + 20, page->width, &an_lone_small, what);
    an_draw_line(page->canvas, page->x, top + 25, page->x + page->width, top + 25, 0.8, AN_INK);
    page->y = top + 34;
}

double an_lone_foot_height(size_t lines)
{
    return 2.0 + 11.0 * (double)lines;
}

/* The first 16 characters large, so that a person can compare them; then all. */
static void draw_root(struct an_lone_page *page, double x, double baseline)
{
    static const struct an_type large = {10.0, AN_BOLD, AN_INK, AN_LEFT};
    static const struct an_type full = {7.0, AN_REGULAR, AN_GREY, AN_RIGHT};
    const char *first = an_lone_text(page, an_arena_printf(page->arena, "%.16s", page->root));
    const double used = an_text_draw_baseline(page->canvas, x, baseline, &large, first);
    const double left = x + used + 8;
    an_text_draw_fitted(page->canvas, left, baseline, page->x + page->width - left, &full,
                        page->root);
}

void an_lone_foot(struct an_lone_page *page, const char *const lines[], size_t count)
{
    const double bottom = page->paper->height_pt - page->paper->margin_pt;
    const double top = bottom - an_lone_foot_height(count);
    an_draw_line(page->canvas, page->x, top, page->x + page->width, top, 0.5, AN_RAIL);
    for (size_t i = 0; i < count; i++) {
        const double baseline = bottom - 3.0 - 11.0 * (double)(count - 1 - i);
        const double used = an_text_draw_fitted(page->canvas, page->x, baseline, page->width,
                                                &an_lone_note, an_lone_text(page, lines[i]));
        if (lines[i] && lines[i] == page->ledger) {
            draw_root(page, page->x + used + 3, baseline);
        }
    }
}

const char *an_lone_ledger(struct an_lone_page *page, const struct an_ledger_head *head)
{
    char hex[65];
    (void)memcpy(page->root, an_sha256_hex(&head->root, hex), sizeof page->root);
    page->ledger = an_lone_text(page, an_arena_printf(page->arena, "ledger of %llu entries, root ",
                                                      (unsigned long long)head->size));
    return page->ledger;
}

void an_lone_heading(struct an_lone_page *page, const char *text)
{
    static const struct an_type section = {10.5, AN_BOLD, AN_INK, AN_LEFT};
    page->y += 10;
    page->y += an_text_draw(page->canvas, page->x, page->y, page->width, &section, text) + 2;
    an_draw_line(page->canvas, page->x, page->y, page->x + page->width, page->y, 0.4, AN_RAIL);
    page->y += 6;
}

void an_lone_say(struct an_lone_page *page, const struct an_type *type, const char *text)
{
    page->y +=
        an_text_draw(page->canvas, page->x, page->y, page->width, type, an_lone_text(page, text)) +
        3;
}
