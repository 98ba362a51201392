/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The file of a gauge study: columns by name, one reading a line.
 *
 * Responsible for telling file, line and column of whatever does not fit; reads nothing half.
 * Fields are parted by comma, semicolon or tab, whichever the first line has (in this order of
 * preference: tab, semicolon, comma); with semicolons a comma is a decimal mark. Fields may be
 * quoted as RFC 4180 has it.
 */
#include "andamento/base/instant.h"
#include "andamento/base/names.h"
#include "andamento/base/number.h"
#include "andamento/base/text.h"
#include "judge/gauge.h"

#include <math.h>
#include <string.h>

#define COLUMNS_MOST 64

struct reader {
    const struct an_gauge_record *record;
    struct an_bytes rest;
    char part;
    uint64_t line;
    struct an_bytes field[COLUMNS_MOST];
    size_t fields;
    struct an_arena *arena;
    struct an_error *err;
};

/* One field from the rest; *last: it ends the line. */
static enum an_status take_field(struct reader *r, bool *last)
{
    struct an_bytes out = r->rest;
    size_t at = 0;
    if (r->fields == COLUMNS_MOST) {
        return an_fail(r->err, AN_BAD_INPUT,
                       "%s:%llu: more than %d columns; leave only those of "
                       "the study",
                       r->record->file, (unsigned long long)r->line, COLUMNS_MOST);
    }
    if (r->rest.length && r->rest.at[0] == '"') {
        char *text = an_arena_alloc(r->arena, r->rest.length + 1, 1);
        size_t length = 0;
        if (!text) {
            return an_fail(r->err, AN_NO_MEMORY, "out of memory");
        }
        for (at = 1; at < r->rest.length; at++) {
            if (r->rest.at[at] == '"' && at + 1 < r->rest.length && r->rest.at[at + 1] == '"') {
                at++;
            } else if (r->rest.at[at] == '"' || r->rest.at[at] == '\n') {
                break;
            }
            text[length++] = (char)r->rest.at[at];
        }
        if (at == r->rest.length || r->rest.at[at] != '"') {
            return an_fail(r->err, AN_BAD_INPUT,
                           "%s:%llu:%zu: the quote that begins this field does not end on its line",
                           r->record->file, (unsigned long long)r->line, r->fields + 1);
        }
        at++;
        out = (struct an_bytes){(const unsigned char *)text, length};
    } else {
        while (at < r->rest.length && r->rest.at[at] != (unsigned char)r->part &&
               r->rest.at[at] != '\n') {
            at++;
        }
        out.length = at;
    }
    while (at < r->rest.length && r->rest.at[at] == '\r') {
        at++;
    }
    *last = at == r->rest.length || r->rest.at[at] == '\n';
    if (!*last && r->rest.at[at] != (unsigned char)r->part) {
        return an_fail(r->err, AN_BAD_INPUT, "%s:%llu:%zu: text behind the closing quote",
                       r->record->file, (unsigned long long)r->line, r->fields + 1);
    }
    at += at < r->rest.length;
    r->rest.at += at;
    r->rest.length -= at;
    r->field[r->fields++] = an_bytes_trim(out);
    return AN_OK;
}

static enum an_status take_line(struct reader *r)
{
    bool last = false;
    enum an_status st = AN_OK;
    r->line++;
    r->fields = 0;
    while (!st && !last) {
        st = take_field(r, &last);
    }
    return st;
}

static bool is_blank(const struct reader *r)
{
    return r->fields == 1 && r->field[0].length == 0;
}

static enum an_status find_column(struct reader *r, const char *name, const char *role,
                                  size_t *column)
{
    struct an_text there = {0};
    *column = COLUMNS_MOST;
    if (!name) {
        return AN_OK;
    }
    for (size_t i = 0; i < r->fields; i++) {
        if (an_bytes_are(r->field[i], name)) {
            *column = i;
            return AN_OK;
        }
    }
    for (size_t i = 0; i < r->fields; i++) {
        an_text_add(&there, i ? ", " : "");
        an_text_add_visible(&there, r->field[i], 60);
    }
    const enum an_status st =
        an_fail(r->err, AN_BAD_INPUT, "%s:1: no column '%s' (%s); the file has: %.300s",
                r->record->file, name, role, an_text_of(&there));
    an_text_free(&there);
    return st;
}

struct columns {
    size_t part, person, reading, reference;
};

