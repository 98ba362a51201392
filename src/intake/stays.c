/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The open visits of a file: finds a row's visit and adds the row to its subgroups. Must never keep
 * a row.
 */
#include "intake/subgroup.h"

#include <math.h>
#include <string.h>

/* ---- the open visits -------------------------------------------------------------------------- */
enum an_status an_stays_open(struct an_stays *stays, const struct an_plan *plan,
                             struct an_error *err)
{
    memset(stays, 0, sizeof *stays);
    stays->plan = plan;
    stays->steady = an_arena_open();
    stays->splits = an_names_open();
    if (!stays->steady || !stays->splits) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    stays->every =
        an_arena_alloc(stays->steady, plan->quantity_count + 1, sizeof(struct an_every *));
    stays->every_size = an_arena_alloc(stays->steady, plan->quantity_count + 1, sizeof(size_t));
    stays->memo = an_arena_alloc(stays->steady, plan->split_count + 1, sizeof *stays->memo);
    size_t most = 0;
    for (size_t i = 0; i < plan->split_count; i++) {
        most = plan->splits[i].count > most ? plan->splits[i].count : most;
    }
    stays->words = an_arena_alloc(stays->steady, most + 1, sizeof *stays->words);
    if (!stays->every || !stays->every_size || !stays->memo || !stays->words) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    return an_stays_empty(stays, err);
}

void an_stays_close(struct an_stays *stays)
{
    for (size_t i = 0; stays->every && i < stays->plan->quantity_count; i++) {
        an_free(stays->every[i]);
    }
    an_free(stays->table);
    an_names_close(stays->splits);
    an_text_free(&stays->key);
    an_text_free(&stays->split_text);
    an_arena_close(stays->arena);
    an_arena_close(stays->steady);
    memset(stays, 0, sizeof *stays);
}

/* The open subgroups of so many rows outlive their visits: they move on, with the visit's key. */
static bool carry_over(struct an_stays *stays, struct an_arena *arena)
{
    for (size_t i = 0; i < stays->plan->quantity_count; i++) {
        for (size_t k = 0; k < stays->every_size[i]; k++) {
            struct an_every *every = &stays->every[i][k];
            const struct an_group *old = every->group;

            if (!old) {
                continue;
            }
            every->group = an_group_new(arena, stays->plan, old->quantity, old->split);
            if (!every->group || !an_group_merge(every->group, old, arena)) {
                return false;
            }
            if (every->stay) {
                every->key = every->stay->key;
                every->serial_length = every->stay->serial_length;
                every->stay = NULL;
            }
            if (!an_words_copy(arena, every->key, &every->key)) {
                return false;
            }
        }
    }
    return true;
}

enum an_status an_stays_empty(struct an_stays *stays, struct an_error *err)
{
    struct an_arena *arena = an_arena_open();

    if (!arena || !carry_over(stays, arena)) {
        an_arena_close(arena);
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    an_arena_close(stays->arena);
    stays->arena = arena;
    stays->first = stays->last = stays->recent = NULL;
    if (stays->table_size > 1024 && stays->count < stays->table_size / 8) {
        an_free(stays->table); /* emptying a large table for few visits would cost more */
        stays->table = NULL;
        stays->table_size = 0;
    } else if (stays->table) {
        memset(stays->table, 0, stays->table_size * sizeof *stays->table);
    }
    stays->count = 0;
    return AN_OK;
}

static struct an_stay **stay_slot(const struct an_stays *stays, struct an_bytes key)
{
    size_t at = (size_t)an_bytes_hash(key) & (stays->table_size - 1);

