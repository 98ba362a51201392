/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From the week's data to rows of lists. Responsible for every picture having its numbers beside it. */
#include "report/week_lists.h"

#include "report/week_wording.h"
#include "report/wording.h"

#include <math.h>
#include <string.h>

static struct an_interval_row *rows_of(struct an_book *book, size_t count)
{
    struct an_interval_row *rows = an_arena_alloc(book->arena, count + 1, sizeof *rows);

    if (!rows) {
        book->failed = true;
    }
    return rows;
}

static const char *range(struct an_book *book, const char *value, const char *low, const char *high)
{
    return an_book_text(
        book, value && low && high
                  ? an_arena_printf(book->arena, "%s (%s\xE2\x80\x93%s)", value, low, high)
                  : NULL);
}

/* 100, 99.6 */
static const char *percent_bound(struct an_arena *arena, double share)
{
    return an_say_number(arena, 100 * share, share == 1 ? 0 : 1);
}

/* The page of a stream, if it has one. */
static const char *link_of(const struct an_book *book, size_t sheet)
{
    for (size_t i = 0; i < book->data->signal_count; i++) {
        if (book->data->signals[i].sheet == sheet) {
            return book->data->signals[i].name;
        }
    }
    return NULL;
}

/* ---- capability ------------------------------------------------------------------------------ */
static void fill_measured(struct an_book *book, const struct an_week_stream *stream,
                          struct an_interval_row *row)
{
    struct an_arena *arena = book->arena;
    const struct an_week_index *now = &stream->now;

    row->value = now->overall.value;
    row->low = now->overall.lower;
    row->high = now->overall.upper;
    row->before = stream->before.overall.value;
    row->cells[3] =
        range(book, an_say_index(arena, now->overall.value),
              an_say_index(arena, now->overall.lower), an_say_index(arena, now->overall.upper));
    row->cells[4] =
        isfinite(now->within.value)
            ? range(book, an_say_index(arena, now->within.value),
                    an_say_index(arena, now->within.lower), an_say_index(arena, now->within.upper))
            : "-";
    row->cells[5] = an_book_text(book, an_say_rate(arena, now->outside));
    row->cells[6] =
        an_book_text(book, an_say_before(arena, stream->index, true,
                                         an_say_index(arena, stream->before.overall.value)));
}

/* Counts have no index: the limit over the rate takes its place on the scale. */
static void fill_counted(struct an_book *book, const struct an_week_stream *stream,
                         const struct an_stream_sheet *sheet, struct an_interval_row *row)
{
    struct an_arena *arena = book->arena;
    const struct an_week_index *now = &stream->now;

    row->value = now->headroom;
    row->low = sheet->usl / now->overall.upper;
    row->high = now->overall.lower > 0 ? sheet->usl / now->overall.lower : (double)NAN;
    row->before = stream->before.headroom;
    const bool percent = strcmp(sheet->unit, "%") == 0;
    row->cells[3] = an_book_text(
        book, an_arena_printf(arena, "%s, at most %s%s", an_say_rate(arena, now->overall.value),
                              an_say_rate(arena, sheet->usl), percent ? " %" : ""));
    row->cells[4] = "-";
    row->cells[5] = an_book_text(book, an_say_rate(arena, now->outside));
    row->cells[6] =
        an_book_text(book, an_say_before(arena, stream->index, false,
                                         an_say_rate(arena, stream->before.overall.value)));
}

struct an_interval_list an_week_capability_list(struct an_book *book, size_t most)
{
    static const struct an_interval_column columns[] = {
        {"stream", 3.15, AN_LEFT, false, true},
        {"stable?", 1.85, AN_LEFT, false, false},
        {NULL, 1.65, AN_LEFT, true, false},
        {"Ppk, 95 % bounds", 2.25, AN_LEFT, false, false},
        {"Cpk, if stable", 1.85, AN_LEFT, false, false},
        {"ppm outside", 1.2, AN_RIGHT, false, false},
        {"last week", 1.0, AN_RIGHT, false, false}};
    const struct an_week_data *week = book->data->week;
    struct an_interval_row *rows = rows_of(book, week->stream_count);
    struct an_interval_list list = {.columns = columns,
                                    .column_count = sizeof columns / sizeof columns[0],
                                    .rows = rows,
                                    .scale_low = 0,
                                    .scale_high = 2.5,
                                    .ticks = {0, 1, 1.33, 2},
                                    .tick_labels = {"0", "1", NULL, "2"},
                                    .tick_count = 4};

