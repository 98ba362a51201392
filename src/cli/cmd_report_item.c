/* SPDX-License-Identifier: GPL-3.0-or-later */
/* report wall, report batch, report tile: reports on one item as PDF. */
#include "cli/commands.h"
#include "report/item_pages.h"

#include <string.h>

static enum an_status read_options(struct an_cli *cli, struct an_item_report *report)
{
    const char *paper = an_option_value(&cli->options, "paper");
    enum an_status st = AN_OK;

    report->name = cli->options.operands[0];
    report->paper = &an_paper_a4;
    report->program_version = cli->version;
    report->definition_name = an_option_value(&cli->options, "definition");
    if (paper && strcmp(paper, "letter") == 0) {
        report->paper = &an_paper_letter;
    } else if (paper && strcmp(paper, "a4") != 0) {
        st = an_fail(&cli->err, AN_BAD_USAGE, "no paper '%s'; there are a4 and letter", paper);
    }
    if (!st && report->definition_name) {
        st = an_cli_read_file(cli, report->definition_name, &report->definition);
    }
    return st ? st : an_cli_open(cli, AN_STORE_READ, true);
}

/* "tile-SV26-00001-A.pdf": what could not stand in a name becomes a dash. */
static const char *usual_path(struct an_cli *cli, const struct an_item_report *report)
{
    const char *colon = strrchr(report->name, ':');
    char *usual = an_arena_printf(cli->arena, "%s-%s.pdf", an_report_word(report->kind),
                                  colon ? colon + 1 : report->name);
    for (char *c = usual; c && *c; c++) {
        *c = *c == ' ' || *c == '/' || (unsigned char)*c < 32 ? '-' : *c;
    }
    return usual;
}

static enum an_exit write_report(struct an_cli *cli, struct an_item_report *report)
{
    struct an_item_result result = {0};
    enum an_status st = read_options(cli, report);
    const bool as_json = cli->format == AN_FORMAT_JSON;

    report->path = an_option_value(&cli->options, "output");
    report->path = report->path ? report->path : usual_path(cli, report);
    if (!st && !report->path) {
        st = an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    struct an_json json = {0};
    if (as_json) {
        json = an_cli_json_begin(cli, "andamento.item-report.1");
    }
    st = an_item_report_write(cli->store, cli->line, report, as_json ? &json : NULL, cli->arena,
                              &result, &cli->err);
    if (st) {
        an_text_clear(&cli->out); /* the head of an answer that will not come */
        return an_cli_failed(cli, st);
    }
    if (as_json) {
        an_cli_json_end(cli, &json);
    } else if (cli->quiet) {
        an_text_addf(&cli->out, "%s\n", result.path);
    } else {
        an_text_addf(&cli->out, "%s: %s\n", result.path, result.lead);
    }
    return AN_EXIT_DONE;
}

static enum an_exit run_wall(struct an_cli *cli)
{
    struct an_item_report report = {.kind = AN_REPORT_WALL,
                                    .chosen = an_option_value(&cli->options, "tile")};
    return write_report(cli, &report);
}

static enum an_exit run_batch(struct an_cli *cli)
{
    struct an_item_report report = {.kind = AN_REPORT_BATCH,
                                    .role = an_option_value(&cli->options, "role")};
    return write_report(cli, &report);
}

static enum an_exit run_tile(struct an_cli *cli)
{
    struct an_item_report report = {.kind = AN_REPORT_TILE};
    return write_report(cli, &report);
}

#define COMMON_OPTIONS                                                                             \
    {"paper", 0, "SIZE", "a4 (usual) or letter"},                                                  \
    {                                                                                              \
        "definition", 0, "FILE", "another order and content than the program's own"                \
    }

static const struct an_option wall_options[] = {
    {"output", 'o', "FILE", "the PDF (else wall-SERIAL.pdf here)"},
    {"tile", 0, "SERIAL", "maps of this one of its tiles too"},
    COMMON_OPTIONS,
    AN_OPTION_END,
};

static const struct an_option batch_options[] = {
    {"output", 'o', "FILE", "the PDF (else batch-SERIAL.pdf here)"},
    {"role", 0, "ROLE", "only what carries it in this role"},
    COMMON_OPTIONS,
    AN_OPTION_END,
};

static const struct an_option tile_options[] = {
    {"output", 'o', "FILE", "the PDF (else tile-SERIAL.pdf here)"},
    COMMON_OPTIONS,
    AN_OPTION_END,
};

const struct an_command an_command_report_wall = {
    .name = "report wall",
    .operands = "WALL",
    .summary = "write the report on a wall: its map, what it is made of, what is open on it",
    .example = "andamento report wall PW26-0004 -o wall.pdf",
    .more =
        "Values stand beside the limits that were in force when they were made. With --json the\n"
        "same facts are answered beside the PDF.\n",
    .options = wall_options,
    .operands_least = 1,
    .operands_most = 1,
    .as_of = true,
    .run = run_wall,
};

const struct an_command an_command_report_batch = {
    .name = "report batch",
    .operands = "BATCH",
    .summary = "write the report on a batch: every item that carries it and where that is now",
    .example = "andamento report batch PL-1007 -o batch.pdf",
    .more =
        "Any item will do: an epitaxy run, a carrier, a lot. What only an inferred link ties to it\n"
        "is told as possible. Write KIND:SERIAL where several kinds have the serial.\n",
    .options = batch_options,
    .operands_least = 1,
    .operands_most = 1,
    .as_of = true,
    .run = run_batch,
};

const struct an_command an_command_report_tile = {
    .name = "report tile",
    .operands = "TILE",
    .summary = "write the report on a tile: its maps, its values, what it is made of, where it is",
    .example = "andamento report tile SV26-00033-P -o tile.pdf",
    .options = tile_options,
    .operands_least = 1,
    .operands_most = 1,
    .as_of = true,
    .run = run_tile,
};
