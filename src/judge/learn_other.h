/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Limits of the families that are made of more than a plain level: t2, mewma, residuals, g, t.
 * One thread a call.
 */
#ifndef AN_JUDGE_LEARN_OTHER_H
#define AN_JUDGE_LEARN_OTHER_H

#include "judge/baseline.h"

/* Is it one of them? */
bool an_is_other_family(enum an_family family);
/* Learns limits->model; its text says what is missing. AN_TOO_FEW, AN_NO_SPREAD, AN_DOMAIN. */
AN_CHECKED enum an_status an_learn_other(const struct an_baseline *baseline,
                                         struct an_limits *limits, struct an_arena *arena,
                                         struct an_error *err);
/* What a person should know of such limits before locking them; NULL: nothing. */
AN_CHECKED enum an_status an_other_warning(const struct an_limits *limits,
                                           const struct an_characteristic *characteristic,
                                           struct an_arena *arena, const char **warning);
/*
 * The other variables of a stream that judges several together: charted[i].second and further of the
 * samples, by visit, NAN where one has none. Nothing for other characteristics. inside: each sample is of
 * its rows that have all of them, so n and means are of those, and cross (may be NULL), p * p a sample,
 * holds the sums of products of their departures; dropped (may be NULL) says of which samples readings are
 * kept no longer: those have n 0.
 */
AN_CHECKED enum an_status an_second_of(struct an_store *store, const struct an_stream *stream,
                                       const struct an_characteristic *characteristic,
                                       const struct an_sample samples[], size_t count, bool inside,
                                       struct an_chart_sample charted[], double cross[],
                                       bool dropped[], struct an_arena *arena,
                                       struct an_error *err);
/* Has it all of its p variables? */
bool an_has_all(const struct an_chart_sample *sample, size_t p);

#endif
