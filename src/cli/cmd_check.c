/* SPDX-License-Identifier: GPL-3.0-or-later */
/* check: applies limits and rules to what is new, then tells the open signals as sentences. */
#include "cli/commands.h"
#include "judge/judge.h"

#include <math.h>
#include <stdint.h>

static void print_json(struct an_cli *cli, const struct an_check_result *result,
                       const struct an_signal *signals, size_t count)
{
    struct an_json json = an_cli_json_begin(cli, "andamento.check.1");
    an_json_object(&json);
    an_json_put_bool(&json, "dry_run", cli->dry_run);
    an_json_put_integer(&json, "streams", (int64_t)result->streams);
    an_json_put_integer(&json, "streams_without_limits", (int64_t)result->streams_without_limits);
    an_json_put_integer(&json, "samples_judged", (int64_t)result->samples);
    an_json_put_integer(&json, "late_samples", result->late_samples);
    an_json_put_integer(&json, "new_signals", (int64_t)result->new_signals);
    an_json_put_integer(&json, "new_hits", (int64_t)result->new_hits);
    an_json_put_integer(&json, "withdrawn_hits", (int64_t)result->withdrawn_hits);
    an_json_key(&json, "signals");
    an_json_array(&json);
    for (size_t i = 0; i < count; i++) {
        an_signal_json(&json, cli->line, &signals[i]);
    }
    an_json_end(&json, ']');
    an_json_end(&json, '}');
    an_cli_json_end(cli, &json);
}

static void print_csv(struct an_cli *cli, const struct an_signal *signals, size_t count)
{
    static const char *const titles[] = {"signal", "stream", "code",  "since",      "signalled",
                                         "size",   "sigmas", "items", "in_product", "sentence"};
    struct an_cli_table table = {.titles = titles, .columns = 10};
    char text[40];
    char number[32];
    for (size_t i = 0; i < count; i++) {
        const struct an_signal *s = &signals[i];
        an_cli_cellf(&table, "%lld", (long long)s->record.signal_id);
        an_cli_cell(&table, s->stream.name);
        an_cli_cell(&table, s->code);
        an_cli_cell(&table, an_instant_rfc3339(s->onset_us, text));
        an_cli_cell(&table, an_instant_rfc3339(s->record.signal_us, text));
        an_cli_cell(&table, isfinite(s->size) ? an_number_shortest(s->size, number) : "");
        an_cli_cell(&table,
                    isfinite(s->size_sigmas) ? an_number_shortest(s->size_sigmas, number) : "");
        an_cli_cellf(&table, "%zu", s->item_count);
        an_cli_cellf(&table, "%zu", s->product_in_next);
        an_cli_cell(&table, s->sentence);
    }
    an_cli_table_print(cli, &table);
}

static void print_sentences(struct an_cli *cli, const struct an_check_result *result,
                            const struct an_signal *signals, size_t count)
{
    an_text_addf(&cli->out, "%zu sample%s judged on %zu stream%s", result->samples,
                 an_plural(result->samples, "", "s"), result->streams,
                 an_plural(result->streams, "", "s"));
    if (result->streams_without_limits) {
        an_text_addf(&cli->out, " (%zu more %s no limits in force)", result->streams_without_limits,
                     an_plural(result->streams_without_limits, "has", "have"));
    }
    if (result->late_samples) {
        an_text_addf(&cli->out, "; %lld came late and made earlier points be judged again",
                     (long long)result->late_samples);
    }
    an_text_addf(&cli->out, "; %zu new signal%s, %zu open\n", result->new_signals,
                 an_plural(result->new_signals, "", "s"), count);
    for (size_t i = 0; i < count; i++) {
        an_text_addf(&cli->out, "\n%lld  %s  %s\n    %s\n", (long long)signals[i].record.signal_id,
                     signals[i].code, signals[i].stream.name, signals[i].sentence);
    }
}

static enum an_exit run(struct an_cli *cli)
{
    struct an_check_result result = {0};
    struct an_signal *signals = NULL;
    size_t count = 0;
    int64_t from_us = AN_NO_INSTANT;
    enum an_status st = an_cli_open(cli, cli->dry_run ? AN_STORE_READ : AN_STORE_WRITE, true);
    if (!st) {
        st = an_cli_time(cli, "since", &from_us);
    }
    if (!st) {
        st = an_check_all(cli->store, cli->line, cli->dry_run, &result, &cli->err);
    }
    if (!st) {
        const struct an_signals_wish wish = {
            .from_us = from_us == AN_NO_INSTANT ? INT64_MIN : from_us,
            .until_us = INT64_MAX,
            .open_only = true, /* answered ones are over */
            .without_lists = cli->format != AN_FORMAT_JSON,
        };
        st = an_signals_wished(cli->store, cli->line, &wish, cli->arena, &signals, &count,
                               &cli->err);
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        print_json(cli, &result, signals, count);
    } else if (cli->format == AN_FORMAT_CSV) {
        print_csv(cli, signals, count);
    } else {
        print_sentences(cli, &result, signals, count);
    }
    return count ? AN_EXIT_FINDING : AN_EXIT_DONE;
}

static const struct an_option options[] = {
    {"since", 0, "TIME", "tell only signals that were still met at or after this time"},
    {"dry-run", 'n', NULL, "judge, store nothing"},
    AN_OPTION_END,
};

const struct an_command an_command_check = {
    .name = "check",
    .operands = "",
    .summary = "judge what is new and tell the open signals, worst first",
    .example = "andamento check",
    .more = "A signal asks for a look; it is no disposition. Exit status 1: a signal is open.\n",
    .options = options,
    .run = run,
};
