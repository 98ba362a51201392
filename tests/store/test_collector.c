/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One collector a store, writers that take turns with it, and its diary. Other writers are children
 * of the test, so that their waiting is real.
 */
#include "andamento/store/collector.h"
#include "store/handle.h"
#include "store/lock.h"
#include "support.h"

#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

static const char *made_store(void)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct filled filled;
    const char *path = scratch_path("line.store");
    OK(an_store_open(path, AN_STORE_CREATE, &store, &err));
    OK(fill_committed(store, 1, &filled, &err));
    an_store_close(store);
    return path;
}

static bool names_this_process(const char *text)
{
    char pid[40];
    char host[256] = "";
    (void)snprintf(pid, sizeof pid, "process %ld ", (long)getpid());
    (void)gethostname(host, sizeof host - 1);
    return strstr(text, pid) && strstr(text, host);
}

START_TEST(second_collector_is_refused)
{
    struct an_error err;
    struct an_store *first = NULL;
    struct an_store *second = NULL;
    const char *path = made_store();
    OK(an_store_open_collector(path, AN_COLLECT_FOLLOWS, &first, &err));
    FAILS(an_store_open_collector(path, AN_COLLECT_FOLLOWS, &second, &err), AN_BUSY);
    ck_assert_msg(names_this_process(err.text), "%s", err.text);
    an_store_yield(first); /* it still lives */
    FAILS(an_store_open_collector(path, AN_COLLECT_FOLLOWS, &second, &err), AN_BUSY);
    FAILS(an_store_open_collector(path, AN_COLLECT_ONCE, &second, &err), AN_BUSY);
    ck_assert_msg(names_this_process(err.text), "%s", err.text);
    an_store_close(first);
    OK(an_store_open_collector(path, AN_COLLECT_ONCE, &second, &err));
    FAILS(an_store_open_collector(path, AN_COLLECT_FOLLOWS, &first, &err), AN_BUSY);
    ck_assert(!an_collector_yields(path)); /* so nobody waits for it */
    FAILS(an_store_open(path, AN_STORE_WRITE, &first, &err), AN_BUSY);
    an_store_close(second);
}
END_TEST

START_TEST(a_writer_gets_its_turn)
{
    struct an_error err;
    struct an_store *follower = NULL;
    struct an_store *person = NULL;
    struct filled filled;
    int64_t before = 0;
    int64_t after = 0;
    int64_t revision = 0;
    bool is_new = false;
    const char *path = made_store();
    OK(an_store_open_collector(path, AN_COLLECT_FOLLOWS, &follower, &err));
    OK(an_store_data_version(follower, &before, &err));
    an_store_yield(follower);
    FAILS(an_store_begin(follower, &err), AN_BUG); /* without the lock nothing is written */
    OK(an_store_open(path, AN_STORE_WRITE, &person, &err));
    FAILS(an_store_resume(follower, 20, &err), AN_BUSY);
    OK(an_store_put_line(person, an_bytes_of("line: x"), ".", &revision, &is_new, &err));
    an_store_close(person);
    OK(an_store_resume(follower, 0, &err));
    OK(an_store_data_version(follower, &after, &err));
    ck_assert_int_ne(before, after);
    OK(an_store_newest_revision(follower, &revision, &err));
    ck_assert_int_eq(revision, 1);
    OK(fill_committed(follower, 2, &filled, &err)); /* numbers go on after the other's */
    OK(an_store_data_version(follower, &before, &err));
    ck_assert_int_eq(before, after);
    an_store_yield(follower);
    an_store_close(follower); /* takes the lock back to end */
    OK(an_store_open(path, AN_STORE_WRITE, &person, &err));
    bool sound = false;
    OK(an_ledger_check(person, &sound, &err));
    ck_assert(sound);
    an_store_close(person);
}
END_TEST

/* A collector that lets go and takes back without a pause cannot overtake one who waits. */
START_TEST(waiting_is_fair)
{
    struct an_error err;
    struct an_store *follower = NULL;
    struct an_store *person = NULL;
    const char *path = made_store();
    int done[2];
    ck_assert_int_eq(pipe(done), 0);
    OK(an_store_open_collector(path, AN_COLLECT_FOLLOWS, &follower, &err));
    const pid_t child = fork();
    if (child == 0) {
        for (int k = 0; k < 20; k++) {
            if (an_store_open(path, AN_STORE_WRITE, &person, &err)) {
                _exit(1);
            }
            an_store_close(person);
        }
        _exit(write(done[1], "x", 1) == 1 ? 0 : 1);
    }
    int turns = 0;
    int status = -1;
    while (waitpid(child, &status, WNOHANG) == 0) {
        an_store_yield(follower);
        OK(an_store_resume(follower, 20000, &err));
        turns++;
    }
    ck_assert_int_eq(status, 0);
    ck_assert_int_ge(turns, 20);
    an_store_close(follower);
}
END_TEST

