/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The mistakes of a description, gathered while it is read and told in the order of the file.
 * Adding cannot fail for the caller: memory running out is remembered in `failed`. One thread.
 */
#ifndef AN_LINE_MISTAKES_H
#define AN_LINE_MISTAKES_H

#include "andamento/base/memory.h"
#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct an_mistake {
    uint64_t line, column; /* from 1 */
    const char *text;      /* lives in the arena */
    size_t order;          /* of finding */
};

struct an_mistakes {        /* starts as all zeroes but for the arena */
    struct an_arena *arena; /* the caller's */
    struct an_mistake *at;
    size_t count, capacity;
    bool more;   /* there were more than are kept */
    bool failed; /* memory ran out somewhere in the reading */
};

void an_mistakes_add(struct an_mistakes *mistakes, uint64_t line, uint64_t column,
                     const char *format, ...) AN_PRINTF(4, 5);
/* In the order of the file; what was found twice by way of an alias is kept once. */
void an_mistakes_sort(struct an_mistakes *mistakes);
void an_mistakes_free(struct an_mistakes *mistakes); /* the list, not the arena */

#endif
