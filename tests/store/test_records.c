/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Records: each comes back as it was put, field by field; lists are filtered and ordered as the
 * header says; what must be refused is; and the digest of a file finds any change to it.
 */
#include "andamento/base/instant.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct an_store *store;
static struct an_arena *arena;
static struct an_error err;

static void set_up(void)
{
    scratch_make();
    OK(an_store_open(scratch_path("line.store"), AN_STORE_CREATE, &store, &err));
    arena = an_arena_open();
    ck_assert_ptr_nonnull(arena);
}

static void tear_down(void)
{
    an_arena_close(arena);
    an_store_close(store);
    scratch_remove();
}

/* ---- files -------------------------------------------------------------------------------------- */

START_TEST(file_returns)
{
    int64_t revision = 0;
    bool is_new = false;
    OK(an_store_put_line(store, an_bytes_of("a: 1\n"), "lines", &revision, &is_new, &err));
    struct an_file in = {.hash = an_sha256_of("x", 1),
                         .bytes = 1234567890123,
                         .name = "b\xC3\xA9.csv",
                         .path = "/spool/b.csv",
                         .station = "luminance",
                         .modified_us = -5, /* before 1970 */
                         .known_us = 42,
                         .line_revision = revision,
                         .state = AN_FILE_HELD,
                         .code = "file.encoding",
                         .why = "byte 3 is not UTF-8",
                         .why_line = 7,
                         .why_column = 2,
                         .notes = "[{\"code\":\"bom\"}]",
                         .rows = 10,
                         .taken = 1,
                         .duplicate = 2,
                         .held = 3,
                         .blank = 4,
                         .first_us = 11,
                         .last_us = 22};
    struct an_file out = {0};
    OK(an_store_begin(store, &err));
    OK(an_store_next_file(store, &in.file_id, &err));
    OK(an_store_put_file(store, &in, &err));
    OK(an_store_commit(store, &err));
    OK(an_store_file(store, in.file_id, arena, &out, &err));
    ck_assert_int_eq(out.file_id, 1);
    ck_assert_mem_eq(out.hash.at, in.hash.at, 32);
    ck_assert_int_eq(out.bytes, in.bytes);
    ck_assert_str_eq(out.name, in.name);
    ck_assert_str_eq(out.path, in.path);
    ck_assert_str_eq(out.station, in.station);
    ck_assert_int_eq(out.modified_us, -5);
    ck_assert_int_eq(out.known_us, 42);
    ck_assert_int_eq(out.line_revision, 1);
    ck_assert_int_eq(out.state, AN_FILE_HELD);
    ck_assert_str_eq(out.code, in.code);
    ck_assert_str_eq(out.why, in.why);
    ck_assert_uint_eq(out.why_line, 7);
    ck_assert_uint_eq(out.why_column, 2);
    ck_assert_str_eq(out.notes, in.notes);
    ck_assert_int_eq(out.rows, 10);
    ck_assert_int_eq(out.taken, 1);
    ck_assert_int_eq(out.duplicate, 2);
    ck_assert_int_eq(out.held, 3);
    ck_assert_int_eq(out.blank, 4);
    ck_assert_int_eq(out.first_us, 11);
    ck_assert_int_eq(out.last_us, 22);
    FAILS(an_store_file(store, 2, arena, &out, &err), AN_NOT_FOUND);
}
END_TEST

START_TEST(absent_fields_stay_absent)
{
    struct an_file in = {.hash = an_sha256_of("y", 1),
                         .name = "c.csv",
                         .path = "c.csv",
                         .modified_us = AN_NO_INSTANT,
                         .known_us = AN_NO_INSTANT,
                         .first_us = AN_NO_INSTANT,
                         .last_us = AN_NO_INSTANT};
    struct an_file out = {0};
    const int64_t before = an_clock_now_us();
    OK(an_store_begin(store, &err));
    OK(an_store_next_file(store, &in.file_id, &err));
    OK(an_store_put_file(store, &in, &err));
    OK(an_store_commit(store, &err));
    OK(an_store_file(store, in.file_id, arena, &out, &err));
    ck_assert_ptr_null(out.station);
    ck_assert_ptr_null(out.code);
    ck_assert_ptr_null(out.why);
    ck_assert_ptr_null(out.notes);
    ck_assert_int_eq(out.modified_us, AN_NO_INSTANT);
    ck_assert_int_eq(out.first_us, AN_NO_INSTANT);
    ck_assert_int_eq(out.last_us, AN_NO_INSTANT);
    ck_assert_int_eq(out.line_revision, 0);
    ck_assert(out.known_us >= before && out.known_us <= an_clock_now_us());
}
END_TEST

