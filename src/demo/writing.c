/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Folders and plain files of the demonstration.
 *
 * Responsible for: making them and telling in one line why one cannot be made. Must never write
 * over anything that exists. There are some 350 files; syncing each would take longer than all
 * the rest, and protect nothing that cannot be made again.
 */
#include "demo/writing.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

enum an_status an_demo_make_folder(const char *path, struct an_error *err)
{
    struct stat about;
    if (mkdir(path, 0777) == 0) {
        return AN_OK;
    }
    const int why = errno;
    if (why == EEXIST && stat(path, &about) == 0 && S_ISDIR(about.st_mode)) {
        return AN_OK;
    }
    return an_fail(err, AN_CANNOT_CREATE, "could not make the folder '%s': %s", path,
                   why == EEXIST ? "something else has that name" : strerror(why));
}

enum an_status an_demo_folder_empty(const char *path, struct an_error *err)
{
    DIR *const folder = opendir(path);
    if (!folder) {
        return an_fail(err, AN_CANNOT_CREATE, "could not look into the folder '%s': %s", path,
                       strerror(errno));
    }
    enum an_status st = AN_OK;
    for (const struct dirent *entry = readdir(folder); entry && !st; entry = readdir(folder)) {
        if (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0) {
            st = an_fail(err, AN_CANNOT_CREATE,
                         "the folder '%s' is not empty ('%s' is in it): name a new or an empty one",
                         path, entry->d_name);
        }
    }
    (void)closedir(folder);
    return st;
}

enum an_status an_demo_write_file(const char *path, const void *at, size_t length,
                                  struct an_error *err)
{
    const int file = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
    if (file < 0) {
        return an_fail(err, AN_CANNOT_CREATE, "could not make '%s': %s", path, strerror(errno));
    }
    const unsigned char *next = at;
    size_t left = length;
    int why = 0;
    while (left > 0 && why == 0) {
        const ssize_t written = write(file, next, left);
        if (written > 0) {
            next += written;
            left -= (size_t)written;
        } else if (written == 0 || errno != EINTR) {
            why = written == 0 ? ENOSPC : errno;
        }
    }
    if (close(file) != 0 && why == 0) {
        why = errno;
    }
    if (why != 0) {
        (void)unlink(path);
        return an_fail(err, AN_IO, "could not write '%s': %s", path, strerror(why));
    }
    return AN_OK;
}
