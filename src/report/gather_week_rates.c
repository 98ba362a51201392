/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where defects come from: counted characteristics by each value of each of their splits (colour,
 * head, cause, tool ...), per million opportunities, with exact bounds; the worst drifts of measured
 * ones with the day their mean would meet the specification. Responsible for naming what is
 * compared; never mixes two characteristics in one rate.
 */
#include "andamento/stat/yield.h"
#include "report/gather.h"
#include "report/week_data.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define CONFIDENCE 0.95
#define PER_MILLION 1e6
#define MOST_DAYS 3650.0 /* a date further away than ten years is none */

struct sum {      /* of one value of one split column of one characteristic, or of all of it */
    size_t order; /* of its characteristic in the description */
    const char *characteristic, *station; /* names */
    const char *title, *split;
    double count, opportunities, count_before, opportunities_before;
};

struct sums {
    struct sum *at;
    size_t count, room;
};

static enum an_status no_memory(const struct an_gather *gather)
{
    return an_fail(gather->err, AN_NO_MEMORY, "out of memory");
}

static struct sum *sum_of(struct an_gather *gather, struct sums *sums,
                          const struct an_stream *stream, const struct an_characteristic *c,
                          const char *split)
{
    for (size_t i = 0; i < sums->count; i++) {
        struct sum *sum = &sums->at[i];
        if (!strcmp(sum->station, stream->station) && !strcmp(sum->split, split) &&
            !strcmp(sum->characteristic, stream->characteristic)) {
            return sum;
        }
    }
    if (!an_grow((void **)&sums->at, sums->count, &sums->room, sizeof *sums->at)) {
        return NULL;
    }
    struct sum *sum = &sums->at[sums->count];
    *sum = (struct sum){.characteristic = stream->characteristic,
                        .station = stream->station,
                        .order = (size_t)(c - gather->line->characteristics),
                        .title = c->title ? c->title : c->name,
                        .split = an_arena_printf(gather->arena, "%s", split)};
    if (!sum->split) {
        return NULL;
    }
    sums->count++;
    return sum;
}

struct totals {
    double count, opportunities;
};

static void add_totals(struct sum *sum, const struct totals *now, const struct totals *before)
{
    sum->count += now->count;
    sum->opportunities += now->opportunities;
    sum->count_before += before->count;
    sum->opportunities_before += before->opportunities;
}

/* "colour=R,head=H2" counts for all, for "colour R" and for "head H2". */
static bool deal_out(struct an_gather *gather, struct sums *sums, const struct an_stream *stream,
                     const struct an_characteristic *c, const struct totals *now,
                     const struct totals *before)
{
    const char *at = stream->split;

    struct sum *whole = sum_of(gather, sums, stream, c, "");
    if (!whole) {
        return false;
    }
    add_totals(whole, now, before);
    while (*at) {
        const size_t length = strcspn(at, ",");
        char *words = an_arena_copy(gather->arena, at, length);
        if (!words) {
            return false;
        }
        char *equals = strchr(words, '=');
        if (equals) {
            *equals = ' ';
        }
        struct sum *sum = sum_of(gather, sums, stream, c, words);
        if (!sum) {
            return false;
        }
        add_totals(sum, now, before);
        at += length;
        at += *at == ',';
    }
    return true;
}

static enum an_status add_stream(struct an_gather *gather, struct sums *sums,
                                 const struct an_stream *stream, const struct an_characteristic *c)
{
    const struct an_period_data *data = gather->data;
    struct an_sample *samples = NULL;
    size_t count = 0;
    struct totals now = {0};
    struct totals before = {0};
    struct an_arena *passing = an_arena_open();

    if (!passing) {
        return no_memory(gather);
    }
    enum an_status st =
        an_store_samples(gather->store, stream->stream_id, data->before.from_us, data->now.until_us,
                         0, passing, &samples, &count, gather->err);
    for (size_t i = 0; !st && i < count; i++) {
        struct totals *totals = samples[i].at_us >= data->now.from_us ? &now : &before;
        if (isfinite(samples[i].count) && samples[i].opportunities > 0) {
            totals->count += samples[i].count;
            totals->opportunities += samples[i].opportunities;
        }
    }
    an_arena_close(passing);
    if (!st && !deal_out(gather, sums, stream, c, &now, &before)) {
        st = no_memory(gather);
    }
    return st;
}

