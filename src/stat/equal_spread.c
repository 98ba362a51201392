/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Whether groups spread alike, by distances from medians.
 *
 * Responsible for the F test alone; what follows for an estimate is said elsewhere. Never sorts the
 * caller's readings.
 *
 * The hard idea: a test of variances themselves answers to long tails more than to spread; the mean
 * distance from the median does not.
 */
#include "andamento/stat/moments.h"
#include "andamento/stat/tests.h"
#include "stat/order.h"

#include <math.h>

static double median_of(const double x[], size_t n, double scratch[])
{
    for (size_t i = 0; i < n; i++) {
        scratch[i] = x[i];
    }
    order_up(scratch, n);
    return n % 2 ? scratch[n / 2] : 0.5 * scratch[n / 2 - 1] + 0.5 * scratch[n / 2];
}

enum an_status an_equal_spread_of(const double x[], const size_t first[], size_t groups,
                                  double scratch[], struct an_equal_spread *result)
{
    struct an_moments all = {0};
    double between = 0.0;
    double within = 0.0;
    *result = (struct an_equal_spread){NAN, NAN, NAN, NAN};
    for (size_t g = 0; g < groups; g++) {
        if (first[g + 1] <= first[g]) {
            return AN_DOMAIN;
        }
    }
    if (groups < 2 || first[groups] - first[0] <= groups) {
        return AN_TOO_FEW;
    }
    for (size_t i = first[0]; i < first[groups]; i++) {
        if (!isfinite(x[i])) {
            return AN_DOMAIN;
        }
    }
    double *distance = scratch;
    for (size_t g = 0; g < groups; g++) {
        const size_t n = first[g + 1] - first[g];
        const double median = median_of(x + first[g], n, distance);
        for (size_t i = 0; i < n; i++) {
            distance[i] = n == 2 ? 0.5 * fabs(x[first[g] + 1] - x[first[g]]) /* both are the same */
                                 : fabs(x[first[g] + i] - median);
        }
        order_up(distance, n); /* so that the order of the readings changes no bit */
        distance += n;
    }
    const size_t n = first[groups] - first[0];
    enum an_status st = an_moments_of(scratch, n, &all);
    distance = scratch;
    for (size_t g = 0; !st && g < groups; g++) {
        struct an_moments own;
        st = an_moments_of(distance, first[g + 1] - first[g], &own);
        between += (double)own.n * (own.mean - all.mean) * (own.mean - all.mean);
        within += own.ssd;
        distance += own.n;
    }
    if (st) {
        return st;
    }
    if (!(within > 0.0)) {
        return AN_NO_SPREAD;
    }
    result->df_groups = (double)groups - 1.0;
    result->df_rest = (double)(n - groups);
    result->f = between / result->df_groups / (within / result->df_rest);
    result->p = an_f_above(result->f, result->df_groups, result->df_rest);
    return AN_OK;
}
