/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The line description under a running collector: read again from its file when asked to, and
 * taken from the store when another command put a revision there. It must never give up a
 * description that works for one that does not.
 */
#define _XOPEN_SOURCE 700 /* realpath */
#include "cli/follow.h"

#include <limits.h>
#include <stdlib.h>
#include <string.h>

static void mistake(void *context, const char *path, uint64_t line, uint64_t column,
                    const char *text)
{
    struct an_follow *f = context;
    an_log_say(&f->log, AN_LOG_LINE_MISTAKE, "%s:%llu:%llu: %s", path, (unsigned long long)line,
               (unsigned long long)column, text);
}

/* Puts what was read into the store, if it is new. */
static enum an_status put_line(struct an_follow *f, const struct an_line *line, bool *is_new)
{
    struct an_error *err = &f->cli->err;
    char folder[PATH_MAX];
    if (!realpath(line->folder, folder)) {
        return an_fail(err, AN_NOT_FOUND, "no folder '%s'", line->folder);
    }
    return an_store_put_line(f->cli->store, line->source, folder, &f->revision, is_new, err);
}

static enum an_status read_from_store(struct an_follow *f, struct an_line **line)
{
    struct an_cli *cli = f->cli;
    struct an_line_revision revision = {0};
    struct an_arena *arena = an_arena_open();
    if (!arena) {
        return an_fail(&cli->err, AN_NO_MEMORY, "reading the line description: memory ran out");
    }
    enum an_status st = an_store_line(cli->store, arena, &revision, &cli->err);
    if (!st) {
        f->revision = revision.revision;
        st = an_line_read(revision.yaml, "line description in the store", revision.folder, mistake,
                          f, line, &cli->err);
    }
    an_arena_close(arena);
    return st;
}

enum an_status an_follow_first_line(struct an_follow *f)
{
    struct an_cli *cli = f->cli;
    struct an_line *read = NULL;
    bool is_new = false;
    if (f->options.line_file) {
        enum an_status st = an_line_read_file(f->options.line_file, mistake, f, &read, &cli->err);
        st = st ? st : put_line(f, read, &is_new);
        an_line_close(read);
        if (st) {
            return st;
        }
        if (is_new) {
            an_log_say(&f->log, AN_LOG_LINE_TAKEN, "%s is revision %lld", f->options.line_file,
                       (long long)f->revision);
        }
    }
    return read_from_store(f, &cli->line); /* its folder is then the one that is recorded */
}

/* From here on by this description. The old one stays if there is no memory for the new. */
static enum an_status change_to(struct an_follow *f, struct an_line *line)
{
    struct an_cli *cli = f->cli;
    struct an_line *before = cli->line;
    struct an_spool *spool = NULL;
    const struct an_spool_options options = {.scan_us = f->options.scan_us,
                                             .settle_us = f->options.settle_us,
                                             .no_events = f->options.no_events,
                                             .tell = an_follow_notice,
                                             .context = f};
    enum an_status st = an_spool_open(line, &options, &spool, &cli->err);
    if (st) {
        an_line_close(line);
        return st;
    }
    an_spool_close(f->spool);
    f->spool = spool;
    an_collect_close(f->collect);
    f->collect = NULL;
    cli->line = line;
    st = an_follow_open_collect(f);
    st = st ? st : an_follow_hear_stations(f, before);
    an_line_close(before);
    f->check_due = true;
    return st;
}

static void keep(struct an_follow *f)
{
    struct an_cli *cli = f->cli;
    an_log_say(&f->log, AN_LOG_LINE_REFUSED, "%s; the collector goes on by revision %lld",
               cli->err.text, (long long)f->revision);
    cli->err = (struct an_error){0};
}

/* A description that cannot be followed is refused before it is stored. */
static enum an_status try_spool(const struct an_line *line, struct an_error *err)
{
    const struct an_spool_options options = {.no_events = true};
    struct an_spool *spool = NULL;
    const enum an_status st = an_spool_open(line, &options, &spool, err);
    an_spool_close(spool);
    return st;
}

static enum an_status reload(struct an_follow *f)
{
    struct an_cli *cli = f->cli;
    struct an_line *line = NULL;
    const int64_t before = f->revision;
    bool got = false;
    bool is_new = false;
    enum an_status st = an_line_read_file(f->options.line_file, mistake, f, &line, &cli->err);
    if (st || (st = try_spool(line, &cli->err)) != AN_OK) {
        an_line_close(line);
        keep(f);
        return AN_OK;
    }
    st = an_follow_resume(f, 20000, &got);
    if (!st && !got) {
        an_line_close(line);
        an_follow_reload = 1; /* at the next round */
        return AN_OK;
    }
    st = st ? st : put_line(f, line, &is_new);
    an_line_close(line);
    line = NULL;
    if (st == AN_NOT_FOUND) {
        keep(f);
        st = AN_OK;
        is_new = false;
    } else if (!st && !is_new && f->revision == before) {
        an_log_say(&f->log, AN_LOG_LINE_SAME, "%s is revision %lld already", f->options.line_file,
                   (long long)f->revision);
    }
    if (!st && f->revision != before) {
        st = read_from_store(f, &line);
        st = st ? st : change_to(f, line);
        an_log_say(&f->log, AN_LOG_LINE_TAKEN, "%s is revision %lld", f->options.line_file,
                   (long long)f->revision);
    }
    an_store_yield(cli->store);
    return st;
}

enum an_status an_follow_reload_line(struct an_follow *f)
{
    if (!f->options.line_file) {
        an_log_say(&f->log, AN_LOG_LINE_REFUSED,
                   "no --line was given, so there is no file to be read again; 'andamento init' "
                   "stores a new revision, which is followed at once");
        return AN_OK;
    }
    an_notify_reloading(&f->notify);
    const enum an_status st = reload(f);
    an_follow_status(f, "READY=1");
    return st;
}

/* Somebody else wrote: a new revision is followed, and new limits are judged by. */
enum an_status an_follow_look_at_store(struct an_follow *f)
{
    struct an_cli *cli = f->cli;
    int64_t version = 0;
    int64_t revision = 0;
    struct an_line *line = NULL;
    enum an_status st = an_store_data_version(cli->store, &version, &cli->err);
    if (st || version == f->data_version) {
        return st;
    }
    f->data_version = version;
    f->check_due = true;
    st = an_store_newest_revision(cli->store, &revision, &cli->err);
    if (st || revision == f->revision) {
        return st;
    }
    const int64_t before = f->revision;
    st = read_from_store(f, &line);
    if (!st) {
        st = try_spool(line, &cli->err);
    }
    if (st == AN_BAD_CONFIG) { /* stored by a program that knows more than this one */
        an_line_close(line);
        f->revision = before;
        keep(f);
        f->revision = revision; /* so that it is said once */
        return AN_OK;
    }
    if (st) {
        an_line_close(line);
        return st;
    }
    an_log_say(&f->log, AN_LOG_LINE_TAKEN, "another command stored revision %lld",
               (long long)f->revision);
    return change_to(f, line);
}
