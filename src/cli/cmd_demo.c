/* SPDX-License-Identifier: GPL-3.0-or-later */
/* demo: writes the demonstration line. */
#include "cli/commands.h"
#include "demo/demo.h"

static enum an_exit run(struct an_cli *cli)
{
    size_t days = 0;
    size_t seed = 0;
    enum an_status st = an_cli_count(cli, "days", 14, &days);
    if (!st) {
        st = an_cli_count(cli, "seed", 0, &seed);
    }
    if (!st && (days < 6 || days > 365)) {
        st = an_fail(&cli->err, AN_BAD_USAGE, "--days takes 6 to 365");
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    const struct an_demo_options options = {
        .folder = cli->options.operands[0],
        .quiet_line = an_option_on(&cli->options, "quiet-line"),
        .days = (int)days,
        .seed = seed,
    };
    struct an_demo_result result;
    st = an_demo_write(&options, &result, &cli->err);
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.demo.1");
        an_json_object(&json);
        an_json_put_string(&json, "folder", options.folder);
        an_json_put_string(&json, "description", result.description);
        an_json_put_integer(&json, "files", result.files);
        an_json_put_integer(&json, "rows", result.rows);
        an_json_put_integer(&json, "bytes", result.bytes);
        an_json_end(&json, '}');
        an_cli_json_end(cli, &json);
        return AN_EXIT_DONE;
    }
    an_text_addf(&cli->out,
                 "wrote %lld files with %lld rows (%.1f MB) below %s; the line's description is "
                 "%s/%s%s\n",
                 (long long)result.files, (long long)result.rows, (double)result.bytes / 1e6,
                 options.folder, options.folder, result.description,
                 options.quiet_line ? "" : ", the truth about its faults truth.json beside it");
    return AN_EXIT_DONE;
}

static const struct an_option options[] = {
    {"quiet-line", 0, NULL, "the same line without faults and without file mess"},
    {"days", 0, "N", "days of production, 6 to 365 (14)"},
    {"seed", 0, "N", "another throw of the dice"},
    AN_OPTION_END,
};

const struct an_command an_command_demo = {
    .name = "demo",
    .operands = "DIR",
    .summary = "write a demonstration line: description, station files with seeded faults, truth",
    .example = "andamento demo demo-line",
    .more = "Everything in it is invented. The same seed gives the same bytes everywhere.\n",
    .options = options,
    .operands_least = 1,
    .operands_most = 1,
    .run = run,
};
