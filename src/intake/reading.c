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

#include <inttypes.h>
#include <string.h>

/* ---- open, close, begin ----------------------------------------------------------------------- */
enum an_status an_reading_open(struct an_reading *reading, struct an_error *err)
{
    const struct an_plan *plan = reading->plan;

    reading->piece = an_alloc(reading->tuning->piece_bytes, 1);
    reading->row.cells = an_alloc(plan->column_count + 1, sizeof *reading->row.cells);
    reading->preamble = an_alloc(plan->preamble_count + 1, sizeof *reading->preamble);
    reading->preamble_found = an_alloc(plan->preamble_count + 1, sizeof(bool));
    reading->link_ids = an_alloc(plan->link_count + 1, sizeof *reading->link_ids);
    if (!reading->piece || !reading->row.cells || !reading->preamble || !reading->preamble_found ||
        !reading->link_ids) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    return an_fields_open(&reading->fields, err);
}

static void close_parts(struct an_reading *reading)
{
    an_finish_close(&reading->finish);
    an_stays_close(&reading->stays);
    an_columns_close(&reading->columns);
    an_header_close(&reading->header);
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
    an_rowmap_close(&reading->map);
    an_fields_close(&reading->fields);
    an_lines_free(&reading->lines);
    an_text_free(&reading->print);
    an_text_free(&reading->line_text);
}

static enum an_status begin(struct an_reading *reading, struct an_error *err)
{
    const struct an_plan *plan = reading->plan;
    const struct an_dialect *dialect = &plan->station->dialect;

    close_parts(reading);
    memset(&reading->notes, 0, sizeof reading->notes);
    memset(&reading->whole, 0, sizeof reading->whole);
    memset(&reading->counts, 0, sizeof reading->counts);
    for (size_t i = 0; i < plan->preamble_count; i++) {
        an_text_clear(&reading->preamble[i]);
        reading->preamble_found[i] = false;
    }
    reading->first_us = reading->last_us = AN_NO_INSTANT;
    reading->read_again = false;
    reading->units_read = reading->rows_begun = reading->at_end = reading->has_footer = false;
    reading->header_seen = reading->lost = false;
    reading->footer_rows = 0;
    reading->accepted = 0;
    reading->fields_over = 0;
    reading->preamble_left = dialect->preamble_lines;
    reading->id.is_set = false;
    an_when_begin(&reading->when);
    an_rowmap_begin(&reading->map);
    an_lines_begin(&reading->lines, dialect->delimiter, dialect->trim);
    reading->finish = (struct an_finish){.store = reading->store,
                                         .plan = plan,
                                         .map = &reading->map,
                                         .stays = &reading->stays,
                                         .file_id = reading->file_id};
    enum an_status st = an_fields_begin(&reading->fields, dialect->delimiter, dialect->trim, err);
    st = st ? st : an_stays_open(&reading->stays, plan, err);
    st = st ? st : an_columns_open(&reading->columns, plan, reading->tuning->block_rows, err);
    return st ? st : an_finish_open(&reading->finish, err);
}

/* ---- lines that are no rows ------------------------------------------------------------------- */
static bool is_blank(struct an_bytes text)
{
    for (size_t i = 0; i < text.length; i++) {
        if (text.at[i] != ' ' && text.at[i] != '\t') {
            return false;
        }
    }
    return true;
}

static bool begins_with(struct an_bytes text, const char *start)
{
    const size_t length = strlen(start);

    return text.length >= length && memcmp(text.at, start, length) == 0;
}

/* The line as a C text, for regular expressions. */
static const char *as_text(struct an_reading *reading, struct an_bytes line)
{
    an_text_clear(&reading->line_text);
    an_text_add_bytes(&reading->line_text, line);
    reading->no_memory = reading->no_memory || reading->line_text.failed;
    return an_text_of(&reading->line_text);
}

static void search_preamble(struct an_reading *reading, struct an_bytes line)
{
    const struct an_plan *plan = reading->plan;

    for (size_t i = 0; i < plan->preamble_count; i++) {
        struct an_bytes value = {NULL, 0};

        if (!reading->preamble_found[i] &&
            an_pattern_group(&plan->preamble[i], as_text(reading, line), &value)) {
            an_text_add_bytes(&reading->preamble[i], value);
            reading->no_memory = reading->no_memory || reading->preamble[i].failed;
            reading->preamble_found[i] = true;
        }
    }
}

