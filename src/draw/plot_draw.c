/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Draws a chart from its layout. Decides nothing: no number is made here that a reader would read
 * a value from.
 *
 * The hard idea: position carries the value and shape the kind; ink only repeats it, so that a
 * grey photocopy says the same. Normal is quiet ink; only a signal is loud.
 */
#include "draw/canvas_inner.h"
#include "draw/plot_layout.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define HOOK_PT 3.2
#define TOOTH_PT 3.4
#define TOOTH_PITCH_PT 9.0
#define SQUARE_PT 4.6
#define RING_PT 2.9 /* how much wider than its dot a ring is */

struct pen {
    struct an_canvas *canvas;
    const struct an_plot *plot;
    const struct an_plot_layout *l;
};

static void small_text(const struct pen *pen, double x, double baseline, enum an_align align,
                       enum an_weight weight, enum an_ink ink, const char *text)
{
    const struct an_type type = {AN_PLOT_TYPE_PT, weight, ink, align};
    an_text_draw_baseline(pen->canvas, x, baseline, &type, text);
}

/* --- title, margins, axes ------------------------------------------------------------------ */

static void draw_title(const struct pen *pen)
{
    const struct an_plot_layout *l = pen->l;
    const char *title = pen->plot->title ? pen->plot->title : "";
    if (!l->small) {
        const struct an_type type = {8.5, AN_BOLD, AN_INK, AN_LEFT};
        an_text_draw_fitted(pen->canvas, l->box.x, l->box.y + 8.5, l->box.width, &type, title);
        return;
    }
    const struct an_type type = {7.5, AN_BOLD, AN_INK, AN_LEFT};
    const struct an_type number = {7.5, AN_REGULAR, AN_INK, AN_RIGHT};
    double taken = 0;
    if (l->last_value) {
        taken = an_text_draw_baseline(pen->canvas, l->box.x + l->box.width, l->box.y + 7.5, &number,
                                      l->last_value) +
                5;
    }
    an_text_draw_fitted(pen->canvas, l->box.x, l->box.y + 7.5, l->box.width - taken, &type, title);
}

static void draw_words(const struct pen *pen)
{
    for (size_t i = 0; i < pen->l->word_count; i++) {
        const struct an_plot_words *w = &pen->l->words[i];
        const struct an_type type = {AN_PLOT_TYPE_PT, w->weight, w->ink, w->align};
        if (w->width > 0) {
            const double x = w->align == AN_RIGHT ? w->x - w->width : w->x;
            an_text_draw_fitted(pen->canvas, x, w->baseline, w->width, &type, w->text);
        } else {
            an_text_draw_baseline(pen->canvas, w->x, w->baseline, &type, w->text);
        }
    }
}

static void draw_axis(const struct pen *pen)
{
    const struct an_plot_layout *l = pen->l;
    const double bottom = l->frame.y + l->frame.height, right = l->frame.x + l->frame.width;
    for (size_t s = 0; s < l->segment_count; s++) { /* broken at the gutters, as everything is */
        const double x0 = s == 0 ? l->frame.x : l->segments[s].x0;
        const double x1 = s + 1 == l->segment_count ? right : l->segments[s].x1;
        an_draw_line(pen->canvas, x0, bottom, x1, bottom, 0.4, AN_RAIL);
    }
    if (l->segment_count == 0) {
        an_draw_line(pen->canvas, l->frame.x, bottom, right, bottom, 0.4, AN_RAIL);
    }
    for (size_t i = 0; i < l->tick_count; i++) {
        const struct an_plot_tick *t = &l->ticks[i];
        if (l->ticks_on_top) {
            const double length = t->day ? l->day_length : l->tick_length;
            an_draw_line(pen->canvas, t->x, l->frame.y - 2 - length, t->x, l->frame.y - 2,
                         t->day ? 0.6 : 0.4, AN_GREY);
        }
        an_draw_line(pen->canvas, t->x, bottom, t->x, bottom + (t->day ? 3.0 : 2.0), 0.4, AN_GREY);
    }
    for (size_t i = 0; i < l->round_count; i++) {
        an_draw_line(pen->canvas, l->frame.x - 3.5, l->round_y[i], l->frame.x - 0.5, l->round_y[i],
                     0.4, AN_GREY);
    }
}

