/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How limits show tells that limits rest on doubtful data. */
#ifndef AN_CLI_LIMITS_DOUBT_H
#define AN_CLI_LIMITS_DOUBT_H

#include "cli/cli.h"
#include "judge/judge.h"

/* Key and value "doubt"; null where there is none. */
void an_cli_doubt_json(struct an_cli *cli, struct an_json *json,
                       const struct an_limits_doubt *doubt);
/* Two lines for people; nothing where there is no doubt. */
void an_cli_doubt_text(struct an_text *text, const struct an_stream *stream,
                       const struct an_limits *limits, const struct an_limits_doubt *doubt);

#endif
