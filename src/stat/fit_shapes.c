/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Maximum likelihood of the shapes with one or two parameters.
 *
 * Must never sort or copy: values come in handy units. Equations [Johnson, Kotz, Balakrishnan,
 * Continuous Univariate Distributions 1, 1994, chapters 13, 14, 17, 18, 21; from memory]:
 *   normal     mean and s of n - 1 degrees of freedom: not the maximum (that divides by n), but the
 *              one estimate with which the percentile method gives Pp and Ppk again
 *   lognormal  mean and sd (dividing by n) of the logarithms
 *   weibull    sum w log x / sum w - 1 / k = mean log x, w = x^k; rising in k: Newton in log k,
 *              held inside a bracket; then scale^k = mean x^k
 *   gamma      log k - digamma(k) = log mean - mean log; the right side by log1p of departures from
 *              the mean, since as a difference of logarithms it would lose its digits for large k
 *   folded     |X|: sigma^2 = mean x^2 - mu^2 and mu = mean (x tanh(mu x / sigma^2)); a root above
 *              0 exists when mean x^4 < 3 (mean x^2)^2, else the likeliest mu is 0 (half normal)
 *   rayleigh   sigma^2 = mean x^2 / 2
 */
#include "stat/compensated.h"
#include "stat/distribution.h"
#include "stat/fit_inner.h"
#include "stat/fit_solve.h"

#include <math.h>

#define LOG_ROOT_TWO_PI 0.91893853320467274178

static double mean_of(const double y[], size_t n)
{
    const struct pair_sum mean = pair_mean(y, n);
    return mean.hi + mean.lo;
}

/* mean and root of mean squared deviation */
static void mean_and_sd(const double y[], size_t n, double divisor, double *mean, double *sd)
{
    const struct pair_sum m = pair_mean(y, n);
    struct pair_sum squares = {0.0, 0.0};
    for (size_t i = 0; i < n; i++) {
        const double d = pair_from(y[i], m);
        pair_add_product(&squares, d, d);
    }
    *mean = m.hi + m.lo;
    *sd = sqrt((squares.hi + squares.lo) / divisor);
}

enum an_status fit_normal(const double y[], size_t n, struct an_fit *fit)
{
    const double count = (double)n;
    mean_and_sd(y, n, count - 1.0, &fit->par[0], &fit->par[1]);
    const double sd = fit->par[1];
    if (!(sd > 0.0)) {
        return AN_NO_SPREAD;
    }
    fit->log_likelihood = -count * (log(sd) + LOG_ROOT_TWO_PI) - (count - 1.0) / 2.0;
    return AN_OK;
}

enum an_status fit_lognormal(const double y[], size_t n, double work[], struct an_fit *fit)
{
    const double count = (double)n;
    for (size_t i = 0; i < n; i++) {
        work[i] = log(y[i]);
    }
    mean_and_sd(work, n, count, &fit->par[0], &fit->par[1]);
    if (!(fit->par[1] > 0.0)) {
        return AN_NO_SPREAD;
    }
    fit->log_likelihood = -count * (log(fit->par[1]) + LOG_ROOT_TWO_PI + fit->par[0] + 0.5);
    return AN_OK;
}

struct weibull_logs {
    const double *at; /* logarithms */
    size_t n;
    double most, mean;
};

/* The equation at k, and its derivative by log k. */
static double weibull_off(const struct weibull_logs *logs, double k, double *slope, double *weights)
{
    double w = 0.0, wl = 0.0, wll = 0.0;
    for (size_t i = 0; i < logs->n; i++) {
        const double l = logs->at[i] - logs->most;
        const double e = exp(k * l);
        w += e;
        wl += e * l;
        wll += e * l * l;
    }
    const double first = wl / w;
    *slope = k * (wll / w - first * first) + 1.0 / k;
    *weights = w;
    return first + logs->most - logs->mean - 1.0 / k;
}

enum an_status fit_weibull_logs(const double at[], size_t n, double start, double *shape,
                                double *log_scale, double *height)
{
    const double count = (double)n;
    struct weibull_logs logs = {at, n, at[0], mean_of(at, n)};
    double squares = 0.0;
    for (size_t i = 0; i < n; i++) {
        logs.most = fmax(logs.most, at[i]);
        squares += (at[i] - logs.mean) * (at[i] - logs.mean);
    }
    if (!(squares > 0.0)) {
        return AN_NO_SPREAD;
    }
    double k = start > 0.0 ? start : 1.2825498301618641 / sqrt(squares / count); /* pi / root 6 */
    double low = 0.0, high = INFINITY, slope, weights = 0.0;
    for (int i = 0; i < 200; i++) {
        const double off = weibull_off(&logs, k, &slope, &weights);
        *(off > 0.0 ? &high : &low) = k;
        double next = k * exp(-off / slope);
        const bool still = fabs(next - k) <= 4e-15 * k || high - low <= 4e-15 * k;
        if (!still && !(next > low && next < high)) {
            next = isfinite(high) ? (low + high) / 2.0 : 2.0 * k;
        }
        k = next;
        if (still) {
            (void)weibull_off(&logs, k, &slope, &weights);
            *shape = k;
            *log_scale = logs.most + log(weights / count) / k;
            *height = count * (log(k) - k * *log_scale + (k - 1.0) * logs.mean - 1.0);
            return isfinite(*height) ? AN_OK : AN_NOT_CONVERGED;
        }
    }
    return AN_NOT_CONVERGED;
}

