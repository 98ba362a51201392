/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * From argv to a command and back to an exit status; help and version; what commands share.
 *
 * stdout is kept aside at the start and file descriptor 1 then points at stderr: a library that
 * prints on its own (the distribution functions do, when they lose precision) cannot get into an
 * answer that a program reads.
 */
#include "cli/cli.h"

#include "andamento/base/instant.h"
#include "andamento/store/as_of.h"
#include "cli/signing.h"
#include "cli/then_now.h"

#include <fnmatch.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const struct an_option shared_options[] = {
    {"store", 0, "FILE", "the store (else $ANDAMENTO_STORE, else ./line.store)"},
    {"format", 0, "FORM", "table, csv or json"},
    {"json", 0, NULL, "answer as JSON"},
    {"csv", 0, NULL, "answer as CSV"},
    {"quiet", 'q', NULL, "say only what went wrong"},
    {"verbose", 'v', NULL, "say more"},
    {"help", 'h', NULL, "this text"},
    {"version", 0, NULL, "versions of program, store format and SQLite"},
    AN_OPTION_END,
};

static const struct an_option reading_options[] = {
    {"as-of", 0, "TIME", "as it was known then: a time, a date (its end), or the ledger's entries"},
    AN_OPTION_END,
};

static const struct an_option comparing_options[] = {
    {"then-and-now", 0, NULL,
     "with --as-of: what differs between then and now, row by row, and why"},
    AN_OPTION_END,
};

static const char cautions[] =
    "Control limits are not specification limits. A signal asks for a look; it is no disposition.\n"
    "The program is neither a safety interlock nor a release authority: lasers, UV, high voltage,\n"
    "chemicals and ESD at stations fall under the site's procedures, local codes and authorised\n"
    "people.\n";

enum an_exit an_cli_exit_of(enum an_status st)
{
    switch (st) {
    case AN_OK:
        return AN_EXIT_DONE;
    case AN_BAD_USAGE:
        return AN_EXIT_USAGE;
    case AN_TOO_FEW:
    case AN_DOMAIN:
    case AN_NO_SPREAD:
    case AN_NOT_CONVERGED:
    case AN_BAD_INPUT:
        return AN_EXIT_INPUT;
    case AN_NOT_FOUND:
        return AN_EXIT_MISSING;
    case AN_NO_STORE:
        return AN_EXIT_STORE;
    case AN_BAD_CONFIG:
        return AN_EXIT_CONFIG;
    case AN_BUSY:
    case AN_NO_MEMORY:
        return AN_EXIT_BUSY;
    case AN_DENIED:
        return AN_EXIT_DENIED;
    case AN_CANNOT_CREATE:
        return AN_EXIT_CREATE;
    case AN_IO:
        return AN_EXIT_IO;
    case AN_BUG:
        return AN_EXIT_BUG;
    }
    return AN_EXIT_BUG;
}

enum an_exit an_cli_failed(struct an_cli *cli, enum an_status st)
{
    an_cli_say(cli, "andamento: %s", cli->err.text[0] ? cli->err.text : an_status_name(st));
    return an_cli_exit_of(st);
}

/* ---- help --------------------------------------------------------------------------------------- */

static void help_overview(struct an_text *out)
{
    an_text_add(out, "andamento: station CSV in, control charts and their evidence out.\n\n"
                     "usage: andamento COMMAND [OPTIONS] [OPERANDS]\n\n");
    for (const struct an_command *const *c = an_commands; *c; c++) {
        an_text_addf(out, "  %-16s %s\n", (*c)->name, (*c)->summary);
    }
    an_text_add(out, "\nandamento COMMAND --help tells more. Start with\n"
                     "  andamento demo demo-line && andamento init demo-line/line.yaml\n\n");
    an_text_add(out, cautions);
}

static void help_command(const struct an_command *command, struct an_text *out)
{
    an_text_addf(out, "  %s\n\n", command->example);
    an_text_addf(out, "usage: andamento %s [OPTIONS]%s%s\n%s.\n\n", command->name,
                 command->operands[0] ? " " : "", command->operands, command->summary);
    an_options_help(command->options, out);
    if (an_cli_takes_author(command)) {
        an_options_help(an_signing_options, out);
    }
    if (command->as_of) {
        an_options_help(reading_options, out);
    }
    if (command->rows_of) {
        an_options_help(comparing_options, out);
    }
    an_options_help(shared_options, out);
    if (command->more) {
        an_text_addf(out, "\n%s", command->more);
    }
}

/* ---- what commands share -------------------------------------------------------------------------- */

const char *an_cli_store_path(const struct an_cli *cli)
{
    const char *path = an_option_value(&cli->options, "store");
    if (!path || !path[0]) {
        path = getenv("ANDAMENTO_STORE"); /* nobody sets the environment while we run */
    }
    return path && path[0] ? path : "line.store";
}

