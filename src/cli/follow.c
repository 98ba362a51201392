/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The loop: look, take, tell, wait. Each round gets on with a bounded piece of each, so that no
 * backlog of one keeps the others waiting, and the sign of life means that all of them get on.
 *
 * Signals are let in only where the loop waits, besides being noted wherever they come: a file in
 * hand is finished, and a second request to end undoes it.
 */
#define _GNU_SOURCE /* ppoll */
#include "cli/follow.h"

#include "andamento/base/process.h"

#include <poll.h>
#include <signal.h>
#include <string.h>

volatile int an_follow_stop;
volatile int an_follow_now;
volatile int an_follow_reload;

static void on_signal(int number)
{
    if (number == SIGHUP) {
        an_follow_reload = 1;
    } else {
        an_follow_now = an_follow_stop > 0;
        an_follow_stop = 1;
    }
}

static void catch_signals(sigset_t *caught)
{
    static const int numbers[] = {SIGTERM, SIGINT, SIGHUP};
    struct sigaction action;
    memset(&action, 0, sizeof action);
    action.sa_handler = on_signal;
    (void)sigemptyset(caught);
    for (size_t k = 0; k < sizeof numbers / sizeof *numbers; k++) {
        (void)sigaction(numbers[k], &action, NULL);
        (void)sigaddset(caught, numbers[k]);
    }
    action.sa_handler = SIG_IGN; /* a reader of our answer that ends is a failed write */
    (void)sigaction(SIGPIPE, &action, NULL);
}

void an_follow_alive(void *follow)
{
    struct an_follow *f = follow;
    an_notify_alive(&f->notify, an_clock_monotonic_us());
}

enum an_status an_follow_resume(struct an_follow *f, int64_t wait_ms, bool *got)
{
    struct an_cli *cli = f->cli;
    const enum an_status st = an_store_resume(cli->store, wait_ms, &cli->err);
    const int64_t now_us = an_clock_monotonic_us();
    char span[32];
    *got = st == AN_OK;
    if (!st && f->busy_us && now_us >= f->resume_us) {
        an_log_say(&f->log, AN_LOG_STORE_FREE, "the store can be written again after %s",
                   an_spool_span(now_us - f->busy_us, span));
        f->busy_us = 0;
    }
    return an_follow_pass_busy(f, st);
}

/* ---- starting and ending ---------------------------------------------------------------------- */

static enum an_status open_spool(struct an_follow *f)
{
    const struct an_spool_options options = {.scan_us = f->options.scan_us,
                                             .settle_us = f->options.settle_us,
                                             .no_events = f->options.no_events,
                                             .tell = an_follow_notice,
                                             .context = f};
    return an_spool_open(f->cli->line, &options, &f->spool, &f->cli->err);
}

static enum an_status start(struct an_follow *f)
{
    struct an_cli *cli = f->cli;
    enum an_status st =
        an_store_open_collector(an_cli_store_path(cli), AN_COLLECT_FOLLOWS, &cli->store, &cli->err);
    st = st ? st : an_follow_first_line(f);
    st = st ? st : open_spool(f);
    st = st ? st : an_follow_open_collect(f);
    st = st ? st : an_follow_hear_stations(f, NULL);
    st = st ? st : an_follow_begin_telling(f);
    st = st ? st : an_store_data_version(cli->store, &f->data_version, &cli->err);
    if (!st) {
        an_log_say(&f->log, AN_LOG_STARTED, "store %s, line description revision %lld",
                   an_store_path(cli->store), (long long)f->revision);
        f->check_due = true; /* what another command took and did not judge */
        f->active_us = an_clock_monotonic_us();
        st = an_spool_look(f->spool, f->active_us, &cli->err);
    }
    if (cli->store) {
        an_store_yield(cli->store);
    }
    return st;
}

static enum an_status stop(struct an_follow *f, enum an_status st)
{
    an_follow_status(f, "STOPPING=1");
    an_log_settle(&f->log, an_clock_monotonic_us(), true);
    if (!st) {
        st = an_follow_diary(f, AN_COLLECTOR_STOP, 0, 0,
                             an_follow_stop ? "asked to end" : "nothing came any more");
    }
    if (!st) {
        an_log_say(
            &f->log, AN_LOG_STOPPED,
            "%zu file%s taken, %zu held whole, %lld rows, %zu of them held, %zu new signal%s",
            f->taken, an_plural(f->taken, "", "s"), f->held, (long long)f->rows, f->rows_held,
            f->signals, an_plural(f->signals, "", "s"));
    }
    return st;
}

/* ---- the loop --------------------------------------------------------------------------------- */

