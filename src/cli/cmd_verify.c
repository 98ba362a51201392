/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * verify: the ledger is whole, kept originals still have their hashes, rows are as digested, and
 * what is gone was dropped by record. Must never change anything.
 */
#include "andamento/store/intake.h"
#include "andamento/store/retention.h"
#include "cli/commands.h"

#include <stdlib.h>
#include <string.h>

static int add_to_digest(void *context, const void *at, size_t length)
{
    an_digest_add(context, at, length);
    return 0;
}

struct tally {
    struct an_cli *cli;
    size_t findings;
    size_t dropped; /* originals kept no longer, by record */
    struct an_retention_counts kept_no_longer;
};

/* A missing original is a finding unless a record says who dropped it. */
static enum an_status check_missing(struct tally *tally, const struct an_file *file)
{
    struct an_cli *cli = tally->cli;
    struct an_dropped dropped;
    struct an_error missing = cli->err;
    bool found = false;
    const enum an_status st =
        an_store_original_dropped(cli->store, &file->hash, cli->arena, &dropped, &found, &cli->err);
    if (!st && found) {
        tally->dropped++;
    } else if (!st) {
        tally->findings++;
        an_cli_say(cli, "file %lld (%s): %s", (long long)file->file_id, file->name, missing.text);
    }
    return st;
}

static enum an_status check_original(struct tally *tally, const struct an_file *file)
{
    struct an_cli *cli = tally->cli;
    struct an_digest *digest = an_digest_open();
    if (!digest) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    const enum an_status st =
        an_store_original_read(cli->store, &file->hash, add_to_digest, digest, &cli->err);
    const struct an_sha256 hash = an_digest_close(digest);
    if (st == AN_OK && memcmp(hash.at, file->hash.at, sizeof hash.at) != 0) {
        tally->findings++;
        an_cli_say(cli, "file %lld (%s): the kept original is not what was taken",
                   (long long)file->file_id, file->name);
    } else if (st == AN_NOT_FOUND) {
        return check_missing(tally, file);
    } else if (st == AN_NO_STORE) {
        tally->findings++;
        an_cli_say(cli, "file %lld (%s): %s", (long long)file->file_id, file->name, cli->err.text);
        return AN_OK;
    }
    return st;
}

static enum an_status check_rows(struct tally *tally, const struct an_file *file)
{
    struct an_cli *cli = tally->cli;
    bool sound = false;
    const enum an_status st = an_store_file_check(cli->store, file->file_id, &sound, &cli->err);
    if (!st && !sound) {
        tally->findings++;
        an_cli_say(cli, "file %lld (%s): %s", (long long)file->file_id, file->name, cli->err.text);
    }
    return st;
}

static void add_finding(void *context, const char *text)
{
    struct tally *tally = context;
    tally->findings++;
    an_cli_say(tally->cli, "%s", text);
}

static void tell_dropped(struct an_cli *cli, const struct tally *tally)
{
    if (tally->kept_no_longer.acts) {
        an_text_addf(&cli->out,
                     "kept no longer, by record: readings of %lld file%s, originals of %lld\n",
                     (long long)tally->kept_no_longer.readings,
                     an_plural((size_t)tally->kept_no_longer.readings, "", "s"),
                     (long long)tally->kept_no_longer.originals);
    }
}

static enum an_exit run(struct an_cli *cli)
{
    struct tally tally = {.cli = cli};
    bool sound = false;
    struct an_ledger_head head;
    struct an_file *files = NULL;
    size_t count = 0;
    char hex[65];
    enum an_status st = an_cli_open(cli, AN_STORE_READ, false);
    if (!st) {
        st = an_store_releases_check(cli->store, &sound, &cli->err);
    }
    if (!st && !sound) {
        tally.findings++;
        an_cli_say(cli, "%s", cli->err.text);
    }
    if (!st) {
        st = an_ledger_check(cli->store, &sound, &cli->err);
    }
    if (!st && !sound) {
        tally.findings++;
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
        st = check_original(&tally, &files[i]);
        st = st ? st : check_rows(&tally, &files[i]);
    }
    if (!st) {
        st = an_store_retention_check(cli->store, add_finding, &tally, &tally.kept_no_longer,
                                      &cli->err);
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.verify.1");
        an_json_object(&json);
        an_json_put_integer(&json, "findings", (int64_t)tally.findings);
        an_json_put_integer(&json, "files", (int64_t)count);
        an_json_put_integer(&json, "ledger_size", (int64_t)head.size);
        an_json_put_string(&json, "ledger_root", an_sha256_hex(&head.root, hex));
        an_json_put_integer(&json, "readings_dropped", tally.kept_no_longer.readings);
        an_json_put_integer(&json, "originals_dropped", tally.kept_no_longer.originals);
        an_json_end(&json, '}');
        an_cli_json_end(cli, &json);
    } else {
        an_text_addf(&cli->out, "ledger of %llu entries, root %s\n%zu original%s read: %s\n",
                     (unsigned long long)head.size, an_sha256_hex(&head.root, hex),
                     count - tally.dropped, an_plural(count - tally.dropped, "", "s"),
                     tally.findings ? "see the lines above"
                                    : "each has the hash it was taken under");
        tell_dropped(cli, &tally);
    }
    return tally.findings ? AN_EXIT_FINDING : AN_EXIT_DONE;
}

static const struct an_option options[] = {AN_OPTION_END};

const struct an_command an_command_verify = {
    .name = "verify",
    .operands = "",
    .summary =
        "recompute the ledger's tree, the digests of the files' rows and the hashes of the originals",
    .example = "andamento verify",
    .more = "Someone who holds the store can rewrite it whole: compare the ledger's size and root\n"
            "with those printed on a report that has left the machine.\n"
            "Exit status 1: something is not as it was recorded.\n",
    .options = options,
    .run = run,
};