static void draw_labels(const struct pen *pen, const struct an_plot_label *labels, size_t n,
                        double x, bool leader)
{
    for (size_t i = 0; i < n; i++) {
        const struct an_plot_label *label = &labels[i];
        if (!label->shown) {
            continue;
        }
        if (leader && fabs(label->y - label->wanted_y) > 1.0) {
            an_draw_line(pen->canvas, x - 4.5, label->wanted_y, x - 1, label->y, 0.4, AN_RAIL);
        }
        const double baseline = an_plot_baseline(label->y);
        small_text(pen, x, baseline, AN_LEFT, AN_REGULAR, label->ink, label->text);
        small_text(pen, x + label->value_width + 2.5, baseline, AN_LEFT, AN_REGULAR, AN_GREY,
                   label->name);
    }
}

static void draw_tabs(const struct pen *pen)
{
    for (size_t s = 0; s < pen->l->segment_count; s++) {
        const struct an_plot_segment *segment = &pen->l->segments[s];
        if (!segment->tab) {
            continue;
        }
        const struct an_box *box = &segment->tab_box;
        const double baseline = an_plot_baseline(box->y + box->height / 2);
        an_draw_rectangle(pen->canvas, box, AN_INK, 1);
        small_text(pen, box->x + 3, baseline, AN_LEFT, AN_BOLD, AN_PAPER, segment->tab);
        if (segment->text_width > 12) {
            const struct an_type type = {AN_PLOT_TYPE_PT, AN_REGULAR, AN_GREY, AN_LEFT};
            an_text_draw_fitted(pen->canvas, box->x + box->width + 3, baseline, segment->text_width,
                                &type, segment->text);
        }
    }
}

/* --- rails and fences ---------------------------------------------------------------------- */

static void draw_rails(const struct pen *pen)
{
    const struct an_plot_layout *l = pen->l;
    for (size_t i = 0; i < l->rail_count; i++) {
        const struct an_plot_rail *rail = &l->rails[i];
        if (rail->side == AN_MIDDLE) {
            an_draw_dashed_polyline(pen->canvas, rail->x, rail->y, rail->count, 0.6,
                                    l->small ? 6 : 9, l->small ? 3 : 4, AN_RAIL);
            continue;
        }
        const double inward = rail->side == AN_UPPER ? HOOK_PT : -HOOK_PT;
        const size_t last = rail->count - 1;
        const struct an_stroke hooks[2] = {
            {rail->x[0], rail->y[0] - (inward > 0 ? 0.35 : -0.35), rail->x[0], rail->y[0] + inward},
            {rail->x[last], rail->y[last] - (inward > 0 ? 0.35 : -0.35), rail->x[last],
             rail->y[last] + inward}};
        an_draw_polyline(pen->canvas, rail->x, rail->y, rail->count, 0.7, AN_RAIL);
        an_draw_strokes(pen->canvas, hooks, 2, 0.7, AN_RAIL);
    }
}

/* Teeth slant outward, away from what is allowed, like barbs on a fence. */
static void draw_fence(const struct pen *pen, const struct an_plot_fence *fence, double x0,
                       double x1)
{
    if (!isfinite(fence->y) || !(x1 > x0)) {
        return;
    }
    if (fence->side == AN_MIDDLE) {
        an_draw_dashes(pen->canvas, x0, fence->y, x1, fence->y, 0.9, 1.8, 2.6, AN_FENCE);
        return;
    }
    const double outward = fence->side == AN_UPPER ? -TOOTH_PT : TOOTH_PT;
    an_draw_line(pen->canvas, x0, fence->y, x1, fence->y, 1.3, AN_FENCE);
    for (double x = x0 + TOOTH_PITCH_PT / 2; x + TOOTH_PT <= x1; x += TOOTH_PITCH_PT) {
        an_draw_line(pen->canvas, x, fence->y, x + TOOTH_PT * 0.7, fence->y + outward, 0.9,
                     AN_FENCE);
    }
}

static void draw_fences(const struct pen *pen)
{
    const struct an_plot_layout *l = pen->l;
    const double right = l->frame.x + l->frame.width;
    for (size_t i = 0; i < l->fence_count; i++) {
        for (size_t s = 0; s < l->segment_count; s++) {
            draw_fence(pen, &l->fences[i], s == 0 ? l->frame.x : l->segments[s].x0,
                       s + 1 == l->segment_count ? right : l->segments[s].x1);
        }
    }
}

