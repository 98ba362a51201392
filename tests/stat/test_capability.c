/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Capability indices and their bounds against handbook examples and exact integrals.
 */
#include "andamento/stat/capability.h"
#include "andamento/stat/tests.h"
#include "stat/distribution.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define NONE ((double)NAN)

static struct an_capability_basis basis_of(double n, double mean, double sigma)
{
    return (struct an_capability_basis){.n = n,
                                        .mean = mean,
                                        .sigma_within = sigma,
                                        .df_within = n - 1.0,
                                        .sigma_overall = sigma,
                                        .confidence = 0.95};
}

static struct an_capability index_of(struct an_capability_basis basis, double target, double lsl,
                                     double usl)
{
    struct an_capability c;
    const struct an_spec spec = {target, lsl, usl};
    ck_assert_int_eq(an_capability_of(&basis, &spec, &c), AN_OK);
    return c;
}

static int all_none(const struct an_index *i)
{
    return isnan(i->value) && isnan(i->lower) && isnan(i->upper);
}

/* NIST/SEMATECH e-Handbook 6.1.6: usl 20, lsl 8, mean 16, s 2, target 14 (from memory): Cp 1,
 * Cpu .6667, Cpl 1.3333, Cpk .6667, Cpm .7071 (computed with base R 4.2). */
START_TEST(handbook_example)
{
    const struct an_capability c = index_of(basis_of(50, 16, 2), 14, 8, 20);
    check_close(c.cp.value, 1.0, 1e-15, "Cp");
    check_close(c.cpu.value, 2.0 / 3.0, 1e-15, "Cpu");
    check_close(c.cpl.value, 4.0 / 3.0, 1e-15, "Cpl");
    check_close(c.cpk.value, 2.0 / 3.0, 1e-15, "Cpk");
    check_close(c.cpm.value, 0.707106781187, 1e-9, "Cpm");
    ck_assert(c.pp.value == c.cp.value && c.ppk.lower == c.cpk.lower);
    /* Same place: Cp from 50 readings has the factors .8025 and 1.1971 (computed, base R 4.2). */
    check_close(c.cp.lower, 0.80248232815, 1e-9, "Cp lower");
    check_close(c.cp.upper, 1.19712592527, 1e-9, "Cp upper");
}
END_TEST

/* Montgomery, Introduction to Statistical Quality Control, example 8.4: lsl 38, usl 62, n 20, s 1.75:
 * Cp 2.29, 95 per cent bounds 1.57 and 3.01; example 8.5: Cpk 1.33, n 20: .88 and 1.78. (Printed
 * from memory, last digit; computed with base R 4.2.) */
START_TEST(textbook_examples)
{
    const struct an_capability c = index_of(basis_of(20, 50, 1.75), NONE, 38, 62);
    check_close(c.cp.value, 2.28571428571, 1e-9, "Cp");
    check_close(c.cp.lower, 1.56494500454, 1e-9, "lower");
    check_close(c.cp.upper, 3.00557942974, 1e-9, "upper");
    ck_assert_double_le(fabs(c.cp.lower - 1.57), 0.006);
    ck_assert_double_le(fabs(c.cp.upper - 3.01), 0.006);
    ck_assert(all_none(&c.cpm)); /* no target */
    const struct an_capability k = index_of(basis_of(20, 0, 1), NONE, -30, 3.99);
    check_close(k.cpk.value, 1.33, 1e-15, "Cpk");
    check_close(k.cpk.lower, 0.882606050559, 1e-9, "Cpk lower");
    check_close(k.cpk.upper, 1.77739394944, 1e-9, "Cpk upper");
    ck_assert_double_le(fabs(k.cpk.lower - 0.88), 0.006);
    ck_assert_double_le(fabs(k.cpk.upper - 1.78), 0.006);
}
END_TEST

/*
 * Bounds by n, computed with base R 4.2: factors of Cp (95 per cent, two-sided), exact lower 95
 * per cent one-sided bound of Cpu when 1.33 is seen, and the normal approximation of the same. A
 * two-sided interval at 0.90 has the one-sided 0.95 bounds as its ends.
 */
