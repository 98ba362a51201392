/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Fair delays of the seeded faults.
 *
 * Responsible for: an honest promise of when a fault must have been signalled. Must never look at
 * the values that were drawn: the promise comes from sizes alone.
 *
 * The hard idea: the chance of no signal yet, kept apart by the length of the run on the changed
 * side (0 to run_length - 1), is carried from sample to sample; what leaves the table is a signal.
 */
#include "demo/delay.h"

#include "demo/random.h"

#include <math.h>

#define WANTED 0.99
#define LONGEST_RUN 12

size_t an_demo_fair_delay(const struct an_demo_change *change)
{
    const double root = sqrt((double)(change->baseline > 0 ? change->baseline : 1));
    const double centre_error = 2.0 / root;
    const double limit = 3.0 * (1.0 + 2.0 * 0.91 / root);
    const int runs = change->run_length > 0 && change->run_length <= LONGEST_RUN
                         ? change->run_length
                         : LONGEST_RUN + 1;
    double silent[LONGEST_RUN + 1] = {1.0}; /* by length of the run */
    for (size_t k = 0; k < change->count; k++) {
        const double sd = change->spread ? change->spread[k] : 1.0;
        const double mean = change->sigmas[k] - centre_error;
        const double beyond = an_demo_normal_tail((limit - mean) / sd);
        const double above = an_demo_normal_tail(-mean / sd) - beyond;
        double next[LONGEST_RUN + 1] = {0.0};
        double left = 0.0;
        for (int r = 0; r < runs; r++) {
            next[0] += silent[r] * (1.0 - beyond - above);
            if (r + 1 < runs) {
                next[r + 1] += silent[r] * above;
            } else if (change->run_length <= 0) {
                next[r] += silent[r] * above; /* the rule is off: longer runs are silent too */
            }
        }
        for (int r = 0; r < runs; r++) {
            silent[r] = next[r];
            left += next[r];
        }
        if (left <= 1.0 - WANTED) {
            return k + 1;
        }
    }
    return 0;
}

size_t an_demo_fair_delay_alternating(double sigmas, size_t count)
{
    const double step = 1.0 - an_demo_normal_tail(2.0 * sigmas / sqrt(2.0));
    double window = 1.0;
    for (int i = 0; i < 13; i++) {
        window *= step;
    }
    double silent = 1.0;
    for (size_t points = 14; points <= count; points += 14) {
        silent *= 1.0 - window;
        if (silent <= 1.0 - WANTED) {
            return points;
        }
    }
    return 0;
}
