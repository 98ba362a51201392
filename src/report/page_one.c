/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Page one: what changed, what is at risk, what is missing, what is due. Responsible for fitting
 * the answers on one page, worst first; must never leave out silently what did not fit.
 *
 * Its one hard idea: the three later answers are measured first and keep their room; the cards of
 * what changed take the rest, and what finds no room follows as a table on the next page.
 */
#include "report/book.h"
#include "report/bullets.h"
#include "report/plots.h"
#include "report/wording.h"

#include <math.h>
#include <string.h>

#define CARD_CODE_PT 48.0
#define CARD_COUNT_PT 54.0
#define CARD_REACTION_PT 88.0
#define CARD_GAP_PT 8.0
#define CARD_LEAST_PT 58.0
#define CARD_GROW_PT 30.0
#define COLUMN_GAP_PT 16.0

static const struct an_type title_type = {8.5, AN_BOLD, AN_INK, AN_LEFT};
static const struct an_type code_type = {9.0, AN_BOLD, AN_PAPER, AN_CENTRE};

struct card {
    const struct an_period_signal *signal;
    const char *sentence;
    double text_width, chart_width, height;
};

static struct card card_of(struct an_book *book, const struct an_period_signal *one)
{
    struct card card = {.signal = one};
    const double rest =
        book->body.width - CARD_CODE_PT - CARD_COUNT_PT - CARD_REACTION_PT - 2 * CARD_GAP_PT;
    card.chart_width = rest * 0.42;
    card.text_width = rest - card.chart_width - CARD_GAP_PT;
    card.sentence = one->signal.brief      ? one->signal.brief
                    : one->signal.sentence ? one->signal.sentence
                                           : book->data->sheets[one->sheet].title;
    card.height = 9 + an_text_height(book->canvas, card.text_width, an_book_type(AN_TYPE_BODY),
                                     card.sentence);
    if (card.height < CARD_LEAST_PT) {
        card.height = CARD_LEAST_PT;
    }
    return card;
}

/* Code, whether it is new, where its page is. */
static void draw_code(struct an_book *book, const struct an_period_signal *one, double x, double y)
{
    const struct an_type *note = an_book_type(AN_TYPE_NOTE);
    const struct an_box flag = {x, y + 5, CARD_CODE_PT - 8, 14};
    an_draw_rectangle(book->canvas, &flag, AN_SIGNAL, 1.0);
    an_text_draw_fitted(book->canvas, flag.x + 1, flag.y + 10.3, flag.width - 2, &code_type,
                        one->signal.code ? one->signal.code : "?");
    const char *lines[3] = {one->is_new ? "new" : "going on",
                            one->signal.record.rule == AN_RULE_SCATTER ? "scatter"
                            : one->signal.record.panel == 1            ? "spread"
                                                                       : "",
                            an_book_page_words(book, one->name)};
    double baseline = y + 28;
    for (size_t i = 0; i < 3; i++) {
        if (*lines[i]) {
            an_text_draw_fitted(book->canvas, x, baseline, CARD_CODE_PT - 6, note, lines[i]);
            baseline += 9;
        }
    }
}

/* The numbers by which the cards are ordered, where the eye can run down them. */
static void draw_counts(struct an_book *book, const struct an_period_signal *one, double x,
                        double y)
{
    const struct an_type large = {14.0, AN_BOLD, AN_INK, AN_LEFT};
    const struct an_type small = {7.5, AN_REGULAR, AN_INK, AN_LEFT};
    const double width = CARD_COUNT_PT - 4;
    const struct an_signal *signal = &one->signal;
    if (signal->record.rule == AN_RULE_SCATTER) { /* news of the limits: no item carries it */
        return;
    }
    an_text_draw_fitted(book->canvas, x, y + 17, width, &large,
                        an_say_count(book->arena, (int64_t)signal->item_count));
    an_text_draw_fitted(book->canvas, x, y + 27, width, &small,
                        signal->item_count == 1
                            ? one->kind
                            : an_book_text(book, an_say_plural(book->arena, one->kind)));
    if (signal->next_kind) {
        an_text_draw_fitted(
            book->canvas, x, y + 37, width, &small,
            an_book_text(
                book, an_arena_printf(book->arena, "%s in %s",
                                      an_say_count(book->arena, (int64_t)signal->product_in_next),
                                      an_say_plural(book->arena, signal->next_kind))));
    }
}

