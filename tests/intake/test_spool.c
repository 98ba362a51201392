/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * When a file is whole, what a scan sees, folders that come and go. Time is handed in, so nothing
 * here waits. The rules are those of docs/follow.md (common practice, no source).
 */
#include "intake/spool.h"
#include "support.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define SECOND INT64_C(1000000)

static const char stations[] = "  one:\n"
                               "    folder: spool/one\n"
                               "    files: \"*.csv\"\n"
                               "    time: {column: at}\n"
                               "    item: {kind: free, column: id}\n"
                               "    characteristics: {x: {column: x, unit: um}}\n"
                               "  two:\n"
                               "    folder: spool/two\n"
                               "    files: \"*.csv\"\n"
                               "    format: {end_marker: END}\n"
                               "    time: {column: at}\n"
                               "    item: {kind: free, column: id}\n"
                               "    characteristics: {x: {column: x, unit: um}}\n"
                               "  three:\n"
                               "    folder: spool/one\n"
                               "    files: \"T*.txt\"\n"
                               "    time: {column: at}\n"
                               "    item: {kind: free, column: id}\n"
                               "    characteristics: {x: {column: x, unit: um}}\n";

static struct an_spool *spool;
static int64_t now_us;
static int told[AN_SPOOL_FILE_GONE + 1];
static char last_text[1024];

static void tell(void *context, enum an_spool_notice what, const char *text)
{
    (void)context;
    told[what]++;
    (void)snprintf(last_text, sizeof last_text, "%s", text);
}

static const char *in_folder(const char *name)
{
    return an_arena_printf(bench.arena, "%s/%s", bench.folder, name);
}

static void open_spool(bool events)
{
    const struct an_spool_options options = {
        .scan_us = 60 * SECOND, .settle_us = 2 * SECOND, .no_events = !events, .tell = tell};
    an_spool_close(spool);
    OK(an_spool_open(bench.line, &options, &spool, &bench.err));
}

static void set_up(void)
{
    bench_open(stations);
    (void)bench_text("spool/one/.keep", "");
    (void)bench_text("spool/two/.keep", "");
    memset(told, 0, sizeof told);
    now_us = 1000 * SECOND;
}

static void tear_down(void)
{
    an_spool_close(spool);
    spool = NULL;
    bench_close();
}

/* Lets time pass, looks, and takes what is whole: how many. */
static size_t pass(int64_t us)
{
    struct an_spool_file file;
    size_t count = 0;
    now_us += us;
    OK(an_spool_look(spool, now_us, &bench.err));
    while (an_spool_next(spool, now_us, &file)) {
        (void)snprintf(last_text, sizeof last_text, "%s", file.path);
        an_spool_took(spool, &file, now_us);
        count++;
    }
    return count;
}

static void append(const char *name, const char *text)
{
    FILE *file = fopen(in_folder(name), "ab");
    ck_assert_ptr_nonnull(file);
    ck_assert_int_ge(fputs(text, file), 0);
    ck_assert_int_eq(fclose(file), 0);
}

/* Growing: never whole; unchanged for the settling time: whole, once. */
START_TEST(two_looks)
{
    open_spool(_i);
    (void)bench_text("spool/one/a.csv", "id,at,x\n");
    ck_assert_uint_eq(pass(0), 0);
    for (int k = 0; k < 5; k++) {
        append("spool/one/a.csv", "A,2026-03-04T10:00:00Z,1\n");
        if (!_i) { /* without events only the scan looks */
            an_spool_scan_soon(spool);
        }
        ck_assert_uint_eq(pass(SECOND / 4), 0);
    }
    ck_assert_uint_eq(an_spool_counts(spool).waiting, 1);
    ck_assert_int_le(an_spool_wake_us(spool), now_us + 2 * SECOND);
    ck_assert_uint_eq(pass(2 * SECOND), 1);
    ck_assert_uint_eq(pass(2 * SECOND), 0);
    ck_assert_uint_eq(pass(60 * SECOND), 0); /* a scan does not offer it again */
    append("spool/one/a.csv", "B,2026-03-04T10:00:01Z,1\n");
    an_spool_scan_soon(spool);
    ck_assert_uint_eq(pass(0), 0);
    ck_assert_uint_eq(pass(2 * SECOND), 1); /* another content is another file */
}
END_TEST

