/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a page says of variables judged at once: what they are, and which of them stands apart at
 * the furthest point. Must never name a cause, nor a share of a distance that is not one's own.
 */
#include "andamento/base/text.h"
#include "judge/judging.h"
#include "judge/learn_other.h"
#include "report/facts.h"
#include "report/wording.h"

#include <math.h>

/* "dx" and its unit. */
static const char *name_of(const struct an_facts *of, size_t j)
{
    const char *name = of->view->characteristic->of_name[j];
    return name ? name : "a variable";
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
    return an_say_measure(
        arena, value,
        an_decimals_of(
            sqrt(of->limits->model.joint.covariance[(of->limits->model.joint.p + 1) * j])),
        source ? source->unit : "");
}

static const char *variables_text(const struct an_facts *of)
{
    static const char *const spreads[] = {"successive differences", "all items",
                                          "readings inside samples"};
    const struct an_joint *joint = &of->limits->model.joint;
    const size_t p = joint->p;
    struct an_arena *arena = of->gather->arena;
    struct an_text text = {0};

    for (size_t j = 0; j < p; j++) {
        const struct an_characteristic *source = source_of(of, j);
        an_text_addf(&text, "%s%s%s%s mean %s, sigma %s; ", name_of(of, j),
                     source && source->title ? " (" : "",
                     source && source->title ? source->title : "",
                     source && source->title ? ")" : "", measure_of(of, j, joint->mean[j]),
                     measure_of(of, j, sqrt(joint->covariance[(p + 1) * j])));
    }
    an_text_add(&text, p > 2 ? "correlations" : "correlation");
    for (size_t a = 0; a < p; a++) {
        for (size_t b = a + 1; b < p; b++) {
            an_text_addf(
                &text, " %s",
                an_say_number(arena,
                              joint->covariance[a * p + b] / sqrt(joint->covariance[(p + 1) * a]) /
                                  sqrt(joint->covariance[(p + 1) * b]),
                              2));
        }
    }
    an_text_addf(&text, "; covariance of %s", spreads[joint->spread]);
    if (joint->spread == AN_JOINT_POOLED) {
        an_text_addf(&text, ", %s a sample on average", an_say_number(arena, joint->n, 1));
    }
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

/* Means of all over the samples from..at; how many had all. */
static enum an_status means_of(const struct an_facts *of, size_t from, size_t at,
                               double mean[AN_JOINT_MOST], double *n, double *rows)
{
    const size_t p = of->limits->model.joint.p;
    const size_t count = at + 1 - from;
    struct an_arena *arena = of->gather->arena;
    struct an_sample *samples = an_arena_alloc(arena, count, sizeof *samples);
    struct an_chart_sample *charted = an_arena_alloc(arena, count, sizeof *charted);
    if (!samples || !charted) {
        return an_fail(of->gather->err, AN_NO_MEMORY, "out of memory");
    }
    for (size_t i = 0; i < count; i++) {
        samples[i] = of->view->points[from + i].sample;
        charted[i].mean = samples[i].mean;
    }
    const enum an_status st =
        an_second_of(of->gather->store, &of->view->stream, of->view->characteristic, samples, count,
                     an_is_inside(of->limits), charted, NULL, NULL, arena, of->gather->err);
    for (size_t i = 0; !st && i < count; i++) {
        if (!of->view->points[from + i].excluded && an_has_all(&charted[i], p)) {
            double x[AN_JOINT_MOST];
            an_chart_vector(&charted[i], p, x);
            *n += 1;
            *rows = charted[i].n; /* of the newest */
            for (size_t j = 0; j < p; j++) {
                mean[j] += (x[j] - mean[j]) / *n;
            }
        }
    }
    return st;
}

static enum an_status contribution_text(const struct an_facts *of, const char **told)
{
    const size_t at = furthest_of(of);
    struct an_arena *arena = of->gather->arena;
    if (at == AN_NONE || of->limits->model.joint.p != of->view->characteristic->of_count) {
        return AN_OK;
    }
    const size_t behind = samples_behind(of, at);
    struct an_joint joint = of->limits->model.joint;
    struct an_contribution parts[AN_JOINT_MOST];
    double mean[AN_JOINT_MOST] = {0};
    double n = 0;
    double rows = 1;
    const enum an_status st = means_of(of, at + 1 - behind, at, mean, &n, &rows);
    if (st || !(n >= 1)) {
        return st;
    }
    const struct an_judged_point *point = &of->view->points[at];
    const size_t p = joint.p;
    if (joint.spread == AN_JOINT_POOLED && rows >= 1) { /* the sample's own n */
        joint.samples *= joint.n / rows;
        joint.n = rows;
    }
    an_joint_contributions(&joint, mean, 0.05, parts);
    struct an_text text = {0};
    an_text_addf(&text, "furthest point of the %s %s (%s, %s)", of->gather->data->word,
                 an_say_number(arena, point->point.level.value, 1),
                 point->sample.serial ? point->sample.serial : "no serial",
                 an_say_time(arena, of->gather->line->zone, point->sample.at_us));
    if (behind > 1) {
        an_text_addf(&text, ", mean of the last %s", an_say_many(arena, (int64_t)n, "sample"));
    }
    double most = 0;
    for (size_t j = 0; j < p; j++) {
        most = fmax(most, parts[j].alone);
        an_text_addf(&text, "%s %s %s %s its mean (%s sigma)", j ? "," : ":", name_of(of, j),
                     measure_of(of, j, fabs(parts[j].deviation)),
                     parts[j].deviation < 0 ? "below" : "above",
                     an_say_number(arena, sqrt(parts[j].alone), 1));
    }
    if (behind == 1) { /* what is more than each by itself is that they part ways, or go together */
        an_text_add(&text, "; by itself");
        for (size_t j = 0; j < p; j++) {
            an_text_addf(&text, "%s %s%s %s",
                         !j           ? ""
                         : j + 1 == p ? " and"
                                      : ",",
                         name_of(of, j), j ? "" : " gives",
                         an_say_number(arena, parts[j].alone, 1));
        }
        an_text_add(&text, " of it");
        if (point->point.level.value > 1.5 * most) {
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
