/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Reads a file from its first byte to its last. Must never hold more of it than a piece and a
 * record.
 *
 * The hard idea: two things are known only at the end of a file: which hour that came twice a local
 * time means, and which visits were taken before. Both are rare. So a file is read as if neither
 * came up, and read again with what was found if one did.
 */
#include "intake/reading.h"

#include "intake/ordinary.h"

#include <inttypes.h>
#include <string.h>

/* ---- open, close, begin ----------------------------------------------------------------------- */
enum an_status an_reading_open(struct an_reading *reading, struct an_error *err)
{
    const struct an_plan *plan = reading->plan;

    reading->row.cells = an_alloc(plan->column_count + 1, sizeof *reading->row.cells);
    reading->preamble = an_alloc(plan->preamble_count + 1, sizeof *reading->preamble);
    reading->preamble_found = an_alloc(plan->preamble_count + 1, sizeof(bool));
    reading->link_ids = an_alloc(plan->link_count + 1, sizeof *reading->link_ids);
    if (!reading->row.cells || !reading->preamble || !reading->preamble_found ||
        !reading->link_ids) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    if (!reading->tools) {
        reading->tools = &reading->own_tools;
    }
    return an_fields_open(&reading->fields, err);
}

static void close_parts(struct an_reading *reading)
{
    an_finish_close(&reading->finish);
    an_stays_close(&reading->stays);
    an_columns_close(&reading->columns);
    an_header_close(&reading->header);
    an_ordinary_close(reading->ordinary);
    reading->ordinary = NULL;
    reading->ordinary_tried = false;
}

static void free_memo(struct an_id_memo *memo)
{
    an_text_free(&memo->raw);
    an_text_free(&memo->serial);
}

void an_reading_close(struct an_reading *reading)
{
    close_parts(reading);
    for (size_t i = 0; reading->preamble && i < reading->plan->preamble_count; i++) {
        an_text_free(&reading->preamble[i]);
    }
    for (size_t i = 0; reading->link_ids && i < reading->plan->link_count; i++) {
        free_memo(&reading->link_ids[i]);
    }
    free_memo(&reading->id);
    an_free(reading->link_ids);
    an_free(reading->preamble);
    an_free(reading->preamble_found);
    an_free(reading->row.cells);
    an_free(reading->piece);
    an_outbox_close(&reading->outbox);
    an_tools_close(&reading->own_tools);
    an_mirror_close(&reading->mirror);
    an_rowmap_close(&reading->map);
    an_look_close(&reading->look);
    an_watch_close(&reading->watch);
    an_free(reading->let_in);
    an_fields_close(&reading->fields);
    an_lines_free(&reading->lines);
    an_text_free(&reading->line_text);
}

void an_reading_take_back(struct an_reading *reading)
{
    an_outbox_empty(&reading->outbox);
    reading->store = NULL;
    reading->file_id = 0;
}

static enum an_status begin(struct an_reading *reading, struct an_error *err)
{
    const struct an_plan *plan = reading->plan;
    const struct an_dialect *dialect = &plan->station->dialect;

