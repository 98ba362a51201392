/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Commands of the reference harness about fitted shapes, capability and tolerance. */
#include "andamento/stat/fit.h"
#include "andamento/stat/percentile.h"
#include "andamento/stat/position.h"
#include "andamento/stat/robust.h"
#include "andamento/stat/tests.h"
#include "andamento/stat/tolerance.h"
#include "andamento/stat/transform.h"
#include "andamento/stat/yield.h"
#include "harness.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static enum an_shape next_shape(char **rest)
{
    const char *const name = next_word(rest);
    const enum an_shape shape = an_shape_of(name);
    if (shape == AN_SHAPE_COUNT) {
        fprintf(stderr, "no shape '%s'\n", name);
        exit(2);
    }
    return shape;
}

static struct an_fit next_fit(char **rest)
{
    struct an_fit fit = {.shape = next_shape(rest), .n = 100};
    for (size_t i = 0; i < an_shape_parameters(fit.shape); i++) {
        fit.par[i] = next_number(rest);
    }
    if (fit.shape == AN_SHAPE_JOHNSON_SL) {
        fit.par[3] = 1.0;
    }
    return fit;
}

/* fit SHAPE: its parameters and the log likelihood */
void answer_fit(struct kept *kept, char *rest)
{
    struct an_fit fit;
    const enum an_shape shape = next_shape(&rest);
    const enum an_status st = an_fit_shape(shape, kept->x, kept->n, kept->scratch, &fit);
    if (st) {
        say_status(st);
        return;
    }
    double out[5];
    const size_t count = an_shape_parameters(shape);
    memcpy(out, fit.par, count * sizeof *out);
    out[count] = fit.log_likelihood;
    say_numbers(out, count + 1);
}

/* tail SHAPE PARAMETERS X P: below, above, log density at X; quantiles of P below, P above */
void answer_tail(struct kept *kept, char *rest)
{
    (void)kept;
    const struct an_fit fit = next_fit(&rest);
    const double x = next_number(&rest), p = next_number(&rest);
    const double out[] = {an_fit_below(&fit, x), an_fit_above(&fit, x), an_fit_log_density(&fit, x),
                          an_fit_quantile(&fit, p, false), an_fit_quantile(&fit, p, true)};
    say_numbers(out, 5);
}

/* test SHAPE: Anderson-Darling and p of the shape fitted to the data */
void answer_test(struct kept *kept, char *rest)
{
    struct an_fit fit;
    struct an_fit_test test;
    enum an_status st = an_fit_shape(next_shape(&rest), kept->x, kept->n, kept->scratch, &fit);
    if (!st) {
        st = an_fit_anderson_darling(&fit, kept->x, kept->n, kept->scratch, &test);
    }
    if (st) {
        say_status(st);
    } else {
        say_numbers((const double[]){test.a2, test.p}, 2);
    }
}

/* capability N MEAN S_WITHIN DF S_OVERALL CONFIDENCE SE DF_MEAN: cp cpl cpu cpk pp ppl ppu ppk cpm,
 * each with bounds */
void answer_capability(struct kept *kept, char *rest)
{
    struct an_capability_basis b = {0};
    double *const to[] = {&b.n,         &b.mean,          &b.sigma_within,
                          &b.df_within, &b.sigma_overall, &b.confidence,
                          &b.mean_se,   &b.df_mean};
    for (size_t i = 0; i < sizeof to / sizeof *to; i++) {
        *to[i] = next_number(&rest);
    }
    struct an_capability c;
    const enum an_status st = an_capability_of(&b, &kept->spec, &c);
    if (st) {
        say_status(st);
        return;
    }
    const struct an_index all[] = {c.cp, c.cpl, c.cpu, c.cpk, c.pp, c.ppl, c.ppu, c.ppk, c.cpm};
    double out[27];
    for (size_t i = 0; i < 9; i++) {
        out[3 * i] = all[i].value;
        out[3 * i + 1] = all[i].lower;
        out[3 * i + 2] = all[i].upper;
    }
    say_numbers(out, 27);
}

/* percentiles SHAPE: percentiles, pp, ppl, ppu, ppk, below, above of the shape fitted to the data */
void answer_percentiles(struct kept *kept, char *rest)
{
    struct an_fit fit;
    struct an_percentile_capability c;
    enum an_status st = an_fit_shape(next_shape(&rest), kept->x, kept->n, kept->scratch, &fit);
    if (!st) {
        st = an_capability_by_percentiles(&fit, &kept->spec, 0.95, kept->scratch, &c);
    }
    if (st) {
        say_status(st);
        return;
    }
    say_numbers((const double[]){c.low, c.middle, c.high, c.pp.value, c.ppl.value, c.ppu.value,
                                 c.ppk.value, c.below.value, c.above.value},
                9);
}

/* tolerance N COVERAGE CONFIDENCE: one-sided, two-sided, Howe's factor; least n, cut and confidence
 * of order statistics, two-sided (cut 0: too few) */
