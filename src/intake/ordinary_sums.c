/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What ordinary rows add: to the subgroups, links and prints of the visit at hand. Must never make a
 * subgroup or a link: the first row of each goes through the row path, which keeps their order.
 */
#include "andamento/stat/moments.h"
#include "intake/ordinary_inner.h"

/* ---- finding ---------------------------------------------------------------------------------- */
static const uint32_t no_code = UINT32_MAX;

static struct an_bytes word_at(const struct an_columns *columns, size_t column, uint32_t code)
{
    return code == no_code ? (struct an_bytes){NULL, 0}
                           : an_names_at(columns->at[column].words, code);
}

static struct an_bytes purpose_of(const struct an_stay *stay)
{
    return (struct an_bytes){stay->key.at + stay->serial_length + 1,
                             stay->key.length - stay->serial_length - 1};
}

/* Looks the split's number up by its words; false if the file has none such yet. */
static bool find_split(struct an_ordinary *o, struct an_reading *reading, size_t split,
                       const uint32_t *codes, uint32_t *number)
{
    const struct an_plan_split *of = &o->plan->splits[split];
    struct an_stays *stays = &reading->stays;
    struct an_bytes words[AN_ORDINARY_SPLIT_COLUMNS];

    for (size_t i = 0; i < of->count; i++) {
        words[i] = word_at(&reading->columns, of->columns[i], codes[i]);
    }
    an_text_clear(&stays->split_text);
    an_split_write(&stays->split_text, o->plan, split, words, purpose_of(o->stay));
    if (stays->split_text.failed) {
        return false; /* the row path will meet it, too */
    }
    const struct an_bytes text = {(const unsigned char *)an_text_of(&stays->split_text),
                                  stays->split_text.length};
    const size_t found = an_names_find(stays->splits, text);
    *number = (uint32_t)found;
    return found != AN_NO_NAME;
}

static size_t find_splits(struct an_ordinary *o, struct an_reading *reading, size_t split, size_t n)
{
    const struct an_plan_split *of = &o->plan->splits[split];
    const struct an_columns *columns = &reading->columns;
    uint32_t *out = o->split_of + split * AN_ORDINARY_ROWS;
    const uint32_t *codes[AN_ORDINARY_SPLIT_COLUMNS];

    for (size_t i = 0; i < of->count; i++) {
        codes[i] = columns->at[of->columns[i]].codes + columns->rows;
    }
    for (size_t r = 0; r < n; r++) {
        uint32_t own[AN_ORDINARY_SPLIT_COLUMNS];
        uint64_t key = 0;

        for (size_t i = 0; i < of->count; i++) {
            own[i] = codes[i][r];
            key = key << 20 | own[i]; /* a block has fewer words than that */
        }
        struct an_known_split *known =
            &o->splits[split * AN_KNOWN_SPLITS + (key * UINT64_C(0x9E3779B97F4A7C15) >> 58)];
        if (!known->is_set || known->key != key) {
            uint32_t number = 0;

            if (!find_split(o, reading, split, own, &number)) {
                return r;
            }
            *known = (struct an_known_split){key, number, true};
        }
        out[r] = known->number;
    }
    return n;
}

static bool passes(const struct an_ordinary_leaf *leaf, size_t r)
{
    for (size_t i = 0; i < leaf->test_count; i++) {
        if (!(leaf->tests[i].passes[r] & leaf->tests[i].bit)) {
            return false;
        }
    }
    return true;
}

static bool is_concerned(const struct an_ordinary_quantity *quantity, size_t r)
{
    for (size_t i = 0; i < quantity->of->leaf_count; i++) {
        if (passes(&quantity->leaves[i], r)) {
            return true;
        }
    }
    return false;
}

/* Is the row's ribbon word among the group's? */
static bool has_ribbon(const struct an_group *group, struct an_bytes text)
{
    if (!text.length || (group->ribbon.last && an_bytes_equal(group->ribbon.last->text, text))) {
        return true;
    }
    for (const struct an_word *word = group->ribbon.first; word; word = word->next) {
        if (an_bytes_equal(word->text, text)) {
            return true;
        }
    }
    return false;
}

static size_t find_groups(struct an_ordinary *o, struct an_reading *reading, uint32_t number,
                          size_t n)
{
    struct an_ordinary_quantity *quantity = &o->quantities[number];
    const uint32_t *splits = o->split_of + quantity->of->split * AN_ORDINARY_ROWS;
    const size_t ribbon = quantity->of->ribbon_column;
    const struct an_columns *columns = &reading->columns;

    for (size_t r = 0; r < n; r++) {
        quantity->groups[r] = NULL;
        if (quantity->is_filtered && !is_concerned(quantity, r)) {
            continue;
        }
        struct an_known_group *known = &quantity->known[splits[r] % AN_KNOWN_GROUPS];
        if (known->visit != o->visit || known->split != splits[r]) {
            struct an_group *group = an_stay_find_group(o->stay, number, splits[r]);

            if (!group) {
                return r;
            }
            *known = (struct an_known_group){o->visit, splits[r], group};
        }
        quantity->groups[r] = known->group;
        if (ribbon != AN_NONE &&
            !has_ribbon(known->group,
                        word_at(columns, ribbon, columns->at[ribbon].codes[columns->rows + r]))) {
            return r;
        }
    }
    return n;
}

