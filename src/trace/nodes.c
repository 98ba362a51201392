/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers for items: an array and a table of places in it, open addressing. Knows no store. */
#include "trace/nodes.h"

#include "andamento/base/memory.h"

#include <string.h>

static size_t slot_of(const struct an_nodes *nodes, int64_t item_id)
{
    const uint64_t mixed = (uint64_t)item_id * UINT64_C(0x9E3779B97F4A7C15);
    size_t slot = (size_t)(mixed >> 20) & (nodes->slot_count - 1);

    while (nodes->slots[slot] && nodes->at[nodes->slots[slot] - 1].item_id != item_id) {
        slot = (slot + 1) & (nodes->slot_count - 1);
    }
    return slot;
}

static bool more_slots(struct an_nodes *nodes)
{
    struct an_nodes grown = *nodes;

    grown.slot_count = nodes->slot_count ? 2 * nodes->slot_count : 64;
    grown.slots = an_alloc(grown.slot_count, sizeof *grown.slots);
    if (!grown.slots) {
        return false;
    }
    for (size_t i = 0; i < grown.count; i++) {
        grown.slots[slot_of(&grown, grown.at[i].item_id)] = i + 1;
    }
    an_free(nodes->slots);
    *nodes = grown;
    return true;
}

size_t an_nodes_find(const struct an_nodes *nodes, int64_t item_id)
{
    return nodes->slot_count && nodes->slots[slot_of(nodes, item_id)]
               ? nodes->slots[slot_of(nodes, item_id)] - 1
               : SIZE_MAX;
}

size_t an_nodes_add(struct an_nodes *nodes, int64_t item_id, bool *is_new)
{
    const size_t known = an_nodes_find(nodes, item_id);
    void *array = nodes->at;

    *is_new = known == SIZE_MAX;
    if (!*is_new) {
        return known;
    }
    if (2 * (nodes->count + 1) > nodes->slot_count && !more_slots(nodes)) {
        return SIZE_MAX;
    }
    if (!an_grow(&array, nodes->count, &nodes->capacity, sizeof *nodes->at)) {
        return SIZE_MAX;
    }
    nodes->at = array;
    nodes->at[nodes->count] = (struct an_node){.item_id = item_id};
    nodes->slots[slot_of(nodes, item_id)] = nodes->count + 1;
    return nodes->count++;
}

void an_nodes_free(struct an_nodes *nodes)
{
    an_free(nodes->at);
    an_free(nodes->slots);
    memset(nodes, 0, sizeof *nodes);
}
