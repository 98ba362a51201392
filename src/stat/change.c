/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * When a change began: the likeliest split of a series into before and after.
 *
 * Responsible for: one step or one ramp, normal errors of one constant sigma. Must never claim a
 * sharper interval than the likelihood holds. Hard idea: with `k` values before the change the
 * fit is linear least squares on a single column h (step: 0 then 1; ramp: 0 then 1, 2, 3 ...), so
 * the residual sum R(k) of every split follows from running sums, n steps in all.
 *
 * Levels   least squares; the profile log-likelihood is -(n/2) log R(k) and constants, so the
 *          likeliest split has the least R(k). [Hinkley, Inference about the change-point in a
 *          sequence of random variables, Biometrika 57, 1970; from memory]
 * Interval the levels and sigma are integrated out (flat in the level before and in the level at
 *          the end, 1/sigma in sigma), which leaves for split k the relative weight
 *              det(k)^(-1/2) R(k)^(-(n - p)/2),
 *          p levels estimated and det of their normal equations. [Smith, A Bayesian approach to
 *          inference about a change-point, Biometrika 62, 1975; from memory]
 */
#include "andamento/stat/change.h"

#include "stat/compensated.h"
#include "stat/order.h"

#include <float.h>
#include <math.h>
#include <stdbool.h>

struct series {
    const double *x;
    size_t n;
    enum an_change_kind kind;
    double origin; /* the known level, or the mean */
    bool level_known;
    double total; /* residual sum with no change: of squares about origin */
};

/* Fit of one split. */
struct split {
    double rest, before, size; /* residual sum; level before, less origin; coefficient of h */
    double log_det;            /* in levels, not in slopes */
};

/* Running sums over the values from k to the end. */
struct tail {
    double plain, by_h, h, hh;
};

static struct split fit_split(const struct series *s, size_t k, const struct tail *tail)
{
    const double n = (double)s->n;
    struct split split = {.before = 0.0};
    double hy = tail->by_h, hh = tail->hh;
    if (!s->level_known) { /* the level before is fitted too: h less its mean; y has mean 0 */
        hh -= tail->h * tail->h / n;
    }
    split.size = hy / hh;
    split.rest = s->total - hy * split.size;
    if (!s->level_known) {
        split.before = -split.size * tail->h / n;
    }
    const double length = (double)(s->n - k);
    const double per_level = s->kind == AN_CHANGE_RAMP ? length * length : 1.0;
    split.log_det = log(hh / per_level) + (s->level_known ? 0.0 : log(n));
    return split;
}

/* R(k) anew from the values, without the cancellation of running sums. */
static double rest_of(const struct series *s, size_t k, const struct split *split)
{
    struct pair_sum rest = {0.0, 0.0};
    for (size_t i = 0; i < s->n; i++) {
        double h = 0.0;
        if (i >= k) {
            h = s->kind == AN_CHANGE_RAMP ? (double)(i - k + 1) : 1.0;
        }
        const double off = (s->x[i] - s->origin) - split->before - split->size * h;
        pair_add_product(&rest, off, off);
    }
    return rest.hi;
}

/* Smallest set of splits that holds `confidence` of the weight, as its hull. */
static void interval(const double log_weight[], double sorted[], size_t n, double confidence,
                     struct an_change *change)
{
    double most = -INFINITY;
    for (size_t k = 0; k < n; k++) {
        most = fmax(most, log_weight[k]);
    }
    double total = 0.0;
    for (size_t k = 0; k < n; k++) {
        sorted[k] = exp(log_weight[k] - most);
        total += sorted[k];
    }
    order_up(sorted, n);
    double held = 0.0, least = 1.0;
    for (size_t i = n; i-- > 0 && held < confidence * total;) {
        held += sorted[i];
        least = sorted[i];
    }
    change->earliest = change->latest = change->first;
    for (size_t k = 0; k < n; k++) {
        if (exp(log_weight[k] - most) >= least) {
            change->earliest = k < change->earliest ? k : change->earliest;
            change->latest = k > change->latest ? k : change->latest;
        }
    }
}

