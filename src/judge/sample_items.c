/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The items of samples. Must never leave one out that has a row in the sample: what cannot be told
 * apart is listed, and said to be at most.
 *
 * The hard idea: a sample of consecutive rows has the visit of its last row, whatever items the
 * others are of. Which those are is told by the visits of its rows, not by the sample.
 */
#include "judge/sample_items.h"

#include "andamento/store/item_stays.h"
#include "judge/readings.h"
#include "judge/stream_split.h"

#include <string.h>

struct search {
    struct an_store *store;
    const struct an_station *station;
    const struct an_characteristic *characteristic;
    const struct an_stream *stream;
    struct an_split split;
    struct an_arena *arena; /* of the result */
    struct an_sample_items *items;
    struct an_error *err;
};

static enum an_status out_of_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory while looking for the items of samples");
}

static enum an_status add(struct search *search, int64_t item_id, const char *serial)
{
    struct an_sample_items *items = search->items;

    if (items->count == items->room) {
        const size_t room = items->room ? 2 * items->room : 64;
        struct an_sample_item *more = an_arena_alloc(search->arena, room, sizeof *more);
        if (!more) {
            return out_of_memory(search->err);
        }
        if (items->count) {
            memcpy(more, items->items, items->count * sizeof *more);
        }
        items->items = more;
        items->room = room;
    }
    items->items[items->count] = (struct an_sample_item){item_id, serial, items->count};
    items->count++;
    return AN_OK;
}

static enum an_status add_by_id(struct search *search, int64_t item_id)
{
    struct an_item item = {0};
    const enum an_status st =
        an_store_item_by_id(search->store, item_id, search->arena, &item, search->err);

    return st ? st : add(search, item_id, item.serial);
}

/* Items added since then hold this one. */
static bool has(const struct search *search, size_t since, int64_t item_id)
{
    for (size_t i = search->items->count; i-- > since;) {
        if (search->items->items[i].item_id == item_id) {
            return true;
        }
    }
    return false;
}

static bool same(const char *a, const char *b)
{
    return strcmp(a ? a : "", b ? b : "") == 0;
}

/* A visit may have been at several tools: their names are joined then, or too many to be told. */
static bool may_be_of(const struct search *search, const struct an_item_stay *stay)
{
    const char *column = search->station->tool_column;
    const char *tool = column ? an_split_value(&search->split, column) : NULL;

    return same(stay->purpose, search->split.purpose) &&
           (!tool || !stay->tool || strstr(stay->tool, tool) || strstr(stay->tool, " + "));
}

/* By the lines alone. */
static enum an_status by_lines(struct search *search, const struct an_sample *sample)
{
    struct an_arena *scratch = an_arena_open();
    const size_t since = search->items->count;
    struct an_item_stay *stays = NULL;
    size_t count = 0;
    enum an_status st =
        scratch ? an_store_line_stays(search->store, sample->file_id, sample->first_line,
                                      sample->last_line, scratch, &stays, &count, search->err)
                : out_of_memory(search->err);

    for (size_t i = 0; !st && i < count; i++) {
        if (may_be_of(search, &stays[i]) && !has(search, since, stays[i].item_id)) {
            st = add_by_id(search, stays[i].item_id);
        }
    }
    if (!st && !has(search, since, sample->item_id)) {
        st = add(search, sample->item_id, sample->serial);
    }
    search->items->at_most = search->items->at_most || search->items->count - since > 1;
    an_arena_close(scratch);
    return st;
}

/* By the visits of the sample's rows. */
static enum an_status by_rows(struct search *search, const struct an_sample *sample,
                              const int64_t visit_ids[], size_t count, struct an_arena *scratch)
{
    const size_t since = search->items->count;
    int64_t asked = 0;
    enum an_status st = AN_OK;

    for (size_t i = 0; !st && i < count; i++) {
        struct an_visit visit = {.item_id = sample->item_id};

        if (visit_ids[i] == asked) {
            continue;
        }
        asked = visit_ids[i];
        if (asked != sample->visit_id) {
            st = an_store_visit(search->store, asked, scratch, &visit, search->err);
        }
        if (!st && !has(search, since, visit.item_id)) {
            st = visit.item_id == sample->item_id ? add(search, sample->item_id, sample->serial)
                                                  : add_by_id(search, visit.item_id);
        }
    }
    if (!st && !has(search, since, sample->item_id)) { /* its last row has no reading */
        st = add(search, sample->item_id, sample->serial);
    }
    return st;
}

/* Samples of one file. */
static enum an_status of_file(struct search *search, const struct an_sample samples[], size_t count)
{
    struct an_site_readings rows = {0};
    struct an_arena *scratch = an_arena_open();
    enum an_status st =
        scratch ? an_site_readings_of(search->store, search->stream, search->characteristic,
                                      samples, count, NULL, scratch, &rows, search->err)
                : out_of_memory(search->err);
    const bool found = !st;

    if (st == AN_NOT_FOUND) { /* the file had other columns then */
        *search->err = (struct an_error){0};
        st = AN_OK;
    }
    for (size_t i = 0; !st && i < count; i++) {
        const size_t from = found ? rows.first[i] : 0;
        const size_t until = found ? rows.first[i + 1] : 0;

        st = until > from
                 ? by_rows(search, &samples[i], rows.visit_id + from, until - from, scratch)
                 : by_lines(search, &samples[i]);
    }
    an_arena_close(scratch);
    return st;
}

enum an_status an_sample_items(struct an_store *store, const struct an_station *station,
                               const struct an_characteristic *characteristic,
                               const struct an_stream *stream, const struct an_sample samples[],
                               size_t count, struct an_arena *arena, struct an_sample_items *items,
                               struct an_error *err)
{
    struct search search = {.store = store,
                            .station = station,
                            .characteristic = characteristic,
                            .stream = stream,
                            .arena = arena,
                            .items = items,
                            .err = err};
    const bool one_each =
        characteristic->subgroup != AN_SUBGROUP_EVERY || characteristic->kind == AN_DERIVED;
    enum an_status st = AN_OK;

    *items = (struct an_sample_items){0};
    if (!one_each && an_split_of(stream->split, characteristic, arena, &search.split)) {
        return out_of_memory(err);
    }
    for (size_t from = 0; !st && from < count;) {
        size_t until = from + 1;

        if (one_each) {
            st = add(&search, samples[from].item_id, samples[from].serial);
        } else {
            while (until < count && samples[until].file_id == samples[from].file_id) {
                until++;
            }
            st = of_file(&search, samples + from, until - from);
        }
        from = until;
    }
    return st;
}
