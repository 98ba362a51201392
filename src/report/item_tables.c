/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The tables of reports on one item. Responsible for counting what a shortened one leaves out. */
#include "report/item_pages.h"
#include "report/wording.h"

#include <math.h>
#include <string.h>

enum { BATCH_COLUMNS = 9 };
#define COUNT_OF(array) (sizeof(array) / sizeof((array)[0]))

static const char **cells_of(struct an_book *book, size_t rows, size_t columns)
{
    const char **cells = an_arena_alloc(book->arena, rows * columns + 1, sizeof *cells);
    book->failed = book->failed || !cells;
    return cells;
}

static struct an_item_table table_of(const struct an_table_column *columns, size_t column_count,
                                     const char *const *cells, size_t shown, size_t all)
{
    return (struct an_item_table){{columns, column_count, cells, cells ? shown : 0, NULL, 8.0},
                                  all - shown};
}

static const char *share_words(struct an_book *book, double share, bool whole)
{
    return isfinite(share)
               ? an_book_text(book, an_arena_printf(book->arena, "%s%.3g %%",
                                                    whole ? "" : "at least ", share * 100))
               : "not told";
}

static bool same_group(const struct an_item_batch *a, const struct an_item_batch *b)
{
    return !strcmp(a->kind_title, b->kind_title) &&
           !strcmp(a->role ? a->role : "", b->role ? b->role : "");
}

/* A shortened list: of each kind and role the one in most parts, then the second of each, and so on,
 * so that no colour is left out. NULL when memory is out. */
static bool *taken_in_turn(struct an_book *book, const struct an_item_data *data, size_t shown)
{
    bool *taken = an_arena_alloc(book->arena, data->batch_count + 1, sizeof *taken);
    book->failed = book->failed || !taken;
    for (size_t turn = 0, left = shown; left && taken; turn++) {
        size_t rank = 0;
        for (size_t i = 0; i < data->batch_count && left; i++) {
            rank = i && same_group(&data->batches[i - 1], &data->batches[i]) ? rank + 1 : 0;
            if (rank == turn) {
                taken[i] = true;
                left--;
            }
        }
    }
    return taken;
}

struct an_item_table an_batches_table(struct an_book *book, const struct an_item_data *data,
                                      size_t most, bool brief)
{
    static const struct an_table_column known[BATCH_COLUMNS] = {
        {"kind", 1.5, AN_LEFT, false},           {"as", 0.7, AN_LEFT, false},
        {"batch", 1.6, AN_LEFT, false},          {"in", 0.9, AN_RIGHT, false},
        {"of all", 0.9, AN_RIGHT, false},        {"share in them", 1.3, AN_RIGHT, false},
        {"possible only", 1.1, AN_RIGHT, false}, {"taken out", 1.0, AN_RIGHT, false},
        {"other walls", 1.0, AN_RIGHT, false}};
    bool wanted[BATCH_COLUMNS] = {true, true, true, true, true, false, false, false, false};
    wanted[BATCH_COLUMNS - 1] = !brief && data->kind != AN_REPORT_BATCH;
    for (size_t i = 0; i < data->batch_count && !brief; i++) { /* only what any row tells */
        wanted[5] = wanted[5] || isfinite(data->batches[i].share);
        wanted[6] = wanted[6] || data->batches[i].possible;
        wanted[7] = wanted[7] || data->batches[i].ended;
    }
    struct an_table_column *columns = an_arena_alloc(book->arena, BATCH_COLUMNS, sizeof *columns);
    size_t width = 0;
    for (size_t c = 0; c < BATCH_COLUMNS && columns; c++) {
        if (wanted[c]) {
            columns[width++] = known[c];
        }
    }
    book->failed = book->failed || !columns;
    const size_t shown = most && most < data->batch_count ? most : data->batch_count;
    const char **cells = cells_of(book, shown, width);
    const bool *taken = taken_in_turn(book, data, shown);
    size_t row_no = 0;
    for (size_t i = 0; i < data->batch_count && cells && taken && row_no < shown; i++) {
        const struct an_item_batch *batch = &data->batches[i];
        if (!taken[i]) {
            continue;
        }
        const char *words[BATCH_COLUMNS] = {
            batch->kind_title,
            batch->role ? batch->role : "-",
            batch->item.serial,
            brief ? an_say_count(book->arena, (int64_t)batch->parts)
                  : an_say_many(book->arena, (int64_t)batch->parts, data->part_title),
            an_arena_printf(book->arena, "%.0f %%",
                            100.0 * (double)batch->parts / (double)data->part_count),
            share_words(book, batch->share, batch->share_whole),
            batch->possible ? an_say_count(book->arena, (int64_t)batch->possible) : "-",
            batch->ended ? an_say_count(book->arena, (int64_t)batch->ended) : "-",
            batch->others ? an_say_count(book->arena, (int64_t)batch->others) : "none"};
        const char **row = cells + row_no++ * width;
        size_t at = 0;
        for (size_t c = 0; c < BATCH_COLUMNS && columns; c++) {
            if (wanted[c]) {
                row[at++] = words[c];
            }
        }
    }
    return table_of(columns, width, cells, shown, data->batch_count);
}

