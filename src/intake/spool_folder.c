/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One spool folder: read through and compared with what was known of it. The scan is the truth;
 * what events say only makes a look come sooner. A folder that cannot be read forgets nothing.
 */
#include "intake/collect.h"
#include "intake/spool_inner.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static enum an_status out_of_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "looking at the spool folders: memory ran out");
}

/* ---- the table -------------------------------------------------------------------------------- */

static struct an_spool_entry *new_entry(const char *name, size_t station)
{
    const size_t length = strlen(name) + 1;
    struct an_spool_entry *entry = an_alloc(1, sizeof *entry + length);
    if (entry) {
        memcpy(entry->name, name, length);
        entry->station = station;
        entry->size = -1; /* so that the first look sees a change */
    }
    return entry;
}

/* Where the name stands, or would. */
static size_t place_of(const struct an_spool_folder *folder, const char *name, bool *found)
{
    size_t lo = 0;
    size_t hi = folder->count;
    while (lo < hi) {
        const size_t middle = lo + (hi - lo) / 2;
        const int order = strcmp(folder->entries[middle]->name, name);
        if (order == 0) {
            *found = true;
            return middle;
        }
        if (order < 0) {
            lo = middle + 1;
        } else {
            hi = middle;
        }
    }
    *found = false;
    return lo;
}

static size_t station_of(const struct an_spool *spool, const struct an_spool_folder *folder,
                         const char *name)
{
    struct an_text path = {0};
    an_text_addf(&path, "%s/%s", folder->path, name);
    const size_t station =
        path.failed ? AN_NONE : an_collect_station_of(spool->line, an_text_of(&path));
    an_text_free(&path);
    return station;
}

static enum an_status insert(struct an_spool_folder *folder, size_t at, const char *name,
                             size_t station, struct an_error *err)
{
    void *entries = folder->entries;
    if (!an_grow(&entries, folder->count, &folder->capacity, sizeof *folder->entries)) {
        return out_of_memory(err);
    }
    folder->entries = entries;
    struct an_spool_entry *entry = new_entry(name, station);
    if (!entry) {
        return out_of_memory(err);
    }
    memmove(folder->entries + at + 1, folder->entries + at,
            (folder->count - at) * sizeof *folder->entries);
    folder->entries[at] = entry;
    folder->count++;
    return AN_OK;
}

enum an_status an_spool_hint(struct an_spool *spool, struct an_spool_folder *folder,
                             const char *name, enum an_hint hint, int64_t now_us,
                             struct an_error *err)
{
    bool known = false;
    const size_t at = place_of(folder, name, &known);
    if (name[0] == '.') {
        return AN_OK;
    }
    if (!known) {
        const size_t station = station_of(spool, folder, name);
        if (station == AN_NONE) {
            return AN_OK; /* told by the scan */
        }
        const enum an_status st = insert(folder, at, name, station, err);
        if (st) {
            return st;
        }
    }
    an_spool_examine(spool, folder, folder->entries[at], hint, now_us);
    return AN_OK;
}

/* ---- reading it through ----------------------------------------------------------------------- */

struct names {
    struct an_arena *arena;
    const char **at;
    size_t count, capacity, unfit;
    const char *first_unfit;
};

