/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Consecutive samples of one stream, judged: limits looked up, points computed, rules applied.
 * The view and the check both stand on this, so that a page cannot disagree with a signal.
 * One thread a call.
 */
#ifndef AN_JUDGE_JUDGING_H
#define AN_JUDGE_JUDGING_H

#include "judge/judge.h"
#include "judge/phases.h"
#include "judge/running.h"

struct an_judging {
    /* given */
    const struct an_stream *stream;
    const struct an_characteristic *characteristic;
    const struct an_sample *samples; /* consecutive, by time */
    size_t count;
    const struct an_phases *phases;
    struct an_running_start start; /* of charts with memory; all zero: samples[0] begins a phase */
    /* found */
    size_t *phase; /* of each sample; AN_NONE before any */
    struct an_chart_sample *charted;
    struct an_chart_point *points; /* without limits: value only, the rest NAN */
    bool *excluded, *gap_before;
    /* the number of each among the points that rules look at: a chart of gaps between events has
     * one at each event, and samples without one carry the number of the last */
    size_t *turn;
    int *off_scale; /* of each sample: 0, or the side on which a reading lies that has no place on
                       the scale of its limits; such a sample has no point, and is a hit */
    const bool *dropped; /* not judged: the readings its fixed places want are kept no longer;
                            NULL: none is */
    struct an_rule_hit *hits[2]; /* by last, then rule */
    size_t hit_count[2];
    /* where charts with memory stood after some of the samples, the last among them */
    struct an_running_mark *marks;
    size_t mark_count;
};

/* Is its covariance that of readings inside samples? */
bool an_is_inside(const struct an_limits *limits);
/* What a chart needs of a sample, its fixed places not regarded. A count without opportunities is
 * one of one opportunity to a c chart. */
struct an_chart_sample an_chart_sample_of(const struct an_sample *sample, enum an_family family);
AN_CHECKED enum an_status an_judging_do(struct an_store *store, struct an_judging *judging,
                                        struct an_arena *arena, struct an_error *err);

/* an_judge_view() by one who has the phases of the stream already. */
AN_CHECKED enum an_status an_judge_view_under(struct an_store *store, const struct an_line *line,
                                              const struct an_stream *stream,
                                              const struct an_phases *phases, int64_t from_us,
                                              int64_t until_us, size_t context,
                                              struct an_arena *arena, struct an_stream_view *view,
                                              struct an_error *err);

/* The rules in force on a panel. Level: those chosen; beyond_limit alone where points are not
 * independent (weighted, t2, group). Gaps between events are: all rules, over the events. Spread: beyond_limit alone; none on moving
 * ranges of single values, which tell each jump a second time and speak by luck at 0.9 % a point
 * (P(|Z| > 3.686 / sqrt 2)), more often than all rules of the level panel together. */
struct an_rule_choice an_panel_rules(const struct an_limits *limits, int panel);

#endif