/* Is the line a footer? Its count is kept. */
static bool read_footer(struct an_reading *reading, const struct an_record *record)
{
    const struct an_plan *plan = reading->plan;
    struct an_bytes group = {NULL, 0};
    int64_t rows = 0;

    if (!plan->footer.is_set || !begins_with(record->text, plan->footer_start) ||
        record->text.length > 4096 ||
        !an_pattern_group(&plan->footer, as_text(reading, record->text), &group) ||
        an_integer_parse(group, &rows) != AN_OK) {
        return false;
    }
    reading->has_footer = true;
    reading->footer_line = record->line;
    reading->footer_rows = rows;
    return true;
}

static bool check_preamble(struct an_reading *reading, uint64_t line)
{
    const struct an_plan *plan = reading->plan;

    for (size_t i = 0; i < plan->column_count; i++) {
        const struct an_plan_column *column = &plan->columns[i];

        if (column->from_preamble && !reading->preamble_found[column->preamble]) {
            return an_complain(&reading->whole, AN_HOLD_PREAMBLE_MISSING, line, 0, column->name,
                               "no line before the rows gives \"%s\" by \"%s\"", column->name,
                               plan->station->preamble[column->preamble].regex);
        }
    }
    return true;
}

/* ---- one line or record ----------------------------------------------------------------------- */
static enum an_status read_header(struct an_reading *reading, const struct an_record *record,
                                  struct an_error *err)
{
    enum an_status st = AN_OK;

    reading->header_seen = true;
    if (record->bad_quote || memchr(record->text.at, 0, record->text.length)) {
        (void)an_complain(&reading->whole, AN_HOLD_HEADER_MISSING, record->line, 0, NULL,
                          "this line should be the header, but its quotes or bytes are damaged");
        return AN_OK;
    }
    st = an_fields_part(&reading->fields, record->text, err);
    if (st == AN_DOMAIN) {
        (void)an_complain(&reading->whole, AN_HOLD_HEADER_MISSING, record->line, 0, NULL,
                          "this line should be the header, but its quotes do not match");
        return AN_OK;
    }
    if (st) {
        return st;
    }
    (void)an_header_read(&reading->header, reading->plan, &reading->fields, record->text,
                         record->line, &reading->notes, &reading->whole, &st);
    return st ? an_fail(err, st, "out of memory") : AN_OK;
}

static enum an_status read_units(struct an_reading *reading, const struct an_record *record,
                                 struct an_error *err)
{
    enum an_status st = an_fields_part(&reading->fields, record->text, err);

    reading->units_read = true;
    if (st == AN_DOMAIN || record->bad_quote) {
        (void)an_complain(&reading->whole, AN_HOLD_UNITS_ROW_MISSING, record->line, 0, NULL,
                          "the row of units has quotes that do not match");
        return AN_OK;
    }
    if (!st) {
        (void)an_header_units(&reading->header, reading->plan, &reading->fields, record->text,
                              record->line, &reading->whole, &st);
        /* readings where units should be: a row after all */
        reading->counts.rows += reading->whole.reason == AN_HOLD_UNITS_ROW_MISSING;
    }
    return st ? an_fail(err, st, "out of memory") : AN_OK;
}

static enum an_status read_record(struct an_reading *reading, const struct an_record *record,
                                  struct an_error *err)
{
    if (!reading->header.is_read) {
        return read_header(reading, record, err);
    }
    if (reading->plan->station->dialect.units_row && !reading->units_read) {
        return read_units(reading, record, err);
    }
    if (reading->has_footer) {
        reading->counts.rows++;
        (void)an_complain(&reading->whole, AN_HOLD_END_EARLY, record->line, 0, NULL,
                          "a row stands behind the footer of line %" PRIu64, reading->footer_line);
        return AN_OK;
    }
    if (!reading->rows_begun && !check_preamble(reading, record->line)) {
        reading->counts.rows++;
        return AN_OK;
    }
    reading->rows_begun = true;
    if (an_header_repeats(&reading->header, record->text)) {
        an_note(&reading->notes, "header.repeated", record->line, "the header stands here again");
        return AN_OK;
    }
    return an_reading_record(reading, record, err);
}

