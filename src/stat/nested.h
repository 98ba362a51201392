/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Nested readings laid out by their groups, for both roads to the components. Any thread. */
#ifndef AN_STAT_NESTED_H
#define AN_STAT_NESTED_H

#include "andamento/stat/components.h"
#include "stat/compensated.h"

struct nested_group {
    double n;
    struct pair_sum sum, mean;
    size_t parent; /* index on the level above; 0 on the outermost */
};

struct nested_tree {
    size_t levels, n;
    struct nested_group *group[AN_LEVELS_MOST]; /* in order; children of one parent together */
    size_t count[AN_LEVELS_MOST];
    double *within; /* sum of squares within each group of the innermost level */
    struct nested_group all;
};

AN_CHECKED enum an_status an_nested_lay_out(const struct an_nested_data *data,
                                            struct an_arena *arena, struct nested_tree *tree);
/* Table of squares, coefficients, balance, mean; AN_TOO_FEW with short_level, AN_NO_SPREAD. */
AN_CHECKED enum an_status an_nested_squares(const struct nested_tree *tree,
                                            struct an_components *components);
/* weight[k][m]: variance k = sum of weight * mean square m. */
void an_nested_weights(const struct an_components *components,
                       double weight[AN_COMPONENTS_MOST][AN_COMPONENTS_MOST]);
AN_CHECKED enum an_status an_nested_share_bounds(struct an_components *components,
                                                 double confidence, struct an_arena *arena);

#endif
