/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Write beside, sync, rename, for a folder. Must never touch what is not its own: it removes only
 * what lies in the folder that it made itself, two levels deep, since it makes no deeper ones.
 */
#include "andamento/base/output_folder.h"

#include "andamento/base/memory.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct an_output_folder {
    char *path, *beside;
    int fd; /* of the temporary folder */
    struct an_text sums;
};

struct an_folder_file {
    struct an_output_folder *folder;
    struct an_digest *digest;
    char *name;
    int fd;
    int first_errno;
    size_t used;
    unsigned char buffer[64 * 1024];
};

static char *joined(const char *a, size_t length, const char *b)
{
    char *text = an_alloc(length + strlen(b) + 1, 1);
    if (text) {
        memcpy(text, a, length);
        memcpy(text + length, b, strlen(b));
    }
    return text;
}

/* ---- removing ---------------------------------------------------------------------------------- */
static void empty(int fd, int levels)
{
    DIR *list = fdopendir(dup(fd));
    if (!list) {
        return;
    }
    rewinddir(list);
    const struct dirent *entry;
    while ((entry = readdir(list)) != NULL) {
        const bool own = strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0;
        if (own && unlinkat(fd, entry->d_name, 0) && levels > 1) {
            const int below =
                openat(fd, entry->d_name, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
            if (below >= 0) {
                empty(below, levels - 1);
                (void)close(below);
                (void)unlinkat(fd, entry->d_name, AT_REMOVEDIR);
            }
        }
    }
    (void)closedir(list);
}

static void release(struct an_output_folder *folder)
{
    if (folder->fd >= 0) {
        (void)close(folder->fd);
    }
    an_text_free(&folder->sums);
    an_free(folder->path);
    an_free(folder->beside);
    an_free(folder);
}

void an_output_folder_abandon(struct an_output_folder *folder)
{
    if (folder) {
        if (folder->fd >= 0) {
            empty(folder->fd, 2);
            (void)rmdir(folder->beside);
        }
        release(folder);
    }
}

/* ---- the folder -------------------------------------------------------------------------------- */
static enum an_status is_free(const char *path, struct an_error *err)
{
    struct stat what;
    if (lstat(path, &what) == 0) {
        return an_fail(err, AN_CANNOT_CREATE,
                       "'%s' is there already and is never written over: name another folder",
                       path);
    }
    return AN_OK;
}

enum an_status an_output_folder_open(const char *path, struct an_output_folder **folder,
                                     struct an_error *err)
{
    *folder = NULL;
    size_t length = strlen(path);
    while (length > 1 && path[length - 1] == '/') {
        length--;
    }
    struct an_output_folder *opened = an_alloc(1, sizeof *opened);
    if (!opened) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    opened->fd = -1;
    opened->path = joined(path, length, "");
    opened->beside = joined(path, length, ".part-XXXXXX");
    enum an_status st =
        opened->path && opened->beside ? AN_OK : an_fail(err, AN_NO_MEMORY, "out of memory");
    st = st ? st : is_free(opened->path, err);
    if (!st && mkdtemp(opened->beside)) {
        opened->fd = open(opened->beside, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
        if (opened->fd < 0) {
            (void)rmdir(opened->beside);
        }
    }
    if (!st && opened->fd < 0) {
        st = an_fail(err, AN_CANNOT_CREATE,
                     "could not create '%s': %s; check that its folder exists and may be written "
                     "to",
                     path, strerror(errno));
    }
    if (st) {
        release(opened);
        return st;
    }
    const mode_t mask = umask(0);
    (void)umask(mask);
    (void)fchmod(opened->fd, (mode_t)(0777 & ~mask));
    *folder = opened;
    return AN_OK;
}

enum an_status an_output_folder_within(struct an_output_folder *folder, const char *name,
                                       struct an_error *err)
{
    return mkdirat(folder->fd, name, 0777)
               ? an_fail(err, AN_CANNOT_CREATE, "could not create '%s' in '%s': %s", name,
                         folder->path, strerror(errno))
               : AN_OK;
}

const struct an_text *an_output_folder_sums(const struct an_output_folder *folder)
{
    return &folder->sums;
}

/* The folders' own entries: those within, itself, and where its name stands. */
static void sync_within(const struct an_output_folder *folder)
{
    DIR *list = fdopendir(dup(folder->fd));
    const struct dirent *entry;
    if (!list) {
        return;
    }
    rewinddir(list);
    while ((entry = readdir(list)) != NULL) {
        const int fd = openat(folder->fd, entry->d_name,
                              O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC | O_NONBLOCK);
        if (fd >= 0) { /* ".." is where the name will stand */
            (void)fsync(fd);
            (void)close(fd);
        }
    }
    (void)closedir(list);
}

enum an_status an_output_folder_commit(struct an_output_folder *folder, struct an_error *err)
{
    enum an_status st = folder->sums.failed ? an_fail(err, AN_NO_MEMORY, "out of memory")
                                            : is_free(folder->path, err);
    if (!st) {
        sync_within(folder); /* some file systems cannot; the rename stands all the same */
        if (rename(folder->beside, folder->path)) {
            st = an_fail(err, AN_IO, "could not write '%s': %s", folder->path, strerror(errno));
        }
    }
    if (st) {
        an_output_folder_abandon(folder);
        return st;
    }
    const int above = openat(folder->fd, "..", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (above >= 0) {
        (void)fsync(above);
        (void)close(above);
    }
    release(folder);
    return AN_OK;
}

/* ---- its files --------------------------------------------------------------------------------- */
void an_folder_file_drop(struct an_folder_file *file)
{
    if (file) {
        if (file->fd >= 0) {
            (void)close(file->fd);
        }
        (void)an_digest_close(file->digest);
        an_free(file->name);
        an_free(file);
    }
}

enum an_status an_folder_file_open(struct an_output_folder *folder, const char *name,
                                   struct an_folder_file **file, struct an_error *err)
{
    struct an_folder_file *opened = an_alloc(1, sizeof *opened);
    *file = NULL;
    if (!opened) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    opened->folder = folder;
    opened->fd = -1;
    opened->name = joined(name, strlen(name), "");
    opened->digest = an_digest_open();
    if (!opened->name || !opened->digest) {
        an_folder_file_drop(opened);
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    opened->fd = openat(folder->fd, name, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
    if (opened->fd < 0) {
        const int why = errno;
        an_folder_file_drop(opened);
        return an_fail(err, AN_CANNOT_CREATE, "could not create '%s' in '%s': %s", name,
                       folder->path, strerror(why));
    }
    *file = opened;
    return AN_OK;
}

static void flush(struct an_folder_file *file)
{
    size_t done = 0;
    an_digest_add(file->digest, file->buffer, file->used);
    while (done < file->used && !file->first_errno) {
        const ssize_t wrote = write(file->fd, file->buffer + done, file->used - done);
        if (wrote >= 0) {
            done += (size_t)wrote;
        } else if (errno != EINTR) {
            file->first_errno = errno;
        }
    }
    file->used = 0;
}

enum an_status an_folder_file_write(struct an_folder_file *file, const void *at, size_t length)
{
    const unsigned char *from = at;
    while (length && !file->first_errno) {
        const size_t room = sizeof file->buffer - file->used;
        const size_t piece = length < room ? length : room;
        memcpy(file->buffer + file->used, from, piece);
        file->used += piece;
        from += piece;
        length -= piece;
        if (file->used == sizeof file->buffer) {
            flush(file);
        }
    }
    return file->first_errno ? AN_IO : AN_OK;
}

enum an_status an_folder_file_close(struct an_folder_file *file, struct an_sha256 *hash,
                                    struct an_error *err)
{
    struct an_output_folder *folder = file->folder;
    char hex[65];
    enum an_status st = AN_OK;

    flush(file);
    if (!file->first_errno && fsync(file->fd) && errno != EINVAL && errno != EROFS) {
        file->first_errno = errno;
    }
    if (close(file->fd) && !file->first_errno) {
        file->first_errno = errno;
    }
    file->fd = -1;
    if (file->first_errno) {
        st = an_fail(err, AN_IO, "could not write '%s' in '%s': %s", file->name, folder->path,
                     strerror(file->first_errno));
    } else {
        const struct an_sha256 is = an_digest_close(file->digest);
        file->digest = NULL;
        an_text_addf(&folder->sums, "%s  %s\n", an_sha256_hex(&is, hex), file->name);
        if (hash) {
            *hash = is;
        }
        st = folder->sums.failed ? an_fail(err, AN_NO_MEMORY, "out of memory") : AN_OK;
    }
    an_folder_file_drop(file);
    return st;
}

enum an_status an_folder_file_put(struct an_output_folder *folder, const char *name, const void *at,
                                  size_t length, struct an_error *err)
{
    struct an_folder_file *file = NULL;
    const enum an_status st = an_folder_file_open(folder, name, &file, err);
    if (st) {
        return st;
    }
    (void)an_folder_file_write(file, at, length); /* told by close */
    return an_folder_file_close(file, NULL, err);
}
