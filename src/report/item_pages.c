/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Pages of a report on one item, in the order of its definition, and from a store to the PDF.
 * Responsible for reading first and drawing afterwards; a page with nothing to say is left out.
 */
#include "report/item_pages.h"

#include "report/compose.h"
#include "report/wording.h"

#include <math.h>
#include <string.h>

#define COUNT_OF(array) (sizeof(array) / sizeof((array)[0]))
enum {
    MOST_COLUMNS = 6,       /* of values beside each other */
    MOST_ONE_BY_ONE = 1000, /* of what carries a batch: more are told by place */
};

static void start(struct an_book *book, const struct an_report_page *page, const char *name)
{
    an_book_page(book);
    an_book_mark(book, name);
    an_canvas_outline(book->canvas, 1, page->title, name);
    an_book_say(book, AN_TYPE_LEAD, 4, page->title);
}

/* ---- values -------------------------------------------------------------------------------------------- */
/* The title of a column, what tells it from its neighbours first: heads are cut at their end. */
static const char *column_head(struct an_book *book, const struct an_value_column *column)
{
    const struct an_characteristic *c = column->characteristic;
    const char *own = c->title ? c->title : c->name;
    const size_t length = strlen(own);
    const bool unitless = !*column->unit || !strcmp(column->unit, "1");
    const bool split =
        !strncmp(column->title, own, length) && !strncmp(column->title + length, ", ", 2);
    return an_book_text(book, an_arena_printf(book->arena, "%s%s%s%s%s",
                                              split ? column->title + length + 2 : column->title,
                                              split ? ": " : "", split ? own : "",
                                              unitless ? "" : ", ", unitless ? "" : column->unit));
}

/* One line a part; the furthest out of a characteristic's streams, its rule behind it. */
static void parts_table(struct an_book *book, const struct an_item_data *data, size_t first,
                        size_t count)
{
    const struct an_item_values *values = &data->values;
    struct an_table_column columns[2 + MOST_COLUMNS] = {{"place", 0.55, AN_LEFT, false},
                                                        {data->part_title, 1.35, AN_LEFT, false}};
    const size_t width = 2 + count;
    const char **cells = an_arena_alloc(book->arena, data->part_count * width + 1, sizeof *cells);
    if (!cells) {
        book->failed = true;
        return;
    }
    for (size_t c = 0; c < count; c++) {
        columns[2 + c] = (struct an_table_column){column_head(book, &values->columns[first + c]),
                                                  1.15, AN_RIGHT, false};
    }
    for (size_t p = 0; p < data->part_count; p++) {
        const struct an_item_part *part = &data->parts[p];
        const char **row = cells + p * width;
        row[0] = an_arena_printf(book->arena, "%lld,%lld", (long long)part->row,
                                 (long long)part->column);
        row[1] = part->item.serial;
        for (size_t c = 0; c < count; c++) {
            const struct an_value_stream *stream = NULL;
            const struct an_item_value *value = an_column_value(values, p, first + c, &stream);
            if (!value) {
                row[2 + c] = "-";
                continue;
            }
            const char *number =
                an_say_number(book->arena, value->value, values->columns[first + c].decimals);
            row[2 + c] = an_arena_printf(book->arena, "%s%s%s", value->code ? value->code : "",
                                         value->code ? "  " : "", an_book_text(book, number));
        }
    }
    const struct an_table table = {columns, width, cells, data->part_count, NULL, 7.5};
    const char *stations = "";
    for (size_t c = first; c < first + count; c++) {
        const struct an_station *station = values->columns[c].station;
        if (c == first || station != values->columns[c - 1].station) {
            stations = an_book_text(
                book, an_arena_printf(book->arena, "%s%s%s", stations, *stations ? ", " : "",
                                      station->title ? station->title : station->name));
        }
    }
    an_book_table(book, stations, &table);
}

static const char *span_words(struct an_book *book, double low, double high, int decimals)
{
    if (!isfinite(low) && !isfinite(high)) {
        return "-";
    }
    const char *from = isfinite(low) ? an_say_number(book->arena, low, decimals) : "-";
    const char *until = isfinite(high) ? an_say_number(book->arena, high, decimals) : "-";
    return an_book_text(book, an_arena_printf(book->arena, "%s to %s", an_book_text(book, from),
                                              an_book_text(book, until)));
}

