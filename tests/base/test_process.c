/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Commands that behave and commands that do not; nothing here asserts how long one took. */
#include "andamento/base/process.h"

#include <check.h>
#include <fcntl.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

static struct an_process_result result;
static struct an_error err;

static enum an_status run(const char *script, const char *input, int64_t limit_ms)
{
    const char *const argv[] = {"sh", "-c", script, NULL};
    const struct an_process_limits limits = {
        .run_ms = limit_ms, .grace_ms = 200, .output_most = 1000};
    an_text_free(&result.output);
    return an_process_run(argv, an_bytes_of(input), &limits, &result, &err);
}

static const struct {
    const char *script, *input;
    int64_t limit_ms;
    int exit_status, by_signal;
    bool out_of_time;
    const char *output;
} rows[] = {
    {"cat", "one\ntwo", 20000, 0, 0, false, "one\ntwo"},
    {"cat; echo to-err >&2; exit 3", "x", 20000, 3, 0, false, "xto-err\n"},
    {"exec <&-; exit 0", "nobody reads this", 20000, 0, 0, false, ""},
    {"kill -9 $$", "", 20000, -1, SIGKILL, false, ""},
    {"echo begun; exec sleep 1000", "", 100, -1, SIGTERM, true, "begun\n"},
    {"trap '' TERM; echo deaf; while :; do sleep 1; done", "", 100, -1, SIGKILL, true, "deaf\n"},
    {"trap 'echo ending; exit 4' TERM; while :; do :; done", "", 100, 4, 0, true, "ending\n"},
    {"sleep 5 & echo left a child behind", "", 20000, 0, 0, false, "left a child behind\n"},
};

START_TEST(ends)
{
    ck_assert_msg(run(rows[_i].script, rows[_i].input, rows[_i].limit_ms) == AN_OK, "%s", err.text);
    ck_assert_int_eq(result.exit_status, rows[_i].exit_status);
    ck_assert_int_eq(result.by_signal, rows[_i].by_signal);
    ck_assert_int_eq(result.out_of_time, rows[_i].out_of_time);
    ck_assert_str_eq(an_text_of(&result.output), rows[_i].output);
    ck_assert_int_eq(waitpid(-1, NULL, WNOHANG), -1); /* no child is left to us */
}
END_TEST

START_TEST(large_input_and_output)
{
    struct an_text input = {0};
    for (int k = 0; k < 30000; k++) {
        an_text_add(&input, "0123456789");
    }
    ck_assert_int_eq(run("cat", an_text_of(&input), 20000), AN_OK);
    ck_assert_int_eq(result.exit_status, 0);
    ck_assert_uint_eq(result.output.length, 1000);
    ck_assert_uint_eq(result.output_dropped, 300000 - 1000);
    an_text_free(&input);
}
END_TEST

START_TEST(inherits_nothing)
{
    const int extra = open("/dev/null", O_RDONLY); /* without close-on-exec, as a library may */
    ck_assert_int_ge(extra, 3);
    ck_assert_int_eq(run("ls /proc/self/fd | tr '\\n' ' '", "", 20000), AN_OK);
    /* 0 1 2 and the one by which ls reads the folder */
    ck_assert_str_eq(an_text_of(&result.output), "0 1 2 3 ");
    (void)close(extra);
    sigset_t blocked;
    (void)sigemptyset(&blocked);
    (void)sigaddset(&blocked, SIGTERM);
    (void)sigprocmask(SIG_BLOCK, &blocked, NULL);
    ck_assert_int_eq(run("exec sleep 1000", "", 50), AN_OK);
    ck_assert_int_eq(result.by_signal, SIGTERM); /* not blocked for it */
}
END_TEST

START_TEST(cannot_start)
{
    const char *const missing[] = {"/nowhere/at-all", NULL};
    const char *const not_executable[] = {"/etc/passwd", NULL};
    const struct an_process_limits limits = {.run_ms = 1000, .grace_ms = 100};
    ck_assert_int_eq(an_process_run(missing, an_bytes_of(""), &limits, &result, &err),
                     AN_NOT_FOUND);
    ck_assert_ptr_nonnull(strstr(err.text, "/nowhere/at-all"));
    ck_assert_int_eq(an_process_run(not_executable, an_bytes_of(""), &limits, &result, &err),
                     AN_DENIED);
}
END_TEST

static volatile int stop;

static void stop_it(void *context)
{
    (void)context;
    stop = 1;
}

START_TEST(stopped)
{
    const char *const argv[] = {"sleep", "1000", NULL};
    const struct an_process_limits limits = {
        .run_ms = 600000, .grace_ms = 600000, .tick = stop_it, .stop = &stop};
    ck_assert_int_eq(an_process_run(argv, an_bytes_of(""), &limits, &result, &err), AN_OK);
    ck_assert_int_ne(result.by_signal, 0);
    ck_assert(!result.out_of_time);
}
END_TEST

START_TEST(clocks)
{
    char id[40];
    char again[40];
    const int64_t a = an_clock_monotonic_us();
    const int64_t b = an_clock_monotonic_us();
    ck_assert_int_ge(b, a);
    ck_assert_int_gt(a, 0);
    ck_assert_int_gt(an_clock_wall_us(), INT64_C(1700000000000000));
    ck_assert_str_eq(an_boot_id(id), an_boot_id(again));
}
END_TEST

static void tear_down(void)
{
    an_text_free(&result.output);
}

int main(void)
{
    Suite *suite = suite_create("process");
    TCase *tests = tcase_create("process");
    tcase_add_checked_fixture(tests, NULL, tear_down);
    tcase_add_loop_test(tests, ends, 0, (int)(sizeof rows / sizeof *rows));
    tcase_add_test(tests, large_input_and_output);
    tcase_add_test(tests, inherits_nothing);
    tcase_add_test(tests, cannot_start);
    tcase_add_test(tests, stopped);
    tcase_add_test(tests, clocks);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
