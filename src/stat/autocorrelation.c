/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Autocorrelation of readings in their order.
 *
 * Responsible for: r(lag) = sum (x[i+lag] - m)(x[i] - m) / sum (x - m)^2, with m the mean of all
 * [NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.12; from memory]. Both sums are
 * compensated, as is the mean, so that a level of 1e7 and steps of 0.2 lose nothing.
 */
#include "andamento/stat/tests.h"
#include "stat/compensated.h"

#include <math.h>

enum an_status an_autocorrelation(const double x[], size_t n, size_t lag, double *r)
{
    *r = NAN;
    if (n < 2 || lag > n - 2) {
        return AN_TOO_FEW;
    }
    const struct pair_sum mean = pair_mean(x, n);
    struct pair_sum products = {0.0, 0.0}, squares = {0.0, 0.0};
    for (size_t i = 0; i < n; i++) {
        const double d = pair_from(x[i], mean);
        pair_add_product(&squares, d, d);
        if (i + lag < n) {
            pair_add_product(&products, pair_from(x[i + lag], mean), d);
        }
    }
    if (!isfinite(mean.hi) || !isfinite(squares.hi)) {
        return AN_DOMAIN;
    }
    if (!(squares.hi > 0.0)) {
        return AN_NO_SPREAD;
    }
    *r = products.hi / squares.hi;
    return AN_OK;
}
