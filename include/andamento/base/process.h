/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Running a command of the user's, and the clocks of the machine. The command gets nothing of
 * ours but the bytes of its standard input; it is ended when its time is over. One thread a run.
 */
#ifndef ANDAMENTO_BASE_PROCESS_H
#define ANDAMENTO_BASE_PROCESS_H

#include "andamento/base/bytes.h"
#include "andamento/base/status.h"
#include "andamento/base/text.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct an_process_limits {
    int64_t run_ms;     /* then it is asked to end (SIGTERM to it and its children) ... */
    int64_t grace_ms;   /* ... and after so long made to (SIGKILL) */
    size_t output_most; /* of its standard output and error together; the rest is dropped */
    void (*tick)(void *context); /* called now and then meanwhile; NULL: not */
    void *context;
    const volatile int *stop; /* non-zero: end it at once; NULL: never */
};

struct an_process_result {
    int exit_status; /* -1: ended by a signal */
    int by_signal;   /* 0: it exited */
    bool out_of_time;
    int64_t took_ms;
    size_t output_dropped;
    struct an_text output; /* to be freed */
};

/* argv[0] is a path, or a name that is looked for in PATH; no shell stands between. AN_NOT_FOUND,
 * AN_DENIED, AN_IO, AN_NO_MEMORY if it could not be started; whatever it then does is a result. */
AN_CHECKED enum an_status an_process_run(const char *const *argv, struct an_bytes input,
                                         const struct an_process_limits *limits,
                                         struct an_process_result *result, struct an_error *err);

/* Microseconds since the machine started, sleep included; nobody can set this clock. */
int64_t an_clock_monotonic_us(void);
/* The wall clock as the machine has it, whatever ANDAMENTO_CLOCK says. */
int64_t an_clock_wall_us(void);
/* The kernel's id of this start of the machine; "" if it tells none. */
const char *an_boot_id(char buffer[40]);

#endif
