/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * head, head sign, head check, head prove, head since: the ledger's head and proofs for people who do
 * not have the store. Must never change the store, but for a head that is to be recorded there. No
 * proof is printed that does not hold.
 */
#include "andamento/store/note.h"
#include "andamento/store/proof.h"
#include "andamento/store/signing.h"
#include "andamento/store/verify.h"
#include "cli/commands.h"
#include "cli/head.h"

#include <inttypes.h>
#include <string.h>

static enum an_status damaged(struct an_cli *cli)
{
    return an_fail(&cli->err, AN_NO_STORE,
                   "the ledger's tree does not agree with its entries: run verify");
}

static void put_head(struct an_json *json, uint64_t size, const struct an_sha256 *root)
{
    char hex[65];
    an_json_put_integer(json, "entries", (int64_t)size);
    an_json_put_string(json, "root", an_sha256_hex(root, hex));
}

/* ---- head -------------------------------------------------------------------------------------- */
static enum an_exit run_head(struct an_cli *cli)
{
    struct an_ledger_head head;
    char hex[65];
    enum an_status st = an_cli_open(cli, AN_STORE_READ, false);
    st = st ? st : an_ledger_head(cli->store, &head, &cli->err);
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.head.1");
        an_json_object(&json);
        put_head(&json, head.size, &head.root);
        an_json_end(&json, '}');
        an_cli_json_end(cli, &json);
    } else {
        an_text_addf(&cli->out, "%" PRIu64 ":%s\n", head.size, an_sha256_hex(&head.root, hex));
    }
    return AN_EXIT_DONE;
}

/* ---- signed ------------------------------------------------------------------------------------ */
static enum an_status in_file(struct an_cli *cli, const char *path, enum an_status st)
{
    return st == AN_BAD_INPUT ? an_cli_in_file(cli, path, st) : st;
}

static enum an_status need(struct an_cli *cli, const char *option, const char **value)
{
    *value = an_option_value(&cli->options, option);
    return *value ? AN_OK : an_fail(&cli->err, AN_BAD_USAGE, "say which key: --%s FILE", option);
}

static enum an_exit run_sign(struct an_cli *cli)
{
    const char *name = an_option_value(&cli->options, "name");
    const bool record = an_option_on(&cli->options, "record");
    const char *path = NULL;
    struct an_signed_head recorded;
    struct an_ledger_head head;
    struct an_bytes key = {0};
    struct an_text note = {0};
    enum an_status st = need(cli, "key", &path);

    st = st ? st : an_cli_read_file(cli, path, &key);
    st = st ? st : an_cli_open(cli, record ? AN_STORE_WRITE : AN_STORE_READ, false);
    st = st ? st : an_ledger_head(cli->store, &head, &cli->err);
    if (!st) {
        st = an_note_make(name ? name : "andamento", &head, key, &note, &cli->err);
        st = in_file(cli, path, st);
    }
    an_cli_wipe(key);
    if (!st && record) {
        const struct an_bytes made = {(const unsigned char *)an_text_of(&note), note.length};

        st = an_store_put_head(cli->store, made, cli->arena, &recorded, &cli->err);
    }
    if (!st && cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.signed_head.1");
        an_json_object(&json);
        put_head(&json, head.size, &head.root);
        an_json_put_string(&json, "note", an_text_of(&note));
        if (record) {
            an_json_put_integer(&json, "head_id", recorded.head_id);
        }
        an_json_end(&json, '}');
        an_cli_json_end(cli, &json);
    } else if (!st) {
        an_text_add(&cli->out, an_text_of(&note));
    }
    an_text_free(&note);
    return st ? an_cli_failed(cli, st) : AN_EXIT_DONE;
}

/* What a signed head says of this store; NULL if it is its head of then. */
static enum an_status compare(struct an_cli *cli, const struct an_ledger_head *head,
                              const char **wrong)
{
    struct an_sha256 is;
    bool sound = false;
    enum an_status st = an_ledger_check(cli->store, &sound, &cli->err);
    if (!st && !sound) {
        *wrong = an_arena_printf(cli->arena, "%s", cli->err.text);
        return AN_OK;
    }
    st = st ? st : an_ledger_root_at(cli->store, head->size, &is, &cli->err);
    if (st == AN_NOT_FOUND) {
        *wrong = "the ledger never had so many entries: its end was cut off, or the head is of "
                 "another store";
        return AN_OK;
    }
    if (!st && memcmp(&is, &head->root, sizeof is) != 0) {
        *wrong =
            "the ledger's entries up to it have another root: something among them was changed "
            "since, or the head is of another store";
    }
    return st;
}

