/* SPDX-License-Identifier: GPL-3.0-or-later */
/* signals: the signals of a period with what people answered. */
#include "cli/commands.h"
#include "cli/signing.h"
#include "judge/judge.h"

#include <string.h>

struct listing {
    struct an_signal *signals;
    size_t count;
    struct an_answer *answers; /* oldest first */
    size_t answer_count;
};

static const struct an_answer *newest_answer(const struct listing *list, int64_t signal_id)
{
    for (size_t i = list->answer_count; i-- > 0;) {
        if (list->answers[i].signal_id == signal_id) {
            return &list->answers[i];
        }
    }
    return NULL;
}

static const char *or_dash(const char *text)
{
    return text ? text : "-";
}

static void print_table(struct an_cli *cli, const struct listing *list)
{
    static const char *const titles[] = {"signal",      "code",  "stream",      "since",
                                         "items",       "cause", "containment", "action",
                                         "answered by", "signed"};
    struct an_cli_table table = {.titles = titles, .columns = 10, .right = 1U | 16U};

    for (size_t i = 0; i < list->count; i++) {
        const struct an_signal *s = &list->signals[i];
        const struct an_answer *answer = newest_answer(list, s->record.signal_id);
        char since[64];

        an_cli_cellf(&table, "%lld", (long long)s->record.signal_id);
        an_cli_cell(&table, s->code);
        an_cli_cell(&table, s->stream.name);
        an_cli_cell(&table, cli->format == AN_FORMAT_CSV
                                ? an_instant_rfc3339(s->onset_us, since)
                                : an_instant_rfc3339_in(cli->line->zone, s->onset_us, since));
        an_cli_cellf(&table, "%zu", s->item_count);
        an_cli_cell(&table, answer ? or_dash(answer->cause) : "-");
        an_cli_cell(&table, answer ? or_dash(answer->containment) : "-");
        an_cli_cell(&table, answer ? or_dash(answer->action) : "-");
        an_cli_cell(&table, answer ? answer->author : "open");
        an_cli_signed_cell(cli, &table, answer ? answer->signed_key : NULL);
    }
    an_cli_table_print(cli, &table);
}

static void put_answers(struct an_cli *cli, struct an_json *json, const struct listing *list,
                        int64_t signal_id)
{
    an_json_array(json);
    for (size_t i = 0; i < list->answer_count; i++) {
        const struct an_answer *answer = &list->answers[i];

        if (answer->signal_id != signal_id) {
            continue;
        }
        an_json_object(json);
        an_json_put_integer(json, "answer_id", answer->answer_id);
        an_cli_json_time(cli, json, "known_at", answer->known_us);
        an_json_put_string(json, "author", answer->author);
        an_json_put_string(json, "cause", answer->cause);
        an_json_put_string(json, "action", answer->action);
        an_json_put_string(json, "containment", answer->containment);
        an_json_put_string(json, "reason", answer->reason);
        an_json_put_string(json, "system_user", answer->system_user);
        an_json_put_string(json, "host", answer->host);
        an_json_put_string(json, "signed_key", answer->signed_key);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
}

static void print_json(struct an_cli *cli, const struct listing *list)
{
    struct an_json json = an_cli_json_begin(cli, "andamento.signals.1");

    an_json_array(&json);
    for (size_t i = 0; i < list->count; i++) {
        an_json_object(&json);
        an_json_key(&json, "signal");
        an_signal_json(&json, cli->line, &list->signals[i]);
        an_json_key(&json, "answers");
        put_answers(cli, &json, list, list->signals[i].record.signal_id);
        an_json_end(&json, '}');
    }
    an_json_end(&json, ']');
    an_cli_json_end(cli, &json);
}

/* Of the streams asked for, in the state asked for. */
static void narrow(struct an_cli *cli, struct listing *list, const struct an_stream *streams,
                   size_t stream_count)
{
    const bool open = an_option_on(&cli->options, "open");
    const bool answered = an_option_on(&cli->options, "answered");
    size_t kept = 0;

    for (size_t i = 0; i < list->count; i++) {
        bool asked = (open || !answered) || !list->signals[i].open;
        bool found = stream_count == 0;

        asked = asked && (answered || !open || list->signals[i].open);
        for (size_t k = 0; !found && k < stream_count; k++) {
            found = streams[k].stream_id == list->signals[i].stream.stream_id;
        }
        if (asked && found) {
            list->signals[kept++] = list->signals[i];
        }
    }
    list->count = kept;
}

static enum an_exit run(struct an_cli *cli)
{
    struct listing list = {0};
    struct an_stream *streams = NULL;
    size_t stream_count = 0;
    int64_t from_us = AN_NO_INSTANT;
    int64_t until_us = AN_NO_INSTANT;
    enum an_status st = an_cli_open(cli, AN_STORE_READ, true);

    st = st ? st : an_cli_time(cli, "from", &from_us);
    st = st ? st : an_cli_time(cli, "until", &until_us);
    if (!st && cli->options.operand_count) {
        st = an_cli_streams(cli, true, &streams, &stream_count);
    }
    st = st ? st
            : an_signals(cli->store, cli->line, 0, from_us == AN_NO_INSTANT ? INT64_MIN : from_us,
                         until_us == AN_NO_INSTANT ? INT64_MAX : until_us, cli->arena,
                         &list.signals, &list.count, &cli->err);
    st = st ? st
            : an_store_answers(cli->store, 0, cli->arena, &list.answers, &list.answer_count,
                               &cli->err);
    if (st) {
        return an_cli_failed(cli, st);
    }
    narrow(cli, &list, streams, stream_count);
    size_t open = 0;
    for (size_t i = 0; i < list.count; i++) {
        open += list.signals[i].open;
    }
    if (cli->format == AN_FORMAT_JSON) {
        print_json(cli, &list);
    } else if (list.count || cli->format == AN_FORMAT_CSV) {
        print_table(cli, &list);
    } else {
        an_text_add(&cli->out, "no signal\n");
    }
    return open ? AN_EXIT_FINDING : AN_EXIT_DONE;
}

static const struct an_option options[] = {
    {"open", 0, NULL, "only those without an answer"},
    {"answered", 0, NULL, "only those with one"},
    {"from", 0, "TIME", "only signals met at or after this time (2026-03-04T06:00)"},
    {"until", 0, "TIME", "only signals met before this time"},
    AN_OPTION_END,
};

const struct an_command an_command_signals = {
    .name = "signals",
    .operands = "[STREAM...]",
    .summary = "list signals and what was answered to them, worst first",
    .example = "andamento signals 'transfer.*' --open",
    .more =
        "Withdrawn signals are left out. The table shows the newest answer of each, JSON all of\n"
        "them. Exit status 1: a listed signal is open.\n",
    .options = options,
    .operands_most = 100000,
    .as_of = true,
    .rows_of = AN_ROWS_SIGNALS,
    .run = run,
};
