/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A whole collect without memory: each allocation fails in turn, once and from then on, ours,
 * SQLite's, and those that zstd, libcsv and OpenSSL make through the C library. Nothing leaks, the
 * next start ends as an undisturbed run does, and a collector that was told to go on can.
 *
 * By default some of the thousands; AN_SWEEP=20000 takes every one of the small run (that of the
 * large run has hundreds of thousands).
 */
#define _GNU_SOURCE /* dladdr */
#include "support_faults.h"

#include <dlfcn.h>
#include <sqlite3.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- counters of three kinds of memory ----------------------------------------------------------- */
enum memory { MEMORY_OURS, MEMORY_SQLITE, MEMORY_LIBRARIES, MEMORIES };
static const char *const memory_names[MEMORIES] = {"ours", "SQLite's", "libraries'"};

struct counter {
    size_t k, seen;
    bool for_ever, struck;
};

static bool strikes(struct counter *counter)
{
    if (counter->k == 0) {
        return false;
    }
    counter->seen++;
    const bool now =
        counter->seen == counter->k || (counter->for_ever && counter->seen > counter->k);
    counter->struck = counter->struck || now;
    return now;
}

static struct counter of_sqlite;
static sqlite3_mem_methods plain;

static void *sqlite_malloc(int size)
{
    return strikes(&of_sqlite) ? NULL : plain.xMalloc(size);
}
static void *sqlite_realloc(void *block, int size)
{
    return strikes(&of_sqlite) ? NULL : plain.xRealloc(block, size);
}
static bool install(void) /* before SQLite is first used */
{
    sqlite3_mem_methods wrapped;

    if (sqlite3_config(SQLITE_CONFIG_GETMALLOC, &plain) != SQLITE_OK) {
        return false;
    }
    wrapped = plain;
    wrapped.xMalloc = sqlite_malloc;
    wrapped.xRealloc = sqlite_realloc;
    return sqlite3_config(SQLITE_CONFIG_MALLOC, &wrapped) == SQLITE_OK;
}

/*
 * The C library's allocator, for what other libraries call: the program's own definitions are found
 * first. By whom it is called is told by the return address: GLib, which ends the program without
 * memory and is asked for zones only, and the libraries that the test itself uses are left alone.
 * The sanitizers bring an allocator of their own, so this is left out under them.
 */
#if defined(__GLIBC__) && !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#define HAVE_LIBRARIES 1
#else
#define HAVE_LIBRARIES 0
#endif

#if HAVE_LIBRARIES
#define SEEN_BY_LIBRARIES __attribute__((visibility("default")))
static struct counter of_libraries;

void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_realloc(void *block, size_t size);

static bool library_strikes(const void *caller)
{
    static const char *const which[] = {"libzstd", "libcsv", "libcrypto"};
    static bool inside;
    Dl_info where;

    if (of_libraries.k == 0 || inside) {
        return false;
    }
    inside = true;
    bool counts = false;
    if (dladdr(caller, &where) && where.dli_fname) {
        for (size_t i = 0; i < sizeof which / sizeof *which; i++) {
            if (strstr(where.dli_fname, which[i])) {
                counts = true;
            }
        }
    }
    inside = false;
    return counts && strikes(&of_libraries);
}

SEEN_BY_LIBRARIES void *malloc(size_t size)
{
    return library_strikes(__builtin_return_address(0)) ? NULL : __libc_malloc(size);
}
SEEN_BY_LIBRARIES void *calloc(size_t count, size_t size)
{
    return library_strikes(__builtin_return_address(0)) ? NULL : __libc_calloc(count, size);
}
SEEN_BY_LIBRARIES void *realloc(void *block, size_t size)
{
    return library_strikes(__builtin_return_address(0)) ? NULL : __libc_realloc(block, size);
}
#endif

