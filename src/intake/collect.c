/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The collector's door: opens and closes it, takes one file or many. Must never report a file before
 * the store has committed it.
 */
#include "intake/collect.h"

#include "intake/release.h"
#include "intake/taking.h"

#include <string.h>

struct an_collect_tuning an_collect_usual_tuning(void)
{
    return (struct an_collect_tuning){.piece_bytes = (size_t)256 * 1024,
                                      .open_visits = 20000,
                                      .open_bytes = (size_t)16 * 1024 * 1024,
                                      .block_rows = 65536,
                                      .ordinary_rows = true,
                                      .outbox_bytes = (size_t)8 * 1024 * 1024,
                                      .keep_bytes = (size_t)16 * 1024,
                                      .batch_files = 64,
                                      .batch_bytes = (size_t)64 * 1024 * 1024};
}

void an_collect_tune(struct an_collect *collect, const struct an_collect_tuning *tuning)
{
    collect->tuning = *tuning;
}

static enum an_status find_revision(struct an_collect *collect, struct an_error *err)
{
    struct an_line_revision revision = {0};
    struct an_arena *arena = an_arena_open();

    if (!arena) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    enum an_status st = an_store_line(collect->store, arena, &revision, err);
    if (st == AN_NOT_FOUND) {
        st = AN_OK;
    } else if (!st) {
        collect->line_revision = revision.revision;
    }
    an_arena_close(arena);
    return st;
}

enum an_status an_collect_open(struct an_store *store, const struct an_line *line,
                               const struct an_collect_options *options, struct an_collect **out,
                               struct an_error *err)
{
    struct an_collect *collect = an_alloc(1, sizeof *collect);
    enum an_status st = AN_OK;

    *out = NULL;
    if (!collect) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    (void)pthread_mutex_init(&collect->plans_lock, NULL);
    collect->store = store;
    collect->line = line;
    collect->station = AN_NONE;
    collect->tuning = an_collect_usual_tuning();
    if (options) {
        collect->options = *options;
    }
    collect->plans = an_alloc(line->station_count + 1, sizeof(struct an_plan *));
    if (!collect->plans) {
        st = an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    if (!st && collect->options.station) {
        collect->station = an_line_station(line, an_bytes_of(collect->options.station));
        if (collect->station == AN_NONE) {
            st = an_fail(err, AN_NOT_FOUND, "the line description has no station \"%s\"",
                         collect->options.station);
        }
    }
    if (!st) {
        st = find_revision(collect, err);
    }
    if (st) {
        an_collect_close(collect);
        return st;
    }
    *out = collect;
    return AN_OK;
}

void an_collect_close(struct an_collect *collect)
{
    if (!collect) {
        return;
    }
    an_taking_close(collect->last);
    for (size_t i = 0; collect->plans && i < collect->line->station_count; i++) {
        an_plan_close(collect->plans[i]);
    }
    an_free(collect->plans);
    an_recent_close(&collect->recent);
    an_tools_close(&collect->tools);
    (void)pthread_mutex_destroy(&collect->plans_lock);
    an_free(collect);
}

enum an_status an_collect_file(struct an_collect *collect, const char *path,
                               struct an_take_result *result, struct an_error *err)
{
    memset(result, 0, sizeof *result);
    an_taking_close(collect->last);
    collect->last = an_taking_open(collect, path);
    if (!collect->last) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    an_taking_read(collect->last);
    enum an_status st = an_taking_settle(collect->last, err);
    an_taking_free_reading(collect->last);
    if (st) {
        an_collect_rollback(collect);
        return st;
    }
    st = an_collect_commit(collect, err);
    *result = collect->last->result;
    if (!st && collect->last->is_awaited && !collect->options.dry_run) {
        st = an_release_waited_for(collect->store, collect->line, result->file.file_id, err);
    }
    return st;
}

enum an_status an_collect_files(struct an_collect *collect, const char *const *paths, size_t count,
                                an_collect_report *report, void *context, struct an_error *err)
{
    return an_crew_take(collect, paths, count, report, context, err);
}

void an_collect_use_threads(struct an_collect *collect, size_t threads)
{
    collect->options.threads = threads;
}
