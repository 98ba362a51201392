/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Samples of a baseline that stand apart from the rest.
 *
 * The hard idea: a few wild samples widen the limits that are learned from them until they no longer
 * signal. So they are looked for with estimators that they cannot move. Must never leave one out:
 * a person does, by name and cause, and the limits come from what remains.
 */
#include "andamento/base/text.h"
#include "andamento/stat/robust.h"
#include "judge/baseline.h"

#include <math.h>

/* Of clean, normal baselines so many show any: a warning that comes every day is not read. */
#define LEVEL 0.005
#define LISTED 8

static void add_sample(struct an_text *text, const struct an_baseline *b, size_t i, double distance)
{
    const struct an_sample *s = &b->samples[i];
    char at[40];

    an_text_addf(text, "%ssample %lld (%s, %s, %+.1f)", text->length ? ", " : "",
                 (long long)s->sample_id, s->serial ? s->serial : "no serial",
                 an_instant_spoken(b->zone, s->at_us, at), distance);
}

static const char *sentence(const struct an_baseline *b, const double value[], const size_t index[],
                            const bool apart[], size_t n, size_t count, double reach,
                            const struct an_robust *robust, struct an_arena *arena)
{
    const double sigma = robust->qn > 0    ? robust->qn
                         : robust->mad > 0 ? robust->mad
                                           : robust->winsorised_sd;
    struct an_text list = {0};
    size_t listed = 0;

    for (size_t i = 0; i < n; i++) {
        if (apart[i] && listed++ < LISTED) {
            add_sample(&list, b, index[i], (value[i] - robust->median) / sigma);
        }
    }
    const char *text =
        list.failed ? NULL
                    : an_arena_printf(
                          arena,
                          "%zu of %zu samples stand apart by a robust look (median and Qn; more "
                          "than %.1f robust sigmas off, as one clean baseline in %.0f shows): "
                          "%s%s; they widen the limits that are learned with them. Leave out by "
                          "name what has a cause, or keep it",
                          count, n, reach / sigma, 1 / LEVEL, an_text_of(&list),
                          count > LISTED ? " and more" : "");
    an_text_free(&list);
    return text;
}

enum an_status an_baseline_apart(const struct an_baseline *b, const double z[],
                                 struct an_arena *arena, const char **warning)
{
    double *value = an_arena_alloc(arena, b->count + 1, sizeof *value);
    double *scratch = an_arena_alloc(arena, 2 * b->count + 1, sizeof *scratch);
    size_t *index = an_arena_alloc(arena, b->count + 1, sizeof *index);
    bool *apart = an_arena_alloc(arena, b->count + 1, sizeof *apart);
    struct an_robust robust;
    size_t n = 0;
    size_t count = 0;
    double reach = 0;

    *warning = NULL;
    if (!value || !scratch || !index || !apart) {
        return AN_NO_MEMORY;
    }
    if (b->characteristic->kind == AN_COUNTED) {
        return AN_OK; /* counts are skewed by nature */
    }
    for (size_t i = 0; i < b->count; i++) {
        if (isfinite(z[i])) {
            value[n] = z[i];
            index[n++] = i;
        }
    }
    if (an_robust_suspects(value, n, LEVEL, scratch, apart, &count, &reach, &robust) || !count) {
        return AN_OK;
    }
    *warning = sentence(b, value, index, apart, n, count, reach, &robust, arena);
    return *warning ? AN_OK : AN_NO_MEMORY;
}
