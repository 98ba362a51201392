/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A failing world: memory, stop orders, a store that cannot be written. Each time a status, no
 * leak (under the sanitizers), and a store that holds the file whole or not at all.
 */
#include "intake/hold.h"
#include "support.h"

#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <sys/resource.h>

static const char stations[] =
    "  shots:\n"
    "    preamble: {run: \"run ([0-9]+)\"}\n"
    "    format: {preamble_lines: 1}\n"
    "    time: {column: at}\n"
    "    item: {kind: free, column: tile}\n"
    "    links: [{column: donor, kind: carrier, role_column: run}]\n"
    "    characteristics:\n"
    "      dx: {column: dx, unit: um, split: head, ribbon: {kind: carrier}, grid: {row: r, column: "
    "r}}\n"
    "      step: {derived: {how: neighbour_step, of: dx}, split: head}\n"
    "      three: {column: dx, unit: um, subgroup: {every: 3}}\n";

static const char file[] = "run 7\n"
                           "tile,at,head,donor,r,dx\n"
                           "A,2026-03-04T10:00:00Z,H1,D1,1,0.5\n"
                           "B,2026-03-04T10:00:00Z,H2,D2,2,0.25\n"
                           "A,2026-03-04T10:00:00Z,H1,D2,2,-0.5\n"
                           "C,2026-03-04T10:00:00Z,H1,D2,2,x\n"
                           "C,2026-03-04T10:00:00Z,H1,D2,2,1.5\n";

START_TEST(every_allocation_fails_once)
{
    const struct an_collect_tuning small = {7, 2, 1 << 20, 2, true, 1, 1, 1, 1};
    bool done = false;

    bench_open(stations);
    bench.tuning = small;
    bench_collector();
    const char *path = bench_text("shots/s.csv", file);
    (void)bench_take(path);
    const char *wanted = bench_dump();
    for (int for_ever = 0; for_ever < 2; for_ever++) {
        done = false;
        for (size_t k = 1; !done; k++) {
            struct an_take_result result;
            enum an_status st = AN_OK;

            bench_new_store();
            (void)an_alloc_fail_at(k, for_ever);
            st = an_collect_file(bench.collect, path, &result, &bench.err);
            (void)an_alloc_fail_at(0, false);
            done = st == AN_OK;
            if (done) {
                ck_assert_str_eq(bench_dump(), wanted);
                break;
            }
            ck_assert_msg(st == AN_NO_MEMORY, "allocation %zu: %s: %s", k, an_status_name(st),
                          bench.err.text);
            if (k % 16 == 0) { /* the same collector can go on */
                (void)bench_take(path);
                ck_assert_str_eq(bench_dump(), wanted);
            } else {
                ck_assert(bench_number("SELECT count(*) FROM file") == 0);
                ck_assert(bench_number("SELECT count(*) FROM item") == 0);
            }
        }
    }
    bench_close();
}
END_TEST

START_TEST(told_to_stop)
{
    struct an_take_result result;
    volatile int stop = 1;

    bench_open(stations);
    bench.options.stop = &stop;
    bench_collector();
    const char *path = bench_text("shots/s.csv", file);
    ck_assert_int_eq(an_collect_file(bench.collect, path, &result, &bench.err), AN_BUSY);
    ck_assert(bench_number("SELECT count(*) FROM file") == 0);
    stop = 0;
    (void)bench_take(path);
    ck_assert_int_eq(bench.last.how, AN_TAKEN);
    bench_close();
}
END_TEST

static uint64_t told_done;
static uint64_t told_total;
static int told_times;

static void tell(void *context, uint64_t done, uint64_t total)
{
    ck_assert_ptr_eq(context, &told_times);
    ck_assert_uint_ge(done, told_done);
    told_done = done;
    told_total = total;
    told_times++;
}