START_TEST(rows_must_add_up)
{
    struct an_file file = {.hash = an_sha256_of("z", 1),
                           .name = "d.csv",
                           .path = "d.csv",
                           .modified_us = 1,
                           .rows = 10,
                           .taken = 9,
                           .first_us = 1,
                           .last_us = 1};
    OK(an_store_begin(store, &err));
    OK(an_store_next_file(store, &file.file_id, &err));
    FAILS(an_store_put_file(store, &file, &err), AN_BUG);
    ck_assert_ptr_nonnull(strstr(err.text, "do not add up"));
    file.rows = 9;
    file.state = AN_FILE_HELD;
    FAILS(an_store_put_file(store, &file, &err), AN_BUG); /* held without a reason */
    file.state = AN_FILE_TAKEN;
    file.file_id = 7;
    FAILS(an_store_put_file(store, &file, &err), AN_BUG); /* not the file in hand */
    an_store_rollback(store);
    FAILS(an_store_put_file(store, &file, &err), AN_BUG); /* no transaction */
}
END_TEST

START_TEST(found_by_its_bytes)
{
    struct filled filled;
    struct filled second;
    bool found = true;
    int64_t file_id = 0;
    const struct an_sha256 unknown = an_sha256_of("?", 1);
    OK(fill_committed(store, 1, &filled, &err));
    OK(an_store_find_file(store, &unknown, &found, &file_id, &err));
    ck_assert(!found);
    OK(an_store_find_file(store, &filled.hash, &found, &file_id, &err));
    ck_assert(found);
    ck_assert_int_eq(file_id, filled.file_id);
    FAILS(fill_committed(store, 1, &second, &err), AN_BUG); /* the same bytes taken twice */
    struct an_file held = {.hash = unknown,
                           .name = "h.csv",
                           .path = "h.csv",
                           .modified_us = 9,
                           .state = AN_FILE_HELD,
                           .code = "file.empty",
                           .why = "nothing in it",
                           .first_us = AN_NO_INSTANT,
                           .last_us = AN_NO_INSTANT};
    OK(an_store_begin(store, &err));
    OK(an_store_next_file(store, &held.file_id, &err));
    OK(an_store_put_file(store, &held, &err));
    OK(an_store_commit(store, &err));
    OK(an_store_find_file(store, &unknown, &found, &file_id, &err));
    ck_assert(found);
    ck_assert_int_eq(file_id, held.file_id);
    OK(an_store_put_sighting(store, filled.file_id, "elsewhere/a.csv", &err));
    ck_assert_int_eq(ask(an_store_path(store), "SELECT count(*) FROM file_sighting"
                                               " WHERE path = 'elsewhere/a.csv' AND file_id = 1"),
                     1);
    FAILS(an_store_put_sighting(store, 99, "x", &err), AN_BUG);
}
END_TEST

START_TEST(files_by_when_they_were_known)
{
    struct an_file *files = NULL;
    size_t count = 0;
    for (int k = 0; k < 4; k++) {
        struct an_file file = {.hash = an_sha256_of(&k, sizeof k),
                               .name = "n",
                               .path = "p",
                               .modified_us = 1,
                               .known_us = 100 + 10 * k,
                               .first_us = AN_NO_INSTANT,
                               .last_us = AN_NO_INSTANT};
        OK(an_store_begin(store, &err));
        OK(an_store_next_file(store, &file.file_id, &err));
        OK(an_store_put_file(store, &file, &err));
        OK(an_store_commit(store, &err));
    }
    OK(an_store_files(store, 110, 130, arena, &files, &count, &err));
    ck_assert_uint_eq(count, 2);
    ck_assert_int_eq(files[0].file_id, 2);
    ck_assert_int_eq(files[1].file_id, 3);
    OK(an_store_files(store, AN_NO_INSTANT, AN_NO_INSTANT, arena, &files, &count, &err));
    ck_assert_uint_eq(count, 4);
}
END_TEST

/* ---- the digest of a file ------------------------------------------------------------------------- */

static void digest_in_ledger(int64_t file_id, char hex[65])
{
    char wanted[40];
    struct an_ledger_entry *entries = NULL;
    size_t count = 0;
    (void)snprintf(wanted, sizeof wanted, "{\"file_id\":%lld,", (long long)file_id);
    OK(an_ledger_read(store, 0, 100000, arena, &entries, &count, &err));
    for (size_t k = 0; k < count; k++) {
        if (strncmp(entries[k].payload, wanted, strlen(wanted)) == 0) {
            const char *at = strstr(entries[k].payload, "\"digest\":\"");
            ck_assert_ptr_nonnull(at);
            memcpy(hex, at + 10, 64);
            hex[64] = '\0';
            return;
        }
    }
    ck_abort_msg("no entry for file %lld", (long long)file_id);
}

START_TEST(digest_is_derived_again)
{
    for (int k = 1; k <= 5; k++) {
        struct filled filled;
        struct an_sha256 digest;
        char stored[65];
        char derived[65];
        OK(fill_committed(store, k, &filled, &err));
        digest_in_ledger(filled.file_id, stored);
        OK(an_store_file_digest(store, filled.file_id, &digest, &err));
        ck_assert_str_eq(an_sha256_hex(&digest, derived), stored);
    }
    FAILS(an_store_file_digest(store, 6, &(struct an_sha256){{0}}, &err), AN_NOT_FOUND);
}
END_TEST

