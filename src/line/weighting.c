/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * `weighted`: the chart with memory of a characteristic. Must never leave a chart without limits:
 * those not given are found for the run length of single limits at 3 sigma.
 */
#include "andamento/stat/design.h"
#include "line/sections.h"

#include <math.h>

/* Points between false alarms of single limits at 3 sigma: 1 / 0.0027. */
#define USUAL_BETWEEN 370.4

/* Of one description so many different charts are remembered; finding limits takes up to 0.2 s each. */
enum { DESIGNED_MOST = 16 };

static bool same_chart(const struct an_weighting *a, const struct an_weighting *b)
{
    return a->kind == b->kind && a->span == b->span && a->variables == b->variables &&
           a->steady == b->steady && a->goes_on == b->goes_on && !(a->lambda < b->lambda) &&
           !(a->lambda > b->lambda) && !(a->reference < b->reference) &&
           !(a->reference > b->reference) && !(a->head_start < b->head_start) &&
           !(a->head_start > b->head_start);
}

/* The usual limits: once for all characteristics that say the same. */
static enum an_status usual_limits(struct an_reading *reading, struct an_weighting *w)
{
    for (size_t i = 0; i < reading->designed_count; i++) {
        if (same_chart(&reading->designed[i], w)) {
            w->limits = reading->designed[i].limits;
            return AN_OK;
        }
    }
    const enum an_status st = an_design_limits(w, USUAL_BETWEEN);
    if (!reading->designed) {
        reading->designed =
            an_arena_alloc(reading->arena, DESIGNED_MOST, sizeof *reading->designed);
    }
    if (!st && reading->designed && reading->designed_count < DESIGNED_MOST) {
        reading->designed[reading->designed_count++] = *w;
    }
    return st;
}

/* A number within its range; told, and the fallback taken, if it is not. */
static double number_within(struct an_reading *reading, const struct an_yaml_node *node,
                            const char *name, double least, double most, double fallback)
{
    const double value = an_read_number(reading, node, name, fallback);
    if (node && !(value >= least && value <= most)) {
        an_tell(reading, node, "'%s' is from %g to %g, not %s", name, least, most, node->text);
        return fallback;
    }
    return value;
}

/* yes is one half, no none; a number is the share itself. */
static double read_head_start(struct an_reading *reading, const struct an_yaml_node *node)
{
    const bool number = node && node->kind == AN_YAML_SCALAR && !node->absent &&
                        ((node->text[0] >= '0' && node->text[0] <= '9') || node->text[0] == '.');
    if (number) {
        return number_within(reading, node, "head_start", 0.0, 0.95, 0.0);
    }
    return an_read_bool(reading, node, "head_start", false) ? 0.5 : 0.0;
}

static void read_ewma(struct an_reading *reading, struct an_map *map,
                      const struct an_yaml_node *lambda, struct an_weighting *w)
{
    static const struct an_word_choice kinds[] = {{"exact", 0, false}, {"steady", 1, false}};
    const struct an_yaml_node *first = an_map_take(map, "first_limits");
    const struct an_yaml_node *head = an_map_take(map, "head_start");
    const struct an_yaml_node *limits = an_map_take(map, "limits");
    w->lambda = number_within(reading, lambda, "ewma", 0.01, 1.0, w->lambda);
    w->steady = an_read_choice(reading, first, "first_limits", kinds, 2, 0) == 1;
    w->head_start = read_head_start(reading, head);
    if (w->steady && w->head_start > 0.0) {
        an_tell(reading, head,
                "'head_start' narrows the first limits, and 'first_limits: steady' says that they "
                "are those of later; keep one");
        w->head_start = 0.0;
    }
    w->limits = number_within(reading, limits, "limits", 0.5, 6.0, (double)NAN);
}

