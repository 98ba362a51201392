/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Inside of the spool: what is known of each folder and of each file that lies in it. */
#ifndef AN_INTAKE_SPOOL_INNER_H
#define AN_INTAKE_SPOOL_INNER_H

#include "andamento/base/memory.h"
#include "andamento/base/text.h"
#include "intake/spool.h"

#include <sys/types.h>

enum an_entry_state {
    AN_ENTRY_WAITING, /* for being whole */
    AN_ENTRY_WHOLE,
    AN_ENTRY_DONE, /* taken, or no file at all: until it changes */
    AN_ENTRY_RETRY,
    AN_ENTRY_GONE /* to be forgotten at the next look */
};

struct an_spool_entry {
    /* as it was when last looked at: one of these changes when the content does */
    int64_t size, modified_ns, changed_ns;
    ino_t inode;
    int64_t since_us; /* they have not changed since */
    int64_t due_us;   /* when to look again, while waiting or to be tried again */
    int64_t failed_us;
    size_t station;
    unsigned tries; /* that failed */
    enum an_entry_state state;
    bool renamed, closed;          /* what an event said of it as it is */
    bool marker_read, marker_seen; /* of it as it is */
    char name[];
};

struct an_spool_folder {
    char *path;
    int watch; /* -1: none */
    bool scan_only, scan_only_told, unfit_told;
    bool there, scan_now;
    dev_t device;
    ino_t inode;
    int64_t next_scan_us, gone_us; /* gone_us: since when, while not there */
    unsigned tries;
    struct an_spool_entry **entries; /* by name */
    size_t count, capacity;
};

struct an_spool {
    const struct an_line *line;
    struct an_spool_options options;
    struct an_spool_folder *folders;
    size_t folder_count;
    int events; /* -1: none */
    struct an_spool_whole {
        struct an_spool_folder *folder;
        struct an_spool_entry *entry;
    } * whole; /* what the last look found whole, oldest first */
    size_t whole_count, whole_capacity, whole_at;
    struct an_spool_whole *hand; /* handed out since the last look, by ticket */
    size_t hand_count, hand_capacity;
    struct an_arena *arena; /* their paths; NULL: none was handed out since the last look */
    int64_t wake_us;
};

/* What an event said. */
enum an_hint { AN_HINT_NONE, AN_HINT_LOOK, AN_HINT_CLOSED, AN_HINT_RENAMED };

void an_spool_say(struct an_spool *spool, enum an_spool_notice what, const char *format, ...)
    AN_PRINTF(3, 4);
/* 1 s, 2 s, 4 s ... up to `most`. */
int64_t an_spool_pause(unsigned tries, int64_t most_us);

/* spool_entry.c: looks at one file and decides whether it is whole. */
void an_spool_examine(struct an_spool *spool, struct an_spool_folder *folder,
                      struct an_spool_entry *entry, enum an_hint hint, int64_t now_us);
/* spool_folder.c */
AN_CHECKED enum an_status an_spool_scan(struct an_spool *spool, struct an_spool_folder *folder,
                                        int64_t now_us, struct an_error *err);
AN_CHECKED enum an_status an_spool_hint(struct an_spool *spool, struct an_spool_folder *folder,
                                        const char *name, enum an_hint hint, int64_t now_us,
                                        struct an_error *err);
/* spool_events.c */
void an_spool_watch(struct an_spool *spool, struct an_spool_folder *folder, int descriptor);
AN_CHECKED enum an_status an_spool_read_events(struct an_spool *spool, int64_t now_us,
                                               struct an_error *err);

#endif
