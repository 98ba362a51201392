/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Commands of the reference harness about charts of several variables, rare events, short runs, wear
 * and values that remember. */
#include "andamento/stat/attribute_limits.h"
#include "andamento/stat/autoregression.h"
#include "andamento/stat/multivariate.h"
#include "andamento/stat/rare_events.h"
#include "andamento/stat/short_run.h"
#include "andamento/stat/wear.h"
#include "harness.h"

#include <math.h>
#include <string.h>

static enum an_status learn_joint(struct kept *kept, size_t p, const char *spread,
                                  struct an_joint *joint)
{
    return an_joint_learn_items(kept->x, kept->n / p, p, NULL,
                                strcmp(spread, "all") == 0 ? AN_JOINT_ALL : AN_JOINT_SUCCESSIVE,
                                joint);
}

/* joint P SPREAD ALPHA, data item by item: mean, covariance, df, limits of both phases */
void answer_joint(struct kept *kept, char *rest)
{
    struct an_joint joint;
    const size_t p = (size_t)next_number(&rest);
    const char *spread = next_word(&rest);
    const double alpha = next_number(&rest);
    const enum an_status st = learn_joint(kept, p, spread, &joint);
    if (st) {
        say_status(st);
        return;
    }
    double out[AN_JOINT_MOST * (AN_JOINT_MOST + 1) + 3];
    memcpy(out, joint.mean, p * sizeof *out);
    memcpy(out + p, joint.covariance, p * p * sizeof *out);
    out[p + p * p] = joint.df;
    out[p + p * p + 1] = an_joint_limit(&joint, AN_PHASE_ONE, alpha);
    out[p + p * p + 2] = an_joint_limit(&joint, AN_PHASE_TWO, alpha);
    say_numbers(out, p + p * p + 3);
}

/* distance P SPREAD X1 .. XP: T2 and its chance, then what each variable adds alone and given others */
void answer_distance(struct kept *kept, char *rest)
{
    struct an_joint joint;
    double x[AN_JOINT_MOST];
    struct an_contribution part[AN_JOINT_MOST];
    double out[2 + 2 * AN_JOINT_MOST];
    const size_t p = (size_t)next_number(&rest);
    const char *spread = next_word(&rest);
    for (size_t j = 0; j < p; j++) {
        x[j] = next_number(&rest);
    }
    const enum an_status st = learn_joint(kept, p, spread, &joint);
    if (st) {
        say_status(st);
        return;
    }
    out[0] = an_joint_t2(&joint, x);
    out[1] = an_joint_chance(&joint, out[0]);
    an_joint_contributions(&joint, x, 0.05, part);
    for (size_t j = 0; j < p; j++) {
        out[2 + 2 * j] = part[j].alone;
        out[3 + 2 * j] = part[j].own;
    }
    say_numbers(out, 2 + 2 * p);
}

/* mewma P LAMBDA EXACT: the statistic after each item of the data, by their own mean and covariance */
void answer_mewma(struct kept *kept, char *rest)
{
    struct an_joint joint;
    struct an_mewma_state state = {0};
    const size_t p = (size_t)next_number(&rest);
    const double lambda = next_number(&rest);
    const bool exact = next_number(&rest) > 0.0;
    const enum an_status st = learn_joint(kept, p, "all", &joint);
    if (st) {
        say_status(st);
        return;
    }
    for (size_t i = 0; i < kept->n / p; i++) {
        kept->scratch[i] = an_mewma_take(&joint, lambda, exact, &kept->x[i * p], &state);
    }
    say_numbers(kept->scratch, kept->n / p);
}

/* counts PROPORTION RATE N TAIL: lcl ucl below above */
void answer_counts(struct kept *kept, char *rest)
{
    (void)kept;
    struct an_count_law law = {.proportion = next_number(&rest) > 0.0};
    struct an_probability_limits limits;
    law.rate = next_number(&rest);
    law.n = next_number(&rest);
    const enum an_status st = an_probability_limits(&law, next_number(&rest), &limits);
    if (st) {
        say_status(st);
        return;
    }
    say_numbers((const double[]){limits.lcl, limits.ucl, limits.below, limits.above}, 4);
}

