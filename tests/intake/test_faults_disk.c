/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A whole collect on a failing disk, and on a machine that loses power: after each, the next start
 * finds a sound store with everything that was reported, takes the rest, and holds what a store
 * holds that was never disturbed, to the last row.
 *
 * By default some of the moments; AN_SWEEP=100000 takes every one (CK_RUN_CASE=small: of the small
 * run only).
 */
#include "faulty_vfs.h"
#include "support_faults.h"

#include <stdio.h>
#include <string.h>

/* How often a whole run makes that call. */
static size_t count_calls(enum fault fault, bool each)
{
    size_t taken = 0;

    sweep_reset();
    faulty_set(fault, 1000000000, false);
    ck_assert_int_eq(sweep_run(&taken, each, &bench.err), AN_OK);
    const size_t calls = (size_t)faulty_seen();
    faulty_set(fault, 0, false);
    return calls;
}

static void sweep_calls(enum fault fault, bool for_ever, bool each, size_t most)
{
    const size_t calls = count_calls(fault, each);
    const size_t step = sweep_step(calls, most);
    size_t done = 0;
    size_t failures = 0;
    size_t missed = 0;

    for (size_t k = 1; k <= calls; k += step) {
        size_t taken = 0;
        char when[80];

        (void)snprintf(when, sizeof when, "%s %zu of %zu%s%s", fault_name(fault), k, calls,
                       for_ever ? " and all after" : "", each ? ", one by one" : "");
        sweep_reset();
        faulty_set(fault, (int)k, for_ever);
        const enum an_status st = sweep_run(&taken, each, &bench.err);
        /* by threads, files share transactions as they happen to be read: the last calls may not be made */
        ck_assert_msg(faulty_struck() || !each, "%s: it never came to that", when);
        missed += !faulty_struck();
        faulty_set(fault, 0, false);
        ck_assert_msg(st == AN_OK || (st != AN_BUG && bench.err.text[0]), "%s: %s: %s", when,
                      an_status_name(st), bench.err.text);
        ck_assert(st == AN_OK || taken < sweep_files());
        failures += st != AN_OK;
        sweep_restart(taken, when);
        done++;
    }
    ck_assert_uint_le(missed, 1 + done / 2);
    (void)printf("%s%s%s: %zu of %zu, %zu stopped the run\n", fault_name(fault),
                 for_ever ? ", for ever" : "", each ? ", one by one" : "", done, calls, failures);
}

START_TEST(small_run)
{
    sweep_open(SWEEP_SMALL);
    sweep_calls((enum fault)(_i / 4), _i & 1, _i & 2, 15);
    sweep_close();
}
END_TEST

START_TEST(large_run)
{
    sweep_open(SWEEP_LARGE);
    sweep_calls((enum fault)(_i / 2), _i % 2, false, 3);
    sweep_close();
}
END_TEST

static void sweep_stops(bool each, size_t most)
{
    size_t taken = 0;
    size_t done = 0;
    size_t count = 0;

    sweep_reset();
    record_start();
    ck_assert_int_eq(sweep_run(&taken, each, &bench.err), AN_OK);
    record_stop();
    count = record_length();
    const size_t step = sweep_step(count, most);
    for (size_t at = 0; at <= count; at += step) {
        for (int loss = 0; loss < LOSSES; loss++) {
            char when[80];
            bool is_write = false;

            (void)snprintf(when, sizeof when, "power lost at change %zu of %zu, %s", at, count,
                           loss_name((enum loss)loss));
            sweep_reset();
            taken = (size_t)crash_at(at, (enum loss)loss, (unsigned)at + 1, &is_write);
            if (loss == LOSS_TORN && !is_write) {
                continue; /* nothing to tear */
            }
            sweep_restart(taken, when);
            done++;
        }
    }
    record_free();
    (void)printf("power%s: %zu changes, %zu images\n", each ? ", one by one" : "", count, done);
}

START_TEST(power_lost_in_small_run)
{
    sweep_open(SWEEP_SMALL);
    sweep_stops(_i, 15);
    sweep_close();
}
END_TEST

START_TEST(power_lost_in_large_run)
{
    sweep_open(SWEEP_LARGE);
    sweep_stops(false, 6);
    sweep_close();
}
END_TEST

int main(int argc, char **argv)
{
    Suite *suite = suite_create("faults of the disk");
    TCase *small = tcase_create("small");
    TCase *large = tcase_create("large");

    tcase_set_timeout(small, 7200);
    tcase_add_loop_test(small, small_run, 0, 4 * FAULTS);
    tcase_add_loop_test(small, power_lost_in_small_run, 0, 2);
    suite_add_tcase(suite, small);
    tcase_set_timeout(large, 7200);
    tcase_add_loop_test(large, large_run, 0, 2 * FAULTS);
    tcase_add_test(large, power_lost_in_large_run);
    suite_add_tcase(suite, large);
    return bench_main(suite, argc, argv);
}
