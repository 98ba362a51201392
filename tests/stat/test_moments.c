/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Moments against the NIST Statistical Reference Datasets, and what must hold of any readings.
 */
#include "andamento/base/number.h"
#include "andamento/stat/moments.h"
#include "andamento/stat/tests.h"
#include "support.h"

#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A data set as text, for the exact road reads what was written. */
struct readings {
    size_t n;
    char (*text)[24];
    double *x;
};

static void put(struct readings *r, const char *text)
{
    snprintf(r->text[r->n], sizeof r->text[0], "%s", text);
    r->x[r->n] = strtod(text, NULL);
    r->n++;
}

static struct readings room_for(size_t n)
{
    struct readings r = {0, calloc(n, sizeof *r.text), calloc(n, sizeof *r.x)};
    ck_assert_ptr_nonnull(r.text);
    ck_assert_ptr_nonnull(r.x);
    return r;
}

static void drop(struct readings *r)
{
    free(r->text);
    free(r->x);
}

/* NumAcc1 to 4 are given by a rule: one value, then two others by turns. */
static struct readings by_rule(const char *first, const char *second, const char *third,
                               size_t pairs)
{
    struct readings r = room_for(2 * pairs + 1);
    put(&r, first);
    for (size_t i = 0; i < pairs; i++) {
        put(&r, second);
        put(&r, third);
    }
    return r;
}

static struct readings strd_set(const char *name)
{
    if (strcmp(name, "NumAcc1") == 0) {
        return by_rule("10000001", "10000003", "10000002", 1);
    }
    if (strcmp(name, "NumAcc2") == 0) {
        return by_rule("1.2", "1.1", "1.3", 500);
    }
    if (strcmp(name, "NumAcc3") == 0) {
        return by_rule("1000000.2", "1000000.1", "1000000.3", 500);
    }
    if (strcmp(name, "NumAcc4") == 0) {
        return by_rule("10000000.2", "10000000.1", "10000000.3", 500);
    }
    char file[64];
    snprintf(file, sizeof file, "strd_%c%s.csv", name[0] | 0x20, name + 1);
    struct table table = table_read(file);
    struct readings r = room_for(table.rows);
    for (size_t i = 0; i < table.rows; i++) {
        put(&r, table_text(&table, i, "y"));
    }
    table_free(&table);
    return r;
}

static void exact_add_text(struct an_exact_sums *sums, const char *text)
{
    struct an_decimal number;
    const struct an_bytes field = {(const unsigned char *)text, strlen(text)};
    ck_assert_int_eq(an_decimal_parse(field, '.', 0, &number), AN_OK);
    an_exact_add(sums, number.scaled, number.decimals);
}

static struct an_moments exact_of(const struct readings *r)
{
    struct an_exact_sums sums = {0};
    for (size_t i = 0; i < r->n; i++) {
        exact_add_text(&sums, r->text[i]);
    }
    ck_assert(!sums.inexact);
    return an_exact_moments(&sums);
}

/*
 * The doubles' road. `digits`: least log10 relative agreement with the certified mean, sd and
 * lag-1 autocorrelation. They are fewer than 15 where the double nearest to a reading already
 * differs from it: 10000000.2 is off by 2e-10, beside deviations of 0.1 (NumAcc4, then NumAcc3),
 * and 2.0018 is off by 1e-16 beside deviations of 4e-4 (Mavro). What the doubles themselves hold
 * is in sd_of_doubles and lag1_of_doubles: computed from the very doubles in exact fractions (Python's fractions,
 * mpmath 1.3); against that every set must agree to 14 digits.
 */
static const struct strd_row {
    const char *name;
    double digits_mean, digits_sd, digits_lag1;
    double mean_of_doubles, sd_of_doubles, lag1_of_doubles;
} strd_rows[] = {
    {"Lottery", 14.5, 14.5, 14.5, 518.958715596330275, 291.699727470969084, -0.120948622967392868},
    {"Lew", 15, 14.5, 14.5, -177.435, 277.332168044316136, -0.307304800605679455},
    {"Mavro", 15, 13.1, 13.1, 2.00185599999999997, 0.000429123454003085409, 0.937989183438258899},
    {"Michelso", 15, 13.7, 13.4, 299.8524, 0.0790105478190506672, 0.535199668621263586},
    {"NumAcc1", 15, 15, 15, 10000002.0, 1.0, -0.5},
    {"NumAcc2", 15, 15, 15, 1.20000000000000007, 0.0999999999999999778, -0.998999999999999999},
    {"NumAcc3", 15, 9.4, 12.2, 1000000.20000000001, 0.100000000034924597, -0.998999999999418505},
    {"NumAcc4", 15, 8.2, 11.0, 10000000.2000000002, 0.100000000558793545, -0.998999999990696078},
};

