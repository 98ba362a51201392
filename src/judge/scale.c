/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Finding and applying the scale of a chart. Must never let a reading that has no place on the scale
 * pass as if it were not there: its sample is not plotted, and that is told as a signal.
 *
 * A power that was found is rounded to a plain one (logarithm, root, reciprocal) where that lies
 * within its interval: the data do not tell the two apart, and a person can read the plain one.
 */
#include "judge/scale.h"

#include "andamento/base/number.h"
#include "andamento/stat/moments.h"

#include <math.h>
#include <string.h>

#define CONFIDENCE 0.95
#define FIT_MOST 20000 /* readings that a Johnson shape is fitted to; of more, evenly spaced ones */
#define NOT_NORMAL 0.01
#define NORMAL_ENOUGH 0.10

static const double plain_powers[] = {-1.0, -0.5, 0.5};

bool an_is_scaled(const struct an_limits *limits)
{
    return limits->scale.transform.scale != AN_SCALE_NONE;
}

bool an_scale_same(const struct an_limits_scale *a, const struct an_limits_scale *b)
{
    const struct an_transform *s = &a->transform;
    const struct an_transform *t = &b->transform;

    if (s->scale != t->scale) {
        return false;
    }
    if (s->scale == AN_SCALE_JOHNSON) {
        return s->fit.shape == t->fit.shape &&
               memcmp(s->fit.par, t->fit.par, sizeof s->fit.par) == 0;
    }
    return s->scale == AN_SCALE_NONE || (s->lambda == t->lambda && s->shift == t->shift);
}

double an_scale_of(const struct an_limits_scale *scale, double value)
{
    return an_transform_of(&scale->transform, value);
}

double an_scale_back(const struct an_limits_scale *scale, double y)
{
    return isfinite(y) ? an_transform_back(&scale->transform, y) : (double)NAN;
}

int an_scale_put(const struct an_limits_scale *scale, double value[], size_t n)
{
    int off = 0;

    for (size_t i = 0; i < n; i++) {
        const double y = an_scale_of(scale, value[i]);
        if (!isfinite(y) && off == 0) {
            off = y > 0 ? 1 : -1; /* a power has no place below only: NAN */
        }
        value[i] = y;
    }
    return off;
}

void an_scale_off(struct an_chart_sample *sample)
{
    sample->n = 0;
    sample->mean = sample->sd = sample->range = (double)NAN;
}

enum an_status an_scale_chart(const double value[], size_t n, struct an_chart_sample *sample)
{
    struct an_moments moments;
    const enum an_status st = n ? an_moments_of(value, n, &moments) : AN_OK;

    an_scale_off(sample);
    if (st || n == 0) {
        return st;
    }
    sample->n = (double)n;
    sample->mean = moments.mean;
    if (n >= 2) {
        sample->sd = an_moments_sd(&moments);
    }
    sample->range = moments.max - moments.min;
    return AN_OK;
}

/* ---- finding ------------------------------------------------------------------------------------ */
struct pool { /* readings of the samples that teach */
    double *x;
    size_t n;
    double *scratch; /* 4 n */
};

static enum an_status gather(const struct an_baseline *b, const double value[],
                             const size_t first[], struct an_arena *arena, struct pool *pool,
                             struct an_error *err)
{
    const size_t all = first[b->count];

    *pool = (struct pool){.x = an_arena_alloc(arena, all + 1, sizeof *pool->x),
                          .scratch = an_arena_alloc(arena, 4 * all + 1, sizeof *pool->scratch)};
    if (!pool->x || !pool->scratch) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while learning limits");
    }
    for (size_t i = 0; i < b->count; i++) {
        for (size_t r = first[i]; r < first[i + 1] && !b->charted[i].excluded; r++) {
            pool->x[pool->n++] = value[r];
        }
    }
    return AN_OK;
}

static void test_shape(const double x[], size_t n, double scratch[], struct an_normality *normality)
{
    if (an_anderson_darling(x, n, scratch, normality)) {
        *normality = (struct an_normality){(double)NAN, (double)NAN, (double)NAN};
    }
}

static enum an_status tell_off(const struct an_baseline *b, const double value[],
                               const size_t first[], const struct an_limits_scale *scale,
                               struct an_error *err)
{
    const struct an_transform *t = &scale->transform;
    char number[32];
    char shift[32];

