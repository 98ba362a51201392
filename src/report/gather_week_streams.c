/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Each stream of a week against the week before: is it stable, what can it hold, has its level
 * moved. Responsible for calling a difference one only beyond noise; never judges points anew.
 *
 * Its one hard idea: on hundreds of streams chance alone moves some. Differences are marked at
 * three standard errors and more, and samples that follow each other are not taken for independent:
 * the standard error of a mean is widened by sqrt((1 + r) / (1 - r)) of the lag-1 correlation r (the
 * variance of a mean of an AR(1) sequence; Box, Jenkins, Reinsel, Time Series Analysis, 1994,
 * section 2.1, from memory).
 */
#include "report/gather.h"
#include "report/week_data.h"

#include <math.h>
#include <stdlib.h>

#define BEYOND_NOISE 3.0
#define Z_95 1.959963984540054 /* half width of a 95 % interval, in standard errors */

static const struct an_index no_index = {(double)NAN, (double)NAN, (double)NAN};

static enum an_status no_memory(const struct an_gather *gather)
{
    return an_fail(gather->err, AN_NO_MEMORY, "out of memory");
}

static const char *keep(struct an_arena *arena, const char *text)
{
    return text ? an_arena_printf(arena, "%s", text) : NULL;
}

static void rank(struct an_week_index *index, const struct an_stream_capability *from)
{
    const double limit = from->spec.usl;

    if (!index->counted) {
        index->headroom = index->overall.value;
    } else if (isfinite(limit) && from->basis.mean > 0) {
        index->headroom = limit / from->basis.mean;
    }
}

static enum an_status look_at(struct an_gather *gather, const struct an_stream *stream,
                              const struct an_period *period, struct an_week_index *index)
{
    struct an_stream_capability found;
    struct an_arena *passing = an_arena_open();

    *index = (struct an_week_index){
        .overall = no_index, .within = no_index, .outside = (double)NAN, .headroom = (double)NAN};
    if (!passing) {
        return no_memory(gather);
    }
    enum an_status st =
        an_stream_capability_of(gather->store, gather->line, stream, period->from_us,
                                period->until_us, passing, &found, gather->err);
    if (st) {
        goto done;
    }
    index->samples = found.samples;
    index->signalling = found.signalling;
    index->stable = found.stable && found.samples > 0;
    index->judged = index->stable || found.signalling > 0;
    index->counted = found.characteristic && found.characteristic->kind == AN_COUNTED;
    if (index->counted) {
        const double scale = found.characteristic->per > 0 ? found.characteristic->per : 1;
        index->overall = (struct an_index){found.basis.mean * scale, found.rate_lower * scale,
                                           found.rate_upper * scale};
        index->outside = found.basis.mean * 1e6;
    } else if (found.has_position) { /* as the command tells it: in the circle */
        index->overall = found.position.ppk;
        index->outside = found.position.outside.value * 1e6;
    } else {
        index->overall = found.indices.ppk;
        index->within = found.indices.cpk;
        index->outside = (found.indices.below + found.indices.above) * 1e6;
    }
    rank(index, &found);
    index->why = keep(gather->arena, found.why_not);
    if (found.why_not && !index->why) {
        st = no_memory(gather);
    }
done:
    an_arena_close(passing);
    return st;
}

/* Standard error of a mean of samples that follow each other. */
static double mean_error(const struct an_level_summary *level)
{
    const double r = isfinite(level->lag1) && level->lag1 > 0 ? fmin(level->lag1, 0.95) : 0;

    return level->sd / sqrt((double)level->n) * sqrt((1 + r) / (1 - r));
}

static void compare_levels(const struct an_stream_sheet *sheet, struct an_week_stream *stream)
{
    const struct an_level_summary *now = &sheet->level_now;
    const struct an_level_summary *before = &sheet->level_before;

    stream->level_now = now->mean;
    stream->level_before = before->mean;
    stream->moved = now->mean - before->mean;
    stream->moved_z = (double)NAN;
    /* along the life of a tool the level moves whatever the week */
    if (now->n >= 8 && before->n >= 8 && sheet->form != AN_FORM_WEAR) {
        const double error = hypot(mean_error(now), mean_error(before));
        stream->moved_z = error > 0 ? stream->moved / error : (double)NAN;
    }
}

