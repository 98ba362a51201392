/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * key add, key retire, key list: public keys and whose they are, as records of the store. Must never
 * take a private key in: whoever may write a store must not be able to sign for it.
 */
#include "andamento/store/signing.h"
#include "cli/commands.h"
#include "cli/signing.h"

#include <string.h>

/* The private half is easily given by mistake. */
static enum an_status read_public(struct an_cli *cli, const char *path, struct an_public_key *key)
{
    struct an_bytes pem = {0};
    enum an_status st = an_cli_read_file(cli, path, &pem);

    if (st) {
        return st;
    }
    st = an_key_public(pem, key, &cli->err);
    if (st == AN_BAD_INPUT) {
        struct an_error unused;
        struct an_signature signature;

        if (!an_key_sign(pem, an_bytes_of("key"), &signature, NULL, &unused)) {
            st = an_fail(&cli->err, st,
                         "it is a private key, which belongs to its owner alone: give the public "
                         "one beside it");
        }
        st = an_cli_in_file(cli, path, st);
    }
    an_cli_wipe(pem);
    return st;
}

static enum an_status wanted(struct an_cli *cli, const char *option, const char *why,
                             const char **value)
{
    *value = an_option_value(&cli->options, option);
    return *value && (*value)[0]
               ? AN_OK
               : an_fail(&cli->err, AN_BAD_USAGE, "a key wants --%s: %s", option, why);
}

/* ---- key add ----------------------------------------------------------------------------------- */
static void put_key(struct an_cli *cli, struct an_json *json, const struct an_signing_key *key)
{
    struct an_text coded = {0};

    an_json_put_string(json, "key_id", key->key_id);
    an_json_put_string(json, "author", key->author);
    an_json_put_string(json, "reason", key->reason);
    an_cli_json_time(cli, json, "known_at", key->known_us);
    an_base64_add(&coded, (struct an_bytes){key->key.at, sizeof key->key.at});
    an_json_put_string(json, "public_key_base64", coded.failed ? NULL : an_text_of(&coded));
    an_text_free(&coded);
}

static enum an_exit run_add(struct an_cli *cli)
{
    const char *path = cli->options.operands[0];
    struct an_signing_key key = {0};
    enum an_status st = wanted(cli, "author", "whose it is", &key.author);

    st = st ? st : wanted(cli, "reason", "how it was handed over, or why it is new", &key.reason);
    st = st ? st : read_public(cli, path, &key.key);
    st = st ? st : an_cli_open(cli, AN_STORE_WRITE, false);
    st = st ? st : an_store_add_key(cli->store, &key, &cli->err);
    if (st) {
        return an_cli_failed(cli, st == AN_BAD_INPUT && cli->store && key.key_id[0]
                                      ? an_cli_in_file(cli, path, st)
                                      : st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.key_added.1");
        an_json_object(&json);
        put_key(cli, &json, &key);
        an_json_end(&json, '}');
        an_cli_json_end(cli, &json);
    } else if (!cli->quiet) {
        an_text_addf(&cli->out, "key %s signs for %s from now on\n", key.key_id, key.author);
    }
    return AN_EXIT_DONE;
}

static const struct an_option add_options[] = {
    {"author", 0, "NAME", "whose key it is, written as in the acts it is to sign (required)"},
    {"reason", 0, "TEXT", "how it was handed over, or why it is new (required)"},
    AN_OPTION_END,
};

const struct an_command an_command_key_add = {
    .name = "key add",
    .operands = "PUBFILE",
    .summary = "record an author's public key, so that acts can be signed with its private half",
    .example = "andamento key add manager.key.pub --author 'Q. Manager' --reason 'given in person'",
    .more =
        "PUBFILE is the public key in PEM, as 'key new' or openssl writes it. From then on each act\n"
        "of that author can be signed with --key FILE. A new key in the place of an old one: add\n"
        "it, signed with the old one, then retire the old one. docs/keys.md tells what it proves.\n",
    .options = add_options,
    .operands_least = 1,
    .operands_most = 1,
    .run = run_add,
};

/* ---- key retire -------------------------------------------------------------------------------- */
static enum an_exit run_retire(struct an_cli *cli)
{
    char key_id[AN_KEY_NAME_ROOM] = "";
    const char *author = NULL;
    const char *reason = NULL;
    enum an_status st = wanted(cli, "author", "who retires it", &author);

    st = st ? st : wanted(cli, "reason", "why it is retired", &reason);
    st = st ? st : an_cli_open(cli, AN_STORE_WRITE, false);
    st = st ? st
            : an_store_retire_key(cli->store, cli->options.operands[0], author, reason, key_id,
                                  &cli->err);
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.key_retired.1");
        an_json_object(&json);
        an_json_put_string(&json, "key_id", key_id);
        an_json_put_string(&json, "author", author);
        an_json_put_string(&json, "reason", reason);
        an_json_end(&json, '}');
        an_cli_json_end(cli, &json);
    } else if (!cli->quiet) {
        an_text_addf(&cli->out, "key %s signs nothing more; what it signed so far stays signed\n",
                     key_id);
    }
    return AN_EXIT_DONE;
}

