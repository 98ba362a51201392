/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Scales on which readings are nearly normal, and the way back: Box-Cox powers and Johnson shapes.
 * Allocates nothing, keeps nothing: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_TRANSFORM_H
#define ANDAMENTO_STAT_TRANSFORM_H

#include "andamento/stat/fit.h"

enum an_scale {
    AN_SCALE_NONE,
    AN_SCALE_BOX_COX, /* (x^lambda - 1) / lambda; log x for 0 */
    AN_SCALE_JOHNSON  /* z of the fitted shape */
};

struct an_transform {
    enum an_scale scale;
    double lambda;
    struct an_fit fit; /* AN_SCALE_JOHNSON: any shape; its z is Phi^-1 of the chance below */
    double shift;      /* AN_SCALE_BOX_COX: added to x before the power is taken */
};

/* Rising in x. NAN where the scale is not defined (Box-Cox: x + shift <= 0); infinite where a Johnson
 * shape ends. */
double an_transform_of(const struct an_transform *transform, double x);
/* NAN, or the end of the shape, where no x has that value. an_transform_back(t, an_transform_of(t,
 * x)) is x to 1e-12. */
double an_transform_back(const struct an_transform *transform, double y);

struct an_box_cox {
    double lambda, lower, upper; /* interval by profile likelihood, cut at +-AN_BOX_COX_WIDEST */
    double log_likelihood;       /* of the profile, without constants: -n/2 log variance */
    double log_likelihood_one;   /* at lambda 1, no transformation */
    bool cut;                    /* the best lambda or an end of the interval lies beyond */
};
#define AN_BOX_COX_WIDEST 5.0
/*
 * [Box and Cox, An analysis of transformations, Journal of the Royal Statistical Society B 26, 1964]
 * scratch holds n doubles; the order of x matters to the last digits only. lambda to 1e-8.
 * AN_TOO_FEW n < 5; AN_DOMAIN a value not above 0, confidence outside (0, 1); AN_NO_SPREAD.
 */
AN_CHECKED enum an_status an_box_cox_fit(const double x[], size_t n, double confidence,
                                         double scratch[], struct an_box_cox *result);
/*
 * The Johnson shape that readings follow best: of johnson_su, johnson_sb and johnson_sl the one of the
 * least BIC. scratch holds 3 n doubles. AN_NOT_CONVERGED if none of them could be fitted; otherwise as
 * an_fit_shape.
 */
AN_CHECKED enum an_status an_johnson_fit(const double x[], size_t n, double scratch[],
                                         struct an_fit *fit);

#endif