    close_parts(reading);
    reading->outbox.tools = reading->tools;
    an_reading_take_back(reading);
    memset(&reading->notes, 0, sizeof reading->notes);
    memset(&reading->whole, 0, sizeof reading->whole);
    memset(&reading->counts, 0, sizeof reading->counts);
    for (size_t i = 0; i < plan->preamble_count; i++) {
        an_text_clear(&reading->preamble[i]);
        reading->preamble_found[i] = false;
    }
    reading->first_us = reading->last_us = AN_NO_INSTANT;
    reading->read_again = reading->put_again = false;
    reading->units_read = reading->rows_begun = reading->at_end = reading->has_footer = false;
    reading->header_seen = reading->lost = false;
    reading->footer_rows = 0;
    reading->accepted = 0;
    reading->fields_over = 0;
    reading->preamble_left = dialect->preamble_lines;
    reading->id.is_set = false;
    an_when_begin(&reading->when);
    an_rowmap_begin(&reading->map);
    if (!an_look_begin(&reading->look)) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    an_watch_close(&reading->watch);
    memset(&reading->trait, 0, sizeof reading->trait);
    reading->only_next = 0;
    reading->passed = 0;
    reading->let_in_count = 0;
    an_lines_begin(&reading->lines, dialect->delimiter, dialect->trim);
    reading->bytes = 0;
    reading->no_text = false;
    an_mirror_close(&reading->mirror);
    reading->finish = (struct an_finish){.plan = plan,
                                         .map = &reading->map,
                                         .stays = &reading->stays,
                                         .look = &reading->look,
                                         .watch = &reading->watch,
                                         .notes = &reading->notes,
                                         .as_is = reading->as_is};
    enum an_status st = an_fields_begin(&reading->fields, dialect->delimiter, dialect->trim, err);
    st = st ? st : an_stays_open(&reading->stays, plan, err);
    st = st ? st : an_columns_open(&reading->columns, plan, reading->tuning->block_rows, err);
    return st ? st : an_finish_open(&reading->finish, err);
}

/* ---- the end ---------------------------------------------------------------------------------- */
static void complain_broken(struct an_reading *reading)
{
    const struct an_decoder *decoder = &reading->decoder;

    (void)an_complain(&reading->whole, AN_HOLD_ENCODING_INVALID, reading->lines.line, 0, NULL,
                      "byte %" PRIu64 " of the file is no character of %s", decoder->offset,
                      decoder->coding == AN_CODING_LATIN1 ? "latin-1 (windows-1252 may be meant)"
                      : decoder->coding == AN_CODING_1252 ? "windows-1252"
                                                          : "UTF-16");
}

static bool check_whole(struct an_reading *reading)
{
    const struct an_dialect *dialect = &reading->plan->station->dialect;
    const struct an_counts *counts = &reading->counts;
    const int64_t rows = counts->rows - counts->blank;
    struct an_complaint *whole = &reading->whole;

    if (reading->decoder.broken) {
        complain_broken(reading);
        return false;
    }
    if (!reading->header.is_read) {
        return an_complain(whole, AN_HOLD_HEADER_MISSING, 0, 0, NULL,
                           "the file ends before a header line");
    }
    if (dialect->end_marker && !reading->at_end) {
        return an_complain(whole, AN_HOLD_END_MISSING, reading->lines.line, 0, NULL,
                           "the file does not end with \"%s\"", dialect->end_marker);
    }
    if (reading->plan->footer.is_set && !reading->has_footer) {
        return an_complain(whole, AN_HOLD_FOOTER_MISSING, reading->lines.line, 0, NULL,
                           "no footer \"%s\" after %" PRId64 " row%s", dialect->footer, rows,
                           rows == 1 ? "" : "s");
    }
    if (reading->has_footer && reading->footer_rows != rows) {
        return an_complain(whole, AN_HOLD_FOOTER_COUNT, reading->footer_line, 0, NULL,
                           "the footer counts %" PRId64 " rows, the file has %" PRId64,
                           reading->footer_rows, rows);
    }
    if (reading->fields_over > 0 && 2 * reading->fields_over >= rows) {
        return an_complain(whole, AN_HOLD_DECIMAL_COMMA, reading->first_over.line, 0, NULL,
                           "%" PRId64 " of %" PRId64 " rows have too many fields, as if decimal "
                           "commas parted them",
                           reading->fields_over, rows);
    }
    return true;
}

/* After the last byte: is the file whole, and does it have to be read again? */
static enum an_status end(struct an_reading *reading, struct an_error *err)
{
    if (reading->whole.reason != AN_HOLD_NO_REASON || !check_whole(reading)) {
        return AN_OK;
    }
    if (an_when_settle(&reading->when)) {
        reading->read_again = true;
        return AN_OK;
    }
    reading->last_block = reading->columns.block;
    const enum an_status st = an_columns_flush(&reading->columns, &reading->outbox, err);
    if (st || !reading->columns.mirror) {
        return st;
    }
    if (reading->mirror.bytes != (uint64_t)reading->bytes) {
        reading->mirror.failed = true;
    }
    return an_mirror_piece(&reading->mirror, &reading->outbox, 0, err);
}

