/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Judges a file as a whole. Must never ask the store per sample: what streams were lately is kept
 * from file to file, and read once a stream.
 */
#include "intake/watch.h"

#include "intake/reading.h"

#include <inttypes.h>
#include <math.h>
#include <string.h>

enum { MOST_MISSING = 1000, MOST_STREAMS = 4096 };

static const int64_t least_us = INT64_C(946684800000000); /* 2000-01-01T00:00:00Z */

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

/* ---- samples ------------------------------------------------------------------------------------ */
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

static enum an_status judge_streams(struct an_reading *reading, struct an_error *err)
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

/* ---- clocks and lateness ------------------------------------------------------------------------ */
struct span {
    char text[40];
};

static struct span say_span(int64_t us)
{
    struct span span;
    const double seconds = (double)us / 1e6;

    (void)snprintf(span.text, sizeof span.text, "%.3g %s",
                   seconds < 120      ? seconds
                   : seconds < 7200   ? seconds / 60
                   : seconds < 172800 ? seconds / 3600
                                      : seconds / 86400,
                   seconds < 120      ? "s"
                   : seconds < 7200   ? "min"
                   : seconds < 172800 ? "h"
                                      : "days");
    return span;
}

bool an_watch_items(struct an_reading *reading)
{
    const struct an_look *look = &reading->look;

    if (look->visits_before < 2 || 2 * look->visits_before <= look->visits) {
        return true;
    }
    return an_complain(&reading->whole, AN_HOLD_CLOCK, 0, 0, NULL,
                       "%" PRId64 " of %" PRId64 " items were here before they were made",
                       look->visits_before, look->visits);
}

static void judge_clock(struct an_reading *reading)
{
    const struct an_look *look = &reading->look;
    const int64_t tolerance_us = reading->plan->station->clock_tolerance_us;
    const int64_t now_us = an_clock_now_us();
    const int64_t ahead_us = reading->last_us == AN_NO_INSTANT ? 0 : reading->last_us - now_us;

    if (!tolerance_us || reading->plan->time == AN_NONE || reading->last_us == AN_NO_INSTANT) {
        return;
    }
    if (!reading->as_is && ahead_us > tolerance_us) {
        (void)an_complain(&reading->whole, AN_HOLD_CLOCK, 0, 0, NULL,
                          "its newest row lies %s in the future, %s are tolerated",
                          say_span(ahead_us).text, say_span(tolerance_us).text);
    } else if (!reading->as_is && reading->first_us < least_us) {
        (void)an_complain(&reading->whole, AN_HOLD_CLOCK, 0, 0, NULL,
                          "its oldest row is of before 2000, as a clock that lost its time tells");
    } else if (ahead_us > AN_SECOND_US) {
        an_note(&reading->notes, "clock.ahead", 0,
                "the station's clock is at least %s ahead of this machine's; times were kept as "
                "they came",
                say_span(ahead_us).text);
    }
    if (look->before_us > AN_SECOND_US) {
        an_note(&reading->notes, "clock.before", look->before_line,
                "an item was here up to %s before it was made by its station's clock: the clocks "
                "differ by as much; times were kept as they came",
                say_span(look->before_us).text);
    }
}

static enum an_status judge_lateness(struct an_reading *reading, struct an_error *err)
{
    const int64_t late_us = reading->plan->station->late_after_us;
    const int64_t earliest_us = reading->watch.earliest_us;
    int64_t until_us = AN_NO_INSTANT;
    const enum an_status st =
        an_store_station_until(reading->store, reading->plan->station->name, &until_us, err);

    if (!st && late_us && until_us != AN_NO_INSTANT && reading->watch.visits_put &&
        earliest_us < until_us - late_us) {
        an_note(&reading->notes, "rows.late", 0,
                "rows of up to %s before the station's newest came now; charts order them by "
                "their time, reports that were made stay as they are",
                say_span(until_us - earliest_us).text);
    }
    return st;
}

