/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What is looked at by time: room on the disk, the wall clock, stations that have gone silent; and
 * the diary in the store. Nothing here drops or puts off data because of a clock.
 */
#include "andamento/base/process.h"
#include "cli/follow.h"

#include <stdio.h>
#include <sys/statvfs.h>

/* ---- clocks ----------------------------------------------------------------------------------- */

int64_t an_clock_step(struct an_clock_pair *pair, int64_t wall_us, int64_t monotonic_us)
{
    const int64_t ahead_us = wall_us - monotonic_us;
    const int64_t step_us = pair->known ? ahead_us - pair->ahead_us : 0;
    pair->ahead_us = ahead_us; /* a clock that is steered slowly never steps */
    pair->known = true;
    return step_us >= AN_SECOND_US || step_us <= -AN_SECOND_US ? step_us : 0;
}

static enum an_status watch_clock(struct an_follow *f)
{
    const int64_t wall_us = an_clock_wall_us();
    const int64_t step_us = an_clock_step(&f->clock, wall_us, an_clock_monotonic_us());
    bool got = false;
    char detail[120];
    char now[40];
    if (step_us) {
        f->clock_step_us += step_us;
        an_log_say(&f->log, AN_LOG_CLOCK_STEP,
                   "the wall clock was set %s by %.3f s; it shows %s now; files are taken in the "
                   "order in which they come",
                   step_us > 0 ? "forward" : "back",
                   (double)(step_us > 0 ? step_us : -step_us) / 1e6,
                   an_instant_rfc3339(wall_us, now));
    }
    if (!f->clock_step_us || an_clock_monotonic_us() < f->resume_us) {
        return AN_OK;
    }
    enum an_status st = an_follow_resume(f, 2000, &got);
    if (st || !got) {
        return st;
    }
    (void)snprintf(detail, sizeof detail, "the wall clock was set and showed %s afterwards",
                   an_instant_rfc3339(wall_us, now));
    st = an_follow_diary(f, AN_COLLECTOR_CLOCK, 0, f->clock_step_us, detail);
    f->clock_step_us = st ? f->clock_step_us : 0;
    return an_follow_pass_busy(f, st);
}

/* ---- the disk --------------------------------------------------------------------------------- */

bool an_disk_is_low(bool was_low, uint64_t free_bytes, uint64_t least)
{
    return was_low ? free_bytes < least + least / 10 : free_bytes < least;
}

static void watch_disk(struct an_follow *f)
{
    const int64_t now_us = an_clock_monotonic_us();
    const char *path = an_store_path(f->cli->store);
    struct statvfs disk;
    char span[32];
    if (now_us < f->disk_look_us || statvfs(path, &disk)) {
        return;
    }
    f->disk_look_us = now_us + AN_SECOND_US;
    const uint64_t free_bytes = (uint64_t)disk.f_bavail * disk.f_frsize;
    const bool low = an_disk_is_low(f->disk_low, free_bytes, f->options.least_free);
    if (low && !f->disk_low) {
        f->disk_low_us = now_us;
        an_log_say(&f->log, AN_LOG_DISK_LOW,
                   "%llu MiB are free where the store lies, less than %llu: nothing is taken in "
                   "until there is more; the stations' files stay where they are",
                   (unsigned long long)(free_bytes >> 20),
                   (unsigned long long)(f->options.least_free >> 20));
    } else if (!low && f->disk_low) {
        an_log_say(&f->log, AN_LOG_DISK_BACK, "%llu MiB are free after %s; files are taken again",
                   (unsigned long long)(free_bytes >> 20),
                   an_spool_span(now_us - f->disk_low_us, span));
    }
    f->disk_low = low;
}

/* ---- stations --------------------------------------------------------------------------------- */

static enum an_status hear_one(struct an_follow *f, size_t station, int64_t now_us)
{
    struct an_cli *cli = f->cli;
    struct an_follow_station *heard = &f->stations[station];
    int64_t known_us = AN_NO_INSTANT;
    const enum an_status st =
        an_store_station_heard(cli->store, cli->line->stations[station].name, &known_us, &cli->err);
    const int64_t ago_us = known_us == AN_NO_INSTANT ? 0 : an_clock_now_us() - known_us;
    heard->ever = known_us != AN_NO_INSTANT;
    heard->heard_us = now_us - (ago_us > 0 ? ago_us : 0); /* a clock set back makes no silence */
    return st;
}

