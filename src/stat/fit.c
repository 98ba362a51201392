/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Shapes by name, their tails and percentiles, and the way from readings to a fit.
 *
 * Responsible for: units and order. Readings are copied, sorted and brought to a spread of about 1
 * before any solver sees them, and parameters go back to the readings' unit: so neither the order
 * nor an offset of 1e9 nor a factor matters. Must never allocate.
 */
#include "andamento/stat/fit.h"

#include "stat/compensated.h"
#include "stat/distribution.h"
#include "stat/fit_inner.h"
#include "stat/order.h"

#include <math.h>
#include <string.h>

#define LOG_ROOT_TWO_PI 0.91893853320467274178
#define LOG_TWO 0.69314718055994530942
#define LOG_ZERO ((double)-INFINITY)

static const struct {
    const char *name;
    size_t parameters, least_n;
    const char *parameter[4];
    bool has_place, positive;
} shapes[AN_SHAPE_COUNT] = {
    [AN_SHAPE_NORMAL] = {"normal", 2, 2, {"mean", "sd"}, true, false},
    [AN_SHAPE_LOGNORMAL] = {"lognormal", 2, 5, {"mu", "sigma"}, false, true},
    [AN_SHAPE_LOGNORMAL_3] = {"lognormal_3", 3, 8, {"mu", "sigma", "threshold"}, true, false},
    [AN_SHAPE_WEIBULL] = {"weibull", 2, 5, {"shape", "scale"}, false, true},
    [AN_SHAPE_WEIBULL_3] = {"weibull_3", 3, 8, {"shape", "scale", "threshold"}, true, false},
    [AN_SHAPE_GAMMA] = {"gamma", 2, 5, {"shape", "scale"}, false, true},
    [AN_SHAPE_FOLDED_NORMAL] = {"folded_normal", 2, 5, {"mean", "sd"}, false, false},
    [AN_SHAPE_RAYLEIGH] = {"rayleigh", 1, 2, {"sigma"}, false, true},
    [AN_SHAPE_JOHNSON_SU] = {"johnson_su", 4, 10, {"gamma", "delta", "xi", "lambda"}, true, false},
    [AN_SHAPE_JOHNSON_SB] = {"johnson_sb", 4, 10, {"gamma", "delta", "xi", "lambda"}, true, false},
    [AN_SHAPE_JOHNSON_SL] = {"johnson_sl", 3, 8, {"gamma", "delta", "xi"}, true, false},
};

const char *an_shape_name(enum an_shape shape)
{
    return shape < AN_SHAPE_COUNT ? shapes[shape].name : "";
}

enum an_shape an_shape_of(const char *name)
{
    int i = 0;
    while (i < (int)AN_SHAPE_COUNT && strcmp(shapes[i].name, name) != 0) {
        i++;
    }
    return (enum an_shape)i;
}

size_t an_shape_parameters(enum an_shape shape)
{
    return shape < AN_SHAPE_COUNT ? shapes[shape].parameters : 0;
}

const char *an_shape_parameter(enum an_shape shape, size_t i)
{
    return i < an_shape_parameters(shape) ? shapes[shape].parameter[i] : "";
}

bool an_shape_wants_positive(enum an_shape shape)
{
    return shape < AN_SHAPE_COUNT && shapes[shape].positive;
}

