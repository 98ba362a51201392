/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A gauge study told. Every number leaves through one walk (each_number), so that lines, CSV and
 * JSON cannot differ; crossed studies have a table of their own for people beside it.
 */
#include "cli/gauge_answer.h"

#include <math.h>

typedef void an_take_number(void *context, const char *what, const char *of, double value,
                            double lower, double upper);

static const char *const source_names[] = {
    [AN_GAUGE_REPEAT] = "repeatability",
    [AN_GAUGE_OPERATOR] = "operators",
    [AN_GAUGE_INTERACTION] = "operator by part",
    [AN_GAUGE_REPRODUCE] = "reproducibility",
    [AN_GAUGE_WHOLE] = "whole gauge",
    [AN_GAUGE_PARTS] = "parts",
    [AN_GAUGE_TOTAL] = "total",
};

static void each_row(const struct an_gauge_row *row, const char *of, an_take_number *take,
                     void *context)
{
    take(context, "df", of, row->df, (double)NAN, (double)NAN);
    take(context, "sum of squares", of, row->ss, (double)NAN, (double)NAN);
    take(context, "mean square", of, row->ms, (double)NAN, (double)NAN);
    take(context, "F", of, row->f, (double)NAN, (double)NAN);
    take(context, "p", of, row->p, (double)NAN, (double)NAN);
}

static void each_crossed(const struct an_gauge_result *r, an_take_number *take, void *context)
{
    const struct an_gauge_study *s = &r->study;
    each_row(s->pooled ? &s->part_pooled : &s->part, "parts", take, context);
    each_row(s->pooled ? &s->person_pooled : &s->person, "operators", take, context);
    each_row(&s->interaction, "operator by part", take, context);
    each_row(s->pooled ? &s->repeat_pooled : &s->repeat, "repeatability", take, context);
    for (size_t k = 0; k < AN_GAUGE_SOURCES; k++) {
        const struct an_gauge_part *x = &s->source[k];
        take(context, "variance", source_names[k], x->variance, x->lower, x->upper);
        take(context, "variance before cut at zero", source_names[k], x->raw, (double)NAN,
             (double)NAN);
        take(context, "per cent of total variance", source_names[k], x->of_total, (double)NAN,
             (double)NAN);
        take(context, "per cent of study variation", source_names[k], x->of_study,
             x->of_study_lower, x->of_study_upper);
        take(context, "per cent of tolerance", source_names[k], x->of_tolerance,
             x->of_tolerance_lower, x->of_tolerance_upper);
        take(context, "sd by ranges", source_names[k], r->ranges.source[k].sd, (double)NAN,
             (double)NAN);
    }
    take(context, "distinct categories", "parts", s->categories, s->categories_lower,
         s->categories_upper);
}

static void take_kappa(const struct an_kappa *kappa, const char *of, an_take_number *take,
                       void *context)
{
    take(context, "kappa", of, kappa->kappa, kappa->lower, kappa->upper);
    take(context, "standard error of kappa", of, kappa->se, (double)NAN, (double)NAN);
    take(context, "p of no agreement", of, kappa->p, (double)NAN, (double)NAN);
}

static void take_share(const struct an_share *share, const char *what, const char *of,
                       an_take_number *take, void *context)
{
    if (share->of) {
        take(context, what, of, 100.0 * share->share, 100.0 * share->lower, 100.0 * share->upper);
    }
}

static void each_sorting(struct an_cli *cli, const struct an_gauge_result *r, an_take_number *take,
                         void *context)
{
    for (size_t p = 0; p < r->person_count; p++) {
        take_share(&r->person[p].within, "per cent of parts agreed with self", r->people[p], take,
                   context);
        take_share(&r->person[p].standard, "per cent of parts right each time", r->people[p], take,
                   context);
        if (r->standard && r->person[p].has_kappa) {
            take_kappa(&r->person[p].kappa,
                       an_arena_printf(cli->arena, "%s and reference", r->people[p]), take,
                       context);
        }
    }
    for (size_t i = 0; i < r->pair_count; i++) {
        if (r->pair[i].has_kappa) {
            take_kappa(&r->pair[i].kappa,
                       an_arena_printf(cli->arena, "%s and %s", r->people[r->pair[i].a],
                                       r->people[r->pair[i].b]),
                       take, context);
        }
    }
    take_share(&r->between, "per cent of parts everybody agreed on", "all", take, context);
    take_share(&r->all_standard, "per cent of parts everybody had right", "all", take, context);
    if (r->has_fleiss) {
        take_kappa(&r->fleiss, "all (Fleiss)", take, context);
    }
}

