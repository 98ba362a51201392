/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Control charts of attribute and variables data: a model is learned from a baseline and then
 * judges samples one by one. Families differ only in learning and in the two panels' formulas.
 *
 * Level panel: the statistic of location (mean, count, proportion). Spread panel: range, standard
 * deviation or moving range; absent for attribute charts (all NAN).
 * Allocates nothing, keeps nothing: safe from any thread.
 */
#ifndef ANDAMENTO_STAT_CHART_H
#define ANDAMENTO_STAT_CHART_H

#include "andamento/base/status.h"
#include "andamento/stat/autoregression.h"
#include "andamento/stat/multivariate.h"
#include "andamento/stat/time_weighted.h"
#include "andamento/stat/wear.h"

#include <stdbool.h>
#include <stddef.h>

enum an_family {
    AN_XBAR_R,
    AN_XBAR_S,
    AN_INDIVIDUALS,
    AN_BETWEEN_WITHIN,
    AN_P,
    AN_NP,
    AN_C,
    AN_U,
    AN_P_PRIME,
    AN_U_PRIME,
    /* learned elsewhere from the parts of this folder, judged here as the others are */
    AN_T2,        /* several variables, Hotelling */
    AN_MEWMA,     /* several variables, weighted mean */
    AN_RESIDUALS, /* what an autoregression leaves */
    AN_G,         /* opportunities between events */
    AN_T,         /* time between events */
    AN_WEAR,      /* departure from the line of a tool's wear */
    AN_GROUP, /* parallel streams: mean is the furthest of them in sigmas, n how many there are */
    AN_SHORT_RUN, /* products on one chart: mean is scaled by its product before */
    AN_FAMILY_COUNT
};
const char *an_family_name(enum an_family family); /* "xbar_r" ... "u_prime" */
bool an_family_is_attribute(enum an_family family);
bool an_family_is_joint(enum an_family family); /* t2, mewma: several variables at once */
/* What the two panels plot: "mean", "range", "moving range" ...; NULL if there is no such panel */
const char *an_family_statistic(enum an_family family, int panel);

struct an_chart_sample {
    double n;                          /* readings */
    double mean, sd, range;            /* sd NAN if n < 2 */
    double count, opportunities;       /* attribute families */
    double second;                     /* t2, mewma: the second variable; mean is the first */
    double further[AN_JOINT_MOST - 2]; /* and the third on */
    double hours;                      /* t: when it was taken */
    double life;                       /* wear: of the tool */
    bool excluded;                     /* learn passes over it; moving ranges do not cross it */
};

/* The p variables of a sample of t2 or mewma. */
void an_chart_vector(const struct an_chart_sample *sample, size_t p, double x[AN_JOINT_MOST]);

struct an_chart_model {
    enum an_family family;
    double k;            /* limits at k sigma, 3 usually */
    size_t samples;      /* learned from (not excluded) */
    double n_nominal;    /* the commonest n; 1 for individuals */
    double centre;       /* of the level panel; weighted mean of the baseline */
    double sigma_within; /* of single readings inside a subgroup; NAN if not estimable */
    double df_within;    /* degrees of freedom behind it (for bounds) */
    double sigma_level; /* of the plotted level at n_nominal (for p, u at the mean opportunities) */
    double spread_centre; /* mean range, s-bar at n_nominal, or mean moving range */
    double dispersion;    /* p_prime, u_prime: factor on sigma; 1 otherwise */
    double mean_opportunities;
    double between; /* between_within: sigma between item means beyond what sigma_within
                             explains; >= 0; NAN otherwise */
    struct an_weighting weighting; /* of the level panel; all zero: points one by one */
    bool probability; /* p, np, c, u: limits from the distribution, tails Phi(-k) each */
    bool whole;       /* g: opportunities are whole, so gaps are geometric; else exponential */
    double step;  /* g, t: opportunities of a usual sample, hours from one to the next; else NAN */
    double upper; /* t2: its limit; NAN otherwise */
    struct an_joint joint;           /* t2, mewma */
    struct an_autoregression memory; /* residuals */
    struct an_wear wear;
};

