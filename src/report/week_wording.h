/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sentences and cells of the week report. Texts live in the caller's arena; NULL when memory is out. */
#ifndef AN_REPORT_WEEK_WORDING_H
#define AN_REPORT_WEEK_WORDING_H

#include "report/week_data.h"

const char *an_say_week_lead(struct an_arena *arena, const struct an_period_data *data);
const char *an_say_week_comparison(struct an_arena *arena, const struct an_period_data *data);
/* "98.2 %", "98.21 %" where that is needed to tell it from 100; "-" for NAN. */
const char *an_say_percent(struct an_arena *arena, double share);
/* "412", "0.83": a rate with three figures at most. */
const char *an_say_rate(struct an_arena *arena, double rate);
const char *an_say_index(struct an_arena *arena, double value); /* two decimals; "-" */
/* "stable", "stable (3 signal)", "66 of 840 signal", "not judged" */
const char *an_say_stability(struct an_arena *arena, const struct an_week_index *index);
/* An arrow before the value of last week where the change is beyond noise: "\u2193 1.61", "1.58". */
const char *an_say_before(struct an_arena *arena, enum an_turn turn, bool more_is_better,
                          const char *value);

#endif
