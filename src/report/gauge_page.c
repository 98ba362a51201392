/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One page on a study of a gauge: verdict, readings, bars, numbers, cautions, provenance. Never
 * decides what the study says.
 */
#include "report/gauge_page.h"

#include "andamento/base/instant.h"
#include "report/lone_page.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

struct sheet {
    struct an_lone_page lone;
    const struct an_gauge_result *r;
    const struct an_gauge_page *page;
};

static const char *text_of(struct sheet *s, const char *text)
{
    return an_lone_text(&s->lone, text);
}

static void heading(struct sheet *s, const char *text)
{
    an_lone_heading(&s->lone, text);
}

static void say(struct sheet *s, const struct an_type *type, const char *text)
{
    an_lone_say(&s->lone, type, text);
}

static void head(struct sheet *s)
{
    const struct an_gauge_record *record = s->r->record;
    char at[40];
    an_instant_rfc3339_in(s->lone.line->zone, record->known_us, at);
    at[10] = ' '; /* day and minute are enough here */
    at[16] = '\0';
    an_lone_head(
        &s->lone,
        text_of(s, an_arena_printf(s->lone.arena, "gauge %s, study %lld", record->gauge,
                                   (long long)record->study_id)),
        text_of(s, an_arena_printf(s->lone.arena, "%s study of %zu readings, recorded %s by %s: %s",
                                   an_gauge_kind_name(record->kind), s->r->n, at, record->author,
                                   record->reason)));
}

static void foot(struct sheet *s)
{
    const struct an_gauge_record *record = s->r->record;
    char hex[65];
    const char *lines[] = {an_arena_printf(s->lone.arena,
                                           "store %s, ledger entry %llu, andamento %s",
                                           s->page->store_name, (unsigned long long)record->entry,
                                           s->page->program_version),
                           an_arena_printf(s->lone.arena, "readings: %s, SHA-256 %s", record->file,
                                           an_sha256_hex(&record->hash, hex)),
                           an_lone_ledger(&s->lone, &s->page->head)};
    an_lone_foot(&s->lone, lines, 3);
}

static const char *picture_title(struct sheet *s)
{
    switch (s->r->record->kind) {
    case AN_GAUGE_CROSSED:
        return "Readings: a panel an operator, parts side by side; the line is each part's mean";
    case AN_GAUGE_BIAS:
        return "Readings in the order of the file";
    case AN_GAUGE_LINEARITY:
        return "Reading less reference, over the reference; line and its 95 % band";
    case AN_GAUGE_STABILITY:
        return "The item's own chart, and its bias over time";
    case AN_GAUGE_SORTING:
        break;
    }
    return s->r->standard
               ? "Answers: a column a part, a row a repeat; framed where not the reference"
               : "Answers: a column a part, a row a repeat; shade is the category";
}

static void stability_numbers(struct sheet *s)
{
    const struct an_gauge_stability *g = &s->r->stability;
    const struct an_panel_point usual = an_chart_usual(&g->model);
    const double reach = g->drift.t * g->drift.se_slope;
    struct an_arena *arena = s->lone.arena;
    say(s, &an_lone_body,
        text_of(s,
                an_arena_printf(
                    arena,
                    "Reference %.6g. Chart %s of %zu occasions of %g reading%s: centre %.6g, "
                    "limits %.6g to %.6g at 3 sigma, learned from these occasions; rules: beyond "
                    "a limit, %d in a row on one side.",
                    g->reference, an_family_name(g->model.family), g->count, g->model.n_nominal,
                    g->model.n_nominal < 1.5 ? "" : "s", g->model.centre, usual.lcl, usual.ucl,
                    g->rules.run_length)));
    say(s, &an_lone_body,
        text_of(s,
                an_arena_printf(
                    arena,
                    "Bias of the means %.4g (95 %% bounds %.4g to %.4g, p %.3g). Drift %.3g a day "
                    "(%.3g to %.3g, p %.3g, %g degrees of freedom), %.4g over the %.3g days; by "
                    "the line the bias is %.4g (%.4g to %.4g) at the start, %.4g (%.4g to %.4g) "
                    "at the end; sd about the line %.4g.",
                    g->bias.bias, g->bias.lower, g->bias.upper, g->bias.p, g->drift.slope,
                    g->drift.slope - reach, g->drift.slope + reach, g->drift.p_slope, g->drift.df,
                    g->change, g->days, (g->start.lower + g->start.upper) / 2.0, g->start.lower,
                    g->start.upper, (g->end.lower + g->end.upper) / 2.0, g->end.lower, g->end.upper,
                    g->drift.s)));
    if (g->parts.levels) {
        const struct an_component *c = g->parts.at;
        say(s, &an_lone_body,
            text_of(s, an_arena_printf(arena,
                                       "sd of repeats %.4g (95 %% bounds %.4g to %.4g), between "
                                       "occasions %.4g (%.4g to %.4g), F test p %.3g.",
                                       sqrt(c[1].variance), sqrt(c[1].lower), sqrt(c[1].upper),
                                       sqrt(c[0].variance), sqrt(c[0].lower), sqrt(c[0].upper),
                                       c[0].p)));
    }
}

