/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Commands of the reference harness about components of variance, gauges and agreement. */
#include "andamento/stat/components.h"
#include "andamento/stat/gauge.h"
#include "andamento/stat/tests.h"
#include "harness.h"

#include <math.h>
#include <string.h>

/* nested ROAD LEVELS, data reading by reading: its group on each level, then its value. Variances,
 * mean and its error; by squares: F, df below and p of each level; reml: log likelihood. */
void answer_nested(struct kept *kept, char *rest)
{
    static size_t group[AN_LEVELS_MOST][KEPT_MOST];
    const bool reml = strcmp(next_word(&rest), "reml") == 0;
    const size_t levels = (size_t)next_number(&rest);
    const size_t n = kept->n / (levels + 1);
    struct an_nested_data data = {.value = kept->scratch, .n = n, .levels = levels};
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < levels; k++) {
            group[k][i] = (size_t)kept->x[i * (levels + 1) + k];
            data.group[k] = group[k];
        }
        kept->scratch[i] = kept->x[i * (levels + 1) + levels];
    }
    struct an_components c;
    struct an_arena *arena = an_arena_open();
    const enum an_status st = reml ? an_components_reml(&data, 0.95, arena, &c)
                                   : an_components_by_squares(&data, 0.95, arena, &c);
    an_arena_close(arena);
    if (st) {
        say_status(st);
        return;
    }
    double out[4 * AN_COMPONENTS_MOST + 3];
    size_t count = 0;
    for (size_t k = 0; k <= levels; k++) {
        out[count++] = reml ? c.at[k].variance : c.at[k].raw;
    }
    out[count++] = c.mean;
    if (reml) {
        out[count++] = c.mean_se;
        out[count++] = c.log_likelihood;
    }
    for (size_t k = 0; !reml && k <= levels; k++) {
        out[count++] = c.at[k].df;
        out[count++] = c.at[k].ss;
    }
    say_numbers(out, count);
}

/* crossed PARTS OPERATORS REPEATS POOL, data part by part: rows, then variances */
void answer_crossed(struct kept *kept, char *rest)
{
    struct an_gauge_study s;
    struct an_gauge_data data = {.value = kept->x};
    data.parts = (size_t)next_number(&rest);
    data.operators = (size_t)next_number(&rest);
    data.repeats = (size_t)next_number(&rest);
    const enum an_status st =
        an_gauge_crossed(&data, next_number(&rest) > 0.0 ? -1.0 : 1.0, 0.0, 0.95, &s);
    if (st) {
        say_status(st);
        return;
    }
    const struct an_gauge_row *rows[] = {s.pooled ? &s.part_pooled : &s.part,
                                         s.pooled ? &s.person_pooled : &s.person,
                                         s.pooled ? &s.repeat_pooled : &s.interaction};
    double out[3 * 4 + AN_GAUGE_SOURCES];
    size_t count = 0;
    for (size_t i = 0; i < 3; i++) {
        out[count++] = rows[i]->df;
        out[count++] = rows[i]->ss;
        if (i < 2 || !s.pooled) {
            out[count++] = rows[i]->f;
            out[count++] = rows[i]->p;
        }
    }
    out[count++] = s.source[AN_GAUGE_REPEAT].raw;
    out[count++] = s.source[AN_GAUGE_OPERATOR].raw;
    out[count++] = s.source[AN_GAUGE_PARTS].raw;
    say_numbers(out, count);
}

/* bias REFERENCE: bias, t, p, bounds */
void answer_bias(struct kept *kept, char *rest)
{
    struct an_gauge_bias b;
    const enum an_status st = an_gauge_bias_of(kept->x, kept->n, next_number(&rest), 0.95, &b);
    if (st) {
        say_status(st);
        return;
    }
    say_numbers((const double[]){b.bias, b.t, b.p, b.lower, b.upper}, 5);
}

/* linearity AT, data: all references, then all readings */
void answer_linearity(struct kept *kept, char *rest)
{
    struct an_gauge_line l;
    const size_t n = kept->n / 2;
    const enum an_status st = an_gauge_linearity(kept->x + n, kept->x, n, 0.95, &l);
    if (st) {
        say_status(st);
        return;
    }
    const struct an_bounds band = an_gauge_band(&l, next_number(&rest));
    say_numbers((const double[]){l.intercept, l.slope, l.se_intercept, l.se_slope, l.t_slope,
                                 l.p_slope, l.p_intercept, l.s, l.r_squared, band.lower, band.upper,
                                 l.lack_f, l.lack_p},
                13);
}

/* share AGREED OF: bounds */
void answer_share(struct kept *kept, char *rest)
{
    (void)kept;
    const size_t agreed = (size_t)next_number(&rest);
    const struct an_share s = an_share_of(agreed, (size_t)next_number(&rest), 0.95);
    say_numbers((const double[]){s.lower, s.upper}, 2);
}

/* cohen CATEGORIES, data: all of the one rater, then all of the other */
void answer_cohen(struct kept *kept, char *rest)
{
    static size_t rated[KEPT_MOST];
    struct an_kappa k;
    for (size_t i = 0; i < kept->n; i++) {
        rated[i] = (size_t)kept->x[i];
    }
    struct an_arena *arena = an_arena_open();
    const enum an_status st = an_kappa_cohen(rated, rated + kept->n / 2, kept->n / 2,
                                             (size_t)next_number(&rest), 0.95, arena, &k);
    an_arena_close(arena);
    if (st) {
        say_status(st);
        return;
    }
    say_numbers((const double[]){k.agreed, k.chance, k.kappa, k.se, k.se_zero}, 5);
}

/* fleiss CATEGORIES CATEGORY, data: counts by item */
void answer_fleiss(struct kept *kept, char *rest)
{
    static size_t counts[KEPT_MOST];
    struct an_kappa k;
    for (size_t i = 0; i < kept->n; i++) {
        counts[i] = (size_t)kept->x[i];
    }
    const size_t categories = (size_t)next_number(&rest);
    const enum an_status st = an_kappa_fleiss(counts, kept->n / categories, categories,
                                              (size_t)next_number(&rest), 0.95, &k);
    if (st) {
        say_status(st);
        return;
    }
    say_numbers((const double[]){k.kappa, k.se, k.se_zero}, 3);
}

/* spread N1 N2 ..., data group by group: F, its two df, p */
void answer_spread(struct kept *kept, char *rest)
{
    size_t first[64] = {0};
    size_t groups = 0;
    struct an_equal_spread r;
    for (; groups < 63 && *rest; groups++) {
        first[groups + 1] = first[groups] + (size_t)next_number(&rest);
    }
    const enum an_status st = an_equal_spread_of(kept->x, first, groups, kept->scratch, &r);
    if (st) {
        say_status(st);
        return;
    }
    const double out[] = {r.f, r.df_groups, r.df_rest, r.p};
    say_numbers(out, 4);
}
