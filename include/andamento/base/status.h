/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a call answers, and the one line that tells a person why it failed.
 *
 * Statuses are few: one for each thing callers do differently about. The text is written by
 * whoever knows the file and the stream, into memory of the caller, so it cannot fail.
 */
#ifndef ANDAMENTO_BASE_STATUS_H
#define ANDAMENTO_BASE_STATUS_H

#include <stdarg.h>
#include <stdint.h>

#define AN_CHECKED __attribute__((warn_unused_result))
#define AN_PRINTF(text, first) __attribute__((format(printf, text, first)))

enum an_status {
    AN_OK = 0,        /* so `if (st)` reads "if it failed" */
    AN_TOO_FEW,       /* fewer readings or subgroups than the formula needs */
    AN_DOMAIN,        /* outside the range on which the formula is defined */
    AN_NO_SPREAD,     /* all values equal where the formula divides by their spread */
    AN_NOT_CONVERGED, /* an iteration did not settle */
    AN_BAD_USAGE,     /* the command line is wrong */
    AN_BAD_INPUT,     /* a file's content is not acceptable; nothing of it was stored */
    AN_BAD_CONFIG,    /* the line description or a report definition is wrong */
    AN_NOT_FOUND,     /* a named file, stream, item or record does not exist */
    AN_NO_STORE,      /* not a store, or made by a newer program, or damaged */
    AN_BUSY,          /* somebody else holds the writer's lock */
    AN_DENIED,        /* not permitted */
    AN_CANNOT_CREATE, /* an output file cannot be made */
    AN_IO,            /* reading, writing or syncing failed; the disk may be full */
    AN_NO_MEMORY,     /* an allocation failed */
    AN_BUG            /* our own promise is broken, a balance does not add up */
};

struct an_error {
    enum an_status status;
    uint64_t line, column; /* in the source file, from 1; 0 when not about a place */
    char text[512];        /* one line: what, where, what to do; always terminated */
};

/* Fills *err (which may be NULL) and returns st, so that a failing function can end with it.
 * The text is cut at the end of the buffer; newlines in it become spaces. */
enum an_status an_fail(struct an_error *err, enum an_status st, const char *format, ...)
    AN_PRINTF(3, 4);
/* The same, about a place in a source file. */
enum an_status an_fail_at(struct an_error *err, enum an_status st, uint64_t line, uint64_t column,
                          const char *format, ...) AN_PRINTF(5, 6);
/* A short name of a status, for tests and logs: "bad input". Never NULL. */
const char *an_status_name(enum an_status st);

#endif
