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
struct spot { /* a place of the grid with the mean of its readings */
    int64_t row, column;
    double sum;
    double count;
};

static int compare_spots(const void *a, const void *b)
{
    const struct spot *one = a;
    const struct spot *other = b;

    if (one->row != other->row) {
        return one->row < other->row ? -1 : 1;
    }
    return (one->column > other->column) - (one->column < other->column);
}

static const struct spot *find_spot(const struct spot *spots, size_t count, int64_t row,
                                    int64_t column)
{
    const struct spot key = {row, column, 0, 0};

    return bsearch(&key, spots, count, sizeof *spots, compare_spots);
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

static bool largest_step(const struct spot *spots, size_t count, bool relative, double *value)
{
    bool any = false;

    for (size_t i = 0; i < count; i++) {
        const struct spot *neighbours[2] = {
            find_spot(spots, count, spots[i].row, spots[i].column + 1),
            find_spot(spots, count, spots[i].row + 1, spots[i].column),
        };

        for (int k = 0; k < 2; k++) {
            double step = 0;

            if (!neighbours[k] || !step_between(&spots[i], neighbours[k], relative, &step)) {
                continue;
            }
            *value = any && *value > step ? *value : step;
            any = true;
        }
    }
    return any;
}

static bool neighbour_step(struct walk *walk, uint32_t leaf, bool relative, double *value)
{
    const struct an_characteristic *of =
        walk->plan->quantities[walk->group->quantity].leaves[leaf].of;
    size_t count = 0;

    for (const struct an_place *place = walk->group->places; place; place = place->next) {
        count += place->leaf == leaf;
    }
    struct spot *spots = an_alloc(count + 1, sizeof *spots);
    if (!spots) {
        walk->st = AN_NO_MEMORY;
        return false;
    }
    count = 0;
    for (const struct an_place *place = walk->group->places; place; place = place->next) {
        if (place->leaf == leaf) {
            spots[count++] = (struct spot){place->row, place->column,
                                           place->reading.value * of->factor + of->offset, 1};
        }
    }
    count = fold_spots(spots, count);
    const bool any = largest_step(spots, count, relative, value);
    an_free(spots);
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
    default:
        *value = moments.mean;
        return true;
    }
}

static bool evaluate(struct walk *walk, const struct an_characteristic *c, double *value)
{
    double parts[2] = {0, 0};

    if (c->derivation != AN_DERIVE_RADIAL && c->derivation != AN_DERIVE_DIFFERENCE) {
        return of_readings(walk, c, value);
    }
    /* both, even if the first gives nothing: the leaves are counted on the way */
    const bool first = evaluate(walk, &walk->plan->line->characteristics[c->of[0]], &parts[0]);
    const bool second = evaluate(walk, &walk->plan->line->characteristics[c->of[1]], &parts[1]);
    *value = c->derivation == AN_DERIVE_RADIAL ? hypot(parts[0], parts[1]) : parts[0] - parts[1];
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
