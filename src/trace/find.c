/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Finds an item by what people call it. Must never pick one of several by itself. */
#include "andamento/base/memory.h"
#include "andamento/base/text.h"
#include "line/nearest.h"
#include "trace/trace.h"

#include <string.h>

enum { MOST_NEAR = 256 };

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
    const char *nearest = an_nearest(serial, words, count);
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

enum an_status an_trace_find(struct an_store *store, const struct an_line *line, const char *name,
                             struct an_arena *arena, struct an_item *item, struct an_error *err)
{
    struct finding finding = {.store = store, .line = line, .arena = arena, .err = err};
    enum an_status st = look(&finding, NULL, name);

    if (!st && !finding.count) {
        st = look_with_kind(&finding, name);
    }
    if (st) {
        return st;
    }
    if (finding.count == 0) {
        return say_unknown(&finding, name);
    }
    if (finding.count > 1) {
        return say_several(&finding, name);
    }
    *item = finding.items[0];
    return AN_OK;
}