/* Lines that are told from records by how they begin. True if it was one. */
static bool take_line(struct an_reading *reading, const struct an_record *record)
{
    const struct an_dialect *dialect = &reading->plan->station->dialect;
    const bool rows = reading->header.is_read;

    if (is_blank(record->text)) {
        reading->preamble_left -= !rows && reading->preamble_left > 0;
        reading->counts.rows += rows;
        reading->counts.blank += rows;
        return true;
    }
    if (reading->at_end) {
        reading->counts.rows++;
        (void)an_complain(&reading->whole, AN_HOLD_END_EARLY, record->line, 0, NULL,
                          "this line stands behind the line that ends the file");
        return true;
    }
    if (rows && dialect->end_marker && an_bytes_are(record->text, dialect->end_marker)) {
        reading->at_end = true;
        return true;
    }
    if (rows && read_footer(reading, record)) {
        return true;
    }
    if (dialect->comment && begins_with(record->text, dialect->comment)) {
        if (!reading->rows_begun) {
            search_preamble(reading, record->text);
        }
        return true;
    }
    if (!rows && reading->preamble_left > 0) {
        reading->preamble_left--;
        search_preamble(reading, record->text);
        return true;
    }
    return false;
}

static void complain_broken(struct an_reading *reading)
{
    const struct an_decoder *decoder = &reading->decoder;

    (void)an_complain(&reading->whole, AN_HOLD_ENCODING_INVALID, reading->lines.line, 0, NULL,
                      "byte %" PRIu64 " of the file is no character of %s", decoder->offset,
                      decoder->coding == AN_CODING_LATIN1 ? "latin-1 (windows-1252 may be meant)"
                      : decoder->coding == AN_CODING_1252 ? "windows-1252"
                                                          : "UTF-16");
}

static void complain_frame(struct an_reading *reading, enum an_lines_got got,
                           const struct an_record *record)
{
    reading->counts.rows += reading->header_seen;
    reading->lost = true;
    if (got == AN_LINES_OPEN) {
        (void)an_complain(&reading->whole, AN_HOLD_QUOTE_OPEN, record->line, 0, NULL,
                          "a quote opens in this line and does not close again");
    } else {
        (void)an_complain(&reading->whole, AN_HOLD_LIMIT_LINE, record->line, 0, NULL,
                          "a row of more than %d bytes begins in this line", AN_MOST_RECORD_BYTES);
    }
}

/* All lines and records that are there. */
static enum an_status read_lines(struct an_reading *reading, struct an_error *err)
{
    struct an_lines *lines = &reading->lines;
    enum an_status st = AN_OK;

    while (!st && !reading->no_memory && reading->whole.reason == AN_HOLD_NO_REASON) {
        struct an_record record;
        enum an_lines_got got = an_lines_line(lines, &record);

        if (got == AN_LINES_MORE || got == AN_LINES_END) {
            break;
        }
        if (got == AN_LINES_GOT && !record.ended && reading->decoder.broken) {
            return AN_OK; /* the rest of this line is no text: told at the end */
        }
        if (got == AN_LINES_GOT && take_line(reading, &record)) {
            an_lines_take(lines, &record);
            continue;
        }
        got = an_lines_record(lines, &record);
        if (got == AN_LINES_MORE) {
            return AN_OK;
        }
        if (got == AN_LINES_GOT && !record.ended && reading->decoder.broken) {
            return AN_OK;
        }
        if (got != AN_LINES_GOT) {
            complain_frame(reading, got, &record);
            return AN_OK;
        }
        an_lines_take(lines, &record);
        st = read_record(reading, &record, err);
    }
    return !st && reading->no_memory ? an_fail(err, AN_NO_MEMORY, "out of memory") : st;
}

