/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Products scaled to one chart, heads gathered into one. Must never put a product's sigma together
 * from samples of others: moving ranges run between a product's own samples, however many others
 * came between.
 */
#include "andamento/stat/short_run.h"

#include "andamento/stat/tests.h"
#include "stat/chart_formulas.h"
#include "stat/compensated.h"
#include "stat/distribution.h"

#include <math.h>

static enum an_status learn_one(const double x[], const size_t product[], size_t m,
                                const bool excluded[], size_t at, struct an_product *one)
{
    struct pair_sum sum = {0.0, 0.0}, ranges = {0.0, 0.0};
    double first = NAN, last = NAN;
    one->samples = one->ranges = 0.0;
    for (size_t i = 0; i < m; i++) {
        if (product[i] != at || (excluded != NULL && excluded[i])) {
            continue;
        }
        first = one->samples > 0.0 ? first : x[i];
        pair_add(&sum, x[i] - first);
        if (one->samples > 0.0) {
            pair_add(&ranges, fabs(x[i] - last));
            one->ranges += 1.0;
        }
        last = x[i];
        one->samples += 1.0;
    }
    if (isnan(one->target)) {
        if (!(one->samples >= 1.0)) {
            return AN_TOO_FEW;
        }
        one->target = first + sum.hi / one->samples;
    }
    if (isnan(one->sigma)) {
        if (!(one->ranges >= 1.0)) {
            return AN_TOO_FEW;
        }
        one->sigma = ranges.hi / one->ranges / D2_OF_TWO;
        if (!(one->sigma > 0.0)) {
            return AN_NO_SPREAD;
        }
    }
    return AN_OK;
}

enum an_status an_short_run_learn(const double x[], const size_t product[], size_t m,
                                  const bool excluded[], struct an_product products[],
                                  size_t product_count, size_t *bad)
{
    *bad = product_count;
    for (size_t i = 0; i < m; i++) {
        if (product[i] >= product_count ||
            ((excluded == NULL || !excluded[i]) && !isfinite(x[i]))) {
            return AN_DOMAIN;
        }
    }
    for (size_t at = 0; at < product_count; at++) {
        *bad = at;
        if (isinf(products[at].target) || isinf(products[at].sigma) || products[at].sigma <= 0.0) {
            return AN_DOMAIN;
        }
        const enum an_status st = learn_one(x, product, m, excluded, at, &products[at]);
        if (st) {
            return st;
        }
    }
    *bad = product_count;
    return AN_OK;
}

double an_short_run_scaled(const struct an_product *product, double x)
{
    return product->sigma > 0.0 ? (x - product->target) / product->sigma : (double)NAN;
}

/* ---- parallel streams ---- */

double an_group_limit(double streams, double k)
{
    if (!(streams >= 1.0) || !isfinite(streams) || !(k > 0.0)) {
        return NAN;
    }
    const double alone = 2.0 * an_normal_above(k);
    return an_normal_quantile_above(-expm1(log1p(-alone) / streams) / 2.0);
}

double an_group_run_between(double streams, double r)
{
    if (!(streams >= 2.0) || !(r >= 1.0)) {
        return NAN;
    }
    return (pow(streams, r) - 1.0) / (streams - 1.0);
}

int an_group_run_length(double streams, double between)
{
    int r = 2;
    while (r < 20 && an_group_run_between(streams, r) < between) {
        r++;
    }
    return r;
}

struct an_group_point an_group_extremes(const double z[], size_t count)
{
    struct an_group_point point = {count, count, NAN, NAN, 0.0};
    for (size_t i = 0; i < count; i++) {
        if (isnan(z[i])) {
            continue;
        }
        point.known += 1.0;
        if (!(z[i] <= point.up)) {
            point.up = z[i];
            point.highest = i;
        }
        if (!(z[i] >= point.down)) {
            point.down = z[i];
            point.lowest = i;
        }
    }
    return point;
}
