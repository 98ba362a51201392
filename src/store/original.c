/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Originals: a file's bytes as one zstd frame, written and read in pieces so that memory does not
 * grow with the file. It must never hold a whole original.
 *
 * Pieces are keyed by the file's number, as its hash is not known before its last byte.
 */
#include "store/original.h"

#include "andamento/store/retention.h"
#include "store/handle.h"
#include "store/layout.h"

#include <string.h>
#include <zstd.h>

enum { PIECE_BYTES = 1 << 20, LEVEL = 1 };

struct an_original_writer {
    ZSTD_CCtx *compress;
    unsigned char *piece;
    size_t used;
};

/* The original that is put through a store's own calls. */
struct an_original_put {
    struct an_original_writer *writer;
    int64_t file_id; /* 0: none open */
    int64_t pieces, bytes;
};

/* ---- pieces ----------------------------------------------------------------------------------- */
struct an_original_writer *an_original_writer_open(void)
{
    struct an_original_writer *writer = an_alloc(1, sizeof *writer);

    if (writer) {
        writer->compress = ZSTD_createCCtx();
        writer->piece = an_resize(NULL, PIECE_BYTES, 1);
    }
    if (writer && (!writer->compress || !writer->piece)) {
        an_original_writer_close(writer);
        return NULL;
    }
    return writer;
}

void an_original_writer_close(struct an_original_writer *writer)
{
    if (writer) {
        (void)ZSTD_freeCCtx(writer->compress);
        an_free(writer->piece);
        an_free(writer);
    }
}

void an_original_writer_begin(struct an_original_writer *writer)
{
    (void)ZSTD_CCtx_reset(writer->compress, ZSTD_reset_session_and_parameters);
    (void)ZSTD_CCtx_setParameter(writer->compress, ZSTD_c_compressionLevel, LEVEL);
    (void)ZSTD_CCtx_setParameter(writer->compress, ZSTD_c_checksumFlag, 1);
    writer->used = 0;
}

/* Feeds the compressor until it has taken all (and, at the end, given all). */
static enum an_status feed(struct an_original_writer *writer, const void *at, size_t length,
                           ZSTD_EndDirective how, an_original_sink *sink, void *context,
                           struct an_error *err)
{
    ZSTD_inBuffer in = {at, length, 0};
    enum an_status st = AN_OK;
    bool done = false;
    while (!st && !done) {
        ZSTD_outBuffer out = {writer->piece, PIECE_BYTES, writer->used};
        const size_t left = ZSTD_compressStream2(writer->compress, &out, &in, how);
        writer->used = out.pos;
        if (ZSTD_isError(left)) {
            return an_fail(err, AN_NO_MEMORY, "keeping an original: %s", ZSTD_getErrorName(left));
        }
        done = how == ZSTD_e_end ? left == 0 : in.pos == in.size;
        if (writer->used == PIECE_BYTES || (done && how == ZSTD_e_end && writer->used)) {
            st = sink(context, (struct an_bytes){writer->piece, writer->used}, err);
            writer->used = 0;
        }
    }
    return st;
}

enum an_status an_original_writer_add(struct an_original_writer *writer, const void *at,
                                      size_t length, an_original_sink *sink, void *context,
                                      struct an_error *err)
{
    return feed(writer, at, length, ZSTD_e_continue, sink, context, err);
}

enum an_status an_original_writer_end(struct an_original_writer *writer, an_original_sink *sink,
                                      void *context, struct an_error *err)
{
    return feed(writer, "", 0, ZSTD_e_end, sink, context, err);
}

/* ---- putting ---------------------------------------------------------------------------------- */
void an_original_drop(struct an_store *store)
{
    if (store->original) {
        an_original_writer_close(store->original->writer);
        an_free(store->original);
        store->original = NULL;
    }
}

