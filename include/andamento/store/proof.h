/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Proofs about the ledger's tree: that an entry is in it, and that a later tree holds an earlier one
 * unchanged. Pure arithmetic on hashes: no I/O, no SQL, nothing kept; safe from any thread.
 *
 * Source: RFC 9162, Certificate Transparency Version 2.0, 2021, sections 2.1.3 (inclusion) and 2.1.4
 * (consistency); the same proofs as RFC 6962, section 2.1.
 */
#ifndef ANDAMENTO_STORE_PROOF_H
#define ANDAMENTO_STORE_PROOF_H

#include "andamento/base/digest.h"
#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define AN_PROOF_MOST 130 /* hashes in the longest proof of a tree of up to 2^63 leaves */

struct an_proof {
    struct an_sha256 hashes[AN_PROOF_MOST];
    size_t count;
};

/* The root of leaves [0, count). Of none: SHA-256 of nothing. */
struct an_sha256 an_root_of(const struct an_sha256 leaves[], uint64_t count);

/* Path from leaf `index` to the root of the first `size` leaves. AN_DOMAIN if index >= size. */
AN_CHECKED enum an_status an_prove_inclusion(const struct an_sha256 leaves[], uint64_t size,
                                             uint64_t index, struct an_proof *proof);
/* That the tree of `first` leaves is the beginning of the tree of `second`. AN_DOMAIN unless
 * 0 < first <= second; no hashes if they are equal. */
AN_CHECKED enum an_status an_prove_consistency(const struct an_sha256 leaves[], uint64_t first,
                                               uint64_t second, struct an_proof *proof);

/* True only if the proof has exactly the hashes it needs and leads to the root. */
bool an_inclusion_holds(const struct an_sha256 *leaf, uint64_t index, uint64_t size,
                        const struct an_proof *proof, const struct an_sha256 *root);
bool an_consistency_holds(uint64_t first, uint64_t second, const struct an_proof *proof,
                          const struct an_sha256 *first_root, const struct an_sha256 *second_root);

#endif
