/* SPDX-License-Identifier: GPL-3.0-or-later */
/* limits show: proposed and in force, by whom and why, what is to be expected of them by luck, stream by
 * stream and for the whole line. */
#include "cli/commands.h"
#include "cli/limits_answer.h"
#include "cli/limits_doubt.h"
#include "cli/limits_scale.h"

#include <math.h>

/* False alarms of the whole line: of streams whose newest limits are locked. */
struct whole_line {
    double false_alarms, samples; /* a shift */
    size_t counted, without_lock, without_number, without_samples, remember;
    bool by_day;
};

struct showing {
    struct an_json json;
    struct an_cli_table table;
    struct an_expected_cache cache;
    struct an_text doubts, scales, details, gauges;
    struct whole_line line;
    bool history, named;
};

static void add_to_line(struct whole_line *line, const struct an_expected *expected,
                        const struct an_pace *pace)
{
    const double false_alarms =
        an_expected_false_alarms(expected, an_expected_points(expected, pace));

    line->by_day = pace->by_day;
    if (!isfinite(pace->samples_per_shift)) {
        line->without_samples++;
    } else if (!isfinite(false_alarms)) {
        line->without_number++;
    } else {
        line->counted++;
        line->false_alarms += false_alarms;
        line->samples += pace->samples_per_shift;
    }
}

static void tell_line(struct an_cli *cli, const struct whole_line *line)
{
    const char *period = line->by_day ? "day" : "shift";

    an_text_addf(&cli->out,
                 "\nwhole line: about %.2g false alarms a %s are to be expected, of %.0f samples "
                 "on %zu stream%s with locked limits",
                 line->false_alarms, period, line->samples, line->counted,
                 an_plural(line->counted, "", "s"));
    if (line->remember) {
        an_text_addf(&cli->out, "; more on %zu whose samples are not independent", line->remember);
    }
    if (line->without_number) {
        an_text_addf(&cli->out, "; %zu without a number: name one to see why",
                     line->without_number);
    }
    if (line->without_lock) {
        an_text_addf(&cli->out, "; %zu not locked", line->without_lock);
    }
    an_text_add(&cli->out, "\n");
}

static void json_line(struct an_json *json, const struct whole_line *line)
{
    an_json_key(json, "whole_line");
    an_json_object(json);
    an_json_put_string(json, "period", line->by_day ? "day" : "shift");
    an_json_put_number(json, "false_alarms", line->false_alarms);
    an_json_put_number(json, "samples", line->samples);
    an_json_put_integer(json, "streams", (int64_t)line->counted);
    an_json_put_integer(json, "streams_not_independent", (int64_t)line->remember);
    an_json_put_integer(json, "streams_not_locked", (int64_t)line->without_lock);
    an_json_put_integer(json, "streams_without_number", (int64_t)line->without_number);
    an_json_put_integer(json, "streams_without_samples", (int64_t)line->without_samples);
    an_json_end(json, '}');
}

/* pace: of the newest revision, else NULL. */
static enum an_status show_revision(struct an_cli *cli, struct showing *s,
                                    const struct an_stream *stream, const struct an_limits *limits,
                                    const struct an_expected *expected, const struct an_pace *pace,
                                    const struct an_stream_gauge *gauge)
{
    struct an_limits_doubt doubt;
    const struct an_limits_more more = {expected, pace, &doubt, gauge};
    const enum an_status st =
        an_limits_doubt_of(cli->store, cli->line, limits, cli->arena, &doubt, &cli->err);

    if (st) {
        return st;
    }
    if (cli->format == AN_FORMAT_JSON) {
        an_cli_limits_json(cli, &s->json, stream, limits, &more);
        return AN_OK;
    }
    an_cli_limits_row(cli, &s->table, stream, limits, &more);
    an_cli_doubt_text(&s->doubts, stream, limits, &doubt);
    if (s->named && pace) {
        an_cli_limits_details(&s->details, stream, limits, &more);
    }
    return an_cli_scale_text(cli, &s->scales, stream, limits);
}

/* Charts that never signal have no false alarms; nor are streams judged that the description lost. */
static bool speaks(struct an_cli *cli, const struct an_stream *stream)
{
    const struct an_station *station;
    const struct an_characteristic *characteristic;
    const char *purpose;

    return an_judge_resolve(cli->line, stream, &station, &characteristic, &purpose, cli->arena) &&
           characteristic->signal_is_news;
}

