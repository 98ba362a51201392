/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The numbers of a gauge study on its page: a table of the sources of a crossed one, a sentence or two
 * of the others. Never decides what the study says; what is left out is one command away.
 */
#include "andamento/draw/table.h"
#include "report/gauge_sheet.h"
#include "report/wording.h"

#include <math.h>

static const char *say_p(struct an_gauge_sheet *s, double p)
{
    return p < 0.0001 ? "below 0.0001"
                      : an_gauge_text(s, an_arena_printf(s->lone.arena, "%.2g", p));
}

/* "0.0243 um" */
static const char *with_unit(struct an_gauge_sheet *s, double value, int figures)
{
    return an_gauge_text(s, an_arena_printf(s->lone.arena, "%.*g%s%s", figures, value,
                                            s->unit ? " " : "", s->unit ? s->unit : ""));
}

/* ---- crossed ------------------------------------------------------------------------------------- */
static const char *percent(struct an_gauge_sheet *s, double value, double lower, double upper)
{
    if (!isfinite(value)) {
        return "";
    }
    return an_gauge_text(
        s, isfinite(lower) && isfinite(upper)
               ? an_arena_printf(s->lone.arena, "%.1f (%.1f to %.1f)", value, lower, upper)
               : an_arena_printf(s->lone.arena, "%.1f", value));
}

static void sources(struct an_gauge_sheet *s)
{
    static const struct {
        enum an_gauge_source source;
        const char *name;
    } rows[] = {{AN_GAUGE_REPEAT, "repeatability"},
                {AN_GAUGE_OPERATOR, "operators"},
                {AN_GAUGE_INTERACTION, "operator by part"},
                {AN_GAUGE_REPRODUCE, "reproducibility: both of these"},
                {AN_GAUGE_WHOLE, "whole gauge"},
                {AN_GAUGE_PARTS, "parts"},
                {AN_GAUGE_TOTAL, "total"}};
    enum { ROWS = sizeof rows / sizeof rows[0], COLUMNS = 6 };
    const struct an_gauge_study *g = &s->r->study;
    const struct an_table_column columns[COLUMNS] = {
        {"source of spread", 2.6, AN_LEFT, false},
        {s->unit ? an_gauge_text(s, an_arena_printf(s->lone.arena, "sd, %s", s->unit)) : "sd", 1.0,
         AN_RIGHT, false},
        {"sd by ranges", 1.2, AN_RIGHT, false},
        {"% of variance", 1.3, AN_RIGHT, false},
        {"% of study (bounds)", 2.2, AN_RIGHT, false},
        {g->tolerance > 0.0 ? "% of tolerance (bounds)" : "% of tolerance: none given", 2.3,
         AN_RIGHT, false}};
    const char *cells[ROWS * COLUMNS];
    for (size_t i = 0; i < ROWS; i++) {
        const struct an_gauge_part *x = &g->source[rows[i].source];
        const struct an_gauge_part *by_range = &s->r->ranges.source[rows[i].source];
        const bool left_out = rows[i].source == AN_GAUGE_INTERACTION && g->pooled;
        const bool whole = rows[i].source == AN_GAUGE_TOTAL;
        const char **cell = cells + i * COLUMNS;
        cell[0] = rows[i].name;
        cell[1] =
            left_out ? "pooled" : an_gauge_text(s, an_arena_printf(s->lone.arena, "%.4g", x->sd));
        cell[2] = rows[i].source == AN_GAUGE_INTERACTION || !isfinite(by_range->sd)
                      ? "-"
                      : an_gauge_text(s, an_arena_printf(s->lone.arena, "%.4g", by_range->sd));
        cell[3] = left_out ? "-" : percent(s, x->of_total, (double)NAN, (double)NAN);
        cell[4] = left_out ? "-"
                  : whole  ? "100.0"
                           : percent(s, x->of_study, x->of_study_lower, x->of_study_upper);
        cell[5] = left_out ? "-"
                  : !(g->tolerance > 0.0)
                      ? "-"
                      : percent(s, x->of_tolerance, x->of_tolerance_lower, x->of_tolerance_upper);
    }
    const struct an_table table = {columns, COLUMNS, cells, ROWS, NULL, 8.0};
    const struct an_box box = {s->lone.x, s->lone.y, s->lone.width, 240};
    size_t next = 0;
    s->lone.y += an_table_draw(s->lone.canvas, &box, &table, 0, &next) + 6;
}

static void crossed(struct an_gauge_sheet *s)
{
    const struct an_gauge_study *g = &s->r->study;
    sources(s);
    an_gauge_say(
        s, NULL,
        an_gauge_text(s, an_arena_printf(s->lone.arena,
                                         "Bounds are at 95 %%. Distinct categories %.1f (%.1f to "
                                         "%.1f). The interaction is %s (p %s; pooled above "
                                         "%g).",
                                         g->categories, g->categories_lower, g->categories_upper,
                                         g->pooled ? "pooled with the repeats" : "in the model",
                                         say_p(s, g->interaction.p), s->r->record->pool_above)));
}

