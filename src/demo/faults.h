/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The seeded faults: what each does to which tile and wafer, and what may fairly be expected of a
 * reader who knows only the files. One thread a plan.
 */
#ifndef AN_DEMO_FAULTS_H
#define AN_DEMO_FAULTS_H

#include "demo/demo_plan.h"

#define AN_DEMO_MOST_FAULTS 8

/* A stream on which a fault must be signalled. */
struct an_demo_fault_stream {
    char name[72];             /* station.characteristic@split=value,... */
    const char *panel;         /* "level" or "spread" */
    const char *rule;          /* that the fair delay is about; NULL: beyond_limit or a run */
    const char *unit;          /* of size */
    double size;               /* of a ramp: at its end */
    double sigmas;             /* of the plotted statistic, signed like size */
    double size_per_sample;    /* of a ramp; 0 for a step */
    int64_t onset_us;          /* when the first item that carries it passed this station */
    const char *first_serial;  /* that item */
    size_t samples;            /* on this stream while the fault lasts */
    size_t fair_delay_samples; /* signalled by this sample with a chance of 0.99 */
};

struct an_demo_fault {
    const char *id, *kind, *story;
    int64_t from_us, until_us; /* of what can be seen; half open */
    struct an_demo_fault_stream streams[8];
    size_t stream_count;
    const char *may_also[6]; /* streams that may signal too, as a consequence */
    size_t may_also_count;
    int *tiles; /* indexes of tiles that carry it, in order; in the plan's arena */
    size_t tile_count;
    const char *carried_as; /* what carrying means here */
};

/* Writes the effects into the plan and describes them; none on a quiet line, and none that would
 * begin after the plan's end or hardly last. AN_NO_MEMORY. */
AN_CHECKED enum an_status an_demo_faults_seed(struct an_demo_plan *plan,
                                              struct an_demo_fault faults[AN_DEMO_MOST_FAULTS],
                                              size_t *count, struct an_error *err);
/* What the luminance gauge multiplies readings by, reference tile included. */
double an_demo_gauge_factor(const struct an_demo_plan *plan, int64_t at_us);

#endif
