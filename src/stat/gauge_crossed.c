/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Crossed gauge studies by analysis of variance.
 *
 * Responsible for components, their bounds, and saying what was pooled or cut. Never reads a file.
 *
 * The hard idea: parts, operators and their interaction are random, so each component is a sum and
 * difference of mean squares, each chi-square about its expectation; bounds of sums and differences
 * come from an_squares_bounds, those of the ratio of parts to gauge have a formula of their own
 * (ratio_bounds), and all percentages and the number of categories follow from that ratio.
 */
#include "andamento/stat/constants.h"
#include "andamento/stat/gauge.h"
#include "andamento/stat/tests.h"
#include "stat/compensated.h"
#include "stat/distribution.h"

#include <string.h>

#define ANY ((size_t)-1)

/* Mean of a part's, an operator's, a cell's or all readings, as a pair so that a large mean costs no
 * digits. */
static struct pair_sum mean_over(const struct an_gauge_data *d, size_t part, size_t person)
{
    struct pair_sum sum = {0.0, 0.0};
    double n = 0.0;
    for (size_t p = 0; p < d->parts; p++) {
        for (size_t o = 0; o < d->operators; o++) {
            for (size_t r = 0;
                 (part == ANY || p == part) && (person == ANY || o == person) && r < d->repeats;
                 r++) {
                pair_add(&sum, d->value[(p * d->operators + o) * d->repeats + r]);
                n += 1.0;
            }
        }
    }
    return pair_over(sum, n);
}

static double apart(struct pair_sum a, struct pair_sum b)
{
    const struct pair_sum d = pair_of(a.hi, -b.hi);
    return d.hi + (d.lo + (a.lo - b.lo));
}

static void table_of_squares(const struct an_gauge_data *d, struct an_gauge_study *s)
{
    const double p = (double)d->parts;
    const double o = (double)d->operators;
    const double r = (double)d->repeats;
    const struct pair_sum all = mean_over(d, ANY, ANY);
    s->mean = all.hi;
    for (size_t i = 0; i < d->parts; i++) {
        const double off = apart(mean_over(d, i, ANY), all);
        s->part.ss += o * r * off * off;
    }
    for (size_t j = 0; j < d->operators; j++) {
        const struct pair_sum person = mean_over(d, ANY, j);
        const double off = apart(person, all);
        s->person.ss += p * r * off * off;
        for (size_t i = 0; i < d->parts; i++) {
            const struct pair_sum cell = mean_over(d, i, j);
            const double both = apart(cell, mean_over(d, i, ANY)) - off;
            s->interaction.ss += r * both * both;
            for (size_t k = 0; k < d->repeats; k++) {
                const double x = d->value[(i * d->operators + j) * d->repeats + k];
                const double rest = pair_from(x, cell);
                const double total = pair_from(x, all);
                s->repeat.ss += rest * rest;
                s->total.ss += total * total;
            }
        }
    }
    s->part.df = p - 1.0;
    s->person.df = o - 1.0;
    s->interaction.df = (p - 1.0) * (o - 1.0);
    s->repeat.df = p * o * (r - 1.0);
    s->total.df = p * o * r - 1.0;
}

static void finish_row(struct an_gauge_row *row, const struct an_gauge_row *under)
{
    row->ms = row->ss / row->df;
    row->f = under && under->ms > 0.0 ? row->ms / under->ms : (double)NAN;
    row->p = under && under->ms > 0.0 ? an_f_above(row->f, row->df, under->df) : (double)NAN;
}

static void finish_table(struct an_gauge_study *s)
{
    finish_row(&s->total, NULL);
    finish_row(&s->repeat, NULL);
    finish_row(&s->interaction, &s->repeat);
    finish_row(&s->person, &s->interaction);
    finish_row(&s->part, &s->interaction);
    s->repeat_pooled = (struct an_gauge_row){.df = s->repeat.df + s->interaction.df,
                                             .ss = s->repeat.ss + s->interaction.ss};
    s->part_pooled = s->part;
    s->person_pooled = s->person;
    finish_row(&s->repeat_pooled, NULL);
    finish_row(&s->part_pooled, &s->repeat_pooled);
    finish_row(&s->person_pooled, &s->repeat_pooled);
}

