/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The lanes under the plot: signals, notes, the ribbon of upstream batches.
 *
 * The hard idea: a flag flies to the right of its stem. Laid from the right to the left, each in
 * the nearest free row, no stem ever crosses a flag: whatever stands in the rows above began
 * further right. Bars of runs come after the flags, into rows that no stem passes through.
 */
#include "draw/plot_layout.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define FLAG_PAD 2.2 /* left and right of the code in a flag */
#define TEXT_GAP 2.0 /* from a bar to its code */
#define APART 0.9    /* least between two things in one row */
#define CODE_APART 7.0
#define STEM_APART 4.5 /* closer stems of one flag would be one blot */

static const struct an_type code_type = {AN_PLOT_TYPE_PT, AN_BOLD, AN_SIGNAL, AN_LEFT};

/* --- signals ------------------------------------------------------------------------------- */

static int by_code_and_place(const void *a, const void *b)
{
    const struct an_plot_item *left = a, *right = b;
    if (left->run != right->run) {
        return left->run ? 1 : -1;
    }
    const int codes = strcmp(left->code, right->code);
    if (codes != 0) {
        return codes;
    }
    if (left->first != right->first) {
        return left->first < right->first ? -1 : 1;
    }
    return (left->last > right->last) - (left->last < right->last);
}

/* Flags from right to left, then bars from left to right. */
static int by_stacking(const void *a, const void *b)
{
    const struct an_plot_item *left = a, *right = b;
    if (left->run != right->run) {
        return left->run ? 1 : -1;
    }
    if (left->first != right->first) {
        const int rising = left->first < right->first ? -1 : 1;
        return left->run ? rising : -rising;
    }
    return strcmp(left->code, right->code);
}

static size_t collect(const struct an_plot *plot, struct an_plot_item *items)
{
    size_t n = 0;
    for (size_t i = 0; i < plot->signal_count; i++) {
        const struct an_plot_signal *s = &plot->signals[i];
        if (s->first > s->last || s->first >= plot->count) {
            continue;
        }
        const size_t last = s->last < plot->count ? s->last : plot->count - 1;
        items[n++] = (struct an_plot_item){.run = last > s->first,
                                           .first = s->first,
                                           .last = last,
                                           .row = -1,
                                           .code = s->code ? s->code : ""};
    }
    return n;
}

/* Runs of one rule that overlap or touch are one bar. */
static size_t join_runs(struct an_plot_item *items, size_t n)
{
    size_t kept = 0;
    for (size_t i = 0; i < n; i++) {
        struct an_plot_item *before = kept > 0 ? &items[kept - 1] : NULL;
        if (before && items[i].run && before->run && strcmp(before->code, items[i].code) == 0 &&
            items[i].first <= before->last + 1) {
            before->last = items[i].last > before->last ? items[i].last : before->last;
        } else {
            items[kept++] = items[i];
        }
    }
    return kept;
}

static double flag_width(struct an_canvas *canvas, const char *code)
{
    return an_text_width(canvas, &code_type, code) + 2 * FLAG_PAD;
}

/* Flags of one rule whose flags would overlap are one flag with a count. Fills where each flag
 * stands; stems still go to every point. false: memory is out. */
static bool join_flags(struct an_canvas *canvas, struct an_plot_layout *layout, size_t *n)
{
    struct an_plot_item *items = layout->items;
    size_t kept = 0;
    for (size_t i = 0; i < *n;) {
        struct an_plot_item item = items[i];
        size_t j = i + 1;
        if (!item.run) {
            const double width = flag_width(canvas, item.code);
            while (j < *n && !items[j].run && strcmp(items[j].code, item.code) == 0 &&
                   layout->x[items[j].first] - layout->x[item.last] < width + TEXT_GAP) {
                item.last = items[j].first;
                j++;
            }
            item.bar_x0 = layout->x[item.first];
            item.bar_x1 = item.bar_x0 + width;
            if (j > i + 1) {
                item.code = an_arena_printf(layout->arena, "%s ×%zu", item.code, j - i);
                if (!item.code) {
                    return false;
                }
                item.bar_x1 =
                    fmax(item.bar_x0 + flag_width(canvas, item.code), layout->x[item.last] + 0.35);
            }
        }
        items[kept++] = item;
        i = j;
    }
    *n = kept;
    return true;
}

/* A flag that would leave the box is moved back into it. */
static void keep_inside(const struct an_plot_layout *layout, struct an_plot_item *item)
{
    const double over = item->bar_x1 - (layout->box.x + layout->box.width);
    if (over > 0) {
        item->bar_x0 = fmax(layout->box.x, item->bar_x0 - over);
        item->bar_x1 -= over;
    }
    item->x0 = item->bar_x0;
    item->x1 = item->bar_x1;
    item->text_x = item->bar_x0 + FLAG_PAD;
}

struct rows {
    double *x0, *x1; /* what stands in the row, as pairs in order of arrival */
    int *row;
    size_t n;
};

