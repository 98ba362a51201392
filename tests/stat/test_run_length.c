/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Run lengths: published tables, closed forms, and simulation by the very code that judges.
 */
#include "andamento/stat/run_length.h"
#include "andamento/stat/tests.h"
#include "andamento/stat/time_weighted.h"
#include "support.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct an_point_law in_control = {0.0, 1.0};

static struct an_rule_choice rules_of(unsigned set, int run_length, int trend_length)
{
    struct an_rule_choice choice = {.run_length = run_length, .trend_length = trend_length};
    for (int i = 0; i < AN_RULE_COUNT; i++) {
        choice.on[i] = set >> i & 1;
    }
    return choice;
}

static struct an_run_length of_rules(struct an_rule_choice choice, double k,
                                     struct an_point_law law, enum an_run_start start)
{
    struct an_arena *arena = an_arena_open();
    struct an_rule_chain *chain;
    struct an_run_length run;
    ck_assert_int_eq(an_rule_chain_open(&choice, k, arena, &chain), AN_OK);
    ck_assert_int_eq(an_run_length_rules(chain, law, start, false, arena, &run), AN_OK);
    an_arena_close(arena);
    return run;
}

static struct an_run_length of_ewma(struct an_ewma_plan plan, struct an_point_law law,
                                    enum an_run_start start)
{
    struct an_arena *arena = an_arena_open();
    struct an_run_length run;
    ck_assert_int_eq(an_run_length_ewma(&plan, law, start, arena, &run), AN_OK);
    an_arena_close(arena);
    return run;
}

static struct an_run_length of_cusum(struct an_cusum_plan plan, struct an_point_law law,
                                     enum an_run_start start)
{
    struct an_arena *arena = an_arena_open();
    struct an_run_length run;
    ck_assert_int_eq(an_run_length_cusum(&plan, law, start, arena, &run), AN_OK);
    an_arena_close(arena);
    return run;
}

static struct an_run_length of_mewma(size_t p, double lambda, double limit, double shift)
{
    struct an_arena *arena = an_arena_open();
    struct an_run_length run;
    ck_assert_int_eq(an_run_length_mewma(p, lambda, limit, shift, false, arena, &run), AN_OK);
    an_arena_close(arena);
    return run;
}

/* ---- the table ---- */

static bool begins(const char *text, const char *with)
{
    return strncmp(text, with, strlen(with)) == 0;
}

/* "runs_rules_124..." names its rules by digits, in the order of Champ and Woodall. */
static struct an_rule_choice choice_of(const char *chart, double run_length)
{
    static const int rules[] = {AN_RULE_BEYOND_LIMIT, AN_RULE_TWO_OF_THREE_BEYOND_2S,
                                AN_RULE_FOUR_OF_FIVE_BEYOND_1S, AN_RULE_RUN_ONE_SIDE};
    struct an_rule_choice choice = {.run_length = (int)run_length, .trend_length = 6};
    for (const char *c = chart + strlen("runs_rules_"); *c >= '1' && *c <= '4'; c++) {
        choice.on[rules[*c - '1']] = true;
    }
    return choice;
}

static double mean_of_row(const char *chart, double p1, double p2, double shift)
{
    const struct an_point_law law = {shift, 1.0};
    if (begins(chart, "shewhart")) {
        const double by_n = strstr(chart, "xbar") != NULL ? sqrt(p2) : 1.0;
        struct an_run_length run;
        ck_assert_int_eq(an_run_length_shewhart(p1, (struct an_point_law){shift * by_n, 1.0}, &run),
                         AN_OK);
        return run.mean;
    }
    if (begins(chart, "runs_rules_")) {
        return of_rules(choice_of(chart, p2), p1, law, AN_ZERO_STATE).mean;
    }
    if (begins(chart, "ewma_two_sided")) {
        return of_ewma((struct an_ewma_plan){.lambda = p1, .limits = p2}, law, AN_ZERO_STATE).mean;
    }
    ck_assert_msg(begins(chart, "cusum_"), "unknown chart %s", chart);
    const struct an_cusum_plan plan = {.reference = p1,
                                       .interval = p2,
                                       .head_start = strstr(chart, "fir") != NULL ? 0.5 : 0.0,
                                       .one_sided = strstr(chart, "one_sided") != NULL};
    return of_cusum(plan, law, AN_ZERO_STATE).mean;
}

/*
 * Every row to its printed digits and to 5e-9 of the other program, which printed 9 digits. Where a
 * head start and a large shift meet that program leaves the far side out, up to 6e-6.
 */
