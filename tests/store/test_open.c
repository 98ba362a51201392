/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Opening: what is no store is refused in words, one writer at a time, readers beside it, settings
 * as asked for, and migrations that are whole or not at all.
 */
#include "faulty_vfs.h"
#include "store/handle.h"
#include "store/migrate.h"
#include "support.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

static void write_file(const char *path, const void *at, size_t length)
{
    FILE *file = fopen(path, "wb");
    ck_assert_ptr_nonnull(file);
    ck_assert_uint_eq(fwrite(at, 1, length, file), length);
    ck_assert_int_eq(fclose(file), 0);
}

static long size_of(const char *path)
{
    struct stat st;
    return stat(path, &st) ? -1 : (long)st.st_size;
}

static bool is_there(const char *path)
{
    return access(path, F_OK) == 0;
}

/* A store with one file in it, closed. */
static const char *made_store(void)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct filled filled;
    const char *path = scratch_path("line.store");
    OK(an_store_open(path, AN_STORE_CREATE, &store, &err));
    OK(fill_committed(store, 1, &filled, &err));
    an_store_close(store);
    return path;
}

START_TEST(created_once)
{
    struct an_error err;
    struct an_store *store = NULL;
    const char *path = made_store();
    ck_assert(!is_there(scratch_path("line.store.making")));
    ck_assert(!is_there(scratch_path("line.store-wal")));
    FAILS(an_store_open(path, AN_STORE_CREATE, &store, &err), AN_CANNOT_CREATE);
    ck_assert_ptr_null(store);
    FAILS(an_store_open(scratch_path("none.store"), AN_STORE_WRITE, &store, &err), AN_NOT_FOUND);
    FAILS(an_store_open(scratch_path("none.store"), AN_STORE_READ, &store, &err), AN_NOT_FOUND);
    FAILS(an_store_open(scratch_path("no/such/folder.store"), AN_STORE_CREATE, &store, &err),
          AN_NOT_FOUND);
    ck_assert(!is_there(scratch_path("none.store")));
    ck_assert_int_eq(ask(path, "PRAGMA user_version"), an_store_format_version());
    ck_assert_str_eq(an_store_sqlite_version(), sqlite3_libversion());
    OK(an_store_open(path, AN_STORE_READ, &store, &err));
    ck_assert_ptr_nonnull(strstr(an_store_path(store), "line.store"));
    an_store_close(store);
    an_store_close(NULL);
}
END_TEST

/* What a run that was killed while making a store left behind does not stand in the way. */
START_TEST(leftovers)
{
    struct an_error err;
    struct an_store *store = NULL;
    write_file(scratch_path("line.store.making"), "half", 4);
    write_file(scratch_path("line.store.making-wal"), "half", 4);
    OK(an_store_open(scratch_path("line.store"), AN_STORE_CREATE, &store, &err));
    an_store_close(store);
    ck_assert(!is_there(scratch_path("line.store.making")));
    ck_assert(!is_there(scratch_path("line.store.making-wal")));
}
END_TEST

START_TEST(not_a_store)
{
    static const char garbage[5000] = "this is no store, however long it may be";
    static const enum an_store_mode modes[] = {AN_STORE_READ, AN_STORE_WRITE};
    struct an_error err;
    struct an_store *store = NULL;
    write_file(scratch_path("empty"), "", 0);
    write_file(scratch_path("garbage"), garbage, sizeof garbage);
    write_file(scratch_path("short"), garbage, 20);
    ck_assert_int_eq(run_sql(scratch_path("other"), "CREATE TABLE t (a)", NULL), SQLITE_OK);
    ck_assert_int_eq(run_sql(scratch_path("alike"),
                             "CREATE TABLE t (a); PRAGMA application_id = 1634624621", NULL),
                     SQLITE_OK);
    for (size_t m = 0; m < 2; m++) {
        FAILS(an_store_open(scratch_path("empty"), modes[m], &store, &err), AN_NO_STORE);
        FAILS(an_store_open(scratch_path("garbage"), modes[m], &store, &err), AN_NO_STORE);
        FAILS(an_store_open(scratch_path("short"), modes[m], &store, &err), AN_NO_STORE);
        FAILS(an_store_open(scratch_path("other"), modes[m], &store, &err), AN_NO_STORE);
        ck_assert_ptr_nonnull(strstr(err.text, "is not a store"));
        FAILS(an_store_open(scratch_path("alike"), modes[m], &store, &err), AN_NO_STORE);
        ck_assert_ptr_null(store);
    }
    /* they are left as they were */
    ck_assert_int_eq(size_of(scratch_path("empty")), 0);
    ck_assert_int_eq(size_of(scratch_path("garbage")), sizeof garbage);
    ck_assert_int_eq(ask(scratch_path("other"), "SELECT count(*) FROM t"), 0);
}
END_TEST