static const char *place_words(struct an_book *book, const struct an_item_carrier *carrier)
{
    if (!carrier->whole.item_id) {
        return "-";
    }
    return carrier->row < 0
               ? carrier->whole.serial
               : an_book_text(book, an_arena_printf(book->arena, "%s, row %lld, column %lld",
                                                    carrier->whole.serial, (long long)carrier->row,
                                                    (long long)carrier->column));
}

static const char *whose(struct an_book *book, const struct an_item_whereabouts *group)
{
    const char *serials[4];
    const size_t all = group->certain + group->possible + group->ended;
    for (size_t k = 0; k < group->shown; k++) {
        serials[k] = group->first[k]->item.serial;
    }
    const char *list = an_say_list(book->arena, serials, group->shown, group->shown);
    if (all == group->shown) {
        return list;
    }
    return an_arena_printf(book->arena, "%s ... and %s more", serials[0],
                           an_say_count(book->arena, (int64_t)(all - 1)));
}

struct an_item_table an_whereabouts_table(struct an_book *book, const struct an_item_data *data,
                                          size_t most)
{
    static const struct an_table_column columns[] = {
        {"is now", 2.2, AN_LEFT, false},   {"items", 0.6, AN_RIGHT, false},
        {"certain", 0.7, AN_RIGHT, false}, {"possible", 0.7, AN_RIGHT, false},
        {"had it", 0.6, AN_RIGHT, false},  {"which", 3.1, AN_LEFT, false},
        {"last seen", 1.5, AN_LEFT, false}};
    const size_t count = data->whereabouts_count;
    const size_t shown = most && most < count ? most : count;
    const char **cells = cells_of(book, shown, COUNT_OF(columns));
    for (size_t i = 0; i < shown && cells; i++) {
        const struct an_item_whereabouts *group = &data->whereabouts[i];
        const char **row = cells + i * COUNT_OF(columns);
        row[0] = group->placed ? an_arena_printf(book->arena, "in %s", group->where)
                               : an_arena_printf(book->arena, "not in place; %s", group->where);
        row[1] =
            an_say_count(book->arena, (int64_t)(group->certain + group->possible + group->ended));
        row[2] = an_say_count(book->arena, (int64_t)group->certain);
        row[3] = group->possible ? an_say_count(book->arena, (int64_t)group->possible) : "-";
        row[4] = group->ended ? an_say_count(book->arena, (int64_t)group->ended) : "-";
        row[5] = whose(book, group);
        row[6] = an_say_time(book->arena, data->line->zone, group->last_us);
    }
    return table_of(columns, COUNT_OF(columns), cells, shown, count);
}

