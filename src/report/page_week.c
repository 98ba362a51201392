/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Page one of the week: the lead, what differs from last week and the table over the whole width,
 * then the other sections in two columns. Responsible for one page, or for going on where it does
 * not fit; must never leave a section out silently.
 *
 * Its one hard idea: each section knows its height before it is drawn, and goes into the column that
 * is shorter by then, so that neither runs far ahead of the other. The longer lists give up rows, one
 * at a time, until all fits: the rows stand on pages of their own as well.
 */
#include "report/week_bullets.h"
#include "report/week_lists.h"
#include "report/week_wording.h"

#include <math.h>

enum {
    LEAST_ROWS = 5, /* that a list keeps when it gives way to the others */
    MOST_LESS = 12
};
#define COLUMN_GAP_PT 16.0
#define HEADING_PT 18.0
#define AFTER_PT 6.0

struct block { /* a section, measured */
    const char *title;
    const char *rest, *link;      /* where the rest of it stands, or NULL */
    struct an_interval_list list; /* if it has columns */
    struct an_bullets bullets;
    double height;
};

static void say_rest(struct an_book *book, struct block *block, size_t all, const char *where)
{
    const int page = an_book_page_of(book, where);

    if (block->list.row_count < all && page) {
        block->rest = an_book_text(book, an_arena_printf(book->arena, "%zu of %zu; all on page %d",
                                                         block->list.row_count, all, page));
        block->link = where;
    }
}

/* A list without a row says what there was none of. */
static const char *words_of_none(enum an_report_section_kind kind)
{
    switch (kind) {
    case AN_SECTION_DEFECTS:
        return "Nothing was counted this week.";
    case AN_SECTION_COMPLETENESS:
        return "No item went from one station to the next this week.";
    case AN_SECTION_YIELD:
        return "No item was measured against a specification this week.";
    default:
        return "Nothing: no characteristic with a specification was measured.";
    }
}

static struct block block_of(struct an_book *book, const struct an_report_section *section,
                             double width, size_t less)
{
    struct block block = {.title = section->title};
    const bool gives =
        section->kind == AN_SECTION_CAPABILITY || section->kind == AN_SECTION_DEFECTS;
    const size_t least = section->most < LEAST_ROWS ? section->most : LEAST_ROWS;
    const size_t most = !gives                         ? section->most
                        : section->most - least > less ? section->most - less
                                                       : least;

    switch (section->kind) {
    case AN_SECTION_CAPABILITY:
        block.list = an_week_capability_list(book, most);
        break;
    case AN_SECTION_YIELD:
        block.list = an_week_yield_list(book, most, false);
        break;
    case AN_SECTION_DEFECTS:
        block.list = an_week_rate_list(book, most, false);
        break;
    case AN_SECTION_AGAINST_LAST:
        block.bullets = an_bullets_against_last(book, most > less / 3 + 1 ? most - less / 3 : 1);
        break;
    case AN_SECTION_DRIFTS:
        block.bullets = an_bullets_drifts(book, most);
        break;
    case AN_SECTION_OPEN:
        block.bullets = an_bullets_open(book, most);
        break;
    case AN_SECTION_LIMITS:
        block.bullets = an_bullets_limits(book, most);
        break;
    case AN_SECTION_COMPLETENESS:
        block.list = an_week_flow_list(book, most);
        break;
    case AN_SECTION_GAUGES:
        block.bullets = an_bullets_gauges(book, most);
        break;
    case AN_SECTION_MISSING:
        block.bullets = an_bullets_missing(book);
        break;
    case AN_SECTION_CHANGED:
    case AN_SECTION_AT_RISK:
    case AN_SECTION_DUE: /* of a shift */
    case AN_SECTION_MAP: /* of one item */
    case AN_SECTION_MADE_OF:
    case AN_SECTION_TOUCHED:
    case AN_SECTION_REPAIRS:
    case AN_SECTION_SHARED:
    case AN_SECTION_LACKING:
    case AN_SECTION_FACTS:
    case AN_SECTION_CARRIED:
    case AN_SECTION_BEGAN:
    case AN_SECTION_NEIGHBOURS:
    case AN_SECTION_KIND_COUNT:
        break;
    }
    if (block.list.column_count && !block.list.row_count) {
        block.list.column_count = 0;
        an_bullets_add(book, &block.bullets, false, false, NULL, words_of_none(section->kind));
    }
    if (section->kind == AN_SECTION_CAPABILITY) {
        say_rest(book, &block, an_week_capability_list(book, SIZE_MAX).row_count, "capability");
    } else if (section->kind == AN_SECTION_DEFECTS) {
        say_rest(book, &block, book->data->week->rate_count, "yield");
    }
    block.height = HEADING_PT + AFTER_PT +
                   (block.list.column_count ? an_intervals_height(&block.list, block.list.row_count)
                                            : an_bullets_height(book, &block.bullets, width));
    return block;
}

