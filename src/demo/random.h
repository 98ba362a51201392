/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Random numbers of the demonstration line: the same on every machine, for nothing here calls a
 * function of the mathematics library whose last bit may differ. One thread a generator.
 */
#ifndef AN_DEMO_RANDOM_H
#define AN_DEMO_RANDOM_H

#include <stddef.h>
#include <stdint.h>

struct an_demo_random {
    uint64_t state[4];
};

/* The next number of splitmix64; *state moves on. */
uint64_t an_demo_splitmix64(uint64_t *state);
/* A generator of its own for the index-th thing of a subject: what is drawn for one tile at one
 * station never depends on how much was drawn for another. */
struct an_demo_random an_demo_random_of(uint64_t seed, uint64_t subject, uint64_t index);
uint64_t an_demo_random_next(struct an_demo_random *random);     /* xoshiro256** */
double an_demo_uniform(struct an_demo_random *random);           /* in (0, 1), 53 bits */
double an_demo_normal(struct an_demo_random *random);            /* mean 0, sd 1 */
int an_demo_poisson(struct an_demo_random *random, double mean); /* mean 0 to 500 */
int an_demo_below(struct an_demo_random *random, int n);         /* 0 to n - 1; n is at least 1 */
void an_demo_shuffle(struct an_demo_random *random, int of[], int n);

double an_demo_normal_quantile(double p); /* 0 < p < 1 */
double an_demo_normal_tail(double z);     /* chance of a value above z */
double an_demo_log(double x);             /* x > 0, normal range */
double an_demo_exp(double x);             /* -700 to 700 */

#endif