/* ---- tails ------------------------------------------------------------------------------------------ */
/* z of a shape that is a normal one seen through a curve; +-infinity outside its ends. */
static bool as_normal(const struct an_fit *fit, double x, double *z)
{
    const double *const a = fit->par;
    switch (fit->shape) {
    case AN_SHAPE_NORMAL:
        *z = (x - a[0]) / a[1];
        return true;
    case AN_SHAPE_LOGNORMAL:
    case AN_SHAPE_LOGNORMAL_3: {
        const double from = x - a[2]; /* 0 in the first */
        *z = from > 0.0 ? (log(from) - a[0]) / a[1] : LOG_ZERO;
        return true;
    }
    case AN_SHAPE_JOHNSON_SU:
        *z = a[0] + a[1] * asinh((x - a[2]) / a[3]);
        return true;
    case AN_SHAPE_JOHNSON_SB: {
        const double from = x - a[2], to = a[2] + a[3] - x;
        *z = from <= 0.0 ? LOG_ZERO : to <= 0.0 ? (double)INFINITY : a[0] + a[1] * log(from / to);
        return true;
    }
    case AN_SHAPE_JOHNSON_SL:
        *z = x > a[2] ? a[0] + a[1] * log(x - a[2]) : LOG_ZERO;
        return true;
    case AN_SHAPE_WEIBULL:
    case AN_SHAPE_WEIBULL_3:
    case AN_SHAPE_GAMMA:
    case AN_SHAPE_FOLDED_NORMAL:
    case AN_SHAPE_RAYLEIGH:
    case AN_SHAPE_COUNT:
        break;
    }
    return false;
}

/* log P(|N| <= x), N normal with mean m and sd 1, for small x: the density's series about 0; the
 * difference of two chances would lose its digits. Next term below 1e-13. */
static double log_near_zero(double m, double x)
{
    const double m2 = m * m, x2 = x * x;
    const double h2 = m2 - 1.0, h4 = (m2 - 6.0) * m2 + 3.0,
                 h6 = ((m2 - 15.0) * m2 + 45.0) * m2 - 15.0;
    return log(2.0 * x) - LOG_ROOT_TWO_PI - m2 / 2.0 +
           log1p(x2 * (h2 / 6.0 + x2 * (h4 / 120.0 + x2 * h6 / 5040.0)));
}

/* log of P(X > x) where that is the simple tail: -(x / scale)^k */
static double power_tail(const struct an_fit *fit, double x)
{
    if (fit->shape == AN_SHAPE_RAYLEIGH) {
        return x > 0.0 ? -0.5 * (x / fit->par[0]) * (x / fit->par[0]) : 0.0;
    }
    const double from = x - fit->par[2];
    return from > 0.0 ? -pow(from / fit->par[1], fit->par[0]) : 0.0;
}

static double log_sum(double a, double b) /* log(exp a + exp b) */
{
    const double most = fmax(a, b);
    return isinf(most) ? most : most + log1p(exp(fmin(a, b) - most));
}

static double log_one_less(double a) /* log(1 - exp a), a <= 0 */
{
    return a > -LOG_TWO ? log(-expm1(a)) : log1p(-exp(a));
}

double an_fit_log_above(const struct an_fit *fit, double x)
{
    double z;
    if (as_normal(fit, x, &z)) {
        return an_normal_log_below(-z);
    }
    if (fit->shape == AN_SHAPE_GAMMA) {
        return x > 0.0 ? an_gamma_log_above(x / fit->par[1], fit->par[0]) : 0.0;
    }
    if (fit->shape == AN_SHAPE_FOLDED_NORMAL) {
        return x > 0.0 ? log_sum(an_normal_log_below(-(x - fit->par[0]) / fit->par[1]),
                                 an_normal_log_below(-(x + fit->par[0]) / fit->par[1]))
                       : 0.0;
    }
    return power_tail(fit, x);
}

double an_fit_log_below(const struct an_fit *fit, double x)
{
    double z;
    if (as_normal(fit, x, &z)) {
        return an_normal_log_below(z);
    }
    if (fit->shape == AN_SHAPE_GAMMA) {
        return x > 0.0 ? an_gamma_log_below(x / fit->par[1], fit->par[0]) : LOG_ZERO;
    }
    if (fit->shape == AN_SHAPE_FOLDED_NORMAL) {
        if (!(x > 0.0)) {
            return LOG_ZERO;
        }
        const double m = fit->par[0] / fit->par[1];
        if (x / fit->par[1] * (1.0 + m) < 0.05) {
            return log_near_zero(m, x / fit->par[1]);
        }
        const double high = (x - fit->par[0]) / fit->par[1], low = (-x - fit->par[0]) / fit->par[1];
        return log(high <= 0.0 ? an_normal_below(high) - an_normal_below(low)
                               : an_normal_above(low) - an_normal_above(high));
    }
    return log_one_less(power_tail(fit, x));
}

