/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One step of the charts with memory.
 *
 * Responsible for: the arithmetic of ewma, cusum and moving average, and their parameters' ranges.
 * Must never do the same sum in two ways: what is kept in the state is all that the next point
 * sees, so a sequence cut anywhere gives the same bits.
 *
 * Sources: Roberts, Control chart tests based on geometric moving averages, Technometrics 1(3),
 * 1959; Page, Continuous inspection schemes, Biometrika 41, 1954; Lucas and Crosier, Technometrics
 * 24(3), 1982 (head start); Steiner, Journal of Quality Technology 31(1), 1999 (head start of the
 * ewma); all from memory.
 */
#include "andamento/stat/time_weighted.h"

#include <math.h>
#include <string.h>

static double squared(double x)
{
    return x * x;
}

/* Steiner's factor on the limits of point t; he sets a so that it is 0.99 at t = 20. */
static double narrowed(double head_start, double t)
{
    if (!(head_start > 0.0)) {
        return 1.0;
    }
    const double log_rest = log1p(-head_start);
    const double a = (-2.0 * log(10.0) / log_rest - 1.0) / 19.0;
    return -expm1(log_rest * (1.0 + a * (t - 1.0)));
}

static struct an_weighted_point take_ewma(const struct an_weighting *w, double sigma_nominal,
                                          const struct an_plain_point *point,
                                          struct an_weighted_state *state)
{
    const double rest = 1.0 - w->lambda;
    if (state->points == 0.0 && w->steady) {
        state->variance = w->lambda / (2.0 - w->lambda) * squared(sigma_nominal);
    }
    state->points += 1.0;
    state->statistic = w->lambda * (point->value - point->centre) + rest * state->statistic;
    state->variance = squared(w->lambda * point->sigma) + squared(rest) * state->variance;
    return (struct an_weighted_point){
        .statistic = point->centre + state->statistic,
        .centre = point->centre,
        .sigma = sqrt(state->variance) * narrowed(w->head_start, state->points),
        .upper = NAN,
        .lower = NAN,
        .z = NAN,
    };
}

static struct an_weighted_point take_cusum(const struct an_weighting *w, double sigma_nominal,
                                           const struct an_plain_point *point,
                                           struct an_weighted_state *state)
{
    const double head = w->head_start * w->limits;
    if (state->points == 0.0 || (state->signalled != 0.0 && !w->goes_on)) {
        *state = (struct an_weighted_state){.sum = {head, head}};
    }
    const double h = w->limits;
    const double z = (point->value - point->centre) / point->sigma;
    state->points += 1.0;
    for (int side = 0; side < 2; side++) {
        const double step = side == 0 ? z : -z;
        state->sum[side] = fmax(0.0, state->sum[side] + step - w->reference);
        state->run[side] = state->sum[side] > 0.0 ? state->run[side] + 1.0 : 0.0;
    }
    const int larger = state->sum[0] >= state->sum[1] ? 0 : 1;
    state->signalled = state->sum[larger] > h ? 1.0 : 0.0;
    return (struct an_weighted_point){
        .statistic = (larger == 0 ? state->sum[0] : -state->sum[1]) * sigma_nominal,
        .centre = 0.0,
        .sigma = sigma_nominal,
        .upper = state->sum[0] * sigma_nominal,
        .lower = -state->sum[1] * sigma_nominal + 0.0, /* + 0.0: no minus zero */
        .z = larger == 0 ? state->sum[0] : -state->sum[1],
        .run = state->run[larger],
    };
}

static struct an_weighted_point take_average(const struct an_weighting *w,
                                             const struct an_plain_point *point,
                                             struct an_weighted_state *state)
{
    const size_t most = (size_t)w->span;
    memmove(state->deviation + 1, state->deviation, (most - 1) * sizeof *state->deviation);
    memmove(state->sigma + 1, state->sigma, (most - 1) * sizeof *state->sigma);
    state->deviation[0] = point->value - point->centre;
    state->sigma[0] = point->sigma;
    state->points += 1.0;
    const size_t n = state->points < (double)most ? (size_t)state->points : most;
    double sum = 0.0, variance = 0.0;
    for (size_t i = 0; i < n; i++) {
        sum += state->deviation[i];
        variance += squared(state->sigma[i]);
    }
    return (struct an_weighted_point){
        .statistic = point->centre + sum / (double)n,
        .centre = point->centre,
        .sigma = sqrt(variance) / (double)n,
        .upper = NAN,
        .lower = NAN,
        .z = NAN,
    };
}

struct an_weighted_point an_weighted_take(const struct an_weighting *weighting,
                                          double sigma_nominal, struct an_plain_point point,
                                          struct an_weighted_state *state)
{
    const struct an_weighted_point none = {NAN, NAN, NAN, NAN, NAN, NAN, 0.0};
    if (!isfinite(point.value) || !isfinite(point.centre) || !isfinite(point.sigma) ||
        !(point.sigma > 0.0)) {
        return none;
    }
    switch (weighting->kind) {
    case AN_EWMA:
        return take_ewma(weighting, sigma_nominal, &point, state);
    case AN_CUSUM:
        return take_cusum(weighting, sigma_nominal, &point, state);
    case AN_MOVING_AVERAGE:
        return take_average(weighting, &point, state);
    default:
        return none;
    }
}