    for (size_t i = 0; rows && i < week->stream_count && list.row_count < most; i++) {
        const struct an_week_stream *stream = &week->streams[i];
        const struct an_stream_sheet *sheet = &book->data->sheets[stream->sheet];
        if (!isfinite(stream->now.headroom)) {
            continue;
        }
        struct an_interval_row *row = &rows[list.row_count++];
        row->cells[0] = sheet->title;
        row->cells[1] = an_book_text(book, an_say_stability(book->arena, &stream->now));
        row->strong = stream->stability == AN_TURN_WORSE || stream->index == AN_TURN_WORSE;
        row->link = link_of(book, stream->sheet);
        if (stream->now.counted) {
            fill_counted(book, stream, sheet, row);
        } else {
            fill_measured(book, stream, row);
        }
    }
    return list;
}

/* What would be missing for an index, in a few words. */
static const char *why_none(const struct an_week_stream *stream,
                            const struct an_stream_sheet *sheet)
{
    if (!isfinite(sheet->lsl) && !isfinite(sheet->usl)) {
        return stream->now.counted ? "no upper spec limit of its rate" : "no spec limits";
    }
    return stream->now.why ? stream->now.why : "no sample this week";
}

struct an_interval_list an_week_without_index_list(struct an_book *book)
{
    static const struct an_interval_column columns[] = {
        {"stream", 3.0, AN_LEFT, false, true},
        {"stable?", 1.6, AN_LEFT, false, false},
        {"level", 1.5, AN_RIGHT, false, false},
        {"last week", 1.1, AN_RIGHT, false, false},
        {"why no index", 4.2, AN_LEFT, false, false}};
    const struct an_week_data *week = book->data->week;
    struct an_interval_row *rows = rows_of(book, week->stream_count);
    struct an_interval_list list = {
        .columns = columns, .column_count = sizeof columns / sizeof columns[0], .rows = rows};

    for (size_t i = 0; rows && i < week->stream_count; i++) {
        const struct an_week_stream *stream = &week->streams[i];
        const struct an_stream_sheet *sheet = &book->data->sheets[stream->sheet];
        if (isfinite(stream->now.headroom)) {
            continue;
        }
        struct an_interval_row *row = &rows[list.row_count++];
        const bool moved = fabs(stream->moved_z) > 3;
        row->cells[0] = sheet->title;
        row->cells[1] = an_book_text(book, an_say_stability(book->arena, &stream->now));
        const bool gaps = sheet->form == AN_FORM_GAPS; /* decades apart: by their digits */
        row->cells[2] = an_book_text(
            book, !gaps
                      ? an_say_measure(book->arena, stream->level_now, sheet->decimals, sheet->unit)
                      : an_arena_printf(book->arena, "%s%s%s",
                                        an_say_digits(book->arena, stream->level_now),
                                        *sheet->unit ? " " : "", sheet->unit));
        const char *before =
            gaps ? an_say_digits(book->arena, stream->level_before)
                 : an_say_number(book->arena, stream->level_before, sheet->decimals);
        row->cells[3] = an_book_text(
            book, !moved ? before
                         : an_arena_printf(book->arena, "%s %s",
                                           stream->moved > 0 ? "\xE2\x86\x91" : "\xE2\x86\x93",
                                           before ? before : ""));
        row->cells[4] = why_none(stream, sheet);
        row->strong = stream->stability == AN_TURN_WORSE;
        row->value = row->low = row->high = row->before = (double)NAN;
        row->link = link_of(book, stream->sheet);
    }
    return list;
}

/* ---- yield ----------------------------------------------------------------------------------- */
static double least_yield(const struct an_week_data *week)
{
    double least = 1;

    for (size_t i = 0; i < week->yield_count; i++) {
        const double low = week->yields[i].first.lower;
        least = isfinite(low) && low < least ? low : least;
        least = week->yields[i].before < least ? week->yields[i].before : least;
    }
    return floor(least * 20) / 20; /* down to the next 5 % */
}

/* Beside an arrow there is room for one decimal. */
static const char *before_percent(struct an_arena *arena, double share, bool whole)
{
    return whole || !(share < 0.9995)
               ? an_say_percent(arena, share)
               : an_arena_printf(arena, "%s %%", percent_bound(arena, share));
}