/* Mean squares in the order part, operator, interaction, repeats; pooled: the last two are one. */
struct squares {
    double ms[4], df[4];
    size_t count;
};

static struct squares squares_of(const struct an_gauge_study *s)
{
    if (s->pooled) {
        return (struct squares){{s->part.ms, s->person.ms, s->repeat_pooled.ms},
                                {s->part.df, s->person.df, s->repeat_pooled.df},
                                3};
    }
    return (struct squares){{s->part.ms, s->person.ms, s->interaction.ms, s->repeat.ms},
                            {s->part.df, s->person.df, s->interaction.df, s->repeat.df},
                            4};
}

/* What each source is in mean squares. */
static void weights_of(const struct an_gauge_study *s, double w[AN_GAUGE_SOURCES][4])
{
    const double p = (double)s->parts;
    const double o = (double)s->operators;
    const double r = (double)s->repeats;
    memset(w, 0, sizeof(double[AN_GAUGE_SOURCES][4]));
    const size_t under = 2; /* of part and operator: the interaction, or the pooled repeats */
    const size_t last = s->pooled ? 2 : 3;
    w[AN_GAUGE_REPEAT][last] = 1.0;
    w[AN_GAUGE_OPERATOR][1] = 1.0 / (p * r);
    w[AN_GAUGE_OPERATOR][under] = -1.0 / (p * r);
    w[AN_GAUGE_PARTS][0] = 1.0 / (o * r);
    w[AN_GAUGE_PARTS][under] = -1.0 / (o * r);
    if (!s->pooled) {
        w[AN_GAUGE_INTERACTION][2] = 1.0 / r;
        w[AN_GAUGE_INTERACTION][3] = -1.0 / r;
    }
    for (size_t i = 0; i < 4; i++) {
        w[AN_GAUGE_REPRODUCE][i] = w[AN_GAUGE_OPERATOR][i] + w[AN_GAUGE_INTERACTION][i];
        w[AN_GAUGE_WHOLE][i] = w[AN_GAUGE_REPRODUCE][i] + w[AN_GAUGE_REPEAT][i];
        w[AN_GAUGE_TOTAL][i] = w[AN_GAUGE_WHOLE][i] + w[AN_GAUGE_PARTS][i];
    }
    /* sums that are nought but for rounding */
    for (size_t k = 0; k < AN_GAUGE_SOURCES; k++) {
        for (size_t i = 0; i < 4; i++) {
            w[k][i] = fabs(w[k][i]) < 1e-14 ? 0.0 : w[k][i];
        }
    }
}

/* Bounds of (variance of parts) / (variance of the gauge), >= 0. */
static struct an_bounds ratio_bounds(const struct an_gauge_study *s, double confidence)
{
    const double tail = (1.0 - confidence) / 2.0;
    const double p = (double)s->parts;
    const double o = (double)s->operators;
    const double r = (double)s->repeats;
    const struct squares q = squares_of(s);
    const double g = 1.0 - q.df[0] / an_chi_square_quantile(1.0 - tail, q.df[0]);
    const double h = q.df[0] / an_chi_square_quantile(tail, q.df[0]) - 1.0;
    /* what of the gauge's variance is known well: repeats and interaction */
    const double rest = s->pooled ? o * (p * r - 1.0) * q.ms[2]
                                  : p * o * (r - 1.0) * q.ms[3] + o * (p - 1.0) * q.ms[2];
    struct an_bounds out;
    out.lower = p * (1.0 - g) * (q.ms[0] - an_f_quantile_above(tail, q.df[0], q.df[2]) * q.ms[2]) /
                (rest + o * (1.0 - g) * an_f_quantile_above(tail, q.df[0], q.df[1]) * q.ms[1]);
    out.upper =
        p * (1.0 + h) * (q.ms[0] - an_f_quantile_above(1.0 - tail, q.df[0], q.df[2]) * q.ms[2]) /
        (rest + o * (1.0 + h) * an_f_quantile_above(1.0 - tail, q.df[0], q.df[1]) * q.ms[1]);
    out.lower = out.lower > 0.0 ? out.lower : 0.0;
    out.upper = out.upper > 0.0 ? out.upper : 0.0;
    return out;
}

