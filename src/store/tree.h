/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The Merkle tree of the ledger as RFC 9162, section 2.1.1 defines it: SHA-256, prefix 00 before
 * the bytes of a leaf, 01 before the two halves of a node. Pure: no I/O, no SQL. Any thread.
 *
 * A tree is kept as its peaks, the roots of the full subtrees it consists of, largest first; there
 * is one for each bit that is set in its size. That is all it takes to add a leaf and to know the
 * root, both in time proportional to the logarithm of the size.
 */
#ifndef AN_STORE_TREE_H
#define AN_STORE_TREE_H

#include "andamento/base/bytes.h"
#include "andamento/base/digest.h"
#include "andamento/base/status.h"

#include <stddef.h>
#include <stdint.h>

#define AN_TREE_PEAKS 64

struct an_tree { /* the empty tree is all zeroes */
    uint64_t size;
    struct an_sha256 peaks[AN_TREE_PEAKS];
};

/* SHA-256 of 00 and the bytes. AN_NO_MEMORY. */
AN_CHECKED enum an_status an_tree_leaf(struct an_bytes data, struct an_sha256 *leaf);
void an_tree_append(struct an_tree *tree, const struct an_sha256 *leaf);
struct an_sha256 an_tree_root(const struct an_tree *tree);
/* How many peaks a tree of that size has. */
size_t an_tree_peak_count(uint64_t size);

#endif
