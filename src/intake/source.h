/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A station's file as bytes: opened once, read in pieces. One thread a source. */
#ifndef AN_INTAKE_SOURCE_H
#define AN_INTAKE_SOURCE_H

#include "andamento/base/digest.h"
#include "andamento/base/status.h"
#include "andamento/base/text.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct an_source {
    int file; /* descriptor; -1 closed */
    const char *path;
    uint64_t bytes; /* length when opened */
    int64_t modified_us;
};

/* AN_NOT_FOUND, AN_DENIED, AN_IO; AN_BAD_INPUT if it is not a regular file (links too: where they
 * point to is not what was asked for). */
AN_CHECKED enum an_status an_source_open(struct an_source *source, const char *path,
                                         struct an_error *err);
void an_source_close(struct an_source *source);
AN_CHECKED enum an_status an_source_rewind(struct an_source *source, struct an_error *err);
/* Where it is being read, and going there. */
int64_t an_source_place(const struct an_source *source);
AN_CHECKED enum an_status an_source_go(struct an_source *source, int64_t place,
                                       struct an_error *err);
/* Reads up to `most` bytes; *length 0 at the end. */
AN_CHECKED enum an_status an_source_read(struct an_source *source, void *at, size_t most,
                                         size_t *length, struct an_error *err);
/* The first bytes, wherever reading is. */
AN_CHECKED enum an_status an_source_peek(struct an_source *source, void *at, size_t most,
                                         size_t *length, struct an_error *err);
/* AN_IO if its length or time is no longer what it was when it was opened. */
AN_CHECKED enum an_status an_source_unchanged(struct an_source *source, struct an_error *err);
/* The hash of the whole file; rewinds before and after. */
AN_CHECKED enum an_status an_source_hash(struct an_source *source, void *buffer, size_t size,
                                         struct an_sha256 *hash, struct an_error *err);

/* The base name, made safe: control characters and broken UTF-8 become '_', a leading dash gets one
 * before it. Returns whether anything had to be changed. */
bool an_source_safe_name(const char *path, struct an_text *name);

#endif
