/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Page one of a report on one item: the sentence, the map, and short lists in two columns. Responsible
 * for all of it standing on one page if that can be, and for counting what a list leaves out.
 *
 * The hard idea: the blocks are placed without drawing first, and the longer lists give up rows until
 * everything fits; the map takes the height that the lists leave.
 */
#include "report/bullets.h"
#include "report/item_pages.h"
#include "report/wording.h"

#include <math.h>
#include <string.h>

#define COLUMN_GAP_PT 16.0
#define HEADING_PT 18.0
#define AFTER_PT 7.0
#define MAP_LEAST_PT 170.0
#define MAP_MOST_PT 330.0
enum { LEAST_ROWS = 2, MOST_LESS = 24 };

struct block {
    struct an_bullets bullets;
    struct an_item_table list; /* instead of bullets, where it has columns */
    const char *rest;          /* what the list leaves out, or NULL */
    double height;
    bool wide;
};

static const char *text_of(struct an_book *book, const char *text)
{
    return an_book_text(book, text);
}

/* ---- the lists as bullets --------------------------------------------------------------------------- */
static struct an_bullets signals_of(struct an_book *book, const struct an_item_data *data,
                                    bool began, size_t most)
{
    struct an_bullets bullets = {0};
    size_t shown = 0;
    size_t left_out = 0;
    for (size_t i = 0; i < data->signal_count; i++) {
        const struct an_item_signal *one = &data->signals[i];
        if (began ? !one->began : !one->touched) {
            continue;
        }
        if (shown == most) {
            left_out++;
            continue;
        }
        shown++;
        const char *touches =
            one->on_parts ? an_arena_printf(book->arena, "%s",
                                            an_say_many(book->arena, (int64_t)one->touched, "item"))
            : one->touched
                ? an_arena_printf(book->arena, "upstream, %s", one->first ? one->first : "")
                : "";
        const char *answer =
            one->signal.open
                ? "no answer yet"
                : text_of(book, an_arena_printf(book->arena, "answered by %s",
                                                one->answered_by ? one->answered_by : "?"));
        an_bullets_add(
            book, &bullets, one->signal.open && one->on_parts, false, "signals",
            an_arena_printf(book->arena, "%s %s%s, since %s%s%s: %s",
                            one->signal.code ? one->signal.code : "?", one->title,
                            one->signal.record.panel == 1 ? ", spread" : "",
                            an_say_time(book->arena, data->line->zone,
                                        one->signal.has_change ? one->signal.onset_us
                                                               : one->signal.record.first_us),
                            touches && *touches ? ", " : "", touches ? touches : "", answer));
    }
    if (left_out) {
        const char *where = an_book_page_words(book, "signals");
        an_bullets_add(book, &bullets, false, false, "signals",
                       an_arena_printf(book->arena, "and %s%s%s",
                                       an_say_many(book->arena, (int64_t)left_out, "more signal"),
                                       *where ? ": " : "", where));
    }
    if (!bullets.count) {
        an_bullets_add(book, &bullets, false, false, NULL,
                       began ? "None that the record tells of." : "None.");
    }
    return bullets;
}

static struct an_bullets lacks_of(struct an_book *book, const struct an_item_data *data,
                                  size_t most)
{
    struct an_bullets bullets = {0};
    for (size_t i = 0; i < data->lack_count && i < most; i++) {
        an_bullets_add(
            book, &bullets, false, false, NULL,
            an_arena_printf(book->arena, "%s %s.", data->lacks[i].item, data->lacks[i].text));
    }
    if (data->lack_count > most) {
        const char *where = an_book_page_words(book, "sources");
        an_bullets_add(
            book, &bullets, false, false, "sources",
            an_arena_printf(book->arena, "and %s more%s%s",
                            an_say_count(book->arena, (int64_t)(data->lack_count - most)),
                            *where ? ": " : "", where));
    }
    if (!bullets.count) {
        an_bullets_add(book, &bullets, false, false, NULL,
                       data->kind == AN_REPORT_WALL
                           ? "Nothing that others have: every place is filled, every part was at "
                             "every station where others were."
                           : "Nothing that the line description speaks of.");
    }
    return bullets;
}