static size_t certified_row(const struct table *certified, const char *name)
{
    for (size_t i = 0; i < certified->rows; i++) {
        if (strcmp(table_text(certified, i, "dataset"), name) == 0) {
            return i;
        }
    }
    ck_abort_msg("%s is not certified here", name);
    return 0;
}

START_TEST(doubles_agree_with_strd)
{
    const struct strd_row *row = &strd_rows[_i];
    struct table certified = table_read("strd_certified.csv");
    const size_t at = certified_row(&certified, row->name);
    struct readings r = strd_set(row->name);
    struct an_moments m;
    double lag1;
    ck_assert_uint_eq(r.n, (size_t)table_number(&certified, at, "n"));
    ck_assert_int_eq(an_moments_of(r.x, r.n, &m), AN_OK);
    ck_assert_int_eq(an_autocorrelation(r.x, r.n, 1, &lag1), AN_OK);
    const double sd = an_moments_sd(&m);
    const double wanted[] = {table_number(&certified, at, "mean"),
                             table_number(&certified, at, "sd"),
                             table_number(&certified, at, "lag1")};
    ck_assert_double_ge(digits_agreed(m.mean, wanted[0]), row->digits_mean);
    ck_assert_double_ge(digits_agreed(sd, wanted[1]), row->digits_sd);
    ck_assert_double_ge(digits_agreed(lag1, wanted[2]), row->digits_lag1);
    ck_assert_double_ge(digits_agreed(m.mean, row->mean_of_doubles), 15.0);
    ck_assert_double_ge(digits_agreed(sd, row->sd_of_doubles), 15.0);
    ck_assert_double_ge(digits_agreed(lag1, row->lag1_of_doubles), 15.0);
    drop(&r);
    table_free(&certified);
}
END_TEST

/* The exact road reads decimals, so nothing is lost on any set: 15 digits, all that are certified. */
START_TEST(exact_sums_agree_with_strd)
{
    const struct strd_row *row = &strd_rows[_i];
    struct table certified = table_read("strd_certified.csv");
    const size_t at = certified_row(&certified, row->name);
    struct readings r = strd_set(row->name);
    const struct an_moments m = exact_of(&r);
    check_close(m.mean, table_number(&certified, at, "mean"), 1e-15, "%s mean", row->name);
    check_close(an_moments_sd(&m), table_number(&certified, at, "sd"), 1.5e-15, "%s sd", row->name);
    ck_assert_int_eq(m.n, (int64_t)r.n);
    double low = r.x[0], high = r.x[0];
    for (size_t i = 0; i < r.n; i++) {
        low = fmin(low, r.x[i]);
        high = fmax(high, r.x[i]);
    }
    ck_assert(m.min == low && m.max == high);
    drop(&r);
    table_free(&certified);
}
END_TEST

static void shuffle(struct readings *r, struct draws *draws)
{
    for (size_t i = r->n; i > 1; i--) {
        const size_t j = (size_t)(draw_uniform(draws) * (double)i);
        char text[24];
        memcpy(text, r->text[i - 1], sizeof text);
        memcpy(r->text[i - 1], r->text[j], sizeof text);
        memcpy(r->text[j], text, sizeof text);
    }
}

static void same_bits(const struct an_moments *a, const struct an_moments *b)
{
    ck_assert(a->n == b->n && a->mean == b->mean && a->ssd == b->ssd && a->min == b->min &&
              a->max == b->max);
}

