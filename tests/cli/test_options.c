/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Command lines: the utility syntax of POSIX.1-2017, Base Definitions, 12.2 (guidelines 4, 5, 7, 10
 * and 13), long options matched exactly.
 */
#include "cli/options.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

static const struct an_option table_one[] = {
    {"output", 'o', "FILE", "where"},
    {"dry-run", 'n', NULL, "only look"},
    {"exclude", 0, "ID", "leave out"},
    {NULL, 0, NULL, NULL},
};
static const struct an_option table_two[] = {
    {"verbose", 'v', NULL, "say more"},
    {NULL, 0, NULL, NULL},
};
static const struct an_option *const tables[] = {table_one, table_two, NULL};

static const struct {
    const char *argv[6];
    enum an_status st;
    const char *given;    /* "name=value name ..." in order */
    const char *operands; /* joined by | */
    const char *says;     /* part of the error */
} rows[] = {
    {{"a", "b"}, AN_OK, "", "a|b", NULL},
    {{"-o", "x", "a"}, AN_OK, "output=x ", "a", NULL},
    {{"-ox", "a"}, AN_OK, "output=x ", "a", NULL},
    {{"a", "--output=x"}, AN_OK, "output=x ", "a", NULL},
    {{"--output", "x"}, AN_OK, "output=x ", "", NULL},
    {{"--output="}, AN_OK, "output= ", "", NULL},
    {{"-nv"}, AN_OK, "dry-run verbose ", "", NULL},
    {{"-nvo", "x"}, AN_OK, "dry-run verbose output=x ", "", NULL},
    {{"--", "-n"}, AN_OK, "", "-n", NULL},
    {{"-"}, AN_OK, "", "-", NULL},
    {{"--exclude", "1", "--exclude", "2"}, AN_OK, "exclude=1 exclude=2 ", "", NULL},
    {{"--out", "x"}, AN_BAD_USAGE, NULL, NULL, "did you mean '--output'"},
    {{"--dry-run=yes"}, AN_BAD_USAGE, NULL, NULL, "takes no value"},
    {{"-o"}, AN_BAD_USAGE, NULL, NULL, "wants a value"},
    {{"-z"}, AN_BAD_USAGE, NULL, NULL, "no option '-z'"},
    {{"--entirely-other"}, AN_BAD_USAGE, NULL, NULL, "--help"},
    {{"-nz"}, AN_BAD_USAGE, NULL, NULL, "no option '-z'"},
};

START_TEST(command_lines)
{
    char *argv[6];
    int argc = 0;
    while (argc < 6 && rows[_i].argv[argc]) {
        argv[argc] = strdup(rows[_i].argv[argc]);
        argc++;
    }
    struct an_arena *arena = an_arena_open();
    struct an_options options = {0};
    struct an_error err = {0};
    ck_assert_int_eq(an_options_parse(argc, argv, tables, arena, &options, &err), rows[_i].st);
    if (rows[_i].st) {
        ck_assert_msg(strstr(err.text, rows[_i].says) != NULL, "%s", err.text);
    } else {
        struct an_text text = {0};
        for (size_t i = 0; i < options.given_count; i++) {
            an_text_add(&text, options.given[i].option->name);
            if (options.given[i].value) {
                an_text_addf(&text, "=%s", options.given[i].value);
            }
            an_text_add(&text, " ");
        }
        ck_assert_str_eq(an_text_of(&text), rows[_i].given);
        an_text_clear(&text);
        for (size_t i = 0; i < options.operand_count; i++) {
            an_text_addf(&text, "%s%s", i ? "|" : "", options.operands[i]);
        }
        ck_assert_str_eq(an_text_of(&text), rows[_i].operands);
        an_text_free(&text);
    }
    an_arena_close(arena);
    while (argc > 0) {
        free(argv[--argc]);
    }
}
END_TEST

START_TEST(values)
{
    char first[] = "--exclude=1";
    char second[] = "--exclude=2";
    char *argv[] = {first, second};
    struct an_arena *arena = an_arena_open();
    struct an_options options = {0};
    ck_assert_int_eq(an_options_parse(2, argv, tables, arena, &options, NULL), AN_OK);
    ck_assert_str_eq(an_option_value(&options, "exclude"), "2");
    ck_assert_str_eq(an_option_value_at(&options, "exclude", 0), "1");
    ck_assert_ptr_null(an_option_value_at(&options, "exclude", 2));
    ck_assert(an_option_on(&options, "exclude"));
    ck_assert(!an_option_on(&options, "dry-run"));
    an_arena_close(arena);
}
END_TEST

/* Levenshtein distances: the textbook pair kitten/sitting is 3 (common knowledge, no source) */
START_TEST(distances)
{
    ck_assert_uint_eq(an_name_distance("kitten", "sitting"), 3);
    ck_assert_uint_eq(an_name_distance("", "abc"), 3);
    ck_assert_uint_eq(an_name_distance("same", "same"), 0);
    ck_assert_uint_eq(an_name_distance("colect", "collect"), 1);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("options");
    TCase *tests = tcase_create("options");
    tcase_add_loop_test(tests, command_lines, 0, (int)(sizeof rows / sizeof *rows));
    tcase_add_test(tests, values);
    tcase_add_test(tests, distances);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
