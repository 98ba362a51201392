/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Values that remember the one before: a first-order autoregression, whether it is there at all, and
 * what is left when it is taken out. Allocates nothing, keeps nothing: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_AUTOREGRESSION_H
#define ANDAMENTO_STAT_AUTOREGRESSION_H

#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>

/* x[t] - mean = phi (x[t-1] - mean) + a[t], a independent with standard deviation sigma */
struct an_autoregression {
    double phi, mean, sigma;
    double phi_se;         /* sqrt((1 - phi^2) / n) */
    double log_likelihood; /* exact, at the estimates */
    double n;
    double stretches; /* unbroken ones */
};
/*
 * Exact maximum likelihood (the first value of each stretch has its stationary distribution), not
 * conditional least squares; sigma by maximum likelihood too (divisor n). broken[i]: a break lies
 * before x[i]; excluded[i] left out, the stretch broken there; both may be NULL. phi to 1e-10.
 * [Box, Jenkins and Reinsel, Time Series Analysis, chapter 7; from memory]
 * AN_TOO_FEW: fewer than 8 values or 4 neighbours; AN_NO_SPREAD; AN_DOMAIN: a value not finite.
 */
AN_CHECKED enum an_status an_autoregression_fit(const double x[], size_t n, const bool broken[],
                                                const bool excluded[],
                                                struct an_autoregression *fit);
/* What is left of x given the value before (NAN: none known), and the sigma it should have. */
struct an_residual {
    double value, sigma, expected; /* expected: of x */
};
struct an_residual an_autoregression_residual(const struct an_autoregression *fit, double x,
                                              double before);

/*
 * Q = n (n + 2) sum over lags of r^2 / (n - lag), chi-square with lags - fitted degrees of freedom
 * [Ljung and Box, On a measure of lack of fit in time series models, Biometrika 65, 1978; from
 * memory]. AN_TOO_FEW unless n > lags + 1 and lags > fitted.
 */
struct an_ljung_box {
    double q, df, p;
};
AN_CHECKED enum an_status an_ljung_box_of(const double x[], size_t n, size_t lags, size_t fitted,
                                          struct an_ljung_box *result);

/*
 * Limits from moving ranges of values with lag-1 autocorrelation r: the mean range of two is
 * d2 sigma sqrt(1 - r), so the true sigma is `factor` = 1 / sqrt(1 - r) times the one learned, and
 * limits at k of those signal by luck with chance 2 Phi(-k / factor). [Montgomery, chapter on
 * autocorrelated data; Cryer and Ryan, The estimation of sigma for an X chart, Journal of Quality
 * Technology 22(3), 1990; from memory] NAN unless -1 < r < 1.
 */
struct an_too_narrow {
    double factor, chance;
};
struct an_too_narrow an_autocorrelation_narrows(double r, double k);

#endif
