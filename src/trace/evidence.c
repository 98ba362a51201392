/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Evidence of an item: finds it and what it is made of, then writes the folder part by part under one
 * view of the store. Must never leave half a folder, nor write an original or a row that is not what
 * was recorded.
 */
#include "trace/evidence.h"

#include "andamento/base/instant.h"
#include "andamento/base/output_folder.h"
#include "andamento/base/sign.h"
#include "andamento/store/evidence.h"
#include "andamento/store/retention.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

/* the files beside this one, with a NUL behind each */
extern const char an_evidence_check_script[];
extern const char an_evidence_steps_text[];

static enum an_status no_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory");
}

static int by_number(const void *a, const void *b)
{
    const int64_t x = *(const int64_t *)a;
    const int64_t y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

/* ---- what it is made of -------------------------------------------------------------------------- */
static enum an_status gather(struct an_evidence_work *work, struct an_trace *trace)
{
    const struct an_trace_ask ask = {.item_id = work->told->item.item_id,
                                     .way = AN_TRACE_UP,
                                     .from_us = AN_NO_INSTANT,
                                     .until_us = AN_NO_INSTANT};
    enum an_status st = an_trace_run(work->store, &ask, trace, work->err);
    if (!st && trace->cut) {
        st = an_fail(work->err, AN_BAD_USAGE,
                     "%s is made of more than can be followed (%zu links): export evidence of its "
                     "parts",
                     work->told->item.serial, AN_TRACE_MOST_STEPS);
    }
    st = st ? st : an_evidence_begin(work->store, work->err);
    st = st ? st : an_evidence_add(work->store, trace->item.item_id, work->err);
    int64_t *ids = an_arena_alloc(work->arena, trace->reached_count + 1, sizeof *ids);
    st = !st && !ids ? no_memory(work->err) : st;
    for (size_t i = 0; !st && i < trace->reached_count; i++) {
        ids[i] = trace->reached[i].item.item_id;
    }
    if (!st && trace->reached_count) {
        qsort(ids, trace->reached_count, sizeof *ids, by_number);
    }
    work->told->items = 1;
    for (size_t i = 0; !st && i < trace->reached_count; i++) {
        if (i == 0 || ids[i] != ids[i - 1]) { /* an item is reached once a role */
            st = an_evidence_add(work->store, ids[i], work->err);
            work->told->items++;
        }
    }
    return st ? st : an_evidence_gather(work->store, work->err);
}

/* ---- originals ------------------------------------------------------------------------------------ */
static int take_piece(void *context, const void *at, size_t length)
{
    return an_folder_file_write(context, at, length) ? 1 : 0;
}

static enum an_status put_original(struct an_evidence_work *work,
                                   const struct an_evidence_source *source, const char *hex)
{
    struct an_folder_file *file = NULL;
    struct an_sha256 is;
    struct an_arena *arena = an_arena_open();
    char *name = arena ? an_arena_printf(arena, "originals/%s", hex) : NULL;
    enum an_status st =
        name ? an_folder_file_open(work->folder, name, &file, work->err) : no_memory(work->err);
    an_arena_close(arena);
    if (st) {
        return st;
    }
    st = an_evidence_source_read(work->store, source, take_piece, file, work->err);
    if (st && st != AN_IO) {
        an_folder_file_drop(file);
        return st;
    }
    st = an_folder_file_close(file, &is, work->err); /* what stopped it is told here */
    if (!st && memcmp(&is, &source->hash, sizeof is) != 0) {
        st =
            an_fail(work->err, AN_NO_STORE,
                    "the kept original of '%s' is not what was taken: run verify, which tells what "
                    "was changed",
                    source->name);
    }
    work->told->originals++;
    return st;
}

/* The same bytes may be told by several entries: released rows are of the file they were held in. */
static int by_hash(const void *a, const void *b)
{
    const struct an_evidence_source *const *x = a;
    const struct an_evidence_source *const *y = b;
    const int order = memcmp(&(*x)->hash, &(*y)->hash, sizeof(*x)->hash);
    return order ? order : ((*x)->entry > (*y)->entry) - ((*x)->entry < (*y)->entry);
}

/* What is not there must have been dropped by record. */
static enum an_status check_dropped(struct an_evidence_work *work,
                                    const struct an_evidence_source *source)
{
    struct an_dropped dropped;
    bool found = false;
    const enum an_status st = an_store_original_dropped(work->store, &source->hash, work->arena,
                                                        &dropped, &found, work->err);
    if (!st && !found) {
        return an_fail(work->err, AN_NO_STORE,
                       "the original of '%s' is not kept, and no record says who dropped it: run "
                       "verify",
                       source->name);
    }
    work->told->dropped++;
    return st;
}

static enum an_status put_originals(struct an_evidence_work *work,
                                    const struct an_evidence_source *sources, size_t count)
{
    const struct an_evidence_source **sorted =
        an_arena_alloc(work->arena, count + 1, sizeof *sorted);
    struct an_text list = {0};
    char hex[65];
    enum an_status st = sorted ? AN_OK : no_memory(work->err);

    for (size_t i = 0; !st && i < count; i++) {
        sorted[i] = &sources[i];
        an_text_addf(&list, "%" PRId64 " %s %s\n", sources[i].entry,
                     an_sha256_hex(&sources[i].hash, hex), sources[i].kept ? "kept" : "dropped");
        work->told->files += sources[i].kind == AN_SOURCE_FILE;
    }
    if (!st && count) {
        qsort(sorted, count, sizeof *sorted, by_hash);
    }
    for (size_t i = 0; !st && i < count; i++) {
        const bool again = i && memcmp(&sorted[i]->hash, &sorted[i - 1]->hash, 32) == 0;
        if (!again) {
            st = sorted[i]->kept
                     ? put_original(work, sorted[i], an_sha256_hex(&sorted[i]->hash, hex))
                     : check_dropped(work, sorted[i]);
        }
    }
    st = !st && list.failed ? no_memory(work->err) : st;
    st = st ? st
            : an_folder_file_put(work->folder, "sources.txt", an_text_of(&list), list.length,
                                 work->err);
    an_text_free(&list);
    return st;
}

/* Rows are handed out only of files of which all that is stored is what was recorded. */
static enum an_status put_files(struct an_evidence_work *work)
{
    struct an_evidence_source *sources = NULL;
    size_t count = 0;
    enum an_status st = an_evidence_sources(work->store, work->arena, &sources, &count, work->err);

    for (size_t i = 0; !st && i < count; i++) {
        bool sound = false;
        if (sources[i].kind != AN_SOURCE_FILE) {
            continue;
        }
        st = an_store_file_check(work->store, sources[i].id, &sound, work->err);
        if (!st && !sound) {
            const struct an_error why = *work->err;
            st = an_fail(work->err, AN_NO_STORE, "file '%s': %s", sources[i].name, why.text);
        }
        st = st ? st : an_evidence_put_readings(work, sources[i].id, sources[i].entry);
    }
    return st ? st : put_originals(work, sources, count);
}

/* ---- steps and sums ------------------------------------------------------------------------------- */
enum an_status an_evidence_put_steps(struct an_evidence_work *work)
{
    const struct an_evidence_told *told = work->told;
    struct an_text steps = {0};
    struct an_signature signature;
    char hex[65];

    an_text_addf(&steps,
                 "Evidence of %s %s, as it was known when the ledger of '%s' had %" PRIu64
                 " entries and the root\n%s.\nWritten by andamento %s; checked without it:\n\n"
                 "    sh check.sh [PUBLIC-KEY]\n\n",
                 told->item.kind, told->item.serial, an_store_path(work->store), told->head.size,
                 an_sha256_hex(&told->head.root, hex), work->ask->program_version);
    an_text_add(&steps, an_evidence_steps_text);
    enum an_status st = steps.failed
                            ? no_memory(work->err)
                            : an_folder_file_put(work->folder, "STEPS.txt", an_text_of(&steps),
                                                 steps.length, work->err);
    an_text_free(&steps);
    st = st ? st
            : an_folder_file_put(work->folder, "check.sh", an_evidence_check_script,
                                 strlen(an_evidence_check_script), work->err);
    if (st) {
        return st;
    }
    struct an_text sums = {0}; /* a copy: writing them adds a line to the folder's */
    an_text_add(&sums, an_text_of(an_output_folder_sums(work->folder)));
    st = sums.failed ? no_memory(work->err)
                     : an_folder_file_put(work->folder, "SHA256SUMS", an_text_of(&sums),
                                          sums.length, work->err);
    if (!st && work->ask->private_key.length) {
        const struct an_bytes text = {(const unsigned char *)an_text_of(&sums), sums.length};
        st = an_key_sign(work->ask->private_key, text, &signature, NULL, work->err);
        st = st ? st
                : an_folder_file_put(work->folder, "SHA256SUMS.sig", signature.at,
                                     sizeof signature.at, work->err);
    }
    an_text_free(&sums);
    return st;
}

/* ---- the whole ------------------------------------------------------------------------------------ */
static enum an_status default_path(struct an_evidence_work *work)
{
    char *path = an_arena_printf(work->arena, "evidence-%s", work->told->item.serial);
    for (char *c = path; c && *c; c++) {
        const bool plain = (*c >= '0' && *c <= '9') || (*c >= 'a' && *c <= 'z') ||
                           (*c >= 'A' && *c <= 'Z') || *c == '-' || *c == '_' || *c == '.';
        *c = plain ? *c : '_';
    }
    work->told->path = path;
    return path ? AN_OK : no_memory(work->err);
}

static enum an_status write_all(struct an_evidence_work *work, const struct an_line *line,
                                struct an_trace *trace)
{
    static const char *const folders[] = {"records", "readings", "originals", "leaves", "hits"};
    enum an_status st = an_trace_find(work->store, line, work->ask->item, work->arena,
                                      &work->told->item, work->err);
    st = st ? st : an_ledger_head(work->store, &work->told->head, work->err);
    if (!st && !work->told->path) {
        st = default_path(work);
    }
    st = st ? st : an_output_folder_open(work->told->path, &work->folder, work->err);
    st = st ? st : gather(work, trace);
    for (size_t i = 0; !st && i < sizeof folders / sizeof *folders; i++) {
        st = an_output_folder_within(work->folder, folders[i], work->err);
    }
    st = st ? st : an_evidence_put_proofs(work);
    st = st ? st : an_evidence_put_records(work, trace);
    st = st ? st : put_files(work);
    return st ? st : an_evidence_put_steps(work);
}

enum an_status an_evidence_write(struct an_store *store, const struct an_line *line,
                                 const struct an_evidence_ask *ask, struct an_arena *arena,
                                 struct an_evidence_told *told, struct an_error *err)
{
    struct an_evidence_work work = {
        .store = store, .arena = arena, .ask = ask, .told = told, .err = err};
    struct an_trace trace = {0};
    bool own = false;
    enum an_status st = an_store_hold_view(store, &own, err);

    *told = (struct an_evidence_told){.path = ask->path};
    if (!st) {
        st = write_all(&work, line, &trace);
        an_trace_close(&trace);
    }
    an_store_let_view_go(store, own);
    if (st) {
        an_output_folder_abandon(work.folder);
        return st;
    }
    return an_output_folder_commit(work.folder, err);
}
