/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Folders and plain files of the demonstration. Any thread. */
#ifndef AN_DEMO_WRITING_H
#define AN_DEMO_WRITING_H

#include "andamento/base/status.h"

#include <stddef.h>

/* Makes the folder unless it is there. AN_CANNOT_CREATE. */
AN_CHECKED enum an_status an_demo_make_folder(const char *path, struct an_error *err);
/* AN_CANNOT_CREATE if anything is in it, AN_IO if it cannot be read. */
AN_CHECKED enum an_status an_demo_folder_empty(const char *path, struct an_error *err);
/* A new file; one that cannot be written whole is removed. Not synced: these files can be made
 * again from their seed. AN_CANNOT_CREATE, AN_IO. */
AN_CHECKED enum an_status an_demo_write_file(const char *path, const void *at, size_t length,
                                             struct an_error *err);

#endif
