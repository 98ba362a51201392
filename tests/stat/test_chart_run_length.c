/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How often charts of counts and spread panels speak by luck: printed tables, closed forms, sums by
 * hand, another library's distribution functions, and simulation by the code that judges.
 */
#include "andamento/stat/chart_run_length.h"
#include "andamento/stat/constants.h"
#include "andamento/stat/tests.h"
#include "support.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>

static const struct an_point_law in_control = {0.0, 1.0};

/* ---- ranges ---- */

/*
 * Percentage points of the range of n standard normals (the studentized range at infinite degrees of
 * freedom): printed to two or three digits in every table of it [Harter, Tables of range and
 * studentized range, Annals of Mathematical Statistics 31(4), 1960; from memory].
 */
static const struct {
    double n, below, w;
} percentage_points[] = {
    {2, 0.95, 2.772}, {3, 0.95, 3.314},  {4, 0.95, 3.633},  {5, 0.95, 3.858},
    {6, 0.95, 4.030}, {10, 0.95, 4.474}, {20, 0.95, 5.012}, {2, 0.99, 3.643},
    {3, 0.99, 4.120}, {4, 0.99, 4.403},  {5, 0.99, 4.603},  {10, 0.99, 5.157},
};

START_TEST(ranges_printed)
{
    const double n = percentage_points[_i].n, w = percentage_points[_i].w;
    const double below = percentage_points[_i].below;
    ck_assert(an_range_below(w - 0.0005, n) <= below && an_range_below(w + 0.0005, n) >= below);
    ck_assert(fabs(an_range_below(w, n) + an_range_above(w, n) - 1.0) < 1e-14);
}
END_TEST

/* Two: |x - y| is half normal with sd sqrt 2. The mean of a range is the integral of its tail: d2
 * [Tippett 1925]; and E W^2 = d2^2 + d3^2 that of 2 w times it. */
START_TEST(ranges_in_closed_form)
{
    for (double w = 0.01; w < 8.0; w *= 1.3) {
        check_close(an_range_above(w, 2), 2.0 * an_normal_above(w / sqrt(2.0)), 1e-13,
                    "range of two above %g", w);
    }
    for (size_t n = 2; n <= 1000; n = n < 10 ? n + 1 : n * 3) {
        const double step = 1.0 / 64.0;
        double first = 0.5, second = 0.0, d2, d3;
        for (double w = step; w < 16.0; w += step) {
            const double above = an_range_above(w, (double)n);
            first += above;
            second += 2.0 * w * above;
        }
        ck_assert(!an_d2(n, &d2) && !an_d3(n, &d3));
        /* the trapezoid rule to second order: the tail's slope at 0 is 0 for more than two */
        const double edge = n == 2 ? step / (12.0 * sqrt(3.14159265358979323846)) : 0.0;
        check_close(first * step, d2 + step * edge, 1e-7, "mean range of %zu", n);
        check_close(second * step + step * step / 6.0, d2 * d2 + d3 * d3, 1e-6, "square, %zu", n);
    }
    ck_assert(isnan(an_range_below(1.0, 1)) && isnan(an_range_above(1.0, 2.5)) &&
              isnan(an_range_above((double)NAN, 3)) && an_range_below(-1.0, 3) == 0.0);
}
END_TEST

/*
 * False alarms of R and s charts at 3 sigma, per 10,000 points, n readings. Computed in base R 4.2:
 * 1 - ptukey(D4 d2, n, Inf) (+ ptukey(D3 d2, n, Inf) where D3 > 0), and pchisq of B4 c4, B3 c4.
 */
static const struct {
    double n, of_range, of_sd;
} spread_rates[] = {
    {2, 91.52214650, 91.52214650},
    {3, 58.42954142, 56.27501355},
    {4, 49.50006942, 44.74908336},
    {5, 46.03048432, 38.99114478},
};

START_TEST(spread_panels)
{
    const double n = spread_rates[_i].n;
    const struct an_spread_panel range = {true, n, 3.0}, sd = {false, n, 3.0};
    ck_assert(fabs(1e4 * an_spread_panel_chance(&range, 1.0) - spread_rates[_i].of_range) < 1e-7);
    ck_assert(fabs(1e4 * an_spread_panel_chance(&sd, 1.0) - spread_rates[_i].of_sd) < 1e-7);
    ck_assert(an_spread_panel_chance(&sd, 1.5) > an_spread_panel_chance(&sd, 1.0));
    const struct an_spread_panel wrong = {false, 1, 3.0};
    ck_assert(isnan(an_spread_panel_chance(&wrong, 1.0)) &&
              isnan(an_spread_panel_chance(&sd, 0.0)));
}
END_TEST

