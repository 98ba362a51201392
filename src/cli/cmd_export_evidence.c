/* SPDX-License-Identifier: GPL-3.0-or-later */
/* export evidence: a folder from which an outsider checks an item's record without this program. */
#include "cli/commands.h"
#include "trace/evidence.h"

#include <inttypes.h>

static void tell_json(struct an_cli *cli, const struct an_evidence_told *told)
{
    struct an_json json = an_cli_json_begin(cli, "andamento.evidence.1");
    char hex[65];
    an_json_object(&json);
    an_json_put_string(&json, "kind", told->item.kind);
    an_json_put_string(&json, "serial", told->item.serial);
    an_json_put_string(&json, "folder", told->path);
    an_json_put_integer(&json, "items", (int64_t)told->items);
    an_json_put_integer(&json, "files", (int64_t)told->files);
    an_json_put_integer(&json, "originals", (int64_t)told->originals);
    an_json_put_integer(&json, "dropped", (int64_t)told->dropped);
    an_json_put_integer(&json, "leaves", (int64_t)told->leaves);
    an_json_put_integer(&json, "entries", (int64_t)told->head.size);
    an_json_put_string(&json, "root", an_sha256_hex(&told->head.root, hex));
    an_json_end(&json, '}');
    an_cli_json_end(cli, &json);
}

static void tell(struct an_cli *cli, const struct an_evidence_told *told)
{
    char hex[65];
    an_text_addf(
        &cli->out,
        "evidence of %s %s in %s: %zu item%s, %zu file%s, %zu original%s, %zu leaves under "
        "head %" PRIu64 ":%s\n",
        told->item.kind, told->item.serial, told->path, told->items,
        an_plural(told->items, "", "s"), told->files, an_plural(told->files, "", "s"),
        told->originals, an_plural(told->originals, "", "s"), told->leaves, told->head.size,
        an_sha256_hex(&told->head.root, hex));
    if (told->dropped) {
        an_text_addf(&cli->out,
                     "%zu original%s kept no longer, by record: %s/records/dropped.csv\n",
                     told->dropped, an_plural(told->dropped, " is", "s are"), told->path);
    }
    an_text_addf(&cli->out, "to check it: sh %s/check.sh\n", told->path);
}

static enum an_exit run(struct an_cli *cli)
{
    const char *key_path = an_option_value(&cli->options, "key");
    struct an_evidence_ask ask = {.item = cli->options.operands[0],
                                  .path = an_option_value(&cli->options, "output"),
                                  .log_name = an_option_value(&cli->options, "name"),
                                  .program_version = cli->version};
    struct an_evidence_told told;
    enum an_status st =
        ask.path && !*ask.path ? an_fail(&cli->err, AN_BAD_USAGE, "the folder has no name") : AN_OK;

    if (!st && !key_path && ask.log_name) {
        st = an_fail(&cli->err, AN_BAD_USAGE, "--name is of a signed head: it wants --key");
    }
    st = st || !key_path ? st : an_cli_read_file(cli, key_path, &ask.private_key);
    if (!st && key_path && !ask.private_key.length) {
        st = an_fail(&cli->err, AN_BAD_INPUT, "%s: the file is empty, and no key", key_path);
    }
    st = st ? st : an_cli_open(cli, AN_STORE_READ, true);
    if (st) {
        return an_cli_failed(cli, st);
    }
    st = an_evidence_write(cli->store, cli->line, &ask, cli->arena, &told, &cli->err);
    if (st == AN_BAD_INPUT && key_path) { /* the only input there is besides the store */
        const struct an_error was = cli->err;
        st = an_fail(&cli->err, st, "%s: %s", key_path, was.text);
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        tell_json(cli, &told);
    } else {
        tell(cli, &told);
    }
    return AN_EXIT_DONE;
}

static const struct an_option options[] = {
    {"output", 'o', "FOLDER", "write this folder, which must not be there yet (evidence-SERIAL)"},
    {"key", 0, "FILE", "sign the head and the sums with this private key"},
    {"name", 0, "NAME", "with --key: whose ledger this is, without blanks (andamento)"},
    AN_OPTION_END,
};

const struct an_command an_command_export_evidence = {
    .name = "export evidence",
    .operands = "ITEM",
    .summary = "write a folder from which an item's record is checked without this program",
    .example = "andamento export evidence wall:W-2610-003 -o wall-003 --key ledger.key",
    .more =
        "What the item is made of, with the rows, originals, limits, signals, answers, holds and\n"
        "corrections that concern it, the ledger's leaf of each file and act, and its path to the\n"
        "ledger's head. STEPS.txt in the folder says how it is checked with sha256sum and openssl,\n"
        "and what that proves; check.sh does it. The folder holds whole files of stations, with rows\n"
        "of other items too. docs/evidence.md says more.\n",
    .options = options,
    .operands_least = 1,
    .operands_most = 1,
    .as_of = true,
    .run = run,
};
