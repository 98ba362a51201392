/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How a characteristic is charted and judged: samples, family, rules, ribbon. Must never compute a
 * limit. Names of families and rules are those of the statistics, asked for one by one. */
#include "andamento/stat/multivariate.h"
#include "line/sections.h"

#include <math.h>
#include <string.h>

static enum an_family usual_family(const struct an_characteristic *one)
{
    if (one->kind == AN_DERIVED) {
        return one->derivation == AN_DERIVE_TOGETHER   ? AN_T2
               : one->derivation == AN_DERIVE_EXTREMES ? AN_GROUP
                                                       : AN_INDIVIDUALS; /* one value an item */
    }
    if (one->kind == AN_COUNTED) {
        if (one->events.count > 0) {
            return AN_P_PRIME;
        }
        return one->opportunities_column || !isnan(one->opportunities) ? AN_U_PRIME : AN_C;
    }
    switch (one->subgroup) {
    case AN_SUBGROUP_ROW:
        return AN_INDIVIDUALS;
    case AN_SUBGROUP_EVERY:
        return AN_XBAR_S;
    case AN_SUBGROUP_ITEM:
        break;
    }
    return AN_BETWEEN_WITHIN;
}

enum an_family an_read_family(struct an_reading *reading, const struct an_yaml_node *node,
                              const struct an_characteristic *one)
{
    struct an_word_choice choices[AN_FAMILY_COUNT];
    for (int i = 0; i < AN_FAMILY_COUNT; i++) {
        choices[i] = (struct an_word_choice){an_family_name((enum an_family)i), i, false};
    }
    return (enum an_family)an_read_choice(reading, node, "family", choices, AN_FAMILY_COUNT,
                                          (int)usual_family(one));
}

#define USUAL_BETWEEN 370.4 /* points between false alarms of single limits at 3 sigma */

void an_read_limits_by(struct an_reading *reading, const struct an_yaml_node *limits,
                       const struct an_yaml_node *covariance, const struct an_yaml_node *family,
                       struct an_characteristic *one)
{
    static const struct an_word_choice kinds[] = {{"sigmas", 0, false}, {"probability", 1, false}};
    static const struct an_word_choice spreads[] = {{"successive", AN_JOINT_SUCCESSIVE, false},
                                                    {"all", AN_JOINT_ALL, false},
                                                    {"within", AN_JOINT_POOLED, false}};
    const bool joint = an_family_is_joint(one->family);
    const bool plain =
        one->family == AN_P || one->family == AN_NP || one->family == AN_C || one->family == AN_U;
    one->probability = an_read_choice(reading, limits, "limits", kinds, 2, 0) == 1;
    if (one->probability && !plain && one->family != AN_G && one->family != AN_T) {
        an_tell(reading, limits,
                "'limits: probability' is for p, np, c and u (g and t have no others); '%s' has no "
                "such distribution",
                an_family_name(one->family));
    }
    if (limits && one->weighting.kind != AN_UNWEIGHTED) {
        an_tell(reading, limits, "a chart with memory has limits of its own; leave 'limits' out");
        one->probability = false;
    }
    one->spread = (enum an_joint_spread)an_read_choice(reading, covariance, "covariance", spreads,
                                                       3, AN_JOINT_SUCCESSIVE);
    if (covariance && !joint) {
        an_tell(reading, covariance, "'covariance' is for the families t2 and mewma");
    } else if (one->spread == AN_JOINT_POOLED && one->family == AN_MEWMA) {
        an_tell(reading, covariance,
                "'covariance: within' is for t2; a weighted mean of items is held against items");
        one->spread = AN_JOINT_SUCCESSIVE;
    }
    const bool gaps = one->family == AN_G || one->family == AN_T;
    if (one->family == AN_MEWMA) {
        const double lambda = one->weighting.kind == AN_EWMA ? one->weighting.lambda : 0.1;
        double limit = 0.0;
        const size_t given = one->of_given < 2 ? 2 : one->of_given;
        const size_t variables = given > AN_JOINT_MOST ? AN_JOINT_MOST : given;
        if (one->weighting.kind > AN_EWMA || one->weighting.head_start > 0.0) {
            an_tell(reading, family,
                    "'mewma' is an ewma of several variables; say 'weighted: {ewma: 0.1}'");
        } else if (an_mewma_limit(variables, lambda, USUAL_BETWEEN, &limit)) {
            an_tell(reading, family, "'mewma' wants a weight from 0.03 to 1, not %g", lambda);
        }
        one->weighting = (struct an_weighting){.kind = AN_EWMA,
                                               .lambda = lambda,
                                               .limits = limit,
                                               .steady = true,
                                               .variables = (int)variables};
    } else if ((gaps || one->family == AN_T2 || one->family == AN_GROUP) &&
               one->weighting.kind != AN_UNWEIGHTED) {
        an_tell(reading, family, "'%s' and 'weighted' do not go together%s",
                an_family_name(one->family),
                one->family == AN_T2 ? "; use 'family: mewma'" : "; leave 'weighted' out");
        one->weighting = (struct an_weighting){.kind = AN_UNWEIGHTED};
    }
    if (gaps) {
        one->weighting = (struct an_weighting){.kind = AN_GAPS, .limits = 3.0};
    }
}

