/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Box-Cox and Johnson scales.
 *
 * The hard idea: with u = log(x / g), g the geometric mean, the profile likelihood of lambda is -n/2
 * log variance of (exp(lambda u) - 1) / lambda: the Jacobian is inside g, units do not matter, and
 * expm1 keeps the digits near lambda 0. The interval is where the profile lies within half a
 * chi-square quantile of its top.
 */
#include "andamento/stat/transform.h"

#include "andamento/stat/tests.h"
#include "stat/compensated.h"
#include "stat/distribution.h"
#include "stat/fit_solve.h"

#include <math.h>

static double power(double u, double lambda)
{
    return fabs(lambda * u) < 1e-300 ? u : expm1(lambda * u) / lambda;
}

double an_transform_of(const struct an_transform *t, double x)
{
    switch (t->scale) {
    case AN_SCALE_BOX_COX:
        return x + t->shift > 0.0 ? power(log(x + t->shift), t->lambda) : (double)NAN;
    case AN_SCALE_JOHNSON: {
        const double below = an_fit_log_below(&t->fit, x), above = an_fit_log_above(&t->fit, x);
        return below < above ? an_normal_quantile(exp(below))
                             : an_normal_quantile_above(exp(above));
    }
    case AN_SCALE_NONE:
        break;
    }
    return x;
}

double an_transform_back(const struct an_transform *t, double y)
{
    switch (t->scale) {
    case AN_SCALE_BOX_COX: {
        const double inner = t->lambda * y;
        if (fabs(inner) < 1e-300) {
            return exp(y) - t->shift;
        }
        return inner > -1.0 ? exp(log1p(inner) / t->lambda) - t->shift : (double)NAN;
    }
    case AN_SCALE_JOHNSON:
        return y < 0.0 ? an_fit_quantile(&t->fit, an_normal_below(y), false)
                       : an_fit_quantile(&t->fit, an_normal_above(y), true);
    case AN_SCALE_NONE:
        break;
    }
    return y;
}

struct profile {
    const double *u;
    size_t n;
    double level; /* taken away: for the ends of the interval */
};

static double profile_at(const void *of, double lambda)
{
    const struct profile *p = of;
    struct pair_sum sum = {0.0, 0.0};
    for (size_t i = 0; i < p->n; i++) {
        pair_add(&sum, power(p->u[i], lambda));
    }
    const struct pair_sum mean = pair_over(sum, (double)p->n);
    double squares = 0.0;
    for (size_t i = 0; i < p->n; i++) {
        const double d = pair_from(power(p->u[i], lambda), mean);
        squares += d * d;
    }
    return -(double)p->n / 2.0 * log(squares / (double)p->n) - p->level;
}

/* by differences of fourth order; its root has the digits that the flat top hides */
static double profile_slope(const void *of, double lambda)
{
    const double h = 1e-3;
    return (profile_at(of, lambda - 2 * h) - 8.0 * profile_at(of, lambda - h) +
            8.0 * profile_at(of, lambda + h) - profile_at(of, lambda + 2 * h)) /
           (12.0 * h);
}

enum an_status an_box_cox_fit(const double x[], size_t n, double confidence, double scratch[],
                              struct an_box_cox *result)
{
    if (!(confidence > 0.0 && confidence < 1.0)) {
        return AN_DOMAIN;
    }
    if (n < 5) {
        return AN_TOO_FEW;
    }
    bool spread = false;
    for (size_t i = 0; i < n; i++) {
        if (!(x[i] > 0.0) || !isfinite(x[i])) {
            return AN_DOMAIN;
        }
        spread = spread || x[i] != x[0];
        scratch[i] = log(x[i]);
    }
    if (!spread) {
        return AN_NO_SPREAD;
    }
    const struct pair_sum mean = pair_mean(scratch, n);
    for (size_t i = 0; i < n; i++) {
        scratch[i] = pair_from(scratch[i], mean);
    }
    struct profile p = {scratch, n, 0.0};
    const double widest = AN_BOX_COX_WIDEST;
    double lambda = solve_most(profile_at, &p, -widest, widest, 1e-7);
    double exact;
    if (!solve_root(profile_slope, &p, lambda - 1e-2, lambda + 1e-2, 1e-13, &exact)) {
        lambda = exact;
    }
    struct an_box_cox r = {.lambda = lambda, .lower = -widest, .upper = widest};
    r.log_likelihood = profile_at(&p, lambda);
    r.log_likelihood_one = profile_at(&p, 1.0);
    p.level = r.log_likelihood - an_chi_square_quantile(confidence, 1.0) / 2.0;
    r.cut = solve_root(profile_at, &p, -widest, lambda, 1e-12, &r.lower) != AN_OK;
    r.cut = solve_root(profile_at, &p, lambda, widest, 1e-12, &r.upper) != AN_OK || r.cut;
    *result = r;
    return AN_OK;
}

enum an_status an_johnson_fit(const double x[], size_t n, double scratch[], struct an_fit *fit)
{
    static const enum an_shape shapes[] = {AN_SHAPE_JOHNSON_SU, AN_SHAPE_JOHNSON_SB,
                                           AN_SHAPE_JOHNSON_SL};
    enum an_status worst = AN_OK;
    bool found = false;

    for (size_t i = 0; i < sizeof shapes / sizeof *shapes; i++) {
        struct an_fit one;
        const enum an_status st = an_fit_shape(shapes[i], x, n, scratch, &one);
        if (!st && (!found || an_fit_bic(&one) < an_fit_bic(fit))) {
            *fit = one;
            found = true;
        }
        worst = st && (worst == AN_OK || worst == AN_NOT_CONVERGED) ? st : worst;
    }
    return found ? AN_OK : worst;
}
