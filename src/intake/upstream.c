/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Names the upstream batches of a sample. Must never wait for links to come: what the store knows
 * when the file is taken counts.
 */
#include "intake/upstream.h"

#include <string.h>

enum { MOST_STEPS = 4, MOST_ITEMS = 64 };

/* Is the role one of the split's values? "colour=R,head=H2" has R and H2. */
static bool names_role(const char *split, const char *role)
{
    const size_t length = role ? strlen(role) : 0;

    for (const char *at = split; length && (at = strchr(at, '=')) != NULL;) {
        at++;
        if (strncmp(at, role, length) == 0 && (at[length] == ',' || at[length] == '\0')) {
            return true;
        }
    }
    return false;
}

struct front { /* items reached so far at one distance */
    int64_t ids[MOST_ITEMS];
    size_t count;
};

static void reach(struct front *front, int64_t id)
{
    for (size_t i = 0; i < front->count; i++) {
        if (front->ids[i] == id) {
            return;
        }
    }
    if (front->count < MOST_ITEMS) {
        front->ids[front->count++] = id;
    }
}

static bool any_role_named(const struct an_linked *linked, size_t count, const char *split)
{
    for (size_t i = 0; i < count; i++) {
        if (names_role(split, linked[i].link.role)) {
            return true;
        }
    }
    return false;
}

/* One step up from an item: serials of the kind into `words`, all others into `next`. */
static enum an_status climb(struct an_store *store, int64_t id, const char *kind, const char *split,
                            struct an_arena *arena, struct an_words *words, struct front *next,
                            struct an_error *err)
{
    struct an_linked *linked = NULL;
    size_t count = 0;
    const enum an_status st = an_store_linked(store, id, true, NULL, arena, &linked, &count, err);

    if (st) {
        return st;
    }
    const bool by_role = any_role_named(linked, count, split);
    for (size_t i = 0; i < count; i++) {
        if (by_role && !names_role(split, linked[i].link.role)) {
            continue;
        }
        if (strcmp(linked[i].item.kind, kind) != 0) {
            reach(next, linked[i].item.item_id);
        } else if (!an_words_add(words, arena, an_bytes_of(linked[i].item.serial))) {
            return an_fail(err, AN_NO_MEMORY, "out of memory");
        }
    }
    return AN_OK;
}

enum an_status an_ribbon_of(struct an_store *store, int64_t item_id, const char *kind,
                            const char *split, struct an_arena *arena, const char **text,
                            struct an_error *err)
{
    struct front front = {{item_id}, 1};
    struct an_words words = {0};
    bool failed = false;

    *text = NULL;
    for (int step = 0; step < MOST_STEPS && front.count && !words.count; step++) {
        struct front next = {{0}, 0};

        for (size_t i = 0; i < front.count; i++) {
            const enum an_status st =
                climb(store, front.ids[i], kind, split, arena, &words, &next, err);
            if (st) {
                return st;
            }
        }
        front = next;
    }
    *text = an_words_join(&words, arena, &failed);
    return failed ? an_fail(err, AN_NO_MEMORY, "out of memory") : AN_OK;
}