/* ---- moving ranges ---- */

struct simulated {
    double mean, error;
};

static struct simulated simulate(double level, double range, struct an_point_law law, size_t runs)
{
    struct an_random random;
    double sum = 0.0, squares = 0.0;
    an_random_start(&random, 20261125);
    for (size_t run = 0; run < runs; run++) {
        double before = NAN, points = 0.0;
        for (;;) {
            const double z = law.mean + law.sd * an_random_normal(&random);
            points += 1.0;
            if (fabs(z) > level || fabs(z - before) > range) {
                break;
            }
            before = z;
        }
        sum += points;
        squares += points * points;
    }
    const double mean = sum / (double)runs;
    return (struct simulated){mean, sqrt((squares / (double)runs - mean * mean) / (double)runs)};
}

static const struct {
    double level, range, mean, sd;
} moving[] = {
    {INFINITY, 3.686, 0, 1}, {3.0, 3.686, 0, 1}, {3.0, 3.686, 1, 1},    {3.5, 3.0, 0.5, 1.3},
    {2.0, 1.0, 0, 1},        {3.0, 5.9, 0, 1},   {INFINITY, 0.5, 0, 1}, {2.5, 4.8, -0.7, 0.8},
};

START_TEST(moving_ranges)
{
    const struct an_point_law law = {moving[_i].mean, moving[_i].sd};
    struct an_arena *arena = an_arena_open();
    double mean;
    const struct simulated s = simulate(moving[_i].level, moving[_i].range, law, 200000);
    ck_assert_int_eq(
        an_run_length_moving_range(moving[_i].level, moving[_i].range, law, arena, &mean), AN_OK);
    ck_assert_msg(fabs(mean - s.mean) < 4.0 * s.error, "exact %g, simulated %g +- %g", mean, s.mean,
                  s.error);
    an_arena_close(arena);
}
END_TEST

/* Without a limit for ranges: single limits. With so wide a one that a level within its limits cannot
 * reach it: the same. Bad plans. */
START_TEST(moving_ranges_at_the_edge)
{
    struct an_arena *arena = an_arena_open();
    double mean;
    for (double shift = 0.0; shift < 3.0; shift += 0.5) {
        const struct an_point_law law = {shift, 1.0};
        struct an_run_length plain;
        ck_assert(!an_run_length_shewhart(3.0, law, &plain));
        ck_assert(!an_run_length_moving_range(3.0, (double)INFINITY, law, arena, &mean));
        check_close(mean, plain.mean, 1e-11, "no range, shift %g", shift);
        ck_assert(!an_run_length_moving_range(3.0, 6.1, law, arena, &mean));
        check_close(mean, plain.mean, 1e-11, "wide range, shift %g", shift);
    }
    ck_assert_int_eq(an_run_length_moving_range(0.0, 3.0, in_control, arena, &mean), AN_DOMAIN);
    ck_assert_int_eq(
        an_run_length_moving_range((double)INFINITY, (double)INFINITY, in_control, arena, &mean),
        AN_DOMAIN);
    ck_assert_int_eq(
        an_run_length_moving_range(3.0, 3.0, (struct an_point_law){0, 0}, arena, &mean), AN_DOMAIN);
    an_arena_close(arena);
}
END_TEST

/* ---- two panels ---- */

/* Rules and a second panel that speaks with chance q: for single limits in closed form; for runs by
 * simulation of the rules as judged. q = 0 is the chain alone. */