START_TEST(published_tables)
{
    struct table table = table_read("run_lengths.csv");
    ck_assert_uint_ge(table.rows, 230);
    for (size_t i = 0; i < table.rows; i++) {
        const char *chart = table_text(&table, i, "chart");
        const double p1 = table_number(&table, i, "p1"), p2 = table_number(&table, i, "p2");
        const double shift = table_number(&table, i, "shift");
        const double got = mean_of_row(chart, p1, p2, shift);
        const double far = strstr(chart, "fir") != NULL && shift >= 2.0 ? 1e-5 : 5e-9;
        check_close(got, table_number(&table, i, "computed"), far, "%s %g %g at %g", chart, p1, p2,
                    shift);
        const double printed = table_number(&table, i, "printed");
        if (!isnan(printed)) {
            ck_assert_msg(fabs(got - printed) <= table_number(&table, i, "within"),
                          "%s %g %g at %g: got %.9g, printed %g", chart, p1, p2, shift, got,
                          printed);
        }
    }
    table_free(&table);
}
END_TEST

/*
 * mewma, from memory. [Prabhu and Runger, Designing a multivariate EWMA control chart, Journal of
 * Quality Technology 29(1), 1997: their chain of 25 states is within a part in 100; Lowry, Woodall,
 * Champ and Rigdon, A multivariate exponentially weighted moving average control chart,
 * Technometrics 34(1), 1992: by simulation of 6000 runs]
 */
static const struct {
    size_t p;
    double lambda, limit, printed[6]; /* at shifts 0, .5, 1, 1.5, 2, 3 */
} mewma_printed[] = {
    {2, 0.10, 8.64, {199.98, 28.07, 10.15, 6.11, 4.42, 2.93}},
    {2, 0.20, 9.65, {199.91, 35.17, 10.20, 5.49, 3.78, 2.42}},
    {2, 0.30, 10.08, {199.91, 44.10, 11.36, 5.48, 3.56, 2.20}},
    {4, 0.10, 12.73, {200.12, 35.11, 12.17, 7.22, 5.19, 3.41}},
    {2, 0.10, 8.66, {200.0, 28.1, 10.2, 6.12, 4.41, 2.92}},
};

START_TEST(mewma_tables)
{
    const double shifts[] = {0.0, 0.5, 1.0, 1.5, 2.0, 3.0};
    for (size_t i = 0; i < sizeof mewma_printed / sizeof mewma_printed[0]; i++) {
        for (size_t j = 0; j < 6; j++) {
            const double got = of_mewma(mewma_printed[i].p, mewma_printed[i].lambda,
                                        mewma_printed[i].limit, shifts[j])
                                   .mean;
            check_close(got, mewma_printed[i].printed[j], 0.0125, "p %zu lambda %g at %g",
                        mewma_printed[i].p, mewma_printed[i].lambda, shifts[j]);
        }
    }
}
END_TEST

/* ---- closed forms ---- */

/* lambda = 1 remembers nothing: the ewma is the single limits, the mewma a chi-square test. */
START_TEST(no_memory_is_shewhart)
{
    for (double shift = 0.0; shift <= 3.0; shift += 0.75) {
        struct an_run_length single;
        const struct an_point_law law = {shift, 1.25};
        ck_assert_int_eq(an_run_length_shewhart(2.7, law, &single), AN_OK);
        const struct an_run_length e =
            of_ewma((struct an_ewma_plan){.lambda = 1.0, .limits = 2.7}, law, AN_ZERO_STATE);
        const struct an_run_length x = of_ewma(
            (struct an_ewma_plan){.lambda = 1.0, .limits = 2.7, .exact = true}, law, AN_ZERO_STATE);
        const struct an_run_length r = of_rules(rules_of(1, 9, 6), 2.7, law, AN_ZERO_STATE);
        const struct an_run_length all[] = {e, x, r};
        for (size_t i = 0; i < 3; i++) {
            check_close(all[i].mean, single.mean, 1e-11, "mean %zu", i);
            check_close(all[i].sd, single.sd, 1e-9, "sd %zu", i);
            ck_assert_msg(all[i].q05 == single.q05 && all[i].q50 == single.q50 &&
                              all[i].q95 == single.q95,
                          "quantiles %zu at %g: %g %g %g not %g %g %g", i, shift, all[i].q05,
                          all[i].q50, all[i].q95, single.q05, single.q50, single.q95);
        }
    }
    check_close(of_mewma(2, 1.0, 10.597, 0.0).mean, exp(10.597 / 2.0), 1e-10, "chi-square, 2");
    check_close(of_mewma(3, 1.0, 12.0, 0.0).mean, 1.0 / an_chi_square_above(12.0, 3.0), 1e-10,
                "chi-square, 3");
    /* two dimensions of the net against one: a shift of next to nothing */
    check_close(of_mewma(2, 0.2, 9.65, 1e-9).mean, of_mewma(2, 0.2, 9.65, 0.0).mean, 1e-7, "2-D");
    check_close(of_mewma(5, 0.3, 15.0, 1e-9).mean, of_mewma(5, 0.3, 15.0, 0.0).mean, 1e-7, "2-D");
}
END_TEST

