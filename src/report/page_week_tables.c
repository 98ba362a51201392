/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The week's pages of tables: all streams with stability and capability; yields and rates whole. */
#include "report/book.h"
#include "report/week_lists.h"
#include "report/week_wording.h"
#include "report/wording.h"

#define LEAST_ROOM_PT 260.0 /* yields begin on the page in hand if it has as much */

static const char *capability_lead(struct an_book *book)
{
    const struct an_week_data *week = book->data->week;
    size_t with = 0;
    size_t below = 0;

    for (size_t i = 0; i < week->stream_count; i++) {
        const struct an_week_index *now = &week->streams[i].now;
        with += now->headroom > 0;
        below += now->headroom > 0 && now->headroom < 1;
    }
    const char *held = below == 0 ? "; each holds it"
                                  : an_arena_printf(book->arena, "; %zu of them %s not hold it",
                                                    below, below == 1 ? "does" : "do");
    return an_arena_printf(
        book->arena,
        "%zu of %s judged were stable. %zu %s a specification to be measured against%s%s.",
        week->stable, an_say_many(book->arena, (int64_t)week->judged, "stream"), with,
        with == 1 ? "has" : "have", with && held ? held : "",
        with ? " (Ppk, or limit over rate, of 1 and more)" : "");
}

void an_compose_week_capability(struct an_book *book, const struct an_report_page *page)
{
    const struct an_interval_list with = an_week_capability_list(book, SIZE_MAX);
    const struct an_interval_list without = an_week_without_index_list(book);

    an_book_page(book);
    an_book_mark(book, "capability");
    an_canvas_outline(book->canvas, 1, page->title, "capability");
    an_book_say(book, AN_TYPE_LEAD, 4, capability_lead(book));
    an_book_say(
        book, AN_TYPE_SMALL, 6,
        "Dot and bar: Ppk with its bounds at 95 %; upright stroke: last week. Of counts the limit over "
        "the rate stands in its place, so that 1 is the edge of the specification for all. Ppk takes "
        "the spread of all readings and describes the past; Cpk takes the short-term spread and is "
        "given for stable streams only. Outside: expected by a normal distribution, per million "
        "(counts: the rate). An arrow: beyond noise. 1.33 is common practice, not a rule.");
    if (with.row_count) {
        an_intervals_flow(book, page->title, &with);
    }
    if (without.row_count) {
        an_intervals_flow(book, "Without an index", &without);
    }
}

void an_compose_week_yield(struct an_book *book, const struct an_report_page *page)
{
    const struct an_interval_list yields = an_week_yield_list(book, SIZE_MAX, true);
    const struct an_interval_list rates = an_week_rate_list(book, SIZE_MAX, true);

    if (!yields.row_count && !rates.row_count) {
        return;
    }
    if (an_book_room(book) < LEAST_ROOM_PT) {
        an_book_page(book);
    }
    an_book_mark(book, "yield");
    an_canvas_outline(book->canvas, 1, page->title, "yield");
    if (yields.row_count) {
        an_book_say(
            book, AN_TYPE_SMALL, 6,
            "An item is good at a visit if every reading of every characteristic with a specification "
            "lies within it. First pass: of the items that came for the first time; final: of all, "
            "at their last visit. Bounds by Clopper and Pearson; rolled: the product of the first "
            "passes, its bounds joined on logarithms, as if each station failed items of its own: where "
            "one item fails at several, more pass all. This is what the specifications say, not a "
            "release of product.");
        an_intervals_flow(book, "Yield by station", &yields);
    }
    if (rates.row_count) {
        an_book_say(book, AN_TYPE_SMALL, 6,
                    "Rates with exact Poisson bounds, each characteristic by the values of each of "
                    "its splits; two characteristics are never added.");
        an_intervals_flow(book, "Events per million opportunities, by what parts them", &rates);
    }
}
