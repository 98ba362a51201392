/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Capability and performance indices with confidence bounds, for normal and stable streams.
 *
 * Responsible for: the arithmetic; whether the stream is stable and normal is the caller's
 * question, to be asked first. Must never give an index for a limit that is not there.
 *
 * Indices  [NIST/SEMATECH e-Handbook of Statistical Methods, section 6.1.6; from memory]
 *   Cp = (usl - lsl) / 6 s   Cpu = (usl - mean) / 3 s   Cpl = (mean - lsl) / 3 s
 *   Cpk = min(Cpl, Cpu)      Cpm = (usl - lsl) / 6 sqrt(s^2 + (mean - target)^2)
 *   Cp.. with sigma_within and its df; Pp.., Cpm with sigma_overall and n - 1.
 * Bounds, two-sided, alpha = 1 - confidence
 *   Cp, Pp:   exact. df s^2 / sigma^2 is chi-square, hence index * sqrt(chi2(alpha/2) / df).
 *   one side: exact. 3 sqrt(n) Cpu-hat is noncentral t with noncentrality 3 sqrt(n) Cpu; the bound
 *             is the noncentrality at which what was seen has chance alpha / 2.
 *             [Montgomery, Introduction to Statistical Quality Control, chapter on capability; from
 *             memory]
 *   one side, items differ: the mean then varies by more than sigma_within / sqrt(n), by an amount
 *             estimated from the items' means, independent of sigma_within. What truths go with both
 *             estimates: mean + se T (Student's t, df_mean) and sigma_within / W (W^2 chi-square
 *             over df): the bound is the quantile of their index, by integration over W
 *             [generalised confidence interval: Weerahandi, JASA 88, 1993; from memory]. For Pp's
 *             side, whose sigma holds the same spread between items, noncentral t with the n that
 *             the mean is worth, (sigma_overall / se)^2, and df_overall.
 *   Cpk, Ppk: normal approximation  c +- z sqrt(1 / (9 n) + c^2 / (2 df))  [Bissell, How reliable
 *             is your capability index?, Applied Statistics 39, 1990; from memory]; where items
 *             differ se^2 / (9 sigma^2) stands for 1 / (9 n). With one limit only, the index is that
 *             side's and so are its exact bounds.
 *   Cpm:      tau^2 = mean (x - target)^2 (divisor n) is about chi-square with nu = n (1 + x^2)^2 /
 *             (1 + 2 x^2), x = (mean - target) / sigma, by its first two moments: noncentral
 *             chi-square with n degrees of freedom and noncentrality n x^2 has mean n (1 + x^2),
 *             variance 2 n (1 + 2 x^2). [Boyles, The Taguchi capability index, Journal of Quality
 *             Technology 23(1), 1991; from memory, derived anew here.] So the bounds start from
 *             tau with divisor n, whose distribution that is, though the index itself is printed
 *             with s^2 + (mean - target)^2 as handbooks do; with divisor n - 1 they would sit too
 *             low by 1 / (4 n) or so.
 */
#include "andamento/stat/capability.h"

#include "andamento/stat/tests.h"
#include "stat/distribution.h"

#include <math.h>
#include <stdbool.h>

static const struct an_index no_index = {NAN, NAN, NAN};

struct spread {
    double sigma, df, alpha;
    double n;           /* readings that the mean is worth: (sigma / se)^2 */
    double se, df_mean; /* of the mean, where it was estimated apart; 0 */
};

/* Index whose only random part is sigma: both limits over six sigma. */
static struct an_index by_chi_square(double value, double df, double alpha)
{
    if (!(df > 0.0) || !isfinite(df)) {
        return (struct an_index){value, NAN, NAN};
    }
    return (struct an_index){value, value * sqrt(an_chi_square_quantile(alpha / 2.0, df) / df),
                             value * sqrt(an_chi_square_quantile(1.0 - alpha / 2.0, df) / df)};
}

struct apart {
    double room, sigma, df, se, df_mean, want;
    double log_peak; /* of the density of Student's t */
};

