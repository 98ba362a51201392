/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A small line, a store in a folder of its own, and files written for the occasion. */
#ifndef AN_TESTS_INTAKE_SUPPORT_H
#define AN_TESTS_INTAKE_SUPPORT_H

#include "andamento/base/memory.h"
#include "andamento/base/text.h"
#include "andamento/store/store.h"
#include "intake/collect.h"
#include "intake/tuning.h"
#include "line/line.h"

#include <check.h>
#include <stdbool.h>
#include <stddef.h>

#define OK(call) ck_assert_msg((call) == AN_OK, "%s: %s", #call, bench.err.text)

struct bench {
    struct an_error err;
    char folder[64];
    struct an_line *line;
    struct an_store *store;
    struct an_collect *collect;
    struct an_collect_options options;
    struct an_collect_tuning tuning;
    struct an_arena *arena;
    struct an_take_result last;
};
extern struct bench bench;

/* `stations` is YAML of what stands under "stations:", each line indented by two blanks or more. */
void bench_open(const char *stations);
void bench_close(void);
/* A new, empty store for the same line; the old one is closed and removed. */
void bench_new_store(void);
/* Opens the collector again, with bench.options and bench.tuning. */
void bench_collector(void);
/* Another line description for the same store, as a new revision. */
void bench_describe(const char *stations);
/* Writes a file below the folder (making folders in between) and returns its path. */
const char *bench_write(const char *name, const void *bytes, size_t length);
const char *bench_text(const char *name, const char *text);
/* Collects it; fails the test if that fails. */
const struct an_take_result *bench_take(const char *path);
/* bench_text() and bench_take(). */
const struct an_take_result *bench_give(const char *name, const char *text);

/* One number, or one text ("" for NULL), out of the store by SQL. */
double bench_number(const char *sql);
const char *bench_word(const char *sql);
/* All that was stored about rows, as text: the same text, the same store. */
char *bench_dump(void);

int bench_main(Suite *suite, int argc, char **argv);

#endif
