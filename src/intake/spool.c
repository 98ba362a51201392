/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The spool as a whole: which folders there are, what is due, what is handed out next. It must
 * never hand out a file twice that has not changed, unless it was put back.
 */
#include "intake/spool.h"

#include "intake/spool_inner.h"

#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/inotify.h>
#include <sys/stat.h>
#include <unistd.h>

/* ---- words ------------------------------------------------------------------------------------ */

void an_spool_say(struct an_spool *spool, enum an_spool_notice what, const char *format, ...)
{
    char line[1024];
    struct an_text text = {0};
    va_list args;
    if (!spool->options.tell) {
        return;
    }
    va_start(args, format);
    (void)vsnprintf(line, sizeof line, format, args);
    va_end(args);
    an_text_add_visible(&text, an_bytes_of(line), sizeof line); /* names come from outside */
    spool->options.tell(spool->options.context, what, text.failed ? "" : an_text_of(&text));
    an_text_free(&text);
}

int64_t an_spool_pause(unsigned tries, int64_t most_us)
{
    const int64_t pause_us = INT64_C(1000000) << (tries < 20 ? tries : 20);
    return pause_us < most_us ? pause_us : most_us;
}

const char *an_spool_span(int64_t us, char buffer[32])
{
    const long long s = (long long)((us + 500000) / 1000000);
    if (us < 10000000) {
        (void)snprintf(buffer, 32, "%.1f s", (double)us / 1e6);
    } else if (s < 120) {
        (void)snprintf(buffer, 32, "%lld s", s);
    } else if (s < 7200) {
        (void)snprintf(buffer, 32, "%lld min", s / 60);
    } else {
        (void)snprintf(buffer, 32, "%lld h %lld min", s / 3600, s / 60 % 60);
    }
    return buffer;
}

/* ---- opening and closing ---------------------------------------------------------------------- */

static char *folder_path(const struct an_line *line, const struct an_station *station)
{
    const bool absolute = station->folder[0] == '/';
    const size_t size = strlen(line->folder) + strlen(station->folder) + 2;
    char *path = an_alloc(size, 1);
    if (path && absolute) {
        (void)snprintf(path, size, "%s", station->folder);
    } else if (path) {
        (void)snprintf(path, size, "%s/%s", line->folder, station->folder);
    }
    for (size_t length = path ? strlen(path) : 0; length > 1 && path[length - 1] == '/';) {
        path[--length] = '\0';
    }
    return path;
}

static enum an_status add_folder(struct an_spool *spool, size_t station, struct an_error *err)
{
    char *path = folder_path(spool->line, &spool->line->stations[station]);
    if (!path) {
        return an_fail(err, AN_NO_MEMORY, "opening the spool folders: memory ran out");
    }
    for (size_t k = 0; k < spool->folder_count; k++) {
        if (strcmp(spool->folders[k].path, path) == 0) {
            an_free(path);
            return AN_OK;
        }
    }
    spool->folders[spool->folder_count++] =
        (struct an_spool_folder){.path = path, .watch = -1, .scan_now = true};
    return AN_OK;
}

enum an_status an_spool_open(const struct an_line *line, const struct an_spool_options *options,
                             struct an_spool **out, struct an_error *err)
{
    struct an_spool *spool = an_alloc(1, sizeof *spool);
    enum an_status st = AN_OK;
    *out = NULL;
    if (spool) {
        spool->events = -1;
        spool->folders = an_alloc(line->station_count + 1, sizeof *spool->folders);
    }
    if (!spool || !spool->folders) {
        an_spool_close(spool);
        return an_fail(err, AN_NO_MEMORY, "opening the spool folders: memory ran out");
    }
    spool->line = line;
    spool->options = *options;
    for (size_t k = 0; !st && k < line->station_count; k++) {
        if (line->stations[k].folder) {
            st = add_folder(spool, k, err);
        }
    }
    if (!st && spool->folder_count == 0) {
        st = an_fail(err, AN_BAD_CONFIG,
                     "no station of the line description has a folder to be followed");
    }
    if (st) {
        an_spool_close(spool);
        return st;
    }
    if (!options->no_events) { /* without them the scans go on alone */
        spool->events = inotify_init1(IN_NONBLOCK | IN_CLOEXEC);
    }
    *out = spool;
    return AN_OK;
}

