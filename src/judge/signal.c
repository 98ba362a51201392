/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Signals told in full, worst first. Must never write: what was decided stands in the store. */
#include "judge/judge.h"
#include "judge/limits_json.h"
#include "judge/shown.h"
#include "judge/story.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct stream_facts { /* what the signals of one stream share */
    struct an_stream stream;
    const struct an_station *station;
    const struct an_characteristic *characteristic;
    const char *purpose;
    bool resolved, ready;
    struct an_limits *limits;
    size_t limits_count;
    int64_t memory_us; /* time of the oldest sample within the rules' memory of the newest */
};

static enum an_status fill_facts(struct an_store *store, const struct an_line *line,
                                 struct stream_facts *facts, struct an_arena *arena,
                                 struct an_error *err)
{
    struct an_sample *newest = NULL;
    size_t count = 0;

    if (facts->ready) {
        return AN_OK;
    }
    facts->ready = true;
    facts->resolved = an_judge_resolve(line, &facts->stream, &facts->station,
                                       &facts->characteristic, &facts->purpose, arena);
    enum an_status st = an_limits_all(store, facts->stream.stream_id, arena, &facts->limits,
                                      &facts->limits_count, err);
    st = st ? st
            : an_store_samples_before(store, facts->stream.stream_id, INT64_MAX, AN_RULE_MEMORY + 1,
                                      arena, &newest, &count, err);
    if (!st) {
        facts->memory_us = count ? newest[0].at_us : INT64_MAX;
    }
    return st;
}

static struct an_limits *find_limits(const struct stream_facts *facts, int64_t limits_id)
{
    for (size_t i = 0; i < facts->limits_count; i++) {
        if (facts->limits[i].limits_id == limits_id) {
            return &facts->limits[i];
        }
    }
    return NULL;
}

static size_t find_sample(const struct an_stream_view *view, int64_t sample_id)
{
    for (size_t i = 0; i < view->count; i++) {
        if (view->points[i].sample.sample_id == sample_id) {
            return i;
        }
    }
    return AN_NONE;
}

/* Places the signal's points in the view; false if they are not there. */
static bool place(struct an_story *story)
{
    const struct an_signal *s = story->signal;
    const struct an_stream_view *view = &story->view;

    const size_t first_hit = find_sample(view, s->hits[0].sample_id);

    story->first = find_sample(view, s->hits[0].window_first_sample_id);
    story->first = story->first == AN_NONE ? first_hit : story->first;
    story->last = find_sample(view, s->hits[s->hit_count - 1].sample_id);
    if (story->first == AN_NONE || story->last == AN_NONE || story->first > story->last) {
        return false;
    }
    const size_t phase = view->points[story->last].phase;
    story->until = story->last + 1;
    story->from = story->last;
    while (story->from > 0 && view->points[story->from - 1].phase == phase &&
           (story->from > story->first || story->first - story->from < AN_STORY_CONTEXT)) {
        story->from--;
    }
    if (story->first < story->from) {
        story->first = story->from;
    }
    return phase != AN_NONE && view->limits[phase].limits_id == s->record.limits_id;
}

/* Sentence of a signal whose stream or limits are no longer there to tell more. */
static const char *bare_sentence(const struct an_story *story)
{
    const struct an_signal *s = story->signal;
    char at[40];

    return an_arena_printf(story->arena, "%s met rule %s at %s; it is no longer judged.",
                           s->stream.name, s->code,
                           an_instant_spoken(story->line->zone, s->record.signal_us, at));
}

static enum an_status read_hits(struct an_story *story, struct an_error *err)
{
    struct an_signal *s = story->signal;
    struct an_hit_record *all = NULL;
    size_t count = 0;
    enum an_status st =
        an_store_hits(story->store, s->record.signal_id, story->arena, &all, &count, err);

    s->hits = all;
    for (size_t i = 0; !st && i < count; i++) {
        if (!all[i].withdrawn) { /* told is what still holds */
            all[s->hit_count++] = all[i];
        }
    }
    return st;
}

static int compare_hits(const void *a, const void *b)
{
    const struct an_hit_record *x = a;
    const struct an_hit_record *y = b;

    if (x->at_us != y->at_us) {
        return x->at_us < y->at_us ? -1 : 1;
    }
    if (x->sample_id != y->sample_id) {
        return x->sample_id < y->sample_id ? -1 : 1;
    }
    return x->rule - y->rule;
}

static enum an_status tell_whole(struct an_story *story, struct an_error *err)
{
    struct an_signal *s = story->signal;
    const int64_t last_us = s->hits[s->hit_count - 1].at_us;
    const int64_t first_us =
        s->record.first_us < s->hits[0].at_us ? s->record.first_us : s->hits[0].at_us;
    enum an_status st = an_judge_view(story->store, story->line, &s->stream, first_us, last_us + 1,
                                      AN_STORY_CONTEXT, story->arena, &story->view, err);
    if (st) {
        return st;
    }
    if (!place(story)) {
        s->sentence = bare_sentence(story);
        return s->sentence ? AN_OK
                           : an_fail(err, AN_NO_MEMORY, "out of memory while telling signals");
    }
    st = an_story_onset(story, err);
    st = st ? st : an_story_items(story, err);
    st = st ? st : an_story_ribbon(story, err);
    if (st) {
        return st;
    }
    s->sentence = an_story_sentence(story, true);
    s->brief = an_story_sentence(story, false);
    return s->sentence ? AN_OK : an_fail(err, AN_NO_MEMORY, "out of memory while telling signals");
}