/* As many words of the text as the height holds. */
static const char *as_much_as_fits(struct an_book *book, const char *text, double width,
                                   double height)
{
    const struct an_type *note = an_book_type(AN_TYPE_NOTE);
    const char *shown = text;
    size_t length = strlen(text);
    while (shown && an_text_height(book->canvas, width, note, shown) > height) {
        while (length && text[length - 1] != ' ') {
            length--;
        }
        if (!length) {
            return "...";
        }
        length--;
        shown = an_arena_printf(book->arena, "%.*s ...", (int)length, text);
    }
    book->failed = book->failed || !shown;
    return shown ? shown : "";
}

/* The blank box that a person fills in by hand, or what was answered. */
static void reaction_box(struct an_book *book, const struct an_box *box,
                         const struct an_period_signal *one)
{
    const struct an_type *note = an_book_type(AN_TYPE_NOTE);
    an_draw_frame(book->canvas, box, 0.6, AN_GREY);
    if (!one->signal.open) {
        const double width = box->width - 8;
        an_text_draw_fitted(
            book->canvas, box->x + 4, box->y + 9, width, note,
            an_book_text(book, an_arena_printf(book->arena, "%s:",
                                               one->answered_by ? one->answered_by : "answered")));
        if (one->answer) {
            an_text_draw(book->canvas, box->x + 4, box->y + 11, width, note,
                         as_much_as_fits(book, one->answer, width, box->height - 13));
        }
        return;
    }
    an_text_draw_fitted(book->canvas, box->x + 4, box->y + 9, box->width - 8, note, "reaction");
    const double y = box->y + box->height - 14;
    an_draw_line(book->canvas, box->x, y, box->x + box->width, y, 0.4, AN_RAIL);
    an_text_draw_fitted(book->canvas, box->x + 4, y + 10, box->width - 8, note, "initials, time");
}

static void draw_card(struct an_book *book, const struct card *card)
{
    struct an_canvas *canvas = book->canvas;
    const struct an_period_signal *one = card->signal;
    const struct an_stream_sheet *sheet = &book->data->sheets[one->sheet];
    const double x = book->body.x;
    const double y = book->y;
    draw_code(book, one, x, y);
    const double text_x = x + CARD_CODE_PT;
    an_text_draw(canvas, text_x, y + 4, card->text_width, an_book_type(AN_TYPE_BODY),
                 card->sentence);
    draw_counts(book, one, text_x + card->text_width + CARD_GAP_PT, y);
    const int panel = one->signal.record.panel == 1 && sheet->panel[1].count ? 1 : 0;
    const struct an_box chart = {text_x + card->text_width + CARD_GAP_PT + CARD_COUNT_PT, y + 2,
                                 card->chart_width, card->height - 3};
    const struct an_panel_sheet *shown = &sheet->panel[panel];
    const char *statistic = shown->brief       ? shown->brief
                            : shown->statistic ? shown->statistic
                                               : "value";
    const bool unitless = !*sheet->unit || !strcmp(sheet->unit, "1");
    an_plot_small(book, &chart, sheet, panel,
                  unitless ? statistic
                           : an_book_text(book, an_arena_printf(book->arena, "%s, %s", statistic,
                                                                sheet->unit)));
    const struct an_box box = {x + book->body.width - CARD_REACTION_PT, y + 5, CARD_REACTION_PT,
                               card->height - 10};
    reaction_box(book, &box, one);
    const struct an_box link = {x, y, book->body.width - CARD_REACTION_PT - CARD_GAP_PT,
                                card->height};
    an_canvas_link(canvas, &link, one->name);
    book->y += card->height;
    an_draw_line(canvas, x, book->y, x + book->body.width, book->y, 0.4, AN_RAIL);
}

