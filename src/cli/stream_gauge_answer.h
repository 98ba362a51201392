/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The gauge behind a stream, told beside its values. */
#ifndef AN_CLI_STREAM_GAUGE_ANSWER_H
#define AN_CLI_STREAM_GAUGE_ANSWER_H

#include "cli/cli.h"
#include "judge/gauge.h"

/* As of the answer's moment, and not after until_us. A stream that the description no longer has
 * gets what its own values tell. */
AN_CHECKED enum an_status an_cli_stream_gauge(struct an_cli *cli, const struct an_stream *stream,
                                              int64_t until_us, struct an_arena *arena,
                                              struct an_stream_gauge *gauge);
/* The key "gauge" with an object. */
void an_stream_gauge_json(struct an_cli *cli, struct an_json *json,
                          const struct an_stream_gauge *gauge);
/* Columns of CSV, and their cells. */
#define AN_STREAM_GAUGE_COLUMNS                                                                    \
    "gauge", "gauge_study", "gauge_studied_at", "gauge_age_days", "gauge_percent",                 \
        "gauge_percent_lower", "gauge_percent_upper", "gauge_percent_of", "gauge_categories",      \
        "gauge_grade", "gauge_warning"
void an_stream_gauge_cells(struct an_cli *cli, struct an_cli_table *table,
                           const struct an_stream_gauge *gauge);
/* One cell for a person: "8.2 %, 12.6 categories, 3 d", "34.1 %: NOT FIT", "no study known". */
void an_stream_gauge_cell(struct an_cli_table *table, const struct an_stream_gauge *gauge);

#endif
