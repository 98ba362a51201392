/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the parts are made of, over all of them, and which other wholes have the same. Responsible
 * for counting each part once for each batch and role; a trace that was cut is told.
 *
 * The hard idea: shares are a part's own, so each part is traced by itself and the batches are put
 * together afterwards, by item and role.
 */
#include "report/item_data.h"
#include "report/wording.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    MOST_STEPS_DOWN = 20000, /* of one batch, when others that share it are looked for */
    MOST_LOOKED_AT = 400     /* batches of which others are looked for */
};

static bool same_text(const char *a, const char *b)
{
    return a == b || (a && b && !strcmp(a, b));
}

struct found { /* one batch of one part */
    int64_t item_id;
    const char *kind, *serial, *role;
    double share;
    bool share_whole, possible, ended;
};
struct founds {
    struct found *at;
    size_t count, room;
};

static const char *kept(struct an_arena *arena, const char *text)
{
    return text ? an_arena_copy(arena, text, strlen(text)) : NULL;
}

static enum an_status trace_part(struct an_item_gather *gather, int64_t item_id,
                                 struct founds *founds)
{
    const struct an_trace_ask ask = {.item_id = item_id,
                                     .way = AN_TRACE_UP,
                                     .from_us = AN_NO_INSTANT,
                                     .until_us = AN_NO_INSTANT};
    struct an_trace trace = {0};
    struct an_trace_missing *missing = NULL;
    size_t missing_count = 0;
    enum an_status st = an_trace_run(gather->store, &ask, &trace, gather->err);
    for (size_t i = 0; !st && i < trace.reached_count; i++) {
        const struct an_trace_reached *reached = &trace.reached[i];
        if (an_kind_is_product(gather->line, reached->item.kind)) {
            continue;
        }
        if (!an_grow((void **)&founds->at, founds->count, &founds->room, sizeof *founds->at)) {
            st = an_item_no_memory(gather);
            break;
        }
        founds->at[founds->count++] = (struct found){reached->item.item_id,
                                                     kept(gather->arena, reached->item.kind),
                                                     kept(gather->arena, reached->item.serial),
                                                     kept(gather->arena, reached->role),
                                                     reached->share,
                                                     reached->share_whole,
                                                     reached->doubt == AN_LINK_INFERRED,
                                                     !reached->holds};
    }
    gather->data->cut = gather->data->cut || trace.cut;
    st = st ? st : an_trace_missing(gather->line, &trace, &missing, &missing_count, gather->err);
    for (size_t i = 0; !st && i < missing_count; i++) {
        struct an_item_data *data = gather->data;
        const struct an_trace_missing *one = &missing[i];
        const size_t station = an_line_station(gather->line, an_bytes_of(one->station));
        const char *title = station == AN_NONE || !gather->line->stations[station].title
                                ? one->station
                                : gather->line->stations[station].title;
        const char *text =
            an_arena_printf(gather->arena, "no %s%s%s is told, of which rows of %s would tell",
                            an_kind_title(gather->line, one->kind), one->role ? " as " : "",
                            one->role ? one->role : "", title);
        const char *serial = kept(gather->arena, one->item.serial);
        bool told = false;
        for (size_t k = 0; k < data->lack_count && !told && text && serial; k++) {
            told = !strcmp(data->lacks[k].item, serial) && !strcmp(data->lacks[k].text, text);
        }
        if (!text || !serial) {
            st = an_item_no_memory(gather);
        } else if (!told && data->lack_count < AN_MOST_LACKS) {
            data->lacks[data->lack_count++] = (struct an_item_lack){serial, text};
        }
    }
    an_trace_close(&trace);
    return st;
}

static int by_batch(const void *a, const void *b)
{
    const struct found *x = a;
    const struct found *y = b;
    if (x->item_id != y->item_id) {
        return x->item_id < y->item_id ? -1 : 1;
    }
    return strcmp(x->role ? x->role : "", y->role ? y->role : "");
}

static int by_use(const void *a, const void *b)
{
    const struct an_item_batch *x = a;
    const struct an_item_batch *y = b;
    const int role = strcmp(x->role ? x->role : "", y->role ? y->role : "");
    if (x->kind_order != y->kind_order) {
        return x->kind_order < y->kind_order ? -1 : 1;
    }
    const int kind = strcmp(x->item.kind, y->item.kind); /* of kinds that are gone */
    if (kind || role) {
        return kind ? kind : role;
    }
    if (x->parts != y->parts) {
        return x->parts > y->parts ? -1 : 1;
    }
    return strcmp(x->item.serial, y->item.serial);
}