/* ---- parameters ---- */

static const struct {
    const char *name, *statistic;
} words[AN_WEIGHTED_COUNT] = {
    [AN_UNWEIGHTED] = {"", NULL},
    [AN_EWMA] = {"ewma", "weighted mean"},
    [AN_CUSUM] = {"cusum", "cumulative sum"},
    [AN_MOVING_AVERAGE] = {"moving_average", "moving average"},
    [AN_GAPS] = {"gaps", NULL},
};

const char *an_weighted_name(enum an_weighted_kind kind)
{
    return (unsigned)kind < AN_WEIGHTED_COUNT ? words[kind].name : "unknown";
}

const char *an_weighted_statistic(enum an_weighted_kind kind)
{
    return (unsigned)kind < AN_WEIGHTED_COUNT ? words[kind].statistic : NULL;
}

static bool within(double x, double least, double most)
{
    return x >= least && x <= most;
}

enum an_status an_weighting_check(const struct an_weighting *w)
{
    bool good = w->limits > 0.0 && w->head_start >= 0.0 && w->head_start < 1.0;
    switch (w->kind) {
    case AN_EWMA:
        good = good && w->limits <= (w->variables > 0 ? 100.0 : 10.0) &&
               within(w->lambda, 0.005, 1.0) && !(w->steady && w->head_start > 0.0);
        break;
    case AN_CUSUM:
        good = good && w->limits <= 50.0 && within(w->reference, 0.0, 5.0) &&
               w->head_start <= 0.5 + w->reference / w->limits;
        break;
    case AN_MOVING_AVERAGE:
        good =
            good && w->limits <= 10.0 && within(w->span, 2.0, AN_SPAN_MOST) && w->head_start == 0.0;
        break;
    case AN_GAPS:
        good = good && w->limits <= 10.0;
        break;
    default:
        good = false;
        break;
    }
    return good ? AN_OK : AN_DOMAIN;
}

struct an_weighting an_weighting_usual(enum an_weighted_kind kind)
{
    switch (kind) {
    case AN_EWMA:
        return (struct an_weighting){.kind = kind, .lambda = 0.2, .limits = 2.86};
    case AN_CUSUM:
        return (struct an_weighting){.kind = kind, .reference = 0.5, .limits = 4.77};
    case AN_MOVING_AVERAGE:
        return (struct an_weighting){.kind = kind, .span = 5, .limits = 3.0};
    case AN_GAPS:
        return (struct an_weighting){.kind = kind, .limits = 3.0};
    default:
        return (struct an_weighting){.kind = AN_UNWEIGHTED};
    }
}

/* ---- the state as numbers ---- */

size_t an_weighted_state_numbers(const struct an_weighting *weighting,
                                 const struct an_weighted_state *state,
                                 double numbers[AN_STATE_MOST])
{
    size_t n = 0;
    numbers[n++] = state->points;
    if (weighting->variables > 0) {
        for (int i = 0; i < weighting->variables; i++) {
            numbers[n++] = state->deviation[i];
        }
    } else if (weighting->kind == AN_GAPS) {
        numbers[n++] = state->statistic;
    } else if (weighting->kind == AN_EWMA) {
        numbers[n++] = state->statistic;
        numbers[n++] = state->variance;
    } else if (weighting->kind == AN_CUSUM) {
        for (int side = 0; side < 2; side++) {
            numbers[n++] = state->sum[side];
            numbers[n++] = state->run[side];
        }
        numbers[n++] = state->signalled;
    } else if (weighting->kind == AN_MOVING_AVERAGE) {
        for (int i = 0; i < weighting->span; i++) {
            numbers[n++] = state->deviation[i];
            numbers[n++] = state->sigma[i];
        }
    }
    return n;
}

enum an_status an_weighted_state_of(const struct an_weighting *weighting, const double numbers[],
                                    size_t count, struct an_weighted_state *state)
{
    double unused[AN_STATE_MOST];
    *state = (struct an_weighted_state){0};
    if (an_weighted_state_numbers(weighting, state, unused) != count) {
        return AN_DOMAIN;
    }
    for (size_t i = 0; i < count; i++) {
        if (!isfinite(numbers[i])) {
            return AN_DOMAIN;
        }
    }
    state->points = numbers[0];
    if (weighting->variables > 0) {
        for (int i = 0; i < weighting->variables; i++) {
            state->deviation[i] = numbers[1 + i];
        }
    } else if (weighting->kind == AN_GAPS) {
        state->statistic = numbers[1];
    } else if (weighting->kind == AN_EWMA) {
        state->statistic = numbers[1];
        state->variance = numbers[2];
    } else if (weighting->kind == AN_CUSUM) {
        for (size_t side = 0; side < 2; side++) {
            state->sum[side] = numbers[1 + 2 * side];
            state->run[side] = numbers[2 + 2 * side];
        }
        state->signalled = numbers[5];
    } else if (weighting->kind == AN_MOVING_AVERAGE) {
        for (size_t i = 0; i < (size_t)weighting->span; i++) {
            state->deviation[i] = numbers[1 + 2 * i];
            state->sigma[i] = numbers[2 + 2 * i];
        }
    }
    return AN_OK;
}
