/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Nested readings as a tree of groups, and their table of squares.
 *
 * Responsible for sums of squares that keep their digits when the mean is large, and for the
 * coefficients of expected mean squares whatever the group sizes. Never estimates a component.
 *
 * The hard idea: with unequal groups the mean square of a level expects
 *   sum over finer levels j of var_j * (sum n_h^2/n_g - sum n_h^2/n_parent) / df,
 * h running over the groups of level j, g being h's group on the level [Searle, Casella and
 * McCulloch, Variance Components, 1992, appendix F; from memory].
 */
#include "stat/nested.h"

#include "andamento/stat/tests.h"

#include <stdlib.h>
#include <string.h>

struct placed {
    size_t key[AN_LEVELS_MOST];
    double value;
};

static int compare_placed(const void *a, const void *b)
{
    const struct placed *x = a;
    const struct placed *y = b;
    for (size_t k = 0; k < AN_LEVELS_MOST; k++) {
        if (x->key[k] != y->key[k]) {
            return x->key[k] < y->key[k] ? -1 : 1;
        }
    }
    return x->value < y->value ? -1 : x->value > y->value;
}

static struct placed *sorted(const struct an_nested_data *data, struct an_arena *arena)
{
    struct placed *placed = an_arena_alloc(arena, data->n, sizeof *placed);
    for (size_t i = 0; placed && i < data->n; i++) {
        for (size_t k = 0; k < data->levels; k++) {
            placed[i].key[k] = data->group[k][i];
        }
        placed[i].value = data->value[i];
    }
    if (placed) {
        qsort(placed, data->n, sizeof *placed, compare_placed);
    }
    return placed;
}

/* The outermost level on which reading i begins a new group; levels: it begins none. */
static size_t begins(const struct placed *placed, size_t i, size_t levels)
{
    for (size_t k = 0; i > 0 && k < levels; k++) {
        if (placed[i].key[k] != placed[i - 1].key[k]) {
            return k;
        }
    }
    return i > 0 ? levels : 0;
}

static void take(struct nested_group *group, double x)
{
    group->n += 1.0;
    pair_add(&group->sum, x);
}

static void fill(struct nested_tree *tree, const struct placed *placed)
{
    for (size_t i = 0; i < tree->n; i++) {
        for (size_t k = begins(placed, i, tree->levels); k < tree->levels; k++) {
            struct nested_group *opened = &tree->group[k][tree->count[k]++];
            opened->parent = k > 0 ? tree->count[k - 1] - 1 : 0;
        }
        take(&tree->all, placed[i].value);
        for (size_t k = 0; k < tree->levels; k++) {
            take(&tree->group[k][tree->count[k] - 1], placed[i].value);
        }
    }
    tree->all.mean = pair_over(tree->all.sum, tree->all.n);
    for (size_t k = 0; k < tree->levels; k++) {
        for (size_t g = 0; g < tree->count[k]; g++) {
            tree->group[k][g].mean = pair_over(tree->group[k][g].sum, tree->group[k][g].n);
        }
    }
    const size_t inner = tree->levels - 1;
    for (size_t i = 0, g = 0; i < tree->n; i++) {
        g += i > 0 && begins(placed, i, tree->levels) < tree->levels;
        const double off = pair_from(placed[i].value, tree->group[inner][g].mean);
        tree->within[g] += off * off;
    }
}

enum an_status an_nested_lay_out(const struct an_nested_data *data, struct an_arena *arena,
                                 struct nested_tree *tree)
{
    *tree = (struct nested_tree){.levels = data->levels, .n = data->n};
    if (data->levels < 1 || data->levels > AN_LEVELS_MOST) {
        return AN_DOMAIN;
    }
    if (data->n < 2) {
        return AN_TOO_FEW;
    }
    for (size_t i = 0; i < data->n; i++) {
        if (!isfinite(data->value[i])) {
            return AN_DOMAIN;
        }
    }
    const struct placed *placed = sorted(data, arena);
    tree->within = an_arena_alloc(arena, data->n, sizeof *tree->within);
    for (size_t k = 0; k < data->levels; k++) {
        tree->group[k] = an_arena_alloc(arena, data->n, sizeof *tree->group[k]);
        if (!tree->group[k]) {
            return AN_NO_MEMORY;
        }
    }
    if (!placed || !tree->within) {
        return AN_NO_MEMORY;
    }
    fill(tree, placed);
    return AN_OK;
}

static double apart(struct pair_sum a, struct pair_sum b)
{
    const struct pair_sum d = pair_of(a.hi, -b.hi);
    return d.hi + (d.lo + (a.lo - b.lo));
}

/* sum over the groups h of level j of n_h^2 / n of the group on level k that holds h; k = -1: all */
static double spread_sum(const struct nested_tree *tree, int k, size_t j)
{
    if (k >= 0 && j == tree->levels) {
        return (double)tree->count[k];
    }
    if (j == tree->levels) {
        return 1.0;
    }
    double sum = 0.0;
    for (size_t h = 0; h < tree->count[j]; h++) {
        size_t g = h;
        for (size_t level = j; k >= 0 && level > (size_t)k; level--) {
            g = tree->group[level][g].parent;
        }
        const double n = tree->group[j][h].n;
        sum += n * n / (k >= 0 ? tree->group[k][g].n : tree->all.n);
    }
    return sum;
}

