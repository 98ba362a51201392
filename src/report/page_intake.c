/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Intake health: what each station sent, what was held and why, who is silent. Responsible for
 * letting the sums be checked on paper (rows = taken + duplicate + held + blank).
 */
#include "report/book.h"
#include "report/wording.h"

#include <inttypes.h>
#include <string.h>

static const char *count_cell(struct an_book *book, int64_t count)
{
    return count ? an_book_text(book, an_say_count(book->arena, count)) : "0";
}

static void stations_table(struct an_book *book)
{
    static const struct an_table_column columns[] = {
        {"station", 3, AN_LEFT, true},        {"files", 0.8, AN_RIGHT, false},
        {"files held", 0.8, AN_RIGHT, false}, {"rows", 1.1, AN_RIGHT, false},
        {"= taken", 1.1, AN_RIGHT, false},    {"+ duplicate", 1.35, AN_RIGHT, false},
        {"+ held", 0.9, AN_RIGHT, false},     {"+ blank", 0.9, AN_RIGHT, false},
        {"seen again", 0.9, AN_RIGHT, false}, {"last heard of", 2.9, AN_LEFT, true}};
    enum { COLUMNS = sizeof columns / sizeof columns[0] };
    const struct an_period_data *data = book->data;
    const char **cells =
        an_arena_alloc(book->arena, (data->station_count + 1) * COLUMNS, sizeof *cells);
    if (!cells) {
        book->failed = true;
        return;
    }
    struct an_station_traffic sum = {0};
    for (size_t i = 0; i < data->station_count; i++) {
        const struct an_station_sheet *station = &data->stations[i];
        const struct an_station_traffic *traffic = &station->traffic;
        const char **row = cells + i * COLUMNS;
        row[0] = station->described
                     ? station->title
                     : an_book_text(book, an_arena_printf(book->arena, "%s (not described)",
                                                          station->title));
        const int64_t counts[] = {traffic->files, traffic->files_held, traffic->rows,
                                  traffic->taken, traffic->duplicate,  traffic->held,
                                  traffic->blank, traffic->sightings};
        for (size_t c = 0; c < 8; c++) {
            row[1 + c] = count_cell(book, counts[c]);
        }
        const char *when = an_say_time(book->arena, data->line->zone, station->last_us);
        row[9] = an_book_text(
            book,
            !station->silent ? when
            : station->last_us == AN_NO_INSTANT
                ? "never: SILENT"
                : an_arena_printf(book->arena, "%s: SILENT for %s", when,
                                  an_say_span(book->arena, data->as_of_us - station->last_us)));
        sum.files += traffic->files;
        sum.files_held += traffic->files_held;
        sum.rows += traffic->rows;
        sum.taken += traffic->taken;
        sum.duplicate += traffic->duplicate;
        sum.held += traffic->held;
        sum.blank += traffic->blank;
        sum.sightings += traffic->sightings;
    }
    const char **last = cells + data->station_count * COLUMNS;
    const int64_t sums[] = {sum.files,     sum.files_held, sum.rows,  sum.taken,
                            sum.duplicate, sum.held,       sum.blank, sum.sightings};
    last[0] = "all stations";
    for (size_t c = 0; c < 8; c++) {
        last[1 + c] = count_cell(book, sums[c]);
    }
    last[9] = "";
    const struct an_table table = {columns, COLUMNS, cells, data->station_count + 1, NULL, 8.0};
    an_book_table(book, "Stations", &table);
}

static void held_table(struct an_book *book)
{
    static const struct an_table_column columns[] = {
        {"reason", 1.6, AN_LEFT, false},   {"station", 1.4, AN_LEFT, false},
        {"rows", 0.6, AN_RIGHT, false},    {"files", 0.6, AN_RIGHT, false},
        {"for example", 4, AN_LEFT, true}, {"what to do", 3, AN_LEFT, true}};
    enum { COLUMNS = sizeof columns / sizeof columns[0] };
    const struct an_period_data *data = book->data;
    const char **cells =
        an_arena_alloc(book->arena, (data->held_count + 1) * COLUMNS, sizeof *cells);
    if (!cells) {
        book->failed = true;
        return;
    }
    for (size_t i = 0; i < data->held_count; i++) {
        const struct an_held_reason *held = &data->held[i];
        const char **row = cells + i * COLUMNS;
        row[0] = held->code;
        row[1] = held->station;
        row[2] = count_cell(book, held->rows);
        row[3] = count_cell(book, held->files);
        row[4] = held->example ? held->example : "";
        row[5] = held->advice ? held->advice : "";
    }
    bool advised = false;
    for (size_t i = 0; i < data->held_count; i++) {
        advised = advised || data->held[i].advice;
    }
    struct an_table_column shown[COLUMNS];
    memcpy(shown, columns, sizeof shown);
    if (!advised) { /* its room goes to the examples */
        shown[COLUMNS - 2].share += shown[COLUMNS - 1].share;
        shown[COLUMNS - 1] = (struct an_table_column){"", 0, AN_LEFT, false};
    }
    const struct an_table table = {shown, COLUMNS, cells, data->held_count, NULL, 8.0};
    an_book_table(book, "Held, by reason", &table);
}

