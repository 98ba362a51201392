/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Completeness: what left a station against what came to the next one that works on the same kind
 * of item, in the order of the description. Responsible for not calling an item missing that is
 * merely on its way.
 *
 * Its one hard idea: how long the way takes is learnt from the items that made it. An item is
 * overdue when it has been on its way longer than 99 of 100 of them were, by the newest thing that the
 * next station has told (its files may come in batches). A station to which fewer
 * than nine in ten ever go (a repair bench) is a branch: nothing is expected there.
 */
#include "report/gather.h"
#include "report/week_data.h"
#include "report/wording.h"

#include <stdlib.h>
#include <string.h>

enum { LEAST_TO_LEARN = 20, EXAMPLES = 3 };
#define BRANCH_BELOW 0.9
#define USUAL_SHARE 0.99

static enum an_status no_memory(const struct an_gather *gather)
{
    return an_fail(gather->err, AN_NO_MEMORY, "out of memory");
}

static const struct an_station_stay *find(const struct an_station_stay *stays, size_t count,
                                          int64_t item_id)
{
    size_t low = 0;
    size_t high = count;

    while (low < high) {
        const size_t middle = low + (high - low) / 2;
        if (stays[middle].item_id < item_id) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    return low < count && stays[low].item_id == item_id ? &stays[low] : NULL;
}

static int by_time(const void *left, const void *right)
{
    const int64_t a = *(const int64_t *)left;
    const int64_t b = *(const int64_t *)right;

    return a < b ? -1 : a > b;
}

struct leg { /* from one station to the next */
    const struct an_station_stay *from, *to;
    size_t from_count, to_count;
    int64_t known_us; /* what the next station has told of so far */
};

/* How long 99 of 100 took; AN_NO_INSTANT when too few made it to tell. */
static enum an_status learn_usual(struct an_gather *gather, const struct leg *leg,
                                  struct an_week_flow *flow, double *went)
{
    int64_t *took = an_arena_alloc(gather->arena, leg->from_count + 1, sizeof *took);
    size_t count = 0;
    size_t had_time = 0;

    if (!took) {
        return no_memory(gather);
    }
    for (size_t i = 0; i < leg->from_count; i++) {
        const struct an_station_stay *to = find(leg->to, leg->to_count, leg->from[i].item_id);
        if (to && to->last_us > leg->from[i].first_us) {
            took[count++] = to->first_us - leg->from[i].first_us;
        }
    }
    flow->usual_us = AN_NO_INSTANT;
    *went = 1;
    if (count < LEAST_TO_LEARN) {
        return AN_OK;
    }
    qsort(took, count, sizeof *took, by_time);
    flow->usual_us = took[(size_t)(USUAL_SHARE * (double)(count - 1))];
    size_t came = 0;
    for (size_t i = 0; i < leg->from_count; i++) {
        if (leg->from[i].first_us + flow->usual_us < leg->known_us) {
            had_time++;
            came += find(leg->to, leg->to_count, leg->from[i].item_id) != NULL;
        }
    }
    *went = had_time ? (double)came / (double)had_time : 1;
    return AN_OK;
}

static enum an_status name_overdue(struct an_gather *gather, struct an_week_flow *flow,
                                   int64_t item_id, int *named)
{
    struct an_item item = {0};

    if (*named >= EXAMPLES) {
        return AN_OK;
    }
    const enum an_status st =
        an_store_item_by_id(gather->store, item_id, gather->arena, &item, gather->err);
    if (st) {
        return st;
    }
    (*named)++;
    flow->examples = flow->examples
                         ? an_arena_printf(gather->arena, "%s, %s", flow->examples, item.serial)
                         : item.serial;
    return flow->examples ? AN_OK : no_memory(gather);
}

static enum an_status count_leg(struct an_gather *gather, const struct leg *leg,
                                struct an_week_flow *flow)
{
    const struct an_period_data *data = gather->data;
    double went = 1;
    int named = 0;
    enum an_status st = learn_usual(gather, leg, flow, &went);

    flow->branch = went < BRANCH_BELOW;
    for (size_t i = 0; !st && i < leg->from_count; i++) {
        const struct an_station_stay *from = &leg->from[i];
        if (from->first_us < data->now.from_us || from->first_us >= data->now.until_us) {
            continue;
        }
        flow->left++;
        if (find(leg->to, leg->to_count, from->item_id)) {
            flow->came++;
        } else if (!flow->branch && flow->usual_us != AN_NO_INSTANT &&
                   from->first_us + flow->usual_us < leg->known_us) {
            flow->overdue++;
            st = name_overdue(gather, flow, from->item_id, &named);
        }
    }
    return st;
}

static const char *title_of(const struct an_station *station)
{
    return station->title ? station->title : station->name;
}

enum an_status an_gather_week_flow(struct an_gather *gather)
{
    const struct an_line *line = gather->line;
    struct an_period_data *data = gather->data;
    struct an_week_data *week = data->week;
    struct leg *stays = an_arena_alloc(gather->arena, line->station_count + 1, sizeof *stays);
    enum an_status st = AN_OK;

    week->flows = an_arena_alloc(gather->arena, line->station_count + 1, sizeof *week->flows);
    if (!week->flows || !stays) {
        return no_memory(gather);
    }
    for (size_t i = 0; !st && i < line->station_count; i++) {
        struct an_station_stay *found = NULL;
        st = an_store_station_stays(gather->store, line->stations[i].name, data->before.from_us,
                                    data->as_of_us, gather->arena, &found, &stays[i].from_count,
                                    gather->err);
        stays[i].from = found;
    }
    for (size_t i = 0; !st && i < line->station_count; i++) {
        size_t from = i;
        /* the nearest station before it that is no branch */
        for (size_t k = i; k-- > 0;) {
            bool branch = false;
            for (size_t f = 0; f < week->flow_count; f++) {
                branch = branch || (week->flows[f].branch &&
                                    !strcmp(week->flows[f].to, title_of(&line->stations[k])));
            }
            if (line->stations[k].item_kind == line->stations[i].item_kind && !branch &&
                stays[k].from_count) {
                from = k;
                break;
            }
        }
        if (from == i || !stays[i].from_count) {
            continue;
        }
        const struct an_item_kind *kind = &line->kinds[line->stations[i].item_kind];
        struct leg leg = {stays[from].from, stays[i].from, stays[from].from_count,
                          stays[i].from_count, AN_NO_INSTANT};
        for (size_t k = 0; k < leg.to_count; k++) {
            leg.known_us = leg.to[k].last_us > leg.known_us ? leg.to[k].last_us : leg.known_us;
        }
        struct an_week_flow *flow = &week->flows[week->flow_count++];
        *flow = (struct an_week_flow){.from = title_of(&line->stations[from]),
                                      .to = title_of(&line->stations[i]),
                                      .kind = kind->title ? kind->title : kind->name};
        st = count_leg(gather, &leg, flow);
    }
    return st;
}
