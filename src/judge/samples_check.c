/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Makes samples again from their readings, each by the line description that read its file: units,
 * columns and splits may have been others then. Must never judge a sample by another one.
 */
#include "judge/samples_check.h"

#include "andamento/stat/moments.h"
#include "judge/readings.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SAMPLES_A_TIME = 64, MOST_FINDINGS = 20 };

struct described { /* a line description of the store */
    int64_t revision;
    struct an_line *line; /* NULL: not there, or this program cannot read it */
};

struct checking {
    struct an_store *store;
    struct described *lines; /* those that were wanted so far */
    size_t line_count, line_room;
    an_finding *finding;
    void *context;
    struct an_samples_check *counts;
    struct an_arena *arena; /* of one stream */
    size_t told;
    int64_t file_id, file_revision; /* the last one asked for */
};

static enum an_status out_of_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "making samples again: memory ran out");
}

static int by_file(const void *a, const void *b)
{
    const struct an_sample *one = a;
    const struct an_sample *other = b;

    if (one->file_id != other->file_id) {
        return one->file_id < other->file_id ? -1 : 1;
    }
    return (one->sample_id > other->sample_id) - (one->sample_id < other->sample_id);
}

static const char *wrong_of(const struct an_sample *sample, const struct an_moments *again)
{
    const double size = fmax(fabs(again->min), fabs(again->max));
    const double near = 1e-12 * size;

    if (sample->n != again->n) {
        return "number of readings";
    }
    if (again->n == 0) {
        return NULL;
    }
    if (!(fabs(sample->mean - again->mean) <= near)) {
        return "mean";
    }
    if (!(fabs(sample->min - again->min) <= near) || !(fabs(sample->max - again->max) <= near)) {
        return "range";
    }
    const double rest = 1e-9 * again->ssd + 4 * near * sqrt((double)again->n * again->ssd) +
                        (double)again->n * near * near;
    return fabs(sample->ssd - again->ssd) <= rest ? NULL : "sum of squared deviations";
}

static void compare(struct checking *c, const struct an_stream *stream,
                    const struct an_sample *sample, const double value[], size_t n)
{
    struct an_moments again = {0};
    char text[300];
    const char *wrong = NULL;

    if (n > 0 && an_moments_of(value, n, &again)) {
        return;
    }
    c->counts->again++;
    wrong = wrong_of(sample, &again);
    if (wrong && c->told++ < MOST_FINDINGS) {
        (void)snprintf(text, sizeof text,
                       "sample %" PRId64 " of %s (file %" PRId64 ", lines %" PRIu64 " to %" PRIu64
                       "): its %s is not that of its readings",
                       sample->sample_id, stream->name, sample->file_id, sample->first_line,
                       sample->last_line, wrong);
        c->finding(c->context, text);
    }
}

static void no_mistake(void *context, const char *path, uint64_t line, uint64_t column,
                       const char *text)
{
    (void)context, (void)path, (void)line, (void)column, (void)text;
}

/* NULL where the store has no such description, or one that this program does not read. */
static enum an_status line_of(struct checking *c, int64_t revision, const struct an_line **line,
                              struct an_error *err)
{
    struct an_line_revision text = {0};
    void *lines = c->lines;

    for (size_t i = 0; i < c->line_count; i++) {
        if (c->lines[i].revision == revision) {
            *line = c->lines[i].line;
            return AN_OK;
        }
    }
    if (!an_grow(&lines, c->line_count, &c->line_room, sizeof *c->lines)) {
        return out_of_memory(err);
    }
    c->lines = lines;
    struct described *one = &c->lines[c->line_count];
    *one = (struct described){.revision = revision};
    enum an_status st = an_store_line_of(c->store, revision, c->arena, &text, err);
    st = st ? st
            : an_line_read(text.yaml, "line description in the store", text.folder, no_mistake,
                           NULL, &one->line, err);
    if (st == AN_NOT_FOUND || st == AN_BAD_CONFIG) {
        *err = (struct an_error){0};
        st = AN_OK;
    }
    c->line_count += st ? 0 : 1;
    *line = st ? NULL : one->line;
    return st;
}

static enum an_status revision_of(struct checking *c, int64_t file_id, int64_t *revision,
                                  struct an_error *err)
{
    struct an_file file;
    enum an_status st = AN_OK;

    if (file_id != c->file_id) {
        st = an_store_file(c->store, file_id, c->arena, &file, err);
        c->file_id = st ? 0 : file_id;
        c->file_revision = st ? 0 : file.line_revision;
    }
    *revision = c->file_revision;
    return st;
}

/* Samples of whole files. */
static enum an_status check_some(struct checking *c, const struct an_stream *stream,
                                 const struct an_characteristic *characteristic,
                                 const struct an_sample *samples, size_t count,
                                 struct an_error *err)
{
    struct an_arena *arena = an_arena_open();
    struct an_site_readings readings = {0};
    enum an_status st = arena ? an_site_readings_of(c->store, stream, characteristic, samples,
                                                    count, NULL, arena, &readings, err)
                              : out_of_memory(err);

