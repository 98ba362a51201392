/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the parts of retention share within the store. One thread a handle. */
#ifndef AN_STORE_RETENTION_PARTS_H
#define AN_STORE_RETENTION_PARTS_H

#include "andamento/store/retention.h"
#include "store/handle.h"

#define AN_RETENTION_SCHEME "andamento retention 1\n" /* begins an act's digest */

/* Rows and hash of one table's part of a file's digest, from the rows that stand
 * (file_digest.c). */
AN_CHECKED enum an_status an_part_derive(struct an_store *store, int64_t file_id, enum an_part part,
                                         uint64_t *rows, struct an_sha256 *hash,
                                         struct an_error *err);
/* Where the readings of a file were dropped: their rows and hash as recorded then; else nothing is
 * changed. */
AN_CHECKED enum an_status an_part_recorded(struct an_store *store, int64_t file_id, uint64_t *rows,
                                           struct an_sha256 *hash, struct an_error *err);

/* Files that are due page by page (retention_due.c). */
struct an_due_file {
    int64_t file_id, age_us;
    bool readings, original; /* go */
    int64_t reading_rows, reading_bytes, original_rows, original_bytes;
    struct an_sha256 original_hash;
};
struct an_due;
AN_CHECKED enum an_status an_due_open(struct an_store *store, const struct an_keep_rule *rules,
                                      size_t count, int64_t now_us, struct an_due **due,
                                      struct an_error *err);
/* The next `most` files of which something goes; *count 0: there is no more. What is spared on the
 * way is added to the sum. */
AN_CHECKED enum an_status an_due_next(struct an_due *due, struct an_due_file *files, size_t most,
                                      size_t *count, struct an_retention_sum *sum,
                                      struct an_error *err);
void an_due_close(struct an_due *due); /* NULL is fine */

#endif