static enum an_exit run_check(struct an_cli *cli)
{
    static const char *const words[] = {
        [AN_NOTE_FORGED] = "its signature is not of this text: the head was changed after signing",
        [AN_NOTE_UNSIGNED] = "it is not signed by this key",
    };
    const char *path = cli->options.operands[0];
    const char *key_path = NULL;
    const char *wrong = NULL;
    struct an_bytes pem = {0};
    struct an_bytes note = {0};
    struct an_public_key key;
    struct an_ledger_head head;
    enum an_note_state state = AN_NOTE_UNSIGNED;
    char hex[65];
    enum an_status st = need(cli, "public-key", &key_path);

    st = st ? st : an_cli_read_file(cli, key_path, &pem);
    st = st ? st : in_file(cli, key_path, an_key_public(pem, &key, &cli->err));
    st = st ? st : an_cli_read_file(cli, path, &note);
    st = st ? st : in_file(cli, path, an_note_read(note, &key, &head, &state, &cli->err));
    st = st ? st : an_cli_open(cli, AN_STORE_READ, false);
    if (!st && state == AN_NOTE_SIGNED) {
        st = compare(cli, &head, &wrong);
    } else if (!st) {
        wrong = words[state];
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (wrong) {
        an_cli_say(cli, "%s: %s", path, wrong);
    }
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.head_check.1");
        an_json_object(&json);
        put_head(&json, head.size, &head.root);
        an_json_put_string(&json, "wrong", wrong);
        an_json_end(&json, '}');
        an_cli_json_end(cli, &json);
    } else if (!wrong) {
        an_text_addf(&cli->out, "signed, and the ledger was so: %" PRIu64 ":%s\n", head.size,
                     an_sha256_hex(&head.root, hex));
    }
    return wrong ? AN_EXIT_FINDING : AN_EXIT_DONE;
}

/* ---- proofs ------------------------------------------------------------------------------------ */
/* Is the k-th hash of an inclusion proof the left one of its pair? RFC 9162, 2.1.3.2. */
static bool step(uint64_t *index, uint64_t *last)
{
    const bool left = (*index & 1) || *index == *last;
    if (left) {
        while (*index && !(*index & 1)) {
            *index >>= 1;
            *last >>= 1;
        }
    }
    *index >>= 1;
    *last >>= 1;
    return left;
}

static void tell_steps(struct an_cli *cli, struct an_json *json, const struct an_proof *proof,
                       uint64_t index, uint64_t size)
{
    uint64_t last = size - 1;
    char hex[65];
    for (size_t k = 0; k < proof->count; k++) {
        const char *side = step(&index, &last) ? "left" : "right";
        (void)an_sha256_hex(&proof->hashes[k], hex);
        if (json) {
            an_json_object(json);
            an_json_put_string(json, "side", side);
            an_json_put_string(json, "hash", hex);
            an_json_end(json, '}');
        } else {
            an_text_addf(&cli->out, "%s %s\n", side, hex);
        }
    }
}

static void tell_inclusion(struct an_cli *cli, const struct an_ledger_entry *entry,
                           const struct an_ledger_head *head, const struct an_proof *proof)
{
    char hex[65];
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.inclusion.1");
        an_json_object(&json);
        put_head(&json, head->size, &head->root);
        an_json_put_integer(&json, "entry", (int64_t)entry->entry);
        an_json_put_integer(&json, "at_us", entry->at_us);
        an_json_put_string(&json, "kind", entry->kind);
        an_json_put_string(&json, "payload", entry->payload);
        an_json_put_string(&json, "leaf", an_sha256_hex(&entry->leaf, hex));
        an_json_key(&json, "proof");
        an_json_array(&json);
        tell_steps(cli, &json, proof, entry->entry, head->size);
        an_json_end(&json, ']');
        an_json_end(&json, '}');
        an_cli_json_end(cli, &json);
        return;
    }
    an_text_addf(&cli->out, "entries %" PRIu64 "\nroot %s\n", head->size,
                 an_sha256_hex(&head->root, hex));
    an_text_addf(&cli->out, "entry %" PRIu64 "\nat_us %" PRId64 "\nkind %s\npayload %s\nleaf %s\n",
                 entry->entry, entry->at_us, entry->kind, entry->payload,
                 an_sha256_hex(&entry->leaf, hex));
    tell_steps(cli, NULL, proof, entry->entry, head->size);
}

