/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Sums of doubles carried as an unevaluated pair hi + lo, about 106 bits.
 *
 * The hard idea: a + b in doubles has an error that is itself a double, and six additions recover
 * it (Knuth, The Art of Computer Programming 2, 1969, section 4.2.2, theorem C; from memory). It
 * holds only while the compiler keeps IEEE rounding: no -ffast-math, no contraction.
 */
#ifndef AN_STAT_COMPENSATED_H
#define AN_STAT_COMPENSATED_H

#include <math.h>
#include <stddef.h>

struct pair_sum {
    double hi, lo;
};

static inline struct pair_sum pair_of(double a, double b)
{
    const double s = a + b;
    const double t = s - a;
    return (struct pair_sum){s, (a - (s - t)) + (b - t)};
}

static inline void pair_add(struct pair_sum *sum, double x)
{
    const struct pair_sum head = pair_of(sum->hi, x);
    *sum = pair_of(head.hi, head.lo + sum->lo);
}

/* sum += a * b with the rounding error of the product kept. */
static inline void pair_add_product(struct pair_sum *sum, double a, double b)
{
    const double p = a * b;
    pair_add(sum, p);
    pair_add(sum, fma(a, b, -p));
}

/* sum / n for a whole n that a double holds exactly. */
static inline struct pair_sum pair_over(struct pair_sum sum, double n)
{
    const double q = sum.hi / n;
    const double rest = fma(-q, n, sum.hi) + sum.lo;
    return pair_of(q, rest / n);
}

/* x - mean, rounded once: the subtraction of the high part is exact or its error is carried. */
static inline double pair_from(double x, struct pair_sum mean)
{
    const struct pair_sum d = pair_of(x, -mean.hi);
    return d.hi + (d.lo - mean.lo);
}

/* Mean of n values as a pair; n >= 1. Not finite when a value is not, or the sum overflows. */
static inline struct pair_sum pair_mean(const double x[], size_t n)
{
    struct pair_sum sum = {0.0, 0.0};
    for (size_t i = 0; i < n; i++) {
        pair_add(&sum, x[i]);
    }
    return pair_over(sum, (double)n);
}

#endif