static struct an_bullets repairs_of(struct an_book *book, const struct an_item_data *data,
                                    size_t most)
{
    struct an_bullets bullets = {0};
    size_t repaired = 0;
    int64_t attempts = 0;
    for (size_t p = 0; p < data->part_count; p++) {
        repaired += data->parts[p].repairs > 0;
        attempts += data->parts[p].repairs;
    }
    if (!repaired) {
        an_bullets_add(book, &bullets, false, false, NULL, "No attempt at repair is on record.");
        return bullets;
    }
    an_bullets_add(book, &bullets, false, false, NULL,
                   an_arena_printf(book->arena, "%s at %s.",
                                   an_say_many(book->arena, attempts, "attempt"),
                                   an_say_many(book->arena, (int64_t)repaired, data->part_title)));
    /* those with most, each once */
    int64_t below = INT64_MAX;
    for (size_t shown = 0; shown + 1 < most && data->part_count > 1;) {
        int64_t best = 0;
        for (size_t p = 0; p < data->part_count; p++) {
            best = data->parts[p].repairs < below && data->parts[p].repairs > best
                       ? data->parts[p].repairs
                       : best;
        }
        if (!best) {
            break;
        }
        for (size_t p = 0; p < data->part_count && shown + 1 < most; p++) {
            if (data->parts[p].repairs == best) {
                shown++;
                an_bullets_add(book, &bullets, false, true, NULL,
                               an_arena_printf(book->arena, "%s: %s", data->parts[p].item.serial,
                                               an_say_count(book->arena, best)));
            }
        }
        below = best;
    }
    return bullets;
}

static struct an_bullets facts_of(struct an_book *book, const struct an_item_data *data,
                                  size_t most)
{
    struct an_bullets bullets = {0};
    for (size_t s = 0; s < data->stay_count && s < most; s++) {
        const struct an_item_stay *stay = &data->stays[s];
        const size_t k = an_line_station(data->line, an_bytes_of(stay->station));
        const char *title = k == AN_NONE || !data->line->stations[k].title
                                ? stay->station
                                : data->line->stations[k].title;
        const char *with[3] = {stay->tool, stay->gauge, stay->who};
        const char *by = "";
        for (size_t i = 0; i < 3; i++) {
            by = with[i] ? text_of(book, an_arena_printf(book->arena, "%s, %s", by, with[i])) : by;
        }
        an_bullets_add(book, &bullets, false, false, NULL,
                       an_arena_printf(book->arena, "%s: %s%s (%s)", title,
                                       an_say_time(book->arena, data->line->zone, stay->last_us),
                                       by, an_say_many(book->arena, stay->rows, "row")));
    }
    if (data->stay_count > most) {
        an_bullets_add(
            book, &bullets, false, false, NULL,
            an_arena_printf(book->arena, "and %s more",
                            an_say_many(book->arena, (int64_t)(data->stay_count - most), "visit")));
    }
    for (size_t i = 0; i < data->carrier_count && data->kind == AN_REPORT_TILE; i++) {
        if (an_kind_has_places(data->line, data->carriers[i].item.kind)) {
            an_bullets_add(
                book, &bullets, true, false, NULL,
                an_arena_printf(book->arena, "%s in %s %s", data->carriers[i].holds ? "now" : "was",
                                data->carriers[i].kind_title, data->carriers[i].item.serial));
        }
    }
    if (!bullets.count) {
        an_bullets_add(book, &bullets, false, false, NULL,
                       "At no station itself: it is known by links only.");
    }
    return bullets;
}

