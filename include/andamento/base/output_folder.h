/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A folder of files that appears whole or not at all: written beside its place under a temporary
 * name, each file synced, then renamed. A place that is taken is refused. Of each file that was
 * written the SHA-256 is noted. One thread a folder.
 */
#ifndef ANDAMENTO_BASE_OUTPUT_FOLDER_H
#define ANDAMENTO_BASE_OUTPUT_FOLDER_H

#include "andamento/base/digest.h"
#include "andamento/base/status.h"
#include "andamento/base/text.h"

#include <stddef.h>

struct an_output_folder;
/* AN_CANNOT_CREATE: something is there already, or it cannot be made; AN_NO_MEMORY. */
AN_CHECKED enum an_status an_output_folder_open(const char *path, struct an_output_folder **folder,
                                                struct an_error *err);
/* A folder within, one level deep. */
AN_CHECKED enum an_status an_output_folder_within(struct an_output_folder *folder, const char *name,
                                                  struct an_error *err);
/* Writes it complete, syncs, gives it its place. On failure nothing is left behind. Frees. */
AN_CHECKED enum an_status an_output_folder_commit(struct an_output_folder *folder,
                                                  struct an_error *err);
void an_output_folder_abandon(struct an_output_folder *folder); /* removes, frees; NULL is fine */

/* A line "SHA-256, two blanks, name" for each file closed so far, as sha256sum -c reads it. */
const struct an_text *an_output_folder_sums(const struct an_output_folder *folder);

struct an_folder_file; /* several may be open at once */
/* name: within the folder, "a" or "folder/a". AN_CANNOT_CREATE if it is there already. */
AN_CHECKED enum an_status an_folder_file_open(struct an_output_folder *folder, const char *name,
                                              struct an_folder_file **file, struct an_error *err);
/* AN_IO; the first failure is kept and told by close. */
enum an_status an_folder_file_write(struct an_folder_file *file, const void *at, size_t length);
/* Syncs, closes, frees; hash (or NULL) is of what was written. AN_IO, AN_NO_MEMORY. */
AN_CHECKED enum an_status an_folder_file_close(struct an_folder_file *file, struct an_sha256 *hash,
                                               struct an_error *err);
void an_folder_file_drop(struct an_folder_file *file); /* closes without a word; NULL is fine */
/* A whole file. */
AN_CHECKED enum an_status an_folder_file_put(struct an_output_folder *folder, const char *name,
                                             const void *at, size_t length, struct an_error *err);

#endif
