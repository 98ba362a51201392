/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How often charts of counts speak by luck.
 *
 * Responsible for: the law of a count in a stable process, and exact sums over it. Must never judge a
 * count by itself: an_chart_judge says where each count stands, so that this cannot disagree with
 * the chart. Hard idea: limits learned from so many samples depend on their total only, which has a law of
 * the same kind; and over runs of totals that put every count into the same zones nothing changes.
 */
#include "andamento/stat/chart_run_length.h"
#include "stat/chart_formulas.h"
#include "stat/net.h"
#include "stat/rule_chain.h"

#include <math.h>
#include <string.h>

enum {
    COUNTS_COMPARED = 4096, /* different counts, where rules compare neighbours */
    TOTALS = 4096,          /* up to so many totals are told apart one by one */
    TOTALS_PRIME = 48,
    SIGMAS = 16,
};
#define COUNTS_MOST 20e6
#define TINY 1e-18

const char *an_count_kind_name(enum an_count_kind kind)
{
    static const char *const names[] = {"binomial", "Poisson", "beta-binomial",
                                        "negative binomial"};
    return (unsigned)kind < sizeof names / sizeof names[0] ? names[kind] : "unknown";
}

static bool of_units(enum an_family family)
{
    return family == AN_P || family == AN_NP || family == AN_P_PRIME;
}

static bool plain_count(enum an_family family)
{
    return family == AN_NP || family == AN_C;
}

enum an_status an_count_spread_of(const struct an_chart_model *model, struct an_count_spread *law)
{
    const bool primed = model->family == AN_P_PRIME || model->family == AN_U_PRIME;
    const bool rates =
        model->family == AN_C || model->family == AN_U || model->family == AN_U_PRIME;
    const double ratio = primed ? model->dispersion * model->dispersion : 1.0;
    const bool units = of_units(model->family);
    if (!units && !rates) {
        return AN_DOMAIN;
    }
    law->n = units ? round(model->mean_opportunities) : model->mean_opportunities;
    law->mean = plain_count(model->family) ? model->centre * (law->n / model->mean_opportunities)
                                           : model->centre * law->n;
    law->variance_ratio = ratio;
    if (units) {
        law->kind = ratio > 1.0 ? AN_COUNT_BETA_BINOMIAL : AN_COUNT_BINOMIAL;
        return law->n >= 1.0 && law->mean > 0.0 && law->mean < law->n && ratio >= 1.0 &&
                       (ratio > 1.0 ? ratio < law->n : true)
                   ? AN_OK
                   : AN_DOMAIN;
    }
    law->kind = ratio > 1.0 ? AN_COUNT_NEGATIVE_BINOMIAL : AN_COUNT_POISSON;
    return law->n > 0.0 && law->mean > 0.0 && isfinite(law->mean) && ratio >= 1.0 && isfinite(ratio)
               ? AN_OK
               : AN_DOMAIN;
}

/* ---- chances of the counts, each from its neighbour ---- */

/* P(k + 1) / P(k) */
static double step_up(const struct an_count_spread *law, double k)
{
    switch (law->kind) {
    case AN_COUNT_BINOMIAL:
        return (law->n - k) / (k + 1.0) * (law->mean / (law->n - law->mean));
    case AN_COUNT_POISSON:
        return law->mean / (k + 1.0);
    case AN_COUNT_NEGATIVE_BINOMIAL: {
        /* mean = r q / (1 - q), variance = mean / (1 - q) */
        const double r = law->mean / (law->variance_ratio - 1.0);
        return (k + r) / (k + 1.0) * ((law->variance_ratio - 1.0) / law->variance_ratio);
    }
    case AN_COUNT_BETA_BINOMIAL:
    default: {
        /* variance ratio 1 + (n - 1) rho, rho = 1 / (a + b + 1) */
        const double both = (law->n - 1.0) / (law->variance_ratio - 1.0) - 1.0;
        const double a = both * law->mean / law->n;
        const double b = both - a;
        return (law->n - k) * (k + a) / ((k + 1.0) * (law->n - k - 1.0 + b));
    }
    }
}

static double highest(const struct an_count_spread *law)
{
    const bool units = law->kind == AN_COUNT_BINOMIAL || law->kind == AN_COUNT_BETA_BINOMIAL;
    return units ? law->n : (double)INFINITY;
}

/* How far a walk from `start` must go until chances are below TINY of the largest on the way and
 * fall. */