/* Cut anywhere, a store is refused: never opened as if it were whole. */
START_TEST(truncated)
{
    struct an_error err;
    struct an_store *store = NULL;
    const char *path = made_store();
    const long size = size_of(path);
    for (long cut = size - 1; cut > 0; cut = cut > 9000 ? cut - 7919 : cut - 499) {
        ck_assert_int_eq(truncate(path, cut), 0);
        FAILS(an_store_open(path, AN_STORE_READ, &store, &err), AN_NO_STORE);
        FAILS(an_store_open(path, AN_STORE_WRITE, &store, &err), AN_NO_STORE);
        ck_assert_int_eq(size_of(path), cut);
    }
}
END_TEST

/* A page overwritten in the middle is found by the quick check of small stores. */
START_TEST(damaged)
{
    struct an_error err;
    struct an_store *store = NULL;
    const char *path = made_store();
    const int64_t page = ask(path, "SELECT rootpage FROM sqlite_schema WHERE name = 'sample'");
    const int64_t page_bytes = ask(path, "PRAGMA page_size");
    char noise[4096];
    memset(noise, 0xA5, sizeof noise);
    const int fd = open(path, O_RDWR);
    ck_assert_int_eq(pwrite(fd, noise, sizeof noise, (off_t)((page - 1) * page_bytes)),
                     sizeof noise);
    close(fd);
    FAILS(an_store_open(path, AN_STORE_READ, &store, &err), AN_NO_STORE);
    FAILS(an_store_open(path, AN_STORE_WRITE, &store, &err), AN_NO_STORE);
}
END_TEST

START_TEST(newer_format)
{
    struct an_error err;
    struct an_store *store = NULL;
    const char *path = made_store();
    const int next = an_store_format_version() + 1;
    char sql[64];
    char named[64];
    (void)snprintf(sql, sizeof sql, "PRAGMA user_version = %d", next);
    (void)snprintf(named, sizeof named, "format %d", next);
    ck_assert_int_eq(run_sql(path, sql, NULL), SQLITE_OK);
    FAILS(an_store_open(path, AN_STORE_READ, &store, &err), AN_NO_STORE);
    ck_assert_ptr_nonnull(strstr(err.text, named));
    FAILS(an_store_open(path, AN_STORE_WRITE, &store, &err), AN_NO_STORE);
    ck_assert_int_eq(ask(path, "PRAGMA user_version"), next);
}
END_TEST

START_TEST(settings)
{
    const struct {
        const char *pragma;
        int64_t write, read;
    } wanted[] = {
        {"PRAGMA synchronous", 2, -1},
        {"PRAGMA foreign_keys", 1, 1},
        {"PRAGMA trusted_schema", 0, 0},
        {"PRAGMA cell_size_check", 1, 1},
        {"PRAGMA cache_size", -8192, -8192},
        {"PRAGMA temp_store", 1, 1},
        {"PRAGMA mmap_size", 0, 0},
        {"PRAGMA recursive_triggers", 1, 1},
        {"PRAGMA query_only", 0, 1},
        {"PRAGMA wal_autocheckpoint", 0, 0},
        {"PRAGMA application_id", 0x616e646d, 0x616e646d},
        {"PRAGMA user_version", an_store_format_version(), an_store_format_version()},
    };
    struct an_error err;
    struct an_store *writer = NULL;
    struct an_store *reader = NULL;
    const char *path = made_store();
    OK(an_store_open(path, AN_STORE_WRITE, &writer, &err));
    OK(an_store_open(path, AN_STORE_READ, &reader, &err));
    for (size_t k = 0; k < sizeof wanted / sizeof *wanted; k++) {
        int64_t value = -99;
        OK(an_pragma_int(writer, wanted[k].pragma, &value, &err));
        ck_assert_msg(value == wanted[k].write, "%s", wanted[k].pragma);
        OK(an_pragma_int(reader, wanted[k].pragma, &value, &err));
        ck_assert_msg(wanted[k].read == -1 || value == wanted[k].read, "%s", wanted[k].pragma);
    }
    int on = 0;
    ck_assert_int_eq(sqlite3_db_config(writer->db, SQLITE_DBCONFIG_DEFENSIVE, -1, &on), SQLITE_OK);
    ck_assert_int_eq(on, 1);
    /* defensive: the schema cannot be written as a table */
    ck_assert_int_ne(sqlite3_exec(writer->db,
                                  "PRAGMA writable_schema = ON; DELETE FROM sqlite_schema", NULL,
                                  NULL, NULL),
                     SQLITE_OK);
    FAILS(an_pragma_int(writer, "PRAGMA no_such_setting", &(int64_t){0}, &err), AN_BUG);
    FAILS(an_store_begin(reader, &err), AN_DENIED);
    an_store_close(reader);
    an_store_close(writer);
}
END_TEST

