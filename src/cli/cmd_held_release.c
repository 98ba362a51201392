/* SPDX-License-Identifier: GPL-3.0-or-later */
/* held release: held rows and files let in, as a recorded act; held released: those acts. */
#include "cli/held_filter.h"
#include "cli/signing.h"
#include "intake/release.h"

#include <string.h>

struct outcome {
    int64_t rows_in, rows_held, files_in, files_held;
};

static void say_whole(struct an_cli *cli, const struct an_release_result *result, int64_t file_id)
{
    an_cli_say(cli, "file %lld stays held, %s: line %llu: %s", (long long)file_id,
               result->file.code ? result->file.code : "",
               (unsigned long long)result->file.why_line, result->file.why ? result->file.why : "");
}

/* ---- what is meant ------------------------------------------------------------------------------ */
struct wanted {
    struct an_held *rows;
    size_t count;
    struct an_held_file *files;
    size_t file_count;
};

static enum an_status add_operands(struct an_cli *cli, struct wanted *wanted)
{
    const size_t operands = cli->options.operand_count;
    wanted->rows = an_arena_alloc(cli->arena, operands + 1, sizeof *wanted->rows);
    if (!wanted->rows) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    for (size_t i = 0; i < operands; i++) {
        struct an_held_filter filter = {
            .from_us = AN_NO_INSTANT, .until_us = AN_NO_INSTANT, .state = AN_HELD_ANY};
        struct an_held *rows = NULL;
        size_t count = 0;
        const char *text = cli->options.operands[i];
        if (an_integer_parse(an_bytes_of(text), &filter.held_id) != AN_OK || filter.held_id < 1) {
            return an_fail(&cli->err, AN_BAD_USAGE,
                           "'%s' is no number of a held row; 'andamento held' lists them", text);
        }
        const enum an_status st =
            an_store_held_rows(cli->store, &filter, 1, cli->arena, &rows, &count, &cli->err);
        if (st) {
            return st;
        }
        if (!count) {
            return an_fail(&cli->err, AN_NOT_FOUND, "there is no held row %s in '%s'", text,
                           an_store_path(cli->store));
        }
        size_t at = wanted->count++; /* by file: rows of one file are released in one act */
        for (; at > 0 && wanted->rows[at - 1].file_id > rows[0].file_id; at--) {
            wanted->rows[at] = wanted->rows[at - 1];
        }
        wanted->rows[at] = rows[0];
    }
    return AN_OK;
}

static enum an_status find_wanted(struct an_cli *cli, struct wanted *wanted)
{
    struct an_held_filter filter;
    enum an_status st = an_cli_held_filter(cli, &filter);
    if (st) {
        return st;
    }
    if (cli->options.operand_count) {
        if (filter.station || filter.code || filter.file_id) {
            return an_fail(&cli->err, AN_BAD_USAGE,
                           "name held rows by number, or pick them by --file, --code or "
                           "--station, not both");
        }
        return add_operands(cli, wanted);
    }
    if (!filter.station && !filter.code && !filter.file_id) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "say what to release: numbers of held rows, --file, --code or --station");
    }
    st = an_store_held_rows(cli->store, &filter, 0, cli->arena, &wanted->rows, &wanted->count,
                            &cli->err);
    return st ? st
              : an_store_held_files(cli->store, &filter, cli->arena, &wanted->files,
                                    &wanted->file_count, &cli->err);
}

/* ---- the act ------------------------------------------------------------------------------------ */
static enum an_status release_rows(struct an_cli *cli, const struct wanted *wanted,
                                   const struct an_release_wish *wish, struct outcome *outcome)
{
    enum an_status st = AN_OK;
    for (size_t at = 0; !st && at < wanted->count;) {
        struct an_release_result result;
        const int64_t file_id = wanted->rows[at].file_id;
        size_t end = at + 1;
        while (end < wanted->count && wanted->rows[end].file_id == file_id) {
            end++;
        }
        st = an_release_rows(cli->store, cli->line, file_id, wanted->rows + at, end - at, wish,
                             cli->arena, &result, &cli->err);
        if (st == AN_NOT_FOUND) { /* its original or its station is gone; others may go on */
            an_cli_say(cli, "file %lld: %s", (long long)file_id, cli->err.text);
            outcome->rows_held += (int64_t)(end - at);
            cli->err = (struct an_error){0};
            st = AN_OK;
        } else if (!st) {
            outcome->rows_in += result.let_in;
            outcome->rows_held += result.still_held;
            if (result.whole) {
                say_whole(cli, &result, file_id);
            }
        }
        if (!st && !wish->dry_run && result.let_in) {
            st = an_release_waited_for(cli->store, cli->line, result.file.file_id, &cli->err);
        }
        at = end;
    }
    return st;
}