/* Each with another tool, once the triggers are gone. */
static const char *const changes[] = {
    "UPDATE file SET taken = taken + 1, rows_in = rows_in + 1",
    "UPDATE file SET station = NULL",
    "UPDATE item SET serial = serial || ' ' WHERE item_id = 1",
    "UPDATE stream SET name = 'transfer.dy' WHERE stream_id = 1",
    "UPDATE link SET row_no = NULL",
    "DELETE FROM link",
    "UPDATE visit SET gauge = 'G8'",
    "UPDATE visit SET tool = ''", /* NULL and an empty text are not the same */
    "UPDATE sample SET mean = 1e-300 WHERE sample_id = 1",
    "UPDATE sample SET at_us = at_us + 1 WHERE sample_id = 2",
    "DELETE FROM sample WHERE sample_id = 2",
    "INSERT INTO sample SELECT 3, stream_id, 2, visit_id, item_id, file_id, at_us, shift_from_us,"
    " n, missing, mean, ssd, min_value, max_value, counted, opportunities, decimals, first_line,"
    " last_line, ribbon FROM sample WHERE sample_id = 1",
    "UPDATE block SET packed = zeroblob(length(packed)) WHERE column_name = 'dx'",
    "UPDATE held SET why = 'dx is a number' WHERE held_id = 1",
    "UPDATE held SET raw = x'00'",
    "UPDATE original SET hash = zeroblob(32); UPDATE file SET hash = zeroblob(32)",
};

START_TEST(digest_finds_changes)
{
    struct filled filled;
    struct an_sha256 digest;
    char stored[65];
    char derived[65];
    const char *path = scratch_path("line.store");
    OK(fill_committed(store, 1, &filled, &err));
    digest_in_ledger(1, stored);
    an_store_close(store);
    ck_assert_int_eq(run_sql(path,
                             "DROP TRIGGER file_no_update; DROP TRIGGER item_no_update;"
                             "DROP TRIGGER stream_no_update; DROP TRIGGER link_no_update;"
                             "DROP TRIGGER link_no_delete; DROP TRIGGER visit_no_update;"
                             "DROP TRIGGER sample_no_update; DROP TRIGGER sample_no_delete;"
                             "DROP TRIGGER block_no_update; DROP TRIGGER held_no_update;"
                             "DROP TRIGGER original_no_update;",
                             NULL),
                     SQLITE_OK);
    ck_assert_int_eq(run_sql(path, changes[_i], NULL), SQLITE_OK);
    OK(an_store_open(path, AN_STORE_WRITE, &store, &err));
    OK(an_store_file_digest(store, 1, &digest, &err));
    ck_assert_str_ne(an_sha256_hex(&digest, derived), stored);
}
END_TEST

/* The encoding as docs/store.md has it, made here by hand for a file of which nothing was put but
 * one item: any change of the encoding is a change of a published format. */
START_TEST(digest_by_the_book)
{
    struct an_file file = {.hash = an_sha256_of("x", 1),
                           .bytes = 1,
                           .name = "a",
                           .path = "b",
                           .modified_us = AN_NO_INSTANT,
                           .known_us = 3,
                           .state = AN_FILE_TAKEN,
                           .first_us = AN_NO_INSTANT,
                           .last_us = AN_NO_INSTANT};
    int64_t item_id = 0;
    OK(an_store_begin(store, &err));
    OK(an_store_next_file(store, &file.file_id, &err));
    OK(an_store_item(store, "tile", an_bytes_of("7"), file.file_id, &item_id, &err));
    OK(an_store_put_file(store, &file, &err));
    OK(an_store_commit(store, &err));
#define INT(n) "i\0\0\0\0\0\0\0" n
    static const char file_head[] = INT("\1") "b\0\0\0\0\0\0\0\x20";
    static const char file_tail[] = /* bytes ... entry */
        INT("\1") "t\0\0\0\0\0\0\0\1"
                  "a"
                  "t\0\0\0\0\0\0\0\1"
                  "b"
                  "n"
                  "n" INT("\3") "n" INT("\0") "n"
                                              "n" INT("\0") INT("\0") "n" INT("\0") INT("\0")
                                                  INT("\0") INT("\0")
                                                      INT("\0") "n"
                                                                "n" INT("\3") INT("\3") INT("\0");
    static const char item[] = INT("\1") "t\0\0\0\0\0\0\0\4"
                                         "tile"
                                         "t\0\0\0\0\0\0\0\1"
                                         "7" INT("\1");
#undef INT
    unsigned char row[400];
    memcpy(row, file_head, sizeof file_head - 1);
    memcpy(row + sizeof file_head - 1, file.hash.at, 32);
    memcpy(row + sizeof file_head - 1 + 32, file_tail, sizeof file_tail - 1);
    const struct an_sha256 hashes[3] = {
        an_sha256_of(row, sizeof file_head - 1 + 32 + sizeof file_tail - 1),
        an_sha256_of(item, sizeof item - 1),
        an_sha256_of("", 0),
    };
    static const char scheme[] = "andamento file digest 1\n";
    unsigned char whole[24 + 8 * 40] = {0};
    memcpy(whole, scheme, 24);
    for (size_t part = 0; part < 8; part++) {
        whole[24 + part * 40 + 7] = part < 2; /* a file, an item, and none of the other six */
        memcpy(whole + 24 + part * 40 + 8, hashes[part < 2 ? part : 2].at, 32);
    }
    const struct an_sha256 expected = an_sha256_of(whole, sizeof whole);
    char hex[65];
    char stored[65];
    digest_in_ledger(1, stored);
    ck_assert_str_eq(stored, an_sha256_hex(&expected, hex));
}
END_TEST

