/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A file that appears whole or not at all: written beside its place under a temporary name,
 * synced, renamed. Nothing is left behind on failure. A path that is there already and no regular
 * file (a device, a pipe) is written to as it is. One thread a file.
 */
#ifndef ANDAMENTO_BASE_OUTPUT_FILE_H
#define ANDAMENTO_BASE_OUTPUT_FILE_H

#include "andamento/base/status.h"

#include <stddef.h>

struct an_output_file;
/* AN_CANNOT_CREATE (text names the path and the reason) or AN_NO_MEMORY. */
AN_CHECKED enum an_status an_output_file_open(const char *path, struct an_output_file **file,
                                              struct an_error *err);
/* AN_IO; the first failure is kept and told again by commit. */
enum an_status an_output_file_write(struct an_output_file *file, const void *at, size_t length);
/* Sync, rename, close, free. On failure the temporary file is removed. */
AN_CHECKED enum an_status an_output_file_commit(struct an_output_file *file, struct an_error *err);
void an_output_file_abandon(struct an_output_file *file); /* removes and frees; NULL is fine */

#endif