/*
 * lcl is NAN where there is none: below 0 for counts, ranges and standard deviations.
 * z is (value - centre) / sigma of this point, NAN if not judged (sigma 0 or not known). A value
 * that cannot be told from the centre, or from the lines at 1, 2 or k sigma, for the rounding of
 * those lines (8 units in the last place of |centre| + k sigma), has z exactly on that line: so
 * judge by z, not by value > ucl; a point on its limit is not beyond it.
 */
struct an_panel_point {
    double value, centre, lcl, ucl;
    double z;
};

struct an_chart_point {
    struct an_panel_point level, spread;
    /* weighted level panels only, NAN otherwise: the point that was taken in, both sums of a cusum
     * (lower <= 0), and the points since the larger of them left 0 */
    struct an_plain_point plain;
    double upper, lower, run;
};
extern const struct an_chart_point an_chart_no_point; /* all NAN */

/*
 * Learns from m samples in order. Means of unequal n are weighted by n; xbar_s pools unequal n
 * (sqrt of pooled variance over c4 of its degrees of freedom + 1) and uses s-bar / c4 when n is
 * the same in all; xbar_r wants every n equal and at most 25 (AN_DOMAIN otherwise).
 * individuals, between_within: sigma_level from the mean moving range of two over d2(2); the
 * centre is the plain mean of the plotted values, since each is judged by the same sigma.
 * between_within: sigma_within pooled as in xbar_s; NAN if no sample has two readings.
 * df_within of ranges and of s-bar: the chi distribution of the same relative error [Patnaik, The
 * use of mean range, Biometrika 37, 1950]; of pooled variances: their own.
 * np, c: counts of a sample of other opportunities are judged in proportion to them.
 * p', u': [Laney, Improved control charts for attributes, Quality Engineering 14(4), 2002].
 * AN_DOMAIN: t2, mewma, residuals, g, t, wear, short_run, group, which are learned by their own functions.
 * AN_TOO_FEW: fewer than 2 usable samples, no moving range left between exclusions, no sample with
 * two readings (xbar_r: any without); AN_NO_SPREAD: sigma would be 0 (model is still written,
 * with sigma 0); AN_DOMAIN: a count below 0, above its opportunities (p, np), opportunities <= 0,
 * unequal opportunities (np, c), n not whole, a statistic the family needs not finite, k not above 0.
 */
AN_CHECKED enum an_status an_chart_learn(enum an_family family, double k,
                                         const struct an_chart_sample samples[], size_t m,
                                         struct an_chart_model *model);
/* before: the sample before it in the stream, for moving ranges; NULL if there is none or the
 * chart is broken there. Attribute points with opportunities <= 0 get NAN. */
struct an_chart_point an_chart_judge(const struct an_chart_model *model,
                                     const struct an_chart_sample *sample,
                                     const struct an_chart_sample *before);
/*
 * The same for a model with a weighting: the level panel is the weighted statistic, which takes this
 * sample into *state (all zero before the first); its limits stand at +- weighting.limits sigmas of
 * it. The spread panel is as above. an_chart_judge() judges the single points of such a model.
 */
struct an_chart_point an_chart_judge_weighted(const struct an_chart_model *model,
                                              const struct an_chart_sample *sample,
                                              const struct an_chart_sample *before,
                                              struct an_weighted_state *state);
/* At how many sigmas the limits of a panel (0 level, 1 spread) stand: what rules are told as k. */
double an_chart_limit_sigmas(const struct an_chart_model *model, int panel);
/* Centre and limits of the level of a usual sample (of weighted charts: of the points they gather), as
 * they are listed; z and value NAN. Of gaps: one event. */
struct an_panel_point an_chart_usual(const struct an_chart_model *model);
/* Relative standard error of sigma_level as estimated (how uncertain the limits are), and the
 * half width of the 95 per cent interval of the centre. NAN where there is no theory for it, and
 * where sigma is 0. To first order; samples are taken as unbroken and of n_nominal readings. */
void an_chart_uncertainty(const struct an_chart_model *model, double *sigma_relative_se,
                          double *centre_half_width);
/* Degrees of freedom of the chi distribution that stands in for a sigma learned from the moving ranges of
 * m unbroken values (Patnaik); NAN below 2. */
double an_moving_range_df(double m);

#endif
