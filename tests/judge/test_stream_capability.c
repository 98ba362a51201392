/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Capability of a stream: published indices through the whole path, and everything that must stand
 * in their way: no stability, no limits, no specification, no spread, too little.
 */
#include "support.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const char stations[] =
    "  bore:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      ring: {column: v, unit: mm, family: xbar_r, spec: {lower: 73.95, upper: 74.05}}\n"
    "  upper:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      ring: {column: v, unit: mm, family: xbar_r, spec: {upper: 74.05}}\n"
    "  free:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      ring: {column: v, unit: mm, family: xbar_r}\n"
    "  items:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      ring: {column: v, unit: mm, spec: {lower: 80, upper: 120}}\n"
    "  counts:\n"
    "    time: {column: at}\n"
    "    item: {kind: tile, column: tile}\n"
    "    characteristics:\n"
    "      bad: {count: k, opportunities: n, per: hundred, family: p}\n"
    "      flaws: {count: k, opportunities: n, family: u}\n";

static void setup(void)
{
    scene_open(stations);
}

/* Piston rings: Montgomery, Introduction to Statistical Quality Control, Table 6.3; data seen in
 * an open quotation. */
static const double rings[25][5] = {
    {74.03, 74.002, 74.019, 73.992, 74.008},  {73.995, 73.992, 74.001, 74.011, 74.004},
    {73.988, 74.024, 74.021, 74.005, 74.002}, {74.002, 73.996, 73.993, 74.015, 74.009},
    {73.992, 74.007, 74.015, 73.989, 74.014}, {74.009, 73.994, 73.997, 73.985, 73.993},
    {73.995, 74.006, 73.994, 74, 74.005},     {73.985, 74.003, 73.993, 74.015, 73.988},
    {74.008, 73.995, 74.009, 74.005, 74.004}, {73.998, 74, 73.99, 74.007, 73.995},
    {73.994, 73.998, 73.994, 73.995, 73.99},  {74.004, 74, 74.007, 74, 73.996},
    {73.983, 74.002, 73.998, 73.997, 74.012}, {74.006, 73.967, 73.994, 74, 73.984},
    {74.012, 74.014, 73.998, 73.999, 74.007}, {74, 73.984, 74.005, 73.998, 73.996},
    {73.994, 74.012, 73.986, 74.005, 74.007}, {74.006, 74.01, 74.018, 74.003, 74},
    {73.984, 74.002, 74.003, 74.005, 73.997}, {74, 74.01, 74.013, 74.02, 74.003},
    {73.982, 74.001, 74.015, 74.005, 73.996}, {74.004, 73.999, 73.99, 74.006, 74.009},
    {74.01, 73.989, 73.99, 74.009, 74.014},   {74.015, 74.008, 73.993, 74, 74.01},
    {73.982, 73.984, 73.995, 74.017, 74.013},
};

static void put(const char *station, int i, const double *values, size_t n)
{
    char serial[16];

    (void)station;
    (void)snprintf(serial, sizeof serial, "T-%03d", i);
    const struct scene_reading r = {.characteristic = "ring",
                                    .split = "",
                                    .serial = serial,
                                    .at_us = SCENE_START + i * AN_HOUR_US,
                                    .values = values,
                                    .n = n,
                                    .decimals = 3};
    (void)scene_measure(&r);
}

static void put_rings(const char *station)
{
    scene_file(station);
    for (int i = 0; i < 25; i++) {
        put(station, i, rings[i], 5);
    }
    scene_file_end();
}

static struct an_stream_capability capability(const char *name)
{
    const struct an_stream stream = scene_find(name);
    struct an_stream_capability c;

    OK(an_stream_capability_of(scene.store, scene.line, &stream, AN_NO_INSTANT, AN_NO_INSTANT,
                               scene.arena, &c, &scene.err));
    return c;
}

static bool noted(const struct an_stream_capability *c, const char *part)
{
    for (size_t i = 0; i < c->note_count; i++) {
        if (strstr(c->notes[i], part)) {
            return true;
        }
    }
    return false;
}

