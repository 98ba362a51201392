/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The demonstration's random numbers, against published outputs of the same generators and against
 * the moments of the laws they claim to follow.
 */
#include "demo/random.h"

#include <check.h>
#include <math.h>
#include <stdlib.h>

/* splitmix64: outputs for two seeds as printed beside public implementations (from memory). */
static const struct {
    uint64_t seed, out[4];
} splitmix_rows[] = {
    {0,
     {UINT64_C(0xe220a8397b1dcdaf), UINT64_C(0x6e789e6aa1b965f4), UINT64_C(0x06c45d188009454f),
      UINT64_C(0xf88bb8a8724c81ec)}},
    {1234567,
     {UINT64_C(6457827717110365317), UINT64_C(3203168211198807973), UINT64_C(9817491932198370423),
      UINT64_C(4593380528125082431)}},
};

START_TEST(splitmix_published)
{
    uint64_t state = splitmix_rows[_i].seed;
    for (int k = 0; k < 4; k++) {
        ck_assert_uint_eq(an_demo_splitmix64(&state), splitmix_rows[_i].out[k]);
    }
}
END_TEST

/* xoshiro256** from the state 1, 2, 3, 4: outputs of the public-domain reference code, as kept in
 * the tests of several public libraries (from memory). The first is 9 * rotl(10, 7) = 11520. */
START_TEST(xoshiro_published)
{
    static const uint64_t out[] = {UINT64_C(11520),
                                   UINT64_C(0),
                                   UINT64_C(1509978240),
                                   UINT64_C(1215971899390074240),
                                   UINT64_C(1216172134540287360),
                                   UINT64_C(607988272756665600),
                                   UINT64_C(16172922978634559625),
                                   UINT64_C(8476171486693032832),
                                   UINT64_C(10595114339597558777),
                                   UINT64_C(2904607092377533576)};
    struct an_demo_random random = {.state = {1, 2, 3, 4}};
    for (size_t k = 0; k < sizeof out / sizeof out[0]; k++) {
        ck_assert_uint_eq(an_demo_random_next(&random), out[k]);
    }
}
END_TEST

/* The first three are the test values printed with Algorithm AS 241, Applied Statistics 37(3),
 * 1988; the rest stand in tables of the normal distribution to fewer digits (all from memory). */
static const struct {
    double p, z;
} quantile_rows[] = {
    {0.25, -0.6744897501960817}, {0.001, -3.090232306167814},
    {1e-20, -9.262340089798408}, {0.5, 0.0},
    {0.975, 1.959963984540054},  {0.995, 2.5758293035489004},
    {0.9, 1.2815515655446004},
};

START_TEST(quantile_published)
{
    const double z = an_demo_normal_quantile(quantile_rows[_i].p);
    ck_assert_double_eq_tol(z, quantile_rows[_i].z, 4e-15 * (1.0 + fabs(z)));
}
END_TEST

/* Upper tails of the normal distribution: Abramowitz and Stegun, table 26.1 and 26.2 (from memory);
 * the double-precision digits are those of erfc in any C library. */
static const double tail_points[] = {-3.0, -0.5, 0.0, 0.3, 1.0, 2.0, 2.4999, 2.5001, 3.0, 5.0, 8.0};

START_TEST(tail_agrees_with_erfc)
{
    const double z = tail_points[_i];
    const double outside = 0.5 * erfc(z / sqrt(2.0));
    ck_assert_double_eq_tol(an_demo_normal_tail(z), outside, 1e-10 * outside);
}
END_TEST

START_TEST(log_and_exp_agree_with_the_library)
{
    for (double x = 1e-300; x < 1e300; x *= 1.7e3) {
        ck_assert_double_eq_tol(an_demo_log(x), log(x), 4e-16 * (fabs(log(x)) + 1.0));
    }
    for (double x = 0.5; x < 1.6; x += 0.0137) {
        ck_assert_double_eq_tol(an_demo_log(x), log(x), 4e-16);
    }
    for (double x = -650.0; x < 650.0; x += 3.77) {
        ck_assert_double_eq_tol(an_demo_exp(x) / exp(x), 1.0, 1e-15);
    }
    ck_assert_double_eq(an_demo_exp(0.0), 1.0);
    ck_assert_double_eq(an_demo_log(1.0), 0.0);
}
END_TEST

/* n normal values: the mean of x^k has the standard error sqrt((E x^2k - (E x^k)^2) / n); 4.5 of
 * them leave one chance in 150,000 of a wrong alarm, and the seed is fixed. */
