/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Offsets of fixed places. Must never let a missing place move an item's level. */
#include "judge/positions.h"

#include "andamento/stat/moments.h"

#include <math.h>
#include <string.h>

#define SWEEPS_MOST 500 /* one is enough when nothing is missing */

struct fit {
    double *sum, *offset;
    size_t *seen;
};

/* One sweep: levels from offsets, offsets from levels, centred. Returns the largest change. */
static double sweep(const struct an_site_readings *r, size_t count, const bool used[],
                    struct fit *fit)
{
    double mean = 0;
    size_t known = 0;
    double change = 0;

    memset(fit->sum, 0, r->site_count * sizeof *fit->sum);
    for (size_t s = 0; s < count; s++) {
        double level = 0;
        size_t n = 0;

        if (!used[s]) {
            continue;
        }
        for (size_t i = r->first[s]; i < r->first[s + 1]; i++) {
            if (r->site[i] != AN_NONE) {
                n++;
                level += (r->value[i] - fit->offset[r->site[i]] - level) / (double)n;
            }
        }
        for (size_t i = r->first[s]; i < r->first[s + 1]; i++) {
            if (r->site[i] != AN_NONE) {
                fit->sum[r->site[i]] += r->value[i] - level;
            }
        }
    }
    for (size_t p = 0; p < r->site_count; p++) {
        if (fit->seen[p]) {
            fit->sum[p] /= (double)fit->seen[p];
            known++;
            mean += (fit->sum[p] - mean) / (double)known;
        }
    }
    for (size_t p = 0; p < r->site_count; p++) {
        if (fit->seen[p]) {
            change = fmax(change, fabs(fit->sum[p] - mean - fit->offset[p]));
            fit->offset[p] = fit->sum[p] - mean;
        }
    }
    return change;
}

enum an_status an_positions_learn(const struct an_site_readings *readings, size_t count,
                                  const bool used[], struct an_arena *arena,
                                  struct an_position_baseline **positions, size_t *position_count,
                                  size_t **seen)
{
    const size_t sites = readings->site_count;
    double largest = 0;
    size_t known = 0;
    struct fit fit = {.sum = an_arena_alloc(arena, sites + 1, sizeof(double)),
                      .offset = an_arena_alloc(arena, sites + 1, sizeof(double)),
                      .seen = an_arena_alloc(arena, sites + 1, sizeof(size_t))};
    struct an_position_baseline *out = an_arena_alloc(arena, sites + 1, sizeof *out);
    size_t *out_seen = an_arena_alloc(arena, sites + 1, sizeof *out_seen);

    *position_count = 0;
    if (!fit.sum || !fit.offset || !fit.seen || !out || !out_seen) {
        return AN_NO_MEMORY;
    }
    for (size_t s = 0; s < count; s++) {
        for (size_t i = readings->first[s]; used[s] && i < readings->first[s + 1]; i++) {
            if (readings->site[i] != AN_NONE) {
                fit.seen[readings->site[i]]++;
                largest = fmax(largest, fabs(readings->value[i]));
            }
        }
    }
    for (int n = 0; n < SWEEPS_MOST && sweep(readings, count, used, &fit) > 1e-14 * largest; n++) {
    }
    for (size_t p = 0; p < sites; p++) {
        if (fit.seen[p]) {
            out[known].position = readings->sites[p];
            out[known].offset = fit.offset[p];
            out_seen[known++] = fit.seen[p];
        }
    }
    *positions = out;
    *position_count = known;
    *seen = out_seen;
    return known ? AN_OK : AN_TOO_FEW;
}

static bool offset_of(const struct an_position_baseline positions[], size_t count,
                      const char *position, size_t *hint, double *offset)
{
    for (size_t tried = 0; tried < count; tried++) {
        const size_t p = (*hint + tried) % count;

        if (strcmp(positions[p].position, position) == 0) {
            *offset = positions[p].offset;
            *hint = p + 1; /* places mostly come in the same order on every item */
            return true;
        }
    }
    return false;
}

enum an_status an_positions_adjust(const struct an_site_readings *readings, size_t i,
                                   const struct an_position_baseline positions[],
                                   size_t position_count, double scratch[],
                                   struct an_chart_sample *sample)
{
    struct an_moments moments;
    size_t n = 0;
    size_t hint = 0;

    for (size_t r = readings->first[i]; r < readings->first[i + 1]; r++) {
        double offset;

        if (readings->site[r] != AN_NONE &&
            offset_of(positions, position_count, readings->sites[readings->site[r]], &hint,
                      &offset)) {
            scratch[n++] = readings->value[r] - offset;
        }
    }
    sample->n = (double)n;
    sample->mean = (double)NAN;
    sample->sd = (double)NAN;
    sample->range = (double)NAN;
    if (n == 0) {
        return AN_OK;
    }
    const enum an_status st = an_moments_of(scratch, n, &moments);
    if (st) {
        return st;
    }
    sample->mean = moments.mean;
    sample->sd = an_moments_sd(&moments);
    sample->range = moments.max - moments.min;
    return AN_OK;
}