struct an_item_table an_carriers_table(struct an_book *book, const struct an_item_data *data)
{
    static const struct an_table_column with[] = {
        {"kind", 0.8, AN_LEFT, false},      {"item", 1.5, AN_LEFT, false},
        {"has it as", 0.9, AN_LEFT, false}, {"how sure", 0.8, AN_LEFT, false},
        {"is now in", 2.6, AN_LEFT, false}, {"since", 1.6, AN_LEFT, false},
        {"last seen", 2.4, AN_LEFT, false}, {"share", 0.7, AN_RIGHT, false}};
    bool shares = false;
    for (size_t i = 0; i < data->carrier_count; i++) {
        shares = shares || isfinite(data->carriers[i].share);
    }
    const size_t width = COUNT_OF(with) - (shares ? 0 : 1);
    const char **cells = cells_of(book, data->carrier_count, width);
    for (size_t i = 0; i < data->carrier_count && cells; i++) {
        const struct an_item_carrier *carrier = &data->carriers[i];
        const char **row = cells + i * width;
        row[0] = carrier->kind_title;
        row[1] = carrier->item.serial;
        row[2] = *carrier->roles ? carrier->roles : "-";
        row[3] = !carrier->holds ? "taken out" : carrier->certain ? "certain" : "possible";
        row[4] = place_words(book, carrier);
        row[5] = carrier->whole.item_id
                     ? an_say_time(book->arena, data->line->zone, carrier->since_us)
                     : "-";
        row[6] =
            carrier->last_us == AN_NO_INSTANT
                ? "never"
                : an_arena_printf(book->arena, "%s, %s", carrier->last_station,
                                  an_say_time(book->arena, data->line->zone, carrier->last_us));
        if (shares) {
            row[7] = isfinite(carrier->share)
                         ? an_arena_printf(book->arena, "%.3g %%", carrier->share * 100)
                         : "-";
        }
    }
    struct an_item_table table =
        table_of(with, width, cells, data->carrier_count, data->carrier_count);
    table.table.size_pt = 7.5;
    return table;
}

struct an_item_table an_tools_table(struct an_book *book, const struct an_item_data *data)
{
    static const struct an_table_column columns[] = {{"station", 2.5, AN_LEFT, false},
                                                     {"what", 1.0, AN_LEFT, false},
                                                     {"name", 2.5, AN_LEFT, false},
                                                     {"handled", 1.2, AN_RIGHT, false}};
    const char **cells = cells_of(book, data->tool_count, COUNT_OF(columns));
    for (size_t i = 0; i < data->tool_count && cells; i++) {
        const char **row = cells + i * COUNT_OF(columns);
        row[0] = data->tools[i].station_title;
        row[1] = data->tools[i].what;
        row[2] = data->tools[i].name;
        row[3] = an_say_many(book->arena, (int64_t)data->tools[i].parts, data->part_title);
    }
    return table_of(columns, COUNT_OF(columns), cells, data->tool_count, data->tool_count);
}

/* Three figures, whatever the unit. */
static const char *size_words(struct an_book *book, double size, const char *unit)
{
    int decimals = 0;
    if (!isfinite(size)) { /* off the scale of its chart */
        return "-";
    }
    for (double amount = fabs(size); amount > 0 && amount < 99.95 && decimals < 6; amount *= 10) {
        decimals++;
    }
    return an_say_measure(book->arena, size, decimals, unit);
}

struct an_item_table an_signals_table(struct an_book *book, const struct an_item_data *data)
{
    static const struct an_table_column columns[] = {
        {"no.", 0.5, AN_RIGHT, false},  {"code", 0.7, AN_LEFT, false},
        {"stream", 3.2, AN_LEFT, true}, {"since", 2.0, AN_LEFT, false},
        {"size", 1.6, AN_RIGHT, false}, {"touches", 1.9, AN_LEFT, true},
        {"answer", 2.5, AN_LEFT, true}};
    const char **cells = cells_of(book, data->signal_count, COUNT_OF(columns));
    for (size_t i = 0; i < data->signal_count && cells; i++) {
        const struct an_item_signal *one = &data->signals[i];
        const struct an_signal *signal = &one->signal;
        const char **row = cells + i * COUNT_OF(columns);
        row[0] = an_arena_printf(book->arena, "%lld", (long long)signal->record.signal_id);
        row[1] = signal->code ? signal->code : "?";
        row[2] = signal->record.panel == 1 ? an_arena_printf(book->arena, "%s, spread", one->title)
                                           : one->title;
        row[3] = an_say_time(book->arena, data->line->zone,
                             signal->has_change ? signal->onset_us : signal->record.first_us);
        row[4] = size_words(book, signal->size, signal->unit);
        row[5] = !one->touched ? "began with it"
                 : one->on_parts
                     ? an_arena_printf(book->arena, "%s%s%s",
                                       an_say_many(book->arena, (int64_t)one->touched, "item"),
                                       one->touched == 1 ? " " : ", first ",
                                       one->first ? one->first : "")
                     : an_arena_printf(book->arena, "upstream: %s%s", one->first ? one->first : "",
                                       one->touched > 1 ? " and others" : "");
        row[6] = signal->open ? "none yet"
                              : an_arena_printf(book->arena, "%s: %s",
                                                one->answered_by ? one->answered_by : "answered",
                                                one->answer ? one->answer : "");
    }
    return table_of(columns, COUNT_OF(columns), cells, data->signal_count, data->signal_count);
}

