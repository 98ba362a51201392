/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Judging what is new, once. Must never read more of a stream than from a few rules' memories before
 * the first thing that changed, nor leave half a check in the store.
 *
 * The hard idea: what is true of a sample depends only on itself and the 15 before it. So from the
 * earliest late sample on (or the start of newly locked limits) all is judged again, and what comes
 * out is compared with what was kept: hits that are still true stay as they are, others are
 * withdrawn, missing ones are added. A check of everything at once and many small ones agree.
 */
#include "andamento/base/text.h"
#include "andamento/store/correction.h"
#include "judge/episode.h"
#include "judge/judge.h"
#include "judge/judging.h"
#include "judge/phases.h"
#include "judge/scatter.h"

#include <math.h>
#include <string.h>

struct check {
    struct an_store *store;
    const struct an_line *line;
    bool dry_run;
    int64_t next_pretended; /* ids of signals that a dry run would open, below 0 */
    struct an_check_result *result;
    size_t stored;
    struct an_error *err;
};

struct stream_check {
    const struct an_stream *stream;
    const struct an_characteristic *characteristic;
    struct an_arena *arena;
    struct an_phases phases;
    struct an_judged judged; /* the last check; all zero before any */
    bool was_judged, relocked, corrected;
    int64_t start_us, newest_id;
    struct an_judging judging;
    struct an_scatter_start scatter_start;
    struct an_scatter_judged scatter;
    size_t first; /* index of the first sample to be judged now */
    struct an_hit_record *kept;
    bool *kept_true;
    size_t *kept_at;
    const struct an_signal_record **kept_signal; /* each kept hit's */
    size_t kept_count;
    struct an_episodes episodes;
};

/* ---- what is new ------------------------------------------------------------------------------------ */
/* *start_us: where judging must begin; AN_NO_INSTANT if nothing is new. */
static enum an_status find_start(struct check *check, struct stream_check *s)
{
    int64_t earliest_us = AN_NO_INSTANT;
    int64_t newer_us = AN_NO_INSTANT;
    int64_t corrected_us = AN_NO_INSTANT;
    enum an_status st =
        an_store_judged(check->store, s->stream->stream_id, &s->judged, &s->was_judged, check->err);

    s->start_us = AN_NO_INSTANT;
    if (st) {
        return st;
    }
    if (!s->was_judged) {
        s->judged = (struct an_judged){.stream_id = s->stream->stream_id, .until_us = INT64_MIN};
    }
    const int64_t since = s->judged.newest_sample_id;
    st = an_store_newest_sample(check->store, s->stream->stream_id, since, &s->newest_id,
                                &earliest_us, check->err);
    if (st) {
        return st;
    }
    if (s->newest_id > since) {
        s->start_us = earliest_us;
    }
    st = an_store_corrected_since(check->store, s->stream->stream_id, &corrected_us, check->err);
    if (st) {
        return st;
    }
    if (corrected_us != AN_NO_INSTANT && s->was_judged) {
        s->corrected = true;
        if (s->start_us == AN_NO_INSTANT || corrected_us < s->start_us) {
            s->start_us = corrected_us;
        }
    }
    if (s->was_judged && s->phases.newest_lock_id != s->judged.limits_id) {
        st = an_phases_newer(check->store, s->stream->stream_id, s->judged.limits_id, s->arena,
                             &newer_us, check->err);
        if (!st && newer_us != AN_NO_INSTANT) {
            s->relocked = true;
            if (s->start_us == AN_NO_INSTANT || newer_us < s->start_us) {
                s->start_us = newer_us;
            }
        }
    }
    return st;
}