static void each_line(const struct an_gauge_line *line, an_take_number *take, void *context)
{
    const double slope = line->t * line->se_slope;
    const double intercept = line->t * line->se_intercept;
    take(context, "slope", "bias on reference", line->slope, line->slope - slope,
         line->slope + slope);
    take(context, "p", "slope", line->p_slope, (double)NAN, (double)NAN);
    take(context, "intercept", "bias on reference", line->intercept, line->intercept - intercept,
         line->intercept + intercept);
    take(context, "p", "intercept", line->p_intercept, (double)NAN, (double)NAN);
    take(context, "sd about the line", "bias", line->s, (double)NAN, (double)NAN);
    take(context, "R squared", "bias", line->r_squared, (double)NAN, (double)NAN);
    take(context, "p of lack of fit", "bias", line->lack_p, (double)NAN, (double)NAN);
    const struct an_bounds mean = an_gauge_band(line, line->mean_reference);
    take(context, "mean bias", "all", line->average_bias, mean.lower, mean.upper);
}

static void alone(an_take_number *take, void *context, const char *what, const char *of,
                  double value)
{
    take(context, what, of, value, (double)NAN, (double)NAN);
}

static void each_stability(const struct an_gauge_result *r, an_take_number *take, void *context)
{
    const struct an_gauge_stability *s = &r->stability;
    const struct an_panel_point usual = an_chart_usual(&s->model);
    const struct an_panel_point *newest = &s->at[s->count - 1].point.spread;
    const struct an_gauge_line *line = &s->drift;
    const double slope = line->t * line->se_slope;
    const char *level = an_family_statistic(s->model.family, 0);
    const char *spread = an_family_statistic(s->model.family, 1);
    alone(take, context, "occasions", "all", (double)s->count);
    alone(take, context, "days", "all", s->days);
    take(context, "centre and limits", level, s->model.centre, usual.lcl, usual.ucl);
    take(context, "centre and limits", spread, newest->centre, newest->lcl, newest->ucl);
    alone(take, context, "signals", level, (double)s->hit_count[0]);
    alone(take, context, "signals", spread, (double)s->hit_count[1]);
    take(context, "bias", "all", s->bias.bias, s->bias.lower, s->bias.upper);
    alone(take, context, "p", "bias", s->bias.p);
    take(context, "drift a day", "all", line->slope, line->slope - slope, line->slope + slope);
    alone(take, context, "p", "drift", line->p_slope);
    take(context, "change over the study", "all", s->change, s->change_lower, s->change_upper);
    take(context, "bias by the line", "first occasion", (s->start.lower + s->start.upper) / 2.0,
         s->start.lower, s->start.upper);
    take(context, "bias by the line", "last occasion", (s->end.lower + s->end.upper) / 2.0,
         s->end.lower, s->end.upper);
    alone(take, context, "sd about the line", "occasions", line->s);
    for (size_t k = 0; s->parts.levels && k < 2; k++) {
        const struct an_component *c = &s->parts.at[k];
        take(context, "sd", k ? "repeats of an occasion" : "between occasions", sqrt(c->variance),
             sqrt(c->lower), sqrt(c->upper));
    }
    if (s->parts.levels) {
        alone(take, context, "p", "between occasions", s->parts.at[0].p);
    }
}

static void each_number(struct an_cli *cli, const struct an_gauge_result *r, an_take_number *take,
                        void *context)
{
    take(context, "readings", "all", (double)r->n, (double)NAN, (double)NAN);
    switch (r->record->kind) {
    case AN_GAUGE_CROSSED:
        each_crossed(r, take, context);
        break;
    case AN_GAUGE_BIAS:
        take(context, "bias", "all", r->bias.bias, r->bias.lower, r->bias.upper);
        take(context, "mean", "all", r->bias.mean, (double)NAN, (double)NAN);
        take(context, "sd", "all", r->bias.sd, (double)NAN, (double)NAN);
        take(context, "t", "bias", r->bias.t, (double)NAN, (double)NAN);
        take(context, "p", "bias", r->bias.p, (double)NAN, (double)NAN);
        break;
    case AN_GAUGE_LINEARITY:
        each_line(&r->line, take, context);
        for (size_t i = 0; i < r->n; i++) {
            bool first = true;
            for (size_t j = 0; j < i; j++) {
                first = first && r->reference[j] != r->reference[i];
            }
            if (first) {
                const struct an_bounds band = an_gauge_band(&r->line, r->reference[i]);
                take(context, "bias by the line",
                     an_arena_printf(cli->arena, "reference %g", r->reference[i]),
                     (band.lower + band.upper) / 2.0, band.lower, band.upper);
            }
        }
        break;
    case AN_GAUGE_SORTING:
        each_sorting(cli, r, take, context);
        break;
    case AN_GAUGE_STABILITY:
        each_stability(r, take, context);
        break;
    }
}

