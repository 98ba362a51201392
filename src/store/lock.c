/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The writer's lock and the collector's, on files of their own: opening and closing the database
 * file itself would drop the locks SQLite holds on it in this process. The files must never be
 * removed: another process may just have opened one.
 *
 * Open-file-description locks belong to the open file and not to the process, so a second handle
 * in the same process is refused as well. They are a Linux extension.
 *
 * The one hard idea: whoever wants the writer's lock first stands in a doorway with room for one
 * (a second byte of the same file). A collector that lets the lock go for a moment and wants it
 * back has to pass the doorway too, and so cannot overtake a person's command that waits in it.
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
#include <time.h>
#include <unistd.h>

enum { BYTE_HELD = 0, BYTE_DOORWAY = 1 }; /* of PATH.lock */
enum { BYTE_LIVES = 0, BYTE_YIELDS = 1 }; /* of PATH.collector */
enum { NAP_MS = 5 };

struct an_writer_lock {
    int fd;
    bool held;
    char *path; /* of the store */
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

static void read_holder(int fd, char holder[320])
{
    const ssize_t length = pread(fd, holder, 319, 0);
    holder[length > 0 ? length : 0] = '\0';
    holder[strcspn(holder, "\n")] = '\0';
    if (!holder[0]) {
        (void)snprintf(holder, 320, "another program");
    }
}

/* Written over what the last holder left, and cut to length after: on a full disk the block that
 * the file has is enough. */
static enum an_status sign(int fd, const char *path, const char *end, struct an_error *err)
{
    char host[256] = "";
    char text[320];
    (void)gethostname(host, sizeof host - 1);
    const int length =
        snprintf(text, sizeof text, "process %ld on host %s\n", (long)getpid(), host);
    if (pwrite(fd, text, (size_t)length, 0) != length || ftruncate(fd, length)) {
        return an_fail(err, AN_IO, "could not write '%s%s': %s; the disk may be full", path, end,
                       strerror(errno));
    }
    return AN_OK;
}

/* Asks for one byte without waiting: 0, or the reason. */
static int set_byte(int fd, int byte, int type)
{
    struct flock one = {.l_type = (short)type, .l_whence = SEEK_SET, .l_start = byte, .l_len = 1};
    return fcntl(fd, F_OFD_SETLK, &one) ? errno : 0;
}

static int64_t now_ms(void)
{
    struct timespec now = {0};
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

static int wait_for_byte(int fd, int byte, int64_t deadline_ms)
{
    for (;;) {
        const int reason = set_byte(fd, byte, F_WRLCK);
        if ((reason != EAGAIN && reason != EACCES) || now_ms() >= deadline_ms) {
            return reason;
        }
        const struct timespec nap = {.tv_nsec = NAP_MS * 1000000L};
        (void)nanosleep(&nap, NULL);
    }
}

static enum an_status take_again(struct an_writer_lock *lock, int64_t wait_ms, struct an_error *err)
{
    const int64_t deadline_ms = now_ms() + wait_ms;
    int reason = wait_for_byte(lock->fd, BYTE_DOORWAY, deadline_ms);
    if (!reason) {
        reason = wait_for_byte(lock->fd, BYTE_HELD, deadline_ms);
        (void)set_byte(lock->fd, BYTE_DOORWAY, F_UNLCK);
    }
    if (reason == EAGAIN || reason == EACCES) {
        char holder[320];
        read_holder(lock->fd, holder);
        return an_fail(err, AN_BUSY, "'%s' is being written by %s; try again when it has ended",
                       lock->path, holder);
    }
    if (reason) {
        return an_fail(err, AN_IO, "could not lock '%s.lock': %s", lock->path, strerror(reason));
    }
    const enum an_status st = sign(lock->fd, lock->path, ".lock", err);
    if (st) {
        (void)set_byte(lock->fd, BYTE_HELD, F_UNLCK);
    }
    lock->held = !st;
    return st;
}

/* Opens PATH + end, which is made if it is not there. */
static enum an_status open_lock(const char *path, const char *end, struct an_writer_lock **lock,
                                struct an_error *err)
{
    const size_t size = strlen(path) + strlen(end) + 1;
    struct an_writer_lock *made = an_alloc(1, sizeof *made);
    char *name = an_alloc(size, 1);
    enum an_status st = AN_OK;
    *lock = NULL;
    if (made && name) {
        made->fd = -1;
        made->path = an_alloc(strlen(path) + 1, 1);
    }
    if (!made || !name || !made->path) {
        st = an_fail(err, AN_NO_MEMORY, "opening '%s': memory ran out", path);
        goto done;
    }
    memcpy(made->path, path, strlen(path));
    (void)snprintf(name, size, "%s%s", path, end);
    made->fd = open(name, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0666); /* less the umask */
    if (made->fd < 0) {
        st = open_failed(name, errno, err);
    }
done:
    an_free(name);
    if (st) {
        an_writer_lock_drop(made);
        return st;
    }
    *lock = made;
    return AN_OK;
}

enum an_status an_writer_lock_take(const char *path, int64_t wait_ms, struct an_writer_lock **lock,
                                   struct an_error *err)
{
    enum an_status st = open_lock(path, ".lock", lock, err);
    if (!st) {
        st = take_again(*lock, wait_ms, err);
    }
    if (st) {
        an_writer_lock_drop(*lock);
        *lock = NULL;
    }
    return st;
}

void an_writer_lock_drop(struct an_writer_lock *lock)
{
    if (lock) {
        if (lock->fd >= 0) {
            (void)close(lock->fd);
        }
        an_free(lock->path);
        an_free(lock);
    }
}

void an_writer_lock_let_go(struct an_writer_lock *lock)
{
    if (lock->held) {
        (void)set_byte(lock->fd, BYTE_HELD, F_UNLCK);
        lock->held = false;
    }
}

enum an_status an_writer_lock_take_back(struct an_writer_lock *lock, int64_t wait_ms,
                                        struct an_error *err)
{
    return lock->held ? AN_OK : take_again(lock, wait_ms, err);
}

bool an_writer_lock_is_held(const struct an_writer_lock *lock)
{
    return lock && lock->held;
}

enum an_status an_collector_lock_take(const char *path, bool yields, struct an_writer_lock **lock,
                                      struct an_error *err)
{
    char holder[320];
    enum an_status st = open_lock(path, ".collector", lock, err);
    if (st) {
        return st;
    }
    int reason = set_byte((*lock)->fd, BYTE_LIVES, F_WRLCK);
    if (!reason && yields) {
        reason = set_byte((*lock)->fd, BYTE_YIELDS, F_WRLCK);
    }
    if (reason == EAGAIN || reason == EACCES) {
        read_holder((*lock)->fd, holder);
        st = an_fail(err, AN_BUSY, "'%s' has a collector already: %s; a store has one at a time",
                     path, holder);
    } else if (reason) {
        st = an_fail(err, AN_IO, "could not lock '%s.collector': %s", path, strerror(reason));
    } else {
        st = sign((*lock)->fd, path, ".collector", err);
    }
    if (st) {
        an_writer_lock_drop(*lock);
        *lock = NULL;
    }
    return st;
}

bool an_collector_yields(const char *path)
{
    const size_t size = strlen(path) + sizeof ".collector";
    char *name = an_alloc(size, 1);
    bool yields = false;
    if (!name) {
        return false;
    }
    (void)snprintf(name, size, "%s.collector", path);
    const int fd = open(name, O_RDONLY | O_CLOEXEC | O_NOFOLLOW | O_NONBLOCK);
    if (fd >= 0) {
        struct flock asked = {
            .l_type = F_WRLCK, .l_whence = SEEK_SET, .l_start = BYTE_YIELDS, .l_len = 1};
        yields = fcntl(fd, F_OFD_GETLK, &asked) == 0 && asked.l_type != F_UNLCK;
        (void)close(fd);
    }
    an_free(name);
    return yields;
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
