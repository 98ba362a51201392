/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * correct: records that something recorded was wrong, and what holds instead. Must never guess which
 * item, file or sample is meant.
 */
#include "andamento/base/number.h"
#include "andamento/store/correction.h"
#include "cli/commands.h"
#include "cli/signing.h"
#include "line/unit.h"
#include "trace/trace.h"

#include <math.h>
#include <string.h>

/* ---- what is meant ----------------------------------------------------------------------------------- */

static enum an_status number_of(struct an_cli *cli, const char *text, const char *what,
                                int64_t *number)
{
    if (an_integer_parse(an_bytes_of(text), number) || *number < 1) {
        return an_fail(&cli->err, AN_BAD_USAGE, "\"%s\" is not the number of a %s", text, what);
    }
    return AN_OK;
}

static enum an_status find_item(struct an_cli *cli, const char *name, int64_t *item_id)
{
    struct an_item item = {0};
    const enum an_status st =
        an_trace_find(cli->store, cli->line, name, cli->arena, &item, &cli->err);

    *item_id = item.item_id;
    return st;
}

/* By number or name. */
static enum an_status find_file(struct an_cli *cli, const char *name, int64_t *file_id)
{
    struct an_file *files = NULL;
    size_t count = 0;
    size_t found = 0;
    int64_t number = 0;
    const bool is_number = !an_integer_parse(an_bytes_of(name), &number);
    const enum an_status st = an_store_files(cli->store, AN_NO_INSTANT, AN_NO_INSTANT, cli->arena,
                                             &files, &count, &cli->err);

    for (size_t i = 0; !st && i < count; i++) {
        if (is_number ? files[i].file_id == number : strcmp(files[i].name, name) == 0) {
            *file_id = files[i].file_id;
            found++;
        }
    }
    if (!st && found > 1) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "%zu files are called '%s'; give the number of one, as the view "
                       "view_files of the store has it",
                       found, name);
    }
    return st || found ? st
                       : an_fail(&cli->err, AN_NOT_FOUND,
                                 "no file '%s' was taken; give its name or its number", name);
}

static enum an_status known_stream(struct an_cli *cli, const char *name)
{
    struct an_stream *streams = NULL;
    size_t count = 0;
    const enum an_status st = an_store_streams(cli->store, cli->arena, &streams, &count, &cli->err);

    for (size_t i = 0; !st && i < count; i++) {
        const size_t length = strlen(streams[i].station);

        if (strncmp(streams[i].station, name, length) == 0 && name[length] == '.' &&
            strcmp(streams[i].characteristic, name + length + 1) == 0) {
            return AN_OK;
        }
    }
    return st ? st
              : an_fail(&cli->err, AN_NOT_FOUND,
                        "there is no characteristic '%s'; name it as STATION.CHARACTERISTIC, "
                        "'andamento streams' lists them",
                        name);
}

/* ---- storing and telling -------------------------------------------------------------------------------- */

static struct an_correction begin(const struct an_cli *cli, enum an_correction_kind kind)
{
    return (struct an_correction){.kind = kind,
                                  .factor = (double)NAN,
                                  .author = an_option_value(&cli->options, "author"),
                                  .reason = an_option_value(&cli->options, "reason")};
}

static void correction_json(struct an_cli *cli, struct an_json *json, const struct an_correction *c)
{
    an_json_object(json);
    an_json_put_integer(json, "correction_id", c->correction_id);
    an_json_put_string(json, "kind", an_correction_word(c->kind));
    an_cli_json_time(cli, json, "known_at", c->known_us);
    an_json_put_string(json, "before", c->before);
    an_json_put_string(json, "after", c->after);
    an_json_put_integer(json, "effects", c->effects);
    an_json_put_number(json, "factor", c->factor);
    if (c->undoes) {
        an_json_put_integer(json, "undoes", c->undoes);
    }
    if (c->undone_by) {
        an_json_put_integer(json, "undone_by", c->undone_by);
    }
    an_json_put_string(json, "author", c->author);
    an_json_put_string(json, "reason", c->reason);
    an_json_put_string(json, "system_user", c->system_user);
    an_json_put_string(json, "host", c->host);
    an_json_put_string(json, "signed_key", c->signed_key);
    an_json_end(json, '}');
}

