/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A failing world: every write, sync and allocation fails in turn, once and for ever. What was
 * acknowledged is there, what was not is there whole or not at all, and after the first failure of
 * the disk nothing more is acknowledged.
 */
#include "faulty_vfs.h"
#include "support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* ---- SQLite's memory, failing on request ------------------------------------------------------------ */

static sqlite3_mem_methods plain_memory;
static struct {
    size_t k, seen;
    bool for_ever;
} memory;

static bool memory_fails(void)
{
    if (memory.k == 0) {
        return false;
    }
    memory.seen++;
    return memory.seen == memory.k || (memory.for_ever && memory.seen > memory.k);
}
static void *faulty_malloc(int size)
{
    return memory_fails() ? NULL : plain_memory.xMalloc(size);
}
static void *faulty_realloc(void *block, int size)
{
    return memory_fails() ? NULL : plain_memory.xRealloc(block, size);
}
static bool memory_install(void) /* before SQLite is first used */
{
    sqlite3_mem_methods wrapped;
    if (sqlite3_config(SQLITE_CONFIG_GETMALLOC, &plain_memory) != SQLITE_OK) {
        return false;
    }
    wrapped = plain_memory;
    wrapped.xMalloc = faulty_malloc;
    wrapped.xRealloc = faulty_realloc;
    return sqlite3_config(SQLITE_CONFIG_MALLOC, &wrapped) == SQLITE_OK;
}

static void set_up(void)
{
    faulty_install();
    scratch_make();
}

/* ---- soundness ------------------------------------------------------------------------------------------ */

/* Opens and looks at everything; returns how many files there are. */
static int64_t sound_files(const char *path)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct an_sha256 digest;
    struct an_ledger_entry *entries = NULL;
    size_t count = 0;
    bool sound = false;
    char hex[65];
    struct an_arena *arena = an_arena_open();
    OK(an_store_open(path, AN_STORE_WRITE, &store, &err));
    OK(an_ledger_check(store, &sound, &err));
    ck_assert_msg(sound, "%s", err.text);
    OK(an_ledger_read(store, 0, 1000, arena, &entries, &count, &err));
    int64_t files = 0;
    for (size_t k = 0; k < count; k++) {
        if (strcmp(entries[k].kind, "file.taken") == 0) {
            OK(an_store_file_digest(store, ++files, &digest, &err));
            ck_assert_ptr_nonnull(strstr(entries[k].payload, an_sha256_hex(&digest, hex)));
        }
    }
    an_store_close(store);
    an_arena_close(arena);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM file"), files);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM sample"), 2 * files);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM pragma_integrity_check"
                               " WHERE integrity_check <> 'ok'"),
                     0);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM pragma_foreign_key_check"), 0);
    return files;
}

static const char *store_with_one_file(struct an_store **store)
{
    struct an_error err;
    struct filled filled;
    const char *path = scratch_path("line.store");
    scratch_remove();
    scratch_make();
    OK(an_store_open(path, AN_STORE_CREATE, store, &err));
    OK(fill_committed(*store, 1, &filled, &err));
    return path;
}

/* An original that no compressor shrinks, large enough for a checkpoint after the commit. */
static enum an_status fill_large(struct an_store *store, struct an_error *err)
{
    static unsigned char noise[6 << 20];
    struct filled filled;
    uint64_t state = 1;
    for (size_t i = 0; i + 8 <= sizeof noise; i += 8) {
        const uint64_t word = random_next(&state);
        memcpy(noise + i, &word, 8);
    }
    enum an_status st = an_store_begin(store, err);
    if (st) {
        return st;
    }
    st = fill_file(store, 2, &filled, err);
    if (!st) {
        struct an_file file = {.hash = an_sha256_of(noise, sizeof noise),
                               .bytes = sizeof noise,
                               .name = "noise.csv",
                               .path = "noise.csv",
                               .modified_us = 5,
                               .state = AN_FILE_HELD,
                               .code = "file.encoding",
                               .why = "not text"};
        st = an_store_next_file(store, &file.file_id, err);
        if (!st) {
            st = an_store_original_open(store, err);
        }
        if (!st) {
            st = an_store_original_add(store, noise, sizeof noise, err);
        }
        if (!st) {
            st = an_store_original_close(store, file.file_id, &file.hash, err);
        }
        if (!st) {
            st = an_store_put_file(store, &file, err);
        }
    }
    if (!st) {
        st = an_store_commit(store, err);
    }
    if (st) {
        an_store_rollback(store);
    }
    return st;
}

