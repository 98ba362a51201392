/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Takes files: known already, held whole, or taken, each in one transaction. Must never leave half a
 * file in the store, nor report one taken before the store has committed it.
 */
#include "intake/collect.h"

#include "andamento/store/sighting.h"
#include "intake/reading.h"

#include <string.h>

struct an_collect {
    struct an_store *store;
    const struct an_line *line;
    struct an_collect_options options;
    struct an_collect_tuning tuning;
    struct an_plan **plans; /* one a station, made when first needed */
    size_t station;         /* that of options.station, or AN_NONE */
    int64_t line_revision;  /* in force; 0: none */
    struct an_arena *arena; /* of the last result */
    struct an_recent recent; /* what streams were lately */
};

struct an_collect_tuning an_collect_usual_tuning(void)
{
    return (struct an_collect_tuning){.piece_bytes = (size_t)256 * 1024,
                                      .open_visits = 20000,
                                      .open_bytes = (size_t)16 * 1024 * 1024,
                                      .block_rows = 65536,
                                      .ordinary_rows = true};
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
    for (size_t i = 0; collect->plans && i < collect->line->station_count; i++) {
        an_plan_close(collect->plans[i]);
    }
    an_free(collect->plans);
    an_recent_close(&collect->recent);
    an_arena_close(collect->arena);
    an_free(collect);
}

/* ---- the file's own record -------------------------------------------------------------------- */
static enum an_status out_of_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory");
}

/* Name and path fit to be shown and stored. */
static enum an_status name_file(struct an_collect *collect, const char *path, struct an_file *file,
                                bool *changed, struct an_error *err)
{
    struct an_text name = {0};
    struct an_text shown = {0};

    *changed = an_source_safe_name(path, &name);
    an_text_add_visible(&shown, an_bytes_of(path), 4096);
    if (!name.failed && !shown.failed) {
        file->name = an_arena_copy(collect->arena, an_text_of(&name), name.length);
        file->path = an_arena_copy(collect->arena, an_text_of(&shown), shown.length);
    }
    an_text_free(&name);
    an_text_free(&shown);
    return file->name && file->path ? AN_OK : out_of_memory(err);
}

/* The rows of a file that is held whole are all held. */
static enum an_status tell_whole(struct an_collect *collect, const struct an_reading *reading,
                                 struct an_file *file, struct an_error *err)
{
    const struct an_complaint *whole = &reading->whole;

    file->rows = reading->counts.rows;
    file->blank = reading->counts.blank;
    file->held = file->rows - file->blank;
    file->state = AN_FILE_HELD;
    file->code = an_hold_code(whole->reason);
    file->why = an_arena_copy(collect->arena, whole->why, strlen(whole->why));
    file->why_line = whole->line;
    file->why_column = whole->column;
    return file->why ? AN_OK : out_of_memory(err);
}

static enum an_status tell_rows(struct an_collect *collect, const struct an_reading *reading,
                                struct an_file *file, struct an_error *err)
{
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
        file->notes = an_arena_copy(collect->arena, an_text_of(&json), json.length);
    }
    const bool kept = good && (!json.length || file->notes);
    an_text_free(&json);
    return kept ? AN_OK : out_of_memory(err);
}

static enum an_status end_transaction(struct an_collect *collect, struct an_error *err)
{
    if (collect->options.dry_run) {
        an_store_rollback(collect->store);
        return AN_OK;
    }
    return an_store_commit(collect->store, err);
}

/* ---- held whole ------------------------------------------------------------------------------- */
static enum an_status keep_original(struct an_collect *collect, struct an_source *source,
                                    const struct an_file *file, void *buffer, struct an_error *err)
{
    size_t length = 0;
    enum an_status st = an_source_rewind(source, err);

    st = st ? st : an_store_original_open(collect->store, err);
    do {
        st = st ? st : an_source_read(source, buffer, collect->tuning.piece_bytes, &length, err);
        if (!st && length) {
            st = an_store_original_add(collect->store, buffer, length, err);
        }
    } while (!st && length);
    return st ? st : an_store_original_close(collect->store, file->file_id, &file->hash, err);
}

