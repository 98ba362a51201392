/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Readiness by hand: one datagram to the socket named in the environment. It must never block the
 * collector: a listener that does not listen is passed over.
 */
#define _GNU_SOURCE /* SOCK_CLOEXEC */
#include "cli/notify.h"

#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

static int connect_to(const char *name)
{
    struct sockaddr_un to = {.sun_family = AF_UNIX};
    const size_t length = strlen(name);
    if ((name[0] != '/' && name[0] != '@') || length >= sizeof to.sun_path) {
        return -1;
    }
    memcpy(to.sun_path, name, length);
    if (name[0] == '@') { /* a name without a file: it begins with NUL and has no end mark */
        to.sun_path[0] = '\0';
    }
    const socklen_t size =
        (socklen_t)(offsetof(struct sockaddr_un, sun_path) + length + (name[0] == '/'));
    const int made = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    if (made >= 0 && connect(made, (const struct sockaddr *)&to, size)) {
        (void)close(made);
        return -1;
    }
    return made;
}

/* For whom the time is meant may be said; then it must be us. */
static int64_t watchdog(void)
{
    const char *text = getenv("WATCHDOG_USEC");
    const char *pid = getenv("WATCHDOG_PID");
    const long long us = text ? strtoll(text, NULL, 10) : 0;
    const bool ours = !pid || strtol(pid, NULL, 10) == (long)getpid();
    return ours && us > 0 ? (int64_t)us : 0;
}

struct an_notify an_notify_open(void)
{
    const char *name = getenv("NOTIFY_SOCKET");
    struct an_notify notify = {.descriptor = name ? connect_to(name) : -1,
                               .watchdog_us = watchdog()};
    (void)unsetenv("NOTIFY_SOCKET");
    (void)unsetenv("WATCHDOG_USEC");
    (void)unsetenv("WATCHDOG_PID");
    return notify;
}

void an_notify_close(struct an_notify *notify)
{
    if (notify->descriptor >= 0) {
        (void)close(notify->descriptor);
        notify->descriptor = -1;
    }
}

void an_notify_send(const struct an_notify *notify, const char *format, ...)
{
    char text[1024];
    va_list args;
    if (notify->descriptor < 0) {
        return;
    }
    va_start(args, format);
    const int length = vsnprintf(text, sizeof text, format, args);
    va_end(args);
    if (length > 0) {
        const size_t size = (size_t)length < sizeof text ? (size_t)length : sizeof text - 1;
        (void)send(notify->descriptor, text, size, MSG_NOSIGNAL | MSG_DONTWAIT);
    }
}

void an_notify_reloading(const struct an_notify *notify)
{
    struct timespec now = {0};
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    an_notify_send(notify, "RELOADING=1\nMONOTONIC_USEC=%lld",
                   (long long)now.tv_sec * 1000000 + now.tv_nsec / 1000);
}

void an_notify_alive(struct an_notify *notify, int64_t now_us)
{
    if (notify->watchdog_us > 0 && now_us - notify->fed_us >= notify->watchdog_us / 4) {
        notify->fed_us = now_us;
        an_notify_send(notify, "WATCHDOG=1");
    }
}