/* Specification 74.000 +- 0.05: the book prints Cp 1.66 from rounded sigma; exact constants give
 * 1.66805 and Cpk 1.62882 (base R on the same data). Overall sd 0.010198880394 (base R). */
START_TEST(rings_capable)
{
    put_rings("bore");
    (void)scene_limits("bore.ring", 0);
    scene_lock("bore.ring");
    const struct an_stream_capability c = capability("bore.ring");
    ck_assert(c.stable);
    ck_assert_ptr_null(c.why_not);
    ck_assert_double_eq_tol(c.n, 125, 0.5);
    ck_assert_int_eq(c.samples, 25);
    ck_assert_double_eq_tol(c.indices.cp.value, 1.66805001956, 1e-9);
    ck_assert_double_eq_tol(c.indices.cpk.value, 1.6288174831, 1e-9);
    ck_assert_double_eq_tol(c.basis.sigma_overall, 0.010198880394, 1e-12);
    ck_assert_double_eq_tol(c.indices.pp.value, 0.1 / 6 / 0.010198880394, 1e-9);
    ck_assert_double_lt(c.indices.cpk.lower, c.indices.cpk.value);
    ck_assert_double_gt(c.indices.cpk.upper, c.indices.cpk.value);
}
END_TEST

START_TEST(no_limits_no_cpk)
{
    put_rings("bore");
    (void)scene_limits("bore.ring", 0); /* proposed is not locked */
    const struct an_stream_capability c = capability("bore.ring");
    ck_assert(!c.stable);
    ck_assert(isnan(c.indices.cp.value) && isnan(c.indices.cpk.value));
    ck_assert(isnan(c.indices.cpk.lower));
    ck_assert_double_eq_tol(c.indices.pp.value, 0.1 / 6 / 0.010198880394, 1e-9);
    ck_assert_ptr_nonnull(strstr(c.why_not, "no limits are locked"));
    ck_assert(noted(&c, "describe the past only"));
}
END_TEST

START_TEST(limits_from_the_middle_on)
{
    put_rings("bore");
    (void)scene_limits("bore.ring", 0);
    OK(an_limits_lock(scene.store, scene_find("bore.ring").stream_id, SCENE_START + 5 * AN_HOUR_US,
                      "E. Rossi", "from the sixth on", &scene.err));
    const struct an_stream_capability c = capability("bore.ring");
    ck_assert(!c.stable);
    ck_assert_ptr_nonnull(strstr(c.why_not, "5 of the 25 samples"));
}
END_TEST

START_TEST(unstable_suppressed)
{
    double moved[5];

    put_rings("bore");
    (void)scene_limits("bore.ring", 25);
    scene_lock("bore.ring");
    scene_file("bore");
    for (int i = 25; i < 28; i++) {
        for (int k = 0; k < 5; k++) {
            moved[k] = rings[i - 25][k] + (i == 26 ? 0.02 : 0);
        }
        put("bore", i, moved, 5);
    }
    scene_file_end();
    const struct an_stream_capability c = capability("bore.ring");
    ck_assert(!c.stable);
    ck_assert_uint_eq(c.signalling, 1);
    ck_assert(isnan(c.indices.cp.value) && isnan(c.indices.cpk.value));
    ck_assert(isnan(c.indices.cpl.value) && isnan(c.indices.cpu.value));
    ck_assert(isfinite(c.indices.ppk.value));
    ck_assert_str_eq(c.why_not, "not stable: 1 of the 28 samples of the period signal");
}
END_TEST

START_TEST(one_sided_and_none)
{
    put_rings("upper");
    (void)scene_limits("upper.ring", 0);
    scene_lock("upper.ring");
    struct an_stream_capability c = capability("upper.ring");
    ck_assert(c.stable);
    ck_assert(isnan(c.indices.cp.value));
    ck_assert_double_eq_tol(c.indices.cpk.value, (74.05 - 74.001176) / 3 / 0.00999170676609, 1e-8);
    ck_assert(noted(&c, "one-sided: only an upper limit"));
    put_rings("free");
    c = capability("free.ring");
    ck_assert(isnan(c.indices.ppk.value));
    ck_assert_ptr_nonnull(strstr(c.why_not, "no specification limits"));
    ck_assert_double_eq_tol(c.basis.mean, 74.001176, 1e-9); /* what is known is told */
}
END_TEST