static enum an_status put_together(struct an_item_gather *gather, struct founds *founds)
{
    struct an_item_data *data = gather->data;
    if (founds->count) {
        qsort(founds->at, founds->count, sizeof *founds->at, by_batch);
    }
    data->batches = an_arena_alloc(gather->arena, founds->count + 1, sizeof *data->batches);
    if (!data->batches) {
        return an_item_no_memory(gather);
    }
    for (size_t i = 0; i < founds->count;) {
        struct an_item_batch *batch = &data->batches[data->batch_count++];
        const struct found *first = &founds->at[i];
        size_t told = 0;
        double sum = 0;
        if (!first->kind || !first->serial) {
            return an_item_no_memory(gather);
        }
        *batch = (struct an_item_batch){.item = {first->item_id, first->kind, first->serial},
                                        .kind_title = an_kind_title(gather->line, first->kind),
                                        .kind_order =
                                            an_line_kind(gather->line, an_bytes_of(first->kind)),
                                        .role = first->role,
                                        .share_whole = true};
        for (; i < founds->count && founds->at[i].item_id == first->item_id &&
               same_text(founds->at[i].role, first->role);
             i++) {
            batch->parts++;
            batch->possible += founds->at[i].possible;
            batch->ended += founds->at[i].ended;
            batch->share_whole = batch->share_whole && founds->at[i].share_whole;
            if (isfinite(founds->at[i].share)) {
                told++;
                sum += founds->at[i].share;
            }
        }
        batch->share = told ? sum / (double)told : (double)NAN;
        batch->share_whole = batch->share_whole && told == batch->parts;
    }
    qsort(data->batches, data->batch_count, sizeof *data->batches, by_use);
    return AN_OK;
}

/* ---- tools, gauges, people ------------------------------------------------------------------------- */
static int by_tool(const void *a, const void *b)
{
    const struct an_item_tool *x = a;
    const struct an_item_tool *y = b;
    const int station = strcmp(x->station_title, y->station_title);
    const int what = strcmp(x->what, y->what);
    return station ? station : what ? what : strcmp(x->name, y->name);
}

static enum an_status gather_tools(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    size_t room = 1;
    for (size_t p = 0; p < data->part_count; p++) {
        room += data->parts[p].stay_count * 3;
    }
    struct an_item_tool *tools = an_arena_alloc(gather->arena, room, sizeof *tools);
    if (!tools) {
        return an_item_no_memory(gather);
    }
    size_t count = 0;
    for (size_t p = 0; p < data->part_count; p++) {
        const size_t begin = count;
        for (size_t s = 0; s < data->parts[p].stay_count; s++) {
            const struct an_item_stay *stay = &data->parts[p].stays[s];
            const size_t k = an_line_station(gather->line, an_bytes_of(stay->station));
            const char *title = k == AN_NONE || !gather->line->stations[k].title
                                    ? stay->station
                                    : gather->line->stations[k].title;
            const char *const names[3] = {stay->tool, stay->gauge, stay->who};
            static const char *const what[3] = {"tool", "gauge", "operator"};
            for (size_t n = 0; n < 3; n++) {
                const struct an_item_tool one = {title, what[n], names[n], 1};
                bool known = !names[n] || !*names[n];
                for (size_t i = begin; i < count && !known; i++) {
                    known = by_tool(&tools[i], &one) == 0;
                }
                if (!known) {
                    tools[count++] = one;
                }
            }
        }
    }
    qsort(tools, count, sizeof *tools, by_tool);
    for (size_t i = 0; i < count; i++) {
        struct an_item_tool *last = data->tool_count ? &tools[data->tool_count - 1] : NULL;
        if (last && by_tool(last, &tools[i]) == 0) {
            last->parts++;
        } else {
            tools[data->tool_count++] = tools[i];
        }
    }
    data->tools = tools;
    return AN_OK;
}

/* ---- others that share ---------------------------------------------------------------------------------- */
struct shared { /* one whole, one batch in common */
    int64_t item_id;
    const char *kind, *serial, *batch_kind;
};

static int by_whole(const void *a, const void *b)
{
    const struct shared *x = a;
    const struct shared *y = b;
    if (x->item_id != y->item_id) {
        return x->item_id < y->item_id ? -1 : 1;
    }
    return strcmp(x->batch_kind, y->batch_kind);
}

static int by_common(const void *a, const void *b)
{
    const struct an_item_sharer *x = a;
    const struct an_item_sharer *y = b;
    if (x->batches != y->batches) {
        return x->batches > y->batches ? -1 : 1;
    }
    return strcmp(x->item.serial, y->item.serial);
}