/* ---- header, machine, number -------------------------------------------------------------------- */
static struct an_bytes next_line(struct an_bytes *rest)
{
    const unsigned char *end = rest->length ? memchr(rest->at, '\n', rest->length) : NULL;
    struct an_bytes line = {rest->at, end ? (size_t)(end - rest->at) : rest->length};
    const size_t step = line.length + (end ? 1 : 0);

    rest->at += step;
    rest->length -= step;
    return line;
}

static size_t absent_in(const char *names, const char *others, struct an_bytes *first)
{
    struct an_bytes left = an_bytes_of(names);
    size_t absent = 0;

    while (left.length) {
        const struct an_bytes name = next_line(&left);
        struct an_bytes rest = an_bytes_of(others);
        bool found = false;

        while (!found && rest.length) {
            found = an_bytes_equal(next_line(&rest), name);
        }
        if (!found && absent++ == 0) {
            *first = name;
        }
    }
    return absent;
}

/* Against the newest file of the station: columns that moved, came, or went without being missed. */
static void compare_headers(struct an_reading *reading, const char *names, const char *before)
{
    struct an_notes *notes = &reading->notes;
    const uint64_t line = reading->header.line;
    struct an_bytes first = {NULL, 0};

    if (!before) {
        an_header_note_unused(&reading->header, reading->plan, notes);
        return;
    }
    const size_t gone = absent_in(before, names, &first);
    if (gone) {
        an_note(notes, "columns.gone", line,
                "%zu column%s of the station's last file not there any more, \"%s\" first; nothing "
                "was read from %s",
                gone, gone == 1 ? "" : "s", an_shown(first).text, gone == 1 ? "it" : "them");
    }
    if (absent_in(names, before, &first)) {
        an_header_note_unused(&reading->header, reading->plan, notes);
    } else if (!gone) {
        an_note(notes, "columns.moved", line,
                "the columns stand in another order than in the station's last file; they are "
                "found by name");
    }
}

static enum an_status judge_header(struct an_reading *reading, struct an_error *err)
{
    const struct an_header *header = &reading->header;
    struct an_text names = {0};
    const char *before = NULL;

    for (size_t i = 0; i < header->field_count; i++) {
        an_text_add_visible(&names, header->names[i], 256);
        an_text_add_char(&names, '\n');
    }
    reading->trait.names = an_arena_copy(header->arena, an_text_of(&names), names.length);
    const bool failed = names.failed || !reading->trait.names;
    an_text_free(&names);
    if (failed) {
        return out_of_memory(err);
    }
    const enum an_status st = an_store_newest_header(reading->store, reading->plan->station->name,
                                                     header->arena, &before, err);
    if (!st && before && strcmp(before, reading->trait.names) == 0) {
        reading->trait.names = NULL; /* an earlier file told it */
    } else if (!st) {
        compare_headers(reading, reading->trait.names, before);
    }
    return st;
}

static enum an_status read_identity(struct an_reading *reading, struct an_error *err)
{
    const struct an_plan *plan = reading->plan;
    struct an_arena *arena = reading->header.arena;
    bool failed = false;

    if (plan->identity != AN_NONE && reading->preamble_found[plan->identity]) {
        reading->trait.identity =
            an_arena_printf(arena, "%s", an_text_of(&reading->preamble[plan->identity]));
        failed = !reading->trait.identity;
    } else if (plan->identity_is_tool) {
        reading->trait.identity = an_words_join(&reading->watch.tools, arena, &failed);
    }
    return failed ? out_of_memory(err) : AN_OK;
}

static enum an_status judge_identity(struct an_reading *reading, struct an_error *err)
{
    bool known = true;
    const char *usual = NULL;
    enum an_status st = read_identity(reading, err);