START_TEST(beside)
{
    struct an_arena *arena = an_arena_open();
    struct an_rule_choice rules = an_rules_default();
    struct an_rule_chain *chain;
    struct an_run_length alone;
    double mean;
    ck_assert(!an_rule_chain_open(&rules, 3.0, arena, &chain));
    ck_assert(!an_run_length_rules(chain, in_control, AN_ZERO_STATE, true, arena, &alone));
    ck_assert(!an_run_length_rules_beside(chain, in_control, 0.0, arena, &mean));
    check_close(mean, alone.mean, 1e-12, "nothing beside");
    ck_assert(!an_run_length_rules_beside(chain, in_control, 1.0, arena, &mean));
    check_close(mean, 1.0, 1e-12, "always");
    ck_assert_int_eq(an_run_length_rules_beside(chain, in_control, 1.1, arena, &mean), AN_DOMAIN);
    ck_assert(!an_run_length_rules_beside(chain, in_control, 0.00373, arena, &mean));
    struct an_random random;
    double sum = 0.0, squares = 0.0;
    enum { RUNS = 100000 };
    an_random_start(&random, 7);
    for (size_t run = 0; run < RUNS; run++) {
        double points = 0.0;
        int side = 0, in_row = 0;
        for (;;) {
            const double z = an_random_normal(&random);
            const int now = z > 0 ? 1 : -1;
            in_row = now == side ? in_row + 1 : 1;
            side = now;
            points += 1.0;
            if (fabs(z) > 3.0 || in_row >= 9 || an_random_uniform(&random) < 0.00373) {
                break;
            }
        }
        sum += points;
        squares += points * points;
    }
    const double simulated = sum / RUNS;
    const double error = sqrt((squares / RUNS - simulated * simulated) / RUNS);
    ck_assert_msg(fabs(mean - simulated) < 4.0 * error, "%g, simulated %g +- %g", mean, simulated,
                  error);
    rules.on[AN_RULE_RUN_ONE_SIDE] = false;
    ck_assert(!an_rule_chain_open(&rules, 3.0, arena, &chain));
    ck_assert(!an_run_length_rules_beside(chain, in_control, 0.01, arena, &mean));
    const double p = 2.0 * an_normal_above(3.0);
    check_close(mean, 1.0 / (1.0 - (1.0 - p) * 0.99), 1e-12, "single limits");
    an_arena_close(arena);
}
END_TEST

/* ---- charts whose limits allow for their errors ---- */

/*
 * Single limits from a mean of m values and a sigma of df degrees of freedom: by the law of a next
 * value, (x - mean) / (s sqrt(1 + 1 / m)) is t. So the expected rate is 2 P(t > k wider / (c4 ...)),
 * in closed form. P(t) is the R library's.
 */
static enum an_status single_at(const void *plan, struct an_point_law law, struct an_arena *scratch,
                                double *mean)
{
    struct an_run_length run;
    (void)scratch;
    const enum an_status st = an_run_length_shewhart(*(const double *)plan, law, &run);
    *mean = st ? (double)NAN : run.mean;
    return st;
}

START_TEST(next_value_is_t)
{
    static const struct {
        double m, df, wider;
    } baselines[] = {{25, 24, 1}, {25, 100, 1}, {50, 48, 1.02}, {100, 98, 1}, {400, 1600, 1}};
    const double k = 3.0;
    struct an_arena *arena = an_arena_open();
    struct an_run_surface *surface;
    ck_assert(!an_run_surface_open(single_at, &k, 0.0, 15, arena, &surface));
    for (size_t i = 0; i < sizeof baselines / sizeof baselines[0]; i++) {
        struct an_estimated_run_length e;
        double c4;
        const double m = baselines[i].m, df = baselines[i].df, wider = baselines[i].wider;
        ck_assert(!an_c4(df + 1.0, &c4));
        ck_assert(!an_run_length_estimated_wider(surface, m, df, wider, &e));
        /* s / (c4 sigma) is the ratio w, so limits stand at k wider s / c4 */
        const double t = k * wider / (c4 * sqrt(1.0 + 1.0 / m));
        check_close(e.rate, 2.0 * an_t_below(-t, df), 3e-7, "m %g df %g", m, df);
    }
    an_arena_close(arena);
}
END_TEST

/* ---- counts ---- */

static struct an_chart_model count_model(enum an_family family, double centre, double opportunities,
                                         size_t samples)
{
    return (struct an_chart_model){.family = family,
                                   .k = 3.0,
                                   .samples = samples,
                                   .n_nominal = 1,
                                   .centre = centre,
                                   .mean_opportunities = opportunities,
                                   .dispersion = 1.0};
}

static struct an_rule_choice only_limits(void)
{
    struct an_rule_choice rules = an_rules_default();
    rules.on[AN_RULE_RUN_ONE_SIDE] = false;
    return rules;
}