/* ---- for programs ------------------------------------------------------------------------------------- */
static void cell(struct an_cli_table *table, enum an_format format, double value)
{
    char text[32];
    if (!isfinite(value)) {
        an_cli_cell(table, format == AN_FORMAT_CSV ? "" : "-");
    } else if (format == AN_FORMAT_CSV) {
        an_cli_cell(table, an_number_shortest(value, text));
    } else {
        an_cli_cellf(table, "%.5g", value);
    }
}

struct to_table {
    struct an_cli_table table;
    enum an_format format;
};

static void take_row(void *context, const char *what, const char *of, double value, double lower,
                     double upper)
{
    struct to_table *to = context;
    if (to->format != AN_FORMAT_CSV && !isfinite(value)) {
        return;
    }
    an_cli_cell(&to->table, what);
    an_cli_cell(&to->table, of);
    cell(&to->table, to->format, value);
    cell(&to->table, to->format, lower);
    cell(&to->table, to->format, upper);
}

static void number_table(struct an_cli *cli, const struct an_gauge_result *r)
{
    static const char *const titles[] = {"what", "of", "value", "lower", "upper"};
    struct to_table to = {.table = {.titles = titles, .columns = 5, .right = 4U | 8U | 16U},
                          .format = cli->format};
    each_number(cli, r, take_row, &to);
    an_cli_table_print(cli, &to.table);
}

void an_gauge_rows_csv(struct an_cli *cli, const struct an_gauge_result *r)
{
    number_table(cli, r);
}

static void take_json(void *context, const char *what, const char *of, double value, double lower,
                      double upper)
{
    struct an_json *json = context;
    an_json_object(json);
    an_json_put_string(json, "what", what);
    an_json_put_string(json, "of", of);
    an_json_put_number(json, "value", value);
    an_json_put_number(json, "lower", lower);
    an_json_put_number(json, "upper", upper);
    an_json_end(json, '}');
}

void an_gauge_record_json(struct an_cli *cli, struct an_json *json, const struct an_gauge_record *r)
{
    char hex[65];
    if (r->study_id) {
        an_json_put_integer(json, "study_id", r->study_id);
    }
    an_json_put_string(json, "gauge", r->gauge);
    an_json_put_string(json, "kind", an_gauge_kind_name(r->kind));
    if (r->known_us) {
        an_cli_json_time(cli, json, "recorded_at", r->known_us);
    }
    an_json_put_string(json, "stream", r->stream);
    an_json_put_number(json, "reference", r->reference_value);
    an_json_put_number(json, "tolerance", r->tolerance);
    an_json_put_string(json, "file", r->file);
    an_json_put_string(json, "sha256", an_sha256_hex(&r->hash, hex));
    an_json_put_string(json, "grade", an_gauge_grade_words(r->grade));
    an_json_put_string(json, "verdict", r->verdict);
    an_json_put_string(json, "author", r->author);
    an_json_put_string(json, "signed_key", r->signed_key);
    an_json_put_string(json, "reason", r->reason);
}

void an_gauge_json(struct an_cli *cli, struct an_json *json, const struct an_gauge_result *r)
{
    an_json_object(json);
    an_gauge_record_json(cli, json, r->record);
    if (r->record->kind == AN_GAUGE_CROSSED) {
        an_json_put_bool(json, "interaction_pooled", r->study.pooled);
    }
    an_json_put_integer(json, "parts", (int64_t)r->part_count);
    an_json_put_integer(json, "operators", (int64_t)r->person_count);
    an_json_put_integer(json, "repeats", (int64_t)r->repeats);
    an_json_key(json, "numbers");
    an_json_array(json);
    each_number(cli, r, take_json, json);
    an_json_end(json, ']');
    an_json_key(json, "cautions");
    an_json_array(json);
    for (size_t i = 0; i < r->caution_count; i++) {
        an_json_string(json, r->cautions[i]);
    }
    an_json_end(json, ']');
    an_json_end(json, '}');
}

