/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The variance ladder of a stream. Must never guess at a level that the data cannot carry: it is
 * left out by name, and its spread then stands in the level above or below, which is said.
 *
 * The hard idea: sites are often fixed places (site 3 is always the same corner), and their steady
 * differences are no spread; so where the description names the places, each place's own mean is
 * taken off before the components are estimated.
 */
#include "judge/components.h"

#include "andamento/base/names.h"
#include "andamento/base/text.h"

#include <math.h>
#include <string.h>

struct levels {
    double *value;
    size_t *group[AN_LEVELS_MOST];
    size_t n, count;
};

static void note(struct an_ladder *ladder, const char *text)
{
    ladder->failed = ladder->failed || !text;
    if (text && ladder->note_count < sizeof ladder->notes / sizeof *ladder->notes) {
        ladder->notes[ladder->note_count++] = text;
    }
}

static enum an_status no_memory(struct an_error *err)
{
    return an_fail(err, AN_NO_MEMORY, "out of memory while estimating components");
}

/* Upstream batch where most samples have one, else the shift. */
static bool has_batches(const struct an_readings *readings)
{
    size_t with = 0;
    for (size_t i = 0; i < readings->sample_count; i++) {
        with += readings->samples[i].ribbon != NULL;
    }
    return readings->sample_count && 2 * with > readings->sample_count;
}

static enum an_status number_batches(const struct an_readings *readings, bool batches,
                                     size_t *batch)
{
    struct an_names *names = an_names_open();
    enum an_status st = names ? AN_OK : AN_NO_MEMORY;
    for (size_t i = 0; !st && i < readings->sample_count; i++) {
        const struct an_sample *sample = &readings->samples[i];
        struct an_text shift = {0};
        an_text_addf(&shift, "%lld", (long long)sample->shift_from_us);
        const char *name = batches ? (sample->ribbon ? sample->ribbon : "") : an_text_of(&shift);
        batch[i] = shift.failed ? AN_NO_NAME : an_names_add(names, an_bytes_of(name));
        an_text_free(&shift);
        st = batch[i] == AN_NO_NAME ? AN_NO_MEMORY : AN_OK;
    }
    an_names_close(names);
    return st;
}

/* Takes each fixed place's mean off; places: how many there are. */
static enum an_status take_places_off(const struct an_readings *readings, double *value,
                                      size_t *places)
{
    struct an_names *names = an_names_open();
    double sum[256] = {0.0};
    double n[256] = {0.0};
    double all = 0.0;
    enum an_status st = names ? AN_OK : AN_NO_MEMORY;
    for (int pass = 0; !st && pass < 2; pass++) {
        for (size_t i = 0; i < readings->count; i++) {
            const char *at = readings->position[i] ? readings->position[i] : "";
            const size_t k = an_names_add(names, an_bytes_of(at));
            if (k == AN_NO_NAME) {
                st = AN_NO_MEMORY;
                break;
            }
            if (k >= 256) { /* no fixed places after all */
                *places = k + 1;
                an_names_close(names);
                return AN_OK;
            }
            if (pass == 0) {
                sum[k] += value[i] - value[0];
                n[k] += 1.0;
                all += (value[i] - value[0]) / (double)readings->count;
            } else {
                value[i] += all - sum[k] / n[k];
            }
        }
    }
    *places = names ? an_names_count(names) : 0;
    an_names_close(names);
    return st;
}

/* Leaves a level out that the data cannot carry. false: nothing is left. */
static bool drop_level(struct an_ladder *ladder, struct levels *levels, size_t short_level,
                       struct an_arena *arena)
{
    size_t out = short_level;
    const char *text = NULL;
    if (levels->count < 2) {
        return false;
    }
    if (short_level == levels->count) { /* one reading in each innermost group: it is the rest */
        out = levels->count;
        text = an_arena_printf(arena, "one reading in each %s: its spread cannot be told from %s",
                               ladder->name[levels->count - 1], ladder->name[levels->count]);
        ladder->name[out] = NULL;
    } else {
        out = short_level;
        text =
            short_level == 0
                ? an_arena_printf(arena, "readings of one %s only: it is no level", ladder->name[0])
                : an_arena_printf(arena, "one %s in each %s: the two cannot be told apart",
                                  ladder->name[out], ladder->name[out - 1]);
        for (size_t k = out; k < levels->count; k++) {
            ladder->name[k] = ladder->name[k + 1];
            levels->group[k] = k + 1 < levels->count ? levels->group[k + 1] : NULL;
        }
    }
    levels->count--;
    note(ladder, text);
    return true;
}