/* --- points -------------------------------------------------------------------------------- */

/* Draws dots at all points with the mark, through scratch arrays of the layout. */
static void dots_at(const struct pen *pen, enum an_plot_mark mark, double diameter, enum an_ink ink,
                    double *x, double *y)
{
    size_t n = 0;
    for (size_t i = 0; i < pen->l->count; i++) {
        const double v = pen->plot->points[i].value;
        if (pen->l->mark[i] == mark && v >= pen->l->scale.low && v <= pen->l->scale.high) {
            x[n] = pen->l->x[i];
            y[n++] = pen->l->y[i];
        }
    }
    if (mark == AN_SQUARE) {
        an_draw_squares(pen->canvas, x, y, n, diameter, ink);
    } else {
        an_draw_dots(pen->canvas, x, y, n, diameter, ink);
    }
}

static void draw_slashed(const struct pen *pen, double diameter)
{
    for (size_t i = 0; i < pen->l->count; i++) {
        if (pen->l->mark[i] != AN_SLASHED || !(pen->plot->points[i].value <= pen->l->scale.high) ||
            !(pen->plot->points[i].value >= pen->l->scale.low)) {
            continue;
        }
        const double x = pen->l->x[i], y = pen->l->y[i], reach = diameter * 0.62;
        const double dot[2] = {x, y};
        an_draw_dots(pen->canvas, &dot[0], &dot[1], 1, diameter, AN_PAPER);
        an_draw_ring(pen->canvas, x, y, diameter, 0.7, AN_INK);
        an_draw_line(pen->canvas, x - reach, y + reach, x + reach, y - reach, 0.7, AN_INK);
    }
}

static void draw_arrows(const struct pen *pen)
{
    for (size_t k = 0; k < pen->l->arrow_count; k++) {
        const struct an_plot_arrow *arrow = &pen->l->arrows[k];
        const struct an_plot_point *point = &pen->plot->points[arrow->point];
        const bool loud = point->flagged || point->in_run;
        const enum an_ink ink = loud && !point->excluded ? AN_SIGNAL : AN_INK;
        const double x = pen->l->x[arrow->point], tip = pen->l->y[arrow->point];
        const double down = arrow->up ? 1 : -1;
        const double xs[3] = {x, x - 2.6, x + 2.6};
        const double ys[3] = {tip - 2 * down, tip + 3 * down, tip + 3 * down};
        an_draw_polygon(pen->canvas, xs, ys, 3, ink);
        if (point->excluded) {
            an_draw_line(pen->canvas, x - 3, tip + 3.5, x + 3, tip - 2.5, 0.7, AN_INK);
        }
        if (arrow->with_text) {
            small_text(pen, arrow->text_width > 0 ? x + 5 : x - 5,
                       an_plot_baseline(tip + (arrow->up ? 1.2 : -1.2)),
                       arrow->text_width > 0 ? AN_LEFT : AN_RIGHT, AN_REGULAR, ink, arrow->text);
        }
    }
}

static void draw_points(const struct pen *pen)
{
    const struct an_plot_layout *l = pen->l;
    double *x = an_arena_alloc(l->arena, l->count + 1, sizeof *x);
    double *y = an_arena_alloc(l->arena, l->count + 1, sizeof *y);
    if (!x || !y) {
        an_canvas_fail(pen->canvas, AN_NO_MEMORY, "out of memory while drawing a chart");
        return;
    }
    const bool sums = pen->plot->sums; /* their lines are what is read, not their dots */
    an_draw_polyline(pen->canvas, l->link_x, l->link_y, l->link_count, sums ? 0.6 : 0.4,
                     sums         ? AN_GREY
                     : l->crowded ? AN_PALE
                                  : AN_RAIL);
    dots_at(pen, AN_DOT, l->dot_pt, AN_INK, x, y);
    const double ring = l->dot_pt + (l->small ? 2.2 : RING_PT);
    dots_at(pen, AN_RUN_DOT, ring, AN_SIGNAL, x, y);
    dots_at(pen, AN_RUN_DOT, ring - 1.5, AN_PAPER, x, y);
    dots_at(pen, AN_RUN_DOT, fmin(l->dot_pt, ring - 2.7), AN_INK, x, y);
    draw_slashed(pen, l->small ? 3.4 : 4.6);
    dots_at(pen, AN_SQUARE, l->small ? 3.8 : SQUARE_PT, AN_SIGNAL, x, y);
    draw_arrows(pen);
}