static bool is_free(const struct rows *rows, int row, double x0, double x1)
{
    for (size_t i = 0; i < rows->n; i++) {
        if (rows->row[i] == row && x0 < rows->x1[i] + APART && rows->x0[i] < x1 + APART) {
            return false;
        }
    }
    return true;
}

/* The first free row; -1 if there is none. */
static int put(struct rows *rows, int most, double x0, double x1)
{
    for (int row = 0; row < most; row++) {
        if (is_free(rows, row, x0, x1)) {
            rows->x0[rows->n] = x0;
            rows->x1[rows->n] = x1;
            rows->row[rows->n++] = row;
            return row;
        }
    }
    return -1;
}

static bool open_rows(struct an_arena *arena, size_t n, struct rows *rows)
{
    rows->x0 = an_arena_alloc(arena, n + 1, sizeof *rows->x0);
    rows->x1 = an_arena_alloc(arena, n + 1, sizeof *rows->x1);
    rows->row = an_arena_alloc(arena, n + 1, sizeof *rows->row);
    rows->n = 0;
    return rows->x0 && rows->x1 && rows->row;
}

static bool lay_stems(const struct an_plot *plot, struct an_plot_layout *layout)
{
    layout->stems = an_arena_alloc(layout->arena, plot->signal_count + 1, sizeof *layout->stems);
    if (!layout->stems) {
        return false;
    }
    for (size_t k = 0; k < layout->item_count; k++) {
        const struct an_plot_item *item = &layout->items[k];
        if (item->run || item->row < 0) {
            continue;
        }
        const size_t length = strcspn(item->code, " ");
        double drawn_x = -INFINITY;
        for (size_t i = 0; i < plot->signal_count; i++) {
            const struct an_plot_signal *s = &plot->signals[i];
            const char *code = s->code ? s->code : "";
            if (s->first == s->last && s->first >= item->first && s->first <= item->last &&
                strlen(code) == length && memcmp(code, item->code, length) == 0 &&
                fabs(layout->x[s->first] - drawn_x) >= STEM_APART) {
                layout->stems[layout->stem_count++] = (struct an_plot_stem){s->first, k};
                drawn_x = layout->x[s->first];
            }
        }
    }
    return true;
}

/* A stem on its way to a flag in a lower row passes through all rows above that one. */
static bool is_passed(const struct an_plot_layout *layout, int row, double x0, double x1)
{
    for (size_t i = 0; i < layout->stem_count; i++) {
        const struct an_plot_stem *stem = &layout->stems[i];
        const double x = layout->x[stem->point];
        if (layout->items[stem->item].row > row && x > x0 - APART && x < x1 + APART) {
            return true;
        }
    }
    return false;
}

/* A bar reaches a little beyond its outer points, but not half-way to their neighbours. */
static double reach_before(const struct an_plot_layout *layout, size_t point)
{
    if (point == 0 || point >= layout->count) {
        return 2.5;
    }
    return fmin(2.5, (layout->x[point] - layout->x[point - 1]) / 2);
}

/* Puts a bar into the first row that is free for it and its code, which stands to the right, to
 * the left, or on the bar. Leaves the row at -1 if there is none. */
static void put_bar(struct an_canvas *canvas, struct an_plot_layout *layout, struct rows *rows,
                    int most, struct an_plot_item *item)
{
    /* Left of the frame stands the row's name. */
    const double left = layout->small ? layout->box.x : layout->frame.x;
    const double right = layout->box.x + layout->box.width;
    const double width = an_text_width(canvas, &code_type, item->code);
    const double x0 = fmax(layout->x[item->first] - reach_before(layout, item->first), left);
    const double x1 = fmin(layout->x[item->last] + reach_before(layout, item->last + 1), right);
    const struct {
        double x0, x1, text_x;
        bool possible;
    } ways[3] = {
        {x0, x1 + TEXT_GAP + width, x1 + TEXT_GAP, x1 + TEXT_GAP + width <= right},
        {x0 - TEXT_GAP - width, x1, x0 - TEXT_GAP - width, x0 - TEXT_GAP - width >= left},
        {x0, x1, x0 + 3 + TEXT_GAP, width + 12 <= x1 - x0},
    };
    item->bar_x0 = x0;
    item->bar_x1 = x1;
    for (int row = 0; row < most; row++) {
        for (int k = 0; k < 3; k++) {
            /* a code left of its bar must not read as that of the bar before */
            const double apart = k == 1 ? CODE_APART : 0;
            if (!ways[k].possible || !is_free(rows, row, ways[k].x0 - apart, ways[k].x1) ||
                is_passed(layout, row, ways[k].x0, ways[k].x1)) {
                continue;
            }
            item->x0 = ways[k].x0;
            item->x1 = ways[k].x1;
            item->text_x = ways[k].text_x;
            item->row = row;
            rows->x0[rows->n] = item->x0;
            rows->x1[rows->n] = item->x1;
            rows->row[rows->n++] = row;
            return;
        }
    }
}

