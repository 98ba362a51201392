/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Finds where lines and records end and counts lines. Must never look into a field beyond what that
 * takes: parting fields is the CSV library's work.
 *
 * The hard idea: the library swallows blank lines, cannot be stopped and knows no line numbers, so
 * records are framed here first. A line without a quote is a record; only lines with one are walked
 * byte by byte, with the library's own notion of where a quote opens (at the start of a field).
 */
#include "intake/lines.h"

#include "andamento/base/memory.h"

#include <string.h>

static const size_t nowhere = SIZE_MAX;

void an_lines_begin(struct an_lines *lines, char delimiter, bool trim)
{
    lines->start = 0;
    lines->end = 0;
    lines->is_last = false;
    lines->delimiter = delimiter;
    lines->trim = trim;
    lines->lf = lines->cr = lines->quote = (struct an_line_seeker){nowhere, 0};
    lines->line = 1;
    lines->offset = 0;
    lines->saw_lf = lines->saw_cr = lines->saw_crlf = false;
}

void an_lines_free(struct an_lines *lines)
{
    an_free(lines->at);
    memset(lines, 0, sizeof *lines);
}

static void move_seeker(struct an_line_seeker *seeker, size_t by)
{
    seeker->hit = seeker->hit == nowhere || seeker->hit < by ? nowhere : seeker->hit - by;
    seeker->seen = seeker->seen < by ? 0 : seeker->seen - by;
}

unsigned char *an_lines_room(struct an_lines *lines, size_t most)
{
    if (lines->start) {
        if (lines->end > lines->start) {
            memmove(lines->at, lines->at + lines->start, lines->end - lines->start);
        }
        move_seeker(&lines->lf, lines->start);
        move_seeker(&lines->cr, lines->start);
        move_seeker(&lines->quote, lines->start);
        lines->offset += lines->start;
        lines->end -= lines->start;
        lines->start = 0;
    }
    if (lines->capacity - lines->end < most) {
        unsigned char *more = an_resize(lines->at, lines->end + most + AN_LINES_SLACK, 1);
        if (!more) {
            return NULL;
        }
        lines->at = more;
        lines->capacity = lines->end + most;
    }
    return lines->at + lines->end;
}

void an_lines_added(struct an_lines *lines, size_t length, bool is_last)
{
    lines->end += length;
    lines->is_last = is_last;
}

static size_t seek(const struct an_lines *lines, struct an_line_seeker *seeker, int byte,
                   size_t from)
{
    if (seeker->hit != nowhere && seeker->hit >= from) {
        return seeker->hit;
    }
    const size_t at = seeker->hit == nowhere && seeker->seen > from ? seeker->seen : from;
    const unsigned char *hit =
        at < lines->end ? memchr(lines->at + at, byte, lines->end - at) : NULL;
    seeker->hit = hit ? (size_t)(hit - lines->at) : nowhere;
    seeker->seen = hit ? seeker->hit : lines->end;
    return seeker->hit;
}

/* The line end at or after `from`: its place and length. */
static enum an_lines_got find_end(struct an_lines *lines, size_t from, size_t *at, size_t *length)
{
    const size_t lf = seek(lines, &lines->lf, '\n', from);
    const size_t cr = seek(lines, &lines->cr, '\r', from);

    if (cr < lf) {
        if (cr + 1 == lines->end && !lines->is_last) {
            return AN_LINES_MORE; /* an LF may follow */
        }
        *at = cr;
        *length = lf == cr + 1 ? 2 : 1;
        return AN_LINES_GOT;
    }
    if (lf == nowhere) {
        *at = lines->end;
        *length = 0;
        return lines->is_last ? AN_LINES_END : AN_LINES_MORE;
    }
    *at = lf;
    *length = 1;
    return AN_LINES_GOT;
}

enum an_lines_got an_lines_line(struct an_lines *lines, struct an_record *record)
{
    size_t end = 0;
    size_t end_length = 0;
    const enum an_lines_got got = find_end(lines, lines->start, &end, &end_length);

