/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Links that the line description speaks of and the store has not. Must never invent one: what no
 * station is described to tell is not missing.
 */
#include "andamento/base/memory.h"
#include "trace/trace.h"

#include <stdlib.h>
#include <string.h>

struct expected { /* items of `child` are told to be made of `parent` */
    const char *child, *parent, *role, *station;
};

struct looking {
    struct an_trace *trace;
    struct expected *expected;
    size_t expected_count;
    struct an_trace_missing *missing;
    size_t missing_count, capacity;
};

static bool same_text(const char *a, const char *b)
{
    return a == b || (a && b && strcmp(a, b) == 0);
}

static void expect(struct looking *looking, const struct expected *one)
{
    for (size_t i = 0; i < looking->expected_count; i++) {
        const struct expected *e = &looking->expected[i];

        if (same_text(e->child, one->child) && same_text(e->parent, one->parent) &&
            same_text(e->role, one->role)) {
            return; /* another station tells it too */
        }
    }
    looking->expected[looking->expected_count++] = *one;
}

static bool list_expected(struct looking *looking, const struct an_line *line)
{
    size_t most = 0;

    for (size_t s = 0; s < line->station_count; s++) {
        for (size_t i = 0; i < line->stations[s].link_count; i++) {
            most += 1 + line->stations[s].links[i].roles.count;
        }
    }
    looking->expected = an_alloc(most + 1, sizeof *looking->expected);
    for (size_t s = 0; looking->expected && s < line->station_count; s++) {
        const struct an_station *station = &line->stations[s];

        for (size_t i = 0; i < station->link_count; i++) {
            const struct an_link_rule *rule = &station->links[i];
            const char *own = line->kinds[station->item_kind].name;
            const char *other = line->kinds[rule->kind].name;
            struct expected one = {.child = rule->other_is_parent ? own : other,
                                   .parent = rule->other_is_parent ? other : own,
                                   .role = rule->role,
                                   .station = station->name};

            if (rule->other_is_same || (rule->ends && !rule->ends_column)) {
                continue; /* tells of no link that should be there */
            }
            for (size_t k = 0; k < rule->roles.count; k++) {
                one.role = rule->roles.at[k];
                expect(looking, &one);
            }
            if (!rule->roles.count) {
                expect(looking, &one);
            }
        }
    }
    return looking->expected != NULL;
}

/* The item's own steps follow each other, from `first`. */
static bool look_at(struct looking *looking, const struct an_item *item, size_t from, size_t first,
                    size_t end)
{
    const struct an_trace *trace = looking->trace;

    for (size_t i = 0; i < looking->expected_count; i++) {
        const struct expected *e = &looking->expected[i];
        bool found = !same_text(e->child, item->kind);

        for (size_t k = first; k < end && trace->steps[k].from == from && !found; k++) {
            found = same_text(trace->steps[k].item.kind, e->parent) &&
                    (!e->role || same_text(trace->steps[k].link.role, e->role));
        }
        if (found) {
            continue;
        }
        void *array = looking->missing;
        if (!an_grow(&array, looking->missing_count, &looking->capacity,
                     sizeof *looking->missing)) {
            return false;
        }
        looking->missing = array;
        looking->missing[looking->missing_count++] = (struct an_trace_missing){
            .item = *item, .kind = e->parent, .role = e->role, .station = e->station};
    }
    return true;
}

/* Steps are in the order in which their items were entered, so one pass finds each item's own. */
static bool look_at_all(struct looking *looking)
{
    const struct an_trace *trace = looking->trace;
    size_t next = 0;

    for (; next < trace->step_count && trace->steps[next].from == AN_TRACE_START; next++) {
    }
    if (!look_at(looking, &trace->item, AN_TRACE_START, 0, next)) {
        return false;
    }
    for (size_t k = 0; k < trace->step_count; k++) {
        if (trace->steps[k].again || trace->steps[k].more) {
            continue;
        }
        const size_t first = next;
        for (; next < trace->step_count && trace->steps[next].from == k; next++) {
        }
        if (!look_at(looking, &trace->steps[k].item, k, first, next)) {
            return false;
        }
    }
    return true;
}

static int compare_missing(const void *left, const void *right)
{
    const struct an_trace_missing *a = left;
    const struct an_trace_missing *b = right;
    int order = strcmp(a->item.kind, b->item.kind);

    order = order ? order : strcmp(a->item.serial, b->item.serial);
    order = order ? order : strcmp(a->kind, b->kind);
    return order ? order : strcmp(a->role ? a->role : "", b->role ? b->role : "");
}

enum an_status an_trace_missing(const struct an_line *line, struct an_trace *trace,
                                struct an_trace_missing **missing, size_t *count,
                                struct an_error *err)
{
    struct looking looking = {.trace = trace};
    bool good = true;

    *missing = NULL;
    *count = 0;
    if (trace->way == AN_TRACE_UP && !trace->cut) {
        good = list_expected(&looking, line) && look_at_all(&looking);
    }
    if (good && looking.missing_count) {
        *missing = an_arena_alloc(trace->arena, looking.missing_count, sizeof **missing);
        good = *missing != NULL;
    }
    if (good && looking.missing_count) {
        memcpy(*missing, looking.missing, looking.missing_count * sizeof **missing);
        qsort(*missing, looking.missing_count, sizeof **missing, compare_missing);
        *count = looking.missing_count;
    }
    an_free(looking.expected);
    an_free(looking.missing);
    return good ? AN_OK : an_fail(err, AN_NO_MEMORY, "out of memory");
}