/* A run of r points on one side: 2^r - 1 tosses of a coin, for either side (Feller, An Introduction
 * to Probability Theory, XIII.7; from memory). k so small that the interval of a cusum is 0: a
 * geometric law. */
START_TEST(coins_and_ladders)
{
    for (int length = 7; length <= 12; length++) {
        const struct an_run_length run = of_rules(rules_of(1U << AN_RULE_RUN_ONE_SIDE, length, 6),
                                                  3.0, in_control, AN_ZERO_STATE);
        check_close(run.mean, pow(2.0, length) - 1.0, 1e-11, "run of %d", length);
    }
    /* 8 outside 1 sigma: (1 - p^8) / (q p^8) */
    const double p = 2.0 * an_normal_above(1.0);
    check_close(
        of_rules(rules_of(1U << AN_RULE_AVOIDING_CENTRE, 9, 6), 3.0, in_control, AN_ZERO_STATE)
            .mean,
        (1.0 - pow(p, 8)) / ((1.0 - p) * pow(p, 8)), 1e-10, "avoiding");
    check_close(
        of_rules(rules_of(1U << AN_RULE_HUGGING_CENTRE, 9, 6), 3.0, in_control, AN_ZERO_STATE).mean,
        (1.0 - pow(1 - p, 15)) / (p * pow(1 - p, 15)), 1e-10, "hugging");
    const struct an_run_length cusum =
        of_cusum((struct an_cusum_plan){.reference = 2.0, .interval = 1e-9, .one_sided = true},
                 in_control, AN_ZERO_STATE);
    check_close(cusum.mean, 1.0 / an_normal_above(2.0), 1e-8, "cusum without interval");
    /* ranks only: a trend's run length does not depend on the law */
    const struct an_point_law moved = {0.8, 2.0};
    const struct an_rule_choice trend = rules_of(1U << AN_RULE_STEADY_TREND, 9, 6);
    check_close(of_rules(trend, 3.0, moved, AN_ZERO_STATE).mean,
                of_rules(trend, 3.0, in_control, AN_ZERO_STATE).mean, 1e-12, "trend");
}
END_TEST

/* ---- simulation by the code that judges ---- */

struct tally {
    double n, mean, squares;
};

static void tally_add(struct tally *t, double x)
{
    const double step = x - t->mean;
    t->n += 1.0;
    t->mean += step / t->n;
    t->squares += step * (x - t->mean);
}

static void check_tally(const struct tally *t, const struct an_run_length *exact, const char *what)
{
    const double sd = sqrt(t->squares / (t->n - 1.0)), error = sd / sqrt(t->n);
    ck_assert_msg(fabs(t->mean - exact->mean) < 4.0 * error,
                  "%s: simulated %g with standard error %g, exact %.9g", what, t->mean, error,
                  exact->mean);
    if (!isnan(exact->sd)) { /* a run length's kurtosis is near that of an exponential: 9 */
        ck_assert_msg(fabs(sd / exact->sd - 1.0) < 4.0 * sqrt(2.0 / t->n),
                      "%s: simulated sd %g, exact %.9g", what, sd, exact->sd);
    }
}

enum { STRETCH = 512 };

/* The first point at which an_rules_apply() tells a hit. */
static double run_by_rules(const struct an_rule_choice *choice, double k, struct an_point_law law,
                           struct an_random *random)
{
    static double z[1 << 16];
    size_t n = 0;
    for (;;) {
        const size_t from = n;
        ck_assert_uint_le(n + STRETCH, sizeof z / sizeof z[0]);
        while (n < from + STRETCH) {
            z[n++] = law.mean + law.sd * an_random_normal(random);
        }
        const size_t back = from > 32 ? from - 32 : 0; /* more than any rule's memory */
        struct an_rule_hit hit;
        size_t count;
        ck_assert_int_eq(an_rules_apply(z + back, NULL, NULL, n - back, k, choice, &hit, 1, &count),
                         AN_OK);
        if (count > 0) {
            return (double)(back + hit.last + 1);
        }
    }
}

