/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Units against exact factors. Sources: SI Brochure, 9th edition, BIPM 2019: table 7 (prefixes),
 * table 8 (minute, hour, day, degree, minute and second of arc), section 2.3.1 (degree Celsius);
 * inch = 25.4 mm (international yard and pound agreement, 1959); degree Fahrenheit by definition,
 * t/F = 1.8 t/C + 32; standard gravity 9.80665 m/s2 (3rd CGPM, 1901); centipoise = 1 mPa.s and
 * bar = 100 kPa (SI Brochure, 8th edition, table 8 and 9, from memory); foot-lambert = 1/pi candela
 * a square foot = 3.4262591 cd/m2 (NIST SP 811, appendix B.8, from memory).
 */
#include "line/unit.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

static struct an_bytes b(const char *text)
{
    return an_bytes_of(text);
}

static const struct {
    const char *from, *to;
    double factor, offset;
} exact_rows[] = {
    /* factors that are a decimal: the nearest double of that decimal, nothing else */
    {"nm", "um", 1e-3, 0},
    {"um", "nm", 1e3, 0},
    {"nm", "mm", 1e-6, 0},
    {"um", "mm", 1e-3, 0},
    {"mm", "um", 1e3, 0},
    {"pm", "m", 1e-12, 0},
    {"m", "nm", 1e9, 0},
    {"cm", "mm", 10, 0},
    {"in", "mm", 25.4, 0},
    {"mil", "um", 25.4, 0},
    {"mm2", "um2", 1e6, 0},
    {"cm2", "mm2", 100, 0},
    {"mV", "V", 1e-3, 0},
    {"kV", "mV", 1e6, 0},
    {"uA", "mA", 1e-3, 0},
    {"pA", "nA", 1e-3, 0},
    {"mohm", "ohm", 1e-3, 0},
    {"Mohm", "kohm", 1e3, 0},
    {"%", "1", 1e-2, 0},
    {"fraction", "%", 100, 0},
    {"ppm", "%", 1e-4, 0},
    {"%", "ppm", 1e4, 0},
    {"ppb", "ppm", 1e-3, 0},
    {"permille", "%", 0.1, 0},
    {"per_million", "ppm", 1, 0},
    {"ms", "s", 1e-3, 0},
    {"min", "s", 60, 0},
    {"h", "min", 60, 0},
    {"d", "h", 24, 0},
    {"s", "min", 1.0 / 60, 0},
    {"kcd/m2", "cd/m2", 1e3, 0},
    {"nit", "cd/m2", 1, 0},
    {"lm", "mlm", 1e3, 0},
    {"mW", "W", 1e-3, 0},
    {"mJ/cm2", "J/m2", 10, 0},
    {"uW/cm2", "W/m2", 1e-2, 0},
    {"mrad", "urad", 1e3, 0},
    {"deg", "arcmin", 60, 0},
    {"arcsec", "deg", 1.0 / 3600, 0},
    {"mN", "N", 1e-3, 0},
    {"gf", "mN", 9.80665, 0},
    {"kgf", "N", 9.80665, 0},
    {"N.cm", "N.m", 1e-2, 0},
    {"kPa", "MPa", 1e-3, 0},
    {"bar", "kPa", 100, 0},
    {"mbar", "hPa", 1, 0},
    {"mg", "g", 1e-3, 0},
    {"cP", "Pa.s", 1e-3, 0},
    {"mm/s", "um/s", 1e3, 0},
    {"kHz", "Hz", 1e3, 0},
    {"K/s", "K/min", 60, 0},
    {"degC/min", "degC/s", 1.0 / 60, 0},
    {"K", "degC", 1, -273.15},
    {"degC", "K", 1, 273.15},
    {"degF", "degC", 5.0 / 9, -160.0 / 9},
    {"degC", "degF", 1.8, 32},
    {"degF", "K", 5.0 / 9, 45967.0 / 180},
};

START_TEST(exact_factors)
{
    double factor = 0;
    double offset = -1;
    ck_assert_int_eq(
        (int)an_unit_factor(b(exact_rows[_i].from), b(exact_rows[_i].to), &factor, &offset), AN_OK);
    ck_assert_double_eq(factor, exact_rows[_i].factor);
    ck_assert_double_eq(offset, exact_rows[_i].offset);
}
END_TEST

/* Factors with pi are rounded twice: 2 units in the last place. */
static const struct {
    const char *from, *to;
    double factor;
} pi_rows[] = {
    {"deg", "rad", 0.017453292519943295769},   /* pi / 180 */
    {"deg", "mrad", 17.453292519943295769},    /* domain figure: 17.45 mrad a degree */
    {"arcsec", "urad", 4.8481368110953599359}, /* pi / 648000 */
    {"mrad", "deg", 0.057295779513082320877},  /* 180 / pi / 1000 */
    {"fL", "cd/m2", 3.4262590996353905269},    /* 1 / (pi 0.3048^2) */
};

