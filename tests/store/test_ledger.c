/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The ledger: roots of its tree against published ones and against a computation by RFC 9162's
 * recursive definition, and everything that a check of it must find.
 */
#include "store/tree.h"
#include "support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Leaves and roots of the Certificate Transparency project's reference tree for RFC 6962 (the
 * tree is the same in RFC 9162, 2.1.1); from memory. */
static const struct {
    const char *input; /* hex of the leaf that makes the tree this large */
    const char *root;
} published[] = {
    {"", "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d"},
    {"00", "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"},
    {"10", "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77"},
    {"2021", "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"},
    {"3031", "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4"},
    {"40414243", "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef"},
    {"5051525354555657", "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c"},
    {"606162636465666768696a6b6c6d6e6f",
     "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"},
};

START_TEST(published_roots)
{
    struct an_tree tree = {0};
    for (size_t k = 0; k < sizeof published / sizeof *published; k++) {
        unsigned char bytes[16];
        char hex[65];
        const size_t length = strlen(published[k].input) / 2;
        for (size_t i = 0; i < length; i++) {
            const char pair[3] = {published[k].input[2 * i], published[k].input[2 * i + 1], '\0'};
            bytes[i] = (unsigned char)strtoul(pair, NULL, 16);
        }
        struct an_sha256 leaf;
        ck_assert_int_eq(an_tree_leaf((struct an_bytes){bytes, length}, &leaf), AN_OK);
        an_tree_append(&tree, &leaf);
        const struct an_sha256 root = an_tree_root(&tree);
        ck_assert_str_eq(an_sha256_hex(&root, hex), published[k].root);
    }
}
END_TEST

/* MTH(D[n]) as the RFC's text has it: split at the largest power of two below n. */
static struct an_sha256 by_definition(const struct an_sha256 *leaves, size_t n)
{
    if (n == 0) {
        return an_sha256_of("", 0);
    }
    if (n == 1) {
        return leaves[0];
    }
    size_t split = 1;
    while (split * 2 < n) {
        split *= 2;
    }
    unsigned char both[65] = {1};
    const struct an_sha256 left = by_definition(leaves, split);
    const struct an_sha256 right = by_definition(leaves + split, n - split);
    memcpy(both + 1, left.at, 32);
    memcpy(both + 33, right.at, 32);
    return an_sha256_of(both, sizeof both);
}

START_TEST(roots_by_definition)
{
    enum { MOST = 300 };
    static struct an_sha256 leaves[MOST];
    struct an_tree tree = {0};
    for (size_t n = 0; n <= MOST; n++) {
        const struct an_sha256 root = an_tree_root(&tree);
        const struct an_sha256 expected = by_definition(leaves, n);
        ck_assert_mem_eq(root.at, expected.at, 32);
        if (n < MOST) {
            leaves[n] = an_sha256_of(&n, sizeof n);
            an_tree_append(&tree, &leaves[n]);
        }
    }
}
END_TEST

