/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * verify: everything stored against what was recorded of it, and against heads from paper. Must never
 * change anything.
 */
#include "andamento/store/correction.h"
#include "andamento/store/intake.h"
#include "andamento/store/retention.h"
#include "andamento/store/signing.h"
#include "andamento/store/verify.h"
#include "cli/commands.h"
#include "cli/head.h"
#include "judge/samples_check.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static int add_to_digest(void *context, const void *at, size_t length)
{
    an_digest_add(context, at, length);
    return 0;
}

struct tally {
    struct an_cli *cli;
    size_t findings;
    const char **texts; /* of them, for the answer as JSON */
    size_t capacity;
    size_t dropped; /* originals kept no longer, by record */
    struct an_retention_counts kept_no_longer;
    struct an_signature_counts signatures;
    struct an_cli_head *heads; /* from files */
    size_t head_count;
};

static void add_finding(void *context, const char *text)
{
    struct tally *tally = context;
    void *texts = tally->texts;

    an_cli_say(tally->cli, "%s", text);
    if (an_grow(&texts, tally->findings, &tally->capacity, sizeof *tally->texts)) {
        tally->texts = texts;
        tally->texts[tally->findings] = an_arena_printf(tally->cli->arena, "%s", text);
    }
    tally->findings++;
}

static void find(struct tally *tally, const char *format, ...) AN_PRINTF(2, 3);
static void find(struct tally *tally, const char *format, ...)
{
    char text[1200];
    va_list args;

    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    add_finding(tally, text);
}

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
        find(tally, "file %lld (%s): %s", (long long)file->file_id, file->name, missing.text);
    }
    return st;
}

/* The file's own; a record of released rows has none, and shares that of the file it is of. */
static enum an_status read_original(struct an_cli *cli, const struct an_file *file,
                                    struct an_sha256 *hash)
{
    struct an_digest *digest = an_digest_open();
    if (!digest) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    enum an_status st =
        an_store_original_read_of(cli->store, file->file_id, add_to_digest, digest, &cli->err);
    if (st == AN_NOT_FOUND) {
        st = an_store_original_read(cli->store, &file->hash, add_to_digest, digest, &cli->err);
    }
    *hash = an_digest_close(digest);
    return st;
}

static enum an_status check_original(struct tally *tally, const struct an_file *file)
{
    struct an_cli *cli = tally->cli;
    struct an_sha256 hash;
    const enum an_status st = read_original(cli, file, &hash);
    if (st == AN_OK && memcmp(hash.at, file->hash.at, sizeof hash.at) != 0) {
        find(tally, "file %lld (%s): the kept original is not what was taken",
             (long long)file->file_id, file->name);
    } else if (st == AN_NOT_FOUND) {
        return check_missing(tally, file);
    } else if (st == AN_NO_STORE) {
        find(tally, "file %lld (%s): %s", (long long)file->file_id, file->name, cli->err.text);
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
        find(tally, "file %lld (%s): %s", (long long)file->file_id, file->name, cli->err.text);
    }
    return st;
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

/* Did the ledger have this head? `text`: as the person gave it. */
static enum an_status check_head(struct tally *tally, const char *text, uint64_t size,
                                 const char *root)
{
    struct an_cli *cli = tally->cli;
    struct an_sha256 is;
    char hex[65];
    const enum an_status st = an_ledger_root_at(cli->store, size, &is, &cli->err);

    if (st == AN_NOT_FOUND) {
        find(tally, "head %s: %s: its end was cut off, or the head is of another store", text,
             cli->err.text);
        return AN_OK;
    }
    if (!st && strncmp(an_sha256_hex(&is, hex), root, strlen(root)) != 0) {
        find(tally,
             "head %s: the ledger's first %llu entries have the root %.16s: something among "
             "them was changed since that head was printed, or it is of another store",
             text, (unsigned long long)size, hex);
    }
    return st;
}

static enum an_status check_heads(struct tally *tally)
{
    struct an_cli *cli = tally->cli;
    enum an_status st = AN_OK;
    const char *text = NULL;

