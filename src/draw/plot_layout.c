/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Decides where everything on a chart stands, and draws nothing.
 *
 * The hard idea: first across, then down. Margins need only the texts; with them every point has
 * its x, so the lanes can be stacked; with their rows known, what is left of the height is the
 * plot's, and last come the y. In a box too small, rows give way in a fixed order before the plot.
 */
#include "draw/plot_layout.h"

#include <math.h>
#include <string.h>

#define INSET 6.0
#define GUTTER 12.0     /* added between phases; the rails on both sides reach into it */
#define RAIL_REACH 3.5  /* rails begin and end so far beyond their outer points */
#define LEAST_PLOT 46.0 /* rows give way before the plot gets lower than this */
#define SIDE_WIDTH 54.0
#define LABEL_PITCH 8.4
#define TITLE_PT 8.5
#define SMALL_TITLE_PT 7.5

static const struct an_type grey_type = {AN_PLOT_TYPE_PT, AN_REGULAR, AN_GREY, AN_LEFT};
static const struct an_type ink_type = {AN_PLOT_TYPE_PT, AN_REGULAR, AN_INK, AN_LEFT};

bool an_plot_say(struct an_plot_layout *layout, double x, double baseline, enum an_align align,
                 enum an_weight weight, enum an_ink ink, const char *text)
{
    if (layout->word_count == layout->word_room) {
        const size_t room = layout->word_room ? 2 * layout->word_room : 32;
        struct an_plot_words *more = an_arena_alloc(layout->arena, room, sizeof *more);
        if (!more) {
            return false;
        }
        if (layout->word_count > 0) {
            memcpy(more, layout->words, layout->word_count * sizeof *more);
        }
        layout->words = more;
        layout->word_room = room;
    }
    layout->words[layout->word_count++] =
        (struct an_plot_words){x, baseline, 0, align, weight, ink, text};
    return true;
}

static bool has_text(const char *text)
{
    return text && *text;
}

/* --- across -------------------------------------------------------------------------------- */

struct rows { /* which optional rows there are, and their heights */
    bool tabs, shifts, onset, ribbon;
    int lane, notes; /* most rows of each */
    bool texts;      /* of the notes, under the chart */
};

static bool find_segments(const struct an_plot *plot, struct an_plot_layout *layout)
{
    size_t n = plot->count > 0;
    for (size_t i = 1; i < plot->count; i++) {
        n += plot->points[i].phase != plot->points[i - 1].phase;
    }
    layout->segments = an_arena_alloc(layout->arena, n + 1, sizeof *layout->segments);
    if (!layout->segments) {
        return false;
    }
    for (size_t i = 0; i < plot->count; i++) {
        if (i == 0 || plot->points[i].phase != plot->points[i - 1].phase) {
            layout->segments[layout->segment_count++].first = i;
        }
        layout->segments[layout->segment_count - 1].last = i;
    }
    return true;
}

static void place_points(const struct an_plot *plot, struct an_plot_layout *layout)
{
    const size_t n = plot->count;
    if (n == 0) {
        return;
    }
    const double width = layout->frame.width - 2 * INSET;
    const double gutters = (double)(layout->segment_count - 1);
    const double gutter = gutters > 0 ? fmin(GUTTER, 0.3 * width / gutters) : 0;
    const double run = width - gutters * gutter;
    const double t0 = (double)plot->points[0].at_us;
    const double span = (double)plot->points[n - 1].at_us - t0;
    double passed = 0, latest = 0;
    for (size_t i = 0; i < n; i++) {
        if (i > 0 && plot->points[i].phase != plot->points[i - 1].phase) {
            passed += gutter;
        }
        double share = n > 1 ? (double)i / (double)(n - 1) : 0.5;
        if (plot->x_by_time && span > 0) {
            share = fmin(fmax(((double)plot->points[i].at_us - t0) / span, latest), 1);
            latest = share;
        }
        layout->x[i] = layout->frame.x + INSET + share * run + passed;
    }
    const double reach = fmin(RAIL_REACH, gutters > 0 ? gutter / 2 - 1 : RAIL_REACH);
    for (size_t s = 0; s < layout->segment_count; s++) {
        struct an_plot_segment *segment = &layout->segments[s];
        segment->x0 = layout->x[segment->first] - fmax(reach, 0);
        segment->x1 = layout->x[segment->last] + fmax(reach, 0);
    }
    const double step = run / (double)(n > 1 ? n - 1 : 1);
    layout->dot_pt = fmin(fmax(step * 0.75, 1.3), layout->small ? 2.6 : 3.4);
}

