/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Mean and spread of readings, exact where it can be.
 *
 * Two roads to the same struct: doubles, by compensated two-pass sums, for analyses; and scaled
 * whole numbers (what a station wrote, times a power of ten), by exact 128-bit sums, for intake:
 * the latter do not depend on the order of the readings, and round once, at the end.
 * Allocates nothing, keeps nothing: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_MOMENTS_H
#define ANDAMENTO_STAT_MOMENTS_H

#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct an_moments {
    int64_t n;
    double mean, ssd; /* ssd: sum of (x - mean)^2 */
    double min, max;
};

/*
 * mean and ssd of x[0..n), in the readings' unit and its square. The mean is carried as a pair of
 * doubles, so both agree with the exact moments of the doubles handed in to 15 digits. A decimal
 * reading that no double holds is rounded before it gets here: 10000000.2 +- 0.1 keeps 8 digits of
 * its sd on this road, all of them on the exact one below.
 * AN_TOO_FEW if n = 0 (then all zero, min and max NAN); AN_DOMAIN if a value is not finite, or its
 * sums leave the range of doubles.
 */
AN_CHECKED enum an_status an_moments_of(const double x[], size_t n, struct an_moments *moments);
/* Sample standard deviation sqrt(ssd / (n - 1)); NAN if n < 2. */
double an_moments_sd(const struct an_moments *moments);
/* Of both groups together; the same bits for (a, b) and (b, a). The means come in rounded, so ssd
 * is right to about n * (2^-53 mean)^2 and no better. [Chan, Golub, LeVeque, Algorithms for
 * computing the sample variance, The American Statistician 37, 1983; from memory] */
struct an_moments an_moments_join(const struct an_moments *a, const struct an_moments *b);
/* Of y = x * factor + offset. factor may be negative (min and max change places). */
struct an_moments an_moments_convert(const struct an_moments *moments, double factor,
                                     double offset);

/*
 * Sums of scaled whole numbers. Starts as all zeroes. When the exact sums would overflow, it goes
 * on in doubles by updating (inexact is set): nothing is refused. While inexact is not set, the
 * moments are those of the decimals themselves, each rounded once, whatever the order of the
 * numbers and of the joins; whether it gets set does not depend on the order either. It gets set
 * by more than 19 decimals, by numbers that in the finest units met do not fit 64 bits, and by a
 * sum of squares beyond 128 bits.
 */
struct an_exact_sums {
    int64_t n;
    int64_t min, max;
    int decimals; /* of every number so far; more decimals rescale what is there */
    bool inexact;
    __extension__ __int128 sum;
    __extension__ unsigned __int128 squares;
    double running_mean, running_ssd; /* once inexact, in units of the number itself */
    double running_min, running_max;
};
void an_exact_add(struct an_exact_sums *sums, int64_t scaled, int decimals);
void an_exact_join(struct an_exact_sums *sums, const struct an_exact_sums *more);
struct an_moments an_exact_moments(const struct an_exact_sums *sums); /* n = 0: zeroes, NAN */

#endif
