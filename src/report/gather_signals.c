/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The shift's signals and the product they carry. Responsible for counting each item once however
 * many signals it carries; never decides what a signal is (the judge did).
 *
 * Its one hard idea: items are looked up once for all signals (sorted ids, then a search), since
 * the same tiles stand in many signals' lists.
 */
#include "report/gather.h"
#include "report/wording.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_LISTED = 20000 }; /* items whose serial and whereabouts are looked up */

struct known_item {
    int64_t item_id;
    const char *serial, *in;
};

static enum an_status no_memory(const struct an_gather *gather)
{
    return an_fail(gather->err, AN_NO_MEMORY, "out of memory");
}

static int by_id(const void *a, const void *b)
{
    const int64_t x = *(const int64_t *)a;
    const int64_t y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

/* Sorted, each once. */
static size_t distinct(int64_t *ids, size_t count)
{
    qsort(ids, count, sizeof *ids, by_id);
    size_t kept = 0;
    for (size_t i = 0; i < count; i++) {
        if (!kept || ids[kept - 1] != ids[i]) {
            ids[kept++] = ids[i];
        }
    }
    return kept;
}

static const struct an_item_kind *kind_titled(const struct an_line *line, const char *title)
{
    for (size_t i = 0; title && i < line->kind_count; i++) {
        const struct an_item_kind *kind = &line->kinds[i];
        if ((kind->title && !strcmp(kind->title, title)) || !strcmp(kind->name, title)) {
            return kind;
        }
    }
    return NULL;
}

static const char *title_of(const struct an_item_kind *kind)
{
    return kind->title ? kind->title : kind->name;
}

/* Serial of the item, and of the newest one of that kind it went into. */
static enum an_status look_up(struct an_gather *gather, int64_t item_id, const char *into_kind,
                              struct known_item *known)
{
    struct an_item item = {0};
    known->item_id = item_id;
    enum an_status st =
        an_store_item_by_id(gather->store, item_id, gather->arena, &item, gather->err);
    if (st) {
        return st;
    }
    known->serial = item.serial;
    if (!into_kind) {
        return AN_OK;
    }
    struct an_linked *linked = NULL;
    size_t count = 0;
    st = an_store_linked(gather->store, item_id, false, into_kind, gather->arena, &linked, &count,
                         gather->err);
    int64_t newest_us = 0;
    for (size_t i = 0; !st && i < count; i++) {
        if (!known->in || linked[i].link.at_us >= newest_us) {
            known->in = linked[i].item.serial;
            newest_us = linked[i].link.at_us;
        }
    }
    return st;
}

static enum an_status carried_items(struct an_gather *gather, struct an_period_signal *one)
{
    const struct an_signal *signal = &one->signal;
    const struct an_item_kind *into = kind_titled(gather->line, signal->next_kind);
    one->item_count = signal->item_count < MOST_LISTED ? signal->item_count : MOST_LISTED;
    one->items =
        an_arena_alloc(gather->arena, one->item_count ? one->item_count : 1, sizeof *one->items);
    if (!one->items) {
        return no_memory(gather);
    }
    for (size_t i = 0; i < one->item_count; i++) {
        struct known_item known = {0};
        const enum an_status st =
            look_up(gather, signal->item_ids[i], into ? into->name : NULL, &known);
        if (st) {
            return st;
        }
        one->items[i] =
            (struct an_carried_item){.serial = known.serial, .kind = one->kind, .in = known.in};
    }
    return AN_OK;
}

static enum an_status fill_signal(struct an_gather *gather, const struct an_signal *from,
                                  struct an_period_signal *one)
{
    one->signal = *from;
    one->sheet = AN_NONE;
    one->is_new = from->record.signal_us >= gather->data->now.from_us;
    one->kind = "item";
    one->onset_at = one->onset_earliest = one->onset_latest = (double)NAN;
    if (from->station && from->station->item_kind < gather->line->kind_count) {
        const struct an_item_kind *kind = &gather->line->kinds[from->station->item_kind];
        one->kind = title_of(kind);
        one->product = kind->product;
    }
    /* a reference item comes round again and again: it tells of the gauge, it is no product */
    const struct an_station *station = NULL;
    const struct an_characteristic *characteristic = NULL;
    const char *purpose = NULL;
    (void)an_judge_resolve(gather->line, &from->stream, &station, &characteristic, &purpose,
                           gather->arena);
    if (purpose) {
        one->product = false;
        one->kind = an_arena_printf(gather->arena, "%s item", purpose);
        if (!one->kind) {
            return no_memory(gather);
        }
    }
    one->name = an_arena_printf(gather->arena, "stream-%lld", (long long)from->stream.stream_id);
    return one->name ? carried_items(gather, one) : no_memory(gather);
}

static enum an_status count_in_next(struct an_gather *gather, const int64_t *ids, size_t count,
                                    const char *next, struct an_kind_at_risk *risk)
{
    const struct an_item_kind *into = kind_titled(gather->line, next);
    if (!into) {
        return AN_OK;
    }
    risk->next = title_of(into);
    return an_store_count_in(gather->store, ids, count, into->name, &risk->in_next, gather->err);
}

static int by_text(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

/* First and last in the order of serials, whatever order they came in. */
static void widen(struct an_kind_at_risk *risk, const char *serial)
{
    if (serial && (!risk->first || strcmp(serial, risk->first) < 0)) {
        risk->first = serial;
    }
    if (serial && (!risk->last || strcmp(serial, risk->last) > 0)) {
        risk->last = serial;
    }
}

/* Distinct items of one kind over all open signals. */
static enum an_status one_kind(struct an_gather *gather, const char *kind, bool product)
{
    struct an_period_data *data = gather->data;
    struct an_kind_at_risk *risk = &data->at_risk[data->at_risk_count];
    *risk = (struct an_kind_at_risk){.kind = kind, .product = product};
    size_t all = 0;
    size_t listed = 0;
    const char *next = NULL;
    for (size_t i = 0; i < data->signal_count; i++) {
        const struct an_period_signal *one = &data->signals[i];
        if (one->signal.open && !strcmp(one->kind, kind)) {
            all += one->signal.item_count;
            listed += one->item_count;
            next = one->signal.next_kind ? one->signal.next_kind : next;
        }
    }
    int64_t *ids = an_arena_alloc(gather->arena, all ? all : 1, sizeof *ids);
    const char **walls = an_arena_alloc(gather->arena, listed ? listed : 1, sizeof *walls);
    if (!ids || !walls) {
        return no_memory(gather);
    }
    size_t count = 0;
    size_t wall_count = 0;
    for (size_t i = 0; i < data->signal_count; i++) {
        const struct an_period_signal *one = &data->signals[i];
        if (!one->signal.open || strcmp(one->kind, kind) != 0) {
            continue;
        }
        for (size_t k = 0; k < one->signal.item_count; k++) {
            ids[count++] = one->signal.item_ids[k];
            widen(risk, one->signal.item_serials[k]);
        }
        for (size_t k = 0; k < one->item_count; k++) {
            if (one->items[k].in) {
                walls[wall_count++] = one->items[k].in;
            }
        }
    }
    if (wall_count) {
        qsort(walls, wall_count, sizeof *walls, by_text);
    }
    for (size_t i = 0; i < wall_count; i++) {
        risk->next_items += i == 0 || strcmp(walls[i], walls[i - 1]) != 0;
    }
    risk->items = distinct(ids, count);
    const enum an_status st = count_in_next(gather, ids, risk->items, next, risk);
    data->at_risk_count += !st && risk->items;
    return st;
}

static bool kind_is_there(const struct an_period_data *data, const char *kind)
{
    for (size_t i = 0; i < data->at_risk_count; i++) {
        if (!strcmp(data->at_risk[i].kind, kind)) {
            return true;
        }
    }
    return false;
}

/* Product kinds first. */
static enum an_status sum_at_risk(struct an_gather *gather)
{
    struct an_period_data *data = gather->data;
    data->at_risk = an_arena_alloc(gather->arena, data->signal_count + 1, sizeof *data->at_risk);
    if (!data->at_risk) {
        return no_memory(gather);
    }
    for (int product = 1; product >= 0; product--) {
        for (size_t i = 0; i < data->signal_count; i++) {
            const struct an_period_signal *one = &data->signals[i];
            if (!one->signal.open || one->product != (product == 1) ||
                kind_is_there(data, one->kind)) {
                continue;
            }
            const enum an_status st = one_kind(gather, one->kind, one->product);
            if (st) {
                return st;
            }
        }
    }
    return AN_OK;
}

/* "cause; action; containment; remark", what of it was told. */
static enum an_status add_answer(struct an_gather *gather, struct an_period_signal *one)
{
    struct an_answer *answers = NULL;
    size_t count = 0;
    if (one->signal.open) {
        return AN_OK;
    }
    const enum an_status st = an_store_answers(gather->store, one->signal.record.signal_id,
                                               gather->arena, &answers, &count, gather->err);
    if (st || !count) {
        return st;
    }
    const struct an_answer *newest = &answers[count - 1];
    const char *const parts[] = {newest->cause, newest->action, newest->containment,
                                 newest->reason};
    one->answered_by = newest->author;
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        if (parts[i] && *parts[i]) {
            one->answer = one->answer
                              ? an_arena_printf(gather->arena, "%s; %s", one->answer, parts[i])
                              : parts[i];
            if (!one->answer) {
                return no_memory(gather);
            }
        }
    }
    return AN_OK;
}

enum an_status an_gather_signals(struct an_gather *gather)
{
    struct an_period_data *data = gather->data;
    struct an_signal *signals = NULL;
    size_t count = 0;
    enum an_status st =
        an_signals(gather->store, gather->line, 0, data->now.from_us, data->now.until_us,
                   gather->arena, &signals, &count, gather->err);
    if (st) {
        return st;
    }
    data->signals = an_arena_alloc(gather->arena, count ? count : 1, sizeof *data->signals);
    if (!data->signals) {
        return no_memory(gather);
    }
    /* answered ones after the open ones, both in the order given */
    for (int open = 1; open >= 0; open--) {
        for (size_t i = 0; i < count; i++) {
            if (signals[i].open != (open == 1)) {
                continue;
            }
            st = fill_signal(gather, &signals[i], &data->signals[data->signal_count]);
            st = st ? st : add_answer(gather, &data->signals[data->signal_count]);
            if (st) {
                return st;
            }
            data->signal_count++;
            data->open_signals += signals[i].open;
        }
    }
    return sum_at_risk(gather);
}

static double index_at(const struct an_panel_sheet *panel, int64_t at_us)
{
    size_t i = 0;
    while (i < panel->count && panel->points[i].at_us < at_us) {
        i++;
    }
    return (double)(i < panel->count ? i : panel->count ? panel->count - 1 : 0);
}

static bool same_moment(const struct an_signal *a, const struct an_signal *b)
{
    return a->has_change && b->has_change && a->onset_earliest_us <= b->onset_latest_us &&
           b->onset_earliest_us <= a->onset_latest_us;
}

static int64_t apart(const struct an_period_signal *a, const struct an_period_signal *b)
{
    const int64_t span = a->signal.onset_us - b->signal.onset_us;
    return span < 0 ? -span : span;
}

static enum an_status find_also(struct an_gather *gather, size_t which)
{
    struct an_period_data *data = gather->data;
    struct an_period_signal *one = &data->signals[which];
    one->also = an_arena_alloc(gather->arena, data->signal_count, sizeof *one->also);
    if (!one->also) {
        return no_memory(gather);
    }
    for (size_t i = 0; i < data->signal_count; i++) {
        if (i != which && same_moment(&one->signal, &data->signals[i].signal) &&
            data->signals[i].signal.stream.stream_id != one->signal.stream.stream_id) {
            one->also[one->also_count++] = i;
        }
    }
    /* nearest start first */
    for (size_t i = 1; i < one->also_count; i++) {
        const size_t moved = one->also[i];
        size_t k = i;
        while (k &&
               apart(one, &data->signals[moved]) < apart(one, &data->signals[one->also[k - 1]])) {
            one->also[k] = one->also[k - 1];
            k--;
        }
        one->also[k] = moved;
    }
    return AN_OK;
}

enum an_status an_gather_onsets(struct an_gather *gather)
{
    struct an_period_data *data = gather->data;
    for (size_t i = 0; i < data->signal_count; i++) {
        struct an_period_signal *one = &data->signals[i];
        bool seen = false;
        bool fresh = true; /* every signal of this stream was first met in this shift */
        for (size_t k = 0; k < data->signal_count; k++) {
            if (data->signals[k].signal.stream.stream_id == one->signal.stream.stream_id) {
                seen = seen || k < i;
                fresh = fresh && data->signals[k].is_new;
            }
        }
        data->moved_streams += !seen;
        data->new_streams += !seen && fresh;
        for (size_t k = 0; k < data->sheet_count && one->sheet == AN_NONE; k++) {
            if (data->sheets[k].stream.stream_id == one->signal.stream.stream_id) {
                one->sheet = k;
            }
        }
        if (one->sheet == AN_NONE) {
            return an_fail(gather->err, AN_BUG, "signal %lld has no stream",
                           (long long)one->signal.record.signal_id);
        }
        if (one->signal.has_change) {
            const struct an_panel_sheet *level = &data->sheets[one->sheet].panel[0];
            one->onset_at = index_at(level, one->signal.onset_us);
            one->onset_earliest = index_at(level, one->signal.onset_earliest_us);
            one->onset_latest = index_at(level, one->signal.onset_latest_us);
        }
        const enum an_status st = find_also(gather, i);
        if (st) {
            return st;
        }
    }
    return AN_OK;
}
