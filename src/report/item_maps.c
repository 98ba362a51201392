/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Pages of maps: the tiles of a wall side by side, as they lie in it, on one scale, then each less the
 * line's average; and the maps of one tile. Responsible for one scale per page and for saying what
 * the average is made of.
 */
#include "report/item_pages.h"
#include "report/wording.h"

#include <math.h>
#include <string.h>

#define TITLE_PT 11.5    /* above a small map */
#define READABLE_PT 34.0 /* least height of a small map where two sets share a page */

static struct an_map map_of(struct an_book *book, const struct an_site_grid *grid,
                            const struct an_site_grid *less, const struct an_value_stream *stream)
{
    const size_t count = (size_t)(grid->rows * grid->columns);
    struct an_map_cell *cells = an_arena_alloc(book->arena, count + 1, sizeof *cells);
    book->failed = book->failed || !cells;
    for (size_t i = 0; i < count && cells; i++) {
        const double scale = stream->scale;
        cells[i] =
            (struct an_map_cell){.row = (int64_t)i / grid->columns + 1,
                                 .column = (int64_t)i % grid->columns + 1,
                                 .value = (grid->value[i] - (less ? less->value[i] : 0)) * scale};
    }
    return (struct an_map){.unit = stream->unit,
                           .decimals = stream->decimals,
                           .first_row = 1,
                           .last_row = grid->rows,
                           .first_column = 1,
                           .last_column = grid->columns,
                           .cells = cells,
                           .cell_count = cells ? count : 0,
                           .low = (double)NAN,
                           .high = (double)NAN,
                           .seam_high = (double)NAN,
                           .arrow_high = (double)NAN,
                           .difference = less != NULL};
}

/* The scale that all maps of the page share. */
static void common_scale(const struct an_site_maps *maps, size_t count, bool less, double *low,
                         double *high)
{
    *low = INFINITY;
    *high = -INFINITY;
    for (size_t p = 0; p < count; p++) {
        const struct an_site_grid *grid = &maps->of[p];
        for (int64_t i = 0; grid->value && i < grid->rows * grid->columns; i++) {
            const double value =
                (grid->value[i] - (less ? maps->average.value[i] : 0)) * maps->stream->scale;
            if (isfinite(value)) {
                *low = fmin(*low, value);
                *high = fmax(*high, value);
            }
        }
    }
}

/* Of the two sets, one under the other if both fit on a sheet of paper at a readable size. */
static void one_set(struct an_book *book, const struct an_item_data *data, bool less, bool two,
                    const char *title)
{
    const struct an_site_maps *maps = &data->sites;
    const int64_t rows = data->last_row - data->first_row + 1;
    const int64_t columns = data->last_column - data->first_column + 1;
    double low;
    double high;
    common_scale(maps, data->part_count, less, &low, &high);
    an_book_say(book, AN_TYPE_LEAD, 3, title);
    an_book_say(
        book, AN_TYPE_SMALL, 5,
        less
            ? an_arena_printf(
                  book->arena,
                  "Each map less the line's average: of %s, those measured last up to this wall's. "
                  "More is plain, less is hatched.",
                  an_say_many(book->arena, (int64_t)maps->averaged, data->part_title))
            : an_arena_printf(book->arena,
                              "%s at %lld x %lld sites of each %s, on one scale; a place without "
                              "readings is framed and empty.",
                              maps->stream->title, (long long)maps->rows, (long long)maps->columns,
                              data->part_title));
    const double key = 34;
    const double room = (two && !less ? an_book_room(book) / 2 - 20 : an_book_room(book)) - key;
    const double gap = 5;
    double width = (book->body.width - gap * (double)(columns - 1)) / (double)columns;
    const double width_most = 150;
    width = fmin(width, width_most);
    const double aspect = fmin(2.0, fmax(0.5, (double)maps->columns / (double)maps->rows));
    double height = width / aspect + TITLE_PT;
    height = fmin(height, (room - gap * (double)(rows - 1)) / (double)rows);
    struct an_map last = {0};
    if (width < 4 || height < 14) {
        an_book_say(book, AN_TYPE_BODY, 0, "There are more of them than a page can show.");
        return;
    }
    for (size_t p = 0; p < data->part_count; p++) {
        const struct an_item_part *part = &data->parts[p];
        const struct an_box box = {
            book->body.x + (double)(part->column - data->first_column) * (width + gap),
            book->y + (double)(part->row - data->first_row) * (height + gap), width, height};
        const struct an_type type = {7.0, AN_REGULAR, AN_GREY, AN_LEFT};
        if (!maps->of[p].value) {
            const struct an_box frame = {box.x, box.y + TITLE_PT, box.width, box.height - TITLE_PT};
            an_text_draw_fitted(book->canvas, box.x, box.y + 7.2, box.width, &type,
                                part->item.serial);
            an_draw_frame(book->canvas, &frame, 0.4, AN_RAIL);
            continue;
        }
        struct an_map map = map_of(book, &maps->of[p], less ? &maps->average : NULL, maps->stream);
        map.title = part->item.serial;
        map.small = true;
        map.low = less ? -fmax(fabs(low), fabs(high)) : low;
        map.high = less ? fmax(fabs(low), fabs(high)) : high;
        map.aspect = width / (height - TITLE_PT) * (double)maps->rows / (double)maps->columns;
        an_map_draw(book->canvas, &box, &map);
        last = map;
    }
    book->y += (double)rows * (height + gap) + 4;
    if (last.cell_count) {
        const struct an_box box = {book->body.x, book->y, book->body.width, key};
        last.title = NULL;
        an_map_key_draw(book->canvas, &box, &last);
    }
    book->y += key;
}

