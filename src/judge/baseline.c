/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Limits proposed from a baseline. Must never leave a sample out that nobody named, and must never
 * store limits that could not be learned: a wrong answer here judges every later sample.
 */
#include "judge/baseline.h"

#include "andamento/base/text.h"
#include "judge/judging.h"
#include "judge/learn_other.h"
#include "judge/limits_json.h"
#include "judge/positions.h"
#include "judge/readings.h"
#include "judge/scale.h"
#include "judge/stream_by_id.h"

#include <math.h>
#include <string.h>

/* 20 to 25 subgroups before limits are relied on: common practice, no source. */
#define SAMPLES_WANTED 20

static enum an_status read_baseline(struct an_store *store, struct an_baseline *b,
                                    const struct an_baseline_choice *choice, struct an_arena *arena,
                                    struct an_error *err)
{
    struct an_sample *samples = NULL;
    const int64_t until_us = choice->until_us == AN_NO_INSTANT ? INT64_MAX : choice->until_us;
    enum an_status st = an_store_samples(store, b->stream->stream_id, choice->from_us, until_us, 0,
                                         arena, &samples, &b->count, err);

    if (st) {
        return st;
    }
    if (choice->newest_file_id) {
        size_t kept = 0;

        for (size_t i = 0; i < b->count; i++) {
            if (samples[i].file_id <= choice->newest_file_id) {
                samples[kept++] = samples[i];
            }
        }
        b->count = kept;
    }
    if (choice->samples > 0 && b->count > choice->samples) {
        b->count = choice->samples;
    }
    b->samples = samples;
    b->charted = an_arena_alloc(arena, b->count + 1, sizeof *b->charted);
    if (!b->charted) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while learning limits");
    }
    for (size_t i = 0; i < b->count; i++) {
        b->charted[i] = an_chart_sample_of(&samples[i], b->characteristic->family);
    }
    return AN_OK;
}

/* The samples that were named, each with its reason. */
static enum an_status exclude(struct an_baseline *b, const struct an_baseline_choice *choice,
                              struct an_arena *arena, struct an_limits *limits,
                              struct an_error *err)
{
    limits->excluded = an_arena_alloc(arena, choice->exclude_count + 1, sizeof *limits->excluded);
    if (!limits->excluded) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while learning limits");
    }
    for (size_t e = 0; e < choice->exclude_count; e++) {
        const char *reason = choice->exclude_reasons ? choice->exclude_reasons[e] : NULL;
        size_t i = 0;

        if (!reason || an_bytes_trim(an_bytes_of(reason)).length == 0) {
            return an_fail(err, AN_BAD_USAGE,
                           "sample %lld is to be left out without a reason: give the cause that "
                           "was found, or keep it",
                           (long long)choice->exclude[e]);
        }
        while (i < b->count && b->samples[i].sample_id != choice->exclude[e]) {
            i++;
        }
        if (choice->newest_file_id && (i == b->count || b->charted[i].excluded)) {
            continue;
        }
        if (i == b->count) {
            return an_fail(err, AN_NOT_FOUND,
                           "sample %lld is to be left out but is not in the baseline of %s",
                           (long long)choice->exclude[e], b->stream->name);
        }
        if (b->charted[i].excluded) {
            return an_fail(err, AN_BAD_USAGE, "sample %lld is named twice to be left out",
                           (long long)choice->exclude[e]);
        }
        b->charted[i].excluded = true;
        limits->excluded[limits->excluded_count++] =
            (struct an_excluded){.sample_id = b->samples[i].sample_id,
                                 .at_us = b->samples[i].at_us,
                                 .serial = b->samples[i].serial,
                                 .reason = an_arena_printf(arena, "%s", reason)};
        if (!limits->excluded[limits->excluded_count - 1].reason) {
            return an_fail(err, AN_NO_MEMORY, "out of memory while learning limits");
        }
    }
    return AN_OK;
}

/* Offsets of fixed places, and each sample without them. off: not on the scale, NULL: all are. */
static enum an_status learn_places(struct an_baseline *b, const struct an_site_readings *readings,
                                   const int off[], struct an_arena *arena,
                                   struct an_limits *limits, struct an_error *err)
{
    size_t most = 1;
    bool *used = an_arena_alloc(arena, b->count + 1, sizeof *used);

