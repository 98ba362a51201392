/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * When did it begin: one change of level, or the start of a ramp, by likelihood.
 * Allocates nothing, keeps nothing: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_CHANGE_H
#define ANDAMENTO_STAT_CHANGE_H

#include "andamento/base/status.h"

#include <stddef.h>

enum an_change_kind { AN_CHANGE_STEP, AN_CHANGE_RAMP };

struct an_change {
    enum an_change_kind kind;
    size_t first;               /* index of the first value after the change */
    size_t earliest, latest;    /* interval of the given confidence for `first` */
    double before;              /* level before */
    double after;               /* step: level after; ramp: level reached at the last value */
    double rate;                /* ramp: per value; step: 0 */
    double sigma;               /* residual sd of the fitted change */
    double log_likelihood_gain; /* over no change at all */
};

/*
 * Known level before (pass NAN to estimate it): a chart in force has a centre. x[0..n) in order.
 * Step: the split that leaves the least residual sum of squares. Ramp: constant, then straight.
 * Interval: relative likelihood of each split, smallest set holding `confidence`, as its hull.
 * scratch holds 2 n doubles for each of the three.
 * AN_TOO_FEW n < 5; AN_NO_SPREAD all equal; AN_DOMAIN a value is not finite, or confidence is not
 * between 0 and 1.
 */
AN_CHECKED enum an_status an_change_step(const double x[], size_t n, double level_before,
                                         double confidence, double scratch[],
                                         struct an_change *change);
AN_CHECKED enum an_status an_change_ramp(const double x[], size_t n, double level_before,
                                         double confidence, double scratch[],
                                         struct an_change *change);
/* Whichever of the two is the likelier. */
AN_CHECKED enum an_status an_change_best(const double x[], size_t n, double level_before,
                                         double confidence, double scratch[],
                                         struct an_change *change);

#endif
