/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * export: every number behind every chart, one row a sample. Rows hold nothing of when or by which
 * path a file was taken, so two stores that took the same files export the same bytes.
 */
#include "andamento/base/output_file.h"
#include "andamento/store/retention.h"
#include "cli/commands.h"
#include "judge/judge.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const char *const titles[] = {
    "stream",      "at_utc",       "at_local",      "shift",    "item",
    "readings",    "missing",      "mean",          "sd",       "min",
    "max",         "count",        "opportunities", "level",    "level_centre",
    "level_lcl",   "level_ucl",    "level_z",       "spread",   "spread_centre",
    "spread_lcl",  "spread_ucl",   "limits",        "family",   "excluded",
    "level_rules", "spread_rules", "batch",         "unit",     "file_sha256",
    "first_line",  "last_line",    "readings_kept", "corrected"};
enum { column_count = sizeof titles / sizeof *titles };

struct sink {
    struct an_cli *cli;
    struct an_output_file *file; /* NULL: the answer goes to stdout */
    struct an_csv_out csv;
    struct an_json json;
    int64_t file_id; /* whose hash is in hex */
    char hex[65];
    bool kept; /* its readings are still in the store */
    int64_t dropped_files;
    char dropped_text[300]; /* of the last such file */
};

static void drain(struct sink *sink)
{
    struct an_cli *cli = sink->cli;
    if (cli->out.length < 65536) {
        return;
    }
    if (sink->file) {
        (void)an_output_file_write(sink->file, cli->out.at, cli->out.length); /* told by commit */
        an_text_clear(&cli->out);
    } else {
        an_cli_flush(cli);
    }
}

/* One cell in either form: the key is the column's title. */
static void cell_text(struct sink *sink, size_t column, const char *value)
{
    if (sink->cli->format == AN_FORMAT_JSON) {
        an_json_put_string(&sink->json, titles[column], value);
    } else {
        an_csv_out_text(&sink->csv, value);
    }
}

static void cell_number(struct sink *sink, size_t column, double value)
{
    if (sink->cli->format == AN_FORMAT_JSON) {
        an_json_put_number(&sink->json, titles[column], value);
    } else {
        an_csv_out_number(&sink->csv, value);
    }
}

static void cell_integer(struct sink *sink, size_t column, int64_t value)
{
    if (sink->cli->format == AN_FORMAT_JSON) {
        an_json_put_integer(&sink->json, titles[column], value);
    } else {
        an_csv_out_integer(&sink->csv, value);
    }
}

static void rules_text(const struct an_judged_point *point, int panel,
                       const struct an_rule_choice *choice, char text[128])
{
    text[0] = '\0';
    for (int r = 0; r < AN_RULE_TOLD; r++) {
        char code[16];
        if (point->hit_rules[panel] >> r & 1U) {
            const size_t used = strlen(text);
            (void)snprintf(text + used, 128 - used, "%s%s", used ? " " : "",
                           an_rule_code((enum an_rule)r, point->hit_side[panel], choice, code));
        }
    }
}

static enum an_status look_kept(struct sink *sink, int64_t file_id, struct an_arena *arena)
{
    struct an_dropped dropped;
    bool found = false;
    const enum an_status st = an_store_dropped(sink->cli->store, file_id, AN_KEPT_READINGS, arena,
                                               &dropped, &found, &sink->cli->err);
    sink->kept = !found;
    if (!st && found) {
        const char *text = an_dropped_text(&dropped, arena);
        sink->dropped_files++;
        (void)snprintf(sink->dropped_text, sizeof sink->dropped_text, "%s", text ? text : "");
    }
    return st;
}

static enum an_status hash_of(struct sink *sink, int64_t file_id)
{
    struct an_file file;
    if (file_id == sink->file_id) {
        return AN_OK;
    }
    struct an_arena *arena = an_arena_open();
    enum an_status st =
        arena ? an_store_file(sink->cli->store, file_id, arena, &file, &sink->cli->err)
              : an_fail(&sink->cli->err, AN_NO_MEMORY, "out of memory");
    if (!st) {
        sink->file_id = file_id;
        (void)an_sha256_hex(&file.hash, sink->hex);
        st = look_kept(sink, file_id, arena);
    }
    an_arena_close(arena);
    return st;
}

