/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Delays of the present chart. Must never tell one where a shift of the mean is no shift of the plotted points:
 * residuals forget it, distances of two variables have no direction.
 */
#include "judge/delay.h"

#include "andamento/stat/design.h"
#include "judge/judging.h"

#include <math.h>

const char *an_delay_why_not(const struct an_limits *limits)
{
    const enum an_family family = limits->model.family;
    const struct an_rule_choice rules = an_panel_rules(limits, 0);
    bool on = false;

    for (int r = 0; r < AN_RULE_COUNT; r++) {
        on = on || rules.on[r];
    }
    if (an_family_is_attribute(family)) {
        return "its points are counts or gaps, whose run lengths depend on their rate";
    }
    if (an_family_is_joint(family)) {
        return "it charts two variables together";
    }
    if (family == AN_RESIDUALS) {
        return "it charts residuals, which show a shift at its first sample and forget it";
    }
    if (family == AN_WEAR || family == AN_GROUP || family == AN_SHORT_RUN) {
        return "its points are departures of several tools, members or products";
    }
    if (!(limits->model.sigma_level > 0.0)) {
        return "its limits have no sigma";
    }
    return on ? NULL : "no rule is on";
}

static enum an_status solve(const struct an_limits *limits, struct an_point_law law,
                            struct an_arena *scratch, struct an_run_length *run)
{
    const struct an_rule_choice rules = an_panel_rules(limits, 0);
    struct an_rule_chain *chain;

    if (limits->model.weighting.kind != AN_UNWEIGHTED) {
        return an_run_length_weighted(&limits->model.weighting, law, true, scratch, run);
    }
    const enum an_status st = an_rule_chain_open(&rules, limits->model.k, scratch, &chain);
    return st ? st : an_run_length_rules(chain, law, AN_ZERO_STATE, true, scratch, run);
}

enum an_status an_delay_of(const struct an_limits *limits, double shift, double *samples)
{
    struct an_run_length run = {.mean = (double)NAN};

    *samples = (double)NAN;
    if (an_delay_why_not(limits) || !isfinite(shift)) {
        return AN_DOMAIN;
    }
    struct an_arena *scratch = an_arena_open();
    if (!scratch) {
        return AN_NO_MEMORY;
    }
    const enum an_status st = solve(limits, (struct an_point_law){shift, 1.0}, scratch, &run);
    an_arena_close(scratch);
    *samples = st ? (double)NAN : run.mean;
    return st;
}