void an_read_subgroup(struct an_reading *reading, const struct an_yaml_node *node,
                      struct an_characteristic *one)
{
    static const struct an_word_choice kinds[] = {{"item", AN_SUBGROUP_ITEM, false},
                                                  {"row", AN_SUBGROUP_ROW, false}};
    one->subgroup = AN_SUBGROUP_ITEM;
    if (node && node->kind == AN_YAML_MAP) {
        struct an_map map = an_map_open(reading, node, node, "'subgroup'");
        const struct an_yaml_node *every = an_map_need(&map, "every", "a number of rows");
        one->subgroup_size = an_read_whole(reading, every, "every", 2, 1000, 2);
        one->subgroup = AN_SUBGROUP_EVERY;
        an_map_close(&map);
    } else if (node && node->kind == AN_YAML_LIST) {
        an_tell(reading, node, "'subgroup' is item, row or {every: 5}, not a list");
    } else {
        one->subgroup = (enum an_subgroup_kind)an_read_choice(reading, node, "subgroup", kinds, 2,
                                                              AN_SUBGROUP_ITEM);
    }
}

/* --- rules ----------------------------------------------------------------------------------- */

static int find_rule(struct an_reading *reading, const struct an_yaml_node *name)
{
    struct an_word_choice choices[AN_RULE_COUNT];
    for (int i = 0; i < AN_RULE_COUNT; i++) {
        choices[i] = (struct an_word_choice){an_rule_name((enum an_rule)i), i, false};
    }
    return an_read_choice(reading, name, "rules", choices, AN_RULE_COUNT, -1);
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static void change_rule(struct an_reading *reading, int rule, const struct an_yaml_node *value,
                        struct an_rule_choice *choice)
{
    const char *name = an_rule_name((enum an_rule)rule);
    const bool length = value->kind == AN_YAML_SCALAR && !value->absent && is_digit(value->text[0]);
    if (length && rule == AN_RULE_RUN_ONE_SIDE) {
        choice->run_length = an_read_whole(reading, value, name, 7, 12, choice->run_length);
        choice->on[rule] = true;
    } else if (length && rule == AN_RULE_STEADY_TREND) {
        choice->trend_length = an_read_whole(reading, value, name, 6, 9, choice->trend_length);
        choice->on[rule] = true;
    } else if (length) {
        an_tell(reading, value,
                "'%s' has no length to set; write yes or no (run_one_side and steady_trend have "
                "one)",
                name);
    } else {
        choice->on[rule] = an_read_bool(reading, value, name, true);
    }
}

struct an_rule_choice an_read_rules(struct an_reading *reading, const struct an_yaml_node *node)
{
    struct an_rule_choice choice = an_rules_default();
    if (!node) {
        return choice;
    }
    if (node->kind == AN_YAML_MAP) {
        for (size_t i = 0; i < node->count; i++) {
            const int rule = find_rule(reading, node->pair[i].key);
            if (rule >= 0) {
                change_rule(reading, rule, node->pair[i].value, &choice);
            }
        }
        return choice;
    }
    for (int i = 0; i < AN_RULE_COUNT; i++) {
        choice.on[i] = false;
    }
    const bool single = node->kind == AN_YAML_SCALAR;
    for (size_t i = 0; i < (single ? 1 : node->count); i++) {
        const int rule = find_rule(reading, single ? node : node->item[i]);
        if (rule >= 0) {
            choice.on[rule] = true;
        }
    }
    if (!single && node->count == 0) {
        an_tell(reading, node, "'rules' is empty; for a chart without signals say 'signals: no'");
    }
    return choice;
}

void an_read_ribbon(struct an_reading *reading, const struct an_yaml_node *node,
                    const struct an_line *line, struct an_characteristic *one)
{
    one->ribbon_kind = AN_NONE;
    if (!node) {
        return;
    }
    struct an_map map = an_map_open(reading, node, node, "'ribbon'");
    const struct an_yaml_node *column = an_map_take(&map, "column");
    const struct an_yaml_node *kind = an_map_take(&map, "kind");
    one->ribbon_column = an_read_column(reading, column, "column");
    one->ribbon_kind = an_read_kind(reading, kind, "kind", line);
    an_map_close(&map);
    if ((column != NULL) == (kind != NULL) && map.node && !reading->torn) {
        an_tell(reading, node, "'ribbon' wants one of {column: ...} and {kind: ...}");
    }
}
