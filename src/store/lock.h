/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The writer's lock: PATH.lock beside the store, locked for as long as the writer lives. The
 * kernel drops it when the process ends, however it ends. One thread a lock.
 */
#ifndef AN_STORE_LOCK_H
#define AN_STORE_LOCK_H

#include "andamento/base/status.h"

struct an_writer_lock;
/* path: of the store. AN_BUSY (text names process and host of the holder), AN_DENIED, AN_NOT_FOUND
 * (no such folder), AN_CANNOT_CREATE, AN_NO_MEMORY. */
AN_CHECKED enum an_status an_writer_lock_take(const char *path, struct an_writer_lock **lock,
                                              struct an_error *err);
void an_writer_lock_drop(struct an_writer_lock *lock); /* NULL is fine */

/* The path with symbolic links followed, so that one store has one lock however it is named; it
 * need not exist. NULL when memory is out; to be freed with an_free(). */
char *an_settle_path(const char *path);

#endif
