/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * c4, d2, d3 and the control-chart constants made of them.
 *
 * Responsible for: their computation for any n from the definitions; there is no table here to be
 * mistyped. Hard idea: every integrand is smooth and dies like a normal tail, so the trapezoid
 * rule over the whole line converges exponentially, and a coarse step reaches full precision.
 */
#include "andamento/stat/constants.h"

#include "andamento/stat/tests.h"

#include <math.h>

#define PI 3.14159265358979323846

/*
 * log c4(n) with c4(n) = sqrt(2 / (n - 1)) gamma(n / 2) / gamma((n - 1) / 2): the mean of the
 * sample standard deviation of n normal readings, in sigmas. [Johnson, Kotz, Balakrishnan,
 * Continuous Univariate Distributions 1, 1994, chapter 18; from memory]
 *
 * With x = (n - 1) / 2 it is log (gamma(x + 1/2) / (gamma(x) sqrt(x))), whose expansion is
 *     -1/(8 x) + 1/(192 x^3) - 1/(640 x^5) + 17/(14336 x^7) - 31/(18432 x^9) + 691/(180224 x^11)
 *     - 5461/(425984 x^13),
 * the coefficients being (2^-k - 2) B(k+1) / (k (k+1)) with Bernoulli's numbers [Abramowitz and
 * Stegun, Handbook of Mathematical Functions, 1964, 6.1.40-42; from memory, and checked in the
 * tests]. gamma(x+1) = x gamma(x) first carries x beyond 16, where the next term is below 1e-19.
 * Not lgamma(): the difference of two large logarithms loses digits, and it writes signgam.
 */
static double log_c4(double n)
{
    static const double series[] = {-1.0 / 8,      1.0 / 192,      -1.0 / 640,      17.0 / 14336,
                                    -31.0 / 18432, 691.0 / 180224, -5461.0 / 425984};
    const double start = (n - 1.0) / 2.0;
    double x = start, ratio = 1.0;
    while (x < 16.0) {
        ratio *= x / (x + 0.5);
        x += 1.0;
    }
    double sum = 0.0;
    for (size_t i = sizeof series / sizeof series[0]; i-- > 0;) {
        sum = series[i] + sum / (x * x);
    }
    sum /= x;
    /* log(ratio sqrt(x / start)), nothing to do when no step was taken */
    return start < 16.0 ? sum + log(ratio * sqrt(x / start)) : sum;
}

static enum an_status c4_range(double n)
{
    if (isnan(n) || n > 1e8) {
        return AN_DOMAIN;
    }
    return n < 2.0 ? AN_TOO_FEW : AN_OK;
}

enum an_status an_c4(double n, double *c4)
{
    const enum an_status st = c4_range(n);
    if (!st) {
        *c4 = exp(log_c4(n));
    }
    return st;
}

enum an_status an_c4_spread(double n, double *spread)
{
    const enum an_status st = c4_range(n);
    if (!st) {
        *spread = sqrt(-expm1(2.0 * log_c4(n))); /* 1 - c4^2 is about 1 / 2n: not by subtraction */
    }
    return st;
}

static enum an_status range_size(size_t n)
{
    if (n > AN_SUBGROUP_MOST) {
        return AN_DOMAIN;
    }
    return n < 2 ? AN_TOO_FEW : AN_OK;
}

/*
 * d2(n) = integral of 1 - F(x)^n - (1 - F(x))^n over the line, F the normal distribution
 * [Tippett, On the extreme individuals and the range of samples taken from a normal population,
 * Biometrika 17, 1925; from memory]. Even in x. With q = 1 - F(x): 1 - (1-q)^n by expm1 and log1p,
 * so the tail is right to its last digit; beyond x = 10 the rest is below n * 1e-23.
 */
enum an_status an_d2(size_t n, double *d2)
{
    const enum an_status st = range_size(n);
    if (st) {
        return st;
    }
    const double count = (double)n;
    const double step = 1.0 / 16;
    double sum = 0.0;
    for (int i = 0; i <= 160; i++) {
        const double q = an_normal_above(i * step);
        const double height = -expm1(count * log1p(-q)) - pow(q, count);
        sum += i == 0 ? height / 2.0 : height;
    }
    *d2 = 2.0 * step * sum;
    return AN_OK;
}

