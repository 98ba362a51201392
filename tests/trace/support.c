/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the suites of traces share; see support.h. */
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

struct an_store *store;
struct an_arena *arena;
struct an_error err;

static char folder[256], path[300];

const char *store_path(void)
{
    return path;
}

void set_up(void)
{
    const char *base = getenv("TMPDIR");

    (void)snprintf(folder, sizeof folder, "%s/trace-test-XXXXXX", base ? base : "/tmp");
    ck_assert_ptr_nonnull(mkdtemp(folder));
    (void)snprintf(path, sizeof path, "%s/line.store", folder);
    OK(an_store_open(path, AN_STORE_CREATE, &store, &err));
    arena = an_arena_open();
    ck_assert_ptr_nonnull(arena);
}

void tear_down(void)
{
    static const char *const ends[] = {"", "-wal", "-shm", ".lock"};
    char name[320];

    an_arena_close(arena);
    an_store_close(store);
    for (size_t i = 0; i < sizeof ends / sizeof *ends; i++) {
        (void)snprintf(name, sizeof name, "%s%s", path, ends[i]);
        (void)unlink(name);
    }
    (void)rmdir(folder);
}

static int64_t item(const char *from, const char *to, int64_t file_id)
{
    const char *colon = memchr(from, ':', (size_t)(to - from));
    char kind[32];
    int64_t id = 0;

    ck_assert_ptr_nonnull(colon);
    (void)snprintf(kind, sizeof kind, "%.*s", (int)(colon - from), from);
    const struct an_bytes serial = {(const unsigned char *)colon + 1, (size_t)(to - colon - 1)};
    OK(an_store_item(store, kind, serial, file_id, &id, &err));
    return id;
}

void begin_file(int64_t *file_id)
{
    OK(an_store_begin(store, &err));
    OK(an_store_next_file(store, file_id, &err));
}

void end_file(int64_t file_id)
{
    const struct an_file file = {.file_id = file_id,
                                 .hash = an_sha256_of(&file_id, sizeof file_id),
                                 .name = "links.csv",
                                 .path = "links.csv",
                                 .station = "assembly",
                                 .modified_us = 1,
                                 .first_us = 1,
                                 .last_us = 2};
    OK(an_store_put_file(store, &file, &err));
    OK(an_store_commit(store, &err));
}

static struct an_link link_of(const char *what, int64_t file_id)
{
    const char *arrow = strstr(what, " > ");

    ck_assert_msg(arrow != NULL, "%s", what);
    return (struct an_link){.parent_id = item(what, arrow, file_id),
                            .child_id = item(arrow + 3, arrow + strlen(arrow), file_id),
                            .share = (double)NAN,
                            .row = -1,
                            .column = -1,
                            .at_us = AN_NO_INSTANT,
                            .file_id = file_id,
                            .may_end = true};
}

void put_links(const struct told *told, size_t count)
{
    int64_t file_id = 0;

    begin_file(&file_id);
    for (size_t i = 0; i < count; i++) {
        const bool placed = told[i].row || told[i].column;
        struct an_link link = link_of(told[i].what, file_id);

        link.role = told[i].role;
        link.share = told[i].share >= 0 ? told[i].share : (double)NAN;
        link.row = placed ? told[i].row : -1;
        link.column = placed ? told[i].column : -1;
        link.at_us = told[i].from_us ? told[i].from_us : AN_NO_INSTANT;
        link.line = i + 2;
        OK(an_store_put_link(store, &link, &err));
    }
    end_file(file_id);
}

void put_end(const char *what, int64_t at_us)
{
    int64_t file_id = 0;

    begin_file(&file_id);
    struct an_link end = link_of(what, file_id);
    end.at_us = at_us;
    end.line = 2;
    OK(an_store_put_link_end(store, &end, &err));
    end_file(file_id);
}

int64_t own_id(const char *name)
{
    struct an_item *items = NULL;
    size_t count = 0;
    const char *colon = strchr(name, ':');
    int64_t file_id = 0;

    ck_assert_ptr_nonnull(colon);
    const char *kind = an_arena_copy(arena, name, (size_t)(colon - name));
    OK(an_store_items_named(store, kind, an_bytes_of(colon + 1), arena, &items, &count, &err));
    if (count) {
        return items[0].item_id;
    }
    begin_file(&file_id);
    const int64_t id = item(name, name + strlen(name), file_id);
    end_file(file_id);
    return id;
}

int64_t id_of(const char *name)
{
    struct an_item found = {0};

    OK(an_trace_find(store, NULL, name, arena, &found, &err));
    return found.item_id;
}