/* ---- one writer, many readers ------------------------------------------------------------------- */

START_TEST(second_writer)
{
    struct an_error err;
    struct an_store *first = NULL;
    struct an_store *second = NULL;
    const char *path = made_store();
    char pid[40];
    char host[256] = "";
    OK(an_store_open(path, AN_STORE_WRITE, &first, &err));
    FAILS(an_store_open(path, AN_STORE_WRITE, &second, &err), AN_BUSY);
    (void)snprintf(pid, sizeof pid, "process %ld ", (long)getpid());
    (void)gethostname(host, sizeof host - 1);
    ck_assert_msg(strstr(err.text, pid) && strstr(err.text, host), "%s", err.text);
    FAILS(an_store_open(path, AN_STORE_CREATE, &second, &err), AN_BUSY);
    /* by another name it is the same store */
    ck_assert_int_eq(symlink(path, scratch_path("other.name")), 0);
    FAILS(an_store_open(scratch_path("other.name"), AN_STORE_WRITE, &second, &err), AN_BUSY);
    struct filled filled;
    OK(fill_committed(first, 2, &filled, &err));
    an_store_close(first);
    OK(an_store_open(scratch_path("other.name"), AN_STORE_WRITE, &second, &err));
    an_store_close(second);
}
END_TEST

/* The lock goes with its process, however that ends. */
START_TEST(holder_killed)
{
    struct an_error err;
    struct an_store *store = NULL;
    const char *path = made_store();
    int ready[2];
    char byte = 0;
    ck_assert_int_eq(pipe(ready), 0);
    const pid_t child = fork();
    if (child == 0) {
        struct filled filled;
        if (an_store_open(path, AN_STORE_WRITE, &store, &err) || an_store_begin(store, &err) ||
            fill_file(store, 2, &filled, &err) || write(ready[1], "x", 1) != 1) {
            _exit(1);
        }
        for (;;) {
            (void)pause();
        }
    }
    ck_assert_int_eq(read(ready[0], &byte, 1), 1);
    FAILS(an_store_open(path, AN_STORE_WRITE, &store, &err), AN_BUSY);
    ck_assert_int_eq(kill(child, SIGKILL), 0);
    ck_assert_int_eq(waitpid(child, NULL, 0), child);
    OK(an_store_open(path, AN_STORE_WRITE, &store, &err));
    bool sound = false;
    OK(an_ledger_check(store, &sound, &err));
    ck_assert(sound);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM file"), 1); /* the open transaction is gone */
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM sample"), 2);
    struct filled filled;
    OK(fill_committed(store, 2, &filled, &err));
    ck_assert_int_eq(filled.file_id, 2);
    an_store_close(store);
    (void)close(ready[0]);
    (void)close(ready[1]);
}
END_TEST

START_TEST(reader_beside_writer)
{
    struct an_error err;
    struct an_store *writer = NULL;
    struct an_store *reader = NULL;
    struct filled filled;
    struct an_arena *arena = an_arena_open();
    struct an_file *files = NULL;
    size_t count = 0;
    const char *path = made_store();
    OK(an_store_open(path, AN_STORE_WRITE, &writer, &err));
    OK(an_store_open(path, AN_STORE_READ, &reader, &err));
    OK(an_store_begin(writer, &err));
    OK(fill_file(writer, 2, &filled, &err));
    OK(an_store_files(reader, AN_NO_INSTANT, AN_NO_INSTANT, arena, &files, &count, &err));
    ck_assert_uint_eq(count, 1); /* not yet committed, not yet seen */
    OK(an_store_commit(writer, &err));
    OK(an_store_files(reader, AN_NO_INSTANT, AN_NO_INSTANT, arena, &files, &count, &err));
    ck_assert_uint_eq(count, 2);
    FAILS(an_store_put_sighting(reader, 1, "x", &err), AN_DENIED);
    an_store_close(writer);
    OK(an_store_files(reader, AN_NO_INSTANT, AN_NO_INSTANT, arena, &files, &count, &err));
    ck_assert_uint_eq(count, 2);
    an_store_close(reader);
    an_arena_close(arena);
}
END_TEST

