/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The gauge behind a stream: which one measured it last, and what its studies say about this
 * stream's values. Must never hold a study of another characteristic against a stream.
 *
 * The hard idea: a gauge may measure several things, each in its own unit. A study says of which
 * stream it took the tolerance; only then is its spread in that stream's unit, and only then can it
 * be held against that stream's own tolerance. A study that names no stream speaks by its per cent.
 */
#include "andamento/base/instant.h"
#include "judge/gauge.h"

#include <math.h>
#include <string.h>

struct asking {
    struct an_store *store;
    const struct an_line *line;
    const struct an_stream *stream;
    const struct an_station *station;
    const struct an_characteristic *characteristic;
    int64_t at_us;
    struct an_arena *arena;
    struct an_stream_gauge *out;
    struct an_error *err;
};

/* "station.characteristic", whatever the split. */
static bool is_of(const struct asking *a, const char *stream)
{
    const size_t station = strlen(a->stream->station);
    const size_t characteristic = strlen(a->stream->characteristic);
    return strncmp(stream, a->stream->station, station) == 0 && stream[station] == '.' &&
           strncmp(stream + station + 1, a->stream->characteristic, characteristic) == 0 &&
           strchr("@", stream[station + 1 + characteristic]) != NULL; /* or the end */
}

/* Of the newest sample before the moment, else as the description has it. */
static enum an_status find_gauge(struct asking *a)
{
    struct an_sample *samples = NULL;
    struct an_visit visit = {0};
    size_t count = 0;
    a->out->gauge = a->station ? a->station->gauge : NULL;
    if (a->station && !a->station->gauge_column) {
        return AN_OK;
    }
    enum an_status st = an_store_samples_before(a->store, a->stream->stream_id, a->at_us, 1,
                                                a->arena, &samples, &count, a->err);
    if (!st && count) {
        st = an_store_visit(a->store, samples[0].visit_id, a->arena, &visit, a->err);
        a->out->gauge = !st && visit.gauge ? visit.gauge : a->out->gauge;
    }
    return st == AN_NOT_FOUND ? AN_OK : st;
}

static const struct an_gauge_record *choose(const struct asking *a,
                                            const struct an_gauge_record studies[], size_t count)
{
    const struct an_gauge_record *other = NULL;
    for (size_t i = 0; i < count; i++) {
        if (studies[i].kind == AN_GAUGE_CROSSED && studies[i].stream &&
            is_of(a, studies[i].stream)) {
            return &studies[i];
        }
        if (studies[i].kind == AN_GAUGE_CROSSED && !studies[i].stream && !other) {
            other = &studies[i];
        }
    }
    return other;
}

static void take_study(struct asking *a, const struct an_gauge_study *s)
{
    struct an_stream_gauge *out = a->out;
    const struct an_gauge_part *whole = &s->source[AN_GAUGE_WHOLE];
    const struct an_characteristic *c = a->characteristic;
    const double width = c ? c->usl - c->lsl : (double)NAN;
    out->categories = s->categories;
    out->categories_lower = s->categories_lower;
    out->categories_upper = s->categories_upper;
    if (out->own) {
        out->variance = whole->variance;
        out->variance_lower = whole->lower;
        out->variance_upper = whole->upper;
    }
    if (out->own && isfinite(width) && width > 0.0) {
        out->held_against = "tolerance";
        out->percent = 600.0 * whole->sd / width;
        out->lower = 600.0 * sqrt(whole->lower) / width;
        out->upper = 600.0 * sqrt(whole->upper) / width;
    } else if (s->tolerance > 0.0) {
        out->held_against = "tolerance of the study";
        out->percent = whole->of_tolerance;
        out->lower = whole->of_tolerance_lower;
        out->upper = whole->of_tolerance_upper;
    } else {
        out->held_against = "study variation";
        out->percent = whole->of_study;
        out->lower = whole->of_study_lower;
        out->upper = whole->of_study_upper;
    }
    out->grade = an_gauge_grade_of(out->percent);
}

