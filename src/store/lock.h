/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Two locks beside a store. PATH.lock is the writer's: held while the store is written, let go and
 * taken back by a collector that follows. PATH.collector is held by a collector for its life, and
 * says whether it lets others write in between. The kernel drops both when the process ends,
 * however it ends. One thread a lock.
 */
#ifndef AN_STORE_LOCK_H
#define AN_STORE_LOCK_H

#include "andamento/base/status.h"

#include <stdbool.h>
#include <stdint.h>

struct an_writer_lock;
/* path: of the store. Waits at most wait_ms for its turn. AN_BUSY (text names process and host of
 * the holder), AN_DENIED, AN_NOT_FOUND (no such folder), AN_CANNOT_CREATE, AN_NO_MEMORY. */
AN_CHECKED enum an_status an_writer_lock_take(const char *path, int64_t wait_ms,
                                              struct an_writer_lock **lock, struct an_error *err);
void an_writer_lock_drop(struct an_writer_lock *lock); /* NULL is fine */
void an_writer_lock_let_go(struct an_writer_lock *lock);
AN_CHECKED enum an_status an_writer_lock_take_back(struct an_writer_lock *lock, int64_t wait_ms,
                                                   struct an_error *err);
bool an_writer_lock_is_held(const struct an_writer_lock *lock); /* NULL: false */

/* Never waits. yields: it will let the writer's lock go between files. */
AN_CHECKED enum an_status an_collector_lock_take(const char *path, bool yields,
                                                 struct an_writer_lock **lock,
                                                 struct an_error *err);
bool an_collector_yields(const char *path); /* is there such a collector now? */

/* The path with symbolic links followed, so that one store has one lock however it is named; it
 * need not exist. NULL when memory is out; to be freed with an_free(). */
char *an_settle_path(const char *path);

#endif
