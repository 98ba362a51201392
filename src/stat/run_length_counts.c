/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Run lengths of an ewma and of a cusum of counts.
 *
 * Responsible for: what small counts do to limits made for normal points. The hard idea: from any
 * value the chart jumps to few others, one for each count, so the equation of the run length has
 * no density and is written on an even net; a jump that ends between two of its points goes to both
 * in proportion, which keeps the mean. [Brook and Evans, An approach to the probability distribution
 * of cusum run length, Biometrika 59, 1972; Borror, Champ and Rigdon, Poisson EWMA control charts,
 * Journal of Quality Technology 30(4), 1998; both from memory]
 */
#include "andamento/stat/run_length.h"
#include "stat/distribution.h"
#include "stat/net.h"

#include <math.h>
#include <string.h>

enum { FINE = 400, COARSE = 160, COUNTS_MOST = 20000 };
#define TAIL 1e-13
#define LIMITS_MOST 12.0

struct counts { /* chances of first, first + 1, ... */
    double mean, sigma, first;
    double *chance;
    size_t n;
};

static enum an_status open_counts(const struct an_count_law *law, struct an_arena *arena,
                                  struct counts *counts)
{
    const bool good = law->rate > 0.0 && isfinite(law->rate) && law->n > 0.0 && isfinite(law->n) &&
                      (!law->proportion || (law->rate < 1.0 && law->n == floor(law->n)));
    if (!good) {
        return AN_DOMAIN;
    }
    counts->mean = law->rate * law->n;
    counts->sigma = sqrt(counts->mean * (law->proportion ? 1.0 - law->rate : 1.0));
    const double low = law->proportion ? an_binomial_quantile(TAIL, false, law->n, law->rate)
                                       : an_poisson_quantile(TAIL, false, counts->mean);
    const double high = law->proportion ? an_binomial_quantile(TAIL, true, law->n, law->rate)
                                        : an_poisson_quantile(TAIL, true, counts->mean);
    if (!(high - low < COUNTS_MOST)) {
        return AN_DOMAIN;
    }
    counts->first = low;
    counts->n = (size_t)(high - low) + 1;
    counts->chance = an_arena_alloc(arena, counts->n, sizeof *counts->chance);
    if (counts->chance == NULL) {
        return AN_NO_MEMORY;
    }
    double total = 0.0;
    for (size_t i = 0; i < counts->n; i++) {
        const double x = low + (double)i;
        const double log_chance =
            law->proportion ? an_log_gamma(law->n + 1.0) - an_log_gamma(x + 1.0) -
                                  an_log_gamma(law->n - x + 1.0) + x * log(law->rate) +
                                  (law->n - x) * log1p(-law->rate)
                            : x * log(counts->mean) - counts->mean - an_log_gamma(x + 1.0);
        counts->chance[i] = exp(log_chance);
        total += counts->chance[i];
    }
    for (size_t i = 0; i < counts->n; i++) {
        counts->chance[i] /= total;
    }
    return AN_OK;
}

/* One chart, or one side of it: the value next is keep * value + give * (count - mean) / sigma - drop,
 * no lower than `floor`; it signals above `high` and below `low`. */
struct walk {
    double keep, give, drop, floor, low, high, begin;
};

static double net_low(const struct walk *walk)
{
    return fmax(walk->low, walk->floor);
}

/* The chances of the points next, from `value`; what is left of 1 signals. */
static void fill_row(const struct walk *walk, const struct counts *counts, double value, size_t n,
                     double row[], double *exit)
{
    const double low = net_low(walk);
    const double step = (walk->high - low) / (double)(n - 1);
    *exit = 0.0;
    for (size_t i = 0; i < counts->n; i++) {
        const double z = (counts->first + (double)i - counts->mean) / counts->sigma;
        const double to = fmax(walk->keep * value + walk->give * z - walk->drop, walk->floor);
        const double slack = 1e-12 * (walk->high - low);
        if (to > walk->high + slack || to < walk->low - slack) {
            *exit += counts->chance[i];
            continue;
        }
        const double place = fmin(fmax((to - low) / step, 0.0), (double)(n - 1));
        const double before = fmin(floor(place), (double)(n - 2));
        const size_t at = (size_t)before;
        row[at] += counts->chance[i] * (1.0 - (place - before));
        row[at + 1] += counts->chance[i] * (place - before);
    }
}