static enum an_status estimate(struct an_ladder *ladder, struct levels *levels,
                               struct an_arena *arena, struct an_error *err)
{
    for (;;) {
        struct an_nested_data data = {
            .value = levels->value, .n = levels->n, .levels = levels->count};
        memcpy(data.group, levels->group, sizeof levels->group);
        enum an_status st =
            an_components_by_squares(&data, AN_LADDER_CONFIDENCE, arena, &ladder->squares);
        if (st == AN_TOO_FEW && levels->n > 1 &&
            drop_level(ladder, levels, ladder->squares.short_level, arena)) {
            continue;
        }
        if (st == AN_NO_MEMORY) {
            return no_memory(err);
        }
        if (st) {
            ladder->why_not = st == AN_TOO_FEW     ? "no two levels with replicates in the readings"
                              : st == AN_NO_SPREAD ? "all readings are equal"
                                                   : "the readings cannot be used";
            return AN_OK;
        }
        st = an_components_reml(&data, AN_LADDER_CONFIDENCE, arena, &ladder->reml);
        ladder->has_reml = st == AN_OK;
        if (st) {
            note(ladder, an_arena_printf(arena, "no REML estimate (%s): by mean squares",
                                         an_status_name(st)));
        }
        return st == AN_NO_MEMORY ? no_memory(err) : AN_OK;
    }
}

const struct an_components *an_ladder_best(const struct an_ladder *ladder)
{
    return ladder->has_reml ? &ladder->reml : &ladder->squares;
}

static void finish(struct an_ladder *ladder, struct an_arena *arena)
{
    const struct an_components *best = an_ladder_best(ladder);
    for (size_t k = 0; k <= best->levels; k++) {
        double left = 0.0;
        for (size_t j = 0; j <= best->levels; j++) {
            left += j == k ? 0.0 : best->at[j].variance;
        }
        ladder->without[k] = sqrt(left);
        if (best->at[k].cut) {
            note(ladder, an_arena_printf(arena, "%s: estimate cut at zero", ladder->name[k]));
        }
    }
    if (!best->balanced) {
        note(ladder, "groups of unequal size: F tests and bounds of shares are approximate");
    }
}

static enum an_status lay_out(const struct an_readings *readings, struct an_ladder *ladder,
                              struct levels *levels, bool batches, struct an_arena *arena,
                              struct an_error *err)
{
    size_t *batch = an_arena_alloc(arena, readings->sample_count + 1, sizeof *batch);
    levels->value = an_arena_alloc(arena, readings->count + 1, sizeof *levels->value);
    levels->group[0] = an_arena_alloc(arena, readings->count + 1, sizeof(size_t));
    levels->group[1] = an_arena_alloc(arena, readings->count + 1, sizeof(size_t));
    if (!batch || !levels->value || !levels->group[0] || !levels->group[1] ||
        number_batches(readings, batches, batch)) {
        return no_memory(err);
    }
    levels->n = readings->count;
    levels->count = 2;
    for (size_t i = 0; i < readings->count; i++) {
        levels->value[i] = readings->value[i];
        levels->group[0][i] = batch[readings->sample[i]];
        levels->group[1][i] = (size_t)readings->samples[readings->sample[i]].item_id;
    }
    size_t places = 0;
    if (ladder->characteristic->position_column && readings->position && readings->count) {
        if (take_places_off(readings, levels->value, &places)) {
            return no_memory(err);
        }
        if (places > 1 && places <= 256) {
            note(ladder, an_arena_printf(arena,
                                         "%zu fixed places: each place's own mean was taken "
                                         "off first",
                                         places));
        }
    }
    return AN_OK;
}

enum an_status an_ladder_of(struct an_store *store, const struct an_line *line,
                            const struct an_stream *stream, int64_t from_us, int64_t until_us,
                            struct an_arena *arena, struct an_ladder *ladder, struct an_error *err)
{
    const struct an_station *station = NULL;
    const char *purpose = NULL;
    struct an_readings readings;
    struct levels levels = {0};
    *ladder = (struct an_ladder){.stream = *stream};
    if (!an_judge_resolve(line, stream, &station, &ladder->characteristic, &purpose, arena)) {
        ladder->why_not = "the line description no longer has this stream";
        return AN_OK;
    }
    if (ladder->characteristic->kind == AN_COUNTED) {
        ladder->why_not = "counts have no components: see their dispersion in `limits show`";
        return AN_OK;
    }
    enum an_status st =
        an_judge_readings(store, line, stream, from_us, until_us, 0, arena, &readings, err);
    if (st) {
        return st;
    }
    if (readings.dropped_count) {
        note(ladder, an_arena_printf(arena, "%zu samples left out: %s", readings.dropped_count,
                                     readings.dropped_text ? readings.dropped_text : "dropped"));
    }
    const bool batches = has_batches(&readings);
    ladder->name[0] = batches ? "upstream batch" : "shift";
    ladder->name[1] =
        station->item_kind < line->kind_count ? line->kinds[station->item_kind].name : "item";
    ladder->name[2] = ladder->characteristic->position_column ? "place in item" : "within item";
    ladder->samples = readings.sample_count;
    ladder->first_us = ladder->last_us = AN_NO_INSTANT;
    if (readings.sample_count) {
        ladder->first_us = readings.samples[0].at_us;
        ladder->last_us = readings.samples[readings.sample_count - 1].at_us;
    }
    st = lay_out(&readings, ladder, &levels, batches, arena, err);
    st = st ? st : estimate(ladder, &levels, arena, err);
    ladder->value = levels.value;
    ladder->n = levels.n;
    memcpy(ladder->group, levels.group, sizeof ladder->group);
    if (!st && !ladder->why_not) {
        finish(ladder, arena);
    }
    if (!st && ladder->failed) {
        st = no_memory(err);
    }
    return st;
}
