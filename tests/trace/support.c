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

void put_links(const struct told *told, size_t count)
{
    int64_t file_id = 0;

    OK(an_store_begin(store, &err));
    OK(an_store_next_file(store, &file_id, &err));
    for (size_t i = 0; i < count; i++) {
        const char *arrow = strstr(told[i].what, " > ");
        const bool placed = told[i].row || told[i].column;

        ck_assert_msg(arrow != NULL, "%s", told[i].what);
        const struct an_link link = {.parent_id = item(told[i].what, arrow, file_id),
                                     .child_id = item(arrow + 3, arrow + strlen(arrow), file_id),
                                     .role = told[i].role,
                                     .share = told[i].share >= 0 ? told[i].share : (double)NAN,
                                     .row = placed ? told[i].row : -1,
                                     .column = placed ? told[i].column : -1,
                                     .at_us = told[i].from_us ? told[i].from_us : AN_NO_INSTANT,
                                     .file_id = file_id,
                                     .line = i + 2};
        OK(an_store_put_link(store, &link, &err));
    }
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

int64_t id_of(const char *name)
{
    struct an_item found = {0};

    OK(an_trace_find(store, NULL, name, arena, &found, &err));
    return found.item_id;
}

void run_raw(const char *sql)
{
    sqlite3 *db = NULL;
    char *text = NULL;

    ck_assert_int_eq(sqlite3_open(path, &db), SQLITE_OK);
    const int rc = sqlite3_exec(db, sql, NULL, NULL, &text);
    ck_assert_msg(rc == SQLITE_OK, "%s: %s", sql, text ? text : "");
    sqlite3_free(text);
    (void)sqlite3_close(db);
}