static enum an_status hold_file(struct an_collect *collect, struct an_reading *reading,
                                struct an_source *source, struct an_file *file,
                                struct an_error *err)
{
    enum an_status st = an_store_begin(collect->store, err);

    if (st) {
        return st;
    }
    st = an_store_next_file(collect->store, &file->file_id, err);
    st = st ? st : keep_original(collect, source, file, reading->piece, err);
    st = st ? st : an_watch_keep(reading, file->file_id, &file->hash, err);
    st = st ? st : an_store_put_file(collect->store, file, err);
    st = st ? st : end_transaction(collect, err);
    if (st) {
        an_store_rollback(collect->store);
    }
    return st;
}

/* ---- taken ------------------------------------------------------------------------------------ */
/* Reads the file as often as it takes. On AN_OK with `whole` set, or on failure, nothing is left
 * open; else the transaction is, with all but the file's own record. */
static enum an_status read_file(struct an_collect *collect, struct an_reading *reading,
                                struct an_file *file, struct an_error *err)
{
    const int most_readings = 3; /* as if nothing came up; with hours settled; with rows marked */

    for (int i = 0; i < most_readings; i++) {
        enum an_status st = an_store_begin(collect->store, err);

        if (st) {
            return st;
        }
        st = an_store_next_file(collect->store, &reading->file_id, err);
        st = st ? st : an_reading_run(reading, err);
        if (!st && reading->whole.reason == AN_HOLD_NO_REASON && !reading->read_again) {
            if (memcmp(reading->hash.at, file->hash.at, sizeof file->hash.at) == 0) {
                file->file_id = reading->file_id;
                return AN_OK;
            }
            st = an_fail(err, AN_IO, "\"%s\": changed while it was read; collect it again",
                         file->path);
        }
        an_store_rollback(collect->store);
        if (st || reading->whole.reason != AN_HOLD_NO_REASON) {
            return st;
        }
    }
    return an_fail(err, AN_BUG, "\"%s\": reading it again did not settle it", file->path);
}

static enum an_status take_file(struct an_collect *collect, size_t station,
                                struct an_source *source, bool renamed,
                                struct an_take_result *result, struct an_error *err)
{
    struct an_file *file = &result->file;
    struct an_reading *reading = an_alloc(1, sizeof *reading);
    enum an_status st = AN_OK;

    if (!reading) {
        return out_of_memory(err);
    }
    reading->store = collect->store;
    reading->plan = collect->plans[station];
    reading->options = &collect->options;
    reading->tuning = &collect->tuning;
    reading->source = source;
    reading->recent = &collect->recent;
    st = an_reading_open(reading, err);
    st = st ? st : read_file(collect, reading, file, err);
    if (st) {
        goto done;
    }
    if (reading->whole.reason != AN_HOLD_NO_REASON) {
        result->how = AN_HELD_WHOLE;
        st = tell_whole(collect, reading, file, err);
        st = st ? st : hold_file(collect, reading, source, file, err);
        goto done;
    }
    if (renamed) {
        an_note(&reading->notes, "name.unsafe", 0,
                "the file's name has control characters, broken text or a leading dash; it is kept "
                "under a safe one");
    }
    result->how = AN_TAKEN;
    st = an_watch_keep(reading, file->file_id, &file->hash, err);
    st = st ? st : tell_rows(collect, reading, file, err);
    st = st ? st : an_store_put_file(collect->store, file, err);
    st = st ? st : end_transaction(collect, err);
    if (st) {
        an_store_rollback(collect->store);
    } else if (!collect->options.dry_run) {
        st = an_watch_learn(&reading->watch, &collect->recent, err);
    }
done:
    an_reading_close(reading);
    an_free(reading);
    return st;
}

