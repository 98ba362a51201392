/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Decimals read exactly, refused exactly, and written so that they come back. */
#include "andamento/base/number.h"

#include <check.h>
#include <float.h>
#include <locale.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct {
    const char *field;
    char mark, group;
    enum an_status st;
    int64_t scaled;
    int decimals;
} rows[] = {
    {"0", '.', 0, AN_OK, 0, 0},
    {"0.35", '.', 0, AN_OK, 35, 2},
    {"0.350", '.', 0, AN_OK, 350, 3}, /* a trailing zero is a digit somebody measured */
    {"-0.12", '.', 0, AN_OK, -12, 2},
    {"+7", '.', 0, AN_OK, 7, 0},
    {".5", '.', 0, AN_OK, 5, 1},
    {"5.", '.', 0, AN_DOMAIN, 0, 0},
    {"0,35", ',', 0, AN_OK, 35, 2},
    {"0,35", '.', 0, AN_DOMAIN, 0, 0},
    {"0.35", ',', 0, AN_DOMAIN, 0, 0},
    {"1.5e3", '.', 0, AN_OK, 15, -2},
    {"1.5E-3", '.', 0, AN_OK, 15, 4},
    {"1e25", '.', 0, AN_OK, 10000000, -18},
    {"1e40", '.', 0, AN_DOMAIN, 0, 0},
    {"1e-31", '.', 0, AN_DOMAIN, 0, 0},
    {"0e99", '.', 0, AN_OK, 0, 0},
    {"1,234", '.', ',', AN_OK, 1234, 0},
    {"1,234,567.8", '.', ',', AN_OK, 12345678, 1},
    {"1.234,5", ',', '.', AN_OK, 12345, 1},
    {"1234,567", '.', ',', AN_DOMAIN, 0, 0},
    {"12,34", '.', ',', AN_DOMAIN, 0, 0},
    {"1,2345", '.', ',', AN_DOMAIN, 0, 0},
    {"1,234", '.', 0, AN_DOMAIN, 0, 0},
    {"", '.', 0, AN_DOMAIN, 0, 0},
    {" 1", '.', 0, AN_DOMAIN, 0, 0},
    {"1 ", '.', 0, AN_DOMAIN, 0, 0},
    {"-", '.', 0, AN_DOMAIN, 0, 0},
    {".", '.', 0, AN_DOMAIN, 0, 0},
    {"e5", '.', 0, AN_DOMAIN, 0, 0},
    {"1e", '.', 0, AN_DOMAIN, 0, 0},
    {"inf", '.', 0, AN_DOMAIN, 0, 0},
    {"nan", '.', 0, AN_DOMAIN, 0, 0},
    {"0x1p3", '.', 0, AN_DOMAIN, 0, 0},
    {"--1", '.', 0, AN_DOMAIN, 0, 0},
    {"1.2.3", '.', 0, AN_DOMAIN, 0, 0},
    {"123456789012345678", '.', 0, AN_OK, INT64_C(123456789012345678), 0},
    {"1234567890123456789", '.', 0, AN_DOMAIN, 0, 0},
    {"0.34999999999999998", '.', 0, AN_OK, INT64_C(34999999999999998), 17},
    {"000000000000000000000001.5", '.', 0, AN_OK, 15, 1},
};

START_TEST(decimal_table)
{
    struct an_decimal number = {-99, -99, -99.0};
    ck_assert_int_eq(
        an_decimal_parse(an_bytes_of(rows[_i].field), rows[_i].mark, rows[_i].group, &number),
        rows[_i].st);
    if (rows[_i].st == AN_OK) {
        ck_assert_int_eq(number.scaled, rows[_i].scaled);
        ck_assert_int_eq(number.decimals, rows[_i].decimals);
    } else {
        ck_assert_int_eq(number.scaled, -99); /* untouched on failure */
    }
}
END_TEST

static uint64_t random_bits(uint64_t *state)
{
    *state = *state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return *state ^ (*state >> 29);
}

/* The C library's strtod is the outside reference: correctly rounded in the library we run on. */
START_TEST(value_is_the_nearest_double)
{
    uint64_t state = 42;
    for (int i = 0; i < 200000; i++) {
        char field[64];
        const int64_t scaled = (int64_t)(random_bits(&state) % UINT64_C(1000000000000000000)) >>
                               (random_bits(&state) % 50);
        const int decimals = (int)(random_bits(&state) % 31);
        char digits[24];
        (void)snprintf(digits, sizeof digits, "%lld", (long long)scaled);
        (void)snprintf(field, sizeof field, "%se-%d", digits, decimals);
        struct an_decimal number;
        ck_assert_int_eq(an_decimal_parse(an_bytes_of(field), '.', 0, &number), AN_OK);
        ck_assert_msg(number.value == strtod(field, NULL), "%s", field);
    }
}
END_TEST

START_TEST(shortest_reads_back)
{
    static const struct {
        double value;
        const char *text;
    } known[] = {{0.1, "0.1"},
                 {0.0, "0"},
                 {-2.5, "-2.5"},
                 {1e30, "1e+30"},
                 {1.0 / 3.0, "0.3333333333333333"},
                 {NAN, "null"},
                 {INFINITY, "null"}};
    char buffer[32];
    ck_assert_str_eq(an_number_shortest(known[_i].value, buffer), known[_i].text);
    uint64_t state = 7;
    for (int i = 0; i < 50000; i++) {
        const double value =
            ldexp((double)(int64_t)random_bits(&state), (int)(random_bits(&state) % 120) - 100);
        ck_assert(strtod(an_number_shortest(value, buffer), NULL) == value);
    }
}
END_TEST

START_TEST(integers)
{
    int64_t number = 0;
    ck_assert_int_eq(an_integer_parse(an_bytes_of("-9223372036854775808"), &number), AN_OK);
    ck_assert(number == INT64_MIN);
    ck_assert_int_eq(an_integer_parse(an_bytes_of("9223372036854775807"), &number), AN_OK);
    ck_assert(number == INT64_MAX);
    ck_assert_int_eq(an_integer_parse(an_bytes_of("9223372036854775808"), &number), AN_DOMAIN);
    ck_assert_int_eq(an_integer_parse(an_bytes_of("12a"), &number), AN_DOMAIN);
    ck_assert_int_eq(an_integer_parse(an_bytes_of(""), &number), AN_DOMAIN);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("number");
    TCase *tests = tcase_create("number");
    tcase_add_loop_test(tests, decimal_table, 0, (int)(sizeof rows / sizeof *rows));
    tcase_add_test(tests, value_is_the_nearest_double);
    tcase_add_loop_test(tests, shortest_reads_back, 0, 7);
    tcase_add_test(tests, integers);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
