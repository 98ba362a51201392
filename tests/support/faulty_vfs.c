/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A file system that fails on request; see faulty_vfs.h. */
#include "faulty_vfs.h"

#include "crash_log.h"

#include <check.h>
#include <sqlite3.h>
#include <string.h>

struct faulty_file {
    sqlite3_file base;
    sqlite3_file *real;
    int logged; /* number in the crash log, or -1 */
};

static struct {
    sqlite3_vfs vfs, *real;
    enum fault fault;
    int k, seen;
    bool for_ever, struck, skip_syncs;
} faulty;

const char *fault_name(enum fault fault)
{
    static const char *const names[FAULTS] = {"write",    "sync",   "full disk",     "open",
                                              "truncate", "delete", "shared memory", "read"};
    return names[fault];
}

static bool strikes(enum fault what)
{
    if (faulty.k == 0 || what != faulty.fault) {
        return false;
    }
    faulty.seen++;
    const bool now = faulty.seen == faulty.k || (faulty.for_ever && faulty.seen > faulty.k);
    faulty.struck = faulty.struck || now;
    return now;
}

static struct faulty_file *mine(sqlite3_file *file)
{
    return (struct faulty_file *)(void *)file;
}
#define REAL(file) (mine(file)->real)

static int f_close(sqlite3_file *file)
{
    const int rc = REAL(file)->pMethods ? REAL(file)->pMethods->xClose(REAL(file)) : SQLITE_OK;
    sqlite3_free(REAL(file));
    return rc;
}
static int f_read(sqlite3_file *file, void *at, int length, sqlite3_int64 offset)
{
    if (strikes(FAULT_READ)) {
        return SQLITE_IOERR_READ;
    }
    return REAL(file)->pMethods->xRead(REAL(file), at, length, offset);
}
static int f_write(sqlite3_file *file, const void *at, int length, sqlite3_int64 offset)
{
    if (strikes(FAULT_WRITE)) {
        return SQLITE_IOERR_WRITE;
    }
    const bool full = strikes(FAULT_FULL);
    const int done = full ? length / 2 : length; /* as a disk does: a part of it */
    const int rc = REAL(file)->pMethods->xWrite(REAL(file), at, done, offset);
    if (rc == SQLITE_OK) {
        crash_log_write(mine(file)->logged, at, done, offset);
    }
    return full ? SQLITE_FULL : rc;
}
static int f_truncate(sqlite3_file *file, sqlite3_int64 size)
{
    if (strikes(FAULT_TRUNCATE)) {
        return SQLITE_IOERR_TRUNCATE;
    }
    crash_log_truncate(mine(file)->logged, size);
    return REAL(file)->pMethods->xTruncate(REAL(file), size);
}
static int f_sync(sqlite3_file *file, int flags)
{
    if (strikes(FAULT_SYNC)) {
        return SQLITE_IOERR_FSYNC;
    }
    crash_log_sync(mine(file)->logged);
    return faulty.skip_syncs ? SQLITE_OK : REAL(file)->pMethods->xSync(REAL(file), flags);
}
static int f_size(sqlite3_file *file, sqlite3_int64 *size)
{
    return REAL(file)->pMethods->xFileSize(REAL(file), size);
}
static int f_lock(sqlite3_file *file, int how)
{
    return REAL(file)->pMethods->xLock(REAL(file), how);
}
static int f_unlock(sqlite3_file *file, int how)
{
    return REAL(file)->pMethods->xUnlock(REAL(file), how);
}
static int f_reserved(sqlite3_file *file, int *out)
{
    return REAL(file)->pMethods->xCheckReservedLock(REAL(file), out);
}
static int f_control(sqlite3_file *file, int what, void *at)
{
    return REAL(file)->pMethods->xFileControl(REAL(file), what, at);
}
static int f_sector(sqlite3_file *file)
{
    return REAL(file)->pMethods->xSectorSize(REAL(file));
}
static int f_device(sqlite3_file *file)
{
    return REAL(file)->pMethods->xDeviceCharacteristics(REAL(file));
}
static int f_shm_map(sqlite3_file *file, int page, int size, int extend, void volatile **at)
{
    if (strikes(FAULT_SHM_MAP)) {
        *at = NULL;
        return SQLITE_IOERR_SHMMAP;
    }
    return REAL(file)->pMethods->xShmMap(REAL(file), page, size, extend, at);
}
static int f_shm_lock(sqlite3_file *file, int offset, int n, int flags)
{
    return REAL(file)->pMethods->xShmLock(REAL(file), offset, n, flags);
}
static void f_shm_barrier(sqlite3_file *file)
{
    REAL(file)->pMethods->xShmBarrier(REAL(file));
}
static int f_shm_unmap(sqlite3_file *file, int remove)
{
    return REAL(file)->pMethods->xShmUnmap(REAL(file), remove);
}

static int f_open(sqlite3_vfs *vfs, sqlite3_filename name, sqlite3_file *file, int flags, int *out)
{
    static const sqlite3_io_methods methods = {
        2,          f_close,       f_read,      f_write,   f_truncate, f_sync,   f_size,
        f_lock,     f_unlock,      f_reserved,  f_control, f_sector,   f_device, f_shm_map,
        f_shm_lock, f_shm_barrier, f_shm_unmap, NULL,      NULL};
    struct faulty_file *made = mine(file);
    (void)vfs;
    made->base.pMethods = NULL;
    if (strikes(FAULT_OPEN)) {
        return SQLITE_CANTOPEN;
    }
    made->real = sqlite3_malloc(faulty.real->szOsFile);
    if (!made->real) {
        return SQLITE_NOMEM;
    }
    memset(made->real, 0, (size_t)faulty.real->szOsFile);
    const bool lasting = name && !(flags & SQLITE_OPEN_DELETEONCLOSE);
    made->logged = lasting ? crash_log_open(name) : -1;
    const int rc = faulty.real->xOpen(faulty.real, name, made->real, flags, out);
    if (rc != SQLITE_OK) {
        sqlite3_free(made->real);
        return rc;
    }
    made->base.pMethods = &methods;
    return SQLITE_OK;
}

static int f_delete(sqlite3_vfs *vfs, const char *name, int sync_folder)
{
    (void)vfs;
    if (strikes(FAULT_DELETE)) {
        return SQLITE_IOERR_DELETE;
    }
    crash_log_delete(name);
    return faulty.real->xDelete(faulty.real, name, faulty.skip_syncs ? 0 : sync_folder);
}

void faulty_install(void)
{
    if (faulty.real) {
        return;
    }
    faulty.real = sqlite3_vfs_find(NULL);
    faulty.vfs = *faulty.real; /* its other calls work on paths and need no wrapping */
    faulty.vfs.zName = "faulty";
    faulty.vfs.szOsFile = (int)sizeof(struct faulty_file);
    faulty.vfs.xOpen = f_open;
    faulty.vfs.xDelete = f_delete;
    faulty.vfs.pNext = NULL;
    ck_assert_int_eq(sqlite3_vfs_register(&faulty.vfs, 1), SQLITE_OK);
}

void faulty_set(enum fault fault, int k, bool for_ever)
{
    faulty.fault = fault;
    faulty.k = k;
    faulty.for_ever = for_ever;
    faulty.seen = 0;
    faulty.struck = false;
}

bool faulty_struck(void)
{
    return faulty.struck;
}

int faulty_seen(void)
{
    return faulty.seen;
}

void faulty_skip_syncs(bool skip)
{
    faulty.skip_syncs = skip;
}