double an_fit_below(const struct an_fit *fit, double x)
{
    return exp(an_fit_log_below(fit, x));
}

double an_fit_above(const struct an_fit *fit, double x)
{
    return exp(an_fit_log_above(fit, x));
}

double an_fit_log_density(const struct an_fit *fit, double x)
{
    const double *const a = fit->par;
    const double from = x - a[2];
    switch (fit->shape) {
    case AN_SHAPE_NORMAL:
        return -LOG_ROOT_TWO_PI - log(a[1]) - 0.5 * ((x - a[0]) / a[1]) * ((x - a[0]) / a[1]);
    case AN_SHAPE_LOGNORMAL:
    case AN_SHAPE_LOGNORMAL_3: {
        const double z = from > 0.0 ? (log(from) - a[0]) / a[1] : LOG_ZERO;
        return from > 0.0 ? -LOG_ROOT_TWO_PI - log(a[1]) - log(from) - 0.5 * z * z : LOG_ZERO;
    }
    case AN_SHAPE_WEIBULL:
    case AN_SHAPE_WEIBULL_3:
        return from > 0.0
                   ? log(a[0] / a[1]) + (a[0] - 1.0) * log(from / a[1]) - pow(from / a[1], a[0])
                   : LOG_ZERO;
    case AN_SHAPE_GAMMA:
        return x > 0.0 ? (a[0] - 1.0) * log(x / a[1]) - x / a[1] - log(a[1]) - an_log_gamma(a[0])
                       : LOG_ZERO;
    case AN_SHAPE_FOLDED_NORMAL: {
        const double z = (x - a[0]) / a[1];
        return x >= 0.0 ? -LOG_ROOT_TWO_PI - log(a[1]) - 0.5 * z * z +
                              log1p(exp(-2.0 * (a[0] / a[1]) * (x / a[1])))
                        : LOG_ZERO;
    }
    case AN_SHAPE_RAYLEIGH:
        return x > 0.0 ? log(x) - 2.0 * log(a[0]) - 0.5 * (x / a[0]) * (x / a[0]) : LOG_ZERO;
    case AN_SHAPE_JOHNSON_SU: {
        const double u = from / a[3], z = a[0] + a[1] * asinh(u);
        return -LOG_ROOT_TWO_PI + log(a[1] / a[3]) - 0.5 * log1p(u * u) - 0.5 * z * z;
    }
    case AN_SHAPE_JOHNSON_SB: {
        const double to = a[2] + a[3] - x;
        const double z = a[0] + a[1] * log(from / to);
        return from > 0.0 && to > 0.0
                   ? -LOG_ROOT_TWO_PI + log(a[1] * a[3]) - log(from) - log(to) - 0.5 * z * z
                   : LOG_ZERO;
    }
    case AN_SHAPE_JOHNSON_SL: {
        const double z = a[0] + a[1] * log(from);
        return from > 0.0 ? -LOG_ROOT_TWO_PI + log(a[1]) - log(from) - 0.5 * z * z : LOG_ZERO;
    }
    case AN_SHAPE_COUNT:
        break;
    }
    return NAN;
}