static enum an_status tell(struct an_store *store, const struct an_line *line,
                           struct stream_facts *facts, struct an_arena *arena,
                           struct an_signal *signal, struct an_error *err)
{
    struct an_story story = {.store = store, .line = line, .arena = arena, .signal = signal};
    char code[16];

    enum an_status st = fill_facts(store, line, facts, arena, err);
    st = st ? st : read_hits(&story, err);
    if (st) {
        return st;
    }
    signal->stream = facts->stream;
    signal->station = facts->station;
    signal->characteristic = facts->characteristic;
    signal->open = signal->record.answers == 0;
    signal->per_day = (double)NAN;
    signal->unit = facts->resolved ? an_shown_unit(facts->characteristic, arena) : "";
    signal->onset_sample_id = signal->record.first_sample_id;
    signal->onset_us = signal->record.first_us;
    signal->onset_earliest_us = signal->record.first_us;
    signal->onset_latest_us = signal->record.first_us;
    story.limits = find_limits(facts, signal->record.limits_id);
    story.purpose = facts->purpose;
    const struct an_rule_choice usual = an_rules_default();
    an_rule_code((enum an_rule)signal->record.rule, signal->record.side,
                 story.limits ? &story.limits->rules : &usual, code);
    signal->code = an_arena_printf(arena, "%s", code);
    if (!signal->code || !signal->unit ||
        an_split_of(facts->stream.split, facts->characteristic, arena, &story.split)) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while telling signals");
    }
    if (signal->hit_count) {
        qsort(signal->hits, signal->hit_count, sizeof *signal->hits, compare_hits);
        signal->ongoing = signal->hits[signal->hit_count - 1].at_us >= facts->memory_us;
    }
    if (facts->resolved && story.limits && signal->hit_count) {
        return tell_whole(&story, err);
    }
    signal->sentence = bare_sentence(&story);
    return signal->sentence ? AN_OK
                            : an_fail(err, AN_NO_MEMORY, "out of memory while telling signals");
}

/* ---- order ------------------------------------------------------------------------------------------- */
struct ranked {
    struct an_signal signal;
    size_t at_risk;
};

static int compare_ranked(const void *a, const void *b)
{
    const struct ranked *x = a;
    const struct ranked *y = b;
    const double x_size = fabs(x->signal.size_sigmas);
    const double y_size = fabs(y->signal.size_sigmas);

    if (x->at_risk != y->at_risk) {
        return x->at_risk > y->at_risk ? -1 : 1;
    }
    if (x_size > y_size || x_size < y_size) {
        return x_size > y_size ? -1 : 1;
    }
    return x->signal.record.signal_id < y->signal.record.signal_id ? -1 : 1;
}

static size_t product_at_risk(const struct an_line *line, const struct an_signal *signal)
{
    if (!signal->station || signal->station->item_kind >= line->kind_count) {
        return 0;
    }
    return line->kinds[signal->station->item_kind].product ? signal->item_count
                                                           : signal->product_in_next;
}

static struct stream_facts *facts_of(struct stream_facts *facts, size_t count, int64_t stream_id)
{
    for (size_t i = 0; i < count; i++) {
        if (facts[i].stream.stream_id == stream_id) {
            return &facts[i];
        }
    }
    return NULL;
}

enum an_status an_signals(struct an_store *store, const struct an_line *line, int64_t stream_id,
                          int64_t from_us, int64_t until_us, struct an_arena *arena,
                          struct an_signal **signals, size_t *count, struct an_error *err)
{
    struct an_signal_record *records = NULL;
    struct an_stream *streams = NULL;
    size_t record_count = 0;
    size_t stream_count = 0;
    size_t n = 0;

    *signals = NULL;
    *count = 0;
    until_us = until_us == AN_NO_INSTANT ? INT64_MAX : until_us;
    enum an_status st =
        an_store_signals(store, stream_id, from_us, until_us, arena, &records, &record_count, err);
    st = st ? st : an_store_streams(store, arena, &streams, &stream_count, err);
    if (st) {
        return st;
    }
    struct stream_facts *facts = an_arena_alloc(arena, stream_count + 1, sizeof *facts);
    struct ranked *ranked = an_arena_alloc(arena, record_count + 1, sizeof *ranked);
    struct an_signal *out = an_arena_alloc(arena, record_count + 1, sizeof *out);
    if (!facts || !ranked || !out) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while telling signals");
    }
    for (size_t i = 0; i < stream_count; i++) {
        facts[i].stream = streams[i];
    }
    for (size_t i = 0; i < record_count; i++) {
        struct stream_facts *of = facts_of(facts, stream_count, records[i].stream_id);
        if (records[i].withdrawn || !of) {
            continue;
        }
        ranked[n].signal.record = records[i];
        st = tell(store, line, of, arena, &ranked[n].signal, err);
        if (st) {
            return st;
        }
        ranked[n].at_risk = product_at_risk(line, &ranked[n].signal);
        n++;
    }
    qsort(ranked, n, sizeof *ranked, compare_ranked);
    for (size_t i = 0; i < n; i++) {
        out[i] = ranked[i].signal;
    }
    *signals = out;
    *count = n;
    return AN_OK;
}