    if (!used) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while learning limits");
    }
    for (size_t i = 0; i < b->count; i++) {
        const size_t n = readings->first[i + 1] - readings->first[i];

        used[i] = !b->charted[i].excluded;
        most = n > most ? n : most;
    }
    enum an_status st = an_positions_learn(readings, b->count, used, arena, &limits->positions,
                                           &limits->position_count, &b->readings_seen);
    if (st == AN_TOO_FEW) {
        return an_fail(err, AN_TOO_FEW,
                       "no reading of %s in the baseline has a place in column %s: its fixed "
                       "places cannot be learned",
                       b->stream->name, b->characteristic->position_column);
    }
    double *scratch = an_arena_alloc(arena, most, sizeof *scratch);
    if (st || !scratch) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while learning limits");
    }
    for (size_t i = 0; i < b->count; i++) {
        if (off && off[i]) {
            an_scale_off(&b->charted[i]);
            continue;
        }
        st = an_positions_adjust(readings, i, limits->positions, limits->position_count, scratch,
                                 &b->charted[i]);
        if (st) {
            return an_fail(err, st, "sample %lld of %s holds a value that is no number",
                           (long long)b->samples[i].sample_id, b->stream->name);
        }
    }
    return AN_OK;
}

/* Every sample as it is charted on the scale, without fixed places. */
static enum an_status chart_on_scale(struct an_baseline *b, const double value[],
                                     const size_t first[], const int off[], struct an_error *err)
{
    for (size_t i = 0; i < b->count; i++) {
        const size_t n = off[i] ? 0 : first[i + 1] - first[i];
        const enum an_status st = an_scale_chart(value + first[i], n, &b->charted[i]);

        if (st) {
            return an_fail(err, st, "sample %lld of %s holds a value that is no number",
                           (long long)b->samples[i].sample_id, b->stream->name);
        }
    }
    return AN_OK;
}

/* The samples' means as readings, one each: where a sample has one reading or is derived. */
static enum an_status means_of(const struct an_baseline *b, struct an_arena *arena,
                               struct an_site_readings *readings, struct an_error *err)
{
    size_t n = 0;

    *readings =
        (struct an_site_readings){.value = an_arena_alloc(arena, b->count + 1, sizeof(double)),
                                  .first = an_arena_alloc(arena, b->count + 2, sizeof(size_t))};
    if (!readings->value || !readings->first) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while learning limits");
    }
    for (size_t i = 0; i < b->count; i++) {
        readings->first[i] = n;
        if (b->charted[i].n >= 1) {
            readings->value[n++] = b->charted[i].mean;
        }
    }
    readings->first[b->count] = n;
    return AN_OK;
}

/* What is learned of single readings: the scale they are put on, the offsets of their places. */
static enum an_status learn_readings(struct an_store *store, struct an_baseline *b,
                                     struct an_arena *arena, struct an_limits *limits,
                                     struct an_error *err)
{
    const struct an_characteristic *c = b->characteristic;
    const bool placed = c->kind == AN_MEASURED && c->position_column;
    const bool scaled = c->scale.scale != AN_SCALE_NONE;
    struct an_site_readings readings = {0};
    int *off = NULL;
    bool several = false;

    if (!placed && !scaled) {
        return AN_OK;
    }
    for (size_t i = 0; i < b->count; i++) {
        several = several || b->charted[i].n > 1;
    }
    enum an_status st = c->kind == AN_MEASURED && (placed || several)
                            ? an_site_readings_of(store, b->stream, c, b->samples, b->count, NULL,
                                                  arena, &readings, err)
                            : means_of(b, arena, &readings, err);
    if (!st && readings.dropped_text) {
        st = an_fail(err, AN_TOO_FEW,
                     "readings of %s in the baseline are %s: its %s cannot be learned; choose a "
                     "later baseline",
                     b->stream->name, readings.dropped_text, placed ? "fixed places" : "scale");
    }
    if (!st && scaled) {
        off = an_arena_alloc(arena, b->count + 1, sizeof *off);
        st = off ? an_scale_find(b, readings.value, readings.first, &limits->scale, off, arena, err)
                 : an_fail(err, AN_NO_MEMORY, "out of memory while learning limits");
    }
    if (st) {
        return st;
    }
    return placed ? learn_places(b, &readings, off, arena, limits, err)
                  : chart_on_scale(b, readings.value, readings.first, off, err);
}

/* Samples that cannot teach are passed over (not kept in the list of the named). */
static enum an_status count_usable(struct an_baseline *b, const struct an_limits *limits,
                                   struct an_error *err)
{
    const enum an_family family = b->characteristic->family;
    const bool counted = an_family_is_attribute(family);
    const bool wants_spread = family == AN_XBAR_R || family == AN_XBAR_S;
    size_t single = 0;