static void draw_block(struct an_book *book, const struct block *block, double x, double y,
                       double width)
{
    an_text_draw_fitted(book->canvas, x, y + 10, width, an_book_type(AN_TYPE_SECTION),
                        block->title);
    if (block->rest) {
        const struct an_type note = {7.5, AN_REGULAR, AN_GREY, AN_RIGHT};
        const struct an_box link = {x, y, width, 14};
        an_text_draw_fitted(book->canvas, x + width / 2, y + 10, width / 2, &note, block->rest);
        an_canvas_link(book->canvas, &link, block->link);
    }
    an_draw_line(book->canvas, x, y + 14, x + width, y + 14, 0.5, AN_RAIL);
    if (block->list.column_count) {
        (void)an_intervals_draw(book, &block->list, x, y + HEADING_PT - 2, width, 0,
                                block->list.row_count);
    } else {
        an_bullets_draw(book, &block->bullets, x, y + HEADING_PT, width);
    }
}

static bool is_wide(const struct an_report_section *section)
{
    return section->kind == AN_SECTION_AGAINST_LAST || section->kind == AN_SECTION_CAPABILITY;
}

struct placing {
    double y[2];
    double bottom;
    size_t less; /* rows that the longer lists give up */
    bool draws;  /* false: only how far it would go is asked */
    bool over;   /* something does not fit on this page */
};

static void next_sheet(struct an_book *book, struct placing *placing)
{
    placing->over = true;
    if (placing->draws) {
        an_book_page(book);
        placing->bottom = book->body.y + book->body.height;
    }
    placing->y[0] = placing->y[1] = book->body.y;
}

static void place_block(struct an_book *book, const struct an_report_section *section,
                        struct placing *placing)
{
    const bool wide = is_wide(section);
    const double width = wide ? book->body.width : (book->body.width - COLUMN_GAP_PT) / 2;
    const struct block block = block_of(book, section, width, placing->less);
    size_t side = placing->y[1] < placing->y[0];

    if (wide) {
        placing->y[0] = placing->y[1] = fmax(placing->y[0], placing->y[1]);
        side = 0;
    }
    if (placing->y[side] + block.height > placing->bottom) {
        side = !wide && placing->y[!side] + block.height <= placing->bottom ? !side : side;
        if (placing->y[side] + block.height > placing->bottom) {
            next_sheet(book, placing);
            side = 0;
        }
    }
    if (placing->draws) {
        draw_block(book, &block, book->body.x + (double)side * (width + COLUMN_GAP_PT),
                   placing->y[side], width);
    }
    placing->y[side] += block.height;
    placing->y[1] = wide ? placing->y[0] : placing->y[1];
}

static struct placing place_all(struct an_book *book, const struct an_report_page *page,
                                double bottom, size_t less, bool draws)
{
    struct placing placing = {{book->y, book->y}, bottom, less, draws, false};

    for (size_t i = 0; i < page->section_count; i++) {
        place_block(book, &page->sections[i], &placing);
    }
    return placing;
}

void an_compose_week_front(struct an_book *book, const struct an_report_page *page)
{
    const struct an_period_data *data = book->data;

    an_book_page(book);
    an_book_mark(book, "front");
    an_canvas_outline(book->canvas, 1, page->title, "front");
    an_book_say(book, AN_TYPE_LEAD, 3, an_say_week_lead(book->arena, data));
    an_book_say(book, AN_TYPE_SMALL, 6, an_say_week_comparison(book->arena, data));
    const double cautions = an_cautions_height(book, page);
    an_cautions_draw(book, page, cautions);
    const double bottom = book->body.y + book->body.height - cautions - 2;
    size_t less = 0;
    while (less < MOST_LESS && place_all(book, page, bottom, less, false).over) {
        less++;
    }
    const struct placing placed = place_all(book, page, bottom, less, true);
    book->y = fmax(placed.y[0], placed.y[1]);
}