static enum an_status entry_number(struct an_cli *cli, const char *text, uint64_t *number)
{
    *number = 0;
    for (const char *c = text; *c; c++) {
        if (*c < '0' || *c > '9' || *number > UINT64_MAX / 100) {
            return an_fail(&cli->err, AN_BAD_USAGE, "'%s' is no number of an entry", text);
        }
        *number = *number * 10 + (uint64_t)(*c - '0');
    }
    return *text ? AN_OK : an_fail(&cli->err, AN_BAD_USAGE, "the number of the entry is empty");
}

static enum an_exit run_prove(struct an_cli *cli)
{
    struct an_ledger_entry *entry = NULL;
    struct an_ledger_head head = {0};
    struct an_sha256 *leaves = NULL;
    struct an_proof proof;
    uint64_t number = 0;
    size_t count = 0;
    enum an_status st = entry_number(cli, cli->options.operands[0], &number);

    st = st ? st : an_cli_open(cli, AN_STORE_READ, false);
    st = st ? st : an_ledger_head(cli->store, &head, &cli->err);
    st = st ? st : an_cli_leaves(cli, head.size, &leaves);
    if (!st && number >= head.size) {
        st = an_fail(&cli->err, AN_NOT_FOUND,
                     "the ledger has no entry %" PRIu64 ": it ends before %" PRIu64, number,
                     head.size);
    }
    st = st ? st : an_ledger_read(cli->store, number, 1, cli->arena, &entry, &count, &cli->err);
    if (!st && (count != 1 || an_prove_inclusion(leaves, head.size, number, &proof) ||
                !an_inclusion_holds(&entry->leaf, number, head.size, &proof, &head.root))) {
        st = damaged(cli);
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    tell_inclusion(cli, entry, &head, &proof);
    return AN_EXIT_DONE;
}

static void tell_since(struct an_cli *cli, uint64_t first, const struct an_sha256 *was,
                       const struct an_ledger_head *head, const struct an_proof *proof)
{
    const bool is_json = cli->format == AN_FORMAT_JSON;
    struct an_json json = {0};
    char hex[65];
    char now[65];
    if (is_json) {
        json = an_cli_json_begin(cli, "andamento.consistency.1");
        an_json_object(&json);
        put_head(&json, head->size, &head->root);
        an_json_put_integer(&json, "entries_then", (int64_t)first);
        an_json_put_string(&json, "root_then", an_sha256_hex(was, hex));
        an_json_key(&json, "proof");
        an_json_array(&json);
    } else {
        an_text_addf(&cli->out, "then %" PRIu64 ":%s\nnow %" PRIu64 ":%s\n", first,
                     an_sha256_hex(was, hex), head->size, an_sha256_hex(&head->root, now));
    }
    for (size_t k = 0; k < proof->count; k++) {
        (void)an_sha256_hex(&proof->hashes[k], hex);
        if (is_json) {
            an_json_string(&json, hex);
        } else {
            an_text_addf(&cli->out, "hash %s\n", hex);
        }
    }
    if (is_json) {
        an_json_end(&json, ']');
        an_json_end(&json, '}');
        an_cli_json_end(cli, &json);
    }
}

static enum an_exit run_since(struct an_cli *cli)
{
    const char *text = cli->options.operands[0];
    const char *wanted = NULL;
    struct an_ledger_head head;
    struct an_sha256 *leaves = NULL;
    struct an_proof proof;
    uint64_t first = 0;
    char hex[65];
    enum an_status st = an_cli_read_head(cli, text, &first, &wanted);