/* Same length and same time, other bytes: seen all the same. */
START_TEST(rewritten_in_disguise)
{
    const struct timespec times[2] = {{.tv_sec = 1700000000}, {.tv_sec = 1700000000}};
    open_spool(false);
    (void)bench_text("spool/one/a.csv", "one\n");
    ck_assert_int_eq(utimensat(AT_FDCWD, in_folder("spool/one/a.csv"), times, 0), 0);
    ck_assert_uint_eq(pass(0), 0);
    ck_assert_uint_eq(pass(2 * SECOND), 1);
    (void)bench_text("spool/one/a.csv", "two\n");
    ck_assert_int_eq(utimensat(AT_FDCWD, in_folder("spool/one/a.csv"), times, 0), 0);
    an_spool_scan_soon(spool);
    ck_assert_uint_eq(pass(0), 0);
    ck_assert_uint_eq(pass(2 * SECOND), 1);
}
END_TEST

START_TEST(renamed_into_place)
{
    open_spool(true);
    ck_assert_uint_eq(pass(0), 0);
    (void)bench_text("spool/one/.a.csv.part", "id,at,x\n");
    ck_assert_uint_eq(pass(0), 0);
    ck_assert_int_eq(rename(in_folder("spool/one/.a.csv.part"), in_folder("spool/one/a.csv")), 0);
    ck_assert_uint_eq(pass(0), 1); /* at once */
    ck_assert_uint_eq(pass(120 * SECOND), 0);
    /* over a name that is there, with the same length */
    (void)bench_text("spool/one/.a.csv.part", "id,at,y\n");
    ck_assert_int_eq(rename(in_folder("spool/one/.a.csv.part"), in_folder("spool/one/a.csv")), 0);
    ck_assert_uint_eq(pass(0), 1);
}
END_TEST

/* A closed file needs a quarter of the time; one that goes on growing does not profit. */
START_TEST(closed_after_writing)
{
    open_spool(true);
    ck_assert_uint_eq(pass(0), 0);
    (void)bench_text("spool/one/a.csv", "id,at,x\n");
    ck_assert_uint_eq(pass(0), 0);
    ck_assert_uint_eq(pass(SECOND / 4), 0);
    ck_assert_uint_eq(pass(SECOND / 4), 1);
    FILE *open = fopen(in_folder("spool/one/b.csv"), "wb");
    ck_assert_ptr_nonnull(open);
    for (int k = 0; k < 4; k++) {
        ck_assert_int_ge(fputs("more\n", open), 0);
        ck_assert_int_eq(fflush(open), 0);
        ck_assert_uint_eq(pass(SECOND), 0);
    }
    ck_assert_int_eq(fclose(open), 0);
    ck_assert_uint_eq(pass(0), 0);
    ck_assert_uint_eq(pass(SECOND / 2), 1);
}
END_TEST

START_TEST(end_marker)
{
    open_spool(false);
    (void)bench_text("spool/two/a.csv", "id,at,x\nA,2026-03-04T10:00:00Z,1\n");
    (void)bench_text("spool/two/b.csv", "id,at,x\nA,2026-03-04T10:00:00Z,1\nEND\n");
    ck_assert_uint_eq(pass(0), 1); /* the one that says so, at once */
    ck_assert_ptr_nonnull(strstr(last_text, "b.csv"));
    ck_assert_uint_eq(pass(2 * SECOND), 0); /* the other is given ten times as long */
    append("spool/two/a.csv", "END\r\n");
    an_spool_scan_soon(spool);
    ck_assert_uint_eq(pass(0), 1);
    (void)bench_text("spool/two/c.csv", "cut off");
    an_spool_scan_soon(spool);
    ck_assert_uint_eq(pass(0), 0);
    ck_assert_uint_eq(pass(19 * SECOND), 0);
    ck_assert_uint_eq(pass(2 * SECOND), 1);
    static const struct {
        const char *text;
        bool ends;
    } rows[] = {
        {"a\nEND\n", true},   {"a\r\nEND\r\n", true},  {"END", true},         {"END\n", true},
        {"a\nEND", true},     {"a\nTHE END\n", false}, {"a\nEND\n\n", false}, {"", false},
        {"a\nEND \n", false}, {"a\nEN", false},        {"\nEND\nx", false},
    };
    for (size_t k = 0; k < sizeof rows / sizeof *rows; k++) {
        ck_assert_msg(an_spool_ends_with(bench_text("m", rows[k].text), "END") == rows[k].ends,
                      "%zu", k);
    }
    ck_assert(!an_spool_ends_with(in_folder("nowhere"), "END"));
    ck_assert(!an_spool_ends_with(in_folder("spool"), "END"));
}
END_TEST