/*
 * Chances of a false alarm of a point, limits known, as sums over all counts in base R 4.2 (dbinom, dpois,
 * dnbinom with size = mean / (ratio - 1); beta-binomial by lchoose and lbeta; by chance: qpois, qbinom at
 * pnorm(-3)). The examples: wafer defects, 16 a wafer, limits 4 and 28 (e-Handbook 6.3.3.1); circuit
 * boards, 516 in 26 (Montgomery, table 7.7); orange juice cans, .2313 of 50 (the same, table 7.1); dyed
 * cloth, u about 1.93 (likewise); the numbers from memory.
 */
static const struct {
    const char *name;
    enum an_family family;
    double centre, opportunities, dispersion;
    bool probability;
    double rate;
} known[] = {
    {"wafer defects", AN_C, 16, 1, 1, false, 0.002281711795764107},
    {"circuit boards", AN_C, 516.0 / 26.0, 1, 1, false, 0.002674898529859066},
    {"5 in 50", AN_NP, 5, 50, 1, false, 0.003219921135909914},
    {"juice cans", AN_P, 0.2313, 50, 1, false, 0.0025923666084807},
    {"a colour of a tile", AN_P, 1.1e-4, 129600, 1, false, 0.003364089814358529},
    {"cloth", AN_U, 1.93, 5, 1, false, 0.005093735014264997},
    {"twice the scatter", AN_U_PRIME, 12, 1, 2, false, 0.01104309616037415},
    {"half as much again", AN_P_PRIME, 0.1, 1000, 1.5, false, 0.003223360697872814},
    {"wafers by chance", AN_C, 16, 1, 1, true, 0.001531633020531401},
    {"units by chance", AN_P, 0.03, 200, 1, true, 0.00114709530669744},
};

START_TEST(counts_known)
{
    struct an_arena *arena = an_arena_open();
    struct an_chart_model model =
        count_model(known[_i].family, known[_i].centre, known[_i].opportunities, 1000);
    const struct an_rule_choice rules = only_limits();
    struct an_estimated_run_length e;
    model.dispersion = known[_i].dispersion;
    model.probability = known[_i].probability;
    ck_assert_int_eq(an_run_length_counts_ruled(&model, &rules, arena, &e), AN_OK);
    check_close(1.0 / e.known, known[_i].rate, 1e-9, "%s", known[_i].name);
    an_arena_close(arena);
}
END_TEST

/* The mean rate over baselines, from the exact law of their total: sums over all totals in base R 4.2. */
START_TEST(counts_estimated)
{
    static const struct {
        enum an_family family;
        double centre, opportunities;
        size_t samples;
        double rate;
    } baselines[] = {{AN_C, 16, 1, 25, 0.003998891404843271},
                     {AN_C, 2.5, 1, 100, 0.006369578982959251},
                     {AN_P, 0.2313, 50, 30, 0.003263763243737595}};
    const struct an_rule_choice rules = only_limits();
    struct an_arena *arena = an_arena_open();
    for (size_t i = 0; i < sizeof baselines / sizeof baselines[0]; i++) {
        const struct an_chart_model model =
            count_model(baselines[i].family, baselines[i].centre, baselines[i].opportunities,
                        baselines[i].samples);
        struct an_estimated_run_length e;
        ck_assert_int_eq(an_run_length_counts_ruled(&model, &rules, arena, &e), AN_OK);
        check_close(e.rate, baselines[i].rate, 1e-7, "baseline %zu", i);
        check_close(e.between, 1.0 / e.rate, 1e-15, "between");
        ck_assert(e.low <= e.between && e.between <= e.high);
    }
    an_arena_close(arena);
}
END_TEST

/* With runs of nine on one side (a count on the centre breaks them): a chain of 17 states, by hand and
 * solve() in base R 4.2. */
START_TEST(counts_with_runs)
{
    const struct an_rule_choice rules = an_rules_default();
    struct an_arena *arena = an_arena_open();
    struct an_chart_model model = count_model(AN_C, 16, 1, 1000);
    struct an_estimated_run_length e;
    ck_assert(!an_run_length_counts_ruled(&model, &rules, arena, &e));
    check_close(e.known, 318.5793541340682, 1e-9, "16 a sample");
    model = count_model(AN_C, 5.65, 1, 40);
    ck_assert(!an_run_length_counts_ruled(&model, &rules, arena, &e));
    check_close(e.known, 135.1009285629373, 1e-9, "5.65 a sample");
    check_close(e.rate, 0.008351950377443466, 1e-7, "5.65, 40 samples");
    an_arena_close(arena);
}
END_TEST

/* Rules that compare neighbours, ties and counts held at a limit by chance: simulated by an_chart_judge
 * and an_rules_apply, the code that judges. */
