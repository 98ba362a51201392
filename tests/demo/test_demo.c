/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The demonstration as a whole: the same bytes from the same seed, nothing left in a folder that is
 * not its own, geometry that adds up, mess that is what truth.json says it is.
 */
#include "andamento/base/memory.h"
#include "support.h"

#include <check.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>

START_TEST(same_seed_same_bytes)
{
    const struct folder folder = folder_make();
    const struct an_demo_result a = demo_in(&folder, "a", 2, 11, false);
    const struct an_demo_result b = demo_in(&folder, "b", 2, 11, false);
    (void)demo_in(&folder, "c", 2, 12, false);
    (void)demo_in(&folder, "usual", 2, 0, false);
    ck_assert_uint_eq(tree_hash(&folder, "a"), tree_hash(&folder, "b"));
    ck_assert_uint_ne(tree_hash(&folder, "a"), tree_hash(&folder, "c"));
    ck_assert_uint_ne(tree_hash(&folder, "a"), tree_hash(&folder, "usual"));
    ck_assert_int_eq(a.bytes, b.bytes);
    ck_assert_int_eq(a.rows, b.rows);
    struct paths paths = paths_below(&folder, "a");
    ck_assert_int_eq(a.files, (int64_t)paths.count);
    int64_t bytes = 0;
    for (size_t i = 0; i < paths.count; i++) {
        char path[512];
        (void)snprintf(path, sizeof path, "a/%s", paths.at[i]);
        struct bytes file = file_read(&folder, path);
        bytes += (int64_t)file.length;
        bytes_free(&file);
    }
    ck_assert_int_eq(a.bytes, bytes);
    ck_assert_str_eq(a.description, "line.yaml");
    paths_free(&paths);
    folder_remove(&folder);
}
END_TEST

/* The station files themselves are pinned by a hash of ours: the promise is that they are the same
 * on every machine, so another compiler or library must not move a byte. Whoever changes a figure
 * or a format on purpose sets the new number. */
START_TEST(usual_bytes)
{
    const struct folder folder = folder_make();
    (void)demo_in(&folder, "line", 2, 0, false);
    ck_assert_uint_eq(tree_hash(&folder, "line/spool"), UINT64_C(17355585866300301947));
    struct table t = table_read(&folder, "line", "transfer", "20260302_early");
    ck_assert_str_eq(field(&t, 0, 0), "SV26-00001-A");
    ck_assert_str_eq(field(&t, 0, 18), "2026-03-02T06:00:14+01:00"); /* winter in this zone */
    table_free(&t);
    folder_remove(&folder);
}
END_TEST

START_TEST(quiet_line_is_clean)
{
    const struct folder folder = folder_make();
    (void)demo_in(&folder, "line", 14, 0, true);
    json_t *const truth = truth_read(&folder, "line");
    ck_assert_uint_eq(json_array_size(json_object_get(truth, "faults")), 0);
    ck_assert_uint_eq(json_array_size(json_object_get(truth, "mess")), 0);
    ck_assert(json_is_true(json_object_get(truth, "quiet_line")));
    struct paths paths = paths_below(&folder, "line/spool");
    for (size_t i = 0; i < paths.count; i++) {
        ck_assert_ptr_null(strstr(paths.at[i], "z_late"));
        ck_assert_ptr_null(strstr(paths.at[i], "_copy"));
        ck_assert_ptr_null(strstr(paths.at[i], "_b.csv"));
        char path[512];
        (void)snprintf(path, sizeof path, "line/spool/%s", paths.at[i]);
        struct bytes file = file_read(&folder, path);
        ck_assert_uint_gt(file.length, 0);
        ck_assert_int_eq(file.at[file.length - 1], '\n');
        ck_assert_ptr_null(strstr(file.at, "E+15"));
        ck_assert_ptr_null(strstr(file.at, "OVER"));
        ck_assert_ptr_null(strstr(file.at, "---"));
        bytes_free(&file);
    }
    paths_free(&paths);
    json_decref(truth);
    folder_remove(&folder);
}
END_TEST

/* Faults are taken away, nothing else changes: where none is at work the files are the same. */
START_TEST(quiet_line_is_the_same_line)
{
    static const char *const same[] = {
        "transfer/transfer_20260302_early.csv", "repair/repair_20260306_late.csv",
        "luminance/luminance_20260306_late.csv", "edge/edge_20260306_early.csv",
        "wafer_test/wafer_test_20260302_late.csv"};
    const struct folder folder = folder_make();
    (void)demo_in(&folder, "loud", 6, 0, false);
    (void)demo_in(&folder, "quiet", 6, 0, true);
    for (size_t i = 0; i < sizeof same / sizeof same[0]; i++) {
        char path[512];
        (void)snprintf(path, sizeof path, "loud/spool/%s", same[i]);
        struct bytes loud = file_read(&folder, path);
        (void)snprintf(path, sizeof path, "quiet/spool/%s", same[i]);
        struct bytes quiet = file_read(&folder, path);
        ck_assert_uint_eq(loud.length, quiet.length);
        ck_assert_mem_eq(loud.at, quiet.at, loud.length);
        bytes_free(&loud);
        bytes_free(&quiet);
    }
    folder_remove(&folder);
}
END_TEST

/* ---- folders ------------------------------------------------------------------------------------ */