static const char *spec_words(struct an_book *book, const struct an_characteristic *c)
{
    if (!isfinite(c->lsl) && !isfinite(c->usl)) {
        return "-";
    }
    const double scale = c->kind == AN_COUNTED ? c->per : 1;
    if (!isfinite(c->lsl)) {
        return an_book_text(
            book, an_arena_printf(book->arena, "to %s", an_say_plain(book->arena, c->usl * scale)));
    }
    if (!isfinite(c->usl)) {
        return an_book_text(book, an_arena_printf(book->arena, "from %s",
                                                  an_say_plain(book->arena, c->lsl * scale)));
    }
    return an_book_text(book, an_arena_printf(book->arena, "%s to %s",
                                              an_say_plain(book->arena, c->lsl * scale),
                                              an_say_plain(book->arena, c->usl * scale)));
}

/* The limits that the values were judged by. */
static void limits_table(struct an_book *book, const struct an_item_values *values,
                         const char *heading)
{
    static const struct an_table_column columns[] = {
        {"stream", 3.0, AN_LEFT, true},           {"centre", 0.9, AN_RIGHT, false},
        {"control limits", 1.7, AN_RIGHT, false}, {"specification", 1.3, AN_RIGHT, false},
        {"values", 0.7, AN_RIGHT, false},         {"beyond", 0.7, AN_RIGHT, false},
        {"limits in force", 3.6, AN_LEFT, true}};
    const char **cells =
        an_arena_alloc(book->arena, values->stream_count * COUNT_OF(columns) + 1, sizeof *cells);
    size_t rows = 0;
    if (!cells) {
        book->failed = true;
        return;
    }
    for (size_t k = 0; k < values->stream_count; k++) {
        const struct an_value_stream *stream = &values->streams[k];
        if (!stream->items) {
            continue;
        }
        const char **row = cells + rows++ * COUNT_OF(columns);
        row[0] = stream->title;
        row[1] = isfinite(stream->centre)
                     ? an_say_number(book->arena, stream->centre, stream->decimals)
                     : "-";
        row[2] = span_words(book, stream->lcl, stream->ucl, stream->decimals);
        row[3] = spec_words(book, stream->characteristic);
        row[4] = an_say_count(book->arena, (int64_t)stream->items);
        row[5] = stream->beyond ? an_say_count(book->arena, (int64_t)stream->beyond) : "none";
        row[6] = !stream->locked ? "none were in force"
                 : stream->vary
                     ? an_arena_printf(book->arena,
                                       "%s (they differ from value to value; these held last)",
                                       stream->locked)
                     : stream->locked;
    }
    const struct an_table table = {columns, COUNT_OF(columns), cells, rows, NULL, 7.5};
    an_book_table(book, heading, &table);
}

/* Of a single item: one line a stream. */
static void item_table(struct an_book *book, const struct an_item_data *data)
{
    static const struct an_table_column columns[] = {{"stream", 2.7, AN_LEFT, true},
                                                     {"value", 0.9, AN_RIGHT, false},
                                                     {"unit", 1.1, AN_LEFT, false},
                                                     {"control limits", 2.0, AN_RIGHT, false},
                                                     {"specification", 1.3, AN_RIGHT, false},
                                                     {"sigmas", 0.9, AN_RIGHT, false},
                                                     {"met", 0.6, AN_LEFT, false},
                                                     {"measured", 1.7, AN_LEFT, false},
                                                     {"limits in force", 2.7, AN_LEFT, true}};
    const struct an_item_values *values = &data->values;
    const char **cells =
        an_arena_alloc(book->arena, values->stream_count * COUNT_OF(columns) + 1, sizeof *cells);
    size_t rows = 0;
    if (!cells) {
        book->failed = true;
        return;
    }
    for (size_t k = 0; k < values->stream_count; k++) {
        const struct an_value_stream *stream = &values->streams[k];
        const struct an_item_value *value = &values->at[k];
        if (!value->times) {
            continue;
        }
        const char **row = cells + rows++ * COUNT_OF(columns);
        row[0] = stream->title;
        row[1] = an_say_number(book->arena, value->value, stream->decimals);
        row[2] = !strcmp(stream->unit, "1") ? "" : stream->unit;
        row[3] = span_words(book, value->lcl, value->ucl, stream->decimals);
        row[4] = spec_words(book, stream->characteristic);
        row[5] = isfinite(value->z) ? an_say_number(book->arena, value->z, 1) : "-";
        row[6] = value->code ? value->code : "-";
        row[7] = an_say_time(book->arena, data->line->zone, value->sample.at_us);
        /* the reason is left to `andamento limits show`: "locked WHEN; by WHOM: why" */
        const char *why = stream->locked ? strstr(stream->locked, ": ") : NULL;
        row[8] = !stream->locked ? "none were in force"
                 : why ? an_arena_copy(book->arena, stream->locked, (size_t)(why - stream->locked))
                       : stream->locked;
    }
    const struct an_table table = {columns, COUNT_OF(columns), cells, rows, NULL, 7.5};
    an_book_table(book, NULL, &table);
}