static enum an_status release_files(struct an_cli *cli, const struct wanted *wanted,
                                    const struct an_release_wish *wish, struct outcome *outcome)
{
    enum an_status st = AN_OK;
    for (size_t i = 0; !st && i < wanted->file_count; i++) {
        struct an_release_result result;
        st = an_release_file(cli->store, cli->line, &wanted->files[i].file, wish, cli->arena,
                             &result, &cli->err);
        if (st == AN_NOT_FOUND) {
            an_cli_say(cli, "file %lld: %s", (long long)wanted->files[i].file.file_id,
                       cli->err.text);
            outcome->files_held++;
            cli->err = (struct an_error){0};
            st = AN_OK;
        } else if (!st && result.whole) {
            say_whole(cli, &result, wanted->files[i].file.file_id);
            outcome->files_held++;
        } else if (!st && result.file.file_id) {
            outcome->files_in++;
        }
    }
    return st;
}

static void print_outcome(struct an_cli *cli, const struct outcome *outcome)
{
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.held_release.1");
        an_json_object(&json);
        an_json_put_bool(&json, "dry_run", cli->dry_run);
        an_json_put_integer(&json, "rows_released", outcome->rows_in);
        an_json_put_integer(&json, "rows_still_held", outcome->rows_held);
        an_json_put_integer(&json, "files_released", outcome->files_in);
        an_json_put_integer(&json, "files_still_held", outcome->files_held);
        an_json_end(&json, '}');
        an_cli_json_end(cli, &json);
        return;
    }
    an_text_addf(&cli->out, "%s%lld row%s and %lld file%s released, %lld and %lld still held\n",
                 cli->dry_run ? "would have: " : "", (long long)outcome->rows_in,
                 an_plural((size_t)outcome->rows_in, "", "s"), (long long)outcome->files_in,
                 an_plural((size_t)outcome->files_in, "", "s"), (long long)outcome->rows_held,
                 (long long)outcome->files_held);
}

static enum an_exit run_release(struct an_cli *cli)
{
    struct wanted wanted = {0};
    struct outcome outcome = {0};
    const struct an_release_wish wish = {.cause = AN_RELEASE_PERSON,
                                         .as_is = an_option_on(&cli->options, "as-is"),
                                         .dry_run = cli->dry_run,
                                         .author = an_option_value(&cli->options, "author"),
                                         .reason = an_option_value(&cli->options, "reason")};
    enum an_status st = AN_OK;
    if (!wish.author || !wish.author[0] || !wish.reason || !wish.reason[0]) {
        st = an_fail(&cli->err, AN_BAD_USAGE,
                     "a release is a recorded act: give --author NAME and --reason TEXT");
    }
    st = st ? st : an_cli_open(cli, AN_STORE_WRITE, true);
    st = st ? st : find_wanted(cli, &wanted);
    st = st ? st : release_rows(cli, &wanted, &wish, &outcome);
    st = st ? st : release_files(cli, &wanted, &wish, &outcome);
    if (st) {
        return an_cli_failed(cli, st);
    }
    print_outcome(cli, &outcome);
    return outcome.rows_held || outcome.files_held ? AN_EXIT_FINDING : AN_EXIT_DONE;
}

static const struct an_option release_options[] = {
    AN_OPTION_HELD,
    {"as-is", 0, NULL, "set a doubt about a whole file aside (clock, unit, machine)"},
    {"author", 0, "NAME", "who decides (required)"},
    {"reason", 0, "TEXT", "why (required)"},
    {"dry-run", 'n', NULL, "read and check everything, store nothing"},
    AN_OPTION_END,
};

