/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A set of texts with numbers: open addressing over an array of entries, bytes in an arena. */
#include "andamento/base/names.h"

#include "andamento/base/memory.h"

#include <string.h>

struct entry {
    uint64_t hash;
    struct an_bytes text;
};

struct an_names {
    struct an_arena *arena;
    struct entry *entries;
    size_t count, capacity;
    size_t *slots; /* number + 1; 0 empty */
    size_t slot_count;
};

struct an_names *an_names_open(void)
{
    struct an_names *names = an_alloc(1, sizeof *names);
    if (!names) {
        return NULL;
    }
    names->slot_count = 64;
    names->arena = an_arena_open();
    names->slots = an_alloc(names->slot_count, sizeof *names->slots);
    if (!names->arena || !names->slots) {
        an_names_close(names);
        return NULL;
    }
    return names;
}

void an_names_close(struct an_names *names)
{
    if (names) {
        an_arena_close(names->arena);
        an_free(names->entries);
        an_free(names->slots);
        an_free(names);
    }
}

size_t an_names_count(const struct an_names *names)
{
    return names->count;
}

static size_t *slot_of(const struct an_names *names, uint64_t hash, struct an_bytes text)
{
    size_t at = (size_t)hash & (names->slot_count - 1);
    while (names->slots[at]) {
        const struct entry *entry = &names->entries[names->slots[at] - 1];
        if (entry->hash == hash && an_bytes_equal(entry->text, text)) {
            break;
        }
        at = (at + 1) & (names->slot_count - 1);
    }
    return &names->slots[at];
}

static bool widen(struct an_names *names)
{
    if (names->count * 2 < names->slot_count) {
        return true;
    }
    size_t *wider = an_alloc(names->slot_count * 2, sizeof *wider);
    if (!wider) {
        return false;
    }
    an_free(names->slots);
    names->slots = wider;
    names->slot_count *= 2;
    for (size_t i = 0; i < names->count; i++) {
        size_t at = (size_t)names->entries[i].hash & (names->slot_count - 1);
        while (names->slots[at]) {
            at = (at + 1) & (names->slot_count - 1);
        }
        names->slots[at] = i + 1;
    }
    return true;
}

size_t an_names_find(const struct an_names *names, struct an_bytes text)
{
    const size_t *slot = slot_of(names, an_bytes_hash(text), text);
    return *slot ? *slot - 1 : AN_NO_NAME;
}

size_t an_names_add(struct an_names *names, struct an_bytes text)
{
    const uint64_t hash = an_bytes_hash(text);
    size_t *slot = slot_of(names, hash, text);
    if (*slot) {
        return *slot - 1;
    }
    if (!widen(names) || !an_grow((void **)&names->entries, names->count, &names->capacity,
                                  sizeof *names->entries)) {
        return AN_NO_NAME;
    }
    const char *copy = an_arena_copy(names->arena, text.at, text.length);
    if (!copy) {
        return AN_NO_NAME;
    }
    slot = slot_of(names, hash, text); /* the table may have been widened */
    names->entries[names->count] = (struct entry){hash, {(const unsigned char *)copy, text.length}};
    *slot = ++names->count;
    return names->count - 1;
}

struct an_bytes an_names_at(const struct an_names *names, size_t number)
{
    return names->entries[number].text;
}

void an_names_clear(struct an_names *names)
{
    struct an_arena *fresh = an_arena_open();
    if (fresh) { /* without memory the old texts stay until close; the set is empty all the same */
        an_arena_close(names->arena);
        names->arena = fresh;
    }
    memset(names->slots, 0, names->slot_count * sizeof *names->slots);
    names->count = 0;
}