static enum an_status read_samples(struct check *check, struct stream_check *s)
{
    struct an_sample *early = NULL;
    struct an_sample *late = NULL;
    size_t early_count = 0;
    size_t late_count = 0;
    const int64_t id = s->stream->stream_id;
    /* a chart with memory is taken up where it stood before */
    enum an_status st = an_running_find(check->store, id, &s->phases, s->start_us, s->start_us,
                                        s->arena, &s->judging.start, check->err);
    /* and so is a block of counts */
    st = st ? st
            : an_scatter_find(check->store, id, &s->phases, s->start_us, s->arena,
                              &s->scatter_start, check->err);
    int64_t from_us = s->start_us;
    from_us = s->judging.start.begin_us < from_us ? s->judging.start.begin_us : from_us;
    from_us = s->scatter_start.begin_us < from_us ? s->scatter_start.begin_us : from_us;

    st = st ? st
            : an_store_samples_before(check->store, id, from_us, AN_EPISODE_REACH, s->arena, &early,
                                      &early_count, check->err);
    st = st ? st
            : an_store_samples(check->store, id, from_us, INT64_MAX, 0, s->arena, &late,
                               &late_count, check->err);
    if (st) {
        return st;
    }
    struct an_sample *all = an_arena_alloc(s->arena, early_count + late_count + 1, sizeof *all);
    if (!all) {
        return an_fail(check->err, AN_NO_MEMORY, "out of memory while judging");
    }
    if (early_count) {
        memcpy(all, early, early_count * sizeof *all);
    }
    if (late_count) {
        memcpy(all + early_count, late, late_count * sizeof *all);
    }
    s->judging.samples = all;
    s->judging.count = early_count + late_count;
    s->first = early_count;
    while (s->first < s->judging.count && all[s->first].at_us < s->start_us) {
        s->first++;
    }
    for (size_t i = 0; i < late_count; i++) {
        const bool is_new = late[i].sample_id > s->judged.newest_sample_id;
        check->result->late_samples +=
            s->was_judged && is_new && late[i].at_us < s->judged.until_us;
    }
    return AN_OK;
}

/* ---- what was kept ----------------------------------------------------------------------------------- */
static size_t index_of(const struct stream_check *s, int64_t at_us, int64_t sample_id)
{
    const struct an_sample *samples = s->judging.samples;
    size_t lo = 0;
    size_t hi = s->judging.count;

    while (lo < hi) {
        const size_t middle = lo + (hi - lo) / 2;
        if (samples[middle].at_us < at_us ||
            (samples[middle].at_us == at_us && samples[middle].sample_id < sample_id)) {
            lo = middle + 1;
        } else {
            hi = middle;
        }
    }
    return lo < s->judging.count && samples[lo].sample_id == sample_id ? lo : AN_NONE;
}

static const struct an_signal_record *signal_of(const struct an_signal_record *signals,
                                                size_t count, int64_t signal_id)
{
    for (size_t i = count; i > 0; i--) {
        if (signals[i - 1].signal_id == signal_id) {
            return &signals[i - 1];
        }
    }
    return NULL;
}

/* Hits kept from the first sample read on, each with its point and its limits. */
static enum an_status read_kept(struct check *check, struct stream_check *s)
{
    struct an_signal_record *signals = NULL;
    size_t signal_count = 0;
    const int64_t from_us = s->judging.samples[0].at_us;
    const int64_t id = s->stream->stream_id;
    enum an_status st = an_store_stream_hits(check->store, id, from_us, s->arena, &s->kept,
                                             &s->kept_count, check->err);

    st = st ? st
            : an_store_signals(check->store, id, from_us, INT64_MAX, s->arena, &signals,
                               &signal_count, check->err);
    if (st) {
        return st;
    }
    s->kept_true = an_arena_alloc(s->arena, s->kept_count + 1, sizeof *s->kept_true);
    s->kept_at = an_arena_alloc(s->arena, s->kept_count + 1, sizeof *s->kept_at);
    s->kept_signal =
        an_arena_alloc(s->arena, s->kept_count + 1, sizeof(const struct an_signal_record *));
    if (!s->kept_true || !s->kept_at || !s->kept_signal) {
        return an_fail(check->err, AN_NO_MEMORY, "out of memory while judging");
    }
    for (size_t k = 0; k < s->kept_count; k++) {
        s->kept_at[k] = index_of(s, s->kept[k].at_us, s->kept[k].sample_id);
        s->kept_signal[k] = signal_of(signals, signal_count, s->kept[k].signal_id);
        if (!s->kept_signal[k]) {
            return an_fail(check->err, AN_BUG, "hit %lld of %s has no signal",
                           (long long)s->kept[k].hit_id, s->stream->name);
        }
        /* what lies in the look-back is not judged again: it stands */
        s->kept_true[k] = s->kept[k].at_us < s->start_us;
    }
    return AN_OK;
}