/* ---- originals ---------------------------------------------------------------------------------------- */

struct collected {
    unsigned char *at;
    size_t length, capacity, stop_after;
};

static int collect(void *context, const void *at, size_t length)
{
    struct collected *collected = context;
    ck_assert_uint_le(collected->length + length, collected->capacity);
    memcpy(collected->at + collected->length, at, length);
    collected->length += length;
    return collected->stop_after && collected->length >= collected->stop_after;
}

/* Sizes around a piece and a window, in odd portions; half noise, half lines. */
static const size_t original_sizes[] = {0, 1, 1000, (1 << 20) - 1, 1 << 20, 5000003};

START_TEST(originals_return)
{
    const size_t size = original_sizes[_i];
    unsigned char *bytes = an_alloc(size, 1);
    uint64_t state = random_seed();
    for (size_t i = 0; i < size; i++) {
        bytes[i] = i % 200000 < 100000 ? (unsigned char)random_next(&state)
                                       : (unsigned char)("0T-001,1.50\n"[i % 12]);
    }
    struct an_file file = {.hash = an_sha256_of(bytes, size),
                           .bytes = (int64_t)size,
                           .name = "a",
                           .path = "a",
                           .modified_us = 1,
                           .first_us = AN_NO_INSTANT,
                           .last_us = AN_NO_INSTANT};
    OK(an_store_begin(store, &err));
    FAILS(an_store_original_add(store, "x", 1, &err), AN_BUG); /* not open */
    OK(an_store_next_file(store, &file.file_id, &err));
    OK(an_store_original_open(store, &err));
    OK(an_store_original_add(store, "given up", 8, &err));
    OK(an_store_original_open(store, &err)); /* begins again */
    for (size_t at = 0; at < size;) {
        size_t length = (size_t)(random_next(&state) % 300000);
        length = length < size - at ? length : size - at;
        OK(an_store_original_add(store, bytes + at, length, &err));
        at += length;
    }
    FAILS(an_store_original_close(store, file.file_id + 1, &file.hash, &err), AN_BUG);
    OK(an_store_original_close(store, file.file_id, &file.hash, &err));
    FAILS(an_store_original_close(store, file.file_id, &file.hash, &err), AN_BUG);
    OK(an_store_put_file(store, &file, &err));
    OK(an_store_commit(store, &err));
    struct collected got = {.at = an_alloc(size, 1), .capacity = size};
    OK(an_store_original_read(store, &file.hash, collect, &got, &err));
    ck_assert_uint_eq(got.length, size);
    ck_assert(size == 0 || memcmp(got.at, bytes, size) == 0);
    ck_assert_int_le(ask(an_store_path(store), "SELECT coalesce(max(length(packed)), 0)"
                                               " FROM original_piece"),
                     1 << 20);
    if (size > 1000) {
        got.length = 0;
        got.stop_after = 1;
        FAILS(an_store_original_read(store, &file.hash, collect, &got, &err), AN_IO);
    }
    FAILS(an_store_original_read(store, &(struct an_sha256){{7}}, collect, &got, &err),
          AN_NOT_FOUND);
    an_free(bytes);
    an_free(got.at);
}
END_TEST

static const char *const damages[] = {
    "DELETE FROM original_piece WHERE piece = 1",
    "DELETE FROM original_piece",
    "UPDATE original_piece SET packed = substr(packed, 1, 100) WHERE piece = 2",
    "UPDATE original_piece SET packed = zeroblob(100) WHERE piece = 0",
    "INSERT INTO original_piece VALUES (1, 9, x'00')",
    "UPDATE original SET bytes = bytes - 1",
};

