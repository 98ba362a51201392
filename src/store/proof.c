/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Inclusion and consistency proofs. Made by the recursive definitions of RFC 9162, checked by its
 * iterative algorithms (2.1.3.2 and 2.1.4.2), so that making and checking share no reasoning.
 */
#include "andamento/store/proof.h"

#include <string.h>

static struct an_sha256 node_of(const struct an_sha256 *left, const struct an_sha256 *right)
{
    unsigned char joined[1 + 2 * sizeof left->at];
    joined[0] = 0x01;
    memcpy(joined + 1, left->at, sizeof left->at);
    memcpy(joined + 1 + sizeof left->at, right->at, sizeof right->at);
    return an_sha256_of(joined, sizeof joined);
}

/* The largest power of two smaller than n; n >= 2. */
static uint64_t split_of(uint64_t n)
{
    uint64_t k = 1;
    while (k < n - k) {
        k *= 2;
    }
    return k;
}

struct an_sha256 an_root_of(const struct an_sha256 leaves[], uint64_t count)
{
    if (count == 0) {
        return an_sha256_of("", 0);
    }
    if (count == 1) {
        return leaves[0];
    }
    const uint64_t k = split_of(count);
    const struct an_sha256 left = an_root_of(leaves, k);
    const struct an_sha256 right = an_root_of(leaves + k, count - k);
    return node_of(&left, &right);
}

enum an_status an_prove_inclusion(const struct an_sha256 leaves[], uint64_t size, uint64_t index,
                                  struct an_proof *proof)
{
    struct an_sha256 down[64]; /* met from the root down; a proof runs upward */
    size_t count = 0;
    if (index >= size) {
        return AN_DOMAIN;
    }
    while (size > 1) {
        const uint64_t k = split_of(size);
        if (index < k) {
            down[count++] = an_root_of(leaves + k, size - k);
            size = k;
        } else {
            down[count++] = an_root_of(leaves, k);
            leaves += k;
            index -= k;
            size -= k;
        }
    }
    proof->count = count;
    for (size_t i = 0; i < count; i++) {
        proof->hashes[i] = down[count - 1 - i];
    }
    return AN_OK;
}

enum an_status an_prove_consistency(const struct an_sha256 leaves[], uint64_t first,
                                    uint64_t second, struct an_proof *proof)
{
    struct an_sha256 down[65];
    size_t count = 0;
    bool whole = true; /* the old tree is a full left part so far: its root is known already */
    if (first == 0 || first > second) {
        return AN_DOMAIN;
    }
    while (first != second) {
        const uint64_t k = split_of(second);
        if (first <= k) {
            down[count++] = an_root_of(leaves + k, second - k);
            second = k;
        } else {
            down[count++] = an_root_of(leaves, k);
            leaves += k;
            first -= k;
            second -= k;
            whole = false;
        }
    }
    proof->count = 0;
    if (!whole) {
        proof->hashes[proof->count++] = an_root_of(leaves, first);
    }
    while (count > 0) {
        proof->hashes[proof->count++] = down[--count];
    }
    return AN_OK;
}

static bool same(const struct an_sha256 *a, const struct an_sha256 *b)
{
    return memcmp(a->at, b->at, sizeof a->at) == 0;
}

bool an_inclusion_holds(const struct an_sha256 *leaf, uint64_t index, uint64_t size,
                        const struct an_proof *proof, const struct an_sha256 *root)
{
    if (index >= size || proof->count > AN_PROOF_MOST) {
        return false;
    }
    uint64_t fn = index;
    uint64_t sn = size - 1;
    struct an_sha256 r = *leaf;
    for (size_t i = 0; i < proof->count; i++) {
        if (sn == 0) {
            return false;
        }
        if ((fn & 1) || fn == sn) {
            r = node_of(&proof->hashes[i], &r);
            while (!(fn & 1) && fn != 0) {
                fn >>= 1;
                sn >>= 1;
            }
        } else {
            r = node_of(&r, &proof->hashes[i]);
        }
        fn >>= 1;
        sn >>= 1;
    }
    return sn == 0 && same(&r, root);
}

bool an_consistency_holds(uint64_t first, uint64_t second, const struct an_proof *proof,
                          const struct an_sha256 *first_root, const struct an_sha256 *second_root)
{
    if (first == 0 || first > second || proof->count > AN_PROOF_MOST) {
        return false;
    }
    if (first == second) {
        return proof->count == 0 && same(first_root, second_root);
    }
    uint64_t fn = first - 1;
    uint64_t sn = second - 1;
    size_t next = 0;
    while (fn & 1) {
        fn >>= 1;
        sn >>= 1;
    }
    struct an_sha256 fr = *first_root; /* the old tree is a full subtree: it starts the path */
    if ((first & (first - 1)) != 0) {
        if (proof->count == 0) {
            return false;
        }
        fr = proof->hashes[next++];
    }
    struct an_sha256 sr = fr;
    for (; next < proof->count; next++) {
        if (sn == 0) {
            return false;
        }
        if ((fn & 1) || fn == sn) {
            fr = node_of(&proof->hashes[next], &fr);
            sr = node_of(&proof->hashes[next], &sr);
            while (!(fn & 1) && fn != 0) {
                fn >>= 1;
                sn >>= 1;
            }
        } else {
            sr = node_of(&sr, &proof->hashes[next]);
        }
        fn >>= 1;
        sn >>= 1;
    }
    return sn == 0 && same(&fr, first_root) && same(&sr, second_root);
}
