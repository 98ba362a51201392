/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One page for each stream that signalled: its sentence, its charts on one axis, its facts, the
 * items that carry the change, and what else began then. Responsible for telling the whole story
 * of a stream without another page; never gathers.
 *
 * Its one hard idea: serials that follow each other are written as a range only when every number
 * between is in the list, so that a range can be read as a containment order.
 */
#include "andamento/base/text.h"
#include "report/book.h"
#include "report/plots.h"
#include "report/wording.h"

#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LEVEL_PT 226.0
#define SPREAD_PT 108.0
#define SHRINK_MOST_PT 118.0

/* ---- carrying items ------------------------------------------------------------------------- */

struct numbered { /* a serial taken apart: stem, running number, check characters */
    size_t stem, digits, tail;
    uint64_t number;
};

/* The last digits of a serial; behind them may stand up to two check characters and their dash.
 * False if there are none, or too many to count with. */
static bool take_apart(const char *serial, struct numbered *parts)
{
    const size_t length = strlen(serial);
    size_t end = length;
    while (end && length - end < 4 && (serial[end - 1] < '0' || serial[end - 1] > '9')) {
        end--;
    }
    size_t at = end;
    while (at && serial[at - 1] >= '0' && serial[at - 1] <= '9') {
        at--;
    }
    *parts = (struct numbered){.stem = at, .digits = end - at, .tail = length - end};
    for (size_t i = at; i < end && parts->digits <= 15; i++) {
        parts->number = parts->number * 10 + (uint64_t)(serial[i] - '0');
    }
    return parts->digits && parts->digits <= 15 && parts->tail <= 3;
}

static bool follows(const char *a, const char *b)
{
    struct numbered x;
    struct numbered y;
    return take_apart(a, &x) && take_apart(b, &y) && x.stem == y.stem && x.digits == y.digits &&
           x.tail == y.tail && !strncmp(a, b, x.stem) && y.number == x.number + 1;
}

/* By the item they went into (those in none last), then in the order of their serials. */
static int by_place(const void *a, const void *b)
{
    const struct an_carried_item *x = a;
    const struct an_carried_item *y = b;
    if (!x->in != !y->in) {
        return !x->in - !y->in;
    }
    const int in = x->in ? strcmp(x->in, y->in) : 0;
    return in ? in : strcmp(x->serial, y->serial);
}

/* "T-0001 to T-0017 (17), T-0020, ..." of items [first, last). */
static void add_serials(struct an_text *text, const struct an_carried_item *items, size_t first,
                        size_t last)
{
    for (size_t i = first; i < last;) {
        size_t end = i;
        while (end + 1 < last && follows(items[end].serial, items[end + 1].serial)) {
            end++;
        }
        an_text_add(text, i == first ? "" : ", ");
        if (end >= i + 2) {
            an_text_addf(text, "%s to %s (%zu)", items[i].serial, items[end].serial, end - i + 1);
            i = end + 1;
        } else {
            an_text_add(text, items[i].serial);
            i++;
        }
    }
}

struct item_group {
    const char *in, *serials;
    size_t count;
};

static size_t group_items(struct an_book *book, const struct an_period_signal *one,
                          struct item_group **groups)
{
    struct an_carried_item *items = an_arena_alloc(book->arena, one->item_count + 1, sizeof *items);
    *groups = an_arena_alloc(book->arena, one->item_count + 1, sizeof **groups);
    if (!items || !*groups) {
        book->failed = true;
        return 0;
    }
    if (one->item_count) {
        memcpy(items, one->items, one->item_count * sizeof *items);
    }
    for (size_t i = 0; i < one->item_count; i++) {
        items[i].serial = items[i].serial ? items[i].serial : "(no serial)";
    }
    qsort(items, one->item_count, sizeof *items, by_place);
    size_t count = 0;
    struct an_text text = {0};
    for (size_t i = 0; i < one->item_count;) {
        size_t end = i;
        while (end < one->item_count && !items[end].in == !items[i].in &&
               (!items[i].in || !strcmp(items[end].in, items[i].in))) {
            end++;
        }
        an_text_clear(&text);
        add_serials(&text, items, i, end);
        (*groups)[count] = (struct item_group){
            .in = items[i].in,
            .serials = an_book_text(
                book,
                text.failed ? NULL : an_arena_copy(book->arena, an_text_of(&text), text.length)),
            .count = end - i};
        count++;
        i = end;
    }
    an_text_free(&text);
    return count;
}