enum an_status fit_weibull(const double y[], size_t n, double work[], struct an_fit *fit)
{
    double log_scale = 0.0;
    for (size_t i = 0; i < n; i++) {
        work[i] = log(y[i]);
    }
    const enum an_status st =
        fit_weibull_logs(work, n, 0.0, &fit->par[0], &log_scale, &fit->log_likelihood);
    fit->par[1] = exp(log_scale);
    return st;
}

enum an_status fit_gamma(const double y[], size_t n, struct an_fit *fit)
{
    const double count = (double)n, mean = mean_of(y, n);
    struct pair_sum sum = {0.0, 0.0};
    for (size_t i = 0; i < n; i++) {
        pair_add(&sum, log1p((y[i] - mean) / mean));
    }
    const double s = -(sum.hi + sum.lo) / count;
    if (!(s > 0.0)) {
        return AN_NO_SPREAD;
    }
    /* start: [Minka, Estimating a gamma distribution, 2002; from memory] */
    double k = (3.0 - s + sqrt((s - 3.0) * (s - 3.0) + 24.0 * s)) / (12.0 * s);
    for (int i = 0; i < 100; i++) {
        const double off = log(k) - an_digamma(k) - s;
        const double slope = 1.0 / k - an_trigamma(k); /* < 0 */
        double next = 1.0 / (1.0 / k + off / (k * k * slope));
        if (!(next > 0.0)) {
            next = k / 2.0;
        }
        const bool still = fabs(next - k) <= 1e-14 * k || !(slope < 0.0);
        k = next;
        if (still) {
            break;
        }
    }
    fit->par[0] = k;
    fit->par[1] = mean / k;
    fit->log_likelihood =
        count * ((k - 1.0) * (log(mean) - s) - k - k * log(mean / k) - an_log_gamma(k));
    return isfinite(fit->log_likelihood) ? AN_OK : AN_NOT_CONVERGED;
}

struct folded {
    const double *y;
    size_t n;
    double squares; /* mean of y^2 */
};

static double folded_off(const void *of, double mu)
{
    const struct folded *f = of;
    const double variance = f->squares - mu * mu;
    double sum = 0.0;
    for (size_t i = 0; i < f->n; i++) {
        sum += f->y[i] * tanh(mu * f->y[i] / variance);
    }
    return sum / (double)f->n - mu;
}

enum an_status fit_folded(const double y[], size_t n, struct an_fit *fit)
{
    struct folded f = {y, n, 0.0};
    double fourth = 0.0;
    for (size_t i = 0; i < n; i++) {
        const double square = y[i] * y[i];
        f.squares += square / (double)n;
        fourth += square * square / (double)n;
    }
    if (!(f.squares > 0.0)) {
        return AN_NO_SPREAD;
    }
    const double most = sqrt(f.squares);
    double mu = 0.0;
    fit->at_edge = true;
    if (fourth < 3.0 * f.squares * f.squares && folded_off(&f, 1e-3 * most) > 0.0) {
        const enum an_status st =
            solve_root(folded_off, &f, 1e-3 * most, most * (1.0 - 1e-12), 1e-15 * most, &mu);
        if (st) {
            return st;
        }
        fit->at_edge = false;
    }
    fit->par[0] = mu;
    fit->par[1] = sqrt(f.squares - mu * mu);
    fit->log_likelihood = 0.0;
    for (size_t i = 0; i < n; i++) {
        fit->log_likelihood += an_fit_log_density(fit, y[i]);
    }
    return isfinite(fit->log_likelihood) ? AN_OK : AN_NOT_CONVERGED;
}

enum an_status fit_rayleigh(const double y[], size_t n, struct an_fit *fit)
{
    double squares = 0.0, logs = 0.0;
    for (size_t i = 0; i < n; i++) {
        squares += y[i] * y[i];
        logs += log(y[i]);
    }
    const double variance = squares / (2.0 * (double)n);
    fit->par[0] = sqrt(variance);
    fit->log_likelihood = logs - (double)n * (log(variance) + 1.0);
    return variance > 0.0 ? AN_OK : AN_NO_SPREAD;
}