/* ---- the others ------------------------------------------------------------------------------------ */
static void bias(struct an_gauge_sheet *s)
{
    const struct an_gauge_bias *b = &s->r->bias;
    an_gauge_say(
        s, NULL,
        an_gauge_text(s, an_arena_printf(s->lone.arena,
                                         "Reference %s, mean %s, sd %s; bias %s (95 %% "
                                         "bounds %.3g to %.3g); t %.3g with %zu degrees of "
                                         "freedom, p %s.",
                                         with_unit(s, s->r->record->reference_value, 6),
                                         with_unit(s, b->mean, 6), with_unit(s, b->sd, 3),
                                         with_unit(s, b->bias, 3), b->lower, b->upper, b->t,
                                         s->r->n - 1, say_p(s, b->p))));
}

static void linearity(struct an_gauge_sheet *s)
{
    const struct an_gauge_line *line = &s->r->line;
    const char *unit =
        s->unit ? an_gauge_text(s, an_arena_printf(s->lone.arena, ", in %s", s->unit)) : "";
    an_gauge_say(
        s, NULL,
        an_gauge_text(s, an_arena_printf(
                             s->lone.arena,
                             "Bias = %.4g %s %.4g × reference%s; standard errors %.3g and %.3g; sd "
                             "about the line %.3g; R squared %.3f. p of the slope %s, of lack of "
                             "fit %s.",
                             line->intercept, line->slope < 0 ? "−" : "+", fabs(line->slope), unit,
                             line->se_intercept, line->se_slope, line->s, line->r_squared,
                             say_p(s, line->p_slope),
                             isfinite(line->lack_p) ? say_p(s, line->lack_p)
                                                    : "not to be had: no reference came twice")));
}

static void stability(struct an_gauge_sheet *s)
{
    const struct an_gauge_stability *g = &s->r->stability;
    const struct an_panel_point usual = an_chart_usual(&g->model);
    const double reach = g->drift.t * g->drift.se_slope;
    struct an_arena *arena = s->lone.arena;
    an_gauge_say(
        s, NULL,
        an_gauge_text(
            s, an_arena_printf(
                   arena,
                   "Reference %.6g. Chart %s of %zu occasions of %g reading%s: centre %.6g, "
                   "limits %.6g to %.6g at 3 sigma, learned from these occasions; rules: beyond "
                   "a limit, %d in a row on one side.",
                   g->reference, an_family_name(g->model.family), g->count, g->model.n_nominal,
                   g->model.n_nominal < 1.5 ? "" : "s", g->model.centre, usual.lcl, usual.ucl,
                   g->rules.run_length)));
    an_gauge_say(
        s, NULL,
        an_gauge_text(
            s, an_arena_printf(
                   arena,
                   "Bias of the means %.4g (95 %% bounds %.4g to %.4g, p %s). Drift %.3g a day "
                   "(%.3g to %.3g, p %s, %g degrees of freedom), %.4g over the %.3g days; by "
                   "the line the bias is %.4g (%.4g to %.4g) at the start, %.4g (%.4g to %.4g) "
                   "at the end; sd about the line %.4g.",
                   g->bias.bias, g->bias.lower, g->bias.upper, say_p(s, g->bias.p), g->drift.slope,
                   g->drift.slope - reach, g->drift.slope + reach, say_p(s, g->drift.p_slope),
                   g->drift.df, g->change, g->days, (g->start.lower + g->start.upper) / 2.0,
                   g->start.lower, g->start.upper, (g->end.lower + g->end.upper) / 2.0,
                   g->end.lower, g->end.upper, g->drift.s)));
    if (g->parts.levels) {
        const struct an_component *c = g->parts.at;
        an_gauge_say(s, NULL,
                     an_gauge_text(s, an_arena_printf(
                                          arena,
                                          "sd of repeats %.4g (95 %% bounds %.4g to %.4g), between "
                                          "occasions %.4g (%.4g to %.4g), F test p %s.",
                                          sqrt(c[1].variance), sqrt(c[1].lower), sqrt(c[1].upper),
                                          sqrt(c[0].variance), sqrt(c[0].lower), sqrt(c[0].upper),
                                          say_p(s, c[0].p))));
    }
}

static void sorting(struct an_gauge_sheet *s)
{
    const struct an_gauge_result *r = s->r;
    for (size_t i = 0; r->standard && i < r->person_count && i < 12; i++) {
        if (r->person[i].has_kappa) {
            an_gauge_say(s, NULL,
                         an_gauge_text(s, an_arena_printf(
                                              s->lone.arena,
                                              "%s against the reference: kappa %.2f (95 %% "
                                              "bounds %.2f to %.2f)",
                                              r->people[i], r->person[i].kappa.kappa,
                                              r->person[i].kappa.lower, r->person[i].kappa.upper)));
        }
    }
    if (r->has_fleiss) {
        an_gauge_say(
            s, NULL,
            an_gauge_text(s, an_arena_printf(s->lone.arena,
                                             "All together (Fleiss): kappa %.2f (95 %% "
                                             "bounds %.2f to %.2f)",
                                             r->fleiss.kappa, r->fleiss.lower, r->fleiss.upper)));
    }
}

void an_gauge_numbers(struct an_gauge_sheet *s)
{
    an_gauge_heading(s, "Numbers");
    switch (s->r->record->kind) {
    case AN_GAUGE_CROSSED:
        crossed(s);
        break;
    case AN_GAUGE_BIAS:
        bias(s);
        break;
    case AN_GAUGE_LINEARITY:
        linearity(s);
        break;
    case AN_GAUGE_STABILITY:
        stability(s);
        break;
    case AN_GAUGE_SORTING:
        sorting(s);
        break;
    }
}