/* Texts longer than a table row may be are cut where an item ends and go on in the next row. */
static size_t rows_of(const char *serials, size_t most)
{
    return strlen(serials) / most + 1;
}

static const char *piece(struct an_book *book, const char **rest, size_t most)
{
    const char *at = *rest;
    size_t length = strlen(at);
    if (length > most) {
        length = most;
        while (length && at[length - 1] != ' ') {
            length--;
        }
        length = length ? length : most;
    }
    *rest = at + length;
    return an_book_text(book, an_arena_copy(book->arena, at, length));
}

/* "in WALL-031", "in no wall", "on the line". */
static const char *place_words(struct an_book *book, const struct item_group *group,
                               const char *into)
{
    return group->in ? group->in
           : *into   ? an_book_text(book, an_arena_printf(book->arena, "in no %s", into))
                     : "on the line";
}

enum { SHORT_SERIALS = 44, ROW_SERIALS = 330 }; /* characters; the latter inside a row's bound */

/* Groups of few serials stand side by side, two in a row. Returns how many groups were listed. */
static size_t list_short_groups(struct an_book *book, const struct an_period_signal *one,
                                const struct item_group *groups, size_t count, const char **heading)
{
    size_t few = 0;
    while (few < count && strlen(groups[few].serials) <= SHORT_SERIALS) {
        few++;
    }
    if (few < 4) {
        return 0;
    }
    const char *into = one->signal.next_kind ? one->signal.next_kind : "";
    const char *kind = an_book_text(book, an_say_plural(book->arena, one->kind));
    const char *place = *into ? into : "where";
    const struct an_table_column columns[] = {
        {place, 1.3, AN_LEFT, false}, {kind, 0.6, AN_RIGHT, false}, {"serials", 4, AN_LEFT, true},
        {place, 1.3, AN_LEFT, false}, {kind, 0.6, AN_RIGHT, false}, {"serials", 4, AN_LEFT, true}};
    const size_t rows = (few + 1) / 2;
    const char **cells = an_arena_alloc(book->arena, rows * 6, sizeof *cells);
    if (!cells) {
        book->failed = true;
        return 0;
    }
    for (size_t i = 0; i < few; i++) { /* down the left half, then down the right */
        const char **cell = cells + (i % rows) * 6 + (i < rows ? 0 : 3);
        cell[0] = place_words(book, &groups[i], into);
        cell[1] = an_book_text(book, an_say_count(book->arena, (int64_t)groups[i].count));
        cell[2] = groups[i].serials;
    }
    const struct an_table table = {columns, 6, cells, rows, NULL, 7.5};
    an_book_table(book, *heading, &table);
    *heading = NULL;
    return few;
}

static void list_long_groups(struct an_book *book, const struct an_period_signal *one,
                             const struct item_group *groups, size_t count, const char *heading)
{
    const char *into = one->signal.next_kind ? one->signal.next_kind : "";
    const struct an_table_column columns[] = {
        {*into ? into : "where", 1.1, AN_LEFT, false},
        {an_book_text(book, an_say_plural(book->arena, one->kind)), 0.5, AN_RIGHT, false},
        {"serials", 7, AN_LEFT, true}};
    size_t rows = 0;
    for (size_t i = 0; i < count; i++) {
        rows += 2 * rows_of(groups[i].serials, ROW_SERIALS);
    }
    const char **cells = an_arena_alloc(book->arena, rows * 3 + 1, sizeof *cells);
    if (!cells) {
        book->failed = true;
        return;
    }
    size_t row = 0;
    for (size_t i = 0; i < count; i++) {
        const char *rest = groups[i].serials;
        for (bool first = true; *rest && row < rows; first = false, row++) {
            cells[row * 3] = first ? place_words(book, &groups[i], into) : "";
            cells[row * 3 + 1] =
                first ? an_book_text(book, an_say_count(book->arena, (int64_t)groups[i].count))
                      : "";
            cells[row * 3 + 2] = piece(book, &rest, ROW_SERIALS);
        }
    }
    const struct an_table table = {columns, 3, cells, row, NULL, 7.5};
    an_book_table(book, heading, &table);
}

static void list_items(struct an_book *book, const struct an_period_signal *one)
{
    struct item_group *groups = NULL;
    const size_t count = group_items(book, one, &groups);
    if (!count) {
        return;
    }
    const char *more =
        one->item_count < one->signal.item_count
            ? an_arena_printf(book->arena, "; the first %zu are listed, export has all",
                              one->item_count)
            : "";
    const char *heading = an_book_text(
        book,
        an_arena_printf(book->arena, "%s %s %s%s%s",
                        an_say_many(book->arena, (int64_t)one->signal.item_count, one->kind),
                        one->signal.item_count == 1 ? "carries" : "carry",
                        one->signal.code ? one->signal.code : "it",
                        one->signal.record.panel == 1 ? " of the spread" : "", more ? more : ""));
    const size_t listed = list_short_groups(book, one, groups, count, &heading);
    list_long_groups(book, one, groups + listed, count - listed, heading);
}