/* What only reading needed; several files may wait for their turns. */
static void shrink(struct an_reading *reading)
{
    an_columns_empty(&reading->columns);
    an_mirror_close(&reading->mirror);
    an_ordinary_close(reading->ordinary);
    reading->ordinary = NULL;
    an_free(reading->lines.at);
    reading->lines.at = NULL;
    reading->lines.capacity = reading->lines.start = reading->lines.end = 0;
    an_free(reading->piece);
    reading->piece = NULL;
    reading->piece_bytes = 0;
}

/* ---- the store -------------------------------------------------------------------------------- */
enum an_status an_reading_hand_in(struct an_reading *reading, struct an_store *store,
                                  int64_t file_id, bool again, struct an_error *err)
{
    reading->store = store;
    reading->file_id = file_id;
    an_finish_hand_in(&reading->finish, store, file_id);
    return an_outbox_hand_in(&reading->outbox, store, file_id, again, err);
}

static enum an_status take_turn(struct an_reading *reading, struct an_error *err)
{
    struct an_store *store = NULL;
    int64_t file_id = 0;

    if (reading->store) {
        return AN_OK;
    }
    const enum an_status st = reading->turn.take(reading->turn.context, &store, &file_id, err);
    return st ? st : an_reading_hand_in(reading, store, file_id, false, err);
}

/* The row that the row path has just taken. */
static bool keep_row(struct an_reading *reading)
{
    struct an_mirror *mirror = &reading->mirror;

    if (!reading->columns.mirror || !reading->at_record) {
        return true;
    }
    return (mirror->fields || an_mirror_header(mirror, &reading->header, &reading->columns)) &&
           an_mirror_row(mirror, &reading->columns, &reading->row, &reading->fields,
                         reading->at_record);
}

enum an_status an_reading_bound(struct an_reading *reading, struct an_error *err)
{
    const struct an_collect_tuning *tuning = reading->tuning;
    enum an_status st = keep_row(reading) ? AN_OK : an_fail(err, AN_NO_MEMORY, "out of memory");

    if (st) {
        return st;
    }
    if (reading->columns.rows >= tuning->block_rows) {
        const size_t block = reading->columns.block;

        st = an_columns_flush(&reading->columns, &reading->outbox, err);
        if (!st) {
            st = an_finish_spill_rows(&reading->finish, block, err);
        }
    }
    if (!st && !reading->store &&
        reading->outbox.bytes + reading->finish.row_bytes > tuning->outbox_bytes) {
        st = take_turn(reading, err);
    }
    if (!st && (reading->stays.count > tuning->open_visits ||
                an_arena_used(reading->stays.arena) > tuning->open_bytes)) {
        st = take_turn(reading, err);
        st = st ? st : an_finish_spill(&reading->finish, err);
    }
    return st;
}

/* ---- pieces ----------------------------------------------------------------------------------- */
static enum an_status sniff(struct an_reading *reading, size_t *skip, struct an_error *err)
{
    unsigned char head[AN_SNIFF_BYTES];
    size_t length = 0;
    const enum an_status st = an_source_peek(reading->source, head, sizeof head, &length, err);

    if (st) {
        return st;
    }
    (void)an_decode_begin(&reading->decoder, reading->plan->station->dialect.encoding, head, length,
                          skip, &reading->whole);
    bool blank = length < sizeof head;
    for (size_t i = 0; i < length && blank; i++) {
        blank =
            i < *skip || head[i] == ' ' || head[i] == '\t' || head[i] == '\r' || head[i] == '\n';
    }
    if (blank && reading->whole.reason == AN_HOLD_NO_REASON) {
        (void)an_complain(&reading->whole, AN_HOLD_FILE_EMPTY, 0, 0, NULL,
                          "the file has nothing but blank lines");
    }
    reading->no_text = reading->whole.reason != AN_HOLD_NO_REASON;
    return AN_OK;
}

