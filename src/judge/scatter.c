/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Blocks of counts, looked at once each. Must never depend on how a sequence was cut into checks:
 * blocks are counted from the first sample of their limits, and where they stood is kept at ends of
 * blocks, so that a check takes up at one.
 *
 * A sample that comes late moves the ends of all later blocks. What was kept of those is then put
 * aside by keeping the end before it once more: kept rows from its time on are not handed out again
 * (store/running.c).
 */
#include "judge/scatter.h"

#include <jansson.h>
#include <math.h>

enum { KEPT_EVERY = 13 }; /* blocks: an end about each 512 samples is kept, and the last one */

bool an_scatter_watched(const struct an_limits *limits)
{
    const struct an_chart_model *m = &limits->model;

    return an_family_is_attribute(m->family) && m->family != AN_G && m->family != AN_T &&
           m->weighting.kind == AN_UNWEIGHTED && m->dispersion > 0;
}

/* The variance of z that the limits say, and what their estimate of it is worth: moving ranges 0.62
 * degrees of freedom each; the 1 of a plain chart is no estimate. */
static struct an_scatter reference_of(const struct an_limits *limits)
{
    const struct an_chart_model *m = &limits->model;
    const bool prime = m->family == AN_P_PRIME || m->family == AN_U_PRIME;

    return (struct an_scatter){1.0, prime ? fmax(1.0, 0.62 * ((double)m->samples - 1.0)) : 1e6};
}

static bool read_state(const char *text, struct an_scatter *reference)
{
    json_t *array = json_loads(text, 0, NULL);
    const bool good = json_array_size(array) == 2 && json_is_number(json_array_get(array, 0)) &&
                      json_is_number(json_array_get(array, 1));

    if (good) {
        reference->factor = json_number_value(json_array_get(array, 0));
        reference->df = json_number_value(json_array_get(array, 1));
    }
    json_decref(array);
    return good && reference->factor > 0 && reference->df >= 1;
}

enum an_status an_scatter_find(struct an_store *store, int64_t stream_id,
                               const struct an_phases *phases, int64_t wanted_us,
                               struct an_arena *arena, struct an_scatter_start *start,
                               struct an_error *err)
{
    const size_t p = an_phase_at(phases, wanted_us);
    struct an_running kept;
    struct an_running newest;
    bool found = false;
    bool later = false;

    *start = (struct an_scatter_start){.begin_us = wanted_us};
    if (p == AN_NONE || !an_scatter_watched(&phases->limits[p])) {
        return AN_OK;
    }
    const int64_t limits_id = phases->limits[p].limits_id;
    enum an_status st =
        an_store_running(store, stream_id, limits_id, wanted_us, arena, &kept, &found, err);
    st = st ? st
            : an_store_running(store, stream_id, limits_id, INT64_MAX, arena, &newest, &later, err);
    if (st) {
        return st;
    }
    start->begin_us = phases->from_us[p];
    start->stale_limits_id = later && newest.at_us >= wanted_us ? limits_id : 0;
    start->phase_from_us = phases->from_us[p];
    if (found && kept.at_us >= phases->from_us[p]) {
        start->begin_us = kept.at_us + 1;
        start->limits_id = limits_id;
        start->at_us = kept.at_us;
        start->sample_id = kept.sample_id;
        if (!read_state(kept.state, &start->reference)) {
            return an_fail(err, AN_NO_STORE,
                           "where the scatter of stream %lld stands cannot be read; the store was "
                           "changed by something else",
                           (long long)stream_id);
        }
    }
    return AN_OK;
}

double an_scatter_p(double z)
{
    return fmin(1.0, 2.0 * an_normal_above(fabs(z)));
}

/* Counts that are expected at a point. */
static double mean_at(const struct an_judging *j, size_t i)
{
    const enum an_family family = j->phases->limits[j->phase[i]].model.family;
    const double centre = j->points[i].level.centre;

    return family == AN_NP || family == AN_C ? centre : centre * j->charted[i].opportunities;
}

struct blocks {
    const struct an_judging *j;
    struct an_scatter_judged *out;
    struct an_scatter reference;
    double z[AN_SCATTER_BLOCK], means[AN_SCATTER_BLOCK];
    size_t first, n; /* the block in hand */
};

static void look(struct blocks *b, size_t last)
{
    const struct an_chart_model *m = &b->j->phases->limits[b->j->phase[last]].model;
    struct an_scatter_judged *out = b->out;
    struct an_scatter_news news;

    if (!an_scatter_look(b->z, b->means, b->n, m->dispersion, &b->reference, &news) &&
        news.changed) {
        const int side = news.ratio > 1 ? 1 : -1;
        const double tail = fmax(news.p / 2, 1e-300);
        out->factor[out->hit_count] = sqrt(news.variance) * m->dispersion;
        out->z[out->hit_count] = -side * an_normal_quantile(tail);
        out->hits[out->hit_count++] = (struct an_rule_hit){
            .rule = AN_RULE_SCATTER, .first = b->first, .last = last, .side = side};
    }
    b->n = 0;
    /* two samples of one moment must not lie on both sides of a kept end */
    const bool parted =
        last + 1 == b->j->count || b->j->samples[last + 1].at_us > b->j->samples[last].at_us;
    if (parted) {
        out->marks[out->mark_count++] = (struct an_scatter_mark){last, b->reference};
    }
}

