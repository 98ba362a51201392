/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Reasons for holding a row or a file: one code each, and the complaint that carries it.
 * Tables are constant; a complaint belongs to whoever fills it.
 */
#ifndef AN_INTAKE_HOLD_H
#define AN_INTAKE_HOLD_H

#include "andamento/base/bytes.h"
#include "andamento/base/status.h"

#include <stdbool.h>
#include <stdint.h>

/* In the order of docs/held.md. AN_HOLD_NO_REASON means: nothing is wrong. */
enum an_hold_reason {
    AN_HOLD_NO_REASON,
    /* whole files */
    AN_HOLD_FILE_EMPTY,
    AN_HOLD_FILE_BINARY,
    AN_HOLD_ENCODING_INVALID,
    AN_HOLD_ENCODING_MIXED,
    AN_HOLD_ENCODING_UTF16,
    AN_HOLD_HEADER_MISSING,
    AN_HOLD_HEADER_COLUMN,
    AN_HOLD_HEADER_TWICE,
    AN_HOLD_DELIMITER_OTHER,
    AN_HOLD_DECIMAL_COMMA,
    AN_HOLD_UNIT_DIFFERS,
    AN_HOLD_UNITS_ROW_MISSING,
    AN_HOLD_PREAMBLE_MISSING,
    AN_HOLD_FOOTER_COUNT,
    AN_HOLD_FOOTER_MISSING,
    AN_HOLD_END_MISSING,
    AN_HOLD_END_EARLY,
    AN_HOLD_QUOTE_OPEN,
    AN_HOLD_LIMIT_LINE,
    AN_HOLD_LIMIT_FIELD,
    AN_HOLD_LIMIT_COLUMNS,
    AN_HOLD_LIMIT_STREAMS,
    AN_HOLD_CLOCK, /* from here on: a doubt that a person may set aside */
    AN_HOLD_UNIT_SUSPECT,
    AN_HOLD_STATION_IDENTITY,
    /* rows */
    AN_HOLD_ROW_TRUNCATED,
    AN_HOLD_ROW_FIELDS,
    AN_HOLD_ROW_QUOTE,
    AN_HOLD_ROW_NUL,
    AN_HOLD_ROW_ENCODING,
    AN_HOLD_ID_MISSING,
    AN_HOLD_ID_BLANKS,
    AN_HOLD_ID_DAMAGED,
    AN_HOLD_ID_PATTERN,
    AN_HOLD_TIME_MISSING,
    AN_HOLD_TIME_BAD,
    AN_HOLD_TIME_TWICE,
    AN_HOLD_TIME_SKIPPED,
    AN_HOLD_NUMBER_BAD,
    AN_HOLD_NUMBER_WHOLE,
    AN_HOLD_VALUE_IMPOSSIBLE,
    AN_HOLD_COUNT_DENOMINATOR,
    AN_HOLD_COUNT_PART,
    AN_HOLD_WORD_UNKNOWN,
    AN_HOLD_SPLIT_MISSING,
    AN_HOLD_SPLIT_BAD,
    AN_HOLD_ROW_CONFLICT,
    AN_HOLD_PARENT_UNKNOWN,
    AN_HOLD_TIME_BEFORE,
    AN_HOLD_SERIAL_USED,
    AN_HOLD_LINK_SELF,
    AN_HOLD_LINK_LOOP,
    AN_HOLD_LINK_ORDER,
    AN_HOLD_LINK_ELSEWHERE,
    AN_HOLD_LINK_PLACE,
    AN_HOLD_REASONS /* how many there are */
};

/* What is wrong with a row or a file, and where. */
struct an_complaint {
    enum an_hold_reason reason; /* AN_HOLD_NO_REASON while all is well */
    uint64_t line, column;      /* from 1; 0 when not about a place */
    const char *column_name;    /* or NULL; lives as long as the station's plan */
    char why[400];              /* a sentence for a person */
};

/* Fills it and returns false, so that a check can end with it. Texts from outside go through
 * an_shown() first. */
bool an_complain(struct an_complaint *complaint, enum an_hold_reason reason, uint64_t line,
                 uint64_t column, const char *column_name, const char *format, ...) AN_PRINTF(6, 7);
/* Bytes from outside fit for a sentence: control characters as \xHH, cut to about 60 bytes. */
struct an_shown {
    char text[100];
};
struct an_shown an_shown(struct an_bytes raw);

const char *an_hold_code(enum an_hold_reason reason);
bool an_hold_is_whole_file(enum an_hold_reason reason);
/* A doubt about the file that a person may set aside: the file is then taken as it is. */
bool an_hold_is_doubt(enum an_hold_reason reason);

#endif
