/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Limits that rest on doubtful data: what is in doubt, and the same learning without it. Must never
 * store anything: it is for a person to propose new limits.
 */
#include "andamento/store/doubt.h"

#include "judge/baseline.h"

#include <string.h>

static bool was_left_out(const struct an_limits *limits, int64_t sample_id)
{
    for (size_t i = 0; i < limits->excluded_count; i++) {
        if (limits->excluded[i].sample_id == sample_id) {
            return true;
        }
    }
    return false;
}

/* Samples that were left out of the baseline cast no doubt on it. */
static void drop_left_out(const struct an_limits *limits, struct an_limits_doubt *doubt)
{
    size_t kept = 0;

    for (size_t i = 0; i < doubt->count; i++) {
        if (!was_left_out(limits, doubt->samples[i].sample_id)) {
            doubt->samples[kept++] = doubt->samples[i];
        }
    }
    doubt->count = kept;
}

/* What is withdrawn or measured again is not read any more; the rest is left out by name. */
static enum an_status learn_without(struct an_store *store, const struct an_line *line,
                                    const struct an_limits *limits, int64_t newest_file_id,
                                    struct an_arena *arena, struct an_limits_doubt *doubt,
                                    struct an_error *err)
{
    const size_t most = limits->excluded_count + doubt->count;
    int64_t *ids = an_arena_alloc(arena, most + 1, sizeof *ids);
    const char **reasons = an_arena_alloc(arena, most + 1, sizeof *reasons);
    struct an_baseline_choice choice = {.from_us = limits->baseline_from_us,
                                        .until_us = limits->baseline_until_us,
                                        .exclude = ids,
                                        .exclude_reasons = reasons,
                                        .newest_file_id = newest_file_id};
    struct an_error why = {0};
    struct an_baseline baseline;
    struct an_stream stream;

    if (!ids || !reasons) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while learning limits");
    }
    for (size_t i = 0; i < limits->excluded_count; i++) {
        ids[choice.exclude_count] = limits->excluded[i].sample_id;
        reasons[choice.exclude_count++] = "left out then";
    }
    for (size_t i = 0; i < doubt->count; i++) {
        if (doubt->samples[i].kind == AN_DOUBT_SUSPECT) {
            ids[choice.exclude_count] = doubt->samples[i].sample_id;
            reasons[choice.exclude_count++] = "suspect";
        }
    }
    const enum an_status st = an_baseline_learn(store, line, limits->stream_id, &choice, arena,
                                                &stream, &baseline, &doubt->without, &why);
    if (st == AN_TOO_FEW || st == AN_NO_SPREAD || st == AN_DOMAIN || st == AN_BAD_CONFIG) {
        doubt->why_not = an_arena_printf(arena, "%s", why.text);
        return doubt->why_not ? AN_OK : an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    doubt->learned = !st;
    return st ? an_fail(err, st, "%s", why.text) : AN_OK;
}

enum an_status an_limits_doubt_of(struct an_store *store, const struct an_line *line,
                                  const struct an_limits *limits, struct an_arena *arena,
                                  struct an_limits_doubt *doubt, struct an_error *err)
{
    int64_t newest_file_id = 0;

    memset(doubt, 0, sizeof *doubt);
    const enum an_status st = an_store_doubts(store, limits->limits_id, arena, &doubt->samples,
                                              &doubt->count, &newest_file_id, err);
    if (st) {
        return st;
    }
    drop_left_out(limits, doubt);
    return doubt->count ? learn_without(store, line, limits, newest_file_id, arena, doubt, err)
                        : AN_OK;
}
