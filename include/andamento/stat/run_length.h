/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Run lengths: how many points a chart plots until it signals, of values that are independent and
 * normal. In control that is the time between false alarms; out of control, the delay.
 *
 * Exact means: a Markov chain or an integral equation solved to the accuracy stated, no
 * simulation. What is simulated says so and states its standard error.
 * Memory comes from the caller's arena; nothing else is kept: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_RUN_LENGTH_H
#define ANDAMENTO_STAT_RUN_LENGTH_H

#include "andamento/base/memory.h"
#include "andamento/base/status.h"
#include "andamento/stat/attribute_limits.h"
#include "andamento/stat/rules.h"
#include "andamento/stat/time_weighted.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/*
 * What the standardised points are like: z = (value - centre) / sigma with the chart's centre and
 * sigma. {0, 1} is in control with limits exactly known; a shift of d sigmas is {d, 1}; limits from
 * a mean that is v sigmas too high and a sigma that is w times the true one give {-v / w, 1 / w}.
 */
struct an_point_law {
    double mean, sd;
};

struct an_run_length {
    double mean;           /* the average run length, the point that signals included */
    double sd;             /* of the run length; NAN where it is not computed */
    double q05, q50, q95;  /* the least n with P(N <= n) >= .05, .5, .95; NAN likewise */
    double standard_error; /* of mean: 0 when exact, else that of the simulation */
};

/*
 * Where a run begins. Zero state: a fresh chart, its first point comes from `law`. Steady state:
 * the chart ran in control for long and has not signalled (the conditional, or quasi-stationary,
 * distribution of its memory); then the law changes to `law`. Only mean is given in steady state.
 */
enum an_run_start { AN_ZERO_STATE, AN_STEADY_STATE };

/* Single limits at +-k sigma. Closed form. AN_DOMAIN unless k > 0 and law.sd > 0, all finite. */
AN_CHECKED enum an_status an_run_length_shewhart(double k, struct an_point_law law,
                                                 struct an_run_length *run_length);

/*
 * ewma: e = lambda z + (1 - lambda) e, from 0; signal when |e| is beyond
 * limits * sqrt(lambda / (2 - lambda)), or, with `exact`, beyond limits * its own sd after so many
 * points. head_start f (0: none; with exact only): these limits are narrowed by the factor
 * 1 - (1 - f)^(1 + a (t - 1)), a = (-2 / log10(1 - f) - 1) / 19, at point t
 * [Steiner, EWMA control charts with time-varying control limits and fast initial response,
 * Journal of Quality Technology 31(1), 1999; from memory].
 * one_sided: e is kept from falling below 0 (the centre), and only the upper limit signals; with
 * head_start f (not exact) it begins at f times the limit [Lucas and Saccucci, Exponentially
 * weighted moving average control schemes, Technometrics 32(1), 1990; from memory].
 */
struct an_ewma_plan {
    double lambda, limits, head_start;
    bool exact, one_sided;
    bool mean_only; /* no quantiles, for speed */
};
/*
 * By Gauss-Legendre (Nystroem) collocation of the integral equation; relative error below 1e-9 for
 * lambda >= 0.01 (measured against nets half again as fine). AN_DOMAIN: lambda not in [0.005, 1],
 * limits not in (0, 10], head_start not in [0, 1), one_sided with exact, a law without spread,
 * steady state of exact limits with a head start is that of the steady limits. AN_NO_MEMORY.
 */
AN_CHECKED enum an_status an_run_length_ewma(const struct an_ewma_plan *plan,
                                             struct an_point_law law, enum an_run_start start,
                                             struct an_arena *arena,
                                             struct an_run_length *run_length);

/*
 * cusum: up = max(0, up + z - reference), down = max(0, down - z - reference); signal when one is
 * above interval; both begin at head_start * interval.
 */