/* However many start at once, one gets it; a killed one leaves nothing behind. */
START_TEST(start_race)
{
    enum { RACERS = 8 };
    struct an_error err;
    struct an_store *store = NULL;
    const char *path = made_store();
    int answer[2];
    int hold[2];
    pid_t racers[RACERS];
    ck_assert_int_eq(pipe(answer), 0);
    ck_assert_int_eq(pipe(hold), 0);
    for (int k = 0; k < RACERS; k++) {
        racers[k] = fork();
        if (racers[k] == 0) {
            const enum an_status st =
                an_store_open_collector(path, AN_COLLECT_FOLLOWS, &store, &err);
            const char said = st == AN_OK ? '1' : st == AN_BUSY ? '0' : '?';
            char byte;
            (void)close(hold[1]);
            if (write(answer[1], &said, 1) != 1 || read(hold[0], &byte, 1) != 0) {
                _exit(2);
            }
            for (;;) { /* the winner waits to be killed, and the others may */
                (void)pause();
            }
        }
    }
    int won = 0;
    for (int k = 0; k < RACERS; k++) {
        char said = '?';
        ck_assert_int_eq(read(answer[0], &said, 1), 1);
        ck_assert_int_ne(said, '?');
        won += said == '1';
    }
    ck_assert_int_eq(won, 1);
    for (int k = 0; k < RACERS; k++) {
        ck_assert_int_eq(kill(racers[k], SIGKILL), 0);
        ck_assert_int_eq(waitpid(racers[k], NULL, 0), racers[k]);
    }
    OK(an_store_open_collector(path, AN_COLLECT_FOLLOWS, &store, &err));
    an_store_close(store);
}
END_TEST

START_TEST(diary)
{
    struct an_error err;
    struct an_store *store = NULL;
    struct filled filled;
    struct an_arena *arena = an_arena_open();
    struct an_new_signal *fresh = NULL;
    size_t count = 0;
    int64_t told = -1;
    int64_t newest = -1;
    int64_t heard = -1;
    bool found = true;
    bool sound = false;
    const char *path = made_store();
    OK(an_store_open_collector(path, AN_COLLECT_FOLLOWS, &store, &err));
    OK(an_store_told_signal(store, &told, &found, &err));
    ck_assert(!found);
    OK(an_store_newest_signal(store, &newest, &err));
    ck_assert_int_eq(newest, 0);
    const struct an_collector_event start = {
        .act = AN_COLLECTOR_START, .monotonic_us = 5, .boot = "b-1", .detail = "started"};
    OK(an_store_put_collector_event(store, &start, &err));
    OK(an_store_told_signal(store, &told, &found, &err));
    ck_assert(found);
    ck_assert_int_eq(told, 0);
    OK(fill_committed(store, 2, &filled, &err));
    OK(decide_all(store, &filled, &err));
    OK(an_store_signals_after(store, told, 10, arena, &fresh, &count, &err));
    ck_assert_uint_ge(count, 1);
    OK(an_store_newest_signal(store, &newest, &err));
    ck_assert_int_eq(fresh[count - 1].signal_id, newest);
    const struct an_collector_event tell = {.act = AN_COLLECTOR_SIGNAL,
                                            .monotonic_us = 6,
                                            .boot = "b-1",
                                            .signal_id = newest,
                                            .detail = "told"};
    OK(an_store_put_collector_event(store, &tell, &err));
    const struct an_collector_event clock = {.act = AN_COLLECTOR_CLOCK,
                                             .monotonic_us = 7,
                                             .boot = "b-1",
                                             .step_us = -3600000000,
                                             .detail = "set back"};
    OK(an_store_put_collector_event(store, &clock, &err));
    OK(an_store_told_signal(store, &told, &found, &err));
    ck_assert_int_eq(told, newest);
    OK(an_store_signals_after(store, told, 10, arena, &fresh, &count, &err));
    ck_assert_uint_eq(count, 0);
    OK(an_store_station_heard(store, "transfer", &heard, &err));
    ck_assert_int_ne(heard, AN_NO_INSTANT);
    OK(an_store_station_heard(store, "never", &heard, &err));
    ck_assert_int_eq(heard, AN_NO_INSTANT);
    OK(an_ledger_check(store, &sound, &err));
    ck_assert(sound);
    an_store_close(store);
    ck_assert_int_eq(ask(path, "SELECT count(*) = 3 AND sum(step_us) = -3600000000"
                               " AND min(host) <> '' FROM collector_event"),
                     1);
    ck_assert_int_eq(ask(path, "SELECT count(*) FROM ledger WHERE kind LIKE 'collector.%'"), 3);
    an_arena_close(arena);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("collector");
    TCase *tests = tcase_create("collector");
    tcase_add_checked_fixture(tests, scratch_make, scratch_remove);
    tcase_add_test(tests, second_collector_is_refused);
    tcase_add_test(tests, a_writer_gets_its_turn);
    tcase_add_test(tests, waiting_is_fair);
    tcase_add_test(tests, start_race);
    tcase_add_test(tests, diary);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