/* Not another whole: this one, the one that this tile is in, or no whole at all. */
static bool is_mine(const struct an_item_gather *gather, const struct an_item *item)
{
    bool mine = item->item_id == gather->data->item.item_id ||
                !an_kind_has_places(gather->line, item->kind);
    for (size_t p = 0; p < gather->data->carrier_count && !mine; p++) {
        mine = gather->data->carriers[p].item.item_id == item->item_id;
    }
    return mine;
}

static enum an_status trace_batch(struct an_item_gather *gather, struct an_item_batch *batch,
                                  struct shared **at, size_t *count, size_t *room)
{
    const struct an_trace_ask ask = {.item_id = batch->item.item_id,
                                     .way = AN_TRACE_DOWN,
                                     .from_us = AN_NO_INSTANT,
                                     .until_us = AN_NO_INSTANT,
                                     .most_steps = MOST_STEPS_DOWN};
    struct an_trace trace = {0};
    enum an_status st = an_trace_run(gather->store, &ask, &trace, gather->err);
    const size_t begin = *count;
    gather->data->cut = gather->data->cut || trace.cut;
    for (size_t i = 0; !st && i < trace.reached_count; i++) {
        const struct an_trace_reached *reached = &trace.reached[i];
        if (is_mine(gather, &reached->item)) {
            continue;
        }
        if (!an_grow((void **)at, *count, room, sizeof **at)) {
            st = an_item_no_memory(gather);
            break;
        }
        (*at)[(*count)++] =
            (struct shared){reached->item.item_id, kept(gather->arena, reached->item.kind),
                            kept(gather->arena, reached->item.serial), batch->kind_title};
    }
    if (!st && *count > begin) { /* a whole reached in several roles is one */
        qsort(*at + begin, *count - begin, sizeof **at, by_whole);
        size_t end = begin;
        for (size_t i = begin; i < *count; i++) {
            if (end == begin || (*at)[end - 1].item_id != (*at)[i].item_id) {
                (*at)[end++] = (*at)[i];
            }
        }
        *count = end;
        batch->others = end - begin;
    }
    an_trace_close(&trace);
    return st;
}

static enum an_status say_sharers(struct an_item_gather *gather, struct shared *at, size_t count)
{
    struct an_item_data *data = gather->data;
    if (count) {
        qsort(at, count, sizeof *at, by_whole);
    }
    data->sharers = an_arena_alloc(gather->arena, count + 1, sizeof *data->sharers);
    if (!data->sharers) {
        return an_item_no_memory(gather);
    }
    for (size_t i = 0; i < count;) {
        struct an_item_sharer *sharer = &data->sharers[data->sharer_count++];
        *sharer =
            (struct an_item_sharer){.item = {at[i].item_id, at[i].kind, at[i].serial}, .words = ""};
        const size_t first = i;
        while (i < count && at[i].item_id == at[first].item_id) {
            size_t same = i;
            while (same < count && at[same].item_id == at[i].item_id &&
                   !strcmp(at[same].batch_kind, at[i].batch_kind)) {
                same++;
            }
            sharer->batches += same - i;
            sharer->words =
                an_arena_printf(gather->arena, "%s%s%s", sharer->words, *sharer->words ? ", " : "",
                                an_say_many(gather->arena, (int64_t)(same - i), at[i].batch_kind));
            if (!sharer->words) {
                return an_item_no_memory(gather);
            }
            i = same;
        }
    }
    qsort(data->sharers, data->sharer_count, sizeof *data->sharers, by_common);
    return AN_OK;
}

static enum an_status gather_sharers(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    struct shared *at = NULL;
    size_t count = 0;
    size_t room = 0;
    int64_t last = 0;
    enum an_status st = AN_OK;
    for (size_t i = 0; !st && i < data->batch_count; i++) {
        struct an_item_batch *batch = &data->batches[i];
        bool done = false; /* in another role already */
        for (size_t k = 0; k < i && !done; k++) {
            done = data->batches[k].item.item_id == batch->item.item_id;
            last = done ? (int64_t)data->batches[k].others : last;
        }
        if (done) {
            batch->others = (size_t)last;
        } else if (data->sharers_looked_at < MOST_LOOKED_AT) {
            data->sharers_looked_at++;
            st = trace_batch(gather, batch, &at, &count, &room);
        } else {
            data->cut = true;
        }
    }
    st = st ? st : say_sharers(gather, at, count);
    an_free(at);
    return st;
}

enum an_status an_gather_made_of(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    struct founds founds = {0};
    enum an_status st = AN_OK;
    for (size_t p = 0; !st && p < data->part_count; p++) {
        st = trace_part(gather, data->parts[p].item.item_id, &founds);
    }
    st = st ? st : put_together(gather, &founds);
    an_free(founds.at);
    st = st ? st : gather_tools(gather);
    return st || data->kind == AN_REPORT_BATCH ? st : gather_sharers(gather);
}
