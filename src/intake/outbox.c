/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Keeps puts until there is a store to put them into. Must put them in the order in which they came.
 */
#include "intake/outbox.h"

#include "andamento/base/memory.h"

#include <string.h>

enum kind { BLOCK, HELD, PIECE };

struct an_out_entry {
    struct an_out_entry *next;
    enum kind kind;
    const char *column; /* of a block */
    size_t block, rows;
    struct an_held held; /* its texts lie in the bytes */
    size_t length;
    unsigned char bytes[];
};

void an_tools_close(struct an_tools *tools)
{
    an_packer_close(tools->packer);
    an_original_writer_close(tools->original);
    *tools = (struct an_tools){NULL, NULL};
}

struct an_original_writer *an_tools_original(struct an_tools *tools)
{
    if (!tools->original) {
        tools->original = an_original_writer_open();
    }
    return tools->original;
}

static void drop_all(struct an_outbox *outbox)
{
    for (struct an_out_entry *entry = outbox->first; entry;) {
        struct an_out_entry *next = entry->next;

        an_free(entry);
        entry = next;
    }
    outbox->first = outbox->last = NULL;
    outbox->bytes = 0;
}

void an_outbox_keep_pieces(struct an_outbox *outbox)
{
    struct an_out_entry **place = &outbox->first;

    outbox->last = NULL;
    while (*place) {
        struct an_out_entry *entry = *place;

        if (entry->kind == PIECE) {
            outbox->last = entry;
            place = &entry->next;
        } else {
            *place = entry->next;
            an_free(entry);
        }
    }
}

void an_outbox_close(struct an_outbox *outbox)
{
    drop_all(outbox);
    memset(outbox, 0, sizeof *outbox);
}

void an_outbox_empty(struct an_outbox *outbox)
{
    drop_all(outbox);
    outbox->store = NULL;
    outbox->file_id = 0;
    outbox->pieces = 0;
}

static enum an_status put(struct an_outbox *outbox, struct an_out_entry *entry,
                          struct an_error *err)
{
    const struct an_bytes bytes = {entry->bytes, entry->length};

    switch (entry->kind) {
    case BLOCK:
        return an_store_put_packed(outbox->store, outbox->file_id, entry->column, entry->block,
                                   entry->rows, bytes, err);
    case HELD:
        entry->held.file_id = outbox->file_id;
        return an_store_put_held(outbox->store, &entry->held, err);
    case PIECE:
    default:
        return an_store_put_original_piece(outbox->store, outbox->file_id, (int64_t)entry->block,
                                           bytes, err);
    }
}

enum an_status an_outbox_hand_in(struct an_outbox *outbox, struct an_store *store, int64_t file_id,
                                 bool again, struct an_error *err)
{
    enum an_status st = AN_OK;

    outbox->store = store;
    outbox->file_id = file_id;
    for (struct an_out_entry *entry = outbox->first; entry && !st; entry = entry->next) {
        st = put(outbox, entry, err);
    }
    if (!again) {
        drop_all(outbox);
    }
    return st;
}

static struct an_out_entry *add(struct an_outbox *outbox, enum kind kind, size_t length,
                                struct an_error *err)
{
    struct an_out_entry *entry = an_resize(NULL, sizeof *entry + length, 1);

    if (!entry) {
        (void)an_fail(err, AN_NO_MEMORY, "out of memory");
        return NULL;
    }
    memset(entry, 0, sizeof *entry);
    entry->kind = kind;
    entry->length = length;
    *(outbox->last ? &outbox->last->next : &outbox->first) = entry;
    outbox->last = entry;
    outbox->bytes += sizeof *entry + length;
    return entry;
}