static const struct {
    enum fault fault;
    bool for_ever;
} disk_rows[] = {
    {FAULT_WRITE, false}, {FAULT_WRITE, true}, {FAULT_SYNC, false},
    {FAULT_SYNC, true},   {FAULT_FULL, false}, {FAULT_FULL, true},
};

/* A whole file's transaction and the closing after it, with the k-th write or sync failing. */
START_TEST(failing_disk)
{
    bool struck = true;
    for (int k = 1; struck; k++) {
        struct an_error err;
        struct an_store *store = NULL;
        struct filled filled;
        const char *path = store_with_one_file(&store);
        faulty_set(disk_rows[_i].fault, k, disk_rows[_i].for_ever);
        const enum an_status st = fill_committed(store, 2, &filled, &err);
        if (st) {
            ck_assert_msg(st == AN_IO && err.text[0], "%s %s", an_status_name(st), err.text);
            ck_assert(faulty_struck());
            faulty_set(disk_rows[_i].fault, 0, false); /* the disk is well again ... */
            FAILS(an_store_begin(store, &err), AN_IO); /* ... and still nothing is acknowledged */
            FAILS(fill_committed(store, 3, &filled, &err), AN_IO);
            FAILS(an_store_put_sighting(store, 1, "x", &err), AN_IO);
            faulty_set(disk_rows[_i].fault, 1, disk_rows[_i].for_ever);
        }
        an_store_close(store);
        struck = faulty_struck() || st;
        faulty_set(disk_rows[_i].fault, 0, false);
        const int64_t files = sound_files(path);
        ck_assert(files == 2 || (files == 1 && st));
        ck_assert_int_lt(k, 1000);
    }
}
END_TEST

/* The same over a transaction with a checkpoint behind it, at some of its thousands of writes. A
 * checkpoint that fails is not told by the commit, which is safe, but stops all later ones. */
START_TEST(failing_disk_in_a_large_file)
{
    bool struck = true;
    bool late_failure = false;
    const int step = disk_rows[_i].fault == FAULT_SYNC ? 1 : 401;
    for (int k = 1; struck; k += step) {
        struct an_error err;
        struct an_store *store = NULL;
        const char *path = store_with_one_file(&store);
        faulty_set(disk_rows[_i].fault, k, disk_rows[_i].for_ever);
        const enum an_status st = fill_large(store, &err);
        const bool struck_before = faulty_struck();
        ck_assert_msg(st == AN_OK || (st == AN_IO && struck_before), "%s", err.text);
        if (struck_before) {
            late_failure = late_failure || st == AN_OK;
            FAILS(an_store_begin(store, &err), AN_IO);
        }
        an_store_close(store);
        struck = faulty_struck();
        faulty_set(disk_rows[_i].fault, 0, false);
        const int64_t taken = ask(path, "SELECT count(*) FROM file WHERE state = 0");
        ck_assert(taken == 2 || (taken == 1 && st));
        ck_assert_int_eq(ask(path, "SELECT count(*) FROM file WHERE state = 1"), taken - 1);
        ck_assert_int_eq(ask(path, "SELECT count(*) FROM pragma_integrity_check"
                                   " WHERE integrity_check <> 'ok'"),
                         0);
    }
    ck_assert(late_failure);
}
END_TEST

/* A store is made whole or not at all: also when the disk fills up as its log is folded in, which is
 * the last thing before it gets its name. */
START_TEST(made_whole_or_not_at_all)
{
    static const enum fault kinds[] = {FAULT_FULL, FAULT_WRITE, FAULT_SYNC};
    const enum fault kind = kinds[_i];
    const char *path = scratch_path("line.store");
    bool struck = true;
    faulty_skip_syncs(true);
    for (int k = 1; struck; k += kind == FAULT_SYNC ? 1 : 17) {
        struct an_store *store = NULL;
        struct an_error err;
        scratch_remove();
        scratch_make();
        faulty_set(kind, k, true);
        const enum an_status st = an_store_open(path, AN_STORE_CREATE, &store, &err);
        an_store_close(store);
        struck = faulty_struck();
        faulty_set(kind, 0, false);
        store = NULL;
        if (st) {
            ck_assert_msg(st == AN_IO, "%s: %s", an_status_name(st), err.text);
        }
        OK(an_store_open(path, access(path, F_OK) == 0 ? AN_STORE_WRITE : AN_STORE_CREATE, &store,
                         &err));
        an_store_close(store);
        ck_assert_int_eq(ask(path, "SELECT count(*) FROM pragma_integrity_check"
                                   " WHERE integrity_check <> 'ok'"),
                         0);
    }
    faulty_skip_syncs(false);
}
END_TEST