/* Sets of rules against rules.c itself, in control and shifted. */
START_TEST(rules_by_simulation)
{
    static const struct {
        unsigned set;
        int run, trend;
        double k, mean, sd;
    } cases[] = {
        {0x10, 9, 6, 3.0, 0.0, 1.0}, {0x20, 9, 6, 3.0, 0.0, 1.0},   {0x30, 9, 7, 3.0, 0.0, 1.0},
        {0xFF, 9, 6, 3.0, 0.0, 1.0}, {0xFF, 8, 7, 2.5, 0.7, 1.1},   {0x0F, 7, 6, 3.0, 0.4, 1.0},
        {0x33, 9, 6, 3.0, 0.5, 0.9}, {0xC1, 9, 6, 3.0, 0.0, 1.0},   {0x1C, 10, 6, 1.5, 0.2, 1.0},
        {0xEE, 9, 8, 3.0, 0.0, 0.5}, {0x5A, 12, 9, 3.0, -0.6, 1.2},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const struct an_rule_choice choice = rules_of(cases[i].set, cases[i].run, cases[i].trend);
        const struct an_point_law law = {cases[i].mean, cases[i].sd};
        const struct an_run_length exact = of_rules(choice, cases[i].k, law, AN_ZERO_STATE);
        struct an_random random;
        struct tally tally = {0};
        char what[40];
        an_random_start(&random, 1000 + i);
        for (int run = 0; run < 2500; run++) {
            tally_add(&tally, run_by_rules(&choice, cases[i].k, law, &random));
        }
        snprintf(what, sizeof what, "rules %02x", cases[i].set);
        check_tally(&tally, &exact, what);
    }
}
END_TEST

/* Charts with memory against an_weighted_take(). */
static void weighted_by_simulation(struct an_weighting weighting, struct an_point_law law,
                                   const struct an_run_length *exact, uint64_t seed,
                                   const char *what)
{
    struct an_random random;
    struct tally tally = {0};
    an_random_start(&random, seed);
    for (int run = 0; run < 6000; run++) {
        struct an_weighted_state state = {0};
        for (double t = 1.0;; t += 1.0) {
            const struct an_plain_point plain = {law.mean + law.sd * an_random_normal(&random), 0.0,
                                                 1.0};
            const struct an_weighted_point p = an_weighted_take(&weighting, 1.0, plain, &state);
            if (fabs(p.statistic) > weighting.limits * p.sigma) {
                tally_add(&tally, t);
                break;
            }
        }
    }
    check_tally(&tally, exact, what);
}

START_TEST(memory_by_simulation)
{
    const struct an_point_law laws[] = {{0.0, 1.0}, {0.7, 1.0}, {-1.5, 1.3}};
    for (size_t i = 0; i < 3; i++) {
        for (int head = 0; head <= 1; head++) {
            const double f = 0.5 * head;
            const struct an_run_length e = of_ewma(
                (struct an_ewma_plan){.lambda = 0.2, .limits = 2.5, .head_start = f, .exact = true},
                laws[i], AN_ZERO_STATE);
            weighted_by_simulation(
                (struct an_weighting){
                    .kind = AN_EWMA, .lambda = 0.2, .limits = 2.5, .head_start = f},
                laws[i], &e, 7 + i, head ? "ewma, head start" : "ewma, exact");
            const struct an_run_length c =
                of_cusum((struct an_cusum_plan){.reference = 0.5, .interval = 3.5, .head_start = f},
                         laws[i], AN_ZERO_STATE);
            weighted_by_simulation(
                (struct an_weighting){
                    .kind = AN_CUSUM, .reference = 0.5, .limits = 3.5, .head_start = f},
                laws[i], &c, 70 + i, head ? "cusum, head start" : "cusum");
        }
        struct an_run_length m;
        ck_assert_int_eq(an_run_length_moving_average(5, 2.6, laws[i], 20000, 3, &m), AN_OK);
        ck_assert(m.standard_error > 0.0);
        const struct an_run_length without_sd = {m.mean, NAN, NAN, NAN, NAN, 0.0};
        weighted_by_simulation(
            (struct an_weighting){.kind = AN_MOVING_AVERAGE, .span = 5, .limits = 2.6}, laws[i],
            &without_sd, 700 + i, "moving average");
    }
}
END_TEST

