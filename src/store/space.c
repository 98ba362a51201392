/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How much room the store takes, and giving back what it does not use. Must never start to rewrite
 * the file on a disk that could not hold the copy and the log of it.
 */
#include "store/migrate.h"
#include "store/retention.h"

#include <errno.h>
#include <string.h>
#include <sys/statvfs.h>

enum { COPIES = 2, MARGIN_BYTES = 16 << 20 }; /* the copy SQLite makes, and the log of it */

enum an_status an_store_space(struct an_store *store, struct an_store_space *space,
                              struct an_error *err)
{
    int64_t pages = 0;
    int64_t free_pages = 0;
    int64_t page_bytes = 0;
    enum an_status st = an_pragma_int(store, "PRAGMA page_count", &pages, err);
    st = st ? st : an_pragma_int(store, "PRAGMA freelist_count", &free_pages, err);
    st = st ? st : an_pragma_int(store, "PRAGMA page_size", &page_bytes, err);
    *space = (struct an_store_space){pages * page_bytes, free_pages * page_bytes};
    return st;
}

static enum an_status look_at_disk(struct an_store *store, struct an_error *err)
{
    struct an_store_space space;
    struct statvfs disk;
    enum an_status st = an_store_space(store, &space, err);
    if (st) {
        return st;
    }
    const int64_t want = COPIES * (space.bytes - space.free_bytes) + MARGIN_BYTES;
    if (statvfs(store->path, &disk)) {
        return an_fail(err, AN_IO, "asking for the room beside '%s': %s", store->path,
                       strerror(errno));
    }
    const double have = (double)disk.f_bavail * (double)disk.f_frsize;
    if (have < (double)want) {
        return an_fail(err, AN_IO,
                       "shrinking '%s' can take %lld MB beside it and the disk has %.0f MB: make "
                       "room first; nothing was done",
                       store->path, (long long)(want / 1000000 + 1), have / 1e6);
    }
    return AN_OK;
}

enum an_status an_store_shrink(struct an_store *store, struct an_error *err)
{
    static const char doing[] = "shrinking the store";
    if (store->in_transaction || !store->can_write) {
        return an_fail(err, AN_BUG, "%s: not open for writing, or in a transaction", doing);
    }
    enum an_status st = look_at_disk(store, err);
    if (!st) {
        an_store_forget(store);
        const int attached = sqlite3_limit(store->db, SQLITE_LIMIT_ATTACHED, 1); /* the copy */
        st = an_sql_run(store, "VACUUM", doing, err);
        (void)sqlite3_limit(store->db, SQLITE_LIMIT_ATTACHED, attached);
    }
    if (!st) {
        /* a reader may hold the log up: then the next writer folds it in */
        const int rc =
            sqlite3_wal_checkpoint_v2(store->db, NULL, SQLITE_CHECKPOINT_TRUNCATE, NULL, NULL);
        if (rc != SQLITE_OK && (rc & 0xff) != SQLITE_BUSY && (rc & 0xff) != SQLITE_LOCKED) {
            st = an_sql_fail(store, rc, doing, err);
        }
    }
    return st;
}