static const struct an_option retire_options[] = {
    {"author", 0, "NAME", "who retires it (required)"},
    {"reason", 0, "TEXT", "why: lost, replaced, its owner left (required)"},
    AN_OPTION_END,
};

const struct an_command an_command_key_retire = {
    .name = "key retire",
    .operands = "KEYID",
    .summary = "end the use of a recorded key",
    .example = "andamento key retire 1a2b3c4d --author 'Q. Manager' --reason 'replaced'",
    .more =
        "KEYID is the key's number as 'key list' prints it, or its first digits. What was signed\n"
        "before stays valid; what is signed later with it is a finding of verify. Cannot be\n"
        "taken back: make a new key.\n",
    .options = retire_options,
    .operands_least = 1,
    .operands_most = 1,
    .run = run_retire,
};

/* ---- key list ---------------------------------------------------------------------------------- */
static void list_json(struct an_cli *cli, const struct an_signing_key *keys, size_t count)
{
    struct an_json json = an_cli_json_begin(cli, "andamento.keys.1");

    an_json_array(&json);
    for (size_t i = 0; i < count; i++) {
        an_json_object(&json);
        put_key(cli, &json, &keys[i]);
        an_json_put_bool(&json, "in_force", keys[i].retired_us == AN_NO_INSTANT);
        an_cli_json_time(cli, &json, "retired_at", keys[i].retired_us);
        an_json_put_string(&json, "retired_by", keys[i].retired_by);
        an_json_put_string(&json, "retired_because", keys[i].retired_because);
        an_json_put_integer(&json, "acts", keys[i].acts);
        an_json_put_integer(&json, "heads", keys[i].heads);
        an_json_put_string(&json, "signed_key", keys[i].signed_key);
        an_json_put_string(&json, "system_user", keys[i].system_user);
        an_json_put_string(&json, "host", keys[i].host);
        an_json_end(&json, '}');
    }
    an_json_end(&json, ']');
    an_cli_json_end(cli, &json);
}

static void key_row(struct an_cli *cli, struct an_cli_table *table,
                    const struct an_signing_key *key)
{
    const char *none = cli->format == AN_FORMAT_CSV ? "" : "-";
    const bool retired = key->retired_us != AN_NO_INSTANT;
    char at[40];

    an_cli_cell(table, key->key_id);
    an_cli_cell(table, key->author);
    an_cli_cell(table, an_instant_rfc3339(key->known_us, at));
    an_cli_cell(table, retired ? "retired" : "in force");
    an_cli_cell(table, retired ? an_instant_rfc3339(key->retired_us, at) : none);
    an_cli_cell(table, retired ? key->retired_by : none);
    an_cli_cell(table, retired ? key->retired_because : none);
    an_cli_cellf(table, "%lld", (long long)key->acts);
    an_cli_cellf(table, "%lld", (long long)key->heads);
    an_cli_signed_cell(cli, table, key->signed_key);
    an_cli_cell(table, key->reason);
}

static enum an_exit run_list(struct an_cli *cli)
{
    static const char *const titles[] = {"key",     "author", "recorded", "state",  "retired", "by",
                                         "because", "acts",   "heads",    "signed", "reason"};
    struct an_cli_table table = {
        .titles = titles, .columns = sizeof titles / sizeof *titles, .right = 0x180U};
    struct an_signing_key *keys = NULL;
    size_t count = 0;
    enum an_status st = an_cli_open(cli, AN_STORE_READ, false);

    st = st ? st : an_store_keys(cli->store, cli->arena, &keys, &count, &cli->err);
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        list_json(cli, keys, count);
        return AN_EXIT_DONE;
    }
    for (size_t i = 0; i < count; i++) {
        key_row(cli, &table, &keys[i]);
    }
    if (count || cli->format == AN_FORMAT_CSV) {
        an_cli_table_print(cli, &table);
    } else {
        an_text_add(&cli->out, "no key is recorded\n");
    }
    return AN_EXIT_DONE;
}

static const struct an_option list_options[] = {AN_OPTION_END};

const struct an_command an_command_key_list = {
    .name = "key list",
    .operands = "",
    .summary = "list the recorded keys: whose, since when, until when, how much they signed",
    .example = "andamento key list",
    .more =
        "A key's number is the beginning of the SHA-256 of its public half, so compare it with\n"
        "the file that its owner gave you:\n"
        "  openssl pkey -pubin -in manager.key.pub -outform DER | sha256sum | cut -c1-16\n",
    .options = list_options,
    .as_of = true,
    .run = run_list,
};