static enum an_status evaluate(struct asking *a, int64_t study_id)
{
    struct an_gauge_result result;
    struct an_arena *passing = an_arena_open(); /* the study's readings */
    if (!passing) {
        return an_fail(a->err, AN_NO_MEMORY, "out of memory");
    }
    struct an_gauge_record whole;
    enum an_status st = an_store_gauge_study(a->store, study_id, passing, &whole, a->err);
    st = st ? st : an_gauge_evaluate(&whole, passing, &result, a->err);
    if (!st) {
        take_study(a, &result.study);
    }
    an_arena_close(passing);
    return st;
}

/* "12 days old" of whole days. */
static const char *age_text(struct an_arena *arena, int64_t age_us)
{
    const long long days = age_us / AN_DAY_US;
    return age_us < 0 ? "recorded later"
           : days < 1 ? "less than a day old"
                      : an_arena_printf(arena, "%lld day%s old", days, days == 1 ? "" : "s");
}

static bool add_words(struct asking *a)
{
    struct an_stream_gauge *out = a->out;
    char day[40];
    if (!out->gauge) {
        out->text = "no gauge named, no study known";
        return true;
    }
    if (!out->measured) {
        out->text = out->state.studied
                        ? an_arena_printf(a->arena, "%s: %s", out->gauge, out->state.text)
                        : an_arena_printf(a->arena, "%s: no study known%s", out->gauge,
                                          out->state.overdue ? "; calibration ended" : "");
        if (out->state.overdue || (out->state.studied && out->state.grade == AN_GRADE_UNFIT)) {
            out->warning = an_arena_printf(a->arena, "the gauge wants a look: %s", out->state.text);
            return out->text && out->warning;
        }
        return out->text != NULL;
    }
    an_instant_rfc3339_in(a->line->zone, out->study.known_us, day);
    day[10] = '\0';
    const char *age = age_text(a->arena, out->age_us);
    out->text =
        age ? an_arena_printf(a->arena,
                              "%s takes %.1f %% of the %s (95 %% bounds %.1f to %.1f), %.1f "
                              "distinct categories; study %lld of %s, %s",
                              out->gauge, out->percent, out->held_against, out->lower, out->upper,
                              out->categories, (long long)out->study.study_id, day, age)
            : NULL;
    const char *why = NULL;
    if (out->grade == AN_GRADE_UNFIT) {
        why = an_arena_printf(a->arena,
                              "the gauge is not fit: it takes %.1f %% of the %s (study %lld); its "
                              "own spread is in these values",
                              out->percent, out->held_against, (long long)out->study.study_id);
        out->warning = why;
        return out->text && why;
    }
    if (out->state.overdue || out->state.grade == AN_GRADE_UNFIT) {
        out->warning = an_arena_printf(a->arena, "the gauge wants a look: %s", out->state.text);
        return out->text && out->warning;
    }
    return out->text != NULL;
}

enum an_status an_stream_gauge_of(struct an_store *store, const struct an_line *line,
                                  const struct an_stream *stream, const struct an_station *station,
                                  const struct an_characteristic *characteristic, int64_t at_us,
                                  struct an_arena *arena, struct an_stream_gauge *out,
                                  struct an_error *err)
{
    struct asking a = {store, line, stream, station, characteristic, at_us, arena, out, err};
    struct an_gauge_record *studies = NULL;
    size_t count = 0;
    const double none = (double)NAN;
    *out = (struct an_stream_gauge){.percent = none,
                                    .lower = none,
                                    .upper = none,
                                    .categories = none,
                                    .categories_lower = none,
                                    .categories_upper = none,
                                    .variance = none,
                                    .variance_lower = none,
                                    .variance_upper = none,
                                    .age_us = AN_NO_INSTANT};
    enum an_status st = find_gauge(&a);
    if (!st && out->gauge) {
        st = an_store_gauge_studies(store, out->gauge, arena, &studies, &count, err);
        st = st ? st
                : an_gauge_state_of(line, out->gauge, studies, count, at_us, arena, &out->state,
                                    err);
        const struct an_gauge_record *study = st ? NULL : choose(&a, studies, count);
        if (study) {
            out->measured = true;
            out->study = *study;
            out->own = study->stream != NULL;
            st = evaluate(&a, study->study_id);
        }
        if (!st && out->state.studied) {
            const int64_t known = study ? study->known_us : out->state.newest.known_us;
            out->age_us = at_us - known;
        }
    }
    return st ? st : !add_words(&a) ? an_fail(err, AN_NO_MEMORY, "out of memory") : AN_OK;
}
