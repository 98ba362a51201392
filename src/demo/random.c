/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Random numbers of the demonstration line.
 *
 * Responsible for: uniform, normal and Poisson numbers that are the same to the bit wherever IEEE
 * doubles are. Must never: keep a state of its own, read a clock, call log() or exp(), whose last
 * bit is not the same in every library (sqrt() and the four operations are exact by IEEE 754).
 *
 * The hard idea: each tile has a generator of its own at each station, made from seed, subject and
 * index by splitmix64. A fault that changes how many numbers one tile draws leaves all others as
 * they were, so the quiet line and the faulty one differ where the fault is and nowhere else.
 *
 * xoshiro256** and splitmix64: Blackman and Vigna, Scrambled linear pseudorandom number
 * generators, ACM Trans. Math. Softw. 47(4), 2021; public-domain reference code (from memory).
 * Normal quantile: Wichura, Algorithm AS 241 (PPND16), Applied Statistics 37(3), 1988 (from
 * memory); relative error about 1e-16.
 */
#include "demo/random.h"

#include <math.h>

uint64_t an_demo_splitmix64(uint64_t *state)
{
    *state += UINT64_C(0x9e3779b97f4a7c15);
    uint64_t z = *state;
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

struct an_demo_random an_demo_random_of(uint64_t seed, uint64_t subject, uint64_t index)
{
    uint64_t mix = seed;
    mix = an_demo_splitmix64(&mix) ^ subject;
    mix = an_demo_splitmix64(&mix) ^ index;
    struct an_demo_random random;
    for (size_t i = 0; i < 4; i++) {
        random.state[i] = an_demo_splitmix64(&mix);
    }
    return random;
}

static uint64_t rotate_left(uint64_t x, int by)
{
    return (x << by) | (x >> (64 - by));
}

uint64_t an_demo_random_next(struct an_demo_random *random)
{
    uint64_t *const s = random->state;
    const uint64_t result = rotate_left(s[1] * 5, 7) * 9;
    const uint64_t t = s[1] << 17;
    s[2] ^= s[0];
    s[3] ^= s[1];
    s[1] ^= s[2];
    s[0] ^= s[3];
    s[2] ^= t;
    s[3] = rotate_left(s[3], 45);
    return result;
}

double an_demo_uniform(struct an_demo_random *random)
{
    return ((double)(an_demo_random_next(random) >> 12) + 0.5) * 0x1p-52;
}

int an_demo_below(struct an_demo_random *random, int n)
{
    /* the bias of this product, n / 2^32, is far below anything a chart could show */
    return (int)(((an_demo_random_next(random) >> 32) * (uint64_t)n) >> 32);
}

void an_demo_shuffle(struct an_demo_random *random, int of[], int n)
{
    for (int i = n - 1; i > 0; i--) {
        const int j = an_demo_below(random, i + 1);
        const int kept = of[i];
        of[i] = of[j];
        of[j] = kept;
    }
}

/* log(m * 2^e) = e log 2 + 2 atanh((m - 1) / (m + 1)), m in [sqrt(1/2), sqrt(2)): the argument of
 * atanh is below 0.172, so 22 terms end below 1e-17. */
double an_demo_log(double x)
{
    int exponent = 0;
    double m = frexp(x, &exponent);
    if (m < 0.70710678118654752) {
        m *= 2.0;
        exponent--;
    }
    const double t = (m - 1.0) / (m + 1.0);
    const double t2 = t * t;
    double sum = 0.0;
    for (int k = 21; k >= 0; k--) {
        sum = sum * t2 + 1.0 / (2 * k + 1);
    }
    return (double)exponent * 0.69314718055994531 + 2.0 * t * sum;
}

/* exp(x) = 2^k exp(r), |r| <= log(2) / 2, by Taylor's series. */
double an_demo_exp(double x)
{
    const double k = floor(x / 0.69314718055994531 + 0.5);
    const double r = (x - k * 0.693147180369123816490) - k * 1.90821492927058770002e-10;
    double sum = 1.0;
    for (int n = 18; n >= 1; n--) {
        sum = 1.0 + sum * r / n;
    }
    return ldexp(sum, (int)k);
}

/* c[0] + c[1] x + ... + c[7] x^7 */
static double polynomial(const double c[8], double x)
{
    double sum = c[7];
    for (int i = 6; i >= 0; i--) {
        sum = sum * x + c[i];
    }
    return sum;
}

double an_demo_normal_quantile(double p)
{
    static const double a[8] = {3.3871328727963666080e0,  1.3314166789178437745e+2,
                                1.9715909503065514427e+3, 1.3731693765509461125e+4,
                                4.5921953931549871457e+4, 6.7265770927008700853e+4,
                                3.3430575583588128105e+4, 2.5090809287301226727e+3};
    static const double b[8] = {1.0,
                                4.2313330701600911252e+1,
                                6.8718700749205790830e+2,
                                5.3941960214247511077e+3,
                                2.1213794301586595867e+4,
                                3.9307895800092710610e+4,
                                2.8729085735721942674e+4,
                                5.2264952788528545610e+3};
    static const double c[8] = {1.42343711074968357734e0,  4.63033784615654529590e0,
                                5.76949722146069140550e0,  3.64784832476320460504e0,
                                1.27045825245236838258e0,  2.41780725177450611770e-1,
                                2.27238449892691845833e-2, 7.74545014278341407640e-4};
    static const double d[8] = {1.0,
                                2.05319162663775882187e0,
                                1.67638483018380384940e0,
                                6.89767334985100004550e-1,
                                1.48103976427480074590e-1,
                                1.51986665636164571966e-2,
                                5.47593808499534494600e-4,
                                1.05075007164441684324e-9};
    static const double e[8] = {6.65790464350110377720e0,  5.46378491116411436990e0,
                                1.78482653991729133580e0,  2.96560571828504891230e-1,
                                2.65321895265761230930e-2, 1.24266094738807843860e-3,
                                2.71155556874348757815e-5, 2.01033439929228813265e-7};
    static const double f[8] = {1.0,
                                5.99832206555887937690e-1,
                                1.36929880922735805310e-1,
                                1.48753612908506148525e-2,
                                7.86869131145613259100e-4,
                                1.84631831751005468180e-5,
                                1.42151175831644588870e-7,
                                2.04426310338993978564e-15};
    const double q = p - 0.5;
    if (fabs(q) <= 0.425) {
        const double r = 0.180625 - q * q;
        return q * polynomial(a, r) / polynomial(b, r);
    }
    const double r = sqrt(-an_demo_log(q < 0.0 ? p : 1.0 - p));
    const double z = r <= 5.0 ? polynomial(c, r - 1.6) / polynomial(d, r - 1.6)
                              : polynomial(e, r - 5.0) / polynomial(f, r - 5.0);
    return q < 0.0 ? -z : z;
}

double an_demo_normal(struct an_demo_random *random)
{
    return an_demo_normal_quantile(an_demo_uniform(random));
}

/* Mills' continued fraction above 2.5, the series of the integral below it [Abramowitz and Stegun
 * 26.2.14 and 26.2.11, from memory]. Good to 1e-12 relative, more than a delay in whole samples
 * needs. */
double an_demo_normal_tail(double z)
{
    const double density = 0.39894228040143268 * an_demo_exp(-0.5 * z * z);
    if (z < 0.0) {
        return 1.0 - an_demo_normal_tail(-z);
    }
    if (z > 37.0) {
        return 0.0;
    }
    if (z > 2.5) {
        double fraction = z;
        for (int k = 80; k >= 1; k--) {
            fraction = z + k / fraction;
        }
        return density / fraction;
    }
    double term = z, sum = z;
    for (int k = 1; k < 60; k++) {
        term *= z * z / (2 * k + 1);
        sum += term;
    }
    return 0.5 - density * sum;
}

/* By inversion: one uniform number a draw. */
int an_demo_poisson(struct an_demo_random *random, double mean)
{
    const double u = an_demo_uniform(random);
    double chance = an_demo_exp(-mean);
    double below = chance;
    int k = 0;
    while (u > below && k < 5000) {
        k++;
        chance *= mean / k;
        below += chance;
    }
    return k;
}
