/* SPDX-License-Identifier: GPL-3.0-or-later */
/* held: what was not taken, and why; counts, explanations, and numbers of files that never came. */
#include "cli/held_filter.h"
#include "intake/collect.h"

#include <string.h>

static void print_files(struct an_cli *cli, const struct an_held_file *files, size_t count)
{
    static const char *const titles[] = {"file", "station", "reason", "line", "name", "why"};
    struct an_cli_table table = {.titles = titles, .columns = 6, .right = 1U | 8U};
    for (size_t i = 0; i < count; i++) {
        const struct an_file *file = &files[i].file;
        an_cli_cellf(&table, "%lld", (long long)file->file_id);
        an_cli_cell(&table, file->station ? file->station : "-");
        an_cli_cell(&table, file->code);
        an_cli_cellf(&table, "%llu", (unsigned long long)file->why_line);
        an_cli_cell(&table, file->name);
        if (files[i].released_as) {
            an_cli_cellf(&table, "released, taken as file %lld: %s",
                         (long long)files[i].released_as, file->why);
        } else {
            an_cli_cell(&table, file->why);
        }
    }
    if (table.cell_count) {
        an_text_add(&cli->out, "held whole:\n");
        an_cli_table_print(cli, &table);
        an_text_add(&cli->out, "\n");
    }
    an_text_free(&table.cells);
}

/* What stands for "none": a dash for people, an empty field in CSV. */
static const char *none(const struct an_cli *cli)
{
    return cli->format == AN_FORMAT_CSV ? "" : "-";
}

/* A file held whole, as a line of the CSV list: no number of a held row, no column, no text. */
static void file_line(struct an_cli *cli, struct an_cli_table *table,
                      const struct an_held_file *held)
{
    an_cli_cell(table, "");
    an_cli_cellf(table, "%lld", (long long)held->file.file_id);
    an_cli_cell(table, held->file.station);
    an_cli_cellf(table, "%llu", (unsigned long long)held->file.why_line);
    an_cli_cell(table, "");
    an_cli_cell(table, held->file.code);
    an_cli_cell(table, held->file.why);
    an_cli_cell(table, "");
    if (held->released_as) {
        an_cli_cellf(table, "as file %lld", (long long)held->released_as);
    } else {
        an_cli_cell(table, none(cli));
    }
}

/* In CSV the files held whole come first: whoever reads only this list must not miss them. */
static void print_rows(struct an_cli *cli, const struct an_held_file *files, size_t file_count,
                       const struct an_held *rows, size_t count)
{
    static const char *const titles[] = {"held",   "file", "station", "line",    "column",
                                         "reason", "why",  "row",     "released"};
    struct an_cli_table table = {.titles = titles, .columns = 9, .right = 1U | 2U | 8U};
    struct an_text shown = {0};
    for (size_t i = 0; i < file_count; i++) {
        file_line(cli, &table, &files[i]);
    }
    for (size_t i = 0; i < count; i++) {
        an_cli_cellf(&table, "%lld", (long long)rows[i].held_id);
        an_cli_cellf(&table, "%lld", (long long)rows[i].file_id);
        an_cli_cell(&table, rows[i].station);
        an_cli_cellf(&table, "%llu", (unsigned long long)rows[i].line);
        an_cli_cell(&table, rows[i].column_name ? rows[i].column_name : none(cli));
        an_cli_cell(&table, rows[i].code);
        an_cli_cell(&table, rows[i].why);
        an_text_clear(&shown);
        an_text_add_visible(&shown, rows[i].text, cli->format == AN_FORMAT_CSV ? 65536 : 60);
        an_cli_cell(&table, an_text_of(&shown));
        if (rows[i].released_by) {
            an_cli_cellf(&table, "act %lld", (long long)rows[i].released_by);
        } else {
            an_cli_cell(&table, none(cli));
        }
    }
    an_text_free(&shown);
    an_cli_table_print(cli, &table);
}

/* Numbers of records count from 1: 0 is none. */
static void put_number(struct an_json *json, const char *key, int64_t number)
{
    if (number) {
        an_json_put_integer(json, key, number);
    } else {
        an_json_key(json, key);
        an_json_null(json);
    }
}

static void json_files(struct an_json *json, const struct an_held_file *files, size_t count)
{
    an_json_key(json, "files");
    an_json_array(json);
    for (size_t i = 0; i < count; i++) {
        const struct an_file *file = &files[i].file;
        an_json_object(json);
        an_json_put_integer(json, "file_id", file->file_id);
        an_json_put_string(json, "name", file->name);
        an_json_put_string(json, "station", file->station);
        an_json_put_string(json, "code", file->code);
        an_json_put_string(json, "why", file->why);
        an_json_put_integer(json, "line", (int64_t)file->why_line);
        an_json_put_integer(json, "column", (int64_t)file->why_column);
        an_json_put_string(json, "advice", an_held_advice(file->code));
        put_number(json, "released_as", files[i].released_as);
        an_json_end(json, '}');
    }
    an_json_end(json, ']');
}

