/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One signal while its story is put together: the points around it, then onset, items, upstream
 * batch, sentence. Each step fills its part of struct an_signal. One thread a story.
 */
#ifndef AN_JUDGE_STORY_H
#define AN_JUDGE_STORY_H

#include "judge/judge.h"
#include "judge/stream_split.h"

#define AN_STORY_CONTEXT 60      /* samples before the first point that are looked at */
#define AN_STORY_CONFIDENCE 0.90 /* of the interval of an onset */

struct an_story {
    struct an_store *store;
    const struct an_line *line;
    struct an_arena *arena;
    struct an_signal *signal;
    struct an_limits *limits; /* that the signal was met under */
    const char *purpose;
    struct an_split split;
    /* points of the phase, from up to AN_STORY_CONTEXT before the first to the last hit */
    struct an_stream_view view;
    size_t from, until;      /* range of view.points that is of the phase */
    size_t first, last;      /* first point of the first window; the last hit */
    size_t onset;            /* first point after the change; = first if none was estimated */
    size_t earliest, latest; /* its interval, indexes into view.points */
    double swing;            /* mean step from point to point, shown unit; for rules without side */
};

/* The plotted panel of the signal at a point. */
const struct an_panel_point *an_story_point(const struct an_story *story, size_t at);
/* Size, onset and its interval. */
AN_CHECKED enum an_status an_story_onset(struct an_story *story, struct an_error *err);
/* Whether the items of a point carry what the signal tells: from the onset on, and those that a rule
 * spoke at before the change was at its likeliest. */
bool an_story_carries(const struct an_story *story, size_t at);
/* Items from the onset on, and where they went. */
AN_CHECKED enum an_status an_story_items(struct an_story *story, struct an_error *err);
/* The change of upstream batch that the onset meets, if any. */
AN_CHECKED enum an_status an_story_ribbon(struct an_story *story, struct an_error *err);
/* All of it in words; NULL when memory is out. */
const char *an_story_sentence(const struct an_story *story, bool with_rules);

#endif
