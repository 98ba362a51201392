/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Bytes, growing texts, names, JSON and CSV out, digests, memory, and files that appear whole. */
#include "andamento/base/csv_out.h"
#include "andamento/base/digest.h"
#include "andamento/base/json_out.h"
#include "andamento/base/memory.h"
#include "andamento/base/names.h"
#include "andamento/base/output_file.h"

#include <check.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

/* RFC 3629, section 4 (well-formed sequences) and section 10 (overlong forms are unsafe) */
static const struct {
    const char *bytes;
    size_t good; /* offset of the first bad byte, or the length */
} utf8_rows[] = {
    {"plain", 5},
    {"\xC2\xB5m", 3},
    {"\xE2\x82\xAC", 3},
    {"\xF0\x9F\x94\xB4", 4},
    {"\xC0\xAF", 0},
    {"a\xE0\x80\xAF", 1},
    {"\xED\xA0\x80", 0},
    {"\xF4\x90\x80\x80", 0},
    {"ab\xB5", 2},
    {"\xE2\x82", 0},
    {"12345678\xFF", 8},
    {"\xF5\x80\x80\x80", 0},
    {"12345678abcdefg\xC3", 15},
};

START_TEST(utf8)
{
    ck_assert_uint_eq(an_utf8_check(an_bytes_of(utf8_rows[_i].bytes)), utf8_rows[_i].good);
}
END_TEST

START_TEST(visible)
{
    struct an_text text = {0};
    an_text_add_visible(&text, an_bytes_of("a\tb\xB5\xC2\xB5\x7F"), 100);
    ck_assert_str_eq(an_text_of(&text), "a\\x09b\\xB5\xC2\xB5\\x7F");
    an_text_clear(&text);
    an_text_add_visible(&text, an_bytes_of("abcdef"), 3);
    ck_assert_str_eq(an_text_of(&text), "abc...");
    an_text_free(&text);
}
END_TEST

