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
 *   Cpk, Ppk: normal approximation  c +- z sqrt(1 / (9 n) + c^2 / (2 df))  [Bissell, How reliable
 *             is your capability index?, Applied Statistics 39, 1990; from memory]. With one limit
 *             only, the index is that side's and so are its exact bounds.
 *   Cpm:      chi-square with nu = n (1 + x^2)^2 / (1 + 2 x^2), x = (mean - target) / s
 *             [Boyles, The Taguchi capability index, Journal of Quality Technology 23(1), 1991;
 *             from memory]
 */
#include "andamento/stat/capability.h"

#include "andamento/stat/tests.h"
#include "stat/distribution.h"

#include <math.h>
#include <stdbool.h>

static const struct an_index no_index = {NAN, NAN, NAN};

struct spread {
    double sigma, df, n, alpha;
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

static struct an_index one_side(double room, const struct spread *by)
{
    if (isnan(room)) {
        return no_index;
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
    const double off = basis->mean - spec->target;
    const double value = (spec->usl - spec->lsl) / (6.0 * hypot(basis->sigma_overall, off));
    const double x2 = (off / basis->sigma_overall) * (off / basis->sigma_overall);
    const double nu = basis->n * (1.0 + x2) * ((1.0 + x2) / (1.0 + 2.0 * x2));
    return by_chi_square(value, nu, 1.0 - basis->confidence);
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
    if (basis->n < 2.0) {
        return AN_TOO_FEW;
    }
    if (!isfinite(basis->sigma_overall) || basis->sigma_overall < 0.0) {
        return AN_DOMAIN;
    }
    return basis->sigma_overall > 0.0 ? AN_OK : AN_NO_SPREAD;
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
    const struct spread within = {basis->sigma_within, basis->df_within, basis->n, alpha};
    const struct spread overall = {basis->sigma_overall, basis->n - 1.0, basis->n, alpha};
    const struct four c = four_of(spec, basis->mean, &within);
    const struct four p = four_of(spec, basis->mean, &overall);
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
