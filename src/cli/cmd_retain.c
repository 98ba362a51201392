/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * retain: drops the readings and originals that are older than the line description keeps them.
 * Must never drop anything that it was not told to: it asks, or wants --yes.
 */
#include "andamento/store/retention.h"
#include "cli/commands.h"

#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

/* Set by the signal handler only; a handler has no other way to speak. */
static volatile sig_atomic_t stop_asked;

static void on_signal(int number)
{
    stop_asked = number;
}

static void watch_signals(void)
{
    struct sigaction action;
    memset(&action, 0, sizeof action);
    action.sa_handler = on_signal;
    action.sa_flags = (int)SA_RESETHAND; /* the second one ends at once */
    (void)sigaction(SIGINT, &action, NULL);
    (void)sigaction(SIGTERM, &action, NULL);
}

static bool stop(void *context)
{
    (void)context;
    return stop_asked != 0;
}

/* ---- rules ------------------------------------------------------------------------------------------ */

struct task {
    struct an_cli *cli;
    struct an_keep_rule *rules;
    size_t rule_count;
    int64_t now_us;
    const char *author, *reason;
    struct an_retention_sum sum;
    struct an_store_space before, after;
    bool shrunk;
};

static int64_t before(int64_t now_us, int64_t kept_us)
{
    return kept_us ? now_us - kept_us : AN_NO_INSTANT;
}

static bool declares(const struct an_keep *keep)
{
    return keep->readings_us || keep->originals_us;
}

/* One a station, and one for files of no station. */
static enum an_status make_rules(struct task *task)
{
    struct an_cli *cli = task->cli;
    const struct an_line *line = cli->line;
    bool any = declares(&line->keep);
    task->rules = an_arena_alloc(cli->arena, line->station_count + 1, sizeof *task->rules);
    if (!task->rules) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    for (size_t i = 0; i <= line->station_count; i++) {
        const bool others = i == line->station_count;
        const struct an_keep *keep = others ? &line->keep : &line->stations[i].keep;
        any = any || declares(keep);
        task->rules[task->rule_count++] = (struct an_keep_rule){
            others ? NULL : line->stations[i].name, before(task->now_us, keep->readings_us),
            before(task->now_us, keep->originals_us)};
    }
    if (!any) {
        task->rule_count = 0;
    }
    return AN_OK;
}

/* ---- answers ---------------------------------------------------------------------------------------- */

static void size_text(int64_t bytes, char text[32])
{
    if (bytes < 100000) {
        (void)snprintf(text, 32, "%lld bytes", (long long)bytes);
    } else {
        (void)snprintf(text, 32, "%.1f MB", (double)bytes / 1e6);
    }
}

static void add_spared(struct an_cli *cli, int64_t files, const char *what)
{
    if (files) {
        an_text_addf(&cli->out, "spared, though due: %s of %lld file%s\n", what, (long long)files,
                     an_plural((size_t)files, "", "s"));
    }
}

static void tell_sum(const struct task *task, bool done)
{
    struct an_cli *cli = task->cli;
    const struct an_retention_sum *sum = &task->sum;
    char size[2][32];
    char age[2][40];
    if (sum->files) {
        size_text(sum->reading_bytes, size[0]);
        size_text(sum->original_bytes, size[1]);
        (void)an_instant_rfc3339_in(cli->line->zone, sum->oldest_us, age[0]);
        (void)an_instant_rfc3339_in(cli->line->zone, sum->newest_us, age[1]);
        an_text_addf(
            &cli->out,
            "%s readings of %lld file%s (%s) and originals of %lld file%s (%s), from %.10s "
            "to %.10s\n",
            done ? "dropped" : "due:", (long long)sum->readings,
            an_plural((size_t)sum->readings, "", "s"), size[0], (long long)sum->originals,
            an_plural((size_t)sum->originals, "", "s"), size[1], age[0], age[1]);
    } else {
        an_text_add(&cli->out, "nothing is due\n");
    }
    add_spared(cli, sum->spared_baseline, "readings that limits in force were learnt from,");
    add_spared(cli, sum->spared_signal, "readings under a signal without an answer,");
    add_spared(cli, sum->spared_open,
               "readings and originals behind items that such a signal touches,");
    add_spared(cli, sum->spared_held, "originals of files held whole,");
}

static void tell_space(const struct task *task)
{
    struct an_cli *cli = task->cli;
    char size[3][32];
    size_text(task->before.bytes, size[0]);
    size_text(task->after.bytes, size[1]);
    size_text(task->after.free_bytes, size[2]);
    if (task->shrunk) {
        an_text_addf(&cli->out, "the store had %s, and has %s\n", size[0], size[1]);
    } else if (task->sum.files) {
        an_text_addf(&cli->out,
                     "the store has %s, of them %s free for new files; --shrink gives them back to "
                     "the disk\n",
                     size[1], size[2]);
    }
}

static void tell_json(const struct task *task, bool done)
{
    struct an_cli *cli = task->cli;
    const struct an_retention_sum *sum = &task->sum;
    struct an_json json = an_cli_json_begin(cli, "andamento.retain.1");
    an_json_object(&json);
    an_json_put_bool(&json, "done", done);
    an_json_put_integer(&json, "files", sum->files);
    an_json_put_integer(&json, "readings", sum->readings);
    an_json_put_integer(&json, "reading_bytes", sum->reading_bytes);
    an_json_put_integer(&json, "originals", sum->originals);
    an_json_put_integer(&json, "original_bytes", sum->original_bytes);
    an_cli_json_time(cli, &json, "oldest", sum->oldest_us);
    an_cli_json_time(cli, &json, "newest", sum->newest_us);
    an_json_put_integer(&json, "spared_baseline", sum->spared_baseline);
    an_json_put_integer(&json, "spared_signal", sum->spared_signal);
    an_json_put_integer(&json, "spared_open", sum->spared_open);
    an_json_put_integer(&json, "spared_held", sum->spared_held);
    an_json_put_integer(&json, "store_bytes_before", task->before.bytes);
    an_json_put_integer(&json, "store_bytes", task->after.bytes);
    an_json_put_integer(&json, "store_bytes_free", task->after.free_bytes);
    an_json_put_bool(&json, "shrunk", task->shrunk);
    an_json_end(&json, '}');
    an_cli_json_end(cli, &json);
}