static void panel(struct sink *sink, size_t column, const struct an_panel_point *p, double scale)
{
    cell_number(sink, column, p->value * scale);
    cell_number(sink, column + 1, p->centre * scale);
    cell_number(sink, column + 2, p->lcl * scale);
    cell_number(sink, column + 3, p->ucl * scale);
}

static enum an_status put_point(struct sink *sink, const struct an_stream_view *view,
                                const struct an_judged_point *point)
{
    const struct an_line *line = sink->cli->line;
    const struct an_sample *s = &point->sample;
    const struct an_limits *limits =
        point->phase < view->limits_count ? &view->limits[point->phase] : NULL;
    const struct an_rule_choice usual = an_rules_default();
    const struct an_rule_choice *choice = limits ? &limits->rules : &usual;
    const struct an_shift shift = an_line_shift_at(line, s->at_us);
    char text[128];
    const enum an_status st = hash_of(sink, s->file_id);
    if (st) {
        return st;
    }
    if (sink->cli->format == AN_FORMAT_JSON) {
        an_json_object(&sink->json);
    }
    size_t c = 0;
    cell_text(sink, c++, view->stream.name);
    cell_text(sink, c++, an_instant_rfc3339(s->at_us, text));
    cell_text(sink, c++, an_instant_rfc3339_in(line->zone, s->at_us, text));
    cell_text(sink, c++, shift.pattern == AN_NONE ? NULL : an_line_shift_label(line, &shift, text));
    cell_text(sink, c++, s->serial);
    cell_integer(sink, c++, s->n);
    cell_integer(sink, c++, s->missing);
    cell_number(sink, c++, s->n > 0 ? s->mean : (double)NAN);
    cell_number(sink, c++, s->n > 1 ? sqrt(s->ssd / (double)(s->n - 1)) : (double)NAN);
    cell_number(sink, c++, s->n > 0 ? s->min : (double)NAN);
    cell_number(sink, c++, s->n > 0 ? s->max : (double)NAN);
    cell_number(sink, c++, s->count);
    cell_number(sink, c++, s->opportunities);
    panel(sink, c, &point->point.level, view->scale);
    c += 4;
    cell_number(sink, c++, point->point.level.z);
    panel(sink, c, &point->point.spread, view->scale);
    c += 4;
    if (limits) {
        cell_integer(sink, c++, limits->limits_id);
    } else {
        cell_text(sink, c++, NULL);
    }
    cell_text(sink, c++, limits ? an_family_name(limits->model.family) : NULL);
    cell_integer(sink, c++, point->excluded);
    rules_text(point, 0, choice, text);
    cell_text(sink, c++, text);
    rules_text(point, 1, choice, text);
    cell_text(sink, c++, text);
    cell_text(sink, c++, s->ribbon);
    cell_text(sink, c++, view->unit);
    cell_text(sink, c++, sink->hex);
    cell_integer(sink, c++, (int64_t)s->first_line);
    cell_integer(sink, c++, (int64_t)s->last_line);
    cell_integer(sink, c++, sink->kept);
    cell_integer(sink, c++, s->corrected_by);
    if (sink->cli->format == AN_FORMAT_JSON) {
        an_json_end(&sink->json, '}');
    } else {
        an_csv_out_end_row(&sink->csv);
    }
    drain(sink);
    return AN_OK;
}

static enum an_status put_stream(struct sink *sink, const struct an_stream *stream, int64_t from_us,
                                 int64_t until_us)
{
    struct an_cli *cli = sink->cli;
    struct an_stream_view view;
    struct an_arena *arena = an_arena_open();
    if (!arena) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    enum an_status st =
        an_judge_view(cli->store, cli->line, stream, from_us, until_us, 0, arena, &view, &cli->err);
    for (size_t i = 0; !st && i < view.count; i++) {
        st = put_point(sink, &view, &view.points[i]);
    }
    an_arena_close(arena);
    return st;
}

