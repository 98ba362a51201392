/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the store's suites share: a scratch folder, a small file with everything in it, and random
 * numbers from one printed seed.
 */
#ifndef AN_TESTS_STORE_SUPPORT_H
#define AN_TESTS_STORE_SUPPORT_H

#include "andamento/base/memory.h"
#include "andamento/store/store.h"

#include <check.h>
#include <sqlite3.h>

/* The call must succeed; its text is shown if it does not. */
#define OK(call)                                                                                   \
    do {                                                                                           \
        err = (struct an_error){0};                                                                \
        const enum an_status got_ = (call);                                                        \
        ck_assert_msg(got_ == AN_OK, "%s: %s: %s", #call, an_status_name(got_), err.text);         \
    } while (0)
#define FAILS(call, expected)                                                                      \
    do {                                                                                           \
        err = (struct an_error){0};                                                                \
        const enum an_status got_ = (call);                                                        \
        ck_assert_msg(got_ == (expected), "%s: %s (%s) instead of %s", #call,                      \
                      an_status_name(got_), err.text, an_status_name(expected));                   \
        ck_assert_msg(err.text[0], "%s: no text", #call);                                          \
    } while (0)

/* A path in this test's own folder, made anew by scratch_make and removed by scratch_remove. */
void scratch_make(void);
void scratch_remove(void);
const char *scratch_path(const char *name); /* valid for the next seven calls */

/* What fill_file put. */
struct filled {
    int64_t file_id, tile_id, wall_id, stream_id, spread_id, visit_id, sample_id;
    struct an_sha256 hash;
};
/* Puts one whole file, number k (its bytes differ with k), inside the open transaction: two items,
 * a link, two streams, a visit, two samples, blocks of numbers and texts, held rows, an original. */
enum an_status fill_file(struct an_store *store, int k, struct filled *filled,
                         struct an_error *err);
/* begin, fill_file, commit; on failure rolled back. */
enum an_status fill_committed(struct an_store *store, int k, struct filled *filled,
                              struct an_error *err);

/* What people and rules decide about the filled file: limits proposed, locked and refused, a signal
 * with two hits, one of them withdrawn, how far the stream was judged, a line description. */
enum an_status decide_all(struct an_store *store, const struct filled *filled,
                          struct an_error *err);
/* Two keys of B. Person, recorded; the second, whose recording the first one signs, in the place of the
 * first; a head signed by the second. Costs a few milliseconds, so sweeps leave it out. */
enum an_status decide_keys(struct an_store *store, struct an_error *err);
/* Calls everything that reads, with every filter, and scratch; AN_BUG if a count is not what
 * fill_file and decide_all (given `decided`) put. */
enum an_status read_all(struct an_store *store, const struct filled *filled, bool decided,
                        struct an_error *err);

/* The digest that the ledger entry of a file holds. */
void digest_in_ledger(struct an_store *store, int64_t file_id, char hex[65]);

/* Reads one integer by SQL of the test's own, beside the store's handle. */
int64_t ask(const char *path, const char *sql);
/* Runs SQL of the test's own; returns SQLite's result. text may be NULL. */
int run_sql(const char *path, const char *sql, char text[200]);

uint64_t random_next(uint64_t *state); /* xorshift64*; state must not be 0 */
uint64_t random_seed(void);            /* ANDAMENTO_TEST_SEED, or a fixed one; printed */

#endif
