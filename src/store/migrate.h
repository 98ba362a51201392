/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * From an older format to a newer one: numbered texts of SQL, run in one transaction, after a copy
 * of the store was laid beside it. The list is an argument, so that tests bring lists of their own.
 */
#ifndef AN_STORE_MIGRATE_H
#define AN_STORE_MIGRATE_H

#include "andamento/base/status.h"
#include "andamento/store/store.h"

#include <stddef.h>

#define AN_APPLICATION_ID 0x616e646d /* "andm", as schema/001-records.sql sets it */

struct an_migration {
    int version;     /* of the format it leads to; several texts may lead to the same */
    const char *sql; /* NUL-terminated; the first text of a version sets user_version */
};

/* The program's own list, in order of version. */
const struct an_migration *an_migrations(size_t *count);
int an_migrations_newest(const struct an_migration *list, size_t count);

/* an_store_open() with another list. */
AN_CHECKED enum an_status an_store_open_with(const char *path, enum an_store_mode mode,
                                             const struct an_migration *list, size_t count,
                                             struct an_store **store, struct an_error *err);

/* Runs every text above version `from` in one transaction; all or nothing. */
AN_CHECKED enum an_status an_migrate(struct an_store *store, const struct an_migration *list,
                                     size_t count, int from, struct an_error *err);
/* A checked copy of the store at `target`, which must not exist yet; whole or not there. */
AN_CHECKED enum an_status an_store_copy(struct an_store *store, const char *target,
                                        struct an_error *err);
/* PRAGMA that yields one integer. */
AN_CHECKED enum an_status an_pragma_int(struct an_store *store, const char *sql, int64_t *value,
                                        struct an_error *err);
/* Syncs the folder in which a name was changed. */
AN_CHECKED enum an_status an_sync_folder_of(const char *path, struct an_error *err);

#endif