/* Where the description lets a part sit in one whole at a time, it must do so by what holds now. */
static enum an_status check_part(struct an_cli *cli, int64_t correction_id, int64_t child_id,
                                 int64_t part_id)
{
    struct an_item child = {0};
    struct an_item part = {0};
    enum an_status st = an_store_item_by_id(cli->store, child_id, cli->arena, &child, &cli->err);

    st = st ? st : an_store_item_by_id(cli->store, part_id, cli->arena, &part, &cli->err);
    if (!st && an_line_single(cli->line, an_line_kind(cli->line, an_bytes_of(part.kind)),
                              an_line_kind(cli->line, an_bytes_of(child.kind)))) {
        st = an_store_part_fits(cli->store, correction_id, child_id, part_id, &cli->err);
    }
    return st;
}

/* The same of a correction that is stored already, in the open transaction. */
static enum an_status check_seats(struct an_cli *cli, const struct an_correction *c)
{
    struct an_correction *all = NULL;
    size_t count = 0;
    enum an_status st = AN_OK;

    if (c->kind == AN_CORRECT_PARENT && c->is_id) {
        return check_part(cli, c->correction_id, c->item_id, c->is_id);
    }
    if (c->kind == AN_CORRECT_UNDO) {
        st = an_store_corrections(cli->store, cli->arena, &all, &count, &cli->err);
    }
    for (size_t i = 0; !st && i < count; i++) {
        if (all[i].correction_id == c->undoes && all[i].kind == AN_CORRECT_PARENT) {
            st = check_part(cli, c->undoes, all[i].item_id, all[i].was_id);
        }
    }
    return st;
}

static enum an_exit store_it(struct an_cli *cli, enum an_status st, struct an_correction *c)
{
    st = st ? st : an_store_begin(cli->store, &cli->err);
    if (!st) {
        st = an_store_put_correction(cli->store, c, cli->arena, &cli->err);
        st = st ? st : check_seats(cli, c);
        if (!st && !cli->dry_run) {
            st = an_store_commit(cli->store, &cli->err);
        } else {
            an_store_rollback(cli->store);
        }
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.correction.1");
        correction_json(cli, &json, c);
        an_cli_json_end(cli, &json);
        return AN_EXIT_DONE;
    }
    an_text_addf(&cli->out, "correction %lld: %s -> %s", (long long)c->correction_id, c->before,
                 c->after);
    if (c->kind == AN_CORRECT_UNIT || c->kind == AN_CORRECT_WITHDRAW) {
        an_text_addf(&cli->out, " (%lld sample%s; check judges them again)", (long long)c->effects,
                     an_plural((size_t)c->effects, "", "s"));
    }
    an_text_addf(&cli->out, "%s\n", cli->dry_run ? " (not stored: dry run)" : "");
    return AN_EXIT_DONE;
}

static enum an_status open_to_correct(struct an_cli *cli)
{
    return an_cli_open(cli, AN_STORE_WRITE, true);
}

static enum an_status wanted(struct an_cli *cli, const char *option, const char **value)
{
    *value = an_option_value(&cli->options, option);
    return *value && (*value)[0]
               ? AN_OK
               : an_fail(&cli->err, AN_BAD_USAGE, "--%s is wanted: what holds instead", option);
}

#define WHO                                                                                        \
    {"author", 0, "NAME", "who answers for it (required)"},                                        \
        {"reason", 0, "TEXT", "how it is known (required)"},                                       \
        {"dry-run", 'n', NULL, "check everything, store nothing"}, AN_OPTION_END

#define KEPT                                                                                       \
    "What was recorded stays and is listed by 'correct list'; 'correct undo' takes a correction\n" \
    "back. docs/corrections.md tells where it shows.\n"

/* ---- one kind each ---------------------------------------------------------------------------------------- */

static enum an_exit run_serial(struct an_cli *cli)
{
    struct an_correction c = begin(cli, AN_CORRECT_SERIAL);
    enum an_status st = wanted(cli, "is", &c.serial);

    st = st ? st : open_to_correct(cli);
    st = st ? st : find_item(cli, cli->options.operands[0], &c.item_id);
    return store_it(cli, st, &c);
}

static const struct an_option serial_options[] = {
    {"is", 0, "SERIAL", "the right serial, without its kind"},
    WHO,
};

const struct an_command an_command_correct_serial = {
    .name = "correct serial",
    .operands = "ITEM",
    .summary = "record that an item's serial was mistyped",
    .example = "andamento correct serial tile:0T-0O1 --is 0T-001 --author 'L. Engineer' --reason "
               "'label read again'",
    .more =
        "If there is an item of the right serial, a trace takes what was recorded of either as\n"
        "recorded of that one. Both serials find it.\n" KEPT,
    .options = serial_options,
    .operands_least = 1,
    .operands_most = 1,
    .run = run_serial,
};

