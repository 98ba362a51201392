/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Signals that touch the item: those whose points, from the onset on, are of its parts, of itself, or
 * of what they are made of. Responsible for keeping the two apart: a signal on a batch is told, but
 * a tile is not called bad for it.
 */
#include "report/item_data.h"
#include "report/wording.h"

#include <stdlib.h>
#include <string.h>

struct target {
    int64_t item_id;
    size_t part; /* index; AN_NONE: the item itself or something upstream */
    bool own;    /* the item, a part or (of a batch) what carries it */
};

static int by_target(const void *a, const void *b)
{
    const struct target *x = a;
    const struct target *y = b;
    return (x->item_id > y->item_id) - (x->item_id < y->item_id);
}

static struct target *find(struct target *targets, size_t count, int64_t item_id)
{
    const struct target key = {item_id, 0, false};
    return count ? bsearch(&key, targets, count, sizeof key, by_target) : NULL;
}

/* Does the text hold the serial as a word? */
static bool names(const char *text, const char *serial)
{
    const size_t length = strlen(serial);
    for (const char *at = text ? strstr(text, serial) : NULL; at; at = strstr(at + 1, serial)) {
        const bool begins = at == text || at[-1] == ' ';
        const char after = at[length];
        if (begins && (after == '\0' || after == ' ' || after == ',' || after == ';')) {
            return true;
        }
    }
    return false;
}

/* The change began with the item, or with one that is made of it and is no product. */
static bool began_with(const struct an_item_data *data, const struct an_signal *signal)
{
    bool began = names(signal->ribbon_note, data->item.serial);
    for (size_t i = 0; i < data->carrier_count && !began && signal->ribbon_note; i++) {
        began =
            !data->carriers[i].product && names(signal->ribbon_note, data->carriers[i].item.serial);
    }
    return began;
}

static int by_worth(const void *a, const void *b)
{
    const struct an_item_signal *x = a;
    const struct an_item_signal *y = b;
    if (x->signal.open != y->signal.open) {
        return x->signal.open ? -1 : 1;
    }
    if (x->on_parts != y->on_parts) {
        return x->on_parts ? -1 : 1;
    }
    if (x->touched != y->touched) {
        return x->touched > y->touched ? -1 : 1;
    }
    return (x->signal.record.signal_id > y->signal.record.signal_id) -
           (x->signal.record.signal_id < y->signal.record.signal_id);
}

static enum an_status add_answer(struct an_item_gather *gather, struct an_item_signal *one)
{
    struct an_answer *answers = NULL;
    size_t count = 0;
    const enum an_status st = an_store_answers(gather->store, one->signal.record.signal_id,
                                               gather->arena, &answers, &count, gather->err);
    if (st || !count) {
        return st;
    }
    const struct an_answer *answer = &answers[count - 1];
    const char *const parts[] = {answer->cause, answer->action, answer->containment,
                                 answer->reason};
    const char *text = "";
    for (size_t i = 0; i < sizeof parts / sizeof parts[0] && text; i++) {
        if (parts[i] && *parts[i]) {
            text = an_arena_printf(gather->arena, "%s%s%s", text, *text ? "; " : "", parts[i]);
        }
    }
    one->answer = text;
    one->answered_by = answer->author;
    return text ? AN_OK : an_item_no_memory(gather);
}

static enum an_status targets_of(struct an_item_gather *gather, struct target **targets,
                                 size_t *count)
{
    const struct an_item_data *data = gather->data;
    const bool batch = data->kind == AN_REPORT_BATCH;
    *targets = an_arena_alloc(gather->arena,
                              1 + data->part_count + data->batch_count + data->carrier_count,
                              sizeof **targets);
    if (!*targets) {
        return an_item_no_memory(gather);
    }
    size_t n = 0;
    for (size_t i = 0; i < data->part_count; i++) {
        (*targets)[n++] = (struct target){data->parts[i].item.item_id, i, true};
    }
    if (data->kind == AN_REPORT_WALL) {
        (*targets)[n++] = (struct target){data->item.item_id, AN_NONE, true};
    }
    for (size_t i = 0; i < data->batch_count; i++) {
        (*targets)[n++] = (struct target){data->batches[i].item.item_id, AN_NONE, false};
    }
    for (size_t i = 0; batch && i < data->carrier_count; i++) {
        (*targets)[n++] = (struct target){data->carriers[i].item.item_id, AN_NONE, true};
    }
    qsort(*targets, n, sizeof **targets, by_target);
    size_t kept = 0; /* a batch in two roles stands twice */
    for (size_t i = 0; i < n; i++) {
        if (!kept || (*targets)[kept - 1].item_id != (*targets)[i].item_id) {
            (*targets)[kept++] = (*targets)[i];
        }
    }
    *count = kept;
    return AN_OK;
}