const struct an_command an_command_held_release = {
    .name = "held release",
    .operands = "[HELD...]",
    .summary = "read kept originals again and let in the held rows and files that fit by now",
    .example = "andamento held release --code number.bad --author 'L. Engineer' --reason "
               "'code ND declared'",
    .more = "Mend the line description first and run 'init'. What still does not fit stays held,\n"
            "and nothing that was held is changed. Releasing again changes nothing.\n"
            "Exit status 1: something stays held.\n",
    .options = release_options,
    .operands_most = 100000,
    .run = run_release,
};

/* ---- acts --------------------------------------------------------------------------------------- */
static const char *cause_of(const struct an_release_act *act)
{
    return act->cause == AN_RELEASE_PERSON      ? "person"
           : act->cause == AN_RELEASE_ITEM_CAME ? "item came"
                                                : "description changed";
}

static enum an_exit run_acts(struct an_cli *cli)
{
    static const char *const titles[] = {"act",   "when",   "cause",  "station", "file",  "rows",
                                         "files", "author", "reason", "as is",   "signed"};
    struct an_cli_table table = {.titles = titles, .columns = 11, .right = 1U | 16U | 32U | 64U};
    struct an_release_act *acts = NULL;
    size_t count = 0;
    enum an_status st = an_cli_open(cli, AN_STORE_READ, false);
    st = st ? st : an_store_releases(cli->store, cli->arena, &acts, &count, &cli->err);
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.held_acts.1");
        an_json_array(&json);
        for (size_t i = 0; i < count; i++) {
            an_json_object(&json);
            an_json_put_integer(&json, "act_id", acts[i].act_id);
            an_cli_json_time(cli, &json, "known_at", acts[i].known_us);
            an_json_put_string(&json, "cause", cause_of(&acts[i]));
            an_json_put_string(&json, "station", acts[i].station);
            an_json_put_integer(&json, "file_id", acts[i].file_id);
            an_json_put_integer(&json, "rows", acts[i].rows);
            an_json_put_integer(&json, "files", acts[i].files);
            an_json_put_string(&json, "author", acts[i].author);
            an_json_put_string(&json, "reason", acts[i].reason);
            an_json_put_bool(&json, "as_is", acts[i].as_is);
            an_json_put_string(&json, "signed_key", acts[i].signed_key);
            an_json_end(&json, '}');
        }
        an_json_end(&json, ']');
        an_cli_json_end(cli, &json);
        return AN_EXIT_DONE;
    }
    for (size_t i = 0; i < count; i++) {
        char at[40];
        an_cli_cellf(&table, "%lld", (long long)acts[i].act_id);
        an_cli_cell(&table, an_instant_rfc3339(acts[i].known_us, at));
        an_cli_cell(&table, cause_of(&acts[i]));
        an_cli_cell(&table, acts[i].station ? acts[i].station : "-");
        an_cli_cellf(&table, "%lld", (long long)acts[i].file_id);
        an_cli_cellf(&table, "%lld", (long long)acts[i].rows);
        an_cli_cellf(&table, "%lld", (long long)acts[i].files);
        an_cli_cell(&table, acts[i].author);
        an_cli_cell(&table, acts[i].reason);
        an_cli_cell(&table, acts[i].as_is ? "yes" : "no");
        an_cli_signed_cell(cli, &table, acts[i].signed_key);
    }
    if (count || cli->format == AN_FORMAT_CSV) {
        an_cli_table_print(cli, &table);
    } else {
        an_text_add(&cli->out, "nothing was released\n");
    }
    return AN_EXIT_DONE;
}

static const struct an_option acts_options[] = {AN_OPTION_END};

const struct an_command an_command_held_acts = {
    .name = "held acts",
    .operands = "",
    .summary = "list the acts by which held rows and files were let in",
    .example = "andamento held acts",
    .options = acts_options,
    .as_of = true,
    .run = run_acts,
};