/* P(index of a truth that goes with both estimates <= c) - want, by the trapezoid rule over log W as
 * in noncentral_t.c; *slope is its derivative by c. */
static double apart_off(const struct apart *a, double c, double *slope)
{
    const double steep = fabs(3.0 * c * a->sigma / a->se);
    /* the trapezoid rule errs by exp(-2 pi^2 / h^2) on what is like a normal curve of width 1, and by
     * exp(-2 pi sqrt(df) / h) on Student's t: below 1e-13 for h = .8 from 20 degrees of freedom on */
    const double h = a->df_mean >= 20.0 && a->df >= 20.0 ? 0.8 : 0.4;
    const double step = fmin(0.1, h / sqrt(2.0 * a->df + steep * steep));
    double weights = 0.0, chance = 0.0, density = 0.0;
    for (int side = -1; side <= 1; side += 2) {
        for (int i = side < 0 ? 1 : 0; i < 1000000; i++) {
            const double u = side * (i * step);
            const double fall = a->df * (u - expm1(2.0 * u) / 2.0);
            if (fall < -42.0) {
                break;
            }
            const double weight = exp(fall);
            const double by_c = 3.0 * a->sigma * exp(-u) / a->se;
            const double t = c * by_c - a->room / a->se;
            weights += weight;
            chance += weight * an_t_below(t, a->df_mean);
            density += weight * by_c *
                       exp(a->log_peak - (a->df_mean + 1.0) / 2.0 * log1p(t * (t / a->df_mean)));
        }
    }
    *slope = density / weights;
    return chance / weights - a->want;
}

/* Newton from Bissell's approximation of the bound, held between the places known to be below and
 * above; far out the steps of the integral are many, and wasted. */
static double apart_bound(const struct apart *a, double value)
{
    const double mean_part = a->se / (3.0 * a->sigma);
    const double error = sqrt(mean_part * mean_part + value * value / (2.0 * a->df));
    double reach = 3.0 * error;
    reach = reach > 1e-9 * (1.0 + fabs(value)) ? reach : 1e-9 * (1.0 + fabs(value));
    double low = -INFINITY, high = INFINITY;
    double c = value + an_normal_quantile(a->want) * error;
    for (int i = 0; i < 200; i++) {
        double slope;
        const double off = apart_off(a, c, &slope);
        if (isnan(off)) {
            return NAN;
        }
        if (off < 0.0) {
            low = c;
        } else {
            high = c;
        }
        double next = slope > 0.0 ? c - off / slope : (double)NAN;
        if (isfinite(low) && isfinite(high)) {
            next = next > low && next < high ? next : (low + high) / 2.0;
        } else if (!(fabs(next - c) <= reach)) {
            next = c + (off < 0.0 ? reach : -reach);
            reach *= 2.0;
        }
        if (fabs(next - c) <= 1e-8 * error || next == c) {
            return next;
        }
        c = next;
    }
    return NAN;
}

static struct an_index one_side_apart(double room, const struct spread *by)
{
    struct an_index index = {room / (3.0 * by->sigma), NAN, NAN};
    if (by->df >= 1.0 && isfinite(by->df)) {
        const double half = by->df_mean / 2.0;
        struct apart a = {room,
                          by->sigma,
                          by->df,
                          by->se,
                          by->df_mean,
                          by->alpha / 2.0,
                          an_log_gamma(half + 0.5) - an_log_gamma(half) -
                              log(2.0 * half * 3.14159265358979323846) / 2.0};
        index.lower = apart_bound(&a, index.value);
        a.want = 1.0 - by->alpha / 2.0;
        index.upper = apart_bound(&a, index.value);
    }
    return index;
}

static struct an_index one_side(double room, const struct spread *by)
{
    if (isnan(room)) {
        return no_index;
    }
    if (by->se > 0.0) {
        return one_side_apart(room, by);
    }
    const double scale = 3.0 * sqrt(by->n);
    const double value = room / (3.0 * by->sigma);
    return (struct an_index){
        value, an_noncentral_t_delta(scale * value, by->df, 1.0 - by->alpha / 2.0) / scale,
        an_noncentral_t_delta(scale * value, by->df, by->alpha / 2.0) / scale};
}

