/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Gaps between rare events and limits of counts by chance: closed forms, R's quantiles, brute force.
 */
#include "andamento/stat/attribute_limits.h"
#include "andamento/stat/rare_events.h"
#include "andamento/stat/tests.h"
#include "support.h"

#include <math.h>
#include <stdio.h>

#define TAIL 0.00135

/* The k whose tail is exactly .00135, as the printed quantiles have it. */
static double k_of_tail(void)
{
    return -an_normal_quantile(TAIL);
}

/* ---- g ---- */

/* Failures before the event: quantiles .00135, .5, .99865 of the geometric and the negative binomial
 * distribution. [base R 4.2: qgeom, qnbinom] A gap here holds the event too: one more for each. */
static const struct {
    double p, events, low, middle, high;
} gaps[] = {
    {0.001, 1, 1, 692, 6604}, {0.01, 1, 0, 68, 657}, {0.05, 1, 0, 13, 128}, {0.02, 3, 9, 131, 537}};

START_TEST(trials_between)
{
    const struct an_gap_model model = {AN_GAP_TRIALS, 1.0 / gaps[_i].p, 30, 30};
    const double r = gaps[_i].events;
    const struct an_gap gap = {.length = gaps[_i].middle + r, .events = r};
    const struct an_gap_point point = an_gap_judge(&model, gap, k_of_tail());
    check_close(point.centre, (gaps[_i].middle + r) / r, 1e-12, "centre");
    check_close(point.ucl, (gaps[_i].high + r) / r, 1e-12, "upper limit");
    if (gaps[_i].low > 0) {
        check_close(point.lcl, (gaps[_i].low + r) / r, 1e-12, "lower limit");
    } else {
        ck_assert(isnan(point.lcl) && point.below == 0.0);
    }
    ck_assert(point.below <= TAIL && point.above <= TAIL);
}
END_TEST

/* z is beyond k exactly where the gap is beyond a limit, for every length up to far out. */
START_TEST(z_and_limits_agree)
{
    const struct an_gap_model model = {AN_GAP_TRIALS, 400.0, 30, 30};
    for (double r = 1; r <= 3; r++) {
        double last = -INFINITY;
        for (double length = r; length < 6000; length++) {
            const struct an_gap_point p =
                an_gap_judge(&model, (struct an_gap){.length = length, .events = r}, 3.0);
            ck_assert_msg((p.z < -3.0) == (p.value < p.lcl), "%g trials: z %g", length, p.z);
            ck_assert_msg((p.z > 3.0) == (p.value > p.ucl), "%g trials: z %g", length, p.z);
            ck_assert(p.z >= last);
            last = p.z;
        }
    }
}
END_TEST

/* ---- samples of many opportunities ---- */

/* Samples of n opportunities of which each counts an event with chance 1 / mean: the number of samples
 * to the next with any is geometric, the events in it binomial without 0, and both independent. */
static const struct {
    double n, mean;
} samples[] = {{1, 50}, {100, 10000}, {800, 14000}, {100, 1000}, {100, 300}};

/* How often each side of the centre and of the limits is met, summed over all that can come. Half of
 * the gaps must lie on each side up to the step of one sample, or runs speak by luck; beyond the limits
 * no more than the tails, below of several laws. Were places taken as known, 0.00151 of the last row
 * would lie above. */
START_TEST(places_in_a_sample)
{
    const double n = samples[_i].n;
    const struct an_gap_model model = {AN_GAP_TRIALS, samples[_i].mean, 30, 30};
    const double p = 1.0 / model.mean;
    const double any = -expm1(n * log1p(-p));
    double below = 0, under = 0, over = 0, all = 0;
    double wait = any; /* chance that the k-th sample is the first with an event */
    for (double k = 1; k * n < 40.0 * model.mean; k++, wait *= 1.0 - any) {
        double chance = exp(n * log1p(-p)) / any; /* of so many events in a sample with any */
        for (double events = 1; events <= 12 && events <= n; events++) {
            chance *= (n - events + 1.0) / events * p / (1.0 - p);
            const struct an_gap gap = {k * n, events, n};
            const struct an_gap_point point = an_gap_judge(&model, gap, 3.0);
            ck_assert((point.z < -3.0) == (point.value < point.lcl));
            ck_assert((point.z > 3.0) == (point.value > point.ucl));
            all += wait * chance;
            below += point.z < 0 ? wait * chance : 0;
            under += point.z < -3.0 ? wait * chance : 0;
            over += point.z > 3.0 ? wait * chance : 0;
        }
    }
    check_close(all, 1.0, 1e-9, "everything that can come");
    ck_assert_msg(fabs(below - 0.5) < 0.5 * any + 0.01, "%g of %g: %g below", n, model.mean, below);
    ck_assert_msg(over <= 0.00135 && under <= 0.0028, "%g of %g: beyond %g and %g", n, model.mean,
                  under, over);
}
END_TEST

