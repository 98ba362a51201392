/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Opening and closing: lock, settings that are checked by what they return, refusal of what is
 * not a sound store of a format that is known here.
 *
 * It must never open the database file itself, not even to look at it: closing any descriptor of
 * it would drop SQLite's locks in this process. SQLite is asked instead.
 *
 * A new store is made under another name and moved to its place whole.
 */
#include "andamento/store/collector.h"
#include "store/correction.h"
#include "store/handle.h"
#include "store/lock.h"
#include "store/migrate.h"
#include "store/original.h"
#include "store/packed.h"
#include "store/signing.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { AN_WRITER_WAIT_MS = 20000 };
enum { CORRECTIONS_FORMAT = 10 };            /* the first with corrections */
#define QUICK_CHECK_BYTES (INT64_C(8) << 20) /* larger stores are not read through when opened */

const char *an_store_path(const struct an_store *store)
{
    return store->path;
}

const char *an_store_sqlite_version(void)
{
    return sqlite3_libversion();
}

int an_store_format_version(void)
{
    size_t count = 0;
    const struct an_migration *list = an_migrations(&count);
    return an_migrations_newest(list, count);
}

/* ---- settings --------------------------------------------------------------------------------- */

struct setting {
    const char *set, *ask;
    int64_t value;
};

static enum an_status apply(struct an_store *store, const struct setting *settings, size_t count,
                            struct an_error *err)
{
    enum an_status st = AN_OK;
    for (size_t k = 0; !st && k < count; k++) {
        int64_t value = -1;
        st = an_sql_run(store, settings[k].set, settings[k].set, err);
        if (!st) {
            st = an_pragma_int(store, settings[k].ask, &value, err);
        }
        if (!st && value != settings[k].value) {
            st = an_fail(err, AN_NO_STORE, "'%s': SQLite did not accept \"%s\" (it says %lld)",
                         store->path, settings[k].set, (long long)value);
        }
    }
    return st;
}

static enum an_status switch_on(struct an_store *store, int what, int on, struct an_error *err)
{
    int is = -1;
    const int rc = sqlite3_db_config(store->db, what, on, &is);
    if (rc == SQLITE_OK && is != on) {
        return an_fail(err, AN_BUG, "'%s': SQLite did not accept a setting (%d)", store->path,
                       what);
    }
    return an_sql_fail(store, rc, "setting up SQLite", err);
}

/* Settings of the connection; the file is not touched yet. */
static enum an_status set_up(struct an_store *store, struct an_error *err)
{
    static const struct setting settings[] = {
        {"PRAGMA foreign_keys = ON", "PRAGMA foreign_keys", 1},
        {"PRAGMA recursive_triggers = ON", "PRAGMA recursive_triggers", 1},
        {"PRAGMA trusted_schema = OFF", "PRAGMA trusted_schema", 0},
        {"PRAGMA cell_size_check = ON", "PRAGMA cell_size_check", 1},
        {"PRAGMA cache_size = -8192", "PRAGMA cache_size", -8192}, /* KiB: memory stays flat */
        {"PRAGMA temp_store = FILE", "PRAGMA temp_store", 1},
        {"PRAGMA wal_autocheckpoint = 0", "PRAGMA wal_autocheckpoint", 0}, /* transaction.c does */
    };
    static const struct {
        int what, on;
    } switches[] = {
        {SQLITE_DBCONFIG_DEFENSIVE, 1},
        {SQLITE_DBCONFIG_DQS_DML, 0},
        {SQLITE_DBCONFIG_DQS_DDL, 0},
        {SQLITE_DBCONFIG_ENABLE_LOAD_EXTENSION, 0},
    };
    (void)sqlite3_extended_result_codes(store->db, 1);
    (void)sqlite3_busy_timeout(store->db, 5000);
    (void)sqlite3_limit(store->db, SQLITE_LIMIT_LENGTH, 256 << 20);
    (void)sqlite3_limit(store->db, SQLITE_LIMIT_ATTACHED, 0);
    enum an_status st = AN_OK;
    for (size_t k = 0; !st && k < sizeof switches / sizeof *switches; k++) {
        st = switch_on(store, switches[k].what, switches[k].on, err);
    }
    if (!st && !store->can_write) { /* only the writer moves the log into the file */
        st = switch_on(store, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, err);
    }
    return st ? st : apply(store, settings, sizeof settings / sizeof *settings, err);
}

