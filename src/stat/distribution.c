/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Distribution functions, from R's mathematical library.
 *
 * Responsible for: every call of that library; no other file includes its header. Must never let
 * it write: built stand-alone it reports a doubtful argument by printf, so arguments are checked
 * here first and answered with NAN. Its noncentral t is not used at all: beyond a noncentrality of
 * 37.6 it falls back to a normal approximation (noncentral_t.c).
 */
#include "stat/distribution.h"

#include "andamento/stat/tests.h"

#include <math.h>
#include <stdbool.h>

#ifndef MATHLIB_STANDALONE
#define MATHLIB_STANDALONE
#endif
#include <Rmath.h>

static bool chance_ok(double p)
{
    return p >= 0.0 && p <= 1.0;
}

double an_normal_below(double z)
{
    return pnorm(z, 0.0, 1.0, 1, 0);
}

double an_normal_above(double z)
{
    return pnorm(z, 0.0, 1.0, 0, 0);
}

double an_normal_log_below(double z)
{
    return pnorm(z, 0.0, 1.0, 1, 1);
}

double an_normal_quantile(double p)
{
    return chance_ok(p) ? qnorm(p, 0.0, 1.0, 1, 0) : (double)NAN;
}

double an_t_quantile(double p, double df)
{
    return chance_ok(p) && df > 0.0 ? qt(p, df, 1, 0) : (double)NAN;
}

double an_t_below(double t, double df)
{
    return df > 0.0 ? pt(t, df, 1, 0) : (double)NAN;
}

double an_chi_square_quantile(double p, double df)
{
    return chance_ok(p) && df > 0.0 && isfinite(df) ? qchisq(p, df, 1, 0) : (double)NAN;
}

double an_chi_square_above(double x, double df)
{
    return df > 0.0 && isfinite(df) ? pchisq(x, df, 0, 0) : (double)NAN;
}

double an_f_above(double f, double df1, double df2)
{
    return df1 > 0.0 && df2 > 0.0 ? pf(f, df1, df2, 0, 0) : (double)NAN;
}

double an_binomial_below(double k, double n, double p)
{
    const bool whole = n >= 0.0 && isfinite(n) && n == floor(n);
    return whole && chance_ok(p) ? pbinom(k, n, p, 1, 0) : (double)NAN;
}

double an_poisson_below(double k, double mean)
{
    return mean >= 0.0 && isfinite(mean) ? ppois(k, mean, 1, 0) : (double)NAN;
}

/* ---- gamma and beta shapes ---- */
double an_normal_quantile_above(double p)
{
    return chance_ok(p) ? qnorm(p, 0.0, 1.0, 0, 0) : (double)NAN;
}

double an_gamma_log_below(double x, double shape)
{
    return shape > 0.0 && isfinite(shape) ? pgamma(x, shape, 1.0, 1, 1) : (double)NAN;
}

double an_gamma_log_above(double x, double shape)
{
    return shape > 0.0 && isfinite(shape) ? pgamma(x, shape, 1.0, 0, 1) : (double)NAN;
}

double an_gamma_quantile(double p, bool above, double shape)
{
    return chance_ok(p) && shape > 0.0 && isfinite(shape) ? qgamma(p, shape, 1.0, !above, 0)
                                                          : (double)NAN;
}

double an_log_gamma(double x)
{
    return x > 0.0 ? lgammafn(x) : (double)NAN;
}

double an_digamma(double x)
{
    return x > 0.0 ? digamma(x) : (double)NAN;
}

double an_trigamma(double x)
{
    return x > 0.0 ? trigamma(x) : (double)NAN;
}

double an_beta_quantile(double p, double a, double b)
{
    return chance_ok(p) && a > 0.0 && b > 0.0 && isfinite(a) && isfinite(b) ? qbeta(p, a, b, 1, 0)
                                                                            : (double)NAN;
}

double an_chi_square_below(double x, double df)
{
    return df > 0.0 && isfinite(df) ? pchisq(x, df, 1, 0) : (double)NAN;
}

/* ---- of counts and of F ---- */
static bool whole(double n)
{
    return n >= 0.0 && isfinite(n) && n == floor(n);
}

double an_f_quantile_above(double p, double df1, double df2)
{
    return chance_ok(p) && df1 > 0.0 && df2 > 0.0 ? qf(p, df1, df2, 0, 0) : (double)NAN;
}

double an_binomial_above(double k, double n, double p)
{
    return whole(n) && chance_ok(p) ? pbinom(k, n, p, 0, 0) : (double)NAN;
}

double an_poisson_above(double k, double mean)
{
    return mean >= 0.0 && isfinite(mean) ? ppois(k, mean, 0, 0) : (double)NAN;
}

double an_binomial_quantile(double p, bool above, double n, double chance)
{
    return chance_ok(p) && whole(n) && chance_ok(chance) ? qbinom(p, n, chance, !above, 0)
                                                         : (double)NAN;
}

double an_poisson_quantile(double p, bool above, double mean)
{
    return chance_ok(p) && mean >= 0.0 && isfinite(mean) ? qpois(p, mean, !above, 0) : (double)NAN;
}

double an_negative_binomial_quantile(double p, bool above, double r, double chance)
{
    return chance_ok(p) && r > 0.0 && isfinite(r) && chance > 0.0 && chance <= 1.0
               ? qnbinom(p, r, chance, !above, 0)
               : (double)NAN;
}
