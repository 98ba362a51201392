/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A variance ladder in sentences. Responsible for saying no more than the bounds allow: where two
 * levels cannot be told apart in size, neither is called the larger.
 */
#include "andamento/base/text.h"
#include "report/ladder_page.h"
#include "report/wording.h"

#include <math.h>
#include <string.h>

#define UNSEEN 0.1 /* a level with at most this share is not where work would be seen */

const char *an_ladder_digits(struct an_arena *arena, double value)
{
    const double size = fabs(value);
    if (!isfinite(value)) {
        return "-";
    }
    if (size > 0.0 && (size < 1e-4 || size >= 1e7)) {
        return an_arena_printf(arena, "%.3g", value);
    }
    const double order = size > 0.0 ? floor(log10(size)) : 0.0;
    return an_say_number(arena, value, order > 2.0 ? 0 : (int)(2.0 - order));
}

static const char *with_unit(struct an_arena *arena, const struct an_ladder *ladder,
                             const char *number)
{
    const char *unit = ladder->characteristic->unit;
    return !number                                 ? NULL
           : !unit || !*unit || !strcmp(unit, "1") ? number
                                                   : an_arena_printf(arena, "%s %s", number, unit);
}

/* "from tile to tile within one upstream batch" */
static const char *between_words(struct an_arena *arena, const struct an_ladder *ladder, size_t k)
{
    const char *name = ladder->name[k];
    const char *above = k ? ladder->name[k - 1] : NULL;
    if (!strcmp(name, "within item")) {
        return an_arena_printf(arena, "from reading to reading within one %s", above);
    }
    if (!strcmp(name, "place in item")) {
        return an_arena_printf(arena, "from place to place within one %s", above);
    }
    return above ? an_arena_printf(arena, "from %s to %s within one %s", name, name, above)
                 : an_arena_printf(arena, "from %s to %s", name, name);
}

/* The level with the largest share, and the next. */
static void two_largest(const struct an_components *c, size_t *first, size_t *second)
{
    *first = 0;
    *second = 1;
    for (size_t k = 1; k <= c->levels; k++) {
        if (c->at[k].share > c->at[*first].share) {
            *second = *first;
            *first = k;
        } else if (k != *first && c->at[k].share > c->at[*second].share) {
            *second = k;
        }
    }
}

const char *an_ladder_lead(struct an_arena *arena, const struct an_ladder_sight *sight)
{
    const struct an_ladder *ladder = sight->ladder;
    size_t first = 0;
    size_t second = 0;
    if (ladder->why_not) {
        return an_arena_printf(arena, "No components of %s: %s.", sight->title, ladder->why_not);
    }
    const struct an_components *c = an_ladder_best(ladder);
    two_largest(c, &first, &second);
    const struct an_component *a = &c->at[first];
    const struct an_component *b = &c->at[second];
    const char *from = between_words(arena, ladder, first);
    const char *now = with_unit(arena, ladder, an_ladder_digits(arena, sqrt(c->total)));
    const char *then = an_ladder_digits(arena, ladder->without[first]);
    if (!from || !now || !then) {
        return NULL;
    }
    if (b->share_upper > a->share_lower) {
        const char *other = between_words(arena, ladder, second);
        return other
                   ? an_arena_printf(arena,
                                     "The scatter comes %s (%.0f %% of the variance) and %s (%.0f "
                                     "%%); which has more is not certain.",
                                     from, 100.0 * a->share, other, 100.0 * b->share)
                   : NULL;
    }
    if (a->share > 0.99) {
        return an_arena_printf(arena, "Practically all of the scatter comes %s.", from);
    }
    return an_arena_printf(arena,
                           "%s of the scatter comes %s: %.0f %% of the variance (95 %% bounds %.0f "
                           "to %.0f). Without it the sd of one reading would be %s instead of %s.",
                           a->share > 0.5 ? "Most" : "The largest part", from, 100.0 * a->share,
                           100.0 * a->share_lower, 100.0 * a->share_upper, then, now);
}

/* A text, or "" and not good any more. */
static const char *sure(const char *text, bool *good)
{
    *good = *good && text;
    return text ? text : "";
}