/* ---- t ---- */

START_TEST(time_between)
{
    /* exponential, mean 100: -100 log(1 - q) [closed form; R prints .135091, 69.3147, 660.765] */
    const struct an_gap_model model = {AN_GAP_TIME, 100.0, 30, 30};
    const struct an_gap_point p =
        an_gap_judge(&model, (struct an_gap){.length = 50.0, .events = 1.0}, k_of_tail());
    check_close(p.lcl, 0.135091207096, 1e-11, "lower");
    check_close(p.centre, 69.314718056, 1e-11, "median");
    check_close(p.ucl, 660.765068653, 1e-11, "upper");
    check_close(p.z, an_normal_quantile(-expm1(-0.5)), 1e-12, "z");
    /* Nelson's power: moments by gamma functions and three sigmas turned back [base R 4.2] */
    double mean, sd;
    an_gap_power_moments(1.0, &mean, &sd);
    check_close(mean, 0.901105683282, 1e-11, "mean");
    check_close(sd, 0.278020287045, 1e-11, "sd");
    an_gap_power_moments(100.0, &mean, &sd);
    check_close(an_gap_power_back(mean - 3.0 * sd), 0.00595545400627, 1e-10, "lower, by power");
    check_close(an_gap_power_back(mean + 3.0 * sd), 727.157010983, 1e-11, "upper, by power");
    check_close(an_gap_power(100.0), pow(100.0, 0.2777777777777778), 1e-14, "1 / 3.6");
    check_close(an_gap_power_back(an_gap_power(12.5)), 12.5, 1e-13, "and back");
}
END_TEST

START_TEST(gaps_that_cannot_be)
{
    struct an_gap_model model;
    const struct an_gap good[] = {{400, 1, 0}, {100, 1, 0}, {1000, 3, 0}};
    ck_assert_int_eq(an_gap_learn(AN_GAP_TRIALS, good, 3, &model), AN_OK);
    check_close(model.mean, 300.0, 1e-15, "1500 trials, 5 events");
    ck_assert(model.events == 5.0);
    ck_assert_int_eq(an_gap_learn(AN_GAP_TRIALS, good, 1, &model), AN_TOO_FEW);
    static const struct an_gap bad[] = {{0, 1, 0}, {-3, 1, 0},  {2.5, 1, 0}, {2, 3, 0},
                                        {9, 0, 0}, {9, 1.5, 0}, {9, 1, -1}};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        const struct an_gap two[] = {good[0], bad[i]};
        ck_assert_int_eq(an_gap_learn(AN_GAP_TRIALS, two, 2, &model), AN_DOMAIN);
        model = (struct an_gap_model){AN_GAP_TRIALS, 300.0, 3, 5};
        ck_assert(isnan(an_gap_judge(&model, bad[i], 3.0).z));
    }
    const struct an_gap hours[] = {{2.5, 1, 0}, {0.5, 3, 0}};
    ck_assert_int_eq(an_gap_learn(AN_GAP_TIME, hours, 2, &model), AN_OK);
    check_close(model.mean, 0.75, 1e-15, "3 hours, 4 events");
}
END_TEST

/* ---- counts ---- */

