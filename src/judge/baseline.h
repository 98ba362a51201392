/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A baseline while limits are learned from it. One thread a call. */
#ifndef AN_JUDGE_BASELINE_H
#define AN_JUDGE_BASELINE_H

#include "judge/judge.h"

struct an_baseline {
    struct an_store *store;
    const struct an_stream *stream;
    const struct an_characteristic *characteristic;
    const struct an_zone *zone; /* of times in sentences */
    const struct an_sample *samples;
    struct an_chart_sample *charted; /* as the chart learns them */
    size_t count;
    size_t usable;         /* not left out, with something to learn from */
    double *cross;         /* t2 within samples: sums of products, p * p a sample; else NULL */
    size_t *readings_seen; /* of each of limits->positions; NULL without places */
};

/* Learns limits and stores nothing; *b is left for what comes after. stream: where b finds its own. */
AN_CHECKED enum an_status an_baseline_learn(struct an_store *store, const struct an_line *line,
                                            int64_t stream_id,
                                            const struct an_baseline_choice *choice,
                                            struct an_arena *arena, struct an_stream *stream,
                                            struct an_baseline *b, struct an_limits *limits,
                                            struct an_error *err);

/* Looks at normality, independence and uncertainty, and appends what a person should know before
 * locking to limits->warnings. limits->model is learned already. AN_NO_MEMORY. */
AN_CHECKED enum an_status an_baseline_look(const struct an_baseline *baseline,
                                           struct an_limits *limits, struct an_arena *arena);

/* Samples far from the rest by median and Qn of z (one value a sample, NAN: left out), in a sentence;
 * *warning NULL if there are none. AN_NO_MEMORY. */
AN_CHECKED enum an_status an_baseline_apart(const struct an_baseline *baseline, const double z[],
                                            struct an_arena *arena, const char **warning);
/* Whether neighbouring values (z of the level panel, in order) are independent: fills lag1, its bound and
 * the Ljung-Box test of the limits; *warning says what their memory does to the limits, by what factor, and
 * what to do; NULL if it is not likely there. AN_NO_MEMORY. */
AN_CHECKED enum an_status an_baseline_memory(struct an_limits *limits, const double z[],
                                             size_t count, struct an_arena *arena,
                                             const char **warning);
/* Whether the limits of an ewma suit counts that are so small; NULL if they do. AN_NO_MEMORY. */
AN_CHECKED enum an_status an_baseline_counts(const struct an_limits *limits, struct an_arena *arena,
                                             const char **warning);

#endif