/* The signals that found no room: one row each, still with room to write. */
static void rest_as_table(struct an_book *book, size_t first, const char *title)
{
    static const struct an_table_column columns[] = {
        {"code", 0.9, AN_LEFT, false},      {"stream", 4.2, AN_LEFT, true},
        {"since", 2.0, AN_LEFT, false},     {"size", 1.5, AN_RIGHT, false},
        {"carrying", 1.3, AN_RIGHT, false}, {"in next", 0.9, AN_RIGHT, false},
        {"page", 0.7, AN_RIGHT, false},     {"reaction, initials", 2.0, AN_LEFT, false}};
    enum { COLUMNS = sizeof columns / sizeof columns[0] };
    const struct an_period_data *data = book->data;
    const size_t count = data->signal_count - first;
    const char **cells = an_arena_alloc(book->arena, count * COLUMNS, sizeof *cells);
    const char **links = an_arena_alloc(book->arena, count, sizeof *links);
    if (!cells || !links) {
        book->failed = true;
        return;
    }
    for (size_t i = 0; i < count; i++) {
        const struct an_period_signal *one = &data->signals[first + i];
        const struct an_signal *signal = &one->signal;
        const struct an_stream_sheet *sheet = &data->sheets[one->sheet];
        const char **row = cells + i * COLUMNS;
        const int page = an_book_page_of(book, one->name);
        row[0] = signal->code;
        row[1] = sheet->title;
        row[2] = an_say_time(book->arena, data->line->zone,
                             signal->has_change ? signal->onset_us : signal->record.first_us);
        /* an event has no size beside its gap, a value off the scale none at all */
        row[3] = sheet->form == AN_FORM_GAPS || !isfinite(signal->size)
                     ? "-"
                     : an_say_measure(book->arena, signal->size,
                                      signal->record.rule == AN_RULE_SCATTER ? 1 : sheet->decimals,
                                      signal->unit);
        row[4] = signal->record.rule == AN_RULE_SCATTER
                     ? "-"
                     : an_say_many(book->arena, (int64_t)signal->item_count, one->kind);
        row[5] =
            signal->next_kind ? an_say_count(book->arena, (int64_t)signal->product_in_next) : "-";
        row[6] = page ? an_arena_printf(book->arena, "%d", page) : "";
        row[7] = signal->open       ? "................................"
                 : one->answered_by ? one->answered_by
                                    : "answered";
        links[i] = one->name;
    }
    const struct an_table table = {columns, COLUMNS, cells, count, links, 8.0};
    an_book_table(book, title, &table);
}

/* How many cards fit above `bottom`, at least one; *grow is what each may be higher. */
static size_t cards_that_fit(struct an_book *book, size_t most, double bottom, double *grow)
{
    const struct an_period_data *data = book->data;
    double y = book->y + 18;
    size_t fit = 0;
    while (fit < data->signal_count && fit < most) {
        const double height = card_of(book, &data->signals[fit]).height;
        const bool last = fit + 1 == data->signal_count;
        if (y + height + (last ? 0 : 14) > bottom && fit) {
            break;
        }
        y += height;
        fit++;
    }
    const double spare = bottom - y - (fit < data->signal_count ? 14 : 0);
    *grow = fit && spare > 0 ? spare / (double)fit : 0;
    *grow = *grow > CARD_GROW_PT ? CARD_GROW_PT : *grow;
    return fit;
}