    for (size_t i = 0; i < b->count; i++) {
        struct an_chart_sample *c = &b->charted[i];
        if (c->excluded) {
            continue;
        }
        if (counted) {
            b->usable++;
            continue;
        }
        if (c->n < 1 ||
            (an_family_is_joint(family) && !an_has_all(c, b->characteristic->of_count))) {
            c->excluded = true; /* every cell of it was a missing-value code */
            continue;
        } else if (c->n < 2) {
            single++;
        }
        b->usable++;
    }
    if (b->usable < 2) {
        return an_fail(err, AN_TOO_FEW,
                       "the baseline of %s has %zu usable sample%s (%zu read, %zu left out): at "
                       "least 2 are needed, %d to 25 are common practice",
                       b->stream->name, b->usable, b->usable == 1 ? "" : "s", b->count,
                       limits->excluded_count, SAMPLES_WANTED);
    }
    if (wants_spread && single == b->usable) {
        return an_fail(err, AN_TOO_FEW,
                       "each of the %zu samples of %s has 1 reading: %s needs at least 2 readings "
                       "a sample; use individuals",
                       b->usable, b->stream->name, an_family_name(family));
    }
    return AN_OK;
}

static enum an_status tell_no_spread(const struct an_baseline *b, struct an_error *err)
{
    const enum an_family family = b->characteristic->family;
    const bool within = family == AN_XBAR_R || family == AN_XBAR_S;
    bool equal = true;
    size_t first = b->count;

    for (size_t i = 0; i < b->count; i++) {
        if (b->charted[i].excluded) {
            continue;
        }
        first = first == b->count ? i : first;
        equal = equal && b->charted[i].mean == b->charted[first].mean;
    }
    if (an_family_is_attribute(family)) {
        return an_fail(err, AN_NO_SPREAD,
                       "the %zu samples of %s count nothing, or everything, every time: there is "
                       "no spread to learn limits from; take a longer baseline",
                       b->usable, b->stream->name);
    }
    if (within && !equal) {
        return an_fail(err, AN_NO_SPREAD,
                       "the readings inside each of the %zu samples of %s are equal though the "
                       "samples differ: %s has no spread to learn from; use individuals",
                       b->usable, b->stream->name, an_family_name(family));
    }
    return an_fail(err, AN_NO_SPREAD,
                   "all %zu samples of %s are equal: there is no spread to learn limits from; is "
                   "the gauge stuck, or its resolution too coarse?",
                   b->usable, b->stream->name);
}

static enum an_status tell_domain(const struct an_baseline *b, struct an_error *err)
{
    const enum an_family family = b->characteristic->family;
    const char *why = "a value is outside what the chart is defined for";

    if (family == AN_XBAR_R) {
        why = "its samples must all hold the same number of readings, at most 25; use xbar_s";
    } else if (family == AN_NP) {
        why = "its samples must all inspect the same number, and count no more than that; use p";
    } else if (family == AN_C) {
        why = "its samples must all have the same opportunities; use u";
    } else if (family == AN_P || family == AN_P_PRIME) {
        why = "each sample needs opportunities above 0 and no more counted than those";
    } else if (family == AN_U || family == AN_U_PRIME) {
        why = "each sample needs opportunities above 0 and a count of 0 or more";
    }
    return an_fail(err, AN_DOMAIN, "%s does not fit the baseline of %s: %s", an_family_name(family),
                   b->stream->name, why);
}

static enum an_status learn(const struct an_baseline *b, struct an_limits *limits,
                            struct an_arena *arena, struct an_error *err)
{
    const struct an_characteristic *c = b->characteristic;
    const double k = isfinite(c->limit_sigmas) && c->limit_sigmas > 0 ? c->limit_sigmas : 3.0;
    if (an_is_other_family(c->family)) {
        return an_learn_other(b, limits, arena, err);
    }
    const enum an_status st = an_chart_learn(c->family, k, b->charted, b->count, &limits->model);

    switch ((int)st) {
    case AN_OK:
        break;
    case AN_TOO_FEW:
        return an_fail(err, AN_TOO_FEW,
                       "the baseline of %s has %zu usable samples: too few for %s; %d to 25 are "
                       "common practice",
                       b->stream->name, b->usable, an_family_name(c->family), SAMPLES_WANTED);
    case AN_NO_SPREAD:
        return tell_no_spread(b, err);
    case AN_DOMAIN:
        return tell_domain(b, err);
    default:
        return an_fail(err, st, "limits of %s could not be learned: %s", b->stream->name,
                       an_status_name(st));
    }
    if (!(limits->model.sigma_level > 0)) {
        return tell_no_spread(b, err);
    }
    limits->model.weighting = c->weighting;
    limits->model.probability = c->probability;
    return AN_OK;
}

