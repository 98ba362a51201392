/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The split part of a stream's name, taken apart. Any thread; texts live in the caller's arena. */
#ifndef AN_JUDGE_STREAM_SPLIT_H
#define AN_JUDGE_STREAM_SPLIT_H

#include "andamento/base/memory.h"
#include "andamento/base/status.h"
#include "line/line.h"

#include <stddef.h>

struct an_split_part {
    const char *column, *value;
};

struct an_split {
    struct an_split_part *parts; /* without the purpose */
    size_t count;
    const char *purpose; /* NULL: production */
};

/* A split text ("colour=R,head=H2,purpose=reference"). characteristic tells the split columns, so
 * that values may hold commas; without it (NULL) commas part. AN_NO_MEMORY. */
AN_CHECKED enum an_status an_split_of(const char *text,
                                      const struct an_characteristic *characteristic,
                                      struct an_arena *arena, struct an_split *split);
/* The value of a column, or NULL. */
const char *an_split_value(const struct an_split *split, const char *column);

#endif
