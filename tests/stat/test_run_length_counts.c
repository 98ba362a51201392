/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Run lengths of charts with memory over counts: closed forms, simulations through the chart itself, and
 * large counts, which are as normal points are.
 */
#include "andamento/stat/design.h"
#include "andamento/stat/run_length.h"
#include "andamento/stat/tests.h"
#include "stat/draws.h"
#include "support.h"

#include <math.h>

static struct an_arena *arena;

static void open_arena(void)
{
    arena = an_arena_open();
    ck_assert_ptr_nonnull(arena);
}

static void close_arena(void)
{
    an_arena_close(arena);
}

static double drawn(struct an_random *random, const struct an_count_law *law)
{
    const double u = an_random_uniform(random); /* by inversion: slow and plain */
    const double mean = law->rate * law->n;
    double chance = law->proportion ? pow(1.0 - law->rate, law->n) : exp(-mean);
    double below = chance;
    double count = 0.0;
    while (u > below && count < 10000.0) {
        count += 1.0;
        chance *= law->proportion ? (law->n - count + 1.0) / count * law->rate / (1.0 - law->rate)
                                  : mean / count;
        below += chance;
    }
    return count;
}

/* The mean of so many runs of the chart that the program draws. */
static double simulated(const struct an_weighting *weighting, const struct an_count_law *law,
                        int runs, double *standard_error)
{
    struct an_random random;
    const double mean = law->rate * law->n;
    const double sigma = sqrt(mean * (law->proportion ? 1.0 - law->rate : 1.0));
    double sum = 0.0, squares = 0.0;
    an_random_start(&random, 20261125);
    for (int run = 0; run < runs; run++) {
        struct an_weighted_state state = {0};
        double length = 0.0;
        bool beyond = false;
        while (!beyond) {
            const struct an_plain_point point = {drawn(&random, law), mean, sigma};
            const struct an_weighted_point taken =
                an_weighted_take(weighting, sigma, point, &state);
            const double z = weighting->kind == AN_CUSUM
                                 ? taken.z
                                 : (taken.statistic - taken.centre) / taken.sigma;
            beyond = fabs(z) > weighting->limits;
            length += 1.0;
        }
        sum += length;
        squares += length * length;
    }
    sum /= runs;
    *standard_error = sqrt((squares / runs - sum * sum) / runs);
    return sum;
}

static const struct {
    struct an_weighting weighting;
    struct an_count_law law;
} charts[] = {
    {{.kind = AN_EWMA, .lambda = 0.2, .limits = 2.86, .steady = true}, {false, 0.057, 1.0}},
    {{.kind = AN_EWMA, .lambda = 0.2, .limits = 2.86, .steady = true}, {false, 0.004, 500.0}},
    {{.kind = AN_EWMA, .lambda = 0.1, .limits = 2.7, .steady = true}, {false, 4.0, 1.0}},
    {{.kind = AN_EWMA, .lambda = 0.2, .limits = 2.86, .steady = true}, {true, 0.01, 50.0}},
    {{.kind = AN_CUSUM, .reference = 0.5, .limits = 4.77}, {false, 0.057, 1.0}},
    {{.kind = AN_CUSUM, .reference = 0.5, .limits = 4.77}, {false, 2.0, 1.0}},
    {{.kind = AN_CUSUM, .reference = 0.5, .limits = 4.77}, {true, 0.1, 40.0}},
};

START_TEST(as_the_chart_does)
{
    double mean, se;
    ck_assert_int_eq(an_run_length_counts(&charts[_i].weighting, &charts[_i].law, arena, &mean),
                     AN_OK);
    const double told = simulated(&charts[_i].weighting, &charts[_i].law, 20000, &se);
    ck_assert_msg(fabs(mean - told) < 4.0 * se + 0.02 * told, "%g, simulated %g +- %g", mean, told,
                  se);
}
END_TEST

