/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Ancestors that several items share. Must never say that what is shared is a cause. */
#include "andamento/base/memory.h"
#include "trace/nodes.h"
#include "trace/trace.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct gathering {
    struct an_trace_common *common;
    struct an_nodes nodes;
    struct an_trace_shared *shared; /* one a node */
    size_t shared_capacity;
    struct an_arena *arena;
};

/* The place of an ancestor, made if it is the first of the items that has it. */
static struct an_trace_shared *shared_of(struct gathering *g, const struct an_item *item,
                                         const char *role, uint32_t depth)
{
    const size_t items = g->common->item_count;
    bool is_new = false;
    void *array = g->shared;

    if (!an_grow(&array, g->nodes.count, &g->shared_capacity, sizeof *g->shared)) {
        return NULL;
    }
    g->shared = array;
    const size_t node = an_nodes_add(&g->nodes, item->item_id, &is_new);
    if (node == SIZE_MAX) {
        return NULL;
    }
    struct an_trace_shared *shared = &g->shared[node];
    if (!is_new) {
        shared->depth = depth < shared->depth ? depth : shared->depth;
        return shared;
    }
    *shared = (struct an_trace_shared){
        .item = {.item_id = item->item_id,
                 .kind = an_arena_copy(g->arena, item->kind, strlen(item->kind)),
                 .serial = an_arena_copy(g->arena, item->serial, strlen(item->serial))},
        .role = role ? an_arena_copy(g->arena, role, strlen(role)) : NULL,
        .depth = depth,
        .share = an_arena_alloc(g->arena, items, sizeof(double)),
        .has = an_arena_alloc(g->arena, items, sizeof(bool))};
    if (!shared->item.kind || !shared->item.serial || (role && !shared->role) || !shared->share ||
        !shared->has) {
        return NULL;
    }
    for (size_t i = 0; i < items; i++) {
        shared->share[i] = (double)NAN;
    }
    return shared;
}

static bool gather(struct gathering *g, const struct an_trace *trace, size_t number)
{
    struct an_trace_shared *own = shared_of(g, &trace->item, NULL, 0);

    if (!own) {
        return false;
    }
    own->of += own->has[number] ? 0 : 1;
    own->has[number] = true;
    own->share[number] = 1;
    for (size_t k = 0; k < trace->reached_count; k++) {
        const struct an_trace_reached *reached = &trace->reached[k];
        struct an_trace_shared *shared =
            shared_of(g, &reached->item, reached->role, reached->depth);

        if (!shared) {
            return false;
        }
        if (!shared->has[number]) {
            shared->of++;
            shared->has[number] = true;
            shared->share[number] = reached->share;
        } else if (!isnan(reached->share)) { /* in another role */
            shared->share[number] =
                reached->share + (isnan(shared->share[number]) ? 0 : shared->share[number]);
        }
    }
    return true;
}

static int compare_shared(const void *left, const void *right)
{
    const struct an_trace_shared *a = left;
    const struct an_trace_shared *b = right;
    int order = (a->of < b->of) - (a->of > b->of);

    order = order ? order : strcmp(a->item.kind, b->item.kind);
    order = order ? order : strcmp(a->role ? a->role : "", b->role ? b->role : "");
    return order ? order : strcmp(a->item.serial, b->item.serial);
}

static bool keep_shared(struct gathering *g, size_t least)
{
    struct an_trace_common *common = g->common;

    common->shared = an_arena_alloc(common->arena, g->nodes.count + 1, sizeof *common->shared);
    if (!common->shared) {
        return false;
    }
    for (size_t i = 0; i < g->nodes.count; i++) {
        if (g->shared[i].of >= least) {
            common->shared[common->shared_count++] = g->shared[i];
        }
    }
    qsort(common->shared, common->shared_count, sizeof *common->shared, compare_shared);
    return true;
}

static enum an_status gather_all(struct gathering *g, struct an_store *store,
                                 const int64_t *item_ids, struct an_error *err)
{
    enum an_status st = AN_OK;

    for (size_t i = 0; i < g->common->item_count && !st; i++) {
        const struct an_trace_ask ask = {.item_id = item_ids[i],
                                         .way = AN_TRACE_UP,
                                         .from_us = AN_NO_INSTANT,
                                         .until_us = AN_NO_INSTANT};
        struct an_trace trace;

        st = an_trace_run(store, &ask, &trace, err);
        if (st) {
            return st;
        }
        g->common->cut = g->common->cut || trace.cut;
        if (!gather(g, &trace, i)) {
            st = an_fail(err, AN_NO_MEMORY, "out of memory");
        }
        an_trace_close(&trace);
        if (!st) {
            st = an_store_item_by_id(store, item_ids[i], g->arena, &g->common->items[i], err);
        }
    }
    return st;
}

enum an_status an_trace_common(struct an_store *store, const int64_t *item_ids, size_t count,
                               size_t least, struct an_trace_common *common, struct an_error *err)
{
    struct gathering g = {.common = common};
    bool own = false;
    enum an_status st = AN_OK;

    memset(common, 0, sizeof *common);
    common->arena = g.arena = an_arena_open();
    common->item_count = count;
    common->items =
        common->arena ? an_arena_alloc(common->arena, count + 1, sizeof *common->items) : NULL;
    st = common->items ? an_store_hold_view(store, &own, err)
                       : an_fail(err, AN_NO_MEMORY, "out of memory");
    st = st ? st : gather_all(&g, store, item_ids, err);
    an_store_let_view_go(store, own);
    if (!st && !keep_shared(&g, least)) {
        st = an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    an_nodes_free(&g.nodes);
    an_free(g.shared);
    if (st) {
        an_trace_common_close(common);
    }
    return st;
}

void an_trace_common_close(struct an_trace_common *common)
{
    an_arena_close(common->arena);
    memset(common, 0, sizeof *common);
}
