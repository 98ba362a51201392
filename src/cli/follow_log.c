/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Writes the log: a priority for the journal or a time for a terminal, then name and text. */
#include "cli/follow_log.h"

#include "andamento/base/instant.h"
#include "andamento/base/process.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum { ERROR = 3, WARNING = 4, NOTICE = 5, INFO = 6, DETAIL = 7 }; /* as in syslog(3) */
enum { MOST_A_SPAN = 20 };
#define SPAN_US INT64_C(10000000)

static const struct {
    const char *name;
    int level;
} events[AN_LOG_EVENTS] = {
    [AN_LOG_STARTED] = {"collector.started", INFO},
    [AN_LOG_READY] = {"collector.ready", INFO},
    [AN_LOG_STOPPING] = {"collector.stopping", NOTICE},
    [AN_LOG_STOPPED] = {"collector.stopped", INFO},
    [AN_LOG_FAILED] = {"collector.failed", ERROR},
    [AN_LOG_LINE_TAKEN] = {"line.taken", NOTICE},
    [AN_LOG_LINE_SAME] = {"line.same", INFO},
    [AN_LOG_LINE_REFUSED] = {"line.refused", ERROR},
    [AN_LOG_LINE_MISTAKE] = {"line.mistake", ERROR},
    [AN_LOG_FILES_TAKEN] = {"files.taken", INFO},
    [AN_LOG_FILE_TAKEN] = {"file.taken", DETAIL},
    [AN_LOG_FILE_HELD] = {"file.held", WARNING},
    [AN_LOG_FILE_ROWS_HELD] = {"file.rows-held", WARNING},
    [AN_LOG_FILE_REFUSED] = {"file.refused", WARNING},
    [AN_LOG_FILE_FAILS] = {"file.fails", WARNING},
    [AN_LOG_FILE_READ_AGAIN] = {"file.readable", NOTICE},
    [AN_LOG_FILE_LEFT] = {"file.left", WARNING},
    [AN_LOG_NAME_NO_FILE] = {"name.no-file", WARNING},
    [AN_LOG_NAME_NO_PATTERN] = {"name.no-pattern", NOTICE},
    [AN_LOG_FOLDER_GONE] = {"folder.gone", WARNING},
    [AN_LOG_FOLDER_BACK] = {"folder.back", NOTICE},
    [AN_LOG_FOLDER_SCAN_ONLY] = {"folder.scan-only", NOTICE},
    [AN_LOG_EVENTS_LOST] = {"events.lost", NOTICE},
    [AN_LOG_STATION_SILENT] = {"station.silent", WARNING},
    [AN_LOG_STATION_BACK] = {"station.back", NOTICE},
    [AN_LOG_COMMAND_DONE] = {"command.done", INFO},
    [AN_LOG_COMMAND_FAILED] = {"command.failed", ERROR},
    [AN_LOG_COMMAND_SAYS] = {"command.says", INFO},
    [AN_LOG_DISK_LOW] = {"disk.low", ERROR},
    [AN_LOG_DISK_BACK] = {"disk.back", NOTICE},
    [AN_LOG_CLOCK_STEP] = {"clock.step", WARNING},
    [AN_LOG_STORE_BUSY] = {"store.busy", NOTICE},
    [AN_LOG_STORE_FREE] = {"store.free", NOTICE},
};

const char *an_log_name(enum an_log_event event)
{
    return events[event].name;
}

bool an_log_is_journal(const char *journal_stream, unsigned long long device,
                       unsigned long long inode)
{
    char *end = NULL;
    if (!journal_stream || journal_stream[0] < '0' || journal_stream[0] > '9') {
        return false;
    }
    const bool same_device = strtoull(journal_stream, &end, 10) == device;
    return same_device && *end == ':' && end[1] >= '0' && end[1] <= '9' &&
           strtoull(end + 1, &end, 10) == inode && *end == '\0';
}

struct an_log an_log_open(bool quiet, bool verbose)
{
    struct an_log log = {.quiet = quiet, .verbose = verbose};
    struct stat state;
    log.journal = fstat(STDERR_FILENO, &state) == 0 &&
                  an_log_is_journal(getenv("JOURNAL_STREAM"), (unsigned long long)state.st_dev,
                                    (unsigned long long)state.st_ino);
    return log;
}

/* In one piece, so that lines of two writers do not mix. */
static void put(const struct an_log *log, enum an_log_event event, const char *text)
{
    char line[1600];
    char time[40];
    int length;
    if (log->journal) {
        length = snprintf(line, sizeof line, "<%d>%s: %s\n", events[event].level,
                          events[event].name, text);
    } else {
        const int64_t now_us = an_clock_wall_us();
        length = snprintf(line, sizeof line, "%s %s: %s\n",
                          an_instant_rfc3339(now_us - now_us % AN_SECOND_US, time),
                          events[event].name, text);
    }
    if (length >= (int)sizeof line) {
        length = (int)sizeof line - 1;
        line[length - 1] = '\n';
    }
    (void)fwrite(line, 1, (size_t)length, stderr);
    (void)fflush(stderr);
}

static void settle_one(struct an_log *log, enum an_log_event event, int64_t now_us)
{
    struct an_log_repeats *repeats = &log->repeats[event];
    if (repeats->left_out) {
        char text[80];
        (void)snprintf(text, sizeof text, "and %u more like this within %lld s", repeats->left_out,
                       (long long)(SPAN_US / 1000000));
        put(log, event, text);
    }
    *repeats = (struct an_log_repeats){.from_us = now_us};
}

void an_log_settle(struct an_log *log, int64_t now_us, bool at_once)
{
    for (int event = 0; event < AN_LOG_EVENTS; event++) {
        if (at_once || now_us - log->repeats[event].from_us >= SPAN_US) {
            settle_one(log, (enum an_log_event)event, now_us);
        }
    }
}

void an_log_say(struct an_log *log, enum an_log_event event, const char *format, ...)
{
    struct an_log_repeats *repeats = &log->repeats[event];
    const int64_t now_us = an_clock_monotonic_us();
    char text[1400];
    va_list args;
    if ((events[event].level >= DETAIL && !log->verbose) ||
        (events[event].level >= INFO && log->quiet)) {
        return;
    }
    if (now_us - repeats->from_us >= SPAN_US) {
        settle_one(log, event, now_us);
    }
    if (repeats->said >= MOST_A_SPAN && events[event].level < DETAIL) {
        repeats->left_out++;
        return;
    }
    repeats->said++;
    va_start(args, format);
    (void)vsnprintf(text, sizeof text, format, args);
    va_end(args);
    for (char *c = text; *c; c++) { /* one event, one line */
        *c = *c == '\n' || *c == '\r' ? ' ' : *c;
    }
    put(log, event, text);
}