/* By characteristic; the whole before its parts, these by rate. */
static int in_order(const void *left, const void *right)
{
    const struct sum *a = left;
    const struct sum *b = right;

    if (a->order != b->order) {
        return a->order < b->order ? -1 : 1;
    }
    if (!*a->split != !*b->split) {
        return !*a->split ? -1 : 1;
    }
    const double rate_a = a->opportunities > 0 ? a->count / a->opportunities : 0;
    const double rate_b = b->opportunities > 0 ? b->count / b->opportunities : 0;
    if (rate_a != rate_b) {
        return rate_a > rate_b ? -1 : 1;
    }
    return strcmp(a->split, b->split);
}

static struct an_index per_million(double count, double opportunities)
{
    struct an_index rate = {(double)NAN, (double)NAN, (double)NAN};

    if (opportunities > 0 && !an_rate_of(count, opportunities, CONFIDENCE, &rate)) {
        rate.value *= PER_MILLION;
        rate.lower *= PER_MILLION;
        rate.upper *= PER_MILLION;
    }
    return rate;
}

static enum an_status list_rates(struct an_gather *gather, const struct sums *sums)
{
    struct an_week_data *week = gather->data->week;

    week->rates = an_arena_alloc(gather->arena, sums->count + 1, sizeof *week->rates);
    if (!week->rates) {
        return no_memory(gather);
    }
    if (sums->count) {
        qsort(sums->at, sums->count, sizeof *sums->at, in_order);
    }
    double whole = (double)NAN;
    for (size_t i = 0; i < sums->count; i++) {
        const struct sum *sum = &sums->at[i];
        if (!(sum->opportunities > 0)) {
            continue;
        }
        whole = *sum->split ? whole : sum->count / sum->opportunities;
        struct an_week_rate *rate = &week->rates[week->rate_count++];
        const struct an_index before = per_million(sum->count_before, sum->opportunities_before);
        *rate = (struct an_week_rate){.title = sum->title,
                                      .split = sum->split,
                                      .count = sum->count,
                                      .opportunities = sum->opportunities,
                                      .times = sum->count / sum->opportunities / whole,
                                      .rate = per_million(sum->count, sum->opportunities),
                                      .before = before.value};
        rate->turn = an_turn_of(&rate->rate, &before, false);
    }
    return AN_OK;
}

/* ---- drifts ---------------------------------------------------------------------------------- */
/* Days until the mean of a ramp that goes on meets the limit on its side. */
static double days_to_limit(const struct an_stream_sheet *sheet, const struct an_signal *signal,
                            const char **limit)
{
    const double rate = signal->per_day;
    const double level = sheet->last_value;
    const double edge = rate > 0 ? sheet->usl : sheet->lsl;
    const double days = (edge - level) / rate;

    *limit = rate > 0 ? "upper limit" : "lower limit";
    if (sheet->form != AN_FORM_PLAIN && sheet->form != AN_FORM_WEAR) {
        return (double)NAN; /* what is plotted is not what the specification judges */
    }
    return isfinite(days) && days >= 0 && days < MOST_DAYS ? days : (double)NAN;
}

static enum an_status list_drifts(struct an_gather *gather)
{
    struct an_period_data *data = gather->data;
    struct an_week_data *week = data->week;

    week->drifts = an_arena_alloc(gather->arena, data->signal_count + 1, sizeof *week->drifts);
    if (!week->drifts) {
        return no_memory(gather);
    }
    for (size_t i = 0; i < data->signal_count; i++) { /* worst first already */
        const struct an_signal *signal = &data->signals[i].signal;
        if (!signal->has_change || !isfinite(signal->per_day) || signal->record.panel != 0) {
            continue;
        }
        struct an_week_drift *drift = &week->drifts[week->drift_count++];
        drift->signal = i;
        drift->days_to =
            days_to_limit(&data->sheets[data->signals[i].sheet], signal, &drift->limit);
    }
    return AN_OK;
}

enum an_status an_gather_week_rates(struct an_gather *gather)
{
    const struct an_period_data *data = gather->data;
    struct sums sums = {0};
    enum an_status st = AN_OK;

    for (size_t i = 0; !st && i < data->sheet_count; i++) {
        const struct an_station *station = NULL;
        const struct an_characteristic *c = NULL;
        const char *purpose = NULL;

        if (an_judge_resolve(gather->line, &data->sheets[i].stream, &station, &c, &purpose,
                             gather->arena) &&
            c && c->kind == AN_COUNTED && !purpose) {
            st = add_stream(gather, &sums, &data->sheets[i].stream, c);
        }
    }
    st = st ? st : list_rates(gather, &sums);
    an_free(sums.at);
    return st ? st : list_drifts(gather);
}