/* ---- facts ---------------------------------------------------------------------------------- */

/* Two columns of name and text, the second beginning where half the height is reached. */
static void draw_facts(struct an_book *book, const struct an_stream_sheet *sheet)
{
    const double name_width = 70;
    const double width = (book->body.width - 16) / 2;
    const struct an_type name_type = {7.5, AN_BOLD, AN_GREY, AN_LEFT};
    const struct an_type text_type = {7.5, AN_REGULAR, AN_INK, AN_LEFT};
    double heights[32];
    double all = 0;
    const size_t count = sheet->fact_count < 32 ? sheet->fact_count : 32;
    for (size_t i = 0; i < count; i++) {
        const double text =
            an_text_height(book->canvas, width - name_width, &text_type, sheet->facts[i].text);
        const double name =
            an_text_height(book->canvas, name_width - 6, &name_type, sheet->facts[i].name);
        heights[i] = (text > name ? text : name) + 1.5;
        all += heights[i];
    }
    double y[2] = {book->y, book->y};
    for (size_t i = 0; i < count; i++) {
        const double done = y[0] - book->y;
        const int side = y[1] > book->y || (done > 0 && done + heights[i] / 2 > all / 2);
        const double x = book->body.x + side * (width + 16);
        an_text_draw(book->canvas, x, y[side], name_width - 6, &name_type, sheet->facts[i].name);
        an_text_draw(book->canvas, x + name_width, y[side], width - name_width, &text_type,
                     sheet->facts[i].text);
        y[side] += heights[i];
    }
    book->y = (y[0] > y[1] ? y[0] : y[1]) + 6;
}

/* ---- the page ------------------------------------------------------------------------------- */

static void draw_also(struct an_book *book, const struct an_period_signal *one)
{
    const struct an_period_data *data = book->data;
    if (!one->also_count && !one->signal.ribbon_note) {
        return;
    }
    an_book_heading(book, "What else began then");
    if (one->signal.ribbon_note) {
        an_book_say(book, AN_TYPE_BODY, 2,
                    an_arena_printf(book->arena, "It %s.", one->signal.ribbon_note));
    }
    const size_t most = 6;
    for (size_t i = 0; i < one->also_count && i < most; i++) {
        const struct an_period_signal *other = &data->signals[one->also[i]];
        const char *page = an_book_page_words(book, other->name);
        if (an_book_room(book) < 14) {
            an_book_page(book);
        }
        const double y = book->y;
        an_book_say(book, AN_TYPE_BODY, 2,
                    an_arena_printf(
                        book->arena, "%s %s, start between %s and %s%s%s", other->signal.code,
                        data->sheets[other->sheet].title,
                        an_say_time(book->arena, data->line->zone, other->signal.onset_earliest_us),
                        an_say_time(book->arena, data->line->zone, other->signal.onset_latest_us),
                        *page ? ", " : "", page));
        const struct an_box link = {book->body.x, y, book->body.width, book->y - y};
        an_canvas_link(book->canvas, &link, other->name);
    }
    if (one->also_count > most) {
        an_book_say(book, AN_TYPE_BODY, 2,
                    an_arena_printf(book->arena, "and %zu more", one->also_count - most));
    }
    book->y += 5;
}

/* The larger one is the chart that moved. */
static void draw_charts(struct an_book *book, const struct an_stream_sheet *sheet,
                        const struct an_period_signal *one)
{
    if (!sheet->panel[0].count) {
        an_book_say(book, AN_TYPE_BODY, 8, "No point to draw.");
        return;
    }
    const double shrink = fmax(an_book_shrink_of(book, one->name), 0);
    const bool both = sheet->panel[1].count > 0;
    const bool spread_moved = both && one->signal.record.panel == 1;
    double height[2] = {LEVEL_PT, SPREAD_PT};
    if (!both) {
        height[0] += SPREAD_PT * 0.5 - shrink;
    } else {
        const double moved = spread_moved ? LEVEL_PT * 0.3 : 0;
        height[0] -= moved + shrink * (spread_moved ? 0.4 : 0.7);
        height[1] += moved - shrink * (spread_moved ? 0.6 : 0.3);
    }
    for (int panel = 0; panel < 1 + both; panel++) {
        const struct an_box box = {book->body.x, book->y, book->body.width, height[panel]};
        an_plot_large(book, &box, sheet, panel, one);
        book->y += height[panel] + 6;
    }
}