static int compare_names(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

static enum an_status add_name(struct names *names, const char *name, struct an_error *err)
{
    void *at = names->at;
    if (!an_grow(&at, names->count, &names->capacity, sizeof *names->at)) {
        return out_of_memory(err);
    }
    names->at = at;
    names->at[names->count] = an_arena_copy(names->arena, name, strlen(name));
    if (!names->at[names->count]) {
        return out_of_memory(err);
    }
    names->count++;
    return AN_OK;
}

/* *reason: of a folder that could not be read; 0 fine. */
static enum an_status read_names(DIR *open, struct names *names, int *reason, struct an_error *err)
{
    enum an_status st = AN_OK;
    while (!st) {
        errno = 0;
        const struct dirent *found = readdir(open);
        if (!found) {
            *reason = errno;
            break;
        }
        if (found->d_name[0] != '.') {
            st = add_name(names, found->d_name, err);
        }
    }
    if (!st && names->count) {
        qsort(names->at, names->count, sizeof *names->at, compare_names);
    }
    return st;
}

static void count_unfit(struct names *names, const char *name)
{
    names->unfit++;
    names->first_unfit = names->first_unfit ? names->first_unfit : name;
}

/* Both lists are sorted: what has left is forgotten, what is new begins to be watched. */
static enum an_status merge(struct an_spool *spool, struct an_spool_folder *folder,
                            struct names *names, struct an_error *err)
{
    const size_t room = names->count + 1;
    struct an_spool_entry **merged = an_alloc(room, sizeof(struct an_spool_entry *));
    size_t count = 0;
    size_t old = 0;
    enum an_status st = merged ? AN_OK : out_of_memory(err);
    for (size_t k = 0; !st && k < names->count; k++) {
        const char *name = names->at[k];
        while (old < folder->count && strcmp(folder->entries[old]->name, name) < 0) {
            an_free(folder->entries[old++]);
        }
        if (old < folder->count && strcmp(folder->entries[old]->name, name) == 0) {
            merged[count++] = folder->entries[old++];
            continue;
        }
        const size_t station = station_of(spool, folder, name);
        if (station == AN_NONE) {
            count_unfit(names, name);
            continue;
        }
        merged[count] = new_entry(name, station);
        st = merged[count] ? AN_OK : out_of_memory(err);
        count += !st;
    }
    if (!merged) {
        return st;
    }
    if (st) { /* what was not reached is forgotten, and found again by the next scan */
        folder->scan_now = true;
    }
    while (old < folder->count) {
        an_free(folder->entries[old++]);
    }
    an_free(folder->entries);
    folder->entries = merged;
    folder->count = count;
    folder->capacity = room;
    return st;
}

static void tell_unfit(struct an_spool *spool, struct an_spool_folder *folder,
                       const struct names *names)
{
    if (names->unfit && !folder->unfit_told) {
        an_spool_say(spool, AN_SPOOL_NO_PATTERN,
                     "%s: %zu name%s there fit%s no station's pattern and %s left alone, the first "
                     "is %s",
                     folder->path, names->unfit, names->unfit == 1 ? "" : "s",
                     names->unfit == 1 ? "s" : "", names->unfit == 1 ? "is" : "are",
                     names->first_unfit);
    }
    folder->unfit_told = names->unfit > 0;
}

static void gone(struct an_spool *spool, struct an_spool_folder *folder, int reason, int64_t now_us)
{
    if (folder->there || folder->tries == 0) {
        folder->gone_us = now_us;
        folder->tries = 0;
        an_spool_say(spool, AN_SPOOL_FOLDER_GONE,
                     "%s: the folder cannot be read: %s; it is looked for again and again",
                     folder->path, strerror(reason));
    }
    folder->there = false;
    const int64_t most_us =
        spool->options.scan_us < INT64_C(60000000) ? spool->options.scan_us : INT64_C(60000000);
    folder->next_scan_us = now_us + an_spool_pause(folder->tries++, most_us);
}

static void back(struct an_spool *spool, struct an_spool_folder *folder, int64_t now_us)
{
    char span[32];
    if (!folder->there && folder->tries > 0) {
        an_spool_say(spool, AN_SPOOL_FOLDER_BACK,
                     "%s: the folder can be read again after %s, %u %s", folder->path,
                     an_spool_span(now_us - folder->gone_us, span), folder->tries,
                     folder->tries == 1 ? "look" : "looks");
    }
    folder->there = true;
    folder->tries = 0;
    folder->next_scan_us = now_us + spool->options.scan_us;
}

/* Watched anew if it is another folder than before, and before its names are read: what comes in
 * between is then met by both. */
static void settle_watch(struct an_spool *spool, struct an_spool_folder *folder, int descriptor)
{
    struct stat state;
    if (fstat(descriptor, &state)) {
        return;
    }
    if (folder->watch < 0 || !folder->there || state.st_dev != folder->device ||
        state.st_ino != folder->inode) {
        folder->device = state.st_dev;
        folder->inode = state.st_ino;
        an_spool_watch(spool, folder, descriptor);
    }
}

static enum an_status scan_open(struct an_spool *spool, struct an_spool_folder *folder, DIR *open,
                                int64_t now_us, struct an_error *err)
{
    struct names names = {.arena = an_arena_open()};
    int reason = 0;
    enum an_status st = names.arena ? AN_OK : out_of_memory(err);
    settle_watch(spool, folder, dirfd(open));
    st = st ? st : read_names(open, &names, &reason, err);
    if (!st && reason) {
        gone(spool, folder, reason, now_us);
    } else if (!st) {
        st = merge(spool, folder, &names, err);
        if (!st) {
            back(spool, folder, now_us);
            tell_unfit(spool, folder, &names);
        }
        for (size_t k = 0; !st && k < folder->count; k++) {
            an_spool_examine(spool, folder, folder->entries[k], AN_HINT_NONE, now_us);
        }
    }
    an_free(names.at);
    an_arena_close(names.arena);
    return st;
}

enum an_status an_spool_scan(struct an_spool *spool, struct an_spool_folder *folder, int64_t now_us,
                             struct an_error *err)
{
    folder->scan_now = false;
    DIR *open = opendir(folder->path);
    if (!open) {
        gone(spool, folder, errno, now_us);
        return AN_OK;
    }
    const enum an_status st = scan_open(spool, folder, open, now_us, err);
    (void)closedir(open);
    return st;
}
