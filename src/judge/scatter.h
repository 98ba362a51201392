/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Scatter of counts as news: blocks of samples under one revision of limits, the first block from its
 * first sample on. What a check finds is kept as hits of the spread panel; views read those. One thread
 * a call.
 */
#ifndef AN_JUDGE_SCATTER_H
#define AN_JUDGE_SCATTER_H

#include "andamento/stat/scatter_watch.h"
#include "judge/judging.h"

/* Are its counts watched? Those of charts without memory; gaps between events have no scatter. */
bool an_scatter_watched(const struct an_limits *limits);

struct an_scatter_start {
    int64_t begin_us;  /* a block begins with the first sample from here on */
    int64_t limits_id; /* under which `reference` was found; 0: begin with a phase */
    struct an_scatter reference;
    int64_t at_us, sample_id; /* the last sample before, where one was kept */
    int64_t stale_limits_id;  /* of later ends that were kept and are judged again now; 0: none */
    int64_t phase_from_us;    /* when those limits begin */
};
struct an_scatter_mark { /* the end of a block */
    size_t at;
    struct an_scatter reference;
};
struct an_scatter_judged {
    struct an_rule_hit *hits; /* by last */
    double *factor, *z;       /* of each: dispersion factor; chance in sigmas, with its sign */
    size_t hit_count;
    struct an_scatter_mark *marks;
    size_t mark_count;
};

/* Where judging must begin so that blocks from wanted_us on are right; wanted_us if none are watched. */
AN_CHECKED enum an_status an_scatter_find(struct an_store *store, int64_t stream_id,
                                          const struct an_phases *phases, int64_t wanted_us,
                                          struct an_arena *arena, struct an_scatter_start *start,
                                          struct an_error *err);
/* Of samples judged by an_judging_do(), which begin no later than start->begin_us. */
AN_CHECKED enum an_status an_scatter_judge(const struct an_judging *judging,
                                           const struct an_scatter_start *start,
                                           struct an_arena *arena, struct an_scatter_judged *found);
/* Keeps the ends of blocks at samples from index `first` on. */
AN_CHECKED enum an_status an_scatter_keep(struct an_store *store, const struct an_judging *judging,
                                          const struct an_scatter_start *start,
                                          const struct an_scatter_judged *found, size_t first,
                                          struct an_error *err);
/* p of a hit's z. */
double an_scatter_p(double z);

#endif
