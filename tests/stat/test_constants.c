/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Control-chart constants against printed tables, base R, and multiple-precision integrals.
 */
#include "andamento/stat/constants.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double pi = 3.14159265358979323846;

static double constant(const struct an_chart_constants *c, const char *name)
{
    const struct {
        const char *name;
        double value;
    } all[] = {{"c4", c->c4}, {"d2", c->d2}, {"d3", c->d3}, {"A", c->A},   {"A2", c->A2},
               {"A3", c->A3}, {"B3", c->B3}, {"B4", c->B4}, {"B5", c->B5}, {"B6", c->B6},
               {"D1", c->D1}, {"D2", c->D2}, {"D3", c->D3}, {"D4", c->D4}, {"E2", c->E2}};
    for (size_t i = 0; i < sizeof all / sizeof all[0]; i++) {
        if (strcmp(all[i].name, name) == 0) {
            return all[i].value;
        }
    }
    ck_abort_msg("no constant %s", name);
    return 0.0;
}

/* Base R 4.2, 10 digits, n = 2 to 25; see the file's head. */
START_TEST(agree_with_base_r)
{
    struct table table = table_read("constants.csv");
    ck_assert_uint_eq(table.rows, 24);
    for (size_t i = 0; i < table.rows; i++) {
        struct an_chart_constants c;
        const size_t n = (size_t)table_number(&table, i, "n");
        ck_assert_int_eq(an_chart_constants(n, &c), AN_OK);
        ck_assert_uint_eq(c.n, n);
        for (size_t j = 1; j < table.columns; j++) {
            const char *const name = table.fields[j];
            const double wanted = table_number(&table, i, name);
            if (wanted == 0.0) {
                ck_assert_msg(constant(&c, name) == 0.0, "%s(%zu)", name, n);
            } else {
                /* 10 digits; more is lost where a constant is a small difference, D3(7) most */
                check_close(constant(&c, name), wanted, 5e-10 * fmax(1.0, 1.0 / wanted), "%s(%zu)",
                            name, n);
            }
        }
    }
    table_free(&table);
}
END_TEST

/* Where the printed digit is known to be a slip: exact .73348, .40351, .43453, .45160, 2.57459,
 * 1.60872, 1.59649, 1.56547 (both integrals of the reference above agree with ours there). */
static const struct {
    const char *name;
    size_t n;
} slips[] = {{"d3", 19}, {"D3", 19}, {"D3", 22}, {"D3", 24},
             {"D4", 3},  {"D4", 18}, {"D4", 19}, {"D4", 22}};

static int is_slip(const char *name, size_t n)
{
    for (size_t i = 0; i < sizeof slips / sizeof slips[0]; i++) {
        if (slips[i].n == n && strcmp(slips[i].name, name) == 0) {
            return 1;
        }
    }
    return 0;
}

/* Printed tables, see the file's head: half a unit of the last digit, one unit at the slips. */
START_TEST(agree_with_printed_tables)
{
    struct table table = table_read("constants_printed.csv");
    ck_assert_uint_eq(table.rows, 24);
    for (size_t i = 0; i < table.rows; i++) {
        struct an_chart_constants c;
        const size_t n = (size_t)table_number(&table, i, "n");
        ck_assert_int_eq(an_chart_constants(n, &c), AN_OK);
        for (size_t j = 1; j + 1 < table.columns; j++) {
            const char *const name = table.fields[j];
            const double half = strcmp(name, "c4") == 0 ? 0.00005 : 0.0005;
            const double off = fabs(constant(&c, name) - table_number(&table, i, name));
            ck_assert_msg(off <= half * (is_slip(name, n) ? 2.0 : 1.0000001),
                          "%s(%zu) is off the print by %g", name, n, off);
        }
    }
    table_free(&table);
}
END_TEST