struct an_cusum_plan {
    double reference, interval, head_start;
    bool one_sided; /* the upper sum alone */
    bool mean_only; /* no quantiles, for speed */
};
/*
 * By the same means, the atom at 0 apart; relative error below 1e-9. Two sides are joined by the
 * renewal argument of two sums of which one is 0 when the other signals, so exactly, spread and
 * quantiles included. [Page 1954; Kemp 1961; Lucas and Crosier, Fast initial response for cusum
 * quality-control schemes, Technometrics 24(3), 1982; from memory]
 * Steady state of two sides has no such argument: AN_DOMAIN (an_run_length_simulated does it).
 * AN_DOMAIN: reference < 0, interval not in (0, 50], head_start not in [0, 1) or, for two sides,
 * above 0.5 + reference / interval (the sums then interact), a law without spread.
 */
AN_CHECKED enum an_status an_run_length_cusum(const struct an_cusum_plan *plan,
                                              struct an_point_law law, enum an_run_start start,
                                              struct an_arena *arena,
                                              struct an_run_length *run_length);

/*
 * mewma of p variables: signal when the squared statistical distance of the weighted mean,
 * by its steady covariance, is above `limit`; shift is the distance of the mean from target.
 * Zero shift: Rigdon's integral equation; else that of two dimensions (along the shift, and the
 * distance across it). Zero state. Relative error below 1e-8 for lambda >= 0.05.
 * [Rigdon, An integral equation for the in-control average run length of a multivariate
 * exponentially weighted moving average control chart, J. Statist. Comput. Simul. 52, 1995;
 * Runger and Prabhu, A Markov chain model for the multivariate exponentially weighted moving
 * averages control chart, JASA 91, 1996; both from memory]
 * AN_DOMAIN: p not in 2..20, lambda not in [0.03, 1], limit not in (0, 100], shift < 0.
 */
AN_CHECKED enum an_status an_run_length_mewma(size_t p, double lambda, double limit, double shift,
                                              bool mean_only, struct an_arena *arena,
                                              struct an_run_length *run_length);

/*
 * ewma and cusum of counts that are binomial or Poisson, each judged by its own mean and sigma, the
 * steady limits of `weighting` from the first point on: the mean run length in control. Small counts
 * are skew, so it is often a fraction of that of normal points. A net of 400 points: within 2 per cent
 * of simulations. A cusum's sides are joined as 1 / (1 / up + 1 / down) [Kemp 1961; from memory].
 * AN_DOMAIN: another kind of weighting, a law that is none (attribute_limits.h). AN_NO_MEMORY.
 */
AN_CHECKED enum an_status an_run_length_counts(const struct an_weighting *weighting,
                                               const struct an_count_law *law,
                                               struct an_arena *arena, double *mean);
/* The least limits (ewma: L, cusum: h), not below those of `weighting`, in hundredths, with a mean run
 * length in control of at least `between`; NAN: more than 12 would be needed. Errors as above. */
AN_CHECKED enum an_status an_limits_of_counts(const struct an_weighting *weighting,
                                              const struct an_count_law *law, double between,
                                              struct an_arena *arena, double *limits);

/* ---- any set of the eight rules ---------------------------------------------------------------- */

/*
 * The chain of what a set of rules remembers: states found from the rules' definitions in rules.c,
 * those with the same future joined. Built once a set of rules, used for any number of laws.
 * In the arena.
 */
struct an_rule_chain;
/* AN_DOMAIN: no rule on, a length out of range, k not above 0. AN_NO_MEMORY. */
AN_CHECKED enum an_status an_rule_chain_open(const struct an_rule_choice *choice, double k,
                                             struct an_arena *arena, struct an_rule_chain **chain);
size_t an_rule_chain_states(const struct an_rule_chain *chain); /* after joining */
/*
 * Until the first point at which any rule of the set speaks. steady_trend and alternating compare
 * a point with the one before, so their states carry its rank too (8 or 14 Gauss points a zone).
 * Relative error below 1e-9; no quantiles beyond 20,000 unknowns (all eight rules at once).
 * AN_NOT_CONVERGED if the solver does not settle.
 * `scratch` is used up a little by each call: open one for a batch.
 */
AN_CHECKED enum an_status an_run_length_rules(const struct an_rule_chain *chain,
                                              struct an_point_law law, enum an_run_start start,
                                              bool mean_only, struct an_arena *scratch,
                                              struct an_run_length *run_length);