static enum an_status read_number(struct reader *r, size_t column, const char *name, double *value)
{
    struct an_decimal decimal = {0};
    const struct an_bytes field = r->field[column];
    const bool comma = r->part != ',' && memchr(field.at, ',', field.length) != NULL;
    if (an_decimal_parse(field, comma ? ',' : '.', 0, &decimal)) {
        struct an_text shown = {0};
        an_text_add_visible(&shown, field, 40);
        const enum an_status st = an_fail(
            r->err, AN_BAD_INPUT,
            "%s:%llu:%zu: '%s' in column '%s' is not a number; correct it or take the line out",
            r->record->file, (unsigned long long)r->line, column + 1, an_text_of(&shown), name);
        an_text_free(&shown);
        return st;
    }
    *value = decimal.value;
    return AN_OK;
}

/* Without an offset a time is read as UTC: only what lies between times is used. */
static enum an_status read_time(struct reader *r, size_t column, const char *name, int64_t *at_us)
{
    struct an_error ignored;
    if (an_instant_parse(r->field[column], NULL, at_us, &ignored) == AN_OK) {
        return AN_OK;
    }
    struct an_text shown = {0};
    an_text_add_visible(&shown, r->field[column], 40);
    const enum an_status st = an_fail(
        r->err, AN_BAD_INPUT,
        "%s:%llu:%zu: '%s' in column '%s' is not a time such as 2026-03-04 or 2026-03-04T06:00; "
        "write it so",
        r->record->file, (unsigned long long)r->line, column + 1, an_text_of(&shown), name);
    an_text_free(&shown);
    return st;
}

static enum an_status read_name(struct reader *r, struct an_names *names, size_t column,
                                const char *name, size_t *number)
{
    if (!r->field[column].length) {
        return an_fail(r->err, AN_BAD_INPUT,
                       "%s:%llu:%zu: column '%s' is empty; fill it in or take the line out",
                       r->record->file, (unsigned long long)r->line, column + 1, name);
    }
    *number = an_names_add(names, r->field[column]);
    return *number == AN_NO_NAME ? an_fail(r->err, AN_NO_MEMORY, "out of memory") : AN_OK;
}

struct sets {
    struct an_names *parts, *people, *words;
};

static enum an_status take_row(struct reader *r, const struct columns *c, struct sets *sets,
                               struct an_gauge_rows *rows)
{
    const struct an_gauge_record *record = r->record;
    const size_t i = rows->n;
    const bool sorting = record->kind == AN_GAUGE_SORTING;
    size_t most = 0;
    for (size_t k = 0; k < 4; k++) {
        const size_t all[] = {c->part, c->person, c->reading, c->reference};
        most = all[k] != COLUMNS_MOST && all[k] > most ? all[k] : most;
    }
    if (r->fields <= most) {
        return an_fail(r->err, AN_BAD_INPUT, "%s:%llu: %zu fields where column %zu is wanted",
                       record->file, (unsigned long long)r->line, r->fields, most + 1);
    }
    enum an_status st = AN_OK;
    if (rows->part) {
        st = read_name(r, sets->parts, c->part, record->part, &rows->part[i]);
    }
    if (!st && rows->at_us) {
        st = read_time(r, c->person, record->person, &rows->at_us[i]);
    }
    if (!st && rows->person) {
        st = read_name(r, sets->people, c->person, record->person, &rows->person[i]);
    }
    if (!st && sorting) {
        st = read_name(r, sets->words, c->reading, record->reading, &rows->word[i]);
        if (!st && rows->standard) {
            st = read_name(r, sets->words, c->reference, record->reference, &rows->standard[i]);
        }
    } else if (!st) {
        st = read_number(r, c->reading, record->reading, &rows->value[i]);
        if (!st && rows->reference) {
            st = read_number(r, c->reference, record->reference, &rows->reference[i]);
        }
    }
    rows->line[i] = r->line;
    rows->n += !st;
    return st;
}

static enum an_status copy_names(struct an_names *names, struct an_arena *arena, const char ***out,
                                 size_t *count)
{
    *count = an_names_count(names);
    *out = an_arena_alloc(arena, *count + 1, sizeof **out);
    for (size_t i = 0; *out && i < *count; i++) {
        const struct an_bytes name = an_names_at(names, i);
        (*out)[i] = an_arena_copy(arena, name.at, name.length);
        if (!(*out)[i]) {
            return AN_NO_MEMORY;
        }
    }
    return *out ? AN_OK : AN_NO_MEMORY;
}

