/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How a stream's capability is told: as JSON, as a row for programs, as lines for a person. */
#ifndef AN_CLI_CAPABILITY_ANSWER_H
#define AN_CLI_CAPABILITY_ANSWER_H

#include "cli/cli.h"
#include "cli/stream_gauge_answer.h"
#include "judge/judge.h"

void an_capability_json(struct an_cli *cli, struct an_json *json,
                        const struct an_stream_capability *capability,
                        const struct an_stream_gauge *gauge);
/* The columns of CSV, and a row of them. */
extern const char *const an_capability_columns[];
extern const size_t an_capability_column_count;
void an_capability_row(struct an_cli *cli, struct an_cli_table *table,
                       const struct an_stream_capability *capability,
                       const struct an_stream_gauge *gauge);
/* Everything that is known of one stream, in lines. */
void an_capability_lines(struct an_text *out, const struct an_stream_capability *capability,
                         const struct an_stream_gauge *gauge);
void an_json_index(struct an_json *json, const char *key, const struct an_index *index);

#endif
