/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Values and names in the margins of a chart: limits and fence to the right, round numbers and the
 * names of the rows to the left. Must never hide which value a label belongs to: one that had to
 * move gets a leader when it is drawn.
 *
 * The hard idea: the margins are as wide as their texts, and only the texts decide it; so they can
 * be cut before anything is placed.
 */
#include "draw/plot_layout.h"

#include <math.h>
#include <string.h>

#define SIDE_WIDTH 54.0
#define SIDE_GAP 8.0 /* between the values in the margin and the side view */
#define LABEL_PITCH 8.4

static const struct an_type grey_type = {AN_PLOT_TYPE_PT, AN_REGULAR, AN_GREY, AN_LEFT};
static const struct an_type ink_type = {AN_PLOT_TYPE_PT, AN_REGULAR, AN_INK, AN_LEFT};

static bool has_text(const char *text)
{
    return text && *text;
}

/* --- values in the margins ----------------------------------------------------------------- */

static bool add_label(struct an_canvas *canvas, struct an_plot_layout *layout,
                      struct an_plot_label *labels, size_t *n, double value,
                      const struct an_plot *plot, const char *name, enum an_ink ink, int rank)
{
    if (!isfinite(value)) {
        return true;
    }
    const char *text = an_plot_value(layout->arena, plot, value);
    if (!text) {
        return false;
    }
    const bool above = value > layout->scale.high, below = value < layout->scale.low;
    if (above || below) {
        text = an_arena_printf(layout->arena, "%s %s", above ? "↑" : "↓", text);
        if (!text) {
            return false;
        }
    }
    labels[(*n)++] = (struct an_plot_label){.value = value,
                                            .text = text,
                                            .name = name,
                                            .ink = ink,
                                            .rank = rank,
                                            .value_width = an_text_width(canvas, &ink_type, text)};
    return true;
}

static double widest_label(struct an_canvas *canvas, const struct an_plot_label *labels, size_t n)
{
    double widest = 0;
    for (size_t i = 0; i < n; i++) {
        widest = fmax(widest, labels[i].value_width + 2.5 +
                                  an_text_width(canvas, &grey_type, labels[i].name));
    }
    return widest;
}

/* The limits on view are those of the last point that has any. */
static bool gather_labels(struct an_canvas *canvas, const struct an_plot *plot,
                          struct an_plot_layout *layout)
{
    const struct an_plot_point *last = NULL;
    for (size_t i = plot->count; i > 0 && !last; i--) {
        const struct an_plot_point *p = &plot->points[i - 1];
        if (isfinite(p->lcl) || isfinite(p->ucl) || isfinite(p->centre)) {
            last = p;
        }
    }
    size_t *n = &layout->label_count;
    struct an_plot_label *to = layout->labels;
    bool ok = true;
    if (last) {
        ok = add_label(canvas, layout, to, n, last->ucl, plot, "ucl", AN_INK, 0) &&
             add_label(canvas, layout, to, n, last->centre, plot, "centre", AN_INK, 2) &&
             add_label(canvas, layout, to, n, last->lcl, plot, "lcl", AN_INK, 1);
    }
    ok = ok && add_label(canvas, layout, to, n, plot->usl, plot, "spec", AN_GREY, 3) &&
         add_label(canvas, layout, to, n, plot->lsl, plot, "spec", AN_GREY, 4) &&
         add_label(canvas, layout, to, n, plot->target, plot, "target", AN_GREY, 5);
    return ok;
}

static bool has_side(const struct an_plot *plot)
{
    return plot->side && plot->side->count > 0 && plot->side->values && !plot->ratios;
}

/* Beside the side view the fence is named only where the plot's own margin does not do so. */
static bool gather_side_labels(struct an_canvas *canvas, const struct an_plot *plot,
                               struct an_plot_layout *layout)
{
    const struct an_side_view *side = plot->side;
    const double value[3] = {side->usl, side->lsl, side->target};
    const double own[3] = {plot->usl, plot->lsl, plot->target};
    for (int i = 0; i < 3; i++) {
        const bool told = isfinite(own[i]) && !(own[i] < value[i]) && !(own[i] > value[i]);
        if (!told && !add_label(canvas, layout, layout->side_labels, &layout->side_label_count,
                                value[i], plot, i < 2 ? "spec" : "target", AN_GREY, i)) {
            return false;
        }
    }
    return true;
}