static int count_wal_pages(void *context, sqlite3 *db, const char *name, int pages)
{
    struct an_store *store = context;
    (void)db;
    (void)name;
    store->wal_pages = pages;
    return SQLITE_OK;
}

/* Settings that read or write the file; it is known to be ours. */
static enum an_status set_up_file(struct an_store *store, struct an_error *err)
{
    static const struct setting both[] = {
        {"PRAGMA mmap_size = 0", "PRAGMA mmap_size", 0},
    };
    static const struct setting writer[] = {
        {"PRAGMA synchronous = FULL", "PRAGMA synchronous", 2},
        {"PRAGMA journal_size_limit = 16777216", "PRAGMA journal_size_limit", 16777216},
    };
    static const struct setting reader[] = {
        {"PRAGMA query_only = ON", "PRAGMA query_only", 1},
    };
    enum an_status st = apply(store, both, 1, err);
    if (st || !store->can_write) {
        return st ? st : apply(store, reader, 1, err);
    }
    sqlite3_stmt *stmt = NULL;
    int rc = sqlite3_prepare_v2(store->db, "PRAGMA journal_mode = WAL", -1, &stmt, NULL);
    if (rc == SQLITE_OK) {
        rc = sqlite3_step(stmt) == SQLITE_ROW ? SQLITE_OK : sqlite3_errcode(store->db);
    }
    if (rc == SQLITE_OK) {
        const char *mode = (const char *)sqlite3_column_text(stmt, 0);
        if (!mode || strcmp(mode, "wal") != 0) {
            st = an_fail(err, AN_NO_STORE,
                         "'%s': its disk cannot keep a write-ahead log; put the store on a local "
                         "disk",
                         store->path);
        }
    }
    if (!st) {
        st = an_sql_fail(store, rc, "switching the write-ahead log on", err);
    }
    sqlite3_finalize(stmt);
    (void)sqlite3_wal_hook(store->db, count_wal_pages, store);
    return st ? st : apply(store, writer, sizeof writer / sizeof *writer, err);
}

/* ---- is it a store ----------------------------------------------------------------------------- */

static char *with_suffix(const char *path, const char *suffix)
{
    const size_t size = strlen(path) + strlen(suffix) + 1;
    char *name = an_alloc(size, 1);
    if (name) {
        (void)snprintf(name, size, "%s%s", path, suffix);
    }
    return name;
}

/* Readers leave an empty one behind, which does not count. */
static bool has_log(const struct an_store *store)
{
    struct stat file;
    char *name = with_suffix(store->path, "-wal");
    const bool there = !name || (stat(name, &file) == 0 && file.st_size > 0);
    an_free(name);
    return there;
}

/* The check puts a failure to read a page (memory, the disk) among the damages it found, with
 * SQLite's code of it at the end of the text: that says nothing about the store. */
static int code_in(const char *text)
{
    const char *at = text ? strstr(text, "error code=") : NULL;
    return at ? (int)strtol(at + strlen("error code="), NULL, 10) : SQLITE_OK;
}

static enum an_status quick_check(struct an_store *store, struct an_error *err)
{
    int64_t pages = 0;
    int64_t page_bytes = 0;
    enum an_status st = an_pragma_int(store, "PRAGMA page_count", &pages, err);
    if (!st) {
        st = an_pragma_int(store, "PRAGMA page_size", &page_bytes, err);
    }
    struct stat file;
    if (!st && stat(store->path, &file) == 0 && file.st_size % page_bytes != 0 &&
        !has_log(store)) { /* with a log, a checkpoint may have been cut off, and will be mended */
        st = an_fail(err, AN_NO_STORE, "'%s' is cut off; restore it from a backup", store->path);
    }
    if (st || pages > QUICK_CHECK_BYTES / page_bytes) {
        return st;
    }
    sqlite3_stmt *stmt = NULL;
    int rc = sqlite3_prepare_v2(store->db, "PRAGMA quick_check(1)", -1, &stmt, NULL);
    if (rc == SQLITE_OK) {
        rc = sqlite3_step(stmt);
    }
    if (rc == SQLITE_ROW) {
        const char *text = (const char *)sqlite3_column_text(stmt, 0);
        const int code = text ? code_in(text) & 0xff : SQLITE_NOMEM;
        if (code == SQLITE_NOMEM || code == SQLITE_IOERR) {
            st = an_sql_fail(store, code, "checking the store", err);
        } else if (strcmp(text, "ok") != 0) {
            st = an_fail(err, AN_NO_STORE, "'%s' is damaged (%.200s); restore it from a backup",
                         store->path, text);
        }
        rc = SQLITE_OK;
    }
    if (!st) {
        st = an_sql_fail(store, rc, "checking the store", err);
    }
    sqlite3_finalize(stmt);
    return st;
}