static double walk(const struct an_count_spread *law, double start, int direction)
{
    const double end = direction > 0 ? highest(law) : 0.0;
    double at = start, chance = 1.0, most = 1.0;
    while (at != end && fabs(at - start) < COUNTS_MOST) {
        const double ratio = direction > 0 ? step_up(law, at) : 1.0 / step_up(law, at - 1.0);
        chance *= ratio;
        most = fmax(most, chance);
        if (chance < TINY * most && ratio < 1.0) {
            break;
        }
        at += direction;
    }
    return at;
}

enum an_status an_count_chances_of(const struct an_count_spread *law, struct an_arena *arena,
                                   struct an_count_chances *chances)
{
    if (!(law->mean > 0.0) || !(law->mean < highest(law)) || !(law->mean < 1e15)) {
        return AN_DOMAIN;
    }
    const double start = floor(law->mean);
    const double first = walk(law, start, -1), last = walk(law, start, 1);
    if (last - first > COUNTS_MOST) {
        return AN_DOMAIN;
    }
    const size_t count = (size_t)(last - first) + 1, middle = (size_t)(start - first);
    double *at = an_arena_alloc(arena, 3 * count, sizeof *at);
    if (at == NULL) {
        return AN_NO_MEMORY;
    }
    at[middle] = 1.0;
    for (size_t i = middle; i + 1 < count; i++) {
        at[i + 1] = at[i] * step_up(law, first + (double)i);
    }
    for (size_t i = middle; i > 0; i--) {
        at[i - 1] = at[i] / step_up(law, first + (double)i - 1.0);
    }
    *chances = (struct an_count_chances){first, count, at, at + count, at + 2 * count};
    double sum = 0.0;
    for (size_t i = 0; i < count; i++) {
        sum += at[i];
    }
    double below = 0.0, above = 0.0;
    for (size_t i = 0; i < count; i++) {
        at[i] /= sum;
    }
    for (size_t i = 0; i < count; i++) {
        below += at[i];
        chances->below[i] = below;
        above += at[count - 1 - i];
        chances->above[count - 1 - i] = above;
    }
    return AN_OK;
}

/* Chance of the counts [from, until), from the sums of the nearer tail. */
static double chance_of(const struct an_count_chances *c, size_t from, size_t until)
{
    if (from >= until) {
        return 0.0;
    }
    if (c->below[until - 1] <= 0.5) {
        return c->below[until - 1] - (from > 0 ? c->below[from - 1] : 0.0);
    }
    return c->above[from] - (until < c->count ? c->above[until] : 0.0);
}

/* ---- one chart's run length ---- */

struct counting {
    const struct an_chart_model *model; /* as learned: its centre is the true one */
    const struct an_rule_chain *chain;
    bool alone; /* beyond_limit is the only rule */
    struct an_count_spread law;
    struct an_count_chances chances;
    struct an_arena *arena;
    size_t last_from[AN_ZONES_MOST + 1]; /* of the chart before, and what came out */
    double last_rate;
    bool has_last;
};

static double z_at(const struct counting *c, const struct an_chart_model *judge, size_t i)
{
    const struct an_chart_sample sample = {
        .n = c->law.n, .count = c->chances.first + (double)i, .opportunities = c->law.n};
    return an_chart_judge(judge, &sample, NULL).level.z;
}

/* from[z]: the first count in zone z or above it. z rises with the count. */
static enum an_status find_zones(const struct counting *c, const struct an_chart_model *judge,
                                 size_t from[])
{
    if (isnan(z_at(c, judge, 0)) || isnan(z_at(c, judge, c->chances.count - 1))) {
        return AN_DOMAIN;
    }
    from[0] = 0;
    for (size_t z = 1; z < c->chain->zones; z++) {
        size_t low = from[z - 1], high = c->chances.count;
        while (low < high) {
            const size_t middle = low + (high - low) / 2;
            if (an_zone_of(c->chain, z_at(c, judge, middle)) >= z) {
                high = middle;
            } else {
                low = middle + 1;
            }
        }
        from[z] = low;
    }
    from[c->chain->zones] = c->chances.count;
    return AN_OK;
}

static double rate_alone(const struct counting *c, const size_t from[])
{
    double beyond = 0.0;
    for (size_t z = 0; z < c->chain->zones; z++) {
        beyond += c->chain->zone[z].beyond_limit ? chance_of(&c->chances, from[z], from[z + 1]) : 0;
    }
    return beyond;
}