START_TEST(empty_files_get_more_time)
{
    open_spool(false);
    (void)bench_text("spool/one/a.csv", "");
    ck_assert_uint_eq(pass(0), 0);
    ck_assert_uint_eq(pass(2 * SECOND), 0);
    ck_assert_uint_eq(pass(18 * SECOND), 1);
}
END_TEST

START_TEST(what_is_no_file)
{
    open_spool(false);
    (void)bench_text("elsewhere.csv", "secret\n");
    ck_assert_int_eq(symlink(in_folder("elsewhere.csv"), in_folder("spool/one/link.csv")), 0);
    ck_assert_int_eq(mkdir(in_folder("spool/one/folder.csv"), 0700), 0);
    ck_assert_int_eq(mkfifo(in_folder("spool/one/pipe.csv"), 0600), 0);
    (void)bench_text("spool/one/.hidden.csv", "x\n");
    (void)bench_text("spool/one/unfit.dat", "x\n");
    (void)bench_text("spool/one/Twin.txt", "x\n"); /* of the second station there */
    ck_assert_uint_eq(pass(0), 0);
    ck_assert_int_eq(told[AN_SPOOL_NOT_A_FILE], 3);
    ck_assert_int_eq(told[AN_SPOOL_NO_PATTERN], 1);
    ck_assert_uint_eq(pass(2 * SECOND), 1);
    ck_assert_ptr_nonnull(strstr(last_text, "Twin.txt"));
    ck_assert_uint_eq(pass(60 * SECOND), 0);
    ck_assert_int_eq(told[AN_SPOOL_NOT_A_FILE], 3); /* each once */
    ck_assert_int_eq(told[AN_SPOOL_NO_PATTERN], 1);
}
END_TEST

/* Oldest first, whatever their names. */
START_TEST(order)
{
    struct an_spool_file file;
    char seen[100] = "";
    open_spool(false);
    static const char *const names[] = {"c", "a", "b"};
    for (int k = 0; k < 3; k++) {
        const struct timespec times[2] = {{.tv_sec = 1700000000 + k}, {.tv_sec = 1700000000 + k}};
        const char *path = bench_text(
            an_arena_printf(bench.arena, "spool/%s/%s.csv", k == 1 ? "two" : "one", names[k]),
            "x\n");
        ck_assert_int_eq(utimensat(AT_FDCWD, path, times, 0), 0);
    }
    OK(an_spool_look(spool, now_us, &bench.err));
    OK(an_spool_look(spool, now_us + 20 * SECOND, &bench.err));
    while (an_spool_next(spool, now_us + 20 * SECOND, &file)) {
        strncat(seen, strrchr(file.path, '/') + 1, 1);
        ck_assert_uint_eq(file.station, seen[1] && !seen[2] ? 1 : 0);
        an_spool_took(spool, &file, now_us);
    }
    ck_assert_str_eq(seen, "cab");
}
END_TEST

START_TEST(folder_gone_and_back)
{
    open_spool(true);
    (void)bench_text("spool/one/a.csv", "x\n");
    ck_assert_uint_eq(pass(0), 0);
    ck_assert_uint_eq(pass(2 * SECOND), 1);
    ck_assert_int_eq(rename(in_folder("spool/one"), in_folder("away")), 0);
    ck_assert_uint_eq(pass(0), 0);
    ck_assert_int_eq(told[AN_SPOOL_FOLDER_GONE], 1);
    ck_assert_uint_eq(an_spool_counts(spool).folders_gone, 1);
    for (int k = 0; k < 40; k++) { /* told once, however long it lasts; looked at more rarely */
        ck_assert_uint_eq(pass(3 * SECOND), 0);
    }
    ck_assert_int_eq(told[AN_SPOOL_FOLDER_GONE], 1);
    (void)bench_text("away/b.csv", "y\n");
    ck_assert_int_eq(rename(in_folder("away"), in_folder("spool/one")), 0);
    ck_assert_uint_eq(pass(60 * SECOND), 0);
    ck_assert_int_eq(told[AN_SPOOL_FOLDER_BACK], 1);
    ck_assert_ptr_nonnull(strstr(last_text, "again after 3 min"));
    ck_assert_uint_eq(pass(2 * SECOND), 1); /* the new one; the old one is remembered */
    ck_assert_ptr_nonnull(strstr(last_text, "b.csv"));
    /* watched again: a rename in is met without a scan */
    (void)bench_text("spool/one/.c", "z\n");
    ck_assert_int_eq(rename(in_folder("spool/one/.c"), in_folder("spool/one/c.csv")), 0);
    ck_assert_uint_eq(pass(0), 1);
    /* replaced by another folder of the name */
    ck_assert_int_eq(rename(in_folder("spool/one"), in_folder("away")), 0);
    (void)bench_text("spool/one/d.csv", "z\n");
    ck_assert_uint_eq(pass(0), 0);
    ck_assert_uint_eq(pass(2 * SECOND), 1);
    (void)bench_text("spool/one/.e", "z\n");
    ck_assert_int_eq(rename(in_folder("spool/one/.e"), in_folder("spool/one/e.csv")), 0);
    ck_assert_uint_eq(pass(0), 1);
}
END_TEST

