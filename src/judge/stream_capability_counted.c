/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Capability of counted characteristics: a rate with exact bounds, and whether the counts scatter
 * more than such bounds suppose. Must never give a Cp of a count.
 */
#include "judge/judging.h"
#include "judge/stream_capability.h"

#include <math.h>

/* Scatter is told when luck makes it less often than this. */
#define RARE 0.01

static enum an_status say_rate(struct an_study *study, double scale)
{
    const struct an_counted_result *c = &study->out->counted;

    return an_study_note(
        study,
        an_arena_printf(study->arena, "rate %.4g (95 %% bounds %.4g to %.4g) %s: %.0f in %.0f",
                        c->rate.value * scale, c->rate.lower * scale, c->rate.upper * scale,
                        study->view.unit, c->count, c->opportunities));
}

static enum an_status say_scatter(struct an_study *study, double scale)
{
    const struct an_counted_result *c = &study->out->counted;
    const struct an_dispersion *d = &c->dispersion;

    if (!c->has_dispersion || d->p >= RARE) {
        return AN_OK;
    }
    const char *p = d->p < 1e-9 ? "below 1e-9" : an_arena_printf(study->arena, "%.2g", d->p);
    if (!p) {
        return AN_NO_MEMORY;
    }
    return an_study_note(
        study,
        an_arena_printf(study->arena,
                        "counts scatter %.3g times as much as %s ones would (p %s): the exact "
                        "bounds are too narrow; widened for it %.4g to %.4g %s",
                        d->factor, c->proportion ? "binomial" : "Poisson", p,
                        d->widened.lower * scale, d->widened.upper * scale, study->view.unit));
}

static enum an_status say_sigma_level(struct an_study *study)
{
    struct an_counted_result *c = &study->out->counted;

    if (!study->wish->sigma_level) {
        return AN_OK;
    }
    c->sigma_level = an_sigma_level(c->rate.value, study->wish->sigma_shift);
    if (!isfinite(c->sigma_level)) {
        c->sigma_level = (double)NAN;
        return an_study_note(study, "no sigma level: the rate is 0 or above 1");
    }
    return an_study_note(
        study, an_arena_printf(study->arena,
                               "sigma level %.2f, a convention: the normal distance of the rate "
                               "with %g added; it says nothing of the process that the rate does "
                               "not",
                               c->sigma_level, study->wish->sigma_shift));
}

static enum an_status count_up(struct an_study *study)
{
    struct an_counted_result *c = &study->out->counted;
    const enum an_family family = study->out->characteristic->family;
    struct an_count_sample *samples =
        an_arena_alloc(study->arena, study->view.count + 1, sizeof *samples);
    size_t m = 0;

    if (!samples) {
        return AN_NO_MEMORY;
    }
    for (size_t i = 0; i < study->view.count; i++) {
        const struct an_chart_sample one =
            an_chart_sample_of(&study->view.points[i].sample, family);
        if (isfinite(one.count) && one.opportunities > 0) {
            samples[m++] = (struct an_count_sample){one.count, one.opportunities};
            c->count += one.count;
            c->opportunities += one.opportunities;
        }
    }
    c->has_dispersion =
        an_dispersion_of(samples, m, c->proportion, AN_STUDY_CONFIDENCE, &c->dispersion) == AN_OK;
    return AN_OK;
}

enum an_status an_study_counted(struct an_study *study, struct an_error *err)
{
    struct an_stream_capability *out = study->out;
    struct an_counted_result *c = &out->counted;
    const enum an_family family = out->characteristic->family;
    const double scale = out->characteristic->per > 0 ? out->characteristic->per : 1;
    const char *unstable = NULL;

    enum an_status st = an_study_stable(study, &unstable);
    c->proportion = family == AN_P || family == AN_NP || family == AN_P_PRIME;
    out->method = "counts, exact bounds";
    out->why_not = "a counted characteristic has no Cp or Cpk: see its rate";
    st = st ? st : count_up(study);
    out->n = c->opportunities;
    out->basis.n = c->opportunities;
    if (!st && c->opportunities > 0) {
        const enum an_status bounds =
            c->proportion
                ? an_fraction_of(c->count, c->opportunities, AN_STUDY_CONFIDENCE, &c->rate)
                : an_rate_of(c->count, c->opportunities, AN_STUDY_CONFIDENCE, &c->rate);
        if (bounds) { /* more counted than there were opportunities */
            out->why_not = "counts are above their opportunities: no rate can be told";
            return AN_OK;
        }
        out->basis.mean = c->rate.value;
        out->rate_lower = c->rate.lower;
        out->rate_upper = c->rate.upper;
        st = say_rate(study, scale);
        st = st ? st : say_scatter(study, scale);
        st = st ? st : say_sigma_level(study);
    }
    if (!st && unstable) {
        st = an_study_note(study, unstable);
    }
    return st ? an_fail(err, st, "capability of %s: %s", out->stream.name, an_status_name(st))
              : AN_OK;
}
