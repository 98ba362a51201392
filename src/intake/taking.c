/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Takes one file: known already, held whole, or taken. Must never leave half a file in the store.
 *
 * Whether the bytes are known shows when they were all read; reading them is hardly slower than
 * hashing them. Only a file so large that it goes into the store while it is read is hashed first.
 */
#include "intake/taking.h"

#include "andamento/store/sighting.h"

#include <string.h>

static enum an_status out_of_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory");
}

struct an_taking *an_taking_open(struct an_collect *collect, const char *path)
{
    struct an_taking *taking = an_alloc(1, sizeof *taking);

    if (!taking) {
        return NULL;
    }
    taking->collect = collect;
    taking->source.file = -1;
    taking->options = collect->options;
    taking->arena = an_arena_open();
    taking->path = taking->arena ? an_arena_copy(taking->arena, path, strlen(path)) : NULL;
    if (!taking->path) {
        an_taking_close(taking);
        return NULL;
    }
    return taking;
}

void an_taking_free_reading(struct an_taking *taking)
{
    if (taking->reading) {
        an_reading_close(taking->reading);
        an_free(taking->reading);
        taking->reading = NULL;
    }
    an_source_close(&taking->source);
}

void an_taking_close(struct an_taking *taking)
{
    if (taking) {
        an_taking_free_reading(taking);
        an_arena_close(taking->arena);
        an_free(taking);
    }
}

/* ---- the file's own record -------------------------------------------------------------------- */
/* Name and path fit to be shown and stored. */
static enum an_status name_file(struct an_taking *taking, struct an_error *err)
{
    struct an_file *file = &taking->result.file;
    struct an_text name = {0};
    struct an_text shown = {0};

    taking->renamed = an_source_safe_name(taking->path, &name);
    an_text_add_visible(&shown, an_bytes_of(taking->path), 4096);
    if (!name.failed && !shown.failed) {
        file->name = an_arena_copy(taking->arena, an_text_of(&name), name.length);
        file->path = an_arena_copy(taking->arena, an_text_of(&shown), shown.length);
    }
    an_text_free(&name);
    an_text_free(&shown);
    return file->name && file->path ? AN_OK : out_of_memory(err);
}

/* The rows of a file that is held whole are all held. */
static enum an_status tell_whole(struct an_taking *taking, struct an_error *err)
{
    struct an_file *file = &taking->result.file;
    const struct an_reading *reading = taking->reading;
    const struct an_complaint *whole = &reading->whole;

    file->rows = reading->counts.rows;
    file->blank = reading->counts.blank;
    file->held = file->rows - file->blank;
    file->state = AN_FILE_HELD;
    file->code = an_hold_code(whole->reason);
    file->why = an_arena_copy(taking->arena, whole->why, strlen(whole->why));
    file->why_line = whole->line;
    file->why_column = whole->column;
    return file->why ? AN_OK : out_of_memory(err);
}

static enum an_status tell_rows(struct an_taking *taking, struct an_error *err)
{
    struct an_file *file = &taking->result.file;
    const struct an_reading *reading = taking->reading;
    struct an_text json = {0};

    file->state = AN_FILE_TAKEN;
    file->rows = reading->counts.rows;
    file->taken = reading->counts.taken;
    file->duplicate = reading->counts.duplicate;
    file->held = reading->counts.held;
    file->blank = reading->counts.blank;
    file->first_us = reading->first_us;
    file->last_us = reading->last_us;
    an_notes_write(&reading->notes, &json);
    const bool good = !json.failed;
    if (good && json.length) {
        file->notes = an_arena_copy(taking->arena, an_text_of(&json), json.length);
    }
    const bool kept = good && (!json.length || file->notes);
    an_text_free(&json);
    return kept ? AN_OK : out_of_memory(err);
}

/* ---- the store -------------------------------------------------------------------------------- */
enum an_status an_collect_commit(struct an_collect *collect, struct an_error *err)
{
    if (!collect->in_batch) {
        return AN_OK;
    }
    if (collect->options.dry_run) { /* even an empty commit touches the store's pages */
        an_collect_rollback(collect);
        return AN_OK;
    }
    const enum an_status st = an_store_commit(collect->store, err);
    if (st) {
        an_collect_rollback(collect);
    }
    collect->in_batch = false;
    return st;
}

