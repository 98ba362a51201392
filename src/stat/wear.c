/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The line of wear, departures from it, and where it ends.
 *
 * Must never project from a rate that cannot be told from 0. The tool in use gives its own level, since
 * tools begin at different heights; the rate is the baseline's, since one life alone says little
 * of it. Sums are of deviations from the means, compensated.
 */
#include "andamento/stat/wear.h"

#include "andamento/stat/tests.h"
#include "stat/compensated.h"

#include <math.h>

static bool used(const bool excluded[], size_t i)
{
    return excluded == NULL || !excluded[i];
}

/* Mean of the departures of each life, weighted: their sum of squares beside the rest. */
static double between_tools(const double life[], const double y[], size_t m, const bool excluded[],
                            const struct an_wear *wear)
{
    double total = 0.0, between = 0.0, sum = 0.0, n = 0.0, last = NAN, tools = 0.0;
    for (size_t i = 0; i <= m; i++) {
        if (i < m && !used(excluded, i)) {
            continue;
        }
        if (i == m || life[i] < last) {
            between += n > 0.0 ? sum * sum / n : 0.0;
            tools += n > 0.0 ? 1.0 : 0.0;
            sum = n = 0.0;
            if (i == m) {
                break;
            }
        }
        const double off = y[i] - wear->intercept - wear->rate * life[i];
        total += off * off;
        sum += off;
        n += 1.0;
        last = life[i];
    }
    const double df = wear->samples - tools - 1.0;
    if (tools < 2.0 || df < 1.0 || !(total > between)) {
        return NAN;
    }
    return an_f_above(between / (tools - 1.0) / ((total - between) / df), tools - 1.0, df);
}

enum an_status an_wear_learn(const double life[], const double y[], size_t m, const bool excluded[],
                             struct an_wear *wear)
{
    struct pair_sum lives = {0.0, 0.0}, values = {0.0, 0.0}, xx = {0.0, 0.0}, xy = {0.0, 0.0};
    double last = NAN;
    *wear = (struct an_wear){.life_least = INFINITY, .life_most = -INFINITY, .pure_p = NAN};
    for (size_t i = 0; i < m; i++) {
        if (!used(excluded, i)) {
            continue;
        }
        if (!isfinite(life[i]) || !isfinite(y[i]) || life[i] < 0.0) {
            return AN_DOMAIN;
        }
        pair_add(&lives, life[i]);
        pair_add(&values, y[i]);
        wear->samples += 1.0;
        wear->tools += wear->samples == 1.0 || life[i] < last ? 1.0 : 0.0;
        wear->life_least = fmin(wear->life_least, life[i]);
        wear->life_most = fmax(wear->life_most, life[i]);
        last = life[i];
    }
    if (!(wear->samples >= 5.0)) {
        return AN_TOO_FEW;
    }
    const struct pair_sum x_bar = pair_over(lives, wear->samples);
    const struct pair_sum y_bar = pair_over(values, wear->samples);
    for (size_t i = 0; i < m; i++) {
        if (used(excluded, i)) {
            const double dx = pair_from(life[i], x_bar);
            pair_add_product(&xx, dx, dx);
            pair_add_product(&xy, dx, pair_from(y[i], y_bar));
        }
    }
    if (!(xx.hi > 0.0)) {
        return AN_NO_SPREAD;
    }
    struct pair_sum rest = {0.0, 0.0};
    wear->life_mean = x_bar.hi;
    wear->life_squares = xx.hi;
    wear->rate = xy.hi / xx.hi;
    wear->intercept = y_bar.hi - wear->rate * x_bar.hi;
    for (size_t i = 0; i < m; i++) {
        if (used(excluded, i)) {
            const double off = pair_from(y[i], y_bar) - wear->rate * pair_from(life[i], x_bar);
            pair_add_product(&rest, off, off);
        }
    }
    const double df = wear->samples - 2.0;
    wear->sigma = sqrt(rest.hi / df);
    wear->rate_se = wear->sigma / sqrt(xx.hi);
    wear->t = wear->rate / wear->rate_se;
    if (!(wear->sigma > 0.0)) {
        wear->p = wear->rate != 0.0 ? 0.0 : 1.0;
        return AN_NO_SPREAD;
    }
    wear->p = 2.0 * an_t_below(-fabs(wear->t), df);
    wear->pure_p = between_tools(life, y, m, excluded, wear);
    return AN_OK;
}

struct an_wear_expected an_wear_at(const struct an_wear *wear, double life)
{
    const double off = life - wear->life_mean;
    return (struct an_wear_expected){
        wear->intercept + wear->rate * life,
        wear->sigma * sqrt(1.0 + 1.0 / wear->samples + off * off / wear->life_squares)};
}

/* life + (limit - level) / rate with the variance sigma^2 / n above and rate_se^2 below. */
enum an_status an_wear_end_of(const struct an_wear *wear, const double life[], const double y[],
                              size_t n, double limit, double confidence, struct an_wear_end *end)
{
    *end = (struct an_wear_end){NAN, NAN, NAN};
    if (n < 1) {
        return AN_TOO_FEW;
    }
    if (!isfinite(limit) || !(confidence > 0.0 && confidence < 1.0) || !(wear->samples > 2.0)) {
        return AN_DOMAIN;
    }
    const double x_bar = pair_mean(life, n).hi, y_bar = pair_mean(y, n).hi;
    if (!isfinite(x_bar) || !isfinite(y_bar)) {
        return AN_DOMAIN;
    }
    if (wear->rate == 0.0) {
        return AN_NO_SPREAD;
    }
    const double t = an_t_quantile(0.5 + confidence / 2.0, wear->samples - 2.0);
    const double above = limit - y_bar, below = wear->rate;
    const double ratio = above / below;
    const double var_above = wear->sigma * wear->sigma / (double)n;
    const double var_below = wear->rate_se * wear->rate_se;
    const double g = t * t * var_below / (below * below);
    end->life = x_bar + ratio;
    if (!(g < 1.0)) {
        return AN_NO_SPREAD;
    }
    const double half =
        t / fabs(below) * sqrt((1.0 - g) * var_above + ratio * ratio * var_below) / (1.0 - g);
    end->lower = x_bar + ratio / (1.0 - g) - half;
    end->upper = x_bar + ratio / (1.0 - g) + half;
    return AN_OK;
}
