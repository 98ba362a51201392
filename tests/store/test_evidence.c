/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Paths made out of the ledger's peaks against those made of all leaves by the recursive definition,
 * and against the check of RFC 9162, 2.1.3.2: every entry of every tree of up to 70 entries, so that
 * sizes and places on both sides of a power of two are met, and a ledger that lacks what it needs.
 */
#include "andamento/store/evidence.h"
#include "support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { MOST = 70 };

static struct an_error err;

static void add_entries(struct an_store *store, struct an_sha256 leaves[])
{
    struct an_ledger_entry *entries = NULL;
    struct an_arena *arena = an_arena_open();
    size_t count = 0;
    OK(an_store_begin(store, &err));
    for (int k = 0; k < MOST; k++) {
        char payload[40];
        (void)snprintf(payload, sizeof payload, "{\"number\":%d}", k * k);
        OK(an_ledger_append(store, "test", payload, NULL, &err));
    }
    OK(an_store_commit(store, &err));
    OK(an_ledger_read(store, 0, MOST + 1, arena, &entries, &count, &err));
    ck_assert_uint_eq(count, MOST);
    for (int k = 0; k < MOST; k++) {
        leaves[k] = entries[k].leaf;
    }
    an_arena_close(arena);
}

START_TEST(paths)
{
    struct an_sha256 leaves[MOST];
    struct an_store *store = NULL;
    struct an_proof got;
    struct an_proof wanted;
    OK(an_store_open(scratch_path("line.store"), AN_STORE_CREATE, &store, &err));
    add_entries(store, leaves);
    for (uint64_t size = 1; size <= MOST; size++) {
        const struct an_sha256 root = an_root_of(leaves, size);
        for (uint64_t index = 0; index < size; index++) {
            OK(an_ledger_prove(store, index, size, &got, &err));
            ck_assert_int_eq(an_prove_inclusion(leaves, size, index, &wanted), AN_OK);
            ck_assert_uint_eq(got.count, wanted.count);
            ck_assert(memcmp(got.hashes, wanted.hashes, got.count * sizeof got.hashes[0]) == 0);
            ck_assert(an_inclusion_holds(&leaves[index], index, size, &got, &root));
        }
        ck_assert_int_eq(an_ledger_prove(store, size, size, &got, &err), AN_DOMAIN);
    }
    ck_assert_int_eq(an_ledger_prove(store, 0, 0, &got, &err), AN_DOMAIN);
    FAILS(an_ledger_prove(store, 0, MOST + 1, &got, &err), AN_NO_STORE);
    ck_assert_msg(strstr(err.text, "is damaged at entry 70: run verify"), "%s", err.text);
    an_store_close(store);
}
END_TEST

/* What concerns the items of a file with everything in it, and of its acts. */
static const struct {
    const char *set;
    int rows; /* as support.c puts them */
} wanted_rows[] = {
    {"links", 2} /* the wall holds the tiles of both files */,
    {"visits", 1},
    {"samples", 2},
    {"files", 2},
    {"limits", 1},
    {"signals", 1},
    {"hits", 2},
    {"descriptions", 0},
};

static enum an_status no_names(void *context, const char *const names[], size_t count,
                               struct an_error *e)
{
    (void)context;
    (void)e;
    for (size_t c = 0; c < count; c++) {
        ck_assert_ptr_nonnull(names[c]);
    }
    return AN_OK;
}

static enum an_status count_row(void *context, const struct an_evidence_cell cells[], size_t count,
                                struct an_error *e)
{
    (void)e;
    ck_assert_uint_gt(count, 0);
    ck_assert_int_ne(cells[0].type, AN_CELL_NULL);
    ++*(int *)context;
    return AN_OK;
}

static int rows_of(struct an_store *store, const char *name)
{
    int rows = 0;
    const struct an_evidence_sink sink = {&rows, no_names, count_row};
    for (size_t set = 0; set < an_evidence_set_count(); set++) {
        if (strcmp(an_evidence_set_name(set), name) == 0) {
            OK(an_evidence_rows(store, set, &sink, &err));
            return rows;
        }
    }
    ck_abort_msg("there is no set %s", name);
    return -1;
}

START_TEST(concerned)
{
    struct an_store *store = NULL;
    struct filled one;
    struct filled other;
    OK(an_store_open(scratch_path("line.store"), AN_STORE_CREATE, &store, &err));
    OK(fill_committed(store, 1, &one, &err));
    OK(decide_all(store, &one, &err));
    OK(fill_committed(store, 2, &other, &err));
    an_store_close(store);
    OK(an_store_open(scratch_path("line.store"), AN_STORE_READ, &store, &err));
    for (int again = 0; again < 2; again++) { /* a second time forgets the first */
        OK(an_evidence_begin(store, &err));
        OK(an_evidence_add(store, one.tile_id, &err));
        OK(an_evidence_add(store, one.wall_id, &err));
        OK(an_evidence_gather(store, &err));
        for (size_t i = 0; i < sizeof wanted_rows / sizeof *wanted_rows; i++) {
            ck_assert_msg(rows_of(store, wanted_rows[i].set) == wanted_rows[i].rows, "%s: %d rows",
                          wanted_rows[i].set, rows_of(store, wanted_rows[i].set));
        }
    }
    OK(an_evidence_begin(store, &err));
    OK(an_evidence_gather(store, &err));
    ck_assert_int_eq(rows_of(store, "files"), 0);
    ck_assert_int_eq(rows_of(store, "ledger"), 0);
    an_store_close(store);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("evidence");
    TCase *tcase = tcase_create("paths");
    tcase_add_checked_fixture(tcase, scratch_make, scratch_remove);
    tcase_add_test(tcase, paths);
    tcase_add_test(tcase, concerned);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
