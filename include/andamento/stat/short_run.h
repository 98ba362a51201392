/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Many products on one chart: each value as its distance from its product's target in that
 * product's sigmas. And parallel streams on one chart: the largest and smallest of the heads.
 * Allocates nothing, keeps nothing: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_SHORT_RUN_H
#define ANDAMENTO_STAT_SHORT_RUN_H

#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>

struct an_product {
    double target, sigma; /* NAN: to be learned; or as given */
    double samples;       /* seen in the baseline */
    double ranges;        /* moving ranges behind a learned sigma */
};
/*
 * Learns what was not given: the target is the product's mean, its sigma the mean moving range of two
 * between neighbours among that product's own samples, over d2(2). product[i] indexes products.
 * excluded may be NULL. Products given whole need no sample.
 * AN_TOO_FEW: *bad is a product with samples but fewer than 2 to learn from (target alone: 1);
 * AN_NO_SPREAD: *bad is one whose samples are all equal; AN_DOMAIN: a value not finite, an index
 * that is none, a given sigma not above 0.
 * [Farnum, Control charts for short runs: nonconstant process and measurement error, Journal of
 * Quality Technology 24(3), 1992; Montgomery, chapter on short production runs; from memory]
 */
AN_CHECKED enum an_status an_short_run_learn(const double x[], const size_t product[], size_t m,
                                             const bool excluded[], struct an_product products[],
                                             size_t product_count, size_t *bad);
/* (x - target) / sigma; NAN if the product is not known. */
double an_short_run_scaled(const struct an_product *product, double x);

/* ---- parallel streams ---------------------------------------------------------------------------- */

/*
 * The limit of the largest and smallest of so many independent standardised values that has the
 * false alarms of one value at k: Phi(-K) = (1 - (1 - 2 Phi(-k))^(1 / streams)) / 2. [Boyd, Applying
 * the group chart for X-bar and R, Industrial Quality Control 7, 1950; Sidak's inequality; from memory]
 * NAN unless streams >= 1, k > 0.
 */
double an_group_limit(double streams, double k);
/* How often, on average, one and the same stream is by luck the largest r times running: (s^r - 1) /
 * (s - 1) samples [Nelson, Control charts for multiple stream processes, Journal of Quality
 * Technology 18(4), 1986; from memory]. */
double an_group_run_between(double streams, double r);
/* The least r of which that is at least `between`, at most 20. */
int an_group_run_length(double streams, double between);
struct an_group_point {
    size_t highest, lowest; /* streams; both `count` if no value is known */
    double up, down;        /* their values, in sigmas of the stream */
    double known;           /* streams with a value */
};
/* z[i] NAN: the stream gave nothing. */
struct an_group_point an_group_extremes(const double z[], size_t count);

#endif
