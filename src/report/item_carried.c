/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What carries a batch, and where that is now. Responsible for keeping certain and possible apart:
 * possible is what only an inferred link ties to it; what was taken out again is told as such.
 *
 * The hard idea: one trace down tells all of it. What an item sits in now is a step of that trace
 * that starts from it, leads to a kind with places, and has not ended.
 */
#include "report/item_data.h"
#include "report/wording.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char *kept(struct an_arena *arena, const char *text)
{
    return text ? an_arena_copy(arena, text, strlen(text)) : NULL;
}

static int by_kind_and_serial(const void *a, const void *b)
{
    const struct an_item_carrier *x = a;
    const struct an_item_carrier *y = b;
    const int kind = strcmp(x->item.kind, y->item.kind);
    if (x->product != y->product) {
        return x->product ? -1 : 1;
    }
    return kind ? kind : strcmp(x->item.serial, y->item.serial);
}

static int by_item(const void *a, const void *b)
{
    const struct an_item_carrier *x = a;
    const struct an_item_carrier *y = b;
    return (x->item.item_id > y->item.item_id) - (x->item.item_id < y->item.item_id);
}

/* Where each sits now: the newest link that has not ended, into a kind with places. */
static enum an_status find_places(struct an_item_gather *gather, const struct an_trace *trace)
{
    struct an_item_data *data = gather->data;
    for (size_t i = 0; i < trace->step_count; i++) {
        const struct an_trace_step *step = &trace->steps[i];
        const int64_t from_id = step->from == AN_TRACE_START
                                    ? trace->item.item_id
                                    : trace->steps[step->from].item.item_id;
        if (step->until_us != AN_NO_INSTANT || !an_kind_has_places(gather->line, step->item.kind)) {
            continue;
        }
        const struct an_item_carrier key = {.item = {.item_id = from_id}};
        struct an_item_carrier *carrier =
            data->carrier_count
                ? bsearch(&key, data->carriers, data->carrier_count, sizeof key, by_item)
                : NULL;
        if (!carrier || (carrier->whole.item_id && carrier->since_us >= step->from_us)) {
            continue;
        }
        carrier->whole.item_id = step->item.item_id;
        carrier->whole.kind = kept(gather->arena, step->item.kind);
        carrier->whole.serial = kept(gather->arena, step->item.serial);
        carrier->row = step->link.row;
        carrier->column = step->link.column;
        carrier->since_us = step->from_us;
        if (!carrier->whole.kind || !carrier->whole.serial) {
            return an_item_no_memory(gather);
        }
    }
    return AN_OK;
}

static enum an_status last_seen(struct an_item_gather *gather, struct an_item_carrier *carrier)
{
    struct an_arena *scratch = an_arena_open();
    struct an_item_stay *stays = NULL;
    size_t count = 0;
    if (!scratch) {
        return an_item_no_memory(gather);
    }
    enum an_status st = an_store_item_stays(gather->store, carrier->item.item_id, scratch, &stays,
                                            &count, gather->err);
    for (size_t i = 0; !st && i < count; i++) {
        carrier->first_us =
            i == 0 || stays[i].first_us < carrier->first_us ? stays[i].first_us : carrier->first_us;
        if (stays[i].last_us >= carrier->last_us) {
            const size_t k = an_line_station(gather->line, an_bytes_of(stays[i].station));
            carrier->last_us = stays[i].last_us;
            carrier->last_station = k == AN_NONE || !gather->line->stations[k].title
                                        ? kept(gather->arena, stays[i].station)
                                        : gather->line->stations[k].title;
            st = carrier->last_station ? AN_OK : an_item_no_memory(gather);
        }
    }
    an_arena_close(scratch);
    return st;
}

/* By item, then role. */
static int by_reached(const void *a, const void *b)
{
    const struct an_trace_reached *x = *(const struct an_trace_reached *const *)a;
    const struct an_trace_reached *y = *(const struct an_trace_reached *const *)b;
    if (x->item.item_id != y->item.item_id) {
        return x->item.item_id < y->item.item_id ? -1 : 1;
    }
    return strcmp(x->role ? x->role : "", y->role ? y->role : "");
}

