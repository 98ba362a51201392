/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Finds an item by what people call it. Must never pick one of several by itself. */
#include "andamento/base/memory.h"
#include "andamento/base/text.h"
#include "line/nearest.h"
#include "trace/trace.h"

#include <string.h>

enum { MOST_NEAR = 512, MOST_RENAMED = 8 };

struct finding {
    struct an_store *store;
    const struct an_line *line;
    struct an_arena *arena;
    struct an_error *err;
    struct an_item *items;
    size_t count;
};

static enum an_status look(struct finding *finding, const char *kind, const char *serial)
{
    return an_store_items_named(finding->store, kind, an_bytes_of(serial), finding->arena,
                                &finding->items, &finding->count, finding->err);
}

/* "KIND:SERIAL" */
static enum an_status look_with_kind(struct finding *finding, const char *name)
{
    const char *colon = strchr(name, ':');
    const char *kind = colon ? an_arena_copy(finding->arena, name, (size_t)(colon - name)) : NULL;

    if (!colon) {
        return AN_OK;
    }
    return kind ? look(finding, kind, colon + 1)
                : an_fail(finding->err, AN_NO_MEMORY, "out of memory");
}

/* Kinds whose serials are read in upper case are found in lower case too. */
static enum an_status look_folded(struct finding *finding, const char *name)
{
    const char *colon = strchr(name, ':');
    enum an_status st = AN_OK;

    for (size_t k = 0; finding->line && k < finding->line->kind_count && !st && !finding->count;
         k++) {
        const struct an_item_kind *kind = &finding->line->kinds[k];
        const bool named = colon && strlen(kind->name) == (size_t)(colon - name) &&
                           strncmp(kind->name, name, (size_t)(colon - name)) == 0;
        const char *serial = named ? colon + 1 : name;
        char *folded =
            kind->fold_case ? an_arena_copy(finding->arena, serial, strlen(serial)) : NULL;

        for (char *c = folded; c && *c; c++) {
            *c = (char)(*c >= 'a' && *c <= 'z' ? *c - ('a' - 'A') : *c);
        }
        if (folded) {
            st = look(finding, kind->name, folded);
        }
    }
    return st;
}

/* Serials one letter away are asked for one by one: each is found by the index, wherever in the
 * serial the slip is, which the neighbours in the order of serials would not show. */
static enum an_status look_for_slips(struct finding *finding, const char *serial,
                                     const char **found)
{
    static const char letters[] = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-";
    const size_t length = strlen(serial);
    char *tried = length && length <= 64 ? an_arena_alloc(finding->arena, length + 2, 1) : NULL;
    enum an_status st = AN_OK;

    *found = NULL;
    for (size_t at = 0; tried && at <= length && !st && !*found; at++) {
        for (size_t way = 0; way < 2 * sizeof letters && !st && !*found; way++) {
            const size_t letter = way / 2;
            const bool insert = way % 2 == 0;

            if ((!insert && at == length) || (insert && !letters[letter])) {
                continue;
            }
            memcpy(tried, serial, at);
            tried[at] = letters[letter]; /* the end of the letters: leave one out */
            memcpy(tried + at + (letters[letter] != 0), serial + at + !insert,
                   length - at - !insert + 1);
            st = look(finding, NULL, tried);
            *found = !st && finding->count ? finding->items[0].serial : NULL;
        }
        if (!st && !*found && at + 1 < length) { /* swapped with its neighbour */
            memcpy(tried, serial, length + 1);
            tried[at] = serial[at + 1];
            tried[at + 1] = serial[at];
            st = look(finding, NULL, tried);
            *found = !st && finding->count ? finding->items[0].serial : NULL;
        }
    }
    return st;
}

