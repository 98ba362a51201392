/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The writer's lock, on a file of its own: opening and closing the database file itself would
 * drop the locks SQLite holds on it in this process. It must never be removed: another process
 * may just have opened it.
 *
 * Open-file-description locks belong to the open file and not to the process, so a second handle
 * in the same process is refused as well. They are a Linux extension.
 */
#define _GNU_SOURCE /* F_OFD_SETLK */
#include "store/lock.h"

#include "andamento/base/memory.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct an_writer_lock {
    int fd;
};

static enum an_status open_failed(const char *path, int number, struct an_error *err)
{
    switch (number) {
    case EACCES:
    case EPERM:
    case EROFS:
        return an_fail(err, AN_DENIED, "could not write '%s': %s", path, strerror(number));
    case ENOENT:
    case ENOTDIR:
        return an_fail(err, AN_NOT_FOUND, "could not open '%s': there is no such folder", path);
    default:
        return an_fail(err, AN_CANNOT_CREATE, "could not open '%s': %s", path, strerror(number));
    }
}

static enum an_status held_by_another(int fd, const char *path, struct an_error *err)
{
    char holder[320] = "";
    const ssize_t length = pread(fd, holder, sizeof holder - 1, 0);
    holder[length > 0 ? length : 0] = '\0';
    holder[strcspn(holder, "\n")] = '\0';
    return an_fail(err, AN_BUSY, "'%s' is being written by %s; try again when it has ended", path,
                   holder[0] ? holder : "another program");
}

static enum an_status sign(int fd, const char *path, struct an_error *err)
{
    char host[256] = "";
    char text[320];
    (void)gethostname(host, sizeof host - 1);
    const int length =
        snprintf(text, sizeof text, "process %ld on host %s\n", (long)getpid(), host);
    if (ftruncate(fd, 0) || pwrite(fd, text, (size_t)length, 0) != length) {
        return an_fail(err, AN_IO, "could not write '%s.lock': %s; the disk may be full", path,
                       strerror(errno));
    }
    return AN_OK;
}

enum an_status an_writer_lock_take(const char *path, struct an_writer_lock **lock,
                                   struct an_error *err)
{
    enum an_status st = AN_OK;
    int fd = -1;
    const size_t size = strlen(path) + sizeof ".lock";
    struct an_writer_lock *made = an_alloc(1, sizeof *made);
    char *name = an_alloc(size, 1);
    *lock = NULL;
    if (!made || !name) {
        st = an_fail(err, AN_NO_MEMORY, "opening '%s': memory ran out", path);
        goto done;
    }
    (void)snprintf(name, size, "%s.lock", path);
    fd = open(name, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0666); /* less the umask */
    if (fd < 0) {
        st = open_failed(name, errno, err);
        goto done;
    }
    struct flock whole = {.l_type = F_WRLCK, .l_whence = SEEK_SET};
    if (fcntl(fd, F_OFD_SETLK, &whole)) {
        st = errno == EAGAIN || errno == EACCES
                 ? held_by_another(fd, path, err)
                 : an_fail(err, AN_IO, "could not lock '%s': %s", name, strerror(errno));
        goto done;
    }
    st = sign(fd, path, err);
done:
    an_free(name);
    if (st || !made) {
        if (fd >= 0) {
            (void)close(fd);
        }
        an_free(made);
        return st;
    }
    made->fd = fd;
    *lock = made;
    return AN_OK;
}

void an_writer_lock_drop(struct an_writer_lock *lock)
{
    if (lock) {
        (void)close(lock->fd);
        an_free(lock);
    }
}

static char *copy_of(const char *text)
{
    const size_t size = strlen(text) + 1;
    char *copy = an_alloc(size, 1);
    if (copy) {
        memcpy(copy, text, size);
    }
    return copy;
}

char *an_settle_path(const char *path)
{
    char *settled = NULL;
    char *real = realpath(path, NULL);
    if (real) {
        settled = copy_of(real);
        free(real);
        return settled;
    }
    const char *slash = strrchr(path, '/');
    char *folder = copy_of(slash ? path : ".");
    if (!folder) {
        return NULL;
    }
    if (slash) {
        folder[slash == path ? 1 : slash - path] = '\0';
    }
    real = realpath(folder, NULL);
    an_free(folder);
    if (!real) {
        return copy_of(path);
    }
    const char *base = slash ? slash : path;
    const size_t size = strlen(real) + strlen(base) + 2;
    settled = an_alloc(size, 1);
    if (settled) {
        const bool top = strcmp(real, "/") == 0;
        (void)snprintf(settled, size, "%s%s%s", top ? "" : real, slash ? "" : "/", base);
    }
    free(real);
    return settled;
}