/* 60-digit gamma functions (mpmath 1.3). */
static const struct {
    double n, c4, spread;
} c4_rows[] = {
    {2, 0.797884560802865356, 0.602810274989086974},
    {2.5, 0.854095938254104379, 0.520115495114153584},
    {3, 0.886226925452758014, 0.463251375176104243},
    {7.25, 0.960948734496286187, 0.276726452783224317},
    {25, 0.989640375585703084, 0.14356854464188364},
    {26, 0.990052468840910472, 0.140698645842872271},
    {83.5, 0.996974357670066597, 0.0777311401457493163},
    {100, 0.997477976071263511, 0.0709766669601768423},
    {342, 0.999267131899995498, 0.0382779192793573939},
    {1000, 0.999749781101513203, 0.0223690676487964978},
    {12345.5, 0.999979748271031479, 0.00636420048431192873},
    {1000000, 0.99999974999978125, 0.000707107046351673333},
    {100000000, 0.999999997499999978, 0.0000707106783838197962},
};

START_TEST(c4_of_any_n)
{
    double c4, spread;
    ck_assert_int_eq(an_c4(c4_rows[_i].n, &c4), AN_OK);
    ck_assert_int_eq(an_c4_spread(c4_rows[_i].n, &spread), AN_OK);
    check_close(c4, c4_rows[_i].c4, 1e-15, "c4(%g)", c4_rows[_i].n);
    check_close(spread, c4_rows[_i].spread, 1e-14, "spread(%g)", c4_rows[_i].n);
}
END_TEST

/* c4(n) c4(n+1) = sqrt((n-1)/n): the gamma functions cancel. For whole n and between. */
START_TEST(c4_of_neighbours)
{
    for (double n = 2.0; n < 2e6; n = n < 60.0 ? n + 0.25 : n * 1.37) {
        double here, next;
        ck_assert_int_eq(an_c4(n, &here), AN_OK);
        ck_assert_int_eq(an_c4(n + 1.0, &next), AN_OK);
        check_close(here * next, sqrt((n - 1.0) / n), 2e-15, "c4(%g)", n);
    }
}
END_TEST

/* d2: 25-digit integrals (mpmath 1.3). d3: the closed forms below, and order statistics. */
static const struct {
    size_t n;
    double d2;
} d2_rows[] = {{2, 1.12837916709551257},   {3, 1.69256875064326886},   {4, 2.05875074600792826},
               {5, 2.32592894728103923},   {10, 3.07750546167034571},  {25, 3.93062921950711316},
               {50, 4.49814725877970063},  {100, 5.01518727288336875}, {300, 5.75553369430196837},
               {1000, 6.48287153826688172}};

START_TEST(d2_of_any_n)
{
    double d2;
    ck_assert_int_eq(an_d2(d2_rows[_i].n, &d2), AN_OK);
    check_close(d2, d2_rows[_i].d2, 2e-15, "d2(%zu)", d2_rows[_i].n);
}
END_TEST

/*
 * Closed forms: d2(2) = 2/sqrt(pi), d2(3) = 3/sqrt(pi), d2(4) = 12 atan(sqrt 2) / pi^(3/2),
 * d2(5) = (30 atan(sqrt 2) - 5 pi) / pi^(3/2), from the means of normal order statistics; d3(2)^2 = 2 - 4/pi,
 * d3(3)^2 = 2 + (3 sqrt 3 - 9) / pi. [Johnson, Kotz, Balakrishnan, Continuous Univariate
 * Distributions 1, chapter 13; from memory]
 */
START_TEST(closed_forms)
{
    double d2, d3;
    ck_assert_int_eq(an_d2(2, &d2), AN_OK);
    ck_assert_int_eq(an_d3(2, &d3), AN_OK);
    check_close(d2, 2.0 / sqrt(pi), 1e-15, "d2(2)");
    check_close(d3, sqrt(2.0 - 4.0 / pi), 1e-14, "d3(2)");
    ck_assert_int_eq(an_d2(3, &d2), AN_OK);
    ck_assert_int_eq(an_d3(3, &d3), AN_OK);
    check_close(d2, 3.0 / sqrt(pi), 1e-15, "d2(3)");
    check_close(d3, sqrt(2.0 + (3.0 * sqrt(3.0) - 9.0) / pi), 1e-14, "d3(3)");
    ck_assert_int_eq(an_d2(4, &d2), AN_OK);
    check_close(d2, 12.0 * atan(sqrt(2.0)) / (pi * sqrt(pi)), 1e-15, "d2(4)");
    ck_assert_int_eq(an_d2(5, &d2), AN_OK);
    check_close(d2, (30.0 * atan(sqrt(2.0)) - 5.0 * pi) / (pi * sqrt(pi)), 1e-15, "d2(5)");
}
END_TEST

