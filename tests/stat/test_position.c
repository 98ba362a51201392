/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A pair inside a circle: closed forms, integrals made with base R, made data.
 */
#include "andamento/stat/position.h"
#include "andamento/stat/tests.h"
#include "andamento/stat/yield.h"
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* inside: base R 4.2 (integrals over one axis; noncentral chi-square for the second), 11 digits;
 * printed to 4 decimals where it is a fact of the Rayleigh shape (from memory). */
static const struct {
    struct an_plane_normal at;
    double radius, inside;
} circles[] = {
    {{0, 0, 1, 1, 0}, 1, 0.393469340287},
    {{0, 0, 1, 1, 0}, 2, 0.864664716763},
    {{0, 0, 1, 1, 0}, 3, 0.988891003462},
    {{0, 0, 1, 1, 0}, 4, 0.999664537372},
    {{0.5, 0.5, 1, 1, 0}, 2, 0.797217783636},
    {{0, 0, 1, 0.5, 0}, 2, 0.9454545786},
    {{0, 0, 1, 0.5, 0.6}, 2, 0.937714045485},
    {{0.4, -0.2, 1, 0.5, 0.6}, 2, 0.921423804209},
    {{0, 0, 1, 0.5, 0}, 3.04845533254, 0.9973},
    {{0, 0, 1, 0, 0}, 0.674489750196, 0.5}, /* circular error probable, ratio 0 to 1 */
    {{0, 0, 1, 0.25, 0}, 0.725434382183, 0.5},
    {{0, 0, 1, 0.5, 0}, 0.870417428244, 0.5},
    {{0, 0, 1, 0.75, 0}, 1.0270906088, 0.5},
    {{0, 0, 1, 1, 0}, 1.17741002251, 0.5},
    {{0, 0, 1, 1, 0}, 2.14596602629, 0.9},
    {{0, 0, 1, 1, 0}, 3.03485425877, 0.99},
};

START_TEST(inside_circles)
{
    double outside = -1;
    ck_assert_int_eq(an_outside_circle(&circles[_i].at, circles[_i].radius, &outside), AN_OK);
    ck_assert_double_eq_tol(1 - outside, circles[_i].inside, 2e-10);
}
END_TEST

/* Far tails keep their digits: round and centred, outside is exp(-r^2 / 2). */
START_TEST(far_tail)
{
    const struct an_plane_normal round = {0, 0, 1, 1, 0};
    for (double r = 0.5; r < 33; r += 1.7) {
        double outside = -1;
        ck_assert_int_eq(an_outside_circle(&round, r, &outside), AN_OK);
        check_close(outside, exp(-r * r / 2), 1e-11, "radius %g", r);
    }
}
END_TEST

/* Turning both axes, or mirroring one, changes nothing; a thin ellipse nears its line. */
START_TEST(turned)
{
    const struct an_plane_normal at = {0.7, -0.4, 1.1, 0.6, 0.35};
    const double angle = 0.8, c = cos(angle), s = sin(angle);
    const double xx = 1.21, yy = 0.36, xy = 0.35 * 1.1 * 0.6;
    const double vx = c * c * xx + s * s * yy - 2 * c * s * xy;
    const double vy = s * s * xx + c * c * yy + 2 * c * s * xy;
    const double cov = c * s * (xx - yy) + (c * c - s * s) * xy;
    const struct an_plane_normal other = {c * 0.7 + s * 0.4, s * 0.7 - c * 0.4, sqrt(vx), sqrt(vy),
                                          cov / sqrt(vx * vy)};
    double a = 0, b = 0;
    ck_assert_int_eq(an_outside_circle(&at, 2.5, &a), AN_OK);
    ck_assert_int_eq(an_outside_circle(&other, 2.5, &b), AN_OK);
    check_close(b, a, 1e-10, "turned");
    const struct an_plane_normal mirrored = {-0.7, -0.4, 1.1, 0.6, -0.35};
    ck_assert_int_eq(an_outside_circle(&mirrored, 2.5, &b), AN_OK);
    check_close(b, a, 1e-10, "mirrored");
    const struct an_plane_normal thin = {0.5, 0, 1, 1e-7, 0}, line = {0.5, 0, 1, 0, 0};
    ck_assert_int_eq(an_outside_circle(&thin, 2, &a), AN_OK);
    ck_assert_int_eq(an_outside_circle(&line, 2, &b), AN_OK);
    check_close(a, b, 1e-9, "thin");
    check_close(b, an_normal_above(1.5) + an_normal_above(2.5), 1e-12, "a line");
    const struct an_plane_normal point = {3, 0, 0, 0, 0};
    ck_assert(an_outside_circle(&point, 2, &a) == AN_OK && a == 1);
}
END_TEST

static void make(double x[], double y[], size_t n, unsigned seed)
{
    struct draws draws = {seed};
    for (size_t i = 0; i < n; i++) {
        const double r = sqrt(-2 * log(draw_uniform(&draws)));
        const double t = 6.283185307179586 * draw_uniform(&draws);
        x[i] = 1.5 + r * cos(t);
        y[i] = -0.8 + 0.7 * r * sin(t) + 0.3 * r * cos(t);
    }
}

