/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a service manager wants to know, by the datagrams of sd_notify(3): state, one line of
 * status, and a sign of life that comes from progress only. Silent where nobody listens.
 */
#ifndef AN_CLI_NOTIFY_H
#define AN_CLI_NOTIFY_H

#include "andamento/base/status.h"

#include <stdbool.h>
#include <stdint.h>

struct an_notify {
    int descriptor;      /* -1: nobody listens */
    int64_t watchdog_us; /* 0: none is wanted */
    int64_t fed_us;
};

/* Reads NOTIFY_SOCKET, WATCHDOG_USEC, WATCHDOG_PID and takes them out of the environment, so that
 * commands we start do not speak for us. */
struct an_notify an_notify_open(void);
void an_notify_close(struct an_notify *notify);
/* "READY=1\nSTATUS=..." */
void an_notify_send(const struct an_notify *notify, const char *format, ...) AN_PRINTF(2, 3);
void an_notify_reloading(const struct an_notify *notify);
/* Call wherever work got on: sends WATCHDOG=1 when a quarter of the time is over. */
void an_notify_alive(struct an_notify *notify, int64_t now_us);

#endif