START_TEST(file_that_fails)
{
    struct an_spool_file file;
    open_spool(false);
    (void)bench_text("spool/one/a.csv", "x\n");
    ck_assert_uint_eq(an_spool_counts(spool).folders, 2);
    OK(an_spool_look(spool, now_us, &bench.err));
    now_us += 2 * SECOND;
    int tries = 0;
    for (int k = 0; k < 600; k++, now_us += SECOND) { /* ten minutes */
        OK(an_spool_look(spool, now_us, &bench.err));
        if (an_spool_next(spool, now_us, &file)) {
            an_spool_failed(spool, &file, now_us, "a.csv: locked");
            tries++;
        }
    }
    ck_assert_int_ge(tries, 8); /* 1 + 2 + 4 + ... + 256 s */
    ck_assert_int_le(tries, 12);
    ck_assert_int_eq(told[AN_SPOOL_FILE_FAILS], 1);
    ck_assert_uint_eq(an_spool_counts(spool).failing, 1);
    ck_assert_uint_eq(pass(301 * SECOND), 1);
    ck_assert_int_eq(told[AN_SPOOL_FILE_AGAIN], 1);
    /* growing while it was read is no failure */
    (void)bench_text("spool/one/b.csv", "x\n");
    an_spool_scan_soon(spool);
    OK(an_spool_look(spool, now_us, &bench.err));
    now_us += 2 * SECOND;
    OK(an_spool_look(spool, now_us, &bench.err));
    ck_assert(an_spool_next(spool, now_us, &file));
    append("spool/one/b.csv", "y\n");
    an_spool_failed(spool, &file, now_us, "b.csv: changed while it was read");
    ck_assert_int_eq(told[AN_SPOOL_FILE_FAILS], 1);
    ck_assert_uint_eq(pass(0), 0);
    ck_assert_uint_eq(pass(2 * SECOND), 1);
}
END_TEST

/* Memory follows what lies in the folders. */
START_TEST(what_left_is_forgotten)
{
    struct an_spool_file file;
    open_spool(true);
    for (int k = 0; k < 50; k++) {
        (void)bench_text(an_arena_printf(bench.arena, "spool/one/%03d.csv", k), "x\n");
    }
    ck_assert_uint_eq(pass(0), 0);
    ck_assert_uint_eq(pass(2 * SECOND), 50);
    for (int k = 0; k < 50; k++) {
        ck_assert_int_eq(unlink(in_folder(an_arena_printf(bench.arena, "spool/one/%03d.csv", k))),
                         0);
    }
    ck_assert_uint_eq(pass(60 * SECOND), 0);
    /* the same name and content again is offered again: it was forgotten */
    (void)bench_text("spool/one/000.csv", "x\n");
    ck_assert_uint_eq(pass(0), 0);
    ck_assert_uint_eq(pass(2 * SECOND), 1);
    /* gone between being seen and being taken */
    (void)bench_text("spool/one/001.csv", "x\n");
    ck_assert_uint_eq(pass(0), 0);
    now_us += 2 * SECOND;
    OK(an_spool_look(spool, now_us, &bench.err));
    ck_assert_int_eq(unlink(in_folder("spool/one/001.csv")), 0);
    ck_assert(!an_spool_next(spool, now_us, &file));
    ck_assert_uint_eq(pass(0), 0);
    ck_assert_uint_eq(an_spool_counts(spool).whole, 0);
}
END_TEST

START_TEST(put_back_is_offered_again)
{
    struct an_spool_file file;
    open_spool(false);
    (void)bench_text("spool/one/a.csv", "x\n");
    OK(an_spool_look(spool, now_us, &bench.err));
    now_us += 2 * SECOND;
    OK(an_spool_look(spool, now_us, &bench.err));
    ck_assert(an_spool_next(spool, now_us, &file));
    an_spool_put_back(spool, &file);
    ck_assert_uint_eq(pass(0), 1);
}
END_TEST