    for (size_t i = 0; i < b->count; i++) {
        for (size_t r = first[i]; r < first[i + 1] && !b->charted[i].excluded; r++) {
            if (isfinite(an_scale_of(scale, value[r]))) {
                continue;
            }
            an_number_shortest(value[r], number);
            an_number_shortest(t->shift, shift);
            return an_fail(err, AN_DOMAIN,
                           t->scale == AN_SCALE_BOX_COX
                               ? "sample %lld (%s) in the baseline of %s holds %s%s%s, and a power "
                                 "or logarithm wants values above 0: leave the sample out with its "
                                 "cause, or declare a shift ('scale: {box_cox: auto, shift: S}')"
                               : "sample %lld (%s) in the baseline of %s holds %s%s%s, which lies "
                                 "outside the fitted shape",
                           (long long)b->samples[i].sample_id,
                           b->samples[i].serial ? b->samples[i].serial : "no serial",
                           b->stream->name, number, t->shift != 0 ? " with a shift of " : "",
                           t->shift != 0 ? shift : "");
        }
    }
    return AN_OK;
}

static enum an_status tell_fit(const struct an_baseline *b, size_t n, enum an_status st,
                               struct an_error *err)
{
    const bool powers = b->characteristic->scale.scale == AN_SCALE_BOX_COX;

    switch ((int)st) {
    case AN_TOO_FEW:
        return an_fail(err, st,
                       "the baseline of %s has %zu readings: too few to find a scale from; %s are "
                       "needed, 50 are common practice",
                       b->stream->name, n, powers ? "5" : "10");
    case AN_NO_SPREAD:
        return an_fail(err, st,
                       "all %zu readings in the baseline of %s are equal: there is no spread to "
                       "find a scale from; is the gauge stuck?",
                       n, b->stream->name);
    case AN_NOT_CONVERGED:
        return an_fail(err, AN_DOMAIN,
                       "no Johnson shape follows the %zu readings in the baseline of %s (their "
                       "tails are hardly heavier or lighter than normal ones, or they come in "
                       "steps): chart the values as they are, or use box_cox",
                       n, b->stream->name);
    default:
        return an_fail(err, st, "a reading in the baseline of %s is no number", b->stream->name);
    }
}

/* The logarithm if the data cannot tell it from the likeliest power, else the plain power nearest to
 * that which they cannot. */
static double readable_power(const struct an_box_cox *found)
{
    double best = found->lambda;
    double nearest = (double)INFINITY;

    if (found->lower <= 0 && found->upper >= 0) {
        return 0;
    }
    for (size_t i = 0; i < sizeof plain_powers / sizeof *plain_powers; i++) {
        const double away = fabs(plain_powers[i] - found->lambda);
        if (plain_powers[i] >= found->lower && plain_powers[i] <= found->upper && away < nearest) {
            nearest = away;
            best = plain_powers[i];
        }
    }
    return best;
}

static enum an_status find_power(const struct an_baseline *b, struct pool *pool,
                                 struct an_limits_scale *scale, struct an_error *err)
{
    struct an_transform *t = &scale->transform;
    struct an_box_cox found;

    for (size_t i = 0; i < pool->n; i++) {
        pool->x[i] += t->shift;
    }
    const enum an_status st = an_box_cox_fit(pool->x, pool->n, CONFIDENCE, pool->scratch, &found);
    for (size_t i = 0; i < pool->n; i++) {
        pool->x[i] -= t->shift;
    }
    if (st) {
        return tell_fit(b, pool->n, st, err);
    }
    scale->likeliest = found.lambda;
    scale->lower = found.lower;
    scale->upper = found.upper;
    t->lambda = readable_power(&found);
    return AN_OK;
}

static enum an_status find_curve(const struct an_baseline *b, const struct pool *pool,
                                 struct an_limits_scale *scale, struct an_error *err)
{
    const size_t step = (pool->n + FIT_MOST - 1) / FIT_MOST;
    const enum an_shape given = b->characteristic->scale.shape;
    double *some = pool->scratch; /* the fit takes 3 m of its own behind m */
    size_t m = 0;

