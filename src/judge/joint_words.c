/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Signals of two variables and of gaps between events, in words. Must never name a direction that the
 * numbers do not bear: a variable counts as moved by its own test only.
 */
#include "judge/joint_words.h"

#include "andamento/stat/multivariate.h"
#include "judge/group.h"
#include "judge/judging.h"
#include "judge/learn_other.h"
#include "judge/shown.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define DOUBT 0.05 /* shared by the variables; the signal itself has spoken already */

/* The points that speak: those beyond the limit, or, of a weighted mean, those that weigh most in it. */
static size_t speaking_from(const struct an_story *story)
{
    const struct an_weighting *w = &story->limits->model.weighting;
    const double reach = w->variables > 0 ? ceil(2 / w->lambda - 1) : 1;
    const size_t wanted = (size_t)reach;
    const size_t all = story->last + 1 - story->from;

    if (story->last + 1 - story->first >= wanted) {
        return story->first;
    }
    return wanted > all ? story->from : story->last + 1 - wanted;
}

static bool speaks(const struct an_story *story, size_t at)
{
    const struct an_chart_model *m = &story->limits->model;
    const struct an_judged_point *point = &story->view.points[at];

    return !point->excluded &&
           (m->family == AN_MEWMA || point->point.level.value > point->point.level.ucl);
}

/* Means of the variables over the points that speak; how many those are. */
static double mean_of_all(const struct an_story *story, double mean[AN_JOINT_MOST])
{
    const size_t from = speaking_from(story);
    const size_t count = story->last + 1 - from;
    const size_t p = story->limits->model.joint.p;
    struct an_sample *samples = an_arena_alloc(story->arena, count, sizeof *samples);
    struct an_chart_sample *charted = an_arena_alloc(story->arena, count, sizeof *charted);
    struct an_error unsaid;
    double n = 0;

    if (!samples || !charted) {
        return 0;
    }
    for (size_t i = 0; i < count; i++) {
        samples[i] = story->view.points[from + i].sample;
        charted[i].mean = samples[i].mean;
    }
    if (an_second_of(story->store, &story->view.stream, story->signal->characteristic, samples,
                     count, an_is_inside(story->limits), charted, NULL, NULL, story->arena,
                     &unsaid)) {
        return 0;
    }
    for (size_t i = 0; i < count; i++) {
        if (speaks(story, from + i) && an_has_all(&charted[i], p)) {
            double x[AN_JOINT_MOST];
            an_chart_vector(&charted[i], p, x);
            n++;
            for (size_t j = 0; j < p; j++) {
                mean[j] += (x[j] - mean[j]) / n;
            }
        }
    }
    return n;
}

static const char *unit_of(const struct an_story *story, size_t which)
{
    const struct an_characteristic *source = story->signal->characteristic->source[which];
    const char *unit = source ? source->unit : "1";

    return unit && strcmp(unit, "1") != 0 ? unit : "";
}

/* No variable is off by itself: how they stand to each other is. Named is the one that the others
 * foretell least. */
static void add_parting(struct an_text *text, const struct an_story *story,
                        const struct an_contribution parts[], size_t p)
{
    const char *const *names = story->signal->characteristic->of_name;
    size_t most = 0;

    for (size_t j = 1; j < p; j++) {
        const bool two = p == 2;
        most =
            (two ? parts[j].alone > parts[most].alone : parts[j].own > parts[most].own) ? j : most;
    }
    if (p == 2) {
        an_text_addf(text,
                     "; %s and %s are each where they used to be, but not together: %s is %s "
                     "for its %s",
                     names[0], names[1], names[most], parts[most].deviation > 0 ? "high" : "low",
                     names[1 - most]);
        return;
    }
    an_text_addf(text,
                 "; its %zu variables are each where they used to be, but not together: %s parts "
                 "from what the others lead to expect",
                 p, names[most]);
}

