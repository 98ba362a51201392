/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Writes visits in the making as bytes and joins them back. Must lose nothing: a visit written away
 * in parts and joined gives the same samples as one that stayed in memory.
 *
 * Whole numbers go in groups of seven bits, low first; signed ones with the sign in the lowest bit.
 */
#include "intake/spill.h"

#include <string.h>

/* ---- writing ---------------------------------------------------------------------------------- */
static void put_raw(struct an_text *out, const void *at, size_t length)
{
    an_text_add_bytes(out, (struct an_bytes){at, length});
}

static void put_count(struct an_text *out, uint64_t value)
{
    unsigned char bytes[10];
    size_t used = 0;

    do {
        bytes[used] = (unsigned char)((value & 0x7F) | (value > 0x7F ? 0x80 : 0));
        value >>= 7;
        used++;
    } while (value);
    put_raw(out, bytes, used);
}

static void put_signed(struct an_text *out, int64_t value)
{
    put_count(out, (uint64_t)value << 1 ^ (value < 0 ? ~UINT64_C(0) : 0));
}

static void put_bytes(struct an_text *out, struct an_bytes bytes)
{
    put_count(out, bytes.length);
    an_text_add_bytes(out, bytes);
}

static void put_words(struct an_text *out, const struct an_words *words)
{
    put_count(out, words->count);
    for (const struct an_word *word = words->first; word; word = word->next) {
        put_bytes(out, word->text);
    }
}

enum { SUMS_NONE, SUMS_ONE, SUMS_MANY };

static void put_sums(struct an_text *out, const struct an_exact_sums *sums)
{
    if (sums->n == 0) {
        put_count(out, SUMS_NONE);
    } else if (sums->n == 1 && !sums->inexact) {
        put_count(out, SUMS_ONE);
        put_signed(out, sums->min);
        put_signed(out, sums->decimals);
    } else {
        put_count(out, SUMS_MANY);
        put_raw(out, sums, sizeof *sums);
    }
}

static void put_group(struct an_text *out, const struct an_group *group)
{
    size_t places = 0;

    put_count(out, group->quantity);
    put_count(out, group->split);
    put_count(out, group->closed);
    put_signed(out, group->rows);
    put_signed(out, group->missing);
    put_signed(out, group->at_us);
    put_count(out, group->first_line);
    put_count(out, group->last_line);
    put_words(out, &group->ribbon);
    for (size_t i = 0; i < group->sum_count; i++) {
        put_sums(out, &group->sums[i]);
    }
    for (const struct an_place *place = group->places; place; place = place->next) {
        places++;
    }
    put_count(out, places);
    for (const struct an_place *place = group->places; place; place = place->next) {
        put_raw(out, &place->row, sizeof place->row);
        put_raw(out, &place->column, sizeof place->column);
        put_signed(out, place->reading.scaled);
        put_signed(out, place->reading.decimals);
        put_count(out, place->leaf);
    }
}

static void put_joint(struct an_text *out, const struct an_tie *joint)
{
    put_count(out, joint->rule);
    put_bytes(out, joint->serial);
    put_bytes(out, joint->role);
    put_bytes(out, joint->region);
    put_raw(out, &joint->share, sizeof joint->share);
    put_signed(out, joint->row);
    put_signed(out, joint->column);
    put_signed(out, joint->at_us);
    put_count(out, joint->line);
    put_count(out, joint->ends);
    put_count(out, joint->turn);
    put_count(out, joint->sure);
}