static enum an_status show_stream(struct an_cli *cli, struct showing *s,
                                  const struct an_stream *stream)
{
    struct an_limits *limits = NULL;
    size_t revisions = 0;
    struct an_pace pace;
    struct an_stream_gauge gauge;
    enum an_status st =
        an_limits_all(cli->store, stream->stream_id, cli->arena, &limits, &revisions, &cli->err);

    if (st || !revisions) {
        return st;
    }
    size_t locked = revisions; /* the newest lock judges, whatever was proposed after it */
    while (locked > 0 && limits[locked - 1].state != AN_LIMITS_LOCKED) {
        locked--;
    }
    const bool news = speaks(cli, stream);
    s->line.without_lock += locked == 0 && news;
    st = an_pace_of(cli->store, cli->line, stream->stream_id, &pace, &cli->err);
    st = st ? st : an_cli_stream_gauge(cli, stream, INT64_MAX, cli->arena, &gauge);
    if (!st && !s->named && gauge.warning) {
        an_text_addf(&s->gauges, "%s: %s\n", stream->name, gauge.warning);
    }
    for (size_t r = 0; !st && r < revisions; r++) {
        const bool newest = r + 1 == revisions;
        const bool shown = s->history || newest;
        struct an_expected expected;
        if (shown || r + 1 == locked) {
            st = an_expected_of(&limits[r], &s->cache, cli->arena, &expected, &cli->err);
        }
        if (!st && news && r + 1 == locked) {
            s->line.remember += an_cli_limits_remember(&limits[r]) && limits[r].lag1 > 0;
            add_to_line(&s->line, &expected, &pace);
        }
        if (!st && shown) {
            st =
                show_revision(cli, s, stream, &limits[r], &expected, newest ? &pace : NULL, &gauge);
        }
    }
    return st;
}

static void finish(struct an_cli *cli, struct showing *s)
{
    if (cli->format == AN_FORMAT_JSON) {
        an_json_end(&s->json, ']');
        if (!s->named) {
            json_line(&s->json, &s->line);
        }
        an_cli_json_end(cli, &s->json);
        return;
    }
    an_cli_table_print(cli, &s->table);
    if (cli->format != AN_FORMAT_TABLE) {
        return;
    }
    if (s->details.length) {
        an_text_addf(&cli->out, "\n%s", an_text_of(&s->details));
    }
    if (s->scales.length) {
        an_text_addf(&cli->out, "\n%s", an_text_of(&s->scales));
    }
    if (s->doubts.length) {
        an_text_addf(&cli->out, "\n%s", an_text_of(&s->doubts));
    }
    if (s->gauges.length) {
        an_text_addf(&cli->out, "\n%s", an_text_of(&s->gauges));
    }
    if (!s->named) {
        tell_line(cli, &s->line);
    }
}

static enum an_exit run_show(struct an_cli *cli)
{
    struct an_stream *streams = NULL;
    size_t count = 0;
    struct showing s = {
        .table = {.titles = an_cli_limits_titles, .columns = AN_LIMITS_SHOWN, .right = 0xFCU},
        .history = an_option_on(&cli->options, "history"),
        .named = cli->options.operand_count > 0};
    enum an_status st = an_cli_open(cli, AN_STORE_READ, true);

    if (!st) {
        st = an_cli_streams(cli, true, &streams, &count);
    }
    if (!st && cli->format == AN_FORMAT_JSON) {
        s.json = an_cli_json_begin(cli, "andamento.limits.1");
        an_json_array(&s.json);
    }
    for (size_t i = 0; !st && i < count; i++) {
        st = show_stream(cli, &s, &streams[i]);
    }
    if (!st) {
        finish(cli, &s);
    } else {
        an_text_clear(&cli->out);
    }
    an_text_free(&s.table.cells);
    an_text_free(&s.doubts);
    an_text_free(&s.scales);
    an_text_free(&s.details);
    an_text_free(&s.gauges);
    return st ? an_cli_failed(cli, st) : AN_EXIT_DONE;
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
    .more =
        "'false alarm every' is by the rules in force on both panels, the law of what is plotted\n"
        "and the size of the baseline, for independent samples; '-' where there is no theory.\n"
        "Without streams: the false alarms that the whole line is to expect in a shift, at the pace\n"
        "of each stream in its last fortnight. With streams: what is known of each, below the table.\n"
        "'doubtful' counts samples of the baseline that were withdrawn, corrected or measured\n"
        "again after the limits were proposed, or looked suspect; below the table: what the\n"
        "limits would be without them.\n",
    .options = show_options,
    .operands_most = 100000,
    .as_of = true,
    .rows_of = AN_ROWS_LIMITS,
    .run = run_show,
};
