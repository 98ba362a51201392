/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Makes samples again from their readings. Must never say that a sample is wrong which another line
 * description made: units and splits may have been others then.
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

struct checking {
    struct an_store *store;
    struct an_line *line;
    int64_t revision;
    an_finding *finding;
    void *context;
    struct an_samples_check *counts;
    struct an_arena *arena; /* of one stream */
    size_t told;
    int64_t file_id, file_revision; /* the last one asked for */
};

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

/* Was the file read by the description in force? */
static enum an_status is_of_revision(struct checking *c, int64_t file_id, bool *is,
                                     struct an_error *err)
{
    struct an_file file;
    enum an_status st = AN_OK;

    if (file_id != c->file_id) {
        st = an_store_file(c->store, file_id, c->arena, &file, err);
        c->file_id = file_id;
        c->file_revision = st ? 0 : file.line_revision;
    }
    *is = c->file_revision == c->revision;
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
                              : an_fail(err, AN_NO_MEMORY, "making samples again: memory ran out");

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
    size_t kept = 0;
    enum an_status st = AN_OK;

    for (size_t i = 0; !st && i < count; i++) {
        bool is = false;

        st = is_of_revision(c, samples[i].file_id, &is, err);
        if (is) {
            samples[kept++] = samples[i];
        } else {
            c->counts->earlier++;
        }
    }
    qsort(samples, kept, sizeof *samples, by_file);
    for (size_t from = 0; !st && from < kept;) {
        size_t until = from;

        while (until < kept && (until - from < SAMPLES_A_TIME ||
                                samples[until].file_id == samples[until - 1].file_id)) {
            until++;
        }
        st = check_some(c, stream, characteristic, samples + from, until - from, err);
        from = until;
    }
    return st;
}

static enum an_status check_stream(struct checking *c, const struct an_stream *stream,
                                   struct an_error *err)
{
    const struct an_station *station = NULL;
    const struct an_characteristic *of = NULL;
    const char *purpose = NULL;
    struct an_sample *samples = NULL;
    size_t count = 0;
    enum an_status st = AN_OK;

    c->file_id = 0;
    c->arena = an_arena_open();
    if (!c->arena) {
        return an_fail(err, AN_NO_MEMORY, "making samples again: memory ran out");
    }
    const bool known = an_judge_resolve(c->line, stream, &station, &of, &purpose, c->arena);
    if (!known || of->kind != AN_MEASURED) {
        *(!known                   ? &c->counts->earlier
          : of->kind == AN_COUNTED ? &c->counts->counted
                                   : &c->counts->derived) += stream->samples;
        an_arena_close(c->arena);
        return AN_OK;
    }
    st = an_store_samples(c->store, stream->stream_id, INT64_MIN + 1, INT64_MAX, 0, c->arena,
                          &samples, &count, err);
    st = st ? st : check_measured(c, stream, of, samples, count, err);
    an_arena_close(c->arena);
    return st;
}

static void no_mistake(void *context, const char *path, uint64_t line, uint64_t column,
                       const char *text)
{
    (void)context, (void)path, (void)line, (void)column, (void)text;
}

enum an_status an_samples_check(struct an_store *store, an_finding *finding, void *context,
                                struct an_samples_check *counts, struct an_error *err)
{
    struct checking c = {.store = store, .finding = finding, .context = context, .counts = counts};
    struct an_arena *arena = an_arena_open();
    struct an_line_revision revision = {0};
    struct an_stream *streams = NULL;
    size_t count = 0;
    enum an_status st = arena ? an_store_line(store, arena, &revision, err)
                              : an_fail(err, AN_NO_MEMORY, "making samples again: memory ran out");

    *counts = (struct an_samples_check){0};
    if (st == AN_NOT_FOUND) {
        *err = (struct an_error){0};
        an_arena_close(arena);
        return AN_OK;
    }
    c.revision = revision.revision;
    st = st ? st
            : an_line_read(revision.yaml, "line description in the store", revision.folder,
                           no_mistake, NULL, &c.line, err);
    st = st ? st : an_store_streams(store, arena, &streams, &count, err);
    for (size_t i = 0; !st && i < count; i++) {
        st = check_stream(&c, &streams[i], err);
    }
    an_line_close(c.line);
    an_arena_close(arena);
    return st;
}