void an_item_pictures_page(struct an_book *book, const struct an_item_data *data,
                           const struct an_report_page *page)
{
    if (!data->sites.stream || data->kind != AN_REPORT_WALL) {
        return;
    }
    an_book_page(book);
    an_book_mark(book, "pictures");
    an_canvas_outline(book->canvas, 1, page->title, "pictures");
    const int64_t rows = data->last_row - data->first_row + 1;
    const bool less = data->sites.averaged > 1;
    const bool two = less && an_book_room(book) / 2 / (double)rows > READABLE_PT + TITLE_PT;
    one_set(book, data, false, two, page->title);
    if (less) {
        if (!two) {
            an_book_page(book);
        }
        one_set(book, data, true, two,
                an_book_text(book, an_arena_printf(book->arena, "%s, less the line's average",
                                                   page->title)));
    }
}

void an_item_sites_page(struct an_book *book, const struct an_item_data *data,
                        const struct an_report_page *page)
{
    const struct an_site_maps *maps = &data->sites;
    if (maps->part == AN_NONE || (!maps->stream && !maps->arrow_count)) {
        return;
    }
    const struct an_item_part *part = &data->parts[maps->part];
    const struct an_site_grid *own = maps->stream ? &maps->of[maps->part] : NULL;
    an_book_page(book);
    an_book_mark(book, "sites");
    an_canvas_outline(book->canvas, 1, page->title, "sites");
    an_book_say(book, AN_TYPE_LEAD, 4,
                an_arena_printf(book->arena, "%s: %s", page->title, part->item.serial));
    const double gap = 16;
    const double half = (book->body.width - gap) / 2;
    const double height = 210;
    if (own && own->value) {
        struct an_map map = map_of(book, own, NULL, maps->stream);
        map.title = maps->stream->title;
        map.low = INFINITY; /* one scale for both, lest a dim tile look like the average */
        map.high = -INFINITY;
        for (int64_t i = 0; i < own->rows * own->columns; i++) {
            map.low = fmin(map.low, fmin(own->value[i], maps->average.value[i]));
            map.high = fmax(map.high, fmax(own->value[i], maps->average.value[i]));
        }
        map.low *= maps->stream->scale;
        map.high *= maps->stream->scale;
        const struct an_box left = {book->body.x, book->y, half, height};
        double used = an_map_draw(book->canvas, &left, &map);
        struct an_map average = map_of(book, &maps->average, NULL, maps->stream);
        average.title = an_book_text(
            book,
            an_arena_printf(book->arena, "The line's average of %s",
                            an_say_many(book->arena, (int64_t)maps->averaged, data->part_title)));
        average.low = map.low;
        average.high = map.high;
        const struct an_box right = {book->body.x + half + gap, book->y, half, height};
        used = fmax(used, an_map_draw(book->canvas, &right, &average));
        book->y += used + 16;
        struct an_map less = map_of(book, own, &maps->average, maps->stream);
        less.title = "Less the line's average: more is plain, less is hatched";
        const struct an_box below = {book->body.x, book->y, half, height};
        used = an_map_draw(book->canvas, &below, &less);
        if (!maps->arrow_count) {
            book->y += used + 16;
        }
    } else if (maps->stream) {
        an_book_say(book, AN_TYPE_BODY, 8,
                    an_arena_printf(book->arena, "No readings of %s with their places are kept.",
                                    maps->stream->title));
    }
    if (maps->arrow_count) {
        const bool beside = own && own->value;
        const struct an_map map = {.title = maps->arrow_title,
                                   .first_row = 1,
                                   .last_row = maps->arrow_rows,
                                   .first_column = 1,
                                   .last_column = maps->arrow_columns,
                                   .low = (double)NAN,
                                   .high = (double)NAN,
                                   .seam_high = (double)NAN,
                                   .arrow_high = (double)NAN,
                                   .arrows = maps->arrows,
                                   .arrow_count = maps->arrow_count,
                                   .arrow_unit = maps->arrow_unit,
                                   .spots = maps->spots,
                                   .spot_count = maps->spot_count,
                                   .spot_words = maps->spot_title};
        const struct an_box box = {beside ? book->body.x + half + gap : book->body.x, book->y,
                                   beside ? half : book->body.width, height};
        book->y += fmax(an_map_draw(book->canvas, &box, &map), height) + 10;
    }
}
