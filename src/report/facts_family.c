/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the facts beside a chart say by its family: what is plotted, which limits, how they were
 * learned, how samples come. Never computes a statistic itself.
 */
#include "andamento/base/text.h"
#include "report/facts.h"
#include "report/wording.h"

#include <math.h>
#include <string.h>

static const char *kept(struct an_arena *arena, struct an_text *text)
{
    const char *copy = text->failed ? NULL : an_arena_copy(arena, an_text_of(text), text->length);
    an_text_free(text);
    return copy;
}

/* A value as the chart writes it. */
static const char *say_value(const struct an_facts *of, double value)
{
    return of->sheet->form == AN_FORM_GAPS
               ? an_say_digits(of->gather->arena, value)
               : an_say_number(of->gather->arena, value, of->sheet->decimals);
}

const char *an_say_chart(const struct an_facts *of)
{
    struct an_arena *arena = of->gather->arena;
    const struct an_weighting *w = &of->limits->model.weighting;
    const char *family = an_say_family(of->limits->model.family);
    const char *sigmas = an_say_digits(arena, w->limits);

    switch (w->kind) {
    case AN_EWMA:
        if (w->variables > 0) { /* a squared distance has no sigmas */
            return an_arena_printf(arena, "%s, lambda %s; its limit, h4, is %s", family,
                                   an_say_plain(arena, w->lambda), sigmas);
        }
        return an_arena_printf(arena, "weighted mean, lambda %s, limits at %s of its sigmas: %s",
                               an_say_plain(arena, w->lambda), sigmas, family);
    case AN_CUSUM:
        return an_arena_printf(arena,
                               "cumulative sums to both sides, upper and lower, k %s, h %s sigmas, "
                               "%s after a signal: %s",
                               an_say_plain(arena, w->reference), sigmas,
                               w->goes_on ? "going on" : "both begun anew", family);
    case AN_MOVING_AVERAGE:
        return an_arena_printf(arena, "moving average of %d, limits at %s of its sigmas: %s",
                               w->span, sigmas, family);
    default:
        return family;
    }
}

/* " h", " opportunities", or nothing. */
static const char *unit_words(const struct an_facts *of)
{
    const char *unit = of->sheet->unit;
    if (of->limits->model.family == AN_G) {
        return " opportunities";
    }
    return !*unit || !strcmp(unit, "1") ? "" : an_arena_printf(of->gather->arena, " %s", unit);
}

const char *an_say_limits(const struct an_facts *of)
{
    struct an_arena *arena = of->gather->arena;
    const struct an_stream_view *view = of->view;
    const struct an_stream_sheet *sheet = of->sheet;
    const char *unit = unit_words(of);

    for (size_t i = view->count; i-- > 0;) {
        const struct an_panel_point *level = &view->points[i].point.level;
        if (!isfinite(level->centre)) {
            continue;
        }
        const char *lcl = isfinite(level->lcl) ? say_value(of, level->lcl * view->scale) : "none";
        const char *centre = say_value(of, level->centre * view->scale);
        const char *ucl = say_value(of, level->ucl * view->scale);
        if (sheet->form == AN_FORM_SUMS) {
            return an_arena_printf(arena, "lower sum %s, upper sum %s%s", lcl, ucl, unit);
        }
        if (sheet->form == AN_FORM_GAPS) {
            return an_arena_printf(arena, "lcl %s, centre %s (half the gaps are shorter), ucl %s%s",
                                   lcl, centre, ucl, unit);
        }
        return an_arena_printf(arena, "lcl %s, centre %s, ucl %s%s%s", lcl, centre, ucl, unit,
                               sheet->form == AN_FORM_WEAR ? ", at the newest sample's life" : "");
    }
    return "none";
}