/* ---- counting ---------------------------------------------------------------------------------- */
/* A line of a file that is held whole: is it a row? */
static bool is_row(struct an_reading *reading, const struct an_record *record)
{
    const struct an_dialect *dialect = &reading->plan->station->dialect;

    if (dialect->units_row && !reading->units_read) {
        reading->units_read = true;
        return false;
    }
    return !(dialect->end_marker && an_bytes_are(record->text, dialect->end_marker)) &&
           !(dialect->comment && begins_with(record->text, dialect->comment)) &&
           !read_footer(reading, record) &&
           !(reading->header.text.at && an_header_repeats(&reading->header, record->text));
}

/* The rows of a file that is held whole are held: they are told apart as far as that goes. */
static void count_lines(struct an_reading *reading)
{
    struct an_lines *lines = &reading->lines;

    while (!reading->lost) {
        struct an_record record;
        const enum an_lines_got got = an_lines_record(lines, &record);

        if (got == AN_LINES_MORE || got == AN_LINES_END) {
            return;
        }
        if (got != AN_LINES_GOT) {
            reading->counts.rows += reading->header_seen;
            reading->lost = true;
            return;
        }
        if (is_blank(record.text)) {
            reading->counts.rows += reading->header_seen;
            reading->counts.blank += reading->header_seen;
        } else {
            reading->counts.rows += is_row(reading, &record);
        }
        an_lines_take(lines, &record);
    }
}

static enum an_status read_or_count(struct an_reading *reading, struct an_error *err)
{
    const enum an_status st = read_lines(reading, err);

    if (!st && reading->whole.reason != AN_HOLD_NO_REASON) {
        count_lines(reading);
    }
    return st;
}

/* ---- the end ---------------------------------------------------------------------------------- */
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
                           "no footer \"%s\" after %" PRId64 " rows", dialect->footer, rows);
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

static void note_the_rest(struct an_reading *reading)
{
    const struct an_lines *lines = &reading->lines;
    struct an_notes *notes = &reading->notes;

    if (reading->decoder.mark) {
        an_note(notes, "mark", 1, "the file begins with the mark of %s", reading->decoder.mark);
    }
    if (lines->saw_lf + lines->saw_cr + lines->saw_crlf > 1) {
        an_note(notes, "line_ends", 0, "lines end in different ways:%s%s%s",
                lines->saw_lf ? " LF" : "", lines->saw_crlf ? " CRLF" : "",
                lines->saw_cr ? " CR" : "");
    }
    if (reading->counts.rows == reading->counts.blank) {
        an_note(notes, "rows.none", 0, "the file has a header and no rows");
    }
    if (reading->plan->time == AN_NONE && reading->counts.taken) {
        an_note(notes, "time.file", 0, "rows carry no time; the file's own time was used");
    }
    for (size_t i = 0; reading->when.settled && i < reading->when.count; i++) {
        if (reading->when.at[i].steps == 1) {
            an_note(notes, "time.settled", reading->when.at[i].first_line,
                    "times of the hour that came twice were settled by the order of the rows; the "
                    "second pass begins in line %" PRIu64,
                    reading->when.at[i].step_line);
        }
    }
}

static enum an_status end(struct an_reading *reading, struct an_error *err)
{
    const struct an_counts *counts = &reading->counts;
    const bool marked = reading->map.before_rows > 0;

    if (reading->whole.reason != AN_HOLD_NO_REASON || !check_whole(reading)) {
        return AN_OK;
    }
    if (an_when_settle(&reading->when)) {
        reading->read_again = true;
        return AN_OK;
    }
    const size_t block = reading->columns.block;
    enum an_status st = an_columns_flush(&reading->columns, reading->store, reading->file_id, err);
    if (!st) {
        st = an_finish_all(&reading->finish, block, err);
    }
    if (st) {
        return st;
    }
    if (reading->finish.visits_before) {
        if (marked) {
            return an_fail(err, AN_BUG, "\"%s\": rows known from before were found twice",
                           reading->source->path);
        }
        reading->read_again = true;
        return AN_OK;
    }
    note_the_rest(reading);
    if (counts->rows != counts->taken + counts->duplicate + counts->held + counts->blank ||
        counts->duplicate != (int64_t)reading->map.before_rows) {
        return an_fail(err, AN_BUG,
                       "\"%s\": the rows do not add up: %" PRId64 " rows, %" PRId64
                       " taken, %" PRId64 " duplicate, %" PRId64 " held, %" PRId64 " blank",
                       reading->source->path, counts->rows, counts->taken, counts->duplicate,
                       counts->held, counts->blank);
    }
    return AN_OK;
}

