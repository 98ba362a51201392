/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Gathers a shift: the period, the store's state, then the parts in their order. Responsible for
 * what this period, the last one and "now" mean; never draws.
 *
 * Its one hard idea: there is no clock. "Now" is the end of the period, or the newest instant the
 * store knows of when the shift was not over by then.
 */
#include "report/period_data.h"

#include "report/gather.h"
#include "report/wording.h"

#include <string.h>

static const char *base_name(const char *path)
{
    const char *slash = path ? strrchr(path, '/') : NULL;
    return slash ? slash + 1 : path ? path : "store";
}

/* Time of the newest ledger entry, and of the newest sample. */
static enum an_status newest(struct an_gather *gather)
{
    struct an_period_data *data = gather->data;
    enum an_status st = an_ledger_head(gather->store, &data->head, gather->err);
    data->newest_us = data->now.from_us;
    if (!st && data->head.size) {
        struct an_ledger_entry *entries = NULL;
        size_t count = 0;
        st = an_ledger_read(gather->store, data->head.size - 1, 1, gather->arena, &entries, &count,
                            gather->err);
        if (!st && count) {
            data->newest_us = entries[0].at_us;
        }
    }
    int64_t newest_event_us = AN_NO_INSTANT;
    struct an_stream *streams = NULL;
    size_t count = 0;
    if (!st) {
        st = an_store_streams(gather->store, gather->arena, &streams, &count, gather->err);
    }
    for (size_t i = 0; !st && i < count; i++) {
        if (streams[i].samples > 0 && streams[i].last_us > newest_event_us) {
            newest_event_us = streams[i].last_us;
        }
    }
    const int64_t known_us = newest_event_us > data->newest_us ? newest_event_us : data->newest_us;
    data->running = known_us < data->now.until_us && known_us > data->now.from_us;
    data->as_of_us = data->running ? known_us : data->now.until_us;
    (void)an_sha256_hex(&data->head.root, data->root_hex);
    return st;
}

static enum an_status periods(struct an_gather *gather)
{
    struct an_period_data *data = gather->data;
    const struct an_line *line = gather->line;
    data->now = gather->options->now;
    data->before = gather->options->before;
    data->word = gather->options->kind == AN_REPORT_WEEK ? "week" : "shift";
    data->period = an_say_period(gather->arena, line->zone, data->now.from_us, data->now.until_us);
    data->axis_from_us = data->now.from_us - (int64_t)data->definition->days_before * AN_DAY_US;
    data->axis_until_us = data->now.until_us;
    data->title = data->definition->title;
    data->store_name =
        an_arena_printf(gather->arena, "%s", base_name(an_store_path(gather->store)));
    data->program_version =
        gather->options->program_version ? gather->options->program_version : "unknown";
    if (!data->now.label || !data->period || !data->store_name || !data->title) {
        return an_fail(gather->err, AN_NO_MEMORY, "out of memory");
    }
    return AN_OK;
}

enum an_status an_period_gather(struct an_store *store, const struct an_line *line,
                                const struct an_report_options *options,
                                const struct an_report_definition *definition,
                                struct an_arena *arena, struct an_period_data *data,
                                struct an_error *err)
{
    *data = (struct an_period_data){.line = line, .definition = definition};
    struct an_report_options settled = *options;
    if (!settled.context) {
        settled.context = definition->context;
    }
    struct an_gather gather = {.store = store,
                               .line = line,
                               .options = &settled,
                               .arena = arena,
                               .data = data,
                               .err = err};
    /* cppcheck-suppress uninitvar; it takes the array of functions for a use of it */
    enum an_status (*const parts[])(struct an_gather *) = {
        periods, newest, an_gather_signals, an_gather_streams, an_gather_onsets, an_gather_intake,
        an_gather_due,
        /* of a week */
        an_gather_week_streams, an_gather_week_yields, an_gather_week_rates, an_gather_week_flow,
        an_gather_week_record};
    const size_t count = options->kind == AN_REPORT_WEEK ? sizeof parts / sizeof parts[0] : 7;
    for (size_t i = 0; i < count; i++) {
        const enum an_status st = parts[i](&gather);
        if (st) {
            return st;
        }
    }
    return AN_OK;
}
