/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Signals of a period, worst first. Must never hold more of a stream than what one of its signals is
 * told from.
 *
 * The one idea: signals are told stream by stream, each in an arena that is closed when it is told;
 * only what the list shows of it is copied out. So memory goes by the length of the list, not by the
 * samples behind it.
 */
#include "judge/signal_tell.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct telling {
    struct an_store *store;
    const struct an_line *line;
    const struct an_signals_wish *wish;
    struct an_arena *arena; /* the caller's */
    struct an_error *err;
};

static enum an_status no_memory(const struct telling *t)
{
    return an_fail(t->err, AN_NO_MEMORY, "out of memory while telling signals");
}

/* ---- what is kept of one ----------------------------------------------------------------------------- */
/* A copy in the caller's arena; NULL stays NULL. */
static bool keep_text(struct an_arena *arena, const char **text)
{
    if (*text) {
        *text = an_arena_copy(arena, *text, strlen(*text));
        return *text != NULL;
    }
    return true;
}

static bool keep_lists(struct an_arena *arena, struct an_signal *s)
{
    struct an_hit_record *hits = an_arena_alloc(arena, s->hit_count + 1, sizeof *hits);
    int64_t *ids = an_arena_alloc(arena, s->item_count + 1, sizeof *ids);
    const char **serials = an_arena_alloc(arena, s->item_count + 1, sizeof *serials);

    if (!hits || !ids || !serials) {
        return false;
    }
    if (s->hit_count) {
        memcpy(hits, s->hits, s->hit_count * sizeof *hits);
    }
    for (size_t i = 0; i < s->item_count; i++) {
        ids[i] = s->item_ids[i];
        serials[i] = s->item_serials[i];
        if (!keep_text(arena, &serials[i])) {
            return false;
        }
    }
    s->hits = hits;
    s->item_ids = ids;
    s->item_serials = serials;
    return true;
}

static bool keep(const struct telling *t, const struct an_stream *stream, struct an_signal *s)
{
    s->stream = *stream; /* whose texts are the caller's */
    if (t->wish->without_lists) {
        s->hits = NULL;
        s->item_ids = NULL;
        s->item_serials = NULL;
    } else if (!keep_lists(t->arena, s)) {
        return false;
    }
    return keep_text(t->arena, &s->code) && keep_text(t->arena, &s->first_serial) &&
           keep_text(t->arena, &s->last_serial) && keep_text(t->arena, &s->ribbon_note) &&
           keep_text(t->arena, &s->sentence) && keep_text(t->arena, &s->brief);
}

/* ---- stream by stream -------------------------------------------------------------------------------- */
struct place {
    int64_t stream_id;
    size_t at; /* index of the record */
};

static int compare_places(const void *a, const void *b)
{
    const struct place *x = a;
    const struct place *y = b;

    if (x->stream_id != y->stream_id) {
        return x->stream_id < y->stream_id ? -1 : 1;
    }
    return x->at < y->at ? -1 : x->at > y->at;
}

static size_t product_at_risk(const struct an_line *line, const struct an_signal *signal)
{
    if (!signal->station || signal->station->item_kind >= line->kind_count) {
        return 0;
    }
    return line->kinds[signal->station->item_kind].product ? signal->item_count
                                                           : signal->product_in_next;
}

static enum an_status tell_one(const struct telling *t, struct an_stream_facts *facts,
                               const struct an_stream *stream, struct an_signal *signal)
{
    struct an_arena *arena = an_arena_open();
    enum an_status st =
        arena ? an_signal_tell(t->store, t->line, facts, arena, signal, t->err) : no_memory(t);

    if (!st) {
        signal->at_risk = product_at_risk(t->line, signal);
        st = keep(t, stream, signal) ? AN_OK : no_memory(t);
        if (!st && signal->unit != facts->unit && !keep_text(t->arena, &signal->unit)) {
            st = no_memory(t);
        }
    }
    an_arena_close(arena);
    return st;
}

/* The signals at `places`, all of this stream. */
static enum an_status tell_stream(const struct telling *t, const struct an_stream *stream,
                                  const struct place *places, size_t count,
                                  struct an_signal *signals)
{
    struct an_stream_facts facts;
    struct an_arena *arena = an_arena_open();
    enum an_status st =
        arena ? an_stream_facts_of(t->store, t->line, stream, arena, &facts, t->err) : no_memory(t);
    const char *unit = st ? NULL : facts.unit;

