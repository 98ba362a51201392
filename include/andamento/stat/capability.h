/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Capability (short-term sigma) and performance (overall sigma) of normal, stable streams, with
 * confidence bounds. Allocates nothing, keeps nothing: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_CAPABILITY_H
#define ANDAMENTO_STAT_CAPABILITY_H

#include "andamento/base/status.h"

struct an_spec {
    double target, lsl, usl; /* NAN where there is none */
};

struct an_index {
    double value, lower, upper; /* bounds at the confidence asked; NAN where not defined */
};

struct an_capability_basis {
    double n; /* readings */
    double mean;
    double sigma_within;  /* NAN: Cp.. are NAN */
    double df_within;     /* degrees of freedom of sigma_within */
    double sigma_overall; /* sample sd of all readings, df n - 1 */
    double confidence;    /* two-sided, 0.95 */
    /* Where readings are not independent (items differ, and have several readings each); all 0:
     * independent, mean_se = sigma_overall / sqrt(n). */
    double mean_se;    /* standard error of the mean */
    double df_mean;    /* degrees of freedom of mean_se */
    double df_overall; /* of sigma_total (of sigma_overall, if that is 0); 0: n - 1 */
    double
        sigma_total; /* from which the bounds of Pp.. start: items' and readings' variances added,
                           without the bias of the sd of all readings when items are few */
};

struct
    an_nested { /* readings in items, by sums of squares; items of unequal size count as they are */
    double items, readings;
    double ssd_between; /* sum over items of n (item mean - mean)^2 */
    double ssd_inside;  /* sum over readings of (reading - item mean)^2 */
};
/*
 * Sets sigma_overall, sigma_total, mean_se, df_mean and df_overall of the basis from readings that lie in items.
 * Nothing but sigma_overall is set where there is one reading an item, or fewer than 2 items.
 */
void an_capability_nested(struct an_capability_basis *basis, const struct an_nested *nested);

struct an_capability {
    struct an_index cp, cpk, cpl, cpu; /* with sigma_within */
    struct an_index pp, ppk, ppl, ppu; /* with sigma_overall */
    struct an_index cpm;               /* NAN without target */
    double below, above;               /* expected fraction outside, normal, overall sigma */
};
/*
 * cp, pp want both limits; one-sided specs leave them NAN and give cpk, ppk = the one side, its
 * exact bounds included. below, above are 0 where there is no such limit. Everything is in the unit
 * of the readings; indices have none. Every index is NAN unless AN_OK.
 * Bounds: cp, pp by chi-square; ppl, ppu, and cpl, cpu of independent readings, exact by noncentral
 * t; cpl, cpu with a mean_se of its own by integration over both estimates; cpk, ppk by the normal
 * approximation c +- z sqrt(1/(9 n) + c^2/(2 df)); cpm by chi-square. Sources in capability.c.
 * Bounds are to 1e-9 or better; those with a sigma of df below 1 or unknown are NAN.
 * AN_TOO_FEW n < 2; AN_NO_SPREAD sigma_overall = 0; AN_DOMAIN no limit at all, lsl >= usl, a limit,
 * mean or sigma not finite (a limit may be NAN, sigma_within too), confidence not within (0, 1), a
 * mean_se, df_mean or df_overall below 0 or not finite, mean_se above 0 with df_mean 0.
 */
AN_CHECKED enum an_status an_capability_of(const struct an_capability_basis *basis,
                                           const struct an_spec *spec,
                                           struct an_capability *capability);

#endif
