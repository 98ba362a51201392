/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Limits as they are told by the commands that propose and show them. */
#ifndef AN_CLI_LIMITS_ANSWER_H
#define AN_CLI_LIMITS_ANSWER_H

#include "cli/stream_gauge_answer.h"
#include "judge/expected.h"
#include "judge/judge.h"
#include "judge/pace.h"

/* What `limits show` tells beyond the limits themselves. */
struct an_limits_more {
    const struct an_expected *expected;
    const struct an_pace *pace; /* NULL: of a revision that is the newest no longer */
    const struct an_limits_doubt *doubt;
    const struct an_stream_gauge *gauge; /* of the stream */
};

enum { AN_LIMITS_SHOWN = 15, AN_LIMITS_PROPOSED_SHOWN = AN_LIMITS_SHOWN - 3 }; /* columns */
extern const char *const an_cli_limits_titles[AN_LIMITS_SHOWN];

/* One object, one row. more: NULL for a proposal just made. */
void an_cli_limits_json(struct an_cli *cli, struct an_json *json, const struct an_stream *stream,
                        const struct an_limits *limits, const struct an_limits_more *more);
void an_cli_limits_row(struct an_cli *cli, struct an_cli_table *table,
                       const struct an_stream *stream, const struct an_limits *limits,
                       const struct an_limits_more *more);
/* False alarms, memory and warnings of one, in lines below the table. */
void an_cli_limits_details(struct an_text *text, const struct an_stream *stream,
                           const struct an_limits *limits, const struct an_limits_more *more);
/* The samples of its baseline are not independent. */
bool an_cli_limits_remember(const struct an_limits *limits);

#endif