static void files_table(struct an_book *book)
{
    static const struct an_table_column columns[] = {{"file", 2.4, AN_LEFT, true},
                                                     {"station", 1.3, AN_LEFT, false},
                                                     {"period", 1.6, AN_LEFT, true},
                                                     {"reason", 1.4, AN_LEFT, false},
                                                     {"what was wrong", 4.5, AN_LEFT, true}};
    enum { COLUMNS = sizeof columns / sizeof columns[0] };
    const struct an_period_data *data = book->data;
    const char **cells =
        an_arena_alloc(book->arena, (data->held_file_count + 1) * COLUMNS, sizeof *cells);
    if (!cells) {
        book->failed = true;
        return;
    }
    for (size_t i = 0; i < data->held_file_count; i++) {
        const struct an_file *file = &data->held_files[i];
        const char **row = cells + i * COLUMNS;
        row[0] = file->name ? file->name : "";
        row[1] = file->station ? file->station : "none fits";
        row[2] = file->first_us == AN_NO_INSTANT
                     ? "not known"
                     : an_say_time(book->arena, data->line->zone, file->first_us);
        row[3] = file->code ? file->code : "";
        row[4] =
            file->why_line
                ? an_book_text(book, an_arena_printf(book->arena, "line %" PRIu64 ": %s",
                                                     file->why_line, file->why ? file->why : ""))
            : file->why ? file->why
                        : "";
    }
    const struct an_table table = {columns, COLUMNS, cells, data->held_file_count, NULL, 8.0};
    an_book_table(book, "Files held whole", &table);
    if (data->held_files_more) {
        an_book_say(
            book, AN_TYPE_STRONG, 6,
            an_arena_printf(book->arena, "and %s: 'andamento held' lists all.",
                            an_say_many(book->arena, (int64_t)data->held_files_more, "more file")));
    }
}

static const char *lead_of(struct an_book *book)
{
    const struct an_period_data *data = book->data;
    struct an_arena *arena = book->arena;
    int64_t rows = 0;
    int64_t held = 0;
    int64_t files = 0;
    size_t silent = 0;
    for (size_t i = 0; i < data->station_count; i++) {
        rows += data->stations[i].traffic.rows;
        held += data->stations[i].traffic.held;
        files += data->stations[i].traffic.files;
        silent += data->stations[i].described && data->stations[i].silent;
    }
    const char *came = files ? an_arena_printf(arena, "%s with %s came in for this %s",
                                               an_say_many(arena, files, "file"),
                                               an_say_many(arena, rows, "row"), data->word)
                             : an_arena_printf(arena, "No file came in for this %s", data->word);
    const char *kept = held ? an_arena_printf(arena, "%s held", an_say_many(arena, held, "row"))
                            : "no row is held";
    const char *voices =
        silent ? an_arena_printf(arena, "%s silent", an_say_many(arena, (int64_t)silent, "station"))
               : "no station is silent";
    const char *whole =
        data->held_file_count
            ? an_arena_printf(arena, ", %s held whole",
                              an_say_many(arena,
                                          (int64_t)(data->held_file_count + data->held_files_more),
                                          "file"))
            : "";
    return an_arena_printf(arena, "%s; %s%s; %s.", came, kept, whole, voices);
}

/* Corrections and what files told of themselves; what finds no room is counted, never dropped. */
static void list_noted(struct an_book *book, size_t most)
{
    const struct an_text_list *noted = &book->data->noted;
    if (!noted->count) {
        return;
    }
    an_book_heading(book, "Noted");
    for (size_t i = 0; i < noted->count && i < most; i++) {
        an_book_say(book, AN_TYPE_SMALL, 2, an_book_text(book, noted->at[i]));
    }
    if (noted->count > most) {
        an_book_say(
            book, AN_TYPE_STRONG, 2,
            an_arena_printf(book->arena,
                            "and %s: the page intake of the report definition allows %zu "
                            "('most'); 'andamento correct list' tells all corrections.",
                            an_say_many(book->arena, (int64_t)(noted->count - most), "more note"),
                            most));
    }
    book->y += 6;
}

void an_compose_intake(struct an_book *book, const struct an_report_page *page)
{
    an_book_page(book);
    an_book_mark(book, "intake");
    an_canvas_outline(book->canvas, 1, page->title, "intake");
    an_book_say(book, AN_TYPE_LEAD, 8, lead_of(book));
    stations_table(book);
    if (book->data->held_count) {
        an_book_mark(book, "held");
        held_table(book);
    }
    if (book->data->held_file_count) {
        an_book_mark(book, "held-files");
        files_table(book);
    }
    list_noted(book, page->most);
    an_book_say(book, AN_TYPE_NOTE, 0,
                "Rows = taken + duplicate + held + blank. Held rows are kept as they came, with "
                "line and reason; they are in no chart. A file of which no time could be read "
                "stands in every report until it is settled.");
}
