/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What stands on every page, and the pen. Responsible for provenance: a sheet that comes loose can
 * be told from its header and footer alone. Never decides content.
 *
 * Its one hard idea: the number of pages is only known when the last one is composed, so what
 * depends on page numbers is taken from the pass before (compose.c repeats until they agree).
 */
#include "report/book.h"
#include "report/wording.h"

#include <stdio.h>
#include <string.h>

#define HEADER_PT 31.0
#define FOOTER_PT 34.0

const struct an_type *an_book_type(enum an_book_type type)
{
    static const struct an_type types[AN_TYPE_COUNT] = {
        [AN_TYPE_LEAD] = {13.0, AN_BOLD, AN_INK, AN_LEFT},
        [AN_TYPE_SECTION] = {10.5, AN_BOLD, AN_INK, AN_LEFT},
        [AN_TYPE_BODY] = {8.5, AN_REGULAR, AN_INK, AN_LEFT},
        [AN_TYPE_STRONG] = {8.5, AN_BOLD, AN_INK, AN_LEFT},
        [AN_TYPE_SMALL] = {7.5, AN_REGULAR, AN_GREY, AN_LEFT},
        [AN_TYPE_NOTE] = {7.0, AN_REGULAR, AN_GREY, AN_LEFT}};
    return &types[type < AN_TYPE_COUNT ? type : AN_TYPE_BODY];
}

const char *an_book_text(struct an_book *book, const char *text)
{
    if (!text) {
        book->failed = true;
    }
    return text ? text : "";
}

static struct an_type right(const struct an_type *type)
{
    struct an_type turned = *type;
    turned.align = AN_RIGHT;
    return turned;
}

static void header(struct an_book *book, double x, double width)
{
    const struct an_period_data *data = book->data;
    const double top = book->paper->margin_pt;
    const struct an_type strong = {9.5, AN_BOLD, AN_INK, AN_LEFT};
    const struct an_type strong_right = right(&strong);
    const struct an_type grey_right = right(an_book_type(AN_TYPE_SMALL));
    const char *which =
        an_book_text(book, an_arena_printf(book->arena, "%s %s", data->title, data->now.label));
    const double which_width = an_text_width(book->canvas, &strong, which);
    const double room = which_width < width * 0.6 ? width - which_width - 12 : width * 0.4;
    const char *title = data->line->title ? data->line->title : data->line->name;
    an_text_draw_fitted(book->canvas, x, top + 9, room, &strong, title);
    an_text_draw_fitted(book->canvas, x + room + 12, top + 9, width - room - 12, &strong_right,
                        which);
    an_text_draw_fitted(book->canvas, x, top + 20, width * 0.62, an_book_type(AN_TYPE_SMALL),
                        data->period);
    const char *state =
        data->running
            ? an_book_text(book, an_arena_printf(
                                     book->arena, "the %s was not over: known up to %s", data->word,
                                     an_say_time(book->arena, data->line->zone, data->as_of_us)))
            : "";
    an_text_draw_fitted(book->canvas, x + width * 0.62, top + 20, width * 0.38, &grey_right, state);
    an_draw_line(book->canvas, x, top + 25, x + width, top + 25, 0.8, AN_INK);
}

/* Store, period, limits, version; then the ledger's head, large and in full; page x of y. */
static void footer(struct an_book *book, double x, double width)
{
    const struct an_period_data *data = book->data;
    struct an_canvas *canvas = book->canvas;
    const double bottom = book->paper->height_pt - book->paper->margin_pt;
    const struct an_type *note = an_book_type(AN_TYPE_NOTE);
    char from[40];
    char until[40];
    an_draw_line(canvas, x, bottom - 25, x + width, bottom - 25, 0.5, AN_RAIL);
    const char *origin = an_book_text(
        book, an_arena_printf(book->arena, ", %s to %s, %s, limits: %s locked, andamento %s",
                              an_instant_rfc3339(data->now.from_us, from),
                              an_instant_rfc3339(data->now.until_us, until),
                              an_say_many(book->arena, data->samples, "sample"),
                              an_say_many(book->arena, (int64_t)data->limits_locked, "revision"),
                              data->program_version));
    const char *store =
        an_book_text(book, an_arena_printf(book->arena, "store %s", data->store_name));
    /* a long name gives way, the rest of the line does not */
    const double room = width - 74 - an_text_width(canvas, note, origin);
    const double store_width =
        an_text_draw_fitted(canvas, x, bottom - 15, room > 60 ? room : 60, note, store);
    an_text_draw_fitted(canvas, x + store_width, bottom - 15, width - 74 - store_width, note,
                        origin);
    const struct an_type page_type = {8.5, AN_BOLD, AN_INK, AN_RIGHT};
    const char *page = an_book_text(
        book, an_arena_printf(book->arena, "page %d of %d", an_canvas_page(canvas),
                              book->pages_known ? book->pages_known : an_canvas_page(canvas)));
    an_text_draw_fitted(canvas, x + width - 74, bottom - 15, 74, &page_type, page);
    const char *entries =
        an_book_text(book, an_arena_printf(book->arena, "ledger of %s entries, root ",
                                           an_say_count(book->arena, (int64_t)data->head.size)));
    double pen = x + an_text_draw_baseline(canvas, x, bottom - 3, note, entries);
    char large[17];
    (void)snprintf(large, sizeof large, "%.16s", data->root_hex);
    const struct an_type large_type = {10.0, AN_BOLD, AN_INK, AN_LEFT};
    pen += 3 + an_text_draw_baseline(canvas, pen + 3, bottom - 3, &large_type, large);
    const struct an_type note_right = right(note);
    an_text_draw_fitted(canvas, pen + 8, bottom - 3, x + width - pen - 8, &note_right,
                        data->root_hex);
}