START_TEST(progress_is_told)
{
    bench_open(stations);
    bench.options.progress = tell;
    bench.options.context = &told_times;
    bench.tuning.piece_bytes = 50;
    bench_collector();
    (void)bench_give("shots/s.csv", file);
    ck_assert_uint_eq(told_done, strlen(file));
    ck_assert_uint_eq(told_total, strlen(file));
    ck_assert_int_gt(told_times, 3);
    bench_close();
}
END_TEST

/* A full disk: the file-size limit makes each write of the store fail. */
START_TEST(a_full_disk)
{
    struct an_take_result result;
    struct rlimit limit;
    struct an_text text = {0};

    bench_open(stations);
    an_text_add(&text, "run 7\ntile,at,head,donor,r,dx\n");
    for (int i = 0; i < 20000; i++) {
        an_text_addf(&text, "A%d,2026-03-04T10:00:00Z,H1,D1,1,%d.%d\n", i * 7919 % 20011, i % 1000,
                     i * 31 % 997);
    }
    const char *path = bench_write("shots/s.csv", an_text_of(&text), text.length);
    an_text_free(&text);
    (void)signal(SIGXFSZ, SIG_IGN);
    ck_assert_int_eq(getrlimit(RLIMIT_FSIZE, &limit), 0);
    limit.rlim_cur = 600 * 1024;
    ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &limit), 0);
    const enum an_status st = an_collect_file(bench.collect, path, &result, &bench.err);
    limit.rlim_cur = limit.rlim_max;
    ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &limit), 0);
    ck_assert_msg(st == AN_IO, "%s: %s", an_status_name(st), bench.err.text);
    ck_assert(bench_number("SELECT count(*) FROM file") == 0);
    ck_assert(bench_number("SELECT count(*) FROM visit") == 0);
    bench_close();
}
END_TEST

/* Every reason has a code of its own and an advice, and stands in the manual. */
START_TEST(every_reason_is_explained)
{
    struct an_text manual = {0};
    FILE *page = fopen(AN_SOURCE_DIR "/docs/held.md", "rb");
    char piece[4096];
    size_t length = 0;

    ck_assert_ptr_nonnull(page);
    while ((length = fread(piece, 1, sizeof piece, page)) > 0) {
        an_text_add_bytes(&manual, (struct an_bytes){(unsigned char *)piece, length});
    }
    ck_assert_int_eq(fclose(page), 0);
    for (int i = AN_HOLD_NO_REASON + 1; i < AN_HOLD_REASONS; i++) {
        const char *code = an_hold_code((enum an_hold_reason)i);
        char row[80];

        ck_assert_ptr_nonnull(code);
        ck_assert_ptr_nonnull(an_held_advice(code));
        ck_assert_uint_gt(strlen(an_held_advice(code)), 20);
        (void)snprintf(row, sizeof row, "| `%s` |", code);
        const char *at = strstr(an_text_of(&manual), row);
        ck_assert_msg(at != NULL, "docs/held.md has no row for %s", code);
        ck_assert_msg(strstr(at + 1, row) == NULL, "docs/held.md has two rows for %s", code);
        for (int k = AN_HOLD_NO_REASON + 1; k < i; k++) {
            ck_assert_str_ne(code, an_hold_code((enum an_hold_reason)k));
        }
    }
    ck_assert_ptr_null(an_held_advice("no.such"));
    ck_assert_ptr_null(an_held_advice(NULL));
    an_text_free(&manual);
}
END_TEST

int main(int argc, char **argv)
{
    Suite *suite = suite_create("faults");
    TCase *group = tcase_create("faults");

    tcase_set_timeout(group, 300);
    tcase_add_test(group, every_allocation_fails_once);
    tcase_add_test(group, told_to_stop);
    tcase_add_test(group, progress_is_told);
    tcase_add_test(group, a_full_disk);
    tcase_add_test(group, every_reason_is_explained);
    suite_add_tcase(suite, group);
    return bench_main(suite, argc, argv);
}