static size_t find_joints(struct an_ordinary *o, struct an_reading *reading, size_t link, size_t n)
{
    const struct an_plan_link *of = &o->plan->links[link];
    const struct an_columns *columns = &reading->columns;
    const size_t parts[3] = {of->column, of->role, of->region};
    struct an_tie **out = o->joint_of + link * AN_ORDINARY_ROWS;

    for (size_t r = 0; r < n; r++) {
        uint32_t codes[3] = {no_code, no_code, no_code};
        uint64_t key = 0;

        for (size_t i = 0; i < 3; i++) {
            codes[i] =
                parts[i] == AN_NONE ? no_code : columns->at[parts[i]].codes[columns->rows + r];
            key = key << 20 | (codes[i] & 0xFFFFF);
        }
        out[r] = NULL;
        if (codes[0] == no_code) {
            continue; /* no serial: no link is told */
        }
        struct an_known_joint *known =
            &o->joints[link * AN_KNOWN_GROUPS + (key * UINT64_C(0x9E3779B97F4A7C15) >> 58)];
        if (known->visit != o->visit || known->key != key) {
            const struct an_tie joint = {.rule = (uint32_t)link,
                                         .serial = word_at(columns, parts[0], codes[0]),
                                         .role = word_at(columns, parts[1], codes[1]),
                                         .region = word_at(columns, parts[2], codes[2]),
                                         .row = -1,
                                         .column = -1};
            struct an_tie *found = an_stay_find_joint(o->stay, &joint);

            if (!found) {
                return r;
            }
            *known = (struct an_known_joint){key, o->visit, found};
        }
        out[r] = known->joint;
    }
    return n;
}

static double value_at(const struct an_columns *columns, size_t column, size_t r)
{
    const struct an_block_column *block = &columns->at[column];

    return an_decimal_value(block->scaled[columns->rows + r], block->decimals[columns->rows + r]);
}

size_t an_ordinary_find(struct an_ordinary *o, struct an_reading *reading, size_t n)
{
    const struct an_plan *plan = o->plan;

    for (size_t i = 0; i < plan->part_whole_count; i++) {
        for (size_t r = 0; r < n; r++) {
            if (value_at(&reading->columns, plan->part_whole[i][0], r) >
                value_at(&reading->columns, plan->part_whole[i][1], r)) {
                n = r;
            }
        }
    }
    for (size_t s = 0; s < plan->split_count; s++) {
        n = find_splits(o, reading, s, n);
    }
    for (uint32_t q = 0; q < plan->quantity_count; q++) {
        n = find_groups(o, reading, q, n);
    }
    for (size_t i = 0; i < plan->link_count; i++) {
        n = find_joints(o, reading, i, n);
    }
    return n;
}

/* ---- adding ----------------------------------------------------------------------------------- */
/* The usual case of an_exact_add(), without a call. */
static inline void add_exact(struct an_exact_sums *sums, int64_t scaled, int decimals)
{
    const uint64_t size = scaled < 0 ? 0 - (uint64_t)scaled : (uint64_t)scaled;
    an_print_sum squares = 0;

    if (sums->inexact || sums->n == 0 || sums->decimals != decimals ||
        __builtin_add_overflow(sums->squares, (an_print_sum)size * size, &squares)) {
        an_exact_add(sums, scaled, decimals);
        return;
    }
    sums->squares = squares;
    sums->sum += scaled;
    sums->min = scaled < sums->min ? scaled : sums->min;
    sums->max = scaled > sums->max ? scaled : sums->max;
    sums->n++;
}

static bool add_place(struct an_reading *reading, struct an_group *group, uint32_t number,
                      const struct an_plan_leaf *leaf, size_t r)
{
    const struct an_columns *columns = &reading->columns;
    const struct an_block_column *block = &columns->at[leaf->column];
    const size_t at = columns->rows + r;

    if (leaf->row_column == AN_NONE || leaf->column_column == AN_NONE) {
        return true;
    }
    struct an_place *place = an_arena_alloc(reading->stays.arena, 1, sizeof *place);
    if (!place) {
        return false;
    }
    place->row = value_at(columns, leaf->row_column, r);
    place->column = value_at(columns, leaf->column_column, r);
    place->reading = (struct an_decimal){block->scaled[at], block->decimals[at],
                                         an_decimal_value(block->scaled[at], block->decimals[at])};
    place->leaf = number;
    place->next = group->places;
    group->places = place;
    return true;
}

