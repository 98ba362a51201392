/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How many samples a stream brings in a shift, from its own recent history. One thread a call. */
#ifndef AN_JUDGE_PACE_H
#define AN_JUDGE_PACE_H

#include "judge/judge.h"

enum { AN_PACE_DAYS = 14 };

struct an_pace {
    double samples_per_shift;  /* NAN: the stream has no samples */
    double events_per_shift;   /* samples that counted something, likewise */
    double shift_hours;        /* of a planned shift, on average; 24 where the line has none */
    double samples;            /* counted */
    size_t shifts;             /* planned ones (days, where the line has none) they came in */
    bool by_day;               /* the line has no shifts: a day stands for one */
    int64_t from_us, until_us; /* of those shifts */
};
/*
 * Over the planned shifts of the last AN_PACE_DAYS days up to the stream's newest sample, those in which
 * nothing came included, from the shift of its first sample on. The shift of the newest sample may still be
 * running, so it counts only if it is the only one.
 */
AN_CHECKED enum an_status an_pace_of(struct an_store *store, const struct an_line *line,
                                     int64_t stream_id, struct an_pace *pace, struct an_error *err);
/* How long so many samples take at that pace, in hours of planned shifts. */
double an_pace_hours(const struct an_pace *pace, double samples);

#endif