bool an_plot_lay_signals(struct an_canvas *canvas, const struct an_plot *plot, int most_rows,
                         struct an_plot_layout *layout)
{
    struct rows rows;
    layout->items = an_arena_alloc(layout->arena, plot->signal_count + 1, sizeof *layout->items);
    if (!layout->items || !open_rows(layout->arena, plot->signal_count, &rows)) {
        return false;
    }
    size_t n = collect(plot, layout->items);
    qsort(layout->items, n, sizeof *layout->items, by_code_and_place);
    n = join_runs(layout->items, n);
    if (!join_flags(canvas, layout, &n)) {
        return false;
    }
    qsort(layout->items, n, sizeof *layout->items, by_stacking);
    layout->item_count = n;
    for (size_t i = 0; i < n && !layout->items[i].run; i++) {
        struct an_plot_item *item = &layout->items[i];
        keep_inside(layout, item);
        item->row = put(&rows, most_rows, item->x0, item->x1);
    }
    if (!lay_stems(plot, layout)) {
        return false;
    }
    for (size_t i = 0; i < n; i++) {
        struct an_plot_item *item = &layout->items[i];
        if (item->run) {
            put_bar(canvas, layout, &rows, most_rows, item);
        }
        layout->hidden_items += item->row < 0;
        if (item->row >= layout->lane_rows) {
            layout->lane_rows = item->row + 1;
        }
    }
    return true;
}

/* --- notes --------------------------------------------------------------------------------- */

bool an_plot_lay_notes(const struct an_plot *plot, int most_rows, struct an_plot_layout *layout)
{
    size_t n = 0;
    for (size_t i = 0; i < plot->count; i++) {
        n += plot->points[i].note > 0;
    }
    struct rows rows;
    layout->notes = an_arena_alloc(layout->arena, n + 1, sizeof *layout->notes);
    if (!layout->notes || !open_rows(layout->arena, n, &rows)) {
        return false;
    }
    for (size_t i = 0; i < plot->count; i++) {
        if (plot->points[i].note <= 0) {
            continue;
        }
        const double half = AN_PLOT_NOTE_PT / 2;
        const double x = fmin(fmax(layout->x[i], layout->box.x + half),
                              layout->box.x + layout->box.width - half);
        const int row = put(&rows, most_rows, x - half, x + half);
        if (row < 0) {
            continue; /* its text under the chart still tells it */
        }
        layout->notes[layout->note_count++] =
            (struct an_plot_note_mark){i, plot->points[i].note, row, x};
        if (row >= layout->note_rows) {
            layout->note_rows = row + 1;
        }
    }
    return true;
}

/* --- ribbon -------------------------------------------------------------------------------- */

static bool same_batch(const char *a, const char *b)
{
    return a == b || (a && b && strcmp(a, b) == 0);
}

static bool same_block(const struct an_plot *plot, size_t a, size_t b)
{
    const struct an_plot_point *left = &plot->points[a];
    const struct an_plot_point *right = &plot->points[b];
    return same_batch(left->ribbon, right->ribbon) && left->phase == right->phase && !right->anew;
}

bool an_plot_lay_ribbon(struct an_canvas *canvas, const struct an_plot *plot,
                        struct an_plot_layout *layout)
{
    static const struct an_type name_type = {AN_PLOT_TYPE_PT, AN_REGULAR, AN_INK, AN_CENTRE};
    size_t n = plot->count > 0;
    for (size_t i = 1; i < plot->count; i++) {
        n += !same_block(plot, i - 1, i);
    }
    layout->blocks = an_arena_alloc(layout->arena, n + 1, sizeof *layout->blocks);
    if (!layout->blocks) {
        return false;
    }
    bool pale = false;
    size_t segment = 0;
    for (size_t from = 0; from < plot->count;) {
        size_t to = from;
        while (to + 1 < plot->count && same_block(plot, to, to + 1)) {
            to++;
        }
        while (layout->segments[segment].last < from) {
            segment++;
        }
        const struct an_plot_segment *phase = &layout->segments[segment];
        const char *name = plot->points[from].ribbon;
        /* One batch through a change of limits keeps its tint on both sides of the gutter. */
        if (from > 0 &&
            (plot->points[from].anew || !same_batch(plot->points[from - 1].ribbon, name))) {
            pale = !pale;
        }
        struct an_plot_block *block = &layout->blocks[layout->block_count++];
        *block = (struct an_plot_block){.first = from, .last = to, .name = name, .pale = pale};
        block->x0 = from == phase->first ? phase->x0 : (layout->x[from - 1] + layout->x[from]) / 2;
        block->x1 = to == phase->last ? phase->x1 : (layout->x[to] + layout->x[to + 1]) / 2;
        block->named = name && *name && block->x1 - block->x0 > 6 &&
                       an_text_width(canvas, &name_type, name) + 4 <= block->x1 - block->x0;
        from = to + 1;
    }
    return true;
}
