/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Charts with memory over checks and views: where they stood before the first point wanted.
 * One thread a call.
 */
#ifndef AN_JUDGE_RUNNING_H
#define AN_JUDGE_RUNNING_H

#include "andamento/stat/rules.h"
#include "andamento/stat/time_weighted.h"
#include "andamento/store/store.h"
#include "judge/phases.h"

struct an_running_start {
    int64_t begin_us;  /* samples from here on must be judged; earlier ones are not taken in */
    int64_t limits_id; /* under which `state` was gathered; 0: begin with a phase */
    struct an_weighted_state state;
};
/* A state is marked after each so many samples, so that a late one does not cost a whole phase. */
#define AN_RUNNING_MARKS 512
/* Events before what is wanted that are judged again on a chart of gaps: those that a rule, and the
 * episode of a hit, can reach; one more, which begins the first gap. */
#define AN_RUNNING_EVENTS (2 * AN_RULE_MEMORY + 1)
struct an_running_mark {
    size_t at; /* index of the sample after which it stood so */
    struct an_weighted_state state;
};

/*
 * What must be judged so that points from wanted_us on are right. begin_us is wanted_us for charts
 * without memory. Kept states from unseen_us on are not trusted: a sample that no check has seen
 * lies there (INT64_MAX: none).
 */
AN_CHECKED enum an_status an_running_find(struct an_store *store, int64_t stream_id,
                                          const struct an_phases *phases, int64_t wanted_us,
                                          int64_t unseen_us, struct an_arena *arena,
                                          struct an_running_start *start, struct an_error *err);
/* Event time of the earliest sample that came after the last check; INT64_MAX: none. */
AN_CHECKED enum an_status an_running_unseen(struct an_store *store, int64_t stream_id,
                                            int64_t *unseen_us, struct an_error *err);
struct an_judging;
/* Keeps the marks at samples from index `first` on. */
AN_CHECKED enum an_status an_running_keep(struct an_store *store, const struct an_judging *judging,
                                          size_t first, struct an_error *err);

#endif
