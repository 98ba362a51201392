/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The partner of a sample of two variables, found in the partner's own stream.
 *
 * Must never pair values of two visits: an item measured twice has two samples in each stream. The
 * stream of the pair has samples of its own, so what is new, late or left out is known of them; the
 * partner's are read for the same stretch of time only.
 */
#include "judge/learn_other.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define A_DAY_US (INT64_C(86400) * 1000000) /* a visit's rows of both need not end at one moment */

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

enum an_status an_second_of(struct an_store *store, const struct an_stream *stream,
                            const struct an_characteristic *characteristic,
                            const struct an_sample samples[], size_t count,
                            struct an_chart_sample charted[], struct an_arena *arena,
                            struct an_error *err)
{
    struct an_stream partner;
    struct an_sample *others = NULL;
    size_t other_count = 0;

    if (characteristic->derivation != AN_DERIVE_TOGETHER || count == 0) {
        return AN_OK;
    }
    const char *name =
        an_arena_printf(arena, "%s.%s%s%s", stream->station, characteristic->of_name[1],
                        stream->split[0] ? "@" : "", stream->split);
    if (!name) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while judging");
    }
    enum an_status st = an_store_find_stream(store, name, arena, &partner, err);
    if (st == AN_NOT_FOUND) {
        return an_fail(err, AN_NOT_FOUND,
                       "%s is judged together with %s, and the store has no such stream yet",
                       stream->name, name);
    }
    st = st ? st
            : an_store_samples(store, partner.stream_id, apart(samples[0].at_us, -A_DAY_US),
                               apart(samples[count - 1].at_us, A_DAY_US), 0, arena, &others,
                               &other_count, err);
    if (st) {
        return st;
    }
    if (other_count) {
        qsort(others, other_count, sizeof *others, by_visit);
    }
    for (size_t i = 0; i < count; i++) {
        const struct an_sample *found =
            other_count ? bsearch(&samples[i], others, other_count, sizeof *others, by_visit)
                        : NULL;
        charted[i].second = found && found->n > 0 ? found->mean : (double)NAN;
    }
    return AN_OK;
}