/* ---- for a person ---------------------------------------------------------------------------------------- */
static void percent_cell(struct an_cli_table *table, double value, double lower, double upper)
{
    if (!isfinite(value)) {
        an_cli_cell(table, "-");
    } else if (isfinite(lower) && isfinite(upper)) {
        an_cli_cellf(table, "%.1f (%.1f to %.1f)", value, lower, upper);
    } else {
        an_cli_cellf(table, "%.1f", value);
    }
}

static void crossed_tables(struct an_cli *cli, const struct an_gauge_result *r)
{
    static const char *const titles[] = {"source",        "sd",         "sd by ranges",
                                         "% of variance", "% of study", "% of tolerance"};
    static const char *const squares[] = {"squares", "df", "sum", "mean square", "F", "p"};
    const struct an_gauge_study *s = &r->study;
    struct an_cli_table table = {.titles = titles, .columns = 6, .right = 2U | 4U | 8U};
    for (size_t k = 0; k < AN_GAUGE_SOURCES; k++) {
        const struct an_gauge_part *x = &s->source[k];
        an_cli_cellf(&table, "%s%s", source_names[k], x->cut ? " (cut at zero)" : "");
        cell(&table, cli->format, x->sd);
        cell(&table, cli->format, r->ranges.source[k].sd);
        an_cli_cellf(&table, "%.1f", x->of_total);
        percent_cell(&table, x->of_study, x->of_study_lower, x->of_study_upper);
        percent_cell(&table, x->of_tolerance, x->of_tolerance_lower, x->of_tolerance_upper);
    }
    an_cli_table_print(cli, &table);
    an_text_addf(&cli->out, "\ndistinct categories %.1f (95 %% bounds %.1f to %.1f)\n\n",
                 s->categories, s->categories_lower, s->categories_upper);
    const struct {
        const char *name;
        const struct an_gauge_row *row;
    } rows[] = {
        {"parts", s->pooled ? &s->part_pooled : &s->part},
        {"operators", s->pooled ? &s->person_pooled : &s->person},
        {"operator by part", &s->interaction},
        {s->pooled ? "repeats, pooled" : "repeats", s->pooled ? &s->repeat_pooled : &s->repeat}};
    struct an_cli_table more = {.titles = squares, .columns = 6, .right = 62U};
    for (size_t i = 0; i < 4; i++) {
        an_cli_cell(&more, rows[i].name);
        cell(&more, cli->format, rows[i].row->df);
        cell(&more, cli->format, rows[i].row->ss);
        cell(&more, cli->format, rows[i].row->ms);
        cell(&more, cli->format, rows[i].row->f);
        cell(&more, cli->format, rows[i].row->p);
    }
    an_cli_table_print(cli, &more);
    an_text_addf(&cli->out, "\nthe interaction is %s (p %.3g, left out above %g)\n",
                 s->pooled ? "pooled with the repeats" : "kept in the model", s->interaction.p,
                 r->record->pool_above);
}

void an_gauge_lines(struct an_cli *cli, const struct an_gauge_result *r)
{
    an_text_addf(&cli->out, "gauge %s, %s study, %zu readings", r->record->gauge,
                 an_gauge_kind_name(r->record->kind), r->n);
    if (r->record->kind == AN_GAUGE_STABILITY) {
        an_text_addf(&cli->out, " (%zu occasions, reference %g)", r->stability.count,
                     r->stability.reference);
    }
    if (r->part_count && r->person_count) {
        an_text_addf(&cli->out, " (%zu parts, %zu operators, %zu repeats)", r->part_count,
                     r->person_count, r->repeats);
    }
    an_text_addf(&cli->out, "\n%s: %s\n\n", an_gauge_grade_words(r->grade), r->verdict);
    if (r->record->kind == AN_GAUGE_CROSSED) {
        crossed_tables(cli, r);
    } else {
        number_table(cli, r);
    }
    if (r->caution_count) {
        an_text_add(&cli->out, "\n");
    }
    for (size_t i = 0; i < r->caution_count; i++) {
        an_text_addf(&cli->out, "%s\n", r->cautions[i]);
    }
}
