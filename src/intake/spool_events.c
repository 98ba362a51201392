/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The kernel's events of the spool folders, as hints. They come from local disks only: a share
 * tells of what this machine does there and not of what the station does.
 */
#include "intake/spool_inner.h"

#include <errno.h>
#include <string.h>
#include <sys/inotify.h>
#include <sys/statfs.h>
#include <unistd.h>

/* Magic numbers as in statfs(2). */
static const struct {
    unsigned long magic;
    const char *name;
} networks[] = {
    {0x6969, "NFS"},        {0x517B, "SMB"},       {0xFF534D42, "CIFS"},  {0xFE534D42, "SMB 2"},
    {0x65735546, "FUSE"},   {0x01021997, "9P"},    {0x00C36400, "Ceph"},  {0x5346414F, "AFS"},
    {0x73757245, "Coda"},   {0x564C, "NCP"},       {0x7461636F, "OCFS2"}, {0x01161970, "GFS2"},
    {0x0BD00BD0, "Lustre"}, {0x19830326, "FHGFS"},
};

static const char *network_of(int descriptor)
{
    struct statfs state;
    if (fstatfs(descriptor, &state) == 0) {
        for (size_t k = 0; k < sizeof networks / sizeof *networks; k++) {
            if (((unsigned long)state.f_type & 0xFFFFFFFFUL) == networks[k].magic) {
                return networks[k].name;
            }
        }
    }
    return NULL;
}

static void scan_only(struct an_spool *spool, struct an_spool_folder *folder, const char *why)
{
    folder->scan_only = true;
    if (!folder->scan_only_told) {
        char span[32];
        an_spool_say(spool, AN_SPOOL_SCAN_ONLY, "%s: read through every %s only: %s", folder->path,
                     an_spool_span(spool->options.scan_us, span), why);
    }
    folder->scan_only_told = true;
}

void an_spool_watch(struct an_spool *spool, struct an_spool_folder *folder, int descriptor)
{
    const char *network = network_of(descriptor);
    if (folder->watch >= 0) {
        (void)inotify_rm_watch(spool->events, folder->watch);
        folder->watch = -1;
    }
    if (spool->options.no_events) {
        folder->scan_only = true; /* it was asked for: no need to say so */
        return;
    }
    if (network) {
        char why[80] = "it lies on a network file system (";
        strncat(why, network, 20);
        strncat(why, "), which sends no events", 30);
        scan_only(spool, folder, why);
        return;
    }
    if (spool->events >= 0) {
        folder->watch = inotify_add_watch(spool->events, folder->path,
                                          IN_CLOSE_WRITE | IN_MOVED_TO | IN_CREATE | IN_ATTRIB |
                                              IN_DELETE_SELF | IN_MOVE_SELF | IN_ONLYDIR);
    }
    if (folder->watch < 0) {
        scan_only(spool, folder, "the system has no more watches for folders");
        return;
    }
    folder->scan_only = folder->scan_only_told = false;
}

static enum an_hint hint_of(uint32_t mask)
{
    return mask & IN_MOVED_TO      ? AN_HINT_RENAMED
           : mask & IN_CLOSE_WRITE ? AN_HINT_CLOSED
                                   : AN_HINT_LOOK;
}

static enum an_status meet(struct an_spool *spool, const struct inotify_event *event,
                           int64_t now_us, struct an_error *err)
{
    if (event->mask & IN_Q_OVERFLOW) {
        an_spool_say(spool, AN_SPOOL_QUEUE_FULL,
                     "events were lost because too many came at once; every folder is read "
                     "through");
        an_spool_scan_soon(spool);
        return AN_OK;
    }
    for (size_t k = 0; k < spool->folder_count; k++) {
        struct an_spool_folder *folder = &spool->folders[k];
        if (folder->watch != event->wd) {
            continue;
        }
        if (event->mask & (IN_IGNORED | IN_UNMOUNT | IN_DELETE_SELF | IN_MOVE_SELF)) {
            if (event->mask & IN_MOVE_SELF) { /* the watch went with it */
                (void)inotify_rm_watch(spool->events, folder->watch);
            }
            folder->watch = -1;
            folder->scan_now = true;
        } else if (event->len > 0) {
            return an_spool_hint(spool, folder, event->name, hint_of(event->mask), now_us, err);
        } else {
            folder->scan_now = true; /* the folder's own rights or times */
        }
    }
    return AN_OK;
}

enum an_status an_spool_read_events(struct an_spool *spool, int64_t now_us, struct an_error *err)
{
    union {
        struct inotify_event event; /* for its alignment */
        char bytes[16384];
    } buffer;
    enum an_status st = AN_OK;
    for (int rounds = 0; !st && spool->events >= 0 && rounds < 4096; rounds++) {
        const ssize_t got = read(spool->events, buffer.bytes, sizeof buffer.bytes);
        if (got <= 0) {
            if (got < 0 && errno == EINTR) {
                continue;
            }
            break;
        }
        for (ssize_t at = 0; !st && at < got;) {
            const void *start = buffer.bytes + at;
            const struct inotify_event *event = start;
            st = meet(spool, event, now_us, err);
            at += (ssize_t)(sizeof *event + event->len);
        }
    }
    return st;
}
