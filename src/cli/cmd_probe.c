/* SPDX-License-Identifier: GPL-3.0-or-later */
/* probe: a proposal for the line description from sample files of one station. */
#include "andamento/base/output_file.h"
#include "cli/commands.h"
#include "intake/probe.h"

#include <string.h>
#include <unistd.h>

static void tell(void *context, const char *path, uint64_t line, uint64_t column, const char *text)
{
    an_cli_say(context, "%s:%llu:%llu: %s", path, (unsigned long long)line,
               (unsigned long long)column, text);
}

/* The kinds that are known: of --line, else of the store if there is one. */
static enum an_status find_line(struct an_cli *cli)
{
    const char *path = an_option_value(&cli->options, "line");
    if (path) {
        return an_line_read_file(path, tell, cli, &cli->line, &cli->err);
    }
    const bool named = an_option_value(&cli->options, "store") != NULL;
    if (named || access(an_cli_store_path(cli), F_OK) == 0) {
        return an_cli_open(cli, AN_STORE_READ, true);
    }
    return AN_OK;
}

static void put_finding(struct an_json *json, const struct an_probe_finding *finding)
{
    an_json_object(json);
    an_json_put_string(json, "key", finding->path);
    an_json_put_string(json, "value", finding->value);
    an_json_put_bool(json, "proposed", finding->proposed);
    an_json_put_bool(json, "needed", finding->needed);
    an_json_put_string(json, "evidence", finding->evidence);
    an_json_key(json, "doubts");
    an_json_array(json);
    for (size_t i = 0; i < finding->doubt_count; i++) {
        an_json_string(json, finding->doubts[i]);
    }
    an_json_end(json, ']');
    an_json_end(json, '}');
}

static void put_json(struct an_cli *cli, const struct an_probe_result *result)
{
    struct an_json json = an_cli_json_begin(cli, "andamento.probe.1");
    an_json_object(&json);
    an_json_put_string(&json, "station", result->station);
    an_json_put_bool(&json, "complete", result->complete);
    an_json_put_integer(&json, "files_given", (int64_t)result->given);
    an_json_key(&json, "files");
    an_json_array(&json);
    for (size_t i = 0; i < result->look_count; i++) {
        const struct an_probe_look *look = &result->looks[i];
        an_json_object(&json);
        an_json_put_string(&json, "path", look->path);
        an_json_put_integer(&json, "bytes", (int64_t)look->bytes);
        an_json_put_integer(&json, "bytes_read", (int64_t)look->read);
        an_json_put_integer(&json, "rows", (int64_t)look->rows);
        an_json_end(&json, '}');
    }
    an_json_end(&json, ']');
    an_json_key(&json, "doubts");
    an_json_array(&json);
    for (size_t i = 0; i < result->remark_count; i++) {
        an_json_string(&json, result->remarks[i]);
    }
    an_json_end(&json, ']');
    an_json_key(&json, "findings");
    an_json_array(&json);
    for (size_t i = 0; i < result->finding_count; i++) {
        put_finding(&json, &result->findings[i]);
    }
    an_json_end(&json, ']');
    an_json_end(&json, '}');
    an_json_end(&json, '}');
}

static enum an_status write_out(struct an_cli *cli, const char *path)
{
    struct an_output_file *file = NULL;
    if (cli->out.failed) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    if (!path || strcmp(path, "-") == 0) {
        an_cli_flush(cli);
        return AN_OK;
    }
    const enum an_status st = an_output_file_open(path, &file, &cli->err);
    if (st) {
        return st;
    }
    (void)an_output_file_write(file, cli->out.at, cli->out.length); /* told by commit */
    an_text_clear(&cli->out);
    return an_output_file_commit(file, &cli->err);
}

static enum an_exit run(struct an_cli *cli)
{
    struct an_probe_result result = {0};
    enum an_status st = find_line(cli);
    if (!st) {
        const struct an_probe_options options = {
            .name = an_option_value(&cli->options, "name"),
            .kind = an_option_value(&cli->options, "kind"),
            .line = cli->line,
        };
        st = an_probe(cli->options.operands, cli->options.operand_count, &options, cli->arena,
                      &result, &cli->err);
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        put_json(cli, &result);
    } else {
        an_probe_block(&result, &cli->out);
    }
    st = write_out(cli, an_option_value(&cli->options, "output"));
    if (st) {
        an_text_clear(&cli->out);
        return an_cli_failed(cli, st);
    }
    return result.complete && !result.passed_over ? AN_EXIT_DONE : AN_EXIT_FINDING;
}

static const struct an_option options[] = {
    {"output", 'o', "FILE", "write here ('-' or nothing: standard output)"},
    {"name", 0, "NAME", "the station's name (else from the first file's name)"},
    {"kind", 0, "KIND", "the kind of item that the station measures"},
    {"line", 0, "LINE.yaml",
     "use the kinds of this description (else those of the store, if there is one)"},
    AN_OPTION_END,
};

const struct an_command an_command_probe = {
    .name = "probe",
    .operands = "FILE...",
    .summary = "propose a station for the line description from sample files",
    .example = "andamento probe --name lumen samples/*.csv >lumen.yaml",
    .more =
        "Each choice comes with its evidence, each doubt as a comment beside it. Nothing is used\n"
        "until a person has put it into the description. Exit status 1: something is left open,\n"
        "or a file was passed over; docs/probe.md explains how to read the proposal.\n",
    .options = options,
    .operands_least = 1,
    .operands_most = 1000000,
    .run = run,
};