/* Cards while they fit above `bottom`; returns how many signals were shown. */
static size_t draw_changed(struct an_book *book, const struct an_report_section *section,
                           double bottom)
{
    const struct an_period_data *data = book->data;
    if (!data->signal_count) {
        return 0;
    }
    double grow = 0;
    const size_t shown = section->most ? cards_that_fit(book, section->most, bottom, &grow) : 0;
    for (size_t i = 0; i < shown; i++) {
        struct card card = card_of(book, &data->signals[i]);
        card.height += grow;
        if (!i) {
            const double chart_x =
                book->body.x + CARD_CODE_PT + card.text_width + CARD_GAP_PT + CARD_COUNT_PT;
            book->y += an_plot_axis(book, chart_x, book->y - 2, card.chart_width) - 2;
        }
        draw_card(book, &card);
    }
    if (shown < data->signal_count) {
        const char *where = an_book_page_words(book, "more-signals");
        const char *text = an_book_text(
            book, an_arena_printf(book->arena, "and %s, with less product at risk: listed on %s",
                                  an_say_many(book->arena, (int64_t)(data->signal_count - shown),
                                              "more signal"),
                                  *where ? where : "the next page"));
        const struct an_box link = {book->body.x, book->y, book->body.width, 12};
        an_text_draw_baseline(book->canvas, book->body.x + CARD_CODE_PT, book->y + 10, &title_type,
                              text);
        an_canvas_link(book->canvas, &link, "more-signals");
        book->y += 14;
    }
    return shown;
}

/* ---- the three other answers ---------------------------------------------------------------- */
struct answer {
    const char *title;
    struct an_bullets bullets;
    double height;
};

static struct answer answer_of(struct an_book *book, const struct an_report_section *section,
                               double width)
{
    struct answer answer = {.title = section->title};
    answer.bullets = section->kind == AN_SECTION_AT_RISK   ? an_bullets_at_risk(book)
                     : section->kind == AN_SECTION_MISSING ? an_bullets_missing(book)
                                                           : an_bullets_due(book);
    answer.height = 18 + an_bullets_height(book, &answer.bullets, width) + 6;
    return answer;
}

static void draw_answer(struct an_book *book, const struct answer *answer, double x, double width)
{
    an_text_draw_fitted(book->canvas, x, book->y + 10, width, an_book_type(AN_TYPE_SECTION),
                        answer->title);
    an_draw_line(book->canvas, x, book->y + 14, x + width, book->y + 14, 0.5, AN_RAIL);
    an_bullets_draw(book, &answer->bullets, x, book->y + 18, width);
}

#define NOTES_LEAST_PT 62.0
#define NOTES_MOST_PT 230.0

/* Room to write for the one who goes and the one who comes, where the page has it. */
static void draw_notes(struct an_book *book, double bottom)
{
    struct an_canvas *canvas = book->canvas;
    const struct an_type *note = an_book_type(AN_TYPE_NOTE);
    double room = bottom - book->y;
    if (room < NOTES_LEAST_PT) {
        return;
    }
    room = room > NOTES_MOST_PT ? NOTES_MOST_PT : room;
    const double x = book->body.x;
    const double width = book->body.width;
    const double y = book->y;
    an_text_draw_fitted(canvas, x, y + 10, width, an_book_type(AN_TYPE_SECTION), "Handover notes");
    an_draw_line(canvas, x, y + 14, x + width, y + 14, 0.5, AN_RAIL);
    const double sign = y + room - 6;
    for (double line = y + 34; line <= sign - 22; line += 19) {
        an_draw_line(canvas, x, line, x + width, line, 0.4, AN_PALE);
    }
    const double half_width = (width - COLUMN_GAP_PT) / 2;
    const double right = x + half_width + COLUMN_GAP_PT;
    an_draw_line(canvas, x, sign - 9, x + half_width, sign - 9, 0.5, AN_GREY);
    an_draw_line(canvas, right, sign - 9, right + half_width, sign - 9, 0.5, AN_GREY);
    an_text_draw_fitted(canvas, x, sign, half_width, note, "handed over by, time");
    an_text_draw_fitted(canvas, right, sign, half_width, note, "taken over by, time");
    book->y += room;
}

double an_cautions_height(struct an_book *book, const struct an_report_page *page)
{
    double height = page->caution_count ? 6 : 0;
    for (size_t i = 0; i < page->caution_count; i++) {
        height += an_text_height(book->canvas, book->body.width, an_book_type(AN_TYPE_NOTE),
                                 page->cautions[i]);
    }
    return height;
}

