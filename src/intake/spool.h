/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The spool folders of a line, watched for files that have come whole. Nothing is moved, changed
 * or followed out of a folder. Times are by the clock that is never set, handed in by the caller:
 * so a test can let time pass.
 *
 * One thread a spool. What was seen is kept in memory for as long as it lies in its folder.
 */
#ifndef AN_INTAKE_SPOOL_H
#define AN_INTAKE_SPOOL_H

#include "andamento/base/status.h"
#include "line/line.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum an_spool_notice {
    AN_SPOOL_FOLDER_GONE, /* cannot be read; looked for again and again */
    AN_SPOOL_FOLDER_BACK, /* and is there again */
    AN_SPOOL_SCAN_ONLY,   /* no events from there: network, or none to be had */
    AN_SPOOL_QUEUE_FULL,  /* events were lost; every folder is read through */
    AN_SPOOL_NOT_A_FILE,  /* a link, a folder, a pipe under a name that fits */
    AN_SPOOL_NO_PATTERN,  /* files that fit no station's pattern */
    AN_SPOOL_FILE_FAILS,  /* could not be read; tried again and again */
    AN_SPOOL_FILE_AGAIN,  /* and could in the end */
    AN_SPOOL_FILE_GONE    /* left before it was taken */
};
/* Each is told once when it begins. text: one line, with the path. */
typedef void an_spool_tell(void *context, enum an_spool_notice what, const char *text);

struct an_spool_options {
    int64_t scan_us;   /* every folder is read through at least so often */
    int64_t settle_us; /* a file is whole once it has not changed for so long */
    bool no_events;    /* scan only */
    an_spool_tell *tell;
    void *context;
};

struct an_spool_file {
    const char *path;
    size_t station; /* index into the line's stations */
    int64_t bytes;
    size_t ticket; /* by which the spool knows it again */
};

struct an_spool_counts {
    size_t folders, folders_gone;
    size_t waiting; /* not whole yet */
    size_t whole;   /* to be taken */
    size_t failing; /* to be tried again */
};

struct an_spool;
/* line must outlive it. AN_BAD_CONFIG if no station has a folder. Looks at nothing yet. */
AN_CHECKED enum an_status an_spool_open(const struct an_line *line,
                                        const struct an_spool_options *options,
                                        struct an_spool **spool, struct an_error *err);
void an_spool_close(struct an_spool *spool); /* NULL is fine */

/* Readable when something happened in a folder; -1 if there are no events. */
int an_spool_descriptor(const struct an_spool *spool);
/* All that is due now: events, folders to be read through, files to be looked at again. Fails only
 * for want of memory. */
AN_CHECKED enum an_status an_spool_look(struct an_spool *spool, int64_t now_us,
                                        struct an_error *err);
void an_spool_scan_soon(struct an_spool *spool); /* the next look reads every folder through */
int64_t an_spool_wake_us(const struct an_spool *spool); /* when something is due next */
struct an_spool_counts an_spool_counts(const struct an_spool *spool);

/* The next whole file, oldest first; false: none. Several may be in hand at once. Each is answered
 * for by one of the calls below before the next look, until when its path is good. */
bool an_spool_next(struct an_spool *spool, int64_t now_us, struct an_spool_file *file);
/* Taken: it is not offered again until it changes. */
void an_spool_took(struct an_spool *spool, const struct an_spool_file *file, int64_t now_us);
/* It was not there any more. */
void an_spool_gone(struct an_spool *spool, const struct an_spool_file *file);
void an_spool_failed(struct an_spool *spool, const struct an_spool_file *file, int64_t now_us,
                     const char *why);
/* Not tried: the next look offers it again. */
void an_spool_put_back(struct an_spool *spool, const struct an_spool_file *file);

/* "1.5 s", "12 s", "3 min", "2 h 5 min" */
const char *an_spool_span(int64_t us, char buffer[32]);

/* Does the file end with this line? Anything that cannot be read: no. */
bool an_spool_ends_with(const char *path, const char *marker);

#endif
