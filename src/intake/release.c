/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Reads kept originals again. Must never let a row in twice, nor leave a release without the record
 * of it: both are in one transaction.
 *
 * Released rows get a record of a file of their own, with the same bytes and the next round: its
 * rows are those that were let in. So both records add up, and a row counts once where it lies now.
 */
#include "intake/release.h"

#include "intake/reading.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct retake {
    struct an_store *store;
    const struct an_line *line;
    const struct an_release_wish *wish;
    struct an_arena *arena;
    struct an_error *err;
    struct an_file before; /* as it stands in the store */
    int64_t line_revision;
    struct an_plan *plan;
    struct an_source source;
    struct an_recent recent;
    struct an_collect_options options;
    struct an_collect_tuning tuning;
    struct an_reading *reading;
};

static enum an_status out_of_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory");
}

/* ---- the original as a file --------------------------------------------------------------------- */
static int write_all(void *context, const void *at, size_t length)
{
    const int *file = context;
    const unsigned char *from = at;

    while (length) {
        const ssize_t written = write(*file, from, length);

        if (written < 0 && errno != EINTR) {
            return 1;
        }
        from += written > 0 ? written : 0;
        length -= written > 0 ? (size_t)written : 0;
    }
    return 0;
}

/* A file without a name beside the store, which ends with the descriptor. */
static enum an_status open_original(struct retake *retake)
{
    char *path = an_arena_printf(retake->arena, "%s.release-XXXXXX", an_store_path(retake->store));

    if (!path) {
        return out_of_memory(retake->err);
    }
    const int file = mkstemp(path);
    if (file < 0) {
        return an_fail(retake->err, AN_IO, "could not make '%s': %s", path, strerror(errno));
    }
    (void)unlink(path);
    retake->source = (struct an_source){.file = file, .path = retake->before.path};
    enum an_status st = an_store_original_read(retake->store, &retake->before.hash, write_all,
                                               &retake->source.file, retake->err);
    const int64_t at_us = retake->before.modified_us;
    if (!st && at_us != AN_NO_INSTANT) {
        const struct timespec time = {(time_t)(at_us / 1000000), (long)(at_us % 1000000) * 1000};
        const struct timespec times[2] = {time, time};

        (void)futimens(file, times); /* for stations whose rows have no time but the file's */
    }
    struct stat state;
    if (!st && fstat(file, &state)) {
        st = an_fail(retake->err, AN_IO, "could not look at '%s': %s", path, strerror(errno));
    }
    if (!st) {
        retake->source.bytes = (uint64_t)state.st_size;
        retake->source.modified_us =
            (int64_t)state.st_mtim.tv_sec * 1000000 + (int64_t)(state.st_mtim.tv_nsec / 1000);
        st = an_source_rewind(&retake->source, retake->err);
    }
    return st;
}

/* ---- reading it --------------------------------------------------------------------------------- */
static enum an_status take_turn(void *context, struct an_store **store, int64_t *file_id,
                                struct an_error *err)
{
    struct retake *retake = context;

    *store = retake->store;
    return an_store_next_file(retake->store, file_id, err);
}

static enum an_status open_retake(struct retake *retake, int64_t file_id)
{
    struct an_line_revision revision = {0};
    enum an_status st =
        an_store_file(retake->store, file_id, retake->arena, &retake->before, retake->err);

    st = st ? st : an_store_line(retake->store, retake->arena, &revision, retake->err);
    if (st) {
        return st;
    }
    retake->line_revision = revision.revision;
    const size_t station = retake->before.station
                               ? an_line_station(retake->line, an_bytes_of(retake->before.station))
                               : AN_NONE;
    if (station == AN_NONE) {
        return an_fail(retake->err, AN_NOT_FOUND,
                       "file %lld is of the station \"%s\", which the line description no longer "
                       "has",
                       (long long)file_id, retake->before.station ? retake->before.station : "");
    }
    st = an_plan_open(retake->line, station, &retake->plan, retake->err);
    st = st ? st : open_original(retake);
    if (st) {
        return st;
    }
    retake->tuning = an_collect_usual_tuning();
    retake->reading = an_alloc(1, sizeof *retake->reading);
    if (!retake->reading) {
        return out_of_memory(retake->err);
    }
    retake->reading->plan = retake->plan;
    retake->reading->options = &retake->options;
    retake->reading->tuning = &retake->tuning;
    retake->reading->source = &retake->source;
    retake->reading->turn = (struct an_turn){take_turn, retake};
    retake->reading->recent = &retake->recent;
    retake->reading->as_is = retake->wish->as_is;
    return an_reading_open(retake->reading, retake->err);
}

static void close_retake(struct retake *retake)
{
    if (retake->reading) {
        an_reading_close(retake->reading);
        an_free(retake->reading);
    }
    an_source_close(&retake->source);
    an_plan_close(retake->plan);
    an_recent_close(&retake->recent);
}

/* On AN_OK with whole.reason set nothing is left open; else a transaction with all but the file. */
static enum an_status read_again(struct retake *retake)
{
    struct an_reading *reading = retake->reading;
    int64_t file_id = 0;