void an_spool_close(struct an_spool *spool)
{
    if (!spool) {
        return;
    }
    for (size_t k = 0; k < spool->folder_count; k++) {
        for (size_t e = 0; e < spool->folders[k].count; e++) {
            an_free(spool->folders[k].entries[e]);
        }
        an_free(spool->folders[k].entries);
        an_free(spool->folders[k].path);
    }
    if (spool->events >= 0) {
        (void)close(spool->events);
    }
    an_free(spool->folders);
    an_free(spool->whole);
    an_free(spool->hand);
    an_arena_close(spool->arena);
    an_free(spool);
}

int an_spool_descriptor(const struct an_spool *spool)
{
    return spool->events;
}

void an_spool_scan_soon(struct an_spool *spool)
{
    for (size_t k = 0; k < spool->folder_count; k++) {
        spool->folders[k].scan_now = true;
    }
    spool->wake_us = 0;
}

int64_t an_spool_wake_us(const struct an_spool *spool)
{
    return spool->wake_us;
}

struct an_spool_counts an_spool_counts(const struct an_spool *spool)
{
    struct an_spool_counts counts = {.folders = spool->folder_count};
    for (size_t k = 0; k < spool->folder_count; k++) {
        const struct an_spool_folder *folder = &spool->folders[k];
        counts.folders_gone += !folder->there;
        for (size_t e = 0; e < folder->count; e++) {
            counts.waiting += folder->entries[e]->state == AN_ENTRY_WAITING;
            counts.whole += folder->entries[e]->state == AN_ENTRY_WHOLE;
            counts.failing += folder->entries[e]->state == AN_ENTRY_RETRY;
        }
    }
    return counts;
}

/* ---- looking ---------------------------------------------------------------------------------- */

/* Files that are due; those that left are forgotten. */
static void look_at_entries(struct an_spool *spool, struct an_spool_folder *folder, int64_t now_us)
{
    size_t kept = 0;
    for (size_t e = 0; e < folder->count; e++) {
        struct an_spool_entry *entry = folder->entries[e];
        const bool due = entry->state == AN_ENTRY_WAITING || entry->state == AN_ENTRY_RETRY;
        if (due && entry->due_us <= now_us) {
            an_spool_examine(spool, folder, entry, AN_HINT_NONE, now_us);
        }
        if (entry->state == AN_ENTRY_GONE) {
            an_free(entry);
        } else {
            folder->entries[kept++] = entry;
        }
    }
    folder->count = kept;
}

static int compare_whole(const void *a, const void *b)
{
    const struct an_spool_whole *x = a;
    const struct an_spool_whole *y = b;
    if (x->entry->modified_ns != y->entry->modified_ns) {
        return x->entry->modified_ns < y->entry->modified_ns ? -1 : 1;
    }
    if (x->folder != y->folder) {
        return x->folder < y->folder ? -1 : 1;
    }
    return strcmp(x->entry->name, y->entry->name);
}

static enum an_status gather(struct an_spool *spool, int64_t now_us, struct an_error *err)
{
    spool->whole_count = spool->whole_at = 0;
    spool->wake_us = INT64_MAX;
    for (size_t k = 0; k < spool->folder_count; k++) {
        struct an_spool_folder *folder = &spool->folders[k];
        const int64_t scan_us = folder->scan_now ? now_us : folder->next_scan_us;
        spool->wake_us = scan_us < spool->wake_us ? scan_us : spool->wake_us;
        for (size_t e = 0; e < folder->count; e++) {
            struct an_spool_entry *entry = folder->entries[e];
            if (entry->state == AN_ENTRY_WAITING || entry->state == AN_ENTRY_RETRY) {
                spool->wake_us = entry->due_us < spool->wake_us ? entry->due_us : spool->wake_us;
            }
            if (entry->state != AN_ENTRY_WHOLE) {
                continue;
            }
            void *whole = spool->whole;
            if (!an_grow(&whole, spool->whole_count, &spool->whole_capacity,
                         sizeof *spool->whole)) {
                return an_fail(err, AN_NO_MEMORY, "looking at the spool folders: memory ran out");
            }
            spool->whole = whole;
            spool->whole[spool->whole_count++] =
                (struct an_spool_whole){.folder = folder, .entry = entry};
        }
    }
    if (spool->whole_count) {
        qsort(spool->whole, spool->whole_count, sizeof *spool->whole, compare_whole);
    }
    return AN_OK;
}

enum an_status an_spool_look(struct an_spool *spool, int64_t now_us, struct an_error *err)
{
    spool->hand_count = 0;
    an_arena_close(spool->arena);
    spool->arena = NULL;
    spool->whole_count = spool->whole_at = 0; /* what it points at may go now */
    enum an_status st = an_spool_read_events(spool, now_us, err);
    for (size_t k = 0; !st && k < spool->folder_count; k++) {
        struct an_spool_folder *folder = &spool->folders[k];
        if (folder->scan_now || now_us >= folder->next_scan_us) {
            st = an_spool_scan(spool, folder, now_us, err);
        }
        if (!st) {
            look_at_entries(spool, folder, now_us);
        }
    }
    return st ? st : gather(spool, now_us, err);
}