static int64_t limits_at(const struct stream_check *s, size_t at)
{
    return s->phases.limits[s->judging.phase[at]].limits_id;
}

/* What has no place on a scale has neither value nor z. */
static bool same_number(double a, double b)
{
    return a == b || (isnan(a) && isnan(b));
}

/* A kept hit that says exactly what the new one says; kept hits are by time. */
static bool find_kept(struct stream_check *s, const struct an_hit_record *hit, size_t at)
{
    size_t lo = 0;
    size_t hi = s->kept_count;

    while (lo < hi) {
        const size_t middle = lo + (hi - lo) / 2;
        if (s->kept[middle].at_us < hit->at_us) {
            lo = middle + 1;
        } else {
            hi = middle;
        }
    }
    for (; lo < s->kept_count && s->kept[lo].at_us == hit->at_us; lo++) {
        const struct an_hit_record *k = &s->kept[lo];
        if (!s->kept_true[lo] && k->sample_id == hit->sample_id && k->rule == hit->rule &&
            k->panel == hit->panel && k->side == hit->side &&
            k->window_first_sample_id == hit->window_first_sample_id &&
            same_number(k->value, hit->value) && same_number(k->z, hit->z) &&
            s->kept_signal[lo]->limits_id == limits_at(s, at)) {
            s->kept_true[lo] = true;
            return true;
        }
    }
    return false;
}

/* ---- what is stored ------------------------------------------------------------------------------------ */
static struct an_hit_record record_of(const struct stream_check *s, const struct an_rule_hit *hit,
                                      int panel)
{
    const struct an_sample *sample = &s->judging.samples[hit->last];
    const struct an_chart_point *point = &s->judging.points[hit->last];
    const struct an_panel_point *plotted = panel ? &point->spread : &point->level;
    double value = plotted->value;
    double z = plotted->z;

    for (size_t i = 0; hit->rule == AN_RULE_SCATTER && i < s->scatter.hit_count; i++) {
        if (s->scatter.hits[i].last == hit->last) { /* of a block, so of no point */
            value = s->scatter.factor[i];
            z = s->scatter.z[i];
        }
    }
    return (struct an_hit_record){.sample_id = sample->sample_id,
                                  .at_us = sample->at_us,
                                  .window_first_sample_id =
                                      s->judging.samples[hit->first].sample_id,
                                  .rule = (int)hit->rule,
                                  .panel = panel,
                                  .side = hit->side,
                                  .value = value,
                                  .z = z};
}

static enum an_status open_signal(struct check *check, struct stream_check *s,
                                  const struct an_rule_hit *hit, const struct an_hit_record *record,
                                  int64_t *signal_id)
{
    struct an_signal_record signal = {.stream_id = s->stream->stream_id,
                                      .limits_id = limits_at(s, hit->last),
                                      .known_us = an_clock_now_us(),
                                      .first_sample_id = record->window_first_sample_id,
                                      .first_us = s->judging.samples[hit->first].at_us,
                                      .signal_sample_id = record->sample_id,
                                      .signal_us = record->at_us,
                                      .panel = record->panel,
                                      .side = record->side,
                                      .rule = record->rule};

    check->result->new_signals++;
    if (check->dry_run) {
        *signal_id = --check->next_pretended;
        return AN_OK;
    }
    const enum an_status st = an_store_put_signal(check->store, &signal, check->err);
    *signal_id = signal.signal_id;
    return st;
}

