/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Sums of scaled whole numbers: what stations wrote, added without any rounding.
 *
 * Responsible for: the exact road of moments.h. Must never round before the end, and never let an
 * integer overflow. Hard idea: with S = sum of x and Q = sum of x^2 as whole numbers of units
 * 10^-decimals, the sum of squared deviations is (n Q - S^2) / (n 10^(2 decimals)), a quotient of
 * two whole numbers below 2^192; it is rounded once. Q needs the most room: while Q fits 128 bits,
 * |S| <= sqrt(n Q) < 2^96 fits too. Everything kept is a function of the set of readings that
 * only grows with it, so whether the sums stay exact does not depend on the order either.
 */
#include "andamento/base/number.h"
#include "andamento/stat/moments.h"

#include <math.h>

__extension__ typedef unsigned __int128 an_u128;
__extension__ typedef __int128 an_i128;

enum { DECIMALS_MOST = 19 }; /* 10^19 is the largest power of ten in 64 bits, 10^38 in 128 */

/* ---- whole numbers of 256 bits, just enough of them ---- */

struct wide {
    an_u128 hi, lo;
};

static struct wide wide_product(an_u128 a, uint64_t b)
{
    const an_u128 low = (an_u128)(uint64_t)a * b;
    const an_u128 high = (a >> 64) * b + (low >> 64); /* < 2^128: both factors are below 2^64 */
    return (struct wide){high >> 64, (high << 64) | (uint64_t)low};
}

static struct wide wide_minus(struct wide a, struct wide b)
{
    return (struct wide){a.hi - b.hi - (a.lo < b.lo ? 1U : 0U), a.lo - b.lo};
}

static bool wide_at_least(struct wide a, struct wide b)
{
    return a.hi > b.hi || (a.hi == b.hi && a.lo >= b.lo);
}

static struct wide wide_square(an_u128 a) /* a < 2^127 */
{
    const uint64_t low = (uint64_t)a, high = (uint64_t)(a >> 64);
    const an_u128 middle = (an_u128)low * high;
    struct wide s = {(an_u128)high * high + (middle >> 63), (an_u128)low * low};
    const an_u128 add = middle << 65;
    s.lo += add;
    s.hi += s.lo < add ? 1U : 0U;
    return s;
}

static int wide_bits(struct wide a)
{
    const uint64_t words[4] = {(uint64_t)(a.hi >> 64), (uint64_t)a.hi, (uint64_t)(a.lo >> 64),
                               (uint64_t)a.lo};
    for (int i = 0; i < 4; i++) {
        if (words[i] != 0) {
            return 256 - 64 * i - __builtin_clzll(words[i]);
        }
    }
    return 0;
}

static struct wide wide_up(struct wide a, int bits) /* a << bits, 0 <= bits < 256 */
{
    if (bits >= 128) {
        a = (struct wide){a.lo, 0};
        bits -= 128;
    }
    if (bits > 0) {
        a = (struct wide){(a.hi << bits) | (a.lo >> (128 - bits)), a.lo << bits};
    }
    return a;
}

/*
 * above / below, rounded once, to nearest even. Both below 2^192, below > 0. Schoolbook binary
 * division: 64 bits of quotient, the last one sticky when a remainder is left; the conversion
 * from 64 bits to a double then rounds correctly.
 */
static double wide_ratio(struct wide above, struct wide below)
{
    const int lead = wide_bits(above) - wide_bits(below);
    if (above.hi == 0 && above.lo == 0) {
        return 0.0;
    }
    if (lead > 0) {
        below = wide_up(below, lead);
    } else {
        above = wide_up(above, -lead);
    }
    int exponent = lead;
    if (!wide_at_least(above, below)) {
        above = wide_up(above, 1);
        exponent--;
    }
    uint64_t quotient = 0;
    for (int bit = 63; bit >= 0; bit--) {
        if (wide_at_least(above, below)) {
            above = wide_minus(above, below);
            quotient |= (uint64_t)1 << bit;
        }
        above = wide_up(above, 1);
    }
    if (above.hi != 0 || above.lo != 0) {
        quotient |= 1U;
    }
    return ldexp((double)quotient, exponent - 63);
}

/* ---- powers of ten, and one number ---- */

static uint64_t ten_to(int power) /* 0 to DECIMALS_MOST */
{
    uint64_t p = 1;
    for (int i = 0; i < power; i++) {
        p *= 10U;
    }
    return p;
}

static an_u128 magnitude(an_i128 x)
{
    return x < 0 ? (an_u128)0 - (an_u128)x : (an_u128)x;
}

/* sum / (n 10^decimals), correctly rounded. */
static double scaled_down(an_i128 sum, uint64_t n, int decimals)
{
    const double size = wide_ratio((struct wide){0, magnitude(sum)},
                                   (struct wide){0, (an_u128)n * ten_to(decimals)});
    return sum < 0 ? -size : size;
}

/* ---- the sums ---- */