/* ---- blocks --------------------------------------------------------------------------------------------- */
static double table_height(struct an_book *book, const struct an_table *table, double width)
{
    /* head, then rows of one line each; wrapped cells are measured */
    double height = 15;
    const struct an_type type = {table->size_pt, AN_REGULAR, AN_INK, AN_LEFT};
    const double line = an_text_height(book->canvas, 0, &type, "0") + 3.6;
    double shares = 0;
    for (size_t c = 0; c < table->column_count; c++) {
        shares += table->columns[c].share;
    }
    const double room = width - 7.0 * (double)(table->column_count - 1);
    for (size_t r = 0; r < table->row_count; r++) {
        double row = line;
        for (size_t c = 0; c < table->column_count; c++) {
            const char *cell = table->cells[r * table->column_count + c];
            if (table->columns[c].wrap && cell) {
                row = fmax(row, 3.6 + an_text_height(book->canvas,
                                                     room * table->columns[c].share / shares, &type,
                                                     cell));
            }
        }
        height += row;
    }
    return height;
}

static const char *rest_of(struct an_book *book, size_t left_out, const char *where)
{
    const char *page = an_book_page_words(book, where);
    return left_out ? text_of(book, an_arena_printf(book->arena, "%s more%s%s",
                                                    an_say_count(book->arena, (int64_t)left_out),
                                                    *page ? ": " : "", page))
                    : NULL;
}

static struct block block_of(struct an_book *book, const struct an_item_data *data,
                             const struct an_report_section *section, size_t less, double width)
{
    struct block block = {0};
    const size_t least = section->most < LEAST_ROWS ? section->most : LEAST_ROWS;
    const size_t most = section->most > least + less ? section->most - less : least;
    block.wide = section->kind == AN_SECTION_CARRIED;
    width = block.wide ? book->body.width : width;
    switch (section->kind) {
    case AN_SECTION_MADE_OF:
        block.list = an_batches_table(book, data, most, true);
        block.rest = rest_of(book, block.list.left_out, "made_of");
        if (!data->batch_count) {
            an_bullets_add(book, &block.bullets, false, false, NULL,
                           "Of nothing that the record tells of.");
        }
        break;
    case AN_SECTION_CARRIED:
        block.list = an_whereabouts_table(book, data, most);
        block.rest = rest_of(book, block.list.left_out, "carried");
        if (!block.list.table.row_count) {
            an_bullets_add(book, &block.bullets, false, false, NULL, "By no product on record.");
        }
        break;
    case AN_SECTION_NEIGHBOURS:
        block.list = an_neighbours_table(book, data);
        break;
    case AN_SECTION_SHARED:
        block.list = an_sharers_table(book, data, most);
        block.rest = rest_of(book, block.list.left_out, "made_of");
        if (!data->sharer_count) {
            an_bullets_add(book, &block.bullets, false, false, NULL, "None.");
        }
        break;
    case AN_SECTION_TOUCHED:
        block.bullets = signals_of(book, data, false, most);
        break;
    case AN_SECTION_BEGAN:
        block.bullets = signals_of(book, data, true, most);
        break;
    case AN_SECTION_LACKING:
        block.bullets = lacks_of(book, data, most);
        break;
    case AN_SECTION_REPAIRS:
        block.bullets = repairs_of(book, data, most);
        break;
    default: /* facts; others are not of these reports */
        block.bullets = facts_of(book, data, most);
        break;
    }
    if (!block.list.table.row_count) {
        block.list.table.column_count = 0;
    }
    block.height = HEADING_PT + AFTER_PT +
                   (block.list.table.column_count ? table_height(book, &block.list.table, width)
                                                  : an_bullets_height(book, &block.bullets, width));
    return block;
}