    if (got == AN_LINES_END && lines->start == lines->end) {
        return AN_LINES_END;
    }
    const size_t length = got == AN_LINES_MORE ? lines->end - lines->start : end - lines->start;
    record->line = lines->line;
    if (length > AN_MOST_RECORD_BYTES) {
        return AN_LINES_LONG;
    }
    if (got == AN_LINES_MORE) {
        return AN_LINES_MORE;
    }
    record->text.at = lines->at + lines->start;
    record->text.length = length;
    record->with_end = length + end_length;
    record->ended = end_length > 0;
    record->bad_quote = false;
    record->line_ends = end_length > 0;
    record->offset = lines->offset + lines->start;
    return AN_LINES_GOT;
}

enum where { FIELD_START, PLAIN, QUOTED, CLOSED };

/* Walks a record that has a quote in it. */
static enum an_lines_got walk(struct an_lines *lines, struct an_record *record)
{
    enum where where = FIELD_START;
    uint64_t line = lines->line;
    uint64_t open_line = line;
    size_t at = lines->start;

    for (; at < lines->end && at - lines->start <= AN_MOST_RECORD_BYTES; at++) {
        const unsigned char c = lines->at[at];

        if (c == '\r' || c == '\n') {
            if (c == '\r' && at + 1 == lines->end && !lines->is_last) {
                return AN_LINES_MORE;
            }
            const size_t length =
                c == '\r' && at + 1 < lines->end && lines->at[at + 1] == '\n' ? 2 : 1;
            line++;
            if (where == QUOTED) {
                at += length - 1;
                continue;
            }
            record->text.length = at - lines->start;
            record->with_end = record->text.length + length;
            record->ended = true;
            record->line_ends = line - lines->line;
            return AN_LINES_GOT;
        }
        if (where == QUOTED) {
            where = c == '"' ? CLOSED : QUOTED;
        } else if (where == CLOSED && c == '"' && lines->at[at - 1] == '"') {
            where = QUOTED; /* a doubled quote */
        } else if (c == (unsigned char)lines->delimiter) {
            where = FIELD_START;
        } else if (where == FIELD_START && c == '"') {
            where = QUOTED;
            open_line = line;
        } else if (lines->trim && (c == ' ' || c == '\t')) {
            continue;
        } else {
            record->bad_quote = record->bad_quote || where == CLOSED || c == '"';
            where = PLAIN;
        }
    }
    if (at - lines->start > AN_MOST_RECORD_BYTES || lines->is_last) {
        if (where == QUOTED) {
            record->line = open_line;
            return AN_LINES_OPEN;
        }
        if (!lines->is_last || at < lines->end) {
            return AN_LINES_LONG;
        }
        record->text.length = lines->end - lines->start;
        record->with_end = record->text.length;
        record->ended = false;
        record->line_ends = line - lines->line;
        return AN_LINES_GOT;
    }
    return AN_LINES_MORE;
}

enum an_lines_got an_lines_record(struct an_lines *lines, struct an_record *record)
{
    const enum an_lines_got got = an_lines_line(lines, record);

    if (got != AN_LINES_GOT) {
        return got;
    }
    if (seek(lines, &lines->quote, '"', lines->start) >= lines->start + record->text.length) {
        return AN_LINES_GOT;
    }
    return walk(lines, record);
}

void an_lines_take(struct an_lines *lines, const struct an_record *record)
{
    if (record->ended) {
        const unsigned char *end = record->text.at + record->text.length;
        const bool crlf = record->with_end - record->text.length == 2;

        lines->saw_crlf = lines->saw_crlf || crlf;
        lines->saw_lf = lines->saw_lf || (!crlf && *end == '\n');
        lines->saw_cr = lines->saw_cr || (!crlf && *end == '\r');
    }
    lines->start += record->with_end;
    lines->line += record->line_ends;
}
