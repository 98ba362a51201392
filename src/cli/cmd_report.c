/* SPDX-License-Identifier: GPL-3.0-or-later */
/* report shift, report week: the reports as PDF. */
#include "cli/commands.h"
#include "intake/collect.h"
#include "report/report.h"

#include <stdint.h>
#include <string.h>

static enum an_status newest_sample(struct an_cli *cli, const char *instead, int64_t *newest_us)
{
    struct an_stream *streams = NULL;
    size_t count = 0;
    const enum an_status st = an_store_streams(cli->store, cli->arena, &streams, &count, &cli->err);

    *newest_us = AN_NO_INSTANT;
    for (size_t i = 0; !st && i < count; i++) {
        if (streams[i].samples && streams[i].last_us > *newest_us) {
            *newest_us = streams[i].last_us;
        }
    }
    return st || *newest_us != AN_NO_INSTANT
               ? st
               : an_fail(&cli->err, AN_NOT_FOUND,
                         "the store has no samples yet; collect files, or name a period with %s",
                         instead);
}

/* The shift of the newest sample in the store; the one before it while less than half of it has been
 * recorded, since whoever asks at a shift's start wants to know about the last one. */
static enum an_status newest_shift(struct an_cli *cli, struct an_shift *shift)
{
    int64_t newest = AN_NO_INSTANT;
    const enum an_status st = newest_sample(cli, "--shift", &newest);

    if (st) {
        return st;
    }
    *shift = an_line_shift_at(cli->line, newest);
    if (shift->pattern == AN_NONE ||
        newest - shift->from_us < (shift->until_us - shift->from_us) / 2) {
        *shift = an_line_shift_before(cli->line, shift);
    }
    return AN_OK;
}

static enum an_status choose_shift(struct an_cli *cli, struct an_shift *shift)
{
    const char *label = an_option_value(&cli->options, "shift");
    int64_t at_us = AN_NO_INSTANT;
    if (label) {
        return an_line_shift_parse(cli->line, an_bytes_of(label), shift, &cli->err);
    }
    const enum an_status st = an_cli_time(cli, "at", &at_us);
    if (st) {
        return st;
    }
    if (at_us == AN_NO_INSTANT) {
        return newest_shift(cli, shift);
    }
    *shift = an_line_shift_at(cli->line, at_us);
    return AN_OK;
}

/* The same for weeks: Monday's reader wants the week that is over. */
static enum an_status choose_week(struct an_cli *cli, struct an_week *week)
{
    const char *label = an_option_value(&cli->options, "week");
    int64_t at_us = AN_NO_INSTANT;
    bool newest = false;

    if (label) {
        return an_line_week_parse(cli->line, an_bytes_of(label), week, &cli->err);
    }
    enum an_status st = an_cli_time(cli, "at", &at_us);
    if (!st && at_us == AN_NO_INSTANT) {
        newest = true;
        st = newest_sample(cli, "--week", &at_us);
    }
    if (st) {
        return st;
    }
    *week = an_line_week_at(cli->line, at_us);
    if (newest && at_us - week->from_us < (week->until_us - week->from_us) / 2) {
        *week = an_line_week_before(cli->line, week);
    }
    return AN_OK;
}

static enum an_status read_common(struct an_cli *cli, struct an_report_options *options)
{
    const char *paper = an_option_value(&cli->options, "paper");
    enum an_status st = AN_OK;

    *options = (struct an_report_options){
        .paper = &an_paper_a4, .held_advice = an_held_advice, .program_version = cli->version};
    options->definition_name = an_option_value(&cli->options, "definition");
    if (paper && strcmp(paper, "letter") == 0) {
        options->paper = &an_paper_letter;
    } else if (paper && strcmp(paper, "a4") != 0) {
        st = an_fail(&cli->err, AN_BAD_USAGE, "no paper '%s'; there are a4 and letter", paper);
    }
    if (!st && options->definition_name) {
        st = an_cli_read_file(cli, options->definition_name, &options->definition);
    }
    st = st ? st : an_cli_count(cli, "context", 0, &options->context);
    return st ? st : an_cli_open(cli, AN_STORE_READ, true);
}

