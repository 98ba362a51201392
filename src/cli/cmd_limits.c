/* SPDX-License-Identifier: GPL-3.0-or-later */
/* limits propose, lock, show: limits are learned from a baseline and put in force by a person. */
#include "andamento/store/intake.h"
#include "cli/commands.h"
#include "cli/limits_doubt.h"
#include "cli/signing.h"
#include "judge/expected.h"
#include "judge/judge.h"
#include "judge/scale.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- telling limits ----------------------------------------------------------------------------- */

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
    an_json_put_number(json, "sigma_relative_se", limits->sigma_relative_se);
    an_json_put_number(json, "centre_half_width", limits->centre_half_width);
}

static void json_scale(struct an_cli *cli, struct an_json *json, const struct an_limits *limits)
{
    const struct an_limits_scale *scale = &limits->scale;
    const struct an_transform *t = &scale->transform;
    const struct an_panel_point usual = an_chart_usual(&limits->model);
    if (t->scale == AN_SCALE_NONE) {
        return;
    }
    an_json_key(json, "scale");
    an_json_object(json);
    an_json_put_string(json, "of", an_scale_words(scale, cli->arena));
    an_json_put_string(json, "kind", t->scale == AN_SCALE_JOHNSON ? "johnson" : "box_cox");
    an_json_put_bool(json, "found", scale->automatic);
    if (t->scale == AN_SCALE_JOHNSON) {
        an_json_put_string(json, "shape", an_shape_name(t->fit.shape));
        for (size_t i = 0; i < an_shape_parameters(t->fit.shape); i++) {
            an_json_put_number(json, an_shape_parameter(t->fit.shape, i), t->fit.par[i]);
        }
    } else {
        an_json_put_number(json, "power", t->lambda);
        an_json_put_number(json, "shift", t->shift);
        an_json_put_number(json, "likeliest_power", scale->likeliest);
        an_json_put_number(json, "power_lower", scale->lower);
        an_json_put_number(json, "power_upper", scale->upper);
    }
    an_json_put_number(json, "readings", scale->readings);
    an_json_put_number(json, "normality_a2_star_before", scale->before.a2_star);
    an_json_put_number(json, "normality_p_before", scale->before.p);
    an_json_put_number(json, "normality_a2_star_after", scale->after.a2_star);
    an_json_put_number(json, "normality_p_after", scale->after.p);
    an_json_put_number(json, "lcl_in_unit", an_scale_back(scale, usual.lcl));
    an_json_put_number(json, "centre_in_unit", an_scale_back(scale, usual.centre));
    an_json_put_number(json, "ucl_in_unit", an_scale_back(scale, usual.ucl));
    an_json_end(json, '}');
}

/* The scale of a stream's limits in words, below a table. */
static enum an_status tell_scale(struct an_cli *cli, struct an_text *text,
                                 const struct an_stream *stream, const struct an_limits *limits)
{
    const struct an_station *station = NULL;
    const struct an_characteristic *c = NULL;
    const char *purpose = NULL;
    if (!an_is_scaled(limits)) {
        return AN_OK;
    }
    (void)an_judge_resolve(cli->line, stream, &station, &c, &purpose, cli->arena);
    const char *words = an_scale_words(&limits->scale, cli->arena);
    const char *back = an_scale_limits_back(limits, c ? c->unit : "", cli->arena);
    const char *story = an_scale_story(&limits->scale, cli->arena);
    if (!words || !back || !story) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    an_text_addf(text,
                 "%s: the chart is on the scale of %s; limits carried back: %s\n"
                 "%s: %s\n",
                 stream->name, words, back, stream->name, story);
    return AN_OK;
}