/* Nothing waits and nothing came for long enough; then one more scan, in case an event was lost. */
static bool is_quiet(struct an_follow *f, int64_t now_us)
{
    const struct an_spool_counts counts = an_spool_counts(f->spool);
    if (counts.waiting || counts.whole || f->check_due || f->disk_low || f->busy_us) {
        f->active_us = now_us;
        f->last_scan = false;
    }
    if (!f->options.quiet_us || now_us - f->active_us < f->options.quiet_us) {
        return false;
    }
    if (!f->last_scan) {
        f->last_scan = true;
        an_spool_scan_soon(f->spool);
        return false;
    }
    return true;
}

static enum an_status round_trip(struct an_follow *f, bool *busy, bool *quiet)
{
    struct an_cli *cli = f->cli;
    bool more_signals = false;
    enum an_status st = AN_OK;
    if (an_follow_reload) {
        an_follow_reload = 0;
        st = an_follow_reload_line(f);
    }
    st = st ? st : an_follow_watch(f);
    st = st ? st : an_spool_look(f->spool, an_clock_monotonic_us(), &cli->err);
    if (!st && !an_follow_stop) {
        st = an_follow_take(f);
    }
    if (!st && !an_follow_stop) {
        st = an_follow_tell(f, &more_signals);
    }
    if (st) {
        return st;
    }
    const int64_t now_us = an_clock_monotonic_us();
    an_log_settle(&f->log, now_us, false);
    an_follow_alive(f);
    *quiet = is_quiet(f, now_us) && !more_signals;
    const bool may_write = now_us >= f->resume_us && !f->disk_low;
    *busy = more_signals || (may_write && an_spool_counts(f->spool).whole > 0);
    return AN_OK;
}

/* At most a second: the clocks, the disk and the silence of stations are looked at by time. */
static void wait_for_something(struct an_follow *f, const sigset_t *caught)
{
    const int64_t now_us = an_clock_monotonic_us();
    int64_t wait_us = an_spool_wake_us(f->spool) - now_us;
    struct pollfd events = {.fd = an_spool_descriptor(f->spool), .events = POLLIN};
    sigset_t before;
    wait_us = wait_us > AN_SECOND_US ? AN_SECOND_US : wait_us;
    if (f->notify.watchdog_us > 0 && wait_us > f->notify.watchdog_us / 4) {
        wait_us = f->notify.watchdog_us / 4;
    }
    wait_us = wait_us < 1000 ? 1000 : wait_us;
    const struct timespec wait = {.tv_sec = wait_us / AN_SECOND_US,
                                  .tv_nsec = wait_us % AN_SECOND_US * 1000};
    (void)sigprocmask(SIG_BLOCK, caught, &before);
    if (!an_follow_stop && !an_follow_reload) {
        (void)ppoll(&events, 1, &wait, &before);
    }
    (void)sigprocmask(SIG_SETMASK, &before, NULL);
}

static enum an_status loop(struct an_follow *f, const sigset_t *caught)
{
    enum an_status st = AN_OK;
    bool quiet = false;
    while (!st && !an_follow_stop && !quiet) {
        bool busy = false;
        st = round_trip(f, &busy, &quiet);
        if (!st && !an_follow_stop && !quiet) {
            an_follow_status(f, NULL);
            if (!busy) {
                wait_for_something(f, caught);
            }
        }
    }
    if (!st && an_follow_stop) {
        an_log_say(&f->log, AN_LOG_STOPPING, "asked to end");
    }
    return st;
}

enum an_exit an_follow_run(struct an_cli *cli, const struct an_follow_options *options)
{
    struct an_follow f = {.cli = cli, .options = *options};
    sigset_t caught;
    f.log = an_log_open(cli->quiet, cli->verbose);
    f.notify = an_notify_open();
    catch_signals(&caught); /* from here on, being asked to end is an orderly end */
    enum an_status st = start(&f);
    if (!st) {
        st = an_follow_diary(&f, AN_COLLECTOR_START, f.told, 0, "began to follow the spools");
    }
    if (!st) {
        const struct an_spool_counts counts = an_spool_counts(f.spool);
        an_log_say(&f.log, AN_LOG_READY, "follows %zu folder%s, %zu file%s there", counts.folders,
                   an_plural(counts.folders, "", "s"), counts.waiting + counts.whole,
                   an_plural(counts.waiting + counts.whole, "", "s"));
        an_follow_status(&f, "READY=1");
        st = loop(&f, &caught);
        st = stop(&f, st);
    }
    enum an_exit status = AN_EXIT_DONE;
    if (st) {
        an_log_settle(&f.log, an_clock_monotonic_us(), true);
        an_log_say(&f.log, AN_LOG_FAILED, "%s",
                   cli->err.text[0] ? cli->err.text : an_status_name(st));
        an_notify_send(&f.notify, "STATUS=ended: %s", cli->err.text);
        status = an_cli_exit_of(st);
    }
    an_collect_close(f.collect);
    an_spool_close(f.spool);
    an_free(f.stations);
    an_text_free(&f.said);
    an_store_close(cli->store);
    cli->store = NULL;
    an_notify_close(&f.notify);
    return status;
}