    while (stays->table[at] && !an_bytes_equal(stays->table[at]->key, key)) {
        at = (at + 1) & (stays->table_size - 1);
    }
    return &stays->table[at];
}

static bool grow_table(struct an_stays *stays)
{
    if (stays->table_size && 2 * (stays->count + 1) <= stays->table_size) {
        return true;
    }
    const size_t size = stays->table_size ? 2 * stays->table_size : 64;
    struct an_stay **old = stays->table;
    struct an_stay **table = an_alloc(size, sizeof(struct an_stay *));
    if (!table) {
        return false;
    }
    stays->table = table;
    stays->table_size = size;
    for (struct an_stay *stay = stays->first; stay; stay = stay->next) {
        *stay_slot(stays, stay->key) = stay;
    }
    an_free(old);
    return true;
}

struct an_stay *an_stays_find(struct an_stays *stays, struct an_bytes key, size_t serial_length)
{
    if (stays->recent && an_bytes_equal(stays->recent->key, key)) {
        return stays->recent;
    }
    if (!grow_table(stays)) {
        return NULL;
    }
    struct an_stay **slot = stay_slot(stays, key);
    if (!*slot) {
        struct an_stay *stay = an_arena_alloc(stays->arena, 1, sizeof *stay);

        if (!stay || !an_words_copy(stays->arena, key, &stay->key)) {
            return NULL;
        }
        stay->serial_length = serial_length;
        *(stays->last ? &stays->last->next : &stays->first) = stay;
        stays->last = stay;
        stays->count++;
        *slot = stay;
    }
    stays->recent = *slot;
    return *slot;
}

/* ---- a row ------------------------------------------------------------------------------------ */
void an_split_write(struct an_text *text, const struct an_plan *plan, size_t split,
                    const struct an_bytes *words, struct an_bytes purpose)
{
    const struct an_plan_split *of = &plan->splits[split];

    for (size_t i = 0; i < of->count; i++) {
        an_text_add(text, i ? "," : "");
        an_text_add(text, plan->columns[of->columns[i]].name);
        an_text_add_char(text, '=');
        an_text_add_bytes(text, words[i]);
    }
    if (purpose.length) {
        an_text_add(text, of->count ? ",purpose=" : "purpose=");
        an_text_add_bytes(text, purpose);
    }
}

static bool add_split_text(struct an_stays *stays, const struct an_row *row, size_t split)
{
    const struct an_plan_split *of = &stays->plan->splits[split];

    an_text_clear(&stays->split_text);
    for (size_t i = 0; i < of->count; i++) {
        stays->words[i] = row->cells[of->columns[i]].text;
        if (!stays->words[i].length) {
            return false;
        }
    }
    an_split_write(&stays->split_text, stays->plan, split, stays->words, row->purpose);
    return true;
}

/* Number of the row's split; AN_DOMAIN too many; *none: a column is empty. */
static enum an_status find_split(struct an_stays *stays, const struct an_row *row, size_t split,
                                 uint32_t *number, bool *none, struct an_error *err)
{
    struct an_split_memo *memo = &stays->memo[split];

    *none = false;
    if (!memo->is_set) {
        if (!add_split_text(stays, row, split)) {
            *none = true;
            return AN_OK;
        }
        const struct an_bytes text = {(const unsigned char *)an_text_of(&stays->split_text),
                                      stays->split_text.length};
        const size_t found =
            stays->split_text.failed ? AN_NO_NAME : an_names_add(stays->splits, text);
        if (found == AN_NO_NAME) {
            return an_fail(err, AN_NO_MEMORY, "out of memory");
        }
        if (found >= AN_MOST_SPLITS) {
            return an_fail(err, AN_DOMAIN, "too many splits");
        }
        memo->number = (uint32_t)found;
        memo->is_set = true;
    }
    *number = memo->number;
    return AN_OK;
}

static struct an_every *find_every(struct an_stays *stays, uint32_t quantity, uint32_t split)
{
    if (split >= stays->every_size[quantity]) {
        const size_t size = 2 * (size_t)split + 4;
        struct an_every *more = an_resize(stays->every[quantity], size, sizeof *more);

        if (!more) {
            return NULL;
        }
        memset(more + stays->every_size[quantity], 0,
               (size - stays->every_size[quantity]) * sizeof *more);
        stays->every[quantity] = more;
        stays->every_size[quantity] = size;
    }
    struct an_every *every = &stays->every[quantity][split];
    if (!every->group) {
        every->group = an_group_new(stays->arena, stays->plan, quantity, split);
    }
    return every->group ? every : NULL;
}

static bool add_place(struct an_arena *arena, struct an_group *group, uint32_t number,
                      const struct an_plan_leaf *leaf, struct an_row *row,
                      const struct an_plan *plan)
{
    if (!leaf->wants_cells || leaf->row_column == AN_NONE || leaf->column_column == AN_NONE ||
        an_row_number(row, plan, leaf->row_column) != AN_CELL_NUMBER ||
        an_row_number(row, plan, leaf->column_column) != AN_CELL_NUMBER) {
        return true;
    }
    struct an_place *place = an_arena_alloc(arena, 1, sizeof *place);
    if (!place) {
        return false;
    }
    place->row = row->cells[leaf->row_column].number.value;
    place->column = row->cells[leaf->column_column].number.value;
    place->reading = row->cells[leaf->column].number;
    place->leaf = number;
    place->next = group->places;
    group->places = place;
    return true;
}

/* Counts of this row; false if one of them is missing. */
static bool add_counts(struct an_group *group, const struct an_quantity *quantity,
                       struct an_row *row, const struct an_plan *plan, bool concerned)
{
    const size_t opportunities = quantity->opportunities_column;
    const bool told =
        opportunities != AN_NONE && an_row_number(row, plan, opportunities) == AN_CELL_NUMBER;
    struct an_exact_sums counts = {0};