struct an_item_table an_sources_table(struct an_book *book, const struct an_item_data *data)
{
    static const struct an_table_column columns[] = {
        {"station", 1.3, AN_LEFT, false},
        {"file", 3.3, AN_LEFT, true},
        {"rows", 0.7, AN_RIGHT, false},
        {"taken", 1.6, AN_LEFT, false},
        {"SHA-256 of its bytes, two halves", 3.2, AN_LEFT, true}};
    const char **cells = cells_of(book, data->file_count, COUNT_OF(columns));
    for (size_t i = 0; i < data->file_count && cells; i++) {
        const struct an_file *file = &data->files[i];
        const char **row = cells + i * COUNT_OF(columns);
        char hex[65];
        row[0] = file->station ? file->station : "-";
        row[1] = file->name;
        row[2] = an_say_count(book->arena, file->rows);
        row[3] = an_say_time(book->arena, data->line->zone, file->known_us);
        row[4] = an_arena_printf(book->arena, "%.32s %s", an_sha256_hex(&file->hash, hex),
                                 hex + 32); /* parted by us: no hyphen comes into it */
    }
    struct an_item_table table =
        table_of(columns, COUNT_OF(columns), cells, data->file_count, data->file_count);
    table.table.size_pt = 7.0;
    return table;
}

struct an_item_table an_neighbours_table(struct an_book *book, const struct an_item_data *data)
{
    static const struct an_table_column columns[] = {{"item", 1.35, AN_LEFT, false},
                                                     {"first used", 1.7, AN_LEFT, false},
                                                     {"last used", 1.7, AN_LEFT, false},
                                                     {"went into", 1.1, AN_RIGHT, false}};
    const char **cells = cells_of(book, data->neighbour_count, COUNT_OF(columns));
    for (size_t i = 0; i < data->neighbour_count && cells; i++) {
        const struct an_item_neighbour *one = &data->neighbours[i];
        const char **row = cells + i * COUNT_OF(columns);
        row[0] = one->itself ? an_arena_printf(book->arena, "%s (this)", one->item.serial)
                             : one->item.serial;
        row[1] = one->first_us == AN_NO_INSTANT
                     ? "-"
                     : an_say_time(book->arena, data->line->zone, one->first_us);
        row[2] = one->last_us == AN_NO_INSTANT
                     ? "-"
                     : an_say_time(book->arena, data->line->zone, one->last_us);
        row[3] = one->used_in ? an_say_many(book->arena, (int64_t)one->used_in, "item") : "nothing";
    }
    return table_of(columns, COUNT_OF(columns), cells, data->neighbour_count,
                    data->neighbour_count);
}

struct an_item_table an_sharers_table(struct an_book *book, const struct an_item_data *data,
                                      size_t most)
{
    static const struct an_table_column columns[] = {{"wall", 1.2, AN_LEFT, false},
                                                     {"in common", 4.0, AN_LEFT, true}};
    const size_t shown = most && most < data->sharer_count ? most : data->sharer_count;
    const char **cells = cells_of(book, shown, COUNT_OF(columns));
    for (size_t i = 0; i < shown && cells; i++) {
        cells[i * 2] = data->sharers[i].item.serial;
        cells[i * 2 + 1] = data->sharers[i].words;
    }
    return table_of(columns, COUNT_OF(columns), cells, shown, data->sharer_count);
}
