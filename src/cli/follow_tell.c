/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * New signals: one line each on standard output, the command run once for each, and a note in the
 * diary after it. The diary is what a restart goes by: a signal whose note was not written is told
 * once more, none is left out.
 */
#include "andamento/base/process.h"
#include "cli/follow.h"
#include "judge/judge.h"

#include <string.h>

enum { SAID_MOST = 4096, GRACE_MS = 1000 };

enum an_status an_follow_begin_telling(struct an_follow *f)
{
    bool found = false;
    enum an_status st = an_store_told_signal(f->cli->store, &f->told, &found, &f->cli->err);
    if (!st && !found) { /* the first collector that follows: what is there is no news */
        st = an_store_newest_signal(f->cli->store, &f->told, &f->cli->err);
    }
    f->recorded = f->told;
    return st;
}

static void put_object(struct an_follow *f, const struct an_signal *signal, struct an_text *out)
{
    struct an_json json = an_json_into(out, false);
    struct an_text by = {0};
    an_text_addf(&by, "andamento %s", f->cli->version);
    an_json_object(&json);
    an_json_put_string(&json, "schema", "andamento.signal.1");
    an_json_put_string(&json, "generated_by", an_text_of(&by));
    an_json_put_string(&json, "store", an_store_path(f->cli->store));
    an_json_key(&json, "data");
    an_signal_json(&json, f->cli->line, signal);
    an_json_end(&json, '}');
    an_text_add_char(out, '\n');
    out->failed = out->failed || by.failed;
    an_text_free(&by);
}

/* What it said, line by line, into the log. */
static void tell_output(struct an_follow *f, int64_t signal_id,
                        const struct an_process_result *result)
{
    struct an_text line = {0};
    const char *at = an_text_of(&result->output);
    while (*at) {
        const size_t length = strcspn(at, "\n");
        an_text_clear(&line);
        an_text_add_visible(&line, (struct an_bytes){(const unsigned char *)at, length}, 1000);
        an_log_say(&f->log, AN_LOG_COMMAND_SAYS, "signal %lld: %s", (long long)signal_id,
                   an_text_of(&line));
        at += length + (at[length] == '\n');
    }
    if (result->output_dropped) {
        an_log_say(&f->log, AN_LOG_COMMAND_SAYS, "signal %lld: %zu more bytes were not kept",
                   (long long)signal_id, result->output_dropped);
    }
    an_text_free(&line);
}

static void describe(struct an_follow *f, const struct an_process_result *result)
{
    char span[32];
    an_text_clear(&f->said);
    if (result->out_of_time) {
        an_text_addf(&f->said, "the command was ended: it had not ended by itself within %s",
                     an_spool_span(f->options.command_ms * 1000, span));
    } else if (result->by_signal) {
        an_text_addf(&f->said, "the command was ended by signal %d", result->by_signal);
    } else {
        an_text_addf(&f->said, "the command ended with exit status %d", result->exit_status);
    }
}

static void run_command(struct an_follow *f, int64_t signal_id, const struct an_text *object)
{
    const struct an_process_limits limits = {.run_ms = f->options.command_ms,
                                             .grace_ms = GRACE_MS,
                                             .output_most = SAID_MOST,
                                             .tick = an_follow_alive,
                                             .context = f,
                                             .stop = &an_follow_now};
    struct an_process_result result = {0};
    struct an_error err = {0};
    const struct an_bytes input = {(const unsigned char *)an_text_of(object), object->length};
    if (an_process_run(f->options.command, input, &limits, &result, &err)) {
        an_text_clear(&f->said);
        an_text_add(&f->said, err.text);
        an_log_say(&f->log, AN_LOG_COMMAND_FAILED, "signal %lld: %s", (long long)signal_id,
                   err.text);
        return;
    }
    tell_output(f, signal_id, &result);
    describe(f, &result);
    const bool good = result.exit_status == 0 && !result.out_of_time;
    an_log_say(&f->log, good ? AN_LOG_COMMAND_DONE : AN_LOG_COMMAND_FAILED,
               "signal %lld: %s; it is not run again for this signal", (long long)signal_id,
               an_text_of(&f->said));
    an_text_free(&result.output);
}

