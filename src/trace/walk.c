/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Walks links breadth first, each item entered once. Must never follow paths: there may be more of
 * them than atoms; what they come to is summed up by totals.c.
 */
#include "andamento/base/memory.h"
#include "trace/nodes.h"
#include "trace/totals.h"
#include "trace/trace.h"

#include <math.h>
#include <string.h>

enum { SCRATCH_BYTES = 1 << 20 };

struct walk {
    struct an_store *store;
    const struct an_trace_ask *ask;
    struct an_trace *trace;
    struct an_error *err;
    struct an_nodes nodes;
    size_t *leads; /* a step: the number of the node it leads to */
    size_t lead_capacity, step_capacity;
    struct an_arena *scratch;
};

static enum an_status out_of_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory");
}

static bool intern(struct an_names *names, const char **text)
{
    if (!*text) {
        return true;
    }
    const size_t number = an_names_add(names, an_bytes_of(*text));
    if (number == AN_NO_NAME) {
        return false;
    }
    *text = (const char *)an_names_at(names, number).at; /* a NUL stands behind it */
    return true;
}

/* Did the link hold at some time that is asked about? */
static bool is_in_time(const struct an_trace_ask *ask, const struct an_lineage *lineage)
{
    const int64_t at_us = lineage->link.at_us;

    return (ask->until_us == AN_NO_INSTANT || at_us == AN_NO_INSTANT || at_us < ask->until_us) &&
           (ask->from_us == AN_NO_INSTANT || lineage->until_us == AN_NO_INSTANT ||
            lineage->until_us > ask->from_us);
}

static bool add_step(struct walk *walk, size_t from, const struct an_lineage *lineage)
{
    struct an_trace *trace = walk->trace;
    const struct an_trace_step *before = from == AN_TRACE_START ? NULL : &trace->steps[from];
    struct an_trace_step step = {.item = lineage->item,
                                 .link = lineage->link,
                                 .link_id = lineage->link_id,
                                 .from = from,
                                 .depth = before ? before->depth + 1 : 1,
                                 .share = lineage->link.share * (before ? before->share : 1),
                                 .from_us = lineage->link.at_us,
                                 .until_us = lineage->until_us,
                                 .sure = lineage->sure,
                                 .file = lineage->file,
                                 .line = lineage->link.line};
    bool is_new = false;
    void *array = trace->steps;
    void *leads = walk->leads;

    if (!an_grow(&array, trace->step_count, &walk->step_capacity, sizeof step)) {
        return false;
    }
    trace->steps = array;
    before = from == AN_TRACE_START ? NULL : &trace->steps[from];
    if (!an_grow(&leads, trace->step_count, &walk->lead_capacity, sizeof(size_t))) {
        return false;
    }
    walk->leads = leads;
    const size_t node = an_nodes_add(&walk->nodes, step.item.item_id, &is_new);
    if (node == SIZE_MAX || !intern(trace->names, &step.item.kind) ||
        !intern(trace->names, &step.link.role) || !intern(trace->names, &step.link.region) ||
        !intern(trace->names, &step.file)) {
        return false;
    }
    if (is_new) {
        walk->nodes.at[node].step = trace->step_count;
        step.item.serial = an_arena_copy(trace->arena, step.item.serial, strlen(step.item.serial));
    } else if (node > 0) {
        step.item.serial = trace->steps[walk->nodes.at[node].step].item.serial;
    } else {
        step.item.serial = trace->item.serial;
    }
    step.again = !is_new;
    step.role = step.link.role ? step.link.role : before ? before->role : NULL;
    step.doubt = before && before->doubt > step.sure ? before->doubt : step.sure;
    step.more = is_new && walk->ask->most_depth && step.depth >= walk->ask->most_depth;
    walk->leads[trace->step_count] = node;
    trace->steps[trace->step_count++] = step;
    return step.item.serial != NULL;
}

static enum an_status enter(struct walk *walk, size_t number)
{
    const size_t most = walk->ask->most_steps ? walk->ask->most_steps : AN_TRACE_MOST_STEPS;
    const int64_t item_id = walk->nodes.at[number].item_id;
    const size_t from = walk->nodes.at[number].step;
    struct an_lineage *lineage = NULL;
    size_t count = 0;

    if (an_arena_used(walk->scratch) > SCRATCH_BYTES) {
        an_arena_close(walk->scratch);
        walk->scratch = an_arena_open();
        if (!walk->scratch) {
            return out_of_memory(walk->err);
        }
    }
    const enum an_status st = an_store_lineage(walk->store, item_id, walk->ask->way == AN_TRACE_UP,
                                               walk->scratch, &lineage, &count, walk->err);
    if (st) {
        return st;
    }
    walk->nodes.at[number].entered = true;
    walk->nodes.at[number].first_out = walk->trace->step_count;
    for (size_t i = 0; i < count; i++) {
        if (!is_in_time(walk->ask, &lineage[i])) {
            continue;
        }
        if (walk->trace->step_count >= most) {
            walk->trace->cut = true;
            return AN_OK;
        }
        if (!add_step(walk, from, &lineage[i])) {
            return out_of_memory(walk->err);
        }
        walk->nodes.at[number].out_count++;
    }
    return AN_OK;
}

static enum an_status walk_all(struct walk *walk)
{
    bool is_new = false;
    enum an_status st = AN_OK;

    if (an_nodes_add(&walk->nodes, walk->ask->item_id, &is_new) == SIZE_MAX) {
        return out_of_memory(walk->err);
    }
    walk->nodes.at[0].step = AN_TRACE_START;
    for (size_t k = 0; k < walk->nodes.count && !st && !walk->trace->cut; k++) {
        const size_t step = walk->nodes.at[k].step;

        if (step == AN_TRACE_START || !walk->trace->steps[step].more) {
            st = enter(walk, k);
        }
    }
    return st ? st : an_trace_sum_up(walk->trace, &walk->nodes, walk->leads, walk->err);
}

enum an_status an_trace_run(struct an_store *store, const struct an_trace_ask *ask,
                            struct an_trace *trace, struct an_error *err)
{
    struct walk walk = {.store = store, .ask = ask, .trace = trace, .err = err};
    bool own = false;
    enum an_status st = AN_OK;

    memset(trace, 0, sizeof *trace);
    trace->way = ask->way;
    trace->arena = an_arena_open();
    trace->names = an_names_open();
    walk.scratch = an_arena_open();
    st = trace->arena && trace->names && walk.scratch ? AN_OK : out_of_memory(err);
    st = st ? st : an_store_hold_view(store, &own, err);
    if (!st) {
        st = an_store_item_by_id(store, ask->item_id, trace->arena, &trace->item, err);
    }
    if (!st) {
        st = walk_all(&walk);
    }
    an_store_let_view_go(store, own);
    an_nodes_free(&walk.nodes);
    an_free(walk.leads);
    an_arena_close(walk.scratch);
    if (st) {
        an_trace_close(trace);
    }
    return st;
}

void an_trace_close(struct an_trace *trace)
{
    an_free(trace->steps);
    an_arena_close(trace->arena);
    an_names_close(trace->names);
    memset(trace, 0, sizeof *trace);
}