void an_spill_write(const struct an_stay *stay, struct an_text *out)
{
    size_t count = 0;

    put_count(out, stay->serial_length);
    put_signed(out, stay->rows);
    put_signed(out, stay->first_us);
    put_signed(out, stay->last_us);
    put_count(out, stay->first_line);
    put_count(out, stay->last_line);
    put_raw(out, &stay->print_low, sizeof stay->print_low);
    put_raw(out, &stay->print_high, sizeof stay->print_high);
    put_words(out, &stay->gauge);
    put_words(out, &stay->tool);
    put_words(out, &stay->who);
    put_words(out, &stay->attempt);
    if (stay->rows) {
        for (const struct an_locals *local = &stay->locals; local; local = local->next) {
            count++;
        }
    }
    put_count(out, count);
    if (stay->rows) {
        for (const struct an_locals *local = &stay->locals; local; local = local->next) {
            put_count(out, local->local);
        }
    }
    count = 0;
    for (const struct an_group *group = stay->groups; group; group = group->next) {
        count++;
    }
    put_count(out, count);
    for (const struct an_group *group = stay->groups; group; group = group->next) {
        put_group(out, group);
    }
    count = 0;
    for (const struct an_tie *joint = stay->joints; joint; joint = joint->next) {
        count++;
    }
    put_count(out, count);
    for (const struct an_tie *joint = stay->joints; joint; joint = joint->next) {
        put_joint(out, joint);
    }
}

/* ---- reading ---------------------------------------------------------------------------------- */
struct reader {
    struct an_bytes rest;
    bool broken;
};

static void get_raw(struct reader *in, void *at, size_t length)
{
    if (in->broken || in->rest.length < length) {
        in->broken = true;
        memset(at, 0, length);
        return;
    }
    memcpy(at, in->rest.at, length);
    in->rest.at += length;
    in->rest.length -= length;
}

static uint64_t get_count(struct reader *in)
{
    uint64_t value = 0;
    unsigned char byte = 0x80;

    for (unsigned shift = 0; shift < 64 && (byte & 0x80); shift += 7) {
        get_raw(in, &byte, 1);
        value |= (uint64_t)(byte & 0x7F) << shift;
    }
    return value;
}

static int64_t get_signed(struct reader *in)
{
    const uint64_t value = get_count(in);

    return (int64_t)(value >> 1 ^ (value & 1 ? ~UINT64_C(0) : 0));
}

static struct an_bytes get_bytes(struct reader *in)
{
    const uint64_t length = get_count(in);
    struct an_bytes bytes = {in->rest.at, 0};

    if (in->broken || length > in->rest.length) {
        in->broken = true;
        return bytes;
    }
    bytes.length = (size_t)length;
    in->rest.at += length;
    in->rest.length -= (size_t)length;
    return bytes;
}

static bool get_words(struct reader *in, struct an_words *words, struct an_arena *arena)
{
    bool good = true;

    for (uint64_t count = get_count(in); count && !in->broken && good; count--) {
        good = an_words_add(words, arena, get_bytes(in));
    }
    return good;
}

static void get_sums(struct reader *in, struct an_exact_sums *sums)
{
    const uint64_t kind = get_count(in);

    memset(sums, 0, sizeof *sums);
    if (kind == SUMS_ONE) {
        const int64_t scaled = get_signed(in);
        an_exact_add(sums, scaled, (int)get_signed(in));
    } else if (kind == SUMS_MANY) {
        get_raw(in, sums, sizeof *sums);
    } else if (kind != SUMS_NONE) {
        in->broken = true;
    }
}

static bool get_places(struct reader *in, struct an_group *group, struct an_arena *arena)
{
    struct an_place **end = &group->places;

    for (uint64_t count = get_count(in); count && !in->broken; count--) {
        struct an_place *place = an_arena_alloc(arena, 1, sizeof *place);

        if (!place) {
            return false;
        }
        get_raw(in, &place->row, sizeof place->row);
        get_raw(in, &place->column, sizeof place->column);
        place->reading.scaled = get_signed(in);
        place->reading.decimals = (int)get_signed(in);
        place->reading.value = an_decimal_value(place->reading.scaled, place->reading.decimals);
        place->leaf = (uint32_t)get_count(in);
        *end = place;
        end = &place->next;
    }
    return true;
}

