/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Random numbers for simulations of run lengths.
 *
 * Responsible for: the same numbers from the same seed on every machine. Never for secrets.
 * [Blackman and Vigna, Scrambled linear pseudorandom number generators, ACM TOMS 47, 2021:
 * xoshiro256**, begun by SplitMix64; from memory]
 */
#include "andamento/stat/run_length.h"
#include "andamento/stat/tests.h"

static uint64_t rotated(uint64_t x, int bits)
{
    return x << bits | x >> (64 - bits);
}

void an_random_start(struct an_random *random, uint64_t seed)
{
    for (int i = 0; i < 4; i++) {
        uint64_t z = seed += 0x9E3779B97F4A7C15U;
        z = (z ^ z >> 30) * 0xBF58476D1CE4E5B9U;
        z = (z ^ z >> 27) * 0x94D049BB133111EBU;
        random->s[i] = z ^ z >> 31;
    }
}

static uint64_t next(struct an_random *random)
{
    uint64_t *s = random->s;
    const uint64_t result = rotated(s[1] * 5, 7) * 9;
    const uint64_t t = s[1] << 17;
    s[2] ^= s[0];
    s[3] ^= s[1];
    s[1] ^= s[2];
    s[0] ^= s[3];
    s[2] ^= t;
    s[3] = rotated(s[3], 45);
    return result;
}

double an_random_uniform(struct an_random *random)
{
    return ((double)(next(random) >> 11) + 0.5) * 0x1p-53;
}

double an_random_normal(struct an_random *random)
{
    return an_normal_quantile(an_random_uniform(random));
}