/* ---- percentiles -------------------------------------------------------------------------------------- */
/* Newton on the log of the smaller tail, held inside a bracket. */
static double folded_quantile(const struct an_fit *fit, double p, bool above)
{
    const bool use_above = above ? p < 0.5 : p > 0.5;
    const double want = log(use_above == above ? p : 1.0 - p);
    double low = 0.0, high = fit->par[0] + 40.0 * fit->par[1];
    double x = fit->par[0] + 0.7 * fit->par[1];
    for (int i = 0; i < 300; i++) {
        const double have = use_above ? an_fit_log_above(fit, x) : an_fit_log_below(fit, x);
        const double slope = (use_above ? -1.0 : 1.0) * exp(an_fit_log_density(fit, x) - have);
        const double off = have - want;
        *((off > 0.0) == use_above ? &low : &high) = x;
        double next = x - off / slope;
        if (!(next > low && next < high)) {
            next = (low + high) / 2.0;
        }
        if (fabs(next - x) <= 1e-15 * x || next == x) {
            return next;
        }
        x = next;
    }
    return x;
}

static double back_from_z(const struct an_fit *fit, double z)
{
    const double *const a = fit->par;
    const double u = (z - a[0]) / a[1]; /* of the Johnson shapes */
    switch (fit->shape) {
    case AN_SHAPE_LOGNORMAL:
    case AN_SHAPE_LOGNORMAL_3:
        return a[2] + exp(a[0] + a[1] * z);
    case AN_SHAPE_JOHNSON_SU:
        return a[2] + a[3] * sinh(u);
    case AN_SHAPE_JOHNSON_SB:
        return a[2] + a[3] / (1.0 + exp(-u));
    case AN_SHAPE_JOHNSON_SL:
        return a[2] + exp(u);
    case AN_SHAPE_NORMAL:
    case AN_SHAPE_WEIBULL:
    case AN_SHAPE_WEIBULL_3:
    case AN_SHAPE_GAMMA:
    case AN_SHAPE_FOLDED_NORMAL:
    case AN_SHAPE_RAYLEIGH:
    case AN_SHAPE_COUNT:
        break;
    }
    return a[0] + a[1] * z;
}

double an_fit_quantile(const struct an_fit *fit, double p, bool above)
{
    if (!(p >= 0.0 && p <= 1.0)) {
        return NAN;
    }
    const double *const a = fit->par;
    const double log_above = above ? log(p) : log1p(-p);
    switch (fit->shape) {
    case AN_SHAPE_WEIBULL:
    case AN_SHAPE_WEIBULL_3:
        return a[2] + a[1] * pow(-log_above, 1.0 / a[0]);
    case AN_SHAPE_RAYLEIGH:
        return a[0] * sqrt(-2.0 * log_above);
    case AN_SHAPE_GAMMA:
        return a[1] * an_gamma_quantile(p, above, a[0]);
    case AN_SHAPE_FOLDED_NORMAL:
        if (p == 0.0 || p == 1.0) {
            return (p == 0.0) == above ? (double)INFINITY : 0.0;
        }
        return folded_quantile(fit, p, above);
    case AN_SHAPE_NORMAL:
    case AN_SHAPE_LOGNORMAL:
    case AN_SHAPE_LOGNORMAL_3:
    case AN_SHAPE_JOHNSON_SU:
    case AN_SHAPE_JOHNSON_SB:
    case AN_SHAPE_JOHNSON_SL:
    case AN_SHAPE_COUNT:
        break;
    }
    return back_from_z(fit, above ? an_normal_quantile_above(p) : an_normal_quantile(p));
}