/* From here on in doubles. */
static void go_inexact(struct an_exact_sums *sums)
{
    if (sums->inexact) {
        return;
    }
    const struct an_moments so_far = an_exact_moments(sums);
    sums->inexact = true;
    sums->running_mean = so_far.mean;
    sums->running_ssd = so_far.ssd;
    sums->running_min = so_far.min;
    sums->running_max = so_far.max;
}

static void take_moments(struct an_exact_sums *sums, const struct an_moments *more)
{
    const struct an_moments before = an_exact_moments(sums);
    const struct an_moments both = an_moments_join(&before, more);
    go_inexact(sums);
    sums->n = both.n;
    sums->running_mean = both.mean;
    sums->running_ssd = both.ssd;
    sums->running_min = both.min;
    sums->running_max = both.max;
}

/* Restates exact sums in finer units. False, and nothing changed, if they do not fit. */
static bool refine(struct an_exact_sums *sums, int decimals)
{
    if (sums->n == 0 || decimals == sums->decimals) {
        sums->decimals = decimals;
        return true;
    }
    const uint64_t ten = ten_to(decimals - sums->decimals);
    int64_t low, high;
    if (__builtin_mul_overflow(sums->min, ten, &low) ||
        __builtin_mul_overflow(sums->max, ten, &high)) {
        return false;
    }
    const struct wide once = wide_product(sums->squares, ten);
    const struct wide twice = wide_product(once.lo, ten);
    if (once.hi != 0 || twice.hi != 0) {
        return false;
    }
    sums->min = low;
    sums->max = high;
    sums->squares = twice.lo;
    sums->sum *= (an_i128)ten; /* |sum| <= sqrt(n squares) < 2^96 */
    sums->decimals = decimals;
    return true;
}

/* Brings the sums and *scaled to the same units; false if that cannot be done exactly. */
static bool same_units(struct an_exact_sums *sums, int decimals, int64_t *scaled)
{
    if (decimals > DECIMALS_MOST || decimals < -DECIMALS_MOST) {
        return false;
    }
    const int wanted = decimals < 0 ? 0 : decimals; /* 12e3 is 12000 units, as if written so */
    if ((sums->n == 0 || wanted > sums->decimals) && !refine(sums, wanted)) {
        return false;
    }
    const int shift = sums->decimals - decimals;
    if (*scaled == 0 || shift == 0) {
        return true;
    }
    return shift <= DECIMALS_MOST && !__builtin_mul_overflow(*scaled, ten_to(shift), scaled);
}

void an_exact_add(struct an_exact_sums *sums, int64_t scaled, int decimals)
{
    int64_t x = scaled;
    if (!sums->inexact && (decimals == sums->decimals || same_units(sums, decimals, &x))) {
        const an_u128 size = magnitude(x);
        an_u128 squares;
        if (!__builtin_add_overflow(sums->squares, size * size, &squares)) {
            sums->squares = squares;
            sums->sum += x;
            sums->min = sums->n == 0 || x < sums->min ? x : sums->min;
            sums->max = sums->n == 0 || x > sums->max ? x : sums->max;
            sums->n++;
            return;
        }
    }
    const double value = an_decimal_value(scaled, decimals);
    const struct an_moments one = {1, value, 0.0, value, value};
    take_moments(sums, &one);
}

void an_exact_join(struct an_exact_sums *sums, const struct an_exact_sums *more)
{
    if (more->n == 0) {
        return;
    }
    if (!sums->inexact && !more->inexact) {
        struct an_exact_sums mine = *sums, theirs = *more;
        const int finest =
            mine.n > 0 && mine.decimals > theirs.decimals ? mine.decimals : theirs.decimals;
        an_u128 squares;
        if (refine(&mine, finest) && refine(&theirs, finest) &&
            !__builtin_add_overflow(mine.squares, theirs.squares, &squares)) {
            mine.min = mine.n == 0 || theirs.min < mine.min ? theirs.min : mine.min;
            mine.max = mine.n == 0 || theirs.max > mine.max ? theirs.max : mine.max;
            mine.squares = squares;
            mine.sum += theirs.sum;
            mine.n += theirs.n;
            *sums = mine;
            return;
        }
    }
    const struct an_moments other = an_exact_moments(more);
    take_moments(sums, &other);
}

struct an_moments an_exact_moments(const struct an_exact_sums *sums)
{
    if (sums->n <= 0) {
        return (struct an_moments){0, 0.0, 0.0, NAN, NAN};
    }
    if (sums->inexact) {
        return (struct an_moments){sums->n, sums->running_mean, sums->running_ssd,
                                   sums->running_min, sums->running_max};
    }
    const uint64_t n = (uint64_t)sums->n;
    const uint64_t ten = ten_to(sums->decimals);
    const struct wide above =
        wide_minus(wide_product(sums->squares, n), wide_square(magnitude(sums->sum)));
    const struct wide below = wide_product((an_u128)ten * ten, n);
    return (struct an_moments){
        .n = sums->n,
        .mean = scaled_down(sums->sum, n, sums->decimals),
        .ssd = wide_ratio(above, below),
        .min = an_decimal_value(sums->min, sums->decimals),
        .max = an_decimal_value(sums->max, sums->decimals),
    };
}
