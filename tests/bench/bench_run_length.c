/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Exact run lengths against a million simulated runs of the code that judges, fixed seed. Prints the
 * difference in standard errors; ends with 1 if one is beyond 4.
 *
 *     bench_run_length [RUNS]
 */
#include "andamento/stat/design.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static const struct {
    const char *name;
    struct an_weighting weighting;
    double shift;
} charts[] = {
    {"ewma .2 2.7, exact limits", {.kind = AN_EWMA, .lambda = 0.2, .limits = 2.7}, 0.0},
    {"the same, shift .5", {.kind = AN_EWMA, .lambda = 0.2, .limits = 2.7}, 0.5},
    {"ewma .1 2.7, head start",
     {.kind = AN_EWMA, .lambda = 0.1, .limits = 2.7, .head_start = 0.5},
     0.5},
    {"cusum .5 4", {.kind = AN_CUSUM, .reference = 0.5, .limits = 4.0}, 0.0},
    {"cusum .5 5, head start, shift .5",
     {.kind = AN_CUSUM, .reference = 0.5, .limits = 5.0, .head_start = 0.5},
     0.5},
};

int main(int count, char **words)
{
    const double runs = count > 1 ? atof(words[1]) : 1e6;
    int beyond = 0;

    for (size_t c = 0; c < sizeof charts / sizeof charts[0]; c++) {
        const struct an_weighting *w = &charts[c].weighting;
        struct an_arena *arena = an_arena_open();
        struct an_run_length exact;
        struct an_random random;
        double mean = 0.0, squares = 0.0;
        if (!arena || an_run_length_weighted(w, (struct an_point_law){charts[c].shift, 1.0}, true,
                                             arena, &exact)) {
            fprintf(stderr, "%s: no exact run length\n", charts[c].name);
            return 1;
        }
        an_random_start(&random, 20261125 + c);
        for (double run = 1.0; run <= runs; run += 1.0) {
            struct an_weighted_state state = {0};
            double t = 0.0;
            for (bool signal = false; !signal; t += 1.0) {
                const struct an_plain_point x = {charts[c].shift + an_random_normal(&random), 0.0,
                                                 1.0};
                const struct an_weighted_point p = an_weighted_take(w, 1.0, x, &state);
                signal = fabs(p.statistic) > w->limits * p.sigma;
            }
            const double step = t - mean;
            mean += step / run;
            squares += step * (t - mean);
        }
        const double error = sqrt(squares / (runs - 1.0) / runs);
        const double off = (mean - exact.mean) / error;
        printf("%-34s exact %10.5f simulated %10.5f +- %.5f: %+.2f standard errors\n",
               charts[c].name, exact.mean, mean, error, off);
        beyond += fabs(off) > 4.0;
        an_arena_close(arena);
    }
    return beyond ? 1 : 0;
}