void an_collect_rollback(struct an_collect *collect)
{
    if (collect->in_batch) {
        an_store_rollback(collect->store);
        an_recent_close(&collect->recent);
        collect->in_batch = false;
    }
}

static enum an_status enter(struct an_taking *taking, struct an_error *err)
{
    struct an_collect *collect = taking->collect;
    enum an_status st = AN_OK;

    if (taking->entered) {
        return AN_OK;
    }
    if (!collect->in_batch) {
        st = an_store_begin(collect->store, err);
        collect->in_batch = !st;
    }
    st = st ? st : an_store_mark(collect->store, err);
    taking->entered = !st;
    return st;
}

/* Undoes what was put of this file. */
static enum an_status undo(struct an_taking *taking, struct an_error *err)
{
    taking->entered = false;
    const enum an_status st = an_store_back(taking->collect->store, err);
    if (st) {
        an_collect_rollback(taking->collect);
    }
    return st;
}

/* The same bytes under another path, or written anew, are a sighting, once; the same file still
 * lying where it was taken from is not. */
static enum an_status note_sighting(struct an_taking *taking, const struct an_file *known,
                                    struct an_error *err)
{
    struct an_store *store = taking->collect->store;
    const struct an_file *now = &taking->result.file;
    const bool same_place = known->path && strcmp(known->path, now->path) == 0 &&
                            known->modified_us == now->modified_us;
    bool noted = false;

    if (same_place || taking->collect->options.dry_run) {
        return AN_OK;
    }
    const enum an_status st =
        an_store_sighting_is_known(store, known->file_id, now->path, now->modified_us, &noted, err);
    return st || noted ? st : an_store_put_sighting(store, known->file_id, now->path, err);
}

/* A file that was held whole is tried again once the line description has changed. */
static enum an_status look_up(struct an_taking *taking, bool *known, struct an_error *err)
{
    struct an_collect *collect = taking->collect;
    struct an_file before;
    int64_t file_id = 0;
    enum an_status st =
        an_store_find_file(collect->store, &taking->result.file.hash, known, &file_id, err);

    if (st || !*known) {
        return st;
    }
    st = an_store_file(collect->store, file_id, taking->arena, &before, err);
    if (st) {
        return st;
    }
    if (before.state == AN_FILE_HELD && before.line_revision != collect->line_revision) {
        taking->retried = before.file_id;
        *known = false;
        return AN_OK;
    }
    st = note_sighting(taking, &before, err);
    taking->result.how = AN_SEEN_BEFORE;
    taking->result.file = before;
    return st;
}

/* ---- reading ---------------------------------------------------------------------------------- */
/* The reading needs the store now: waits for it, and looks first whether the bytes are known. */
static enum an_status take_turn(void *context, struct an_store **store, int64_t *file_id,
                                struct an_error *err)
{
    struct an_taking *taking = context;
    struct an_collect *collect = taking->collect;
    struct an_file *file = &taking->result.file;
    unsigned char *buffer = NULL;
    bool known = false;
    enum an_status st = taking->wait ? taking->wait(taking->context, err) : AN_OK;

    if (st) {
        return st;
    }
    if (!taking->was_seen) {
        buffer = an_alloc(collect->tuning.piece_bytes, 1);
        const int64_t place = an_source_place(&taking->source);

        st = buffer ? an_source_hash(&taking->source, buffer, collect->tuning.piece_bytes,
                                     &file->hash, err)
                    : out_of_memory(err);
        an_free(buffer);
        st = st ? st : enter(taking, err);
        st = st ? st : look_up(taking, &known, err);
        st = st ? st : an_source_go(&taking->source, place, err);
        taking->was_seen = !st && known;
    }
    if (!st && taking->was_seen) {
        return an_fail(err, AN_BUSY, "seen before"); /* an_taking_settle() knows */
    }
    st = st ? st : an_store_next_file(collect->store, file_id, err);
    *store = collect->store;
    file->file_id = *file_id;
    return st;
}

