/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A stream by its number. One thread a call. */
#ifndef AN_JUDGE_STREAM_BY_ID_H
#define AN_JUDGE_STREAM_BY_ID_H

#include "andamento/base/memory.h"
#include "andamento/base/status.h"
#include "andamento/store/store.h"

/* AN_NOT_FOUND if the store has none of that number. */
AN_CHECKED enum an_status an_stream_by_id(struct an_store *store, int64_t stream_id,
                                          struct an_arena *arena, struct an_stream *stream,
                                          struct an_error *err);

#endif