static double width_of(struct an_canvas *canvas, const char *text)
{
    return has_text(text) ? an_text_width(canvas, &grey_type, text) : 0;
}

static bool gather_round_numbers(struct an_plot_layout *layout)
{
    int decimals = 0;
    if (!layout->scale.empty) {
        layout->round_count =
            an_plot_round_numbers(&layout->scale, AN_PLOT_ROUNDS, layout->round, &decimals);
    }
    for (size_t i = 0; i < layout->round_count; i++) {
        layout->round_text[i] = layout->scale.ratios
                                    ? an_plot_digits(layout->arena, layout->round[i])
                                    : an_plot_number(layout->arena, layout->round[i], decimals);
        if (!layout->round_text[i]) {
            return false;
        }
    }
    return true;
}

/* The widest code of a signal near the right end: its flag flies into the margin. */
static double flag_overhang(struct an_canvas *canvas, const struct an_plot *plot)
{
    static const struct an_type bold = {AN_PLOT_TYPE_PT, AN_BOLD, AN_SIGNAL, AN_LEFT};
    double widest = 0;
    for (size_t i = 0; i < plot->signal_count; i++) {
        if (plot->signals[i].last + plot->count / 8 + 1 >= plot->count && plot->signals[i].code) {
            widest = fmax(widest, an_text_width(canvas, &bold, plot->signals[i].code));
        }
    }
    return fmin(widest, 60);
}

static void cut(struct an_canvas *canvas, const struct an_plot *plot,
                const struct an_plot_rows *rows, struct an_plot_layout *layout)
{
    const struct an_box *box = &layout->box;
    double left = 0, right = 0, side = 0;
    if (!layout->small) {
        for (size_t i = 0; i < layout->round_count; i++) {
            left = fmax(left, width_of(canvas, layout->round_text[i]) + 6);
        }
        left = fmax(left, plot->signal_count > 0 ? width_of(canvas, "signals") + 4 : 0);
        left = fmax(left, rows->notes > 0 ? width_of(canvas, "notes") + 4 : 0);
        left = fmax(left, rows->onset ? width_of(canvas, "onset") + 4 : 0);
        left = fmax(left, rows->ribbon ? fmin(width_of(canvas, plot->ribbon_title), 56) + 4 : 0);
        right = widest_label(canvas, layout->labels, layout->label_count) + 7;
        right = fmax(right, width_of(canvas, plot->unit) + 7);
    }
    left += left > 0 ? 1 : 0; /* set widths are cut to 1/1024 pt: leave no text short of them */
    right = fmax(right, fmax(0, flag_overhang(canvas, plot) - AN_PLOT_INSET_PT + 6));
    if (layout->side.width > 0) {
        side = layout->side.width + SIDE_GAP + 5 +
               (layout->side_label_count
                    ? widest_label(canvas, layout->side_labels, layout->side_label_count) + 8
                    : 0);
        if (box->width - left - right - side < 120) {
            layout->side.width = side = 0;
        }
    }
    if (plot->left_pt + plot->right_pt < box->width - 60) {
        left = fmax(left, plot->left_pt);
        right = fmax(right, plot->right_pt - side);
    }
    if (box->width - left - right - side < 60) {
        left = 0;
    }
    layout->frame.x = box->x + left;
    layout->frame.width = box->width - left - right - side;
    layout->label_x = layout->frame.x + layout->frame.width + 5;
    layout->side.x = layout->frame.x + layout->frame.width + right + SIDE_GAP;
    layout->side_label_x = layout->side.x + layout->side.width + 8;
}

bool an_plot_cut_margins(struct an_canvas *canvas, const struct an_plot *plot,
                         const struct an_plot_rows *rows, struct an_plot_layout *layout)
{
    if (!layout->small) {
        if (!gather_labels(canvas, plot, layout) || !gather_round_numbers(layout)) {
            return false;
        }
        if (has_side(plot)) {
            layout->side.width = SIDE_WIDTH;
            if (!gather_side_labels(canvas, plot, layout)) {
                return false;
            }
        }
    }
    cut(canvas, plot, rows, layout);
    return true;
}

