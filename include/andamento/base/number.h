/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Decimal numbers as stations write them, read exactly, and numbers written for people and
 * machines. Nothing here follows the locale. Allocates nothing; any thread.
 */
#ifndef ANDAMENTO_BASE_NUMBER_H
#define ANDAMENTO_BASE_NUMBER_H

#include "andamento/base/bytes.h"
#include "andamento/base/status.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct an_decimal {
    int64_t scaled; /* the digits as a whole number ... */
    int decimals;   /* ... times 10^-decimals; -18 to 30; trailing zeros of the text are kept */
    double value;   /* the double nearest to the decimal that was written */
};

/*
 * Grammar: [+-] digits [mark digits] [(e|E) [+-] digits], or [+-] mark digits ...; the whole field
 * must match: no blanks, no inf or nan, no hex, no thousands marks.
 * `group` is the thousands mark to be accepted between groups of exactly three digits, or 0.
 * AN_DOMAIN if the field is not a number by this grammar or its digits do not fit (more than 18
 * significant ones, decimals outside the range above). *number is written only on AN_OK.
 */
AN_CHECKED enum an_status an_decimal_parse(struct an_bytes field, char mark, char group,
                                           struct an_decimal *number);

/* scaled * 10^-decimals, correctly rounded. */
double an_decimal_value(int64_t scaled, int decimals);

/* The shortest text (at most 17 digits) that reads back as the same double: "0.1", "1e+30".
 * "null" for NaN or infinity. buffer holds 32 bytes. Returns buffer. */
char *an_number_shortest(double value, char buffer[32]);

/* A whole number: [+-] digits, within int64. AN_DOMAIN otherwise. */
AN_CHECKED enum an_status an_integer_parse(struct an_bytes field, int64_t *number);

#endif
