/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Noncentral t, as the bounds of a one-sided index need it.
 *
 * Responsible for: the chance P(T <= t) with T = (Z + delta) / S, Z standard normal, S the
 * independent root of chi-square over df, and the delta that makes it a given chance. Hard idea:
 * given S = s the chance is normal, Phi(t s - delta), so
 *     P = integral Phi(t s - delta) g(s) ds / integral g(s) ds,  g(s) = s^(df-1) exp(-df s^2 / 2),
 * and with s = exp(u) the trapezoid rule over the whole line converges exponentially. The divisor
 * is summed along, so no gamma function is needed and its rounding cancels. Chosen before the
 * series of the common libraries since indices of long runs have delta = 3 sqrt(n) index in the
 * hundreds, where those lose the tail. [Johnson, Kotz, Balakrishnan, Continuous Univariate
 * Distributions 2, 1995, chapter 31; from memory]
 */
#include "andamento/stat/tests.h"
#include "stat/distribution.h"

#include <math.h>
#include <stddef.h>

#define ROOT_TWO_PI 2.50662827463100050242

double an_noncentral_t_below(double t, double df, double delta, double *slope)
{
    if (!(df >= 1.0) || !isfinite(df) || !isfinite(t) || !isfinite(delta)) {
        return NAN;
    }
    /* log of s g(s), less its value at the peak s = 1: df (u - (exp(2u) - 1) / 2); near the peak
     * a normal curve of width 1 / sqrt(2 df), while the chance rises within 1 / |delta| of where
     * t exp(u) = delta: the step is small beside both. Below -42 a weight adds nothing. */
    const double step = fmin(0.1, 0.7 / sqrt(2.0 * df + t * t + delta * delta));
    struct {
        double weight, chance, density;
    } sum = {0.0, 0.0, 0.0};
    for (int side = -1; side <= 1; side += 2) {
        for (int i = side < 0 ? 1 : 0; i < 1000000; i++) {
            const double u = side * (i * step);
            const double fall = df * (u - expm1(2.0 * u) / 2.0);
            if (fall < -42.0) {
                break;
            }
            const double weight = exp(fall);
            const double z = t * exp(u) - delta;
            sum.weight += weight;
            sum.chance += weight * an_normal_below(z);
            sum.density += weight * exp(-z * z / 2.0);
        }
    }
    if (slope != NULL) {
        *slope = -sum.density / (ROOT_TWO_PI * sum.weight);
    }
    return sum.chance / sum.weight;
}

double an_noncentral_t_delta(double t, double df, double p)
{
    if (!(p > 0.0 && p < 1.0) || !(df >= 1.0) || !isfinite(df) || !isfinite(t)) {
        return NAN;
    }
    /* P falls from 1 to 0 as delta grows, about like a normal curve of this width: Newton from where
     * that has the chance, held between the places known to be below and above. A step of 1e-8
     * widths leaves an error of its square. */
    const double width = sqrt(1.0 + t * (t / (2.0 * df)));
    double delta = t * (1.0 - 1.0 / (4.0 * df)) - an_normal_quantile(p) * width;
    double low = -INFINITY, high = INFINITY, reach = 4.0 * width;
    for (int i = 0; i < 200; i++) {
        double slope;
        const double off = an_noncentral_t_below(t, df, delta, &slope) - p;
        if (off > 0.0) {
            low = delta;
        } else {
            high = delta;
        }
        double next = slope < 0.0 ? delta - off / slope : low;
        if (isfinite(low) && isfinite(high)) {
            next = next > low && next < high ? next : (low + high) / 2.0;
        } else if (!(fabs(next - delta) <= reach)) {
            next = delta + (off > 0.0 ? reach : -reach);
            reach *= 2.0;
        }
        if (fabs(next - delta) <= 1e-8 * width || next == delta) {
            return next;
        }
        delta = next;
    }
    return delta;
}