/* Settles to which signal a hit belongs; it is stored with the others. */
static enum an_status add_hit(struct check *check, struct stream_check *s,
                              const struct an_rule_hit *hit, struct an_hit_record *record)
{
    struct an_episode_hit belongs = {.limits_id = limits_at(s, hit->last),
                                     .from = s->judging.turn[hit->first],
                                     .at = s->judging.turn[hit->last],
                                     .panel = record->panel,
                                     .side = record->side,
                                     .rule = record->rule,
                                     .opened_side = record->side,
                                     .opened_rule = record->rule};
    enum an_status st = AN_OK;

    an_episodes_find(&s->episodes, &belongs);
    if (belongs.signal_id == 0) {
        st = open_signal(check, s, hit, record, &belongs.signal_id);
    }
    record->signal_id = belongs.signal_id;
    if (st) {
        return st;
    }
    check->result->new_hits++;
    return an_episodes_add(&s->episodes, &belongs)
               ? an_fail(check->err, AN_NO_MEMORY, "out of memory while judging")
               : AN_OK;
}

static enum an_status withdraw(struct check *check, const struct stream_check *s, size_t k)
{
    const char *reason = s->relocked    ? "limits locked later judge this sample differently"
                         : s->corrected ? "samples were corrected since"
                                        : "samples that came late changed what was met";

    check->result->withdrawn_hits++;
    if (check->dry_run) {
        return AN_OK;
    }
    return an_store_withdraw_hit(check->store, s->kept[k].hit_id, reason, check->err);
}

/* Hits of both panels in order of point; level before spread at one point. */
static const struct an_rule_hit *next_hit(const struct stream_check *s, size_t at[2], int *panel)
{
    const struct an_judging *j = &s->judging;
    const bool level = at[0] < j->hit_count[0];
    const bool spread = at[1] < j->hit_count[1];

    if (!level && !spread) {
        return NULL;
    }
    *panel = !level || (spread && j->hits[1][at[1]].last < j->hits[0][at[0]].last) ? 1 : 0;
    return &j->hits[*panel][at[*panel]++];
}

/* So many samples before this one there is one that a hit of its signal can have to do with. */
static bool is_in_reach(const struct stream_check *s, size_t at, size_t back)
{
    return back <= at && s->judging.turn[at] - s->judging.turn[at - back] < AN_EPISODE_REACH;
}

static size_t turn_of(const struct stream_check *s, size_t at)
{
    return at == AN_NONE ? AN_NONE : s->judging.turn[at];
}

/* A hit whose window holds points that can no longer be judged stands: nothing speaks against it. */
static bool cannot_be_met_again(const struct stream_check *s, size_t k)
{
    const bool *dropped = s->judging.dropped;

    for (size_t back = 0;
         dropped && s->kept_at[k] != AN_NONE && is_in_reach(s, s->kept_at[k], back); back++) {
        if (dropped[s->kept_at[k] - back]) {
            return true;
        }
    }
    return false;
}

/* The first point of a kept hit's window, which lies at most a rule's memory before its point. */
static size_t window_start(const struct stream_check *s, size_t k)
{
    const size_t at = s->kept_at[k];

    for (size_t back = 0; at != AN_NONE && is_in_reach(s, at, back); back++) {
        if (s->judging.samples[at - back].sample_id == s->kept[k].window_first_sample_id) {
            return at - back;
        }
    }
    return at;
}

/* Is this kept hit among the new ones, its window or numbers told anew? fresh is by point. */
static bool is_retold(const struct stream_check *s, size_t k, const struct an_rule_hit *fresh[],
                      const struct an_hit_record records[], size_t count)
{
    size_t lo = 0;
    size_t hi = count;

    while (lo < hi) {
        const size_t middle = lo + (hi - lo) / 2;
        if (fresh[middle]->last < s->kept_at[k]) {
            lo = middle + 1;
        } else {
            hi = middle;
        }
    }
    for (; lo < count && fresh[lo]->last == s->kept_at[k]; lo++) {
        if (records[lo].rule == s->kept[k].rule && records[lo].panel == s->kept[k].panel &&
            records[lo].side == s->kept[k].side &&
            s->kept_signal[k]->limits_id == limits_at(s, fresh[lo]->last)) {
            return true;
        }
    }
    return false;
}

