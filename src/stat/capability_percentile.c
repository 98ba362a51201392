/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Percentile indices of a fitted shape, and their bounds.
 *
 * The hard idea: three percentiles low, middle, high carry the index; sets drawn from the fit and
 * fitted anew show how their estimates scatter round the fit, and the truth lies on the other side:
 * had the truth been the fit, a set would have shown W_b for a width W; so what shows W comes from a
 * truth near W * W / W_b, and its middle from M - (M_b - M) W / W_b. This is done on logarithms for
 * shapes that begin at 0. For shapes that are a place and a width (normal, lognormal, Weibull,
 * Rayleigh; the last three on logarithms) these are pivots, and the bounds are the generalised
 * confidence interval [Weerahandi, Generalized confidence intervals, Journal of the American
 * Statistical Association 88, 1993; from memory]; for the others they hold to first order. How
 * often they cover is measured in tests/bench/bench_coverage.c and told in docs/capability.md.
 * The plain percentile bootstrap was tried first: at n = 30 it covers 91 to 93 times in 100.
 *
 * Fractions outside: z of the fraction on the scale sqrt(2) asinh(z / sqrt(2)), on which its spread
 * hardly depends on z, reflected likewise.
 * A fit of more values than are worth drawing is simulated with fewer, and departures are made
 * smaller by the root of the ratio.
 */
#include "andamento/stat/percentile.h"
#include "stat/distribution.h"
#include "stat/fit_inner.h"
#include "stat/order.h"

#include <math.h>

#define SEED 0x7065726365746e65U
/* for fits by search */
#define SETS_SLOW 999
#define LARGEST_SLOW 400

enum column { PP, PPL, PPU, PPK, BELOW, ABOVE, COLUMNS };

struct three {
    double low, middle, high;
};

static struct three percentiles(const struct an_fit *fit)
{
    const double beyond = an_normal_above(3.0);
    return (struct three){an_fit_quantile(fit, beyond, false), an_fit_quantile(fit, 0.5, false),
                          an_fit_quantile(fit, beyond, true)};
}

static void indices(const struct three *at, const struct an_spec *spec, double out[COLUMNS])
{
    out[PPL] = (at->middle - spec->lsl) / (at->middle - at->low);
    out[PPU] = (spec->usl - at->middle) / (at->high - at->middle);
    out[PP] = (spec->usl - spec->lsl) / (at->high - at->low);
    out[PPK] = isnan(out[PPL])                          ? out[PPU]
               : isnan(out[PPU]) || out[PPL] < out[PPU] ? out[PPL]
                                                        : out[PPU];
}

/* A scale on which the spread of an estimated z hardly depends on z. */
static double steady(double chance)
{
    const double z = an_normal_quantile_above(fmin(fmax(chance, 1e-300), 1.0 - 1e-16));
    return sqrt(2.0) * asinh(z / sqrt(2.0));
}

static double from_steady(double g)
{
    return an_normal_above(sqrt(2.0) * sinh(g / sqrt(2.0)));
}

struct simulation {
    const struct an_fit *fit; /* in handy units */
    struct fit_unit unit;
    const struct an_spec *spec;
    struct three seen;
    double below, above; /* steady() of the fractions */
    double shrink;       /* root of simulated over real n */
    bool logs;
};

static double scale_of(const struct simulation *s, double x)
{
    return s->logs ? log(x) : x;
}

static double unscale(const struct simulation *s, double x)
{
    return s->logs ? exp(x) : x;
}

/* The truth that a set speaks for. */
static struct three reflect(const struct simulation *s, const struct three *set)
{
    const double middle = scale_of(s, s->seen.middle), set_middle = scale_of(s, set->middle);
    const double down = middle - scale_of(s, s->seen.low);
    const double up = scale_of(s, s->seen.high) - middle;
    const double set_down = set_middle - scale_of(s, set->low);
    const double set_up = scale_of(s, set->high) - set_middle;
    const double wide = (down + up) / (set_down + set_up);
    const double at = middle - s->shrink * (set_middle - middle) * wide;
    return (struct three){unscale(s, at - down * pow(down / set_down, s->shrink)), unscale(s, at),
                          unscale(s, at + up * pow(up / set_up, s->shrink))};
}

static void one_set(const struct simulation *s, const struct an_fit *again, double out[COLUMNS])
{
    const struct three set = percentiles(again);
    struct three truth = reflect(s, &set);
    truth.low = truth.low * s->unit.factor + s->unit.shift;
    truth.middle = truth.middle * s->unit.factor + s->unit.shift;
    truth.high = truth.high * s->unit.factor + s->unit.shift;
    indices(&truth, s->spec, out);
    const struct an_fit moved = an_fit_moved(again, s->unit.factor, s->unit.shift);
    out[BELOW] = 2.0 * s->below - steady(an_fit_below(&moved, s->spec->lsl));
    out[ABOVE] = 2.0 * s->above - steady(an_fit_above(&moved, s->spec->usl));
    out[BELOW] = s->below + s->shrink * (out[BELOW] - s->below);
    out[ABOVE] = s->above + s->shrink * (out[ABOVE] - s->above);
}

