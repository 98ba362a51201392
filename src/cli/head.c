/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Heads as written, and the ledger's leaves for proofs. Must never change the store. */
#include "cli/head.h"

#include "andamento/store/note.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

enum { ENTRIES_AT_ONCE = 4096 };

enum an_status an_cli_read_head(struct an_cli *cli, const char *text, uint64_t *size,
                                const char **root)
{
    char *end = NULL;
    *size = strtoull(text, &end, 10);
    *root = *end == ':' ? end + 1 : "";
    const size_t length = strlen(*root);
    if (text[0] < '0' || text[0] > '9' || (length != 64 && length != 16) ||
        strspn(*root, "0123456789abcdef") != length) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "'%s' is no head: write entries:root as a page prints them, as in "
                       "3047:cf77ee305a905f36",
                       text);
    }
    return AN_OK;
}

/* Payloads are not kept: of each entry only its hash. */
static enum an_status read_some(struct an_cli *cli, struct an_sha256 *leaves, uint64_t from,
                                uint64_t size, uint64_t *done)
{
    struct an_ledger_entry *entries = NULL;
    size_t count = 0;
    struct an_arena *arena = an_arena_open();
    if (!arena) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    const size_t most = size - from < ENTRIES_AT_ONCE ? (size_t)(size - from) : ENTRIES_AT_ONCE;
    enum an_status st = an_ledger_read(cli->store, from, most, arena, &entries, &count, &cli->err);
    if (!st && count != most) {
        st = an_fail(&cli->err, AN_NO_STORE, "the ledger lacks an entry after %llu: run verify",
                     (unsigned long long)from);
    }
    for (size_t k = 0; !st && k < count; k++) {
        leaves[from + k] = entries[k].leaf;
    }
    *done = from + count;
    an_arena_close(arena);
    return st;
}

enum an_status an_cli_leaves(struct an_cli *cli, uint64_t count, struct an_sha256 **leaves)
{
    uint64_t done = 0;
    enum an_status st = AN_OK;
    *leaves = an_arena_alloc(cli->arena, (size_t)count + 1, sizeof **leaves);
    if (!*leaves) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    while (!st && done < count) {
        st = read_some(cli, *leaves, done, count, &done);
    }
    return st;
}

/* ---- heads in files ---------------------------------------------------------------------------- */
static enum an_status in_file(struct an_cli *cli, const char *path, enum an_status st)
{
    const struct an_error was = cli->err;
    if (st != AN_BAD_INPUT && st != AN_BAD_USAGE) {
        return st;
    }
    return was.line ? an_fail(&cli->err, AN_BAD_INPUT, "%s:%" PRIu64 ":%" PRIu64 ": %s", path,
                              was.line, was.column, was.text)
                    : an_fail(&cli->err, AN_BAD_INPUT, "%s: %s", path, was.text);
}

/* A head as one line; anything else that begins with a digit and has a colon there is told as such. */
static bool is_plain(struct an_bytes text)
{
    size_t digits = 0;
    while (digits < text.length && text.at[digits] >= '0' && text.at[digits] <= '9') {
        digits++;
    }
    return digits > 0 && digits < text.length && text.at[digits] == ':';
}

static enum an_status read_head_file(struct an_cli *cli, const char *path,
                                     const struct an_public_key *key, struct an_cli_head *head)
{
    static const struct an_public_key nobody = {{0}};
    struct an_bytes content;
    struct an_ledger_head told;
    enum an_note_state state = AN_NOTE_UNSIGNED;
    char hex[65];
    enum an_status st = an_cli_read_file(cli, path, &content);
    const struct an_bytes text = st ? (struct an_bytes){NULL, 0} : an_bytes_trim(content);

    *head = (struct an_cli_head){.file = path};
    if (!st && !text.length) {
        st = an_fail(&cli->err, AN_BAD_INPUT, "%s: the file is empty, and no head", path);
    } else if (!st && is_plain(text)) {
        char *line = an_arena_copy(cli->arena, text.at, text.length);
        st = line ? in_file(cli, path, an_cli_read_head(cli, line, &head->size, &head->root))
                  : an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
        head->wrong = key ? "it is not signed" : NULL;
    } else if (!st) {
        st = in_file(cli, path,
                     an_note_read(content, key ? key : &nobody, &told, &state, &cli->err));
        if (!st) {
            head->note = true;
            head->size = told.size;
            head->root = an_arena_copy(cli->arena, an_sha256_hex(&told.root, hex), 64);
            st = head->root ? AN_OK : an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
        }
        if (key && state != AN_NOTE_SIGNED) {
            head->wrong = state == AN_NOTE_FORGED
                              ? "its signature is not of this text: it was changed after signing"
                              : "it is not signed by this key";
        }
    }
    return st;
}

enum an_status an_cli_head_files(struct an_cli *cli, struct an_cli_head **heads, size_t *count)
{
    const char *key_path = an_option_value(&cli->options, "public-key");
    struct an_public_key key;
    struct an_bytes pem;
    enum an_status st = AN_OK;

    *count = 0;
    while (an_option_value_at(&cli->options, "head-file", *count)) {
        (*count)++;
    }
    *heads = an_arena_alloc(cli->arena, *count + 1, sizeof **heads);
    if (!*heads) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    if (key_path && !*count) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "--public-key is for signed heads: give --head-file");
    }
    if (key_path) {
        st = an_cli_read_file(cli, key_path, &pem);
        st = st ? st : in_file(cli, key_path, an_key_public(pem, &key, &cli->err));
    }
    for (size_t k = 0; !st && k < *count; k++) {
        st = read_head_file(cli, an_option_value_at(&cli->options, "head-file", k),
                            key_path ? &key : NULL, &(*heads)[k]);
    }
    return st;
}