void an_words_joint(struct an_text *text, const struct an_story *story)
{
    const char *const *names = story->signal->characteristic->of_name;
    struct an_joint joint = story->limits->model.joint;
    struct an_contribution parts[AN_JOINT_MOST];
    double mean[AN_JOINT_MOST] = {0};
    const size_t p = joint.p;
    bool moved = false;

    if (p != story->signal->characteristic->of_count) {
        return; /* the description names others by now */
    }
    const double n = mean_of_all(story, mean);
    if (!(n >= 1)) {
        return;
    }
    joint.n *= n; /* a mean of n points against a mean of m: m / n for m carries both */
    joint.samples /= n;
    an_joint_contributions(&joint, mean, DOUBT, parts);
    for (size_t j = 0; j < p; j++) {
        moved = moved || parts[j].moved;
    }
    if (!moved) {
        add_parting(text, story, parts, p);
        return;
    }
    for (size_t j = 0; j < p; j++) {
        const char *unit = unit_of(story, j);
        an_text_addf(text, "%s%s ", j ? ", " : "; ", names[j]);
        if (!parts[j].moved) {
            an_text_add(text, "unchanged");
            continue;
        }
        an_text_addf(text, "%s by %.2g%s%s (%.1f sigma)", parts[j].moved > 0 ? "up" : "down",
                     fabs(parts[j].deviation), unit[0] ? " " : "", unit,
                     fabs(parts[j].deviation) /
                         sqrt(joint.covariance[(p + 1) * j] / story->limits->model.joint.n));
    }
}

/* The parts of a member's split that the group does not share: "head H3". */
static void add_own_parts(struct an_text *text, const struct an_story *story, const char *name)
{
    struct an_split split = {0};
    bool first = true;

    if (an_split_of(name, NULL, story->arena, &split)) {
        an_text_add(text, name);
        return;
    }
    for (size_t i = 0; i < split.count; i++) {
        if (!an_split_value(&story->split, split.parts[i].column)) {
            an_text_addf(text, "%s%s %s", first ? "" : ", ", split.parts[i].column,
                         split.parts[i].value);
            first = false;
        }
    }
}

void an_words_member(struct an_text *text, const struct an_story *story)
{
    const struct an_judged_point *point = &story->view.points[story->last];
    struct an_chart_sample charted = {0};
    struct an_error unsaid;
    size_t member = AN_NONE;

    if (an_group_fill(story->store, &story->view.stream, story->signal->characteristic,
                      story->limits, &point->sample, 1, NULL, &charted, &member, story->arena,
                      &unsaid) ||
        member == AN_NONE) {
        an_text_add(text, ": one of its streams left its own level");
        return;
    }
    an_text_add(text, ": ");
    add_own_parts(text, story, story->limits->products[member].name);
    an_text_addf(text, " stood %.1f sigma %s its own level", fabs(charted.mean),
                 charted.mean > 0 ? "above" : "below");
}

/* Three digits, since gaps lie decades apart, and thousands parted: "5,410,000", "0.00209". */
static const char *gap_text(double value, char buffer[40])
{
    if (!(fabs(value) >= 1000.0) || fabs(value) > 1e15) {
        return an_shown_size(value, -1, buffer);
    }
    char digits[40];
    const double unit = pow(10, floor(log10(fabs(value))) - 2);
    (void)snprintf(digits, sizeof digits, "%.0f", nearbyint(fabs(value) / unit) * unit);
    const size_t length = strlen(digits);
    size_t n = 0;
    for (size_t i = 0; i < length; i++) {
        if (i > 0 && (length - i) % 3 == 0) {
            buffer[n++] = ',';
        }
        buffer[n++] = digits[i];
    }
    buffer[n] = '\0';
    return buffer;
}

/* Several events told by how far apart they came on the average: the one gap that a rule spoke at may
 * be quite usual. */
void an_words_gap(struct an_text *text, const struct an_story *story)
{
    const struct an_chart_model *model = &story->limits->model;
    const bool timed = model->family == AN_T;
    const bool later = story->signal->record.side > 0;
    double length = 0, events = 0;
    char value[40], usual[40];

    for (size_t i = story->onset; i <= story->last; i++) {
        const struct an_judged_point *point = &story->view.points[i];
        if (isfinite(point->point.level.value) && !point->excluded) {
            length += point->point.level.value * point->sample.count;
            events += point->sample.count;
        }
    }
    an_text_addf(text, " came %s than luck explains: ", later ? "later" : "sooner");
    if (events > 1) {
        an_text_addf(text, "%.0f events, on average ", events);
    }
    an_text_addf(text, "%s %s from one to the next, where %s is usual",
                 gap_text(length / events, value), timed ? "h" : "opportunities",
                 gap_text(model->sigma_level, usual));
}