static struct an_index nearer_side(const struct an_index *lower_side,
                                   const struct an_index *upper_side, const struct spread *by)
{
    if (isnan(lower_side->value)) {
        return *upper_side;
    }
    if (isnan(upper_side->value)) {
        return *lower_side;
    }
    const double c = fmin(lower_side->value, upper_side->value);
    const double z = an_normal_quantile(1.0 - by->alpha / 2.0);
    const double half = z * sqrt(1.0 / (9.0 * by->n) + c * c / (2.0 * by->df));
    return (struct an_index){c, c - half, c + half};
}

struct four {
    struct an_index both, nearer, lower_side, upper_side;
};

static struct four four_of(const struct an_spec *spec, double mean, const struct spread *by)
{
    if (!(by->sigma > 0.0)) {
        return (struct four){no_index, no_index, no_index, no_index};
    }
    struct four f = {
        .both = no_index,
        .lower_side = one_side(mean - spec->lsl, by),
        .upper_side = one_side(spec->usl - mean, by),
    };
    if (!isnan(spec->lsl) && !isnan(spec->usl)) {
        f.both = by_chi_square((spec->usl - spec->lsl) / (6.0 * by->sigma), by->df, by->alpha);
    }
    f.nearer = nearer_side(&f.lower_side, &f.upper_side, by);
    return f;
}

static struct an_index about_target(const struct an_capability_basis *basis,
                                    const struct an_spec *spec)
{
    if (isnan(spec->target) || isnan(spec->lsl) || isnan(spec->usl)) {
        return no_index;
    }
    const double off = basis->mean - spec->target, sd = basis->sigma_overall;
    const double value = (spec->usl - spec->lsl) / (6.0 * hypot(sd, off));
    const double alpha = 1.0 - basis->confidence;
    double tau2, nu;
    if (basis->mean_se > 0.0) {
        const double df = basis->df_overall > 0.0 ? basis->df_overall : basis->n - 1.0;
        const double of_sd = sd * sd * (sd * sd / df);
        tau2 = sd * sd + off * off;
        nu = tau2 * (tau2 / (of_sd + 2.0 * off * off * basis->mean_se * basis->mean_se));
    } else {
        const double sd2 = sd * sd * (basis->n - 1.0) / basis->n;
        const double x2 = off * off / sd2;
        tau2 = sd2 + off * off;
        nu = basis->n * (1.0 + x2) * ((1.0 + x2) / (1.0 + 2.0 * x2));
    }
    const double start = (spec->usl - spec->lsl) / (6.0 * sqrt(tau2));
    struct an_index index = by_chi_square(start, nu, alpha);
    index.value = value;
    return index;
}

static enum an_status check(const struct an_capability_basis *basis, const struct an_spec *spec)
{
    const bool lower = !isnan(spec->lsl), upper = !isnan(spec->usl);
    if ((!lower && !upper) || isinf(spec->lsl) || isinf(spec->usl) || isinf(spec->target) ||
        (lower && upper && spec->lsl >= spec->usl)) {
        return AN_DOMAIN;
    }
    if (!(basis->confidence > 0.0 && basis->confidence < 1.0) || !isfinite(basis->mean) ||
        !isfinite(basis->n) || isinf(basis->sigma_within) || basis->sigma_within < 0.0) {
        return AN_DOMAIN;
    }
    if (!(basis->mean_se >= 0.0 && basis->df_mean >= 0.0 && basis->df_overall >= 0.0) ||
        isinf(basis->mean_se) || isinf(basis->df_mean) || isinf(basis->df_overall) ||
        !(basis->sigma_total >= 0.0) || isinf(basis->sigma_total) ||
        (basis->mean_se > 0.0 && !(basis->df_mean > 0.0))) {
        return AN_DOMAIN;
    }
    if (basis->n < 2.0) {
        return AN_TOO_FEW;
    }
    if (!isfinite(basis->sigma_overall) || basis->sigma_overall < 0.0) {
        return AN_DOMAIN;
    }
    return basis->sigma_overall > 0.0 ? AN_OK : AN_NO_SPREAD;
}

