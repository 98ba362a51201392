/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Filling an error: never allocates, never fails, always leaves one terminated line.
 */
#include "andamento/base/status.h"

#include <stddef.h>
#include <stdio.h>

AN_PRINTF(5, 0)
static void fill(struct an_error *err, enum an_status st, uint64_t line, uint64_t column,
                 const char *format, va_list args)
{
    if (!err) {
        return;
    }
    err->status = st;
    err->line = line;
    err->column = column;
    (void)vsnprintf(err->text, sizeof err->text, format, args);
    for (char *c = err->text; *c; c++) {
        if (*c == '\n' || *c == '\r') {
            *c = ' ';
        }
    }
}

enum an_status an_fail(struct an_error *err, enum an_status st, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    fill(err, st, 0, 0, format, args);
    va_end(args);
    return st;
}

enum an_status an_fail_at(struct an_error *err, enum an_status st, uint64_t line, uint64_t column,
                          const char *format, ...)
{
    va_list args;
    va_start(args, format);
    fill(err, st, line, column, format, args);
    va_end(args);
    return st;
}

const char *an_status_name(enum an_status st)
{
    switch (st) {
    case AN_OK:
        return "ok";
    case AN_TOO_FEW:
        return "too few";
    case AN_DOMAIN:
        return "outside the domain";
    case AN_NO_SPREAD:
        return "no spread";
    case AN_NOT_CONVERGED:
        return "not converged";
    case AN_BAD_USAGE:
        return "bad usage";
    case AN_BAD_INPUT:
        return "bad input";
    case AN_BAD_CONFIG:
        return "bad configuration";
    case AN_NOT_FOUND:
        return "not found";
    case AN_NO_STORE:
        return "no store";
    case AN_BUSY:
        return "busy";
    case AN_DENIED:
        return "not permitted";
    case AN_CANNOT_CREATE:
        return "cannot create";
    case AN_IO:
        return "input or output failed";
    case AN_NO_MEMORY:
        return "out of memory";
    case AN_BUG:
        return "broken promise";
    }
    return "unknown status";
}
