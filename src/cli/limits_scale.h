/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The scale of a stream's limits, told. Both say nothing of limits on the scale of the readings. */
#ifndef AN_CLI_LIMITS_SCALE_H
#define AN_CLI_LIMITS_SCALE_H

#include "cli/cli.h"
#include "judge/judge.h"

/* A member `scale` of the object being written. */
void an_cli_scale_json(struct an_cli *cli, struct an_json *json, const struct an_limits *limits);
/* Lines below a table. AN_NO_MEMORY. */
AN_CHECKED enum an_status an_cli_scale_text(struct an_cli *cli, struct an_text *text,
                                            const struct an_stream *stream,
                                            const struct an_limits *limits);

#endif