START_TEST(damaged_original_is_told)
{
    static unsigned char noise[3 << 20];
    uint64_t state = random_seed();
    const char *path = scratch_path("line.store");
    for (size_t i = 0; i < sizeof noise; i++) {
        noise[i] = (unsigned char)random_next(&state);
    }
    struct an_file file = {.hash = an_sha256_of(noise, sizeof noise),
                           .bytes = sizeof noise,
                           .name = "a",
                           .path = "a",
                           .modified_us = 1,
                           .first_us = AN_NO_INSTANT,
                           .last_us = AN_NO_INSTANT};
    OK(an_store_begin(store, &err));
    OK(an_store_next_file(store, &file.file_id, &err));
    OK(an_store_original_open(store, &err));
    OK(an_store_original_add(store, noise, sizeof noise, &err));
    OK(an_store_original_close(store, file.file_id, &file.hash, &err));
    OK(an_store_put_file(store, &file, &err));
    OK(an_store_commit(store, &err));
    an_store_close(store);
    ck_assert_int_eq(run_sql(path,
                             "DROP TRIGGER original_piece_no_update;"
                             "DROP TRIGGER original_piece_no_delete;"
                             "DROP TRIGGER original_no_update;",
                             NULL),
                     SQLITE_OK);
    ck_assert_int_eq(run_sql(path, damages[_i], NULL), SQLITE_OK);
    OK(an_store_open(path, AN_STORE_WRITE, &store, &err));
    struct collected got = {.at = an_alloc(sizeof noise, 1), .capacity = sizeof noise};
    FAILS(an_store_original_read(store, &file.hash, collect, &got, &err), AN_NO_STORE);
    an_free(got.at);
}
END_TEST

/* ---- items, links, visits --------------------------------------------------------------------------- */

/* One file in hand, for what needs one. */
static int64_t begin_file(void)
{
    int64_t file_id = 0;
    OK(an_store_begin(store, &err));
    OK(an_store_next_file(store, &file_id, &err));
    return file_id;
}

static void end_file(int64_t file_id, const char *station)
{
    const struct an_file file = {.file_id = file_id,
                                 .hash = an_sha256_of(&file_id, sizeof file_id),
                                 .name = "f",
                                 .path = "f",
                                 .station = station,
                                 .modified_us = 1,
                                 .first_us = 1,
                                 .last_us = 2};
    OK(an_store_put_file(store, &file, &err));
    OK(an_store_commit(store, &err));
}

START_TEST(serials_stay_as_they_are)
{
    static const char *const serials[] = {"1", "01", "001", " 1", "1 ", "a", "A", "\xC3\xA9", ""};
    enum { COUNT = sizeof serials / sizeof *serials };
    int64_t ids[COUNT];
    const int64_t file_id = begin_file();
    for (size_t k = 0; k < COUNT; k++) {
        OK(an_store_item(store, "tile", an_bytes_of(serials[k]), file_id, &ids[k], &err));
        ck_assert_int_eq(ids[k], (int64_t)k + 1);
    }
    int64_t again = 0;
    OK(an_store_item(store, "tile", an_bytes_of("001"), file_id, &again, &err));
    ck_assert_int_eq(again, ids[2]);
    OK(an_store_item(store, "wafer", an_bytes_of("001"), file_id, &again, &err));
    ck_assert_int_eq(again, COUNT + 1); /* another kind is another item */
    end_file(file_id, "s");
    for (size_t k = 0; k < COUNT; k++) {
        struct an_item item;
        OK(an_store_item_by_id(store, ids[k], arena, &item, &err));
        ck_assert_str_eq(item.serial, serials[k]);
        ck_assert_str_eq(item.kind, "tile");
    }
    FAILS(an_store_item_by_id(store, 99, arena, &(struct an_item){0}, &err), AN_NOT_FOUND);
}
END_TEST

