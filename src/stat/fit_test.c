/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How well a fitted shape fits: Anderson-Darling, with parameters estimated from the same readings.
 *
 * The hard idea: estimating makes the statistic smaller, by an amount that depends on the shape, so
 * the tables for known parameters would pass nearly everything. p here is
 *   normal, lognormal  D'Agostino and Stephens, Goodness-of-Fit Techniques, 1986, table 4.9, as in
 *                      normality.c; of the logarithms for lognormal
 *   weibull            1 / (1 + exp(-0.10 + 1.24 log a + 4.48 a)), a = A2 (1 + 0.2 / sqrt(n)): a curve
 *                      through the points of Stephens, Goodness of fit for the extreme value
 *                      distribution, Biometrika 64, 1977 [MIL-HDBK-17-1F, volume 1, section 8.3.4;
 *                      both from memory; the tests compare it with those points]
 *   the others         sets drawn from the fit, fitted anew by the same method, their A2 counted:
 *                      p = (1 + those at or above) / (1 + sets). Beyond 400 values the distribution
 *                      of A2 no longer moves, so larger sets are not drawn.
 */
#include "andamento/stat/fit.h"
#include "andamento/stat/tests.h"
#include "stat/distribution.h"
#include "stat/fit_inner.h"
#include "stat/order.h"

#include <math.h>

#define SETS 499
#define LARGEST 400
#define SEED 0x616e64616d656e74U

double fit_draw(const struct an_fit *fit, struct stat_draws *draws)
{
    switch (fit->shape) {
    case AN_SHAPE_GAMMA:
        return fit->par[1] * draws_gamma(draws, fit->par[0]);
    case AN_SHAPE_FOLDED_NORMAL:
        return fabs(fit->par[0] + fit->par[1] * draws_normal(draws));
    case AN_SHAPE_NORMAL:
    case AN_SHAPE_LOGNORMAL:
    case AN_SHAPE_LOGNORMAL_3:
    case AN_SHAPE_WEIBULL:
    case AN_SHAPE_WEIBULL_3:
    case AN_SHAPE_RAYLEIGH:
    case AN_SHAPE_JOHNSON_SU:
    case AN_SHAPE_JOHNSON_SB:
    case AN_SHAPE_JOHNSON_SL:
    case AN_SHAPE_COUNT:
        break;
    }
    return an_fit_quantile(fit, draws_uniform(draws), true);
}

double fit_a2(const struct an_fit *fit, const double sorted[], size_t n)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        sum += (2.0 * (double)i + 1.0) *
               (an_fit_log_below(fit, sorted[i]) + an_fit_log_above(fit, sorted[n - 1 - i]));
    }
    return -(double)n - sum / (double)n;
}

static enum an_status by_table(const struct an_fit *fit, double sorted[], size_t n,
                               double scratch[], struct an_fit_test *test)
{
    if (fit->shape == AN_SHAPE_WEIBULL) {
        const double a = test->a2 * (1.0 + 0.2 / sqrt((double)n));
        test->p = 1.0 / (1.0 + exp(-0.10 + 1.24 * log(a) + 4.48 * a));
        return AN_OK;
    }
    struct an_normality normality;
    if (fit->shape == AN_SHAPE_LOGNORMAL) {
        for (size_t i = 0; i < n; i++) {
            sorted[i] = log(sorted[i]);
        }
    }
    const enum an_status st = an_anderson_darling(sorted, n, scratch, &normality);
    test->a2 = normality.a2;
    test->p = normality.p;
    return st;
}

static enum an_status by_simulation(const struct an_fit *fit, const double sorted[], size_t n,
                                    double y[], struct an_fit_test *test)
{
    const size_t m = n < LARGEST ? n : LARGEST;
    const struct fit_unit unit = fit_unit_of(fit->shape, sorted, n);
    const struct an_fit in_unit = an_fit_moved(fit, 1.0 / unit.factor, -unit.shift / unit.factor);
    struct stat_draws draws = draws_from(SEED);
    size_t failed = 0, above = 0;
    for (size_t set = 0; set < SETS; set++) {
        struct an_fit again;
        for (size_t i = 0; i < m; i++) {
            y[i] = fit_draw(&in_unit, &draws);
        }
        if (fit_values(fit->shape, y, m, y + m, &in_unit, &again)) {
            failed++;
            continue;
        }
        order_up(y, m);
        above += fit_a2(&again, y, m) >= test->a2;
    }
    test->simulated = true;
    test->simulated_n = m;
    test->simulated_sets = SETS - failed;
    if (failed > SETS / 4) {
        return AN_NOT_CONVERGED;
    }
    test->p = (1.0 + (double)above) / (1.0 + (double)test->simulated_sets);
    return AN_OK;
}

enum an_status an_fit_anderson_darling(const struct an_fit *fit, const double x[], size_t n,
                                       double scratch[], struct an_fit_test *test)
{
    *test = (struct an_fit_test){.a2 = NAN, .p = NAN};
    if (n < 8) {
        return AN_TOO_FEW;
    }
    for (size_t i = 0; i < n; i++) {
        if (!isfinite(x[i])) {
            return AN_DOMAIN;
        }
        scratch[i] = x[i];
    }
    order_up(scratch, n);
    test->a2 = fit_a2(fit, scratch, n);
    if (fit->shape == AN_SHAPE_NORMAL || fit->shape == AN_SHAPE_LOGNORMAL ||
        fit->shape == AN_SHAPE_WEIBULL) {
        return by_table(fit, scratch, n, scratch + n, test);
    }
    return by_simulation(fit, scratch, n, scratch + n, test);
}
