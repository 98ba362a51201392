/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Agreement of people who sort items into categories: shares, and kappas that take chance off.
 *
 * Responsible for kappas, their standard errors and exact bounds of shares. Knows no categories by
 * name. [Cohen, Educational and Psychological Measurement 20, 1960; Fleiss, Psychological Bulletin
 * 76, 1971; from memory]
 */
#include "andamento/stat/gauge.h"
#include "andamento/stat/tests.h"
#include "stat/distribution.h"

#include <math.h>

struct an_share an_share_of(size_t agreed, size_t of, double confidence)
{
    const double tail = (1.0 - confidence) / 2.0;
    const double k = (double)agreed;
    const double n = (double)of;
    struct an_share share = {agreed, of, NAN, 0.0, 1.0};
    if (of == 0 || agreed > of) {
        return share;
    }
    share.share = k / n;
    if (agreed > 0) {
        share.lower = an_beta_quantile(tail, k, n - k + 1.0);
    }
    if (agreed < of) {
        share.upper = an_beta_quantile(1.0 - tail, k + 1.0, n - k);
    }
    return share;
}

static void finish(struct an_kappa *k, double confidence)
{
    const double reach = an_normal_quantile((1.0 + confidence) / 2.0) * k->se;
    k->z = k->se_zero > 0.0 ? k->kappa / k->se_zero : (double)NAN;
    k->p = k->se_zero > 0.0 ? an_normal_above(k->z) : (double)NAN;
    k->lower = fmax(-1.0, k->kappa - reach);
    k->upper = fmin(1.0, k->kappa + reach);
}

enum an_status an_kappa_cohen(const size_t a[], const size_t b[], size_t n, size_t categories,
                              double confidence, struct an_arena *arena, struct an_kappa *kappa)
{
    *kappa = (struct an_kappa){.kappa = NAN, .se = NAN, .se_zero = NAN, .z = NAN, .p = NAN};
    if (n < 2) {
        return AN_TOO_FEW;
    }
    const size_t c = categories;
    double *cell = an_arena_alloc(arena, c * c + 2 * c + 1, sizeof *cell);
    if (!cell) {
        return AN_NO_MEMORY;
    }
    double *row = cell + c * c;
    double *column = row + c;
    for (size_t i = 0; i < n; i++) {
        if (a[i] >= c || b[i] >= c) {
            return AN_DOMAIN;
        }
        cell[a[i] * c + b[i]] += 1.0 / (double)n;
        row[a[i]] += 1.0 / (double)n;
        column[b[i]] += 1.0 / (double)n;
    }
    size_t agreed = 0;
    for (size_t i = 0; i < n; i++) {
        agreed += a[i] == b[i];
    }
    kappa->agreed = (double)agreed / (double)n;
    double both = 0.0; /* sum of row * column * (row + column) */
    for (size_t i = 0; i < c; i++) {
        kappa->chance += row[i] * column[i];
        both += row[i] * column[i] * (row[i] + column[i]);
    }
    const double room = 1.0 - kappa->chance;
    if (!(room > 1e-12)) {
        return AN_NO_SPREAD;
    }
    const double k = kappa->kappa = (kappa->agreed - kappa->chance) / room;
    double same = 0.0;
    double other = 0.0;
    for (size_t i = 0; i < c; i++) {
        const double w = 1.0 - (row[i] + column[i]) * (1.0 - k);
        same += cell[i * c + i] * w * w;
        for (size_t j = 0; j < c; j++) {
            const double u = column[i] + row[j];
            other += i == j ? 0.0 : cell[i * c + j] * u * u;
        }
    }
    const double bend = k - kappa->chance * (1.0 - k);
    const double spread = same + (1.0 - k) * (1.0 - k) * other - bend * bend;
    kappa->se = sqrt(fmax(0.0, spread) / (double)n) / room;
    kappa->se_zero =
        sqrt(fmax(0.0, kappa->chance + kappa->chance * kappa->chance - both) / (double)n) / room;
    finish(kappa, confidence);
    return AN_OK;
}

/* Ratings of an item in a category, or in the others: two categories seen from one. */
static double rated(const size_t counts[], size_t categories, size_t item, size_t category,
                    bool others)
{
    double sum = 0.0;
    for (size_t j = 0; j < categories; j++) {
        sum += (j == category) != others ? (double)counts[item * categories + j] : 0.0;
    }
    return sum;
}

/* kappa without one item (left_out = items: with all). NAN if it has no room. */
static double fleiss_without(const size_t counts[], size_t items, size_t categories,
                             size_t category, size_t left_out, double raters, struct an_kappa *k)
{
    const bool one = category < categories;
    const size_t seen = one ? 2 : categories;
    const double n = (double)items - (left_out < items);
    double agreed = 0.0;
    double chance = 0.0;
    double squares = 0.0; /* sums that the standard error wants: p(1-p), p(1-p)(1-2p) */
    double skew = 0.0;
    for (size_t j = 0; j < seen; j++) {
        double of = 0.0;
        for (size_t i = 0; i < items; i++) {
            const double x = one ? rated(counts, categories, i, category, j == 1)
                                 : (double)counts[i * categories + j];
            of += i == left_out ? 0.0 : x;
            agreed += i == left_out ? 0.0 : x * (x - 1.0);
        }
        const double p = of / (n * raters);
        chance += p * p;
        squares += p * (1.0 - p);
        skew += p * (1.0 - p) * (1.0 - 2.0 * p);
    }
    agreed /= n * raters * (raters - 1.0);
    if (!(squares > 1e-12)) {
        return NAN;
    }
    if (k) {
        k->agreed = agreed;
        k->chance = chance;
        k->se_zero = sqrt(2.0 * fmax(0.0, squares * squares - skew)) /
                     (squares * sqrt(n * raters * (raters - 1.0)));
    }
    return (agreed - chance) / squares;
}

enum an_status an_kappa_fleiss(const size_t counts[], size_t items, size_t categories,
                               size_t category, double confidence, struct an_kappa *kappa)
{
    *kappa = (struct an_kappa){.kappa = NAN, .se = NAN, .se_zero = NAN, .z = NAN, .p = NAN};
    if (items < 2 || categories < 1) {
        return AN_TOO_FEW;
    }
    const double raters = rated(counts, categories, 0, categories, true);
    for (size_t i = 1; i < items; i++) {
        if (rated(counts, categories, i, categories, true) != raters) {
            return AN_DOMAIN;
        }
    }
    if (raters < 2.0) {
        return AN_TOO_FEW;
    }
    kappa->kappa = fleiss_without(counts, items, categories, category, items, raters, kappa);
    if (isnan(kappa->kappa)) {
        return AN_NO_SPREAD;
    }
    double sum = 0.0;
    double squares = 0.0;
    double n = 0.0;
    for (size_t i = 0; i < items; i++) {
        const double k =
            fleiss_without(counts, items, categories, category, i, raters, NULL) - kappa->kappa;
        if (!isnan(k)) {
            sum += k;
            squares += k * k;
            n += 1.0;
        }
    }
    kappa->se = n > 1.0 ? sqrt((n - 1.0) / n * fmax(0.0, squares - sum * sum / n)) : (double)NAN;
    finish(kappa, confidence);
    return AN_OK;
}