START_TEST(links_are_not_doubled)
{
    const int64_t file_id = begin_file();
    int64_t tile = 0;
    int64_t tile_2 = 0;
    int64_t wall = 0;
    int64_t site = 0;
    int64_t lot = 0;
    OK(an_store_item(store, "tile", an_bytes_of("T2"), file_id, &tile, &err));
    OK(an_store_item(store, "tile", an_bytes_of("T1"), file_id, &tile_2, &err));
    OK(an_store_item(store, "wall", an_bytes_of("W"), file_id, &wall, &err));
    OK(an_store_item(store, "site", an_bytes_of("S"), file_id, &site, &err));
    OK(an_store_item(store, "lot", an_bytes_of("L"), file_id, &lot, &err));
    struct an_link link = {.child_id = wall,
                           .parent_id = tile,
                           .share = 0.25,
                           .row = 3,
                           .column = 4,
                           .role = "panel",
                           .region = "north",
                           .at_us = 50,
                           .file_id = file_id,
                           .line = 9};
    OK(an_store_put_link(store, &link, &err));
    link.line = 10;
    link.share = 0.5;
    OK(an_store_put_link(store, &link, &err)); /* the same place: nothing new */
    link.parent_id = tile_2;
    OK(an_store_put_link(store, &link, &err));
    link.role = NULL;
    link.region = NULL;
    link.row = -1;
    link.column = -1;
    link.share = NAN;
    link.at_us = AN_NO_INSTANT;
    OK(an_store_put_link(store, &link, &err)); /* without a place: another link */
    OK(an_store_put_link(store, &link, &err));
    link.child_id = site;
    link.parent_id = wall;
    OK(an_store_put_link(store, &link, &err));
    link.child_id = wall;
    link.parent_id = site; /* a circle, which must not hang anything */
    OK(an_store_put_link(store, &link, &err));
    end_file(file_id, "s");
    struct an_linked *linked = NULL;
    size_t count = 0;
    OK(an_store_linked(store, wall, true, NULL, arena, &linked, &count, &err));
    ck_assert_uint_eq(count, 4); /* no role first, then by serial */
    ck_assert_str_eq(linked[0].item.serial, "S");
    ck_assert_str_eq(linked[1].item.serial, "T1");
    ck_assert_ptr_null(linked[1].link.role);
    ck_assert_int_eq(linked[1].link.row, -1);
    ck_assert_double_nan(linked[1].link.share);
    ck_assert_int_eq(linked[1].link.at_us, AN_NO_INSTANT);
    ck_assert_str_eq(linked[2].item.serial, "T1");
    ck_assert_str_eq(linked[3].item.serial, "T2");
    ck_assert_str_eq(linked[3].link.role, "panel");
    ck_assert_str_eq(linked[3].link.region, "north");
    ck_assert(linked[3].link.share == 0.25);
    ck_assert_int_eq(linked[3].link.row, 3);
    ck_assert_int_eq(linked[3].link.column, 4);
    ck_assert_uint_eq(linked[3].link.line, 9);
    ck_assert_int_eq(linked[3].link.at_us, 50);
    OK(an_store_linked(store, wall, true, "tile", arena, &linked, &count, &err));
    ck_assert_uint_eq(count, 3);
    OK(an_store_linked(store, tile, false, "wall", arena, &linked, &count, &err));
    ck_assert_uint_eq(count, 1);
    ck_assert_int_eq(linked[0].item.item_id, wall);
    const int64_t all[3] = {tile, tile_2, lot};
    OK(an_store_count_in(store, all, 3, "wall", &count, &err));
    ck_assert_uint_eq(count, 2);
    OK(an_store_count_in(store, all, 3, "site", &count, &err)); /* by way of the wall */
    ck_assert_uint_eq(count, 2);
    OK(an_store_count_in(store, all, 3, "moon", &count, &err));
    ck_assert_uint_eq(count, 0);
}
END_TEST

START_TEST(visits_return)
{
    const int64_t file_id = begin_file();
    int64_t item = 0;
    bool found = true;
    OK(an_store_item(store, "tile", an_bytes_of("T"), file_id, &item, &err));
    struct an_visit in = {.file_id = file_id,
                          .item_id = item,
                          .first_us = -7,
                          .last_us = 8,
                          .shift_from_us = 5,
                          .shift = "2026-03-04 early",
                          .first_line = 2,
                          .last_line = 99,
                          .rows = 12,
                          .rows_digest = an_sha256_of("rows", 4),
                          .purpose = "reference",
                          .gauge = "G",
                          .tool = "T9",
                          .who = "someone",
                          .attempt = "2"};
    struct an_visit bare = {.file_id = file_id, .item_id = item, .shift_from_us = AN_NO_INSTANT};
    struct an_visit out;
    OK(an_store_find_visit(store, "aoi", item, &in.rows_digest, &found, &err));
    ck_assert(!found);
    OK(an_store_put_visit(store, &in, &err));
    OK(an_store_put_visit(store, &bare, &err));
    end_file(file_id, "aoi");
    OK(an_store_visit(store, in.visit_id, arena, &out, &err));
    ck_assert_int_eq(out.first_us, -7);
    ck_assert_int_eq(out.last_us, 8);
    ck_assert_int_eq(out.shift_from_us, 5);
    ck_assert_str_eq(out.shift, in.shift);
    ck_assert_uint_eq(out.first_line, 2);
    ck_assert_uint_eq(out.last_line, 99);
    ck_assert_int_eq(out.rows, 12);
    ck_assert_mem_eq(out.rows_digest.at, in.rows_digest.at, 32);
    ck_assert_str_eq(out.purpose, "reference");
    ck_assert_str_eq(out.gauge, "G");
    ck_assert_str_eq(out.tool, "T9");
    ck_assert_str_eq(out.who, "someone");
    ck_assert_str_eq(out.attempt, "2");
    OK(an_store_visit(store, bare.visit_id, arena, &out, &err));
    ck_assert_int_eq(out.shift_from_us, AN_NO_INSTANT);
    ck_assert(!out.shift && !out.purpose && !out.gauge && !out.tool && !out.who && !out.attempt);
    OK(an_store_find_visit(store, "aoi", item, &in.rows_digest, &found, &err));
    ck_assert(found);
    OK(an_store_find_visit(store, "repair", item, &in.rows_digest, &found, &err));
    ck_assert(!found); /* another station */
    OK(an_store_find_visit(store, "aoi", item + 1, &in.rows_digest, &found, &err));
    ck_assert(!found);
    FAILS(an_store_visit(store, 77, arena, &out, &err), AN_NOT_FOUND);
}
END_TEST