START_TEST(folder_with_something_in_it_is_refused)
{
    const struct folder folder = folder_make();
    char path[512];
    (void)snprintf(path, sizeof path, "%s/mine.txt", folder.path);
    FILE *const file = fopen(path, "w");
    ck_assert_ptr_nonnull(file);
    ck_assert_int_eq(fclose(file), 0);
    const struct an_demo_options options = {.folder = folder.path, .days = 1};
    struct an_demo_result result;
    struct an_error err = {0};
    ck_assert_int_eq(an_demo_write(&options, &result, &err), AN_CANNOT_CREATE);
    ck_assert_ptr_nonnull(strstr(err.text, "not empty"));
    ck_assert_ptr_nonnull(strstr(err.text, "mine.txt"));
    struct paths paths = paths_below(&folder, "");
    ck_assert_uint_eq(paths.count, 1);
    ck_assert(!file_exists(&folder, "spool"));
    paths_free(&paths);
    folder_remove(&folder);
}
END_TEST

START_TEST(empty_folder_is_taken)
{
    const struct folder folder = folder_make();
    char path[512];
    (void)snprintf(path, sizeof path, "%s/line", folder.path);
    ck_assert_int_eq(mkdir(path, 0777), 0);
    (void)demo_in(&folder, "line", 1, 0, false);
    ck_assert(file_exists(&folder, "line/line.yaml"));
    ck_assert(file_exists(&folder, "line/truth.json"));
    folder_remove(&folder);
}
END_TEST

/* Places where nothing can be made: below a file, below a folder that is not there. */
START_TEST(folder_that_cannot_be_made)
{
    static const char *const below[] = {"file/line", "nowhere/line", "file"};
    const struct folder folder = folder_make();
    char path[512];
    (void)snprintf(path, sizeof path, "%s/file", folder.path);
    FILE *const file = fopen(path, "w");
    ck_assert_ptr_nonnull(file);
    ck_assert_int_eq(fclose(file), 0);
    (void)snprintf(path, sizeof path, "%s/%s", folder.path, below[_i]);
    const struct an_demo_options options = {.folder = path, .days = 1};
    struct an_demo_result result;
    struct an_error err = {0};
    ck_assert_int_eq(an_demo_write(&options, &result, &err), AN_CANNOT_CREATE);
    ck_assert_ptr_nonnull(strstr(err.text, path));
    struct paths paths = paths_below(&folder, "");
    ck_assert_uint_eq(paths.count, 1);
    paths_free(&paths);
    folder_remove(&folder);
}
END_TEST

/* A disk that takes no more: a file over the limit fails, is removed, and line.yaml never comes. */
START_TEST(file_that_cannot_be_written)
{
    const struct folder folder = folder_make();
    char path[512];
    (void)snprintf(path, sizeof path, "%s/line", folder.path);
    const struct an_demo_options options = {.folder = path, .days = 1};
    struct an_demo_result result;
    struct an_error err = {0};
    const struct rlimit limit = {.rlim_cur = 60000, .rlim_max = 60000};
    ck_assert(signal(SIGXFSZ, SIG_IGN) != SIG_ERR);
    ck_assert_int_eq(setrlimit(RLIMIT_FSIZE, &limit),
                     0); /* this test runs in a process of its own */
    ck_assert_int_eq(an_demo_write(&options, &result, &err), AN_IO);
    ck_assert_ptr_nonnull(strstr(err.text, "could not write"));
    ck_assert(!file_exists(&folder, "line/line.yaml"));
    ck_assert(!file_exists(&folder, "line/spool/transfer/transfer_20260302_early.csv"));
    ck_assert(file_exists(&folder, "line/spool/carrier/carrier_20260302_early.csv"));
    folder_remove(&folder);
}
END_TEST

static const int wrong_days[] = {-1, 366, 100000};

START_TEST(days_out_of_range)
{
    const struct folder folder = folder_make();
    char path[512];
    (void)snprintf(path, sizeof path, "%s/line", folder.path);
    const struct an_demo_options options = {.folder = path, .days = wrong_days[_i]};
    struct an_demo_result result;
    struct an_error err = {0};
    ck_assert_int_eq(an_demo_write(&options, &result, &err), AN_BAD_USAGE);
    ck_assert(!file_exists(&folder, "line"));
    folder_remove(&folder);
}
END_TEST

/* The k-th allocation fails: no memory, told once, and no finished folder is pretended. */
START_TEST(out_of_memory)
{
    static const size_t steps[] = {1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 15, 20, 30, 50, 80, 120, 200};
    const struct folder folder = folder_make();
    for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++) {
        char path[512], name[64];
        (void)snprintf(name, sizeof name, "line%zu", i);
        (void)snprintf(path, sizeof path, "%s/%s", folder.path, name);
        const struct an_demo_options options = {.folder = path, .days = 1};
        struct an_demo_result result;
        struct an_error err = {0};
        (void)an_alloc_fail_at(steps[i], true);
        const enum an_status st = an_demo_write(&options, &result, &err);
        (void)an_alloc_fail_at(0, false);
        (void)snprintf(path, sizeof path, "%s/line.yaml", name);
        ck_assert_msg(st == AN_NO_MEMORY || st == AN_OK, "allocation %zu: %s", steps[i], err.text);
        ck_assert_int_eq(file_exists(&folder, path), st == AN_OK);
        ck_assert(i > 9 || st == AN_NO_MEMORY);
    }
    folder_remove(&folder);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("demo");
    TCase *tests = tcase_create("demo");
    tcase_add_test(tests, same_seed_same_bytes);
    tcase_add_test(tests, usual_bytes);
    tcase_add_test(tests, quiet_line_is_clean);
    tcase_add_test(tests, quiet_line_is_the_same_line);
    tcase_add_test(tests, folder_with_something_in_it_is_refused);
    tcase_add_test(tests, empty_folder_is_taken);
    tcase_add_loop_test(tests, folder_that_cannot_be_made, 0, 3);
    tcase_add_test(tests, file_that_cannot_be_written);
    tcase_add_loop_test(tests, days_out_of_range, 0, sizeof wrong_days / sizeof wrong_days[0]);
    tcase_add_test(tests, out_of_memory);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
