/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Sums over all paths in one pass over the links, however many paths there are. Must never run for
 * ever: a store may hold loops that somebody put in.
 *
 * The one hard idea: the strong components of the links walked (Tarjan, SIAM J. Comput. 1, 1972)
 * come out in an order in which every component follows those it leads to. Backwards, every item is
 * complete before it hands on what it has. A component of several items is a loop; links within it
 * hand nothing on.
 */
#include "trace/totals.h"

#include "andamento/base/memory.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct entry { /* an item in one role */
    const char *role;
    double share; /* of the paths that tell one */
    bool any_told, all_told, holds;
    uint32_t depth;
    enum an_link_sure doubt;
    size_t step;
    struct entry *next;
};

struct sums {
    struct an_trace *trace;
    const struct an_nodes *nodes;
    const size_t *leads;
    size_t *order;     /* nodes, each after those it leads to */
    size_t *component; /* of each node: place of its component's last in the order */
    struct entry **entries;
    size_t entry_count;
    struct an_arena *arena;
};

/* ---- loops and order ---------------------------------------------------------------------------- */
struct tarjan {
    size_t *index, *low, *stack, *call, *next_out;
    bool *on_stack;
    size_t indices, stacked, called, ordered;
};

static void visit(struct tarjan *t, size_t node)
{
    t->index[node] = t->low[node] = ++t->indices;
    t->stack[t->stacked++] = node;
    t->on_stack[node] = true;
    t->call[t->called++] = node;
}

static void close_node(struct tarjan *t, struct sums *sums, size_t node)
{
    t->called--;
    if (t->called && t->low[node] < t->low[t->call[t->called - 1]]) {
        t->low[t->call[t->called - 1]] = t->low[node];
    }
    if (t->low[node] != t->index[node]) {
        return;
    }
    for (size_t member = SIZE_MAX; member != node;) {
        member = t->stack[--t->stacked];
        t->on_stack[member] = false;
        sums->component[member] = node;
        sums->order[t->ordered++] = member;
    }
}

static void find_components(struct tarjan *t, struct sums *sums)
{
    visit(t, 0);
    while (t->called) {
        const size_t node = t->call[t->called - 1];
        const struct an_node *at = &sums->nodes->at[node];

        if (t->next_out[node] == at->out_count) {
            close_node(t, sums, node);
            continue;
        }
        const size_t to = sums->leads[at->first_out + t->next_out[node]++];
        if (!t->index[to]) {
            visit(t, to);
        } else if (t->on_stack[to] && t->index[to] < t->low[node]) {
            t->low[node] = t->index[to];
        }
    }
}

static bool order_nodes(struct sums *sums)
{
    const size_t n = sums->nodes->count;
    struct tarjan t = {.index = an_alloc(n, sizeof(size_t)),
                       .low = an_alloc(n, sizeof(size_t)),
                       .stack = an_alloc(n, sizeof(size_t)),
                       .call = an_alloc(n, sizeof(size_t)),
                       .next_out = an_alloc(n, sizeof(size_t)),
                       .on_stack = an_alloc(n, sizeof(bool))};
    const bool good = t.index && t.low && t.stack && t.call && t.next_out && t.on_stack;

    if (good) {
        find_components(&t, sums);
    }
    an_free(t.index);
    an_free(t.low);
    an_free(t.stack);
    an_free(t.call);
    an_free(t.next_out);
    an_free(t.on_stack);
    return good;
}

/* ---- handing on --------------------------------------------------------------------------------- */
static bool same_role(const char *a, const char *b)
{
    return a == b || (a && b && strcmp(a, b) == 0);
}

static struct entry *entry_of(struct sums *sums, size_t node, const char *role)
{
    struct entry **at = &sums->entries[node];

    while (*at && !same_role((*at)->role, role)) {
        at = &(*at)->next;
    }
    if (!*at) {
        *at = an_arena_alloc(sums->arena, 1, sizeof **at);
        if (*at) {
            **at = (struct entry){.role = role,
                                  .all_told = true,
                                  .depth = UINT32_MAX,
                                  .doubt = AN_LINK_INFERRED,
                                  .step = SIZE_MAX};
            sums->entry_count++;
        }
    }
    return *at;
}

