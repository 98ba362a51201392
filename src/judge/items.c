/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The items that carry a change, and where they are now. Must never count an item twice. */
#include "judge/story.h"

#include <stdlib.h>

static int compare_ids(const void *a, const void *b)
{
    const int64_t x = *(const int64_t *)a;
    const int64_t y = *(const int64_t *)b;

    return x < y ? -1 : x > y;
}

/* Each item once, in the order in which it was first met. */
static enum an_status collect(struct an_story *story)
{
    struct an_signal *signal = story->signal;
    const size_t begin = story->onset < story->first ? story->onset : story->first;
    const size_t room = story->last - begin + 1;
    int64_t *sorted = an_arena_alloc(story->arena, room, sizeof *sorted);
    bool *told = an_arena_alloc(story->arena, room, sizeof *told);
    size_t n = 0;

    signal->item_ids = an_arena_alloc(story->arena, room, sizeof *signal->item_ids);
    signal->item_serials = an_arena_alloc(story->arena, room, sizeof *signal->item_serials);
    if (!sorted || !told || !signal->item_ids || !signal->item_serials) {
        return AN_NO_MEMORY;
    }
    for (size_t i = begin; i <= story->last; i++) {
        if (an_story_carries(story, i)) {
            sorted[n++] = story->view.points[i].sample.item_id;
        }
    }
    qsort(sorted, n, sizeof *sorted, compare_ids);
    for (size_t i = begin; i <= story->last; i++) {
        const struct an_sample *sample = &story->view.points[i].sample;

        if (!an_story_carries(story, i)) {
            continue;
        }
        const int64_t *found = bsearch(&sample->item_id, sorted, n, sizeof *sorted, compare_ids);

        while (found > sorted && found[-1] == *found) {
            found--;
        }
        if (told[found - sorted]) {
            continue;
        }
        told[found - sorted] = true;
        signal->item_serials[signal->item_count] = sample->serial;
        signal->item_ids[signal->item_count++] = sample->item_id;
        if (signal->item_count == 1) {
            signal->first_serial = sample->serial;
        }
        signal->last_serial = sample->serial;
    }
    return AN_OK;
}

/* Does an item of kind `from` go into one of kind `into` by some station's links? */
static bool goes_into(const struct an_line *line, size_t from, size_t into)
{
    for (size_t s = 0; s < line->station_count; s++) {
        const struct an_station *station = &line->stations[s];
        for (size_t l = 0; l < station->link_count; l++) {
            const struct an_link_rule *link = &station->links[l];
            const size_t parent = link->other_is_parent ? link->kind : station->item_kind;
            const size_t child = link->other_is_parent ? station->item_kind : link->kind;

            if (parent == from && child == into) {
                return true;
            }
        }
    }
    return false;
}

enum an_status an_story_items(struct an_story *story, struct an_error *err)
{
    struct an_signal *signal = story->signal;
    const struct an_line *line = story->line;

    if (collect(story)) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while telling signals");
    }
    for (size_t k = 0; k < line->kind_count; k++) {
        const struct an_item_kind *kind = &line->kinds[k];
        size_t in = 0;

        if (!kind->product || !goes_into(line, signal->station->item_kind, k)) {
            continue;
        }
        const enum an_status st = an_store_count_in(story->store, signal->item_ids,
                                                    signal->item_count, kind->name, &in, err);
        if (st) {
            return st;
        }
        if (!signal->next_kind || in > signal->product_in_next) {
            signal->next_kind = kind->title ? kind->title : kind->name;
            signal->product_in_next = in;
        }
    }
    return AN_OK;
}