void an_book_page(struct an_book *book)
{
    if (book->open) {
        an_canvas_next_page(book->canvas);
    }
    book->open = true;
    const double margin = book->paper->margin_pt;
    const double width = book->paper->width_pt - 2 * margin;
    header(book, margin, width);
    footer(book, margin, width);
    book->body = (struct an_box){margin, margin + HEADER_PT, width,
                                 book->paper->height_pt - 2 * margin - HEADER_PT - FOOTER_PT};
    book->y = book->body.y;
}

double an_book_room(const struct an_book *book)
{
    return book->body.y + book->body.height - book->y;
}

void an_book_mark(struct an_book *book, const char *name)
{
    an_canvas_mark(book->canvas, name);
    if (!an_grow((void **)&book->marks, book->mark_count, &book->mark_room, sizeof *book->marks)) {
        book->failed = true;
        return;
    }
    book->marks[book->mark_count++] = (struct an_page_mark){name, an_canvas_page(book->canvas), 0};
}

double an_book_shrink_of(const struct an_book *book, const char *name)
{
    for (size_t i = 0; i < book->known_count; i++) {
        if (!strcmp(book->known[i].name, name)) {
            return book->known[i].shrink_pt;
        }
    }
    return 0;
}

int an_book_page_of(const struct an_book *book, const char *name)
{
    for (size_t i = 0; i < book->known_count; i++) {
        if (!strcmp(book->known[i].name, name)) {
            return book->known[i].page;
        }
    }
    return 0;
}

const char *an_book_page_words(struct an_book *book, const char *name)
{
    const int page = an_book_page_of(book, name);
    return page ? an_book_text(book, an_arena_printf(book->arena, "page %d", page)) : "";
}

void an_book_say(struct an_book *book, enum an_book_type type, double after, const char *text)
{
    const double height = an_text_height(book->canvas, book->body.width, an_book_type(type),
                                         an_book_text(book, text));
    if (height > an_book_room(book) && book->y > book->body.y) {
        an_book_page(book);
    }
    book->y += an_text_draw(book->canvas, book->body.x, book->y, book->body.width,
                            an_book_type(type), an_book_text(book, text));
    book->y += after;
}

void an_book_title(struct an_book *book, double x, double y_baseline, double width,
                   const struct an_type *type, const char *title)
{
    const char *comma = strchr(title, ',');
    /* a characteristic's own name may hold commas: the end to keep is one that leaves it room */
    while (comma && strchr(comma + 1, ',') &&
           an_text_width(book->canvas, type, comma) > width * 0.7) {
        comma = strchr(comma + 1, ',');
    }
    if (an_text_width(book->canvas, type, title) <= width || !comma) {
        an_text_draw_fitted(book->canvas, x, y_baseline, width, type, title);
        return;
    }
    const double tail = an_text_width(book->canvas, type, comma);
    if (tail > width * 0.7) { /* even the end alone is too long: both give way */
        const double head_used = an_text_draw_fitted(
            book->canvas, x, y_baseline, width * 0.4, type,
            an_book_text(book, an_arena_copy(book->arena, title, (size_t)(comma - title))));
        an_text_draw_fitted(book->canvas, x + head_used, y_baseline, width - head_used, type,
                            comma);
        return;
    }
    const double used = an_text_draw_fitted(
        book->canvas, x, y_baseline, width - tail, type,
        an_book_text(book, an_arena_copy(book->arena, title, (size_t)(comma - title))));
    an_text_draw_fitted(book->canvas, x + used, y_baseline, width - used, type, comma);
}

void an_book_heading(struct an_book *book, const char *text)
{
    const struct an_type *type = an_book_type(AN_TYPE_SECTION);
    if (an_book_room(book) < 34) { /* a heading wants a line below it on its page */
        an_book_page(book);
    }
    an_text_draw_fitted(book->canvas, book->body.x, book->y + 10, book->body.width, type, text);
    an_draw_line(book->canvas, book->body.x, book->y + 14, book->body.x + book->body.width,
                 book->y + 14, 0.5, AN_RAIL);
    book->y += 18;
}

void an_book_table(struct an_book *book, const char *heading, const struct an_table *table)
{
    size_t row = 0;
    bool fresh = false; /* nothing but the heading stands on this page yet */
    while (row < table->row_count && !book->failed) {
        if (an_book_room(book) < (heading ? 43 : 28) && !fresh) {
            an_book_page(book);
        }
        if (heading) {
            an_book_heading(
                book,
                row ? an_book_text(book, an_arena_printf(book->arena, "%s, continued", heading))
                    : heading);
        }
        const struct an_box box = {book->body.x, book->y, book->body.width, an_book_room(book)};
        size_t next = row;
        book->y += an_table_draw(book->canvas, &box, table, row, &next) + 10;
        if (next == row && fresh) {
            return; /* a row taller than a page: the table's own bound forbids it */
        }
        row = next;
        if (row < table->row_count) {
            an_book_page(book);
            fresh = true;
        }
    }
}
