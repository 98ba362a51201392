/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which files, which station, which names; and what is no file. */
#include "support.h"

#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const char stations[] = "  one:\n"
                               "    folder: spool/one\n"
                               "    files: \"*.csv\"\n"
                               "    time: {column: at}\n"
                               "    item: {kind: free, column: id}\n"
                               "    characteristics: {x: {column: x, unit: um}}\n"
                               "  two:\n"
                               "    folder: spool/two\n"
                               "    files: \"*.csv\"\n"
                               "    time: {column: at}\n"
                               "    item: {kind: free, column: id}\n"
                               "    characteristics: {x: {column: x, unit: um}}\n"
                               "  odd:\n"
                               "    folder: spool/odd\n"
                               "    files: \"T[0-9]*.txt\"\n"
                               "    time: {column: at}\n"
                               "    item: {kind: free, column: id}\n"
                               "    characteristics: {x: {column: x, unit: um}}\n";

#define GOOD "id,at,x\nA,2026-03-04T10:00:00Z,1\n"

START_TEST(stations_of_paths)
{
    static const struct {
        const char *path;
        size_t station;
    } rows[] = {
        {"spool/one/a.csv", 0},
        {"/srv/line/spool/two/a.csv", 1},
        {"./spool//one/./a.csv", 0},
        {"one/a.csv", AN_NONE}, /* only part of the folder: two patterns fit */
        {"xspool/one/a.csv", AN_NONE},
        {"spool/one/a.txt", AN_NONE},
        {"spool/odd/T1x.txt", 2},
        {"T9.txt", 2}, /* the only pattern that fits */
        {"elsewhere/T1.txt", 2},
        {"Tx.txt", AN_NONE},
        {"spool/one/.a.csv", AN_NONE}, /* a name with a leading dot is no station's */
        {"spool/one/sub/a.csv", AN_NONE},
    };

    bench_open(stations);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        ck_assert_msg(an_collect_station_of(bench.line, rows[i].path) == rows[i].station, "%s",
                      rows[i].path);
    }
    bench_close();
}
END_TEST

START_TEST(no_station_fits)
{
    bench_open(stations);
    (void)bench_give("notes.md", "nothing");
    ck_assert_int_eq(bench.last.how, AN_NO_STATION_FITS);
    ck_assert_str_eq(bench.last.file.name, "notes.md");
    ck_assert(bench_number("SELECT count(*) FROM file") == 0);
    /* unless one is named */
    bench.options.station = "two";
    bench_collector();
    (void)bench_give("notes.md", GOOD);
    ck_assert_int_eq(bench.last.how, AN_TAKEN);
    ck_assert_str_eq(bench.last.file.station, "two");
    bench_close();
}
END_TEST

START_TEST(unknown_station)
{
    struct an_collect *collect = NULL;

    bench_open(stations);
    bench.options.station = "three";
    ck_assert_int_eq(an_collect_open(bench.store, bench.line, &bench.options, &collect, &bench.err),
                     AN_NOT_FOUND);
    ck_assert_ptr_null(collect);
    ck_assert(strstr(bench.err.text, "three"));
    bench_close();
}
END_TEST

START_TEST(what_is_no_file)
{
    struct an_take_result result;
    char path[160];

    bench_open(stations);
    (void)bench_text("spool/one/a.csv", GOOD);
    (void)snprintf(path, sizeof path, "%s/spool/one/link.csv", bench.folder);
    ck_assert_int_eq(symlink("a.csv", path), 0);
    ck_assert_int_eq(an_collect_file(bench.collect, path, &result, &bench.err), AN_BAD_INPUT);
    ck_assert(strstr(bench.err.text, "symbolic link"));
    (void)snprintf(path, sizeof path, "%s/spool/one/pipe.csv", bench.folder);
    ck_assert_int_eq(mkfifo(path, 0600), 0);
    ck_assert_int_eq(an_collect_file(bench.collect, path, &result, &bench.err), AN_BAD_INPUT);
    (void)snprintf(path, sizeof path, "%s/spool/one", bench.folder);
    ck_assert_int_eq(an_collect_file(bench.collect, path, &result, &bench.err), AN_BAD_INPUT);
    ck_assert(strstr(bench.err.text, "folder"));
    ck_assert_int_eq(an_collect_file(bench.collect, "/dev/null", &result, &bench.err),
                     AN_BAD_INPUT);
    (void)snprintf(path, sizeof path, "%s/spool/one/gone.csv", bench.folder);
    ck_assert_int_eq(an_collect_file(bench.collect, path, &result, &bench.err), AN_NOT_FOUND);
    ck_assert(bench_number("SELECT count(*) FROM file") == 0);
    bench_close();
}
END_TEST