/* ---- units ---------------------------------------------------------------------------------------------- */
struct an_fit an_fit_moved(const struct an_fit *fit, double factor, double shift)
{
    struct an_fit to = *fit;
    if (!shapes[fit->shape].has_place && shift != 0.0) {
        to.par[0] = to.par[1] = to.log_likelihood = NAN;
        return to;
    }
    to.log_likelihood -= (double)fit->n * log(factor);
    switch (fit->shape) {
    case AN_SHAPE_NORMAL:
    case AN_SHAPE_FOLDED_NORMAL:
        to.par[0] = fit->par[0] * factor + shift;
        to.par[1] *= factor;
        break;
    case AN_SHAPE_LOGNORMAL:
    case AN_SHAPE_LOGNORMAL_3:
        to.par[0] += log(factor);
        to.par[2] = fit->par[2] * factor + shift;
        break;
    case AN_SHAPE_WEIBULL:
    case AN_SHAPE_WEIBULL_3:
    case AN_SHAPE_GAMMA:
        to.par[1] *= factor;
        to.par[2] = fit->par[2] * factor + shift;
        break;
    case AN_SHAPE_RAYLEIGH:
        to.par[0] *= factor;
        break;
    case AN_SHAPE_JOHNSON_SU:
    case AN_SHAPE_JOHNSON_SB:
        to.par[2] = fit->par[2] * factor + shift;
        to.par[3] *= factor;
        break;
    case AN_SHAPE_JOHNSON_SL:
        to.par[0] -= fit->par[1] * log(factor);
        to.par[2] = fit->par[2] * factor + shift;
        break;
    case AN_SHAPE_COUNT:
        break;
    }
    return to;
}

double an_fit_bic(const struct an_fit *fit)
{
    const double n = (double)fit->n;
    double most = fit->log_likelihood;
    if (fit->shape == AN_SHAPE_NORMAL) { /* its sd divides by n - 1: not quite the top */
        most = -n * (log(fit->par[1] * sqrt((n - 1.0) / n)) + LOG_ROOT_TWO_PI + 0.5);
    }
    return (double)an_shape_parameters(fit->shape) * log(n) - 2.0 * most;
}

/* Factors are powers of two, so that bringing values to their unit rounds nothing by itself. */
struct fit_unit fit_unit_of(enum an_shape shape, const double sorted[], size_t n)
{
    struct fit_unit unit = {1.0, 0.0};
    if (shapes[shape].has_place) {
        const double spread = sorted[3 * n / 4] - sorted[n / 4];
        const double range = sorted[n - 1] - sorted[0];
        unit.shift = sorted[n / 2];
        unit.factor = ldexp(1.0, ilogb(spread > range / 1000.0 ? spread : range));
    } else {
        unit.factor = ldexp(1.0, ilogb(sorted[n / 2] > 0.0 ? sorted[n / 2] : sorted[n - 1]));
    }
    return unit;
}

enum an_status fit_values(enum an_shape shape, const double y[], size_t n, double work[],
                          const struct an_fit *from, struct an_fit *fit)
{
    *fit = (struct an_fit){.shape = shape, .n = n};
    switch (shape) {
    case AN_SHAPE_NORMAL:
        return fit_normal(y, n, fit);
    case AN_SHAPE_LOGNORMAL:
        return fit_lognormal(y, n, work, fit);
    case AN_SHAPE_WEIBULL:
        return fit_weibull(y, n, work, fit);
    case AN_SHAPE_GAMMA:
        return fit_gamma(y, n, fit);
    case AN_SHAPE_FOLDED_NORMAL:
        return fit_folded(y, n, fit);
    case AN_SHAPE_RAYLEIGH:
        return fit_rayleigh(y, n, fit);
    case AN_SHAPE_LOGNORMAL_3:
    case AN_SHAPE_WEIBULL_3:
        return fit_threshold(y, n, work, from, fit);
    case AN_SHAPE_JOHNSON_SL: { /* lognormal_3 by other names: delta = 1 / sigma */
        struct an_fit as = {.shape = AN_SHAPE_LOGNORMAL_3, .n = n}, start = as;
        if (from) {
            start.par[1] = 1.0 / from->par[1];
            start.par[0] = -from->par[0] / from->par[1];
            start.par[2] = from->par[2];
        }
        const enum an_status st = fit_threshold(y, n, work, from ? &start : NULL, &as);
        if (!st) {
            fit->par[1] = 1.0 / as.par[1];
            fit->par[0] = -as.par[0] / as.par[1];
            fit->par[2] = as.par[2];
            fit->par[3] = 1.0;
            fit->log_likelihood = as.log_likelihood;
        }
        return st;
    }
    case AN_SHAPE_JOHNSON_SU:
    case AN_SHAPE_JOHNSON_SB:
        return fit_johnson(y, n, from, fit);
    case AN_SHAPE_COUNT:
        break;
    }
    return AN_DOMAIN;
}