static bool add_leaf(struct an_ordinary *o, struct an_reading *reading,
                     struct an_ordinary_quantity *quantity, uint32_t number, size_t n)
{
    const struct an_plan_leaf *leaf = &quantity->of->leaves[number];
    const struct an_block_column *block = &reading->columns.at[leaf->column];
    const int64_t *scaled = block->scaled + reading->columns.rows;
    const signed char *decimals = block->decimals + reading->columns.rows;

    (void)o;
    for (size_t r = 0; r < n; r++) {
        struct an_group *group = quantity->groups[r];

        if (!group || (quantity->is_filtered && !passes(&quantity->leaves[number], r))) {
            continue;
        }
        add_exact(&group->sums[number], scaled[r], decimals[r]);
        if (leaf->wants_cells && !add_place(reading, group, number, leaf, r)) {
            return false;
        }
    }
    return true;
}

static bool add_quantity(struct an_ordinary *o, struct an_reading *reading,
                         struct an_ordinary_quantity *quantity, size_t n)
{
    const uint64_t line = reading->lines.line;

    for (size_t r = 0; r < n; r++) {
        struct an_group *group = quantity->groups[r];

        if (group) {
            group->last_line = line + r;
            group->at_us = o->at_us[r] > group->at_us ? o->at_us[r] : group->at_us;
            group->rows++;
        }
    }
    for (uint32_t i = 0; i < quantity->of->leaf_count; i++) {
        if (!add_leaf(o, reading, quantity, i, n)) {
            return false;
        }
    }
    return true;
}

/* The words of a column, one a row or one for all. */
static const uint64_t *words_of(const struct an_ordinary *o, size_t column, size_t *step)
{
    static const uint64_t nothing = 0;

    *step = 0;
    if (column == o->plan->column_count) {
        return &nothing;
    }
    if (o->columns[column].time) {
        *step = 1;
        return (const uint64_t *)(const void *)o->at_us;
    }
    if (o->columns[column].same || o->columns[column].field == AN_NONE) {
        return &o->columns[column].print;
    }
    *step = 1;
    return o->columns[column].prints;
}

static void add_prints(struct an_ordinary *o, size_t n)
{
    an_print_sum same = 0;
    uint64_t low = 0;
    uint64_t high = 0;

    memset(o->sums, 0, n * sizeof *o->sums);
    for (size_t i = 0; i < o->plan->column_count; i += 2) {
        size_t even_step = 0;
        size_t odd_step = 0;
        const uint64_t *even = words_of(o, i, &even_step);
        const uint64_t *odd = words_of(o, i + 1, &odd_step);
        const uint64_t even_key = an_print_key(i);
        const uint64_t odd_key = an_print_key(i + 1);

        if (!even_step && !odd_step) {
            same += an_print_pair(*even, *odd, even_key, odd_key);
            continue;
        }
        for (size_t r = 0; r < n; r++) {
            o->sums[r] += an_print_pair(even[r * even_step], odd[r * odd_step], even_key, odd_key);
        }
    }
    for (size_t r = 0; r < n; r++) {
        const struct an_row_print print = an_print_end(o->sums[r] + same);

        low += print.low;
        high += print.high + (low < print.low);
    }
    const uint64_t before = o->stay->print_low;
    o->stay->print_low += low;
    o->stay->print_high += high + (o->stay->print_low < before);
}

enum an_status an_ordinary_add(struct an_ordinary *o, struct an_reading *reading, size_t n,
                               struct an_error *err)
{
    struct an_stay *stay = o->stay;
    int64_t first_us = o->at_us[0];
    int64_t last_us = o->at_us[0];
    bool good = an_rowmap_add_many(&reading->map, stay->locals.local, n);

    for (size_t r = 1; r < n; r++) {
        first_us = o->at_us[r] < first_us ? o->at_us[r] : first_us;
        last_us = o->at_us[r] > last_us ? o->at_us[r] : last_us;
    }
    stay->first_us = first_us < stay->first_us ? first_us : stay->first_us;
    stay->last_us = last_us > stay->last_us ? last_us : stay->last_us;
    stay->last_line = reading->lines.line + n - 1;
    stay->rows += (int64_t)n;
    reading->first_us = reading->first_us == AN_NO_INSTANT || first_us < reading->first_us
                            ? first_us
                            : reading->first_us;
    reading->last_us = last_us > reading->last_us ? last_us : reading->last_us;
    add_prints(o, n);
    for (size_t i = 0; i < o->plan->link_count; i++) {
        struct an_tie **joints = o->joint_of + i * AN_ORDINARY_ROWS;

        for (size_t r = 0; r < n; r++) {
            if (joints[r] && o->at_us[r] < joints[r]->at_us) {
                joints[r]->at_us = o->at_us[r];
            }
        }
    }
    for (size_t q = 0; good && q < o->plan->quantity_count; q++) {
        good = add_quantity(o, reading, &o->quantities[q], n);
    }
    reading->counts.rows += (int64_t)n;
    reading->counts.taken += (int64_t)n;
    reading->accepted += n;
    return good ? AN_OK : an_fail(err, AN_NO_MEMORY, "out of memory");
}