static void tell_mistake(void *context, const char *path, uint64_t line, uint64_t column,
                         const char *text)
{
    an_cli_say(context, "%s:%llu:%llu: %s", path, (unsigned long long)line,
               (unsigned long long)column, text);
}

/* "2026-03-08" is the end of that day. */
static enum an_status moment_of(struct an_cli *cli, const char *text, int64_t *at_us)
{
    const bool is_date = strlen(text) == 10 && text[4] == '-' && text[7] == '-';
    const char *full = is_date ? an_arena_printf(cli->arena, "%sT23:59:59.999999", text) : text;

    return full ? an_instant_parse(an_bytes_of(full), cli->line ? cli->line->zone : NULL, at_us,
                                   &cli->err)
                : an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
}

/* The zone of a time without one is that of the newest line description. */
static enum an_status go_back(struct an_cli *cli, const char *text)
{
    struct an_known known = {0, AN_NO_INSTANT};
    const size_t digits = strspn(text, "0123456789");
    enum an_status st = AN_OK;

    if (digits > 0 && digits < 16 && !text[digits]) {
        st = an_store_as_of_size(cli->store, strtoll(text, NULL, 10), &known, &cli->err);
        cli->as_of_us = known.at_us;
        cli->as_of_entries = known.entries;
        return st;
    }
    st = an_cli_read_line(cli);
    if (st == AN_NOT_FOUND) {
        st = AN_OK;
    }
    st = st ? st : moment_of(cli, text, &cli->as_of_us);
    an_line_close(cli->line);
    cli->line = NULL;
    st = st ? st : an_store_as_of(cli->store, cli->as_of_us, &known, &cli->err);
    cli->as_of_entries = known.entries;
    return st;
}

enum an_status an_cli_open(struct an_cli *cli, enum an_store_mode mode, bool with_line)
{
    const char *as_of = an_option_value(&cli->options, "as-of");
    enum an_status st = an_store_open(an_cli_store_path(cli), mode, &cli->store, &cli->err);

    st = st || !as_of || cli->is_now ? st : go_back(cli, as_of);
    st = st ? st : an_cli_sign(cli);
    return st || !with_line ? st : an_cli_read_line(cli);
}

enum an_status an_cli_read_line(struct an_cli *cli)
{
    struct an_line_revision revision;
    enum an_status st = an_store_line(cli->store, cli->arena, &revision, &cli->err);
    if (st) {
        return st;
    }
    return an_line_read(revision.yaml, "line description in the store", revision.folder,
                        tell_mistake, cli, &cli->line, &cli->err);
}

enum an_status an_cli_time(struct an_cli *cli, const char *option, int64_t *at_us)
{
    const char *value = an_option_value(&cli->options, option);
    *at_us = AN_NO_INSTANT;
    if (!value) {
        return AN_OK;
    }
    return an_instant_parse(an_bytes_of(value), cli->line ? cli->line->zone : NULL, at_us,
                            &cli->err);
}

enum an_status an_cli_count(struct an_cli *cli, const char *option, size_t usual, size_t *count)
{
    const char *value = an_option_value(&cli->options, option);
    *count = usual;
    if (!value) {
        return AN_OK;
    }
    char *end = NULL;
    const unsigned long long number = strtoull(value, &end, 10);
    if (value[0] < '0' || value[0] > '9' || *end || number > 1000000000ULL) {
        return an_fail(&cli->err, AN_BAD_USAGE, "--%s wants a whole number, not '%s'", option,
                       value);
    }
    *count = (size_t)number;
    return AN_OK;
}

static const char *nearest_stream(const struct an_stream *streams, size_t count, const char *name)
{
    const char *nearest = NULL;
    size_t distance = strlen(name);
    for (size_t i = 0; i < count; i++) {
        const size_t d = an_name_distance(name, streams[i].name);
        if (d < distance) {
            distance = d;
            nearest = streams[i].name;
        }
    }
    return nearest;
}

static enum an_status no_such_stream(struct an_cli *cli, const struct an_stream *streams,
                                     size_t count, const char *name)
{
    const char *nearest = nearest_stream(streams, count, name);
    if (an_option_value(&cli->options, "as-of") && !cli->is_now) {
        return an_fail(&cli->err, AN_NOT_FOUND,
                       "no stream '%s' was known at that moment; give --as-of a later one, or name "
                       "no stream to see all%s%s%s",
                       name, nearest ? " (the nearest then was '" : "", nearest ? nearest : "",
                       nearest ? "')" : "");
    }
    if (count == 0) {
        return an_fail(&cli->err, AN_NOT_FOUND,
                       "no stream '%s': the store has no samples yet; collect files first", name);
    }
    if (nearest) {
        return an_fail(&cli->err, AN_NOT_FOUND, "no stream '%s'; the nearest is '%s'", name,
                       nearest);
    }
    return an_fail(&cli->err, AN_NOT_FOUND,
                   "no stream '%s'; 'andamento streams' lists those there are", name);
}

