/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One record after the header: taken, known from before, held or blank. Must put each in exactly
 * one of these bins.
 */
#include "intake/reading.h"

#include <inttypes.h>
#include <string.h>

enum { MOST_HELD_TEXT = 64 * 1024 };

enum an_status an_reading_hold(struct an_reading *reading, const struct an_complaint *complaint,
                               struct an_bytes text, struct an_error *err)
{
    struct an_held held = {
        .line = complaint->line,
        .column = complaint->column,
        .column_name = complaint->column_name,
        .code = an_hold_code(complaint->reason),
        .why = complaint->why,
        .text = text,
    };

    if (reading->only) { /* it is held already */
        reading->passed++;
        return AN_OK;
    }
    if (held.text.length > MOST_HELD_TEXT) {
        held.text.length = MOST_HELD_TEXT;
    }
    reading->counts.held++;
    return an_outbox_held(&reading->outbox, &held, err);
}

/* ---- the record as a whole -------------------------------------------------------------------- */
static bool check_bytes(struct an_reading *reading, const struct an_record *record,
                        struct an_complaint *complaint)
{
    size_t at = 0;

    if (!record->ended) {
        return an_complain(complaint, AN_HOLD_ROW_TRUNCATED, record->line, 0, NULL,
                           "the file ends inside this line; its last field may be cut");
    }
    if (memchr(record->text.at, 0, record->text.length)) {
        return an_complain(complaint, AN_HOLD_ROW_NUL, record->line, 0, NULL,
                           "the row holds a NUL byte");
    }
    const enum an_hold_reason reason =
        reading->decoder.coding == AN_CODING_UTF8
            ? an_decode_judge_row(&reading->decoder, record->text, &at)
            : AN_HOLD_NO_REASON;
    if (reason == AN_HOLD_ROW_ENCODING) {
        return an_complain(complaint, reason, record->line, 0, NULL,
                           "byte %zu of the row begins a cut or broken character", at + 1);
    }
    if (reason != AN_HOLD_NO_REASON) {
        const uint64_t mark = reading->decoder.mark ? 3 : 0;

        return an_complain(complaint, reason, record->line, 0, NULL,
                           "byte %llu of the file (hexadecimal %02X) is no UTF-8%s",
                           (unsigned long long)(mark + record->offset + at), record->text.at[at],
                           reason == AN_HOLD_ENCODING_MIXED
                               ? ", though UTF-8 characters stand before it"
                               : "; a single-byte encoding is likely");
    }
    if (record->bad_quote) {
        return an_complain(complaint, AN_HOLD_ROW_QUOTE, record->line, 0, NULL,
                           "a quote stands inside a field, or text behind a closing quote");
    }
    return true;
}

static bool is_empty(const struct an_fields *fields)
{
    for (size_t i = 0; i < fields->count && i < AN_MOST_COLUMNS; i++) {
        if (fields->at[i].length) {
            return false;
        }
    }
    return true;
}

static bool is_number_part(struct an_bytes text)
{
    size_t digits = 0;

    for (size_t i = 0; i < text.length; i++) {
        const bool digit = text.at[i] >= '0' && text.at[i] <= '9';

        if (!digit && !(i == 0 && (text.at[i] == '-' || text.at[i] == '+'))) {
            return false;
        }
        digits += digit;
    }
    return digits > 0;
}

/* More fields than the header, with two neighbours that a decimal comma would part. */
static bool has_comma_pair(const struct an_reading *reading)
{
    const struct an_fields *fields = &reading->fields;

    if (reading->plan->station->dialect.delimiter != ',' ||
        fields->count <= reading->header.field_count) {
        return false;
    }
    for (size_t i = 0; i + 1 < fields->count && i + 1 < AN_MOST_COLUMNS; i++) {
        if (is_number_part(fields->at[i]) && is_number_part(fields->at[i + 1]) &&
            fields->at[i + 1].at[0] != '-' && fields->at[i + 1].at[0] != '+') {
            return true;
        }
    }
    return false;
}

static bool check_fields(struct an_reading *reading, const struct an_record *record,
                         struct an_complaint *complaint)
{
    const size_t count = reading->fields.count;
    const size_t asked = reading->header.field_count;

