/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Rare events: instead of counts that are nearly always 0, the gap from one event to the next, in
 * trials (g chart) or in time (t chart). Allocates nothing, keeps nothing: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_RARE_EVENTS_H
#define ANDAMENTO_STAT_RARE_EVENTS_H

#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>

enum an_gap_kind {
    AN_GAP_TRIALS, /* items or opportunities up to the event, it included: geometric */
    AN_GAP_TIME    /* time, or any exposure that is not counted: exponential */
};
/* From the event before to the last of `events` events that came together: 1, mostly. Where in the
 * last `within` of the length they came is not known: a sample of so many opportunities. 0, and 1 of
 * trials: the place is known. */
struct an_gap {
    double length, events, within;
};
struct an_gap_model {
    enum an_gap_kind kind;
    double mean;   /* gap of one event: all length over all events */
    double gaps;   /* learned from */
    double events; /* learned from: the relative standard error of mean is 1 / sqrt(events) */
};
/* AN_TOO_FEW: fewer than 2 gaps. AN_DOMAIN: a length not above 0 (trials: below the events, or not
 * whole), events not whole or below 1. */
AN_CHECKED enum an_status an_gap_learn(enum an_gap_kind kind, const struct an_gap gaps[], size_t m,
                                       struct an_gap_model *model);
/*
 * Of a gap of so many events: the length of r events is negative binomial, or gamma. lcl: the least
 * length not beyond (a shorter one has chance <= tail), ucl the greatest, as lengths are known: to the
 * end of the sample; centre the median. z: by
 * chance, |z| > k exactly beyond the limits of tail Phi(-k); below 0 when events come sooner.
 * Between the limits z stands in the middle of its step (mid-p), which is as wide as the place of the
 * event is unknown: so half of all gaps are below 0 also where a sample holds many opportunities, and
 * rules on runs speak no more often than they should. value, lcl, ucl, centre are a gap per event:
 * length / events.
 */
struct an_gap_point {
    double value, centre, lcl, ucl, z;
    double below, above; /* the chances really met of each limit */
};
/* All NAN where the gap or the model is not allowed. */
struct an_gap_point an_gap_judge(const struct an_gap_model *model, struct an_gap gap, double k);

/*
 * length^(1/3.6), on which exponential times are nearly normal and an ordinary chart of single
 * values can be drawn [Nelson, A control chart for parts-per-million nonconforming items, Journal of
 * Quality Technology 26(3), 1994; from memory]; mean and standard deviation of it for a mean gap.
 */
double an_gap_power(double length);
double an_gap_power_back(double y);
void an_gap_power_moments(double mean_gap, double *mean, double *sd);

#endif