static enum an_status sorted_copy(const double x[], size_t n, double sorted[])
{
    if (n < 2) {
        return AN_TOO_FEW;
    }
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(x[i])) {
            return AN_DOMAIN;
        }
        sorted[i] = x[i];
    }
    order_up(sorted, n);
    return isfinite(sorted[n - 1] - sorted[0]) ? AN_OK : AN_DOMAIN;
}

/* sorted is brought to its unit and back, by steps that round to where they came from. */
static enum an_status fit_sorted(enum an_shape shape, const double sorted[], size_t n,
                                 double scratch[], struct an_fit *fit)
{
    if (shape >= AN_SHAPE_COUNT) {
        return AN_DOMAIN;
    }
    if (n < shapes[shape].least_n) {
        return AN_TOO_FEW;
    }
    const bool zero_too = shape == AN_SHAPE_FOLDED_NORMAL;
    if ((shapes[shape].positive && !(sorted[0] > 0.0)) || (zero_too && sorted[0] < 0.0)) {
        return AN_DOMAIN;
    }
    if (!(sorted[n - 1] > sorted[0])) {
        return AN_NO_SPREAD;
    }
    const struct fit_unit unit = fit_unit_of(shape, sorted, n);
    double *const y = scratch, *const work = scratch + n;
    for (size_t i = 0; i < n; i++) {
        y[i] = (sorted[i] - unit.shift) / unit.factor;
    }
    struct an_fit found;
    const enum an_status st = fit_values(shape, y, n, work, NULL, &found);
    if (!st) {
        *fit = an_fit_moved(&found, unit.factor, unit.shift);
    }
    return st;
}

enum an_status an_fit_shape(enum an_shape shape, const double x[], size_t n, double scratch[],
                            struct an_fit *fit)
{
    const enum an_status st = sorted_copy(x, n, scratch);
    return st ? st : fit_sorted(shape, scratch, n, scratch + n, fit);
}

enum an_status an_fit_rank(const double x[], size_t n, double scratch[],
                           struct an_fit_ranking *ranking)
{
    *ranking = (struct an_fit_ranking){.best = AN_SHAPE_COUNT, .second = AN_SHAPE_COUNT};
    const enum an_status st = sorted_copy(x, n, scratch);
    if (st) {
        return st;
    }
    if (!(scratch[n - 1] > scratch[0])) {
        return AN_NO_SPREAD;
    }
    for (int i = 0; i < (int)AN_SHAPE_COUNT; i++) {
        const enum an_shape shape = (enum an_shape)i;
        if (shape == AN_SHAPE_JOHNSON_SL) {
            ranking->status[i] = AN_DOMAIN;
            continue;
        }
        ranking->status[i] = fit_sorted(shape, scratch, n, scratch + n, &ranking->fit[i]);
        if (ranking->status[i]) {
            continue;
        }
        const double bic = an_fit_bic(&ranking->fit[i]);
        /* a tie goes to the earlier one: a folded normal far from 0 is a normal */
        if (ranking->best == AN_SHAPE_COUNT ||
            bic < an_fit_bic(&ranking->fit[ranking->best]) - 1e-3) {
            ranking->second = ranking->best;
            ranking->best = shape;
        } else if (ranking->second == AN_SHAPE_COUNT ||
                   bic < an_fit_bic(&ranking->fit[ranking->second])) {
            ranking->second = shape;
        }
    }
    return ranking->best == AN_SHAPE_COUNT ? AN_NOT_CONVERGED : AN_OK;
}
