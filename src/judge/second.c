/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The partners of a sample of several variables, found in the partners' own streams.
 *
 * Must never pair values of two visits: an item measured twice has two samples in each stream. The
 * stream of them together has samples of its own, so what is new, late or left out is known of them; the
 * partners' are read for the same stretch of time only. Readings inside samples are paired by their
 * rows: a row that lacks one of the variables is none.
 */
#include "judge/learn_other.h"
#include "judge/readings.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define A_DAY_US (INT64_C(86400) * 1000000) /* a visit's rows of both need not end at one moment */

struct pairing {
    struct an_store *store;
    const struct an_stream *stream;
    const struct an_characteristic *characteristic;
    const struct an_sample *samples;
    size_t count, p;
    struct an_arena *arena;
    struct an_error *err;
    /* of variable j: its stream, its samples beside ours and whether there is one; readings inside */
    struct an_stream partner[AN_JOINT_MOST];
    struct an_sample *matched[AN_JOINT_MOST];
    bool *found[AN_JOINT_MOST];
    struct an_site_readings readings[AN_JOINT_MOST];
};

static int by_visit(const void *a, const void *b)
{
    const int64_t x = ((const struct an_sample *)a)->visit_id;
    const int64_t y = ((const struct an_sample *)b)->visit_id;

    return (x > y) - (x < y);
}

static int64_t apart(int64_t at_us, int64_t by_us)
{
    if (by_us < 0) {
        return at_us < INT64_MIN - by_us ? INT64_MIN : at_us + by_us;
    }
    return at_us > INT64_MAX - by_us ? INT64_MAX : at_us + by_us;
}

static enum an_status no_memory(const struct pairing *pair)
{
    return an_fail(pair->err, AN_NO_MEMORY, "out of memory while judging");
}

static enum an_status match(struct pairing *pair, size_t j)
{
    const struct an_stream *stream = pair->stream;
    struct an_sample *others = NULL;
    size_t other_count = 0;
    const char *name =
        an_arena_printf(pair->arena, "%s.%s%s%s", stream->station, pair->characteristic->of_name[j],
                        stream->split[0] ? "@" : "", stream->split);
    pair->matched[j] = an_arena_alloc(pair->arena, pair->count, sizeof *pair->matched[j]);
    pair->found[j] = an_arena_alloc(pair->arena, pair->count, sizeof *pair->found[j]);
    if (!name || !pair->matched[j] || !pair->found[j]) {
        return no_memory(pair);
    }
    enum an_status st =
        an_store_find_stream(pair->store, name, pair->arena, &pair->partner[j], pair->err);
    if (st == AN_NOT_FOUND) {
        return an_fail(pair->err, AN_NOT_FOUND,
                       "%s is judged together with %s, and the store has no such stream yet",
                       stream->name, name);
    }
    st = st ? st
            : an_store_samples(pair->store, pair->partner[j].stream_id,
                               apart(pair->samples[0].at_us, -A_DAY_US),
                               apart(pair->samples[pair->count - 1].at_us, A_DAY_US), 0,
                               pair->arena, &others, &other_count, pair->err);
    if (st) {
        return st;
    }
    if (other_count) {
        qsort(others, other_count, sizeof *others, by_visit);
    }
    for (size_t i = 0; i < pair->count; i++) {
        const struct an_sample *found =
            other_count ? bsearch(&pair->samples[i], others, other_count, sizeof *others, by_visit)
                        : NULL;
        pair->found[j][i] = found && found->n > 0;
        pair->matched[j][i] = pair->found[j][i] ? *found : pair->samples[i];
    }
    return AN_OK;
}

static double *variable_of(struct an_chart_sample *sample, size_t j)
{
    return j == 0 ? &sample->mean : j == 1 ? &sample->second : &sample->further[j - 2];
}

bool an_has_all(const struct an_chart_sample *sample, size_t p)
{
    double x[AN_JOINT_MOST];

    an_chart_vector(sample, p, x);
    for (size_t j = 0; j < p; j++) {
        if (!isfinite(x[j])) {
            return false;
        }
    }
    return true;
}