static double error_of(const struct an_index *estimate)
{
    return (estimate->upper - estimate->lower) / (2 * Z_95);
}

enum an_turn an_turn_of(const struct an_index *now, const struct an_index *before,
                        bool more_is_better)
{
    const double error = hypot(error_of(now), error_of(before));
    const double step = now->value - before->value;

    if (!isfinite(step) || !isfinite(error) || !(fabs(step) > BEYOND_NOISE * error)) {
        return AN_TURN_NONE;
    }
    return (step > 0) == more_is_better ? AN_TURN_BETTER : AN_TURN_WORSE;
}

static void compare(const struct an_stream_sheet *sheet, struct an_week_stream *stream)
{
    const struct an_week_index *now = &stream->now;
    const struct an_week_index *before = &stream->before;

    compare_levels(sheet, stream);
    if (sheet->form == AN_FORM_WEAR || sheet->form == AN_FORM_DISTANCE) {
        /* the chart's sigma is not of the readings: what they moved together is not in it */
        stream->now.within = stream->before.within =
            (struct an_index){(double)NAN, (double)NAN, (double)NAN};
    }
    if (before->stable && now->judged && !now->stable) {
        stream->stability = AN_TURN_WORSE;
    } else if (before->judged && !before->stable && now->stable) {
        stream->stability = AN_TURN_BETTER;
    }
    stream->index = an_turn_of(&now->overall, &before->overall, !now->counted);
}

/* Least headroom first; those without an index after them, the unstable before the stable. */
static int worse_first(const void *left, const void *right)
{
    const struct an_week_stream *a = left;
    const struct an_week_stream *b = right;
    const bool has_a = isfinite(a->now.headroom);
    const bool has_b = isfinite(b->now.headroom);

    if (has_a != has_b) {
        return has_a ? -1 : 1;
    }
    if (has_a && a->now.headroom != b->now.headroom) {
        return a->now.headroom < b->now.headroom ? -1 : 1;
    }
    if (a->now.stable != b->now.stable) {
        return a->now.stable ? 1 : -1;
    }
    return a->sheet < b->sheet ? -1 : a->sheet > b->sheet;
}

enum an_status an_gather_week_streams(struct an_gather *gather)
{
    struct an_period_data *data = gather->data;
    struct an_week_data *week = an_arena_alloc(gather->arena, 1, sizeof *week);

    data->week = week;
    if (!week) {
        return no_memory(gather);
    }
    week->streams = an_arena_alloc(gather->arena, data->sheet_count + 1, sizeof *week->streams);
    if (!week->streams) {
        return no_memory(gather);
    }
    for (size_t i = 0; i < data->sheet_count; i++) {
        const struct an_stream_sheet *sheet = &data->sheets[i];
        if (!sheet->described || (!sheet->period_samples && !sheet->before_samples)) {
            continue;
        }
        struct an_week_stream *stream = &week->streams[week->stream_count];
        *stream = (struct an_week_stream){.sheet = i};
        enum an_status st = look_at(gather, &sheet->stream, &data->now, &stream->now);
        st = st ? st : look_at(gather, &sheet->stream, &data->before, &stream->before);
        if (st) {
            return st;
        }
        compare(sheet, stream);
        week->stream_count++;
        week->stable += stream->now.stable;
        week->judged += stream->now.judged;
        week->unstable += stream->now.judged && !stream->now.stable;
        week->newly_unstable += stream->stability == AN_TURN_WORSE;
        week->recovered += stream->stability == AN_TURN_BETTER;
    }
    if (week->stream_count) {
        qsort(week->streams, week->stream_count, sizeof *week->streams, worse_first);
    }
    return AN_OK;
}