static void read_cusum(struct an_reading *reading, struct an_map *map,
                       const struct an_yaml_node *reference, struct an_weighting *w)
{
    static const struct an_word_choice kinds[] = {{"restart", 0, false}, {"go_on", 1, false}};
    const struct an_yaml_node *interval = an_map_take(map, "interval");
    const struct an_yaml_node *head = an_map_take(map, "head_start");
    const struct an_yaml_node *after = an_map_take(map, "after_signal");
    w->reference = number_within(reading, reference, "cusum", 0.05, 3.0, w->reference);
    w->limits = number_within(reading, interval, "interval", 0.5, 30.0, (double)NAN);
    w->head_start = read_head_start(reading, head);
    w->goes_on = an_read_choice(reading, after, "after_signal", kinds, 2, 0) == 1;
    if (w->head_start > 0.5) { /* beyond it the two sums may get into each other's way */
        an_tell(reading, head, "'head_start' of a cusum is at most 0.5, not %s", head->text);
        w->head_start = 0.5;
    }
}

static void read_average(struct an_reading *reading, struct an_map *map,
                         const struct an_yaml_node *span, struct an_weighting *w)
{
    w->span = an_read_whole(reading, span, "moving_average", 2, AN_SPAN_MOST, w->span);
    w->limits = number_within(reading, an_map_take(map, "limits"), "limits", 0.5, 6.0, w->limits);
}

static void read_map(struct an_reading *reading, const struct an_yaml_node *node,
                     struct an_weighting *w)
{
    struct an_map map = an_map_open(reading, node, node, "'weighted'");
    const struct an_yaml_node *of[AN_WEIGHTED_COUNT] = {NULL};
    size_t given = 0;
    for (int kind = AN_EWMA; kind < AN_WEIGHTED_CHOSEN; kind++) {
        of[kind] = an_map_take(&map, an_weighted_name((enum an_weighted_kind)kind));
        if (of[kind]) {
            *w = an_weighting_usual((enum an_weighted_kind)kind);
            given++;
        }
    }
    if (given != 1) {
        if (!reading->torn) {
            an_tell(reading, node,
                    "'weighted' wants one of {ewma: 0.2}, {cusum: 0.5} and {moving_average: 5}");
        }
        *w = (struct an_weighting){.kind = AN_UNWEIGHTED};
        return;
    }
    switch (w->kind) {
    case AN_EWMA:
        read_ewma(reading, &map, of[AN_EWMA], w);
        break;
    case AN_CUSUM:
        read_cusum(reading, &map, of[AN_CUSUM], w);
        break;
    default:
        read_average(reading, &map, of[AN_MOVING_AVERAGE], w);
        break;
    }
    an_map_close(&map);
}

static void read_word(struct an_reading *reading, const struct an_yaml_node *node,
                      struct an_weighting *w)
{
    struct an_word_choice kinds[AN_WEIGHTED_COUNT];
    size_t count = 0;
    for (int kind = AN_EWMA; kind < AN_WEIGHTED_CHOSEN; kind++) {
        kinds[count++] =
            (struct an_word_choice){an_weighted_name((enum an_weighted_kind)kind), kind, false};
    }
    kinds[count++] = (struct an_word_choice){"no", AN_UNWEIGHTED, false};
    *w = an_weighting_usual((enum an_weighted_kind)an_read_choice(reading, node, "weighted", kinds,
                                                                  count, AN_UNWEIGHTED));
}

void an_read_weighting(struct an_reading *reading, const struct an_yaml_node *node,
                       struct an_characteristic *one)
{
    struct an_weighting *w = &one->weighting;
    if (!node) {
        return;
    }
    if (node->kind == AN_YAML_MAP) {
        read_map(reading, node, w);
    } else {
        read_word(reading, node, w);
    }
    if (w->kind == AN_CUSUM && one->kind == AN_COUNTED) {
        an_tell(reading, node,
                "a cusum of counts is not offered: its sums are made of normal points; use ewma or "
                "moving_average");
        *w = (struct an_weighting){.kind = AN_UNWEIGHTED};
    }
    if (w->kind != AN_UNWEIGHTED && isnan(w->limits)) {
        const enum an_status st = usual_limits(reading, w);
        if (st == AN_NO_MEMORY) {
            reading->mistakes->failed = true;
        } else if (st) {
            an_tell(reading, node, "no limits give %s one false alarm in 370 points; give them",
                    an_weighted_name(w->kind));
        }
    }
}
