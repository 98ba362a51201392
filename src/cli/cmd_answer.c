/* SPDX-License-Identifier: GPL-3.0-or-later */
/* answer: records what people found and did about signals. */
#include "cli/commands.h"

static enum an_status read_signal_id(struct an_cli *cli, const char *operand, int64_t *signal_id)
{
    int64_t value = 0;

    if (an_integer_parse(an_bytes_of(operand), &value) || value < 1) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "\"%s\" is not the number of a signal; `andamento signals` lists them",
                       operand);
    }
    *signal_id = value;
    return AN_OK;
}

/* All or none: a wrong number among several leaves nothing recorded. */
static enum an_status put_answers(struct an_cli *cli, struct an_answer *answers, size_t count)
{
    enum an_status st = an_store_begin(cli->store, &cli->err);

    if (st) {
        return st;
    }
    for (size_t i = 0; !st && i < count; i++) {
        st = an_store_put_answer(cli->store, &answers[i], &cli->err);
    }
    if (!st && !cli->dry_run) {
        return an_store_commit(cli->store, &cli->err);
    }
    an_store_rollback(cli->store);
    return st;
}

static void print_json(struct an_cli *cli, const struct an_answer *answers, size_t count)
{
    struct an_json json = an_cli_json_begin(cli, "andamento.answer.1");

    an_json_array(&json);
    for (size_t i = 0; i < count; i++) {
        an_json_object(&json);
        an_json_put_integer(&json, "answer_id", answers[i].answer_id);
        an_json_put_integer(&json, "signal_id", answers[i].signal_id);
        an_cli_json_time(cli, &json, "known_at", answers[i].known_us);
        an_json_put_string(&json, "author", answers[i].author);
        an_json_put_string(&json, "cause", answers[i].cause);
        an_json_put_string(&json, "action", answers[i].action);
        an_json_put_string(&json, "containment", answers[i].containment);
        an_json_put_string(&json, "reason", answers[i].reason);
        an_json_end(&json, '}');
    }
    an_json_end(&json, ']');
    an_cli_json_end(cli, &json);
}

static enum an_exit run(struct an_cli *cli)
{
    const struct an_options *options = &cli->options;
    const struct an_answer answer = {.author = an_option_value(options, "author"),
                                     .cause = an_option_value(options, "cause"),
                                     .action = an_option_value(options, "action"),
                                     .containment = an_option_value(options, "containment"),
                                     .reason = an_option_value(options, "reason")};
    const size_t count = options->operand_count;
    struct an_answer *answers = an_arena_alloc(cli->arena, count, sizeof *answers);
    enum an_status st = answers ? AN_OK : an_fail(&cli->err, AN_NO_MEMORY, "out of memory");

    if (!st && (!answer.author || !answer.author[0])) {
        st = an_fail(&cli->err, AN_BAD_USAGE, "an answer wants --author NAME: it is kept for good");
    }
    for (size_t i = 0; !st && i < count; i++) {
        answers[i] = answer;
        st = read_signal_id(cli, options->operands[i], &answers[i].signal_id);
    }
    st = st ? st : an_cli_open(cli, AN_STORE_WRITE, true);
    st = st ? st : put_answers(cli, answers, count);
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        print_json(cli, answers, count);
    } else {
        an_text_addf(&cli->out, "%zu signal%s answered by %s%s\n", count, an_plural(count, "", "s"),
                     answer.author, cli->dry_run ? " (not stored: dry run)" : "");
    }
    return AN_EXIT_DONE;
}

static const struct an_option options[] = {
    {"author", 0, "NAME", "who answers (required)"},
    {"cause", 0, "TEXT", "what was found"},
    {"action", 0, "TEXT", "what was done about it"},
    {"containment", 0, "TEXT", "what was done with the items it touches"},
    {"reason", 0, "TEXT", "a remark, as when nothing was found"},
    {"dry-run", 'n', NULL, "check everything, store nothing"},
    AN_OPTION_END,
};

const struct an_command an_command_answer = {
    .name = "answer",
    .operands = "SIGNAL...",
    .summary = "record what was found and done about signals",
    .example = "andamento answer 12 --author 'L. Engineer' --cause 'stamp 114 worn' --action "
               "'stamp changed at 05:20' --containment 'tiles of the shift held'",
    .more =
        "SIGNAL is the number that check, signals and the reports print. At least one of cause,\n"
        "action, containment and reason is needed. An answer is added, never changed: a second\n"
        "one stands beside the first. It is a note for people, and releases no product.\n",
    .options = options,
    .operands_least = 1,
    .operands_most = 100000,
    .run = run,
};
