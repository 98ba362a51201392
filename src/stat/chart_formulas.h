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

/* chart_other.c: one point of the families that are learned elsewhere. state may be NULL for those
 * without memory. */
bool is_other(enum an_family family);
struct an_chart_point judge_other(const struct an_chart_model *model,
                                  const struct an_chart_sample *sample,
                                  const struct an_chart_sample *before,
                                  struct an_weighted_state *state);
/* Its limits for a usual sample. */
void usual_other(const struct an_chart_model *model, struct an_panel_point *point);
/* chart_judge.c: (value - centre) / sigma, put on a line that it cannot be told from. */
double z_on_lines(double value, double centre, double sigma, double k);

#endif
