/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Capability of readings that have a shape of their own, declared or asked for; tolerance limits.
 *
 * Must never choose a shape in silence: one is used because the description or the asker names it,
 * or, with auto, by a stated criterion with the runner-up beside it. Where a shape is named, indices
 * of normal readings would be wrong numbers, so when the fit fails there are none at all.
 */
#include "andamento/stat/transform.h"
#include "judge/stream_capability.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* The extreme percentiles of a shape lean on its tails [common practice, no source]. */
#define LEAST_SIMPLE 30
#define LEAST_FLEXIBLE 100
#define DOUBTFUL 0.05

static const struct an_index no_index = {(double)NAN, (double)NAN, (double)NAN};

static void clear_indices(struct an_capability *c)
{
    *c = (struct an_capability){no_index, no_index, no_index, no_index,    no_index,   no_index,
                                no_index, no_index, no_index, (double)NAN, (double)NAN};
}

static const struct an_shape_choice *choice_of(const struct an_study *study)
{
    return study->wish->shape.declared ? &study->wish->shape : &study->out->characteristic->shape;
}

static const char *why_no_fit(struct an_study *study, enum an_shape shape, enum an_status st)
{
    const char *name = an_shape_name(shape);

    switch ((int)st) {
    case AN_DOMAIN:
        return an_arena_printf(study->arena,
                               "shape %s: it has no place for readings of 0 or below, and there "
                               "are some",
                               name);
    case AN_NO_SPREAD:
        return an_arena_printf(study->arena, "shape %s: all readings are equal", name);
    case AN_TOO_FEW:
        return an_arena_printf(study->arena, "shape %s: too few readings (%zu)", name,
                               study->readings.count);
    default:
        return an_arena_printf(study->arena,
                               "shape %s: the fit does not converge (the likelihood has no inner "
                               "top for these readings); choose another shape, or auto",
                               name);
    }
}

static enum an_status rank(struct an_study *study, double scratch[], enum an_status *fitted)
{
    struct an_shape_result *result = &study->out->shape;
    struct an_fit_ranking *ranking = an_arena_alloc(study->arena, 1, sizeof *ranking);

    if (!ranking) {
        return AN_NO_MEMORY;
    }
    *fitted = an_fit_rank(study->readings.value, study->readings.count, scratch, ranking);
    if (*fitted) {
        return AN_OK;
    }
    result->fit = ranking->fit[ranking->best];
    result->second = ranking->second;
    if (ranking->second == AN_SHAPE_COUNT) {
        return an_study_note(study, an_arena_printf(study->arena,
                                                    "shape chosen: %s, the only one that fits",
                                                    an_shape_name(ranking->best)));
    }
    result->second_behind = an_fit_bic(&ranking->fit[ranking->second]) - an_fit_bic(&result->fit);
    return an_study_note(
        study,
        an_arena_printf(study->arena,
                        "shape chosen from the readings: %s, least BIC; runner-up %s, %.1f "
                        "behind%s; bounds do not count the choice in, so declare the shape "
                        "that the process is known for",
                        an_shape_name(ranking->best), an_shape_name(ranking->second),
                        result->second_behind, result->second_behind < 2 ? " (hardly worse)" : ""));
}

static enum an_status say_fit(struct an_study *study)
{
    const struct an_shape_result *r = &study->out->shape;
    const size_t count = an_shape_parameters(r->fit.shape);
    const char *parameters = "";

    for (size_t i = 0; parameters && i < count; i++) {
        parameters = an_arena_printf(study->arena, "%s%s%s %.5g", parameters, i ? ", " : "",
                                     an_shape_parameter(r->fit.shape, i), r->fit.par[i]);
    }
    if (!parameters) {
        return AN_NO_MEMORY;
    }
    if (!isfinite(r->test.p)) {
        return an_study_note(study,
                             an_arena_printf(study->arena, "fit: %s; not tested", parameters));
    }
    return an_study_note(
        study,
        an_arena_printf(study->arena, "fit: %s; Anderson-Darling %.3f, p %.2g (%s)%s", parameters,
                        r->test.a2, r->test.p,
                        r->test.simulated ? "simulated from the fit" : "published formula",
                        r->test.p < DOUBTFUL ? ": the shape does not fit these readings" : ""));
}

/* Readings that are alike inside items tell less than their number: the independent ones that would
 * tell mean and spread as well, the fewer of the two. */
