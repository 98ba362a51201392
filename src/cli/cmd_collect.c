/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * collect: takes station files into the store. A file goes in whole and is told once it is safe; what
 * cannot be taken is held and said. Interrupting undoes what was not told. With --follow it lives on:
 * see follow.c.
 */
#include "andamento/base/number.h"
#include "andamento/store/collector.h"
#include "cli/commands.h"
#include "cli/follow.h"
#include "intake/collect.h"

#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

/* Set by the signal handler only; a handler has no other way to speak. */
static volatile int stop_asked;

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

struct progress {
    bool shown, possible;
    time_t started, drawn;
    size_t file, files;
    const char *name;
};

static void draw_progress(void *context, uint64_t done, uint64_t total)
{
    struct progress *p = context;
    const time_t now = time(NULL);
    if (!p->possible || now - p->started < 2 || now == p->drawn) {
        return;
    }
    p->drawn = now;
    p->shown = true;
    const double share =
        ((double)p->file + (total ? (double)done / (double)total : 0.0)) / (double)p->files;
    char bar[31];
    for (int i = 0; i < 30; i++) {
        bar[i] = i < (int)(share * 30.0) ? '#' : '.';
    }
    bar[30] = '\0';
    (void)fprintf(stderr, "\r%s %3.0f %%  %zu of %zu  %-40.40s", bar, share * 100.0, p->file + 1,
                  p->files, p->name);
}

static void end_progress(struct progress *p)
{
    if (p->shown) {
        (void)fprintf(stderr, "\r%79s\r", "");
    }
}

struct totals {
    size_t taken, held, seen, unknown;
    int64_t rows, rows_taken, duplicate, rows_held, blank;
};

static const char *outcome(enum an_take how)
{
    switch (how) {
    case AN_TAKEN:
        return "taken";
    case AN_HELD_WHOLE:
        return "held";
    case AN_SEEN_BEFORE:
        return "seen before";
    case AN_NO_STATION_FITS:
        return "no station";
    }
    return "?";
}

static void count(struct totals *totals, const struct an_take_result *result)
{
    totals->taken += result->how == AN_TAKEN;
    totals->held += result->how == AN_HELD_WHOLE;
    totals->seen += result->how == AN_SEEN_BEFORE;
    totals->unknown += result->how == AN_NO_STATION_FITS;
    if (result->how == AN_TAKEN || result->how == AN_HELD_WHOLE) {
        totals->rows += result->file.rows;
        totals->rows_taken += result->file.taken;
        totals->duplicate += result->file.duplicate;
        totals->rows_held += result->file.held;
        totals->blank += result->file.blank;
    }
}

static void json_file(struct an_json *json, const char *path, const struct an_take_result *result)
{
    const struct an_file *file = &result->file;
    char hex[65];
    an_json_object(json);
    an_json_put_string(json, "path", path);
    an_json_put_string(json, "outcome", outcome(result->how));
    an_json_put_string(json, "station", file->station);
    if (result->how != AN_NO_STATION_FITS) {
        an_json_put_string(json, "sha256", an_sha256_hex(&file->hash, hex));
    }
    an_json_put_string(json, "code", file->code);
    an_json_put_string(json, "why", file->why);
    an_json_put_integer(json, "line", (int64_t)file->why_line);
    an_json_put_integer(json, "rows", file->rows);
    an_json_put_integer(json, "taken", file->taken);
    an_json_put_integer(json, "duplicate", file->duplicate);
    an_json_put_integer(json, "held", file->held);
    an_json_put_integer(json, "blank", file->blank);
    an_json_key(json, "notes");
    an_json_raw(json, file->notes ? file->notes : "[]");
    an_json_end(json, '}');
}

static void say_file(struct an_cli *cli, const char *path, const struct an_take_result *result)
{
    const struct an_file *file = &result->file;
    if (result->how == AN_HELD_WHOLE) {
        an_cli_say(cli, "%s:%llu:%llu: file held, %s: %s", path,
                   (unsigned long long)(file->why_line ? file->why_line : 1),
                   (unsigned long long)(file->why_column ? file->why_column : 1), file->code,
                   file->why);
    } else if (result->how == AN_NO_STATION_FITS) {
        an_cli_say(cli,
                   "%s: no station's folder and pattern fit this file; name one with --station",
                   path);
    } else if (file->held > 0 && result->how == AN_TAKEN) {
        an_cli_say(cli, "%s: %lld row%s held of %lld; list them with 'andamento held --file %lld'",
                   path, (long long)file->held, an_plural((size_t)file->held, "", "s"),
                   (long long)file->rows, (long long)file->file_id);
    } else if (cli->verbose) {
        an_cli_say(cli, "%s: %s, %lld rows", path, outcome(result->how), (long long)file->rows);
    }
}

