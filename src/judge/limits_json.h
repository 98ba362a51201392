/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Limits as they are kept: two JSON texts beside the record's own columns. One thread a call. */
#ifndef AN_JUDGE_LIMITS_JSON_H
#define AN_JUDGE_LIMITS_JSON_H

#include "andamento/base/text.h"
#include "judge/judge.h"

/* Model, rules, places and what was seen of the baseline, as one JSON object; every double comes
 * back the same, NaN as null. A failed allocation shows in out->failed. */
void an_limits_model_json(const struct an_limits *limits, struct an_text *out);
/* The samples left out: [{"sample_id":..,"at_us":..,"serial":..,"reason":..}]. */
void an_limits_exclusions_json(const struct an_limits *limits, struct an_text *out);
/* Both texts back into a struct; the other fields from the record itself. AN_NO_STORE if the
 * texts are not what the two functions above write. */
AN_CHECKED enum an_status an_limits_of_record(const struct an_limits_record *record,
                                              struct an_arena *arena, struct an_limits *limits,
                                              struct an_error *err);

#endif
