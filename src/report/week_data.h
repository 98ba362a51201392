/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the week report says beyond what every report on a period says (period_data.h): each stream
 * against the week before, yields, rates, drifts, what was decided, what is missing. Plain structs
 * in the arena of the data; NAN where a number cannot be given, with the reason beside it.
 */
#ifndef AN_REPORT_WEEK_DATA_H
#define AN_REPORT_WEEK_DATA_H

#include "report/period_data.h"

/* A stream in one week. Indices, rates and yields carry bounds at 95 %. */
struct an_week_index {
    int64_t samples;
    size_t signalling; /* samples with a hit */
    bool judged;       /* every sample had limits in force and rules */
    bool stable;       /* judged, and no more signals than luck explains */
    bool counted;
    struct an_index overall; /* Ppk; counted: rate, as shown */
    struct an_index within;  /* Cpk; NAN unless stable */
    double outside;          /* expected outside the spec, per million; counted: its rate */
    double headroom; /* what streams are ranked by: Ppk; counted: limit over rate; NAN none */
    const char *why; /* why there is no index, or NULL */
};
enum an_turn { AN_TURN_NONE, AN_TURN_BETTER, AN_TURN_WORSE };

/* Which way it went, if by more than three standard errors (told by their bounds). */
enum an_turn an_turn_of(const struct an_index *now, const struct an_index *before,
                        bool more_is_better);

struct an_week_stream {
    size_t sheet; /* index into the sheets of the data */
    struct an_week_index now, before;
    enum an_turn stability; /* worse: was stable, is not */
    enum an_turn index;     /* beyond noise */
    /* the level: this week's mean minus last week's, as shown */
    double level_now, level_before;
    double moved, moved_z; /* NAN if it cannot be told */
};

struct an_week_yield {                                  /* a station */
    const char *title, *kind;                           /* its items' kind */
    int64_t items, first_items, first_good, final_good; /* first_items: here for the first time */
    struct an_index first, last;                        /* first-pass; final */
    double before; /* first-pass yield of the last week, or NAN */
    int64_t before_items;
    enum an_turn turn;
    bool rolled;  /* not a station: the product over those above it of the same kind */
    size_t steps; /* rolled: of so many stations */
};

struct an_week_rate {          /* events of one split value, per million opportunities */
    const char *title, *split; /* "Defects before repair"; "head H2", or "" for all */
    double times;              /* its rate over that of its characteristic */
    double count, opportunities;
    struct an_index rate;
    double before; /* or NAN */
    enum an_turn turn;
};

struct an_week_drift {
    size_t signal;     /* index into signals of the data */
    double days_to;    /* until the mean meets the nearer limit at this rate; NAN: does not */
    const char *limit; /* "upper limit" */
};

struct an_week_decision { /* limits locked in the week */
    const char *title, *author, *reason;
    int64_t known_us;
    double centre_before, centre, width_before, width; /* as shown; NAN before the first */
    int decimals;
    const char *unit;
};

struct an_week_age { /* open signals by age */
    const char *words;
    size_t count;
};

struct an_week_flow { /* items that left one station against those that came to the next */
    const char *from, *to, *kind;
    int64_t left, came, overdue;
    int64_t usual_us;     /* 99 of 100 took no longer */
    const char *examples; /* serials of overdue ones, or NULL */
    bool branch;          /* only some items go there */
};

struct an_week_gauge {
    const char *name, *station, *state; /* state in words */
    bool needs_look;
};

struct an_week_data {
    struct an_week_stream *streams; /* those with samples in either week, worst first */
    size_t stream_count;
    size_t stable, judged, unstable, newly_unstable, recovered;
    struct an_week_yield *yields;
    size_t yield_count;
    struct an_week_rate *rates;
    size_t rate_count; /* by characteristic, in the order of the description, worst first */
    struct an_week_drift *drifts;
    size_t drift_count;
    struct an_week_decision *decisions; /* newest first */
    size_t decision_count;
    struct an_week_age ages[4];
    struct an_week_flow *flows;
    size_t flow_count;
    struct an_week_gauge *gauges;
    size_t gauge_count;
};

#endif
