/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Performance of a stream of any fitted shape: percentiles take the place of mean and three sigma.
 * Allocates nothing, keeps nothing: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_PERCENTILE_H
#define ANDAMENTO_STAT_PERCENTILE_H

#include "andamento/stat/capability.h"
#include "andamento/stat/fit.h"

struct an_percentile_capability {
    double low, middle, high; /* percentiles 0.135, 50, 99.865 of the fit */
    struct an_index pp, ppk, ppl, ppu;
    struct an_index below, above; /* fraction outside by the fit; 0 where there is no limit */
    size_t sets, failed;          /* simulated, and of them without a fit */
};

#define AN_PERCENTILE_SETS 3999
#define AN_PERCENTILE_LARGEST 500 /* values of a set; more readings are allowed for */
/* doubles of scratch that the call below wants */
#define AN_PERCENTILE_SCRATCH (2 * AN_PERCENTILE_LARGEST + 6 * AN_PERCENTILE_SETS)

/*
 * Pp = (usl - lsl) / (x99.865 - x0.135), Ppu = (usl - x50) / (x99.865 - x50), Ppl likewise, Ppk the
 * smaller [ISO 22514-2; ISO 22514-4]. With one limit Pp is NAN and Ppk is that side's. For the
 * normal shape they are Pp and Ppk as usual.
 * Bounds by simulation from the fit (parametric bootstrap, 3,999 sets, 999 of shapes fitted by search;
 * fixed seed: the same fit gives the same bounds), reflected as told in capability_percentile.c.
 * AN_DOMAIN: no limit at all, lsl >= usl, confidence outside (0, 1), a fit without finite
 * percentiles. AN_NOT_CONVERGED: more than a quarter of the sets could not be fitted; the indices
 * stand then, their bounds are NAN.
 */
AN_CHECKED enum an_status an_capability_by_percentiles(const struct an_fit *fit,
                                                       const struct an_spec *spec,
                                                       double confidence, double scratch[],
                                                       struct an_percentile_capability *result);

#endif
