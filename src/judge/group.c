/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Heads, zones or sides side by side: one chart of the one that stands furthest from its own level.
 *
 * Must never hold one member against another's level: each is standardised by its own mean and
 * sigma, so heads that differ by nature do not signal. Members are paired with the group's sample by
 * visit, as in second.c.
 */
#include "judge/group.h"

#include "andamento/stat/short_run.h"
#include "judge/stream_split.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define A_DAY_US (INT64_C(86400) * 1000000)

static int by_visit(const void *a, const void *b)
{
    const int64_t x = ((const struct an_sample *)a)->visit_id;
    const int64_t y = ((const struct an_sample *)b)->visit_id;

    return (x > y) - (x < y);
}

static bool same_text(const char *a, const char *b)
{
    return a == b || (a && b && strcmp(a, b) == 0);
}

/* Is the member's split the group's with something added? */
static enum an_status is_member(const struct an_stream *member, const struct an_split *group,
                                struct an_arena *arena, bool *is)
{
    struct an_split split = {0};
    const enum an_status st = an_split_of(member->split, NULL, arena, &split);

    *is = !st && same_text(split.purpose, group->purpose) && split.count > group->count;
    for (size_t i = 0; *is && i < group->count; i++) {
        *is = same_text(an_split_value(&split, group->parts[i].column), group->parts[i].value);
    }
    return st;
}

static enum an_status list_members(struct an_store *store, const struct an_stream *stream,
                                   const struct an_characteristic *characteristic,
                                   struct an_arena *arena, struct an_stream **members,
                                   size_t *count, struct an_error *err)
{
    struct an_stream *all = NULL;
    struct an_split split = {0};
    size_t all_count = 0;
    enum an_status st = an_store_streams(store, arena, &all, &all_count, err);

    *count = 0;
    if (!st && an_split_of(stream->split, NULL, arena, &split)) {
        st = an_fail(err, AN_NO_MEMORY, "out of memory while judging");
    }
    for (size_t i = 0; !st && i < all_count; i++) {
        bool is = false;
        if (strcmp(all[i].station, stream->station) == 0 &&
            same_text(all[i].characteristic, characteristic->of_name[0])) {
            st = is_member(&all[i], &split, arena, &is)
                     ? an_fail(err, AN_NO_MEMORY, "out of memory while judging")
                     : AN_OK;
        }
        if (is) {
            all[(*count)++] = all[i];
        }
    }
    *members = all;
    return st;
}

/* The value of every sample of the group in one member, NAN where it has none. */
static enum an_status values_of(struct an_store *store, int64_t member_id,
                                const struct an_sample samples[], size_t count, double values[],
                                struct an_arena *arena, struct an_error *err)
{
    struct an_sample *found = NULL;
    size_t found_count = 0;
    const int64_t first = samples[0].at_us;
    const int64_t last = samples[count - 1].at_us;
    const enum an_status st = an_store_samples(
        store, member_id, first < INT64_MIN + A_DAY_US ? first : first - A_DAY_US,
        last > INT64_MAX - A_DAY_US ? last : last + A_DAY_US, 0, arena, &found, &found_count, err);

    if (st) {
        return st;
    }
    if (found_count) {
        qsort(found, found_count, sizeof *found, by_visit);
    }
    for (size_t i = 0; i < count; i++) {
        const struct an_sample *one =
            found_count ? bsearch(&samples[i], found, found_count, sizeof *found, by_visit) : NULL;
        values[i] = one && one->n > 0 ? one->mean : (double)NAN;
    }
    return AN_OK;
}

/* One member as a product of its own: mean and moving ranges of its samples in the baseline. */
static enum an_status learn_member(const struct an_baseline *b, const struct an_stream *member,
                                   double values[], bool excluded[], size_t product[],
                                   struct an_arena *arena, struct an_product *learned,
                                   struct an_error *err)
{
    size_t bad = 0;
    enum an_status st =
        values_of(b->store, member->stream_id, b->samples, b->count, values, arena, err);

