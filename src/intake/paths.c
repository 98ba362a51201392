/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Which files there are below the paths a person named, and which station each belongs to. Must
 * never read a file.
 */
#include "andamento/base/memory.h"
#include "intake/collect.h"

#include <dirent.h>
#include <errno.h>
#include <fnmatch.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

/* ---- stations --------------------------------------------------------------------------------- */
/* The last parts of a path, compared from the end: "." and empty parts do not count. */
static bool last_part(const char *path, size_t *length, const char **part, size_t *part_length)
{
    while (*length) {
        size_t from = *length;

        while (from && path[from - 1] != '/') {
            from--;
        }
        *part = path + from;
        *part_length = *length - from;
        *length = from ? from - 1 : 0;
        if (*part_length && !(*part_length == 1 && (*part)[0] == '.')) {
            return true;
        }
    }
    return false;
}

static bool folder_ends_with(const char *path, size_t length, const char *folder)
{
    size_t folder_length = strlen(folder);
    const char *part = NULL;
    const char *wanted = NULL;
    size_t part_length = 0;
    size_t wanted_length = 0;
    bool any = false;

    while (last_part(folder, &folder_length, &wanted, &wanted_length)) {
        if (!last_part(path, &length, &part, &part_length) || part_length != wanted_length ||
            memcmp(part, wanted, part_length) != 0) {
            return false;
        }
        any = true;
    }
    return any;
}

size_t an_collect_station_of(const struct an_line *line, const char *path)
{
    const char *slash = strrchr(path, '/');
    const char *name = slash ? slash + 1 : path;
    const size_t folder_length = slash ? (size_t)(slash - path) : 0;
    size_t by_folder = AN_NONE;
    size_t by_pattern = AN_NONE;
    size_t in_folder = 0;
    size_t fitting = 0;

    for (size_t i = 0; i < line->station_count; i++) {
        const struct an_station *station = &line->stations[i];

        if (station->pattern && fnmatch(station->pattern, name, FNM_PERIOD) != 0) {
            continue;
        }
        fitting++;
        by_pattern = i;
        if (station->folder && folder_ends_with(path, folder_length, station->folder)) {
            in_folder++;
            by_folder = i;
        }
    }
    if (in_folder) {
        return in_folder == 1 ? by_folder : AN_NONE;
    }
    return fitting == 1 ? by_pattern : AN_NONE;
}

/* ---- files ------------------------------------------------------------------------------------ */
struct listing {
    struct an_arena *arena;
    const char **files;
    size_t count, capacity;
    struct an_error *err;
};

static enum an_status out_of_memory(const struct listing *listing)
{
    return an_fail(listing->err, AN_NO_MEMORY, "out of memory");
}

static enum an_status add_file(struct listing *listing, const char *path)
{
    if (listing->count == listing->capacity) {
        const size_t capacity = listing->capacity ? 2 * listing->capacity : 64;
        const char **more = an_arena_alloc(listing->arena, capacity, sizeof *more);

        if (!more) {
            return out_of_memory(listing);
        }
        if (listing->count) {
            memcpy(more, listing->files, listing->count * sizeof *more);
        }
        listing->files = more;
        listing->capacity = capacity;
    }
    const char *copy = an_arena_copy(listing->arena, path, strlen(path));
    if (!copy) {
        return out_of_memory(listing);
    }
    listing->files[listing->count++] = copy;
    return AN_OK;
}

static int compare_texts(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

/* Names in a folder, sorted, without those that begin with a dot. */
static enum an_status read_names(struct listing *listing, const char *folder, struct listing *names,
                                 bool *gone)
{
    DIR *open = opendir(folder);
    enum an_status st = AN_OK;

    *gone = !open && (errno == ENOENT || errno == ENOTDIR);
    if (!open) {
        return an_fail(listing->err, errno == EACCES ? AN_DENIED : AN_IO,
                       "\"%s\": the folder could not be read: %s", folder, strerror(errno));
    }
    for (;;) {
        errno = 0;
        const struct dirent *entry = readdir(open);

        if (!entry) {
            if (errno) {
                st = an_fail(listing->err, AN_IO, "\"%s\": the folder could not be read: %s",
                             folder, strerror(errno));
            }
            break;
        }
        if (entry->d_name[0] != '.') {
            st = add_file(names, entry->d_name);
            if (st) {
                break;
            }
        }
    }
    (void)closedir(open);
    if (!st && names->count) {
        qsort(names->files, names->count, sizeof *names->files, compare_texts);
    }
    return st;
}

static enum an_status walk(struct listing *listing, const char *folder, int depth)
{
    struct listing names = {.arena = listing->arena, .err = listing->err};
    const size_t length = strlen(folder);
    bool gone = false;
    enum an_status st = read_names(listing, folder, &names, &gone);

    if (depth && gone) {
        return AN_OK; /* its files are no longer anybody's */
    }
    if (depth && st == AN_DENIED) {
        return add_file(listing, folder); /* told when it is taken; the others go on */
    }
    for (size_t i = 0; i < names.count && !st; i++) {
        struct stat state;
        const char *path =
            an_arena_printf(listing->arena, "%s%s%s", folder,
                            length && folder[length - 1] == '/' ? "" : "/", names.files[i]);

        if (!path) {
            return out_of_memory(listing);
        }
        if (lstat(path, &state)) {
            continue; /* gone since */
        }
        if (S_ISDIR(state.st_mode) && depth < 64) {
            st = walk(listing, path, depth + 1);
        } else {
            st = add_file(listing, path); /* what is no file is told when it is taken */
        }
    }
    return st;
}

enum an_status an_collect_list(const char *const *paths, size_t count, struct an_arena *arena,
                               const char ***files, size_t *file_count, struct an_error *err)
{
    struct listing listing = {.arena = arena, .err = err};
    enum an_status st = AN_OK;

    *files = NULL;
    *file_count = 0;
    for (size_t i = 0; i < count && !st; i++) {
        struct stat state;

        if (lstat(paths[i], &state)) {
            st = an_fail(err, errno == EACCES ? AN_DENIED : AN_NOT_FOUND,
                         "\"%s\": there is no such file or folder, or it may not be looked at",
                         paths[i]);
        } else if (S_ISDIR(state.st_mode)) {
            st = walk(&listing, paths[i], 0);
        } else {
            st = add_file(&listing, paths[i]); /* what is no file is told when it is taken */
        }
    }
    if (!st) {
        *files = listing.files;
        *file_count = listing.count;
    }
    return st;
}