static const struct {
    double n, cp_lower, cp_upper, cpu_lower, cpk_lower;
} by_n[] = {
    {10, 0.547762063104, 1.45383660241, 0.777313924503, 0.785995072185},
    {20, 0.684663439485, 1.31494100051, 0.948684528097, 0.954535161759},
    {30, 0.743873174567, 1.25563949642, 1.0215572539, 1.02580443473},
    {50, 0.80248232815, 1.19712592527, 1.0930702455, 1.09580482897},
    {100, 0.860825773332, 1.13894328414, 1.16369204572, 1.16514537509},
};

START_TEST(bounds_by_n)
{
    struct an_capability_basis basis = basis_of(by_n[_i].n, 0, 1);
    const struct an_capability cp = index_of(basis, NONE, -3, 3);
    check_close(cp.cp.lower, by_n[_i].cp_lower, 1e-9, "Cp lower");
    check_close(cp.cp.upper, by_n[_i].cp_upper, 1e-9, "Cp upper");
    basis.confidence = 0.90;
    const struct an_capability one = index_of(basis, NONE, NONE, 3.99);
    check_close(one.cpu.value, 1.33, 1e-15, "Cpu");
    check_close(one.cpu.lower, by_n[_i].cpu_lower, 1e-9, "Cpu lower");
    ck_assert(one.cpk.lower == one.cpu.lower && one.ppk.upper == one.ppu.upper);
    ck_assert(all_none(&one.cp) && all_none(&one.pp) && all_none(&one.cpl) && all_none(&one.ppl));
    const struct an_capability two = index_of(basis, NONE, -30, 3.99);
    check_close(two.cpk.lower, by_n[_i].cpk_lower, 1e-9, "Cpk lower");
    /* The mirror image has the same bounds on the other side. */
    const struct an_capability mirror = index_of(basis, NONE, -3.99, NONE);
    check_close(mirror.cpl.lower, one.cpu.lower, 1e-12, "mirrored lower");
    check_close(mirror.cpl.upper, one.cpu.upper, 1e-12, "mirrored upper");
    ck_assert(mirror.above == 0.0 && one.below == 0.0 && mirror.below == one.above);
}
END_TEST

/* Piston rings (Montgomery, table 6.3): 125 readings, limits 73.95 and 74.05, target 74; mean and
 * sd from the readings; all computed with base R 4.2. */
START_TEST(piston_rings)
{
    struct an_capability_basis basis = basis_of(125, 74.001176, 0.010198880394);
    basis.sigma_within = NONE;
    const struct an_capability c = index_of(basis, 74, 73.95, 74.05);
    ck_assert(all_none(&c.cp) && all_none(&c.cpk) && all_none(&c.cpl) && all_none(&c.cpu));
    check_close(c.pp.value, 1.63416630286, 1e-9, "Pp");
    check_close(c.pp.lower, 1.43089365709, 1e-9, "Pp lower");
    check_close(c.pp.upper, 1.83712814268, 1e-9, "Pp upper");
    check_close(c.ppk.value, 1.59573071141, 1e-9, "Ppk");
    check_close(c.ppk.lower, 1.38871123374, 1e-9, "Ppk lower");
    check_close(c.ppk.upper, 1.80275018909, 1e-9, "Ppk upper");
    check_close(c.cpm.value, 1.62340979251, 1e-9, "Cpm");
    check_close((c.below + c.above) * 1e6, 1.10697950588, 1e-8, "per million outside");
    ck_assert(c.cpm.lower < c.cpm.value && c.cpm.upper > c.cpm.value);
}
END_TEST

/* Parts per million outside by Cp, centred, and with the mean 1.5 sigma off
 * (common tables, from memory; computed with base R 4.2). */
static const struct {
    double half_width, centred, printed, centred_within, shifted, shifted_printed, shifted_within;
} ppm[] = {
    {1, 317310.507863, 317311, 1, 697672.1266, 697700, 1000},
    {2, 45500.2638964, 45500, 1, 308770.167805, 308700, 600},
    {3, 2699.79606326, 2700, 0.21, 66810.598942, 66800, 300},
    {4, 63.3424836662, 63.3, 0.051, 6209.68431534, 6210, 5},
    {5, 0.573303143758, 0.573, 0.00051, 232.629119196, 233, 1},
    {6, 0.00197317529008, 0.00197, 5.1e-06, 3.39767315664, 3.4, 0.05},
};