/* The value that `share` of the sets lie below; values are sorted. */
static double share_of(const double sorted[], size_t n, double share)
{
    const double place = share * ((double)n + 1.0) - 1.0;
    if (!(place > 0.0)) {
        return sorted[0];
    }
    const size_t i = (size_t)place;
    if (i + 1 >= n) {
        return sorted[n - 1];
    }
    return sorted[i] + (place - (double)i) * (sorted[i + 1] - sorted[i]);
}

static void set_bounds(double values[], size_t n, double alpha, struct an_index *index)
{
    if (isnan(index->value)) {
        return;
    }
    order_up(values, n);
    index->lower = share_of(values, n, alpha / 2.0);
    index->upper = share_of(values, n, 1.0 - alpha / 2.0);
}

static void fraction_bounds(double values[], size_t n, double alpha, struct an_index *fraction)
{
    struct an_index z = {0.0, NAN, NAN};
    set_bounds(values, n, alpha, &z);
    fraction->lower = from_steady(z.upper);
    fraction->upper = from_steady(z.lower);
}

static bool by_search(enum an_shape shape)
{
    return an_shape_parameters(shape) > 2;
}

/* Draws, fits and reflects; columns are `room` long. */
static void simulate(const struct simulation *s, size_t sets, size_t m, double y[],
                     double columns[], struct an_percentile_capability *result)
{
    struct stat_draws draws = draws_from(SEED);
    result->sets = result->failed = 0;
    for (size_t set = 0; set < sets; set++) {
        struct an_fit again;
        double out[COLUMNS];
        for (size_t i = 0; i < m; i++) {
            y[i] = fit_draw(s->fit, &draws);
        }
        if (fit_values(s->fit->shape, y, m, y + m, s->fit, &again)) {
            result->failed++;
            continue;
        }
        one_set(s, &again, out);
        for (size_t c = 0; c < COLUMNS; c++) {
            columns[c * AN_PERCENTILE_SETS + result->sets] = out[c];
        }
        result->sets++;
    }
}

static bool usable(const struct an_spec *spec, double confidence)
{
    const bool lower = !isnan(spec->lsl), upper = !isnan(spec->usl);
    return (lower || upper) && !isinf(spec->lsl) && !isinf(spec->usl) &&
           !(lower && upper && spec->lsl >= spec->usl) && confidence > 0.0 && confidence < 1.0;
}

enum an_status an_capability_by_percentiles(const struct an_fit *fit, const struct an_spec *spec,
                                            double confidence, double scratch[],
                                            struct an_percentile_capability *result)
{
    const struct an_index none = {NAN, NAN, NAN};
    *result =
        (struct an_percentile_capability){NAN, NAN, NAN, none, none, none, none, none, none, 0, 0};
    const struct three at = percentiles(fit);
    if (!usable(spec, confidence) || !isfinite(at.low) || !isfinite(at.high) ||
        !(at.low < at.middle && at.middle < at.high)) {
        return AN_DOMAIN;
    }
    double seen[COLUMNS];
    indices(&at, spec, seen);
    result->low = at.low;
    result->middle = at.middle;
    result->high = at.high;
    result->pp.value = seen[PP];
    result->ppl.value = seen[PPL];
    result->ppu.value = seen[PPU];
    result->ppk.value = seen[PPK];
    result->below.value = isnan(spec->lsl) ? 0.0 : an_fit_below(fit, spec->lsl);
    result->above.value = isnan(spec->usl) ? 0.0 : an_fit_above(fit, spec->usl);

    const size_t most = by_search(fit->shape) ? LARGEST_SLOW : AN_PERCENTILE_LARGEST;
    const size_t m = fit->n < most ? fit->n : most;
    const double three_points[] = {at.low, at.middle, at.high};
    const struct fit_unit unit = fit_unit_of(fit->shape, three_points, 3);
    const struct an_fit in_unit = an_fit_moved(fit, 1.0 / unit.factor, -unit.shift / unit.factor);
    const struct simulation s = {
        .fit = &in_unit,
        .unit = unit,
        .spec = spec,
        .seen = percentiles(&in_unit),
        .below = steady(result->below.value),
        .above = steady(result->above.value),
        .shrink = sqrt((double)m / (double)fit->n),
        .logs = an_shape_wants_positive(fit->shape) || fit->shape == AN_SHAPE_FOLDED_NORMAL,
    };
    double *const columns = scratch + 2 * m;
    const size_t sets = by_search(fit->shape) ? SETS_SLOW : AN_PERCENTILE_SETS;
    simulate(&s, sets, m, scratch, columns, result);
    if (result->failed > sets / 4) {
        return AN_NOT_CONVERGED;
    }
    const double alpha = 1.0 - confidence;
    struct an_index *const to[] = {&result->pp, &result->ppl, &result->ppu, &result->ppk};
    for (size_t c = 0; c < sizeof to / sizeof *to; c++) {
        set_bounds(columns + c * AN_PERCENTILE_SETS, result->sets, alpha, to[c]);
    }
    if (!isnan(spec->lsl)) {
        fraction_bounds(columns + BELOW * AN_PERCENTILE_SETS, result->sets, alpha, &result->below);
    }
    if (!isnan(spec->usl)) {
        fraction_bounds(columns + ABOVE * AN_PERCENTILE_SETS, result->sets, alpha, &result->above);
    }
    return AN_OK;
}