static void fail_at(enum memory memory, size_t k, bool for_ever)
{
    const struct counter counter = {.k = k, .for_ever = for_ever};

    if (memory == MEMORY_OURS) {
        (void)an_alloc_fail_at(k, for_ever);
    } else if (memory == MEMORY_SQLITE) {
        of_sqlite = counter;
    } else {
#if HAVE_LIBRARIES
        of_libraries = counter;
#endif
    }
}

/* Switches it off; how many allocations there were. */
static size_t end_failing(enum memory memory)
{
    size_t seen = 0;

    if (memory == MEMORY_OURS) {
        seen = an_alloc_fail_at(0, false);
    } else if (memory == MEMORY_SQLITE) {
        seen = of_sqlite.seen;
        of_sqlite = (struct counter){0};
    } else {
#if HAVE_LIBRARIES
        seen = of_libraries.seen;
        of_libraries = (struct counter){0};
#endif
    }
    return seen;
}

static size_t count_allocations(enum memory memory, bool each)
{
    size_t taken = 0;

    sweep_reset();
    fail_at(memory, (size_t)1 << 40, false);
    ck_assert_int_eq(sweep_run(&taken, each, &bench.err), AN_OK);
    return end_failing(memory);
}

static void sweep_memory(enum memory memory, bool for_ever, bool again, size_t most)
{
    bench.options.threads = 1; /* so that allocation k is the same one each time */
    const size_t count = count_allocations(memory, again);
    const size_t step = sweep_step(count, most);
    size_t done = 0;
    size_t failures = 0;

    ck_assert_uint_gt(count, 10);
    for (size_t k = 1; k <= count; k += step) {
        size_t taken = 0;
        char when[96];

        (void)snprintf(when, sizeof when, "allocation %zu of %zu, %s%s%s", k, count,
                       memory_names[memory], for_ever ? ", and all after" : "",
                       again ? ", going on" : "");
        sweep_reset();
        fail_at(memory, k, for_ever);
        const enum an_status st = sweep_run(&taken, again, &bench.err);
        ck_assert_uint_ge(end_failing(memory), k);
        ck_assert_msg(st == AN_OK || st == AN_NO_MEMORY, "%s: %s: %s", when, an_status_name(st),
                      bench.err.text);
        failures += st != AN_OK;
        sweep_restart(taken, when);
        done++;
    }
    (void)printf("memory, %s%s%s: %zu of %zu, %zu stopped the run\n", memory_names[memory],
                 for_ever ? ", for ever" : "", again ? ", going on" : "", done, count, failures);
}

static const struct {
    bool for_ever, again;
} ways[] = {{false, false}, {true, false}, {false, true}};
enum { WAYS = sizeof ways / sizeof *ways };

START_TEST(small_run)
{
    const enum memory memory = (enum memory)(_i / WAYS);

    if (memory == MEMORY_LIBRARIES && !HAVE_LIBRARIES) {
        return;
    }
    sweep_open(SWEEP_SMALL);
    sweep_memory(memory, ways[_i % WAYS].for_ever, ways[_i % WAYS].again, 30);
    sweep_close();
}
END_TEST

START_TEST(large_run)
{
    const enum memory memory = (enum memory)(_i / WAYS);

    if (memory == MEMORY_LIBRARIES && !HAVE_LIBRARIES) {
        return;
    }
    sweep_open(SWEEP_LARGE);
    sweep_memory(memory, ways[_i % WAYS].for_ever, ways[_i % WAYS].again, 2);
    sweep_close();
}
END_TEST

int main(int argc, char **argv)
{
    if (!install()) {
        return EXIT_FAILURE;
    }
    Suite *suite = suite_create("faults of memory");
    TCase *small = tcase_create("small");
    TCase *large = tcase_create("large");

    tcase_set_timeout(small, 7200);
    tcase_add_loop_test(small, small_run, 0, MEMORIES * WAYS);
    suite_add_tcase(suite, small);
    tcase_set_timeout(large, 7200);
    tcase_add_loop_test(large, large_run, 0, MEMORIES * WAYS);
    suite_add_tcase(suite, large);
    return bench_main(suite, argc, argv);
}