void an_plot_place_fence(const struct an_plot_layout *layout, double lsl, double usl, double target,
                         struct an_plot_fence *fences, size_t *n)
{
    const double value[3] = {lsl, usl, target};
    static const enum an_plot_side sides[3] = {AN_LOWER, AN_UPPER, AN_MIDDLE};
    for (int i = 0; i < 3; i++) {
        if (isfinite(value[i])) {
            double y = NAN;
            if (value[i] >= layout->scale.low && value[i] <= layout->scale.high) {
                y = an_plot_y(&layout->scale, value[i]);
            }
            fences[(*n)++] = (struct an_plot_fence){sides[i], value[i], y};
        }
    }
}

void an_plot_place_labels(const struct an_plot_layout *layout, struct an_plot_label *labels,
                          size_t n)
{
    const double top = layout->frame.y + 3, bottom = layout->frame.y + layout->frame.height - 3;
    for (size_t i = 0; i < n; i++) {
        labels[i].wanted_y = fmin(fmax(an_plot_y(&layout->scale, labels[i].value), top), bottom);
    }
    an_plot_spread_labels(labels, n, top, bottom, LABEL_PITCH);
}

double an_plot_baseline(double y)
{
    return y + 0.364 * AN_PLOT_TYPE_PT; /* half the height of a capital letter of our face */
}

/* How much a text between two x in a row of the lane would hide: 0 nothing, 1 a bar's hatch, 2 a
 * code. */
static int hides(const struct an_plot_layout *layout, int row, double x0, double x1)
{
    int most = 0;
    for (size_t i = 0; i < layout->item_count; i++) {
        const struct an_plot_item *item = &layout->items[i];
        if (item->row != row || item->x1 <= x0 || item->x0 >= x1) {
            continue;
        }
        const bool only_hatch = item->run && x0 >= item->bar_x0 - 1 && x1 <= item->bar_x1 + 1 &&
                                (item->text_x >= x1 || item->text_x + 20 <= x0);
        most = only_hatch && most < 2 ? 1 : 2;
    }
    return most;
}

/* Signals that found no row are counted: in the left margin at the last row; in a small chart,
 * which has no margin, at the end of the row where that hides least. */
static bool say_hidden(struct an_canvas *canvas, struct an_plot_layout *layout)
{
    static const struct an_type bold = {AN_PLOT_TYPE_PT, AN_BOLD, AN_SIGNAL, AN_LEFT};
    if (layout->hidden_items == 0) {
        return true;
    }
    const char *more = an_arena_printf(layout->arena, "+%zu", layout->hidden_items);
    if (!more) {
        return false;
    }
    const int last_row = layout->lane_rows > 0 ? layout->lane_rows - 1 : 0;
    const double top = layout->lane_y + AN_PLOT_LANE_PT * last_row;
    double x = layout->frame.x - 4;
    if (layout->small) {
        const double left = layout->box.x, right = left + layout->box.width;
        const double width = an_text_width(canvas, &bold, more) + 2;
        const bool at_left = hides(layout, last_row, left, left + width) <=
                             hides(layout, last_row, right - width, right);
        layout->hidden_paper =
            (struct an_box){at_left ? left : right - width, top - 0.5, width, AN_PLOT_FLAG_PT + 1};
        x = layout->hidden_paper.x + width - 1;
    }
    return an_plot_say(layout, x, an_plot_baseline(top + AN_PLOT_FLAG_PT / 2), AN_RIGHT, AN_BOLD,
                       AN_SIGNAL, more);
}