/* Numbers reserved first and put in another order; the digest still comes out the same. */
START_TEST(reserved_visits)
{
    const int64_t file_id = begin_file();
    int64_t item = 0;
    int64_t numbers[4];
    OK(an_store_item(store, "tile", an_bytes_of("T"), file_id, &item, &err));
    for (int k = 0; k < 4; k++) {
        OK(an_store_reserve_visit(store, &numbers[k], &err));
        ck_assert_int_eq(numbers[k], k + 1);
    }
    struct an_visit visit = {.file_id = file_id, .item_id = item, .rows = 1};
    visit.visit_id = 9;
    FAILS(an_store_put_reserved_visit(store, &visit, &err), AN_BUG);
    static const int order[] = {2, 0, 3, 1};
    for (int k = 0; k < 4; k++) {
        visit.visit_id = numbers[order[k]];
        visit.rows = order[k];
        OK(an_store_put_reserved_visit(store, &visit, &err));
        ck_assert_int_eq(visit.visit_id, numbers[order[k]]);
    }
    end_file(file_id, "s");
    struct an_sha256 digest;
    char stored[65];
    char derived[65];
    struct an_visit out;
    digest_in_ledger(file_id, stored);
    OK(an_store_file_digest(store, file_id, &digest, &err));
    ck_assert_str_eq(an_sha256_hex(&digest, derived), stored);
    OK(an_store_visit(store, 4, arena, &out, &err));
    ck_assert_int_eq(out.rows, 3);
}
END_TEST

/* ---- readings ---------------------------------------------------------------------------------------------- */

START_TEST(blocks_return)
{
    const int64_t file_id = begin_file();
    enum { ROWS = 70000, BLOCK = 65536 };
    static int64_t cells[ROWS];
    static uint32_t codes[ROWS];
    const struct an_bytes texts[2] = {an_bytes_of("H1"), {(const unsigned char *)"\0\xff", 2}};
    for (int i = 0; i < ROWS; i++) {
        cells[i] = i % 11 ? (int64_t)i * i : AN_CELL_MISSING;
        codes[i] = i % 3 == 2 ? UINT32_MAX : (uint32_t)(i % 3);
    }
    for (size_t block = 0; block < 2; block++) {
        const size_t rows = block ? ROWS - BLOCK : BLOCK;
        const struct an_number_block numbers = {rows, 4, cells + block * BLOCK};
        OK(an_store_put_numbers(store, file_id, "d\xC3\xB8", block, &numbers, &err));
        OK(an_store_put_texts(store, file_id, "head", block, rows, codes + block * BLOCK, texts, 2,
                              &err));
    }
    FAILS(an_store_put_texts(store, file_id + 1, "head", 0, 0, codes, texts, 2, &err), AN_BUG);
    FAILS(an_store_put_texts(store, file_id, "bad", 0, 1, &(uint32_t){5}, texts, 2, &err), AN_BUG);
    end_file(file_id, "s");
    size_t blocks = 0;
    OK(an_store_block_count(store, file_id, &blocks, &err));
    ck_assert_uint_eq(blocks, 2);
    OK(an_store_block_count(store, 99, &blocks, &err));
    ck_assert_uint_eq(blocks, 0);
    for (size_t block = 0; block < 2; block++) {
        const size_t expected = block ? ROWS - BLOCK : BLOCK;
        struct an_number_block numbers;
        uint32_t *read = NULL;
        struct an_bytes *read_texts = NULL;
        size_t rows = 0;
        size_t text_count = 0;
        OK(an_store_numbers(store, file_id, "d\xC3\xB8", block, arena, &numbers, &err));
        ck_assert_uint_eq(numbers.rows, expected);
        ck_assert_int_eq(numbers.decimals, 4);
        ck_assert(memcmp(numbers.scaled, cells + block * BLOCK, expected * sizeof *cells) == 0);
        OK(an_store_texts(store, file_id, "head", block, arena, &read, &rows, &read_texts,
                          &text_count, &err));
        ck_assert_uint_eq(rows, expected);
        ck_assert(memcmp(read, codes + block * BLOCK, expected * sizeof *codes) == 0);
        ck_assert_uint_eq(text_count, 2);
        ck_assert(an_bytes_equal(read_texts[1], texts[1]));
    }
    struct an_number_block none;
    FAILS(an_store_numbers(store, file_id, "dx", 0, arena, &none, &err), AN_NOT_FOUND);
    FAILS(an_store_numbers(store, file_id, "d\xC3\xB8", 2, arena, &none, &err), AN_NOT_FOUND);
    FAILS(an_store_numbers(store, file_id, "head", 0, arena, &none, &err), AN_NOT_FOUND);
}
END_TEST

/* ---- scratch --------------------------------------------------------------------------------------------------- */

struct order {
    uint64_t last_key, last_value;
    size_t count, stop_at;
};

static enum an_status in_order(void *context, struct an_bytes key, struct an_bytes value)
{
    struct order *order = context;
    uint64_t k = 0;
    uint64_t v = 0;
    ck_assert_uint_eq(key.length, 8);
    ck_assert_uint_eq(value.length, 8);
    for (int i = 0; i < 8; i++) { /* big end first: order of bytes is order of numbers */
        k = k << 8 | key.at[i];
        v = v << 8 | value.at[i];
    }
    ck_assert(order->count == 0 || k > order->last_key ||
              (k == order->last_key && v > order->last_value));
    order->last_key = k;
    order->last_value = v;
    return ++order->count == order->stop_at ? AN_BAD_INPUT : AN_OK;
}