/* Each is answered for by itself, in any order; paths stay good meanwhile. */
START_TEST(several_in_hand)
{
    static const char *const names[] = {"a.csv", "b.csv", "c.csv", "d.csv"};
    struct an_spool_file files[4];
    open_spool(false);
    for (size_t k = 0; k < 4; k++) {
        (void)bench_text(an_arena_printf(bench.arena, "spool/one/%s", names[k]), "x\n");
    }
    OK(an_spool_look(spool, now_us, &bench.err));
    now_us += 2 * SECOND;
    OK(an_spool_look(spool, now_us, &bench.err));
    for (size_t k = 0; k < 4; k++) {
        ck_assert(an_spool_next(spool, now_us, &files[k]));
        ck_assert_int_eq(files[k].bytes, 2);
    }
    ck_assert(!an_spool_next(spool, now_us, &files[0]));
    for (size_t k = 0; k < 4; k++) {
        ck_assert_ptr_nonnull(strstr(files[k].path, names[k]));
    }
    an_spool_failed(spool, &files[3], now_us, "d.csv: locked");
    an_spool_put_back(spool, &files[1]);
    an_spool_took(spool, &files[0], now_us);
    ck_assert_int_eq(unlink(in_folder("spool/one/c.csv")), 0);
    an_spool_gone(spool, &files[2]);
    ck_assert_uint_eq(an_spool_counts(spool).failing, 1);
    ck_assert_uint_eq(an_spool_counts(spool).whole, 1);
    ck_assert_uint_eq(pass(0), 1);          /* the one that was put back */
    ck_assert_uint_eq(pass(2 * SECOND), 1); /* the one that failed, tried again */
    ck_assert_uint_eq(pass(60 * SECOND), 0);
}
END_TEST

START_TEST(no_memory)
{
    for (int k = 0; k < 6; k++) {
        (void)bench_text(an_arena_printf(bench.arena, "spool/one/%03d.csv", k), "x\n");
    }
    bool failed = true;
    for (size_t k = 1; failed; k++) { /* each allocation fails once; then all goes well */
        struct an_spool_file file;
        const struct an_spool_options options = {
            .scan_us = 60 * SECOND, .settle_us = 2 * SECOND, .no_events = true};
        size_t taken = 0;
        failed = false;
        an_spool_close(spool);
        spool = NULL;
        (void)an_alloc_fail_at(k, false);
        enum an_status st = an_spool_open(bench.line, &options, &spool, &bench.err);
        for (int look = 0; look < 4 && spool; look++) {
            const enum an_status seen =
                an_spool_look(spool, (1000 + 61 * look) * SECOND, &bench.err);
            ck_assert_msg(seen == AN_OK || seen == AN_NO_MEMORY, "%s", bench.err.text);
            failed = failed || seen;
            while (an_spool_next(spool, (1000 + 61 * look) * SECOND, &file)) {
                an_spool_took(spool, &file, (1000 + 61 * look) * SECOND);
                taken++;
            }
        }
        (void)an_alloc_fail_at(0, false);
        failed = failed || st;
        ck_assert_msg(st || taken == 6, "allocation %zu: %zu taken", k, taken);
    }
}
END_TEST

START_TEST(spans)
{
    char text[32];
    ck_assert_str_eq(an_spool_span(1500000, text), "1.5 s");
    ck_assert_str_eq(an_spool_span(59 * SECOND, text), "59 s");
    ck_assert_str_eq(an_spool_span(3 * 60 * SECOND, text), "3 min");
    ck_assert_str_eq(an_spool_span(7500 * SECOND, text), "2 h 5 min");
}
END_TEST

int main(int argc, char **argv)
{
    Suite *suite = suite_create("spool");
    TCase *tests = tcase_create("spool");
    tcase_add_checked_fixture(tests, set_up, tear_down);
    tcase_add_loop_test(tests, two_looks, 0, 2);
    tcase_add_test(tests, rewritten_in_disguise);
    tcase_add_test(tests, renamed_into_place);
    tcase_add_test(tests, closed_after_writing);
    tcase_add_test(tests, end_marker);
    tcase_add_test(tests, empty_files_get_more_time);
    tcase_add_test(tests, what_is_no_file);
    tcase_add_test(tests, order);
    tcase_add_test(tests, folder_gone_and_back);
    tcase_add_test(tests, file_that_fails);
    tcase_add_test(tests, what_left_is_forgotten);
    tcase_add_test(tests, put_back_is_offered_again);
    tcase_add_test(tests, several_in_hand);
    tcase_add_test(tests, no_memory);
    tcase_add_test(tests, spans);
    suite_add_tcase(suite, tests);
    return bench_main(suite, argc, argv);
}
