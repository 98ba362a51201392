/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * When a file is whole. No single sign is sure: a writer may close a file and open it again, a
 * share tells nothing, a clock may stand. So what counts is that a file did not change between two
 * looks; a rename into the folder and a declared last line are the two proofs that need no waiting.
 */
#include "intake/spool_inner.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

bool an_spool_ends_with(const char *path, const char *marker)
{
    char tail[600];
    const size_t length = strlen(marker);
    bool ends = false;
    if (length == 0 || length > sizeof tail - 8) {
        return false;
    }
    const int file = open(path, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC | O_NOCTTY);
    struct stat state;
    if (file >= 0 && fstat(file, &state) == 0 && S_ISREG(state.st_mode)) {
        const off_t want = (off_t)length + 3; /* a line end before, one or two bytes after */
        const off_t from = state.st_size > want ? state.st_size - want : 0;
        ssize_t got = pread(file, tail, (size_t)want, from);
        if (got > 0 && tail[got - 1] == '\n') {
            got--;
            if (got > 0 && tail[got - 1] == '\r') {
                got--;
            }
        }
        if (got >= (ssize_t)length) {
            const char *at = tail + got - length;
            const bool begins = at > tail ? at[-1] == '\n' || at[-1] == '\r' : from == 0;
            ends = begins && memcmp(at, marker, length) == 0;
        }
    }
    if (file >= 0) {
        (void)close(file);
    }
    return ends;
}

static int64_t nanoseconds(const struct timespec *time)
{
    return (int64_t)time->tv_sec * 1000000000 + time->tv_nsec;
}

/* Notes what it is now; false if that is what it was. */
static bool note(struct an_spool_entry *entry, const struct stat *state, int64_t now_us)
{
    const int64_t modified_ns = nanoseconds(&state->st_mtim);
    const int64_t changed_ns = nanoseconds(&state->st_ctim);
    if (entry->size == (int64_t)state->st_size && entry->modified_ns == modified_ns &&
        entry->changed_ns == changed_ns && entry->inode == state->st_ino) {
        return false;
    }
    entry->size = (int64_t)state->st_size;
    entry->modified_ns = modified_ns;
    entry->changed_ns = changed_ns;
    entry->inode = state->st_ino;
    entry->since_us = now_us;
    entry->renamed = entry->closed = entry->marker_read = entry->marker_seen = false;
    return true;
}

static const char *what_is(mode_t mode)
{
    return S_ISLNK(mode)    ? "a symbolic link, and links are not followed"
           : S_ISDIR(mode)  ? "a folder, not a file"
           : S_ISFIFO(mode) ? "a pipe, not a file"
                            : "a device or socket, not a file";
}

static bool has_marker(struct an_spool *spool, const struct an_spool_folder *folder,
                       struct an_spool_entry *entry, const char *marker)
{
    if (!entry->marker_read) {
        struct an_text path = {0};
        an_text_addf(&path, "%s/%s", folder->path, entry->name);
        entry->marker_seen = !path.failed && an_spool_ends_with(an_text_of(&path), marker);
        entry->marker_read = !path.failed;
        an_text_free(&path);
    }
    (void)spool;
    return entry->marker_seen;
}

/* Ten times as long for what does not look whole: an empty file, a missing last line. */
static void decide(struct an_spool *spool, struct an_spool_folder *folder,
                   struct an_spool_entry *entry, int64_t now_us)
{
    const char *marker = spool->line->stations[entry->station].dialect.end_marker;
    int64_t wait_us = spool->options.settle_us;
    if (entry->renamed || (marker && has_marker(spool, folder, entry, marker))) {
        entry->state = AN_ENTRY_WHOLE;
        return;
    }
    if (marker || entry->size == 0) {
        wait_us *= 10;
    } else if (entry->closed) {
        wait_us /= 4;
    }
    if (now_us - entry->since_us >= wait_us) {
        entry->state = AN_ENTRY_WHOLE;
    } else {
        entry->state = AN_ENTRY_WAITING;
        entry->due_us = entry->since_us + wait_us;
    }
}

void an_spool_examine(struct an_spool *spool, struct an_spool_folder *folder,
                      struct an_spool_entry *entry, enum an_hint hint, int64_t now_us)
{
    struct an_text path = {0};
    struct stat state;
    an_text_addf(&path, "%s/%s", folder->path, entry->name);
    if (path.failed || lstat(an_text_of(&path), &state)) {
        if (!path.failed && (errno == ENOENT || errno == ENOTDIR)) {
            entry->state = AN_ENTRY_GONE;
        } else { /* the folder's own trouble is told by its scan */
            entry->due_us = now_us + spool->options.settle_us;
        }
        an_text_free(&path);
        return;
    }
    an_text_free(&path);
    const bool changed = note(entry, &state, now_us);
    if (!S_ISREG(state.st_mode)) {
        if (changed) {
            an_spool_say(spool, AN_SPOOL_NOT_A_FILE, "%s/%s: is %s; left alone", folder->path,
                         entry->name, what_is(state.st_mode));
        }
        entry->state = AN_ENTRY_DONE;
        return;
    }
    entry->renamed = entry->renamed || hint == AN_HINT_RENAMED;
    entry->closed = entry->closed || hint == AN_HINT_CLOSED;
    if (changed) {
        entry->state = AN_ENTRY_WAITING;
    }
    if (entry->state == AN_ENTRY_WAITING) {
        decide(spool, folder, entry, now_us);
    } else if (entry->state == AN_ENTRY_RETRY && (now_us >= entry->due_us || hint)) {
        entry->state = AN_ENTRY_WHOLE;
    }
}
