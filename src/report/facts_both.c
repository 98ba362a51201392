/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a page says of two variables judged at once: what they are, and which of them stands apart at
 * the furthest point. Must never name a cause, nor a share of a distance that is not one's own.
 */
#include "andamento/base/text.h"
#include "judge/learn_other.h"
#include "report/facts.h"
#include "report/wording.h"

#include <math.h>

/* "dx" and its unit. */
static const char *name_of(const struct an_facts *of, size_t j)
{
    const char *name = of->view->characteristic->of_name[j];
    return name ? name : j ? "the second" : "the first";
}

static const struct an_characteristic *source_of(const struct an_facts *of, size_t j)
{
    const size_t at = of->view->characteristic->of[j];
    return at == AN_NONE ? NULL : &of->gather->line->characteristics[at];
}

static const char *measure_of(const struct an_facts *of, size_t j, double value)
{
    struct an_arena *arena = of->gather->arena;
    const struct an_characteristic *source = source_of(of, j);
    return an_say_measure(arena, value,
                          an_decimals_of(sqrt(of->limits->model.joint.covariance[3 * j])),
                          source ? source->unit : "");
}

static const char *variables_text(const struct an_facts *of)
{
    const struct an_joint *joint = &of->limits->model.joint;
    struct an_arena *arena = of->gather->arena;
    struct an_text text = {0};
    const double sigma[2] = {sqrt(joint->covariance[0]), sqrt(joint->covariance[3])};

    for (size_t j = 0; j < 2; j++) {
        const struct an_characteristic *source = source_of(of, j);
        an_text_addf(&text, "%s%s%s%s%s mean %s, sigma %s; ", name_of(of, j),
                     source && source->title ? " (" : "",
                     source && source->title ? source->title : "",
                     source && source->title ? ")" : "", "", measure_of(of, j, joint->mean[j]),
                     measure_of(of, j, sigma[j]));
    }
    an_text_addf(&text, "correlation %s; covariance of %s",
                 an_say_number(arena, joint->covariance[1] / sigma[0] / sigma[1], 2),
                 joint->spread == AN_JOINT_ALL ? "all items" : "successive differences");
    const char *copy = text.failed ? NULL : an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    return copy;
}

/* The furthest point of the period; AN_NONE: there is none. */
static size_t furthest_of(const struct an_facts *of)
{
    size_t at = AN_NONE;
    for (size_t i = 0; i < of->view->count; i++) {
        const struct an_judged_point *point = &of->view->points[i];
        const double value = point->point.level.value;
        if (point->sample.at_us >= of->gather->data->now.from_us && isfinite(value) &&
            !point->excluded && point->phase != AN_NONE &&
            &of->view->limits[point->phase] == of->limits &&
            (at == AN_NONE || value > of->view->points[at].point.level.value)) {
            at = i;
        }
    }
    return at;
}

/* The samples that make it: of a weighted mean those that weigh most. */
static size_t samples_behind(const struct an_facts *of, size_t at)
{
    const struct an_weighting *w = &of->limits->model.weighting;
    const double reach = w->variables > 0 ? ceil(2 / w->lambda - 1) : 1;
    return reach < (double)(at + 1) ? (size_t)reach : at + 1;
}

/* Means of both over the samples from..at; how many had both. */
static enum an_status means_of(const struct an_facts *of, size_t from, size_t at, double mean[2],
                               double *n)
{
    const size_t count = at + 1 - from;
    struct an_arena *arena = of->gather->arena;
    struct an_sample *samples = an_arena_alloc(arena, count, sizeof *samples);
    struct an_chart_sample *charted = an_arena_alloc(arena, count, sizeof *charted);
    if (!samples || !charted) {
        return an_fail(of->gather->err, AN_NO_MEMORY, "out of memory");
    }
    for (size_t i = 0; i < count; i++) {
        samples[i] = of->view->points[from + i].sample;
    }
    const enum an_status st =
        an_second_of(of->gather->store, &of->view->stream, of->view->characteristic, samples, count,
                     charted, arena, of->gather->err);
    for (size_t i = 0; !st && i < count; i++) {
        if (!of->view->points[from + i].excluded && isfinite(charted[i].second)) {
            *n += 1;
            mean[0] += (samples[i].mean - mean[0]) / *n;
            mean[1] += (charted[i].second - mean[1]) / *n;
        }
    }
    return st;
}

static enum an_status contribution_text(const struct an_facts *of, const char **told)
{
    const size_t at = furthest_of(of);
    struct an_arena *arena = of->gather->arena;
    if (at == AN_NONE) {
        return AN_OK;
    }
    const size_t behind = samples_behind(of, at);
    struct an_joint joint = of->limits->model.joint;
    struct an_contribution parts[AN_JOINT_MOST];
    double mean[AN_JOINT_MOST] = {0};
    double n = 0;
    const enum an_status st = means_of(of, at + 1 - behind, at, mean, &n);
    if (st || !(n >= 1)) {
        return st;
    }
    an_joint_contributions(&joint, mean, 0.05, parts);
    const struct an_judged_point *point = &of->view->points[at];
    struct an_text text = {0};
    an_text_addf(&text, "furthest point of the %s %s (%s, %s)", of->gather->data->word,
                 an_say_number(arena, point->point.level.value, 1),
                 point->sample.serial ? point->sample.serial : "no serial",
                 an_say_time(arena, of->gather->line->zone, point->sample.at_us));
    if (behind > 1) {
        an_text_addf(&text, ", mean of the last %s", an_say_many(arena, (int64_t)n, "sample"));
    }
    for (size_t j = 0; j < 2; j++) {
        an_text_addf(&text, "%s %s %s %s its mean (%s sigma)", j ? "," : ":", name_of(of, j),
                     measure_of(of, j, fabs(parts[j].deviation)),
                     parts[j].deviation < 0 ? "below" : "above",
                     an_say_number(arena, sqrt(parts[j].alone), 1));
    }
    if (behind == 1) { /* what is more than each by itself is that they part ways, or go together */
        an_text_addf(&text, "; by itself %s gives %s and %s %s of it", name_of(of, 0),
                     an_say_number(arena, parts[0].alone, 1), name_of(of, 1),
                     an_say_number(arena, parts[1].alone, 1));
        if (point->point.level.value > 1.5 * fmax(parts[0].alone, parts[1].alone)) {
            an_text_add(&text, ", the rest is that they do not go together as before");
        }
    }
    *told = text.failed ? NULL : an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    return AN_OK;
}

enum an_status an_facts_of_both(const struct an_facts *of)
{
    const char *told = NULL;
    const enum an_status st = contribution_text(of, &told);
    if (!st) {
        an_fact_add(of->sheet, "Variables", variables_text(of));
        an_fact_add(of->sheet, "Which moved", told);
    }
    return st;
}