START_TEST(mewma_by_simulation)
{
    const double lambda = 0.15, limit = 9.0, shifts[] = {0.0, 0.8};
    for (size_t i = 0; i < 2; i++) {
        struct an_random random;
        struct tally tally = {0};
        const struct an_run_length exact = of_mewma(3, lambda, limit, shifts[i]);
        an_random_start(&random, 40 + i);
        for (int run = 0; run < 8000; run++) {
            double e[3] = {0.0, 0.0, 0.0};
            for (double t = 1.0;; t += 1.0) {
                double squares = 0.0;
                for (size_t j = 0; j < 3; j++) {
                    const double z = shifts[i] / sqrt(3.0) + an_random_normal(&random);
                    e[j] = lambda * z + (1.0 - lambda) * e[j];
                    squares += e[j] * e[j];
                }
                if (squares > limit * lambda / (2.0 - lambda)) {
                    tally_add(&tally, t);
                    break;
                }
            }
        }
        check_tally(&tally, &exact, "mewma");
    }
}
END_TEST

/* Quantiles: so many of 20,000 simulated runs end by them. */
START_TEST(quantiles_by_simulation)
{
    const struct an_cusum_plan plan = {.reference = 0.5, .interval = 4.0, .head_start = 0.5};
    const struct an_run_length exact =
        of_cusum(plan, (struct an_point_law){0.3, 1.0}, AN_ZERO_STATE);
    const double quantile[] = {exact.q05, exact.q50, exact.q95}, level[] = {0.05, 0.5, 0.95};
    double upto[3] = {0}, below[3] = {0};
    struct an_random random;
    an_random_start(&random, 9);
    const struct an_weighting w = {
        .kind = AN_CUSUM, .reference = 0.5, .limits = 4.0, .head_start = 0.5};
    for (int run = 0; run < 20000; run++) {
        struct an_weighted_state state = {0};
        double t = 0.0;
        do {
            const struct an_plain_point plain = {0.3 + an_random_normal(&random), 0.0, 1.0};
            (void)an_weighted_take(&w, 1.0, plain, &state);
            t += 1.0;
        } while (state.signalled == 0.0);
        for (size_t q = 0; q < 3; q++) {
            upto[q] += t <= quantile[q];
            below[q] += t < quantile[q];
        }
    }
    for (size_t q = 0; q < 3; q++) {
        const double error = sqrt(level[q] * (1.0 - level[q]) / 20000.0);
        ck_assert_msg(upto[q] / 20000.0 > level[q] - 4.0 * error &&
                          below[q] / 20000.0 < level[q] + 4.0 * error,
                      "quantile %g: %g, simulated %g to %g", level[q], quantile[q],
                      below[q] / 20000.0, upto[q] / 20000.0);
    }
}
END_TEST

/* ---- steady state ---- */

/*
 * In control, conditional on no signal for 60 points, the rest of the run is as from the steady
 * state; a one-sided cusum, sets of rules and an ewma are simulated so.
 */
START_TEST(steady_state)
{
    const struct an_point_law law = {1.0, 1.0};
    const struct an_cusum_plan one = {.reference = 0.5, .interval = 4.0, .one_sided = true};
    struct an_run_length simulated, exact = of_cusum(one, law, AN_STEADY_STATE);
    ck_assert_int_eq(an_run_length_cusum_simulated(&one, law, 60, 20000, 5, &simulated), AN_OK);
    ck_assert_msg(fabs(exact.mean - simulated.mean) < 4.0 * simulated.standard_error,
                  "cusum: %g, simulated %g +- %g", exact.mean, simulated.mean,
                  simulated.standard_error);
    ck_assert(exact.mean < of_cusum(one, law, AN_ZERO_STATE).mean);

    const unsigned sets[] = {0x09, 0x0F, 0x11, 0x31};
    for (size_t i = 0; i < 4; i++) {
        const struct an_rule_choice choice = rules_of(sets[i], 8, 6);
        struct tally tally = {0};
        struct an_random random;
        an_random_start(&random, 11 + i);
        while (tally.n < 4000.0) {
            double z[200];
            struct an_rule_hit hit;
            size_t count;
            for (size_t t = 0; t < 200; t++) {
                z[t] = (t >= 60 ? law.mean : 0.0) + an_random_normal(&random);
            }
            ck_assert_int_eq(an_rules_apply(z, NULL, NULL, 200, 3.0, &choice, &hit, 1, &count),
                             AN_OK);
            if (count > 0 && hit.last >= 60) {
                tally_add(&tally, (double)hit.last - 59.0);
            }
        }
        exact = of_rules(choice, 3.0, law, AN_STEADY_STATE);
        /* runs beyond 140 points are lost: so few that they do not show */
        char what[40];
        snprintf(what, sizeof what, "steady rules %02x", sets[i]);
        if (exact.mean < 20.0) {
            check_tally(&tally, &exact, what);
        }
    }
    const struct an_ewma_plan ewma = {.lambda = 0.1, .limits = 2.814};
    const double zero = of_ewma(ewma, law, AN_ZERO_STATE).mean;
    const double steady = of_ewma(ewma, law, AN_STEADY_STATE).mean;
    ck_assert(steady < zero && steady > 0.9 * zero);
    struct tally tally = {0};
    struct an_random random;
    an_random_start(&random, 19);
    while (tally.n < 4000.0) {
        double e = 0.0;
        for (int t = 1;; t++) {
            e += 0.1 * ((t > 80 ? 1.0 : 0.0) + an_random_normal(&random) - e);
            if (fabs(e) > 2.814 * sqrt(0.1 / 1.9)) {
                if (t > 80) {
                    tally_add(&tally, t - 80.0);
                }
                break;
            }
        }
    }
    const struct an_run_length from_steady = {steady, NAN, NAN, NAN, NAN, 0.0};
    check_tally(&tally, &from_steady, "steady ewma");
}
END_TEST