static const char *sigma_text(const struct an_facts *of)
{
    struct an_arena *arena = of->gather->arena;
    const struct an_limits *limits = of->limits;
    const struct an_stream_view *view = of->view;
    const struct an_stream_sheet *sheet = of->sheet;
    struct an_text text = {0};
    const int places = sheet->decimals + 1;
    an_text_addf(
        &text, "of the plotted value %s",
        an_say_measure(arena, limits->model.sigma_level * view->scale, places, sheet->unit));
    if (isfinite(limits->model.sigma_within) && limits->model.n_nominal > 1.0) {
        an_text_addf(
            &text, "; inside a sample %s",
            an_say_measure(arena, limits->model.sigma_within * view->scale, places, sheet->unit));
    }
    if (isfinite(limits->model.between)) {
        an_text_addf(
            &text, "; between items beyond that %s",
            an_say_measure(arena, limits->model.between * view->scale, places, sheet->unit));
    }
    if (isfinite(limits->model.dispersion) && fabs(limits->model.dispersion - 1.0) > 1e-9) {
        an_text_addf(&text, "; dispersion factor %s",
                     an_say_number(arena, limits->model.dispersion, 2));
    }
    if (isfinite(limits->sigma_relative_se)) {
        an_text_addf(&text, "; known to about %s %% (one standard error)",
                     an_say_number(arena, limits->sigma_relative_se * 100.0, 0));
    }
    const char *copy = text.failed ? NULL : an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    return copy;
}

/* "one value an item, of dx and dy together" */
static void add_made_of(struct an_text *text, const struct an_characteristic *c,
                        const struct an_limits *limits)
{
    if (c->kind != AN_DERIVED) {
        return;
    }
    an_text_add(text, ", made of ");
    if (c->derivation == AN_DERIVE_EXTREMES && limits && limits->product_count) {
        an_text_addf(text, "%zu streams of %s: the furthest", limits->product_count,
                     c->of_name[0] ? c->of_name[0] : "one");
    } else if (c->of_count > 1) {
        for (size_t j = 0; j < c->of_count; j++) {
            an_text_addf(text, "%s%s",
                         !j                     ? ""
                         : j + 1 == c->of_count ? " and "
                                                : ", ",
                         c->of_name[j]);
        }
    } else {
        an_text_add(text, c->of_name[0] ? c->of_name[0] : "another");
    }
}

const char *an_say_sampling(const struct an_gather *gather, const struct an_stream_view *view,
                            const struct an_limits *limits, const struct an_stream_sheet *sheet)
{
    struct an_arena *arena = gather->arena;
    const char *word = gather->data->word;
    const bool gaps = sheet->form == AN_FORM_GAPS;
    const int64_t points = gaps ? sheet->period_points : sheet->period_samples;
    static const char *const words[] = {[AN_SUBGROUP_ITEM] = "one sample an item",
                                        [AN_SUBGROUP_ROW] = "each row is a sample",
                                        [AN_SUBGROUP_EVERY] = "consecutive rows"};
    struct an_text text = {0};
    if (view->characteristic) {
        an_text_add(&text, words[view->characteristic->subgroup]);
        if (view->characteristic->subgroup == AN_SUBGROUP_EVERY) {
            an_text_addf(&text, " by %d", view->characteristic->subgroup_size);
        }
        add_made_of(&text, view->characteristic, limits);
    }
    if (isfinite(sheet->readings_per_sample)) {
        const double n = sheet->readings_per_sample;
        an_text_addf(&text, "%s%s", text.length ? ", " : "", an_say_n(arena, n, sheet->counted_in));
    }
    an_text_addf(&text, "; %s this %s", an_say_many(arena, sheet->period_samples, "sample"), word);
    if (gaps) {
        an_text_addf(&text, ", of them %s with an event", an_say_count(arena, points));
    }
    const struct an_panel_sheet *level = &sheet->panel[0];
    if (points > 1 && (size_t)points <= level->count) {
        const size_t last = level->count - 1;
        const int64_t steps = points - 1;
        const int64_t span = level->points[last].at_us - level->points[last - (size_t)steps].at_us;
        an_text_addf(&text, ", one about every %s", an_say_span(arena, span / steps));
    }
    return kept(arena, &text);
}