/* lambda 1 has no memory: the run length is that of single counts, 1 / P(beyond). [closed form; chances
 * by base R: ppois(8, 2, lower = FALSE) = 0.000237447] */
START_TEST(without_memory)
{
    const struct an_weighting weighting = {
        .kind = AN_EWMA, .lambda = 1.0, .limits = 4.5, .steady = true};
    const struct an_count_law law = {false, 2.0, 1.0}; /* limit 2 + 4.5 sqrt 2 = 8.36 */
    double mean;
    ck_assert_int_eq(an_run_length_counts(&weighting, &law, arena, &mean), AN_OK);
    check_close(mean, 1.0 / 0.00023744732826, 1e-6, "1 / P(X > 8)");
}
END_TEST

/* Many counts a sample are nearly normal. */
START_TEST(large_counts_are_normal)
{
    for (int kind = 0; kind < 2; kind++) {
        struct an_weighting weighting = an_weighting_usual(kind ? AN_CUSUM : AN_EWMA);
        const struct an_count_law law = {false, 4000.0, 1.0};
        const struct an_point_law normal = {0.0, 1.0};
        struct an_run_length run;
        double mean;
        weighting.steady = kind == 0;
        ck_assert_int_eq(an_run_length_counts(&weighting, &law, arena, &mean), AN_OK);
        ck_assert_int_eq(an_run_length_weighted(&weighting, normal, true, arena, &run), AN_OK);
        ck_assert_msg(fabs(mean / run.mean - 1.0) < 0.02, "%g, normal %g", mean, run.mean);
    }
}
END_TEST

/* The limits that are told have the run length asked for, and not much more. */
START_TEST(limits_that_hold)
{
    const struct an_count_law law = {false, 0.057, 1.0};
    for (int kind = 0; kind < 2; kind++) {
        struct an_weighting weighting = an_weighting_usual(kind ? AN_CUSUM : AN_EWMA);
        double limits, mean, se;
        weighting.steady = kind == 0;
        ck_assert_int_eq(an_limits_of_counts(&weighting, &law, 370.0, arena, &limits), AN_OK);
        ck_assert_msg(limits > weighting.limits, "%g", limits);
        weighting.limits = limits;
        mean = simulated(&weighting, &law, 5000, &se);
        ck_assert_msg(mean > 370.0 * 0.95 && mean < 600.0, "%g: %g +- %g", limits, mean, se);
    }
}
END_TEST

START_TEST(what_is_no_count)
{
    const struct an_weighting weighting = an_weighting_usual(AN_EWMA);
    static const struct an_count_law bad[] = {{false, 0.0, 1.0},
                                              {false, NAN, 1.0},
                                              {true, 1.0, 5.0},
                                              {true, 0.1, 2.5},
                                              {false, 1.0, 0.0}};
    const struct an_count_law good = {false, 1.0, 1.0};
    double mean;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        ck_assert_int_eq(an_run_length_counts(&weighting, &bad[i], arena, &mean), AN_DOMAIN);
        ck_assert(isnan(mean));
    }
    const struct an_weighting average = an_weighting_usual(AN_MOVING_AVERAGE);
    ck_assert_int_eq(an_run_length_counts(&average, &good, arena, &mean), AN_DOMAIN);
    ck_assert_int_eq(an_limits_of_counts(&weighting, &good, 0.5, arena, &mean), AN_DOMAIN);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("run lengths of counts");
    TCase *tcase = tcase_create("all");
    tcase_add_checked_fixture(tcase, open_arena, close_arena);
    tcase_set_timeout(tcase, 120);
    tcase_add_loop_test(tcase, as_the_chart_does, 0, sizeof charts / sizeof *charts);
    tcase_add_test(tcase, without_memory);
    tcase_add_test(tcase, large_counts_are_normal);
    tcase_add_test(tcase, limits_that_hold);
    tcase_add_test(tcase, what_is_no_count);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
