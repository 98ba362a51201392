/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Write beside, sync, rename. The first failure is kept: later writes do nothing, and commit
 * tells it. The folder is synced too, so that the new name survives a power cut.
 */
#include "andamento/base/output_file.h"

#include "andamento/base/memory.h"

#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct an_output_file {
    int fd;
    int first_errno;
    bool direct; /* a device, pipe or socket: there is nothing to rename over */
    char *path, *beside;
    size_t used;
    unsigned char buffer[64 * 1024];
};

static void release(struct an_output_file *file)
{
    if (file->fd >= 0) {
        (void)close(file->fd);
    }
    an_free(file->path);
    an_free(file->beside);
    an_free(file);
}

static char *joined(const char *a, const char *b)
{
    const size_t length_a = strlen(a);
    const size_t length_b = strlen(b);
    char *text = an_alloc(length_a + length_b + 1, 1);
    if (text) {
        memcpy(text, a, length_a);
        memcpy(text + length_a, b, length_b);
    }
    return text;
}

enum an_status an_output_file_open(const char *path, struct an_output_file **file,
                                   struct an_error *err)
{
    *file = NULL;
    struct stat what;
    const bool exists = stat(path, &what) == 0;
    if (exists && S_ISDIR(what.st_mode)) {
        return an_fail(err, AN_CANNOT_CREATE, "'%s' is a folder; name a file", path);
    }
    struct an_output_file *opened = an_alloc(1, sizeof *opened);
    if (!opened) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    opened->fd = -1;
    opened->path = joined(path, "");
    opened->beside = joined(path, ".part-XXXXXX");
    if (!opened->path || !opened->beside) {
        release(opened);
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    opened->direct = exists && !S_ISREG(what.st_mode);
    opened->fd = opened->direct ? open(path, O_WRONLY | O_CLOEXEC) : mkstemp(opened->beside);
    if (opened->fd < 0) {
        const int why = errno;
        release(opened);
        return an_fail(err, AN_CANNOT_CREATE,
                       "could not create '%s': %s; check that its folder exists and may be "
                       "written to",
                       path, strerror(why));
    }
    if (!opened->direct) {
        const mode_t mask = umask(0);
        (void)umask(mask);
        (void)fchmod(opened->fd, (mode_t)(0666 & ~mask));
    }
    *file = opened;
    return AN_OK;
}

static void flush(struct an_output_file *file)
{
    size_t done = 0;
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

enum an_status an_output_file_write(struct an_output_file *file, const void *at, size_t length)
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

static void sync_folder(const char *path)
{
    char *folder = joined(path, "");
    if (!folder) {
        return;
    }
    char *slash = strrchr(folder, '/');
    const char *name = ".";
    if (slash) {
        slash[slash == folder] = '\0';
        name = folder;
    }
    const int fd = open(name, O_RDONLY | O_CLOEXEC);
    if (fd >= 0) {
        (void)fsync(fd); /* some file systems cannot; the rename stands all the same */
        (void)close(fd);
    }
    an_free(folder);
}

enum an_status an_output_file_commit(struct an_output_file *file, struct an_error *err)
{
    flush(file);
    if (!file->first_errno && fsync(file->fd) && errno != EINVAL && errno != EROFS) {
        file->first_errno = errno;
    }
    if (!file->first_errno) {
        const int closed = close(file->fd);
        file->fd = -1;
        if (closed) {
            file->first_errno = errno;
        }
    }
    if (!file->first_errno && !file->direct && rename(file->beside, file->path)) {
        file->first_errno = errno;
    }
    if (file->first_errno) {
        const enum an_status st = an_fail(err, AN_IO, "could not write '%s': %s", file->path,
                                          strerror(file->first_errno));
        an_output_file_abandon(file);
        return st;
    }
    sync_folder(file->path);
    release(file);
    return AN_OK;
}

void an_output_file_abandon(struct an_output_file *file)
{
    if (file) {
        if (!file->direct) {
            (void)unlink(file->beside);
        }
        release(file);
    }
}