    if (pool->n == 0) {
        return tell_fit(b, 0, AN_TOO_FEW, err);
    }
    for (size_t i = 0; i < pool->n; i += step) {
        some[m++] = pool->x[i];
    }
    const enum an_status st = given == AN_SHAPE_COUNT
                                  ? an_johnson_fit(some, m, some + m, &scale->transform.fit)
                                  : an_fit_shape(given, some, m, some + m, &scale->transform.fit);
    return st ? tell_fit(b, pool->n, st, err) : AN_OK;
}

enum an_status an_scale_find(const struct an_baseline *b, double value[], const size_t first[],
                             struct an_limits_scale *scale, int off[], struct an_arena *arena,
                             struct an_error *err)
{
    const struct an_scale_choice *choice = &b->characteristic->scale;
    struct pool pool;

    *scale = (struct an_limits_scale){
        .transform = {.scale = choice->scale, .lambda = choice->lambda, .shift = choice->shift},
        .automatic = choice->automatic,
        .likeliest = (double)NAN,
        .lower = (double)NAN,
        .upper = (double)NAN};
    enum an_status st = gather(b, value, first, arena, &pool, err);
    if (!st && choice->scale == AN_SCALE_BOX_COX) {
        st = tell_off(b, value, first, scale, err);
    }
    if (st) {
        return st;
    }
    scale->readings = (double)pool.n;
    test_shape(pool.x, pool.n, pool.scratch, &scale->before);
    if (choice->scale == AN_SCALE_JOHNSON) {
        st = find_curve(b, &pool, scale, err);
        st = st ? st : tell_off(b, value, first, scale, err);
    } else if (choice->automatic) {
        st = find_power(b, &pool, scale, err);
    }
    if (st) {
        return st;
    }
    (void)an_scale_put(scale, pool.x, pool.n);
    test_shape(pool.x, pool.n, pool.scratch, &scale->after);
    for (size_t i = 0; i < b->count; i++) {
        off[i] = an_scale_put(scale, value + first[i], first[i + 1] - first[i]);
    }
    return AN_OK;
}

/* ---- words -------------------------------------------------------------------------------------- */
/* "value", "(value + 2)" */
static const char *shifted(const struct an_transform *t, bool bracket, struct an_arena *arena)
{
    char number[32];

    if (t->shift == 0) {
        return "value";
    }
    return an_arena_printf(arena, "%svalue %c %s%s", bracket ? "(" : "", t->shift < 0 ? '-' : '+',
                           an_number_shortest(fabs(t->shift), number), bracket ? ")" : "");
}

const char *an_scale_words(const struct an_limits_scale *scale, struct an_arena *arena)
{
    const struct an_transform *t = &scale->transform;

    if (t->scale == AN_SCALE_NONE) {
        return "the value";
    }
    if (t->scale == AN_SCALE_JOHNSON) {
        return an_arena_printf(arena,
                               "normal scores of the Johnson shape fitted to the baseline (%s)",
                               an_shape_name(t->fit.shape));
    }
    const char *value = shifted(t, t->lambda != 0, arena);
    if (!value) {
        return NULL;
    }
    if (t->lambda == 0) {
        return an_arena_printf(arena, "ln(%s)", value);
    }
    if (t->lambda == 0.5) {
        return an_arena_printf(arena, "the square root of %s, as 2 (root - 1)", value);
    }
    if (t->lambda == -1.0) {
        return an_arena_printf(arena, "the reciprocal of %s, turned so that more is up: 1 - 1/%s",
                               value, value);
    }
    return an_arena_printf(arena, "%s to the power %.4g, as (power - 1) / %.4g", value, t->lambda,
                           t->lambda);
}

const char *an_scale_unit(const struct an_limits_scale *scale, const char *unit,
                          struct an_arena *arena)
{
    const struct an_transform *t = &scale->transform;
    const bool has = unit && unit[0] && strcmp(unit, "1") != 0;

    if (t->scale == AN_SCALE_NONE) {
        return has ? unit : "";
    }
    if (t->scale == AN_SCALE_JOHNSON) {
        return "z";
    }
    if (t->lambda == 0) {
        return has ? an_arena_printf(arena, "ln(%s)", unit) : "ln";
    }
    return an_arena_printf(arena, has ? "%s^%.3g" : "%spower %.3g", has ? unit : "", t->lambda);
}

static void add_test(struct an_text *text, const struct an_normality *normality)
{
    if (isfinite(normality->p)) {
        an_text_addf(text, "A2* %.3g, p %s%.2g", normality->a2_star,
                     normality->p < 1e-4 ? "below " : "", fmax(normality->p, 1e-4));
    } else {
        an_text_add(text, "not tested");
    }
}