static enum an_status find_plan(struct an_collect *collect, size_t station,
                                const struct an_plan **plan, struct an_error *err)
{
    enum an_status st = AN_OK;

    (void)pthread_mutex_lock(&collect->plans_lock);
    if (!collect->plans[station]) {
        st = an_plan_open(collect->line, station, &collect->plans[station], err);
    }
    *plan = collect->plans[station];
    (void)pthread_mutex_unlock(&collect->plans_lock);
    return st;
}

static enum an_status read_rows(struct an_taking *taking, size_t station, struct an_error *err)
{
    struct an_collect *collect = taking->collect;
    struct an_reading *reading = an_alloc(1, sizeof *reading);

    if (!reading) {
        return out_of_memory(err);
    }
    enum an_status st = find_plan(collect, station, &reading->plan, err);
    if (st) {
        an_free(reading);
        return st;
    }
    taking->reading = reading;
    reading->options = &taking->options;
    reading->halt = taking->halt;
    reading->tools = taking->tools ? taking->tools : &collect->tools;
    reading->tuning = &collect->tuning;
    reading->source = &taking->source;
    reading->turn = (struct an_turn){take_turn, taking};
    reading->recent = &collect->recent;
    st = an_reading_open(reading, err);
    for (int i = 0; i < 2 && !st && (i == 0 || (reading->read_again && !reading->store)); i++) {
        st = an_reading_read(reading, err); /* once more with hours settled */
    }
    return st;
}

static enum an_status read_file(struct an_taking *taking, struct an_error *err)
{
    struct an_collect *collect = taking->collect;
    struct an_file *file = &taking->result.file;
    enum an_status st = an_source_open(&taking->source, taking->path, err);

    st = st ? st : name_file(taking, err);
    if (st) {
        return st;
    }
    file->bytes = (int64_t)taking->source.bytes;
    file->modified_us = taking->source.modified_us;
    file->known_us = an_clock_now_us();
    file->line_revision = collect->line_revision;
    file->first_us = file->last_us = AN_NO_INSTANT;
    const size_t station = collect->station != AN_NONE
                               ? collect->station
                               : an_collect_station_of(collect->line, taking->path);
    if (station == AN_NONE) {
        taking->result.how = AN_NO_STATION_FITS;
        return AN_OK;
    }
    file->station = collect->line->stations[station].name;
    return read_rows(taking, station, err);
}

void an_taking_read(struct an_taking *taking)
{
    taking->st = read_file(taking, &taking->err);
}

/* ---- settling --------------------------------------------------------------------------------- */
static enum an_status hold_whole(struct an_taking *taking, struct an_error *err)
{
    struct an_store *store = taking->collect->store;
    struct an_file *file = &taking->result.file;
    enum an_status st = AN_OK;

    taking->result.how = AN_HELD_WHOLE;
    if (taking->reading->store) { /* rows of it are in there */
        st = undo(taking, err);
        st = st ? st : enter(taking, err);
    }
    st = st ? st : tell_whole(taking, err);
    st = st ? st : an_store_next_file(store, &file->file_id, err);
    st = st ? st : an_reading_put_original(taking->reading, store, file->file_id, err);
    st = st ? st : an_watch_keep(taking->reading, file->file_id, &file->hash, err);
    return st ? st : an_store_put_file(store, file, err);
}

static enum an_status check_bytes(const struct an_taking *taking, struct an_error *err)
{
    const struct an_file *file = &taking->result.file;

    return memcmp(taking->reading->hash.at, file->hash.at, sizeof file->hash.at) == 0
               ? AN_OK
               : an_fail(err, AN_IO, "\"%s\": changed while it was read; collect it again",
                         taking->source.path);
}

/* Puts its rows; reads it again, with what was found, where that shows that it was read wrong. */
static enum an_status put_rows(struct an_taking *taking, struct an_error *err)
{
    const int most_readings = 3; /* as if nothing came up; with hours settled; with rows marked */
    struct an_collect *collect = taking->collect;
    struct an_reading *reading = taking->reading;
    struct an_file *file = &taking->result.file;
    enum an_status st = AN_OK;

