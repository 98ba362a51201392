/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Robust place and spread, and values that do not belong.
 *
 * Must never decide: it lists suspects, people exclude.
 *   MAD  median |x - median| / 0.6745: withstands half of the values being wild, 37 per cent efficient
 *   Qn   the k-th smallest of the differences |x_i - x_j|, i < j, k = h (h - 1) / 2, h = n / 2 + 1 (whole),
 *        times 2.21914 (1 / (sqrt(2) Phi^-1(5/8))): withstands as much, 82 per cent efficient, no
 *        symmetry asked [Rousseeuw and Croux, Alternatives to the median absolute deviation, JASA 88,
 *        1993; factors for small n: Croux and Rousseeuw, Time-efficient algorithms for two highly
 *        robust estimators of scale, Computational Statistics 1, 1992; both from memory; the tests
 *        check them by simulation]. The k-th difference is found by halving over the doubles: how
 *        many differences are at most v is a walk of two fingers over the sorted values.
 *   trimmed, winsorised  [Tukey and McLaughlin, Less vulnerable confidence and significance procedures
 *        for location, Sankhya A 25, 1963; from memory]: se of the trimmed mean = sd of the
 *        winsorised values / ((1 - 2 trim) sqrt(n))
 */
#include "andamento/stat/robust.h"

#include "andamento/stat/moments.h"
#include "andamento/stat/tests.h"
#include "stat/distribution.h"
#include "stat/order.h"

#include <math.h>
#include <stdint.h>
#include <string.h>

#define MAD_NORMAL 1.48260221850560186055 /* 1 / Phi^-1(3/4) */
#define QN_NORMAL 2.21914446598507684398  /* 1 / (sqrt(2) Phi^-1(5/8)) */

static double middle_of(const double sorted[], size_t n)
{
    const double high = sorted[n / 2];
    return n % 2 ? high : sorted[n / 2 - 1] + (high - sorted[n / 2 - 1]) / 2.0;
}

static uint64_t differences_up_to(const double sorted[], size_t n, double v)
{
    uint64_t count = 0;
    size_t low = 0;
    for (size_t high = 1; high < n; high++) {
        while (sorted[high] - sorted[low] > v) {
            low++;
        }
        count += high - low;
    }
    return count;
}

static double from_bits(uint64_t bits)
{
    double x;
    memcpy(&x, &bits, sizeof x);
    return x;
}

/* The smallest double that k differences do not exceed: the k-th difference itself. Non-negative
 * doubles are ordered as their bits are. */
static double kth_difference(const double sorted[], size_t n, uint64_t k)
{
    const double most = sorted[n - 1] - sorted[0];
    uint64_t low = 0, high;
    memcpy(&high, &most, sizeof high);
    while (low < high) {
        const uint64_t middle = low + (high - low) / 2;
        if (differences_up_to(sorted, n, from_bits(middle)) >= k) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    return from_bits(low);
}

static double small_n(size_t n)
{
    static const double factor[] = {0.399, 0.994, 0.512, 0.844, 0.611, 0.857, 0.669, 0.872};
    const double count = (double)n;
    if (n <= 9) {
        return factor[n - 2];
    }
    return n % 2 ? count / (count + 1.4) : count / (count + 3.8);
}

static enum an_status sorted_of(const double x[], size_t n, double sorted[])
{
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(x[i])) {
            return AN_DOMAIN;
        }
        sorted[i] = x[i];
    }
    order_up(sorted, n);
    return isfinite(sorted[n - 1] - sorted[0]) ? AN_OK : AN_DOMAIN;
}

static enum an_status set_trimmed(const double sorted[], size_t n, double trim, double work[],
                                  struct an_robust *r)
{
    const size_t cut = (size_t)floor(trim * (double)n);
    struct an_moments inner, pulled;
    if (n < 2 * cut + 2) {
        return AN_TOO_FEW;
    }
    enum an_status st = an_moments_of(sorted + cut, n - 2 * cut, &inner);
    for (size_t i = 0; i < n; i++) {
        const size_t from = i < cut ? cut : i > n - 1 - cut ? n - 1 - cut : i;
        work[i] = sorted[from];
    }
    st = st ? st : an_moments_of(work, n, &pulled);
    if (!st) {
        r->trimmed_mean = inner.mean;
        r->winsorised_mean = pulled.mean;
        r->winsorised_sd = an_moments_sd(&pulled);
        const double kept = 1.0 - 2.0 * (double)cut / (double)n;
        r->trimmed_se = r->winsorised_sd / (kept * sqrt((double)n));
    }
    return st;
}

enum an_status an_robust_of(const double x[], size_t n, double trim, double scratch[],
                            struct an_robust *result)
{
    double *const sorted = scratch, *const work = scratch + n;
    if (!(trim >= 0.0 && trim < 0.5)) {
        return AN_DOMAIN;
    }
    if (n < 2) {
        return AN_TOO_FEW;
    }
    enum an_status st = sorted_of(x, n, sorted);
    if (st) {
        return st;
    }
    struct an_robust r = {.n = n, .median = middle_of(sorted, n)};
    for (size_t i = 0; i < n; i++) {
        work[i] = fabs(sorted[i] - r.median);
    }
    order_up(work, n);
    r.mad = MAD_NORMAL * middle_of(work, n);
    const uint64_t half = n / 2 + 1;
    r.qn = QN_NORMAL * small_n(n) * kth_difference(sorted, n, half * (half - 1) / 2);
    st = set_trimmed(sorted, n, trim, work, &r);
    if (!st) {
        *result = r;
    }
    return st;
}

enum an_status an_robust_suspects(const double x[], size_t n, double level, double scratch[],
                                  bool suspect[], size_t *count, double *reach,
                                  struct an_robust *result)
{
    if (!(level > 0.0 && level < 1.0)) {
        return AN_DOMAIN;
    }
    if (n < 8) {
        return AN_TOO_FEW;
    }
    const enum an_status st = an_robust_of(x, n, 0.1, scratch, result);
    if (st) {
        return st;
    }
    const double sigma = result->qn > 0.0    ? result->qn
                         : result->mad > 0.0 ? result->mad
                                             : result->winsorised_sd;
    if (!(scratch[n - 1] > scratch[0])) {
        return AN_NO_SPREAD;
    }
    *reach = sigma * an_normal_quantile_above(level / (2.0 * (double)n));
    *count = 0;
    for (size_t i = 0; i < n; i++) {
        suspect[i] = fabs(x[i] - result->median) > *reach;
        *count += suspect[i];
    }
    return AN_OK;
}
