/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * From gathered data to a PDF. Responsible for leaving a whole file or none; never looks at a clock
 * and never reads the store.
 *
 * Its one hard idea: page numbers stand in texts, and texts move pages. So the pages are composed
 * into a document that is thrown away, again and again, until a pass finds the page numbers it was
 * given; usually the third. No second layout has to agree with the drawing.
 */
#include "report/compose.h"

#include "andamento/base/number.h"
#include "report/book.h"
#include "report/week_wording.h"
#include "report/wording.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_PASSES = 9 };

struct passed { /* what one pass leaves to the next */
    int pages;
    struct an_page_mark *marks;
    size_t mark_count;
};

static int64_t created_us(const struct an_period_data *data)
{
    const char *epoch =
        getenv("SOURCE_DATE_EPOCH"); /* NOLINT(concurrency-mt-unsafe) nobody sets it */
    int64_t seconds = 0;
    if (epoch && !an_integer_parse(an_bytes_of(epoch), &seconds) && seconds >= 0 &&
        seconds < INT64_C(253402300800)) { /* the year 10000 */
        return seconds * AN_SECOND_US;
    }
    return data->newest_us;
}

static void compose_pages(struct an_book *book, const void *context)
{
    (void)context;
    const struct an_report_definition *definition = book->data->definition;
    for (size_t i = 0; i < definition->page_count && !book->failed; i++) {
        const struct an_report_page *page = &definition->pages[i];
        switch (page->kind) {
        case AN_PAGE_FRONT:
            if (book->data->week) {
                an_compose_week_front(book, page);
            } else {
                an_compose_front(book, page);
            }
            break;
        case AN_PAGE_STREAMS:
            an_compose_streams(book, page);
            break;
        case AN_PAGE_QUIET:
            an_compose_quiet(book, page);
            break;
        case AN_PAGE_INTAKE:
            an_compose_intake(book, page);
            break;
        case AN_PAGE_CAPABILITY:
            an_compose_week_capability(book, page);
            break;
        case AN_PAGE_YIELD:
            an_compose_week_yield(book, page);
            break;
        case AN_PAGE_VALUES: /* of reports on one item: item_pages.c */
        case AN_PAGE_MADE_OF:
        case AN_PAGE_CARRIED:
        case AN_PAGE_PICTURES:
        case AN_PAGE_SITES:
        case AN_PAGE_SIGNALS:
        case AN_PAGE_SOURCES:
        case AN_PAGE_KIND_COUNT:
            break;
        }
    }
    if (!book->open) { /* a definition of pages that have nothing to show */
        an_book_page(book);
        an_book_say(book, AN_TYPE_LEAD, 0,
                    book->data->week ? an_say_week_lead(book->arena, book->data)
                                     : an_say_lead(book->arena, book->data));
    }
}

static bool agree(const struct passed *a, const struct passed *b)
{
    bool same = a->pages == b->pages && a->mark_count == b->mark_count;
    for (size_t i = 0; same && i < a->mark_count; i++) {
        const struct an_page_mark *x = &a->marks[i];
        const struct an_page_mark *y = &b->marks[i];
        same = x->page == y->page && fabs(x->shrink_pt - y->shrink_pt) < 1e-6 &&
               !strcmp(x->name, y->name);
    }
    return same;
}

/* Composes with what `known` (NULL: nothing) tells of it. If it finds the same again, the document
 * is kept and *agreed set; otherwise it is thrown away. */
static enum an_status one_pass(const struct an_composer *composer,
                               const struct an_period_data *data, const char *path,
                               const struct an_paper *paper, const struct an_document_info *info,
                               const struct passed *known, struct passed *now, bool *agreed,
                               struct an_error *err)
{
    struct an_book book = {.data = data, .paper = paper};
    *agreed = false;
    if (known) {
        book.pages_known = known->pages;
        book.known = known->marks;
        book.known_count = known->mark_count;
    }
    /* the first pass only learns how many pages there are and what stands where */
    enum an_status st = known ? an_canvas_open_pdf(path, paper, info, &book.canvas, err)
                              : an_canvas_open_trial(paper, &book.canvas, err);
    if (st) {
        return st;
    }
    book.arena = an_arena_open();
    if (book.arena) {
        composer->pages(&book, composer->context);
    } else {
        book.failed = true;
    }
    *now = (struct passed){
        .pages = an_canvas_page(book.canvas), .marks = book.marks, .mark_count = book.mark_count};
    if (book.failed) {
        an_canvas_abandon(book.canvas);
        st = an_fail(err, AN_NO_MEMORY, "out of memory while composing the report");
    } else if (known && agree(known, now)) {
        st = an_canvas_close(book.canvas, err);
        *agreed = !st;
    } else {
        an_canvas_abandon(book.canvas);
    }
    an_arena_close(book.arena);
    return st;
}

enum an_status an_report_compose(const struct an_period_data *data, const char *path,
                                 const struct an_paper *paper, int *pages, struct an_error *err)
{
    struct an_arena *arena = an_arena_open();
    if (!arena) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    const struct an_composer composer = {.pages = compose_pages,
                                         .subject = data->week ? an_say_week_lead(arena, data)
                                                               : an_say_lead(arena, data)};
    const enum an_status st = an_report_compose_by(&composer, data, path, paper, pages, err);
    an_arena_close(arena);
    return st;
}

enum an_status an_report_compose_by(const struct an_composer *composer,
                                    const struct an_period_data *data, const char *path,
                                    const struct an_paper *paper, int *pages, struct an_error *err)
{
    struct passed known = {0};
    struct passed now = {0};
    bool agreed = false;
    struct an_arena *arena = an_arena_open();
    if (!arena) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    const char *line = data->line->title ? data->line->title : data->line->name;
    enum an_status st = AN_OK;
    const char *title = an_arena_printf(arena, "%s, %s, %s", data->title, line, data->now.label);
    const char *keywords = an_arena_printf(arena, "ledger size %llu, root %s",
                                           (unsigned long long)data->head.size, data->root_hex);
    if (!title || !composer->subject || !keywords) {
        st = an_fail(err, AN_NO_MEMORY, "out of memory");
        goto done;
    }
    const struct an_document_info info = {.title = title,
                                          .author = line,
                                          .subject = composer->subject,
                                          .keywords = keywords,
                                          .created_us = created_us(data)};
    for (int pass = 0; !st && !agreed && pass < MOST_PASSES; pass++) {
        st = one_pass(composer, data, path, paper, &info, pass ? &known : NULL, &now, &agreed, err);
        an_free(known.marks);
        known = now;
        now = (struct passed){0};
    }
    if (!st && !agreed) {
        st = an_fail(err, AN_BUG, "the report's %d pages did not settle in %d passes", known.pages,
                     MOST_PASSES);
    }
    if (!st) {
        *pages = known.pages;
    }
done:
    an_free(known.marks);
    an_arena_close(arena);
    return st;
}