START_TEST(counts_by_chance)
{
    struct an_probability_limits limits;
    /* wafer defects, mean 16 [e-Handbook 6.3.3.1]: qpois .00135 and .99865 are 5 and 29 [base R 4.2] */
    const struct an_count_law wafers = {false, 16.0, 1.0};
    ck_assert_int_eq(an_probability_limits(&wafers, TAIL, &limits), AN_OK);
    ck_assert(limits.lcl == 5.0 && limits.ucl == 29.0);
    check_close(limits.below, an_poisson_below(4.0, 16.0), 1e-13, "chance below");
    check_close(limits.above, 1.0 - an_poisson_below(29.0, 16.0), 1e-10, "chance above");
    /* the chart of three sigmas ends at 4 and 28; the 3rd wafer stood on 28 and is in by both */
    ck_assert(fabs(an_probability_z(&wafers, 28.0, 3.0)) <= 3.0);
    ck_assert(an_probability_z(&wafers, 31.0, 3.0) > 3.0);

    /* misregistered chips, p-bar .231333 of 50 [e-Handbook 6.3.3.2]: brute force over all counts */
    const struct an_count_law chips = {true, 347.0 / 1500.0, 50.0};
    ck_assert_int_eq(an_probability_limits(&chips, TAIL, &limits), AN_OK);
    double below = 0.0, chance = pow(1.0 - chips.rate, 50.0);
    for (double count = 0; count <= 50; count++) {
        const double above = 1.0 - below - chance; /* P(X > count) */
        const double z = an_probability_z(&chips, count, k_of_tail());
        ck_assert_int_eq(z > k_of_tail(), count > limits.ucl);
        ck_assert_int_eq(z < -k_of_tail(), count < limits.lcl);
        if (count == limits.ucl) {
            ck_assert(above <= TAIL);
            check_close(limits.above, above, 1e-9, "above");
        } else if (count == limits.ucl - 1.0) {
            ck_assert(above > TAIL);
        }
        if (count == limits.lcl) {
            ck_assert(below <= TAIL && below + chance > TAIL);
            check_close(limits.below, below, 1e-9, "below");
        }
        below += chance;
        chance *= (50.0 - count) / (count + 1.0) * chips.rate / (1.0 - chips.rate);
    }
}
END_TEST

START_TEST(counts_have_ends)
{
    struct an_probability_limits limits;
    ck_assert_int_eq(an_probability_limits(&(struct an_count_law){false, 0.02, 1.0}, TAIL, &limits),
                     AN_OK);
    ck_assert(isnan(limits.lcl) && limits.below == 0.0 && limits.ucl == 1.0);
    ck_assert_int_eq(an_probability_limits(&(struct an_count_law){true, 0.9, 10.0}, TAIL, &limits),
                     AN_OK);
    ck_assert(isnan(limits.ucl)); /* even all ten are no wonder */
    static const struct an_count_law bad[] = {{true, 0.1, 10.5},
                                              {true, 1.1, 10.0},
                                              {true, -0.1, 10.0},
                                              {false, 1.0, 0.0},
                                              {false, NAN, 1.0}};
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        ck_assert_int_eq(an_probability_limits(&bad[i], TAIL, &limits), AN_DOMAIN);
        ck_assert(isnan(an_probability_z(&bad[i], 3.0, 3.0)));
    }
    ck_assert_int_eq(an_probability_limits(&(struct an_count_law){true, 0.1, 10.0}, 0.5, &limits),
                     AN_DOMAIN);
}
END_TEST

START_TEST(scatter_changes)
{
    struct an_scatter_change c;
    /* F(9, 14) is beyond 3.21 with chance .025 [printed F tables, from memory] */
    ck_assert_int_eq(
        an_scatter_change_of((struct an_scatter){1.0, 14}, (struct an_scatter){3.21, 9}, 0.95, &c),
        AN_OK);
    ck_assert_double_eq_tol(c.p, 0.05, 2e-4);
    ck_assert_double_eq_tol(c.lower, 1.0, 2e-3);
    ck_assert_int_eq(
        an_scatter_change_of((struct an_scatter){2.0, 20}, (struct an_scatter){2.0, 20}, 0.95, &c),
        AN_OK);
    check_close(c.p, 1.0, 1e-12, "nothing changed");
    ck_assert_int_eq(
        an_scatter_change_of((struct an_scatter){0.0, 20}, (struct an_scatter){2.0, 20}, 0.95, &c),
        AN_NO_SPREAD);
    ck_assert_int_eq(
        an_scatter_change_of((struct an_scatter){1.0, 0}, (struct an_scatter){2.0, 20}, 0.95, &c),
        AN_DOMAIN);
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("rare events and limits by chance");
    TCase *tcase = tcase_create("all");
    tcase_add_loop_test(tcase, trials_between, 0, sizeof gaps / sizeof *gaps);
    tcase_add_test(tcase, z_and_limits_agree);
    tcase_add_loop_test(tcase, places_in_a_sample, 0, sizeof samples / sizeof *samples);
    tcase_add_test(tcase, time_between);
    tcase_add_test(tcase, gaps_that_cannot_be);
    tcase_add_test(tcase, counts_by_chance);
    tcase_add_test(tcase, counts_have_ends);
    tcase_add_test(tcase, scatter_changes);
    suite_add_tcase(suite, tcase);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
