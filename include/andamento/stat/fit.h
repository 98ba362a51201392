/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Shapes fitted to readings: parameters by maximum likelihood, the fit's test, its percentiles.
 *
 * Sorted copies are worked on, so the order of the readings changes no bit of any answer.
 * Methods, sources and accuracy: the heads of fit.c, fit_shapes.c, fit_threshold.c, fit_johnson.c
 * and fit_test.c. Scratch is the caller's; nothing is kept: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_FIT_H
#define ANDAMENTO_STAT_FIT_H

#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum an_shape {
    AN_SHAPE_NORMAL,        /* mean, sd (n - 1) */
    AN_SHAPE_LOGNORMAL,     /* mu, sigma of the natural logarithm */
    AN_SHAPE_LOGNORMAL_3,   /* mu, sigma of log(x - threshold), threshold */
    AN_SHAPE_WEIBULL,       /* shape, scale */
    AN_SHAPE_WEIBULL_3,     /* shape, scale of x - threshold, threshold */
    AN_SHAPE_GAMMA,         /* shape, scale */
    AN_SHAPE_FOLDED_NORMAL, /* |normal|: mean (>= 0) and sd of what was folded */
    AN_SHAPE_RAYLEIGH,      /* sigma of each of the two axes */
    AN_SHAPE_JOHNSON_SU,    /* gamma, delta, xi, lambda: z = gamma + delta asinh(u), ... */
    AN_SHAPE_JOHNSON_SB,    /* ... = gamma + delta log(u / (1 - u)), ... */
    AN_SHAPE_JOHNSON_SL,    /* ... = gamma + delta log(u), u = (x - xi) / lambda, lambda 1 */
    AN_SHAPE_COUNT
};
const char *an_shape_name(enum an_shape shape); /* "normal" ... "johnson_sl" */
/* AN_SHAPE_COUNT if there is none of that name. */
enum an_shape an_shape_of(const char *name);
size_t an_shape_parameters(enum an_shape shape);
const char *an_shape_parameter(enum an_shape shape, size_t i); /* "mean", "sd", "threshold" ... */
/* Readings must be above 0 (at 0 or above: folded_normal, rayleigh). */
bool an_shape_wants_positive(enum an_shape shape);

struct an_fit {
    enum an_shape shape;
    double par[4];         /* in the order of the list above; the rest 0 */
    double log_likelihood; /* natural logarithm, readings in their own unit */
    size_t n;
    bool at_edge; /* folded_normal: the likeliest mean is 0 (half normal) */
};

/*
 * x[0..n) in any order; scratch holds 3 n doubles; *fit is written on AN_OK only.
 * Parameters agree with the exact maximum to about 1e-8 of themselves (closed forms: 1e-14), for
 * thresholds and Johnson shapes 1e-6: likelihood is flat there.
 * AN_TOO_FEW n < 5 (normal, rayleigh: 2; thresholds 8; johnson_su, johnson_sb: 10). AN_NO_SPREAD all
 * equal. AN_DOMAIN a value not finite, or not above 0 where the shape wants that. AN_NOT_CONVERGED
 * the likelihood has no highest point inside: a threshold or an end runs into the outermost reading
 * or away to infinity, or the tails are not heavier than normal ones (johnson_su).
 */
AN_CHECKED enum an_status an_fit_shape(enum an_shape shape, const double x[], size_t n,
                                       double scratch[], struct an_fit *fit);

/* Both tails for themselves, so that small chances keep their digits; quantile of the chance below
 * (above, if so asked). NAN for a chance outside [0, 1]. To 1e-12, gamma 1e-10. */
double an_fit_below(const struct an_fit *fit, double x);
double an_fit_above(const struct an_fit *fit, double x);
double an_fit_log_below(const struct an_fit *fit, double x);
double an_fit_log_above(const struct an_fit *fit, double x);
double an_fit_log_density(const struct an_fit *fit, double x);
double an_fit_quantile(const struct an_fit *fit, double p, bool above);
/* Of y = x * factor + shift, factor > 0; a shape without a place keeps shift 0 (else NAN). */
struct an_fit an_fit_moved(const struct an_fit *fit, double factor, double shift);
/* Bayesian information criterion, p log n - 2 log likelihood: smaller is better. */
double an_fit_bic(const struct an_fit *fit);

/* ---- how well it fits --------------------------------------------------------------------------- */
struct an_fit_test {
    double a2;             /* Anderson-Darling */
    double p;              /* valid for parameters estimated from these readings */
    bool simulated;        /* p by simulation from the fit; otherwise by a published formula */
    size_t simulated_sets; /* of them, each of simulated_n values, with parameters fitted anew */
    size_t simulated_n;
};
/*
 * p: normal and lognormal by D'Agostino and Stephens, weibull by the formula for the extreme-value
 * shape; the others by 499 sets simulated from the fit (fixed seed) of min(n, 400) values each.
 * scratch holds 2 n + 1600 doubles. AN_TOO_FEW n < 8; AN_NOT_CONVERGED more than a quarter of the
 * simulated sets could not be fitted (a2 stands, p is NAN).
 */
AN_CHECKED enum an_status an_fit_anderson_darling(const struct an_fit *fit, const double x[],
                                                  size_t n, double scratch[],
                                                  struct an_fit_test *test);

/* ---- the best of them ----------------------------------------------------------------------------- */
struct an_fit_ranking {
    struct an_fit fit[AN_SHAPE_COUNT];
    enum an_status status[AN_SHAPE_COUNT]; /* of each; AN_DOMAIN: not for such readings */
    enum an_shape best, second;            /* by BIC; AN_SHAPE_COUNT if there is none */
};
/* Every shape but johnson_sl (the same curve as lognormal_3). scratch holds 3 n doubles.
 * AN_NOT_CONVERGED if none could be fitted; otherwise as an_fit_shape. */
AN_CHECKED enum an_status an_fit_rank(const double x[], size_t n, double scratch[],
                                      struct an_fit_ranking *ranking);

#endif