/* A line for people, or the object for programs. */
static enum an_status print(struct an_follow *f, const struct an_signal *signal,
                            const struct an_text *object)
{
    struct an_cli *cli = f->cli;
    if (cli->format == AN_FORMAT_JSON) {
        an_text_add(&cli->out, an_text_of(object));
    } else {
        an_text_addf(&cli->out, "%lld  %s  %s  %s\n", (long long)signal->record.signal_id,
                     signal->code, signal->stream.name, signal->sentence);
    }
    an_cli_flush(cli);
    return cli->out_failed
               ? an_fail(&cli->err, AN_IO, "could not write a signal to standard output")
               : AN_OK;
}

static enum an_status tell_one(struct an_follow *f, const struct an_new_signal *fresh,
                               struct an_arena *arena)
{
    struct an_cli *cli = f->cli;
    struct an_signal *signals = NULL;
    struct an_text object = {0};
    size_t count = 0;
    enum an_status st = an_signals(cli->store, cli->line, fresh->stream_id, fresh->signal_us,
                                   fresh->signal_us + 1, arena, &signals, &count, &cli->err);
    an_text_clear(&f->said);
    an_text_add(&f->said, "told; late samples had undone it"); /* unless it is found below */
    for (size_t k = 0; !st && k < count; k++) {
        if (signals[k].record.signal_id != fresh->signal_id) {
            continue;
        }
        put_object(f, &signals[k], &object);
        if (object.failed) {
            st = an_fail(&cli->err, AN_NO_MEMORY, "telling a signal: memory ran out");
            break;
        }
        f->signals++;
        st = print(f, &signals[k], &object);
        an_text_clear(&f->said);
        an_text_add(&f->said, "told on standard output");
        if (!st && f->options.command) {
            run_command(f, fresh->signal_id, &object);
        }
    }
    an_text_free(&object);
    return st;
}

static enum an_status record(struct an_follow *f)
{
    bool got = false;
    enum an_status st = AN_OK;
    if (f->recorded >= f->told || an_clock_monotonic_us() < f->resume_us) {
        return AN_OK;
    }
    st = an_follow_resume(f, 2000, &got);
    if (st || !got) {
        return st;
    }
    st = an_follow_diary(f, AN_COLLECTOR_SIGNAL, f->told, 0, an_text_of(&f->said));
    f->recorded = st ? f->recorded : f->told;
    return an_follow_pass_busy(f, st);
}

/* One piece of the work: as many as fit into the time that one command may take. */
enum an_status an_follow_tell(struct an_follow *f, bool *more)
{
    struct an_cli *cli = f->cli;
    const int64_t until_us = an_clock_monotonic_us() + f->options.command_ms * 1000;
    int64_t newest = 0;
    enum an_status st = record(f);
    st = st ? st : an_store_newest_signal(cli->store, &newest, &cli->err);
    while (!st && newest > f->told && !an_follow_now && an_clock_monotonic_us() < until_us) {
        struct an_arena *arena = an_arena_open();
        struct an_new_signal *fresh = NULL;
        size_t count = 0;
        st = arena
                 ? an_store_signals_after(cli->store, f->told, 1, arena, &fresh, &count, &cli->err)
                 : an_fail(&cli->err, AN_NO_MEMORY, "telling a signal: memory ran out");
        if (!st && count) {
            st = tell_one(f, &fresh[0], arena);
            f->told = st ? f->told : fresh[0].signal_id;
            st = st ? st : record(f);
        } else {
            newest = f->told;
        }
        an_arena_close(arena);
        an_follow_alive(f);
    }
    *more = !st && newest > f->told;
    return st;
}