/* What little went over to a second page would fit the first if its charts were a little lower. */
static double next_shrink(const struct an_book *book, const char *name, int start)
{
    const double shrink = an_book_shrink_of(book, name);
    const int more = an_canvas_page(book->canvas) - start;
    if (!more || shrink < 0) {
        return shrink;
    }
    const double next = shrink + (book->y - book->body.y);
    return more > 1 || next > SHRINK_MOST_PT ? -1 : next;
}

/* The sentence of a page's later signals: what a residual is was told by the first. */
static const char *later_sentence(struct an_book *book, const char *sentence)
{
    const char *aside = strstr(sentence, AN_RESIDUAL_ASIDE);
    return !aside
               ? sentence
               : an_book_text(book, an_arena_printf(book->arena, "%.*s%s", (int)(aside - sentence),
                                                    sentence, aside + strlen(AN_RESIDUAL_ASIDE)));
}

/* All signals of one stream, told on the page of the first (the worst). */
static void one_stream(struct an_book *book, size_t first)
{
    const struct an_period_data *data = book->data;
    const struct an_period_signal *one = &data->signals[first];
    const struct an_stream_sheet *sheet = &data->sheets[one->sheet];
    an_book_page(book);
    const int start = an_canvas_page(book->canvas);
    const size_t mark = book->mark_count;
    an_book_mark(book, one->name);
    an_canvas_outline(book->canvas, 2, sheet->title, one->name);
    an_text_draw_fitted(book->canvas, book->body.x, book->y + 9, book->body.width - 96,
                        an_book_type(AN_TYPE_SMALL), sheet->stream.name);
    const struct an_type back = {7.5, AN_REGULAR, AN_GREY, AN_RIGHT};
    an_text_draw_fitted(book->canvas, book->body.x + book->body.width - 90, book->y + 9, 90, &back,
                        "back to page 1");
    const struct an_box link = {book->body.x + book->body.width - 90, book->y, 90, 12};
    an_canvas_link(book->canvas, &link, "front");
    book->y += 14;
    for (size_t i = first; i < data->signal_count; i++) {
        const struct an_period_signal *other = &data->signals[i];
        if (other->sheet != one->sheet) {
            continue;
        }
        const char *sentence = other->signal.sentence ? other->signal.sentence : sheet->title;
        an_book_say(book, i == first ? AN_TYPE_LEAD : AN_TYPE_STRONG, 4,
                    i == first ? sentence : later_sentence(book, sentence));
    }
    draw_charts(book, sheet, one);
    draw_facts(book, sheet);
    if (sheet->cautions) {
        an_book_say(book, AN_TYPE_NOTE, 7, sheet->cautions);
    }
    draw_also(book, one);
    for (size_t i = first; i < data->signal_count; i++) {
        const struct an_period_signal *other = &data->signals[i];
        /* the sentence names a single item already; a list adds where it is */
        const bool said = i > first && other->signal.item_count == 1 && other->item_count == 1 &&
                          !other->items[0].in;
        if (other->sheet == one->sheet && !said) {
            list_items(book, other);
        }
    }
    if (mark < book->mark_count) {
        book->marks[mark].shrink_pt = next_shrink(book, one->name, start);
    }
}

void an_compose_streams(struct an_book *book, const struct an_report_page *page)
{
    const struct an_period_data *data = book->data;
    size_t pages = 0;
    size_t left_out = 0;
    for (size_t i = 0; i < data->signal_count; i++) {
        bool told = false;
        for (size_t k = 0; k < i && !told; k++) {
            told = data->signals[k].sheet == data->signals[i].sheet;
        }
        if (told) {
            continue;
        }
        if (pages == page->most) {
            left_out++;
            continue;
        }
        if (!pages) {
            an_canvas_outline(book->canvas, 1, page->title, data->signals[i].name);
        }
        one_stream(book, i);
        pages++;
    }
    if (left_out) {
        if (an_book_room(book) < 14) {
            an_book_page(book);
        }
        an_book_say(book, AN_TYPE_STRONG, 0,
                    an_arena_printf(book->arena,
                                    "%s more signalled and have no page of their own here: the "
                                    "report definition allows %zu.",
                                    an_say_many(book->arena, (int64_t)left_out, "stream"),
                                    page->most));
    }
}
