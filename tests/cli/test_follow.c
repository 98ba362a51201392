/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a collector that follows decides without waiting: clock steps, room on the disk, the
 * journal; what it tells a service manager; and that the manual lists every message.
 */
#include "cli/follow.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#define S INT64_C(1000000)
#define YEAR (365 * 86400 * S)

START_TEST(clock_steps)
{
    static const struct {
        int64_t wall_us, monotonic_us, step_us;
    } rows[] = {
        {1000 * S, 10 * S, 0},                                 /* first look */
        {1001 * S, 11 * S, 0},                                 /* both went on */
        {1061 * S, 71 * S, 0},                                 /* a long file, or sleep */
        {1062 * S + S / 2, 72 * S, 0},                         /* steered by half a second */
        {1063 * S + 9 * S / 10, 73 * S, 0},                    /* and again: no step adds up */
        {1065 * S + 9 * S / 10, 74 * S, S},                    /* forward by one second */
        {1066 * S + 9 * S / 10, 75 * S, 0},                    /* told once */
        {1067 * S + 9 * S / 10 + YEAR, 76 * S, YEAR},          /* a year ahead */
        {1068 * S + 9 * S / 10, 77 * S, -YEAR},                /* and back */
        {1069 * S + 9 * S / 10 - 3600 * S, 78 * S, -3600 * S}, /* an hour back */
    };
    struct an_clock_pair pair = {0};
    for (size_t k = 0; k < sizeof rows / sizeof *rows; k++) {
        ck_assert_msg(an_clock_step(&pair, rows[k].wall_us, rows[k].monotonic_us) ==
                          rows[k].step_us,
                      "row %zu", k);
    }
}
END_TEST

START_TEST(disk)
{
    ck_assert(!an_disk_is_low(false, 1000, 1000));
    ck_assert(an_disk_is_low(false, 999, 1000));
    ck_assert(an_disk_is_low(true, 1000, 1000)); /* it does not flutter */
    ck_assert(an_disk_is_low(true, 1099, 1000));
    ck_assert(!an_disk_is_low(true, 1100, 1000));
    ck_assert(!an_disk_is_low(false, 0, 0));
}
END_TEST

START_TEST(journal)
{
    ck_assert(an_log_is_journal("8:12345", 8, 12345));
    ck_assert(!an_log_is_journal("8:12345", 8, 12346));
    ck_assert(!an_log_is_journal("9:12345", 8, 12345));
    ck_assert(!an_log_is_journal("8:12345x", 8, 12345));
    ck_assert(!an_log_is_journal("8", 8, 0));
    ck_assert(!an_log_is_journal("8:", 8, 0));
    ck_assert(!an_log_is_journal("", 0, 0));
    ck_assert(!an_log_is_journal(NULL, 0, 0));
}
END_TEST

/* Each message stands in docs/follow.md, and nothing else does. */
START_TEST(messages_are_listed)
{
    FILE *file = fopen(AN_SOURCE_DIR "/docs/follow.md", "r");
    char line[400];
    char name[60];
    int priority = 0;
    int listed = 0;
    bool found[AN_LOG_EVENTS] = {false};
    ck_assert_ptr_nonnull(file);
    while (fgets(line, sizeof line, file)) {
        if (sscanf(line, "| `%59[a-z.-]` | %d |", name, &priority) != 2) {
            continue;
        }
        listed++;
        for (int event = 0; event < AN_LOG_EVENTS; event++) {
            found[event] = found[event] || strcmp(an_log_name((enum an_log_event)event), name) == 0;
        }
    }
    (void)fclose(file);
    ck_assert_int_eq(listed, AN_LOG_EVENTS);
    for (int event = 0; event < AN_LOG_EVENTS; event++) {
        ck_assert_msg(found[event], "%s", an_log_name((enum an_log_event)event));
    }
}
END_TEST

/* ---- the service manager ------------------------------------------------------------------------ */

static int listen_at(const char *path)
{
    struct sockaddr_un name = {.sun_family = AF_UNIX};
    (void)unlink(path);
    memcpy(name.sun_path, path, strlen(path));
    const int made = socket(AF_UNIX, SOCK_DGRAM, 0);
    ck_assert_int_ge(made, 0);
    ck_assert_int_eq(bind(made, (const struct sockaddr *)&name, sizeof name), 0);
    return made;
}

static const char *heard(int listener)
{
    static char text[2000];
    const ssize_t got = recv(listener, text, sizeof text - 1, MSG_DONTWAIT);
    text[got > 0 ? got : 0] = '\0';
    return text;
}

START_TEST(notices)
{
    char folder[] = "/tmp/an-notify-XXXXXX";
    char path[64];
    char pid[32];
    ck_assert_ptr_nonnull(mkdtemp(folder));
    (void)snprintf(path, sizeof path, "%s/socket", folder);
    const int listener = listen_at(path);
    (void)snprintf(pid, sizeof pid, "%ld", (long)getpid());
    (void)setenv("NOTIFY_SOCKET", path, 1);
    (void)setenv("WATCHDOG_USEC", "8000000", 1);
    (void)setenv("WATCHDOG_PID", pid, 1);
    struct an_notify notify = an_notify_open();
    ck_assert_ptr_null(getenv("NOTIFY_SOCKET")); /* commands do not speak for us */
    ck_assert_ptr_null(getenv("WATCHDOG_USEC"));
    ck_assert_int_eq(notify.watchdog_us, 8 * S);
    an_notify_send(&notify, "READY=1\nSTATUS=%s", "well");
    ck_assert_str_eq(heard(listener), "READY=1\nSTATUS=well");
    an_notify_alive(&notify, 100 * S);
    ck_assert_str_eq(heard(listener), "WATCHDOG=1");
    an_notify_alive(&notify, 101 * S); /* not more often than is of use */
    ck_assert_str_eq(heard(listener), "");
    an_notify_alive(&notify, 102 * S);
    ck_assert_str_eq(heard(listener), "WATCHDOG=1");
    an_notify_reloading(&notify);
    ck_assert_int_eq(strncmp(heard(listener), "RELOADING=1\nMONOTONIC_USEC=", 27), 0);
    for (int k = 0; k < 5000; k++) { /* a listener that does not read never blocks us */
        an_notify_send(&notify, "STATUS=%d", k);
    }
    (void)close(listener);
    an_notify_send(&notify, "STATUS=nobody listens");
    an_notify_close(&notify);
    (void)unlink(path);
    (void)rmdir(folder);
}
END_TEST

START_TEST(nobody_listens)
{
    static const char *const names[] = {"", "relative", "/nowhere/at/all", "@andamento-nobody"};
    for (size_t k = 0; k < sizeof names / sizeof *names; k++) {
        (void)setenv("NOTIFY_SOCKET", names[k], 1);
        (void)setenv("WATCHDOG_USEC", "1000", 1);
        (void)setenv("WATCHDOG_PID", "1", 1); /* meant for another process */
        struct an_notify notify = an_notify_open();
        ck_assert_int_eq(notify.descriptor, -1);
        ck_assert_int_eq(notify.watchdog_us, 0);
        an_notify_send(&notify, "READY=1");
        an_notify_alive(&notify, 5);
        an_notify_close(&notify);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("follow");
    TCase *tests = tcase_create("follow");
    tcase_add_test(tests, clock_steps);
    tcase_add_test(tests, disk);
    tcase_add_test(tests, journal);
    tcase_add_test(tests, messages_are_listed);
    tcase_add_test(tests, notices);
    tcase_add_test(tests, nobody_listens);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
