/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The text of a file cut into lines and records, with line numbers. One thread.
 *
 * A line ends in LF, CR or CRLF. A record is one line, or several where a quoted field holds line
 * ends. Pieces of any size may be added; what comes out does not depend on them.
 */
#ifndef AN_INTAKE_LINES_H
#define AN_INTAKE_LINES_H

#include "andamento/base/bytes.h"
#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
    AN_MOST_RECORD_BYTES = 1 << 20,
    AN_LINES_SLACK = 16 /* bytes behind the text that may be read, whatever they are */
};

struct an_line_seeker { /* where a byte next stands, so that nothing is searched twice */
    size_t hit, seen;
};

struct an_lines {
    unsigned char *at; /* buffer; text from start to end */
    size_t start, end, capacity;
    bool is_last; /* no more text will be added */
    char delimiter;
    bool trim;
    struct an_line_seeker lf, cr, quote;
    uint64_t line;   /* number of the line at start */
    uint64_t offset; /* bytes of text before `at` */
    bool saw_lf, saw_cr, saw_crlf;
};

enum an_lines_got {
    AN_LINES_GOT,  /* one is there */
    AN_LINES_MORE, /* add text first */
    AN_LINES_END,
    AN_LINES_LONG, /* longer than AN_MOST_RECORD_BYTES */
    AN_LINES_OPEN  /* a quote opened and did not close before the end (or the limit) */
};

struct an_record {
    struct an_bytes text; /* without its last line end; lives until text is added */
    size_t with_end;      /* its length with the line end */
    bool ended;           /* it has one */
    bool bad_quote;       /* quote inside a field, or text after a closing quote */
    uint64_t line;        /* of its beginning; of the open quote on AN_LINES_OPEN */
    uint64_t line_ends;   /* how many lines it takes */
    uint64_t offset;      /* in the text */
};

void an_lines_begin(struct an_lines *lines, char delimiter, bool trim);
void an_lines_free(struct an_lines *lines);
/* Room for `most` bytes behind the text; then an_lines_added() says how many were written. NULL
 * when memory is out. */
unsigned char *an_lines_room(struct an_lines *lines, size_t most);
void an_lines_added(struct an_lines *lines, size_t length, bool is_last);
/* The next line, not yet taken. */
enum an_lines_got an_lines_line(struct an_lines *lines, struct an_record *record);
/* The record that begins with that line, not yet taken. */
enum an_lines_got an_lines_record(struct an_lines *lines, struct an_record *record);
void an_lines_take(struct an_lines *lines, const struct an_record *record);

#endif