enum an_status an_follow_hear_stations(struct an_follow *f, const struct an_line *before)
{
    struct an_cli *cli = f->cli;
    const struct an_line *line = cli->line;
    const int64_t now_us = an_clock_monotonic_us();
    struct an_follow_station *old = f->stations;
    enum an_status st = AN_OK;
    f->stations = an_alloc(line->station_count + 1, sizeof *f->stations);
    if (!f->stations) {
        f->stations = old;
        return an_fail(&cli->err, AN_NO_MEMORY, "following stations: memory ran out");
    }
    for (size_t k = 0; !st && k < line->station_count; k++) {
        const size_t was =
            before ? an_line_station(before, an_bytes_of(line->stations[k].name)) : AN_NONE;
        if (was != AN_NONE && old) {
            f->stations[k] = old[was];
        } else {
            st = hear_one(f, k, now_us);
        }
    }
    an_free(old);
    return st;
}

void an_follow_heard(struct an_follow *f, size_t station)
{
    struct an_follow_station *heard = &f->stations[station];
    const int64_t now_us = an_clock_monotonic_us();
    char span[32];
    if (heard->silent) {
        an_log_say(&f->log, AN_LOG_STATION_BACK, "%s: a file came after %s of silence",
                   f->cli->line->stations[station].name,
                   an_spool_span(now_us - heard->heard_us, span));
    }
    *heard = (struct an_follow_station){.heard_us = now_us, .ever = true};
}

static void watch_stations(struct an_follow *f)
{
    const struct an_line *line = f->cli->line;
    const int64_t now_us = an_clock_monotonic_us();
    for (size_t k = 0; k < line->station_count; k++) {
        struct an_follow_station *heard = &f->stations[k];
        const int64_t after_us = line->stations[k].silent_after_us;
        const int64_t silence_us = now_us - heard->heard_us;
        char since[40];
        char span[32];
        if (heard->silent || after_us <= 0 || silence_us < after_us) {
            continue;
        }
        heard->silent = true;
        an_log_say(
            &f->log, AN_LOG_STATION_SILENT, "%s: silent since %s, %s%s", line->stations[k].name,
            an_instant_rfc3339_in(line->zone, an_clock_now_us() - silence_us, since),
            an_spool_span(silence_us, span), heard->ever ? "" : "; it has not written a file yet");
    }
}

enum an_status an_follow_watch(struct an_follow *f)
{
    watch_disk(f);
    if (!f->disk_low && !f->busy_us && an_spool_counts(f->spool).whole == 0) {
        watch_stations(f); /* with files still to be taken, nobody can be called silent */
    }
    return watch_clock(f);
}

/* ---- the diary -------------------------------------------------------------------------------- */

enum an_status an_follow_diary(struct an_follow *f, enum an_collector_act act, int64_t signal_id,
                               int64_t step_us, const char *detail)
{
    struct an_cli *cli = f->cli;
    char boot[40];
    const struct an_collector_event event = {.act = act,
                                             .monotonic_us = an_clock_monotonic_us(),
                                             .boot = an_boot_id(boot),
                                             .step_us = step_us,
                                             .signal_id = signal_id,
                                             .detail = detail};
    enum an_status st = an_store_resume(cli->store, 20000, &cli->err);
    st = st ? st : an_store_put_collector_event(cli->store, &event, &cli->err);
    an_store_yield(cli->store);
    return st;
}

enum an_status an_follow_pass_busy(struct an_follow *f, enum an_status st)
{
    if (st != AN_BUSY) {
        return st;
    }
    if (!f->busy_us) {
        an_log_say(&f->log, AN_LOG_STORE_BUSY, "%s", f->cli->err.text);
        f->busy_us = an_clock_monotonic_us();
    }
    f->resume_us = an_clock_monotonic_us() + AN_SECOND_US;
    f->cli->err = (struct an_error){0};
    return AN_OK;
}
