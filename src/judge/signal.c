/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A signal told in full. Must never write: what was decided stands in the store. */
#include "judge/judging.h"
#include "judge/shown.h"
#include "judge/signal_tell.h"
#include "judge/story.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum an_status an_stream_facts_of(struct an_store *store, const struct an_line *line,
                                  const struct an_stream *stream, struct an_arena *arena,
                                  struct an_stream_facts *facts, struct an_error *err)
{
    struct an_sample *newest = NULL;
    size_t count = 0;

    *facts = (struct an_stream_facts){.stream = *stream, .unit = ""};
    facts->resolved = an_judge_resolve(line, stream, &facts->station, &facts->characteristic,
                                       &facts->purpose, arena);
    enum an_status st =
        an_limits_all(store, stream->stream_id, arena, &facts->limits, &facts->limits_count, err);
    st = st ? st : an_phases_of(store, stream->stream_id, arena, &facts->phases, err);
    st = st ? st
            : an_store_samples_before(store, stream->stream_id, INT64_MAX, AN_RULE_MEMORY + 1,
                                      arena, &newest, &count, err);
    if (st) {
        return st;
    }
    facts->memory_us = count ? newest[0].at_us : INT64_MAX;
    facts->unit = facts->resolved ? an_shown_unit(facts->characteristic, arena) : "";
    return !facts->unit || an_split_of(stream->split, facts->characteristic, arena, &facts->split)
               ? an_fail(err, AN_NO_MEMORY, "out of memory while telling signals")
               : AN_OK;
}

static struct an_limits *find_limits(const struct an_stream_facts *facts, int64_t limits_id)
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

static enum an_status tell_whole(struct an_story *story, const struct an_phases *phases,
                                 struct an_error *err)
{
    struct an_signal *s = story->signal;
    const int64_t last_us = s->hits[s->hit_count - 1].at_us;
    const int64_t first_us =
        s->record.first_us < s->hits[0].at_us ? s->record.first_us : s->hits[0].at_us;
    enum an_status st =
        an_judge_view_under(story->store, story->line, &s->stream, phases, first_us, last_us + 1,
                            AN_STORY_CONTEXT, story->arena, &story->view, err);
    if (st) {
        return st;
    }
    if (!place(story)) {
        s->sentence = bare_sentence(story);
        return s->sentence ? AN_OK
                           : an_fail(err, AN_NO_MEMORY, "out of memory while telling signals");
    }
    s->unit = story->view.unit;
    st = an_story_onset(story, err);
    if (s->record.rule != AN_RULE_SCATTER) { /* news of the limits: no item carries it */
        st = st ? st : an_story_items(story, err);
        st = st ? st : an_story_ribbon(story, err);
    }
    if (st) {
        return st;
    }
    s->sentence = an_story_sentence(story, true);
    s->brief = an_story_sentence(story, false);
    return s->sentence ? AN_OK : an_fail(err, AN_NO_MEMORY, "out of memory while telling signals");
}

enum an_status an_signal_tell(struct an_store *store, const struct an_line *line,
                              struct an_stream_facts *facts, struct an_arena *arena,
                              struct an_signal *signal, struct an_error *err)
{
    struct an_story story = {
        .store = store, .line = line, .arena = arena, .signal = signal, .split = facts->split};
    char code[16];

    const enum an_status st = read_hits(&story, err);
    if (st) {
        return st;
    }
    signal->stream = facts->stream;
    signal->station = facts->station;
    signal->characteristic = facts->characteristic;
    signal->open = signal->record.answers == 0;
    signal->per_day = (double)NAN;
    signal->unit = facts->unit;
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
    if (!signal->code) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while telling signals");
    }
    if (signal->hit_count) {
        qsort(signal->hits, signal->hit_count, sizeof *signal->hits, compare_hits);
        signal->ongoing = signal->hits[signal->hit_count - 1].at_us >= facts->memory_us;
    }
    if (facts->resolved && story.limits && signal->hit_count) {
        return tell_whole(&story, &facts->phases, err);
    }
    signal->sentence = bare_sentence(&story);
    return signal->sentence ? AN_OK
                            : an_fail(err, AN_NO_MEMORY, "out of memory while telling signals");
}