START_TEST(appended_and_read)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct an_ledger_head head;
    const char *path = scratch_path("a.store");
    char hex[65];
    OK(an_store_open(path, AN_STORE_CREATE, &store, &err));
    OK(an_ledger_head(store, &head, &err));
    ck_assert_uint_eq(head.size, 0);
    /* FIPS 180-4: SHA-256 of nothing */
    ck_assert_str_eq(an_sha256_hex(&head.root, hex),
                     "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    static struct an_sha256 leaves[40];
    for (uint64_t k = 0; k < 40; k++) {
        char payload[40];
        uint64_t entry = 99;
        (void)snprintf(payload, sizeof payload, "{\"k\":%llu}", (unsigned long long)k);
        OK(an_store_begin(store, &err));
        OK(an_ledger_append(store, "test", payload, &entry, &err));
        ck_assert_uint_eq(entry, k);
        if (k % 3 == 0) { /* what is rolled back leaves no trace in the tree */
            OK(an_ledger_append(store, "test", "{}", &entry, &err));
            an_store_rollback(store);
            OK(an_store_begin(store, &err));
            OK(an_ledger_append(store, "test", payload, &entry, &err));
            ck_assert_uint_eq(entry, k);
        }
        OK(an_store_commit(store, &err));
        if (k == 20) {
            an_store_close(store);
            OK(an_store_open(path, AN_STORE_WRITE, &store, &err));
        }
    }
    struct an_arena *arena = an_arena_open();
    struct an_ledger_entry *entries = NULL;
    size_t count = 0;
    OK(an_ledger_read(store, 0, 1000, arena, &entries, &count, &err));
    ck_assert_uint_eq(count, 40);
    for (size_t k = 0; k < count; k++) {
        char data[128]; /* the leaf's bytes, as docs/store.md describes them */
        const int length =
            snprintf(data + 1, sizeof data - 1, "%lld\n%s\n%s", (long long)entries[k].at_us,
                     entries[k].kind, entries[k].payload);
        data[0] = 0;
        leaves[k] = an_sha256_of(data, (size_t)length + 1);
        ck_assert_mem_eq(leaves[k].at, entries[k].leaf.at, 32);
    }
    OK(an_ledger_head(store, &head, &err));
    const struct an_sha256 expected = by_definition(leaves, 40);
    ck_assert_uint_eq(head.size, 40);
    ck_assert_mem_eq(head.root.at, expected.at, 32);
    OK(an_ledger_read(store, 38, 1, arena, &entries, &count, &err));
    ck_assert_uint_eq(count, 1);
    ck_assert_uint_eq(entries[0].entry, 38);
    OK(an_ledger_read(store, 40, 5, arena, &entries, &count, &err));
    ck_assert_uint_eq(count, 0);
    bool sound = false;
    OK(an_ledger_check(store, &sound, &err));
    ck_assert(sound);
    FAILS(an_ledger_append(store, "test", "{}", NULL, &err), AN_BUG); /* no transaction */
    an_arena_close(arena);
    an_store_close(store);
}
END_TEST

/* What someone with another tool may do once the triggers are dropped. */
static const char *const tamperings[] = {
    "UPDATE ledger SET payload = '{\"k\":7}' WHERE entry = 3",
    "UPDATE ledger SET at_us = at_us + 1 WHERE entry = 0",
    "UPDATE ledger SET kind = 'tests' WHERE entry = 9",
    "UPDATE ledger SET leaf = zeroblob(32) WHERE entry = 5",
    "UPDATE ledger SET peaks = zeroblob(length(peaks)) WHERE entry = 9",
    "DELETE FROM ledger WHERE entry = 4",
    "DELETE FROM ledger WHERE entry = 0",
    "UPDATE ledger SET payload = (SELECT payload FROM ledger WHERE entry = 2) WHERE entry = 1",
    "INSERT INTO ledger SELECT 12, at_us, kind, payload, leaf, peaks FROM ledger WHERE entry = 9",
    "INSERT INTO ledger SELECT 10, at_us, kind, payload, leaf, peaks FROM ledger WHERE entry = 9",
};

START_TEST(tampering_is_found)
{
    struct an_error err;
    struct an_store *store = NULL;
    const char *path = scratch_path("a.store");
    bool sound = false;
    OK(an_store_open(path, AN_STORE_CREATE, &store, &err));
    OK(an_store_begin(store, &err));
    for (int k = 0; k < 10; k++) {
        char payload[40];
        (void)snprintf(payload, sizeof payload, "{\"k\":%d}", k);
        OK(an_ledger_append(store, "test", payload, NULL, &err));
    }
    OK(an_store_commit(store, &err));
    OK(an_ledger_check(store, &sound, &err));
    ck_assert(sound);
    an_store_close(store);
    ck_assert_int_eq(
        run_sql(path, "DROP TRIGGER ledger_no_update; DROP TRIGGER ledger_no_delete", NULL),
        SQLITE_OK);
    ck_assert_int_eq(run_sql(path, tamperings[_i], NULL), SQLITE_OK);
    OK(an_store_open(path, AN_STORE_READ, &store, &err));
    OK(an_ledger_check(store, &sound, &err));
    ck_assert(!sound);
    ck_assert_msg(strstr(err.text, "broken at entry"), "%s", err.text);
    an_store_close(store);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("ledger");
    TCase *tree = tcase_create("tree");
    tcase_add_test(tree, published_roots);
    tcase_add_test(tree, roots_by_definition);
    suite_add_tcase(suite, tree);
    TCase *ledger = tcase_create("ledger");
    tcase_add_checked_fixture(ledger, scratch_make, scratch_remove);
    tcase_add_test(ledger, appended_and_read);
    tcase_add_loop_test(ledger, tampering_is_found, 0, sizeof tamperings / sizeof *tamperings);
    suite_add_tcase(suite, ledger);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