/* ---- memory ------------------------------------------------------------------------------------------------ */

/* Makes, fills, decides, reads and closes a store. */
static enum an_status everything(const char *path, struct an_error *err)
{
    struct an_store *store = NULL;
    struct filled filled;
    enum an_status st = an_store_open(path, AN_STORE_CREATE, &store, err);
    if (!st) {
        st = fill_committed(store, 1, &filled, err);
    }
    if (!st) {
        st = decide_all(store, &filled, err);
    }
    if (!st) {
        st = read_all(store, &filled, true, err);
    }
    an_store_close(store);
    store = NULL;
    if (!st) {
        st = an_store_open(path, AN_STORE_READ, &store, err);
    }
    an_store_close(store);
    return st;
}

static void after_memory_failure(const char *path, enum an_status st, const struct an_error *err)
{
    ck_assert_msg(st == AN_OK || st == AN_NO_MEMORY, "%s: %s", an_status_name(st), err->text);
    if (run_sql(path, "SELECT 1", NULL) == SQLITE_OK && ask(path, "PRAGMA user_version") == 1) {
        const int64_t files = sound_files(path);
        ck_assert(st != AN_OK || files == 1);
    }
}

/* Each allocation of our own. */
START_TEST(our_memory)
{
    struct an_error err;
    int tolerated = 0;
    for (size_t k = 1; k < 100000; k++) {
        const char *path = scratch_path("line.store");
        scratch_remove();
        scratch_make();
        (void)an_alloc_fail_at(k, _i == 1);
        const enum an_status st = everything(path, &err);
        const size_t made = an_alloc_fail_at(0, false);
        if (st || k % 16 == 0) {
            after_memory_failure(path, st, &err);
        }
        if (made < k) {
            ck_assert_int_eq(st, AN_OK);
            ck_assert_uint_gt(k, 50);
            return;
        }
        if (st == AN_OK) { /* names of leftovers to be removed, of a log to be looked for */
            ck_assert_msg(_i == 0 && ++tolerated < 20, "allocation %zu was not missed", k);
        }
    }
    ck_abort_msg("no end of allocations");
}
END_TEST

/* Allocations inside SQLite, every one of the first and then one in several. */
START_TEST(memory_of_sqlite)
{
    struct an_error err;
    size_t k = 1;
    for (;;) {
        const char *path = scratch_path("line.store");
        scratch_remove();
        scratch_make();
        memory.k = k;
        memory.seen = 0;
        memory.for_ever = _i == 1;
        const enum an_status st = everything(path, &err);
        memory.k = 0;
        if (memory.seen < k) {
            ck_assert_int_eq(st, AN_OK);
            break;
        }
        after_memory_failure(path, st, &err);
        k += k < 50 ? 1 : 1 + k / 40;
    }
    ck_assert_uint_gt(k, 200);
}
END_TEST

/* ---- transactions ------------------------------------------------------------------------------------------- */

START_TEST(rolled_back)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct filled filled;
    const char *path = store_with_one_file(&store);
    OK(an_store_begin(store, &err));
    OK(fill_file(store, 2, &filled, &err));
    ck_assert_int_eq(filled.file_id, 2);
    an_store_rollback(store);
    an_store_rollback(store); /* nothing to do, no harm */
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM file"), 1);
    OK(an_store_begin(store, &err));
    FAILS(an_store_begin(store, &err), AN_BUG);
    OK(fill_file(store, 2, &filled, &err));
    ck_assert_int_eq(filled.file_id, 2); /* numbers have no gaps */
    OK(an_store_commit(store, &err));
    FAILS(an_store_commit(store, &err), AN_BUG);
    OK(an_store_begin(store, &err));
    OK(fill_file(store, 3, &filled, &err));
    an_store_close(store); /* closing rolls back */
    ck_assert_int_eq(sound_files(path), 2);
}
END_TEST

