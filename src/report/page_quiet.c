/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The quiet streams as small charts, station by station, on one time axis. Responsible for showing
 * every stream that did not signal, or naming it when there is nothing to show.
 */
#include "report/book.h"
#include "report/plots.h"
#include "report/wording.h"

#include <math.h>
#include <string.h>

#define CELL_PT 67.0
#define CELL_GAP_PT 12.0
#define HEAD_PT 42.0 /* a station's heading and its axis */

static bool is_quiet(const struct an_period_data *data, size_t sheet)
{
    for (size_t i = 0; i < data->signal_count; i++) {
        if (data->signals[i].sheet == sheet) {
            return false;
        }
    }
    return true;
}

static bool is_shown(const struct an_period_data *data, const struct an_stream_sheet *sheet)
{
    const struct an_panel_sheet *level = &sheet->panel[0];
    return level->count && level->points[level->count - 1].at_us >= data->axis_from_us;
}

static const char *state_of(struct an_book *book, const struct an_stream_sheet *sheet)
{
    struct an_arena *arena = book->arena;
    if (!sheet->period_samples) {
        return an_book_text(
            book, an_arena_printf(arena, "none since %s",
                                  an_say_time(arena, book->data->line->zone, sheet->last_us)));
    }
    const char *but = !sheet->described    ? "; not in the description"
                      : !sheet->has_limits ? "; no limits"
                      : !sheet->news       ? "; never signalled"
                                           : "";
    if (sheet->form == AN_FORM_GAPS) {
        return an_book_text(
            book,
            an_arena_printf(arena, "%s, %s%s", an_say_many(arena, sheet->period_samples, "sample"),
                            an_say_many(arena, sheet->period_points, "event"), but));
    }
    const double n = sheet->readings_per_sample;
    const bool whole = fabs(n - nearbyint(n)) < 1e-9;
    return an_book_text(
        book,
        an_arena_printf(arena, "%s%s%s%s", an_say_many(arena, sheet->period_samples, "sample"),
                        !isfinite(n) ? ""
                        : whole      ? ", n "
                                     : ", n about ",
                        isfinite(n) ? an_say_count(arena, (int64_t)nearbyint(n)) : "", but));
}

/* Title; then how much was measured, beside the last value that the chart tells. */
static void draw_cell(struct an_book *book, double x, double width,
                      const struct an_stream_sheet *sheet)
{
    const struct an_type title_type = {7.5, AN_BOLD, AN_INK, AN_LEFT};
    an_book_title(book, x, book->y + 8, width, &title_type, sheet->title);
    const struct an_box box = {x, book->y + 10, width, CELL_PT - 12};
    an_plot_small(book, &box, sheet, 0, "");
    const struct an_type value_type = {7.5, AN_REGULAR, AN_INK, AN_LEFT};
    const double value =
        an_text_width(book->canvas, &value_type,
                      an_say_measure(book->arena, sheet->last_value, sheet->decimals, sheet->unit));
    an_text_draw_fitted(book->canvas, x, box.y + 7.5, width - value - 10,
                        an_book_type(AN_TYPE_NOTE), state_of(book, sheet));
}

struct grid {
    size_t columns;
    double width;
};

/* The axis stands above each column that will hold a chart. */
static void station_head(struct an_book *book, const struct grid *grid, const char *title,
                         size_t charts, bool continued)
{
    const char *text =
        continued ? an_book_text(book, an_arena_printf(book->arena, "%s, continued", title))
                  : title;
    an_book_heading(book, text);
    for (size_t i = 0; i < grid->columns && i < charts; i++) {
        an_plot_axis(book, book->body.x + (double)i * (grid->width + CELL_GAP_PT), book->y - 1,
                     grid->width);
    }
    book->y += HEAD_PT - 18;
}

