/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A stream's capability as JSON, as columns, as lines. Must never compute: it tells what the judge
 * found, with every number's method and bounds beside it. */
#include "cli/capability_answer.h"

#include <math.h>

void an_json_index(struct an_json *json, const char *key, const struct an_index *index)
{
    an_json_key(json, key);
    an_json_object(json);
    an_json_put_number(json, "value", index->value);
    an_json_put_number(json, "lower", index->lower);
    an_json_put_number(json, "upper", index->upper);
    an_json_end(json, '}');
}

/* ---- JSON --------------------------------------------------------------------------------------- */
static void json_shape(struct an_json *json, const struct an_shape_result *r)
{
    an_json_key(json, "shape");
    an_json_object(json);
    an_json_put_string(json, "name", an_shape_name(r->fit.shape));
    an_json_put_bool(json, "chosen_from_readings", r->automatic);
    an_json_put_string(json, "runner_up",
                       r->second == AN_SHAPE_COUNT ? NULL : an_shape_name(r->second));
    an_json_put_number(json, "runner_up_behind",
                       r->second == AN_SHAPE_COUNT ? (double)NAN : r->second_behind);
    an_json_key(json, "parameters");
    an_json_object(json);
    for (size_t i = 0; i < an_shape_parameters(r->fit.shape); i++) {
        an_json_put_number(json, an_shape_parameter(r->fit.shape, i), r->fit.par[i]);
    }
    an_json_end(json, '}');
    an_json_put_number(json, "log_likelihood", r->fit.log_likelihood);
    an_json_put_number(json, "bic", an_fit_bic(&r->fit));
    an_json_put_number(json, "anderson_darling", r->test.a2);
    an_json_put_number(json, "p", r->test.p);
    an_json_put_string(json, "p_by", r->test.simulated ? "simulation" : "published formula");
    an_json_put_number(json, "percentile_0_135", r->by.low);
    an_json_put_number(json, "percentile_50", r->by.middle);
    an_json_put_number(json, "percentile_99_865", r->by.high);
    an_json_index(json, "below", &r->by.below);
    an_json_index(json, "above", &r->by.above);
    an_json_put_integer(json, "simulated_sets", (int64_t)r->by.sets);
    an_json_put_integer(json, "sets_without_fit", (int64_t)r->by.failed);
    an_json_end(json, '}');
}

static void json_position(struct an_json *json, const struct an_stream_capability *c)
{
    const struct an_position_capability *p = &c->position;
    an_json_key(json, "position");
    an_json_object(json);
    an_json_put_integer(json, "pairs", (int64_t)p->n);
    an_json_put_number(json, "radius", c->spec.usl);
    an_json_put_number(json, "mean_x", p->fit.mean_x);
    an_json_put_number(json, "mean_y", p->fit.mean_y);
    an_json_put_number(json, "sd_x", p->fit.sd_x);
    an_json_put_number(json, "sd_y", p->fit.sd_y);
    an_json_put_number(json, "correlation", p->fit.correlation);
    an_json_put_number(json, "sd_long", p->sd_long);
    an_json_put_number(json, "sd_short", p->sd_short);
    an_json_put_number(json, "offset", p->offset);
    an_json_index(json, "outside", &p->outside);
    an_json_put_number(json, "outside_if_centred", p->outside_centred);
    an_json_put_integer(json, "outside_seen", (int64_t)p->outside_seen);
    an_json_index(json, "ppk", &p->ppk);
    an_json_index(json, "pp", &p->pp);
    an_json_end(json, '}');
}

static void json_tolerance(struct an_json *json, const struct an_tolerance_limits *t)
{
    an_json_key(json, "tolerance");
    an_json_object(json);
    an_json_put_number(json, "coverage", t->coverage);
    an_json_put_number(json, "confidence", t->confidence);
    an_json_put_number(json, "normal_lower", t->lower);
    an_json_put_number(json, "normal_upper", t->upper);
    an_json_put_number(json, "order_lower", t->order_lower);
    an_json_put_number(json, "order_upper", t->order_upper);
    an_json_put_number(json, "order_confidence", t->order_confidence);
    an_json_put_integer(json, "order_wants_readings", (int64_t)t->order_least);
    an_json_end(json, '}');
}