static enum an_status worth(struct an_study *study, struct an_fit *fit)
{
    const struct an_capability_basis *basis = &study->out->basis;

    if (!(basis->mean_se > 0)) {
        return AN_OK;
    }
    const double of_mean = pow(basis->sigma_overall / basis->mean_se, 2);
    const double n = fmax(10, floor(fmin(of_mean, basis->df_overall + 1)));
    if (n >= (double)fit->n) {
        return AN_OK;
    }
    fit->n = (size_t)n;
    return n > 0.9 * study->out->n
               ? AN_OK
               : an_study_note(study, an_arena_printf(study->arena,
                                                      "items differ: for the bounds %zu readings "
                                                      "count as %zu independent ones",
                                                      study->readings.count, fit->n));
}

/* Percentile indices take the place of the normal ones. */
static enum an_status use_percentiles(struct an_study *study, const char *unstable)
{
    struct an_stream_capability *out = study->out;
    struct an_percentile_capability *by = &out->shape.by;
    double *scratch = an_arena_alloc(study->arena, AN_PERCENTILE_SCRATCH, sizeof *scratch);

    if (!scratch) {
        return AN_NO_MEMORY;
    }
    struct an_fit fit = out->shape.fit;
    const enum an_status told = worth(study, &fit);
    if (told) {
        return told;
    }
    const enum an_status st =
        an_capability_by_percentiles(&fit, &out->spec, AN_STUDY_CONFIDENCE, scratch, by);
    if (st == AN_DOMAIN) {
        out->why_not = an_arena_printf(study->arena, "shape %s: its percentiles cannot be told",
                                       an_shape_name(out->shape.fit.shape));
        return out->why_not ? AN_OK : AN_NO_MEMORY;
    }
    out->indices.pp = by->pp;
    out->indices.ppk = by->ppk;
    out->indices.ppl = by->ppl;
    out->indices.ppu = by->ppu;
    out->indices.below = by->below.value;
    out->indices.above = by->above.value;
    if (!unstable && !out->why_not) {
        out->why_not = an_arena_printf(study->arena,
                                       "shape %s: Pp and Ppk by percentiles stand for Cp and Cpk",
                                       an_shape_name(out->shape.fit.shape));
    }
    if (st) {
        return an_study_note(study, "bounds are left out: too many simulated sets could not be "
                                    "fitted");
    }
    return AN_OK;
}

enum an_status an_study_shape(struct an_study *study, const char *unstable)
{
    struct an_stream_capability *out = study->out;
    struct an_shape_result *result = &out->shape;
    const struct an_shape_choice *choice = choice_of(study);
    const size_t n = study->readings.count;
    enum an_status fitted = AN_OK;
    enum an_status st = AN_OK;

    if (!choice->declared || (!choice->automatic && choice->shape == AN_SHAPE_NORMAL) ||
        !(out->basis.sigma_overall > 0)) {
        return AN_OK;
    }
    double *scratch = an_arena_alloc(study->arena, 3 * n + 1600, sizeof *scratch);
    if (!scratch) {
        return AN_NO_MEMORY;
    }
    const size_t least =
        choice->automatic || an_shape_parameters(choice->shape) > 2 ? LEAST_FLEXIBLE : LEAST_SIMPLE;
    result->automatic = choice->automatic;
    if (n < least) {
        clear_indices(&out->indices);
        out->why_not = an_arena_printf(
            study->arena, "%zu readings: shape %s wants %zu or more, its indices rest on the tails",
            n, choice->automatic ? "auto" : an_shape_name(choice->shape), least);
        return out->why_not ? AN_OK : AN_NO_MEMORY;
    }
    if (choice->automatic) {
        st = rank(study, scratch, &fitted);
    } else {
        fitted = an_fit_shape(choice->shape, study->readings.value, n, scratch, &result->fit);
    }
    if (st || (choice->automatic && !fitted && result->fit.shape == AN_SHAPE_NORMAL)) {
        return st;
    }
    clear_indices(&out->indices);
    if (fitted) {
        out->why_not = why_no_fit(study, choice->shape, fitted);
        return out->why_not ? AN_OK : AN_NO_MEMORY;
    }
    result->used = true;
    out->method =
        an_arena_printf(study->arena, "%s, percentiles", an_shape_name(result->fit.shape));
    if (!out->method) {
        return AN_NO_MEMORY;
    }
    if (an_fit_anderson_darling(&result->fit, study->readings.value, n, scratch, &result->test)) {
        result->test.p = (double)NAN;
    }
    st = say_fit(study);
    return st ? st : use_percentiles(study, unstable);
}

