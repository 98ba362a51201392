/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the collector says of folders and files, and its one line of status. */
#include "cli/follow.h"

#include <string.h>

void an_follow_notice(void *follow, enum an_spool_notice what, const char *text)
{
    static const enum an_log_event events[] = {
        [AN_SPOOL_FOLDER_GONE] = AN_LOG_FOLDER_GONE,
        [AN_SPOOL_FOLDER_BACK] = AN_LOG_FOLDER_BACK,
        [AN_SPOOL_SCAN_ONLY] = AN_LOG_FOLDER_SCAN_ONLY,
        [AN_SPOOL_QUEUE_FULL] = AN_LOG_EVENTS_LOST,
        [AN_SPOOL_NOT_A_FILE] = AN_LOG_NAME_NO_FILE,
        [AN_SPOOL_NO_PATTERN] = AN_LOG_NAME_NO_PATTERN,
        [AN_SPOOL_FILE_FAILS] = AN_LOG_FILE_FAILS,
        [AN_SPOOL_FILE_AGAIN] = AN_LOG_FILE_READ_AGAIN,
        [AN_SPOOL_FILE_GONE] = AN_LOG_FILE_LEFT,
    };
    struct an_follow *f = follow;
    an_log_say(&f->log, events[what], "%s", text);
}

void an_follow_say_file(struct an_follow *f, const char *path, const struct an_take_result *result)
{
    const struct an_file *file = &result->file;
    struct an_text shown = {0};
    an_text_add_visible(&shown, an_bytes_of(path), 600);
    const char *name = an_text_of(&shown);
    switch (result->how) {
    case AN_HELD_WHOLE:
        an_log_say(&f->log, AN_LOG_FILE_HELD, "%s:%llu:%llu: file held, %s: %s", name,
                   (unsigned long long)(file->why_line ? file->why_line : 1),
                   (unsigned long long)(file->why_column ? file->why_column : 1), file->code,
                   file->why);
        break;
    case AN_TAKEN:
        if (file->held > 0) {
            an_log_say(&f->log, AN_LOG_FILE_ROWS_HELD,
                       "%s: %lld row%s held of %lld; list them with 'andamento held --file %lld'",
                       name, (long long)file->held, an_plural((size_t)file->held, "", "s"),
                       (long long)file->rows, (long long)file->file_id);
        }
        an_log_say(&f->log, AN_LOG_FILE_TAKEN, "%s: taken, %lld rows", name, (long long)file->rows);
        break;
    case AN_SEEN_BEFORE:
        an_log_say(&f->log, AN_LOG_FILE_TAKEN, "%s: seen before", name);
        break;
    case AN_NO_STATION_FITS:
        an_log_say(&f->log, AN_LOG_NAME_NO_PATTERN, "%s: no station's folder and pattern fit",
                   name);
        break;
    }
    an_text_free(&shown);
}

/* first: a state that stands before, or NULL. */
void an_follow_status(struct an_follow *f, const char *first)
{
    const struct an_spool_counts counts = an_spool_counts(f->spool);
    size_t silent = 0;
    for (size_t k = 0; k < f->cli->line->station_count; k++) {
        silent += f->stations[k].silent;
    }
    an_notify_send(&f->notify,
                   "%s%sSTATUS=%s%zu of %zu folders, %zu files taken, %zu held, %zu to come, "
                   "%zu not readable, %zu stations silent, %zu new signals",
                   first ? first : "", first ? "\n" : "", f->disk_low ? "disk low; " : "",
                   counts.folders - counts.folders_gone, counts.folders, f->taken, f->held,
                   counts.waiting + counts.whole, counts.failing, silent, f->signals);
}
