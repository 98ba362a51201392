/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a file gives to the store while it is read: packed columns, held rows, pieces of the original.
 * They are kept here until the store is handed in, and go straight to it from then on; what is
 * stored does not depend on when that was. One thread at a time.
 */
#ifndef AN_INTAKE_OUTBOX_H
#define AN_INTAKE_OUTBOX_H

#include "andamento/store/store.h"
#include "store/original.h"
#include "store/packed.h"

#include <stddef.h>
#include <stdint.h>

/* Compressors of one thread, made when first needed and used for one file after the other. */
struct an_tools {
    struct an_packer *packer;
    struct an_original_writer *original;
};
void an_tools_close(struct an_tools *tools);                          /* all zeroes is fine */
struct an_original_writer *an_tools_original(struct an_tools *tools); /* NULL: no memory */

struct an_out_entry;

struct an_outbox {
    struct an_store *store; /* NULL while it is not handed in */
    int64_t file_id;
    struct an_tools *tools; /* of the thread that uses it */
    struct an_out_entry *first, *last;
    struct an_bytes packed; /* what was packed last */
    size_t bytes;           /* kept here */
    int64_t pieces;         /* of the original so far */
};

void an_outbox_close(struct an_outbox *outbox); /* all zeroes is fine */
/* Drops what is kept and takes the store away: for another reading. */
void an_outbox_empty(struct an_outbox *outbox);
/* Drops all but the pieces of the original. */
void an_outbox_keep_pieces(struct an_outbox *outbox);
/* From here on the store is written to; what was kept goes first. With `again` it stays here, too, so
 * that it can be handed in once more after that was undone. */
AN_CHECKED enum an_status an_outbox_hand_in(struct an_outbox *outbox, struct an_store *store,
                                            int64_t file_id, bool again, struct an_error *err);

/* Packs only; valid until the next call. */
AN_CHECKED enum an_status an_outbox_pack_numbers(struct an_outbox *outbox,
                                                 const struct an_number_block *cells,
                                                 struct an_bytes *packed, struct an_error *err);
AN_CHECKED enum an_status an_outbox_pack_texts(struct an_outbox *outbox, size_t rows,
                                               const uint32_t *codes, const struct an_bytes *texts,
                                               size_t text_count, struct an_bytes *packed,
                                               struct an_error *err);
/* Column names live as long as the outbox. */
AN_CHECKED enum an_status an_outbox_numbers(struct an_outbox *outbox, const char *column,
                                            size_t block, const struct an_number_block *cells,
                                            struct an_error *err);
AN_CHECKED enum an_status an_outbox_texts(struct an_outbox *outbox, const char *column,
                                          size_t block, size_t rows, const uint32_t *codes,
                                          const struct an_bytes *texts, size_t text_count,
                                          struct an_error *err);
AN_CHECKED enum an_status an_outbox_packed(struct an_outbox *outbox, const char *column,
                                           size_t block, size_t rows, struct an_bytes packed,
                                           struct an_error *err);
AN_CHECKED enum an_status an_outbox_held(struct an_outbox *outbox, const struct an_held *held,
                                         struct an_error *err);
/* The next piece of the original; its head (hash, form) is put by the one who knows it. */
AN_CHECKED enum an_status an_outbox_piece(struct an_outbox *outbox, struct an_bytes piece,
                                          struct an_error *err);

#endif