static bool get_group(struct reader *in, struct an_stays *stays, struct an_stay *stay)
{
    const uint64_t quantity = get_count(in);
    const uint64_t split = get_count(in);

    if (in->broken || quantity >= stays->plan->quantity_count || split >= AN_MOST_SPLITS) {
        in->broken = true;
        return true;
    }
    struct an_group *part =
        an_group_new(stays->arena, stays->plan, (uint32_t)quantity, (uint32_t)split);
    if (!part) {
        return false;
    }
    part->closed = get_count(in) != 0;
    part->rows = get_signed(in);
    part->missing = get_signed(in);
    part->at_us = get_signed(in);
    part->first_line = get_count(in);
    part->last_line = get_count(in);
    if (!get_words(in, &part->ribbon, stays->arena)) {
        return false;
    }
    for (size_t i = 0; i < part->sum_count; i++) {
        get_sums(in, &part->sums[i]);
    }
    if (!get_places(in, part, stays->arena)) {
        return false;
    }
    if (part->closed) {
        an_stay_append(stay, part);
        return true;
    }
    bool is_new = false;
    struct an_group *group = an_stay_group(stays, stay, part->quantity, part->split, &is_new);
    return group && an_group_merge(group, part, stays->arena);
}

static bool get_joint(struct reader *in, struct an_stays *stays, struct an_stay *stay)
{
    struct an_tie joint;

    memset(&joint, 0, sizeof joint);
    joint.rule = (uint32_t)get_count(in);
    joint.serial = get_bytes(in);
    joint.role = get_bytes(in);
    joint.region = get_bytes(in);
    get_raw(in, &joint.share, sizeof joint.share);
    joint.row = get_signed(in);
    joint.column = get_signed(in);
    joint.at_us = get_signed(in);
    joint.line = get_count(in);
    joint.ends = get_count(in) != 0;
    joint.turn = (uint32_t)get_count(in);
    joint.sure = (uint32_t)get_count(in);
    return in->broken || an_stay_join(stays, stay, &joint);
}

static bool get_locals(struct reader *in, struct an_stays *stays, struct an_stay *stay,
                       bool is_first)
{
    bool good = true;

    for (uint64_t count = get_count(in); count && !in->broken && good; count--) {
        const uint32_t local = (uint32_t)get_count(in);

        if (is_first) {
            stay->locals.local = local;
            is_first = false;
        } else {
            good = an_stay_add_local(stays, stay, local);
        }
    }
    return good;
}

static void get_extent(struct reader *in, struct an_stay *stay)
{
    const int64_t rows = get_signed(in);
    const int64_t first_us = get_signed(in);
    const int64_t last_us = get_signed(in);
    const uint64_t first_line = get_count(in);
    const uint64_t last_line = get_count(in);
    uint64_t low = 0;
    uint64_t high = 0;

    get_raw(in, &low, sizeof low);
    get_raw(in, &high, sizeof high);
    if (!rows) {
        return;
    }
    if (!stay->rows) {
        stay->first_us = first_us;
        stay->last_us = last_us;
        stay->first_line = first_line;
        stay->last_line = last_line;
    }
    stay->first_us = first_us < stay->first_us ? first_us : stay->first_us;
    stay->last_us = last_us > stay->last_us ? last_us : stay->last_us;
    stay->first_line = first_line < stay->first_line ? first_line : stay->first_line;
    stay->last_line = last_line > stay->last_line ? last_line : stay->last_line;
    stay->rows += rows;
    stay->print_low += low;
    stay->print_high += high + (stay->print_low < low);
}

enum an_status an_spill_read(struct an_stays *stays, struct an_stay *stay, struct an_bytes bytes,
                             struct an_error *err)
{
    struct reader in = {bytes, false};
    const bool is_first = stay->rows == 0;

    stay->serial_length = (size_t)get_count(&in);
    get_extent(&in, stay);
    bool good =
        get_words(&in, &stay->gauge, stays->arena) && get_words(&in, &stay->tool, stays->arena) &&
        get_words(&in, &stay->who, stays->arena) && get_words(&in, &stay->attempt, stays->arena) &&
        get_locals(&in, stays, stay, is_first);
    for (uint64_t count = good ? get_count(&in) : 0; count && !in.broken && good; count--) {
        good = get_group(&in, stays, stay);
    }
    for (uint64_t count = good ? get_count(&in) : 0; count && !in.broken && good; count--) {
        good = get_joint(&in, stays, stay);
    }
    if (!good) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    return in.broken ? an_fail(err, AN_BUG, "a visit written away could not be read back") : AN_OK;
}