/* ---- handing out ------------------------------------------------------------------------------ */

/* False for want of memory: the next look offers it again. */
static bool hand_out(struct an_spool *spool, struct an_spool_whole whole,
                     struct an_spool_file *file)
{
    void *hand = spool->hand;
    if (!an_grow(&hand, spool->hand_count, &spool->hand_capacity, sizeof *spool->hand)) {
        return false;
    }
    spool->hand = hand;
    spool->arena = spool->arena ? spool->arena : an_arena_open();
    const char *path =
        spool->arena ? an_arena_printf(spool->arena, "%s/%s", whole.folder->path, whole.entry->name)
                     : NULL;
    if (!path) {
        return false;
    }
    *file = (struct an_spool_file){.path = path,
                                   .station = whole.entry->station,
                                   .bytes = whole.entry->size,
                                   .ticket = spool->hand_count};
    spool->hand[spool->hand_count++] = whole;
    return true;
}

bool an_spool_next(struct an_spool *spool, int64_t now_us, struct an_spool_file *file)
{
    while (spool->whole_at < spool->whole_count) {
        const struct an_spool_whole whole = spool->whole[spool->whole_at++];
        if (whole.entry->state != AN_ENTRY_WHOLE) {
            continue;
        }
        an_spool_examine(spool, whole.folder, whole.entry, AN_HINT_NONE, now_us);
        if (whole.entry->state == AN_ENTRY_WHOLE) { /* else changed or left since */
            return hand_out(spool, whole, file);
        }
    }
    return false;
}

static struct an_spool_entry *entry_of(struct an_spool *spool, const struct an_spool_file *file)
{
    return spool->hand[file->ticket].entry;
}

void an_spool_took(struct an_spool *spool, const struct an_spool_file *file, int64_t now_us)
{
    struct an_spool_entry *entry = entry_of(spool, file);
    char span[32];
    if (entry->tries > 0) {
        an_spool_say(spool, AN_SPOOL_FILE_AGAIN, "%s: could be read after %s, %u failed %s",
                     file->path, an_spool_span(now_us - entry->failed_us, span), entry->tries,
                     entry->tries == 1 ? "try" : "tries");
    }
    entry->tries = 0;
    entry->state = AN_ENTRY_DONE;
}

void an_spool_gone(struct an_spool *spool, const struct an_spool_file *file)
{
    an_spool_say(spool, AN_SPOOL_FILE_GONE, "%s: left the folder before it was taken", file->path);
    entry_of(spool, file)->state = AN_ENTRY_GONE;
}

/* It changed while it was read. */
static void wait_again(struct an_spool *spool, struct an_spool_entry *entry, int64_t now_us)
{
    if (entry->state == AN_ENTRY_GONE) {
        return;
    }
    entry->state = AN_ENTRY_WAITING;
    entry->since_us = now_us;
    entry->renamed = entry->closed = entry->marker_read = entry->marker_seen = false;
    entry->due_us = now_us + spool->options.settle_us;
    spool->wake_us = entry->due_us < spool->wake_us ? entry->due_us : spool->wake_us;
}

/* A file that was replaced or went on growing meanwhile has not failed. */
void an_spool_failed(struct an_spool *spool, const struct an_spool_file *file, int64_t now_us,
                     const char *why)
{
    struct an_spool_entry *entry = entry_of(spool, file);
    entry->state = AN_ENTRY_DONE;
    an_spool_examine(spool, spool->hand[file->ticket].folder, entry, AN_HINT_NONE, now_us);
    if (entry->state != AN_ENTRY_DONE) {
        wait_again(spool, entry, now_us);
        return;
    }
    if (entry->tries == 0) {
        entry->failed_us = now_us;
        an_spool_say(spool, AN_SPOOL_FILE_FAILS, "%s; it is tried again and again", why);
    }
    entry->due_us = now_us + an_spool_pause(entry->tries++, INT64_C(300000000));
    entry->state = AN_ENTRY_RETRY;
    spool->wake_us = entry->due_us < spool->wake_us ? entry->due_us : spool->wake_us;
}

void an_spool_put_back(struct an_spool *spool, const struct an_spool_file *file)
{
    entry_of(spool, file)->state = AN_ENTRY_WHOLE;
}
