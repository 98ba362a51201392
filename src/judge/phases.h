/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which locked limits judge which time. One thread a call. */
#ifndef AN_JUDGE_PHASES_H
#define AN_JUDGE_PHASES_H

#include "judge/judge.h"

struct an_phases { /* revisions that judge some time, by time; they do not overlap */
    struct an_limits *limits;
    int64_t *from_us, *until_us; /* half open */
    size_t count;
    int64_t newest_lock_id; /* limits_id of the newest lock; 0: nothing is locked */
};

/* A later lock wins from its in-force time on, whatever was in force there before. */
AN_CHECKED enum an_status an_phases_of(struct an_store *store, int64_t stream_id,
                                       struct an_arena *arena, struct an_phases *phases,
                                       struct an_error *err);
/* Index of the revision that judges this time; AN_NONE before any. */
size_t an_phase_at(const struct an_phases *phases, int64_t at_us);
/* Earliest in-force time of locks newer than `limits_id`; AN_NO_INSTANT if there is none. */
AN_CHECKED enum an_status an_phases_newer(struct an_store *store, int64_t stream_id,
                                          int64_t limits_id, struct an_arena *arena,
                                          int64_t *from_us, struct an_error *err);

#endif
