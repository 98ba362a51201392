/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A whole collect that can be run again and again from the same store: opened, several files taken,
 * closed. What the store then holds is told as text, and checked as `verify` does.
 */
#ifndef AN_TESTS_INTAKE_SUPPORT_FAULTS_H
#define AN_TESTS_INTAKE_SUPPORT_FAULTS_H

#include "support.h"

/* A small run: files taken, held whole, with held rows, again, in another order, with an hour that
 * comes twice, with bounds so low that visits spill and columns take several blocks. A large one:
 * files of thousands of rows, a write-ahead log that is moved into the store on the way. */
enum sweep_size { SWEEP_SMALL, SWEEP_LARGE };
void sweep_open(enum sweep_size size);
void sweep_close(void);
size_t sweep_files(void);

/* The store as it was before the first file. */
void sweep_reset(void);
/* One whole run, to the first failure, which is handed on with *taken: files reported by then, each
 * told to record_mark() too. Everything is closed. As the program takes files: read by threads
 * (bench.options.threads), several in one transaction; with `each`, one by one, and one that failed
 * for lack of memory once more at once, by the same collector. */
enum an_status sweep_run(size_t *taken, bool each, struct an_error *err);
/* The next start: all files again, undisturbed. Fails the test unless the store is sound, held
 * `taken` files or more before it, and now holds what an undisturbed run leaves. */
void sweep_restart(size_t taken, const char *when);

/* Of so many moments every first, or every so many that about `most` are tried; AN_SWEEP=N tries N. */
size_t sweep_step(size_t count, size_t most);

#endif
