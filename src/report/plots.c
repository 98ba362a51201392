/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Turns sheets into plots. Responsible for one time axis under all small charts; decides nothing
 * about values.
 *
 * Its one hard idea: a chart's axis ends at its outer points, so the ends of the shared axis are
 * added as points without a value.
 */
#include "report/plots.h"

#include "report/wording.h"

#include <math.h>
#include <string.h>

enum { MOST_SHIFTS = 400 };
#define LEAST_SHIFT_PT 7.0 /* narrower shifts have no tick of their own: only their day has */
#define SMALL_INSET 6.0    /* of the first and last point from a small chart's edges */
#define SMALL_RIGHT 14.0   /* right of it flags of the newest points find room */
#define LARGE_LEFT 52.0
#define LARGE_RIGHT 60.0
#define LARGE_RIGHT_SIDE 132.0 /* with the side view */

struct shift_marks {
    struct an_plot_shift *at;
    size_t count;
};

/* The shifts from an instant to another, the first of each day named with its date. */
static struct shift_marks marks_between(struct an_book *book, int64_t from_us, int64_t until_us)
{
    const struct an_line *line = book->data->line;
    struct shift_marks marks = {0};
    marks.at = an_arena_alloc(book->arena, MOST_SHIFTS, sizeof *marks.at);
    if (!marks.at) {
        book->failed = true;
        return marks;
    }
    struct an_shift shift = an_line_shift_at(line, from_us);
    int64_t day = INT64_MIN;
    while (shift.from_us < until_us && marks.count < MOST_SHIFTS) {
        const bool named = shift.pattern < line->shift_count;
        struct an_plot_shift *mark = &marks.at[marks.count++];
        *mark = (struct an_plot_shift){.from_us = shift.from_us,
                                       .label = named ? line->shifts[shift.pattern].name : ""};
        if (shift.start_day != day) {
            char spoken[40];
            an_instant_spoken(line->zone, shift.from_us, spoken);
            char *blank = strrchr(spoken, ' ');
            if (blank) {
                *blank = '\0'; /* "4 March" */
            }
            mark->first_of_day = true;
            mark->date = an_book_text(book, an_arena_copy(book->arena, spoken, strlen(spoken)));
            day = shift.start_day;
        }
        const struct an_shift after = an_line_shift_after(line, &shift);
        if (after.from_us <= shift.from_us) {
            break;
        }
        shift = after;
    }
    return marks;
}

/* Labels in the order in which the points meet their phases. */
static void label_phases(struct an_book *book, const struct an_stream_sheet *sheet,
                         struct an_plot *plot)
{
    const char **labels = an_arena_alloc(book->arena, sheet->phase_count + 1, sizeof *labels);
    bool *met = an_arena_alloc(book->arena, sheet->phase_count + 1, sizeof *met);
    if (!labels || !met) {
        book->failed = true;
        return;
    }
    size_t count = 0;
    for (size_t i = 0; i < plot->count; i++) {
        const size_t phase = plot->points[i].phase;
        if (phase < sheet->phase_count && !met[phase]) {
            met[phase] = true;
            labels[count++] = sheet->phase_labels[phase];
        }
    }
    plot->phase_labels = labels;
    plot->phase_label_count = count;
}

static const char *panel_title(struct an_book *book, const struct an_stream_sheet *sheet, int panel)
{
    const double n = sheet->readings_per_sample;
    const char *of =
        !isfinite(n) || n < 1.5 || sheet->form == AN_FORM_GAPS
            ? ""
            : an_book_text(book, an_arena_printf(book->arena, " of %s",
                                                 an_say_n(book->arena, n, sheet->counted_in)));
    const char *unit = sheet->unit && *sheet->unit && strcmp(sheet->unit, "1") != 0
                           ? an_book_text(book, an_arena_printf(book->arena, ", %s", sheet->unit))
                           : "";
    return an_book_text(
        book, an_arena_printf(book->arena, "%s%s%s", sheet->panel[panel].statistic, of, unit));
}

double an_plot_large(struct an_book *book, const struct an_box *box,
                     const struct an_stream_sheet *sheet, int panel,
                     const struct an_period_signal *signal)
{
    const struct an_panel_sheet *from = &sheet->panel[panel];
    if (!from->count) {
        return 0;
    }
    const struct shift_marks marks =
        marks_between(book, from->points[0].at_us, from->points[from->count - 1].at_us + 1);
    /* values that follow a tool's life have no shape of their own */
    const bool with_side = sheet->single_values && sheet->form != AN_FORM_WEAR;
    struct an_plot plot = {.title = panel_title(book, sheet, panel),
                           .unit = sheet->unit,
                           .decimals = sheet->decimals,
                           .points = from->points,
                           .count = from->count,
                           .signals = from->signals,
                           .signal_count = from->signal_count,
                           .shifts = marks.at,
                           .shift_count = marks.count,
                           .lsl = (double)NAN,
                           .usl = (double)NAN,
                           .target = (double)NAN,
                           .zone = book->data->line->zone,
                           .ratios = panel == 0 && sheet->form == AN_FORM_GAPS,
                           .sums = panel == 0 && sheet->form == AN_FORM_SUMS,
                           .left_pt = LARGE_LEFT,
                           .right_pt = with_side ? LARGE_RIGHT_SIDE : LARGE_RIGHT};
    struct an_side_view side = {
        .lsl = sheet->lsl, .usl = sheet->usl, .target = sheet->target, .count = from->count};
    if (panel == 0) {
        label_phases(book, sheet, &plot);
        plot.notes = (const char *const *)sheet->notes;
        plot.note_count = sheet->note_count;
        for (size_t i = 0; i < from->count; i++) {
            if (from->points[i].ribbon) {
                plot.ribbon_title = sheet->ribbon_title ? sheet->ribbon_title : "batch";
            }
        }
    }
    if (signal && isfinite(signal->onset_at) && signal->signal.record.panel == panel) {
        plot.onset = (struct an_plot_onset){.present = true,
                                            .at = signal->onset_at,
                                            .earliest = signal->onset_earliest,
                                            .latest = signal->onset_latest};
    }
    if (panel == 0 && sheet->single_values) {
        double *values = an_arena_alloc(book->arena, from->count, sizeof *values);
        if (!values) {
            book->failed = true;
            return 0;
        }
        size_t kept = 0;
        for (size_t i = 0; i < from->count; i++) {
            if (isfinite(from->points[i].value)) {
                values[kept++] = from->points[i].value;
            }
        }
        side.values = values;
        side.count = kept;
        plot.side = with_side ? &side : NULL;
        plot.lsl = sheet->lsl;
        plot.usl = sheet->usl;
        plot.target = sheet->target;
    }
    return an_plot_draw(book->canvas, box, &plot);
}

