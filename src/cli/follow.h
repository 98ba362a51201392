/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * collect --follow: a collector that lives on. One thread; it waits for events and for time, takes
 * what is whole, judges it, tells new signals, and lets the writer's lock go in between.
 */
#ifndef AN_CLI_FOLLOW_H
#define AN_CLI_FOLLOW_H

#include "andamento/store/collector.h"
#include "cli/cli.h"
#include "cli/follow_log.h"
#include "cli/notify.h"
#include "intake/collect.h"
#include "intake/spool.h"

struct an_follow_options {
    int64_t scan_us, settle_us;
    int64_t quiet_us;           /* end when nothing came for so long; 0: never */
    uint64_t least_free;        /* bytes */
    const char *line_file;      /* read at start and at SIGHUP, or NULL */
    const char *const *command; /* argument vector for signals, or NULL */
    int64_t command_ms;
    bool no_events;
};

/* The wall clock against the one that is never set. */
struct an_clock_pair {
    int64_t ahead_us; /* wall less monotonic when last looked at */
    bool known;
};
/* By how much the wall clock was set since the last call; 0 if by less than a second. */
int64_t an_clock_step(struct an_clock_pair *pair, int64_t wall_us, int64_t monotonic_us);
/* Low below `least`; no longer low from a tenth above it on, so that it does not flutter. */
bool an_disk_is_low(bool was_low, uint64_t free_bytes, uint64_t least);

struct an_follow_station {
    int64_t heard_us; /* monotonic: its newest file was taken, or watching began */
    bool ever;        /* it has written before */
    bool silent;
};

struct an_follow {
    struct an_cli *cli;
    struct an_follow_options options;
    struct an_log log;
    struct an_notify notify;
    struct an_spool *spool;
    struct an_collect *collect;
    struct an_follow_station *stations; /* as many as the line has */
    int64_t revision, data_version;
    bool check_due;
    /* signals */
    int64_t told, recorded; /* newest told; newest that the diary says was told */
    const char *told_how;
    struct an_text said; /* of the last */
    /* trouble */
    struct an_clock_pair clock;
    int64_t clock_step_us; /* not yet in the diary */
    bool disk_low;
    int64_t disk_low_us, disk_look_us;
    int64_t busy_us;   /* the store is busy since; 0: is not */
    int64_t resume_us; /* do not try to write before */
    /* totals */
    size_t taken, held, rows_held, seen, refused, signals;
    int64_t rows;
    int64_t active_us; /* something came */
    bool last_scan;    /* quiet: one more scan was asked for */
};

/* Set by handlers. */
extern volatile int an_follow_stop; /* times SIGTERM or SIGINT came */
extern volatile int an_follow_now;  /* it came twice */
extern volatile int an_follow_reload;

/* follow_options.c: collect --follow; and what goes only with it, refused elsewhere. */
enum an_exit an_follow_command(struct an_cli *cli);
AN_CHECKED enum an_status an_follow_refuse_options(struct an_cli *cli);

enum an_exit an_follow_run(struct an_cli *cli, const struct an_follow_options *options);

/* Takes the writer's lock back. *got false: another writer has it; said once, tried again. */
AN_CHECKED enum an_status an_follow_resume(struct an_follow *f, int64_t wait_ms, bool *got);
void an_follow_alive(void *follow); /* work got on */
/* AN_BUSY, from another program's transaction, is said once and tried again later: AN_OK. */
enum an_status an_follow_pass_busy(struct an_follow *f, enum an_status st);

/* follow_take.c: takes what is whole for a while, and judges it. */
AN_CHECKED enum an_status an_follow_take(struct an_follow *f);
AN_CHECKED enum an_status an_follow_open_collect(struct an_follow *f);
/* follow_tell.c: tells signals that are new. *more: there are others. */
AN_CHECKED enum an_status an_follow_begin_telling(struct an_follow *f);
AN_CHECKED enum an_status an_follow_tell(struct an_follow *f, bool *more);
/* follow_line.c: the description anew from its file; what another command stored. */
AN_CHECKED enum an_status an_follow_first_line(struct an_follow *f);
AN_CHECKED enum an_status an_follow_reload_line(struct an_follow *f);
AN_CHECKED enum an_status an_follow_look_at_store(struct an_follow *f);
/* follow_watch.c: disk, clocks, silent stations, the diary. */
AN_CHECKED enum an_status an_follow_watch(struct an_follow *f);
AN_CHECKED enum an_status an_follow_hear_stations(struct an_follow *f,
                                                  const struct an_line *before);
void an_follow_heard(struct an_follow *f, size_t station);
AN_CHECKED enum an_status an_follow_diary(struct an_follow *f, enum an_collector_act act,
                                          int64_t signal_id, int64_t step_us, const char *detail);
/* follow_words.c */
void an_follow_notice(void *follow, enum an_spool_notice what, const char *text);
void an_follow_say_file(struct an_follow *f, const char *path, const struct an_take_result *result);
void an_follow_status(struct an_follow *f, const char *first);

#endif