/* Percentages of every source, from its variance; tolerance bounds where variance bounds are. */
static void fill_percentages(struct an_gauge_study *s)
{
    const double total = s->source[AN_GAUGE_TOTAL].variance;
    for (size_t k = 0; k < AN_GAUGE_SOURCES; k++) {
        struct an_gauge_part *x = &s->source[k];
        x->sd = sqrt(x->variance);
        x->of_total = 100.0 * x->variance / total;
        x->of_study = 100.0 * sqrt(x->variance / total);
        x->of_study_lower = x->of_study_upper = NAN;
        x->of_tolerance = x->of_tolerance_lower = x->of_tolerance_upper = NAN;
        if (s->tolerance > 0.0) {
            x->of_tolerance = 600.0 * x->sd / s->tolerance;
            x->of_tolerance_lower = 600.0 * sqrt(x->lower) / s->tolerance;
            x->of_tolerance_upper = 600.0 * sqrt(x->upper) / s->tolerance;
        }
    }
    s->categories = sqrt(2.0) * s->source[AN_GAUGE_PARTS].sd / s->source[AN_GAUGE_WHOLE].sd;
}

static void fill_sources(struct an_gauge_study *s, double confidence)
{
    double w[AN_GAUGE_SOURCES][4];
    const struct squares q = squares_of(s);
    weights_of(s, w);
    for (size_t k = 0; k < AN_GAUGE_SOURCES; k++) {
        struct an_gauge_part *x = &s->source[k];
        *x = (struct an_gauge_part){0};
        double a[4];
        double ms[4];
        double df[4];
        size_t count = 0;
        for (size_t i = 0; i < q.count; i++) {
            x->raw += w[k][i] * q.ms[i];
            if (w[k][i] != 0.0) {
                a[count] = w[k][i];
                ms[count] = q.ms[i];
                df[count++] = q.df[i];
            }
        }
        const struct an_bounds bounds = an_squares_bounds(count, a, ms, df, confidence);
        x->cut = x->raw < 0.0;
        x->variance = x->cut ? 0.0 : x->raw;
        x->lower = bounds.lower > 0.0 ? bounds.lower : 0.0;
        x->upper = bounds.upper > 0.0 ? bounds.upper : 0.0;
    }
    /* sums of what was cut, so that shares add up */
    struct an_gauge_part *at = s->source;
    at[AN_GAUGE_REPRODUCE].variance =
        at[AN_GAUGE_OPERATOR].variance + at[AN_GAUGE_INTERACTION].variance;
    at[AN_GAUGE_WHOLE].variance = at[AN_GAUGE_REPRODUCE].variance + at[AN_GAUGE_REPEAT].variance;
    at[AN_GAUGE_TOTAL].variance = at[AN_GAUGE_WHOLE].variance + at[AN_GAUGE_PARTS].variance;
    fill_percentages(s);
    const struct an_bounds ratio = ratio_bounds(s, confidence);
    at[AN_GAUGE_WHOLE].of_study_lower = 100.0 / sqrt(1.0 + ratio.upper);
    at[AN_GAUGE_WHOLE].of_study_upper = 100.0 / sqrt(1.0 + ratio.lower);
    at[AN_GAUGE_PARTS].of_study_lower = 100.0 * sqrt(ratio.lower / (1.0 + ratio.lower));
    at[AN_GAUGE_PARTS].of_study_upper = 100.0 * sqrt(ratio.upper / (1.0 + ratio.upper));
    s->categories_lower = sqrt(2.0 * ratio.lower);
    s->categories_upper = sqrt(2.0 * ratio.upper);
}

static enum an_status look(const struct an_gauge_data *d)
{
    if (d->parts < 2 || d->operators < 2 || d->repeats < 2) {
        return AN_TOO_FEW;
    }
    for (size_t i = 0; i < d->parts * d->operators * d->repeats; i++) {
        if (!isfinite(d->value[i])) {
            return AN_DOMAIN;
        }
    }
    return AN_OK;
}