/* What the numbers say in lines: little, the rest is one command away. */
static void numbers(struct sheet *s)
{
    const struct an_gauge_result *r = s->r;
    heading(s, "Numbers");
    if (r->record->kind == AN_GAUGE_CROSSED) {
        const struct an_gauge_study *g = &r->study;
        say(s, &an_lone_body,
            text_of(s,
                    an_arena_printf(
                        s->lone.arena,
                        "sd: repeatability %.4g, operators %.4g, operator by part %.4g, gauge "
                        "%.4g, parts %.4g. By ranges: repeatability %.4g, operators %.4g, gauge "
                        "%.4g, parts %.4g.",
                        g->source[AN_GAUGE_REPEAT].sd, g->source[AN_GAUGE_OPERATOR].sd,
                        g->source[AN_GAUGE_INTERACTION].sd, g->source[AN_GAUGE_WHOLE].sd,
                        g->source[AN_GAUGE_PARTS].sd, r->ranges.source[AN_GAUGE_REPEAT].sd,
                        r->ranges.source[AN_GAUGE_OPERATOR].sd, r->ranges.source[AN_GAUGE_WHOLE].sd,
                        r->ranges.source[AN_GAUGE_PARTS].sd)));
        say(s, &an_lone_body,
            text_of(s, an_arena_printf(
                           s->lone.arena,
                           "Distinct categories %.1f (95 %% bounds %.1f to %.1f). Of the total "
                           "variance the gauge is %.1f %%, of the study variation %.1f %% (%.1f to "
                           "%.1f). The interaction is %s (p %.3g; left out above %g).",
                           g->categories, g->categories_lower, g->categories_upper,
                           g->source[AN_GAUGE_WHOLE].of_total, g->source[AN_GAUGE_WHOLE].of_study,
                           g->source[AN_GAUGE_WHOLE].of_study_lower,
                           g->source[AN_GAUGE_WHOLE].of_study_upper,
                           g->pooled ? "pooled with the repeats" : "in the model", g->interaction.p,
                           r->record->pool_above)));
    } else if (r->record->kind == AN_GAUGE_BIAS) {
        say(s, &an_lone_body,
            text_of(s, an_arena_printf(
                           s->lone.arena,
                           "Reference %.6g, mean %.6g, sd %.4g, bias %.4g (95 %% bounds "
                           "%.4g to %.4g), t %.3g with %zu degrees of freedom, p %.3g.",
                           r->record->reference_value, r->bias.mean, r->bias.sd, r->bias.bias,
                           r->bias.lower, r->bias.upper, r->bias.t, r->n - 1, r->bias.p)));
    } else if (r->record->kind == AN_GAUGE_LINEARITY) {
        say(s, &an_lone_body,
            text_of(s, an_arena_printf(s->lone.arena,
                                       "Bias = %.4g + %.4g x reference; standard errors %.3g and "
                                       "%.3g; sd about the line %.4g, R squared %.3f; p of slope "
                                       "%.3g, of lack of fit %.3g.",
                                       r->line.intercept, r->line.slope, r->line.se_intercept,
                                       r->line.se_slope, r->line.s, r->line.r_squared,
                                       r->line.p_slope, r->line.lack_p)));
    } else if (r->record->kind == AN_GAUGE_STABILITY) {
        stability_numbers(s);
    } else {
        for (size_t i = 0; r->standard && i < r->person_count && i < 12; i++) {
            if (r->person[i].has_kappa) {
                say(s, &an_lone_body,
                    text_of(s,
                            an_arena_printf(s->lone.arena,
                                            "%s against the reference: kappa %.2f (95 %% bounds "
                                            "%.2f to %.2f)",
                                            r->people[i], r->person[i].kappa.kappa,
                                            r->person[i].kappa.lower, r->person[i].kappa.upper)));
            }
        }
        if (r->has_fleiss) {
            say(s, &an_lone_body,
                text_of(s,
                        an_arena_printf(s->lone.arena,
                                        "All together (Fleiss): kappa %.2f (95 %% bounds %.2f to "
                                        "%.2f)",
                                        r->fleiss.kappa, r->fleiss.lower, r->fleiss.upper)));
        }
    }
}

