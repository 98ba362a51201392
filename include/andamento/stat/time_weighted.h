/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Charts with memory: ewma, cusum and moving average. A model of another family says what a single
 * point is like (its centre and its sigma); the weighting says how points are gathered.
 *
 * The state is a plain struct that can be kept and taken up again: a sequence judged in pieces
 * gives the same bits as one judged at once. Allocates nothing: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_TIME_WEIGHTED_H
#define ANDAMENTO_STAT_TIME_WEIGHTED_H

#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>

#define AN_SPAN_MOST 30 /* points of a moving average */

enum an_weighted_kind {
    AN_UNWEIGHTED,
    AN_EWMA,
    AN_CUSUM,
    AN_MOVING_AVERAGE,
    AN_GAPS, /* what g and t charts remember: the last event; not chosen, the family brings it */
    AN_WEIGHTED_COUNT
};
#define AN_WEIGHTED_CHOSEN AN_GAPS /* the kinds below it can be laid over any level panel */
const char *an_weighted_name(enum an_weighted_kind kind); /* "ewma" ...; "" if unweighted */
/* what is plotted: "weighted mean", "cumulative sum", "moving average"; NULL if unweighted */
const char *an_weighted_statistic(enum an_weighted_kind kind);

struct an_weighting { /* all zero: the points are judged one by one */
    enum an_weighted_kind kind;
    double limits;     /* ewma, moving average: L, in sigmas of the statistic itself; cusum: the
                          interval h, in sigmas of a point */
    double lambda;     /* ewma: weight of the newest point, above 0 up to 1 */
    double reference;  /* cusum: k, in sigmas of a point: half the shift to be caught */
    double head_start; /* ewma: f of Steiner's narrowed first limits; cusum: sums begin at this
                          share of the interval. 0: none */
    int span;          /* moving average: points, 2 to AN_SPAN_MOST */
    int variables;     /* ewma of so many variables at once (mewma); 0: of one */
    bool steady;  /* ewma: limits of the steady state from the first point on, not exact ones */
    bool goes_on; /* cusum: the sums run on after a signal; else they begin anew after it */
};

/* All zero: before the first point. Every member is a number that a decimal text can carry. */
struct an_weighted_state {
    double points;    /* taken so far, since the start or (cusum) the last signal */
    double statistic; /* ewma: distance of the weighted mean from the centre; gaps: opportunities
                         since the last event, or the hour of it */
    double variance;  /* ewma: of the statistic */
    double sum[2];    /* cusum: upper and lower, in sigmas, >= 0 */
    double run[2];    /* cusum: points since each sum left 0 */
    double signalled; /* cusum: 1 if the last point signalled, so that the next begins anew */
    /* moving average: newest first; ewma of several variables: their weighted deviations */
    double deviation[AN_SPAN_MOST], sigma[AN_SPAN_MOST];
};

/* One point as it was judged without memory: value, and the centre and sigma it should have. */
struct an_plain_point {
    double value, centre, sigma;
};

struct an_weighted_point {
    double statistic, centre, sigma; /* of what is plotted; limits at +-k sigma (cusum: +-h) */
    double upper, lower;             /* cusum: both sums, the lower one <= 0; NAN otherwise */
    double z; /* cusum: the larger sum, below 0 for the lower one, to be held against h; else NAN */
    double run; /* cusum: points in the run of the larger sum; else 0 */
};

/*
 * Takes one point into the state. sigma_nominal: of a point of the usual size, which is the
 * cusum's unit on the chart and the steady state of the ewma. Points of other sizes keep their own
 * sigma: the ewma carries v = lambda^2 sigma^2 + (1 - lambda)^2 v, the cusum adds standardised
 * points, the moving average adds variances.
 *   ewma: lambda x + (1 - lambda) before, from the centre [Roberts 1959; Lucas and Saccucci 1990]
 *   cusum: up = max(0, up + z - k), down = max(0, down - z - k) [Page 1954; Lucas 1982]; plotted is
 *     the larger of the two, the lower one below 0
 *   moving average: of the last `span` points, of all so far in the beginning
 * A point whose value or sigma is no number is passed over: statistic NAN, the state as it was.
 */
struct an_weighted_point an_weighted_take(const struct an_weighting *weighting,
                                          double sigma_nominal, struct an_plain_point point,
                                          struct an_weighted_state *state);
/* AN_DOMAIN: unweighted, or a parameter out of its range: lambda 0.005 to 1, L above 0 and at most
 * 10, h at most 50, reference 0 to 5, head_start 0 to below 1 (cusum: to 0.5 + k / h), span 2 to
 * AN_SPAN_MOST; a head start with steady limits or with a moving average. */
AN_CHECKED enum an_status an_weighting_check(const struct an_weighting *weighting);
/* The usual ones: lambda 0.2 with L 2.86, k 0.5 with h 4.77, span 5 with 3 sigma. The first two have
 * 370 points between false alarms, as single limits at 3 sigma do. */
struct an_weighting an_weighting_usual(enum an_weighted_kind kind);

/* The state as so many numbers and back, for who keeps it. Returns how many (at most
 * AN_STATE_MOST). */
#define AN_STATE_MOST (8 + 2 * AN_SPAN_MOST)
size_t an_weighted_state_numbers(const struct an_weighting *weighting,
                                 const struct an_weighted_state *state,
                                 double numbers[AN_STATE_MOST]);
/* AN_DOMAIN: not so many numbers as this weighting keeps, or one that is not finite. */
AN_CHECKED enum an_status an_weighted_state_of(const struct an_weighting *weighting,
                                               const double numbers[], size_t count,
                                               struct an_weighted_state *state);

#endif
