/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * From gathered data to a PDF: composed twice. Responsible for leaving a whole file or none; never
 * looks at a clock and never reads the store.
 *
 * Its one hard idea: the first pass draws the very same pages into a document that is thrown away,
 * so the number of pages and where each destination lies need no second layout to agree with.
 */
#include "report/shift_compose.h"

#include "andamento/base/number.h"
#include "report/book.h"
#include "report/wording.h"

#include <stdlib.h>

struct passed { /* what one pass leaves to the next */
    int pages;
    struct an_page_mark *marks;
    size_t mark_count;
};

static int64_t created_us(const struct an_shift_data *data)
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

static void compose_pages(struct an_book *book)
{
    const struct an_report_definition *definition = book->data->definition;
    for (size_t i = 0; i < definition->page_count && !book->failed; i++) {
        const struct an_report_page *page = &definition->pages[i];
        switch (page->kind) {
        case AN_PAGE_FRONT:
            an_compose_front(book, page);
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
        case AN_PAGE_KIND_COUNT:
            break;
        }
    }
    if (!book->open) { /* a definition of pages that have nothing to show */
        an_book_page(book);
        an_book_say(book, AN_TYPE_LEAD, 0, an_say_lead(book->arena, book->data));
    }
}

static enum an_status one_pass(const struct an_shift_data *data, const char *path,
                               const struct an_paper *paper, const struct an_document_info *info,
                               const struct passed *first, struct passed *now, struct an_error *err)
{
    struct an_book book = {.data = data, .paper = paper};
    if (first) {
        book.pages_known = first->pages;
        book.known = first->marks;
        book.known_count = first->mark_count;
    }
    enum an_status st = an_canvas_open_pdf(path, paper, info, &book.canvas, err);
    if (st) {
        return st;
    }
    book.arena = an_arena_open();
    if (book.arena) {
        compose_pages(&book);
    } else {
        book.failed = true;
    }
    *now = (struct passed){
        .pages = an_canvas_page(book.canvas), .marks = book.marks, .mark_count = book.mark_count};
    if (book.failed) {
        an_canvas_abandon(book.canvas);
        st = an_fail(err, AN_NO_MEMORY, "out of memory while composing the report");
    } else if (!first) {
        an_canvas_abandon(book.canvas);
    } else if (first->pages != now->pages) {
        an_canvas_abandon(book.canvas);
        st = an_fail(err, AN_BUG, "the report had %d pages when it was laid out and %d when drawn",
                     first->pages, now->pages);
    } else {
        st = an_canvas_close(book.canvas, err);
    }
    an_arena_close(book.arena);
    return st;
}

enum an_status an_shift_compose(const struct an_shift_data *data, const char *path,
                                const struct an_paper *paper, int *pages, struct an_error *err)
{
    struct passed first = {0};
    struct passed second = {0};
    struct an_arena *arena = an_arena_open();
    if (!arena) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    const char *line = data->line->title ? data->line->title : data->line->name;
    enum an_status st = AN_OK;
    const char *title = an_arena_printf(arena, "%s, %s, %s", data->title, line, data->label);
    const char *subject = an_say_lead(arena, data);
    const char *keywords = an_arena_printf(arena, "ledger size %llu, root %s",
                                           (unsigned long long)data->head.size, data->root_hex);
    if (!title || !subject || !keywords) {
        st = an_fail(err, AN_NO_MEMORY, "out of memory");
        goto done;
    }
    const struct an_document_info info = {.title = title,
                                          .author = line,
                                          .subject = subject,
                                          .keywords = keywords,
                                          .created_us = created_us(data)};
    st = one_pass(data, path, paper, &info, NULL, &first, err);
    if (!st) {
        st = one_pass(data, path, paper, &info, &first, &second, err);
    }
    if (!st) {
        *pages = second.pages;
    }
done:
    an_free(first.marks);
    an_free(second.marks);
    an_arena_close(arena);
    return st;
}