    for (size_t k = 0; !st && (text = an_option_value_at(&cli->options, "head", k)); k++) {
        const char *root = NULL;
        uint64_t size = 0;
        st = an_cli_read_head(cli, text, &size, &root);
        st = st ? st : check_head(tally, text, size, root);
    }
    for (size_t k = 0; !st && k < tally->head_count; k++) {
        const struct an_cli_head *head = &tally->heads[k];
        if (head->wrong) {
            find(tally, "head %s: %s", head->file, head->wrong);
        } else {
            st = check_head(tally, head->file, head->size, head->root);
        }
        if (!st && head->note && !an_option_value(&cli->options, "public-key") && !cli->quiet) {
            an_cli_say(cli, "andamento: %s: who signed it was not checked: give --public-key",
                       head->file);
        }
    }
    return st;
}

static enum an_status check_ledger(struct tally *tally)
{
    struct an_cli *cli = tally->cli;
    bool sound = false;
    enum an_status st = an_ledger_check(cli->store, &sound, &cli->err);

    if (!st && !sound) {
        find(tally, "ledger: %s", cli->err.text);
    }
    st = st ? st : check_heads(tally);
    st = st ? st : an_store_releases_check(cli->store, &sound, &cli->err);
    if (!st && !sound) {
        find(tally, "%s", cli->err.text);
    }
    st = st ? st : an_store_corrections_check(cli->store, &sound, &cli->err);
    if (!st && !sound) {
        find(tally, "%s", cli->err.text);
    }
    return st;
}

static void answer_json(struct tally *tally, const struct an_ledger_head *head, size_t files,
                        const struct an_acts_counts *acts, const struct an_samples_check *samples)
{
    struct an_cli *cli = tally->cli;
    struct an_json json = an_cli_json_begin(cli, "andamento.verify.1");
    char hex[65];

    an_json_object(&json);
    an_json_put_integer(&json, "findings", (int64_t)tally->findings);
    an_json_key(&json, "found");
    an_json_array(&json);
    for (size_t i = 0; i < tally->findings && tally->texts; i++) {
        an_json_string(&json, tally->texts[i]);
    }
    an_json_end(&json, ']');
    an_json_put_integer(&json, "files", (int64_t)files);
    an_json_put_integer(&json, "ledger_size", (int64_t)head->size);
    an_json_put_string(&json, "ledger_root", an_sha256_hex(&head->root, hex));
    an_json_put_integer(&json, "records", acts->records);
    an_json_put_integer(&json, "signed_acts", tally->signatures.acts);
    an_json_put_integer(&json, "signed_heads", tally->signatures.heads);
    an_json_put_integer(&json, "samples", samples->again);
    an_json_put_integer(&json, "samples_counted", samples->counted);
    an_json_put_integer(&json, "samples_derived", samples->derived);
    an_json_put_integer(&json, "samples_dropped", samples->dropped);
    an_json_put_integer(&json, "samples_earlier", samples->earlier);
    an_json_put_integer(&json, "readings_dropped", tally->kept_no_longer.readings);
    an_json_put_integer(&json, "originals_dropped", tally->kept_no_longer.originals);
    an_json_end(&json, '}');
    an_cli_json_end(cli, &json);
}

static void answer_text(struct tally *tally, const struct an_ledger_head *head, size_t count,
                        const struct an_acts_counts *acts, const struct an_samples_check *samples)
{
    struct an_cli *cli = tally->cli;
    char hex[65];

    an_text_addf(&cli->out,
                 "ledger of %llu entries, root %s\n"
                 "%lld record%s of acts compared with their entries\n",
                 (unsigned long long)head->size, an_sha256_hex(&head->root, hex),
                 (long long)acts->records, an_plural((size_t)acts->records, "", "s"));
    if (tally->signatures.acts || tally->signatures.heads) {
        an_text_addf(&cli->out, "%lld signed act%s and %lld signed head%s compared with keys\n",
                     (long long)tally->signatures.acts,
                     an_plural((size_t)tally->signatures.acts, "", "s"),
                     (long long)tally->signatures.heads,
                     an_plural((size_t)tally->signatures.heads, "", "s"));
    }
    an_text_addf(
        &cli->out,
        "%lld sample%s made again from the readings; %lld have none of their own to be made from "
        "(%lld counted, %lld derived), of %lld they were dropped, of %lld the line description cannot "
        "be read\n",
        (long long)samples->again, an_plural((size_t)samples->again, "", "s"),
        (long long)(samples->counted + samples->derived), (long long)samples->counted,
        (long long)samples->derived, (long long)samples->dropped, (long long)samples->earlier);
    an_text_addf(&cli->out, "%zu original%s read: %s\n", count - tally->dropped,
                 an_plural(count - tally->dropped, "", "s"),
                 tally->findings ? "see the lines above" : "each has the hash it was taken under");
    tell_dropped(cli, tally);
}

/* What is so damaged that it could not be compared to its end is a finding; the rest goes on. */
static enum an_status go_on(struct tally *tally, const char *what, enum an_status st)
{
    struct an_cli *cli = tally->cli;
    const bool damaged = st == AN_NO_STORE || st == AN_BAD_CONFIG || st == AN_NOT_FOUND;

