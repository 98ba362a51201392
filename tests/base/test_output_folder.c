/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A folder that appears whole or not at all. Its sums are read back by sha256sum of the system; the
 * hash of "abc" is that of FIPS 180-4's examples.
 */
#include "andamento/base/memory.h"
#include "andamento/base/output_folder.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char scratch[256];
static struct an_error err;

static const char *in(const char *name)
{
    static char path[4][400];
    static int at;
    at = (at + 1) % 4;
    (void)snprintf(path[at], sizeof path[at], "%s/%s", scratch, name);
    return path[at];
}

static int run(const char *command)
{
    char text[700];
    (void)snprintf(text, sizeof text, "cd %s && %s", scratch, command);
    return system(text);
}

static void set_up(void)
{
    const char *base = getenv("TMPDIR");
    (void)snprintf(scratch, sizeof scratch, "%s/folder-test-XXXXXX", base ? base : "/tmp");
    ck_assert_ptr_nonnull(mkdtemp(scratch));
}

static void tear_down(void)
{
    char command[300];
    (void)snprintf(command, sizeof command, "rm -rf %s", scratch);
    ck_assert_int_eq(system(command), 0);
}

static enum an_status write_some(const char *path, struct an_sha256 *hash)
{
    static char large[200001];
    struct an_output_folder *folder = NULL;
    struct an_folder_file *a = NULL;
    struct an_folder_file *b = NULL;
    enum an_status st = an_output_folder_open(path, &folder, &err);
    if (st) {
        return st;
    }
    memset(large, 'x', sizeof large);
    st = an_output_folder_within(folder, "in", &err);
    st = st ? st : an_folder_file_open(folder, "a", &a, &err);
    st = st ? st : an_folder_file_open(folder, "in/b", &b, &err);
    if (!st) {
        (void)an_folder_file_write(a, "ab", 2);
        (void)an_folder_file_write(b, large, sizeof large);
        (void)an_folder_file_write(a, "c", 1);
        struct an_folder_file *closing = a;
        a = NULL;
        st = an_folder_file_close(closing, hash, &err);
    }
    if (!st) {
        struct an_folder_file *closing = b;
        b = NULL;
        st = an_folder_file_close(closing, NULL, &err);
    }
    st = st ? st : an_folder_file_put(folder, "empty", "", 0, &err);
    if (!st) {
        const struct an_text *sums = an_output_folder_sums(folder);
        char *copy = an_alloc(sums->length + 1, 1);
        st = copy ? AN_OK : an_fail(&err, AN_NO_MEMORY, "out of memory");
        if (copy) {
            memcpy(copy, an_text_of(sums), sums->length);
            st = an_folder_file_put(folder, "SUMS", copy, sums->length, &err);
        }
        an_free(copy);
    }
    an_folder_file_drop(a);
    an_folder_file_drop(b);
    if (st) {
        an_output_folder_abandon(folder);
        return st;
    }
    return an_output_folder_commit(folder, &err);
}

START_TEST(whole)
{
    struct an_sha256 hash;
    char hex[65];
    const mode_t mask = umask(022);
    ck_assert_int_eq(write_some(in("new/"), &hash), AN_OK);
    (void)umask(mask);
    ck_assert_str_eq(an_sha256_hex(&hash, hex),
                     "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    ck_assert_int_eq(run("cd new && sha256sum -c SUMS >/dev/null && test $(grep -c . SUMS) = 3"),
                     0);
    ck_assert_int_eq(run("test $(wc -c <new/in/b) = 200001 && test $(ls -A | wc -l) = 1"), 0);
    ck_assert_int_eq(run("test $(stat -c %a new) = 755 && test $(stat -c %a new/a) = 644"), 0);
}
END_TEST

START_TEST(refused)
{
    struct an_output_folder *folder = NULL;
    struct an_folder_file *file = NULL;
    struct an_sha256 hash;
    ck_assert_int_eq(run("mkdir there && ln -s nowhere link && echo kept >file"), 0);
    static const char *const taken[] = {"there", "link", "file"};
    for (size_t i = 0; i < 3; i++) {
        ck_assert_int_eq(write_some(in(taken[i]), &hash), AN_CANNOT_CREATE);
        ck_assert_ptr_nonnull(strstr(err.text, "is there already and is never written over"));
    }
    ck_assert_int_eq(write_some(in("nowhere/new"), &hash), AN_CANNOT_CREATE);
    ck_assert_int_eq(an_output_folder_open(in("late"), &folder, &err), AN_OK);
    ck_assert_int_eq(an_folder_file_put(folder, "a", "1", 1, &err), AN_OK);
    ck_assert_int_eq(an_folder_file_open(folder, "a", &file, &err), AN_CANNOT_CREATE);
    ck_assert_int_eq(an_folder_file_open(folder, "none/a", &file, &err), AN_CANNOT_CREATE);
    ck_assert_ptr_null(file);
    ck_assert_int_eq(run("mkdir late"), 0); /* came while it was written */
    ck_assert_int_eq(an_output_folder_commit(folder, &err), AN_CANNOT_CREATE);
    ck_assert_int_eq(run("test $(ls -A | wc -l) = 4 && test $(cat file) = kept && rmdir late"), 0);
}
END_TEST

START_TEST(nothing_is_left)
{
    struct an_output_folder *folder = NULL;
    struct an_folder_file *file = NULL;
    struct an_sha256 hash;
    ck_assert_int_eq(an_output_folder_open(in("new"), &folder, &err), AN_OK);
    ck_assert_int_eq(an_output_folder_within(folder, "in", &err), AN_OK);
    ck_assert_int_eq(an_folder_file_put(folder, "in/a", "1", 1, &err), AN_OK);
    ck_assert_int_eq(an_folder_file_open(folder, "b", &file, &err), AN_OK);
    an_folder_file_drop(file);
    an_output_folder_abandon(folder);
    ck_assert_int_eq(run("test $(ls -A | wc -l) = 0"), 0);
    size_t k = 1;
    enum an_status st = AN_NO_MEMORY;
    while (st == AN_NO_MEMORY) { /* the k-th allocation fails */
        (void)an_alloc_fail_at(k++, false);
        st = write_some(in("new"), &hash);
        (void)an_alloc_fail_at(0, false);
        ck_assert_int_eq(run(st ? "test $(ls -A | wc -l) = 0" : "test $(ls -A new | wc -l) = 4"),
                         0);
    }
    ck_assert_int_eq(st, AN_OK);
    ck_assert_uint_gt(k, 8);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("output_folder");
    TCase *tcase = tcase_create("folder");
    tcase_add_checked_fixture(tcase, set_up, tear_down);
    tcase_add_test(tcase, whole);
    tcase_add_test(tcase, refused);
    tcase_add_test(tcase, nothing_is_left);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