START_TEST(counts_by_simulation)
{
    struct an_rule_choice rules = an_rules_default();
    rules.on[AN_RULE_STEADY_TREND] = rules.on[AN_RULE_TWO_OF_THREE_BEYOND_2S] = true;
    struct an_chart_model model = count_model(AN_C, 7.3, 1, 1000);
    model.probability = _i == 1;
    struct an_arena *arena = an_arena_open();
    struct an_estimated_run_length e;
    ck_assert(!an_run_length_counts_ruled(&model, &rules, arena, &e));
    enum { RUNS = 6000, MOST = 4000 };
    static double z[MOST];
    struct an_random random;
    struct an_rule_hit hits[1];
    double sum = 0.0, squares = 0.0;
    an_random_start(&random, 99);
    for (size_t run = 0; run < RUNS; run++) {
        size_t n = 0, found = 0;
        while (!found) {
            double u = an_random_uniform(&random), count = 0.0, chance = exp(-7.3);
            for (; u > chance; count += 1.0, chance *= 7.3 / count) {
                u -= chance;
            }
            const struct an_chart_sample sample = {.n = 1, .count = count, .opportunities = 1};
            ck_assert_uint_lt(n, MOST);
            z[n++] = an_chart_judge(&model, &sample, NULL).level.z;
            const size_t from = n > 30 ? n - 30 : 0;
            ck_assert(
                !an_rules_apply(z + from, NULL, NULL, n - from, 3.0, &rules, hits, 1, &found));
        }
        sum += (double)n;
        squares += (double)n * (double)n;
    }
    const double mean = sum / RUNS, error = sqrt((squares / RUNS - mean * mean) / RUNS);
    ck_assert_msg(fabs(mean - e.known) < 4.0 * error, "exact %g, simulated %g +- %g", e.known, mean,
                  error);
    an_arena_close(arena);
}
END_TEST

/* The laws: printed names, moments that are asked for, chances that add up. */
START_TEST(count_laws)
{
    static const struct an_count_spread laws[] = {
        {AN_COUNT_BINOMIAL, 129600, 14.2, 1},   {AN_COUNT_POISSON, 1, 0.03, 1},
        {AN_COUNT_BETA_BINOMIAL, 5000, 800, 6}, {AN_COUNT_NEGATIVE_BINOMIAL, 1, 25, 3.3},
        {AN_COUNT_BINOMIAL, 1, 0.25, 1},        {AN_COUNT_POISSON, 1, 1e7, 1}};
    struct an_arena *arena = an_arena_open();
    for (size_t i = 0; i < sizeof laws / sizeof laws[0]; i++) {
        const struct an_count_spread *law = &laws[i];
        const bool units = law->kind == AN_COUNT_BINOMIAL || law->kind == AN_COUNT_BETA_BINOMIAL;
        const double plain = law->mean * (units ? 1.0 - law->mean / law->n : 1.0);
        struct an_count_chances c;
        double all = 0.0, mean = 0.0, variance = 0.0;
        ck_assert(!an_count_chances_of(law, arena, &c));
        for (size_t k = 0; k < c.count; k++) {
            const double away = c.first + (double)k - law->mean;
            all += c.at[k];
            mean += c.at[k] * away;
            variance += c.at[k] * away * away;
        }
        check_close(all, 1.0, 1e-12, "sum %zu", i);
        ck_assert(fabs(mean) < 1e-10 * law->mean);
        check_close(variance, law->variance_ratio * plain, 1e-10, "variance %zu", i);
        check_close(c.below[c.count - 1], 1.0, 1e-12, "below %zu", i);
        check_close(c.above[0], 1.0, 1e-12, "above %zu", i);
    }
    an_arena_close(arena);
}
END_TEST

