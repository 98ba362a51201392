/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Finds columns by name. Must never find one by its position, and never take a name that only looks
 * like the one asked for.
 */
#include "intake/header.h"

#include "andamento/base/number.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

void an_header_close(struct an_header *header)
{
    an_arena_close(header->arena);
    memset(header, 0, sizeof *header);
}

/* ---- units ------------------------------------------------------------------------------------ */
/* Writes a unit in one spelling: no blanks, micro as u. */
static void plain_unit(struct an_bytes unit, char out[64])
{
    size_t used = 0;

    for (size_t i = 0; i < unit.length && used < 62; i++) {
        const unsigned char c = unit.at[i];
        const unsigned char next = i + 1 < unit.length ? unit.at[i + 1] : 0;

        if (c == ' ' || c == '\t') {
            continue;
        }
        if ((c == 0xC2 && next == 0xB5) || (c == 0xCE && next == 0xBC)) { /* U+00B5, U+03BC */
            out[used++] = 'u';
            i++;
        } else if (c == 0xC2 && next == 0xB2) { /* superscript two */
            out[used++] = '2';
            i++;
        } else if (c == 0xC2 && next == 0xB0) { /* degree */
            memcpy(out + used, "deg", used < 59 ? 3 : 0);
            used += used < 59 ? 3 : 0;
            i++;
        } else if ((c == 0xCE && next == 0xA9)) { /* Greek capital omega */
            memcpy(out + used, "ohm", used < 59 ? 3 : 0);
            used += used < 59 ? 3 : 0;
            i++;
        } else {
            out[used++] = (char)c;
        }
    }
    out[used] = '\0';
}

static bool is_no_unit(const char *unit)
{
    return !*unit || strcmp(unit, "1") == 0 || strcmp(unit, "-") == 0;
}

static bool check_unit(const struct an_plan_column *column, struct an_bytes found, uint64_t line,
                       size_t field, struct an_complaint *complaint)
{
    char has[64];
    char should[64];

    if (!column->unit) {
        return true;
    }
    plain_unit(found, has);
    plain_unit(an_bytes_of(column->unit), should);
    if (!*has || strcmp(has, should) == 0 || (is_no_unit(has) && is_no_unit(should))) {
        return true;
    }
    return an_complain(complaint, AN_HOLD_UNIT_DIFFERS, line, field + 1, column->name,
                       "column \"%s\" is in \"%s\" by the file, in \"%s\" by the line description",
                       column->name, an_shown(found).text, column->unit);
}

/* "dx [nm]" or "dx (nm)" for the column "dx": the unit in brackets. */
static bool name_with_unit(struct an_bytes field, const char *name, struct an_bytes *unit)
{
    const size_t length = strlen(name);
    struct an_bytes rest;

    if (field.length <= length || memcmp(field.at, name, length) != 0) {
        return false;
    }
    rest.at = field.at + length;
    rest.length = field.length - length;
    rest = an_bytes_trim(rest);
    if (rest.length < 3 || !((rest.at[0] == '[' && rest.at[rest.length - 1] == ']') ||
                             (rest.at[0] == '(' && rest.at[rest.length - 1] == ')'))) {
        return false;
    }
    unit->at = rest.at + 1;
    unit->length = rest.length - 2;
    return true;
}

/* ---- names ------------------------------------------------------------------------------------ */
static bool keep_names(struct an_header *header, const struct an_plan *plan,
                       const struct an_fields *fields, struct an_bytes record)
{
    header->arena = an_arena_open();
    if (!header->arena) {
        return false;
    }
    header->field_count = fields->count;
    header->names = an_arena_alloc(header->arena, fields->count + 1, sizeof *header->names);
    header->field_of =
        an_arena_alloc(header->arena, plan->column_count + 1, sizeof *header->field_of);
    header->text.at = (const unsigned char *)an_arena_copy(header->arena, record.at, record.length);
    header->text.length = record.length;
    if (!header->names || !header->field_of || !header->text.at) {
        return false;
    }
    for (size_t i = 0; i < fields->count; i++) {
        const struct an_bytes name = an_bytes_trim(fields->at[i]);

        header->names[i].at =
            (const unsigned char *)an_arena_copy(header->arena, name.at, name.length);
        header->names[i].length = name.length;
        if (!header->names[i].at) {
            return false;
        }
    }
    return true;
}

