/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The variance ladder of a stream: site within item within upstream batch (or shift), the levels
 * taken from the data. Any thread; results live in the caller's arena.
 */
#ifndef AN_JUDGE_COMPONENTS_H
#define AN_JUDGE_COMPONENTS_H

#include "andamento/stat/components.h"
#include "andamento/stat/tests.h"
#include "judge/judge.h"

#define AN_LADDER_CONFIDENCE 0.95

struct an_ladder {
    struct an_stream stream;
    const struct an_characteristic *characteristic;
    const char *name[AN_COMPONENTS_MOST]; /* of the levels, outermost first; the last: the rest */
    struct an_components squares, reml;
    bool has_reml;
    double
        without[AN_COMPONENTS_MOST]; /* the sd if this component vanished, by the best estimate */
    const char *why_not;             /* reason in place of numbers, or NULL */
    const char *notes[8];
    size_t note_count;
    bool failed; /* while it is made: memory was out for a note */
    /* what was estimated from: places taken off; levels as in `name` */
    const double *value;
    const size_t *group[AN_LEVELS_MOST];
    size_t n, samples;
    int64_t first_us, last_us; /* of the samples; AN_NO_INSTANT: there are none */
};

/* The estimate to be used: REML where there is one. */
const struct an_components *an_ladder_best(const struct an_ladder *ladder);

AN_CHECKED enum an_status an_ladder_of(struct an_store *store, const struct an_line *line,
                                       const struct an_stream *stream, int64_t from_us,
                                       int64_t until_us, struct an_arena *arena,
                                       struct an_ladder *ladder, struct an_error *err);

/* ---- what the eye and the tests see of each level (components_look.c) ------------------------------ */
struct an_ladder_rung {
    double
        *value; /* of a group: its mean less the mean of the group above it (on top: of all); of a
                      reading: less the mean of its group. In order of the readings */
    size_t count;
    struct an_normality normality; /* of value; NAN: not tested */
    struct an_equal_spread spread; /* of value from group above to group above; NAN: not tested */
    double lag1, lag1_bound;       /* top level: autocorrelation in order, and 2 / sqrt(count) */
};
struct an_ladder_look {
    struct an_ladder_rung at[AN_COMPONENTS_MOST];
    size_t count;       /* of rungs: levels + 1 */
    const char *doubts; /* which assumptions the tests speak against; "" if none */
    size_t doubt_count;
};
/* Of a ladder with numbers (why_not NULL). AN_NO_MEMORY. */
AN_CHECKED enum an_status an_ladder_look_at(const struct an_ladder *ladder, struct an_arena *arena,
                                            struct an_ladder_look *look, struct an_error *err);

#endif