static enum an_status look(struct an_store *store, int newest, int64_t *version,
                           struct an_error *err)
{
    int64_t application = 0;
    enum an_status st = an_pragma_int(store, "PRAGMA application_id", &application, err);
    if (!st) {
        st = an_pragma_int(store, "PRAGMA user_version", version, err);
    }
    if (!st && (application != AN_APPLICATION_ID || *version < 1)) {
        return an_fail(err, AN_NO_STORE,
                       "'%s' is not a store of this program; name another file or make one with "
                       "init",
                       store->path);
    }
    if (!st && *version > newest) {
        return an_fail(err, AN_NO_STORE,
                       "'%s' has format %lld and this program knows formats up to %d; use the "
                       "newer program that wrote it",
                       store->path, (long long)*version, newest);
    }
    return st ? st : quick_check(store, err);
}

/* ---- making one -------------------------------------------------------------------------------- */

static void remove_leftovers(const char *making)
{
    static const char *const suffixes[] = {"", "-wal", "-shm", "-journal"};
    for (size_t k = 0; k < sizeof suffixes / sizeof *suffixes; k++) {
        char *name = with_suffix(making, suffixes[k]);
        if (name) {
            (void)unlink(name);
        }
        an_free(name);
    }
}

static enum an_status open_database(struct an_store *store, const char *path, int flags,
                                    struct an_error *err)
{
    /* a handle belongs to one thread: SQLite's mutexes would guard nothing, at 40 locks a row */
    const int rc = sqlite3_open_v2(path, &store->db, flags | SQLITE_OPEN_NOMUTEX, NULL);
    if (rc == SQLITE_OK) {
        return AN_OK;
    }
    const int number = store->db ? sqlite3_system_errno(store->db) : 0;
    if ((rc & 0xff) == SQLITE_CANTOPEN && (number == EACCES || number == EPERM)) {
        return an_fail(err, AN_DENIED, "'%s' may not be opened by this user", store->path);
    }
    return an_sql_fail(store, rc, "opening the store", err);
}

static enum an_status make_new(struct an_store *store, const struct an_migration *list,
                               size_t count, struct an_error *err)
{
    if (access(store->path, F_OK) == 0) {
        return an_fail(err, AN_CANNOT_CREATE,
                       "'%s' is there already; name another file for the new store", store->path);
    }
    char *making = with_suffix(store->path, ".making");
    if (!making) {
        return an_fail(err, AN_NO_MEMORY, "making '%s': memory ran out", store->path);
    }
    remove_leftovers(making); /* of a run that was killed; the lock is ours */
    enum an_status st =
        open_database(store, making, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, err);
    if (!st) {
        st = set_up(store, err);
    }
    if (!st) {
        st = set_up_file(store, err);
    }
    if (!st) {
        st = an_migrate(store, list, count, 0, err);
    }
    if (!st) { /* closing would fold the log in too, but tell nobody when the disk is full */
        const int rc =
            sqlite3_wal_checkpoint_v2(store->db, NULL, SQLITE_CHECKPOINT_TRUNCATE, NULL, NULL);
        if (rc != SQLITE_OK) {
            st = an_sql_fail(store, rc, "making the store", err);
        }
    }
    const int rc = sqlite3_close(store->db);
    store->db = NULL;
    if (!st && rc != SQLITE_OK) {
        st = an_sql_fail(store, rc, "making the store", err);
    }
    if (!st && link(making, store->path)) { /* unlike rename, never replaces */
        st =
            an_fail(err, AN_CANNOT_CREATE, "could not make '%s': %s", store->path, strerror(errno));
    }
    remove_leftovers(making);
    if (!st) {
        st = an_sync_folder_of(store->path, err);
    }
    an_free(making);
    return st;
}

/* ---- opening one ------------------------------------------------------------------------------- */