/* ---- discrete statistics ---- */

/* Counts: a c chart of mean 9 by Poisson chances, its rules against simulation by rules.c. */
START_TEST(counts)
{
    double z[60], chance[60], below = 0.0;
    for (size_t i = 0; i < 60; i++) {
        const double upto = i < 59 ? an_poisson_below((double)i, 9.0) : 1.0;
        z[i] = ((double)i - 9.0) / 3.0;
        chance[i] = upto - below;
        below = upto;
    }
    const unsigned sets[] = {0x01, 0x09, 0x0F, 0x19, 0xFF};
    for (size_t s = 0; s < 5; s++) {
        const struct an_rule_choice choice = rules_of(sets[s], 9, 6);
        struct an_arena *arena = an_arena_open();
        struct an_rule_chain *chain;
        struct an_run_length exact;
        ck_assert_int_eq(an_rule_chain_open(&choice, 3.0, arena, &chain), AN_OK);
        ck_assert_int_eq(an_run_length_rules_discrete(chain, z, chance, 60, false, arena, &exact),
                         AN_OK);
        an_arena_close(arena);
        if (sets[s] == 0x01) { /* beyond 18 or below 0 */
            check_close(exact.mean, 1.0 / (1.0 - an_poisson_below(18.0, 9.0)), 1e-11, "c chart");
            continue;
        }
        struct tally tally = {0};
        struct an_random random;
        an_random_start(&random, 21 + s);
        for (int run = 0; run < 3000; run++) {
            static double points[1 << 16];
            size_t n = 0, count = 0;
            struct an_rule_hit hit;
            while (count == 0) {
                for (size_t from = n; n < from + STRETCH; n++) {
                    double u = an_random_uniform(&random);
                    size_t at = 0;
                    while (at < 59 && u > chance[at]) {
                        u -= chance[at++];
                    }
                    points[n] = z[at];
                }
                ck_assert_int_eq(
                    an_rules_apply(points, NULL, NULL, n, 3.0, &choice, &hit, 1, &count), AN_OK);
            }
            tally_add(&tally, (double)hit.last + 1.0);
        }
        char what[40];
        snprintf(what, sizeof what, "counts, rules %02x", sets[s]);
        check_tally(&tally, &exact, what);
    }
}
END_TEST

/* ---- estimated limits ---- */

static enum an_status shewhart_at(const void *plan, struct an_point_law law,
                                  struct an_arena *scratch, double *mean)
{
    struct an_run_length run;
    (void)scratch;
    const enum an_status st = an_run_length_shewhart(*(const double *)plan, law, &run);
    *mean = run.mean;
    return st;
}

/*
 * The rate of a chart with estimated limits, against baselines drawn one by one: xbar of subgroups of
 * 5 with sigma pooled. The published size of it: with 25 to 30 subgroups of 5 the false alarms are
 * about 1.3 to 1.6 times those of known limits [Quesenberry, The effect of sample size on estimated
 * limits for X-bar and X control charts, Journal of Quality Technology 25(4), 1993; from memory].
 */
