/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What is due: signals of earlier shifts without an answer, limits waiting for a lock, limits that
 * rest on few samples. Responsible for what people owe the record; never for what the process did.
 */
#include "report/gather.h"
#include "report/wording.h"

#include <inttypes.h>
#include <string.h>

static enum an_status no_memory(const struct an_gather *gather)
{
    return an_fail(gather->err, AN_NO_MEMORY, "out of memory");
}

static const struct an_stream_sheet *sheet_of(const struct an_period_data *data, int64_t stream_id)
{
    for (size_t i = 0; i < data->sheet_count; i++) {
        if (data->sheets[i].stream.stream_id == stream_id) {
            return &data->sheets[i];
        }
    }
    return NULL;
}

static bool is_shown(const struct an_period_data *data, int64_t signal_id)
{
    for (size_t i = 0; i < data->signal_count; i++) {
        if (data->signals[i].signal.record.signal_id == signal_id) {
            return true;
        }
    }
    return false;
}

static enum an_status earlier_signals(struct an_gather *gather)
{
    struct an_period_data *data = gather->data;
    struct an_signal_record *records = NULL;
    size_t count = 0;
    const enum an_status st = an_store_signals(gather->store, 0, AN_NO_INSTANT, data->now.from_us,
                                               gather->arena, &records, &count, gather->err);
    if (st) {
        return st;
    }
    data->due = an_arena_alloc(gather->arena, count ? count : 1, sizeof *data->due);
    if (!data->due) {
        return no_memory(gather);
    }
    for (size_t i = 0; i < count; i++) {
        const struct an_signal_record *record = &records[i];
        const struct an_stream_sheet *sheet = sheet_of(data, record->stream_id);
        if (record->withdrawn || record->answers || is_shown(data, record->signal_id) || !sheet) {
            continue;
        }
        const size_t station = an_line_station(gather->line, an_bytes_of(sheet->stream.station));
        const size_t known =
            station == AN_NONE ? AN_NONE
                               : an_line_characteristic(gather->line, station,
                                                        an_bytes_of(sheet->stream.characteristic));
        const struct an_rule_choice usual = an_rules_default();
        const struct an_rule_choice *rules =
            known == AN_NONE ? &usual : &gather->line->characteristics[known].rules;
        char code[16];
        char words[96];
        struct an_due_signal *due = &data->due[data->due_count];
        *due = (struct an_due_signal){
            .signal_id = record->signal_id,
            .signal_us = record->signal_us,
            .title = sheet->title,
            .code = an_arena_printf(
                gather->arena, "%s",
                an_rule_code((enum an_rule)record->rule, record->side, rules, code)),
            .words = an_arena_printf(
                gather->arena, "%s",
                an_rule_words((enum an_rule)record->rule, record->side, rules, words))};
        if (!due->code || !due->words) {
            return no_memory(gather);
        }
        data->due_count++;
    }
    return AN_OK;
}

/* Streams that signalled in the last shift, each once. */
static enum an_status last_shift(struct an_gather *gather)
{
    struct an_period_data *data = gather->data;
    if (!data->before.label) {
        return AN_OK;
    }
    struct an_signal_record *records = NULL;
    size_t count = 0;
    const enum an_status st =
        an_store_signals(gather->store, 0, data->before.from_us, data->before.until_us,
                         gather->arena, &records, &count, gather->err);
    for (size_t i = 0; !st && i < count; i++) {
        bool seen = records[i].withdrawn;
        for (size_t k = 0; k < i && !seen; k++) {
            seen = !records[k].withdrawn && records[k].stream_id == records[i].stream_id;
        }
        data->before_moved += !seen;
    }
    return st;
}

/* The newest record of each stream tells whether a proposal waits and what the limits rest on. */
static enum an_status limits_state(struct an_gather *gather)
{
    struct an_period_data *data = gather->data;
    struct an_arena *arena = gather->arena;
    struct an_limits_record *records = NULL;
    size_t count = 0;
    size_t proposed = 0;
    size_t uncertain = 0;
    const enum an_status st =
        an_store_limits(gather->store, 0, arena, &records, &count, gather->err);
    if (st) {
        return st;
    }
    for (size_t i = 0; i < count; i++) {
        const struct an_limits_record *record = &records[i];
        data->limits_locked += record->state == AN_LIMITS_LOCKED;
        const struct an_stream_sheet *sheet = sheet_of(data, record->stream_id);
        bool newest = sheet != NULL;
        bool newest_locked = sheet && record->state == AN_LIMITS_LOCKED;
        for (size_t k = i + 1; k < count && (newest || newest_locked); k++) {
            if (records[k].stream_id == record->stream_id) {
                newest = false;
                newest_locked = newest_locked && records[k].state != AN_LIMITS_LOCKED;
            }
        }
        bool good = true;
        if (newest && record->state == AN_LIMITS_PROPOSED) {
            good = an_list_add(
                &data->proposed, &proposed, arena,
                an_arena_printf(arena, "%s (%s)", sheet->title,
                                an_say_time(arena, gather->line->zone, record->known_us)));
        }
        if (good && newest_locked && sheet->has_limits &&
            record->baseline_samples < (int64_t)data->definition->few_samples) {
            good = an_list_add(
                &data->uncertain, &uncertain, arena,
                an_arena_printf(arena, "%s (%" PRId64 ")", sheet->title, record->baseline_samples));
        }
        if (!good) {
            return no_memory(gather);
        }
    }
    return AN_OK;
}

enum an_status an_gather_due(struct an_gather *gather)
{
    enum an_status st = earlier_signals(gather);
    if (!st) {
        st = last_shift(gather);
    }
    if (!st) {
        st = limits_state(gather);
    }
    return st;
}