static enum an_status put_piece(void *context, struct an_bytes piece, struct an_error *err)
{
    return an_outbox_piece(context, piece, err);
}

static enum an_status add_original(struct an_reading *reading, const void *at, size_t length,
                                   bool is_last, struct an_error *err)
{
    enum an_status st = AN_OK;

    if (reading->keep_none || reading->columns.mirror) {
        return AN_OK;
    }
    if (length) {
        st = an_original_writer_add(reading->tools->original, at, length, put_piece,
                                    &reading->outbox, err);
    }
    if (!st && is_last) {
        st = an_original_writer_end(reading->tools->original, put_piece, &reading->outbox, err);
    }
    return st;
}

static unsigned char *room_for_lines(struct an_reading *reading, size_t most)
{
    if (reading->ordinary) {
        an_ordinary_moved(reading->ordinary);
    }
    return an_lines_room(&reading->lines, most);
}

/* Bytes that have to be decoded, or are only hashed and kept. */
static enum an_status read_apart(struct an_reading *reading, size_t most, size_t *skip,
                                 size_t *length, unsigned char **at, struct an_error *err)
{
    struct an_decoder *decoder = &reading->decoder;

    if (reading->piece_bytes < most) {
        unsigned char *more = an_resize(reading->piece, most, 1);

        if (!more) {
            return an_fail(err, AN_NO_MEMORY, "out of memory");
        }
        reading->piece = more;
        reading->piece_bytes = most;
    }
    *at = reading->piece;
    const enum an_status st = an_source_read(reading->source, reading->piece, most, length, err);
    if (st || reading->no_text || reading->lost) {
        return st;
    }
    const size_t skipped = *skip < *length ? *skip : *length;
    *skip -= skipped;
    unsigned char *room = room_for_lines(reading, an_decode_room(decoder, *length) + 4);
    if (!room) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    const size_t added =
        an_decode(decoder, reading->piece + skipped, *length - skipped, *length == 0, room);
    an_lines_added(&reading->lines, added, *length == 0 || decoder->broken);
    return AN_OK;
}

/* UTF-8 is passed on as it is: it is read to where it will be looked at. */
static enum an_status read_in_place(struct an_reading *reading, size_t most, size_t *length,
                                    unsigned char **at, struct an_error *err)
{
    *at = room_for_lines(reading, most);
    if (!*at) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    const enum an_status st = an_source_read(reading->source, *at, most, length, err);
    if (!st) {
        reading->decoder.offset += *length;
        an_lines_added(&reading->lines, *length, *length == 0);
    }
    return st;
}

static enum an_status between_pieces(const struct an_reading *reading, struct an_error *err)
{
    const struct an_collect_options *options = reading->options;

    if (options->progress) {
        options->progress(options->context, (uint64_t)reading->bytes, reading->source->bytes);
    }
    if ((options->stop && *options->stop) || (reading->halt && atomic_load(reading->halt))) {
        return an_fail(err, AN_BUSY, "\"%s\": stopped; nothing of it was taken",
                       reading->source->path);
    }
    return AN_OK;
}

/* No more than the file should still have, and one byte to see its end: small files stay small. */
static size_t piece_of(const struct an_reading *reading)
{
    const uint64_t done = (uint64_t)reading->bytes;
    const uint64_t left = done < reading->source->bytes ? reading->source->bytes - done : 0;

    const size_t wanted = left < 4096 ? 4096 : (size_t)left + 1;

    return wanted < reading->tuning->piece_bytes ? wanted : reading->tuning->piece_bytes;
}

static enum an_status read_pieces(struct an_reading *reading, struct an_digest *digest, size_t skip,
                                  struct an_error *err)
{
    size_t length = 0;
    enum an_status st = AN_OK;

