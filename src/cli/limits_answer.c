/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Limits as they are told: a row of a table or of CSV, an object of JSON. */
#include "cli/limits_answer.h"

#include "cli/limits_doubt.h"
#include "cli/limits_scale.h"
#include "cli/signing.h"
#include "judge/shown.h"

#include <math.h>

static void json_model(struct an_json *json, const struct an_limits *limits)
{
    const struct an_chart_model *model = &limits->model;
    an_json_put_string(json, "family", an_family_name(model->family));
    an_json_put_number(json, "limit_sigmas", model->k);
    an_json_put_integer(json, "baseline_samples", (int64_t)model->samples);
    an_json_put_number(json, "n_nominal", model->n_nominal);
    an_json_put_number(json, "centre", model->centre);
    an_json_put_number(json, "sigma_level", model->sigma_level);
    an_json_put_number(json, "sigma_within", model->sigma_within);
    an_json_put_number(json, "sigma_between", model->between);
    an_json_put_number(json, "spread_centre", model->spread_centre);
    an_json_put_number(json, "dispersion", model->dispersion);
    const struct an_panel_point usual = an_chart_usual(model);
    an_json_put_number(json, "ucl", usual.ucl);
    an_json_put_number(json, "lcl", usual.lcl);
    an_json_put_number(json, "normality_a2_star", limits->normality.a2_star);
    an_json_put_number(json, "normality_p", limits->normality.p);
    an_json_put_number(json, "lag1_autocorrelation", limits->lag1);
    an_json_put_number(json, "lag1_bound", limits->lag1_bound);
    an_json_put_number(json, "ljung_box_q", limits->ljung_box.q);
    an_json_put_number(json, "ljung_box_df", limits->ljung_box.df);
    an_json_put_number(json, "ljung_box_p", limits->ljung_box.p);
    an_json_put_number(json, "sigma_relative_se", limits->sigma_relative_se);
    an_json_put_number(json, "centre_half_width", limits->centre_half_width);
}

/* What is expected of limits by luck. */
static void json_expected(struct an_json *json, const struct an_expected *expected,
                          const struct an_pace *pace)
{
    an_json_put_number(json, "samples_between_false_alarms", expected->both.between);
    an_json_put_number(json, "samples_between_if_limits_were_known", expected->both.known);
    an_json_put_number(json, "samples_between_low", expected->both.low);
    an_json_put_number(json, "samples_between_high", expected->both.high);
    an_json_put_number(json, "samples_between_level_panel", expected->level.between);
    an_json_put_number(json, "samples_between_spread_panel", expected->spread.between);
    an_json_put_string(json, "false_alarm_law", expected->law);
    an_json_put_bool(json, "false_alarms_by_event", expected->by_event);
    an_json_put_bool(json, "limits_taken_as_known", expected->as_known);
    an_json_put_string(json, "no_false_alarm_rate", expected->why_not);
    if (pace) {
        an_json_put_number(json, pace->by_day ? "samples_a_day" : "samples_a_shift",
                           pace->samples_per_shift);
        an_json_put_number(json, pace->by_day ? "false_alarms_a_day" : "false_alarms_a_shift",
                           an_expected_false_alarms(expected, an_expected_points(expected, pace)));
    }
}

