/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * An original on its way into pieces: one zstd frame, cut. One thread a writer; it needs no store, so
 * any thread may make pieces.
 */
#ifndef AN_STORE_ORIGINAL_H
#define AN_STORE_ORIGINAL_H

#include "andamento/base/bytes.h"
#include "andamento/base/status.h"

#include <stddef.h>

struct an_original_writer;
/* Takes a piece; what it says ends the writing. */
typedef enum an_status an_original_sink(void *context, struct an_bytes piece, struct an_error *err);

struct an_original_writer *an_original_writer_open(void);         /* NULL when memory is out */
void an_original_writer_close(struct an_original_writer *writer); /* NULL is fine */
/* For the next original. */
void an_original_writer_begin(struct an_original_writer *writer);
AN_CHECKED enum an_status an_original_writer_add(struct an_original_writer *writer, const void *at,
                                                 size_t length, an_original_sink *sink,
                                                 void *context, struct an_error *err);
AN_CHECKED enum an_status an_original_writer_end(struct an_original_writer *writer,
                                                 an_original_sink *sink, void *context,
                                                 struct an_error *err);

struct an_store;
void an_original_drop(struct an_store *store); /* frees the store's own */

#endif
