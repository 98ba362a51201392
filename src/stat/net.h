/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Numerical tools that the run lengths share: Gauss points, dense linear systems, and run lengths
 * of a chain given as a matrix over points of a net.
 */
#ifndef AN_STAT_NET_H
#define AN_STAT_NET_H

#include "andamento/stat/run_length.h"

/* Gauss-Legendre points and weights on [a, b], ascending; n >= 1. */
void an_gauss_points(size_t n, double a, double b, double x[], double weight[]);

/*
 * (I - Q) x = b by elimination without a subtraction: with the exits known, 1 - q[i][i] is the sum
 * of all ways out, so answers are right to working accuracy however long the run.
 * [Grassmann, Taksar and Heyman, Regenerative analysis and steady state distributions for Markov
 * chains, Operations Research 33(5), 1985; from memory] q and exit are overwritten.
 */
void an_ways_out(double *q, size_t n, double exit[]);
void an_ways_out_solve(const double *q, size_t n, const double exit[], double x[]);

/* In place LU with row exchange of a (n x n, by rows). false: singular to working accuracy. */
bool an_lu(double *a, size_t n, size_t pivot[]);
void an_lu_solve(const double *lu, size_t n, const size_t pivot[], double x[]);

/* q[i * n + j]: chance to be at point j next and not to have signalled. start[j]: the same from
 * where the run begins. */
struct an_net {
    size_t n;
    double *q, *start;
    double *exit; /* chance to signal next, from each point; NULL: not known */
};
AN_CHECKED enum an_status an_net_alloc(size_t n, struct an_arena *arena, struct an_net *net);
/* mean, sd and (unless mean_only) quantiles from the start row; at[j] (may be NULL) gets the mean from point j. */
AN_CHECKED enum an_status an_net_run_length(const struct an_net *net, struct an_arena *arena,
                                            double at[], bool mean_only,
                                            struct an_run_length *run_length);
/* The distribution over points given no signal for long: left eigenvector, sums to 1. */
AN_CHECKED enum an_status an_net_steady(const struct an_net *net, struct an_arena *arena,
                                        double chance[]);

/*
 * n points and weights (sum 1) of an estimated sigma over the true one, w = chi / (c4 sqrt(df)): its
 * density goes as w^(df-1) exp(-df c4^2 w^2 / 2). AN_DOMAIN unless 1 <= df <= 1e8.
 */
enum { AN_SIGMA_POINTS = 48 };
AN_CHECKED enum an_status an_sigma_ratio_points(double df, size_t n, double w[], double weight[]);

double an_rarity(double rate); /* 1 / rate; INFINITY of 0 */
/* What charts from so many baselines do together: rates with weights (sum 1); sorts them. */
struct an_weighed_rate {
    double rate, weight;
};
struct an_estimated_run_length an_of_rates(struct an_weighed_rate charts[], size_t n, double known);

/*
 * Quantiles of a run length from its survival P(N > n), n = 1, 2, ..., told one by one: once the
 * ratios agree for long the tail is geometric and is continued by formula.
 */
struct an_survival {
    double n, last, ratio;
    int agreed; /* ratios in a row that agreed */
    bool done;
    double q05, q50, q95;
};
void an_survival_start(struct an_survival *survival);
void an_survival_take(struct an_survival *survival, double chance); /* P(N > n) of the next n */
void an_survival_finish(struct an_survival *survival);              /* by the last ratio, or NAN */

#endif
