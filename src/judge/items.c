/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The items that carry a change, and where they are now. Must never count an item twice. */
#include "judge/sample_items.h"
#include "judge/story.h"

#include <stdlib.h>

static int by_item(const void *a, const void *b)
{
    const struct an_sample_item *x = a;
    const struct an_sample_item *y = b;

    if (x->item_id != y->item_id) {
        return x->item_id < y->item_id ? -1 : 1;
    }
    return x->turn < y->turn ? -1 : x->turn > y->turn;
}

static int by_turn(const void *a, const void *b)
{
    const struct an_sample_item *x = a;
    const struct an_sample_item *y = b;

    return x->turn < y->turn ? -1 : x->turn > y->turn;
}

/* Each item once, in the order in which it was first met. */
static enum an_status collect(struct an_story *story, struct an_error *err)
{
    struct an_signal *signal = story->signal;
    struct an_sample_items all = {0};
    const size_t begin = story->onset < story->first ? story->onset : story->first;
    const size_t room = story->last - begin + 1;
    size_t count = 0;
    size_t kept = 0;
    struct an_sample *samples = an_arena_alloc(story->arena, room, sizeof *samples);

    if (!samples) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while telling signals");
    }
    for (size_t i = begin; i <= story->last; i++) {
        if (an_story_carries(story, i)) {
            samples[count++] = story->view.points[i].sample;
        }
    }
    const enum an_status st =
        an_sample_items(story->store, signal->station, signal->characteristic, &signal->stream,
                        samples, count, story->arena, &all, err);
    if (st) {
        return st;
    }
    signal->item_ids = an_arena_alloc(story->arena, all.count + 1, sizeof *signal->item_ids);
    signal->item_serials =
        an_arena_alloc(story->arena, all.count + 1, sizeof *signal->item_serials);
    if (!signal->item_ids || !signal->item_serials) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while telling signals");
    }
    signal->items_at_most = all.at_most;
    qsort(all.items, all.count, sizeof *all.items, by_item);
    for (size_t i = 0; i < all.count; i++) {
        if (kept == 0 || all.items[kept - 1].item_id != all.items[i].item_id) {
            all.items[kept++] = all.items[i];
        }
    }
    qsort(all.items, kept, sizeof *all.items, by_turn);
    for (size_t i = 0; i < kept; i++) {
        signal->item_ids[i] = all.items[i].item_id;
        signal->item_serials[i] = all.items[i].serial;
    }
    signal->item_count = kept;
    signal->first_serial = kept ? signal->item_serials[0] : NULL;
    signal->last_serial = kept ? signal->item_serials[kept - 1] : NULL;
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

    const enum an_status collected = collect(story, err);
    if (collected) {
        return collected;
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
