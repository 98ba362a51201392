/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Random numbers for simulations with a stated seed: the same on every machine, no state but the
 * caller's. xoshiro256** seeded by splitmix64 [Blackman and Vigna, Scrambled linear pseudorandom
 * number generators, 2018; from memory]; gamma by Marsaglia and Tsang, A simple method for
 * generating gamma variables, ACM Transactions on Mathematical Software 26, 2000 (from memory).
 */
#ifndef AN_STAT_DRAWS_H
#define AN_STAT_DRAWS_H

#include "andamento/stat/tests.h"

#include <math.h>
#include <stdint.h>

struct stat_draws {
    uint64_t state[4];
};

static inline struct stat_draws draws_from(uint64_t seed)
{
    struct stat_draws d;
    for (int i = 0; i < 4; i++) {
        seed += 0x9e3779b97f4a7c15U;
        uint64_t z = seed;
        z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
        z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
        d.state[i] = z ^ (z >> 31);
    }
    return d;
}

static inline uint64_t draws_bits(struct stat_draws *d)
{
    uint64_t *const s = d->state;
    const uint64_t five = s[1] * 5U;
    const uint64_t out = ((five << 7) | (five >> 57)) * 9U;
    const uint64_t t = s[1] << 17;
    s[2] ^= s[0];
    s[3] ^= s[1];
    s[1] ^= s[2];
    s[0] ^= s[3];
    s[2] ^= t;
    s[3] = (s[3] << 45) | (s[3] >> 19);
    return out;
}

/* 0 < u < 1, 52 bits */
static inline double draws_uniform(struct stat_draws *d)
{
    return ((double)(draws_bits(d) >> 12) + 0.5) * 0x1p-52;
}

static inline double draws_normal(struct stat_draws *d)
{
    return an_normal_quantile(draws_uniform(d));
}

/* scale 1, shape > 0 */
static inline double draws_gamma(struct stat_draws *d, double shape)
{
    const double lift = shape < 1.0 ? pow(draws_uniform(d), 1.0 / shape) : 1.0;
    const double a = (shape < 1.0 ? shape + 1.0 : shape) - 1.0 / 3.0;
    const double c = 1.0 / sqrt(9.0 * a);
    for (;;) {
        const double z = draws_normal(d);
        const double v = (1.0 + c * z) * (1.0 + c * z) * (1.0 + c * z);
        if (v > 0.0 && log(draws_uniform(d)) < 0.5 * z * z + a - a * v + a * log(v)) {
            return a * v * lift;
        }
    }
}

static inline double draws_chi_square(struct stat_draws *d, double df)
{
    return 2.0 * draws_gamma(d, df / 2.0);
}

#endif