/* Where we may read and not write, a store that was closed is readable. Root may write anywhere,
 * so this runs as somebody else; Check's fork keeps that to this test. */
START_TEST(folder_not_writable)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct an_arena *arena = an_arena_open();
    struct an_file *files = NULL;
    size_t count = 0;
    const char *path = made_store();
    ck_assert_int_eq(mkdir(scratch_path("shut"), 0755), 0);
    const char *shut = scratch_path("shut/li ne?.store"); /* not a plain URI */
    ck_assert_int_eq(rename(path, shut), 0);
    ck_assert_int_eq(chmod(scratch_path("shut"), 0555), 0);
    const pid_t child = fork();
    if (child == 0) {
        if (geteuid() == 0 && (setgid(65534) || setuid(65534))) {
            _exit(2);
        }
        if (an_store_open(shut, AN_STORE_READ, &store, &err) ||
            an_store_files(store, AN_NO_INSTANT, AN_NO_INSTANT, arena, &files, &count, &err) ||
            count != 1) {
            (void)fprintf(stderr, "%s\n", err.text);
            _exit(3);
        }
        an_store_close(store);
        const enum an_status st = an_store_open(shut, AN_STORE_WRITE, &store, &err);
        if (st != AN_DENIED) {
            (void)fprintf(stderr, "%s %s\n", an_status_name(st), err.text);
        }
        _exit(st == AN_DENIED ? 0 : 4);
    }
    int status = -1;
    ck_assert_int_eq(waitpid(child, &status, 0), child);
    ck_assert_int_eq(chmod(scratch_path("shut"), 0755), 0);
    (void)unlink(shut);
    ck_assert_int_eq(rmdir(scratch_path("shut")), 0);
    ck_assert_int_eq(status, 0);
    an_arena_close(arena);
}
END_TEST

/* ---- migrations ------------------------------------------------------------------------------------ */

#define FORMAT_1                                                                                   \
    "PRAGMA application_id = 1634624621; PRAGMA user_version = 1;"                                 \
    "CREATE TABLE word (word TEXT NOT NULL) STRICT; INSERT INTO word VALUES ('kept');"
static const struct an_migration to_1[] = {{1, FORMAT_1}};
static const struct an_migration to_2[] = {
    {1, FORMAT_1},
    {2, "PRAGMA user_version = 2; ALTER TABLE word ADD COLUMN language TEXT;"},
    {2, "CREATE VIEW view_word AS SELECT word, language FROM word;"},
};
static const struct an_migration broken[] = {
    {1, FORMAT_1},
    {2, "PRAGMA user_version = 2; ALTER TABLE word ADD COLUMN language TEXT;"},
    {2, "INSERT INTO word VALUES ('half', NULL); INSERT INTO no_such_table VALUES (1);"},
};
static const struct an_migration unfinished[] = {
    {1, FORMAT_1},
    {3, "PRAGMA user_version = 2; ALTER TABLE word ADD COLUMN language TEXT;"},
};

static void make_format_1(const char *path)
{
    struct an_error err;
    struct an_store *store = NULL;
    OK(an_store_open_with(path, AN_STORE_CREATE, to_1, 1, &store, &err));
    an_store_close(store);
}

START_TEST(migrated_with_a_copy)
{
    struct an_error err;
    struct an_store *store = NULL;
    const char *path = scratch_path("old.store");
    const char *copy = scratch_path("old.store.before-2");
    make_format_1(path);
    FAILS(an_store_open_with(path, AN_STORE_READ, to_2, 3, &store, &err), AN_NO_STORE);
    ck_assert_ptr_nonnull(strstr(err.text, "older format 1"));
    OK(an_store_open_with(path, AN_STORE_WRITE, to_2, 3, &store, &err));
    an_store_close(store);
    ck_assert_int_eq(ask(path, "PRAGMA user_version"), 2);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM view_word WHERE word = 'kept'"), 1);
    ck_assert_int_eq(ask(copy, "PRAGMA user_version"), 1);
    ck_assert_int_eq(ask(copy, "SELECT count(*) FROM word"), 1);
    ck_assert(!is_there(scratch_path("old.store.before-2.making")));
    /* the copy is itself a store, and opening the migrated one again copies nothing */
    OK(an_store_open_with(copy, AN_STORE_READ, to_1, 1, &store, &err));
    an_store_close(store);
    OK(an_store_open_with(path, AN_STORE_WRITE, to_2, 3, &store, &err));
    an_store_close(store);
    ck_assert(!is_there(scratch_path("old.store.before-2.2")));
}
END_TEST