START_TEST(parts_per_million)
{
    const double w = ppm[_i].half_width;
    const struct an_capability c = index_of(basis_of(100, 0, 1), NONE, -w, w);
    check_close((c.below + c.above) * 1e6, ppm[_i].centred, 1e-9, "centred at %g sigma", w);
    ck_assert_double_le(fabs((c.below + c.above) * 1e6 - ppm[_i].printed), ppm[_i].centred_within);
    const struct an_capability off = index_of(basis_of(100, 1.5, 1), NONE, -w, w);
    const double outside = (off.below + off.above) * 1e6;
    check_close(outside, ppm[_i].shifted, 1e-9, "shifted at %g sigma", w);
    ck_assert_double_le(fabs(outside - ppm[_i].shifted_printed), ppm[_i].shifted_within);
}
END_TEST

/* Cp.. use the degrees of freedom of sigma_within, Pp.. n - 1. */
START_TEST(df_of_its_own_sigma)
{
    struct an_capability_basis basis = basis_of(20, 0, 1);
    basis.df_within = 9.0;
    const struct an_capability c = index_of(basis, NONE, -3, 3);
    check_close(c.cp.lower, 0.547762063104, 1e-9, "9 degrees of freedom");
    check_close(c.pp.lower, 0.684663439485, 1e-9, "19 degrees of freedom");
    ck_assert(c.cpk.lower < c.ppk.lower && c.cpu.upper > c.ppu.upper);
    basis.df_within = NONE;
    const struct an_capability d = index_of(basis, NONE, -3, 3);
    ck_assert(d.cp.value == 1.0 && isnan(d.cp.lower) && isnan(d.cpk.lower) && isnan(d.cpu.upper));
    ck_assert(isfinite(d.pp.lower));
}
END_TEST

/* Units do not matter, nor does turning the axis round: sides change places. */
START_TEST(units_do_not_matter)
{
    struct an_capability_basis basis = basis_of(37, 10.4, 0.7), other = basis;
    basis.sigma_within = 0.6;
    other.mean = -1000.0 * basis.mean + 5.0;
    other.sigma_within = 600.0;
    other.sigma_overall = 700.0;
    const struct an_capability a = index_of(basis, 10.5, 8, 13);
    const struct an_capability b = index_of(other, -10495.0, -12995.0, -7995.0);
    const double pairs[][2] = {{a.cp.value, b.cp.value},   {a.cpl.value, b.cpu.value},
                               {a.cpu.lower, b.cpl.lower}, {a.cpk.upper, b.cpk.upper},
                               {a.ppl.upper, b.ppu.upper}, {a.cpm.value, b.cpm.value},
                               {a.cpm.lower, b.cpm.lower}, {a.below, b.above}};
    for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
        check_close(pairs[i][0], pairs[i][1], 1e-10, "pair %zu", i);
    }
}
END_TEST

/* A mean on its limit or beyond: indices 0 and below, bounds still in order. */
START_TEST(mean_outside)
{
    const struct an_capability zero = index_of(basis_of(15, 3, 1), NONE, -3, 3);
    ck_assert(zero.cpu.value == 0.0 && zero.cpk.value == 0.0);
    check_close(zero.cpk.upper, 1.959963984540054 / (3.0 * sqrt(15.0)), 1e-12, "Cpk at 0");
    check_close(zero.cpu.upper, -zero.cpu.lower, 1e-10, "Cpu about 0");
    const struct an_capability out = index_of(basis_of(15, 4.5, 1), NONE, NONE, 3);
    ck_assert(out.ppk.value == -0.5 && out.ppk.lower < -0.5 && out.ppk.upper > -0.5);
    ck_assert(out.above > 0.9);
}
END_TEST

