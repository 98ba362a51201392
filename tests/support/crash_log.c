/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The files of a store as a power failure leaves them. Every change is kept; an image is made by
 * playing the changes up to a moment, twice over: `arrived` with all writes, `safe` with those that
 * a sync made sure of. What lies between them may be on the disk or not, by sectors.
 *
 * A delete counts as done at once, and so does a new file's name: SQLite syncs the folder for both.
 */
#include "crash_log.h"

#include "andamento/base/memory.h"
#include "faulty_vfs.h"

#include <check.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { MOST_FILES = 16, SECTOR = 512 };
enum what { CHANGE_WRITE, CHANGE_TRUNCATE, CHANGE_SYNC, CHANGE_DELETE, CHANGE_MARK };

struct change {
    enum what what;
    int file; /* or the mark's value */
    size_t offset, length;
    unsigned char *bytes;
};

struct content {
    unsigned char *at;
    size_t length, capacity;
    bool exists;
};

static struct {
    bool on;
    struct {
        char path[512];
        struct content before;
    } files[MOST_FILES];
    int file_count;
    struct change *changes;
    size_t count, capacity;
} crash_log;

const char *loss_name(enum loss loss)
{
    static const char *const names[LOSSES] = {"nothing lost", "all lost", "torn", "lost at will"};
    return names[loss];
}

/* ---- contents ---------------------------------------------------------------------------------- */
static void set_length(struct content *content, size_t length)
{
    if (length > content->capacity) {
        content->capacity = length + length / 2 + 4096;
        content->at = an_resize(content->at, content->capacity, 1);
        ck_assert_ptr_nonnull(content->at);
    }
    if (length > content->length) {
        memset(content->at + content->length, 0, length - content->length);
    }
    content->length = length;
}

static void write_into(struct content *content, size_t offset, const void *at, size_t length)
{
    content->exists = true;
    if (offset + length > content->length) {
        set_length(content, offset + length);
    }
    memcpy(content->at + offset, at, length);
}

static void copy_content(struct content *to, const struct content *from)
{
    set_length(to, 0);
    set_length(to, from->length);
    if (from->length) {
        memcpy(to->at, from->at, from->length);
    }
    to->exists = from->exists;
}

static void read_file(const char *path, struct content *content)
{
    FILE *file = fopen(path, "rb");
    struct stat state;

    content->exists = file != NULL;
    if (file) {
        ck_assert_int_eq(fstat(fileno(file), &state), 0);
        set_length(content, (size_t)state.st_size);
        ck_assert_uint_eq(fread(content->at, 1, content->length, file), content->length);
        ck_assert_int_eq(fclose(file), 0);
    }
}

static void write_file(const char *path, const struct content *content)
{
    if (!content->exists) {
        (void)unlink(path);
        return;
    }
    const int file = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    ck_assert_int_ge(file, 0);
    if (content->length) {
        ck_assert_int_eq(write(file, content->at, content->length), (ssize_t)content->length);
    }
    ck_assert_int_eq(close(file), 0);
}

/* ---- recording ----------------------------------------------------------------------------------- */
static void add(enum what what, int file, size_t offset, const void *at, size_t length)
{
    if (!crash_log.on || (what != CHANGE_MARK && file < 0)) {
        return;
    }
    void *grown = crash_log.changes;
    ck_assert(an_grow(&grown, crash_log.count, &crash_log.capacity, sizeof *crash_log.changes));
    crash_log.changes = grown;
    struct change *change = &crash_log.changes[crash_log.count++];
    *change = (struct change){what, file, offset, length, NULL};
    if (at) {
        change->bytes = an_alloc(length, 1);
        ck_assert_ptr_nonnull(change->bytes);
        memcpy(change->bytes, at, length);
    }
}

static int file_number(const char *path)
{
    for (int i = 0; i < crash_log.file_count; i++) {
        if (strcmp(crash_log.files[i].path, path) == 0) {
            return i;
        }
    }
    return -1;
}

int crash_log_open(const char *path)
{
    if (!crash_log.on) {
        return -1;
    }
    int number = file_number(path);
    if (number < 0) {
        ck_assert_int_lt(crash_log.file_count, MOST_FILES);
        number = crash_log.file_count++;
        (void)snprintf(crash_log.files[number].path, sizeof crash_log.files[number].path, "%s",
                       path);
        read_file(path, &crash_log.files[number].before);
    }
    return number;
}

void crash_log_write(int file, const void *at, int length, long long offset)
{
    add(CHANGE_WRITE, file, (size_t)offset, at, (size_t)length);
}

