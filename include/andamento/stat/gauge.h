/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Studies of a gauge: how much of what it shows is the gauge itself.
 *
 * Crossed studies (every operator measures every part as often) by analysis of variance and by
 * ranges; bias against a reference value; linearity of the bias; agreement of people who sort.
 * Allocates nothing save from the caller's arena; safe from any thread.
 */
#ifndef ANDAMENTO_STAT_GAUGE_H
#define ANDAMENTO_STAT_GAUGE_H

#include "andamento/base/memory.h"
#include "andamento/base/status.h"
#include "andamento/stat/components.h"

#include <stdbool.h>
#include <stddef.h>

/* ---- crossed study -------------------------------------------------------------------------------- */
struct an_gauge_data {
    const double *value; /* [(part * operators + operator) * repeats + repeat] */
    size_t parts, operators, repeats;
};

struct an_gauge_row { /* of the analysis of variance */
    double df, ss, ms, f, p;
};

struct an_gauge_part {                  /* one source of spread */
    double raw, variance, lower, upper; /* raw: before it was cut at zero */
    double sd;
    double of_total;                       /* per cent of the total variance */
    double of_study;                       /* per cent: sd over the total sd */
    double of_study_lower, of_study_upper; /* NAN where no bounds are known */
    double of_tolerance;                   /* per cent: 6 sd over the tolerance; NAN without one */
    double of_tolerance_lower, of_tolerance_upper;
    bool cut;
};

enum an_gauge_source {
    AN_GAUGE_REPEAT,      /* the same operator and part again */
    AN_GAUGE_OPERATOR,    /* from operator to operator */
    AN_GAUGE_INTERACTION, /* operators differ otherwise from part to part */
    AN_GAUGE_REPRODUCE,   /* operator and interaction together */
    AN_GAUGE_WHOLE,       /* repeat and reproduce: the gauge */
    AN_GAUGE_PARTS,       /* the parts themselves */
    AN_GAUGE_TOTAL,
    AN_GAUGE_SOURCES
};

struct an_gauge_study {
    struct an_gauge_row part, person, interaction, repeat, total; /* of the full model */
    struct an_gauge_row part_pooled, person_pooled, repeat_pooled;
    bool pooled; /* the interaction went into the repeats */
    struct an_gauge_part source[AN_GAUGE_SOURCES];
    double categories, categories_lower, categories_upper; /* sqrt(2) * parts sd / gauge sd */
    double mean, tolerance;
    size_t parts, operators, repeats;
};

/*
 * pool_above: the interaction is left out of the model if its p is above this; 1: never. A tolerance
 * that is not > 0 is none. Components by mean squares; bounds by modified large samples [Burdick,
 * Borror and Montgomery, A review of methods for measurement systems capability analysis, Journal
 * of Quality Technology 35, 2003, and Design and Analysis of Gauge R&R Studies, 2005; from memory].
 * AN_TOO_FEW unless parts, operators, repeats >= 2; AN_NO_SPREAD if all readings of each cell are
 * equal, or the parts do not differ at all.
 */
AN_CHECKED enum an_status an_gauge_crossed(const struct an_gauge_data *data, double pool_above,
                                           double tolerance, double confidence,
                                           struct an_gauge_study *study);
/* By average and range; no interaction, no bounds. Constants are computed: d2(repeats) over many
 * cells, sqrt(d2^2 + d3^2) for the one range of operators and of parts. */
AN_CHECKED enum an_status an_gauge_ranges(const struct an_gauge_data *data, double tolerance,
                                          struct an_gauge_study *study);

/* ---- bias and linearity ----------------------------------------------------------------------------- */
struct an_gauge_bias {
    size_t n;
    double mean, bias, sd, se, t, p; /* two-sided t test of bias = 0, n - 1 df */
    double lower, upper;             /* of the bias */
};
/* AN_TOO_FEW if n < 2; AN_NO_SPREAD if all are equal (bias is filled); AN_DOMAIN. */
AN_CHECKED enum an_status an_gauge_bias_of(const double value[], size_t n, double reference,
                                           double confidence, struct an_gauge_bias *bias);

struct an_gauge_line { /* bias = intercept + slope * reference */
    size_t n;
    double intercept, slope, se_intercept, se_slope, s, r_squared, df;
    double t_intercept, p_intercept, t_slope, p_slope;
    double mean_reference, spread_reference; /* sum of squares about the mean */
    double average_bias;
    double lack_f, lack_p; /* straight enough? against the repeats; NAN without repeats */
    double t;              /* quantile of the bands */
};
/* value[i] was read on a reference item of reference[i]. AN_TOO_FEW if n < 3, AN_NO_SPREAD if the
 * references are all equal. A perfect line has p 0 or 1 and s 0. */
AN_CHECKED enum an_status an_gauge_linearity(const double value[], const double reference[],
                                             size_t n, double confidence,
                                             struct an_gauge_line *line);
/* The same line of value[i] over time[i]: how a gauge wanders on one item. Readings taken together are
 * to be averaged before: they are not independent. */
AN_CHECKED enum an_status an_gauge_drift(const double value[], const double time[], size_t n,
                                         double confidence, struct an_gauge_line *line);
/* Band of the mean bias at a reference value (of the mean value at a time). */
struct an_bounds an_gauge_band(const struct an_gauge_line *line, double reference);

/* ---- agreement of people who sort -------------------------------------------------------------------- */
struct an_kappa {
    double agreed, chance; /* observed and expected share of agreement */
    double kappa, se;      /* se of the estimate: for bounds */
    double se_zero, z, p;  /* se were there no agreement but by chance; one-sided p */
    double lower, upper;   /* kappa -+ quantile * se, within -1 .. 1 */
};
/*
 * Cohen's: one pair of raters; a[i], b[i] < categories. Standard errors by Fleiss, Cohen and
 * Everitt, Psychological Bulletin 72, 1969 (from memory). AN_TOO_FEW if n < 2; AN_NO_SPREAD if
 * both always chose one category (kappa is 0/0); AN_DOMAIN.
 */
AN_CHECKED enum an_status an_kappa_cohen(const size_t a[], const size_t b[], size_t n,
                                         size_t categories, double confidence,
                                         struct an_arena *arena, struct an_kappa *kappa);
/*
 * Fleiss': counts[item * categories + category], each item rated by the same number of raters.
 * se_zero by Fleiss, Nee and Landis, Psychological Bulletin 86, 1979 (from memory); se by the
 * jackknife over items. category < categories: of that one against all others; else of all.
 */
AN_CHECKED enum an_status an_kappa_fleiss(const size_t counts[], size_t items, size_t categories,
                                          size_t category, double confidence,
                                          struct an_kappa *kappa);
struct an_share {
    size_t agreed, of;
    double share, lower, upper; /* exact bounds [Clopper and Pearson, Biometrika 26, 1934] */
};
struct an_share an_share_of(size_t agreed, size_t of, double confidence);

#endif
