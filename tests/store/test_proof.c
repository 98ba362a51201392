/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Proofs about the tree. The eight leaves and the hashes are the reference data of the Certificate
 * Transparency project for RFC 6962 (trees are the same in RFC 9162); from memory, and each hash is
 * checked here against a computation that shares nothing with the code under test.
 */
#include "andamento/store/proof.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static const char *const inputs[8] = {"",
                                      "00",
                                      "10",
                                      "2021",
                                      "3031",
                                      "40414243",
                                      "5051525354555657",
                                      "606162636465666768696a6b6c6d6e6f"};
static const char *const roots[8] = {
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"};

static struct an_sha256 leaf_of(const char *hex)
{
    unsigned char bytes[32] = {0};
    size_t n = 1;
    for (; *hex; hex += 2) {
        const char pair[3] = {hex[0], hex[1], 0};
        bytes[n++] = (unsigned char)strtoul(pair, NULL, 16);
    }
    return an_sha256_of(bytes, n);
}

static void leaves_of(struct an_sha256 leaves[], size_t count)
{
    for (size_t i = 0; i < count; i++) {
        const unsigned char bytes[2] = {0, (unsigned char)i};
        leaves[i] = i < 8 ? leaf_of(inputs[i]) : an_sha256_of(bytes, 2);
    }
}

START_TEST(published_roots)
{
    struct an_sha256 leaves[8];
    char hex[65];
    leaves_of(leaves, 8);
    const struct an_sha256 root = an_root_of(leaves, (uint64_t)_i + 1);
    ck_assert_str_eq(an_sha256_hex(&root, hex), roots[_i]);
}
END_TEST

/* index from 0, tree size, path: the reference data's inclusion proofs */
static const struct {
    uint64_t index, size;
    size_t count;
    const char *path[3];
} inclusion_rows[] = {
    {0, 1, 0, {NULL}},
    {0,
     8,
     3,
     {"96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
      "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
      "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4"}},
    {5,
     8,
     3,
     {"bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
      "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
      "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"}},
    {2, 3, 1, {"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"}},
};

START_TEST(published_inclusion)
{
    struct an_sha256 leaves[8];
    struct an_proof proof = {.count = 0};
    leaves_of(leaves, 8);
    ck_assert_int_eq(
        an_prove_inclusion(leaves, inclusion_rows[_i].size, inclusion_rows[_i].index, &proof),
        AN_OK);
    ck_assert_uint_eq(proof.count, inclusion_rows[_i].count);
    for (size_t i = 0; i < proof.count; i++) {
        char hex[65];
        ck_assert_str_eq(an_sha256_hex(&proof.hashes[i], hex), inclusion_rows[_i].path[i]);
    }
}
END_TEST

static const struct {
    uint64_t first, second;
    size_t count;
    const char *path[3];
} consistency_rows[] = {
    {1, 1, 0, {NULL}},
    {1,
     8,
     3,
     {"96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
      "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
      "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4"}},
    {6,
     8,
     3,
     {"0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
      "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
      "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"}},
    {2,
     5,
     2,
     {"5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
      "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b"}},
};

START_TEST(published_consistency)
{
    struct an_sha256 leaves[8];
    struct an_proof proof = {.count = 0};
    leaves_of(leaves, 8);
    ck_assert_int_eq(an_prove_consistency(leaves, consistency_rows[_i].first,
                                          consistency_rows[_i].second, &proof),
                     AN_OK);
    ck_assert_uint_eq(proof.count, consistency_rows[_i].count);
    for (size_t i = 0; i < proof.count; i++) {
        char hex[65];
        ck_assert_str_eq(an_sha256_hex(&proof.hashes[i], hex), consistency_rows[_i].path[i]);
    }
}
END_TEST

/* Every proof of every tree up to 40 leaves holds, and nothing near it does. */
START_TEST(only_true_inclusions_hold)
{
    enum { most = 40 };
    struct an_sha256 leaves[most];
    leaves_of(leaves, most);
    for (uint64_t size = 1; size <= most; size++) {
        const struct an_sha256 root = an_root_of(leaves, size);
        for (uint64_t index = 0; index < size; index++) {
            struct an_proof proof;
            ck_assert_int_eq(an_prove_inclusion(leaves, size, index, &proof), AN_OK);
            ck_assert(an_inclusion_holds(&leaves[index], index, size, &proof, &root));
            ck_assert(!an_inclusion_holds(&leaves[(index + 1) % most], index, size, &proof, &root));
            ck_assert(!an_inclusion_holds(&leaves[index], size, size, &proof, &root));
            for (uint64_t other = 0; other < size; other++) {
                ck_assert(other == index ||
                          !an_inclusion_holds(&leaves[index], other, size, &proof, &root));
            }
            proof.hashes[proof.count] = root;
            proof.count++; /* one too many */
            ck_assert(!an_inclusion_holds(&leaves[index], index, size, &proof, &root));
            if (proof.count > 1) {
                proof.count -= 2; /* one too few */
                ck_assert(!an_inclusion_holds(&leaves[index], index, size, &proof, &root));
                proof.count++;
                proof.hashes[0].at[3] ^= 1;
                ck_assert(!an_inclusion_holds(&leaves[index], index, size, &proof, &root));
            }
        }
    }
}
END_TEST

START_TEST(only_true_extensions_hold)
{
    enum { most = 40 };
    struct an_sha256 leaves[most];
    struct an_sha256 forged[most];
    leaves_of(leaves, most);
    for (uint64_t second = 1; second <= most; second++) {
        const struct an_sha256 root = an_root_of(leaves, second);
        for (uint64_t first = 1; first <= second; first++) {
            const struct an_sha256 old = an_root_of(leaves, first);
            struct an_proof proof;
            ck_assert_int_eq(an_prove_consistency(leaves, first, second, &proof), AN_OK);
            ck_assert(an_consistency_holds(first, second, &proof, &old, &root));
            if (first < second) {
                ck_assert(!an_consistency_holds(first, second, &proof, &root, &root));
                ck_assert(!an_consistency_holds(first, second, &proof, &old, &old));
                ck_assert(!an_consistency_holds(second, first, &proof, &root, &old));
            }
            /* the past rewritten with a right tree: no proof leads from the old root */
            memcpy(forged, leaves, sizeof forged);
            forged[first - 1].at[0] ^= 1;
            const struct an_sha256 other = an_root_of(forged, second);
            ck_assert_int_eq(an_prove_consistency(forged, first, second, &proof), AN_OK);
            ck_assert(!an_consistency_holds(first, second, &proof, &old, &other));
        }
    }
    struct an_proof none;
    ck_assert_int_eq(an_prove_consistency(leaves, 0, 3, &none), AN_DOMAIN);
    ck_assert_int_eq(an_prove_consistency(leaves, 4, 3, &none), AN_DOMAIN);
    ck_assert_int_eq(an_prove_inclusion(leaves, 3, 3, &none), AN_DOMAIN);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("proof");
    TCase *tests = tcase_create("proof");
    tcase_add_loop_test(tests, published_roots, 0, 8);
    tcase_add_loop_test(tests, published_inclusion, 0,
                        (int)(sizeof inclusion_rows / sizeof *inclusion_rows));
    tcase_add_loop_test(tests, published_consistency, 0,
                        (int)(sizeof consistency_rows / sizeof *consistency_rows));
    tcase_add_test(tests, only_true_inclusions_hold);
    tcase_add_test(tests, only_true_extensions_hold);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
