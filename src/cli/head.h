/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Heads of the ledger as people write them. */
#ifndef AN_CLI_HEAD_H
#define AN_CLI_HEAD_H

#include "cli/cli.h"

/* "3047:cf77...": a size and the root that a page of then prints, in 64 hexadecimal digits, or its
 * first 16. AN_BAD_USAGE. */
AN_CHECKED enum an_status an_cli_read_head(struct an_cli *cli, const char *text, uint64_t *size,
                                           const char **root);
/* The ledger's first leaves in the command's arena; what is added meanwhile does not matter. */
AN_CHECKED enum an_status an_cli_leaves(struct an_cli *cli, uint64_t count,
                                        struct an_sha256 **leaves);

#endif
