/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * --key FILE for every command that has --author, in one place: which commands take it, the key's way
 * into the store's handle, and what is told afterwards. Must never keep a private key longer than
 * that, nor let an act pass unsigned where a key was given.
 */
#include "cli/signing.h"

#include "andamento/store/signing.h"

#include <string.h>

const struct an_option an_signing_options[] = {
    {"key", 0, "FILE", "sign the act with the author's private key (docs/keys.md)"},
    AN_OPTION_END,
};

bool an_cli_takes_author(const struct an_command *command)
{
    for (const struct an_option *option = command->options; option->name; option++) {
        if (strcmp(option->name, "author") == 0) {
            return true;
        }
    }
    return false;
}

enum an_status an_cli_sign(struct an_cli *cli)
{
    const char *path = an_option_value(&cli->options, "key");
    struct an_bytes pem = {0};

    if (!path || !cli->takes_author) {
        return AN_OK;
    }
    enum an_status st = an_cli_read_file(cli, path, &pem);
    if (st) {
        return st;
    }
    st = an_store_sign_as(cli->store, an_option_value(&cli->options, "author"), pem, cli->key_id,
                          &cli->err);
    an_cli_wipe(pem);
    return st == AN_BAD_INPUT ? an_cli_in_file(cli, path, st) : st;
}

void an_cli_tell_signed(struct an_cli *cli, enum an_exit status)
{
    const size_t acts = cli->key_id[0] && cli->store ? an_store_signed(cli->store) : 0;

    /* answers for programs stay as they are */
    if (acts && !cli->dry_run && !cli->quiet && cli->format == AN_FORMAT_TABLE &&
        status <= AN_EXIT_FINDING) {
        an_text_addf(&cli->out, "%zu act%s signed with key %s\n", acts, an_plural(acts, "", "s"),
                     cli->key_id);
    }
}

void an_cli_signed_cell(struct an_cli *cli, struct an_cli_table *table, const char *key_id)
{
    if (cli->format == AN_FORMAT_CSV) {
        an_cli_cell(table, key_id ? key_id : "");
    } else if (key_id) {
        an_cli_cellf(table, "signed, key %s", key_id);
    } else {
        an_cli_cell(table, "-");
    }
}