/* ---- a scale -------------------------------------------------------------------------------------- */
/* Each look at a power costs every reading an exponential. */
#define MOST_FOR_POWER 20000

enum an_status an_study_scale(struct an_study *study, double scratch[])
{
    struct an_box_cox power;
    const size_t n = study->readings.count;
    const char *advice = NULL;

    if (n > MOST_FOR_POWER ||
        an_box_cox_fit(study->readings.value, n, AN_STUDY_CONFIDENCE, scratch, &power)) {
        return AN_OK; /* there are readings of 0 or below, or too few: no power to tell */
    }
    if (power.cut || (power.lower <= 1 && power.upper >= 1)) {
        advice = "no power makes them normal";
    } else if (power.lower <= 0 && power.upper >= 0) {
        advice = "logarithms would do: see shape lognormal";
    } else if (power.lower <= 0.5 && power.upper >= 0.5) {
        advice = "square roots would do";
    } else {
        advice = "a declared shape may do";
    }
    return an_study_note(study, an_arena_printf(study->arena,
                                                "Box-Cox power nearest to normal %.2f (95 %% "
                                                "interval %.2f to %.2f): %s",
                                                power.lambda, power.lower, power.upper, advice));
}

/* ---- tolerance limits ------------------------------------------------------------------------------ */
static void normal_limits(const struct an_study *study, bool lower, bool upper)
{
    struct an_tolerance_limits *t = &study->out->tolerance;
    const struct an_capability_basis *basis = &study->out->basis;
    const struct an_tolerance_wish *wish = &study->wish->tolerance;
    const size_t n = study->readings.count;
    double k = (double)NAN;
    const enum an_status st =
        lower && upper ? an_tolerance_two_sided(n, wish, &k) : an_tolerance_one_sided(n, wish, &k);

    if (st || !isfinite(basis->sigma_overall) || study->out->shape.used) {
        return;
    }
    t->lower = lower ? basis->mean - k * basis->sigma_overall : (double)NAN;
    t->upper = upper ? basis->mean + k * basis->sigma_overall : (double)NAN;
}

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a;
    const double y = *(const double *)b;

    return (x > y) - (x < y);
}

static enum an_status order_limits(struct an_study *study, bool lower, bool upper)
{
    struct an_tolerance_limits *t = &study->out->tolerance;
    const size_t n = study->readings.count;
    double *sorted = an_arena_alloc(study->arena, n + 1, sizeof *sorted);
    size_t cut = 0;

    if (!sorted) {
        return AN_NO_MEMORY;
    }
    memcpy(sorted, study->readings.value, n * sizeof *sorted);
    qsort(sorted, n, sizeof *sorted, by_value);
    if (an_tolerance_order(n, &study->wish->tolerance, lower && upper, &cut, &t->order_confidence,
                           &t->order_least)) {
        return AN_OK;
    }
    const size_t low = lower && upper ? (cut + 1) / 2 : cut; /* the low-th smallest */
    const size_t high = lower && upper ? cut / 2 : cut;
    t->order_lower = lower ? sorted[low - 1] : (double)NAN;
    t->order_upper = upper ? sorted[n - high] : (double)NAN;
    return AN_OK;
}

enum an_status an_study_tolerance(struct an_study *study)
{
    struct an_tolerance_limits *t = &study->out->tolerance;
    const struct an_spec *spec = &study->out->spec;
    const bool lower = isfinite(spec->lsl) || !isfinite(spec->usl);
    const bool upper = isfinite(spec->usl) || !isfinite(spec->lsl);

    t->coverage = study->wish->tolerance.coverage;
    t->confidence = study->wish->tolerance.confidence;
    if (!(t->coverage > 0) || study->readings.count < 2) {
        return AN_OK;
    }
    normal_limits(study, lower, upper);
    enum an_status st = order_limits(study, lower, upper);
    if (!st && !isfinite(t->order_lower) && !isfinite(t->order_upper)) {
        st = an_study_note(study,
                           an_arena_printf(study->arena,
                                           "tolerance limits by order of the readings want %zu of "
                                           "them; there are %zu",
                                           t->order_least, study->readings.count));
    }
    if (!st && study->out->basis.mean_se > 0) {
        st = an_study_note(study, "tolerance limits take readings as independent; where items "
                                  "differ they hold less than they say");
    }
    return st;
}