    if (reading->fields.longest > AN_MOST_FIELD_BYTES) {
        return an_complain(complaint, AN_HOLD_LIMIT_FIELD, record->line, 0, NULL,
                           "a field of %zu bytes; %d are the most", reading->fields.longest,
                           AN_MOST_FIELD_BYTES);
    }
    if (count == asked) {
        return true;
    }
    (void)an_complain(complaint, AN_HOLD_ROW_FIELDS, record->line, 0, NULL,
                      "the row has %zu field%s, the header %zu", count, count == 1 ? "" : "s",
                      asked);
    if (has_comma_pair(reading) && reading->fields_over++ == 0) {
        reading->first_over = *complaint;
    }
    return false;
}

/* ---- the cells -------------------------------------------------------------------------------- */
static void set_cells(struct an_reading *reading, uint64_t line)
{
    const struct an_plan *plan = reading->plan;

    reading->row.line = line;
    for (size_t i = 0; i < plan->column_count; i++) {
        struct an_cell *cell = &reading->row.cells[i];
        const size_t field = reading->header.field_of[i];

        cell->field = field;
        cell->state = AN_CELL_UNREAD;
        if (field != AN_NONE) {
            cell->text = reading->fields.at[field];
        } else {
            const struct an_text *value = &reading->preamble[plan->columns[i].preamble];
            cell->text = (struct an_bytes){(const unsigned char *)an_text_of(value), value->length};
        }
    }
}

static bool read_row(struct an_reading *reading, struct an_complaint *complaint, enum an_status *st)
{
    const struct an_plan *plan = reading->plan;
    struct an_row *row = &reading->row;

    if (!an_ident_read(reading, complaint, st)) {
        return false;
    }
    row->at_us = reading->source->modified_us;
    if (plan->time != AN_NONE && !an_when_read(&reading->when, row, plan, complaint)) {
        return false;
    }
    return an_ident_read_links(reading, complaint, st) && an_row_check(row, plan, complaint);
}

/* ---- into the bins ---------------------------------------------------------------------------- */
/* What the store's look-ups decided about a row that is right in itself. */
static enum an_status hold_by_verdict(struct an_reading *reading, const struct an_verdict *verdict,
                                      struct an_bytes text, struct an_error *err)
{
    const struct an_plan *plan = reading->plan;
    const struct an_row *row = &reading->row;
    struct an_complaint complaint = {.reason = AN_HOLD_NO_REASON};

    if (verdict->reason == AN_HOLD_PARENT_UNKNOWN) {
        const bool own = verdict->link == AN_NONE;
        const size_t column = own ? plan->item : plan->links[verdict->link].column;
        const size_t kind = own ? plan->station->item_kind : plan->links[verdict->link].rule->kind;

        (void)an_row_complain(
            row, plan, column, verdict->reason, &complaint, "no station has seen the %s \"%s\" yet",
            plan->line->kinds[kind].title, an_shown(row->cells[column].text).text);
    } else if (verdict->reason == AN_HOLD_SERIAL_USED) {
        char at[40];

        (void)an_row_complain(
            row, plan, plan->item, verdict->reason, &complaint,
            "\"%s\" was at this station on %s, and all rows of one %s should lie closer together",
            an_shown(row->cells[plan->item].text).text,
            an_instant_rfc3339(reading->look.doubts[verdict->doubt].used_us, at),
            plan->line->kinds[plan->station->item_kind].title);
    } else if (verdict->reason >= AN_HOLD_LINK_SELF && verdict->reason <= AN_HOLD_LINK_PLACE) {
        const struct an_unknown *unknown = an_look_unknown(&reading->look, verdict);

        (void)an_row_complain(row, plan, plan->links[verdict->link].column, verdict->reason,
                              &complaint, "%s", unknown ? unknown->why : "");
    } else if (verdict->reason == AN_HOLD_TIME_BEFORE) {
        (void)an_row_complain(row, plan, plan->time, verdict->reason, &complaint,
                              "\"%s\" is before this item was made, by more than the clocks may "
                              "differ",
                              an_shown(row->cells[plan->time].text).text);
    } else {
        (void)an_complain(&complaint, verdict->reason, row->line, 0, NULL,
                          "line %" PRIu64 " of file %" PRId64 " is the same row with other values; "
                          "neither a higher attempt number nor a reason tells that this one "
                          "corrects all of the item's rows there",
                          verdict->line, verdict->file_id);
    }
    return an_reading_hold(reading, &complaint, text, err);
}

static bool note_let_in(struct an_reading *reading)
{
    void *array = reading->let_in;

    if (!reading->only) {
        return true;
    }
    if (!an_grow(&array, reading->let_in_count, &reading->let_in_capacity,
                 sizeof *reading->let_in)) {
        return false;
    }
    reading->let_in = array;
    reading->let_in[reading->let_in_count++] = reading->row.line;
    return true;
}

