/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The variance ladder of a stream: site within item within upstream batch (or shift), the levels
 * taken from the data. Any thread; results live in the caller's arena.
 */
#ifndef AN_JUDGE_COMPONENTS_H
#define AN_JUDGE_COMPONENTS_H

#include "andamento/stat/components.h"
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
    const char *notes[6];
    size_t note_count;
};

/* The estimate to be used: REML where there is one. */
const struct an_components *an_ladder_best(const struct an_ladder *ladder);

AN_CHECKED enum an_status an_ladder_of(struct an_store *store, const struct an_line *line,
                                       const struct an_stream *stream, int64_t from_us,
                                       int64_t until_us, struct an_arena *arena,
                                       struct an_ladder *ladder, struct an_error *err);

#endif
