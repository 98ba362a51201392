/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Inside of the fits: values already in handy units (spread about 1), no copies, no sorting.
 */
#ifndef AN_STAT_FIT_INNER_H
#define AN_STAT_FIT_INNER_H

#include "andamento/stat/fit.h"
#include "stat/draws.h"

/*
 * Fits y[0..n); work holds n doubles. `from`: an earlier fit of alike values to start from, or
 * NULL to search everywhere. fit->n, shape and likelihood are written too.
 */
AN_CHECKED enum an_status fit_values(enum an_shape shape, const double y[], size_t n, double work[],
                                     const struct an_fit *from, struct an_fit *fit);
/* Each shape's own; called by fit_values() only. */
AN_CHECKED enum an_status fit_normal(const double y[], size_t n, struct an_fit *fit);
AN_CHECKED enum an_status fit_lognormal(const double y[], size_t n, double work[],
                                        struct an_fit *fit);
AN_CHECKED enum an_status fit_weibull(const double y[], size_t n, double work[],
                                      struct an_fit *fit);
AN_CHECKED enum an_status fit_gamma(const double y[], size_t n, struct an_fit *fit);
AN_CHECKED enum an_status fit_folded(const double y[], size_t n, struct an_fit *fit);
AN_CHECKED enum an_status fit_rayleigh(const double y[], size_t n, struct an_fit *fit);
AN_CHECKED enum an_status fit_threshold(const double y[], size_t n, double work[],
                                        const struct an_fit *from, struct an_fit *fit);
AN_CHECKED enum an_status fit_johnson(const double y[], size_t n, const struct an_fit *from,
                                      struct an_fit *fit);
/* shape and log of the scale of Weibull, from logarithms; *height its log likelihood of x. */
AN_CHECKED enum an_status fit_weibull_logs(const double logs[], size_t n, double start,
                                           double *shape, double *log_scale, double *height);
/* A value drawn from the fit. */
double fit_draw(const struct an_fit *fit, struct stat_draws *draws);
/* Anderson-Darling of sorted values. */
double fit_a2(const struct an_fit *fit, const double sorted[], size_t n);

/* x = y * factor + shift: the units in which values have a spread of about 1. */
struct fit_unit {
    double factor, shift;
};
struct fit_unit fit_unit_of(enum an_shape shape, const double sorted[], size_t n);

#endif