static enum an_status prepare(struct series *s, double level_before, double confidence)
{
    if (s->n < 5) {
        return AN_TOO_FEW;
    }
    if (!(confidence > 0.0 && confidence < 1.0) || isinf(level_before)) {
        return AN_DOMAIN;
    }
    s->level_known = !isnan(level_before);
    const struct pair_sum mean = pair_mean(s->x, s->n);
    s->origin = s->level_known ? level_before : mean.hi;
    struct pair_sum total = {0.0, 0.0}, spread = {0.0, 0.0};
    for (size_t i = 0; i < s->n; i++) {
        const double off = s->x[i] - s->origin, own = pair_from(s->x[i], mean);
        pair_add_product(&total, off, off);
        pair_add_product(&spread, own, own);
    }
    s->total = total.hi;
    if (!isfinite(s->total) || !isfinite(spread.hi)) {
        return AN_DOMAIN;
    }
    return spread.hi > 0.0 ? AN_OK : AN_NO_SPREAD;
}

static enum an_status find_change(struct series *s, double level_before, double confidence,
                                  double scratch[], struct an_change *change)
{
    *change = (struct an_change){.kind = s->kind,
                                 .before = NAN,
                                 .after = NAN,
                                 .rate = NAN,
                                 .sigma = NAN,
                                 .log_likelihood_gain = NAN};
    const enum an_status st = prepare(s, level_before, confidence);
    if (st) {
        return st;
    }
    const double n = (double)s->n;
    const double levels = s->level_known ? 1.0 : 2.0;
    /* A residual below the rounding of the sums is that rounding: no split is likelier for it. */
    const double floor_rest = 4.0 * n * DBL_EPSILON * s->total;
    struct tail tail = {0.0, 0.0, 0.0, 0.0};
    double least = INFINITY;
    struct split best = {.rest = INFINITY};
    for (size_t k = s->n; k-- > 0;) {
        tail.plain += s->x[k] - s->origin;
        if (s->kind == AN_CHANGE_RAMP) { /* every h behind grows by one */
            const double length = (double)(s->n - k);
            tail.by_h += tail.plain;
            tail.h += length;
            tail.hh += length * length;
        } else {
            tail.by_h = tail.plain;
            tail.h = tail.hh = (double)(s->n - k);
        }
        scratch[k] = -INFINITY;
        if (k == 0 && !s->level_known) {
            break; /* with nothing before it, a change cannot be told from the level */
        }
        const struct split split = fit_split(s, k, &tail);
        const double rest = fmax(split.rest, floor_rest);
        scratch[k] = -0.5 * split.log_det - (n - levels) / 2.0 * log(rest);
        if (rest < least) {
            least = rest;
            best = split;
            change->first = k;
        }
    }
    interval(scratch, scratch + s->n, s->n, confidence, change);
    const double rest = rest_of(s, change->first, &best);
    change->before = s->origin + best.before;
    change->rate = s->kind == AN_CHANGE_RAMP ? best.size : 0.0;
    const double reach = s->kind == AN_CHANGE_RAMP ? (double)(s->n - change->first) : 1.0;
    change->after = change->before + best.size * reach;
    change->sigma = sqrt(rest / (n - levels));
    change->log_likelihood_gain = n / 2.0 * log(s->total / fmax(rest, floor_rest));
    return AN_OK;
}

enum an_status an_change_step(const double x[], size_t n, double level_before, double confidence,
                              double scratch[], struct an_change *change)
{
    struct series s = {.x = x, .n = n, .kind = AN_CHANGE_STEP};
    return find_change(&s, level_before, confidence, scratch, change);
}

enum an_status an_change_ramp(const double x[], size_t n, double level_before, double confidence,
                              double scratch[], struct an_change *change)
{
    struct series s = {.x = x, .n = n, .kind = AN_CHANGE_RAMP};
    return find_change(&s, level_before, confidence, scratch, change);
}

enum an_status an_change_best(const double x[], size_t n, double level_before, double confidence,
                              double scratch[], struct an_change *change)
{
    enum an_status st = an_change_step(x, n, level_before, confidence, scratch, change);
    if (st) {
        return st;
    }
    struct an_change ramp;
    st = an_change_ramp(x, n, level_before, confidence, scratch, &ramp);
    if (!st && ramp.log_likelihood_gain > change->log_likelihood_gain) {
        *change = ramp;
    }
    return st;
}