static const char *gaps_text(const struct an_facts *of)
{
    const struct an_chart_model *m = &of->limits->model;
    struct an_arena *arena = of->gather->arena;

    return an_arena_printf(
        arena,
        "mean gap %s%s from %s, known to about %s %% (one standard error); limits "
        "by chance, for as many events as came together",
        an_say_digits(arena, m->sigma_level), unit_words(of),
        an_say_many(arena, (int64_t)m->df_within, "event"),
        an_say_number(arena, 100.0 / sqrt(m->df_within), 0));
}

enum { PRODUCTS_TOLD = 6 };

/* "head=H2" is "head H2" to a reader. */
static const char *plain_name(struct an_arena *arena, const char *name)
{
    char *words = an_arena_copy(arena, name, strlen(name));
    for (char *at = words; at && *at; at++) {
        *at = *at == '=' ? ' ' : *at;
    }
    return words ? words : name;
}

static const char *products_text(struct an_arena *arena, const struct an_limits *limits)
{
    struct an_text text = {0};

    for (size_t i = 0; i < limits->product_count && i < PRODUCTS_TOLD; i++) {
        const struct an_product_baseline *p = &limits->products[i];
        an_text_addf(&text,
                     limits->model.family == AN_GROUP ? "%s%s level %.5g, sigma %.3g"
                                                      : "%s%s target %.5g, sigma %.3g",
                     i ? "; " : "", plain_name(arena, p->name), p->target, p->sigma);
    }
    if (limits->product_count > PRODUCTS_TOLD) {
        an_text_addf(&text, "; and %zu more", limits->product_count - PRODUCTS_TOLD);
    }
    const char *copy = text.failed ? NULL : an_arena_copy(arena, an_text_of(&text), text.length);
    an_text_free(&text);
    return copy;
}

/* Samples whose product the limits do not know; NULL if there are none. */
static const char *unknown_products(struct an_arena *arena, const struct an_limits *limits,
                                    const struct an_stream_view *view)
{
    const char *name = NULL;
    int64_t count = 0;

    for (size_t i = 0; i < view->count; i++) {
        const struct an_sample *sample = &view->points[i].sample;
        bool known = false;
        for (size_t p = 0; sample->ribbon && !known && p < limits->product_count; p++) {
            known = strcmp(limits->products[p].name, sample->ribbon) == 0;
        }
        count += !known;
        name = known ? name : sample->ribbon ? sample->ribbon : "none named";
    }
    return count ? an_arena_printf(arena,
                                   "%s of a product without target (%s): propose new limits, "
                                   "or give it in 'products'",
                                   an_say_many(arena, count, "sample"), name)
                 : NULL;
}

enum an_status an_facts_of_family(const struct an_facts *of)
{
    struct an_arena *arena = of->gather->arena;
    struct an_stream_sheet *sheet = of->sheet;
    enum an_status st = AN_OK;

    switch (of->limits->model.family) {
    case AN_T2:
    case AN_MEWMA:
        st = an_facts_of_both(of);
        break;
    case AN_WEAR:
        an_facts_of_wear(of);
        an_fact_add(sheet, "Sigma", sigma_text(of));
        break;
    case AN_GROUP:
        an_fact_add(sheet, "Members", products_text(arena, of->limits));
        break;
    case AN_SHORT_RUN:
        an_fact_add(sheet, "Products", products_text(arena, of->limits));
        an_fact_add(sheet, "Not judged", unknown_products(arena, of->limits, of->view));
        break;
    case AN_G:
    case AN_T:
        an_fact_add(sheet, "Learned", gaps_text(of));
        break;
    default:
        an_fact_add(sheet, "Sigma", sigma_text(of));
        an_fact_add(sheet, "Scatter of counts", an_say_scatter(of));
        break;
    }
    return st;
}
