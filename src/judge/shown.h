/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How plotted values are shown to a person: unit, scale, digits. Any thread. */
#ifndef AN_JUDGE_SHOWN_H
#define AN_JUDGE_SHOWN_H

#include "judge/judge.h"

#define AN_SHOWN_MOST_DECIMALS 9

/* "um", "per million", "" for plain numbers; NULL when memory is out. */
const char *an_shown_unit(const struct an_characteristic *characteristic, struct an_arena *arena);
double an_shown_scale(const struct an_characteristic *characteristic);
/* Fills scale and decimals of a view from its points and limits. */
void an_shown_fill(struct an_stream_view *view);
/* |value| with two significant digits but no more decimals than `decimals`, trailing zeros
 * cut: "0.8", "12", "0.035". */
char *an_shown_size(double value, int decimals, char buffer[40]);
/* A test's chance: "0.32", "0.0041", "below 1e-9". */
char *an_shown_chance(double p, char buffer[24]);

#endif
