/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Inclusion proofs out of the peaks that each ledger entry keeps. Must never be believed unchecked:
 * whoever uses one checks it by the other algorithm (proof.h), from the entry's own bytes.
 *
 * The one hard idea: the full subtree over [at, at + 2^k) that is a left child is the last peak of the
 * tree of at + 2^k entries, so it stands in one row; one that is a right child is made of its two
 * halves, of which again the left one stands in one row.
 */
#include "andamento/store/evidence.h"
#include "store/handle.h"

#include <string.h>

static struct an_sha256 node_of(const struct an_sha256 *left, const struct an_sha256 *right)
{
    unsigned char joined[1 + 2 * sizeof left->at];
    joined[0] = 0x01;
    memcpy(joined + 1, left->at, sizeof left->at);
    memcpy(joined + 1 + sizeof left->at, right->at, sizeof right->at);
    return an_sha256_of(joined, sizeof joined);
}

/* The peaks of the tree of `size` entries, and its last entry's own leaf. */
static enum an_status read_row(struct an_store *store, uint64_t size, struct an_tree *tree,
                               struct an_sha256 *leaf, struct an_error *err)
{
    static const char sql[] = "SELECT peaks, leaf FROM ledger WHERE entry = $1";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "proving a ledger entry", err);
    if (st) {
        return st;
    }
    an_query_int(&query, (int64_t)(size - 1));
    st = an_query_row(&query, &found, err);
    if (st) {
        return st;
    }
    const size_t bytes = an_tree_peak_count(size) * sizeof tree->peaks[0];
    const void *peaks = found ? sqlite3_column_blob(query.stmt, 0) : NULL;
    if (!peaks || (size_t)sqlite3_column_bytes(query.stmt, 0) != bytes ||
        !an_column_hash(&query, 1, leaf)) {
        st = an_fail(err, AN_NO_STORE,
                     "the ledger of '%s' is damaged at entry %llu: run verify, which tells what",
                     store->path, (unsigned long long)(size - 1));
    } else {
        tree->size = size;
        memcpy(tree->peaks, peaks, bytes);
    }
    an_query_end(&query);
    return st;
}

/* The root of the full subtree over [at, at + width). */
static enum an_status full_subtree(struct an_store *store, uint64_t at, uint64_t width,
                                   struct an_sha256 *root, struct an_error *err)
{
    struct an_sha256 lefts[64]; /* met from the top down */
    struct an_tree tree;
    struct an_sha256 leaf;
    size_t count = 0;
    enum an_status st = AN_OK;
    while (!st && width > 1 && (at & width)) { /* a right child */
        width /= 2;
        st = read_row(store, at + width, &tree, &leaf, err);
        if (!st) {
            lefts[count++] = tree.peaks[an_tree_peak_count(tree.size) - 1];
        }
        at += width;
    }
    st = st ? st : read_row(store, at + width, &tree, &leaf, err);
    if (st) {
        return st;
    }
    *root = width == 1 ? leaf : tree.peaks[an_tree_peak_count(tree.size) - 1];
    while (count > 0) {
        *root = node_of(&lefts[--count], root);
    }
    return AN_OK;
}

/* The root over [at, size), where at is a multiple of the power of two that fits before it. */
static enum an_status rest(struct an_store *store, uint64_t at, uint64_t size,
                           struct an_sha256 *root, struct an_error *err)
{
    struct an_sha256 parts[64];
    size_t count = 0;
    enum an_status st = AN_OK;
    do { /* at < size */
        uint64_t width = 1;
        while (width <= (size - at) / 2) {
            width *= 2;
        }
        st = full_subtree(store, at, width, &parts[count++], err);
        at += width;
    } while (!st && at < size);
    if (st) {
        return st;
    }
    *root = parts[--count];
    while (count > 0) {
        *root = node_of(&parts[--count], root);
    }
    return AN_OK;
}

enum an_status an_ledger_prove(struct an_store *store, uint64_t index, uint64_t size,
                               struct an_proof *proof, struct an_error *err)
{
    struct an_sha256 down[64];
    size_t count = 0;
    uint64_t from = 0;
    enum an_status st = AN_OK;
    proof->count = 0;
    if (index >= size || size > INT64_MAX) {
        return AN_DOMAIN;
    }
    for (uint64_t n = size; !st && n > 1;) { /* [from, from + n) holds the entry */
        uint64_t k = 1;
        while (k < n - k) {
            k *= 2;
        }
        if (index - from < k) {
            st = rest(store, from + k, from + n, &down[count++], err);
            n = k;
        } else {
            st = full_subtree(store, from, k, &down[count++], err);
            from += k;
            n -= k;
        }
    }
    while (!st && count > 0) {
        proof->hashes[proof->count++] = down[--count];
    }
    return st;
}