void an_cautions_draw(struct an_book *book, const struct an_report_page *page, double height)
{
    double y = book->body.y + book->body.height - height;
    if (page->caution_count) {
        an_draw_line(book->canvas, book->body.x, y, book->body.x + book->body.width, y, 0.4,
                     AN_RAIL);
    }
    y += 3;
    for (size_t i = 0; i < page->caution_count; i++) {
        y += an_text_draw(book->canvas, book->body.x, y, book->body.width,
                          an_book_type(AN_TYPE_NOTE), page->cautions[i]);
    }
}

/* Two answers next to each other stand side by side; this is how sections are dealt out. */
static bool paired(const struct an_report_page *page, size_t i)
{
    return i + 1 < page->section_count && page->sections[i].kind != AN_SECTION_CHANGED &&
           page->sections[i + 1].kind != AN_SECTION_CHANGED &&
           page->sections[i].kind != AN_SECTION_AT_RISK;
}

static double half(const struct an_book *book)
{
    return (book->body.width - COLUMN_GAP_PT) / 2;
}

/* Room that sections from `first` on take, without the cards. */
static double later_height(struct an_book *book, const struct an_report_page *page, size_t first)
{
    double height = 0;
    for (size_t i = first; i < page->section_count; i++) {
        if (page->sections[i].kind == AN_SECTION_CHANGED) {
            height += 18 + (book->data->signal_count ? CARD_LEAST_PT + 34 : 0);
        } else if (paired(page, i)) {
            const double a = answer_of(book, &page->sections[i], half(book)).height;
            const double b = answer_of(book, &page->sections[i + 1], half(book)).height;
            height += a > b ? a : b;
            i++;
        } else {
            height += answer_of(book, &page->sections[i], book->body.width).height;
        }
    }
    return height;
}

static void draw_lead(struct an_book *book)
{
    const struct an_period_data *data = book->data;
    an_book_mark(book, "front");
    an_canvas_outline(book->canvas, 1, "Page one", "front");
    an_book_say(book, AN_TYPE_LEAD, 3, an_say_lead(book->arena, data));
    an_book_say(book, AN_TYPE_SMALL, 7, an_say_comparison(book->arena, data));
}

void an_compose_front(struct an_book *book, const struct an_report_page *page)
{
    an_book_page(book);
    draw_lead(book);
    const double cautions = an_cautions_height(book, page);
    size_t shown = book->data->signal_count;
    const char *changed_title = NULL;
    for (size_t i = 0; i < page->section_count; i++) {
        const struct an_report_section *section = &page->sections[i];
        if (section->kind == AN_SECTION_CHANGED) {
            const double bottom =
                book->body.y + book->body.height - cautions - later_height(book, page, i + 1) - 6;
            changed_title = section->title;
            an_book_heading(book, section->title);
            if (!book->data->signal_count) {
                an_book_say(book, AN_TYPE_BODY, 0,
                            book->data->judged_streams
                                ? "Nothing signalled."
                                : "Nothing could signal: nothing was judged.");
            }
            shown = draw_changed(book, section, bottom);
            book->y += 8;
            continue;
        }
        if (paired(page, i)) {
            const struct answer a = answer_of(book, section, half(book));
            const struct answer b = answer_of(book, &page->sections[i + 1], half(book));
            draw_answer(book, &a, book->body.x, half(book));
            draw_answer(book, &b, book->body.x + half(book) + COLUMN_GAP_PT, half(book));
            book->y += a.height > b.height ? a.height : b.height;
            i++;
        } else {
            const struct answer a = answer_of(book, section, book->body.width);
            draw_answer(book, &a, book->body.x, book->body.width);
            book->y += a.height;
        }
    }
    draw_notes(book, book->body.y + book->body.height - cautions - 4);
    an_cautions_draw(book, page, cautions);
    if (shown < book->data->signal_count) {
        an_book_page(book);
        an_book_mark(book, "more-signals");
        rest_as_table(
            book, shown,
            an_book_text(book, an_arena_printf(book->arena, "%s: the other signals",
                                               changed_title ? changed_title : "What changed")));
    }
}