    if (quantity->of->count_rows) {
        an_exact_add(&group->sums[0], concerned ? 1 : 0, 0);
    } else if (quantity->event_column != AN_NONE) {
        const struct an_bytes word = row->cells[quantity->event_column].text;

        if (an_row_number(row, plan, quantity->event_column) == AN_CELL_GAP &&
            !an_word_in(word, &quantity->of->events)) {
            return false;
        }
        an_exact_add(&group->sums[0], an_word_in(word, &quantity->of->events) ? 1 : 0, 0);
    } else {
        for (size_t i = 0; i < quantity->sum_count; i++) {
            if (an_row_number(row, plan, quantity->sum_columns[i]) != AN_CELL_NUMBER) {
                return false;
            }
            const struct an_decimal number = row->cells[quantity->sum_columns[i]].number;
            an_exact_add(&counts, number.scaled, number.decimals);
        }
        const struct an_moments moments = an_exact_moments(&counts);
        an_exact_add(&group->sums[0], (int64_t)(moments.mean * (double)moments.n + 0.5), 0);
    }
    if (told) {
        const struct an_decimal number = row->cells[opportunities].number;
        an_exact_add(&group->sums[1], number.scaled, number.decimals);
    }
    return true;
}

static bool add_readings(struct an_arena *arena, struct an_group *group,
                         const struct an_quantity *quantity, struct an_row *row,
                         const struct an_plan *plan, bool concerned)
{
    if (quantity->of->kind == AN_COUNTED) {
        group->missing += !add_counts(group, quantity, row, plan, concerned);
        return true;
    }
    for (size_t i = 0; i < quantity->leaf_count; i++) {
        const struct an_plan_leaf *leaf = &quantity->leaves[i];

        if (!an_row_passes_all(row, leaf)) {
            continue;
        }
        if (an_row_number(row, plan, leaf->column) != AN_CELL_NUMBER) {
            group->missing++;
            continue;
        }
        const struct an_decimal number = row->cells[leaf->column].number;
        an_exact_add(&group->sums[i], number.scaled, number.decimals);
        if (!add_place(arena, group, (uint32_t)i, leaf, row, plan)) {
            return false;
        }
    }
    return true;
}

static bool add_to_group(struct an_arena *arena, struct an_group *group,
                         const struct an_quantity *quantity, struct an_row *row,
                         const struct an_plan *plan, bool concerned)
{
    group->first_line =
        !group->rows || row->line < group->first_line ? row->line : group->first_line;
    group->last_line = row->line > group->last_line ? row->line : group->last_line;
    group->at_us = row->at_us > group->at_us ? row->at_us : group->at_us;
    group->rows++;
    return add_readings(arena, group, quantity, row, plan, concerned) &&
           (quantity->ribbon_column == AN_NONE ||
            an_words_add(&group->ribbon, arena, row->cells[quantity->ribbon_column].text));
}

static void close_every(struct an_stay *stay, struct an_every *every)
{
    every->group->closed = true;
    an_stay_append(stay, every->group);
    every->group = NULL;
    every->stay = NULL;
}

static enum an_status add_quantity(struct an_stays *stays, struct an_stay *stay, uint32_t number,
                                   struct an_row *row, struct an_error *err)
{
    const struct an_plan *plan = stays->plan;
    const struct an_quantity *quantity = &plan->quantities[number];
    const enum an_subgroup_kind kind = quantity->of->subgroup;
    bool concerned = false;
    bool none = false;
    bool is_new = false;
    bool good = true;
    uint32_t split = 0;