void an_cli_limits_json(struct an_cli *cli, struct an_json *json, const struct an_stream *stream,
                        const struct an_limits *limits, const struct an_limits_more *more)
{
    an_json_object(json);
    if (more) {
        an_cli_doubt_json(cli, json, more->doubt);
        json_expected(json, more->expected, more->pace);
        an_stream_gauge_json(cli, json, more->gauge);
    }
    an_json_put_integer(json, "limits_id", limits->limits_id);
    an_json_put_string(json, "stream", stream->name);
    an_json_put_string(json, "state", limits->state == AN_LIMITS_LOCKED ? "locked" : "proposed");
    json_model(json, limits);
    an_cli_scale_json(cli, json, limits);
    an_cli_json_time(cli, json, "baseline_from", limits->baseline_from_us);
    an_cli_json_time(cli, json, "baseline_until", limits->baseline_until_us);
    an_cli_json_time(cli, json, "proposed_at", limits->known_us);
    an_cli_json_time(cli, json, "locked_at", limits->locked_us);
    an_cli_json_time(cli, json, "in_force_from", limits->in_force_us);
    an_json_put_string(json, "author", limits->author);
    an_json_put_string(json, "reason", limits->reason);
    an_json_put_string(json, "signed_key", limits->signed_key);
    an_json_key(json, "excluded");
    an_json_array(json);
    for (size_t i = 0; i < limits->excluded_count; i++) {
        an_json_object(json);
        an_json_put_integer(json, "sample_id", limits->excluded[i].sample_id);
        an_json_put_string(json, "item", limits->excluded[i].serial);
        an_json_put_string(json, "reason", limits->excluded[i].reason);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
    an_json_key(json, "positions");
    an_json_object(json);
    for (size_t i = 0; i < limits->position_count; i++) {
        an_json_put_number(json, limits->positions[i].position, limits->positions[i].offset);
    }
    an_json_end(json, '}');
    an_json_key(json, "warnings");
    an_json_array(json);
    for (size_t i = 0; i < limits->warning_count; i++) {
        an_json_string(json, limits->warnings[i]);
    }
    an_json_end(json, ']');
    an_json_end(json, '}');
}

const char *const an_cli_limits_titles[AN_LIMITS_SHOWN] = {"stream",
                                                           "family",
                                                           "samples",
                                                           "centre",
                                                           "lcl",
                                                           "ucl",
                                                           "sigma",
                                                           "within",
                                                           "state",
                                                           "in force",
                                                           "author",
                                                           "reason",
                                                           "false alarm every",
                                                           "doubtful",
                                                           "signed"};

static void number_cell(struct an_cli_table *table, enum an_format format, double value)
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

void an_cli_limits_row(struct an_cli *cli, struct an_cli_table *table,
                       const struct an_stream *stream, const struct an_limits *limits,
                       const struct an_limits_more *more)
{
    const struct an_chart_model *model = &limits->model;
    char text[40];
    const struct an_panel_point usual = an_chart_usual(model);
    an_cli_cell(table, stream->name);
    an_cli_cell(table, an_family_name(model->family));
    an_cli_cellf(table, "%zu", model->samples);
    number_cell(table, cli->format, model->centre);
    number_cell(table, cli->format, usual.lcl);
    number_cell(table, cli->format, usual.ucl);
    number_cell(table, cli->format, model->sigma_level);
    number_cell(table, cli->format, model->sigma_within);
    an_cli_cell(table, limits->state == AN_LIMITS_LOCKED ? "locked" : "proposed");
    an_cli_cell(table, limits->in_force_us == AN_NO_INSTANT
                           ? "-"
                           : an_instant_rfc3339_in(cli->line->zone, limits->in_force_us, text));
    an_cli_cell(table, limits->author ? limits->author : "-");
    an_cli_cell(table, limits->reason ? limits->reason : "-");
    if (!more) {
        return;
    }
    const double between = more->expected->both.between;
    if (cli->format == AN_FORMAT_TABLE && isfinite(between)) {
        an_cli_cellf(table, "%.0f %s", between, more->expected->by_event ? "events" : "samples");
    } else {
        number_cell(table, cli->format, between);
    }
    an_cli_cellf(table, "%zu", more->doubt->count);
    an_cli_signed_cell(cli, table, limits->signed_key);
}

/* ---- below the table ---- */

static void say_every(struct an_text *text, const char *before, double between, const char *after)
{
    if (isfinite(between)) {
        an_text_addf(text, "%s%.0f%s", before, between, after);
    }
}

bool an_cli_limits_remember(const struct an_limits *limits)
{
    return fabs(limits->lag1) > limits->lag1_bound;
}

static void say_expected(struct an_text *text, const struct an_limits *limits,
                         const struct an_expected *e, const struct an_pace *pace)
{
    const char *period = pace && pace->by_day ? "day" : "shift";
    const char *what = e->by_event ? "events" : "samples";

    if (e->why_not) {
        an_text_addf(text, "  false alarms: no number, as %s\n", e->why_not);
        return;
    }
    if (isfinite(e->both.between)) {
        an_text_addf(text, "  false alarms: one in %.0f %s", e->both.between, what);
    } else {
        an_text_add(text, "  false alarms: never, no count can be beyond the limits");
    }
    if (isfinite(e->level.between) && isfinite(e->spread.between)) {
        an_text_addf(text, " (level panel %.0f, spread panel %.0f)", e->level.between,
                     e->spread.between);
    }
    an_text_addf(text, "; %s", e->law);
    if (e->as_known) {
        an_text_add(text, "; limits taken as known");
    } else if (isfinite(e->both.known)) {
        an_text_addf(text, "; %.0f if the limits were known", e->both.known);
    }
    if (isfinite(e->both.low) && isfinite(e->both.high)) {
        say_every(text, "; nine of ten such baselines give ", e->both.low, "");
        say_every(text, " to ", e->both.high, "");
    }
    const double points = pace ? an_expected_points(e, pace) : (double)NAN;
    const double a_shift = an_expected_false_alarms(e, points);
    if (a_shift > 0.0) {
        an_text_addf(text, "\n  at %.3g %s a %s: %.2g false alarms a %s, one in %.3g %ss", points,
                     what, period, a_shift, period, 1.0 / a_shift, period);
    }
    if (an_cli_limits_remember(limits)) {
        an_text_addf(text,
                     "\n  if its samples were independent, which they are not: it will be %s often",
                     limits->lag1 > 0 ? "more" : "less");
    }
    an_text_add(text, "\n");
}

static void say_memory(struct an_text *text, const struct an_limits *limits)
{
    char p[24];

    if (isfinite(limits->lag1)) {
        an_text_addf(text, "  memory: lag-1 correlation %.2f (luck stays within +-%.2f)",
                     limits->lag1, limits->lag1_bound);
        if (isfinite(limits->ljung_box.p)) {
            an_text_addf(text, ", Ljung-Box %.1f with %.0f df, p %s", limits->ljung_box.q,
                         limits->ljung_box.df, an_shown_chance(limits->ljung_box.p, p));
        }
        an_text_add(text, "\n");
    }
}

void an_cli_limits_details(struct an_text *text, const struct an_stream *stream,
                           const struct an_limits *limits, const struct an_limits_more *more)
{
    an_text_addf(text, "%s%s, limits %lld\n", text->length ? "\n" : "", stream->name,
                 (long long)limits->limits_id);
    say_expected(text, limits, more->expected, more->pace);
    say_memory(text, limits);
    an_text_addf(text, "  gauge: %s\n", more->gauge->text);
    if (more->gauge->warning) {
        an_text_addf(text, "  warning: %s\n", more->gauge->warning);
    }
    for (size_t i = 0; i < limits->warning_count; i++) {
        an_text_addf(text, "  warning: %s\n", limits->warnings[i]);
    }
}
