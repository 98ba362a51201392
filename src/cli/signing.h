/* SPDX-License-Identifier: GPL-3.0-or-later */
/* --key: acts of a person signed with the author's private key. */
#ifndef AN_CLI_SIGNING_H
#define AN_CLI_SIGNING_H

#include "cli/cli.h"

/* Every command that has --author is an act, and takes these as well. */
extern const struct an_option an_signing_options[];
bool an_cli_takes_author(const struct an_command *command);

/* If --key is given: the open store signs from here on. Nothing was done yet when this fails. */
AN_CHECKED enum an_status an_cli_sign(struct an_cli *cli);
/* After the command's own words for people: what was signed. */
void an_cli_tell_signed(struct an_cli *cli, enum an_exit status);

/* A cell that tells with which key a record is signed. */
void an_cli_signed_cell(struct an_cli *cli, struct an_cli_table *table, const char *key_id);

#endif
