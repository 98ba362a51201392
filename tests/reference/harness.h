/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the commands of the reference harness share; see harness.c. */
#ifndef AN_TESTS_REFERENCE_HARNESS_H
#define AN_TESTS_REFERENCE_HARNESS_H

#include "andamento/base/status.h"
#include "andamento/stat/capability.h"

#include <stddef.h>

#define KEPT_MOST 20000

struct kept {
    double x[KEPT_MOST]; /* of the last `data` */
    size_t n;
    struct an_spec spec; /* of the last `limits` */
    double scratch[4 * KEPT_MOST];
};

typedef void answer(struct kept *kept, char *rest);

/* The rest of the line is taken apart by these; a missing number ends the program. */
double next_number(char **rest);
char *next_word(char **rest);
void say_numbers(const double x[], size_t n);
void say_status(enum an_status st);

answer answer_fit, answer_tail, answer_test, answer_capability, answer_percentiles,
    answer_tolerance, answer_circle, answer_fraction, answer_robust, answer_boxcox, answer_function;

answer answer_joint, answer_distance, answer_mewma, answer_counts, answer_gap, answer_power,
    answer_heads, answer_wear, answer_remember, answer_portmanteau, answer_scatter;

answer answer_nested, answer_crossed, answer_bias, answer_linearity, answer_share, answer_cohen,
    answer_fleiss, answer_spread;

answer answer_range, answer_panel, answer_chart, answer_moving;

#endif