const char *an_scale_story(const struct an_limits_scale *scale, struct an_arena *arena)
{
    struct an_text text = {0};
    const char *copy = NULL;

    if (isfinite(scale->likeliest)) {
        an_text_addf(&text, "likeliest power %.3g (95 %%: %.3g to %.3g), taken %.3g; ",
                     scale->likeliest, scale->lower, scale->upper, scale->transform.lambda);
    } else if (scale->transform.scale == AN_SCALE_BOX_COX) {
        an_text_add(&text, "power given in the description; ");
    }
    an_text_addf(&text, "Anderson-Darling for a normal shape of %.0f readings: before ",
                 scale->readings);
    add_test(&text, &scale->before);
    an_text_add(&text, ", on the scale ");
    add_test(&text, &scale->after);
    if (!text.failed) {
        copy = an_arena_copy(arena, text.at, text.length);
    }
    an_text_free(&text);
    return copy;
}

const char *an_scale_limits_back(const struct an_limits *limits, const char *unit,
                                 struct an_arena *arena)
{
    const struct an_panel_point usual = an_chart_usual(&limits->model);
    const struct {
        const char *name;
        double y;
    } parts[] = {{"lcl", usual.lcl}, {"centre", usual.centre}, {"ucl", usual.ucl}};
    struct an_text text = {0};
    const char *copy = NULL;

    for (size_t i = 0; i < 3; i++) {
        const double x = an_scale_back(&limits->scale, parts[i].y);
        an_text_addf(&text, "%s%s ", i ? ", " : "", parts[i].name);
        if (isfinite(x)) {
            an_text_addf(&text, "%.4g", x);
        } else {
            an_text_add(&text, "none");
        }
    }
    if (unit && unit[0] && strcmp(unit, "1") != 0) {
        an_text_addf(&text, " %s", unit);
    }
    if (!text.failed) {
        copy = an_arena_copy(arena, text.at, text.length);
    }
    an_text_free(&text);
    return copy;
}

enum an_status an_scale_warnings(const struct an_limits_scale *scale, struct an_arena *arena,
                                 const char *warnings[2], size_t *count)
{
    const struct an_normality *before = &scale->before;
    const struct an_normality *after = &scale->after;

    *count = 0;
    if (scale->transform.scale == AN_SCALE_NONE) {
        return AN_OK;
    }
    if (scale->lower <= 1 && scale->upper >= 1) {
        warnings[(*count)++] = an_arena_printf(
            arena,
            "the readings do not ask for a scale: power 1, the value itself, lies within the "
            "interval of the likeliest power (%.3g to %.3g)",
            scale->lower, scale->upper);
    } else if (isfinite(scale->lower) &&
               (scale->lower <= -AN_BOX_COX_WIDEST || scale->upper >= AN_BOX_COX_WIDEST)) {
        warnings[(*count)++] = an_arena_printf(
            arena,
            "the power that the readings ask for may lie beyond +-%g: they hardly vary against "
            "their size; a scale cannot do much for them",
            AN_BOX_COX_WIDEST);
    } else if (before->p >= NORMAL_ENOUGH) {
        warnings[(*count)++] = an_arena_printf(
            arena,
            "the readings are not told from normal ones before (p %.2g, %.0f readings): the "
            "scale may be needless",
            before->p, scale->readings);
    }
    if (after->a2_star >= before->a2_star) {
        warnings[(*count)++] = an_arena_printf(
            arena,
            "the scale did not help: the readings are no nearer to normal on it (A2* %.3g, %.3g "
            "before)",
            after->a2_star, before->a2_star);
    } else if (after->p < NOT_NORMAL) {
        warnings[(*count)++] = an_arena_printf(
            arena,
            "on the scale the readings are nearer to normal, but not normal (A2* %.3g, p %s%.2g, "
            "%.0f readings; A2* %.3g before)",
            after->a2_star, after->p < 1e-4 ? "below " : "", fmax(after->p, 1e-4), scale->readings,
            before->a2_star);
    }
    for (size_t i = 0; i < *count; i++) {
        if (!warnings[i]) {
            return AN_NO_MEMORY;
        }
    }
    return AN_OK;
}