START_TEST(scratch_is_sorted)
{
    uint64_t state = random_seed();
    struct order order = {0};
    OK(an_store_begin(store, &err));
    for (uint64_t n = 1; n <= 20000; n++) {
        unsigned char key[8];
        unsigned char value[8];
        const uint64_t k = random_next(&state) % 500;
        for (int i = 0; i < 8; i++) {
            key[i] = (unsigned char)(k >> (8 * (7 - i)));
            value[i] = (unsigned char)(n >> (8 * (7 - i)));
        }
        OK(an_store_scratch_add(store, (struct an_bytes){key, 8}, (struct an_bytes){value, 8},
                                &err));
    }
    OK(an_store_scratch_each(store, in_order, &order, &err));
    ck_assert_uint_eq(order.count, 20000);
    order = (struct order){.stop_at = 7};
    ck_assert_int_eq(an_store_scratch_each(store, in_order, &order, &err), AN_BAD_INPUT);
    ck_assert_uint_eq(order.count, 7);
    OK(an_store_scratch_clear(store, &err));
    order = (struct order){0};
    OK(an_store_scratch_each(store, in_order, &order, &err));
    ck_assert_uint_eq(order.count, 0);
    OK(an_store_scratch_add(store, an_bytes_of("12345678"), an_bytes_of("12345678"), &err));
    an_store_rollback(store); /* takes it along */
    OK(an_store_scratch_each(store, in_order, &order, &err));
    ck_assert_uint_eq(order.count, 0);
    ck_assert_int_eq(ask(an_store_path(store), "SELECT count(*) FROM sqlite_schema"
                                               " WHERE name = 'scratch'"),
                     0);
}
END_TEST

/* ---- the line description ----------------------------------------------------------------------------------- */

START_TEST(line_revisions)
{
    struct an_line_revision line;
    int64_t revision = 0;
    bool is_new = false;
    FAILS(an_store_line(store, arena, &line, &err), AN_NOT_FOUND);
    OK(an_store_put_line(store, an_bytes_of("a: 1\n"), "here", &revision, &is_new, &err));
    ck_assert(is_new);
    ck_assert_int_eq(revision, 1);
    OK(an_store_put_line(store, an_bytes_of("a: 1\n"), "there", &revision, &is_new, &err));
    ck_assert(!is_new);
    ck_assert_int_eq(revision, 1);
    OK(an_store_put_line(store, an_bytes_of("a: 2\n"), "here", &revision, &is_new, &err));
    ck_assert(is_new);
    ck_assert_int_eq(revision, 2);
    OK(an_store_put_line(store, an_bytes_of("a: 1\n"), "here", &revision, &is_new, &err));
    ck_assert(is_new); /* back to the first: a change, too */
    ck_assert_int_eq(revision, 3);
    OK(an_store_line(store, arena, &line, &err));
    ck_assert_int_eq(line.revision, 3);
    ck_assert(an_bytes_are(line.yaml, "a: 1\n"));
    ck_assert_str_eq(line.folder, "here");
    const struct an_sha256 hash = an_sha256_of("a: 1\n", 5);
    ck_assert_mem_eq(line.hash.at, hash.at, 32);
    ck_assert_int_eq(ask(an_store_path(store), "SELECT count(*) FROM line_revision"
                                               " WHERE system_user <> '' AND host <> ''"),
                     3);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("records");
    TCase *files = tcase_create("files");
    tcase_add_checked_fixture(files, set_up, tear_down);
    tcase_add_test(files, file_returns);
    tcase_add_test(files, absent_fields_stay_absent);
    tcase_add_test(files, rows_must_add_up);
    tcase_add_test(files, found_by_its_bytes);
    tcase_add_test(files, files_by_when_they_were_known);
    tcase_add_test(files, digest_is_derived_again);
    tcase_add_test(files, digest_by_the_book);
    tcase_add_loop_test(files, digest_finds_changes, 0, sizeof changes / sizeof *changes);
    tcase_add_loop_test(files, originals_return, 0, sizeof original_sizes / sizeof *original_sizes);
    tcase_add_loop_test(files, damaged_original_is_told, 0, sizeof damages / sizeof *damages);
    suite_add_tcase(suite, files);
    TCase *items = tcase_create("items");
    tcase_add_checked_fixture(items, set_up, tear_down);
    tcase_add_test(items, serials_stay_as_they_are);
    tcase_add_test(items, links_are_not_doubled);
    tcase_add_test(items, visits_return);
    tcase_add_test(items, reserved_visits);
    tcase_add_test(items, blocks_return);
    tcase_add_test(items, scratch_is_sorted);
    tcase_add_test(items, line_revisions);
    suite_add_tcase(suite, items);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