static void widen(int64_t *from_us, const struct an_item_stay *stays, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        *from_us = stays[i].first_us < *from_us ? stays[i].first_us : *from_us;
    }
}

/* When the item, its parts, what they are made of or what carries it were first at a station: signals
 * whose last hit was before have no point of theirs. There is no such bound at the other end: a slow
 * drift is met long after it began. */
static enum an_status first_seen(struct an_item_gather *gather, int64_t *from_us)
{
    const struct an_item_data *data = gather->data;
    enum an_status st = AN_OK;
    *from_us = INT64_MAX;
    widen(from_us, data->stays, data->stay_count);
    for (size_t p = 0; p < data->part_count; p++) {
        widen(from_us, data->parts[p].stays, data->parts[p].stay_count);
    }
    for (size_t i = 0; !st && i < data->batch_count; i++) {
        struct an_arena *scratch = an_arena_open();
        struct an_item_stay *stays = NULL;
        size_t count = 0;
        st = scratch ? an_store_item_stays(gather->store, data->batches[i].item.item_id, scratch,
                                           &stays, &count, gather->err)
                     : an_item_no_memory(gather);
        if (!st) {
            widen(from_us, stays, count);
        }
        an_arena_close(scratch);
    }
    for (size_t i = 0; i < data->carrier_count && data->kind == AN_REPORT_BATCH; i++) {
        const struct an_item_carrier *carrier = &data->carriers[i];
        if (carrier->last_us != AN_NO_INSTANT) {
            *from_us = carrier->first_us < *from_us ? carrier->first_us : *from_us;
        }
    }
    return st;
}

enum an_status an_gather_touched(struct an_item_gather *gather)
{
    struct an_item_data *data = gather->data;
    struct target *targets = NULL;
    size_t target_count = 0;
    struct an_signal *signals = NULL;
    size_t count = 0;
    int64_t from_us;
    enum an_status st = targets_of(gather, &targets, &target_count);
    st = st ? st : first_seen(gather, &from_us);
    if (!st && from_us != INT64_MAX) {
        st = an_signals(gather->store, gather->line, 0, from_us, INT64_MAX, gather->arena, &signals,
                        &count, gather->err);
    }
    data->signals = st ? NULL : an_arena_alloc(gather->arena, count + 1, sizeof *data->signals);
    if (!st && !data->signals) {
        st = an_item_no_memory(gather);
    }
    for (size_t i = 0; !st && i < count; i++) {
        struct an_item_signal one = {.signal = signals[i]};
        size_t upstream = 0;
        for (size_t k = 0; k < signals[i].item_count; k++) {
            const struct target *target = find(targets, target_count, signals[i].item_ids[k]);
            if (!target) {
                continue;
            }
            one.touched++;
            upstream += !target->own;
            one.on_parts = one.on_parts || target->own;
            if (!one.first) {
                one.first = signals[i].item_serials[k];
            }
            if (target->part != AN_NONE) {
                data->parts[target->part].signals++;
                data->parts[target->part].open += signals[i].open;
            }
        }
        one.touched -= one.on_parts ? upstream : 0;
        one.began = data->kind == AN_REPORT_BATCH && began_with(data, &signals[i]);
        if (!one.touched && !one.began) {
            continue;
        }
        one.title = an_judge_title(gather->line, &signals[i].stream, gather->arena);
        st = one.title ? add_answer(gather, &one) : an_item_no_memory(gather);
        data->open_count += one.signal.open;
        data->began_count += one.began;
        data->signals[data->signal_count++] = one;
    }
    if (!st && data->signal_count) {
        qsort(data->signals, data->signal_count, sizeof *data->signals, by_worth);
    }
    return st;
}