static void compose(struct sheet *s)
{
    const struct an_gauge_result *r = s->r;
    struct an_type verdict = an_lone_lead;
    verdict.ink = r->grade == AN_GRADE_UNFIT ? AN_SIGNAL : AN_INK;
    head(s);
    foot(s);
    say(s, &verdict,
        text_of(s, an_arena_printf(s->lone.arena, "%s: %s.", r->record->gauge, r->verdict)));
    heading(s, picture_title(s));
    const struct an_box picture = {s->lone.x, s->lone.y, s->lone.width, an_gauge_picture_height(r)};
    an_gauge_picture(s->lone.canvas, r, &picture, s->lone.arena);
    s->lone.y += picture.height + 4;
    const double bars = an_gauge_bars_height(r);
    if (bars > 0.0) {
        heading(s, r->record->kind == AN_GAUGE_SORTING ? "Shares of parts, with 95 % bounds"
                   : r->study.tolerance > 0.0 ? "Per cent of the tolerance (6 sd), with 95 % bounds"
                                              : "Per cent of the study variation, with 95 % bounds "
                                                "where known");
        const struct an_box box = {s->lone.x, s->lone.y, s->lone.width, bars};
        an_gauge_bars(s->lone.canvas, r, &box, s->lone.arena);
        s->lone.y += bars + 4;
    }
    numbers(s);
    heading(s, "What to know before relying on it");
    for (size_t i = 0; i < r->caution_count; i++) {
        say(s, &an_lone_body, r->cautions[i]);
    }
    say(s, &an_lone_small,
        "A study tells about the gauge on its days, parts and people. Calibration, release of "
        "product and the safety of the measurement remain with those authorised for them.");
}

enum an_status an_gauge_page_write(const struct an_line *line, const struct an_gauge_result *result,
                                   const struct an_gauge_page *page, struct an_error *err)
{
    struct an_arena *arena = an_arena_open();
    struct an_canvas *canvas = NULL;
    enum an_status st = arena ? AN_OK : an_fail(err, AN_NO_MEMORY, "out of memory");
    const char *title = st ? NULL
                           : an_arena_printf(arena, "Gauge %s, study %lld", result->record->gauge,
                                             (long long)result->record->study_id);
    const struct an_document_info info = {.title = title,
                                          .author = result->record->author,
                                          .subject = an_gauge_kind_name(result->record->kind),
                                          .created_us = result->record->known_us};
    st = st ? st : an_canvas_open_pdf(page->path, page->paper, &info, &canvas, err);
    if (!st) {
        struct sheet s = {
            .lone = an_lone_page_of(canvas, line, page->paper, arena), .r = result, .page = page};
        an_canvas_expect_pages(canvas, 1);
        compose(&s);
        if (s.lone.failed) {
            an_canvas_abandon(canvas);
            st = an_fail(err, AN_NO_MEMORY, "out of memory while drawing a gauge study");
        } else {
            st = an_canvas_close(canvas, err);
        }
    }
    an_arena_close(arena);
    return st;
}
