/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How soon a stream's present chart sees a shift of its mean. Any thread. */
#ifndef AN_JUDGE_DELAY_H
#define AN_JUDGE_DELAY_H

#include "judge/judge.h"

/* Why run lengths of shifts are not told of such limits, in words that follow "as"; NULL: they are. */
const char *an_delay_why_not(const struct an_limits *limits);
/*
 * Samples until the level panel signals, on average, when the mean stands `shift` sigmas of the plotted points
 * off the centre from the first sample on; limits exactly known. shift 0: samples between its false alarms.
 * AN_DOMAIN where an_delay_why_not says why. AN_NO_MEMORY.
 */
AN_CHECKED enum an_status an_delay_of(const struct an_limits *limits, double shift,
                                      double *samples);

#endif