START_TEST(of_pairs)
{
    enum { n = 150 };
    double x[n], y[n], scratch[AN_POSITION_SCRATCH];
    make(x, y, n, 5);
    const struct an_position_circle circle = {0, 0, 4};
    struct an_position_capability c, again;
    ck_assert_int_eq(an_position_capability_of(x, y, n, &circle, 0.95, scratch, &c), AN_OK);
    double outside = 0;
    ck_assert_int_eq(an_outside_circle(&c.fit, 4, &outside), AN_OK);
    ck_assert(outside == c.outside.value);
    ck_assert(c.outside.lower < outside && outside < c.outside.upper);
    ck_assert(c.outside_centred < outside && c.pp.value > c.ppk.value);
    ck_assert(c.ppk.lower < c.ppk.value && c.ppk.value < c.ppk.upper);
    check_close(c.ppk.value, -an_normal_quantile(outside / 2) / 3, 1e-12, "index");
    check_close(c.offset, hypot(c.fit.mean_x, c.fit.mean_y), 1e-14, "offset");
    ck_assert_double_eq_tol(c.offset, hypot(1.5, 0.8), 0.25);
    check_close(c.sd_long * c.sd_short,
                c.fit.sd_x * c.fit.sd_y * sqrt(1 - c.fit.correlation * c.fit.correlation), 1e-12,
                "area");
    /* a mean on the centre: what is left is spread */
    const struct an_position_circle there = {c.fit.mean_x, c.fit.mean_y, 4};
    ck_assert_int_eq(an_position_capability_of(x, y, n, &there, 0.95, scratch, &again), AN_OK);
    check_close(again.outside.value, c.outside_centred, 1e-9, "centred");
    /* the same bits again; another order to the last digits; units and a far origin do not matter */
    ck_assert_int_eq(an_position_capability_of(x, y, n, &circle, 0.95, scratch, &again), AN_OK);
    ck_assert(again.outside.upper == c.outside.upper && again.ppk.lower == c.ppk.lower);
    for (size_t i = 0; i < n / 2; i++) {
        const double kx = x[i], ky = y[i];
        x[i] = x[n - 1 - i];
        y[i] = y[n - 1 - i];
        x[n - 1 - i] = kx;
        y[n - 1 - i] = ky;
    }
    ck_assert_int_eq(an_position_capability_of(x, y, n, &circle, 0.95, scratch, &again), AN_OK);
    check_close(again.outside.value, c.outside.value, 1e-12, "another order");
    for (size_t i = 0; i < n; i++) {
        x[i] = 1024 * x[i] + 0x1p30;
        y[i] = 1024 * y[i] - 0x1p30;
    }
    const struct an_position_circle far = {0x1p30, -0x1p30, 4096};
    ck_assert_int_eq(an_position_capability_of(x, y, n, &far, 0.95, scratch, &again), AN_OK);
    check_close(again.outside.value, c.outside.value, 1e-6, "far away, in other units");
    check_close(again.ppk.upper, c.ppk.upper, 1e-6, "bounds far away");
}
END_TEST

START_TEST(refusals)
{
    double x[8] = {1, 2, 3, 4, 5, 6, 7, 8}, y[8] = {2, 1, 4, 3, 6, 5, 8, 7};
    double line[8], scratch[AN_POSITION_SCRATCH];
    struct an_position_capability c = {.n = 99};
    const struct an_position_circle circle = {0, 0, 4}, none = {0, 0, 0}, nan = {NAN, 0, 4};
    for (int i = 0; i < 8; i++) {
        line[i] = 3 * x[i] + 1;
    }
    ck_assert_int_eq(an_position_capability_of(x, y, 2, &circle, .95, scratch, &c), AN_TOO_FEW);
    ck_assert_int_eq(an_position_capability_of(x, line, 8, &circle, .95, scratch, &c),
                     AN_NO_SPREAD);
    ck_assert_int_eq(an_position_capability_of(x, y, 8, &none, .95, scratch, &c), AN_DOMAIN);
    ck_assert_int_eq(an_position_capability_of(x, y, 8, &nan, .95, scratch, &c), AN_DOMAIN);
    ck_assert_int_eq(an_position_capability_of(x, y, 8, &circle, 1, scratch, &c), AN_DOMAIN);
    y[3] = INFINITY;
    ck_assert_int_eq(an_position_capability_of(x, y, 8, &circle, .95, scratch, &c), AN_DOMAIN);
    for (int i = 0; i < 8; i++) {
        y[i] = 5;
    }
    ck_assert_int_eq(an_position_capability_of(x, y, 8, &circle, .95, scratch, &c), AN_NO_SPREAD);
    ck_assert_uint_eq(c.n, 99);
    double outside = -1;
    const struct an_plane_normal bad[] = {
        {0, 0, -1, 1, 0}, {0, 0, 1, 1, 1.5}, {NAN, 0, 1, 1, 0}, {0, 0, INFINITY, 1, 0}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        ck_assert_int_eq(an_outside_circle(&bad[i], 1, &outside), AN_DOMAIN);
    }
    ck_assert_int_eq(an_outside_circle(&circles[0].at, -1, &outside), AN_DOMAIN);
    ck_assert(outside == -1);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("stat.position");
    TCase *tcase = tcase_create("position");
    tcase_add_loop_test(tcase, inside_circles, 0, (int)(sizeof circles / sizeof circles[0]));
    tcase_add_test(tcase, far_tail);
    tcase_add_test(tcase, turned);
    tcase_add_test(tcase, of_pairs);
    tcase_add_test(tcase, refusals);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