static void json_counted(struct an_json *json, const struct an_counted_result *c)
{
    an_json_key(json, "counted");
    an_json_object(json);
    an_json_put_number(json, "count", c->count);
    an_json_put_number(json, "opportunities", c->opportunities);
    an_json_index(json, "rate", &c->rate);
    an_json_put_number(json, "per_million", c->rate.value * 1e6);
    an_json_put_number(json, "first_pass_yield", c->proportion ? 1 - c->rate.value : (double)NAN);
    an_json_put_number(json, "dispersion", c->has_dispersion ? c->dispersion.factor : (double)NAN);
    an_json_put_number(json, "dispersion_p", c->has_dispersion ? c->dispersion.p : (double)NAN);
    if (c->has_dispersion) {
        an_json_index(json, "rate_widened", &c->dispersion.widened);
    }
    an_json_put_number(json, "sigma_level_by_convention", c->sigma_level);
    an_json_end(json, '}');
}

static void json_indices(struct an_json *json, const struct an_capability *indices)
{
    an_json_index(json, "cp", &indices->cp);
    an_json_index(json, "cpk", &indices->cpk);
    an_json_index(json, "cpl", &indices->cpl);
    an_json_index(json, "cpu", &indices->cpu);
    an_json_index(json, "pp", &indices->pp);
    an_json_index(json, "ppk", &indices->ppk);
    an_json_index(json, "ppl", &indices->ppl);
    an_json_index(json, "ppu", &indices->ppu);
    an_json_index(json, "cpm", &indices->cpm);
    an_json_put_number(json, "expected_below", indices->below);
    an_json_put_number(json, "expected_above", indices->above);
}

void an_capability_json(struct an_cli *cli, struct an_json *json,
                        const struct an_stream_capability *c, const struct an_stream_gauge *gauge)
{
    an_json_object(json);
    an_json_put_string(json, "stream", c->stream.name);
    an_json_put_bool(json, "stable", c->stable);
    an_json_put_string(json, "method", c->method);
    an_json_put_integer(json, "samples", c->samples);
    an_json_put_number(json, "readings", c->n);
    an_json_put_integer(json, "signalling_samples", (int64_t)c->signalling);
    an_json_put_number(json, "lsl", c->spec.lsl);
    an_json_put_number(json, "target", c->spec.target);
    an_json_put_number(json, "usl", c->spec.usl);
    an_json_put_number(json, "mean", c->basis.mean);
    an_json_put_number(json, "sigma_within", c->basis.sigma_within);
    an_json_put_number(json, "df_within", c->basis.df_within);
    an_json_put_number(json, "sigma_overall", c->basis.sigma_overall);
    an_json_put_number(json, "mean_standard_error",
                       c->basis.mean_se > 0 ? c->basis.mean_se
                                            : c->basis.sigma_overall / sqrt(fmax(c->n, 1)));
    an_json_put_number(json, "confidence", c->basis.confidence);
    json_indices(json, &c->indices);
    an_json_put_number(json, "normality_a2", c->normality.a2);
    an_json_put_number(json, "normality_p", c->normality.p);
    an_json_put_number(json, "lag1", c->lag1);
    an_json_put_number(json, "lag1_bound", c->lag1_bound);
    an_json_put_bool(json, "past_only", !c->stable);
    if (c->shape.used) {
        json_shape(json, &c->shape);
    }
    if (c->has_position) {
        json_position(json, c);
    }
    if (c->tolerance.coverage > 0) {
        json_tolerance(json, &c->tolerance);
    }
    if (c->counted.opportunities > 0) {
        json_counted(json, &c->counted);
    }
    an_stream_gauge_json(cli, json, gauge);
    an_json_put_string(json, "why_not", c->why_not);
    an_json_key(json, "notes");
    an_json_array(json);
    for (size_t i = 0; i < c->note_count; i++) {
        an_json_string(json, c->notes[i]);
    }
    an_json_end(json, ']');
    an_json_end(json, '}');
}

