/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Charts on a transformed scale: found from a baseline, kept with its limits, applied to readings one
 * by one before any statistic is formed. One thread a call.
 */
#ifndef AN_JUDGE_SCALE_H
#define AN_JUDGE_SCALE_H

#include "judge/baseline.h"
#include "judge/readings.h"

bool an_is_scaled(const struct an_limits *limits);
bool an_scale_same(const struct an_limits_scale *a, const struct an_limits_scale *b);
double an_scale_of(const struct an_limits_scale *scale, double value); /* not finite: no place */
double an_scale_back(const struct an_limits_scale *scale, double y);   /* the same if NONE */

/* Puts n values on the scale, in place. 0; or, if one of them has no place there, the side on which it
 * lies: -1 below, 1 above. */
int an_scale_put(const struct an_limits_scale *scale, double value[], size_t n);
/* A sample of which nothing can be charted. */
void an_scale_off(struct an_chart_sample *sample);
/* The chart's statistics of n values that are on the scale. AN_DOMAIN: a value is no number. */
AN_CHECKED enum an_status an_scale_chart(const double value[], size_t n,
                                         struct an_chart_sample *sample);

/*
 * The scale that the characteristic declares, found from the samples not left out. value[first[i]] up
 * to first[i + 1] are the readings of sample i, which are put on it in place; off[i] as an_scale_put().
 * AN_TOO_FEW, AN_NO_SPREAD, AN_DOMAIN: err says of which sample and what to do.
 */
AN_CHECKED enum an_status an_scale_find(const struct an_baseline *baseline, double value[],
                                        const size_t first[], struct an_limits_scale *scale,
                                        int off[], struct an_arena *arena, struct an_error *err);

/* "ln(value)", "the value to the power 0.31" ...; NULL when memory is out. */
const char *an_scale_words(const struct an_limits_scale *scale, struct an_arena *arena);
/* What stands at the axis: "ln(ohm)", "ohm^0.5", "z". */
const char *an_scale_unit(const struct an_limits_scale *scale, const char *unit,
                          struct an_arena *arena);
/* How the power or shape came about, and whether it helped: for a page, without limits. */
const char *an_scale_story(const struct an_limits_scale *scale, struct an_arena *arena);
/* "lcl 1.02, centre 1.5, ucl 2.21 ohm": of the usual sample, carried back. */
const char *an_scale_limits_back(const struct an_limits *limits, const char *unit,
                                 struct an_arena *arena);
/* Why a person should doubt the scale; up to two sentences, *count of them. AN_NO_MEMORY. */
AN_CHECKED enum an_status an_scale_warnings(const struct an_limits_scale *scale,
                                            struct an_arena *arena, const char *warnings[2],
                                            size_t *count);

#endif