/* Any order, and any cut into parts joined again, gives the same bits. */
START_TEST(exact_sums_ignore_order)
{
    static const char *const mixed[] = {"-12.5", "3",    "0.000001", "1e3", "-7.25",  "99999.99",
                                        "0",     "-0.5", "2e-4",     "12",  "12.000", "-1e2"};
    struct readings sets[] = {strd_set("Mavro"), strd_set("NumAcc4"), strd_set("Lew"),
                              room_for(12)};
    for (size_t i = 0; i < 12; i++) {
        put(&sets[3], mixed[i]);
    }
    struct draws draws = {20240501};
    for (size_t s = 0; s < 4; s++) {
        struct readings *r = &sets[s];
        const struct an_moments before = exact_of(r);
        for (int round = 0; round < 50; round++) {
            shuffle(r, &draws);
            const struct an_moments after = exact_of(r);
            same_bits(&before, &after);
            struct an_exact_sums left = {0}, right = {0};
            const size_t cut = (size_t)(draw_uniform(&draws) * (double)(r->n + 1));
            for (size_t i = 0; i < r->n; i++) {
                exact_add_text(i < cut ? &left : &right, r->text[i]);
            }
            an_exact_join(&left, &right);
            ck_assert(!left.inexact);
            const struct an_moments joined = an_exact_moments(&left);
            same_bits(&before, &joined);
        }
        drop(r);
    }
}
END_TEST

/* 1, 2, 3, 4 in any units: mean 5/2, sum of squared deviations 5, by hand. */
START_TEST(exact_sums_by_hand)
{
    static const int units[] = {-6, -2, 0, 1, 9, 17};
    for (size_t u = 0; u < sizeof units / sizeof units[0]; u++) {
        struct an_exact_sums sums = {0};
        for (int64_t i = 1; i <= 4; i++) {
            an_exact_add(&sums, i, units[u]);
        }
        const struct an_moments m = an_exact_moments(&sums);
        ck_assert(!sums.inexact);
        ck_assert(m.mean == an_decimal_value(25, units[u] + 1));
        check_close(m.ssd, 5.0 * pow(10.0, -2.0 * units[u]), 5e-16, "ssd in units %d", units[u]);
        ck_assert(m.min == an_decimal_value(1, units[u]) && m.max == an_decimal_value(4, units[u]));
    }
    struct an_exact_sums one = {0};
    an_exact_add(&one, -5, 1);
    const struct an_moments single = an_exact_moments(&one);
    ck_assert(single.n == 1 && single.mean == -0.5 && single.ssd == 0.0);
    ck_assert(isnan(an_moments_sd(&single)));
    const struct an_exact_sums none = {0};
    const struct an_moments nothing = an_exact_moments(&none);
    ck_assert(nothing.n == 0 && nothing.mean == 0.0 && nothing.ssd == 0.0);
    ck_assert(isnan(nothing.min) && isnan(nothing.max));
}
END_TEST

/* Numbers too large for the sums: it goes on in doubles, whichever number came first. */
START_TEST(exact_sums_never_overflow)
{
    static const struct {
        int64_t scaled[4];
        int decimals[4];
        bool inexact;
        double mean, ssd; /* by hand, exact arithmetic rounded */
    } rows[] = {
        /* largest magnitudes: squares of 2^126, four of them just do not fit 2^128 */
        {{INT64_MIN, INT64_MIN, INT64_MIN, INT64_MIN}, {0, 0, 0, 0}, true, -0x1p63, 0.0},
        {{INT64_MIN, INT64_MIN, INT64_MIN, 0}, {0, 0, 0, 0}, false, -0x1.8p62, 0x1.8p125},
        {{INT64_MAX, -INT64_MAX, INT64_MAX, -INT64_MAX}, {0, 0, 0, 0}, false, 0.0, 0x1p128},
        /* rescaling by 10^18 does not fit 64 bits */
        {{1000, 0, 1, 0}, {0, 18, 18, 0}, true, 250.0, 750000.0},
        /* more decimals than the sums carry */
        {{1, 2, 3, 4}, {25, 25, 25, 25}, true, 2.5e-25, 5e-50},
        {{1, 2, 3, 4}, {-20, -20, -20, -20}, true, 2.5e20, 5e40},
    };
    for (size_t r = 0; r < sizeof rows / sizeof rows[0]; r++) {
        for (int turn = 0; turn < 4; turn++) {
            struct an_exact_sums sums = {0}, left = {0}, right = {0};
            for (int i = 0; i < 4; i++) {
                const int at = (i + turn) % 4;
                an_exact_add(&sums, rows[r].scaled[at], rows[r].decimals[at]);
                an_exact_add(i < 2 ? &left : &right, rows[r].scaled[at], rows[r].decimals[at]);
            }
            an_exact_join(&left, &right);
            const struct an_moments both[] = {an_exact_moments(&sums), an_exact_moments(&left)};
            ck_assert_int_eq(sums.inexact, rows[r].inexact);
            ck_assert_int_eq(left.inexact, rows[r].inexact);
            for (int way = 0; way < 2; way++) {
                ck_assert_int_eq(both[way].n, 4);
                if (rows[r].mean == 0.0) {
                    ck_assert(both[way].mean == 0.0);
                } else {
                    check_close(both[way].mean, rows[r].mean, 1e-15, "mean %zu", r);
                }
                check_close(both[way].ssd, rows[r].ssd, 1e-15, "ssd %zu", r);
            }
        }
    }
}
END_TEST

