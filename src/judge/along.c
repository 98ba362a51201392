/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Wear by a tool's life, and products on one chart.
 *
 * Must never judge a sample by another product's target, nor take a drift of one tool's life for
 * wear: a baseline holds a change of tool at least once.
 */
#include "judge/along.h"

#include "andamento/base/number.h"
#include "andamento/stat/short_run.h"
#include "andamento/stat/wear.h"

#include <math.h>
#include <string.h>

double an_life_of(const char *text)
{
    struct an_decimal number;

    if (!text) {
        return (double)NAN;
    }
    const char *last = strstr(text, " + ");
    while (last) {
        text = last + 3;
        last = strstr(text, " + ");
    }
    const struct an_bytes field = an_bytes_trim(an_bytes_of(text));
    if (an_decimal_parse(field, '.', 0, &number) && an_decimal_parse(field, ',', 0, &number)) {
        return (double)NAN;
    }
    return number.value >= 0 ? number.value : (double)NAN;
}

static size_t find_product(const struct an_product_baseline *products, size_t count,
                           const char *name)
{
    size_t i = 0;

    while (i < count && strcmp(products[i].name, name) != 0) {
        i++;
    }
    return i;
}

void an_products_scale(const struct an_limits *limits, const struct an_sample *sample,
                       struct an_chart_sample *charted)
{
    const size_t at = sample->ribbon
                          ? find_product(limits->products, limits->product_count, sample->ribbon)
                          : limits->product_count;

    if (at == limits->product_count) {
        charted->n = 0;
        charted->mean = (double)NAN;
        return;
    }
    const struct an_product product = {limits->products[at].target, limits->products[at].sigma, 0,
                                       0};
    charted->mean = an_short_run_scaled(&product, charted->mean);
}

/* ---- wear ------------------------------------------------------------------------------------------ */
enum an_status an_learn_wear(const struct an_baseline *b, struct an_limits *limits,
                             struct an_arena *arena, struct an_error *err)
{
    struct an_chart_model *m = &limits->model;
    const char *column = b->characteristic->ribbon_column;
    double *life = an_arena_alloc(arena, 2 * b->count + 1, sizeof *life);
    bool *excluded = an_arena_alloc(arena, b->count + 1, sizeof *excluded);
    size_t known = 0;

    if (!life || !excluded) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while learning limits");
    }
    double *y = life + b->count;
    for (size_t i = 0; i < b->count; i++) {
        life[i] = b->charted[i].life;
        y[i] = b->charted[i].mean;
        excluded[i] = b->charted[i].excluded || isnan(life[i]);
        known += !excluded[i];
    }
    const enum an_status st = an_wear_learn(life, y, b->count, excluded, &m->wear);
    if (st == AN_TOO_FEW) {
        return an_fail(err, st,
                       "the baseline of %s has %zu usable samples with a life in column %s (%zu "
                       "read): 5 are needed, over at least one change of tool",
                       b->stream->name, known, column, b->count);
    }
    if (st == AN_NO_SPREAD) {
        return an_fail(err, st,
                       m->wear.life_squares > 0
                           ? "every sample of %s stands on the line of wear over %s exactly: there "
                             "is no spread to learn limits from"
                           : "in the baseline of %s the life in column %s never changes: no wear "
                             "can be learned; is it the right column?",
                       b->stream->name, column);
    }
    if (st) {
        return an_fail(err, st, "one of the samples of %s, or its life in column %s, is no number",
                       b->stream->name, column);
    }
    if (m->wear.tools < 2) {
        return an_fail(err, AN_DOMAIN,
                       "in the baseline of %s the life in column %s never falls back: one life "
                       "cannot tell wear from drift; take a baseline over a change of tool, or is "
                       "it the right column?",
                       b->stream->name, column);
    }
    m->samples = known;
    m->centre = an_wear_at(&m->wear, m->wear.life_mean).value;
    m->sigma_level = m->sigma_within = m->wear.sigma;
    m->df_within = m->wear.samples - 2;
    return AN_OK;
}