/* ---- columns ---------------------------------------------------------------------------------- */
enum an_status an_outbox_packed(struct an_outbox *outbox, const char *column, size_t block,
                                size_t rows, struct an_bytes packed, struct an_error *err)
{
    if (outbox->store) {
        return an_store_put_packed(outbox->store, outbox->file_id, column, block, rows, packed,
                                   err);
    }
    struct an_out_entry *entry = add(outbox, BLOCK, packed.length, err);
    if (!entry) {
        return AN_NO_MEMORY;
    }
    memcpy(entry->bytes, packed.at, packed.length);
    entry->column = column;
    entry->block = block;
    entry->rows = rows;
    return AN_OK;
}

static enum an_status packed_or_not(enum an_status st, struct an_error *err)
{
    switch (st) {
    case AN_OK:
        return AN_OK;
    case AN_NO_MEMORY:
        return an_fail(err, st, "out of memory");
    default:
        return an_fail(err, AN_BUG, "readings cannot be packed");
    }
}

static bool has_packer(struct an_outbox *outbox)
{
    if (!outbox->tools->packer) {
        outbox->tools->packer = an_packer_open();
    }
    return outbox->tools->packer != NULL;
}

enum an_status an_outbox_pack_numbers(struct an_outbox *outbox, const struct an_number_block *cells,
                                      struct an_bytes *packed, struct an_error *err)
{
    return packed_or_not(has_packer(outbox) ? an_pack_numbers(outbox->tools->packer, cells, packed)
                                            : AN_NO_MEMORY,
                         err);
}

enum an_status an_outbox_pack_texts(struct an_outbox *outbox, size_t rows, const uint32_t *codes,
                                    const struct an_bytes *texts, size_t text_count,
                                    struct an_bytes *packed, struct an_error *err)
{
    return packed_or_not(has_packer(outbox) ? an_pack_texts(outbox->tools->packer, rows, codes,
                                                            texts, text_count, packed)
                                            : AN_NO_MEMORY,
                         err);
}

enum an_status an_outbox_numbers(struct an_outbox *outbox, const char *column, size_t block,
                                 const struct an_number_block *cells, struct an_error *err)
{
    const enum an_status st = an_outbox_pack_numbers(outbox, cells, &outbox->packed, err);

    return st ? st : an_outbox_packed(outbox, column, block, cells->rows, outbox->packed, err);
}

enum an_status an_outbox_texts(struct an_outbox *outbox, const char *column, size_t block,
                               size_t rows, const uint32_t *codes, const struct an_bytes *texts,
                               size_t text_count, struct an_error *err)
{
    const enum an_status st =
        an_outbox_pack_texts(outbox, rows, codes, texts, text_count, &outbox->packed, err);

    return st ? st : an_outbox_packed(outbox, column, block, rows, outbox->packed, err);
}

/* ---- held rows, pieces ------------------------------------------------------------------------ */
enum an_status an_outbox_held(struct an_outbox *outbox, const struct an_held *held,
                              struct an_error *err)
{
    struct an_held now = *held;

    if (outbox->store) {
        now.file_id = outbox->file_id;
        return an_store_put_held(outbox->store, &now, err);
    }
    const size_t why = held->why ? strlen(held->why) + 1 : 0;
    struct an_out_entry *entry = add(outbox, HELD, why + held->text.length, err);
    if (!entry) {
        return AN_NO_MEMORY;
    }
    entry->held = *held; /* code and column name outlive it */
    if (why) {
        memcpy(entry->bytes, held->why, why);
        entry->held.why = (const char *)entry->bytes;
    }
    if (held->text.length) {
        memcpy(entry->bytes + why, held->text.at, held->text.length);
    }
    entry->held.text.at = entry->bytes + why;
    return AN_OK;
}

enum an_status an_outbox_piece(struct an_outbox *outbox, struct an_bytes piece,
                               struct an_error *err)
{
    const int64_t number = outbox->pieces++;

    if (outbox->store) {
        return an_store_put_original_piece(outbox->store, outbox->file_id, number, piece, err);
    }
    struct an_out_entry *entry = add(outbox, PIECE, piece.length, err);
    if (!entry) {
        return AN_NO_MEMORY;
    }
    memcpy(entry->bytes, piece.at, piece.length);
    entry->block = (size_t)number;
    return AN_OK;
}
