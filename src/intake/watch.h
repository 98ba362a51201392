/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A file as a whole against what its station did so far: header, machine, running number, clock,
 * lateness, units, stuck values. Gathered while its visits are put, judged at its end. One thread.
 */
#ifndef AN_INTAKE_WATCH_H
#define AN_INTAKE_WATCH_H

#include "andamento/store/intake.h"
#include "intake/hold.h"
#include "intake/notes.h"
#include "intake/subgroup.h"

enum {
    AN_RECENT_MEANS = 31,   /* of a stream, from earlier files */
    AN_WATCHED_MEANS = 32,  /* of a stream, in this file: the first ones */
    AN_STUCK_READINGS = 10, /* one value so often in a row looks stuck */
    AN_STUCK_EXTREMES = 5   /* so many samples in a row with one and the same greatest or least */
};

/* The newest means of streams, kept from file to file by the collector. */
struct an_recent {
    struct an_recent_stream {
        double means[AN_RECENT_MEANS];
        size_t count, next;
        bool is_loaded;
    } * at; /* by stream_id */
    size_t capacity;
};
void an_recent_close(struct an_recent *recent); /* all zeroes is fine */

struct an_run { /* samples in a row with one value */
    double value;
    int64_t weight;
    int64_t samples[AN_STUCK_READINGS]; /* not yet told */
    size_t count;
};

struct an_watched_stream {
    int64_t stream_id;
    size_t quantity;
    int64_t samples, readings;
    uint64_t first_line;
    double means[AN_WATCHED_MEANS];
    struct an_run flat, top, bottom; /* nothing but that value; the same greatest; the same least */
    double seen[3];                  /* distinct means */
    size_t distinct;
    int64_t pinned; /* samples told */
    double pinned_value;
};

struct an_pinned {
    int64_t sample_id, stream_id;
};

struct an_watch {
    struct an_watched_stream *streams; /* in order of arrival */
    size_t stream_count, stream_capacity;
    uint32_t *by_id; /* stream_id to place + 1 */
    size_t id_capacity;
    struct an_pinned *pinned; /* samples in doubt */
    size_t pinned_count, pinned_capacity;
    int64_t earliest_us, visits_put; /* event time of the visits put, and how many */
    struct an_words tools;           /* of the visits put, in the arena of the look-ups */
};

void an_watch_close(struct an_watch *watch); /* all zeroes is fine */
/* A sample that was just put. */
AN_CHECKED enum an_status an_watch_sample(struct an_watch *watch, const struct an_sample *sample,
                                          size_t quantity, struct an_error *err);

struct an_reading;
/* After the look-ups: false, with reading->whole set, if most items were here before they were made. */
bool an_watch_items(struct an_reading *reading);
/* Judges the file once its visits were put: notes, doubts about samples, or reading->whole. */
AN_CHECKED enum an_status an_watch_file(struct an_reading *reading, struct an_error *err);
/* What is kept of the file besides its rows; also of one that is held whole. */
AN_CHECKED enum an_status an_watch_keep(struct an_reading *reading, int64_t file_id,
                                        const struct an_sha256 *hash, struct an_error *err);
/* The file was committed: its means are the newest now. */
AN_CHECKED enum an_status an_watch_learn(const struct an_watch *watch, struct an_recent *recent,
                                         struct an_error *err);

/* unit_guess.c: the factor, or offset, by which readings seem to be in another unit. */
struct an_unit_guess {
    const char *what;   /* "1000 times, as nm for um or mm for m"; NULL: no guess */
    double now, before; /* medians */
};
/* now: the means of the file's samples, made of so many readings. */
struct an_unit_guess an_unit_guess(const double *now, size_t count, int64_t readings,
                                   const double *before, size_t before_count, const char *unit);

#endif