    if (!st && !keep_text(t->arena, &unit)) {
        st = no_memory(t);
    }
    for (size_t i = 0; !st && i < count; i++) {
        struct an_signal *signal = &signals[places[i].at];

        st = tell_one(t, &facts, stream, signal);
        if (signal->unit == facts.unit) { /* else it has one of its own: a scale's */
            signal->unit = unit;
        }
    }
    an_arena_close(arena);
    return st;
}

static const struct an_stream *stream_of(const struct an_stream *streams, size_t count,
                                         int64_t stream_id)
{
    for (size_t i = 0; i < count; i++) {
        if (streams[i].stream_id == stream_id) {
            return &streams[i];
        }
    }
    return NULL;
}

/* Tells every signal in place; those of streams that are not there are marked as withdrawn. */
static enum an_status tell_all(const struct telling *t, struct an_signal *signals, size_t count)
{
    struct an_stream *streams = NULL;
    size_t stream_count = 0;
    enum an_status st = an_store_streams(t->store, t->arena, &streams, &stream_count, t->err);
    struct place *places = st ? NULL : an_alloc(count + 1, sizeof *places);

    if (!st && !places) {
        return no_memory(t);
    }
    for (size_t i = 0; !st && i < count; i++) {
        places[i] = (struct place){.stream_id = signals[i].record.stream_id, .at = i};
    }
    if (!st) {
        qsort(places, count, sizeof *places, compare_places);
    }
    for (size_t from = 0, until = 0; !st && from < count; from = until) {
        const struct an_stream *stream = stream_of(streams, stream_count, places[from].stream_id);

        while (until < count && places[until].stream_id == places[from].stream_id) {
            signals[places[until].at].record.withdrawn |= stream == NULL;
            until++;
        }
        if (stream) {
            st = tell_stream(t, stream, &places[from], until - from, signals);
        }
    }
    an_free(places);
    return st;
}

/* ---- order ------------------------------------------------------------------------------------------- */
/* What has no place on its chart is further than anything that has. */
static double rank_size(const struct an_signal *signal)
{
    return isnan(signal->size_sigmas) ? (double)INFINITY : fabs(signal->size_sigmas);
}

static int compare_worst(const void *a, const void *b)
{
    const struct an_signal *x = a;
    const struct an_signal *y = b;
    const double x_size = rank_size(x);
    const double y_size = rank_size(y);

    if (x->at_risk != y->at_risk) {
        return x->at_risk > y->at_risk ? -1 : 1;
    }
    if (x_size > y_size || x_size < y_size) {
        return x_size > y_size ? -1 : 1;
    }
    return x->record.signal_id < y->record.signal_id ? -1 : 1;
}

enum an_status an_signals_wished(struct an_store *store, const struct an_line *line,
                                 const struct an_signals_wish *wish, struct an_arena *arena,
                                 struct an_signal **signals, size_t *count, struct an_error *err)
{
    const struct telling t = {
        .store = store, .line = line, .wish = wish, .arena = arena, .err = err};
    struct an_signal_record *records = NULL;
    struct an_signal *out = NULL;
    size_t record_count = 0;
    size_t n = 0;

    *signals = NULL;
    *count = 0;
    struct an_arena *scratch = an_arena_open();
    enum an_status st =
        scratch ? an_store_signals(store, wish->stream_id, wish->from_us,
                                   wish->until_us == AN_NO_INSTANT ? INT64_MAX : wish->until_us,
                                   scratch, &records, &record_count, err)
                : no_memory(&t);
    if (!st) {
        for (size_t i = 0; i < record_count; i++) {
            if (!records[i].withdrawn && (!wish->open_only || records[i].answers == 0)) {
                records[n++] = records[i];
            }
        }
        out = an_arena_alloc(arena, n + 1, sizeof *out);
        st = out ? AN_OK : no_memory(&t);
    }
    for (size_t i = 0; !st && i < n; i++) {
        out[i].record = records[i];
    }
    an_arena_close(scratch);
    st = st ? st : n ? tell_all(&t, out, n) : AN_OK;
    if (st) {
        return st;
    }
    for (size_t i = 0; i < n; i++) {
        if (!out[i].record.withdrawn) {
            out[(*count)++] = out[i];
        }
    }
    qsort(out, *count, sizeof *out, compare_worst);
    *signals = out;
    return AN_OK;
}

enum an_status an_signals(struct an_store *store, const struct an_line *line, int64_t stream_id,
                          int64_t from_us, int64_t until_us, struct an_arena *arena,
                          struct an_signal **signals, size_t *count, struct an_error *err)
{
    const struct an_signals_wish wish = {
        .stream_id = stream_id, .from_us = from_us, .until_us = until_us};

    return an_signals_wished(store, line, &wish, arena, signals, count, err);
}