static void print_json(struct an_cli *cli, const struct an_held_file *files, size_t file_count,
                       const struct an_held *rows, size_t count)
{
    struct an_json json = an_cli_json_begin(cli, "andamento.held.1");
    an_json_object(&json);
    json_files(&json, files, file_count);
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
        put_number(&json, "released_by", rows[i].released_by);
        an_json_key(&json, "text");
        an_json_bytes(&json, rows[i].text);
        an_json_end(&json, '}');
    }
    an_json_end(&json, ']');
    an_json_end(&json, '}');
    an_cli_json_end(cli, &json);
}

/* ---- counts ----------------------------------------------------------------------------------- */
struct tally {
    const char *station, *code;
    int64_t rows, files;
};

static void add_one(struct tally *tallies, size_t *count, const char *station, const char *code,
                    bool whole)
{
    size_t i = 0;
    station = station ? station : "-";
    while (i < *count &&
           (strcmp(tallies[i].station, station) != 0 || strcmp(tallies[i].code, code) != 0)) {
        i++;
    }
    if (i == *count) {
        tallies[(*count)++] = (struct tally){station, code, 0, 0};
    }
    tallies[i].rows += !whole;
    tallies[i].files += whole;
}

static void print_counts(struct an_cli *cli, const struct tally *tallies, size_t count)
{
    static const char *const titles[] = {"station", "reason", "rows", "files held whole"};
    struct an_cli_table table = {.titles = titles, .columns = 4, .right = 4U | 8U};
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.held_counts.1");
        an_json_array(&json);
        for (size_t i = 0; i < count; i++) {
            an_json_object(&json);
            an_json_put_string(&json, "station", tallies[i].station);
            an_json_put_string(&json, "code", tallies[i].code);
            an_json_put_integer(&json, "rows", tallies[i].rows);
            an_json_put_integer(&json, "files", tallies[i].files);
            an_json_end(&json, '}');
        }
        an_json_end(&json, ']');
        an_cli_json_end(cli, &json);
        return;
    }
    for (size_t i = 0; i < count; i++) {
        an_cli_cell(&table, tallies[i].station);
        an_cli_cell(&table, tallies[i].code);
        an_cli_cellf(&table, "%lld", (long long)tallies[i].rows);
        an_cli_cellf(&table, "%lld", (long long)tallies[i].files);
    }
    an_cli_table_print(cli, &table);
}

static enum an_status count_all(struct an_cli *cli, const struct an_held_file *files,
                                size_t file_count, const struct an_held *rows, size_t count)
{
    struct tally *tallies = an_arena_alloc(cli->arena, file_count + count + 1, sizeof *tallies);
    size_t used = 0;
    if (!tallies) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    for (size_t i = 0; i < count; i++) {
        add_one(tallies, &used, rows[i].station, rows[i].code, false);
    }
    for (size_t i = 0; i < file_count; i++) {
        add_one(tallies, &used, files[i].file.station, files[i].file.code, true);
    }
    print_counts(cli, tallies, used);
    return AN_OK;
}

