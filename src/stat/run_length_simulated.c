/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Run lengths by simulation, with their standard error.
 *
 * Responsible for: charts whose memory has too many dimensions for an equation. Must never be
 * taken for exact: standard_error is never 0.
 */
#include "andamento/stat/run_length.h"
#include "andamento/stat/time_weighted.h"

#include <math.h>

static bool law_ok(struct an_point_law law)
{
    return isfinite(law.mean) && isfinite(law.sd) && law.sd > 0.0;
}

enum { POINTS_MOST = 10000000 };

struct tally {
    double runs, mean, squares;
};

static void add(struct tally *tally, double length)
{
    const double step = length - tally->mean;
    tally->runs += 1.0;
    tally->mean += step / tally->runs;
    tally->squares += step * (length - tally->mean);
}

static void tell(const struct tally *tally, struct an_run_length *run_length)
{
    const double sd = sqrt(tally->squares / (tally->runs - 1.0));
    *run_length = (struct an_run_length){tally->mean, sd, NAN, NAN, NAN, sd / sqrt(tally->runs)};
}

enum an_status an_run_length_moving_average(int span, double k, struct an_point_law law,
                                            size_t runs, uint64_t seed,
                                            struct an_run_length *run_length)
{
    if (span < 2 || span > AN_SPAN_MOST || !(k > 0.0) || !isfinite(k) || !law_ok(law)) {
        return AN_DOMAIN;
    }
    if (runs < 2) {
        return AN_TOO_FEW;
    }
    struct an_random random;
    struct tally tally = {0};
    an_random_start(&random, seed);
    for (size_t run = 0; run < runs; run++) {
        double ring[AN_SPAN_MOST] = {0.0}, sum = 0.0;
        for (int t = 1;; t++) {
            double *oldest = &ring[t % span];
            const double z = law.mean + law.sd * an_random_normal(&random);
            sum += z - *oldest;
            *oldest = z;
            const double points = t < span ? t : span;
            if (fabs(sum) > k * sqrt(points)) {
                add(&tally, t);
                break;
            }
            if (t == POINTS_MOST) {
                return AN_NOT_CONVERGED; /* limits so wide that a run does not end */
            }
        }
    }
    tell(&tally, run_length);
    return AN_OK;
}

enum an_status an_run_length_cusum_simulated(const struct an_cusum_plan *plan,
                                             struct an_point_law law, size_t before, size_t runs,
                                             uint64_t seed, struct an_run_length *run_length)
{
    if (!(plan->reference >= 0.0) || !(plan->interval > 0.0) || !(plan->head_start >= 0.0) ||
        plan->head_start >= 1.0 || !law_ok(law)) {
        return AN_DOMAIN;
    }
    if (runs < 2) {
        return AN_TOO_FEW;
    }
    struct an_random random;
    struct tally tally = {0};
    const double head = plan->head_start * plan->interval;
    an_random_start(&random, seed);
    for (size_t run = 0; run < runs; run++) {
        double up = head, down = plan->one_sided ? 0.0 : head;
        size_t calm = 0;
        for (int t = 0; calm < before || t < POINTS_MOST; t++) {
            const bool early = calm < before;
            const double z =
                early ? an_random_normal(&random) : law.mean + law.sd * an_random_normal(&random);
            up = fmax(0.0, up + z - plan->reference);
            down = plan->one_sided ? 0.0 : fmax(0.0, down - z - plan->reference);
            const bool signal = up > plan->interval || down > plan->interval;
            if (early) {
                calm = signal ? 0 : calm + 1;
                up = signal ? head : up;
                down = signal && !plan->one_sided ? head : down;
                t = -1;
            } else if (signal) {
                add(&tally, t + 1);
                break;
            }
        }
    }
    tell(&tally, run_length);
    return tally.runs == (double)runs ? AN_OK : AN_NOT_CONVERGED;
}