/* Once inexact, it keeps taking numbers and parts. */
START_TEST(inexact_sums_go_on)
{
    struct an_exact_sums sums = {0}, other = {0}, plain = {0};
    an_exact_add(&sums, 1, 25); /* 1e-25, next to nothing */
    for (int64_t i = 1; i <= 100; i++) {
        an_exact_add(i <= 60 ? &sums : &other, i, 1);
        an_exact_add(&plain, i, 1);
    }
    an_exact_join(&sums, &other);
    ck_assert(sums.inexact && !plain.inexact);
    an_exact_join(&plain, &sums);
    ck_assert(plain.inexact);
    const struct an_moments m = an_exact_moments(&sums);
    ck_assert_int_eq(m.n, 101);
    check_close(m.mean, 505.0 / 101.0, 1e-14, "mean"); /* sum of 0.1 .. 10.0 is 505 */
    check_close(m.ssd, 3383.5 - 505.0 * 505.0 / 101.0, 1e-13, "ssd"); /* sum of squares 3383.5 */
    ck_assert(m.min == 1e-25 && m.max == 10.0);
    ck_assert_int_eq(an_exact_moments(&plain).n, 201);
    const struct an_exact_sums none = {0};
    const struct an_exact_sums before = sums;
    an_exact_join(&sums, &none);
    ck_assert_int_eq(sums.n, before.n);
}
END_TEST

/* Parts joined agree with the whole, and joining is the same bits either way round. */
START_TEST(parts_join_to_the_whole)
{
    struct readings r = strd_set("NumAcc4");
    struct an_moments whole, left, right;
    ck_assert_int_eq(an_moments_of(r.x, r.n, &whole), AN_OK);
    for (size_t cut = 1; cut < r.n; cut += 97) {
        ck_assert_int_eq(an_moments_of(r.x, cut, &left), AN_OK);
        ck_assert_int_eq(an_moments_of(r.x + cut, r.n - cut, &right), AN_OK);
        const struct an_moments a = an_moments_join(&left, &right);
        const struct an_moments b = an_moments_join(&right, &left);
        same_bits(&a, &b);
        check_close(a.mean, whole.mean, 3e-16, "mean, cut %zu", cut);
        /* the mean is known to half a unit in the last place, 1e-9 of a deviation of 0.1 */
        check_close(a.ssd, whole.ssd, 1e-8, "ssd, cut %zu", cut);
        ck_assert(a.n == whole.n && a.min == whole.min && a.max == whole.max);
    }
    const struct an_moments none = {0, 0.0, 0.0, (double)NAN, (double)NAN};
    const struct an_moments same = an_moments_join(&whole, &none);
    const struct an_moments also = an_moments_join(&none, &whole);
    same_bits(&same, &whole);
    same_bits(&also, &whole);
    drop(&r);
}
END_TEST