static bool check_names(const struct an_header *header, struct an_complaint *complaint)
{
    for (size_t i = 0; i < header->field_count; i++) {
        const struct an_bytes name = header->names[i];

        if (an_utf8_check(name) < name.length) {
            return an_complain(complaint, AN_HOLD_ENCODING_INVALID, header->line, i + 1, NULL,
                               "a column name is no UTF-8 text");
        }
        for (size_t k = 0; k < i && name.length; k++) {
            if (an_bytes_equal(name, header->names[k])) {
                return an_complain(complaint, AN_HOLD_HEADER_TWICE, header->line, i + 1, NULL,
                                   "columns %zu and %zu are both called \"%s\"", k + 1, i + 1,
                                   an_shown(name).text);
            }
        }
    }
    return true;
}

/* How many of the plan's columns a line names if it is parted at that character. */
static size_t names_if_parted(const struct an_plan *plan, struct an_bytes text, char delimiter)
{
    size_t found = 0;

    while (text.length) {
        const unsigned char *end = memchr(text.at, delimiter, text.length);
        struct an_bytes name = {text.at, end ? (size_t)(end - text.at) : text.length};
        const size_t step = name.length + (end ? 1 : 0);

        name = an_bytes_trim(name);
        if (name.length >= 2 && name.at[0] == '"' && name.at[name.length - 1] == '"') {
            name.at++;
            name.length -= 2;
        }
        for (size_t i = 0; i < plan->column_count; i++) {
            found += !plan->columns[i].from_preamble && an_bytes_are(name, plan->columns[i].name);
        }
        text.at += step;
        text.length -= step;
    }
    return found;
}

static size_t find_columns(struct an_header *header, const struct an_plan *plan,
                           struct an_complaint *complaint, size_t *first_missing)
{
    size_t found = 0;

    *first_missing = AN_NONE;
    for (size_t i = 0; i < plan->column_count; i++) {
        const struct an_plan_column *column = &plan->columns[i];
        struct an_bytes unit = {NULL, 0};

        header->field_of[i] = AN_NONE;
        if (column->from_preamble) {
            continue;
        }
        for (size_t k = 0; k < header->field_count && header->field_of[i] == AN_NONE; k++) {
            if (an_bytes_are(header->names[k], column->name)) {
                header->field_of[i] = k;
            }
        }
        for (size_t k = 0; k < header->field_count && header->field_of[i] == AN_NONE; k++) {
            if (name_with_unit(header->names[k], column->name, &unit)) {
                header->field_of[i] = k;
                if (complaint->reason == AN_HOLD_NO_REASON) {
                    (void)check_unit(column, unit, header->line, k, complaint);
                }
            }
        }
        if (header->field_of[i] != AN_NONE) {
            found++;
        } else if (*first_missing == AN_NONE) {
            *first_missing = i;
        }
    }
    return found;
}

/* Names the plan has no use for, as a hint at what a column may be called now. */
static void list_others(const struct an_header *header, char out[200])
{
    size_t used = 0;
    size_t listed = 0;

    out[0] = '\0';
    for (size_t k = 0; k < header->field_count && listed < 4; k++) {
        const struct an_shown shown = an_shown(header->names[k]);
        const int more =
            snprintf(out + used, 200 - used, "%s\"%s\"", listed ? ", " : "", shown.text);
        if (more < 0 || (size_t)more >= 200 - used) {
            out[used] = '\0';
            return;
        }
        used += (size_t)more;
        listed++;
    }
}

static bool explain_missing(const struct an_header *header, const struct an_plan *plan,
                            size_t found, size_t missing, struct an_complaint *complaint)
{
    static const char delimiters[] = ",;\t|";
    const char *name = plan->columns[missing].name;
    char others[200];

    for (const char *other = delimiters; *other; other++) {
        if (*other != plan->station->dialect.delimiter &&
            names_if_parted(plan, header->text, *other) > found) {
            return an_complain(complaint, AN_HOLD_DELIMITER_OTHER, header->line, 0, NULL,
                               "the header is parted by %s, not by the declared delimiter",
                               *other == ','    ? "commas"
                               : *other == ';'  ? "semicolons"
                               : *other == '\t' ? "tabs"
                                                : "bars");
        }
    }
    if (found == 0) {
        list_others(header, others);
        return an_complain(complaint, AN_HOLD_HEADER_MISSING, header->line, 0, NULL,
                           "this line should be the header and names none of the columns: %s",
                           others);
    }
    struct an_header unknown = *header; /* only the names nobody asked for */
    struct an_bytes names[64];
    unknown.names = names;
    unknown.field_count = 0;
    for (size_t k = 0; k < header->field_count && unknown.field_count < 64; k++) {
        bool used = false;
        for (size_t i = 0; i < plan->column_count; i++) {
            used = used || header->field_of[i] == k;
        }
        if (!used) {
            names[unknown.field_count++] = header->names[k];
        }
    }
    list_others(&unknown, others);
    return an_complain(complaint, AN_HOLD_HEADER_COLUMN, header->line, 0, name,
                       "the header has no column \"%s\"%s%s", name,
                       *others ? "; it has, not in use: " : "", others);
}

