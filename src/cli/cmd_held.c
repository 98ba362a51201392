/* SPDX-License-Identifier: GPL-3.0-or-later */
/* held: what was not taken, and why. */
#include "cli/commands.h"
#include "intake/collect.h"

#include <string.h>

static void print_files(struct an_cli *cli, const struct an_file *files, size_t count,
                        const char *station, const char *code)
{
    static const char *const titles[] = {"file", "station", "reason", "line", "name", "why"};
    struct an_cli_table table = {.titles = titles, .columns = 6, .right = 1U | 8U};
    for (size_t i = 0; i < count; i++) {
        if (files[i].state != AN_FILE_HELD ||
            (station && (!files[i].station || strcmp(files[i].station, station) != 0)) ||
            (code && strcmp(files[i].code, code) != 0)) {
            continue;
        }
        an_cli_cellf(&table, "%lld", (long long)files[i].file_id);
        an_cli_cell(&table, files[i].station ? files[i].station : "-");
        an_cli_cell(&table, files[i].code);
        an_cli_cellf(&table, "%llu", (unsigned long long)files[i].why_line);
        an_cli_cell(&table, files[i].name);
        an_cli_cell(&table, files[i].why);
    }
    if (table.cell_count) {
        an_text_add(&cli->out, "held whole:\n");
        an_cli_table_print(cli, &table);
        an_text_add(&cli->out, "\n");
    }
    an_text_free(&table.cells);
}

static void print_rows(struct an_cli *cli, const struct an_held *rows, size_t count)
{
    static const char *const titles[] = {"file",   "station", "line", "column",
                                         "reason", "why",     "row"};
    struct an_cli_table table = {.titles = titles, .columns = 7, .right = 1U | 4U};
    struct an_text shown = {0};
    for (size_t i = 0; i < count; i++) {
        an_cli_cellf(&table, "%lld", (long long)rows[i].file_id);
        an_cli_cell(&table, rows[i].station);
        an_cli_cellf(&table, "%llu", (unsigned long long)rows[i].line);
        an_cli_cell(&table, rows[i].column_name ? rows[i].column_name : "-");
        an_cli_cell(&table, rows[i].code);
        an_cli_cell(&table, rows[i].why);
        an_text_clear(&shown);
        an_text_add_visible(&shown, rows[i].text, cli->format == AN_FORMAT_CSV ? 65536 : 60);
        an_cli_cell(&table, an_text_of(&shown));
    }
    an_text_free(&shown);
    an_cli_table_print(cli, &table);
}

static void print_json(struct an_cli *cli, const struct an_file *files, size_t file_count,
                       const struct an_held *rows, size_t count)
{
    struct an_json json = an_cli_json_begin(cli, "andamento.held.1");
    an_json_object(&json);
    an_json_key(&json, "files");
    an_json_array(&json);
    for (size_t i = 0; i < file_count; i++) {
        if (files[i].state == AN_FILE_HELD) {
            an_json_object(&json);
            an_json_put_integer(&json, "file_id", files[i].file_id);
            an_json_put_string(&json, "name", files[i].name);
            an_json_put_string(&json, "station", files[i].station);
            an_json_put_string(&json, "code", files[i].code);
            an_json_put_string(&json, "why", files[i].why);
            an_json_put_integer(&json, "line", (int64_t)files[i].why_line);
            an_json_put_integer(&json, "column", (int64_t)files[i].why_column);
            an_json_put_string(&json, "advice", an_held_advice(files[i].code));
            an_json_end(&json, '}');
        }
    }
    an_json_end(&json, ']');
    an_json_key(&json, "rows");
    an_json_array(&json);
    for (size_t i = 0; i < count; i++) {
        an_json_object(&json);
        an_json_put_integer(&json, "held_id", rows[i].held_id);
        an_json_put_integer(&json, "file_id", rows[i].file_id);
        an_json_put_string(&json, "file", rows[i].file_name);
        an_json_put_string(&json, "station", rows[i].station);
        an_json_put_integer(&json, "line", (int64_t)rows[i].line);
        an_json_put_integer(&json, "column", (int64_t)rows[i].column);
        an_json_put_string(&json, "column_name", rows[i].column_name);
        an_json_put_string(&json, "code", rows[i].code);
        an_json_put_string(&json, "why", rows[i].why);
        an_json_put_string(&json, "advice", an_held_advice(rows[i].code));
        an_json_key(&json, "text");
        an_json_bytes(&json, rows[i].text);
        an_json_end(&json, '}');
    }
    an_json_end(&json, ']');
    an_json_end(&json, '}');
    an_cli_json_end(cli, &json);
}

static enum an_exit run(struct an_cli *cli)
{
    const char *station = an_option_value(&cli->options, "station");
    const char *code = an_option_value(&cli->options, "code");
    size_t file_id = 0;
    size_t most = 0;
    struct an_held *rows = NULL;
    size_t count = 0;
    struct an_file *files = NULL;
    size_t file_count = 0;
    enum an_status st = an_cli_count(cli, "file", 0, &file_id);
    if (!st) {
        st = an_cli_count(cli, "most", cli->format == AN_FORMAT_TABLE ? 50 : 0, &most);
    }
    if (!st) {
        st = an_cli_open(cli, AN_STORE_READ, false);
    }
    if (!st) {
        st = an_store_held(cli->store, station, code, (int64_t)file_id, most ? most + 1 : 0,
                           cli->arena, &rows, &count, &cli->err);
    }
    if (!st && !file_id) {
        st = an_store_files(cli->store, AN_NO_INSTANT, AN_NO_INSTANT, cli->arena, &files,
                            &file_count, &cli->err);
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    size_t held_files = 0;
    for (size_t i = 0; i < file_count; i++) {
        held_files += files[i].state == AN_FILE_HELD;
    }
    const bool more = most && count > most;
    count = more ? most : count;
    if (cli->format == AN_FORMAT_JSON) {
        print_json(cli, files, file_count, rows, count);
    } else if (cli->format == AN_FORMAT_CSV) {
        print_rows(cli, rows, count);
    } else {
        print_files(cli, files, file_count, station, code);
        if (count) {
            print_rows(cli, rows, count);
        } else if (!held_files) {
            an_text_add(&cli->out, "nothing is held\n");
        }
        if (more) {
            an_text_addf(&cli->out, "... and more; --most N lists more, --csv lists all\n");
        }
    }
    return count || held_files ? AN_EXIT_FINDING : AN_EXIT_DONE;
}

static const struct an_option options[] = {
    {"station", 0, "NAME", "only this station's"},
    {"code", 0, "CODE", "only this reason's, as 'number.bad'"},
    {"file", 0, "ID", "only this file's rows"},
    {"most", 0, "N", "list at most N rows (50; all as CSV and JSON)"},
    AN_OPTION_END,
};

const struct an_command an_command_held = {
    .name = "held",
    .operands = "",
    .summary = "list the rows and files that were not taken, each with its reason",
    .example = "andamento held --station luminance",
    .more = "docs/held.md explains every reason and what to do about it.\n"
            "Exit status 1: something is held.\n",
    .options = options,
    .run = run,
};
