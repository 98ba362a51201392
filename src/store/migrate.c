/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Migrations and the copy made before one. It must never leave a store between two formats: all
 * texts run in one transaction, and the copy stands under its name only once it is whole.
 */
#include "store/migrate.h"

#include "store/handle.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

extern const char an_schema_001_records[];
extern const char an_schema_001_views[];
extern const char an_schema_002_intake[];
extern const char an_schema_003_retention[];
extern const char an_schema_004_originals[];
extern const char an_schema_005_collector[];
extern const char an_schema_006_judging[];
extern const char an_schema_007_gauge[];
extern const char an_schema_008_genealogy[];
extern const char an_schema_009_proof[];
extern const char an_schema_010_corrections[];

const struct an_migration *an_migrations(size_t *count)
{
    static const struct an_migration list[] = {
        {1, an_schema_001_records},   {1, an_schema_001_views},        {2, an_schema_002_intake},
        {3, an_schema_003_retention}, {4, an_schema_004_originals},    {5, an_schema_005_collector},
        {6, an_schema_006_judging},   {7, an_schema_007_gauge},        {8, an_schema_008_genealogy},
        {9, an_schema_009_proof},     {10, an_schema_010_corrections},
    };
    *count = sizeof list / sizeof *list;
    return list;
}

int an_migrations_newest(const struct an_migration *list, size_t count)
{
    int newest = 0;
    for (size_t k = 0; k < count; k++) {
        newest = list[k].version > newest ? list[k].version : newest;
    }
    return newest;
}

enum an_status an_pragma_int(struct an_store *store, const char *sql, int64_t *value,
                             struct an_error *err)
{
    sqlite3_stmt *stmt = NULL;
    int rc = sqlite3_prepare_v2(store->db, sql, -1, &stmt, NULL);
    if (rc == SQLITE_OK) {
        rc = sqlite3_step(stmt);
        if (rc == SQLITE_ROW) {
            *value = sqlite3_column_int64(stmt, 0);
            rc = SQLITE_OK;
        } else if (rc == SQLITE_DONE) {
            rc = SQLITE_ERROR; /* SQLite passes over a pragma that it does not know */
        }
    }
    const enum an_status st = an_sql_fail(store, rc, sql, err);
    sqlite3_finalize(stmt);
    return st;
}

enum an_status an_migrate(struct an_store *store, const struct an_migration *list, size_t count,
                          int from, struct an_error *err)
{
    const int newest = an_migrations_newest(list, count);
    int64_t reached = -1;
    enum an_status st = an_sql_run(store, "BEGIN IMMEDIATE", "beginning a migration", err);
    if (st) {
        return st;
    }
    for (size_t k = 0; !st && k < count; k++) {
        if (list[k].version > from) {
            st = an_sql_run(store, list[k].sql, "changing the store's format", err);
        }
    }
    if (!st) {
        st = an_pragma_int(store, "PRAGMA user_version", &reached, err);
    }
    if (!st && reached != newest) {
        st = an_fail(err, AN_BUG, "the migrations of '%s' ended at format %lld instead of %d",
                     store->path, (long long)reached, newest);
    }
    if (!st) {
        st = an_sql_run(store, "COMMIT", "committing a migration", err);
    }
    if (st && !sqlite3_get_autocommit(store->db)) {
        (void)sqlite3_exec(store->db, "ROLLBACK", NULL, NULL, NULL);
    }
    return st;
}

/* ---- the copy --------------------------------------------------------------------------------- */

enum an_status an_sync_folder_of(const char *path, struct an_error *err)
{
    const char *slash = strrchr(path, '/');
    const size_t length = slash ? (size_t)(slash - path) : 0;
    char *folder = an_alloc(length + 2, 1);
    if (!folder) {
        return an_fail(err, AN_NO_MEMORY, "syncing the folder of '%s': memory ran out", path);
    }
    memcpy(folder, path, length);
    if (length == 0) {
        folder[0] = slash ? '/' : '.';
    }
    const int fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    enum an_status st = AN_OK;
    if (fd < 0 || (fsync(fd) && errno != EINVAL && errno != EROFS)) {
        st = an_fail(err, AN_IO, "syncing folder '%s': %s", folder, strerror(errno));
    }
    if (fd >= 0) {
        (void)close(fd);
    }
    an_free(folder);
    return st;
}

static int copy_pages(sqlite3 *from, sqlite3 *to)
{
    sqlite3_backup *backup = sqlite3_backup_init(to, "main", from, "main");
    if (!backup) {
        return sqlite3_errcode(to);
    }
    (void)sqlite3_backup_step(backup, -1);
    return sqlite3_backup_finish(backup); /* repeats the failure of the step */
}

/* "ok" is the one row of a sound database. */
static int check_copy(sqlite3 *db)
{
    sqlite3_stmt *stmt = NULL;
    int rc = sqlite3_prepare_v2(db, "PRAGMA integrity_check(1)", -1, &stmt, NULL);
    if (rc == SQLITE_OK) {
        rc = sqlite3_step(stmt);
    }
    if (rc == SQLITE_ROW) {
        const char *text = (const char *)sqlite3_column_text(stmt, 0);
        rc = text && strcmp(text, "ok") == 0 ? SQLITE_OK : SQLITE_CORRUPT;
    }
    sqlite3_finalize(stmt);
    return rc;
}

enum an_status an_store_copy(struct an_store *store, const char *target, struct an_error *err)
{
    static const char doing[] = "copying the store before a migration";
    sqlite3 *to = NULL;
    enum an_status st = AN_OK;
    const size_t size = strlen(target) + sizeof ".making";
    char *making = an_alloc(size, 1);
    if (!making) {
        return an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing);
    }
    (void)snprintf(making, size, "%s.making", target);
    (void)unlink(making); /* left over by one that was killed; the lock is ours */
    int rc = sqlite3_open_v2(making, &to, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, NULL);
    if (rc == SQLITE_OK) {
        rc = sqlite3_exec(to, "PRAGMA synchronous = FULL", NULL, NULL, NULL);
    }
    if (rc == SQLITE_OK) {
        rc = copy_pages(store->db, to);
    }
    if (rc == SQLITE_OK) {
        rc = check_copy(to);
    }
    const int closed = sqlite3_close(to);
    if (rc == SQLITE_OK) {
        rc = closed;
    }
    if (rc != SQLITE_OK) {
        st = an_sql_fail(store, rc, doing, err);
    } else if (link(making, target)) { /* unlike rename, never replaces */
        st = an_fail(err, AN_CANNOT_CREATE, "%s: could not make '%s': %s", doing, target,
                     strerror(errno));
    }
    (void)unlink(making);
    if (!st) {
        st = an_sync_folder_of(target, err);
    }
    an_free(making);
    return st;
}
