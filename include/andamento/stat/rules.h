/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Eight rules on standardised values, so that limits may vary from point to point.
 * Each rule's published source and the chance that it speaks by luck stand in rules.c and in
 * docs/statistics.md. Allocates nothing, keeps nothing: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_RULES_H
#define ANDAMENTO_STAT_RULES_H

#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>

enum an_rule {
    AN_RULE_BEYOND_LIMIT,           /* |z| > k */
    AN_RULE_TWO_OF_THREE_BEYOND_2S, /* same side; the last point is one of them */
    AN_RULE_FOUR_OF_FIVE_BEYOND_1S, /* same side; the last point is one of them */
    AN_RULE_RUN_ONE_SIDE,           /* run_length points on one side; z = 0 breaks */
    AN_RULE_STEADY_TREND,           /* trend_length points each above (below) the one before */
    AN_RULE_ALTERNATING,            /* 14 points, each step opposite to the one before */
    AN_RULE_HUGGING_CENTRE,         /* 15 points within 1 sigma */
    AN_RULE_AVOIDING_CENTRE,        /* 8 points outside 1 sigma, on either side */
    AN_RULE_COUNT,
    /* what else may be told of a point: no window of z, never chosen, found elsewhere */
    AN_RULE_OFF_SCALE = AN_RULE_COUNT, /* a reading has no place on the chart's scale */
    AN_RULE_SCATTER, /* counts scatter otherwise than before; the window is the block looked at */
    AN_RULE_TOLD
};
#define AN_RULE_MEMORY 15 /* no rule looks further back than this many points */

struct an_rule_choice {
    bool on[AN_RULE_COUNT];
    int run_length;   /* 7 to 12; 9 by default */
    int trend_length; /* 6 to 9; 6 by default */
};
struct an_rule_choice an_rules_default(void); /* beyond_limit and run_one_side (9): see docs */
const char *an_rule_name(enum an_rule rule);  /* "beyond_limit" ... */
/* Self-describing code: "B+", "R9-", "D6+", "W14", "O2/3@2+", "O4/5@1-", "H15@1", "V8@1". */
char *an_rule_code(enum an_rule rule, int side, const struct an_rule_choice *choice,
                   char buffer[16]);
/* In words: "9 points in a row below the centre". 96 bytes. Both return buffer; an unknown rule
 * gives "". */
char *an_rule_words(enum an_rule rule, int side, const struct an_rule_choice *choice,
                    char buffer[96]);
/* Chance that a point of a stable stream of independent normal values ends a window that meets
 * this one rule (each point counted); limits at k sigma. */
double an_rule_chance(enum an_rule rule, double k, const struct an_rule_choice *choice);

struct an_rule_hit {
    enum an_rule rule;
    size_t first, last; /* the window, as indexes into z; the hit is at last */
    int side;           /* +1, -1, 0 */
};
/*
 * z in sigmas; NAN breaks every window (gap, excluded point). beyond: z[i] counts as beyond its
 * limits when above hi[i] or below lo[i] (NAN: no limit there); NULL: at +-k. In the two zone rules
 * `first` is the earliest point counted, and they speak as soon as enough are counted. Hits are told in order of last, then rule.
 * *count is how many there are; at most `room` are written. AN_DOMAIN if the choice is out of
 * its ranges.
 */
AN_CHECKED enum an_status an_rules_apply(const double z[], const double lo[], const double hi[],
                                         size_t n, double k, const struct an_rule_choice *choice,
                                         struct an_rule_hit hits[], size_t room, size_t *count);

#endif
