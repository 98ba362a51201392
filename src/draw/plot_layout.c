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

#define LEAST_PLOT 46.0 /* rows give way before the plot gets lower than this */
#define SIDE_WIDTH 54.0
#define TITLE_PT 8.5
#define SMALL_TITLE_PT 7.5

static const struct an_type grey_type = {AN_PLOT_TYPE_PT, AN_REGULAR, AN_GREY, AN_LEFT};

static bool has_text(const char *text)
{
    return text && *text;
}

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

/* --- across -------------------------------------------------------------------------------- */

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
static bool cut_rows(struct an_canvas *canvas, const struct an_plot *plot,
                     const struct an_plot_rows *rows, struct an_plot_layout *layout)
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
        layout->day_length = 8.5 * shift_rows - 0.5;
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
static struct an_plot_rows choose_rows(const struct an_plot *plot,
                                       const struct an_plot_layout *layout)
{
    struct an_plot_rows rows = {.tabs = layout->segment_count > 1 || plot->phase_label_count > 0,
                                .shifts = plot->shift_count > 0,
                                .onset = plot->onset.present && plot->count > 0,
                                .ribbon = has_text(plot->ribbon_title) && plot->count > 0,
                                .lane = plot->signal_count > 0 ? 5 : 0,
                                .texts = plot->note_count > 0};
    for (size_t i = 0; i < plot->count && rows.notes == 0; i++) {
        rows.notes = plot->points[i].note > 0 ? 2 : 0;
    }
    if (layout->small) {
        return (struct an_plot_rows){.lane = 1};
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

/* The last value of a small chart, with its unit. */
static bool find_last_value(const struct an_plot *plot, struct an_plot_layout *layout)
{
    for (size_t i = plot->count; i > 0; i--) {
        if (!isfinite(plot->points[i - 1].value)) {
            continue;
        }
        const char *number = an_plot_value(layout->arena, plot, plot->points[i - 1].value);
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

static bool lay_side(const struct an_plot *plot, struct an_plot_layout *layout)
{
    if (!(layout->side.width > 0)) {
        return true;
    }
    layout->side.y = layout->frame.y;
    layout->side.height = layout->frame.height;
    an_plot_place_fence(layout, plot->side->lsl, plot->side->usl, plot->side->target,
                        layout->side_fences, &layout->side_fence_count);
    an_plot_place_labels(layout, layout->side_labels, layout->side_label_count);
    return an_plot_lay_side(plot, layout);
}

static bool lay(struct an_canvas *canvas, const struct an_plot *plot, struct an_plot_layout *layout)
{
    const struct an_plot_rows rows = choose_rows(plot, layout);
    if (layout->small && !find_last_value(plot, layout)) {
        return false;
    }
    if (!an_plot_cut_margins(canvas, plot, &rows, layout)) {
        return false;
    }
    layout->bare = layout->frame.width < 30;
    if (layout->bare) {
        return true;
    }
    an_plot_place_points(plot, layout);
    if (!an_plot_lay_signals(canvas, plot, rows.lane, layout) ||
        (rows.notes > 0 && !an_plot_lay_notes(plot, rows.notes, layout)) ||
        !cut_rows(canvas, plot, &rows, layout)) {
        return false;
    }
    layout->bare = layout->frame.height < (layout->small ? 14 : 20);
    if (layout->bare) {
        return true;
    }
    if ((rows.tabs && !place_tabs(canvas, plot, layout)) ||
        !an_plot_scale_points(canvas, plot, layout) || !an_plot_lay_rails(plot, layout) ||
        (rows.ribbon && !an_plot_lay_ribbon(canvas, plot, layout))) {
        return false;
    }
    if (rows.onset) {
        layout->onset_x = an_plot_x_at(layout, plot->onset.at);
        layout->onset_x0 = an_plot_x_at(layout, plot->onset.earliest);
        layout->onset_x1 = an_plot_x_at(layout, plot->onset.latest);
    }
    if (!layout->small) {
        an_plot_place_fence(layout, plot->lsl, plot->usl, plot->target, layout->fences,
                            &layout->fence_count);
        an_plot_place_labels(layout, layout->labels, layout->label_count);
    }
    return lay_side(plot, layout) && an_plot_say_margins(canvas, plot, &rows, layout);
}

enum an_status an_plot_lay(struct an_canvas *canvas, struct an_arena *arena,
                           const struct an_box *box, const struct an_plot *plot,
                           struct an_plot_layout *layout)
{
    return prepare(arena, box, plot, layout) && lay(canvas, plot, layout) ? AN_OK : AN_NO_MEMORY;
}