static enum an_status walk_mean(const struct walk *walk, const struct counts *counts, size_t n,
                                struct an_arena *arena, double *mean)
{
    struct an_net net;
    struct an_run_length run;
    double unused;
    *mean = INFINITY;
    if (an_net_alloc(n, arena, &net)) {
        return AN_NO_MEMORY;
    }
    net.exit = an_arena_alloc(arena, n, sizeof *net.exit);
    if (net.exit == NULL) {
        return AN_NO_MEMORY;
    }
    memset(net.q, 0, n * n * sizeof *net.q);
    memset(net.start, 0, n * sizeof *net.start);
    const double low = net_low(walk);
    double leaves = 0.0;
    for (size_t i = 0; i < n; i++) {
        const double value = low + (walk->high - low) * (double)i / (double)(n - 1);
        fill_row(walk, counts, value, n, net.q + i * n, &net.exit[i]);
        leaves += net.exit[i];
    }
    if (!(leaves > 0.0)) {
        return AN_OK; /* this side cannot signal */
    }
    fill_row(walk, counts, walk->begin, n, net.start, &unused);
    const enum an_status st = an_net_run_length(&net, arena, NULL, true, &run);
    if (!st) {
        *mean = run.mean;
    }
    return st;
}

static enum an_status mean_run(const struct an_weighting *weighting, const struct counts *counts,
                               size_t n, struct an_arena *arena, double *mean)
{
    const double least = -counts->mean / counts->sigma; /* no count is below 0 */
    if (weighting->kind == AN_EWMA) {
        const double reach =
            weighting->limits * sqrt(weighting->lambda / (2.0 - weighting->lambda));
        const struct walk walk = {.keep = 1.0 - weighting->lambda,
                                  .give = weighting->lambda,
                                  .floor = least,
                                  .low = fmax(-reach, least),
                                  .high = reach};
        return walk_mean(&walk, counts, n, arena, mean);
    }
    double up = NAN, down = NAN;
    struct walk walk = {.keep = 1.0,
                        .give = 1.0,
                        .drop = weighting->reference,
                        .floor = 0.0,
                        .low = -INFINITY,
                        .high = weighting->limits};
    enum an_status st = walk_mean(&walk, counts, n, arena, &up);
    walk.give = -1.0;
    st = st ? st : walk_mean(&walk, counts, n, arena, &down);
    *mean = 1.0 / (1.0 / up + 1.0 / down);
    return st;
}

static enum an_status counts_ok(const struct an_weighting *weighting,
                                const struct an_count_law *law, struct an_arena *arena,
                                struct counts *counts)
{
    if (an_weighting_check(weighting) ||
        (weighting->kind != AN_EWMA && weighting->kind != AN_CUSUM)) {
        return AN_DOMAIN;
    }
    return open_counts(law, arena, counts);
}

enum an_status an_run_length_counts(const struct an_weighting *weighting,
                                    const struct an_count_law *law, struct an_arena *arena,
                                    double *mean)
{
    struct counts counts;
    *mean = NAN;
    const enum an_status st = counts_ok(weighting, law, arena, &counts);
    return st ? st : mean_run(weighting, &counts, FINE, arena, mean);
}

enum an_status an_limits_of_counts(const struct an_weighting *weighting,
                                   const struct an_count_law *law, double between,
                                   struct an_arena *arena, double *limits)
{
    struct counts counts;
    struct an_weighting tried = *weighting;
    double low = weighting->limits, high = LIMITS_MOST;
    *limits = NAN;
    enum an_status st = counts_ok(weighting, law, arena, &counts);
    if (!st && !(between > 1.0)) {
        return AN_DOMAIN;
    }
    while (!st && high - low > 0.005) {
        double mean;
        struct an_arena *scratch = an_arena_open();
        if (scratch == NULL) {
            return AN_NO_MEMORY;
        }
        tried.limits = 0.5 * (low + high);
        st = mean_run(&tried, &counts, COARSE, scratch, &mean);
        an_arena_close(scratch);
        if (mean >= between) {
            high = tried.limits;
        } else {
            low = tried.limits;
        }
    }
    if (!st && high < LIMITS_MOST) {
        *limits = ceil(100.0 * high) / 100.0;
    }
    return st;
}
