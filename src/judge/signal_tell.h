/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One signal told, with what all signals of its stream share read once. One thread a stream. */
#ifndef AN_JUDGE_SIGNAL_TELL_H
#define AN_JUDGE_SIGNAL_TELL_H

#include "judge/judge.h"
#include "judge/phases.h"
#include "judge/stream_split.h"

struct an_stream_facts { /* what the signals of one stream share; in an arena of its own */
    struct an_stream stream;
    const struct an_station *station;
    const struct an_characteristic *characteristic;
    const char *purpose;
    const char *unit;
    bool resolved;
    struct an_split split;
    struct an_limits *limits;
    size_t limits_count;
    struct an_phases phases;
    int64_t memory_us; /* time of the oldest sample within the rules' memory of the newest */
};

/* stream's texts must outlive the facts. */
AN_CHECKED enum an_status an_stream_facts_of(struct an_store *store, const struct an_line *line,
                                             const struct an_stream *stream, struct an_arena *arena,
                                             struct an_stream_facts *facts, struct an_error *err);
/* Fills `signal`, whose record is given. All that was looked at lies in the arena, too. */
AN_CHECKED enum an_status an_signal_tell(struct an_store *store, const struct an_line *line,
                                         struct an_stream_facts *facts, struct an_arena *arena,
                                         struct an_signal *signal, struct an_error *err);

#endif
