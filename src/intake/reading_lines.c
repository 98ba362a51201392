/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What each line of a file is: preamble, comment, header, units, footer, end, blank or row; and, once
 * the file is to be held whole, how many rows it has. Must never take a row itself.
 */
#include "intake/ordinary.h"
#include "intake/reading.h"

#include <inttypes.h>
#include <string.h>

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
                         record->line, &reading->whole, &st);
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

/* A line that is not taken is kept as it is, if the original is kept as columns. */
static void keep_line(struct an_reading *reading, const struct an_record *record)
{
    if (reading->columns.mirror && !an_mirror_raw(&reading->mirror, reading->columns.rows,
                                                  record->text.at, record->with_end)) {
        reading->no_memory = true;
    }
}

/* ---- rows that say nothing new ---------------------------------------------------------------- */
static bool may_be_ordinary(const struct an_reading *reading)
{
    return reading->ordinary && reading->rows_begun && !reading->has_footer && !reading->at_end &&
           !reading->when.settled && !reading->only;
}

static enum an_status take_ordinary(struct an_reading *reading, struct an_error *err)
{
    if (!reading->ordinary_tried && reading->rows_begun) {
        const enum an_status st = an_ordinary_open(reading, &reading->ordinary, err);

        reading->ordinary_tried = true;
        if (st) {
            return st;
        }
    }
    return may_be_ordinary(reading) ? an_ordinary_take(reading->ordinary, reading, err) : AN_OK;
}

/* One record by the row path; if it was a row and was taken, those that follow may be like it. */
static enum an_status read_and_learn(struct an_reading *reading, const struct an_record *record,
                                     struct an_error *err)
{
    const int64_t taken = reading->counts.taken;
    const size_t block = reading->columns.block;

    reading->at_record = record;
    const enum an_status st = read_record(reading, record, err);
    reading->at_record = NULL;
    if (!st && reading->counts.taken == taken) {
        keep_line(reading, record);
    }

    if (!st && reading->ordinary && reading->columns.block != block) {
        an_ordinary_new_block(reading->ordinary);
    }
    if (!st && reading->ordinary && reading->counts.taken != taken) {
        an_ordinary_learn(reading->ordinary, reading);
    }
    return st;
}

/* All lines and records that are there. */
static enum an_status read_lines(struct an_reading *reading, struct an_error *err)
{
    struct an_lines *lines = &reading->lines;
    enum an_status st = AN_OK;

    while (!st && !reading->no_memory && reading->whole.reason == AN_HOLD_NO_REASON &&
           !(reading->columns.mirror && reading->mirror.failed)) {
        struct an_record record;

        st = take_ordinary(reading, err);
        if (st) {
            break;
        }
        enum an_lines_got got = an_lines_line(lines, &record);
        if (got == AN_LINES_MORE || got == AN_LINES_END) {
            break;
        }
        if (got == AN_LINES_GOT && !record.ended && reading->decoder.broken) {
            return AN_OK; /* the rest of this line is no text: told at the end */
        }
        if (got == AN_LINES_GOT && take_line(reading, &record)) {
            an_lines_take(lines, &record);
            keep_line(reading, &record);
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
        st = read_and_learn(reading, &record, err);
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

enum an_status an_reading_lines(struct an_reading *reading, struct an_error *err)
{
    const enum an_status st = read_lines(reading, err);

    if (!st && reading->whole.reason != AN_HOLD_NO_REASON) {
        count_lines(reading);
    }
    return st;
}
