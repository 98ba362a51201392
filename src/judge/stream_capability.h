/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One stream's capability in the making; see stream_capability.c. */
#ifndef AN_JUDGE_STREAM_CAPABILITY_H
#define AN_JUDGE_STREAM_CAPABILITY_H

#include "judge/judge.h"

#define AN_STUDY_CONFIDENCE 0.95

struct an_study {
    struct an_store *store;
    const struct an_line *line;
    struct an_arena *arena;
    struct an_stream_capability *out;
    const struct an_capability_wish *wish; /* never NULL */
    struct an_stream_view view;
    struct an_readings readings;
    int64_t from_us, until_us;
    size_t note_room;
};

/* text NULL: AN_NO_MEMORY */
AN_CHECKED enum an_status an_study_note(struct an_study *study, const char *text);
/* Sets stable and signalling; *why: what forbids to call it stable, or NULL. */
AN_CHECKED enum an_status an_study_stable(struct an_study *study, const char **why);

/* stream_capability_shape.c: the declared or wished shape, in place of the normal indices */
AN_CHECKED enum an_status an_study_shape(struct an_study *study, const char *unstable);
/* the same file: tolerance limits, where wished */
AN_CHECKED enum an_status an_study_tolerance(struct an_study *study);
/* the same file: on which scale readings that are not normal would be; scratch: one double each */
AN_CHECKED enum an_status an_study_scale(struct an_study *study, double scratch[]);
/* stream_capability_position.c: both sources of a radial characteristic */
AN_CHECKED enum an_status an_study_position(struct an_study *study, struct an_error *err);
/* stream_capability_counted.c */
AN_CHECKED enum an_status an_study_counted(struct an_study *study, struct an_error *err);

#endif
