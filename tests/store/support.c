/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the store's suites share; see support.h. */
#include "support.h"

#include <dirent.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char folder[256];

/* A name that nothing left behind can have, kept for as long as the process lives: sweeps make the
 * folder anew again and again and go on with the paths they have. */
void scratch_make(void)
{
    const char *base = getenv("TMPDIR");

    if (folder[0]) {
        ck_assert_int_eq(mkdir(folder, 0755), 0);
        return;
    }
    (void)snprintf(folder, sizeof folder, "%s/store-test-XXXXXX", base ? base : "/tmp");
    ck_assert_ptr_nonnull(mkdtemp(folder));
    ck_assert_int_eq(chmod(folder, 0755), 0);
}

void scratch_remove(void)
{
    DIR *dir = opendir(folder);
    char path[1024];
    for (struct dirent *entry; dir && (entry = readdir(dir));) {
        (void)snprintf(path, sizeof path, "%s/%s", folder, entry->d_name);
        if (entry->d_name[0] != '.') {
            (void)unlink(path);
        }
    }
    if (dir) {
        (void)closedir(dir);
    }
    (void)rmdir(folder);
}

const char *scratch_path(const char *name)
{
    static char paths[8][512];
    static int next;
    char *path = paths[next++ % 8];
    (void)snprintf(path, sizeof paths[0], "%s/%s", folder, name);
    return path;
}

/* ---- a file with everything ----------------------------------------------------------------------- */

static enum an_status put_items(struct an_store *store, int k, struct filled *f,
                                struct an_error *err)
{
    char serial[32];
    (void)snprintf(serial, sizeof serial, "0T-%03d", k);
    enum an_status st =
        an_store_item(store, "tile", an_bytes_of(serial), f->file_id, &f->tile_id, err);
    if (!st) {
        st = an_store_item(store, "wall", an_bytes_of("W-1"), f->file_id, &f->wall_id, err);
    }
    if (!st) {
        const struct an_link link = {.child_id = f->wall_id,
                                     .parent_id = f->tile_id,
                                     .role = "panel",
                                     .share = NAN,
                                     .row = k,
                                     .column = -1,
                                     .at_us = 1000 + k,
                                     .file_id = f->file_id,
                                     .line = 2};
        st = an_store_put_link(store, &link, err);
    }
    return st;
}

static enum an_status put_samples(struct an_store *store, int k, struct filled *f,
                                  struct an_error *err)
{
    struct an_visit visit = {.file_id = f->file_id,
                             .item_id = f->tile_id,
                             .first_us = 1000 + k,
                             .last_us = 2000 + k,
                             .shift_from_us = 500,
                             .shift = "2026-03-04 night",
                             .first_line = 2,
                             .last_line = 4,
                             .rows = 3,
                             .rows_digest = an_sha256_of(&k, sizeof k),
                             .gauge = "G7"};
    enum an_status st = an_store_put_visit(store, &visit, err);
    f->visit_id = visit.visit_id;
    if (!st) {
        st = an_store_stream(store, "transfer", "dx", "colour=R", &f->stream_id, err);
    }
    if (!st) {
        st = an_store_stream(store, "transfer", "defects", "", &f->spread_id, err);
    }
    struct an_sample sample = {.stream_id = f->stream_id,
                               .visit_id = visit.visit_id,
                               .item_id = f->tile_id,
                               .file_id = f->file_id,
                               .at_us = 2000 + k,
                               .shift_from_us = 500,
                               .n = 3,
                               .mean = -0.0,
                               .ssd = 0.1 * k,
                               .min = -1.5,
                               .max = 1.5,
                               .count = NAN,
                               .opportunities = NAN,
                               .decimals = 2,
                               .first_line = 2,
                               .last_line = 4,
                               .ribbon = "D-9 + D-10"};
    if (!st) {
        st = an_store_put_sample(store, &sample, err);
    }
    f->sample_id = sample.sample_id;
    sample.stream_id = f->spread_id;
    sample.mean = NAN;
    sample.ssd = NAN;
    sample.min = NAN;
    sample.max = NAN;
    sample.count = 4;
    sample.opportunities = 1200;
    sample.ribbon = NULL;
    return st ? st : an_store_put_sample(store, &sample, err);
}