/*
 * The variance of the range by another road than the density that d3 integrates: the double
 * integral E R^2 = 2 int int_{x<y} 1 - F(y)^n - (1-F(x))^n + (F(y)-F(x))^n, by midpoint t and
 * width w with Simpson's rule.
 */
static double above(double z)
{
    return erfc(z / sqrt(2.0)) / 2.0;
}

static double strip(double w, double n)
{
    double sum = 0.0;
    const double step = 1.0 / 16;
    for (int i = -144; i <= 144; i++) {
        const double x = i * step - w / 2.0, y = i * step + w / 2.0;
        const double between = above(-y) - above(-x);
        sum += -expm1(n * log1p(-above(y))) - pow(above(x), n) + pow(between, n);
    }
    return step * sum;
}

START_TEST(d3_by_order_statistics)
{
    static const size_t sizes[] = {2, 3, 5, 8, 25, 100, 1000};
    const double n = (double)sizes[_i];
    const double step = 1.0 / 128;
    double sum = 0.0; /* Simpson over w = 0 to 16 */
    for (int i = 0; i <= 2048; i++) {
        const double weight = i == 0 || i == 2048 ? 1.0 : i % 2 == 1 ? 4.0 : 2.0;
        sum += weight * strip(i * step, n);
    }
    const double second_moment = 2.0 * sum * step / 3.0;
    double d2, d3;
    ck_assert_int_eq(an_d2(sizes[_i], &d2), AN_OK);
    ck_assert_int_eq(an_d3(sizes[_i], &d3), AN_OK);
    check_close(d3 * d3 + d2 * d2, second_moment, 1e-10, "E R^2 for n = %zu", sizes[_i]);
}
END_TEST

START_TEST(outside_the_range)
{
    double value = 5.0;
    struct an_chart_constants constants;
    ck_assert_int_eq(an_c4(1.999, &value), AN_TOO_FEW);
    ck_assert_int_eq(an_c4(1.1e8, &value), AN_DOMAIN);
    ck_assert_int_eq(an_c4((double)NAN, &value), AN_DOMAIN);
    ck_assert_int_eq(an_c4_spread(0.0, &value), AN_TOO_FEW);
    ck_assert_int_eq(an_d2(0, &value), AN_TOO_FEW);
    ck_assert_int_eq(an_d2(1, &value), AN_TOO_FEW);
    ck_assert_int_eq(an_d3(1, &value), AN_TOO_FEW);
    ck_assert_int_eq(an_d2(AN_SUBGROUP_MOST + 1, &value), AN_DOMAIN);
    ck_assert_int_eq(an_d3(AN_SUBGROUP_MOST + 1, &value), AN_DOMAIN);
    ck_assert(value == 5.0); /* untouched on failure */
    ck_assert_int_eq(an_chart_constants(1, &constants), AN_TOO_FEW);
    ck_assert_int_eq(an_chart_constants(AN_SUBGROUP_MOST + 1, &constants), AN_DOMAIN);
    ck_assert_int_eq(an_chart_constants(AN_SUBGROUP_MOST, &constants), AN_OK);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("stat.constants");
    TCase *tcase = tcase_create("constants");
    tcase_add_test(tcase, agree_with_base_r);
    tcase_add_test(tcase, agree_with_printed_tables);
    tcase_add_loop_test(tcase, c4_of_any_n, 0, (int)(sizeof c4_rows / sizeof c4_rows[0]));
    tcase_add_test(tcase, c4_of_neighbours);
    tcase_add_loop_test(tcase, d2_of_any_n, 0, (int)(sizeof d2_rows / sizeof d2_rows[0]));
    tcase_add_test(tcase, closed_forms);
    tcase_add_loop_test(tcase, d3_by_order_statistics, 0, 7);
    tcase_add_test(tcase, outside_the_range);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