enum an_status an_store_put_original_piece(struct an_store *store, int64_t file_id, int64_t piece,
                                           struct an_bytes packed, struct an_error *err)
{
    static const char sql[] = "INSERT INTO original_piece (file_id, piece, packed)"
                              " VALUES ($1, $2, $3)";
    static const char doing[] = "keeping an original";
    struct an_query query;
    enum an_status st = an_store_may_put(store, doing, err);
    if (!st) {
        st = an_query_start(&query, store, sql, doing, err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    an_query_int(&query, piece);
    an_query_blob(&query, packed.at, packed.length);
    return an_query_run(&query, err);
}

enum an_status an_store_put_original(struct an_store *store, int64_t file_id,
                                     const struct an_sha256 *hash, int64_t bytes, int64_t pieces,
                                     int form, struct an_error *err)
{
    static const char sql[] = "INSERT INTO original (file_id, hash, bytes, pieces, form)"
                              " VALUES ($1, $2, $3, $4, $5)";
    static const char doing[] = "keeping an original";
    struct an_query query;
    enum an_status st = an_store_may_put(store, doing, err);
    if (!st) {
        st = an_query_start(&query, store, sql, doing, err);
    }
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    an_query_hash(&query, hash);
    an_query_int(&query, bytes);
    an_query_int(&query, pieces);
    an_query_int(&query, form);
    return an_query_run(&query, err);
}

enum an_status an_store_original_open(struct an_store *store, struct an_error *err)
{
    static const char doing[] = "keeping an original";
    int64_t file_id = 0;
    enum an_status st = an_store_may_put(store, doing, err);
    if (!st) {
        st = an_store_peek_id(store, AN_COUNT_FILE, &file_id, err);
    }
    if (st) {
        return st;
    }
    if (!store->original) {
        store->original = an_alloc(1, sizeof *store->original);
    }
    if (store->original && !store->original->writer) {
        store->original->writer = an_original_writer_open();
    }
    if (!store->original || !store->original->writer) {
        an_original_drop(store);
        return an_fail(err, AN_NO_MEMORY, "%s: memory ran out", doing);
    }
    an_original_writer_begin(store->original->writer);
    store->original->pieces = 0;
    store->original->bytes = 0;
    store->original->file_id = file_id;
    return AN_OK;
}

static enum an_status put_piece(void *context, struct an_bytes piece, struct an_error *err)
{
    struct an_store *store = context;

    return an_store_put_original_piece(store, store->original->file_id, store->original->pieces++,
                                       piece, err);
}

static enum an_status check_open(struct an_store *store, struct an_error *err)
{
    const enum an_status st = an_store_may_put(store, "keeping an original", err);
    if (!st && (!store->original || !store->original->file_id)) {
        return an_fail(err, AN_BUG, "keeping an original: none was begun");
    }
    return st;
}

enum an_status an_store_original_add(struct an_store *store, const void *at, size_t length,
                                     struct an_error *err)
{
    const enum an_status st = check_open(store, err);
    if (st) {
        return st;
    }
    store->original->bytes += (int64_t)length;
    return an_original_writer_add(store->original->writer, at, length, put_piece, store, err);
}

enum an_status an_store_original_close(struct an_store *store, int64_t file_id,
                                       const struct an_sha256 *hash, struct an_error *err)
{
    enum an_status st = check_open(store, err);
    if (!st && store->original->file_id != file_id) {
        st = an_fail(err, AN_BUG, "keeping an original: it was begun for file %lld, not %lld",
                     (long long)store->original->file_id, (long long)file_id);
    }
    if (!st) {
        st = an_original_writer_end(store->original->writer, put_piece, store, err);
    }
    if (!st) {
        st = an_store_put_original(store, file_id, hash, store->original->bytes,
                                   store->original->pieces, AN_FORM_FRAME, err);
        store->original->file_id = 0;
    }
    return st;
}

/* ---- reading ---------------------------------------------------------------------------------- */

struct reading {
    ZSTD_DCtx *expand;
    unsigned char *out;
    size_t out_bytes;
    int (*sink)(void *context, const void *at, size_t length);
    void *context;
    int64_t bytes, pieces;
    int form;
    bool frame_ended;
};

static enum an_status expand_columns(struct an_store *store, struct reading *reading,
                                     struct an_bytes packed, struct an_error *err)
{
    const enum an_status st =
        an_layout_expand(store->packer, packed, reading->sink, reading->context, &reading->bytes);
    switch (st) {
    case AN_OK:
        return AN_OK;
    case AN_IO:
        return an_fail(err, st, "handing on an original was stopped by its receiver");
    case AN_NO_MEMORY:
        return an_fail(err, st, "reading an original: memory ran out");
    default:
        return an_fail(err, AN_NO_STORE, "an original kept in '%s' is damaged", store->path);
    }
}

static enum an_status expand_piece(struct an_store *store, struct reading *reading,
                                   struct an_bytes packed, struct an_error *err)
{
    ZSTD_inBuffer in = {packed.at, packed.length, 0};
    bool full = true;
    while (in.pos < in.size || full) {
        ZSTD_outBuffer out = {reading->out, reading->out_bytes, 0};
        if (reading->frame_ended) {
            break;
        }
        const size_t left = ZSTD_decompressStream(reading->expand, &out, &in);
        if (ZSTD_isError(left)) {
            return an_fail(err, AN_NO_STORE, "an original kept in '%s' is damaged (%s)",
                           store->path, ZSTD_getErrorName(left));
        }
        reading->frame_ended = left == 0;
        full = out.pos == out.size;
        reading->bytes += (int64_t)out.pos;
        if (out.pos && reading->sink(reading->context, reading->out, out.pos)) {
            return an_fail(err, AN_IO, "handing on an original was stopped by its receiver");
        }
    }
    return in.pos == in.size
               ? AN_OK
               : an_fail(err, AN_NO_STORE, "an original kept in '%s' is damaged", store->path);
}

static enum an_status read_pieces(struct an_store *store, int64_t file_id, struct reading *reading,
                                  struct an_error *err)
{
    static const char sql[] = "SELECT packed FROM original_piece WHERE file_id = $1"
                              " ORDER BY piece";
    struct an_query query;
    bool more = false;
    enum an_status st = an_query_start(&query, store, sql, "reading an original", err);
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    while (!(st = an_query_row(&query, &more, err)) && more) {
        const struct an_bytes packed = {sqlite3_column_blob(query.stmt, 0),
                                        (size_t)sqlite3_column_bytes(query.stmt, 0)};
        reading->pieces++;
        st = reading->form == AN_FORM_COLUMNS ? expand_columns(store, reading, packed, err)
                                              : expand_piece(store, reading, packed, err);
        if (st) {
            break;
        }
    }
    an_query_end(&query);
    return st;
}

/* No original: was it dropped, and by whom? */
static enum an_status not_kept(struct an_store *store, const struct an_sha256 *hash,
                               struct an_error *err)
{
    struct an_arena *arena = an_arena_open();
    struct an_dropped dropped;
    bool found = false;
    enum an_status st = arena ? an_store_original_dropped(store, hash, arena, &dropped, &found, err)
                              : an_fail(err, AN_NO_MEMORY, "finding an original: memory ran out");

    if (!st) {
        const char *text = found ? an_dropped_text(&dropped, arena) : NULL;

        st = an_fail(err, AN_NOT_FOUND,
                     text ? "its original is %s" : "no original with that hash is kept in '%s'",
                     text ? text : store->path);
    }
    an_arena_close(arena);
    return st;
}

/* Reads the original whose record the query finds: file_id, bytes, form, pieces. Ends the query; *found
 * false, and AN_OK, if there is none. */
static enum an_status read_found(struct an_store *store, struct an_query *query, bool *found,
                                 int (*sink)(void *context, const void *at, size_t length),
                                 void *context, struct an_error *err)
{
    enum an_status st = an_query_row(query, found, err);

    if (st || !*found) {
        return st;
    }
    const int64_t file_id = an_column_int(query, 0);
    const int64_t bytes = an_column_int(query, 1);
    const int form = (int)an_column_int(query, 2);
    const int64_t pieces = an_column_int(query, 3);
    an_query_end(query);
    struct reading reading = {
        .form = form,
        .expand = ZSTD_createDCtx(),
        .out_bytes = ZSTD_DStreamOutSize(),
        .sink = sink,
        .context = context,
    };
    reading.out = an_alloc(reading.out_bytes, 1);
    if (!reading.expand || !reading.out) {
        st = an_fail(err, AN_NO_MEMORY, "reading an original: memory ran out");
    } else {
        st = read_pieces(store, file_id, &reading, err);
    }
    const bool ended = form == AN_FORM_COLUMNS ? reading.pieces == pieces : reading.frame_ended;
    if (!st && (!ended || reading.bytes != bytes)) {
        st = an_fail(err, AN_NO_STORE, "an original kept in '%s' is cut off", store->path);
    }
    (void)ZSTD_freeDCtx(reading.expand);
    an_free(reading.out);
    return st;
}

enum an_status an_store_original_read(struct an_store *store, const struct an_sha256 *hash,
                                      int (*sink)(void *context, const void *at, size_t length),
                                      void *context, struct an_error *err)
{
    static const char sql[] = "SELECT file_id, bytes, form, pieces FROM original WHERE hash = $1"
                              " ORDER BY file_id LIMIT 1";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "finding an original", err);
    if (st) {
        return st;
    }
    an_query_hash(&query, hash);
    st = read_found(store, &query, &found, sink, context, err);
    return st || found ? st : not_kept(store, hash, err);
}

enum an_status an_store_original_read_of(struct an_store *store, int64_t file_id,
                                         int (*sink)(void *context, const void *at, size_t length),
                                         void *context, struct an_error *err)
{
    static const char sql[] = "SELECT file_id, bytes, form, pieces FROM original"
                              " WHERE file_id = $1";
    struct an_query query;
    bool found = false;
    enum an_status st = an_query_start(&query, store, sql, "finding an original", err);
    if (st) {
        return st;
    }
    an_query_int(&query, file_id);
    st = read_found(store, &query, &found, sink, context, err);
    return st || found ? st
                       : an_fail(err, AN_NOT_FOUND, "no original of file %lld is kept in '%s'",
                                 (long long)file_id, store->path);
}