double an_plot_x_at(const struct an_plot_layout *layout, double index)
{
    if (layout->count == 0 || !isfinite(index)) {
        return NAN;
    }
    const double last = (double)(layout->count - 1);
    const double at = fmin(fmax(index, 0), last);
    const size_t i = (size_t)at;
    if (i + 1 >= layout->count) {
        return layout->x[layout->count - 1];
    }
    return layout->x[i] + (at - (double)i) * (layout->x[i + 1] - layout->x[i]);
}

double an_plot_x_of(const struct an_plot_layout *layout, const struct an_plot *plot, int64_t at_us)
{
    size_t low = 0, high = plot->count; /* the first point at or after the instant */
    while (low < high) {
        const size_t middle = low + (high - low) / 2;
        if (plot->points[middle].at_us < at_us) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    if (low == plot->count || (low == 0 && plot->points[0].at_us != at_us)) {
        return NAN;
    }
    if (low == 0) {
        return layout->x[0];
    }
    double share = 0.5;
    if (plot->x_by_time) {
        const double from = (double)plot->points[low - 1].at_us;
        const double to = (double)plot->points[low].at_us;
        share = to > from ? ((double)at_us - from) / (to - from) : 0.5;
    }
    return layout->x[low - 1] + share * (layout->x[low] - layout->x[low - 1]);
}

/* --- values in the margins ----------------------------------------------------------------- */

static bool add_label(struct an_canvas *canvas, struct an_plot_layout *layout,
                      struct an_plot_label *labels, size_t *n, double value, int decimals,
                      const char *name, enum an_ink ink, int rank)
{
    if (!isfinite(value)) {
        return true;
    }
    const char *text = an_plot_number(layout->arena, value, decimals);
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
        ok = add_label(canvas, layout, to, n, last->ucl, plot->decimals, "ucl", AN_INK, 0) &&
             add_label(canvas, layout, to, n, last->centre, plot->decimals, "centre", AN_INK, 2) &&
             add_label(canvas, layout, to, n, last->lcl, plot->decimals, "lcl", AN_INK, 1);
    }
    ok = ok && add_label(canvas, layout, to, n, plot->usl, plot->decimals, "spec", AN_GREY, 3) &&
         add_label(canvas, layout, to, n, plot->lsl, plot->decimals, "spec", AN_GREY, 4) &&
         add_label(canvas, layout, to, n, plot->target, plot->decimals, "target", AN_GREY, 5);
    return ok;
}

static bool has_side(const struct an_plot *plot)
{
    return plot->side && plot->side->count > 0 && plot->side->values;
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
                                value[i], plot->decimals, i < 2 ? "spec" : "target", AN_GREY, i)) {
            return false;
        }
    }
    return true;
}

static double width_of(struct an_canvas *canvas, const char *text)
{
    return has_text(text) ? an_text_width(canvas, &grey_type, text) : 0;
}

struct round_numbers {
    double value[4];
    size_t n;
    const char *text[4];
};