/* Rules that do not compare see zones only: one value stands for each. */
static size_t lay_zones(const struct counting *c, const struct an_chart_model *judge,
                        const size_t from[], double z[], double chance[])
{
    size_t count = 0;
    for (size_t zone = 0; zone < c->chain->zones; zone++) {
        if (from[zone] < from[zone + 1]) {
            z[count] = z_at(c, judge, from[zone]);
            chance[count++] = chance_of(&c->chances, from[zone], from[zone + 1]);
        }
    }
    return count;
}

/* Counts that stand at one z (held at the limit) are one point. */
static size_t lay_counts(const struct counting *c, const struct an_chart_model *judge, double z[],
                         double chance[])
{
    size_t count = 0;
    for (size_t i = 0; i < c->chances.count; i++) {
        const double at = z_at(c, judge, i);
        if (count > 0 && !(at > z[count - 1])) {
            chance[count - 1] += c->chances.at[i];
        } else {
            z[count] = at;
            chance[count++] = c->chances.at[i];
        }
    }
    return count;
}

/* from: the zones that find_zones found for `judge`. */
static enum an_status rate_in(struct counting *c, const struct an_chart_model *judge,
                              const size_t from[], double *rate)
{
    const size_t bytes = sizeof c->last_from;
    enum an_status st = AN_OK;
    if (!c->chain->compares && c->has_last && memcmp(from, c->last_from, bytes) == 0) {
        *rate = c->last_rate;
        return AN_OK;
    }
    if (c->alone) {
        *rate = rate_alone(c, from);
    } else {
        const bool compares = c->chain->compares;
        const size_t room = compares ? c->chances.count : AN_ZONES_MOST;
        struct an_arena *scratch = an_arena_open();
        double *z = scratch ? an_arena_alloc(scratch, 2 * room, sizeof *z) : NULL;
        struct an_run_length run;
        st = z ? AN_OK : AN_NO_MEMORY;
        if (!st) {
            const size_t count = compares ? lay_counts(c, judge, z, z + room)
                                          : lay_zones(c, judge, from, z, z + room);
            st = an_run_length_rules_discrete(c->chain, z, z + room, count, true, scratch, &run);
        }
        *rate = st ? (double)NAN : 1.0 / run.mean;
        an_arena_close(scratch);
    }
    memcpy(c->last_from, from, bytes);
    c->last_rate = *rate;
    c->has_last = !st;
    return st;
}

static enum an_status rate_of(struct counting *c, const struct an_chart_model *judge, double *rate)
{
    size_t from[AN_ZONES_MOST + 1] = {0};
    const enum an_status st = find_zones(c, judge, from);
    return st ? st : rate_in(c, judge, from, rate);
}

/* ---- over what the limits could have been ---- */

/* The law of the total of m samples: of the same kind, with the same variance over its mean. */
static struct an_count_spread total_of(const struct an_count_spread *one, double m)
{
    struct an_count_spread all = *one;
    all.n = one->n * m;
    all.mean = one->mean * m;
    return all;
}

struct averaging {
    struct counting *c;
    const struct an_chart_model *model;
    double dispersion, weight; /* of the sigma in hand */
    struct an_count_chances totals;
    size_t finest; /* totals that are not told apart further */
    struct an_weighed_rate *rates;
    size_t count, room;
};

/* at: index of the total, or between two of them */
static enum an_status zones_of_total(const struct averaging *a, double at,
                                     struct an_chart_model *judge, size_t from[])
{
    const double m = (double)a->model->samples;
    const double total = a->totals.first + at;
    *judge = *a->model;
    judge->centre = total / m / (plain_count(a->model->family) ? 1.0 : a->c->law.n);
    judge->dispersion = a->dispersion;
    return find_zones(a->c, judge, from);
}

/* Totals first .. last: as the zones of counts only rise with the total, they are the same for all of
 * them if they are at both ends; else by halves. */
static enum an_status take_totals(struct averaging *a, size_t first, size_t last)
{
    size_t at_first[AN_ZONES_MOST + 1] = {0}, at_last[AN_ZONES_MOST + 1] = {0};
    struct an_chart_model judge, other;
    enum an_status st = AN_OK;
    struct {
        size_t first, last;
    } todo[64] = {{first, last}};
    for (size_t depth = 1; !st && depth > 0;) {
        depth--;
        first = todo[depth].first;
        last = todo[depth].last;
        const bool whole =
            last - first < a->finest; /* is not told apart: its middle stands for it */
        const double at = (double)first + (whole ? (double)(last - first) / 2.0 : 0.0);
        st = zones_of_total(a, at, &judge, at_first);
        if (!st && !whole) {
            st = zones_of_total(a, (double)last, &other, at_last);
            if (!st && memcmp(at_first, at_last, sizeof at_first) != 0) {
                const size_t middle = first + (last - first) / 2;
                todo[depth].first = middle + 1; /* the upper half waits under the lower one */
                todo[depth++].last = last;
                todo[depth].first = first;
                todo[depth++].last = middle;
                continue;
            }
        }
        if (!st && a->count < a->room) {
            struct an_weighed_rate *rate = &a->rates[a->count++];
            st = rate_in(a->c, &judge, at_first, &rate->rate);
            rate->weight = a->weight * chance_of(&a->totals, first, last + 1);
        }
    }
    return st;
}

