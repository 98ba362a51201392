/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Heads of the ledger as people write them. */
#ifndef AN_CLI_HEAD_H
#define AN_CLI_HEAD_H

#include "cli/cli.h"

/* "3047:cf77...": a size and the root that a page of then prints, in 64 hexadecimal digits, or its
 * first 16. AN_BAD_USAGE. */
AN_CHECKED enum an_status an_cli_read_head(struct an_cli *cli, const char *text, uint64_t *size,
                                           const char **root);
/* Heads in files, --head-file: as 'head' prints them, or signed as 'head sign' does. With --public-key
 * a file that is not signed by that key is told by `wrong`; without it signatures are not looked at.
 * AN_BAD_INPUT with file and line if it is no head; AN_BAD_USAGE. */
struct an_cli_head {
    const char *file;
    uint64_t size;
    const char *root;  /* as an_cli_read_head() gives it */
    const char *wrong; /* NULL: nothing is */
    bool note;         /* a signed one */
};
AN_CHECKED enum an_status an_cli_head_files(struct an_cli *cli, struct an_cli_head **heads,
                                            size_t *count);
/* The ledger's first leaves in the command's arena; what is added meanwhile does not matter. */
AN_CHECKED enum an_status an_cli_leaves(struct an_cli *cli, uint64_t count,
                                        struct an_sha256 **leaves);

#endif
