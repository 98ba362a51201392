/* SPDX-License-Identifier: GPL-3.0-or-later */
/* report shift: the shift report as PDF. */
#include "cli/commands.h"
#include "intake/collect.h"
#include "report/report.h"

#include <stdint.h>
#include <string.h>

/* The shift of the newest sample in the store; the one before it while less than half of it has been
 * recorded, since whoever asks at a shift's start wants to know about the last one. */
static enum an_status newest_shift(struct an_cli *cli, struct an_shift *shift)
{
    struct an_stream *streams = NULL;
    size_t count = 0;
    int64_t newest = AN_NO_INSTANT;
    enum an_status st = an_store_streams(cli->store, cli->arena, &streams, &count, &cli->err);
    if (st) {
        return st;
    }
    for (size_t i = 0; i < count; i++) {
        if (streams[i].samples && streams[i].last_us > newest) {
            newest = streams[i].last_us;
        }
    }
    if (newest == AN_NO_INSTANT) {
        return an_fail(&cli->err, AN_NOT_FOUND,
                       "the store has no samples yet; collect files, or name a shift with --shift");
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

static enum an_exit run(struct an_cli *cli)
{
    struct an_report_options options = {
        .paper = &an_paper_a4, .held_advice = an_held_advice, .program_version = cli->version};
    const char *paper = an_option_value(&cli->options, "paper");
    struct an_shift shift = {0};
    enum an_status st = AN_OK;
    if (paper && strcmp(paper, "letter") == 0) {
        options.paper = &an_paper_letter;
    } else if (paper && strcmp(paper, "a4") != 0) {
        st = an_fail(&cli->err, AN_BAD_USAGE, "no paper '%s'; there are a4 and letter", paper);
    }
    if (!st) {
        st = an_cli_count(cli, "context", 60, &options.context);
    }
    if (!st) {
        st = an_cli_open(cli, AN_STORE_READ, true);
    }
    if (!st) {
        st = choose_shift(cli, &shift);
    }
    if (!st && shift.pattern == AN_NONE) {
        st = an_fail(&cli->err, AN_BAD_USAGE,
                     "that time lies between shifts; name one with --shift '2026-03-04 night'");
    }
    if (!st) {
        st = an_report_of_shift(cli->line, &shift, cli->arena, &options, &cli->err);
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    const char *label = options.now.label;
    options.path = an_option_value(&cli->options, "output");
    if (!options.path) {
        char *usual = an_arena_printf(cli->arena, "shift-%s.pdf", label);
        for (char *c = usual; c && *c; c++) {
            *c = *c == ' ' || *c == '/' ? '-' : *c;
        }
        options.path = usual;
    }
    struct an_report_result result = {0};
    st = an_report_write(cli->store, cli->line, &options, &result, &cli->err);
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.report.1");
        an_json_object(&json);
        an_json_put_string(&json, "path", options.path);
        an_json_put_string(&json, "shift", label);
        an_json_put_integer(&json, "pages", result.pages);
        an_json_put_integer(&json, "signals", (int64_t)result.signals);
        an_json_put_integer(&json, "streams", (int64_t)result.streams);
        an_json_end(&json, '}');
        an_cli_json_end(cli, &json);
    } else if (cli->quiet) {
        an_text_addf(&cli->out, "%s\n", options.path);
    } else {
        an_text_addf(&cli->out, "%s: shift %s, %zu signal%s on %zu streams, %d pages\n",
                     options.path, label, result.signals, an_plural(result.signals, "", "s"),
                     result.streams, result.pages);
    }
    return AN_EXIT_DONE;
}

static const struct an_option options[] = {
    {"output", 'o', "FILE", "the PDF (else shift-DATE-NAME.pdf here)"},
    {"shift", 0, "LABEL", "which shift, as '2026-03-04 night' (the date it starts on)"},
    {"at", 0, "TIME", "the shift that holds this time"},
    {"paper", 0, "SIZE", "a4 (usual) or letter"},
    {"context", 0, "N", "how many samples before the shift the charts show too (60)"},
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
    .options = options,
    .run = run,
};