/* An item is reached once a role; here it stands once, with all its roles. They come by item. */
static enum an_status add_reached(struct an_item_gather *gather,
                                  const struct an_trace_reached *reached)
{
    struct an_item_data *data = gather->data;
    struct an_item_carrier *carrier =
        data->carrier_count ? &data->carriers[data->carrier_count - 1] : NULL;
    const bool certain = reached->doubt != AN_LINK_INFERRED;
    if (!carrier || carrier->item.item_id != reached->item.item_id) {
        carrier = &data->carriers[data->carrier_count++];
        *carrier = (struct an_item_carrier){
            .item = {reached->item.item_id, kept(gather->arena, reached->item.kind),
                     kept(gather->arena, reached->item.serial)},
            .kind_title = an_kind_title(gather->line, reached->item.kind),
            .product = an_kind_is_product(gather->line, reached->item.kind),
            .roles = "",
            .share = (double)NAN,
            .row = -1,
            .column = -1,
            .since_us = AN_NO_INSTANT,
            .first_us = AN_NO_INSTANT,
            .last_us = AN_NO_INSTANT};
        carrier->kind_title = kept(gather->arena, carrier->kind_title);
    }
    carrier->certain = carrier->certain || certain;
    carrier->holds = carrier->holds || reached->holds;
    if (isfinite(reached->share)) {
        carrier->share =
            isfinite(carrier->share) ? carrier->share + reached->share : reached->share;
    }
    if (reached->role) {
        carrier->roles = an_arena_printf(gather->arena, "%s%s%s", carrier->roles,
                                         *carrier->roles ? ", " : "", reached->role);
    }
    return carrier->item.kind && carrier->item.serial && carrier->roles && carrier->kind_title
               ? AN_OK
               : an_item_no_memory(gather);
}

static enum an_status count_kinds(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    data->carried = an_arena_alloc(gather->arena, data->carrier_count + 1, sizeof *data->carried);
    if (!data->carried) {
        return an_item_no_memory(gather);
    }
    for (size_t i = 0; i < data->carrier_count; i++) {
        const struct an_item_carrier *carrier = &data->carriers[i];
        struct an_carried_count *last =
            data->carried_count ? &data->carried[data->carried_count - 1] : NULL;
        if (!last || strcmp(last->kind, carrier->item.kind) != 0) {
            last = &data->carried[data->carried_count++];
            *last = (struct an_carried_count){.kind = carrier->item.kind,
                                              .kind_title = carrier->kind_title,
                                              .product = carrier->product};
        }
        last->certain += carrier->certain && carrier->holds;
        last->possible += !carrier->certain && carrier->holds;
        last->ended += !carrier->holds;
        last->placed += carrier->whole.item_id != 0;
    }
    return AN_OK;
}

/* ---- its neighbours ------------------------------------------------------------------------------------ */
static int by_first_use(const void *a, const void *b)
{
    const struct an_item_neighbour *x = a;
    const struct an_item_neighbour *y = b;
    if (x->first_us != y->first_us) {
        return x->first_us < y->first_us ? -1 : 1;
    }
    return strcmp(x->item.serial, y->item.serial);
}

static int by_other_end(const void *a, const void *b)
{
    const struct an_lineage *x = a;
    const struct an_lineage *y = b;
    return (x->item.item_id > y->item.item_id) - (x->item.item_id < y->item.item_id);
}

static enum an_status use_of(struct an_item_gather *gather, struct an_item_neighbour *one)
{
    struct an_arena *scratch = an_arena_open();
    struct an_lineage *lineage = NULL;
    size_t count = 0;
    if (!scratch) {
        return an_item_no_memory(gather);
    }
    const enum an_status st = an_store_lineage(gather->store, one->item.item_id, false, scratch,
                                               &lineage, &count, gather->err);
    one->first_us = one->last_us = AN_NO_INSTANT;
    if (!st && count) {
        qsort(lineage, count, sizeof *lineage, by_other_end);
    }
    for (size_t i = 0; !st && i < count; i++) {
        const int64_t at_us = lineage[i].link.at_us;
        one->used_in += !i || lineage[i - 1].item.item_id != lineage[i].item.item_id;
        if (at_us == AN_NO_INSTANT) {
            continue;
        }
        one->first_us =
            one->first_us == AN_NO_INSTANT || at_us < one->first_us ? at_us : one->first_us;
        one->last_us = at_us > one->last_us ? at_us : one->last_us;
    }
    an_arena_close(scratch);
    return st;
}