static enum an_status compare_and_store(struct check *check, struct stream_check *s)
{
    size_t total = s->judging.hit_count[0] + s->judging.hit_count[1];
    const struct an_rule_hit **fresh =
        an_arena_alloc(s->arena, total + 1, sizeof(struct an_rule_hit *));
    struct an_hit_record *records = an_arena_alloc(s->arena, total + 1, sizeof *records);
    size_t fresh_count = 0;
    size_t at[2] = {0, 0};
    int panel = 0;
    enum an_status st = AN_OK;

    if (!fresh || !records) {
        return an_fail(check->err, AN_NO_MEMORY, "out of memory while judging");
    }
    for (const struct an_rule_hit *hit = next_hit(s, at, &panel); hit;
         hit = next_hit(s, at, &panel)) {
        if (hit->last < s->first) {
            continue;
        }
        records[fresh_count] = record_of(s, hit, panel);
        if (!find_kept(s, &records[fresh_count], hit->last)) {
            fresh[fresh_count++] = hit;
        }
    }
    for (size_t k = 0; !st && k < s->kept_count; k++) {
        struct an_episode_hit kept = {.signal_id = s->kept[k].signal_id,
                                      .limits_id = s->kept_signal[k]->limits_id,
                                      .from = turn_of(s, window_start(s, k)),
                                      .at = turn_of(s, s->kept_at[k]),
                                      .panel = s->kept[k].panel,
                                      .side = s->kept[k].side,
                                      .rule = s->kept[k].rule,
                                      .opened_side = s->kept_signal[k]->side,
                                      .opened_rule = s->kept_signal[k]->rule};
        if (!s->kept_true[k] && !cannot_be_met_again(s, k)) {
            kept.withdrawn = !is_retold(s, k, fresh, records, fresh_count);
            st = withdraw(check, s, k);
        }
        if (!st && kept.at != AN_NONE && an_episodes_add(&s->episodes, &kept)) {
            st = an_fail(check->err, AN_NO_MEMORY, "out of memory while judging");
        }
    }
    for (size_t f = 0; !st && f < fresh_count; f++) {
        st = add_hit(check, s, fresh[f], &records[f]);
    }
    return st || check->dry_run ? st
                                : an_store_put_hits(check->store, records, fresh_count, check->err);
}

static enum an_status put_judged(struct check *check, const struct stream_check *s)
{
    const struct an_judging *j = &s->judging;
    struct an_judged judged = {.stream_id = s->stream->stream_id,
                               .limits_id = s->phases.newest_lock_id,
                               .newest_sample_id = s->newest_id,
                               .until_us = s->judged.until_us};

    for (size_t i = s->first; i < j->count; i++) {
        judged.samples += j->phase[i] != AN_NONE;
    }
    if (j->count > s->first && j->samples[j->count - 1].at_us > judged.until_us) {
        judged.until_us = j->samples[j->count - 1].at_us;
    }
    check->result->samples += (size_t)judged.samples;
    check->stored++;
    return check->dry_run ? AN_OK : an_store_put_judged(check->store, &judged, check->err);
}

/* Counted samples have no spread panel of their own: its hits are those of their scatter. */
static enum an_status watch_scatter(struct check *check, struct stream_check *s)
{
    if (an_scatter_judge(&s->judging, &s->scatter_start, s->arena, &s->scatter)) {
        return an_fail(check->err, AN_NO_MEMORY, "out of memory while judging");
    }
    if (s->scatter.hit_count > 0) {
        s->judging.hits[1] = s->scatter.hits;
        s->judging.hit_count[1] = s->scatter.hit_count;
    }
    return AN_OK;
}