/* Rolling back needs memory too: what could not be rolled back is not shown as if it were stored. */
START_TEST(rolled_back_without_memory)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct filled filled;
    bool found = true;
    int64_t file_id = 0;
    const char *path = store_with_one_file(&store);
    OK(an_store_begin(store, &err));
    OK(fill_file(store, 2, &filled, &err));
    memory.k = 1;
    memory.seen = 0;
    memory.for_ever = true;
    an_store_rollback(store);
    FAILS(an_store_find_file(store, &filled.hash, &found, &file_id, &err), AN_NO_MEMORY);
    FAILS(an_store_begin(store, &err), AN_NO_MEMORY);
    memory.k = 0;
    OK(an_store_find_file(store, &filled.hash, &found, &file_id, &err));
    ck_assert(!found);
    OK(fill_committed(store, 3, &filled, &err));
    ck_assert_int_eq(filled.file_id, 2);
    an_store_close(store);
    ck_assert_int_eq(sound_files(path), 2);
}
END_TEST

/* Without memory SQLite may take the transaction back by itself: nothing is stored after that, and the
 * commit tells. */
START_TEST(taken_back_by_sqlite)
{
    bool taken_back = false;
    enum an_status marked = AN_NO_MEMORY;
    for (size_t k = 1; marked; k++) {
        struct an_error err;
        struct an_store *store = NULL;
        struct filled filled;
        const char *path = store_with_one_file(&store);
        OK(an_store_begin(store, &err));
        OK(fill_file(store, 2, &filled, &err));
        memory.k = k;
        memory.seen = 0;
        memory.for_ever = false;
        marked = an_store_mark(store, &err);
        memory.k = 0;
        ck_assert(marked == AN_OK || marked == AN_NO_MEMORY);
        const enum an_status put = fill_file(store, 3, &filled, &err);
        const enum an_status committed = an_store_commit(store, &err);
        ck_assert_msg(committed == AN_OK || committed == AN_NO_MEMORY, "%s", err.text);
        ck_assert_int_eq(put, committed);
        taken_back = taken_back || committed;
        an_store_rollback(store);
        an_store_close(store);
        ck_assert_int_eq(sound_files(path), committed ? 1 : 3);
        ck_assert_uint_lt(k, 1000);
    }
    ck_assert(taken_back);
}
END_TEST

/* Rows of a file that is never put: told before SQLite would. */
START_TEST(file_left_out)
{
    struct an_error err;
    struct an_store *store = NULL;
    int64_t file_id = 0;
    int64_t item_id = 0;
    const char *path = store_with_one_file(&store);
    OK(an_store_begin(store, &err));
    OK(an_store_next_file(store, &file_id, &err));
    OK(an_store_item(store, "tile", an_bytes_of("T-9"), file_id, &item_id, &err));
    FAILS(an_store_commit(store, &err), AN_BUG);
    an_store_rollback(store);
    OK(an_store_begin(store, &err));
    OK(an_store_next_file(store, &file_id, &err));
    OK(an_store_original_open(store, &err));
    OK(an_store_original_add(store, "x", 1, &err));
    OK(an_store_original_close(store, file_id, &(struct an_sha256){{1}}, &err));
    FAILS(an_store_commit(store, &err), AN_BUG); /* by the foreign key */
    an_store_close(store);
    ck_assert_int_eq(sound_files(path), 1);
}
END_TEST

int main(void)
{
    if (!memory_install()) {
        return EXIT_FAILURE;
    }
    Suite *suite = suite_create("faults");
    TCase *disk = tcase_create("disk");
    tcase_add_checked_fixture(disk, set_up, scratch_remove);
    tcase_add_loop_test(disk, failing_disk, 0, sizeof disk_rows / sizeof *disk_rows);
    tcase_add_loop_test(disk, made_whole_or_not_at_all, 0, 3);
    tcase_add_loop_test(disk, failing_disk_in_a_large_file, 0,
                        sizeof disk_rows / sizeof *disk_rows);
    suite_add_tcase(suite, disk);
    TCase *out_of_memory = tcase_create("memory");
    tcase_add_checked_fixture(out_of_memory, scratch_make, scratch_remove);
    tcase_add_loop_test(out_of_memory, our_memory, 0, 2);
    tcase_add_loop_test(out_of_memory, memory_of_sqlite, 0, 2);
    suite_add_tcase(suite, out_of_memory);
    TCase *transactions = tcase_create("transactions");
    tcase_add_checked_fixture(transactions, scratch_make, scratch_remove);
    tcase_add_test(transactions, rolled_back);
    tcase_add_test(transactions, rolled_back_without_memory);
    tcase_add_test(transactions, taken_back_by_sqlite);
    tcase_add_test(transactions, file_left_out);
    suite_add_tcase(suite, transactions);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