void an_header_note_unused(const struct an_header *header, const struct an_plan *plan,
                           struct an_notes *notes)
{
    size_t unused = 0;
    size_t first = 0;

    for (size_t k = 0; k < header->field_count; k++) {
        bool used = header->names[k].length == 0;
        for (size_t i = 0; i < plan->column_count && !used; i++) {
            used = header->field_of[i] == k;
        }
        if (!used) {
            first = unused ? first : k;
            unused++;
        }
    }
    if (unused) {
        an_note(notes, "columns.unused", header->line,
                "%zu column%s the description does not use, \"%s\" first; kept in the original",
                unused, unused == 1 ? "" : "s", an_shown(header->names[first]).text);
    }
}

bool an_header_read(struct an_header *header, const struct an_plan *plan,
                    const struct an_fields *fields, struct an_bytes record, uint64_t line,
                    struct an_complaint *complaint, enum an_status *st)
{
    size_t missing = AN_NONE;

    header->line = line;
    *st = AN_OK;
    if (fields->count > AN_MOST_COLUMNS) {
        return an_complain(complaint, AN_HOLD_LIMIT_COLUMNS, line, 0, NULL,
                           "the header has %zu columns; %d are the most", fields->count,
                           AN_MOST_COLUMNS);
    }
    if (!keep_names(header, plan, fields, record)) {
        *st = AN_NO_MEMORY;
        return false;
    }
    if (!check_names(header, complaint)) {
        return false;
    }
    const size_t found = find_columns(header, plan, complaint, &missing);
    if (missing != AN_NONE) {
        return explain_missing(header, plan, found, missing, complaint);
    }
    if (complaint->reason != AN_HOLD_NO_REASON) {
        return false;
    }
    header->is_read = true;
    return true;
}

bool an_header_units(struct an_header *header, const struct an_plan *plan,
                     const struct an_fields *fields, struct an_bytes record, uint64_t line,
                     struct an_complaint *complaint, enum an_status *st)
{
    *st = AN_OK;
    header->units.at =
        (const unsigned char *)an_arena_copy(header->arena, record.at, record.length);
    header->units.length = record.length;
    if (!header->units.at) {
        *st = AN_NO_MEMORY;
        return false;
    }
    if (fields->count != header->field_count) {
        return an_complain(complaint, AN_HOLD_UNITS_ROW_MISSING, line, 0, NULL,
                           "the row of units has %zu fields, the header %zu", fields->count,
                           header->field_count);
    }
    for (size_t i = 0; i < plan->column_count; i++) {
        const struct an_plan_column *column = &plan->columns[i];
        const size_t field = header->field_of[i];
        struct an_decimal number;

        if (field == AN_NONE || !column->unit) {
            continue;
        }
        const struct an_bytes cell = an_bytes_trim(fields->at[field]);
        const char mark = plan->station->dialect.decimal_mark;
        if (!an_bytes_are(cell, "1") && an_decimal_parse(cell, mark, 0, &number) == AN_OK) {
            return an_complain(complaint, AN_HOLD_UNITS_ROW_MISSING, line, field + 1, column->name,
                               "\"%s\" stands where the unit of column \"%s\" should",
                               an_shown(cell).text, column->name);
        }
        if (!check_unit(column, cell, line, field, complaint)) {
            return false;
        }
    }
    return true;
}

bool an_header_repeats(const struct an_header *header, struct an_bytes record)
{
    if (record.length >= 3 && memcmp(record.at, "\xEF\xBB\xBF", 3) == 0) {
        record.at += 3;
        record.length -= 3;
    }
    return an_bytes_equal(record, header->text) ||
           (header->units.length && an_bytes_equal(record, header->units));
}

enum an_header_like an_header_like(const struct an_header *header, const struct an_plan *plan,
                                   const struct an_fields *fields)
{
    bool same = fields->count == header->field_count;
    size_t named = 0;
    size_t needed = 0;

    for (size_t k = 0; same && k < fields->count; k++) {
        same = an_bytes_equal(an_bytes_trim(fields->at[k]), header->names[k]);
    }
    if (same) {
        return AN_SAME_HEADER;
    }
    for (size_t i = 0; i < plan->column_count; i++) {
        bool here = false;
        if (plan->columns[i].from_preamble) {
            continue;
        }
        needed++;
        for (size_t k = 0; k < fields->count && k < AN_MOST_COLUMNS && !here; k++) {
            here = an_bytes_are(an_bytes_trim(fields->at[k]), plan->columns[i].name);
        }
        named += here;
    }
    return needed >= 2 && named * 2 > needed ? AN_OTHER_HEADER : AN_NOT_A_HEADER;
}