static enum an_status put_cells(struct an_store *store, int k, struct filled *f,
                                struct an_error *err)
{
    const int64_t lines[3] = {2, 3, 4};
    const int64_t dx[3] = {150 + k, AN_CELL_MISSING, -150};
    const uint32_t codes[3] = {1, UINT32_MAX, 0};
    const struct an_bytes texts[2] = {an_bytes_of("R"), an_bytes_of("")};
    const struct an_number_block line_block = {3, 0, lines};
    const struct an_number_block dx_block = {3, 2, dx};
    enum an_status st =
        an_store_put_numbers(store, f->file_id, AN_COLUMN_LINE, 0, &line_block, err);
    if (!st) {
        st = an_store_put_numbers(store, f->file_id, "dx", 0, &dx_block, err);
    }
    if (!st) {
        st = an_store_put_texts(store, f->file_id, "colour", 0, 3, codes, texts, 2, err);
    }
    struct an_held held = {.file_id = f->file_id,
                           .line = 5,
                           .column = 3,
                           .column_name = "dx",
                           .code = "number.bad",
                           .why = "dx is not a number",
                           .text = {(const unsigned char *)"a,\0b,\xff", 6}};
    if (!st) {
        st = an_store_put_held(store, &held, err);
    }
    held.code = "row.fields";
    held.column = 0;
    held.column_name = NULL;
    held.line = 6;
    return st ? st : an_store_put_held(store, &held, err);
}

enum an_status fill_file(struct an_store *store, int k, struct filled *f, struct an_error *err)
{
    char bytes[64];
    const int length = snprintf(bytes, sizeof bytes, "tile,dx\n0T-%03d,1.5\n", k);
    *f = (struct filled){.hash = an_sha256_of(bytes, (size_t)length)};
    enum an_status st = an_store_next_file(store, &f->file_id, err);
    if (!st) {
        st = an_store_original_open(store, err);
    }
    if (!st) {
        st = an_store_original_add(store, bytes, (size_t)length, err);
    }
    if (!st) {
        st = put_items(store, k, f, err);
    }
    if (!st) {
        st = put_samples(store, k, f, err);
    }
    if (!st) {
        st = put_cells(store, k, f, err);
    }
    if (!st) {
        st = an_store_original_close(store, f->file_id, &f->hash, err);
    }
    const struct an_file file = {.file_id = f->file_id,
                                 .hash = f->hash,
                                 .bytes = length,
                                 .name = "a.csv",
                                 .path = "in/a.csv",
                                 .station = "transfer",
                                 .modified_us = 77,
                                 .state = AN_FILE_TAKEN,
                                 .notes = "[]",
                                 .rows = 7,
                                 .taken = 3,
                                 .duplicate = 1,
                                 .held = 2,
                                 .blank = 1,
                                 .first_us = 1000 + k,
                                 .last_us = 2000 + k};
    return st ? st : an_store_put_file(store, &file, err);
}

enum an_status fill_committed(struct an_store *store, int k, struct filled *filled,
                              struct an_error *err)
{
    enum an_status st = an_store_begin(store, err);
    if (st) {
        return st;
    }
    st = fill_file(store, k, filled, err);
    if (!st) {
        st = an_store_commit(store, err);
    }
    if (st) {
        an_store_rollback(store);
    }
    return st;
}

/* ---- beside the store ------------------------------------------------------------------------------- */

int64_t ask(const char *path, const char *sql)
{
    sqlite3 *db = NULL;
    sqlite3_stmt *stmt = NULL;
    ck_assert_int_eq(sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE, NULL), SQLITE_OK);
    ck_assert_msg(sqlite3_prepare_v2(db, sql, -1, &stmt, NULL) == SQLITE_OK, "%s: %s", sql,
                  sqlite3_errmsg(db));
    ck_assert_msg(sqlite3_step(stmt) == SQLITE_ROW, "%s: %s", sql, sqlite3_errmsg(db));
    const int64_t value = sqlite3_column_int64(stmt, 0);
    sqlite3_finalize(stmt);
    sqlite3_close(db);
    return value;
}

int run_sql(const char *path, const char *sql, char text[200])
{
    sqlite3 *db = NULL;
    ck_assert_int_eq(sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, NULL),
                     SQLITE_OK);
    const int rc = sqlite3_exec(db, sql, NULL, NULL, NULL);
    if (text) {
        (void)snprintf(text, 200, "%s", sqlite3_errmsg(db));
    }
    sqlite3_close(db);
    return rc;
}

/* ---- random numbers ------------------------------------------------------------------------------- */

/* xorshift64*, S. Vigna, ACM Trans. Math. Softw. 42 (2016) 30; from memory */
uint64_t random_next(uint64_t *state)
{
    uint64_t x = *state;
    x ^= x >> 12;
    x ^= x << 25;
    x ^= x >> 27;
    *state = x;
    return x * UINT64_C(2685821657736338717);
}

uint64_t random_seed(void)
{
    const char *given = getenv("ANDAMENTO_TEST_SEED");
    uint64_t seed = given ? strtoull(given, NULL, 10) : 0;
    seed = seed ? seed : 20260304;
    printf("seed %llu\n", (unsigned long long)seed);
    return seed;
}