/* gap TIME MEAN LENGTH EVENTS K: value centre lcl ucl below above z */
void answer_gap(struct kept *kept, char *rest)
{
    (void)kept;
    struct an_gap_model model = {.kind = next_number(&rest) > 0.0 ? AN_GAP_TIME : AN_GAP_TRIALS};
    struct an_gap gap = {.within = 0};
    model.mean = next_number(&rest);
    gap.length = next_number(&rest);
    gap.events = next_number(&rest);
    const struct an_gap_point g = an_gap_judge(&model, gap, next_number(&rest));
    say_numbers((const double[]){g.value, g.centre, g.lcl, g.ucl, g.below, g.above, g.z}, 7);
}

/* power MEAN: mean and sd of a gap's power */
void answer_power(struct kept *kept, char *rest)
{
    (void)kept;
    double out[2];
    an_gap_power_moments(next_number(&rest), &out[0], &out[1]);
    say_numbers(out, 2);
}

/* heads STREAMS K: the limit of the extremes */
void answer_heads(struct kept *kept, char *rest)
{
    (void)kept;
    const double streams = next_number(&rest);
    say_numbers((const double[]){an_group_limit(streams, next_number(&rest))}, 1);
}

/* wear LIFE LIMIT CONFIDENCE, data life and value in turn: intercept rate sigma se p, expected and its
 * sigma at LIFE, the life at LIMIT (the last 6 pairs are the tool in use) with bounds, pure_p */
void answer_wear(struct kept *kept, char *rest)
{
    struct an_wear wear;
    struct an_wear_end end;
    const size_t m = kept->n / 2;
    double *life = kept->scratch, *y = kept->scratch + m;
    for (size_t i = 0; i < m; i++) {
        life[i] = kept->x[2 * i];
        y[i] = kept->x[2 * i + 1];
    }
    const double at = next_number(&rest), limit = next_number(&rest);
    const double confidence = next_number(&rest);
    enum an_status st = an_wear_learn(life, y, m, NULL, &wear);
    st = st ? st : an_wear_end_of(&wear, life + m - 6, y + m - 6, 6, limit, confidence, &end);
    if (st) {
        say_status(st);
        return;
    }
    const struct an_wear_expected expected = an_wear_at(&wear, at);
    say_numbers((const double[]){wear.intercept, wear.rate, wear.sigma, wear.rate_se, wear.p,
                                 expected.value, expected.sigma, end.life, end.lower, end.upper,
                                 wear.pure_p},
                11);
}

/* remember: phi mean sigma^2 log-likelihood of the data */
void answer_remember(struct kept *kept, char *rest)
{
    (void)rest;
    struct an_autoregression fit;
    const enum an_status st = an_autoregression_fit(kept->x, kept->n, NULL, NULL, &fit);
    if (st) {
        say_status(st);
        return;
    }
    say_numbers((const double[]){fit.phi, fit.mean, fit.sigma * fit.sigma, fit.log_likelihood}, 4);
}

/* portmanteau LAGS FITTED: q df p */
void answer_portmanteau(struct kept *kept, char *rest)
{
    struct an_ljung_box box;
    const size_t lags = (size_t)next_number(&rest);
    const enum an_status st =
        an_ljung_box_of(kept->x, kept->n, lags, (size_t)next_number(&rest), &box);
    if (st) {
        say_status(st);
        return;
    }
    say_numbers((const double[]){box.q, box.df, box.p}, 3);
}

/* scatter FACTOR DF FACTOR DF: ratio lower upper p */
void answer_scatter(struct kept *kept, char *rest)
{
    (void)kept;
    double x[4];
    struct an_scatter_change c;
    for (size_t i = 0; i < 4; i++) {
        x[i] = next_number(&rest);
    }
    const enum an_status st = an_scatter_change_of((struct an_scatter){x[0], x[1]},
                                                   (struct an_scatter){x[2], x[3]}, 0.95, &c);
    if (st) {
        say_status(st);
        return;
    }
    say_numbers((const double[]){c.ratio, c.lower, c.upper, c.p}, 4);
}