START_TEST(estimated_limits)
{
    const double k = 3.0;
    struct an_arena *arena = an_arena_open();
    struct an_run_surface *surface;
    struct an_estimated_run_length got;
    ck_assert_int_eq(an_run_surface_open(shewhart_at, &k, 0.0, 21, arena, &surface), AN_OK);
    const double m[] = {10, 25, 60, 300};
    for (size_t i = 0; i < 4; i++) {
        ck_assert_int_eq(an_run_length_estimated(surface, m[i], 4.0 * m[i], &got), AN_OK);
        struct an_random random;
        struct tally rates = {0};
        double low = 0.0, high = 0.0;
        an_random_start(&random, 31 + i);
        for (int run = 0; run < 20000; run++) {
            const double df = 4.0 * m[i];
            const double v = an_random_normal(&random) / sqrt(m[i]);
            const double w = sqrt(an_chi_square_quantile(an_random_uniform(&random), df) / df) /
                             (1.0 - 0.25 / df); /* c4 to first order */
            struct an_run_length run_length;
            ck_assert_int_eq(
                an_run_length_shewhart(k, (struct an_point_law){-v / w, 1.0 / w}, &run_length),
                AN_OK);
            tally_add(&rates, 1.0 / run_length.mean);
            low += run_length.mean < got.low;
            high += run_length.mean > got.high;
        }
        const double error = sqrt(rates.squares / rates.n / rates.n);
        ck_assert_msg(fabs(rates.mean - got.rate) < 4.0 * error + 1e-4 * got.rate,
                      "m %g: %g, drawn %g +- %g", m[i], got.rate, rates.mean, error);
        ck_assert_msg(fabs(low / 20000.0 - 0.05) < 0.01 && fabs(high / 20000.0 - 0.05) < 0.01,
                      "m %g: outside %g and %g", m[i], low / 20000.0, high / 20000.0);
        check_close(got.known, 370.398347, 1e-8, "known");
        ck_assert(got.rate > 1.0 / got.known && got.low < got.known && got.high > got.known);
        if (m[i] == 25.0) {
            ck_assert(got.rate * got.known > 1.2 && got.rate * got.known < 1.7);
        }
    }
    ck_assert_int_eq(an_run_length_estimated(surface, 1e7, 1e7, &got), AN_OK);
    check_close(got.between, got.known, 1e-4, "a very long baseline");
    ck_assert_int_eq(an_run_length_estimated(surface, 1.0, 10.0, &got), AN_TOO_FEW);
    ck_assert_int_eq(an_run_length_estimated(surface, 10.0, 0.5, &got), AN_TOO_FEW);
    an_arena_close(arena);
}
END_TEST

/* ---- refusals ---- */