/* How many single readings the side view shows, and how many are off its scale. */
static bool say_readings(struct an_plot_layout *layout)
{
    if (!(layout->side.width > 0)) {
        return true;
    }
    size_t shown = 0;
    for (size_t i = 0; i < layout->bin_count; i++) {
        shown += layout->bins[i].count;
    }
    const size_t off = layout->side_above + layout->side_below;
    const char *text =
        off > 0 ? an_arena_printf(layout->arena, "%zu readings, %zu off", shown + off, off)
                : an_arena_printf(layout->arena, "%zu readings", shown);
    if (!text || !an_plot_say(layout, layout->side.x, layout->frame.y - 3.5, AN_LEFT, AN_REGULAR,
                              AN_GREY, text)) {
        return false;
    }
    layout->words[layout->word_count - 1].width =
        layout->box.x + layout->box.width - layout->side.x;
    return true;
}

static bool any_value(const struct an_plot *plot)
{
    for (size_t i = 0; i < plot->count; i++) {
        if (isfinite(plot->points[i].value)) {
            return true;
        }
    }
    return false;
}

static bool say_round_numbers(struct an_plot_layout *layout)
{
    layout->round_y = an_arena_alloc(layout->arena, AN_PLOT_ROUNDS, sizeof *layout->round_y);
    if (!layout->round_y) {
        return false;
    }
    for (size_t i = 0; i < layout->round_count; i++) {
        const double y = an_plot_y(&layout->scale, layout->round[i]);
        layout->round_y[i] = y;
        if (!an_plot_say(layout, layout->frame.x - 6, an_plot_baseline(y), AN_RIGHT, AN_REGULAR,
                         AN_GREY, layout->round_text[i])) {
            return false;
        }
    }
    return true;
}

/* The name of a row, left of it. */
static bool say_row(struct an_plot_layout *layout, double middle_y, const char *name)
{
    const double right = layout->frame.x - 4;
    if (!an_plot_say(layout, right, an_plot_baseline(middle_y), AN_RIGHT, AN_REGULAR, AN_GREY,
                     name)) {
        return false;
    }
    layout->words[layout->word_count - 1].width = right - layout->box.x;
    return true;
}

static bool say_left(const struct an_plot *plot, const struct an_plot_rows *rows,
                     struct an_plot_layout *layout)
{
    const bool one_row_cut = layout->hidden_items > 0 && layout->lane_rows <= 1;
    bool ok = say_round_numbers(layout);
    if (layout->lane_rows > 0 && !one_row_cut) {
        ok = ok && say_row(layout, layout->lane_y + AN_PLOT_FLAG_PT / 2, "signals");
    }
    if (layout->note_rows > 0) {
        ok = ok && say_row(layout, layout->note_y + AN_PLOT_NOTE_PT / 2, "notes");
    }
    if (rows->ribbon) {
        ok = ok && say_row(layout, layout->ribbon_y + AN_PLOT_RIBBON_PT / 2, plot->ribbon_title);
    }
    if (!plot->zone && layout->times_baseline > 0 && plot->count > 0) {
        ok = ok && an_plot_say(layout, layout->frame.x - 4, layout->times_baseline, AN_RIGHT,
                               AN_REGULAR, AN_GREY, "UTC");
    }
    if (rows->onset) {
        ok = ok && say_row(layout, layout->onset_y + 4, "onset");
    }
    return ok;
}

bool an_plot_say_margins(struct an_canvas *canvas, const struct an_plot *plot,
                         const struct an_plot_rows *rows, struct an_plot_layout *layout)
{
    bool ok = say_hidden(canvas, layout);
    if (!any_value(plot)) {
        ok = ok && an_plot_say(layout, layout->frame.x + layout->frame.width / 2,
                               an_plot_baseline(layout->frame.y + layout->frame.height / 2),
                               AN_CENTRE, AN_REGULAR, AN_GREY, "no values in this period");
    }
    if (layout->small) {
        return ok;
    }
    if (layout->frame.x - layout->box.x > 8) {
        ok = ok && say_left(plot, rows, layout);
    } else {
        layout->round_count = 0;
    }
    if (has_text(plot->unit) && !(plot->title && strstr(plot->title, plot->unit)) &&
        layout->label_count > 0) {
        ok = ok && an_plot_say(layout, layout->label_x, layout->frame.y - 3.5, AN_LEFT, AN_REGULAR,
                               AN_GREY, plot->unit);
    }
    return ok && say_readings(layout);
}