/* ---- the list --------------------------------------------------------------------------------- */
static enum an_exit run(struct an_cli *cli)
{
    struct an_held_filter filter;
    size_t most = 0;
    struct an_held *rows = NULL;
    size_t count = 0;
    struct an_held_file *files = NULL;
    size_t file_count = 0;
    const bool counting = an_option_on(&cli->options, "count");
    enum an_status st = an_cli_count(cli, "most", cli->format == AN_FORMAT_TABLE ? 50 : 0, &most);
    most = counting ? 0 : most;
    if (!st) {
        st = an_cli_open(cli, AN_STORE_READ, true);
    }
    if (!st) {
        st = an_cli_held_filter(cli, &filter);
    }
    if (!st) {
        st = an_store_held_rows(cli->store, &filter, most ? most + 1 : 0, cli->arena, &rows, &count,
                                &cli->err);
    }
    if (!st) {
        st = an_store_held_files(cli->store, &filter, cli->arena, &files, &file_count, &cli->err);
    }
    if (!st && counting) {
        st = count_all(cli, files, file_count, rows, count);
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    const bool finding = filter.state != AN_HELD_RELEASED && (count || file_count);
    if (counting) {
        return finding ? AN_EXIT_FINDING : AN_EXIT_DONE;
    }
    const bool more = most && count > most;
    count = more ? most : count;
    if (cli->format == AN_FORMAT_JSON) {
        print_json(cli, files, file_count, rows, count);
    } else if (cli->format == AN_FORMAT_CSV) {
        print_rows(cli, files, file_count, rows, count);
    } else {
        print_files(cli, files, file_count);
        if (count) {
            print_rows(cli, NULL, 0, rows, count);
        } else if (!file_count) {
            an_text_add(&cli->out, filter.state == AN_HELD_RELEASED ? "nothing was released\n"
                                                                    : "nothing is held\n");
        }
        if (more) {
            an_text_addf(&cli->out, "... and more; --most N lists more, --csv lists all\n");
        }
    }
    return finding ? AN_EXIT_FINDING : AN_EXIT_DONE;
}

static const struct an_option options[] = {
    AN_OPTION_HELD,
    {"released", 0, NULL, "what was released since, instead of what is still held"},
    {"all", 0, NULL, "both"},
    {"count", 0, NULL, "how many, by station and reason, instead of a list"},
    {"most", 0, "N", "list at most N rows (50; all as CSV and JSON)"},
    AN_OPTION_END,
};

const struct an_command an_command_held = {
    .name = "held",
    .operands = "",
    .summary = "list the rows and files that were not taken, each with its reason",
    .example = "andamento held --station luminance",
    .more = "docs/held.md explains every reason and what to do about it; 'held explain CODE' says\n"
            "it in short, 'held release' lets in what fits by now.\n"
            "Exit status 1: something is held (with --released always 0).\n",
    .options = options,
    .as_of = true,
    .run = run,
};

/* ---- explanations ------------------------------------------------------------------------------- */
static enum an_exit run_explain(struct an_cli *cli)
{
    struct an_json json = {0};
    const bool as_json = cli->format == AN_FORMAT_JSON;
    for (size_t i = 0; i < cli->options.operand_count; i++) {
        const char *code = cli->options.operands[i];
        if (!an_held_advice(code)) {
            return an_cli_failed(cli, an_fail(&cli->err, AN_BAD_USAGE,
                                              "there is no reason '%s'; 'andamento held --count' "
                                              "lists those that were met, docs/held.md all",
                                              code));
        }
    }
    if (as_json) {
        json = an_cli_json_begin(cli, "andamento.held_explain.1");
        an_json_array(&json);
    }
    for (size_t i = 0; i < cli->options.operand_count; i++) {
        const char *code = cli->options.operands[i];
        if (as_json) {
            an_json_object(&json);
            an_json_put_string(&json, "code", code);
            an_json_put_string(&json, "advice", an_held_advice(code));
            an_json_put_bool(&json, "whole_file", an_held_is_whole_file(code));
            an_json_put_bool(&json, "as_is", an_held_is_doubt(code));
            an_json_end(&json, '}');
        } else {
            an_text_addf(&cli->out, "%s (holds %s)\n  %s\n", code,
                         an_held_is_doubt(code)        ? "the file; --as-is releases it"
                         : an_held_is_whole_file(code) ? "the file"
                                                       : "the row",
                         an_held_advice(code));
        }
    }
    if (as_json) {
        an_json_end(&json, ']');
        an_cli_json_end(cli, &json);
    }
    return AN_EXIT_DONE;
}

static const struct an_option explain_options[] = {AN_OPTION_END};

const struct an_command an_command_held_explain = {
    .name = "held explain",
    .operands = "CODE...",
    .summary = "say what a reason means and what to do about it",
    .example = "andamento held explain number.bad",
    .options = explain_options,
    .operands_least = 1,
    .operands_most = 1000,
    .run = run_explain,
};

/* ---- files that never came ---------------------------------------------------------------------- */
static enum an_exit run_missing(struct an_cli *cli)
{
    static const char *const titles[] = {"station", "number", "noticed by file", "noticed at"};
    struct an_cli_table table = {.titles = titles, .columns = 4, .right = 2U | 4U};
    struct an_missing_file *files = NULL;
    size_t count = 0;
    enum an_status st = an_cli_open(cli, AN_STORE_READ, false);
    if (!st) {
        st = an_store_missing_files(cli->store, an_option_value(&cli->options, "station"),
                                    cli->arena, &files, &count, &cli->err);
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.missing.1");
        an_json_array(&json);
        for (size_t i = 0; i < count; i++) {
            an_json_object(&json);
            an_json_put_string(&json, "station", files[i].station);
            an_json_put_integer(&json, "number", files[i].number);
            an_json_put_integer(&json, "noticed_by", files[i].noticed_by);
            an_cli_json_time(cli, &json, "noticed_at", files[i].known_us);
            an_json_end(&json, '}');
        }
        an_json_end(&json, ']');
        an_cli_json_end(cli, &json);
        return count ? AN_EXIT_FINDING : AN_EXIT_DONE;
    }
    for (size_t i = 0; i < count; i++) {
        char at[40];
        an_cli_cell(&table, files[i].station);
        an_cli_cellf(&table, "%lld", (long long)files[i].number);
        an_cli_cellf(&table, "%lld", (long long)files[i].noticed_by);
        an_cli_cell(&table, an_instant_rfc3339(files[i].known_us, at));
    }
    if (count || cli->format == AN_FORMAT_CSV) {
        an_cli_table_print(cli, &table);
    } else {
        an_text_add(&cli->out, "no file is missing, as far as files are numbered\n");
    }
    return count ? AN_EXIT_FINDING : AN_EXIT_DONE;
}

static const struct an_option missing_options[] = {
    {"station", 0, "NAME", "only this station's"},
    AN_OPTION_END,
};

const struct an_command an_command_held_missing = {
    .name = "held missing",
    .operands = "",
    .summary = "list the running numbers of files that never came",
    .example = "andamento held missing --station repair",
    .more = "Files are numbered where the line description has 'file_number'.\n"
            "Exit status 1: some are missing.\n",
    .options = missing_options,
    .as_of = true,
    .run = run_missing,
};