static enum an_exit run_parent(struct an_cli *cli)
{
    struct an_correction c = begin(cli, AN_CORRECT_PARENT);
    const char *was = NULL;
    const char *is = NULL;
    enum an_status st = wanted(cli, "was", &was);

    st = st ? st : wanted(cli, "is", &is);
    st = st ? st : open_to_correct(cli);
    st = st ? st : find_item(cli, cli->options.operands[0], &c.item_id);
    st = st ? st : find_item(cli, was, &c.was_id);
    if (!st && strcmp(is, "none") != 0) {
        st = find_item(cli, is, &c.is_id);
    }
    return store_it(cli, st, &c);
}

static const struct an_option parent_options[] = {
    {"was", 0, "ITEM", "the part that was recorded"},
    {"is", 0, "ITEM", "the right part, or none"},
    WHO,
};

const struct an_command an_command_correct_parent = {
    .name = "correct parent",
    .operands = "ITEM",
    .summary = "record that another part went into an item, or none",
    .example = "andamento correct parent W-007 --was T-0112 --is T-0121 --author 'L. Engineer' "
               "--reason 'seen on the wall'",
    .more =
        "It holds for all links of the two items; role, place and time stay as recorded.\n" KEPT,
    .options = parent_options,
    .operands_least = 1,
    .operands_most = 1,
    .run = run_parent,
};

static enum an_status read_factor(struct an_cli *cli, struct an_correction *c)
{
    const char *text = an_option_value(&cli->options, "factor");
    const char *was = an_option_value(&cli->options, "was");
    const char *is = an_option_value(&cli->options, "is");
    double offset = 0;

    if (!text == !(was && is)) {
        return an_fail(&cli->err, AN_BAD_USAGE, "give --was UNIT and --is UNIT, or --factor");
    }
    if (text) {
        struct an_decimal number;

        if (!an_decimal_parse(an_bytes_of(text), '.', 0, &number)) {
            c->factor = number.value;
        }
        return !(c->factor > 0)
                   ? an_fail(&cli->err, AN_BAD_USAGE, "--factor %s is not a number above 0", text)
                   : AN_OK;
    }
    const enum an_status st =
        an_unit_factor(an_bytes_of(is), an_bytes_of(was), &c->factor, &offset);
    if (st || offset != 0) {
        return an_fail(&cli->err, AN_BAD_USAGE, "no factor leads from %s to %s%s", is, was,
                       st == AN_DOMAIN ? ": they measure different things" : "");
    }
    c->after = an_arena_printf(cli->arena, "in %s, not %s: values times %.12g", is, was, c->factor);
    return c->after ? AN_OK : an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
}

static enum an_exit run_unit(struct an_cli *cli)
{
    struct an_correction c = begin(cli, AN_CORRECT_UNIT);
    enum an_status st = read_factor(cli, &c);

    c.stream = cli->options.operands[1];
    st = st ? st : open_to_correct(cli);
    st = st ? st : known_stream(cli, c.stream);
    st = st ? st : find_file(cli, cli->options.operands[0], &c.file_id);
    return store_it(cli, st, &c);
}

static const struct an_option unit_options[] = {
    {"was", 0, "UNIT", "the unit in which the file was read"},
    {"is", 0, "UNIT", "the unit in which it was written"},
    {"factor", 0, "NUMBER", "instead of units: what values are to be multiplied by"},
    WHO,
};

const struct an_command an_command_correct_unit = {
    .name = "correct unit",
    .operands = "FILE STATION.CHARACTERISTIC",
    .summary = "record that a file's values were in another unit",
    .example = "andamento correct unit transfer-0312.csv transfer.dx --was um --is mm --author "
               "'L. Engineer' --reason 'new software'",
    .more = KEPT,
    .options = unit_options,
    .operands_least = 2,
    .operands_most = 2,
    .run = run_unit,
};

static enum an_exit run_withdraw(struct an_cli *cli)
{
    struct an_correction c = begin(cli, AN_CORRECT_WITHDRAW);
    const char *sample = an_option_value(&cli->options, "sample");
    const char *file = an_option_value(&cli->options, "file");
    const char *item = an_option_value(&cli->options, "item");
    enum an_status st = AN_OK;