    for (int i = 0; i < 4; i++) { /* plain; with hours settled; with rows marked */
        enum an_status st = an_source_rewind(&retake->source, retake->err);

        st = st ? st : an_store_begin(retake->store, retake->err);
        st = st ? st : an_store_next_file(retake->store, &file_id, retake->err);
        st = st ? st : an_reading_read(reading, retake->err);
        if (!st && reading->whole.reason == AN_HOLD_NO_REASON && !reading->read_again) {
            st = an_reading_put(reading, retake->store, file_id, retake->err);
        }
        const bool whole = reading->whole.reason != AN_HOLD_NO_REASON;
        if (!st && !whole && !reading->read_again) {
            if (memcmp(reading->hash.at, retake->before.hash.at, sizeof reading->hash.at) == 0) {
                return AN_OK;
            }
            st = an_fail(retake->err, AN_NO_STORE, "the kept original of file %lld is damaged",
                         (long long)retake->before.file_id);
        }
        an_reading_take_back(reading);
        an_store_rollback(retake->store);
        if (st || whole) {
            return st;
        }
    }
    return an_fail(retake->err, AN_BUG, "reading file %lld again did not settle it",
                   (long long)retake->before.file_id);
}

/* ---- recording it ------------------------------------------------------------------------------- */
static enum an_status tell_file(struct retake *retake, struct an_file *file)
{
    const struct an_reading *reading = retake->reading;
    struct an_text json = {0};

    *file = retake->before;
    file->file_id = reading->file_id;
    file->known_us = an_clock_now_us();
    file->line_revision = retake->line_revision;
    file->state = AN_FILE_TAKEN;
    file->code = file->why = NULL;
    file->why_line = file->why_column = 0;
    file->rows = reading->counts.rows;
    file->taken = reading->counts.taken;
    file->duplicate = reading->counts.duplicate;
    file->held = reading->counts.held;
    file->blank = reading->counts.blank;
    file->first_us = reading->first_us;
    file->last_us = reading->last_us;
    file->notes = NULL;
    an_notes_write(&reading->notes, &json);
    if (json.length && !json.failed) {
        file->notes = an_arena_copy(retake->arena, an_text_of(&json), json.length);
    }
    const bool failed = json.failed || (json.length && !file->notes);
    an_text_free(&json);
    return failed ? out_of_memory(retake->err) : AN_OK;
}

static enum an_status put_records(struct retake *retake, struct an_file *file,
                                  const int64_t *held_ids, size_t count)
{
    struct an_release_act act = {.cause = retake->wish->cause,
                                 .as_is = retake->wish->as_is,
                                 .line_revision = retake->line_revision,
                                 .file_id = file->file_id,
                                 .author = retake->wish->author,
                                 .reason = retake->wish->reason};
    enum an_status st = an_store_next_round(retake->store, &file->hash, &file->round, retake->err);

    st = st ? st : an_store_put_file(retake->store, file, retake->err);
    st = st ? st
            : an_store_put_release(retake->store, &act, retake->before.file_id, held_ids, count,
                                   retake->err);
    if (!st && !retake->wish->dry_run) {
        return an_store_commit(retake->store, retake->err);
    }
    an_store_rollback(retake->store);
    return st;
}

/* ---- rows --------------------------------------------------------------------------------------- */
static int by_line(const void *a, const void *b)
{
    const struct an_held *one = a;
    const struct an_held *other = b;

    return (one->line > other->line) - (one->line < other->line);
}

/* The numbers of the rows that were let in. */
static size_t pick_let_in(const struct an_reading *reading, const struct an_held *rows,
                          size_t count, int64_t *ids)
{
    size_t picked = 0;
    size_t at = 0;

    for (size_t i = 0; i < reading->let_in_count; i++) {
        while (at < count && rows[at].line < reading->let_in[i]) {
            at++;
        }
        if (at < count && rows[at].line == reading->let_in[i]) {
            ids[picked++] = rows[at].held_id;
        }
    }
    return picked;
}

static void tell_whole(struct retake *retake, struct an_release_result *result)
{
    const struct an_complaint *whole = &retake->reading->whole;

    result->whole = true;
    result->file = retake->before;
    result->file.code = an_hold_code(whole->reason);
    result->file.why = an_arena_copy(retake->arena, whole->why, strlen(whole->why));
    result->file.why_line = whole->line;
}

static enum an_status retake_rows(struct retake *retake, const struct an_held *rows, size_t count,
                                  struct an_release_result *result)
{
    uint64_t *lines = an_arena_alloc(retake->arena, count + 1, sizeof *lines);
    int64_t *ids = an_arena_alloc(retake->arena, count + 1, sizeof *ids);