    if (!st && !reading->trait.identity && reading->plan->station->identity_column) {
        an_note(&reading->notes, "identity.missing", 0,
                "the file does not name its machine (\"%s\"): whether it is the station's own "
                "cannot be told",
                reading->plan->station->identity_column);
    }
    if (st || !reading->trait.identity) {
        return st;
    }
    st = an_store_identity(reading->store, reading->plan->station->name, reading->trait.identity,
                           reading->header.arena, &known, &usual, err);
    if (st || known || !usual) {
        return st;
    }
    if (reading->as_is) {
        an_note(&reading->notes, "station.identity", 0,
                "the machine is \"%s\" now, \"%s\" before; a person confirmed it",
                an_shown(an_bytes_of(reading->trait.identity)).text,
                an_shown(an_bytes_of(usual)).text);
    } else {
        (void)an_complain(&reading->whole, AN_HOLD_STATION_IDENTITY, 0, 0,
                          reading->plan->station->identity_column,
                          "the file comes from \"%s\", the station's files so far from \"%s\"",
                          an_shown(an_bytes_of(reading->trait.identity)).text,
                          an_shown(an_bytes_of(usual)).text);
    }
    return AN_OK;
}

enum an_status an_watch_file(struct an_reading *reading, struct an_error *err)
{
    if (reading->only) { /* rows that were held: all else was told with the file, blanks too */
        reading->counts.rows -= reading->passed + reading->counts.blank;
        reading->counts.blank = 0;
        return AN_OK;
    }
    enum an_status st = an_look_put_waiting(&reading->finish, err);

    st = st ? st : judge_header(reading, err);

    st = st ? st : judge_identity(reading, err);
    if (st || reading->whole.reason != AN_HOLD_NO_REASON) {
        return st;
    }
    judge_clock(reading);
    if (reading->whole.reason != AN_HOLD_NO_REASON) {
        return AN_OK;
    }
    st = judge_lateness(reading, err);
    return st ? st : judge_streams(reading, err);
}

/* ---- keeping ------------------------------------------------------------------------------------ */
static enum an_status read_number(struct an_reading *reading, struct an_error *err)
{
    const struct an_plan *plan = reading->plan;
    struct an_bytes text = {NULL, 0};
    struct an_text name = {0};

    reading->trait.has_number = false;
    if (plan->file_number.is_set) {
        (void)an_source_safe_name(reading->source->path, &name);
        if (!name.failed) {
            (void)an_pattern_group(&plan->file_number, an_text_of(&name), &text);
        }
    } else if (plan->number != AN_NONE) {
        text =
            (struct an_bytes){(const unsigned char *)an_text_of(&reading->preamble[plan->number]),
                              reading->preamble[plan->number].length};
    }
    if (text.length) {
        reading->trait.has_number =
            an_integer_parse(text, &reading->trait.number) == AN_OK && reading->trait.number >= 0;
    }
    const bool failed = name.failed;
    an_text_free(&name);
    return failed ? out_of_memory(err) : AN_OK;
}

static enum an_status judge_number(struct an_reading *reading, int64_t file_id,
                                   const struct an_sha256 *hash, struct an_error *err)
{
    const char *station = reading->plan->station->name;
    const int64_t number = reading->trait.number;
    int64_t greatest = 0;
    bool any = false;
    bool came = false;
    enum an_status st =
        an_store_file_numbers(reading->store, station, number, hash, &any, &greatest, &came, err);

    if (st || !any) {
        return st;
    }
    if (came) {
        an_note(&reading->notes, "sequence.again", 0,
                "file number %" PRId64 " was there before with other bytes", number);
    }
    if (number > greatest + 1) {
        const int64_t missing = number - greatest - 1;

        an_note(&reading->notes, "sequence.gap", 0,
                "file number %" PRId64 " after %" PRId64 ": %" PRId64 " missing; nothing is said "
                "about what they held",
                number, greatest, missing);
        for (int64_t i = 1; !st && i <= missing && i <= MOST_MISSING; i++) {
            st = an_store_put_missing_file(reading->store, station, number - i, file_id, err);
        }
    }
    return st;
}

enum an_status an_watch_keep(struct an_reading *reading, int64_t file_id,
                             const struct an_sha256 *hash, struct an_error *err)
{
    struct an_file_trait *trait = &reading->trait;
    enum an_status st = read_number(reading, err);

    trait->file_id = file_id;
    trait->station = reading->plan->station->name;
    if (!st && trait->has_number) {
        st = judge_number(reading, file_id, hash, err);
    }
    if (st || (!trait->names && !trait->identity && !trait->has_number)) {
        return st;
    }
    return an_store_put_trait(reading->store, trait, err);
}
