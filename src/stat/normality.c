/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Anderson-Darling test of normality, mean and standard deviation estimated from the readings.
 *
 * Responsible for: the statistic and its chance. Must never allocate: the sort is in place, in the
 * caller's scratch (qsort may allocate).
 *   A2  = -n - sum (2i - 1) (log F(y_i) + log (1 - F(y_n+1-i))) / n,  y = (x - mean) / s, sorted
 *   A2* = A2 (1 + 0.75 / n + 2.25 / n^2)
 *   p   by the four pieces of table 4.9 in chapter 4 (Stephens, Tests based on EDF statistics) of
 *       D'Agostino and Stephens, Goodness-of-Fit Techniques, 1986; from memory. They meet the
 *       printed significance points to 1-4 per cent of the level; below about 1e-10 p says "none"
 *       rather than a number.
 * Both logarithms are taken of the tail itself, so that a reading 20 sigmas out counts in full.
 */
#include "andamento/stat/moments.h"
#include "andamento/stat/tests.h"
#include "stat/distribution.h"
#include "stat/order.h"

#include <math.h>

double an_normality_chance(double a)
{
    if (a >= 0.6) {
        const double most = fmin(a, 153.0); /* where the parabola would turn */
        return exp(1.2937 - 5.709 * most + 0.0186 * most * most);
    }
    if (a >= 0.34) {
        return exp(0.9177 - 4.279 * a - 1.38 * a * a);
    }
    if (a >= 0.2) {
        return -expm1(-8.318 + 42.796 * a - 59.938 * a * a);
    }
    return -expm1(-13.436 + 101.14 * a - 223.73 * a * a);
}

enum an_status an_anderson_darling(const double x[], size_t n, double scratch[],
                                   struct an_normality *result)
{
    *result = (struct an_normality){NAN, NAN, NAN};
    if (n < 8) {
        return AN_TOO_FEW;
    }
    struct an_moments moments;
    const enum an_status st = an_moments_of(x, n, &moments);
    if (st) {
        return st;
    }
    const double sd = an_moments_sd(&moments);
    if (!(sd > 0.0)) {
        return AN_NO_SPREAD;
    }
    for (size_t i = 0; i < n; i++) {
        scratch[i] = (x[i] - moments.mean) / sd;
    }
    order_up(scratch, n);
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        const double weight = 2.0 * (double)i + 1.0;
        sum +=
            weight * (an_normal_log_below(scratch[i]) + an_normal_log_below(-scratch[n - 1 - i]));
    }
    const double count = (double)n;
    const double a2 = -count - sum / count;
    const double a2_star = a2 * (1.0 + 0.75 / count + 2.25 / (count * count));
    *result = (struct an_normality){a2, a2_star, an_normality_chance(a2_star)};
    return AN_OK;
}
