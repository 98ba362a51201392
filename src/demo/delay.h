/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How soon a change of known size may fairly be expected to be signalled. Any thread.
 */
#ifndef AN_DEMO_DELAY_H
#define AN_DEMO_DELAY_H

#include <stddef.h>

struct an_demo_change {
    const double *sigmas; /* distance of each sample's mean from the old centre, made positive, in
                              sigmas of the plotted statistic */
    const double *spread; /* sd of each sample over the old one; NULL: 1 in all */
    size_t count;         /* samples while the change lasts */
    size_t baseline;      /* samples the limits were learned from */
    int run_length;       /* of run_one_side; 0: that rule is off */
};

/*
 * The number of samples, counted from the first changed one, within which the rules beyond_limit
 * (3 sigmas) and run_one_side speak with a chance of at least 0.99; 0 if the change does not last
 * that long. The limits are not known but learned, so the centre is taken to be wrong by two
 * standard errors, and sigma too large by two (0.91 / sqrt(m), moving ranges of m samples), both
 * to our disadvantage.
 */
size_t an_demo_fair_delay(const struct an_demo_change *change);
/*
 * The same for the rule alternating (14 points) when samples lie `sigmas` above and below the
 * centre in turn. Within 14 points each step has the right sign with chance p = Phi(2 sigmas /
 * sqrt 2); such steps favour each other (high points lie high for both neighbours), so p^13 is a
 * lower bound for the window, and windows without common points are independent.
 */
size_t an_demo_fair_delay_alternating(double sigmas, size_t count);

#endif
