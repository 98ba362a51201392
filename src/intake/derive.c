/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Makes derived values out of a subgroup's sums and places. Must never need the order in which
 * readings came.
 *
 * A characteristic may be made of derived ones; the measured ones at the ends ("leaves") stand in
 * the group in the order in which this walk meets them.
 */
#include "intake/derive.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

struct walk {
    const struct an_plan *plan;
    const struct an_group *group;
    uint32_t leaf; /* the next one */
    enum an_status st;
};

static struct an_moments leaf_moments(const struct walk *walk, uint32_t leaf)
{
    const struct an_characteristic *of =
        walk->plan->quantities[walk->group->quantity].leaves[leaf].of;
    const struct an_moments moments = an_exact_moments(&walk->group->sums[leaf]);

    return an_moments_convert(&moments, of->factor, of->offset);
}

static bool is_per_cent(const struct an_characteristic *c)
{
    return c->unit && strcmp(c->unit, "%") == 0;
}

/* ---- the largest step between neighbours ------------------------------------------------------ */
struct spot { /* a place of the grid with the readings taken there */
    double row, column;
    double sum, count;
};

/* Places follow each other along a row or column of the grid if no more than this, in units of the
 * smallest distance between two of the item's rows or columns, lies between them: coordinates may be
 * counted (1, 2, 3) or measured (-50, -30, -10 mm). */
static const double most_gap = 1.5;

static int compare_numbers(const void *a, const void *b)
{
    const double one = *(const double *)a;
    const double other = *(const double *)b;

    return (one > other) - (one < other);
}

static int compare_spots(const void *a, const void *b)
{
    const struct spot *one = a;
    const struct spot *other = b;
    const int by_row = compare_numbers(&one->row, &other->row);

    return by_row ? by_row : compare_numbers(&one->column, &other->column);
}

/* Sorted, each place once. */
static size_t fold_spots(struct spot *spots, size_t count)
{
    size_t kept = 0;

    qsort(spots, count, sizeof *spots, compare_spots);
    for (size_t i = 0; i < count; i++) {
        if (kept && compare_spots(&spots[kept - 1], &spots[i]) == 0) {
            spots[kept - 1].sum += spots[i].sum;
            spots[kept - 1].count += spots[i].count;
        } else {
            spots[kept++] = spots[i];
        }
    }
    return kept;
}

/* The distinct values of a coordinate, sorted, and the smallest distance between two of them. */
static size_t fold_numbers(double *numbers, size_t count, double *spacing)
{
    size_t kept = 0;

    *spacing = INFINITY;
    qsort(numbers, count, sizeof *numbers, compare_numbers);
    for (size_t i = 0; i < count; i++) {
        if (kept && !(numbers[i] > numbers[kept - 1])) {
            continue;
        }
        if (kept && numbers[i] - numbers[kept - 1] < *spacing) {
            *spacing = numbers[i] - numbers[kept - 1];
        }
        numbers[kept++] = numbers[i];
    }
    return kept;
}

/* The value after this one, if it is near enough. */
static bool next_number(const double *numbers, size_t count, double spacing, double from,
                        double *next)
{
    const double *at = bsearch(&from, numbers, count, sizeof *numbers, compare_numbers);

    if (!at || at + 1 == numbers + count || at[1] - from > most_gap * spacing) {
        return false;
    }
    *next = at[1];
    return true;
}

static bool step_between(const struct spot *a, const struct spot *b, bool relative, double *step)
{
    const double one = a->sum / a->count;
    const double other = b->sum / b->count;
    const double mean = (one + other) / 2;

    *step = fabs(one - other);
    if (relative) {
        if (!(fabs(mean) > 0)) {
            return false;
        }
        *step = 100 * *step / fabs(mean);
    }
    return true;
}

struct grid {
    struct spot *spots;
    size_t count;
    double *rows, *columns;
    size_t row_count, column_count;
    double row_spacing, column_spacing;
};

static bool largest_step(const struct grid *grid, bool relative, double *value)
{
    bool any = false;

    for (size_t i = 0; i < grid->count; i++) {
        const struct spot *spot = &grid->spots[i];
        struct spot keys[2] = {*spot, *spot};
        const bool there[2] = {
            next_number(grid->columns, grid->column_count, grid->column_spacing, spot->column,
                        &keys[0].column),
            next_number(grid->rows, grid->row_count, grid->row_spacing, spot->row, &keys[1].row),
        };

        for (int k = 0; k < 2; k++) {
            const struct spot *next =
                there[k] ? bsearch(&keys[k], grid->spots, grid->count, sizeof *spot, compare_spots)
                         : NULL;
            double step = 0;

            if (next && step_between(spot, next, relative, &step)) {
                *value = any && *value > step ? *value : step;
                any = true;
            }
        }
    }
    return any;
}