START_TEST(migration_fails_half_way)
{
    struct an_error err;
    struct an_store *store = NULL;
    const char *path = scratch_path("old.store");
    make_format_1(path);
    FAILS(an_store_open_with(path, AN_STORE_WRITE, broken, 3, &store, &err), AN_BUG);
    ck_assert_int_eq(ask(path, "PRAGMA user_version"), 1);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM word"), 1);
    ck_assert_int_eq(
        ask(path, "SELECT count(*) FROM pragma_table_info('word') WHERE name = 'language'"), 0);
    /* one that does not reach its format is undone as well */
    FAILS(an_store_open_with(path, AN_STORE_WRITE, unfinished, 2, &store, &err), AN_BUG);
    ck_assert_int_eq(ask(path, "PRAGMA user_version"), 1);
    /* the old store still opens, and the right migration still works, beside the earlier copies */
    OK(an_store_open_with(path, AN_STORE_WRITE, to_1, 1, &store, &err));
    an_store_close(store);
    OK(an_store_open_with(path, AN_STORE_WRITE, to_2, 3, &store, &err));
    an_store_close(store);
    ck_assert_int_eq(ask(path, "PRAGMA user_version"), 2);
    ck_assert(is_there(scratch_path("old.store.before-2")));
    ck_assert(is_there(scratch_path("old.store.before-2.2")));
}
END_TEST

/* Every write and sync of a migration fails once: old or new, never between. */
START_TEST(migration_on_a_failing_disk)
{
    static const enum fault faults[] = {FAULT_WRITE, FAULT_SYNC, FAULT_FULL};
    struct an_error err;
    faulty_install();
    bool struck = true;
    for (int k = 1; struck; k++) {
        struct an_store *store = NULL;
        const char *path = scratch_path("old.store");
        scratch_remove();
        scratch_make();
        make_format_1(path);
        faulty_set(faults[_i], k, false);
        const enum an_status st = an_store_open_with(path, AN_STORE_WRITE, to_2, 3, &store, &err);
        an_store_close(store);
        struck = faulty_struck();
        faulty_set(faults[_i], 0, false);
        ck_assert(struck || st == AN_OK);
        ck_assert_msg(st == AN_OK || st == AN_IO, "%s %s", an_status_name(st), err.text);
        const int64_t version = ask(path, "PRAGMA user_version");
        ck_assert_int_eq(ask(path, "SELECT count(*) FROM word WHERE word = 'kept'"), 1);
        ck_assert_int_eq(
            ask(path, "SELECT count(*) FROM pragma_table_info('word') WHERE name = 'language'"),
            version - 1);
        ck_assert(version == 1 || is_there(scratch_path("old.store.before-2")));
        if (is_there(scratch_path("old.store.before-2"))) {
            ck_assert_int_eq(ask(scratch_path("old.store.before-2"), "PRAGMA user_version"), 1);
        }
        ck_assert(!is_there(scratch_path("old.store.before-2.making")));
        ck_assert_int_lt(k, 500);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("open");
    TCase *opening = tcase_create("opening");
    tcase_add_checked_fixture(opening, scratch_make, scratch_remove);
    tcase_add_test(opening, created_once);
    tcase_add_test(opening, leftovers);
    tcase_add_test(opening, not_a_store);
    tcase_add_test(opening, truncated);
    tcase_add_test(opening, damaged);
    tcase_add_test(opening, newer_format);
    tcase_add_test(opening, settings);
    tcase_add_test(opening, folder_not_writable);
    suite_add_tcase(suite, opening);
    TCase *together = tcase_create("together");
    tcase_add_checked_fixture(together, scratch_make, scratch_remove);
    tcase_add_test(together, second_writer);
    tcase_add_test(together, holder_killed);
    tcase_add_test(together, reader_beside_writer);
    suite_add_tcase(suite, together);
    TCase *migrations = tcase_create("migrations");
    tcase_add_checked_fixture(migrations, scratch_make, scratch_remove);
    tcase_add_test(migrations, migrated_with_a_copy);
    tcase_add_test(migrations, migration_fails_half_way);
    tcase_add_loop_test(migrations, migration_on_a_failing_disk, 0, 3);
    suite_add_tcase(suite, migrations);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
