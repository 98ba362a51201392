/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The Merkle tree's arithmetic. It must never know what a leaf means.
 *
 * The one idea: adding a leaf to a tree is adding one to a binary number. Each trailing one bit of
 * the old size is a peak that joins with what is carried; the carry ends as the new last peak.
 */
#include "store/tree.h"

#include <string.h>

enum { HASH_BYTES = sizeof(struct an_sha256) };

static struct an_sha256 node_of(const struct an_sha256 *left, const struct an_sha256 *right)
{
    unsigned char joined[1 + 2 * HASH_BYTES];
    joined[0] = 0x01;
    memcpy(joined + 1, left->at, HASH_BYTES);
    memcpy(joined + 1 + HASH_BYTES, right->at, HASH_BYTES);
    return an_sha256_of(joined, sizeof joined);
}

enum an_status an_tree_leaf(struct an_bytes data, struct an_sha256 *leaf)
{
    static const unsigned char prefix = 0x00;
    struct an_digest *digest = an_digest_open();
    if (!digest) {
        return AN_NO_MEMORY;
    }
    an_digest_add(digest, &prefix, 1);
    an_digest_add(digest, data.at, data.length);
    *leaf = an_digest_close(digest);
    return AN_OK;
}

size_t an_tree_peak_count(uint64_t size)
{
    size_t count = 0;
    for (; size; size &= size - 1) {
        count++;
    }
    return count;
}

void an_tree_append(struct an_tree *tree, const struct an_sha256 *leaf)
{
    size_t count = an_tree_peak_count(tree->size);
    struct an_sha256 carried = *leaf;
    for (uint64_t bits = tree->size; bits & 1; bits >>= 1) {
        carried = node_of(&tree->peaks[--count], &carried);
    }
    tree->peaks[count] = carried;
    tree->size++;
}

struct an_sha256 an_tree_root(const struct an_tree *tree)
{
    size_t count = an_tree_peak_count(tree->size);
    if (count == 0) {
        return an_sha256_of("", 0); /* RFC 9162: the hash of an empty string */
    }
    struct an_sha256 root = tree->peaks[--count];
    while (count > 0) {
        root = node_of(&tree->peaks[--count], &root);
    }
    return root;
}
