/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The chain of a set of rules: what run_length_rules.c solves and rule_chain.c finds.
 */
#ifndef AN_STAT_RULE_CHAIN_H
#define AN_STAT_RULE_CHAIN_H

#include "andamento/stat/run_length.h"

#define AN_ZONES_MOST 10
#define AN_SIGNALLED UINT32_MAX /* in place of a state: a rule has spoken */

/* Points that the rules cannot tell apart, save by comparing with the point before. */
struct an_zone {
    double low, high; /* z in (low, high) for a continuous law; low == high: that value alone */
    int side;         /* -1, 0, 1 */
    bool beyond_1, beyond_2, beyond_limit;
};

struct an_rule_chain {
    struct an_rule_choice choice;
    double k;
    bool compares; /* steady_trend or alternating is on: steps matter */
    size_t zones;  /* ascending by z */
    struct an_zone zone[AN_ZONES_MOST];
    size_t states; /* state 0: a fresh chart */
    /* next[(state * zones + zone) * 3 + step + 1]: state after a point in that zone that stands
     * below (-1), level with (0) or above (1) the one before. Without `compares` step is 0. */
    uint32_t *next;
};

/* The zone in which a value lies (values on a line belong to the zone nearer to the centre). */
size_t an_zone_of(const struct an_rule_chain *chain, double z);

#endif