    if (st) {
        return st;
    }
    for (size_t i = 0; i < b->count; i++) {
        excluded[i] = b->charted[i].excluded || isnan(values[i]);
        product[i] = 0;
    }
    *learned = (struct an_product){(double)NAN, (double)NAN, 0, 0};
    st = an_short_run_learn(values, product, b->count, excluded, learned, 1, &bad);
    if (st == AN_TOO_FEW) {
        return an_fail(err, st,
                       "%s has %.0f usable samples in the baseline of %s: too few to learn its own "
                       "level; take a longer baseline",
                       member->name, learned->samples, b->stream->name);
    }
    return st ? an_fail(
                    err, st,
                    st == AN_NO_SPREAD
                        ? "all samples of %s in the baseline of %s are equal: is its gauge stuck?"
                        : "one of the samples of %s in the baseline of %s is no number",
                    member->name, b->stream->name)
              : AN_OK;
}

enum an_status an_learn_group(const struct an_baseline *b, struct an_limits *limits,
                              struct an_arena *arena, struct an_error *err)
{
    struct an_stream *members = NULL;
    size_t count = 0;
    double *values = an_arena_alloc(arena, b->count + 1, sizeof *values);
    bool *excluded = an_arena_alloc(arena, b->count + 1, sizeof *excluded);
    size_t *product = an_arena_alloc(arena, b->count + 1, sizeof *product);
    enum an_status st =
        list_members(b->store, b->stream, b->characteristic, arena, &members, &count, err);

    if (st) {
        return st;
    }
    if (count < 2) {
        return an_fail(err, AN_TOO_FEW, "%s gathers %zu stream%s of %s: at least 2 are needed",
                       b->stream->name, count, count == 1 ? "" : "s",
                       b->characteristic->of_name[0]);
    }
    limits->products = an_arena_alloc(arena, count, sizeof *limits->products);
    if (!values || !excluded || !product || !limits->products) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while learning limits");
    }
    for (size_t m = 0; !st && m < count; m++) {
        struct an_product learned;
        st = learn_member(b, &members[m], values, excluded, product, arena, &learned, err);
        limits->products[m] = (struct an_product_baseline){.name = members[m].split,
                                                           .target = learned.target,
                                                           .sigma = learned.sigma,
                                                           .samples = learned.samples};
    }
    limits->product_count = count;
    st = st ? st
            : an_group_fill(b->store, b->stream, b->characteristic, limits, b->samples, b->count,
                            NULL, b->charted, NULL, arena, err);
    if (st) {
        return st;
    }
    limits->model.samples = b->usable;
    limits->model.n_nominal = (double)count;
    limits->model.centre = 0;
    limits->model.sigma_level = an_group_limit((double)count, limits->model.k) / limits->model.k;
    return AN_OK;
}

enum an_status an_group_fill(struct an_store *store, const struct an_stream *stream,
                             const struct an_characteristic *characteristic,
                             const struct an_limits *limits, const struct an_sample samples[],
                             size_t count, const bool use[], struct an_chart_sample charted[],
                             size_t members[], struct an_arena *arena, struct an_error *err)
{
    struct an_stream *streams = NULL;
    size_t stream_count = 0;
    const size_t known = limits->product_count;
    double *z = an_arena_alloc(arena, count * known + 1, sizeof *z);
    double *values = an_arena_alloc(arena, count + 1, sizeof *values);
    double *row = an_arena_alloc(arena, known + 1, sizeof *row);
    enum an_status st =
        list_members(store, stream, characteristic, arena, &streams, &stream_count, err);

    if (!st && (!z || !values || !row)) {
        st = an_fail(err, AN_NO_MEMORY, "out of memory while judging");
    }
    for (size_t m = 0; !st && m < known; m++) {
        const struct an_product own = {limits->products[m].target, limits->products[m].sigma, 0, 0};
        size_t s = 0;
        while (s < stream_count && strcmp(streams[s].split, limits->products[m].name) != 0) {
            s++;
        }
        if (s < stream_count && count > 0) {
            st = values_of(store, streams[s].stream_id, samples, count, values, arena, err);
        }
        for (size_t i = 0; !st && i < count; i++) {
            z[i * known + m] =
                s < stream_count ? an_short_run_scaled(&own, values[i]) : (double)NAN;
        }
    }
    for (size_t i = 0; !st && i < count; i++) {
        if (use && !use[i]) {
            continue;
        }
        memcpy(row, &z[i * known], known * sizeof *row);
        const struct an_group_point point = an_group_extremes(row, known);
        const bool up = point.up >= -point.down;
        charted[i].n = point.known;
        charted[i].mean = up ? point.up : point.down;
        if (members) {
            members[i] = point.known > 0 ? (up ? point.highest : point.lowest) : AN_NONE;
        }
    }
    return st;
}