/* ---- products --------------------------------------------------------------------------------------- */
static size_t list_products(const struct an_baseline *b, struct an_limits *limits, size_t product[])
{
    const struct an_characteristic *c = b->characteristic;

    for (size_t g = 0; g < c->product_count; g++) {
        limits->products[limits->product_count++] =
            (struct an_product_baseline){.name = c->products[g].name,
                                         .target = c->products[g].target,
                                         .sigma = c->products[g].sigma};
    }
    for (size_t i = 0; i < b->count; i++) {
        const char *name = b->samples[i].ribbon;
        if (!name) {
            b->charted[i].excluded = true; /* of no product: teaches nothing */
            product[i] = 0;
            continue;
        }
        product[i] = find_product(limits->products, limits->product_count, name);
        if (product[i] == limits->product_count && !b->charted[i].excluded) {
            limits->products[limits->product_count++] = (struct an_product_baseline){
                .name = name, .target = (double)NAN, .sigma = (double)NAN};
        } else if (product[i] == limits->product_count) {
            product[i] = 0; /* left out, and the only one of its product so far */
        }
    }
    return limits->product_count;
}

static enum an_status tell_product(const struct an_baseline *b, const struct an_limits *limits,
                                   const struct an_product *products, size_t bad, enum an_status st,
                                   struct an_error *err)
{
    const char *name = bad < limits->product_count ? limits->products[bad].name : "";

    switch ((int)st) {
    case AN_TOO_FEW:
        return an_fail(
            err, st,
            "product '%s' has %.0f usable sample%s in the baseline of %s and no target "
            "and sigma in the description: 2 are needed; take a longer baseline, or give "
            "both in 'products'",
            name, products[bad].samples, products[bad].samples == 1 ? "" : "s", b->stream->name);
    case AN_NO_SPREAD:
        return an_fail(err, st,
                       "all samples of product '%s' in the baseline of %s are equal: its sigma "
                       "cannot be learned; give it in 'products'",
                       name, b->stream->name);
    default:
        return an_fail(err, st, "one of the samples of %s is no number", b->stream->name);
    }
}

enum an_status an_learn_short_run(const struct an_baseline *b, struct an_limits *limits,
                                  struct an_arena *arena, struct an_error *err)
{
    const size_t most = b->characteristic->product_count + b->count + 1;
    double *x = an_arena_alloc(arena, b->count + 1, sizeof *x);
    bool *excluded = an_arena_alloc(arena, b->count + 1, sizeof *excluded);
    size_t *product = an_arena_alloc(arena, b->count + 1, sizeof *product);
    struct an_product *products = an_arena_alloc(arena, most, sizeof *products);
    double ranges = 0;
    size_t bad = 0;

    limits->product_count = 0;
    limits->products = an_arena_alloc(arena, most, sizeof *limits->products);
    if (!x || !excluded || !product || !products || !limits->products) {
        return an_fail(err, AN_NO_MEMORY, "out of memory while learning limits");
    }
    const size_t count = list_products(b, limits, product);
    size_t used = 0;
    for (size_t i = 0; i < b->count; i++) {
        x[i] = b->charted[i].mean;
        excluded[i] = b->charted[i].excluded;
        used += !excluded[i];
    }
    if (used == 0) {
        return an_fail(err, AN_TOO_FEW,
                       "no sample in the baseline of %s has a product in column %s",
                       b->stream->name, b->characteristic->ribbon_column);
    }
    for (size_t p = 0; p < count; p++) {
        products[p] =
            (struct an_product){limits->products[p].target, limits->products[p].sigma, 0, 0};
    }
    const enum an_status st =
        an_short_run_learn(x, product, b->count, excluded, products, count, &bad);
    if (st) {
        return tell_product(b, limits, products, bad, st, err);
    }
    for (size_t p = 0; p < count; p++) {
        limits->products[p].target = products[p].target;
        limits->products[p].sigma = products[p].sigma;
        limits->products[p].samples = products[p].samples;
        ranges += products[p].ranges;
    }
    for (size_t i = 0; i < b->count; i++) {
        an_products_scale(limits, &b->samples[i], &b->charted[i]);
    }
    limits->model.samples = used;
    limits->model.centre = 0;
    limits->model.sigma_level = limits->model.sigma_within = 1;
    limits->model.df_within = 0.62 * ranges; /* of a mean of as many moving ranges, about */
    return AN_OK;
}