/* ---- seen before ------------------------------------------------------------------------------ */
/* The same bytes under another path, or written anew, are a sighting, once; the same file still
 * lying where it was taken from is not. */
static enum an_status note_sighting(struct an_collect *collect, const struct an_file *known,
                                    const struct an_file *now, struct an_error *err)
{
    const bool same_place = known->path && strcmp(known->path, now->path) == 0 &&
                            known->modified_us == now->modified_us;
    bool noted = false;

    if (same_place || collect->options.dry_run) {
        return AN_OK;
    }
    enum an_status st = an_store_sighting_is_known(collect->store, known->file_id, now->path,
                                                   now->modified_us, &noted, err);
    if (st || noted) {
        return st;
    }
    st = an_store_begin(collect->store, err);
    if (st) {
        return st;
    }
    st = an_store_put_sighting(collect->store, known->file_id, now->path, err);
    st = st ? st : an_store_commit(collect->store, err);
    if (st) {
        an_store_rollback(collect->store);
    }
    return st;
}

/* A file that was held whole is tried again once the line description has changed. */
static enum an_status look_up(struct an_collect *collect, struct an_take_result *result,
                              bool *known, struct an_error *err)
{
    struct an_file before;
    int64_t file_id = 0;
    enum an_status st =
        an_store_find_file(collect->store, &result->file.hash, known, &file_id, err);

    if (st || !*known) {
        return st;
    }
    st = an_store_file(collect->store, file_id, collect->arena, &before, err);
    if (st) {
        return st;
    }
    if (before.state == AN_FILE_HELD && before.line_revision != collect->line_revision) {
        *known = false;
        return AN_OK;
    }
    st = note_sighting(collect, &before, &result->file, err);
    result->how = AN_SEEN_BEFORE;
    result->file = before;
    return st;
}

/* ---- one file --------------------------------------------------------------------------------- */
static enum an_status hash_file(struct an_collect *collect, struct an_source *source,
                                struct an_sha256 *hash, struct an_error *err)
{
    const size_t size = (size_t)256 * 1024;
    void *buffer = an_arena_alloc(collect->arena, size, 1);

    return buffer ? an_source_hash(source, buffer, size, hash, err) : out_of_memory(err);
}

static enum an_status take_source(struct an_collect *collect, struct an_source *source,
                                  struct an_take_result *result, struct an_error *err)
{
    struct an_file *file = &result->file;
    bool renamed = false;
    bool known = false;
    enum an_status st = name_file(collect, source->path, file, &renamed, err);

    if (st) {
        return st;
    }
    file->bytes = (int64_t)source->bytes;
    file->modified_us = source->modified_us;
    file->known_us = an_clock_now_us();
    file->line_revision = collect->line_revision;
    file->first_us = file->last_us = AN_NO_INSTANT;
    const size_t station = collect->station != AN_NONE
                               ? collect->station
                               : an_collect_station_of(collect->line, source->path);
    if (station == AN_NONE) {
        result->how = AN_NO_STATION_FITS;
        return AN_OK;
    }
    file->station = collect->line->stations[station].name;
    st = hash_file(collect, source, &file->hash, err);
    st = st ? st : look_up(collect, result, &known, err);
    if (st || known) {
        return st;
    }
    if (!collect->plans[station]) {
        st = an_plan_open(collect->line, station, &collect->plans[station], err);
    }
    return st ? st : take_file(collect, station, source, renamed, result, err);
}

enum an_status an_collect_file(struct an_collect *collect, const char *path,
                               struct an_take_result *result, struct an_error *err)
{
    struct an_source source = {.file = -1};

    memset(result, 0, sizeof *result);
    an_arena_close(collect->arena);
    collect->arena = an_arena_open();
    if (!collect->arena) {
        return out_of_memory(err);
    }
    enum an_status st = an_source_open(&source, path, err);
    if (!st) {
        st = take_source(collect, &source, result, err);
    }
    an_source_close(&source);
    return st;
}