/* ---- asking ----------------------------------------------------------------------------------------- */

/* Only "yes" is a yes. */
static bool said_yes(void)
{
    char answer[16];
    size_t length = 0;
    char one = 0;
    for (;;) {
        const ssize_t got = read(STDIN_FILENO, &one, 1);
        if (got < 0 && errno == EINTR && !stop_asked) {
            continue;
        }
        if (got <= 0 || one == '\n') {
            break;
        }
        if (length < sizeof answer - 1) {
            answer[length++] = one;
        }
    }
    answer[length] = '\0';
    return strcmp(answer, "yes") == 0;
}

static enum an_status may_drop(struct task *task)
{
    struct an_cli *cli = task->cli;
    if (an_option_on(&cli->options, "yes")) {
        return AN_OK;
    }
    if (!isatty(STDIN_FILENO)) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "retain drops for good: look with --dry-run, then give --yes");
    }
    tell_sum(task, false);
    an_cli_flush(cli);
    an_cli_say(cli, "Drop this for good? Type yes:");
    return said_yes() ? AN_OK : an_fail(&cli->err, AN_BAD_USAGE, "nothing was dropped");
}

/* ---- the command ------------------------------------------------------------------------------------ */

static enum an_status check_options(struct task *task)
{
    struct an_cli *cli = task->cli;
    task->author = an_option_value(&cli->options, "author");
    task->reason = an_option_value(&cli->options, "reason");
    if (cli->dry_run) {
        return AN_OK;
    }
    if (!task->author || !task->author[0]) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "retain wants --author NAME: it is kept with what is dropped");
    }
    if (!task->reason || !task->reason[0]) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "retain wants --reason TEXT: it is kept with what is dropped");
    }
    return AN_OK;
}

static enum an_status drop(struct task *task)
{
    struct an_cli *cli = task->cli;
    const struct an_retention_act act = {
        .author = task->author, .reason = task->reason, .now_us = task->now_us, .stop = stop};
    enum an_status st = task->sum.files ? may_drop(task) : AN_OK;
    if (!st && task->sum.files) {
        st =
            an_store_retain(cli->store, task->rules, task->rule_count, &act, &task->sum, &cli->err);
        if (st && task->sum.acts) {
            an_cli_say(cli, "andamento: dropped by record before this: %lld file%s",
                       (long long)task->sum.files, an_plural((size_t)task->sum.files, "", "s"));
        }
    }
    if (!st && an_option_on(&cli->options, "shrink") && !stop_asked) {
        st = an_store_shrink(cli->store, &cli->err);
        task->shrunk = st == AN_OK;
    }
    return st;
}

static enum an_exit run(struct an_cli *cli)
{
    struct task task = {.cli = cli, .now_us = an_clock_now_us()};
    enum an_status st = check_options(&task);
    st = st ? st : an_cli_open(cli, cli->dry_run ? AN_STORE_READ : AN_STORE_WRITE, true);
    st = st ? st : make_rules(&task);
    st = st ? st : an_store_space(cli->store, &task.before, &cli->err);
    st = st ? st
            : an_store_retention_due(cli->store, task.rules, task.rule_count, task.now_us,
                                     &task.sum, &cli->err);
    if (!st && !cli->dry_run) {
        watch_signals();
        st = drop(&task);
    }
    st = st ? st : an_store_space(cli->store, &task.after, &cli->err);
    if (st) {
        return an_cli_failed(cli, st);
    }
    if (cli->format == AN_FORMAT_JSON) {
        tell_json(&task, !cli->dry_run);
    } else if (!task.rule_count) {
        an_text_add(&cli->out, "the line description has no 'keep': nothing is ever dropped\n");
        tell_space(&task);
    } else {
        tell_sum(&task, !cli->dry_run);
        if (!cli->dry_run) {
            tell_space(&task);
        }
    }
    if (stop_asked) {
        an_cli_flush(cli);
        an_cli_say(cli, "andamento: interrupted; what is reported above is done, the rest is not "
                        "begun");
        an_store_close(cli->store);
        cli->store = NULL;
        (void)signal(stop_asked, SIG_DFL);
        (void)raise(stop_asked);
    }
    return AN_EXIT_DONE;
}

static const struct an_option options[] = {
    {"author", 0, "NAME", "who has it done (required, unless a dry run)"},
    {"reason", 0, "TEXT", "why (required, unless a dry run)"},
    {"dry-run", 'n', NULL, "print what would go, drop nothing"},
    {"yes", 0, NULL, "do not ask; needed where nobody can be asked"},
    {"shrink", 0, NULL, "then rewrite the store without its free pages"},
    AN_OPTION_END,
};

const struct an_command an_command_retain = {
    .name = "retain",
    .operands = "",
    .summary = "drop readings and originals older than the line keeps them",
    .example = "andamento retain --dry-run",
    .more =
        "How long what is kept stands in the line description, as 'keep: {readings: 2 years,\n"
        "originals: 10 years}'; without it nothing is ever dropped. Statistics, links, limits,\n"
        "signals, held rows and the ledger stay for good. What went, by whom and why is\n"
        "recorded; docs/retention.md says what is spared although it is due.\n",
    .options = options,
    .run = run,
};