/* Streams of which there is nothing to draw, by name. */
static void name_blank(struct an_book *book, const struct an_text_list *blank, const char *title,
                       bool headed)
{
    const char *text = an_book_text(
        book,
        an_arena_printf(book->arena, "%s%sWithout a sample since %s: %s.", headed ? "" : title,
                        headed ? "" : ". ",
                        an_say_time(book->arena, book->data->line->zone, book->data->axis_from_us),
                        an_say_list(book->arena, blank->at, blank->count, 40)));
    const double height =
        an_text_height(book->canvas, book->body.width, an_book_type(AN_TYPE_SMALL), text);
    if (an_book_room(book) < height) {
        an_book_page(book);
    }
    an_book_say(book, AN_TYPE_SMALL, 4, text);
}

static void one_station(struct an_book *book, struct grid *grid, size_t station)
{
    const struct an_period_data *data = book->data;
    const char *title = data->stations[station].title;
    size_t shown = 0;
    struct an_text_list blank = {0};
    size_t *charts = an_arena_alloc(book->arena, data->sheet_count + 1, sizeof *charts);
    blank.at = an_arena_alloc(book->arena, data->sheet_count + 1, sizeof *blank.at);
    if (!blank.at || !charts) {
        book->failed = true;
        return;
    }
    for (size_t i = 0; i < data->sheet_count; i++) {
        if (data->sheets[i].station != station || !is_quiet(data, i)) {
            continue;
        }
        if (is_shown(data, &data->sheets[i])) {
            charts[shown++] = i;
        } else {
            blank.at[blank.count++] = data->sheets[i].title;
        }
    }
    for (size_t k = 0; k < shown; k++) {
        const size_t column = k % grid->columns;
        if (!column) {
            if (k) {
                book->y += CELL_PT;
            }
            const bool full = an_book_room(book) < CELL_PT + (k ? 0 : HEAD_PT);
            if (full) {
                an_book_page(book);
            }
            if (full || !k) {
                station_head(book, grid, title, shown - k, k > 0);
            }
        }
        draw_cell(book, book->body.x + (double)column * (grid->width + CELL_GAP_PT), grid->width,
                  &data->sheets[charts[k]]);
    }
    if (shown) {
        book->y += CELL_PT;
    }
    if (blank.count) {
        name_blank(book, &blank, title, shown > 0);
    }
    book->y += 4;
}

void an_compose_quiet(struct an_book *book, const struct an_report_page *page)
{
    const struct an_period_data *data = book->data;
    size_t quiet = 0;
    size_t measured = 0;
    for (size_t i = 0; i < data->sheet_count; i++) {
        quiet += is_quiet(data, i);
        measured += is_quiet(data, i) && data->sheets[i].period_samples > 0;
    }
    if (!quiet) {
        return; /* page one has said so */
    }
    struct grid grid = {.columns = page->columns};
    an_book_page(book);
    grid.width =
        (book->body.width - CELL_GAP_PT * (double)(grid.columns - 1)) / (double)grid.columns;
    an_book_mark(book, "quiet");
    an_canvas_outline(book->canvas, 1, page->title, "quiet");
    const char *how_many =
        measured == quiet ? "all were"
        : !measured
            ? "none was"
            : an_arena_printf(book->arena, "%s %s", an_say_count(book->arena, (int64_t)measured),
                              measured == 1 ? "was" : "were");
    an_book_say(book, AN_TYPE_LEAD, 3,
                an_arena_printf(book->arena, "%s did not signal; %s measured in this %s.",
                                an_say_many(book->arena, (int64_t)quiet, "stream"), how_many,
                                data->word));
    an_book_say(book, AN_TYPE_SMALL, 5,
                an_arena_printf(book->arena,
                                "All charts from %s to %s: the level only, each on the scale of "
                                "its own limits; n: readings or opportunities in a sample; "
                                "right: the last value.",
                                an_say_time(book->arena, data->line->zone, data->axis_from_us),
                                an_say_time(book->arena, data->line->zone, data->axis_until_us)));
    for (size_t i = 0; i < data->station_count && !book->failed; i++) {
        one_station(book, &grid, i);
    }
}