void answer_tolerance(struct kept *kept, char *rest)
{
    (void)kept;
    const size_t n = (size_t)next_number(&rest);
    struct an_tolerance_wish wish = {next_number(&rest), 0.0};
    wish.confidence = next_number(&rest);
    double one = NAN, two = NAN, howe = NAN, reached = NAN;
    size_t cut = 0, least = 0;
    enum an_status st = an_tolerance_one_sided(n, &wish, &one);
    st = st ? st : an_tolerance_two_sided(n, &wish, &two);
    st = st ? st : an_tolerance_howe(n, &wish, &howe);
    const enum an_status by_order = an_tolerance_order(n, &wish, true, &cut, &reached, &least);
    if (st || (by_order && by_order != AN_TOO_FEW)) {
        say_status(st);
        return;
    }
    say_numbers((const double[]){one, two, howe, (double)least, (double)cut, reached}, 6);
}

/* circle MEAN_X MEAN_Y SD_X SD_Y CORRELATION RADIUS: fraction outside */
void answer_circle(struct kept *kept, char *rest)
{
    (void)kept;
    struct an_plane_normal at;
    double *const to[] = {&at.mean_x, &at.mean_y, &at.sd_x, &at.sd_y, &at.correlation};
    for (size_t i = 0; i < sizeof to / sizeof *to; i++) {
        *to[i] = next_number(&rest);
    }
    double outside;
    const enum an_status st = an_outside_circle(&at, next_number(&rest), &outside);
    if (st) {
        say_status(st);
    } else {
        say_numbers(&outside, 1);
    }
}

/* fraction COUNT N CONFIDENCE: exact bounds as a fraction of n, then as a rate */
void answer_fraction(struct kept *kept, char *rest)
{
    (void)kept;
    const double count = next_number(&rest), n = next_number(&rest);
    const double confidence = next_number(&rest);
    struct an_index fraction, rate;
    enum an_status st = an_fraction_of(count, n, confidence, &fraction);
    st = st ? st : an_rate_of(count, n, confidence, &rate);
    if (st) {
        say_status(st);
    } else {
        say_numbers((const double[]){fraction.lower, fraction.upper, rate.lower, rate.upper}, 4);
    }
}

/* robust TRIM: median, mad, trimmed mean, its error, winsorised mean and sd, qn */
void answer_robust(struct kept *kept, char *rest)
{
    struct an_robust r;
    const enum an_status st = an_robust_of(kept->x, kept->n, next_number(&rest), kept->scratch, &r);
    if (st) {
        say_status(st);
        return;
    }
    say_numbers((const double[]){r.median, r.mad, r.trimmed_mean, r.trimmed_se, r.winsorised_mean,
                                 r.winsorised_sd, r.qn},
                7);
}

/* boxcox CONFIDENCE: lambda, interval, profile at lambda less that at 1 */
void answer_boxcox(struct kept *kept, char *rest)
{
    struct an_box_cox b;
    const enum an_status st =
        an_box_cox_fit(kept->x, kept->n, next_number(&rest), kept->scratch, &b);
    if (st) {
        say_status(st);
        return;
    }
    say_numbers(
        (const double[]){b.lambda, b.lower, b.upper, b.log_likelihood - b.log_likelihood_one}, 4);
}

/* function NAME ARGUMENTS: one of the distribution functions */
void answer_function(struct kept *kept, char *rest)
{
    (void)kept;
    const char *const name = next_word(&rest);
    double a[3] = {NAN, NAN, NAN}, value = NAN;
    for (size_t i = 0; i < 3 && rest[strspn(rest, " ")]; i++) {
        a[i] = next_number(&rest);
    }
    if (strcmp(name, "normal_below") == 0) {
        value = an_normal_below(a[0]);
    } else if (strcmp(name, "normal_above") == 0) {
        value = an_normal_above(a[0]);
    } else if (strcmp(name, "normal_quantile") == 0) {
        value = an_normal_quantile(a[0]);
    } else if (strcmp(name, "t_quantile") == 0) {
        value = an_t_quantile(a[0], a[1]);
    } else if (strcmp(name, "t_below") == 0) {
        value = an_t_below(a[0], a[1]);
    } else if (strcmp(name, "chi_square_quantile") == 0) {
        value = an_chi_square_quantile(a[0], a[1]);
    } else if (strcmp(name, "chi_square_above") == 0) {
        value = an_chi_square_above(a[0], a[1]);
    } else if (strcmp(name, "f_above") == 0) {
        value = an_f_above(a[0], a[1], a[2]);
    } else if (strcmp(name, "binomial_below") == 0) {
        value = an_binomial_below(a[0], a[1], a[2]);
    } else if (strcmp(name, "poisson_below") == 0) {
        value = an_poisson_below(a[0], a[1]);
    } else {
        fprintf(stderr, "no function '%s'\n", name);
        exit(2);
    }
    say_numbers(&value, 1);
}
