/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * `scale`: what readings are turned into before they are charted. Must never find a power or a shape:
 * that is learned from a baseline, with the limits.
 */
#include "line/sections.h"

#include <math.h>
#include <string.h>

/* Charts made of readings of one variable. What the others plot (distances, gaps, departures from a
 * line, counts) has a law of its own. */
static bool can_be_scaled(enum an_family family)
{
    return family == AN_XBAR_R || family == AN_XBAR_S || family == AN_INDIVIDUALS ||
           family == AN_BETWEEN_WITHIN;
}

static bool is_auto(const struct an_yaml_node *node)
{
    return node && node->kind == AN_YAML_SCALAR && strcmp(node->text, "auto") == 0;
}

static void read_power(struct an_reading *reading, struct an_map *map,
                       const struct an_yaml_node *power, struct an_scale_choice *scale)
{
    const struct an_yaml_node *shift = an_map_take(map, "shift");
    scale->automatic = is_auto(power);
    if (!scale->automatic) {
        scale->lambda = an_read_number(reading, power, "box_cox", 0.0);
        if (!(fabs(scale->lambda) <= AN_BOX_COX_WIDEST)) {
            an_tell(reading, power,
                    "'box_cox' is a power from -%g to %g (0: the logarithm), or auto; not %s",
                    AN_BOX_COX_WIDEST, AN_BOX_COX_WIDEST, power->text);
            scale->lambda = 0.0;
        } else if (scale->lambda == 1.0) {
            an_tell(reading, power,
                    "power 1 leaves values as they are; leave 'scale' out, or give another power");
        }
    }
    scale->shift = an_read_number(reading, shift, "shift", 0.0);
}

static void read_curve(struct an_reading *reading, const struct an_yaml_node *curve,
                       struct an_scale_choice *scale)
{
    struct an_word_choice choices[] = {{"auto", AN_SHAPE_COUNT, false},
                                       {NULL, AN_SHAPE_JOHNSON_SU, false},
                                       {NULL, AN_SHAPE_JOHNSON_SB, false},
                                       {NULL, AN_SHAPE_JOHNSON_SL, false}};
    enum { count = sizeof choices / sizeof *choices };
    for (size_t i = 1; i < count; i++) {
        choices[i].word = an_shape_name((enum an_shape)choices[i].value);
    }
    scale->shape =
        (enum an_shape)an_read_choice(reading, curve, "johnson", choices, count, AN_SHAPE_COUNT);
    scale->automatic = scale->shape == AN_SHAPE_COUNT;
}

static void read_map(struct an_reading *reading, const struct an_yaml_node *node,
                     struct an_scale_choice *scale)
{
    struct an_map map = an_map_open(reading, node, node, "'scale'");
    const struct an_yaml_node *power = an_map_take(&map, "box_cox");
    const struct an_yaml_node *curve = an_map_take(&map, "johnson");
    if ((power != NULL) == (curve != NULL)) {
        if (!reading->torn) {
            an_tell(reading, node, "'scale' wants one of {box_cox: auto} and {johnson: auto}");
        }
        return;
    }
    scale->scale = power ? AN_SCALE_BOX_COX : AN_SCALE_JOHNSON;
    if (power) {
        read_power(reading, &map, power, scale);
    } else {
        read_curve(reading, curve, scale);
    }
    an_map_close(&map);
}

static void read_word(struct an_reading *reading, const struct an_yaml_node *node,
                      struct an_scale_choice *scale)
{
    enum { PLAIN, LN, BOX_COX, JOHNSON };
    static const struct an_word_choice words[] = {{"no", PLAIN, false},
                                                  {"ln", LN, false},
                                                  {"box_cox", BOX_COX, false},
                                                  {"johnson", JOHNSON, false}};
    const int word = an_read_choice(reading, node, "scale", words, 4, PLAIN);
    scale->scale = word == PLAIN     ? AN_SCALE_NONE
                   : word == JOHNSON ? AN_SCALE_JOHNSON
                                     : AN_SCALE_BOX_COX;
    scale->automatic = word == BOX_COX || word == JOHNSON;
}

void an_read_scale(struct an_reading *reading, const struct an_yaml_node *node,
                   struct an_characteristic *one)
{
    struct an_scale_choice *scale = &one->scale;
    *scale = (struct an_scale_choice){.scale = AN_SCALE_NONE, .shape = AN_SHAPE_COUNT};
    if (!node) {
        return;
    }
    if (node->kind == AN_YAML_MAP) {
        read_map(reading, node, scale);
    } else {
        read_word(reading, node, scale);
    }
    if (scale->scale == AN_SCALE_NONE) {
        return;
    }
    if (one->kind == AN_COUNTED || !can_be_scaled(one->family)) {
        an_tell(reading, node,
                one->kind == AN_COUNTED
                    ? "'scale' is for readings, and '%s' is counted: counts have limits of their "
                      "own law (p, u, p_prime, u_prime, or 'limits: probability')"
                    : "'scale' is for xbar_r, xbar_s, individuals and between_within; '%s' has a "
                      "law of its own: leave 'scale' out",
                one->kind == AN_COUNTED ? one->name : an_family_name(one->family));
        scale->scale = AN_SCALE_NONE;
    }
}