/* Of a file's held rows that are tried again only those that were named are taken. */
static bool is_asked(struct an_reading *reading, uint64_t line)
{
    while (reading->only_next < reading->only_count && reading->only[reading->only_next] < line) {
        reading->only_next++;
    }
    return !reading->only ||
           (reading->only_next < reading->only_count && reading->only[reading->only_next] == line);
}

static enum an_status take_row(struct an_reading *reading, struct an_bytes text,
                               struct an_error *err)
{
    struct an_row *row = &reading->row;
    uint32_t local = 0;

    if (!is_asked(reading, row->line)) {
        reading->passed++;
        return AN_OK;
    }
    const uint64_t number = reading->accepted++;
    const struct an_verdict *verdict = an_look_verdict(&reading->look, number);
    if (verdict) {
        return hold_by_verdict(reading, verdict, text, err);
    }
    if (!note_let_in(reading)) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }

    reading->first_us = reading->first_us == AN_NO_INSTANT || row->at_us < reading->first_us
                            ? row->at_us
                            : reading->first_us;
    reading->last_us = row->at_us > reading->last_us ? row->at_us : reading->last_us;
    if (an_rowmap_is_before(&reading->map, number)) {
        reading->counts.duplicate++;
        return AN_OK;
    }
    const struct an_row_print print = an_row_print(row, reading->plan);
    enum an_status st = an_stays_add(&reading->stays, row, print, &local, err);
    if (st == AN_DOMAIN) {
        (void)an_complain(&reading->whole, AN_HOLD_LIMIT_STREAMS, row->line, 0, NULL,
                          "the split columns have more than %d combinations", AN_MOST_SPLITS);
        return AN_OK;
    }
    if (!st) {
        st = an_columns_add(&reading->columns, row, err);
    }
    if (st) {
        return st;
    }
    if (!an_rowmap_add(&reading->map, local)) {
        return an_fail(err, AN_NO_MEMORY, "out of memory");
    }
    reading->counts.taken++;
    return an_reading_bound(reading, err);
}

/* A header in mid-file fails as a row; what it is decides what happens. */
static enum an_status put_wrong_row(struct an_reading *reading, const struct an_record *record,
                                    const struct an_complaint *complaint, bool parted,
                                    struct an_error *err)
{
    const enum an_header_like like =
        parted ? an_header_like(&reading->header, reading->plan, &reading->fields)
               : AN_NOT_A_HEADER;

    if (an_hold_is_whole_file(complaint->reason)) {
        reading->whole = *complaint;
        return AN_OK;
    }
    if (like == AN_SAME_HEADER) {
        reading->counts.rows--;
        an_note(&reading->notes, "header.repeated", record->line, "the header stands here again");
        return AN_OK;
    }
    if (like == AN_OTHER_HEADER) {
        reading->counts.rows--;
        (void)an_complain(&reading->whole, AN_HOLD_HEADER_COLUMN, record->line, 0, NULL,
                          "another header begins here, with other columns or in another order");
        return AN_OK;
    }
    return an_reading_hold(reading, complaint, record->text, err);
}

enum an_status an_reading_record(struct an_reading *reading, const struct an_record *record,
                                 struct an_error *err)
{
    struct an_complaint complaint = {.reason = AN_HOLD_NO_REASON};
    enum an_status st = AN_OK;

    reading->counts.rows++;
    if (!check_bytes(reading, record, &complaint)) {
        return put_wrong_row(reading, record, &complaint, false, err);
    }
    st = an_fields_part(&reading->fields, record->text, err);
    if (st == AN_DOMAIN) {
        (void)an_complain(&complaint, AN_HOLD_ROW_QUOTE, record->line, 0, NULL,
                          "the quotes of the row do not match");
        return put_wrong_row(reading, record, &complaint, false, err);
    }
    if (st) {
        return st;
    }
    if (is_empty(&reading->fields)) {
        reading->counts.blank++;
        return AN_OK;
    }
    if (!check_fields(reading, record, &complaint)) {
        return put_wrong_row(reading, record, &complaint, true, err);
    }
    set_cells(reading, record->line);
    if (!read_row(reading, &complaint, &st)) {
        return st ? an_fail(err, st, "out of memory")
                  : put_wrong_row(reading, record, &complaint, true, err);
    }
    return take_row(reading, record->text, err);
}