/* A change of unit commutes with the moments; powers of two do so to the bit. */
START_TEST(units_can_change_after)
{
    static const struct {
        double factor, offset, close;
    } units[] = {{1000.0, 0.0, 1e-14}, {-0.5, 0.0, 1e-15}, {1.8, 32.0, 1e-14}, {0.0, 3.0, 0.0}};
    struct readings r = strd_set("Lottery");
    struct an_moments m, wanted;
    ck_assert_int_eq(an_moments_of(r.x, r.n, &m), AN_OK);
    for (size_t u = 0; u < sizeof units / sizeof units[0]; u++) {
        double y[218];
        ck_assert_uint_eq(r.n, 218);
        for (size_t i = 0; i < r.n; i++) {
            y[i] = r.x[i] * units[u].factor + units[u].offset;
        }
        ck_assert_int_eq(an_moments_of(y, r.n, &wanted), AN_OK);
        const struct an_moments got = an_moments_convert(&m, units[u].factor, units[u].offset);
        check_close(got.mean, wanted.mean, units[u].close, "mean, unit %zu", u);
        check_close(got.ssd, wanted.ssd, units[u].close, "ssd, unit %zu", u);
        ck_assert(got.min == wanted.min && got.max == wanted.max);
    }
    drop(&r);
}
END_TEST

START_TEST(bad_readings_are_refused)
{
    struct an_moments m;
    double r;
    const double infinite[] = {1.0, (double)INFINITY}, unknown[] = {(double)NAN, 1.0};
    const double huge[] = {1e308, 1e308, -1e308, 1e300}, equal[] = {0.1, 0.1, 0.1};
    const double far[] = {1e200, -1e200};
    ck_assert_int_eq(an_moments_of(NULL, 0, &m), AN_TOO_FEW);
    ck_assert(m.n == 0 && m.mean == 0.0 && m.ssd == 0.0 && isnan(m.min) && isnan(m.max));
    ck_assert_int_eq(an_moments_of(infinite, 2, &m), AN_DOMAIN);
    ck_assert_int_eq(an_moments_of(unknown, 2, &m), AN_DOMAIN);
    ck_assert_int_eq(an_moments_of(huge, 4, &m), AN_DOMAIN);
    ck_assert_int_eq(an_moments_of(far, 2, &m), AN_DOMAIN);
    ck_assert_int_eq(an_moments_of(equal, 3, &m), AN_OK);
    ck_assert(m.mean == 0.1 && m.ssd == 0.0);
    ck_assert_int_eq(an_autocorrelation(equal, 3, 1, &r), AN_NO_SPREAD);
    ck_assert_int_eq(an_autocorrelation(equal, 3, 2, &r), AN_TOO_FEW);
    ck_assert_int_eq(an_autocorrelation(equal, 0, 0, &r), AN_TOO_FEW);
    ck_assert_int_eq(an_autocorrelation(unknown, 2, 0, &r), AN_DOMAIN);
    ck_assert(isnan(r));
}
END_TEST

/* At lag 0 a series agrees with itself; by hand for 1, 2, 4: mean 7/3. */
START_TEST(autocorrelation_by_hand)
{
    const double x[] = {1.0, 2.0, 4.0};
    double r;
    ck_assert_int_eq(an_autocorrelation(x, 3, 0, &r), AN_OK);
    ck_assert(r == 1.0);
    ck_assert_int_eq(an_autocorrelation(x, 3, 1, &r), AN_OK);
    check_close(r, -1.0 / 42.0, 1e-15, "lag 1"); /* (4/9 - 5/9) / (42/9) */
}
END_TEST

int main(void)
{
    const int sets = (int)(sizeof strd_rows / sizeof strd_rows[0]);
    Suite *suite = suite_create("stat.moments");
    TCase *tcase = tcase_create("moments");
    tcase_add_loop_test(tcase, doubles_agree_with_strd, 0, sets);
    tcase_add_loop_test(tcase, exact_sums_agree_with_strd, 0, sets);
    tcase_add_test(tcase, exact_sums_ignore_order);
    tcase_add_test(tcase, exact_sums_by_hand);
    tcase_add_test(tcase, exact_sums_never_overflow);
    tcase_add_test(tcase, inexact_sums_go_on);
    tcase_add_test(tcase, parts_join_to_the_whole);
    tcase_add_test(tcase, units_can_change_after);
    tcase_add_test(tcase, bad_readings_are_refused);
    tcase_add_test(tcase, autocorrelation_by_hand);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
