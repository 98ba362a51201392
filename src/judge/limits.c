/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The life of limits after they were learned: locked by a person, listed, and which of them judge
 * when. Must never lock without a name and a reason, nor put two revisions in force at one time.
 */
#include "judge/judge.h"
#include "judge/limits_json.h"
#include "judge/phases.h"

#include <string.h>

static bool is_blank(const char *text)
{
    return !text || an_bytes_trim(an_bytes_of(text)).length == 0;
}

enum an_status an_limits_lock(struct an_store *store, int64_t stream_id, int64_t in_force_us,
                              const char *author, const char *reason, struct an_error *err)
{
    struct an_limits_record *records = NULL;
    size_t count = 0;

    if (is_blank(author)) {
        return an_fail(err, AN_BAD_USAGE, "limits are locked by a person: give an author");
    }
    if (is_blank(reason)) {
        return an_fail(err, AN_BAD_USAGE, "limits are locked for a reason: give one");
    }
    struct an_arena *arena = an_arena_open();
    if (!arena) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while locking limits");
    }
    enum an_status st = an_store_limits(store, stream_id, arena, &records, &count, err);
    if (st) {
        goto done;
    }
    if (count == 0) {
        st = an_fail(err, AN_NOT_FOUND,
                     "the stream has no proposed limits: propose them from a baseline first");
        goto done;
    }
    const struct an_limits_record *newest = &records[count - 1];
    if (newest->state != AN_LIMITS_PROPOSED) {
        st = an_fail(err, AN_NOT_FOUND,
                     "the stream's newest limits (%lld) are %s already: propose new ones first",
                     (long long)newest->limits_id,
                     newest->state == AN_LIMITS_LOCKED ? "locked" : "refused");
        goto done;
    }
    if (in_force_us == AN_NO_INSTANT) {
        in_force_us = newest->baseline_from_us;
    }
    st = an_store_lock_limits(store, newest->limits_id, in_force_us, author, reason, err);
done:
    an_arena_close(arena);
    return st;
}

enum an_status an_limits_all(struct an_store *store, int64_t stream_id, struct an_arena *arena,
                             struct an_limits **limits, size_t *count, struct an_error *err)
{
    struct an_limits_record *records = NULL;

    *limits = NULL;
    *count = 0;
    size_t found = 0;
    enum an_status st = an_store_limits(store, stream_id, arena, &records, &found, err);
    if (st) {
        return st;
    }
    struct an_limits *all = an_arena_alloc(arena, found + 1, sizeof *all);
    if (!all) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while reading limits");
    }
    for (size_t i = 0; i < found; i++) {
        st = an_limits_of_record(&records[i], arena, &all[i], err);
        if (st) {
            return st;
        }
    }
    *limits = all;
    *count = found;
    return AN_OK;
}

/* ---- which judge when ------------------------------------------------------------------------------ */
enum an_status an_phases_of(struct an_store *store, int64_t stream_id, struct an_arena *arena,
                            struct an_phases *phases, struct an_error *err)
{
    struct an_limits_record *records = NULL;
    size_t count = 0;

    memset(phases, 0, sizeof *phases);
    enum an_status st = an_store_limits(store, stream_id, arena, &records, &count, err);
    if (st) {
        return st;
    }
    phases->limits = an_arena_alloc(arena, count + 1, sizeof *phases->limits);
    phases->from_us = an_arena_alloc(arena, count + 1, sizeof *phases->from_us);
    phases->until_us = an_arena_alloc(arena, count + 1, sizeof *phases->until_us);
    if (!phases->limits || !phases->from_us || !phases->until_us) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while reading limits");
    }
    /* Locks are made in the order of proposals: only the newest proposal can be locked. */
    for (size_t i = 0; i < count; i++) {
        int64_t until_us = INT64_MAX;

        if (records[i].state != AN_LIMITS_LOCKED) {
            continue;
        }
        phases->newest_lock_id = records[i].limits_id;
        for (size_t later = i + 1; later < count; later++) {
            if (records[later].state == AN_LIMITS_LOCKED && records[later].in_force_us < until_us) {
                until_us = records[later].in_force_us;
            }
        }
        if (records[i].in_force_us >= until_us) {
            continue; /* never in force any more */
        }
        st = an_limits_of_record(&records[i], arena, &phases->limits[phases->count], err);
        if (st) {
            return st;
        }
        phases->from_us[phases->count] = records[i].in_force_us;
        phases->until_us[phases->count] = until_us;
        phases->count++;
    }
    return AN_OK;
}

size_t an_phase_at(const struct an_phases *phases, int64_t at_us)
{
    size_t lo = 0;
    size_t hi = phases->count;

    while (lo < hi) {
        const size_t middle = lo + (hi - lo) / 2;
        if (phases->from_us[middle] <= at_us) {
            lo = middle + 1;
        } else {
            hi = middle;
        }
    }
    return lo ? lo - 1 : AN_NONE;
}

enum an_status an_phases_newer(struct an_store *store, int64_t stream_id, int64_t limits_id,
                               struct an_arena *arena, int64_t *from_us, struct an_error *err)
{
    struct an_limits_record *records = NULL;
    size_t count = 0;
    enum an_status st = an_store_limits(store, stream_id, arena, &records, &count, err);

    *from_us = AN_NO_INSTANT;
    for (size_t i = 0; !st && i < count; i++) {
        if (records[i].state == AN_LIMITS_LOCKED && records[i].limits_id > limits_id &&
            (*from_us == AN_NO_INSTANT || records[i].in_force_us < *from_us)) {
            *from_us = records[i].in_force_us;
        }
    }
    return st;
}