    for (size_t i = 0; i < quantity->leaf_count && !concerned; i++) {
        concerned = an_row_passes_all(row, &quantity->leaves[i]);
    }
    if (!concerned && !quantity->of->count_rows) {
        return AN_OK;
    }
    const enum an_status st = find_split(stays, row, quantity->split, &split, &none, err);
    if (st || none) {
        return st;
    }
    if (kind == AN_SUBGROUP_EVERY && quantity->of->kind != AN_DERIVED) {
        struct an_every *every = find_every(stays, number, split);

        good = every && add_to_group(stays->arena, every->group, quantity, row, plan, concerned);
        if (good) {
            every->stay = stay;
        }
        if (good && every->group->rows >= quantity->of->subgroup_size) {
            close_every(stay, every);
        }
    } else if (kind == AN_SUBGROUP_ROW && quantity->of->kind != AN_DERIVED) {
        struct an_group *group = an_group_new(stays->arena, plan, number, split);

        good = group && add_to_group(stays->arena, group, quantity, row, plan, concerned);
        if (good) {
            group->closed = true;
            an_stay_append(stay, group);
        }
    } else {
        struct an_group *group = an_stay_group(stays, stay, number, split, &is_new);

        good = group && add_to_group(stays->arena, group, quantity, row, plan, concerned);
    }
    return good ? AN_OK : an_fail(err, AN_NO_MEMORY, "out of memory");
}

static struct an_bytes text_at(const struct an_row *row, size_t column)
{
    return column == AN_NONE ? (struct an_bytes){NULL, 0} : row->cells[column].text;
}

static int64_t whole_at(struct an_row *row, const struct an_plan *plan, size_t column)
{
    return column != AN_NONE && an_row_number(row, plan, column) == AN_CELL_NUMBER
               ? (int64_t)row->cells[column].number.value
               : -1;
}

static uint32_t sure_of(const struct an_row *row, const struct an_plan_link *link)
{
    const struct an_bytes text = text_at(row, link->confidence);

    for (uint32_t i = AN_SCANNED; i < AN_CONFIDENCES && text.length; i++) {
        if (an_word_in(text, &link->rule->confidence_words[i])) {
            return i;
        }
    }
    return link->rule->confidence;
}

static bool add_joints(struct an_stays *stays, struct an_stay *stay, struct an_row *row)
{
    const struct an_plan *plan = stays->plan;

    for (size_t i = 0; i < plan->link_count; i++) {
        const struct an_plan_link *link = &plan->links[i];
        struct an_tie joint = {
            .rule = (uint32_t)i,
            .serial = text_at(row, link->column),
            .role = text_at(row, link->role),
            .region = text_at(row, link->region),
            .share = NAN,
            .row = whole_at(row, plan, link->row),
            .column = whole_at(row, plan, link->column_place),
            .at_us = row->at_us,
            .line = row->line,
            .ends = an_row_ends(row, link),
            .turn = stay->ends,
            .sure = sure_of(row, link),
        };

        if (!joint.serial.length) {
            continue; /* not told: nothing is guessed */
        }
        stay->ends += joint.ends;
        if (link->share != AN_NONE && an_row_number(row, plan, link->share) == AN_CELL_NUMBER) {
            joint.share = row->cells[link->share].number.value;
        }
        if (!an_stay_join(stays, stay, &joint)) {
            return false;
        }
    }
    return true;
}

static bool add_words(struct an_stays *stays, struct an_stay *stay, const struct an_row *row)
{
    const struct an_plan *plan = stays->plan;

    return an_words_add(&stay->gauge, stays->arena, text_at(row, plan->gauge)) &&
           an_words_add(&stay->tool, stays->arena, text_at(row, plan->tool)) &&
           an_words_add(&stay->who, stays->arena, text_at(row, plan->who)) &&
           an_words_add(&stay->attempt, stays->arena, text_at(row, plan->attempt));
}

static void add_extent(struct an_stay *stay, const struct an_row *row, struct an_row_print print)
{
    const uint64_t low = stay->print_low;

    if (!stay->rows) {
        stay->first_us = stay->last_us = row->at_us;
        stay->first_line = row->line;
    }
    stay->first_us = row->at_us < stay->first_us ? row->at_us : stay->first_us;
    stay->last_us = row->at_us > stay->last_us ? row->at_us : stay->last_us;
    stay->last_line = row->line;
    stay->rows++;
    stay->print_low += print.low;
    stay->print_high += print.high + (stay->print_low < low);
}

enum an_status an_stays_add(struct an_stays *stays, struct an_row *row, struct an_row_print print,
                            uint32_t *local, struct an_error *err)
{
    an_text_clear(&stays->key);
    an_text_add_bytes(&stays->key, row->serial);
    an_text_add_char(&stays->key, '\0');
    an_text_add_bytes(&stays->key, row->purpose);
    const struct an_bytes key = {(const unsigned char *)an_text_of(&stays->key), stays->key.length};
    struct an_stay *stay = stays->key.failed ? NULL : an_stays_find(stays, key, row->serial.length);

    if (!stay) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    if (!stay->rows) {
        stay->locals.local = stays->next_local++;
    }
    *local = stay->locals.local;
    add_extent(stay, row, print);
    if (!add_words(stays, stay, row) || !add_joints(stays, stay, row)) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    for (size_t i = 0; i < stays->plan->split_count; i++) {
        stays->memo[i].is_set = false;
    }
    for (size_t i = 0; i < stays->plan->quantity_count; i++) {
        const enum an_status st = add_quantity(stays, stay, (uint32_t)i, row, err);
        if (st) {
            return st;
        }
    }
    return AN_OK;
}

enum an_status an_stays_end(struct an_stays *stays, struct an_error *err)
{
    for (size_t i = 0; i < stays->plan->quantity_count; i++) {
        for (size_t k = 0; k < stays->every_size[i]; k++) {
            struct an_every *every = &stays->every[i][k];

            if (!every->group) {
                continue;
            }
            struct an_stay *stay =
                every->stay ? every->stay : an_stays_find(stays, every->key, every->serial_length);
            if (!stay) {
                return an_fail(err, AN_NO_MEMORY, "out of memory");
            }
            close_every(stay, every);
        }
    }
    return AN_OK;
}
