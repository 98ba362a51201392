/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The options by which held rows and files are picked, for those commands that do. */
#ifndef AN_CLI_HELD_FILTER_H
#define AN_CLI_HELD_FILTER_H

#include "andamento/store/intake.h"
#include "cli/commands.h"

#define AN_OPTION_HELD                                                                             \
    {"station", 0, "NAME", "only this station's"},                                                 \
        {"code", 0, "CODE", "only this reason's, as 'number.bad'"},                                \
        {"file", 0, "ID", "only this file's"},                                                     \
        {"from", 0, "TIME", "only of files that came at or after this time"},                      \
    {                                                                                              \
        "until", 0, "TIME", "only of files that came before this time"                             \
    }

/* Reads them, and --released and --all, and refuses names that nothing bears. Store and description
 * are open by then: times without a zone are the line's. */
AN_CHECKED enum an_status an_cli_held_filter(struct an_cli *cli, struct an_held_filter *filter);

#endif