static void json_totals(struct an_cli *cli, struct an_json *json, const struct totals *t)
{
    an_json_put_bool(json, "dry_run", cli->dry_run);
    an_json_put_integer(json, "files_taken", (int64_t)t->taken);
    an_json_put_integer(json, "files_held", (int64_t)t->held);
    an_json_put_integer(json, "files_seen_before", (int64_t)t->seen);
    an_json_put_integer(json, "files_without_station", (int64_t)t->unknown);
    an_json_put_integer(json, "rows", t->rows);
    an_json_put_integer(json, "rows_taken", t->rows_taken);
    an_json_put_integer(json, "rows_duplicate", t->duplicate);
    an_json_put_integer(json, "rows_held", t->rows_held);
    an_json_put_integer(json, "rows_blank", t->blank);
}

static void print_totals(struct an_cli *cli, const struct totals *t)
{
    an_text_addf(&cli->out,
                 "%s%zu file%s taken, %zu held, %zu seen before, %zu without a station\n",
                 cli->dry_run ? "would have: " : "", t->taken, an_plural(t->taken, "", "s"),
                 t->held, t->seen, t->unknown);
    an_text_addf(&cli->out, "%lld rows in = %lld taken + %lld duplicate + %lld held + %lld blank\n",
                 (long long)t->rows, (long long)t->rows_taken, (long long)t->duplicate,
                 (long long)t->rows_held, (long long)t->blank);
}

struct run {
    struct an_cli *cli;
    struct an_collect *collect;
    struct totals totals;
    struct progress progress;
    size_t refused;
    const char **files;
    struct an_json *json; /* or NULL */
};

/* The text of an error without the path that some begin with: the path stands before it already. */
static const char *without_path(const char *text, const char *path)
{
    const size_t length = strlen(path);
    const bool named = text[0] == '"' && strncmp(text + 1, path, length) == 0 &&
                       strncmp(text + 1 + length, "\": ", 3) == 0;
    return named ? text + length + 4 : text;
}

static void report(void *context, size_t i, enum an_status st, const struct an_take_result *result,
                   const struct an_error *err)
{
    struct run *run = context;
    struct an_cli *cli = run->cli;
    const char *path = run->files[i];
    run->progress.file = i + 1;
    run->progress.name = strrchr(path, '/') ? strrchr(path, '/') + 1 : path;
    if (st == AN_BAD_INPUT || st == AN_NOT_FOUND || st == AN_DENIED ||
        (st == AN_IO && !an_store_failed(cli->store))) {
        end_progress(&run->progress); /* this one is refused; the others go on */
        an_cli_say(cli, "%s: %s", path, without_path(err->text, path));
        run->refused++;
    } else if (!st) {
        count(&run->totals, result);
        if (!cli->quiet) {
            end_progress(&run->progress);
            say_file(cli, path, result);
        }
        if (run->json) {
            json_file(run->json, path, result);
        }
    } /* any other failure ends it all, and is told then */
}

static enum an_status take_all(struct run *run, const char **files, size_t file_count,
                               struct an_json *json)
{
    run->files = files;
    run->json = json;
    return an_collect_files(run->collect, files, file_count, report, run, &run->cli->err);
}

static enum an_status read_threads(struct an_cli *cli, size_t *threads)
{
    const char *text = an_option_value(&cli->options, "threads");
    int64_t number = 0;
    if (!text) {
        return AN_OK;
    }
    if (an_integer_parse(an_bytes_of(text), &number) != AN_OK || number < 1 || number > 64) {
        return an_fail(&cli->err, AN_BAD_USAGE, "--threads wants a number from 1 to 64, not '%s'",
                       text);
    }
    *threads = (size_t)number;
    return AN_OK;
}

static enum an_status open_all(struct run *run, const char ***files, size_t *file_count)
{
    struct an_cli *cli = run->cli;
    size_t threads = 0;
    enum an_status st = read_threads(cli, &threads);
    st = st ? st
            : an_store_open_collector(an_cli_store_path(cli), AN_COLLECT_ONCE, &cli->store,
                                      &cli->err);
    st = st ? st : an_cli_read_line(cli);
    if (!st) {
        st = an_collect_list(cli->options.operands, cli->options.operand_count, cli->arena, files,
                             file_count, &cli->err);
    }
    if (st) {
        return st;
    }
    run->progress = (struct progress){.possible = isatty(STDERR_FILENO) && !cli->quiet,
                                      .started = time(NULL),
                                      .files = *file_count};
    const struct an_collect_options options = {
        .dry_run = cli->dry_run,
        .station = an_option_value(&cli->options, "station"),
        .progress = draw_progress,
        .context = &run->progress,
        .stop = &stop_asked,
        .threads = threads,
    };
    return an_collect_open(cli->store, cli->line, &options, &run->collect, &cli->err);
}