START_TEST(odd_names_get_safe_ones)
{
    static const struct {
        const char *name, *safe;
    } rows[] = {
        {"spool/one/-rf.csv", "_-rf.csv"},          {"spool/one/a\nb.csv", "a_b.csv"},
        {"spool/one/a\x1B[2J.csv", "a_[2J.csv"},    {"spool/one/\xB5m.csv", "_m.csv"},
        {"spool/one/good name \xC2\xB5.csv", NULL},
    };

    bench_open(stations);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const char *text =
            an_arena_printf(bench.arena, "%s\nB,2026-03-04T11:00:00Z,%zu\n", "id,at,x", i);

        (void)bench_give(rows[i].name, text);
        ck_assert_int_eq(bench.last.how, AN_TAKEN);
        if (rows[i].safe) {
            ck_assert_str_eq(bench.last.file.name, rows[i].safe);
            ck_assert(strstr(bench.last.file.notes, "name.unsafe"));
        } else {
            ck_assert_str_eq(bench.last.file.name, strrchr(rows[i].name, '/') + 1);
            ck_assert_ptr_null(bench.last.file.notes);
        }
        const struct an_bytes path = an_bytes_of(bench.last.file.path);
        ck_assert_uint_eq(an_utf8_check(path), path.length);
    }
    bench_close();
}
END_TEST

START_TEST(lists)
{
    const char **files = NULL;
    size_t count = 0;
    char path[160];

    bench_open(stations);
    (void)bench_text("d/b/2.csv", "x");
    (void)bench_text("d/b/10.csv", "x");
    (void)bench_text("d/a.csv", "x");
    (void)bench_text("d/.hidden.csv", "x");
    (void)bench_text("d/.h/x.csv", "x");
    (void)snprintf(path, sizeof path, "%s/d/z.csv", bench.folder);
    ck_assert_int_eq(symlink("a.csv", path), 0);
    (void)snprintf(path, sizeof path, "%s/d", bench.folder);
    const char *const paths[] = {path, "/dev/null"};
    OK(an_collect_list(paths, 2, bench.arena, &files, &count, &bench.err));
    ck_assert_uint_eq(count, 5);
    ck_assert_str_eq(files[0] + strlen(path), "/a.csv");
    ck_assert_str_eq(files[1] + strlen(path), "/b/10.csv");
    ck_assert_str_eq(files[2] + strlen(path), "/b/2.csv");
    ck_assert_str_eq(files[3] + strlen(path), "/z.csv"); /* a link: told when it is taken */
    ck_assert_str_eq(files[4], "/dev/null");
    const char *const none[] = {"/nowhere/at/all"};
    ck_assert_int_eq(an_collect_list(none, 1, bench.arena, &files, &count, &bench.err),
                     AN_NOT_FOUND);
    OK(an_collect_list(NULL, 0, bench.arena, &files, &count, &bench.err));
    ck_assert_uint_eq(count, 0);
    bench_close();
}
END_TEST

int main(int argc, char **argv)
{
    Suite *suite = suite_create("paths");
    TCase *group = tcase_create("paths");

    tcase_add_test(group, stations_of_paths);
    tcase_add_test(group, no_station_fits);
    tcase_add_test(group, unknown_station);
    tcase_add_test(group, what_is_no_file);
    tcase_add_test(group, odd_names_get_safe_ones);
    tcase_add_test(group, lists);
    suite_add_tcase(suite, group);
    return bench_main(suite, argc, argv);
}
