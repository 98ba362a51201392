/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How a gauge study is told: in lines for a person, as rows and as JSON for programs. */
#ifndef AN_CLI_GAUGE_ANSWER_H
#define AN_CLI_GAUGE_ANSWER_H

#include "cli/cli.h"
#include "judge/gauge.h"

void an_gauge_lines(struct an_cli *cli, const struct an_gauge_result *result);
void an_gauge_rows_csv(struct an_cli *cli, const struct an_gauge_result *result);
void an_gauge_json(struct an_cli *cli, struct an_json *json, const struct an_gauge_result *result);
void an_gauge_record_json(struct an_cli *cli, struct an_json *json,
                          const struct an_gauge_record *record);

#endif
