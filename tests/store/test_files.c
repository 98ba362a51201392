/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Files: each comes back as it was put, with its original; what must be refused is; and the digest
 * of a file finds any change to it.
 */
#include "andamento/base/instant.h"
#include "support_fixture.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

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

START_TEST(digest_is_derived_again)
{
    for (int k = 1; k <= 5; k++) {
        struct filled filled;
        struct an_sha256 digest;
        char stored[65];
        char derived[65];
        OK(fill_committed(store, k, &filled, &err));
        digest_in_ledger(store, filled.file_id, stored);
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
    digest_in_ledger(store, 1, stored);
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
    digest_in_ledger(store, 1, stored);
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

int main(void)
{
    Suite *suite = suite_create("files");
    TCase *records = tcase_create("records");
    tcase_add_checked_fixture(records, fixture_set_up, fixture_tear_down);
    tcase_add_test(records, file_returns);
    tcase_add_test(records, absent_fields_stay_absent);
    tcase_add_test(records, rows_must_add_up);
    tcase_add_test(records, found_by_its_bytes);
    tcase_add_test(records, files_by_when_they_were_known);
    tcase_add_test(records, digest_is_derived_again);
    tcase_add_test(records, digest_by_the_book);
    tcase_add_loop_test(records, digest_finds_changes, 0, sizeof changes / sizeof *changes);
    tcase_add_loop_test(records, originals_return, 0,
                        sizeof original_sizes / sizeof *original_sizes);
    tcase_add_loop_test(records, damaged_original_is_told, 0, sizeof damages / sizeof *damages);
    suite_add_tcase(suite, records);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
