/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the suites of traces share: a scratch store, and links put into it by their names. */
#ifndef AN_TESTS_TRACE_SUPPORT_H
#define AN_TESTS_TRACE_SUPPORT_H

#include "andamento/base/memory.h"
#include "andamento/base/text.h"
#include "trace/trace.h"

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

extern struct an_store *store;
extern struct an_arena *arena;
extern struct an_error err;

void set_up(void);
void tear_down(void);
const char *store_path(void);

#define UNTOLD -1.0 /* no share is told */

/* "parent > child", each KIND:SERIAL. */
struct told {
    const char *what;
    const char *role;
    double share;        /* UNTOLD: none */
    int64_t row, column; /* -1: none; both 0 as left out: none */
    int64_t from_us;     /* 0: none */
};
/* One file with all of them; its lines count from 2. */
void put_links(const struct told *told, size_t count);
/* Files of the test's own: a transaction around it. */
void begin_file(int64_t *file_id);
void end_file(int64_t file_id);
/* The end of a link, in a file of its own. */
void put_end(const char *what, int64_t at_us);
/* The item row of exactly this kind and serial, made if it is new. */
int64_t own_id(const char *name);
/* Finds, or fails the test. */
int64_t id_of(const char *name);

#endif