static enum an_status begin(struct sink *sink, const char *path)
{
    struct an_cli *cli = sink->cli;
    if (path && strcmp(path, "-") != 0) {
        const enum an_status st = an_output_file_open(path, &sink->file, &cli->err);
        if (st) {
            return st;
        }
    }
    if (cli->format == AN_FORMAT_JSON) {
        sink->json = an_cli_json_begin(cli, "andamento.export.1");
        an_json_array(&sink->json);
    } else {
        sink->csv.out = &cli->out;
        for (size_t c = 0; c < column_count; c++) {
            an_csv_out_text(&sink->csv, titles[c]);
        }
        an_csv_out_end_row(&sink->csv);
    }
    return AN_OK;
}

static enum an_status end(struct sink *sink)
{
    struct an_cli *cli = sink->cli;
    if (cli->format == AN_FORMAT_JSON) {
        an_json_end(&sink->json, ']');
        an_json_end(&sink->json, '}');
    }
    if (!sink->file) {
        an_cli_flush(cli);
        return AN_OK;
    }
    struct an_output_file *file = sink->file;
    sink->file = NULL;
    if (cli->out.failed) {
        an_output_file_abandon(file);
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    (void)an_output_file_write(file, cli->out.at, cli->out.length);
    an_text_clear(&cli->out);
    return an_output_file_commit(file, &cli->err);
}

static enum an_exit run(struct an_cli *cli)
{
    struct sink sink = {.cli = cli};
    struct an_stream *streams = NULL;
    size_t count = 0;
    int64_t from_us = AN_NO_INSTANT;
    int64_t until_us = AN_NO_INSTANT;
    enum an_status st = an_cli_open(cli, AN_STORE_READ, true);
    if (!st) {
        st = an_cli_time(cli, "from", &from_us);
    }
    if (!st) {
        st = an_cli_time(cli, "until", &until_us);
    }
    if (!st) {
        st = an_cli_streams(cli, true, &streams, &count);
    }
    if (!st) {
        st = begin(&sink, an_option_value(&cli->options, "output"));
    }
    for (size_t i = 0; !st && i < count; i++) {
        st = put_stream(&sink, &streams[i], from_us == AN_NO_INSTANT ? INT64_MIN : from_us,
                        until_us == AN_NO_INSTANT ? INT64_MAX : until_us);
    }
    if (!st) {
        st = end(&sink);
    }
    if (st) {
        an_output_file_abandon(sink.file);
        an_text_clear(&cli->out);
        return an_cli_failed(cli, st);
    }
    if (sink.dropped_files && !cli->quiet) {
        an_cli_say(cli,
                   "andamento: some of these samples have readings that are %s; their statistics "
                   "are whole",
                   sink.dropped_text);
    }
    return AN_EXIT_DONE;
}

static const struct an_option options[] = {
    {"output", 'o', "FILE", "write here ('-' or nothing: standard output)"},
    AN_OPTION_PERIOD,
    AN_OPTION_END,
};

const struct an_command an_command_export = {
    .name = "export",
    .operands = "[STREAM...]",
    .summary = "write the numbers behind every chart as CSV, or as JSON with --json",
    .example = "andamento export 'transfer.*' --from 2026-03-09 -o transfer.csv",
    .more =
        "One row a sample: statistics, plotted values, limits, rules met, source file by hash.\n"
        "readings_kept is 0 where the single readings behind a sample were dropped by retain,\n"
        "corrected is the number of the correction that changed its values, 0 if none did.\n"
        "Texts that a spreadsheet would run as formulas get an apostrophe before them.\n",
    .options = options,
    .operands_most = 100000,
    .as_of = true,
    .rows_of = AN_ROWS_SAMPLES,
    .run = run,
};
