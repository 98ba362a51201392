/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Position capability: two departures dx, dy that must lie together inside a circle.
 * Allocates nothing, keeps nothing: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_POSITION_H
#define ANDAMENTO_STAT_POSITION_H

#include "andamento/stat/capability.h"

#include <stddef.h>

struct an_plane_normal { /* two normal values */
    double mean_x, mean_y, sd_x, sd_y;
    double correlation; /* -1 to 1 */
};

/*
 * Chance that the pair lies outside the circle of `radius` about (0, 0). To 1e-10 of itself down to
 * 1e-250. AN_DOMAIN: radius not above 0, an sd below 0, correlation outside [-1, 1], not finite.
 */
AN_CHECKED enum an_status an_outside_circle(const struct an_plane_normal *at, double radius,
                                            double *outside);

struct an_position_circle {
    double x, y, radius; /* centre: where the pair should be */
};

struct an_position_capability {
    size_t n;
    struct an_plane_normal fit;  /* mean taken from the circle's centre; sd of n - 1 */
    double sd_long, sd_short;    /* along the axes of the ellipse */
    double angle;                /* of the long axis from x, radians, -pi/2 to pi/2 */
    double offset, offset_angle; /* of the mean from the centre, and its direction from x */
    struct an_index outside;     /* fraction, expected under the fitted normal pair */
    double outside_centred;      /* were the mean on the centre: what spread alone costs */
    size_t outside_seen;         /* pairs of the data that are outside */
    struct an_index ppk;         /* 1.00 is 0.27 per cent outside: z(outside / 2) / 3 */
    struct an_index pp;          /* the same of outside_centred */
};
#define AN_POSITION_SETS 1999
#define AN_POSITION_SCRATCH (2 * AN_POSITION_SETS) /* doubles */
/*
 * x, y: n pairs in any order. Bounds by simulation from the fit (fixed seed), reflected.
 * AN_TOO_FEW n < 3; AN_NO_SPREAD all pairs alike, or all on one line; AN_DOMAIN radius not above 0,
 * a value not finite, confidence outside (0, 1).
 */
AN_CHECKED enum an_status an_position_capability_of(const double x[], const double y[], size_t n,
                                                    const struct an_position_circle *circle,
                                                    double confidence, double scratch[],
                                                    struct an_position_capability *result);

#endif