static enum an_status average(struct counting *c, double known, struct an_weighed_rate rates[],
                              size_t room, struct an_estimated_run_length *run_length)
{
    const struct an_chart_model *model = c->model;
    const double m = (double)model->samples;
    const bool primed = model->family == AN_P_PRIME || model->family == AN_U_PRIME;
    const struct an_count_spread law = total_of(&c->law, m);
    const size_t sigmas = primed ? SIGMAS : 1;
    double w[SIGMAS] = {1.0}, w_weight[SIGMAS] = {1.0};
    struct averaging a = {.c = c, .model = model, .rates = rates, .room = room};
    enum an_status st = an_count_chances_of(&law, c->arena, &a.totals);
    if (!st && primed) {
        const double df = df_of_relative_se(moving_range_relative_se(m - 1.0, m - 2.0));
        st = an_sigma_ratio_points(fmax(1.0, df), SIGMAS, w, w_weight);
    }
    if (st) {
        return st;
    }
    /* all but 1e-9 of the totals, and none that teaches no limits */
    size_t low = a.totals.first > 0.0 ? 0 : 1, high = a.totals.count - 1;
    high -= a.totals.first + (double)high >= highest(&law);
    while (low < high && a.totals.below[low] < 5e-10) {
        low++;
    }
    while (high > low && a.totals.above[high] < 5e-10) {
        high--;
    }
    a.finest = (high - low) / (primed ? TOTALS_PRIME : TOTALS) + 1;
    for (size_t s = 0; !st && s < sigmas; s++) {
        a.dispersion = model->dispersion * w[s];
        a.weight = w_weight[s];
        c->has_last = false;
        st = take_totals(&a, low, high);
    }
    double sum = 0.0;
    for (size_t i = 0; i < a.count; i++) {
        sum += rates[i].weight;
    }
    for (size_t i = 0; i < a.count; i++) {
        rates[i].weight /= sum;
    }
    if (!st) {
        *run_length = an_of_rates(rates, a.count, known);
    }
    return st;
}

static bool only_beyond(const struct an_rule_choice *rules)
{
    bool only = rules->on[AN_RULE_BEYOND_LIMIT];
    for (int r = 0; r < AN_RULE_COUNT; r++) {
        only = only && (r == AN_RULE_BEYOND_LIMIT || !rules->on[r]);
    }
    return only;
}

enum an_status an_run_length_counts_ruled(const struct an_chart_model *model,
                                          const struct an_rule_choice *rules,
                                          struct an_arena *arena,
                                          struct an_estimated_run_length *run_length)
{
    struct an_rule_chain *chain;
    struct counting c = {.model = model, .arena = arena, .alone = only_beyond(rules)};
    double rate;
    if (model->weighting.kind != AN_UNWEIGHTED) {
        return AN_DOMAIN;
    }
    if (model->samples < 2) {
        return AN_TOO_FEW;
    }
    enum an_status st = an_count_spread_of(model, &c.law);
    st = st ? st : an_rule_chain_open(rules, model->k, arena, &chain);
    st = st ? st : an_count_chances_of(&c.law, arena, &c.chances);
    if (!st && chain->compares && c.chances.count > COUNTS_COMPARED) {
        st = AN_DOMAIN;
    }
    /* by halves, so at most twice as many as are told apart */
    const size_t room = 2 * TOTALS + 2 * (size_t)SIGMAS * TOTALS_PRIME;
    struct an_weighed_rate *rates = an_arena_alloc(arena, room, sizeof *rates);
    if (!st && rates == NULL) {
        st = AN_NO_MEMORY;
    }
    if (st) {
        return st;
    }
    c.chain = chain;
    st = rate_of(&c, model, &rate);
    return st ? st : average(&c, an_rarity(rate), rates, room, run_length);
}
