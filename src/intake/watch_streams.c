/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The values of a file against those that its streams had lately: another unit, a stuck gauge. Must
 * never ask the store per sample: what streams were lately is kept from file to file, and read once
 * a stream.
 */
#include "intake/reading.h"
#include "intake/watch_parts.h"

#include <inttypes.h>
#include <math.h>
#include <string.h>

enum { MOST_STREAMS = 4096 };

static enum an_status out_of_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory");
}

void an_recent_close(struct an_recent *recent)
{
    an_free(recent->at);
    memset(recent, 0, sizeof *recent);
}

void an_watch_close(struct an_watch *watch)
{
    an_free(watch->streams);
    an_free(watch->by_id);
    an_free(watch->pinned);
    memset(watch, 0, sizeof *watch);
}

static struct an_watched_stream *find_stream(struct an_watch *watch, int64_t stream_id)
{
    const size_t id = (size_t)stream_id;

    if (id >= watch->id_capacity) {
        const size_t more = 2 * id + 64;
        uint32_t *grown = an_resize(watch->by_id, more, sizeof *grown);

        if (!grown) {
            return NULL;
        }
        memset(grown + watch->id_capacity, 0, (more - watch->id_capacity) * sizeof *grown);
        watch->by_id = grown;
        watch->id_capacity = more;
    }
    if (!watch->by_id[id]) {
        void *array = watch->streams;

        if (!an_grow(&array, watch->stream_count, &watch->stream_capacity,
                     sizeof *watch->streams)) {
            return NULL;
        }
        watch->streams = array;
        memset(&watch->streams[watch->stream_count], 0, sizeof *watch->streams);
        watch->streams[watch->stream_count].stream_id = stream_id;
        watch->by_id[id] = (uint32_t)++watch->stream_count;
    }
    return &watch->streams[watch->by_id[id] - 1];
}

static bool tell_pinned(struct an_watch *watch, struct an_watched_stream *stream, int64_t sample_id)
{
    void *array = watch->pinned;

    for (size_t i = watch->pinned_count; i > 0 && i + 8 > watch->pinned_count; i--) {
        if (watch->pinned[i - 1].sample_id == sample_id) {
            return true; /* by another of its runs */
        }
    }
    if (!an_grow(&array, watch->pinned_count, &watch->pinned_capacity, sizeof *watch->pinned)) {
        return false;
    }
    watch->pinned = array;
    watch->pinned[watch->pinned_count++] = (struct an_pinned){sample_id, stream->stream_id};
    stream->pinned++;
    return true;
}

/* The run goes on with a sample of that weight, or begins anew with it; weight 0 ends it. */
static bool follow_run(struct an_watch *watch, struct an_watched_stream *stream, struct an_run *run,
                       double value, int64_t weight, int64_t least, int64_t sample_id)
{
    const bool goes_on = run->weight && !(value < run->value) && !(value > run->value);

    if (!weight || !goes_on) {
        run->weight = 0;
        run->count = 0;
        run->value = value;
    }
    if (!weight) {
        return true;
    }
    const bool told = run->weight >= least;
    run->weight += weight;
    if (told) {
        return tell_pinned(watch, stream, sample_id);
    }
    run->samples[run->count++] = sample_id;
    if (run->weight < least) {
        return true;
    }
    stream->pinned_value = value;
    for (size_t i = 0; i < run->count; i++) {
        if (!tell_pinned(watch, stream, run->samples[i])) {
            return false;
        }
    }
    return true;
}

static void see_mean(struct an_watched_stream *stream, double mean)
{
    for (size_t i = 0; i < stream->distinct; i++) {
        if (!(mean < stream->seen[i]) && !(mean > stream->seen[i])) {
            return;
        }
    }
    if (stream->distinct < sizeof stream->seen / sizeof stream->seen[0]) {
        stream->seen[stream->distinct++] = mean;
    }
}

/* Wide enough that two samples would hardly have the same extreme by chance. */
static bool is_wide(const struct an_sample *sample)
{
    return sample->n >= AN_STUCK_EXTREMES &&
           (sample->max - sample->min) * pow(10, sample->decimals) >= 20;
}

enum an_status an_watch_sample(struct an_watch *watch, const struct an_sample *sample,
                               size_t quantity, struct an_error *err)
{
    if (!isfinite(sample->mean) ||
        (watch->stream_count >= MOST_STREAMS && (size_t)sample->stream_id < watch->id_capacity &&
         !watch->by_id[sample->stream_id])) {
        return AN_OK;
    }
    struct an_watched_stream *stream = find_stream(watch, sample->stream_id);
    if (!stream) {
        return out_of_memory(err);
    }
    if (stream->samples == 0) {
        stream->quantity = quantity;
        stream->first_line = sample->first_line;
    }
    if (stream->samples < AN_WATCHED_MEANS) {
        stream->means[stream->samples] = sample->mean;
    }
    stream->samples++;
    stream->readings += sample->n;
    see_mean(stream, sample->mean);
    const bool flat = !(sample->min < sample->max);
    const bool wide = is_wide(sample);
    const bool good = follow_run(watch, stream, &stream->flat, sample->mean, flat ? sample->n : 0,
                                 AN_STUCK_READINGS, sample->sample_id) &&
                      follow_run(watch, stream, &stream->top, sample->max, wide, AN_STUCK_EXTREMES,
                                 sample->sample_id) &&
                      follow_run(watch, stream, &stream->bottom, sample->min, wide,
                                 AN_STUCK_EXTREMES, sample->sample_id);
    return good ? AN_OK : out_of_memory(err);
}