static enum an_status migrate_older(struct an_store *store, const struct an_migration *list,
                                    size_t count, int64_t version, struct an_error *err)
{
    char suffix[64];
    char *target = NULL;
    for (int k = 1; k < 1000 && !target; k++) { /* an earlier copy is never replaced */
        (void)snprintf(suffix, sizeof suffix, k == 1 ? ".before-%d" : ".before-%d.%d",
                       (int)version + 1, k);
        target = with_suffix(store->path, suffix);
        if (!target) {
            return an_fail(err, AN_NO_MEMORY, "opening '%s': memory ran out", store->path);
        }
        if (access(target, F_OK) == 0) {
            an_free(target);
            target = NULL;
        }
    }
    if (!target) {
        return an_fail(err, AN_CANNOT_CREATE, "there are too many copies beside '%s'", store->path);
    }
    enum an_status st = an_store_copy(store, target, err);
    if (!st) {
        st = an_migrate(store, list, count, (int)version, err);
    }
    an_free(target);
    return st;
}

/* Without a log beside it, a store in a folder that we may not write is read as it stands. */
static enum an_status open_unchanging(struct an_store *store, struct an_error *err)
{
    struct an_text uri = {0};
    an_text_add(&uri, "file:");
    for (const char *c = store->path; *c; c++) {
        const bool plain = (*c >= 'a' && *c <= 'z') || (*c >= 'A' && *c <= 'Z') ||
                           (*c >= '0' && *c <= '9') || *c == '/' || *c == '.' || *c == '-' ||
                           *c == '_';
        if (plain) {
            an_text_add_char(&uri, *c);
        } else {
            an_text_addf(&uri, "%%%02X", (unsigned)(unsigned char)*c);
        }
    }
    an_text_add(&uri, "?immutable=1");
    enum an_status st = AN_OK;
    if (uri.failed) {
        st = an_fail(err, AN_NO_MEMORY, "opening '%s': memory ran out", store->path);
    } else {
        st = open_database(store, an_text_of(&uri), SQLITE_OPEN_READONLY | SQLITE_OPEN_URI, err);
    }
    an_text_free(&uri);
    return st;
}

static enum an_status open_for_reading(struct an_store *store, int newest, int64_t *version,
                                       struct an_error *err)
{
    enum an_status st = open_database(store, store->path, SQLITE_OPEN_READONLY, err);
    if (!st) { /* the first read needs the log's side files; its other failures come again below */
        const int rc =
            sqlite3_exec(store->db, "SELECT count(*) FROM sqlite_schema", NULL, NULL, NULL);
        const bool no_side_files = (rc & 0xff) == SQLITE_CANTOPEN || (rc & 0xff) == SQLITE_READONLY;
        if (no_side_files && !has_log(store)) {
            (void)sqlite3_close(store->db);
            store->db = NULL;
            st = open_unchanging(store, err);
        }
    }
    if (!st) {
        st = set_up(store, err);
    }
    return st ? st : look(store, newest, version, err);
}

static enum an_status open_existing(struct an_store *store, const struct an_migration *list,
                                    size_t count, struct an_error *err)
{
    const int newest = an_migrations_newest(list, count);
    int64_t version = 0;
    enum an_status st = AN_OK;
    if (!store->can_write) {
        st = open_for_reading(store, newest, &version, err);
        if (!st && version < newest) {
            st = an_fail(err, AN_NO_STORE,
                         "'%s' has the older format %lld; any command that writes brings it to "
                         "format %d, after a copy",
                         store->path, (long long)version, newest);
        }
        st = st ? st : set_up_file(store, err);
        return st || newest < CORRECTIONS_FORMAT ? st : an_corrections_show(store, err);
    }
    st = open_database(store, store->path, SQLITE_OPEN_READWRITE, err);
    if (!st) {
        st = set_up(store, err);
    }
    if (!st) {
        st = look(store, newest, &version, err);
    }
    if (!st) {
        st = set_up_file(store, err);
    }
    if (!st && sqlite3_db_readonly(store->db, "main") == 1) {
        st = an_fail(err, AN_DENIED, "'%s' may not be written by this user", store->path);
    }
    if (!st && version < newest) {
        st = migrate_older(store, list, count, version, err);
    }
    return st || newest < CORRECTIONS_FORMAT ? st : an_corrections_show(store, err);
}

