/* SPDX-License-Identifier: GPL-3.0-or-later */
/* init: a store from a line description, or a new revision of the description in a store. */
#define _XOPEN_SOURCE 700 /* realpath */
#include "cli/commands.h"

#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static void tell(void *context, const char *path, uint64_t line, uint64_t column, const char *text)
{
    an_cli_say(context, "%s:%llu:%llu: %s", path, (unsigned long long)line,
               (unsigned long long)column, text);
}

static enum an_exit print(struct an_cli *cli, int64_t revision, bool is_new, bool created)
{
    const struct an_line *line = cli->line;
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.init.1");
        an_json_object(&json);
        an_json_put_string(&json, "store", an_cli_store_path(cli));
        an_json_put_bool(&json, "created", created);
        an_json_put_integer(&json, "revision", revision);
        an_json_put_bool(&json, "new_revision", is_new);
        an_json_put_string(&json, "line", line->name);
        an_json_put_integer(&json, "stations", (int64_t)line->station_count);
        an_json_put_integer(&json, "characteristics", (int64_t)line->characteristic_count);
        an_json_end(&json, '}');
        an_cli_json_end(cli, &json);
        return AN_EXIT_DONE;
    }
    an_text_addf(&cli->out, "%s store %s: line '%s', %zu station%s, %zu characteristic%s; ",
                 created ? "made" : "opened", an_cli_store_path(cli), line->name,
                 line->station_count, an_plural(line->station_count, "", "s"),
                 line->characteristic_count, an_plural(line->characteristic_count, "", "s"));
    if (is_new) {
        an_text_addf(&cli->out, "description revision %lld stored\n", (long long)revision);
    } else {
        an_text_addf(&cli->out, "the description is revision %lld already, nothing stored\n",
                     (long long)revision);
    }
    return AN_EXIT_DONE;
}

static enum an_exit run(struct an_cli *cli)
{
    const char *path = cli->options.operands[0];
    enum an_status st = an_line_read_file(path, tell, cli, &cli->line, &cli->err);
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->dry_run) {
        const size_t stations = cli->line->station_count;
        const size_t characteristics = cli->line->characteristic_count;
        an_text_addf(&cli->out, "%s is sound: %zu %s, %zu %s; nothing stored\n", path, stations,
                     an_plural(stations, "station", "stations"), characteristics,
                     an_plural(characteristics, "characteristic", "characteristics"));
        return AN_EXIT_DONE;
    }
    char folder[PATH_MAX];
    if (!realpath(cli->line->folder, folder)) {
        return an_cli_failed(cli,
                             an_fail(&cli->err, AN_NOT_FOUND, "no folder '%s'", cli->line->folder));
    }
    const bool exists = access(an_cli_store_path(cli), F_OK) == 0;
    st = an_cli_open(cli, exists ? AN_STORE_WRITE : AN_STORE_CREATE, false);
    int64_t revision = 0;
    bool is_new = false;
    if (!st) {
        st =
            an_store_put_line(cli->store, cli->line->source, folder, &revision, &is_new, &cli->err);
    }
    return st ? an_cli_failed(cli, st) : print(cli, revision, is_new, !exists);
}

static const struct an_option options[] = {
    {"dry-run", 'n', NULL, "check the description, store nothing"},
    AN_OPTION_END,
};

const struct an_command an_command_init = {
    .name = "init",
    .operands = "LINE.yaml",
    .summary = "make a store from a line description, or store a new revision of it",
    .example = "andamento init demo-line/line.yaml --store demo.store",
    .more = "Every mistake in the description is told with file, line and column.\n"
            "docs/line-description.md is the reference of its grammar.\n",
    .options = options,
    .operands_least = 1,
    .operands_most = 1,
    .run = run,
};