    for (int i = 0; !st && i < most_readings; i++) {
        if (reading->whole.reason != AN_HOLD_NO_REASON) {
            return AN_OK;
        }
        if (!reading->read_again) {
            st = check_bytes(taking, err);
            if (!st && !reading->store) {
                st = an_store_next_file(collect->store, &file->file_id, err);
            }
            st = st ? st : an_reading_put(reading, collect->store, file->file_id, err);
            if (st || !reading->read_again) {
                return st;
            }
        }
        st = undo(taking, err);
        st = st ? st : enter(taking, err);
        if (!st && reading->put_again) {
            reading->read_again = false;
        } else if (!st) {
            st = an_reading_read(reading, err);
        }
    }
    return st ? st : an_fail(err, AN_BUG, "\"%s\": reading it again did not settle it", file->path);
}

/* Do held rows wait for an item of this file? Mostly none waits for anything. */
static enum an_status look_for_waiting(struct an_taking *taking, struct an_error *err)
{
    struct an_held *rows = NULL;
    size_t count = 0;
    bool any = false;
    enum an_status st = an_store_any_waiting(taking->collect->store, &any, err);

    if (!st && any) {
        st = an_store_waited_for(taking->collect->store, taking->result.file.file_id, taking->arena,
                                 &rows, &count, err);
    }
    taking->is_awaited = count > 0;
    return st;
}

static enum an_status settle(struct an_taking *taking, struct an_error *err)
{
    struct an_collect *collect = taking->collect;
    struct an_reading *reading = taking->reading;
    bool known = false;
    enum an_status st = enter(taking, err);

    if (st) {
        return st;
    }
    if (!reading->store) { /* else it was looked up when it was taken */
        taking->result.file.hash = reading->hash;
        st = look_up(taking, &known, err);
        if (st || known) {
            return st;
        }
    }
    st = put_rows(taking, err);
    if (st) {
        return st;
    }
    if (reading->whole.reason != AN_HOLD_NO_REASON) {
        return hold_whole(taking, err);
    }
    if (taking->renamed) {
        an_note(&reading->notes, "name.unsafe", 0,
                "the file's name has control characters, broken text or a leading dash; it is kept "
                "under a safe one");
    }
    taking->result.how = AN_TAKEN;
    st = an_watch_keep(reading, reading->file_id, &reading->hash, err);
    st = st ? st : tell_rows(taking, err);
    st = st ? st : an_store_put_file(collect->store, &taking->result.file, err);
    if (!st && taking->retried) {
        struct an_release_act act = {.cause = AN_RELEASE_DESCRIPTION,
                                     .line_revision = collect->line_revision,
                                     .file_id = taking->result.file.file_id,
                                     .author = "andamento",
                                     .reason = "collected again by another line description"};

        st = an_store_put_release(collect->store, &act, taking->retried, NULL, 0, err);
    }
    if (!st && !collect->options.dry_run) {
        st = an_watch_learn(&reading->watch, &collect->recent, err);
    }
    return st ? st : look_for_waiting(taking, err);
}

enum an_status an_taking_settle(struct an_taking *taking, struct an_error *err)
{
    struct an_collect *collect = taking->collect;
    enum an_status st = taking->st;

    if (taking->reading) { /* it is this thread's now */
        taking->reading->tools = taking->reading->outbox.tools = &collect->tools;
    }
    if (st && taking->was_seen) {
        st = AN_OK;
    } else if (st) {
        *err = taking->err;
    } else if (taking->reading) {
        st = settle(taking, err);
    }
    an_source_close(&taking->source);
    if (!taking->entered) {
        return st;
    }
    struct an_error undoing = {.status = AN_OK};
    if (st || collect->options.dry_run) {
        const enum an_status undone = undo(taking, &undoing);
        if (undone && !st) {
            *err = undoing;
        }
        return st ? st : undone;
    }
    taking->entered = false;
    return an_store_keep(collect->store, err);
}