/* ---- pieces ----------------------------------------------------------------------------------- */
static enum an_status sniff(struct an_reading *reading, size_t *skip, struct an_error *err)
{
    unsigned char head[AN_SNIFF_BYTES];
    size_t length = 0;
    size_t got = 0;
    enum an_status st = an_source_rewind(reading->source, err);

    do {
        st = st ? st
                : an_source_read(reading->source, head + length, sizeof head - length, &got, err);
        length += st ? 0 : got;
    } while (!st && got && length < sizeof head);
    if (!st) {
        (void)an_decode_begin(&reading->decoder, reading->plan->station->dialect.encoding, head,
                              length, skip, &reading->whole);
        bool blank = length < sizeof head;
        for (size_t i = 0; i < length; i++) {
            blank = blank && (i < *skip || head[i] == ' ' || head[i] == '\t' || head[i] == '\r' ||
                              head[i] == '\n');
        }
        if (blank && reading->whole.reason == AN_HOLD_NO_REASON) {
            (void)an_complain(&reading->whole, AN_HOLD_FILE_EMPTY, 0, 0, NULL,
                              "the file has nothing but blank lines");
        }
    }
    return st ? st : an_source_rewind(reading->source, err);
}

static enum an_status add_piece(struct an_reading *reading, size_t length, size_t *skip,
                                bool is_last, struct an_error *err)
{
    const size_t skipped = *skip < length ? *skip : length;
    const unsigned char *at = reading->piece + skipped;

    *skip -= skipped;
    unsigned char *room =
        an_lines_room(&reading->lines, an_decode_room(&reading->decoder, length) + 4);
    if (!room) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    const size_t added = an_decode(&reading->decoder, at, length - skipped, is_last, room);
    an_lines_added(&reading->lines, added, is_last || reading->decoder.broken);
    return read_or_count(reading, err);
}

static enum an_status between_pieces(const struct an_reading *reading, uint64_t done,
                                     struct an_error *err)
{
    const struct an_collect_options *options = reading->options;

    if (options->progress) {
        options->progress(options->context, done, reading->source->bytes);
    }
    if (options->stop && *options->stop) {
        return an_fail(err, AN_BUSY, "\"%s\": stopped; nothing of it was taken",
                       reading->source->path);
    }
    return AN_OK;
}

static enum an_status read_pieces(struct an_reading *reading, struct an_digest *digest, size_t skip,
                                  struct an_error *err)
{
    uint64_t done = 0;
    size_t length = 0;
    enum an_status st = AN_OK;

    do {
        st = an_source_read(reading->source, reading->piece, reading->tuning->piece_bytes, &length,
                            err);
        if (st) {
            return st;
        }
        if (length) {
            an_digest_add(digest, reading->piece, length);
        }
        if (length && reading->whole.reason == AN_HOLD_NO_REASON) {
            st = an_store_original_add(reading->store, reading->piece, length, err);
        }
        if (!st) {
            st = add_piece(reading, length, &skip, length == 0, err);
        }
        done += length;
        st = st ? st : between_pieces(reading, done, err);
    } while (!st && length && !reading->lost);
    return st;
}

enum an_status an_reading_run(struct an_reading *reading, struct an_error *err)
{
    struct an_digest *digest = NULL;
    size_t skip = 0;
    enum an_status st = begin(reading, err);

    st = st ? st : sniff(reading, &skip, err);
    if (st || reading->whole.reason != AN_HOLD_NO_REASON) {
        return st;
    }
    st = an_store_original_open(reading->store, err);
    if (st) {
        return st;
    }
    digest = an_digest_open();
    if (!digest) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    st = read_pieces(reading, digest, skip, err);
    reading->hash = an_digest_close(digest);
    if (!st && reading->whole.reason == AN_HOLD_NO_REASON) {
        st = an_store_original_close(reading->store, reading->file_id, &reading->hash, err);
    }
    return st ? st : end(reading, err);
}