/* 30-digit integrals (mpmath 1.3); the first two also base R 4.2, which has about 9 digits. */
static const struct {
    double t, df, delta, p;
} noncentral[] = {
    {3.3, 9, 3, 0.56243973851749318},   {8.25, 19, 7.5, 0.64558192824490184},
    {60, 199, 55, 0.94121597999963558}, {130, 999, 126, 0.90186963663692576},
    {-2, 5, -1.5, 0.36855075274432828}, {300, 4999, 310, 0.00080478926272061917},
};

START_TEST(noncentral_t)
{
    const double t = noncentral[_i].t, df = noncentral[_i].df, delta = noncentral[_i].delta;
    double slope;
    const double p = an_noncentral_t_below(t, df, delta, &slope);
    ck_assert_double_le(fabs(p - noncentral[_i].p), 1e-13);
    const double h = 1e-5;
    const double rise = an_noncentral_t_below(t, df, delta + h, NULL) -
                        an_noncentral_t_below(t, df, delta - h, NULL);
    ck_assert_double_le(fabs(slope - rise / (2.0 * h)), 1e-7);
    check_close(an_noncentral_t_delta(t, df, noncentral[_i].p), delta, 1e-10, "delta");
    /* with no noncentrality it is Student's t */
    ck_assert_double_le(
        fabs(an_noncentral_t_below(t / 30.0, df, 0.0, NULL) - an_t_below(t / 30.0, df)), 1e-13);
}
END_TEST

START_TEST(noncentral_t_domain)
{
    ck_assert(isnan(an_noncentral_t_below(1.0, 0.5, 0.0, NULL)));
    ck_assert(isnan(an_noncentral_t_below((double)INFINITY, 5.0, 0.0, NULL)));
    ck_assert(isnan(an_noncentral_t_delta(1.0, 5.0, 0.0)));
    ck_assert(isnan(an_noncentral_t_delta(1.0, 5.0, 1.0)));
    ck_assert(isnan(an_noncentral_t_delta(1.0, (double)NAN, 0.5)));
    ck_assert(an_noncentral_t_delta(0.0, 5.0, 1e-12) > 6.9); /* Phi(-delta) = 1e-12 */
    check_close(an_noncentral_t_delta(0.0, 5.0, 1e-12), -an_normal_quantile(1e-12), 1e-10, "far");
}
END_TEST

static const struct refusal {
    const char *what;
    double n, mean, within, overall, confidence, target, lsl, usl;
    enum an_status st;
} refusals[] = {
    {"one reading", 1, 0, 1, 1, .95, NONE, -1, 1, AN_TOO_FEW},
    {"one reading, sd unknown", 1, 0, 1, NONE, .95, NONE, -1, 1, AN_TOO_FEW},
    {"no spread", 9, 0, 1, 0, .95, NONE, -1, 1, AN_NO_SPREAD},
    {"no limit", 9, 0, 1, 1, .95, 0, NONE, NONE, AN_DOMAIN},
    {"limits equal", 9, 0, 1, 1, .95, NONE, 1, 1, AN_DOMAIN},
    {"limits crossed", 9, 0, 1, 1, .95, NONE, 2, 1, AN_DOMAIN},
    {"limit infinite", 9, 0, 1, 1, .95, NONE, 0, (double)INFINITY, AN_DOMAIN},
    {"mean unknown", 9, NONE, 1, 1, .95, NONE, -1, 1, AN_DOMAIN},
    {"sd unknown", 9, 0, 1, NONE, .95, NONE, -1, 1, AN_DOMAIN},
    {"sd negative", 9, 0, 1, -1, .95, NONE, -1, 1, AN_DOMAIN},
    {"within negative", 9, 0, -1, 1, .95, NONE, -1, 1, AN_DOMAIN},
    {"certainty", 9, 0, 1, 1, 1.0, NONE, -1, 1, AN_DOMAIN},
    {"confidence unknown", 9, 0, 1, 1, NONE, NONE, -1, 1, AN_DOMAIN},
};

START_TEST(what_has_no_index)
{
    const struct refusal *row = &refusals[_i];
    const struct an_capability_basis basis = {.n = row->n,
                                              .mean = row->mean,
                                              .sigma_within = row->within,
                                              .df_within = 5,
                                              .sigma_overall = row->overall,
                                              .confidence = row->confidence};
    const struct an_spec spec = {row->target, row->lsl, row->usl};
    struct an_capability c;
    ck_assert_msg(an_capability_of(&basis, &spec, &c) == row->st, "%s", row->what);
    ck_assert(all_none(&c.cp) && all_none(&c.ppk) && all_none(&c.cpm) && isnan(c.below));
}
END_TEST