static enum an_exit finish(struct run *run, enum an_status st)
{
    struct an_cli *cli = run->cli;
    end_progress(&run->progress);
    an_collect_close(run->collect);
    if (stop_asked) {
        print_totals(cli, &run->totals);
        an_cli_flush(cli);
        an_cli_say(cli, "andamento: interrupted; what is reported above is stored, the rest is not "
                        "begun");
        an_store_close(cli->store);
        cli->store = NULL;
        (void)signal(stop_asked, SIG_DFL);
        (void)raise(stop_asked);
    }
    if (st) {
        return an_cli_failed(cli, st);
    }
    const bool finding = run->totals.held || run->totals.unknown || run->totals.rows_held;
    if (run->refused && run->refused == run->progress.files) {
        return AN_EXIT_INPUT;
    }
    return finding || run->refused ? AN_EXIT_FINDING : AN_EXIT_DONE;
}

static enum an_exit run_collect(struct an_cli *cli)
{
    struct run run = {.cli = cli};
    const char **files = NULL;
    size_t file_count = 0;
    if (an_option_on(&cli->options, "follow")) {
        return an_follow_command(cli);
    }
    enum an_status st = an_follow_refuse_options(cli);
    if (!st && cli->options.operand_count == 0) {
        st = an_fail(&cli->err, AN_BAD_USAGE,
                     "'andamento collect' wants PATH..., or --follow; try --help");
    }
    st = st ? st : open_all(&run, &files, &file_count);
    if (st) {
        return finish(&run, st);
    }
    watch_signals();
    if (cli->format != AN_FORMAT_JSON) {
        st = take_all(&run, files, file_count, NULL);
        if (!st && !stop_asked) {
            print_totals(cli, &run.totals);
        }
        return finish(&run, st);
    }
    struct an_json json = an_cli_json_begin(cli, "andamento.collect.1");
    an_json_object(&json);
    an_json_key(&json, "files");
    an_json_array(&json);
    st = take_all(&run, files, file_count, &json);
    an_json_end(&json, ']');
    json_totals(cli, &json, &run.totals);
    an_json_end(&json, '}');
    an_json_end(&json, '}');
    if (st) {
        an_text_clear(&cli->out); /* half an answer is none */
    }
    return finish(&run, st);
}

static const struct an_option options[] = {
    {"station", 0, "NAME", "take every file as this station's, whatever its folder"},
    {"dry-run", 'n', NULL, "read and check everything, store nothing"},
    {"threads", 0, "N", "read files with so many threads (as many as there are processors)"},
    {"follow", 0, NULL, "go on: watch the stations' folders, take what comes, judge it"},
    {"scan", 0, "SECONDS", "read each folder through at least so often (60)"},
    {"settle", 0, "SECONDS", "a file is whole when unchanged for so long (2)"},
    {"no-events", 0, NULL, "follow by reading the folders through only"},
    {"line", 0, "FILE", "line description, read at start and again at SIGHUP"},
    {"on-signal", 0, "COMMAND", "run it for each new signal, the signal as JSON on its input"},
    {"on-signal-arg", 0, "ARG", "an argument of it; may be given again"},
    {"on-signal-limit", 0, "SECONDS", "end it after so long (10)"},
    {"least-free", 0, "MIB", "take nothing while less of the store's disk is free (256)"},
    {"until-quiet", 0, "SECONDS", "end when nothing has come for so long"},
    AN_OPTION_END,
};

const struct an_command an_command_collect = {
    .name = "collect",
    .operands = "PATH... | --follow",
    .summary = "take station files (folders are walked) into the store",
    .example = "andamento collect demo-line/spool",
    .more = "A file goes in whole or not at all; the same bytes twice change nothing. Rows and\n"
            "files that cannot be used are held with their reason: 'andamento held' lists them.\n"
            "Exit status 1: something was held, or no station fits a file.\n"
            "With --follow it goes on until SIGTERM, which ends it after the file in hand, with\n"
            "exit status 0; new signals are told on standard output, one a line. docs/follow.md\n"
            "tells the rest.\n",
    .options = options,
    .operands_most = 1000000,
    .run = run_collect,
};
