/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Every allocation of a reading fails in turn, once and for ever: nothing handed out, nothing leaked
 * (the sanitizer build sees to that), until a run needs no more. The answer is AN_NO_MEMORY, or the
 * whole right answer where base can do without (emptying a set of names keeps its old memory); for
 * ever, it is AN_NO_MEMORY always.
 */
#include "andamento/base/memory.h"
#include "support.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static const char *const texts[] = {
    NULL, /* data/full.yaml */
    "line: a\nzone: Nowhere/X\nshifts: {a: 6, b: 06:00}\nkinds: {t: {id: '['}}\n"
    "stations: {s: {tiem: 1, columns: [a], characteristics: {v: {colum: b, split: c}}}}\n",
    "line: [broken\n",
};

static enum an_status expected_of(size_t i)
{
    return i == 0 ? AN_OK : AN_BAD_CONFIG;
}

/* _i: text and whether the failure lasts */
START_TEST(every_allocation_fails)
{
    const size_t which = (size_t)_i / 2;
    const bool for_ever = _i % 2 == 1;
    size_t length = 0;
    char *full = slurp(AN_TEST_DATA "/full.yaml", &length);
    const struct an_bytes yaml = which == 0 ? (struct an_bytes){(const unsigned char *)full, length}
                                            : an_bytes_of(texts[which]);
    struct heard whole = {0};
    struct an_line *whole_line = NULL;
    ck_assert_int_eq((int)an_line_read(yaml, "x.yaml", "there", hear, &whole, &whole_line, NULL),
                     (int)expected_of(which));
    an_line_close(whole_line);
    const size_t mistakes = whole.count;
    size_t absorbed = 0;
    size_t k = 1;
    for (; k < 5000; k++) {
        struct an_line *line = NULL;
        struct an_error err = {0};
        (void)an_alloc_fail_at(k, for_ever);
        struct heard heard = {0};
        const enum an_status st = an_line_read(yaml, "x.yaml", "there", hear, &heard, &line, &err);
        const size_t made = an_alloc_fail_at(0, false);
        if (made < k || (st == expected_of(which) && !for_ever)) {
            ck_assert_int_eq((int)st, (int)expected_of(which));
            ck_assert_uint_eq(heard.count, mistakes);
            absorbed += made < k ? 0 : 1;
            an_line_close(line);
            if (made < k) {
                break;
            }
            continue;
        }
        ck_assert_msg(st == AN_NO_MEMORY, "allocation %zu: %s %s", k, an_status_name(st), err.text);
        ck_assert_ptr_null(line);
        ck_assert_uint_eq(heard.count, 0);
        ck_assert_ptr_nonnull(strstr(err.text, "x.yaml"));
    }
    ck_assert_uint_gt(k, absorbed * 2); /* most failures are answered as such */
    ck_assert_uint_lt(k, 5000);
    an_free(full);
}
END_TEST

START_TEST(file_reading_fails)
{
    size_t k = 1;
    for (; k < 5000; k++) {
        struct an_line *line = NULL;
        (void)an_alloc_fail_at(k, false);
        const enum an_status st =
            an_line_read_file(AN_TEST_DATA "/full.yaml", NULL, NULL, &line, NULL);
        const size_t made = an_alloc_fail_at(0, false);
        an_line_close(line);
        if (made < k) {
            ck_assert_int_eq((int)st, AN_OK);
            break;
        }
        ck_assert(st == AN_NO_MEMORY || st == AN_OK);
    }
    ck_assert_uint_lt(k, 5000);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("line memory");
    TCase *tests = tcase_create("memory");
    tcase_add_loop_test(tests, every_allocation_fails, 0, 6);
    tcase_add_test(tests, file_reading_fails);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