struct an_interval_list an_week_yield_list(struct an_book *book, size_t most, bool whole)
{
    static const struct an_interval_column short_columns[] = {
        {"station", 2.4, AN_LEFT, false, false},
        {NULL, 1.15, AN_LEFT, true, false},
        {"first pass", 2.6, AN_LEFT, false, false},
        {"final", 1.0, AN_RIGHT, false, false},
        {"last week", 1.35, AN_RIGHT, false, false}};
    static const struct an_interval_column whole_columns[] = {
        {"station", 2.5, AN_LEFT, false, false},
        {NULL, 1.9, AN_LEFT, true, false},
        {"first pass, 95 % bounds", 2.1, AN_LEFT, false, false},
        {"final, 95 % bounds", 2.1, AN_LEFT, false, false},
        {"last week", 1.3, AN_RIGHT, false, false},
        {"good of first", 1.4, AN_RIGHT, false, false},
        {"items", 0.9, AN_RIGHT, false, false}};
    const struct an_week_data *week = book->data->week;
    struct an_arena *arena = book->arena;
    struct an_interval_row *rows = rows_of(book, week->yield_count);
    const double least = least_yield(week);
    struct an_interval_list list = {.columns = whole ? whole_columns : short_columns,
                                    .column_count =
                                        whole ? sizeof whole_columns / sizeof whole_columns[0]
                                              : sizeof short_columns / sizeof short_columns[0],
                                    .rows = rows,
                                    .scale_low = least < 0.95 ? least : 0.95,
                                    .scale_high = 1,
                                    .ticks = {least < 0.95 ? least : 0.95, 1},
                                    .tick_count = 2};

    list.tick_labels[0] = an_book_text(
        book, an_arena_printf(arena, "%s", an_say_number(arena, 100 * list.scale_low, 0)));
    list.tick_labels[1] = "100 %";
    for (size_t i = 0; rows && i < week->yield_count && list.row_count < most; i++) {
        const struct an_week_yield *yield = &week->yields[i];
        struct an_interval_row *row = &rows[list.row_count++];

        row->cells[0] =
            yield->rolled && whole
                ? an_book_text(book, an_arena_printf(arena, "%s (%s)", yield->title, yield->kind))
                : yield->title;
        row->value = yield->first.value;
        row->low = yield->first.lower;
        row->high = yield->first.upper;
        row->before = yield->before;
        row->strong = yield->turn == AN_TURN_WORSE;
        row->cells[2] = range(book, an_say_percent(arena, yield->first.value),
                              percent_bound(arena, yield->first.lower),
                              percent_bound(arena, yield->first.upper));
        const char *before =
            an_book_text(book, an_say_before(arena, yield->turn, true,
                                             before_percent(arena, yield->before, whole)));
        const char *final = an_book_text(book, an_say_percent(arena, yield->last.value));
        if (!whole) {
            row->cells[3] = yield->rolled ? "" : final;
            row->cells[4] = before;
            continue;
        }
        row->cells[3] = yield->rolled ? ""
                                      : range(book, final, percent_bound(arena, yield->last.lower),
                                              percent_bound(arena, yield->last.upper));
        row->cells[4] = before;
        row->cells[5] =
            yield->rolled
                ? ""
                : an_book_text(book, an_arena_printf(arena, "%s of %s",
                                                     an_say_count(arena, yield->first_good),
                                                     an_say_count(arena, yield->first_items)));
        row->cells[6] = yield->rolled ? "" : an_book_text(book, an_say_count(arena, yield->items));
    }
    return list;
}

/* ---- rates ----------------------------------------------------------------------------------- */
/* A characteristic without splits has one row only, which says nothing about where. */
static bool is_alone(const struct an_week_data *week, size_t i)
{
    return !*week->rates[i].split && (i + 1 == week->rate_count || !*week->rates[i + 1].split);
}

static struct an_interval_list rate_columns(bool whole)
{
    static const struct an_interval_column short_columns[] = {
        {"", 3.0, AN_LEFT, false, false},
        {NULL, 1.4, AN_LEFT, true, false},
        {"per million", 2.5, AN_LEFT, false, false},
        {"last week", 1.2, AN_RIGHT, false, false}};
    static const struct an_interval_column whole_columns[] = {
        {"", 3.4, AN_LEFT, false, false},
        {NULL, 2.1, AN_LEFT, true, false},
        {"per million, 95 % bounds", 2.8, AN_LEFT, false, false},
        {"last week", 1.1, AN_RIGHT, false, false},
        {"events", 0.9, AN_RIGHT, false, false},
        {"opportunities", 1.3, AN_RIGHT, false, false}};