void an_plot_small(struct an_book *book, const struct an_box *box,
                   const struct an_stream_sheet *sheet, int panel, const char *title)
{
    const struct an_panel_sheet *from = &sheet->panel[panel];
    const struct an_period_data *data = book->data;
    size_t first = 0;
    while (first < from->count && from->points[first].at_us < data->axis_from_us) {
        first++;
    }
    const size_t count = from->count - first;
    struct an_plot_point *points = an_arena_alloc(book->arena, count + 2, sizeof *points);
    struct an_plot_signal *signals =
        an_arena_alloc(book->arena, from->signal_count + 1, sizeof *signals);
    if (!points || !signals) {
        book->failed = true;
        return;
    }
    const double none = (double)NAN;
    points[0] = (struct an_plot_point){.at_us = data->axis_from_us,
                                       .value = none,
                                       .upper = none,
                                       .lower = none,
                                       .centre = none,
                                       .lcl = none,
                                       .ucl = none,
                                       .phase = count ? from->points[first].phase : 0};
    if (count) {
        memcpy(points + 1, from->points + first, count * sizeof *points);
    }
    points[count + 1] = points[0];
    points[count + 1].at_us = data->axis_until_us;
    points[count + 1].phase = points[count].phase;
    size_t signal_count = 0;
    for (size_t i = 0; i < from->signal_count; i++) {
        if (from->signals[i].last >= first) {
            struct an_plot_signal signal = from->signals[i];
            signal.first = signal.first < first ? 1 : signal.first - first + 1;
            signal.last = signal.last - first + 1;
            signals[signal_count++] = signal;
        }
    }
    const struct an_plot plot = {.title = title,
                                 .unit = sheet->unit,
                                 .decimals = sheet->decimals,
                                 .points = points,
                                 .count = count + 2,
                                 .signals = signals,
                                 .signal_count = signal_count,
                                 .lsl = none,
                                 .usl = none,
                                 .target = none,
                                 .small = true,
                                 .x_by_time = true,
                                 .ratios = panel == 0 && sheet->form == AN_FORM_GAPS,
                                 .sums = panel == 0 && sheet->form == AN_FORM_SUMS,
                                 .zone = data->line->zone,
                                 .right_pt = SMALL_RIGHT};
    an_plot_draw(book->canvas, box, &plot);
}

double an_plot_axis(struct an_book *book, double x, double y, double width)
{
    const struct an_period_data *data = book->data;
    const struct shift_marks marks = marks_between(book, data->axis_from_us, data->axis_until_us);
    const double span = (double)(data->axis_until_us - data->axis_from_us);
    const double run = width - SMALL_RIGHT - 2 * SMALL_INSET;
    const struct an_type *note = an_book_type(AN_TYPE_NOTE);
    const struct an_type day_type = {7.0, AN_REGULAR, AN_INK, AN_LEFT};
    double free_day =
        x; /* right of the last date: a day's tick begins below a date it would cross */
    for (size_t i = 0; i < marks.count && span > 0; i++) {
        const int64_t end_us = i + 1 < marks.count ? marks.at[i + 1].from_us : data->axis_until_us;
        const double begin = (double)(marks.at[i].from_us - data->axis_from_us) / span;
        const double end = (double)(end_us - data->axis_from_us) / span;
        const double left = x + SMALL_INSET + (begin > 0 ? begin : 0) * run;
        const double right = x + SMALL_INSET + (end < 1 ? end : 1) * run;
        const bool told = right - left >= LEAST_SHIFT_PT;
        if (begin >= 0 && (told || marks.at[i].first_of_day)) {
            const bool tall = marks.at[i].first_of_day && left + 2 >= free_day;
            an_draw_line(book->canvas, left, y + (tall ? 1 : 9), left, y + 19, 0.5, AN_RAIL);
        }
        if (marks.at[i].first_of_day && left + 2 >= free_day) {
            const double used = an_text_width(book->canvas, &day_type, marks.at[i].date);
            if (left + 2 + used <= x + width - SMALL_RIGHT) {
                an_text_draw_baseline(book->canvas, left + 2, y + 7, &day_type, marks.at[i].date);
                free_day = left + used + 6;
            }
        }
        if (an_text_width(book->canvas, note, marks.at[i].label) + 4 <= right - left) {
            an_text_draw_baseline(book->canvas, left + 2, y + 16, note, marks.at[i].label);
        }
    }
    an_draw_line(book->canvas, x + SMALL_INSET, y + 19, x + SMALL_INSET + run, y + 19, 0.5,
                 AN_RAIL);
    return 20;
}
