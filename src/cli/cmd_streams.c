/* SPDX-License-Identifier: GPL-3.0-or-later */
/* streams: what has a chart, since when, and whether limits are in force. */
#include "cli/commands.h"
#include "judge/judge.h"

static enum an_status state_of(struct an_cli *cli, const struct an_stream *stream,
                               const char **state)
{
    struct an_limits_record *limits = NULL;
    size_t count = 0;
    const enum an_status st =
        an_store_limits(cli->store, stream->stream_id, cli->arena, &limits, &count, &cli->err);
    *state = "none";
    for (size_t i = 0; i < count; i++) {
        if (limits[i].state == AN_LIMITS_LOCKED) {
            *state = "locked";
        } else if (limits[i].state == AN_LIMITS_PROPOSED && (*state)[0] == 'n') {
            *state = "proposed";
        }
    }
    return st;
}

static enum an_exit run(struct an_cli *cli)
{
    static const char *const titles[] = {"stream", "samples", "first", "last", "limits", "what"};
    struct an_cli_table table = {.titles = titles, .columns = 6, .right = 2U};
    struct an_stream *streams = NULL;
    size_t count = 0;
    char first[40];
    char last[40];
    enum an_status st = an_cli_open(cli, AN_STORE_READ, true);
    if (!st) {
        st = an_cli_streams(cli, true, &streams, &count);
    }
    struct an_json json = {0};
    if (!st && cli->format == AN_FORMAT_JSON) {
        json = an_cli_json_begin(cli, "andamento.streams.1");
        an_json_array(&json);
    }
    for (size_t i = 0; !st && i < count; i++) {
        const struct an_stream *stream = &streams[i];
        const char *state = NULL;
        st = state_of(cli, stream, &state);
        const char *title = an_judge_title(cli->line, stream, cli->arena);
        if (!st && cli->format == AN_FORMAT_JSON) {
            an_json_object(&json);
            an_json_put_string(&json, "stream", stream->name);
            an_json_put_string(&json, "title", title);
            an_json_put_integer(&json, "samples", stream->samples);
            an_cli_json_time(cli, &json, "first", stream->first_us);
            an_cli_json_time(cli, &json, "last", stream->last_us);
            an_json_put_string(&json, "limits", state);
            an_json_end(&json, '}');
        } else if (!st) {
            an_cli_cell(&table, stream->name);
            an_cli_cellf(&table, "%lld", (long long)stream->samples);
            an_cli_cell(&table, stream->samples ? an_instant_rfc3339_in(cli->line->zone,
                                                                        stream->first_us, first)
                                                : "");
            an_cli_cell(&table, stream->samples
                                    ? an_instant_rfc3339_in(cli->line->zone, stream->last_us, last)
                                    : "");
            an_cli_cell(&table, state);
            an_cli_cell(&table, title);
        }
    }
    if (st) {
        an_text_free(&table.cells);
        an_text_clear(&cli->out);
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        an_json_end(&json, ']');
        an_cli_json_end(cli, &json);
    } else {
        an_cli_table_print(cli, &table);
    }
    return AN_EXIT_DONE;
}

static const struct an_option options[] = {AN_OPTION_END};

const struct an_command an_command_streams = {
    .name = "streams",
    .operands = "[STREAM...]",
    .summary = "list the streams: each characteristic within its splits, the thing with a chart",
    .example = "andamento streams 'transfer.*'",
    .options = options,
    .operands_most = 100000,
    .as_of = true,
    .run = run,
};
