/* SPDX-License-Identifier: GPL-3.0-or-later */
/* verify: the ledger is whole, kept originals still have their hashes, rows are as digested. */
#include "cli/commands.h"

#include <stdlib.h>
#include <string.h>

static int add_to_digest(void *context, const void *at, size_t length)
{
    an_digest_add(context, at, length);
    return 0;
}

static enum an_status check_original(struct an_cli *cli, const struct an_file *file,
                                     size_t *findings)
{
    struct an_digest *digest = an_digest_open();
    if (!digest) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    const enum an_status st =
        an_store_original_read(cli->store, &file->hash, add_to_digest, digest, &cli->err);
    const struct an_sha256 hash = an_digest_close(digest);
    if (st == AN_OK && memcmp(hash.at, file->hash.at, sizeof hash.at) != 0) {
        ++*findings;
        an_cli_say(cli, "file %lld (%s): the kept original is not what was taken",
                   (long long)file->file_id, file->name);
    } else if (st == AN_NOT_FOUND || st == AN_NO_STORE) {
        ++*findings;
        an_cli_say(cli, "file %lld (%s): %s", (long long)file->file_id, file->name, cli->err.text);
        return AN_OK;
    }
    return st;
}

static enum an_exit run(struct an_cli *cli)
{
    bool sound = false;
    struct an_ledger_head head;
    struct an_file *files = NULL;
    size_t count = 0;
    size_t findings = 0;
    char hex[65];
    enum an_status st = an_cli_open(cli, AN_STORE_READ, false);
    if (!st) {
        st = an_ledger_check(cli->store, &sound, &cli->err);
    }
    if (!st && !sound) {
        findings++;
        an_cli_say(cli, "ledger: %s", cli->err.text);
    }
    if (!st) {
        st = an_ledger_head(cli->store, &head, &cli->err);
    }
    if (!st) {
        st = an_store_files(cli->store, AN_NO_INSTANT, AN_NO_INSTANT, cli->arena, &files, &count,
                            &cli->err);
    }
    for (size_t i = 0; !st && i < count; i++) {
        st = check_original(cli, &files[i], &findings);
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.verify.1");
        an_json_object(&json);
        an_json_put_integer(&json, "findings", (int64_t)findings);
        an_json_put_integer(&json, "files", (int64_t)count);
        an_json_put_integer(&json, "ledger_size", (int64_t)head.size);
        an_json_put_string(&json, "ledger_root", an_sha256_hex(&head.root, hex));
        an_json_end(&json, '}');
        an_cli_json_end(cli, &json);
    } else {
        an_text_addf(&cli->out, "ledger of %llu entries, root %s\n%zu original%s read: %s\n",
                     (unsigned long long)head.size, an_sha256_hex(&head.root, hex), count,
                     an_plural(count, "", "s"),
                     findings ? "see the lines above" : "each has the hash it was taken under");
    }
    return findings ? AN_EXIT_FINDING : AN_EXIT_DONE;
}

static const struct an_option options[] = {AN_OPTION_END};

const struct an_command an_command_verify = {
    .name = "verify",
    .operands = "",
    .summary = "recompute the ledger's tree and the hashes of the kept originals",
    .example = "andamento verify",
    .more = "Someone who holds the store can rewrite it whole: compare the ledger's size and root\n"
            "with those printed on a report that has left the machine.\n"
            "Exit status 1: something is not as it was recorded.\n",
    .options = options,
    .run = run,
};