enum an_status an_cli_streams(struct an_cli *cli, bool all_by_default, struct an_stream **streams,
                              size_t *count)
{
    struct an_stream *all = NULL;
    size_t all_count = 0;
    *streams = NULL;
    *count = 0;
    enum an_status st = an_store_streams(cli->store, cli->arena, &all, &all_count, &cli->err);
    if (st) {
        return st;
    }
    const struct an_options *options = &cli->options;
    const bool every = an_option_on(options, "all");
    if (options->operand_count == 0 && !every && !all_by_default) {
        return an_fail(&cli->err, AN_BAD_USAGE,
                       "name the streams, as in 'transfer.dx@colour=R,head=H2' or 'transfer.*', or "
                       "say --all");
    }
    if (options->operand_count == 0) {
        *streams = all;
        *count = all_count;
        return AN_OK;
    }
    *streams = an_arena_alloc(cli->arena, all_count + 1, sizeof **streams);
    bool *taken = an_arena_alloc(cli->arena, all_count + 1, sizeof *taken);
    if (!*streams || !taken) {
        return an_fail(&cli->err, AN_NO_MEMORY, "out of memory");
    }
    for (size_t o = 0; o < options->operand_count; o++) {
        bool any = false;
        for (size_t i = 0; i < all_count; i++) {
            if (strcmp(all[i].name, options->operands[o]) == 0 ||
                fnmatch(options->operands[o], all[i].name, 0) == 0) {
                any = true;
                taken[i] = true;
            }
        }
        if (!any) {
            return no_such_stream(cli, all, all_count, options->operands[o]);
        }
    }
    for (size_t i = 0; i < all_count; i++) {
        if (taken[i]) {
            (*streams)[(*count)++] = all[i];
        }
    }
    return AN_OK;
}

/* ---- running ---------------------------------------------------------------------------------------- */

/* The command whose words stand first in argv (after options of the program itself: none). */
static const struct an_command *find_command(int argc, char *argv[], int *words)
{
    const struct an_command *one = NULL; /* "held", unless "held release" is there */
    for (const struct an_command *const *c = an_commands; *c; c++) {
        const char *space = strchr((*c)->name, ' ');
        if (space && argc > 1) {
            const size_t first = (size_t)(space - (*c)->name);
            if (strlen(argv[0]) == first && strncmp(argv[0], (*c)->name, first) == 0 &&
                strcmp(argv[1], space + 1) == 0) {
                *words = 2;
                return *c;
            }
        } else if (!space && argc > 0 && strcmp(argv[0], (*c)->name) == 0) {
            *words = 1;
            one = *c;
        }
    }
    return one;
}

static enum an_exit no_such_command(struct an_cli *cli, int argc, char *argv[])
{
    const char *nearest = NULL;
    size_t distance = 4;
    size_t length = 0;
    bool noun = false;
    for (const struct an_command *const *c = an_commands; *c; c++) {
        const size_t first = strcspn((*c)->name, " ");
        if ((*c)->name[first] && strlen(argv[0]) == first &&
            strncmp((*c)->name, argv[0], first) == 0) {
            if (!noun) {
                an_cli_say(cli, "andamento: '%s' wants one of these after it%s%s:", argv[0],
                           argc > 1 ? ", not " : "", argc > 1 ? argv[1] : "");
            }
            noun = true;
            an_cli_say(cli, "  %-16s %s", (*c)->name, (*c)->summary);
        }
        char word[32] = ""; /* the first word of two */
        (void)snprintf(word, sizeof word, "%.*s", (int)first, (*c)->name);
        const size_t d = an_name_distance(argv[0], word);
        if (d < distance) {
            distance = d;
            nearest = (*c)->name;
            length = first;
        }
    }
    if (!noun && nearest) {
        an_cli_say(cli, "andamento: no command '%s'; did you mean '%.*s'?", argv[0], (int)length,
                   nearest);
    } else if (!noun) {
        an_cli_say(cli, "andamento: no command '%s'; 'andamento --help' lists those there are",
                   argv[0]);
    }
    return AN_EXIT_USAGE;
}

static void version_text(struct an_cli *cli)
{
    an_text_addf(&cli->out, "andamento %s (commit %s), store format %d, SQLite %s\n", cli->version,
                 cli->commit, an_store_format_version(), an_store_sqlite_version());
}