/* --- lanes --------------------------------------------------------------------------------- */

static void draw_stems(const struct pen *pen)
{
    const struct an_plot_layout *l = pen->l;
    for (size_t k = 0; k < l->stem_count; k++) {
        const struct an_plot_stem *stem = &l->stems[k];
        const double y = l->y[stem->point];
        const double from = isfinite(y) ? y : l->frame.y + l->frame.height;
        const double to = l->lane_y + AN_PLOT_LANE_PT * l->items[stem->item].row + AN_PLOT_FLAG_PT;
        an_draw_line(pen->canvas, l->x[stem->point], from, l->x[stem->point], to, 0.7, AN_SIGNAL);
    }
}

static void draw_items(const struct pen *pen)
{
    const struct an_plot_layout *l = pen->l;
    for (size_t k = 0; k < l->item_count; k++) {
        const struct an_plot_item *item = &l->items[k];
        if (item->row < 0) {
            continue;
        }
        struct an_box bar = {item->bar_x0, l->lane_y + AN_PLOT_LANE_PT * item->row,
                             item->bar_x1 - item->bar_x0, AN_PLOT_FLAG_PT};
        const double baseline = an_plot_baseline(bar.y + bar.height / 2);
        if (!item->run) {
            an_draw_rectangle(pen->canvas, &bar, AN_SIGNAL, 1);
            small_text(pen, item->text_x, baseline, AN_LEFT, AN_BOLD, AN_PAPER, item->code);
            continue;
        }
        bar.y += 1;
        bar.height -= 2;
        an_draw_rectangle(pen->canvas, &bar, AN_PAPER, 1);
        an_draw_hatch(pen->canvas, &bar, 2.4, AN_SIGNAL);
        an_draw_frame(pen->canvas, &bar, 0.7, AN_SIGNAL);
        const struct an_type type = {AN_PLOT_TYPE_PT, AN_BOLD, AN_SIGNAL, AN_LEFT};
        if (item->text_x > bar.x && item->text_x < bar.x + bar.width) {
            const struct an_box under = {item->text_x - 1.5, bar.y - 1,
                                         an_text_width(pen->canvas, &type, item->code) + 3,
                                         bar.height + 2};
            an_draw_rectangle(pen->canvas, &under, AN_PAPER, 1);
        }
        an_text_draw_baseline(pen->canvas, item->text_x, baseline, &type, item->code);
    }
}

static void circled(const struct pen *pen, double x, double y, int number)
{
    char text[16];
    snprintf(text, sizeof text, "%d", number);
    an_draw_ring(pen->canvas, x, y, AN_PLOT_NOTE_PT - 0.8, 0.6, AN_INK);
    small_text(pen, x, an_plot_baseline(y), AN_CENTRE, AN_REGULAR, AN_INK, text);
}

static void draw_notes(const struct pen *pen)
{
    const struct an_plot_layout *l = pen->l;
    for (size_t i = 0; i < l->note_count; i++) {
        circled(pen, l->notes[i].x,
                l->note_y + AN_PLOT_LANE_PT * l->notes[i].row + AN_PLOT_NOTE_PT / 2,
                l->notes[i].number);
    }
    double y = l->note_text_y;
    const struct an_type type = {AN_PLOT_TYPE_PT, AN_REGULAR, AN_GREY, AN_LEFT};
    for (size_t i = 0; i < l->note_texts; i++) {
        circled(pen, l->box.x + AN_PLOT_NOTE_PT / 2, y + AN_PLOT_NOTE_PT / 2, (int)i + 1);
        const double height = an_text_draw(pen->canvas, l->box.x + 16, y + 0.8, l->box.width - 16,
                                           &type, pen->plot->notes[i]);
        y += fmax(height, AN_PLOT_NOTE_PT) + 1.5;
    }
}