/* A command of a person waits for its turn beside a collector that follows, and for nobody else. */
static enum an_status take_locks(struct an_store *store, const enum an_collecting *collecting,
                                 struct an_error *err)
{
    enum an_status st = AN_OK;
    if (collecting) {
        st = an_collector_lock_take(store->path, *collecting == AN_COLLECT_FOLLOWS,
                                    &store->collector_lock, err);
    }
    if (st) {
        return st;
    }
    const bool waits =
        collecting ? *collecting == AN_COLLECT_FOLLOWS : an_collector_yields(store->path);
    return an_writer_lock_take(store->path, waits ? AN_WRITER_WAIT_MS : 0, &store->lock, err);
}

/* collecting: NULL if the handle is no collector's. */
static enum an_status open_store(const char *path, enum an_store_mode mode,
                                 const enum an_collecting *collecting,
                                 const struct an_migration *list, size_t count,
                                 struct an_store **store, struct an_error *err)
{
    enum an_status st = AN_OK;
    struct an_store *made = an_alloc(1, sizeof *made);
    *store = NULL;
    if (!made || !(made->path = an_settle_path(path)) || !(made->packer = an_packer_open())) {
        st = an_fail(err, AN_NO_MEMORY, "opening '%s': memory ran out", path);
        goto done;
    }
    made->can_write = mode != AN_STORE_READ;
    an_store_forget(made);
    if (mode != AN_STORE_CREATE && access(made->path, F_OK)) {
        st = errno == EACCES
                 ? an_fail(err, AN_DENIED, "'%s' may not be opened by this user", path)
                 : an_fail(err, AN_NOT_FOUND, "there is no store '%s'; make one with init", path);
        goto done;
    }
    if (made->can_write) {
        st = take_locks(made, collecting, err);
    }
    if (!st && mode == AN_STORE_CREATE) {
        st = make_new(made, list, count, err);
    }
    if (!st) {
        st = open_existing(made, list, count, err);
    }
done:
    if (st) {
        an_store_close(made);
        return st;
    }
    *store = made;
    return AN_OK;
}

enum an_status an_store_open_with(const char *path, enum an_store_mode mode,
                                  const struct an_migration *list, size_t count,
                                  struct an_store **store, struct an_error *err)
{
    return open_store(path, mode, NULL, list, count, store, err);
}

enum an_status an_store_open(const char *path, enum an_store_mode mode, struct an_store **store,
                             struct an_error *err)
{
    size_t count = 0;
    const struct an_migration *list = an_migrations(&count);
    return open_store(path, mode, NULL, list, count, store, err);
}

enum an_status an_store_open_collector(const char *path, enum an_collecting collecting,
                                       struct an_store **store, struct an_error *err)
{
    size_t count = 0;
    const struct an_migration *list = an_migrations(&count);
    return open_store(path, AN_STORE_WRITE, &collecting, list, count, store, err);
}

void an_store_yield(struct an_store *store)
{
    if (!store->in_transaction && store->lock) {
        an_writer_lock_let_go(store->lock);
    }
}

enum an_status an_store_resume(struct an_store *store, int64_t wait_ms, struct an_error *err)
{
    return store->lock ? an_writer_lock_take_back(store->lock, wait_ms, err)
                       : an_fail(err, AN_DENIED, "'%s' was opened for reading only", store->path);
}

bool an_store_failed(const struct an_store *store)
{
    return store->failed;
}

enum an_status an_store_data_version(struct an_store *store, int64_t *version, struct an_error *err)
{
    return an_pragma_int(store, "PRAGMA data_version", version, err);
}

void an_store_close(struct an_store *store)
{
    if (!store) {
        return;
    }
    an_store_rollback(store);
    an_tally_drop(store);
    an_original_drop(store);
    for (size_t k = 0; k < AN_STATEMENTS; k++) {
        (void)sqlite3_finalize(store->statements[k].stmt);
    }
    if (store->db) {
        const bool may_write =
            !store->lock || !an_writer_lock_take_back(store->lock, AN_WRITER_WAIT_MS, NULL);
        if (store->failed || !may_write) { /* the log can be trusted: leave it as it is */
            (void)sqlite3_db_config(store->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
        }
        (void)sqlite3_close(store->db);
    }
    an_writer_lock_drop(store->lock);
    an_writer_lock_drop(store->collector_lock);
    an_packer_close(store->packer);
    an_signer_drop(store->signer);
    an_text_free(&store->coding);
    an_free(store->stream_samples);
    an_free(store->path);
    an_free(store);
}
