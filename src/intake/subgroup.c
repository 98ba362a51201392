/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Accumulates rows into visits and subgroups. Must never depend on the order of the rows but where
 * the description asks for it (subgroups of so many consecutive rows).
 *
 * The hard idea: a visit's rows may lie anywhere in the file, and whether it was taken before shows
 * only when all of them were seen. So a visit is a sum of independent parts that can be joined
 * later, and nothing of it is stored before the end.
 */
#include "intake/subgroup.h"

#include <string.h>

/* ---- small texts ------------------------------------------------------------------------------ */
bool an_words_copy(struct an_arena *arena, struct an_bytes from, struct an_bytes *to)
{
    to->at = (const unsigned char *)an_arena_copy(arena, from.at, from.length);
    to->length = from.length;
    return to->at != NULL;
}

bool an_words_add(struct an_words *words, struct an_arena *arena, struct an_bytes text)
{
    if (!text.length) {
        return true;
    }
    if (words->last && an_bytes_equal(words->last->text, text)) {
        return true;
    }
    for (const struct an_word *word = words->first; word; word = word->next) {
        if (an_bytes_equal(word->text, text)) {
            return true;
        }
    }
    if (words->count == AN_MOST_WORDS) {
        return true;
    }
    struct an_word *word = an_arena_alloc(arena, 1, sizeof *word);
    if (!word || !an_words_copy(arena, text, &word->text)) {
        return false;
    }
    *(words->last ? &words->last->next : &words->first) = word;
    words->last = word;
    words->count++;
    return true;
}

const char *an_words_join(const struct an_words *words, struct an_arena *arena, bool *failed)
{
    const size_t most = 4;
    struct an_text text = {0};
    size_t shown = 0;

    if (!words->count) {
        return NULL;
    }
    for (const struct an_word *word = words->first; word && shown < most; word = word->next) {
        an_text_add(&text, shown ? " + " : "");
        an_text_add_bytes(&text, word->text);
        shown++;
    }
    if (words->count > most) {
        an_text_addf(&text, " + %zu more", words->count - most);
    }
    char *joined = text.failed ? NULL : an_arena_copy(arena, an_text_of(&text), text.length);
    *failed = *failed || !joined;
    an_text_free(&text);
    return joined;
}

/* ---- a visit's own table: groups and joints --------------------------------------------------- */
static const uint64_t joint_bit = 1ULL << 63;

static struct an_slot *slot_of(const struct an_stay *stay, uint64_t key)
{
    size_t at = (size_t)((key * 0x9E3779B97F4A7C15U) >> 20) & (stay->table_size - 1);

    while (stay->table[at].thing && stay->table[at].key != key) {
        at = (at + 1) & (stay->table_size - 1);
    }
    return &stay->table[at];
}

static bool make_slots(struct an_stays *stays, struct an_stay *stay)
{
    if (stay->table_size && 2 * (stay->table_count + 1) <= stay->table_size) {
        return true;
    }
    const struct an_slot *old = stay->table;
    const size_t old_size = stay->table_size;
    const size_t size = old_size ? 2 * old_size : 8;
    struct an_slot *table = an_arena_alloc(stays->arena, size, sizeof *table);
    if (!table) {
        return false;
    }
    stay->table = table;
    stay->table_size = size;
    for (size_t i = 0; i < old_size; i++) {
        if (old[i].thing) {
            *slot_of(stay, old[i].key) = old[i];
        }
    }
    return true;
}

struct an_group *an_group_new(struct an_arena *arena, const struct an_plan *plan, uint32_t quantity,
                              uint32_t split)
{
    const struct an_quantity *of = &plan->quantities[quantity];
    const size_t sums = of->of->kind == AN_COUNTED ? 2 : of->leaf_count;
    struct an_group *group = an_arena_alloc(arena, 1, sizeof *group + sums * sizeof group->sums[0]);

    if (group) {
        group->quantity = quantity;
        group->split = split;
        group->sum_count = sums;
        group->at_us = AN_NO_INSTANT;
    }
    return group;
}

void an_stay_append(struct an_stay *stay, struct an_group *group)
{
    group->next = NULL;
    *(stay->last_group ? &stay->last_group->next : &stay->groups) = group;
    stay->last_group = group;
}

struct an_group *an_stay_group(struct an_stays *stays, struct an_stay *stay, uint32_t quantity,
                               uint32_t split, bool *is_new)
{
    const uint64_t key = ((uint64_t)quantity << 32 | split) & ~joint_bit;

    *is_new = false;
    if (!make_slots(stays, stay)) {
        return NULL;
    }
    struct an_slot *slot = slot_of(stay, key);
    if (!slot->thing) {
        struct an_group *group = an_group_new(stays->arena, stays->plan, quantity, split);

        if (!group) {
            return NULL;
        }
        an_stay_append(stay, group);
        slot->key = key;
        slot->thing = group;
        stay->table_count++;
        *is_new = true;
    }
    return slot->thing;
}

