/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Corrections in force that name the item of a report or one of its parts: what was recorded stands
 * beside what holds. Must never leave one out because the page shows what holds already.
 */
#include "andamento/store/correction.h"
#include "report/item_data.h"

#include <string.h>

/* The serial of the item or part that the correction names; NULL: it names none of them. */
static const char *named(const struct an_item_data *data, const struct an_correction *c)
{
    const int64_t ids[] = {c->item_id, c->is_id, c->was_id};

    for (size_t k = 0; k < sizeof ids / sizeof *ids; k++) {
        for (size_t p = 0; ids[k] && p < data->part_count; p++) {
            if (data->parts[p].item.item_id == ids[k]) {
                return data->parts[p].item.serial;
            }
        }
        if (ids[k] && data->item.item_id == ids[k]) {
            return data->item.serial;
        }
    }
    return NULL;
}

enum an_status an_gather_corrected(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    struct an_correction *all = NULL;
    size_t count = 0;
    enum an_status st =
        an_store_corrections(gather->store, gather->arena, &all, &count, gather->err);

    for (size_t i = 0; !st && i < count; i++) {
        const struct an_correction *c = &all[i];
        const char *serial = c->undone_by || c->kind == AN_CORRECT_UNDO ? NULL : named(data, c);

        if (!serial || data->lack_count == AN_MOST_LACKS) {
            continue;
        }
        const char *text = an_arena_printf(
            gather->arena, "corrected: recorded was %s; what holds is %s (correction %lld, %s: %s)",
            c->before, c->after, (long long)c->correction_id, c->author, c->reason);
        if (!text) {
            return an_item_no_memory(gather);
        }
        data->lacks[data->lack_count++] = (struct an_item_lack){serial, text};
    }
    return st;
}