    do {
        const size_t most = piece_of(reading);
        unsigned char *at = NULL;
        const bool in_place = reading->decoder.coding == AN_CODING_UTF8 && !skip &&
                              !reading->no_text && !reading->lost;

        st = in_place ? read_in_place(reading, most, &length, &at, err)
                      : read_apart(reading, most, &skip, &length, &at, err);
        if (st) {
            return st;
        }
        if (length) {
            an_digest_add(digest, at, length);
        }
        st = add_original(reading, at, length, length == 0, err);
        reading->bytes += (int64_t)length;
        if (!st && !reading->no_text && !reading->lost) {
            st = an_reading_lines(reading, err);
        }
        st = st ? st : between_pieces(reading, err);
    } while (!st && length && !(reading->columns.mirror && reading->mirror.failed));
    return st;
}

static enum an_status read_all(struct an_reading *reading, size_t skip, struct an_error *err)
{
    struct an_digest *digest = NULL;
    enum an_status st = an_source_rewind(reading->source, err);

    if (st) {
        return st;
    }
    const bool frame = !reading->keep_none && !reading->columns.mirror;
    struct an_original_writer *writer = frame ? an_tools_original(reading->tools) : NULL;
    digest = writer || !frame ? an_digest_open() : NULL;
    if (!digest) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    if (writer) {
        an_original_writer_begin(writer);
    }
    st = read_pieces(reading, digest, skip, err);
    reading->hash = an_digest_close(digest);
    return st ? st : an_source_unchanged(reading->source, err);
}

/* UTF-8 that is not too small is kept as columns: from other encodings the bytes would not come
 * back. */
static enum an_status choose_form(struct an_reading *reading, size_t skip, struct an_error *err)
{
    unsigned char mark[4];
    size_t length = 0;

    if (reading->plain || reading->keep_none || reading->no_text ||
        reading->decoder.coding != AN_CODING_UTF8 ||
        reading->source->bytes < reading->tuning->keep_bytes) {
        return AN_OK;
    }
    an_mirror_open(&reading->mirror, reading->plan);
    reading->columns.mirror = &reading->mirror;
    const enum an_status st = an_source_peek(reading->source, mark, skip, &length, err);
    if (!st && skip && !an_mirror_raw(&reading->mirror, 0, mark, length)) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    return st;
}

static enum an_status read_once(struct an_reading *reading, struct an_error *err)
{
    size_t skip = 0;
    enum an_status st = begin(reading, err);

    st = st ? st : sniff(reading, &skip, err);
    st = st ? st : choose_form(reading, skip, err);
    st = st ? st : read_all(reading, skip, err);
    return st || (reading->columns.mirror && reading->mirror.failed) ? st : end(reading, err);
}

enum an_status an_reading_read(struct an_reading *reading, struct an_error *err)
{
    enum an_status st = read_once(reading, err);

    if (st || !reading->columns.mirror || !reading->mirror.failed ||
        reading->whole.reason != AN_HOLD_NO_REASON) {
        shrink(reading);
        return st;
    }
    reading->plain = true;
    if (reading->store) { /* what is in there has to be undone first */
        reading->read_again = true;
        return AN_OK;
    }
    st = read_once(reading, err);
    shrink(reading);
    return st;
}

enum an_status an_reading_put_original(struct an_reading *reading, struct an_store *store,
                                       int64_t file_id, struct an_error *err)
{
    const struct an_sha256 hash = reading->hash;
    /* it was put, and undone with the rest; or it is there as columns of what is not taken */
    const bool gone = reading->store != NULL || reading->columns.mirror;
    enum an_status st = AN_OK;

    an_outbox_keep_pieces(&reading->outbox);
    if (gone) {
        an_reading_take_back(reading);
        reading->columns.mirror = NULL;
        reading->no_text = true;
        reading->bytes = 0;
    }
    reading->store = store;
    reading->file_id = file_id;
    st = an_outbox_hand_in(&reading->outbox, store, file_id, false, err);
    if (!st && gone) {
        st = read_all(reading, 0, err);
        if (!st && memcmp(hash.at, reading->hash.at, sizeof hash.at) != 0) {
            st = an_fail(err, AN_IO, "\"%s\": changed while it was read; collect it again",
                         reading->source->path);
        }
    }
    return st ? st
              : an_store_put_original(store, file_id, &reading->hash, reading->bytes,
                                      reading->outbox.pieces, AN_FORM_FRAME, err);
}