void crash_log_truncate(int file, long long size)
{
    add(CHANGE_TRUNCATE, file, (size_t)size, NULL, 0);
}

void crash_log_sync(int file)
{
    add(CHANGE_SYNC, file, 0, NULL, 0);
}

void crash_log_delete(const char *path)
{
    add(CHANGE_DELETE, file_number(path), 0, NULL, 0);
}

void record_start(void)
{
    record_free();
    crash_log.on = true;
}

void record_mark(int value)
{
    add(CHANGE_MARK, value, 0, NULL, 0);
}

void record_stop(void)
{
    crash_log.on = false;
}

size_t record_length(void)
{
    return crash_log.count;
}

void record_free(void)
{
    for (size_t i = 0; i < crash_log.count; i++) {
        an_free(crash_log.changes[i].bytes);
    }
    for (int i = 0; i < crash_log.file_count; i++) {
        an_free(crash_log.files[i].before.at);
    }
    an_free(crash_log.changes);
    memset(&crash_log, 0, sizeof crash_log);
}

/* ---- the images ------------------------------------------------------------------------------------ */
static bool by_chance(unsigned *seed) /* the example generator of ISO C, 7.22.2.2 */
{
    *seed = *seed * 1103515245U + 12345U;
    return (*seed >> 16) & 1;
}

/* Not synced yet: sector by sector it arrived or it did not. */
static void lose_at_will(struct content *safe, const struct change *change, unsigned *seed)
{
    for (size_t done = 0; done < change->length;) {
        const size_t at = change->offset + done;
        size_t piece = SECTOR - at % SECTOR;
        piece = piece < change->length - done ? piece : change->length - done;
        if (by_chance(seed)) {
            write_into(safe, at, change->bytes + done, piece);
        }
        done += piece;
    }
}

static void apply(const struct change *change, struct content *content, size_t length)
{
    switch (change->what) {
    case CHANGE_WRITE:
        write_into(content, change->offset, change->bytes, length);
        break;
    case CHANGE_TRUNCATE:
        if (change->offset < content->length) {
            set_length(content, change->offset);
        }
        break;
    case CHANGE_DELETE:
        set_length(content, 0);
        content->exists = false;
        break;
    case CHANGE_SYNC:
    case CHANGE_MARK:
        break;
    }
}

/* The last sync or delete of a file before `at`: what stands before it is safe. */
static size_t safe_until(int file, size_t at)
{
    for (size_t i = at; i > 0; i--) {
        const struct change *change = &crash_log.changes[i - 1];
        if (change->file == file &&
            (change->what == CHANGE_SYNC || change->what == CHANGE_DELETE)) {
            return i;
        }
    }
    return 0;
}

static void make_image(int file, size_t at, enum loss loss, unsigned *seed)
{
    struct content image = {0};
    const size_t safe = safe_until(file, at);

    copy_content(&image, &crash_log.files[file].before);
    for (size_t i = 0; i < at; i++) {
        const struct change *change = &crash_log.changes[i];
        if (change->what == CHANGE_MARK || change->file != file) {
            continue;
        }
        if (i < safe || loss == LOSS_NONE || (loss == LOSS_TORN && i + 1 < at)) {
            apply(change, &image, change->length);
        } else if (loss == LOSS_TORN) {
            apply(change, &image, change->length / 2);
        } else if (loss == LOSS_AT_WILL && change->what == CHANGE_WRITE) {
            lose_at_will(&image, change, seed);
        } else if (loss == LOSS_AT_WILL && by_chance(seed)) {
            apply(change, &image, change->length);
        }
    }
    /* a file that was made but never synced is there, empty: its name was */
    write_file(crash_log.files[file].path, &image);
    an_free(image.at);
}

int crash_at(size_t at, enum loss loss, unsigned seed, bool *is_write)
{
    int mark = 0;

    ck_assert_uint_le(at, crash_log.count);
    for (int file = 0; file < crash_log.file_count; file++) {
        char shared[560];
        make_image(file, at, loss, &seed);
        (void)snprintf(shared, sizeof shared, "%s-shm", crash_log.files[file].path);
        (void)unlink(shared);
    }
    for (size_t i = 0; i < at; i++) {
        if (crash_log.changes[i].what == CHANGE_MARK) {
            mark = crash_log.changes[i].file;
        }
    }
    if (is_write) {
        *is_write = at > 0 && crash_log.changes[at - 1].what == CHANGE_WRITE;
    }
    return mark;
}
