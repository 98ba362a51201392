/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Yields by station: of the items that came, how many were good the first time, and in the end.
 * An item is good at a visit if every reading of every characteristic with a specification lies
 * within it (counts: the rate). Visits for other purposes than production do not count. Never
 * judges by control limits.
 *
 * Its one hard idea: whether a visit was the first is only known by looking further back than the
 * week, so one more week before the last one is read and counts nowhere.
 */
#include "andamento/stat/yield.h"
#include "report/gather.h"
#include "report/week_data.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define CONFIDENCE 0.95

struct mark { /* one visit as one sample tells it */
    int64_t item_id, visit_id, at_us;
    bool good;
};

struct marks {
    struct mark *at;
    size_t count, room;
};

struct tally {
    int64_t items, first_new, first_good, final_good; /* first_new: whose first visit it was */
};

static enum an_status no_memory(const struct an_gather *gather)
{
    return an_fail(gather->err, AN_NO_MEMORY, "out of memory");
}

static bool is_good(const struct an_characteristic *c, const struct an_sample *sample)
{
    if (c->kind == AN_COUNTED) {
        const double rate = sample->count / sample->opportunities;
        return !isfinite(rate) || (!(rate > c->usl) && !(rate < c->lsl));
    }
    return !(sample->min < c->lsl) && !(sample->max > c->usl);
}

static enum an_status add_stream(struct an_gather *gather, const struct an_stream_sheet *sheet,
                                 const struct an_characteristic *c, int64_t from_us,
                                 struct marks *marks)
{
    struct an_sample *samples = NULL;
    size_t count = 0;
    struct an_arena *passing = an_arena_open();

    if (!passing) {
        return no_memory(gather);
    }
    enum an_status st =
        an_store_samples(gather->store, sheet->stream.stream_id, from_us,
                         gather->data->now.until_us, 0, passing, &samples, &count, gather->err);
    for (size_t i = 0; !st && i < count; i++) {
        if (!an_grow((void **)&marks->at, marks->count, &marks->room, sizeof *marks->at)) {
            st = no_memory(gather);
            break;
        }
        marks->at[marks->count++] = (struct mark){.item_id = samples[i].item_id,
                                                  .visit_id = samples[i].visit_id,
                                                  .at_us = samples[i].at_us,
                                                  .good = is_good(c, &samples[i])};
    }
    an_arena_close(passing);
    return st;
}

static int by_item_and_visit(const void *left, const void *right)
{
    const struct mark *a = left;
    const struct mark *b = right;

    if (a->item_id != b->item_id) {
        return a->item_id < b->item_id ? -1 : 1;
    }
    if (a->visit_id != b->visit_id) {
        return a->visit_id < b->visit_id ? -1 : 1;
    }
    return a->at_us < b->at_us ? -1 : a->at_us > b->at_us;
}

static int by_item_and_time(const void *left, const void *right)
{
    const struct mark *a = left;
    const struct mark *b = right;

    if (a->item_id != b->item_id) {
        return a->item_id < b->item_id ? -1 : 1;
    }
    if (a->at_us != b->at_us) {
        return a->at_us < b->at_us ? -1 : 1;
    }
    return a->visit_id < b->visit_id ? -1 : a->visit_id > b->visit_id;
}

/* Marks become visits: good if every sample was, at the time of the last one. */
static void join_visits(struct marks *marks)
{
    size_t kept = 0;

    if (!marks->count) {
        return;
    }
    qsort(marks->at, marks->count, sizeof *marks->at, by_item_and_visit);
    for (size_t i = 0; i < marks->count; i++) {
        struct mark *last = kept ? &marks->at[kept - 1] : NULL;

        if (last && last->item_id == marks->at[i].item_id &&
            last->visit_id == marks->at[i].visit_id) {
            last->good = last->good && marks->at[i].good;
            last->at_us = marks->at[i].at_us;
        } else {
            marks->at[kept++] = marks->at[i];
        }
    }
    marks->count = kept;
    qsort(marks->at, marks->count, sizeof *marks->at, by_item_and_time);
}

/* Items with a visit in the period; of them those whose first visit it was. */
static struct tally count_items(const struct marks *marks, const struct an_period *period)
{
    struct tally tally = {0};

    for (size_t i = 0; i < marks->count;) {
        const struct mark *last = NULL;
        const size_t first = i;

        for (; i < marks->count && marks->at[i].item_id == marks->at[first].item_id; i++) {
            const int64_t at_us = marks->at[i].at_us;
            if (at_us >= period->from_us && at_us < period->until_us) {
                last = &marks->at[i];
            }
        }
        if (!last) {
            continue;
        }
        tally.items++;
        tally.final_good += last->good;
        if (marks->at[first].at_us >= period->from_us) {
            tally.first_new++;
            tally.first_good += marks->at[first].good;
        }
    }
    return tally;
}