/* ---- columns for programs -------------------------------------------------------------------------- */
const char *const an_capability_columns[] = {"stream",
                                             "stable",
                                             "method",
                                             "samples",
                                             "readings",
                                             "lsl",
                                             "target",
                                             "usl",
                                             "mean",
                                             "sigma_within",
                                             "sigma_overall",
                                             "cp",
                                             "cp_lower",
                                             "cp_upper",
                                             "cpk",
                                             "cpk_lower",
                                             "cpk_upper",
                                             "pp",
                                             "pp_lower",
                                             "pp_upper",
                                             "ppk",
                                             "ppk_lower",
                                             "ppk_upper",
                                             "cpm",
                                             "cpm_lower",
                                             "cpm_upper",
                                             "expected_below",
                                             "expected_above",
                                             "normality_p",
                                             "lag1",
                                             "shape",
                                             "shape_p",
                                             "position_ppk",
                                             "position_ppk_lower",
                                             "position_ppk_upper",
                                             "position_outside",
                                             "rate",
                                             "rate_lower",
                                             "rate_upper",
                                             "dispersion",
                                             "tolerance_lower",
                                             "tolerance_upper",
                                             "why_not",
                                             AN_STREAM_GAUGE_COLUMNS};
const size_t an_capability_column_count =
    sizeof an_capability_columns / sizeof *an_capability_columns;

static void number_cell(struct an_cli_table *table, double value)
{
    char text[32];
    an_cli_cell(table, isfinite(value) ? an_number_shortest(value, text) : "");
}

static void index_cells(struct an_cli_table *table, const struct an_index *index)
{
    number_cell(table, index->value);
    number_cell(table, index->lower);
    number_cell(table, index->upper);
}

void an_capability_row(struct an_cli *cli, struct an_cli_table *table,
                       const struct an_stream_capability *c, const struct an_stream_gauge *gauge)
{
    const struct an_index none = {(double)NAN, (double)NAN, (double)NAN};
    const struct an_capability_basis *b = &c->basis;
    const bool counted = c->counted.opportunities > 0;
    an_cli_cell(table, c->stream.name);
    an_cli_cell(table, c->stable ? "yes" : "no");
    an_cli_cell(table, c->method);
    number_cell(table, (double)c->samples);
    number_cell(table, c->n);
    const double numbers[] = {c->spec.lsl, c->spec.target,  c->spec.usl,
                              b->mean,     b->sigma_within, b->sigma_overall};
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++) {
        number_cell(table, numbers[i]);
    }
    index_cells(table, &c->indices.cp);
    index_cells(table, &c->indices.cpk);
    index_cells(table, &c->indices.pp);
    index_cells(table, &c->indices.ppk);
    index_cells(table, &c->indices.cpm);
    number_cell(table, c->indices.below);
    number_cell(table, c->indices.above);
    number_cell(table, c->normality.p);
    number_cell(table, c->lag1);
    an_cli_cell(table, c->shape.used ? an_shape_name(c->shape.fit.shape) : "");
    number_cell(table, c->shape.used ? c->shape.test.p : (double)NAN);
    index_cells(table, c->has_position ? &c->position.ppk : &none);
    number_cell(table, c->has_position ? c->position.outside.value : (double)NAN);
    index_cells(table, counted ? &c->counted.rate : &none);
    number_cell(table,
                counted && c->counted.has_dispersion ? c->counted.dispersion.factor : (double)NAN);
    number_cell(table, c->tolerance.lower);
    number_cell(table, c->tolerance.upper);
    an_cli_cell(table, c->why_not ? c->why_not : "");
    an_stream_gauge_cells(cli, table, gauge);
}

/* ---- lines for a person ----------------------------------------------------------------------------- */
static void index_line(struct an_text *out, const char *name, const struct an_index *index,
                       const char *how)
{
    if (!isfinite(index->value)) {
        return;
    }
    if (isfinite(index->lower) && isfinite(index->upper)) {
        an_text_addf(out, "  %-5s %.3f (%.3f to %.3f)  %s\n", name, index->value, index->lower,
                     index->upper, how);
    } else {
        an_text_addf(out, "  %-5s %.3f  %s, no bounds\n", name, index->value, how);
    }
}