static bool hand_on(struct sums *sums, const struct entry *from, size_t step_number)
{
    const struct an_trace_step *step = &sums->trace->steps[step_number];
    struct entry *to =
        entry_of(sums, sums->leads[step_number], step->link.role ? step->link.role : from->role);
    const enum an_link_sure doubt = from->doubt > step->sure ? from->doubt : step->sure;

    if (!to) {
        return false;
    }
    if (from->any_told && !isnan(step->link.share)) {
        to->share += from->share * step->link.share;
        to->any_told = true;
        to->all_told = to->all_told && from->all_told;
    } else {
        to->all_told = false;
    }
    to->holds = to->holds || (from->holds && step->until_us == AN_NO_INSTANT);
    to->depth = from->depth + 1 < to->depth ? from->depth + 1 : to->depth;
    to->doubt = doubt < to->doubt ? doubt : to->doubt;
    to->step = step_number < to->step ? step_number : to->step;
    return true;
}

/* A member of a loop that only the loop's own links lead to: it was reached, its share has no
 * meaning. */
static bool enter_loop(struct sums *sums, size_t node)
{
    const size_t step_number = sums->nodes->at[node].step;
    const struct an_trace_step *step = &sums->trace->steps[step_number];
    struct entry *entry = entry_of(sums, node, step->role);

    if (!entry) {
        return false;
    }
    entry->all_told = false;
    entry->depth = step->depth;
    entry->doubt = step->doubt;
    entry->step = step_number;
    return true;
}

static bool sum_nodes(struct sums *sums)
{
    struct entry *start = entry_of(sums, 0, NULL);

    if (!start) {
        return false;
    }
    *start = (struct entry){.share = 1, .any_told = true, .all_told = true, .holds = true};
    for (size_t k = sums->nodes->count; k-- > 0;) {
        const size_t node = sums->order[k];
        const struct an_node *at = &sums->nodes->at[node];

        if (!sums->entries[node] && !enter_loop(sums, node)) {
            return false;
        }
        for (size_t out = at->first_out; out < at->first_out + at->out_count; out++) {
            if (sums->component[sums->leads[out]] == sums->component[node]) {
                sums->trace->steps[out].circle = true;
                continue;
            }
            for (const struct entry *e = sums->entries[node]; e; e = e->next) {
                if (!hand_on(sums, e, out)) {
                    return false;
                }
            }
        }
    }
    return true;
}

/* ---- the list ------------------------------------------------------------------------------------- */
static int compare_texts(const char *a, const char *b)
{
    return strcmp(a ? a : "", b ? b : "");
}

static int compare_reached(const void *left, const void *right)
{
    const struct an_trace_reached *a = left;
    const struct an_trace_reached *b = right;
    int order = strcmp(a->item.kind, b->item.kind);

    order = order ? order : compare_texts(a->role, b->role);
    order = order ? order : strcmp(a->item.serial, b->item.serial);
    return order ? order
                 : (a->item.item_id > b->item.item_id) - (a->item.item_id < b->item.item_id);
}

static bool list_reached(struct sums *sums)
{
    struct an_trace *trace = sums->trace;

    trace->reached = an_arena_alloc(trace->arena, sums->entry_count + 1, sizeof *trace->reached);
    if (!trace->reached) {
        return false;
    }
    for (size_t node = 1; node < sums->nodes->count; node++) { /* 0 is the start */
        const struct an_node *at = &sums->nodes->at[node];

        for (const struct entry *e = sums->entries[node]; e; e = e->next) {
            trace->reached[trace->reached_count++] =
                (struct an_trace_reached){.item = trace->steps[at->step].item,
                                          .role = e->role,
                                          .depth = e->depth,
                                          .share = e->any_told ? e->share : (double)NAN,
                                          .share_whole = e->any_told && e->all_told,
                                          .doubt = e->doubt,
                                          .holds = e->holds,
                                          .step = e->step,
                                          .open_end = at->entered && at->out_count == 0};
        }
    }
    qsort(trace->reached, trace->reached_count, sizeof *trace->reached, compare_reached);
    return true;
}

enum an_status an_trace_sum_up(struct an_trace *trace, const struct an_nodes *nodes,
                               const size_t *leads, struct an_error *err)
{
    struct sums sums = {.trace = trace, .nodes = nodes, .leads = leads};
    bool good = false;

    sums.order = an_alloc(nodes->count, sizeof *sums.order);
    sums.component = an_alloc(nodes->count, sizeof *sums.component);
    sums.entries = an_alloc(nodes->count, sizeof(struct entry *));
    sums.arena = an_arena_open();
    if (sums.order && sums.component && sums.entries && sums.arena) {
        good = order_nodes(&sums) && sum_nodes(&sums) && list_reached(&sums);
    }
    an_free(sums.order);
    an_free(sums.component);
    an_free(sums.entries);
    an_arena_close(sums.arena);
    return good ? AN_OK : an_fail(err, AN_NO_MEMORY, "out of memory");
}