static bool gather_round_numbers(struct an_plot_layout *layout, struct round_numbers *round)
{
    int decimals = 0;
    round->n = an_plot_round_numbers(&layout->scale, 4, round->value, &decimals);
    for (size_t i = 0; i < round->n; i++) {
        round->text[i] = an_plot_number(layout->arena, round->value[i], decimals);
        if (!round->text[i]) {
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

static void cut_margins(struct an_canvas *canvas, const struct an_plot *plot,
                        const struct rows *rows, const struct round_numbers *round,
                        struct an_plot_layout *layout)
{
    const struct an_box *box = &layout->box;
    double left = 0, right = 0, side = 0;
    if (!layout->small) {
        for (size_t i = 0; i < round->n; i++) {
            left = fmax(left, width_of(canvas, round->text[i]) + 6);
        }
        left = fmax(left, plot->signal_count > 0 ? width_of(canvas, "signals") + 4 : 0);
        left = fmax(left, rows->notes > 0 ? width_of(canvas, "notes") + 4 : 0);
        left = fmax(left, rows->onset ? width_of(canvas, "onset") + 4 : 0);
        left = fmax(left, rows->ribbon ? fmin(width_of(canvas, plot->ribbon_title), 56) + 4 : 0);
        right = widest_label(canvas, layout->labels, layout->label_count) + 7;
        right = fmax(right, width_of(canvas, plot->unit) + 7);
    }
    right = fmax(right, fmax(0, flag_overhang(canvas, plot) - INSET + 6));
    if (layout->side.width > 0) {
        side = layout->side.width + 6 +
               (layout->side_label_count
                    ? widest_label(canvas, layout->side_labels, layout->side_label_count) + 8
                    : 0);
        if (box->width - left - right - side < 120) {
            layout->side.width = side = 0;
        }
    }
    if (box->width - left - right - side < 60) {
        left = 0;
    }
    layout->frame.x = box->x + left;
    layout->frame.width = box->width - left - right - side;
    layout->label_x = layout->frame.x + layout->frame.width + 5;
    layout->side.x = layout->frame.x + layout->frame.width + right + 2;
    layout->side_label_x = layout->side.x + layout->side.width + 8;
}

/* --- down ---------------------------------------------------------------------------------- */

static double note_texts_height(struct an_canvas *canvas, const struct an_plot *plot,
                                const struct an_plot_layout *layout, double most, size_t *fit)
{
    double height = 0;
    for (*fit = 0; *fit < plot->note_count; (*fit)++) {
        const double one =
            fmax(an_text_height(canvas, layout->box.width - 16, &grey_type, plot->notes[*fit]),
                 AN_PLOT_NOTE_PT) +
            1.5;
        if (height + one > most) {
            break;
        }
        height += one;
    }
    return height;
}

static double title_height(const struct an_plot *plot)
{
    return plot->small ? 11 : has_text(plot->title) ? 13 : 0;
}

/* Stacks the rows under the plot from the bottom up, then those above it from the top down.
 * Returns the height that is left for the plot. */
static bool cut_rows(struct an_canvas *canvas, const struct an_plot *plot, const struct rows *rows,
                     struct an_plot_layout *layout)
{
    const struct an_box *box = &layout->box;
    double top = box->y + title_height(plot), bottom = box->y + box->height;
    if (layout->small) {
        bottom -= AN_PLOT_LANE_PT; /* always, so that panels side by side are alike */
        layout->lane_y = bottom;
        layout->frame.y = top;
        layout->frame.height = bottom - top - 1;
        return true;
    }
    if (rows->tabs) {
        top += 11.5;
    }
    if (rows->texts) {
        bottom -= note_texts_height(canvas, plot, layout, box->height / 3, &layout->note_texts);
        layout->note_text_y = bottom;
        bottom -= 2;
    }
    int shift_rows = 0;
    if (rows->shifts) {
        const double baseline = top + 7;
        if (!an_plot_lay_shifts(canvas, plot, baseline, &shift_rows, layout)) {
            return false;
        }
        top += shift_rows > 0 ? 8.5 * shift_rows + 2.5 : 0;
        layout->tick_length = 5.5;
        layout->ticks_on_top = shift_rows > 0;
    }
    if (shift_rows == 0) {
        top += 3;
        bottom -= 9;
        layout->times_baseline = bottom + 7;
        if (!an_plot_lay_times(canvas, plot, layout->times_baseline, layout)) {
            return false;
        }
    }
    if (rows->ribbon) {
        bottom -= AN_PLOT_RIBBON_PT + 1;
        layout->ribbon_y = bottom;
        bottom -= 2;
    }
    bottom -= AN_PLOT_LANE_PT * layout->note_rows;
    layout->note_y = bottom;
    bottom -= AN_PLOT_LANE_PT * layout->lane_rows;
    layout->lane_y = bottom;
    if (rows->onset) {
        bottom -= 10;
        layout->onset_y = bottom;
    }
    bottom -= 3;
    layout->frame.y = top;
    layout->frame.height = bottom - top;
    return true;
}

/* What there would be, without the things that a low box has no room for. */
static struct rows choose_rows(const struct an_plot *plot, const struct an_plot_layout *layout)
{
    struct rows rows = {.tabs = layout->segment_count > 1 || plot->phase_label_count > 0,
                        .shifts = plot->shift_count > 0,
                        .onset = plot->onset.present && plot->count > 0,
                        .ribbon = has_text(plot->ribbon_title) && plot->count > 0,
                        .lane = plot->signal_count > 0 ? 5 : 0,
                        .texts = plot->note_count > 0};
    for (size_t i = 0; i < plot->count && rows.notes == 0; i++) {
        rows.notes = plot->points[i].note > 0 ? 2 : 0;
    }
    if (layout->small) {
        return (struct rows){.lane = 1};
    }
    const double spare = layout->box.height - title_height(plot) - 12 - LEAST_PLOT;
    const double lanes = 10.5 * ((rows.lane > 0) + (rows.notes > 0)) + 10.0 * rows.onset;
    rows.texts = rows.texts && spare - lanes > 40;
    rows.tabs = rows.tabs && spare - lanes > 20;
    rows.shifts = rows.shifts && spare - lanes > 12;
    rows.ribbon = rows.ribbon && spare - lanes > 30;
    rows.notes = spare > 10 ? rows.notes : 0;
    const int most = (int)fmax(spare * 0.3 / AN_PLOT_LANE_PT, 0);
    rows.lane = rows.lane < 1 + most ? rows.lane : 1 + most;
    return rows;
}

/* Which of the different phases, in order of first appearance, each segment belongs to. */
static size_t *phase_ordinals(const struct an_plot *plot, const struct an_plot_layout *layout)
{
    const size_t n = layout->segment_count;
    size_t *ordinals = an_arena_alloc(layout->arena, n + 1, sizeof *ordinals);
    size_t *met = an_arena_alloc(layout->arena, n + 1, sizeof *met);
    size_t met_count = 0;
    for (size_t s = 0; ordinals && met && s < n; s++) {
        const size_t phase = plot->points[layout->segments[s].first].phase;
        size_t k = 0;
        while (k < met_count && met[k] != phase) {
            k++;
        }
        if (k == met_count) {
            met[met_count++] = phase;
        }
        ordinals[s] = k;
    }
    return met ? ordinals : NULL;
}

static bool place_tabs(struct an_canvas *canvas, const struct an_plot *plot,
                       struct an_plot_layout *layout)
{
    static const struct an_type tab_type = {AN_PLOT_TYPE_PT, AN_BOLD, AN_PAPER, AN_LEFT};
    const double y = layout->box.y + title_height(plot);
    const size_t *ordinals = phase_ordinals(plot, layout);
    if (!ordinals) {
        return false;
    }
    for (size_t s = 0; s < layout->segment_count; s++) {
        struct an_plot_segment *segment = &layout->segments[s];
        const size_t k = ordinals[s];
        const char *label = k < plot->phase_label_count ? plot->phase_labels[k] : NULL;
        if (has_text(label)) {
            const size_t length = strcspn(label, " ");
            segment->tab = an_arena_copy(layout->arena, label, length);
            segment->text = label[length] ? label + length + 1 : NULL;
        } else {
            segment->tab = an_arena_printf(layout->arena, "P%zu", k + 1);
        }
        if (!segment->tab) {
            return false;
        }
        const double width = an_text_width(canvas, &tab_type, segment->tab) + 6;
        const double end = s + 1 < layout->segment_count ? layout->segments[s + 1].x0 - 3
                                                         : layout->box.x + layout->box.width;
        segment->tab_box = (struct an_box){segment->x0, y, width, 9};
        if (segment->x0 + width > end) {
            segment->tab = NULL;
            continue;
        }
        segment->text_width = has_text(segment->text) ? fmax(end - segment->x0 - width - 3, 0) : 0;
    }
    return true;
}

/* --- points -------------------------------------------------------------------------------- */

static bool scale_points(const struct an_plot *plot, struct an_plot_layout *layout)
{
    size_t above = 0, below = 0;
    for (size_t i = 0; i < plot->count; i++) {
        const double v = plot->points[i].value;
        above += isfinite(v) && v > layout->scale.high;
        below += isfinite(v) && v < layout->scale.low;
    }
    const double band = layout->small ? 6 : AN_PLOT_BAND_PT;
    const struct an_box *frame = &layout->frame;
    layout->scale.y_high = frame->y + (above ? band : 0);
    layout->scale.y_low = frame->y + frame->height - (below ? band : 0);
    layout->arrows = an_arena_alloc(layout->arena, above + below + 1, sizeof *layout->arrows);
    if (!layout->arrows) {
        return false;
    }
    for (size_t i = 0; i < plot->count; i++) {
        const double v = plot->points[i].value;
        layout->y[i] = an_plot_y(&layout->scale, v);
        const bool up = v > layout->scale.high, down = v < layout->scale.low;
        if (!isfinite(v) || (!up && !down)) {
            continue;
        }
        layout->y[i] = up ? frame->y + 2.5 : frame->y + frame->height - 2.5;
        if (layout->arrow_count > 0 && layout->arrows[layout->arrow_count - 1].up == up &&
            layout->x[i] - layout->x[layout->arrows[layout->arrow_count - 1].point] < 0.8) {
            continue; /* one over the other: nothing more would be seen */
        }
        struct an_plot_arrow arrow = {.point = i, .up = up};
        arrow.text = an_plot_number(layout->arena, v, plot->decimals);
        if (!arrow.text) {
            return false;
        }
        layout->arrows[layout->arrow_count++] = arrow;
    }
    return true;
}

/* A number stands right of its arrow, else left of it, where no arrow or number is in its way. */
static void place_arrow_texts(struct an_canvas *canvas, struct an_plot_layout *layout)
{
    const double right_end = layout->frame.x + layout->frame.width;
    for (int up = 0; up < 2; up++) {
        double free_x = layout->frame.x;
        for (size_t k = 0; k < layout->arrow_count && !layout->small; k++) {
            struct an_plot_arrow *arrow = &layout->arrows[k];
            if (arrow->up != (up == 1)) {
                continue;
            }
            const double x = layout->x[arrow->point];
            double next = right_end + 4;
            for (size_t m = k + 1; m < layout->arrow_count; m++) {
                if (layout->arrows[m].up == arrow->up) {
                    next = layout->x[layout->arrows[m].point];
                    break;
                }
            }
            const double width = an_text_width(canvas, &ink_type, arrow->text);
            if (x + 5 + width + 4 <= next) {
                arrow->with_text = true;
                arrow->text_width = width;
                free_x = x + 5 + width + 2;
            } else if (x - 5 - width >= free_x) {
                arrow->with_text = true;
                arrow->text_width = -width; /* to the left */
                free_x = x + 5;
            } else {
                free_x = x + 5;
            }
        }
    }
}

static enum an_plot_mark mark_of(const struct an_plot_point *p)
{
    if (!isfinite(p->value)) {
        return AN_NO_MARK;
    }
    return p->excluded ? AN_SLASHED : p->flagged ? AN_SQUARE : p->in_run ? AN_RUN_DOT : AN_DOT;
}

/* Thousands of points on a few hundred points of paper: of plain dots in one column 0.8 pt wide
 * the lowest and the highest stay; of other marks those that do not lie on each other. */
static void thin_out(const struct an_plot *plot, struct an_plot_layout *layout)
{
    double last_x[5] = {-INFINITY, -INFINITY, -INFINITY, -INFINITY, -INFINITY};
    double last_y[5] = {0};
    size_t low = SIZE_MAX, high = SIZE_MAX;
    double column = -INFINITY;
    for (size_t i = 0; i < plot->count; i++) {
        const enum an_plot_mark mark = mark_of(&plot->points[i]);
        layout->mark[i] = mark;
        if (mark == AN_NO_MARK) {
            continue;
        }
        if (mark != AN_DOT) {
            if (layout->x[i] - last_x[mark] < 0.8 && fabs(layout->y[i] - last_y[mark]) < 0.8) {
                layout->mark[i] = AN_NO_MARK;
            } else {
                last_x[mark] = layout->x[i];
                last_y[mark] = layout->y[i];
            }
            continue;
        }
        if (layout->x[i] - column >= 0.8) {
            column = layout->x[i];
            low = high = i;
            continue;
        }
        /* Within the column: keep at most two, the extremes. */
        if (layout->y[i] > layout->y[low]) {
            if (low != high) {
                layout->mark[low] = AN_NO_MARK;
            }
            low = i;
        } else if (layout->y[i] < layout->y[high]) {
            if (low != high) {
                layout->mark[high] = AN_NO_MARK;
            }
            high = i;
        } else {
            layout->mark[i] = AN_NO_MARK;
        }
    }
}

static bool lay_link(const struct an_plot *plot, struct an_plot_layout *layout)
{
    layout->link_x = an_arena_alloc(layout->arena, 2 * plot->count + 1, sizeof *layout->link_x);
    layout->link_y = an_arena_alloc(layout->arena, 2 * plot->count + 1, sizeof *layout->link_y);
    if (!layout->link_x || !layout->link_y) {
        return false;
    }
    bool broken = true;
    for (size_t i = 0; i < plot->count; i++) {
        const struct an_plot_point *p = &plot->points[i];
        const bool off = p->value > layout->scale.high || p->value < layout->scale.low;
        broken = broken || p->gap_before || (i > 0 && p->phase != plot->points[i - 1].phase);
        if (!isfinite(p->value) || p->excluded || off) {
            broken = true;
            continue;
        }
        if (layout->mark[i] == AN_NO_MARK) {
            continue; /* thinned out */
        }
        if (broken && layout->link_count > 0) {
            layout->link_x[layout->link_count] = layout->x[i];
            layout->link_y[layout->link_count++] = NAN;
        }
        layout->link_x[layout->link_count] = layout->x[i];
        layout->link_y[layout->link_count++] = layout->y[i];
        broken = false;
    }
    return true;
}

/* --- all of it ----------------------------------------------------------------------------- */

static void place_fence(const struct an_plot_layout *layout, struct an_plot_fence *fences,
                        size_t *n, double lsl, double usl, double target)
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

static void place_labels(const struct an_plot_layout *layout, struct an_plot_label *labels,
                         size_t n)
{
    const double top = layout->frame.y + 3, bottom = layout->frame.y + layout->frame.height - 3;
    for (size_t i = 0; i < n; i++) {
        labels[i].wanted_y = fmin(fmax(an_plot_y(&layout->scale, labels[i].value), top), bottom);
    }
    an_plot_spread_labels(labels, n, top, bottom, LABEL_PITCH);
}

static double middle_baseline(double y)
{
    return y + 0.364 * AN_PLOT_TYPE_PT; /* half the height of a capital letter of our face */
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

static bool say_margins(const struct an_plot *plot, const struct rows *rows,
                        const struct round_numbers *round, struct an_plot_layout *layout)
{
    bool ok = true;
    if (!any_value(plot)) {
        ok = an_plot_say(layout, layout->frame.x + layout->frame.width / 2,
                         middle_baseline(layout->frame.y + layout->frame.height / 2), AN_CENTRE,
                         AN_REGULAR, AN_GREY, "no values in this period");
    }
    if (layout->small) {
        return ok;
    }
    const double right = layout->frame.x - 4;
    layout->round_y = an_arena_alloc(layout->arena, round->n + 1, sizeof *layout->round_y);
    if (!layout->round_y) {
        return false;
    }
    const bool room = layout->frame.x - layout->box.x > 8;
    for (size_t i = 0; i < round->n && room; i++) {
        const double y = an_plot_y(&layout->scale, round->value[i]);
        if (y - 4 < layout->frame.y - 3 || y + 4 > layout->frame.y + layout->frame.height + 3) {
            continue;
        }
        layout->round_y[layout->round_count++] = y;
        ok = ok && an_plot_say(layout, right - 2, middle_baseline(y), AN_RIGHT, AN_REGULAR, AN_GREY,
                               round->text[i]);
    }
    if (room && layout->lane_rows > 0) {
        ok = ok && an_plot_say(layout, right, middle_baseline(layout->lane_y + AN_PLOT_FLAG_PT / 2),
                               AN_RIGHT, AN_REGULAR, AN_GREY, "signals");
    }
    if (room && layout->note_rows > 0) {
        ok = ok && an_plot_say(layout, right, middle_baseline(layout->note_y + AN_PLOT_NOTE_PT / 2),
                               AN_RIGHT, AN_REGULAR, AN_GREY, "notes");
    }
    if (room && rows->ribbon) {
        ok = ok &&
             an_plot_say(layout, right, middle_baseline(layout->ribbon_y + AN_PLOT_RIBBON_PT / 2),
                         AN_RIGHT, AN_REGULAR, AN_GREY, plot->ribbon_title);
        if (ok) {
            layout->words[layout->word_count - 1].width = right - layout->box.x;
        }
    }
    if (room && !plot->zone && layout->times_baseline > 0 && plot->count > 0) {
        ok = ok && an_plot_say(layout, right, layout->times_baseline, AN_RIGHT, AN_REGULAR, AN_GREY,
                               "UTC");
    }
    if (has_text(plot->unit) && !(plot->title && strstr(plot->title, plot->unit)) &&
        layout->label_count > 0) {
        ok = ok && an_plot_say(layout, layout->label_x, layout->frame.y - 3.5, AN_LEFT, AN_REGULAR,
                               AN_GREY, plot->unit);
    }
    if (layout->hidden_items > 0) {
        const char *more = an_arena_printf(layout->arena, "+%zu more", layout->hidden_items);
        ok = ok && more &&
             an_plot_say(layout, layout->box.x + layout->box.width,
                         middle_baseline(layout->lane_y + AN_PLOT_FLAG_PT / 2 +
                                         AN_PLOT_LANE_PT * (layout->lane_rows - 1)),
                         AN_RIGHT, AN_BOLD, AN_SIGNAL, more);
    }
    if (room && rows->onset) {
        ok = ok && an_plot_say(layout, right, middle_baseline(layout->onset_y + 4), AN_RIGHT,
                               AN_REGULAR, AN_GREY, "onset");
    }
    return ok;
}

/* The last value of a small chart, with its unit. */
static bool find_last_value(const struct an_plot *plot, struct an_plot_layout *layout)
{
    for (size_t i = plot->count; i > 0; i--) {
        if (!isfinite(plot->points[i - 1].value)) {
            continue;
        }
        const char *number =
            an_plot_number(layout->arena, plot->points[i - 1].value, plot->decimals);
        const bool with_unit =
            has_text(plot->unit) && !(plot->title && strstr(plot->title, plot->unit));
        layout->last_value = number && with_unit
                                 ? an_arena_printf(layout->arena, "%s %s", number, plot->unit)
                                 : number;
        return layout->last_value != NULL;
    }
    return true;
}

static bool prepare(struct an_arena *arena, const struct an_box *box, const struct an_plot *plot,
                    struct an_plot_layout *layout)
{
    *layout = (struct an_plot_layout){.arena = arena, .box = *box, .small = plot->small};
    layout->count = plot->count;
    layout->onset_y = NAN;
    layout->x = an_arena_alloc(arena, plot->count + 1, sizeof *layout->x);
    layout->y = an_arena_alloc(arena, plot->count + 1, sizeof *layout->y);
    layout->mark = an_arena_alloc(arena, plot->count + 1, sizeof *layout->mark);
    return layout->x && layout->y && layout->mark &&
           an_plot_scale_choose(arena, plot, &layout->scale) && find_segments(plot, layout);
}

static bool lay(struct an_canvas *canvas, const struct an_plot *plot, struct an_plot_layout *layout)
{
    const struct rows rows = choose_rows(plot, layout);
    struct round_numbers round = {.n = 0};
    if (!layout->small) {
        if (!gather_labels(canvas, plot, layout) || !gather_round_numbers(layout, &round)) {
            return false;
        }
        if (has_side(plot)) {
            layout->side.width = SIDE_WIDTH;
            if (!gather_side_labels(canvas, plot, layout)) {
                return false;
            }
        }
    }
    if (layout->small && !find_last_value(plot, layout)) {
        return false;
    }
    cut_margins(canvas, plot, &rows, &round, layout);
    if (layout->frame.width < 30) {
        layout->bare = true;
        return true;
    }
    place_points(plot, layout);
    if (!an_plot_lay_signals(canvas, plot, rows.lane, layout) ||
        (rows.notes > 0 && !an_plot_lay_notes(plot, rows.notes, layout)) ||
        !cut_rows(canvas, plot, &rows, layout)) {
        return false;
    }
    if (layout->frame.height < (layout->small ? 14 : 20)) {
        layout->bare = true;
        return true;
    }
    if ((rows.tabs && !place_tabs(canvas, plot, layout)) || !scale_points(plot, layout)) {
        return false;
    }
    place_arrow_texts(canvas, layout);
    thin_out(plot, layout);
    if (!lay_link(plot, layout) || !an_plot_lay_rails(plot, layout) ||
        (rows.ribbon && !an_plot_lay_ribbon(canvas, plot, layout))) {
        return false;
    }
    if (rows.onset) {
        layout->onset_x = an_plot_x_at(layout, plot->onset.at);
        layout->onset_x0 = an_plot_x_at(layout, plot->onset.earliest);
        layout->onset_x1 = an_plot_x_at(layout, plot->onset.latest);
    }
    if (!layout->small) {
        place_fence(layout, layout->fences, &layout->fence_count, plot->lsl, plot->usl,
                    plot->target);
        place_labels(layout, layout->labels, layout->label_count);
    }
    if (layout->side.width > 0) {
        layout->side.y = layout->frame.y;
        layout->side.height = layout->frame.height;
        place_fence(layout, layout->side_fences, &layout->side_fence_count, plot->side->lsl,
                    plot->side->usl, plot->side->target);
        place_labels(layout, layout->side_labels, layout->side_label_count);
        if (!an_plot_lay_side(canvas, plot, layout)) {
            return false;
        }
    }
    return say_margins(plot, &rows, &round, layout);
}

enum an_status an_plot_lay(struct an_canvas *canvas, struct an_arena *arena,
                           const struct an_box *box, const struct an_plot *plot,
                           struct an_plot_layout *layout)
{
    return prepare(arena, box, plot, layout) && lay(canvas, plot, layout) ? AN_OK : AN_NO_MEMORY;
}
