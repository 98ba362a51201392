/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The door for memory. The failure hook is the one global of the program: it exists for tests,
 * and costs an atomic add a call.
 */
#include "andamento/base/memory.h"

#include <stdarg.h>
#include <stdatomic.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static atomic_size_t calls;
static atomic_size_t fail_at;
static atomic_bool fail_for_ever;

static bool must_fail(void)
{
    const size_t call = atomic_fetch_add_explicit(&calls, 1, memory_order_relaxed) + 1;
    const size_t k = atomic_load_explicit(&fail_at, memory_order_relaxed);
    if (!k) {
        return false;
    }
    return call == k || (call > k && atomic_load_explicit(&fail_for_ever, memory_order_relaxed));
}

size_t an_alloc_fail_at(size_t k, bool for_ever)
{
    const size_t made = atomic_exchange(&calls, 0);
    atomic_store(&fail_for_ever, for_ever);
    atomic_store(&fail_at, k);
    return made;
}

void *an_alloc(size_t count, size_t size)
{
    if (must_fail()) {
        return NULL;
    }
    return calloc(count ? count : 1, size ? size : 1);
}

void *an_resize(void *block, size_t count, size_t size)
{
    size_t bytes = 0;
    if (must_fail() || __builtin_mul_overflow(count, size, &bytes)) {
        return NULL;
    }
    return realloc(block, bytes ? bytes : 1);
}

void an_free(void *block)
{
    free(block);
}

bool an_grow(void **array, size_t count, size_t *capacity, size_t size)
{
    if (count < *capacity) {
        return true;
    }
    size_t wanted = *capacity ? *capacity : 8;
    while (wanted <= count) {
        if (__builtin_mul_overflow(wanted, (size_t)2, &wanted)) {
            return false;
        }
    }
    void *grown = an_resize(*array, wanted, size);
    if (!grown) {
        return false;
    }
    *array = grown;
    *capacity = wanted;
    return true;
}

/* ---- arena: a list of blocks, the newest first; big requests get a block of their own -------- */

enum { arena_block = 16 * 1024 };

struct block {
    struct block *next;
    size_t used, size;
    max_align_t at[];
};

struct an_arena {
    struct block *blocks;
    size_t used;
};

struct an_arena *an_arena_open(void)
{
    return an_alloc(1, sizeof(struct an_arena));
}

void an_arena_close(struct an_arena *arena)
{
    if (!arena) {
        return;
    }
    for (struct block *block = arena->blocks; block;) {
        struct block *next = block->next;
        an_free(block);
        block = next;
    }
    an_free(arena);
}

static struct block *add_block(struct an_arena *arena, size_t bytes)
{
    size_t whole = 0;
    if (__builtin_add_overflow(bytes, sizeof(struct block), &whole)) {
        return NULL;
    }
    struct block *block = an_alloc(1, whole);
    if (!block) {
        return NULL;
    }
    block->size = bytes;
    if (bytes > arena_block && arena->blocks) { /* keep filling the block at the head */
        block->next = arena->blocks->next;
        arena->blocks->next = block;
    } else {
        block->next = arena->blocks;
        arena->blocks = block;
    }
    return block;
}

void *an_arena_alloc(struct an_arena *arena, size_t count, size_t size)
{
    const size_t align = _Alignof(max_align_t);
    size_t bytes = 0;
    if (__builtin_mul_overflow(count, size, &bytes) || bytes > SIZE_MAX - align) {
        return NULL;
    }
    bytes = (bytes + align - 1) / align * align;
    bytes = bytes ? bytes : align;
    struct block *block = arena->blocks;
    if (!block || block->size - block->used < bytes) {
        block = add_block(arena, bytes > arena_block ? bytes : arena_block);
        if (!block) {
            return NULL;
        }
    }
    void *at = (unsigned char *)block->at + block->used;
    block->used += bytes;
    arena->used += bytes;
    return at;
}

char *an_arena_copy(struct an_arena *arena, const void *at, size_t length)
{
    if (length == SIZE_MAX) {
        return NULL;
    }
    char *copy = an_arena_alloc(arena, length + 1, 1);
    if (copy && length) {
        memcpy(copy, at, length);
    }
    return copy;
}

char *an_arena_printf(struct an_arena *arena, const char *format, ...)
{
    va_list args;
    va_list again;
    va_start(args, format);
    va_copy(again, args);
    const int length = vsnprintf(NULL, 0, format, args);
    char *text = length < 0 ? NULL : an_arena_alloc(arena, (size_t)length + 1, 1);
    if (text) {
        (void)vsnprintf(text, (size_t)length + 1, format, again);
    }
    va_end(again);
    va_end(args);
    return text;
}

size_t an_arena_used(const struct an_arena *arena)
{
    return arena->used;
}
