/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The log of a collector that follows: one event a line, each with a name that stays the same, in
 * docs/follow.md. Repeats of one name are counted when there are too many to be read.
 */
#ifndef AN_CLI_FOLLOW_LOG_H
#define AN_CLI_FOLLOW_LOG_H

#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum an_log_event {
    AN_LOG_STARTED,
    AN_LOG_READY,
    AN_LOG_STOPPING,
    AN_LOG_STOPPED,
    AN_LOG_FAILED,
    AN_LOG_LINE_TAKEN,
    AN_LOG_LINE_SAME,
    AN_LOG_LINE_REFUSED,
    AN_LOG_LINE_MISTAKE,
    AN_LOG_FILES_TAKEN,
    AN_LOG_FILE_TAKEN,
    AN_LOG_FILE_HELD,
    AN_LOG_FILE_ROWS_HELD,
    AN_LOG_FILE_REFUSED,
    AN_LOG_FILE_FAILS,
    AN_LOG_FILE_READ_AGAIN,
    AN_LOG_FILE_LEFT,
    AN_LOG_NAME_NO_FILE,
    AN_LOG_NAME_NO_PATTERN,
    AN_LOG_FOLDER_GONE,
    AN_LOG_FOLDER_BACK,
    AN_LOG_FOLDER_SCAN_ONLY,
    AN_LOG_EVENTS_LOST,
    AN_LOG_STATION_SILENT,
    AN_LOG_STATION_BACK,
    AN_LOG_COMMAND_DONE,
    AN_LOG_COMMAND_FAILED,
    AN_LOG_COMMAND_SAYS,
    AN_LOG_DISK_LOW,
    AN_LOG_DISK_BACK,
    AN_LOG_CLOCK_STEP,
    AN_LOG_STORE_BUSY,
    AN_LOG_STORE_FREE,
    AN_LOG_EVENTS
};

struct an_log {
    bool journal; /* the journal takes standard error: priorities, no time stamps */
    bool quiet, verbose;
    struct an_log_repeats {
        int64_t from_us; /* of the span in hand */
        unsigned said, left_out;
    } repeats[AN_LOG_EVENTS];
};

struct an_log an_log_open(bool quiet, bool verbose);
void an_log_say(struct an_log *log, enum an_log_event event, const char *format, ...)
    AN_PRINTF(3, 4);
/* Tells what was left out, once its span is over (or at once); call now and then. */
void an_log_settle(struct an_log *log, int64_t now_us, bool at_once);
const char *an_log_name(enum an_log_event event); /* "file.held" */

/* Is standard error the stream that JOURNAL_STREAM names ("device:inode")? */
bool an_log_is_journal(const char *journal_stream, unsigned long long device,
                       unsigned long long inode);

#endif