static enum an_status make_room(const struct an_gauge_record *record, struct an_arena *arena,
                                size_t lines, struct an_gauge_rows *rows)
{
    const bool sorting = record->kind == AN_GAUGE_SORTING;
    rows->line = an_arena_alloc(arena, lines, sizeof *rows->line);
    rows->part = record->part ? an_arena_alloc(arena, lines, sizeof *rows->part) : NULL;
    const bool timed = record->kind == AN_GAUGE_STABILITY;
    if (record->person && timed) {
        rows->at_us = an_arena_alloc(arena, lines, sizeof *rows->at_us);
    } else if (record->person) {
        rows->person = an_arena_alloc(arena, lines, sizeof *rows->person);
    }
    rows->word = sorting ? an_arena_alloc(arena, lines, sizeof *rows->word) : NULL;
    rows->value = sorting ? NULL : an_arena_alloc(arena, lines, sizeof *rows->value);
    if (record->reference && sorting) {
        rows->standard = an_arena_alloc(arena, lines, sizeof *rows->standard);
    } else if (record->reference) {
        rows->reference = an_arena_alloc(arena, lines, sizeof *rows->reference);
    }
    const bool all = rows->line && (rows->part || !record->part) &&
                     (rows->person || rows->at_us || !record->person) &&
                     (sorting ? rows->word != NULL : rows->value != NULL) &&
                     (!record->reference || rows->standard || rows->reference);
    return all ? AN_OK : AN_NO_MEMORY;
}

static enum an_status read_all(struct reader *r, struct sets *sets, struct an_gauge_rows *rows)
{
    const struct an_gauge_record *record = r->record;
    struct columns c;
    size_t lines = 2;
    for (size_t i = 0; i < r->rest.length; i++) {
        lines += r->rest.at[i] == '\n';
    }
    enum an_status st = take_line(r);
    st = st ? st : find_column(r, record->part, "part", &c.part);
    st = st ? st
            : find_column(r, record->person,
                          record->kind == AN_GAUGE_STABILITY ? "time" : "operator", &c.person);
    st = st ? st : find_column(r, record->reading, "reading", &c.reading);
    st = st ? st : find_column(r, record->reference, "reference", &c.reference);
    if (!st && make_room(record, r->arena, lines, rows)) {
        st = an_fail(r->err, AN_NO_MEMORY, "out of memory");
    }
    while (!st && r->rest.length) {
        st = take_line(r);
        if (!st && !is_blank(r)) {
            st = take_row(r, &c, sets, rows);
        }
    }
    if (!st && rows->n == 0) {
        st = an_fail(r->err, AN_BAD_INPUT, "%s: no readings below the line of column names",
                     record->file);
    }
    return st;
}

enum an_status an_gauge_read(const struct an_gauge_record *record, struct an_arena *arena,
                             struct an_gauge_rows *rows, struct an_error *err)
{
    struct sets sets = {an_names_open(), an_names_open(), an_names_open()};
    struct reader r = {.record = record, .rest = record->data, .arena = arena, .err = err};
    enum an_status st = AN_NO_MEMORY;
    *rows = (struct an_gauge_rows){0};
    if (!sets.parts || !sets.people || !sets.words) {
        goto out;
    }
    if (!r.rest.length) {
        st =
            an_fail(err, AN_BAD_INPUT,
                    "%s is empty; a study's file has a line of column names, then a reading a line",
                    record->file);
        goto out;
    }
    if (r.rest.length >= 3 && memcmp(r.rest.at, "\xef\xbb\xbf", 3) == 0) {
        r.rest.at += 3;
        r.rest.length -= 3;
    }
    const unsigned char *end = memchr(r.rest.at, '\n', r.rest.length);
    const size_t first = end ? (size_t)(end - r.rest.at) : r.rest.length;
    r.part = memchr(r.rest.at, '\t', first) ? '\t' : memchr(r.rest.at, ';', first) ? ';' : ',';
    st = read_all(&r, &sets, rows);
    st = st ? st : copy_names(sets.parts, arena, &rows->parts, &rows->part_count);
    st = st ? st : copy_names(sets.people, arena, &rows->people, &rows->person_count);
    st = st ? st : copy_names(sets.words, arena, &rows->words, &rows->word_count);
out:
    if (st == AN_NO_MEMORY) {
        st = an_fail(err, AN_NO_MEMORY, "out of memory while reading a gauge study");
    }
    an_names_close(sets.parts);
    an_names_close(sets.people);
    an_names_close(sets.words);
    return st;
}