static enum an_exit write_report(struct an_cli *cli, struct an_report_options *options,
                                 const char *word)
{
    const char *label = options->now.label;
    struct an_report_result result = {0};

    options->path = an_option_value(&cli->options, "output");
    if (!options->path) {
        char *usual = an_arena_printf(cli->arena, "%s-%s.pdf", word, label);
        for (char *c = usual; c && *c; c++) {
            *c = *c == ' ' || *c == '/' ? '-' : *c;
        }
        options->path = usual;
    }
    const enum an_status st = an_report_write(cli->store, cli->line, options, &result, &cli->err);
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.report.1");
        an_json_object(&json);
        an_json_put_string(&json, "path", options->path);
        an_json_put_string(&json, word, label);
        an_json_put_integer(&json, "pages", result.pages);
        an_json_put_integer(&json, "signals", (int64_t)result.signals);
        an_json_put_integer(&json, "streams", (int64_t)result.streams);
        an_json_end(&json, '}');
        an_cli_json_end(cli, &json);
    } else if (cli->quiet) {
        an_text_addf(&cli->out, "%s\n", options->path);
    } else {
        an_text_addf(&cli->out, "%s: %s %s, %zu signal%s on %zu streams, %d pages\n", options->path,
                     word, label, result.signals, an_plural(result.signals, "", "s"),
                     result.streams, result.pages);
    }
    return AN_EXIT_DONE;
}

static enum an_exit run_shift(struct an_cli *cli)
{
    struct an_report_options options;
    struct an_shift shift = {0};
    enum an_status st = read_common(cli, &options);

    st = st ? st : choose_shift(cli, &shift);
    if (!st && shift.pattern == AN_NONE) {
        st = an_fail(&cli->err, AN_BAD_USAGE,
                     "that time lies between shifts; name one with --shift '2026-03-04 night'");
    }
    st = st ? st : an_report_of_shift(cli->line, &shift, cli->arena, &options, &cli->err);
    return st ? an_cli_failed(cli, st) : write_report(cli, &options, "shift");
}

static enum an_exit run_week(struct an_cli *cli)
{
    struct an_report_options options;
    struct an_week week = {0};
    enum an_status st = read_common(cli, &options);

    st = st ? st : choose_week(cli, &week);
    st = st ? st : an_report_of_week(cli->line, &week, cli->arena, &options, &cli->err);
    return st ? an_cli_failed(cli, st) : write_report(cli, &options, "week");
}

#define COMMON_OPTIONS                                                                             \
    {"paper", 0, "SIZE", "a4 (usual) or letter"},                                                  \
        {"context", 0, "N", "how many samples before the period the large charts show too"},       \
    {                                                                                              \
        "definition", 0, "FILE", "another order and content than the program's own"                \
    }

static const struct an_option shift_options[] = {
    {"output", 'o', "FILE", "the PDF (else shift-DATE-NAME.pdf here)"},
    {"shift", 0, "LABEL", "which shift, as '2026-03-04 night' (the date it starts on)"},
    {"at", 0, "TIME", "the shift that holds this time"},
    COMMON_OPTIONS,
    AN_OPTION_END,
};

static const struct an_option week_options[] = {
    {"output", 'o', "FILE", "the PDF (else week-YEAR-WNN.pdf here)"},
    {"week", 0, "LABEL", "which week, as 2026-W10 (ISO 8601)"},
    {"at", 0, "TIME", "the week that holds this time"},
    COMMON_OPTIONS,
    AN_OPTION_END,
};

const struct an_command an_command_report_shift = {
    .name = "report shift",
    .operands = "",
    .summary =
        "write the shift report: what changed, what is at risk, what is missing, what is due",
    .example = "andamento report shift --shift '2026-03-04 night' -o night.pdf",
    .more =
        "Without --shift or --at: the shift of the newest sample. The same store and shift give\n"
        "the same bytes. Run 'andamento check' before, so that signals are judged.\n",
    .options = shift_options,
    .as_of = true,
    .run = run_shift,
};

const struct an_command an_command_report_week = {
    .name = "report week",
    .operands = "",
    .summary = "write the week report: stability, capability, yields, what differs from last week",
    .example = "andamento report week --week 2026-W10 -o week.pdf",
    .more = "Without --week or --at: the newest week of which half was recorded. A week runs from\n"
            "the first shift that starts on a Monday to that of the next. Run 'andamento check'\n"
            "before, so that signals are judged.\n",
    .options = week_options,
    .as_of = true,
    .run = run_week,
};