/* ---- one stream, all streams ------------------------------------------------------------------------------ */
static enum an_status check_new(struct check *check, struct stream_check *s)
{
    s->judging.stream = s->stream;
    s->judging.characteristic = s->characteristic;
    s->judging.phases = &s->phases;
    enum an_status st = read_samples(check, s);
    if (st) {
        return st;
    }
    if (s->judging.count > 0) {
        st = an_judging_do(check->store, &s->judging, s->arena, check->err);
        st = st ? st : watch_scatter(check, s);
        st = st ? st : read_kept(check, s);
        st = st ? st : compare_and_store(check, s);
        if (!st && !check->dry_run) {
            st = an_running_keep(check->store, &s->judging, s->first, check->err);
            st = st ? st
                    : an_scatter_keep(check->store, &s->judging, &s->scatter_start, &s->scatter,
                                      s->first, check->err);
        }
    }
    return st ? st : put_judged(check, s);
}

static enum an_status check_stream(struct check *check, const struct an_stream *stream)
{
    struct stream_check s = {.stream = stream, .arena = an_arena_open()};
    const struct an_station *station;
    const char *purpose;
    enum an_status st = AN_OK;

    if (!s.arena) {
        return an_fail(check->err, AN_NO_MEMORY, "out of memory while judging");
    }
    if (!an_judge_resolve(check->line, stream, &station, &s.characteristic, &purpose, s.arena) ||
        !s.characteristic->signal_is_news) {
        goto done; /* gone from the description, or only charted */
    }
    check->result->streams++;
    st = an_phases_of(check->store, stream->stream_id, s.arena, &s.phases, check->err);
    if (st) {
        goto done;
    }
    if (s.phases.newest_lock_id == 0) {
        check->result->streams_without_limits++;
        goto done;
    }
    st = find_start(check, &s);
    if (!st && s.start_us != AN_NO_INSTANT) {
        st = check_new(check, &s);
    }
done:
    an_episodes_free(&s.episodes);
    an_arena_close(s.arena);
    return st;
}

/* What this run came to, as one act; the store tells each signal and hit in an entry of its own. */
static enum an_status put_ledger(struct check *check)
{
    struct an_text payload = {0};
    struct an_json json = an_json_into(&payload, false);
    const struct an_check_result *r = check->result;
    uint64_t entry;

    an_json_object(&json);
    an_json_put_integer(&json, "late_samples", r->late_samples);
    an_json_put_integer(&json, "new_hits", (int64_t)r->new_hits);
    an_json_put_integer(&json, "new_signals", (int64_t)r->new_signals);
    an_json_put_integer(&json, "samples", (int64_t)r->samples);
    an_json_put_integer(&json, "streams", (int64_t)check->stored);
    an_json_put_integer(&json, "withdrawn_hits", (int64_t)r->withdrawn_hits);
    an_json_end(&json, '}');
    const enum an_status st =
        payload.failed
            ? an_fail(check->err, AN_NO_MEMORY, "out of memory while judging")
            : an_ledger_append(check->store, "check", an_text_of(&payload), &entry, check->err);
    an_text_free(&payload);
    return st;
}

enum an_status an_check_all(struct an_store *store, const struct an_line *line, bool dry_run,
                            struct an_check_result *result, struct an_error *err)
{
    struct check check = {
        .store = store, .line = line, .dry_run = dry_run, .result = result, .err = err};
    struct an_stream *streams = NULL;
    size_t count = 0;
    bool open = false;

    memset(result, 0, sizeof *result);
    struct an_arena *arena = an_arena_open();
    if (!arena) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while judging");
    }
    enum an_status st = AN_OK;
    if (!dry_run) { /* a dry run writes nothing, so it can look at a store opened for reading */
        st = an_store_begin(store, err);
        open = st == AN_OK;
    }
    st = st ? st : an_store_streams(store, arena, &streams, &count, err);
    for (size_t i = 0; !st && i < count; i++) {
        st = check_stream(&check, &streams[i]);
    }
    if (!st && open && check.stored > 0) {
        st = put_ledger(&check);
        st = st ? st : an_store_commit(store, err);
        open = st != AN_OK;
    }
    if (open) {
        an_store_rollback(store);
    }
    an_arena_close(arena);
    return st;
}