/* A mean with a standard error of its own. With se = s / sqrt(n) and many readings the bounds of one
 * side are nearly the exact ones; a larger error widens them. Numbers of a side at 4 sigma: integrated with base R 4.2 (integrate, uniroot). */
START_TEST(mean_with_its_own_error)
{
    struct an_capability_basis basis = basis_of(21, 0, 1);
    basis.mean_se = 0.3;
    basis.df_mean = 4;
    const struct an_capability c = index_of(basis, NONE, -4, NONE);
    check_close(c.cpl.value, 4.0 / 3.0, 1e-15, "value");
    check_close(c.cpl.lower, 0.860506684716, 1e-9, "lower");
    check_close(c.cpl.upper, 1.843898133478, 1e-9, "upper");
    const struct an_capability exact_small = index_of(basis_of(21, 0, 1), NONE, -4, NONE);
    ck_assert(c.cpl.upper - c.cpl.lower > exact_small.cpl.upper - exact_small.cpl.lower);
    basis = basis_of(2001, 0, 1);
    basis.mean_se = 1.0 / sqrt(2001.0);
    basis.df_mean = 1e7;
    const struct an_capability near = index_of(basis, NONE, -4, NONE);
    const struct an_capability exact = index_of(basis_of(2001, 0, 1), NONE, -4, NONE);
    check_close(near.cpl.lower, exact.cpl.lower, 1e-3, "lower near the exact one");
    check_close(near.cpl.upper, exact.cpl.upper, 1e-3, "upper near the exact one");
    check_close(near.ppl.lower, exact.ppl.lower, 1e-9, "the overall side knows its n by the error");
    basis.df_mean = 0;
    struct an_capability none;
    const struct an_spec spec = {NONE, -4, NONE};
    ck_assert_int_eq(an_capability_of(&basis, &spec, &none), AN_DOMAIN);
}
END_TEST

/* Cpm's bounds start from the root mean square about the target with divisor n (Boyles 1991): for a
 * mean on target they are those of a sigma with n degrees of freedom; factors of chi-square with 30
 * degrees of freedom, .5597 and 1.5660 (quantiles 16.790772 and 46.979242, base R 4.2). */
START_TEST(taguchi_bounds)
{
    const double n = 30.0, root = sqrt((n - 1.0) / n);
    const struct an_capability c = index_of(basis_of(n, 5, 1), 5, 1, 9);
    check_close(c.cpm.value, 4.0 / 3.0, 1e-15, "value with s");
    check_close(c.cpm.lower, 4.0 / 3.0 / root * sqrt(16.7907722655666 / n), 1e-9, "lower");
    check_close(c.cpm.upper, 4.0 / 3.0 / root * sqrt(46.9792422436712 / n), 1e-9, "upper");
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("stat.capability");
    TCase *tcase = tcase_create("capability");
    tcase_add_test(tcase, handbook_example);
    tcase_add_test(tcase, textbook_examples);
    tcase_add_loop_test(tcase, bounds_by_n, 0, (int)(sizeof by_n / sizeof by_n[0]));
    tcase_add_test(tcase, piston_rings);
    tcase_add_loop_test(tcase, parts_per_million, 0, (int)(sizeof ppm / sizeof ppm[0]));
    tcase_add_test(tcase, df_of_its_own_sigma);
    tcase_add_test(tcase, mean_with_its_own_error);
    tcase_add_test(tcase, taguchi_bounds);
    tcase_add_test(tcase, units_do_not_matter);
    tcase_add_test(tcase, mean_outside);
    tcase_add_loop_test(tcase, noncentral_t, 0, (int)(sizeof noncentral / sizeof noncentral[0]));
    tcase_add_test(tcase, noncentral_t_domain);
    tcase_add_loop_test(tcase, what_has_no_index, 0, (int)(sizeof refusals / sizeof refusals[0]));
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
