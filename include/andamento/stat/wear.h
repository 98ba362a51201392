/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Trends that are expected: a tool wears, so a value moves with the tool's life, and what is judged is
 * the departure from that. Allocates nothing, keeps nothing: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_WEAR_H
#define ANDAMENTO_STAT_WEAR_H

#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>

struct an_wear {
    double samples;         /* m */
    double tools;           /* lives seen: 1 and each fall of life */
    double intercept, rate; /* value at life 0; change per unit of life */
    double sigma;           /* standard deviation about the line, m - 2 degrees of freedom */
    double life_mean, life_squares; /* mean, and sum of squared deviations, of life */
    double life_least, life_most;
    double rate_se, t, p; /* of rate; p: chance of so steep a line without wear, both directions */
    double pure_p; /* chance of so large departures of tools' own means from the line: small, and
                      tools differ by more than the line says; NAN with one tool */
};
/*
 * Least squares over all lives: y = intercept + rate life. excluded may be NULL. life falls when a
 * tool is changed. AN_TOO_FEW: fewer than 5 samples; AN_NO_SPREAD: life never differs (or no
 * departure at all: model written, sigma 0); AN_DOMAIN: a number not finite, life below 0.
 * [Montgomery, chapter on process adjustment and tool wear; Mandel, The regression control chart,
 * Journal of Quality Technology 1(1), 1969; from memory]
 */
AN_CHECKED enum an_status an_wear_learn(const double life[], const double y[], size_t m,
                                        const bool excluded[], struct an_wear *wear);
/* Expected value at a life, and the standard deviation of a sample to come there:
 * sigma sqrt(1 + 1 / m + (life - mean)^2 / squares). */
struct an_wear_expected {
    double value, sigma;
};
struct an_wear_expected an_wear_at(const struct an_wear *wear, double life);

/*
 * The life at which the tool now in use reaches a limit: its own level (from its samples so far),
 * the rate of the baseline. Interval by Fieller's theorem [Fieller, Some problems in interval
 * estimation, Journal of the Royal Statistical Society B 16, 1954; from memory], of the line, not of
 * single values. AN_TOO_FEW: n < 1; AN_DOMAIN: limit, confidence; AN_NO_SPREAD: the rate cannot be told
 * from 0 at this confidence, so that there is no bounded interval (life written, bounds NAN); a limit
 * that lies behind: life below the tool's own.
 */
struct an_wear_end {
    double life, lower, upper;
};
AN_CHECKED enum an_status an_wear_end_of(const struct an_wear *wear, const double life[],
                                         const double y[], size_t n, double limit,
                                         double confidence, struct an_wear_end *end);

#endif
