/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The parts of gathering, each filling its part of the data in the order below; shared only inside
 * this layer. Everything lives in the data's arena.
 */
#ifndef AN_REPORT_GATHER_H
#define AN_REPORT_GATHER_H

#include "judge/expected.h"
#include "report/period_data.h"

struct an_gather {
    struct an_store *store;
    const struct an_line *line;
    const struct an_report_options *options;
    struct an_arena *arena;
    struct an_period_data *data;
    struct an_error *err;
    struct an_expected_cache expected; /* tables of charts alike */
};

/* A growing list in the arena's keeping is made from a plain one of known room. False: memory. */
bool an_list_add(struct an_text_list *list, size_t *room, struct an_arena *arena, const char *text);

/* Signals with a hit in the period, with what they carry; needs no sheets. */
AN_CHECKED enum an_status an_gather_signals(struct an_gather *gather);
/* One sheet a stream; needs the signals. */
AN_CHECKED enum an_status an_gather_streams(struct an_gather *gather);
/* Starts as indexes, other signals of the same moment: needs both. */
AN_CHECKED enum an_status an_gather_onsets(struct an_gather *gather);
AN_CHECKED enum an_status an_gather_intake(struct an_gather *gather);
AN_CHECKED enum an_status an_gather_due(struct an_gather *gather);
/* Of a week, in this order; need all of the above. */
AN_CHECKED enum an_status an_gather_week_streams(struct an_gather *gather);
AN_CHECKED enum an_status an_gather_week_yields(struct an_gather *gather);
AN_CHECKED enum an_status an_gather_week_rates(struct an_gather *gather);
AN_CHECKED enum an_status an_gather_week_flow(struct an_gather *gather);
AN_CHECKED enum an_status an_gather_week_record(struct an_gather *gather);

/* Facts of a stream that signalled. `limits`: all its revisions, oldest first. */
AN_CHECKED enum an_status an_gather_facts(struct an_gather *gather,
                                          const struct an_stream_view *view,
                                          const struct an_limits *limits, size_t limits_count,
                                          struct an_stream_sheet *sheet);
/* All rules that are on: codes and words. */
const char *an_say_rules(struct an_arena *arena, const struct an_rule_choice *rules);

#endif