START_TEST(factors_with_pi)
{
    double factor = 0;
    double offset = -1;
    ck_assert_int_eq((int)an_unit_factor(b(pi_rows[_i].from), b(pi_rows[_i].to), &factor, &offset),
                     AN_OK);
    ck_assert_double_eq_tol(factor / pi_rows[_i].factor, 1, 4.5e-16);
    ck_assert_double_eq(offset, 0);
}
END_TEST

static const struct {
    const char *a, *b;
    bool same;
} same_rows[] = {
    {"um", "\xC2\xB5m", true}, /* micro sign */
    {"um", "\xCE\xBCm", true}, /* Greek mu */
    {"um", " [um] ", true},
    {"um", "(\xC2\xB5m)", true},
    {"degC",
     "\xC2\xB0"
     "C",
     true},
    {"degC", "\xE2\x84\x83", true}, /* one sign */
    {"cd/m2", "cd/m\xC2\xB2", true},
    {"cd/m2", "cd/m^2", true},
    {"nit", "cd/m2", true},
    {"ohm", "\xCE\xA9", true},
    {"mohm", "m\xE2\x84\xA6", true}, /* ohm sign */
    {"N.m", "N\xC2\xB7m", true},
    {"K/s",
     "\xC2\xB0"
     "C/s",
     true},
    {"1", "fraction", true},
    {"ppm", "per_million", true},
    {"mbar", "hPa", true},
    {"furlongs", " furlongs", true}, /* not in the table, same word */
    {"um", "nm", false},
    {"mW", "MW", false}, /* case counts */
    {"mohm", "Mohm", false},
    {"K", "degC", false}, /* same size of degree, another zero */
    {"um", "furlongs", false},
    {"", "1", false},
    {"a very long unit that no table has room for, really", "um", false},
};

START_TEST(same_units)
{
    ck_assert_int_eq(an_unit_same(b(same_rows[_i].a), b(same_rows[_i].b)), same_rows[_i].same);
    ck_assert_int_eq(an_unit_same(b(same_rows[_i].b), b(same_rows[_i].a)), same_rows[_i].same);
}
END_TEST

START_TEST(refusals)
{
    double factor = 7;
    double offset = 7;
    ck_assert_int_eq((int)an_unit_factor(b("um"), b("V"), &factor, &offset), AN_DOMAIN);
    ck_assert_double_eq(factor, 1);
    ck_assert_double_eq(offset, 0);
    ck_assert_int_eq((int)an_unit_factor(b("um"), b("cubit"), &factor, &offset), AN_NOT_FOUND);
    ck_assert_int_eq((int)an_unit_factor(b(""), b("um"), &factor, &offset), AN_NOT_FOUND);
    ck_assert(!an_unit_known(b("")));
    ck_assert(!an_unit_known((struct an_bytes){(const unsigned char *)"u\0m", 3}));
    ck_assert_str_eq(an_unit_quantity(b("kPa")), "pressure");
    ck_assert_ptr_null(an_unit_quantity(b("cubit")));
    ck_assert_str_eq(an_unit_nearest(b("umm")), "um");
    ck_assert_str_eq(an_unit_nearest(b("kohms")), "kohm");
    ck_assert_ptr_null(an_unit_nearest(b("furlongs/fortnight")));
}
END_TEST

/* There and back again is the identity, for every pair of the rows above. */
START_TEST(inverse)
{
    double there = 0;
    double back = 0;
    double offset_there = 0;
    double offset_back = 0;
    ck_assert_int_eq(
        (int)an_unit_factor(b(exact_rows[_i].from), b(exact_rows[_i].to), &there, &offset_there),
        AN_OK);
    ck_assert_int_eq(
        (int)an_unit_factor(b(exact_rows[_i].to), b(exact_rows[_i].from), &back, &offset_back),
        AN_OK);
    ck_assert_double_eq_tol(there * back, 1, 3e-16);
    ck_assert_double_eq_tol(offset_there * back + offset_back, 0, 1e-13 * (1 + fabs(offset_back)));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("line units");
    TCase *tests = tcase_create("units");
    tcase_add_loop_test(tests, exact_factors, 0, sizeof exact_rows / sizeof exact_rows[0]);
    tcase_add_loop_test(tests, factors_with_pi, 0, sizeof pi_rows / sizeof pi_rows[0]);
    tcase_add_loop_test(tests, same_units, 0, sizeof same_rows / sizeof same_rows[0]);
    tcase_add_test(tests, refusals);
    tcase_add_loop_test(tests, inverse, 0, sizeof exact_rows / sizeof exact_rows[0]);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
