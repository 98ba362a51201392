/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Lognormal and Weibull with a threshold below which nothing lies; Johnson SL is the first of them.
 *
 * The hard idea: the likelihood has no largest value, for it grows without end as the threshold runs
 * into the smallest reading. What is wanted is its inner top: given the threshold the other two
 * parameters have their closed or one-line solution, so the likelihood becomes a curve over one
 * number, t = log(smallest - threshold); it is looked at over a wide net of t, and the highest inner
 * top is refined. No inner top: AN_NOT_CONVERGED, never the edge.
 * [Cohen, Estimating parameters of logarithmic-normal distributions by maximum likelihood, Journal
 * of the American Statistical Association 46, 1951: local maximum; Smith, Maximum likelihood
 * estimation in a class of nonregular cases, Biometrika 72, 1985: sound for a Weibull shape above 2,
 * usable above 1; both from memory]
 */
#include "stat/compensated.h"
#include "stat/fit_inner.h"
#include "stat/fit_solve.h"

#include <math.h>

#define LOG_ROOT_TWO_PI 0.91893853320467274178
#define FIRST (-14.0) /* of t, in units of the spread: nearer the threshold cannot be told */
#define LAST 7.0      /* a thousand spreads away: a normal shape, no threshold */
#define STEP 0.5

struct curve {
    enum an_shape shape;
    const double *y;
    size_t n;
    double least;
    double *logs;
    double *shape_start; /* of the last Weibull solved */
};

struct solution {
    double first, second, height;
};

static struct solution solve_at(const struct curve *c, double t)
{
    struct solution s = {NAN, NAN, -INFINITY};
    const double threshold = c->least - exp(t);
    const double count = (double)c->n;
    for (size_t i = 0; i < c->n; i++) {
        c->logs[i] = log(c->y[i] - threshold);
    }
    if (c->shape == AN_SHAPE_WEIBULL_3) {
        if (fit_weibull_logs(c->logs, c->n, *c->shape_start, &s.first, &s.second, &s.height)) {
            s.height = -INFINITY;
        }
        return s;
    }
    const struct pair_sum mean = pair_mean(c->logs, c->n);
    double squares = 0.0;
    for (size_t i = 0; i < c->n; i++) {
        const double d = pair_from(c->logs[i], mean);
        squares += d * d;
    }
    s.first = mean.hi;
    s.second = sqrt(squares / count);
    s.height = -count * (log(s.second) + LOG_ROOT_TWO_PI + s.first + 0.5);
    return s;
}

static double height_at(const void *of, double t)
{
    return solve_at(of, t).height;
}

/* Slope over t by differences of fourth order: its root has more digits than the flat top. */
static double slope_at(const void *of, double t)
{
    const double h = 2e-3;
    return (height_at(of, t - 2 * h) - 8.0 * height_at(of, t - h) + 8.0 * height_at(of, t + h) -
            height_at(of, t + 2 * h)) /
           (12.0 * h);
}

/* Widest net; the highest of the inner tops. */
static enum an_status bracket_anywhere(const struct curve *c, double *low, double *high)
{
    double best = -INFINITY, before = NAN, here = NAN;
    for (double t = FIRST; t <= LAST + STEP / 2.0; t += STEP) {
        const double next = height_at(c, t);
        if (here > before && here >= next && here > best) {
            best = here;
            *low = t - 2.0 * STEP;
            *high = t;
        }
        before = here;
        here = next;
    }
    return isfinite(best) ? AN_OK : AN_NOT_CONVERGED;
}

/* Uphill from where an alike set had its top. */
static enum an_status bracket_near(const struct curve *c, double t, double *low, double *high)
{
    double step = STEP;
    double here = height_at(c, t), up = height_at(c, t + step), down = height_at(c, t - step);
    while (!(here >= up && here >= down)) {
        const double way = up > down ? step : -step;
        t += way;
        if (!(t > FIRST && t < LAST)) {
            return AN_NOT_CONVERGED;
        }
        if (way > 0.0) {
            down = here;
            here = up;
            up = height_at(c, t + step);
        } else {
            up = here;
            here = down;
            down = height_at(c, t - step);
        }
    }
    *low = t - step;
    *high = t + step;
    return AN_OK;
}

enum an_status fit_threshold(const double y[], size_t n, double work[], const struct an_fit *from,
                             struct an_fit *fit)
{
    double shape_start = 0.0;
    struct curve c = {fit->shape, y, n, y[0], work, &shape_start};
    for (size_t i = 0; i < n; i++) {
        c.least = fmin(c.least, y[i]);
    }
    const int place = 2;
    double low = 0.0, high = 0.0;
    enum an_status st;
    if (from && c.least > from->par[place]) {
        shape_start = from->par[0];
        st = bracket_near(&c, log(c.least - from->par[place]), &low, &high);
    } else {
        st = bracket_anywhere(&c, &low, &high);
    }
    if (st) {
        return st;
    }
    double t = solve_most(height_at, &c, low, high, from ? 1e-4 : 1e-7);
    if (!from) {
        double exact;
        if (slope_at(&c, t - 1e-2) > 0.0 && slope_at(&c, t + 1e-2) < 0.0 &&
            !solve_root(slope_at, &c, t - 1e-2, t + 1e-2, 1e-12, &exact)) {
            t = exact;
        }
    }
    const struct solution s = solve_at(&c, t);
    if (!isfinite(s.height) || (fit->shape == AN_SHAPE_WEIBULL_3 && s.first <= 1.0)) {
        return AN_NOT_CONVERGED;
    }
    fit->par[0] = s.first;
    fit->par[1] = fit->shape == AN_SHAPE_WEIBULL_3 ? exp(s.second) : s.second;
    fit->par[place] = c.least - exp(t);
    fit->log_likelihood = s.height;
    return AN_OK;
}
