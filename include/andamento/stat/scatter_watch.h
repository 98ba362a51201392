/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Watching whether counts scatter otherwise than before, block by block, each change told once.
 * Allocates nothing, keeps nothing: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_SCATTER_WATCH_H
#define ANDAMENTO_STAT_SCATTER_WATCH_H

#include "andamento/stat/attribute_limits.h"

#include <stdbool.h>
#include <stddef.h>

#define AN_SCATTER_BLOCK 40    /* points looked at together */
#define AN_SCATTER_CHANCE .001 /* of news from a block in which nothing changed */
#define AN_SCATTER_LEAST 20    /* of a block's points must be usable, or it is passed over */

struct an_scatter_news {
    double points; /* usable ones */
    double
        variance; /* of z, by successive differences, so that a step of the level is no scatter */
    double df;    /* what it is worth, for counts as skewed as these */
    double ratio, p; /* against the reference; two sides */
    bool changed;    /* p < AN_SCATTER_CHANCE: the block has become the reference */
};
/*
 * z[0..n): points in sigmas of the limits, NAN: not usable; means: expected counts beside them;
 * dispersion: the limits' factor on sigma. A point further out than 4 counts as 4: by itself it is told by its
 * own rule. *reference is the variance in the same units and its degrees of freedom: at first 1, as the
 * limits say, later that of the block that was news.
 *
 * Mean square of successive differences: von Neumann, Distribution of the ratio of the mean square successive difference to the
 * variance, Annals of Mathematical Statistics 12, 1941. Its degrees of freedom are those of the chi-square of the same variance:
 * 2 (m - 1)^2 / (3 m - 4 + e (m - 3/2)), e the excess of independent points; for counts of mean mu whose variance is
 * mu d^2, by the negative binomial, e = (1 / d^2 + 6 (d^2 - 1)) / mu.
 * AN_TOO_FEW: fewer than AN_SCATTER_LEAST usable; AN_NO_SPREAD: all equal; AN_DOMAIN: reference or dispersion.
 */
AN_CHECKED enum an_status an_scatter_look(const double z[], const double means[], size_t n,
                                          double dispersion, struct an_scatter *reference,
                                          struct an_scatter_news *news);

#endif