enum an_status an_scatter_judge(const struct an_judging *j, const struct an_scatter_start *start,
                                struct an_arena *arena, struct an_scatter_judged *found)
{
    const size_t room = j->count / AN_SCATTER_BLOCK + 1;
    struct blocks b = {.j = j, .out = found};
    bool begun = false;

    *found =
        (struct an_scatter_judged){.hits = an_arena_alloc(arena, room, sizeof *found->hits),
                                   .factor = an_arena_alloc(arena, room, sizeof *found->factor),
                                   .z = an_arena_alloc(arena, room, sizeof *found->z),
                                   .marks = an_arena_alloc(arena, room, sizeof *found->marks)};
    if (!found->hits || !found->factor || !found->z || !found->marks) {
        return AN_NO_MEMORY;
    }
    for (size_t i = 0; i < j->count; i++) {
        const size_t p = j->phase[i];

        if (p == AN_NONE || j->samples[i].at_us < start->begin_us ||
            !an_scatter_watched(&j->phases->limits[p])) {
            continue;
        }
        if (!begun || j->phase[i - 1] != p) {
            const bool taken_up = !begun && start->limits_id == j->phases->limits[p].limits_id;
            b.reference = taken_up ? start->reference : reference_of(&j->phases->limits[p]);
            b.n = 0;
            begun = true;
        }
        b.first = b.n == 0 ? i : b.first;
        b.z[b.n] = j->excluded[i] ? (double)NAN : j->points[i].level.z;
        b.means[b.n++] = mean_at(j, i);
        if (b.n == AN_SCATTER_BLOCK) {
            look(&b, i);
        }
    }
    return AN_OK;
}

static enum an_status put(struct an_store *store, const struct an_judging *j, int64_t limits_id,
                          int64_t from_us, int64_t at_us, int64_t sample_id,
                          const struct an_scatter *reference, struct an_error *err)
{
    struct an_text text = {0};
    struct an_json json = an_json_into(&text, false);

    an_json_array(&json);
    an_json_number(&json, reference->factor);
    an_json_number(&json, reference->df);
    an_json_end(&json, ']');
    const struct an_running kept = {.stream_id = j->stream->stream_id,
                                    .limits_id = limits_id,
                                    .from_us = from_us,
                                    .at_us = at_us,
                                    .sample_id = sample_id,
                                    .state = an_text_of(&text)};
    const enum an_status st = text.failed
                                  ? an_fail(err, AN_NO_MEMORY, "out of memory while judging")
                                  : an_store_put_running(store, &kept, err);
    an_text_free(&text);
    return st;
}

/* What was kept from the first sample judged on is put aside: the end before it is kept once more, or,
 * where there is none, one from before the limits began, which nobody takes up. */
static enum an_status put_aside(struct an_store *store, const struct an_judging *j,
                                const struct an_scatter_start *start, size_t first,
                                struct an_error *err)
{
    const struct an_scatter none = {1.0, 1.0};
    const bool known = start->limits_id != 0;

    if (!start->stale_limits_id) {
        return AN_OK;
    }
    return put(store, j, start->stale_limits_id, j->samples[first].at_us,
               known ? start->at_us : start->phase_from_us - 1,
               known ? start->sample_id : j->samples[first].sample_id,
               known ? &start->reference : &none, err);
}

enum an_status an_scatter_keep(struct an_store *store, const struct an_judging *j,
                               const struct an_scatter_start *start,
                               const struct an_scatter_judged *found, size_t first,
                               struct an_error *err)
{
    size_t from = first; /* the first sample judged for the next row */
    size_t since = 0;

    if (first >= j->count) {
        return AN_OK;
    }
    enum an_status st = put_aside(store, j, start, first, err);
    for (size_t m = 0; !st && m < found->mark_count; m++) {
        const struct an_scatter_mark *mark = &found->marks[m];
        const bool last =
            m + 1 == found->mark_count || j->phase[found->marks[m + 1].at] != j->phase[mark->at];

        since++;
        if (mark->at >= first && (last || since >= KEPT_EVERY)) {
            st = put(store, j, j->phases->limits[j->phase[mark->at]].limits_id,
                     j->samples[from].at_us, j->samples[mark->at].at_us,
                     j->samples[mark->at].sample_id, &mark->reference, err);
            since = 0;
            from = mark->at + 1;
        }
    }
    return st;
}