enum an_status an_gauge_crossed(const struct an_gauge_data *d, double pool_above, double tolerance,
                                double confidence, struct an_gauge_study *s)
{
    *s = (struct an_gauge_study){.parts = d->parts,
                                 .operators = d->operators,
                                 .repeats = d->repeats,
                                 .tolerance = tolerance};
    const enum an_status st = look(d);
    if (st || !(confidence > 0.0 && confidence < 1.0)) {
        return st ? st : AN_DOMAIN;
    }
    table_of_squares(d, s);
    if (!(s->repeat.ss > 0.0) || !(s->part.ss > 0.0)) {
        return AN_NO_SPREAD;
    }
    finish_table(s);
    s->pooled = s->interaction.p > pool_above;
    fill_sources(s, confidence);
    return AN_OK;
}

/* ---- ranges ----------------------------------------------------------------------------------------- */
static double range_of(const double x[], size_t n)
{
    double low = x[0];
    double high = x[0];
    for (size_t i = 1; i < n; i++) {
        low = x[i] < low ? x[i] : low;
        high = x[i] > high ? x[i] : high;
    }
    return high - low;
}

/* Largest less smallest of the means of parts, or of operators. */
static double range_of_means(const struct an_gauge_data *d, bool parts)
{
    const size_t n = parts ? d->parts : d->operators;
    struct pair_sum low = parts ? mean_over(d, 0, ANY) : mean_over(d, ANY, 0);
    struct pair_sum high = low;
    for (size_t i = 1; i < n; i++) {
        const struct pair_sum mean = parts ? mean_over(d, i, ANY) : mean_over(d, ANY, i);
        low = apart(mean, low) < 0.0 ? mean : low;
        high = apart(mean, high) > 0.0 ? mean : high;
    }
    return apart(high, low);
}

/* Square of what a single range of n is on average, in variances (its mean square, not its mean). */
static enum an_status single_range(size_t n, double *square)
{
    double d2 = 0.0;
    double d3 = 0.0;
    enum an_status st = an_d2(n, &d2);
    st = st ? st : an_d3(n, &d3);
    *square = d2 * d2 + d3 * d3;
    return st;
}

enum an_status an_gauge_ranges(const struct an_gauge_data *d, double tolerance,
                               struct an_gauge_study *s)
{
    double d2 = 0.0;
    double people = 0.0;
    double parts = 0.0;
    *s = (struct an_gauge_study){.parts = d->parts,
                                 .operators = d->operators,
                                 .repeats = d->repeats,
                                 .tolerance = tolerance,
                                 .pooled = true,
                                 .categories_lower = NAN,
                                 .categories_upper = NAN};
    enum an_status st = look(d);
    st = st ? st : an_d2(d->repeats, &d2);
    st = st ? st : single_range(d->operators, &people);
    st = st ? st : single_range(d->parts, &parts);
    if (st) {
        return st;
    }
    const size_t cells = d->parts * d->operators;
    double range = 0.0;
    for (size_t c = 0; c < cells; c++) {
        range += range_of(d->value + c * d->repeats, d->repeats);
    }
    const double repeat = range / (double)cells / d2;
    const double far = range_of_means(d, false);
    const double wide = range_of_means(d, true);
    if (!(repeat > 0.0) || !(wide > 0.0)) {
        return AN_NO_SPREAD;
    }
    struct an_gauge_part *at = s->source;
    at[AN_GAUGE_REPEAT].raw = repeat * repeat;
    at[AN_GAUGE_OPERATOR].raw =
        far * far / people - repeat * repeat / (double)(d->parts * d->repeats);
    at[AN_GAUGE_PARTS].raw = wide * wide / parts;
    at[AN_GAUGE_OPERATOR].cut = at[AN_GAUGE_OPERATOR].raw < 0.0;
    for (size_t k = 0; k < AN_GAUGE_SOURCES; k++) {
        at[k].variance = at[k].cut ? 0.0 : at[k].raw;
        at[k].lower = at[k].upper = NAN;
    }
    at[AN_GAUGE_REPRODUCE].variance = at[AN_GAUGE_OPERATOR].variance;
    at[AN_GAUGE_WHOLE].variance = at[AN_GAUGE_REPRODUCE].variance + at[AN_GAUGE_REPEAT].variance;
    at[AN_GAUGE_TOTAL].variance = at[AN_GAUGE_WHOLE].variance + at[AN_GAUGE_PARTS].variance;
    s->mean = mean_over(d, ANY, ANY).hi;
    fill_percentages(s);
    return AN_OK;
}
