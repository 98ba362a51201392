/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Samples that limits were learned from and that are in doubt by now. One thread a store handle. */
#ifndef ANDAMENTO_STORE_DOUBT_H
#define ANDAMENTO_STORE_DOUBT_H

#include "andamento/store/store.h"

enum an_doubt_kind {
    AN_DOUBT_WITHDRAWN = 1, /* a correction withdrew it after the limits were proposed */
    AN_DOUBT_CORRECTED,     /* a correction gave its values another unit after that */
    AN_DOUBT_UNDONE,        /* a correction that held then was undone */
    AN_DOUBT_SUPERSEDED,    /* a file that came after that measured it again */
    AN_DOUBT_SUSPECT,       /* it looked wrong when it was taken, and still does */
    AN_DOUBT_KINDS
};
const char *an_doubt_word(enum an_doubt_kind kind); /* "withdrawn" */

struct an_doubt {
    int64_t sample_id, at_us;
    const char *serial;
    enum an_doubt_kind kind; /* the first of these, where there are several */
    const char *what;        /* "correction 3", a file's name, a code of suspicion */
    const char *who;         /* the correction's author; NULL: nobody in person */
};
/* Of the baseline of limits, whether or not a sample was left out of it; by time, each once.
 * *newest_file_id: the newest file that was there when the limits were proposed; 0: none was. */
AN_CHECKED enum an_status an_store_doubts(struct an_store *store, int64_t limits_id,
                                          struct an_arena *arena, struct an_doubt **doubts,
                                          size_t *count, int64_t *newest_file_id,
                                          struct an_error *err);

#endif