static enum an_status say_unknown(struct finding *finding, const char *name)
{
    const char *words[MOST_NEAR];
    size_t count = 0;
    struct an_error *err = finding->err;
    const char *colon = strchr(name, ':');
    const char *serial = colon && colon[1] ? colon + 1 : name;
    const enum an_status st = an_store_serials_near(finding->store, an_bytes_of(serial),
                                                    finding->arena, words, MOST_NEAR, &count, err);
    if (st) {
        return st;
    }
    const char *nearest = NULL;
    const enum an_status slips = look_for_slips(finding, serial, &nearest);
    if (slips) {
        return slips;
    }
    nearest = nearest ? nearest : an_nearest(serial, words, count);
    if (nearest) {
        return an_fail(err, AN_NOT_FOUND, "no item '%s' in the store; the nearest is '%s'", name,
                       nearest);
    }
    return an_fail(
        err, AN_NOT_FOUND,
        "no item '%s' in the store, and none with a serial near it; give it as SERIAL or "
        "KIND:SERIAL, as the stations write it",
        name);
}

/* A serial under which items were known for a time, and that was never an item's own. */
static enum an_status follow_alias(struct finding *finding, const char *name)
{
    struct an_known_as *known = NULL;
    size_t count = 0;
    struct an_text all = {0};
    enum an_status st = AN_OK;

    for (int step = 0; !st && finding->count == 1 && step < MOST_RENAMED; step++) {
        st = an_store_known_as(finding->store, finding->items[0].item_id, finding->arena, &known,
                               &count, finding->err);
        bool several = false;
        for (size_t i = 1; i < count; i++) {
            several = several || known[i].item.item_id != known[0].item.item_id;
        }
        if (st || count == 0) {
            return st;
        }
        if (!several) {
            finding->items[0] = known[0].item;
            continue;
        }
        for (size_t i = 0; i < count && i < 8; i++) {
            char until[40];

            an_text_addf(
                &all, "%s%s:%s (%s%s)", i ? ", " : "", known[i].item.kind, known[i].item.serial,
                known[i].until_us == AN_NO_INSTANT ? "still" : "until ",
                known[i].until_us == AN_NO_INSTANT ? ""
                                                   : an_instant_rfc3339(known[i].until_us, until));
        }
        st = all.failed ? an_fail(finding->err, AN_NO_MEMORY, "out of memory")
                        : an_fail(finding->err, AN_BAD_USAGE,
                                  "'%s' named several items, each for a time; say which: %s%s",
                                  name, an_text_of(&all), count > 8 ? ", ..." : "");
        an_text_free(&all);
    }
    return st;
}

static enum an_status say_several(struct finding *finding, const char *name)
{
    struct an_text kinds = {0};

    for (size_t i = 0; i < finding->count; i++) {
        an_text_addf(&kinds, "%s%s:%s", i ? ", " : "", finding->items[i].kind,
                     finding->items[i].serial);
    }
    const enum an_status st = kinds.failed ? an_fail(finding->err, AN_NO_MEMORY, "out of memory")
                                           : an_fail(finding->err, AN_BAD_USAGE,
                                                     "several items are called '%s'; say which: %s",
                                                     name, an_text_of(&kinds));
    an_text_free(&kinds);
    return st;
}

static enum an_status find(struct finding *finding, const char *name, struct an_item *item)
{
    enum an_status st = look(finding, NULL, name);

    if (!st && !finding->count) {
        st = look_with_kind(finding, name);
    }
    if (!st && !finding->count) {
        st = look_folded(finding, name);
    }
    if (st) {
        return st;
    }
    if (finding->count == 0) {
        return say_unknown(finding, name);
    }
    if (finding->count > 1) {
        return say_several(finding, name);
    }
    st = follow_alias(finding, name);
    *item = finding->items[0];
    return st;
}

enum an_status an_trace_find(struct an_store *store, const struct an_line *line, const char *name,
                             struct an_arena *arena, struct an_item *item, struct an_error *err)
{
    struct finding finding = {.store = store, .line = line, .arena = arena, .err = err};
    bool own = false;
    enum an_status st = an_store_hold_view(store, &own, err);

    st = st ? st : find(&finding, name, item);
    an_store_let_view_go(store, own);
    return st;
}