    if (!lines || !ids) {
        return out_of_memory(retake->err);
    }
    for (size_t i = 0; i < count; i++) {
        lines[i] = rows[i].line;
    }
    retake->reading->only = lines;
    retake->reading->only_count = count;
    retake->reading->keep_none = true; /* the original is there */
    enum an_status st = read_again(retake);
    if (st) {
        return st;
    }
    if (retake->reading->whole.reason != AN_HOLD_NO_REASON) {
        tell_whole(retake, result);
        result->still_held = (int64_t)count;
        return AN_OK;
    }
    const size_t picked = pick_let_in(retake->reading, rows, count, ids);
    result->let_in = (int64_t)picked;
    result->still_held = (int64_t)(count - picked);
    if (!picked) {
        an_store_rollback(retake->store);
        return AN_OK;
    }
    st = tell_file(retake, &result->file);
    st = st ? st : put_records(retake, &result->file, ids, picked);
    if (st) {
        an_store_rollback(retake->store);
    }
    return st;
}

enum an_status an_release_rows(struct an_store *store, const struct an_line *line, int64_t file_id,
                               const struct an_held *rows, size_t count,
                               const struct an_release_wish *wish, struct an_arena *arena,
                               struct an_release_result *result, struct an_error *err)
{
    struct retake retake = {.store = store,
                            .line = line,
                            .wish = wish,
                            .arena = arena,
                            .err = err,
                            .source = {.file = -1}};
    struct an_held *open = an_arena_alloc(arena, count + 1, sizeof *open);
    size_t open_count = 0;

    memset(result, 0, sizeof *result);
    if (!open) {
        return out_of_memory(err);
    }
    for (size_t i = 0; i < count; i++) {
        if (!rows[i].released_by && rows[i].file_id == file_id) {
            open[open_count++] = rows[i];
        }
    }
    if (!open_count) {
        return AN_OK;
    }
    qsort(open, open_count, sizeof *open, by_line);
    enum an_status st = open_retake(&retake, file_id);
    st = st ? st : retake_rows(&retake, open, open_count, result);
    close_retake(&retake);
    return st;
}

/* ---- whole files -------------------------------------------------------------------------------- */
static enum an_status retake_file(struct retake *retake, struct an_release_result *result)
{
    enum an_status st = read_again(retake);

    if (st) {
        return st;
    }
    if (retake->reading->whole.reason != AN_HOLD_NO_REASON) {
        tell_whole(retake, result);
        return AN_OK;
    }
    st =
        an_watch_keep(retake->reading, retake->reading->file_id, &retake->before.hash, retake->err);
    st = st ? st : tell_file(retake, &result->file);
    st = st ? st : put_records(retake, &result->file, NULL, 0);
    if (st) {
        an_store_rollback(retake->store);
    }
    result->let_in = result->file.taken + result->file.duplicate;
    result->still_held = result->file.held;
    return st;
}

enum an_status an_release_file(struct an_store *store, const struct an_line *line,
                               const struct an_file *file, const struct an_release_wish *wish,
                               struct an_arena *arena, struct an_release_result *result,
                               struct an_error *err)
{
    struct retake retake = {.store = store,
                            .line = line,
                            .wish = wish,
                            .arena = arena,
                            .err = err,
                            .source = {.file = -1}};
    bool found = false;
    int64_t file_id = 0;

    memset(result, 0, sizeof *result);
    enum an_status st = an_store_find_file(store, &file->hash, &found, &file_id, err);
    st = st ? st : open_retake(&retake, file_id);
    if (!st && retake.before.state == AN_FILE_HELD) {
        st = retake_file(&retake, result);
    }
    close_retake(&retake);
    if (!st && !wish->dry_run && !result->whole && result->file.file_id) {
        st = an_release_waited_for(store, line, result->file.file_id, err);
    }
    return st;
}

/* ---- rows that waited --------------------------------------------------------------------------- */
/* A released row may be what another one waits for: so on, a few times. */
static enum an_status release_waiting(struct an_store *store, const struct an_line *line,
                                      int64_t file_id, int depth, struct an_error *err)
{
    static const struct an_release_wish wish = {.cause = AN_RELEASE_ITEM_CAME,
                                                .author = "andamento",
                                                .reason = "the item that the rows waited for came"};
    struct an_arena *arena = an_arena_open();
    struct an_held *rows = NULL;
    size_t count = 0;
    enum an_status st = arena ? AN_OK : out_of_memory(err);

    st = st ? st : an_store_waited_for(store, file_id, arena, &rows, &count, err);
    for (size_t at = 0; !st && at < count;) {
        struct an_release_result result;
        size_t end = at + 1;

        while (end < count && rows[end].file_id == rows[at].file_id) {
            end++;
        }
        st = an_release_rows(store, line, rows[at].file_id, rows + at, end - at, &wish, arena,
                             &result, err);
        if (st == AN_NOT_FOUND) { /* its station or its original is gone: it stays held */
            st = AN_OK;
        } else if (!st && result.let_in && depth < 8) {
            st = release_waiting(store, line, result.file.file_id, depth + 1, err);
        }
        at = end;
    }
    an_arena_close(arena);
    return st;
}

enum an_status an_release_waited_for(struct an_store *store, const struct an_line *line,
                                     int64_t file_id, struct an_error *err)
{
    bool any = false;
    const enum an_status st = an_store_any_waiting(store, &any, err);

    return st || !any ? st : release_waiting(store, line, file_id, 0, err);
}