    st = st ? st : an_cli_open(cli, AN_STORE_READ, false);
    st = st ? st : an_ledger_head(cli->store, &head, &cli->err);
    st = st ? st : an_cli_leaves(cli, head.size, &leaves);
    if (!st && first == 0) {
        st = an_fail(&cli->err, AN_BAD_USAGE, "a head of no entries needs no proof");
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (first > head.size) {
        an_cli_say(cli, "head %s: the ledger never had so many entries", text);
        return AN_EXIT_FINDING;
    }
    const struct an_sha256 was = an_root_of(leaves, first);
    if (strncmp(an_sha256_hex(&was, hex), wanted, strlen(wanted)) != 0) {
        an_cli_say(cli,
                   "head %s: the ledger's first %" PRIu64
                   " entries have the root %.16s: there is no "
                   "proof that leads from this head to now",
                   text, first, hex);
        return AN_EXIT_FINDING;
    }
    if (an_prove_consistency(leaves, first, head.size, &proof) ||
        !an_consistency_holds(first, head.size, &proof, &was, &head.root)) {
        return an_cli_failed(cli, damaged(cli));
    }
    tell_since(cli, first, &was, &head, &proof);
    return AN_EXIT_DONE;
}

/* ---- the commands ------------------------------------------------------------------------------ */
static const struct an_option no_options[] = {AN_OPTION_END};
static const struct an_option sign_options[] = {
    {"key", 0, "FILE", "the private key, as 'key new' makes it"},
    {"name", 0, "NAME", "whose ledger this is, without blanks (andamento)"},
    {"record", 0, NULL, "keep the signed head in the store, too; the key must be recorded there"},
    AN_OPTION_END,
};
static const struct an_option check_options[] = {
    {"public-key", 0, "FILE", "the public key of whoever signed"},
    AN_OPTION_END,
};

const struct an_command an_command_head = {
    .name = "head",
    .operands = "",
    .summary = "print the ledger's entries and root, to be kept outside the machine",
    .example = "andamento head",
    .options = no_options,
    .run = run_head,
};

const struct an_command an_command_head_sign = {
    .name = "head sign",
    .operands = "",
    .summary = "print the ledger's head as a signed note",
    .example = "andamento head sign --key ledger.key >head-of-today",
    .more =
        "The note is text: name, entries, root in base64, an empty line, the signature. Keep it\n"
        "outside the machine. docs/verify.md tells how openssl alone checks it. With --record the\n"
        "store keeps it as well, and verify compares it ever after.\n",
    .options = sign_options,
    .run = run_sign,
};

const struct an_command an_command_head_check = {
    .name = "head check",
    .operands = "NOTE",
    .summary = "compare a signed head with the store",
    .example = "andamento head check head-of-today --public-key ledger.key.pub",
    .more =
        "Is it signed by that key, and was the ledger so when it had that many entries? For all\n"
        "else that is stored, run verify with that head. Exit status 1: not so.\n",
    .options = check_options,
    .operands_least = 1,
    .operands_most = 1,
    .run = run_check,
};

const struct an_command an_command_head_prove = {
    .name = "head prove",
    .operands = "ENTRY",
    .summary = "prove that an entry is in the ledger, for whoever has only its head",
    .example = "andamento head prove 12",
    .more =
        "Prints the entry and the hashes from its leaf to the root (RFC 9162, 2.1.3), each with the\n"
        "side on which it stands. docs/verify.md tells how to check it with sha256sum.\n",
    .options = no_options,
    .operands_least = 1,
    .operands_most = 1,
    .run = run_prove,
};

const struct an_command an_command_head_since = {
    .name = "head since",
    .operands = "ENTRIES:ROOT",
    .summary = "prove that the ledger of an earlier head is the beginning of today's",
    .example = "andamento head since 3047:cf77ee305a905f36",
    .more =
        "Prints a consistency proof (RFC 9162, 2.1.4). Exit status 1: there is none, since the\n"
        "ledger never had that head.\n",
    .options = no_options,
    .operands_least = 1,
    .operands_most = 1,
    .run = run_since,
};