START_TEST(nothing_and_too_little)
{
    static const double one[1] = {74.0};
    static const double same[5] = {74.0, 74.0, 74.0, 74.0, 74.0};

    scene_file("bore");
    put("bore", 0, one, 1);
    scene_file_end();
    struct an_stream_capability c = capability("bore.ring");
    ck_assert_ptr_nonnull(strstr(c.why_not, "1 reading in the period: at least 2"));
    ck_assert(isnan(c.indices.ppk.value));
    const struct an_stream stream = scene_find("bore.ring");
    OK(an_stream_capability_of(scene.store, scene.line, &stream, SCENE_START + AN_DAY_US,
                               AN_NO_INSTANT, scene.arena, &c, &scene.err));
    ck_assert_ptr_nonnull(strstr(c.why_not, "0 readings in the period"));
    ck_assert(!c.stable);
    scene_file("upper");
    put("upper", 0, same, 5);
    put("upper", 1, same, 5);
    scene_file_end();
    c = capability("upper.ring");
    ck_assert_ptr_nonnull(strstr(c.why_not, "all 10 readings are equal"));
}
END_TEST

/*
 * Items that differ: short-term spread of single readings is inside and item to item together. With
 * within 1 and between 3 it is sqrt(10); 400 items, so the moving-range estimate of it is known to
 * about 4 %, and 4 standard errors are allowed.
 */
START_TEST(items_count_in)
{
    struct scene_random random = {77};
    const int items = 400;

    scene_file("items");
    for (int i = 0; i < items; i++) {
        double values[4];
        const double level = 100 + 3 * scene_normal(&random);
        for (int k = 0; k < 4; k++) {
            values[k] = level + scene_normal(&random);
        }
        put("items", i, values, 4);
    }
    scene_file_end();
    const struct an_stream_capability c = capability("items.ring");
    ck_assert_double_eq_tol(c.basis.sigma_within, sqrt(10), 4 * 0.045 * sqrt(10));
    ck_assert_double_eq_tol(c.basis.sigma_within, c.basis.sigma_overall, 0.25);
    ck_assert_double_gt(c.basis.df_within, 150); /* 0.6 of 400, and a little of the inside */
    ck_assert_double_lt(c.basis.df_within, 400);
}
END_TEST

/* Exact bounds: 3 of 50 by Clopper and Pearson, 0.01254859 to 0.16548195; 10 counted by Garwood,
 * 4.795389 to 18.390356. Values of base R: binom.test, poisson.test; from memory. */
START_TEST(counted_rates)
{
    scene_file("counts");
    for (int i = 0; i < 10; i++) {
        (void)scene_count("bad", "", "T-1", SCENE_START + i, i < 3, 5);
        (void)scene_count("flaws", "", "T-1", SCENE_START + i, 1, 0.1);
    }
    scene_file_end();
    struct an_stream_capability c = capability("counts.bad");
    ck_assert_ptr_nonnull(strstr(c.why_not, "counted"));
    ck_assert(noted(&c, "rate 6 (95 % bounds 1.255 to 16.55) %: 3 in 50"));
    ck_assert(isnan(c.indices.cpk.value) && isnan(c.indices.ppk.value));
    c = capability("counts.flaws");
    ck_assert(noted(&c, "rate 10 (95 % bounds 4.795 to 18.39) per opportunity: 10 in 1"));
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("stream capability");
    TCase *tc = tcase_create("capability");

    tcase_add_checked_fixture(tc, setup, scene_close);
    tcase_add_test(tc, rings_capable);
    tcase_add_test(tc, no_limits_no_cpk);
    tcase_add_test(tc, limits_from_the_middle_on);
    tcase_add_test(tc, unstable_suppressed);
    tcase_add_test(tc, one_sided_and_none);
    tcase_add_test(tc, nothing_and_too_little);
    tcase_add_test(tc, items_count_in);
    tcase_add_test(tc, counted_rates);
    suite_add_tcase(suite, tc);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_ENV);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
