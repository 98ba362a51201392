/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The items whose rows samples were made of. One thread a call. */
#ifndef AN_JUDGE_SAMPLE_ITEMS_H
#define AN_JUDGE_SAMPLE_ITEMS_H

#include "judge/judge.h"

struct an_sample_item {
    int64_t item_id;
    const char *serial;
    size_t turn; /* counts up as they were met: by sample, then by line */
};

struct an_sample_items {
    struct an_sample_item *items; /* an item may stand in it more than once */
    size_t count, room;
    bool at_most; /* of some sample it is only known between which lines its rows stood: all items
                     that may be in it are listed */
};

/*
 * A sample is of the item of its visit, but one of so many consecutive rows may be of several: their
 * rows are looked up in the file; where those are kept no longer, the visits that reach between the
 * sample's lines are taken, less those of another purpose or, of a stream of one tool, another tool.
 */
AN_CHECKED enum an_status an_sample_items(struct an_store *store, const struct an_station *station,
                                          const struct an_characteristic *characteristic,
                                          const struct an_stream *stream,
                                          const struct an_sample samples[], size_t count,
                                          struct an_arena *arena, struct an_sample_items *items,
                                          struct an_error *err);

#endif