/*
 * The mean over items varies by their mean square over n. The variance of a reading is (MS between +
 * (n0 - 1) MS inside) / n0, n0 readings an item; the sd of all readings estimates less when items are
 * few. Degrees of freedom of the sum by Satterthwaite, An approximate distribution of estimates of
 * variance components, Biometrics Bulletin 2, 1946 (from memory).
 */
void an_capability_nested(struct an_capability_basis *basis, const struct an_nested *nested)
{
    const double df_between = nested->items - 1.0, df_inside = nested->readings - nested->items;
    basis->sigma_overall =
        nested->readings > 1.0
            ? sqrt((nested->ssd_between + nested->ssd_inside) / (nested->readings - 1.0))
            : (double)NAN;
    basis->mean_se = basis->df_mean = basis->df_overall = basis->sigma_total = 0.0;
    if (!(df_between >= 1.0 && df_inside >= 1.0 && nested->ssd_between > 0.0)) {
        return;
    }
    const double ms_between = nested->ssd_between / df_between;
    const double each = nested->readings / nested->items;
    const double a = ms_between / each, b = nested->ssd_inside / df_inside * (1.0 - 1.0 / each);
    basis->mean_se = sqrt(ms_between / nested->readings);
    basis->df_mean = df_between;
    basis->sigma_total = sqrt(a + b);
    basis->df_overall = (a + b) * ((a + b) / (a * (a / df_between) + b * (b / df_inside)));
}

/* Independent readings that would give the mean as well. */
static double worth(const struct an_capability_basis *basis, double sigma)
{
    const double se = basis->mean_se;
    return se > 0.0 ? sigma / se * (sigma / se) : basis->n;
}

enum an_status an_capability_of(const struct an_capability_basis *basis, const struct an_spec *spec,
                                struct an_capability *capability)
{
    *capability = (struct an_capability){no_index, no_index, no_index, no_index, no_index, no_index,
                                         no_index, no_index, no_index, NAN,      NAN};
    const enum an_status st = check(basis, spec);
    if (st) {
        return st;
    }
    const double alpha = 1.0 - basis->confidence;
    const double se = basis->mean_se;
    const struct spread within = {
        basis->sigma_within, basis->df_within, alpha, worth(basis, basis->sigma_within), se,
        basis->df_mean};
    const double df = basis->df_overall > 0.0 ? basis->df_overall : basis->n - 1.0;
    const double sigma = basis->mean_se > 0.0 && basis->sigma_total > 0.0 ? basis->sigma_total
                                                                          : basis->sigma_overall;
    const struct spread overall = {sigma, df, alpha, worth(basis, sigma), 0.0, 0.0};
    const struct four c = four_of(spec, basis->mean, &within);
    struct four p = four_of(spec, basis->mean, &overall);
    if (basis->mean_se > 0.0 && basis->sigma_total > 0.0) {
        const double ratio = basis->sigma_total / basis->sigma_overall;
        p.both.value *= ratio;
        p.nearer.value *= ratio;
        p.lower_side.value *= ratio;
        p.upper_side.value *= ratio;
    }
    *capability = (struct an_capability){
        .cp = c.both,
        .cpk = c.nearer,
        .cpl = c.lower_side,
        .cpu = c.upper_side,
        .pp = p.both,
        .ppk = p.nearer,
        .ppl = p.lower_side,
        .ppu = p.upper_side,
        .cpm = about_target(basis, spec),
        .below = isnan(spec->lsl)
                     ? 0.0
                     : an_normal_below((spec->lsl - basis->mean) / basis->sigma_overall),
        .above = isnan(spec->usl)
                     ? 0.0
                     : an_normal_above((spec->usl - basis->mean) / basis->sigma_overall),
    };
    return AN_OK;
}