static bool is_balanced(const struct nested_tree *tree)
{
    for (size_t k = 0; k < tree->levels; k++) {
        size_t children[2] = {0, 0}; /* of the first parent, of the one at hand */
        for (size_t g = 0; g < tree->count[k]; g++) {
            if (tree->group[k][g].n != tree->group[k][0].n) {
                return false;
            }
            const size_t parent = tree->group[k][g].parent;
            children[0] += parent == 0;
            children[1] = g > 0 && tree->group[k][g - 1].parent == parent ? children[1] + 1 : 1;
            const bool last = g + 1 == tree->count[k] || tree->group[k][g + 1].parent != parent;
            if (last && children[1] != children[0]) {
                return false;
            }
        }
    }
    return true;
}

/* Sum of squares of a level: its groups around the means of the groups that hold them. */
static double level_squares(const struct nested_tree *tree, size_t k)
{
    struct pair_sum sum = {0.0, 0.0};
    if (k == tree->levels) {
        for (size_t g = 0; g < tree->count[k - 1]; g++) {
            pair_add(&sum, tree->within[g]);
        }
        return sum.hi;
    }
    for (size_t g = 0; g < tree->count[k]; g++) {
        const struct nested_group *group = &tree->group[k][g];
        const struct nested_group *over = k > 0 ? &tree->group[k - 1][group->parent] : &tree->all;
        const double off = apart(group->mean, over->mean);
        pair_add_product(&sum, group->n * off, off);
    }
    return sum.hi;
}

/* F of each level against what its mean square expects without its own component; the denominator
 * mixes mean squares where groups are unequal, its df by Satterthwaite, Biometrics Bulletin 2,
 * 1946 (from memory). */
static void fill_tests(struct an_components *c)
{
    double weight[AN_COMPONENTS_MOST][AN_COMPONENTS_MOST];
    an_nested_weights(c, weight);
    for (size_t k = 0; k < c->levels; k++) {
        double below = 0.0;
        double spread = 0.0;
        for (size_t m = k + 1; m <= c->levels; m++) {
            double b = 0.0;
            for (size_t j = k + 1; j <= m; j++) {
                b += c->coefficient[k][j] * weight[j][m];
            }
            below += b * c->at[m].ms;
            spread += b * b * c->at[m].ms * c->at[m].ms / c->at[m].df;
        }
        c->at[k].f = c->at[k].f_df = c->at[k].p = NAN;
        if (below > 0.0 && spread > 0.0) {
            c->at[k].f = c->at[k].ms / below;
            c->at[k].f_df = below * below / spread;
            c->at[k].p = an_f_above(c->at[k].f, c->at[k].df, c->at[k].f_df);
        }
    }
    c->at[c->levels].f = c->at[c->levels].f_df = c->at[c->levels].p = NAN;
}

enum an_status an_nested_squares(const struct nested_tree *tree, struct an_components *c)
{
    *c = (struct an_components){.levels = tree->levels, .n = tree->n, .log_likelihood = NAN};
    c->mean = tree->all.mean.hi;
    c->balanced = is_balanced(tree);
    double sum = 0.0;
    for (size_t k = 0; k <= tree->levels; k++) {
        struct an_component *at = &c->at[k];
        const double above = k > 0 ? (double)tree->count[k - 1] : 1.0;
        at->groups = k < tree->levels ? tree->count[k] : tree->n;
        at->df = (double)at->groups - above;
        if (at->df < 1.0) {
            c->short_level = k;
            return AN_TOO_FEW;
        }
        at->ss = level_squares(tree, k);
        at->ms = at->ss / at->df;
        sum += at->ss;
        for (size_t j = k; j < tree->levels; j++) {
            c->coefficient[k][j] =
                (spread_sum(tree, (int)k, j) - spread_sum(tree, (int)k - 1, j)) / at->df;
        }
        c->coefficient[k][tree->levels] = 1.0;
    }
    if (!(sum > 0.0)) {
        return AN_NO_SPREAD;
    }
    if (!isfinite(sum)) {
        return AN_DOMAIN;
    }
    fill_tests(c);
    return AN_OK;
}

void an_nested_weights(const struct an_components *c,
                       double weight[AN_COMPONENTS_MOST][AN_COMPONENTS_MOST])
{
    memset(weight, 0, sizeof(double[AN_COMPONENTS_MOST][AN_COMPONENTS_MOST]));
    for (size_t k = c->levels + 1; k-- > 0;) {
        weight[k][k] = 1.0 / c->coefficient[k][k];
        for (size_t m = k + 1; m <= c->levels; m++) {
            double sum = 0.0;
            for (size_t j = k + 1; j <= m; j++) {
                sum += c->coefficient[k][j] * weight[j][m];
            }
            weight[k][m] = -sum / c->coefficient[k][k];
        }
    }
}
