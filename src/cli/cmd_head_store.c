/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * head record, head list: signed heads kept in the store beside what they are about. Must never be
 * taken for a head that has left the machine: whoever rewrites the store can remove them.
 */
#include "andamento/store/signing.h"
#include "cli/commands.h"

#include <inttypes.h>

/* ---- head record ------------------------------------------------------------------------------- */
static enum an_exit run_record(struct an_cli *cli)
{
    const char *path = cli->options.operands[0];
    struct an_signed_head head;
    struct an_bytes note = {0};
    char hex[65];
    enum an_status st = an_cli_read_file(cli, path, &note);

    st = st ? st : an_cli_open(cli, AN_STORE_WRITE, false);
    if (!st) {
        st = an_store_put_head(cli->store, note, cli->arena, &head, &cli->err);
        if (st == AN_BAD_INPUT || st == AN_DENIED || st == AN_NOT_FOUND || st == AN_BAD_USAGE) {
            st = an_cli_in_file(cli, path, st);
        }
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.head_recorded.1");
        an_json_object(&json);
        an_json_put_integer(&json, "head_id", head.head_id);
        an_json_put_integer(&json, "entries", (int64_t)head.head.size);
        an_json_put_string(&json, "root", an_sha256_hex(&head.head.root, hex));
        an_json_put_string(&json, "key_id", head.key_id);
        an_json_put_string(&json, "author", head.author);
        an_json_end(&json, '}');
        an_cli_json_end(cli, &json);
    } else if (!cli->quiet) {
        an_text_addf(&cli->out,
                     "head %lld: %" PRIu64 " entries, root %.16s, signed by %s, key %s\n",
                     (long long)head.head_id, head.head.size, an_sha256_hex(&head.head.root, hex),
                     head.author, head.key_id);
    }
    return AN_EXIT_DONE;
}

static const struct an_option no_options[] = {AN_OPTION_END};

const struct an_command an_command_head_record = {
    .name = "head record",
    .operands = "NOTE",
    .summary = "keep a signed head in the store",
    .example = "andamento head record head-of-today",
    .more = "NOTE is a signed head as 'head sign' prints it, also one that was signed on another\n"
            "machine. A recorded key that is not retired must have signed it, and the ledger must\n"
            "have had that head. verify compares it ever after. Give the note away all the same.\n",
    .options = no_options,
    .operands_least = 1,
    .operands_most = 1,
    .run = run_record,
};

/* ---- head list --------------------------------------------------------------------------------- */
static void list_json(struct an_cli *cli, const struct an_signed_head *heads, size_t count)
{
    struct an_json json = an_cli_json_begin(cli, "andamento.heads.1");
    char hex[65];

    an_json_array(&json);
    for (size_t i = 0; i < count; i++) {
        an_json_object(&json);
        an_json_put_integer(&json, "head_id", heads[i].head_id);
        an_cli_json_time(cli, &json, "known_at", heads[i].known_us);
        an_json_put_integer(&json, "entries", (int64_t)heads[i].head.size);
        an_json_put_string(&json, "root", an_sha256_hex(&heads[i].head.root, hex));
        an_json_put_string(&json, "key_id", heads[i].key_id);
        an_json_put_string(&json, "author", heads[i].author);
        an_json_put_string(&json, "note", heads[i].note);
        an_json_put_string(&json, "system_user", heads[i].system_user);
        an_json_put_string(&json, "host", heads[i].host);
        an_json_end(&json, '}');
    }
    an_json_end(&json, ']');
    an_cli_json_end(cli, &json);
}

static enum an_exit run_list(struct an_cli *cli)
{
    static const char *const titles[] = {"head", "recorded", "entries", "root", "signed by", "key"};
    struct an_cli_table table = {
        .titles = titles, .columns = sizeof titles / sizeof *titles, .right = 5U};
    struct an_signed_head *heads = NULL;
    size_t count = 0;
    char text[65];
    enum an_status st = an_cli_open(cli, AN_STORE_READ, false);

    st = st ? st : an_store_heads(cli->store, cli->arena, &heads, &count, &cli->err);
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        list_json(cli, heads, count);
        return AN_EXIT_DONE;
    }
    for (size_t i = 0; i < count; i++) {
        const struct an_signed_head *head = &heads[i];

        an_cli_cellf(&table, "%lld", (long long)head->head_id);
        an_cli_cell(&table, an_instant_rfc3339(head->known_us, text));
        an_cli_cellf(&table, "%" PRIu64, head->head.size);
        (void)an_sha256_hex(&head->head.root, text);
        an_cli_cellf(&table, "%.*s", cli->format == AN_FORMAT_CSV ? 64 : 16, text);
        an_cli_cell(&table, head->author ? head->author : "?");
        an_cli_cell(&table, head->key_id);
    }
    if (count || cli->format == AN_FORMAT_CSV) {
        an_cli_table_print(cli, &table);
    } else {
        an_text_add(&cli->out, "no signed head is recorded\n");
    }
    return AN_EXIT_DONE;
}

const struct an_command an_command_head_list = {
    .name = "head list",
    .operands = "",
    .summary = "list the signed heads that the store keeps",
    .example = "andamento head list",
    .more = "With --json each as the note that was signed. verify tells whether they hold.\n",
    .options = no_options,
    .as_of = true,
    .run = run_list,
};
