/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where charts with memory stand, kept and found again.
 *
 * Must never take up a state that a late sample or new limits have made wrong: then the phase is
 * judged from its start, or from an earlier mark. So any cut of a sequence into checks gives the
 * same points to the last bit.
 */
#include "judge/running.h"

#include "judge/judging.h"

#include <jansson.h>

static enum an_status fail_state(int64_t stream_id, struct an_error *err)
{
    return an_fail(err, AN_NO_STORE,
                   "where the chart of stream %lld stands cannot be read; the store was changed by "
                   "something else",
                   (long long)stream_id);
}

static enum an_status read_state(const char *text, const struct an_weighting *weighting,
                                 struct an_weighted_state *state)
{
    double numbers[AN_STATE_MOST];
    json_t *array = json_loads(text, 0, NULL);
    const size_t count = json_array_size(array); /* 0 unless it is an array */
    bool good = count > 0 && count <= AN_STATE_MOST;

    for (size_t i = 0; good && i < count; i++) {
        const json_t *one = json_array_get(array, i);
        good = json_is_number(one);
        numbers[i] = json_number_value(one);
    }
    json_decref(array);
    return good ? an_weighted_state_of(weighting, numbers, count, state) : AN_DOMAIN;
}

enum an_status an_running_find(struct an_store *store, int64_t stream_id,
                               const struct an_phases *phases, int64_t wanted_us, int64_t unseen_us,
                               struct an_arena *arena, struct an_running_start *start,
                               struct an_error *err)
{
    const size_t p = an_phase_at(phases, wanted_us);
    struct an_running kept;
    bool found = false;

    *start = (struct an_running_start){.begin_us = wanted_us};
    if (p == AN_NONE || phases->limits[p].model.weighting.kind == AN_UNWEIGHTED) {
        return AN_OK;
    }
    const struct an_limits *limits = &phases->limits[p];
    enum an_status st = AN_OK;
    if (limits->model.weighting.kind == AN_GAPS) { /* rules look back over events, not samples */
        st =
            an_store_events_before(store, stream_id, wanted_us, AN_RUNNING_EVENTS, &wanted_us, err);
        wanted_us = wanted_us > phases->from_us[p] ? wanted_us : phases->from_us[p];
    }
    const int64_t before_us = unseen_us < wanted_us ? unseen_us : wanted_us;
    st = st ? st
            : an_store_running(store, stream_id, limits->limits_id, before_us, arena, &kept, &found,
                               err);
    if (st) {
        return st;
    }
    start->begin_us = phases->from_us[p];
    if (found && kept.at_us >= phases->from_us[p]) {
        start->begin_us = kept.at_us + 1;
        start->limits_id = limits->limits_id;
        if (read_state(kept.state, &limits->model.weighting, &start->state)) {
            return fail_state(stream_id, err);
        }
    }
    return AN_OK;
}

enum an_status an_running_unseen(struct an_store *store, int64_t stream_id, int64_t *unseen_us,
                                 struct an_error *err)
{
    struct an_judged judged = {0};
    int64_t newest = 0;
    int64_t earliest_us = AN_NO_INSTANT;
    bool found = false;
    enum an_status st = an_store_judged(store, stream_id, &judged, &found, err);

    *unseen_us = INT64_MAX;
    if (st) {
        return st;
    }
    const int64_t since = found ? judged.newest_sample_id : 0;
    st = an_store_newest_sample(store, stream_id, since, &newest, &earliest_us, err);
    if (!st && newest > since && earliest_us != AN_NO_INSTANT) {
        *unseen_us = earliest_us;
    }
    return st;
}

enum an_status an_running_keep(struct an_store *store, const struct an_judging *j, size_t first,
                               struct an_error *err)
{
    size_t from = first;

    for (size_t m = 0; m < j->mark_count; m++) {
        const struct an_running_mark *mark = &j->marks[m];
        const struct an_limits *limits = &j->phases->limits[j->phase[mark->at]];
        struct an_text text = {0};
        struct an_json json = an_json_into(&text, false);
        double numbers[AN_STATE_MOST];

        if (mark->at < first) {
            continue;
        }
        const size_t count =
            an_weighted_state_numbers(&limits->model.weighting, &mark->state, numbers);
        an_json_array(&json);
        for (size_t i = 0; i < count; i++) {
            an_json_number(&json, numbers[i]);
        }
        an_json_end(&json, ']');
        const struct an_running kept = {.stream_id = j->stream->stream_id,
                                        .limits_id = limits->limits_id,
                                        .from_us = j->samples[from].at_us,
                                        .at_us = j->samples[mark->at].at_us,
                                        .sample_id = j->samples[mark->at].sample_id,
                                        .state = an_text_of(&text)};
        const enum an_status st = text.failed
                                      ? an_fail(err, AN_NO_MEMORY, "out of memory while judging")
                                      : an_store_put_running(store, &kept, err);
        an_text_free(&text);
        if (st) {
            return st;
        }
        from = mark->at + 1;
    }
    return AN_OK;
}