/* The rows of sample i that every variable has: values[r * p + j]. Returns how many. */
static size_t rows_of(const struct pairing *pair, size_t i, double values[])
{
    const size_t p = pair->p;
    size_t at[AN_JOINT_MOST] = {0};
    size_t n = 0;

    for (size_t j = 0; j < p; j++) {
        at[j] = pair->readings[j].first[i];
    }
    for (; at[0] < pair->readings[0].first[i + 1]; at[0]++) {
        const uint64_t line = pair->readings[0].line[at[0]];
        bool all = true;
        for (size_t j = 1; j < p; j++) {
            const struct an_site_readings *r = &pair->readings[j];
            while (at[j] < r->first[i + 1] && r->line[at[j]] < line) {
                at[j]++;
            }
            all = all && at[j] < r->first[i + 1] && r->line[at[j]] == line;
        }
        for (size_t j = 0; all && j < p; j++) {
            values[n * p + j] = pair->readings[j].value[at[j]];
        }
        n += all;
    }
    return n;
}

/* Means of the rows that are whole, and the sums of products of what departs from them. */
static void take_rows(const double values[], size_t n, size_t p, struct an_chart_sample *sample,
                      double cross[])
{
    sample->n = (double)n;
    for (size_t j = 0; j < p; j++) {
        double mean = n ? 0 : (double)NAN;
        for (size_t r = 0; r < n; r++) {
            mean += (values[r * p + j] - mean) / (double)(r + 1);
        }
        *variable_of(sample, j) = mean;
    }
    double x[AN_JOINT_MOST];
    an_chart_vector(sample, p, x);
    for (size_t a = 0; cross && a < p; a++) {
        for (size_t b = 0; b < p; b++) {
            double sum = 0;
            for (size_t r = 0; r < n; r++) {
                sum += (values[r * p + a] - x[a]) * (values[r * p + b] - x[b]);
            }
            cross[a * p + b] = sum;
        }
    }
}

static enum an_status pair_inside(struct pairing *pair, struct an_chart_sample charted[],
                                  double cross[], bool dropped[])
{
    const size_t p = pair->p;
    bool *wanted = an_arena_alloc(pair->arena, pair->count, sizeof *wanted);
    size_t most = 0;
    enum an_status st = match(pair, 0);

    if (!st && !wanted) {
        return no_memory(pair);
    }
    for (size_t i = 0; !st && i < pair->count; i++) {
        wanted[i] = true;
        for (size_t j = 0; j < p; j++) {
            wanted[i] = wanted[i] && pair->found[j][i];
        }
    }
    for (size_t j = 0; !st && j < p; j++) {
        st = an_site_readings_of(pair->store, &pair->partner[j], pair->characteristic->source[j],
                                 pair->matched[j], pair->count, wanted, pair->arena,
                                 &pair->readings[j], pair->err);
    }
    for (size_t i = 0; !st && dropped && i < pair->count; i++) {
        for (size_t j = 0; j < p; j++) {
            dropped[i] = dropped[i] || pair->readings[j].dropped[i];
        }
    }
    for (size_t i = 0; !st && i < pair->count; i++) {
        const size_t n = pair->readings[0].first[i + 1] - pair->readings[0].first[i];
        most = n > most ? n : most;
    }
    double *values = st ? NULL : an_arena_alloc(pair->arena, most * p + 1, sizeof *values);
    if (!st && !values) {
        return no_memory(pair);
    }
    for (size_t i = 0; !st && i < pair->count; i++) {
        take_rows(values, rows_of(pair, i, values), p, &charted[i],
                  cross ? cross + i * p * p : NULL);
    }
    return st;
}

enum an_status an_second_of(struct an_store *store, const struct an_stream *stream,
                            const struct an_characteristic *characteristic,
                            const struct an_sample samples[], size_t count, bool inside,
                            struct an_chart_sample charted[], double cross[], bool dropped[],
                            struct an_arena *arena, struct an_error *err)
{
    if (characteristic->derivation != AN_DERIVE_TOGETHER || count == 0) {
        return AN_OK;
    }
    struct pairing *pair = an_arena_alloc(arena, 1, sizeof *pair);
    if (!pair) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while judging");
    }
    *pair = (struct pairing){.store = store,
                             .stream = stream,
                             .characteristic = characteristic,
                             .samples = samples,
                             .count = count,
                             .p = characteristic->of_count,
                             .arena = arena,
                             .err = err};
    enum an_status st = AN_OK;
    for (size_t j = 1; !st && j < pair->p; j++) {
        st = match(pair, j);
        for (size_t i = 0; !st && i < count; i++) {
            *variable_of(&charted[i], j) =
                pair->found[j][i] ? pair->matched[j][i].mean : (double)NAN;
        }
    }
    return st || !inside ? st : pair_inside(pair, charted, cross, dropped);
}