START_TEST(counts_refused)
{
    struct an_arena *arena = an_arena_open();
    struct an_rule_choice rules = only_limits();
    struct an_estimated_run_length e;
    struct an_chart_model model = count_model(AN_XBAR_R, 1, 1, 100);
    ck_assert_int_eq(an_run_length_counts_ruled(&model, &rules, arena, &e), AN_DOMAIN);
    model = count_model(AN_C, 4, 1, 1);
    ck_assert_int_eq(an_run_length_counts_ruled(&model, &rules, arena, &e), AN_TOO_FEW);
    model = count_model(AN_U_PRIME, 4, 1, 100);
    model.dispersion = 0.8; /* less scatter than Poisson: no such mixture */
    ck_assert_int_eq(an_run_length_counts_ruled(&model, &rules, arena, &e), AN_DOMAIN);
    model = count_model(AN_P_PRIME, 0.5, 10, 100);
    model.dispersion = 4; /* more scatter than a proportion of ten can have */
    ck_assert_int_eq(an_run_length_counts_ruled(&model, &rules, arena, &e), AN_DOMAIN);
    model = count_model(AN_C, 4, 1, 100);
    model.weighting.kind = AN_EWMA;
    ck_assert_int_eq(an_run_length_counts_ruled(&model, &rules, arena, &e), AN_DOMAIN);
    model = count_model(AN_C, 1e6, 1, 100);
    rules.on[AN_RULE_STEADY_TREND] = true;
    ck_assert_int_eq(an_run_length_counts_ruled(&model, &rules, arena, &e), AN_DOMAIN);
    rules = only_limits();
    ck_assert_int_eq(an_run_length_counts_ruled(&model, &rules, arena, &e), AN_OK);
    /* nearly normal then: 370.398 */
    ck_assert(fabs(e.known - 370.398) < 2.0);
    /* two units of one half: no count can be beyond, and nothing else is looked at */
    model = count_model(AN_NP, 1, 2, 4000);
    ck_assert_int_eq(an_run_length_counts_ruled(&model, &rules, arena, &e), AN_OK);
    ck_assert(isinf(e.known) && isinf(e.between) && e.rate == 0.0);
    for (size_t i = 0; i < AN_RULE_COUNT; i++) {
        rules.on[i] = false;
    }
    ck_assert_int_eq(an_run_length_counts_ruled(&model, &rules, arena, &e), AN_DOMAIN);
    an_arena_close(arena);
}
END_TEST

START_TEST(no_memory)
{
    const struct an_rule_choice rules = an_rules_default();
    struct an_chart_model model = count_model(AN_U_PRIME, 12, 1, 40);
    model.dispersion = 1.4;
    for (size_t k = 1; k < 4000; k++) {
        struct an_arena *arena = an_arena_open();
        struct an_estimated_run_length e;
        double mean;
        ck_assert_ptr_nonnull(arena);
        (void)an_alloc_fail_at(k, false);
        enum an_status st = an_run_length_counts_ruled(&model, &rules, arena, &e);
        st = st ? st : an_run_length_moving_range(3.0, 3.7, in_control, arena, &mean);
        const size_t made = an_alloc_fail_at(0, false);
        an_arena_close(arena);
        if (st == AN_OK && made < k) {
            ck_assert_uint_ge(k, 3);
            return;
        }
        ck_assert_int_eq(st, AN_NO_MEMORY);
        k = k > 40 ? k + 97 : k;
    }
    ck_abort_msg("allocations did not come to an end");
}
END_TEST

int main(void)
{
    Suite *suite = suite_create("run lengths of charts");
    TCase *spread = tcase_create("spread");
    tcase_set_timeout(spread, 300);
    tcase_add_loop_test(spread, ranges_printed, 0,
                        (int)(sizeof percentage_points / sizeof percentage_points[0]));
    tcase_add_test(spread, ranges_in_closed_form);
    tcase_add_loop_test(spread, spread_panels, 0,
                        (int)(sizeof spread_rates / sizeof spread_rates[0]));
    tcase_add_loop_test(spread, moving_ranges, 0, (int)(sizeof moving / sizeof moving[0]));
    tcase_add_test(spread, moving_ranges_at_the_edge);
    tcase_add_test(spread, beside);
    tcase_add_test(spread, next_value_is_t);
    suite_add_tcase(suite, spread);
    TCase *counts = tcase_create("counts");
    tcase_set_timeout(counts, 300);
    tcase_add_loop_test(counts, counts_known, 0, (int)(sizeof known / sizeof known[0]));
    tcase_add_test(counts, counts_estimated);
    tcase_add_test(counts, counts_with_runs);
    tcase_add_loop_test(counts, counts_by_simulation, 0, 2);
    tcase_add_test(counts, count_laws);
    tcase_add_test(counts, counts_refused);
    tcase_add_test(counts, no_memory);
    suite_add_tcase(suite, counts);
    SRunner *runner = srunner_create(suite);
    srunner_run_all(runner, CK_NORMAL);
    const int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed != 0;
}