static enum an_status gather_neighbours(struct an_item_gather *gather)
{
    enum { NEAR = 6, SHOWN = 7 };
    struct an_item_data *data = gather->data;
    struct an_item *items = NULL;
    size_t count = 0;
    enum an_status st = an_store_items_beside(gather->store, data->item.kind, data->item.serial,
                                              NEAR, gather->arena, &items, &count, gather->err);
    data->neighbours = an_arena_alloc(gather->arena, 2 * NEAR + 1, sizeof *data->neighbours);
    if (!st && !data->neighbours) {
        st = an_item_no_memory(gather);
    }
    if (!st) {
        data->neighbours[data->neighbour_count++] =
            (struct an_item_neighbour){.item = data->item, .itself = true};
    }
    for (size_t i = 0; !st && i < count; i++) {
        data->neighbours[data->neighbour_count++] = (struct an_item_neighbour){.item = items[i]};
    }
    for (size_t i = 0; !st && i < data->neighbour_count; i++) {
        st = use_of(gather, &data->neighbours[i]);
    }
    if (!st && data->neighbour_count) {
        qsort(data->neighbours, data->neighbour_count, sizeof *data->neighbours, by_first_use);
        size_t at = 0;
        while (!data->neighbours[at].itself) {
            at++;
        }
        size_t first = at > SHOWN / 2 ? at - SHOWN / 2 : 0;
        if (first + SHOWN > data->neighbour_count) {
            first = data->neighbour_count > SHOWN ? data->neighbour_count - SHOWN : 0;
        }
        data->neighbours += first;
        data->neighbour_count =
            data->neighbour_count - first < SHOWN ? data->neighbour_count - first : SHOWN;
    }
    return st;
}

enum an_status an_gather_carried(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    const struct an_trace_ask ask = {.item_id = data->item.item_id,
                                     .way = AN_TRACE_DOWN,
                                     .from_us = AN_NO_INSTANT,
                                     .until_us = AN_NO_INSTANT};
    struct an_trace trace = {0};
    enum an_status st = an_trace_run(gather->store, &ask, &trace, gather->err);
    data->carriers =
        st ? NULL : an_arena_alloc(gather->arena, trace.reached_count + 1, sizeof *data->carriers);
    if (!st && !data->carriers) {
        st = an_item_no_memory(gather);
    }
    const struct an_trace_reached **order =
        st ? NULL : an_arena_alloc(gather->arena, trace.reached_count + 1, sizeof *order);
    if (!st && !order) {
        st = an_item_no_memory(gather);
    }
    data->cut = data->cut || trace.cut;
    for (size_t i = 0; !st && i < trace.reached_count; i++) {
        order[i] = &trace.reached[i];
    }
    if (!st) {
        qsort(order, trace.reached_count, sizeof *order, by_reached);
    }
    for (size_t i = 0; !st && i < trace.reached_count; i++) {
        const char *wanted = gather->report->role;
        if (!wanted || (order[i]->role && !strcmp(order[i]->role, wanted))) {
            st = add_reached(gather, order[i]);
        }
    }
    st = st ? st : find_places(gather, &trace);
    an_trace_close(&trace);
    for (size_t i = 0; !st && i < data->carrier_count; i++) {
        st = last_seen(gather, &data->carriers[i]);
    }
    if (!st && data->carrier_count) {
        qsort(data->carriers, data->carrier_count, sizeof *data->carriers, by_kind_and_serial);
    }
    st = st ? st : count_kinds(gather);
    st = st ? st : an_gather_whereabouts(gather);
    return st ? st : gather_neighbours(gather);
}