    return (struct an_interval_list){.columns = whole ? whole_columns : short_columns,
                                     .column_count =
                                         whole ? sizeof whole_columns / sizeof whole_columns[0]
                                               : sizeof short_columns / sizeof short_columns[0],
                                     .scale_low = 0,
                                     .scale_high = 2,
                                     .ticks = {0, 1, 2},
                                     .tick_labels = {"0", whole ? "average" : "avg.", NULL},
                                     .tick_count = 3};
}

/* Where there is little room, tens of thousands are told in thousands: "51k". */
static const char *rate_text(struct an_arena *arena, double rate, bool whole)
{
    return whole || !(rate >= 10000)
               ? an_say_rate(arena, rate)
               : an_arena_printf(arena, "%sk", an_say_number(arena, rate / 1000, 0));
}

struct an_interval_list an_week_rate_list(struct an_book *book, size_t most, bool whole)
{
    const struct an_week_data *week = book->data->week;
    struct an_arena *arena = book->arena;
    struct an_interval_row *rows = rows_of(book, week->rate_count);
    struct an_interval_list list = rate_columns(whole);

    list.rows = rows;
    for (size_t i = 0; rows && i < week->rate_count && list.row_count < most; i++) {
        const struct an_week_rate *rate = &week->rates[i];
        struct an_interval_row *row = &rows[list.row_count++];
        const double scale = rate->times / rate->rate.value;
        const bool all = !*rate->split;

        row->cells[0] =
            all ? rate->title
                : an_book_text(book, an_arena_printf(arena, "\xE2\x80\x93 %s", rate->split));
        row->value = all && !is_alone(week, i) ? (double)NAN : rate->rate.value * scale;
        row->low = all ? (double)NAN : rate->rate.lower * scale;
        row->high = all ? (double)NAN : rate->rate.upper * scale;
        row->before = all && !is_alone(week, i) ? (double)NAN : rate->before * scale;
        row->strong = rate->turn == AN_TURN_WORSE;
        row->cells[2] = range(book, rate_text(arena, rate->rate.value, whole),
                              rate_text(arena, rate->rate.lower, whole),
                              rate_text(arena, rate->rate.upper, whole));
        row->cells[3] = an_book_text(
            book, an_say_before(arena, rate->turn, false, rate_text(arena, rate->before, whole)));
        row->cells[4] = an_book_text(book, an_say_count(arena, (int64_t)nearbyint(rate->count)));
        row->cells[5] =
            an_book_text(book, an_say_count(arena, (int64_t)nearbyint(rate->opportunities)));
    }
    return list;
}

/* ---- completeness ------------------------------------------------------------------------------ */
struct an_interval_list an_week_flow_list(struct an_book *book, size_t most)
{
    static const struct an_interval_column columns[] = {{"from", 2.5, AN_LEFT, false, false},
                                                        {"to", 2.5, AN_LEFT, false, false},
                                                        {"came", 1.7, AN_LEFT, false, false},
                                                        {"overdue", 1.9, AN_LEFT, false, false}};
    const struct an_week_data *week = book->data->week;
    struct an_arena *arena = book->arena;
    struct an_interval_row *rows = rows_of(book, week->flow_count);
    struct an_interval_list list = {
        .columns = columns, .column_count = sizeof columns / sizeof columns[0], .rows = rows};

    for (size_t i = 0; rows && i < week->flow_count && list.row_count < most; i++) {
        const struct an_week_flow *flow = &week->flows[i];
        if (!flow->left) {
            continue;
        }
        struct an_interval_row *row = &rows[list.row_count++];
        row->cells[0] = flow->from;
        row->cells[1] = flow->to;
        row->cells[2] =
            an_book_text(book, an_arena_printf(arena, "%s of %s", an_say_count(arena, flow->came),
                                               an_say_count(arena, flow->left)));
        row->cells[3] = flow->branch                      ? "a branch"
                        : flow->usual_us == AN_NO_INSTANT ? "too few to tell"
                        : !flow->overdue
                            ? "none"
                            : an_book_text(book, an_arena_printf(arena, "%s: %s",
                                                                 an_say_count(arena, flow->overdue),
                                                                 flow->examples));
        row->strong = flow->overdue > 0;
        row->value = row->low = row->high = row->before = (double)NAN;
    }
    return list;
}
