/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Serials: which item a row is about, and what its row was for. Must never repair a serial: blanks
 * and letter case are evened out only where the item kind says so, and that is noted.
 */
#include "intake/reading.h"

#include <string.h>

static bool is_digit(unsigned char c)
{
    return c >= '0' && c <= '9';
}

static bool is_letter(unsigned char c)
{
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

/* 1.23E+15, 2E3, 12E-4: a serial that a spreadsheet took for a number. */
static bool looks_scientific(struct an_bytes text)
{
    size_t at = 0;

    while (at < text.length &&
           (is_digit(text.at[at]) || text.at[at] == '.' || text.at[at] == ',')) {
        at++;
    }
    if (at == 0 || at == text.length || (text.at[at] != 'E' && text.at[at] != 'e')) {
        return false;
    }
    at++;
    if (at < text.length && (text.at[at] == '+' || text.at[at] == '-')) {
        at++;
    }
    const size_t digits = at;
    while (at < text.length && is_digit(text.at[at])) {
        at++;
    }
    return at == text.length && at > digits && at - digits <= 4;
}

/* 3-Dec, Dec-03, 03-Dec-26: one that it took for a date. */
static bool looks_like_a_date(struct an_bytes text)
{
    static const char *const months[] = {"jan", "feb", "mar", "apr", "may", "jun",
                                         "jul", "aug", "sep", "oct", "nov", "dec"};
    size_t at = 0;

    while (at < text.length && !is_letter(text.at[at])) {
        if (!is_digit(text.at[at]) && text.at[at] != '-') {
            return false;
        }
        at++;
    }
    if (at + 3 > text.length || at > 3) {
        return false;
    }
    const struct an_bytes word = {text.at + at, 3};
    bool month = false;
    for (size_t i = 0; i < 12; i++) {
        month = month || an_bytes_are_nocase(word, months[i]);
    }
    size_t rest = at + 3;
    while (rest < text.length && (is_digit(text.at[rest]) || text.at[rest] == '-')) {
        rest++;
    }
    return month && rest == text.length && text.length > 3 &&
           (at ? text.at[at - 1] : text.at[at + 3]) == '-';
}

static bool all_digits(struct an_bytes text)
{
    for (size_t i = 0; i < text.length; i++) {
        if (!is_digit(text.at[i])) {
            return false;
        }
    }
    return text.length > 0;
}

/* Writes the serial as it is stored. Returns whether that differs from the text. */
static bool write_serial(const struct an_item_kind *kind, struct an_bytes text,
                         struct an_text *serial)
{
    const struct an_bytes trimmed = kind->fold_case ? an_bytes_trim(text) : text;

    an_text_clear(serial);
    for (size_t i = 0; i < trimmed.length; i++) {
        const unsigned char c = trimmed.at[i];
        const bool lower = kind->fold_case && c >= 'a' && c <= 'z';

        an_text_add_char(serial, (char)(lower ? c - ('a' - 'A') : c));
    }
    return trimmed.length != text.length ||
           !an_bytes_equal(
               (struct an_bytes){(const unsigned char *)an_text_of(serial), serial->length}, text);
}

static bool check_serial(const struct an_reading *reading, size_t kind_index, size_t column,
                         const struct an_text *serial, struct an_complaint *complaint)
{
    const struct an_row *row = &reading->row;
    const struct an_plan *plan = reading->plan;
    const struct an_item_kind *kind = &plan->line->kinds[kind_index];
    const struct an_pattern *pattern = &plan->kind_patterns[kind_index];
    const struct an_bytes bytes = {(const unsigned char *)an_text_of(serial), serial->length};
    const struct an_bytes raw = row->cells[column].text;
    const bool fits = pattern->is_set && an_pattern_fits(pattern, an_text_of(serial));

    if (bytes.length == 0) {
        return an_row_complain(row, plan, column, AN_HOLD_ID_MISSING, complaint,
                               "the serial of the %s is empty", kind->title);
    }
    if (an_bytes_trim(bytes).length != bytes.length) {
        return an_row_complain(row, plan, column, AN_HOLD_ID_BLANKS, complaint,
                               "\"%s\" has blanks around it", an_shown(raw).text);
    }
    if (fits) {
        return true;
    }
    if (looks_scientific(bytes) || looks_like_a_date(bytes)) {
        return an_row_complain(row, plan, column, AN_HOLD_ID_DAMAGED, complaint,
                               "\"%s\" is a number or a date made of a serial", an_shown(raw).text);
    }
    if (pattern->is_set) {
        return an_row_complain(row, plan, column,
                               all_digits(bytes) ? AN_HOLD_ID_DAMAGED : AN_HOLD_ID_PATTERN,
                               complaint, "\"%s\" is no serial of a %s, which fits \"%s\"%s",
                               an_shown(raw).text, kind->title, kind->id_pattern,
                               all_digits(bytes) ? "; leading zeros or letters may be lost" : "");
    }
    return true;
}

/* ---- purpose ---------------------------------------------------------------------------------- */
static bool read_purpose(struct an_reading *reading, struct an_complaint *complaint)
{
    static const char reference[] = "reference";
    static const char untold[] = "untold";
    const struct an_plan *plan = reading->plan;
    struct an_row *row = &reading->row;

    row->purpose = (struct an_bytes){NULL, 0};
    if (plan->purpose != AN_NONE) {
        const struct an_bytes word = row->cells[plan->purpose].text;

        if (!an_word_in(word, &plan->station->purpose.production)) {
            row->purpose = word.length ? word : an_bytes_of(untold);
        }
    }
    if (reading->id.reference) {
        row->purpose = an_bytes_of(reference);
    }
    for (size_t i = 0; i < row->purpose.length; i++) {
        const unsigned char c = row->purpose.at[i];

        if (c < 0x20 || c == 0x7F || c == '=' || c == ',' || row->purpose.length > 64) {
            return an_row_complain(row, plan, plan->purpose, AN_HOLD_SPLIT_BAD, complaint,
                                   "\"%s\" cannot stand in a stream's name",
                                   an_shown(row->purpose).text);
        }
    }
    return true;
}

bool an_ident_read(struct an_reading *reading, struct an_complaint *complaint, enum an_status *st)
{
    struct an_id_memo *memo = &reading->id;
    const struct an_plan *plan = reading->plan;
    struct an_row *row = &reading->row;
    const struct an_bytes raw = row->cells[plan->item].text;
    const struct an_bytes last = {(const unsigned char *)an_text_of(&memo->raw), memo->raw.length};

    *st = AN_OK;
    if (!memo->is_set || !an_bytes_equal(raw, last)) {
        const size_t kind = plan->station->item_kind;

        memo->is_set = false;
        memo->mended = write_serial(&plan->line->kinds[kind], raw, &memo->serial);
        an_text_clear(&memo->raw);
        an_text_add_bytes(&memo->raw, raw);
        if (memo->raw.failed || memo->serial.failed) {
            *st = AN_NO_MEMORY;
            return false;
        }
        memo->reference =
            plan->reference.is_set && an_pattern_fits(&plan->reference, an_text_of(&memo->serial));
        if (!memo->reference &&
            !check_serial(reading, kind, plan->item, &memo->serial, complaint)) {
            return false;
        }
        memo->is_set = memo->serial.length > 0;
        if (!memo->is_set) {
            return an_row_complain(row, plan, plan->item, AN_HOLD_ID_MISSING, complaint,
                                   "the serial is empty");
        }
    }
    if (memo->mended) {
        an_note(&reading->notes, "id.evened", row->line, "serial \"%s\" was read as \"%s\"",
                an_shown(raw).text, an_text_of(&memo->serial));
    }
    row->serial.at = (const unsigned char *)an_text_of(&memo->serial);
    row->serial.length = memo->serial.length;
    return read_purpose(reading, complaint);
}

/* Keeps the serial in the memo if it is right. */
static bool read_link(struct an_reading *reading, size_t i, struct an_complaint *complaint,
                      enum an_status *st)
{
    const struct an_plan_link *link = &reading->plan->links[i];
    const struct an_bytes raw = reading->row.cells[link->column].text;
    struct an_id_memo *memo = &reading->link_ids[i];
    const struct an_bytes last = {(const unsigned char *)an_text_of(&memo->raw), memo->raw.length};

    if (memo->is_set && an_bytes_equal(raw, last)) {
        return true;
    }
    memo->is_set = false;
    memo->mended = write_serial(&reading->plan->line->kinds[link->rule->kind], raw, &memo->serial);
    an_text_clear(&memo->raw);
    an_text_add_bytes(&memo->raw, raw);
    if (memo->raw.failed || memo->serial.failed) {
        *st = AN_NO_MEMORY;
        return false;
    }
    memo->is_set = check_serial(reading, link->rule->kind, link->column, &memo->serial, complaint);
    return memo->is_set;
}

bool an_ident_read_links(struct an_reading *reading, struct an_complaint *complaint,
                         enum an_status *st)
{
    *st = AN_OK;
    for (size_t i = 0; i < reading->plan->link_count; i++) {
        struct an_cell *cell = &reading->row.cells[reading->plan->links[i].column];
        const struct an_id_memo *memo = &reading->link_ids[i];

        if (!cell->text.length) {
            continue;
        }
        if (!read_link(reading, i, complaint, st)) {
            return false;
        }
        if (memo->mended) {
            an_note(&reading->notes, "id.evened", reading->row.line,
                    "serial \"%s\" was read as \"%s\"", an_shown(cell->text).text,
                    an_text_of(&memo->serial));
        }
        cell->text.at = (const unsigned char *)an_text_of(&memo->serial);
        cell->text.length = memo->serial.length;
    }
    return true;
}
