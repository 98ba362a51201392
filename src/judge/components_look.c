/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What each level of a ladder looks like: how far its groups lie from the group above, and what the
 * usual tests say of that. Never changes an estimate, never calls a test's answer more than it is.
 *
 * The hard idea: groups are told by their numbers on all levels down to their own, so readings are
 * put in order of those numbers once; every group of every level is then one run.
 */
#include "andamento/base/text.h"
#include "judge/components.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define DOUBTED 0.01 /* p below which an assumption is doubted aloud */

struct placed {
    size_t group[AN_LEVELS_MOST];
    size_t at; /* of the reading */
};

struct runs {
    size_t *first; /* of run r: placed[first[r]] up to, not including, placed[first[r + 1]] */
    size_t count;
    double *mean;
};

struct looking {
    const struct an_ladder *ladder;
    struct placed *placed;
    struct runs level[AN_LEVELS_MOST];
    size_t levels;
    struct an_arena *arena;
    double *scratch;
};

static int by_groups(const void *a, const void *b)
{
    const struct placed *x = a;
    const struct placed *y = b;
    for (size_t k = 0; k < AN_LEVELS_MOST; k++) {
        if (x->group[k] != y->group[k]) {
            return x->group[k] < y->group[k] ? -1 : 1;
        }
    }
    return x->at < y->at ? -1 : x->at > y->at;
}

static bool put_in_order(struct looking *l)
{
    const struct an_ladder *ladder = l->ladder;
    l->placed = an_arena_alloc(l->arena, ladder->n + 1, sizeof *l->placed);
    l->scratch = an_arena_alloc(l->arena, ladder->n + 1, sizeof *l->scratch);
    if (!l->placed || !l->scratch) {
        return false;
    }
    for (size_t i = 0; i < ladder->n; i++) {
        l->placed[i].at = i;
        for (size_t k = 0; k < l->levels; k++) {
            l->placed[i].group[k] = ladder->group[k][i];
        }
    }
    qsort(l->placed, ladder->n, sizeof *l->placed, by_groups);
    return true;
}

static bool same_group(const struct placed *a, const struct placed *b, size_t level)
{
    return memcmp(a->group, b->group, (level + 1) * sizeof a->group[0]) == 0;
}

static bool find_runs(struct looking *l, size_t level)
{
    const size_t n = l->ladder->n;
    struct runs *runs = &l->level[level];
    runs->first = an_arena_alloc(l->arena, n + 1, sizeof *runs->first);
    runs->mean = an_arena_alloc(l->arena, n + 1, sizeof *runs->mean);
    if (!runs->first || !runs->mean) {
        return false;
    }
    for (size_t i = 0; i < n;) {
        const size_t from = i;
        const double start = l->ladder->value[l->placed[from].at];
        double sum = 0.0; /* about the first, so that large readings lose nothing */
        for (; i < n && same_group(&l->placed[from], &l->placed[i], level); i++) {
            sum += l->ladder->value[l->placed[i].at] - start;
        }
        runs->first[runs->count] = from;
        runs->mean[runs->count++] = start + sum / (double)(i - from);
    }
    runs->first[runs->count] = n;
    return true;
}

/* Groups above that have three or more of these, one behind the other: what a test of equal spread
 * takes. value holds this level's values in the order of placed; first_own: where each begins. */
static bool test_spread(struct looking *l, const struct runs *above, const size_t *first_own,
                        struct an_ladder_rung *rung)
{
    double *kept = an_arena_alloc(l->arena, rung->count + 1, sizeof *kept);
    size_t *first = an_arena_alloc(l->arena, above->count + 1, sizeof *first);
    size_t groups = 0;
    size_t own = 0;
    size_t n = 0;
    if (!kept || !first) {
        return false;
    }
    for (size_t g = 0; g < above->count; g++) {
        const size_t from = own;
        while (own < rung->count && (first_own ? first_own[own] : own) < above->first[g + 1]) {
            own++;
        }
        if (own - from >= 3) {
            memcpy(kept + n, rung->value + from, (own - from) * sizeof *kept);
            first[groups++] = n;
            n += own - from;
        }
    }
    first[groups] = n;
    if (an_equal_spread_of(kept, first, groups, l->scratch, &rung->spread)) {
        rung->spread.f = rung->spread.p = (double)NAN;
    }
    return true;
}

static bool fill_rung(struct looking *l, size_t level, struct an_ladder_rung *rung)
{
    const struct runs *above = level ? &l->level[level - 1] : NULL;
    const struct runs *own = level < l->levels ? &l->level[level] : NULL;
    size_t up = 0;
    *rung = (struct an_ladder_rung){.count = own ? own->count : l->ladder->n,
                                    .normality = {NAN, NAN, NAN},
                                    .spread = {NAN, NAN, NAN, NAN},
                                    .lag1 = NAN,
                                    .lag1_bound = NAN};
    rung->value = an_arena_alloc(l->arena, rung->count + 1, sizeof *rung->value);
    if (!rung->value) {
        return false;
    }
    for (size_t i = 0; i < rung->count; i++) {
        const size_t at = own ? own->first[i] : i;
        while (above && at >= above->first[up + 1]) {
            up++;
        }
        const double it = own ? own->mean[i] : l->ladder->value[l->placed[i].at];
        rung->value[i] = it - (above ? above->mean[up] : an_ladder_best(l->ladder)->mean);
    }
    if (an_anderson_darling(rung->value, rung->count, l->scratch, &rung->normality)) {
        rung->normality = (struct an_normality){NAN, NAN, NAN};
    }
    if (above) {
        return test_spread(l, above, own ? own->first : NULL, rung);
    }
    if (rung->count >= 8 && !an_autocorrelation(rung->value, rung->count, 1, &rung->lag1)) {
        rung->lag1_bound = 2.0 / sqrt((double)rung->count);
    }
    return true;
}

static void doubt(struct an_ladder_look *look, struct an_text *text, const char *what,
                  const char *level)
{
    an_text_addf(text, "%s%s (%s)", look->doubt_count ? ", " : "", what, level);
    look->doubt_count++;
}

static bool list_doubts(const struct an_ladder *ladder, struct an_arena *arena,
                        struct an_ladder_look *look)
{
    struct an_text text = {0};
    for (size_t k = 0; k < look->count; k++) {
        const struct an_ladder_rung *rung = &look->at[k];
        if (rung->normality.p < DOUBTED) {
            doubt(look, &text, "normal shape", ladder->name[k]);
        }
        if (rung->spread.p < DOUBTED) {
            doubt(look, &text, "equal spread", ladder->name[k]);
        }
        if (fabs(rung->lag1) > rung->lag1_bound) {
            doubt(look, &text, "independence in time", ladder->name[k]);
        }
    }
    look->doubts = text.failed ? NULL : an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    return look->doubts != NULL;
}

enum an_status an_ladder_look_at(const struct an_ladder *ladder, struct an_arena *arena,
                                 struct an_ladder_look *look, struct an_error *err)
{
    struct looking l = {.ladder = ladder, .levels = an_ladder_best(ladder)->levels, .arena = arena};
    *look = (struct an_ladder_look){.count = l.levels + 1};
    bool good = put_in_order(&l);
    for (size_t k = 0; good && k < l.levels; k++) {
        good = find_runs(&l, k);
    }
    for (size_t k = 0; good && k <= l.levels; k++) {
        good = fill_rung(&l, k, &look->at[k]);
    }
    good = good && list_doubts(ladder, arena, look);
    return good ? AN_OK : an_fail(err, AN_NO_MEMORY, "out of memory while looking at a ladder");
}
