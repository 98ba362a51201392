/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Did the change begin with a change of upstream batch?
 *
 * Must never make news of a coincidence that was likely: where batches change so often that the
 * onset's interval would hold a change anyway (chance above one half), nothing is said.
 */
#include "andamento/base/text.h"
#include "judge/story.h"

#include <math.h>
#include <string.h>

#define LOOK_UP_LEVELS 3 /* tile from carrier from wafer from lot */
#define CHANCE_MOST 0.5

struct batches {
    struct an_story *story;
    const char *kind; /* of the parent looked for by links */
    const char **at;  /* of each point of the story; NULL unknown */
};

/* ---- what batch a point came from ------------------------------------------------------------------- */
static bool is_listed(const char *list, const char *serial)
{
    const size_t length = strlen(serial);

    for (const char *at = strstr(list, serial); at; at = strstr(at + 1, serial)) {
        const bool begins = at == list || at[-1] == ' ';
        if (begins && (at[length] == '\0' || at[length] == ' ')) {
            return true;
        }
    }
    return false;
}

/* Does a link of this role belong to the stream? Its role must be one of the split's values,
 * if it is a role that splits go by at all. */
static bool role_fits(const struct an_story *story, const struct an_link *link)
{
    if (!link->role) {
        return true;
    }
    for (size_t i = 0; i < story->split.count; i++) {
        if (strcmp(story->split.parts[i].value, link->role) == 0) {
            return true;
        }
    }
    return story->split.count == 0;
}

static enum an_status add_parents(struct batches *b, int64_t item_id, int level,
                                  struct an_text *list, struct an_error *err)
{
    struct an_story *story = b->story;
    struct an_linked *linked = NULL;
    size_t count = 0;
    bool found = false;
    enum an_status st =
        an_store_linked(story->store, item_id, true, NULL, story->arena, &linked, &count, err);
    bool any_fits = false;

    for (size_t i = 0; !st && i < count; i++) {
        any_fits = any_fits || role_fits(story, &linked[i].link);
    }
    for (size_t i = 0; !st && i < count; i++) {
        const bool fits = level > 0 || !any_fits || role_fits(story, &linked[i].link);
        if (!fits || strcmp(linked[i].item.kind, b->kind) != 0) {
            continue;
        }
        found = true;
        if (!is_listed(an_text_of(list), linked[i].item.serial)) {
            an_text_add(list, list->length ? " + " : "");
            an_text_add(list, linked[i].item.serial);
        }
    }
    for (size_t i = 0; !st && !found && level + 1 < LOOK_UP_LEVELS && i < count; i++) {
        if (level > 0 || !any_fits || role_fits(story, &linked[i].link)) {
            st = add_parents(b, linked[i].item.item_id, level + 1, list, err);
        }
    }
    return st;
}

static enum an_status batch_of(struct batches *b, size_t at, const char **batch,
                               struct an_error *err)
{
    const struct an_sample *sample = &b->story->view.points[at].sample;
    struct an_text list = {0};
    enum an_status st;

    *batch = sample->ribbon;
    if (*batch || !b->kind) {
        return AN_OK;
    }
    st = add_parents(b, sample->item_id, 0, &list, err);
    if (!st && list.length) {
        *batch = an_arena_copy(b->story->arena, list.at, list.length);
    }
    if (!st && (list.failed || (list.length && !*batch))) {
        st = an_fail(err, AN_NO_MEMORY, "out of memory while telling signals");
    }
    an_text_free(&list);
    return st;
}

/* ---- where it changes ---------------------------------------------------------------------------------- */
static bool changes_at(const struct batches *b, size_t i)
{
    return b->at[i] && b->at[i - 1] && strcmp(b->at[i], b->at[i - 1]) != 0;
}

/* The members of `now` that `before` has not; NULL if there is none. */
static const char *newcomers(const char *now, const char *before, struct an_arena *arena)
{
    struct an_text out = {0};
    const char *text = NULL;

    while (*now) {
        const char *end = strstr(now, " + ");
        end = end ? end : now + strlen(now);
        const char *member = an_arena_copy(arena, now, (size_t)(end - now));
        if (member && !is_listed(before, member)) {
            an_text_add(&out, out.length ? " + " : "");
            an_text_add(&out, member);
        }
        now = *end ? end + 3 : end;
    }
    if (out.length) {
        text = an_arena_copy(arena, out.at, out.length);
    }
    an_text_free(&out);
    return text;
}

/* The change of batch nearest to the onset within its interval; AN_NONE if there is none. */
static size_t nearest_change(const struct batches *b, double *chance)
{
    const struct an_story *s = b->story;
    size_t best = AN_NONE;
    size_t best_far = SIZE_MAX;
    size_t changes = 0;

    for (size_t i = s->from + 1; i <= s->last; i++) {
        if (!changes_at(b, i)) {
            continue;
        }
        changes++;
        const size_t far = i > s->onset ? i - s->onset : s->onset - i;
        if (i >= s->earliest && i <= s->latest && far < best_far) {
            best = i;
            best_far = far;
        }
    }
    const double rate = s->last > s->from ? (double)changes / (double)(s->last - s->from) : 1;
    /* at the onset itself one place must fit, elsewhere any place of the interval may */
    const double places = best_far == 0 ? 1 : (double)(s->latest - s->earliest + 1);
    *chance = 1 - pow(1 - fmin(rate, 1), places);
    return best;
}

static const char *kind_title(const struct an_story *story)
{
    const struct an_characteristic *c = story->signal->characteristic;
    const struct an_station *station = story->signal->station;
    size_t kind = c->ribbon_kind;

    for (size_t l = 0; kind == AN_NONE && c->ribbon_column && l < station->link_count; l++) {
        if (station->links[l].column && strcmp(station->links[l].column, c->ribbon_column) == 0) {
            kind = station->links[l].kind;
        }
    }
    if (kind == AN_NONE || kind >= story->line->kind_count) {
        return c->ribbon_column;
    }
    return story->line->kinds[kind].title ? story->line->kinds[kind].title
                                          : story->line->kinds[kind].name;
}

enum an_status an_story_ribbon(struct an_story *story, struct an_error *err)
{
    if (story->signal->characteristic->family == AN_WEAR) {
        return AN_OK; /* what comes along is a number, no batch */
    }
    const struct an_characteristic *c = story->signal->characteristic;
    struct batches b = {.story = story};
    double chance = 1;

    if ((!c->ribbon_column && c->ribbon_kind == AN_NONE) || !story->signal->has_change) {
        return AN_OK;
    }
    if (c->ribbon_kind != AN_NONE && c->ribbon_kind < story->line->kind_count) {
        b.kind = story->line->kinds[c->ribbon_kind].name;
    }
    b.at = an_arena_alloc(story->arena, story->view.count + 1, sizeof *b.at);
    if (!b.at) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while telling signals");
    }
    for (size_t i = story->from; i <= story->last; i++) {
        const enum an_status st = batch_of(&b, i, &b.at[i], err);
        if (st) {
            return st;
        }
    }
    const size_t at = nearest_change(&b, &chance);
    if (at == AN_NONE || chance > CHANCE_MOST) {
        return AN_OK;
    }
    const char *who = newcomers(b.at[at], b.at[at - 1], story->arena);
    const char *title = kind_title(story);
    if (who && title) {
        story->signal->ribbon_note = an_arena_printf(
            story->arena,
            at == story->onset ? "began with %s %s" : "%s %s came in within that time", title, who);
    }
    return AN_OK;
}