static void fill_grid(const struct walk *walk, uint32_t leaf, struct grid *grid)
{
    const struct an_characteristic *of =
        walk->plan->quantities[walk->group->quantity].leaves[leaf].of;

    for (const struct an_place *place = walk->group->places; place; place = place->next) {
        if (place->leaf == leaf) {
            grid->spots[grid->count] = (struct spot){
                place->row, place->column, place->reading.value * of->factor + of->offset, 1};
            grid->rows[grid->count] = place->row;
            grid->columns[grid->count] = place->column;
            grid->count++;
        }
    }
    grid->row_count = fold_numbers(grid->rows, grid->count, &grid->row_spacing);
    grid->column_count = fold_numbers(grid->columns, grid->count, &grid->column_spacing);
    grid->count = fold_spots(grid->spots, grid->count);
}

static bool neighbour_step(struct walk *walk, uint32_t leaf, bool relative, double *value)
{
    struct grid grid = {0};
    size_t most = 1;
    bool any = false;

    for (const struct an_place *place = walk->group->places; place; place = place->next) {
        most++;
    }
    grid.spots = an_alloc(most, sizeof *grid.spots);
    grid.rows = an_alloc(most, sizeof *grid.rows);
    grid.columns = an_alloc(most, sizeof *grid.columns);
    if (!grid.spots || !grid.rows || !grid.columns) {
        walk->st = AN_NO_MEMORY;
    } else {
        fill_grid(walk, leaf, &grid);
        any = largest_step(&grid, relative, value);
    }
    an_free(grid.spots);
    an_free(grid.rows);
    an_free(grid.columns);
    return any;
}

/* ---- all derivations -------------------------------------------------------------------------- */
static bool of_readings(struct walk *walk, const struct an_characteristic *c, double *value)
{
    const uint32_t leaf = walk->leaf++;
    const struct an_moments moments = leaf_moments(walk, leaf);

    if (moments.n == 0) {
        return false;
    }
    switch (c->derivation) {
    case AN_DERIVE_MIN_OVER_MAX:
        *value = moments.min / moments.max * (is_per_cent(c) ? 100 : 1);
        return moments.max > 0 || moments.max < 0;
    case AN_DERIVE_NEIGHBOUR_STEP:
        return neighbour_step(walk, leaf, is_per_cent(c), value);
    case AN_DERIVE_RANGE:
        *value = moments.max - moments.min;
        return true;
    case AN_DERIVE_SD:
        *value = an_moments_sd(&moments);
        return moments.n > 1;
    case AN_DERIVE_MEAN:
    case AN_NOT_DERIVED: /* a measured one inside another: its item mean */
    case AN_DERIVE_RADIAL:
    case AN_DERIVE_DIFFERENCE:
    case AN_DERIVE_TOGETHER:
    case AN_DERIVE_EXTREMES:
    default:
        *value = moments.mean;
        return true;
    }
}

static bool evaluate(struct walk *walk, const struct an_characteristic *c, double *value)
{
    double parts[2] = {0, 0};

    if (c->derivation != AN_DERIVE_RADIAL && c->derivation != AN_DERIVE_DIFFERENCE &&
        c->derivation != AN_DERIVE_TOGETHER) {
        return of_readings(walk, c, value);
    }
    /* both, even if the first gives nothing: the leaves are counted on the way */
    const bool first = evaluate(walk, &walk->plan->line->characteristics[c->of[0]], &parts[0]);
    const bool second = evaluate(walk, &walk->plan->line->characteristics[c->of[1]], &parts[1]);
    *value = c->derivation == AN_DERIVE_RADIAL     ? hypot(parts[0], parts[1])
             : c->derivation == AN_DERIVE_TOGETHER ? parts[0]
                                                   : parts[0] - parts[1];
    return first && second;
}

bool an_derive(const struct an_plan *plan, const struct an_group *group, double *value,
               enum an_status *st)
{
    struct walk walk = {plan, group, 0, AN_OK};
    const bool good = evaluate(&walk, plan->quantities[group->quantity].of, value);

    *st = walk.st;
    return good && isfinite(*value);
}
