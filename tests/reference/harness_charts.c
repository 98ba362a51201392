/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How often charts speak by luck, for the comparisons with R. */
#include "andamento/stat/chart_run_length.h"
#include "harness.h"

#include <stdio.h>
#include <string.h>

/* range W N: P(W <= w), P(W > w) of the range of n standard normals */
void answer_range(struct kept *kept, char *rest)
{
    (void)kept;
    const double w = next_number(&rest);
    const double n = next_number(&rest);
    say_numbers((const double[]){an_range_below(w, n), an_range_above(w, n)}, 2);
}

/* panel RANGE N K RATIO: chance of a point of a spread panel beyond its limits */
void answer_panel(struct kept *kept, char *rest)
{
    (void)kept;
    struct an_spread_panel panel;
    panel.range = next_number(&rest) > 0.0;
    panel.n = next_number(&rest);
    panel.k = next_number(&rest);
    say_numbers((const double[]){an_spread_panel_chance(&panel, next_number(&rest))}, 1);
}

static enum an_family family_named(const char *name)
{
    int f = 0;
    while (f < AN_FAMILY_COUNT && strcmp(an_family_name((enum an_family)f), name) != 0) {
        f++;
    }
    return (enum an_family)f;
}

/* chart FAMILY CENTRE OPPORTUNITIES DISPERSION SAMPLES K RUN: samples between false alarms of a chart of
 * counts with known limits, and the rate over baselines; RUN 0: beyond_limit alone, else with such runs */
void answer_chart(struct kept *kept, char *rest)
{
    (void)kept;
    struct an_chart_model model = {.family = family_named(next_word(&rest)), .n_nominal = 1};
    struct an_rule_choice rules = an_rules_default();
    struct an_estimated_run_length e;
    model.centre = next_number(&rest);
    model.mean_opportunities = next_number(&rest);
    model.dispersion = next_number(&rest);
    model.samples = (size_t)next_number(&rest);
    model.k = next_number(&rest);
    const int run = (int)next_number(&rest);
    rules.on[AN_RULE_RUN_ONE_SIDE] = run > 0;
    rules.run_length = run > 0 ? run : rules.run_length;
    struct an_arena *arena = an_arena_open();
    const enum an_status st =
        arena ? an_run_length_counts_ruled(&model, &rules, arena, &e) : AN_NO_MEMORY;
    an_arena_close(arena);
    if (st) {
        say_status(st);
        return;
    }
    say_numbers((const double[]){e.known, e.rate}, 2);
}

/* moving LEVEL RANGE MEAN SD: run length of values with their moving range */
void answer_moving(struct kept *kept, char *rest)
{
    (void)kept;
    double x[4], mean = 0.0;
    for (size_t i = 0; i < 4; i++) {
        x[i] = next_number(&rest);
    }
    struct an_arena *arena = an_arena_open();
    const enum an_status st =
        arena ? an_run_length_moving_range(x[0], x[1], (struct an_point_law){x[2], x[3]}, arena,
                                           &mean)
              : AN_NO_MEMORY;
    an_arena_close(arena);
    if (st) {
        say_status(st);
        return;
    }
    say_numbers(&mean, 1);
}