START_TEST(normal_moments)
{
    enum { N = 400000 };
    static const double expected[5] = {1.0, 0.0, 1.0, 0.0, 3.0};
    static const double variance[5] = {0.0, 1.0, 2.0, 15.0, 96.0}; /* 1, 3-1, 15, 105-9 */
    struct an_demo_random random = an_demo_random_of(77, 1, 2);
    double sum[5] = {0.0}, product = 0.0, last = 0.0;
    int beyond = 0;
    for (int i = 0; i < N; i++) {
        const double x = an_demo_normal(&random);
        double power = 1.0;
        for (int k = 1; k <= 4; k++) {
            power *= x;
            sum[k] += power;
        }
        beyond += fabs(x) > 3.0;
        product += x * last;
        last = x;
    }
    for (int k = 1; k <= 4; k++) {
        ck_assert_double_eq_tol(sum[k] / N, expected[k], 4.5 * sqrt(variance[k] / N));
    }
    ck_assert_double_eq_tol(product / N, 0.0, 4.5 / sqrt(N));
    const double chance = 0.0026997960632601866; /* outside 3 sigmas, common practice, no source */
    ck_assert_double_eq_tol(beyond / (double)N, chance, 4.5 * sqrt(chance / N));
}
END_TEST

static const double poisson_means[] = {0.0, 0.3, 2.0, 42.0, 180.0};

START_TEST(poisson_moments)
{
    enum { N = 100000 };
    const double mean = poisson_means[_i];
    struct an_demo_random random = an_demo_random_of(78, 1, (uint64_t)_i);
    double sum = 0.0, squares = 0.0;
    int zeros = 0;
    for (int i = 0; i < N; i++) {
        const int k = an_demo_poisson(&random, mean);
        ck_assert_int_ge(k, 0);
        sum += k;
        squares += (k - mean) * (k - mean);
        zeros += k == 0;
    }
    /* variance of (k - mean)^2 is mean + 2 mean^2 */
    ck_assert_double_eq_tol(sum / N, mean, 4.5 * sqrt(mean / N) + 1e-12);
    ck_assert_double_eq_tol(squares / N, mean, 4.5 * sqrt((mean + 2 * mean * mean) / N) + 1e-12);
    ck_assert_double_eq_tol(zeros / (double)N, exp(-mean), 4.5 * sqrt(exp(-mean) / N) + 1e-9);
}
END_TEST

START_TEST(streams_do_not_share)
{
    struct an_demo_random a = an_demo_random_of(5, 1, 0), b = an_demo_random_of(5, 1, 1),
                          c = an_demo_random_of(5, 2, 0), d = an_demo_random_of(6, 1, 0),
                          again = an_demo_random_of(5, 1, 0);
    const uint64_t first = an_demo_random_next(&a);
    ck_assert_uint_eq(first, an_demo_random_next(&again));
    ck_assert_uint_ne(first, an_demo_random_next(&b));
    ck_assert_uint_ne(first, an_demo_random_next(&c));
    ck_assert_uint_ne(first, an_demo_random_next(&d));
}
END_TEST

START_TEST(below_and_shuffle)
{
    struct an_demo_random random = an_demo_random_of(9, 9, 9);
    int seen[7] = {0}, order[7];
    for (int i = 0; i < 7000; i++) {
        const int k = an_demo_below(&random, 7);
        ck_assert_int_ge(k, 0);
        ck_assert_int_lt(k, 7);
        seen[k]++;
    }
    for (int k = 0; k < 7; k++) {
        ck_assert_int_ge(seen[k], 1000 - 140); /* 4.8 standard errors */
        ck_assert_int_le(seen[k], 1000 + 140);
        order[k] = k;
    }
    int first_place[7] = {0};
    for (int i = 0; i < 7000; i++) {
        an_demo_shuffle(&random, order, 7);
        int once = 0;
        for (int k = 0; k < 7; k++) {
            once |= 1 << order[k];
        }
        ck_assert_int_eq(once, 127);
        first_place[order[0]]++;
    }
    for (int k = 0; k < 7; k++) {
        ck_assert_int_ge(first_place[k], 1000 - 140);
        ck_assert_int_le(first_place[k], 1000 + 140);
    }
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("demo random");
    TCase *tests = tcase_create("random");
    tcase_add_loop_test(tests, splitmix_published, 0,
                        sizeof splitmix_rows / sizeof splitmix_rows[0]);
    tcase_add_test(tests, xoshiro_published);
    tcase_add_loop_test(tests, quantile_published, 0,
                        sizeof quantile_rows / sizeof quantile_rows[0]);
    tcase_add_loop_test(tests, tail_agrees_with_erfc, 0,
                        sizeof tail_points / sizeof tail_points[0]);
    tcase_add_test(tests, log_and_exp_agree_with_the_library);
    tcase_add_test(tests, normal_moments);
    tcase_add_loop_test(tests, poisson_moments, 0, sizeof poisson_means / sizeof poisson_means[0]);
    tcase_add_test(tests, streams_do_not_share);
    tcase_add_test(tests, below_and_shuffle);
    suite_add_tcase(suite, tests);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