/* FIPS 180-4 example messages (NIST's examples with intermediate values), from memory */
START_TEST(sha256)
{
    char hex[65];
    struct an_sha256 hash = an_sha256_of("abc", 3);
    ck_assert_str_eq(an_sha256_hex(&hash, hex),
                     "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    hash = an_sha256_of("", 0);
    ck_assert_str_eq(an_sha256_hex(&hash, hex),
                     "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    struct an_digest *digest = an_digest_open();
    an_digest_add(digest, "abcdbcdecdefdefgefghfghighij", 28);
    an_digest_add(digest, "hijkijkljklmklmnlmnomnopnopq", 28);
    hash = an_digest_close(digest);
    ck_assert_str_eq(an_sha256_hex(&hash, hex),
                     "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
    struct an_sha256 back;
    ck_assert_int_eq(an_sha256_parse(hex, &back), AN_OK);
    ck_assert_mem_eq(back.at, hash.at, 32);
    ck_assert_int_eq(an_sha256_parse("12", &back), AN_DOMAIN);
    hex[5] = 'G';
    ck_assert_int_eq(an_sha256_parse(hex, &back), AN_DOMAIN);
}
END_TEST

START_TEST(json_out)
{
    struct an_text out = {0};
    struct an_json json = an_json_into(&out, false);
    an_json_object(&json);
    an_json_put_string(&json, "a", "q\"\\\n\x01\xC2\xB5\xFFz");
    an_json_put_number(&json, "b", 0.1);
    an_json_put_number(&json, "n", NAN);
    an_json_key(&json, "c");
    an_json_array(&json);
    an_json_integer(&json, -3);
    an_json_bool(&json, true);
    an_json_null(&json);
    an_json_object(&json);
    an_json_end(&json, '}');
    an_json_end(&json, ']');
    an_json_end(&json, '}');
    ck_assert_str_eq(an_text_of(&out),
                     "{\"a\":\"q\\\"\\\\\\n\\u0001\xC2\xB5\xEF\xBF\xBDz\",\"b\":0.1,\"n\":null,"
                     "\"c\":[-3,true,null,{}]}");
    an_text_free(&out);
}
END_TEST

/* RFC 4180, section 2: rules 5 to 7; formulas neutralised, numbers left alone */
START_TEST(csv_fields)
{
    struct an_text out = {0};
    struct an_csv_out csv = {&out, 0};
    static const char *const fields[] = {"a",  "b,c", "d\"e", "f\ng", "=1+1", "-5.2",
                                         "-x", "@y",  "+3e2", "",     " z"};
    for (size_t i = 0; i < sizeof fields / sizeof *fields; i++) {
        an_csv_out_text(&csv, fields[i]);
    }
    an_csv_out_text(&csv, NULL);
    an_csv_out_number(&csv, 2.5);
    an_csv_out_number(&csv, NAN);
    an_csv_out_integer(&csv, -7);
    an_csv_out_end_row(&csv);
    ck_assert_str_eq(an_text_of(&out), "a,\"b,c\",\"d\"\"e\",\"f\ng\",\"'=1+1\",-5.2,\"'-x\","
                                       "\"'@y\",+3e2,,\" z\",,2.5,,-7\n");
    an_text_free(&out);
}
END_TEST

START_TEST(name_sets)
{
    struct an_names *names = an_names_open();
    char text[32];
    for (int round = 0; round < 2; round++) {
        for (int i = 0; i < 5000; i++) {
            (void)snprintf(text, sizeof text, "T-%05d", i);
            ck_assert_uint_eq(an_names_add(names, an_bytes_of(text)), (size_t)i);
        }
    }
    ck_assert_uint_eq(an_names_count(names), 5000);
    ck_assert_uint_eq(an_names_find(names, an_bytes_of("T-00777")), 777);
    ck_assert_uint_eq(an_names_find(names, an_bytes_of("T-0077")), AN_NO_NAME);
    ck_assert(an_bytes_are(an_names_at(names, 4999), "T-04999"));
    an_names_clear(names);
    ck_assert_uint_eq(an_names_count(names), 0);
    ck_assert_uint_eq(an_names_find(names, an_bytes_of("T-00777")), AN_NO_NAME);
    ck_assert_uint_eq(an_names_add(names, (struct an_bytes){NULL, 0}), 0);
    an_names_close(names);
}
END_TEST

START_TEST(every_allocation_may_fail)
{
    for (size_t k = 1; k < 200; k++) {
        (void)an_alloc_fail_at(k, k % 2 == 0);
        struct an_names *names = an_names_open();
        bool whole = names != NULL;
        char text[32];
        for (int i = 0; names && i < 300; i++) {
            (void)snprintf(text, sizeof text, "name %d", i);
            whole = an_names_add(names, an_bytes_of(text)) != AN_NO_NAME && whole;
        }
        an_names_close(names);
        struct an_text out = {0};
        for (int i = 0; i < 100; i++) {
            an_text_addf(&out, "line %d\n", i);
        }
        whole = whole && !out.failed;
        an_text_free(&out);
        const size_t made = an_alloc_fail_at(0, false);
        ck_assert(whole == (made < k));
        if (whole) {
            return;
        }
    }
    ck_abort_msg("the sweep never reached its end");
}
END_TEST

START_TEST(arena_blocks)
{
    struct an_arena *arena = an_arena_open();
    for (size_t i = 1; i < 300; i++) {
        unsigned char *block = an_arena_alloc(arena, i, 97);
        ck_assert_ptr_nonnull(block);
        ck_assert_uint_eq((uintptr_t)block % _Alignof(max_align_t), 0);
        size_t dirty = 0;
        for (size_t b = 0; b < i * 97; b++) {
            dirty += block[b] != 0;
        }
        ck_assert_uint_eq(dirty, 0);
        memset(block, 0xEE, i * 97);
    }
    ck_assert_ptr_null(an_arena_alloc(arena, SIZE_MAX / 2, 3));
    ck_assert_str_eq(an_arena_printf(arena, "%d-%s", 7, "x"), "7-x");
    ck_assert_str_eq(an_arena_copy(arena, "abcdef", 3), "abc");
    an_arena_close(arena);
}
END_TEST

static char folder[] = "/tmp/andamento-base-XXXXXX";

START_TEST(output_appears_whole)
{
    char path[128];
    char text[32];
    struct an_output_file *file = NULL;
    ck_assert_ptr_nonnull(mkdtemp(folder));
    (void)snprintf(path, sizeof path, "%s/out", folder);
    ck_assert_int_eq(an_output_file_open(path, &file, NULL), AN_OK);
    ck_assert_int_eq(an_output_file_write(file, "hello", 5), AN_OK);
    ck_assert_int_ne(access(path, F_OK), 0);
    ck_assert_int_eq(an_output_file_commit(file, NULL), AN_OK);
    FILE *in = fopen(path, "r");
    ck_assert_ptr_nonnull(in);
    ck_assert_ptr_nonnull(fgets(text, sizeof text, in));
    (void)fclose(in);
    ck_assert_str_eq(text, "hello");
    /* a write that fails: the old file stays, nothing lies beside it */
    struct rlimit usual;
    ck_assert_int_eq(getrlimit(RLIMIT_FSIZE, &usual), 0);
    const struct rlimit tight = {1000, usual.rlim_max};
    (void)signal(SIGXFSZ, SIG_IGN);
    struct an_error err = {0};
    ck_assert_int_eq(an_output_file_open(path, &file, NULL), AN_OK);
    char big[5000] = {0};
    (void)an_output_file_write(file, big, sizeof big);
    (void)setrlimit(RLIMIT_FSIZE,
                    &tight); /* the test's own messages go to a file too: not longer */
    const enum an_status st = an_output_file_commit(file, &err);
    (void)setrlimit(RLIMIT_FSIZE, &usual);
    ck_assert_int_eq(st, AN_IO);
    ck_assert_ptr_nonnull(strstr(err.text, "out"));
    (void)snprintf(path, sizeof path, "ls %s | wc -l | grep -qx 1", folder);
    ck_assert_int_eq(system(path), 0);
    /* a device is written to, never renamed over: /dev/full takes nothing and stays a device */
    ck_assert_int_eq(an_output_file_open("/dev/full", &file, NULL), AN_OK);
    (void)an_output_file_write(file, "x", 1);
    ck_assert_int_eq(an_output_file_commit(file, &err), AN_IO);
    struct stat device;
    ck_assert_int_eq(stat("/dev/full", &device), 0);
    ck_assert(S_ISCHR(device.st_mode));
    (void)snprintf(path, sizeof path, "%s/missing/out", folder);
    ck_assert_int_eq(an_output_file_open(path, &file, &err), AN_CANNOT_CREATE);
    ck_assert_int_eq(an_output_file_open(folder, &file, &err), AN_CANNOT_CREATE);
    (void)snprintf(path, sizeof path, "rm -r %s", folder);
    ck_assert_int_eq(system(path), 0);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("texts");
    TCase *tests = tcase_create("texts");
    tcase_add_loop_test(tests, utf8, 0, (int)(sizeof utf8_rows / sizeof *utf8_rows));
    tcase_add_test(tests, visible);
    tcase_add_test(tests, sha256);
    tcase_add_test(tests, json_out);
    tcase_add_test(tests, csv_fields);
    tcase_add_test(tests, name_sets);
    tcase_add_test(tests, every_allocation_may_fail);
    tcase_add_test(tests, arena_blocks);
    tcase_add_test(tests, output_appears_whole);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