const char *an_ladder_advice(struct an_arena *arena, const struct an_ladder_sight *sight)
{
    const struct an_ladder *ladder = sight->ladder;
    const struct an_components *c = an_ladder_best(ladder);
    const double width = ladder->characteristic->usl - ladder->characteristic->lsl;
    struct an_text text = {0};
    bool good = true;
    an_text_addf(&text, "The sd of one reading is %s",
                 sure(with_unit(arena, ladder, an_ladder_digits(arena, sqrt(c->total))), &good));
    for (size_t k = 0; k <= c->levels; k++) {
        an_text_addf(&text, "%s %s without %s",
                     k == 0           ? "; it would be"
                     : k == c->levels ? " and"
                                      : ",",
                     sure(an_ladder_digits(arena, ladder->without[k]), &good), ladder->name[k]);
    }
    an_text_add(&text, ".");
    if (isfinite(width) && width > 0.0) {
        size_t first = 0;
        size_t second = 0;
        two_largest(c, &first, &second);
        an_text_addf(&text,
                     " Six of them take %.0f %% of the tolerance; without %s it would be %.0f %%.",
                     600.0 * sqrt(c->total) / width, ladder->name[first],
                     600.0 * ladder->without[first] / width);
    }
    for (size_t k = 0; k <= c->levels; k++) {
        if (c->at[k].share_upper <= UNSEEN) {
            an_text_addf(&text, " Work on %s would hardly be seen: it has %.0f %% at most.",
                         ladder->name[k], ceil(100.0 * c->at[k].share_upper));
        }
    }
    const char *copy =
        text.failed || !good ? NULL : an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    return copy;
}

const char *an_ladder_method(struct an_arena *arena, const struct an_ladder_sight *sight)
{
    const struct an_ladder *ladder = sight->ladder;
    const struct an_components *c = an_ladder_best(ladder);
    const char *mean = with_unit(arena, ladder, an_ladder_digits(arena, c->mean));
    const char *error = an_ladder_digits(arena, c->mean_se);
    if (!mean || !error) {
        return NULL;
    }
    return an_arena_printf(
        arena,
        "Estimated by %s; groups are %s. Mean %s (standard error %s). Bounds are 95 %%: of "
        "variances by %s, of shares by %s.",
        ladder->has_reml
            ? "restricted maximum likelihood (REML), analysis of variance (ANOVA, mean "
              "squares) beside it"
            : "analysis of variance (ANOVA, mean squares)",
        c->balanced ? "of equal size (balanced)" : "of unequal size (not balanced)", mean, error,
        ladder->has_reml ? "profile likelihood" : "modified large samples",
        c->balanced && c->levels == 1 ? "F, exact"
        : c->balanced                 ? "the mean squares (10,000 draws)"
                                      : "the mean squares (10,000 draws), approximate");
}

const char *an_ladder_assumptions(struct an_arena *arena, const struct an_ladder_sight *sight)
{
    const struct an_ladder_look *look = sight->look;
    size_t most = 0;
    for (size_t k = 0; k < look->count; k++) {
        most = look->at[k].count > most ? look->at[k].count : most;
    }
    if (!look->doubt_count) {
        return "Nothing here speaks against the assumptions (p of 0.01 or more, neighbours within "
               "luck); with few groups that proves little.";
    }
    return an_arena_printf(arena,
                           "Doubtful: %s. The variances and shares stand as descriptions; their "
                           "bounds and p are then approximate.%s",
                           look->doubts,
                           most >= 500 ? " With many values the tests see departures too small to "
                                         "matter: judge by the dots."
                                       : "");
}

const char *an_ladder_gauge_words(struct an_arena *arena, const struct an_ladder_sight *sight)
{
    const struct an_stream_gauge *g = sight->gauge;
    if (isfinite(g->variance)) {
        const double total = an_ladder_best(sight->ladder)->total;
        const struct an_components *c = an_ladder_best(sight->ladder);
        return an_arena_printf(
            arena,
            "Gauge %s. Its variance is a part of the levels above, not one beside them; its bounds "
            "are the study's, against the total as estimated.%s",
            g->text,
            g->variance > total ? " It is more than all the scatter here: the study was made under "
                                  "other conditions, look into it."
            : g->variance_lower > c->at[c->levels].upper
                ? " It is more than the readings show at the lowest level: look into the study."
                : "");
    }
    if (g->measured) {
        return an_arena_printf(arena,
                               "Gauge %s. The study names no stream, so its unit is not known and "
                               "it has no rung; record it with --stream.",
                               g->text);
    }
    return an_arena_printf(arena, "Gauge: %s%s", g->text,
                           g->gauge ? ". A crossed study (`gauge study` with --stream) would give "
                                      "it a rung."
                                    : ".");
}