/* The same of a discrete statistic: z[i], increasing, comes with chance[i] (their sum is 1). */
AN_CHECKED enum an_status an_run_length_rules_discrete(const struct an_rule_chain *chain,
                                                       const double z[], const double chance[],
                                                       size_t count, bool mean_only,
                                                       struct an_arena *scratch,
                                                       struct an_run_length *run_length);

/* ---- limits that were estimated ------------------------------------------------------------------ */

/*
 * A chart's average run length as a function of the errors of its limits, tabulated once: v by
 * which the centre is off (in true sigmas), w the estimated sigma over the true one.
 */
struct an_run_surface;
/* mean run length of a plan at a law; what `plan` is, the caller knows */
typedef enum an_status (*an_run_length_at)(const void *plan, struct an_point_law law,
                                           struct an_arena *scratch, double *mean);
/* shift: of the true mean, in true sigmas. points: of the table by centre, odd, 5 to 21, and twice as many
 * less one by sigma; so many run lengths are found. Without a shift 7 hold the mean rate of single limits to
 * 1e-3 of itself, 9 to 5e-5, 11 to 1e-5, 15 to 2e-7, for 25 to 400 points in the baseline (measured against
 * the law of a next value, t; of 10 points 2e-5 is left whatever the table); with runs of nine and a spread
 * panel, whose rate bends more, 9 to 6e-3, 13 to 3e-4, 17 to 1e-5 (against 21). */
AN_CHECKED enum an_status an_run_surface_open(an_run_length_at at, const void *plan, double shift,
                                              size_t points, struct an_arena *arena,
                                              struct an_run_surface **surface);
struct an_estimated_run_length {
    double known;     /* with limits exactly known */
    double rate;      /* E(1 / ARL) over baselines: signals a point to be expected */
    double between;   /* 1 / rate: points between signals to be expected */
    double low, high; /* nine of ten baselines give a chart whose own ARL lies between */
};
/*
 * Over the distribution of the estimates: centre error normal with sd 1 / sqrt(m) (m points in the
 * baseline), sigma ratio chi / (c4 sqrt(df)), independent. Exact for subgroups with pooled sigma;
 * for ranges and moving ranges the chi distribution of the same relative error stands in
 * (Patnaik), as everywhere here. By 2-D Gauss quadrature over the table, whose error it has. AN_TOO_FEW: m < 2 or df < 1.
 * mean of ARL itself is not given: over few samples it is infinite.
 */
AN_CHECKED enum an_status an_run_length_estimated(const struct an_run_surface *surface, double m,
                                                  double df,
                                                  struct an_estimated_run_length *run_length);

/* The same with limits so many times as wide as the estimate makes them (1: just so), as those are that
 * allow for the errors of what was learned. AN_DOMAIN: wider not above 0. */
AN_CHECKED enum an_status an_run_length_estimated_wider(const struct an_run_surface *surface,
                                                        double m, double df, double wider,
                                                        struct an_estimated_run_length *run_length);

/* ---- by simulation ---------------------------------------------------------------------------------- */

struct an_random { /* SplitMix64-seeded xoshiro256**: the same numbers on every machine */
    uint64_t s[4];
};
void an_random_start(struct an_random *random, uint64_t seed);
double an_random_uniform(struct an_random *random); /* in (0, 1) */
double an_random_normal(struct an_random *random);  /* by the inverse of the normal distribution */

/* Mean of the last `span` points (of all so far, at the start) beyond k of its own sigmas. */
AN_CHECKED enum an_status an_run_length_moving_average(int span, double k, struct an_point_law law,
                                                       size_t runs, uint64_t seed,
                                                       struct an_run_length *run_length);
/* Two-sided cusum in steady state: each run begins with `before` points in control; those that
 * signal in them begin anew. */
AN_CHECKED enum an_status an_run_length_cusum_simulated(const struct an_cusum_plan *plan,
                                                        struct an_point_law law, size_t before,
                                                        size_t runs, uint64_t seed,
                                                        struct an_run_length *run_length);

#endif