static void index_lines(struct an_text *out, const struct an_stream_capability *c)
{
    const struct an_capability *i = &c->indices;
    const bool shaped = c->shape.used;
    const bool both = isfinite(c->spec.lsl) && isfinite(c->spec.usl);
    const char *side = shaped                 ? "percentiles of the fit, simulated"
                       : both                 ? "normal approximation"
                       : c->basis.mean_se > 0 ? "noncentral t, items told apart"
                                              : "noncentral t, exact";
    if (c->has_position) { /* indices of a distance from a centre would be wrong numbers */
        index_line(out, "Ppk", &c->position.ppk,
                   "position in the circle; 1.00 is 0.27 % outside; simulated");
        index_line(out, "Pp", &c->position.pp, "position, were the mean on the centre; simulated");
        return;
    }
    index_line(out, "Cp", &i->cp, "short-term sigma; chi-square");
    index_line(out, "Cpk", &i->cpk, both ? "short-term sigma; normal approximation" : "one side");
    index_line(out, "Pp", &i->pp, shaped ? side : "all readings; chi-square");
    index_line(out, "Ppk", &i->ppk, side);
    index_line(out, "Cpm", &i->cpm, "about the target; chi-square");
}

static void tolerance_lines(struct an_text *out, const struct an_tolerance_limits *t)
{
    const struct {
        const char *how;
        double lower, upper;
    } kinds[] = {{"normal", t->lower, t->upper},
                 {"by order of the readings", t->order_lower, t->order_upper}};
    for (size_t i = 0; t->coverage > 0 && i < 2; i++) {
        if (!isfinite(kinds[i].lower) && !isfinite(kinds[i].upper)) {
            continue;
        }
        an_text_addf(out, "  %g %% of the readings to come, with %g %% confidence, %s: ",
                     100 * t->coverage, 100 * t->confidence, kinds[i].how);
        if (isfinite(kinds[i].lower) && isfinite(kinds[i].upper)) {
            an_text_addf(out, "%.6g to %.6g\n", kinds[i].lower, kinds[i].upper);
        } else if (isfinite(kinds[i].upper)) {
            an_text_addf(out, "up to %.6g\n", kinds[i].upper);
        } else {
            an_text_addf(out, "from %.6g on\n", kinds[i].lower);
        }
    }
}

void an_capability_lines(struct an_text *out, const struct an_stream_capability *c,
                         const struct an_stream_gauge *gauge)
{
    an_text_addf(out, "%s\n  %s; method: %s; %.0f %s in %lld samples\n", c->stream.name,
                 c->stable ? "stable" : "not shown to be stable", c->method, c->n,
                 c->counted.opportunities > 0 ? "opportunities" : "readings",
                 (long long)c->samples);
    if (isfinite(c->basis.sigma_overall)) {
        an_text_addf(out, "  mean %.6g, sd of all readings %.4g", c->basis.mean,
                     c->basis.sigma_overall);
        if (isfinite(c->basis.sigma_within)) {
            an_text_addf(out, ", short-term sigma %.4g (%.0f degrees of freedom)",
                         c->basis.sigma_within, c->basis.df_within);
        }
        an_text_add(out, "\n");
    }
    if (isfinite(c->normality.p)) {
        an_text_addf(out, "  normal? Anderson-Darling A2* %.3f, p %.2g", c->normality.a2_star,
                     c->normality.p);
        if (isfinite(c->lag1)) {
            an_text_addf(out, "; neighbours: autocorrelation %.2f (luck: within +-%.2f)", c->lag1,
                         c->lag1_bound);
        }
        an_text_add(out, "\n");
    }
    if (c->why_not) {
        an_text_addf(out, "  %s\n", c->why_not);
    }
    index_lines(out, c);
    if (!c->has_position && isfinite(c->indices.below) && isfinite(c->indices.above)) {
        an_text_addf(out, "  expected outside: %.3g per million below, %.3g above%s\n",
                     c->indices.below * 1e6, c->indices.above * 1e6,
                     c->stable ? "" : " (of the past)");
    }
    tolerance_lines(out, &c->tolerance);
    an_text_addf(out, "  gauge: %s\n", gauge->text);
    if (gauge->warning) {
        an_text_addf(out, "  - %s\n", gauge->warning);
    }
    for (size_t i = 0; i < c->note_count; i++) {
        an_text_addf(out, "  - %s\n", c->notes[i]);
    }
}