static void draw_block(struct an_book *book, const struct an_report_section *section,
                       const struct block *block, double x, double y, double width)
{
    const struct an_type *title = an_book_type(AN_TYPE_SECTION);
    const double used = an_text_draw_fitted(book->canvas, x, y + 10, width, title, section->title);
    if (block->rest) {
        struct an_type small = *an_book_type(AN_TYPE_SMALL);
        small.align = AN_RIGHT;
        an_text_draw_fitted(book->canvas, x + used + 6, y + 10, width - used - 6, &small,
                            block->rest);
    }
    an_draw_line(book->canvas, x, y + 14, x + width, y + 14, 0.5, AN_RAIL);
    if (block->list.table.column_count) {
        const struct an_box box = {x, y + HEADING_PT - 2, width, block->height};
        size_t next = 0;
        an_table_draw(book->canvas, &box, &block->list.table, 0, &next);
    } else {
        an_bullets_draw(book, &block->bullets, x, y + HEADING_PT, width);
    }
}

struct placing {
    double y[2];
    double bottom;
    size_t less;
    bool draws, over;
};

static void place_block(struct an_book *book, const struct an_item_data *data,
                        const struct an_report_section *section, struct placing *placing)
{
    const double half = (book->body.width - COLUMN_GAP_PT) / 2;
    const struct block block = block_of(book, data, section, placing->less, half);
    const double width = block.wide ? book->body.width : half;
    size_t side = placing->y[1] < placing->y[0];
    if (block.wide) {
        placing->y[0] = placing->y[1] = fmax(placing->y[0], placing->y[1]);
        side = 0;
    }
    if (placing->y[side] + block.height > placing->bottom) {
        side = !block.wide && placing->y[!side] + block.height <= placing->bottom ? !side : side;
        if (placing->y[side] + block.height > placing->bottom) {
            placing->over = true;
            if (placing->draws) {
                an_book_page(book);
                placing->bottom = book->body.y + book->body.height;
            }
            placing->y[0] = placing->y[1] = book->body.y;
            side = 0;
        }
    }
    if (placing->draws) {
        draw_block(book, section, &block, book->body.x + (double)side * (half + COLUMN_GAP_PT),
                   placing->y[side], width);
    }
    placing->y[side] += block.height;
    placing->y[1] = block.wide ? placing->y[0] : placing->y[1];
}

static struct placing place_all(struct an_book *book, const struct an_item_data *data,
                                const struct an_report_page *page, double top, double bottom,
                                size_t less, bool draws)
{
    struct placing placing = {{top, top}, bottom, less, draws, false};
    for (size_t i = 0; i < page->section_count; i++) {
        if (page->sections[i].kind != AN_SECTION_MAP) {
            place_block(book, data, &page->sections[i], &placing);
        }
    }
    return placing;
}

/* ---- the map of the wall ------------------------------------------------------------------------------- */
/* What all serials of the tiles begin with up to the last mark that parts words; left out in cells. */
static size_t common_head(const struct an_item_data *data)
{
    size_t same = strlen(data->parts[0].item.serial);
    for (size_t p = 1; p < data->part_count; p++) {
        size_t k = 0;
        while (k < same && data->parts[p].item.serial[k] == data->parts[0].item.serial[k]) {
            k++;
        }
        same = k;
    }
    while (same && !strchr("-_/.", data->parts[0].item.serial[same - 1])) {
        same--;
    }
    return data->part_count > 1 ? same : 0;
}