/* ---- what streams were lately ------------------------------------------------------------------- */
static struct an_recent_stream *recent_of(struct an_recent *recent, int64_t stream_id)
{
    const size_t id = (size_t)stream_id;

    if (id >= recent->capacity) {
        const size_t more = 2 * id + 16;
        struct an_recent_stream *grown = an_resize(recent->at, more, sizeof *grown);

        if (!grown) {
            return NULL;
        }
        memset(grown + recent->capacity, 0, (more - recent->capacity) * sizeof *grown);
        recent->at = grown;
        recent->capacity = more;
    }
    return &recent->at[id];
}

static enum an_status load_recent(struct an_reading *reading, int64_t stream_id,
                                  struct an_recent_stream **stream, struct an_error *err)
{
    double means[AN_RECENT_MEANS + AN_WATCHED_MEANS];
    size_t count = 0;
    enum an_status st = AN_OK;

    *stream = recent_of(reading->recent, stream_id);
    if (!*stream) {
        return out_of_memory(err);
    }
    if ((*stream)->is_loaded) {
        return AN_OK;
    }
    /* this file's own samples are in the store already, and are not what was before */
    st = an_store_means_before(reading->store, stream_id, reading->file_id, AN_RECENT_MEANS, means,
                               &count, err);
    for (size_t i = count; i > 0; i--) {
        (*stream)->means[(*stream)->next++ % AN_RECENT_MEANS] = means[i - 1];
    }
    (*stream)->count = count;
    (*stream)->is_loaded = st == AN_OK;
    return st;
}

enum an_status an_watch_learn(const struct an_watch *watch, struct an_recent *recent,
                              struct an_error *err)
{
    for (size_t i = 0; i < watch->stream_count; i++) {
        const struct an_watched_stream *from = &watch->streams[i];
        struct an_recent_stream *to = recent_of(recent, from->stream_id);

        if (!to) {
            return out_of_memory(err);
        }
        for (int64_t k = 0; to->is_loaded && k < from->samples && k < AN_WATCHED_MEANS; k++) {
            to->means[to->next++ % AN_RECENT_MEANS] = from->means[k];
            to->count += to->count < AN_RECENT_MEANS;
        }
    }
    return AN_OK;
}

/* ---- units and stuck values --------------------------------------------------------------------- */
static bool varies(const struct an_watched_stream *stream, const struct an_recent_stream *recent)
{
    struct an_watched_stream seen = *stream;

    for (size_t i = 0; i < recent->count; i++) {
        see_mean(&seen, recent->means[i]);
    }
    return seen.distinct == sizeof seen.seen / sizeof seen.seen[0];
}

static void guess_unit(struct an_reading *reading, const struct an_watched_stream *stream,
                       const struct an_recent_stream *recent)
{
    const struct an_characteristic *of = reading->plan->quantities[stream->quantity].of;
    const size_t count =
        (size_t)(stream->samples < AN_WATCHED_MEANS ? stream->samples : AN_WATCHED_MEANS);
    const struct an_unit_guess guess = an_unit_guess(stream->means, count, stream->readings,
                                                     recent->means, recent->count, of->unit);

    if (!guess.what || reading->whole.reason != AN_HOLD_NO_REASON) {
        return;
    }
    if (reading->as_is) {
        an_note(&reading->notes, "unit.suspect", stream->first_line,
                "\"%s\" seems to be %s; a person took it as it is", of->name, guess.what);
        return;
    }
    (void)an_complain(&reading->whole, AN_HOLD_UNIT_SUSPECT, stream->first_line, 0, of->column,
                      "\"%s\" has the median %.6g %s in %" PRId64 " readings of this file, against "
                      "%.6g in the last %zu samples: %s",
                      of->name, guess.now, of->unit ? of->unit : "", stream->readings, guess.before,
                      recent->count, guess.what);
}

static enum an_status put_pinned(struct an_reading *reading, struct an_error *err)
{
    const struct an_watch *watch = &reading->watch;
    enum an_status st = AN_OK;

    for (size_t i = 0; !st && i < watch->pinned_count; i++) {
        const struct an_pinned *pinned = &watch->pinned[i];
        const struct an_watched_stream *stream =
            &watch->streams[watch->by_id[pinned->stream_id] - 1];

        if (stream->pinned) {
            st = an_store_put_suspect(reading->store, pinned->sample_id, "values.pinned",
                                      reading->file_id, err);
        }
    }
    return st;
}

enum an_status an_watch_streams(struct an_reading *reading, struct an_error *err)
{
    struct an_watch *watch = &reading->watch;
    enum an_status st = AN_OK;

    for (size_t i = 0; !st && i < watch->stream_count; i++) {
        struct an_watched_stream *stream = &watch->streams[i];
        struct an_recent_stream *recent = NULL;

        st = load_recent(reading, stream->stream_id, &recent, err);
        if (st) {
            return st;
        }
        guess_unit(reading, stream, recent);
        if (stream->pinned && !varies(stream, recent)) {
            stream->pinned = 0; /* a stream that never moves says nothing about its gauge */
        }
        if (stream->pinned) {
            an_note(&reading->notes, "values.pinned", stream->first_line,
                    "\"%s\" sticks at %.6g in %" PRId64 " samples, as a stuck or saturated gauge "
                    "makes them",
                    reading->plan->quantities[stream->quantity].of->name, stream->pinned_value,
                    stream->pinned);
        }
    }
    return reading->whole.reason == AN_HOLD_NO_REASON ? put_pinned(reading, err) : AN_OK;
}