    if (damaged) {
        find(tally, "%s could not be compared to the end: %s", what, cli->err.text);
        cli->err = (struct an_error){0};
    }
    return damaged ? AN_OK : st;
}

static enum an_status check_files(struct tally *tally, const struct an_file *files, size_t count)
{
    enum an_status st = AN_OK;

    for (size_t i = 0; !st && i < count; i++) {
        st = go_on(tally, "an original", check_original(tally, &files[i]));
        st = st ? st : go_on(tally, "the rows of a file", check_rows(tally, &files[i]));
    }
    return st;
}

static enum an_exit run(struct an_cli *cli)
{
    struct tally tally = {.cli = cli};
    struct an_acts_counts acts = {0};
    struct an_samples_check samples = {0};
    struct an_ledger_head head = {0};
    struct an_file *files = NULL;
    size_t count = 0;
    enum an_status st = an_cli_head_files(cli, &tally.heads, &tally.head_count);
    st = st ? st : an_cli_open(cli, AN_STORE_READ, false);
    if (!st) {
        st = go_on(&tally, "the database",
                   an_store_shape_check(cli->store, add_finding, &tally, &cli->err));
    }
    st = st ? st : go_on(&tally, "the ledger", check_ledger(&tally));
    st = st ? st : go_on(&tally, "the ledger", an_ledger_head(cli->store, &head, &cli->err));
    if (!st) {
        st = go_on(&tally, "the records of acts",
                   an_store_acts_check(cli->store, add_finding, &tally, &acts, &cli->err));
    }
    if (!st) {
        st = go_on(&tally, "the signatures",
                   an_store_signatures_check(cli->store, add_finding, &tally, &tally.signatures,
                                             &cli->err));
    }
    if (!st) {
        st = an_store_files(cli->store, AN_NO_INSTANT, AN_NO_INSTANT, cli->arena, &files, &count,
                            &cli->err);
    }
    st = st ? st : check_files(&tally, files, count);
    if (!st) {
        st = go_on(&tally, "what was dropped",
                   an_store_retention_check(cli->store, add_finding, &tally, &tally.kept_no_longer,
                                            &cli->err));
    }
    if (!st) {
        st = go_on(&tally, "the samples",
                   an_samples_check(cli->store, add_finding, &tally, &samples, &cli->err));
    }
    if (st) {
        an_free(tally.texts);
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        answer_json(&tally, &head, count, &acts, &samples);
    } else {
        answer_text(&tally, &head, count, &acts, &samples);
    }
    an_free(tally.texts);
    return tally.findings ? AN_EXIT_FINDING : AN_EXIT_DONE;
}

static const struct an_option options[] = {
    {"head", 0, "ENTRIES:ROOT", "a head from paper: the ledger must have been so (repeatable)"},
    {"head-file", 0, "FILE", "the same in a file, as head or head sign print it (repeatable)"},
    {"public-key", 0, "FILE", "with --head-file: the heads must be signed by this key's owner"},
    AN_OPTION_END,
};

const struct an_command an_command_verify = {
    .name = "verify",
    .operands = "",
    .summary = "compare everything stored with what was recorded, and with heads from paper",
    .example = "andamento verify --head 3047:cf77ee305a905f36",
    .more =
        "Recomputes the ledger's tree, the digests of the files' rows, the records of acts, the\n"
        "samples from their readings, the hashes of the originals and every signature, and checks\n"
        "the database.\n"
        "Someone who holds the store can rewrite it whole: give the ledger's entries and root as\n"
        "printed on a report that has left the machine. docs/verify.md tells what is found how.\n"
        "Exit status 1: something is not as it was recorded.\n",
    .options = options,
    .run = run,
};
