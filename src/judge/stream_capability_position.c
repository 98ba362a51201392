/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Position capability: a radial characteristic with an upper limit is a circle, and what must lie
 * in it are the items' means of its two sources, together.
 *
 * Must never pair what does not belong together: a pair is one item in one file, at one time.
 */
#include "judge/stream_capability.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LEAST_PAIRS 25

static enum an_status source_samples(struct an_study *study, size_t which,
                                     struct an_sample **samples, size_t *count, bool *found,
                                     struct an_error *err)
{
    const struct an_stream *stream = &study->out->stream;
    const struct an_characteristic *source =
        &study->line->characteristics[study->out->characteristic->of[which]];
    struct an_stream other;
    const char *name = an_arena_printf(study->arena, "%s.%s%s%s", stream->station, source->name,
                                       stream->split[0] ? "@" : "", stream->split);

    if (!name) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    enum an_status st = an_store_find_stream(study->store, name, study->arena, &other, err);
    *found = st == AN_OK;
    if (st == AN_NOT_FOUND) {
        return AN_OK;
    }
    return st ? st
              : an_store_samples(study->store, other.stream_id, study->from_us, study->until_us, 0,
                                 study->arena, samples, count, err);
}

static int order_of(const struct an_sample *a, const struct an_sample *b)
{
    if (a->at_us != b->at_us) {
        return a->at_us < b->at_us ? -1 : 1;
    }
    if (a->item_id != b->item_id) {
        return a->item_id < b->item_id ? -1 : 1;
    }
    return (a->file_id > b->file_id) - (a->file_id < b->file_id);
}

static int compare_samples(const void *a, const void *b)
{
    return order_of(a, b);
}

struct pairs {
    double *x, *y;
    size_t count;
};

static enum an_status pair_up(struct an_study *study, struct an_sample *a, size_t na,
                              struct an_sample *b, size_t nb, struct pairs *pairs)
{
    pairs->x = an_arena_alloc(study->arena, na + 1, sizeof *pairs->x);
    pairs->y = an_arena_alloc(study->arena, na + 1, sizeof *pairs->y);
    if (!pairs->x || !pairs->y) {
        return AN_NO_MEMORY;
    }
    qsort(a, na, sizeof *a, compare_samples);
    qsort(b, nb, sizeof *b, compare_samples);
    for (size_t i = 0, j = 0; i < na && j < nb;) {
        const int order = order_of(&a[i], &b[j]);
        if (order == 0 && a[i].n > 0 && b[j].n > 0) {
            pairs->x[pairs->count] = a[i].mean;
            pairs->y[pairs->count++] = b[j].mean;
        }
        i += order <= 0;
        j += order >= 0;
    }
    return AN_OK;
}

/* A fraction as a person reads it. */
static const char *said(struct an_study *study, double fraction)
{
    if (fraction < 1e-12) {
        return "less than 1e-6 per million";
    }
    return fraction < 0.01 ? an_arena_printf(study->arena, "%.3g per million", fraction * 1e6)
                           : an_arena_printf(study->arena, "%.3g %%", fraction * 100);
}

static enum an_status tell(struct an_study *study)
{
    const struct an_stream_capability *out = study->out;
    const struct an_position_capability *p = &out->position;
    const struct an_characteristic *all = study->line->characteristics;
    const char *const names[2] = {all[out->characteristic->of[0]].name,
                                  all[out->characteristic->of[1]].name};
    const char *value = said(study, p->outside.value);
    const char *lower = said(study, p->outside.lower);
    const char *upper = said(study, p->outside.upper);
    const char *centred = said(study, p->outside_centred);

    if (!value || !lower || !upper || !centred) {
        return AN_NO_MEMORY;
    }
    enum an_status st = an_study_note(
        study, an_arena_printf(
                   study->arena,
                   "position: %s of the items' means outside a circle of %.4g %s (95 %% "
                   "bounds %s to %s), by a normal pair; seen outside: %zu of %zu",
                   value, out->spec.usl, study->view.unit, lower, upper, p->outside_seen, p->n));
    const double of_offset =
        p->outside.value > 0 ? 1 - fmin(1, p->outside_centred / p->outside.value) : 0;
    return st ? st
              : an_study_note(
                    study,
                    an_arena_printf(
                        study->arena,
                        "position: off the centre by %.3g %s (%s %+.3g, %s %+.3g); spread %.3g along "
                        "the longest direction, %.3g across it. Were the mean on the centre, %s "
                        "would be outside: %s",
                        p->offset, study->view.unit, names[0], p->fit.mean_x, names[1],
                        p->fit.mean_y, p->sd_long, p->sd_short, centred,
                        of_offset > 0.67   ? "most of it is the offset"
                        : of_offset > 0.33 ? "offset and spread both count"
                                           : "most of it is the spread"));
}

enum an_status an_study_position(struct an_study *study, struct an_error *err)
{
    struct an_stream_capability *out = study->out;
    const struct an_characteristic *of = out->characteristic;
    struct an_sample *a = NULL;
    struct an_sample *b = NULL;
    size_t na = 0;
    size_t nb = 0;
    bool found[2] = {false, false};
    struct pairs pairs = {0};

    if (of->kind != AN_DERIVED || of->derivation != AN_DERIVE_RADIAL || !isfinite(out->spec.usl) ||
        !(out->spec.usl > 0)) {
        return AN_OK;
    }
    enum an_status st = source_samples(study, 0, &a, &na, &found[0], err);
    st = st ? st : source_samples(study, 1, &b, &nb, &found[1], err);
    if (st) {
        return st;
    }
    if (!found[0] || !found[1]) {
        st = an_study_note(study, "position: not told, for both sources are not split as this is");
        return st ? an_fail(err, st, "out of memory") : AN_OK;
    }
    double *scratch = an_arena_alloc(study->arena, AN_POSITION_SCRATCH, sizeof *scratch);
    st = scratch ? pair_up(study, a, na, b, nb, &pairs) : AN_NO_MEMORY;
    if (st) {
        return an_fail(err, st, "out of memory");
    }
    const struct an_position_circle circle = {0, 0, out->spec.usl};
    const char *why = NULL;
    if (pairs.count < LEAST_PAIRS) {
        why = an_arena_printf(study->arena, "position: %zu pairs; %d or more are wanted",
                              pairs.count, LEAST_PAIRS);
    } else if (an_position_capability_of(pairs.x, pairs.y, pairs.count, &circle,
                                         AN_STUDY_CONFIDENCE, scratch, &out->position)) {
        why = "position: the pairs do not spread in two directions";
    } else {
        out->has_position = true;
        out->method = "position in a circle";
        st = tell(study);
        return st ? an_fail(err, st, "out of memory") : AN_OK;
    }
    st = an_study_note(study, why);
    return st ? an_fail(err, st, "out of memory") : AN_OK;
}
