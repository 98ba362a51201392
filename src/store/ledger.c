/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The ledger: one entry an act, each a leaf of a Merkle tree. It must never change an entry.
 *
 * The bytes of leaf k are text, so that it can be checked with tools at hand: the time in decimal
 * microseconds, LF, the kind, LF, the payload. Each row keeps the tree's peaks after it, which is
 * all the next entry needs; the check trusts none of them and starts from the payloads.
 */
#include "andamento/store/verify.h"
#include "store/handle.h"
#include "store/signing.h"

#include <string.h>

static enum an_status leaf_of(int64_t at_us, const char *kind, struct an_bytes payload,
                              struct an_sha256 *leaf)
{
    struct an_text data = {0};
    an_text_addf(&data, "%lld\n%s\n", (long long)at_us, kind);
    an_text_add_bytes(&data, payload);
    enum an_status st = data.failed ? AN_NO_MEMORY : AN_OK;
    if (!st) {
        st = an_tree_leaf((struct an_bytes){(const unsigned char *)an_text_of(&data), data.length},
                          leaf);
    }
    an_text_free(&data);
    return st;
}

/* The tree after the entry at hand (entry, peaks); ends the query. */
static enum an_status tree_of_row(struct an_query *query, const struct an_store *store,
                                  struct an_tree *tree, struct an_error *err)
{
    enum an_status st = AN_OK;
    tree->size = (uint64_t)an_column_int(query, 0) + 1;
    const size_t bytes = an_tree_peak_count(tree->size) * sizeof tree->peaks[0];
    const void *peaks = sqlite3_column_blob(query->stmt, 1);
    if (!peaks || (size_t)sqlite3_column_bytes(query->stmt, 1) != bytes) {
        st = an_fail(err, AN_NO_STORE, "the ledger of '%s' is damaged at entry %llu", store->path,
                     (unsigned long long)(tree->size - 1));
    } else {
        memcpy(tree->peaks, peaks, bytes);
    }
    an_query_end(query);
    return st;
}

static enum an_status read_tree(struct an_store *store, struct an_tree *tree, struct an_error *err)
{
    static const char sql[] = "SELECT entry, peaks FROM ledger ORDER BY entry DESC LIMIT 1";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "reading the ledger", err);
    if (!st) {
        st = an_query_row(&query, &found, err);
    }
    *tree = (struct an_tree){0};
    if (st || !found) {
        return st;
    }
    return tree_of_row(&query, store, tree, err);
}

enum an_status an_ledger_append(struct an_store *store, const char *kind, const char *payload,
                                uint64_t *entry, struct an_error *err)
{
    static const char doing[] = "adding to the ledger";
    static const char sql[] = "INSERT INTO ledger (entry, at_us, kind, payload, leaf, peaks)"
                              " VALUES ($1, $2, $3, $4, $5, $6)";
    struct an_sha256 leaf;
    struct an_query query;
    const int64_t at_us = an_clock_now_us();
    enum an_status st = an_store_may_put(store, doing, err);
    if (!st && !store->tree_known) {
        st = read_tree(store, &store->tree, err);
        store->tree_known = !st;
    }
    if (!st && leaf_of(at_us, kind, an_bytes_of(payload), &leaf)) {
        st = an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing);
    }
    if (!st) {
        st = an_query_start(&query, store, sql, doing, err);
    }
    if (st) {
        return st;
    }
    struct an_tree *tree = &store->tree;
    const uint64_t at = tree->size;
    an_tree_append(tree, &leaf);
    an_query_int(&query, (int64_t)at);
    an_query_int(&query, at_us);
    an_query_text(&query, kind);
    an_query_text(&query, payload);
    an_query_hash(&query, &leaf);
    an_query_blob(&query, tree->peaks, an_tree_peak_count(tree->size) * sizeof tree->peaks[0]);
    st = an_query_run(&query, err);
    if (st) {
        store->tree_known = false; /* the leaf is in the tree and not in the table */
        return st;
    }
    if (entry) {
        *entry = at;
    }
    return store->signer && an_is_act(kind) ? an_signer_sign(store, at, payload, &leaf, err)
                                            : AN_OK;
}

enum an_status an_ledger_append_text(struct an_store *store, const char *kind,
                                     struct an_text *payload, uint64_t *entry, struct an_error *err)
{
    const enum an_status st =
        payload->failed ? an_fail(err, AN_NO_MEMORY, "adding to the ledger: memory ran out")
                        : an_ledger_append(store, kind, an_text_of(payload), entry, err);
    an_text_free(payload);
    return st;
}

enum an_status an_ledger_head(struct an_store *store, struct an_ledger_head *head,
                              struct an_error *err)
{
    struct an_tree tree;
    const enum an_status st = read_tree(store, &tree, err);
    if (!st) {
        head->size = tree.size;
        head->root = an_tree_root(&tree);
    }
    return st;
}