struct an_group *an_stay_find_group(const struct an_stay *stay, uint32_t quantity, uint32_t split)
{
    const uint64_t key = ((uint64_t)quantity << 32 | split) & ~joint_bit;

    return stay->table_size ? slot_of(stay, key)->thing : NULL;
}

static bool same_joint(const struct an_tie *a, const struct an_tie *b)
{
    return a->rule == b->rule && a->row == b->row && a->column == b->column &&
           an_bytes_equal(a->serial, b->serial) && an_bytes_equal(a->role, b->role) &&
           an_bytes_equal(a->region, b->region) && a->ends == b->ends && a->turn == b->turn;
}

static uint64_t joint_key(const struct an_tie *joint)
{
    uint64_t key = an_bytes_hash(joint->serial);

    key = key * 31 + an_bytes_hash(joint->role);
    key = key * 31 + an_bytes_hash(joint->region);
    key = key * 1000003 + (uint64_t)joint->row;
    key = key * 1000003 + (uint64_t)joint->column;
    key += joint->ends + 2 * (uint64_t)joint->turn; /* 0 where nothing ends */
    return (key * 31 + joint->rule) | joint_bit;
}

bool an_stay_join(struct an_stays *stays, struct an_stay *stay, const struct an_tie *joint)
{
    uint64_t key = joint_key(joint);

    for (;;) {
        if (!make_slots(stays, stay)) {
            return false;
        }
        struct an_slot *slot = slot_of(stay, key);
        if (!slot->thing) {
            struct an_tie *copy = an_arena_alloc(stays->arena, 1, sizeof *copy);

            if (!copy) {
                return false;
            }
            *copy = *joint;
            copy->next = NULL;
            if (!an_words_copy(stays->arena, joint->serial, &copy->serial) ||
                !an_words_copy(stays->arena, joint->role, &copy->role) ||
                !an_words_copy(stays->arena, joint->region, &copy->region)) {
                return false;
            }
            *(stay->last_joint ? &stay->last_joint->next : &stay->joints) = copy;
            stay->last_joint = copy;
            slot->key = key;
            slot->thing = copy;
            stay->table_count++;
            return true;
        }
        struct an_tie *there = slot->thing;
        if (same_joint(there, joint)) {
            if (joint->line < there->line) {
                there->line = joint->line;
                there->share = joint->share;
            }
            there->at_us = joint->at_us < there->at_us ? joint->at_us : there->at_us;
            if (joint->sure && (!there->sure || joint->sure < there->sure)) {
                there->sure = joint->sure;
            }
            return true;
        }
        key = (key + 1) | joint_bit; /* two joints with one hash */
    }
}

struct an_tie *an_stay_find_joint(const struct an_stay *stay, const struct an_tie *joint)
{
    uint64_t key = joint_key(joint);

    for (;;) {
        struct an_tie *there = stay->table_size ? slot_of(stay, key)->thing : NULL;

        if (!there || same_joint(there, joint)) {
            return there;
        }
        key = (key + 1) | joint_bit;
    }
}

bool an_stay_add_local(struct an_stays *stays, struct an_stay *stay, uint32_t local)
{
    struct an_locals *more = an_arena_alloc(stays->arena, 1, sizeof *more);

    if (!more) {
        return false;
    }
    more->local = local;
    more->next = stay->locals.next;
    stay->locals.next = more;
    return true;
}

bool an_group_merge(struct an_group *group, const struct an_group *more, struct an_arena *arena)
{
    group->first_line =
        !group->rows || more->first_line < group->first_line ? more->first_line : group->first_line;
    group->last_line = more->last_line > group->last_line ? more->last_line : group->last_line;
    group->at_us = more->at_us > group->at_us ? more->at_us : group->at_us;
    group->rows += more->rows;
    group->missing += more->missing;
    for (size_t i = 0; i < group->sum_count; i++) {
        an_exact_join(&group->sums[i], &more->sums[i]);
    }
    for (const struct an_word *word = more->ribbon.first; word; word = word->next) {
        if (!an_words_add(&group->ribbon, arena, word->text)) {
            return false;
        }
    }
    for (const struct an_place *place = more->places; place; place = place->next) {
        struct an_place *copy = an_arena_alloc(arena, 1, sizeof *copy);

        if (!copy) {
            return false;
        }
        *copy = *place;
        copy->next = group->places;
        group->places = copy;
    }
    return true;
}
