/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Opens and reads a station's file. Must never follow a link, wait on a pipe, or change anything.
 */
#include "intake/source.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static enum an_status why_not_open(const char *path, int reason, struct an_error *err)
{
    switch (reason) {
    case ENOENT:
    case ENOTDIR:
        return an_fail(err, AN_NOT_FOUND, "\"%s\": there is no such file", path);
    case EACCES:
    case EPERM:
        return an_fail(err, AN_DENIED, "\"%s\": not permitted to read it", path);
    case ELOOP:
        return an_fail(err, AN_BAD_INPUT,
                       "\"%s\": is a symbolic link; collect the file it points to", path);
    case ENXIO:
        return an_fail(err, AN_BAD_INPUT, "\"%s\": is not a regular file", path);
    default:
        return an_fail(err, AN_IO, "\"%s\": could not be opened: %s", path, strerror(reason));
    }
}

static int64_t modified(const struct stat *state)
{
    return (int64_t)state->st_mtim.tv_sec * 1000000 + (int64_t)(state->st_mtim.tv_nsec / 1000);
}

enum an_status an_source_open(struct an_source *source, const char *path, struct an_error *err)
{
    struct stat state;

    source->path = path;
    /* O_NONBLOCK: opening a pipe without a writer must not wait */
    source->file = open(path, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC | O_NOCTTY);
    if (source->file < 0) {
        return why_not_open(path, errno, err);
    }
    if (fstat(source->file, &state)) {
        const int reason = errno;
        an_source_close(source);
        return an_fail(err, AN_IO, "\"%s\": could not be looked at: %s", path, strerror(reason));
    }
    if (!S_ISREG(state.st_mode)) {
        an_source_close(source);
        return an_fail(err, AN_BAD_INPUT, "\"%s\": is %s, not a regular file", path,
                       S_ISDIR(state.st_mode)    ? "a folder"
                       : S_ISFIFO(state.st_mode) ? "a pipe"
                                                 : "a device or socket");
    }
    source->bytes = (uint64_t)state.st_size;
    source->modified_us = modified(&state);
    return AN_OK;
}

void an_source_close(struct an_source *source)
{
    if (source->file >= 0) {
        (void)close(source->file);
        source->file = -1;
    }
}

int64_t an_source_place(const struct an_source *source)
{
    return (int64_t)lseek(source->file, 0, SEEK_CUR);
}

enum an_status an_source_rewind(struct an_source *source, struct an_error *err)
{
    return an_source_go(source, 0, err);
}

enum an_status an_source_go(struct an_source *source, int64_t place, struct an_error *err)
{
    if (lseek(source->file, (off_t)place, SEEK_SET) != (off_t)place) {
        return an_fail(err, AN_IO, "\"%s\": could not be read again: %s", source->path,
                       strerror(errno));
    }
    return AN_OK;
}

enum an_status an_source_read(struct an_source *source, void *at, size_t most, size_t *length,
                              struct an_error *err)
{
    for (;;) {
        const ssize_t got = read(source->file, at, most);

        if (got >= 0) {
            *length = (size_t)got;
            return AN_OK;
        }
        if (errno != EINTR) {
            return an_fail(err, AN_IO, "\"%s\": could not be read: %s", source->path,
                           strerror(errno));
        }
    }
}

enum an_status an_source_peek(struct an_source *source, void *at, size_t most, size_t *length,
                              struct an_error *err)
{
    *length = 0;
    while (*length < most) {
        const ssize_t got =
            pread(source->file, (unsigned char *)at + *length, most - *length, (off_t)*length);

        if (got == 0) {
            break;
        }
        if (got > 0) {
            *length += (size_t)got;
        } else if (errno != EINTR) {
            return an_fail(err, AN_IO, "\"%s\": could not be read: %s", source->path,
                           strerror(errno));
        }
    }
    return AN_OK;
}

enum an_status an_source_unchanged(struct an_source *source, struct an_error *err)
{
    struct stat state;

    if (fstat(source->file, &state)) {
        return an_fail(err, AN_IO, "\"%s\": could not be looked at: %s", source->path,
                       strerror(errno));
    }
    if ((uint64_t)state.st_size != source->bytes || modified(&state) != source->modified_us) {
        return an_fail(err, AN_IO, "\"%s\": changed while it was read; collect it again",
                       source->path);
    }
    return AN_OK;
}

enum an_status an_source_hash(struct an_source *source, void *buffer, size_t size,
                              struct an_sha256 *hash, struct an_error *err)
{
    size_t length = 0;
    enum an_status st = an_source_rewind(source, err);

    if (st) {
        return st;
    }
    struct an_digest *digest = an_digest_open();
    if (!digest) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    do {
        st = an_source_read(source, buffer, size, &length, err);
        if (!st && length) {
            an_digest_add(digest, buffer, length);
        }
    } while (!st && length);
    *hash = an_digest_close(digest);
    return st ? st : an_source_rewind(source, err);
}

bool an_source_safe_name(const char *path, struct an_text *name)
{
    const char *slash = strrchr(path, '/');
    struct an_bytes rest = an_bytes_of(slash ? slash + 1 : path);
    bool changed = false;

    if (rest.length && rest.at[0] == '-') {
        an_text_add_char(name, '_');
        changed = true;
    }
    while (rest.length) {
        const size_t good = an_utf8_check(rest);

        for (size_t i = 0; i < good; i++) {
            const bool control = rest.at[i] < 0x20 || rest.at[i] == 0x7F;
            an_text_add_char(name, control ? '_' : (char)rest.at[i]);
            changed = changed || control;
        }
        rest.at += good;
        rest.length -= good;
        if (rest.length) {
            an_text_add_char(name, '_');
            changed = true;
            rest.at++;
            rest.length--;
        }
    }
    return changed;
}
