/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A file system that fails on request, and one that forgets what was not synced when the power goes.
 *
 * Two ways to use it. faulty_set: the k-th call of a kind fails, once or from then on. record: every
 * change of the store's files is kept in memory; crash_at then puts the files as they may be found
 * after the machine stopped at that change, and the store is opened again from those.
 * One thread; temporary files and shared memory are left out of the recording.
 */
#ifndef AN_TESTS_FAULTY_VFS_H
#define AN_TESTS_FAULTY_VFS_H

#include <stdbool.h>
#include <stddef.h>

enum fault {
    FAULT_WRITE,
    FAULT_SYNC,
    FAULT_FULL, /* a write that finds the disk full, after half of it */
    FAULT_OPEN,
    FAULT_TRUNCATE,
    FAULT_DELETE,
    FAULT_SHM_MAP,
    FAULT_READ,
    FAULTS
};
const char *fault_name(enum fault fault);

void faulty_install(void); /* from now on the default of SQLite */
/* The k-th call of that kind from now on fails; with for_ever so do all after it; 0: none. */
void faulty_set(enum fault fault, int k, bool for_ever);
bool faulty_struck(void); /* did it fail since it was set */
int faulty_seen(void);    /* calls of that kind since it was set */
/* Syncs are counted and may fail, but the disk is not waited for: for sweeps of thousands. */
void faulty_skip_syncs(bool skip);

/* ---- power failures ----------------------------------------------------------------------------- */
enum loss {
    LOSS_NONE,    /* every write arrived: what a killed process leaves */
    LOSS_ALL,     /* nothing that was not synced arrived */
    LOSS_TORN,    /* everything but the second half of the last write */
    LOSS_AT_WILL, /* of each write not synced, each 512 bytes may have arrived or not */
    LOSSES
};
const char *loss_name(enum loss loss);

void record_start(void);
void record_mark(int value); /* "so many files were reported as taken" */
void record_stop(void);
size_t record_length(void); /* changes recorded */
/* Puts the files of the recording as a stop right after change number `at` leaves them (0: before
 * the first), and removes their shared memory. Returns the value of the last mark before it; the
 * seed is for LOSS_AT_WILL. Whether change `at` was a write is told, if asked. */
int crash_at(size_t at, enum loss loss, unsigned seed, bool *is_write);
void record_free(void);

#endif