static void seams_table(struct an_book *book, const struct an_item_data *data)
{
    for (size_t side = 0; side < 2; side++) {
        const struct an_wall_seams *seams = &data->seams[side];
        if (!seams->count) {
            continue;
        }
        double low = INFINITY;
        double high = -INFINITY;
        double sum = 0;
        for (size_t i = 0; i < seams->count; i++) {
            low = fmin(low, seams->at[i].value);
            high = fmax(high, seams->at[i].value);
            sum += seams->at[i].value;
        }
        an_book_say(
            book, AN_TYPE_BODY, 4,
            an_arena_printf(
                book->arena, "%s, %s %s: mean %s, from %s to %s %s; beyond the specification: %s.",
                seams->title, an_say_many(book->arena, (int64_t)seams->count, "seam"),
                side ? "below their place" : "to the right of their place",
                an_say_number(book->arena, sum / (double)seams->count, seams->decimals),
                an_say_number(book->arena, low, seams->decimals),
                an_say_number(book->arena, high, seams->decimals),
                strcmp(seams->unit, "1") ? seams->unit : "",
                seams->beyond ? an_say_count(book->arena, (int64_t)seams->beyond) : "none"));
    }
}

void an_item_values_page(struct an_book *book, const struct an_item_data *data,
                         const struct an_report_page *page)
{
    const struct an_item_values *values = &data->values;
    if (!values->column_count && !data->own.column_count) {
        return;
    }
    start(book, page, "values");
    if (data->kind != AN_REPORT_WALL) {
        item_table(book, data);
        return;
    }
    an_book_say(
        book, AN_TYPE_SMALL, 6,
        "By row and column of the place. Before a value stands the first rule that it met, by "
        "the limits in force when it was made; of streams that share a column the value "
        "furthest from its centre is told.");
    seams_table(book, data);
    for (size_t first = 0; first < values->column_count;) {
        /* shared out evenly over as many tables as it takes */
        const size_t tables = (values->column_count - first + MOST_COLUMNS - 1) / MOST_COLUMNS;
        const size_t count = (values->column_count - first + tables - 1) / tables;
        parts_table(book, data, first, count);
        first += count;
    }
    limits_table(book, values,
                 an_book_text(book, an_arena_printf(book->arena, "Limits in force of the %s",
                                                    an_say_plural(book->arena, data->part_title))));
    if (data->own.column_count) {
        limits_table(book, &data->own,
                     an_book_text(book, an_arena_printf(book->arena, "Limits in force of the %s",
                                                        data->kind_title)));
    }
}

static void whole_table(struct an_book *book, const char *heading, struct an_item_table table)
{
    an_book_table(book, heading, &table.table);
}

/* ---- the other pages ------------------------------------------------------------------------------------- */
static void made_of_page(struct an_book *book, const struct an_item_data *data,
                         const struct an_report_page *page)
{
    if (!data->batch_count && !data->tool_count) {
        return;
    }
    start(book, page, "made_of");
    whole_table(book, "Batches by kind and role", an_batches_table(book, data, 0, false));
    whole_table(book, "Tools, gauges and people", an_tools_table(book, data));
    if (data->sharer_count) {
        whole_table(book, "Other walls that share a batch", an_sharers_table(book, data, 0));
    }
}

static void carried_page(struct an_book *book, const struct an_item_data *data,
                         const struct an_report_page *page)
{
    if (!data->carrier_count) {
        return;
    }
    start(book, page, "carried");
    for (size_t i = 0; i < data->carried_count; i++) {
        const struct an_carried_count *count = &data->carried[i];
        an_book_say(
            book, AN_TYPE_BODY, 1,
            an_arena_printf(book->arena,
                            "%s: %zu certain, %zu possible, %zu taken out again; %zu in place now.",
                            count->kind_title, count->certain, count->possible, count->ended,
                            count->placed));
    }
    book->y += 6;
    if (data->carrier_count <= MOST_ONE_BY_ONE) {
        whole_table(book, NULL, an_carriers_table(book, data));
        return;
    }
    an_book_say(book, AN_TYPE_SMALL, 6,
                an_arena_printf(book->arena,
                                "Told by place: serials that follow each other stand as a run, and "
                                "every item of a run is meant. Each item with its place, its share "
                                "and its times: andamento report batch %s --json.",
                                data->item.serial));
    an_draw_carriers_by_place(book, data);
}

static void signals_page(struct an_book *book, const struct an_item_data *data,
                         const struct an_report_page *page)
{
    if (!data->signal_count) {
        return;
    }
    start(book, page, "signals");
    whole_table(book, NULL, an_signals_table(book, data));
}