enum an_status an_ledger_root_at(struct an_store *store, uint64_t size, struct an_sha256 *root,
                                 struct an_error *err)
{
    static const char sql[] = "SELECT entry, peaks FROM ledger WHERE entry = $1";
    struct an_query query;
    struct an_tree tree = {0};
    bool found = false;
    enum an_status st = AN_OK;

    if (size > 0 && size <= INT64_MAX) {
        st = an_query_start(&query, store, sql, "reading the ledger", err);
        if (st) {
            return st;
        }
        an_query_int(&query, (int64_t)size - 1);
        st = an_query_row(&query, &found, err);
        st = st || !found ? st : tree_of_row(&query, store, &tree, err);
    }
    if (!st && size > 0 && !found) {
        st = an_fail(err, AN_NOT_FOUND, "the ledger never had %llu entries",
                     (unsigned long long)size);
    }
    *root = an_tree_root(&tree);
    return st;
}

/* ---- reading and checking --------------------------------------------------------------------- */

static void read_entry(struct an_query *query, struct an_arena *arena, void *row)
{
    struct an_ledger_entry *entry = row;
    entry->entry = (uint64_t)an_column_int(query, 0);
    entry->at_us = an_column_int(query, 1);
    entry->kind = an_column_text(query, 2, arena);
    entry->payload = an_column_text(query, 3, arena);
    (void)an_column_hash(query, 4, &entry->leaf); /* a wrong length is for the check to tell */
}

enum an_status an_ledger_read(struct an_store *store, uint64_t from, size_t most,
                              struct an_arena *arena, struct an_ledger_entry **entries,
                              size_t *count, struct an_error *err)
{
    static const char sql[] = "SELECT entry, at_us, kind, payload, leaf FROM ledger"
                              " WHERE entry >= $1 ORDER BY entry LIMIT $2";
    struct an_query query;
    void *rows = NULL;
    enum an_status st = an_query_start(&query, store, sql, "reading the ledger", err);
    if (st) {
        return st;
    }
    an_query_int(&query, from > INT64_MAX ? INT64_MAX : (int64_t)from);
    an_query_int(&query, most > INT64_MAX ? INT64_MAX : (int64_t)most);
    st = an_query_collect(&query, sizeof **entries, read_entry, arena, &rows, count, err);
    if (!st) {
        *entries = rows;
    }
    return st;
}

/* What is wrong with the entry at hand, given the tree of all before it; NULL if nothing is. */
static enum an_status check_entry(struct an_query *query, struct an_tree *tree, const char **wrong)
{
    struct an_sha256 stored;
    struct an_sha256 leaf;
    const char *kind = (const char *)sqlite3_column_text(query->stmt, 2);
    const struct an_bytes payload = {sqlite3_column_text(query->stmt, 3),
                                     (size_t)sqlite3_column_bytes(query->stmt, 3)};
    *wrong = NULL;
    if (!kind || (!payload.at && payload.length)) {
        return AN_NO_MEMORY;
    }
    if ((uint64_t)an_column_int(query, 0) != tree->size) {
        *wrong = "the number of the entry is not the next one";
        return AN_OK;
    }
    const enum an_status st = leaf_of(an_column_int(query, 1), kind, payload, &leaf);
    if (st) {
        return st;
    }
    if (!an_column_hash(query, 4, &stored) || memcmp(&stored, &leaf, sizeof leaf) != 0) {
        *wrong = "its hash is not that of its time, kind and payload";
        return AN_OK;
    }
    an_tree_append(tree, &leaf);
    const size_t bytes = an_tree_peak_count(tree->size) * sizeof tree->peaks[0];
    const void *peaks = sqlite3_column_blob(query->stmt, 5);
    if (!peaks || (size_t)sqlite3_column_bytes(query->stmt, 5) != bytes ||
        memcmp(peaks, tree->peaks, bytes) != 0) {
        *wrong = "its tree is not that of the entries up to it";
    }
    return AN_OK;
}

enum an_status an_ledger_check(struct an_store *store, bool *sound, struct an_error *err)
{
    static const char sql[] = "SELECT entry, at_us, kind, payload, leaf, peaks FROM ledger"
                              " ORDER BY entry";
    struct an_query query;
    struct an_tree tree = {0};
    bool more = false;
    const char *wrong = NULL;
    uint64_t place = 0;
    enum an_status st = an_query_start(&query, store, sql, "checking the ledger", err);
    *sound = false;
    if (st) {
        return st;
    }
    while (!wrong && !(st = an_query_row(&query, &more, err)) && more) {
        place = tree.size;
        if (check_entry(&query, &tree, &wrong)) {
            an_query_end(&query);
            return an_fail(err, AN_NO_MEMORY, "checking the ledger: memory ran out");
        }
    }
    an_query_end(&query);
    if (st) {
        return st;
    }
    *sound = !wrong;
    if (wrong) {
        (void)an_fail(err, AN_OK, "the ledger of '%s' is broken at entry %llu: %s", store->path,
                      (unsigned long long)place, wrong);
    }
    return AN_OK;
}
