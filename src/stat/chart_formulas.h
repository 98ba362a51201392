/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What learning and judging share: the families' table and the formulas of one point.
 */
#ifndef AN_STAT_CHART_FORMULAS_H
#define AN_STAT_CHART_FORMULAS_H

#include "andamento/stat/chart.h"

/* Of the range of two standard normals, in closed form: mean 2 / sqrt(pi), variance 2 - 4 / pi. */
#define D2_OF_TWO 1.12837916709551257390
#define D3_OF_TWO 0.85250246642742188

struct point_theory {
    double centre, sigma; /* of the plotted statistic; sigma NAN or 0: not to be judged */
};

/* Of a proportion, count or rate with so many opportunities; sigma without the dispersion. */
struct point_theory attribute_theory(enum an_family family, double centre,
                                     double mean_opportunities, double opportunities);
/* The plotted statistic of an attribute sample. */
double attribute_value(enum an_family family, const struct an_chart_sample *sample);
/* Mean and standard deviation of the range, or of s, of n readings, in sigmas. NAN if n < 2. */
struct point_theory range_theory(double n);
struct point_theory sd_theory(double n);
/* Degrees of freedom at which s / sigma has this coefficient of variation; NAN below 1. */
double df_of_relative_se(double relative_se);
double relative_se_of_df(double df);
/* Relative standard error of the mean of moving ranges of two, as an estimate of sigma. */
double moving_range_relative_se(double ranges, double adjacent_pairs);

#endif