static struct an_index yield_of(int64_t good, int64_t all)
{
    struct an_index yield = {(double)NAN, (double)NAN, (double)NAN};

    if (all > 0 && an_fraction_of((double)good, (double)all, CONFIDENCE, &yield)) {
        yield = (struct an_index){(double)NAN, (double)NAN, (double)NAN};
    }
    return yield;
}

static enum an_status add_station(struct an_gather *gather, size_t which)
{
    struct an_period_data *data = gather->data;
    const struct an_station *station = &gather->line->stations[which];
    const int64_t week_us = data->now.until_us - data->now.from_us;
    struct marks marks = {0};
    enum an_status st = AN_OK;

    for (size_t i = 0; !st && i < data->sheet_count; i++) {
        const struct an_stream_sheet *sheet = &data->sheets[i];
        const struct an_station *found = NULL;
        const struct an_characteristic *c = NULL;
        const char *purpose = NULL;

        if (strcmp(sheet->stream.station, station->name) != 0 ||
            !an_judge_resolve(gather->line, &sheet->stream, &found, &c, &purpose, gather->arena) ||
            purpose || !c || c->subgroup == AN_SUBGROUP_EVERY ||
            (!isfinite(c->lsl) && !isfinite(c->usl))) {
            continue;
        }
        st = add_stream(gather, sheet, c, data->before.from_us - week_us, &marks);
    }
    join_visits(&marks);
    const struct tally now = count_items(&marks, &data->now);
    const struct tally before = count_items(&marks, &data->before);
    an_free(marks.at);
    if (st || !now.items) {
        return st;
    }
    const struct an_item_kind *kind = &gather->line->kinds[station->item_kind];
    const struct an_index last = yield_of(before.first_good, before.first_new);
    struct an_week_yield *yield = &data->week->yields[data->week->yield_count++];
    *yield = (struct an_week_yield){.title = station->title ? station->title : station->name,
                                    .kind = kind->title ? kind->title : kind->name,
                                    .items = now.items,
                                    .first_items = now.first_new,
                                    .first_good = now.first_good,
                                    .final_good = now.final_good,
                                    .first = yield_of(now.first_good, now.first_new),
                                    .last = yield_of(now.final_good, now.items),
                                    .before = last.value,
                                    .before_items = before.items};
    yield->turn = an_turn_of(&yield->first, &last, true);
    return AN_OK;
}

/* The product of the first-pass yields of all stations that work on one kind of product. */
static enum an_status add_rolled(struct an_gather *gather, const struct an_item_kind *kind)
{
    struct an_week_data *week = gather->data->week;
    const char *title = kind->title ? kind->title : kind->name;
    struct an_yield_step *steps =
        an_arena_alloc(gather->arena, week->yield_count + 1, sizeof *steps);
    size_t count = 0;
    double before = 1;

    if (!steps) {
        return no_memory(gather);
    }
    for (size_t i = 0; i < week->yield_count; i++) {
        const struct an_week_yield *yield = &week->yields[i];
        if (!yield->rolled && strcmp(yield->kind, title) == 0 && yield->first_items > 0) {
            steps[count++] = (struct an_yield_step){.units = (double)yield->first_items,
                                                    .good = (double)yield->first_good};
            before *= yield->before;
        }
    }
    if (count < 2) {
        return AN_OK;
    }
    struct an_week_yield *rolled = &week->yields[week->yield_count++];
    *rolled =
        (struct an_week_yield){.title = an_arena_printf(gather->arena, "all %zu, rolled", count),
                               .kind = title,
                               .last = {(double)NAN, (double)NAN, (double)NAN},
                               .before = before,
                               .rolled = true,
                               .steps = count};
    if (an_rolled_yield(steps, count, CONFIDENCE, &rolled->first)) {
        rolled->first = (struct an_index){(double)NAN, (double)NAN, (double)NAN};
    }
    return rolled->title ? AN_OK : no_memory(gather);
}

enum an_status an_gather_week_yields(struct an_gather *gather)
{
    struct an_week_data *week = gather->data->week;
    const struct an_line *line = gather->line;
    enum an_status st = AN_OK;

    week->yields = an_arena_alloc(gather->arena, line->station_count + line->kind_count + 1,
                                  sizeof *week->yields);
    if (!week->yields) {
        return no_memory(gather);
    }
    for (size_t i = 0; !st && i < line->station_count; i++) {
        st = add_station(gather, i);
    }
    for (size_t i = 0; !st && i < line->kind_count; i++) {
        if (line->kinds[i].product) {
            st = add_rolled(gather, &line->kinds[i]);
        }
    }
    return st;
}