START_TEST(bad_plans)
{
    struct an_arena *arena = an_arena_open();
    struct an_run_length run;
    struct an_rule_chain *chain;
    const struct an_ewma_plan ewma[] = {
        {.lambda = 0.0, .limits = 3.0},
        {.lambda = 0.2, .limits = -1.0},
        {.lambda = NAN, .limits = 3.0},
        {.lambda = 0.2, .limits = 3.0, .exact = true, .one_sided = true},
        {.lambda = 0.2, .limits = 3.0, .head_start = 0.5},
    };
    for (size_t i = 0; i < sizeof ewma / sizeof ewma[0]; i++) {
        ck_assert_int_eq(an_run_length_ewma(&ewma[i], in_control, AN_ZERO_STATE, arena, &run),
                         AN_DOMAIN);
    }
    const struct an_ewma_plan good = {.lambda = 0.2, .limits = 3.0};
    const struct an_point_law bad_laws[] = {{0.0, 0.0}, {NAN, 1.0}, {0.0, INFINITY}, {0.0, 1e-9}};
    for (size_t i = 0; i < 4; i++) {
        ck_assert_int_eq(an_run_length_ewma(&good, bad_laws[i], AN_ZERO_STATE, arena, &run),
                         AN_DOMAIN);
    }
    const struct an_cusum_plan cusum[] = {
        {.reference = -0.1, .interval = 4.0},
        {.reference = 0.5, .interval = 0.0},
        {.reference = 0.5, .interval = 4.0, .head_start = 0.8},
        {.reference = 0.5, .interval = NAN},
    };
    for (size_t i = 0; i < sizeof cusum / sizeof cusum[0]; i++) {
        ck_assert_int_eq(an_run_length_cusum(&cusum[i], in_control, AN_ZERO_STATE, arena, &run),
                         AN_DOMAIN);
    }
    const struct an_cusum_plan two = {.reference = 0.5, .interval = 4.0};
    ck_assert_int_eq(an_run_length_cusum(&two, in_control, AN_STEADY_STATE, arena, &run),
                     AN_DOMAIN);
    ck_assert_int_eq(an_run_length_mewma(1, 0.1, 9.0, 0.0, true, arena, &run), AN_DOMAIN);
    ck_assert_int_eq(an_run_length_mewma(2, 0.01, 9.0, 0.0, true, arena, &run), AN_DOMAIN);
    ck_assert_int_eq(an_run_length_mewma(2, 0.1, 9.0, -1.0, true, arena, &run), AN_DOMAIN);
    struct an_rule_choice choice = rules_of(0, 9, 6);
    ck_assert_int_eq(an_rule_chain_open(&choice, 3.0, arena, &chain), AN_DOMAIN);
    choice = rules_of(1, 6, 6);
    ck_assert_int_eq(an_rule_chain_open(&choice, 3.0, arena, &chain), AN_DOMAIN);
    choice = rules_of(1, 9, 6);
    ck_assert_int_eq(an_rule_chain_open(&choice, 0.0, arena, &chain), AN_DOMAIN);
    ck_assert_int_eq(an_rule_chain_open(&choice, 3.0, arena, &chain), AN_OK);
    const double z[] = {0.0, 1.0}, chance[] = {0.5, 0.4};
    ck_assert_int_eq(an_run_length_rules_discrete(chain, z, chance, 2, true, arena, &run),
                     AN_DOMAIN);
    ck_assert_int_eq(an_run_length_moving_average(1, 3.0, in_control, 10, 1, &run), AN_DOMAIN);
    ck_assert_int_eq(an_run_length_moving_average(5, 3.0, in_control, 1, 1, &run), AN_TOO_FEW);
    an_arena_close(arena);
}
END_TEST

/* Memory may run out at any allocation: a status, nothing else. */
START_TEST(no_memory)
{
    const struct an_ewma_plan ewma = {.lambda = 0.3, .limits = 3.0, .exact = true};
    const struct an_cusum_plan cusum = {.reference = 0.5, .interval = 3.0, .mean_only = true};
    const struct an_rule_choice choice = rules_of(0x19, 9, 6);
    for (size_t k = 1; k < 400; k++) {
        struct an_arena *arena = an_arena_open();
        struct an_run_length run;
        struct an_rule_chain *chain;
        ck_assert_ptr_nonnull(arena);
        (void)an_alloc_fail_at(k, false);
        enum an_status st = an_run_length_ewma(&ewma, in_control, AN_ZERO_STATE, arena, &run);
        st = st ? st : an_run_length_cusum(&cusum, in_control, AN_ZERO_STATE, arena, &run);
        st = st ? st : an_run_length_mewma(2, 0.5, 9.0, 1.0, true, arena, &run);
        st = st ? st : an_rule_chain_open(&choice, 3.0, arena, &chain);
        st = st ? st : an_run_length_rules(chain, in_control, AN_ZERO_STATE, true, arena, &run);
        const size_t made = an_alloc_fail_at(0, false);
        an_arena_close(arena);
        if (st == AN_OK && made < k) {
            ck_assert_uint_ge(k, 3);
            return;
        }
        ck_assert_int_eq(st, AN_NO_MEMORY);
    }
    ck_abort_msg("allocations did not come to an end");
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("run lengths");
    TCase *tables = tcase_create("tables");
    tcase_set_timeout(tables, 300);
    tcase_add_test(tables, published_tables);
    tcase_add_test(tables, mewma_tables);
    tcase_add_test(tables, no_memory_is_shewhart);
    tcase_add_test(tables, coins_and_ladders);
    suite_add_tcase(suite, tables);
    TCase *simulated = tcase_create("simulated");
    tcase_set_timeout(simulated, 600);
    tcase_add_test(simulated, rules_by_simulation);
    tcase_add_test(simulated, memory_by_simulation);
    tcase_add_test(simulated, mewma_by_simulation);
    tcase_add_test(simulated, quantiles_by_simulation);
    tcase_add_test(simulated, steady_state);
    tcase_add_test(simulated, counts);
    tcase_add_test(simulated, estimated_limits);
    suite_add_tcase(suite, simulated);
    TCase *refused = tcase_create("refused");
    tcase_add_test(refused, bad_plans);
    tcase_add_test(refused, no_memory);
    suite_add_tcase(suite, refused);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