static void sources_page(struct an_book *book, const struct an_item_data *data,
                         const struct an_report_page *page)
{
    static const struct an_table_column columns[] = {
        {"item", 1.5, AN_LEFT, false}, {"what is missing, or was corrected", 6, AN_LEFT, true}};
    start(book, page, "sources");
    an_book_say(
        book, AN_TYPE_SMALL, 5,
        "The files whose rows tell of this item and its parts. A copy is the same file if its "
        "SHA-256 is the same; sha256sum FILE prints it. The ledger's size and root at the "
        "foot of this page stand for all that was recorded up to then.");
    whole_table(book, NULL, an_sources_table(book, data));
    const char **cells = an_arena_alloc(book->arena, data->lack_count * 2 + 1, sizeof *cells);
    if (!cells) {
        book->failed = true;
        return;
    }
    for (size_t i = 0; i < data->lack_count; i++) {
        cells[2 * i] = data->lacks[i].item;
        cells[2 * i + 1] = data->lacks[i].text;
    }
    const struct an_table table = {columns, 2, cells, data->lack_count, NULL, 7.5};
    if (data->lack_count) {
        an_book_table(book, "Data missing or corrected", &table);
    }
}

void an_compose_item(struct an_book *book, const void *item_data)
{
    const struct an_item_data *data = item_data;
    for (size_t i = 0; i < data->definition->page_count && !book->failed; i++) {
        const struct an_report_page *page = &data->definition->pages[i];
        switch (page->kind) {
        case AN_PAGE_FRONT:
            an_item_front(book, data, page);
            break;
        case AN_PAGE_VALUES:
            an_item_values_page(book, data, page);
            break;
        case AN_PAGE_MADE_OF:
            made_of_page(book, data, page);
            break;
        case AN_PAGE_CARRIED:
            carried_page(book, data, page);
            break;
        case AN_PAGE_PICTURES:
            an_item_pictures_page(book, data, page);
            break;
        case AN_PAGE_SITES:
            an_item_sites_page(book, data, page);
            break;
        case AN_PAGE_SIGNALS:
            signals_page(book, data, page);
            break;
        case AN_PAGE_SOURCES:
            sources_page(book, data, page);
            break;
        case AN_PAGE_STREAMS: /* of reports on a period */
        case AN_PAGE_QUIET:
        case AN_PAGE_INTAKE:
        case AN_PAGE_CAPABILITY:
        case AN_PAGE_YIELD:
        case AN_PAGE_KIND_COUNT:
            break;
        }
    }
    if (!book->open) { /* a definition of pages that have nothing to show */
        an_book_page(book);
        an_book_say(book, AN_TYPE_LEAD, 0, an_say_item_lead(book->arena, data));
    }
}

enum an_status an_item_report_write(struct an_store *store, const struct an_line *line,
                                    const struct an_item_report *report, struct an_json *json,
                                    struct an_arena *arena, struct an_item_result *result,
                                    struct an_error *err)
{
    struct an_report_definition definition = {0};
    struct an_item_data data = {.line = line, .kind = report->kind, .definition = &definition};
    struct an_item_gather gather = {
        .store = store, .line = line, .report = report, .arena = arena, .data = &data, .err = err};
    const bool own = !report->definition.length;
    int pages = 0;
    enum an_status st = an_report_definition_read(
        own ? an_report_definition_own(report->kind) : report->definition,
        own ? an_report_definition_name(report->kind) : report->definition_name, arena, &definition,
        err);
    if (!st && definition.kind != report->kind) {
        st = an_fail(err, AN_BAD_CONFIG, "%s: this defines another report; write 'report: %s'",
                     report->definition_name ? report->definition_name : "definition",
                     an_report_word(report->kind));
    }
    st = st ? st : an_gather_item(&gather);
    const struct an_composer composer = {.pages = an_compose_item,
                                         .context = &data,
                                         .subject = st ? NULL : an_say_item_lead(arena, &data)};
    st = st ? st
            : an_report_compose_by(&composer, &data.page, report->path,
                                   report->paper ? report->paper : &an_paper_a4, &pages, err);
    if (st) {
        return st;
    }
    *result = (struct an_item_result){.pages = pages,
                                      .parts = data.part_count,
                                      .signals = data.signal_count,
                                      .open = data.open_count,
                                      .serial = data.item.serial,
                                      .path = report->path,
                                      .lead = composer.subject};
    for (size_t i = 0; i < data.carried_count; i++) {
        result->certain += data.carried[i].product ? data.carried[i].certain : 0;
        result->possible += data.carried[i].product ? data.carried[i].possible : 0;
    }
    if (json) {
        an_json_object(json);
        an_json_put_string(json, "path", report->path);
        an_json_put_integer(json, "pages", pages);
        an_json_put_string(json, "sentence", composer.subject);
        an_item_json(json, &data);
        an_json_end(json, '}');
    }
    return AN_OK;
}
