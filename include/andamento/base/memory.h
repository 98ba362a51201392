/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The one door for memory: count and size apart, overflow checked, and an arena for what dies
 * together. Tests make the k-th allocation fail through an_alloc_fail_at().
 * Threads: the allocation functions are safe from any thread; an arena belongs to one.
 */
#ifndef ANDAMENTO_BASE_MEMORY_H
#define ANDAMENTO_BASE_MEMORY_H

#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>

/* count * size bytes, zeroed; NULL if that overflows or memory is out. Ends with an_free(). */
void *an_alloc(size_t count, size_t size);
/* Grows or shrinks; new bytes are not zeroed; on NULL the old block stays valid. */
void *an_resize(void *block, size_t count, size_t size);
void an_free(void *block); /* NULL is fine */

/* Makes room for one more element in a growing array: *capacity doubles when count reaches it.
 * On false (out of memory) the array is untouched. */
bool an_grow(void **array, size_t count, size_t *capacity, size_t size);

/* Test hook: the k-th allocation from now on fails (k = 1, 2, ...); 0 switches it off. With
 * for_ever, so do all after it. Returns how many allocations were made since the last call. */
size_t an_alloc_fail_at(size_t k, bool for_ever);

struct an_arena;                             /* blocks freed together, by an_arena_close() */
struct an_arena *an_arena_open(void);        /* NULL when memory is out */
void an_arena_close(struct an_arena *arena); /* NULL is fine */
/* Zeroed, aligned for any type; NULL when memory is out. Lives as long as the arena. */
void *an_arena_alloc(struct an_arena *arena, size_t count, size_t size);
/* A NUL-terminated copy of length bytes. */
char *an_arena_copy(struct an_arena *arena, const void *at, size_t length);
char *an_arena_printf(struct an_arena *arena, const char *format, ...) AN_PRINTF(2, 3);
/* Bytes handed out so far. */
size_t an_arena_used(const struct an_arena *arena);

#endif