static bool has_word(int argc, char *argv[], const char *word, const char *letter)
{
    for (int i = 0; i < argc && strcmp(argv[i], "--") != 0; i++) {
        if (strcmp(argv[i], word) == 0 || (letter && strcmp(argv[i], letter) == 0)) {
            return true;
        }
    }
    return false;
}

static enum an_status choose_format(struct an_cli *cli)
{
    const char *format = an_option_value(&cli->options, "format");
    cli->format = AN_FORMAT_TABLE;
    if (an_option_on(&cli->options, "json")) {
        cli->format = AN_FORMAT_JSON;
    } else if (an_option_on(&cli->options, "csv")) {
        cli->format = AN_FORMAT_CSV;
    } else if (format && strcmp(format, "json") == 0) {
        cli->format = AN_FORMAT_JSON;
    } else if (format && strcmp(format, "csv") == 0) {
        cli->format = AN_FORMAT_CSV;
    } else if (format && strcmp(format, "table") != 0) {
        return an_fail(&cli->err, AN_BAD_USAGE, "no format '%s'; there are table, csv and json",
                       format);
    }
    return AN_OK;
}

static enum an_exit run_command(struct an_cli *cli, const struct an_command *command, int argc,
                                char *argv[])
{
    cli->takes_author = an_cli_takes_author(command);
    /* the list ends with its first NULL */
    const struct an_option *const tables[] = {command->options, shared_options,
                                              command->as_of      ? reading_options
                                              : cli->takes_author ? an_signing_options
                                                                  : NULL,
                                              command->rows_of ? comparing_options : NULL, NULL};
    enum an_status st = an_options_parse(argc, argv, tables, cli->arena, &cli->options, &cli->err);
    if (!st) {
        st = choose_format(cli);
    }
    const size_t operands = cli->options.operand_count;
    if (!st && operands < command->operands_least) {
        st = an_fail(&cli->err, AN_BAD_USAGE, "'andamento %s' wants %s; try --help", command->name,
                     command->operands);
    }
    if (!st && operands > command->operands_most) {
        st = an_fail(&cli->err, AN_BAD_USAGE, "one operand too many for 'andamento %s': '%s'",
                     command->name, cli->options.operands[command->operands_most]);
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    cli->quiet = an_option_on(&cli->options, "quiet");
    cli->verbose = an_option_on(&cli->options, "verbose");
    cli->dry_run = an_option_on(&cli->options, "dry-run");
    const enum an_exit status = an_option_on(&cli->options, "then-and-now")
                                    ? an_then_now_run(cli, command)
                                    : command->run(cli);
    an_cli_tell_signed(cli, status);
    return status;
}

static enum an_exit dispatch(struct an_cli *cli, int argc, char *argv[])
{
    int words = 0;
    if (argc == 0) {
        struct an_text text = {0};
        help_overview(&text);
        (void)fputs(an_text_of(&text), stderr);
        an_text_free(&text);
        return AN_EXIT_USAGE;
    }
    const struct an_command *command = find_command(argc, argv, &words);
    if (has_word(argc, argv, "--help", "-h") || strcmp(argv[0], "help") == 0) {
        if (!command && strcmp(argv[0], "help") == 0) {
            command = find_command(argc - 1, argv + 1, &words);
        }
        if (command) {
            help_command(command, &cli->out);
        } else {
            help_overview(&cli->out);
        }
        return AN_EXIT_DONE;
    }
    if (has_word(argc, argv, "--version", NULL)) {
        version_text(cli);
        return AN_EXIT_DONE;
    }
    if (!command) {
        return no_such_command(cli, argc, argv);
    }
    return run_command(cli, command, argc - words, argv + words);
}

int an_cli_main(int argc, char *argv[], const char *version, const char *commit)
{
    struct an_cli cli = {.version = version, .commit = commit, .as_of_us = AN_NO_INSTANT};
    cli.answer_fd = dup(STDOUT_FILENO);
    if (cli.answer_fd >= 0) {
        (void)dup2(STDERR_FILENO, STDOUT_FILENO);
    }
    cli.arena = an_arena_open();
    if (!cli.arena) {
        an_cli_say(&cli, "andamento: out of memory");
        return AN_EXIT_BUSY;
    }
    enum an_exit status = dispatch(&cli, argc - 1, argv + 1);
    an_store_close(cli.store);
    an_line_close(cli.line);
    an_cli_flush(&cli);
    if (cli.answer_fd < 0 || close(cli.answer_fd)) {
        cli.out_failed = cli.out_failed || cli.answer_fd >= 0;
    }
    if (cli.out_failed) {
        an_cli_say(&cli, "andamento: could not write the answer to standard output; the disk may "
                         "be full");
        status = AN_EXIT_IO;
    }
    an_text_free(&cli.out);
    an_arena_close(cli.arena);
    return (int)status;
}