    for (size_t i = 0; !st && i < count; i++) {
        if (readings.dropped[i]) {
            c->counts->dropped++;
        } else {
            compare(c, stream, &samples[i], readings.value + readings.first[i],
                    readings.first[i + 1] - readings.first[i]);
        }
    }
    if (st == AN_NOT_FOUND) { /* a file without the column: its digest tells if it was there */
        c->counts->earlier += (int64_t)count;
        *err = (struct an_error){0};
        st = AN_OK;
    }
    an_arena_close(arena);
    return st;
}

static enum an_status check_measured(struct checking *c, const struct an_stream *stream,
                                     const struct an_characteristic *characteristic,
                                     struct an_sample *samples, size_t count, struct an_error *err)
{
    enum an_status st = AN_OK;

    qsort(samples, count, sizeof *samples, by_file);
    for (size_t from = 0; !st && from < count;) {
        size_t until = from;

        while (until < count && (until - from < SAMPLES_A_TIME ||
                                 samples[until].file_id == samples[until - 1].file_id)) {
            until++;
        }
        st = check_some(c, stream, characteristic, samples + from, until - from, err);
        from = until;
    }
    return st;
}

/* Samples of files that one description read. */
static enum an_status check_under(struct checking *c, const struct an_stream *stream,
                                  int64_t revision, struct an_sample *samples, size_t count,
                                  struct an_error *err)
{
    const struct an_line *line = NULL;
    const struct an_station *station = NULL;
    const struct an_characteristic *of = NULL;
    const char *purpose = NULL;
    const enum an_status st = line_of(c, revision, &line, err);

    if (st) {
        return st;
    }
    if (!line || !an_judge_resolve(line, stream, &station, &of, &purpose, c->arena)) {
        c->counts->earlier += (int64_t)count;
    } else if (of->kind == AN_COUNTED) {
        c->counts->counted += (int64_t)count;
    } else if (of->kind != AN_MEASURED) {
        c->counts->derived += (int64_t)count;
    } else {
        return check_measured(c, stream, of, samples, count, err);
    }
    return AN_OK;
}

/* All samples of a stream, one description after the other. */
static enum an_status check_all(struct checking *c, const struct an_stream *stream,
                                const struct an_sample *samples, size_t count, struct an_error *err)
{
    int64_t *revision = an_arena_alloc(c->arena, count + 1, sizeof *revision);
    struct an_sample *some = an_arena_alloc(c->arena, count + 1, sizeof *some);
    enum an_status st = revision && some ? AN_OK : out_of_memory(err);

    for (size_t i = 0; !st && i < count; i++) {
        st = revision_of(c, samples[i].file_id, &revision[i], err);
    }
    for (int64_t last = INT64_MIN; !st;) {
        int64_t next = INT64_MAX;
        size_t chosen = 0;

        for (size_t i = 0; i < count; i++) {
            next = revision[i] > last && revision[i] < next ? revision[i] : next;
        }
        if (next == INT64_MAX) {
            break;
        }
        for (size_t i = 0; i < count; i++) {
            if (revision[i] == next) {
                some[chosen++] = samples[i];
            }
        }
        st = check_under(c, stream, next, some, chosen, err);
        last = next;
    }
    return st;
}

static enum an_status check_stream(struct checking *c, const struct an_stream *stream,
                                   struct an_error *err)
{
    struct an_sample *samples = NULL;
    size_t count = 0;

    c->file_id = 0;
    c->arena = an_arena_open();
    enum an_status st = c->arena ? an_store_samples(c->store, stream->stream_id, INT64_MIN + 1,
                                                    INT64_MAX, 0, c->arena, &samples, &count, err)
                                 : out_of_memory(err);
    st = st ? st : check_all(c, stream, samples, count, err);
    an_arena_close(c->arena);
    return st;
}

enum an_status an_samples_check(struct an_store *store, an_finding *finding, void *context,
                                struct an_samples_check *counts, struct an_error *err)
{
    struct checking c = {.store = store, .finding = finding, .context = context, .counts = counts};
    struct an_arena *arena = an_arena_open();
    struct an_stream *streams = NULL;
    size_t count = 0;
    enum an_status st =
        arena ? an_store_streams(store, arena, &streams, &count, err) : out_of_memory(err);

    *counts = (struct an_samples_check){0};
    for (size_t i = 0; !st && i < count; i++) {
        st = check_stream(&c, &streams[i], err);
    }
    for (size_t i = 0; i < c.line_count; i++) {
        an_line_close(c.lines[i].line);
    }
    an_free(c.lines);
    an_arena_close(arena);
    return st;
}