/*
 * d3(n) = sqrt(E R^2 - d2^2), with the density of the range R of n standard normals about its
 * midpoint u [Tippett 1925, as above]
 *     f(r) = n (n-1) / (2 pi) exp(-r^2 / 4) integral exp(-u^2) (F(u + r/2) - F(u - r/2))^(n-2) du.
 * E (R - d2)^2 is summed directly: no difference of two large squares. By r the integrand starts
 * at 0 with no symmetry, so r = log(1 + exp(v)) takes the half line to the whole one. As n grows
 * the power sharpens the integrand and the step must shrink; measured against a step of 1/32, the
 * steps below leave a relative error of 1e-14 or less for n = 2..1000.
 */
static double range_density(double r, size_t n, double step)
{
    const double power = (double)n - 2.0;
    double sum = 0.0;
    for (int i = 0; i * step < 6.5; i++) { /* exp(-6.5^2) is 4e-19 */
        const double u = i * step;
        /* F(u + r/2) - F(u - r/2) with r/2 against u, always by tails */
        const double out = an_normal_above(u + r / 2.0);
        const double in = u > r / 2.0 ? an_normal_above(u - r / 2.0) - out
                                      : 1.0 - an_normal_above(r / 2.0 - u) - out;
        const double height = exp(-u * u) * (n == 2 ? 1.0 : pow(in, power));
        sum += i == 0 ? height / 2.0 : height;
    }
    return (double)n * ((double)n - 1.0) / (2.0 * PI) * exp(-r * r / 4.0) * 2.0 * step * sum;
}

static double step_for(size_t n)
{
    static const struct {
        size_t n;
        double step;
    } steps[] = {{3, 0.4}, {6, 0.3}, {10, 0.25}, {20, 0.2}, {60, 0.15}, {200, 0.125}};
    for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++) {
        if (n <= steps[i].n) {
            return steps[i].step;
        }
    }
    return 0.08;
}

enum an_status an_d3(size_t n, double *d3)
{
    double d2;
    const enum an_status st = an_d2(n, &d2);
    if (st) {
        return st;
    }
    const double step = step_for(n);
    double sum = 0.0;
    for (double v = -38.0 / ((double)n - 1.0); v < 14.0; v += step) {
        const double r = v > 0.0 ? v + log1p(exp(-v)) : log1p(exp(v));
        const double slope = 1.0 / (1.0 + exp(-v));
        sum += (r - d2) * (r - d2) * range_density(r, n, step) * slope;
    }
    *d3 = sqrt(step * sum);
    return AN_OK;
}

enum an_status an_chart_constants(size_t n, struct an_chart_constants *constants)
{
    double c4, spread, d2, d3;
    enum an_status st = an_d2(n, &d2);
    st = st ? st : an_d3(n, &d3);
    st = st ? st : an_c4((double)n, &c4);
    st = st ? st : an_c4_spread((double)n, &spread);
    if (st) {
        return st;
    }
    const double root = sqrt((double)n);
    *constants = (struct an_chart_constants){
        .n = n,
        .c4 = c4,
        .d2 = d2,
        .d3 = d3,
        .A = 3.0 / root,
        .A2 = 3.0 / (d2 * root),
        .A3 = 3.0 / (c4 * root),
        .B3 = fmax(0.0, 1.0 - 3.0 * spread / c4),
        .B4 = 1.0 + 3.0 * spread / c4,
        .B5 = fmax(0.0, c4 - 3.0 * spread),
        .B6 = c4 + 3.0 * spread,
        .D1 = fmax(0.0, d2 - 3.0 * d3),
        .D2 = d2 + 3.0 * d3,
        .D3 = fmax(0.0, 1.0 - 3.0 * d3 / d2),
        .D4 = 1.0 + 3.0 * d3 / d2,
        .E2 = 3.0 / d2,
    };
    return AN_OK;
}
