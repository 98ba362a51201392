/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Parallel streams charted as one by their extremes. One thread a call. */
#ifndef AN_JUDGE_GROUP_H
#define AN_JUDGE_GROUP_H

#include "judge/baseline.h"

/* Learns each member's own level and sigma (limits->products, named by their splits) and the model. */
AN_CHECKED enum an_status an_learn_group(const struct an_baseline *baseline,
                                         struct an_limits *limits, struct an_arena *arena,
                                         struct an_error *err);
/* charted[i] of the samples where use[i] (NULL: all): mean is the standardised value furthest from its
 * own level, n how many members had one (0: none). members[i], if given, is which (AN_NONE). */
AN_CHECKED enum an_status an_group_fill(struct an_store *store, const struct an_stream *stream,
                                        const struct an_characteristic *characteristic,
                                        const struct an_limits *limits,
                                        const struct an_sample samples[], size_t count,
                                        const bool use[], struct an_chart_sample charted[],
                                        size_t members[], struct an_arena *arena,
                                        struct an_error *err);

#endif
