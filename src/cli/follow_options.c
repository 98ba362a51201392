/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The options of a collector that follows, checked before anything is opened. */
#include "cli/follow.h"

#include <string.h>

static const char *const only_following[] = {
    "scan",      "settle",        "no-events",       "until-quiet", "line",
    "on-signal", "on-signal-arg", "on-signal-limit", "least-free",
};

/* Seconds, with a fraction if need be. */
static enum an_status seconds(struct an_cli *cli, const char *name, double usual, double least,
                              int64_t *us)
{
    const char *value = an_option_value(&cli->options, name);
    struct an_decimal number = {.value = usual};
    if (value && (an_decimal_parse(an_bytes_of(value), '.', 0, &number) || number.value < least ||
                  number.value > 86400.0)) {
        return an_fail(&cli->err, AN_BAD_USAGE, "--%s wants seconds from %g to 86400, not '%s'",
                       name, least, value);
    }
    *us = (int64_t)(number.value * 1e6);
    return AN_OK;
}

static enum an_status command(struct an_cli *cli, struct an_follow_options *options)
{
    const char *path = an_option_value(&cli->options, "on-signal");
    size_t count = 0;
    while (an_option_value_at(&cli->options, "on-signal-arg", count)) {
        count++;
    }
    if (!path && (count || an_option_value(&cli->options, "on-signal-limit"))) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "--on-signal-arg and --on-signal-limit want --on-signal COMMAND");
    }
    if (!path) {
        return AN_OK;
    }
    if (!path[0]) {
        return an_fail(&cli->err, AN_BAD_USAGE, "--on-signal wants a command, not nothing");
    }
    const char **argv = an_arena_alloc(cli->arena, count + 2, sizeof *argv);
    if (!argv) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    argv[0] = path;
    for (size_t k = 0; k < count; k++) {
        argv[k + 1] = an_option_value_at(&cli->options, "on-signal-arg", k);
    }
    options->command = argv;
    return AN_OK;
}

enum an_status an_follow_refuse_options(struct an_cli *cli)
{
    for (size_t k = 0; k < sizeof only_following / sizeof *only_following; k++) {
        if (an_option_on(&cli->options, only_following[k]) ||
            an_option_value(&cli->options, only_following[k])) {
            return an_fail(&cli->err, AN_BAD_USAGE, "--%s wants --follow", only_following[k]);
        }
    }
    return AN_OK;
}

enum an_exit an_follow_command(struct an_cli *cli)
{
    struct an_follow_options options = {0};
    size_t least_free = 0;
    enum an_status st = AN_OK;
    if (cli->options.operand_count) {
        st = an_fail(&cli->err, AN_BAD_USAGE,
                     "--follow takes the stations' folders from the line description, and no PATH: "
                     "'%s'",
                     cli->options.operands[0]);
    } else if (cli->dry_run || an_option_value(&cli->options, "station")) {
        st = an_fail(&cli->err, AN_BAD_USAGE, "--follow goes with neither --dry-run nor --station");
    } else if (cli->format == AN_FORMAT_CSV) {
        st = an_fail(&cli->err, AN_BAD_USAGE, "--follow answers as lines or as JSON, not as CSV");
    }
    st = st ? st : seconds(cli, "scan", 60.0, 0.1, &options.scan_us);
    st = st ? st : seconds(cli, "settle", 2.0, 0.01, &options.settle_us);
    st = st ? st : seconds(cli, "until-quiet", 0.0, 0.1, &options.quiet_us);
    st = st ? st : seconds(cli, "on-signal-limit", 10.0, 0.1, &options.command_ms);
    st = st ? st : an_cli_count(cli, "least-free", 256, &least_free);
    st = st ? st : command(cli, &options);
    if (st) {
        return an_cli_failed(cli, st);
    }
    options.command_ms /= 1000;
    options.least_free = (uint64_t)least_free << 20;
    options.line_file = an_option_value(&cli->options, "line");
    options.no_events = an_option_on(&cli->options, "no-events");
    return an_follow_run(cli, &options);
}