static void draw_ribbon(const struct pen *pen)
{
    const struct an_plot_layout *l = pen->l;
    double separator = -INFINITY;
    for (size_t i = 0; i < l->block_count; i++) {
        const struct an_plot_block *block = &l->blocks[i];
        if (!block->name) {
            continue;
        }
        const struct an_box box = {block->x0, l->ribbon_y, block->x1 - block->x0,
                                   AN_PLOT_RIBBON_PT};
        if (block->pale) {
            an_draw_rectangle(pen->canvas, &box, AN_PALE, 1);
        }
        if (box.x - separator >= 1.2) { /* narrower blocks would be one black strip */
            an_draw_frame(pen->canvas, &box, 0.4, AN_RAIL);
            separator = box.x;
        }
        if (block->named) {
            small_text(pen, (block->x0 + block->x1) / 2,
                       an_plot_baseline(l->ribbon_y + AN_PLOT_RIBBON_PT / 2), AN_CENTRE, AN_REGULAR,
                       AN_INK, block->name);
        }
    }
}

/* The caret points up at the time axis; its bar runs from the earliest to the latest likely onset. */
static void draw_onset(const struct pen *pen)
{
    const struct an_plot_layout *l = pen->l;
    if (!isfinite(l->onset_y) || !isfinite(l->onset_x)) {
        return;
    }
    const double tip = l->onset_y - 2, x = l->onset_x;
    const double xs[3] = {x, x - 3, x + 3};
    const double ys[3] = {tip, tip + 5.5, tip + 5.5};
    if (isfinite(l->onset_x0) && isfinite(l->onset_x1) && l->onset_x1 > l->onset_x0) {
        const double y = tip + 5.5;
        an_draw_line(pen->canvas, l->onset_x0, y, l->onset_x1, y, 1.1, AN_INK);
        an_draw_line(pen->canvas, l->onset_x0, y - 2, l->onset_x0, y + 2, 0.7, AN_INK);
        an_draw_line(pen->canvas, l->onset_x1, y - 2, l->onset_x1, y + 2, 0.7, AN_INK);
    }
    an_draw_polygon(pen->canvas, xs, ys, 3, AN_INK);
}

/* --- side view ----------------------------------------------------------------------------- */

static void draw_side(const struct pen *pen)
{
    const struct an_plot_layout *l = pen->l;
    if (!(l->side.width > 0)) {
        return;
    }
    for (size_t i = 0; i < l->bin_count; i++) {
        if (l->bins[i].count > 0) {
            an_draw_rectangle(pen->canvas, &l->bins[i].box, AN_PALE, 1);
            an_draw_frame(pen->canvas, &l->bins[i].box, 0.4, AN_RAIL);
        }
    }
    an_draw_line(pen->canvas, l->side.x, l->side.y, l->side.x, l->side.y + l->side.height, 0.4,
                 AN_RAIL);
    for (size_t i = 0; i < l->side_fence_count; i++) {
        draw_fence(pen, &l->side_fences[i], l->side.x - 2, l->side.x + l->side.width + 4);
    }
    draw_labels(pen, l->side_labels, l->side_label_count, l->side_label_x, false);
}

double an_plot_draw(struct an_canvas *canvas, const struct an_box *box, const struct an_plot *plot)
{
    if (!(box->width > 0) || !(box->height > 0)) {
        return 0;
    }
    struct an_plot_layout layout;
    struct an_arena *arena = an_arena_open();
    if (!arena || an_plot_lay(canvas, arena, box, plot, &layout)) {
        an_canvas_fail(canvas, AN_NO_MEMORY, "out of memory while laying out a chart");
        an_arena_close(arena);
        return 0;
    }
    const struct pen pen = {canvas, plot, &layout};
    an_canvas_clip(canvas, box);
    draw_title(&pen);
    if (!layout.bare) {
        draw_axis(&pen);
        draw_tabs(&pen);
        draw_ribbon(&pen);
        draw_side(&pen);
        draw_fences(&pen);
        draw_rails(&pen);
        draw_stems(&pen);
        draw_points(&pen);
        draw_items(&pen);
        draw_notes(&pen);
        draw_onset(&pen);
        draw_labels(&pen, layout.labels, layout.label_count, layout.label_x, true);
        if (layout.hidden_paper.width > 0) {
            an_draw_rectangle(canvas, &layout.hidden_paper, AN_PAPER, 1);
        }
        draw_words(&pen);
    }
    an_canvas_unclip(canvas);
    an_arena_close(arena);
    return box->height;
}