static double draw_wall(struct an_book *book, const struct an_item_data *data,
                        const struct an_report_section *section, double height)
{
    const struct an_value_stream *stream =
        data->picture == AN_NONE ? NULL : &data->values.streams[data->picture];
    const size_t count = data->part_count + data->hole_count;
    struct an_map_cell *cells = an_arena_alloc(book->arena, count + 1, sizeof *cells);
    const size_t head = common_head(data);
    bool beyond = false;
    bool repaired = false;
    bool open = false;
    if (!cells) {
        book->failed = true;
        return 0;
    }
    for (size_t p = 0; p < data->part_count; p++) {
        const struct an_item_part *part = &data->parts[p];
        const struct an_item_value *value =
            stream ? &data->values.at[p * data->values.stream_count + data->picture] : NULL;
        cells[p] = (struct an_map_cell){.row = part->row,
                                        .column = part->column,
                                        .value = value ? value->value : (double)NAN,
                                        .label = part->item.serial + head,
                                        .count = part->repairs};
        cells[p].marks = (part->open ? AN_MAP_OPEN : 0U) |
                         (value && value->beyond ? AN_MAP_BEYOND : 0U) |
                         (data->sites.part == p ? AN_MAP_CHOSEN : 0U);
        beyond = beyond || (value && value->beyond);
        repaired = repaired || part->repairs;
        open = open || part->open;
    }
    for (size_t i = 0; i < data->hole_count; i++) {
        cells[data->part_count + i] = (struct an_map_cell){.row = data->holes[i].row,
                                                           .column = data->holes[i].column,
                                                           .value = (double)NAN,
                                                           .marks = AN_MAP_HOLE};
    }
    const char *title =
        text_of(book, stream ? an_arena_printf(book->arena, "%s, of each %s%s%.*s", stream->title,
                                               data->part_title, head ? "; serials without " : "",
                                               (int)head, data->parts[0].item.serial)
                             : "No value of these is on record");
    const struct an_map map = {.title = title,
                               .unit = stream ? stream->unit : NULL,
                               .decimals = stream ? stream->decimals : 0,
                               .first_row = data->first_row,
                               .last_row = data->last_row,
                               .first_column = data->first_column,
                               .last_column = data->last_column,
                               .cells = cells,
                               .cell_count = count,
                               .low = (double)NAN,
                               .high = (double)NAN,
                               .seams = data->steps.at,
                               .seam_count = data->steps.count,
                               .seam_words = "step at a seam",
                               .seam_unit = data->steps.unit,
                               .seam_decimals = data->steps.decimals,
                               .seam_high = (double)NAN,
                               .arrow_high = (double)NAN,
                               .count_words = repaired ? "repairs" : NULL,
                               .open_words = open ? "open signal" : NULL,
                               .beyond_words = beyond ? "beyond control limits" : NULL};
    an_book_heading(book, section->title);
    const struct an_box box = {book->body.x, book->y, book->body.width, height};
    return an_map_draw(book->canvas, &box, &map);
}

void an_item_front(struct an_book *book, const struct an_item_data *data,
                   const struct an_report_page *page)
{
    const struct an_report_section *map = NULL;
    an_book_page(book);
    an_book_mark(book, "front");
    an_canvas_outline(book->canvas, 1, page->title, "front");
    an_book_say(book, AN_TYPE_LEAD, 3, an_say_item_lead(book->arena, data));
    an_book_say(book, AN_TYPE_SMALL, 6, an_say_item_second(book->arena, data));
    for (size_t i = 0; i < page->section_count; i++) {
        map = page->sections[i].kind == AN_SECTION_MAP ? &page->sections[i] : map;
    }
    const double cautions = an_cautions_height(book, page);
    const double bottom = book->body.y + book->body.height - cautions - 4;
    const double map_least = map ? HEADING_PT + MAP_LEAST_PT + AFTER_PT : 0;
    size_t less = 0;
    struct placing tried = place_all(book, data, page, book->y + map_least, bottom, less, false);
    while (tried.over && less < MOST_LESS) {
        tried = place_all(book, data, page, book->y + map_least, bottom, ++less, false);
    }
    if (map) {
        const double lists = fmax(tried.y[0], tried.y[1]) - (book->y + map_least);
        double height = bottom - book->y - HEADING_PT - AFTER_PT - (tried.over ? 0 : lists);
        height = fmin(MAP_MOST_PT, fmax(MAP_LEAST_PT, height));
        const double used = draw_wall(book, data, map, height);
        book->y += used + AFTER_PT;
    }
    an_cautions_draw(book, page, cautions); /* before a list may turn the page */
    const struct placing placed = place_all(book, data, page, book->y, bottom, less, true);
    book->y = fmax(placed.y[0], placed.y[1]);
}