static enum an_status store_proposal(struct an_store *store, const struct an_baseline *b,
                                     struct an_limits *limits, struct an_error *err)
{
    struct an_text model = {0};
    struct an_text exclusions = {0};
    struct an_limits_record record = {.stream_id = limits->stream_id,
                                      .known_us = an_clock_now_us(),
                                      .baseline_from_us = limits->baseline_from_us,
                                      .baseline_until_us = limits->baseline_until_us,
                                      .baseline_samples = (int64_t)b->usable,
                                      .state = AN_LIMITS_PROPOSED,
                                      .locked_us = AN_NO_INSTANT,
                                      .in_force_us = AN_NO_INSTANT};
    enum an_status st;

    an_limits_model_json(limits, &model);
    an_limits_exclusions_json(limits, &exclusions);
    if (model.failed || exclusions.failed) {
        st = an_fail(err, AN_NO_MEMORY, "out of memory while learning limits");
    } else {
        record.model = an_text_of(&model);
        record.exclusions = an_text_of(&exclusions);
        st = an_store_put_limits(store, &record, err);
        limits->limits_id = record.limits_id;
        limits->known_us = record.known_us;
    }
    an_text_free(&model);
    an_text_free(&exclusions);
    return st;
}

/* The other variables of those judged together. */
static enum an_status find_partners(struct an_store *store, struct an_baseline *b,
                                    struct an_arena *arena, struct an_error *err)
{
    const struct an_characteristic *c = b->characteristic;
    const bool inside = c->family == AN_T2 && c->spread == AN_JOINT_POOLED;
    bool *dropped = inside ? an_arena_alloc(arena, b->count + 1, sizeof *dropped) : NULL;
    size_t gone = 0;

    if (inside) {
        b->cross =
            an_arena_alloc(arena, b->count * c->of_count * c->of_count + 1, sizeof *b->cross);
        if (!b->cross || !dropped) {
            return an_fail(err, AN_NO_MEMORY, "out of memory while learning limits");
        }
    }
    const enum an_status st = an_second_of(store, b->stream, c, b->samples, b->count, inside,
                                           b->charted, b->cross, dropped, arena, err);
    for (size_t i = 0; !st && inside && i < b->count; i++) {
        gone += dropped[i];
    }
    return gone
               ? an_fail(err, AN_TOO_FEW,
                         "readings of %zu of %zu samples in the baseline of %s are kept no longer: "
                         "a covariance inside samples cannot be learned; choose a later baseline",
                         gone, b->count, b->stream->name)
               : st;
}

enum an_status an_baseline_learn(struct an_store *store, const struct an_line *line,
                                 int64_t stream_id, const struct an_baseline_choice *choice,
                                 struct an_arena *arena, struct an_stream *stream,
                                 struct an_baseline *b, struct an_limits *limits,
                                 struct an_error *err)
{
    const struct an_station *station;
    const char *purpose;

    *b = (struct an_baseline){.store = store, .stream = stream, .zone = line->zone};
    memset(limits, 0, sizeof *limits);
    enum an_status st = an_stream_by_id(store, stream_id, arena, stream, err);
    if (st) {
        return st;
    }
    if (!an_judge_resolve(line, stream, &station, &b->characteristic, &purpose, arena)) {
        return an_fail(err, AN_BAD_CONFIG, "stream %s is no longer in the line description",
                       stream->name);
    }
    limits->stream_id = stream_id;
    limits->state = AN_LIMITS_PROPOSED;
    limits->rules = b->characteristic->rules;
    limits->locked_us = AN_NO_INSTANT;
    limits->in_force_us = AN_NO_INSTANT;
    st = read_baseline(store, b, choice, arena, err);
    if (!st && b->count == 0) {
        st = an_fail(err, AN_TOO_FEW,
                     "the baseline of %s has 0 samples: at least 2 are needed, %d to 25 are common "
                     "practice; is the period right?",
                     stream->name, SAMPLES_WANTED);
    }
    st = st ? st : find_partners(store, b, arena, err);
    st = st ? st : exclude(b, choice, arena, limits, err);
    st = st ? st : learn_readings(store, b, arena, limits, err);
    st = st ? st : count_usable(b, limits, err);
    st = st ? st : learn(b, limits, arena, err);
    if (!st) {
        limits->baseline_from_us = b->samples[0].at_us;
        limits->baseline_until_us = b->samples[b->count - 1].at_us + 1;
    }
    return st;
}

enum an_status an_limits_propose(struct an_store *store, const struct an_line *line,
                                 int64_t stream_id, const struct an_baseline_choice *choice,
                                 struct an_arena *arena, struct an_limits *limits,
                                 struct an_error *err)
{
    struct an_stream stream;
    struct an_baseline b;
    const enum an_status st =
        an_baseline_learn(store, line, stream_id, choice, arena, &stream, &b, limits, err);

    if (st) {
        return st;
    }
    if (an_baseline_look(&b, limits, arena)) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while learning limits");
    }
    return store_proposal(store, &b, limits, err);
}