/* expected, doubt: of the limits, or NULL */
static void json_limits(struct an_cli *cli, struct an_json *json, const struct an_stream *stream,
                        const struct an_limits *limits,
                        const struct an_estimated_run_length *expected,
                        const struct an_limits_doubt *doubt)
{
    an_json_object(json);
    if (doubt) {
        an_cli_doubt_json(cli, json, doubt);
    }
    if (expected) {
        an_json_put_number(json, "samples_between_false_alarms", expected->between);
        an_json_put_number(json, "samples_between_if_limits_were_known", expected->known);
        an_json_put_number(json, "samples_between_low", expected->low);
        an_json_put_number(json, "samples_between_high", expected->high);
    }
    an_json_put_integer(json, "limits_id", limits->limits_id);
    an_json_put_string(json, "stream", stream->name);
    an_json_put_string(json, "state", limits->state == AN_LIMITS_LOCKED ? "locked" : "proposed");
    json_model(json, limits);
    json_scale(cli, json, limits);
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

static const char *const limit_titles[] = {"stream",
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
enum { show_columns = sizeof limit_titles / sizeof *limit_titles };
enum { limit_columns = show_columns - 3 }; /* the last ones are for show only */

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

static void limit_row(struct an_cli *cli, struct an_cli_table *table,
                      const struct an_stream *stream, const struct an_limits *limits,
                      const struct an_estimated_run_length *expected)
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
    if (expected && cli->format == AN_FORMAT_TABLE && isfinite(expected->between)) {
        an_cli_cellf(table, "%.0f samples", expected->between);
    } else if (expected) {
        number_cell(table, cli->format, expected->between);
    }
}

/* ---- propose -------------------------------------------------------------------------------------- */

static enum an_status read_exclusions(struct an_cli *cli, struct an_baseline_choice *choice)
{
    size_t count = 0;
    while (an_option_value_at(&cli->options, "exclude", count)) {
        count++;
    }
    int64_t *ids = an_arena_alloc(cli->arena, count + 1, sizeof *ids);
    const char **reasons = an_arena_alloc(cli->arena, count + 1, sizeof *reasons);
    if (!ids || !reasons) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    for (size_t i = 0; i < count; i++) {
        const char *text = an_option_value_at(&cli->options, "exclude", i);
        const size_t digits = strcspn(text, "=");
        if (an_integer_parse((struct an_bytes){(const unsigned char *)text, digits}, &ids[i]) ||
            !text[digits] || !text[digits + 1]) {
            return an_fail(&cli->err, AN_BAD_USAGE,
                           "--exclude wants a sample's number and a cause, as in "
                           "--exclude '1234=nozzle changed half way'; not '%s'",
                           text);
        }
        reasons[i] = text + digits + 1;
    }
    choice->exclude = ids;
    choice->exclude_reasons = reasons;
    choice->exclude_count = count;
    return AN_OK;
}

struct proposals {
    struct an_json json;
    struct an_cli_table table;
    struct an_text warnings, scales;
    size_t made, failed, warned;
};

static enum an_status tell_proposal(struct an_cli *cli, struct proposals *p,
                                    const struct an_stream *stream, const struct an_limits *limits)
{
    p->made++;
    p->warned += limits->warning_count > 0;
    if (cli->format == AN_FORMAT_JSON) {
        json_limits(cli, &p->json, stream, limits, NULL, NULL);
        return AN_OK;
    }
    limit_row(cli, &p->table, stream, limits, NULL);
    for (size_t i = 0; i < limits->warning_count; i++) {
        an_text_addf(&p->warnings, "%s: %s\n", stream->name, limits->warnings[i]);
    }
    return tell_scale(cli, &p->scales, stream, limits);
}

static bool is_excluded(const struct an_baseline_choice *choice, int64_t sample_id)
{
    for (size_t i = 0; i < choice->exclude_count; i++) {
        if (choice->exclude[i] == sample_id) {
            return true;
        }
    }
    return false;
}

/* Samples of the period that were taken with a doubt and are not left out. */
static enum an_status tell_suspects(struct an_cli *cli, struct proposals *p,
                                    const struct an_stream *stream,
                                    const struct an_baseline_choice *choice)
{
    struct an_suspect *suspects = NULL;
    size_t count = 0;
    size_t left = 0;
    const struct an_suspect *first = NULL;
    const enum an_status st =
        an_store_suspects(cli->store, stream->stream_id, choice->from_us, choice->until_us,
                          cli->arena, &suspects, &count, &cli->err);
    for (size_t i = 0; !st && i < count; i++) {
        if (!is_excluded(choice, suspects[i].sample_id)) {
            first = first ? first : &suspects[i];
            left++;
        }
    }
    if (first) {
        an_text_addf(
            &p->warnings,
            "%s: %zu sample%s of the period %s taken with a doubt, first %lld (%s, %s); look, "
            "and leave them out by --exclude ID=CAUSE\n",
            stream->name, left, an_plural(left, "", "s"), an_plural(left, "was", "were"),
            (long long)first->sample_id, first->serial, first->code);
        p->warned++;
    }
    return st;
}

static bool is_about_data(enum an_status st)
{
    return st == AN_TOO_FEW || st == AN_DOMAIN || st == AN_NO_SPREAD;
}

static enum an_exit finish_proposals(struct an_cli *cli, struct proposals *p)
{
    if (cli->format == AN_FORMAT_JSON) {
        an_json_end(&p->json, ']');
        an_cli_json_end(cli, &p->json);
    } else {
        if (p->made) {
            an_cli_table_print(cli, &p->table);
        }
        if (!cli->quiet && p->warnings.length) {
            (void)fputs(an_text_of(&p->warnings), stderr);
        }
        if (cli->format == AN_FORMAT_TABLE && p->scales.length) {
            an_text_addf(&cli->out, "\n%s", an_text_of(&p->scales));
        }
        if (cli->format == AN_FORMAT_TABLE) {
            an_text_addf(&cli->out,
                         "\nlimits proposed for %zu stream%s%s; put them in force with 'andamento "
                         "limits lock'\n",
                         p->made, an_plural(p->made, "", "s"),
                         p->warned ? ", some with warnings" : "");
        }
    }
    an_text_free(&p->warnings);
    an_text_free(&p->scales);
    an_text_free(&p->table.cells);
    if (!p->made) {
        return AN_EXIT_INPUT;
    }
    return p->failed || p->warned ? AN_EXIT_FINDING : AN_EXIT_DONE;
}

static enum an_exit run_propose(struct an_cli *cli)
{
    struct an_baseline_choice choice = {0};
    struct an_stream *streams = NULL;
    size_t count = 0;
    enum an_status st = an_cli_open(cli, AN_STORE_WRITE, true);
    if (!st) {
        st = an_cli_time(cli, "from", &choice.from_us);
    }
    if (!st) {
        st = an_cli_time(cli, "until", &choice.until_us);
    }
    if (!st) {
        st = an_cli_count(cli, "samples", 0, &choice.samples);
    }
    if (!st) {
        st = read_exclusions(cli, &choice);
    }
    if (!st) {
        st = an_cli_streams(cli, false, &streams, &count);
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    struct proposals p = {
        .table = {.titles = limit_titles, .columns = limit_columns, .right = 0xFCU}};
    if (cli->format == AN_FORMAT_JSON) {
        p.json = an_cli_json_begin(cli, "andamento.limits.1");
        an_json_array(&p.json);
    }
    for (size_t i = 0; i < count; i++) {
        struct an_limits limits = {0};
        st = an_limits_propose(cli->store, cli->line, streams[i].stream_id, &choice, cli->arena,
                               &limits, &cli->err);
        if (is_about_data(st)) { /* this stream cannot have limits yet; the others can */
            an_cli_say(cli, "%s: %s", streams[i].name, cli->err.text);
            p.failed++;
        } else if (st) {
            an_text_clear(&cli->out);
            an_text_free(&p.warnings);
            an_text_free(&p.scales);
            an_text_free(&p.table.cells);
            return an_cli_failed(cli, st);
        } else {
            st = tell_proposal(cli, &p, &streams[i], &limits);
            st = st ? st : tell_suspects(cli, &p, &streams[i], &choice);
            if (st) {
                an_text_clear(&cli->out);
                an_text_free(&p.warnings);
                an_text_free(&p.scales);
                an_text_free(&p.table.cells);
                return an_cli_failed(cli, st);
            }
        }
    }
    return finish_proposals(cli, &p);
}

static const struct an_option propose_options[] = {
    {"all", 0, NULL, "every stream"},
    AN_OPTION_PERIOD,
    {"samples", 0, "N", "the first N samples of the period (25 or more are wise)"},
    {"exclude", 0, "ID=CAUSE", "leave this sample out, for this cause (may be repeated)"},
    AN_OPTION_END,
};

const struct an_command an_command_limits_propose = {
    .name = "limits propose",
    .operands = "STREAM...|--all",
    .summary = "learn limits from a baseline and store them as a proposal",
    .example = "andamento limits propose --all --until 2026-03-07T06:00",
    .more = "Nothing is in force until a person locks it. Samples are left out of a baseline only\n"
            "by name and with a cause. Exit status 1: a stream has warnings or no limits.\n",
    .options = propose_options,
    .operands_most = 100000,
    .run = run_propose,
};

/* ---- lock ------------------------------------------------------------------------------------------ */

static enum an_exit run_lock(struct an_cli *cli)
{
    const char *author = an_option_value(&cli->options, "author");
    const char *reason = an_option_value(&cli->options, "reason");
    struct an_stream *streams = NULL;
    size_t count = 0;
    int64_t in_force_us = AN_NO_INSTANT;
    enum an_status st = AN_OK;
    if (!author || !author[0] || !reason || !reason[0]) {
        st = an_fail(&cli->err, AN_BAD_USAGE,
                     "locking limits wants --author NAME and --reason TEXT: they stand on every "
                     "chart");
    }
    if (!st) {
        st = an_cli_open(cli, AN_STORE_WRITE, true);
    }
    if (!st) {
        st = an_cli_time(cli, "in-force-from", &in_force_us);
    }
    if (!st) {
        st = an_cli_streams(cli, false, &streams, &count);
    }
    size_t locked = 0;
    size_t without = 0;
    const bool every = an_option_on(&cli->options, "all");
    for (size_t i = 0; !st && i < count; i++) {
        st = an_limits_lock(cli->store, streams[i].stream_id, in_force_us, author, reason,
                            &cli->err);
        if (st == AN_NOT_FOUND && every) {
            without++;
            st = AN_OK;
        } else if (!st) {
            locked++;
        }
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.lock.1");
        an_json_object(&json);
        an_json_put_integer(&json, "locked", (int64_t)locked);
        an_json_put_integer(&json, "without_proposal", (int64_t)without);
        an_json_put_string(&json, "author", author);
        an_json_put_string(&json, "reason", reason);
        an_json_end(&json, '}');
        an_cli_json_end(cli, &json);
    } else {
        an_text_addf(&cli->out, "limits of %zu stream%s locked by %s", locked,
                     an_plural(locked, "", "s"), author);
        if (without) {
            an_text_addf(&cli->out, "; %zu without a proposal left as they were", without);
        }
        an_text_add(&cli->out, "\n");
    }
    return locked ? AN_EXIT_DONE : AN_EXIT_FINDING;
}

static const struct an_option lock_options[] = {
    {"all", 0, NULL, "every stream that has a proposal"},
    {"author", 0, "NAME", "who decides (required)"},
    {"reason", 0, "TEXT", "why (required)"},
    {"in-force-from", 0, "TIME",
     "judge samples from this time on (else from the baseline's start)"},
    AN_OPTION_END,
};

const struct an_command an_command_limits_lock = {
    .name = "limits lock",
    .operands = "STREAM...|--all",
    .summary = "put the newest proposed limits in force, with author and reason",
    .example =
        "andamento limits lock --all --author 'Q. Manager' --reason 'first four days, stable'",
    .more =
        "A lock is a record of its own; earlier limits stay readable and keep judging their time.\n",
    .options = lock_options,
    .operands_most = 100000,
    .run = run_lock,
};

/* ---- show ------------------------------------------------------------------------------------------- */

static enum an_exit run_show(struct an_cli *cli)
{
    struct an_stream *streams = NULL;
    size_t count = 0;
    enum an_status st = an_cli_open(cli, AN_STORE_READ, true);
    if (!st) {
        st = an_cli_streams(cli, true, &streams, &count);
    }
    struct an_cli_table table = {.titles = limit_titles, .columns = show_columns, .right = 0xFCU};
    struct an_json json = {0};
    struct an_expected_cache cache = {0};
    struct an_text doubts = {0};
    struct an_text scales = {0};
    if (!st && cli->format == AN_FORMAT_JSON) {
        json = an_cli_json_begin(cli, "andamento.limits.1");
        an_json_array(&json);
    }
    const bool history = an_option_on(&cli->options, "history");
    for (size_t i = 0; !st && i < count; i++) {
        struct an_limits *limits = NULL;
        size_t revisions = 0;
        st = an_limits_all(cli->store, streams[i].stream_id, cli->arena, &limits, &revisions,
                           &cli->err);
        for (size_t r = 0; !st && r < revisions; r++) {
            if (!history && r + 1 < revisions) {
                continue;
            }
            struct an_estimated_run_length expected;
            struct an_limits_doubt doubt;
            st = an_expected_of(&limits[r], &cache, cli->arena, &expected, &cli->err);
            st = st ? st
                    : an_limits_doubt_of(cli->store, cli->line, &limits[r], cli->arena, &doubt,
                                         &cli->err);
            if (st) {
                break;
            }
            if (cli->format == AN_FORMAT_JSON) {
                json_limits(cli, &json, &streams[i], &limits[r], &expected, &doubt);
            } else {
                limit_row(cli, &table, &streams[i], &limits[r], &expected);
                an_cli_cellf(&table, "%zu", doubt.count);
                an_cli_signed_cell(cli, &table, limits[r].signed_key);
                an_cli_doubt_text(&doubts, &streams[i], &limits[r], &doubt);
                st = tell_scale(cli, &scales, &streams[i], &limits[r]);
            }
        }
    }
    if (st) {
        an_text_clear(&cli->out);
        an_text_free(&table.cells);
        an_text_free(&doubts);
        an_text_free(&scales);
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        an_json_end(&json, ']');
        an_cli_json_end(cli, &json);
    } else {
        an_cli_table_print(cli, &table);
    }
    if (cli->format == AN_FORMAT_TABLE && scales.length) {
        an_text_addf(&cli->out, "\n%s", an_text_of(&scales));
    }
    if (cli->format == AN_FORMAT_TABLE && doubts.length) {
        an_text_addf(&cli->out, "\n%s", an_text_of(&doubts));
    }
    an_text_free(&doubts);
    an_text_free(&scales);
    return AN_EXIT_DONE;
}

static const struct an_option show_options[] = {
    {"history", 0, NULL, "every revision, not the newest only"},
    AN_OPTION_END,
};

const struct an_command an_command_limits_show = {
    .name = "limits show",
    .operands = "[STREAM...]",
    .summary = "show limits: proposed and in force, by whom and why",
    .example = "andamento limits show 'luminance.*' --history",
    .more = "'false alarm every' is by the rules in force on the level panel and the size of the\n"
            "baseline, for independent normal points; '-' where there is no theory (counts).\n"
            "'doubtful' counts samples of the baseline that were withdrawn, corrected or measured\n"
            "again after the limits were proposed, or looked suspect; below the table: what the\n"
            "limits would be without them.\n",
    .options = show_options,
    .operands_most = 100000,
    .as_of = true,
    .rows_of = AN_ROWS_LIMITS,
    .run = run_show,
};