    c.stream = an_option_value(&cli->options, "characteristic");
    if (!sample == !file || (sample && (item || c.stream))) {
        st = an_fail(&cli->err, AN_BAD_USAGE,
                     "give --sample NUMBER, or --file FILE and, to narrow it, --item and "
                     "--characteristic");
    }
    st = st || !sample ? st : number_of(cli, sample, "sample", &c.sample_id);
    st = st ? st : open_to_correct(cli);
    st = st || !file ? st : find_file(cli, file, &c.file_id);
    st = st || !item ? st : find_item(cli, item, &c.item_id);
    st = st || !c.stream ? st : known_stream(cli, c.stream);
    return store_it(cli, st, &c);
}

static const struct an_option withdraw_options[] = {
    {"sample", 0, "NUMBER", "this sample"},
    {"file", 0, "FILE", "all samples of this file, by its name or number"},
    {"item", 0, "ITEM", "of the file only those of this item"},
    {"characteristic", 0, "STATION.CHARACTERISTIC", "of the file only those of it"},
    WHO,
};

const struct an_command an_command_correct_withdraw = {
    .name = "correct withdraw",
    .operands = "",
    .summary = "record that samples are not to be used",
    .example = "andamento correct withdraw --file transfer-0312.csv --item T-0112 --author "
               "'L. Engineer' --reason 'wrong tile on the stage'",
    .more = "What is withdrawn is in no chart, limit or index.\n" KEPT,
    .options = withdraw_options,
    .run = run_withdraw,
};

static enum an_exit run_undo(struct an_cli *cli)
{
    struct an_correction c = begin(cli, AN_CORRECT_UNDO);
    enum an_status st = number_of(cli, cli->options.operands[0], "correction", &c.undoes);

    st = st ? st : open_to_correct(cli);
    return store_it(cli, st, &c);
}

static const struct an_option undo_options[] = {WHO};

const struct an_command an_command_correct_undo = {
    .name = "correct undo",
    .operands = "CORRECTION",
    .summary = "record that a correction was wrong: what was recorded holds again",
    .example = "andamento correct undo 3 --author 'L. Engineer' --reason 'the label was right'",
    .options = undo_options,
    .operands_least = 1,
    .operands_most = 1,
    .run = run_undo,
};

/* ---- all of them -------------------------------------------------------------------------------------------- */

static enum an_exit run_list(struct an_cli *cli)
{
    static const char *const titles[] = {"correction", "when",      "kind",   "was",    "is",
                                         "changes",    "undone by", "author", "reason", "signed"};
    struct an_cli_table table = {.titles = titles, .columns = 10, .right = 1U | 32U | 64U};
    struct an_correction *all = NULL;
    size_t count = 0;
    enum an_status st = an_cli_open(cli, AN_STORE_READ, false);

    st = st ? st : an_store_corrections(cli->store, cli->arena, &all, &count, &cli->err);
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        struct an_json json = an_cli_json_begin(cli, "andamento.corrections.1");
        an_json_array(&json);
        for (size_t i = 0; i < count; i++) {
            correction_json(cli, &json, &all[i]);
        }
        an_json_end(&json, ']');
        an_cli_json_end(cli, &json);
        return AN_EXIT_DONE;
    }
    for (size_t i = 0; i < count; i++) {
        char at[40];
        an_cli_cellf(&table, "%lld", (long long)all[i].correction_id);
        an_cli_cell(&table, an_instant_rfc3339(all[i].known_us, at));
        an_cli_cell(&table, an_correction_word(all[i].kind));
        an_cli_cell(&table, all[i].before);
        an_cli_cell(&table, all[i].after);
        an_cli_cellf(&table, "%lld", (long long)all[i].effects);
        if (all[i].undone_by) {
            an_cli_cellf(&table, "%lld", (long long)all[i].undone_by);
        } else {
            an_cli_cell(&table, "-");
        }
        an_cli_cell(&table, all[i].author);
        an_cli_cell(&table, all[i].reason);
        an_cli_signed_cell(cli, &table, all[i].signed_key);
    }
    if (count || cli->format == AN_FORMAT_CSV) {
        an_cli_table_print(cli, &table);
    } else {
        an_text_add(&cli->out, "nothing was corrected\n");
    }
    return AN_EXIT_DONE;
}

static const struct an_option list_options[] = {AN_OPTION_END};

const struct an_command an_command_correct_list = {
    .name = "correct list",
    .operands = "",
    .summary = "list corrections: what was recorded, what holds, who says so",
    .example = "andamento correct list",
    .options = list_options,
    .as_of = true,
    .run = run_list,
};
