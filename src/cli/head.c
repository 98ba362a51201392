/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Heads as written, and the ledger's leaves for proofs. Must never change the store. */
#include "cli/head.h"

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
